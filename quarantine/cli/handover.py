"""The note for whoever comes next."""

from __future__ import annotations

from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from quarantine.cli.session import now, session

if TYPE_CHECKING:
    from quarantine.actions.handing import Handover

LOOK = "This note is not the record: look at the list (quarantine today) before every dose."


def handover(
    site: Annotated[str | None, typer.Option(help="One site only.")] = None,
    to: Annotated[str | None, typer.Option(help="The keeper for whom it is.")] = None,
    html: Annotated[Path | None, typer.Option("--html", help="Write a page for a browser and a printer.")] = None,
) -> None:
    from quarantine.actions.handing import document, read_handover
    from quarantine.actions.today import task_json

    home = session().home()
    with session().reader() as rows:
        note = read_handover(rows, home, now(), site=site, to=to)
    told = document(note, [task_json(item) for item in note.tasks])
    parts = _parts(note)
    if html is None:
        lines = [_title(note), f"As of {note.as_of}.", *(line for part in parts for line in ("", *_said(*part)))]
        session().emit(told, [*lines, "", LOOK])
        return
    from quarantine.actions.sheets import save_page
    from quarantine.reports.paper import Block, page_html

    head = Block("head", (_title(note), f"As of {note.as_of}.", LOOK))
    blocks = [head, *(Block("notes", (name, *(lines or ["Nothing."]))) for name, lines in parts)]
    save_page(html, page_html(_title(note), [blocks]))
    session().emit({**told, "file": str(html)}, [f"{html}: open it in a browser to print."])


def _title(note: Handover) -> str:
    whose = f" for {note.to}" if note.to else ""
    where = f", {note.site}" if note.site else ""
    return f"Handover{whose}, {note.on:%A %-d %B %Y}{where}"


def _said(name: str, lines: list[str]) -> list[str]:
    return [f"{name}:", *(f"  {line}" for line in lines)] if lines else [f"{name}: nothing."]


def _parts(note: Handover) -> list[tuple[str, list[str]]]:
    """The parts of a note, each with its lines."""
    from quarantine.actions.handing import AHEAD_DAYS, AHEAD_HOURS

    return [
        ("Tanks", list(note.tanks)),
        (f"Open ({len(note.tasks)} in all)" if note.tasks else "Open", _open(note)),
        ("Odd", list(note.odd)),
        (f"Watch in the next {AHEAD_HOURS} h", list(note.watch)),
        ("Stock low", list(note.stock)),
        (f"Away or shut in the next {AHEAD_DAYS} days", list(note.away)),
    ]


def _open(note: Handover) -> list[str]:
    """Every open task, a tank at a time: when it is due, who does it now; of what was missed, its day."""
    from quarantine.cli.today import when_due

    lines = []
    for tank, items in groupby(note.tasks, key=lambda item: item.row["tank_name"]):
        missed: dict[str, list[str]] = {}
        for item in items:
            row = item.row
            if item.section == "missed":
                claimed = f", {item.claimed.words(row['zone'])}" if item.claimed else ""
                missed.setdefault(row["title"], []).append(f"{row['code']} {row['day']}{claimed}")
            else:
                lines.append(f"{tank}: {row['code']} {row['title']}{when_due(item)}")
        lines += [f"{tank}: MISSED {title}: {', '.join(codes)}" for title, codes in missed.items()]
    return lines
