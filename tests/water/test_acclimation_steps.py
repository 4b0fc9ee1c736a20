"""From the bag to the tank: no step over its limit, both ways listed, the opened bag, and what is not known."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quarantine.failures import Refused
from quarantine.water.acclimation import (
    BAG_WATER_OUT,
    CELSIUS_PER_STEP,
    SALINITY_PER_STEP,
    SHARE_PER_STEP,
    UP_IN_STEPS,
    Acclimation,
    Bag,
    Step,
    Tank,
    acclimation,
    daily_targets,
    differences,
    float_minutes,
    opened_bag,
)
from quarantine.water.ammonia import un_ionized_fraction

BAG = Bag(2, (22, 0.5), (6.4, 0.2), (4, 0.5), closed_hours=40, packed_ph=8.0)
TANK = Tank((26, 0.5), (7.6, 0.2), (0, 0.25))
MARINE_BAG = Bag(3, (24, 0.5), (7.6, 0.1), (1, 0.2), (35, 1), closed_hours=1, packed_ph=8.2)
MARINE_TANK = Tank((25, 0.5), (8.1, 0.1), (0, 0.2), (32, 1), "marine")

temperatures = st.floats(min_value=10, max_value=32)
phs = st.floats(min_value=5.5, max_value=9)
salinities = st.floats(min_value=0, max_value=40)
bags = st.builds(
    Bag,
    st.floats(min_value=0.3, max_value=40),
    st.tuples(temperatures, st.just(0.5)),
    st.tuples(phs, st.just(0.2)),
    st.tuples(st.floats(min_value=0, max_value=12), st.just(0.5)),
    st.tuples(salinities, st.just(0.5)),
    st.none() | st.floats(min_value=0, max_value=60),
    st.none() | phs,
)
tanks = st.builds(
    Tank,
    st.tuples(temperatures, st.just(0.5)),
    st.tuples(phs, st.just(0.2)),
    st.tuples(st.floats(min_value=0, max_value=2), st.just(0.25)),
    st.tuples(salinities, st.just(0.5)),
    st.sampled_from(["fresh", "brackish", "marine"]),
)


def additions(plan: Acclimation) -> list[tuple[Step, Step]]:
    """Each addition with the step before it."""
    return [(before, after) for before, after in pairwise(plan.steps) if after.what == "add"]


@given(bags, tanks, st.none() | st.floats(min_value=1.2, max_value=8))
def test_no_step_is_over_its_limit(bag: Bag, tank: Tank, vessel: float | None) -> None:
    """No addition moves the temperature by over 0.55 °C, the salinity by over 0.5 g/L, or is over a third."""
    plan = acclimation(bag, tank, None if vessel is None else bag.litres * vessel)
    for before, after in additions(plan):
        stays = before.litres - after.pour_away_litres
        assert after.add_litres > 0
        assert after.minutes >= 5
        assert after.add_litres <= after.litres * SHARE_PER_STEP * (1 + 1e-9)
        for was, is_now in zip(before.celsius, after.celsius, strict=True):
            assert abs(is_now - was) <= CELSIUS_PER_STEP * (1 + 1e-9)
        assert before.salinity_g_per_l is not None
        assert after.salinity_g_per_l is not None
        assert abs(after.salinity_g_per_l - before.salinity_g_per_l) <= SALINITY_PER_STEP * (1 + 1e-9)
        assert after.litres == pytest.approx(stays + after.add_litres)
        assert stays >= bag.litres * (1 - 1e-6)


@given(bags, tanks, st.none() | st.floats(min_value=1.2, max_value=8))
def test_the_steps_end_near_the_tank(bag: Bag, tank: Tank, vessel: float | None) -> None:
    """At the end of the steps the water is within 1 °C and 1 g/L of the tank's and at most a quarter is the bag's."""
    plan = acclimation(bag, tank, None if vessel is None else bag.litres * vessel)
    if not plan.steps:
        assert tank.salinity_g_per_l[0] - bag.salinity_g_per_l[0] > UP_IN_STEPS
        assert plan.advised == "release"
        return
    last = plan.steps[-1]
    assert last.what == "release"
    assert last.from_minute >= 30
    assert max(abs(end - tank.celsius[0]) for end in last.celsius) <= 1 + 1e-9
    assert abs(last.salinity_g_per_l - tank.salinity_g_per_l[0]) <= 1 + 1e-9
    left = math.prod((before.litres - after.pour_away_litres) / after.litres for before, after in additions(plan))
    assert left <= 0.25 + 1e-9
    if vessel is not None:
        assert all(step.litres <= bag.litres * vessel * (1 + 1e-9) for step in plan.steps)


@given(bags, tanks)
def test_every_step_follows_the_last(bag: Bag, tank: Tank) -> None:
    """The minutes of the steps add up, and every litre, share and bound lies between bag and tank."""
    plan = acclimation(bag, tank)
    for table in (plan.release, plan.steps):
        for before, after in pairwise(table):
            assert after.from_minute == before.from_minute + before.minutes
        for step in table:
            assert step.ph is not None
            assert step.ph[0] <= step.ph[1]
            assert step.celsius[0] <= step.celsius[1]
            assert step.uia_most_mg_per_l is not None
    if plan.steps:
        first, last = plan.steps[0], plan.steps[-1]
        assert (
            abs(last.salinity_g_per_l - tank.salinity_g_per_l[0])
            <= abs(first.salinity_g_per_l - tank.salinity_g_per_l[0]) + 1e-9
        )


@given(bags, tanks)
def test_bag_water_never_goes_in(bag: Bag, tank: Tank) -> None:
    """Whatever the readings, the caution about the bag's water is there, and so is the one about opening it last."""
    plan = acclimation(bag, tank)
    assert BAG_WATER_OUT in plan.cautions
    assert any("get the fish out of its water" in said for said in plan.cautions)


