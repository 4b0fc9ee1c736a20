"""What fish leave to do, as the pure room has it (rules B3, B4, B7 and C13, needs F47; found by mutants)."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from quarantine.emptied import CHORES, FEED, KIT, READ, READ_SALT, Leaving, after_a_move, last_to_leave, while_idle
from quarantine.facts import Fact
from quarantine.followups import Berth, Known, Made, key_of, outcomes_of
from quarantine.luggage import COPIED, MOVED_IN

ZONE = "Europe/Berlin"
LEFT = datetime(2026, 2, 10, 9, tzinfo=UTC)
"""10:00 at the site."""
BERTH = Berth("B", "T2", "S2", ZONE, "marine", LEFT)
OLD = Berth("B", "T", "S", ZONE, "marine", LEFT - timedelta(days=9))


def later(hours: float) -> datetime:
    """So many hours after the fish left."""
    return LEFT + timedelta(hours=hours)


def at(day: int, hour: int, minute: int = 0) -> datetime:
    """A time of day at the site in February, where clocks show an hour more than UTC."""
    return datetime(2026, 2, day, hour, minute, tzinfo=UTC) - timedelta(hours=1)


def fact(
    id_: str, kind: str, hours: float, data: dict[str, Any], *, entered: float | None = None, **where: Any
) -> Fact:
    known = {"system": "S2", "tank": "T2", "batch": "B", **where}
    when = later(hours if entered is None else entered)
    return Fact(id_, kind, later(hours), when, "K", known["system"], known["tank"], known["batch"], None, data)


def move(id_: str = "m", hours: float = 0, *, emptied: bool = True, entered: float | None = None, **more: Any) -> Fact:
    data = {"from": "Q1", "from_tank": "T", "from_system": "S", "emptied": emptied, **more.pop("data", {})}
    return fact(id_, MOVED_IN, hours, data, entered=entered, **more)


def closed(id_: str, hours: float, decision: str = "released", *, entered: float | None = None) -> Fact:
    return fact(id_, "closed", hours, {"decision": decision}, system="S", tank="T", entered=entered)


def known(facts: list[Fact], hours: float, stored: frozenset[str] = frozenset()) -> Known:
    ordered = tuple(sorted(facts, key=lambda f: (f.at, f.entered_at, f.id)))
    return Known(ordered, later(hours), outcomes_of(ordered), stored, {}, "B")


def windows(made: list[Made]) -> list[tuple[str, datetime | None, datetime | None]]:
    return [(one.check.step, one.task.due_from, one.task.due_until) for one in made]


# --- A move ------------------------------------------------------------------------------------------------


def test_B3_the_tank_that_was_left_is_emptied_disinfected_and_dried_in_that_order() -> None:
    """Left at 10:00: each an hour after the one before, by the end of the first, the second and the third day after;
    for the tank that was left, in its own water."""
    made = [one for one in after_a_move(BERTH, known([move()], 1)) if one.check in CHORES]
    assert windows(made) == [
        (CHORES[0].step, later(0), at(12, 0)),
        (CHORES[1].step, later(1), at(13, 0)),
        (CHORES[2].step, later(2), at(14, 0)),
    ]
    assert {(one.task.tank, one.task.system, one.task.batch) for one in made} == {("T", "S", "B")}


def test_B3_a_tank_in_which_fish_stayed_is_not_emptied() -> None:
    """Only the new water is read."""
    made = list(after_a_move(BERTH, known([move(emptied=False)], 1)))
    assert [one.check for one in made] == [READ_SALT]


def test_B3_of_two_moves_both_tanks_are_cleaned_and_the_last_water_is_read() -> None:
    """What was read of the water before says nothing of this one."""
    made = list(after_a_move(BERTH, known([move("m1"), move("m2", 5)], 6)))
    assert [one.task.key for one in made if one.check == READ_SALT] == [key_of(BERTH, READ_SALT, "m2")]
    assert len([one for one in made if one.check in CHORES]) == 6


def test_B4_the_copy_of_a_move_asks_for_nothing() -> None:
    """A part of the batch has its history; the work of the move is the whole one's."""
    assert list(after_a_move(BERTH, known([move(data={COPIED: "other"})], 1))) == []
    assert list(after_a_move(BERTH, known([move(batch="C")], 1))) == []


