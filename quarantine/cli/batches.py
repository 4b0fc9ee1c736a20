"""Starting, listing and showing batches."""

from __future__ import annotations

import json
from typing import Annotated, Any

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
        documents = [_document(b) for b in batches]
    lines = []
    for b in documents:
        standing = f"earliest sign-off {b['earliest']}" if b["state"] == "open" else b["state"]
        lines.append(
            f"{b['batch']}: {b['alive']} fish in {b['tank']}, {b['protocol']}, arrived {b['arrived_on']}, {standing}"
        )
    session().emit({"batches": documents}, lines or ["No batch yet: quarantine batch start."])


def _document(batch: Any) -> dict[str, Any]:
    from quarantine.facts import local_day
    from quarantine.records.codec import instant

    standing = json.loads(batch["standing"])
    arrived = instant(batch["arrived_at"])
    day = (local_day(now(), batch["zone"]) - local_day(arrived, batch["zone"])).days
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

    with session().reader() as rows:
        batch = find_batch(rows, name)
        document = _document(batch)
        tasks = rows.rows("tasks_of_batch", batch=batch["id"])
        newer = _newer(batch)
    document["tasks"] = [
        {"code": t["code"], "step": t["step"], "title": t["title"], "day": t["day"], "state": t["state"]} for t in tasks
    ]
    fish = "; ".join(f"{f['count']} {f['species']}{', ' + f['note'] if f['note'] else ''}" for f in document["fish"])
    lines = [
        f"{batch['name']}: {fish}",
        f"  in {batch['tank_name']}, from {batch['source']}, to {batch['destination_name']}; "
        f"arrived {local_text(instant(batch['arrived_at']), batch['zone'])} (day 0)",
        f"  protocol {batch['protocol']}, revision {batch['revision']}, frozen {batch['copy_id'][:12]}",
        f"  state: {batch['state']}; alive {document['alive']}; earliest sign-off {document['earliest']}",
    ]
    if newer:
        lines.append(f"  {newer}")
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
            lines.append(f"    {t['day'] or 'waits':10} {t['code']:5} {t['state']:8} {t['title']}")
    session().emit(document, lines)


def _newer(batch: Any) -> str:
    """A shipped protocol that was changed since this batch froze its copy (F3)."""
    import hashlib

    from quarantine.protocol import shipped

    path = shipped().get(batch["protocol"])
    if path is None or hashlib.sha256(path.read_bytes()).hexdigest() == batch["copy_id"]:
        return ""
    return "the protocol file has changed since; this batch keeps its own copy"
