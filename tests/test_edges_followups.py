"""Tasks that facts ask for, at the edges of their windows (rules A11 and C7, needs F9 and F70; found by mutants)."""

from __future__ import annotations

from datetime import timedelta

import pytest
from test_followups import BERTH, at, fact, incident, of, read

from quarantine.followups import FOLLOWUP, followups

POURED = fact("dose", at(5), {"substance": "formaldehyde"})
HARMFUL = {POURED.id: "why"}
MIDNIGHT = at(6, 23)
"""The end of the first day after the dose: midnight in Berlin is 23:00 in UTC."""


def watch(as_of_minutes: int, *more: object) -> str:
    """The state of the first day's test of the filter, so many minutes after that day ended."""
    as_of = MIDNIGHT + timedelta(minutes=as_of_minutes)
    return of([POURED, *more], as_of, "filter-test", harmful=HARMFUL)[0].task.state  # type: ignore[list-item]


def test_A11_a_test_of_its_day_is_missed_from_the_end_of_that_day_on() -> None:
    """Open until midnight, missed at midnight."""
    assert [watch(-1), watch(0), watch(1)] == ["planned", "missed", "missed"]


@pytest.mark.parametrize(("minutes", "state"), [(-1, "done"), (0, "missed")])
def test_F9_what_is_read_at_midnight_is_of_the_day_that_begins(minutes: int, state: str) -> None:
    """All four read a minute before the day's end complete its test; at its end they are the next day's."""
    when = MIDNIGHT + timedelta(minutes=minutes)
    told = [read(when, name, "7") for name in ("tan", "nitrite", "ph", "temperature")]
    assert watch(1, *told) == state


def test_F70_what_was_read_as_the_incident_was_found_settles_its_check() -> None:
    """The heater is found off at 09:00 and the thermometer is read at 09:00; a minute before, it was not for this."""
    for minutes, state in ((0, "done"), (-1, "planned")):
        warm = read(at(5) + timedelta(minutes=minutes), "temperature", "19")
        (made,) = of([incident("heater", at(5)), warm], at(5), "incident-temperature")
        assert made.task.state == state


def test_F70_a_check_within_eighteen_hours_has_until_the_end_of_that_day() -> None:
    """Heat is back on the 5th at 09:00; six hours later, at 15:00, the reading is due, and 18 h after that is the 6th:
    it may be read until that day ends. Within six hours it has these six."""
    over = at(5).isoformat()
    (made,) = of([incident("heater", at(5), until=over)], at(5), "incident-temperature-after")
    assert (made.task.due_from, made.task.due_until) == (at(5, 15), MIDNIGHT)
    (cut,) = of([incident("power", at(5), until=over)], at(5), "incident-temperature-after")
    assert (cut.task.due_from, cut.task.due_until) == (at(5), at(5, 15))


def test_C7_too_much_of_a_dose_of_the_whole_water_is_asked_about_once() -> None:
    """It was given to no tank alone: the first batch of the water has its work, and no other one."""
    other = BERTH._replace(batch="C", tank="U")
    dose = fact("dose", at(5), {"substance": "x", "rescue": "over the ceiling of 2 mg/L"}, tank=None)
    made = followups([BERTH, other], [dose], at(5))
    assert [(one.task.batch, one.task.step) for one in made] == [
        ("B", FOLLOWUP + "overdose"),
        ("B", FOLLOWUP + "overdose-look"),
    ]
