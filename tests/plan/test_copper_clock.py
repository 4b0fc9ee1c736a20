"""Copper is held for three weeks at most by the clock (row C04): what is planned after it, and what brings it out."""

from __future__ import annotations

import pytest
from history import History
from test_living_templates import begun, copper, fine, give, held, planned

from quarantine.facts import PlannedTask

SAYS = "last day 2026-03-06: C04 is held for up to 3 weeks, from the first dose of the stay on 2026-02-13"


def never_proven(last: int) -> History:
    """Copper given on day 3, and read under the range every evening from then on: no day in range is proven."""
    history = begun("marine-copper")
    for n in range(last + 1):
        fine(history, n)
        copper(history, n, "0" if n == 3 else "0.1", "09:40") if n >= 3 else None
        if n == 3:
            give(history, "dose", 3)
    return history


def ahead(history: History, n: int, clock: str) -> list[PlannedTask]:
    """The doses that are still to be given."""
    return [run for run in history.runs("dose", history.at(n, clock)) if run.state == "planned"]


def test_the_last_day_is_shown_ahead_with_the_dose_and_with_one_that_waits() -> None:
    """Given on 13 February at 10:00: the 21st day is 6 March."""
    history = never_proven(5)
    assert all(run.reason.endswith(SAYS) for run in ahead(history, 5, "10:00"))
    (waits,) = ahead(held(5), 5, "10:00")
    assert waits.needs is not None
    assert waits.needs.endswith(SAYS)


def test_before_the_first_dose_nothing_is_counted() -> None:
    """No dose, no last day: not in the reason, and nothing is cleared by it."""
    history = begun("marine-copper")
    for n in range(4):
        fine(history, n)
    copper(history, 3, "0", "09:40")
    runs = ahead(history, 3, "10:00")
    assert runs
    assert not any("last day" in run.reason + str(run.needs) for run in runs)


def test_no_dose_is_planned_after_21_days_and_the_plan_says_why() -> None:
    """Elapsed (rule A12): until 10:00 on day 24 a low reading makes a dose due, the last one, from then on none. Those
    that were due before and not given keep their question."""
    history = never_proven(24)
    assert [run.day for run in ahead(history, 20, "10:00")] == [history.day(n) for n in range(20, 25)]
    assert [run.day for run in ahead(history, 24, "09:59")] == [history.day(24)]
    assert ahead(history, 24, "10:00") == []
    assert planned(history, "dose", 24, "10:00") == list(range(3, 24))
    assert history.plan(history.at(24, "10:00")).stops[("B", "dose")] == f"{SAYS}: nothing is given any more"


def test_what_brings_it_out_begins_on_the_last_day_though_nothing_is_proven() -> None:
    """Clearing waits for fourteen proven days, and no longer than three weeks (rule C5): six changes from day 24 on."""
    history = never_proven(20)
    assert planned(history, "clear-water", 20) == [24, 25, 26, 27, 28, 29]
    (first, *_) = history.runs("clear-water", history.at(20))
    assert first.reason == f"the longest contact ends: {SAYS}"
    key = next(run.key for run in held(10).runs("clear-water", held(10).at(10)))
    assert first.key == key, "the key is that of the change after fourteen proven days"


def test_where_fourteen_days_are_proven_sooner_clearing_follows_them() -> None:
    """The ceiling moves nothing that comes before it, and weekly changes follow the clearing, not the ceiling."""
    history = held(17)
    assert planned(history, "clear-water", 17)[0] == 18
    assert planned(history, "weekly-change", 17)[0] == 18 + 5 + 7


@pytest.mark.parametrize("second", [10, 20])
def test_a_later_dose_does_not_begin_the_weeks_anew(second: int) -> None:
    """All doses are one contact (rule B8)."""
    history = never_proven(second)
    key = next(run.key for run in ahead(history, second, "12:00"))
    history.dose(history.at(second, "12:00"), key, target="0.18", substance="copper", route="prolonged")
    for n in range(second + 1, 25):
        fine(history, n)
        copper(history, n, "0.1", "09:40")
    assert ahead(history, 24, "10:00") == []
    assert "nothing is given any more" in history.plan(history.at(24, "10:00")).stops[("B", "dose")]
