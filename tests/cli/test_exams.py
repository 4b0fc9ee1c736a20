"""Examinations with files, deaths with what was seen on them, and what a sign-off says was not tested."""

from __future__ import annotations

import hashlib
import shlex
from pathlib import Path

import pytest
from typed_room import Room, typed_room


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    """Forty rainbowfish in Q1 since 9 February: one of them is under 5 %."""
    return typed_room(tmp_path / "home", capsys, monkeypatch, 40)


# --- Examinations ----------------------------------------------------------------------------------------------


def test_an_examination_keeps_what_how_many_by_whom_and_the_result(room: Room) -> None:
    """The three results, and that a negative one in a few fish proves little."""
    said = room.type("exam Q1-1 --what scrape --negative --n 2 --lab 'Dr Example'")
    assert "skin scrape of 2 fish, nothing found (Dr Example)" in said
    assert "is not nothing there" in said
    assert "veterinarian" in room.type("exam Q1-1 --what CLIP --found 'flukes, few'")
    assert "--answers " in room.type("exam Q1-1 --what pcr --pending")
    assert room.facts("exam") == [
        {"what": "scrape", "result": "negative", "count": 2, "lab": "Dr Example"},
        {"what": "clip", "result": "found", "found": "flukes, few"},
        {"what": "pcr", "result": "pending"},
    ]
    assert [e["result"] for e in room.json("exams Q1-1")["exams"]] == ["negative", "found", "pending"]
    assert "The record is whole" in room.type("check")


def test_more_fish_than_ever_came_were_not_examined(room: Room) -> None:
    """Forty came; forty-one are refused, and nothing is written."""
    assert "only 40 fish are on record" in room.type("exam Q1-1 --what scrape --negative --n 41", 1)
    assert room.facts("exam") == []
    room.type("exam Q1-1 --what scrape --negative --n 40")


def test_a_result_takes_the_place_of_the_pending_one_it_answers(room: Room) -> None:
    """Once: a second answer finds nothing pending, and another kind of examination is no answer."""
    room.type("exam Q1-1 --what pcr --pending --lab City")
    (waiting,) = room.json("exams Q1-1")["exams"]
    answers = f"--answers {waiting['id']}"
    assert "is a PCR, not a skin scrape" in room.type(f"exam Q1-1 --what scrape --negative {answers}", 1)
    room.at("2026-02-14 08:00:00").type(f"exam Q1-1 --what pcr --negative {answers}")
    (done,) = room.json("exams Q1-1")["exams"]
    assert (done["result"], done["answers"]) == ("negative", waiting["id"])
    assert "no pending examination" in room.type(f"exam Q1-1 --what pcr --negative {answers}", 1)
    room.type("undo 'wrong batch'")
    assert room.json("exams Q1-1")["exams"][0]["result"] == "pending"


def test_a_file_is_known_by_its_seal_and_is_not_copied(room: Room, tmp_path: Path) -> None:
    """Unchanged, changed and gone are told apart; the home folder holds no copy."""
    report = tmp_path / "report of a lab.pdf"
    report.write_bytes(b"nothing found")
    room.type(f"exam Q1-1 --what necropsy --negative --file {shlex.quote(str(report))}")
    (file,) = (fact["file"] for fact in room.facts("exam"))
    assert file["name"] == "report of a lab.pdf"
    assert file["sha256"] == hashlib.sha256(b"nothing found").hexdigest()
    assert [p.name for p in room.home.rglob("*.pdf")] == []
    assert "the file is unchanged" in room.type("exams")
    report.write_bytes(b"nothing found!")
    assert "THE FILE WAS CHANGED" in room.type("exams")
    report.unlink()
    assert "the file is not there" in room.type("exams")
    assert room.json("exams")["exams"][0]["file"]["state"] == "missing"


@pytest.mark.parametrize(
    ("line", "code", "words"),
    [
        ("exam Q1-1 --what x-ray --negative", 1, "known: scrape, clip, faeces, pcr, necropsy"),
        ("exam Q1-1 --what scrape", 2, "Say one of --found"),
        ("exam Q1-1 --what scrape --negative --pending", 2, "Say one of --found"),
        ("exam Q1-1 --what scrape --found ' '", 2, "--found needs"),
        ("exam Q1-1 --what scrape --negative --n 0", 2, "--n '0' is not a count"),
        ("exam Q1-1 --what scrape --negative --file /nowhere/at/all", 1, "cannot be read"),
        ("exam Q1-1 --what scrape --negative --at '2026-02-08 10:00'", 1, "Check --at"),
        ("exam Q9 --what scrape --negative", 1, "no batch 'Q9'"),
        ("exams Q9", 1, "no batch 'Q9'"),
    ],
)
def test_what_does_not_read_is_one_sentence_and_writes_nothing(room: Room, line: str, code: int, words: str) -> None:
    """Each says what was wrong; no examination comes on record."""
    said = room.type(line, code)
    assert words in said
    assert said.count("\n") == 1
    assert room.facts("exam") == []


