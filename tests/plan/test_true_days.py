"""A forecast never comes nearer because less is known: what waits is counted, and so are the days with a drug."""

from __future__ import annotations

from datetime import timedelta

import pytest
from history import History
from test_living_templates import begun, fine, open_runs, planned, trial_stood


def course(temperature: str) -> History:
    """White spots on day 9, the trial stood, the first dose given."""
    history = begun("fresh-white-spot")
    for n in range(9):
        fine(history, n, temperature)
    fine(history, 9, temperature, ("white spots",))
    trial_stood(history, 9)
    dose(history, 9)
    return history


def dose(history: History, n: int) -> None:
    """The dose that is due, of formalin."""
    at = history.at(n, "12:00")
    key = open_runs(history, "dose", at)[0].key
    history.dose(at, key, target="15", substance="formalin", route="prolonged")


def days_left(history: History, n: int, clock: str = "13:00") -> int:
    """The earliest day of sign-off, counted from arrival."""
    return (history.earliest(history.at(n, clock)) - history.day(0)).days


def test_a_reading_outside_the_table_brings_no_day_nearer() -> None:
    """Four doses are left, and none has a day: they are counted by the slowest row, with the clearing and the thirty
    days after it."""
    history = course("19")
    before = days_left(history, 9)
    assert before == 9 + 4 * 4 + 6 + 30
    fine(history, 10, "17.9")
    assert planned(history, "dose", 10) == [9, None]
    assert days_left(history, 10) == 10 + 4 * 4 + 6 + 30


def test_a_temperature_that_nobody_read_brings_no_day_nearer() -> None:
    """Two days without a reading: the doses wait, and the day moves on."""
    history = course("24")
    assert days_left(history, 9) == 9 + 4 * 2 + 6 + 30
    history.looks(10, 11)
    assert days_left(history, 11) == 11 + 4 * 4 + 6 + 30


def test_a_stopped_course_has_its_clearing_in_the_forecast_from_the_start() -> None:
    """Stopped on day 9: the last of six changes is on day 15, and no day of it moves the forecast on."""
    history = course("24")
    data = {"step": "dose", "title": "Formalin", "because": "a test", "left": []}
    history.fact("stopped", history.at(9, "12:30"), data)
    forecasts = [days_left(history, 9)]
    for n in range(10, 16):
        fine(history, n, "24")
        at = history.at(n, "12:00")
        history.done(open_runs(history, "clear-water", at)[0], at)
        forecasts.append(days_left(history, n))
    assert forecasts[0] == 15 + 30
    assert forecasts == sorted(forecasts, reverse=True)


def test_no_day_with_a_drug_in_the_water_is_counted() -> None:
    """Seven days after the sign that began the count, all of them with formalin in the water: day 0."""
    history = course("24")
    for n in range(10, 17):
        fine(history, n, "24")
    (period,) = history.plan(history.at(16, "13:00")).standings["B"].periods
    assert period.zero == history.day(9)
    assert period.day == 0


@pytest.mark.parametrize("read", [False, True])
def test_a_copper_course_that_goes_well_has_one_day_from_the_start(read: bool) -> None:
    """Dosed on day 3, fourteen days in range, six changes, fourteen days without a drug; twenty-eight doses that may
    never be needed put nothing off, and neither do the days before the first one."""
    history = History("marine-copper", fish=6)
    if read:
        data = {"parameter": "copper", "value": "0", "step": "0.01", "unit": "mg/L", "form": "free", "water": "marine"}
        history.fact("reading", history.at(0, "11:00"), data, batch=None)
    assert history.earliest(history.at(0, "12:00")) == history.day(0) + timedelta(days=3 + 14 + 6 + 14)


def test_the_days_of_a_course_that_is_due_are_no_days_without_a_drug() -> None:
    """The word is given and no dose yet: five doses, six changes and then thirty days, the same as after the first."""
    history = begun("fresh-white-spot")
    for n in range(9):
        fine(history, n, "24")
    fine(history, 9, "24", ("white spots",))
    trial_stood(history, 9)
    assert days_left(history, 9) == 9 + 4 * 2 + 6 + 30
