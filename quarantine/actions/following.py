"""The follow-ups of a water system from stored rows: what :func:`quarantine.actions.planning.replan` stores with every
write in that water, beside the tasks of its templates."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any, NamedTuple

from quarantine.emptied import OF_EACH, is_of_idle
from quarantine.facts import Fact, PlannedTask, in_order
from quarantine.followups import (
    AGAIN,
    CHECKS,
    FOLLOWUP,
    RECENT_HOURS,
    WATCH,
    WATCH_DAYS,
    Berth,
    Check,
    followups,
    is_of_place,
    shown,
)
from quarantine.luggage import MOVED_IN
from quarantine.plan import Course
from quarantine.protocol import Protocol
from quarantine.quantity import UNITS, Quantity, show, to
from quarantine.records.codec import instant
from quarantine.records.loading import fact_of, task_values
from quarantine.records.reads import Row, Rows
from quarantine.water.advice import S43, Limit

Limits = tuple[Limit, ...]


class Followed(NamedTuple):
    """Stored rows (instants as values), the tasks as they should be, their details, why others are withdrawn."""

    rows: list[Row]
    tasks: list[PlannedTask]
    details: dict[tuple[str, str], dict[str, Any]]
    stops: dict[tuple[str, str], str]


def followed(
    rows: Rows,
    batches: Collection[Row],
    courses: Iterable[Course],
    facts: Iterable[Fact],
    planned: Iterable[PlannedTask],
    now: datetime,
) -> Followed:
    """The follow-ups of the open ``batches`` of one water system planned anew, beside the stored ones.

    ``planned`` are the tasks of the templates of ``courses``: a day that these test already has no second test.
    """
    known = list(facts)
    moved = {f.batch: f.at for f in in_order(known) if f.kind == MOVED_IN}
    since = {b["id"]: moved.get(b["id"], instant(b["arrived_at"])) for b in batches}
    # Who was first in a tank keeps its tasks, also where a batch that arrived before was moved in later.
    here = sorted(batches, key=lambda b: (since[b["id"]], b["id"]))
    if not here:
        return Followed([], [], {}, {})
    stored = [task_values(row) for row in rows.rows("tasks_of_system", system=here[0]["system"])]
    # The chores of a water that a batch left idle stay with that water: they are no task of this one.
    mine = [row for row in stored if row["step"].startswith(FOLLOWUP) and not is_of_idle(row["step"])]
    given = list(courses)
    limits, tested = _limits(here, given, known, mine, now), _tested(given, list(planned))
    berths = [
        Berth(
            batch=batch["id"],
            tank=batch["tank"],
            system=batch["system"],
            zone=batch["zone"],
            water=batch["water"],
            arrived_at=since[batch["id"]],
            limits=limits,
            tested=tested.get(batch["tank"], {}),
        )
        for batch in here
    ]
    stored_keys = frozenset(row["key"] for row in mine)
    made = followups(berths, known, now, stored_keys, _harmful(known, mine, now), OF_EACH, _unchecked(rows, mine))
    wanted = [one for one in made if not one.settled]
    # What an incident asks for at a tank that its batch has left stays with that tank: it is no task of this water.
    asked = {one.task.key for one in wanted}
    mine = [row for row in mine if row["key"] in asked or not is_of_place(row["step"])]
    open_ = {one.task.key for one in wanted if one.task.outcome is None}
    settled = {(one.task.batch, one.task.step): one.settled for one in made if one.settled}
    return Followed(
        [_groundless(rows, _reopened(row, open_), asked) for row in mine],
        [one.task for one in wanted],
        {(one.task.batch, one.task.step): detail_of_check(one.check) for one in wanted},
        _left(rows, [row for row in mine if row["key"] not in asked], moved, here[0]["zone"]) | settled,
    )


def _left(rows: Rows, gone: list[Row], moved: dict[str | None, datetime], zone: str) -> dict[tuple[str, str], str]:
    """Why what was asked for of a water that fish have left since is withdrawn, by batch and step: what it was asked
    for stands, but not in the water that they are in."""
    return {
        (row["batch"], row["step"]): f"{row['reason']}; the fish left that water {shown(moved[row['batch']], zone)}: "
        "nothing of it is asked for them any more"
        for row in gone
        if row["state"] in ("planned", "missed")
        and row["batch"] in moved
        and rows.rows("fact_stands", id=row["key"].split(":")[2])
    }


def _unchecked(rows: Rows, mine: list[Row]) -> frozenset[str]:
    """The keys of open checks of incidents that stand, wherever these were."""
    open_ = [row["key"] for row in mine if row["step"] in CHECKS and row["state"] in ("planned", "missed")]
    stand = {fact_of(row).id for row in rows.rows("incidents")} if open_ else set()
    return frozenset(key for key in open_ if key.split(":")[2] in stand)


def _reopened(row: Row, open_: set[str]) -> Row:
    """A test or a look whose reading was taken back is open again: nothing else makes it done."""
    gone = row["state"] == "done" and row["kind"] in ("test", "look") and row["key"] in open_
    return {**row, "state": "taken back"} if gone else row


def _groundless(rows: Rows, row: Row, asked: set[str]) -> Row:
    """A check of an incident that was taken back is asked for by nothing: also one that a reading had settled is
    withdrawn with it."""
    settled = row["state"] == "done" and row["kind"] in ("test", "look") and row["step"] in CHECKS
    if not settled or row["key"] in asked or rows.rows("fact_stands", id=row["key"].split(":")[2]):
        return row
    return {**row, "state": "planned"}


def detail_of_check(check: Check) -> dict[str, Any]:
    """What a task's card needs, like that of a step without a treatment."""
    return {
        "who": check.who,
        "elapsed": False,
        "note": check.note,
        "reads": list(check.reads),
        "fraction": None,
        "references": list(check.references),
        "treatment": None,
        "before": [],
    }


