"""Why a date is what it is, in sentences: the event and the rule behind each (needs F34). Pure.

A task hangs on a fact and on a step of its protocol; what moved it stands in its reason. The earliest day of sign-off
is the latest of what its criteria ask for; each period began somewhere, and each happening that moved it is named.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any, NamedTuple

from quarantine.clocks import Moved, PeriodClock, clock_text
from quarantine.evidence import INCIDENT_WORDS, TOGETHER, Standing
from quarantine.facts import DOSES, Fact, local_day
from quarantine.luggage import COPIED, MOVED_IN
from quarantine.plan import needed_words
from quarantine.protocol import EVENTS, MORE_EVENTS, Band, Protocol, Repeat, Start, Step
from quarantine.protocol.model import AS
from quarantine.quantity import show
from quarantine.readings import PARAMETERS

RULES = {
    "restart": "the template says restart: day 0 is that day",
    "pause": "the template says pause: not counted",
    "extend": "the template says extend: the period is longer",
    "by hand": "by a person",
}
"""What is said of each rule that moved a period; another one stands for itself."""

AFTER_WINDOW = {
    "shift": "what follows moves with it",
    "keep": "it counts as missed, and what follows keeps its days",
    "reopen": "it counts as missed, and the series begins again",
}


# --- A step in words --------------------------------------------------------------------------------------


def start_words(start: Start) -> str:
    """What a step or a period begins with: "3 d after arrival"."""
    what = {
        "arrival": "arrival",
        "entered": "the last fish in",
        "after": f"the end of {start.subject}",
        "begun": f"the first {start.subject}",
        "between": f"each {start.subject} but the last",
        "sign": f"seeing {start.subject}",
        "reading": f"a reading of {start.subject}",
        "word": f"a keeper's word ({start.subject})",
    }[start.kind]
    return f"{start.by} after {what}"


def repeat_words(step: Step) -> str:
    """How a step repeats, behind its start: ", every 7 d until observation is complete"."""
    repeat = step.repeat
    if repeat is None:
        return "" if step.start.kind == "between" else ", once"
    every = f"every {repeat.every}" if repeat.every else "by temperature"
    if repeat.as_needed:
        every = f"as needed, {needed_words(repeat)}"
    if repeat.times:
        return f", {every}, {repeat.times} times"
    return f", {every} until {repeat.until} is complete"


def branch_words(step: Step) -> str:
    """What a step applies to, and what ends it, in words (F8)."""
    when, stop = (" and ".join(c.title for c in step.when), " or ".join(c.title for c in step.stop))
    return (f"; only while: {when}" if when else "") + (f"; ends when: {stop}" if stop else "")


def table_words(repeat: Repeat) -> list[str]:
    """The rows of a table of temperatures, one each: "from 20 °C, under 24 °C: every 7 d, before 9 d"."""
    return [_row_words(band) for band in repeat.by_temperature]


def _row_words(band: Band) -> str:
    ends = [f"from {show(band.at_least_c)} °C"] if band.at_least_c is not None else []
    ends += [f"under {show(band.below_c)} °C"] if band.below_c is not None else []
    before = f", and before {band.before} have passed" if band.before else ""
    return f"{', '.join(ends) or 'at any temperature'}: every {band.every}{before}"


def window_words(step: Step) -> str:
    """When on its day the work is open, and what the template says once that is over (rule A11)."""
    window = step.window
    whole = (window.from_, window.until) == ("00:00", "23:59")
    said = "open all day" if whole else f"open {window.from_} to {window.until}"
    said += f" on {', '.join(window.weekdays)}" if window.weekdays else ""
    said += f", and {window.late} more" if window.late else ""
    then = AFTER_WINDOW.get(step.after_window or "")
    return f"{said}; after it {then}" if then else said


def event_lines(events: dict[str, str]) -> list[str]:
    """What happens to the periods, event by event; what is only noted, or is as it is by default, is left out, and what
    is another event by default stands beside that one."""
    lines = []
    for event in EVENTS:
        with_it = [one for one, says in MORE_EVENTS.items() if says == AS + event and events[one] == events[event]]
        if events[event] != "note":
            names = ", ".join(one.replace("_", " ") for one in (event, *with_it))
            lines.append(f"{names}: {events[event]}")
    for event, says in MORE_EVENTS.items():
        if events[event] != (events[says.removeprefix(AS)] if says.startswith(AS) else says):
            lines.append(f"{event.replace('_', ' ')}: {events[event]}")
    return lines or ["nothing moves them; what happens is noted"]


# --- One task ---------------------------------------------------------------------------------------------


def parts_of(reason: str) -> list[str]:
    """The parts of a task's reason, in the order in which they made its day; a semicolon in brackets parts nothing."""
    parts, depth, begin = [], 0, 0
    for place, letter in enumerate(reason):
        depth += (letter == "(") - (letter == ")")
        if depth <= 0 and reason[place : place + 2] == "; ":
            parts.append(reason[begin:place])
            begin = place + 2
    return [*parts, reason[begin:]]


