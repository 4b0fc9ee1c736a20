"""A slip in a command or an option is answered by one sentence with the nearest right word, never by a traceback."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quarantine.cli import app


@pytest.fixture(autouse=True)
def _no_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An empty home."""
    monkeypatch.setenv("QUARANTINE_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("COLUMNS", raising=False)


@pytest.mark.parametrize(
    ("line", "means"),
    [
        ("tody", "Did you mean 'today'?"),
        ("Today", "Did you mean 'today'?"),
        ("tank shw", "Did you mean 'show'?"),
        ("start", "Did you mean 'bath start' or 'batch start'?"),
        ("rename", "Did you mean 'tank rename'?"),
        ("help", "Did you mean '--help'?"),
        ("tank sell", "There is no command 'sell'."),
        ("today --tnk Q1", "Did you mean --tank?"),
        ("today --TANK Q1", "Did you mean --tank?"),
        ("today --jsn", "Did you mean --json?"),
        ("done ABCD --dryrun", "Did you mean --dry-run?"),
        ("batch start --protokol x", "Did you mean --protocol?"),
        ("--hoem x today", "Did you mean --home?"),
        ("today --zzzzzzzz", "No such option: --zzzzzzzz."),
    ],
)
def test_the_nearest_right_word_is_named(line: str, means: str, capsys: pytest.CaptureFixture[str]) -> None:
    """One line on standard error, exit code 2, one mark at the end of a sentence, and where to read on."""
    assert app.run(line.split()) == 2
    said = capsys.readouterr()
    assert means in said.err
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert "?." not in said.err
    assert ".." not in said.err
    assert "See: quarantine" in said.err
    assert "Traceback" not in said.err


@pytest.mark.parametrize(
    "args",
    [
        ["--"],
        [""],
        ["-"],
        ["-x"],
        ["--", "nosuch"],
        ["tank", ""],
        ["tank", "--"],
        ["\udcff"],
        ["today", "--\udcff"],
        ["today", "extra"],
        ["today", "--tank"],
        ["--home"],
        ["--as"],
        ["look"],
    ],
    ids=repr,
)
def test_what_is_no_command_line_is_refused_in_words(args: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Odd words, missing ones and bytes that are no text end with code 2 and a sentence."""
    assert app.run(args) == 2
    assert capsys.readouterr().err.strip()


def test_a_slip_is_a_document_with_json(capsys: pytest.CaptureFixture[str]) -> None:
    """With --json the same sentence is in a document."""
    assert app.run(["tody", "--json"]) == 2
    error = json.loads(capsys.readouterr().out)["error"]
    assert error["kind"] == "usage"
    assert error["message"].startswith("There is no command 'tody'. Did you mean 'today'?")


@given(st.lists(st.text(st.characters(exclude_characters="\0"), max_size=8), min_size=1, max_size=3))
def test_no_words_at_all_end_in_a_traceback(words: list[str]) -> None:
    """Whatever is typed in place of a command is understood as none: exit code 2 or, for help and a version, 0."""
    known = {*app.COMMANDS, *app.SHORT}
    assert app.run([f"_{words[0]}" if words[0] in known else words[0], *words[1:], "--debug"]) in (0, 2)
