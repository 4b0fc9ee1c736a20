"""The round of a keeper who handles no medicine: what their list of today has, and nothing that is refused when it is
written (rule C19)."""

# ruff: noqa: F811 - the fixtures are the ones imported
from __future__ import annotations

import pytest
from round_room import FRESH, MARINE, NOW, Room, built_room, room  # noqa: F401 - fixtures

TYPED = f"12 3 n {FRESH}\n\ny\n4 3 n {MARINE}\n\ny\n"
"""A look and readings in each of the two tanks, and nothing else."""


@pytest.mark.parametrize("role", ["sitter", "pupil"])
def test_a_sitter_and_a_pupil_are_asked_no_dose(room: Room, role: str) -> None:
    """Neither its code nor its substance is named; what they saw is written."""
    dose = room.code("Praziquantel")
    room.run("keeper", "role", "Noor", role)
    said = room.run("round", typed=TYPED, keeper="Noor")
    assert dose not in said
    assert "raziquantel" not in said
    assert "Written: Q1, Q2." in said
    assert "Nothing is left open." in said
    assert len(room.facts("look")) == 8
    assert [t["code"] for t in room.ask("today")["tasks"] if t["kind"] == "dose"] == [dose]


def test_an_adult_is_asked_the_dose(room: Room) -> None:
    """Who may give it has it in the round as before; left open by Enter, it stands in the summary."""
    dose = room.code("Praziquantel")
    room.run("keeper", "role", "Noor", "adult")
    said = room.run("round", typed=f"12 3 n {FRESH}\n\n\ny\n4 3 n {MARINE}\n\n\n\ny\n", keeper="Noor")
    assert f"Q2: {dose} Praziquantel" in said


def test_a_sitter_enters_the_day_before(room: Room) -> None:
    """What was missed that day is work of that day, for a sitter too."""
    room.run("keeper", "role", "Noor", "sitter")
    typed = f"17:00\n12 3 n {FRESH}\n\ny\n17:10\n4 3 n {MARINE}\n\ny\n"
    said = room.run("round", "--on", NOW[:10], typed=typed, at="2026-02-14 16:00:00", keeper="Noor")
    assert "Written: Q1, Q2." in said
    assert "raziquantel" not in said
