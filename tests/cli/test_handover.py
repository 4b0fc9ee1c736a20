"""The note for whoever comes next (need F60): nothing open is lost between two shifts."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time
from once_room import OnceRoom, furnish
from school_room import arrive, school

from quarantine.cli.app import run


@pytest.fixture
def hall(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """A medicated batch with a dose due this evening."""
    return furnish(OnceRoom(tmp_path / "home", capsys))


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """A school with fish since this morning."""
    made = school(OnceRoom(tmp_path / "home", capsys))
    arrive(made)
    return made


def open_on_record(room: OnceRoom) -> set[str]:
    """The codes of every task of the batch that is due by today and has no outcome, from another command."""
    today = room.now[:10]
    tasks = [t for t in room.json("batch show Q1-1")["tasks"] if t["state"] in ("planned", "missed")]
    return {t["code"] for t in tasks if t["day"] is None or t["day"] <= today}


def codes(note: Any) -> set[str]:
    """The codes of a note's open tasks."""
    return {task["code"] for task in note["open"]}


def test_two_shifts_lose_nothing_that_is_open(room: OnceRoom) -> None:
    """F60: the morning does some of the work and hands over; what the afternoon finds is what is left, the missed work
    of days before among it; what it does not do is in its own note, and in that of the next morning."""
    room.at("2026-03-05 09:00:00")
    first = room.json("handover")
    assert codes(first) == open_on_record(room)
    assert {t["section"] for t in first["open"]} >= {"due", "missed"}
    room.type("look 'Q1 12 2' --no-signs")  # Robin looks and feeds; the tests stay
    claimed = next(t["code"] for t in first["open"] if t["title"].startswith("Test ammonia") and t["section"] == "due")
    room.type(f"claim {claimed}")
    noon = room.json("handover --to Noor")
    assert (
        codes(noon)
        == open_on_record(room)
        == codes(first) - {t["code"] for t in first["open"] if t["kind"] in ("look", "feed") and t["section"] == "due"}
    )
    assert next(t for t in noon["open"] if t["code"] == claimed)["claimed"]["by"] == "Robin"
    room.at("2026-03-05 14:00:00").type("reading Q1 temp=25C ph=7.2 tan=0mg/L nitrite=0mg/L", who="Noor")
    evening = room.json("handover --to Robin", who="Noor")
    assert codes(evening) == open_on_record(room)
    assert claimed not in codes(evening)
    morning = room.at("2026-03-06 06:00:00").json("handover")
    assert codes(morning) == open_on_record(room)
    assert codes(evening) <= codes(morning)  # nothing open of the evening was lost over night
    assert len(codes(morning)) > len(codes(evening))


def test_every_open_code_stands_in_the_lines_too(room: OnceRoom) -> None:
    """The lines a person reads name each task of the document by its code, missed ones with their day."""
    room.at("2026-03-06 09:00:00")
    note, said = room.json("handover"), room.type("handover")
    assert all(code in said for code in codes(note))
    assert "Q1: MISSED Look at every fish and count:" in said
    assert f"Open ({len(codes(note))} in all):" in said


def test_what_is_odd_is_named(hall: OnceRoom) -> None:
    """Open signs, a held dose with its reason, a reading past its limit, ACT NOW and incidents: each with its tank."""
    quiet = hall.json("handover")
    assert quiet["odd"] == []
    code = hall.code()
    hall.type("look 'Q2 4' --sign 'gasping at the surface:A'")
    hall.type("reading Q2 nitrite_no2=2mg/L")
    hall.type("event incident Q2 --what power --from '-1h' --yes")
    odd = " ".join(hall.json("handover")["odd"])
    assert "Q2: Q2-1: ACT NOW" in odd
    assert "Q2-1 shows gasping at the surface (A); not yet said to be gone" in odd
    assert f"Q2: {code} " in odd
    assert "is held (C9)" in odd
    assert "Q2: PAST ITS LIMIT: nitrite 2 mg/L" in odd
    assert "Read 2026-02-13 20:00." in odd
    assert "Q2: INCIDENT since 2026-02-13 19:00: power" in odd


