"""Two batches in one water under the same course of medicine (rules B1, B2, B5): one dose for both."""

from __future__ import annotations

from pathlib import Path

import pytest
from moving_room import day, hall
from once_room import READY, OnceRoom

from quarantine.templates import shipped


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
    """It stands on the list once, for both; whoever is done settles the other, and no second one is due. So do the
    sheet, the shopping list and the calendar: two on paper would be twice the amount."""
    for number in (14, 15):
        day(room, number, "Q2", 6)
    room.at("2026-02-15 17:00:00")
    (dose,) = [t for t in room.json("today")["tasks"] if t["kind"] == "dose"]
    assert dose["hold"] is None
    assert dose["batches"] == ["Q2-1", "Q2-2"]
    assert dose["title"].endswith("once for Q2-1 and Q2-2")
    assert room.type("today").count("one dose for Q2-1 and Q2-2") == 1
    assert room.type("sheet").count("ADD ") == 1
    room.type(f"calendar write {room.home.parent / 'both.ics'}")
    told = (room.home.parent / "both.ics").read_text(encoding="utf-8").replace("\n ", "")
    assert told.count(f"give it once\\, as {dose['code']} (rule B2).") == 1
    room.type(f"done {dose['code']} --as-shown")
    assert [t for t in room.json("today")["tasks"] if t["kind"] == "dose"] == []
    room.type("undo wrong tank --yes")
    assert len([t for t in room.json("today")["tasks"] if t["kind"] == "dose"]) == 1
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


ON_READING = """
[[step]]
id = "cool"
kind = "chore"
title = "Look at the heater"
for = "system"
start = { reading = "temperature", max = "22 degC" }
references = ["S4"]
"""


def test_work_of_the_water_is_one_task_for_both_and_outlives_the_batch_that_had_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What hangs on a reading of the water is one task; where its batch is released the other one goes on with it."""
    text = shipped()["marine-watch"].read_text(encoding="utf-8") + ON_READING
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    made = hall(OnceRoom(tmp_path / "home", capsys), str(tmp_path / "mine.toml"))
    made.type(
        f'batch start --tank Q2 --protocol {tmp_path / "mine.toml"} --arrived "2026-02-12 18:00" --yes '
        '--fish "2 Centropyge bicolor, 6 cm" --from "a breeder" --to Reef'
    )
    made.type("reading Q2 temp=21C")
    (cool,) = [t for t in made.json("today")["tasks"] if t["step"] == "cool"]
    made.type(f"signoff {cool['batches'][0]} --release --deviation early")
    made.type("reading Q2 temp=21.5C")
    (left,) = [t for t in made.json("today")["tasks"] if t["step"] == "cool"]
    assert left["code"] == cool["code"]
    assert left["batches"] != cool["batches"]
    assert "whole" in made.type("check")


def test_work_of_the_water_stays_with_those_who_stay_and_goes_with_those_who_leave(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A batch that is moved away goes on under a key of its own; what was done before is done for both."""
    text = shipped()["marine-watch"].read_text(encoding="utf-8") + ON_READING
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    made = hall(OnceRoom(tmp_path / "home", capsys), str(tmp_path / "mine.toml"))
    made.type("reading Q2 temp=21C")
    made.type("batch split Q2-1 --fish 2 --name Two")
    (cool,) = [t for t in made.json("today")["tasks"] if t["step"] == "cool"]
    made.type("batch split Q2-1 --fish 1 --name One --to Q3")
    made.type("batch move Q2-1 --to Q4")
    found = {t["tanks"][0]: t["code"] for t in made.json("today")["tasks"] if t["step"] == "cool"}
    assert set(found) == {"Q2", "Q3", "Q4"}
    assert found["Q2"] == cool["code"]
    made.type(f"done {found['Q3']}")
    assert {t["tanks"][0] for t in made.json("today")["tasks"] if t["step"] == "cool"} == {"Q2", "Q4"}
    made.type("reading Q2 temp=21.5C")
    assert "whole" in made.type("check")


def test_a_dose_that_settled_the_others_stays_given_when_they_part(room: OnceRoom) -> None:
    """It was one dose for both: the batch that is moved away is not owed it again."""
    for number in (14, 15):
        day(room, number, "Q2", 6)
    room.at("2026-02-15 17:00:00")
    dose = next(t for t in room.json("today")["tasks"] if t["kind"] == "dose")
    room.type(f"done {dose['code']} --as-shown")
    other = "Q2-2" if dose["batches"] == ["Q2-1"] else "Q2-1"
    room.type(f"batch move {other} --to Q3 --no-water")
    assert [t for t in room.json("today")["tasks"] if t["kind"] == "dose"] == []
    states = [t["state"] for t in room.json(f"batch show {other}")["tasks"] if t["title"].startswith("Praziquantel")]
    assert states.count("done") == 1
    assert "whole" in room.type("check")


def test_a_redose_of_the_water_stays_with_those_who_stay(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What a change took out is owed to those in that water, and not to a batch that was moved away (rule C1)."""
    text = shipped()["marine-praziquantel"].read_text(encoding="utf-8")
    (tmp_path / "mine.toml").write_text(
        text.replace('mode = "as published"', 'mode = "replace removed"', 1), encoding="utf-8"
    )
    made = hall(OnceRoom(tmp_path / "home", capsys), str(tmp_path / "mine.toml"))
    made.type("batch split Q2-1 --fish 2 --name Two")
    dose = next(t for t in made.json("today")["tasks"] if t["kind"] == "dose" and "Q2-1" in t["batches"])
    made.type(f"done {dose['code']} --as-shown")
    made.at("2026-02-14 09:00:00").type("event change Q2 --out 20L --really")
    (again,) = [t for t in made.json("today")["tasks"] if "again after a water change" in t["title"]]
    assert again["batches"] == ["Q2-1"]
    made.type("batch move Q2-1 --to Q3 --no-water")
    (left,) = [t for t in made.json("today")["tasks"] if "again after a water change" in t["title"]]
    assert (left["batches"], left["tanks"], left["code"]) == (["Two"], ["Q2"], again["code"])
    assert "whole" in made.type("check")


@pytest.mark.parametrize("leave", ["signoff Q2-1 --died-out", "batch move Q2-1 --to Q3 --yes --no-water"])
def test_C9_a_hold_of_the_water_stays_when_its_fish_are_gone(room: OnceRoom, leave: str) -> None:
    """Two or all of Q2-1 died: whether the batch is closed or moved away, the water holds Q2-2's dose until it is
    lifted by name."""
    for number in (14, 15):
        day(room, number, "Q2", 6)
    room.at("2026-02-15 17:00:00")
    room.type(f"event died Q2 {4 if 'died-out' in leave else 2} --batch Q2-1")
    room.type(leave)
    (dose,) = [t for t in room.json("today --tank Q2")["tasks"] if t["kind"] == "dose"]
    assert (dose["hold"]["rule"], "of batch Q2-1" in dose["hold"]["says"]) == ("C9", True)
    assert "ACT NOW" in room.type("today --tank Q2")
    room.type("event lift Q2 --because 'air, test and a veterinarian: nothing found'")
    (dose,) = [t for t in room.json("today --tank Q2")["tasks"] if t["kind"] == "dose"]
    assert dose["hold"] is None
