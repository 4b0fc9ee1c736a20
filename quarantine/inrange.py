"""Time in range, counted from readings (rule A10). Pure.

It starts at the first of two readings in range at least 6 h apart, and ends at the last good reading before a bad one;
more than 36 h without a reading is unknown and not counted. It is judged on what was read, not on what the model of the
water expects.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from typing import NamedTuple
from zoneinfo import ZoneInfo

from quarantine.facts import Fact
from quarantine.luggage import Carried
from quarantine.readings import NITRITE_PER_N, PARAMETERS

APART_HOURS, GAP_HOURS = 6, 36
"""Rule A10: two readings prove a time when they lie so far apart, and nothing when they lie farther than the second."""

OUT, UNREAD = "out_of_range", "no_reading"
"""The events of a protocol that a time out of range, or one that nobody read, is."""

COLD = "cold"
"""A time across which heating stopped: it does not count, and what it does else is said of that event."""

PAUSED = "paused"
"""A time in range on a day that another event takes out of the count."""

UNPROVEN = "unproven"
"""The time since a first good reading that no second one proves yet: it does not count before there is one."""

DUPLICATES = timedelta(minutes=30)
"""Readings of the same water closer than this are duplicates, and the worse counts; our choice, no source."""


class Band(NamedTuple):
    """What is read, and between which values it is in range (None: no such end), in the parameter's own unit."""

    parameter: str
    low: Decimal | None
    high: Decimal | None

    def holds(self, fact: Fact) -> bool:
        """Whether a reading lies in the band."""
        value = Decimal(fact.data["value"])
        return (self.low is None or value >= self.low) and (self.high is None or value <= self.high)

    def speaks(self, fact: Fact) -> bool:
        """Whether a reading says anything of the band: of copper only what is free counts, and nitrite of which nobody
        said how the kit reads it is known only where both ways come to the same."""
        if fact.data["parameter"] != self.parameter:
            return False
        if self.parameter == "copper":
            return fact.data.get("form") == "free"
        if self.parameter == "nitrite" and "form" not in fact.data:
            as_nitrogen = Decimal(fact.data["value"]) * NITRITE_PER_N
            return self.holds(fact) == self.holds(fact._replace(data={**fact.data, "value": as_nitrogen}))
        return True


class _Read(NamedTuple):
    """A reading that speaks of the band, and whether it and its duplicates lie in it."""

    at: datetime
    fact: Fact
    good: bool


class Stretch(NamedTuple):
    """A time from one instant to another. ``event`` is "" for time in range, else what kept it from counting."""

    since: datetime
    until: datetime
    event: str
    why: str

    @property
    def length(self) -> timedelta:
        return self.until - self.since

    @property
    def whole_days(self) -> int:
        """Days of 24 h, rounded up: what a period is extended by."""
        return math.ceil(self.length / timedelta(days=1))


class Count(NamedTuple):
    """How a period that counts days in range stands at an instant.

    ``counted`` is what was proven since ``zero`` (None: it has not begun), ``need`` what it takes in all. ``complete``
    is the instant at which it was or can be complete, if all stays in range from the last reading on; it is proven when
    ``counted`` has reached ``need``.
    """

    zero: datetime | None
    counted: timedelta
    need: timedelta
    complete: datetime
    because: str
    stretches: tuple[Stretch, ...]

    @property
    def is_proven(self) -> bool:
        """Whether readings show that the period is complete."""
        return self.counted >= self.need


def stretches(
    band: Band,
    readings: tuple[Fact, ...],
    since: datetime,
    as_of: datetime,
    zone: str,
    cold: tuple[datetime, ...] = (),
    altered: tuple[datetime, ...] = (),
) -> tuple[Stretch, ...]:
    """Times in range and out of it from the first good reading after ``since`` on, in order and without holes.

    ``cold`` are instants after which what was read before proves nothing (heating stopped): no time in range goes
    across one. A single good reading between others proves no time and belongs to what is around it. ``altered`` are
    instants at which the water was changed: what was read before is no duplicate of what was read after.
    """
    # Of one instant the lower first, in whatever order they were entered.
    spoken = [f for f in readings if since <= f.at <= as_of and band.speaks(f)]
    known = _read(band, sorted(spoken, key=lambda f: (f.at, Decimal(f.data["value"]))), altered)
    every = _runs(known, cold)
    runs = [run for run in every if run[-1].at - run[0].at >= timedelta(hours=APART_HOURS)]
    made: list[Stretch] = []
    for place, run in enumerate(runs):
        if place:
            made.append(_between(band, known, runs[place - 1][-1], run[0].at, zone))
        made.append(Stretch(run[0].at, run[-1].at, "", ""))
    goes_on = bool(every) and every[-1][-1] is known[-1] and not _parted(known[-1].at, as_of, cold)
    begun = every[-1][0] if goes_on and not (runs and every[-1] is runs[-1]) else None
    if runs and (begun is not None or not goes_on):
        made.append(_between(band, known, runs[-1][-1], as_of if begun is None else begun.at, zone))
    if begun is not None:
        made.append(Stretch(begun.at, as_of, UNPROVEN, f"only {_said(band, begun.fact, zone)}"))
    return tuple(made)


