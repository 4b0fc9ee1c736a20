"""Copper as a new user would try it: no alkalinity, then 40, then 180 mg/L, then a kit that cannot hold the band."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from liquid_room import Room, furnish

FRESH = ("copper", "--tank", "Q1", "--regimen", "C01")
MARINE = ("copper", "--tank", "M1", "--regimen", "C04")
SALT = ("--strength", "100 % as CuSO4.5H2O")
DAY_3 = "2026-02-13 12:00:00"
LATER = "2026-02-13 13:00:00"
LAST = "2026-02-13 14:00:00"


@pytest.fixture(scope="module")
def furnished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The hall, made once."""
    home = tmp_path_factory.mktemp("copper") / "home"
    furnish(home)
    return home


@pytest.fixture
def room(furnished: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Room:
    """A copy of it for one test."""
    shutil.copytree(furnished, tmp_path / "home")
    return Room(tmp_path / "home", capsys)


def test_copper_without_alkalinity_then_with_too_little_then_with_enough(room: Room) -> None:
    """Each hold names rule, figure, source and remedy; the amount comes when everything is known."""
    held = room.dose(*FRESH, *SALT, at=DAY_3)
    assert (held["rule"], "total alkalinity of the water is not known" in held["says"]) == ("C17", True)
    assert "quarantine reading TANK alkalinity=" in held["remedy"]

    room.says("reading", "Q1", "alkalinity=40mg/L", "hardness=160mg/L", at=DAY_3)
    held = room.dose(*FRESH, *SALT, at=DAY_3)
    assert (held["rule"], held["figure"]) == ("C17", 50)
    assert "may be 39.5 mg/L" in held["says"]  # 40 in steps of 1
    assert "FA008" in held["reference"]

    room.says("reading", "Q1", "alkalinity=180mg/L", "hardness=160mg/L", at=LATER)
    assert room.dose(*FRESH, *SALT, at=LATER)["rule"] == "C13"
    room.says("reading", "Q1", "copper_free=0.00mg/L", at=LATER)
    assert room.dose(*FRESH, at=LATER)["rule"] == "strength of the product"
    # Alkalinity at least 179.5: the half, 0.8975 mg/L; hardness 159.5 offers 1. 0.8975 x 100 L = 89.75 mg.
    assert room.dose(*FRESH, *SALT, at=LATER) == "0.089 g"
    # 0.0228414 g of copper / 0.25 = 91.4 mg.
    assert room.dose(*FRESH, "--strength", "25 % Cu", at=LATER) == "0.091 g"


def test_a_kit_that_cannot_hold_the_band_is_refused_and_a_finer_one_is_not(room: Room) -> None:
    """Steps of 0.1 mg/L against a band of 0.02; then 0.18 - 0.005 mg/L in 100 L: 17.5 mg Cu, 68.7 mg of the salt."""
    room.says("reading", "M1", "copper_free=0.0mg/L", at=DAY_3)
    held = room.dose(*MARINE, *SALT, at=DAY_3)
    assert (held["rule"], held["figure"], held["figure_unit"]) == ("C13", 0.1, "mg/L")
    assert "cannot hold it" in held["says"]

    room.says("reading", "M1", "copper_total=0.00mg/L", at=LATER)
    assert room.dose(*MARINE, *SALT, at=LATER)["rule"] == "C13"
    room.says("reading", "M1", "copper_free=0.00mg/L", at=LAST)
    assert room.dose(*MARINE, *SALT, at=LAST) == "0.068 g"


def test_a_dose_of_copper_really_given_stands_in_the_ledger_as_copper(room: Room) -> None:
    """0.07 g of the pentahydrate hold 17.815 mg of copper: 0.178 to 0.179 mg/L in 99.8 to 100.2 L."""
    record = ("event", "dose", "M1", "C04", "--gave", "0.07 g")
    asked = room.says(*record, "--really", at=DAY_3, code=1)
    assert "copper and its sulfate differ fourfold" in asked
    given = room.json(*record, *SALT, "--really", at=DAY_3)["dose"]
    assert (given["mass_mg"], given["level_unit"], given["target_mg_per_l"]) == (17.815, "mg/L Cu", 0.18)
    assert given["product"] == SALT[1]
    assert given["rescue"] == ""
    assert "mg/L Cu" in room.says("level", "M1", "copper", at=LATER)
    # A reading from before the dose is none of the water now.
    assert room.dose(*MARINE, *SALT, at=LATER)["rule"] in ("C13", "minimum gap")


def test_too_much_copper_really_given_is_answered_in_its_own_unit(room: Room) -> None:
    """1 g of the pentahydrate: 254.5 mg in 100 L, over 0.2 mg/L of copper."""
    said = room.says("event", "dose", "M1", "C04", "--gave", "1 g", *SALT, "--really", at=DAY_3)
    assert "over the ceiling of 0.2 mg/L Cu" in said
    assert "change at least" in said


def test_unit_traps_of_copper_are_refused_with_the_question(room: Room) -> None:
    """Hydrate not said, chelated, a bare number."""
    for strength, words in (
        ("98 % copper sulfate", "water of crystal"),
        ("2 % chelated", "only its label"),
        ("98", "does not read"),
    ):
        assert words in room.says("dose", *FRESH, "--strength", strength, at=DAY_3, code=1)
