"""The first day on which each criterion can be met, if all goes well from now on."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from datetime import date, timedelta
from typing import NamedTuple

from quarantine import evidence as ev
from quarantine.evidence import PeriodStanding
from quarantine.facts import local_day
from quarantine.plan.contact import clearing_steps
from quarantine.plan.ground import Ground
from quarantine.plan.model import Run
from quarantine.plan.periods import complete_with, drug_days
from quarantine.plan.steps import hours_of, interval
from quarantine.protocol import Step


class Forecast(NamedTuple):
    """What lies ahead of a course. Steps that follow a period have no runs yet: their length is what is asked here."""

    ground: Ground
    periods: Mapping[str, PeriodStanding]
    runs: Mapping[str, list[Run]]
    again: Mapping[str, list[tuple[Step, Run]]]
    first_day: Callable[[Step], date | None]
    """the day on which a series begins, whether it applies or not"""

    def criterion_days(self) -> Iterator[tuple[str, date]]:
        """Of each criterion the first day on which it can be met if all goes well from now on."""
        ahead = {step.id: self._ahead(step) for step in self.ground.protocol.steps}
        end_of_contact = self._contact_forecast(ahead)
        for criterion in self.ground.protocol.criteria:
            days: list[date] = []
            if criterion.kind == "period":
                days.append(self._complete_on(str(criterion.value), ahead, end_of_contact))
            elif criterion.kind == "days_since_dose":
                days.append(end_of_contact + timedelta(days=int(criterion.value)))
            elif criterion.kind == "level":
                days.append(end_of_contact)
            elif criterion.kind == "tasks":
                days += [day for of in ahead.values() for day in of]
                days += [run.day for made in self.again.values() for _, run in made if run.day and run.outcome is None]
            elif criterion.kind in ev.COUNTING and (earliest := ev.judge(criterion, self.ground.evidence).earliest):
                days.append(earliest)
            if days:
                yield criterion.title, max(days)

    def _ahead(self, step: Step) -> list[date]:
        """The days of what is left of a series, with the last of those that have none yet. Where a reading or a sign
        asks for each run only the next one counts: the others may never be due."""
        days = [run.day for run in self.runs.get(step.id, ()) if run.day is not None and run.outcome is None]
        asked = any(condition.kind not in ("word", "group") for condition in step.when)
        return [*(days[:1] if asked else days), *self._waiting_ahead(step)]

    def _complete_on(self, name: str, ahead: Mapping[str, list[date]], end_of_contact: date) -> date:
        """When a period ends at the earliest. One of days without a drug: with those on which what is due, and what is
        not out of the water yet, will be in it."""
        ground, standing = self.ground, self.periods[name]
        period = next(one for one in ground.protocol.periods if one.id == name)
        if period.counts != "drug-free":
            return standing.complete_on
        doses = [day for step in ground.protocol.steps if step.treatment for day in ahead[step.id]]
        spans = [(first, end_of_contact) for first in ([min(doses)] if doses else [])]
        # What is still in the water goes on; so does what was dosed before, as the evidence has it.
        for first, last in drug_days(ground.evidence.exposures, ground.zone):
            spans.append((first, end_of_contact if doses or last == date.max else last))
        return max(standing.complete_on, complete_with(standing, spans, ground))

    def _contact_forecast(self, ahead: Mapping[str, list[date]]) -> date:
        """The day the last dose will have left the water: when the clearing changes after it are done."""
        ground = self.ground
        days = [local_day(e.until, ground.zone) for e in ground.evidence.exposures if e.until]
        treated = [step for step in ground.protocol.steps if step.treatment]
        still = any(e.until is None for e in ground.evidence.exposures)
        if treated and (still or not days or any(ahead[step.id] for step in treated)):
            clearing = {one.id for step in treated for one in clearing_steps(step, ground.protocol)}
            wet = [step for step in ground.protocol.steps if step.treatment or step.id in clearing]
            days += [ground.today, *(day for step in wet for day in ahead[step.id])]
        return max(days, default=ground.today)

    def _waiting_ahead(self, step: Step) -> list[date]:
        """The first and the last day of what is left of a series that waits for a temperature or only for a keeper's
        word, or begins after one that does. By the slowest row of its table: a forecast promises nothing that only a
        warm tank could keep, so that no day comes nearer because less is known."""
        runs, repeat = self.runs.get(step.id, []), step.repeat
        if not runs or runs[-1].day is not None or runs[-1].outcome is not None:
            return []
        times = repeat.times if repeat is not None else 1
        if times is None:
            return []
        bands = repeat.by_temperature if repeat is not None else ()
        slowest = max((hours_of(band.every) for band in bands), default=hours_of(interval(step)))
        if len(runs) > 1:
            left, before = max(times - runs[-1].n + 1, 1), runs[-2].day if bands else None
        else:
            left, before = times - 1, self._word_ahead(step) or self._behind_ahead(step)
        if before is None:
            return []
        first = max(before, self.ground.today)
        return [first, first + timedelta(days=-(-left * slowest // 24))]

    def _word_ahead(self, step: Step) -> date | None:
        """The first day on which a series may be due of which all but a keeper's word is there: it has its sign or its
        reading, so that it counts as ahead."""
        runs = self.runs.get(step.id, [])
        words = bool(step.when) and all(condition.kind == "word" for condition in step.when)
        if not words or not runs or runs[0].day is not None or runs[0].outcome is not None:
            return None
        day = self.first_day(step)
        return None if day is None else max(day, self.ground.today)

    def _behind_ahead(self, step: Step) -> date | None:
        """The first day of what begins after a series that waits itself."""
        if step.start.kind != "after" or step.start.subject not in self.ground.steps:
            return None
        waiting = self._waiting_ahead(self.ground.steps[str(step.start.subject)])
        return waiting[-1] + timedelta(days=-(-hours_of(step.start.by) // 24)) if waiting else None
