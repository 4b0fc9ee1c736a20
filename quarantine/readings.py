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
    form: str = ""
    """what a nitrite kit reads: "NO2" (nitrite), "N" (nitrite nitrogen); a copper kit: "free", "total" or "chelated";
    "" when nobody said"""
    error: Decimal | None = None
    """of a typed value, the ± that stood with it, in ``unit``; None: none did, and the step is the last digit"""


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
        # Sea water has about 6300 mg/L as CaCO3 (from memory); the bound is of a slip, well above it.
        _p("hardness", "total hardness", "mg/L", "concentration", "0", "12000", "gh"),
        _p("copper", "copper (Cu)", "mg/L", "concentration", "0", "20", "cu"),
    )
}
SOURCE = {
    **{name: PARAMETERS[name] for name in ("ph", "tan", "temperature")},
    "chlorine": _p("chlorine", "total chlorine", "mg/L", "concentration", "0", "10", "cl2"),
}
"""What is tested of the water that goes in. Total chlorine is free chlorine and chloramine together; what fish live in
holds none, so it is no parameter of a tank."""
COMPUTED = ("uia",)
"""Never typed: computed from total ammonia, pH and temperature."""


NITRITE_PER_N = Decimal("3.28")
"""mg nitrite (NO2) in which there is 1 mg of nitrite nitrogen (NO2-N): SRAC Publication 462, row T11 of the formulary
(computed there)."""
FORMS = {
    **dict.fromkeys(("nitrite_n", "nitrite-n", "no2_n", "no2-n"), "N"),
    **dict.fromkeys(("nitrite_no2", "nitrite-no2"), "NO2"),
}
"""Names of nitrite that say what the kit reads; "nitrite" and "no2" alone do not."""
COPPER_FORMS = {
    **dict.fromkeys(("copper_free", "copper-free", "cu_free", "cu-free"), "free"),
    **dict.fromkeys(("copper_total", "copper-total", "cu_total", "cu-total"), "total"),
    **dict.fromkeys(("copper_chelated", "copper-chelated", "cu_chelated", "cu-chelated"), "chelated"),
}
"""Names of copper that say what the kit reads. Only free (ionic) copper is what a target is counted in: chelated copper
is on another scale (treatment notes, section 0, trap 4), and a kit for total copper cannot tell the two apart."""
FORM_WORDS = {
    "N": "nitrite nitrogen (NO2-N)",
    "NO2": "nitrite (NO2)",
    "free": "free copper",
    "total": "total copper",
    "chelated": "chelated copper",
}


def as_read(value: Decimal, step: Decimal) -> Decimal:
    """A value as it is shown, no finer than the step it was typed with warrants: 70 °F, typed to a degree, is 21.1 °C
    and not 21.111. What is on record stays exact."""
    return value if step <= 0 else round(value, max(0, -step.adjusted()))


def find(name: str) -> Parameter | None:
    """The parameter of a typed name, by name or short form; None when there is none.

    "nitrite_n" and "nitrite_no2" are nitrite, "copper_free" copper, with the form that the kit reads.
    """
    wanted = name.casefold()
    if wanted in COPPER_FORMS:
        return PARAMETERS["copper"]._replace(form=COPPER_FORMS[wanted])
    if wanted in FORMS:
        return PARAMETERS["nitrite"]._replace(form=FORMS[wanted])
    return _named(wanted, PARAMETERS)


def find_source(name: str) -> Parameter | None:
    """What is tested of the water that goes in, by name or short form; None when it is none of ``SOURCE``."""
    return _named(name.casefold(), SOURCE)


def _named(wanted: str, known: dict[str, Parameter]) -> Parameter | None:
    return next((p for p in known.values() if wanted == p.name or wanted in p.also), None)