def chain(
    reason: str, begins: tuple[Fact, str] | None, step: Step | None, protocol: Protocol | None, zone: str
) -> list[str]:
    """A task's day as a chain of sentences: the fact it hangs on and who entered it, the step of the protocol, its
    table of temperatures, then what the day was counted from and what moved it.

    ``begins`` is that fact with its keeper's name. What no template asks for has no step.
    """
    said = []
    if begins is not None:
        fact, keeper = begins
        said.append(f"It hangs on: {fact_words(fact)}, {clock_text(fact.at, zone)}{f', {keeper}' if keeper else ''}.")
    if step is not None and protocol is not None:
        said.append(
            f"{protocol.id} revision {protocol.revision} says: {start_words(step.start)}{repeat_words(step)}"
            f"{branch_words(step)}; {window_words(step)}."
        )
        if step.repeat is not None:
            said += [f"Its table: {row}." for row in table_words(step.repeat)]
    first, *moved = parts_of(reason) if reason else [""]
    if first:
        said.append(f"So its day: {first}.")
    return [*said, *(_then(part) for part in moved)]


def _then(part: str) -> str:
    first = "the first: "
    return f"The first of the series: {part.removeprefix(first)}." if part.startswith(first) else f"Then: {part}."


def root_of(key: str) -> str:
    """The id of the fact that a task hangs on, out of its key; of a piece of a flow the flow's."""
    return key.split(":")[2].partition("-")[0]


# --- The earliest day -------------------------------------------------------------------------------------


class Deciding(NamedTuple):
    """One criterion: the first day from today on on which it can be met if all goes well (None: it asks for no day, but
    for what is read or counted), and whether it is the one that the earliest day of sign-off waits for."""

    title: str
    day: date | None
    decides: bool


def deciding(standing: Standing, protocol: Protocol) -> list[Deciding]:
    """Every criterion in the protocol's order."""
    today = standing.evidence.today
    days = {title: max(day, today) for title, day in standing.days}
    found = [(criterion.title, days.get(criterion.title)) for criterion in protocol.criteria]
    if standing.waits_for:
        found.append((f"{TOGETHER}: batch {standing.waits_for} is in it too", standing.earliest))
    return [Deciding(title, day, day == standing.earliest > today) for title, day in found]


def moved_words(moved: Moved, *, dated: bool = True) -> str:
    """One thing that moved a period: its day, what it was, the rule, the days it added."""
    on = f"{moved.on}: " if moved.on and dated else ""
    days = f"{moved.days} day{'' if moved.days == 1 else 's'}"
    return f"{on}{moved.why}; {RULES.get(moved.rule, moved.rule)} (+{days})"


def period_lines(period: PeriodClock) -> list[str]:
    """A period as sentences: where it began, each thing that moved it, when it is complete."""
    lines = [
        f"{period.title} ({period.length} d, {period.counts} days): first day 0 {period.first}"
        f"{f', {period.begins}' if period.begins else ''}."
    ]
    lines += [f"  {moved_words(one)}." for one in period.moved]
    known = "" if period.proven else ", if it stays in range"
    lines.append(
        f"  Day {period.day} of {period.length}, counted from {period.zero}; complete on {period.complete_on} after "
        f"that day's look{known}{put_off_words(period, '; ')}."
    )
    return lines


def put_off_words(period: PeriodClock, before: str = "") -> str:
    """What follows the day on which a period is complete, where medicine that is still due, or still has to leave the
    water, makes it a later one; "" where none does."""
    day = period.put_off_to
    return f"{before}medicine that is still due or in the water puts it off: {day} at the earliest" if day else ""


# --- One day ----------------------------------------------------------------------------------------------


class OfDay(NamedTuple):
    """What a day is to a batch: its number, what was planned, what happened, what it did to periods."""

    day: date
    number: int
    planned: tuple[tuple[str, str, str, str], ...]
    """(code, title, state, reason)"""
    happened: tuple[tuple[datetime, str, str], ...]
    """(when, what, the id of its keeper)"""
    acted: tuple[str, ...]


