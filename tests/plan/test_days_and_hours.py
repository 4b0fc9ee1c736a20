"""Days, hours and clock changes in the plan: rules A1, A2, A11, A12 and the two anchors F6."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from history import History, dose_step, small

from quarantine.facts import local_day
from quarantine.plan import instant_at

DAILY_AT_EIGHT = """
[[step]]
id = "eight"
kind = "chore"
title = "At eight"
start = { arrival = "0 d" }
repeat = { every = "1 d", times = 4 }
window = { from = "08:00", until = "09:00" }
references = ["choice"]
"""


def test_A1_day_number_of_a_late_arrival() -> None:
    """Ten minutes before midnight is still day zero; ten minutes later is day one, at the site and not in UTC."""
    history = History(arrived="2026-02-10 23:50", zone="America/New_York")
    assert history.evidence(history.at(0, "23:55")).arrived_on == date(2026, 2, 10)
    assert history.evidence(history.at(1, "00:05")).today == date(2026, 2, 11)
    assert local_day(history.arrival.at, "UTC") == date(2026, 2, 11)
    assert history.earliest(history.at(0, "23:55")) == date(2026, 3, 12)


@pytest.mark.parametrize(
    ("arrived", "zone"),
    [
        ("2026-03-06 07:00", "America/New_York"),
        ("2026-10-30 07:00", "America/New_York"),
        ("2026-03-27 07:00", "Europe/London"),
        ("2026-10-23 07:00", "Europe/London"),
        ("2026-04-03 07:00", "Australia/Lord_Howe"),
        ("2026-10-02 07:00", "Australia/Lord_Howe"),
    ],
)
def test_A12_eight_in_the_morning_stays_eight_through_a_clock_change(arrived: str, zone: str) -> None:
    """A daily window opens at 08:00 and closes at 09:00 local time on both sides of the change."""
    history = History(small(DAILY_AT_EIGHT), arrived=arrived, zone=zone)
    runs = history.runs("eight", history.at(0))
    opened = [run.due_from.astimezone(ZoneInfo(zone)) for run in runs if run.due_from]
    closed = [run.due_until.astimezone(ZoneInfo(zone)) for run in runs if run.due_until]
    assert [t.strftime("%H:%M") for t in opened] == ["08:00"] * 4
    assert [t.strftime("%H:%M") for t in closed] == ["09:00"] * 4
    assert [t.date() for t in opened] == [history.day(n) for n in range(4)]
    assert len({t.utcoffset() for t in opened}) == 2  # the change lies inside


HOURS = '{ every = "48 h", times = 3, latest = "72 h", then = "keep", from = "given" }'


@pytest.mark.parametrize(
    ("arrived", "zone"),
    [
        ("2026-03-04 09:00", "America/New_York"),
        ("2026-10-28 09:00", "America/New_York"),
        ("2026-03-25 09:00", "Europe/London"),
        ("2026-04-01 09:00", "Australia/Lord_Howe"),
    ],
)
def test_A12_a_ceiling_of_72_hours_is_72_real_hours(arrived: str, zone: str) -> None:
    """Through the night of the change: due 48 hours after the dose that was given, missed 72 hours after it."""
    history = History(small(dose_step(HOURS, "keep", '{ arrival = "0 d" }')), arrived=arrived, zone=zone)
    first = history.runs("dose", history.at(0))[0]
    given = history.at(3, "10:00")
    history.dose(given, first.key)
    second = history.runs("dose", given)[1]
    assert second.due_from is not None
    assert second.due_from - given == timedelta(hours=48)
    assert second.lapses_at is not None
    assert second.lapses_at - given == timedelta(hours=72)
    assert history.runs("dose", second.lapses_at - timedelta(seconds=1))[1].state == "planned"
    assert history.runs("dose", second.lapses_at)[1].state == "missed"
    local = second.lapses_at.astimezone(ZoneInfo(zone)).strftime("%H:%M")
    assert local != "10:00"  # the clocks moved under it


def test_a_ceiling_whose_then_is_shift_never_makes_a_dose_missed() -> None:
    """The card says until when; the dose stays overdue."""
    repeat = HOURS.replace("keep", "shift")
    history = History(small(dose_step(repeat, "shift", '{ arrival = "0 d" }')))
    history.dose(history.at(0, "11:00"), history.runs("dose", history.at(0, "10:30"))[0].key)
    second = history.runs("dose", history.at(9))[1]
    assert (second.state, second.lapses_at) == ("planned", None)
    assert second.due_until == history.at(3, "11:00")


@pytest.mark.parametrize(
    ("day", "clock", "zone", "expected"),
    [
        (date(2026, 3, 8), "02:30", "America/New_York", datetime(2026, 3, 8, 7, 30, tzinfo=UTC)),
        (date(2026, 3, 29), "01:30", "Europe/London", datetime(2026, 3, 29, 1, 30, tzinfo=UTC)),
        (date(2026, 11, 1), "01:30", "America/New_York", datetime(2026, 11, 1, 5, 30, tzinfo=UTC)),
    ],
)
def test_A12_a_time_that_does_not_exist_and_a_time_that_exists_twice(
    day: date, clock: str, zone: str, expected: datetime
) -> None:
    """A skipped 02:30 is the instant at which clocks show 03:30; of two 01:30 the first is meant."""
    assert instant_at(day, clock, zone) == expected


def test_every_third_day() -> None:
    """2026-02-25 and every third day after it, across the end of February."""
    step = DAILY_AT_EIGHT.replace('every = "1 d", times = 4', 'every = "3 d", times = 5')
    history = History(small(step), arrived="2026-02-25 07:00")
    assert [run.day for run in history.runs("eight", history.at(0))] == [
        date(2026, 2, 25),
        date(2026, 2, 28),
        date(2026, 3, 3),
        date(2026, 3, 6),
        date(2026, 3, 9),
    ]


def test_a_window_of_weekdays_waits_for_the_next_one() -> None:
    """2026-02-10 is a Tuesday: the work of Saturday is due on Saturday."""
    step = DAILY_AT_EIGHT.replace("times = 4", "times = 1").replace(
        'until = "09:00"', 'until = "09:00", weekdays = ["sat"]'
    )
    history = History(small(step))
    assert history.runs("eight", history.at(0))[0].day == date(2026, 2, 14)


def days_after(from_: str, given_on: int, clock: str = "14:00", after: str = "shift") -> list[int]:
    """The days of the three doses when the first, planned for day 3, was given on ``given_on``."""
    repeat = f'{{ every = "4 d", times = 3, from = "{from_}" }}'
    history = History(small(dose_step(repeat, after)))
    first = history.runs("dose", history.at(0))[0]
    history.dose(history.at(given_on, clock), first.key)
    runs = sorted(history.runs("dose", history.at(given_on, "22:00")), key=lambda t: t.key)
    return [(run.day - history.day(0)).days for run in runs if run.day]


def test_F6_a_dose_six_hours_late_moves_no_fixed_chain() -> None:
    """Given at 14:00 instead of 08:00, inside its window: both chains go on from day 3."""
    assert days_after("planned", 3) == [3, 7, 11]
    assert days_after("given", 3) == [3, 7, 11]


def test_F6_a_dose_that_was_given_days_late() -> None:
    """The chain from the given dose moves. A fixed one stays where the template keeps, and moves where it shifts,
    so that two doses are never given to catch up (A11)."""
    assert days_after("given", 5) == [3, 9, 13]
    assert days_after("planned", 5) == [3, 9, 13]
    assert days_after("planned", 5, after="keep") == [3, 7, 11]


def test_F6_a_dose_that_was_given_early() -> None:
    """Given on day 2: the chain from the given dose follows it, the fixed one stays."""
    assert days_after("given", 2) == [3, 6, 10]
    assert days_after("planned", 2) == [3, 7, 11]


def test_F6_hours_late_in_a_chain_of_hours() -> None:
    """Every 12 hours, the first six hours late: the fixed chain stays, the other moves by six hours."""
    for from_, wait in (("planned", 6), ("given", 12)):
        repeat = f'{{ every = "12 h", times = 3, from = "{from_}" }}'
        history = History(small(dose_step(repeat, "shift", '{ arrival = "24 h" }')))
        first = history.runs("dose", history.at(0))[0]
        given = history.at(1, "16:00")
        history.dose(given, first.key)
        second = history.runs("dose", given)[1]
        assert second.due_from is not None
        assert second.due_from - given == timedelta(hours=wait)


def test_A11_daily_care_is_missed_when_its_day_is_over_and_stays_on_the_list() -> None:
    """The look of day 1 is missed at midnight; a person's reason ends it, nothing else does."""
    history = History("fresh-watch")
    look = history.runs("look", history.at(1, "23:59"))[1]
    assert look.state == "planned"
    missed = history.runs("look", history.at(2, "00:00"))[1]
    assert (missed.state, missed.outcome) == ("missed", None)
    assert history.runs("look", history.at(20))[1].state == "missed"
    history.fact("skip", history.at(20), {"key": look.key, "task_kind": "look", "because": "nobody was there"})
    assert history.runs("look", history.at(20))[1].state == "skipped"


