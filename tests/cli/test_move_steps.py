"""A step that moves the fish: done by moving them, on top of the list once it is late, and begun again where its
template says so (rules A11 and A12, story 5)."""

from __future__ import annotations

from pathlib import Path

import pytest
from moving_room import day, hall
from once_room import OnceRoom

from quarantine.templates import shipped

FILLED = "temp=25.5C salinity=34g/L"
"""What has to be known of the water that they come to."""

TRANSFER = """
[[step]]
id = "transfer"
kind = "move"
who = "keeper"
title = "Move the fish to a clean tank"
start = { arrival = "3 d" }
repeat = { every = "48 h", times = 3, latest = "72 h", then = "THEN", from = "given" }
after_window = "THEN"
before = [{ reading = "temperature", min = "22 degC", within = "24 h", title = "At least 22 °C", reference = "S4" }]
references = ["S4"]
"""


def room_with(then: str, folder: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """Day 3 of four fish in Q2 whose protocol moves them three times."""
    text = shipped()["marine-watch"].read_text(encoding="utf-8") + TRANSFER.replace("THEN", then)
    (folder / "mine.toml").write_text(text, encoding="utf-8")
    room = hall(OnceRoom(folder / "home", capsys), str(folder / "mine.toml"))
    room.type(f"reading Q3 {FILLED}")
    return room


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """A series that begins again when a move was missed."""
    return room_with("reopen", tmp_path, capsys)


def moves(room: OnceRoom) -> list[tuple[str, str | None, str]]:
    """Title, day and state of each move of the plan."""
    found = [t for t in room.json("batch show Q2-1")["tasks"] if t["step"] == "transfer" and t["state"] != "withdrawn"]
    return sorted((t["title"], t["day"], t["state"]) for t in found)


def test_a_move_is_done_by_moving_the_fish(room: OnceRoom) -> None:
    """It asks for the tank; the batch is in it then, and the next move is due 48 hours later."""
    code = room.code("move")
    assert f"quarantine done {code} --to TANK" in room.type(f"done {code}", 1)
    said = room.type(f"done {code} --to Q3")
    assert "Move the fish to a clean tank (1 of 3) done." in said
    assert "4 fish moved from Q2 to Q3" in said
    assert room.json("batch show Q2-1")["tank"] == "Q3"
    assert [state for _, _, state in moves(room)] == ["done", "planned", "planned"]
    assert moves(room)[1][1] == "2026-02-15"
    assert "was done by Robin" in room.type(f"done {code} --to Q4", 1)
    assert "whole" in room.type("check")


def test_hour_70_shows_two_hours_left_and_at_hour_73_the_series_begins_again(room: OnceRoom) -> None:
    """Story 5: the ceiling is 72 real hours after the move that was done; what was missed keeps its question."""
    room.type(f"done {room.code('move')} --to Q3")  # 2026-02-13 19:00 UTC
    day(room, 14, "Q3")
    day(room, 15, "Q3")
    listed = room.at("2026-02-16 17:00:00").type("today")
    assert "too late from 2026-02-16 20:00 (2 h left)" in listed
    assert "(1 h 59 min left)" in room.at("2026-02-16 17:00:30").type("today")
    day(room, 16, "Q3", clock="20:00:00")  # hour 73: any write makes the plan anew
    said = moves(room)
    assert [one for one in said if one[2] == "missed"] == [
        ("Move the fish to a clean tank (2 of 3)", "2026-02-15", "missed")
    ]
    again = [one for one in said if one[2] == "planned"]
    assert [day_ for _, day_, _ in again] == ["2026-02-16", "2026-02-18", "2026-02-20"]
    assert "MISSED Move the fish to a clean tank" in room.type("today")
    assert "whole" in room.type("check")


def test_a_deadline_that_the_template_keeps_stays_overdue_on_top(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With keep it is never missed (rule A11): it heads the list until it is done (rule D)."""
    room = room_with("keep", tmp_path, capsys)
    room.type(f"done {room.code('move')} --to Q3")
    day(room, 14, "Q3")
    room.at("2026-02-18 09:00:00")
    tasks = room.json("today")["tasks"]
    assert (tasks[0]["kind"], tasks[0]["section"]) == ("move", "overdue")
    assert "OVERDUE since 2026-02-16 20:00" in room.type("today")
    room.type("reading Q3 temp=25.5C")
    room.type(f"reading Q4 {FILLED}")
    room.type(f"done {tasks[0]['code']} --to Q4 --yes")
    assert room.json("batch show Q2-1")["tank"] == "Q4"


def test_the_checks_before_a_move_are_asked_and_what_happened_is_recorded(room: OnceRoom) -> None:
    """Under 22 °C it is refused with what was read; --really records that they were moved all the same (rule C7)."""
    code = room.code("move")
    room.type("reading Q2 temp=20C --really")
    said = room.type(f"done {code} --to Q3", 1)
    assert f"{code} asks first: temperature 20 °C, needed: at least 22 °C" in said
    assert "nothing was recorded" in said
    assert "Deviation, which sign-off names: temperature 20 °C" in room.type(
        f"done {code} --to Q3 --really --note late"
    )
    (named,) = room.json("signoff Q2-1")["dose_deviations"]
    assert named.startswith("Deviation of a move, 2026-02-13 20:00: to Q3, though temperature 20 °C, needed")
    assert named.endswith("(late).")


def test_a_move_that_came_too_late_counts_as_the_first_of_a_series_that_begins_again(room: OnceRoom) -> None:
    """Hour 73, and nothing was written since: the code that stands as missed is typed, and what was done now is the
    first move again, never the second. What was missed stays until a person gives the reason (rules A11 and A12)."""
    room.type(f"done {room.code('move')} --to Q3")  # 2026-02-13 19:00 UTC; 72 hours later is 2026-02-16 20:00 there
    day(room, 15, "Q3")
    room.at("2026-02-16 18:50:00").type(f"reading Q4 {FILLED}")
    room.type(f"reading Q3 {FILLED}")
    second = room.code("move")
    room.at("2026-02-16 20:00:00")
    listed = room.type("today")
    assert f"MISSED Move the fish to a clean tank (2 of 3): {second}" in listed
    assert "the moves begin again from the first, as soon as anything is logged" in listed
    said = room.type(f"done {second} --to Q4 --yes")
    assert f"{second} was too late from 2026-02-16 20:00: it stays missed, and needs its reason" in said
    assert "Move the fish to a clean tank (1 of 3) done." in said
    assert [one for one in moves(room) if one[1] and one[1] >= "2026-02-15"] == [
        ("Move the fish to a clean tank (1 of 3)", "2026-02-16", "done"),
        ("Move the fish to a clean tank (2 of 3)", "2026-02-15", "missed"),
        ("Move the fish to a clean tank (2 of 3)", "2026-02-18", "planned"),
        ("Move the fish to a clean tank (3 of 3)", "2026-02-20", "planned"),
    ]
    assert "begin again" not in room.type("today")
    assert "whole" in room.type("check")


def test_a_move_entered_late_that_was_in_time_goes_on_with_the_series(room: OnceRoom) -> None:
    """The missed code with the true time of a move in time: it was the second, and the third follows."""
    room.type(f"done {room.code('move')} --to Q3")
    day(room, 15, "Q3")
    room.at("2026-02-16 18:50:00").type(f"reading Q4 {FILLED}")
    room.type(f"reading Q3 {FILLED}")
    second = room.code("move")
    room.at("2026-02-16 20:00:00").type(f'done {second} --to Q4 --yes --at "2026-02-16 19:55"')
    assert ("Move the fish to a clean tank (2 of 3)", "2026-02-15", "done") in moves(room)
    assert [one for one in moves(room) if one[2] == "planned"] == [
        ("Move the fish to a clean tank (3 of 3)", "2026-02-18", "planned")
    ]


@pytest.mark.parametrize("late", [False, True])
def test_a_skipped_move_begins_the_series_again(room: OnceRoom, late: bool) -> None:
    """Whether its time has run out or not: without it more than 72 hours lie between two moves."""
    room.type(f"done {room.code('move')} --to Q3")
    day(room, 15, "Q3")
    room.at("2026-02-16 18:50:00")
    second = room.code("move")
    room.at("2026-02-16 20:00:00" if late else "2026-02-16 18:51:00")
    said = room.type(f"skip {second} --because 'no tank' --yes")
    assert "skipped: no tank; the moves begin again from the first" in said
    assert [one for one in moves(room) if one[2] in ("skipped", "planned")] == [
        ("Move the fish to a clean tank (1 of 3)", "2026-02-16", "planned"),
        ("Move the fish to a clean tank (2 of 3)", "2026-02-15", "skipped"),
        ("Move the fish to a clean tank (2 of 3)", "2026-02-18", "planned"),
        ("Move the fish to a clean tank (3 of 3)", "2026-02-20", "planned"),
    ]
    assert "whole" in room.type("check")


def test_a_skip_that_is_taken_back_begins_nothing_again(room: OnceRoom) -> None:
    """The same code is open again, and done in time it is the second move."""
    room.type(f"done {room.code('move')} --to Q3")
    day(room, 15, "Q3")
    room.at("2026-02-16 18:50:00").type(f"reading Q4 {FILLED}")
    room.type(f"reading Q3 {FILLED}")
    second = room.code("move")
    room.type(f"skip {second} --because 'no tank' --yes")
    room.type("undo it was not skipped --yes")
    room.at("2026-02-16 18:55:00").type(f"done {second} --to Q4 --yes")
    assert [one for one in moves(room) if one[2] == "planned"] == [
        ("Move the fish to a clean tank (3 of 3)", "2026-02-18", "planned")
    ]
    assert "whole" in room.type("check")


def test_a_skipped_move_whose_deadline_the_template_keeps_begins_nothing_again(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing of such a series lapses, and the next move stands."""
    room = room_with("keep", tmp_path, capsys)
    said = room.type(f"skip {room.code('move')} --because 'no tank' --yes")
    assert "begin again" not in said
    assert [one[0][-8:] for one in moves(room) if one[2] == "planned"] == ["(2 of 3)", "(3 of 3)"]


def test_fish_that_were_moved_before_are_settled_with_what_was_not_asked(room: OnceRoom) -> None:
    """`batch move` first, then the step: it is done at the time of that move, and sign-off names it (rule C7)."""
    code = room.code("move")
    room.type("batch move Q2-1 --to Q3 --yes")
    room.at("2026-02-15 18:00:00")
    assert "The fish came into Q3 2026-02-13 20:00 already" in room.type(f"done {code} --to Q3", 1)
    assert "done, by the move to Q3 of 2026-02-13 20:00." in room.type(f"done {code} --to Q3 --really")
    assert moves(room)[1] == ("Move the fish to a clean tank (2 of 3)", "2026-02-15", "planned")
    (named,) = room.json("signoff Q2-1")["dose_deviations"]
    assert "no check was asked for (no reason was said)" in named
    # That move is the first one's: it is no second.
    assert "is the tank they are in" in room.type(f"done {room.code('move')} --to Q3 --really", 1)
    assert "whole" in room.type("check")


def test_a_batch_that_was_never_moved_is_not_where_it_would_go(room: OnceRoom) -> None:
    """The tank they arrived in is no tank to move them to."""
    assert "Q2 is the tank they are in" in room.type(f"done {room.code('move')} --to Q2 --really", 1)


def test_another_task_takes_no_tank(room: OnceRoom) -> None:
    """--to belongs to a move alone."""
    chore = next(t["code"] for t in room.json("today")["tasks"] if t["kind"] == "chore")
    assert "moves no fish" in room.type(f"done {chore} --to Q3", 1)
    assert "ticked alone" in room.type(f"done {chore} {room.code('move')} --to Q3", 2)


def test_a_move_is_on_the_calendar_the_sheet_and_the_round(room: OnceRoom, tmp_path: Path) -> None:
    """Wherever work is listed it stands under its title."""
    file = tmp_path / "a.ics"
    room.type(f"calendar write {file}")
    assert "Move the fish" in file.read_text(encoding="utf-8")
    assert "Move the fish to a clean tank" in room.type("sheet")
