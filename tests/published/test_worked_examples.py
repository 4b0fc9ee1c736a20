"""Worked examples that printed sources give, and that units, volumes and levels alone can answer.

W-numbers are those of the project's own list of examples. The tolerance is half a unit of the source's last printed
digit, unless a reason for another stands beside it.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime
from decimal import Decimal

import pytest

from quarantine.dosing import (
    ceiling_in_ledger,
    counts_in_ledger,
    given_in_ledger,
    in_ledger,
    read_strength,
    strength_hold,
)
from quarantine.failures import Refused
from quarantine.formulary import Substance, by_water, level_unit, load, regimen
from quarantine.quantity import Quantity, read, show, to
from quarantine.water.formalin import formaldehyde_mg_per_l, solution_ml, ul_per_l_of_mass
from quarantine.water.level import Step, level
from quarantine.water.measuring import from_fill
from quarantine.water.volume import Volume, box_litres, cylinder_litres

FT = 30.48  # cm, NIST SP 811, 2008, appendix B
FT3 = 28.316846592  # L, NIST Handbook 44, appendix C
ACRE_FOOT = "43560 ft3"
AT = datetime(2026, 3, 1, 9, tzinfo=UTC)


def mass(mg_per_l: str, volume: str, unit: str, active: str = "1") -> Decimal:
    """The product that makes ``mg_per_l`` in ``volume``."""
    mg = Decimal(mg_per_l) * to(read(volume, "volume"), "L") / Decimal(active)
    return to(Quantity(mg, "mg"), unit)


def concentration(weighed: str, volume: str, unit: str = "mg/L") -> Decimal:
    """What ``weighed`` makes in ``volume``."""
    mg = to(read(weighed, "mass"), "mg")
    return to(Quantity(mg / to(read(volume, "volume"), "L"), "mg/L"), unit)


def test_w01_rectangular_tank() -> None:
    """W01: 12 x 3 x 3 ft is 108 ft3 (extension sheet, Use and Application of Salt in Aquaculture, reprint)."""
    assert box_litres(12 * FT, 3 * FT, 3 * FT) / FT3 == pytest.approx(108, abs=1e-9)


def test_w02_round_tank() -> None:
    """W02: 12 ft across, 4.5 ft deep, pi = 3.14 is 508.7 ft3 (the same sheet)."""
    assert cylinder_litres(12 * FT, 4.5 * FT) / FT3 * 3.14 / math.pi == pytest.approx(508.7, abs=0.05)


def test_w03_cubic_feet_to_gallons() -> None:
    """W03: a cubic foot is 7.48 US gallons (the same sheet)."""
    assert abs(to(read("1 ft3", "volume"), "USgal") - Decimal("7.48")) <= Decimal("0.005")


def test_w04_round_tank_and_formalin() -> None:
    """W04: 7.5 m across, 2 m deep, pi = 3.1415 is 88.35 m3; 200 uL/L of it 17,670 mL (bath calculation page, undated).

    The source rounds 88.355 down, so its own last digit is the tolerance.
    """
    litres = cylinder_litres(750, 200) * 3.1415 / math.pi
    assert litres / 1000 == pytest.approx(88.35, abs=0.01)
    assert litres * 200 / 1000 == pytest.approx(17670, abs=2)


def test_w11_metronidazole_for_a_gallon() -> None:
    """W11: 5 mg/L in a US gallon is 18.9 mg (IFAS Circular 716, Introduction to Freshwater Fish Parasites, reprint)."""
    assert abs(mass("5", "1 USgal", "mg") - Decimal("18.9")) <= Decimal("0.05")


def test_w12_nifurpirinol() -> None:
    """W12: 1 mg/L in 10 US gallons is 0.038 g, in 10 ft3 0.283 g.

    US Fish and Wildlife Service, Fish Hatchery Management, p. 281, 1982.
    """
    assert abs(mass("1", "10 USgal", "g") - Decimal("0.038")) <= Decimal("0.0005")
    assert abs(mass("1", "10 ft3", "g") - Decimal("0.283")) <= Decimal("0.0005")


@pytest.mark.parametrize(
    ("mg_per_l", "active", "pounds", "half_digit"),
    [("0.5", "1", "1.35", "0.005"), ("2", "1", "5.4", "0.05"), ("0.25", "0.8", "0.84", "0.005")],
)
def test_w15_w16_pounds_for_an_acre_foot(mg_per_l: str, active: str, pounds: str, half_digit: str) -> None:
    """W15, W16: pounds for an acre-foot (Fish Hatchery Management, pp. 277 and 283, 1982).

    The manual counts 2.70 lb for 1 mg/L where the exact figure is 2.7194: 0.72 % is added to the tolerance.
    """
    exact = mass(mg_per_l, ACRE_FOOT, "lb", active)
    assert abs(exact - Decimal(pounds)) <= exact * Decimal("0.0072") + Decimal(half_digit)


def test_w18_lufenuron() -> None:
    """W18: 409.8 mg in 1,000 US gallons (3,785 L) is about 0.1 mg/L.

    Mayer and others, Journal of Exotic Pet Medicine 22:65-69, 2013 (abstract).
    """
    assert abs(to(read("1000 USgal", "volume"), "L") - 3785) <= Decimal("0.5")
    assert abs(concentration("409.8 mg", "1000 USgal") - Decimal("0.1")) <= Decimal("0.05")


@pytest.mark.parametrize(("millilitres", "litres", "printed"), [(2, 100, 0.2), (5, 1000, 0.05)])
def test_w19_emamectin(millilitres: int, litres: int, printed: float) -> None:
    """W19: 2 mL of 10 mg/mL in 100 L is 0.2 mg/L, 5 mL in 1,000 L 0.05 mg/L, as the ledger has it.

    Encyclopedia of Parasitology, doi 10.1007/978-3-642-27769-6_5027-1; the concentrations are computed.
    """
    dose = Step("dose", AT, mass_mg_low=millilitres * 10.0, mass_mg_high=millilitres * 10.0)
    low, high = level([dose], Volume(litres, 0, ()), "none", AT)
    assert low == pytest.approx(printed, abs=1e-12)
    assert high == pytest.approx(printed, abs=1e-12)


def test_w28_pond() -> None:
    """W28: 100 x 109 ft and 4 ft deep is 43,600 ft3 (pond-supply tutorial, unsigned: common practice)."""
    assert box_litres(100 * FT, 109 * FT, 4 * FT) / FT3 == pytest.approx(43600, abs=1e-6)


@pytest.mark.parametrize(("pounds", "percent"), [("2.5 lb", "3"), ("1 lb", "1.2")])
def test_w30_salt(pounds: str, percent: str) -> None:
    """W30: 2.5 lb and 1 lb of salt in 10 US gallons are 3 % and 1.2 % (unsigned notes: common practice); 0.2 %."""
    made = concentration(pounds, "10 USgal", "% w/v")
    assert made == pytest.approx(Decimal(percent), rel=Decimal("0.002"))


def test_w36_copper_sulfate_in_a_reservoir() -> None:
    """W36: 0.5 mg/L copper from a product of 25 % in 15 million US gallons takes 250 lb.

    Mathematics and Statistics for the Environment, example 23.19; it counts 8.34 lb, so 0.2 % is the tolerance.
    """
    assert mass("0.5", "15000000 USgal", "lb", "0.25") == pytest.approx(Decimal(250), rel=Decimal("0.002"))


def test_w38_circular_pond() -> None:
    """W38: 80 m across, 1.5 m deep, pi 3.14 is 7,536 m3 (Roy, Common Fish Farming Calculation, chapters 3 and 4)."""
    assert cylinder_litres(8000, 150) / 1000 * 3.14 / math.pi == pytest.approx(7536, abs=1e-6)


@pytest.mark.parametrize(
    ("changes", "fraction", "left"), [(1, 0.5, 0.50), (2, 0.5, 0.25), (3, 0.5, 0.125), (4, 0.25, 0.316), (1, 0.9, 0.10)]
)
def test_what_water_changes_leave(changes: int, fraction: float, left: float) -> None:
    """What is left after equal changes is (1 - f)^n (computed; no published example was read), to its last digit."""
    dose = Step("dose", AT, mass_mg_low=100, mass_mg_high=100)
    change = Step("change", AT, out_litres=100 * fraction, in_litres=100 * fraction)
    found = level([dose, *[change] * changes], Volume(100, 0, ()), "none", AT)
    assert found.low == pytest.approx(left, abs=0.0005)
    assert found.high == pytest.approx(left, abs=0.0005)


def test_a_level_is_shown_safely() -> None:
    """Three changes of 25 % leave 0.84375 of 2 mg/L (computed), and the tool writes that number out."""
    dose = Step("dose", AT, mass_mg_low=200, mass_mg_high=200)
    found = level([dose, *[Step("change", AT, out_litres=25, in_litres=25)] * 3], Volume(100, 0, ()), "none", AT)
    assert found.high == pytest.approx(0.84375, abs=1e-12)
    assert show(Decimal(found.high or 0), 5) == "0.84375"


def test_w06_to_w08_a_drip_for_eggs() -> None:
    """W06 to W08: 5 gal/min for 15 min is 75 gal; at 1,667 ppm it takes 472.6 mL of formalin, and 473.4 mL of water to
    fill a bottle of 946 mL (extension slides, formalin drip treatment for eggs in bell jars, year not stated).

    The source counts 0.00378 g for a gallon where the exact figure is 0.0037854: 0.15 % is the tolerance.
    """
    drip = from_fill("5 USgal in 60 s for 900 s")
    gallons = to(Quantity(Decimal(repr(drip.litres)), "L"), "USgal")
    assert abs(gallons - 75) <= Decimal("1e-9")
    with pytest.raises(Refused):  # a strength for eggs is not computed for fish
        solution_ml(Decimal(1667), Decimal(repr(drip.litres)))
    formalin = 10 * solution_ml(Decimal("166.7"), Decimal(repr(drip.litres)))
    assert formalin == pytest.approx(Decimal("472.6"), rel=Decimal("0.0015"))
    assert 946 - formalin == pytest.approx(Decimal("473.4"), abs=Decimal("0.8"))


@pytest.mark.parametrize(("millilitres", "gallons", "printed"), [("1", "10", 2), ("0.05", "1", 1), ("0.1", "1", 2)])
def test_w09_w10_permanganate_stock(millilitres: str, gallons: str, printed: int) -> None:
    """W09, W10: 285 g in a US gallon; 1 mL into 10 gal is 2 mg/L, 1 or 2 drops (of 0.05 mL) into 1 gal 1 or 2 mg/L.

    University of Florida IFAS, Use of Potassium Permanganate to Control External Infections of Ornamental Fish, FA-37,
    1997 (reprint); 1 % is the tolerance, and drops are no measure of this tool.
    """
    stock = concentration("285 g", "1 USgal")
    made = stock * Decimal(millilitres) / 1000 / to(read(f"{gallons} USgal", "volume"), "L")
    assert made == pytest.approx(Decimal(printed), rel=Decimal("0.01"))


def test_w27_half_an_acre() -> None:
    """W27: half an acre, 4 ft deep, holds 2 acre-feet, 5,440,000 lb of water at 2,720,000 lb each (pond-supply
    tutorial, unsigned: common practice). A pound is its own millionth at 1 mg/L: 2.7194 lb exactly, so 0.03 %."""
    cubic_feet = Decimal(repr(box_litres(147.58 * FT, 147.58 * FT, 4 * FT) / FT3))
    assert cubic_feet / 43560 == pytest.approx(Decimal(2), rel=Decimal("0.0001"))
    assert mass("1000000", f"{2 * 43560} ft3", "lb") == pytest.approx(Decimal(5440000), rel=Decimal("0.0003"))


def test_w32_methylene_blue() -> None:
    """W32: 5 mL of 2.303 % into 10 US gallons are about 3 mg/L, 3.04 exactly (common practice, no source; computed)."""
    grams = Decimal(5) * to(read("2.303 % w/v", "concentration"), "g/L") / 1000
    assert concentration(f"{grams} g", "10 USgal") == pytest.approx(Decimal("3.04"), abs=Decimal("0.005"))
    assert concentration(f"{grams} g", "10 USgal") == pytest.approx(Decimal(3), rel=Decimal("0.02"))


def test_w38_a_pond_of_two_parallel_sides() -> None:
    """W38: sides of 60 and 90 m, 40 m apart, 1.5 m deep is 4,500 m3 (Roy, Common Fish Farming Calculation, chapters 3
    and 4, year not stated): a box of the mean width."""
    assert box_litres((6000 + 9000) / 2, 4000, 150) / 1000 == pytest.approx(4500, abs=1e-6)


# --- Formalin and copper, through what doses them ---------------------------------------------------------------------

FORMALIN, COPPER = load("formalin"), load("copper")
SULFATE = "100 % as CuSO4.5H2O"


def in_water(product: str, amount: str, substance: Substance, volume: str) -> Decimal:
    """What so much of a product gives in a volume, in the ledger's unit (uL/L of formalin, mg/L of copper)."""
    kind = "volume" if amount.endswith("mL") else "mass"
    put_in = given_in_ledger(substance, read_strength(product, substance), read(amount, kind))
    return put_in / to(read(volume, "volume"), "L")


