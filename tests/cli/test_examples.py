"""The example in the help of every command is true: it runs as it stands on the demonstration's record.

What differs in every record is put in: the codes of tasks, the seal of an entry. Commands that write run with
--dry-run.
"""

from __future__ import annotations

import io
import re
import shlex
import shutil
import sys
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from bath_room import template
from freezegun import freeze_time

from quarantine.cli import app, demo
from quarantine.settings import open_home
from quarantine.templates import shipped


def leaves(entries: dict[str, Any], path: tuple[str, ...] = ()) -> Iterator[tuple[str, Any]]:
    """Every command as (its words, its row of the table)."""
    for name, entry in entries.items():
        if isinstance(entry, dict):
            yield from leaves(entry, (*path, name))
        else:
            yield " ".join((*path, name)), entry


LEAVES = dict(leaves(app.COMMANDS))

# The demonstration is what the other examples run on; tests/cli/test_demo.py runs it whole.
# A timer runs until it is stopped; tests/cli/test_bath.py hands it a clock.
OWN_TEST = {"demo", "bath timer"}

# Not on the fourth day, when there are fish, doses and a history, but before: nothing on record, or tanks without fish.
EARLIER = {
    **dict.fromkeys(("site add", "keeper add"), "empty"),
    **dict.fromkeys(("batch start", "batch expect", "batch arrived", "batch call-off", "event word"), "tanks"),
    **dict.fromkeys(("bath start", "bath end"), "tanks"),
}

# No shipped protocol has a timed bath.
BATHE = LEAVES["batch start"][4].partition(" ")[2].replace("fresh-watch", "bath.toml --acknowledge --yes")

EXPECT = LEAVES["batch expect"][4].partition(" ")[2]
STOCK = LEAVES["stock add"][4].partition(" ")[2]
READ = "reading Q1 temp=25.5C ph=7.4 tan=0mg/L nitrite=0mg/L"

Q3 = '--site Hall --role quarantine --water fresh --shape box --length "60 cm" --width "30 cm" --filled "32 cm"'

# What must have happened for the example to be true; CODES are those of all open work that no reading settles.
BEFORE = {
    "vet withdraw": [LEAVES["vet add"][4].partition(" ")[2]],
    "calendar check": ["calendar write quarantine.ics"],
    "batch move": [f"tank add Q3 {Q3}"],
    "batch merge": [LEAVES["batch split"][4].partition(" ")[2]],
    "event lift": ['look "Q1 12 3" --sign gasping'],
    "event word": [LEAVES["batch start"][4].partition(" ")[2].replace("fresh-watch", "mine.toml")],
    "event incident-over": [LEAVES["event incident"][4].partition(" ")[2]],
    "bath start": [BATHE],
    "bath end": [BATHE, LEAVES["bath start"][4].partition(" ")[2].replace(" --timer", "")],
    "batch call-off": [EXPECT],
    **{f"stock {name}": [STOCK] for name in ("list", "show", "count", "use", "dispose", "recall", "register")},
    "lot": [STOCK],
    "batch arrived": [EXPECT, f'{READ} --at "2026-03-09 11:00"', READ, "done CODES"],
}

# A step for a protocol of one's own: no shipped one starts a step at a keeper's word.
WAITS = """
[[step]]
id = "carbon"
kind = "chore"
title = "Fresh carbon into the filter"
start = { word = "The veterinarian has agreed" }
note = "Made for a test."
references = ["S4"]
"""

# The day of the example, where that is a later one.
LATER = {"batch arrived": datetime.fromisoformat("2026-03-10T14:00:00+00:00")}

# What is typed at the commands that ask.
TYPED = {"enter": "Robin\n\nQ1 12 3 n 18:00\n\ny\n"}

CODE = re.compile(r"(D?)(?=\w*\d)[A-HJ-NP-Z2-9]{4}")
SEAL = re.compile(r"(?=\w*\d)(?=\w*[a-f])[0-9a-f]{8}")


class Moment(NamedTuple):
    """The demonstration's folder as it was at one moment of its story."""

    home: Path
    at: datetime


class Story(demo._Room):
    """The demonstration up to its fourth day, with copies of its folder on the way."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.moments = {"empty": Moment(folder / "empty", self.day_0)}
        super().__init__(open_home(str(folder / "room")))

    day_0 = datetime.fromisoformat("2026-02-10T14:00:00+00:00")

    def keep(self, name: str) -> None:
        self.moments[name] = Moment(self.folder / name, max(self.now, self.day_0))
        shutil.copytree(self.home.path, self.folder / name)

    def arrivals(self) -> None:
        self.keep("tanks")
        super().arrivals()

    def show_list(self) -> None:
        """The fourth day: looked at and tested, the dose not given yet."""
        super().show_list()
        self.keep("fourth day")


@pytest.fixture(scope="module")
def moments(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Moment]:
    """The demonstration's record at three moments."""
    story = Story(tmp_path_factory.mktemp("story"))
    story.build()
    story.arrivals()
    story.first_day()
    return story.moments


