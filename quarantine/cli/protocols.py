"""The templates: list, show, check, preview; a new one to begin with, and the grammar for editors."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from quarantine.cli.session import session


def _document(protocol: Any) -> dict[str, Any]:
    return {
        "protocol": protocol.id,
        "revision": protocol.revision,
        "title": protocol.title,
        "summary": " ".join(protocol.summary.split()),
        "author": protocol.author,
        "reviewer": protocol.reviewer,
        "date": protocol.date,
        "water": protocol.water,
        "fish": protocol.fish,
        "medicated": protocol.medicated,
        "fingerprint": protocol.fingerprint,
    }


def list_() -> None:
    from quarantine.protocol import load
    from quarantine.templates import shipped

    documents = [_document(load(name)) for name in shipped()]
    lines = [
        f"{d['protocol']}, revision {d['revision']}, {d['date']}: {d['title']} "
        f"({d['water']}{', medicated' if d['medicated'] else ''})"
        for d in documents
    ]
    session().emit({"protocols": documents}, lines)


def show(protocol: Annotated[str, typer.Argument(help="A protocol's id or file.")]) -> None:
    from quarantine.explaining import branch_words, event_lines, repeat_words, start_words
    from quarantine.protocol import load

    found = load(protocol)
    document = _document(found) | {
        "cautions": list(found.cautions),
        "periods": [{"id": p.id, "title": p.title, "days": p.length.value, "counts": p.counts} for p in found.periods],
        "steps": [
            {
                "id": s.id,
                "kind": s.kind,
                "title": s.title,
                "start": start_words(s.start),
                "repeat": repeat_words(s) + branch_words(s),
            }
            for s in found.steps
        ],
        "criteria": [c.title for c in found.criteria],
        "references": [{"key": r.key, "cite": r.cite, "status": r.status} for r in found.references.values()],
    }
    reviewer = found.reviewer or "nobody yet"
    lines = [
        f"{found.id}, revision {found.revision}, {found.date}: {found.title}",
        f"  by {found.author}, reviewed by {reviewer}; {found.water} water; {found.fish}",
        f"  {document['summary']}",
        *[f"  Caution: {c}" for c in found.cautions],
        "Periods:",
        *[f"  {p.title}: {p.length} ({p.counts} days), from {start_words(p.start)}" for p in found.periods],
        "Steps:",
        *[f"  {s.title}: {start_words(s.start)}{repeat_words(s)}{branch_words(s)}" for s in found.steps],
        "What happens to the periods:",
        *[f"  {line}" for line in event_lines(found.events)],
        "Sign-off:",
        *[f"  {c.title}" for c in found.criteria],
        "Sources:",
        *[f"  {r.key} ({r.status}): {r.cite}" for r in found.references.values()],
    ]
    session().emit(document, lines)


def check(file: Annotated[str, typer.Argument(help="The protocol file.")]) -> None:
    from quarantine.protocol import load

    found = load(file)
    lines = [f"{file}: no mistake found ({found.id}, revision {found.revision}, {len(found.steps)} steps)."]
    session().emit({"file": file, "protocol": found.id, "problems": []}, lines)


def new(
    file: Annotated[Path, typer.Argument(help="The file to write; its name becomes the protocol's id.")],
    like: Annotated[str, typer.Option(help="The protocol that ships to begin with.")] = "fresh-watch",
) -> None:
    from quarantine.actions.drafting import new_protocol

    desk = session().desk()
    made = new_protocol(
        file,
        like=like,
        author=desk.keeper or "not said yet",
        today=desk.now.astimezone().date(),
        dry_run=desk.dry_run,
    )
    lines = [
        f"{file} is {like} with a comment at each key, as protocol {made['protocol']} by {made['author']}.",
        f"Change it, and check it after each change: quarantine protocol check {file}",
    ]
    session().emit(made, lines)


def schema() -> None:
    import json

    from quarantine.cli import out
    from quarantine.protocol_schema import schema

    # A document for a program, never folded, and the same with --json and in every terminal.
    out.write(json.dumps(schema(), indent=2))


def preview(
    protocol: Annotated[str, typer.Argument(help="A protocol's id or file.")],
    tank: Annotated[str, typer.Option(help="The quarantine tank.")],
    arrived: Annotated[str, typer.Option(help='Local time: "YYYY-MM-DD HH:MM".')],
) -> None:
    from quarantine.actions.batches import preview
    from quarantine.actions.previewing import batches_there, doses_of, stock_of, total_words, totals_of
    from quarantine.templates import imprint

    desk = session().desk()
    made = preview(desk, protocol=protocol, tank=tank, arrived=arrived)
    with session().reader() as rows:
        doses = doses_of(made, rows, desk.home, desk.now)
        there = batches_there(made, rows)
        stock, stock_lines = stock_of(made, rows, desk.home, desk.now) if doses else ([], [])
    header = imprint(made.protocol.text)
    past = sum(1 for t in made.plan.tasks if t.state == "missed")
    tasks = sorted(made.plan.tasks, key=lambda t: (t.day is None, t.day, t.title))
    document = {
        "protocol": made.protocol.id,
        **header.as_json(),
        "tank": made.tank["name"],
        "batches_there": there,
        "past_tasks": past,
        "earliest": made.standing["earliest"],
        "tasks": [
            {"step": t.step, "kind": t.kind, "title": t.title, "day": t.day, "needs": t.needs, "dose": doses.get(t.key)}
            for t in tasks
        ],
        "totals": totals_of(doses),
        "stock": stock,
    }
    lines = [f"{made.protocol.title}, {made.tank['name']}, arriving {arrived}. Nothing is written.", f"  {header.line}"]
    daily: dict[str, list[Any]] = {}
    for t in tasks:
        daily.setdefault(t.step, []).append(t)
    for runs in daily.values():
        first, last = runs[0], runs[-1]
        if first.kind == "dose":
            for t in runs:
                d = doses[t.key]
                lines.append(f"  {t.day} {t.title}: {d['says']}")
        elif len(runs) > 6:
            lines.append(f"  {first.day} to {last.day} {first.title}, {len(runs)} times")
        else:
            lines += [f"  {t.day or t.needs} {t.title}" for t in runs]
    lines += [f"  In all: {total_words(t)}" for t in document["totals"]]
    lines += [f"  {line}" for line in stock_lines]
    lines.append(f"  Earliest sign-off if all goes well: {document['earliest']}")
    if past:
        lines.append(f"  {past} of these lie in the past: log what was done, or skip them with the reason.")
    if there:
        lines.append(
            f"  In this water already: {', '.join(there)}. What starting there does to them, or why it is refused: "
            "quarantine batch start --dry-run."
        )
    lines.append(f"  Sources: {header.named_sources}; in full: quarantine protocol show {protocol}")
    if doses:
        from quarantine.dosing import DEFERS

        lines.append(DEFERS)
    session().emit(document, lines)