def _limits(here: list[Row], courses: list[Course], facts: list[Fact], mine: list[Row], now: datetime) -> Limits:
    """The limits that make work: those that hold a dose and those of the protocols. The general ranges of pH and
    temperature advise only: fish of soft or of cold water live outside them."""
    steps = {check.step for again in AGAIN.values() for check in (*again.work, again.test)}
    since = now - timedelta(hours=RECENT_HOURS)
    if not any(f.kind == "reading" and f.at >= since for f in facts) and not any(r["step"] in steps for r in mine):
        return ()  # nothing to judge, and nothing to load
    return (
        *limits_that_hold(here[0]["water"]),
        *limits_of_protocols(course.protocol for course in courses),
        *limits_of_copper((course.protocol for course in courses), facts),
    )


def limits_that_hold(water: str) -> Limits:
    """The limits of fresh, brackish or marine water that hold every dose (rule C9)."""
    from quarantine import dosing

    limits = []
    for one in dosing.OUT_OF_LIMIT:
        high = dosing.FRESH_NITRITE if one.value == "nitrite" and water == "fresh" else one.high
        reference = one.reference
        if one.value == "oxygen":
            reference = f"rule C8 of this tool, {reference}; {S43}: not under 2 to 5 mg/L"
        limits.append(Limit(str(one.value), _decimal(one.low), _decimal(high), reference))
    return tuple(limits)


def limits_of_protocols(protocols: Iterable[Protocol]) -> Limits:
    """What the criteria and the before-checks of these protocols ask of readings."""
    limits = []
    for protocol in protocols:
        conditions = [*protocol.criteria, *(c for step in protocol.steps for c in step.before)]
        for c in conditions:
            if c.kind in ("reading", "steady"):
                cite = protocol.references[c.reference].cite if c.reference in protocol.references else c.reference
                says = f"protocol {protocol.id}{f': {cite}' if cite else ''}"
                limits.append(Limit(str(c.value), _decimal(c.low), _decimal(c.high), says))
    return tuple(limits)


