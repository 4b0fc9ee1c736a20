"""Unit factors and conversions against published figures.

NIST, Guide for the Use of the International System of Units, Special Publication 811, 2008, appendix B, and NIST,
Handbook 44, appendix C, General Tables of Units of Measurement: the exact factors (seen in reprints that quote
them; the tables themselves from memory). Other sources stand beside their figures.
"""

from __future__ import annotations

from decimal import Decimal

import pint
import pytest

from quarantine.failures import Refused
from quarantine.quantity import Quantity, floor_to, rate_in, read, read_rate, to
from quarantine.water.chlorine import BASES, HYPOCHLORITE_TO_CHLORINE, bleach_ml
from quarantine.water.formalin import formaldehyde_mg_per_l

UNITS = pint.UnitRegistry()


@pytest.mark.parametrize(
    ("typed", "kind", "unit", "expected"),
    [
        ("1 USgal", "volume", "L", "3.785411784"),  # NIST Handbook 44, appendix C
        ("1 impgal", "volume", "L", "4.54609"),  # NIST SP 811, 2008, appendix B
        ("1 in3", "volume", "mL", "16.387064"),  # NIST Handbook 44, appendix C
        ("1 ft3", "volume", "L", "28.316846592"),  # NIST Handbook 44, appendix C
        ("1 USfloz", "volume", "mL", "29.5735295625"),  # NIST Handbook 44, appendix C
        ("1 impfloz", "volume", "mL", "28.4130625"),  # NIST Handbook 44, appendix C
        ("1 lb", "mass", "g", "453.59237"),  # NIST SP 811, 2008, appendix B
        ("1 oz", "mass", "g", "28.349523125"),  # NIST Handbook 44, appendix C
        ("1 grain", "mass", "mg", "64.79891"),  # lb/7000, from memory
        ("1 in", "length", "cm", "2.54"),  # NIST SP 811, 2008, appendix B
        ("1 ft", "length", "cm", "30.48"),  # from memory
        ("20 USgal", "volume", "L", "75.70823568"),  # exact, from the factor
        ("10 impgal", "volume", "L", "45.4609"),  # exact, from the factor
        ("1 % w/v", "concentration", "g/L", "10"),  # Virginia Department of Wildlife Resources, application rates
        ("32 °F", "temperature", "°C", "0"),  # (F - 32) / 1.8, Virginia Department of Wildlife Resources
        ("68 °F", "temperature", "°C", "20"),
        ("77 °F", "temperature", "°C", "25"),
        ("82.4 °F", "temperature", "°C", "28"),
        ("86 °F", "temperature", "°C", "30"),
        ("28 °C", "temperature", "°F", "82.4"),
        ("1 m3", "volume", "L", "1000"),
        ("1 weeks", "duration", "h", "168"),
    ],
)
def test_exact_factors(typed: str, kind: str, unit: str, expected: str) -> None:
    """A conversion whose decimal ends is exact, to the last digit."""
    assert to(read(typed, kind), unit) == Decimal(expected)


def test_minus_forty_is_the_same_on_both_scales() -> None:
    """-40 °F is -40 °C exactly (definition of the scales)."""
    assert to(Quantity(Decimal(-40), "°F"), "°C") == Decimal(-40)


def _mass(mg_per_l: int, typed: str, unit: str) -> Decimal:
    """The mass that makes a concentration in a volume, in ``unit``."""
    return to(Quantity(mg_per_l * to(read(typed, "volume"), "L"), "mg"), unit)


@pytest.mark.parametrize(
    ("mg_per_l", "typed", "unit", "printed", "tolerance"),
    [
        # Virginia Department of Wildlife Resources, Formulas for Determining Application Rates, undated.
        (1, "1 USgal", "g", "0.0038", "0.00005"),
        (1, "1 ft3", "g", "0.0283", "0.00005"),
        (10000, "1 USgal", "g", "38", "0.5"),
        (10000, "1 USgal", "oz", "1.34", "0.005"),
        # Mississippi State University Extension, 2011, conversion table as reprinted; its last digit is off by one.
        (1, "1 USgal", "grain", "0.058419", "0.000002"),
        (1, "1 impgal", "grain", "0.07016", "0.000005"),
        (1, "1000000 USgal", "lb", "8.345", "0.0005"),
        # An acre-foot is 43,560 ft3. Virginia Department of Wildlife Resources and Mississippi State, as above.
        (1, "43560 ft3", "lb", "2.72", "0.005"),
        (1, "43560 ft3", "g", "1233", "0.5"),
        # Computed from the exact factors, no printed source.
        (1000, "100 USgal", "lb", "0.834540", "0.000001"),
    ],
)
def test_mass_for_one_milligram_per_litre(mg_per_l: int, typed: str, unit: str, printed: str, tolerance: str) -> None:
    """The mass for a concentration in a volume agrees with the printed factor within its last digit."""
    assert abs(_mass(mg_per_l, typed, unit) - Decimal(printed)) <= Decimal(tolerance)