def copper_rule(alkalinity: str, use: str) -> Decimal | None:
    """The freshwater rule by alkalinity alone, mg/L of the pentahydrate."""
    row = regimen("C01")[1]
    alone = row._replace(water_rules=tuple(rule for rule in row.water_rules if rule.by == "alkalinity"))
    found = by_water(alone, use, {"alkalinity": Decimal(alkalinity)})
    return found and found.value


def test_w14_formalin_by_weight() -> None:
    """W14: 167 ppm by weight in 10 ft3 are 43.8 mL (US Fish and Wildlife Service, Fish Hatchery Management, p. 276,
    1982; the density of 1.08 is inferred). Counted by volume it would be 47.3: so that row stays as printed."""
    assert solution_ml(ul_per_l_of_mass(Decimal(167)), to(read("10 ft3", "volume"), "L")) == pytest.approx(
        Decimal("43.8"), abs=Decimal("0.05")
    )
    assert not counts_in_ledger(FORMALIN, level_unit(regimen("F03")[1]))


def test_w20_to_w22_the_copper_rule() -> None:
    """W20 to W22: alkalinity 100 allows 1 mg/L of pentahydrate, about 0.25 of copper (Boyd, Global Seafood Alliance,
    year not stated); over 250 never more than 2.5; under 50 none (IFAS FA008, year not stated; 300 is ours)."""
    assert copper_rule("100", "ceiling") == 1
    as_copper = in_ledger(COPPER, Quantity(Decimal(1), "mg/L copper sulfate pentahydrate"))
    assert as_copper == pytest.approx(Decimal("0.25"), abs=Decimal("0.005"))
    assert as_copper == pytest.approx(Decimal("0.2545"), rel=Decimal("0.02"))
    assert copper_rule("300", "ceiling") == Decimal("2.5")
    assert copper_rule("49", "ceiling") is None


