"""Incidents (F70): the fact, its checks as tasks, its effect on the clocks; and tasks that readings ask for (F48)."""

from __future__ import annotations

import sqlite3
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from typed_room import BOX, Room, typed_room

from quarantine import evidence as ev
from quarantine.facts import Condition
from quarantine.records.loading import fact_of
from quarantine.records.reads import open_reader
from quarantine.settings import open_home
from quarantine.templates import shipped

PAST = "reading Q1 temp=25C ph=8.0 tan=2mg/L"
WITHIN = "reading Q1 temp=25C ph=7.0 tan=0.1mg/L"


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    """A quarantine tank Q1 of 54 L with twelve rainbowfish since 9 February; the clock stands at day 1, 9:00."""
    return typed_room(tmp_path / "home", capsys, monkeypatch, 12)


def tasks(room: Room) -> dict[str, dict[str, Any]]:
    """Title -> every follow-up of the batch, as its document has it."""
    found = room.json("batch show Q1-1")["tasks"]
    return {t["title"]: t for t in found if t["step"].startswith("followup.")}


def listed(room: Room, title: str) -> dict[str, Any]:
    """The one task of a title on today's list."""
    (found,) = [t for t in room.json("today")["tasks"] if t["title"] == title]
    return dict(found)


# --- The mechanism ----------------------------------------------------------------------------------------


def test_F48_the_task_is_made_once_and_settled_by_a_good_reading(room: Room) -> None:
    """Over the limit two tasks come; again over it no more do; within it the test is done, the change withdrawn."""
    room.type(PAST)
    first = tasks(room)
    assert {t: d["state"] for t, d in first.items()} == {
        "Change water, judged (ammonia)": "planned",
        "Test again: ammonia": "planned",
    }
    room.at("2026-02-10 12:00:00").type(PAST)
    assert {t: d["code"] for t, d in tasks(room).items()} == {t: d["code"] for t, d in first.items()}
    room.at("2026-02-10 15:00:00").type(WITHIN)
    assert {t: d["state"] for t, d in tasks(room).items()} == {
        "Change water, judged (ammonia)": "withdrawn",
        "Test again: ammonia": "done",
    }
    said = room.type(f"why {first['Change water, judged (ammonia)']['code']}")
    assert "read within its limit 2026-02-10 16:00" in said
    assert room.type("check").startswith("The record is whole")


def test_F48_a_reading_at_the_limit_asks_for_nothing_and_lines_stay(room: Room) -> None:
    """Nitrite of 0.2 mg/L is at its limit; 0.21 mg/L is over it, and the printed lines are there as well."""
    room.type("reading Q1 nitrite_no2=0.20mg/L")
    assert tasks(room) == {}
    said = room.at("2026-02-10 10:00:00").type("reading Q1 nitrite_no2=0.21mg/L")
    assert "PAST ITS LIMIT" in said
    assert set(tasks(room)) == {"Change water, judged (nitrite)", "Test again: nitrite"}


def test_F48_the_general_range_advises_and_makes_no_work(room: Room) -> None:
    """A pH outside the general range may be right for these fish: it is said, and nobody is given a task."""
    assert "PAST ITS LIMIT" in room.type("reading Q1 ph=6.2")
    assert tasks(room) == {}


def test_a_change_that_was_asked_for_is_done_with_its_litres(room: Room) -> None:
    """No share is on the card, so the litres are asked for; the change is on record."""
    room.type(PAST)
    code = tasks(room)["Change water, judged (ammonia)"]["code"]
    assert "How many litres" in room.type(f"done {code}", 1)
    room.type(f"done {code} --gave 12L")
    assert tasks(room)["Change water, judged (ammonia)"]["state"] == "done"
    assert room.facts("change")[0]["out_litres"] == "12"


def test_a_reading_that_is_taken_back_takes_its_tasks_back(room: Room) -> None:
    """Undone, the bad reading asks for nothing; the good one undone opens again what it had settled."""
    room.type(PAST)
    room.at("2026-02-10 12:00:00").type(WITHIN)
    room.at("2026-02-10 12:05:00").type("undo 'the other tank' --yes")
    assert {d["state"] for d in tasks(room).values()} == {"planned"}
    room.at("2026-02-10 12:06:00").type("undo 'the other tank' --yes")
    assert {d["state"] for d in tasks(room).values()} == {"withdrawn"}
    assert room.type("check").startswith("The record is whole")


