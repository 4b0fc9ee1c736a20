"""`quarantine` alone: five questions on an empty record, the next step on any other, else a greeting."""

from __future__ import annotations

import io
import json
import os
import pty
import re
import select
import shlex
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time
from hypothesis import given
from hypothesis import strategies as st

from quarantine.cli import app
from quarantine.cli.first_run import GREETING, guess_zone, quoted, watch_only

NOW = "2026-02-10 14:00:00"
PLACE = ["Hall", "Europe/Berlin", "Robin"]
TANK = ["Q1", "fresh", "box", "60 cm", "30 cm", "32 cm", "", "3 kg"]
DESTINATION = ["Show", "cylinder", "80 cm", "50 cm", "", ""]
FISH = ["12 Melanotaenia praecox, 3 cm", "", "a breeder", "14:30"]
NOTHING = [*PLACE, *TANK, "nothing"]


def batch(water: str = "fresh") -> list[str]:
    """The answers that start a batch; where several protocols only watch, the first is taken by Enter."""
    which = [""] if len(watch_only(water)) > 1 else []
    return [*PLACE, *TANK, "batch", *which, *DESTINATION, *FISH]


def answering(monkeypatch: pytest.MonkeyPatch, answers: list[str]) -> None:
    """Put the answers on standard input, a line each, as a pipe would."""
    typed = "".join(f"{answer}\n" for answer in answers).encode()
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BufferedReader(io.BytesIO(typed)), encoding="utf-8"))  # type: ignore[arg-type]


@pytest.fixture(autouse=True)
def _own_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An empty folder to work in, wide lines, and no keeper or home from outside."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.setenv("TZ", "Europe/Lisbon")
    for name in ("QUARANTINE_KEEPER", "QUARANTINE_DATABASE"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("QUARANTINE_HOME", str(tmp_path / "home"))
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))


def first_run(monkeypatch: pytest.MonkeyPatch, answers: list[str], *options: str) -> int:
    """`quarantine` alone with these answers."""
    answering(monkeypatch, answers)
    with freeze_time(NOW):
        return app.run(list(options))


def kept(home: Path) -> list[tuple[Any, ...]]:
    """What is on record without ids, codes and instants of entry."""
    connection = sqlite3.connect(home / "record.db")
    try:
        queries = (
            "select name, zone from site",
            "select name from keeper",
            "select name, role, water, shape, label_litres from tank order by name",
            "select litres, plus_minus, method, working from volume order by litres",
            "select name, arrived_at, source, fish, state from batch",
            "select step, day, kind, state, title from task order by step, day",
        )
        return [row for query in queries for row in connection.execute(query)]
    finally:
        connection.close()