@given(bags, tanks)
def test_the_opened_bag_is_judged_by_the_highest_ph(bag: Bag, tank: Tank) -> None:
    """The opened bag's ammonia is never under that of any pH, temperature and total ammonia that the readings allow."""
    found = opened_bag(bag, tank)
    assert found is not None
    highest = max([bag.ph[0] + 0.1, tank.ph[0] + 0.1, bag.packed_ph or 0])
    assert found.opened_ph == pytest.approx(highest)
    worst = (bag.tan_mg_per_l[0] + 0.25) * un_ionized_fraction(highest, max(bag.celsius[0], tank.celsius[0]) + 0.25)
    assert found.opened_most_mg_per_l == pytest.approx(worst)
    assert found.opened_most_mg_per_l >= found.closed_mg_per_l[1] * (1 - 1e-12)
    assert found.harmful == (found.opened_most_mg_per_l > 0.05)


@given(bags, tanks)
def test_steps_are_advised_only_where_the_bag_allows(bag: Bag, tank: Tank) -> None:
    """Steps are advised only for a bag known to have been closed for an hour or less, harmless once it is open."""
    plan = acclimation(bag, tank)
    if plan.advised == "steps":
        assert bag.closed_hours is not None
        assert bag.closed_hours <= 1
        assert plan.opened is not None
        assert not plan.opened.harmful
        assert plan.steps


def test_a_long_closed_bag() -> None:
    """A bag of forty hours is floated and released; the steps are listed beside it, and the ammonia is said."""
    plan = acclimation(BAG, TANK)
    assert plan.advised == "release"
    assert "closed for 40 h" in plan.because
    assert [step.what for step in plan.release] == ["float", "release"]
    assert plan.release[0].minutes == 30
    assert plan.release[0].celsius == (24, 26)
    assert [step.what for step in plan.steps] == ["float", "add", "add", "add", "add", "release"]
    assert plan.cautions[0].startswith("Opened bag: un-ionized ammonia in the bag: 0.0")
    assert "should the pH climb to 8;" in plan.cautions[0]


def test_a_short_trip_in_like_water() -> None:
    """A bag of half an hour without ammonia: steps are advised, over half an hour at least."""
    plan = acclimation(BAG._replace(tan_mg_per_l=(0, 0.1), closed_hours=0.5), TANK)
    assert plan.advised == "steps"
    assert plan.opened is not None
    assert not plan.opened.harmful
    waits = [step.minutes for step in plan.steps if step.what == "add"]
    assert sum(waits) >= 30


def test_an_hour_is_the_edge_of_a_short_trip() -> None:
    """Closed for an hour, a harmless bag may be dripped; for longer it is released."""
    clean = BAG._replace(tan_mg_per_l=(0, 0.1))
    assert acclimation(clean._replace(closed_hours=1), TANK).advised == "steps"
    assert acclimation(clean._replace(closed_hours=1.01), TANK).advised == "release"


