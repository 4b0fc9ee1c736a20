"""The bytes of a calendar, and what another library reads in them.

Rules: IETF, RFC 5545, Internet Calendaring and Scheduling Core Object Specification, 2009.
The reader is vobject, which shares no code with the library that writes.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest
import vobject
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from quarantine.calendars.lint import lint
from quarantine.calendars.write import (
    Event,
    calendar_bytes,
    clean,
    clean_line,
    clean_name,
    ordered,
    slug,
)

STAMP = datetime(2027, 2, 20, 10, 15, tzinfo=UTC)
PLAIN = Event(
    uid="a@b",
    sequence=0,
    stamp=STAMP,
    created=STAMP,
    summary="Feed Q1",
    description="",
    day=date(2027, 2, 28),
)
TIMED = PLAIN._replace(day=None, start=datetime(2027, 2, 28, 7, 30, tzinfo=UTC))
ROOT = Path(__file__).resolve().parents[2]


def whole(*events: Event, name: str = "Fish room") -> bytes:
    return b"".join(calendar_bytes(ordered(events), name))


def read(data: bytes):
    calendar = vobject.readOne(data.decode("utf-8"))
    calendar.validate(raiseException=True)
    return calendar


def lines(data: bytes) -> list[bytes]:
    return data.replace(b"\r\n ", b"").split(b"\r\n")


def test_golden(events, name, golden):
    """A small calendar is written byte for byte as it is written by hand in conftest.py."""
    assert b"".join(calendar_bytes(ordered(events), name)) == golden


def test_golden_is_clean(golden):
    """The lint, which shares no code with the writer, finds nothing in the calendar written by hand."""
    assert lint(golden) == []


def test_any_order_gives_the_same_bytes(events, name, golden):
    """The order in which events come does not show: a feed keeps still while the record does."""
    assert b"".join(calendar_bytes(ordered(reversed(events)), name)) == golden


def test_whole_day_comes_before_the_times_of_that_date_then_uid():
    """Events are ordered by day or start, and by uid where these are equal."""
    made = [
        PLAIN._replace(uid="next", day=date(2027, 3, 1)),
        TIMED._replace(uid="late", start=datetime(2027, 2, 28, 23, 0, tzinfo=UTC)),
        TIMED._replace(uid="early"),
        PLAIN._replace(uid="b"),
        PLAIN._replace(uid="a"),
    ]
    uids = [line for line in lines(whole(*made)) if line.startswith(b"UID:")]
    assert uids == [b"UID:a", b"UID:b", b"UID:early", b"UID:late", b"UID:next"]


def test_pieces_come_one_by_one(events, name):
    """The header comes before any event is turned into bytes, then one piece for each event in order."""
    broken_last = [*events, PLAIN._replace(uid="", day=date(2028, 1, 1))]
    pieces = calendar_bytes(broken_last, name)
    assert next(pieces).startswith(b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\n")
    for _ in events:
        assert re.fullmatch(rb"BEGIN:VEVENT\r\n.*END:VEVENT\r\n", next(pieces), re.DOTALL)
    with pytest.raises(ValueError, match="uid"):
        next(pieces)


def test_no_events_is_still_a_calendar():
    """When nothing is left to do the file says so, instead of keeping doses of last month."""
    data = whole()
    assert data.endswith(b"X-WR-CALNAME:Fish room\r\nEND:VCALENDAR\r\n")
    assert lint(data) == []


def test_read_back_by_another_library(events, name):
    """Another library reads the same days, instants, texts, states and alarms; none for the cancelled."""
    calendar = read(b"".join(calendar_bytes(ordered(events), name)))
    look, bath, change = calendar.vevent_list
    assert (look.dtstart.value, look.dtend.value) == (date(2027, 2, 28), date(2027, 3, 1))
    assert bath.dtstart.value == datetime(2027, 2, 28, 7, 30, tzinfo=UTC)
    assert bath.dtend.value == datetime(2027, 2, 28, 7, 50, tzinfo=UTC)
    assert [event.summary.value for event in calendar.vevent_list] == [
        "Look over Q1; count the fish",
        "End the bath in Q2",
        "Cancelled: Change 40 L in Q1",
    ]
    assert look.description.value == ("Check the list before dosing.\nFins, gills, appetite: write what you see. 🐠🐠")
    assert [event.status.value for event in calendar.vevent_list] == ["CONFIRMED", "CONFIRMED", "CANCELLED"]
    assert [event.sequence.value for event in calendar.vevent_list] == ["0", "2", "1"]
    assert look.categories.value == ["look", "tank-q1"]
    assert bath.dtstamp.value == datetime(2027, 2, 27, 18, 0, tzinfo=UTC)
    assert [[alarm.trigger.value for alarm in event.contents.get("valarm", [])] for event in (look, bath)] == [
        [timedelta(hours=9)],
        [timedelta(minutes=-10)],
    ]
    assert look.valarm.description.value == look.summary.value
    assert "valarm" not in change.contents
    assert calendar.contents["x-wr-calname"][0].value == name


@settings(deadline=None)
@given(
    day=st.dates(date(1900, 1, 1), date(2999, 12, 31)),
    ring=st.integers(1, 24 * 60 - 1),
)
def test_every_day_and_every_alarm_is_read_back(day, ring):
    """Whatever the day and the minute of the alarm, another library reads that day and that minute."""
    event = read(whole(PLAIN._replace(day=day, ring=timedelta(minutes=ring)))).vevent
    assert (event.dtstart.value, event.dtend.value) == (day, day + timedelta(days=1))
    assert event.valarm.trigger.value == timedelta(minutes=ring)


@settings(deadline=None)
@given(
    start=st.datetimes(datetime(1900, 1, 1), datetime(2999, 12, 31)),
    offset=st.integers(-12 * 60, 14 * 60),
    minutes=st.integers(1, 10_000),
    ring=st.integers(1, 10_000),
)
def test_every_instant_is_read_back(start, offset, minutes, ring):
    """Whatever the zone a time is given in, another library reads the same instant, end and alarm."""
    zone = timezone(timedelta(minutes=offset))
    at = start.replace(microsecond=0, tzinfo=zone)
    data = whole(TIMED._replace(start=at, minutes=minutes, ring=timedelta(minutes=ring)))
    event = read(data).vevent
    assert lint(data) == []
    assert event.dtstart.value == at
    assert event.dtend.value == at + timedelta(minutes=minutes)
    assert event.valarm.trigger.value == timedelta(minutes=-ring)


@pytest.mark.parametrize(
    ("event", "trigger"),
    [
        (TIMED._replace(ring=timedelta(0)), b"TRIGGER:-PT1M"),
        (TIMED._replace(ring=timedelta(seconds=59)), b"TRIGGER:-PT1M"),
        (TIMED._replace(ring=timedelta(minutes=30, seconds=40)), b"TRIGGER:-PT30M"),
        (TIMED._replace(ring=timedelta(days=7, hours=15)), b"TRIGGER:-P7DT15H"),
        (TIMED._replace(ring=timedelta(days=14)), b"TRIGGER:-P14D"),
        (PLAIN._replace(ring=timedelta(0)), b"TRIGGER:PT1M"),
        (PLAIN._replace(ring=timedelta(hours=9, minutes=5)), b"TRIGGER:PT9H5M"),
    ],
)
def test_triggers_are_plain_durations(event, trigger):
    """A trigger is never zero, never in weeks, before a start and after the midnight of a whole day."""
    assert [line for line in lines(whole(event)) if line.startswith(b"TRIGGER")] == [trigger]


def test_no_alarm_where_none_is_asked_for():
    """Without a time to ring there is no alarm, and a cancelled event does not ring whatever it asks for."""
    quiet = whole(PLAIN, TIMED._replace(uid="c", cancelled=True, ring=timedelta(minutes=5)))
    assert b"VALARM" not in quiet
    assert quiet.count(b"BEGIN:VEVENT") == 2


def test_cancelled_says_so_once():
    """A cancelled event's summary says so once, for calendars that draw it like a live one."""
    once = PLAIN._replace(cancelled=True, summary="Cancelled: Feed Q1")
    assert b"SUMMARY:Cancelled: Feed Q1" in lines(whole(once))
    assert b"SUMMARY:Cancelled: Feed Q1" in lines(whole(once._replace(summary="Feed Q1")))


