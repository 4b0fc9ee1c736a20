"""Time in range, counted from readings (rule A10). Pure.

It starts at the first of two readings in range at least 6 h apart, and ends at the last good reading before a bad one;
more than 36 h without a reading is unknown and not counted. It is judged on what was read, not on what the model of the
water expects.
"""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from decimal import Decimal
from typing import NamedTuple
from zoneinfo import ZoneInfo

from quarantine.facts import Fact
from quarantine.luggage import Carried
from quarantine.readings import PARAMETERS

APART_HOURS, GAP_HOURS = 6, 36
"""Rule A10: two readings prove a time when they lie so far apart, and nothing when they lie farther than the second."""

OUT, UNREAD = "out_of_range", "no_reading"
"""The events of a protocol that a time out of range, or one that nobody read, is."""

COLD = "cold"
"""A time across which heating stopped: it does not count, and what it does else is said of that event."""


class Band(NamedTuple):
    """What is read, and between which values it is in range (None: no such end), in the parameter's own unit."""

    parameter: str
    low: Decimal | None
    high: Decimal | None

    def holds(self, fact: Fact) -> bool:
        """Whether a reading lies in the band; of copper only what is free counts."""
        if self.parameter == "copper" and fact.data.get("form") != "free":
            return False
        value = Decimal(fact.data["value"])
        return (self.low is None or value >= self.low) and (self.high is None or value <= self.high)


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
    band: Band, readings: tuple[Fact, ...], since: datetime, as_of: datetime, zone: str, cold: tuple[datetime, ...] = ()
) -> tuple[Stretch, ...]:
    """Times in range and out of it from the first good reading after ``since`` on, in order and without holes.

    ``cold`` are instants after which what was read before proves nothing (heating stopped): no time in range goes
    across one. A single good reading between others proves no time and belongs to what is around it.
    """
    known = [f for f in readings if f.data["parameter"] == band.parameter and since <= f.at <= as_of]
    runs = [run for run in _runs(band, known, cold) if run[-1].at - run[0].at >= timedelta(hours=APART_HOURS)]
    made: list[Stretch] = []
    for place, run in enumerate(runs):
        if place:
            before = runs[place - 1][-1]
            made.append(_between(band, known, before, run[0].at, zone))
        made.append(Stretch(run[0].at, run[-1].at, "", ""))
    if runs:
        last = runs[-1][-1]
        after = _between(band, known, last, as_of, zone)
        if after.event == OUT or as_of - last.at > timedelta(hours=GAP_HOURS):
            made.append(after)
    return tuple(made)


def _runs(band: Band, known: list[Fact], cold: tuple[datetime, ...]) -> list[list[Fact]]:
    """Good readings that follow one another closely enough, each list as long as it can be."""
    runs: list[list[Fact]] = []
    open_ = False
    for fact in known:
        if not band.holds(fact):
            open_ = False
            continue
        before = runs[-1][-1].at if open_ else None
        if (
            before is None
            or fact.at - before > timedelta(hours=GAP_HOURS)
            or any(before < at <= fact.at for at in cold)
        ):
            runs.append([])
        runs[-1].append(fact)
        open_ = True
    return runs


def _parted(before: datetime, after: datetime, cold: tuple[datetime, ...]) -> bool:
    """Whether two good readings prove nothing of the time between them."""
    return after - before > timedelta(hours=GAP_HOURS) or any(before < at <= after for at in cold)


def _between(band: Band, known: list[Fact], last: Fact, until: datetime, zone: str) -> Stretch:
    """What lies after the last good reading: out of range when a reading says so, else not read."""
    bad = next((f for f in known if last.at < f.at <= until and not band.holds(f)), None)
    if bad is None and until - last.at <= timedelta(hours=GAP_HOURS):
        return Stretch(last.at, until, COLD, f"heating stopped after {_said(band, last, zone)}")
    if bad is None:
        return Stretch(last.at, until, UNREAD, f"no reading for over {GAP_HOURS} h after {_said(band, last, zone)}")
    return Stretch(last.at, until, OUT, f"{_said(band, last, zone)}, then {_said(band, bad, zone)}")


def _said(band: Band, fact: Fact, zone: str) -> str:
    """ "temperature 24 °C on 2026-03-04 08:00" """
    parameter = PARAMETERS[band.parameter]
    unit = f" {parameter.unit}" if parameter.unit else ""
    moment = fact.at.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%d %H:%M")
    return f"{parameter.title} {fact.data['value']}{unit} on {moment}"


def count(
    found: tuple[Stretch, ...],
    length_days: int,
    rules: dict[str, str],
    as_of: datetime,
    because: str = "",
    carried: Carried | None = None,
) -> Count:
    """Days in range by what the template says of time out of range and of time not read. ``carried`` is what was proven
    in the water that the fish were moved from.

    pause: such time does not count. extend: it goes on counting, and the period is longer by as many whole days as the
    gap began. restart: the count begins again after it. note: it counts all the same.
    """
    zero: datetime | None = None
    counted, need = timedelta(0), timedelta(days=length_days)
    complete: datetime | None = None
    if carried is not None:
        zero, counted, complete = carried.since, carried.counted, carried.complete
    for one in found:
        rule = rules.get(one.event, "pause") if one.event else "note"
        if rule == "restart":
            zero, counted, need, complete = None, timedelta(0), timedelta(days=length_days), None
            because = f"it began again: {one.why}"
            continue
        if zero is None:
            zero = one.since
        if rule == "pause":
            continue
        if rule == "extend":
            need += timedelta(days=one.whole_days)
            complete = None
        if complete is None and counted + one.length >= need:
            complete = one.since + (need - counted)
        counted += one.length
    if complete is None:
        last = found[-1] if found and not found[-1].event else None
        complete = (last.until if last else as_of) + max(need - counted, timedelta(0))
    return Count(zero, counted, need, complete, because, found)
