"""Formalin: by volume and by mass (rule C17), the smaller of two readings, and refusals."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quarantine.failures import Refused
from quarantine.water.formalin import (
    formaldehyde_mg_per_l,
    mg_per_l_of_volume,
    of_source_ppm,
    oxygen_taken_mg_per_l,
    solution_ml,
    ul_per_l_of_mass,
)

D = Decimal
targets = st.decimals(min_value="0.1", max_value=250, places=2)


@given(targets)
def test_volume_and_mass_there_and_back(ul_per_l: Decimal) -> None:
    """uL/L as mg/L and back is the same, and never more."""
    back = ul_per_l_of_mass(mg_per_l_of_volume(ul_per_l))
    assert back <= ul_per_l
    assert float(back) == pytest.approx(float(ul_per_l), rel=1e-12)


@given(targets)
def test_a_bare_ppm_is_two_figures_and_the_smaller_is_used(ppm: Decimal) -> None:
    """C17: a source's ppm by mass is 8 % less solution than by volume, and the smaller is used."""
    both = of_source_ppm(ppm)
    assert both.by_volume_ul_per_l == ppm
    assert float(both.by_volume_ul_per_l / both.by_mass_ul_per_l) == pytest.approx(1.08, rel=1e-12)
    assert both.used_ul_per_l == both.by_mass_ul_per_l < ppm


@given(targets, st.decimals(min_value=1, max_value=2000, places=1))
def test_doubling_the_water_doubles_the_solution(ul_per_l: Decimal, litres: Decimal) -> None:
    """Millilitres grow with the litres, exactly."""
    assert solution_ml(ul_per_l, 2 * litres) == 2 * solution_ml(ul_per_l, litres)
    assert solution_ml(ul_per_l, litres) == ul_per_l * litres / 1000


@given(targets)
def test_formaldehyde_is_never_the_formalin_figure(ul_per_l: Decimal) -> None:
    """The formaldehyde is 37 to 40 % of the formalin figure: confusing them is a 2.7-fold error."""
    by_volume, by_weight = formaldehyde_mg_per_l(ul_per_l)
    assert by_volume < by_weight < ul_per_l * D("0.4")
    assert oxygen_taken_mg_per_l(mg_per_l_of_volume(ul_per_l)) == ul_per_l * D("0.216")


@pytest.mark.parametrize(
    ("ul_per_l", "litres", "says"),
    [
        ("251", "100", "formalin 251 uL/L is outside what can be computed .above 0 and at most 250 uL/L"),
        ("1667", "100", "formalin 1667 uL/L"),
        ("0", "100", "formalin 0 uL/L"),
        ("25", "0", "volume 0 L"),
    ],
)
def test_no_more_than_any_source_gives_fish(ul_per_l: str, litres: str, says: str) -> None:
    """Egg doses and nothing at all are refused: 250 uL/L is the highest figure for live fish."""
    with pytest.raises(Refused, match=says):
        solution_ml(D(ul_per_l), D(litres))


def test_conversions_have_the_same_end() -> None:
    """250 uL/L is 270 mg/L, and neither is passed."""
    assert mg_per_l_of_volume(D(250)) == 270
    with pytest.raises(Refused, match=r"formalin 270\.1 mg/L"):
        ul_per_l_of_mass(D("270.1"))
    with pytest.raises(Refused, match="formalin 251 uL/L"):
        mg_per_l_of_volume(D(251))
    with pytest.raises(Refused, match="formalin -1 ppm"):
        of_source_ppm(D(-1))
    with pytest.raises(Refused, match="formalin 300 mg/L"):
        oxygen_taken_mg_per_l(D(300))
    with pytest.raises(Refused, match="formalin 300 uL/L"):
        formaldehyde_mg_per_l(D(300))
