"""Salinity, conductivity and density against UNESCO's check values, TEOS-10, and worked-out tables."""

from __future__ import annotations

from decimal import Decimal

import gsw
import pytest

from quarantine.quantity import read, to
from quarantine.water.salt import (
    conductivity_ms_per_cm,
    density_kg_per_m3,
    g_per_kg,
    g_per_l,
    practical_salinity_of_conductivity,
    practical_salinity_of_ratio,
    practical_salinity_of_specific_gravity,
    salt_for_new_water_grams,
    salt_to_add_grams,
    specific_gravity,
)


def pressure_factor(ratio: float, celsius_1968: float, decibar: float) -> float:
    """Rp of the Practical Salinity Scale 1978, UNESCO paper 44, 1983: for deep water, so only used here."""
    t, p = celsius_1968, decibar
    top = p * (2.070e-5 + p * (-6.370e-10 + p * 3.989e-15))
    return 1 + top / (1 + 3.426e-2 * t + 4.464e-4 * t**2 + (4.215e-1 - 3.107e-3 * t) * ratio)


@pytest.mark.parametrize(
    ("ratio", "celsius_1968", "decibar", "salinity"),
    [
        (1, 15, 0, 35.000000),
        (1.2, 20, 2000, 37.245628),
        (0.65, 5, 1500, 27.995347),
        (1.888091, 40, 10000, 40.000000),
    ],
)
def test_unesco_check_values_of_the_scale(ratio: float, celsius_1968: float, decibar: float, salinity: float) -> None:
    """UNESCO Technical Papers in Marine Science 44, 1983, page 9; one copy in circulation misprints 29.995347.

    Tolerance 0.000005: the last digit of the printed ratio is worth more than that.
    """
    at_surface = ratio / pressure_factor(ratio, celsius_1968, decibar)
    assert practical_salinity_of_ratio(at_surface, celsius_1968) == pytest.approx(salinity, abs=5e-6)


def test_teos_10_check_value_of_conductivity() -> None:
    """TEOS-10, page of gsw_SP_from_C (year not stated): 34.5487 mS/cm, 28.7856 °C, 10 dbar is 20.009869599086951."""
    warm = 1.00024 * 28.7856
    at_surface = 34.5487 / pressure_factor(34.5487 / 42.914, warm, 10)
    assert practical_salinity_of_conductivity(at_surface, 28.7856) == pytest.approx(20.009869599086951, abs=1e-10)


# Library gsw 3.6.23, mS/cm at 15, 20 and 25 °C.
METER = {
    3: (4.4639, 5.0030, 5.5591),
    5: (7.2009, 8.0667, 8.9599),
    10: (13.7030, 15.3381, 17.0243),
    15: (19.9009, 22.2614, 24.6952),
    20: (25.8873, 28.9420, 32.0910),
    30: (37.3762, 41.7479, 46.2532),
    35: (42.9175, 47.9180, 53.0710),
}


@pytest.mark.parametrize(
    ("salinity", "celsius", "ms_per_cm"),
    [(s, t, c) for s, row in METER.items() for t, c in zip((15, 20, 25), row, strict=True)],
)
def test_what_a_meter_shows(salinity: float, celsius: float, ms_per_cm: float) -> None:
    """The scale of 1978 turned round agrees with the library gsw 3.6.23 within its last printed digit."""
    assert conductivity_ms_per_cm(salinity, celsius) == pytest.approx(ms_per_cm, abs=0.0001)
    assert practical_salinity_of_conductivity(ms_per_cm, celsius) == pytest.approx(salinity, abs=0.0002)


@pytest.mark.parametrize("celsius", [5.0, 12.5, 20.0, 26.5, 34.0])
@pytest.mark.parametrize("ms_per_cm", [8.0, 20.0, 33.0, 38.0])
def test_the_scale_beside_the_library_itself(ms_per_cm: float, celsius: float) -> None:
    """gsw.SP_from_C at the surface, whatever the temperature: the same polynomial, so 12 digits alike."""
    library = gsw.SP_from_C(ms_per_cm, celsius, 0)
    assert practical_salinity_of_conductivity(ms_per_cm, celsius) == pytest.approx(library, abs=1e-11)


def test_the_old_temperature_scale_counts() -> None:
    """Leaving out the factor 1.00024 between IPTS-68 and ITS-90 is worth up to 0.0067 (computed)."""
    ratio = conductivity_ms_per_cm(40, 35) / 42.914
    assert 0.005 < practical_salinity_of_ratio(ratio, 35) - 40 < 0.0075


def test_unesco_check_values_of_density() -> None:
    """UNESCO paper 44, 1983, one atmosphere: sigma(0, 0 °C) = -0.1574 and sigma(40, 0 °C) = 32.147101."""
    assert density_kg_per_m3(0, 0) - 1000 == pytest.approx(-0.1574, abs=0.00005)
    assert density_kg_per_m3(40, 0) - 1000 == pytest.approx(32.147101, abs=5e-7)


