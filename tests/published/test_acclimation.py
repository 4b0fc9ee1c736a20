"""Mixing, warming, dripping and the opened bag against worked-out figures; an independent solver where one helps."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from scipy.integrate import solve_ivp

from quarantine.quantity import read, to
from quarantine.water.acclimation import CELSIUS_PER_STEP, UP_RELEASED, Bag, Tank, float_minutes, opened_bag
from quarantine.water.mixing import (
    KG_PER_LITRE,
    cooling_hours,
    heating_hours,
    heating_kj,
    hot_share,
    hours_to_overflow,
    inflow_litres_per_hour,
    least_hours,
    litres_to_add,
    mixed,
    ph_between,
    share_to_reach,
)
from quarantine.water.salt import density_kg_per_m3, g_per_l, specific_gravity


def test_two_waters_mixed() -> None:
    """2 L of 20 °C and 3 L of 26 °C are 23.6 °C; 2 L at 35 and 2 L at 30 g/L are 32.5 (algebra)."""
    assert mixed(20, 2, 26, 3) == pytest.approx(23.6, abs=1e-9)
    assert mixed(35, 2, 30, 2) == 32.5


def test_ph_is_not_averaged() -> None:
    """6.5 and 8.0 in equal parts: 6.788 by hydrogen ions, 7.25 by figures (computed); only "between" is said."""
    by_ions = -math.log10((10**-6.5 + 10**-8.0) / 2)
    assert by_ions == pytest.approx(6.788, abs=0.0005)
    low, high = ph_between(8.0, 6.5)
    assert (low, high) == (6.5, 8.0)
    assert low < by_ions < high


def test_hot_and_cold_tap() -> None:
    """45 °C and 15 °C to 26 °C takes 36.667 % of hot (computed)."""
    assert 100 * hot_share(45, 15, 26) == pytest.approx(36.667, abs=0.0005)


def test_dripping_into_a_growing_volume() -> None:
    """1 L, a difference of 5 down to 1: add 4 L, 3.333 h at 1.2 L/h; to leave 10 % add nine volumes (algebra)."""
    assert litres_to_add(5, 1, 1) == 4
    assert litres_to_add(5, 1, 1) / 1.2 == pytest.approx(3.333, abs=0.0005)
    assert litres_to_add(1, 0.1, 2) == pytest.approx(18, abs=1e-12)


def test_dripping_into_an_overflowing_volume() -> None:
    """The same at a constant volume takes 1.3412 h (computed)."""
    assert hours_to_overflow(5, 1, 1, 1.2) == pytest.approx(1.3412, abs=0.00005)


def test_dripping_beside_a_solver() -> None:
    """scipy 1.17, solve_ivp, integrates both drips: the difference is what the formulas say, within 0.000001."""
    hours = hours_to_overflow(5, 1, 1, 1.2)
    constant = solve_ivp(lambda _, d: -1.2 * d, (0, hours), [5.0], rtol=1e-10, atol=1e-12).y[0, -1]
    assert constant == pytest.approx(1, abs=1e-6)
    growing = solve_ivp(lambda t, d: -1.2 * d / (1 + 1.2 * t), (0, 4 / 1.2), [5.0], rtol=1e-10, atol=1e-12).y[0, -1]
    assert growing == pytest.approx(1, abs=1e-6)


def test_drops_need_their_own_count() -> None:
    """2 drops a second at 20 in a mL is 0.36 L/h (nominal, exact arithmetic)."""
    assert inflow_litres_per_hour(2, 20) == pytest.approx(0.36, abs=1e-12)


def test_the_least_time_at_a_rate() -> None:
    """4 °C at 1 °C an hour takes 4 h (exact)."""
    assert least_hours(-4, 1) == 4


def test_warming_a_tank() -> None:
    """75 L by 4 °C: 1250.5 kJ = 347.4 Wh, 2.316 h at 150 W (computed with 4.181 kJ/(kg K) where we use 4.18)."""
    other_heat = 4.181 / 4.18
    assert heating_kj(75, 4) * other_heat == pytest.approx(1250.5, abs=0.05)
    assert heating_kj(75, 4) * other_heat / 3.6 == pytest.approx(347.4, abs=0.05)
    assert heating_hours(75, 4, 150) * other_heat == pytest.approx(2.316, abs=0.0005)


def test_a_kilogram_of_water() -> None:
    """A litre of fresh water at 25 °C has 0.997 kg (EOS-80, UNESCO paper 44, 1983)."""
    assert density_kg_per_m3(0, 25) / 1000 == pytest.approx(KG_PER_LITRE, abs=0.0005)


def test_cooling_without_a_heater() -> None:
    """26 to 22 °C in a room of 18 °C with a time constant of 10 h takes 6.931 h (computed)."""
    assert cooling_hours(26, 22, 18, 10) == pytest.approx(6.931, abs=0.0005)


def test_one_change_to_a_level() -> None:
    """40 down to 20 with 5 in the tap water takes 0.571429 of the water (computed)."""
    assert share_to_reach(40, 20, 5) == pytest.approx(0.571429, abs=5e-7)


@pytest.mark.parametrize(("ph", "uia", "tolerance"), [(6.3, 0.011, 0.0005), (7.5, 0.18, 0.005), (8.2, 0.82, 0.005)])
def test_an_opened_bag(ph: float, uia: float, tolerance: float) -> None:
    """Total ammonia 10 mg/L at 25 °C: .011, .18 and .82 mg/L un-ionized at pH 6.3, 7.5, 8.2 (computed, Emerson 1975);
    in a bag the pH fell from 8.2 to 6.4 or less (marine hatchery white paper, 2014, not peer reviewed)."""
    bag = Bag(2, (25, 0), (6.3, 0), (10, 0), packed_ph=ph)
    found = opened_bag(bag, Tank((25, 0)))
    assert found is not None
    assert found.closed_mg_per_l[1] == pytest.approx(0.011, abs=0.0005)
    assert found.opened_most_mg_per_l == pytest.approx(uia, abs=tolerance)


def test_floating_time() -> None:
    """About 30 min for 4 to 5 °C of difference: Aquaculture Research 34:923-935, 2003 (a translated copy); 15 to 20 min
    in a veterinary e-course (year not stated)."""
    assert float_minutes(4) == float_minutes(-5) == 30
    assert 15 <= float_minutes(1) <= 20


def test_one_thousandth_of_gravity() -> None:
    """0.001 of specific gravity, within which fish are released (common practice, no source), is at least 1.3 g/L."""
    for salinity in (0, 10, 20, 30):
        gravity = specific_gravity(salinity + 5, 25, 25) - specific_gravity(salinity, 25, 25)
        grams = g_per_l(salinity + 5, 25) - g_per_l(salinity, 25)
        assert UP_RELEASED <= 0.001 * grams / gravity < UP_RELEASED + 0.1


def test_the_step_of_temperature_is_under_one_fahrenheit() -> None:
    """Under 1 °F a minute while mixing (fish farm page, not peer reviewed): 0.55 °C is 0.99 °F."""
    assert to(read(f"{CELSIUS_PER_STEP} °C", "temperature"), "°F", difference=True) == Decimal("0.99")
