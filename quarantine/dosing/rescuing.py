"""What to do after too much was really given (rule C7)."""

from __future__ import annotations

from decimal import Decimal

from quarantine.dosing.known import ceiling_of
from quarantine.dosing.pairs import RULE as MIXED
from quarantine.dosing.setting import Dose, Hold
from quarantine.dosing.size import clearing_litres
from quarantine.dosing.words import PER_FISH, counts_in_ledger, in_ledger
from quarantine.formulary import Regimen, load
from quarantine.quantity import Quantity, show, show_significant


def rescue(
    litres: Decimal,
    high_mg_per_l: Decimal | None,
    ceiling_mg_per_l: Decimal,
    name: str,
    plus_minus_litres: Decimal = Decimal(0),
    unit: str = "mg/L",
) -> str:
    """What to do after more than the ceiling was really given (rule C7): computed dilution, air, veterinarian.

    ``high_mg_per_l`` is the upper bound of the level; None when it is not known, because the volume is not. Both
    are in the ledger's ``unit``.
    """
    out, level = None, "is not known and may be"
    if high_mg_per_l is not None:
        out = clearing_litres(litres, plus_minus_litres, high_mg_per_l, ceiling_mg_per_l)
        level = f"may be {show_significant(high_mg_per_l, 3, up=True)} {unit},"
    # No conditioner goes in beside an oxidiser (quarantine.actions.conditioning).
    free = "oxidiser" in load(name).classes
    water = "matched water that a test shows free of chlorine" if free else "matched, conditioned water"
    much = f"at least {show(out)} L" if out is not None else "all of the water for the same volume"
    return (
        f"The level of {name} {level} over the ceiling of {show(ceiling_mg_per_l)} {unit}. Now: strong aeration; "
        f"change {much} of {water} and log it (quarantine event change); fresh activated carbon; "
        "call a veterinarian."
    )


HARMED = ("C9", "C14", "C17", "by the water", "oxygen", "sensitive animals", "species", "water", MIXED)
"""Rules of holds that say the fish, or this water, may not bear the substance at any amount."""


def rescue_held(hold: Hold | None, given: Decimal) -> str:
    """What to do after a dose was really given that these fish or this water may not bear (rule C7); else empty."""
    if hold is None or hold.rule not in HARMED or given <= 0:
        return ""
    return (
        f"It would have been held: {hold.says}. Now: nothing more of it; strong aeration; watch the fish without a "
        "break for the first hour (how long: our choice, no source): gasping, rolling or lying on the ground: into "
        "clean water of the same temperature at once; call a veterinarian."
    )


def rescue_apart(dose: Dose, regimen: Regimen, given_mg: Decimal) -> str:
    """What to do after too strong a dip or too much in food was really given (rule C7); empty where it was not."""
    fish = dose.fish_grams if dose.fish_plus_minus_grams is not None else None
    least_fish = None if fish is None else fish - (dose.fish_plus_minus_grams or 0)
    return rescue_beside(regimen, dose.volume_litres - dose.volume_plus_minus_litres, least_fish, given_mg)


def rescue_beside(regimen: Regimen, least: Decimal, least_fish: Decimal | None, given_mg: Decimal) -> str:
    """The same from the ``least`` litres of its vessel and the least that the fish of a dose in food weigh, in g."""
    ceiling = ceiling_of(regimen, None)
    if ceiling is None:
        return ""
    top = f"{show(ceiling.figure.value)} {ceiling.figure.unit}"
    substance, figure = load(regimen.substance), ceiling.figure
    if regimen.own_vessel and least > 0 and counts_in_ledger(substance, figure.unit):
        if given_mg / least <= in_ledger(substance, Quantity(figure.value, figure.unit)):
            return ""
        return (
            f"The dip may have been over its ceiling of {top}. Now: every fish in clean water of the tank, strong "
            "aeration, watch them; call a veterinarian."
        )
    if least_fish is None or ceiling.figure.unit != PER_FISH:
        return ""
    if given_mg * 1000 / least_fish <= ceiling.figure.value:
        return ""
    return (
        f"The food may have given more than the ceiling of {top}. Now: take out what is not eaten, no more of it "
        "today; call a veterinarian."
    )
