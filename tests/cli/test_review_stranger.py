"""What a stranger ran into when the program was tried from the README alone: one test for each."""

from __future__ import annotations

import io
import json
import os
import shlex
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time

from quarantine.cli import app

TYPED = "import sys; from quarantine.cli import main; sys.argv[1:] = {args!r}; main()"
BOX = "--shape box --length 60cm --width 30cm --filled 32cm"
ROOM = (
    "site add Hall --zone Europe/Berlin",
    "keeper add Robin",
    f"tank add Q1 --site Hall --role quarantine --water fresh {BOX}",
    f"tank add Q2 --site Hall --role quarantine --water fresh {BOX}",
    f"tank add Show --site Hall --role display --water fresh {BOX}",
    'batch start --tank Q1 --protocol fresh-watch --arrived "2026-02-10 08:00" --fish "12 Melanotaenia praecox"'
    " --from breeder --to Show",
)
SECOND = (
    'batch start --tank Q1 --protocol fresh-watch --arrived "2026-02-10 08:30" --fish "4 Corydoras paleatus"'
    " --from breeder --to Show --yes"
)

Say = Callable[..., str]


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A room with fish in Q1 since this morning, none in Q2; an environment that says nothing."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS", "PYTHONIOENCODING"):
        monkeypatch.delenv(name, raising=False)
    with freeze_time("2026-02-10 08:00:00"):
        for line in ROOM:
            assert app.run(["--home", str(tmp_path / "home"), *shlex.split(line)]) == 0
    return tmp_path / "home"


