"""Volumes against published and exact figures: boxes and upright cylinders, walls, displacement, uncertainty."""

from __future__ import annotations

import math

import pytest

from quarantine.water.volume import box_litres, cylinder_litres, net_volume, shape_from_text

FT = 30.48  # cm, NIST SP 811, 2008, appendix B
FT3 = 28.316846592  # L, NIST Handbook 44, appendix C
US_GALLON = 3.785411784  # L, NIST Handbook 44, appendix C


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


def test_walls_come_off_twice() -> None:
    """60 x 30 cm outside with 6 mm glass, water 35.4 cm, is 58.8 x 28.8 x 35.4 cm = 59.948 L (computed, exact)."""
    table = shape_from_text("box", length="60 cm", width="30 cm", filled="35.4 cm", walls="6 mm")
    assert net_volume(table).litres == pytest.approx(59.948, abs=0.0005)


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
