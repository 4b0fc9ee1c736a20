"""Starting, listing and showing batches."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any, NamedTuple

import typer

from quarantine.cli.session import now, session

NOT_COME = ("expected", "called off")
"""States of a batch that has no arrival."""

BagTemp = Annotated[str | None, typer.Option(help='The bag water: "22C"; the way into the tank is computed from it.')]
BagPh = Annotated[str | None, typer.Option(help="Its pH, as read when the bag is opened.")]
BagTan = Annotated[str | None, typer.Option(help='Its total ammonia: "5 mg/L".')]
BagSalinity = Annotated[str | None, typer.Option(help='Its salinity: "30 g/L".')]
BagLitres = Annotated[str | None, typer.Option(help='Water in the bag: "3 L".')]
PackedPh = Annotated[str | None, typer.Option(help="The pH when it was packed, where the label says it.")]
Transit = Annotated[str | None, typer.Option(help='How long the bag was closed: "30 h".')]
Box = Annotated[str | None, typer.Option(help="How box and bags came, what the source says of its water.")]
Claim = Annotated[
    str | None, typer.Option("--claim-within", help='How long the source takes claims, from the arrival: "24 h".')
]
Dead = Annotated[int, typer.Option(help="Dead in the bag, counted apart.")]
Really = Annotated[
    bool, typer.Option("--really", help="They are in already, though the water holds medicine; or came so long ago.")
]
Because = Annotated[str | None, typer.Option(help="Why the day is kept, though nobody can do some of the work then.")]
Acknowledge = Annotated[bool, typer.Option("--acknowledge", help="Cautions, label and law were read.")]


def start(
    tank: Annotated[str, typer.Option(help="The quarantine tank.")],
    protocol: Annotated[str, typer.Option(help="A protocol's id or file.")],
    arrived: Annotated[str, typer.Option(help='Local time at the site: "YYYY-MM-DD HH:MM".')],
    fish: Annotated[list[str], typer.Option(help='Living fish: "12 Melanotaenia praecox, 3 cm"; once a species.')],
    source: Annotated[str, typer.Option("--from", help="Where the fish came from.")],
    to_tank: Annotated[str, typer.Option("--to", help="The tank they are to move to.")],
    dead_on_arrival: Dead = 0,
    name: Annotated[str | None, typer.Option(help="The batch's name; the tank's and a number if left out.")] = None,
    bag_temp: BagTemp = None,
    bag_ph: BagPh = None,
    bag_tan: BagTan = None,
    bag_salinity: BagSalinity = None,
    bag_litres: BagLitres = None,
    packed_ph: PackedPh = None,
    transit: Transit = None,
    box: Box = None,
    claim_within: Claim = None,
    acknowledge: Acknowledge = False,
    because: Because = None,
    yes: Annotated[bool, typer.Option("--yes", help="Accept the new dates of fish already there.")] = False,
    really: Really = False,
) -> None:
    from quarantine.actions.batches import start_batch

    bag = _bag(bag_temp, bag_ph, bag_tan, bag_salinity, bag_litres, packed_ph, transit, box, claim_within)
    with cautions_first():
        made = start_batch(
            session().desk(),
            tank=tank,
            protocol=protocol,
            arrived=arrived,
            fish=fish,
            source=source,
            to_tank=to_tank,
            dead_on_arrival=dead_on_arrival,
            name=name,
            bag=bag,
            acknowledge=acknowledge,
            because=because,
            yes=yes,
            really=really,
        )
    _say_started(made, [])


def acknowledge(name: Annotated[str, typer.Argument(help="The batch whose doses you are to give.")]) -> None:
    from quarantine.actions.batches import acknowledge

    made = acknowledge(session().desk(), name)
    session().emit(
        made,
        [
            *(f"Caution: {caution}" for caution in made["cautions"]),
            f"{'It was on record already' if made['already'] else 'Acknowledged'}: you read the cautions of "
            f"{made['protocol']}, revision {made['revision']}, by which {made['batch']} is treated (rule C19), the "
            "product's label and the local law.",
        ],
    )


@contextmanager
def cautions_first() -> Iterator[None]:
    """The cautions of a medicated protocol are shown before it is refused for want of an acknowledgement."""
    from quarantine.actions.batches import NeedsAcknowledgement

    try:
        yield
    except NeedsAcknowledgement as refusal:
        if not session().as_json:
            from quarantine.cli import out

            for caution in refusal.facts["cautions"]:
                out.say(f"Caution: {caution}")
        raise


def _bag(
    temp: str | None,
    ph: str | None,
    tan: str | None,
    salinity: str | None,
    litres: str | None,
    packed_ph: str | None,
    transit: str | None,
    box: str | None,
    claim_within: str | None,
) -> Any:
    """The options about the bag as the arrival takes them. Raises Usage or Refused for what does not read."""
    from quarantine.actions.arriving import Bag

    typed = {"temperature": temp, "ph": ph, "tan": tan, "salinity": salinity}
    if not any((*typed.values(), litres, packed_ph, transit, box, claim_within)):
        return Bag({})
    from quarantine.actions.noting import read_reading
    from quarantine.quantity import read, to

    said = {name: read_reading(f"{name}={text}") for name, text in typed.items() if text is not None}
    return Bag(
        readings={name: (value, step) for name, (_, value, step) in said.items()},
        litres=None if litres is None else to(read(litres, "volume", "--bag-litres"), "L"),
        packed_ph=None if packed_ph is None else read_reading(f"ph={packed_ph}")[1],
        transit_hours=None if transit is None else _hours("--transit", transit),
        # Control characters would act on whatever shows the note later.
        box="".join(c for c in box or "" if c.isprintable()).strip(),
        claim_hours=None if claim_within is None else _hours("--claim-within", claim_within),
    )


def _hours(option: str, text: str) -> Any:
    import re
    from decimal import Decimal

    from quarantine.failures import Usage

    found = re.fullmatch(r"\s*([0-9]{1,3}(?:\.[0-9])?)\s*h\s*", text)
    if found is None or Decimal(found[1]) > 240:
        raise Usage(f'{option} {text!r} does not read: write hours up to 240, such as "30 h".')
    return Decimal(found[1])


def _say_started(made: dict[str, Any], first: list[str]) -> None:
    lines = [
        f"Batch {made['batch']}: {made['alive']} fish in {made['tank']}, day 0 is {made['arrived'][:10]}.",
        *first,
        f"Earliest sign-off if all goes well: {made['earliest']}. Tasks planned: {made['tasks']}.",
    ]
    if made["past_tasks"]:
        lines.append(
            f"{made['past_tasks']} tasks lie in the past: log what was done (look and reading with --at), "
            "or skip them with the reason. Days that nobody looked do not count."
        )
    lines += [*made["moved"], *made["lines"]]
    lines.append("Next: quarantine today")
    session().emit({k: v for k, v in made.items() if k != "lines"}, lines)


def expect(
    name: Annotated[str, typer.Argument(help="A name for the batch; said again, its days change.")],
    first: Annotated[str, typer.Option("--from", help="The first day on which they may come, YYYY-MM-DD.")],
    last: Annotated[str | None, typer.Option("--until", help="The last day; the first if left out.")] = None,
    tank: Annotated[str | None, typer.Option(help="The quarantine tank.")] = None,
    protocol: Annotated[str | None, typer.Option(help="A protocol's id or file.")] = None,
    fish: Annotated[list[str] | None, typer.Option(help='Fish ordered: "12 Melanotaenia praecox, 3 cm".')] = None,
    source: Annotated[str | None, typer.Option(help="Where the fish will come from.")] = None,
    to_tank: Annotated[str | None, typer.Option("--to", help="The tank they are to move to.")] = None,
    because: Because = None,
    yes: Annotated[bool, typer.Option("--yes", help="Days far ahead, or far apart, are meant.")] = False,
) -> None:
    from quarantine.actions.expecting import expect

    made = expect(
        session().desk(),
        name,
        first=first,
        last=last,
        tank=tank,
        protocol=protocol,
        fish=fish,
        source=source,
        to_tank=to_tank,
        because=because,
        yes=yes,
    )
    days = _days_text(made)
    was = f" (was {made['was']})" if made["was"] and made["was"] != days else ""
    lines = [f"Batch {made['batch']} is expected in {made['tank']}: {days}{was}. To have ready:"]
    for task in made["tasks"]:
        who = "" if task["who"] == "anyone" else f" ({task['who']})"
        done = "" if task["state"] == "planned" else f", {task['state']}"
        lines.append(f"  {task['day']} {task['code']:5} {task['title']}{who}{done}")
    lines += [f"Away in the first week: {'; '.join(made['away'])}."] if made["away"] else []
    lines += made["passed"]
    lines.append(f"Late or early? quarantine batch expect {made['batch']} --from DAY")
    lines.append(f"When they come: quarantine batch arrived {made['batch']}")
    session().emit(made, lines)


def _days_text(document: dict[str, Any]) -> str:
    first, last = document["expected_from"], document["expected_until"]
    return str(first) if first == last else f"{first} to {last}"


def arrived(
    name: Annotated[str, typer.Argument(help="The expected batch.")],
    arrived: Annotated[str | None, typer.Option(help='When, local: "YYYY-MM-DD HH:MM"; now if left out.')] = None,
    fish: Annotated[list[str] | None, typer.Option(help="Living fish, where it is not what was ordered.")] = None,
    dead_on_arrival: Dead = 0,
    bag_temp: BagTemp = None,
    bag_ph: BagPh = None,
    bag_tan: BagTan = None,
    bag_salinity: BagSalinity = None,
    bag_litres: BagLitres = None,
    packed_ph: PackedPh = None,
    transit: Transit = None,
    box: Box = None,
    claim_within: Claim = None,
    tank: Annotated[str | None, typer.Option(help="Another tank than the one expected.")] = None,
    protocol: Annotated[str | None, typer.Option(help="Another protocol.")] = None,
    source: Annotated[str | None, typer.Option("--source", help="Another source.")] = None,
    to_tank: Annotated[str | None, typer.Option("--to", help="Another destination.")] = None,
    open_items: Annotated[str | None, typer.Option(help="Why it starts though not all stands ready.")] = None,
    acknowledge: Acknowledge = False,
    because: Because = None,
    yes: Annotated[bool, typer.Option("--yes", help="Accept what was asked.")] = False,
    really: Really = False,
) -> None:
    from quarantine.actions.expecting import arrived as arrive

    bag = _bag(bag_temp, bag_ph, bag_tan, bag_salinity, bag_litres, packed_ph, transit, box, claim_within)
    with cautions_first():
        made = arrive(
            session().desk(),
            name,
            at=arrived,
            tank=tank,
            protocol=protocol,
            fish=fish,
            source=source,
            to_tank=to_tank,
            dead_on_arrival=dead_on_arrival,
            bag=bag,
            open_items=open_items,
            acknowledge=acknowledge,
            because=because,
            yes=yes,
            really=really,
        )
    first = [f"Arrived {made['arrived']}; expected {made['expected']}."]
    if made["open_items"]:
        first.append(f"Passed, not ready: {'; '.join(made['open_items'])}. The sign-off will show it.")
    _say_started(made, first)


def call_off(
    name: Annotated[str, typer.Argument(help="The expected batch.")],
    because: Annotated[str, typer.Option(help="Why they will not come.")],
) -> None:
    from quarantine.actions.expecting import call_off

    made = call_off(session().desk(), name, because)
    session().emit(
        made,
        [f"Batch {made['batch']} is called off: {made['because']}.", f"Tasks withdrawn: {made['withdrawn']}."],
    )


def list_() -> None:
    with session().reader() as rows:
        batches = rows.rows("batches")
    latest = _latest(batches)
    documents = [_document(b) | {"newer": _newer(b, latest)} for b in batches]
    lines = []
    for b in documents:
        standing = f"earliest sign-off {_earliest(b)}" if b["state"] == "open" else b["state"]
        if b["state"] in NOT_COME:
            lines.append(f"{b['batch']}: {b['state']}, {_days_text(b)}, in {b['tank']}, {b['protocol']}")
            continue
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
    expected = standing.get("expected", {}) if batch["state"] in NOT_COME else {}
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
        "arrived_on": None if expected else local_day(arrived, batch["zone"]),
        "expected_from": expected.get("first"),
        "expected_until": expected.get("last"),
        "day": None if expected else day,
        "alive": standing.get("alive"),
        "earliest": standing.get("earliest"),
        "waits_for": standing.get("waits_for") or None,
        "source": batch["source"],
        "destination": batch["destination_name"],
        "fish": json.loads(batch["fish"]),
        "periods": standing.get("periods", []),
        "clear": standing.get("clear"),
        "signs": standing.get("signs", []),
        "all_seen_on": standing.get("all_seen_on"),
    }


def _earliest(document: dict[str, Any]) -> str:
    """The earliest day of sign-off, and whose it is where that is another batch in the same water (rule B5)."""
    from quarantine.evidence import waits_words

    other = document["waits_for"] if document["state"] == "open" else None
    return f"{document['earliest']}, {waits_words(other)}" if other else str(document["earliest"])


def show(name: Annotated[str, typer.Argument(help="The batch.")]) -> None:
    from quarantine.actions.amending import changes_of
    from quarantine.actions.arriving import acclimation_lines, bag_lines
    from quarantine.actions.desk import find_batch, local_text
    from quarantine.actions.lineage import lineage_of
    from quarantine.actions.readying import arrival_of, passed_lines
    from quarantine.actions.today import not_seen
    from quarantine.actions.whereabouts import LAST_OF_WATER, water_events
    from quarantine.facts import local_day
    from quarantine.records.codec import instant
    from quarantine.templates import imprint

    with session().reader() as rows:
        batch = find_batch(rows, name)
        changes = changes_of(rows, batch)
        lineage = lineage_of(rows, batch)
        happened = water_events(rows, batch)
        tasks = rows.rows("tasks_of_batch", batch=batch["id"])
        header = imprint(rows.rows("copy", id=batch["copy_id"])[0]["body"])
        latest = _latest(rows.rows("batches"))
        came_as = arrival_of(rows, batch) if batch["state"] not in NOT_COME else None
        arrival_lines = passed_lines(rows, batch) if came_as else []
    if came_as:
        arrival_lines += bag_lines(came_as)
        arrival_lines += acclimation_lines(came_as["acclimation"]) if "acclimation" in came_as else []
    document = _document(batch) | header.as_json() | {"newer": _newer(batch, latest), "changes": changes}
    document["lineage"] = lineage
    document["water_events"] = [one._asdict() for one in happened]
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
    came = f"arrived {local_text(instant(batch['arrived_at']), batch['zone'])} (day 0)"
    state = f"  state: {batch['state']}; alive {document['alive']}; earliest sign-off {_earliest(document)}"
    if batch["state"] in NOT_COME:
        came = f"expected {_days_text(document)}"
        state = f"  state: {batch['state']}{_called_off(batch)}"
    lines = [
        f"{batch['name']}: {fish}",
        f"  in {batch['tank_name']}, from {batch['source']}, to {batch['destination_name']}; {came}",
        f"  {header.line}; frozen {batch['copy_id'][:12]}",
        state,
        *[f"  {line}" for line in lineage],
        *[f"  {change['at']}: {change['says']} ({change['because']})" for change in changes],
        *[f"  {line}" for line in arrival_lines],
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
    if batch["state"] == "open" and (unseen := not_seen(batch, local_day(now(), batch["zone"]))):
        lines.append(f"  {unseen}")
    for t in tasks:
        if t["state"] != "withdrawn":
            lines.append(f"    {t['day'] or 'waits':10} {t['code']:5} {_state(t):10} {t['title']}")
    if happened:
        lines.append(f"  In its water (the last {LAST_OF_WATER} doses, changes and incidents):")
    lines += [
        f"    {local_text(instant(one.at), batch['zone'])} {f'{one.tank}: ' if one.tank else ''}{one.says}"
        + (f" ({one.batch})" if one.batch not in (None, batch["name"]) else "")
        for one in happened
    ]
    lines.append("  Sources of the protocol:")
    lines += [f"    {source}" for source in header.sources]
    session().emit(document, lines)


def contacts(name: Annotated[str, typer.Argument(help="The batch.")]) -> None:
    """The other batches that it had to do with, and how: for a look back after an outbreak."""
    from quarantine.actions.contacts import as_of_words, contacts

    with session().reader() as rows:
        mine, found = contacts(rows, name)
    listed = [
        {
            "batch": one.batch["name"],
            "state": one.batch["state"],
            "tank": one.batch["tank_name"],
            "ways": [{"way": way.way, "says": way.says} for way in one.ways],
        }
        for one in found
    ]
    document = {"batch": mine["name"], "contacts": listed, "as_of": now().isoformat()}
    lines = [f"{mine['name']}: had to do with {len(listed)} other batch{'' if len(listed) == 1 else 'es'}."]
    for one in listed:
        lines.append(f"{one['batch']} ({one['state']})")
        lines += [f"  {way['says']}" for way in one["ways"]]
    session().emit(document, [*lines, as_of_words(now(), mine["zone"])])


def _called_off(batch: Any) -> str:
    because = json.loads(batch["standing"]).get("called_off")
    return f": {because}" if because else ""


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