@pytest.mark.parametrize(("ul_per_l", "printed"), [("100", 37), ("65.8", 24)])
def test_w25_formaldehyde_in_formalin(ul_per_l: str, printed: int) -> None:
    """W25: 100 uL/L hold 37 mg/L of formaldehyde, 65.8 hold 24 (US label, year not stated; the label rounds)."""
    assert formaldehyde_mg_per_l(Decimal(ul_per_l))[0] == pytest.approx(Decimal(printed), abs=Decimal("0.5"))


def test_w26_formaldehyde_as_formalin() -> None:
    """W26: 14.8 mg/L of formaldehyde are 40 mg/L of formalin (abstract, source S65 of the notes), 2.7 times as much: a
    strength that does not say which of the two it counts is held."""
    assert formaldehyde_mg_per_l(Decimal(40))[0] == Decimal("14.8")
    assert strength_hold(FORMALIN, None, read_strength("37 %", FORMALIN)) is not None


def test_w33_one_millilitre_in_ten_gallons_is_more_than_printed() -> None:
    """W33: 1 mL in 10 US gallons is printed as 25 mg/L (common practice, no source) and is 26.4 uL/L: over the ceiling,
    and what is shown for 25 uL/L there is 0.9 mL (0.946 before the syringe)."""
    found = in_water("37 % formaldehyde", "1 mL", FORMALIN, "10 USgal")
    assert found == pytest.approx(Decimal("26.4"), abs=Decimal("0.05"))
    assert found > Decimal(25) * Decimal("1.05")
    ceiling = ceiling_in_ledger(FORMALIN, regimen("F07")[1])
    assert ceiling is not None
    assert found > ceiling
    assert solution_ml(Decimal(25), to(read("10 USgal", "volume"), "L")) == pytest.approx(
        Decimal("0.946"), abs=Decimal("0.0005")
    )


