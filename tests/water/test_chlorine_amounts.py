"""Chlorine: thiosulfate, bleach and conditioner as amounts, rounded up, and what is refused."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quarantine.failures import Refused
from quarantine.water.chlorine import (
    BASES,
    bleach_ml,
    chloramine_ammonia_mg_per_l,
    conditioner_ml,
    for_new_water,
    thiosulfate_mg,
)

D = Decimal
chlorine = st.decimals(min_value="0.01", max_value=300, places=2)
litres = st.decimals(min_value="0.1", max_value=5000, places=1)


@given(chlorine, litres, st.sampled_from(["pentahydrate", "anhydrous"]))
def test_thiosulfate_doubles_with_the_water(mg_per_l: Decimal, volume: Decimal, hydrate: str) -> None:
    """Twice the chlorine or twice the water takes twice the thiosulfate; the hatchery's figure is 5.7 % richer."""
    once = thiosulfate_mg(mg_per_l, volume, hydrate)
    for twice in (thiosulfate_mg(2 * mg_per_l, volume, hydrate), thiosulfate_mg(mg_per_l, 2 * volume, hydrate)):
        assert float(twice.mg) == pytest.approx(2 * float(once.mg), rel=1e-12)
    assert float(once.hatchery_mg / once.mg) == pytest.approx(1.0570, abs=0.0001)


@given(chlorine, litres)
def test_both_hydrates_hold_the_same_thiosulfate(mg_per_l: Decimal, volume: Decimal) -> None:
    """The anhydrous salt takes 0.637 of the weight of the pentahydrate, by both figures."""
    wet, dry = thiosulfate_mg(mg_per_l, volume), thiosulfate_mg(mg_per_l, volume, "anhydrous")
    assert float(dry.mg / wet.mg) == pytest.approx(158.097 / 248.172, rel=1e-12)
    assert float(dry.hatchery_mg / wet.hatchery_mg) == pytest.approx(158.097 / 248.172, rel=1e-12)


@given(st.decimals(min_value=1, max_value=15, places=2), st.decimals(min_value="1.01", max_value="1.25", places=2))
def test_bleach_gives_what_was_wanted(percent: Decimal, gravity: Decimal) -> None:
    """C4: the millilitres hold the chlorine that was wanted, never less; a weaker basis takes more of it."""
    by_salt = bleach_ml(D(200), D(10), percent, BASES[0], gravity)
    by_chlorine = bleach_ml(D(200), D(10), percent, BASES[1], gravity)
    in_100_ml = bleach_ml(D(200), D(10), percent * gravity, BASES[2])
    assert Fraction(by_chlorine) * Fraction(percent) * Fraction(gravity) * 10 >= 2000
    assert by_salt > by_chlorine
    assert float(in_100_ml) == pytest.approx(float(by_chlorine), rel=1e-12)


@given(
    st.decimals(min_value="0.1", max_value=50, places=1),
    st.decimals(min_value=1, max_value=500, places=0),
    st.decimals(min_value="0.1", max_value=2000, places=1),
    st.sampled_from(["0.1", "0.5", "1"]),
)
def test_conditioner_is_never_too_little(label_ml: Decimal, label: Decimal, new: Decimal, step: str) -> None:
    """C4: conditioner goes up to a whole step of the syringe, by less than one step."""
    found = conditioner_ml(label_ml, label, new, D(step))
    exact = label_ml * new / label
    assert exact <= found + D("1e-25")
    assert found - exact < D(step)
    assert found % D(step) == 0


def test_conditioner_is_for_the_new_water_only() -> None:
    """C12: 30 % of 200 L at 5 mL per 100 L is conditioner for 60 L, 3 mL; 61 L go up to 3.1 mL at 0.1 mL."""
    assert conditioner_ml(D(5), D(100), D("0.3") * 200, D("0.1")) == 3
    assert conditioner_ml(D(5), D(100), D(61), D("0.1")) == D("3.1")


