"""What the record says of one batch, to be explained: its clocks, its days, its dates. Reads; nothing is written."""

from __future__ import annotations

import re
from datetime import date, datetime
from typing import Any, NamedTuple

from quarantine.actions.desk import find_batch, local_text
from quarantine.actions.systems import load_system, plan_system
from quarantine.actions.work import find_task
from quarantine.clocks import Clocks, clocks
from quarantine.evidence import Standing
from quarantine.explaining import OfDay, chain, of_day, root_of
from quarantine.facts import Fact, local_day
from quarantine.failures import Refused, Usage
from quarantine.plan import Course
from quarantine.records.codec import instant
from quarantine.records.reads import Row, Rows

CODE = re.compile(r"[A-Z0-9]{3,5}")
"""What a task's code looks like; any other word is meant as a batch's name."""


class Told(NamedTuple):
    """A batch with all that its explanations are made of, as of an instant: now, or when it was closed."""

    batch: Row
    at: datetime
    course: Course
    standing: Standing
    facts: tuple[Fact, ...]
    """its own, those of its water, and the doses of others in it, since it arrived; in order, none later"""
    tasks: list[Row]
    clocks: Clocks

    @property
    def as_of(self) -> str:
        """The instant in words: a closed batch stands as it stood then."""
        moment = local_text(self.at, self.batch["zone"])
        return moment if self.batch["state"] == "open" else f"{moment}, when it was closed ({self.batch['state']})"


def tell(rows: Rows, name: str, now: datetime) -> Told:
    """A batch by its name. Raises Unknown, and Refused for one that has not come."""
    return told_of(rows, find_batch(rows, name), now)


def told_of(rows: Rows, batch: Row, now: datetime) -> Told:
    """A batch by its row. Raises Refused for one that has not come: it has no clocks."""
    if batch["state"] == "expected":
        raise Refused(
            f"Batch {batch['name']} has not come yet, so nothing counts; when it does: quarantine batch arrived "
            f"{batch['name']}."
        )
    if batch["state"] == "called off":
        raise Refused(f"Batch {batch['name']} was called off: it never came, and nothing was counted.")
    at = min(instant(batch["closed_at"]), now) if batch["closed_at"] else now
    state = load_system(rows, batch["system"], at, batch["id"])
    course = next(c for c in state.courses if c.batch == batch["id"])
    standing = plan_system(state, at).standings[batch["id"]]
    own = [f for f in state.facts if f.kind == "extended" and f.batch == batch["id"] and f.at <= at]
    extended = tuple((local_day(f.at, course.zone), int(f.data["days"])) for f in own)
    mine = [f for f in state.facts if f.at <= at and (f.batch == batch["id"] or _concerns(f, course))]
    return Told(
        batch,
        at,
        course,
        standing,
        tuple(mine),
        rows.rows("tasks_of_batch", batch=batch["id"]),
        clocks(standing, course.protocol, extended),
    )


def _concerns(fact: Fact, course: Course) -> bool:
    return fact.at >= course.arrival.at and (fact.batch is None or fact.kind == "dose")


def named_batch(rows: Rows, name: str) -> Row | None:
    """The batch of that name, capitals aside; None where there is none."""
    wanted = name.strip().casefold()
    return next((row for row in rows.rows("batches") if row["name"].casefold() == wanted), None)


def asked_batch(rows: Rows, name: str, on: str | None) -> Row | None:
    """The batch that ``why`` was asked about; None where it was a task. A task's code comes before a batch's name,
    unless a day was asked for. Raises Unknown where a day was asked of no batch."""
    if on is not None:
        return find_batch(rows, name)
    if rows.rows("task_by_code", code=name.strip().upper()):
        return None
    found = named_batch(rows, name)
    if found is None and not CODE.fullmatch(name.strip().upper()):
        return find_batch(rows, name)
    return found


def read_day(text: str) -> date:
    """A day as people type it: YYYY-MM-DD. Raises Usage."""
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise Usage(f"{text!r} is no day; write it as YYYY-MM-DD: quarantine why Q1-1 2026-03-12.") from None


def day_of(told: Told, day: date) -> OfDay:
    """What one local day was to a batch. Raises Refused for a day before it came."""
    if day < told.standing.evidence.arrived_on:
        raise Refused(
            f"Batch {told.batch['name']} came on {told.standing.evidence.arrived_on}; {day} is before that day 0."
        )
    return of_day(day, told.standing, told.clocks.periods, told.course.protocol.events, told.tasks, told.facts)


def keepers_of(rows: Rows) -> dict[str, str]:
    """The names of keepers by their id; one that was erased has none."""
    return {row["id"]: row["name"] or "" for row in rows.rows("keepers")}


def chain_of(rows: Rows, code: str, now: datetime) -> list[str]:
    """Why a task is on its day, as a chain of sentences from the fact that it hangs on. Raises NoTask."""
    task = find_task(rows, code)
    batch = next(row for row in rows.rows("batches") if row["id"] == task["batch"])
    reason = task["reason"] or ""
    if batch["state"] in ("expected", "called off"):
        return chain(reason, None, None, None, task["zone"])
    state = load_system(rows, batch["system"], now, batch["id"])
    course = next(c for c in state.courses if c.batch == batch["id"])
    root = root_of(task["key"])
    fact = next((f for f in state.facts if f.id == root), None)
    begins = (fact, keepers_of(rows).get(fact.keeper, "")) if fact else None
    step = next((s for s in course.protocol.steps if s.id == task["step"].removesuffix(".read")), None)
    return chain(reason, begins, step, course.protocol, task["zone"])


def words_of_day(made: OfDay, keepers: dict[str, str], zone: str) -> dict[str, Any]:
    """The shape that `why BATCH DATE --json` shows."""
    return {
        "on": made.day,
        "day": made.number,
        "planned": [{"code": c, "title": t, "state": s, "reason": r} for c, t, s, r in made.planned],
        "happened": [
            {"at": at, "local": local_text(at, zone), "says": says, "keeper": keepers.get(by, "")}
            for at, says, by in made.happened
        ],
        "acted": list(made.acted),
    }
