"""Un-ionized ammonia as a range over the kits' steps, and the ranges in which it can be computed."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quarantine.failures import Refused
from quarantine.water.ammonia import un_ionized_fraction, un_ionized_mg_per_l

temperatures = st.floats(min_value=6, max_value=29)
phs = st.floats(min_value=5, max_value=10)


@settings(deadline=None)
@given(phs, temperatures, st.floats(min_value=0, max_value=39))
def test_warmer_and_higher_ph_is_worse(ph: float, celsius: float, salinity: float) -> None:
    """The share rises with pH and temperature, in fresh and in salt water, and stays between 0 and 1."""
    here = un_ionized_fraction(ph, celsius, salinity)
    assert 0 < here < 1
    assert un_ionized_fraction(ph + 0.1, celsius, salinity) > here
    assert un_ionized_fraction(ph, celsius + 0.5, salinity) > here


@settings(deadline=None)
@given(phs, temperatures)
def test_no_step_where_fresh_meets_salt(ph: float, celsius: float) -> None:
    """Between 0 and 5 g/kg the two formulas are blended: no jump at either end."""
    assert un_ionized_fraction(ph, celsius, 1e-9) == pytest.approx(un_ionized_fraction(ph, celsius), rel=1e-6)
    assert un_ionized_fraction(ph, celsius, 5 - 1e-9) == pytest.approx(un_ionized_fraction(ph, celsius, 5), rel=1e-6)


def test_the_gap_between_the_formulas_at_5_g_per_kg() -> None:
    """At pH 8, 25 °C and 5 g/kg the salt-water value is .0511, 4.8 % under the .0537 of fresh water (computed)."""
    assert un_ionized_fraction(8, 25, 5) == pytest.approx(0.0511, abs=0.00005)
    assert un_ionized_fraction(8, 25, 5) / un_ionized_fraction(8, 25) - 1 == pytest.approx(-0.048, abs=0.0005)


@settings(deadline=None)
@given(
    st.floats(min_value=0.1, max_value=8),
    phs,
    temperatures,
    st.sampled_from(["fresh", "brackish", "marine"]),
    st.tuples(*[st.floats(min_value=-0.5, max_value=0.5)] * 3),
    st.floats(min_value=0, max_value=1),
)
def test_the_range_holds_every_truth_the_kits_allow(
    tan: float, ph: float, celsius: float, water: str, off: tuple[float, float, float], salt: float
) -> None:
    """Whatever the true values inside half a step of each kit, and the salinity of that water: it lies in the range."""
    low, high = un_ionized_mg_per_l((tan, 0.2), (ph, 0.2), (celsius, 1.0), water)
    least, most = {"fresh": (0.0, 0.0), "brackish": (5.0, 30.0), "marine": (30.0, 40.0)}[water]
    truth = un_ionized_fraction(ph + 0.2 * off[0], celsius + off[1], least + salt * (most - least))
    assert low * (1 - 1e-12) <= (tan + 0.2 * off[2]) * truth <= high * (1 + 1e-12)


def test_the_fresh_water_value_is_the_upper_bound_in_salt_water() -> None:
    """In marine water the most is the fresh-water value; the least is that at the known salinity, else at 40 g/kg."""
    exact = ((1.0, 0.0), (8.2, 0.0), (25.0, 0.0))
    assert un_ionized_mg_per_l(*exact, "marine")[1] == un_ionized_fraction(8.2, 25)
    assert un_ionized_mg_per_l(*exact, "marine")[0] == un_ionized_fraction(8.2, 25, 40)
    assert un_ionized_mg_per_l(*exact, "marine", 35)[0] == un_ionized_fraction(8.2, 25, 35)
    assert un_ionized_mg_per_l(*exact, salinity_g_per_kg=0.0) == un_ionized_mg_per_l(*exact)


def test_a_reading_of_nothing_may_be_half_a_step() -> None:
    """A kit that reads 0 in steps of 0.5 mg/L leaves room for 0.25 mg/L in total."""
    low, high = un_ionized_mg_per_l((0, 0.5), (8.0, 0), (25, 0), "fresh")
    assert (low, high) == (0.0, pytest.approx(0.25 * 0.053662, rel=1e-4))


def test_salt_water_over_30_degrees_keeps_both_bounds() -> None:
    """Above the range of the salt-water formula its top is still a lower bound, and the fresh-water value an upper."""
    low, high = un_ionized_mg_per_l((1, 0), (8, 0), (33, 0), "marine")
    assert low == un_ionized_fraction(8, 30, 40)
    assert high == un_ionized_fraction(8, 33)


@pytest.mark.parametrize(
    ("ph", "celsius", "salinity", "says"),
    [
        (3.9, 25, 0, "pH 3.9 is outside 4 to 11"),
        (11.5, 25, 0, "pH 11.5 is outside"),
        (8, -0.5, 0, "temperature -0.5 °C is outside 0 to 50 °C"),
        (8, 50.5, 0, "temperature 50.5 °C is outside"),
        (8, 31, 35, "temperature in salt water 31 °C is outside 5 to 30 °C"),
        (8, 25, 41, "salinity 41 g/kg is outside 0 to 40 g/kg"),
        (8, 25, -1, "salinity -1 g/kg is outside"),
        (float("nan"), 25, 0, "outside 4 to 11"),
        (1e-7, 25, 0, "pH 0.0000001 is outside"),
    ],
)
def test_outside_its_range_nothing_is_computed(ph: float, celsius: float, salinity: float, says: str) -> None:
    """A reading outside the range of the formula is refused by name, figure and range."""
    with pytest.raises(Refused, match=says):
        un_ionized_fraction(ph, celsius, salinity)


@pytest.mark.parametrize(
    ("tan", "ph", "celsius", "water", "says"),
    [
        (-1, 8, 25, "fresh", "total ammonia -1 mg/L"),
        (1, 12, 25, "fresh", "pH 12"),
        (1, 8, 60, "fresh", "temperature 60 °C"),
        (1, 8, 4, "marine", "outside 5 to 50 °C"),
        (1, 8, 25, "sea", "no water 'sea'; write one of fresh, brackish, marine"),
    ],
)
def test_readings_outside_their_range_are_refused(tan: float, ph: float, celsius: float, water: str, says: str) -> None:
    """The range over the kits refuses the readings that the formula refuses."""
    with pytest.raises(Refused, match=says):
        un_ionized_mg_per_l((tan, 0.1), (ph, 0.1), (celsius, 0.1), water)


def test_the_ends_of_the_range_can_be_read() -> None:
    """A reading at the end of its range is taken, though half a step would lie outside."""
    low, high = un_ionized_mg_per_l((1, 0.1), (11, 0.2), (50, 1), "fresh")
    assert 0 < low < high
