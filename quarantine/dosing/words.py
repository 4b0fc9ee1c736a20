"""Amounts and sources in words, and the units that only the formulary has."""

from __future__ import annotations

from decimal import Decimal

from quarantine.formulary import Substance
from quarantine.quantity import Quantity, show_significant, to

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


def amount_in(mg_per_l: Decimal, unit: str, *, up: bool) -> Decimal:
    return Decimal(in_unit(mg_per_l, unit, up=up))


def in_unit(mg_per_l: Decimal, unit: str, *, up: bool) -> str:
    """A level in another unit, to three significant digits, rounded outward; what food gives is in its own already."""
    if unit in (PER_FISH, *PER_FOOD):
        return show_significant(mg_per_l, 3, up=up)
    return show_significant(to(Quantity(mg_per_l, "mg/L"), unit), 3, up=up)


def cited(substance: Substance, keys: str | tuple[str, ...]) -> str:
    names = keys if isinstance(keys, tuple) else tuple(k.strip() for k in keys.split(",") if k.strip())
    return "; ".join(substance.references[key].cite for key in names if key in substance.references)
