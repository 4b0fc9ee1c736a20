"""The nearest day of arrival is found without a plan for every day that is tried, and it is the same day."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from quarantine import starting
from quarantine.plan import instant_at
from quarantine.protocol import load, read
from quarantine.roster import Away, Person, Roster, Shut, any_clash, clashes
from quarantine.starting import ARRIVES, Berth, Stays, nearest, start_days, stay_from, work_of
from quarantine.templates import shipped

ROBIN = Person("1", "Robin", "")
FIRST = date(2026, 8, 1)
NEVER = Roster((ROBIN,), (Away("1", date(2026, 1, 1), date(2027, 12, 31), "gone"),), ())
SOME = Roster(
    (ROBIN,),
    (Away("1", date(2026, 8, 1), date(2026, 9, 20), "leave"), Away("1", date(2026, 11, 2), date(2026, 11, 3), "")),
    (Shut("Hall", date(2026, 1, 1), date(2026, 12, 31), ("sat", "sun"), "weekend"),),
)


def berth(zone: str) -> Berth:
    return Berth("tank", "system", zone)


@pytest.mark.parametrize("zone", ["Europe/Berlin", "Australia/Lord_Howe"])
@pytest.mark.parametrize("name", sorted(shipped()))
def test_a_stay_is_moved_only_where_its_plan_would_be_the_same(name: str, zone: str) -> None:
    """Days over a year, both clock changes among them: the work that is moved along is the work of a plan made anew."""
    protocol, stays = load(name), Stays(load(name), berth(zone))
    days = [FIRST + timedelta(days=n) for n in (*range(0, 365, 31), *range(60, 68), *range(80, 88))]
    for day in days:
        made = work_of(protocol, stay_from(protocol, berth(zone), instant_at(day, ARRIVES, zone)))
        assert stays.work(day) == made, day


@pytest.mark.parametrize("name", ["fresh-watch", "marine-praziquantel", "fresh-school-watch", "marine-tank-transfer"])
@pytest.mark.parametrize("roster", [SOME, NEVER], ids=["some", "never"])
def test_the_nearest_day_is_that_of_a_walk_over_every_day(name: str, roster: Roster) -> None:
    """The first day without a clash by the plans of all days, in the order of their distance, the later one first."""
    protocol, place, within = load(name), berth("Europe/Berlin"), 60
    near = [FIRST + timedelta(days=n * way) for n in range(within + 1) for way in (1, -1)]
    slow = (one.day for one in start_days(protocol, place, [d for d in near if d >= FIRST], roster) if not one.clashes)
    assert nearest(protocol, place, FIRST, roster, first=FIRST, within=within) == next(slow, None)


@pytest.mark.parametrize(
    ("name", "most"), [("marine-praziquantel", 1), ("fresh-school-watch", 8), ("marine-tank-transfer", 60)]
)
def test_where_none_of_121_days_works_few_plans_are_made(monkeypatch: pytest.MonkeyPatch, name: str, most: int) -> None:
    """One where days alone count, one more for each day of the week, or for each place of a clock change in a stay."""
    made: list[date] = []

    def counted(protocol: object, place: object, at: object) -> object:
        made.append(FIRST)
        return stay_from(protocol, place, at)  # type: ignore[arg-type]

    monkeypatch.setattr(starting, "stay_from", counted)
    assert nearest(load(name), berth("Europe/Berlin"), FIRST, NEVER, first=FIRST, within=120) is None
    assert 1 <= len(made) <= most


@pytest.mark.parametrize("name", ["fresh-watch", "marine-tank-transfer", "fresh-school-watch"])
def test_whether_anything_clashes_is_whether_a_clash_is_listed(name: str) -> None:
    """The short answer and the long one, day after day; a gap that shut days make counts as one."""
    protocol, place = load(name), berth("Europe/Berlin")
    shut = Roster((ROBIN,), (), (Shut("Hall", date(2026, 8, 20), date(2026, 8, 22), (), "a fair"),))
    for day in (FIRST + timedelta(days=n) for n in range(0, 60, 3)):
        work = work_of(protocol, stay_from(protocol, place, instant_at(day, ARRIVES, place.zone)))
        for roster in (SOME, NEVER, shut, Roster((), (), ())):
            assert any_clash(work, roster) == bool(clashes(work, roster)), (day, roster)


def test_with_nobody_away_the_asked_day_works_and_none_before_the_first() -> None:
    """No absence and no closure on record: nothing can clash."""
    protocol, place, nobody = (
        read(shipped()["fresh-watch"].read_text(encoding="utf-8"), "x"),
        berth("UTC"),
        Roster((), (), ()),
    )
    assert nearest(protocol, place, FIRST, nobody, first=FIRST, within=3) == FIRST
