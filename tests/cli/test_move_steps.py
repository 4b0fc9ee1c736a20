"""A step that moves the fish: done by moving them, on top of the list once it is late, and begun again where its
template says so (rules A11 and A12, story 5)."""

from __future__ import annotations

from pathlib import Path

import pytest
from moving_room import day, hall
from once_room import OnceRoom

from quarantine.templates import shipped

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
    return hall(OnceRoom(folder / "home", capsys), str(folder / "mine.toml"))


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
    room.type(f"done {tasks[0]['code']} --to Q4 --yes")
    assert room.json("batch show Q2-1")["tank"] == "Q4"


def test_the_checks_before_a_move_are_asked_and_what_happened_is_recorded(room: OnceRoom) -> None:
    """Under 22 °C it is refused with what was read; --really records that they were moved all the same (rule C7)."""
    code = room.code("move")
    room.type("reading Q2 temp=20C --really")
    assert "At least 22" in room.type(f"done {code} --to Q3", 1)
    assert "done." in room.type(f"done {code} --to Q3 --really")


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
