"""Two waters mixed, a water change judged with the higher pH of the two (rule C16), drips and warmth."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quarantine.failures import Refused
from quarantine.water.ammonia import un_ionized_fraction
from quarantine.water.mixing import (
    STEPS_INSTEAD,
    Side,
    cooling_hours,
    heating_hours,
    heating_kj,
    hot_share,
    hours_to_overflow,
    inflow_litres_per_hour,
    judge_change,
    least_hours,
    litres_to_add,
    mixed,
    ph_between,
    share_to_reach,
)

volumes = st.floats(min_value=0.1, max_value=5000)
figures = st.floats(min_value=0, max_value=40)
phs = st.floats(min_value=5, max_value=9.5)
warmth = st.floats(min_value=10, max_value=30)
shares = st.floats(min_value=0.05, max_value=0.95)
sides = st.builds(
    Side,
    st.tuples(phs, st.sampled_from([0.0, 0.2])),
    st.tuples(warmth, st.sampled_from([0.0, 0.5])),
    st.tuples(st.floats(min_value=0, max_value=8), st.sampled_from([0.0, 0.25])),
)


@given(figures, volumes, figures, volumes)
def test_a_mix_lies_between(first: float, first_litres: float, second: float, second_litres: float) -> None:
    """A mix lies between its parts, whichever is named first, and nothing of it is lost."""
    found = mixed(first, first_litres, second, second_litres)
    assert min(first, second) - 1e-9 <= found <= max(first, second) + 1e-9
    assert found == pytest.approx(mixed(second, second_litres, first, first_litres))
    held = first * first_litres + second * second_litres
    assert found * (first_litres + second_litres) == pytest.approx(held, abs=1e-9)


@given(sides, sides, shares, st.floats(min_value=0, max_value=1))
def test_a_change_is_judged_with_the_higher_ph_of_the_two(tank: Side, new: Side, share: float, between: float) -> None:
    """C16: at any pH and temperature between the two waters the ammonia after the change lies inside what is said."""
    found = judge_change(tank, new, share)
    tan = mixed(tank.tan_mg_per_l[0], 1 - share, new.tan_mg_per_l[0], share)
    ph = tank.ph[0] + between * (new.ph[0] - tank.ph[0])
    celsius = tank.celsius[0] + between * (new.celsius[0] - tank.celsius[0])
    truth = tan * un_ionized_fraction(ph, celsius)
    assert found.uia_mg_per_l[0] <= truth * (1 + 1e-9) + 1e-15
    assert truth <= found.uia_mg_per_l[1] * (1 + 1e-9) + 1e-15
    assert found.ph_most == pytest.approx(max(s.ph[0] + s.ph[1] / 2 for s in (tank, new)))
    assert found.within == (found.uia_mg_per_l[1] <= 0.05)
    assert found.instead == (() if found.within else STEPS_INSTEAD)


@given(sides, sides, shares)
def test_a_higher_ph_is_never_judged_better(tank: Side, new: Side, share: float) -> None:
    """C16: new water of a higher pH never makes the judgement milder."""
    higher = new._replace(ph=(new.ph[0] + 0.3, new.ph[1]))
    mild, hard = judge_change(tank, new, share), judge_change(tank, higher, share)
    assert hard.uia_mg_per_l[1] >= mild.uia_mg_per_l[1] * (1 - 1e-12)


def test_fresh_tap_water_can_be_worse_than_none() -> None:
    """C16: 2 mg/L at pH 6.5 is harmless; a half change with tap water of pH 8.2 is not, and small steps are said."""
    tank = Side((6.5, 0), (25, 0), (2, 0))
    before = 2 * un_ionized_fraction(6.5, 25)
    found = judge_change(tank, Side((8.2, 0), (25, 0), (0, 0)), 0.5)
    assert before < 0.01
    assert found.tan_mg_per_l == (1, 1)
    assert found.uia_mg_per_l[1] == pytest.approx(un_ionized_fraction(8.2, 25))
    assert not found.within
    assert found.instead[0] == "change in small steps, with time between them"
    assert "8.2" in found.says
    assert "the limit is 0.05 mg/L" in found.says
    soft = judge_change(tank, Side((6.6, 0), (25, 0), (0, 0)), 0.5)
    assert soft.within
    assert soft.instead == ()


def test_a_change_in_salt_water_keeps_the_fresh_water_value_as_its_most() -> None:
    """C16 in marine water: the most is the fresh-water value, the least that of salt water."""
    tank = Side((8.0, 0), (25, 0), (0.5, 0))
    found = judge_change(tank, Side((8.0, 0), (25, 0), (0, 0)), 0.2, "marine", 35)
    assert found.uia_mg_per_l == pytest.approx((0.4 * un_ionized_fraction(8, 25, 35), 0.4 * un_ionized_fraction(8, 25)))


@given(
    st.floats(min_value=1, max_value=100),
    st.floats(min_value=0.05, max_value=0.9),
    st.floats(min_value=0, max_value=0.9),
)
def test_a_share_reaches_what_was_wanted(now: float, part: float, incoming_part: float) -> None:
    """Changing the proposed share leaves exactly the level that was wanted."""
    wanted = now * part
    incoming = wanted * incoming_part
    share = share_to_reach(now, wanted, incoming)
    assert 0 < share < 1
    assert mixed(now, 1 - share, incoming, share) == pytest.approx(wanted)


def test_a_level_that_no_change_reaches() -> None:
    """New water that holds more than is wanted is refused; what is reached already needs nothing."""
    assert share_to_reach(10, 20, 5) == 0
    with pytest.raises(Refused, match="the water that goes in holds 25 already"):
        share_to_reach(40, 20, 25)
    assert share_to_reach(40, 20, 20) == 1


@given(st.floats(min_value=0.5, max_value=20), shares, volumes, st.floats(min_value=0.1, max_value=100))
def test_drips_leave_what_was_wanted(difference: float, part: float, litres: float, inflow: float) -> None:
    """Both drips leave the difference that was wanted, and overflowing takes less water than growing."""
    wanted = difference * part
    added = litres_to_add(-difference, wanted, litres)
    assert difference * litres / (litres + added) == pytest.approx(wanted)
    hours = hours_to_overflow(difference, wanted, litres, inflow)
    assert difference * math.exp(-inflow * hours / litres) == pytest.approx(wanted)
    assert inflow * hours < added


def test_what_is_near_enough_needs_no_drip() -> None:
    """Where the difference is as wanted already nothing is added and no time passes."""
    assert litres_to_add(0.5, 1, 10) == 0
    assert hours_to_overflow(-0.5, 1, 10, 1) == 0
    assert least_hours(0, 1) == 0


@given(volumes, st.floats(min_value=0.1, max_value=20), st.floats(min_value=5, max_value=2000))
def test_warmth_scales(litres: float, rise: float, watts: float) -> None:
    """Twice the water or half the heater takes twice the time."""
    hours = heating_hours(litres, rise, watts)
    assert heating_hours(2 * litres, rise, watts) == pytest.approx(2 * hours)
    assert heating_hours(litres, rise, watts / 2) == pytest.approx(2 * hours)
    assert heating_kj(litres, rise) == pytest.approx(hours * watts * 3.6)


@given(st.floats(min_value=5, max_value=25), *[st.floats(min_value=0.5, max_value=10)] * 2)
def test_a_tank_cools_the_slower_the_nearer_the_room(room: float, first: float, second: float) -> None:
    """Cooling follows its constant: after those hours the lead is 37 %, and a lower temperature takes longer."""
    lead = first + second
    assert cooling_hours(room + lead, room + lead / math.e, room, 7) == pytest.approx(7)
    top, middle = room + lead, room + first
    assert cooling_hours(top, middle, room, 7) >= 0
    assert cooling_hours(top, room + first / 2, room, 7) > cooling_hours(top, middle, room, 7)


def test_figures_outside_their_range() -> None:
    """What cannot be is refused by name, figure and range, in every one of these."""
    sound = Side((7, 0), (25, 0), (1, 0))
    with pytest.raises(Refused, match="volume of the two waters 0 L"):
        mixed(1, 0, 2, 0)
    with pytest.raises(Refused, match="volume -1 L"):
        mixed(1, -1, 2, 5)
    with pytest.raises(Refused, match="pH 12"):
        ph_between(7, 12)
    with pytest.raises(Refused, match="temperature wanted 50 °C is outside what can be computed"):
        hot_share(45, 15, 50)
    with pytest.raises(Refused, match="hot water 10 °C"):
        hot_share(10, 15, 12)
    with pytest.raises(Refused, match=r"share of the water 1\.2"):
        judge_change(sound, sound, 1.2)
    with pytest.raises(Refused, match="pH 12"):
        judge_change(sound, sound._replace(ph=(12, 0)), 0.5)
    with pytest.raises(Refused, match="limit of un-ionized ammonia 0 mg/L"):
        judge_change(sound, sound, 0.5, limit_mg_per_l=0)
    with pytest.raises(Refused, match="difference wanted 0"):
        litres_to_add(5, 0, 1)
    with pytest.raises(Refused, match="inflow 0 L/h"):
        hours_to_overflow(5, 1, 1, 0)
    with pytest.raises(Refused, match="drops 0 in a mL"):
        inflow_litres_per_hour(2, 0)
    with pytest.raises(Refused, match="drops -1 a second"):
        inflow_litres_per_hour(-1, 20)
    with pytest.raises(Refused, match="allowed rate 0"):
        least_hours(4, 0)
    with pytest.raises(Refused, match="heater 0 W"):
        heating_hours(75, 4, 0)
    with pytest.raises(Refused, match="rise -1 °C"):
        heating_kj(75, -1)
    with pytest.raises(Refused, match="temperature wanted 18 °C"):
        cooling_hours(26, 18, 18, 10)
    with pytest.raises(Refused, match="temperature now 20 °C"):
        cooling_hours(20, 22, 18, 10)
