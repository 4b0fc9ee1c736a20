"""A move's window is counted from the move before, so that early moves come earlier each time: the list says so."""

# ruff: noqa: F401, F811 - fixtures of another file
from __future__ import annotations

from moving_room import day
from once_room import OnceRoom
from test_move_steps import FILLED, room

from quarantine.cli.today import NEXT_MOVE
from quarantine.protocol import load

TOLD = "The next move's window is counted from the minute this one is done: done early, all that follow come earlier"


def test_each_move_but_the_last_says_how_the_next_is_counted(room: OnceRoom) -> None:
    """Three moves: the sentence stands under the first and the second, not under the last."""
    for number, (tank, date_) in enumerate((("Q3", 15), ("Q4", 17))):
        assert TOLD in room.type("today"), number
        room.type(f"done {room.code('move')} --to {tank}")
        day(room, date_, tank, clock="19:30:00")
        room.type(f"reading {'Q4' if tank == 'Q3' else 'Q2'} {FILLED}")
    listed = room.type("today")
    assert "Move the fish to a clean tank (3 of 3)" in listed
    assert TOLD not in listed


def test_a_move_without_a_window_by_hours_says_nothing_of_it() -> None:
    """The sentence is for moves with an elapsed ceiling: what it says is true of no other."""
    assert NEXT_MOVE.startswith(TOLD)
    (move,) = [step for step in load("marine-tank-transfer").steps if step.kind == "move"]
    assert move.repeat is not None
    assert move.repeat.every is not None
    assert move.repeat.latest is not None
    assert (str(move.repeat.every), str(move.repeat.latest)) == ("70 h", "72 h")
    early = move.repeat.latest.value - move.repeat.every.value
    assert f"by up to {early} hours each time" in move.note