@pytest.mark.parametrize("answers", [NOTHING, batch()], ids=["nothing yet", "a batch"])
def test_five_questions_end_with_a_printed_list(
    answers: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The questions are numbered 1 to 5, and the last thing printed is the list that `quarantine today` prints."""
    assert first_run(monkeypatch, answers) == 0
    said = capsys.readouterr().out
    assert re.findall(r"(?m)^(\d) of 5\.", said)[:5] == list("12345")
    with freeze_time(NOW):
        assert app.run(["today"]) == 0
    listed = capsys.readouterr().out
    assert listed.startswith("Tuesday 10 February 2026")
    assert said.endswith(listed)
    assert ("Look at every fish and count" in listed) is (len(answers) > len(NOTHING))
    with freeze_time(NOW):
        assert app.run(["check"]) == 0


@pytest.mark.parametrize(
    "place",
    [PLACE, ['The "Old" Hall', "Europe/Berlin", "Ro$bin `O'Hara`"], ["Hall \\ Süd", "Europe/Berlin", "Ü!"]],
    ids=["plain", "quotes", "backslash"],
)
def test_the_printed_commands_make_the_same_record(
    place: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Typed by hand in another folder, the commands it stood for write what the answers wrote."""
    answers = batch()
    answers[:3] = place
    assert first_run(monkeypatch, answers) == 0
    lines = re.findall(r"(?m)^\$ (.*)$", capsys.readouterr().out)
    assert len(lines) == 5
    monkeypatch.setenv("QUARANTINE_HOME", str(tmp_path / "by hand"))
    for line in lines:
        with freeze_time(NOW):
            assert app.run(shlex.split(line)[1:]) == 0
    made = kept(tmp_path / "home")
    assert len(made) > 100
    assert made == kept(tmp_path / "by hand")


@pytest.mark.parametrize("count", range(len(batch())))
def test_an_end_before_the_last_answer_leaves_nothing(
    count: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Wherever the answers end, or q is typed, there is no home, no record and no trial folder afterwards."""
    given = batch()[:count]
    assert first_run(monkeypatch, [*given, "q"]) == 130
    assert capsys.readouterr().err == "Stopped; nothing half-written.\n"
    if given:
        assert first_run(monkeypatch, given) == 130
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("at", "wrong", "says"),
    [
        (0, [""], "A site needs a name of 1 to 60 plain characters."),
        (0, ["-x"], "begins with a dash"),
        (0, ["Ha\x1b[All"], "type it again"),
        (1, ["Europe/Berln"], "Did you mean Europe/Berlin"),
        (2, [""], "A keeper needs a name"),
        (3, ["x" * 61], "A tank needs a name"),
        (4, ["salty"], "There is no water 'salty'; known: fresh, brackish, marine."),
        (5, ["bx"], "There is no tank shape 'bx'"),
        (6, ["60"], "The --length '60' has no unit"),
        (6, ["60 L"], "--length"),
        (8, ["32 cm ± 40 cm", "", "", "box", "60 cm", "30 cm"], "so it is not known"),
        (8, ["0 cm", "", "", "box", "60 cm", "30 cm"], "--filled"),
        (9, ["5"], "--substrate"),
        (10, ["3 cm"], "--rocks"),
        (10, ["900 kg", "box", "60 cm", "30 cm", "32 cm", ""], "rocks"),
        (11, ["something"], "There is no such choice 'something'; known: nothing, batch."),
    ],
)
def test_a_wrong_answer_is_asked_again_at_once(
    at: int,
    wrong: list[str],
    says: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The sentence of the refusal is shown right behind the answer, and the right answer still leads to the end."""
    answers = [*NOTHING[:at], *wrong, *NOTHING[at:]]
    assert first_run(monkeypatch, answers) == 0
    said = capsys.readouterr().out
    assert says in said
    assert first_run_of(NOTHING, tmp_path, monkeypatch) == kept(tmp_path / "home")


def test_no_is_an_answer_where_there_may_be_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """No substrate: "no" says what Enter says."""
    assert NOTHING[9] == ""
    answers = [*NOTHING[:9], "No", *NOTHING[10:]]
    assert first_run(monkeypatch, answers) == 0
    assert first_run_of(NOTHING, tmp_path, monkeypatch) == kept(tmp_path / "home")


def first_run_of(answers: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[tuple[Any, ...]]:
    """What the answers put on record, in a folder of their own."""
    assert first_run(monkeypatch, answers, "--home", str(tmp_path / "other")) == 0
    return kept(tmp_path / "other")


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (["Q1"], "There is a tank 'Q1' already"),
        ([*DESTINATION, "12"], "does not read: write a count and a name"),
        ([*DESTINATION, FISH[0], "twelve"], "does not read: write a count and a name"),
        ([*DESTINATION, FISH[0], "", ""], "It is needed"),
        ([*DESTINATION, *FISH[:3], "yesterday"], "does not read"),
        ([*DESTINATION, *FISH[:3], "23:00"], "lies in the future"),
    ],
    ids=["same tank", "no species", "no count", "no source", "no time", "future"],
)
def test_a_wrong_answer_about_the_batch_is_asked_again(
    wrong: list[str], says: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same holds inside the fifth question; the batch comes out as if nothing had been typed wrongly."""
    answers = batch()
    start = answers.index("Show")
    right = answers[start:]
    done = 0 if wrong == ["Q1"] else len(wrong) - 1
    assert first_run(monkeypatch, [*answers[:start], *wrong, *right[done:]]) == 0
    assert says in capsys.readouterr().out
    assert first_run_of(answers, tmp_path, monkeypatch) == kept(tmp_path / "home")


def test_enter_takes_what_is_offered(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The machine's zone, the keeper of the settings and the name Q1 are offered, and Enter takes each."""
    monkeypatch.setenv("QUARANTINE_KEEPER", "Noor")
    assert first_run(monkeypatch, ["Hall", "", "", "", *TANK[1:], ""]) == 0
    said = capsys.readouterr().out
    assert "Enter: Europe/Lisbon, as on this computer." in said
    assert "Enter: Noor." in said
    assert kept(tmp_path / "home")[:2] == [("Hall", "Europe/Lisbon"), ("Noor",)]
    assert kept(tmp_path / "home")[2][0] == "Q1"


@pytest.mark.parametrize(
    ("shape", "measures", "filled"),
    [
        ("truncated cone", ["60 cm", "80 cm", "50 cm", "40 cm", "", ""], "40"),
        ("pond", ["12 m2", "0 40 60 0; 0 50 80 0 cm", ""], "80"),
    ],
)
def test_every_shape_is_asked_for_its_own_measures(
    shape: str, measures: list[str], filled: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A shape with other measures is asked for those: a cone for both diameters, a pond for its soundings."""
    assert first_run(monkeypatch, [*PLACE, "Q1", "fresh", shape, *measures, ""]) == 0
    tank = kept(tmp_path / "home")[2]
    table = json.loads(tank[3])
    assert table["shape"] == shape.replace(" ", "-")
    assert table["filled"][0] == filled


def test_a_dry_run_shows_the_list_and_writes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """With --dry-run the questions lead to the same list, from the record on trial."""
    assert first_run(monkeypatch, batch(), "--dry-run") == 0
    said = capsys.readouterr().out
    assert "Look at every fish and count" in said
    assert said.endswith("Dry run: nothing was written.\n")
    assert list(tmp_path.iterdir()) == []


def test_water_without_a_protocol_is_said(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Where no protocol that only watches fits the water, that is said, and a list is printed all the same."""
    monkeypatch.setattr("quarantine.cli.first_run.watch_only", lambda water: [])
    assert first_run(monkeypatch, [*PLACE, "Q1", "brackish", *TANK[2:]]) == 0
    said = capsys.readouterr().out
    assert "5 of 5. No protocol that only watches ships for brackish water" in said
    assert said.endswith("Nothing is due.\n")


def test_only_protocols_without_medicine_are_offered() -> None:
    """What can be started here gives nothing, fits the water, and the general one comes first."""
    for water in ("fresh", "marine"):
        offered = [one.id for one in watch_only(water)]
        assert offered[0] == f"{water}-watch"
        assert "marine-praziquantel" not in offered
    assert "fresh-watch" not in [one.id for one in watch_only("marine")]


# --- Where nobody answers, and where something is on record ----------------------------------------------


def test_the_next_step_follows_what_is_on_record(capsys: pytest.CaptureFixture[str]) -> None:
    """After each step of a set-up by hand, `quarantine` alone names the one that comes next."""
    steps = [
        (["site", "add", "Hall", "--zone", "Europe/Berlin"], "Next: quarantine keeper add"),
        (["keeper", "add", "Robin"], "Next: quarantine tank add"),
        (
            shlex.split(
                "tank add Q1 --site Hall --role quarantine --water fresh --shape box "
                "--length '60 cm' --width '30 cm' --filled '32 cm'"
            ),
            "Next: quarantine today",
        ),
    ]
    for command, then in steps:
        assert app.run(command) == 0
        capsys.readouterr()
        assert app.run([]) == 0
        assert capsys.readouterr().out.startswith(then)
    assert app.run(["--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"next": "quarantine today"}


def alone(home: Path, **more: Any) -> subprocess.CompletedProcess[str]:
    """`quarantine` alone in a process of its own."""
    return subprocess.run(
        [sys.executable, "-c", "from quarantine.cli import main; main()"],
        env=os.environ | {"QUARANTINE_HOME": str(home)},
        capture_output=True,
        text=True,
        timeout=120,
        **more,
    )


def test_without_input_it_greets(tmp_path: Path) -> None:
    """With nothing on standard input, or a pipe that says nothing, it greets, asks nothing and makes nothing."""
    reading, writing = os.pipe()
    try:
        for stdin in (subprocess.DEVNULL, reading):
            ran = alone(tmp_path / "home", stdin=stdin)
            assert (ran.returncode, ran.stdout.splitlines()) == (0, list(GREETING))
    finally:
        os.close(reading)
        os.close(writing)
    assert not (tmp_path / "home").exists()


def test_bytes_that_are_no_text_are_asked_again(tmp_path: Path) -> None:
    """An answer that is no UTF-8 is refused like any other wrong answer: no traceback."""
    with open(tmp_path / "answers", "wb") as file:
        file.write(b"H\xffll\n" + "".join(f"{answer}\n" for answer in NOTHING).encode())
    with open(tmp_path / "answers", "rb") as file:
        ran = alone(tmp_path / "home", stdin=file)
    assert ran.returncode == 0, ran.stderr
    assert "type it again" in ran.stdout
    assert kept(tmp_path / "home")[0] == ("Hall", "Europe/Berlin")


class Terminal:
    """`quarantine` alone at a terminal."""

    def __init__(self, home: Path) -> None:
        self.said, self.answered = "", 0
        self.pid, self.fd = pty.fork()
        if self.pid == 0:
            os.environ["QUARANTINE_HOME"] = str(home)
            os.execv(sys.executable, [sys.executable, "-c", "from quarantine.cli import main; main()"])

    def wait_for(self, text: str, since: int = 0) -> None:
        """Read until the program has said something."""
        end = time.monotonic() + 120
        while text not in self.said[since:]:
            assert time.monotonic() < end, self.said
            if select.select([self.fd], [], [], 1)[0]:
                try:
                    self.said += os.read(self.fd, 4096).decode()
                except OSError:  # the program has ended
                    break
        assert text in self.said[since:], self.said

    def type(self, text: str) -> None:
        """One answer at the next prompt."""
        self.wait_for("\n> ", self.answered)
        self.answered = len(self.said)
        os.write(self.fd, text.encode())

    def end(self) -> int:
        """The exit code."""
        while True:
            try:
                more = os.read(self.fd, 4096)
            except OSError:
                break
            if not more:
                break
            self.said += more.decode()
        _, status = os.waitpid(self.pid, 0)
        os.close(self.fd)
        return os.waitstatus_to_exitcode(status)


# A forked child of a process with threads may warn; it only starts another program.
@pytest.mark.filterwarnings("ignore:This process:DeprecationWarning")
def test_at_a_terminal_it_asks_and_ctrl_c_leaves_nothing(tmp_path: Path) -> None:
    """A person is asked; Ctrl-C in the middle ends it with one sentence, and nothing was written."""
    terminal = Terminal(tmp_path / "home")
    for answer in [*PLACE, "Q1"]:
        terminal.type(f"{answer}\n")
    terminal.type("\x03")
    assert terminal.end() == 128 + signal.SIGINT
    assert "Stopped; nothing half-written." in terminal.said
    assert "Traceback" not in terminal.said
    assert list(tmp_path.iterdir()) == []


@pytest.mark.filterwarnings("ignore:This process:DeprecationWarning")
def test_at_a_terminal_ten_steps_lead_to_a_list(tmp_path: Path) -> None:
    """A new user reaches a printed list with eleven short answers, most of them Enter or a word (F99)."""
    terminal = Terminal(tmp_path / "home")
    for answer in [*PLACE, *TANK, ""]:
        terminal.type(f"{answer}\n")
    assert terminal.end() == 0
    assert "Nothing is due." in terminal.said
    assert kept(tmp_path / "home")[0] == ("Hall", "Europe/Berlin")


# --- The machine's zone, and words as they are typed ------------------------------------------------------


def test_the_zone_is_guessed_from_the_machine(tmp_path: Path) -> None:
    """TZ rules, then the file that /etc/localtime leads to, then /etc/timezone; what is no zone is passed over."""
    named, local = tmp_path / "timezone", tmp_path / "localtime"
    none = tmp_path / "none"
    named.write_text("America/New_York\n")
    (tmp_path / "zoneinfo" / "Europe").mkdir(parents=True)
    (tmp_path / "zoneinfo" / "Europe" / "Berlin").touch()
    local.symlink_to(tmp_path / "zoneinfo" / "Europe" / "Berlin")
    assert guess_zone("Europe/Lisbon", local, named) == "Europe/Lisbon"
    assert guess_zone(":Europe/Lisbon", local, named) == "Europe/Lisbon"
    assert guess_zone("", local, named) == "Europe/Berlin"
    assert guess_zone("CET-1CEST,M3.5.0", local, named) == "Europe/Berlin"
    assert guess_zone("", none, named) == "America/New_York"
    assert guess_zone("../../etc/passwd", none, named) == "America/New_York"
    named.write_bytes(b"\xff\xfe")
    assert guess_zone("", none, named) is None
    assert guess_zone("", none, none) is None


@given(st.text(st.characters(codec="utf-8", exclude_characters="\0"), min_size=1))
def test_a_word_in_quotes_reads_as_it_was(word: str) -> None:
    """Whatever is typed stands in the printed command so that a shell reads it back unchanged."""
    assert shlex.split(quoted(word)) == [word]
