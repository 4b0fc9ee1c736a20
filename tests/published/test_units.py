"""Unit factors and conversions against published figures.

NIST, Guide for the Use of the International System of Units, Special Publication 811, 2008, appendix B, and NIST,
Handbook 44, appendix C, General Tables of Units of Measurement: the exact factors (seen in reprints that quote
them; the tables themselves from memory). Other sources stand beside their figures.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from quarantine.quantity import Quantity, read, to


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
