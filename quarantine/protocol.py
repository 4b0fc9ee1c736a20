"""Protocol templates: TOML in, a checked Protocol out.

The grammar (``format = 1``) is the table GRAMMAR below; protocols/README.md explains every key of it and a
test keeps the two alike. ``read`` reports every mistake at once, each with file, line, key, what was expected
and what was found. Medicated figures are not in a template: a dose names a row of the formulary by its id.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from datetime import date, datetime
from decimal import Decimal
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from quarantine.facts import Condition
from quarantine.failures import Refused, Unknown
from quarantine.quantity import Quantity
from quarantine.readings import COMPUTED, PARAMETERS
from quarantine.templates import Reference
from quarantine.templates import shipped as shipped

if TYPE_CHECKING:
    from quarantine.formulary import Regimen

FORMAT = 1

READINGS: dict[str, str] = {name: parameter.unit for name, parameter in PARAMETERS.items()}
"""Readings a template may name, with the unit their limits are held in ("" for pH)."""

# What must be measured before un-ionized ammonia can be computed.
_UIA_FROM = ("tan", "ph", "temperature")

EVENTS = (
    "sign_a",
    "sign_b",
    "sign_c",
    "death",
    "outbreak",
    "fish_added",
    "disturbance",
    "dose_missed",
)

MORE_EVENTS: dict[str, str] = {
    "sign_gone": "note",
    "power": "as disturbance",
    "heater": "as disturbance",
    "moved": "as disturbance",
    "out_of_range": "pause",
    "no_reading": "pause",
    "dose_late": "note",
    "dose_partly": "note",
    "repeat_missed": "as dose_missed",
    "bath_overrun": "note",
    "shared_net": "note",
    "not_looked": "note",
    "instruction": "note",
    "revised": "note",
}
"""Happenings that a template may say something about, and what holds where it does not: as it was before there were
such keys ("as X": what the template says of X). The two of readings act on periods that count days in range alone."""

AS = "as "
"""How a default begins that is another event's word."""


class Duration(NamedTuple):
    """Text "30 d" or "72 h": ``d`` are calendar days at the site, ``h`` elapsed hours (rule A12)."""

    value: int
    unit: str

    def __str__(self) -> str:
        return f"{self.value} {self.unit}"


class Start(NamedTuple):
    """The fact that anchors a step or period, and how long after it (``by``) the work is due.

    ``kind`` is arrival, entered, after, begun, sign, reading or word. ``subject`` is the step or period
    (after: its end) or step (begun: its first run), the sign, the parameter or the sentence; None for arrival and
    entered.
    ``low`` and ``high`` are decimal text in the parameter's unit of READINGS, for a reading only.
    """

    kind: str
    subject: str | None
    by: Duration
    low: str | None = None
    high: str | None = None


class Band(NamedTuple):
    """One row of a temperature table: at_least_c <= temperature < below_c in °C (None = no such end).

    A repeat is due ``every`` so long after the run before (after the slowest hatch) and, where the row says it,
    ``before`` so long has passed (the fastest maturity, rule C14).
    """

    at_least_c: Decimal | None
    below_c: Decimal | None
    every: Duration
    before: Duration | None = None

    def holds(self, celsius: Decimal) -> bool:
        """Whether a temperature lies in the row."""
        low, high = self.at_least_c, self.below_c
        return (low is None or celsius >= low) and (high is None or celsius < high)


class Repeat(NamedTuple):
    """How a step repeats: ``every`` or ``by_temperature``; ``times`` runs in all, or ``until`` a period ends.

    ``latest`` is an elapsed ceiling in hours since the run before, ``then`` what happens when it passes.
    ``from_`` says what the interval counts from: the planned run or the run really given.
    ``as_needed`` in place of ``every``: a keeper's word asks for each run, at least so long after the last one given
    and at most ``daily`` times a local day (rule A13).
    """

    every: Duration | None
    times: int | None
    until: str | None
    latest: Duration | None
    then: str | None
    from_: str
    by_temperature: tuple[Band, ...]
    as_needed: Duration | None = None
    daily: int | None = None


class Window(NamedTuple):
    """Local times "HH:MM" of the day the work is due; ``late``: how long after it may still be done.

    Without ``late`` the work counts as missed when the window closes. No ``weekdays`` means every day.
    """

    from_: str
    until: str
    late: Duration | None
    weekdays: tuple[str, ...]


WHOLE_DAY = Window("00:00", "23:59", None, ())


class Treatment(NamedTuple):
    """A dose by a row of the formulary. ``target`` None means the row's own default.

    ``mode`` is one of the three of rule C1, ``water`` the water that circulates (rule C10) or "vessel" for a dip and
    "food" for a dose in food, ``filter`` is "" for those two, ``off`` what is switched off for the dose, ``clearing``
    the sentence that says when clearing begins (rule C5), ``longest`` the template's own limit on a dip,
    ``after_change`` what a water change before clearing calls for in mode "as published": nothing, or the "full"
    amount, ``witness`` whether another keeper reads the scale blind, ``allowance`` how far the amount given may lie
    from the one shown without a reason, in percent (None: not said).
    """

    regimen: str
    target: Quantity | None
    mode: str
    water: str
    filter: str
    off: tuple[str, ...]
    clearing: str
    longest: Quantity | None = None
    after_change: str = "nothing"
    witness: bool = False
    allowance: Decimal | None = None


class Ramp(NamedTuple):
    """Going there in steps: each run sets ``parameter`` at most ``by`` nearer to ``to`` than the last reading was."""

    parameter: str
    to: Decimal
    by: Decimal


class Step(NamedTuple):
    """One line of a protocol. ``fraction`` is a percentage of the water (0 < fraction <= 100)."""

    id: str
    kind: str
    title: str
    for_: str
    start: Start
    repeat: Repeat | None
    window: Window
    after_window: str | None
    treatment: Treatment | None
    reads: tuple[str, ...]
    fraction: Decimal | None
    who: str
    before: tuple[Condition, ...]
    note: str
    references: tuple[str, ...]
    line: int
    when: tuple[Condition, ...] = ()
    """all must be met for a run to apply; what is unknown is not met"""
    stop: tuple[Condition, ...] = ()
    """the first that is met once the series has begun ends it"""
    ramp: Ramp | None = None
    """of a chore: what is brought to a value step by step"""

    @property
    def weekdays(self) -> tuple[str, ...]:
        """The days of the week the window opens on; empty means every day."""
        return self.window.weekdays


class Period(NamedTuple):
    """An observation period; ``length`` is in calendar days, ``counts`` says which days count.

    One that counts days in range has the band of a reading: ``reading`` from ``low`` to ``high``, decimal text in the
    parameter's unit of READINGS (None = no such end).
    """

    id: str
    title: str
    length: Duration
    counts: str
    start: Start
    references: tuple[str, ...]
    reading: str | None = None
    low: str | None = None
    high: str | None = None


class Protocol(NamedTuple):
    """A checked template. ``text`` is the file as read, ``fingerprint`` the SHA-256 of it in UTF-8."""

    format: int
    id: str
    revision: int
    title: str
    summary: str
    author: str
    reviewer: str | None
    date: date
    water: str
    fish: str
    cautions: tuple[str, ...]
    references: dict[str, Reference]
    periods: tuple[Period, ...]
    steps: tuple[Step, ...]
    events: dict[str, str]
    criteria: tuple[Condition, ...]
    text: str
    fingerprint: str

    @property
    def medicated(self) -> bool:
        """Whether any step gives a substance."""
        return any(step.treatment for step in self.steps)


class Problem(NamedTuple):
    """One mistake of a template: where it is and what was expected there."""

    file: str
    line: int
    key: str
    message: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.key + ': ' if self.key else ''}{self.message}"


class ProtocolError(Refused):
    """A template with mistakes; ``problems`` holds all of them, the sentence lists all of them."""

    kind = "protocol"

    def __init__(self, file: str, problems: list[Problem]) -> None:
        many = f"{len(problems)} mistakes" if len(problems) > 1 else "one mistake"
        listed = "\n".join(str(problem) for problem in problems)
        super().__init__(
            f"The protocol {file} has {many}; correct and check again:\n{listed}",
            problems=[problem._asdict() for problem in problems],
        )
        self.problems = problems


# --- The grammar ---------------------------------------------------------------------------------------


class Key(NamedTuple):
    """One key of a table: its type in words, and ``required``, ``optional`` or its default."""

    type: str
    need: str = "optional"


_STATUS = "read | second-hand | common practice | from memory"
_DAYS = "mon | tue | wed | thu | fri | sat | sun"
_EVENT = "pause | extend | restart | note"
_MEASURED = " | ".join(name for name in READINGS if name not in COMPUTED)