def test_a_small_vessel_is_poured_down_to_the_bags_litres() -> None:
    """2 L in a vessel of 3 L: each time it is full, water goes away (not into the tank) down to the 2 L of the bag."""
    plan = acclimation(BAG, TANK, 3)
    poured = [(before.litres, after.pour_away_litres) for before, after in additions(plan) if after.pour_away_litres]
    assert len(poured) >= 2
    assert all(litres - away == pytest.approx(2) for litres, away in poured)
    assert max(step.litres for step in plan.steps) <= 3


def test_into_saltier_water() -> None:
    """Up by 4 g/L there are no steps of minutes: the tank comes to the bag first, then up by at most 2 g/L a day."""
    plan = acclimation(MARINE_BAG._replace(salinity_g_per_l=(28, 1)), MARINE_TANK)
    assert plan.steps == ()
    assert plan.advised == "release"
    assert "bring it to 28 g/L" in plan.tank_first[0]
    assert daily_targets(28, 32, 2) == (30, 32)


def test_into_less_salty_water() -> None:
    """Down by 3 g/L is tolerated: no step is over 0.5 g/L and nothing has to be done to the tank first."""
    plan = acclimation(MARINE_BAG, MARINE_TANK)
    assert plan.tank_first == ()
    assert plan.steps[0].salinity_g_per_l == 35
    assert plan.steps[-1].salinity_g_per_l == pytest.approx(32, abs=1)


@pytest.mark.parametrize(
    ("bag", "tank", "says"),
    [
        (BAG._replace(closed_hours=None), TANK, "how long the bag was closed is not known"),
        (BAG._replace(closed_hours=0.5, tan_mg_per_l=None), TANK, "are not all known"),
        (BAG._replace(closed_hours=0.5, ph=None), TANK, "are not all known"),
        (BAG._replace(closed_hours=0.5, packed_ph=None), TANK._replace(ph=None), "are not all known"),
        (BAG._replace(closed_hours=0.5), TANK, "un-ionized ammonia in the bag"),
    ],
)
def test_what_is_not_known_is_not_dripped(bag: Bag, tank: Tank, says: str) -> None:
    """A reading that is missing, or an ammonia over the limit, advises release and says why."""
    plan = acclimation(bag, tank)
    assert plan.advised == "release"
    assert says in plan.because


def test_unknown_stays_unknown_in_the_table() -> None:
    """Without a reading of salinity, pH or ammonia the table has none, and the cautions ask for them."""
    plan = acclimation(Bag(2, (22, 0.5), salinity_g_per_l=(1, 0.1)), Tank((26, 0.5)))
    assert all(step.uia_most_mg_per_l is None for step in plan.steps)
    assert all(step.ph is None for step in plan.steps[1:])
    assert plan.steps[1].salinity_g_per_l is None
    assert plan.opened is None
    assert any("salinity of both waters is not known" in said for said in plan.cautions)
    assert any("pH of both waters is not known" in said for said in plan.cautions)
    assert any("take the bag's ammonia to be dangerous" in said for said in plan.cautions)


def test_fresh_water_without_a_salinity_is_not_asked_for_one() -> None:
    """Two fresh waters of which nobody read the salinity are not asked for it; a marine tank is."""
    asks = "salinity of both waters"
    assert not any(asks in said for said in acclimation(BAG, TANK).cautions)
    marine = MARINE_TANK._replace(salinity_g_per_l=None)
    assert any(asks in said for said in acclimation(MARINE_BAG._replace(salinity_g_per_l=None), marine).cautions)


def test_the_tank_is_mended_before_the_bag_is_opened() -> None:
    """Over 5 °C apart, or a pH that may be over 9: said first, with what to do."""
    cold = acclimation(BAG._replace(celsius=(15, 0.5)), TANK).tank_first
    assert "11 °C apart" in cold[0]
    assert "0.6 °C a day" in cold[0]
    high = acclimation(BAG, TANK._replace(ph=(8.95, 0.2))).tank_first
    assert "may be over 9" in high[0]
    assert acclimation(BAG, TANK._replace(ph=(8.9, 0.2))).tank_first == ()


