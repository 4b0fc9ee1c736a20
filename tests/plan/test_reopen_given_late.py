"""A dose of a series that begins again when one is missed, given all the same by its old code (rule A11): it counts as
the first of the series that it began, and never are two given to catch up."""

from __future__ import annotations

import pytest
from history import History, dose_step, small

REOPEN = dose_step('{ every = "2 d", times = 3, from = "given" }', "reopen")


def days(history: History, n: int, clock: str) -> list[tuple[int, str]]:
    runs = history.runs("dose", history.at(n, clock))
    return [((run.day - history.day(0)).days, run.state) for run in runs if run.day is not None]


@pytest.mark.parametrize("written", [True, False], ids=["the lapse is on record", "nobody wrote it down"])
def test_the_first_one_given_two_days_late_is_the_first_again(written: bool) -> None:
    """Due on day 3, given on day 5: two more, two days apart; on the next days nothing turns out to be missed."""
    history = History(small(REOPEN))
    first = history.runs("dose", history.at(0))[0]
    if written:
        history.fact("lapse", history.at(3, "20:00"), {"key": first.key}, entered=history.at(5, "09:00"))
    history.dose(history.at(5, "12:00"), first.key)
    for n, clock in ((5, "13:00"), (6, "09:00"), (7, "09:00")):
        assert days(history, n, clock) == [(3, "done"), (7, "planned"), (9, "planned")], (n, clock)


@pytest.mark.parametrize("written", [True, False], ids=["the lapse is on record", "nobody wrote it down"])
def test_the_second_one_given_late_begins_the_series_again(written: bool) -> None:
    """Day 3 given, day 5 missed and given on day 6: two more after it, whether the lapse was written first or not."""
    history = History(small(REOPEN))
    first, second, _ = history.runs("dose", history.at(0))
    history.dose(history.at(3, "10:00"), first.key)
    if written:
        history.fact("lapse", history.at(5, "20:00"), {"key": second.key}, entered=history.at(6, "09:00"))
    history.dose(history.at(6, "12:00"), second.key)
    for n in (6, 7, 8):
        assert days(history, n, "13:00" if n == 6 else "09:00") == [
            (3, "done"),
            (5, "done"),
            (8, "planned"),
            (10, "planned"),
        ], n


def test_one_that_was_really_given_beside_the_new_first_moves_what_follows() -> None:
    """The new series began on day 5, and then the old one was given as well (rule C7): the next is two days after the
    last one given, and is not missed on the day that it left."""
    history = History(small(REOPEN))
    first = history.runs("dose", history.at(0))[0]
    history.fact("lapse", history.at(3, "20:00"), {"key": first.key}, entered=history.at(5, "09:00"))
    new = next(run for run in history.runs("dose", history.at(5, "09:30")) if run.state == "planned")
    history.dose(history.at(5, "10:00"), new.key)
    history.dose(history.at(6, "12:00"), first.key)
    assert days(history, 6, "13:00") == [(3, "done"), (5, "done"), (8, "planned"), (10, "planned")]
    assert days(history, 7, "21:00") == [(3, "done"), (5, "done"), (8, "planned"), (10, "planned")]


def test_one_that_is_late_and_within_its_time_begins_nothing_again() -> None:
    """With two hours after the window it was late, not missed: the old series goes on."""
    late = dose_step(
        '{ every = "2 d", times = 3, from = "given" }',
        "reopen",
        window='window = { from = "08:00", until = "20:00", late = "2 h" }',
    )
    history = History(small(late))
    first, second, third = history.runs("dose", history.at(0))
    history.dose(history.at(3, "21:00"), first.key)
    runs = [run.key for run in history.runs("dose", history.at(3, "22:00"))]
    assert runs == [first.key, second.key, third.key]