GRAMMAR: dict[str, dict[str, Key]] = {
    "protocol": {
        "format": Key("whole number", "required"),
        "id": Key("id", "required"),
        "revision": Key("whole number", "required"),
        "title": Key("text", "required"),
        "summary": Key("text", "required"),
        "author": Key("text", "required"),
        "reviewer": Key("text"),
        "date": Key("date", "required"),
        "water": Key("fresh | brackish | marine | any", "required"),
        "fish": Key("text", "required"),
        "cautions": Key("list of text"),
        "reference": Key("tables of reference", "required"),
        "period": Key("tables of period", "required"),
        "step": Key("tables of step", "required"),
        "events": Key("table events", "required"),
        "criterion": Key("tables of condition", "required"),
    },
    "reference": {
        "key": Key("id", "required"),
        "cite": Key("text", "required"),
        "status": Key(_STATUS, "required"),
    },
    "period": {
        "id": Key("id", "required"),
        "title": Key("text", "required"),
        "length": Key("days", "required"),
        "counts": Key("calendar | drug-free | clear | in-range", "required"),
        "reading": Key(_MEASURED),
        "min": Key("amount"),
        "max": Key("amount"),
        "start": Key("table start", "required"),
        "references": Key("list of id", "required"),
    },
    "step": {
        "id": Key("id", "required"),
        "kind": Key("look | feed | test | change | dose | chore | move", "required"),
        "title": Key("text", "required"),
        "for": Key("system | tank | batch"),
        "start": Key("table start", "required"),
        "repeat": Key("table repeat"),
        "window": Key("table window"),
        "after_window": Key("shift | keep | reopen"),
        "treatment": Key("table treatment"),
        "reads": Key(f"list of {_MEASURED}"),
        "fraction": Key("percent"),
        "ramp": Key("table ramp"),
        "who": Key("anyone | keeper | adult", "anyone"),
        "before": Key("tables of condition"),
        "when": Key("tables of condition"),
        "stop": Key("tables of condition"),
        "note": Key("text"),
        "references": Key("list of id", "required"),
    },
    "start": {
        "arrival": Key("duration"),
        "entered": Key("duration"),
        "after": Key("id"),
        "begun": Key("id"),
        "sign": Key("sign"),
        "reading": Key(" | ".join(READINGS)),
        "word": Key("text"),
        "by": Key("duration", "0 d"),
        "min": Key("amount"),
        "max": Key("amount"),
    },
    "repeat": {
        "every": Key("duration"),
        "by_temperature": Key("tables of band"),
        "as_needed": Key("duration"),
        "daily": Key("whole number"),
        "times": Key("whole number"),
        "until": Key("id"),
        "latest": Key("hours"),
        "then": Key("reopen | keep | shift"),
        "from": Key("planned | given", "planned"),
    },
    "band": {
        "at_least": Key("temperature"),
        "below": Key("temperature"),
        "every": Key("duration", "required"),
        "before": Key("duration"),
    },
    "ramp": {
        "reading": Key("temperature | salinity", "required"),
        "to": Key("amount", "required"),
        "by": Key("amount", "required"),
    },
    "window": {
        "from": Key("time", "required"),
        "until": Key("time", "required"),
        "late": Key("duration"),
        "weekdays": Key(f"list of {_DAYS}"),
    },
    "treatment": {
        "regimen": Key("id", "required"),
        "target": Key("amount"),
        "mode": Key("as published | replace removed | top up to a reading", "required"),
        "water": Key("system | tank | vessel | food", "required"),
        "filter": Key("running | off"),
        "off": Key("list of carbon | uv | ozone | skimmer | auto-top-up"),
        "clearing": Key("text"),
        "after_change": Key("nothing | full", "nothing"),
        "witness": Key("true or false"),
        "allowance": Key("percent"),
        "longest": Key("amount"),
    },
    "condition": {
        "day": Key("whole number"),
        "ate": Key("whole number"),
        "no_sign": Key("A | B | C"),
        "reading": Key(" | ".join(READINGS)),
        "steady": Key(" | ".join(READINGS)),
        "word": Key("text"),
        "period": Key("id"),
        "clear_days": Key("whole number"),
        "feeding_days": Key("whole number"),
        "days_since_death": Key("whole number"),
        "days_since_dose": Key("whole number"),
        "level": Key("id"),
        "counts": Key("balanced"),
        "tasks": Key("settled"),
        "sign": Key("sign"),
        "event": Key(" | ".join((*EVENTS, *MORE_EVENTS))),
        "group": Key("id"),
        "min": Key("amount"),
        "max": Key("amount"),
        "within": Key("hours"),
        "at_most": Key("percent"),
        "or_word": Key("text"),
        "title": Key("text"),
        "reference": Key("id"),
    },
    "events": {
        **{event: Key(_EVENT, "required") for event in EVENTS},
        **{event: Key(_EVENT) for event in MORE_EVENTS},
    },
}

_STARTS = ("arrival", "entered", "after", "begun", "sign", "reading", "word")
_CONDITIONS = tuple(list(GRAMMAR["condition"])[:17])
_NO_FIGURES = ("no_sign", "word", "period", "counts", "tasks", "sign", "event", "group")
_FIGURES = tuple(kind for kind in _CONDITIONS if kind not in _NO_FIGURES)
_BRANCHES = {
    "when": ("reading", "steady", "no_sign", "sign", "event", "word", "group"),
    "stop": ("reading", "no_sign", "sign", "event", "word"),
}
"""The kinds of condition that a branch of the plan may ask for; sign, event and group stand nowhere else."""

EXACTLY_ONE: dict[str, tuple[tuple[str, ...], ...]] = {
    "start": (_STARTS,),
    "repeat": (("every", "by_temperature", "as_needed"), ("times", "until")),
    "condition": (_CONDITIONS,),
}
"""Of each of these groups a table has exactly one key."""

PATTERNS = {
    "id": r"(?=.{1,40}$)[A-Za-z0-9]+(-[A-Za-z0-9]+)*",
    "days": r"(?!0+ ?d)(\d{1,4}) ?(d)",
    "hours": r"(?!0+ ?h)(\d{1,4}) ?(h)",
    "duration": r"(\d{1,4}) ?([dh])",
    "time": r"([01]\d|2[0-3]):[0-5]\d",
    "percent": r"(\d{1,3}(?:\.\d{1,4})?) ?%",
}
"""How a value of a type is written, whole; the JSON Schema for editors holds the same."""

WHOLE = range(1, 10_000)


# --- Lines: which key stands where ---------------------------------------------------------------------

Path_ = tuple[str | int, ...]

_TOKEN = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}'  # a text over several lines may end in one or two quotes of its own
    r"|'''.*?'{3,5}"
    r'|"(?:\\.|[^"\\\n])*"'
    r"|'[^'\n]*'"
    r"|\#[^\n]*"
    r"|\n|[\[\]{},=.]"
    r"|[^\s\[\]{},=.\"'\#]+",
    re.DOTALL,
)


def key_lines(text: str) -> dict[Path_, int]:
    """The line (from 1) of every key and list element of a TOML text that tomllib has accepted.

    tomllib forgets lines; this walk over the tokens only has to follow keys and brackets.
    """
    lines: dict[Path_, int] = {}
    tokens = [(token, line) for token, line in _tokens(text) if not token.startswith("#")]
    counts: dict[Path_, int] = {}
    table: Path_ = ()
    at = 0
    while at < len(tokens):
        token, line = tokens[at]
        if token == "\n":
            at += 1
        elif token == "[":
            many = tokens[at + 1][0] == "["
            parts, at = _key(tokens, at + 1 + many, "]")
            table = _header(parts, many, counts)
            _mark(lines, table, line)
            at += many
        else:
            parts, at = _key(tokens, at, "=")
            path = (*table, *parts)
            _mark(lines, path, line)
            at = _value(tokens, at, path, lines)
    return lines


def _tokens(text: str) -> Iterator[tuple[str, int]]:
    line = 1
    for found in _TOKEN.finditer(text):
        yield found[0], line
        line += found[0].count("\n")


def _key(tokens: list[tuple[str, int]], at: int, end: str) -> tuple[list[str], int]:
    """The parts of a dotted key that ends before ``end``, and the place after it."""
    parts = []
    while tokens[at][0] != end:
        token = tokens[at][0]
        if token not in (".", "\n", ","):
            parts.append(_unquoted(token))
        at += 1
    return parts, at + 1


def _unquoted(token: str) -> str:
    if token[0] not in "\"'":
        return token
    import tomllib

    return str(tomllib.loads(f"key = {token}")["key"])


def _header(parts: list[str], many: bool, counts: dict[Path_, int]) -> Path_:
    """Where a [table] or [[table]] header points, each list standing for its newest element."""
    path: Path_ = ()
    for n, part in enumerate(parts):
        path = (*path, part)
        if many and n == len(parts) - 1:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


def _mark(lines: dict[Path_, int], path: Path_, line: int) -> None:
    for end in range(1, len(path) + 1):
        lines.setdefault(path[:end], line)


