"""A flow whose rate or end is corrected after its dose calls for the difference, as a corrected change does (C1)."""

# ruff: noqa: F401, F811 - fixtures of another file
from __future__ import annotations

from math import exp

import pytest
from amend_room import Room
from test_flow_redose import FLOW, READY, due, hall, ready, room, seal


def made_good(room: Room) -> str:
    """1 L an hour of 100 L since 6 March, 11:00, stopped on the 7th at 11:00 and made good at once; its seal."""
    ready(room, 6)
    room.type(f"{FLOW} --really")
    entry = seal(room, "exchange")
    ready(room, 7)
    room.type("event exchange Q1 --stop")
    (task,) = due(room)
    room.type(f"done {task['code']} --as-shown")
    ready(room, 8)
    assert due(room) == []
    return entry


def test_a_rate_corrected_upwards_calls_for_the_difference_once(room: Room) -> None:
    """24 L were made good, and it were 48 L: e^-0.24 - e^-0.48 of 0.2 g, less what 24 h leave of nothing more."""
    entry = made_good(room)
    said = room.type(f"correct {entry} rate='2 L/h' --because misread --yes --really")
    assert "This correction calls for: D" in said
    (task,) = due(room)
    exact = 0.2 * (exp(-0.24) - exp(-0.48))
    assert task["hold"] is None
    assert exact - 0.001 < task["dose"]["add"] <= exact
    assert "water flows through: 2 L an hour" in room.type(f"why {task['code']}")
    room.type(f"done {task['code']} --as-shown")
    ready(room, 9)
    assert due(room) == []
    room.whole()


def test_a_rate_corrected_downwards_says_that_more_was_given(room: Room) -> None:
    """Nothing is called for, and nothing is hidden."""
    entry = made_good(room)
    said = room.type(f"correct {entry} rate='0.5 L/h' --because misread --yes")
    assert (
        "Praziquantel was given again since then, for the 1 L an hour that were on record: more than was needed" in said
    )
    assert due(room) == []


def test_a_rate_corrected_before_its_dose_is_one_dose(room: Room) -> None:
    """What is on record when it is given sizes it."""
    ready(room, 6)
    room.type(f"{FLOW} --really")
    entry = seal(room, "exchange")
    ready(room, 7)
    room.type("event exchange Q1 --stop")
    room.type(f"correct {entry} rate='2 L/h' --because misread --yes --really")
    (task,) = due(room)
    exact = 0.2 * (1 - exp(-0.48))
    assert exact - 0.001 < task["dose"]["add"] <= exact
    room.type(f"done {task['code']} --as-shown")
    ready(room, 8)
    assert due(room) == []


def test_a_correction_that_is_taken_back_and_one_after_two_doses(room: Room) -> None:
    """Two days' doses by 1 L an hour, then it were 2: what both lack, the first for as much as the second day left;
    taken back nothing is due any more."""
    ready(room, 6)
    room.type(f"{FLOW} --really")
    entry = seal(room, "exchange")
    for day in (7, 8):
        ready(room, day)
        if day == 8:
            room.type("event exchange Q1 --stop")
        (task,) = due(room)
        room.type(f"done {task['code']} --as-shown")
    ready(room, 9)
    room.type(f"correct {entry} rate='2 L/h' --because misread --yes --really")
    (task,) = due(room)
    lacks = exp(-0.24) - exp(-0.48)
    exact = 0.2 * lacks * (1 + exp(-0.48))
    assert exact - 0.001 < task["dose"]["add"] <= exact
    room.type("undo it was right --yes")
    assert due(room) == []
    room.whole()
