"""The plan: a pure function of the courses in one water system, the facts, and an instant.

``plan(courses, facts, as_of) -> Plan``. Nothing is patched: a fact is written, the plan is made again, and
:func:`reconcile` says what that changes in what is stored. What is done stays; a task's key is
(owner, step, id of the fact that anchored the run, n), so that an earlier fact entered late moves no key.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from functools import lru_cache
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from quarantine import evidence as ev
from quarantine import inrange
from quarantine.evidence import Happening, PeriodStanding, Standing
from quarantine.facts import AGAIN, DOSES, Condition, Fact, PlannedTask, in_order, is_again, known_out, local_day, utc
from quarantine.failures import Unknown
from quarantine.luggage import COPIED, Begun, Carried, Luggage
from quarantine.protocol import WHOLE_DAY, Band, Duration, Period, Protocol, Ramp, Repeat, Start, Step, Window
from quarantine.quantity import show
from quarantine.readings import PARAMETERS
from quarantine.water.ledger import Exposure, Water, exposures

TEMPERATURE_HOURS = 24
"""Temperatures so long before a run belong to it (rule C14)."""

AFTER_THE_END_DAYS = 7
"""A batch that is not signed off when its last period ends is looked at on: care is planned this far ahead."""

DAILY_CARE = ("look", "feed", "test")
"""Care that belongs to its day: once the window closes it is missed, and a person says why."""


READ_FIRST = ".read"
"""How the step of the reading ends that a dose is topped up to; the id of no step of a template has a dot."""


class Course(NamedTuple):
    """A batch in a water system, with its frozen protocol."""

    batch: str
    tank: str
    system: str
    zone: str
    protocol: Protocol
    arrival: Fact
    closed_at: datetime | None = None
    species: tuple[str, ...] = ()
    """the fish of the batch by name, as far as they are known"""


class Plan(NamedTuple):
    """Tasks in order of key, how each batch stands, and why a series ended before its time, by (batch, step)."""

    tasks: tuple[PlannedTask, ...]
    standings: dict[str, Standing]
    stops: dict[tuple[str, str], str]


def plan(courses: list[Course], facts: list[Fact], as_of: datetime, water: Water | None = None) -> Plan:
    """All tasks of one water system and how its batches stand, as the facts have it at ``as_of``.

    ``facts`` are those of the system in any order; those after ``as_of`` are left out. ``water`` (litres) is
    needed once something was dosed: it says when contact ends. The same facts give the same plan whatever the
    order in which they were entered. Without ``water`` a bath has no end.
    """
    known = ev.Known(facts, as_of)
    exposed = exposures(known.ordered, water, as_of)
    tasks: list[PlannedTask] = []
    standings: dict[str, Standing] = {}
    stops: dict[tuple[str, str], str] = {}
    for course in sorted(courses, key=lambda c: (c.arrival.at, c.batch)):
        twins = {c.batch for c in courses if c.protocol.fingerprint == course.protocol.fingerprint} - {course.batch}
        expansion = _Expansion(course, known, as_of, exposed, twins, {c.batch for c in courses})
        tasks += expansion.tasks()
        standings[course.batch] = expansion.standing
        stops |= {(course.batch, step): why for step, (_, why) in expansion.stops.items()}
    # Two batches may have one piece of work: of the water, and hung on one fact of it. The first has it.
    first = {task.key: task for task in reversed(tasks)}
    return Plan(tuple(sorted(first.values(), key=lambda t: t.key)), standings, stops)


def packed(
    courses: list[Course], facts: list[Fact], batch: str, at: datetime, water: Water | None, *, parts: bool = False
) -> dict[str, Any]:
    """What a batch takes along when it is moved at an instant: the part of the fact of its move that the plan and the
    evidence read again in the new water, as they have it in the old one (:mod:`quarantine.luggage`).

    ``parts``: others stay in the old water. Work of that water that hangs on one of its facts stays with them; the
    batch goes on with the same under keys of its own.
    """
    known = ev.Known(facts, at)
    course = next(c for c in courses if c.batch == batch)
    twins = {c.batch for c in courses if c.protocol.fingerprint == course.protocol.fingerprint} - {batch}
    there = {c.batch for c in courses}
    made = _Expansion(course, known, at, exposures(known.ordered, water, at), twins, there)
    evidence, before = made.evidence, made.luggage
    runs = [run for of in made.runs.values() for run in of]
    runs += [run for of in made.again.values() for _, run in of]
    others = {run.key: run.outcome for run in runs if run.outcome is not None and run.outcome.batch != batch}
    own = {fact.id for fact in known.own(batch)}
    roots = {evidence.entered_id, *(one.id for one in made.begun.values())} - own if parts else set()
    new = {root: f"{root}-{batch}" for root in roots if not root.endswith(batch)}
    settled = {run.key: run.outcome for run in runs if run.outcome and run.key.split(":")[2] in new} | others
    begun = {name: one._replace(id=new.get(one.id, one.id)) for name, one in made.begun.items()}
    ramps = {step.id for step in course.protocol.steps if step.ramp is not None}
    copied = {f.data[COPIED] for f in known.own(batch) if COPIED in f.data}
    of_others = [f for f in known.of("dose") if f.batch != batch and f.at >= made.since and f.id not in copied]
    return {
        "entered_id": new.get(evidence.entered_id, evidence.entered_id),
        "entered_at": evidence.entered_at,
        "count": evidence.alive,
        "happenings": [[one.at, one.event, one.why, one.until and min(one.until, at)] for one in evidence.of_water],
        "lifted_at": evidence.lifted_at,
        "exposures": [
            {
                "substance": one.substance,
                "since": one.since,
                "last_dose": one.last_dose,
                "until": min(one.until or at, at),
                "target": one.target_mg_per_l,
            }
            for one in evidence.exposures
        ],
        "in_range": {
            one.id: _in_range(one.in_range, made.zeros[one.id])
            for one in made.periods.values()
            if one.in_range is not None and one.in_range.zero is not None
        },
        "begun": {name: one._asdict() for name, one in begun.items()},
        "stops": {
            step: {"at": when, "why": why}
            for step, (when, why) in made.stops.items()
            if step not in ramps and step not in made.stopped
        },
        "settled": {
            **({key: list(one) for key, one in before.settled.items()} if before else {}),
            **{_renamed(key, new): [fact.id, fact.at] for key, fact in settled.items()},
        },
        "doses": [
            *(before.fact.data["doses"] if before else []),
            *({"id": fact.id, "at": fact.at, "data": _of_a_dose(fact.data)} for fact in of_others),
        ],
    }


def _renamed(key: str, roots: Mapping[str, str]) -> str:
    """A key that hangs on another fact."""
    owner, step, root, n = key.split(":")
    return f"{owner}:{step}:{roots.get(root, root)}:{n}"


def _in_range(counted: inrange.Count, zero: date) -> dict[str, Any]:
    return {
        "zero": zero.isoformat(),
        "since": counted.zero,
        "seconds": int(counted.counted.total_seconds()),
        "complete": counted.complete if counted.is_proven else None,
    }


def _of_a_dose(data: dict[str, Any]) -> dict[str, Any]:
    """Of a dose what gaps, pairs and the ceiling of a course ask; and what was said where it was too much."""
    asked = ("substance", "regimen", "route", "gives_high_mg_per_l", "target_mg_per_l", "counts", "eaten", "rescue")
    return {name: data[name] for name in asked if name in data}


class _Anchor(NamedTuple):
    """What a series of runs hangs on: an id for the key, the day (or instant) of its first run, or what it needs."""

    id: str
    day: date | None
    at: datetime | None
    reason: str
    needs: str | None = None
    since: datetime | None = None
    """the instant of what it hangs on"""


class _Amended(NamedTuple):
    """What the amendments that touched a step made of it."""

    day: date
    """no open run lies before it: an amendment plans nothing into the past"""
    root: str | None
    """the last amendment that began the step anew: its runs hang on that one, so that what was done by an older text is
    not taken for one of them; a later one that only goes on with them leaves them there"""
    since: datetime | None
    """when that was"""


class _Run(NamedTuple):
    n: int
    key: str
    day: date | None
    at: datetime | None
    outcome: Fact | None
    state: str
    reason: str
    needs: str | None
    ceiling: datetime | None = None
    """the elapsed ceiling since the run before (rule A12)"""

    @property
    def done_at(self) -> datetime | None:
        return self.outcome.at if self.outcome is not None and self.outcome.kind != "skip" else None


class _Held(NamedTuple):
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


def _days_of(one: Happening, zone: str) -> Iterator[date]:
    """The calendar days that a happening touches."""
    day, last = local_day(one.at, zone), local_day(one.until or one.at, zone)
    while day <= last:
        yield day
        day += timedelta(days=1)


def _extensions(happenings: list[Happening], begin: datetime, zone: str) -> tuple[tuple[date, int], ...]:
    """(first day, days) by which a period is longer: of each time without a break the whole days that it began, at
    least one; what has no length counts as one for its day, where nothing that has a length touches it."""
    spans: list[tuple[datetime, datetime]] = []
    for one in sorted((one for one in happenings if one.until is not None), key=lambda one: one.at):
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
    return tuple(sorted(found))


class _Spacing(NamedTuple):
    """The time to the next run, why, what it waits for instead, and whether one more run is needed (rule C14)."""

    every: Duration
    why: str = ""
    needs: str | None = None
    one_more: bool = False
    since: datetime | None = None
    """the reading that asks for it: what it brings forward is not due before it"""


class _Contact(NamedTuple):
    """The days from the first dose of a treatment to the last change that clears it."""

    first: date
    begun: bool
    last: date
    substance: str


class _Expansion:
    """One course being expanded. A class only because steps refer to each other: each is expanded once."""

    def __init__(
        self,
        course: Course,
        known: ev.Known,
        as_of: datetime,
        exposed: list[Exposure],
        twins: Collection[str] = (),
        there: Collection[str | None] = (),
    ) -> None:
        self.course = course
        self.there = there
        self.protocol = course.protocol
        self.zone = course.zone
        self.as_of = as_of
        self.today = local_day(as_of, course.zone)
        self.facts = known.ordered
        self.no_roots = known.no_roots
        self.own = known.own(course.batch)
        self.evidence = ev.gather(known, course.batch, course.zone, course.arrival, as_of, exposed)
        self.steps = {step.id: step for step in self.protocol.steps}
        self.luggage = self.evidence.luggage
        self.since = self.evidence.since or course.arrival.at
        before = _settled_before(self.luggage)
        self.outcomes = {**known.outcomes, **before} if before else known.outcomes
        keys = dict.fromkeys([*before, *(f.data["key"] for f in self.own if f.data.get("key") in known.outcomes)])
        own = [f for f in (self.outcomes[key] for key in keys) if f.batch == course.batch]
        series = [f for f in own if not is_again(f)]
        self.roots, self.given = _roots(series), _given(series)
        self.shared = _Shared(*_of_others(known, course.batch, self.since, twins))
        self.lapses = self._lapses(known.of("lapse"))
        self.looks = [f for f in self.own if f.kind == "look"]
        self.daily = _daily_outcomes([*self.looks, *known.read_in.get(course.tank, ())], course, self.since)
        self.words = [f for f in self.own if f.kind == "word"]
        self.amended = _amendments(self.own, course.batch)
        self.stopped = _stopped(self.own, course.batch, self.amended)
        self.stops: dict[str, tuple[datetime, str]] = {}
        self.ended: dict[str, tuple[str, datetime]] = {}
        """step -> root of its keys and end, of a series that ended before its first run"""
        self.known: dict[datetime, ev.Evidence] = {}
        self.runs: dict[str, list[_Run]] = {}
        self.again: dict[str, list[tuple[Step, _Run]]] = {}
        """step -> what water changes called for: doses again, and the readings before them (rule C1)"""
        self.begun: dict[str, Begun] = {}
        """step or period -> the reading by which it began"""
        self.zeros: dict[str, date] = {}
        self.earliest: date | None = None  # known once the steps that do not follow a period are expanded
        self.periods = {p.id: self._period(p) for p in self.protocol.periods}
        for step in self.protocol.steps:
            if step.repeat is None or step.repeat.until is None:
                self._expand(step)
        self.again = {step.id: list(self._again(step)) for step in self.protocol.steps if _redosed(step)}
        days = tuple(self._criterion_days())
        self.earliest = max([self.today, *(day for _, day in days)])
        self.standing = Standing(self.evidence, tuple(self.periods.values()), self.earliest, days)
        for step in self.protocol.steps:
            self._expand(step)

    def tasks(self) -> Iterator[PlannedTask]:
        closed = self.course.closed_at is not None
        for step in self.protocol.steps:
            runs = self.runs[step.id]
            numbered = step.kind in ("dose", "move") and not _as_needed(step)
            for run in runs:
                if closed and run.outcome is None:
                    continue
                yield self._task(step, run, _many(step, run, runs) if numbered else 0)
            for again, run in self.again.get(step.id, ()):
                if not closed or run.outcome is not None:
                    yield self._task(again, run, 0)

    def _task(self, step: Step, run: _Run, many: int) -> PlannedTask:
        course = self.course
        due_from, due_until, lapses_at = self._window(step, run)
        title = f"{step.title} ({run.n} of {many})" if many > 1 else step.title
        if step.ramp is not None and run.outcome is None and run.day is not None and run.day <= self.today:
            title += f": {self._ramped(step.ramp)}"
        return PlannedTask(
            key=run.key,
            system=course.system,
            tank=course.tank,
            batch=course.batch,
            kind=step.kind,
            step=step.id,
            title=title,
            day=run.day,
            due_from=due_from,
            due_until=due_until,
            lapses_at=lapses_at,
            state=run.state,
            needs=run.needs,
            reason=run.reason,
            outcome=run.outcome,
        )

    def _ramped(self, ramp: Ramp) -> str:
        """What a step of a ramp sets today: at most one step nearer to its end than the last reading was, nor than any
        other of the day: what was read once the heater was turned up calls for no second step."""
        read = [f for f in self.evidence.readings if f.data["parameter"] == ramp.parameter]
        if not read or self.as_of - read[-1].at > timedelta(hours=TEMPERATURE_HOURS):
            return f"read {PARAMETERS[ramp.parameter].title} first"
        last = Decimal(read[-1].data["value"])
        values = [Decimal(f.data["value"]) for f in read if local_day(f.at, self.zone) == self.today] or [last]
        now = min(values) if ramp.to >= last else max(values)
        goal = min(ramp.to, now + ramp.by) if ramp.to >= last else max(ramp.to, now - ramp.by)
        return (
            f"to {show(goal)} {PARAMETERS[ramp.parameter].unit} (it was {show(now)} {PARAMETERS[ramp.parameter].unit})"
        )

    def _lapses(self, lapses: list[Fact]) -> dict[str, Fact]:
        """Key -> the fact that it was missed: the last one, or that on which runs with an outcome hang already."""
        found: dict[str, Fact] = {}
        for fact in lapses:
            if not (fact.data["key"] in found and found[fact.data["key"]].id in self.roots):
                found[fact.data["key"]] = fact
        return found

    # --- periods and the forecast ---------------------------------------------------------------------

    def _period(self, period: Period) -> PeriodStanding:
        """Day zero moves by the template's events (rules A5, A7, B1); days that do not count are added."""
        anchor = self._anchor(period.start, period.id)
        first = anchor.day or self.today
        acting = [(self.protocol.events[one.event], one) for one in self.evidence.happenings]
        again = [
            one
            for action, one in acting
            if action == "restart"
            and local_day(one.restarts_at, self.zone) >= first
            and not (one.event == "fish_added" and period.start.kind == "entered")
        ]
        last = max(again, key=lambda one: one.restarts_at) if again else None
        zero = first if last is None else local_day(last.restarts_at, self.zone)
        because = anchor.reason if last is None else last.why
        for fact in self.evidence.merged:
            if period.id in fact.data["periods"] and (later := _day_of(fact.data["periods"][period.id])) > zero:
                zero, because = later, f"batch {fact.data['from']} is counted with it"
        self.zeros[period.id] = zero
        begun = [at for at in (anchor.since, last.restarts_at if last else None) if at is not None]
        begin = max(instant_at(zero, "00:00", self.zone), *begun, self.course.arrival.at)
        since = [(action, one) for action, one in acting if (one.until or one.at) >= begin]
        held = _Held(
            frozenset(
                day for action, one in since if action == "pause" for day in _days_of(one, self.zone) if day > zero
            ),
            _extensions([one for action, one in since if action == "extend"], begin, self.zone),
            self.evidence.extended_days,
            begin,
        )
        made = {"clear": self._clear_period, "in-range": self._range_period}.get(period.counts, self._plain_period)
        standing = made(period, zero, because, held)._replace(first=first, begins=anchor.reason)
        if period.counts == "clear":  # what of a sign does not count is said by rules A4 and A5
            return standing
        return standing._replace(paused=tuple(sorted(held.paused)), longer=held.longer)

    def _plain_period(self, period: Period, zero: date, because: str, held: _Held) -> PeriodStanding:
        """A period of calendar days, or of those without a drug in the water."""
        length = period.length.value
        exposed = self.evidence.exposures if period.counts == "drug-free" else ()
        complete = held.settled(
            lambda more: _nth_counted(zero, length + more, held.paused, exposed, self.zone, self.today)
        )
        day = max(min((self.today - zero).days, length), 0)
        return PeriodStanding(period.id, period.title, length, zero, because, complete, day)

    def _clear_period(self, period: Period, zero: date, because: str, held: _Held) -> PeriodStanding:
        """A period of clear days: rules A4 and A5 say what counts, whatever the template says of events."""
        length, clear = period.length.value, self.evidence.clear
        need = length + held.by_hand
        missing = need - len(clear.counted)
        first = ev.next_countable(self.evidence)
        complete = first + timedelta(days=missing - 1) if missing > 0 else clear.counted[need - 1]
        day = max(min((self.today - zero).days, length), 0)
        return PeriodStanding(period.id, period.title, length, zero, because, complete, day)

    def _range_period(self, period: Period, zero: date, because: str, held: _Held) -> PeriodStanding:
        """A period of days in range, counted from readings (rule A10)."""
        band = inrange.Band(
            str(period.reading),
            None if period.low is None else Decimal(period.low),
            None if period.high is None else Decimal(period.high),
        )
        evidence = self.evidence
        since = max(held.since, self.course.arrival.at, self.since)
        cold = [at for at, _ in evidence.cold] + [
            o.until for o in evidence.happenings if o.event in ev.COOLS and o.until
        ]
        moments = tuple(cold) if band.parameter == "temperature" else ()
        carried = self._carried(period, zero)
        found = inrange.stretches(band, evidence.readings, since, self.as_of, self.zone, moments, evidence.altered)
        if carried is not None:
            found = (*self._unread(found), *found)
        found = inrange.without(found, held.spans(self.zone))

        def by(more: int) -> inrange.Count:
            days = period.length.value + more
            return inrange.count(found, days, self.protocol.events, self.as_of, because, carried)

        counted = by(held.more(held.settled(lambda more: local_day(by(more).complete, self.zone))))
        complete = local_day(counted.complete, self.zone)
        if counted.zero is not None:
            zero = local_day(counted.zero, self.zone)
        elif counted.because != because:
            zero = self.today  # it began again, and nothing was proven since
        return PeriodStanding(
            period.id,
            period.title,
            period.length.value,
            zero,
            counted.because,
            complete if counted.is_proven else max(complete, self.today),
            min(counted.counted // timedelta(days=1), period.length.value),
            counted,
        )

    def _carried(self, period: Period, zero: date) -> Carried | None:
        """What was proven of a period before the fish were moved here, unless it began again since."""
        carried = self.luggage.in_range.get(period.id) if self.luggage else None
        return carried if carried is not None and zero <= date.fromisoformat(carried.zero) else None

    def _unread(self, found: tuple[inrange.Stretch, ...]) -> tuple[inrange.Stretch, ...]:
        """The time from a move to the first good reading in the new water, where it is too long to be passed over."""
        first = found[0].since if found else self.as_of
        if first - self.since <= timedelta(hours=inrange.GAP_HOURS):
            return ()
        why = f"no reading for over {inrange.GAP_HOURS} h after the fish were moved on {self._shown(self.since)}"
        return (inrange.Stretch(self.since, first, inrange.UNREAD, why),)

    def _criterion_days(self) -> Iterator[tuple[str, date]]:
        """Of each criterion the first day on which it can be met if all goes well from now on."""
        end_of_contact = self._contact_forecast()
        for criterion in self.protocol.criteria:
            days: list[date] = []
            if criterion.kind == "period":
                days += [self.periods[str(criterion.value)].complete_on, *self._drug_free_ahead(str(criterion.value))]
            elif criterion.kind == "days_since_dose":
                days.append(end_of_contact + timedelta(days=int(criterion.value)))
            elif criterion.kind == "level":
                days.append(end_of_contact)
            elif criterion.kind == "tasks":
                days += [run.day for runs in self.runs.values() for run in runs if run.day and run.outcome is None]
                days += [day for step in self.protocol.steps if (day := self._waiting_ahead(step)) is not None]
                days += [run.day for made in self.again.values() for _, run in made if run.day and run.outcome is None]
            elif criterion.kind in ev.COUNTING and (earliest := ev.judge(criterion, self.evidence).earliest):
                days.append(earliest)
            if days:
                yield criterion.title, max(days)

    def _drug_free_ahead(self, name: str) -> Iterator[date]:
        """When a period of days without a drug ends at the earliest while doses of a course that began are still due:
        its last days come after the last of them left the water."""
        period = next(one for one in self.protocol.periods if one.id == name)
        treated = [step for step in self.protocol.steps if step.treatment]
        days = [run.day for step in treated for run in self.runs[step.id] if run.outcome is None and run.day]
        days += [day for step in treated if (day := self._word_ahead(step)) is not None]
        if period.counts == "drug-free" and days:
            counted = max((min(days) - max(self.periods[name].zero, self.evidence.arrived_on)).days - 1, 0)
            yield self._contact_forecast() + timedelta(days=max(period.length.value - counted, 1))

    def _contact_forecast(self) -> date:
        """The day the last dose will have left the water: when the clearing changes after it are done."""
        days = [local_day(e.until, self.zone) for e in self.evidence.exposures if e.until]
        treated = [step for step in self.protocol.steps if step.treatment]
        still = any(e.until is None for e in self.evidence.exposures)
        # What waits for a reading, a sign or a keeper's word may never be given, and puts nothing off.
        asked = [step for step in treated if not step.when and not _as_needed(step)]
        open_dose = any(
            run.outcome is None and (run.day or step in asked or self._word_ahead(step))
            for step in treated
            for run in self.runs[step.id]
        )
        if treated and (still or open_dose or not days):
            days += [
                run.day
                for step in self.protocol.steps
                if step.treatment or step.kind == "change"
                for run in self.runs.get(step.id, [])
                if run.day
            ]
            wet = [step for step in self.protocol.steps if step.treatment or step.kind == "change"]
            days += [day for step in wet if (day := self._waiting_ahead(step)) is not None]
            days.append(self.today)
        return max(days, default=self.today)

    def _waiting_ahead(self, step: Step) -> date | None:
        """The day of the last run of a series that waits for a temperature or only for a keeper's word, or begins after
        one that does. By the slowest row of its table: a forecast promises nothing that only a warm tank could keep."""
        runs, repeat = self.runs.get(step.id, []), step.repeat
        if not runs or runs[-1].day is not None or runs[-1].outcome is not None:
            return None
        times = repeat.times if repeat is not None else 1
        if times is None:
            return None
        bands = repeat.by_temperature if repeat is not None else ()
        slowest = max((_hours(band.every) for band in bands), default=_hours(_every(step)))
        if len(runs) > 1:
            left, before = max(times - runs[-1].n + 1, 1), runs[-2].day if bands else None
        else:
            left, before = times - 1, self._word_ahead(step) or self._behind_ahead(step)
        return None if before is None else max(before, self.today) + timedelta(days=-(-left * slowest // 24))

    def _word_ahead(self, step: Step) -> date | None:
        """The first day on which a series may be due of which all but a keeper's word is there: it has its sign or its
        reading, so that it counts as ahead."""
        runs = self.runs.get(step.id, [])
        words = bool(step.when) and all(condition.kind == "word" for condition in step.when)
        if not words or not runs or runs[0].day is not None or runs[0].outcome is not None:
            return None
        day = self._anchor(step.start, step.id).day
        return None if day is None else max(day, self.today)

    def _behind_ahead(self, step: Step) -> date | None:
        """The first day of what begins after a series that waits itself."""
        if step.start.kind != "after" or step.start.subject not in self.steps:
            return None
        last = self._waiting_ahead(self.steps[str(step.start.subject)])
        return None if last is None else last + timedelta(days=-(-_hours(step.start.by) // 24))

    def _horizon(self, period: str) -> date:
        complete = self.periods[period].complete_on
        last = max(complete, self.earliest or complete)
        return last if self.today < last else self.today + timedelta(days=AFTER_THE_END_DAYS)

    # --- anchors ---------------------------------------------------------------------------------------

    def _anchor(self, start: Start, owner: str) -> _Anchor:
        return getattr(self, f"_anchor_{start.kind}")(start, owner)  # type: ignore[no-any-return]

    def _from(self, id_: str, at: datetime, by: Duration, what: str) -> _Anchor:
        day = local_day(at, self.zone)
        if by.unit == "h":
            due = at + timedelta(hours=by.value)
            return _Anchor(id_, local_day(due, self.zone), due, f"{by} after {what} on {self._shown(at)}", None, due)
        return _Anchor(id_, day + timedelta(days=by.value), None, f"{by} after {what} on {day}", None, at)

    def _shown(self, at: datetime) -> str:
        return at.astimezone(ZoneInfo(self.zone)).strftime("%Y-%m-%d %H:%M")

    def _anchor_arrival(self, start: Start, owner: str) -> _Anchor:
        return self._from(self.course.arrival.id, self.course.arrival.at, start.by, "the fish arrived")

    def _anchor_entered(self, start: Start, owner: str) -> _Anchor:
        return self._from(
            self.evidence.entered_id, self.evidence.entered_at, start.by, "the last fish entered the water"
        )

    def _anchor_after(self, start: Start, owner: str) -> _Anchor:
        subject = str(start.subject)
        if subject in self.steps:
            runs = self._used(subject)
            if not runs:
                return self._without_runs(subject, start.by)
            return self._after_run(self.steps[subject].kind, runs[-1], start.by, f"the last {subject!r}")
        complete = self.periods[subject].complete_on
        what = f"period {subject!r} is complete"
        if start.by.unit == "h":  # a period ends with its day: hours count from the midnight after it
            complete += timedelta(days=1)
        return self._from(self.course.arrival.id, instant_at(complete, "00:00", self.zone), start.by, what)

    def _anchor_begun(self, start: Start, owner: str) -> _Anchor:
        subject = str(start.subject)
        runs = self._used(subject)
        if not runs:
            return self._without_runs(subject, start.by)
        return self._after_run(self.steps[subject].kind, runs[0], start.by, f"the first {subject!r}")

    def _without_runs(self, subject: str, by: Duration) -> _Anchor:
        """What hangs on a series that ended before its first run goes on from there: nothing after it may be lost."""
        if subject in self.ended:
            root, at = self.ended[subject]
            return self._from(root, at, by, f"{subject!r} was stopped, not once done,")
        return _Anchor(self.course.arrival.id, None, None, "", f"waits for {subject!r}, which is not planned")

    def _used(self, subject: str) -> list[_Run]:
        """The runs of a step that others hang on: of one that is given as needed, those that were asked for."""
        runs = self._expand(self.steps[subject])
        asked = [run for run in runs if run.day is not None] if _as_needed(self.steps[subject]) else []
        return asked or runs

    def _after_run(self, kind: str, run: _Run, by: Duration, what: str) -> _Anchor:
        root = run.key.split(":")[2]
        if run.done_at is not None:
            return self._from(root, run.done_at, by, what)
        if run.day is None:
            return _Anchor(root, None, None, "", run.needs)
        # Care belongs to its day: what was missed is not done later, so nothing waits for it.
        behind = run.outcome is not None or (run.state == "missed" and kind in DAILY_CARE)
        day = run.day if behind else max(run.day, self.today)
        at = self._local(day, run.at)
        return self._from(root, at, by, f"{what} (planned)")

    def _local(self, day: date, at: datetime | None) -> datetime:
        return at if at is not None and local_day(at, self.zone) == day else instant_at(day, "12:00", self.zone)

    def _anchor_sign(self, start: Start, owner: str) -> _Anchor:
        seen = [f for f in self.looks if start.subject in f.data.get("signs", ())]
        if not seen:
            return _Anchor(self.course.arrival.id, None, None, "", f"waits until {start.subject!r} is seen")
        return self._from(_first_entered(seen), seen[0].at, start.by, f"{start.subject!r} was seen")

    def _anchor_reading(self, start: Start, owner: str) -> _Anchor:
        found = [
            fact
            for fact in self.evidence.readings
            if fact.data["parameter"] == start.subject and fact.at >= self.since and _within(start, fact)
        ]
        begun = self.luggage.begun.get(owner) if self.luggage else None
        if begun is None and found:
            begun = Begun(_first_entered(found), found[0].at, found[0].data["value"])
        if begun is None:
            return _Anchor(self.course.arrival.id, None, None, "", f"waits for a reading of {start.subject}")
        self.begun[owner] = begun
        return self._from(begun.id, begun.at, start.by, f"{start.subject} was {begun.value}")

    def _anchor_word(self, start: Start, owner: str) -> _Anchor:
        said = self._said(start, owner)
        if not said:
            return _Anchor(self.course.arrival.id, None, None, "", f"waits for a keeper's word: {start.subject}")
        return self._from(_first_entered(said), said[0].at, start.by, f"a keeper said {start.subject!r}")

    def _said(self, start: Start, owner: str) -> list[Fact]:
        """A keeper's words that start a step, in order of time; one said to an older text starts nothing anew."""
        amended, sentence = self.amended.get(owner), str(start.subject).casefold()
        since = (amended.since if amended else None) or self.course.arrival.at
        return [f for f in self.words if f.data["word"].casefold() == sentence and f.at >= since]

    # --- runs ------------------------------------------------------------------------------------------

    def _expand(self, step: Step) -> list[_Run]:
        if step.id not in self.runs:
            if _as_needed(step):
                runs = self._uses(step)
            else:
                anchor = self._rooted(step, self._anchor(step.start, step.id))
                runs = self._chain(step, list(self._series(step, anchor)))
            stop, first = self._stop(step, runs), runs[0] if runs else None
            runs = self._applying(step, runs) if step.when else runs
            left = self._up_to_stop(step, runs, stop)
            if stop is not None and not left and first is not None and first.day is not None:
                self.ended[step.id] = (first.key.split(":")[2], stop)
            self.runs[step.id] = left
        return self.runs[step.id]

    def _rooted(self, step: Step, anchor: _Anchor) -> _Anchor:
        """An anchor with the id that the keys of its runs carry.

        A course that was begun keeps it when the look, the reading or the word that began it is taken back or corrected
        and another one stands: what was given is not offered again.
        """
        amended = self.amended.get(step.id)
        if amended is not None and amended.root is not None:
            return anchor._replace(id=amended.root)
        if anchor.day is None or step.start.kind not in ("sign", "reading", "word"):
            return anchor
        begun = [root for root, of in self.roots.items() if step.id in of and root not in self.no_roots]
        return anchor if anchor.id in begun or not begun else anchor._replace(id=begun[0])

    def _uses(self, step: Step) -> list[_Run]:
        """A step that is given as needed (rule A13): a run for each time a keeper asked for it, and one that waits."""
        assert step.repeat is not None
        once, most = step._replace(repeat=None), step.repeat.times
        last = self._horizon(step.repeat.until) if step.repeat.until else None
        runs: list[_Run] = []
        for word in sorted(self._said(step.start, step.id), key=lambda f: (f.entered_at, f.at, f.id))[:most]:
            runs += self._series(
                once, self._from(word.id, word.at, step.start.by, f"a keeper said {word.data['word']!r}")
            )
        runs = [run for run in runs if last is None or run.outcome or (run.day is not None and run.day <= last)]
        runs.sort(key=lambda run: (run.day or date.max, run.key))
        if (most is None or len(runs) < most) and (last is None or self.today <= last):
            needs = f"as needed, {needed_words(step.repeat)}: {step.start.subject}"
            runs += self._series(once, _Anchor(self.course.arrival.id, None, None, "", needs))
        return runs

    def _stop(self, step: Step, runs: list[_Run]) -> datetime | None:
        """When a series ended before its time: a person stopped the course (F41), or its template's condition was met
        after its first run was due (F8)."""
        found = []
        if (fact := self.stopped.get(step.id)) is not None:
            found.append((fact.at, f"the course was stopped on {self._shown(fact.at)}: {fact.data['because']}"))
        if self.luggage is not None and step.id in self.luggage.stops:
            found.append(self.luggage.stops[step.id])
        if (cleared := self._cleared(step)) is not None:
            found.append((cleared, f"clearing began on {self._shown(cleared)}: nothing is given any more"))
        since = self._window(step, runs[0])[0] if step.stop and runs else None
        for condition in step.stop if since is not None else ():
            if since is not None and (met := self._first_met(condition, since)) is not None:
                at, says = met
                found.append((at, f"stopped on {self._shown(at)}: {condition.title} ({says})"))
        if not found:
            return None
        self.stops[step.id] = min(found)
        return self.stops[step.id][0]

    def _cleared(self, dose: Step) -> datetime | None:
        """When the change was done that clears a dose which is given by readings: what it takes out is missed by no
        reading, and calls for no dose (rule C5)."""
        if dose.treatment is None or not dose.when:
            return None
        clearing = {one.id for one in self._clearing(dose) if one.start.kind == "after"}
        done = [f for f in self.outcomes.values() if f.kind == "done" and f.batch == self.course.batch]
        return min((f.at for f in done if f.data["key"].split(":")[1] in clearing), default=None)

    def _first_met(self, condition: Condition, since: datetime) -> tuple[datetime, str] | None:
        """The first fact from ``since`` on that met a condition, and in words how."""
        if condition.kind == "word":
            words = [f for f in self.words if f.data["word"].casefold() == str(condition.value).casefold()]
            return next(((f.at, "a keeper said so") for f in words if f.at >= since), None)
        if condition.kind == "event":
            events = [one for one in self.evidence.happenings if ev.means(one.event, str(condition.value))]
            return next(((one.at, one.why) for one in events if one.at >= since), None)
        facts = self.evidence.readings if condition.kind == "reading" else self.looks
        for fact in facts:
            if fact.at >= since and (verdict := ev.judge(condition, self._known(fact.at))).met:
                return fact.at, verdict.says
        return None

    def _up_to_stop(self, step: Step, runs: list[_Run], stop: datetime | None) -> list[_Run]:
        """The runs without those that were withdrawn with the series; what was missed before keeps its question."""
        if stop is None:
            return runs
        return [run for run in runs if run.outcome is not None or self._lapsed_by(step, run, stop)]

    def _lapsed_by(self, step: Step, run: _Run, at: datetime) -> bool:
        lapses_at = self._window(step, run)[2]
        return lapses_at is not None and lapses_at <= at

    def _applying(self, step: Step, runs: list[_Run]) -> list[_Run]:
        """The runs that apply (F8). One that was missed is owed if it applied at any time while it could be done. Of
        the others one whose turn passed without it falls away; the last one due waits, and says for what, or is due on
        the day on which it came to apply."""
        kept: list[_Run] = []
        lacking = self._lacking(step, self.as_of)
        runs = list(runs)
        for place in range(len(runs)):
            run = runs[place]
            opens, _, lapses_at = self._window(step, run)
            if run.outcome is not None or opens is None:
                kept.append(run)
            elif lapses_at is not None and lapses_at <= self.as_of:
                kept += [run] if self._first_applied(step, opens, lapses_at) else []
            elif lacking is not None:
                following = runs[place + 1].day if place + 1 < len(runs) else None
                if following is not None and following <= self.today:
                    continue
                waits = run._replace(day=None, at=None, needs=f"applies when: {lacking}", state="planned", ceiling=None)
                return [*kept, waits, *(later for later in runs[place + 1 :] if later.outcome is not None)]
            elif (day := self._applies_on(step, run, opens, runs[place + 1 :])) is not None:
                at = run.at if day == run.day else None
                said = "; ".join(condition.title for condition in step.when)
                kept.append(run._replace(day=day, at=at, reason=f"{run.reason}; it applies: {said}"))
                if run.day is not None and (put_off := day - max(run.day, self.today)) > timedelta(0):
                    runs[place + 1 :] = [self._with_it(step, later, put_off) for later in runs[place + 1 :]]
        return kept

    def _with_it(self, step: Step, run: _Run, put_off: timedelta) -> _Run:
        """An open run behind one that waits for the next window: where the template counts from what was given, it
        moves with it, so that their distance stays."""
        follows = _after_window(step, run) == "shift" or (step.repeat is not None and step.repeat.from_ == "given")
        if not follows or run.day is None or run.outcome is not None or run.state != "planned":
            return run
        day = _on_weekday(run.day + put_off, step.window.weekdays)
        said = f"{run.reason}; moved from {run.day} to {day}: the one before waits for its next window"
        return run._replace(day=day, at=None if run.at is None else run.at + (day - run.day), reason=said)

    def _applies_on(self, step: Step, run: _Run, opens: datetime, later: list[_Run]) -> date | None:
        """The day of a run that applies now: its own, or the one on which it came to apply. None: its turn passed."""
        since = self._first_applied(step, opens, self.as_of) if opens <= self.as_of else None
        if since is None or run.day is None:
            return run.day
        day = max(run.day, local_day(since, self.zone))
        if self._window_over(step, day, since):
            day += timedelta(days=1)  # what it waited for came after the window of that day
        due = later[0].day if later else None
        return None if due is not None and due <= day else day

    def _first_applied(self, step: Step, since: datetime, until: datetime) -> datetime | None:
        """The first instant of a span at which all that a step asks for was met."""
        instants = {since, until} | {fact.at for fact in self.facts if since < fact.at < until}
        return next((at for at in sorted(instants) if self._lacking(step, at) is None), None)

    def _lacking(self, step: Step, at: datetime) -> str | None:
        """What a step waits for at an instant, in words; None when all is met. Unknown never counts as met."""
        for condition in step.when:
            verdict = self._branch(condition, at)
            if not verdict.met:
                return f"{condition.title} ({verdict.says})"
        return None

    def _branch(self, condition: Condition, at: datetime) -> ev.Verdict:
        if condition.kind == "word":
            said = [f for f in self.words if f.data["word"].casefold() == str(condition.value).casefold()]
            return ev.Verdict(any(f.at <= at for f in said), "a keeper has to say so: quarantine event word")
        if condition.kind == "group":
            return _of_group(str(condition.value), self.course.species)
        return ev.judge(condition, self._known(at))

    def _known(self, at: datetime) -> ev.Evidence:
        if at not in self.known:
            self.known[at] = ev.known_at(self.evidence, self.looks, at)
        return self.known[at]

    def _chain(self, step: Step, runs: list[_Run]) -> list[_Run]:
        """The series again from its first run where a run was missed and the template says reopen (rule A11).

        What was still ahead in the broken series falls away; the missed run stays until a person gives the reason.
        """
        for place, run in enumerate(runs):
            not_eaten = run.outcome if _not_eaten(run) else None
            lapse = not_eaten or self.lapses.get(run.key) or _skipped_move(step, run)
            if lapse is None or _after_window(step, run) != "reopen":
                continue
            if not_eaten is None and run.done_at is not None and run.done_at <= lapse.at:
                continue  # given in time and entered late
            if run.state == "planned" and lapse.id not in self.roots:
                continue  # it was moved since, and can still be given in time
            again = self._reopening(step, run, lapse)
            kept = [r for r in runs[place + 1 :] if r.outcome is not None]
            return runs[: place + 1] + kept + self._chain(step, list(self._series(step, again)))
        return runs

    def _reopening(self, step: Step, run: _Run, lapse: Fact) -> _Anchor:
        """The first day whose window was still open when the lapse was written down."""
        known = max(lapse.at, lapse.entered_at)
        day = local_day(known, self.zone)
        if _day_window(day, step.window, self.zone)[1] <= known:
            day += timedelta(days=1)
        return _Anchor(lapse.id, day, None, f"the series began again: a run was missed on {run.day}")

    def _series(self, step: Step, anchor: _Anchor) -> Iterator[_Run]:
        prefix = f"{self._owner(step)}:{step.id}:{anchor.id}:"
        repeat = step.repeat
        every = _every(step)
        times = 1 if repeat is None else repeat.times
        last = self._horizon(repeat.until) if repeat is not None and repeat.until else None
        day, at, reason = anchor.day, anchor.at, anchor.reason
        ceiling = _first_ceiling(step, anchor)
        amended = self.amended.get(step.id)
        n = 1
        spacing, longer = _Spacing(every), False
        bands = repeat.by_temperature if repeat is not None else ()
        changes, weekdays = step.kind == "change", step.window.weekdays
        while last is None or (day is not None and day <= last):
            key = f"{prefix}{n}"
            if times is not None and n > times and not (bands and key in self.outcomes):
                return
            settled = key in self.outcomes
            if amended and day is not None and day < amended.day and not settled:
                reason += f"; moved from {day} to {amended.day}: the protocol was amended"
                day, at = amended.day, None
            if n == 1 and day is not None and not settled and self._begun_too_late(step, anchor, day):
                reason += f"; moved from {day} to {day + timedelta(days=1)}: its window was over"
                day += timedelta(days=1)
            if changes and day is not None and (behind := self._behind(step, day, self.outcomes.get(key))):
                free, substance = behind
                reason += f"; moved from {day} to {free}: no planned change while {substance} acts (rule C11)"
                day, at = free, None
            if weekdays and day is not None and (opens := _on_weekday(day, weekdays)) != day:
                reason += f"; moved from {day} to {opens}: the window opens on {', '.join(weekdays)}"
                day, at = opens, None
            if n > 1:
                reason += f"; the first: {anchor.reason}"
            needs = spacing.needs or anchor.needs
            run = self._run(step, _Run(n, key, day, at, None, "planned", reason, needs, ceiling))
            run = self._apart(step, run, every)
            yield run
            if day is None:
                return
            if times is not None and _not_eaten(run) and _after_window(step, run) == "shift":
                times += 1  # a portion that was not eaten is no dose of the course (needs F26)
            if repeat is not None and bands:
                spacing = self._spacing(step, repeat, run, self.outcomes.get(f"{prefix}{n + 1}"))
                if spacing.one_more and times is not None and n < times and not longer:
                    times, longer = self._one_more(step, times), True
            day, at, reason = self._next(run, repeat.from_ if repeat else "planned", spacing.every, step)
            reason += spacing.why
            if spacing.since is not None and f"{prefix}{n + 1}" not in self.outcomes:
                day, at = self._not_before(spacing.since, day, at, step)
            if spacing.needs:
                day, at, reason = None, None, ""
            if repeat is not None and repeat.latest is not None:
                before = run.done_at or self._local(run.day or self.today, run.at)
                ceiling = before + timedelta(hours=repeat.latest.value)
            n += 1

    def _begun_too_late(self, step: Step, anchor: _Anchor, day: date) -> bool:
        """Whether the sign, reading or word that begins a series came after the window of its first day: that run is
        due in the next one, and not overdue at birth (rule A11)."""
        began = anchor.since if anchor.at is None and step.start.kind in ("sign", "reading", "word") else None
        return began is not None and self._window_over(step, day, began)

    def _window_over(self, step: Step, day: date, at: datetime) -> bool:
        """Whether an instant lies on a day, after the window of the step on it."""
        return local_day(at, self.zone) == day and _day_window(day, step.window, self.zone)[1] <= at

    def _spacing(self, step: Step, repeat: Repeat, run: _Run, outcome: Fact | None) -> _Spacing:
        """The time after a run by the temperatures recorded since (rule C14): after the slowest hatch, at the lowest,
        and before the fastest maturity, at the highest. Nothing is interpolated, and what was not read is asked for."""
        until = outcome.at if outcome is not None else self.as_of
        over = run.day is not None and (run.outcome is not None or run.state == "missed")
        begun = run.done_at or (self._local(run.day, run.at) if over and run.day else until)
        since = min(begun, until) - timedelta(hours=TEMPERATURE_HOURS)
        shown = _every(step)
        known = [f for f in self.evidence.readings if f.data["parameter"] == "temperature" and f.at <= until]
        read = [f for f in known if f.at > since]
        if outcome is not None and not read:
            return _Spacing(shown)
        read = read or known[-1:]
        if not read or (outcome is None and until - read[-1].at > timedelta(hours=inrange.GAP_HOURS)):
            return _Spacing(shown, needs="waits for a reading of temperature: the table of its repeats goes by it")
        celsius = [Decimal(f.data["value"]) for f in read]
        low, high = min(celsius), max(celsius)
        outside = [value for value in (low, high) if not any(band.holds(value) for band in repeat.by_temperature)]
        said = f"{show(low)} °C" if low == high else f"{show(low)} to {show(high)} °C"
        if outside and outcome is None:
            return _Spacing(
                shown, needs=f"waits: {show(outside[0])} °C is outside its table of temperatures; ask a veterinarian"
            )
        found = _by_table(repeat.by_temperature, low, high)
        if found is None:
            return _Spacing(shown)
        # Since when the readings ask for so soon a repeat: what a warm spell brings forward is not due before it.
        asked, coolest, hottest = read[0].at, celsius[0], celsius[0]
        for place, value in enumerate(celsius[:-1]):
            coolest, hottest = min(coolest, value), max(hottest, value)
            before = _by_table(repeat.by_temperature, coolest, hottest)
            if before is None or _hours(before.every) > _hours(found.every):
                asked = read[place + 1].at
        return found._replace(why=f", by the table at {said}{found.why}", since=asked)

    def _not_before(
        self, known: datetime, day: date | None, at: datetime | None, step: Step
    ) -> tuple[date | None, datetime | None]:
        """A run that a reading brings forward is due when it was read at the earliest: nothing was missed before."""
        if at is not None:
            return (day, at) if at >= known else (local_day(known, self.zone), known)
        first = local_day(known, self.zone)
        if day is None or day > first:
            return day, None
        return first + timedelta(days=_day_window(first, step.window, self.zone)[1] <= known), None

    def _one_more(self, step: Step, times: int) -> int:
        """The number of a course with one more run, as far as its regimen goes."""
        from quarantine.formulary import regimen

        most = regimen(step.treatment.regimen)[1].repeats.times if step.treatment else None
        return times if most is not None and times >= most else times + 1

    def _owner(self, step: Step) -> str:
        """Of a batch that was moved the water and the tank it arrived in: no key moves with the fish."""
        arrival = self.course.arrival
        return {"system": arrival.system, "tank": arrival.tank or self.course.tank, "batch": self.course.batch}[
            step.for_
        ]

    # --- changes inside a treatment that stays in the water (rules C1, C5, C11) -------------------------

    def _again(self, step: Step) -> Iterator[tuple[Step, _Run]]:
        """The doses that changes call for between the first dose and the beginning of clearing, each with its step."""
        assert step.treatment is not None
        from quarantine.formulary import regimen

        substance = regimen(step.treatment.regimen)[0].id
        ends = self._clearing_day(step)
        clearing = {one.id for one in self._clearing(step)}
        # What was one dose with a batch that is no longer in this water is this one's to make good.
        gone = {f.batch for f in self.shared.doses if f.id in self.shared.used and f.batch not in self.there}
        ours = {self.course.batch, *gone}
        for group in _groups(self.facts, substance, step.id, ours, clearing, self.zone, self.as_of):
            if group.outcome is not None:
                root, day = group.outcome.data["key"].split(":")[2], local_day(group.changes[-1].at, self.zone)
            else:
                root, day = _first_entered(list(group.changes)), self._again_on(step, group)
                ahead = [run.day for run in self.runs[step.id] if run.outcome is None and run.day is not None]
                # Clearing, or the next dose of the course, comes first; a stopped course gets none.
                if (ends and day >= ends) or (ahead and min(ahead) <= day) or step.id in self.stops:
                    continue
            key = f"{self._owner(step)}:{step.id}:{root}:{AGAIN}"
            says = "the full amount again" if step.treatment.after_change == "full" else step.treatment.mode
            reason = f"{self._changed(group)}; the template says: {says} (rule C1)"
            if step.treatment.mode == "top up to a reading":
                yield from self._read_first(step, substance, group, root)
            run = self._run(step, _Run(AGAIN, key, day, None, None, "planned", reason, None))
            flows = all(one.kind == FLOWED for one in group.changes)
            again = "while water flows through" if flows else "after a water change"
            yield step._replace(title=f"{step.title} again {again}"), run

    def _again_on(self, step: Step, group: _Group) -> date:
        """The day of the last change; the next one where its window is over, or a dose was given on it already."""
        assert step.treatment is not None
        from quarantine.formulary import regimen

        last, gap = group.changes[-1], regimen(step.treatment.regimen)[1].minimum_gap
        day = local_day(last.at, self.zone)
        closer = gap is not None and gap.unit == "h" and gap.value < 24
        given = group.dose is not None and local_day(group.dose.at, self.zone) == day and not closer
        if given or _day_window(day, step.window, self.zone)[1] <= last.at:
            day += timedelta(days=1)
        return _on_weekday(day, step.window.weekdays)

    def _read_first(self, step: Step, substance: str, group: _Group, root: str) -> Iterator[tuple[Step, _Run]]:
        """The reading that a dose is topped up to, where a kit reads the substance: after the change and before it."""
        reading = reading_step(step, substance)
        if reading is None:
            return
        since = group.changes[-1].at
        key = f"{self._owner(step)}:{reading.id}:{root}:{AGAIN}"
        read = [
            fact
            for fact in self.facts
            if fact.kind == "reading"
            and fact.tank == self.course.tank
            and fact.at >= since
            and fact.data["parameter"] == reading.reads[0]
            and (substance != "copper" or fact.data.get("form") == "free")
        ]
        outcome = self.outcomes.get(key) or (read[0] if read else None)
        if outcome is None and group.outcome is not None:
            return
        state = "planned" if outcome is None else "skipped" if outcome.kind == "skip" else "done"
        day = local_day(since, self.zone)
        yield reading, _Run(AGAIN, key, day, None, outcome, state, f"{self._changed(group)}; {reading.note}", None)

    def _changed(self, group: _Group) -> str:
        """ "water was changed: 20 L on 2026-03-04 10:00 and 10 L on 2026-03-04 18:00", "water flows through: 5 L an
        hour since 2026-03-04 10:00" """
        out = [one for one in group.changes if one.kind != FLOWED]
        said = [f"{show(Decimal(one.data['out_litres']))} L on {self._shown(one.at)}" for one in out]
        flows = {one.data["since"]: one.data for one in group.changes if one.kind == FLOWED}
        through = [self._through(data) for data in flows.values()]
        parts = [f"water was changed: {' and '.join(said)}"] if said else []
        parts += [f"water flows through: {' and '.join(through)}"] if through else []
        return "; ".join(parts)

    def _through(self, flow: dict[str, Any]) -> str:
        """ "5 L an hour since 2026-03-04 10:00" """
        rate, since = show(Decimal(flow["rate"]), 3), self._shown(flow["since"])
        if flow["until"] is None:
            return f"{rate} L an hour since {since}"
        return f"{rate} L an hour from {since} to {self._shown(flow['until'])}"

    def _clearing(self, dose: Step) -> list[Step]:
        """What brings a substance out: the changes that wait for its doses; without any, chores right after them."""
        changes = [s for s in self.protocol.steps if s.kind == "change" and self._waits(s, dose.id)]
        chores = [s for s in self.protocol.steps if s.kind == "chore" and s.start.subject == dose.id]
        return changes or [s for s in chores if s.start.kind == "after"]

    def _clearing_day(self, dose: Step) -> date | None:
        """The day on which clearing is due, once every dose of the course has its outcome."""
        if not all(run.outcome for run in self.runs[dose.id]):
            return None
        runs = [run for one in self._clearing(dose) for run in self.runs.get(one.id, ())]
        return min((run.day for run in runs if run.day is not None and run.outcome is None), default=None)

    def _waits(self, step: Step, name: str) -> bool:
        """Whether a step begins, directly or through other steps and periods, by another one."""
        starts = {period.id: period.start for period in self.protocol.periods}
        starts |= {one.id: one.start for one in self.protocol.steps}
        start: Start | None = step.start
        while start is not None and start.kind in ("after", "begun") and start.subject != name:
            start = starts.get(str(start.subject))
        return start is not None and start.kind in ("after", "begun")

    def _behind(self, step: Step, day: date, outcome: Fact | None) -> tuple[date, str] | None:
        """The day after the contact that a planned change would fall into, and with what; None: it may stay.

        A change that readings, signs or a keeper ask for is none that was planned, and stays; so does one that was
        done inside the contact. One that waited for the end of it stays moved, and what follows counts from there.
        """
        if step.kind != "change" or step.when or step.start.kind in ("sign", "reading", "word"):
            return None
        for contact in self._contacts(step):
            if contact.first < day <= contact.last or (contact.begun and day <= contact.first):
                free = contact.last + timedelta(days=1)
                early = outcome is not None and local_day(outcome.at, self.zone) < free
                return (free, contact.substance) if free > day and not early else None
        return None

    def _contacts(self, step: Step) -> Iterator[_Contact]:
        """The treatments that stay in the water, with the days of their contact, that a change has no part in."""
        for dose in self.protocol.steps:
            treatment = dose.treatment
            if treatment is None or self._waits(step, dose.id) or self._waits(dose, step.id):
                continue
            clearing = [one for one in self._clearing(dose) if one.kind == "change"]
            endless = any(one.repeat is not None and one.repeat.until for one in clearing)
            if endless or _as_needed(dose) or not _prolonged(dose):
                continue
            doses = [run for run in self._expand(dose) if run.state != "skipped"]
            last = [run.day for one in clearing for run in self._expand(one)]
            if doses and doses[0].day is not None and last and None not in last:
                from quarantine.formulary import regimen

                begun = doses[0].done_at is not None
                first = local_day(doses[0].done_at, self.zone) if doses[0].done_at else doses[0].day
                yield _Contact(first, begun, max(d for d in last if d), regimen(treatment.regimen)[0].name)

    def _apart(self, step: Step, run: _Run, every: Duration) -> _Run:
        """An open dose moves behind one that was given in its place, by a later code of its course or by one that was
        missed: two are never given to catch up (rule A11)."""
        if step.kind != "dose" or step.repeat is None or run.day is None or run.state != "planned":
            return run
        if _after_window(step, run) not in ("shift", "reopen"):
            return run
        _, _, root, _ = run.key.split(":")
        others = [f.at for of, n, f in self.given.get(step.id, ()) if of != root or n > run.n]
        free = self._from("", max(others), every, "another one was given") if others else None
        if free is None or free.day is None or free.day <= run.day:
            return run
        return run._replace(day=free.day, at=free.at, reason=f"{run.reason}; moved from {run.day}: {free.reason}")

    def _run(self, step: Step, run: _Run) -> _Run:
        """A run with its outcome, or with what the clock has made of it."""
        day = run.day
        outcome = self.outcomes.get(run.key)
        if outcome is None and day is not None and day <= self.today:
            outcome = self.daily.get((step.kind, step.reads, day))
            if outcome is None and step.kind == "test":
                outcome = _tested(self.daily, step.reads, day)
        if outcome is None and any(self.shared[:2]) and day is not None and run.n != AGAIN:
            outcome = self._done_for_others(step, run, day)
        if outcome is not None:
            return run._replace(outcome=outcome, state="skipped" if outcome.kind == "skip" else "done", needs=None)
        lapses_at = self._window(step, run)[2] if day is not None and day <= self.today else None
        return run._replace(state="missed") if lapses_at is not None and lapses_at <= self.as_of else run

    def _done_for_others(self, step: Step, run: _Run, day: date) -> Fact | None:
        """What was done in this water for another batch and is the same work: a dose by the same row within its minimum
        gap (rule B2), or a change, or a chore of the water, of the same protocol on the same day. It counts once."""
        if step.treatment is not None and step.treatment.water in ("system", "tank"):
            fits = self._same_dose(step.treatment.regimen, day, run.at)
            found = [fact for fact in self.shared.doses if fits(fact)]
        elif step.kind in ("change", "chore") and step.for_ != "batch":
            found = [
                fact
                for fact in self.shared.work
                if fact.data["key"].split(":")[1] == step.id and local_day(fact.at, self.zone) == day
            ]
        else:
            return None
        for fact in found:
            if self.shared.used.setdefault(fact.id, run.key) == run.key:
                return fact
        return None

    def _same_dose(self, row: str, day: date, at: datetime | None) -> Callable[[Fact], bool]:
        """Whether a dose is the one that is due: by the same row, and so near that both can never be given."""
        from quarantine.formulary import regimen

        gap = regimen(row)[1].minimum_gap
        hours = None if gap is None else int(gap.value) * (1 if gap.unit == "h" else 24)

        def fits(fact: Fact) -> bool:
            if fact.data.get("regimen") != row or fact.data.get("route") not in ("bath", "prolonged"):
                return False
            if hours is not None and hours < 24:
                return abs(fact.at - self._local(day, at)) < timedelta(hours=hours)
            apart = abs((local_day(fact.at, self.zone) - day).days)
            return apart < max(1, -(-(hours or 24) // 24))

        return fits

    def _next(self, run: _Run, from_: str, every: Duration, step: Step) -> tuple[date | None, datetime | None, str]:
        """When the next run is due: from the run really given, or from the one planned (F6).

        Where the template says shift, a run given after its window moves what follows, so that two are never
        given to catch up (rule A11).
        """
        assert run.day is not None
        shifts = _after_window(step, run) == "shift"
        if run.done_at is not None and (from_ == "given" or (shifts and self._late(step, run, every))):
            anchor = self._from("", run.done_at, every, "the one before was given")
            return anchor.day, anchor.at, anchor.reason
        day = run.day
        if (from_ == "given" or shifts) and run.outcome is None and run.state == "planned":
            day = max(day, self.today)
        before = "the one before" if day == run.day else "the one before was still open"
        if every.unit == "h":
            since = self._local(day, run.at)
            at = since + timedelta(hours=every.value)
            return local_day(at, self.zone), at, f"{every} after {before} on {self._shown(since)}"
        return day + timedelta(days=every.value), None, f"{every} after {before} on {day}"

    def _late(self, step: Step, run: _Run, every: Duration) -> bool:
        due_until = self._window(step, run)[1]
        if due_until is not None and run.at is not None and run.ceiling is None:
            due_until = run.at + timedelta(hours=every.value if every.unit == "h" else 24)
        return due_until is not None and run.done_at is not None and run.done_at > due_until

    def _window(self, step: Step, run: _Run) -> tuple[datetime | None, datetime | None, datetime | None]:
        """From when, until when, and after when it counts as missed (rule A11)."""
        if run.day is None:
            return None, None, None
        then = _after_window(step, run)
        lapses = then in ("keep", "reopen") or (then is None and step.kind in DAILY_CARE)
        if step.kind == "move" and then != "reopen":
            lapses = False  # the deadline of a move is never missed: it stays overdue, on top (rule A11)
        if run.ceiling is not None:
            due_from = run.at or _day_window(run.day, step.window, self.zone)[0]
            return due_from, run.ceiling, run.ceiling if lapses else None
        if run.at is not None:
            every = _every(step)
            open_for = timedelta(hours=every.value) if every.unit == "h" else timedelta(days=1)
            late = step.window.late
            more = timedelta(hours=late.value * (24 if late.unit == "d" else 1)) if late else timedelta(0)
            return run.at, run.at, run.at + open_for + more if lapses else None
        due_from, due_until = _day_window(run.day, step.window, self.zone)
        if not lapses:
            return due_from, due_until, None
        late = step.window.late
        if late is None:
            return due_from, due_until, due_until
        if late.unit == "h":
            return due_from, due_until, due_until + timedelta(hours=late.value)
        return (
            due_from,
            due_until,
            _day_window(run.day + timedelta(days=late.value), step.window, self.zone)[1],
        )


class _Shared(NamedTuple):
    """What was done in this water for other batches: doses, other work by the same protocol; fact -> the run it is."""

    doses: list[Fact]
    work: list[Fact]
    used: dict[str, str]


def _of_others(
    known: ev.Known, batch: str, since: datetime, twins: Collection[str]
) -> tuple[list[Fact], list[Fact], dict[str, str]]:
    """The doses of other batches in a water since a batch is in it, and the work of those with the same protocol."""
    doses = [f for f in known.of("dose") if f.batch not in (None, batch) and f.at >= since]
    work = [f for f in known.of("done") if f.batch in twins and f.at >= since] if twins else []
    if doses or work:
        copied = {f.data[COPIED] for f in known.own(batch) if COPIED in f.data}
        doses, work = ([f for f in of if f.id not in copied] for of in (doses, work))
    return doses, [f for f in work if COPIED not in f.data], {}


def _amendments(facts: list[Fact], batch: str) -> dict[str, _Amended]:
    """Step -> what the amendments that made it new or another one say of it (F4)."""
    found: dict[str, _Amended] = {}
    for fact in facts:
        if fact.kind == "amended" and fact.batch == batch:
            for step, made in fact.data["steps"].items():
                day, before = date.fromisoformat(made["from"]), found.get(step, _Amended(date.min, None, None))
                root = (fact.id, fact.at) if made["fresh"] else (before.root, before.since)
                found[step] = _Amended(day, *root)
    return found


def _stopped(facts: list[Fact], batch: str, amended: dict[str, _Amended]) -> dict[str, Fact]:
    """Step -> the fact that a person stopped its whole course (F41). A course that an amendment began anew under the
    same name is another one."""
    found = {f.data["step"]: f for f in facts if f.kind == "stopped" and f.batch == batch}
    anew = {step: made.since for step, made in amended.items() if made.since is not None}
    return {step: fact for step, fact in found.items() if step not in anew or fact.at >= anew[step]}


class _Group(NamedTuple):
    """Changes that one dose makes good: what came of it under its own key, and the last dose before them."""

    changes: tuple[Fact, ...]
    outcome: Fact | None
    dose: Fact | None


FLOWED = "flow"
"""What flowed through a water on one day, beside its changes: a kind that no stored fact has."""


def _flowed(facts: list[Fact], zone: str, as_of: datetime) -> tuple[list[Fact], list[Fact]]:
    """What flows through a water, a piece for each local day, as if it were changed when that day ends or the flow
    does: the pieces that are over at ``as_of``, and those to come up to the end of the day after.

    A piece keeps its id when its flow is said to have ended in it, or is corrected.
    """
    flows = [fact for fact in facts if fact.kind == "exchange"]
    pieces: list[Fact] = []
    for place, flow in enumerate(flows):
        following = next((one.at for one in flows[place + 1 :] if one.tank == flow.tank), None)
        said = flow.data.get("until")
        end = min((at for at in (following, datetime.fromisoformat(said) if said else None) if at), default=None)
        day, since = local_day(flow.at, zone), flow.at
        runs = Decimal(flow.data["litres_per_hour"]) > 0
        while runs and (end is None or since < end) and day <= local_day(as_of, zone) + timedelta(days=1):
            day += timedelta(days=1)
            midnight = instant_at(day, "00:00", zone)
            until = midnight if end is None else min(midnight, end)
            told = {"rate": flow.data["litres_per_hour"], "since": flow.at, "until": end if until == end else None}
            id_ = f"{flow.id}-{day - timedelta(days=1)}"
            pieces.append(flow._replace(id=id_, kind=FLOWED, at=until, batch=None, data=told))
            since = midnight
    pieces = in_order(pieces)
    return [one for one in pieces if one.at <= as_of], [one for one in pieces if one.at > as_of]


def _groups(
    facts: list[Fact],
    substance: str,
    step: str,
    ours: Collection[str | None],
    clearing: set[str],
    zone: str,
    as_of: datetime,
) -> Iterator[_Group]:
    """The changes inside a treatment, by the dose that makes them good: one for all since the dose before.

    A dose makes good what it was entered after; what was entered late calls for another. Once a clearing step is done
    the treatment has ended, until the course doses again. ``facts`` are those of the water, in order. What flows
    through all the time is made good a day at a time: nothing of it is due twice, so the next day's waits until what
    went before is made good. ``ours`` are the batches whose doses count as those of this course.
    """
    pending: list[Fact] = []
    last, inside = None, False
    over, coming = _flowed(facts, zone, as_of)
    pieces = {one.id: one for one in (*over, *coming)}
    used: set[str] = set()
    """roots of doses and skips of a flow, with which no other dose may share its key"""
    skipped: set[str] = set()
    for fact in in_order([*facts, *over]) if over else facts:
        _, of, root, _ = str(fact.data.get("key", ":::")).split(":")
        mine = of == step and fact.batch in ours
        if fact.kind == "change" and inside and Decimal(fact.data["out_litres"]) > 0:
            pending.append(fact)
        elif fact.kind == FLOWED and inside and fact.id not in skipped:
            pending.append(_unused(fact, used))
        elif fact.kind == "done" and of in clearing and fact.batch in ours:
            pending, inside = [], False
        elif _stays_in(fact, substance) or (fact.kind == "skip" and mine and is_again(fact)):
            answered = tuple(one for one in pending if one.entered_at <= fact.entered_at)
            early = _piece_of(root, pieces) if mine and is_again(fact) else None
            if early is not None:
                used.add(root)
                if early.at > fact.at:  # before the day was over that it was planned for
                    answered = (*answered, early._replace(id=root, at=fact.at))
                    skipped |= {early.id} if fact.kind == "skip" else set()
            own = mine and root in {one.id for one in answered}
            if own:
                yield _Group(answered, fact, last)
            if fact.kind == "dose":
                last = fact
                inside = mine if of and not is_again(fact) else inside
            if fact.kind == "dose" or own:
                pending = [one for one in pending if one not in answered]
            if fact.kind == "dose":
                pending += [more for one in answered if (more := _corrected_since(one, fact)) is not None]
    following = next((one for one in coming if one.id not in skipped), None) if inside else None
    if pending:
        yield _Group(tuple(pending), None, last)
    elif following is not None:
        yield _Group((_unused(following, used),), None, last)


def _corrected_since(change: Fact, dose: Fact) -> Fact | None:
    """What a change was corrected by once a dose had made good what was on record of it, as a change of its own."""
    was: list[list[str]] = change.data.get("out_was", []) if change.kind == "change" else []
    more = Decimal(change.data["out_litres"]) - known_out(change, dose.entered_at) if was else Decimal(0)
    if more <= 0:
        return None
    at = datetime.fromisoformat(was[-1][1])
    id_ = f"{change.id}-{len(was)}"
    return change._replace(id=id_, at=at, entered_at=at, data={"out_litres": show(more), "in_litres": show(more)})


def _piece_of(root: str, pieces: dict[str, Fact]) -> Fact | None:
    """The day's flow that a dose hangs on, or the rest of it."""
    return pieces.get(root) or pieces.get(root.rpartition("-")[0])


def _unused(piece: Fact, used: set[str]) -> Fact:
    """A day's flow under an id of its own where a dose was given in the middle of it: the rest is another one."""
    n, id_ = 1, piece.id
    while id_ in used:
        n += 1
        id_ = f"{piece.id}-{n}"
    return piece._replace(id=id_)


def _stays_in(fact: Fact, substance: str) -> bool:
    """Whether a fact put a substance into the water."""
    data = fact.data
    return fact.kind == "dose" and data.get("substance") == substance and data.get("route") in ("bath", "prolonged")


def _prolonged(step: Step) -> bool:
    """Whether the dose of a step stays in the water (rule C5); a row that the formulary has no more is held anyway."""
    from quarantine.formulary import is_prolonged, regimen

    try:
        return step.treatment is not None and is_prolonged(regimen(step.treatment.regimen)[1])
    except Unknown:
        return False


def _redosed(step: Step) -> bool:
    """Whether a change inside the treatment calls for a dose in between: as published none is given, unless the
    template asks for the full amount again, and the full amount follows on its own date."""
    treatment = step.treatment
    asked = treatment is not None and (treatment.mode != "as published" or treatment.after_change == "full")
    return asked and _prolonged(step)


def reading_step(step: Step, substance: str) -> Step | None:
    """The reading before a dose that is topped up to it, as a step of its own; None where no kit reads it."""
    parameter = "salinity" if substance == "sodium-chloride" else substance
    if parameter not in PARAMETERS:
        return None
    title = PARAMETERS[parameter].title
    return step._replace(
        id=f"{step.id}{READ_FIRST}",
        kind="test",
        title=f"Read {title} after a water change",
        repeat=None,
        window=WHOLE_DAY,
        after_window="shift",
        treatment=None,
        reads=(parameter,),
        who="anyone",
        before=(),
        note="the dose is topped up to this reading (rules C1 and C13)",
    )


def reading_steps(protocol: Protocol) -> list[Step]:
    """The readings that may come before doses of a protocol, beside its own steps."""
    from quarantine.formulary import regimen

    doses = [s for s in protocol.steps if s.treatment and s.treatment.mode == "top up to a reading" and _redosed(s)]
    found = [reading_step(s, regimen(s.treatment.regimen)[0].id) for s in doses if s.treatment]
    return [one for one in found if one is not None]


def _given(outcomes: Iterable[Fact]) -> dict[str, list[tuple[str, int, Fact]]]:
    """Step -> the doses that were given of it: the id that each hangs on, its number, and the fact."""
    found: dict[str, list[tuple[str, int, Fact]]] = {}
    for fact in outcomes:
        if fact.kind in DOSES:
            _, step, root, n = fact.data["key"].split(":")
            found.setdefault(step, []).append((root, int(n), fact))
    return found


def _roots(outcomes: Iterable[Fact]) -> dict[str, set[str]]:
    """The ids on which runs with an outcome hang, in the order in which the outcomes were entered -> of which steps."""
    found: dict[str, set[str]] = {}
    for fact in sorted(outcomes, key=lambda f: (f.entered_at, f.at, f.id)):
        _, step, root, _ = fact.data["key"].split(":")
        found.setdefault(root, set()).add(step)
    return found


def _of_group(group: str, species: tuple[str, ...]) -> ev.Verdict:
    """Whether a batch has fish of a group; a fish of which nothing is on record is not known to be one."""
    from quarantine.formulary.groups import groups_of, shipped

    found = [name for name in species if group in groups_of(name, shipped())]
    if found:
        return ev.Verdict(True, f"{', '.join(found)}: {group}")
    return ev.Verdict(None, f"no fish of the batch is known to belong to {group}")


def _many(step: Step, run: _Run, runs: list[_Run]) -> int:
    """How many runs the series of a run has: one begun again counts anew, and runs that did not apply count."""
    series = run.key.rpartition(":")[0]
    times = (step.repeat.times if step.repeat else None) or 0
    return max(times, *(other.n for other in runs if other.key.rpartition(":")[0] == series))


def _as_needed(step: Step) -> bool:
    return step.repeat is not None and step.repeat.as_needed is not None


def needed_words(repeat: Repeat) -> str:
    """The limits of a step that is given as needed, in words (rule A13)."""
    apart = f"at least {repeat.as_needed} apart"
    return apart if repeat.daily is None else f"{apart}, at most {repeat.daily} a day"


def _every(step: Step) -> Duration:
    """The time between two runs; of a table the shortest."""
    if step.repeat is None or step.repeat.every:
        return step.repeat.every if step.repeat and step.repeat.every else Duration(1, "d")
    return min((band.every for band in step.repeat.by_temperature), key=_hours, default=Duration(1, "d"))


def _hours(duration: Duration) -> int:
    return duration.value * (24 if duration.unit == "d" else 1)


def _by_table(bands: tuple[Band, ...], low: Decimal, high: Decimal) -> _Spacing | None:
    """The time between two runs at temperatures from ``low`` to ``high``; None where no row has to do with them."""
    rows = [band for band in bands if _meets(band, low, high)]
    if not rows:
        return None
    slowest = max((band.every for band in rows), key=_hours)
    fastest = min((band.before for band in rows if band.before), key=_hours, default=None)
    if fastest is None or _hours(slowest) < _hours(fastest):
        return _Spacing(slowest)
    soonest = min((band.every for band in rows), key=_hours)
    why = f": eggs may hatch until {slowest} and be mature after {fastest}, so one more follows"
    return _Spacing(soonest, why, one_more=True)


def _meets(band: Band, low: Decimal, high: Decimal) -> bool:
    """Whether a row has to do with temperatures from ``low`` to ``high``."""
    above = band.at_least_c is None or high >= band.at_least_c
    return above and (band.below_c is None or low < band.below_c)


def _skipped_move(step: Step, run: _Run) -> Fact | None:
    """A move that was skipped, before its time ran out or after: without it the fish stay too long (rule A12)."""
    return run.outcome if step.kind == "move" and run.outcome is not None and run.outcome.kind == "skip" else None


def _not_eaten(run: _Run) -> bool:
    """Whether a run was a dose in food of which nothing was eaten."""
    return run.outcome is not None and run.outcome.kind in DOSES and run.outcome.data.get("eaten") == "none"


def _after_window(step: Step, run: _Run) -> str | None:
    """What the template says when a run was not done in time: by its ceiling, else by its window (rule A11)."""
    return step.repeat.then if run.ceiling is not None and step.repeat else step.after_window


def _first_ceiling(step: Step, anchor: _Anchor) -> datetime | None:
    """The elapsed ceiling of the first run of a series that begins hours after arrival: no run is before it, but the
    hours in the first water count alike (rule A12)."""
    latest = step.repeat.latest if step.repeat is not None else None
    if latest is None or anchor.at is None or step.start.kind not in ("arrival", "entered"):
        return None
    return anchor.at + timedelta(hours=max(latest.value - step.start.by.value, 0))


def _first_entered(facts: list[Fact]) -> str:
    """The id a run hangs on: of the fact that was entered first, so that an earlier one entered late moves no key."""
    return min(facts, key=lambda f: (f.entered_at, f.at, f.id)).id


def _within(start: Start, fact: Fact) -> bool:
    value = Decimal(fact.data["value"])
    return (start.low is None or value >= Decimal(start.low)) and (start.high is None or value <= Decimal(start.high))


def _settled_before(luggage: Luggage | None) -> dict[str, Fact]:
    """Key -> what settled it by a reading of the water that the fish were moved from."""
    if luggage is None:
        return {}
    return {
        key: luggage.fact._replace(id=id_, kind="done", at=at, data={"key": key})
        for key, (id_, at) in luggage.settled.items()
    }


def _daily_outcomes(facts: list[Fact], course: Course, since: datetime) -> dict[Any, Fact]:
    """What a day's looks and readings settle by themselves: the look, the feeding, the tests of that day, read since
    the fish are in this water."""
    found: dict[Any, Fact] = {}
    for fact in facts:
        if fact.kind == "look" and fact.batch == course.batch:
            day = local_day(fact.at, course.zone)
            if fact.data.get("seen") is not None:
                found.setdefault(("look", (), day), fact)
            if fact.data.get("offered", fact.data.get("appetite") is not None):
                found.setdefault(("feed", (), day), fact)
        elif fact.kind == "reading" and fact.tank == course.tank and _that_day(fact, since, course.zone):
            found[("reading", fact.data["parameter"], local_day(fact.at, course.zone))] = fact
    return found


def _day_of(said: str | date) -> date:
    return said if isinstance(said, date) else date.fromisoformat(said)


def _that_day(fact: Fact, since: datetime, zone: str) -> bool:
    """Whether a reading is of a day on which the fish were there: it may be of the morning before they came."""
    return fact.at >= since or local_day(fact.at, zone) == local_day(since, zone)


def _tested(daily: dict[Any, Fact], reads: tuple[str, ...], day: date) -> Fact | None:
    """The reading that completed a test: every parameter it names was read that day."""
    facts = [daily.get(("reading", name, day)) for name in reads]
    there = [fact for fact in facts if fact is not None]
    return max(there, key=lambda f: f.at) if there and len(there) == len(facts) else None


def _nth_counted(
    zero: date, length: int, paused: frozenset[date], exposed: Iterable[Exposure], zone: str, today: date
) -> date:
    """The day on which ``length`` days have been counted since ``zero``, those left out that are paused or have a drug
    in the water.

    While a drug is in the water the count can go on tomorrow at the earliest.
    """
    day, counted = zero, 0
    spans = [(local_day(e.since, zone), local_day(e.until, zone) if e.until else date.max) for e in exposed]
    while counted < length:
        day += timedelta(days=1)
        ends = [end for start, end in spans if start <= day <= end]
        if date.max in ends:
            return max(day - timedelta(days=1), today) + timedelta(days=length - counted)
        counted += not ends and day not in paused
    return day


def _on_weekday(day: date, weekdays: tuple[str, ...]) -> date:
    """The day itself, or the next one on which the window opens."""
    names = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
    while weekdays and names[day.weekday()] not in weekdays:
        day += timedelta(days=1)
    return day


@lru_cache(maxsize=4096)
def instant_at(day: date, clock: str, zone: str) -> datetime:
    """Local time on a day, as an instant in UTC; in the autumn's double hour the first one is meant.

    A time that the spring change skips is the instant at which clocks show an hour later.
    """
    hour, minute = clock.split(":")
    return utc(datetime.combine(day, time(int(hour), int(minute)), ZoneInfo(zone)))


@lru_cache(maxsize=4096)
def _day_window(day: date, window: Window, zone: str) -> tuple[datetime, datetime]:
    """The instants between which a window is open on a day; the whole day ends as the next one begins."""
    if window.until == "23:59":
        end = instant_at(day + timedelta(days=1), "00:00", zone)
    else:
        end = instant_at(day, window.until, zone)
    return instant_at(day, window.from_, zone), end


def timing(due_from: datetime, due_until: datetime, lapses_at: datetime | None, at: datetime) -> str:
    """How a moment lies to a task's window: ``early``, ``on time``, ``late``, or ``missed`` (rule A11, F40).

    The window's own first and last instant are on time; from ``lapses_at`` on it is missed. All in UTC.
    """
    if at < due_from:
        return "early"
    if lapses_at is not None and at >= lapses_at:
        return "missed"
    return "on time" if at <= due_until else "late"


def timing_of(task: Mapping[str, Any], at: datetime) -> str | None:
    """:func:`timing` of a stored task row; None for a task that has no date."""
    if not task["due_from"]:
        return None
    lapses_at = datetime.fromisoformat(task["lapses_at"]) if task["lapses_at"] else None
    return timing(datetime.fromisoformat(task["due_from"]), datetime.fromisoformat(task["due_until"]), lapses_at, at)


OUT_OF_TIME = {"early": "early", "late": "late", "missed": "after it was missed"}
"""What is said of a task that was done outside its window; on time is what is expected, and goes without saying."""


# --- Reconciling with what is stored ---------------------------------------------------------------------

SPOKEN = "23456789ABCEFGHJKMNPQRSTUVWXYZ"
"""Letters and digits that are not mistaken when spoken: no 0 or O, no 1, I or L. D is for doses alone."""


def code_of(key: str, kind: str, attempt: int = 0) -> str:
    """The spoken code of a task: four characters, for a dose D and four more. A clash takes the next attempt."""
    digest = int.from_bytes(hashlib.sha256(f"{key}:{attempt}".encode()).digest()[:8], "big")
    letters = []
    for _ in range(4):
        digest, rest = divmod(digest, len(SPOKEN))
        letters.append(SPOKEN[rest])
    return ("D" if kind == "dose" else "") + "".join(letters)


class Changes(NamedTuple):
    """What a new plan changes in what is stored."""

    new: list[PlannedTask]
    changed: list[tuple[str, dict[str, Any]]]
    """(task id, columns)"""


STORED_FIELDS = ("title", "day", "due_from", "due_until", "lapses_at", "state", "needs", "reason")


def reconcile(
    stored: list[dict[str, Any]], tasks: Iterable[PlannedTask], stops: Mapping[tuple[str, str], str] | None = None
) -> Changes:
    """Compare by key. Done and skipped rows stay as they are; what is no longer planned is withdrawn.

    ``stored`` rows carry Python values (dates, instants) under the columns of the task table. What a stop withdrew
    keeps why, by (batch, step).
    """
    rows = {row["key"]: row for row in stored}
    new, changed, seen = [], [], set()
    for task in tasks:
        seen.add(task.key)
        row = rows.get(task.key)
        if row is None:
            new.append(task)
        elif row["state"] not in ("done", "skipped"):
            values = {name: getattr(task, name) for name in STORED_FIELDS if row[name] != getattr(task, name)}
            if values:
                changed.append((row["id"], values))
    changed += [
        (row["id"], {"state": "withdrawn", **_because(row, stops or {})})
        for key, row in rows.items()
        if key not in seen and row["state"] in ("planned", "missed")
    ]
    return Changes(new, changed)


def _because(row: dict[str, Any], stops: Mapping[tuple[str, str], str]) -> dict[str, str]:
    why = stops.get((row["batch"], row["step"])) if stops else None
    return {} if why is None else {"reason": why}
