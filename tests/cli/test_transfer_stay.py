"""The shipped tank transfer as it is typed: what a move asks first, and one stay from the arrival to the release, two
tanks in turn, at 60 columns."""

from __future__ import annotations

import io
import sys
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from once_room import BOX, READY, OnceRoom

WORDS = "The next tank was disinfected and dry, and holds new salt water of the same temperature and salinity"
FILLED = "temp=25.5C salinity=34g/L"


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> OnceRoom:
    """Four fish that came into Q1 on 2 March at 10:00 in Berlin; Q2 is empty."""
    monkeypatch.setenv("COLUMNS", "60")
    room = OnceRoom(tmp_path / "home", capsys).at("2026-03-02 09:00:00")
    room.type("site add Hall --zone Europe/Berlin", who="")
    room.type("keeper add Robin", who="")
    room.type("keeper add Noor")
    for name, role in (("Q1", "quarantine"), ("Q2", "quarantine"), ("Reef", "display")):
        room.type(f"tank add {name} --site Hall --role {role} --water marine {BOX}")
        room.type(f"tank measure {name} 49.3L --by buckets --plus-minus 0.5L")
    room.type(
        'batch start --tank Q1 --protocol marine-tank-transfer --arrived "2026-03-02 10:00" --fish '
        '"4 Centropyge bicolor, 6 cm" --from "an importer" --to Reef --acknowledge --yes'
    )
    return room


def care(room: OnceRoom, day: date, tank: str, water: str = READY) -> None:
    """The look and the readings of a day, at 15:00 UTC."""
    room.at(f"{day} 15:00:00")
    room.type(f'look "{tank} 4{"" if day == date(2026, 3, 2) else " 3"}" --no-signs')
    room.type(f"reading {tank} {water}")


def first_move(room: OnceRoom, warm: str = "25.5") -> str:
    """The code of the first move, due on day 3 from 08:00 on; the water was at ``warm`` degrees on the days before."""
    for number in (2, 3, 4):
        care(room, date(2026, 3, number), "Q1", READY.replace("25.5", warm))
    return room.at("2026-03-05 08:00:00").code("move")


def listed(room: OnceRoom) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = room.json("today")["tasks"]
    return found


# --- What a move asks first --------------------------------------------------------------------------------


@pytest.mark.parametrize(("warm", "met"), [("21.9", False), ("22", True), ("32", True), ("32.1", False)])
def test_a_move_is_refused_under_22_and_over_32_degrees(room: OnceRoom, warm: str, met: bool) -> None:
    """The limits of the abstract of 2018 (S61): the ends are inside. In the water they leave, steady for a day."""
    code = first_move(room, warm)
    room.type(f"reading Q2 {FILLED}")
    said = room.type(f"done {code} --to Q2 --confirm", 0 if met else 1)
    if met:
        assert "(1 of 4) done." in said
        return
    assert f"{code} asks first: temperature was {warm} °C, needed: 22 to 32 °C" in said
    assert "say --really; nothing was recorded" in said
    assert room.json("batch show Q1-1")["tank"] == "Q1"


@pytest.mark.parametrize(("warm", "met"), [("21.9", False), ("22", True), ("32", True), ("32.1", False)])
def test_the_water_they_come_to_is_held_to_the_same_degrees(room: OnceRoom, warm: str, met: bool) -> None:
    """One reading of the last day is enough of a tank that was filled for it."""
    code = first_move(room)
    room.type(f"reading Q2 temp={warm}C salinity=34g/L")
    said = room.type(f"done {code} --to Q2 --confirm", 0 if met else 1)
    assert met or f"Q2, where they go: temperature {warm} °C, needed: 22 to 32 °C" in said


def test_a_temperature_that_was_not_read_is_unknown(room: OnceRoom) -> None:
    """No reading of the last 24 hours of the water they leave: refused until it is read."""
    care(room, date(2026, 3, 2), "Q1")
    code = room.at("2026-03-05 08:00:00").code("move")
    room.type(f"reading Q2 {FILLED}")
    said = room.type(f"done {code} --to Q2 --confirm", 1)
    assert "temperature: no two readings at least 6 h apart in the last 24 h; needed: 22 to 32 °C" in said


