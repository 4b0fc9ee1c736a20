"""Starting a batch: the protocol frozen, the arrival recorded, the plan made. And the same without writing."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any, NamedTuple

from quarantine.actions.admitting import Fish, ask_about_medicine, read_fish, second_source, still_in
from quarantine.actions.arriving import Bag, bag_lines, chore_tasks, welcome
from quarantine.actions.clashing import PASS_START, passed_clashes, passed_words
from quarantine.actions.consequences import changed_days, earliest_days
from quarantine.actions.desk import Desk, find_batch, find_tank, free_name, local_text, when
from quarantine.actions.entering import add_fact
from quarantine.actions.places import COMPUTED
from quarantine.actions.planning import replan, standing_json, store_tasks
from quarantine.actions.rostering import Attendance, lookers
from quarantine.actions.sharing import refuse_dirty, refuse_other_course
from quarantine.actions.systems import frozen
from quarantine.facts import Fact, local_day, utc
from quarantine.failures import Refused, Usage
from quarantine.moments import read_moment
from quarantine.plan import Course, Plan
from quarantine.protocol import Protocol, load
from quarantine.quantity import show
from quarantine.records.loading import system_water
from quarantine.records.reads import Row, Rows, open_reader
from quarantine.records.store import Act, new_id


class NeedsAcknowledgement(Refused):
    """A medicated protocol whose cautions this keeper has not acknowledged."""

    kind = "acknowledgement"


def start_batch(
    desk: Desk,
    *,
    tank: str,
    protocol: str,
    arrived: str,
    fish: list[str],
    source: str,
    to_tank: str,
    dead_on_arrival: int = 0,
    name: str | None = None,
    bag: Bag = Bag({}),  # noqa: B008 (a constant)
    acknowledge: bool = False,
    because: str | None = None,
    yes: bool = False,
    really: bool = False,
) -> dict[str, Any]:
    """Fish arrived: freeze the protocol, record the arrival, make the plan. One transaction.

    ``because`` is the reason for a day of arrival on which not all that follows can be done (absences, closures).
    """
    if not source.strip():
        raise Usage("Where did the fish come from? --from is empty.")
    lines = [read_fish(text) for text in fish]
    if not lines:
        raise Usage('Which fish? Say --fish "COUNT SPECIES" at least once.')
    if dead_on_arrival < 0:
        raise Usage("--dead-on-arrival is a count, 0 or more.")
    template = load(protocol)
    with desk.act() as act:
        quarantine = find_tank(act, tank)
        destination = find_tank(act, to_tank)
        at = when(arrived, quarantine["zone"], act.now, what="--arrived")
        ask_about_arrival(act, at, quarantine["zone"], really=really)
        check_tanks(quarantine, destination, template)
        freeze(act, template)
        acknowledged(act, template, acknowledge)
        told = ask_about_medicine(act, quarantine, at, really=really)
        before = check_water(act, quarantine, template, yes)
        if not yes:
            _ask_expected(act, quarantine)
        passed = passed_clashes(act, quarantine, template, at, act.now, because, PASS_START)
        batch = _add_batch(act, quarantine, destination, template, at, lines, source, name)
        act.describe("batch started", f"batch {batch['name']}: {count_of(lines)} fish in {quarantine['name']}", at)
        made = record_arrival(act, batch, quarantine, template, bag, dead_on_arrival, passed, yes=yes)
        moved, unmoved = ask_beside(act, quarantine, before, yes=yes)
        told += [*unmoved, *second_source(act, quarantine, batch["name"], source, at)]
        told += [*made["lines"], *passed_words(passed), *stock_lines(act, desk, template, batch)]
        return {**made, "moved": moved, "lines": told}


LONG_AGO = timedelta(days=90)
"""An arrival further back is asked about: no quarantine of a shipped template is so long. Our choice, no source."""


def ask_about_arrival(act: Act, at: datetime, zone: str, *, really: bool) -> None:
    """A year that was typed wrong would make a thousand tasks that lie in the past (rule C7). Raises Refused."""
    if really or act.now - at <= LONG_AGO:
        return
    days = (local_day(act.now, zone) - local_day(at, zone)).days
    raise Refused(
        f"--arrived {local_text(at, zone)} is {days} days ago: a slip of the year or the month? If they came then and "
        "are in quarantine still, say --really; nothing was recorded."
    )


def stock_lines(act: Act, desk: Desk, template: Protocol, batch: Row) -> list[str]:
    """What the doses of a batch that starts mean for the stock (F76); nothing where its protocol has none."""
    if not template.medicated:
        return []
    from quarantine.actions.shopping import start_lines

    return start_lines(act, desk.home, utc(act.now), batch["name"])


def count_of(lines: list[Fish]) -> int:
    """How many fish there are in all."""
    return sum(line.number for line in lines)


def fish_json(lines: list[Fish]) -> list[dict[str, Any]]:
    """The fish of a batch as its row holds them."""
    return [{"count": line.number, "species": line.species, "note": line.note} for line in lines]


def record_arrival(
    act: Act,
    batch: Row,
    quarantine: Row,
    template: Protocol,
    bag: Bag,
    dead_on_arrival: int,
    more: dict[str, Any],
    *,
    yes: bool,
) -> dict[str, Any]:
    """The arrival of a batch that is open now: its fact (with ``more`` in it), its plan and the chores of day 0."""
    at, zone = batch["arrived_at"], quarantine["zone"]
    if not yes:
        ask_litres(act, quarantine, template)
    came = welcome(act, quarantine, template, at, act.now, bag, yes)
    count = sum(line["count"] for line in batch["fish"])
    data = {"count": count, "dead_on_arrival": dead_on_arrival, "source": batch["source"], **came.data, **more}
    system = quarantine["system"]
    arrival = add_fact(act, "arrival", system=system, tank=quarantine["id"], batch=batch["id"], at=at, data=data)
    made = replan(act, system)
    if came.chores:
        fact = Fact(arrival, "arrival", at, act.now, "", system, quarantine["id"], batch["id"], None, data)
        tasks, details = chore_tasks(batch["id"], quarantine, fact, came.chores)
        store_tasks(act, [], tasks, details)
    standing = made.standings[batch["id"]]
    mine = [t for t in made.tasks if t.batch == batch["id"]]
    return {
        "batch": batch["name"],
        "tank": quarantine["name"],
        "protocol": template.id,
        "arrived": local_text(at, zone),
        "alive": count,
        "dead_on_arrival": dead_on_arrival,
        "earliest": standing.earliest,
        "tasks": len(mine) + len(came.chores),
        "past_tasks": sum(1 for t in mine if t.state == "missed"),
        "acclimation": came.data.get("acclimation"),
        "lines": [*bag_lines(came.data), *came.lines],
    }


def ask_litres(act: Act, quarantine: Row, template: Protocol) -> None:
    """A bath is sized by the litres: those of typed lengths that nothing was compared with are asked about before the
    plan is made, for there a slip of the decimal point is seen by nobody else (F22)."""
    if not any(step.treatment and step.treatment.water in ("system", "tank") for step in template.steps):
        return
    for tank in act.rows("tanks"):
        volumes = act.rows("volumes", tank=tank["id"]) if tank["system"] == quarantine["system"] else []
        if volumes and tank["label_litres"] is None and all(row["method"] == COMPUTED for row in volumes):
            litres = f"{show(Decimal(volumes[-1]['litres']))} L in {tank['name']}"
            raise Refused(
                f"The doses of {template.id} are sized by {litres}, which come from typed lengths and were "
                "compared with nothing. Count buckets (quarantine tank gauge "
                f"{tank['name']} --buckets ...); or, if about that much water is in it, say --yes."
            )


def _ask_expected(act: Act, quarantine: Row) -> None:
    """Fish that come into a tank where others are expected may be those."""
    names = [b["name"] for b in act.rows("expected_batches") if b["tank"] == quarantine["id"]]
    if names:
        raise Refused(
            f"Batch {', '.join(names)} is expected in {quarantine['name']}: if these are its fish, say quarantine "
            f"batch arrived {names[0]}; if they are others, say --yes."
        )


def check_tanks(quarantine: Row, destination: Row, template: Protocol) -> None:
    """Raises Refused where fish cannot be quarantined there, or moved on to that destination."""
    if quarantine["id"] == destination["id"]:
        raise Refused("The fish would be transferred to the tank they are in; --to names another tank.")
    if quarantine["system"] == destination["system"]:
        raise Refused(
            f"{quarantine['name']} and {destination['name']} share their water: that is no quarantine. "
            "Choose a tank with water of its own."
        )
    _check_tank(quarantine, template)


def _check_tank(quarantine: Row, template: Protocol) -> None:
    if quarantine["role"] == "display":
        raise Refused(
            f"{quarantine['name']} is a display tank: new fish go into a quarantine tank first. "
            "Name one with --tank, or add one with --role quarantine."
        )
    if template.water not in ("any", quarantine["water"]):
        raise Refused(
            f"Protocol {template.id} is for {template.water} water; {quarantine['name']} is {quarantine['water']}."
        )


def freeze(act: Act, template: Protocol) -> None:
    """Keep a protocol's text, once."""
    if not act.rows("copy", id=template.fingerprint):
        act.add(
            "copy",
            {
                "id": template.fingerprint,
                "protocol": template.id,
                "revision": template.revision,
                "title": template.title,
                "body": template.text,
            },
        )


