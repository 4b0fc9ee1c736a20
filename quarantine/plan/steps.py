"""Questions to a step of a template, and to a step with one of its runs, that need nothing else."""

from __future__ import annotations

from quarantine.facts import DOSES, Fact
from quarantine.failures import Unknown
from quarantine.plan.model import Course, Run
from quarantine.protocol import Duration, Repeat, Step


def as_needed(step: Step) -> bool:
    """Whether a step is given as needed, at a keeper's word (rule A13)."""
    return step.repeat is not None and step.repeat.as_needed is not None


def needed_words(repeat: Repeat) -> str:
    """The limits of a step that is given as needed, in words (rule A13)."""
    apart = f"at least {repeat.as_needed} apart"
    return apart if repeat.daily is None else f"{apart}, at most {repeat.daily} a day"


def interval(step: Step) -> Duration:
    """The time between two runs; of a table the shortest."""
    if step.repeat is None or step.repeat.every:
        return step.repeat.every if step.repeat and step.repeat.every else Duration(1, "d")
    return min((band.every for band in step.repeat.by_temperature), key=hours_of, default=Duration(1, "d"))


def hours_of(duration: Duration) -> int:
    """Hours, a day being 24 of them: for comparing alone, since days are of the calendar (rule A12)."""
    return duration.value * (24 if duration.unit == "d" else 1)


def how_many(step: Step, run: Run, runs: list[Run]) -> int:
    """How many runs the series of a run has: one begun again counts anew, and runs that did not apply count."""
    series = run.key.rpartition(":")[0]
    times = (step.repeat.times if step.repeat else None) or 0
    return max(times, *(other.n for other in runs if other.key.rpartition(":")[0] == series))


def after_window(step: Step, run: Run) -> str | None:
    """What the template says when a run was not done in time: by its ceiling, else by its window (rule A11)."""
    return step.repeat.then if run.ceiling is not None and step.repeat else step.after_window


def not_eaten(run: Run) -> bool:
    """Whether a run was a dose in food of which nothing was eaten."""
    return run.outcome is not None and run.outcome.kind in DOSES and run.outcome.data.get("eaten") == "none"


def skipped_move(step: Step, run: Run) -> Fact | None:
    """A move that was skipped, before its time ran out or after: without it the fish stay too long (rule A12)."""
    return run.outcome if step.kind == "move" and run.outcome is not None and run.outcome.kind == "skip" else None


def prolonged(step: Step) -> bool:
    """Whether the dose of a step stays in the water (rule C5); a row that the formulary has no more is held anyway."""
    from quarantine.formulary import is_prolonged, regimen

    try:
        return step.treatment is not None and is_prolonged(regimen(step.treatment.regimen)[1])
    except Unknown:
        return False


def redosed(step: Step) -> bool:
    """Whether a change inside the treatment calls for a dose in between: as published none is given, unless the
    template asks for the full amount again, and the full amount follows on its own date."""
    treatment = step.treatment
    asked = treatment is not None and (treatment.mode != "as published" or treatment.after_change == "full")
    return asked and prolonged(step)


def owner_of(step: Step, course: Course) -> str:
    """Whom a step is for, as its keys say it. Of a batch that was moved the water and the tank it arrived in: no key
    moves with the fish."""
    arrival = course.arrival
    return {"system": arrival.system, "tank": arrival.tank or course.tank, "batch": course.batch}[step.for_]
