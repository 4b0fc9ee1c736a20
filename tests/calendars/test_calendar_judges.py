"""Four readers that share no code with the writer read every day, instant, alarm and text as they were meant.

The readers: vobject and ics (Python, two grammars of their own), ical.js in strict mode (JavaScript), and the lint.
ical.js needs Node and `npm install --prefix tests/calendars/judges`; `.ci/run` does both, and there its absence fails.
Rules: IETF, RFC 5545, Internet Calendaring and Scheduling Core Object Specification, 2009.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import warnings
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple

import pytest
import vobject

from quarantine.calendars.lint import lint
from quarantine.calendars.write import Event, calendar_bytes, ordered
from quarantine.plan import instant_at

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # its own use of what its dependencies have deprecated
    import ics

JUDGES = Path(__file__).with_name("judges")
IN_CI = bool(os.environ.get("CI"))
HAS_NODE = bool(shutil.which("node")) and (JUDGES / "node_modules" / "ical.js").is_dir()

STAMP = datetime(2027, 2, 20, 10, 15, tzinfo=UTC)

# Local times and the instants they are, from the published rules of each zone (IANA Time Zone Database, 2026): the
# spring gap and the double hour of three zones, one of which moves by half an hour, and a summer day in 2040.
# In the double hour the first is meant: RFC 5545, 3.3.5.
TIMES = [
    ("Europe/Berlin", "2027-03-28", "03:30", "2027-03-28T01:30:00Z"),
    ("Europe/Berlin", "2027-10-31", "02:30", "2027-10-31T00:30:00Z"),
    ("Europe/Berlin", "2040-07-01", "09:00", "2040-07-01T07:00:00Z"),
    ("America/New_York", "2027-03-14", "03:30", "2027-03-14T07:30:00Z"),
    ("America/New_York", "2027-11-07", "01:30", "2027-11-07T05:30:00Z"),
    ("America/New_York", "2040-07-01", "09:00", "2040-07-01T13:00:00Z"),
    ("Australia/Lord_Howe", "2027-04-04", "01:45", "2027-04-03T14:45:00Z"),
    ("Australia/Lord_Howe", "2027-10-03", "02:45", "2027-10-02T15:45:00Z"),
    ("Australia/Lord_Howe", "2040-07-01", "09:00", "2040-06-30T22:30:00Z"),
]
DAYS = ["2027-03-28", "2027-10-31", "2028-02-29", "2027-12-31", "2040-07-01"]
TEXTS = ["Feed; 0.5 g, twice", "Größe 12 µL/L 🐠", "a\nb\n\nc", 'say "so": yes', "x" * 300, "ä" * 200]


class Read(NamedTuple):
    """One event as a reader sees it: whole days as dates, times as instants in UTC."""

    uid: str
    start: str
    summary: str
    description: str
    alarms: list[tuple[str, int]]


def made() -> tuple[list[Event], dict[str, Read]]:
    """The calendar that is judged, and what must be read in it."""
    events, expected = [], {}
    for n, (zone, day, clock, instant) in enumerate(TIMES):
        at = instant_at(date.fromisoformat(day), clock, zone)
        text = TEXTS[n % len(TEXTS)]
        event = Event(f"time-{n}@a", 0, STAMP, STAMP, f"Bath {n}", text, start=at, ring=timedelta(minutes=30))
        events.append(event)
        expected[event.uid] = Read(event.uid, instant, f"Bath {n}", text, [(f"Bath {n}", -1800)])
    for n, day in enumerate(DAYS):
        text = TEXTS[n % len(TEXTS)]
        summary = text.replace("\n", " ").replace("  ", " ")
        event = Event(
            f"day-{n}@a", 0, STAMP, STAMP, text, text, day=date.fromisoformat(day), ring=timedelta(hours=9), alarm="!"
        )
        events.append(event)
        expected[event.uid] = Read(event.uid, day, summary, text, [(f"{summary}!", 32400)])
    gone = Event("gone@a", 3, STAMP, STAMP, "Bath", "Withdrawn.", day=date(2027, 1, 1), cancelled=True)
    expected["gone@a"] = Read("gone@a", "2027-01-01", "Cancelled: Bath", "Withdrawn.", [])
    return [*events, gone], expected


def shown(value: Any) -> str:
    """A day or an instant as text."""
    return value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ") if isinstance(value, datetime) else value.isoformat()


def by_vobject(data: bytes) -> list[Read]:
    calendar = vobject.readOne(data.decode())
    calendar.validate(raiseException=True)
    return [
        Read(
            event.uid.value,
            shown(event.dtstart.value),
            event.summary.value,
            event.description.value,
            [
                (alarm.description.value, int(alarm.trigger.value.total_seconds()))
                for alarm in event.contents.get("valarm", [])
            ],
        )
        for event in calendar.vevent_list
    ]


def by_ics(data: bytes) -> list[Read]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        events = ics.Calendar(data.decode()).events
    return [
        Read(
            event.uid,
            event.begin.date().isoformat() if event.all_day else shown(event.begin.datetime),
            event.name,
            event.description,
            [(alarm.display_text, int(alarm.trigger.total_seconds())) for alarm in event.alarms],
        )
        for event in events
    ]


def by_ical_js(data: bytes, folder: Path) -> list[Read]:
    file = folder / "judged.ics"
    file.write_bytes(data)
    # A zone far from those of the calendar: no reader may mix its own into an instant.
    done = subprocess.run(
        ["node", str(JUDGES / "strict.mjs"), str(file)],
        env={**os.environ, "TZ": "Pacific/Chatham"},
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    return [
        Read(
            event["uid"],
            event["start"],
            event["summary"],
            event["description"],
            [(alarm["says"], alarm["seconds"]) for alarm in event["alarms"]],
        )
        for event in json.loads(done.stdout)
    ]


def calendar() -> tuple[bytes, dict[str, Read]]:
    events, expected = made()
    return b"".join(calendar_bytes(ordered(events), "Judged")), expected


def test_the_times_are_what_the_zones_say() -> None:
    """A local time becomes its instant, across the gaps and double hours of three zones and in 2040."""
    for zone, day, clock, instant in TIMES:
        assert shown(instant_at(date.fromisoformat(day), clock, zone)) == instant


def test_the_lint_finds_nothing() -> None:
    """Our own reading of the bytes is content."""
    assert lint(calendar()[0]) == []


def test_vobject_reads_it_right() -> None:
    """vobject finds every event, valid, with its day or instant, its texts and its alarm."""
    data, expected = calendar()
    found = by_vobject(data)
    assert len(found) == len(expected)
    assert {read.uid: read for read in found} == expected


def test_ics_reads_it_right() -> None:
    """ics, which refuses what its grammar does not know, finds the same."""
    data, expected = calendar()
    found = by_ics(data)
    assert len(found) == len(expected)
    assert {read.uid: read for read in found} == expected


@pytest.mark.skipif(not (HAS_NODE or IN_CI), reason="ical.js is not installed; .ci/run installs it and demands it")
def test_ical_js_reads_it_right(tmp_path: Path) -> None:
    """ical.js in strict mode, on a machine of a far zone, finds the same."""
    data, expected = calendar()
    found = by_ical_js(data, tmp_path)
    assert len(found) == len(expected)
    assert {read.uid: read for read in found} == expected


@pytest.mark.skipif(not (HAS_NODE or IN_CI), reason="ical.js is not installed; .ci/run installs it and demands it")
def test_ical_js_strict_refuses_a_day_without_its_kind(tmp_path: Path) -> None:
    """The judge judges: a day written without VALUE=DATE is an error to it."""
    data = calendar()[0].replace(b"DTSTART;VALUE=DATE:20270328", b"DTSTART:20270328")
    with pytest.raises(subprocess.CalledProcessError):
        by_ical_js(data, tmp_path)
