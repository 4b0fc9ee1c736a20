"""The day at the tanks: today's list, looks, ticks, who did it, and what happens when two do it at once.

Rows F35, F36, F39, F41, F42, F44, F45, F53, F55 and F97 of the needs, typed as a keeper types them.
The screens in golden/ are compared to the letter; codes are masked, for they differ in every record. After a change
of the screen that is meant: QUARANTINE_GOLDEN=write pytest tests/cli/test_rows_today.py, then read the difference.
"""

from __future__ import annotations

import json
import os
import re
import shlex
import sqlite3
import subprocess
import sys
import tomllib
from datetime import UTC, date, datetime, timedelta
from itertools import permutations
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from freezegun import freeze_time

from quarantine.actions.noting import read_look
from quarantine.cli import app

GOLDEN = Path(__file__).parent / "golden"
BERLIN = "Europe/Berlin"
BOX = ["--shape", "box", "--length", "60 cm", "--width", "30 cm", "--filled", "30 cm"]


class Room:
    """A record of its own, a clock that is set, and what was printed."""

    def __init__(self, home: Path, capsys: pytest.CaptureFixture[str], zone: str = BERLIN) -> None:
        self.home, self.capsys, self.zone = home, capsys, zone
        self.now = datetime(2026, 2, 1, 8, 0, tzinfo=UTC)

    def at(self, local: str) -> Room:
        """Set the clock to a local time."""
        self.now = datetime.fromisoformat(local).replace(tzinfo=ZoneInfo(self.zone)).astimezone(UTC)
        return self

    def type(self, line: str, code: int = 0) -> str:
        """One command line; what it printed."""
        self.capsys.readouterr()
        with freeze_time(self.now):
            got = app.run(["--home", str(self.home), *shlex.split(line)])
        said = self.capsys.readouterr()
        assert got == code, said
        assert "Traceback" not in said.err
        return said.err if code else said.out

    def json(self, line: str, code: int = 0) -> Any:
        """The document of one command line."""
        self.capsys.readouterr()
        with freeze_time(self.now):
            got = app.run(["--home", str(self.home), "--json", *shlex.split(line)])
        said = self.capsys.readouterr()
        assert got == code, said
        return json.loads(said.out)

    def tasks(self, on: str = "") -> list[dict[str, Any]]:
        """The tasks of today, or of a day."""
        return list(self.json(f"today{f' --on {on}' if on else ''}")["tasks"])

    def code(self, kind: str, tank: str = "Q1") -> str:
        """The code of the first open task of a kind in a tank."""
        return next(str(t["code"]) for t in self.tasks() if t["kind"] == kind and t["tanks"] == [tank])

    def tank(self, name: str, role: str = "quarantine", water: str = "fresh", more: str = "") -> None:
        """A box of 54 L."""
        self.type(f'tank add "{name}" --site Hall --role {role} --water {water} {shlex.join(BOX)} {more}')

    def start(self, tank: str, arrived: str, protocol: str = "fresh-watch", fish: int = 12, to: str = "Show") -> None:
        """Fish arrive; the clock stands at their arrival afterwards."""
        self.at(arrived).type(
            f'batch start --tank {tank} --protocol {protocol} --arrived "{arrived}" '
            f'--fish "{fish} Melanotaenia praecox" --from "a breeder" --to {to} --acknowledge --yes'
        )

    def dump(self) -> str:
        """The whole record as text."""
        connection = sqlite3.connect(self.home / "record.db")
        try:
            return "\n".join(connection.iterdump())
        finally:
            connection.close()


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    """One site in Berlin, one keeper, an established tank and a quarantine tank Q1."""
    return furnished(tmp_path, capsys, monkeypatch, BERLIN)


def furnished(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, zone: str, *tanks: str
) -> Room:
    """The same in any zone."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    made = Room(folder / "home", capsys, zone)
    made.type(f"site add Hall --zone {zone}")
    made.type("keeper add Robin")
    made.tank("Show", "display")
    made.tank("Q1")
    return made


# --- F35: the screens --------------------------------------------------------------------------------------


def watched(room: Room) -> None:
    """Two watched batches on 7 February at 09:00: missed days, an overdue chore, work of today, a sign."""
    room.tank("Q2")
    room.start("Q1", "2026-02-03 14:30")
    room.start("Q2", "2026-02-05 10:30", fish=6)
    for day in (5, 6):
        room.at(f"2026-02-0{day} 18:00").type('look "Q2 6 3" --no-signs')
        room.type("reading Q2 temp=25C ph=7.4 tan=0mg/L nitrite=0mg/L")
    room.at("2026-02-07 09:00").type('look "Q2 5 2" --sign flashing')


def dosed(room: Room) -> None:
    """A medicated batch in marine water on day 3 at 07:00, an hour before its dose may be given."""
    room.tank("Reef", "display", "marine")
    room.tank("Q5", water="marine")
    room.start("Q5", "2026-02-04 10:30", "marine-praziquantel", 4, "Reef")
    for day in (4, 5, 6):
        room.at(f"2026-02-0{day} 20:00").type('look "Q5 4 3" --no-signs')
        room.type("reading Q5 temp=25.5C ph=8.1 tan=0.1mg/L nitrite_no2=0.05mg/L oxygen=6.5mg/L salinity=34g/L")
    room.at("2026-02-07 07:00")


def masked(room: Room) -> str:
    """Today's list with every code as letters of the same width."""
    text = room.type("today")
    for task in room.tasks():
        text = re.sub(rf"\b{task['code']}\b", "X" * len(task["code"]), text)
    return text


