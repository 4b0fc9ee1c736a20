"""Copper: what the alkalinity and the hardness of the water allow, and copper as metal or as its sulfate (rule C17).

Confusing mg/L of copper with mg/L of copper sulfate is a fourfold error, so every name says which. In fresh water the
rule is for copper *sulfate* pentahydrate; in salt water the target is copper itself and no rule here applies.
Atomic weights are IUPAC's abridged ones (from memory): H 1.008, C 12.011, O 15.999, Na 22.990, Mg 24.305, S 32.06,
Ca 40.078, Cu 63.546. Alkalinity and hardness are mg/L as calcium carbonate (100.086 g/mol).
"""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_FLOOR, Context, Decimal
from typing import NamedTuple

from quarantine.failures import Refused
from quarantine.quantity import show
from quarantine.water.ranges import check, check_litres

CARBONATE_UNITS = {
    "mg/L": Decimal(1),
    "dKH": 10 * Decimal("100.086") / Decimal("56.077"),  # 1 German degree is 10 mg/L CaO (definition): 17.848 mg/L
    "meq/L": Decimal("50.043"),
    "English degree": Decimal("64.79891") / Decimal("4.54609"),  # 1 grain per imperial gallon: 14.254 mg/L
    "grain/USgal": Decimal("64.79891") / Decimal("3.785411784"),  # 17.118 mg/L
}
"""mg/L as calcium carbonate in one unit; gallons and grains by NIST, Handbook 44, appendix C."""
PENTAHYDRATE_COPPER_PERCENT = 100 * Decimal("63.546") / Decimal("249.677")  # 25.451
ANHYDROUS_COPPER_PERCENT = 100 * Decimal("63.546") / Decimal("159.602")  # 39.815

ALKALINITY_LEAST, SULFATE_MOST = Decimal(50), Decimal("2.5")
ALKALINITY_SOURCE = "Univ. of Florida IFAS EDIS, Use of Copper in Freshwater Aquaculture and Farm Ponds, FA-13/FA008"
HARDNESS_BANDS = (
    # hardness from (mg/L), sulfate from, sulfate to (mg/L)
    (Decimal(150), Decimal("1.0"), Decimal("2.0")),
    (Decimal(100), Decimal("0.75"), Decimal("1.0")),
    (Decimal(50), Decimal("0.5"), Decimal("0.75")),
)
HARDNESS_MOST = Decimal(200)
HARDNESS_SOURCE = "US Fish and Wildlife Service, Fish Hatchery Management, 1982, p. 277"
HALF_ABOVE = Decimal(120)
"""mg/L of alkalinity above which half the rule is offered too: a proposal of this project, not published. Lethal levels
for channel catfish do not rise in step with the alkalinity (Journal of the World Aquaculture Society, 1993)."""
READING_MOST = 3000  # mg/L, our choice: above it a figure is a slip
TYPED_MOST = 15000  # mg/L, our choice: above what may be on record of a water (quarantine.readings)
COPPER_MOST = 100  # mg/L, our choice: stock solutions apart, above it a target is a slip

_DOWN = Context(prec=34, rounding=ROUND_FLOOR)
_UP = Context(prec=34, rounding=ROUND_CEILING)


class SulfateLimit(NamedTuple):
    """Copper sulfate pentahydrate that the water allows, in mg/L of the sulfate.

    ``mg_per_l`` is the lower of the two rules and is never passed; ``by`` names the rule that set it.
    ``half_mg_per_l`` is half of it, offered where the alkalinity is over 120 mg/L, else None.
    """

    mg_per_l: Decimal
    by: str
    alkalinity_mg_per_l: Decimal
    hardness_low_mg_per_l: Decimal
    hardness_high_mg_per_l: Decimal
    half_mg_per_l: Decimal | None
    reference: str
    cautions: tuple[str, ...]


def carbonate_mg_per_l(value: Decimal, unit: str) -> Decimal:
    """Alkalinity or hardness in mg/L as calcium carbonate, from a unit of ``CARBONATE_UNITS``.

    1 dKH is 17.848 mg/L, 1 meq/L 50.043 (definitions). The result is 0 to 3,000 mg/L. Raises Refused outside and for
    another unit.
    """
    if unit not in CARBONATE_UNITS:
        raise Refused(f"The unit {unit!r} of alkalinity is not known; write one of {', '.join(CARBONATE_UNITS)}.")
    found = _DOWN.multiply(value, CARBONATE_UNITS[unit])
    check("alkalinity or hardness", found, "mg/L", 0, READING_MOST)
    return found


def hardness_mg_per_l(calcium_mg_per_l: Decimal, magnesium_mg_per_l: Decimal) -> Decimal:
    """Total hardness in mg/L as calcium carbonate: 2.4973 Ca + 4.1179 Mg (weights). Each 0 to 3,000 mg/L."""
    for what, value in (("calcium", calcium_mg_per_l), ("magnesium", magnesium_mg_per_l)):
        check(what, value, "mg/L", 0, READING_MOST)
    carbonate = Decimal("100.086")
    return calcium_mg_per_l * carbonate / Decimal("40.078") + magnesium_mg_per_l * carbonate / Decimal("24.305")


def bicarbonate_grams(rise_mg_per_l: Decimal, volume_litres: Decimal) -> Decimal:
    """Grams of pure sodium bicarbonate that raise the alkalinity by so many mg/L as calcium carbonate.

    84.006 g of it in 50.043 g of carbonate (weights): 2.9961 g for 1 dKH in 100 L. It raises the pH too, and with it
    the poisonous share of ammonia. Rise above 0 to 300 mg/L (our choice); raises Refused outside.
    """
    check("rise of the alkalinity", rise_mg_per_l, "mg/L", 0, 300, above=True)
    check_litres("volume", volume_litres)
    mass = _DOWN.multiply(_DOWN.multiply(rise_mg_per_l, volume_litres), Decimal("84.006"))
    return _DOWN.divide(mass, Decimal("50043"))