def test_nothing_that_makes_an_invitation_or_a_zone(events, name):
    """There is no METHOD, no time zone, no ORGANIZER, no ATTENDEE and no time without Z."""
    data = b"".join(calendar_bytes(events, name))
    for word in (
        b"METHOD",
        b"VTIMEZONE",
        b"TZID",
        b"X-WR-TIMEZONE",
        b"ORGANIZER",
        b"ATTENDEE",
        b"GEO",
        b"CLASS",
    ):
        assert word not in data
    assert re.search(rb"T\d{6}\r", data) is None


def test_a_uid_of_71_octets_is_kept_and_one_more_is_refused():
    """UIDs of up to 71 octets are written as they are; a longer one is a mistake of the caller."""
    longest = "u" * 71
    assert read(whole(PLAIN._replace(uid=longest))).vevent.uid.value == longest
    assert lint(whole(PLAIN._replace(uid=longest))) == []
    with pytest.raises(ValueError, match="1 to 71"):
        whole(PLAIN._replace(uid="u" * 72))


@pytest.mark.parametrize(
    ("event", "message"),
    [
        (PLAIN._replace(uid=""), "uid"),
        (PLAIN._replace(uid="fäll"), "uid"),
        (PLAIN._replace(uid="a b"), "uid"),
        (PLAIN._replace(uid="a\r\nX-EVIL:1"), "uid"),
        (PLAIN._replace(uid="a\n"), "uid"),
        (PLAIN._replace(uid="a,b"), "uid"),
        (PLAIN._replace(uid="a\\b"), "uid"),
        (PLAIN._replace(day=None), "either a day or a start"),
        (PLAIN._replace(start=STAMP), "either a day or a start"),
        (PLAIN._replace(day=STAMP), "a time, not a date"),
        (PLAIN._replace(stamp=datetime(2027, 1, 1)), "stamp of an event needs a time zone"),
        (PLAIN._replace(created=datetime(2027, 1, 1)), "created of an event needs a time zone"),
        (TIMED._replace(start=datetime(2027, 1, 1)), "start of an event needs a time zone"),
        (PLAIN._replace(sequence=-1), "below 0"),
        (TIMED._replace(minutes=0), "a minute or more"),
        (TIMED._replace(ring=timedelta(minutes=-5)), "negative"),
        (PLAIN._replace(ring=timedelta(hours=24)), "later day"),
    ],
)
def test_out_of_range_events_are_mistakes_of_the_caller(event, message):
    """An event that could not be read back as what it means is never written."""
    with pytest.raises(ValueError, match=message):
        whole(event)


