"""What a series of runs hangs on: arrival, entry, a sign, a reading, a word, or another step or period."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal

from quarantine.facts import Fact, local_day
from quarantine.luggage import Begun
from quarantine.plan.ground import Ground, first_entered
from quarantine.plan.model import DAILY_CARE, Anchor, Course, Run
from quarantine.plan.windows import day_window, instant_at, moment_of, shown
from quarantine.protocol import Duration, Start, Step


def counted_from(id_: str, at: datetime, by: Duration, what: str, zone: str) -> Anchor:
    """So long after an instant: hours are elapsed, days are of the calendar and have no time (rule A12)."""
    day = local_day(at, zone)
    if by.unit == "h":
        due = at + timedelta(hours=by.value)
        return Anchor(id_, local_day(due, zone), due, f"{by} after {what} on {shown(at, zone)}", None, due)
    return Anchor(id_, day + timedelta(days=by.value), None, f"{by} after {what} on {day}", None, at)


def waiting(course: Course, needs: str) -> Anchor:
    """An anchor without a day, and what it waits for."""
    return Anchor(course.arrival.id, None, None, "", needs)


def by_facts(start: Start, owner: str, ground: Ground) -> Anchor:
    """The anchor of a step or period that begins by what happened, and not behind another one."""
    course, evidence = ground.course, ground.evidence
    match start.kind:
        case "arrival":
            return counted_from(course.arrival.id, course.arrival.at, start.by, "the fish arrived", ground.zone)
        case "entered":
            what = "the last fish entered the water"
            return counted_from(evidence.entered_id, evidence.entered_at, start.by, what, ground.zone)
        case "sign":
            return _by_sign(start, ground)
        case "reading":
            return _by_reading(start, owner, ground)
        case "word":
            return _by_word(start, owner, ground)
    raise AssertionError(start.kind)


def _by_sign(start: Start, ground: Ground) -> Anchor:
    seen = [f for f in ground.looks if start.subject in f.data.get("signs", ())]
    if not seen:
        return waiting(ground.course, f"waits until {start.subject!r} is seen")
    return counted_from(first_entered(seen), seen[0].at, start.by, f"{start.subject!r} was seen", ground.zone)


def _by_reading(start: Start, owner: str, ground: Ground) -> Anchor:
    begun = first_reading(start, owner, ground)
    if begun is None:
        return waiting(ground.course, f"waits for a reading of {start.subject}")
    return counted_from(begun.id, begun.at, start.by, f"{start.subject} was {begun.value}", ground.zone)


def first_reading(start: Start, owner: str, ground: Ground) -> Begun | None:
    """The reading by which a step or period began, here or in the water that the fish were moved from."""
    begun = ground.luggage.begun.get(owner) if ground.luggage else None
    if begun is not None:
        return begun
    found = [
        fact
        for fact in ground.evidence.readings
        if fact.data["parameter"] == start.subject and fact.at >= ground.since and _within(start, fact)
    ]
    return Begun(first_entered(found), found[0].at, found[0].data["value"]) if found else None


def _within(start: Start, fact: Fact) -> bool:
    value = Decimal(fact.data["value"])
    return (start.low is None or value >= Decimal(start.low)) and (start.high is None or value <= Decimal(start.high))


def _by_word(start: Start, owner: str, ground: Ground) -> Anchor:
    words = said(start, owner, ground)
    if not words:
        return waiting(ground.course, f"waits for a keeper's word: {start.subject}")
    return counted_from(first_entered(words), words[0].at, start.by, f"a keeper said {start.subject!r}", ground.zone)


def said(start: Start, owner: str, ground: Ground) -> list[Fact]:
    """A keeper's words that start a step, in order of time; one said to an older text starts nothing anew."""
    amended, sentence = ground.amended.get(owner), str(start.subject).casefold()
    since = (amended.since if amended else None) or ground.course.arrival.at
    return [f for f in ground.words if f.data["word"].casefold() == sentence and f.at >= since]


def after_period(start: Start, complete: date, ground: Ground) -> Anchor:
    """The anchor of what begins after a period that is complete on a day."""
    what = f"period {start.subject!r} is complete"
    if start.by.unit == "h":  # a period ends with its day: hours count from the midnight after it
        complete += timedelta(days=1)
    at = instant_at(complete, "00:00", ground.zone)
    return counted_from(ground.course.arrival.id, at, start.by, what, ground.zone)


def after_run(kind: str, run: Run, by: Duration, what: str, ground: Ground) -> Anchor:
    """The anchor of what begins after a run, done or planned, of a step of a kind."""
    root = run.key.split(":")[2]
    if run.done_at is not None:
        return counted_from(root, run.done_at, by, what, ground.zone)
    if run.day is None:
        return Anchor(root, None, None, "", run.needs)
    day = max(run.day, _open_until(kind, run, ground))
    at = moment_of(day, run.at, ground.zone)
    return counted_from(root, at, by, f"{what} ({'planned' if run.outcome is None else 'skipped'})", ground.zone)


def after_stop(anchor: Anchor, stop: datetime, step: Step | None, ground: Ground) -> Anchor:
    """The anchor of what follows a course that a person stopped: until then its next run was ahead, so nothing that
    follows was due before, or in a window that was over."""
    day = local_day(stop, ground.zone)
    if step is not None and day_window(day, step.window, ground.zone)[1] <= stop:
        day += timedelta(days=1)
    if anchor.day is None or anchor.day >= day:
        return anchor
    reason = f"{anchor.reason}; not before {day}, when the course was stopped"
    return anchor._replace(day=day, at=None if anchor.at is None else max(anchor.at, stop), reason=reason)


def _open_until(kind: str, run: Run, ground: Ground) -> date:
    """The day up to which what begins after a run had to wait for it: today, or that on which it was skipped. Care
    belongs to its day: what was missed is not done later, so nothing waits for it."""
    if run.day is None or kind in DAILY_CARE:
        return date.min if run.outcome is not None or run.state == "missed" else ground.today
    return ground.today if run.outcome is None else local_day(run.outcome.at, ground.zone)


def after_none(start: Start, ended: tuple[str, datetime] | None, ground: Ground) -> Anchor:
    """What hangs on a series that ended before its first run goes on from there: nothing after it may be lost.

    ``ended`` is the root of the keys of that series and when it ended.
    """
    if ended is None:
        return waiting(ground.course, f"waits for {start.subject!r}, which is not planned")
    root, at = ended
    return counted_from(root, at, start.by, f"{start.subject!r} was stopped, not once done,", ground.zone)


def rooted(step: Step, anchor: Anchor, ground: Ground) -> Anchor:
    """An anchor with the id that the keys of its runs carry.

    A course that was begun keeps it when the look, the reading or the word that began it is taken back or corrected
    and another one stands: what was given is not offered again.
    """
    amended = ground.amended.get(step.id)
    if amended is not None and amended.root is not None:
        return anchor._replace(id=amended.root)
    if anchor.day is None or step.start.kind not in ("sign", "reading", "word"):
        return anchor
    begun = [root for root, of in ground.roots.items() if step.id in of and root not in ground.no_roots]
    return anchor if anchor.id in begun or not begun else anchor._replace(id=begun[0])
