"""Oxygen at saturation: how it moves with warmth, salt and height, and the ranges outside which it is refused."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quarantine.failures import Refused
from quarantine.water.oxygen import oxygen_mg_per_l, percent_of_saturation, pressure_atm, saturation_mg_per_l

temperatures = st.floats(min_value=0, max_value=39)
salinities = st.floats(min_value=0, max_value=39)
heights = st.floats(min_value=-500, max_value=4900)


@given(temperatures, salinities, heights)
def test_warm_salt_and_high_water_holds_less(celsius: float, salinity: float, altitude: float) -> None:
    """Saturation falls with temperature, with salinity and with altitude, over the whole range."""
    here = saturation_mg_per_l(celsius, salinity, altitude)
    assert saturation_mg_per_l(celsius + 0.5, salinity, altitude) < here
    assert saturation_mg_per_l(celsius, salinity + 0.5, altitude) < here
    assert saturation_mg_per_l(celsius, salinity, altitude + 50) < here
    assert 2 < here < 17


@given(st.floats(min_value=0, max_value=30), temperatures, salinities, heights)
def test_percent_and_back(reading: float, celsius: float, salinity: float, altitude: float) -> None:
    """A reading turned into percent of saturation and back is the reading."""
    percent = percent_of_saturation(reading, celsius, salinity, altitude)
    if percent <= 500:
        assert oxygen_mg_per_l(percent, celsius, salinity, altitude) == pytest.approx(reading, rel=1e-12, abs=1e-12)


@given(temperatures, salinities)
def test_the_sea_level_is_one_atmosphere(celsius: float, salinity: float) -> None:
    """At 0 m nothing is corrected, and full saturation is 100 %."""
    assert pressure_atm(0) == 1
    full = saturation_mg_per_l(celsius, salinity)
    assert percent_of_saturation(full, celsius, salinity) == pytest.approx(100, rel=1e-12)


def test_altitude_is_more_than_the_bare_pressure() -> None:
    """At 1,000 m and 25 °C the bare pressure share would say 7.329, 0.4 % over the true 7.300 (computed)."""
    bare = saturation_mg_per_l(25) * pressure_atm(1000)
    assert bare == pytest.approx(7.329, abs=0.001)  # 7.3296: the figure was cut, not rounded
    assert bare / saturation_mg_per_l(25, 0, 1000) - 1 == pytest.approx(0.004, abs=0.0005)


@pytest.mark.parametrize(
    ("celsius", "salinity", "altitude", "says"),
    [
        (-0.1, 0, 0, "temperature -0.1 °C is outside what can be computed"),
        (40.1, 0, 0, "temperature 40.1 °C"),
        (float("nan"), 0, 0, "temperature that was given"),
        (25, -1, 0, "salinity -1 is outside"),
        (25, 41, 0, "0 to 40"),
        (25, 0, 6000, "altitude 6000 m"),
    ],
)
def test_outside_the_range_of_the_formula(celsius: float, salinity: float, altitude: float, says: str) -> None:
    """A temperature, salinity or altitude outside the range is refused by name, figure and range."""
    with pytest.raises(Refused, match=says):
        saturation_mg_per_l(celsius, salinity, altitude)


def test_readings_that_cannot_be() -> None:
    """Oxygen below zero or over 40 mg/L, and a percent over 500, are slips."""
    with pytest.raises(Refused, match="oxygen -1 mg/L"):
        percent_of_saturation(-1, 25)
    with pytest.raises(Refused, match="oxygen 41 mg/L"):
        percent_of_saturation(41, 25)
    with pytest.raises(Refused, match="oxygen 501 % of saturation"):
        oxygen_mg_per_l(501, 25)