@pytest.mark.parametrize(
    ("text", "cleaned"),
    [
        ("a\rb", "a\nb"),
        ("a\r\nb", "a\nb"),
        ("a\u2028b\u2029c\x85d\x0be\x0cf", "a\nb\nc\nd\ne\nf"),
        ("a\tb", "a\tb"),
        ("\x00a\x07\x1b[31mb\x7f\x9b", "a[31mb"),
        ("\ufeffgive \u202e41 mL\u202c, \u206642\u2069", "give 41 mL, 42"),
        ("C:\\New", "C:/New"),
        ("half \ud83d of a pair", "half \ufffd of a pair"),
        ("0.5 g; 2 µL/L, 🐟", "0.5 g; 2 µL/L, 🐟"),
    ],
)
def test_clean(text, cleaned):
    """Line ends become newlines, other controls go, a backslash becomes a slash, everything else stays."""
    assert clean(text) == cleaned


def test_clean_line_and_name_and_slug():
    """A summary has one line; a calendar's name has plain words; a category has no comma."""
    assert clean_line(" 2 mg/L\r\n\tinto  Q1 ") == "2 mg/L into Q1"
    assert clean_name("Fish room, north; row\\2\r\nX-EVIL:1") == "Fish room north row 2 X-EVIL:1"
    assert slug("Room A, left_side") == "room-a-left-side"
    assert slug("Größe, 2") == "grösse-2"
    assert slug(" ,;\n") == ""


def test_empty_and_equal_categories_are_left_out():
    """Categories that say nothing, or the same twice, are not written; without any there is no property."""
    assert b"CATEGORIES" not in whole(PLAIN._replace(categories=("", ",")))
    assert b"CATEGORIES:dose,q1" in lines(whole(PLAIN._replace(categories=("dose", "Q1", "", "Dose"))))


