"""Dates against outside sources and against the calendar (publisher, title and year beside each number)."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from quarantine.facts import Fact, local_day
from quarantine.plan import Course, Plan, instant_at, plan
from quarantine.protocol import Duration, load


def day(text: str) -> date:
    return date.fromisoformat(text)


def fact(kind: str, at: datetime, id_: str, **data: object) -> Fact:
    return Fact(id_, kind, at.astimezone(UTC), at.astimezone(UTC), "keeper", "S", "T", "B", None, data)


def planned(arrived: str, zone: str = "Europe/London", *more: Fact) -> Plan:
    at = datetime.fromisoformat(arrived).replace(tzinfo=ZoneInfo(zone))
    arrival = fact("arrival", at, "arrival", count=40)
    facts = [arrival, *more]
    as_of = max(f.at for f in facts)
    return plan([Course("B", "T", "S", zone, load("fresh-watch"), arrival)], facts, as_of)


@pytest.mark.parametrize(
    ("arrived", "released"),
    [
        # ISO 8601:2004, the Gregorian calendar; counted by hand: 18 days are left in February 2026, 12 more
        ("2026-02-10 09:00", "2026-03-12"),
        # the same, in the leap year 2028: 19 days are left in February, 11 more
        ("2028-02-10 09:00", "2028-03-11"),
        # rule A1 of this project, our choice: the hour of arrival is nothing
        ("2026-02-10 23:50", "2026-03-12"),
    ],
)
def test_thirty_days_from_arrival(arrived: str, released: str) -> None:
    """Arrival is day 0; thirty days are met on arrival + 30."""
    for zone in ("Europe/London", "America/New_York", "Australia/Lord_Howe"):
        assert planned(arrived, zone).standings["B"].earliest == day(released)


def test_a_restart_is_day_zero() -> None:
    """An A sign on 2026-03-20 ends thirty days on 2026-04-19 (rule of this project, our choice; ISO 8601:2004)."""
    sign = datetime(2026, 3, 20, 9, tzinfo=UTC)
    look = fact("look", sign, "look", seen=40, signs=["gasping"])
    made = planned("2026-03-01 09:00", "Europe/London", look)
    assert made.standings["B"].periods[0].complete_on == day("2026-04-19")


@pytest.mark.parametrize(
    ("onset", "days", "last"),
    [
        # Coursera, a university course on contact tracing (university and year not recorded):
        # onset on 9 May and 10 days end on 19 May
        ("2026-05-09", 10, "2026-05-19"),
        # forum of school nurses (publisher and year not recorded): 11 January and 10 days, the last is 21 January
        ("2026-01-11", 10, "2026-01-21"),
    ],
)
def test_the_first_day_is_day_zero_in_published_examples(onset: str, days: int, last: str) -> None:
    """A period of ten days that starts on day 0 is complete on day 10."""
    protocol = load("fresh-watch")
    period = protocol.periods[0]._replace(length=Duration(days, "d"))
    at = datetime.fromisoformat(f"{onset} 12:00").replace(tzinfo=UTC)
    arrival = fact("arrival", at, "arrival", count=4)
    course = Course("B", "T", "S", "UTC", protocol._replace(periods=(period,)), arrival)
    assert plan([course], [arrival], at).standings["B"].periods[0].complete_on == day(last)


@pytest.mark.parametrize(
    ("zone", "before", "elapsed_hours"),
    [
        # IANA Time Zone Database, release 2025 or later, files northamerica, europe, australasia
        ("America/New_York", "2026-03-07", 23.0),
        ("America/New_York", "2026-10-31", 25.0),
        ("Europe/London", "2026-03-28", 23.0),
        ("Europe/London", "2026-10-24", 25.0),
        ("Australia/Lord_Howe", "2026-04-04", 24.5),
        ("Australia/Lord_Howe", "2026-10-03", 23.5),
    ],
)
def test_one_calendar_day_over_a_clock_change(zone: str, before: str, elapsed_hours: float) -> None:
    """09:00 to 09:00 of the next day is 23, 25, 23.5 or 24.5 real hours."""
    first, second = (instant_at(day(before) + timedelta(days=n), "09:00", zone) for n in (0, 1))
    assert (second - first) / timedelta(hours=1) == elapsed_hours
    assert local_day(first, zone) + timedelta(days=1) == local_day(second, zone)


@pytest.mark.parametrize(
    ("at", "zone", "clock", "expected"),
    [
        # IANA Time Zone Database, release 2025 or later: at 02:00 EST clocks go to 03:00 EDT, so 02:30 shows as 03:30
        ("2026-03-08", "America/New_York", "02:30", "2026-03-08T03:30:00-04:00"),
        # the same: 01:30 comes twice; the first is still summer time (-4 h)
        ("2026-11-01", "America/New_York", "01:30", "2026-11-01T01:30:00-04:00"),
        # the same, Lord Howe changes by half an hour: 02:00 (+10:30) becomes 02:30 (+11)
        ("2026-10-04", "Australia/Lord_Howe", "02:15", "2026-10-04T02:45:00+11:00"),
    ],
)
def test_times_that_do_not_exist_or_come_twice(at: str, zone: str, clock: str, expected: str) -> None:
    """A skipped time is the instant at which clocks show the later one; of two the first is meant."""
    assert instant_at(day(at), clock, zone).astimezone(ZoneInfo(zone)).isoformat() == expected


def runs(arrived: str, zone: str, every: Duration, times: int) -> list[datetime | date | None]:
    """When the runs of one step come that repeats so, from arrival."""
    protocol = load("fresh-watch")
    (step,) = [one for one in protocol.steps if one.id == "temperature"]
    assert step.repeat is not None
    again = step._replace(
        repeat=step.repeat._replace(every=every, until=None, times=times),
        start=step.start._replace(by=Duration(0, every.unit)),
    )
    at = datetime.fromisoformat(arrived).replace(tzinfo=ZoneInfo(zone))
    arrival = fact("arrival", at, "arrival", count=4)
    course = Course("B", "T", "S", zone, protocol._replace(steps=(again,)), arrival)
    tasks = [task for task in plan([course], [arrival], at).tasks if task.step == "temperature"]
    return [task.day if every.unit == "d" else task.due_from for task in tasks]


def test_every_three_days_goes_over_the_end_of_february() -> None:
    """From 2026-02-25 every 3 days: 02-25, 02-28, 03-03, 03-06, 03-09 (ISO 8601:2004, the Gregorian calendar)."""
    found = runs("2026-02-25 09:00", "America/New_York", Duration(3, "d"), 5)
    assert found == [day(f"2026-{text}") for text in ("02-25", "02-28", "03-03", "03-06", "03-09")]


def test_twenty_four_elapsed_hours_are_not_one_day_when_clocks_change() -> None:
    """New York, 2026-03-07 09:00: one calendar day later it is 09:00 (23 elapsed hours), 24 hours later 10:00.

    IANA Time Zone Database, release 2025 or later.
    """
    first, second = runs("2026-03-07 09:00", "America/New_York", Duration(24, "h"), 2)
    assert isinstance(first, datetime)
    assert isinstance(second, datetime)
    assert second - first == timedelta(hours=24)
    assert second.astimezone(ZoneInfo("America/New_York")).isoformat() == "2026-03-08T10:00:00-04:00"
