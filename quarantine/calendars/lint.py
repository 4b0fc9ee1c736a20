"""A lint of our own for calendar files, over bytes and without a calendar library.

A library that wrote a file is no witness for it, and no single reader notices more than about half of
what can be wrong. So the lint is stricter than the standard: it knows the layout this tool writes, and
whatever is not in that layout (an injected property, a second alarm, a METHOD) is a problem.

Rules: IETF, RFC 5545, Internet Calendaring and Scheduling Core Object Specification, 2009 (3.1 lines,
3.3.4 to 3.3.6 and 3.3.11 values, 3.6 components, 3.7 and 3.8 properties); IETF, RFC 7986, New Properties
for iCalendar, 2016 (NAME, REFRESH-INTERVAL).
"""

from __future__ import annotations

import re
from codecs import getincrementaldecoder
from collections.abc import Iterator
from datetime import datetime
from functools import lru_cache
from mmap import ACCESS_READ, mmap
from pathlib import Path
from typing import NamedTuple

BOM = b"\xef\xbb\xbf"
LONGEST_LINE = 75
LONGEST_UID = 71
BLOCK = 1 << 20


class Problem(NamedTuple):
    """One thing wrong with a file: the physical line, counted from 1, and what is wrong there."""

    line: int
    message: str


class _Shape(NamedTuple):
    """What one kind of component may hold: where it stands, what it needs once, what it may have once."""

    parent: bytes | None
    needed: frozenset[bytes]
    allowed: frozenset[bytes]


def _names(words: str) -> frozenset[bytes]:
    return frozenset(words.encode("ascii").split())


_SHAPES = {
    b"VCALENDAR": _Shape(
        None,
        _names("VERSION PRODID"),
        _names("CALSCALE NAME X-WR-CALNAME REFRESH-INTERVAL X-PUBLISHED-TTL"),
    ),
    b"VEVENT": _Shape(
        b"VCALENDAR",
        _names("UID DTSTAMP DTSTART DTEND SEQUENCE SUMMARY STATUS TRANSP LAST-MODIFIED"),
        _names("CREATED DESCRIPTION CATEGORIES URL"),
    ),
    b"VALARM": _Shape(b"VEVENT", _names("ACTION DESCRIPTION TRIGGER"), frozenset()),
}

# Faults that can be found without knowing where a property begins or ends. One pattern for each way a fault
# is encoded: patterns with a fixed beginning are searched several times faster than one with alternatives.
_CONTROL = "a control character or a line separator stands in the text"
_ANYWHERE = (
    (re.compile(rb"\n[ \t][\x80-\xbf]"), "the line before is folded inside a UTF-8 character"),
    (re.compile(rb"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]"), _CONTROL),
    (re.compile(rb"\xc2[\x80-\x9f]"), _CONTROL),  # C1 controls in UTF-8
    (re.compile(rb"\xe2\x80[\xa8\xa9]"), _CONTROL),  # line and paragraph separator in UTF-8
)
_LINE = re.compile(rb"[^\n]*\n|[^\n]+")
_LONE_LF = re.compile(rb"(?<!\r)\n")
_LONE_CR = re.compile(rb"\r(?!\n)")
_PROPERTY = re.compile(rb"([A-Za-z0-9-]+)((?:;[A-Za-z0-9-]+=(?:\"[^\"]*\"|[^\";:]*))*):(.*)", re.DOTALL)
_ESCAPED = re.compile(rb"(?:[^\\;,]++|\\[\\;,n])*+")
_UID = re.compile(rb"[!-~]{1,%d}" % LONGEST_UID)
_WHOLE = re.compile(rb"[0-9]+")
_DAY = re.compile(rb"[0-9]{8}")
_INSTANT = re.compile(rb"[0-9]{8}T[0-9]{6}Z")
_TIME_PART = rb"T(?:[0-9]+H(?:[0-9]+M(?:[0-9]+S)?)?|[0-9]+M(?:[0-9]+S)?|[0-9]+S)"
_DURATION = re.compile(rb"[+-]?P(?:[0-9]+W|[0-9]+D(?:%b)?|%b)" % (_TIME_PART, _TIME_PART))
_WEEKS_MIXED = re.compile(rb"[+-]?P(?:[0-9]+W[^ ]+|[^W]+[0-9]+W.*)")
_NOT_ZERO = re.compile(rb"[1-9]")

