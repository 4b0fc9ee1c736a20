"""Making the plan of a water system again, inside a transaction: load, plan, reconcile, store."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from quarantine.actions.baths import ends_of
from quarantine.actions.entering import add_fact
from quarantine.actions.following import Followed, followed
from quarantine.actions.idling import idle_of
from quarantine.actions.readying import readiness_of
from quarantine.actions.repacking import repack
from quarantine.actions.systems import SystemState, lapse_of, load_system, plan_system, ran_out
from quarantine.bathing import BATH, PUT_BACK
from quarantine.evidence import emergency
from quarantine.facts import Condition, Fact, PlannedTask, local_day
from quarantine.followups import FOLLOWUP
from quarantine.plan import Changes, Course, Plan, code_of, reading_steps, reconcile
from quarantine.protocol import Protocol, Step
from quarantine.quantity import show
from quarantine.readiness import ARRIVAL
from quarantine.records.loading import task_values
from quarantine.records.reads import Row, Rows
from quarantine.records.store import Act, new_id

OPEN = ("planned", "missed")
"""States of a task that waits for its outcome."""


def replan(act: Act, system: str) -> Plan:
    """Make the plan of a water again and store what it changes; and that of every water where fish are by now of which
    this act wrote something that happened before they were moved there. Its standings are those of all these."""
    onward = repack(act, system)
    made = _replan_one(act, system)
    for other in onward - {system}:
        made = made._replace(standings={**made.standings, **_replan_one(act, other).standings})
    return made


def _replan_one(act: Act, system: str) -> Plan:
    """Doses whose time has lapsed become facts first."""
    _record_lapses(act, system)
    state = load_system(act, system, act.now)
    made = plan_system(state, act.now)
    store_changes(act, state, made)
    for expected in readiness_of(act, system, act.now):
        store_tasks(act, *expected)
    more = followups_of(act, state, made, act.now)
    for asked in (more, idle_of(act, system, act.now, fish=bool(state.batches))):
        if asked.rows or asked.tasks:
            store_tasks(act, *asked)
    return made


def followups_of(rows: Rows, state: SystemState, made: Plan, at: datetime) -> Followed:
    """What the facts of a loaded system ask for beside its templates, the ends of its baths among it."""
    asked = followed(rows, state.batches, state.courses, state.facts, made.tasks, at)
    ends = ends_of(rows, state.system, state.facts, at)
    if not ends.rows and not ends.tasks:
        return asked
    return Followed(
        [*asked.rows, *ends.rows], [*asked.tasks, *ends.tasks], {**asked.details, **ends.details}, asked.stops
    )


def _record_lapses(act: Act, system: str) -> None:
    """Each lapse of a dose, or of a move that the template then begins again, once: one that was entered late and taken
    back again has lapsed already, and what began anew upon that keeps its keys."""
    for row in ran_out(act, system, act.now):
        lapse = lapse_of(row, act.now)
        of = {"tank": lapse.tank, "batch": lapse.batch, "task": lapse.task}
        add_fact(act, "lapse", system=system, at=lapse.at, data=lapse.data, **of)


def store_changes(act: Act, state: SystemState, made: Plan) -> Changes:
    """Reconcile the stored tasks of a system with a plan, in this transaction."""
    stored = [task_values(row) for row in act.rows("tasks_of_system", system=state.system)]
    courses = {c.batch: c for c in state.courses}
    # The chores of day 0 are no template's: they stand as the arrival made them. Follow-ups are planned apart.
    apart = (ARRIVAL, FOLLOWUP, BATH)
    open_rows = [row for row in stored if row["batch"] in courses and not row["step"].startswith(apart)]
    open_rows += _left_by_closed(act, state, made, {row["key"] for row in open_rows})
    details = {
        (c.batch, step.id): detail_of(c.protocol, step)
        for c in state.courses
        for step in (*c.protocol.steps, *reading_steps(c.protocol))
    }
    changes = store_tasks(act, open_rows, made.tasks, details, made.stops)
    for batch, standing in made.standings.items():
        shown = standing_json(courses[batch], standing, made)
        row = next(b for b in state.batches if b["id"] == batch)
        if json.loads(row["standing"]) != shown:
            act.change("batch", batch, standing=shown)
    return changes


def _left_by_closed(act: Act, state: SystemState, made: Plan, known: set[str]) -> list[Row]:
    """Work of the water that hangs on a fact of the water, and that a batch had which is closed now: it goes on, under
    its code, as the work of one that is still there."""
    if len(state.batches) == len(rows_of := act.rows("batches_of_system", system=state.system)):
        return []
    own: dict[str | None, set[str]] = {}
    for fact in state.facts:
        own.setdefault(fact.batch, set()).add(fact.id)
    wanted = {t.key: t for t in made.tasks if t.key not in known and t.key.split(":")[2] not in own.get(t.batch, ())}
    wanted = {key: task for key, task in wanted.items() if not key.startswith(f"{task.batch}:")}
    closed = [row["id"] for row in rows_of if row["state"] not in ("open", "expected")] if wanted else []
    found = [row for batch in closed for row in act.rows("tasks_of_batch", batch=batch) if row["key"] in wanted]
    for row in found:
        if row["state"] not in ("done", "skipped"):
            act.change("task", row["id"], batch=wanted[row["key"]].batch)
    return [task_values(row) for row in found]


def store_tasks(
    act: Act,
    rows: list[Row],
    tasks: Sequence[PlannedTask],
    details: dict[tuple[str, str], dict[str, Any]],
    stops: dict[tuple[str, str], str] | None = None,
) -> Changes:
    """Reconcile stored task rows with the tasks as planned; ``details`` and ``stops`` by (batch, step)."""
    changes = reconcile(rows, tasks, stops)
    act.add("task", *_new_rows(act, changes.new, details))
    by_id = {row["id"]: row for row in rows}
    _hand_over(act, rows, tasks)
    outcomes = {t.key: t.outcome for t in tasks}
    for id_, values in changes.changed:
        outcome = outcomes.get(by_id[id_]["key"])
        settled = outcome is not None or by_id[id_]["outcome_at"] is not None  # of a row opened again: taken back
        act.change("task", id_, **values, **(_outcome_values(outcome) if settled else {}))
    return changes


def _hand_over(act: Act, rows: list[Row], tasks: Sequence[PlannedTask]) -> None:
    """What a batch that has left had to put back becomes the work of the one that stays, in the water it is of."""
    wanted = {task.key: task for task in tasks if task.step == PUT_BACK and task.outcome is None}
    for row in rows:
        task = wanted.get(row["key"])
        if task is not None and task.batch != row["batch"]:
            act.change("task", row["id"], batch=task.batch, tank=task.tank, system=task.system)


def _new_rows(act: Act, tasks: list[PlannedTask], details: dict[tuple[str, str], dict[str, Any]]) -> list[Row]:
    taken: set[str] = set()
    return [
        {
            "id": new_id(),
            "key": task.key,
            "code": free_code(act, task, taken),
            "system": task.system,
            "tank": task.tank,
            "batch": task.batch,
            "kind": task.kind,
            "step": task.step,
            "title": task.title,
            "day": task.day,
            "due_from": task.due_from,
            "due_until": task.due_until,
            "lapses_at": task.lapses_at,
            "state": task.state,
            "needs": task.needs,
            "reason": task.reason,
            "detail": details[task.batch, task.step],
            "made_at": act.now,
            **_outcome_values(task.outcome),
        }
        for task in tasks
    ]


def _outcome_values(outcome: Fact | None) -> Row:
    if outcome is None:
        return {"outcome_at": None, "outcome_by": None, "outcome": None}
    return {"outcome_at": outcome.at, "outcome_by": outcome.keeper, "outcome": {"fact": outcome.id}}


def free_code(act: Act, task: PlannedTask, taken: set[str]) -> str:
    """The task's spoken code; the next one when two tasks would share it."""
    attempt = 0
    while True:
        code = code_of(task.key, task.kind, attempt)
        if code not in taken and not act.rows("code_taken", code=code):
            taken.add(code)
            return code
        attempt += 1


