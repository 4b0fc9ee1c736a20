"""One small calendar, as events and as the bytes it must become, written by hand."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from quarantine import __version__
from quarantine.calendars.write import Event, ordered

NAME = "Quarantine at the community centre"

GOLDEN = (
    "BEGIN:VCALENDAR\r\n"
    "VERSION:2.0\r\n"
    f"PRODID:-//quarantine//quarantine {__version__}//EN\r\n"
    "CALSCALE:GREGORIAN\r\n"
    "NAME:Quarantine at the community centre\r\n"
    "X-WR-CALNAME:Quarantine at the community centre\r\n"
    "BEGIN:VEVENT\r\n"
    "SUMMARY:Look over Q1\\; count the fish\r\n"
    "DTSTART;VALUE=DATE:20270228\r\n"
    "DTEND;VALUE=DATE:20270301\r\n"
    "DTSTAMP:20270220T101500Z\r\n"
    "UID:6d1f0c9e-look-1@0b7f\r\n"
    "SEQUENCE:0\r\n"
    "CATEGORIES:look,tank-q1\r\n"
    "CREATED:20270219T080000Z\r\n"
    "DESCRIPTION:Check the list before dosing.\\nFins\\, gills\\, appetite: write \r\n"
    " what you see. 🐠🐠\r\n"
    "LAST-MODIFIED:20270220T101500Z\r\n"
    "STATUS:CONFIRMED\r\n"
    "TRANSP:TRANSPARENT\r\n"
    "BEGIN:VALARM\r\n"
    "ACTION:DISPLAY\r\n"
    "DESCRIPTION:Look over Q1\\; count the fish\r\n"
    "TRIGGER:PT9H\r\n"
    "END:VALARM\r\n"
    "END:VEVENT\r\n"
    "BEGIN:VEVENT\r\n"
    "SUMMARY:End the bath in Q2\r\n"
    "DTSTART:20270228T073000Z\r\n"
    "DTEND:20270228T075000Z\r\n"
    "DTSTAMP:20270227T180000Z\r\n"
    "UID:6d1f0c9e-bath-1@0b7f\r\n"
    "SEQUENCE:2\r\n"
    "CATEGORIES:bath\r\n"
    "CREATED:20270219T080000Z\r\n"
    "DESCRIPTION:As of 2027-02-27.\r\n"
    "LAST-MODIFIED:20270227T180000Z\r\n"
    "STATUS:CONFIRMED\r\n"
    "TRANSP:TRANSPARENT\r\n"
    "BEGIN:VALARM\r\n"
    "ACTION:DISPLAY\r\n"
    "DESCRIPTION:End the bath in Q2\r\n"
    "TRIGGER:-PT10M\r\n"
    "END:VALARM\r\n"
    "END:VEVENT\r\n"
    "BEGIN:VEVENT\r\n"
    "SUMMARY:Cancelled: Change 40 L in Q1\r\n"
    "DTSTART;VALUE=DATE:20270301\r\n"
    "DTEND;VALUE=DATE:20270302\r\n"
    "DTSTAMP:20270227T180000Z\r\n"
    "UID:6d1f0c9e-change-1@0b7f\r\n"
    "SEQUENCE:1\r\n"
    "CREATED:20270219T080000Z\r\n"
    "DESCRIPTION:Withdrawn.\r\n"
    "LAST-MODIFIED:20270227T180000Z\r\n"
    "STATUS:CANCELLED\r\n"
    "TRANSP:TRANSPARENT\r\n"
    "END:VEVENT\r\n"
    "END:VCALENDAR\r\n"
).encode()

CREATED = datetime(2027, 2, 19, 8, 0, tzinfo=UTC)

EVENTS = [
    Event(
        uid="6d1f0c9e-bath-1@0b7f",
        sequence=2,
        stamp=datetime(2027, 2, 27, 18, 0, 0, 654321, tzinfo=UTC),
        created=CREATED,
        # 08:30 in a site one hour east of Greenwich.
        start=datetime(2027, 2, 28, 8, 30, tzinfo=UTC) - timedelta(hours=1),
        minutes=20,
        summary="End the bath in Q2",
        description="As of 2027-02-27.",
        categories=("bath", "Bath"),
        ring=timedelta(minutes=10),
    ),
    Event(
        uid="6d1f0c9e-change-1@0b7f",
        sequence=1,
        stamp=datetime(2027, 2, 27, 18, 0, tzinfo=UTC),
        created=CREATED,
        day=date(2027, 3, 1),
        summary="Change 40 L in Q1",
        description="Withdrawn.",
        cancelled=True,
        ring=timedelta(hours=9),
    ),
    Event(
        uid="6d1f0c9e-look-1@0b7f",
        sequence=0,
        stamp=datetime(2027, 2, 20, 10, 15, tzinfo=UTC),
        created=CREATED,
        day=date(2027, 2, 28),
        summary="Look over Q1; count the fish",
        description="Check the list before dosing.\nFins, gills, appetite: write what you see. 🐠🐠",
        categories=("look", "Tank Q1"),
        ring=timedelta(hours=9),
    ),
]


@pytest.fixture(scope="session")
def name() -> str:
    return NAME


@pytest.fixture(scope="session")
def golden() -> bytes:
    return GOLDEN


@pytest.fixture(scope="session")
def events() -> list[Event]:
    return ordered(EVENTS)