def acknowledged(act: Act, template: Protocol, acknowledge: bool) -> None:
    """Rule C19: a medicated protocol starts only with this keeper's acknowledgement of this revision."""
    if not template.medicated or act.rows("acknowledgements", keeper=act.keeper, copy_id=template.fingerprint):
        return
    if not acknowledge:
        raise NeedsAcknowledgement(
            f"Protocol {template.id}, revision {template.revision}, gives medicine. Read its cautions "
            f"(quarantine protocol show {template.id}), the product's label and the local law; then start it "
            "with --acknowledge, which records that you did.",
            cautions=list(template.cautions),
        )
    _write_acknowledgement(act, template)


def _write_acknowledgement(act: Act, template: Protocol) -> None:
    act.add(
        "acknowledgement",
        {"id": new_id(), "keeper": act.keeper, "copy_id": template.fingerprint, "at": act.now},
    )


def acknowledge(desk: Desk, name: str) -> dict[str, Any]:
    """A keeper who did not start a batch says that they read the cautions of its protocol, as it is frozen (rule C19).

    Said again it is written once. Raises Refused where the protocol gives no medicine.
    """
    with desk.act() as act:
        batch = find_batch(act, name)
        template = frozen(act, batch["copy_id"])
        of = f"{template.id}, revision {template.revision},"
        if not template.medicated:
            raise Refused(f"Protocol {of} of {batch['name']} gives no medicine: there is nothing to acknowledge.")
        before = bool(act.rows("acknowledgements", keeper=act.keeper, copy_id=template.fingerprint))
        if not before:
            _write_acknowledgement(act, template)
            act.describe("acknowledged", f"batch {batch['name']}: the cautions of {of} label and law were read")
        return {
            "already": before,
            "batch": batch["name"],
            "protocol": template.id,
            "revision": template.revision,
            "cautions": list(template.cautions),
        }


