"""The documents say what is true: their commands parse, their walk prints what they show, their names exist."""

from __future__ import annotations

import re
import shlex
import sys
from datetime import UTC, datetime, timedelta
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
import typer.core

from quarantine.cli import app

CHECKOUT = Path(__file__).resolve().parents[1]
DOCUMENTS = ("README.md", "DEVELOPERS.md")
TRY_IT = "python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/quarantine demo"
TEST_IT = "python3 -m venv .venv && .venv/bin/pip install -e '.[test]' && .venv/bin/pytest"

# The walk of README.md was printed with the clock here, 15:00 in Berlin, and a minute later at each step.
WALK_AT = datetime(2026, 2, 10, 14, 0, tzinfo=UTC)


def text_of(name: str) -> str:
    return (CHECKOUT / name).read_text(encoding="utf-8")


def leaves(entries: dict[str, Any], path: tuple[str, ...] = ()) -> list[tuple[tuple[str, ...], Any]]:
    """Every command as (words, entry)."""
    found: list[tuple[tuple[str, ...], Any]] = []
    for name, entry in entries.items():
        found += leaves(entry, (*path, name)) if isinstance(entry, dict) else [((*path, name), entry)]
    return found


LEAVES = leaves(app.COMMANDS)


def parse(line: str) -> None:
    """Read a command line as the program does, without running it. Raises for an unknown command or option."""
    rest, _ = app.take_globals(shlex.split(line)[1:])
    if rest in (["--version"], []):
        return
    entry: Any = app.root()
    while isinstance(entry, typer.core.TyperGroup):
        context = entry.make_context("quarantine", rest, resilient_parsing=True)
        _, found, rest = entry.resolve_command(context, [*context._protected_args, *context.args])
        if rest == ["--help"]:
            return
        entry = found
    entry.make_context(" ".join(shlex.split(line)[:3]), list(rest))


def shown_commands(name: str) -> list[str]:
    """The command lines of a document: behind a `$ ` in its blocks, and in its text where more than a name is said."""
    text = text_of(name)
    typed = [line.removeprefix("$ ") for line in re.findall(r"(?m)^\$ quarantine .*$", text.replace("\\\n", ""))]
    bare = {" ".join(("quarantine", *words)) for words, _ in LEAVES}
    return typed + [named for named in re.findall(r"`(quarantine [^`]+)`", text) if named not in bare]


def test_the_readme_has_both_commands_word_for_word_each_on_its_own_line() -> None:
    """The README holds the command that tries the program and the one that tests it, ready to paste."""
    lines = text_of("README.md").splitlines()
    assert TRY_IT in lines
    assert TEST_IT in lines


def test_continuous_checks_run_the_readmes_own_test_command() -> None:
    """.ci/run starts with the test command of the README, word for word."""
    assert TEST_IT in text_of(".ci/run").splitlines()


@pytest.mark.parametrize("words", [words for words, _ in LEAVES], ids=" ".join)
def test_every_command_is_in_the_documents(words: tuple[str, ...]) -> None:
    """Each command of the program is named in README.md or DEVELOPERS.md."""
    wanted = re.compile(rf"\bquarantine {' '.join(words)}\b")
    assert any(wanted.search(text_of(name)) for name in DOCUMENTS), f"quarantine {' '.join(words)} is in no document"


@pytest.mark.parametrize(("words", "entry"), LEAVES, ids=[" ".join(words) for words, _ in LEAVES])
def test_every_example_of_the_help_parses(words: tuple[str, ...], entry: Any) -> None:
    """The example in a command's help is a line of that command which the program reads."""
    assert shlex.split(entry[4])[: len(words) + 1] == ["quarantine", *words]
    parse(entry[4])


@pytest.mark.parametrize("name", DOCUMENTS)
def test_every_command_line_of_the_documents_parses(name: str) -> None:
    """What a document tells a keeper to type has a known command and known options."""
    for line in shown_commands(name):
        parse(line)


def test_an_option_that_does_not_exist_does_not_parse() -> None:
    """The reading of command lines that these tests lean on notices a wrong option and a wrong command."""
    with pytest.raises(Exception, match="No such option"):
        parse("quarantine tank show Q1 --volume")
    with pytest.raises(Exception, match="There is no command"):
        parse("quarantine tank sell Q1")


def test_every_module_named_in_developers_md_exists() -> None:
    """Each path that DEVELOPERS.md names is there, and each room of the program is named."""
    text = text_of("DEVELOPERS.md")
    paths = set(re.findall(r"`((?:quarantine|tests|protocols|\.ci)/[\w./-]*)`", text))
    assert len(paths) > 20
    missing = sorted(path for path in paths if not (CHECKOUT / path).exists())
    assert missing == []
    rooms = {p.name for p in (CHECKOUT / "quarantine").iterdir() if not p.name.startswith(("_", "py."))}
    unnamed = sorted(room for room in rooms if not re.search(rf"\b{room.removesuffix('.py')}\b", text))
    assert unnamed == []


