"""Starting, listing and showing batches."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any, NamedTuple

import typer

from quarantine.cli.session import now, session


def start(
    tank: Annotated[str, typer.Option(help="The quarantine tank.")],
    protocol: Annotated[str, typer.Option(help="A protocol's id or file.")],
    arrived: Annotated[str, typer.Option(help='Local time at the site: "YYYY-MM-DD HH:MM".')],
    fish: Annotated[list[str], typer.Option(help='Living fish: "12 Melanotaenia praecox, 3 cm"; once a species.')],
    source: Annotated[str, typer.Option("--from", help="Where the fish came from.")],
    to_tank: Annotated[str, typer.Option("--to", help="The tank they are to move to.")],
    dead_on_arrival: Annotated[int, typer.Option(help="Dead in the bag, counted apart.")] = 0,
    name: Annotated[str | None, typer.Option(help="The batch's name; the tank's and a number if left out.")] = None,
    acknowledge: Annotated[bool, typer.Option("--acknowledge", help="Cautions, label and law were read.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Accept the new dates of fish already there.")] = False,
) -> None:
    from quarantine.actions.batches import NeedsAcknowledgement, start_batch

    desk = session().desk()
    try:
        made = start_batch(
            desk,
            tank=tank,
            protocol=protocol,
            arrived=arrived,
            fish=fish,
            source=source,
            to_tank=to_tank,
            dead_on_arrival=dead_on_arrival,
            name=name,
            acknowledge=acknowledge,
            yes=yes,
        )
    except NeedsAcknowledgement as refusal:
        if not session().as_json:
            from quarantine.cli import out

            for caution in refusal.facts["cautions"]:
                out.say(f"Caution: {caution}")
        raise
    lines = [
        f"Batch {made['batch']}: {made['alive']} fish in {made['tank']}, day 0 is {made['arrived'][:10]}.",
        f"Earliest sign-off if all goes well: {made['earliest']}. Tasks planned: {made['tasks']}.",
    ]
    if made["past_tasks"]:
        lines.append(
            f"{made['past_tasks']} tasks lie in the past: log what was done (look and reading with --at), "
            "or skip them with the reason. Days that nobody looked do not count."
        )
    lines += made["moved"]
    lines.append("Next: quarantine today")
    session().emit({k: v for k, v in made.items() if k != "arrival"}, lines)


def list_() -> None:
    with session().reader() as rows:
        batches = rows.rows("batches")
    latest = _latest(batches)
    documents = [_document(b) | {"newer": _newer(b, latest)} for b in batches]
    lines = []
    for b in documents:
        standing = f"earliest sign-off {b['earliest']}" if b["state"] == "open" else b["state"]
        lines.append(
            f"{b['batch']}: {b['alive']} fish in {b['tank']}, {b['protocol']} revision {b['revision']}, "
            f"arrived {b['arrived_on']}, {standing}"
        )
        if b["newer"] and b["state"] == "open":
            lines.append(f"  {b['newer']['says']}")
    session().emit({"batches": documents}, lines or ["No batch yet: quarantine batch start."])


def _document(batch: Any) -> dict[str, Any]:
    from quarantine.facts import local_day
    from quarantine.records.codec import instant

    standing = json.loads(batch["standing"])
    arrived = instant(batch["arrived_at"])
    until = instant(batch["closed_at"]) if batch["closed_at"] else now()
    day = (local_day(until, batch["zone"]) - local_day(arrived, batch["zone"])).days
    return {
        "batch": batch["name"],
        "tank": batch["tank_name"],
        "protocol": batch["protocol"],
        "revision": batch["revision"],
        "fingerprint": batch["copy_id"],
        "state": batch["state"],
        "arrived_on": local_day(arrived, batch["zone"]),
        "day": day,
        "alive": standing.get("alive"),
        "earliest": standing.get("earliest"),
        "source": batch["source"],
        "destination": batch["destination_name"],
        "fish": json.loads(batch["fish"]),
        "periods": standing.get("periods", []),
        "clear": standing.get("clear"),
        "signs": standing.get("signs", []),
    }


def show(name: Annotated[str, typer.Argument(help="The batch.")]) -> None:
    from quarantine.actions.desk import find_batch, local_text
    from quarantine.records.codec import instant
    from quarantine.templates import imprint

    with session().reader() as rows:
        batch = find_batch(rows, name)
        tasks = rows.rows("tasks_of_batch", batch=batch["id"])
        header = imprint(rows.rows("copy", id=batch["copy_id"])[0]["body"])
        latest = _latest(rows.rows("batches"))
    document = _document(batch) | header.as_json() | {"newer": _newer(batch, latest)}
    document["tasks"] = [
        {
            "code": t["code"],
            "step": t["step"],
            "title": t["title"],
            "day": t["day"],
            "state": t["state"],
            "timing": _timing(t),
        }
        for t in tasks
    ]
    fish = "; ".join(f"{f['count']} {f['species']}{', ' + f['note'] if f['note'] else ''}" for f in document["fish"])
    lines = [
        f"{batch['name']}: {fish}",
        f"  in {batch['tank_name']}, from {batch['source']}, to {batch['destination_name']}; "
        f"arrived {local_text(instant(batch['arrived_at']), batch['zone'])} (day 0)",
        f"  {header.line}; frozen {batch['copy_id'][:12]}",
        f"  state: {batch['state']}; alive {document['alive']}; earliest sign-off {document['earliest']}",
    ]
    if document["newer"]:
        lines.append(f"  {document['newer']['says']}")
    for p in document["periods"]:
        lines.append(
            f"  {p['title']}: {p['length']} days from {p['zero']} ({p['because']}), complete on {p['complete_on']}"
        )
    clear = document["clear"]
    if clear:
        need = f" of {clear['need']}" if clear["need"] else ""
        lines.append(f"  clear {clear['days']}{need} days, counted from {clear['zero']} ({clear['because']})")
    for t in tasks:
        if t["state"] != "withdrawn":
            lines.append(f"    {t['day'] or 'waits':10} {t['code']:5} {_state(t):10} {t['title']}")
    lines.append("  Sources of the protocol:")
    lines += [f"    {source}" for source in header.sources]
    session().emit(document, lines)


def _timing(task: Any) -> str | None:
    """Whether a task that was done came early, on time or late, or was missed first; None for the others (F40)."""
    from quarantine.plan import timing_of
    from quarantine.records.codec import instant

    return timing_of(task, instant(task["outcome_at"])) if task["state"] == "done" else None


def _state(task: Any) -> str:
    """The state for a list: a task done outside its window says so."""
    from quarantine.plan import OUT_OF_TIME

    return f"{task['state']} {OUT_OF_TIME.get(_timing(task) or '', '')}".strip()


class _Text(NamedTuple):
    """One text of a protocol; ``revision`` None: it no longer reads. ``where`` is where it was found."""

    fingerprint: str
    revision: int | None
    where: str


def _latest(batches: list[Any]) -> dict[str, _Text]:
    """Of each protocol the newest text there is: in the file that ships, or started by another batch (F3)."""
    from quarantine.templates import shipped

    latest: dict[str, _Text] = {}
    for batch in sorted(batches, key=lambda b: int(b["revision"])):
        latest[batch["protocol"]] = _Text(batch["copy_id"], batch["revision"], f"batch {batch['name']} has it")
    files = shipped()
    for name in latest.keys() & files.keys():
        text = _in_file(files[name], latest[name])
        if text.revision is None or text.revision >= (latest[name].revision or 0):
            latest[name] = text
    return latest


def _in_file(file: Path, known: _Text) -> _Text:
    """The text of a file that ships; it is read only where it is not the one that is known already."""
    import hashlib

    raw = file.read_bytes()
    fingerprint = hashlib.sha256(raw).hexdigest()
    if fingerprint == known.fingerprint:
        return known
    from quarantine.templates import imprint

    try:
        revision = imprint(raw.decode()).revision
    except ValueError:
        revision = None
    return _Text(fingerprint, revision, "its file has it")


def _newer(batch: Any, latest: dict[str, _Text]) -> dict[str, Any] | None:
    """That a newer text than the batch's copy exists: its ``revision`` (None: it does not read) and a sentence."""
    name, mine = batch["protocol"], batch["revision"]
    text = latest[name]
    keeps = f"this batch keeps its own copy of revision {mine}"
    if text.revision is None:
        says = f"the file of {name} was changed and no longer reads; {keeps}"
    elif text.revision > mine:
        says = f"a newer version of {name} exists: revision {text.revision} ({text.where}); {keeps}"
    elif text.revision == mine and text.fingerprint != batch["copy_id"]:
        says = f"a text of {name} that differs exists, also as revision {mine} ({text.where}); {keeps}"
    else:
        return None
    return {"revision": text.revision, "says": says}
