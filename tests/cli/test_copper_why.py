"""The last day of copper, told ahead by `why` and by the list, and what is planned when it is over (row C04)."""

from __future__ import annotations

from pathlib import Path

import pytest
from moving_room import hall
from once_room import OnceRoom

LAST = "last day 2026-03-06: C04 is held for up to 3 weeks, from the first dose of the stay on 2026-02-13"


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """Day 3 of four fish in Q2 under marine-copper; copper went in at 20:00."""
    made = hall(OnceRoom(tmp_path / "home", capsys), "marine-copper")
    made.type("reading Q2 copper_free=0.00mg/L")
    made.type('event dose Q2 C04 --gave "0.03 g" --strength "100 % as CuSO4.5H2O" --really')
    return made


def doses(room: OnceRoom) -> list[str]:
    """The codes of the doses that are still to be given."""
    tasks = room.json("batch show Q2-1")["tasks"]
    return [t["code"] for t in tasks if t["step"] == "dose" and t["state"] == "planned"]


def test_why_says_the_last_day_ahead(room: OnceRoom) -> None:
    """Of the dose that is due, and of the change that brings the copper out."""
    (first, *_) = doses(room)
    assert LAST in room.type(f"why {first}")
    clearing = next(t for t in room.json("batch show Q2-1")["tasks"] if t["step"] == "clear-water")
    assert clearing["day"] == "2026-02-28"  # fourteen days in range first, if all goes well


def test_after_three_weeks_no_dose_is_left_and_clearing_is_due(room: OnceRoom) -> None:
    """Nothing was proven: on 6 March at 20:00 no dose is left, and the water is changed; those that lay after
    it were withdrawn with the reason as soon as the first one was given."""
    tasks = room.json("batch show Q2-1")["tasks"]
    after = next(t["code"] for t in tasks if t["step"] == "dose" and t["day"] == "2026-03-07")
    assert f"{LAST}: nothing is given any more" in room.type(f"why {after}")
    room.at("2026-03-06 19:00:00").type("reading Q2 copper_free=0.10mg/L")
    assert doses(room) == []
    clearing = next(t for t in room.json("batch show Q2-1")["tasks"] if t["step"] == "clear-water")
    assert (clearing["day"], clearing["state"]) == ("2026-03-06", "planned")
    assert f"the longest contact ends: {LAST}" in room.type(f"why {clearing['code']}")
    assert "whole" in room.type("check")
