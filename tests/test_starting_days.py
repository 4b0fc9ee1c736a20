"""Days of arrival that meet absences and terms (needs F56, F57), checked against a slow walk over every day."""

from __future__ import annotations

from datetime import date, timedelta
from functools import lru_cache
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quarantine.facts import Fact, PlannedTask
from quarantine.plan import Course, instant_at, plan
from quarantine.protocol import Protocol, read
from quarantine.roster import MAY, WEEKDAYS, Away, Person, Roster, Shut, may_do
from quarantine.starting import Berth, clashes_of, nearest, start_days
from quarantine.templates import shipped

ZONE = "Europe/Berlin"
BERTH = Berth("tank", "system", ZONE)
DAILY = 'repeat = { every = "1 d", until = "observation" }'
WITHIN_48_H = 'repeat = { every = "24 h", until = "observation", latest = "48 h", then = "keep" }'

TEACHER, SECOND, PUPIL = Person("1", "Robin", "keeper"), Person("2", "Noor", "adult"), Person("3", "Kim", "pupil")
WEEKENDS = Shut("Hall", date(2025, 9, 1), date(2027, 7, 31), ("sat", "sun"), "weekend")


def d(text: str) -> date:
    """A day of the tests' year."""
    return date.fromisoformat(text)


@lru_cache(maxsize=8)
def template(name: str) -> Protocol:
    """A shipped protocol; "48 h" is the school's with at most 48 h between two looks."""
    if name != "48 h":
        return read(shipped()[name].read_text(encoding="utf-8"), name)
    text = shipped()["fresh-school-watch"].read_text(encoding="utf-8")
    head, look, rest = text.partition('id = "look"')
    assert DAILY in rest
    return read(head + look + rest.replace(DAILY, WITHIN_48_H, 1), name)


@lru_cache(maxsize=2048)
def stay(name: str, day: date) -> tuple[PlannedTask, ...]:
    """The plan of fish that come at noon of a day, made here anew."""
    at = instant_at(day, "12:00", ZONE)
    arrival = Fact("a", "arrival", at, at, "", "system", "tank", "b", None, {"count": 1})
    return plan([Course("b", "tank", "system", ZONE, template(name), arrival)], [arrival], at).tasks


# --- The slow check: sets of days, one day after the other, sharing no line with the planner --------------------------


def shut_days(roster: Roster) -> set[date]:
    """Every single day on which the site is shut."""
    found = set()
    for shut in roster.shut:
        day = shut.since
        while day <= shut.until:
            if not shut.weekdays or day.strftime("%a").lower() in shut.weekdays:
                found.add(day)
            day += timedelta(days=1)
    return found


def there(roster: Roster, person: Person, day: date) -> bool:
    """Whether a person is not away on a day."""
    return not any(a.keeper == person.id and a.since <= day <= a.until for a in roster.away)


def works(name: str, day: date, roster: Roster) -> bool:
    """Whether a stay that begins on a day can be done whole, found the slow way."""
    shut = shut_days(roster)
    steps = {step.id: step for step in template(name).steps}
    looks: set[date] = set()
    for task in stay(name, day):
        if task.day is None:
            continue
        who = steps[task.step].who
        present = [p for p in roster.people if there(roster, p, task.day)]
        if who == "anyone":
            if not present:
                return False
        elif task.day in shut or not any(p.role in ("", "keeper") or (p.role == who == "adult") for p in present):
            return False
        if task.kind == "look":
            looks.add(task.day)
    seen = {look for look in looks if look not in shut}  # that somebody is there was judged above
    if name == "48 h":
        days = sorted(seen | ({min(looks)} if min(looks) in shut else set()) | ({max(looks)} & shut))
        return all((later - earlier).days * 24 <= 48 for earlier, later in pairwise(days))
    run, planned = 0, False
    at = min(looks)
    while at <= max(looks):
        run, planned = (0, False) if at in seen else (run + 1, planned or at in looks)
        if run >= 3 and planned:
            return False
        at += timedelta(days=1)
    return True


def proposed(name: str, days: list[date], roster: Roster) -> dict[date, bool]:
    """Day -> whether the planner proposes it."""
    return {one.day: not one.clashes for one in start_days(template(name), BERTH, days, roster)}


