"""A tank that fish left is drained, disinfected and dried: in that order, each in its time."""

from __future__ import annotations

from pathlib import Path

import pytest
from moving_room import hall
from once_room import OnceRoom


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """Four fish were moved from Q2 to Q3 just now."""
    made = hall(OnceRoom(tmp_path / "home", capsys), "marine-watch")
    made.type("batch move Q2-1 --to Q3")
    return made


def chores(room: OnceRoom) -> tuple[str, str, str]:
    """The codes to drain, to disinfect and to dry Q2."""
    tasks = room.json("batch show Q2-1")["tasks"]
    drain, disinfect, dry = (
        next(t["code"] for t in tasks if t["step"] == f"followup.emptied-{what}")
        for what in ("drain", "disinfect", "dry")
    )
    return drain, disinfect, dry


def states(room: OnceRoom) -> dict[str, str]:
    return {t["code"]: t["state"] for t in room.json("batch show Q2-1")["tasks"]}


def test_one_waits_for_the_one_before_it(room: OnceRoom) -> None:
    """Not even --really puts the disinfecting before the draining; a skip with its reason does."""
    drain, disinfect, dry = chores(room)
    for later, before in ((disinfect, drain), (dry, disinfect)):
        for more in ("", " --really"):
            refused = room.type(f"done {later}{more}", 1)
            assert f"{later} (" in refused
            assert f"comes after {before} (" in refused
    assert {states(room)[code] for code in (drain, disinfect, dry)} == {"planned"}
    room.type(f'skip {drain} --because "it had been empty"')
    room.type(f"done {disinfect}")
    assert states(room)[disinfect] == "done"


def test_all_within_a_minute_is_asked_about(room: OnceRoom) -> None:
    """The question names what it takes and whose figure that is; --really passes it, and nothing is half done."""
    drain, disinfect, dry = chores(room)
    refused = room.type(f"done {drain} {disinfect} {dry}", 1)
    assert "would be done 0 min after" in refused
    assert "detergent takes 15 min (Marine Institute Ireland" in refused
    assert "hypochlorite of 200 mg/L 30 min at least (Piper et al., Fish Hatchery Management" in refused
    assert states(room)[drain] == "planned"
    room.type(f"done {drain} {disinfect} {dry} --really")
    assert {states(room)[code] for code in (drain, disinfect, dry)} == {"done"}
    assert "whole" in room.type("check")


@pytest.mark.parametrize(("clock", "code"), [("19:44:59", 1), ("19:45:00", 0)])
def test_detergent_and_contact_take_three_quarters_of_an_hour(room: OnceRoom, clock: str, code: int) -> None:
    """15 min of detergent and 30 min of hypochlorite: a second less is asked about."""
    drain, disinfect, _ = chores(room)
    room.type(f"done {drain}")
    said = room.at(clock).type(f"done {disinfect}", code)
    assert ("44 min after" in said) == bool(code)


@pytest.mark.parametrize(("now", "code"), [("2026-02-14 18:59:59", 1), ("2026-02-14 19:00:00", 0)])
def test_how_long_drying_takes_is_common_practice(room: OnceRoom, now: str, code: int) -> None:
    """Under 24 h is asked about, and it is said that no source gives a time."""
    drain, disinfect, dry = chores(room)
    room.type(f"done {drain} {disinfect} --really")
    said = room.at(now).type(f"done {dry}", code)
    assert ("23 h after" in said) == bool(code)
    assert ("has no source; common practice is 24 h and more" in said) == bool(code)


def test_a_time_before_the_one_before_it_is_asked_about(room: OnceRoom) -> None:
    """Most often a slip of --at."""
    drain, disinfect, _ = chores(room)
    room.at("21:00:00").type(f"done {drain}")
    assert "would be done 30 min before, not after" in room.type(f'done {disinfect} --at "2026-02-13 21:30"', 1)
