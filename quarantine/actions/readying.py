"""The tasks of batches that are expected, from stored rows: what :func:`quarantine.actions.planning.replan` stores with
every write in that water. And what was passed over when the fish came, for the sign-off."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple

from quarantine.facts import Fact, PlannedTask
from quarantine.readiness import ITEMS, READY, Expectation, Item, midnight, tasks_before
from quarantine.records.codec import text_of_instant
from quarantine.records.loading import fact_of, task_values
from quarantine.records.reads import Row, Rows

BEFORE_ENTRY = timedelta(days=4)
"""How far before an expectation was entered readings are looked for: the heater's and the filter's hours, and a bit."""


class Ready(NamedTuple):
    """One expectation: its stored task rows (instants as values), the tasks as they should be, and their details."""

    rows: list[Row]
    tasks: list[PlannedTask]
    details: dict[tuple[str, str], dict[str, Any]]


def readiness_of(rows: Rows, system: str, now: datetime) -> Iterator[Ready]:
    """Each batch that is expected in a water system, with its tasks planned anew."""
    for batch in rows.rows("batches_of_system", system=system):
        if batch["state"] == "expected":
            yield ready(rows, batch, expectation_of(batch), now)


def ready(rows: Rows, batch: Row, expected: Expectation, now: datetime) -> Ready:
    """The tasks of one expectation planned anew, beside the stored ones."""
    stored = [task_values(row) for row in rows.rows("tasks_of_batch", batch=batch["id"])]
    mine = [row for row in stored if row["step"].startswith(READY)]
    closed = {row["key"]: row["outcome_at"] for row in mine if row["state"] == "done"}
    tasks = tasks_before(expected, _facts(rows, batch), closed, now)
    return Ready(mine, tasks, {(batch["id"], READY + i.id): detail_of_item(i.note, i) for i in ITEMS})


def _facts(rows: Rows, batch: Row) -> list[Fact]:
    entered = date.fromisoformat(json.loads(batch["standing"])["expected"]["entered_on"])
    since = text_of_instant(midnight(entered, batch["zone"]) - BEFORE_ENTRY)
    return [fact_of(row) for row in rows.rows("facts_since", system=batch["system"], since=since)]


def expectation_of(batch: Row) -> Expectation:
    """The expectation of a batch row that is expected."""
    said = json.loads(batch["standing"])["expected"]
    first, last, said_on = (date.fromisoformat(said[name]) for name in ("first", "last", "said_on"))
    return Expectation(
        batch=batch["id"],
        tank=batch["tank"],
        system=batch["system"],
        zone=batch["zone"],
        water=batch["water"],
        first=first,
        last=last,
        said_on=said_on,
        stock=said["stock"],
        spare=said["spare"],
    )


def detail_of_item(note: str, item: Item | None = None) -> dict[str, Any]:
    """What a task's card needs, for a task that no template has: like that of a step without a treatment."""
    return {
        "who": item.who if item else "anyone",
        "elapsed": False,
        "note": note,
        "reads": list(item.reads) if item else [],
        "fraction": None,
        "references": list(item.references) if item else [],
        "treatment": None,
        "before": [],
    }


def arrival_of(rows: Rows, batch: Row) -> Row | None:
    """The data of a batch's arrival, with the keeper who entered it; None while it has not arrived."""
    for row in rows.rows("facts_since", system=batch["system"], since=batch["arrived_at"]):
        if row["kind"] == "arrival" and row["batch"] == batch["id"]:
            return {**json.loads(row["data"]), "keeper": rows.rows("keeper_name", id=row["keeper"])[0]["name"]}
    return None


def passed_lines(rows: Rows, batch: Row) -> list[str]:
    """What was not ready when the fish came, who passed it and why: shown at sign-off."""
    arrival = arrival_of(rows, batch)
    passed = arrival and arrival.get("open_items")
    if not arrival or not passed:
        return []
    items = "; ".join(passed["items"])
    return [f"Not ready at arrival, passed by {arrival['keeper']} ({passed['because']}): {items}."]
