"""The set point of a heater counts for every cap of temperature (C14); copper by a kit alone keeps fish out (B2)."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from liquid_room import Room, furnish

DAY_3, LATER = "2026-02-13 12:00:00", "2026-02-13 13:00:00"
BATH = ("formalin", "--tank", "Q1", "--strength", "37 % formaldehyde", "--regimen")


@pytest.fixture(scope="module")
def furnished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The hall, made once."""
    home = tmp_path_factory.mktemp("set-point") / "home"
    furnish(home)
    return home


@pytest.fixture
def room(furnished: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Room:
    """A copy of it for one test."""
    shutil.copytree(furnished, tmp_path / "home")
    return Room(tmp_path / "home", capsys)


def test_C14_the_set_point_chooses_the_row_where_it_is_over_what_was_read(room: Room) -> None:
    """20 °C was read and the heater brings it to 22: the row for over 21 °C holds, until it is set lower."""
    room.says("reading", "Q1", "temp=20.0C", at=DAY_3)
    assert room.dose(*BATH, "F01", at=DAY_3) == "9.9 mL"
    said = room.says("event", "set-point", "Q1", "22 °C", at=DAY_3)
    assert "Q1, 2026-02-13 12:00: the heater is set to 22 °C." in said
    held = room.dose(*BATH, "F01", at=LATER)
    assert (held["rule"], held["figure"]) == ("C14", 21)
    assert "the warmest of the last 24 h and of what the heater is set to may be 22 °C" in held["says"]
    assert "--regimen F02" in held["remedy"]
    room.says("event", "set-point", "Q1", "68 °F", at=LATER)  # 20 °C
    assert room.dose(*BATH, "F01", at=LATER) == "9.9 mL"


def test_C14_a_set_point_is_no_reading_and_counts_only_upward(room: Room) -> None:
    """Without a reading the temperature is not known; a heater set under what was read lowers nothing."""
    room.says("event", "set-point", "Q1", "20 °C", at=DAY_3)
    assert "is not known" in room.dose(*BATH, "F01", at=DAY_3)["says"]
    room.says("reading", "Q1", "temp=23.0C", at=DAY_3)
    assert room.dose(*BATH, "F01", at=DAY_3)["figure"] == 21


def test_C14_a_set_point_from_before_the_fish_came_counts(room: Room) -> None:
    """It holds until a later one: the batch came on 10 February."""
    room.says("event", "set-point", "Q1", "27.5 °C", "--at", "2026-02-01 08:00", at=DAY_3)
    room.says("reading", "Q1", "temp=24.0C", at=DAY_3)
    assert room.dose(*BATH, "F02", at=DAY_3)["rule"] == "C14"
    room.says("event", "set-point", "Q1", "--none", at=DAY_3)
    assert room.dose(*BATH, "F02", at=LATER) == "9.9 mL"


def test_C14_the_limit_of_a_row_counts_the_set_point(room: Room) -> None:
    """Formalin in the water for long is for at most 26.7 °C: read were 24, and the heater may bring it to 27."""
    said = ("--by", "a veterinarian", "--words", "against flukes", "--on", "2026-02-13", "--until", "2026-02-20")
    room.says("vet", "add", "Q1-1", "--regimen", "F10", "--dose", "15 uL/L", *said, at=DAY_3)
    room.says("reading", "Q1", "temp=24C", "oxygen=7mg/L", at=DAY_3)
    before = room.dose(*BATH, "F10", at=DAY_3)
    assert "heater" not in str(before)
    room.says("event", "set-point", "Q1", "27 °C", at=DAY_3)
    held = room.dose(*BATH, "F10", at=LATER)
    assert (held["rule"], held["says"], held["figure"]) == ("C14", "the heater is set to 27 °C", 27)


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        ((), 2, "Say the temperature that the heater is set to"),
        (("26 °C", "--none"), 2, "or --none for no heater"),
        (("260 °C",), 1, "a slip of the unit or the decimal point?"),
        (("26",), 1, "26"),
        (("26 mg/L",), 1, "26 mg/L"),
        (("--none",), 1, "No set point of Q1 is on record; nothing was recorded."),
    ],
)
def test_a_set_point_that_does_not_read_is_refused(room: Room, words: tuple[str, ...], code: int, says: str) -> None:
    """One sentence each, and nothing is written."""
    assert says in room.says("event", "set-point", "Q1", *words, at=DAY_3, code=code)
    assert "set to" not in room.says("journal", at=DAY_3)


def test_a_set_point_is_in_the_journal_and_can_be_taken_back(room: Room) -> None:
    """As every other fact; the one before it rules again."""
    room.says("reading", "Q1", "temp=20.0C", at=DAY_3)
    room.says("event", "set-point", "Q1", "20 °C", at=DAY_3)
    room.says("event", "set-point", "Q1", "25 °C", at=LATER)
    assert "Q1: the heater is set to 25 °C" in room.says("journal", at=LATER)
    assert room.dose(*BATH, "F01", at=LATER)["rule"] == "C14"
    room.says("undo", "the other tank", at=LATER)
    assert room.dose(*BATH, "F01", at=LATER) == "9.9 mL"
    assert "The record is whole" in room.says("check", at=LATER)


def test_B2_copper_that_a_kit_found_keeps_fish_out(room: Room) -> None:
    """Nobody dosed it; 0.10 mg/L in steps of 0.01 is copper all the same, and the water of all changes clears it."""
    added = ("event", "added", "Q1", "2", "--yes")
    room.says("reading", "Q1", "copper_free=0.00mg/L", at=DAY_3)
    room.says(*added, "--dry-run", at=DAY_3)
    room.says("reading", "Q1", "copper_free=0.10mg/L", at=LATER)
    said = room.says(*added, at=LATER, code=1)
    assert "Q1 still holds up to 0.106 mg/L Cu, by a kit, of Copper" in said
    assert "no fish are added to medicated water (rule B2)" in said
    assert "if they are in already, say --really" in said.lower()
    told = room.says(*added, "--really", at=LATER)
    assert "These fish went into up to" in told