def _value(tokens: list[tuple[str, int]], at: int, path: Path_, lines: dict[Path_, int]) -> int:
    """Walk over one value, marking what is inside it; the place after it."""
    token = tokens[at][0]
    if token == "[":
        return _list(tokens, at + 1, path, lines)
    if token == "{":
        return _inline(tokens, at + 1, path, lines)
    while at < len(tokens) and tokens[at][0] not in ("\n", ",", "]", "}"):
        at += 1
    return at


def _list(tokens: list[tuple[str, int]], at: int, path: Path_, lines: dict[Path_, int]) -> int:
    n = 0
    while tokens[at][0] != "]":
        if tokens[at][0] in ("\n", ","):
            at += 1
            continue
        lines[(*path, n)] = tokens[at][1]
        at = _value(tokens, at, (*path, n), lines)
        n += 1
    return at + 1


def _inline(tokens: list[tuple[str, int]], at: int, path: Path_, lines: dict[Path_, int]) -> int:
    while tokens[at][0] != "}":
        if tokens[at][0] in ("\n", ","):
            at += 1
            continue
        line = tokens[at][1]
        parts, at = _key(tokens, at, "=")
        _mark(lines, (*path, *parts), line)
        at = _value(tokens, at, (*path, *parts), lines)
    return at + 1


# --- Values: one function for each type of the grammar -------------------------------------------------


class _Bad(Exception):
    """A value is not of its type; the argument says what was expected, ``why`` what else to know."""

    def __init__(self, expected: str, why: str = "") -> None:
        super().__init__(expected)
        self.expected = expected
        self.why = why


def _text(value: object) -> str:
    if not isinstance(value, str) or not value.split():
        raise _Bad("a text")
    # Texts end up in lists, calendars and on paper: one line, whatever way it was typed.
    text = " ".join(value.split())
    if not text.isprintable():
        raise _Bad("a text without control characters")
    return text


def _id(value: object) -> str:
    if not isinstance(value, str) or not re.fullmatch(PATTERNS["id"], value):
        raise _Bad("a name of letters, digits and hyphens, 40 at most")
    return value


