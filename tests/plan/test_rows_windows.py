"""F40, F7: early, on time, late, missed at each edge of a window, at midnight and through the clock changes."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from history import History, dose_step, small

from quarantine.plan import timing

SECOND = timedelta(seconds=1)
SPRING, AUTUMN = "2026-03-28 06:00", "2026-10-24 06:00"
"""Arrivals on the eve of a clock change in London."""


def chore(window: str = "", after: str = "keep", start: str = '{ arrival = "1 d" }', id_: str = "work") -> str:
    """One step that is due once."""
    return (
        f'[[step]]\nid = "{id_}"\nkind = "chore"\ntitle = "Work"\nstart = {start}\n{window}\n'
        f'after_window = "{after}"\nreferences = ["choice"]\n'
    )


def window(from_: str, until: str, late: str = "") -> str:
    more = f', late = "{late}"' if late else ""
    return f'window = {{ from = "{from_}", until = "{until}"{more} }}'


def at(text: str, zone: str = "Europe/London") -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)


def said(history: History, moment: datetime) -> str:
    """What is said of the work when it is done at ``moment``."""
    (task,) = history.runs("work", history.at(0, "07:00"))
    assert task.due_from is not None
    assert task.due_until is not None
    return timing(task.due_from, task.due_until, task.lapses_at, moment)


FEBRUARY, MARCH, OCTOBER = "2026-02-10 06:00", "2026-03-27 06:00", "2026-10-23 06:00"
DAY, EVENING = ("08:00", "20:00"), ("08:00", "22:00")

EDGES = [
    # window, its first moment, its last, and the moment from which the work is missed: local, the day after arrival
    ("an ordinary day", FEBRUARY, window(*DAY, "4 h"), "02-11 08:00", "02-11 20:00", "02-12 00:00"),
    ("late to midnight", FEBRUARY, window(*EVENING, "2 h"), "02-11 08:00", "02-11 22:00", "02-12 00:00"),
    ("late past midnight", FEBRUARY, window(*EVENING, "3 h"), "02-11 08:00", "02-11 22:00", "02-12 01:00"),
    ("late by a day", FEBRUARY, window(*DAY, "1 d"), "02-11 08:00", "02-11 20:00", "02-12 20:00"),
    # On 2026-03-29 clocks in London go from 01:00 to 02:00.
    ("into spring", SPRING, window("00:30", "03:00", "6 h"), "03-29 00:30", "03-29 03:00", "03-29 09:00"),
    ("a day over spring", MARCH, window(*DAY, "1 d"), "03-28 08:00", "03-28 20:00", "03-29 20:00"),
    ("hours over spring", MARCH, window(*DAY, "6 h"), "03-28 08:00", "03-28 20:00", "03-29 03:00"),
    # On 2026-10-25 clocks in London go from 02:00 back to 01:00.
    ("a day over autumn", OCTOBER, window(*DAY, "1 d"), "10-24 08:00", "10-24 20:00", "10-25 20:00"),
    ("hours over autumn", OCTOBER, window(*DAY, "7 h"), "10-24 08:00", "10-24 20:00", "10-25 02:00"),
]


@pytest.mark.parametrize(
    ("arrived", "opens", "first", "last", "over"), [e[1:] for e in EDGES], ids=[e[0] for e in EDGES]
)
def test_F40_each_edge_of_a_window_with_late(arrived: str, opens: str, first: str, last: str, over: str) -> None:
    """A second before the window: early; its first and last moment: on time; then late; then missed, as planned."""
    history = History(small(chore(opens)), arrived=arrived)
    year = arrived[:5]
    opening, closing, lapse = at(year + first), at(year + last), at(year + over)
    assert said(history, opening - SECOND) == "early"
    assert said(history, opening) == "on time"
    assert said(history, closing) == "on time"
    assert said(history, closing + SECOND) == "late"
    assert said(history, lapse - SECOND) == "late"
    assert said(history, lapse) == "missed"
    assert history.runs("work", lapse - SECOND)[0].state == "planned"
    assert history.runs("work", lapse)[0].state == "missed"


@pytest.mark.parametrize(
    ("arrived", "hours"),
    [("2026-02-10 06:00", 24), (SPRING, 23), (AUTUMN, 25)],
    ids=["an ordinary day", "spring", "autumn"],
)
def test_F40_work_of_a_day_belongs_to_it_from_midnight_to_midnight(arrived: str, hours: int) -> None:
    """23, 24 or 25 hours: early a second before the day, on time to its last second, missed as the next day begins."""
    history = History(small(chore()), arrived=arrived)
    day = history.day(1)
    midnight, next_ = at(f"{day} 00:00"), at(f"{day + timedelta(days=1)} 00:00")
    assert next_ - midnight == timedelta(hours=hours)
    assert said(history, midnight - SECOND) == "early"
    assert said(history, midnight) == "on time"
    assert said(history, next_ - SECOND) == "on time"
    assert said(history, next_) == "missed"
    assert history.runs("work", next_ - SECOND)[0].state == "planned"
    assert history.runs("work", next_)[0].state == "missed"


def test_F40_without_late_a_window_that_closes_is_missed_at_once() -> None:
    """Until 20:00 and kept: on time at 19:59:59, missed at 20:00:00."""
    history = History(small(chore(window("08:00", "20:00"))), arrived="2026-02-10 06:00")
    closing = at("2026-02-11 20:00")
    assert said(history, closing - SECOND) == "on time"
    assert said(history, closing) == "missed"


def test_F40_what_shifts_is_late_for_ever_and_never_missed() -> None:
    """After its window it is late, a month later too, and the plan still holds it as planned."""
    history = History(small(chore(window("08:00", "20:00"), "shift")), arrived="2026-02-10 06:00")
    closing = at("2026-02-11 20:00")
    assert said(history, closing) == "on time"
    assert said(history, closing + SECOND) == "late"
    assert said(history, closing + timedelta(days=30)) == "late"
    assert history.runs("work", closing + timedelta(days=30))[0].state == "planned"


@pytest.mark.parametrize(
    ("arrived", "opens", "expected"),
    [
        # 01:30 does not exist on 2026-03-29 in London: it opens when clocks show 02:30 (01:30 UTC).
        (SPRING, window("01:30", "20:00"), datetime(2026, 3, 29, 1, 30, tzinfo=UTC)),
        # 01:30 comes twice on 2026-10-25: the first of the two, 00:30 UTC.
        (AUTUMN, window("01:30", "20:00"), datetime(2026, 10, 25, 0, 30, tzinfo=UTC)),
    ],
)
def test_F40_a_window_that_opens_in_the_hour_of_the_change(arrived: str, opens: str, expected: datetime) -> None:
    """Early a second before that instant, on time at it."""
    history = History(small(chore(opens)), arrived=arrived)
    assert said(history, expected - SECOND) == "early"
    assert said(history, expected) == "on time"


@pytest.mark.parametrize("arrived", [SPRING, AUTUMN], ids=["spring", "autumn"])
@pytest.mark.parametrize("late", [SECOND * 0, SECOND], ids=["at the ceiling", "a second before"])
def test_F7_72_hours_are_72_real_hours_for_the_dose_that_follows(arrived: str, late: timedelta) -> None:
    """Given on the eve of the change: the next is planned to the last second of the 72nd hour and missed from there."""
    repeat = '{ every = "48 h", times = 2, latest = "72 h", then = "keep", from = "given" }'
    history = History(small(dose_step(repeat, "keep", '{ arrival = "0 d" }')), arrived=arrived)
    first = history.runs("dose", history.at(0))[0]
    given = history.at(0, "09:00")
    history.dose(given, first.key)
    moment = given + timedelta(hours=72) - late
    assert (
        moment.astimezone(ZoneInfo("Europe/London")).utcoffset()
        != given.astimezone(ZoneInfo("Europe/London")).utcoffset()
    )
    second = history.runs("dose", moment)[1]
    assert second.state == ("planned" if late else "missed")
    assert second.lapses_at == given + timedelta(hours=72)
    assert second.due_from is not None
    assert second.due_until is not None
    assert timing(second.due_from, second.due_until, second.lapses_at, moment) == ("on time" if late else "missed")
