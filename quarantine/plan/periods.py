"""Periods: their day zero, which of their days count, by how much they are longer, and when they are complete."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import NamedTuple

from quarantine import evidence as ev
from quarantine import inrange
from quarantine.evidence import Happening, PeriodStanding
from quarantine.facts import local_day
from quarantine.luggage import Carried, Luggage
from quarantine.plan.ground import Ground
from quarantine.plan.model import Anchor
from quarantine.plan.windows import instant_at, shown
from quarantine.protocol import Period
from quarantine.water.ledger import Exposure


class Zero(NamedTuple):
    """The day on which a period began, or began again, and why; ``began`` are the instants that made it so."""

    day: date
    because: str
    began: tuple[datetime, ...]


class Held(NamedTuple):
    """What keeps a period from its end: days that do not count, (day, days) by which it is longer, and days that a
    person added at sign-off."""

    paused: frozenset[date]
    longer: tuple[tuple[date, int], ...]
    by_hand: int
    since: datetime
    """the instant at which the period began, or began again"""

    def more(self, complete: date) -> int:
        """The days by which a period is longer that ends on a day: what begins after the end adds nothing."""
        return self.by_hand + sum(days for day, days in self.longer if day <= complete)

    def settled(self, ends: Callable[[int], date]) -> date:
        """The day on which a period ends, where ``ends`` says it for a number of days more."""
        complete, before = ends(self.by_hand), None
        while complete != before:
            before, complete = complete, ends(self.more(complete))
        return complete

    def spans(self, zone: str) -> tuple[tuple[datetime, datetime], ...]:
        """The days that do not count as spans of time, in order."""
        day = timedelta(days=1)
        return tuple((instant_at(d, "00:00", zone), instant_at(d + day, "00:00", zone)) for d in sorted(self.paused))


def standing_of(period: Period, anchor: Anchor, ground: Ground) -> tuple[date, PeriodStanding]:
    """The day on which a period began, before the readings of one in range have their say, and how it stands.

    Days on which nobody is there act as soon as they are known, and only where they come before the end that the period
    has without them; the count of clear days they leave to rules A4 and A5.
    """
    happenings = ground.evidence.happenings
    known = [one for one in happenings if one.event != ev.ABSENT]
    acts = ground.protocol.events[ev.ABSENT] != "note" and period.counts != "clear"
    absent = [one for one in happenings if one.event == ev.ABSENT] if acts else []
    while True:
        zero = _zero_of(period, anchor, known, ground)
        standing = _standing_from(period, anchor, zero, known, ground)
        met = [one for one in absent if local_day(one.at, ground.zone) <= standing.complete_on]
        if not met:
            return zero.day, standing
        known += met
        absent = [one for one in absent if one not in met]


def _zero_of(period: Period, anchor: Anchor, happenings: list[Happening], ground: Ground) -> Zero:
    """The day zero of a period: it moves by the template's events (rules A5, A7, B1), and with another batch."""
    first = anchor.day or ground.today
    again = [
        one
        for action, one in _acting(happenings, ground)
        if action == "restart"
        and local_day(one.restarts_at, ground.zone) >= first
        and not (one.event == "fish_added" and period.start.kind == "entered")
    ]
    last = max(again, key=lambda one: one.restarts_at) if again else None
    zero = first if last is None else local_day(last.restarts_at, ground.zone)
    because = anchor.reason if last is None else last.why
    for fact in ground.evidence.merged:
        if period.id in fact.data["periods"] and (later := _day_of(fact.data["periods"][period.id])) > zero:
            zero, because = later, f"batch {fact.data['from']} is counted with it"
    begun = [at for at in (anchor.since, last.restarts_at if last else None) if at is not None]
    return Zero(zero, because, tuple(begun))