def _whole(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value not in WHOLE:
        raise _Bad("a whole number from 1 to 9999")
    return value


def _date(value: object) -> date:
    if not isinstance(value, date) or isinstance(value, datetime):
        raise _Bad("a date without quotes such as 2026-11-25")
    return value


def _duration(value: object, kind: str = "duration") -> Duration:
    found = re.fullmatch(PATTERNS[kind], value) if isinstance(value, str) else None
    if not found:
        days, hours = 'days such as "4 d"', 'hours such as "72 h"'
        raise _Bad({"days": days, "hours": hours}.get(kind, f"{days} or {hours}"))
    return Duration(int(found[1]), found[2])


def _days(value: object) -> Duration:
    return _duration(value, "days")


def _hours(value: object) -> Duration:
    return _duration(value, "hours")


def _time(value: object) -> str:
    if not isinstance(value, str) or not re.fullmatch(PATTERNS["time"], value):
        raise _Bad('a local time such as "08:00"')
    return value


def _percent(value: object) -> Decimal:
    found = re.fullmatch(PATTERNS["percent"], value) if isinstance(value, str) else None
    if not found or not 0 < Decimal(found[1]) <= 100:
        raise _Bad('a percentage above 0 up to 100 such as "25 %"')
    return Decimal(found[1])


def _truth(value: object) -> bool:
    if not isinstance(value, bool):
        raise _Bad("true or false, without quotes")
    return value


def _sign(value: object) -> str:
    from quarantine.signs import SIGNS

    return _choice(value, list(SIGNS))


def _amount(value: object) -> str:
    if not isinstance(value, str):
        raise _Bad('an amount with its unit such as "0.05 mg/L"')
    return value


def _temperature(value: object) -> Decimal:
    return Decimal(_limit(value, "temperature"))


def _limit(value: object, parameter: str) -> str:
    """A limit as decimal text in the parameter's unit of READINGS; pH is a number with "pH"."""
    unit = READINGS[parameter]
    if parameter == "ph":
        found = re.fullmatch(r"(?:pH )?(\d{1,2}(?:\.\d{1,3})?)(?: ?pH)?", value) if isinstance(value, str) else None
        if not found or "pH" not in str(value) or Decimal(found[1]) > 14:
            raise _Bad('a pH such as "7.8 pH"')
        return _plain(Decimal(found[1]))
    from quarantine import quantity

    kind = "temperature" if unit == "°C" else "concentration"
    example = {"°C": "25 °C", "g/L": "33 g/L"}.get(unit, "0.05 mg/L")
    name = PARAMETERS[parameter].title
    try:
        return _plain(quantity.to(quantity.read(_amount(value), kind, name), unit))
    except Refused as error:
        raise _Bad(f'an amount in {unit} such as "{example}"', error.sentence) from None


def _plain(value: Decimal) -> str:
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


_TYPES: dict[str, Callable[[object], Any]] = {
    "text": _text,
    "id": _id,
    "whole number": _whole,
    "date": _date,
    "days": _days,
    "hours": _hours,
    "duration": _duration,
    "time": _time,
    "percent": _percent,
    "true or false": _truth,
    "sign": _sign,
    "amount": _amount,
    "temperature": _temperature,
}


def _choice(value: object, allowed: list[str]) -> str:
    if not isinstance(value, str) or value not in allowed:
        raise _Bad(f"one of {', '.join(allowed)}" if len(allowed) > 1 else f'"{allowed[0]}"', _near(value, allowed))
    return value


def _near(value: object, known: Iterable[str]) -> str:
    from difflib import get_close_matches

    names = {name.casefold(): name for name in known}
    found = get_close_matches(str(value).casefold(), list(names), n=1, cutoff=0.6)
    return f"did you mean {names[found[0]]!r}?" if found else ""


def _shown(value: object) -> str:
    """A value as a person would find it in the file, shortened."""
    if isinstance(value, str):
        text = "".join(one if one.isprintable() else repr(one)[1:-1] for one in " ".join(value.split()))
        return f'"{text if len(text) <= 40 else text[:39] + "…"}"'
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list" if value else "an empty list"
    return str(value)[:40]


# --- Reading -------------------------------------------------------------------------------------------


class _Reader:
    """Reads tables of one file by the grammar and gathers what is wrong."""

    def __init__(self, file: str, data: dict[str, Any], lines: dict[Path_, int]) -> None:
        self.file = file
        self.data = data
        self.lines = lines
        self.problems: list[Problem] = []

    def line(self, path: Path_) -> int:
        """The line of a key, or of the nearest table around one that is missing."""
        while path and path not in self.lines:
            path = path[:-1]
        return self.lines.get(path, 1)

    def name(self, path: Path_) -> str:
        """A key as a person calls it: step[dose].repeat.every; elements without an id by number from 1."""
        shown = ""
        here: Any = self.data
        for part in path:
            here = here[part] if _has(here, part) else None
            if isinstance(part, int):
                known = (here.get("id") or here.get("key")) if isinstance(here, dict) else None
                shown += f"[{known if isinstance(known, str) else part + 1}]"
            else:
                shown += f".{part}" if shown else part
        return shown

    def wrong(self, path: Path_, expected: str, got: object = None, why: str = "") -> None:
        """Note one mistake. A value that is missing is "nothing"."""
        found = "nothing" if got is None else _shown(got)
        message = f"expected {expected}, got {found}{'; ' + why if why else ''}"
        self.problems.append(Problem(self.file, self.line(path), self.name(path), message))

    def table(self, kind: str, value: object, path: Path_) -> dict[str, Any]:
        """All keys of a table of the grammar, converted; None stands for what is missing or wrong."""
        keys = GRAMMAR[kind]
        if not isinstance(value, dict):
            self.wrong(path, f"a table ({', '.join(keys)})", value)
            return {key: _nothing(spec) for key, spec in keys.items()}
        for key in value:
            if key not in keys:
                known = _near(key, keys) or f"the keys here are {', '.join(keys)}"
                self.wrong((*path, key), "a known key", key, known)
        return {key: self.entry(spec, value.get(key), (*path, key)) for key, spec in keys.items()}

    def entry(self, spec: Key, value: object, path: Path_) -> Any:
        """One value by its type of the grammar, or its default."""
        if value is None:
            if spec.need == "required":
                self.wrong(path, _words(spec.type))
                return _nothing(spec)
            value = None if spec.need == "optional" else spec.need
        if value is None:
            return _nothing(spec)
        head, _, rest = spec.type.partition(" of ")
        if head == "list":
            return self.many(value, path, lambda one, at: self.entry(Key(rest), one, at), _words(rest))
        if head == "tables":
            return self.many(value, path, _TABLES[rest], f"a table of {rest}", self)
        if spec.type.startswith("table "):
            return _TABLES[spec.type[6:]](self, value, path)
        return self.scalar(spec.type, value, path)

    def scalar(self, kind: str, value: object, path: Path_) -> Any:
        try:
            return _TYPES[kind](value) if kind in _TYPES else _choice(value, kind.split(" | "))
        except _Bad as bad:
            self.wrong(path, bad.expected, value, bad.why)
            return None

    def many(self, value: object, path: Path_, one: Callable[..., Any], words: str, *before: Any) -> tuple[Any, ...]:
        """The elements of a list that are right; a wrong one is noted and left out."""
        if not isinstance(value, list) or not value:
            self.wrong(path, f"a list, each {words}", value)
            return ()
        found = [one(*before, element, (*path, n)) for n, element in enumerate(value)]
        return tuple(element for element in found if element is not None)

    def one_of(self, found: dict[str, Any], kinds: tuple[str, ...], value: object, path: Path_) -> str | None:
        """The one discriminating key of a table, or None after noting that there is none or several."""
        if not isinstance(value, dict):
            return None
        named = [kind for kind in kinds if kind in value]
        if len(named) != 1:
            self.wrong(path, f"exactly one of {', '.join(kinds)}", " and ".join(named) or None)
            return None
        return named[0] if found[named[0]] is not None else None


def _nothing(spec: Key) -> Any:
    """What stands for a value that is missing or wrong: an empty list, or None."""
    return () if spec.type.startswith(("list of ", "tables of ")) else None


def _has(here: object, part: str | int) -> bool:
    if isinstance(part, int):
        return isinstance(here, list) and part < len(here)
    return isinstance(here, dict) and part in here


def _words(kind: str) -> str:
    """A type of the grammar in words for a sentence about a missing value."""
    if " | " in kind and " of " not in kind:
        return f"one of {kind.replace(' | ', ', ')}"
    try:
        if kind in _TYPES:
            _TYPES[kind](None)
    except _Bad as bad:
        return bad.expected
    head, _, rest = kind.partition(" of ")
    if head == "tables":
        return f"at least one table of {rest}"
    return f"a list, each {_words(rest)}" if head == "list" else f"a {kind.replace('table ', 'table of ')}"


def _reference(reader: _Reader, value: object, path: Path_) -> Reference | None:
    found = reader.table("reference", value, path)
    return None if None in found.values() else Reference(**found)


def _start(reader: _Reader, value: object, path: Path_) -> Start | None:
    found = reader.table("start", value, path)
    kind = reader.one_of(found, _STARTS, value, path)
    if kind is None or not isinstance(value, dict):
        return None
    if kind in ("arrival", "entered") and "by" in value:
        reader.wrong((*path, "by"), f"no `by`: {kind} holds the time itself", value["by"])
    low, high = _limits(reader, found, kind, path)
    if kind in ("arrival", "entered"):
        return Start(kind, None, found[kind])
    return Start(kind, found[kind], found["by"], low, high) if found["by"] else None


def _limits(reader: _Reader, found: dict[str, Any], kind: str, path: Path_) -> tuple[str | None, str | None]:
    """The limits min and max of a reading, in its own unit and in order; no other kind has any."""
    limits: list[str | None] = [None, None]
    for n, key in enumerate(("min", "max")):
        if found[key] is None:
            continue
        if kind not in ("reading", "steady"):
            reader.wrong((*path, key), f"no `{key}`: {kind} has no limits", found[key])
            continue
        try:
            limits[n] = _limit(found[key], found[kind])
        except _Bad as bad:
            reader.wrong((*path, key), bad.expected, found[key], bad.why)
            limits[n] = None
    low, high = limits
    if kind in ("reading", "steady") and found["min"] is None and found["max"] is None:
        reader.wrong(path, "`min`, `max` or both beside a reading")
    if low is not None and high is not None and Decimal(low) > Decimal(high):
        reader.wrong((*path, "min"), f"at most the max {found['max']}", found["min"])
    return low, high


def _band(reader: _Reader, value: object, path: Path_) -> Band | None:
    found = reader.table("band", value, path)
    low, high, every, before = found.values()
    if low is None and high is None:
        reader.wrong(path, "`at_least`, `below` or both in a row of a temperature table")
    if low is not None and high is not None and low >= high:
        reader.wrong((*path, "at_least"), "a temperature under `below`", value["at_least"])  # type: ignore[index]
    if every is not None and every.value == 0:
        reader.wrong((*path, "every"), "a time above zero", str(every))
    if every is not None and before is not None and _hours_of_text(before) <= _hours_of_text(every):
        reader.wrong((*path, "before"), f"a time after the {every} of `every`", str(before))
    return Band(low, high, every, before) if every else None


def _hours_of_text(duration: Duration) -> int:
    return duration.value * (24 if duration.unit == "d" else 1)


def _ramp(reader: _Reader, value: object, path: Path_) -> Ramp | None:
    """A value to go to and the most of one step, each in the parameter's unit (a step of degrees is a difference)."""
    from quarantine import quantity

    found = reader.table("ramp", value, path)
    if None in found.values():
        return None
    unit = READINGS[found["reading"]]
    kind = "temperature" if unit == "°C" else "concentration"
    try:
        to = Decimal(_limit(found["to"], found["reading"]))
        by = quantity.to(quantity.read(found["by"], kind, "by"), unit, difference=unit == "°C")
    except (_Bad, Refused) as bad:
        reader.wrong(path, f"`to` and `by` as amounts in {unit}", value, str(bad))
        return None
    if by <= 0:
        reader.wrong((*path, "by"), "a step above zero", found["by"])
    return Ramp(found["reading"], to, by)


def _repeat(reader: _Reader, value: object, path: Path_) -> Repeat | None:
    before = len(reader.problems)
    found = reader.table("repeat", value, path)
    for kinds in EXACTLY_ONE["repeat"]:
        reader.one_of(found, kinds, value, path)
    _check_as_needed(reader, found, value, path)
    bands: tuple[Band, ...] = found["by_temperature"]
    steps = [found["every"]] if found["every"] else [band.every for band in bands]
    if found["every"] and found["every"].value == 0:
        reader.wrong((*path, "every"), "a time above zero", str(found["every"]))
    _check_bands(reader, bands, (*path, "by_temperature"))
    _check_latest(reader, found, steps, path)
    found["from_"] = found.pop("from")
    return Repeat(**found) if len(reader.problems) == before else None


def _check_as_needed(reader: _Reader, found: dict[str, Any], value: object, path: Path_) -> None:
    """Rule A13: a gap above zero, counted from the last one given; what is asked for has no interval of its own."""
    gap = found["as_needed"]
    if gap is None:
        if found["daily"] is not None:
            reader.wrong((*path, "daily"), "`daily` only beside `as_needed`", found["daily"])
        return
    if gap.value == 0:
        reader.wrong((*path, "as_needed"), "a time above zero", str(gap))
    if found["latest"] is not None:
        reader.wrong((*path, "latest"), "no `latest`: what is given as needed is never too late", str(found["latest"]))
    if isinstance(value, dict) and value.get("from") == "planned":
        reader.wrong((*path, "from"), "given, because the gap counts from the last one given (rule A13)", "planned")
    found["from"] = "given"


def _check_bands(reader: _Reader, bands: tuple[Band, ...], path: Path_) -> None:
    """Rows of a temperature table run from cold to warm and do not overlap."""
    for n, (cold, warm) in enumerate(pairwise(bands)):
        if cold.below_c is None or warm.at_least_c is None or cold.below_c > warm.at_least_c:
            reader.wrong((*path, n + 1), "rows from cold to warm that do not overlap", "an overlap")


def _check_latest(reader: _Reader, found: dict[str, Any], steps: list[Duration], path: Path_) -> None:
    """An elapsed ceiling stands beside hours only, says what then, and is not before the repeat itself."""
    latest, then = found["latest"], found["then"]
    if then is not None and latest is None:
        reader.wrong((*path, "then"), "`then` only beside `latest`", then)
    if latest is None:
        return
    if then is None:
        reader.wrong((*path, "then"), "what happens after `latest` (reopen, keep or shift)")
    if any(step.unit != "h" for step in steps):
        reader.wrong((*path, "latest"), "`latest` only where the repeat is in hours", str(latest))
    elif any(step.value > latest.value for step in steps):
        reader.wrong((*path, "latest"), "at least the time between two runs", str(latest))


def _window(reader: _Reader, value: object, path: Path_) -> Window | None:
    found = reader.table("window", value, path)
    if found["from"] is None or found["until"] is None:
        return None
    if found["from"] >= found["until"]:
        reader.wrong((*path, "until"), f"a time after {found['from']} on the same day", found["until"])
    return Window(found["from"], found["until"], found["late"], found["weekdays"])


def _treatment(reader: _Reader, value: object, path: Path_) -> Treatment | None:
    """The treatment with its row of the formulary looked up: target, mode and row must fit one another."""
    found = reader.table("treatment", value, path)
    target = _check_regimen(reader, found, path)
    longest = _check_place(reader, found, path)
    if None in (found["regimen"], found["mode"], found["water"]):
        return None
    _check_after_change(reader, found, path)
    _check_allowance(reader, found, path)
    said = {"target": target, "filter": found["filter"] or "", "clearing": found["clearing"] or "", "longest": longest}
    return Treatment(**{**found, **said, "witness": bool(found["witness"])})


MOST_ALLOWED = Decimal(10)
"""Percent: beyond this every amount is asked about once (rule C7; our choice, no source), and a template may be
stricter, never laxer."""


def _check_allowance(reader: _Reader, found: dict[str, Any], path: Path_) -> None:
    """What may be given without a reason (needs F27) is at most what is given without a question."""
    if found["allowance"] is not None and found["allowance"] > MOST_ALLOWED:
        why = "beyond that every amount is asked about, and a template may be stricter, never laxer"
        shown = f"{_plain(found['allowance'])} %"
        reader.wrong((*path, "allowance"), f"at most {_plain(MOST_ALLOWED)} %", shown, why)


def _check_after_change(reader: _Reader, found: dict[str, Any], path: Path_) -> None:
    """The full amount again after a part of the water was changed: only of what may be gone by then (needs F23)."""
    row = _row_of(found["regimen"])
    if found["after_change"] != "full" or row is None:
        return
    from quarantine.formulary import is_prolonged, regimen

    why = ""
    if found["mode"] != "as published":
        why = f'mode "{found["mode"]}" says already what a change calls for'
    elif not is_prolonged(row):
        why = f"{row.id} does not stay in the water for more than 48 hours"
    elif regimen(row.id)[0].loss != "possible":
        why = f"nothing on record breaks {regimen(row.id)[0].name} down, so the full amount would add up"
    if why:
        reader.wrong((*path, "after_change"), "no `after_change`", found["after_change"], why)


# Which routes of the formulary are given where.
_PLACES = {
    "system": ("bath", "prolonged"),
    "tank": ("bath", "prolonged"),
    "vessel": ("dip",),
    "food": ("food",),
}


def _check_place(reader: _Reader, found: dict[str, Any], path: Path_) -> Quantity | None:
    """A bath is given to the water, with the filter running or off (rule C10); a dip in a vessel of its own, whose
    litres are asked at the moment (rule C15); a dose in food to the fish. The limit of a dip, where there is one."""
    where, row = found["water"], _row_of(found["regimen"])
    if where in ("system", "tank") and found["filter"] is None:
        reader.wrong((*path, "filter"), "running or off, because a bath must say so (rule C10)")
    if where in ("vessel", "food"):
        for key in ("filter", "off"):
            if found[key]:
                shown = found[key] if isinstance(found[key], str) else ", ".join(found[key])
                reader.wrong((*path, key), f"no `{key}`: nothing is put into the tank's water", shown)
    if row is not None and where is not None and row.route not in _PLACES[where]:
        fits = " or ".join(f'"{place}"' for place, routes in _PLACES.items() if row.route in routes)
        why = f"its route is {row.route}" + (f"; its water is {fits}" if fits else ", and it gives nothing")
        expected = f'a {" or ".join(_PLACES[where])} regimen, because the water is "{where}"'
        reader.wrong((*path, "regimen"), expected, row.id, why)
    return _check_longest(reader, found["longest"], row, (*path, "longest"))


def _row_of(name: str | None) -> Regimen | None:
    from quarantine import formulary

    try:
        return formulary.regimen(name)[1] if name else None
    except Unknown:
        return None


def _check_longest(reader: _Reader, text: str | None, row: Regimen | None, path: Path_) -> Quantity | None:
    """The template's own limit on a dip: a time above zero and at most the row's."""
    if text is None or row is None:
        return None
    from quarantine import quantity

    most = row.contact.high if row.contact else None
    if row.route != "dip" or most is None:
        reader.wrong(path, "no `longest`: only a dip with a longest time of its own has one", text)
        return None
    bounds = f"a time above zero, at most the {_plain(most.value)} {most.unit} of {row.id}"
    try:
        time = quantity.read(text, "duration", "longest")
    except Refused as error:
        reader.wrong(path, bounds, text, error.sentence)
        return None
    if not 0 < quantity.to(time, most.unit) <= most.value:
        reader.wrong(path, bounds, text)
    return time


def _check_regimen(reader: _Reader, found: dict[str, Any], path: Path_) -> Quantity | None:
    """The row of the formulary exists and fits; the template's own target, if any, in the row's unit."""
    if found["regimen"] is None:
        return None
    from quarantine import formulary

    try:
        _, row = formulary.regimen(found["regimen"])
    except Unknown as unknown:
        known = unknown.facts["known"]
        why = _near(found["regimen"], known) or f"known: {', '.join(known)}"
        reader.wrong((*path, "regimen"), "the id of a regimen in the formulary", found["regimen"], why)
        return None
    # Names are compared without capitals there; everything after this compares ids.
    found["regimen"] = row.id
    if row.tier == "refused":
        reader.wrong((*path, "regimen"), "a regimen the formulary offers", row.id, "it refuses this one")
    if found["mode"] and found["mode"] not in row.modes:
        reader.wrong((*path, "mode"), f"a mode {row.id} allows ({', '.join(row.modes)})", found["mode"])
    waters = ("fresh", "brackish", "marine")
    water = reader.data.get("water")
    for one in waters:
        if water in ("any", one) and one not in row.water:
            why = f"{row.id} is for {', '.join(row.water)} water"
            reader.wrong((*path, "regimen"), f"a regimen for {one} water", row.id, why)
    stays = row.route in ("bath", "prolonged")
    if stays and not (row.contact and row.contact.stated) and not found["clearing"]:
        why = "the source of the regimen is silent on contact time (rule C5)"
        reader.wrong((*path, "clearing"), "a sentence that says when clearing begins", None, why)
    return _check_target(reader, found["target"], row, (*path, "target"))


def _check_target(reader: _Reader, text: str | None, row: Regimen, path: Path_) -> Quantity | None:
    """A target of the template lies inside the bounds of its regimen and under every ceiling."""
    if text is None or row.target is None:
        return None
    from quarantine import quantity

    unit = row.target.low.unit
    low, high = row.target.low.value, row.target.high.value if row.target.high else None
    bounds = f"at least {_plain(low)} {unit}" if high is None else f"{_plain(low)} to {_plain(high)} {unit}"
    if unit not in quantity.UNITS:
        reader.wrong(path, f"no `target`: {row.id} has its own ({bounds})", text)
        return None
    try:
        value = quantity.to(quantity.read(text, quantity.UNITS[unit].kind, "target"), unit)
    except Refused as error:
        reader.wrong(path, f"an amount inside the bounds of {row.id} ({bounds})", text, error.sentence)
        return None
    most = max((one.figure.value for one in row.ceilings), default=None)
    if value < low or (high is not None and value > high):
        reader.wrong(path, f"an amount inside the bounds of {row.id} ({bounds})", text)
    elif most is not None and value > most:
        reader.wrong(path, f"at most the ceiling of {row.id} ({_plain(most)} {unit})", text)
    return Quantity(value, unit)


def _check_course(reader: _Reader, found: dict[str, Any], path: Path_) -> None:
    """A repeated dose has a number, not more than the regimen's source gave and not closer together."""
    repeat: Repeat | None = found["repeat"]
    treatment: Treatment | None = found["treatment"]
    if repeat is None or treatment is None:
        return
    from quarantine import formulary

    try:
        _, row = formulary.regimen(treatment.regimen)
    except Unknown:
        return
    most, gap = row.repeats.times, row.minimum_gap
    if repeat.times is None:
        reader.wrong((*path, "until"), "`times`, because a course of doses has a number", repeat.until)
    elif most is not None and repeat.times > most:
        reader.wrong((*path, "times"), f"at most the {most} doses of {row.id}", repeat.times)
    one = repeat.every or repeat.as_needed
    steps = [one] if one else [band.every for band in repeat.by_temperature]
    least = _hours_of(gap.value, gap.unit) if gap else Decimal(0)
    if gap and any(_hours_of(Decimal(step.value), step.unit) < least for step in steps):
        key = "every" if repeat.every else "as_needed" if repeat.as_needed else "by_temperature"
        shown = f"{_plain(gap.value)} {gap.unit}"
        reader.wrong((*path, key), f"at least the gap of {row.id} ({shown})", ", ".join(map(str, steps)))


def _hours_of(value: Decimal, unit: str) -> Decimal:
    from quarantine import quantity

    return quantity.to(Quantity(value, unit), "h")


def _condition(reader: _Reader, value: object, path: Path_) -> Condition | None:
    before = len(reader.problems)
    found = reader.table("condition", value, path)
    noted = len(reader.problems)
    fits = _fitting(reader, value, path)
    if len(reader.problems) > noted:
        return None
    kind = reader.one_of(found, fits, value, path)
    if kind is None or not isinstance(value, dict):
        return None
    low, high = _limits(reader, found, kind, path)
    _check_companions(reader, value, kind, path)
    if len(reader.problems) > before:
        return None
    read = kind in ("reading", "steady")
    share = None if found["at_most"] is None else f"{_plain(found['at_most'])} %"
    condition = Condition(
        kind,
        found[kind],
        found["title"] or "",
        low,
        high,
        READINGS[found[kind]] if read else None,
        found["within"].value if read else None,
        share,
        found["or_word"],
        found["reference"] or "",
    )
    return condition._replace(title=condition.title or sentence(condition))


def _fitting(reader: _Reader, value: object, path: Path_) -> tuple[str, ...]:
    """The kinds of condition that may stand here: what can branch the plan is asked of the facts themselves, and what
    only branches is no check and no criterion. One that stands in the wrong place is told."""
    where = str(path[-2])
    fits = _BRANCHES.get(where, tuple(one for one in _CONDITIONS if one not in ("sign", "event", "group")))
    for kind in _CONDITIONS if isinstance(value, dict) else ():
        if kind in value and kind not in fits:  # type: ignore[operator]
            reader.wrong((*path, kind), f"in `{where}` one of {', '.join(fits)}", kind)
    return fits


def _check_group(reader: _Reader, name: str, path: Path_) -> None:
    from quarantine.formulary.groups import shipped as shipped_groups

    known = [group.id for group in shipped_groups().groups if group.genera]
    if name not in known:
        reader.wrong(
            path,
            "a group of animals that is known by its genera",
            name,
            _near(name, known) or f"known: {', '.join(known)}",
        )


def _check_companions(reader: _Reader, value: dict[str, Any], kind: str, path: Path_) -> None:
    """What must stand beside a kind of condition, and what only makes sense beside another."""
    read = kind in ("reading", "steady")
    if read and "within" not in value:
        reader.wrong((*path, "within"), 'how old the reading may be, in hours such as "24 h"')
    if kind == "level" and "at_most" not in value:
        reader.wrong((*path, "at_most"), 'a percentage of the target such as "5 %"')
    if kind == "group":
        _check_group(reader, value["group"], (*path, "group"))
    if kind == "level" and isinstance(value["level"], str):
        _check_substance(reader, value["level"], (*path, "level"))
    for key, fits in (("within", read), ("or_word", read), ("at_most", kind == "level")):
        if key in value and not fits:
            reader.wrong((*path, key), f"no `{key}` beside {kind}", value[key])
    if kind in _FIGURES and "reference" not in value:
        reader.wrong((*path, "reference"), "the key of a [[reference]], because this condition holds a figure")


def _check_substance(reader: _Reader, name: str, path: Path_) -> None:
    from quarantine import formulary

    if name not in formulary.names():
        known = ", ".join(formulary.names())
        reader.wrong(path, "a substance of the formulary", name, _near(name, formulary.names()) or f"known: {known}")


def sentence(condition: Condition) -> str:
    """The default title of a condition: what is asked for, in one line."""
    value = condition.value
    days = f"{value} day{'' if value == 1 else 's'}"
    subject = PARAMETERS[str(value)].title if condition.kind in ("reading", "steady") else ""
    return {
        "day": f"Day {value} or later",
        "ate": f"Fish ate on {value} looked day{'' if value == 1 else 's'}",
        "no_sign": f"No sign of severity {value}{'' if value == 'A' else ' or worse'} is open",
        "reading": f"{_capital(subject)} {_range(condition)}, read within {condition.within_hours} h",
        "steady": f"{_capital(subject)} {_range(condition)} for {condition.within_hours} h",
        "word": f"{value}",
        "period": f"Period {value} is complete",
        "clear_days": f"{value} clear day{'' if value == 1 else 's'}, looked at and without a sign",
        "feeding_days": f"{days} of feeding, every one on which food was offered",
        "days_since_death": f"{days} since the last death",
        "days_since_dose": f"{days} since the last dose ended",
        "level": f"{_capital(str(value))} in the water at most {condition.share} of the last target",
        "counts": "The head count balances",
        "tasks": "Every task has an outcome",
        "sign": f"The sign {value} is open",
        "event": f"{_capital(str(value).replace('_', ' '))} has happened",
        "group": f"Fish of the group {value} are in the batch",
    }[condition.kind]


def _range(condition: Condition) -> str:
    low, high, unit = condition.low, condition.high, condition.unit
    amount = "{}" if condition.value == "ph" else f"{{}} {unit}"
    if low is None or high is None:
        return f"at least {amount.format(low)}" if high is None else f"at most {amount.format(high)}"
    return f"from {low} to {amount.format(high)}"


def _capital(text: str) -> str:
    return text if text == "pH" else text[:1].upper() + text[1:]


_FOR = {"look": "batch", "feed": "batch", "move": "batch"}
# Which kind of step each of these keys belongs to, and needs.
_OWN = {"reads": "test", "fraction": "change", "treatment": "dose"}


def _step(reader: _Reader, value: object, path: Path_) -> Step | None:
    before = len(reader.problems)
    found = reader.table("step", value, path)
    if not isinstance(value, dict):
        return None
    _check_own(reader, found, value, path)
    _check_move(reader, found, path)
    _check_ramp(reader, found, path)
    if found["repeat"] and found["repeat"].as_needed and found["start"] and found["start"].kind != "word":
        reader.wrong(
            (*path, "start"), "a `word`, because a keeper's word asks for what is given as needed", "another start"
        )
    if found["kind"] == "dose":
        _check_dose(reader, found, value, path)
    if len(reader.problems) > before:
        return None
    place = _whose(found["treatment"]) if found["treatment"] else _FOR.get(found["kind"], "system")
    found["for_"] = found.pop("for") or place
    return Step(
        **{
            **found,
            "window": found["window"] or WHOLE_DAY,
            "note": found["note"] or "",
            "line": reader.line(path),
        }
    )


def _whose(treatment: Treatment) -> str:
    """Whose task a dose is: the water's that is dosed, or the batch's that is dipped or fed."""
    return treatment.water if treatment.water in ("system", "tank") else "batch"


def _check_own(reader: _Reader, found: dict[str, Any], value: dict[str, Any], path: Path_) -> None:
    """A test has `reads`, a change `fraction`, a dose `treatment`: needed there and refused elsewhere."""
    for key, kind in _OWN.items():
        if found["kind"] == kind and key not in value:
            reader.wrong((*path, key), f"`{key}`, because a {kind} needs it")
        if found["kind"] not in (kind, None) and key in value:
            reader.wrong((*path, key), f"`{key}` only in a {kind}", value[key])


def _check_move(reader: _Reader, found: dict[str, Any], path: Path_) -> None:
    """Moving fish is a keeper's work, and says what happens when it was not done in time (rule A11)."""
    if found["kind"] != "move":
        return
    if found["who"] == "anyone":
        reader.wrong((*path, "who"), "keeper or adult, because a move handles every fish", "anyone")
    if found["for"] not in (None, "batch"):
        reader.wrong((*path, "for"), "batch, whose fish are moved", found["for"])
    if found["after_window"] is None:
        reader.wrong((*path, "after_window"), "shift, keep or reopen, because a move must say so (rule A11)")


def _check_ramp(reader: _Reader, found: dict[str, Any], path: Path_) -> None:
    """What is brought to a value step by step is a daily chore at most, and ends by a `stop` on that reading."""
    if found["ramp"] is None:
        return
    if found["kind"] not in ("chore", None):
        reader.wrong((*path, "ramp"), "`ramp` only in a chore", found["kind"])
    if found["repeat"] is None:
        reader.wrong((*path, "repeat"), "a `repeat`, because a ramp goes in steps")
    if not any(one.kind == "reading" and one.value == found["ramp"].parameter for one in found["stop"]):
        reader.wrong((*path, "stop"), f"a `stop` by a reading of {found['ramp'].parameter}, at which the ramp ends")


def _check_dose(reader: _Reader, found: dict[str, Any], value: dict[str, Any], path: Path_) -> None:
    """Rules A11, C1, C8 and C19: what a dose must say before anybody may pour it."""
    for key, words in (("after_window", "shift, keep or reopen"), ("window", "a table with from and until")):
        if key not in value:
            reader.wrong((*path, key), f"{words}, because a dose must say so (rule A11)")
    if found["who"] == "anyone":
        reader.wrong((*path, "who"), "keeper or adult, because not everyone handles medicine (rule C19)", "anyone")
    if found["treatment"] and found["for"] not in (None, _whose(found["treatment"])):
        owner = _whose(found["treatment"])
        what = "the fish that are dipped or fed" if owner == "batch" else "the water of the treatment"
        reader.wrong((*path, "for"), f"{owner}, {what}", found["for"])
    _check_tier(reader, found, path)
    if isinstance(value.get("repeat"), dict) and "from" not in value["repeat"]:
        reader.wrong((*path, "repeat", "from"), "planned or given, because a repeated dose must say so")
    _check_course(reader, found, (*path, "repeat"))
    for missing in _gate_missing(found["before"], _broken(value)):
        reader.wrong((*path, "before"), f"{missing} (rule C8)")


def _check_tier(reader: _Reader, found: dict[str, Any], path: Path_) -> None:
    """What is no general advice stands in a template only with the word that a veterinarian instructed it."""
    row = _row_of(found["treatment"].regimen if found["treatment"] else None)
    words = [str(one.value).casefold() for one in found["before"] if one.kind == "word"]
    if row is None or row.tier == "ready" or any("veterinar" in word for word in words):
        return
    why = f"{row.id} is no general advice (tier {row.tier})"
    reader.wrong((*path, "before"), 'a before-check {word = "..."} that names the veterinary instruction', None, why)


def _broken(value: dict[str, Any]) -> list[dict[str, Any]]:
    entries = value.get("before")
    return [one for one in entries if isinstance(one, dict)] if isinstance(entries, list) else []


def _at_most(limit: str | None, most: str) -> bool:
    return limit is not None and Decimal(limit) <= Decimal(most)


def _at_least(limit: str | None, least: str) -> bool:
    return limit is not None and Decimal(limit) >= Decimal(least)


# Rule C8: kind, the key's value where it matters, what satisfies it, how to write it. 0.05 mg/L is where harm
# by un-ionized ammonia begins (Univ. of Florida IFAS EDIS, Ammonia, FA16/FA031, 1990/1996, read in a copy).
_GATE: tuple[tuple[str, str | None, Callable[[Condition], bool], str], ...] = (
    ("day", None, lambda c: int(c.value) >= 3, "{day = 3} or later"),
    ("ate", None, lambda c: int(c.value) >= 2, "{ate = 2} or more"),
    ("no_sign", None, lambda c: True, '{no_sign = "A"}'),
    (
        "reading",
        "uia",
        lambda c: _at_most(c.high, "0.05") and (c.within_hours or 99) <= 24 and c.or_word is None,
        '{reading = "uia", max = "0.05 mg/L", within = "24 h"} or stricter',
    ),
    (
        "reading",
        "nitrite",
        lambda c: c.high is not None and (c.within_hours or 99) <= 24 and c.or_word is None,
        '{reading = "nitrite", max = ..., within = "24 h"} or stricter',
    ),
    (
        "steady",
        "temperature",
        lambda c: None not in (c.low, c.high) and (c.within_hours or 0) >= 24 and c.or_word is None,
        '{steady = "temperature", min = ..., max = ..., within = "24 h"} or longer',
    ),
    (
        "reading",
        "oxygen",
        lambda c: _at_least(c.low, "5"),
        '{reading = "oxygen", min = "5 mg/L", or_word = "..."} or stricter',
    ),
)


def _gate_missing(before: tuple[Condition, ...], raw: list[dict[str, Any]]) -> list[str]:
    """The before-checks of rule C8 that are not there; one that is there but misspelt was noted already."""
    missing = []
    for kind, subject, enough, words in _GATE:
        same = [c for c in before if c.kind == kind and subject in (None, c.value)]
        written = [one for one in raw if kind in one and subject in (None, one[kind])]
        if not any(enough(c) for c in same) and len(written) <= len(same):
            missing.append(f"a before-check {words}")
    return missing


def _period(reader: _Reader, value: object, path: Path_) -> Period | None:
    found = reader.table("period", value, path)
    band = {key: found.pop(key) for key in ("reading", "min", "max")}
    if None in found.values():
        return None
    if found["counts"] != "in-range":
        for key in [key for key, said in band.items() if said is not None]:
            reader.wrong((*path, key), f"`{key}` only where days in range are counted", band[key])
        return Period(**found)
    if band["reading"] is None:
        reader.wrong((*path, "reading"), "what is read, because the period counts days in range", None)
        return None
    low, high = _limits(reader, band, "reading", path)
    return Period(**found, reading=band["reading"], low=low, high=high)


def _events(reader: _Reader, value: object, path: Path_) -> dict[str, str] | None:
    found = reader.table("events", value, path)
    if found["outbreak"] not in ("restart", None):
        reader.wrong((*path, "outbreak"), "restart, because rule A7 says so", found["outbreak"])
    if found["no_reading"] == "note":
        why = "what was not read for over 36 hours is not known (rule A10)"
        reader.wrong((*path, "no_reading"), "pause, extend or restart", "note", why)
    for event, default in MORE_EVENTS.items():
        if found[event] is None:
            found[event] = found[default.removeprefix(AS)] if default.startswith(AS) else default
    return found


_TABLES: dict[str, Callable[[_Reader, object, Path_], Any]] = {
    "reference": _reference,
    "period": _period,
    "step": _step,
    "start": _start,
    "repeat": _repeat,
    "band": _band,
    "ramp": _ramp,
    "window": _window,
    "treatment": _treatment,
    "condition": _condition,
    "events": _events,
}


# --- Checks across the whole file ----------------------------------------------------------------------
# They look at the file as written, so that one mistake in a step does not make it unknown to the others.


def _tables(data: dict[str, Any], kind: str) -> list[tuple[Path_, dict[str, Any]]]:
    entries = data.get(kind)
    if not isinstance(entries, list):
        return []
    return [((kind, n), one) for n, one in enumerate(entries) if isinstance(one, dict)]


def _named(data: dict[str, Any], kind: str, key: str = "id") -> list[str]:
    return [one[key] for _, one in _tables(data, kind) if isinstance(one.get(key), str)]


def _conditions(data: dict[str, Any]) -> list[tuple[Path_, dict[str, Any]]]:
    before = [
        ((*path, *at), one)
        for path, step in _tables(data, "step")
        for key in ("before", "when", "stop")
        for at, one in _tables(step, key)
    ]
    return before + _tables(data, "criterion")


def _check_whole(reader: _Reader) -> None:
    _check_unique(reader, [*_tables(reader.data, "period"), *_tables(reader.data, "step")], "id")
    _check_unique(reader, _tables(reader.data, "reference"), "key")
    _check_subjects(reader)
    _check_cycles(reader)
    _check_references(reader)
    _check_read(reader)
    _check_minimum(reader)
    _check_medicated(reader)


def _check_unique(reader: _Reader, tables: list[tuple[Path_, dict[str, Any]]], key: str) -> None:
    seen: dict[str, Path_] = {}
    for path, table in tables:
        name = table.get(key)
        if not isinstance(name, str):
            continue
        if name in seen:
            what = "a name used once (steps and periods share them)" if key == "id" else "a key used once"
            reader.wrong((*path, key), what, name, f"first used in line {reader.line(seen[name])}")
        seen.setdefault(name, path)


def _check_subjects(reader: _Reader) -> None:
    """`after` names a step or a period, `begun` a step; `until` and criteria name a period."""
    periods, steps = _named(reader.data, "period"), _named(reader.data, "step")
    for path, table in [*_tables(reader.data, "step"), *_tables(reader.data, "period")]:
        start = table.get("start")
        _check_known(reader, start, "start", "after", path, [*steps, *periods], "a step or a period")
        _check_known(reader, start, "start", "begun", path, steps, "a step")
        _check_known(reader, table.get("repeat"), "repeat", "until", path, periods, "a period")
    for path, condition in _conditions(reader.data):
        _check_known(reader, condition, "", "period", path, periods, "a period")


def _check_known(
    reader: _Reader, table: object, under: str, key: str, path: Path_, known: list[str], what: str
) -> None:
    name = table.get(key) if isinstance(table, dict) else None
    if isinstance(name, str) and name not in known:
        why = _near(name, known) or f"known: {', '.join(known) or 'none'}"
        reader.wrong((*path, under, key) if under else (*path, key), f"{what} of this protocol", name, why)


Node = tuple[str, str]


def _waits(data: dict[str, Any]) -> dict[Node, list[Node]]:
    """What the first run ("begun") and the end ("after") of each step and period wait for."""
    waits: dict[Node, list[Node]] = {}
    periods = _named(data, "period")
    for _, table in [*_tables(data, "step"), *_tables(data, "period")]:
        name, start, repeat = table.get("id"), table.get("start"), table.get("repeat")
        if not isinstance(name, str):
            continue
        start = start if isinstance(start, dict) else {}
        repeat = repeat if isinstance(repeat, dict) else {}
        begun = [(key, start[key]) for key in ("after", "begun") if isinstance(start.get(key), str)]
        until = [("after", repeat["until"])] if repeat.get("until") in periods else []
        waits[("begun", name)] = begun
        waits[("after", name)] = [("begun", name), *until]
    return waits


def _cycle(waits: dict[Node, list[Node]], node: Node, trail: tuple[Node, ...], done: set[Node]) -> tuple[Node, ...]:
    if node in trail:
        return (*trail[trail.index(node) :], node)
    if node in done:
        return ()
    for other in waits.get(node, []):
        found = _cycle(waits, other, (*trail, node), done)
        if found:
            return found
    done.add(node)
    return ()


def _check_cycles(reader: _Reader) -> None:
    """No step or period may wait, through others, for itself: it would never begin."""
    waits = _waits(reader.data)
    done: set[Node] = set()
    tables = [*_tables(reader.data, "step"), *_tables(reader.data, "period")]
    for name in [*_named(reader.data, "step"), *_named(reader.data, "period")]:
        found = [one for _, one in _cycle(waits, ("after", name), (), done)]
        if found:
            names = [one for n, one in enumerate(found) if n == 0 or found[n - 1] != one]
            # The circle is told where one of its members is made to wait for another.
            path = next(at for at, one in tables if one.get("id") in found and waits[("begun", one["id"])])
            shown = " → ".join(names if len(names) > 1 else names * 2)
            reader.wrong((*path, "start"), "a start that does not wait for itself", shown)
            return


def _check_references(reader: _Reader) -> None:
    """Every key that is named exists, and every reference is named somewhere."""
    known = _named(reader.data, "reference", "key")
    used: set[str] = set()
    places = [*_tables(reader.data, "step"), *_tables(reader.data, "period")]
    named = [
        ((*path, "references", n), key)
        for path, table in places
        if isinstance(table.get("references"), list)
        for n, key in enumerate(table["references"])
    ]
    named += [((*path, "reference"), one["reference"]) for path, one in _conditions(reader.data) if "reference" in one]
    for path, key in named:
        if not isinstance(key, str):
            continue
        used.add(key)
        if key not in known:
            why = _near(key, known) or f"known: {', '.join(known) or 'none'}"
            reader.wrong(path, "the key of a [[reference]]", key, why)
    for path, table in _tables(reader.data, "reference"):
        if isinstance(table.get("key"), str) and table["key"] not in used:
            reader.wrong((*path, "key"), "a reference that something names", table["key"])


def _check_read(reader: _Reader) -> None:
    """A reading that is asked for must be taken by a test, or it could never be met."""
    lists = [step.get("reads") for _, step in _tables(reader.data, "step")]
    taken = {name for reads in lists if isinstance(reads, list) for name in reads if isinstance(name, str)}
    counted = [(path, one) for path, one in _tables(reader.data, "period") if "reading" in one]
    ramps = [((*path, "ramp"), step["ramp"]) for path, step in _tables(reader.data, "step") if _is_table(step, "ramp")]
    for path, one in [*_conditions(reader.data), *counted, *ramps]:
        for kind in ("reading", "steady"):
            name = one.get(kind)
            if not isinstance(name, str) or name not in READINGS or "or_word" in one:
                continue
            missing = [need for need in (_UIA_FROM if name == "uia" else (name,)) if need not in taken]
            if missing:
                reader.wrong((*path, kind), f"a test step that reads {' and '.join(missing)}", name)


def _is_table(table: dict[str, Any], key: str) -> bool:
    return isinstance(table.get(key), dict)


def _check_minimum(reader: _Reader) -> None:
    """Sign-off always asks for a period, the head count and the tasks."""
    criteria = reader.data.get("criterion")
    if not isinstance(criteria, list):
        return
    written = {key for one in criteria if isinstance(one, dict) for key in one}
    for kind, words in (
        ("period", "{period = ...}"),
        ("counts", '{counts = "balanced"}'),
        ("tasks", '{tasks = "settled"}'),
    ):
        if kind not in written:
            reader.wrong(("criterion",), f"a criterion {words}")


def _check_medicated(reader: _Reader) -> None:
    """A medicated template has cautions, and puts back what it takes out or switches off (rule C10)."""
    doses = [(path, step) for path, step in _tables(reader.data, "step") if step.get("kind") == "dose"]
    if doses and "cautions" not in reader.data:
        reader.wrong(("cautions",), "a list of cautions, because the template is medicated")
    waits = _waits(reader.data)
    _check_cleared(reader, doses, waits)
    chores = [one.get("id") for _, one in _tables(reader.data, "step") if one.get("kind") == "chore"]
    for path, step in doses:
        treatment = step.get("treatment")
        if not isinstance(treatment, dict) or not (treatment.get("off") or treatment.get("filter") == "off"):
            continue
        dose = step.get("id")
        if not any(_follows(waits, ("begun", chore), dose) for chore in chores if isinstance(chore, str)):
            reader.wrong(
                (*path, "treatment", "off"),
                "a later chore that puts this back (rule C10)",
                treatment.get("off"),
            )


def _check_cleared(reader: _Reader, doses: list[tuple[Path_, dict[str, Any]]], waits: dict[Node, list[Node]]) -> None:
    """Where every water change calls for a dose again, something ends the treatment (rules C1 and C5)."""
    from quarantine.formulary import is_prolonged

    ends = [one.get("id") for _, one in _tables(reader.data, "step") if one.get("kind") in ("change", "chore")]
    for path, step in doses:
        treatment = step.get("treatment")
        if not isinstance(treatment, dict):
            continue
        if (
            treatment.get("mode") not in ("replace removed", "top up to a reading")
            and treatment.get("after_change") != "full"
        ):
            continue
        row = _row_of(treatment["regimen"]) if isinstance(treatment.get("regimen"), str) else None
        cleared = any(_follows(waits, ("begun", one), step.get("id")) for one in ends if isinstance(one, str))
        if row is not None and is_prolonged(row) and not cleared:
            why = "each change before clearing calls for a dose again"
            expected = "a later change or chore that begins clearing"
            reader.wrong((*path, "treatment", "mode"), expected, treatment["mode"], why)


def _follows(waits: dict[Node, list[Node]], node: Node, name: object) -> bool:
    """Whether a step begins, directly or through others, after the one of this name."""
    seen: set[Node] = set()
    todo = list(waits.get(node, []))
    while todo:
        one = todo.pop()
        if one[1] == name:
            return True
        if one not in seen:
            seen.add(one)
            todo += waits.get(one, [])
    return False


# --- In and out ----------------------------------------------------------------------------------------


def read(text: str, file: str, *, frozen: bool = False) -> Protocol:
    """The checked protocol of a TOML text; ``file`` is only the name that mistakes are shown with.

    Raises ProtocolError with every mistake at once. A ``frozen`` copy was checked when its batch started: what a
    later version would object to does not stop a running batch.
    """
    reader = _Reader(file, *_parsed(text, file))
    _check_format(reader)
    found = reader.table("protocol", reader.data, ())
    _check_whole(reader)
    if reader.problems and not (frozen and _nothing_lost(reader, found)):
        raise ProtocolError(file, sorted(reader.problems, key=lambda problem: problem.line))
    import hashlib

    return Protocol(
        **{key: found[key] for key in GRAMMAR["protocol"] if key in Protocol._fields},
        references={one.key: one for one in found["reference"]},
        periods=found["period"],
        steps=found["step"],
        criteria=found["criterion"],
        text=text,
        fingerprint=hashlib.sha256(text.encode()).hexdigest(),
    )


def _nothing_lost(reader: _Reader, found: dict[str, Any]) -> bool:
    """Whether every step, period and criterion of the text was read: a running batch may lose none silently."""
    return all(len(found[key] or ()) == len(reader.data.get(key) or ()) for key in ("step", "period", "criterion"))


def _parsed(text: str, file: str) -> tuple[dict[str, Any], dict[Path_, int]]:
    import tomllib

    try:
        data = tomllib.loads(text)
        return data, key_lines(text.replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"^(.*?) \(at (?:line (\d+), column (\d+)|end of document)\)$", str(error), re.DOTALL)
        line = int(found[2]) if found and found[2] else text.count("\n") + 1
        what = found[1] if found else str(error)
        column = f" at column {found[3]}" if found and found[3] else ""
        raise ProtocolError(file, [Problem(file, line, "", f"expected TOML, got{column}: {what}")]) from None
    except RecursionError:
        deep = "expected a protocol, got brackets nested too deep"
        raise ProtocolError(file, [Problem(file, 1, "", deep)]) from None


def _check_format(reader: _Reader) -> None:
    """A newer format is refused alone: its other keys cannot be judged."""
    value = reader.data.get("format")
    if value is None or value == FORMAT:
        return
    newer = isinstance(value, int) and not isinstance(value, bool) and value > FORMAT
    why = "this template is for a newer version of quarantine; update the program" if newer else ""
    reader.wrong(("format",), f"{FORMAT}, the newest format this version reads", value, why)
    raise ProtocolError(reader.file, reader.problems)


def load(id_or_path: str | Path) -> Protocol:
    """A shipped protocol by its id, or a file. Raises Unknown, Refused (unreadable) or ProtocolError."""
    known = shipped()
    path = known.get(str(id_or_path)) or Path(id_or_path)
    if not path.exists() and path.suffix != ".toml" and len(path.parts) == 1:
        raise Unknown("protocol", str(id_or_path), list(known), "; a file is named by its path")
    try:
        text = path.read_bytes().decode()
    except UnicodeDecodeError as error:
        raise Refused(f"The protocol {path} is not UTF-8 text (byte {error.start}); save it as UTF-8.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "not a file name"
        raise Refused(f"The protocol {path} cannot be read: {reason}; check the name.") from None
    return read(text, str(path))
