"""What the plan of one course stands on: all that is known of it before its first step gets a date.

Nothing in here follows from a date that the plan sets, so every other room may ask for it in any order.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import date, datetime
from typing import Any, NamedTuple

from quarantine import evidence as ev
from quarantine.facts import DOSES, Fact, is_again, local_day
from quarantine.luggage import COPIED, Luggage, place_of
from quarantine.plan.model import Course
from quarantine.water.ledger import Exposure


class Amended(NamedTuple):
    """What the amendments that touched a step made of it."""

    day: date
    """no open run lies before it: an amendment plans nothing into the past"""
    root: str | None
    """the last amendment that began the step anew: its runs hang on that one, so that what was done by an older text is
    not taken for one of them; a later one that only goes on with them leaves them there"""
    since: datetime | None
    """when that was"""


class Shared(NamedTuple):
    """What was done in this water for other batches: doses, other work by the same protocol; fact -> the run it is."""

    doses: list[Fact]
    work: list[Fact]
    used: dict[str, str]


class Ground:
    """One course with its facts, as they are known at ``as_of``. It is never changed once it was made.

    A class of its own, because the attributes of one are read faster than those of a NamedTuple, and these are read
    a dozen times for every run.
    """

    def __init__(
        self, course: Course, courses: list[Course], known: ev.Known, as_of: datetime, exposed: list[Exposure]
    ) -> None:
        """``courses`` are all those of the water, ``exposed`` what was in it."""
        batch, protocol = course.batch, course.protocol
        twins = {c.batch for c in courses if c.protocol.fingerprint == protocol.fingerprint} - {batch}
        own = known.own(batch)
        self.course = course
        self.protocol = protocol
        self.steps = {step.id: step for step in protocol.steps}
        self.zone = course.zone
        self.as_of = as_of
        self.today = local_day(as_of, course.zone)
        self.there: Collection[str | None] = {c.batch for c in courses}
        """the batches in this water"""
        self.twins = twins
        """those of them under the same protocol"""
        self.facts = known.ordered
        """of the whole water, in order"""
        self.evidence = ev.gather(known, batch, course.zone, course.arrival, as_of, exposed, course.away)
        self.luggage = self.evidence.luggage
        self.since = self.evidence.since or course.arrival.at
        """since when the fish are in this water"""
        before = _settled_before(self.luggage)
        self.outcomes = {**known.outcomes, **before} if before else known.outcomes
        """key -> what came of that run"""
        keys = dict.fromkeys([*before, *(f.data["key"] for f in own if f.data.get("key") in known.outcomes)])
        series = [f for f in (self.outcomes[key] for key in keys) if f.batch == batch and not is_again(f)]
        self.roots, self.no_roots = _roots(series), known.no_roots
        self.given = _given(series)
        self.lapses = _lapses(known.of("lapse"), self.roots)
        self.looks = [f for f in own if f.kind == "look"]
        self.words = [f for f in own if f.kind == "word"]
        self.daily = _daily_outcomes([*self.looks, *known.read_in.get(course.tank, ())], course, self.since)
        self.amended = _amendments(own, batch)
        self.stopped = _stopped(own, batch, self.amended)
        self.shared = _of_others(known, batch, self.since, twins)
        here = course.closed_at is None and course.arrival.at <= as_of and self.since <= as_of
        self.is_there = here and place_of(own, batch, course.arrival).system == course.system
        """whether the batch is open and in this water"""


def _settled_before(luggage: Luggage | None) -> dict[str, Fact]:
    """Key -> what settled it by a reading of the water that the fish were moved from."""
    if luggage is None:
        return {}
    return {
        key: luggage.fact._replace(id=id_, kind="done", at=at, data={"key": key})
        for key, (id_, at) in luggage.settled.items()
    }


def _roots(outcomes: Iterable[Fact]) -> dict[str, set[str]]:
    """The ids on which runs with an outcome hang, in the order in which the outcomes were entered -> of which steps."""
    found: dict[str, set[str]] = {}
    for fact in sorted(outcomes, key=lambda f: (f.entered_at, f.at, f.id)):
        _, step, root, _ = fact.data["key"].split(":")
        found.setdefault(root, set()).add(step)
    return found


def _given(outcomes: Iterable[Fact]) -> dict[str, list[tuple[str, int, Fact]]]:
    """Step -> the doses that were given of it: the id that each hangs on, its number, and the fact."""
    found: dict[str, list[tuple[str, int, Fact]]] = {}
    for fact in outcomes:
        if fact.kind in DOSES:
            _, step, root, n = fact.data["key"].split(":")
            found.setdefault(step, []).append((root, int(n), fact))
    return found


def _lapses(lapses: list[Fact], roots: dict[str, set[str]]) -> dict[str, Fact]:
    """Key -> the fact that it was missed: the last one, or that on which runs with an outcome hang already."""
    found: dict[str, Fact] = {}
    for fact in lapses:
        if not (fact.data["key"] in found and found[fact.data["key"]].id in roots):
            found[fact.data["key"]] = fact
    return found


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


def _that_day(fact: Fact, since: datetime, zone: str) -> bool:
    """Whether a reading is of a day on which the fish were there: it may be of the morning before they came."""
    return fact.at >= since or local_day(fact.at, zone) == local_day(since, zone)


def _amendments(facts: list[Fact], batch: str) -> dict[str, Amended]:
    """Step -> what the amendments that made it new or another one say of it (F4)."""
    found: dict[str, Amended] = {}
    for fact in facts:
        if fact.kind == "amended" and fact.batch == batch:
            for step, made in fact.data["steps"].items():
                day, before = date.fromisoformat(made["from"]), found.get(step, Amended(date.min, None, None))
                root = (fact.id, fact.at) if made["fresh"] else (before.root, before.since)
                found[step] = Amended(day, *root)
    return found


def _stopped(facts: list[Fact], batch: str, amended: dict[str, Amended]) -> dict[str, Fact]:
    """Step -> the fact that a person stopped its whole course (F41). A course that an amendment began anew under the
    same name is another one."""
    found = {f.data["step"]: f for f in facts if f.kind == "stopped" and f.batch == batch}
    anew = {step: made.since for step, made in amended.items() if made.since is not None}
    return {step: fact for step, fact in found.items() if step not in anew or fact.at >= anew[step]}


def _of_others(known: ev.Known, batch: str, since: datetime, twins: Collection[str]) -> Shared:
    """The doses of other batches in a water since a batch is in it, and the work of those with the same protocol."""
    doses = [f for f in known.of("dose") if f.batch not in (None, batch) and f.at >= since]
    work = [f for f in known.of("done") if f.batch in twins and f.at >= since] if twins else []
    if doses or work:
        copied = {f.data[COPIED] for f in known.own(batch) if COPIED in f.data}
        doses, work = ([f for f in of if f.id not in copied] for of in (doses, work))
    return Shared(doses, [f for f in work if COPIED not in f.data], {})


def first_entered(facts: list[Fact]) -> str:
    """The id a run hangs on: of the fact that was entered first, so that an earlier one entered late moves no key."""
    return min(facts, key=lambda f: (f.entered_at, f.at, f.id)).id