@pytest.mark.parametrize("columns", [40, 80])
@pytest.mark.parametrize("scene", [watched, dosed], ids=["watched", "dosed"])
def test_F35_the_screen_at_40_and_80_columns(
    scene: Any, columns: int, room: Room, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Today's list is, to the letter, the screen kept beside this test, and keeps to the width."""
    scene(room)
    monkeypatch.setenv("COLUMNS", str(columns))
    shown = masked(room)
    kept = GOLDEN / f"today-{scene.__name__}-{columns}.txt"
    if os.environ.get("QUARANTINE_GOLDEN") == "write":
        kept.write_text(shown, encoding="utf-8")
    assert shown == kept.read_text(encoding="utf-8")
    assert max(len(line) for line in shown.splitlines()) <= columns


def test_F35_state_is_said_in_words_and_never_by_colour_alone(room: Room) -> None:
    """Overdue, missed, later, until and the next day are words; there is no control code on the screen."""
    watched(room)
    shown = room.type("today")
    for word in ("OVERDUE since 2026-02-04 00:00", "MISSED Look at every fish", "Next day, Sunday 8 February"):
        assert word in shown
    assert [c for c in shown if ord(c) < 32 and c != "\n"] == []


def test_F35_work_of_later_today_says_from_when(room: Room) -> None:
    """An hour before its window the dose is on the list, with the hour; inside the window with its end."""
    dosed(room)
    assert "Praziquantel bath (1 of 2), from 08:00" in room.type("today")
    assert [t["section"] for t in room.tasks() if t["kind"] == "dose"] == ["later"]
    assert "Praziquantel bath (1 of 2), until 20:00" in room.at("2026-02-07 08:00").type("today")
    assert [t["section"] for t in room.tasks() if t["kind"] == "dose"] == ["due"]


def test_F35_the_next_day_is_named_by_its_work(room: Room) -> None:
    """On day 2 the dose of day 3 is announced, without an amount; on day 3 it is no longer ahead."""
    dosed(room)
    ahead = room.at("2026-02-06 21:00").type("today").partition("Next day, Saturday 7 February")[2]
    assert "Praziquantel bath (1 of 2)" in ahead
    assert "ADD" not in ahead
    assert "Praziquantel" not in room.at("2026-02-07 09:00").type("today").partition("Next day, ")[2]


# --- F36: clean to dirty -----------------------------------------------------------------------------------


def order_of_lines(shown: str) -> list[str]:
    """The tanks as the lines at the top have them; what heads a tank's work is indented under its line."""
    top = shown.partition("\n\n")[0].splitlines()[1:]
    return [line.partition(",")[0] for line in top if not line.startswith(" ")]


def order_of_work(shown: str) -> list[str]:
    """The tanks as the work is listed."""
    return re.findall(r"(?m)^(\w+) \(\w+-1\)$", shown)


@pytest.mark.parametrize("names", [("A", "B", "C", "D"), ("D", "C", "B", "A"), ("C", "A", "D", "B")], ids="".join)
def test_F36_residents_first_the_newest_next_the_sick_last(names: tuple[str, ...], room: Room) -> None:
    """Whatever the tanks are called and in what order they came: established, empty, clear, newest, sick, sickest."""
    clear, new, sick, sickest = names
    for name in sorted(names):
        room.tank(name)
    for name in (sickest, clear, sick):
        room.start(name, "2026-02-03 10:00")
    for day in (4, 5, 6):
        room.at(f"2026-02-0{day} 18:00")
        for name in (sick, clear, sickest):
            room.type(f'look "{name} 12 3" --no-signs')
    room.start(new, "2026-02-07 08:00")
    room.at("2026-02-07 09:00").type(f'look "{sick} 12 3" --sign flashing --sign "pinched belly" --sign ulcer')
    room.type(f'look "{sickest} 12 3" --sign gasping')
    shown = room.type("today")
    assert order_of_lines(shown) == ["Show", "Q1", clear, new, sick, sickest]
    assert order_of_work(shown) == [clear, new, sick, sickest]
    assert room.type("today") == shown


def test_F36_established_tanks_stand_before_every_quarantine(room: Room) -> None:
    """A display tank comes first though its name sorts last; an empty quarantine next; then the one with fish."""
    room.tank("A2")
    room.start("A2", "2026-02-03 10:00")
    assert order_of_lines(room.type("today")) == ["Show", "Q1", "A2"]


def test_F36_hands_and_kit_stand_between_two_waters_and_not_inside_one(room: Room) -> None:
    """Between tanks of different water the list says to wash hands and change nets; two tanks of one water do not."""
    room.tank("Q2", more="--system Q1")
    room.tank("Q3")
    for tank in ("Q1", "Q2", "Q3"):
        room.start(tank, "2026-02-03 10:00")
    room.at("2026-02-03 12:00")
    assert "Wash hands; other net and siphon" not in room.type("today --tank Q1")
    shown = room.type("today")
    assert order_of_work(shown) == ["Q1", "Q2", "Q3"]
    parts = re.split(r"(?m)^-- Wash hands; other net and siphon\. --\n", shown)
    assert [order_of_work(part) for part in parts] == [["Q1", "Q2"], ["Q3"]]


def test_F36_a_held_dose_is_named_on_top_and_its_tank_is_still_worked_last(room: Room) -> None:
    """Rule D: an A sign that holds a dose is said first; the work in that water stays the last of the list."""
    dosed(room)
    room.start("Q1", "2026-02-06 12:00")
    room.at("2026-02-07 09:00").type('look "Q5 4 3" --sign gasping')
    shown = room.type("today")
    assert order_of_work(shown) == ["Q5", "Q1", "Q5"]
    assert [t["hold"]["rule"] for t in room.tasks()[:1]] == ["C9"]
    assert shown.count("Wash hands; other net and siphon") == 2


# --- F39: few keys, lasting codes --------------------------------------------------------------------------


def test_F39_a_task_is_ticked_with_fewer_than_twelve_keys(room: Room) -> None:
    """`qk d CODE` and the return key are ten keys, in small letters; `qk` is installed as the same program."""
    room.start("Q1", "2026-02-03 10:00")
    line = f"qk d {room.code('chore').lower()}"
    assert len(line + "\n") < 12
    words = shlex.split(line)
    scripts = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text(encoding="utf-8"))
    assert scripts["project"]["scripts"][words[0]] == scripts["project"]["scripts"]["quarantine"]
    assert "done in Q1" in room.type(shlex.join(words[1:]))
    assert [t for t in room.tasks() if t["kind"] == "chore"] == []


