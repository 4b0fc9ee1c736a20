"""Names completed by the shell: what could stand there, quickly, and never more than a list of names."""

from __future__ import annotations

import json
import os
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from quarantine.cli import app
from quarantine.cli.completion import SCRIPTS

HEAVY = {
    "pydantic",
    "sqlmodel",
    "sqlalchemy",
    "icalendar",
    "rich",
    "platformdirs",
    "quarantine.plan",
    "quarantine.protocol",
}


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record with one site, two keepers, three tanks and a batch that came this morning."""
    folder = tmp_path_factory.mktemp("names") / "home"
    box = "--site Hall --water fresh --shape box --length '60 cm' --width '30 cm' --filled '32 cm' --as Robin"
    lines = (
        "site add Hall --zone Europe/Berlin",
        "keeper add Robin",
        "keeper add Noor --as Robin",
        f"tank add Q1 --role quarantine {box}",
        f"tank add Q2 --role quarantine {box}",
        f"tank add 'Round Pool' --role display {box}",
        "batch start --tank Q1 --protocol fresh-watch --arrived -1h --fish '3 Corydoras aeneus' --from 'a breeder' "
        "--to 'Round Pool' --as Robin",
    )
    for line in lines:
        assert app.run(["--home", str(folder), *shlex.split(line)]) == 0
    return folder


@pytest.fixture(autouse=True)
def _at_home(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The record of these tests, and nobody named from outside."""
    monkeypatch.setenv("QUARANTINE_HOME", str(home))
    monkeypatch.delenv("QUARANTINE_KEEPER", raising=False)


@pytest.fixture
def names(capsys: pytest.CaptureFixture[str]) -> Any:
    """Ask for the names that the last of some words can become."""

    def ask(*words: str) -> list[str]:
        capsys.readouterr()
        assert app.run(["completion", "names", "--", *words]) == 0
        said = capsys.readouterr()
        assert said.err == ""
        return said.out.splitlines()

    return ask


TANKS = ["Q1", "Q2", "Round Pool"]


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["tod"], ["today"]),
        (["tank", "sh"], ["show"]),
        (["batch", "l"], ["list"]),
        (["nosuch", ""], []),
        (["today", "--tank", ""], TANKS),
        (["today", "--tank", "q"], ["Q1", "Q2"]),
        (["today", "--tank=q"], ["--tank=Q1", "--tank=Q2"]),
        (["today", "--tank", "=", "q"], ["Q1", "Q2"]),
        (["today", "--tank", "="], TANKS),
        (["today", "--tank", '"Rou'], ["Round Pool"]),
        (["today", "--tank", "'Round P"], ["Round Pool"]),
        (["today", "--tank", "Round\\ P"], ["Round Pool"]),
        (["look", ""], TANKS),
        (["reading", "Q"], ["Q1", "Q2"]),
        (["reading", "Q1", ""], []),
        (["tank", "show", "r"], ["Round Pool"]),
        (["tank", "rename", "Q"], ["Q1", "Q2"]),
        (["tank", "rename", "Q1", ""], []),
        (["tank", "add", "Q"], []),
        (["tank", "add", "Q3", "--shape", "bo"], ["bow-front", "box"]),
        (["tank", "add", "Q3", "--site", ""], ["Hall"]),
        (["card", "tank", ""], TANKS),
        (["event", "died", "Q"], ["Q1", "Q2"]),
        (["event", "moved", "Q1", "2", "--to", "R"], ["Round Pool"]),
        (["batch", "show", ""], ["Q1-1"]),
        (["signoff", "q"], ["Q1-1"]),
        (["batch", "start", "--protocol", "fresh-wa"], ["fresh-watch"]),
        (["protocol", "show", "marine-p"], ["marine-praziquantel"]),
        (["dose", "prazi"], ["praziquantel"]),
        (["formulary", "show", "prazi"], ["praziquantel"]),
        (["look", "Q1", "3", "--sign", "fl"], ["flashing"]),
        (["look", "Q1", "3", "--gone", "fast"], ["fast breathing"]),
        (["look", "Q1", "3", "--si"], ["--sign"]),
        (["formulary", "find", "white"], ["white spots"]),
        (["--as", "N"], ["Noor"]),
        (["done", "--as", ""], ["Noor", "Robin"]),
        (["--as", "Noor", "tank", "sh"], ["show"]),
        (["--home", "/nowhere", "tank", "show", ""], []),
        (["--home", ""], []),
        (["today", "--"], ["--as", "--help", "--home", "--json", "--on", "--tank"]),
        (["today", "--d"], []),
        (["done", "--d"], ["--dry-run"]),
        (["--j"], ["--json"]),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else None,
)
def test_what_could_stand_there(words: list[str], expected: list[str], names: Any) -> None:
    """Commands, options and names on record, capitals aside; where anything may be typed, nothing is offered."""
    assert names(*words) == expected