def test_one_of_several_readings_taken_back_opens_the_test_again(room: Room) -> None:
    """A test of three readings is open again when the first of them, that did not settle it alone, is taken back."""
    room.type("event incident Q1 --what leak --until 09:00 --from 08:00")
    room.at("2026-02-11 08:00:00").type("reading Q1 tan=0.1mg/L")
    for hour, name in ((9, "nitrite_no2=0.1mg/L"), (10, "ph=7.0"), (11, "temp=25C")):
        room.at(f"2026-02-11 {hour:02}:00:00").type(f"reading Q1 {name}")
    title = "Test ammonia and nitrite, the day after"
    assert tasks(room)[title]["state"] == "done"
    room.at("2026-02-11 12:00:00").type("undo slip --yes")
    assert tasks(room)[title]["state"] == "planned"
    room.at("2026-02-11 12:10:00").type("reading Q1 temp=25C")
    assert tasks(room)[title]["state"] == "done"


def newest(room: Room) -> str:
    """The first eight digits of the last entry's seal."""
    connection = sqlite3.connect(room.home / "record.db")
    try:
        return str(connection.execute("select id from journal order by n desc limit 1").fetchone()[0])[:8]
    finally:
        connection.close()


def test_a_corrected_reading_keeps_the_code_of_its_task(room: Room) -> None:
    """Another value past the limit is the same reading, so code and calendar entry stay; one within it withdraws."""
    room.type("reading Q1 nitrite_no2=0.50mg/L")
    code = tasks(room)["Test again: nitrite"]["code"]
    room.at("2026-02-10 09:00:00").type(f"correct {newest(room)} nitrite=0.60mg/L --because misread --yes")
    assert tasks(room)["Test again: nitrite"]["code"] == code
    room.at("2026-02-10 10:00:00").type(f"correct {newest(room)} nitrite=0.10mg/L --because misread --yes")
    assert {d["state"] for d in tasks(room).values()} == {"withdrawn"}


def test_a_followup_counts_at_sign_off_and_stands_in_the_calendar(room: Room) -> None:
    """Past without an outcome it is a blank that a release names; a calendar reminds of it."""
    room.type(PAST)
    room.at("2026-02-12 08:00:00").type("reading Q1 temp=25C")
    judged = room.json("signoff Q1-1")["criteria"]
    (said,) = [c["says"] for c in judged if "without an outcome" in c["says"]]
    assert "Change water, judged (ammonia)" in said
    file = room.home / "q.ics"
    room.type(f"calendar write {file}")
    assert "Change water\\, judged (ammonia)" in file.read_text(encoding="utf-8").replace("\r\n ", "")


def test_after_formalin_the_filter_is_watched_where_the_template_does_not(room: Room) -> None:
    """A bath of 250 uL/L on day 13: tests for ten days, save those on which the template tests ammonia and nitrite."""
    room.at("2026-02-22 08:00:00")
    room.type("event dose Q1 F01 --gave 13.5mL --strength '37 % formaldehyde' --really")
    shown = room.json("batch show Q1-1")["tasks"]
    watch = {t["day"] for t in shown if t["step"] == "followup.filter-test"}
    own = {t["day"] for t in shown if t["title"] == "Test ammonia, nitrite and pH"}
    ten = {f"2026-02-{day}" for day in range(23, 29)} | {f"2026-03-0{day}" for day in range(1, 5)}
    assert watch
    assert watch == ten - own
    code = next(t["code"] for t in shown if t["step"] == "followup.filter-test")
    said = " ".join(room.type(f"why {code}").split())
    assert "100 uL/L of formalin or more harms nitrification (S64, S67)" in said
    assert "Feed little" in said


# --- F70 --------------------------------------------------------------------------------------------------


def test_F70_an_incident_is_one_fact_with_its_checks_and_heads_the_list(room: Room) -> None:
    """What, from when, in which tanks; its checks are tasks; while it is open it stands under the tank's line."""
    said = room.type('event incident Q1 --what power --from "-1h" --tanks Show --note storm --yes')
    assert "Q1, Show: power cut, from 2026-02-10 08:00, not over yet: recorded" in said
    assert [f["what"] for f in room.facts("incident")] == ["power", "power"], "Show is a water of its own"
    assert {tuple(f["tanks"]) for f in room.facts("incident")} == {("Q1", "Show")}
    assert listed(room, "Read oxygen")["section"] == "due"
    lines = room.type("today").splitlines()
    place = next(n for n, line in enumerate(lines) if line.startswith("Q1,"))
    assert lines[place + 1].startswith("  INCIDENT since 2026-02-10 08:00: power cut (storm).")
    assert room.json("today")["tanks"][0]["alerts"], "the display was without power too"


def test_F70_the_end_is_said_later_and_closes_it_in_all_tanks(room: Room) -> None:
    """The waiting checks get their days; no tank is headed by it any more; a second end is refused."""
    room.type('event incident Q1 --what power --from "-1h" --tanks Show --yes')
    assert tasks(room)["Test ammonia and nitrite, the day after"]["day"] is None
    said = room.at("2026-02-10 09:00:00").type("event incident-over Show")
    assert "power cut, over 2026-02-10 10:00: recorded" in said
    assert tasks(room)["Test ammonia and nitrite, the day after"]["day"] == "2026-02-11"
    assert [t["alerts"] for t in room.json("today")["tanks"]] == [[], []]
    assert "No incident is open in Q1" in room.type("event incident-over Q1", 1)
    assert room.type("check").startswith("The record is whole")