def of_day(
    day: date,
    standing: Standing,
    periods: Iterable[PeriodClock],
    events: dict[str, str],
    tasks: list[dict[str, Any]],
    facts: Iterable[Fact],
) -> OfDay:
    """All of one local day. ``tasks`` are stored rows of the batch, ``facts`` those that concern it."""
    evidence = standing.evidence
    zone = evidence.zone
    mine = [task for task in tasks if task["day"] == day.isoformat() and task["state"] != "withdrawn"]
    happened = [f for f in facts if local_day(f.at, zone) == day]
    return OfDay(
        day,
        (day - evidence.arrived_on).days,
        tuple((t["code"], t["title"], t["state"], t["reason"] or "") for t in mine),
        tuple((f.at, f"{fact_words(f)}{late_words(f, zone)}", f.keeper) for f in happened),
        tuple(_acted(day, standing, periods, events)),
    )


def _acted(day: date, standing: Standing, periods: Iterable[PeriodClock], events: dict[str, str]) -> Iterator[str]:
    zone = standing.evidence.zone
    touching = [
        one
        for one in standing.evidence.happenings
        if local_day(one.at, zone) <= day <= local_day(one.until or one.at, zone)
    ]
    yield from dict.fromkeys(f"{one.why}: the template says {events[one.event]}" for one in touching)
    for period in periods:
        yield from (f"{period.title}: {moved_words(one, dated=False)}" for one in period.moved if one.on == day)
        if day == period.zero:
            yield f"{period.title}: day 0 ({period.because})"
        if day == (period.put_off_to or period.complete_on):
            first = ", at the earliest: medicine is still due or in the water" if period.put_off_to else ""
            yield f"{period.title}: complete after that day's look{first}"
    if day == standing.earliest:
        yield f"earliest day of sign-off, if all goes well{f', {standing.because}' if standing.because else ''}"


# --- Facts in words ---------------------------------------------------------------------------------------


def fact_words(fact: Fact) -> str:
    """What happened, in a few words, with its amounts and units."""
    data, kind = fact.data, fact.kind
    if kind in DOSES and "given" in data:
        return f"dose of {dose_words(data)}"
    if kind == "look":
        return f"look: {_look_words(data)}"
    if kind == "reading":
        known = PARAMETERS.get(data["parameter"])
        unit = data.get("unit") or (known.unit if known else "")
        said = f"{known.title if known else data['parameter']} {show(Decimal(data['value']))} {unit}"
        return f"reading: {said.rstrip()}"
    if kind == "died":
        return f"{data['count']} fish {'euthanised' if data.get('euthanised') else 'died'}"
    if kind in _COUNTED:
        return f"{data['count']} fish {_COUNTED[kind]}"
    if kind == "change":
        return f"water change: {show(Decimal(data['out_litres']))} L out, {show(Decimal(data['in_litres']))} L in"
    if kind == "incident":
        return f"incident: {INCIDENT_WORDS[data['what']]}"
    if kind == MOVED_IN:
        return f"moved from {data['from']} to {data['to']}"
    words = _NAMED.get(kind, kind.replace("_", " "))
    about = next((data[name] for name in _ABOUT if isinstance(data.get(name), str)), "")
    return f"{words}: {about}" if about else words


LATE = timedelta(hours=1)
"""What was entered longer after it happened says so."""


def late_words(fact: Fact, zone: str) -> str:
    """ ", entered late, 2026-02-25 18:00"; "" of what was entered when it happened. An arrival is entered with its
    batch, and what fish brought along when they were moved: neither was remembered late."""
    late = fact.entered_at - fact.at > LATE and fact.kind not in ("arrival", MOVED_IN) and COPIED not in fact.data
    return f", entered late, {clock_text(fact.entered_at, zone)}" if late else ""


def dose_words(data: dict[str, Any]) -> str:
    """ "0.12 g of praziquantel", as it was typed"""
    return f"{show(Decimal(data['given']))} {data['given_unit']} of {data['substance']}"


_COUNTED = {"arrival": "arrived", "added": "added", "moved": "moved out", "missing": "missing"}
_NAMED = {
    "topup": "top-up",
    "lift": "a hold lifted",
    "word": "a keeper's word",
    "exam": "examination",
    "amended": "the protocol amended",
    "stopped": "a course stopped",
    "skip": "a task skipped",
    "done": "a task done",
    "extended": "days added at sign-off",
    "closed": "signed off",
    "lapse": "a dose or a move ran out of time",
}
_ABOUT = ("says", "word", "title", "what", "from", "because", "who", "decision", "note")
"""Where in the data of a fact stands, first found, what it is about."""


def _look_words(data: dict[str, Any]) -> str:
    seen = "not counted" if data.get("seen") is None else f"{data['seen']} seen"
    signs = f", signs: {', '.join(data['signs'])}" if data.get("signs") else ""
    gone = f", gone: {', '.join(data['gone'])}" if data.get("gone") else ""
    return f"{seen}{', no signs' if data.get('no_signs') else ''}{signs}{gone}"
