"""Oxygen at saturation against printed tables, an independent library of ocean science, and worked-out figures."""

from __future__ import annotations

import gsw
import pytest

from quarantine.water.oxygen import percent_of_saturation, pressure_atm, saturation_mg_per_l

# B. B. Benson and D. Krause, Limnology and Oceanography 29:620-632, 1984, as in APHA, Standard Methods, 1985: worked
# out (computed) at practical salinity 0, 5, 10, 20, 30, 35 and 1 atm, mg/L.
SALINITIES = (0, 5, 10, 20, 30, 35)
COMPUTED = {
    0: (14.621, 14.118, 13.633, 12.712, 11.853, 11.446),
    10: (11.288, 10.933, 10.589, 9.933, 9.317, 9.024),
    15: (10.084, 9.779, 9.484, 8.919, 8.389, 8.135),
    20: (9.092, 8.828, 8.572, 8.080, 7.617, 7.396),
    25: (8.263, 8.032, 7.807, 7.375, 6.967, 6.772),
    26: (8.114, 7.888, 7.668, 7.247, 6.849, 6.659),
    28: (7.828, 7.613, 7.404, 7.003, 6.624, 6.442),
    30: (7.559, 7.354, 7.155, 6.772, 6.410, 6.237),
}
# The same from the library gsw 3.6.23 (TEOS-10), at practical salinity 0 and 35.
LIBRARY = {
    0: (14.621, 11.445),
    10: (11.287, 9.024),
    15: (10.083, 8.135),
    20: (9.091, 7.395),
    25: (8.262, 6.771),
    26: (8.112, 6.657),
    28: (7.827, 6.440),
    30: (7.558, 6.235),
}
# EN 25814 = ISO 5814, reprinted in the manual of a probe (year not stated): fresh water, mg/L.
WARM_16_TO_30 = "9.87 9.66 9.47 9.28 9.09 8.91 8.74 8.58 8.42 8.26 8.11 7.97 7.83 7.69 7.56"
COLD_0_TO_15 = "14.6 14.2 13.8 13.5 13.1 12.8 12.5 12.2 11.8 11.6 11.3 11.0 10.8 10.5 10.3 10.1"


@pytest.mark.parametrize(
    ("celsius", "salinity", "mg_per_l"),
    [(t, s, c) for t, row in COMPUTED.items() for s, c in zip(SALINITIES, row, strict=True)],
)
def test_saturation_computed(celsius: float, salinity: float, mg_per_l: float) -> None:
    """Benson and Krause 1984, worked out to three decimals (computed): equal within half the last digit."""
    assert saturation_mg_per_l(celsius, salinity) == pytest.approx(mg_per_l, abs=0.00051)


@pytest.mark.parametrize(
    ("celsius", "salinity", "mg_per_l"),
    [(t, s, c) for t, row in LIBRARY.items() for s, c in zip((0, 35), row, strict=True)],
)
def test_saturation_of_an_ocean_library(celsius: float, salinity: float, mg_per_l: float) -> None:
    """TEOS-10, library gsw 3.6.23: within 0.003 mg/L, the measured difference of two fits to one data set."""
    assert saturation_mg_per_l(celsius, salinity) == pytest.approx(mg_per_l, abs=0.003)


@pytest.mark.parametrize("celsius", range(0, 41, 4))
@pytest.mark.parametrize("salinity", range(0, 41, 10))
def test_saturation_beside_the_library_itself(celsius: int, salinity: int) -> None:
    """gsw.O2sol_SP_pt (Garcia and Gordon, Limnology and Oceanography 37:1307-1312, 1992) over the whole range."""
    micromol_per_kg = gsw.O2sol_SP_pt(salinity, celsius)
    kg_per_m3 = gsw.rho_t_exact(salinity * 35.16504 / 35, celsius, 0)
    assert saturation_mg_per_l(celsius, salinity) == pytest.approx(
        micromol_per_kg * 31.9988 * kg_per_m3 / 1e6, abs=0.003
    )


@pytest.mark.parametrize(("celsius", "printed"), list(enumerate(map(float, WARM_16_TO_30.split()), 16)))
def test_fresh_water_table_of_the_standard(celsius: int, printed: float) -> None:
    """EN 25814 = ISO 5814 (reprint), 16 to 30 °C: half the last digit, and a hair for 21 °C, where it is 8.915."""
    assert saturation_mg_per_l(celsius) == pytest.approx(printed, abs=0.0055)


