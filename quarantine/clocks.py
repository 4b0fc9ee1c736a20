"""The four clocks of a batch, never mixed: each with its own zero, its count with a unit, and why it stands there.

Days since arrival (rule A1), days since fish last entered the shared water (rule B1), time in range at the treatment's
level (rule A10), hours since the last dose (rule A9). Beside them the periods of the protocol with all that moved them,
and the clear count (rule A4). Pure: all is read off a :class:`quarantine.evidence.Standing`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta
from itertools import groupby
from typing import NamedTuple
from zoneinfo import ZoneInfo

from quarantine.evidence import Evidence, Happening, PeriodStanding, Standing, own_clock
from quarantine.facts import local_day
from quarantine.protocol import Protocol
from quarantine.water.ledger import CONTACT_SHARE, Exposure

ENTRIES = ("fish_added", "shared_net")
"""What exposes fish to others: fish came in, or something wet was shared."""

AGAIN_BY = ("shared_net", "moved")
"""What begins the count of days since the last fish came in again, where the template says so."""

IN_RANGE_RULE = "pause"
"""What holds of a time out of range of which a protocol says nothing (rule A10: what is not known is not counted)."""

DAY = timedelta(days=1)
HOUR = timedelta(hours=1)


Extended = tuple[tuple[date | None, int], ...]
"""Days that people added at sign-off, each with its local day."""


class Counted(NamedTuple):
    """A count of whole days or hours. ``zero`` is its local day or its instant; ``so_far`` None: there is none to give,
    and ``because`` says why."""

    zero: date | datetime | None
    so_far: int | None
    unit: str
    because: str


class Gap(NamedTuple):
    """A time that was out of range or not read. ``why`` has the readings before and after it; ``rule`` is what the
    template makes of it: pause, extend, restart or note."""

    since: datetime
    until: datetime
    why: str
    rule: str


class InRange(NamedTuple):
    """The time in range of one period: so many whole hours of those it needs, since ``zero`` (None: not begun)."""

    period: str
    title: str
    zero: datetime | None
    hours: int
    need_hours: int
    because: str
    gaps: tuple[Gap, ...]


class Moved(NamedTuple):
    """What moved the end of a period by so many whole days. ``on`` is its local day (None: of no single day). ``rule``
    is the template's word (restart, pause, extend), or the rule of this tool."""

    on: date | None
    why: str
    rule: str
    days: int


class PeriodClock(NamedTuple):
    """One period: where it began and why, its day zero now, what moved its end, and the day it is complete.

    ``first`` + ``length`` days + all days of ``moved`` is ``complete_on`` for a period of calendar days.
    """

    period: str
    title: str
    counts: str
    length: int
    first: date
    begins: str
    zero: date
    because: str
    day: int
    moved: tuple[Moved, ...]
    complete_on: date
    """by what is on record so far"""
    put_off_to: date | None
    """the earliest day that medicine which is still due, or in the water, leaves for it, where that is a later one"""
    proven: bool


class Clocks(NamedTuple):
    """All clocks of one batch at one instant."""

    arrival: Counted
    entered: Counted
    exposed: tuple[tuple[date, str], ...]
    """days since arrival on which others came into the water, or something wet was shared"""
    own_clock: bool
    """whether the template lets the batch keep its clock when fish come in (rule B1)"""
    in_range: tuple[InRange, ...]
    dose: Counted
    periods: tuple[PeriodClock, ...]
    clear: Counted
    clear_need: int | None


def clocks(standing: Standing, protocol: Protocol, extended: Extended = ()) -> Clocks:
    """Every clock of a batch as its standing has it."""
    evidence, events = standing.evidence, protocol.events
    return Clocks(
        arrival=_days_since(evidence.arrived_on, evidence.today, "the fish arrived (rule A1)"),
        entered=entered_clock(evidence, events),
        exposed=tuple(
            dict.fromkeys(
                (local_day(one.at, evidence.zone), one.why) for one in evidence.happenings if one.event in ENTRIES
            )
        ),
        own_clock=own_clock(events),
        in_range=tuple(one for period in standing.periods if (one := range_clock(period, events)) is not None),
        dose=dose_clock(evidence),
        periods=tuple(period_clock(period, standing, protocol, extended) for period in standing.periods),
        clear=Counted(evidence.clear.zero, evidence.clear.days, "days", f"{evidence.clear.because} (rule A4)"),
        clear_need=next((int(c.value) for c in protocol.criteria if c.kind == "clear_days"), None),
    )


def _days_since(zero: date, today: date, because: str) -> Counted:
    return Counted(zero, (today - zero).days, "days", because)


