"""The baths and dips of a water system from stored rows, and the tasks of their ends: what
:func:`quarantine.actions.planning.followups_of` adds to the tasks of templates. Reads only."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any, NamedTuple

from quarantine.actions.following import Followed
from quarantine.actions.readying import detail_of_item
from quarantine.bathing import BATH, END, PUT_BACK, Bath, Dip, Owner, baths_in, dips_in, tasks_of
from quarantine.facts import Fact, PlannedTask
from quarantine.records.codec import instant
from quarantine.records.loading import fact_of, system_water, task_values
from quarantine.records.reads import Row, Rows
from quarantine.water.ledger import Water

NOTES = {
    END: "Bath: quarantine bath end CODE --out LITRES, or --fish-out when the fish are in clean water. Dip: quarantine "
    "bath end CODE when the last fish is out. Matched water, conditioned except beside an oxidiser (permanganate, "
    "chloramine-T, peroxide): there a test shows it free of chlorine. Strong aeration; watch the fish.",
    PUT_BACK: "Not before contact has ended: what takes medicine out would have ended it (rule C10).",
}


class Baths(NamedTuple):
    """All baths and dips of one water system, and the water that is in it."""

    baths: list[Bath]
    dips: list[Dip]
    facts: list[Fact]
    water: Water | None
    zone: str
    batches: list[Row]


def baths_of(rows: Rows, system: str, now: datetime, facts: Iterable[Fact] | None = None) -> Baths:
    """The baths and dips of a water system as the record has them at ``now``, running or over.

    ``facts`` are those of the system since its oldest open batch arrived, where they are loaded already. Of a batch
    that died out its open ends count too (rule B7).
    """
    open_ends = {row["batch"] for row in rows.rows("open_tasks_of_system", system=system) if is_of_bath(row)}
    found = [
        batch
        for batch in rows.rows("batches_of_system", system=system)
        if batch["state"] == "open" or (batch["state"] == "died out" and batch["id"] in open_ends)
    ]
    if facts is None or any(batch["state"] != "open" for batch in found):
        since = min((batch["arrived_at"] for batch in found), default="9999")
        facts = [fact_of(row) for row in rows.rows("facts_since", system=system, since=since)]
    known = list(facts)
    water = system_water(rows, system, now)[0]
    zone = found[0]["zone"] if found else "UTC"
    baths = baths_in(known, water, now, lambda fact: _owner(found, fact))
    ids = {batch["id"] for batch in found}
    return Baths(baths, [dip for dip in dips_in(known, now) if dip.batch in ids], known, water, zone, found)


def _owner(batches: list[Row], fact: Fact) -> Owner | None:
    """The batch that a dose was given to; of one without a task, or of a batch that is elsewhere now, the first that
    was in that water."""
    # Where its batch was moved away, those that are still in that water see to its end.
    own = [b for b in batches if b["id"] == fact.batch]
    there = own or [b for b in batches if instant(b["arrived_at"]) <= fact.at]
    near = [b for b in there if b["tank"] == fact.tank] or there
    return Owner(near[0]["id"], near[0]["tank"]) if near else None


def is_of_bath(row: Row) -> bool:
    """Whether a task is the end of a bath or dip, or what has to be put back after one."""
    return bool(row["step"].startswith(BATH))


def ends_of(rows: Rows, system: str, facts: Iterable[Fact], now: datetime) -> Followed:
    """The stored ends of a water system's baths and the tasks as they should be.

    Most waters never see a bath: they cost no more than the look at their open tasks.
    """
    known = list(facts)
    stored_open = any(is_of_bath(row) for row in rows.rows("open_tasks_of_system", system=system))
    if not stored_open and not any(_begins(fact) for fact in known):
        return Followed([], [], {}, {})
    there = baths_of(rows, system, now, known)
    stored = [task_values(row) for b in there.batches for row in rows.rows("tasks_of_batch", batch=b["id"])]
    ids = {batch["id"] for batch in there.batches}
    made = tasks_of(there.baths, there.dips, there.facts, there.water, there.zone, now)
    tasks = [task for task in (_inherited(task, there) for task in made) if task.batch in ids]
    known_keys = {row["key"] for row in stored}
    handed = [task.key for task in tasks if task.step == PUT_BACK and task.key not in known_keys]
    stored += [task_values(row) for key in handed for row in rows.rows("task_by_key", key=key)]
    open_ = {task.key for task in tasks if task.outcome is None}
    details = {(batch, step): _detail(step) for batch in ids for step in (END, PUT_BACK)}
    return Followed([_reopened(row, open_) for row in stored if is_of_bath(row)], tasks, details, {})


def _inherited(task: PlannedTask, there: Baths) -> PlannedTask:
    """What has to be put back in a water that the batch it was off for has left is the work of the first one that is
    still there; where none is, nothing has to run. Its key, and so its code, stays."""
    if task.step != PUT_BACK or any(b["id"] == task.batch for b in there.batches):
        return task
    stay = [b for b in there.batches if b["state"] == "open"]
    near = [b for b in stay if b["tank"] == task.tank] or stay
    return task._replace(batch=near[0]["id"]) if near else task


def _begins(fact: Fact) -> bool:
    return fact.kind == "dip_start" or (fact.kind == "dose" and bool({"contact_most", "put_back"} & fact.data.keys()))


def _reopened(row: Row, open_: set[str]) -> Row:
    """An end whose water change was taken back, or was less than it was said to be, is open again."""
    return {**row, "state": "taken back"} if row["state"] == "done" and row["key"] in open_ else row


def _detail(step: str) -> dict[str, Any]:
    """What a card needs: the end of a bath rings at its minute, the rest as other chores do."""
    detail = {**detail_of_item(NOTES[step]), "who": "adult"}
    return {**detail, "elapsed": True, "ring_minutes": 1} if step == END else detail
