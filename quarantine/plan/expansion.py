"""One course being expanded into runs. Steps refer to each other and to periods, so each is expanded once, when it is
first asked for; everything that does not need that is in the other rooms."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from functools import partial
from itertools import product

from quarantine.evidence import PeriodStanding, Standing
from quarantine.facts import PlannedTask
from quarantine.plan.anchors import after_none, after_period, after_run, after_stop, by_facts, rooted
from quarantine.plan.conditions import Conditions, applying, stop_of, up_to_stop
from quarantine.plan.contact import BEHIND, Around, Contact, clearing_waits, contacts, inside_course, waits
from quarantine.plan.forecast import Forecast
from quarantine.plan.ground import Ground
from quarantine.plan.held import cleared_in_time, held_for, over, up_to_last_day
from quarantine.plan.joining import to_water
from quarantine.plan.model import Anchor, Run
from quarantine.plan.periods import standing_of
from quarantine.plan.redosing import again
from quarantine.plan.series import between, chain, newest, series, uses
from quarantine.plan.steps import as_needed, how_many, redosed
from quarantine.plan.tasks import task_of
from quarantine.plan.windows import instant_at
from quarantine.protocol import Period, Start, Step

AFTER_THE_END_DAYS = 7
"""A batch that is not signed off when its last period ends is looked at on: care is planned this far ahead."""


class Expansion:
    """The periods and the runs of one course, and how it stands: first :meth:`begin`, and once the earliest day of all
    in its water is known :meth:`finish`."""

    def __init__(self, ground: Ground) -> None:
        self.ground = ground
        self.beside: list[Expansion] = []
        """the other courses in its water that give something to all fish in it"""
        self.busy: set[str] = set()
        """the steps that are being expanded: to others they have no runs yet"""
        self.doses = [step for step in ground.protocol.steps if to_water(step)]
        """what it gives to all fish in its water"""
        self.turns: dict[str, tuple[datetime, str]] = {}
        self.others_wait: dict[str, list[Contact]] = {}
        self.conditions = Conditions(ground)
        self.stops: dict[str, tuple[datetime, str]] = {}
        self.last_days: dict[str, str] = {}
        """step -> why nothing is planned after a day, of a level that is held by readings"""
        self.ended: dict[str, tuple[str, datetime]] = {}
        """step -> root of its keys and end, of a series that ended before its first run"""
        self.runs: dict[str, list[Run]] = {}
        self.again: dict[str, list[tuple[Step, Run]]] = {}
        """step -> what water changes called for: doses again, and the readings before them (rule C1)"""
        self.zeros: dict[str, date] = {}
        """period -> the day it began, before the readings of a period in range have their say"""
        self.earliest: date | None = None  # known once the steps that do not follow a period are expanded
        self.periods: dict[str, PeriodStanding] = {}

    def begin(self) -> None:
        """All that does not follow a period, and the day that the batch's own criteria leave for sign-off."""
        ground = self.ground
        periods, steps = [self._period(p) for p in ground.protocol.periods], ground.protocol.steps
        for step in steps:
            if step.repeat is None or step.repeat.until is None:
                self._expand(step)
        self.again = {
            step.id: list(again(step, self.runs, step.id in self.stops, ground)) for step in steps if redosed(step)
        }
        days = tuple(Forecast(ground, self.periods, self.runs, self.again, self._first_day).criterion_days())
        self.earliest = max([ground.today, *(day for _, day in days)])
        self.standing = Standing(ground.evidence, tuple(periods), self.earliest, days)

    def finish(self, standing: Standing | None = None) -> None:
        """What is done until a period is complete, up to the earliest day; ``standing`` where that is the day of
        another batch in its water (rule B5)."""
        self.standing = standing or self.standing
        self.earliest = self.standing.earliest
        for step in self.ground.protocol.steps:
            self._expand(step)

    def tasks(self) -> Iterator[PlannedTask]:
        """The tasks of the course; once it is closed those alone that have an outcome."""
        closed = self.ground.course.closed_at is not None
        for step in self.ground.protocol.steps:
            runs = self.runs[step.id]
            numbered = step.kind in ("dose", "move") and not as_needed(step)
            for run in runs:
                if closed and run.outcome is None:
                    continue
                yield task_of(step, run, how_many(step, run, runs) if numbered else 0, self.ground)
            for redose, run in self.again.get(step.id, ()):
                if not closed or run.outcome is not None:
                    yield task_of(redose, run, 0, self.ground)

    def _period(self, period: Period) -> PeriodStanding:
        if period.id not in self.periods:
            anchor = self._anchor(period.start, period.id)
            self.zeros[period.id], standing = standing_of(period, anchor, self.ground)
            later = self._not_begun_before(period.start) if anchor.day is None else timedelta(0)
            self.periods[period.id] = standing._replace(complete_on=standing.complete_on + later)
        return self.periods[period.id]

    def _not_begun_before(self, start: Start) -> timedelta:
        """How far from today the first run of a step is at the earliest, by which a period begins that still waits."""
        step = self.ground.steps.get(str(start.subject)) if start.kind == "begun" else None
        day = None if step is None else self._first_day(step)
        return timedelta(0) if day is None else max(day - self.ground.today, timedelta(0))

    def _complete_on(self, name: str) -> date:
        return self._period(next(one for one in self.ground.protocol.periods if one.id == name)).complete_on

    def _horizon(self, period: str) -> date:
        """The last day of what is done until a period is complete."""
        complete = self._complete_on(period)
        last = max(complete, self.earliest or complete)
        return last if self.ground.today < last else self.ground.today + timedelta(days=AFTER_THE_END_DAYS)

    def _anchor(self, start: Start, owner: str) -> Anchor:
        """What a step or a period begins by; of one that is behind another, that one is expanded first."""
        if start.kind not in BEHIND:
            return by_facts(start, owner, self.ground)
        subject = str(start.subject)
        if subject not in self.ground.steps:
            return after_period(start, self._complete_on(subject), self.ground)
        runs = self._used(subject)
        if not runs:
            return after_none(start, self.ended.get(subject), self.ground)
        run, which = (runs[-1], "last") if start.kind == "after" else (runs[0], "first")
        anchor = after_run(self.ground.steps[subject].kind, run, start.by, f"the {which} {subject!r}", self.ground)
        stopped = self.ground.stopped.get(subject) if start.kind == "after" else None
        return anchor if stopped is None else after_stop(anchor, stopped.at, self.ground.steps.get(owner), self.ground)

    def _first_day(self, step: Step) -> date | None:
        return self._anchor(step.start, step.id).day

    def _used(self, subject: str) -> list[Run]:
        """The runs of a step that others hang on: of one that is given as needed, those that were asked for."""
        step = self.ground.steps[subject]
        runs = self._expand(step)
        asked = [run for run in runs if run.day is not None] if as_needed(step) else []
        return asked or runs

    def _expand(self, step: Step) -> list[Run]:
        """The runs of a step that apply, up to its stop."""
        if step.id not in self.runs:
            self.busy.add(step.id)
            runs = self._planned(step)
            self.busy.remove(step.id)
            first, stop = runs[0] if runs else None, stop_of(step, runs, self.conditions)
            ends = None if stop is None else stop[0]
            runs = applying(step, runs, self.conditions) if step.when else runs
            left = up_to_stop(step, runs, ends, self.ground.zone)
            if (most := held_for(step, self.ground)) is not None:
                left = up_to_last_day(step, left, most, self.ground.zone)
                self.last_days[step.id] = over(most, self.ground.zone)
            if stop is not None:
                self.stops[step.id] = stop
                if not left and first is not None and first.day is not None:
                    self.ended[step.id] = (first.key.split(":")[2], stop[0])
            self.runs[step.id] = left if step.ramp is None else newest(left, self.ground)
        return self.runs[step.id]

    def _planned(self, step: Step) -> list[Run]:
        """The runs of a step as its template has them, before it is asked which of them apply."""
        ground = self.ground
        last = self._horizon(step.repeat.until) if step.repeat is not None and step.repeat.until else None
        if step.start.kind == "between":
            subject = ground.steps[str(step.start.subject)]
            around = Around(partial(self._contacts, step), tuple)
            return list(between(step, subject, self._expand(subject), ground, around))
        if as_needed(step):
            return uses(step, ground, last, Around(partial(self._contacts, step), tuple))
        anchor = cleared_in_time(step, rooted(step, self._anchor(step.start, step.id), ground), ground)
        around = Around(partial(self._contacts, step), partial(self._doses_before, step, anchor))
        return chain(step, list(series(step, anchor, ground, last, around)), ground, last, around)

    # --- What goes on beside it in its water ------------------------------------------------------------------

    def _contacts(self, step: Step) -> Iterator[Contact]:
        """The treatments that a change has no part in, whoever's they are (rule C11). One that clears the water of a
        course waits for the last dose of every course by the same row in it."""
        protocol, zone = self.ground.protocol, self.ground.zone
        yield from contacts(step, protocol, self._expand, zone)
        beside = [] if inside_course(step, protocol) else self.beside
        cleared = [one for one in self.doses if waits(step, one.id, protocol)] if beside else []
        for other in beside:
            if not cleared:
                yield from other.offered(step)
            else:
                for mine, dose in product(cleared, other.doses):
                    yield from clearing_waits(mine, dose, other.seen, zone)

    def _doses_before(self, step: Step, anchor: Anchor) -> Iterator[date]:
        """The days on which what a step gives is planned in its water for others whose course began before."""
        mine, row = self._turn(anchor), step.treatment.regimen if step.treatment else ""
        for other in self.beside:
            for dose in other.doses:
                same = dose.treatment is not None and dose.treatment.regimen == row and dose.id not in other.busy
                if same and other.turn_of(dose) < mine:
                    open_ = [run for run in other.seen(dose) if run.outcome is None and run.state == "planned"]
                    yield from (run.day for run in open_ if run.day is not None)

    def seen(self, step: Step) -> list[Run]:
        """The runs of a step, as another course in the same water sees them."""
        return [] if step.id in self.busy else self._expand(step)

    def offered(self, step: Step) -> list[Contact]:
        """The treatments of this course that a change of another one has no part in."""
        if step.id in self.others_wait:
            return self.others_wait[step.id]
        found = list(contacts(step, self.ground.protocol, self.seen, self.ground.zone))
        if not self.busy:
            self.others_wait[step.id] = found
        return found

    def turn_of(self, step: Step) -> tuple[datetime, str]:
        """When a series began, of two of one instant that of the batch which is named first."""
        if step.id not in self.turns:
            self.turns[step.id] = self._turn(self._anchor(step.start, step.id))
        return self.turns[step.id]

    def _turn(self, anchor: Anchor) -> tuple[datetime, str]:
        day = anchor.day or date.max
        return anchor.since or instant_at(day, "00:00", self.ground.zone), self.ground.course.batch
