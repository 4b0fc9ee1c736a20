"""Formalin against US label pairs and the two conventions that print uses."""

from __future__ import annotations

from decimal import Decimal

import pytest

from quarantine.quantity import read, to
from quarantine.water.formalin import (
    formaldehyde_mg_per_l,
    mg_per_l_of_volume,
    of_source_ppm,
    oxygen_taken_mg_per_l,
    solution_ml,
    ul_per_l_of_mass,
)

D = Decimal


def near(found: Decimal, expected: str, tolerance: str) -> bool:
    return abs(found - D(expected)) <= D(tolerance)


# US label of a 37 % formalin (toxicity section, year not stated): uL/L of solution and mg/L of formaldehyde.
@pytest.mark.parametrize(
    ("ul_per_l", "formaldehyde"),
    [("143", "53"), ("65.8", "24"), ("100", "37"), ("30", "11")],
)
def test_label_pairs_are_weight_in_volume(ul_per_l: str, formaldehyde: str) -> None:
    """The label's pairs are 37 g in 100 mL, within their rounding; by weight they would be 8 % more (.3996)."""
    by_volume, by_weight = formaldehyde_mg_per_l(D(ul_per_l))
    assert near(by_volume, formaldehyde, "0.5")
    assert by_weight / by_volume == D("1.08")


@pytest.mark.parametrize(
    ("ul_per_l", "formaldehyde", "tolerance"),
    [
        ("1230", "455", "0.5"),
        ("495", "183", "0.5"),
        ("2290", "847", "0.5"),
        ("1030", "381", "0.5"),
        ("940", "347", "1"),
    ],
)
def test_label_pairs_over_what_fish_stand(ul_per_l: str, formaldehyde: str, tolerance: str) -> None:
    """The label's lethal levels have the same ratio (347 is cut from 347.8); a tenth of each is in our range."""
    scaled = formaldehyde_mg_per_l(D(ul_per_l) / 10)[0] * 10
    assert near(scaled, formaldehyde, tolerance)


def test_dose_by_volume() -> None:
    """25 uL/L: 1.8925 mL in 75.7 L, 0.94635 mL in 10 US gal; 250 uL/L in 10 US gal: 9.4635 mL (computed)."""
    ten = to(read("10 USgal", "volume"), "L")
    assert near(solution_ml(D(25), D("75.7")), "1.8925", "0.00005")
    assert near(solution_ml(D(25), ten), "0.94635", "0.000005")
    assert near(solution_ml(D(250), ten), "9.4635", "0.00005")


def test_dose_by_mass() -> None:
    """Taken as mg/L, 250 in 10 US gal is 8.7625 mL, and 25 mg/L is 23.148 uL/L (computed)."""
    ten = to(read("10 USgal", "volume"), "L")
    assert near(solution_ml(ul_per_l_of_mass(D(250)), ten), "8.7625", "0.00005")
    assert near(ul_per_l_of_mass(D(25)), "23.148", "0.0005")


def test_one_dose_in_four_units() -> None:
    """25 uL/L is 27.0 mg/L of solution, and 9.25 (in volume) or 9.99 (by weight) mg/L of formaldehyde (computed)."""
    assert mg_per_l_of_volume(D(25)) == D("27.0")
    assert formaldehyde_mg_per_l(D(25)) == (D("9.25"), D("9.99"))


def test_the_hatchery_manual_doses_by_mass() -> None:
    """US Fish and Wildlife Service, Fish Hatchery Management, 1982, page 276: 167 ppm is 43.8 mL in 10 cubic feet
    (43.786 by mass, 47.29 by volume, computed); in 10 gal 5.9 (partly garbled; 5.853 and 6.32)."""
    cubic_feet, gallons = to(read("10 ft3", "volume"), "L"), to(read("10 USgal", "volume"), "L")
    both = of_source_ppm(D(167))
    assert near(solution_ml(both.by_mass_ul_per_l, cubic_feet), "43.8", "0.05")
    assert near(solution_ml(both.by_mass_ul_per_l, cubic_feet), "43.786", "0.0005")
    assert near(solution_ml(both.by_volume_ul_per_l, cubic_feet), "47.29", "0.005")
    assert near(solution_ml(both.by_mass_ul_per_l, gallons), "5.9", "0.05")
    assert near(solution_ml(both.by_mass_ul_per_l, gallons), "5.853", "0.0005")
    assert near(solution_ml(both.by_volume_ul_per_l, gallons), "6.32", "0.005")
    assert both.used_ul_per_l == both.by_mass_ul_per_l


def test_the_rule_of_thumb_is_not_what_it_says() -> None:
    """1 mL in 10 US gal, called 25 ppm in a veterinary article (undated), is 26.42 uL/L and 28.53 mg/L (computed)."""
    ul_per_l = 1000 / to(read("10 USgal", "volume"), "L")
    assert near(ul_per_l, "26.42", "0.005")
    assert near(mg_per_l_of_volume(ul_per_l), "28.53", "0.005")
    assert near((ul_per_l / of_source_ppm(D(25)).by_volume_ul_per_l - 1) * 100, "5.7", "0.05")
    assert near((ul_per_l / of_source_ppm(D(25)).used_ul_per_l - 1) * 100, "14", "0.5")


def test_oxygen_that_formalin_takes() -> None:
    """1 mg/L of oxygen per 5 mg/L, within 30 to 36 h: 25 takes 5 (Fish Hatchery Management, 1982, page 276)."""
    assert oxygen_taken_mg_per_l(D(25)) == 5


def test_round_tank_of_a_bath_page() -> None:
    """200 uL/L in 88.35 m3 is 17,670 mL (bath calculation page, undated)."""
    assert solution_ml(D(200), D(88350)) == D(17670)


def test_a_formaldehyde_figure_is_no_formalin_figure() -> None:
    """14.8 mg/L of formaldehyde is 40 uL/L of formalin (14.8 / 0.37, trial on nitrification, computed)."""
    assert formaldehyde_mg_per_l(D(40))[0] == D("14.8")
