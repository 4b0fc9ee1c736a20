"""Doses in food: by the weight of the fish or by the content of the food, never by the water (needs F17 and F26)."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from history import History
from hypothesis import given
from hypothesis import strategies as st
from test_amounts import NOW, setting
from test_holds import held

from quarantine.dosing import (
    PER_FISH,
    WEIGHT_DAYS,
    Proposal,
    Setting,
    Weighed,
    headline,
    propose,
    rescue_apart,
    sized_for,
)
from quarantine.formulary import regimen
from quarantine.quantity import Quantity

FISH = History("fresh-watch", fish=10)
FISH.look(10, "08:00")  # they ate well an hour ago (rule A6)
MG_PER_G_OF_N05 = Decimal("1140") / Decimal("453.59237")


def fed(
    grams: str = "1000",
    plus_minus: str = "0",
    eats: str | None = "5",
    *,
    step: str = "0.01",
    number: int = 10,
    history: History = FISH,
    days_ago: int = 0,
    grown: bool = False,
    prepared: str | None = None,
) -> Setting:
    """Ten fish of 1 kg together that eat 5 g a day, in a tank whose water nobody measured."""
    food, at = None if eats is None else Decimal(eats), NOW - timedelta(days=days_ago)
    weighed = Weighed(Decimal(grams), Decimal(plus_minus), number, food, "scale", at, grown)
    water = setting(kind="fresh", step=step, history=history)._replace(volume=None, weighed=weighed, batch="Q1-1")
    return water._replace(prepared_grams=None if prepared is None else Decimal(prepared))


def m02(water: Setting) -> Proposal:
    return propose(*regimen("M02"), water)


def test_F17_both_paths_of_metronidazole_agree() -> None:
    """50 mg for each kg of fish, and 10 mg in each gram of food at half a percent a day: 50 mg in 5 g for 1 kg."""
    proposal = m02(fed())
    assert proposal.hold is None
    dose = proposal.dose
    assert (dose.add, dose.food_grams, dose.fish_grams) == (Decimal("0.05"), Decimal(5), Decimal(1000))
    assert (dose.gives_low, dose.gives_high, dose.gives_unit) == (50, 50, PER_FISH)
    row = regimen("M02")[1]
    assert row.food is not None
    by_food = row.food.per_food.value * (dose.fish_grams or 0) * row.food.feeding_rate.value / 100
    assert dose.add is not None
    assert by_food == dose.add * 1000


def test_no_volume_is_needed_and_the_card_says_how_to_prepare_and_give() -> None:
    """The first line never says to add anything: a portion of prepared food is fed."""
    proposal = m02(fed())
    assert headline(proposal.dose).startswith("FEED 5 g of the prepared food: it holds 0.05 g of Metronidazole")
    assert sized_for(proposal.dose) == "for 1000 g of fish, plus or minus 0 g"
    assert any("weigh 0.2 g of Metronidazole" in line and "together weigh 20 g" in line for line in proposal.how)
    assert any(line.startswith("Give: 5 g of it") for line in proposal.how)
    assert proposal.dose.volume_litres == 0


def test_C2_the_lighter_end_of_the_fish_bounds_the_dose() -> None:
    """36 g, plus or minus 6 g: ceiling 50 mg/kg for 30 g is 1.5 mg, not 1.8; gives 1.5 / 42 to 1.5 / 30."""
    dose = m02(fed("36", "6", "0.18", step="0.001")).dose
    assert dose.add == Decimal("0.0015")
    assert (dose.gives_low, dose.gives_high) == (Decimal("35.7"), Decimal(50))


@given(
    grams=st.decimals("5", "5000", places=1),
    share=st.decimals("0", "0.5", places=2),
    eats=st.decimals("0.6", "4", places=2),
    step=st.sampled_from(["0.1", "0.01", "0.001"]),
)
def test_no_dose_in_food_passes_its_ceiling(grams: Decimal, share: Decimal, eats: Decimal, step: str) -> None:
    """Whatever the weights and the scale: at most 50 mg for each kg of the lightest fish that are possible."""
    proposal = m02(fed(str(grams), str(grams * share), str(grams * eats / 100), step=step))
    if proposal.hold is not None:
        assert proposal.hold.rule == "C4"
        return
    dose = proposal.dose
    assert dose.add is not None
    assert dose.food_grams is not None
    assert dose.add * 1_000_000 <= 50 * (grams - grams * share)
    assert dose.add * 1000 / dose.food_grams <= 10


def test_fenbendazole_is_a_content_of_what_they_eat() -> None:
    """N05: 1.14 g in each pound is 2.5133 mg in each gram; 10 g a day hold 25.13 mg, never more."""
    proposal = propose(*regimen("N05"), fed(eats="10"))
    assert proposal.hold is None
    dose = proposal.dose
    assert dose.food_grams == 10
    assert dose.add is not None
    assert Decimal("0.0251") <= dose.add <= 10 * MG_PER_G_OF_N05 / 1000
    assert (dose.target, dose.target_unit) == (Decimal("1.14"), "g/lb food")
    assert dose.gives_high is not None
    assert dose.gives_high <= Decimal("1.14")
    assert any("for each kg of fish 25.2 mg" in line for line in proposal.working)


def test_deaths_after_the_weighing_lower_the_dose() -> None:
    """Weighed ten, five are left: half the weight, half the food, half the substance."""
    history = History("fresh-watch", fish=10)
    history.fact("died", history.at(5), {"count": 5})
    history.look(10, "08:00")
    history.fact("lift", history.at(6), {"because": "a veterinarian saw them"})
    dose = m02(fed(history=history)).dose
    assert (dose.add, dose.food_grams) == (Decimal("0.025"), Decimal("2.5"))


@pytest.mark.parametrize(
    ("water", "says"),
    [
        (fed()._replace(weighed=None), "weight of the fish, which is not on record"),
        (fed()._replace(evidence=None), "weight of the fish, which is not on record"),
        (fed(eats=None), "how much the fish eat in a day"),
        (fed(grown=True), "fish came after"),
        (fed(days_ago=WEIGHT_DAYS + 1), "last found on"),
        (fed(number=0), "not on record"),
    ],
)
def test_what_is_not_known_of_the_fish_holds_the_dose(water: Setting, says: str) -> None:
    """The hold says how to give it."""
    hold = held(m02(water))
    assert hold.rule == "in food"
    assert says in hold.says
    assert "quarantine batch weigh" in hold.remedy


def test_fish_that_hardly_eat_are_not_treated_in_food() -> None:
    """At 0.3 % a day each gram would hold 16.7 mg; 10 mg is published."""
    hold = held(m02(fed(eats="3")))
    assert hold.rule == "published range"
    assert "16.7 mg" in hold.says


def test_a_weight_as_uncertain_as_it_is_large_holds_the_dose() -> None:
    """30 g, plus or minus 30 g, is no weight."""
    assert held(m02(fed("30", "30", "0.2"))).rule == "C2"


@pytest.mark.parametrize("water", [fed(prepared="0.5"), fed("10", "0", "0.05", step="0.1")])
def test_C4_a_portion_that_cannot_be_measured_is_no_dose(water: Setting) -> None:
    """Half a gram of food for 5 mg on a scale of 0.01 g, and 0.05 g of food on one of 0.1 g."""
    assert held(m02(water)).rule == "C4"


def test_the_food_to_prepare_can_be_said() -> None:
    """50 g of food at 10 mg in each gram take 0.5 g."""
    proposal = m02(fed(prepared="50"))
    assert any("weigh 0.5 g" in line and "together weigh 50 g" in line for line in proposal.how)


def test_a_target_in_another_unit_is_held_and_never_a_traceback() -> None:
    """Milligrams per litre are no dose in food."""
    hold = held(propose(*regimen("M02"), fed(), target=Quantity(Decimal(5), "mg/L")))
    assert hold.rule == "unit of the target"


def test_C7_too_much_in_food_is_answered_with_the_rescue() -> None:
    """60 mg for 1 kg of fish is over 50 mg/kg; 50 mg is not."""
    dose, row = m02(fed()).dose, regimen("M02")[1]
    assert rescue_apart(dose, row, Decimal(50)) == ""
    assert "veterinarian" in rescue_apart(dose, row, Decimal(60))
