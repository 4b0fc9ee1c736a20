"""Amounts and sources in words, and the units that only the formulary has."""

from __future__ import annotations

from decimal import Decimal

from quarantine.failures import Refused
from quarantine.formulary import Substance
from quarantine.quantity import UNITS, Quantity, show_significant, to

PER_FISH, PER_FOOD = "mg/kg fish/day", ("mg/g food", "g/lb food")
"""How a dose in food is published: by the weight of the fish, or as a content of the food."""


MG_PER_G = {"mg/g food": Decimal(1), "g/lb food": 1000 / to(Quantity(Decimal(1), "lb"), "g")}


def g_of(grams: Decimal) -> str:
    return show_significant(grams, 6)


def mg_of(milligrams: Decimal) -> str:
    return show_significant(milligrams, 6, up=False)


def exact_grams(milligrams: Decimal) -> str:
    """Grams for the working: exact where twelve digits hold it, and never rounded up past a step of the scale."""
    return show_significant(milligrams / 1000, 12, up=False)


def divide(milligrams: Decimal, litres: Decimal, rounding: str) -> Decimal:
    return (milligrams / litres).quantize(Decimal("0.000001"), rounding=rounding)


def in_ledger(substance: Substance, level: Quantity) -> Decimal:
    """A published level of a substance in the unit its ledger is kept in: mg/L, uL/L of formalin, mg/L of copper.

    A salt of copper counts by the share of copper it holds (the entry's ``salts``). Raises Refused for a unit that
    does not say how much of that it is (a bare ppm of a liquid, a sulfate whose hydrate is not stated).
    """
    ledger = substance.ledger_unit
    if level.unit == ledger:
        return level.value
    for salt in substance.salts:
        if level.unit == f"mg/L {salt.name}":
            return level.value * salt.holds.value / 100
    if {level.unit, ledger} <= UNITS.keys() and UNITS[level.unit].kind == UNITS[ledger].kind:
        return to(level, ledger)
    raise Refused(f"{substance.name} in {level.unit} is no amount in {ledger}.")


def counts_in_ledger(substance: Substance, unit: str) -> bool:
    """Whether a level in this unit can be computed with."""
    try:
        in_ledger(substance, Quantity(Decimal(1), unit))
    except Refused:
        return False
    return True


def out_of_ledger(substance: Substance, value: Decimal, unit: str) -> Decimal:
    """A level of the ledger in the unit of a target. Raises Refused like :func:`in_ledger`."""
    if unit == substance.ledger_unit or unit in (PER_FISH, *PER_FOOD):  # what food gives is in its own unit already
        return value
    if unit in UNITS and substance.ledger_unit in UNITS:
        return to(Quantity(value, substance.ledger_unit), unit)
    return value / in_ledger(substance, Quantity(Decimal(1), unit))


def level_in(substance: Substance, value: Decimal, unit: str, *, up: bool) -> str:
    """A level of the ledger in the unit of a target, to three significant digits, rounded outward."""
    return show_significant(out_of_ledger(substance, value, unit), 3, up=up)


def cited(substance: Substance, keys: str | tuple[str, ...]) -> str:
    names = keys if isinstance(keys, tuple) else tuple(k.strip() for k in keys.split(",") if k.strip())
    return "; ".join(substance.references[key].cite for key in names if key in substance.references)