NASTY = st.sampled_from(
    [
        *(
            "\r",
            "\n",
            "\r\n",
            "\n ",
            "\r\n ",
            "\r\nX-EVIL:1\r\n",
            "\rX-EVIL:1",
            "\nEND:VEVENT\n",
            "\x00",
            "\x07",
        ),
        *("\x0b", "\x0c", "\x1c", "\x85", "\u2028", "\u2029", "\ufeff", "\u202e", "\\N", "\\n", "\\", "\\;", "C:\\New"),
        *(",", ";", ":", '"', "^n", "^", "\t", "  ", "🐠", "👩🏽‍🔬", "é", "ﷺ", "\ud83d", "=\r\n", "%0D%0A"),
        *("BEGIN:VALARM", "x" * 80, "ö" * 80, "🐟" * 30, "\t" * 80, " " * 160),
    ]
)
TEXT = st.lists(NASTY | st.text(st.characters(), max_size=40), max_size=12).map("".join)


@settings(deadline=None, max_examples=300, suppress_health_check=[HealthCheck.too_slow])
@given(summary=TEXT, description=TEXT, title=TEXT, category=TEXT)
def test_any_text_is_read_back_and_injects_nothing(summary, description, title, category):
    """Whatever is typed, another library reads the cleaned text and no property that we did not write."""
    event = PLAIN._replace(
        summary=summary, description=description, categories=("dose", category), ring=timedelta(hours=9)
    )
    data = whole(event, name=title)
    assert lint(data) == []
    calendar = read(data)
    assert set(calendar.contents) == {"version", "prodid", "calscale", "name", "x-wr-calname", "vevent"}
    assert calendar.contents["name"][0].value == clean_name(title)
    read_event = calendar.vevent
    assert {key: len(held) for key, held in read_event.contents.items()} == dict.fromkeys(
        (
            *("summary", "dtstart", "dtend", "dtstamp", "uid", "sequence", "categories", "created"),
            *("description", "last-modified", "status", "transp", "valarm"),
        ),
        1,
    )
    assert set(read_event.valarm.contents) == {"action", "description", "trigger"}
    assert read_event.summary.value == clean_line(summary)
    assert read_event.description.value == clean(description)
    assert read_event.valarm.description.value == clean_line(summary)
    assert read_event.categories.value == list(filter(None, dict.fromkeys(("dose", slug(category)))))


@settings(deadline=None)
@given(TEXT)
def test_cleaning_twice_changes_nothing(text):
    """Cleaned text is clean: no control is left but tab and newline, and it can be written as UTF-8."""
    once = clean(text)
    assert clean(once) == once
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\ufeff\\\\]", once)
    assert once.encode("utf-8").decode("utf-8") == once
    assert "\n" not in clean_line(text)


HOSTILE = """
import sys
from datetime import UTC, date, datetime, timedelta
from quarantine.calendars.write import Event, calendar_bytes
stamp = datetime(2027, 2, 20, 10, 15, tzinfo=UTC)
evil = chr(13) + "X-EVIL:1" + chr(10) + "X-EVIL:2" + chr(13) + chr(10) + "X-EVIL:3" + chr(0x2028) + "X-EVIL:4"
event = Event(uid="a@b", sequence=0, stamp=stamp, created=stamp, summary=evil, description=evil,
              day=date(2027, 2, 28), categories=(evil, "b"), ring=timedelta(hours=9))
sys.stdout.buffer.write(b"".join(calendar_bytes([event], evil)))
"""


def run(*options: str, **environment: str) -> bytes:
    done = subprocess.run(
        [sys.executable, *options, "-c", HOSTILE],
        cwd=ROOT,
        env={**os.environ, **environment},
        capture_output=True,
        check=True,
        timeout=60,
    )
    assert done.stderr == b""
    return done.stdout


def test_nothing_is_injected_without_assertions():
    """With assertions off (python -O), in another zone and hash order, the bytes are the same and clean."""
    optimised = run("-O", TZ="Asia/Kathmandu", PYTHONHASHSEED="7")
    assert lint(optimised) == []
    assert not [line for line in lines(optimised) if line.startswith(b"X-EVIL")]
    assert b"NAME:X-EVIL:1 X-EVIL:2 X-EVIL:3 X-EVIL:4" in lines(optimised)
    assert optimised == run(TZ="America/Lima", PYTHONHASHSEED="8")


def test_the_library_is_imported_late():
    """Importing the room costs no calendar library; only writing does."""
    program = "import sys, quarantine.calendars.write; print('icalendar' in sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout == "False\n"
