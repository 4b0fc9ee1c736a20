"""What is skipped late, or set again every day, leaves nothing due in the past (rule A11)."""

from __future__ import annotations

import pytest
from history import History, dose_step, small
from test_living_templates import fine


def skip(history: History, step: str, n: int) -> None:
    at = history.at(n, "12:00")
    key = next(run.key for run in history.runs(step, at) if run.outcome is None)
    history.fact("skip", at, {"key": key, "task_kind": "dose", "because": "a test"})


def days(history: History, step: str, n: int) -> list[int]:
    runs = history.runs(step, history.at(n, "13:00"))
    return [(run.day - history.day(0)).days for run in runs if run.day is not None]


def test_A11_the_dose_after_one_that_was_skipped_late_counts_from_the_skip() -> None:
    """Due on day 3, skipped on day 8: the next one stays where it was, on day 10, and lies not on day 5."""
    history = History(small(dose_step('{ every = "2 d", times = 3, from = "given" }')))
    before = days(history, "dose", 8)
    skip(history, "dose", 8)
    assert days(history, "dose", 8) == before == [3, 10, 12]


def test_A11_what_was_skipped_early_moves_nothing() -> None:
    """Skipped on day 1, two days before it is due: the next ones stay on their days."""
    history = History(small(dose_step('{ every = "2 d", times = 3, from = "given" }')))
    skip(history, "dose", 1)
    assert days(history, "dose", 1) == [3, 5, 7]


def test_A11_a_missed_dose_whose_days_are_kept_keeps_them_when_its_reason_is_given() -> None:
    """Missed on day 3, skipped on day 8: kept is kept."""
    history = History(small(dose_step('{ every = "7 d", times = 2, from = "given" }', "keep")))
    skip(history, "dose", 8)
    assert days(history, "dose", 8) == [3, 10]


def test_A11_the_dip_after_a_trial_that_was_skipped_late_is_not_due_in_the_past() -> None:
    """The trial of day 3 is skipped on day 6: the dip is due on day 7."""
    history = History("fresh-salt-dip")
    for n in range(7):
        fine(history, n)
    skip(history, "trial-dip", 6)
    assert days(history, "dip", 6) == [7]


@pytest.mark.parametrize("n", [2, 5])
def test_of_a_ramp_only_the_newest_step_is_asked_for(n: int) -> None:
    """Nobody ticked it for days: one step is due, and those ahead follow."""
    history = History("koi-warm-hold")
    for day in range(n + 1):
        history.read(day, "09:00", temperature="15")
    due = [run for run in history.runs("warm-up", history.at(n, "13:00")) if run.day and run.day <= history.day(n)]
    assert [run.day for run in due] == [history.day(n)]


def test_of_a_ramp_what_was_ticked_stays() -> None:
    """Day 1 was done, day 2 and 3 were not: day 1 and day 4 are left."""
    history = History("koi-warm-hold")
    for day in range(5):
        history.read(day, "09:00", temperature="15")
    history.fact("done", history.at(1, "12:00"), {"key": history.runs("warm-up", history.at(1))[0].key})
    due = [run.day for run in history.runs("warm-up", history.at(4, "13:00")) if run.day and run.day <= history.day(4)]
    assert due == [history.day(1), history.day(4)]