@pytest.fixture
def say(home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Say:
    """One line at 10:00 local on the day of arrival; what it printed, blanks tidied; its exit code is asserted."""

    def typed(line: str, code: int = 0, keys: str = "") -> str:
        capsys.readouterr()
        monkeypatch.setattr(sys, "stdin", io.StringIO(keys))
        with freeze_time("2026-02-10 09:00:00"):
            got = app.run(["--home", str(home), *shlex.split(line)])
        said = capsys.readouterr()
        assert got == code, said
        return " ".join((said.out + said.err).split())

    return typed


def process(home: Path, *args: str, **streams: Any) -> subprocess.CompletedProcess[bytes]:
    """The program as a process of its own, with streams as given."""
    code = TYPED.format(args=["--home", str(home), *args])
    # Named, for the C library's own copy of the environment holds a COLUMNS that pytest's readline put there.
    return subprocess.run([sys.executable, "-c", code], timeout=120, check=False, env=dict(os.environ), **streams)


def sites(home: Path) -> list[str]:
    connection = sqlite3.connect(home / "record.db")
    try:
        return [row[0] for row in connection.execute("select name from site order by name")]
    finally:
        connection.close()


# --- Where the answer goes ----------------------------------------------------------------------------------


@pytest.mark.parametrize("line", ["today", "sheet", "card emergency", "formulary show copper", "--help"])
def test_a_reader_that_leaves_is_no_refusal(line: str, home: Path) -> None:
    """Of a closed pipe nothing is said, and the exit code is that of a command that ran: 0."""
    reader, writer = os.pipe()
    os.close(reader)
    done = process(home, *line.split(), stdout=writer, stderr=subprocess.PIPE)
    os.close(writer)
    assert (done.returncode, done.stderr) == (0, b"")


def test_a_write_whose_answer_cannot_be_put_out_says_that_it_was_written(home: Path) -> None:
    """Standard output on a full disk: the keeper is not told to try again what is in the record already."""
    with open("/dev/full", "wb") as full:
        done = process(home, "site", "add", "Barn", "--zone", "UTC", stdout=full, stderr=subprocess.PIPE)
    assert done.returncode == 1
    assert b"has written all the same" in done.stderr
    assert done.stderr.count(b"\n") == 1
    assert sites(home) == ["Barn", "Hall"]


@pytest.mark.parametrize("args", [["today", "--json"], ["today", "--tank", "Q9", "--json"]])
def test_a_document_that_cannot_be_put_out_is_no_traceback(args: list[str], home: Path) -> None:
    """With --json, answer and refusal both go to standard output; when that is full one sentence says so or nothing."""
    with open("/dev/full", "wb") as full:
        done = process(home, *args, stdout=full, stderr=subprocess.PIPE)
    assert done.returncode == 1
    assert b"Traceback" not in done.stderr
    assert done.stderr.count(b"\n") <= 1


def test_without_a_standard_output_a_command_does_its_work(home: Path) -> None:
    """A caller that closed standard output gets the work done, not a report of a failure of the program."""
    code = TYPED.format(args=["--home", str(home), "site", "add", "Barn", "--zone", "UTC"])
    shell = f"{shlex.quote(sys.executable)} -c {shlex.quote(code)} >&-"
    done = subprocess.run(["sh", "-c", shell], stderr=subprocess.PIPE, timeout=120, check=False)
    assert (done.returncode, done.stderr) == (0, b"")
    assert sites(home) == ["Barn", "Hall"]
    assert not list(home.glob("report-*"))


# --- Files that are not ours -----------------------------------------------------------------------------------


def test_a_calendar_takes_the_place_of_no_other_file(say: Say, home: Path, tmp_path: Path) -> None:
    """A mistyped name costs nobody their notes, nor the record itself; an older calendar and an empty file are ours."""
    notes = tmp_path / "notes.txt"
    notes.write_text("call the veterinarian\n", encoding="utf-8")
    assert "is no calendar; it was left alone" in say(f"calendar write {notes}", 1)
    assert notes.read_text(encoding="utf-8") == "call the veterinarian\n"
    assert "is no calendar" in say(f"calendar write {home / 'record.db'}", 1)
    assert "The record is whole" in say("check")
    old = tmp_path / "old.ics"
    old.touch()
    assert "entries in" in say(f"calendar write {old}")
    assert "entries in" in say(f"calendar write {old}")


def test_a_list_of_faults_says_how_many_are_left_out(say: Say, tmp_path: Path) -> None:
    """Of more than twenty faults the first twenty stand in the sentence, with how many there are besides."""
    wrong = tmp_path / "wrong.ics"
    wrong.write_text("x\n" * 30, encoding="utf-8")
    said = say(f"calendar check {wrong}", 1)
    count = int(said.split(" has ")[1].split()[0])
    assert said.endswith(f"; and {count - 20} more.")


# --- Facts ---------------------------------------------------------------------------------------------------------


def test_fish_do_not_move_to_the_tank_they_are_in(say: Say) -> None:
    """Moved from Q1 to Q1 would take fish out of the count that never left."""
    assert "Q1 is the tank they are in" in say("event moved Q1 2 --to q1", 1)
    assert "12 fish in Q1" in say("batch list")


def test_a_count_in_an_empty_quarantine_tank_says_that_it_counts_for_none(say: Say) -> None:
    """A look with the wrong tank's name is not taken for a look at the fish; a display tank has no batch to miss."""
    assert "No batch is in Q2: this look counts for none." in say('look "Q2 12 3" --no-signs')
    assert "counts for none" not in say('look "Show 30"')
    assert "counts for none" not in say('look "Q1 12 3" --no-signs')


@pytest.mark.parametrize(
    ("line", "left"),
    [
        ("event missing Q1 1 --because jumped --batch Q1-2", "3 fish"),
        ("event moved Q1 1 --to Show --batch Q1-2", "3 fish"),
        ("event added Q1 1 --batch Q1-2 --yes", "5 fish"),
        ("event died Q1 1 --batch Q1-2", "3 fish"),
    ],
)
def test_of_two_batches_in_a_tank_the_one_that_is_named_is_counted(line: str, left: str, say: Say) -> None:
    """Where the program asks whose fish, the option that it names is there."""
    say(SECOND)
    head, _, option = line.partition(" --batch Q1-2")
    assert "say whose fish, with --batch NAME" in say(f"{head}{option}", 1)
    say(line)
    listed = say("batch list")
    assert f"Q1-2: {left} in Q1" in listed
    assert "Q1-1: 12 fish in Q1" in listed


def test_two_batches_in_one_tank_can_be_looked_at(say: Say, home: Path) -> None:
    """All seen is a count of each batch; fewer is a look at each without one: whose are missing is not known."""
    say(SECOND)
    assert "17 seen in Q1, but 16 are alive" in say('look "Q1 17 3" --no-signs', 1)
    assert "it is a look at each of them." in say('look "Q1 16" --no-signs')
    assert seen(home) == {"Q1-1": 12, "Q1-2": 4}
    assert "without a count" in say('look "Q1 15" --sign gasping')
    assert seen(home) == {"Q1-1": None, "Q1-2": None}
    assert "say whose fish died: quarantine event died Q1 1 --batch NAME" in say('look "Q1 15" --dead 1', 1)
    assert "The record is whole" in say("check")


def seen(home: Path) -> dict[str, int | None]:
    """How many of each batch its last look saw."""
    connection = sqlite3.connect(home / "record.db")
    try:
        found = connection.execute(
            "select batch.name, fact.data from fact join batch on batch.id = fact.batch where fact.kind = 'look' "
            "order by fact.entered_at, fact.id"
        ).fetchall()
    finally:
        connection.close()
    return {name: json.loads(data)["seen"] for name, data in found}


def test_a_dose_without_a_task_is_told_to_programs_in_numbers(
    say: Say, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With --json the level that a dose gives, and the figure of the hold it passed, are numbers."""
    dose = json.loads(say("--json event dose Q1 M01 --gave 0.2g --really"))["dose"]
    assert isinstance(dose["gives_low_mg_per_l"], float)
    assert dose["gives_low_mg_per_l"] < dose["gives_high_mg_per_l"] < 4
    assert dose["mass_mg"] == 200


def test_the_journal_says_how_much_water_a_new_tank_holds(say: Say) -> None:
    """A tank's entry names its litres, not the last line of the working."""
    assert "tank Q1: 57.6 L, plus or minus 0.69 L, computed from its measures" in say("journal")


def test_the_sheet_of_a_day_to_come_is_refused_before_anything_is_typed(say: Say) -> None:
    """A slip in the day costs no typed line; at the question it is asked again."""
    assert "--on 2026-02-20 has not come yet" in say("enter --on 2026-02-20", 1)
    said = say("enter", keys="2026-02-20\n2026-02-10\n\n\n")
    assert "The day 2026-02-20 has not come yet" in said
    assert said.count("The day of the sheet") == 2
