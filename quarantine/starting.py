"""The days on which fish can come: what a fresh stay would clash with, for each day of arrival. Pure.

The plan of a stay is made for each day as :mod:`quarantine.plan` makes it, and its tasks are laid beside who is there
(:mod:`quarantine.roster`). Nothing is moved to make a day fit.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta
from typing import NamedTuple

from quarantine.facts import Fact, PlannedTask
from quarantine.plan import Course, instant_at, plan
from quarantine.protocol import Protocol
from quarantine.roster import Clash, Roster, Work, clashes

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
    for away in range(within + 1):
        for other in (day + timedelta(days=away), day - timedelta(days=away)):
            if other >= first and not next(start_days(protocol, berth, [other], roster)).clashes:
                return other
    return None
