"""The time to the next run by temperatures that were read: after the slowest hatch, before maturity (rule C14)."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from typing import NamedTuple

from quarantine import inrange
from quarantine.facts import Fact, local_day
from quarantine.plan.ground import Ground
from quarantine.plan.model import Run
from quarantine.plan.steps import hours_of, interval
from quarantine.plan.windows import moment_of
from quarantine.protocol import Band, Duration, Repeat, Step
from quarantine.quantity import show

TEMPERATURE_HOURS = 24
"""Temperatures so long before a run belong to it (rule C14)."""


class Spacing(NamedTuple):
    """The time to the next run, why, what it waits for instead, and whether one more run is needed (rule C14)."""

    every: Duration
    why: str = ""
    needs: str | None = None
    one_more: bool = False
    since: datetime | None = None
    """the reading that asks for it: what it brings forward is not due before it"""


def spacing_after(step: Step, repeat: Repeat, run: Run, outcome: Fact | None, ground: Ground) -> Spacing:
    """The time after a run by the temperatures recorded since (rule C14): after the slowest hatch, at the lowest,
    and before the fastest maturity, at the highest. Nothing is interpolated, and what was not read is asked for.

    Outside the table the run waits while it is so, or until a veterinarian's instruction. Back inside, hours that
    were colder lengthen the slowest hatch, because nothing is known to grow in them; after any that were warmer one
    more run follows."""
    until = outcome.at if outcome is not None else ground.as_of
    over = run.day is not None and (run.outcome is not None or run.state == "missed")
    begun = run.done_at or (moment_of(run.day, run.at, ground.zone) if over and run.day else until)
    since = min(begun, until) - timedelta(hours=TEMPERATURE_HOURS)
    shortest = interval(step)
    known = [f for f in ground.evidence.readings if f.data["parameter"] == "temperature" and f.at <= until]
    read = [f for f in known if f.at > since]
    if outcome is not None and not read:
        return Spacing(shortest)
    read = read or known[-1:]
    if not read or (outcome is None and until - read[-1].at > timedelta(hours=inrange.GAP_HOURS)):
        return Spacing(shortest, needs="waits for a reading of temperature: the table of its repeats goes by it")
    bands = repeat.by_temperature
    inside = [f for f in read if _held(bands, f)]
    outside = [f for f in read if f not in inside]
    told = _instructed(step, _left_at(bands, known, outside[-1]), ground) if outside else None
    if outcome is None and told is None and read[-1] in outside:
        found_at = show(Decimal(read[-1].data["value"]))
        return Spacing(shortest, needs=f"waits: {found_at} °C is outside its table of temperatures; ask a veterinarian")
    used = inside if told is None else read
    if not used:
        return Spacing(shortest)
    celsius = [_nearest(bands, f) for f in used]
    low, high = min(celsius), max(celsius)
    cold = 0 if told is not None else _cold_hours(bands, read, begun)
    hot = any(_too_warm(bands, f) for f in outside)
    found = _by_table(bands, low, high, cold, hot)
    # Since when the readings ask for so soon a repeat: what a warm spell brings forward is not due before it.
    asked, coolest, hottest = used[0].at, celsius[0], celsius[0]
    for place, value in enumerate(celsius[:-1]):
        coolest, hottest = min(coolest, value), max(hottest, value)
        if hours_of(_by_table(bands, coolest, hottest, cold, hot).every) > hours_of(found.every):
            asked = used[place + 1].at
    said = f"{show(low)} °C" if low == high else f"{show(low)} to {show(high)} °C"
    why = f", by the table at {said}{found.why}"
    if told is not None:
        why += f"; what was read outside it is passed by the instruction of {told.data['on']}"
        return found._replace(why=why, since=max(asked, told.at))
    back = next((f.at for f in inside if f.at > outside[-1].at), asked) if outside else asked
    return found._replace(why=why, since=max(asked, back))


def _held(bands: tuple[Band, ...], reading: Fact) -> bool:
    """Whether a row of a table holds a temperature that was read."""
    return any(band.holds(Decimal(reading.data["value"])) for band in bands)


def _too_warm(bands: tuple[Band, ...], reading: Fact) -> bool:
    """Whether a temperature is above all rows of a table, which run from cold to warm."""
    most = bands[-1].below_c
    return most is not None and Decimal(reading.data["value"]) >= most


def _nearest(bands: tuple[Band, ...], reading: Fact) -> Decimal:
    """A temperature that was read; of one outside a table the edge of the row that is nearest to it."""
    celsius = Decimal(reading.data["value"])
    if _held(bands, reading):
        return celsius
    below = [band.at_least_c for band in bands if band.at_least_c is not None and band.at_least_c <= celsius]
    least = min((band.at_least_c for band in bands if band.at_least_c is not None), default=celsius)
    return max(below, default=least)


def _left_at(bands: tuple[Band, ...], known: list[Fact], outside: Fact) -> datetime:
    """When the temperature was first read outside a table, of the readings up to one outside it without one inside."""
    left = outside
    for reading in reversed(known[: known.index(outside)]):
        if _held(bands, reading):
            break
        left = reading
    return left.at


def _cold_hours(bands: tuple[Band, ...], read: list[Fact], begun: datetime) -> int:
    """For how many hours since the run before it may have been colder than the table: from the last reading inside it
    to the next one. Nothing is known to grow in them, so that they lengthen the slowest hatch, and that alone."""
    last, spell = read[0], timedelta(0)
    for before, after in pairwise(read):
        cold = any(not _held(bands, one) and not _too_warm(bands, one) for one in (before, after))
        spell += max(after.at - max(before.at, begun), timedelta(0)) if cold else timedelta(0)
        last = after
    return -(-spell // timedelta(hours=1)) if _held(bands, last) else 0


def _instructed(step: Step, left: datetime, ground: Ground) -> Fact | None:
    """The instruction for the row of a step that holds today, and was said since the temperature left its table."""
    if step.treatment is None:
        return None
    told = [
        fact
        for fact in ground.facts
        if fact.kind in ("instruction", "instruction_withdrawn")
        and fact.batch == ground.course.batch
        and fact.data["regimen"] == step.treatment.regimen
    ]
    if not told or told[-1].kind != "instruction":
        return None
    since, until = (date.fromisoformat(told[-1].data[name]) for name in ("on", "until"))
    return told[-1] if local_day(left, ground.zone) <= since and ground.today <= until else None


def _by_table(bands: tuple[Band, ...], low: Decimal, high: Decimal, cold: int, hot: bool) -> Spacing:
    """The time between two runs at temperatures from ``low`` to ``high``, which rows of the table hold; for ``cold``
    hours it was colder than it, and ``hot`` warmer at any time."""
    rows = [band for band in bands if _meets(band, low, high)]
    slowest = _longer(max((band.every for band in rows), key=hours_of), cold)
    fastest = min((band.before for band in rows if band.before), key=hours_of, default=None)
    soonest = min((band.every for band in rows), key=hours_of)
    if hot:
        why = ": it was warmer than the table, where nobody knows how soon eggs are mature, so one more follows"
        return Spacing(soonest, why, one_more=True)
    if fastest is None or hours_of(slowest) < hours_of(fastest):
        why = f" and {cold} h longer, because it was colder than the table" if cold else ""
        return Spacing(slowest, why)
    why = f": eggs may hatch until {slowest} and be mature after {fastest}, so one more follows"
    return Spacing(soonest, why, one_more=True)


def _longer(every: Duration, hours: int) -> Duration:
    """A time between two runs with hours more; whole days where it is in days."""
    return every._replace(value=every.value + (hours if every.unit == "h" else -(-hours // 24)))


def _meets(band: Band, low: Decimal, high: Decimal) -> bool:
    """Whether a row has to do with temperatures from ``low`` to ``high``."""
    above = band.at_least_c is None or high >= band.at_least_c
    return above and (band.below_c is None or low < band.below_c)


def one_more(step: Step, times: int) -> int:
    """The number of a course with one more run, as far as its regimen goes."""
    from quarantine.formulary import regimen

    most = regimen(step.treatment.regimen)[1].repeats.times if step.treatment else None
    return times if most is not None and times >= most else times + 1
