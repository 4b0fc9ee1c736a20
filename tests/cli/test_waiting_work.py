"""What waits for a sign, a reading or a word is none of today's work: no amount is shown, none is ticked as shown."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from once_room import OnceRoom
from spot_room import STRENGTH, dose, spots


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """Day 4 under the template of white spot, and no sign."""
    return spots(OnceRoom(tmp_path / "home", capsys))


def test_a_dose_that_waits_shows_no_amount_and_is_not_ticked_as_shown(room: OnceRoom) -> None:
    """Before the sign, and before the word on the trial: the reason, in the list and at the tick (F8 and rule C8)."""
    for waits in ("waits until 'white spots' is seen", "a keeper has to say so"):
        code = dose(room)
        said = room.type(f"done {code} --as-shown {STRENGTH}", 1)
        assert "No amount is shown" in said
        assert waits in said
        assert waits in room.type(f"why {code}")
        room.type('look "Q1 12 3" --sign "white spots"')
    assert waits in room.type(f"done {code} --gave 1.5mL {STRENGTH}", 1)
    room.type(f"done {code} --gave 1.5mL {STRENGTH} --really")  # a fact is never refused (rule C7)
    assert room.given(code)["hold"]["rule"] == "waits"


def test_what_waits_stands_in_one_line_for_each_reason_without_amounts(room: OnceRoom) -> None:
    """The changes of a treatment that has not begun show no litres; a word that is waited for is shown to be typed."""
    said = room.type("today")
    assert said.count("Not yet, waits until 'white spots' is seen:") == 1
    assert "Change most of the water before the next dose; " in said
    assert "about 80 L" not in said
    waiting = [t for t in room.json("today")["tasks"] if t["section"] == "waiting"]
    assert len(waiting) == 5
    assert all(t["dose"] is None and t["conditioner"] is None for t in waiting)
    said = room.type('look "Q1 12 3" --sign "white spots"')
    assert re.search(r"Begins by it: \w{4} White spots: try formalin on a few fish .*, 2026-03-06\.", said)
    assert "quarantine event word Q1 dose): " in room.type("today")


def test_a_dose_before_its_day_is_asked_about(room: OnceRoom) -> None:
    """The second dose of a course is not ticked on the day of the first; what was given is recorded all the same."""
    room.type('look "Q1 12 3" --sign "white spots"')
    room.type("event word Q1 dose --yes")
    room.type(f"done {dose(room)} --as-shown {STRENGTH}")
    second = next(t for t in room.json("batch show Q1-1")["tasks"] if "spot (2" in t["title"] and t["day"])
    assert second["day"] > "2026-03-06"
    said = room.type(f"done {second['code']} --gave 1.4mL {STRENGTH}", 1)
    assert f"is planned for {second['day']}, not for 2026-03-06" in said
    room.type(f"done {second['code']} --gave 1.4mL {STRENGTH} --really")
