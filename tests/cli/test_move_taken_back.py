"""A move, a parting or a joining of batches that was typed wrongly is taken back: what came of it is as it was, and the
right command gives what typing it rightly would have given."""

from __future__ import annotations

import json
import shutil
import sqlite3
from pathlib import Path
from typing import Any

import pytest
from moving_room import hall
from once_room import BOX, OnceRoom
from test_move_steps import FILLED, moves, room_with
from test_moves import bathing

INSTANTS = ("day", "due_from", "due_until", "lapses_at", "needs", "reason", "title", "state", "kind")


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """Day 3 of four fish in Q2, the first bath of praziquantel due; Q3 and Q4 stand empty."""
    return hall(OnceRoom(tmp_path / "home", capsys))


@pytest.fixture
def watched(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """The same fish under a protocol without medicine."""
    return hall(OnceRoom(tmp_path / "home", capsys), "marine-watch")


def second(room: OnceRoom, tank: str, on: str = "2026-02-12 17:00", protocol: str = "marine-watch") -> str:
    """Two more fish come into a tank; what is said."""
    return room.type(
        f'batch start --tank {tank} --protocol {protocol} --arrived "{on}" --acknowledge --yes '
        '--fish "2 Centropyge bicolor, 6 cm" --from "a breeder" --to Reef'
    )


def twin(room: OnceRoom) -> OnceRoom:
    """The same record once more, in a home of its own."""
    home = room.home.with_name("twin")
    shutil.copytree(room.home, home)
    return OnceRoom(home, room.capsys).at(room.now)


def rows(room: OnceRoom, sql: str) -> list[dict[str, Any]]:
    connection = sqlite3.connect(room.home / "record.db")
    connection.row_factory = sqlite3.Row
    try:
        return [dict(row) for row in connection.execute(sql)]
    finally:
        connection.close()


def state(room: OnceRoom, known: set[str]) -> dict[str, Any]:
    """Tasks by key, standings and levels, as they are. A fact that is in ``known`` is named by its id in the keys, a
    later one by its kind: its id is another one in each record, and so are the codes that hang on it."""
    facts = {row["id"]: row["kind"] for row in rows(room, "select id, kind from fact")}
    tanks = {row["id"]: row["name"] for row in rows(room, "select id, name from tank")}
    batches = {row["id"]: row["name"] for row in rows(room, "select id, name from batch where state <> 'called off'")}
    tasks = {}
    for row in rows(room, "select * from task"):
        if row["state"] == "withdrawn" or row["batch"] not in batches:
            continue
        owner, step, root, n = row["key"].split(":")
        new = root in facts and root not in known
        key = (batches.get(owner, owner), step, facts[root] if new else root, n)
        code = None if new or owner not in known else row["code"]
        place = tanks[row["tank"]], batches[row["batch"]], bool(row["outcome"])
        assert key not in tasks, "a key is there once"
        tasks[key] = (code, *place, *(row[name] for name in INSTANTS))
    standings = {
        row["name"]: (tanks[row["tank"]], row["state"], row["fish"], json.loads(row["standing"]))
        for row in rows(room, "select * from batch where state <> 'called off'")
    }
    return {
        "tasks": tasks,
        "standings": standings,
        "levels": {name: room.json(f"level {name}") for id_, name in tanks.items() if id_ in known},
        "clocks": {name: room.json(f"clocks {name}") for name in standings},
        "criteria": {
            name: room.json(f"signoff {name}")["criteria"] for name in standings if standings[name][1] == "open"
        },
    }


def known_of(room: OnceRoom) -> set[str]:
    return {row["id"] for table in ("fact", "batch", "tank") for row in rows(room, f"select id from {table}")}


def differ(one: dict[str, Any], other: dict[str, Any]) -> list[str]:
    """What differs between two states, each on a line: a dict of a hundred tasks reads badly."""
    return [
        f"{part} {key}: {one[part].get(key)} / {other[part].get(key)}"
        for part in one
        for key in {**one[part], **other[part]}
        if one[part].get(key) != other[part].get(key)
    ]


def undo_is_as_before_and_again_as_typed_rightly(room: OnceRoom, wrong: str, right: str) -> str:
    """Types ``wrong``, takes it back, compares; types ``right``, compares with a record in which only that was typed.
    What the taking back said."""
    known, other = known_of(room), twin(room)
    before = state(room, known)
    room.type(wrong)
    said = room.type("undo it was another tank --yes")
    assert differ(before, state(room, known)) == []
    assert "whole" in room.type("check")
    room.type(right)
    other.type(right)
    assert differ(state(other, known), state(room, known)) == []
    assert "whole" in room.type("check")
    return said


def test_a_move_to_the_wrong_tank(room: OnceRoom) -> None:
    """Out of dosed water, some of which came along."""
    room.type(f"done {room.code()} --as-shown")
    said = undo_is_as_before_and_again_as_typed_rightly(
        room, "batch move Q2-1 --to Q3 --yes", "batch move Q2-1 --to Q4 --yes"
    )
    assert "Batch Q2-1 is in Q2 again." in said
    assert 'If they did move, type it again with its time: --at "2026-02-13 20:00".' in said
    assert "Both stay in the journal." in said


def test_a_move_beside_others_restarts_nobody(watched: OnceRoom) -> None:
    """Typed into a tank with fish it started two clocks again; taken back, both go on as before (rule B3)."""
    second(watched, "Q3")
    said = undo_is_as_before_and_again_as_typed_rightly(
        watched, "batch move Q2-1 --to Q3 --yes", "batch move Q2-1 --to Q4 --yes"
    )
    assert "Q2-1: earliest sign-off 2026-03-15 -> 2026-03-12" in said
    assert "Q3-1: earliest sign-off 2026-03-15 -> 2026-03-14" in said


def test_the_dates_are_shown_and_asked_for(watched: OnceRoom) -> None:
    """Without --yes nothing is taken back where it moves dates."""
    second(watched, "Q3")
    watched.type("batch move Q2-1 --to Q3 --yes")
    assert "2026-03-15 -> 2026-03-12" in watched.type("undo wrong tank", 1)
    assert watched.json("batch show Q2-1")["tank"] == "Q3"


def test_a_move_out_of_a_tank_with_others(room: OnceRoom) -> None:
    """What the others took over from those who left, a hold among it, is as it was."""
    second(room, "Q2", "2026-02-13 19:30", "marine-praziquantel")
    room.type("event died Q2 2 --batch Q2-1")
    undo_is_as_before_and_again_as_typed_rightly(
        room, "batch move Q2-1 --to Q3 --no-water --yes", "batch move Q2-1 --to Q4 --no-water --yes"
    )


@pytest.mark.parametrize("level", ["unknown", "none"])
def test_an_emergency_with_several_batches(room: OnceRoom, level: str) -> None:
    """All of them come back, and what is in the new water is as it was."""
    room.type(f"done {room.code()} --as-shown")
    room.type("batch split Q2-1 --fish 1 --name Shy")
    said = undo_is_as_before_and_again_as_typed_rightly(
        room, f"event emergency Q2 --to Q3 --level {level}", f"event emergency Q2 --to Q4 --level {level}"
    )
    assert "Batch Q2-1 is in Q2 again." in said
    assert "Batch Shy is in Q2 again." in said


def test_an_emergency_that_made_its_tank(room: OnceRoom) -> None:
    """The tank stays on record without fish, and the same command can be typed again: from the tank that it was."""
    room.type(f"done {room.code()} --as-shown")
    second(room, "Q3", protocol="marine-praziquantel")
    wrong = 'event emergency Q3 --to Bin --make "40 L" --level known'
    undo_is_as_before_and_again_as_typed_rightly(room, wrong, wrong.replace("Q3", "Q2"))
    assert "filled with the old water, holding Praziquantel" not in room.type("tank show Bin")
    assert "There is a tank 'Bin' already" in room.type('event emergency Q3 --to Bin --make "40 L"', 1)


def test_a_made_tank_of_other_litres_is_another_tank(room: OnceRoom) -> None:
    """With other litres the name is taken: that tank is measured, or another one made."""
    room.type('event emergency Q2 --to Bin --make "40 L"')
    room.type("undo it was the other tank --yes")
    assert "already" in room.type('event emergency Q2 --to Bin --make "60 L"', 1)
    assert "moved from Q2 to Bin" in room.type("event emergency Q2 --to Bin")


@pytest.mark.parametrize("more", ["", " --to Q3 --no-water --yes"])
def test_a_parting(room: OnceRoom, more: str) -> None:
    """The part never was, and its name is free again."""
    room.type(f"done {room.code()} --as-shown")
    wrong = f"batch split Q2-1 --fish 1 --name Shy{more}"
    said = undo_is_as_before_and_again_as_typed_rightly(room, wrong, wrong.replace("--fish 1", "--fish 2"))
    assert "Batch Shy never was: it is kept as Shy (taken back), and its name is free again." in said
    assert "called off" in room.type("batch list")
    assert "parted by mistake" in room.type('batch show "Shy (taken back)"')
    room.type("undo again --yes")
    assert "Shy (taken back, 2)" in room.type("batch list")


def test_a_joining(watched: OnceRoom) -> None:
    """Both are batches of their own again, each with its own work."""
    second(watched, "Q2", "2026-02-12 18:00")
    second(watched, "Q2", "2026-02-13 18:00")
    said = undo_is_as_before_and_again_as_typed_rightly(
        watched, "batch merge Q2-2 --into Q2-1 --yes", "batch merge Q2-3 --into Q2-1 --yes"
    )
    assert "Batch Q2-2 is in Q2 again." in said


def test_the_water_that_fish_came_to_stands_idle_again(watched: OnceRoom) -> None:
    """The chores of a tank without fish, which the move had ended, stand again under their codes."""
    second(watched, "Q3")
    watched.type('signoff Q3-1 --release --deviation "on a veterinary instruction"')
    undo_is_as_before_and_again_as_typed_rightly(watched, "batch move Q2-1 --to Q3 --really", "batch move Q2-1 --to Q4")
    assert any(t["step"] == "followup.idle-kit" and t["state"] == "planned" for t in tasks_of(watched, "Q3-1"))


def tasks_of(room: OnceRoom, name: str) -> list[dict[str, Any]]:
    return list(room.json(f"batch show {name}")["tasks"])


def test_a_bath_that_the_move_had_ended_runs_again(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The fish were not out of it: its end stands where it stood, and is done by the right move."""
    room = bathing(tmp_path, capsys)
    room.type(f"tank add Q9 --site Hall --role quarantine --water fresh {BOX}")
    room.type("tank measure Q9 50L --by buckets --plus-minus 0.5L")
    room.type("batch split Q1-1 --fish 2 --name Two")
    undo_is_as_before_and_again_as_typed_rightly(
        room, "batch move Q1-1 --to Q2 --no-water", "batch move Q1-1 --to Q9 --no-water"
    )
    (end,) = [t for t in room.json("today")["tasks"] if t["step"] == "bath.end"]
    assert end["batches"] == ["Two"]


def test_what_was_entered_upon_a_move_is_taken_back_first(room: OnceRoom) -> None:
    """A look and a reading of the new water are named, with whose they are; then the move goes."""
    room.type("batch move Q2-1 --to Q3 --no-water")
    room.at("20:00:00").type("reading Q3 temp=25C", who="Noor")
    refused = room.type("undo wrong tank", 1)
    assert "cannot be taken back yet: reading of 2026-02-13 21:00 was entered upon it by Noor" in refused
    assert "Take that back first (quarantine undo REASON), then this" in refused
    room.type("undo it was Q2 --yes", who="Noor")
    room.type('look "Q3 4 3" --no-signs')
    room.type("undo it was Q2 --yes")
    assert "moved, batch Q2-1: Q2 to Q3" in room.type("undo wrong tank --yes")
    assert "whole" in room.type("check")


def test_what_others_entered_of_their_own_stays(watched: OnceRoom) -> None:
    """In a tank with other fish a reading and their feeding are theirs: they stay, and a test of the fish that were not
    there is open again."""
    second(watched, "Q3")
    watched.type("batch move Q2-1 --to Q3 --yes")
    watched.at("20:00:00").type("reading Q3 temp=25C ph=8.1 tan=0.1mg/L salinity=34g/L", who="Noor")
    watched.type("undo wrong tank --yes")
    assert not [t for t in tasks_of(watched, "Q2-1") if t["step"].startswith("followup.") and t["state"] != "withdrawn"]
    assert watched.json("batch show Q3-1")["earliest"] == "2026-03-14"
    assert "whole" in watched.type("check")


def test_chores_of_the_tank_that_were_ticked_are_taken_back_first(watched: OnceRoom) -> None:
    """They hang on the move: whose entry it is, is said, and after it was taken back the move goes."""
    watched.type("batch move Q2-1 --to Q3")
    codes = " ".join(t["code"] for t in watched.json("today")["tasks"] if t["tanks"] == ["Q2"])
    watched.type(f'skip {codes} --because "it was clean"', who="Noor")
    assert "cannot be taken back yet: skip of 2026-02-13 20:00 was entered upon it by Noor" in watched.type(
        "undo no", 1
    )
    watched.type("undo it was not --yes", who="Noor")
    assert "Batch Q2-1 is in Q2 again." in watched.type("undo no --yes")


def test_fish_that_came_into_the_tank_meanwhile_keep_the_move(watched: OnceRoom) -> None:
    """They would have been put to fish that were not there."""
    second(watched, "Q3")
    watched.type("batch move Q2-1 --to Q4")
    watched.at("20:00:00").type("event emergency Q3 --to Q2", who="Noor")
    refused = watched.type("undo wrong tank", 1)
    assert "moved in of 2026-02-13 21:00 was entered upon it by Noor" in refused
    assert "move the fish on instead: quarantine batch move BATCH --to TANK" in refused


def test_a_move_is_not_corrected_but_taken_back(room: OnceRoom) -> None:
    """Neither its time nor its water: the sentence says how."""
    room.type("batch move Q2-1 --to Q3 --no-water")
    seal = rows(room, "select entry from head")[0]["entry"][:8]
    assert "is taken back whole" in room.type(f"correct {seal} --at 18:00 --because late", 1)


def test_a_step_that_moves_the_fish(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The task is open again under its code, and done by the right move."""
    room = room_with("reopen", tmp_path, capsys)
    room.type(f"reading Q4 {FILLED}")
    code = room.code("move")
    said = undo_is_as_before_and_again_as_typed_rightly(room, f"done {code} --to Q3", f"done {code} --to Q4")
    assert "Batch Q2-1 is in Q2 again." in said
    assert [one[2] for one in moves(room)] == ["done", "planned", "planned"]


def test_a_later_move_of_the_same_fish_alone_is_taken_back(room: OnceRoom) -> None:
    """The first one stands, with all that it brought along."""
    room.type(f"done {room.code()} --as-shown")
    room.type("batch move Q2-1 --to Q3 --no-water")
    chores = " ".join(t["code"] for t in room.json("today")["tasks"] if t["tanks"] == ["Q2"])
    room.at("2026-02-14 09:00:00").type(f'skip {chores} --because "it was cleaned by others"')
    undo_is_as_before_and_again_as_typed_rightly(
        room, "batch move Q2-1 --to Q4 --no-water", "batch move Q2-1 --to Q2 --no-water --really"
    )


def test_a_day_later_the_plan_is_that_of_the_day(room: OnceRoom) -> None:
    """What ran out of time meanwhile did so, whichever tank was typed."""
    known, other = known_of(room), twin(room)
    room.type("batch move Q2-1 --to Q3 --no-water")
    room.at("2026-02-15 20:00:00").type("undo wrong tank --yes")
    room.type("reading Q4 temp=25C")
    other.at(room.now).type("reading Q4 temp=25C")
    other.type("reading Q2 temp=25C")
    room.type("reading Q2 temp=25C")
    assert differ(state(other, known), state(room, known)) == []
    assert "whole" in room.type("check")


@pytest.mark.parametrize("beside", [False, True])
def test_what_was_remembered_late_is_taken_back_alone(room: OnceRoom, *, beside: bool) -> None:
    """A dose before the move, told after it: taken back it is the move's turn, not again what the plan wrote for it."""
    if beside:
        second(room, "Q3", protocol="marine-praziquantel")
    known, before = known_of(room), None
    before = state(room, known)
    room.type("batch move Q2-1 --to Q3 --yes")
    moved = state(room, known)
    for _ in range(2):
        room.type('event dose Q2 Z01 --gave 0.09g --at "2026-02-13 19:30" --really')
        assert "unknown" in room.type("level Q3")
        assert "Taken back: dose" in room.type("undo it was not --yes")
        assert differ(moved, state(room, known)) == []
    assert "moved, batch Q2-1: Q2 to Q3" in room.type("undo wrong tank --yes")
    assert differ(before, state(room, known)) == []
    assert "whole" in room.type("check")


def test_a_late_dose_of_another_keeper_stays_when_the_move_goes(room: OnceRoom) -> None:
    """It was given before they were moved, and one died: both are of the water that they are in again."""
    second(room, "Q3", protocol="marine-praziquantel")
    known, other = known_of(room), twin(room)
    room.type("batch move Q2-1 --to Q3 --yes")
    for late in (
        'event dose Q2 Z01 --gave 0.09g --at "2026-02-13 19:30" --really',
        'event died Q2 1 --at "2026-02-13 19:40"',
    ):
        room.type(late, who="Noor")
        other.type(late, who="Noor")
    room.type("undo wrong tank --yes")
    assert differ(state(other, known), state(room, known)) == []
    assert "whole" in room.type("check")