@pytest.mark.parametrize("command", ["done", "skip", "why", "d"])
def test_open_codes_are_offered(command: str, names: Any, capsys: pytest.CaptureFixture[str]) -> None:
    """The codes of today's list are offered where a code is typed, for every code of several."""
    assert app.run(["today", "--json"]) == 0
    listed = {task["code"] for task in json.loads(capsys.readouterr().out)["tasks"]}
    assert len(listed) >= 3
    assert listed <= set(names(command, ""))
    code = min(listed)
    assert code in names(command, code[:2].lower())
    assert (code in names(command, "XXXX", code[:2])) is (command != "why")


def test_the_first_word_offers_every_command(names: Any) -> None:
    """With nothing typed, all commands are offered; in a group, all of the group."""
    assert names("") == sorted(app.COMMANDS)
    assert names() == sorted(app.COMMANDS)
    assert names("event", "") == sorted(app.COMMANDS["event"])


def test_a_broken_home_offers_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, names: Any) -> None:
    """Settings or a record that cannot be read are no answer to a Tab; nothing is made either."""
    monkeypatch.setenv("QUARANTINE_HOME", str(tmp_path / "new"))
    assert names("tank", "show", "") == []
    assert not (tmp_path / "new").exists()
    monkeypatch.setenv("QUARANTINE_HOME", str(tmp_path))
    (tmp_path / "settings.toml").write_text("nonsense")
    assert names("tank", "show", "") == []
    (tmp_path / "settings.toml").unlink()
    (tmp_path / "record.db").write_bytes(b"no database" * 100)
    assert names("tank", "show", "") == []


def test_the_home_may_be_said_to_the_command_or_in_the_words(
    home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], names: Any
) -> None:
    """A --home among the words typed so far rules, then one before them, then QUARANTINE_HOME."""
    monkeypatch.setenv("QUARANTINE_HOME", str(tmp_path))
    assert names("--home", str(home), "tank", "show", "") == TANKS
    assert app.run(["--home", str(home), "completion", "names", "--", "tank", "show", "R"]) == 0
    assert capsys.readouterr().out == "Round Pool\n"
    assert names("tank", "show", "") == []


def test_as_a_document(capsys: pytest.CaptureFixture[str]) -> None:
    """With --json the names and the scripts come as documents."""
    assert app.run(["--json", "completion", "names", "--", "tank", "show", "Q"]) == 0
    assert json.loads(capsys.readouterr().out) == {"names": ["Q1", "Q2"]}
    assert app.run(["--json", "completion", "fish"]) == 0
    assert json.loads(capsys.readouterr().out) == {"shell": "fish", "script": SCRIPTS["fish"]}


def test_another_shell_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """A shell without a script is refused by name, and the three that have one are listed."""
    assert app.run(["completion", "csh"]) == 1
    assert "known: bash, zsh, fish" in capsys.readouterr().err


# --- Light -------------------------------------------------------------------------------------------------

ASK = """
import json, sys
from quarantine.cli.app import run
for words in json.loads(sys.argv[1]):
    assert run(["completion", "names", "--", *words]) == 0
print("\\n" + json.dumps(sorted(sys.modules)))
"""


