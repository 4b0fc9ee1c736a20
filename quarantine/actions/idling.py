"""The chores of a tank and of a water that stand without fish (needs F47), and what an incident asks for at a tank that
fish have left since, from stored rows: what :func:`quarantine.actions.planning.replan` stores beside the tasks of its
batches. Reads only."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from quarantine.actions.desk import local_text
from quarantine.actions.following import Followed, detail_of_check
from quarantine.emptied import SOONEST, Leaving, at_the_place, chore_before, is_of_idle, last_to_leave, while_idle
from quarantine.facts import Fact
from quarantine.failures import Refused
from quarantine.followups import Berth, Known, is_of_place, outcomes_of
from quarantine.luggage import MOVED_IN
from quarantine.records.codec import instant
from quarantine.records.loading import fact_of, task_values
from quarantine.records.reads import Row, Rows

ENDED = "fish came into this water"


def refuse_out_of_order(rows: Rows, task: Row, moment: datetime, *, really: bool) -> None:
    """An emptied tank is drained, disinfected and dried in that order, and each takes its time: raises Refused for a
    chore before the one before it has an outcome, and, until ``really``, for one that was done too soon after it."""
    before, root = chore_before(task["step"]), _root(task)
    if before is None:
        return
    found = [r for r in rows.rows("tasks_of_batch", batch=task["batch"]) if r["step"] == before and _root(r) == root]
    if not found or found[0]["state"] in ("skipped", "withdrawn"):
        return
    (first,) = found
    name = f"{task['code']} ({task['title']})"
    if first["state"] != "done":
        raise Refused(
            f"{name} comes after {first['code']} ({first['title']}), which is not done: tick that first, with --at "
            f"where it was before, or skip it with the reason (quarantine skip {first['code']} --because REASON)."
        )
    done_at, gap = instant(first["outcome_at"]), SOONEST[task["step"]]
    if really or moment - done_at >= gap.least:
        return
    raise Refused(
        f"{name} would be done {_span(moment - done_at)} after {first['code']} ({first['title']}, "
        f"{local_text(done_at, task['zone'])}): {gap.says}. If it is really done say --really, or --at its time."
    )


def _root(row: Row) -> str:
    return str(row["key"].split(":")[2])


def _span(time: timedelta) -> str:
    minutes = int(time.total_seconds() // 60)
    if minutes < 0:
        return f"{-minutes} min before, not"
    return f"{minutes} min" if minutes < 120 else f"{minutes // 60} h"


def idle_of(rows: Rows, system: str, now: datetime, *, fish: bool) -> Followed:
    """The stored chores of a water that the fish they were asked for have left, and those that it should have. Those of
    an idle water are over with ``fish`` in it."""
    open_rows = rows.rows("open_tasks_of_system", system=system)
    idle, left = _idle(rows, system, now, open_rows, fish=fish), _left(rows, system, now, open_rows)
    return Followed(
        [*idle.rows, *left.rows], [*idle.tasks, *left.tasks], {**idle.details, **left.details}, {**idle.stops}
    )


def _left(rows: Rows, system: str, now: datetime, open_rows: list[Row]) -> Followed:
    """The checks of incidents at tanks of this water that are open, and whose batch is there no more."""
    found = [task_values(row) for row in open_rows if is_of_place(row["step"])]
    if not found:
        return Followed([], [], {}, {})
    incidents = {fact.id: fact for fact in _facts(rows, "incident", system)}
    since = dict(_since(rows, system))
    tanks = {tank["id"]: tank for tank in rows.rows("tanks")}
    outcomes = outcomes_of(_facts(rows, "done", system) + _facts(rows, "skip", system))
    ends = _facts(rows, "incident_over", system)
    gone, made = [], []
    for row in found:
        fact = incidents.get(row["key"].split(":")[2])
        there = [who for (who, tank), at in since.items() if fact and tank == row["tank"] and at <= fact.at]
        if row["batch"] in there:
            continue
        gone.append(row)
        if fact is not None and not there:  # of others who were there too it is asked under their own key
            tank = tanks[row["tank"]]
            berth = Berth(row["batch"], row["tank"], system, tank["zone"], tank["water"], fact.at)
            known = Known((fact, *ends), now, outcomes, frozenset(), {}, row["batch"])
            made += [one for one in at_the_place(berth, known) if one.task.key == row["key"]]
    details = {(one.task.batch, one.task.step): detail_of_check(one.check) for one in made}
    return Followed(gone, [one.task for one in made], details, {})


def _since(rows: Rows, system: str) -> Iterator[tuple[tuple[str, str], datetime]]:
    """Of each open batch in a water, with its tank, since when it is there."""
    moved = {fact.batch: fact.at for fact in _facts(rows, MOVED_IN, system)}
    for batch in rows.rows("open_batches"):
        if batch["system"] == system:
            yield (batch["id"], batch["tank"]), moved.get(batch["id"], instant(batch["arrived_at"]))


def _idle(rows: Rows, system: str, now: datetime, open_: list[Row], *, fish: bool) -> Followed:
    open_rows = [task_values(row) for row in open_ if is_of_idle(row["step"])]
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
    wanted = {one.task.key for one in made if one.task.outcome is None}
    return Followed(
        [_reopened(row, wanted) for row in mine.values()],
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