def test_w36_copper_of_a_product_that_says_its_copper() -> None:
    """W36 again, by the product: 250 lb with 25 % Cu give 0.5 mg/L of copper in 15 million US gallons; counted as the
    pentahydrate they would give more than twice that (what-when-how.com, example 23.19, year not stated; 0.2 %)."""
    assert in_water("25 % Cu", "250 lb", COPPER, "15000000 USgal") == pytest.approx(
        Decimal("0.5"), rel=Decimal("0.002")
    )


def test_w37_a_stock_of_copper_and_its_slip_of_the_unit() -> None:
    """W37: 1 g of the pentahydrate in 250 mL is printed as 1 mg of copper in 1 mL (1.018), and 200 L to 0.15 mg/L as
    30 mL (29.5); the page prints "30 grams" for 30 mg, which would be 190 times the ceiling (fish-health page: common
    practice, no source; 2 %)."""
    per_ml = given_in_ledger(COPPER, read_strength(SULFATE, COPPER), read("1 g", "mass")) / 250
    assert per_ml == pytest.approx(Decimal(1), rel=Decimal("0.02"))
    assert Decimal("0.15") * 200 / per_ml == pytest.approx(Decimal(30), rel=Decimal("0.02"))
    slip = in_water(SULFATE, "30 g", COPPER, "200 L")
    assert slip == pytest.approx(Decimal("38.2"), abs=Decimal("0.05"))
    ceiling = ceiling_in_ledger(COPPER, regimen("C04")[1])
    assert ceiling is not None
    assert slip > 100 * ceiling