def leaves(entries: dict[str, Any], path: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """Every command as its words."""
    for name, entry in entries.items():
        if isinstance(entry, dict):
            yield from leaves(entry, (*path, name))
        else:
            yield (*path, name)


def test_every_completion_is_light(home: Path) -> None:
    """Arguments and options of every command are completed without a planner, a template reader or an ORM."""
    words = [[*path, last] for path in leaves(app.COMMANDS) for last in ("", "--")]
    ran = subprocess.run(
        [sys.executable, "-c", ASK, json.dumps(words)], capture_output=True, text=True, check=True, timeout=120
    )
    modules = set(json.loads(ran.stdout.rstrip("\n").rpartition("\n")[2]))
    assert "quarantine.cli.completion" in modules
    assert modules & HEAVY == set()


# --- In bash -----------------------------------------------------------------------------------------------

TRY = """
eval "$(quarantine completion bash)"
COMP_WORDS=({words})
COMP_CWORD=$(( ${{#COMP_WORDS[@]}} - 1 ))
_quarantine
printf '%s\\n' "${{COMPREPLY[@]}}"
"""


@pytest.fixture
def bash(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """bash, with `quarantine` on its path."""
    found = shutil.which("bash")
    assert found, "these tests need bash"
    command = tmp_path / "quarantine"
    command.write_text(f"#!{sys.executable}\nfrom quarantine.cli import main\nmain()\n")
    command.chmod(0o755)
    monkeypatch.setenv("PATH", f"{tmp_path}{os.pathsep}{os.environ['PATH']}")
    return found


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("quarantine tank show Ro", ["Round\\ Pool"]),
        ("quarantine tank show '\"Ro'", ["Round Pool"]),
        ("quarantine tank show ''", ["Q1", "Q2", "Round\\ Pool"]),
        ("quarantine today --tank = Q", ["Q1", "Q2"]),
        ("quarantine nosuch ''", [""]),
    ],
)
def test_bash_gets_words_that_it_can_type(bash: str, words: str, expected: list[str]) -> None:
    """A name with a blank is escaped, or left as it is behind an opening quote."""
    ran = subprocess.run(
        [bash, "--norc", "-c", TRY.format(words=words)], capture_output=True, text=True, check=True, timeout=120
    )
    assert ran.stderr == ""
    assert ran.stdout.splitlines() == expected


def test_bash_completes_at_the_tab_key(bash: str, tmp_path: Path) -> None:
    """In a real bash at a terminal, Tab turns the beginning of a name into the name."""
    import pty
    import select
    import time

    leader, follower = pty.openpty()
    shell = subprocess.Popen(
        [bash, "--norc", "--noprofile", "-i"],
        stdin=follower,
        stdout=follower,
        stderr=follower,
        env=os.environ | {"PS1": "ready> ", "INPUTRC": "/dev/null", "TERM": "dumb", "HISTFILE": ""},
        start_new_session=True,
    )
    os.close(follower)
    said = ""

    def until(text: str, count: int = 1) -> None:
        nonlocal said
        end = time.monotonic() + 120
        while said.count(text) < count:
            assert time.monotonic() < end, said
            if select.select([leader], [], [], 1)[0]:
                said += os.read(leader, 4096).decode()

    try:
        until("ready> ")
        os.write(leader, b'eval "$(quarantine completion bash)"\n')
        until("ready> ", 2)
        os.write(leader, b"echo quarantine tank show\nquarantine tank show Ro\t")
        until("Round\\ Pool")
        os.write(leader, b"\n")
        until("Round Pool: display")
    finally:
        shell.kill()
        shell.wait()
        os.close(leader)


@pytest.mark.parametrize("shell", SCRIPTS)
def test_every_script_asks_for_names(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each script is printed whole, serves both names of the program, and says where it was not tried."""
    assert app.run(["completion", shell]) == 0
    script = capsys.readouterr().out
    assert script.rstrip("\n") == SCRIPTS[shell]
    assert "completion names -- " in script
    assert "qk" in script.splitlines()[-1]
    assert ("untried" in script) is (shell != "bash")
