"""The last fish dies: what was of them ends, what is of the water stays (rule B7)."""

from __future__ import annotations

from pathlib import Path

import pytest
from once_room import OnceRoom
from spot_room import STRENGTH, dose, spots


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """Day 4 under the template of white spot, and no sign."""
    return spots(OnceRoom(tmp_path / "home", capsys))


def open_steps(room: OnceRoom, name: str = "Q1-1") -> set[str]:
    tasks = room.json(f"batch show {name}")["tasks"]
    return {t["step"] for t in tasks if t["state"] in ("planned", "missed")}


def test_of_fish_that_died_undosed_no_work_is_left(room: OnceRoom) -> None:
    """No change of a week to come, no trial, nothing that would have followed a dose."""
    room.type("event died Q1 12")
    room.type("signoff Q1-1 --died-out")
    assert {step for step in open_steps(room) if not step.startswith("followup.")} == set()
    assert room.json("batch show Q1-1")["state"] == "died out"


def test_nothing_of_a_course_stays_due_beside_a_batch_that_goes_on(room: OnceRoom) -> None:
    """The work of the water is the living batch's alone."""
    room.type(
        'batch start --tank Q1 --protocol fresh-white-spot --arrived "2026-03-06 16:30" --acknowledge --yes '
        '--fish "3 Melanotaenia praecox, 4 cm" --from "an importer" --to Show',
    )
    room.type('look "Q1 15 3" --sign "white spots" --really')
    room.type(f"done {dose(room)} --gave 1.4mL {STRENGTH} --really")
    room.type("event died Q1 12 --batch Q1-1")
    room.type("signoff Q1-1 --died-out")
    assert {step for step in open_steps(room) if not step.startswith(("followup.", "bath."))} == set()
    room.at("2026-04-20 12:00:00")
    listed = [t["title"] for t in room.json("today")["tasks"] if t["batches"] == ["Q1-1"]]
    assert not any(title.startswith(("Change", "Formalin")) for title in listed)
    assert "whole" in room.type("check")