def check_water(act: Act, quarantine: Row, template: Protocol, yes: bool) -> dict[str, date]:
    """Rules B1, B2: whether fish may come into this water. The earliest sign-off days of those that are in it, by name,
    as they are before: for :func:`ask_beside`. Raises Refused."""
    if not yes:
        refuse_dirty(act, quarantine)
    if not any(b["system"] == quarantine["system"] for b in act.rows("open_batches")):
        return {}
    refuse_other_course(act, quarantine, template)
    return earliest_days(act, {quarantine["system"]})


def ask_beside(act: Act, quarantine: Row, before: dict[str, date], *, yes: bool) -> tuple[list[str], list[str]]:
    """What fish that came do to those that were in the water (rules B1 and B5): the dates that moved, old and new, and
    what is said where none did. The consequence comes before the act: raises Refused until ``yes``; a dry run is not
    asked."""
    if not before:
        return [], []
    moved = changed_days(before, earliest_days(act, {quarantine["system"]}))
    here = {b["name"] for b in act.rows("open_batches") if b["system"] == quarantine["system"]}
    names = ", ".join(sorted(here & before.keys()))
    if not yes and not act.dry_run:
        what = f"with new ones dates move: {'; '.join(moved)}" if moved else f"no date of {names} moves"
        raise Refused(
            f"Fish are already in this water ({names}); {what}. Say --yes to accept that, or choose another tank.",
            moved=moved,
        )
    return moved, [] if moved else [f"No sign-off date of {names} moves."]


