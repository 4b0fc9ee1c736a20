"""Chlorine: what makes new water safe, what frees a disinfected tool of it, and how much bleach a bath of tools takes.

Amounts are exact decimals and are what protects the fish, so they are rounded up (rule C4). Atomic weights are IUPAC's
abridged ones (from memory): H 1.008, N 14.007, O 15.999, Na 22.990, S 32.06, Cl 35.45. A chlorine test has the last
word: old bleach is weaker than its label, and tap water differs from day to day.
"""

from __future__ import annotations

from decimal import ROUND_CEILING, Context, Decimal
from typing import NamedTuple

from quarantine.failures import Refused
from quarantine.quantity import ceil_to
from quarantine.water.ranges import check, check_litres

CHLORINE_G_PER_MOL = Decimal("70.90")
THIOSULFATE_G_PER_MOL = {"pentahydrate": Decimal("248.172"), "anhydrous": Decimal("158.097")}
HATCHERY_MG_PER_MG = Decimal("7.4")
"""Pentahydrate per mg of chlorine: US Fish and Wildlife Service, Fish Hatchery Management, 1982, page 283 (5.6 g per
US gallon of 200 mg/L). The page does not name the hydrate; the figure fits the pentahydrate with a small excess.

It is shown and not weighed by, though it would be the more protective of two valid figures (rule C4). The calculation
notes (section h.2) set 7.0 as the default with this one shown beside it: 7.0006 is the exact figure of the reaction
that takes the most thiosulfate of the three they list (the others take 3.5 and 0.9), a laboratory's note of 2017 prints
the same, and it is applied to the reading and half a step of the kit, rounded up twice more (:func:`for_new_water`).
A chlorine test has the last word."""
HYPOCHLORITE_TO_CHLORINE = Decimal("70.90") / Decimal("74.439")
"""Available chlorine in sodium hypochlorite, by weight: Cl2 over NaOCl, 0.95246; the inverse is the factor 1.05 that
suppliers quote from the Handbook of Chlorination, 1972."""
BASES = ("hypochlorite by weight", "available chlorine by weight", "available chlorine in 100 mL")
CHLORINE_MOST = 10_000  # mg/L, our choice: above it the figure is a slip

_UP = Context(prec=34, rounding=ROUND_CEILING)


class Thiosulfate(NamedTuple):
    """Milligrams of sodium thiosulfate: by chemistry (the default) and by the hatchery manual's richer figure."""

    mg: Decimal
    hatchery_mg: Decimal


def thiosulfate_mg(chlorine_mg_per_l: Decimal, volume_litres: Decimal, hydrate: str = "pentahydrate") -> Thiosulfate:
    """Sodium thiosulfate that takes the chlorine out of a volume of water, mg.

    2 S2O3 + Cl2 -> S4O6 + 2 Cl: 7.0006 mg of the pentahydrate (4.4597 mg anhydrous) per mg of chlorine, as a water
    laboratory's technical note of 2017 also says (7.0), beside the 7.4 of Fish Hatchery Management, 1982. Other
    reactions need less (3.5 and 0.9), so this is the safe one. Chlorine above 0 to 10,000 mg/L, volume above 0 L.
    Raises Refused outside, and for a hydrate that is not "pentahydrate" or "anhydrous".
    """
    check("chlorine", chlorine_mg_per_l, "mg/L", 0, CHLORINE_MOST, above=True)
    check_litres("volume", volume_litres)
    if hydrate not in THIOSULFATE_G_PER_MOL:
        raise Refused(
            f"There is no sodium thiosulfate {hydrate!r}; write one of {', '.join(THIOSULFATE_G_PER_MOL)}, as the jar"
            " says."
        )
    chlorine = _UP.multiply(chlorine_mg_per_l, volume_litres)
    weight = THIOSULFATE_G_PER_MOL[hydrate]
    by_chemistry = _UP.divide(_UP.multiply(chlorine, 2 * weight), CHLORINE_G_PER_MOL)
    by_hatchery = _UP.multiply(chlorine, HATCHERY_MG_PER_MG)
    drier = _UP.divide(_UP.multiply(by_hatchery, weight), THIOSULFATE_G_PER_MOL["pentahydrate"])
    return Thiosulfate(by_chemistry, drier)


class NewWater(NamedTuple):
    """Sodium thiosulfate pentahydrate, counted as pure, for the water that goes in at a change, and its working."""

    grams: Decimal
    """to weigh: up to a whole step of the scale"""
    mg: Decimal
    """by chemistry, for the most chlorine the reading allows"""
    as_read_mg: Decimal
    hatchery_mg: Decimal
    """by the hatchery manual, for that same chlorine"""
    most_mg_per_l: Decimal
    """chlorine: the reading and half a step of the kit"""
    tan_mg_per_l: Decimal
    """total ammonia nitrogen that it frees in the new water where all of the chlorine is chloramine"""