def test_an_old_reading_is_no_news(hall: OnceRoom) -> None:
    """A reading past its limit is named for three days; the tests that it asked for stay in the open work."""
    hall.type("reading Q2 nitrite_no2=2mg/L")
    assert any("nitrite" in line for line in hall.at("2026-02-16 18:00:00").json("handover")["odd"])
    later = hall.at("2026-02-17 20:00:00").json("handover")
    assert not any("PAST ITS LIMIT" in line for line in later["odd"])
    assert any("nitrite" in task["title"].casefold() for task in later["open"])


def test_doses_are_to_watch_with_their_deadline(hall: OnceRoom) -> None:
    """What must be done within 24 h stands apart, from when and until when; what begins later does not."""
    code = hall.code()
    due = f"Q2: {code} Praziquantel bath (1 of 2)"
    early = hall.at("2026-02-12 20:00:00").json("handover")["watch"]
    assert early == [f"{due}, from 2026-02-13 08:00, until 2026-02-13 20:00"]
    assert hall.at("2026-02-12 06:00:00").json("handover")["watch"] == []  # 26 h before it begins
    assert hall.at("19:00:00").json("handover")["watch"] == [f"{due}, until 2026-02-13 20:00"]
    hall.type(f"done {code} --as-shown")
    assert hall.json("handover")["watch"] == []


def test_what_runs_out_and_who_is_away_is_in_the_note(hall: OnceRoom) -> None:
    """Stock for the doses of a week, the absences of a week, the receiver's own first, and the days that are shut."""
    hall.type("stock add Jar '0.02 g' --substance praziquantel --form powder --strength '98 %' --lot A1")
    hall.type("absent Robin 2026-02-14 2026-02-15 --because course")
    hall.type("absent Noor 2026-02-15 2026-02-16")
    hall.type("absent Noor 2026-03-15 2026-03-16")
    hall.type("site closed Hall 2026-02-01 2026-03-31 --weekdays sun --what Sundays")
    note = hall.json("handover --to Noor --site Hall")
    assert note["stock"] == ["STOCK: Jar runs out on 2026-02-13, 0.18 g short in all: quarantine shopping"]
    assert note["away"] == [
        "Noor, to whom this goes, is away 2026-02-15 to 2026-02-16",
        "Robin is away 2026-02-14 to 2026-02-15 (course)",
        "Hall is shut on Sun 2026-02-15 (Sundays)",
    ]


def test_one_site_s_note_has_its_own_tanks_only(hall: OnceRoom) -> None:
    """Two sites, two shifts: the note of the other site is empty, and says so part by part."""
    hall.type("site add Shed --zone Europe/Berlin")
    said = hall.type("handover --site Shed")
    assert "Open: nothing. Odd: nothing. Watch in the next 24 h: nothing. Stock low: nothing." in said
    assert codes(hall.json("handover --site Hall")) == codes(hall.json("handover"))


def test_a_sitter_gets_the_sitter_s_sheet(hall: OnceRoom) -> None:
    """The note names medicine, so it is not for who handles none (rule C19)."""
    hall.type("keeper add Kim")
    hall.type("keeper role Kim sitter")
    assert "print the sitter's sheet instead: quarantine sheet --sitter" in hall.type("handover --to Kim", 1)
    assert "There is no keeper 'Nobody'" in hall.type("handover --to Nobody", 1)
    assert "There is no site 'Nowhere'" in hall.type("handover --site Nowhere", 1)


def test_the_note_prints(hall: OnceRoom, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As a page for a printer with every part, and as lines of 40 columns; each says that the list rules."""
    page = tmp_path / "note.html"
    assert "open it in a browser to print" in hall.type(f"handover --to Noor --html {page}")
    text = page.read_text(encoding="utf-8")
    for words in ("Handover for Noor, Friday 13 February 2026", "Open (", "Odd", "Watch in the next 24 h", "Stock low"):
        assert words in text, words
    assert hall.code() in text
    assert "not the record" in text
    monkeypatch.setenv("COLUMNS", "40")
    with freeze_time(hall.now):
        assert run(["--home", str(hall.home), "--as", "Robin", "handover"]) == 0
    lines = hall.capsys.readouterr().out.splitlines()
    assert len(lines) > 10
    assert max(map(len, lines)) <= 40


def test_an_empty_record_has_an_empty_note(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Before anything is on record the note is there, and empty."""
    room = OnceRoom(tmp_path / "home", capsys)
    assert "Open: nothing." in room.type("handover", who="")