def detail_of(protocol: Protocol, step: Step) -> dict[str, Any]:
    """What a task's card needs of its step, frozen: the treatment, the before-checks, what to read, notes."""
    cites = {key: ref.cite for key, ref in protocol.references.items()}
    treatment = step.treatment
    elapsed = step.start.by.unit == "h" or bool(step.repeat and step.repeat.every and step.repeat.every.unit == "h")
    return {
        "who": step.who,
        "elapsed": elapsed,
        "note": step.note,
        **({"as_needed": True} if step.repeat and step.repeat.as_needed else {}),
        **({"ceiling": True} if step.repeat and step.repeat.latest else {}),
        **({"behind": step.start.subject} if step.start.kind in ("after", "begun", "between") else {}),
        "reads": list(step.reads),
        "fraction": None if step.fraction is None else format(step.fraction, "f"),
        "references": [cites[key] for key in step.references if key in cites],
        "treatment": treatment
        and {
            "regimen": treatment.regimen,
            "target": treatment.target and f"{treatment.target.value} {treatment.target.unit}",
            "mode": treatment.mode,
            "water": treatment.water,
            "filter": treatment.filter,
            "off": list(treatment.off),
            "clearing": treatment.clearing,
            "longest": str(treatment.longest) if treatment.longest else "",
            **({"witness": True} if treatment.witness else {}),
            **({} if treatment.allowance is None else {"allowance": f"{show(treatment.allowance)} %"}),
            **({"after_change": treatment.after_change} if treatment.after_change == "full" else {}),
        },
        "before": [c._replace(reference=cites.get(c.reference, c.reference))._asdict() for c in _checks(step)],
        # Of a dose what a keeper has to say first: another batch's dose by the same row waits for it too (rule C8).
        **({"words": words} if treatment and (words := [str(c.value) for c in step.when if c.kind == "word"]) else {}),
    }


