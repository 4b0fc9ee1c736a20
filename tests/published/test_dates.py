"""Dates against outside sources and against the calendar (publisher, title and year beside each number)."""

from __future__ import annotations

import sys
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from quarantine import evidence as ev
from quarantine.facts import Condition, Fact, local_day
from quarantine.plan import Course, Plan, instant_at, plan
from quarantine.protocol import Duration, Protocol, load

sys.path.insert(0, str(Path(__file__).parent.parent / "plan"))  # the history helper of the tests of the plan


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


@pytest.mark.parametrize(
    ("arrived", "met_on"),
    [
        # rule A2 of this project, its two examples; ISO 8601:2004, the Gregorian calendar, counted by hand above
        ("2026-02-10 14:00", "2026-03-12"),
        ("2028-02-10 14:00", "2028-03-11"),
    ],
)
def test_A2_thirty_days_are_met_on_their_day_once_it_was_looked_at(arrived: str, met_on: str) -> None:
    """Not the day before, not on the day itself before the look, and then with the date in words."""
    from history import History

    history = History("fresh-watch", arrived=arrived)
    thirty = Condition("days_since_death", 30, "Thirty days")
    history.looks(1, 29)
    before = ev.judge(thirty, history.evidence(history.at(29, "23:59")))
    unlooked = ev.judge(thirty, history.evidence(history.at(30, "20:00")))
    history.look(30, "20:30")
    looked = ev.judge(thirty, history.evidence(history.at(30, "21:00")))
    assert [before.met, unlooked.met, looked.met] == [False, False, True]
    assert f"30 days are met on {met_on} after the look" in unlooked.says
    assert unlooked.earliest == day(met_on) == history.day(30)


@pytest.mark.parametrize(
    ("arrived", "days", "with_day_one", "ours"),
    [
        # Quarantine notices that count the day of arrival as day 1 (read; publisher, number and year not recorded) end
        # one day sooner: day 30 of an arrival on 10 February 2026 is 11 March, day 10 of 11 January is 20 January
        ("2026-02-10", 30, "2026-03-11", "2026-03-12"),
        ("2026-01-11", 10, "2026-01-20", "2026-01-21"),
    ],
)
def test_arrival_as_day_one_would_be_a_day_shorter(arrived: str, days: int, with_day_one: str, ours: str) -> None:
    """Here day 0 is the day of arrival, so that a period is never shorter than the longer of the two ways to count."""
    assert day(arrived) + timedelta(days=days - 1) == day(with_day_one)
    assert complete_on(f"{arrived} 12:00", of_days(days)) == day(ours)


@pytest.mark.parametrize("days", [7, 14, 21])
@pytest.mark.parametrize(
    "entered", [["2025-03-03"], ["2025-03-03", "2025-03-08"], ["2025-03-03", "2025-03-09", "2025-03-06"]]
)
def test_the_last_consignment_to_enter_sets_the_day_of_all_in_its_system(days: int, entered: list[str]) -> None:
    """Department of Agriculture, Fisheries and Forestry, Australia, Import industry advice 41-2025, 2025: from
    3 March 2025 consignments that share a recirculating system are released only when the last one to enter it has
    completed its period (there one to three weeks by species; days counted here by rule A2 of this project)."""
    protocol = of_days(days)
    facts, courses = [], []
    for n, text in enumerate(entered):
        at = datetime.fromisoformat(f"{text} 12:00").replace(tzinfo=UTC)
        arrival = Fact(f"a{n}", "arrival", at, at, "keeper", "S", "T", f"B{n}", None, {"count": 4})
        facts.append(arrival)
        courses.append(Course(f"B{n}", "T", "S", "Australia/Sydney", protocol, arrival))
    last = max(entered)
    made = plan(courses, facts, max(f.at for f in facts))
    for n in range(len(entered)):
        assert made.standings[f"B{n}"].periods[0].complete_on == day(last) + timedelta(days=days)


def of_days(days: int) -> Protocol:
    """The shipped template with another length of its period."""
    protocol = load("fresh-watch")
    return protocol._replace(periods=(protocol.periods[0]._replace(length=Duration(days, "d")),))


def complete_on(arrived: str, protocol: Protocol) -> date:
    """When the period of a batch is complete, as it stands on the day of arrival."""
    at = datetime.fromisoformat(arrived).replace(tzinfo=UTC)
    arrival = fact("arrival", at, "arrival", count=4)
    course = Course("B", "T", "S", "UTC", protocol, arrival)
    return plan([course], [arrival], at).standings["B"].periods[0].complete_on


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
    assert complete_on(f"{onset} 12:00", of_days(days)) == day(last)


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


STAY = """
[[step]]
id = "look"
kind = "look"
title = "Look"
start = { arrival = "0 d" }
repeat = { every = "1 d", times = 6 }
window = { from = "08:00", until = "20:00" }
references = ["choice"]

[[step]]
id = "change"
kind = "change"
title = "Change water"
start = { arrival = "1 d" }
repeat = { every = "2 d", times = 2 }
window = { from = "08:00", until = "09:00" }
fraction = "10 %"
references = ["choice"]

[[step]]
id = "move"
kind = "move"
title = "Move"
start = { arrival = "24 h" }
repeat = { every = "70 h", times = 2, from = "given", latest = "72 h", then = "reopen" }
who = "adult"
after_window = "reopen"
references = ["choice"]
"""
"""A look a day, a change every second day, and a move at most 72 h after the one before."""


@pytest.mark.parametrize(
    ("zone", "arrived", "ceiling"),
    [
        # IANA Time Zone Database, release 2025 or later, files europe, northamerica, australasia: the first move is
        # done at 08:00 on the day after arrival; 72 real hours later the clock is off by as much as it was changed
        ("Europe/Berlin", "2026-03-27 08:00", "2026-03-31T09:00:00+02:00"),
        ("Europe/Berlin", "2026-10-23 08:00", "2026-10-27T07:00:00+01:00"),
        ("America/New_York", "2026-03-06 08:00", "2026-03-10T09:00:00-04:00"),
        ("America/New_York", "2026-10-30 08:00", "2026-11-03T07:00:00-05:00"),
        ("Australia/Lord_Howe", "2026-10-02 08:00", "2026-10-06T08:30:00+11:00"),
        ("Australia/Lord_Howe", "2026-04-03 08:00", "2026-04-07T07:30:00+10:30"),
    ],
)
def test_a_stay_of_three_steps_through_a_clock_change(zone: str, arrived: str, ceiling: str) -> None:
    """The same stay in three zones: windows open at 08:00 of the site's clock, on the same days of the stay, and the
    ceiling between two moves is 72 real hours (rule A12)."""
    from history import History, small

    history = History(small(STAY), arrived=arrived, zone=zone)
    (first, _) = history.runs("move", history.at(0, "08:00"))
    history.fact("done", history.at(1, "08:00"), {"key": first.key})
    now = history.at(1, "08:30")
    for step, days in (("look", range(6)), ("change", (1, 3))):
        opened = [run.due_from.astimezone(ZoneInfo(zone)) for run in history.runs(step, now) if run.due_from]
        assert [(t.date(), f"{t:%H:%M}") for t in opened] == [(history.day(n), "08:00") for n in days]
    second = history.runs("move", now)[1]
    assert second.lapses_at is not None
    assert second.lapses_at - history.at(1, "08:00") == timedelta(hours=72)
    assert second.lapses_at.astimezone(ZoneInfo(zone)).isoformat() == ceiling
    assert history.plan(now).standings["B"].periods[0].complete_on == history.day(10)
