"""A water system as the plan takes it: its batches with their frozen protocols, its facts and its water. Reads only."""

from __future__ import annotations

import json
from datetime import datetime
from functools import lru_cache
from typing import NamedTuple

from quarantine.actions.rostering import Attendance, lookers
from quarantine.facts import Fact, in_order, local_day
from quarantine.luggage import MOVED_IN
from quarantine.plan import Course, Plan, plan
from quarantine.protocol import Protocol, read
from quarantine.records.codec import instant
from quarantine.records.loading import fact_of, system_water
from quarantine.records.reads import Row, Rows
from quarantine.records.store import Act
from quarantine.water.ledger import Water


class SystemState(NamedTuple):
    """All that a plan of one water system needs."""

    system: str
    zone: str
    courses: tuple[Course, ...]
    facts: tuple[Fact, ...]
    water: Water | None
    batches: tuple[Row, ...]


@lru_cache(maxsize=64)
def protocol_of_copy(fingerprint: str, body: str) -> Protocol:
    """A batch's frozen protocol. Its figures were checked when it was frozen; ceilings come from the formulary."""
    return read(body, f"copy {fingerprint[:8]}", frozen=True)


def frozen(rows: Rows, copy_id: str) -> Protocol:
    """The frozen protocol of a copy's id."""
    return protocol_of_copy(copy_id, rows.rows("copy", id=copy_id)[0]["body"])


def load_system(rows: Rows, system: str, at: datetime, closed: str | None = None) -> SystemState:
    """The open batches of a system with their protocols, the facts since the oldest arrival, the water. ``closed`` is
    the id of a batch that is looked at though it is open no more.

    To a plain read a lapse that no write has recorded yet is one of the facts all the same: it shows what is true now.
    A write records it, and says what that moved.
    """
    found = rows.rows("batches_of_system", system=system)
    batches = [b for b in found if b["state"] == "open" or b["id"] == closed]
    since = min((b["arrived_at"] for b in batches), default="9999")
    facts = [fact_of(row) for row in rows.rows("facts_since", system=system, since=since)]
    unwritten = [] if isinstance(rows, Act) else ran_out(rows, system, at)
    facts = in_order([*facts, *(lapse_of(row, at) for row in unwritten)])
    there = Attendance(rows, since[:10], at)
    courses = tuple(course_of(rows, b, system, b["tank"], facts, there) for b in batches)
    zone = batches[0]["zone"] if batches else "UTC"
    return SystemState(system, zone, courses, tuple(facts), system_water(rows, system, at)[0], tuple(batches))


def course_of(rows: Rows, batch: Row, system: str, tank: str, facts: list[Fact], there: Attendance) -> Course:
    """A batch as the plan takes it, in a water that it is or was in."""
    protocol = frozen(rows, batch["copy_id"])
    arrival = next(f for f in facts if f.kind == "arrival" and f.batch == batch["id"])
    moves = [f for f in facts if f.kind == MOVED_IN and f.batch == batch["id"]]
    stays = [(local_day(f.at, batch["zone"]), f.system) for f in (arrival, *moves)]
    return Course(
        batch["id"],
        tank,
        system,
        batch["zone"],
        protocol,
        arrival,
        species=tuple(fish["species"] for fish in json.loads(batch["fish"])),
        away=there.of(stays, lookers(protocol)),
        name=batch["name"],
    )


def plan_system(state: SystemState, at: datetime) -> Plan:
    """The plan of a loaded system."""
    return plan(list(state.courses), list(state.facts), at, state.water)


def ran_out(rows: Rows, system: str, at: datetime) -> list[Row]:
    """The doses and moves whose time has run out at an instant, of which no lapse is on record."""
    late = [
        row
        for row in rows.rows("open_tasks_of_system", system=system)
        if row["kind"] in ("dose", "move")
        and row["lapses_at"]
        and instant(row["lapses_at"]) <= at
        and row["state"] == "planned"
    ]
    if not late:
        return []
    facts = rows.rows("facts_since", system=system, since=min(row["lapses_at"] for row in late))
    known = {(json.loads(f["data"])["key"], f["happened_at"]) for f in facts if f["kind"] == "lapse"}
    return [row for row in late if (row["key"], row["lapses_at"]) not in known]


def lapse_of(row: Row, at: datetime) -> Fact:
    """The fact that the time of a task ran out, as the next write records it."""
    data = {"key": row["key"], **({"task_kind": "move"} if row["kind"] == "move" else {})}
    of = (row["system"], row["tank"], row["batch"], row["id"])
    return Fact(f"lapse-{row['id']}", "lapse", instant(row["lapses_at"]), at, "", *of, data)