def sulfate_limit(
    alkalinity_mg_per_l: tuple[Decimal, Decimal] | None, hardness_mg_per_l: tuple[Decimal, Decimal] | None
) -> SulfateLimit:
    """The copper sulfate that fresh water allows, by the lower of two rules (rule C17).

    Each reading is (least, most) as its kit allows; the least counts (rule C2). Alkalinity / 100 mg/L, not below
    50 mg/L of alkalinity, never over 2.5 mg/L of sulfate (IFAS FA-13). Hardness 50 to 99: 0.5 to 0.75; 100 to 149:
    0.75 to 1; 150 to 200: 1 to 2 mg/L; under 50 not at all (Fish Hatchery Management, 1982, page 277); over 200
    that page calls copper unreliable, so its last 2 mg/L stays the top (our choice). Nothing is interpolated
    within a band: its upper end bounds. Raises Refused where either reading is unknown or too low.
    """
    if alkalinity_mg_per_l is None or hardness_mg_per_l is None:
        missing = "alkalinity" if alkalinity_mg_per_l is None else "hardness"
        raise Refused(
            f"The {missing} of the water is not known, and copper kills where it is low: read it first"
            f" (quarantine reading TANK {missing}=...mg/L)."
        )
    for what, (least, most) in (("alkalinity", alkalinity_mg_per_l), ("hardness", hardness_mg_per_l)):
        check(what, least, "mg/L", 0, TYPED_MOST)
        check(what, most, "mg/L", least, TYPED_MOST)
    by_alkalinity = _by_alkalinity(alkalinity_mg_per_l[0])
    low, high = _by_hardness(hardness_mg_per_l[0])
    sets = "alkalinity" if by_alkalinity <= high else "hardness"
    amount = min(by_alkalinity, high)
    return SulfateLimit(
        amount,
        sets,
        by_alkalinity,
        low,
        high,
        amount / 2 if alkalinity_mg_per_l[1] > HALF_ABOVE else None,
        ALKALINITY_SOURCE if sets == "alkalinity" else HARDNESS_SOURCE,
        _cautions(alkalinity_mg_per_l[1], hardness_mg_per_l[1]),
    )


def copper_mg_per_l(sulfate_mg_per_l: Decimal, copper_percent: Decimal = PENTAHYDRATE_COPPER_PERCENT) -> Decimal:
    """The copper in so much copper sulfate, mg/L: 25.451 % of the pentahydrate, 39.815 % of the anhydrous salt.

    0 to 100 mg/L, a percent above 0 to 100; raises Refused outside. The last of 34 digits is rounded up.
    """
    check("copper sulfate", sulfate_mg_per_l, "mg/L", 0, COPPER_MOST)
    check("copper in the product", copper_percent, "%", 0, 100, above=True)
    return _UP.divide(_UP.multiply(sulfate_mg_per_l, copper_percent), Decimal(100))


def product_mg(
    copper_target_mg_per_l: Decimal, volume_litres: Decimal, copper_percent: Decimal = PENTAHYDRATE_COPPER_PERCENT
) -> Decimal:
    """Milligrams of a copper salt for a target in mg/L of copper itself: target x V / percent, the last digit down.

    3.92908 mg of the pentahydrate per mg of copper. Never for a chelated product: its figures are on another scale.
    Target above 0 to 100 mg/L (a fish's is 0.2 at most), a percent above 0 to 100; raises Refused outside.
    """
    check("copper", copper_target_mg_per_l, "mg/L", 0, COPPER_MOST, above=True)
    check_litres("volume", volume_litres)
    check("copper in the product", copper_percent, "%", 0, 100, above=True)
    copper = _DOWN.multiply(copper_target_mg_per_l, volume_litres)
    return _DOWN.divide(_DOWN.multiply(copper, Decimal(100)), copper_percent)


def _by_alkalinity(alkalinity: Decimal) -> Decimal:
    if alkalinity < ALKALINITY_LEAST:
        raise Refused(
            f"The alkalinity may be as low as {show(alkalinity)} mg/L, and copper sulfate is not used below 50 mg/L"
            f" ({ALKALINITY_SOURCE}); raise the alkalinity first or choose another substance."
        )
    return min(alkalinity / 100, SULFATE_MOST)


def _by_hardness(hardness: Decimal) -> tuple[Decimal, Decimal]:
    for least, low, high in HARDNESS_BANDS:
        if hardness >= least:
            return low, high
    raise Refused(
        f"The hardness may be as low as {show(hardness)} mg/L, and copper sulfate is not used below 50 mg/L without a"
        f" trial in that water ({HARDNESS_SOURCE}); choose another substance."
    )


def _cautions(alkalinity_most: Decimal, hardness_most: Decimal) -> tuple[str, ...]:
    said = ["Soft water let in lowers both readings: read them again before any change or top-up (rule of this tool)."]
    if hardness_most > HARDNESS_MOST:
        said.append(f"Over 200 mg/L of hardness copper falls out of the water: unreliable ({HARDNESS_SOURCE}).")
    if alkalinity_most > HALF_ABOVE:
        said.append(
            "Over 120 mg/L of alkalinity half the amount is offered too: the margin of the rule narrows there"
            " (proposal of this project)."
        )
    return tuple(said)
