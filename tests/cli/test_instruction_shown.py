"""A veterinarian's instruction is named wherever its dose is told: while it is held, in the calendar, when it comes."""

# ruff: noqa: F401, F811 - fixtures of another file
from __future__ import annotations

from pathlib import Path

import pytest
from freezegun import freeze_time
from test_rows_amounts import DAY_3, Room, course, hall, medicated, quiet, room
from test_vet import instruct


@freeze_time(DAY_3)
def test_a_held_dose_tells_its_instruction_and_its_target_and_no_amount(medicated: Room) -> None:
    """`why` of a dose that a veterinarian set to 1.5 mg/L and that two deaths hold: both, and nothing to weigh."""
    instruct(medicated)
    code = medicated.dose()["code"]
    medicated.says("event", "died", "Q2", "2")
    said = " ".join(medicated.says("why", code).split())
    assert "HELD: " in said
    assert "Target: 1.5 mg/L; no amount is computed under a hold." in said
    assert 'On the instruction of a practice, 2026-02-13: Z01, 1.5 mg/L, until 2026-02-20: "bathe them now".' in said
    assert "Without it the target is 2 mg/L." in said
    assert "ADD " not in said
    document = medicated.json("why", code)
    assert document["target"] == {"value": 1.5, "unit": "mg/L"}
    assert document["instruction"].startswith("On the instruction of a practice")


@freeze_time(DAY_3)
def test_a_held_dose_without_an_instruction_tells_the_target_of_its_template(medicated: Room) -> None:
    """2 mg/L by row Z01, and nobody's instruction."""
    code = medicated.dose()["code"]
    medicated.says("event", "died", "Q2", "2")
    document = medicated.json("why", code)
    assert (document["target"], document["instruction"]) == ({"value": 2, "unit": "mg/L"}, None)


@freeze_time(DAY_3)
def test_the_calendar_names_the_instruction_and_a_private_one_does_not(medicated: Room, tmp_path: Path) -> None:
    """The entry of the dose says on whose word it is given; a calendar that others read says nothing of it."""
    instruct(medicated)
    told = {}
    for name, more in (("full", ()), ("private", ("--private",))):
        medicated.says("calendar", "write", str(tmp_path / f"{name}.ics"), *more)
        told[name] = (tmp_path / f"{name}.ics").read_text(encoding="utf-8").replace("\n ", "").replace("\\", "")
    assert "On the instruction of a practice, 2026-02-13: Z01, 1.5 mg/L" in told["full"]
    assert "a practice" not in told["private"]


@freeze_time(DAY_3)
def test_an_instruction_says_which_doses_it_changes_and_which_instruction_it_replaces(medicated: Room) -> None:
    """The planned dose by its code, old and new target; then the older instruction; then none that is planned."""
    code = medicated.dose()["code"]
    said = instruct(medicated)
    assert f"{code} Praziquantel" in said
    assert "2026-02-13: 1.5 mg/L, in the place of 2 mg/L." in said
    assert "replaces the instruction" not in said
    again = instruct(medicated, dose="2 mg/L")
    assert "It replaces the instruction of a practice, 2026-02-13: Z01, 1.5 mg/L." in again
    assert "2026-02-13: 2 mg/L, as planned." in again
    other = instruct(medicated, row="Z11", dose="3 mg/L")
    assert "No dose of Q2-1 by Z11 is planned up to 2026-02-20: it replaces none." in other


@freeze_time(DAY_3)
def test_a_dose_after_the_last_day_of_an_instruction_is_not_said_to_be_changed(medicated: Room) -> None:
    """The second bath is due four days after the first: an instruction for today alone leaves it as it is."""
    said = " ".join(
        medicated.says(
            *("vet", "add", "Q2-1", "--by", "a practice", "--on", "2026-02-13", "--until", "2026-02-13"),
            *("--words", "today", "--regimen", "Z01", "--dose", "1.5 mg/L"),
        ).split()
    )
    assert said.count("in the place of 2 mg/L") == 1
