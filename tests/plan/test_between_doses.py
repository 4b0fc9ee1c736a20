"""What is done between two doses hangs on each of them, and stays in step with them."""

from __future__ import annotations

from history import History, dose_step, small
from test_living_templates import begun, fine, planned, trial_stood
from test_true_days import dose

BETWEEN = """
[[step]]
id = "between"
kind = "change"
title = "Change the water"
for = "system"
start = { between = "dose", by = "1 d" }
fraction = "80 %"
references = ["choice"]
"""


def days(history: History, step: str, n: int) -> list[tuple[int | None, str]]:
    """(day counted from arrival, state) of each run."""
    runs = history.runs(step, history.at(n, "13:00"))
    return [(None if run.day is None else (run.day - history.day(0)).days, run.state) for run in runs]


def baths() -> History:
    return History(small(dose_step('{ every = "3 d", times = 3, from = "given" }') + BETWEEN))


def give(history: History, n: int) -> None:
    at = history.at(n, "12:00")
    history.dose(at, next(run.key for run in history.runs("dose", at) if run.outcome is None))


def test_one_follows_each_dose_but_the_last() -> None:
    """Three doses, two changes, a day after each; a dose that is late takes its change along."""
    history = baths()
    assert days(history, "between", 0) == [(4, "planned"), (7, "planned")]
    give(history, 4)
    assert days(history, "between", 4) == [(5, "planned"), (8, "planned")]


def test_one_that_was_not_done_before_the_next_dose_is_missed() -> None:
    """It is asked for, and not done twice before the third dose."""
    history = baths()
    give(history, 3)
    give(history, 6)
    assert days(history, "between", 6) == [(4, "missed"), (7, "planned")]


def test_a_dose_that_was_skipped_has_none() -> None:
    """Nothing was put in that has to go out."""
    history = baths()
    give(history, 3)
    key = history.runs("dose", history.at(4))[1].key
    history.fact("skip", history.at(4), {"key": key, "task_kind": "dose", "because": "a test"})
    assert days(history, "between", 4) == [(4, "planned")]


def test_when_the_water_warms_the_changes_keep_step_with_the_doses() -> None:
    """19 °C and then 21 °C: the shorter step, one dose more, and one change between each two of them."""
    history = begun("fresh-white-spot")
    for n in range(9):
        fine(history, n, "19")
    fine(history, 9, "19", ("white spots",))
    trial_stood(history, 9)
    dose(history, 9)
    assert planned(history, "between", 9) == [10, 14, 18, 22]
    fine(history, 10, "21")
    assert planned(history, "dose", 10) == [9, 11, 13, 15, 17, 19]
    assert planned(history, "between", 10) == [10, 12, 14, 16, 18]


def test_one_reading_of_20_among_22_keeps_the_shorter_step() -> None:
    """As the template's summary says: the shorter step, and one dose more."""
    history = begun("fresh-white-spot")
    for n in range(9):
        fine(history, n, "22")
    fine(history, 9, "20", ("white spots",))
    trial_stood(history, 9)
    dose(history, 9)
    assert planned(history, "dose", 9) == [9, 13, 17, 21, 25]
    fine(history, 10, "22")
    assert planned(history, "dose", 10) == [9, 11, 13, 15, 17, 19]


def test_a_stopped_course_has_no_change_between_doses_any_more() -> None:
    """What is in the water is cleared, and nothing waits for a dose that never comes."""
    history = begun("fresh-white-spot")
    for n in range(9):
        fine(history, n, "24")
    fine(history, 9, "24", ("white spots",))
    trial_stood(history, 9)
    dose(history, 9)
    history.fact("stopped", history.at(9, "12:30"), {"step": "dose", "title": "F", "because": "a test", "left": []})
    assert planned(history, "between", 9, "13:00") == []
