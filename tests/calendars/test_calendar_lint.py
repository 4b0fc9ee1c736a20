"""The lint: each deviation that some reader stumbles over is found, and nothing is found in a good file.

Rules: IETF, RFC 5545, Internet Calendaring and Scheduling Core Object Specification, 2009.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quarantine.calendars.lint import Problem, lint

FISH = "🐠".encode()


def swap(old: bytes, new: bytes, nth: int = 1) -> Callable[[bytes], bytes]:
    """A mutation that replaces one place, the nth; it must be there."""

    def mutate(data: bytes) -> bytes:
        before = data.split(old)
        assert len(before) > nth, f"{old!r} is not in the file {nth} times"
        return old.join(before[:nth]) + new + old.join(before[nth:])

    return mutate


# The sixteen deviations that readers disagree about: (what, how it is made, line, words of the message).
DEVIATIONS = [
    ("LF only", lambda data: data.replace(b"\r\n", b"\n"), 1, "LF without CR"),
    ("BOM", lambda data: b"\xef\xbb\xbf" + data, 1, "byte order mark"),
    ("no DTSTAMP", swap(b"DTSTAMP:20270220T101500Z\r\n", b""), 7, "VEVENT has no DTSTAMP"),
    ("no UID", swap(b"UID:6d1f0c9e-look-1@0b7f\r\n", b""), 7, "VEVENT has no UID"),
    ("no PRODID", lambda data: data.replace(data.split(b"\r\n")[2] + b"\r\n", b""), 1, "no PRODID"),
    ("no VERSION", swap(b"VERSION:2.0\r\n", b""), 1, "VCALENDAR has no VERSION"),
    ("DTEND = DTSTART", swap(b"DTEND;VALUE=DATE:20270301", b"DTEND;VALUE=DATE:20270228"), 10, "not later"),
    ("VALUE=DATE missing", swap(b"DTSTART;VALUE=DATE:", b"DTSTART:"), 9, "a day without VALUE=DATE"),
    ("raw newline in SUMMARY", swap(b"SUMMARY:End the bath", b"SUMMARY:End\r\nthe bath"), 29, "line break"),
    (
        "fold inside a character",
        swap(FISH + FISH, FISH[:2] + b"\r\n " + FISH[2:] + FISH),
        18,
        "folded inside",
    ),
    ("TRIGGER -P1WT15H", swap(b"TRIGGER:-PT10M", b"TRIGGER:-P1WT15H"), 43, "mixes weeks"),
    (
        "VALARM without DESCRIPTION",
        swap(b"DESCRIPTION:End the bath in Q2\r\n", b""),
        40,
        "VALARM has no DESCR",
    ),
    ("TRIGGER;VALUE=DATE", swap(b"TRIGGER:PT9H", b"TRIGGER;VALUE=DATE:20270228"), 24, "VALUE=DATE"),
    ("control character", swap(b"End the bath", b"End the\x07 bath"), 28, "control character"),
    ("bare CR", swap(b"End the bath in Q2", b"End the bath\rX-EVIL:1"), 28, "CR stands without LF"),
    ("duplicate UID", swap(b"bath-1@", b"look-1@"), 32, "stands already on line 12"),
]

OTHERS = [
    ("one LF", swap(b"SEQUENCE:2\r\n", b"SEQUENCE:2\n"), 33, "LF without CR"),
    ("nothing", lambda data: b"", 1, "no VCALENDAR"),
    ("last line end", lambda data: data[:-2], 59, "no end"),
    ("UTF-8", swap(FISH, FISH[:3]), 17, "not UTF-8"),
    ("C1 control", swap(b"End the bath", b"End\xc2\x85the bath"), 28, "control character"),
    ("line separator", swap(b"End the bath", b"End\xe2\x80\xa8the bath"), 28, "line separator"),
    ("DEL", swap(b"End the bath", b"End\x7fthe bath"), 28, "control character"),
    ("76 octets", swap(b"DESCRIPTION:As of", b"DESCRIPTION:" + b"x" * 47 + b"As of"), 36, "76 octets"),
    ("empty line", swap(b"SEQUENCE:2\r\n", b"SEQUENCE:2\r\n\r\n"), 34, "line break"),
    ("injected", swap(b"SEQUENCE:2\r\n", b"SEQUENCE:2\r\nX-EVIL:1\r\n"), 34, "X-EVIL has no place"),
    ("METHOD", swap(b"CALSCALE", b"METHOD:PUBLISH\r\nCALSCALE"), 4, "METHOD has no place"),
    ("ATTENDEE", swap(b"STATUS", b"ATTENDEE:mailto:a@b.example\r\nSTATUS"), 19, "ATTENDEE has no place"),
    ("twice", swap(b"SEQUENCE:2\r\n", b"SEQUENCE:2\r\nSEQUENCE:3\r\n"), 34, "SEQUENCE stands twice"),
    ("VTODO", lambda data: data.replace(b"VEVENT", b"VTODO"), 7, "VTODO has no place"),
    ("VTIMEZONE", swap(b"BEGIN:VEVENT", b"BEGIN:VTIMEZONE\r\nEND:VTIMEZONE\r\nBEGIN:VEVENT"), 7, "no place"),
    ("unclosed event", swap(b"END:VEVENT\r\n", b""), 7, "BEGIN:VEVENT is never closed"),
    ("unopened event", swap(b"BEGIN:VEVENT\r\n", b"", 2), 44, "END:VEVENT closes nothing"),
    ("event in event", swap(b"BEGIN:VALARM", b"BEGIN:VEVENT"), 21, "begins in the wrong place"),
    ("alarm outside", swap(b"BEGIN:VEVENT", b"BEGIN:VALARM"), 7, "begins in the wrong place"),
    ("after the end", lambda data: data + b"X-EVIL:1\r\n", 60, "outside VCALENDAR"),
    ("second calendar", lambda data: data + data, 60, "a second VCALENDAR"),
    ("floating time", swap(b"DTSTART:20270228T073000Z", b"DTSTART:20270228T073000"), 29, "not a time in UTC"),
    (
        "TZID",
        swap(b"DTSTART:20270228T073000Z", b"DTSTART;TZID=Europe/Oslo:20270228T083000"),
        29,
        "parameters",
    ),
    ("no such day", swap(b"DTSTART;VALUE=DATE:20270228", b"DTSTART;VALUE=DATE:20270230"), 9, "not a day"),
    ("no such hour", swap(b"DTSTAMP:20270227T180000Z", b"DTSTAMP:20270227T250000Z"), 31, "not a time in UTC"),
    ("DTEND earlier", swap(b"DTEND:20270228T075000Z", b"DTEND:20270228T072959Z"), 30, "not later"),
    ("kinds mixed", swap(b"DTEND:20270228T075000Z", b"DTEND;VALUE=DATE:20270301"), 30, "not of one kind"),
    ("stamps differ", swap(b"LAST-MODIFIED:20270220", b"LAST-MODIFIED:20270221"), 18, "is not DTSTAMP"),
    ("VERSION", swap(b"VERSION:2.0", b"VERSION:1.0"), 2, "VERSION is not 2.0"),
    ("busy", swap(b"TRANSP:TRANSPARENT", b"TRANSP:OPAQUE"), 20, "mark the day busy"),
    ("STATUS", swap(b"STATUS:CONFIRMED", b"STATUS:TENTATIVE"), 19, "STATUS is neither"),
    ("SEQUENCE", swap(b"SEQUENCE:2", b"SEQUENCE:2.0"), 33, "not a whole number"),
    ("CATEGORIES", swap(b"CATEGORIES:look,", b"CATEGORIES:look\\,"), 14, "list of plain words"),
    ("comma", swap(b"Fins\\,", b"Fins,"), 16, "not escaped"),
    ("semicolon", swap(b"Q1\\; count", b"Q1; count"), 8, "not escaped"),
    ("upper-case N", swap(b"dosing.\\nFins", b"dosing.\\NFins"), 16, "not escaped"),
    ("last backslash", swap(b"SUMMARY:End the bath in Q2", b"SUMMARY:End the bath\\"), 28, "not escaped"),
    ("UID with space", swap(b"UID:6d1f0c9e-bath", b"UID:6d1f0c9e bath"), 32, "UID is not 1 to 71"),
    ("UID too long", swap(b"bath-1@0b7f", b"b\r\n " + b"u" * 62), 32, "UID is not 1 to 71"),
    ("ACTION", swap(b"ACTION:DISPLAY", b"ACTION:AUDIO"), 22, "not DISPLAY"),
    ("alarm with UID", swap(b"TRIGGER:PT9H", b"UID:x\r\nTRIGGER:PT9H"), 24, "UID has no place in VALARM"),
    (
        "trigger of time",
        swap(b"TRIGGER:PT9H", b"TRIGGER;VALUE=DATE-TIME:20270228T090000Z"),
        24,
        "plain duration",
    ),
    ("zero trigger", swap(b"TRIGGER:-PT10M", b"TRIGGER:P0D"), 43, "TRIGGER is zero"),
    ("trigger of words", swap(b"TRIGGER:-PT10M", b"TRIGGER:P"), 43, "not a duration"),
    (
        "two alarms",
        swap(b"END:VALARM\r\n", b"END:VALARM\r\nBEGIN:VALARM\r\nEND:VALARM\r\n"),
        26,
        "more than one VALARM",
    ),
    (
        "cancelled that rings",
        swap(b"STATUS:CONFIRMED", b"STATUS:CANCELLED", 2),
        27,
        "a cancelled event still has a VALARM",
    ),
    (
        "interval",
        swap(b"CALSCALE", b"REFRESH-INTERVAL:PT6H\r\nCALSCALE"),
        4,
        "REFRESH-INTERVAL lacks VALUE=DURATION",
    ),
]


def test_there_are_sixteen_deviations():
    """The list of deviations is whole."""
    assert len({what for what, *_ in DEVIATIONS}) == 16


@pytest.mark.parametrize(
    ("mutate", "line", "words"),
    [pytest.param(*rest, id=what) for what, *rest in DEVIATIONS + OTHERS],
)
def test_deviation_is_found(golden, mutate, line, words):
    """A good file with one thing made wrong has a problem that names that thing and its line."""
    spoiled = mutate(golden)
    assert spoiled != golden
    found = lint(spoiled)
    assert [problem for problem in found if problem.line == line and words in problem.message], found


def test_good_file_has_no_problem(golden):
    """The file that all deviations are made from has none."""
    assert lint(golden) == []


OPTIONAL = (b"CALSCALE", b"NAME", b"X-WR-CALNAME", b"CREATED", b"CATEGORIES", b"DESCRIPTION:Withdrawn", b" ")


def test_every_line_that_is_needed_is_missed(golden):
    """Of each line that is not optional, the loss is noticed."""
    lines = golden.split(b"\r\n")[:-1]
    for number, line in enumerate(lines):
        without = b"\r\n".join(lines[:number] + lines[number + 1 :]) + b"\r\n"
        optional = line.startswith(OPTIONAL) or line == b"DESCRIPTION:As of 2027-02-27."
        assert bool(lint(without)) != optional, line


def test_every_line_twice_is_noticed(golden):
    """No line of a good file can stand there twice, except the rest of a folded one."""
    lines = golden.split(b"\r\n")[:-1]
    for number, line in enumerate(lines):
        twice = b"\r\n".join([*lines[: number + 1], line, *lines[number + 1 :]]) + b"\r\n"
        assert bool(lint(twice)) != line.startswith(b" "), line


@pytest.mark.parametrize(
    "new",
    [b"PT1M", b"-PT1M", b"-P6DT15H", b"P1D", b"-PT1H30M", b"-P2W", b"PT1H30M5S", b"+PT5S"],
)
def test_good_durations_are_accepted(golden, new):
    """Durations as RFC 5545 (2009) 3.3.6 writes them are no problem."""
    assert lint(golden.replace(b"TRIGGER:PT9H", b"TRIGGER:" + new)) == []


@pytest.mark.parametrize("new", [b"9H", b"PT", b"P1DT", b"PT1H5S", b"PT-1M", b"P1D1W", b"PT9H ", b"pt9h"])
def test_bad_durations_are_found(golden, new):
    """What RFC 5545 (2009) 3.3.6 does not allow is a problem."""
    assert lint(golden.replace(b"TRIGGER:PT9H", b"TRIGGER:" + new))


def test_feed_properties_are_accepted(golden):
    """The two hints of a feed, and a URL, are part of the layout."""
    feed = golden.replace(
        b"CALSCALE",
        b"REFRESH-INTERVAL;VALUE=DURATION:PT6H\r\nX-PUBLISHED-TTL:PT6H\r\nCALSCALE",
    ).replace(b"STATUS:CONFIRMED", b"URL:https://example.org/a\r\nSTATUS:CONFIRMED")
    assert lint(feed) == []


def test_line_of_exactly_75_octets_is_accepted(golden):
    """RFC 5545 (2009) 3.1: 75 octets without the line end, counted as UTF-8."""
    line = b"DESCRIPTION:" + b"x" * 46 + b"As of 2027-02-27."
    assert len(line) == 75
    assert lint(golden.replace(b"DESCRIPTION:As of 2027-02-27.", line)) == []


def test_problems_come_by_line(golden):
    """Several problems are all told, from the top of the file to its end."""
    spoiled = golden.replace(b"VERSION:2.0", b"VERSION:3.0").replace(b"TRIGGER:-PT10M", b"TRIGGER:P0D")
    assert lint(spoiled) == [
        Problem(2, "VERSION is not 2.0"),
        Problem(43, "TRIGGER is zero, which some calendars ignore"),
    ]


@settings(deadline=None)
@given(st.binary(max_size=400))
def test_any_bytes_get_problems_and_no_exception(data):
    """Rubbish is no calendar: the lint says so and does not break."""
    assert lint(data)


@settings(deadline=None)
@given(data=st.data())
def test_any_bytes_put_into_a_good_file_give_printable_sentences(golden, data):
    """Wherever rubbish stands, the lint does not break, and its sentences have no control characters."""
    at = data.draw(st.integers(0, len(golden)))
    rubbish = data.draw(st.binary(min_size=1, max_size=30))
    for problem in lint(golden[:at] + rubbish + golden[at:]):
        assert problem.message.isprintable()
        assert problem.line >= 1