def _read(band: Band, facts: list[Fact], altered: tuple[datetime, ...]) -> list[_Read]:
    """Each reading with what it says: of duplicates the worse counts, whichever was read first."""
    holds = [band.holds(fact) for fact in facts]
    bad = [fact.at for fact, good in zip(facts, holds, strict=True) if not good]

    def spoiled(at: datetime) -> bool:
        close = bad[bisect_right(bad, at - DUPLICATES) : bisect_left(bad, at + DUPLICATES)]
        return any(not any(min(at, other) < moment <= max(at, other) for moment in altered) for other in close)

    return [_Read(f.at, f, good and not spoiled(f.at)) for f, good in zip(facts, holds, strict=True)]


def _runs(known: list[_Read], cold: tuple[datetime, ...]) -> list[list[_Read]]:
    """Good readings that follow one another closely enough, each list as long as it can be."""
    runs: list[list[_Read]] = []
    open_ = False
    for one in known:
        if one.good:
            if not open_ or _parted(runs[-1][-1].at, one.at, cold):
                runs.append([])
            runs[-1].append(one)
        open_ = one.good
    return runs


def _parted(before: datetime, after: datetime, cold: tuple[datetime, ...]) -> bool:
    """Whether a good reading proves nothing up to another instant."""
    return after - before > timedelta(hours=GAP_HOURS) or any(before < at <= after for at in cold)


def _between(band: Band, known: list[_Read], last: _Read, until: datetime, zone: str) -> Stretch:
    """What lies after the last good reading: out of range when a reading says so, else not read."""
    inside = [one for one in known if last.at < one.at <= until]
    bad = next((one for one in inside if not one.good), None)
    if bad is not None:
        worse = bad.fact if not band.holds(bad.fact) else next(o.fact for o in inside if not band.holds(o.fact))
        return Stretch(last.at, until, OUT, f"{_said(band, last.fact, zone)}, then {_said(band, worse, zone)}")
    moments = [last.at, *(one.at for one in inside), until]
    for place, (before, after) in enumerate(pairwise(moments)):
        if after - before > timedelta(hours=GAP_HOURS):
            fact = last.fact if place == 0 else inside[place - 1].fact
            return Stretch(last.at, until, UNREAD, f"no reading for over {GAP_HOURS} h after {_said(band, fact, zone)}")
    return Stretch(last.at, until, COLD, f"heating stopped after {_said(band, last.fact, zone)}")


def _said(band: Band, fact: Fact, zone: str) -> str:
    """ "temperature 24 °C on 2026-03-04 08:00" """
    parameter = PARAMETERS[band.parameter]
    unit = f" {parameter.unit}" if parameter.unit else ""
    moment = fact.at.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%d %H:%M")
    return f"{parameter.title} {fact.data['value']}{unit} on {moment}"


def without(found: tuple[Stretch, ...], off: tuple[tuple[datetime, datetime], ...]) -> tuple[Stretch, ...]:
    """Stretches of which the time in range inside the spans ``off`` (in order, apart) is paused."""
    made: list[Stretch] = []
    for one in found:
        at = one.since
        for begin, end in off if not one.event else ():
            begin, end = max(begin, at), min(end, one.until)
            if begin < end:
                made += [one._replace(since=at, until=begin)] if at < begin else []
                made.append(Stretch(begin, end, PAUSED, "the day is not counted"))
                at = end
        if at < one.until or one.since == one.until:
            made.append(one._replace(since=at))
    return tuple(made)


def count(
    found: tuple[Stretch, ...],
    length_days: int,
    rules: dict[str, str],
    as_of: datetime,
    because: str = "",
    carried: Carried | None = None,
    off: tuple[tuple[datetime, datetime], ...] = (),
) -> Count:
    """Days in range by what the template says of time out of range and of time not read. ``carried`` is what was proven
    in the water that the fish were moved from; ``off`` are spans (in order, apart) that do not count, also those ahead.

    pause: such time does not count. extend: it goes on counting, and the period is longer by as many whole days as the
    gap began. restart: the count begins again after it. note: it counts all the same. What begins after the period is
    complete does nothing to it.
    """
    zero: datetime | None = None
    counted, need = timedelta(0), timedelta(days=length_days)
    complete: datetime | None = None
    if carried is not None:
        zero, counted = carried.since, carried.counted
        complete = carried.complete if counted >= need else None
    for one in found:
        rule = rules.get(one.event, "pause") if one.event else "note"
        if rule == "pause" or (one.event and complete is not None):
            continue
        if rule == "restart":
            zero, counted, need = None, timedelta(0), timedelta(days=length_days)
            because = f"it began again: {one.why}"
            continue
        if zero is None:
            zero = one.since
        if rule == "extend":
            need += timedelta(days=one.whole_days)
        if complete is None and counted + one.length >= need:
            complete = one.since + (need - counted)
        counted += one.length
    if complete is None:
        last = found[-1] if found else None
        begin = as_of if last is None or last.event not in ("", UNPROVEN) else last.since if last.event else last.until
        complete = _past(begin, max(need - counted, timedelta(0)), off)
    return Count(zero, counted, need, complete, because, found)


def _past(begin: datetime, left: timedelta, off: tuple[tuple[datetime, datetime], ...]) -> datetime:
    """The instant at which so much time from ``begin`` on has been counted, the spans ``off`` left out."""
    for since, until in off:
        if until > begin and since < begin + left:
            left -= max(since - begin, timedelta(0))
            begin = until
    return begin + left
