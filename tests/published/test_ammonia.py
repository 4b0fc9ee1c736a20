"""Un-ionized ammonia against printed tables."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from quarantine.water.ammonia import un_ionized_fraction, un_ionized_mg_per_l

# University of Florida IFAS, Ammonia in Aquatic Systems, FA-16 (EDIS FA031), multiplication factors, in its reprint as
# table 1.4 of Fundamentals of Aquatic Veterinary Medicine. Left out: pH 7.4 at 20 °C (printed .0096, true .0098)
# and the column of 32 °C, both wrong as printed, and the two cells of pH 8.6 that were not retrieved.
COLUMNS = (6, 8, 10, 12, 14, 16, 18, 20, 22, 24, 26, 28, 30)
FA16 = {
    7.0: ".0013 .0016 .0018 .0022 .0025 .0029 .0034 .0039 .0046 .0052 .0060 .0069 .0080",
    7.2: ".0021 .0025 .0029 .0034 .0040 .0046 .0054 .0062 .0072 .0083 .0096 .0110 .0126",
    7.4: ".0034 .0040 .0046 .0054 .0063 .0073 .0085 - .0114 .0131 .0150 .0173 .0198",
    7.6: ".0053 .0063 .0073 .0086 .0100 .0116 .0134 .0155 .0179 .0206 .0236 .0271 .0310",
    7.8: ".0084 .0099 .0116 .0135 .0157 .0182 .0211 .0244 .0281 .0322 .0370 .0423 .0482",
    8.0: ".0133 .0156 .0182 .0212 .0247 .0286 .0330 .0381 .0438 .0502 .0574 .0654 .0743",
    8.2: ".0210 .0245 .0286 .0332 .0385 .0445 .0514 .0590 .0676 .0772 .0880 .0998 .1129",
    8.4: ".0328 .0383 .0445 .0517 .0597 .0688 .0790 .0904 .1031 .1171 .1326 .1495 .1678",
    8.6: ".0510 .0593 .0688 .0795 .0914 .1048 .1197 .1361 .1541 .1737 .1950 .2178 -",
}
CELLS = [
    (ph, celsius, float(cell))
    for ph, row in FA16.items()
    for celsius, cell in zip(COLUMNS, row.split(), strict=True)
    if cell != "-"
]


def test_the_table_is_whole() -> None:
    """Nine rows of thirteen columns less the misprint and one cell that was not retrieved."""
    assert len(CELLS) == 115


@pytest.mark.parametrize(("ph", "celsius", "printed"), CELLS)
def test_fresh_water_table(ph: float, celsius: float, printed: float) -> None:
    """Every cell of FA-16 that is printed right agrees within one unit of its last digit."""
    assert un_ionized_fraction(ph, celsius) == pytest.approx(printed, abs=1e-4)


def test_fresh_water_misprints_are_not_copied() -> None:
    """pH 7.4 at 20 °C is .0098, and pH 8.0 at 32 °C .0842, not the printed .0096 and .0877 (computed)."""
    assert un_ionized_fraction(7.4, 20) == pytest.approx(0.0098, abs=5e-5)
    assert un_ionized_fraction(8.0, 32) == pytest.approx(0.0842, abs=5e-5)


def test_worked_example_of_fa16() -> None:
    """Total ammonia 1.0 mg/L at 24 °C and pH 8.0 gives 0.0502 mg/L: FA-16, figure 3, as reprinted."""
    low, high = un_ionized_mg_per_l((1.0, 0.0), (8.0, 0.0), (24.0, 0.0), "fresh")
    assert low == high == pytest.approx(0.0502, abs=5e-5)


@pytest.mark.parametrize(
    ("ph", "celsius", "fraction"),
    [
        (7.0, 25, 0.005639),
        (7.5, 25, 0.017616),
        (8.0, 25, 0.053662),
        (8.5, 25, 0.152052),
        (9.0, 25, 0.361859),
        (8.0, 15, 0.026557),
        (8.0, 20, 0.038071),
        (8.0, 30, 0.074319),
        (6.5, 20, 0.001250),
        (8.2, 26, 0.087953),
    ],
)
def test_fresh_water_computed(ph: float, celsius: float, fraction: float) -> None:
    """Emerson and others, J. Fish. Res. Board Can. 32:2379-2383, 1975, worked out to six decimals (computed)."""
    assert un_ionized_fraction(ph, celsius) == pytest.approx(fraction, abs=1e-6)


@pytest.mark.parametrize(
    ("ph", "mmol_per_l"),
    [(8.5, 0.00238), (8.6, 0.00294), (8.7, 0.00360), (8.8, 0.00440), (8.9, 0.00534), (9.0, 0.00643)],
)
def test_an_independent_water_chemistry_program(ph: float, mmol_per_l: float) -> None:
    """0.03 mmol/L total ammonia at 15 °C: aqion, page 109, undated; tolerance 0.000015 mmol/L."""
    assert 0.03 * un_ionized_fraction(ph, 15) == pytest.approx(mmol_per_l, abs=1.5e-5)


def test_worked_example_after_trussell() -> None:
    """20 °C, pH 8.5, total 1.0 mg/L gives 0.1118 within 3 %, as two constants differ.

    Trussell, J. Fish. Res. Board Can. 29:1505-1507, 1972, as reprinted in the manual of a test kit.
    """
    assert un_ionized_fraction(8.5, 20) == pytest.approx(0.1118, rel=0.03)


@pytest.mark.parametrize(
    ("ph", "celsius", "total", "tolerance"),
    [(8.0, 25, 0.9318, 5e-5), (7.0, 25, 8.868, 5e-4), (8.4, 28, 0.3345, 5e-5)],
)
def test_total_that_holds_one_twentieth(ph: float, celsius: float, total: float, tolerance: float) -> None:
    """The total ammonia that holds 0.05 mg/L un-ionized (computed), within its last digit."""
    assert 0.05 / un_ionized_fraction(ph, celsius) == pytest.approx(total, abs=tolerance)


# Bower and Bidwell, J. Fish. Res. Board Can. 35:1012-1016, 1978: percent at 34 g/kg and 10, 15, 20, 25 °C (reprint).
SALT = {
    7.5: (0.459, 0.665, 0.963, 1.39),
    7.6: (0.577, 0.836, 1.21, 1.75),
    7.7: (0.726, 1.05, 1.52, 2.19),
    7.8: (0.912, 1.32, 1.90, 2.74),
    7.9: (1.15, 1.66, 2.39, 3.43),
    8.0: (1.44, 2.07, 2.98, 4.28),
    8.1: (1.80, 2.60, 3.73, 5.32),
    8.2: (2.26, 3.25, 4.65, 6.61),
    8.3: (2.83, 4.06, 5.78, 8.18),
    8.4: (3.54, 5.05, 7.17, 10.10),
    8.5: (4.41, 6.28, 8.87, 12.40),
}


@pytest.mark.parametrize(
    ("ph", "celsius", "percent"),
    [(ph, t, cell) for ph, row in SALT.items() for t, cell in zip((10, 15, 20, 25), row, strict=True)],
)
def test_salt_water_table(ph: float, celsius: float, percent: float) -> None:
    """The salt-water value agrees with the older table within 2 %: two independent constants, measured 1.9 %."""
    assert 100 * un_ionized_fraction(ph, celsius, 34) == pytest.approx(percent, rel=0.02)


@pytest.mark.parametrize(
    ("ph", "celsius", "salinity", "bell", "emerson"),
    [
        (8.2, 25, 35, 0.06457, 0.08246),
        (8.0, 25, 34, 0.04202, 0.05366),
        (8.3, 26, 35, 0.08547, 0.10826),
        (8.1, 25, 20, 0.05747, 0.06663),
        (8.2, 20, 30, 0.04738, 0.05902),
    ],
)
def test_salt_water_computed(ph: float, celsius: float, salinity: float, bell: float, emerson: float) -> None:
    """Bell and others, Environ. Chem. 4:183-186, 2007, corrigendum 5:258, 2008, beside Emerson 1975 (computed)."""
    assert un_ionized_fraction(ph, celsius, salinity) == pytest.approx(bell, abs=1e-5)
    assert un_ionized_fraction(ph, celsius) == pytest.approx(emerson, abs=1e-5)


@pytest.mark.parametrize(
    ("ph", "right", "printed"),
    [
        (7.0, 0.0091, 0.0093),
        (7.2, 0.0144, 0.0150),
        (7.4, 0.0226, 0.0236),
        (7.6, 0.0353, 0.0369),
        (7.8, 0.0549, 0.0572),
        (8.0, 0.0842, 0.0877),
        (8.2, 0.1272, 0.1322),
        (8.4, 0.1877, 0.1948),
    ],
)
def test_the_column_of_32_degrees_is_not_copied(ph: float, right: float, printed: float) -> None:
    """FA-16 prints a column for 32 °C that belongs to 32.3 to 32.7 °C (computed): ours is the right one, 2 to 5 % under
    it, and one half degree warmer brackets what is printed. At pH 7.8 it is .05485, just between two last digits."""
    assert un_ionized_fraction(ph, 32) == pytest.approx(right, abs=5.2e-5)
    assert 0.02 < printed / un_ionized_fraction(ph, 32) - 1 < 0.05
    assert un_ionized_fraction(ph, 32.3) < printed + 5e-5
    assert un_ionized_fraction(ph, 32.7) > printed - 5e-5


@pytest.mark.parametrize(("celsius", "pka"), [(25, 9.24638), (20, 9.40255)])
def test_the_constant_of_fresh_water(celsius: float, pka: float) -> None:
    """Emerson and others 1975: 0.09018 + 2729.92 / T worked out to five decimals (computed; one copy misprints
    2727.92)."""
    share = un_ionized_fraction(8.0, celsius)
    assert 8.0 + math.log10(1 / share - 1) == pytest.approx(pka, abs=5e-6)


def test_what_a_step_of_the_kit_is_worth() -> None:
    """At pH 8.0 and 25 °C: pH +0.1 is 1.242 times, -0.1 is 0.803 times, +1 °C is 1.069 times (computed); so a pH kit
    that reads to 0.2 is shown as that range."""
    here = un_ionized_fraction(8.0, 25)
    assert un_ionized_fraction(8.1, 25) / here == pytest.approx(1.242, abs=0.0005)
    assert un_ionized_fraction(7.9, 25) / here == pytest.approx(0.803, abs=0.0005)
    assert un_ionized_fraction(8.0, 26) / here == pytest.approx(1.069, abs=0.0005)
    low, high = un_ionized_mg_per_l((1.0, 0.0), (8.0, 0.2), (25.0, 0.0), "fresh")
    assert low / here == pytest.approx(0.803, abs=0.0005)
    assert high / here == pytest.approx(1.242, abs=0.0005)


def test_the_two_constants_meet_at_no_salt() -> None:
    """A switch from Emerson to Bell at 5 g/kg would be a step of -4.8 % at pH 8.0 and 25 °C, .0511 against .0537
    (computed): between the two it is blended, so without a step."""
    assert un_ionized_fraction(8.0, 25, 5) == pytest.approx(0.0511, abs=5e-5)
    assert un_ionized_fraction(8.0, 25, 5) / un_ionized_fraction(8.0, 25) - 1 == pytest.approx(-0.048, abs=5e-4)
    shares = [un_ionized_fraction(8.0, 25, grams / 10) for grams in range(51)]
    steps = [1 - after / before for before, after in pairwise(shares)]
    assert 0 <= min(steps) <= max(steps) < 0.002