def _checks(step: Step) -> list[Condition]:
    """The before-checks of a step; of a dose also what it applies to, judged again at the moment it is given."""
    branches = [c for c in step.when if c.kind not in ("word", "group")] if step.kind == "dose" else []
    return [*step.before, *branches]


def conditions_of(detail: dict[str, Any]) -> tuple[Condition, ...]:
    """The before-checks of a task's frozen detail."""
    return tuple(Condition(**c) for c in detail["before"])


def standing_json(course: Course, standing: Any, made: Plan) -> dict[str, Any]:
    """What lists show of a batch without planning it again."""
    from quarantine.clocks import put_off_to

    evidence = standing.evidence
    need = next((int(c.value) for c in course.protocol.criteria if c.kind == "clear_days"), None)
    drug_free = {period.id for period in course.protocol.periods if period.counts == "drug-free"}
    return {
        "alive": evidence.alive,
        "entered_on": _day(made, evidence.entered_at, course.zone),
        "earliest": standing.earliest.isoformat(),
        "waits_for": standing.waits_for,
        "periods": [
            {
                "id": p.id,
                "title": p.title,
                "length": p.length,
                "zero": p.zero.isoformat(),
                "because": p.because,
                "complete_on": (put_off_to(p, standing, course.protocol) or p.complete_on).isoformat(),
                **(_without_a_drug(p, standing) if p.id in drug_free else {}),
            }
            for p in standing.periods
        ],
        "clear": {
            "days": evidence.clear.days,
            "need": need,
            "zero": evidence.clear.zero.isoformat(),
            "because": evidence.clear.because,
            "lapses_on": evidence.clear.lapses_on and evidence.clear.lapses_on.isoformat(),
        },
        "signs": [{"name": s.name, "severity": s.severity} for s in evidence.open_signs],
        "all_seen_on": evidence.all_seen_on and evidence.all_seen_on.isoformat(),
        "act_now": emergency(evidence),
    }


def _without_a_drug(period: Any, standing: Any) -> dict[str, Any]:
    """How many days since its zero a period has left out, and whether it goes on to: a list counts on by itself."""
    evidence = standing.evidence
    gone = max((evidence.today - period.zero).days, 0)
    in_water = any(one.until is None for one in evidence.exposures)
    return {"as_of": evidence.today.isoformat(), "left_out_days": gone - min(gone, period.day), "in_water": in_water}


def _day(made: Plan, at: datetime, zone: str) -> str:

    return local_day(at, zone).isoformat()


def leave_held(act: Act, batch: Row, at: datetime) -> None:
    """What a batch that leaves its water, or is closed, leaves to the others in it: a hold of rule C9 that nobody
    lifted is one of the water, and does not go with the fish."""
    why = json.loads(batch["standing"]).get("act_now")
    stay = [b for b in act.rows("open_batches") if b["system"] == batch["system"] and b["id"] != batch["id"]]
    if why and stay:
        data = {"because": f"{why} (of batch {batch['name']})"}
        add_fact(act, "held", system=batch["system"], tank=batch["tank"], at=at, data=data)