def test_F39_a_code_stays_with_its_task_through_every_new_plan(room: Room) -> None:
    """A sign, a death, a skip, a disturbance, a day gone by: what stays planned keeps its code; none changes hands."""
    dosed(room)
    before = {t["key"]: t["code"] for day in range(7, 20) for t in room.tasks(f"2026-02-{day:02}")}
    assert len(before) > 40
    room.at("2026-02-07 09:00").type('look "Q5 3 3" --sign flashing --dead 1')
    room.type(f"skip {room.code('dose', 'Q5')} --because 'no scale' --yes")
    room.at("2026-02-08 09:00").type('look "Q5 3 3" --gone flashing --no-signs')
    room.type("event disturbance Q5 --what 'shared net' --yes")
    after = {t["key"]: t["code"] for day in range(8, 20) for t in room.tasks(f"2026-02-{day:02}")}
    same = before.keys() & after.keys()
    assert len(same) > 30
    assert {key: before[key] for key in same} == {key: after[key] for key in same}
    assert not {before[key] for key in before.keys() - same} & set(after.values())


# --- F41: reasons ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("reason", ["", "--because ''", "--because '  '", "--because"])
def test_F41_a_skip_without_a_reason_is_refused(reason: str, room: Room) -> None:
    """Left out, empty or blank: exit 2, a sentence that names --because, and nothing is written."""
    room.start("Q1", "2026-02-03 10:00")
    code, before = room.code("chore"), room.dump()
    assert "--because" in room.type(f"skip {code} {reason}", 2)
    assert room.dump() == before


def test_F41_skipped_tasks_are_counted_by_reason(room: Room) -> None:
    """Each skip answers how many of the batch were skipped so far and why; capitals make no other reason."""
    room.start("Q1", "2026-02-03 10:00")
    room.at("2026-02-05 10:00")
    codes = [t["code"] for t in room.tasks() if t["kind"] in ("look", "test", "feed") and t["state"] == "missed"][:4]
    assert len(codes) == 4
    assert "Q1-1, skipped so far: 2 (away 2)." in room.type(f"skip {codes[0]} {codes[1]} --because away")
    room.type(f"skip {codes[2]} --because 'no kit'")
    counted = room.json(f"skip {codes[3]} --because Away")["skipped"]
    assert counted == [
        {"batch": "Q1-1", "because": "away", "count": 3},
        {"batch": "Q1-1", "because": "no kit", "count": 1},
    ]


# --- F42: two at once --------------------------------------------------------------------------------------

PROCESS = """
import sys
from datetime import UTC, datetime
import quarantine.cli.session as session
session.now = lambda: datetime(2026, 2, 7, 9, 0, tzinfo=UTC)
import quarantine.cli.daily
from quarantine.cli.app import run
print("ready", flush=True)
sys.stdin.readline()
sys.exit(run(sys.argv[1:]))
"""


