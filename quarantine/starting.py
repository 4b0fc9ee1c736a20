"""The days on which fish can come: what a fresh stay would clash with, for each day of arrival. Pure.

The plan of a stay is made for each day as :mod:`quarantine.plan` makes it, and its tasks are laid beside who is there
(:mod:`quarantine.roster`). Nothing is moved to make a day fit.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import NamedTuple

from quarantine.facts import Fact, PlannedTask
from quarantine.plan import Course, instant_at, plan
from quarantine.protocol import Protocol, Step
from quarantine.roster import Clash, Roster, Work, any_clash, clashes

ARRIVES = "12:00"
"""The local time at which fish are taken to come on a day that is only asked about; our choice, no source."""


class Berth(NamedTuple):
    """Where the fish would be: ids of the tank and its water system, and the site's time zone."""

    tank: str
    system: str
    zone: str


class StartDay(NamedTuple):
    """A day of arrival, and what of the stay nobody could do."""

    day: date
    clashes: tuple[Clash, ...]


def stay_from(protocol: Protocol, berth: Berth, at: datetime) -> tuple[PlannedTask, ...]:
    """The tasks of a stay that begins at an instant (UTC), if all goes well."""
    arrival = Fact("arrival", "arrival", at, at, "", berth.system, berth.tank, "batch", None, {"count": 1})
    return plan([Course("batch", berth.tank, berth.system, berth.zone, protocol, arrival)], [arrival], at).tasks


def work_of(protocol: Protocol, tasks: Iterable[PlannedTask]) -> list[Work]:
    """The tasks that have a day, as the roster sees them."""
    steps = {step.id: step for step in protocol.steps}
    latest = {step.id: latest_hours(protocol, step.id) for step in protocol.steps}
    return [
        Work(t.day, t.kind, t.step, t.title, steps[t.step].who, latest[t.step])
        for t in tasks
        if t.day is not None and t.step in steps
    ]


def latest_hours(protocol: Protocol, step: str) -> int | None:
    """The longest a template allows between two runs of a step, in hours; None where it says nothing."""
    for one in protocol.steps:
        if one.id == step and one.repeat is not None and one.repeat.latest is not None:
            return one.repeat.latest.value
    return None


def clashes_of(
    protocol: Protocol, berth: Berth, at: datetime, roster: Roster, since: date = date.min
) -> tuple[Clash, ...]:
    """What of a stay that begins at ``at`` (UTC) nobody could do; ``since``: what lies before it is over."""
    if not roster.says_anything:
        return ()
    found = clashes(work_of(protocol, stay_from(protocol, berth, at)), roster)
    return tuple(clash for clash in found if clash.work.day >= since)


def start_days(protocol: Protocol, berth: Berth, days: Iterable[date], roster: Roster) -> Iterator[StartDay]:
    """Each day of arrival with its clashes, in the order of ``days``."""
    for day in days:
        yield StartDay(day, clashes_of(protocol, berth, instant_at(day, ARRIVES, berth.zone), roster))


def nearest(protocol: Protocol, berth: Berth, day: date, roster: Roster, *, first: date, within: int) -> date | None:
    """The day without a clash that lies nearest to ``day``, at most ``within`` days away and not before ``first``; of
    two the later one, which leaves more time. None where there is none."""
    if not roster.says_anything:
        return max(day, first)
    stays = Stays(protocol, berth)
    for away in range(within + 1):
        for other in dict.fromkeys((day + timedelta(days=away), day - timedelta(days=away))):
            if other >= first and not any_clash(stays.work(other), roster):
                return other
    return None


class Stays:
    """The work of stays that begin on different days. Two that count in days alone differ by the days between them, so
    that their plan is made once; where days of the week matter once for each of these, and where hours do once for each
    way in which clock changes lie in it."""

    def __init__(self, protocol: Protocol, berth: Berth) -> None:
        self.protocol, self.berth = protocol, berth
        self.by_weekday = any(step.window.weekdays for step in protocol.steps)
        self.by_hours = any(_counts_hours(step) for step in protocol.steps)
        self.longest = 0
        self.made: dict[tuple[int, tuple[tuple[int, timedelta], ...]], tuple[date, list[Work]]] = {}

    def work(self, day: date) -> list[Work]:
        """What is to be done where fish come on a day."""
        kind = (day.weekday() if self.by_weekday else 0, self._clock_changes(day))
        if kind not in self.made:
            tasks = stay_from(self.protocol, self.berth, instant_at(day, ARRIVES, self.berth.zone))
            work = work_of(self.protocol, tasks)
            self.longest = max(self.longest, *((one.day - day).days for one in work), 0)
            self.made[kind[0], self._clock_changes(day)] = (day, work)
            return work
        since, work = self.made[kind]
        return [one._replace(day=one.day + (day - since)) for one in work]

    def _clock_changes(self, day: date) -> tuple[tuple[int, timedelta], ...]:
        """On which days of a stay, of the longest that was met, clocks are changed, and by how much."""
        if not self.by_hours:
            return ()
        days = [day + timedelta(days=n) for n in range(self.longest + 2)]
        at = [instant_at(one, "00:00", self.berth.zone) for one in days]
        gaps = ((n, later - earlier) for n, (earlier, later) in enumerate(pairwise(at)))
        return tuple((n, gap) for n, gap in gaps if gap != timedelta(days=1))


def _counts_hours(step: Step) -> bool:
    """Whether a step's days hang on elapsed hours, which a clock change may move over midnight (rule A12)."""
    repeat = step.repeat
    bands = repeat.by_temperature if repeat is not None else ()
    spans = [step.start.by, step.window.late]
    spans += [repeat.every, repeat.latest, repeat.as_needed] if repeat is not None else []
    spans += [one for band in bands for one in (band.every, band.before)]
    return any(span is not None and span.unit == "h" for span in spans)