def _standing_from(
    period: Period, anchor: Anchor, zero: Zero, happenings: list[Happening], ground: Ground
) -> PeriodStanding:
    """How a period stands: days that do not count are added to it."""
    begin = max(instant_at(zero.day, "00:00", ground.zone), *zero.began, ground.course.arrival.at)
    since = [(action, one) for action, one in _acting(happenings, ground) if (one.until or one.at) >= begin]
    held = Held(
        frozenset(
            day for action, one in since if action == "pause" for day in _days_of(one, ground.zone) if day > zero.day
        ),
        _extensions([one for action, one in since if action == "extend"], begin, ground.zone),
        ground.evidence.extended_days,
        begin,
    )
    made = {"clear": _clear_period, "in-range": _range_period}.get(period.counts, _plain_period)
    first = anchor.day or ground.today
    standing = made(period, zero.day, zero.because, held, ground)._replace(first=first, begins=anchor.reason)
    if period.counts == "clear":  # what of a sign does not count is said by rules A4 and A5
        return standing
    return standing._replace(paused=tuple(sorted(held.paused)), longer=held.longer)


def _acting(happenings: list[Happening], ground: Ground) -> Iterator[tuple[str, Happening]]:
    """What happened, each with what the template makes of it."""
    return ((ground.protocol.events[one.event], one) for one in happenings)


def _plain_period(period: Period, zero: date, because: str, held: Held, ground: Ground) -> PeriodStanding:
    """A period of calendar days, or of those without a drug in the water."""
    length = period.length.value
    spans = drug_days(ground.evidence.exposures, ground.zone) if period.counts == "drug-free" else []
    complete = held.settled(lambda more: _nth_counted(zero, length + more, held.paused, spans, ground.today))
    gone = max((ground.today - zero).days, 0)
    drugged = sum(_within(spans, zero + timedelta(days=n + 1)) for n in range(gone))
    return PeriodStanding(period.id, period.title, length, zero, because, complete, min(gone - drugged, length))


def drug_days(exposures: Iterable[Exposure], zone: str) -> list[tuple[date, date]]:
    """The first and the last day of each time with a drug in the water; one that still is in it has no last day."""
    return [(local_day(e.since, zone), local_day(e.until, zone) if e.until else date.max) for e in exposures]


def complete_with(standing: PeriodStanding, spans: Sequence[tuple[date, date]], ground: Ground) -> date:
    """The day on which a period of days without a drug ends, if these are the days with one."""
    held = Held(frozenset(standing.paused), standing.longer, ground.evidence.extended_days, ground.as_of)
    zero, length = standing.zero, standing.length
    return held.settled(lambda more: _nth_counted(zero, length + more, held.paused, spans, ground.today))


def _clear_period(period: Period, zero: date, because: str, held: Held, ground: Ground) -> PeriodStanding:
    """A period of clear days: rules A4 and A5 say what counts, whatever the template says of events."""
    length, clear = period.length.value, ground.evidence.clear
    need = length + held.by_hand
    missing = need - len(clear.counted)
    first = ev.next_countable(ground.evidence)
    complete = first + timedelta(days=missing - 1) if missing > 0 else clear.counted[need - 1]
    day = max(min((ground.today - zero).days, length), 0)
    return PeriodStanding(period.id, period.title, length, zero, because, complete, day)