def for_new_water(
    chlorine_mg_per_l: Decimal, kit_step_mg_per_l: Decimal, new_litres: Decimal, scale_step_grams: Decimal
) -> NewWater:
    """What the water of a change takes: the litres that go in, and never those of the tank (rule C12).

    Total chlorine as read, above 0 to 10,000 mg/L, with the step of its kit; litres and the step of the scale above 0.
    Rounded up three times because it protects (rule C4): the reading by half its step, the milligrams, the weight.
    Raises Refused outside.
    """
    check("step of the scale", scale_step_grams, "g", 0, 1000, above=True)
    as_read = thiosulfate_mg(chlorine_mg_per_l, new_litres)
    most = chlorine_mg_per_l + kit_step_mg_per_l / 2
    takes = thiosulfate_mg(most, new_litres)
    grams = ceil_to(_UP.divide(takes.mg, Decimal(1000)), scale_step_grams)
    return NewWater(grams, takes.mg, as_read.mg, takes.hatchery_mg, most, chloramine_ammonia_mg_per_l(most))


def chloramine_ammonia_mg_per_l(chlorine_mg_per_l: Decimal) -> Decimal:
    """Total ammonia (as N, mg/L) that is freed when the chlorine of chloramine is taken out.

    0.1976 mg N per mg of chlorine, as monochloramine (N over Cl2; stoichiometry). It still has to be bound or
    diluted: judge it with ``quarantine.water.ammonia``. Chlorine 0 to 10,000 mg/L; raises Refused outside.
    """
    check("chlorine", chlorine_mg_per_l, "mg/L", 0, CHLORINE_MOST)
    return _UP.divide(_UP.multiply(chlorine_mg_per_l, Decimal("14.007")), CHLORINE_G_PER_MOL)


def bleach_ml(
    chlorine_mg_per_l: Decimal,
    volume_litres: Decimal,
    percent: Decimal,
    basis: str,
    specific_gravity: Decimal | None = None,
) -> Decimal:
    """Millilitres of plain bleach that give a strength of available chlorine, for tools and empty tanks only.

    mL = N x V / (10 x % x specific gravity x 0.95246) where the label's percent is sodium hypochlorite by weight;
    without the last factor where it is available chlorine by weight; N x V / (10 x %) where it is grams of available
    chlorine in 100 mL (Handbook of Chlorination, 1972, as suppliers quote it). Nominal: bleach fades with age.
    Chlorine above 0 to 10,000 mg/L, percent above 0 to 20, specific gravity 1 to 1.3. Raises Refused outside, for a
    basis that is not one of ``BASES``, and where a percent by weight comes without its specific gravity.
    """
    check("chlorine", chlorine_mg_per_l, "mg/L", 0, CHLORINE_MOST, above=True)
    check_litres("volume", volume_litres)
    check("strength of the bleach", percent, "%", 0, 20, above=True)
    if basis not in BASES:
        raise Refused(f"The label's percent must be one of: {', '.join(BASES)}; it says {basis!r}.")
    if basis == BASES[2]:
        grams_per_litre = 10 * percent
    elif specific_gravity is None:
        raise Refused("A strength by weight needs the bleach's specific gravity (1.08 or so); read it on the label.")
    else:
        check("specific gravity", specific_gravity, "", 1, 1.3)
        share = HYPOCHLORITE_TO_CHLORINE if basis == BASES[0] else Decimal(1)
        grams_per_litre = 10 * percent * specific_gravity * share
    return _UP.divide(_UP.multiply(chlorine_mg_per_l, volume_litres), grams_per_litre)


def conditioner_ml(label_ml: Decimal, label_litres: Decimal, new_litres: Decimal, step_ml: Decimal) -> Decimal:
    """Water conditioner for the new water only, by the label's own rate, up to a whole step of the syringe.

    ``label_ml`` per ``label_litres`` as printed on the bottle, for the ``new_litres`` that go in and not for the tank
    (rule C12), rounded up (rule C4). All above 0; raises Refused otherwise.
    """
    check("label's amount", label_ml, "mL", 0, 1000, above=True)
    check_litres("label's volume", label_litres)
    check_litres("volume of new water", new_litres)
    check("step of the syringe", step_ml, "mL", 0, 1000, above=True)
    return ceil_to(_UP.divide(_UP.multiply(label_ml, new_litres), label_litres), step_ml)
