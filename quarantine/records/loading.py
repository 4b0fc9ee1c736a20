"""From rows to the values the pure rooms take: facts, volumes, a water system with its courses.

`today` loads this too: nothing here imports the planner or the ORM.
"""

from __future__ import annotations

import json
from datetime import date, datetime
from decimal import Decimal
from itertools import pairwise
from typing import Any, NamedTuple

from quarantine.facts import Fact
from quarantine.records.codec import instant
from quarantine.records.reads import Row, Rows
from quarantine.water.ledger import Earlier, Water


class VolumeRecord(NamedTuple):
    """The water of a tank from an instant on."""

    tank: str
    litres: Decimal
    plus_minus: Decimal
    method: str
    valid_from: datetime
    working: tuple[str, ...]


def fact_of(row: Row) -> Fact:
    """A fact from its row. A correction stands in the place of the first fact of its line: what was planned from that
    one keeps its key, and so its code and its calendar entry."""
    data = json.loads(row["data"])
    first = data.get("first", {"id": row["id"], "entered_at": row["entered_at"]})
    return Fact(
        id=first["id"],
        kind=row["kind"],
        at=instant(row["happened_at"]),
        entered_at=instant(first["entered_at"]),
        keeper=row["keeper"],
        system=row["system"],
        tank=row["tank"],
        batch=row["batch"],
        task=row["task"],
        data=data,
    )


def volume_of(row: Row) -> VolumeRecord:
    """A volume from its row."""
    return VolumeRecord(
        row["tank"],
        Decimal(row["litres"]),
        Decimal(row["plus_minus"]),
        row["method"],
        instant(row["valid_from"]),
        tuple(json.loads(row["working"])),
    )


def valid_at(volumes: list[VolumeRecord], at: datetime) -> VolumeRecord | None:
    """The volume valid at an instant (F14): the last one measured by then, else the first there is."""
    before = [v for v in volumes if v.valid_from <= at]
    return before[-1] if before else (volumes[0] if volumes else None)


def system_water(rows: Rows, system: str, at: datetime) -> tuple[Water | None, str]:
    """The water of a system at an instant, the sum over its tanks, and how it was found.

    The plus-minus of several tanks are added, not combined: their errors may all go one way.
    """
    by_tank: dict[str, list[VolumeRecord]] = {}
    for row in rows.rows("volumes_of_system", system=system):
        by_tank.setdefault(row["tank"], []).append(volume_of(row))
    known = [v for volumes in by_tank.values() if (v := valid_at(volumes, at))]
    if not known:
        return None, ""
    litres, plus_minus = sum(v.litres for v in known), sum(v.plus_minus for v in known)
    says = ", ".join(sorted({f"{v.method}, {v.valid_from.date()}" for v in known}))
    return Water(float(litres), float(plus_minus), _earlier(by_tank, at)), says


def _earlier(by_tank: dict[str, list[VolumeRecord]], at: datetime) -> tuple[Earlier, ...]:
    """What was on record of a system's water before, each until the next volume of one of its tanks (F14)."""
    marks = sorted({v.valid_from for volumes in by_tank.values() for v in volumes if v.valid_from <= at})
    found = []
    for mark, until in pairwise(marks):
        known = [v for volumes in by_tank.values() if (v := valid_at(volumes, mark))]
        found.append(Earlier(float(sum(v.litres for v in known)), float(sum(v.plus_minus for v in known)), until))
    return tuple(found)


TASK_INSTANTS = ("due_from", "due_until", "lapses_at", "made_at", "outcome_at")


def task_values(row: Row) -> dict[str, Any]:
    """A task row with its days and instants as Python values."""
    values = dict(row)
    for name in TASK_INSTANTS:
        values[name] = instant(row[name]) if row[name] else None
    values["day"] = date.fromisoformat(row["day"]) if row["day"] else None
    return values
