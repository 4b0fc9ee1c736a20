"""Formalin: uL/L of the solution in mL by syringe, the row by the warmest of the day, the oxygen that it takes."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from waters import BIG, GOLDFISH, amount, asked, hold, reading, water

from quarantine.dosing import TRIED, Setting
from quarantine.facts import Condition
from quarantine.protocol import load
from quarantine.water.formalin import DENSITY_MG_PER_UL, oxygen_taken_mg_per_l, solution_ml
from quarantine.water.oxygen import saturation_mg_per_l

AS_SOLD = "37 % formaldehyde"
AERATED = (Condition("word", "Strong aeration is running", "aeration"),)


def at(celsius: str, step: str = "0", **more: object) -> Setting:
    """200 L of fresh water of which temperature and oxygen were read."""
    return water(reading("temperature", celsius, step), reading("oxygen", "7"), **more)  # type: ignore[arg-type]


# IFAS VM-77 (reprint): 250 uL/L up to 21 °C, 150 over it; over 27 °C this project refuses. mL = uL/L x L / 1000.
@pytest.mark.parametrize(
    ("celsius", "step", "row", "ml"),
    [
        ("15", "0", "F01", "50"),  # 250 x 200 / 1000
        ("21", "0", "F01", "50"),
        ("20.8", "0.4", "F01", "50"),  # at most 21
        ("21.111", "0.556", "F02", "30"),  # 70 °F, may be 21.39 °C: 150 x 200 / 1000
        ("20.9", "0.4", "F02", "30"),  # may be 21.1
        ("27", "0", "F02", "30"),
    ],
)
def test_the_warmest_of_the_day_says_which_row_holds(celsius: str, step: str, row: str, ml: str) -> None:
    """One row and never both; the other one names it."""
    assert amount(row, at(celsius, step), AS_SOLD) == f"{ml} mL"
    other = "F02" if row == "F01" else "F01"
    found = hold(other, at(celsius, step), AS_SOLD)
    assert found.rule == "C14"
    assert row in found.remedy


@pytest.mark.parametrize(("celsius", "step"), [("27.1", "0"), ("27", "0.2"), ("28", "1")])
@pytest.mark.parametrize("row", ["F01", "F02"])
def test_over_27_degrees_there_is_no_row(celsius: str, step: str, row: str) -> None:
    """Refused, and no row is named that would not hold either."""
    found = hold(row, at(celsius, step), AS_SOLD)
    assert found.rule == "C14"
    assert "F0" not in found.remedy


def test_C14_the_highest_of_a_day_counts_and_an_old_reading_is_none() -> None:
    """24 °C yesterday evening caps what 20 °C now would allow; thirteen hours without a reading are unknown."""
    cooler = water(reading("temperature", "24", hours=20), reading("temperature", "20", hours=1))
    assert hold("F01", cooler, AS_SOLD).figure == "21"
    old = water(reading("temperature", "20", hours=13))
    assert "not known" in hold("F01", old, AS_SOLD).says
    assert "not known" in hold("F02", water(), AS_SOLD).says


# Tancredo et al., 2019: 100 mg/L, taken as uL/L, for small ornamental fish; Hoseini et al., 2013: 80 for roach fry.
@pytest.mark.parametrize(
    ("species", "ml"), [(BIG, "50"), (GOLDFISH, "20"), ((*BIG, *GOLDFISH), "20"), (("Ignota ignota",), "16")]
)
def test_small_fish_lower_the_ceiling(species: tuple[str, ...], ml: str) -> None:
    """100 uL/L with small ornamental fish; 80 where a fish may be fry, which of an unlisted one nobody knows."""
    assert amount("F01", at("20", species=species), AS_SOLD) == f"{ml} mL"


def test_the_dose_is_drawn_by_the_syringe_and_never_rounded_up() -> None:
    """15 uL/L in 49.3 L are 0.7395 mL: 0.7 mL, 5 % too little; in 20 L 0.3; in 8 L 0.1 of 0.12; in 5 L nothing."""
    assert amount("F07", at("20", litres=49.3), AS_SOLD) == "0.7 mL"
    assert amount("F07", at("20", litres=20.0), AS_SOLD) == "0.3 mL"
    assert amount("F07", at("20", litres=8.0), AS_SOLD) == "0.1 mL"
    assert hold("F07", at("20", litres=5.0), AS_SOLD).rule == "C4"
    card = asked("F07", at("20", litres=49.3), AS_SOLD)
    assert card.dose.gives_unit == "uL/L"
    assert any("syringe" in line for line in card.how)
    assert not any("scale" in line for line in card.how)


def test_a_stronger_solution_counts_for_more_and_a_weaker_one_never_for_less() -> None:
    """40 %: 30 mL x 37 / 40 = 27.75, down to 27.7 mL; 34 % as sold: 30 mL, which holds less."""
    assert amount("F02", at("25"), "40 % formaldehyde") == "27.7 mL"
    assert amount("F02", at("25"), "34 % formaldehyde") == "30 mL"
    assert amount("F02", at("25"), "100 % formalin") == "30 mL"


def test_the_ceiling_is_computed_in_the_least_water() -> None:
    """150 uL/L in 200 L plus or minus 10: min(30, 150 x 190 / 1000 = 28.5) mL."""
    card = asked("F02", at("25", plus_minus=10.0), AS_SOLD)
    assert card.dose.add == Decimal("28.5")
    assert card.dose.gives_high == 150


def test_what_is_in_the_water_leaves_room_or_is_cleared_first() -> None:
    """Its level is kept in uL/L: 20 there and 15 more would pass 25."""
    found = hold("F07", at("15", levels={"formalin": 20.0}), AS_SOLD)
    assert found.rule == "ceiling"
    assert "35 uL/L" in found.says


# Fish Hatchery Management, 1982, p. 276: 1 mg/L of oxygen for 5 mg/L; 15 uL/L are 16.2 mg/L and take 3.24.
@pytest.mark.parametrize(("celsius", "held"), [("20", False), ("24", False), ("25", False), ("26", True), ("28", True)])
def test_a_long_bath_is_judged_against_what_the_water_can_hold(celsius: str, held: bool) -> None:
    """Saturation (Benson and Krause, 1984): 25 °C 8.26, leaves 5.02; 26 °C 8.11, leaves 4.87, under 5 mg/L."""
    card = asked("F07", at(celsius), AS_SOLD)
    assert (card.hold is not None and card.hold.rule == "oxygen") is held
    if held:
        assert card.hold is not None
        assert "3.24" in card.hold.says
        assert "uL/L would leave enough" in card.hold.remedy


def test_salt_in_the_water_leaves_less_oxygen() -> None:
    """At 25 °C and 5 g/L 8.03 mg/L: 3.24 leave 4.79."""
    salty = water(reading("temperature", "25"), reading("oxygen", "7"), reading("salinity", "5"))
    assert hold("F07", salty, AS_SOLD).rule == "oxygen"


def test_what_is_there_already_takes_oxygen_too() -> None:
    """5 uL/L there and 15 more are 21.6 mg/L and take 4.32: at 24 °C of 8.42 leave 4.1."""
    found = hold("F07", at("24", levels={"formalin": 5.0}), AS_SOLD)
    assert found.rule == "oxygen"
    assert "4.32" in found.says


def test_unknown_oxygen_is_held_where_nobody_said_that_air_runs() -> None:
    """A reading of twelve hours, or the template's own word for strong aeration; the card confirms it either way."""
    unread = water(reading("temperature", "20"))
    assert "oxygen in the water is not known" in hold("F07", unread, AS_SOLD).says
    aerated = asked("F07", unread, AS_SOLD, before=AERATED)
    assert aerated.hold is None
    assert any("aeration" in words for words in aerated.confirm)
    assert hold("F07", water(reading("oxygen", "7")), AS_SOLD).rule == "C14"  # no temperature, no saturation


