"""The command reference as a page, made from the table of commands.

Made again with: python -m quarantine.cli.reference > samples/commands.md; a test compares the two.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from quarantine.cli import app

if TYPE_CHECKING:
    from typer._click.core import Parameter

HEAD = """# Commands

Every command with its arguments, its options and one example. The program prints the same behind `--help`.
This page is made from the program (`python -m quarantine.cli.reference`); a change belongs there.

The examples are true on the demonstration's record as it is on its fourth day, with the codes of tasks and the seals of
entries put in, which differ in every record. The first steps come before it: `site add` and `keeper add` on an empty
record, `batch start` on tanks without fish.

Anywhere on the line:

| option | |
|---|---|
| `--home DIR` | the folder of the record; else `QUARANTINE_HOME`, else the platform's folder |
| `--as KEEPER` | who acts; else `QUARANTINE_KEEPER`; not needed with one keeper on record |
| `--json` | one document instead of lines |
| `--dry-run` | with a command that writes: the same is done and taken back |
| `--debug` | after an unforeseen failure: its details |
| `--help`, `--version` | what there is; which version this is |
"""


def page() -> str:
    """The whole page, the same on every machine and in every terminal."""
    parts = [HEAD, _contents()]
    for name, entry in app.COMMANDS.items():
        if isinstance(entry, dict):
            parts.append(f"## quarantine {name}\n\n{app.GROUPS[name]}\n")
            parts += [_section(f"{name} {inner}", row, "###") for inner, row in entry.items()]
        else:
            parts.append(_section(name, entry, "##"))
    return "\n".join(parts)


def _contents() -> str:
    lines = ["| command | what it does |", "|---|---|"]
    for name, row in _leaves(app.COMMANDS):
        lines.append(f"| [`quarantine {name}`](#quarantine-{name.replace(' ', '-')}) | {_cell(row[3])} |")
    return "\n".join(lines) + "\n"


def _leaves(entries: dict[str, Any], before: str = "") -> Iterator[tuple[str, Any]]:
    for name, entry in entries.items():
        if isinstance(entry, dict):
            yield from _leaves(entry, f"{before}{name} ")
        else:
            yield before + name, entry


def _section(name: str, entry: app.Entry, mark: str) -> str:
    """One command: what it is for, an example, and a row for each argument and option."""
    command = app.command(name.rpartition(" ")[2], entry)
    short = [f"Short: `quarantine {key}`." for key, long in app.SHORT.items() if long == name]
    kind = ["It writes to the record; with `--dry-run` it is taken back."] if entry[2] else []
    lines = [f"{mark} quarantine {name}", "", " ".join([entry[3], *kind, *short]), "", "```sh", entry[4], "```", ""]
    rows = [_row(param) for param in command.params if param.name != "help"]
    if rows:
        lines += ["| argument or option | |", "|---|---|", *rows, ""]
    return "\n".join(lines)


def _row(param: Parameter) -> str:
    """One parameter: how it is written, whether it may be left out or said again, what it is."""
    more = ", once or more" if param.nargs == -1 or getattr(param, "multiple", False) else ""
    if param.param_type_name == "argument":
        written = str(param.name).upper()
    else:
        value = "" if getattr(param, "is_flag", False) else f" {param.type.name.upper().replace('STR', 'TEXT')}"
        written = f"{', '.join(param.opts)}{value}"
    need = ", required" if param.required else ""
    return f"| `{written}`{more}{need} | {_cell(str(getattr(param, 'help', '') or ''))} |"


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")


if __name__ == "__main__":
    print(page(), end="")