@pytest.mark.parametrize(
    ("celsius", "kg_per_m3"), [(4, 999.975), (15, 999.103), (20, 998.207), (25, 997.048), (30, 995.650)]
)
def test_density_of_pure_water(celsius: float, kg_per_m3: float) -> None:
    """Library gsw 3.6.23 (TEOS-10): EOS-80 agrees within 0.0088 kg/m3, the measured difference of the two."""
    assert density_kg_per_m3(0, celsius) == pytest.approx(kg_per_m3, abs=0.0088)


# Library gsw 3.6.23: salinity; density at 20 and 25 °C; specific gravity 20/20, 25/25, 15.56/15.56, 25/4.
GRAVITY = {
    5: (1002.010, 1000.810, 1.00381, 1.00377, 1.00385, 1.00084),
    10: (1005.794, 1004.555, 1.00760, 1.00753, 1.00768, 1.00458),
    15: (1009.577, 1008.300, 1.01139, 1.01129, 1.01151, 1.00833),
    20: (1013.364, 1012.050, 1.01518, 1.01505, 1.01534, 1.01208),
    30: (1020.958, 1019.571, 1.02279, 1.02259, 1.02301, 1.01960),
    35: (1024.766, 1023.344, 1.02661, 1.02637, 1.02686, 1.02337),
}
SCALES = ((20, 20), (25, 25), (15.56, 15.56), (25, 4))


@pytest.mark.parametrize(("salinity", "row"), GRAVITY.items())
def test_density_and_specific_gravity(salinity: float, row: tuple[float, ...]) -> None:
    """Sea water beside the library gsw 3.6.23: density within 0.0088 kg/m3, gravity within 0.00001."""
    assert density_kg_per_m3(salinity, 20) == pytest.approx(row[0], abs=0.0088)
    assert density_kg_per_m3(salinity, 25) == pytest.approx(row[1], abs=0.0088)
    for (celsius, reference), printed in zip(SCALES, row[2:], strict=True):
        assert specific_gravity(salinity, celsius, reference) == pytest.approx(printed, abs=1e-5)


@pytest.mark.parametrize(
    ("gravity", "reference", "salinity"),
    [
        (1.025, 25, 33.19),
        (1.025, 15.56, 35.86),
        (1.025, 4, 37.16),
        (1.020, 25, 26.57),
        (1.020, 15.56, 29.24),
        (1.020, 4, 30.54),
        (1.009, 25, 11.96),
        (1.009, 15.56, 14.61),
    ],
)
def test_a_hydrometer_needs_its_reference(gravity: float, reference: float, salinity: float) -> None:
    """The same 1.025 at 25 °C is 33.19, 35.86 or 37.16 by the reference printed on it (computed with gsw)."""
    assert practical_salinity_of_specific_gravity(gravity, 25, reference) == pytest.approx(salinity, abs=0.01)


def test_three_ways_to_say_salinity() -> None:
    """Practical salinity 35 at 25 °C is 35.165 g/kg and 35.986 g/L (TEOS-10, 2010; computed)."""
    assert g_per_kg(35) == pytest.approx(35.165, abs=0.0005)
    assert g_per_l(35, 25) == pytest.approx(35.986, abs=0.0005)


def test_up_to_five_the_ways_are_close() -> None:
    """For baths up to 5 the gap between practical salinity and g/L is under 0.6 % (computed)."""
    assert 0 < g_per_l(5, 25) / 5 - 1 < 0.006


@pytest.mark.parametrize(
    ("volume", "rise", "grams", "tolerance"),
    [("100 L", "3", "300", "0"), ("20 USgal", "3", "227.1247", "0.0001"), ("10 USgal", "1", "37.854", "0.001")],
)
def test_salt_for_a_rise(volume: str, rise: str, grams: str, tolerance: str) -> None:
    """Salt that raises a volume by so many g/L (exact arithmetic, NIST Handbook 44 gallons)."""
    litres = to(read(volume, "volume"), "L")
    found = salt_to_add_grams(Decimal(rise), Decimal(0), litres, Decimal(100))
    assert abs(found - Decimal(grams)) <= Decimal(tolerance)


@pytest.mark.parametrize(("salinity", "grams"), [(3, 3.000), (5, 5.010), (10, 10.071), (35, 36.162)])
def test_salt_for_a_litre_of_new_water(salinity: float, grams: float) -> None:
    """1 L of fresh water at 25 °C to 3, 5, 10 and 35 g/kg by mass (computed)."""
    assert float(salt_for_new_water_grams(salinity, 1, 25)) == pytest.approx(grams, abs=0.001)


@pytest.mark.parametrize(
    ("grams", "before", "after", "litres"),
    [("100", "0.20", "1.52", "75.758"), ("300", "0.20", "4.16", "75.758")],
)
def test_salt_of_a_tracer_turned_round(grams: str, before: str, after: str, litres: str) -> None:
    """A tracer's salt over its rise is the volume (computed): the salt for that rise in that volume comes back."""
    found = salt_to_add_grams(Decimal(after), Decimal(before), Decimal(litres), Decimal(100))
    assert abs(found - Decimal(grams)) <= Decimal("0.002")
