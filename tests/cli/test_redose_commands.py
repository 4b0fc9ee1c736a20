"""The dose again after a water change, as a keeper meets it: what is due, how much, and in which order (F23, P31)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from amend_room import Room

READY = "temp=25.5C ph=8.1 tan=0.1mg/L nitrite_no2=0.05mg/L oxygen=6.5mg/L salinity=34g/L"
MODE = ('mode = "as published"', 'mode = "replace removed"')
ONCE = (
    'repeat = { every = "4 d", times = 2, from = "given" }',
    'repeat = { every = "4 d", times = 1, from = "given" }',
)
LATER = ('start = { after = "dose", by = "3 d" }', 'start = { after = "dose", by = "9 d" }')
WEEKLY = (
    "# --- What happens",
    """
[[step]]
id = "early-change"
kind = "change"
title = "Change a tenth of the water"
start = { arrival = "3 d" }
fraction = "10 %"
references = ["choice"]

# --- What happens""",
)


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    """100 L of sea water; one dose of praziquantel on day 3, clearing nine days later, replace removed."""
    made = Room(tmp_path, capsys, monkeypatch, water="marine")
    made.type("tank measure Q1 100L --by buckets --plus-minus 1L")
    made.start(made.template("own", "marine-praziquantel", MODE, ONCE, LATER, WEEKLY), "2026-03-02 10:00")
    for day in (2, 3, 4, 5):
        ready(made, day)
    return made


def ready(room: Room, day: int, clock: str = "11:00") -> None:
    """The day's look and readings, as the gates of the dose ask for them."""
    room.at(f"2026-03-{day:02} {clock}").type(f"look 'Q1 12{'' if day == 2 else ' 3'}' --no-signs")
    room.type(f"reading Q1 {READY}")


def due(room: Room, kind: str = "dose") -> list[dict[str, Any]]:
    return [t for t in room.json("today")["tasks"] if t["kind"] == kind and t["section"] in ("due", "overdue")]


def changed(room: Room, litres: str) -> None:
    """A change of water on day 6, and the water read again after it: what was read before is no answer now."""
    room.type(f"event change Q1 --out {litres}")
    room.at("2026-03-08 12:30").type(f"reading Q1 {READY}")


def treat(room: Room) -> None:
    """Day 3: first the planned change, then the dose."""
    (change,) = due(room, "change")
    room.type(f"done {change['code']} --gave 10L")
    (dose,) = due(room)
    room.type(f"done {dose['code']} --as-shown")


def test_a_change_calls_for_the_dose_again_with_its_amount(room: Room) -> None:
    """40 L of 100 L on day 6: 0.08 g, as the card, the list of the day and the record have it."""
    treat(room)
    ready(room, 7)
    ready(room, 8)
    assert due(room) == []
    changed(room, "40L")
    (task,) = due(room)
    assert task["hold"] is None
    assert (task["title"], task["dose"]["add"]) == ("Praziquantel bath again after a water change", 0.08)
    why = room.type(f"why {task['code']}")
    assert "40 L of 100 L were taken out since the last dose: 40 % of the water" in why
    assert "water was changed: 40 L on 2026-03-08 11:00" in why
    room.type(f"done {task['code']} --as-shown")
    assert due(room) == []
    assert [t["state"] for t in room.tasks("dose")] == ["done", "done"]
    room.whole()


def test_a_corrected_change_keeps_the_task_and_an_undone_one_takes_it_along(room: Room) -> None:
    """The same code with another amount, with the first again once the correction is undone, and withdrawn with its
    change."""
    treat(room)
    ready(room, 7)
    ready(room, 8)
    room.type("event change Q1 --out 40L")
    seal = room.json("journal")["entries"][-1]["seal"]
    room.at("2026-03-08 12:30").type(f"reading Q1 {READY}")
    (before,) = due(room)
    room.type(f"correct {seal[:8]} out=20L in=20L --because 'misread' --yes")
    (after,) = due(room)
    assert (after["code"], after["dose"]["add"]) == (before["code"], 0.04)
    room.type("undo 'read right at first' --yes")
    (first,) = due(room)
    assert (first["code"], first["dose"]["add"]) == (before["code"], 0.08)
    for _ in range(2):  # the reading after the change, then the change
        room.type("undo 'another tank' --yes")
    assert due(room) == []
    assert room.tasks("dose", "withdrawn")
    room.whole()


def test_a_dry_run_calls_for_nothing(room: Room) -> None:
    """Nothing is recorded, so nothing is due."""
    treat(room)
    ready(room, 7)
    ready(room, 8)
    room.type("--dry-run event change Q1 --out 40L")
    assert due(room) == []


def test_a_top_up_calls_for_none(room: Room) -> None:
    """Evaporation and what restores it take none of the substance out (rule C12)."""
    treat(room)
    ready(room, 7)
    ready(room, 8)
    room.type("event evaporation Q1 3L")
    room.type("event topup Q1 3L")
    assert due(room) == []


def test_C11_the_list_has_the_change_before_the_dose_and_the_card_says_so(room: Room) -> None:
    """Tests, then the planned change, then the dose; the card names what comes first."""
    tasks = [t for t in room.json("today")["tasks"] if t["section"] in ("due", "overdue")]
    kinds = [t["kind"] for t in tasks if t["kind"] in ("test", "change", "dose")]
    assert kinds == sorted(kinds, key=("test", "change", "dose").index)
    assert {"change", "dose"} <= set(kinds)
    change = next(t for t in tasks if t["kind"] == "change")
    assert f"First the water change, then the dose (rule C11): {change['code']} Change a tenth" in room.type("today")
    room.type(f"done {change['code']} --gave 10L")
    assert "First the water change" not in room.type("today")


def test_a_preview_says_what_a_repeat_hangs_on(room: Room) -> None:
    """Two doses in mode "replace removed": the second is sized by what will have been taken out, and is in no total."""
    path = room.template("twice", "marine-praziquantel", MODE)
    made = room.json(f"protocol preview {path} --tank Q1 --arrived '2026-03-02 10:00'")
    doses = [t["dose"] for t in made["tasks"] if t["dose"]]
    assert [d["add"] for d in doses] == [0.2, None]
    assert doses[1]["says"] == "what water changes will have taken out by then (rule C1)"
    assert [t["grams"] for t in made["totals"]] == [0.2]


def test_a_template_whose_changes_are_dosed_again_says_when_that_ends(room: Room) -> None:
    """Without a step that begins clearing each change would call for a dose for ever (rules C1 and C5)."""
    path = room.template(
        "endless",
        "marine-praziquantel",
        MODE,
        ('start = { after = "dose", by = "3 d" }', 'start = { arrival = "9 d" }'),
    )
    said = room.type(f"protocol check {path}", 1)
    assert "step[dose].treatment.mode: expected a later change or chore that begins clearing" in said
    assert "each change before clearing calls for a dose again" in said