def test_F70_the_new_dates_come_before_the_act(room: Room, tmp_path: Path) -> None:
    """Where a disturbance restarts the observation, old and new dates come first, and --yes accepts them."""
    text = (
        shipped()["fresh-watch"].read_text(encoding="utf-8").replace('disturbance = "note"', 'disturbance = "restart"')
    )
    strict = tmp_path / "strict.toml"
    strict.write_text(text.replace('id = "fresh-watch"', 'id = "strict"', 1), encoding="utf-8")
    room.type(f"tank add Q2 --site Hall --role quarantine --water fresh {BOX}")
    came = "--arrived '2026-02-10 09:00' --fish '4 Corydoras aeneus' --from breeder --to Show"
    room.type(f"batch start --tank Q2 --protocol {strict} {came} --yes")
    room.at("2026-02-14 08:00:00")
    refused = room.type("event incident Q2 --what heater", 1)
    assert "earliest sign-off 2026-03-12 -> 2026-03-16" in refused
    assert room.facts("incident") == []
    assert "2026-03-12 -> 2026-03-16" in room.type("event incident Q2 --what heater --yes")
    assert room.json("batch show Q2-1")["earliest"] == "2026-03-16"
    assert "no sign-off date moves" in room.type("event incident Q1 --what heater"), "where it is noted nobody is asked"


@pytest.mark.parametrize(
    ("line", "code", "words"),
    [
        ("event incident Q1 --what fire", 2, "is none of: power, heater, leak, overdose, other"),
        ("event incident Q9 --what power", 1, "no tank 'Q9'"),
        ("event incident Q1 --what power --tanks Q1,Q9", 1, "no tank 'Q9'"),
        ("event incident Q1 --what power --from 11:00", 1, "--from '11:00' lies in the future"),
        ("event incident Q1 --what power --from 08:00 --until 07:00", 2, "is not after --from"),
        ("event incident Q1 --what power --note ' '", 2, "--note needs"),
        ("event incident-over Q1", 1, "No incident is open in Q1"),
    ],
)
def test_F70_what_does_not_read_is_one_sentence_and_writes_nothing(
    room: Room, line: str, code: int, words: str
) -> None:
    """Bad input is answered in one sentence; nothing is on record of it."""
    assert words in room.type(line, code)
    assert room.facts("incident") == []


def test_F70_an_end_before_the_beginning_is_refused(room: Room) -> None:
    """An incident is over after it began."""
    room.type("event incident Q1 --what leak --from 08:30 --yes")
    assert "is before" in room.type("event incident-over Q1 --at 08:00", 2)


def test_F70_a_dry_run_writes_nothing_and_undo_takes_it_back(room: Room) -> None:
    """The whole answer is shown without a trace; what was recorded is taken back with its tasks."""
    said = room.type("event incident Q1 --what other --yes --dry-run")
    assert "recorded" in said
    assert room.facts("incident") == []
    room.type("event incident Q1 --what other --yes")
    room.type("undo 'it was nothing' --yes")
    assert {d["state"] for d in tasks(room).values()} == {"withdrawn"}
    assert room.json("today")["tanks"][1]["alerts"] == []


def test_F70_after_a_heater_failed_a_temperature_in_range_is_not_known(room: Room) -> None:
    """Readings before it prove nothing of the time since (rule A10); one after it is judged again."""
    for day in (10, 11, 12):
        room.at(f"2026-02-{day} 08:00:00").type("reading Q1 temp=25C")
    warm = Condition("steady", "temperature", "", "24", "27", "°C", 24)

    def verdict() -> ev.Verdict:
        now = datetime.fromisoformat(f"{room.now}+00:00")
        with open_reader(open_home(str(room.home)).database) as rows:
            (batch,) = rows.rows("open_batches")
            facts = [fact_of(r) for r in rows.rows("facts_since", system=batch["system"], since="2026")]
        arrival = next(f for f in facts if f.kind == "arrival")
        return ev.judge(warm, ev.gather(facts, batch["id"], batch["zone"], arrival, now, []))

    assert verdict().met is True
    room.at("2026-02-12 09:00:00").type("event incident Q1 --what heater --yes")
    assert verdict().met is None
    assert "not read since the heater failure of 2026-02-12" in verdict().says
    room.at("2026-02-12 16:00:00").type("reading Q1 temp=23C")
    assert verdict().met is False
