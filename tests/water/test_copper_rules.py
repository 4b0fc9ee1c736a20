"""Copper sulfate: the lower of two rules over the low end of each reading (rules C2, C17), units, and refusals."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quarantine.failures import Refused
from quarantine.water.copper import (
    ANHYDROUS_COPPER_PERCENT,
    CARBONATE_UNITS,
    bicarbonate_grams,
    carbonate_mg_per_l,
    copper_mg_per_l,
    hardness_mg_per_l,
    product_mg,
    sulfate_limit,
)

D = Decimal
waters = st.decimals(min_value=50, max_value=600, places=1)
errors = st.decimals(min_value=0, max_value=40, places=1)


@given(waters, waters, errors)
def test_never_over_either_rule(alkalinity: Decimal, hardness: Decimal, error: Decimal) -> None:
    """C17: the amount passes neither alkalinity / 100 nor 2.5 mg/L nor the band of the hardness, by their low ends."""
    found = sulfate_limit((alkalinity, alkalinity + error), (hardness, hardness + error))
    assert found.mg_per_l <= alkalinity / 100
    assert found.mg_per_l <= D("2.5")
    assert found.mg_per_l <= (D("0.75") if hardness < 100 else D(1) if hardness < 150 else D(2))
    assert found.mg_per_l in (found.alkalinity_mg_per_l, found.hardness_high_mg_per_l)
    assert found.mg_per_l >= D("0.5")


@given(waters, waters, errors)
def test_softer_water_allows_no_more(alkalinity: Decimal, hardness: Decimal, less: Decimal) -> None:
    """Lower alkalinity or hardness never allows more copper."""
    here = sulfate_limit((alkalinity, alkalinity), (hardness, hardness)).mg_per_l
    softer, less_hard = max(alkalinity - less, D(50)), max(hardness - less, D(50))
    assert sulfate_limit((softer, softer), (hardness, hardness)).mg_per_l <= here
    assert sulfate_limit((alkalinity, alkalinity), (less_hard, less_hard)).mg_per_l <= here


def test_the_low_end_of_a_reading_counts() -> None:
    """C2: alkalinity 60 with a kit step of 20 may be 50, and 0.5 mg/L is allowed; may it be 49, nothing is."""
    assert sulfate_limit((D(50), D(70)), (D(200), D(200))).mg_per_l == D("0.5")
    with pytest.raises(Refused, match="alkalinity may be as low as 49 mg/L"):
        sulfate_limit((D(49), D(71)), (D(200), D(200)))


@pytest.mark.parametrize(
    ("alkalinity", "hardness", "missing"),
    [(None, (D(100), D(100)), "alkalinity"), ((D(100), D(100)), None, "hardness"), (None, None, "alkalinity")],
)
def test_unknown_water_gets_no_copper(
    alkalinity: tuple[Decimal, Decimal] | None, hardness: tuple[Decimal, Decimal] | None, missing: str
) -> None:
    """A substance whose conditions are unknown is refused, with what to read."""
    with pytest.raises(Refused, match=f"{missing} of the water is not known.*quarantine reading TANK {missing}="):
        sulfate_limit(alkalinity, hardness)


def test_half_the_rule_where_its_margin_narrows() -> None:
    """Half the amount is offered above 120 mg/L of alkalinity, by the high end of the reading, and it says so."""
    assert sulfate_limit((D(120), D(120)), (D(200), D(200))).half_mg_per_l is None
    narrow = sulfate_limit((D(110), D(121)), (D(200), D(200)))
    assert narrow.half_mg_per_l == D("0.55")
    assert "half the amount" in narrow.cautions[-1]


def test_hard_water_is_said_to_be_unreliable() -> None:
    """Above 200 mg/L of hardness copper falls out: 2 mg/L stays the top, and the caution names its source."""
    hard = sulfate_limit((D(250), D(250)), (D(190), D(210)))
    assert hard.mg_per_l == 2
    assert any("unreliable (US Fish and Wildlife Service" in said for said in hard.cautions)
    assert not any("unreliable" in said for said in sulfate_limit((D(100), D(100)), (D(200), D(200))).cautions)


def test_the_rule_that_sets_it_is_cited() -> None:
    """The reference is that of the rule that bound."""
    assert "FA-13" in sulfate_limit((D(60), D(60)), (D(200), D(200))).reference
    assert "p. 277" in sulfate_limit((D(200), D(200)), (D(60), D(60))).reference


@given(
    st.decimals(min_value="0.01", max_value=1, places=2),
    st.decimals(min_value=1, max_value=1000, places=0),
    st.sampled_from([None, ANHYDROUS_COPPER_PERCENT, D(25)]),
)
def test_copper_and_its_salt_there_and_back(copper: Decimal, litres: Decimal, percent: Decimal | None) -> None:
    """The salt for a copper target holds that copper and never more."""
    extra = () if percent is None else (percent,)
    salt = product_mg(copper, litres, *extra) / litres
    assert float(copper_mg_per_l(salt, *extra)) == pytest.approx(float(copper), rel=1e-12)
    assert salt > copper


@given(st.decimals(min_value="0.1", max_value=25, places=1), st.sampled_from(sorted(CARBONATE_UNITS)))
def test_units_of_alkalinity_scale(value: Decimal, unit: str) -> None:
    """Twice as many degrees are twice as many mg/L, in every unit."""
    assert float(carbonate_mg_per_l(2 * value, unit)) == pytest.approx(2 * float(carbonate_mg_per_l(value, unit)))


def test_figures_of_copper_outside_their_range() -> None:
    """What cannot be is refused by name, figure and range."""
    with pytest.raises(Refused, match="unit '°dH' of alkalinity is not known; write one of mg/L, dKH"):
        carbonate_mg_per_l(D(5), "°dH")
    with pytest.raises(Refused, match="alkalinity or hardness -17"):
        carbonate_mg_per_l(D(-1), "dKH")
    with pytest.raises(Refused, match="calcium -1 mg/L"):
        hardness_mg_per_l(D(-1), D(0))
    with pytest.raises(Refused, match="magnesium 4000 mg/L"):
        hardness_mg_per_l(D(1), D(4000))
    with pytest.raises(Refused, match="rise of the alkalinity 0 mg/L"):
        bicarbonate_grams(D(0), D(100))
    with pytest.raises(Refused, match="copper 0 mg/L"):
        product_mg(D(0), D(100))
    with pytest.raises(Refused, match="copper in the product 0 %"):
        product_mg(D("0.2"), D(100), D(0))
    with pytest.raises(Refused, match="copper sulfate -1 mg/L"):
        copper_mg_per_l(D(-1))
    with pytest.raises(Refused, match="alkalinity -5 mg/L"):
        sulfate_limit((D(-5), D(5)), (D(100), D(100)))
    with pytest.raises(Refused, match="hardness 90 mg/L is outside what can be computed"):
        sulfate_limit((D(100), D(100)), (D(100), D(90)))