def test_A11_a_window_with_late_is_open_for_so_much_longer() -> None:
    """Due until 20:00, late by 4 hours: missed at midnight. Late by 1 day: at 20:00 of the next day."""
    for late, clock, n in (("4 h", "00:00", 4), ("1 d", "20:00", 4)):
        window = f'window = {{ from = "08:00", until = "20:00", late = "{late}" }}'
        history = History(small(dose_step('{ every = "4 d", times = 2 }', "keep", window=window)))
        moment = history.at(n, clock)
        assert history.runs("dose", moment - timedelta(seconds=1))[0].state == "planned"
        assert history.runs("dose", moment)[0].state == "missed"


def test_A11_keep_leaves_the_rest_where_it_was() -> None:
    """A missed dose is missed; the second one stays on its day."""
    history = History(small(dose_step('{ every = "4 d", times = 3 }', "keep")))
    runs = history.runs("dose", history.at(5))
    assert [(run.day, run.state) for run in runs] == [
        (history.day(3), "missed"),
        (history.day(7), "planned"),
        (history.day(11), "planned"),
    ]


def test_A11_shift_moves_what_follows_and_the_late_one_is_never_missed() -> None:
    """Not given on day 3: on day 6 it is overdue and the others have moved behind it, fixed chain or not."""
    for from_ in ("planned", "given"):
        history = History(small(dose_step(f'{{ every = "4 d", times = 3, from = "{from_}" }}', "shift")))
        runs = history.runs("dose", history.at(6))
        assert [(run.day, run.state) for run in runs] == [
            (history.day(3), "planned"),
            (history.day(10), "planned"),
            (history.day(14), "planned"),
        ]