def _range_period(period: Period, zero: date, because: str, held: Held, ground: Ground) -> PeriodStanding:
    """A period of days in range, counted from readings (rule A10)."""
    band = inrange.Band(
        str(period.reading),
        None if period.low is None else Decimal(period.low),
        None if period.high is None else Decimal(period.high),
    )
    evidence = ground.evidence
    since = max(held.since, ground.course.arrival.at, ground.since)
    cold = [at for at, _ in evidence.cold] + [o.until for o in evidence.happenings if o.event in ev.COOLS and o.until]
    moments = tuple(cold) if band.parameter == "temperature" else ()
    carried = _carried(period, zero, ground.luggage)
    found = inrange.stretches(band, evidence.readings, since, ground.as_of, ground.zone, moments, evidence.altered)
    if carried is not None:
        found = (*_unread(found, ground), *found)
    off = held.spans(ground.zone)
    found = inrange.without(found, off)

    def by(more: int) -> inrange.Count:
        days = period.length.value + more
        return inrange.count(found, days, ground.protocol.events, max(ground.as_of, since), because, carried, off)

    counted = by(held.more(held.settled(lambda more: local_day(by(more).complete, ground.zone))))
    complete = local_day(counted.complete, ground.zone)
    if counted.zero is not None:
        zero = local_day(counted.zero, ground.zone)
    elif counted.because != because:
        zero = ground.today  # it began again, and nothing was proven since
    return PeriodStanding(
        period.id,
        period.title,
        period.length.value,
        zero,
        counted.because,
        complete if counted.is_proven else max(complete, ground.today),
        min(counted.counted // timedelta(days=1), period.length.value),
        counted,
    )


def _carried(period: Period, zero: date, luggage: Luggage | None) -> Carried | None:
    """What was proven of a period before the fish were moved here, unless it began again since."""
    carried = luggage.in_range.get(period.id) if luggage else None
    return carried if carried is not None and zero <= date.fromisoformat(carried.zero) else None


def _unread(found: tuple[inrange.Stretch, ...], ground: Ground) -> tuple[inrange.Stretch, ...]:
    """The time from a move to the first good reading in the new water, where it is too long to be passed over."""
    first = found[0].since if found else ground.as_of
    if first - ground.since <= timedelta(hours=inrange.GAP_HOURS):
        return ()
    why = f"no reading for over {inrange.GAP_HOURS} h after the fish were moved on {shown(ground.since, ground.zone)}"
    return (inrange.Stretch(ground.since, first, inrange.UNREAD, why),)


def _days_of(one: Happening, zone: str) -> Iterator[date]:
    """The calendar days that a happening touches."""
    day, last = local_day(one.at, zone), local_day(one.until or one.at, zone)
    while day <= last:
        yield day
        day += timedelta(days=1)


def _extensions(happenings: list[Happening], begin: datetime, zone: str) -> tuple[tuple[date, int], ...]:
    """(first day, days) by which a period is longer: of each time without a break the whole days that it began, at
    least one; what has no length counts as one for its day, where nothing that has a length touches it. Days on which
    nobody is there are counted as days, those that something else touches aside."""
    spans: list[tuple[datetime, datetime]] = []
    lasting = [one for one in happenings if one.until is not None and one.event != ev.ABSENT]
    for one in sorted(lasting, key=lambda one: one.at):
        since, until = max(one.at, begin), one.until or one.at
        if spans and since <= spans[-1][1]:
            spans[-1] = (spans[-1][0], max(spans[-1][1], until))
        else:
            spans.append((since, until))
    day = timedelta(days=1)
    found = [(local_day(since, zone), max(1, -((since - until) // day))) for since, until in spans]
    touched = [(local_day(since, zone), local_day(until, zone)) for since, until in spans]
    alone = {local_day(one.at, zone) for one in happenings if one.until is None}
    found += [(one, 1) for one in alone if not any(first <= one <= last for first, last in touched)]
    for one in happenings:
        days = [d for d in _days_of(one, zone) if d > local_day(begin, zone)] if one.event == ev.ABSENT else []
        left = [d for d in days if d not in alone and not any(first <= d <= last for first, last in touched)]
        found += [(left[0], len(left))] if left else []
        alone |= {*left}
    return tuple(sorted(found))


def _nth_counted(
    zero: date, length: int, paused: frozenset[date], spans: Sequence[tuple[date, date]], today: date
) -> date:
    """The day on which ``length`` days have been counted since ``zero``, those left out that are paused or have a drug
    in the water.

    While a drug is in the water the count can go on tomorrow at the earliest.
    """
    day, counted = zero, 0
    while counted < length:
        day += timedelta(days=1)
        ends = [end for start, end in spans if start <= day <= end]
        if date.max in ends:
            return max(day - timedelta(days=1), today) + timedelta(days=length - counted)
        counted += not ends and day not in paused
    return day


def _within(spans: Iterable[tuple[date, date]], day: date) -> bool:
    return any(start <= day <= end for start, end in spans)


def _day_of(said: str | date) -> date:
    return said if isinstance(said, date) else date.fromisoformat(said)