# What one property has to look like: (pattern of its parameters and value, as written; what to say).
_EXACT = {
    b"VERSION": (re.compile(rb":2\.0"), "VERSION is not 2.0"),
    b"PRODID": (re.compile(rb":.+"), "PRODID is empty"),
    b"CALSCALE": (re.compile(rb":GREGORIAN"), "CALSCALE is not GREGORIAN"),
    b"CATEGORIES": (re.compile(rb":[^\\;]+"), "CATEGORIES is not a list of plain words"),
    b"STATUS": (re.compile(rb":(?:CONFIRMED|CANCELLED)"), "STATUS is neither CONFIRMED nor CANCELLED"),
    b"TRANSP": (re.compile(rb":TRANSPARENT"), "TRANSP is not TRANSPARENT, so a task would mark the day busy"),
    b"ACTION": (re.compile(rb":DISPLAY"), "ACTION of the alarm is not DISPLAY"),
    b"REFRESH-INTERVAL": (re.compile(rb";VALUE=DURATION:P.+"), "REFRESH-INTERVAL lacks VALUE=DURATION"),
}
_TEXTS = _names("NAME X-WR-CALNAME SUMMARY DESCRIPTION")
_INSTANTS = _names("DTSTAMP CREATED LAST-MODIFIED")

_Held = dict[bytes, tuple[int, bytes, bytes]]  # property -> line, parameters, value


def lint(data: bytes | mmap) -> list[Problem]:
    """Every problem of a calendar file, by line; an empty list when there is none.

    Of a fault in the bytes themselves (line ends, controls, encoding) only the first place is named. A large file is
    given as a map of it, and is then never held in memory as a whole.
    """
    problems: list[Problem] = []
    start = 0
    if data[: len(BOM)] == BOM:
        problems.append(Problem(1, "the file begins with a byte order mark"))
        start = len(BOM)
    problems += _faults_in_bytes(data, start)
    problems += _faults_in_structure(data, start)
    return sorted(problems)


def lint_file(path: Path) -> list[Problem]:
    """The problems of a file on the disk. Raises OSError when it cannot be read."""
    with path.open("rb") as file:
        try:
            mapped = mmap(file.fileno(), 0, access=ACCESS_READ)
        except ValueError:  # an empty file has nothing to map
            return lint(b"")
        with mapped:
            return lint(mapped)


def _blocks(data: bytes | mmap, start: int, end: int | None = None) -> Iterator[bytes]:
    end = len(data) if end is None else end
    for at in range(start, end, BLOCK):
        yield data[at : min(at + BLOCK, end)]


def _line_at(data: bytes | mmap, place: int) -> int:
    """The physical line, counted from 1, in which an octet stands."""
    return sum(block.count(b"\n") for block in _blocks(data, 0, place)) + 1


def _faults_in_bytes(data: bytes | mmap, start: int) -> Iterator[Problem]:
    for pattern, message in _ANYWHERE:
        if found := pattern.search(data, start):
            # A fold is told at the line that continues: its LF lies inside the match.
            yield Problem(_line_at(data, found.end() - 1), message)
    if found := _LONE_LF.search(data):
        yield Problem(_line_at(data, found.start()), "the line ends in LF without CR")
    if found := _LONE_CR.search(data):
        yield Problem(_line_at(data, found.start()), "a CR stands without LF")
    if (place := _not_utf8(data, start)) is not None:
        yield Problem(_line_at(data, place), "the text is not UTF-8")
    if data[-1:] != b"\n":
        yield Problem(_line_at(data, len(data)), "the last line has no end")


def _not_utf8(data: bytes | mmap, start: int) -> int | None:
    """Where the first octet stands that is not UTF-8."""
    decoder = getincrementaldecoder("utf-8")()
    done = start
    try:
        for block in _blocks(data, start):
            waiting = len(decoder.getstate()[0])
            decoder.decode(block)
            done += len(block)
        waiting = len(decoder.getstate()[0])
        decoder.decode(b"", final=True)
    except UnicodeDecodeError as error:
        return done - waiting + error.start
    return None