def reopened() -> tuple[History, str]:
    history = History(small(dose_step('{ every = "2 d", times = 3, from = "given" }', "reopen")))
    first, second, _ = history.runs("dose", history.at(0))
    history.dose(history.at(3, "10:00"), first.key)
    history.fact("lapse", history.at(5, "20:00"), {"key": second.key})
    return history, second.key


def test_A11_reopen_begins_the_series_again_and_the_rest_of_the_old_one_falls_away() -> None:
    """Run 2 was missed: three runs from the next open window on, the missed one on the list, no old run 3."""
    history, _ = reopened()
    runs = history.runs("dose", history.at(5, "21:00"))
    assert [(run.day, run.state) for run in runs] == [
        (history.day(3), "done"),
        (history.day(5), "missed"),
        (history.day(6), "planned"),
        (history.day(8), "planned"),
        (history.day(10), "planned"),
    ]


def test_A11_a_series_that_began_again_is_not_missed_at_once() -> None:
    """A lapse that was noticed four days later begins the series on that day, not in the past."""
    history = History(small(dose_step('{ every = "2 d", times = 3, from = "given" }', "reopen")))
    first = history.runs("dose", history.at(0))[0]
    history.fact("lapse", history.at(3, "20:00"), {"key": first.key}, entered=history.at(7, "09:00"))
    runs = history.runs("dose", history.at(7, "10:00"))
    assert [(run.day, run.state) for run in runs][1:] == [
        (history.day(7), "planned"),
        (history.day(9), "planned"),
        (history.day(11), "planned"),
    ]


def test_A11_a_dose_that_was_given_in_time_and_entered_late_undoes_the_reopening() -> None:
    """The lapse was a matter of the record only: the old series goes on, with its keys."""
    history, second = reopened()
    history.dose(history.at(5, "18:00"), second, entered=history.at(6))
    runs = history.runs("dose", history.at(6))
    assert [(run.day, run.state) for run in runs] == [
        (history.day(3), "done"),
        (history.day(5), "done"),
        (history.day(7), "planned"),
    ]


def test_A11_a_dose_that_was_given_after_the_lapse_keeps_the_new_series_at_a_distance() -> None:
    """Given two hours after it lapsed: it is the first of the new series, the next one follows an interval later."""
    history, second = reopened()
    history.dose(history.at(5, "22:00"), second)
    runs = history.runs("dose", history.at(5, "23:00"))
    assert [run.day for run in runs if run.outcome is None] == [history.day(n) for n in (7, 9)]


def test_A11_a_second_lapse_opens_the_series_once_more() -> None:
    """The missed run of the reopened series begins it again."""
    history, _ = reopened()
    new = next(r for r in history.runs("dose", history.at(6)) if r.state == "planned")
    history.fact("lapse", history.at(6, "20:00"), {"key": new.key})
    open_ = [run for run in history.runs("dose", history.at(6, "21:00")) if run.state == "planned"]
    assert [run.day for run in open_] == [history.day(n) for n in (7, 9, 11)]