@pytest.mark.parametrize(("celsius", "printed"), list(enumerate(map(float, COLD_0_TO_15.split()))))
def test_fresh_water_table_of_the_standard_in_the_cold(celsius: int, printed: float) -> None:
    """EN 25814 = ISO 5814 (reprint), 0 to 15 °C: half the last digit, and 0.061 at 6 and 7 °C (measured)."""
    tolerance = 0.062 if celsius in (6, 7) else 0.05
    assert saturation_mg_per_l(celsius) == pytest.approx(printed, abs=tolerance)


def test_the_linear_salinity_factor_is_not_used() -> None:
    """The drop per g/kg at 20 °C is .0521 from 0 to 10 and .0485 from 0 to 35 (computed); ISO 5814 says .0475."""
    fresh = saturation_mg_per_l(20)
    assert (fresh - saturation_mg_per_l(20, 10)) / 10 == pytest.approx(0.0521, abs=0.00011)
    assert (fresh - saturation_mg_per_l(20, 35)) / 35 == pytest.approx(0.0485, abs=0.00006)


@pytest.mark.parametrize(("mmhg", "printed"), [(775, 9.3), (625, 7.5)])
def test_pressure_table_of_an_instrument(mmhg: float, printed: float) -> None:
    """A manual's table at 20 °C (year not stated) uses older constants: its two ends agree within 0.15 mg/L."""
    altitude = next(h for h in range(-500, 5000) if 760 * pressure_atm(h) <= mmhg)
    assert saturation_mg_per_l(20, 0, altitude) == pytest.approx(printed, abs=0.15)


@pytest.mark.parametrize(
    ("altitude", "atm", "mmhg", "at_20", "at_25"),
    [
        (0, 1.00000, 760.0, 9.092, 8.263),
        (500, 0.94213, 716.0, 8.554, 7.770),
        (1000, 0.88699, 674.1, 8.041, 7.300),
        (1500, 0.83450, 634.2, 7.553, 6.852),
        (2000, 0.78456, 596.3, 7.088, 6.427),
        (3000, 0.69192, 525.9, 6.226, 5.637),
    ],
)
def test_altitude_computed(altitude: float, atm: float, mmhg: float, at_20: float, at_25: float) -> None:
    """Standard atmosphere and the pressure terms of Benson and Krause (both from memory), worked out (computed)."""
    assert pressure_atm(altitude) == pytest.approx(atm, abs=1e-5)
    assert 760 * pressure_atm(altitude) == pytest.approx(mmhg, abs=0.051)
    assert saturation_mg_per_l(20, 0, altitude) == pytest.approx(at_20, abs=0.00051)
    assert saturation_mg_per_l(25, 0, altitude) == pytest.approx(at_25, abs=0.00051)


@pytest.mark.parametrize(("altitude", "mmhg"), [(0, 760), (500, 714), (1000, 671), (1500, 631), (2000, 594)])
def test_altitude_of_another_source(altitude: float, mmhg: float) -> None:
    """Dussart and Francis-Boeuf, 1949 (reprinted with the Montgomery table): within 3.2 mmHg, as measured."""
    assert 760 * pressure_atm(altitude) == pytest.approx(mmhg, abs=3.25)


def test_a_reading_as_percent() -> None:
    """7.0 mg/L at 26 °C in fresh water is 86.27 % (computed)."""
    assert percent_of_saturation(7.0, 26) == pytest.approx(86.27, abs=0.005)


@pytest.mark.parametrize(
    ("salinity", "celsius", "micromol_per_kg"),
    [
        (34.7118, 28.8099, 194.6825431692940),
        (34.8915, 28.4392, 195.6135062814438),
        (35.0256, 22.7862, 214.6559360234013),
        (34.8472, 10.2262, 273.5652832698713),
        (34.7366, 6.8272, 295.1580761415903),
        (34.7324, 4.3236, 312.9598716631408),
    ],
)
def test_the_oracle_against_its_own_page(salinity: float, celsius: float, micromol_per_kg: float) -> None:
    """TEOS-10, page of gsw_O2sol_SP_pt (year not stated): the library agrees, and so do we, within 0.05 %."""
    assert gsw.O2sol_SP_pt(salinity, celsius) == pytest.approx(micromol_per_kg, abs=1e-10)
    mg_per_l = micromol_per_kg * 31.9988 * gsw.rho_t_exact(salinity * 35.16504 / 35, celsius, 0) / 1e6
    assert saturation_mg_per_l(celsius, salinity) == pytest.approx(mg_per_l, rel=0.0005)