# --- Printed figures that do not reproduce: never used, and caught ----------------------------------------------------


def test_salt_that_is_labelled_twice_the_same_is_caught() -> None:
    """Tilapia notes (unsigned, common practice): 0.15 and 0.25 lb in 10 US gallons are both called 0.18 %; the second
    is 0.30 %."""
    assert concentration("0.15 lb", "10 USgal", "% w/v") == pytest.approx(Decimal("0.18"), abs=Decimal("0.005"))
    assert concentration("0.25 lb", "10 USgal", "% w/v") == pytest.approx(Decimal("0.30"), abs=Decimal("0.005"))


def test_parts_that_are_off_by_a_thousand_are_caught() -> None:
    """A course page after the FAO (source S86, year not stated) takes ppm for mg in a cubic metre and ppt for mg in a
    litre: here ppm is mg/L, a cubic metre is 1000 L, and ppt is refused."""
    assert read("5 ppm", "concentration") == Quantity(Decimal(5), "mg/L")
    assert to(read("1 m3", "volume"), "L") == 1000
    with pytest.raises(Refused, match="more than one way"):
        read("5 ppt", "concentration")


def test_bleach_that_is_printed_at_half_its_strength_is_caught() -> None:
    """Merck manual (year not stated): 35 mL of 3 to 6 % bleach in a US gallon are said to give 200 mg/L. Taken as % w/v
    of hypochlorite they hold 277 to 555 mg/L, which is never 200."""
    low, high = (
        Decimal(35) * to(read(f"{percent} % w/v", "concentration"), "mg/L") / 1000 / to(read("1 USgal", "volume"), "L")
        for percent in (3, 6)
    )
    assert low == pytest.approx(Decimal(277), abs=Decimal("0.5"))
    assert high == pytest.approx(Decimal(555), abs=Decimal("0.5"))
    assert low > 200 * Decimal("1.3")