def open_tasks(home: Path) -> list[dict[str, Any]]:
    """The tasks that are planned or missed, in order of their dates."""
    from quarantine.records.reads import open_reader

    with open_reader(open_home(str(home)).database) as rows:
        return rows.rows("open_tasks", until="9999", tank=None)


def with_real_codes(words: list[str], home: Path) -> list[str]:
    """The example with this record's own codes in place of those printed in it."""
    from quarantine.records.reads import open_reader

    with open_reader(open_home(str(home)).database) as rows:
        entries = rows.rows("journal_last", most=1000)
    tasks = [task for task in open_tasks(home) if task["day"] is not None and task["day"] <= "2026-02-14"]
    codes = {
        is_dose: [task["code"] for task in tasks if (task["kind"] == "dose") is is_dose] for is_dose in (True, False)
    }
    ends = [task["code"] for task in tasks if task["step"] == "bath.end"]
    codes[False] = [*ends, *codes[False]]
    look = next((entry["id"] for entry in entries if '"kind":"look"' in entry["payload"]), "")
    put_in = []
    for word in words:
        if match := CODE.fullmatch(word):
            word = codes[match[1] == "D"][0]
        put_in.append(look[:8] if SEAL.fullmatch(word) else word)
    return put_in


@pytest.mark.parametrize("name", sorted(set(LEAVES) - OWN_TEST))
def test_the_example_in_the_help_runs(
    name: str,
    moments: dict[str, Moment],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The example is carried out and says something; a file that it reads is one that the program would take."""
    writes, example = LEAVES[name][2], LEAVES[name][4]
    home, at = moments[EARLIER.get(name, "fourth day")]
    at = LATER.get(name, at)
    if name in BEFORE:
        home = Path(shutil.copytree(home, tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "stdin", io.StringIO(TYPED.get(name, "")))
    if EARLIER.get(name) != "empty":
        monkeypatch.setenv("QUARANTINE_KEEPER", demo.SECOND)
    monkeypatch.setenv("QUARANTINE_HOME", str(home))
    monkeypatch.setenv("COLUMNS", "120")
    (tmp_path / "mine.toml").write_text(shipped()["fresh-watch"].read_text(encoding="utf-8") + WAITS, encoding="utf-8")
    (tmp_path / "bath.toml").write_text(template(), encoding="utf-8")
    watch = shipped()["fresh-watch"].read_text(encoding="utf-8")
    newer = re.sub(r"(?m)^revision = (\d+)$", lambda m: f"revision = {int(m[1]) + 1}", watch)
    (tmp_path / "current.toml").write_text(newer, encoding="utf-8")
    words = shlex.split(example)[1:]
    with freeze_time(at):
        for line in BEFORE.get(name, []):
            codes = [task["code"] for task in open_tasks(home) if task["kind"] != "test"]
            put_in = [with_real_codes([word], home) if word != "CODES" else codes for word in shlex.split(line)]
            assert app.run([word for words_ in put_in for word in words_]) == 0
        if home.exists():
            words = with_real_codes(words, home)
        code = app.run([*words, *(["--dry-run"] if writes else [])])
    said = capsys.readouterr()
    assert code == 0, f"$ {example}\n{said.out}{said.err}"
    assert said.out.strip()


def test_every_group_and_command_says_what_it_is_for() -> None:
    """A line of help for each, none twice: who reads the list of commands can tell them apart."""
    lines = [*(entry[3] for entry in LEAVES.values()), *app.GROUPS.values()]
    assert set(app.GROUPS) == {name for name, entry in app.COMMANDS.items() if isinstance(entry, dict)}
    assert len(set(lines)) == len(lines)
    assert [line for line in lines if len(line) > 80 or not line.endswith(".")] == []


@pytest.mark.parametrize("name", sorted(LEAVES))
def test_the_help_shows_the_example(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """`--help` behind a command ends with its example, and says of --dry-run where it writes."""
    assert app.run([*name.split(), "--help"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert " ".join(f"Example: {LEAVES[name][4]}".split()) in said
    assert ("--dry-run runs it and takes it back." in said) is LEAVES[name][2]
