"""Two batches in one water under the same course of medicine (rules B1, B2, B5): one dose for both."""

from __future__ import annotations

from pathlib import Path

import pytest
from moving_room import day, hall
from once_room import READY, OnceRoom


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """Four fish in Q2 since day 0, two more of the same protocol since day 1; it is day 3 of the first."""
    made = hall(OnceRoom(tmp_path / "home", capsys))
    made.type(
        'batch start --tank Q2 --protocol marine-praziquantel --arrived "2026-02-11 10:00" --acknowledge --yes '
        '--fish "2 Centropyge bicolor, 6 cm" --from "a breeder" --to Reef'
    )
    return made


def test_the_dose_waits_for_the_gate_of_every_batch_that_gets_it(room: OnceRoom) -> None:
    """A bath goes to all fish in the water: the younger batch holds it until its own day 3 (rules B2 and C8)."""
    dose = next(t for t in room.json("today")["tasks"] if t["kind"] == "dose")
    assert dose["hold"]["rule"] == "C8"
    assert "of another batch in this water" in dose["hold"]["says"]


def test_one_dose_is_given_and_both_have_it(room: OnceRoom) -> None:
    """Each card says that it is one dose for both; whoever is done settles the other, and no second one is due."""
    for number in (14, 15):
        day(room, number, "Q2", 6)
    room.at("2026-02-15 17:00:00")
    doses = [t for t in room.json("today")["tasks"] if t["kind"] == "dose"]
    assert len(doses) == 2
    assert [d["hold"] for d in doses] == [None, None]
    assert room.type("today").count("one dose for Q2-1 and Q2-2") == 2
    room.type(f"done {doses[0]['code']} --as-shown")
    assert "was done by Robin" in room.type(f"done {doses[1]['code']} --as-shown", 1)
    assert [t for t in room.json("today")["tasks"] if t["kind"] == "dose"] == []
    room.type("undo wrong tank --yes")
    assert len([t for t in room.json("today")["tasks"] if t["kind"] == "dose"]) == 2
    assert "whole" in room.type("check")


def test_another_course_in_the_same_water_is_refused(room: OnceRoom) -> None:
    """Without the medicine, or with another one, the second batch goes into water of its own (rule B2)."""
    said = room.type(
        'batch start --tank Q2 --protocol marine-watch --arrived "2026-02-13 10:00" --yes '
        '--fish "2 Centropyge bicolor, 6 cm" --from "a breeder" --to Reef',
        1,
    )
    assert "rule B2" in said


def test_releasing_one_leaves_the_clock_of_the_other_alone(room: OnceRoom) -> None:
    """Rule B5: the earliest day of both is the same one; the other's stays when one is decided."""
    before = [room.json(f"batch show {name}")["earliest"] for name in ("Q2-1", "Q2-2")]
    assert before[0] == before[1]
    room.type('signoff Q2-1 --release --deviation "on a veterinary instruction"')
    assert room.json("batch show Q2-2")["earliest"] == before[1]
    room.type(f"reading Q2 {READY}")
    assert "whole" in room.type("check")