def test_developers_md_has_a_row_for_each_kind_of_fact_that_is_written() -> None:
    """The table of facts names every kind that the actions write, and none that nobody writes."""
    sources = "\n".join(p.read_text(encoding="utf-8") for p in (CHECKOUT / "quarantine").rglob("*.py"))
    written = set(re.findall(r'add_fact\(\s*act,\s*"(\w+)"', sources))
    written |= set(re.findall(r'(?<![a-z])_note\(\s*"(\w+)"', sources)) | {"done"}
    table = text_of("DEVELOPERS.md").partition("## Facts")[2].partition("\n## ")[0]
    rows = set(re.findall(r"(?m)^\| `(\w+)` \|", table))
    assert rows == written


def test_the_readme_names_every_setting_and_every_protocol_and_substance() -> None:
    """Settings, shipped protocols and substances are listed in the README by the names the program knows."""
    from quarantine.formulary import load, names
    from quarantine.settings import SETTINGS

    text = " ".join(text_of("README.md").split())
    wanted = [s.name for s in SETTINGS] + [p.stem for p in (CHECKOUT / "protocols").glob("*.toml")]
    wanted += [load(n).name.casefold() for n in names()]
    assert [w for w in wanted if w not in text and w not in text.casefold()] == []


@pytest.mark.parametrize("name", DOCUMENTS)
def test_the_documents_hold_no_machine_path(name: str) -> None:
    """No path of one machine and no registry host stands in a document."""
    found = re.findall(
        r"(?i)/wor[k]/|/roo[t]\b|/hom[e]/|/tm[p]/|pypi\.org|pythonhosted",
        text_of(name),
    )
    assert found == []


@pytest.mark.parametrize("name", DOCUMENTS)
def test_every_link_of_the_documents_leads_somewhere(name: str) -> None:
    """A relative link in a document points at a file of the checkout."""
    links = [t for t in re.findall(r"\]\(([^)]+)\)", text_of(name)) if "://" not in t]
    assert [t for t in links if not (CHECKOUT / t.partition("#")[0]).exists()] == []


# --- The walk --------------------------------------------------------------------------------------------

CODE = re.compile(r"(?m)^ +([A-Z2-9]{4,5}) (?=[A-Z])")
SEAL = re.compile(r"\b[0-9a-f]{16,64}\b")


def walk() -> list[tuple[str, str]]:
    """The steps of the README's walk: (command line, what it shows)."""
    part = text_of("README.md").partition("## A walk of five minutes")[2].partition("\n## ")[0]
    blocks = "".join(re.findall(r"(?ms)^```text\n(.*?)^```$", part))
    steps = re.split(r"(?m)^\$ ", blocks)
    assert steps[0] == ""
    found = []
    for step in steps[1:]:
        line, _, shown = re.sub(r"\\\n\s*", "", step).partition("\n")
        found.append((line, shown))
    return found


def pattern_of(shown: str, codes: dict[str, str]) -> tuple[re.Pattern[str], list[str]]:
    """What is shown as a pattern: codes and seals differ in every record; a line of "..." stands for any lines."""
    for code, real in codes.items():
        shown = shown.replace(code, real)
    new = [c for c in CODE.findall(shown) if c not in codes.values()]
    text = re.escape(shown)
    for code in new:
        text = text.replace(code, "([A-Z2-9]{4,5})", 1)
    text = SEAL.sub("[0-9a-f]{16,64}", text)
    text = re.sub(r"(?m)^(?:\\ )*\\\.\\\.\\\.\\?\n", lambda _: r"(?:.*\n)*?", text)
    return re.compile(text), new


def test_the_walk_of_the_readme_prints_what_the_readme_shows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every step of the walk, typed in order in an empty folder, prints the lines that the README shows."""
    for _, entry in LEAVES:
        import_module(f"quarantine.cli.{entry[0]}")
    clock = [WALK_AT]
    for name, module in list(sys.modules.items()):
        if name.startswith("quarantine.cli") and hasattr(module, "now"):
            monkeypatch.setattr(module, "now", lambda: clock[0])
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.delenv("QUARANTINE_KEEPER", raising=False)
    codes: dict[str, str] = {}
    steps = walk()
    assert len(steps) > 12
    for line, shown in steps:
        if line.startswith("export QUARANTINE_HOME="):
            monkeypatch.setenv("QUARANTINE_HOME", line.partition("=")[2])
            continue
        for code, real in codes.items():
            line = line.replace(code, real)
        clock[0] += timedelta(minutes=1)
        exit_code = app.run(shlex.split(line)[1:])
        captured = capsys.readouterr()
        said = captured.err if exit_code else captured.out
        pattern, new = pattern_of(shown, codes)
        match = pattern.fullmatch(said)
        assert match, f"$ {line}\n{said}\nREADME.md shows:\n{shown}"
        codes |= dict(zip(new, match.groups(), strict=True))