@given(
    st.decimals(min_value="0.1", max_value=10, places=1),
    st.sampled_from(["0", "0.1", "0.5"]),
    litres,
    st.sampled_from(["0.001", "0.01", "0.1"]),
)
def test_the_conditioner_of_new_water_is_never_too_little(
    mg_per_l: Decimal, kit: str, new: Decimal, scale: str
) -> None:
    """C4: it covers the most chlorine that the reading allows, by less than a step of the scale more."""
    found = for_new_water(mg_per_l, D(kit), new, D(scale))
    needed = (
        (Fraction(mg_per_l) + Fraction(D(kit)) / 2) * Fraction(new) * 2 * Fraction(D("248.172")) / Fraction(D("70.90"))
    )
    assert Fraction(found.grams) * 1000 >= needed
    assert Fraction(found.grams) * 1000 - needed < Fraction(D(scale)) * 1000
    assert found.grams % D(scale) == 0
    assert found.as_read_mg <= found.mg < found.hatchery_mg


def test_the_conditioner_of_new_water_outside_its_range() -> None:
    """Chlorine, litres and the step of a scale above zero are needed."""
    for numbers, says in (
        (("0", "0.1", "60", "0.01"), "chlorine 0 mg/L"),
        (("1", "0.1", "0", "0.01"), "volume 0 L"),
        (("1", "0.1", "60", "0"), "step of the scale 0 g"),
    ):
        with pytest.raises(Refused, match=says):
            for_new_water(*(D(n) for n in numbers))


def test_chloramine_ammonia_is_judged_upwards() -> None:
    """3 mg/L of chloramine frees 0.593 mg/L of ammonia nitrogen (computed): more than what harms at high pH."""
    assert float(chloramine_ammonia_mg_per_l(D(3))) == pytest.approx(0.5927, abs=0.0001)
    assert chloramine_ammonia_mg_per_l(D(0)) == 0


def test_thiosulfate_that_is_not_known() -> None:
    """A hydrate is said, never guessed: they differ by a third."""
    with pytest.raises(Refused, match="no sodium thiosulfate 'monohydrate'; write one of pentahydrate, anhydrous"):
        thiosulfate_mg(D(2), D(40), "monohydrate")


@pytest.mark.parametrize(
    ("mg_per_l", "volume", "says"),
    [("0", "40", "chlorine 0 mg/L"), ("-1", "40", "chlorine -1"), ("20000", "40", "20000"), ("2", "0", "volume 0 L")],
)
def test_thiosulfate_outside_its_range(mg_per_l: str, volume: str, says: str) -> None:
    """Chlorine and volume have to be above zero and believable."""
    with pytest.raises(Refused, match=says):
        thiosulfate_mg(D(mg_per_l), D(volume))


@pytest.mark.parametrize(
    ("percent", "basis", "gravity", "says"),
    [
        ("5.25", "hypochlorite by weight", None, "needs the bleach's specific gravity"),
        ("5.25", "ppm", "1.08", "must be one of: hypochlorite by weight, available chlorine by weight"),
        ("25", "hypochlorite by weight", "1.08", "strength of the bleach 25 %"),
        ("0", "hypochlorite by weight", "1.08", "strength of the bleach 0 %"),
        ("5.25", "hypochlorite by weight", "1.8", r"specific gravity 1\.8"),
    ],
)
def test_bleach_that_is_not_described(percent: str, basis: str, gravity: str | None, says: str) -> None:
    """A label's percent needs its basis, and by weight its specific gravity; what cannot be is refused."""
    with pytest.raises(Refused, match=says):
        bleach_ml(D(200), D(10), D(percent), basis, None if gravity is None else D(gravity))


def test_conditioner_outside_its_range() -> None:
    """A label, a volume of new water and a syringe step above zero are needed."""
    for numbers, says in (
        (("0", "100", "60", "0.1"), "label's amount 0 mL"),
        (("5", "0", "60", "0.1"), "label's volume 0 L"),
        (("5", "100", "0", "0.1"), "volume of new water 0 L"),
        (("5", "100", "60", "0"), "step of the syringe 0 mL"),
    ):
        with pytest.raises(Refused, match=says):
            conditioner_ml(*(D(n) for n in numbers))
