"""What must stand ready before fish come, as a pure function of the order, the facts and an instant (row F46)."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quarantine.facts import Fact, PlannedTask
from quarantine.readiness import (
    ITEMS,
    NITRITE_MOST,
    UIA_MOST,
    Expectation,
    chores_of_arrival,
    limits,
    midnight,
    numbered,
    tasks_before,
    tasks_of_arrival,
)
from quarantine.water.acclimation import Bag, Tank, acclimation

ZONE = "Europe/Berlin"
FIRST = date(2026, 3, 10)
ORDER = Expectation("b", "t", "s", ZONE, "fresh", FIRST, FIRST, date(2026, 2, 20), "conditioner", "14 L")


def at(day: date, hour: int = 12) -> datetime:
    """An hour of a day, in UTC."""
    return datetime(day.year, day.month, day.day, hour, tzinfo=UTC)


def reading(parameter: str, value: str, when: datetime, tank: str = "t") -> Fact:
    """One reading with a fine kit."""
    data = {"parameter": parameter, "value": value, "step": "0.1", "unit": "", "water": "fresh"}
    data |= {"form": "NO2"} if parameter == "nitrite" else {}
    return Fact(f"{parameter}-{when}", "reading", when, when, "k", "s", tank, None, None, data)


def good(when: datetime) -> list[Fact]:
    """Readings of a filter that works."""
    values = {"tan": "0.1", "nitrite": "0.1", "ph": "7.4", "temperature": "25"}
    return [reading(name, value, when) for name, value in values.items()]


def named(tasks: list[PlannedTask]) -> dict[str, PlannedTask]:
    """Tasks by the end of their step; of several the last."""
    return {task.step.partition(".")[2]: task for task in tasks}


def test_every_item_has_a_source_or_says_that_it_has_none() -> None:
    """Each item names where it comes from; its number of days is said to be a choice; who is one of the three."""
    for item in ITEMS:
        assert any("no source" in reference for reference in item.references), item.id
        assert item.who in ("anyone", "keeper", "adult")
        assert (item.kind == "test") == bool(item.reads)


def test_limits_are_those_of_the_shipped_templates() -> None:
    """Ammonia and nitrite before arrival are judged by the figures that the shipped templates hold doses with."""
    from quarantine.protocol import load

    for name, water in (("fresh-watch", "fresh"), ("marine-watch", "marine")):
        theirs = {c.value: c.high for c in load(name).criteria if c.kind == "reading"}
        assert {c.value: c.high for c in limits(water)} == theirs
    assert UIA_MOST == "0.05"
    assert NITRITE_MOST["marine"] == NITRITE_MOST["brackish"] == "0.125"


@given(st.dates(date(2026, 2, 20), date(2026, 12, 31)), st.integers(0, 30), st.integers(0, 200))
def test_a_new_day_moves_no_key(first: date, wide: int, passed: int) -> None:
    """Whatever the expected days and the day it is: the same keys, no day before the order, none after the fish."""
    moved = ORDER._replace(first=first, last=first + timedelta(days=wide))
    today = date(2026, 2, 20) + timedelta(days=passed)
    tasks = tasks_before(moved, [], {}, at(today))
    assert [t.key for t in tasks] == [t.key for t in tasks_before(ORDER, [], {}, at(date(2026, 2, 20)))]
    for task in tasks:
        assert task.day is not None
        assert task.due_from is not None
        assert task.due_until is not None
        assert ORDER.said_on <= task.day <= max(first, today)
        assert task.due_from < task.due_until
        assert task.due_until > midnight(max(first, today), ZONE)
        assert task.state == "planned"


def test_a_day_that_passed_dates_what_is_open_to_today() -> None:
    """On the expected day nothing moves; the day after, all that is open is due that day."""
    on_the_day = tasks_before(ORDER, [], {}, at(FIRST))
    assert named(on_the_day)["lid"].day == FIRST - timedelta(days=3)
    after = tasks_before(ORDER, [], {}, at(FIRST + timedelta(days=1)))
    assert {task.day for task in after} == {FIRST + timedelta(days=1)}


def test_facts_in_any_order_give_the_same_tasks() -> None:
    """Readings entered in any order settle the same."""
    facts = [*good(at(FIRST - timedelta(days=1)))]
    found = [tasks_before(ORDER, list(some), {}, at(FIRST)) for some in permutations(facts)]
    assert all(tasks == found[0] for tasks in found)
    assert named(found[0])["filter"].state == "done"


@pytest.mark.parametrize("parameter", ["tan", "nitrite", "ph", "temperature"])
def test_unknown_is_never_proven(parameter: str) -> None:
    """With one of its four readings missing the filter is not proven."""
    facts = [f for f in good(at(FIRST - timedelta(days=1))) if f.data["parameter"] != parameter]
    assert named(tasks_before(ORDER, facts, {}, at(FIRST)))["filter"].state == "planned"


@pytest.mark.parametrize(("nitrite", "state"), [("0.2", "done"), ("0.21", "planned")])
def test_the_limit_itself_is_inside(nitrite: str, state: str) -> None:
    """0.2 mg/L nitrite is in the limit of fresh water, 0.21 mg/L is not."""
    when = at(FIRST - timedelta(days=1))
    facts = [f for f in good(when) if f.data["parameter"] != "nitrite"] + [reading("nitrite", nitrite, when)]
    assert named(tasks_before(ORDER, facts, {}, at(FIRST)))["filter"].state == state


def test_a_later_bad_reading_counts() -> None:
    """The newest readings are judged, not the best ones."""
    facts = good(at(FIRST - timedelta(days=1), 8))
    bad = reading("nitrite", "0.9", at(FIRST - timedelta(days=1), 10))
    assert named(tasks_before(ORDER, [*facts, bad], {}, at(FIRST)))["filter"].state == "planned"


def test_what_was_done_stays_done_and_an_old_proof_is_asked_for_anew() -> None:
    """A filter proven on the 9th stays done; when the fish come on the 20th it is planned a second time."""
    proven = at(FIRST - timedelta(days=1))
    first = named(tasks_before(ORDER, good(proven), {}, at(FIRST)))["filter"]
    late = ORDER._replace(first=date(2026, 3, 20), last=date(2026, 3, 20))
    tasks = [t for t in tasks_before(late, good(proven), {first.key: proven}, at(FIRST)) if t.step == first.step]
    assert [(t.key == first.key, t.state) for t in tasks] == [(True, "done"), (False, "planned")]
    chore = named(tasks_before(ORDER, [], {}, at(FIRST)))["lid"]
    again = [t for t in tasks_before(late, [], {chore.key: proven}, at(FIRST)) if t.step == chore.step]
    assert [(t.key, t.state) for t in again] == [(chore.key, "done")]


def test_a_skip_stands_for_a_test_too() -> None:
    """A reason given for skipping a test is not asked for again."""
    task = named(tasks_before(ORDER, [], {}, at(FIRST)))["heater"]
    skip = Fact("x", "skip", at(FIRST), at(FIRST), "k", "s", "t", "b", "i", {"key": task.key, "because": "pond"})
    found = named(tasks_before(ORDER, [skip], {}, at(FIRST)))["heater"]
    assert (found.key, found.state) == (task.key, "skipped")


def test_days_are_days_at_the_site_through_a_change_of_clocks() -> None:
    """A task due the day before the clocks change begins at that site's midnight: 23:00 UTC in winter."""
    moved = ORDER._replace(first=date(2026, 3, 30), last=date(2026, 3, 30))
    task = named(tasks_before(moved, [], {}, at(date(2026, 3, 1))))["water"]
    assert task.day == date(2026, 3, 29)
    assert task.due_from == datetime(2026, 3, 28, 23, tzinfo=UTC)
    assert task.due_until == datetime(2026, 3, 30, 22, tzinfo=UTC)