SCHOOL_YEAR = Roster(
    (TEACHER, SECOND, PUPIL),
    (
        Away("1", d("2026-03-10"), d("2026-03-12"), "course"),
        Away("2", d("2026-03-11"), d("2026-03-20"), ""),
        Away("1", d("2026-09-01"), d("2026-09-30"), "leave"),
    ),
    (
        WEEKENDS,
        Shut("Hall", d("2026-03-30"), d("2026-04-10"), (), "spring break"),
        Shut("Hall", d("2026-07-20"), d("2026-08-31"), (), "summer"),
        Shut("Hall", d("2026-10-26"), d("2026-10-30"), (), "half-term"),
        Shut("Hall", d("2026-12-21"), d("2027-01-01"), (), "winter break"),
    ),
)
"""Weekends, four breaks, and two adults who are away, once at the same time."""

AT_HOME = Roster((TEACHER,), (Away("1", d("2026-06-05"), d("2026-06-07"), "a wedding"),), ())
"""One keeper at home, away for one weekend."""


@pytest.mark.parametrize("name", ["fresh-school-watch", "fresh-watch", "marine-praziquantel", "fresh-salt-dip", "48 h"])
@pytest.mark.parametrize("roster", [SCHOOL_YEAR, AT_HOME], ids=["school", "home"])
def test_over_a_year_the_proposals_are_those_of_the_slow_check(name: str, roster: Roster) -> None:
    """Each of 365 days of arrival is proposed exactly where a walk over every day of the stay finds no clash (F56)."""
    days = [date(2026, 1, 1) + timedelta(days=n) for n in range(365)]
    assert proposed(name, days, roster) == {day: works(name, day, roster) for day in days}


def test_a_year_at_school_has_days_that_work_and_days_that_do_not() -> None:
    """The comparison above is of something: neither all days work nor none."""
    days = [date(2026, 1, 1) + timedelta(days=n) for n in range(365)]
    good = sum(proposed("fresh-school-watch", days, SCHOOL_YEAR).values())
    assert 20 < good < 345


SPANS = st.tuples(st.integers(0, 80), st.integers(0, 12)).map(
    lambda pair: (date(2026, 2, 20) + timedelta(days=pair[0]), date(2026, 2, 20) + timedelta(days=sum(pair)))
)
ROSTERS = st.builds(
    Roster,
    st.lists(st.sampled_from(["", "keeper", "adult", "sitter", "pupil"]), min_size=1, max_size=4).map(
        lambda roles: tuple(Person(str(n), f"P{n}", role) for n, role in enumerate(roles))
    ),
    st.lists(st.tuples(st.integers(0, 3), SPANS), max_size=4).map(
        lambda away: tuple(Away(str(n), *span, "") for n, span in away)
    ),
    st.lists(st.tuples(SPANS, st.sets(st.sampled_from(WEEKDAYS), max_size=3)), min_size=1, max_size=3).map(
        lambda shut: tuple(Shut("Hall", *span, tuple(sorted(days)), "shut") for span, days in shut)
    ),
)


@settings(max_examples=150)
@given(ROSTERS, st.integers(0, 40), st.sampled_from(["fresh-school-watch", "marine-praziquantel", "48 h"]))
def test_any_roster_is_judged_as_by_the_slow_check(roster: Roster, after: int, name: str) -> None:
    """Whoever is there and whenever the site is shut: planner and walk agree."""
    day = date(2026, 2, 20) + timedelta(days=after)
    assert proposed(name, [day], roster)[day] == works(name, day, roster)


@settings(max_examples=40)
@given(ROSTERS, st.integers(0, 40))
def test_the_nearest_day_is_the_nearest(roster: Roster, after: int) -> None:
    """No day that works lies nearer, and of two at the same distance the later one is offered."""
    day, first = date(2026, 2, 20) + timedelta(days=after), date(2026, 2, 18)
    found = nearest(template("fresh-school-watch"), BERTH, day, roster, first=first, within=20)
    span = [day + timedelta(days=n) for n in range(-20, 21)]
    good = [one for one in span if one >= first and works("fresh-school-watch", one, roster)]
    best = min(good, key=lambda one: (abs((one - day).days), -(one - day).days), default=None)
    assert found == best


def test_with_nothing_on_record_nothing_clashes() -> None:
    """Whoever keeps no absences and no terms is asked nothing, even with nobody on record who may do it."""
    at = instant_at(d("2026-03-04"), "12:00", ZONE)
    assert clashes_of(template("fresh-school-watch"), BERTH, at, Roster((PUPIL,), (), ())) == ()


