"""Volumes against published and exact figures: shapes, walls, displacement, uncertainty, and measuring the water.

"Computed" is a figure worked out outside this program (numerical quadrature, or an uncertainty library) and kept in
the project's reference notes; each is integrated again here, slice by slice, without the program's formulas.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from scipy.integrate import quad

from quarantine.water.measuring import (
    Calibration,
    from_buckets,
    from_fill,
    from_salt,
    rise_needed,
    traced,
    traced_by_calibration,
)
from quarantine.water.volume import (
    Measure,
    bow_front_litres,
    bow_radius_cm,
    box_litres,
    cut_corner_litres,
    cylinder_litres,
    half_moon_litres,
    hexagon_litres,
    label_overdose_percent,
    lying_cylinder_litres,
    net_volume,
    pond_mean_cm,
    quarter_round_litres,
    segment_cm2,
    shape_from_text,
    sloping_ellipse_litres,
    spherical_bowl_litres,
    tapered_tub_litres,
    truncated_cone_litres,
)

FT = 30.48  # cm, NIST SP 811, 2008, appendix B
FT3 = 28.316846592  # L, NIST Handbook 44, appendix C
US_GALLON = 3.785411784  # L, NIST Handbook 44, appendix C


def sliced(section: Callable[[float], float], low: float, high: float, slices: int = 20000) -> float:
    """The integral of a cross section by the midpoints of many slices."""
    step = (high - low) / slices
    return step * math.fsum(section(low + (i + 0.5) * step) for i in range(slices))


def test_a_box_of_60_by_30_filled_32() -> None:
    """60 x 30 cm filled 32 cm is 57.6 L (exact)."""
    assert box_litres(60, 30, 32) == pytest.approx(57.6, abs=1e-9)


def test_a_box_of_108_cubic_feet() -> None:
    """12 x 3 x 3 ft is 108 ft3: extension sheet, Use and Application of Salt in Aquaculture, undated reprint."""
    assert box_litres(12 * FT, 3 * FT, 3 * FT) / FT3 == pytest.approx(108, abs=1e-9)


def test_a_round_tank_of_12_feet() -> None:
    """12 ft across and 4.5 ft deep is 508.7 ft3 with pi = 3.14, and 508.938 exactly: the same extension sheet."""
    cubic_feet = cylinder_litres(12 * FT, 4.5 * FT) / FT3
    assert cubic_feet == pytest.approx(508.938, abs=0.0005)
    assert cubic_feet * 3.14 / math.pi == pytest.approx(508.7, abs=0.05)
    assert cylinder_litres(12 * FT, 4.5 * FT) / US_GALLON == pytest.approx(3807.12, abs=0.005)


def test_a_lying_cylinder_of_10_metres() -> None:
    """Radius 0.725 m, length 10 m, water 0.2 m below the top: 15.1379 m3 (HackMath, problem 3613, undated)."""
    assert lying_cylinder_litres(145, 1000, 125) / 1000 == pytest.approx(15.1379, abs=0.0005)


@pytest.mark.parametrize(
    ("depth", "filled"),
    [(5, 1.9), (10, 5.2), (20, 14.2), (25, 19.6), (30, 25.2), (40, 37.4), (50, 50), (75, 80.4), (90, 94.8)],
)
def test_how_full_a_lying_cylinder_is(depth: float, filled: float) -> None:
    """The share of the volume at a share of the diameter, both in % (HackMath, problem 3613, undated)."""
    share = 100 * lying_cylinder_litres(100, 100, depth) / lying_cylinder_litres(100, 100, 100)
    assert share == pytest.approx(filled, abs=0.05)


def test_a_lying_cylinder_agrees_with_slices_at_every_depth() -> None:
    """Depths 0 to the whole diameter: the same as integrating the width of the surface (computed)."""
    for depth in range(0, 101, 5):
        area = sliced(lambda h: 2 * math.sqrt(h * (100 - h)), 0, depth) if depth else 0.0
        assert lying_cylinder_litres(100, 1000, depth) == pytest.approx(area, abs=0.02)


def test_a_circular_segment() -> None:
    """Radius 10, height 5: area 61.4185, 19.55 % of the circle (a general geometry page, undated)."""
    chord = 2 * math.sqrt(2 * 10 * 5 - 5 * 5)
    assert bow_radius_cm(chord, 5) == pytest.approx(10, abs=1e-12)
    assert segment_cm2(chord, 5) == pytest.approx(61.4185, abs=0.00005)
    assert 100 * segment_cm2(chord, 5) / (math.pi * 100) == pytest.approx(19.55, abs=0.005)


@pytest.mark.parametrize(
    ("litres", "expected", "tolerance"),
    [
        (hexagon_litres(20 * math.sqrt(3), 40), 41.5692, 0.00005),  # side 20 cm
        (hexagon_litres(40, 50), 69.2820, 0.00005),
        (quarter_round_litres(60, 50), 141.3717, 0.00005),
        (half_moon_litres(80, 40, 45), 113.0973, 0.00005),
        (bow_front_litres(90, 35, 45, 50), 187.794, 0.0005),
        (cut_corner_litres(60, 60, 35, 35, 1000), 2987.5, 1e-9),  # 60 x 60 cm, corner cut 35: 2987.5 cm2
        (truncated_cone_litres(26, 30, 30, 30), 18.5040, 0.00005),  # bucket of radius 13 to 15 cm
        (truncated_cone_litres(26, 30, 36, 30), 18.0572, 0.00005),  # the same over 36 cm, filled 30 cm
        (tapered_tub_litres(50, 30, 60, 40, 30, 30), 58.000, 1e-9),
        (sloping_ellipse_litres(200, 120, 300, 200, 80, 80), 2555.16, 0.005),  # half axes 1.0 x 0.6 to 1.5 x 1.0 m
        (spherical_bowl_litres(30, 22), 11.6574, 0.00005),  # radius 15 cm
    ],
)
def test_computed_shapes(litres: float, expected: float, tolerance: float) -> None:
    """Litres of each shape to the last digit of the computed check value."""
    assert litres == pytest.approx(expected, abs=tolerance)


def test_the_bow_of_a_bow_front() -> None:
    """Width 90, side 35, centre 45 cm: R = 106.25 cm, bow 605.885 cm2; a parabola would be 0.97 % low (computed)."""
    assert bow_radius_cm(90, 10) == pytest.approx(106.25, abs=1e-12)
    assert segment_cm2(90, 10) == pytest.approx(605.885, abs=0.0005)
    assert 100 * (1 - (2 * 90 * 10 / 3) / segment_cm2(90, 10)) == pytest.approx(0.97, abs=0.005)


def test_short_cuts_differ_as_printed() -> None:
    """The mean diameter of a bucket gives 18.4726 L, and vertical walls of the sloping pond 3769.9 L (computed)."""
    assert cylinder_litres(28, 30) == pytest.approx(18.4726, abs=0.00005)
    assert sloping_ellipse_litres(300, 200, 300, 200, 80, 80) == pytest.approx(3769.9, abs=0.05)


@pytest.mark.parametrize(
    ("litres", "section", "high"),
    [
        (lambda h: hexagon_litres(40, h), lambda h: 6 * (40 / math.sqrt(3)) * 20 / 2, 50),
        (lambda h: quarter_round_litres(60, h), lambda h: sliced(lambda x: math.sqrt(3600 - x * x), 0, 60, 2000), 50),
        (
            lambda h: half_moon_litres(80, 25, h),
            lambda h: sliced(lambda x: math.sqrt(44.5**2 - x * x) - 19.5, -40, 40, 2000),
            45,
        ),
        (lambda h: truncated_cone_litres(26, 30, 36, h), lambda h: math.pi * (13 + 2 * h / 36) ** 2, 30),
        (lambda h: tapered_tub_litres(50, 30, 60, 40, 30, h), lambda h: (50 + h / 3) * (30 + h / 3), 17),
        (
            lambda h: sloping_ellipse_litres(200, 120, 300, 200, 80, h),
            lambda h: math.pi * (100 + 50 * h / 80) * (60 + 40 * h / 80),
            61,
        ),
        (lambda h: spherical_bowl_litres(30, h), lambda h: math.pi * (2 * 15 * h - h * h), 22),
    ],
)
def test_shapes_agree_with_slices_of_their_cross_section(
    litres: Callable[[float], float], section: Callable[[float], float], high: float
) -> None:
    """At a partial fill too, the litres are the cross sections added up from the floor to the water line (computed)."""
    assert litres(high) == pytest.approx(sliced(section, 0, high, 400) / 1000, rel=3e-5)


def test_soundings_of_a_pond_count_the_banks() -> None:
    """Two lines of soundings in ft: sum 76, n 23, mean 3.3 ft with the banks' zeros; 4.0 if they were dropped.

    Texas Cooperative Extension, slides on measuring a pond, undated.
    """
    lines = ((0, 2, 3, 6, 6, 8, 7, 5, 3, 1, 0), (0, 1, 1, 1, 3, 4, 8, 6, 6, 4, 1, 0))
    soundings = tuple(float(depth) for line in lines for depth in line)
    assert (sum(soundings), len(soundings)) == (76, 23)
    assert pond_mean_cm(soundings, 8) == pytest.approx(3.304, abs=0.0005)
    assert pond_mean_cm(soundings, 8) == pytest.approx(3.3, abs=0.05)
    wet = tuple(depth for depth in soundings if depth)
    assert pond_mean_cm(wet, 8) == pytest.approx(4.0, abs=0.05)
    text = "; ".join(" ".join(str(depth) for depth in line) for line in lines)
    table = shape_from_text("pond", area="1000 ft2", soundings=f"{text} ft")
    assert net_volume(table).litres / FT3 == pytest.approx(3304, abs=0.5)


def test_walls_come_off_twice() -> None:
    """60 x 30 x 36 cm outside, 6 mm glass, water 35.4 cm: 58.8 x 28.8 x 35.4 cm = 59.948 L, ratio 0.9251 (exact)."""
    table = shape_from_text("box", length="60 cm", width="30 cm", filled="35.4 cm", walls="6 mm")
    assert net_volume(table).litres == pytest.approx(59.948, abs=0.0005)
    assert net_volume(table).litres / box_litres(60, 30, 36) == pytest.approx(0.9251, abs=0.00005)


@pytest.mark.parametrize(
    ("options", "displaced"),
    [
        ({"substrate": "10 kg"}, 3.7736),  # quartz 2.65 g/mL, from memory
        ({"rocks": "8 kg"}, 2.9630),  # limestone, granite 2.70 g/mL, from memory
        # Mean of 0.279 and 0.424, the porosities of AAPG Bulletin 57:349, 1973 (abstract): 9 L x (1 - 0.3515).
        ({"substrate": "5 cm"}, 5.8365),
    ],
)
def test_displacement(options: dict[str, str], displaced: float) -> None:
    """Sand and rock take the room that density or porosity gives them, within the last printed digit."""
    table = shape_from_text("box", length="60 cm", width="30 cm", filled="32 cm", **options)
    assert 57.6 - net_volume(table).litres == pytest.approx(displaced, abs=0.00005)


def test_the_porosities_of_sand_are_within_the_uncertainty() -> None:
    """A bed of 9 L holds back 9 x (1 - 0.424) to 9 x (1 - 0.279) L (AAPG Bulletin 57:349, 1973); exact measures."""
    table = shape_from_text("box", length="60 cm ± 0", width="30 cm ± 0", filled="32 cm ± 0", substrate="5 cm ± 0")
    volume = net_volume(table)
    assert volume.litres + volume.plus_minus_litres == pytest.approx(57.6 - 9 * (1 - 0.424), abs=1e-9)
    assert volume.litres - volume.plus_minus_litres == pytest.approx(57.6 - 9 * (1 - 0.279), abs=1e-9)


def test_the_uncertainty_of_a_tape() -> None:
    """58.8 ± 0.1, 28.8 ± 0.1, 32.0 ± 0.3 cm give 54.2 ± 0.55 L (computed with a general uncertainty library)."""
    table = shape_from_text("box", length="58.8 cm ± 0.1 cm", width="28.8 ± 0.1 cm", filled="32.0 cm ± 0.3 cm")
    volume = net_volume(table)
    assert volume.litres == pytest.approx(54.2, abs=0.05)
    assert volume.plus_minus_litres == pytest.approx(0.55, abs=0.005)


# --- Measuring the water ---------------------------------------------------------------------------------


def test_counted_containers() -> None:
    """14 containers of 3.5 US gallons are 185.485 L (computed; factor of NIST Handbook 44, appendix C)."""
    assert from_buckets("14 x 3.5 USgal").litres == pytest.approx(185.485, abs=0.0005)


def test_a_timed_fill() -> None:
    """7.5 ± 0.1 L in 42 ± 0.5 s, filled in 336 ± 1 s: 60.0 ± 1.1 L (computed with a general uncertainty library)."""
    volume = from_fill("7.5 L ± 0.1 L in 42 s ± 0.5 s for 336 s ± 1 s")
    assert volume.litres == pytest.approx(60.0, abs=0.05)
    assert volume.plus_minus_litres == pytest.approx(1.1, abs=0.05)


@pytest.mark.parametrize(
    ("grams", "after", "reads_to", "plus_minus", "tolerance"),
    [(100, 1.52, 0.02, 1.625, 0.0005), (300, 4.16, 0.02, 0.542, 0.0005), (100, 1.52, 0.10, 8.12, 0.005)],
)
def test_a_salt_tracer(grams: float, after: float, reads_to: float, plus_minus: float, tolerance: float) -> None:
    """Grams ± 0.1 g from 0.20 g/L: 75.758 L with its plus-minus (computed with a general uncertainty library).

    General practice: ICIMOD and University of Bern, Measuring mountain stream discharge using the salt dilution
    method, 2006.
    """
    volume = traced(Measure(grams, 0.1), Measure(0.20, reads_to), Measure(after, reads_to))
    assert volume.litres == pytest.approx(75.758, abs=0.0005)
    assert volume.plus_minus_litres == pytest.approx(plus_minus, abs=tolerance)


def test_the_rise_for_five_percent_is_28_times_what_the_meter_reads_to() -> None:
    """sqrt(2) / 0.05 = 28 (computed), and with just that rise the readings are worth 5 %."""
    assert rise_needed(1.0) == pytest.approx(28, abs=0.5)
    rise = rise_needed(0.02)
    volume = traced(Measure(100, 0), Measure(0.2, 0.02), Measure(0.2 + rise, 0.02))
    assert volume.plus_minus_litres / volume.litres == pytest.approx(0.05, abs=1e-9)


def test_an_error_of_the_scale_cancels_with_a_calibration() -> None:
    """V = (m_tank / m_ref) V_ref (dR_ref / dR_tank): a meter that reads 10 % high gives the same litres (algebra)."""
    true = traced_by_calibration(
        Measure(100, 0.1), Measure(1000, 1), Calibration(Measure(1.32, 0), Measure(1, 0), Measure(1000, 1))
    )
    assert true.litres == pytest.approx(75.758, abs=0.0005)
    high = traced_by_calibration(
        Measure(100, 0.1), Measure(1100, 1), Calibration(Measure(1.32, 0), Measure(1, 0), Measure(1100, 1))
    )
    assert high.litres == pytest.approx(true.litres, abs=1e-9)


def test_conductivity_of_weak_salt_water() -> None:
    """1 uS/cm is about 0.53 mg/L of salt below 1000 uS/cm at 20 °C (water-chemistry unit table, undated)."""
    volume = from_salt("53 g", "100 uS/cm ± 1 uS/cm", "600 uS/cm", None)
    assert volume.litres == pytest.approx(53 / (500 * 0.53 / 1000), abs=1e-9)
    assert volume.litres == pytest.approx(200, abs=0.5)


# --- An independent integrator, and labels ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("litres", "section", "high"),
    [
        (lambda h: lying_cylinder_litres(100, 1000, h), lambda h: 1000 * 2 * math.sqrt(h * (100 - h)), 37),
        (lambda h: lying_cylinder_litres(100, 1000, h), lambda h: 1000 * 2 * math.sqrt(h * (100 - h)), 81),
        (lambda h: bow_front_litres(90, 35, 45, h), lambda h: 90 * 35 + BOW_CM2, 50),
        (lambda h: half_moon_litres(80, 40, h), lambda h: 2 * quad(lambda x: math.sqrt(1600 - x * x), 0, 40)[0], 45),
        (lambda h: truncated_cone_litres(26, 30, 36, h), lambda h: math.pi * (13 + 2 * h / 36) ** 2, 30),
        (lambda h: tapered_tub_litres(50, 30, 60, 40, 30, h), lambda h: (50 + h / 3) * (30 + h / 3), 30),
        (
            lambda h: sloping_ellipse_litres(200, 120, 300, 200, 80, h),
            lambda h: math.pi * (100 + 50 * h / 80) * (60 + 40 * h / 80),
            80,
        ),
        (lambda h: spherical_bowl_litres(30, h), lambda h: math.pi * (2 * 15 * h - h * h), 22),
    ],
)
def test_shapes_beside_an_integrator(
    litres: Callable[[float], float], section: Callable[[float], float], high: float
) -> None:
    """scipy 1.17, integrate.quad, over the cross section of each curved or sloping shape: nine digits alike."""
    assert litres(high) == pytest.approx(quad(section, 0, high)[0] / 1000, rel=1e-9)


# The bow beyond the chord of 90 cm, rise 10 cm, R = 106.25 cm: integrated, not by the program's formula.
BOW_CM2 = quad(lambda x: math.sqrt(106.25**2 - x * x) - 96.25, -45, 45)[0]

# Outside inches and glass of US label sizes (both from memory, glass assumed), filled to 1 in below the rim: outside
# gallons, gallons inside, litres inside, share of the label (computed). To warn by, never to dose by.
LABELS = [
    (5.5, (16, 8, 10), 0.125, 5.54, 4.69, 17.8, 0.85),
    (10, (20, 10, 12), 0.125, 10.39, 9.07, 34.3, 0.91),
    (20, (24, 12, 16), 0.25, 19.95, 17.26, 65.3, 0.86),
    (20, (30, 12, 12), 0.25, 18.70, 15.79, 59.8, 0.79),
    (29, (30, 12, 18), 0.25, 28.05, 24.60, 93.1, 0.85),
    (40, (36, 18, 16), 0.375, 44.88, 38.50, 145.7, 0.96),
    (55, (48, 13, 21), 0.375, 56.73, 49.17, 186.1, 0.89),
    (75, (48, 18, 21), 0.375, 78.55, 69.25, 262.1, 0.92),
    (125, (72, 18, 21), 0.5, 117.82, 101.89, 385.7, 0.82),
]


@pytest.mark.parametrize(("label", "inches", "glass", "outside", "inside", "litres", "share"), LABELS)
def test_a_label_is_more_than_the_water(
    label: float,
    inches: tuple[float, float, float],
    glass: float,
    outside: float,
    inside: float,
    litres: float,
    share: float,
) -> None:
    """Inside the glass and 1 in below the rim a tank holds 79 to 96 % of its label, before sand or rock (computed, from
    sizes that are from memory); within the last printed digit."""
    long, wide, high = inches
    assert box_litres(long * 2.54, wide * 2.54, high * 2.54) / US_GALLON == pytest.approx(outside, abs=0.0051)
    table = shape_from_text(
        "box", length=f"{long} in", width=f"{wide} in", filled=f"{high - 1 - glass} in", walls=f"{glass} in"
    )
    volume = net_volume(table)
    assert volume.litres / US_GALLON == pytest.approx(inside, abs=0.0051)
    assert volume.litres == pytest.approx(litres, abs=0.051)
    assert volume.litres / (label * US_GALLON) == pytest.approx(share, abs=0.0051)
    assert label_overdose_percent(label * US_GALLON, volume) == pytest.approx(100 / share - 100, abs=0.8)


def test_spheres_pack_between_two_porosities() -> None:
    """Equal spheres leave 47.64 % (cubic) to 25.95 % (closest) of a bed to the water (computed), and well and badly
    sorted sand 42.4 to 27.9 % (AAPG Bulletin 57:349, 1973, abstract, title not recorded): the bed that is taken lies
    inside both, and 40 % (60 x 30 x 5 cm: 5.40 L of grains) is within its plus-minus."""
    exact = {"length": "60 cm ± 0", "width": "30 cm ± 0", "filled": "32 cm ± 0"}
    bed = net_volume(shape_from_text("box", substrate="5 cm ± 0", **exact))
    grains = 57.6 - bed.litres
    assert 9 * math.pi / 6 < grains < 9 * math.pi / (3 * math.sqrt(2))
    assert abs(grains - 5.40) <= bed.plus_minus_litres