# --- A units library, and relations of concentrations --------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "kind", "unit", "theirs", "their_unit"),
    [
        ("1 USgal", "volume", "L", "gallon", "liter"),
        ("1 impgal", "volume", "L", "imperial_gallon", "liter"),
        ("1 in3", "volume", "mL", "inch ** 3", "milliliter"),
        ("1 ft3", "volume", "L", "foot ** 3", "liter"),
        ("1 USfloz", "volume", "mL", "fluid_ounce", "milliliter"),
        ("1 impfloz", "volume", "mL", "imperial_fluid_ounce", "milliliter"),
        ("1 lb", "mass", "g", "pound", "gram"),
        ("1 oz", "mass", "g", "ounce", "gram"),
        ("1 grain", "mass", "mg", "grain", "milligram"),
        ("1 in", "length", "cm", "inch", "centimeter"),
        ("1 ft", "length", "cm", "foot", "centimeter"),
    ],
)
def test_factors_by_a_units_library(typed: str, kind: str, unit: str, theirs: str, their_unit: str) -> None:
    """Every factor agrees with the library pint 0.25 (built on NIST's) to 3.3e-16, the last bit of a float."""
    expected = UNITS.Quantity(1, theirs).to(their_unit).magnitude
    assert float(to(read(typed, kind), unit)) == pytest.approx(expected, rel=3.4e-16)


@pytest.mark.parametrize("fahrenheit", ["32", "68", "77", "82.4", "86", "-40"])
def test_temperatures_by_a_units_library(fahrenheit: str) -> None:
    """pint 0.25 returns 20.00000000000006 for 68 °F, so 1e-12 of a degree is the tolerance."""
    expected = UNITS.Quantity(float(fahrenheit), "degF").to("degC").magnitude
    assert float(to(Quantity(Decimal(fahrenheit), "°F"), "°C")) == pytest.approx(expected, abs=1e-12)


def test_the_acre_foot_of_the_library_is_another() -> None:
    """pint's acre-foot counts survey feet: 1233.48924 m3, 6.0e-6 more than 43,560 cubic feet (computed)."""
    ours = float(to(read("43560 ft3", "volume"), "L")) / 1000
    assert ours == pytest.approx(1233.48184, abs=0.000005)
    theirs = UNITS.Quantity(1, "acre_foot").to("m**3").magnitude
    assert theirs / ours - 1 == pytest.approx(6.0e-6, abs=0.05e-6)


@pytest.mark.parametrize(
    ("typed", "unit", "exact", "tolerance"),
    [
        ("1 USgal", "g", "0.003785411784", "1e-12"),
        ("1 ft3", "g", "0.028316846592", "1e-12"),
        ("1 USgal", "grain", "0.05841783", "0.000000005"),
        ("1 impgal", "grain", "0.07015689", "0.000000005"),
        ("1000000 USgal", "lb", "8.345404", "0.0000005"),
        ("43560 ft3", "lb", "2.7194", "0.00005"),
        ("43560 ft3", "g", "1233.48", "0.005"),
    ],
)
def test_mass_for_one_milligram_per_litre_exactly(typed: str, unit: str, exact: str, tolerance: str) -> None:
    """The same products to more digits than are printed (computed from the exact factors, no printed source)."""
    assert abs(_mass(1, typed, unit) - Decimal(exact)) <= Decimal(tolerance)


def test_a_grain_in_a_gallon() -> None:
    """1 grain in a US gallon is 17.11806 mg/L (computed from the exact factors)."""
    found = to(read("1 grain", "mass"), "mg") / to(read("1 USgal", "volume"), "L")
    assert abs(found - Decimal("17.11806")) <= Decimal("0.000005")


def test_a_strength_by_weight_needs_the_specific_gravity() -> None:
    """c(g/L) = 10 x % x SG: 37 % at 1.08 is 399.6 g/L, 8.25 % at 1.11 is 91.575 g/L (computed). Chlorine of the
    second is 0.95246 of it, which the bleach room gives back."""
    by_weight = formaldehyde_mg_per_l(Decimal(1))[1]  # of 1 uL/L of a solution of 37 % and 1.08
    assert by_weight * 1000 == Decimal("399.6")
    grams_per_l = bleach_ml(Decimal(1000), Decimal(1), Decimal("8.25"), BASES[0], Decimal("1.11"))
    assert abs(1000 / grams_per_l / HYPOCHLORITE_TO_CHLORINE - Decimal("91.575")) <= Decimal("1e-9")