def test_a_longest_gap_of_48_h_does_not_bear_a_long_weekend() -> None:
    """Looks at most 48 h apart are possible over one shut day, and refused over a weekend, with the reason (F57)."""
    at = instant_at(d("2026-03-02"), "12:00", ZONE)
    found = clashes_of(template("48 h"), BERTH, at, Roster((TEACHER,), (), (WEEKENDS,)))
    first = next(clash for clash in found if clash.work.kind == "look")
    assert first.work.day == d("2026-03-07")
    assert first.why == "Hall is shut (weekend): 72 h from 2026-03-06 to 2026-03-09, and the template allows 48 h"
    sundays = WEEKENDS._replace(weekdays=("sun",))
    assert clashes_of(template("48 h"), BERTH, at, Roster((TEACHER,), (), (sundays,))) == ()


def test_two_unlooked_days_are_borne_and_three_are_not() -> None:
    """Rule A4: three days in a row on which nobody looks restart the clear count; a weekend of two does not."""
    at = instant_at(d("2026-03-02"), "12:00", ZONE)
    assert clashes_of(template("fresh-school-watch"), BERTH, at, Roster((TEACHER,), (), (WEEKENDS,))) == ()
    long_ = WEEKENDS._replace(weekdays=("sat", "sun", "mon"), until=d("2026-03-09"))
    looks = [
        clash
        for clash in clashes_of(template("fresh-school-watch"), BERTH, at, Roster((TEACHER,), (), (long_,)))
        if clash.work.kind == "look"
    ]
    assert [clash.work.day for clash in looks] == [d("2026-03-07")]
    assert "nobody looks for 3 days, 2026-03-07 to 2026-03-09" in looks[0].why


def test_one_of_two_adults_away_is_no_clash_and_both_are() -> None:
    """What another one may do is done by that one; a pupil is not one who may."""
    at = instant_at(d("2026-03-02"), "12:00", ZONE)
    one = Roster((TEACHER, SECOND, PUPIL), (Away("1", d("2026-03-09"), d("2026-03-09"), "course"),), ())
    assert clashes_of(template("fresh-school-watch"), BERTH, at, one) == ()
    both = one._replace(away=(*one.away, Away("2", d("2026-03-09"), d("2026-03-09"), "")))
    found = clashes_of(template("fresh-school-watch"), BERTH, at, both)
    assert {clash.work.title for clash in found} == {"Change a quarter of the water", "Test ammonia, nitrite and pH"}
    assert found[0].why == "Robin (course) and Noor are away, and nobody else may do it"
    assert "Robin" not in found[0].unnamed


def test_care_for_anyone_clashes_where_all_are_away() -> None:
    """Look and feed can be anybody's, so they clash only where every keeper is away, pupils among them."""
    at = instant_at(d("2026-03-02"), "12:00", ZONE)
    adults = tuple(Away(id_, d("2026-03-14"), d("2026-03-14"), "") for id_ in "12")
    alone = Roster((TEACHER, SECOND, PUPIL), adults, ())
    assert clashes_of(template("fresh-school-watch"), BERTH, at, alone) == ()
    nobody = alone._replace(away=(*adults, Away("3", d("2026-03-14"), d("2026-03-14"), "")))
    found = clashes_of(template("fresh-school-watch"), BERTH, at, nobody)
    assert {clash.work.kind for clash in found} == {"look", "feed", "test"}


def test_what_lies_before_today_does_not_clash() -> None:
    """Of a batch that is entered late only what is still to come is judged."""
    at = instant_at(d("2026-03-02"), "12:00", ZONE)
    roster = Roster((TEACHER,), (Away("1", d("2026-03-03"), d("2026-03-04"), ""),), ())
    assert clashes_of(template("fresh-school-watch"), BERTH, at, roster)
    assert clashes_of(template("fresh-school-watch"), BERTH, at, roster, d("2026-03-05")) == ()


@pytest.mark.parametrize("role", list(MAY))
def test_who_handles_medicine(role: str) -> None:
    """Rule C19: a dose is never a sitter's or a pupil's, whatever its template says."""
    can = any(may_do(role, who, "dose") for who in ("anyone", "adult", "keeper"))
    assert can == (role in ("", "keeper", "adult"))


@pytest.mark.parametrize(
    ("role", "whose"),
    [
        ("", {"anyone", "adult", "keeper"}),
        ("keeper", {"anyone", "adult", "keeper"}),
        ("adult", {"anyone", "adult"}),
        ("sitter", {"anyone"}),
        ("pupil", {"anyone"}),
    ],
)
def test_whose_tasks_a_role_may_do(role: str, whose: set[str]) -> None:
    """A keeper may do all, an adult helper what anyone or an adult may, a sitter and a pupil what anyone may."""
    assert {who for who in ("anyone", "adult", "keeper") if may_do(role, who, "chore")} == whose