def entered_clock(evidence: Evidence, events: dict[str, str]) -> Counted:
    """Days since fish last came into the shared water; a shared net counts where the template begins again by it, and
    so does a move to water without other fish (rules B1 and B3): where it does not, the count goes on, and says so."""
    others = [one for one in evidence.happenings if one.event in ENTRIES and one.at == evidence.entered_at]
    at, why = evidence.entered_at, others[-1].why if others else "the fish arrived"
    again = [one for one in evidence.happenings if one.event in AGAIN_BY and events[one.event] == "restart"]
    if again and again[-1].at > at:
        at, why = again[-1].at, again[-1].why
    move = evidence.luggage.fact if evidence.luggage else None
    if move is None or move.at <= at:
        return _days_since(local_day(at, evidence.zone), evidence.today, f"{why} (rule B1)")
    moved = (
        f"the move to {move.data['to']} on {local_day(move.at, evidence.zone)}, where no other fish were, leaves it as "
        "it was (rules B1 and B3)"
    )
    return _days_since(local_day(at, evidence.zone), evidence.today, f"{why}; {moved}")


def range_clock(period: PeriodStanding, events: dict[str, str]) -> InRange | None:
    """The time in range of a period by its readings (rule A10); None for one that counts no such time."""
    counted = period.in_range
    if counted is None:
        return None
    return InRange(
        period.id,
        period.title,
        counted.zero,
        int(counted.counted // HOUR),
        int(counted.need // HOUR),
        counted.because,
        tuple(
            Gap(one.since, one.until, one.why, events.get(one.event, IN_RANGE_RULE))
            for one in counted.stretches
            if one.event
        ),
    )


def dose_clock(evidence: Evidence) -> Counted:
    """Hours since the last dose, from the end of contact and not from the pour (rule A9)."""
    if not evidence.exposures:
        return Counted(None, None, "hours", "no dose is on record")
    still = [one for one in evidence.exposures if one.until is None]
    if still:
        return Counted(None, None, "hours", "; ".join(_still_in(one) for one in still))
    last = max(evidence.exposures, key=lambda one: one.until or one.last_dose)
    end = last.until or last.last_dose
    given = clock_text(last.last_dose, evidence.zone)
    because = f"contact with {_name(last)} ended, last given {given} (rule A9)"
    return Counted(end, int((evidence.as_of - end) // HOUR), "hours", because)


def _still_in(one: Exposure) -> str:
    from quarantine.formulary import load
    from quarantine.quantity import show, show_significant

    unit = load(one.substance).ledger_unit
    share = f"contact ends at {show(CONTACT_SHARE * 100)} % of the target (rule A9)"
    if one.high_mg_per_l is None:
        return f"{_name(one)} may still be in the water, how much is unknown; {share}"
    upper, target = show_significant(one.high_mg_per_l, 3, up=True), show_significant(one.target_mg_per_l, 3)
    return f"{_name(one)} is still in the water: upper bound {upper} {unit}, target {target} {unit}; {share}"


def _name(one: Exposure) -> str:
    from quarantine.formulary import load

    return load(one.substance).name


def clock_text(at: datetime, zone: str) -> str:
    """An instant as people at the site write it."""
    return at.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%d %H:%M")


# --- What moved a period ----------------------------------------------------------------------------------


def period_clock(
    period: PeriodStanding, standing: Standing, protocol: Protocol, extended: Extended = ()
) -> PeriodClock:
    """One period with all that moved its end."""
    counts = next(p.counts for p in protocol.periods if p.id == period.id)
    first, began = first_zero(period, standing, protocol), period.first or period.zero
    return PeriodClock(
        period.id,
        period.title,
        counts,
        period.length,
        first,
        period.begins if first == began else f"0 d after the fish arrived on {first}",
        period.zero,
        period.because,
        period.day,
        tuple(moves(period, standing, protocol, extended)),
        period.complete_on,
        put_off_to(period, standing, protocol),
        period.is_proven,
    )


def first_zero(period: PeriodStanding, standing: Standing, protocol: Protocol) -> date:
    """The day zero that a period began with. One that counts from the last fish in began at the arrival, and fish that
    came in later began it again: what that added is said of it like that of another restart (rule B1)."""
    first, evidence = period.first or period.zero, standing.evidence
    template = next(p for p in protocol.periods if p.id == period.id)
    added = [one for one in evidence.happenings if one.event == "fish_added"]
    moved = any(local_day(one.at, evidence.zone) == first for one in added) and first > evidence.arrived_on
    again = template.start.kind == "entered" and protocol.events["fish_added"] == "restart"
    return evidence.arrived_on if moved and again and template.counts != "clear" else first


def put_off_to(period: PeriodStanding, standing: Standing, protocol: Protocol) -> date | None:
    """The day of a period by the criterion that asks for it, where medicine that is still due, or that changes ahead
    have to bring out of the water, makes it a later one than the period's own; None where none does, or no criterion
    asks for the period."""
    titles = {c.title for c in protocol.criteria if c.kind == "period" and c.value == period.id}
    day = max((day for title, day in standing.days if title in titles), default=period.complete_on)
    return day if day > period.complete_on else None


def moves(period: PeriodStanding, standing: Standing, protocol: Protocol, extended: Extended = ()) -> Iterator[Moved]:
    """Everything that moved the end of a period, by how many days each: what began it again in order of time, then what
    did not count or made it longer since."""
    evidence, events = standing.evidence, protocol.events
    template = next(p for p in protocol.periods if p.id == period.id)
    acting = {
        rule: [one for one in evidence.happenings if events[one.event] == rule]
        for rule in ("restart", "pause", "extend")
    }
    by_hand: Extended = extended or (((None, evidence.extended_days),) if evidence.extended_days else ())
    if template.counts == "clear":
        yield from _clear_moves(period, evidence)
    else:
        first = first_zero(period, standing, protocol)
        entered = template.start.kind == "entered" and first == (period.first or period.zero)
        again = [o for o in acting["restart"] if not (o.event == "fish_added" and entered)]
        yield from _restarts(again, first, period.zero, evidence.zone)
        last = period.complete_on  # what comes after the end moves nothing
        yield from _pauses(period, acting["pause"], last, evidence.zone)
        for place, (day, days) in enumerate(period.longer):
            if day <= last:
                until = period.longer[place + 1][0] if place + 1 < len(period.longer) else date.max
                inside = [
                    o for o in acting["extend"] if day <= max(local_day(o.at, evidence.zone), period.zero) < until
                ]
                yield Moved(day, _joined(inside), "extend", days)
        if template.counts == "drug-free":
            yield from _drugged(period, evidence)
    yield from (Moved(day, "a person added days at sign-off", "by hand", days) for day, days in by_hand)


def _joined(happenings: Iterable[Happening]) -> str:
    return "; ".join(dict.fromkeys(one.why for one in happenings))


def _restarts(again: list[Happening], first: date, last: date, zone: str) -> Iterator[Moved]:
    """Each day up to the ``last`` on which the period began again, and how far that moved its day zero: days of nobody
    there after its end begin nothing again."""
    zero = first
    ordered = sorted(again, key=lambda one: one.restarts_at)
    for day, group in groupby(ordered, key=lambda one: local_day(one.restarts_at, zone)):
        if zero < day <= last:
            yield Moved(day, _joined(group), "restart", (day - zero).days)
            zero = day


def _pauses(period: PeriodStanding, acting: list[Happening], last: date, zone: str) -> Iterator[Moved]:
    """The days that do not count, those of one cause together."""
    by_cause: dict[str, list[date]] = {}
    for day in period.paused:
        if day <= last:
            touching = [one for one in acting if local_day(one.at, zone) <= day <= local_day(one.until or one.at, zone)]
            by_cause.setdefault(_joined(touching), []).append(day)
    yield from (Moved(days[0], why, "pause", len(days)) for why, days in by_cause.items())


def _clear_moves(period: PeriodStanding, evidence: Evidence) -> Iterator[Moved]:
    """Clear days are counted by rules A4 and A5, whatever the template says of events."""
    clear, first = evidence.clear, period.first or period.zero
    if clear.zero > first:
        yield Moved(clear.zero, clear.because, "rule A4", (clear.zero - first).days)
    days = [clear.zero + DAY * n for n in range(1, (evidence.today - clear.zero).days)]
    silent = [day for day in days if day not in clear.counted]
    if silent:
        yield Moved(silent[0], "days without a look that counts and says no signs", "rule A4", len(silent))


def _drugged(period: PeriodStanding, evidence: Evidence) -> Iterator[Moved]:
    """The days on which a drug was in the water, each once."""
    seen: set[date] = set()
    for one in evidence.exposures:
        since = max(local_day(one.since, evidence.zone), period.zero + DAY)
        until = min(local_day(one.until or evidence.as_of, evidence.zone), period.complete_on)
        days = {since + DAY * n for n in range((until - since).days + 1)} - seen
        seen |= days
        if days:
            yield Moved(since, f"{_name(one)} in the water", "drug-free days", len(days))
