"""Chlorine, bleach and thiosulfate against printed ratios and worked-out amounts."""

from __future__ import annotations

from decimal import Decimal

import pytest

from quarantine.quantity import read, to
from quarantine.water.chlorine import (
    BASES,
    HYPOCHLORITE_TO_CHLORINE,
    bleach_ml,
    chloramine_ammonia_mg_per_l,
    for_new_water,
    thiosulfate_mg,
)

D = Decimal


def near(found: Decimal, expected: str, tolerance: str) -> bool:
    return abs(found - D(expected)) <= D(tolerance)


@pytest.mark.parametrize(
    ("hypochlorite", "computed", "printed"),
    [("5.25", "5.0004", "5"), ("6.0", "5.7147", "5.7"), ("8.25", "7.8578", "7.86")],
)
def test_available_chlorine_of_hypochlorite(hypochlorite: str, computed: str, printed: str) -> None:
    """Percent NaOCl by weight as available chlorine: computed, and as supplier pages print it (undated; +- 0.02)."""
    available = D(hypochlorite) * HYPOCHLORITE_TO_CHLORINE
    assert near(available, computed, "0.00005")
    assert near(available, printed, "0.02")


def test_the_factor_of_the_chlorination_handbook() -> None:
    """NaOCl is 1.05 times its available chlorine (Handbook of Chlorination, 1972, as suppliers quote it)."""
    assert near(1 / HYPOCHLORITE_TO_CHLORINE, "1.05", "0.005")
    assert near(HYPOCHLORITE_TO_CHLORINE, "0.95246", "0.000005")


@pytest.mark.parametrize(
    ("mg_per_l", "litres", "percent", "gravity", "ml", "quick"),
    [
        ("200", "10", "5.25", "1.08", "37.03", "38.10"),
        ("200", "10", "8.25", "1.11", "22.93", "24.24"),
        ("10", "100", "6", "1.08", "16.20", None),
    ],
)
def test_bleach_for_a_bath_of_tools(
    mg_per_l: str, litres: str, percent: str, gravity: str, ml: str, quick: str | None
) -> None:
    """Millilitres of bleach for 200 and 10 mg/L (computed; the gravities from memory), beside N V / (10 %)."""
    assert near(bleach_ml(D(mg_per_l), D(litres), D(percent), BASES[0], D(gravity)), ml, "0.01")
    if quick is not None:
        assert near(bleach_ml(D(mg_per_l), D(litres), D(percent), BASES[2]), quick, "0.01")


@pytest.mark.parametrize(
    ("hydrate", "tetrathionate", "sulfur", "sulfate"),
    [("pentahydrate", "7.0006", "3.5003", "0.8751"), ("anhydrous", "4.4597", "2.2299", "0.5575")],
)
def test_thiosulfate_by_reaction(hydrate: str, tetrathionate: str, sulfur: str, sulfate: str) -> None:
    """mg per mg of chlorine by three reactions, two, one and a quarter thiosulfate per chlorine (computed): we use the
    one that takes most."""
    used = thiosulfate_mg(D(1), D(1), hydrate).mg
    assert near(used, tetrathionate, "0.00005")
    assert near(used / 2, sulfur, "0.00005")
    assert near(used / 8, sulfate, "0.00005")


def test_the_hatchery_manuals_thiosulfate() -> None:
    """US Fish and Wildlife Service, Fish Hatchery Management, 1982, page 283: 5.6 g for a US gallon of 200 mg/L, which
    is 7.397 mg per mg; by chemistry 5.300 g (computed)."""
    gallon = to(read("1 USgal", "volume"), "L")
    found = thiosulfate_mg(D(200), gallon)
    assert near(found.hatchery_mg / 1000, "5.6", "0.05")
    assert near(D(5600) / (200 * gallon), "7.397", "0.0005")
    assert near(found.mg / 1000, "5.300", "0.0005")


def test_a_laboratorys_thiosulfate() -> None:
    """Technical note TE213 of a water laboratory's supplier, 2017: 7.0 mg pentahydrate per mg, or 1.13 mL of 0.025 N
    (1.1284 computed); FAO x3980e, annex 7 (year not stated): 1 mL of 0.1 N is 3.54 mg of chlorine (3.545 computed)."""
    per_mg = thiosulfate_mg(D(1), D(1)).mg
    mg_in_ml_of_1_normal = D("248.172")
    assert near(per_mg, "7.0", "0.05")
    # 1.12835: it lies just between two last digits.
    assert near(per_mg / (mg_in_ml_of_1_normal * D("0.025")), "1.1284", "0.00006")
    assert near(per_mg / (mg_in_ml_of_1_normal * D("0.025")), "1.13", "0.005")
    assert near(mg_in_ml_of_1_normal * D("0.1") / per_mg, "3.545", "0.0005")
    assert near(mg_in_ml_of_1_normal * D("0.1") / per_mg, "3.54", "0.0051")


@pytest.mark.parametrize(("percent", "neutralises", "ratio"), [("10", "15", "5.56"), ("3", "5", "5.00")])
def test_sample_bottles_of_standard_methods(percent: str, neutralises: str, ratio: str) -> None:
    """APHA, Standard Methods, 23rd edition (quoted; its year, 2017, from memory): 0.1 mL of so much per cent in 120 mL
    is enough for so much chlorine; our amount is richer than that, by 7.0 over 5.56 and 5.00."""
    in_bottle = D("0.1") * D(percent) * 10
    ours = thiosulfate_mg(D(neutralises), D("0.12")).mg
    assert ours > in_bottle
    assert near(ours / in_bottle, str(D("7.0006") / D(ratio)), "0.002")


def test_the_tools_default_and_the_hatcherys() -> None:
    """2 mg/L in 40 L: 560.0 mg by chemistry (7.0006) and 592 mg by the hatchery's 7.4 (computed)."""
    found = thiosulfate_mg(D(2), D(40))
    assert near(found.mg, "560.0", "0.05")
    assert found.hatchery_mg == 592


def test_chloramine_frees_ammonia() -> None:
    """Breaking chloramine frees 0.1976 mg of nitrogen per mg of chlorine, as monochloramine (computed)."""
    assert near(chloramine_ammonia_mg_per_l(D(1)), "0.1976", "0.00005")


def test_F25_a_change_of_30_percent_of_200_litres() -> None:
    """The needs' own example, 60 L: at 2 mg/L 840.07 mg by 7.0006 and 888 mg by the hatchery's 7.4 (Fish Hatchery
    Management, 1982, page 283); weighed in steps of 0.01 g that is 0.85 g (computed). Of 200 L it would be 2.8 g."""
    found = for_new_water(D(2), D(0), D("0.3") * 200, D("0.01"))
    assert near(found.mg, "840.07", "0.005")
    assert found.as_read_mg == found.mg
    assert found.hatchery_mg == 888
    assert found.grams == D("0.85")
    assert near(found.tan_mg_per_l, "0.3951", "0.0001")  # 2 x 0.1976, to its last digit
