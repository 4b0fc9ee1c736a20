"""A run of a step as the task that a keeper sees."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

from quarantine.facts import PlannedTask, local_day
from quarantine.plan.ground import Ground
from quarantine.plan.model import Run
from quarantine.plan.spacing import TEMPERATURE_HOURS
from quarantine.plan.windows import window_of
from quarantine.protocol import Ramp, Step
from quarantine.quantity import show
from quarantine.readings import PARAMETERS


def task_of(step: Step, run: Run, many: int, ground: Ground) -> PlannedTask:
    """The task of a run; ``many`` (0: not numbered) is how many runs its series has."""
    course = ground.course
    due_from, due_until, lapses_at = window_of(step, run, ground.zone)
    title = f"{step.title} ({run.n} of {many})" if many > 1 else step.title
    if step.ramp is not None and run.outcome is None and run.day is not None and run.day <= ground.today:
        title += f": {_ramped(step.ramp, ground)}"
    return PlannedTask(
        key=run.key,
        system=course.system,
        tank=course.tank,
        batch=course.batch,
        kind=step.kind,
        step=step.id,
        title=title,
        day=run.day,
        due_from=due_from,
        due_until=due_until,
        lapses_at=lapses_at,
        state=run.state,
        needs=run.needs,
        reason=run.reason,
        outcome=run.outcome,
    )


def _ramped(ramp: Ramp, ground: Ground) -> str:
    """What a step of a ramp sets today: at most one step nearer to its end than the last reading was, nor than any
    other of the day: what was read once the heater was turned up calls for no second step."""
    read = [f for f in ground.evidence.readings if f.data["parameter"] == ramp.parameter]
    if not read or ground.as_of - read[-1].at > timedelta(hours=TEMPERATURE_HOURS):
        return f"read {PARAMETERS[ramp.parameter].title} first"
    last = Decimal(read[-1].data["value"])
    values = [Decimal(f.data["value"]) for f in read if local_day(f.at, ground.zone) == ground.today] or [last]
    now = min(values) if ramp.to >= last else max(values)
    goal = min(ramp.to, now + ramp.by) if ramp.to >= last else max(ramp.to, now - ramp.by)
    return f"to {show(goal)} {PARAMETERS[ramp.parameter].unit} (it was {show(now)} {PARAMETERS[ramp.parameter].unit})"
