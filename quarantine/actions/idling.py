"""The chores of a water system that stands without fish, from stored rows (needs F47): what
:func:`quarantine.actions.planning.replan` stores beside the tasks of its batches. Reads only."""

from __future__ import annotations

from datetime import datetime

from quarantine.actions.following import Followed, detail_of_check
from quarantine.emptied import Leaving, is_of_idle, last_to_leave, while_idle
from quarantine.facts import Fact
from quarantine.followups import Berth, Known, outcomes_of
from quarantine.luggage import MOVED_IN
from quarantine.records.loading import fact_of, task_values
from quarantine.records.reads import Row, Rows

ENDED = "fish came into this water"


def idle_of(rows: Rows, system: str, now: datetime, *, fish: bool) -> Followed:
    """The stored chores of an idle water and those that it should have. With ``fish`` in it they are over."""
    open_rows = [task_values(r) for r in rows.rows("open_tasks_of_system", system=system) if is_of_idle(r["step"])]
    if fish:
        return Followed(open_rows, [], {}, {(row["batch"], row["step"]): ENDED for row in open_rows})
    fact = last_to_leave(_facts(rows, "closed", system) + _facts(rows, MOVED_IN, None), system)
    if fact is None or fact.batch is None:
        return Followed(open_rows, [], {}, {})
    berth = _berth(rows, fact, system)
    of_batch = [task_values(r) for r in rows.rows("tasks_of_batch", batch=berth.batch) if is_of_idle(r["step"])]
    # Of an earlier time without fish, or of another batch: those that are open end here too.
    mine = {row["id"]: row for row in (*open_rows, *of_batch) if row["system"] == system}
    outcomes = outcomes_of(_facts(rows, "done", system) + _facts(rows, "skip", system))
    known = Known((), now, outcomes, frozenset(row["key"] for row in mine.values()), {}, berth.batch)
    made = list(while_idle(Leaving(fact, berth), known))
    open_ = {one.task.key for one in made if one.task.outcome is None}
    return Followed(
        [_reopened(row, open_) for row in mine.values()],
        [one.task for one in made],
        {(berth.batch, one.check.step): detail_of_check(one.check) for one in made},
        {},
    )


def _facts(rows: Rows, kind: str, system: str | None) -> list[Fact]:
    return [fact_of(row) for row in rows.rows("facts_of_kind", kind=kind, system=system)]


def _berth(rows: Rows, fact: Fact, system: str) -> Berth:
    """The place that the batch of a fact left."""
    id_ = fact.data["from_tank"] if fact.kind == MOVED_IN else fact.tank
    tank = next(row for row in rows.rows("tanks") if row["id"] == id_)
    return Berth(str(fact.batch), tank["id"], system, tank["zone"], tank["water"], fact.at)


def _reopened(row: Row, open_: set[str]) -> Row:
    """A chore whose tick was taken back is open again."""
    return {**row, "state": "taken back"} if row["state"] in ("done", "skipped") and row["key"] in open_ else row