def limits_of_copper(protocols: Iterable[Protocol], facts: Iterable[Fact]) -> Limits:
    """The ceilings of the rows by which copper is given, or was, to a water that was read for free copper (rule C7)."""
    known = list(facts)
    if not any(f.kind == "reading" and f.data["parameter"] == "copper" for f in known):
        return ()
    planned = [step.treatment.regimen for protocol in protocols for step in protocol.steps if step.treatment]
    given = [f.data["regimen"] for f in known if f.kind == "dose" and f.data["substance"] == "copper"]
    found = (_ceiling_of_copper(name) for name in dict.fromkeys((*planned, *given)))
    return tuple(limit for limit in found if limit is not None)


def _ceiling_of_copper(name: str) -> Limit | None:
    """The ceiling of a row that puts copper into the water, as copper and with its source; None for another row."""
    from quarantine import dosing
    from quarantine.dosing.known import ceiling_of
    from quarantine.dosing.words import cited
    from quarantine.formulary import regimen

    substance, row = regimen(name)
    ceiling = ceiling_of(row, None) if substance.id == "copper" and not row.own_vessel else None
    high = dosing.ceiling_in_ledger(substance, row)
    if ceiling is None or high is None:
        return None
    return Limit("copper", None, high, f"ceiling of {row.id}: {cited(substance, ceiling.figure.reference)}")


def _decimal(text: str | None) -> Decimal | None:
    return None if text is None else Decimal(text)


def _tested(courses: list[Course], planned: list[PlannedTask]) -> dict[str, dict[date, frozenset[str]]]:
    """What the templates' own tests read, by tank and day."""
    reads = {(c.batch, step.id): frozenset(step.reads) for c in courses for step in c.protocol.steps if step.reads}
    found: dict[str, dict[date, frozenset[str]]] = {}
    for task in planned:
        if task.kind == "test" and task.day is not None:
            days = found.setdefault(task.tank, {})
            days[task.day] = days.get(task.day, frozenset()) | reads.get((task.batch, task.step), frozenset())
    return found


def _harmful(facts: list[Fact], mine: list[Row], now: datetime) -> dict[str, str]:
    """Id of each dose of the last days that harms the filter -> why, as the formulary has it."""
    watched = {row["key"].split(":")[2] for row in mine if row["step"] == WATCH.step}
    since = now - timedelta(days=WATCH_DAYS + 2)
    doses = [f for f in facts if f.kind == "dose" and (f.at >= since or f.id in watched)]
    return {f.id: says for f in doses if (says := harms_filter(f.data))}


def harms_filter(dose: dict[str, Any]) -> str:
    """Why a dose harms nitrification, in words; "" where the formulary names no amount or it was less.

    Only what goes into the tank's own water counts. What is not comparable is taken for harmful.
    """
    if dose["route"] not in ("bath", "prolonged"):
        return ""
    from quarantine.formulary import load

    limit = load(dose["substance"]).nitrification
    if limit is None:
        return ""
    target = Quantity(Decimal(dose["target"]), dose["target_unit"])
    if UNITS[target.unit].kind == UNITS[limit.unit].kind and to(target, limit.unit) * _given(dose) < limit.value:
        return ""
    return f"{show(limit.value)} {limit.unit} of {dose['substance']} or more harms nitrification ({limit.reference})"


def _given(dose: dict[str, Any]) -> Decimal:
    """What was really given, as a share of what the target takes."""
    if not dose.get("prepared"):
        return Decimal(1)
    given = Quantity(Decimal(dose["given"]), dose["given_unit"])
    prepared = Quantity(Decimal(dose["prepared"]), dose["prepared_unit"])
    if not prepared.value or UNITS[given.unit].kind != UNITS[prepared.unit].kind:
        return Decimal(1)
    return to(given, prepared.unit) / prepared.value
