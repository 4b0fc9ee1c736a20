"""What can be read of the water: names, units and the range in which a typed value is believed.

The believable range catches a slipped decimal or a wrong unit; it is our choice, not a limit for fish.
"""

from __future__ import annotations

from decimal import Decimal
from typing import NamedTuple


class Parameter(NamedTuple):
    """One measured value of the water."""

    name: str
    title: str
    unit: str
    kind: str
    low: Decimal
    high: Decimal
    also: tuple[str, ...] = ()


def _p(name: str, title: str, unit: str, kind: str, low: str, high: str, *also: str) -> Parameter:
    return Parameter(name, title, unit, kind, Decimal(low), Decimal(high), also)


PARAMETERS = {
    p.name: p
    for p in (
        _p("temperature", "temperature", "°C", "temperature", "0", "45", "temp", "t"),
        _p("ph", "pH", "", "ph", "3", "11"),
        _p("tan", "total ammonia nitrogen", "mg/L", "concentration", "0", "100", "ammonia"),
        _p("uia", "un-ionized ammonia nitrogen", "mg/L", "concentration", "0", "20"),
        _p("nitrite", "nitrite", "mg/L", "concentration", "0", "100", "no2"),
        _p("nitrate", "nitrate", "mg/L", "concentration", "0", "1000", "no3"),
        _p("oxygen", "dissolved oxygen", "mg/L", "concentration", "0", "30", "do", "o2"),
        _p("salinity", "salinity", "g/L", "concentration", "0", "60", "sal"),
        _p("alkalinity", "total alkalinity", "mg/L", "concentration", "0", "1000", "alk"),
        _p("hardness", "total hardness", "mg/L", "concentration", "0", "3000", "gh"),
    )
}
COMPUTED = ("uia",)
"""Never typed: computed from total ammonia, pH and temperature."""


def find(name: str) -> Parameter | None:
    """The parameter of a typed name, by name or short form; None when there is none."""
    wanted = name.casefold()
    return next((p for p in PARAMETERS.values() if wanted == p.name or wanted in p.also), None)
