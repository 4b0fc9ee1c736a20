"""An emergency in one command (F69): a tank is made, its fish are in it, the plan goes on, and a dose waits for a
reading."""

from __future__ import annotations

from pathlib import Path

import pytest
from moving_room import day, hall
from once_room import OnceRoom


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> OnceRoom:
    """Day 3 of four fish in Q2, in their first bath of praziquantel, on a narrow terminal."""
    monkeypatch.setenv("COLUMNS", "40")
    made = hall(OnceRoom(tmp_path / "home", capsys))
    made.type(f"done {made.code()} --as-shown")
    return made.at("2026-02-14 01:00:00")


def dose_of(room: OnceRoom) -> dict[str, object]:
    return next(t for t in room.json("today")["tasks"] if t["kind"] == "dose")


def test_a_tank_that_cracked_at_two_in_the_morning(room: OnceRoom) -> None:
    """Story 7: one command makes a bin of 40 L; the level in it is not known, and a reading is asked for first."""
    said = room.type('event emergency Q2 --to Bin --make "40 L"')
    assert "4 fish moved from Q2 to Bin, 2026-02-14 02:00" in said
    assert "What medicine is in Bin is not known" in said
    tank = room.json("tank show Bin")
    assert (tank["volume"]["litres"], tank["volume"]["plus_minus_litres"]) == (40, 2)
    listed = [t for t in room.json("today")["tasks"] if t["tanks"] == ["Bin"] and t["section"] == "due"]
    assert "Read the water the fish were moved to, before any dose" in [t["title"] for t in listed]
    for number in (14, 15, 16, 17):
        day(room, number, "Bin")
    room.at("2026-02-17 18:00:00")
    held = dose_of(room)
    assert held["tanks"] == ["Bin"]
    assert held["hold"]["rule"] == "C12"
    assert "whole" in room.type("check")


def test_clean_water_is_said_and_the_course_goes_on_by_its_dates(room: OnceRoom) -> None:
    """With --level none nothing came along: the next bath is computed for the litres of the bin."""
    room.type('event emergency Q2 --to Bin --make "40 L ± 1 L" --level none')
    for number in (14, 15, 16, 17):
        day(room, number, "Bin")
    room.at("2026-02-17 18:00:00")
    due = dose_of(room)
    assert due["hold"] is None
    assert 39 <= due["dose"]["volume_litres"] <= 41


def test_a_bin_that_was_filled_with_the_old_water_has_its_level(room: OnceRoom) -> None:
    """With --level known the new water holds what the old one held, and contact goes on (rule A9)."""
    said = room.type('event emergency Q2 --to Bin --make "40 L" --level known')
    assert "filled with the old water, holding Praziquantel" in said
    assert "Praziquantel" in room.type("level Bin")
    criteria = {c["title"]: c["says"] for c in room.json("signoff Q2-1")["criteria"]}
    assert "still in the water" in criteria["14 days since the last dose ended"]


def test_what_does_not_read_is_refused_before_anything_is_written(room: OnceRoom) -> None:
    """An empty tank, a level nobody knows, a tank without litres, a name that is taken."""
    assert "No batch is in Q4" in room.type("event emergency Q4 --to Q3", 1)
    assert "--level is one of" in room.type("event emergency Q2 --to Q3 --level some", 2)
    assert "--make" in room.type("event emergency Q2 --to Q3 --level known", 2)
    assert "no tank" in room.type("event emergency Q2 --to Bin", 1)
    assert "already" in room.type('event emergency Q2 --to Q3 --make "40 L"', 1)
    assert room.json("batch show Q2-1")["tank"] == "Q2"


def test_an_emergency_into_a_tank_that_stands_there(room: OnceRoom) -> None:
    """Without --make the tank is one on record, also one whose chores are open."""
    room.type("event emergency Q2 --to Q3 --level none")
    room.type("event emergency Q3 --to Q2 --level none")
    assert room.json("batch show Q2-1")["tank"] == "Q2"
    assert "whole" in room.type("check")
