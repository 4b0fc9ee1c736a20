"""The days that a treatment stays in the water, what clears it, and which changes have to wait (rules C5, C11)."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import date, timedelta
from typing import NamedTuple

from quarantine.facts import Fact, local_day
from quarantine.plan.model import Run
from quarantine.plan.steps import as_needed, prolonged
from quarantine.protocol import Protocol, Start, Step

BEHIND = ("after", "begun", "between")
"""The starts that hang on another step or period."""


class Contact(NamedTuple):
    """The days from the first dose of a treatment to the last change that clears it."""

    first: date
    begun: bool
    last: date
    substance: str


class Around(NamedTuple):
    """What the runs of a step have to go by that are not its own."""

    contacts: Callable[[], Iterable[Contact]]
    """the treatments that a change has no part in, this batch's and those of others in its water"""
    doses: Callable[[], Iterable[date]]
    """of a dose the days on which the same is planned in its water for batches whose course began before"""


def waits(step: Step, name: str, protocol: Protocol) -> bool:
    """Whether a step begins, directly or through other steps and periods, by another one."""
    starts = {period.id: period.start for period in protocol.periods}
    starts |= {one.id: one.start for one in protocol.steps}
    start: Start | None = step.start
    while start is not None and start.kind in BEHIND and start.subject != name:
        start = starts.get(str(start.subject))
    return start is not None and start.kind in BEHIND


def clearing_steps(dose: Step, protocol: Protocol) -> list[Step]:
    """What brings a substance out: the changes that wait for its doses; without any, chores right after them."""
    changes = [s for s in protocol.steps if s.kind == "change" and waits(s, dose.id, protocol)]
    chores = [s for s in protocol.steps if s.kind == "chore" and s.start.subject == dose.id]
    return changes or [s for s in chores if s.start.kind == "after"]


def inside_course(step: Step, protocol: Protocol) -> bool:
    """Whether a change is one between the doses of a course: it hangs on them, and not on their end."""
    doses = [one.id for one in protocol.steps if one.treatment is not None]
    return step.kind == "change" and step.start.kind in ("begun", "between") and step.start.subject in doses


def clearing_day(dose: Step, protocol: Protocol, runs: Mapping[str, list[Run]]) -> date | None:
    """The day on which clearing is due, once every dose of the course has its outcome."""
    if not all(run.outcome for run in runs[dose.id]):
        return None
    changes = [run for one in clearing_steps(dose, protocol) for run in runs.get(one.id, ())]
    return min((run.day for run in changes if run.day is not None and run.state == "planned"), default=None)


def contacts(step: Step, protocol: Protocol, expand: Callable[[Step], list[Run]], zone: str) -> Iterator[Contact]:
    """The treatments that stay in the water, with the days of their contact, that a change has no part in.

    ``expand`` gives the runs of another step; it is asked only once a contact can matter.
    """
    for dose in protocol.steps:
        treatment = dose.treatment
        if treatment is None or waits(step, dose.id, protocol) or waits(dose, step.id, protocol):
            continue
        clearing = [one for one in clearing_steps(dose, protocol) if one.kind == "change"]
        endless = any(one.repeat is not None and one.repeat.until for one in clearing)
        if endless or as_needed(dose) or not prolonged(dose):
            continue
        doses = [run for run in expand(dose) if run.state != "skipped"]
        last = [run.day for one in clearing for run in expand(one)]
        if doses and doses[0].day is not None and last and None not in last:
            from quarantine.formulary import regimen

            begun = doses[0].done_at is not None
            first = local_day(doses[0].done_at, zone) if doses[0].done_at else doses[0].day
            yield Contact(first, begun, max(d for d in last if d), regimen(treatment.regimen)[0].name)


def behind(
    step: Step, day: date, outcome: Fact | None, treated: Iterable[Contact], zone: str
) -> tuple[date, str] | None:
    """The day after the contact that a planned change would fall into, and with what; None: it may stay.

    A change that readings, signs or a keeper ask for is none that was planned, and stays; so does one that was
    done inside the contact. One that waited for the end of it stays moved, and what follows counts from there.
    """
    if step.kind != "change" or step.when or step.start.kind in ("sign", "reading", "word"):
        return None
    for contact in treated:
        if contact.first < day <= contact.last or (contact.begun and day <= contact.first):
            free = contact.last + timedelta(days=1)
            early = outcome is not None and local_day(outcome.at, zone) < free
            return (free, contact.substance) if free > day and not early else None
    return None


def clearing_waits(dose: Step, other: Step, expand: Callable[[Step], list[Run]], zone: str) -> Iterator[Contact]:
    """The days of another batch's course by the row of ``dose`` in the same water, up to its last dose, ``other``: what
    clears the water of this one waits for that, and is then the same work (rules B2 and C11)."""
    if dose.treatment is None or other.treatment is None or dose.treatment.regimen != other.treatment.regimen:
        return
    runs = [run for run in expand(other) if run.state != "skipped" and run.day is not None]
    if not runs:
        return
    from quarantine.formulary import regimen

    days = [local_day(run.done_at, zone) if run.done_at else run.day for run in runs]
    known = [day for day in days if day is not None]
    yield Contact(known[0], runs[0].done_at is not None, max(known), regimen(dose.treatment.regimen)[0].name)