def test_tablets_are_never_rounded_up() -> None:
    """20 mg/L in 20 US gal from tablets of 250 mg is 6.0567, so 6 (computed)."""
    tablets = 20 * to(read("20 USgal", "volume"), "L") / 250
    assert abs(tablets - Decimal("6.0567")) <= Decimal("0.00005")
    assert floor_to(tablets, Decimal(1)) == 6


def test_one_percent_in_a_gallon() -> None:
    """1 % is 37.854 g and 1.3353 oz in a US gallon (computed; Virginia prints 38 and 1.34, above)."""
    assert abs(_mass(10000, "1 USgal", "g") - Decimal("37.854")) <= Decimal("0.0005")
    assert abs(_mass(10000, "1 USgal", "oz") - Decimal("1.3353")) <= Decimal("0.00005")


@pytest.mark.parametrize(
    ("label", "unit", "theirs", "their_unit"),
    [
        ("2 mg/L", "ug/L", "2 mg/liter", "ug/liter"),
        ("2 mL per 40 L", "uL/L", "2 milliliter / (40 liter)", "microliter/liter"),
        ("1 g/L", "mg/L", "1 gram/liter", "mg/liter"),
        ("0.3 % salt", "mg/L", "0.3 gram / (100 milliliter)", "mg/liter"),
        ("5 g per 100 L", "mg/L", "5 gram / (100 liter)", "mg/liter"),
        ("0.1 ounce (avoirdupois) per 100 US gal", "mg/L", "0.1 ounce / (100 gallon)", "mg/liter"),
        ("1 lb per 100 impgal", "mg/L", "1 pound / (100 imperial_gallon)", "mg/liter"),
        ("3 grains per ft3", "mg/L", "3 grain / foot**3", "mg/liter"),
        ("2 USfloz per 10 USgal", "mL/L", "2 fluid_ounce / (10 gallon)", "milliliter/liter"),
        ("50 mg per kg fish", "mg/g fish", "50 mg / kg", "mg/gram"),
        ("10 mg per g food", "g/lb food", "10 mg / gram", "gram/pound"),
    ],
)
def test_F17_every_form_of_a_rate_by_a_units_library(label: str, unit: str, theirs: str, their_unit: str) -> None:
    """pint 0.25 divides amount by amount in floats; ours is exact: they agree to a few last bits (1e-14)."""
    expected = UNITS.Quantity(theirs).to(their_unit).magnitude
    assert float(rate_in(read_rate(label), unit)) == pytest.approx(expected, rel=1e-14)


@pytest.mark.parametrize(
    ("label", "printed_percent", "tolerance"),
    [("0.15 lb per 10 USgal", "0.18", "0.005"), ("0.25 lb per 10 USgal", "0.30", "0.005")],
)
def test_F17_percent_salt_is_grams_in_100_millilitres(label: str, printed_percent: str, tolerance: str) -> None:
    """Treatment notes, section 2, source S29: 0.15 lb in 10 US gallons is called 0.18 % salt; its 0.25 lb, printed with
    the same 0.18 %, is really 0.30 % (recomputed there). So a percent of salt is by weight in volume."""
    assert abs(rate_in(read_rate(label), "% salt") - Decimal(printed_percent)) <= Decimal(tolerance)


@pytest.mark.parametrize(
    ("label", "says"),
    [
        ("1 mL per 10 US gal", "26.42"),  # calculations, section i: really 26.42 uL/L, not the 25 ppm of the rule
        ("5.9 mL per 10 USgal", "155.86"),  # computed from the exact gallon, no printed source
    ],
)
def test_F17_a_rule_of_thumb_recomputed(label: str, says: str) -> None:
    """A veterinary article's "1 mL per 10 US gallons is 25 ppm" (title and year not recorded) is 26.42 uL/L."""
    assert abs(rate_in(read_rate(label), "uL/L") - Decimal(says)) <= Decimal("0.005")


@pytest.mark.parametrize("unit", ["drops", "tsp", "tbsp", "spoons"])
def test_drops_and_spoons_are_refused(unit: str) -> None:
    """A dropper is off by up to 15 % (USP 32, chapter 1101, Medicine Dropper, 2009, its year from memory); 71 household
    teaspoons held 2.5 to 7.3 mL (Int J Clin Pract 2010;64:1185-9, abstract, title not recorded, 2010)."""
    with pytest.raises(Refused):
        read(f"3 {unit}", "volume")