def test_F42_two_keepers_give_one_dose_at_the_same_moment_and_exactly_one_does(room: Room) -> None:
    """Two processes tick the same dose at once: one is told it is recorded, the other who gave it and when."""
    dosed(room)
    room.type("keeper add Noor --as Robin")
    room.at("2026-02-07 10:00")
    code = room.code("dose", "Q5")
    room.type("batch acknowledge Q5-1 --as Noor")
    both = {
        name: subprocess.Popen(
            [sys.executable, "-c", PROCESS, "--home", str(room.home), "--as", name, "done", code, "--as-shown"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for name in ("Robin", "Noor")
    }
    for process in both.values():
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
    for process in both.values():
        assert process.stdin is not None
        process.stdin.write("go\n")
        process.stdin.flush()
    said = {name: process.communicate(timeout=60) for name, process in both.items()}
    codes = {name: process.returncode for name, process in both.items()}
    assert sorted(codes.values()) == [0, 1], said
    winner = min(codes, key=lambda name: codes[name])
    loser = max(codes, key=lambda name: codes[name])
    assert f"was done by {winner}, 2026-02-07 10:00." in said[loser][1]
    assert "If a second dose was really given, record it: quarantine event dose." in said[loser][1]
    with sqlite3.connect(room.home / "record.db") as connection:
        doses = connection.execute("select count(*) from fact where kind = 'dose'").fetchone()
    connection.close()
    assert doses == (1,)
    assert "The record is whole" in room.type("check")


# --- F44: the daily look in one line -----------------------------------------------------------------------

SAID = ("Q1", "seen=11", "appetite=3", "dead=1", "temp=25.5C", "tan=0.2mg/L")


def test_F44_one_line_reads_the_same_in_every_order() -> None:
    """All 720 orders of tank, seen, appetite, dead, temperature and ammonia say the same."""
    whole = read_look(" ".join(SAID), ["Q1", "Q2"])[0]
    assert (whole.tank, whole.seen, whole.appetite, whole.dead, len(whole.readings)) == ("Q1", 11, 3, 1, 2)
    for order in permutations(SAID):
        line = read_look(" ".join(order), ["Q1", "Q2"])[0]
        assert line._replace(readings=[]) == whole._replace(readings=[])
        assert {p.name: v for p, v, _ in line.readings} == {p.name: v for p, v, _ in whole.readings}


@pytest.mark.parametrize(
    "line",
    [
        "look Q1 11 3 temp=25.5C tan=0.2mg/L ph=7.4 --dead 1 --no-signs --note 'one hides'",
        "look --note 'one hides' --no-signs --dead 1 ph=7.4 tan=0.2mg/L temp=25.5C Q1 11 3",
        "look 'dead=1 tan=0.2mg/L Q1 appetite=3 temp=25.5C ph=7.4 11' --note 'one hides' --no-signs",
    ],
)
def test_F44_a_daily_look_is_one_line_with_nothing_left_to_ask(line: str, room: Room) -> None:
    """Temperature, ammonia, appetite, seen, dead and a note in one line, in any order: nothing is missing."""
    room.start("Q1", "2026-02-03 10:00")
    (look,) = room.at("2026-02-04 18:00").json(line)["looks"]
    assert {k: look[k] for k in ("tank", "seen", "appetite", "dead", "not_said")} == {
        "tank": "Q1", "seen": 11, "appetite": 3, "dead": 1, "not_said": [],
    }  # fmt: skip
    open_ = {t["title"] for t in room.tasks() if t["day"] == "2026-02-04"}
    assert not any(title.startswith(("Look", "Read the temp")) for title in open_)


def test_F44_missing_items_are_listed_until_they_are_said(room: Room) -> None:
    """What a look leaves out is listed; what was said earlier on that day is not asked again; no food on day 0."""
    room.start("Q1", "2026-02-03 10:00")
    assert room.json("look 'Q1 12'")["looks"][0]["not_said"] == ["temperature", "total ammonia nitrogen"]
    shown = room.at("2026-02-04 09:00").type("look 'Q1 ?'")
    assert "Not said today: how many were seen, appetite, temperature, total ammonia nitrogen." in shown
    assert "Signs were not mentioned" in shown
    room.type("reading Q1 temp=25C")
    assert "Not said today: total ammonia nitrogen." in room.at("2026-02-04 20:00").type("look 'Q1 12 3' --no-signs")
    assert "Not said today: temperature, total ammonia nitrogen." in room.at("2026-02-05 00:10").type("look 'Q1 12 3'")


@pytest.mark.parametrize(
    ("line", "word"),
    [
        ("Q1 seen=11 11 3", "After Q1 come the number seen"),
        ("Q1 appetite=3", "After Q1 come the number seen"),
        ("Q1 12 3 temp=25C temp=26C", "temperature stands twice in one line"),
        ("Q1 12 appetite=3 appetite=2", "appetite stands twice in one line"),
        ("Q1 12 3 dead=1.5", "dead '1.5' is not a count of fish"),
        ("Q1 12 3 dead=-1", "dead '-1' is not a count of fish"),
        ("Q1 twelve", "'twelve' is not a count"),
        ("Q1 ١٢ 3", "is not a count"),
    ],
)
def test_F44_a_line_that_says_something_twice_or_not_at_all_is_asked_about(line: str, word: str, room: Room) -> None:
    """One sentence, exit 2, nothing written."""
    room.start("Q1", "2026-02-03 10:00")
    before = room.dump()
    assert word in room.type(f"look '{line}'", 2)
    assert room.dump() == before


def test_F44_several_tanks_in_one_line_each_with_their_dead(room: Room) -> None:
    """Deaths said in the line belong to their tank; --dead beside a second tank, or twice, is refused."""
    room.tank("Q2")
    room.start("Q1", "2026-02-03 10:00")
    room.start("Q2", "2026-02-03 10:00", fish=6)
    room.at("2026-02-04 09:00")
    room.type("look 'Q1 11 3 dead=1, Q2 6 2' --dead 1", 2)
    room.type("look 'Q1 11 3 dead=1' --dead 1", 2)
    looks = room.json("look 'Q1 11 3 dead=1, Q2 6 2, Show ? 3'")["looks"]
    assert [(look["tank"], look["seen"], look["dead"]) for look in looks] == [
        ("Q1", 11, 1),
        ("Q2", 6, 0),
        ("Show", None, 0),
    ]
    assert {b["batch"]: b["alive"] for b in room.json("batch list")["batches"]} == {"Q1-1": 11, "Q2-1": 6}


def test_counts_that_look_like_a_slip_are_recorded_when_they_are_said_to_be_so(room: Room) -> None:
    """Thirteen of twelve are asked about once; --really is the answer (rule C7)."""
    room.start("Q1", "2026-02-03 10:00")
    assert "12 are alive on record" in room.type("look 'Q1 13'", 1)
    assert "13 seen" in room.type("look 'Q1 13' --really")


# --- F45: no silent blanks ---------------------------------------------------------------------------------


def test_F45_nothing_ages_out_and_a_blank_blocks_release_until_a_person_answers(room: Room) -> None:
    """Two months on, every past task is still listed and holds the release; reasons for all of them end that."""
    room.start("Q1", "2026-02-03 10:00")
    planned = [t for t in room.json("batch show Q1-1")["tasks"] if t["day"] and t["day"] < "2026-04-03"]
    assert len(planned) > 100
    room.at("2026-04-03 10:00")
    assert {t["code"] for t in planned} <= {t["code"] for t in room.tasks()}
    room.type("look 'Q1 12 3' --no-signs")  # the first entry since: the observation that nobody watched goes on
    # Weekly tests begin after the daily ones, which nobody made: they move with them, every other task stays.
    assert {t["code"] for t in planned if t["step"] != "tests-weekly"} <= {t["code"] for t in room.tasks()}

    def late() -> list[str]:
        return [t["code"] for t in room.tasks() if t["day"] < "2026-04-03"]

    def blanks() -> dict[str, Any]:
        criteria = room.json("signoff Q1-1")["criteria"]
        return next(c for c in criteria if c["title"].startswith("Every task"))

    shown = room.type("today")
    assert [code for code in late() if code not in shown] == []
    assert blanks()["verdict"] == "not met"
    assert f"{len(late())} past tasks without an outcome" in room.type("signoff Q1-1 --release", 1)
    while codes := late():  # where daily tests end, weekly ones of days gone by come to the list: they want answers too
        assert f"{len(codes)} past task" in blanks()["says"]
        room.type(f"skip {' '.join(codes)} --because 'in hospital'")
        assert not set(codes) & set(late())
    assert blanks()["verdict"] == "met"


def test_F45_closing_over_a_blank_takes_a_named_deviation_that_keeps_the_count(room: Room) -> None:
    """Without a reason the batch stays open; with one the sealed evidence says how many tasks had no outcome."""
    room.start("Q1", "2026-02-03 10:00")
    room.at("2026-02-06 10:00").type("signoff Q1-1 --release --deviation ' '", 2)
    assert room.json("batch show Q1-1")["state"] == "open"
    made = room.json("signoff Q1-1 --release --deviation 'the house is sold'")
    blank = next(c for c in made["criteria"] if c["title"].startswith("Every task"))
    assert re.search(r"\d+ past tasks without an outcome \(.*Look at every fish", blank["says"])
    assert made["deviation"] == "the house is sold"


# --- F53: clocks forward and back in three zones -----------------------------------------------------------

CHANGES = [
    (BERLIN, date(2026, 3, 29), "+01:00", "+02:00"),
    (BERLIN, date(2026, 10, 25), "+02:00", "+01:00"),
    ("America/New_York", date(2026, 3, 8), "-05:00", "-04:00"),
    ("America/New_York", date(2026, 11, 1), "-04:00", "-05:00"),
    ("Australia/Lord_Howe", date(2026, 4, 5), "+11:00", "+10:30"),
    ("Australia/Lord_Howe", date(2026, 10, 4), "+10:30", "+11:00"),
]


@pytest.mark.parametrize(("zone", "change", "before", "after"), CHANGES, ids=[f"{z}-{d}" for z, d, _, _ in CHANGES])
def test_F53_days_and_hours_of_the_list_hold_when_the_clocks_change(
    zone: str,
    change: date,
    before: str,
    after: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Public clock changes of 2026 (IANA time zone database): in spring and autumn every day of the list begins at the
    site's midnight, holds each daily task once, and the dose of 08:00 to 20:00 keeps these hours on the wall."""
    room = furnished(tmp_path, capsys, monkeypatch, zone)
    room.tank("Reef", "display", "marine")
    room.tank("Q5", water="marine")
    arrived = change - timedelta(days=3)
    room.start("Q5", f"{arrived} 10:00", "marine-praziquantel", 4, "Reef")

    def daily() -> list[str]:
        return sorted(t["title"] for t in room.tasks() if t["kind"] in ("look", "feed") and t["section"] != "missed")

    for day, offset in ((change - timedelta(days=1), before), (change + timedelta(days=1), after)):
        for clock in ("00:00:00", "23:59:59"):
            document = room.at(f"{day} {clock}").json("today")
            assert document["on"] == str(day)
            looks = [t for t in document["tasks"] if t["kind"] == "look" and t["section"] == "due"]
            assert [t["day"] for t in looks] == [str(day)]
            assert [t["due_from"] for t in looks] == [f"{day}T00:00:00{offset}"]
            assert len(daily()) == len(set(daily())) == 2
    # The day of the change itself: 23, 25 or half an hour less or more, from midnight to midnight.
    start, end = (f"{change}T00:00:00{before}", f"{change + timedelta(days=1)}T00:00:00{after}")
    for instant, day in (
        (datetime.fromisoformat(start) - timedelta(seconds=1), change - timedelta(days=1)),
        (datetime.fromisoformat(start), change),
        (datetime.fromisoformat(end) - timedelta(seconds=1), change),
        (datetime.fromisoformat(end), change + timedelta(days=1)),
    ):
        room.now = instant.astimezone(UTC)
        assert room.json("today")["on"] == str(day)
    room.now = datetime.fromisoformat(start).astimezone(UTC)
    (look,) = [t for t in room.tasks() if t["kind"] == "look" and t["section"] == "due"]
    assert (look["due_from"], look["due_until"]) == (start, end)
    (dose,) = [t for t in room.tasks() if t["kind"] == "dose"]
    assert (dose["due_from"], dose["due_until"]) == (f"{change}T08:00:00{after}", f"{change}T20:00:00{after}")
    assert "(1 of 2), from 08:00" in room.at(f"{change} 07:59").type("today")
    assert "(1 of 2), until 20:00" in room.at(f"{change} 08:00").type("today")
    assert "(1 of 2), OVERDUE" not in room.at(f"{change} 20:00").type("today")


# --- F55: who ----------------------------------------------------------------------------------------------

# Judging only reads; the decision is what writes. A draft of a protocol is the keeper's own file, not the record.
WITH_WHAT_WRITES = {"signoff": "quarantine signoff Q1-1 --release"}
NOT_THE_RECORD = {"protocol new"}

WRITES = [
    (words, WITH_WHAT_WRITES.get(words, entry[4]))
    for name, found in app.COMMANDS.items()
    for sub, entry in (found.items() if isinstance(found, dict) else [("", found)])
    for words in [f"{name} {sub}".strip()]
    if entry[2] and words not in NOT_THE_RECORD
]


@pytest.mark.parametrize(("words", "example"), WRITES, ids=[w for w, _ in WRITES])
def test_F55_no_command_writes_without_who_when_there_are_two_keepers(
    words: str, example: str, room: Room, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every command that writes, as its own help shows it: refused, both keepers named, nothing written."""
    monkeypatch.chdir(tmp_path)
    room.type("keeper add Noor")
    before, files = room.dump(), sorted(tmp_path.iterdir())
    said = room.type(example.removeprefix("quarantine "), 1)
    assert said == "Who is acting? Several keepers are on record: say --as NAME (Noor, Robin).\n"
    assert room.dump() == before
    assert sorted(tmp_path.iterdir()) == files


def test_F55_every_entry_says_who(room: Room, monkeypatch: pytest.MonkeyPatch) -> None:
    """With one keeper it may be left out; --as comes before QUARANTINE_KEEPER; each fact and entry names its keeper."""
    room.start("Q1", "2026-02-03 10:00")
    room.type("keeper add Noor")
    room.type("look 'Q1 12' --as noor")
    monkeypatch.setenv("QUARANTINE_KEEPER", "Robin")
    room.type("reading Q1 temp=25C")
    room.type("event topup Q1 1L --as Noor")
    with sqlite3.connect(room.home / "record.db") as connection:
        names = dict(connection.execute("select id, name from keeper"))
        facts = {kind: names[keeper] for kind, keeper in connection.execute("select kind, keeper from fact")}
        payloads = [json.loads(p) for (p,) in connection.execute("select payload from journal order by n")]
    connection.close()
    assert facts == {"arrival": "Robin", "look": "Noor", "reading": "Robin", "topup": "Noor"}
    assert [names[p["keeper"]] for p in payloads[-3:]] == ["Noor", "Robin", "Noor"]


# --- F97: names may change ---------------------------------------------------------------------------------


def test_F97_a_renamed_tank_keeps_its_history_and_its_old_name_is_free(room: Room) -> None:
    """Volumes, batch, facts, tasks, codes and the fish that were moved there stay with the tank, not with the name."""
    room.start("Q1", "2026-02-03 10:00")
    room.type("tank measure Q1 49.3L --by buckets --plus-minus 0.5L")
    room.type("look 'Q1 12' --no-signs")
    room.type("event moved Q1 2 --to Show")
    tasks = {t["key"]: t["code"] for t in room.tasks()}
    history = room.json("tank show Q1")["history"]
    room.type("tank rename Q1 'Left rack'")
    room.type("tank rename Show 'Big one'")
    room.tank("Q1", more="--system New")
    room.tank("Show", "display", more="--system Newer")
    assert room.json("tank show 'Left rack'")["history"] == history
    assert [volume["litres"] for volume in history] == [54]
    assert room.json("tank show Q1")["history"] == []
    assert room.json("batch show Q1-1")["tank"] == "Left rack"
    assert {t["key"]: t["code"] for t in room.tasks()} == tasks
    assert {t["tanks"][0] for t in room.tasks()} == {"Left rack"}
    assert [t["code"] for t in room.json("today --tank Q1")["tasks"]] == []
    code = room.code("chore", "Left rack")
    assert f"{code}: Move the fish in" in room.type(f"why {code}")
    assert "Left rack" in room.type(f"done {code}")
    room.at("2026-02-04 10:00").type("look 'Left rack 10 3' --no-signs")
    with sqlite3.connect(room.home / "record.db") as connection:
        ids = dict(connection.execute("select name, id from tank"))
        looked = [tank for (tank,) in connection.execute("select tank from fact where kind = 'look'")]
        moved = json.loads(connection.execute("select data from fact where kind = 'moved'").fetchone()[0])
    connection.close()
    assert looked == [ids["Left rack"]] * 2
    assert (moved["to"], moved["to_tank"]) == ("Show", ids["Big one"])
    assert "The record is whole" in room.type("check")


# --- What a keeper may say wrong ---------------------------------------------------------------------------


def test_a_look_at_the_tank_before_the_fish_came_counts_for_no_batch(room: Room) -> None:
    """Rule B10: the tank can be looked at before arrival; the answer says that it counts for no batch."""
    room.start("Q1", "2026-02-03 10:00")
    shown = room.type("look 'Q1 12' --no-signs --at '2026-02-02 09:00'")
    assert "A look at the tank before batch Q1-1 came (2026-02-03 10:00): it counts for no batch." in shown
    assert "looked" not in room.type("batch list")
    assert room.json("look 'Q1 3' --at '2026-02-02 10:00'")["looks"][0]["batch"] is None


@pytest.mark.parametrize(
    "line", ["look 'Q1 12' --sign flashing", "look 'Q1 11' --dead 1", "look 'Q1 11 dead=1'", "event died Q1 1"]
)
def test_a_sign_or_a_death_before_the_fish_came_is_asked_about(line: str, room: Room) -> None:
    """Refused with the arrival, unwritten; --really keeps it as the tank's, and the batch is as it was."""
    room.start("Q1", "2026-02-03 10:00")
    before = room.dump()
    said = room.type(f"{line} --at '2026-02-02 09:00'", 1)
    assert "Batch Q1-1 arrived 2026-02-03 10:00; at 2026-02-02 09:00 its fish were not in Q1. Check --at." in said
    assert "--really" in said
    assert room.dump() == before
    room.type(f"{line} --at '2026-02-02 09:00' --really")
    assert room.json("batch show Q1-1")["alive"] == 12
    assert room.json("batch show Q1-1")["clear"]["because"] == "the last fish came in"


@pytest.mark.parametrize("name", app.GROUPS)
def test_a_bare_group_answers_with_its_help(name: str, room: Room) -> None:
    """`quarantine tank` asks what there is: the help on stdout, exit 0; a wrong word stays a usage error."""
    shown = room.type(name)
    for command in app.COMMANDS[name]:
        assert command in shown
    assert "There is no command 'nosuch'" in room.type(f"{name} nosuch", 2)


@pytest.mark.parametrize("typed", ["-1", "0", "1.5", "x", "1e3", "9999999", "''", "+2", "²"])
@pytest.mark.parametrize(
    "command", ["died Q1 {}", "added Q1 {} --yes", "moved Q1 {} --to Show", "missing Q1 {} --because x"]
)
def test_a_count_that_is_none_is_answered_in_our_words(command: str, typed: str, room: Room) -> None:
    """One sentence without the library's ranges and types, exit 2, nothing written."""
    room.start("Q1", "2026-02-03 10:00")
    before = room.dump()
    said = room.type(f"event {command.format(typed)}", 2)
    assert "is not a count of fish: write a whole number, 1 or more" in said or "'-1' is below zero" in said
    assert said.count("\n") == 1
    assert room.dump() == before


def test_an_unknown_code_says_where_codes_stand_and_names_no_other_task(room: Room) -> None:
    """`why ZZZ` lists nobody else's codes: one of them would be the wrong task."""
    room.start("Q1", "2026-02-03 10:00")
    codes = [t["code"] for t in room.json("batch show Q1-1")["tasks"]]
    for line in ("why ZZZ", "done ZZZ", "skip ZZZ --because x"):
        said = room.type(line, 1)
        assert said == "There is no task 'ZZZ'; codes stand before each task in: quarantine today.\n"
        assert [code for code in codes if code in said] == []
    assert room.json("why ZZZ", 1)["error"]["kind"] == "unknown"


def test_a_lift_with_nothing_held_says_so_and_writes_nothing(room: Room) -> None:
    """Without a hold of rule C9 there is nothing to lift; with one it is lifted once, and not a second time."""
    dosed(room)
    before = room.dump()
    assert "Nothing is held in the water of Q5" in room.type("event lift Q5 --because 'all well'", 1)
    assert "Nothing is held in the water of Q1" in room.type("event lift Q1 --because 'no fish here'", 1)
    assert room.dump() == before
    room.at("2026-02-07 09:00").type("look 'Q5 4 3' --sign gasping")
    assert "lift recorded" in room.at("2026-02-07 09:10").type("event lift Q5 --because 'vet saw them'")
    assert "Nothing is held" in room.at("2026-02-07 09:20").type("event lift Q5 --because again", 1)
    room.type("reading Q5 oxygen=3mg/L")
    assert "lift recorded" in room.at("2026-02-07 09:30").type("event lift Q5 --because 'air stone in'")


AMMONIA = r"un-ionized ammonia (\S+) to (\S+) mg/L as N, over the kits' steps"


def test_total_ammonia_uses_the_latest_ph_and_temperature_of_twelve_hours_and_says_so(room: Room) -> None:
    """The same range as with all three in one line; what was used is named with its time; thirteen hours is too old."""
    room.at("2026-02-03 08:00").type("reading Q1 ph=6.5")
    room.at("2026-02-03 09:00").type("reading Q1 ph=7.8 temp=25.5C")
    room.at("2026-02-03 10:00").type("reading Show ph=9.5 temp=30C")
    shown = room.at("2026-02-03 21:00").type("reading Q1 tan=0.5mg/L")
    assert (
        "with pH 7.8 (2026-02-03 09:00) and temperature 25.5 °C (2026-02-03 09:00), the latest of the last 12 h"
        in shown
    )
    found = re.search(AMMONIA, shown)
    whole = room.type("reading Q1 ph=7.8 temp=25.5C tan=0.5mg/L")
    again = re.search(AMMONIA, whole)
    assert found is not None
    assert again is not None
    assert found[0] == again[0]
    assert "the latest of" not in whole
    late = room.at("2026-02-04 09:01").type("reading Q1 tan=0.5mg/L temp=25.5C")
    assert "give pH in the same line: none was read in the last 12 h" in late
    assert "un-ionized ammonia " not in late.replace("for un-ionized ammonia give", "")


def test_a_reading_entered_late_does_not_use_what_was_read_after_it(room: Room) -> None:
    """Total ammonia of 09:00, typed at 12:00: the pH of 11:00 did not stand then."""
    room.at("2026-02-03 08:00").type("reading Q1 ph=7.0 temp=25C")
    room.at("2026-02-03 11:00").type("reading Q1 ph=8.5 temp=25C")
    shown = room.at("2026-02-03 12:00").type("reading Q1 tan=0.5mg/L --at 09:00")
    assert "with pH 7 (2026-02-03 08:00)" in shown


def test_of_two_readings_in_one_second_the_one_entered_last_stands(room: Room) -> None:
    """Twenty readings within one second: the last that was typed is the tank's pH, whatever ids they were given."""
    room.start("Q1", "2026-02-03 10:00")
    room.at("2026-02-03 12:00")
    for n in range(20):
        room.type(f"reading Q1 ph={6 + n / 10:.1f} temp=25C nitrite=0mg/L")
    assert "with pH 7.9 " in room.type("reading Q1 tan=0mg/L")
    assert "The record is whole" in room.type("check")
