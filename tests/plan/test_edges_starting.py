"""Start days and rosters at their edges: first and last days, the nearest of two (F56, F57; found by mutants)."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from history import small

from quarantine.plan import instant_at
from quarantine.roster import Away, Person, Roster, Shut, Work, clashes, closed_on
from quarantine.starting import Berth, clashes_of, nearest

BERTH = Berth("tank", "system", "Europe/Berlin")
DAY = date(2026, 3, 11)
KEEPER, PUPIL = Person("1", "Robin", "keeper"), Person("2", "Kim", "pupil")

ON_ARRIVAL = small(
    """
[[step]]
id = "lid"
kind = "chore"
title = "Lid on"
who = "keeper"
start = { arrival = "0 d" }
references = ["choice"]
"""
)
"""A stay with one piece of work, on the day on which the fish come."""


def day(n: int) -> date:
    return DAY + timedelta(days=n)


def shut(since: int, until: int, *weekdays: str, what: str = "break") -> Shut:
    return Shut("Hall", day(since), day(until), weekdays, what)


def found(*closed: Shut, first: int = -30, within: int = 10) -> int | None:
    """How many days away the nearest day lies."""
    got = nearest(ON_ARRIVAL, BERTH, DAY, Roster((KEEPER,), (), closed), first=day(first), within=within)
    return None if got is None else (got - DAY).days


@pytest.mark.parametrize(
    ("since", "until", "first", "within", "expected"),
    [
        (5, 6, -30, 10, 0),  # the day itself
        (0, 0, -30, 10, 1),  # of the day before and the day after the later one
        (0, 1, -30, 10, -1),  # the nearer one, although it is earlier
        (0, 1, -1, 10, -1),  # on the first day that can be
        (0, 1, 0, 10, 2),  # not before it
        (-1, 1, -30, 2, 2),  # as far away as is asked
        (-1, 1, -30, 1, None),  # and no farther
    ],
)
def test_F56_the_nearest_day_that_works(since: int, until: int, first: int, within: int, expected: int | None) -> None:
    """Shut from one day to another around the day that is asked for."""
    assert found(shut(since, until), first=first, within=within) == expected


def test_F56_work_of_the_first_day_that_is_still_to_come_clashes() -> None:
    """What lies before today is over; what is due today is not."""
    at, roster = instant_at(DAY, "12:00", BERTH.zone), Roster((KEEPER,), (), (shut(0, 0),))
    assert [one.work.day for one in clashes_of(ON_ARRIVAL, BERTH, at, roster, DAY)] == [DAY]
    assert clashes_of(ON_ARRIVAL, BERTH, at, roster, day(1)) == ()


def work(n: int, kind: str = "chore", who: str = "keeper", latest: int | None = None) -> Work:
    return Work(day(n), kind, kind, kind.title(), who, latest)


@pytest.mark.parametrize(("n", "closed"), [(-1, False), (0, True), (2, True), (3, False)])
def test_F57_a_closure_has_its_first_and_its_last_day(n: int, closed: bool) -> None:
    """From day 0 to day 2, both among them: what a keeper does clashes on each of these three."""
    roster = Roster((KEEPER,), (), (shut(0, 2),))
    assert bool(clashes([work(n)], roster)) is closed
    assert (closed_on(day(n), roster) is not None) is closed


@pytest.mark.parametrize(("n", "away"), [(-1, False), (0, True), (2, True), (3, False)])
def test_F56_an_absence_has_its_first_and_its_last_day(n: int, away: bool) -> None:
    """From day 0 to day 2, both among them."""
    roster = Roster((KEEPER,), (Away("1", day(0), day(2), ""),), ())
    assert bool(clashes([work(n)], roster)) is away


def test_F57_on_a_shut_day_whoever_is_there_looks_and_nobody_doses() -> None:
    """A look that anyone may do is done; a dose is not, whoever its template names (rule C19)."""
    roster = Roster((KEEPER, PUPIL), (), (shut(0, 0),))
    assert clashes([work(0, "look", "anyone")], roster) == []
    assert [one.why for one in clashes([work(0, "dose", "anyone")], roster)] == ["Hall is shut (break)"]


def test_C19_a_dose_for_anyone_clashes_where_only_pupils_are_there() -> None:
    """They handle no medicine; they may look."""
    roster = Roster((KEEPER, PUPIL), (Away("1", day(0), day(0), ""),), ())
    assert clashes([work(0, "look", "anyone")], roster) == []
    assert len(clashes([work(0, "dose", "anyone")], roster)) == 1


def test_A12_a_gap_as_long_as_the_template_allows_is_none() -> None:
    """Runs on days 0, 1 and 2, shut on day 1: 48 h between two of them, where 48 h are allowed and 47 h are not."""
    roster = Roster((KEEPER,), (), (shut(1, 1),))
    assert clashes([work(n, "test", "anyone", 48) for n in range(3)], roster) == []
    (clash,) = clashes([work(n, "test", "anyone", 47) for n in range(3)], roster)
    assert (clash.work.day, "48 h from 2026-03-11 to 2026-03-13" in clash.why) == (day(1), True)


@pytest.mark.parametrize(("last", "clash"), [(2, False), (3, True)])
def test_A4_two_unlooked_days_are_no_clash_and_three_are_one(last: int, clash: bool) -> None:
    """Between two days with a look, before the first one, and after the last one."""
    roster = Roster((KEEPER,), (), (shut(1, last),))
    assert bool(clashes([work(n, "look", "anyone") for n in range(last + 2)], roster)) is clash
    assert bool(clashes([work(n, "look", "anyone") for n in range(1, last + 2)], roster)) is clash
    assert bool(clashes([work(n, "look", "anyone") for n in range(last + 1)], roster)) is clash


def test_F57_of_a_break_and_a_weekend_the_break_is_named() -> None:
    """Both hold on a Saturday: what is shut for whole weeks says more."""
    saturday = (5 - DAY.weekday()) % 7
    weekend, holidays = shut(-30, 30, "sat", "sun", what="weekend"), shut(-5, 5, what="half-term")
    for closures in ((weekend, holidays), (holidays, weekend)):
        (clash,) = clashes([work(saturday)], Roster((KEEPER,), (), closures))
        assert clash.why == "Hall is shut (half-term)"


def test_F56_with_nobody_on_record_only_shut_days_clash() -> None:
    """Whoever keeps no names is not told that nobody may do it."""
    assert clashes([work(0)], Roster((), (), (shut(3, 3),))) == []
    assert len(clashes([work(3)], Roster((), (), (shut(3, 3),)))) == 1


def test_F56_of_two_absences_that_overlap_the_first_is_named() -> None:
    """One reason for one day, the one that was told first."""
    away = (Away("1", day(0), day(2), "course"), Away("1", day(1), day(4), "leave"))
    (clash,) = clashes([work(1)], Roster((KEEPER,), away, ()))
    assert clash.why == "Robin (course) is away, and nobody else may do it"