@pytest.mark.parametrize(
    ("read", "missing", "typed"),
    [
        ("", "temperature and salinity", "temp=... salinity=..."),
        ("temp=25.5C", "salinity", "salinity=..."),
        ("salinity=34g/L", "temperature", "temp=..."),
    ],
)
def test_what_is_not_known_of_the_next_tank_is_asked_for(room: OnceRoom, read: str, missing: str, typed: str) -> None:
    """The refusal says how to read it; a reading of over a day ago is none."""
    code = first_move(room)
    room.at("2026-03-04 07:59:00").type(f"reading Q2 {FILLED}")
    room.at("2026-03-05 08:00:00")
    if read:
        room.type(f"reading Q2 {read}")
    said = room.type(f"done {code} --to Q2 --confirm", 1)
    assert f"Q2, where they go: no {missing} of the last 24 h" in said
    assert f"(quarantine reading Q2 {typed})" in said


def test_the_words_are_shown_and_asked_for(room: OnceRoom) -> None:
    """On the list, in the refusal, and kept with the move once they are confirmed."""
    code = first_move(room)
    room.type(f"reading Q2 {FILLED}")
    assert f"Confirm: {WORDS}" in room.type("today")
    said = room.type(f"done {code} --to Q2", 1)
    assert f"{code} asks first: {WORDS}. If the words are so, say --confirm." in said
    assert room.json(f"done {code} --to Q2 --confirm")["confirmed"] == [WORDS]
    assert room.json("signoff Q1-1")["dose_deviations"] == []


def test_what_was_done_all_the_same_is_recorded_and_named_at_sign_off(room: OnceRoom) -> None:
    """Rule C7: a fact is not refused. --really alone keeps that the words were not confirmed."""
    code = first_move(room, "21.9")
    made = room.json(f"done {code} --to Q2 --really --note 'heater broke'")
    assert made["unmet"] == [
        "temperature was 21.9 °C, needed: 22 to 32 °C",
        "Q2, where they go: no temperature and salinity of the last 24 h",
        f"not confirmed: {WORDS}",
    ]
    (named,) = room.json("signoff Q1-1")["dose_deviations"]
    assert named.startswith("Deviation of a move, 2026-03-05 09:00: to Q2, though temperature was 21.9 °C")
    assert named.endswith("(heater broke).")
    # Moved on, it stays named.
    room.type("tank add Q3 --site Hall --role quarantine --water marine " + BOX)
    room.at("2026-03-05 09:00:00").type("batch move Q1-1 --to Q3 --yes")
    assert room.json("signoff Q1-1")["dose_deviations"] == [named]
    assert "whole" in room.type("check")


def test_both_really_and_confirm_keep_the_words(room: OnceRoom) -> None:
    """What is so is not made a deviation by what is not."""
    code = first_move(room, "32.1")
    room.type(f"reading Q2 {FILLED}")
    made = room.json(f"done {code} --to Q2 --really --confirm")
    assert (made["confirmed"], made["unmet"]) == ([WORDS], ["temperature was 32.1 °C, needed: 22 to 32 °C"])


# --- Days away ---------------------------------------------------------------------------------------------


def test_after_days_away_the_list_says_that_the_moves_begin_again(room: OnceRoom) -> None:
    """Nothing was written for days: two moves stand as missed, and one line says what the next write makes of them."""
    first_move(room)
    said = room.at("2026-03-08 12:00:00").type("today")
    assert "(1 of 4):" in said
    assert "(2 of 4):" in said
    assert said.count("Too late: the moves begin again from the first, as soon as anything is logged") == 1
    room.type('look "Q1 4 3" --no-signs')
    said = room.type("today")
    assert "Too late" not in said
    found = [t for t in room.json("batch show Q1-1")["tasks"] if t["step"] == "move" and t["state"] != "withdrawn"]
    assert sorted((t["day"], t["title"][-8:], t["state"]) for t in found) == [
        ("2026-03-05", "(1 of 4)", "missed"),
        ("2026-03-08", "(1 of 4)", "planned"),
        ("2026-03-11", "(2 of 4)", "planned"),
        ("2026-03-14", "(3 of 4)", "planned"),
        ("2026-03-17", "(4 of 4)", "planned"),
    ]


# --- The round ---------------------------------------------------------------------------------------------