def medicine_in(act: Act, tank: Row) -> str | None:
    """What medicine the water of a tank still holds, in words; None when it holds none (rule B2)."""
    held = still_in(act, tank["system"], act.now)
    return " and ".join(f"{one.up_to} of {one.substance.id}" for one in held) or None


def _add_batch(
    act: Act,
    quarantine: Row,
    destination: Row,
    template: Protocol,
    at: datetime,
    lines: list[Fish],
    source: str,
    name: str | None,
) -> dict[str, Any]:
    batches = act.rows("batches")
    wanted = name or _next_name(batches, quarantine["name"])
    batch = {
        "id": new_id(),
        "name": free_name(batches, "batch", wanted),
        "tank": quarantine["id"],
        "system": quarantine["system"],
        "copy_id": template.fingerprint,
        "arrived_at": at,
        "source": source,
        "destination": destination["id"],
        "fish": fish_json(lines),
        "state": "open",
        "closed_at": None,
        "standing": {},
    }
    act.add("batch", batch)
    return batch


def _next_name(batches: list[Row], tank: str) -> str:
    """The tank's name and the next free number: Q1-1, Q1-2."""
    taken = {b["name"].casefold() for b in batches}
    n = 1
    while f"{tank}-{n}".casefold() in taken:
        n += 1
    return f"{tank}-{n}"


class Preview(NamedTuple):
    """What a batch would become: the plan, with nothing written."""

    protocol: Protocol
    tank: Row
    arrived_at: datetime
    course: Course
    plan: Plan
    standing: dict[str, Any]


def preview(desk: Desk, *, protocol: str, tank: str, arrived: str) -> Preview:
    """All dates, doses and totals for an arrival, past or future; nothing is written (F12)."""
    template = load(protocol)
    with open_reader(desk.home.database) as rows:
        row = find_tank(rows, tank)
        at = read_moment(arrived, row["zone"], desk.now, "--arrived")
        _check_tank(row, template)
        return made_preview(rows, template, row, at, max(utc(at), desk.now))


def made_preview(rows: Rows, template: Protocol, tank: Row, at: datetime, as_of: datetime) -> Preview:
    """The plan of a fresh batch as it is at ``as_of``: now, for fish that came in the past, else its arrival."""
    arrival = Fact("arrival", "arrival", at, at, "", tank["system"], tank["id"], "batch", None, {"count": 1})
    day = local_day(at, tank["zone"])
    away = Attendance(rows, day.isoformat(), as_of).of([(day, tank["system"])], lookers(template))
    course = Course("batch", tank["id"], tank["system"], tank["zone"], template, arrival, away=away)
    water, _ = system_water(rows, tank["system"], utc(at) + timedelta(days=3650))
    from quarantine.plan import plan

    made = plan([course], [arrival], as_of, water)
    return Preview(template, tank, at, course, made, standing_json(course, made.standings["batch"], made))
