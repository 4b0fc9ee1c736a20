"""A10 at its edges: what lies exactly on a limit of time, and what follows what (found by mutants)."""

from __future__ import annotations

from datetime import timedelta

import pytest
from test_in_range import START, read, spans

from quarantine import inrange
from quarantine.inrange import OUT, UNREAD, Stretch
from quarantine.luggage import Carried

DAY = timedelta(days=1)


def stretch(since: float, until: float, event: str = "") -> Stretch:
    """A time between two days after the start."""
    return Stretch(START + since * DAY, START + until * DAY, event, "why")


def test_A10_heating_that_stops_as_somebody_reads_cuts_the_time_at_that_reading() -> None:
    """What was read at that instant was not read before it: the hours up to it are cut off, those after it begin."""
    assert spans(read(0, "25"), read(12, "25"), read(24, "25"), until=24, cold=(12,)) == [(12, 24, "")]


@pytest.mark.parametrize(("minutes", "duplicates"), [(29, True), (30, False), (45, False)])
def test_A10_readings_half_an_hour_apart_are_no_duplicates(minutes: int, duplicates: bool) -> None:
    """Closer than 30 minutes the worse of the two counts for both, from 30 minutes on each stands for itself."""
    soon = 24 + minutes / 60
    ends = (read(0, "25"), read(12, "25"), read(36, "25"), read(48, "25"))
    good_first = spans(*ends, read(24, "25"), read(soon, "23"), until=48)
    assert good_first[0] == (0, 12 if duplicates else 24, "")
    bad_first = spans(*ends, read(24, "23"), read(soon, "25"), until=48)
    assert bad_first[-1] == (36 if duplicates else soon, 48, "")


def test_A10_exactly_36_hours_are_no_time_without_a_reading() -> None:
    """More than 36 h is unknown: across a heater that stopped, 36 h to the next reading is the heater's gap alone."""
    later = (read(48, "25"), read(60, "25"))
    assert spans(read(0, "25"), read(12, "25"), *later, until=60, cold=(14,))[1] == (12, 48, "cold")
    beyond = (read(48.5, "25"), read(60, "25"))
    assert spans(read(0, "25"), read(12, "25"), *beyond, until=60, cold=(14,))[1] == (12, 48.5, "no_reading")


def test_A10_a_lone_reading_inside_a_gap_is_a_reading() -> None:
    """Heating stopped twice, 48 h apart, and between them somebody read once: nobody went 36 h without a reading."""
    readings = (read(0, "25"), read(12, "25"), read(30, "25"), read(60, "25"), read(72, "25"))
    assert spans(*readings, until=72, cold=(14, 31))[1] == (12, 60, "cold")


def test_F32_a_count_that_begins_again_takes_no_extension_along() -> None:
    """Two days not read make ten days twelve; out of range begins anew, and it is ten days once more."""
    found = (stretch(0, 3), stretch(3, 5, UNREAD), stretch(5, 6), stretch(6, 7, OUT), stretch(7, 17))
    made = inrange.count(found, 10, {UNREAD: "extend", OUT: "restart"}, START + 17 * DAY)
    assert (made.zero, made.need, made.is_proven) == (START + 7 * DAY, 10 * DAY, True)
    assert made.complete == START + 17 * DAY


def test_F32_a_period_that_is_complete_to_the_minute_does_not_begin_again() -> None:
    """Exactly ten days are proven as the water goes out of range: they were whole before, and stay so."""
    found = (stretch(0, 10), stretch(10, 11, OUT), stretch(11, 12))
    made = inrange.count(found, 10, {OUT: "restart"}, START + 12 * DAY)
    assert (made.zero, made.complete, made.is_proven) == (START, START + 10 * DAY, True)


def test_B3_a_period_that_was_whole_to_the_minute_before_a_move_stays_whole() -> None:
    """Exactly ten days came along; what goes out of range in the new water begins nothing again."""
    carried = Carried("2026-03-02", START, 10 * DAY, START + 10 * DAY)
    made = inrange.count((stretch(11, 12, OUT),), 10, {OUT: "restart"}, START + 12 * DAY, "", carried)
    assert (made.zero, made.complete, made.is_proven) == (START, START + 10 * DAY, True)
    short = Carried("2026-03-02", START, 9 * DAY, None)
    again = inrange.count((stretch(11, 12, OUT),), 10, {OUT: "restart"}, START + 12 * DAY, "", short)
    assert (again.zero, again.counted, again.complete) == (None, timedelta(0), START + 22 * DAY)