def _logical_lines(data: bytes | mmap, start: int, problems: list[Problem]) -> Iterator[tuple[int, bytes]]:
    """Unfolded lines, each with the number of its first physical line; long lines are reported on the way."""
    begun, whole = 0, b""
    for number, found in enumerate(_LINE.finditer(data, start), start=1):
        line = found[0].removesuffix(b"\n").removesuffix(b"\r")
        if len(line) > LONGEST_LINE:
            problems.append(Problem(number, f"the line has {len(line)} octets, over {LONGEST_LINE}"))
        if begun and line.startswith((b" ", b"\t")):
            whole += line[1:]
            continue
        if begun:
            yield begun, whole
        begun, whole = number, line
    if begun:
        yield begun, whole


def _faults_in_structure(data: bytes | mmap, start: int) -> list[Problem]:
    problems: list[Problem] = []
    open_parts: list[tuple[bytes, int, _Held]] = []
    uids: dict[bytes, int] = {}
    alarms: dict[int, int] = {}  # line of BEGIN:VEVENT -> alarms in it
    calendars = 0

    def say(line: int, message: str) -> None:
        problems.append(Problem(line, message))

    for number, line in _logical_lines(data, start, problems):
        matched = _PROPERTY.fullmatch(line)
        if matched is None:
            say(number, "the line is not NAME:VALUE, so a line break stands inside a value")
            continue
        name, parameters, value = matched.groups()
        name = name.upper()
        if name == b"BEGIN":
            parent = open_parts[-1][0] if open_parts else None
            shape = _SHAPES.get(value)
            if shape is None:
                say(number, f"{_shown(value)} has no place in this file, which holds VEVENT and VALARM only")
            elif shape.parent != parent:
                say(number, f"{_shown(value)} begins in the wrong place")
            elif parent is None:
                calendars += 1
                if calendars > 1:
                    say(number, "a second VCALENDAR begins")
            elif value == b"VALARM":
                event_line = open_parts[-1][1]
                alarms[event_line] = alarms.get(event_line, 0) + 1
                if alarms[event_line] > 1:
                    say(number, "the event has more than one VALARM, of which some calendars keep one only")
            open_parts.append((value, number, {}))
        elif name == b"END":
            if not open_parts or open_parts[-1][0] != value:
                say(number, f"END:{_shown(value)} closes nothing that is open")
                continue
            kind, begun, held = open_parts.pop()
            _judge_part(kind, begun, held, begun in alarms, uids, problems)
        elif not open_parts:
            say(number, f"{_shown(name)} stands outside VCALENDAR")
        else:
            _judge_property(open_parts[-1], number, name, parameters, value, problems)
    for kind, begun, _ in open_parts:
        say(begun, f"BEGIN:{_shown(kind)} is never closed")
    if not calendars:
        say(1, "there is no VCALENDAR")
    return problems


def _judge_property(
    part: tuple[bytes, int, _Held],
    number: int,
    name: bytes,
    parameters: bytes,
    value: bytes,
    problems: list[Problem],
) -> None:
    """One property: may it stand here, once, and is its value written as it must be."""
    kind, _, held = part
    shape = _SHAPES.get(kind)
    if shape is None:
        return
    if name not in shape.needed and name not in shape.allowed:
        problems.append(Problem(number, f"{_shown(name)} has no place in {_shown(kind)} of this file"))
        return
    if name in held:
        problems.append(Problem(number, f"{_shown(name)} stands twice in one {_shown(kind)}"))
    held[name] = (number, parameters, value)
    message = _value_fault(name, parameters, value)
    if message:
        problems.append(Problem(number, message))