def test_long_steps_are_said_to_be_long() -> None:
    """From 35 to 16 g/L in half-gram steps takes over two hours, which the plan says."""
    plan = acclimation(MARINE_BAG, MARINE_TANK._replace(salinity_g_per_l=(16, 1)))
    assert plan.steps[-1].from_minute > 120
    assert any("longer than the 2 h" in said for said in plan.cautions)


@given(st.floats(min_value=0, max_value=44), st.floats(min_value=0, max_value=44))
def test_a_larger_difference_floats_no_shorter(one: float, other: float) -> None:
    """Floating takes 15 min at least and never less for a larger difference, whichever way it goes."""
    low, high = sorted((one, other))
    assert 15 <= float_minutes(low) <= float_minutes(high)
    assert float_minutes(-high) == float_minutes(high)


def test_floating_at_the_edges() -> None:
    """2 °C is a short float, a hair more a long one; 10 °C takes 53 min by the way in which warmth evens out."""
    assert float_minutes(2) == 15
    assert float_minutes(2.01) == 30
    assert float_minutes(10) == 53


@given(
    st.floats(min_value=0, max_value=40),
    st.floats(min_value=0, max_value=40),
    st.floats(min_value=0.1, max_value=5),
)
def test_days_of_equal_steps(now: float, wanted: float, most: float) -> None:
    """The days end at what is wanted, in equal steps of at most the day's limit; none where it is reached."""
    targets = daily_targets(now, wanted, most)
    assert (targets == ()) == (abs(wanted - now) / most < 5e-10)
    before = now
    for target in targets:
        assert abs(target - before) <= most * (1 + 1e-6)
        before = target
    if targets:
        assert targets[-1] == wanted


def test_a_move_between_two_tanks() -> None:
    """Two tanks match within 1 °C, 1 g/L and pH 0.3, with the steps of the kits against them; unknown stays unknown."""
    here = Tank((25, 0), (8.0, 0), None, (35, 0), "marine")
    rows = {row.parameter: row for row in differences(here, Tank((26, 0), (8.3, 0), None, (34, 0), "marine"))}
    assert {name: row.within for name, row in rows.items()} == {"temperature": True, "salinity": True, "ph": True}
    assert rows["salinity"].difference == -1
    kits = differences(here, Tank((26, 0.5), (8.3, 0.1), None, None, "marine"))
    assert [row.within for row in kits] == [False, None, False]
    assert [row.parameter for row in differences(Tank((25, 0)), Tank((25, 0)))] == ["temperature", "ph"]


@pytest.mark.parametrize(
    ("bag", "tank", "vessel", "says"),
    [
        (BAG._replace(litres=0), TANK, None, "water in the bag 0 L is outside"),
        (BAG._replace(celsius=(46, 0.5)), TANK, None, "temperature of the bag 46 °C"),
        (BAG._replace(ph=(12, 0.2)), TANK, None, "pH of the bag 12"),
        (BAG._replace(tan_mg_per_l=(-1, 0.2)), TANK, None, "total ammonia of the bag -1 mg/L"),
        (BAG._replace(packed_ph=3), TANK, None, "pH at packing 3"),
        (BAG._replace(closed_hours=-1), TANK, None, "time the bag was closed -1 h"),
        (BAG, TANK._replace(celsius=(-1, 0.5)), None, "temperature of the tank -1 °C"),
        (BAG, TANK._replace(salinity_g_per_l=(70, 1)), None, "salinity of the tank 70 g/L"),
        (BAG, TANK, 2, r"vessel 2 L is outside what can be computed \(2\.2 to"),
    ],
)
def test_readings_that_cannot_be_are_refused(bag: Bag, tank: Tank, vessel: float | None, says: str) -> None:
    """A reading outside its range is refused by name, figure and range, and so is a vessel that is too small."""
    with pytest.raises(Refused, match=says):
        acclimation(bag, tank, vessel)


def test_days_and_floats_outside_their_range() -> None:
    """A day's limit of zero, thousands of days and an impossible difference are refused."""
    with pytest.raises(Refused, match="most in a day 0"):
        daily_targets(20, 25, 0)
    with pytest.raises(Refused, match="number of days 5000"):
        daily_targets(20, 25, 0.001)
    with pytest.raises(Refused, match="difference of temperature 50 °C"):
        float_minutes(50)
