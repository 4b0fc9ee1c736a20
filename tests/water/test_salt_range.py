"""Salinity: round trips between the ways to say it, salt to add (rule C15), and the ranges."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quarantine.failures import Refused
from quarantine.water.salt import (
    conductivity_ms_per_cm,
    density_kg_per_m3,
    g_per_kg,
    g_per_l,
    practical_salinity_of_conductivity,
    practical_salinity_of_g_per_l,
    practical_salinity_of_specific_gravity,
    salt_for_new_water_grams,
    salt_to_add_grams,
    specific_gravity,
)

salinities = st.floats(min_value=2.01, max_value=41.9)
temperatures = st.floats(min_value=0, max_value=35)
references = st.sampled_from([4.0, 15.56, 20.0, 25.0])
D = Decimal
HUNDRED = D(100)


@given(salinities, temperatures, references)
def test_there_and_back(salinity: float, celsius: float, reference: float) -> None:
    """Salinity as conductivity, as specific gravity and as g/L, each turned back, is the salinity."""
    meter = conductivity_ms_per_cm(salinity, celsius)
    assert practical_salinity_of_conductivity(meter, celsius) == pytest.approx(salinity, abs=1e-9)
    grams = g_per_l(salinity, celsius)
    assert practical_salinity_of_g_per_l(grams, celsius) == pytest.approx(salinity, abs=1e-9)


@given(salinities, temperatures, references)
def test_a_hydrometer_there_and_back(salinity: float, celsius: float, reference: float) -> None:
    """Salinity as specific gravity and back is the salinity, whatever the reference of the hydrometer."""
    gravity = specific_gravity(salinity, celsius, reference)
    assert practical_salinity_of_specific_gravity(gravity, celsius, reference) == pytest.approx(salinity, abs=1e-6)


@given(salinities, temperatures)
def test_more_salt_is_heavier_and_conducts_better(salinity: float, celsius: float) -> None:
    """Density, conductivity, g/kg and g/L rise with salinity; warmth makes the same water conduct better."""
    less = salinity - 0.005
    assert density_kg_per_m3(salinity, celsius) > density_kg_per_m3(less, celsius)
    assert conductivity_ms_per_cm(salinity, celsius) > conductivity_ms_per_cm(less, celsius)
    assert g_per_kg(salinity) > g_per_kg(less)
    assert g_per_l(salinity, celsius) > g_per_l(less, celsius)
    if celsius <= 34:
        assert conductivity_ms_per_cm(salinity, celsius + 1) > conductivity_ms_per_cm(salinity, celsius)


@given(
    st.decimals(min_value=0, max_value=60, places=2),
    st.decimals(min_value=0, max_value=60, places=2),
    st.decimals(min_value=1, max_value=5000, places=1),
    st.decimals(min_value=50, max_value=100, places=1),
)
def test_salt_to_add_meets_the_target_and_never_passes_it(
    target: Decimal, present: Decimal, litres: Decimal, purity: Decimal
) -> None:
    """C15: what is added, times its purity, over the litres, plus what is there, is the target and never more."""
    grams = salt_to_add_grams(target, present, litres, purity)
    reached = present + grams * purity / 100 / litres
    assert reached <= max(target, present) + D("1e-25")
    assert reached >= target - D("1e-20")
    assert (grams == 0) == (target <= present)


def test_impure_salt_takes_more() -> None:
    """C15: 3 g/L in 100 L over a present 0.5 g/L is 250 g of pure salt and 312.5 g at 80 %."""
    assert salt_to_add_grams(D(3), D("0.5"), HUNDRED, HUNDRED) == 250
    assert salt_to_add_grams(D(3), D("0.5"), HUNDRED, D(80)) == D("312.5")


def test_salt_into_water_of_unknown_salinity() -> None:
    """C15: present salinity unknown is refused, with what to read."""
    with pytest.raises(Refused, match=r"present salinity is not known.*quarantine reading TANK salinity"):
        salt_to_add_grams(D(3), None, HUNDRED, HUNDRED)


@given(st.floats(min_value=0.1, max_value=41), st.floats(min_value=1, max_value=1000))
def test_new_water_takes_more_than_litres_times_grams(salinity: float, litres: float) -> None:
    """Salt by mass: salt over salt and water together is the salinity, so it takes more than water times salinity."""
    grams = float(salt_for_new_water_grams(salinity, litres, 25))
    water = litres * density_kg_per_m3(0, 25)
    assert 1000 * grams / (grams + water) == pytest.approx(salinity, rel=1e-9)
    assert grams > water * salinity / 1000


@pytest.mark.parametrize(
    ("ms_per_cm", "celsius", "says"),
    [
        (1.9689, 25, "means a salinity outside 2 to 42"),  # practical salinity 1, by the library gsw 3.6.23
        (1.5788, 15, "use a salinity refractometer"),
        (80, 25, "outside 2 to 42"),
        (53, 36, "temperature 36 °C"),
        (-1, 25, "conductivity -1 mS/cm"),
    ],
)
def test_conductivity_outside_the_scale(ms_per_cm: float, celsius: float, says: str) -> None:
    """The scale of 1978 is not stretched: weak water, strong water and warm water are refused."""
    with pytest.raises(Refused, match=says):
        practical_salinity_of_conductivity(ms_per_cm, celsius)


def test_figures_outside_their_range() -> None:
    """Each way to say salinity refuses what it cannot mean, by name, figure and range."""
    with pytest.raises(Refused, match="salinity 1 on the practical scale is outside"):
        conductivity_ms_per_cm(1, 25)
    with pytest.raises(Refused, match="temperature 41 °C"):
        density_kg_per_m3(35, 41)
    with pytest.raises(Refused, match="salinity 43 on the practical scale"):
        g_per_kg(43)
    with pytest.raises(Refused, match=r"specific gravity 1\.25 is outside"):
        practical_salinity_of_specific_gravity(1.25, 25, 25)
    with pytest.raises(Refused, match="salinity 50 g/L is outside"):
        practical_salinity_of_g_per_l(50, 25)
    with pytest.raises(Refused, match="salinity 45 g/kg"):
        salt_for_new_water_grams(45, 10, 25)


@pytest.mark.parametrize(
    ("target", "present", "litres", "purity", "says"),
    [
        ("61", "0", "100", "100", "target salinity 61 g/L"),
        ("3", "-1", "100", "100", "present salinity -1 g/L"),
        ("3", "0", "0", "100", "volume 0 L is outside what can be computed .above 0"),
        ("3", "0", "100", "40", "purity 40 %"),
        ("3", "0", "100", "101", "purity 101 %"),
        ("NaN", "0", "100", "100", "target salinity that was given"),
    ],
)
def test_salt_to_add_outside_its_range(target: str, present: str, litres: str, purity: str, says: str) -> None:
    """A salinity, volume or purity that cannot be is refused."""
    with pytest.raises(Refused, match=says):
        salt_to_add_grams(D(target), D(present), D(litres), D(purity))
