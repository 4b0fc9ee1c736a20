"""A batch over time: its periods, its doses and moves planned and done, and all that acted on its clocks; as lines and
as SVG.

Pure: values in, text out. Black and white: each kind has its own row, its own shape and its own word. A screen reader
finds every row with its word before it; the picture lists the same rows in words again, so that a print has them too.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from itertools import groupby
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from quarantine import evidence as ev
from quarantine.clocks import Clocks, clock_text
from quarantine.evidence import Happening, Standing
from quarantine.explaining import RULES, dose_words, fact_words, late_words, moved_words, put_off_words
from quarantine.facts import DOSES, Condition, Fact, local_day
from quarantine.luggage import MOVED_IN
from quarantine.protocol import Protocol
from quarantine.readings import PARAMETERS
from quarantine.reports.drawing import WIDTH, folded, line, path, picture, px, text, ticks

BEGINS = '<?xml version="1.0" encoding="UTF-8"?>\n<!-- A batch over time, drawn by quarantine -->\n'
"""The first bytes of each file, by which an older one is known again."""

KINDS = {
    "planned": "doses planned",
    "dose": "doses given",
    "move": "moves planned",
    "sign": "signs",
    "death": "deaths",
    "restart": "restarts",
    "fish": "fish in, out",
    "reading": "out of range",
    "other": "other",
}
"""The kinds of a row and the words of its line in the picture."""

_KIND_OF = {"outbreak": "death", "death": "death", "fish_added": "fish", "moved": "fish", "shared_net": "fish"}
"""Event of a protocol -> kind; signs by their name, anything else is other."""

_OF_FISH = ("arrival", "moved", "moved_in", "missing", "added")
_OTHERS = ("extended", "closed", "lift", "stopped")


class Row(NamedTuple):
    """One thing at one instant. ``listed``: whether it has a line of its own; a planned dose that was given and a move
    that was made have not."""

    at: datetime
    kind: str
    says: str
    listed: bool = True


class Span(NamedTuple):
    """One period: the day zero it began with, the one it counts from now, the days on which it began again, its end."""

    title: str
    first: date
    zero: date
    again: tuple[date, ...]
    complete_on: date
    says: str


class Timeline(NamedTuple):
    """A batch from its arrival to ``until``. ``now`` is the instant that it is seen from."""

    title: str
    says: str
    zone: str
    arrived_on: date
    until: datetime
    now: datetime
    spans: tuple[Span, ...]
    rows: tuple[Row, ...]


def timeline_of(
    name: str,
    protocol: Protocol,
    standing: Standing,
    counted: Clocks,
    facts: Iterable[Fact],
    tasks: Iterable[dict[str, Any]],
) -> Timeline:
    """The timeline of a batch. ``facts`` are those that concern it, in order; ``tasks`` its stored rows, of which the
    doses and the moves are asked."""
    evidence, known, work = standing.evidence, list(facts), list(tasks)
    zone = evidence.zone
    spans = tuple(
        Span(
            period.title,
            period.first,
            period.zero,
            tuple(one.on for one in period.moved if one.rule == "restart" and one.on is not None),
            period.complete_on,
            f"{period.title}: day 0 {period.zero}, complete on {period.complete_on} after that day's look"
            f"{put_off_words(period, '; ')}",
        )
        for period in counted.periods
    )
    rows = [
        *_doses(known, zone, [task for task in work if task["kind"] == "dose"]),
        *_moves(task for task in work if task["kind"] == "move"),
        *_of_fish(known, zone, {one.at for one in evidence.happenings if one.event == "moved"}),
        *_happenings(
            [one for one in evidence.happenings if local_day(one.at, zone) <= standing.earliest],
            protocol.events,
            zone,
            {f.at: f.data["to"] for f in known if f.kind == MOVED_IN},
            {f.at: late_words(f, zone) for f in known if f.kind == "look"},
        ),
        *_restarts(counted, zone),
        *_gaps(counted, zone),
        *_out_of_limit(protocol, evidence, [f for f in known if f.batch == evidence.batch]),
    ]
    if not any(fact.kind == "closed" for fact in known):
        rows.append(Row(_morning(standing.earliest, zone), "other", "earliest day of sign-off, if all goes well"))
    rows.sort(key=lambda row: (row.at, list(KINDS).index(row.kind), row.says))
    last = max([evidence.as_of, *(row.at for row in rows), *(_morning(one.complete_on, zone) for one in spans)])
    return Timeline(
        f"Batch {name}: {protocol.id} revision {protocol.revision}",
        "; ".join([*(span.says for span in spans), *(row.says for row in rows if row.kind == "restart")]),
        zone,
        evidence.arrived_on,
        last + timedelta(days=1),
        evidence.as_of,
        spans,
        tuple(dict.fromkeys(rows)),
    )


def _morning(day: date, zone: str) -> datetime:
    """Noon, which stands for a day that has no instant of its own."""
    return datetime.combine(day, time(12), ZoneInfo(zone))


# --- What the rows are made of ----------------------------------------------------------------------------


_SAID = {"planned": "not yet", "missed": "missed", "skipped": "skipped"}
"""States of a task as they are said of a dose or a move; one that is done was given, or made."""


def _doses(facts: list[Fact], zone: str, tasks: list[dict[str, Any]]) -> Iterator[Row]:
    """Each dose that was given beside the day it was planned for, and each that was not given."""
    planned = {task["key"]: task for task in tasks if task["day"]}
    given: set[str] = set()
    for fact in facts:
        if fact.kind in DOSES:
            task = planned.get(str(fact.data.get("key")))
            given |= {task["key"]} if task else set()
            against = f"planned for {task['day']}" if task else "without a task of this batch"
            said = dose_words(fact.data) if "given" in fact.data else str(fact.data["substance"])
            yield Row(fact.at, "dose", f"{said}, {against}{late_words(fact, zone)}")
    for key, task in planned.items():
        if task["state"] == "withdrawn" and key not in given:
            continue
        at = datetime.fromisoformat(task["due_from"])
        said = "given" if key in given else _SAID.get(task["state"], "given")
        yield Row(at, "planned", f"{task['title']}, planned for {task['day']}: {said}", listed=key not in given)


def _moves(tasks: Iterable[dict[str, Any]]) -> Iterator[Row]:
    """The moves of the protocol on the days they are planned for; one that was made has its row among the fish."""
    for task in tasks:
        if task["day"] and task["state"] != "withdrawn":
            made = task["state"] == "done"
            said = f"{task['title']}, planned for {task['day']}: {_SAID.get(task['state'], 'made')}"
            yield Row(datetime.fromisoformat(task["due_from"]), "move", said, listed=not made)


def _of_fish(facts: list[Fact], zone: str, moved: Collection[datetime]) -> Iterator[Row]:
    """What is on record of the fish themselves; a move that is told with what the template says of it is not told
    twice."""
    for fact in facts:
        said = f"{fact_words(fact)}{late_words(fact, zone)}"
        if fact.kind in _OF_FISH:
            if fact.kind != MOVED_IN or fact.at not in moved:
                yield Row(fact.at, "fish", said)
        elif fact.kind == "died":
            yield Row(fact.at, "death", said)
        elif fact.kind in _OTHERS:
            yield Row(fact.at, "other", said)


def _happenings(
    happenings: Iterable[Happening],
    events: dict[str, str],
    zone: str,
    moved_to: Mapping[datetime, str],
    late: Mapping[datetime, str],
) -> Iterator[Row]:
    """What may act on periods, each with what the template says of it; days on which nobody looked together. A day of
    two batches that were merged is one."""
    unlooked: dict[date, Happening] = {}
    for one in happenings:
        if one.event == "not_looked":
            unlooked.setdefault(local_day(one.at, zone), one)
            continue
        kind = "sign" if one.event.startswith("sign") else _KIND_OF.get(one.event, "other")
        until = f" until {clock_text(one.until, zone)}" if one.until and not one.event.startswith("sign") else ""
        until = f" to {moved_to[one.at]}" if one.event == "moved" and one.at in moved_to else until
        if one.event == ev.ABSENT and one.until:  # it is of whole days
            until = f" until {local_day(one.until, zone)}" if one.until > one.at else ""
        entered = late.get(one.at, "") if kind == "sign" else ""
        yield Row(one.at, kind, f"{one.why}{until}{entered}; the template says {events[one.event]}")
    runs: list[tuple[Happening, date]] = []
    for day, one in sorted(unlooked.items()):
        if runs and day - runs[-1][1] == timedelta(days=1) and one.why == runs[-1][0].why:
            runs[-1] = (runs[-1][0], day)
        else:
            runs.append((one, day))
    for first, last in runs:
        until = f" until {last}" if last > local_day(first.at, zone) else ""
        yield Row(first.at, "other", f"{first.why}{until}; the template says {events['not_looked']}")


def _restarts(counted: Clocks, zone: str) -> Iterator[Row]:
    """What moved each period and when, by the rule that did."""
    for period in counted.periods:
        for one in period.moved:
            if one.on is not None:
                kind = "restart" if one.rule in ("restart", "rule A4") else "other"
                yield Row(_morning(one.on, zone), kind, f"{period.title}: {moved_words(one, dated=False)}")
    if isinstance(counted.clear.zero, date) and counted.clear.zero != counted.entered.zero:
        yield Row(_morning(counted.clear.zero, zone), "restart", f"clear count: day 0 ({counted.clear.because})")


def _gaps(counted: Clocks, zone: str) -> Iterator[Row]:
    for period in counted.in_range:
        for gap in period.gaps:
            says = f"{period.title}: {gap.why}, until {clock_text(gap.until, zone)}; {RULES.get(gap.rule, gap.rule)}"
            yield Row(gap.since, "reading", says)


def _out_of_limit(protocol: Protocol, evidence: ev.Evidence, own: list[Fact]) -> Iterator[Row]:
    """Readings past a limit that the protocol names, for a dose or for sign-off."""
    asked = [*protocol.criteria, *(c for step in protocol.steps for c in step.before)]
    asked += [
        Condition("reading", period.reading, period.title, period.low, period.high, PARAMETERS[period.reading].unit)
        for period in protocol.periods
        if period.reading is not None
    ]
    limits = {(c.value, c.low, c.high, c.unit): c for c in asked if c.kind in ("reading", "steady")}
    for fact in evidence.readings:
        for condition in limits.values():
            if condition.value == "uia" and fact.data["parameter"] == "tan":
                verdict = ev.judge(condition._replace(kind="reading"), ev.known_at(evidence, own, fact.at))
                if verdict.met is False:
                    yield Row(fact.at, "reading", verdict.says)
            elif condition.value == fact.data["parameter"] and _past(condition, Decimal(fact.data["value"])):
                said = fact_words(fact).removeprefix("reading: ")
                yield Row(fact.at, "reading", f"{said}, past the protocol's limit ({_limit(condition)})")


def _past(condition: Condition, value: Decimal) -> bool:
    low, high = condition.low, condition.high
    return (low is not None and value < Decimal(low)) or (high is not None and value > Decimal(high))


def _limit(condition: Condition) -> str:
    unit = f" {condition.unit}" if condition.unit else ""
    ends = [f"at least {condition.low}{unit}"] if condition.low is not None else []
    ends += [f"at most {condition.high}{unit}"] if condition.high is not None else []
    return ", ".join(ends)


# --- Lines ------------------------------------------------------------------------------------------------

_WORDS = {
    "planned": "dose not given",
    "dose": "dose",
    "move": "move",
    "sign": "sign",
    "death": "death",
    "restart": "restart",
    "fish": "fish",
    "reading": "reading",
    "other": "other",
}


def lines_of(made: Timeline) -> list[str]:
    """The timeline as labelled lines, day by day; what lies ahead stands under a line of its own."""
    lines = [made.title, f"As of {clock_text(made.now, made.zone)}; days of the site ({made.zone})."]
    lines += [f"Period: {span.says}." for span in made.spans]
    listed = [row for row in made.rows if row.listed]
    today = local_day(made.now, made.zone)
    named = False
    for day, rows in groupby(listed, key=lambda row: local_day(row.at, made.zone)):
        if day >= today and not named:
            lines.append(f"Day {(today - made.arrived_on).days}, {today}: today")
            named = True
        if day != today:
            lines.append(f"Day {(day - made.arrived_on).days}, {day}{', ahead' if day > today else ''}")
        lines += [f"  {_WORDS[row.kind]}: {row.says}" for row in rows]
    if not named:
        lines.append(f"Day {(today - made.arrived_on).days}, {today}: today")
    return lines


# --- SVG --------------------------------------------------------------------------------------------------

_LEFT, _RIGHT, _TOP, _ROW = 190, 30, 66, 28
_PATTERN = (
    '<defs>\n<pattern id="hatch" width="8" height="8" patternUnits="userSpaceOnUse">'
    '<path d="M-2 2 L2 -2 M0 8 L8 0 M6 10 L10 6" stroke="#000" stroke-width="0.8"/></pattern>\n</defs>'
)
_LABEL = 27
"""Letters of a label that stand beside the picture; the whole of a longer one is in the list under it."""


class _Axis(NamedTuple):
    start: datetime
    seconds: float

    def x(self, at: datetime) -> float:
        """The place of an instant, in px."""
        share = min(max((at - self.start).total_seconds() / self.seconds, 0.0), 1.0)
        return _LEFT + share * (WIDTH - _LEFT - _RIGHT)


def svg(made: Timeline) -> str:
    """The picture as one SVG file: black on white, no script, no font and no picture from elsewhere."""
    from textwrap import wrap

    start = _morning(made.arrived_on, made.zone) - timedelta(days=1)
    axis = _Axis(start, (made.until - start).total_seconds())
    kinds = [kind for kind in KINDS if any(row.kind == kind for row in made.rows)]
    foot = _TOP + _ROW * (len(made.spans) + len(kinds))
    listed = [
        (36 if said.startswith(" ") else 20, part) for said in lines_of(made)[1:] for part in wrap(said.strip(), 132)
    ]
    parts = [
        _PATTERN,
        *(text(20, 26 + 18 * n, words, size=15, bold=True) for n, words in enumerate(folded(made.title, WIDTH - 40))),
        *(part for n, span in enumerate(made.spans) for part in _bar(span, axis, _TOP + _ROW * n, made.zone)),
        *(
            part
            for n, kind in enumerate(kinds)
            for part in _marks(made, axis, kind, _TOP + _ROW * (len(made.spans) + n))
        ),
        *_axis(made, axis, foot),
        *(text(x, foot + 62 + 16 * n, words) for n, (x, words) in enumerate(listed)),
    ]
    return picture(BEGINS, foot + 74 + 16 * len(listed), made.title, made.says, parts)


def _label(words: str, y: float) -> str:
    short = words if len(words) <= _LABEL else f"{words[: _LABEL - 1]}…"
    return text(_LEFT - 9, y + 4, short, anchor="end")


def _bar(span: Span, axis: _Axis, y: float, zone: str) -> Iterator[str]:
    """Hatched from the day zero it counts from; a broken line over the days that no longer count; a stroke at each day
    on which it began again."""
    first, zero, end = (axis.x(_morning(day, zone)) for day in (span.first, span.zero, span.complete_on))
    yield _label(span.title, y)
    if zero > first:
        yield line(first, y, zero, y, 1.5, "4 4")
    yield (
        f'<rect x="{px(zero)}" y="{px(y - 7)}" width="{px(max(end - zero, 1))}" height="14" fill="url(#hatch)" '
        f'stroke="#000" stroke-width="1">{_titled(span.says)}</rect>'
    )
    for day in span.again:
        yield line(axis.x(_morning(day, zone)), y - 11, axis.x(_morning(day, zone)), y + 11, 2.5)


def _titled(words: str) -> str:
    from quarantine.reports.paper import escape

    return f"<title>{escape(words)}</title>"


def _marks(made: Timeline, axis: _Axis, kind: str, y: float) -> Iterator[str]:
    yield _label(KINDS[kind], y)
    yield line(_LEFT, y, WIDTH - _RIGHT, y, 0.4)
    for row in made.rows:
        if row.kind == kind:
            says = f"{clock_text(row.at, made.zone)} {row.says}"
            yield f"<g>{_titled(says)}{_shape(kind, axis.x(row.at), y)}</g>"


def _shape(kind: str, x: float, y: float) -> str:
    """Triangle (open: planned, filled: given), square (open: a move, filled: a sign), cross (death), bar (restart),
    diamond (fish), circle (reading), ring (other)."""
    triangle, diamond = [(x - 6, y + 5), (x, y - 7), (x + 6, y + 5)], [(x - 6, y), (x, y - 6), (x + 6, y), (x, y + 6)]
    if kind in ("planned", "dose"):
        return f'<path d="{path(triangle)} Z" fill="{"#000" if kind == "dose" else "#fff"}" stroke="#000"/>'
    if kind in ("move", "sign"):
        fill = "#000" if kind == "sign" else "#fff"
        return f'<rect x="{px(x - 5)}" y="{px(y - 5)}" width="10" height="10" fill="{fill}" stroke="#000"/>'
    if kind == "death":
        return line(x - 5, y - 5, x + 5, y + 5, 2.0) + line(x - 5, y + 5, x + 5, y - 5, 2.0)
    if kind == "restart":
        return line(x, y - 9, x, y + 9, 3.0)
    if kind == "fish":
        return f'<path d="{path(diamond)} Z" fill="#fff" stroke="#000" stroke-width="1.5"/>'
    fill = "#000" if kind == "reading" else "#fff"
    return f'<circle cx="{px(x)}" cy="{px(y)}" r="4.5" fill="{fill}" stroke="#000"/>'


def _axis(made: Timeline, axis: _Axis, foot: float) -> Iterator[str]:
    yield line(_LEFT, foot, WIDTH - _RIGHT, foot, 1.5)
    for at, words in ticks(axis.start, axis.seconds, made.zone, 10):
        yield line(axis.x(at), foot, axis.x(at), foot + 5)
        yield text(axis.x(at), foot + 18, words, anchor="middle")
    years = sorted({at.astimezone(ZoneInfo(made.zone)).year for at in (axis.start, made.until)})
    yield text(_LEFT, foot + 36, f"{' to '.join(map(str, years))}, month-day at the site ({made.zone})")
    x = axis.x(made.now)
    yield line(x, _TOP - 16, x, foot, 1.0, "2 3")
    yield text(x, _TOP - 18, "today", anchor="middle")
