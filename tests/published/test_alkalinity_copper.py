"""Alkalinity, hardness and copper sulfate against printed rules and worked examples."""

from __future__ import annotations

from decimal import Decimal

import pint
import pytest

from quarantine.failures import Refused
from quarantine.quantity import Quantity, read, to
from quarantine.water.copper import (
    ANHYDROUS_COPPER_PERCENT,
    PENTAHYDRATE_COPPER_PERCENT,
    bicarbonate_grams,
    carbonate_mg_per_l,
    copper_mg_per_l,
    hardness_mg_per_l,
    product_mg,
    sulfate_limit,
)

D = Decimal


def near(found: Decimal, expected: str, tolerance: str) -> bool:
    return abs(found - D(expected)) <= D(tolerance)


@pytest.mark.parametrize(
    ("value", "unit", "mg_per_l", "tolerance"),
    [
        ("1", "dKH", "17.84796", "0.0001"),  # computed from IUPAC weights
        ("1", "dKH", "17.848", "0.0005"),  # several pages, undated
        ("1", "meq/L", "50.043", "0.0005"),  # computed
        ("2.80385", "dKH", "50.043", "0.0001"),  # computed: 1 meq/L
        ("0.356652", "meq/L", "17.84796", "0.0001"),  # computed: 1 dKH
        ("0.357", "meq/L", "17.8", "0.07"),  # unit table of a water chemist, undated: 1 dH = 0.357 meq/L = 17.8 mg/L
        ("1.253", "English degree", "17.84796", "0.0143"),  # the same table: 1 dH = 1.253 English degrees
        ("2.805", "dKH", "50", "0.09"),  # FAO, glossary, year not stated (reprint): 50 mg/L = 2.805 dH
        ("2.8014", "dKH", "50", "0.001"),  # computed
        ("5.6029", "dKH", "100", "0.001"),  # computed
        ("1.99828", "meq/L", "100", "0.0003"),  # computed
        ("1", "English degree", "14.2538", "0.00005"),  # computed
        ("1", "grain/USgal", "17.1181", "0.00005"),  # computed
    ],
)
def test_units_of_alkalinity(value: str, unit: str, mg_per_l: str, tolerance: str) -> None:
    """Degrees and milliequivalents in mg/L as calcium carbonate, within the last digit that is printed."""
    assert near(carbonate_mg_per_l(D(value), unit), mg_per_l, tolerance)


def test_degrees_of_grains_and_gallons_by_a_units_library() -> None:
    """1 grain in a gallon, US and imperial, agrees with the library pint 0.25 (which is built on NIST's factors)."""
    units = pint.UnitRegistry()
    for ours, theirs in (("grain/USgal", "grain/gallon"), ("English degree", "grain/imperial_gallon")):
        expected = units.Quantity(1, theirs).to("mg/L").magnitude
        assert float(carbonate_mg_per_l(D(1), ours)) == pytest.approx(expected, rel=1e-12)


def test_hardness_of_calcium_and_magnesium() -> None:
    """Ca 72 and Mg 26 mg/L is 286.87 mg/L (computed); the worked example prints 286 (water chemistry page, undated)."""
    assert near(hardness_mg_per_l(D(72), D(26)), "286.87", "0.005")
    assert near(hardness_mg_per_l(D(72), D(26)), "286", "1")
    assert near(hardness_mg_per_l(D(1), D(0)), "2.4973", "0.00005")
    assert near(hardness_mg_per_l(D(0), D(1)), "4.1179", "0.00005")


def test_bicarbonate_for_one_degree() -> None:
    """1 dKH more in 100 L takes 2.9961 g of sodium bicarbonate (computed)."""
    assert near(bicarbonate_grams(carbonate_mg_per_l(D(1), "dKH"), D(100)), "2.9961", "0.0001")


def test_copper_in_its_sulfate() -> None:
    """25.451 % in the pentahydrate and 39.815 % in the anhydrous salt (IUPAC weights, from memory); with an older
    sulfur the pentahydrate is 249.685 g/mol (a copy, undated), which gives 25.45 as well."""
    assert near(PENTAHYDRATE_COPPER_PERCENT, "25.451", "0.0005")
    assert near(ANHYDROUS_COPPER_PERCENT, "39.815", "0.0005")
    assert near(PENTAHYDRATE_COPPER_PERCENT, str(6354.6 / 249.685), "0.001")
    assert near(product_mg(D(1), D(1)), "3.92908", "0.000005")


SOFT = (D(200), D(200))  # hardness at which the hardness rule does not bind below 2 mg/L


@pytest.mark.parametrize(
    ("alkalinity", "sulfate", "copper"),
    [
        ("50", "0.50", "0.12726"),
        ("100", "1.00", "0.25451"),
        ("150", "1.50", "0.38177"),
        ("250", "2.50", "0.63628"),
        ("300", "2.50", "0.63628"),
        ("120", "1.20", "0.30542"),
    ],
)
def test_the_alkalinity_rule(alkalinity: str, sulfate: str, copper: str) -> None:
    """Univ. of Florida IFAS EDIS, Use of Copper in Freshwater Aquaculture and Farm Ponds, FA-13/FA008 (year not
    stated): alkalinity / 100, at most 2.5 mg/L; the copper in it is computed."""
    found = sulfate_limit((D(alkalinity), D(alkalinity)), SOFT)
    assert found.alkalinity_mg_per_l == D(sulfate)
    assert near(copper_mg_per_l(D(sulfate)), copper, "0.00001")


