"""What came of a run: its own outcome, what the day settled by itself, or what was done for another batch (rule B2)."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any

from quarantine.facts import AGAIN, Fact, local_day
from quarantine.plan.contact import inside_course
from quarantine.plan.ground import Ground
from quarantine.plan.joining import is_one, of_others, to_water
from quarantine.plan.model import Run
from quarantine.plan.steps import hours_of, interval
from quarantine.plan.windows import moment_of, window_of
from quarantine.protocol import Step


def settled(step: Step, run: Run, ground: Ground, since: datetime | None = None) -> Run:
    """A run with its outcome, or with what the clock has made of it. ``since`` is the instant that what was done for
    other batches has to follow, so that it can be this run."""
    day = run.day
    outcome = ground.outcomes.get(run.key)
    if outcome is None and day is not None and day <= ground.today:
        outcome = ground.daily.get((step.kind, step.reads, day))
        if outcome is None and step.kind == "test":
            outcome = _tested(ground.daily, step.reads, day)
    if outcome is None and any(ground.shared[:2]) and day is not None and run.n != AGAIN:
        outcome = done_for_others(step, run.key, day, run.at, ground, since)
    if outcome is not None:
        return run._replace(outcome=outcome, state="skipped" if outcome.kind == "skip" else "done", needs=None)
    lapses_at = window_of(step, run, ground.zone)[2] if day is not None and day <= ground.today else None
    return run._replace(state="missed") if lapses_at is not None and lapses_at <= ground.as_of else run


def _tested(daily: dict[Any, Fact], reads: tuple[str, ...], day: date) -> Fact | None:
    """The reading that completed a test: every parameter it names was read that day."""
    facts = [daily.get(("reading", name, day)) for name in reads]
    there = [fact for fact in facts if fact is not None]
    return max(there, key=lambda f: f.at) if there and len(there) == len(facts) else None


def done_for_others(
    step: Step, key: str, day: date, at: datetime | None, ground: Ground, since: datetime | None
) -> Fact | None:
    """What was done in this water for another batch and is the same work: a dose by the same row within its minimum
    gap or, where it states none, the template's own (rule B2); or a change, or a chore of the water, of the same
    protocol: on the same day, inside a course between the same two doses. It counts once."""
    if to_water(step):
        found = _doses(step, day, at, ground, since)
    elif step.kind in ("change", "chore") and step.for_ != "batch":
        inside = since is not None and inside_course(step, ground.protocol)
        spaced = step if step.repeat is not None or not inside else ground.steps[str(step.start.subject)]
        near = -(-hours_of(interval(spaced)) // 24) if inside else 1
        found = [
            fact
            for fact in ground.shared.work
            if fact.data["key"].split(":")[1] == step.id
            and min(abs((one - day).days) for one in _days_of(fact, ground.zone)) < near
            and (not inside or since is None or fact.at >= since)
        ]
    else:
        return None
    for fact in found:
        if ground.shared.used.setdefault(fact.id, key) == key:
            return fact
    return None


def _doses(step: Step, day: date, at: datetime | None, ground: Ground, since: datetime | None) -> list[Fact]:
    """The doses of others that may be the one that is due."""
    assert step.treatment is not None
    found, fits = [], _same_dose(step.treatment.regimen, day, at, ground.zone)
    later = {fact.id for fact in of_others(step, ground, since)}
    for fact in of_others(step, ground, None):
        one = is_one(step, day, fact, ground)
        if fits(fact) if one is None else one and fact.id in later:
            found.append(fact)
    return found


def _same_dose(row: str, day: date, at: datetime | None, zone: str) -> Callable[[Fact], bool]:
    """Whether a dose is the one that is due: by the same row, and so near that both can never be given."""
    from quarantine.formulary import regimen

    gap = regimen(row)[1].minimum_gap
    hours = None if gap is None else int(gap.value) * (1 if gap.unit == "h" else 24)

    def fits(fact: Fact) -> bool:
        if hours is not None and hours < 24:
            return abs(fact.at - moment_of(day, at, zone)) < timedelta(hours=hours)
        apart = min(abs((one - day).days) for one in _days_of(fact, zone))
        return apart < max(1, -(-(hours or 24) // 24))

    return fits


def _days_of(fact: Fact, zone: str) -> set[date]:
    """The days that something done counts for: its own, and the one it was planned for, where it was done late."""
    planned = fact.data.get("on")
    return {local_day(fact.at, zone), *([date.fromisoformat(planned)] if planned else [])}