def _value_fault(name: bytes, parameters: bytes, value: bytes) -> str | None:
    if name in _TEXTS:
        if parameters or not _ESCAPED.fullmatch(value):
            return f"{_shown(name)} holds a comma, semicolon or backslash that is not escaped, or parameters"
    elif name in _INSTANTS:
        if parameters or not _is_instant(value):
            return f"{_shown(name)} is not a time in UTC such as 20270301T090000Z"
    elif name in (b"DTSTART", b"DTEND"):
        return _date_fault(name, parameters, value)
    elif name == b"TRIGGER":
        return _trigger_fault(parameters, value)
    elif name == b"UID":
        if parameters or not _UID.fullmatch(value):
            return f"UID is not 1 to {LONGEST_UID} printable ASCII characters without a space"
    elif name == b"SEQUENCE":
        if parameters or not _WHOLE.fullmatch(value):
            return "SEQUENCE is not a whole number"
    elif name in _EXACT:
        pattern, message = _EXACT[name]
        if not pattern.fullmatch(parameters + b":" + value):
            return message
    return None


def _date_fault(name: bytes, parameters: bytes, value: bytes) -> str | None:
    if parameters == b";VALUE=DATE":
        return None if _is_day(value) else f"{_shown(name)} is not a day such as 20270301"
    if parameters:
        return f"{_shown(name)} has parameters other than VALUE=DATE; a time is written in UTC"
    if _DAY.fullmatch(value):
        return f"{_shown(name)} is a day without VALUE=DATE"
    return None if _is_instant(value) else f"{_shown(name)} is not a time in UTC such as 20270301T090000Z"


def _trigger_fault(parameters: bytes, value: bytes) -> str | None:
    if b"VALUE=DATE" in parameters and b"VALUE=DATE-TIME" not in parameters:
        return "TRIGGER has VALUE=DATE, which some calendars stop at"
    if parameters:
        return "TRIGGER has parameters; it must be a plain duration"
    if _WEEKS_MIXED.fullmatch(value):
        return "TRIGGER mixes weeks with other units"
    if not _DURATION.fullmatch(value):
        return "TRIGGER is not a duration such as PT9H or -PT1M"
    return None if _NOT_ZERO.search(value) else "TRIGGER is zero, which some calendars ignore"


def _is_day(value: bytes) -> bool:
    return _is_instant(value + b"T000000Z")


@lru_cache(maxsize=4096)
def _is_instant(value: bytes) -> bool:
    """Whether the calendar and the clock know it: no 30 February, no 25 o'clock."""
    if not _INSTANT.fullmatch(value):
        return False
    try:
        datetime(
            int(value[0:4]),
            int(value[4:6]),
            int(value[6:8]),
            int(value[9:11]),
            int(value[11:13]),
            int(value[13:15]),
        )
    except ValueError:
        return False
    return True


def _judge_part(
    kind: bytes, begun: int, held: _Held, has_alarm: bool, uids: dict[bytes, int], problems: list[Problem]
) -> None:
    """What can be judged only when a component is complete."""
    shape = _SHAPES.get(kind)
    if shape is None:
        return
    for name in sorted(shape.needed - held.keys()):
        problems.append(Problem(begun, f"{_shown(kind)} has no {_shown(name)}"))
    if kind != b"VEVENT":
        return
    if b"UID" in held:
        number, _, uid = held[b"UID"]
        if uid in uids:
            problems.append(Problem(number, f"UID {_shown(uid)} stands already on line {uids[uid]}"))
        uids.setdefault(uid, number)
    if b"DTSTART" in held and b"DTEND" in held:
        number, end_parameters, end = held[b"DTEND"]
        _, start_parameters, start = held[b"DTSTART"]
        if end_parameters != start_parameters or len(end) != len(start):
            problems.append(Problem(number, "DTEND and DTSTART are not of one kind"))
        elif end <= start:
            problems.append(Problem(number, "DTEND is not later than DTSTART"))
    if b"DTSTAMP" in held and b"LAST-MODIFIED" in held:
        number, _, modified = held[b"LAST-MODIFIED"]
        if modified != held[b"DTSTAMP"][2]:
            problems.append(Problem(number, "LAST-MODIFIED is not DTSTAMP, though the file has no METHOD"))
    if has_alarm and b"STATUS" in held and held[b"STATUS"][2] == b"CANCELLED":
        problems.append(Problem(begun, "a cancelled event still has a VALARM"))


def _shown(value: bytes) -> str:
    """Text of the file that may be printed in a sentence."""
    return ascii(value[:80].decode("utf-8", "replace"))[1:-1]