@pytest.mark.parametrize("alkalinity", ["0", "49", "49.99"])
def test_the_alkalinity_rule_refuses_soft_water(alkalinity: str) -> None:
    """FA-13/FA008: not below 50 mg/L of alkalinity."""
    with pytest.raises(Refused, match="not used below 50 mg/L"):
        sulfate_limit((D(alkalinity), D(100)), SOFT)


@pytest.mark.parametrize(
    ("hardness", "low", "high"),
    [
        ("50", "0.5", "0.75"),
        ("99", "0.5", "0.75"),
        ("100", "0.75", "1.0"),
        ("149", "0.75", "1.0"),
        ("150", "1.0", "2.0"),
        ("200", "1.0", "2.0"),
    ],
)
def test_the_hardness_rule(hardness: str, low: str, high: str) -> None:
    """US Fish and Wildlife Service, Fish Hatchery Management, 1982, page 277: three bands of total hardness."""
    found = sulfate_limit((D(300), D(300)), (D(hardness), D(hardness)))
    assert (found.hardness_low_mg_per_l, found.hardness_high_mg_per_l) == (D(low), D(high))


@pytest.mark.parametrize("hardness", ["0", "49", "49.9"])
def test_the_hardness_rule_refuses_soft_water(hardness: str) -> None:
    """Fish Hatchery Management, 1982, page 277: 0 to 49 mg/L, no use without a trial."""
    with pytest.raises(Refused, match="hardness may be as low as"):
        sulfate_limit((D(300), D(300)), (D(hardness), D(100)))


@pytest.mark.parametrize(
    ("alkalinity", "hardness", "allowed", "by"),
    [
        ("99", "99", "0.75", "hardness"),
        ("149", "149", "1.0", "hardness"),
        ("200", "200", "2.00", "alkalinity"),
        ("60", "150", "0.60", "alkalinity"),
        ("300", "300", "2.0", "hardness"),
    ],
)
def test_the_lower_of_the_two_rules(alkalinity: str, hardness: str, allowed: str, by: str) -> None:
    """The two printed rules part at the top of each band; the lower one is taken (rule C17)."""
    found = sulfate_limit((D(alkalinity), D(alkalinity)), (D(hardness), D(hardness)))
    assert (found.mg_per_l, found.by) == (D(allowed), by)


# 96 h LC50 of channel catfish, mg/L Cu: Straus and Tucker, J. World Aquacult. Soc., 1993 (abstract; names and year from
# memory). What the rule doses, as copper, and the margin: computed.
@pytest.mark.parametrize(
    ("alkalinity", "lc50", "dosed", "margin"),
    [
        ("16", "0.05", "0.041", "1.2"),
        ("76", "0.73", "0.193", "3.8"),
        ("127", "0.95", "0.323", "2.9"),
        ("240", "0.98", "0.611", "1.6"),
    ],
)
def test_the_margin_of_the_alkalinity_rule(alkalinity: str, lc50: str, dosed: str, margin: str) -> None:
    """The rule leaves 3.8-fold room at 76 and 1.6-fold at 240 mg/L, where half of it is offered too; 16 is refused."""
    copper = copper_mg_per_l(D(alkalinity) / 100)
    assert near(copper, dosed, "0.0005")
    assert near(D(lc50) / copper, margin, "0.051")
    if D(alkalinity) < 50:
        with pytest.raises(Refused):
            sulfate_limit((D(alkalinity), D(alkalinity)), SOFT)
    else:
        half = sulfate_limit((D(alkalinity), D(alkalinity)), SOFT).half_mg_per_l
        assert (half is not None) == (D(alkalinity) > 120)


def test_copper_sulfate_in_twenty_gallons() -> None:
    """Alkalinity 120 in 20 US gal: 1.20 mg/L, 90.850 mg of product (exact arithmetic)."""
    rate = sulfate_limit((D(120), D(120)), SOFT).mg_per_l
    assert near(rate * to(read("20 USgal", "volume"), "L"), "90.850", "0.0005")


def test_product_for_a_copper_target() -> None:
    """0.2 mg/L of copper in 100 L: 78.5815 mg of product; a stock of 1 mg/mL: 3.92908 g in a litre (computed)."""
    assert near(product_mg(D("0.2"), D(100)), "78.5815", "0.0001")
    assert near(product_mg(D(100), D(10)) / 1000, "3.92908", "0.000005")


def test_a_printed_pond_example() -> None:
    """0.5 mg/L of copper in 15 million US gal from a product of 25 %: 250 lb (Environmental mathematics text, example
    23.19, year not stated, with rounded factors); 250.36 with exact ones."""
    litres = to(read("1 USgal", "volume"), "L") * 600_000
    pounds = 25 * to(Quantity(product_mg(D("0.5"), litres, D(25)), "mg"), "lb")
    assert near(pounds, "250.36", "0.005")
    assert near(pounds, "250", "0.5")


def test_alkalinity_rule_as_an_association_prints_it() -> None:
    """Alkalinity 100: at most 1 mg/L of sulfate, about 0.25 mg/L of copper (Global Seafood Alliance, Copper use in
    aquaculture, year not stated)."""
    rate = sulfate_limit((D(100), D(100)), SOFT).mg_per_l
    assert rate == 1
    assert near(copper_mg_per_l(rate), "0.25", "0.005")


def test_a_printed_stock_of_copper() -> None:
    """1 g in 250 mL is 1.018 mg/mL and 200 L to 0.15 mg/L takes 29.5 mL; the page (common practice, undated) prints
    1 mg/mL and 30, 2 % away."""
    per_ml = 1000 * PENTAHYDRATE_COPPER_PERCENT / 100 / 250
    assert near(per_ml, "1.018", "0.0005")
    ml = product_mg(D("0.15"), D(200)) / 4
    assert near(ml, "29.5", "0.05")
    assert near(ml, "30", "0.6")