@pytest.mark.parametrize(("water", "check"), [("fresh", READ), ("marine", READ_SALT)])
def test_C13_the_new_water_is_read_within_the_hour_and_by_readings_since_the_move(water: str, check: Any) -> None:
    """Salinity as well where the water is salt; what was read an hour before the move settles nothing."""
    berth = BERTH._replace(water=water)

    def readings(hours: float) -> list[Fact]:
        told = [{"parameter": name, "value": "8", "step": "0.1", "water": water} for name in check.reads]
        return [fact(f"{one['parameter']}{hours}", "reading", hours, one, batch=None) for one in told]

    before, after = known([move(), *readings(-1)], 2), known([move(), *readings(1)], 2)
    (open_,) = [one.task for one in after_a_move(berth, before) if one.check == check]
    assert (open_.state, open_.due_from, open_.due_until) == ("planned", later(0), later(1))
    (settled,) = [one.task for one in after_a_move(berth, after) if one.check == check]
    assert settled.state == "done"
    assert ("salinity" in check.reads) is (water == "marine")


# --- Who left a water last --------------------------------------------------------------------------------------


def test_F47_what_was_entered_last_left_the_water_empty() -> None:
    """A move out of it that happened before a sign-off and was entered after it is the last."""
    sign_off, moved = closed("c", 5), move("m", 3, entered=9)
    assert last_to_leave([sign_off, moved], "S") == moved
    assert last_to_leave([sign_off, move("m", 3)], "S") == sign_off


def test_B7_of_fish_that_died_out_other_chores_stand() -> None:
    """Their tank is disinfected by those; nor did anybody leave a water that no fish were in."""
    assert last_to_leave([closed("c", 5, "died out")], "S") is None
    assert last_to_leave([closed("c", 5, "rejected")], "S") is not None
    assert last_to_leave([closed("c", 5)], "S9") is None
    assert last_to_leave([move(), closed("c", 5, "died out")], "S") is None


def test_B4_the_copy_of_a_move_is_no_leaving() -> None:
    """The fish of the part were counted in the whole batch then."""
    assert last_to_leave([move(data={COPIED: "other"})], "S") is None


# --- A water without fish ---------------------------------------------------------------------------------------


BEGUN = frozenset({key_of(OLD, KIT, "c")})
"""On the list since the sign-off."""


def idle(leaving: Fact, hours: float, *facts: Fact, stored: frozenset[str] = frozenset()) -> list[Made]:
    return list(while_idle(Leaving(leaving, OLD), known([leaving, *facts], hours, stored)))


def outcome(hours: float, check: Any, root: str, n: int = 1, kind: str = "done") -> Fact:
    return fact(f"o{check.id}{n}", kind, hours, {"key": key_of(OLD, check, root, n)}, system="S", tank="T")


def test_F47_the_kit_is_dried_by_the_next_day_and_the_filter_fed_on_day_3() -> None:
    """Released at 10:00 on the 10th: the kit by the end of the 11th, the filter on the 13th at any time."""
    made = idle(closed("c", 0), 1)
    assert windows(made) == [(KIT.step, later(0), at(12, 0)), (FEED.step, at(13, 0), at(14, 0))]


def test_F47_the_next_feed_is_three_days_after_the_one_that_was_given() -> None:
    """Fed two days late, on the 15th: again on the 18th, as another task."""
    made = idle(closed("c", 0), 150, outcome(122, FEED, "c"), stored=BEGUN)
    feeds = [one.task for one in made if one.check == FEED]
    assert [(one.key, one.day and one.day.day, one.state) for one in feeds] == [
        (key_of(OLD, FEED, "c", 1), 13, "done"),
        (key_of(OLD, FEED, "c", 2), 18, "planned"),
    ]


def test_F47_a_filter_that_was_skipped_is_not_asked_for_again() -> None:
    """The reason ends it."""
    made = idle(closed("c", 0), 150, outcome(122, FEED, "c", kind="skip"), stored=BEGUN)
    assert [(one.check, one.task.state) for one in made] == [(KIT, "planned"), (FEED, "skipped")]


@pytest.mark.parametrize(("hours", "begins"), [(24, True), (24.5, False)])
def test_F47_what_left_over_a_day_ago_begins_nothing_and_what_was_begun_goes_on(hours: float, begins: bool) -> None:
    """A sign-off of an older record asks for no kit now; one whose kit is on the list keeps it."""
    assert bool(idle(closed("c", 0), hours)) is begins
    assert bool(idle(closed("c", 0), 24.5, stored=BEGUN)) is True


@pytest.mark.parametrize(("kind", "feeds"), [(None, 0), ("done", 0), ("skip", 1)])
def test_F47_after_a_move_the_filter_is_fed_only_where_it_was_not_dried(kind: str | None, feeds: int) -> None:
    """Drying tank, kit and filter is a chore of the move already: no list asks for both."""
    told = [outcome(30, CHORES[-1], "m", kind=kind)] if kind else []
    made = idle(move(), 31, *told)
    assert [one.check for one in made] == [FEED] * feeds