def test_a_sign_off_says_what_was_and_what_was_not_tested_and_asks_for_none(room: Room) -> None:
    """In the document, in the lines and under the seal; the criteria are the same with and without."""
    before = room.json("signoff Q1-1")
    assert [t["tested"] for t in before["tests"]] == [False] * 5
    room.type("exam Q1-1 --what scrape --negative --n 2")
    room.type("exam Q1-1 --what pcr --pending")
    after = room.json("signoff Q1-1")
    assert [c["title"] for c in after["criteria"]] == [c["title"] for c in before["criteria"]]
    assert {t["what"]: t["tested"] for t in after["tests"]} == {
        "scrape": True,
        "clip": False,
        "faeces": False,
        "pcr": False,
        "necropsy": False,
    }
    said = room.type("signoff Q1-1")
    assert "Tested: 2026-02-10 skin scrape of 2 fish, nothing found." in said
    assert "Not tested: fin or gill clip, faeces, PCR, necropsy." in said
    signed = room.json("signoff Q1-1 --reject")
    assert signed["tests"] == after["tests"]
    assert "The record is whole" in room.type("check")
    late = room.at("2026-02-20 08:00:00").type("exam Q1-1 --what necropsy --found 'mycobacteria'")
    assert "necropsy, found: mycobacteria" in late, "a result may come after the batch is closed"


# --- Deaths (F65, F66, A7) ----------------------------------------------------------------------------------------


def test_F66_a_death_keeps_when_found_since_the_last_look_signs_and_disposal(room: Room) -> None:
    """Dated when found; a suspected cause explains nothing, so observation starts again."""
    room.type("look 'Q1 40 3' --no-signs")
    said = room.at("2026-02-11 12:00:00").type(
        "event died Q1 1 --found 09:30 --sign 'pale gills' --suspected nitrite --disposal 'household waste'"
    )
    assert said.startswith("Q1, 2026-02-11 09:30: died recorded")
    assert "since the last look (2026-02-10 09:00)" in said
    assert "earliest sign-off" in said
    assert "--what necropsy" in said
    assert room.facts("died") == [
        {
            "count": 1,
            "euthanised": False,
            "signs": ["pale gills"],
            "suspected": "nitrite",
            "disposal": "household waste",
            "since_look": "2026-02-10T08:00:00Z",
        }
    ]


def test_A7_a_known_cause_explains_and_a_suspected_one_does_not(room: Room) -> None:
    """One of forty: only the unexplained one restarts observation."""
    assert "earliest sign-off" not in room.type("event died Q1 1 --cause 'jumped out'")
    assert "earliest sign-off" in room.at("2026-02-12 08:00:00").type("event died Q1 1 --suspected flukes")


def test_euthanised_is_its_own_outcome_and_leaves_the_head_count_balanced(room: Room) -> None:
    """Counted in the ledger, marked apart from the dead, with the reason and how."""
    said = room.type("event euthanised Q1 1 --because 'would not recover' --method 'as the veterinarian said'")
    assert "euthanised" in said
    assert room.facts("died") == [
        {
            "count": 1,
            "euthanised": True,
            "explained": True,
            "because": "would not recover",
            "method": "as the veterinarian said",
        }
    ]
    room.type("look 'Q1 39 3' --no-signs")
    assert "39 alive on record, 39 seen" in room.type("signoff Q1-1")
    assert "The record is whole" in room.type("check")


def test_F66_two_dead_in_a_day_are_an_alarm_that_names_the_hold(room: Room) -> None:
    """Rules A7 and C9: said with the event, and with a look that found them."""
    assert "ACT NOW" not in room.type("event died Q1 1 --cause 'jumped out'")
    assert "ACT NOW (2 of 40 dead in 24 hours, 2026-02-10)" in room.at("2026-02-10 18:00:00").type("event died Q1 1")
    assert "ACT NOW (2 of 38 dead in 24 hours, 2026-02-13)" in room.at("2026-02-13 08:00:00").type(
        "look 'Q1 36 3' --dead 2"
    )


def test_F66_the_alarm_heads_every_list_until_a_named_person_lifts_it(room: Room) -> None:
    """Where nothing is dosed the hold alone would be seen by nobody: today and the sheet say it each day, a sitter's
    sheet has whom to call; one death taken back or a lift ends it."""
    alarm = "Q1-1: ACT NOW (2 of 40 dead in 24 hours, 2026-02-10): test the water, add air"
    room.type("event died Q1 1")
    assert "ACT NOW" not in room.type("today")
    room.type("event died Q1 1")
    for line in ("today", "sheet"):
        assert alarm in room.at("2026-02-14 08:00:00").type(line)
    assert "ACT NOW" not in room.type("sheet --sitter")
    room.type("event lift Q1 --because 'water good, all calm'")
    assert "ACT NOW" not in room.type("today") + room.type("sheet")


@pytest.mark.parametrize(
    ("line", "code", "words"),
    [
        ("event died Q1 1 --found 09:00 --at 09:00", 2, "say the same"),
        ("event died Q1 1 --cause a --suspected b", 2, "known or suspected"),
        ("event died Q1 1 --sign nosuchsign", 1, "no sign 'nosuchsign'"),
        ("event died Q1 1 --batch Q7", 1, "no open batch 'Q7'"),
        ("event died Q1 41", 1, "40 of Q1-1 are alive"),
        ("event died Show 1", 1, "no open batch in Show"),
        ("event euthanised Q1 1 --because ' '", 2, "--because needs"),
        ("event euthanised Q1 0 --because x", 2, "not a count"),
    ],
)
def test_a_death_that_does_not_read_is_one_sentence(room: Room, line: str, code: int, words: str) -> None:
    """Each says what was wrong; nobody is counted dead."""
    said = room.type(line, code)
    assert words in said
    assert said.count("\n") == 1
    assert room.facts("died") == []


def test_a_death_can_name_its_batch(room: Room) -> None:
    """By name, capitals aside."""
    assert "died recorded" in room.type("event died Q1 1 --batch q1-1")