def test_a_timed_bath_is_not_held_by_its_slow_oxygen_demand() -> None:
    """It takes its share within 30 to 36 h, and is over after one: strong aeration is confirmed."""
    card = asked("F02", water(reading("temperature", "26")), AS_SOLD)
    assert card.hold is None
    assert any("aeration" in words for words in card.confirm)
    assert not any("oxygen" in line for line in card.working)


def test_what_is_confirmed_of_the_shipped_course_is_asked_once_and_agrees() -> None:
    """A dose that stays in the water is for all fish in it: no "only a few fish now"; aeration is one question; and no
    caution of a timed bath stands on it."""
    (step,) = (one for one in load("fresh-white-spot").steps if one.id == "dose")
    card = asked("F07", water(reading("temperature", "20")), AS_SOLD, before=step.before)
    assert sum("aeration" in one.casefold() for one in card.confirm) == 1
    assert [one for one in card.confirm if "few fish" in one] == [TRIED]
    assert not any("ends on time" in one for one in card.dose.cautions)
    assert any("ends on time" in one for one in asked("F02", at("25"), AS_SOLD).dose.cautions)


def test_C8_the_first_use_on_a_species_is_a_few() -> None:
    """Confirmed by giving the dose; it no longer holds it for ever."""
    assert any("only a few fish" in words for words in asked("F02", at("25"), AS_SOLD).confirm)


@given(st.integers(20, 2000), st.integers(0, 20), st.sampled_from(["F01", "F02", "F07"]))
def test_formalin_follows_the_closed_form_and_never_passes_its_ceiling(litres: int, plus_minus: int, row: str) -> None:
    """mL = uL/L x V / 1000 (calculation notes, i.2), down to 0.1 mL, in any volume; the oxygen it takes is a fifth of
    its weight."""
    celsius = "15" if row != "F02" else "22"
    card = asked(row, at(celsius, litres=float(litres), plus_minus=litres * plus_minus / 100), AS_SOLD)
    if card.dose.add is None:
        return
    target, top = {"F01": (250, 250), "F02": (150, 150), "F07": (15, 25)}[row]
    exact = min(solution_ml(Decimal(target), Decimal(litres)), Decimal(top) * (100 - plus_minus) * litres / 100000)
    assert exact - Decimal("0.1") - Decimal("0.01") <= card.dose.add <= exact
    if row == "F07":
        taken = oxygen_taken_mg_per_l(card.dose.gives_high * DENSITY_MG_PER_UL if card.dose.gives_high else Decimal(0))
        assert Decimal(str(saturation_mg_per_l(15.0))) - taken >= 5
