"""samples/commands.md is what the program says of itself."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import typer.core

from quarantine.cli import app, reference

CHECKOUT = Path(__file__).resolve().parents[1]
PAGE = CHECKOUT / "samples" / "commands.md"


def test_the_page_is_the_one_that_the_program_makes() -> None:
    """The committed page is, to the byte, what `python -m quarantine.cli.reference` prints."""
    assert PAGE.read_text(encoding="utf-8") == reference.page(), (
        "make it again: python -m quarantine.cli.reference > samples/commands.md"
    )


def test_the_page_is_the_same_in_every_terminal() -> None:
    """Neither the terminal's width nor its language nor the hash seed changes a byte."""
    pages = set()
    for more in ({"COLUMNS": "40", "PYTHONHASHSEED": "1"}, {"COLUMNS": "200", "PYTHONHASHSEED": "2", "LANG": "de_DE"}):
        command = [sys.executable, "-m", "quarantine.cli.reference"]
        environment = os.environ | {"PYTHONIOENCODING": "utf-8"} | more
        pages.add(subprocess.run(command, env=environment, capture_output=True, check=True, cwd=CHECKOUT).stdout)
    assert pages == {reference.page().encode()}


def leaves(entry: Any, path: tuple[str, ...] = ()) -> list[tuple[str, Any]]:
    """Every command as click knows it, by its words."""
    if not isinstance(entry, typer.core.TyperGroup):
        return [(" ".join(path), entry)]
    found = []
    for name in entry.list_commands(entry.make_context("quarantine", [], resilient_parsing=True)):
        inner = entry.get_command(entry.make_context("quarantine", [], resilient_parsing=True), name)
        found += leaves(inner, (*path, name))
    return found


def section(name: str) -> str:
    """The part of the page about one command."""
    parts = re.split(r"(?m)^##+ quarantine ", reference.page())
    (found,) = [part for part in parts[1:] if part.partition("\n")[0] == name]
    return found


@pytest.mark.parametrize(("name", "command"), leaves(app.root()), ids=[name for name, _ in leaves(app.root())])
def test_every_command_is_on_the_page_with_all_it_takes(name: str, command: Any) -> None:
    """Each command has a section that names its help, its example and each option and argument with its help."""
    said = section(name)
    assert f"(#quarantine-{name.replace(' ', '-')})" in reference.page()
    assert " ".join(command.help.split()) in said
    assert re.search(rf"(?m)^quarantine {name}(?: |$)", said)
    for param in command.params:
        if param.name == "help":
            continue
        written = param.opts[0] if param.param_type_name == "option" else param.name.upper()
        (row,) = [line for line in said.splitlines() if re.match(rf"\| `{re.escape(written)}[ `,]", line)]
        assert (", required" in row) is param.required
        assert " ".join(param.help.split()).replace("|", "\\|") in row


def test_the_readme_leads_to_the_page() -> None:
    """The README links the page, and the page is part of what ships."""
    assert "](samples/commands.md)" in (CHECKOUT / "README.md").read_text(encoding="utf-8")
    assert "`commands.md`" in (CHECKOUT / "samples" / "README.md").read_text(encoding="utf-8")