# --- Day 0 ----------------------------------------------------------------------------------------------------


def test_steps_are_told_with_their_litres_and_minutes() -> None:
    """A way in steps reads as numbered sentences; without the litres of the bag each is for a litre of its water."""
    way = acclimation(
        Bag(1, (23.0, 0.1), (7.4, 0.1), (0.05, 0.01), None, 0.5, 7.4), Tank((25.0, 0.1), (7.4, 0.1), (0.0, 0.1))
    )
    assert way.advised == "steps"
    lines = numbered(way.steps, per_litre=True)
    assert lines[0].startswith("1. Float the closed bag 15 min")
    assert lines[-1] == f"{len(lines)}. Net the fish over into the tank; throw the bag's water away."
    assert all("L of tank water for each litre of bag water, wait" in line for line in lines[1:-1])
    chores = chores_of_arrival(way, per_litre=False, own_chore=False)
    assert [c.id for c in chores] == ["float", "mix", "release", "quiet"]
    assert "for each litre" not in chores[1].note


def test_the_chores_of_day_0_are_numbered_and_end_with_the_day() -> None:
    """Their titles sort into the order in which they are done; all are due until the day ends at the site."""
    arrival = Fact("a", "arrival", at(FIRST, 18), at(FIRST, 18), "k", "s", "t", "b", None, {"count": 3})
    tasks = tasks_of_arrival("b", "t", arrival, ZONE, chores_of_arrival(None, per_litre=True, own_chore=False))
    assert [t.title for t in tasks] == ["Arrival 1 of 1: dim light, no food today"]
    assert tasks[0].due_until == datetime(2026, 3, 10, 23, tzinfo=UTC)
    assert chores_of_arrival(None, per_litre=True, own_chore=True) == []