def test_a_round_asks_a_move_by_the_command_that_does_it(room: OnceRoom, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever is typed there, it says what to type; left open it stands in the summary, and x skips it."""
    code = first_move(room)
    command = f"quarantine done {code} --to TANK --confirm"
    monkeypatch.setattr(sys, "stdin", io.StringIO("4 3 n\n\ny\ny\ny\nQ2\n\ny\n"))
    said = room.type("round")
    assert said.count(command) == 3
    assert f"Confirm: {WORDS}" in said
    assert f"Q1: {code} Move every fish to the clean, dry tank (1 of 4)" in said.rpartition("Left open; ")[2]
    monkeypatch.setattr(sys, "stdin", io.StringIO("\nx no tank\ny\n"))
    assert "skipped: no tank; the moves begin again" in room.type("round")


@pytest.mark.parametrize(("role", "tests"), [("sitter", True), ("pupil", False)])
def test_a_round_of_who_handles_no_medicine_has_their_own_list(
    room: OnceRoom, monkeypatch: pytest.MonkeyPatch, role: str, tests: bool
) -> None:
    """As their list of today: no move and no dose, and what of the day before they left open they may still enter."""
    code = first_move(room)
    room.type(f"keeper role Noor {role}")
    monkeypatch.setattr(sys, "stdin", io.StringIO("4 3 n temp=25.5C\n\ny\n"))
    said = room.type("round", who="Noor")
    assert "4 seen" in said
    assert code not in said
    assert "4 March" not in said
    assert ("Test ammonia, nitrite and pH" in said) is tests
    room.at("2026-03-07 08:00:00")
    monkeypatch.setattr(sys, "stdin", io.StringIO("17:00\n4 3 n temp=25.5C\n\ny\n"))
    assert "2026-03-06 17:00" in room.type("round --on 2026-03-06", who="Noor")


# --- One stay ----------------------------------------------------------------------------------------------


BEFORE = {"Clean": "Empty", "Dry": "Clean"}
"""A tank is emptied on one day, disinfected on the next, and dry on the one after it."""


def test_the_whole_stay_with_two_tanks_in_turn(room: OnceRoom) -> None:
    """Days 3, 6, 9 and 12 by the clock, never later than 72 hours; each tank emptied, disinfected and dry before it is
    used again; praziquantel on days 13 and 17; clear on 13 April, thirty days after the last move."""
    here = "Q1"
    moved: list[int] = []
    doses: list[int] = []
    ticked: dict[str, dict[str, date]] = {"Q1": {}, "Q2": {}}
    day = date(2026, 3, 2)
    while day <= date(2026, 4, 13):
        room.at(f"{day} 04:30:00")
        for task in listed(room):
            if task["kind"] != "move":
                continue
            due = datetime.fromisoformat(task["lapses_at"]) - timedelta(minutes=10)
            room.at(due.astimezone(UTC).strftime("%Y-%m-%d %H:%M:%S"))
            there = "Q2" if here == "Q1" else "Q1"
            room.type(f"reading {there} {FILLED}")
            said = room.type(f"done {task['code']} --to {there} --confirm")
            assert f"({len(moved) + 1} of 4) done." in said
            moved.append((day - date(2026, 3, 2)).days)
            here = there
        care(room, day, here)
        room.at(f"{day} 15:30:00")
        for task in listed(room):
            assert task["section"] != "missed", task
            chore = task["title"].split()[0].rstrip(",")
            tank = task["tanks"][0]
            if task["section"] not in ("due", "overdue"):
                continue
            if chore in BEFORE and ticked[tank].get(BEFORE[chore], day) == day:
                continue
            ticked[tank] = ticked[tank] | {chore: day} if chore in BEFORE else {chore: day}
            room.type(f"done {task['code']}{' --as-shown' if task['kind'] in ('dose', 'change') else ''}")
            doses += [(day - date(2026, 3, 2)).days] if task["kind"] == "dose" else []
        day += timedelta(days=1)
    assert (moved, doses) == ([3, 6, 9, 12], [13, 17])
    found = room.json("signoff Q1-1")
    assert [c for c in found["criteria"] if c["verdict"] != "met"] == []
    assert found["dose_deviations"] == []
    assert "Batch Q1-1: release" in room.type("signoff Q1-1 --release")
    assert "whole" in room.type("check")
