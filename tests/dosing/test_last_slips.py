"""The last ways in which a dose could pass its ceiling unseen: a slip in a strength, water that is gone, half a step
of a kit."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from freezegun import freeze_time
from hypothesis import given
from hypothesis import strategies as st
from test_dip_and_food_commands import DAY_3, Hall
from waters import asked, hold, reading, water

from quarantine.dosing import Proposal, Setting, propose, read_strength
from quarantine.dosing.forms import powder_share
from quarantine.facts import Fact
from quarantine.formulary import load, regimen
from quarantine.formulary.groups import groups_of, meant, shipped
from quarantine.water.ledger import Water, level_of

SALT = "100 % as CuSO4.5H2O"


# --- Strengths (F22) -------------------------------------------------------------------------------------------------


def typed(row: str, strength: str, setting: Setting, *, sure: bool = False) -> Proposal:
    """The card of a row out of a product whose strength was typed."""
    substance, found = regimen(row)
    return propose(substance, found, setting._replace(product=read_strength(strength, substance)._replace(sure=sure)))


@pytest.mark.parametrize("strength", ["9.8 %", "10 %", "20 %", "0.98 %"])
def test_F22_a_powder_of_a_fifth_or_less_is_asked_about_before_an_amount_is_shown(strength: str) -> None:
    """9.8 typed for 98: 200 L at 2 mg/L would be 4.081 g out of it instead of 0.408 g."""
    found = typed("Z01", strength, water(kind="marine"))
    assert found.dose.add is None
    assert found.hold is not None
    assert found.hold.rule == "strength of the product"
    assert "a slip of the decimal point?" in found.hold.remedy
    assert "--really" in found.hold.remedy


@pytest.mark.parametrize(("strength", "grams"), [("9.8 %", "4.081"), ("20 %", "2"), ("20.1 %", "1.99")])
def test_F22_a_weak_powder_that_is_said_to_be_so_is_computed_with(strength: str, grams: str) -> None:
    """0.4 g of the substance; one of over a fifth is asked about by nobody."""
    found = typed("Z01", strength, water(kind="marine"), sure=strength != "20.1 %")
    assert found.hold is None
    assert found.dose.add == Decimal(grams)


def test_F22_ten_times_the_weight_of_the_pure_substance_is_said_again_with_each_dose() -> None:
    """A tenth or less, also where it is known to be so; of more nothing is said."""
    ten = typed("Z01", "10 %", water(kind="marine"), sure=True).confirm
    assert "The label says 10 %: 10 times the weight of pure Praziquantel is measured out" in ten
    assert not any("The label says" in line for line in typed("Z01", "11 %", water(kind="marine"), sure=True).confirm)


def test_F22_a_copper_salt_is_asked_about_by_the_copper_it_holds() -> None:
    """9.9 typed for 99 % of the pentahydrate, and 2.5 for 25 % copper, which is 9.8 % of its 25.45 %."""
    fresh = water(reading("alkalinity", "180"), reading("hardness", "160"), reading("copper", "0", "0.01", form="free"))
    for strength in ("9.9 % as CuSO4.5H2O", "2.5 % Cu", "5 % Cu"):
        found = typed("C01", strength, fresh)
        assert found.hold is not None
        assert found.hold.rule == "strength of the product"
    for strength in ("99 % as CuSO4.5H2O", "25 % Cu", "5.2 % Cu"):
        assert typed("C01", strength, fresh).hold is None
    assert powder_share(load("copper"), read_strength("25.45 % Cu", load("copper"))) == 100


@pytest.mark.parametrize("sure", [False, True])
def test_C15_salt_of_less_than_half_is_never_computed_with(sure: bool) -> None:
    """10 % would be 2960 g in a dip of 10 L: PURITY_LEAST of the salt's own formula holds here too."""
    dip = water(reading("salinity", "0.4", "0.1"))._replace(vessel=Water(10, 0))
    found = typed("T01", "10 %", dip, sure=sure)
    assert found.hold is not None
    assert "the least purity that is computed with is 50 %" in found.hold.says
    assert "--really" not in found.hold.remedy
    assert typed("T01", "49.9 %", dip, sure=sure).hold is not None
    assert typed("T01", "50 %", dip, sure=sure).hold is None


def test_what_is_no_pure_powder_is_asked_about_by_its_own_rules() -> None:
    """What is drawn in mL, and what no row gives as pure: their strengths may be a few per cent."""
    for name, strength in (
        ("formalin", "37 % formaldehyde"),
        ("hydrogen-peroxide", "3 % w/v"),
        ("bronopol", "5 % w/w"),
    ):
        assert powder_share(load(name), read_strength(strength, load(name))) is None
    assert powder_share(load("praziquantel"), read_strength("8 % w/v", load("praziquantel"))) is None


def test_F22_a_strength_ten_times_off_is_asked_about_at_the_shelf_at_the_dose_and_when_given(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`stock add`, `dose` and `done` ask once; what is said to be so is kept and given."""
    hall = Hall(tmp_path / "home", capsys, "fresh-metronidazole-food")
    jar = ["stock", "add", "Jar", "50 g", "--substance", "metronidazole", "--form", "powder", "--strength"]
    with freeze_time(DAY_3):
        hall.says("batch", "weigh", "Q1-1", "30.0 g", "--by", "scale", "--eats", "0.5 %")
        code = hall.dose()["code"]
        weak = ["--strength", "9.8 %"]
        assert "a slip of the decimal point?" in hall.says(*jar, "9.8 %", code=1)
        assert "No stock on record" in hall.says("stock", "list")
        assert "strength of the product" in hall.says(
            "dose", "metronidazole", "--tank", "Q1", "--regimen", "M02", *weak
        )
        assert "FEED" in hall.says("dose", "metronidazole", "--tank", "Q1", "--regimen", "M02", *weak, "--really")
        assert "a slip of the decimal point?" in hall.says("done", code, "--as-shown", *weak, code=1)
        hall.says(*jar, "9.8 %", "--really")
        hall.says(*jar[:3], "20 g")  # more of the same is not asked about again
        hall.says("done", code, "--as-shown")
        assert hall.given(code)["product"] == "9.8 %"


def test_F22_salt_of_a_tenth_is_asked_about_at_the_shelf(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It may stand on the shelf when somebody says so, and no dip is computed out of it."""
    hall = Hall(tmp_path / "home", capsys, "fresh-salt-dip")
    bag = ["stock", "add", "Bag", "5 kg", "--substance", "salt", "--form", "powder", "--strength", "10 %"]
    with freeze_time(DAY_3):
        assert "50 %" in hall.says(*bag, code=1)
        hall.says(*bag, "--really")
        held = hall.says("dose", "salt", "--tank", "Q1", "--regimen", "T01", "--vessel", "10.0 L")
        assert "the least purity that is computed with is 50 %" in held


# --- Water that is gone (C2, C10) ------------------------------------------------------------------------------------


def short(litres: float, gone: str, plus_minus: float = 0.0) -> Setting:
    """Water that lacks so much on record, a hundredth of it or less."""
    return water(litres=litres, plus_minus=plus_minus, kind="marine")._replace(short_litres=Decimal(gone))


def test_C2_a_dose_at_its_ceiling_leaves_out_the_water_that_is_gone() -> None:
    """M01, 100 L less 0.9 L: 5 mg/L of metronidazole are 0.4955 g there, and 0.5 g would be 5.045 mg/L."""
    made = asked("M01", water(litres=100)._replace(short_litres=Decimal("0.9")))
    assert made.hold is None
    assert made.dose.add == Decimal("0.495")
    assert made.dose.gives_high is not None
    assert made.dose.gives_high <= 5
    assert any("100 - 0 - 0.9 gone = 99.1 L" in line for line in made.working)
    assert asked("M01", water(litres=100)).dose.add == Decimal("0.5")


@given(st.integers(20, 500), st.integers(0, 100), st.integers(0, 10))
def test_C2_no_dose_passes_its_ceiling_in_the_least_water_there_can_be(litres: int, gone: int, unsure: int) -> None:
    """At most a hundredth is gone; the least water is what the volume, its plus-minus and the record leave."""
    away, error = Fraction(litres * gone, 10_000), Fraction(litres * unsure, 100)
    there = water(litres=litres, plus_minus=float(error))._replace(
        short_litres=Decimal(away.numerator) / Decimal(away.denominator)
    )
    made = asked("M01", there)
    assert made.dose.add is not None
    assert Fraction(made.dose.add) * 1000 <= 5 * (litres - error - away)


def test_a_dips_vessel_lacks_nothing_of_the_tank() -> None:
    """What evaporated from the tank is not missing in the vessel."""
    dip = water(reading("salinity", "0.4", "0.1"))._replace(vessel=Water(10, 0))
    assert asked("T01", dip._replace(short_litres=Decimal(1))).dose.add == asked("T01", dip).dose.add


def test_C2_water_less_its_plus_minus_and_what_is_gone_has_to_leave_some() -> None:
    """An effective minimum lets a large plus-minus through, and no amount is found for less than nothing."""
    found = hold("Z01", short(100, "0.9", 99.5))
    assert found.rule in ("C2", "C3")


# --- Half a step of the kit (C13) ------------------------------------------------------------------------------------


def fresh(copper: str, step: str, alkalinity: str = "100") -> Setting:
    """200 L of soft enough water for all that the rule allows to be offered; copper read."""
    return water(
        reading("alkalinity", alkalinity), reading("hardness", "200"), reading("copper", copper, step, form="free")
    )


def ends_at(setting: Setting, card: Proposal) -> float:
    """The upper bound of the ledger, right after the dose on the card, mg/L of copper."""
    read = [f for f in setting.readings if f.data["parameter"] == "copper"]
    assert card.dose.add is not None
    assert setting.volume is not None
    data = {"substance": "copper", "route": "prolonged", "mass_mg": str(card.dose.add * Decimal("254.5"))}
    poured = Fact("d", "dose", setting.now, setting.now, "k", "s", "t", None, None, data)
    high = level_of([*read, poured], "copper", setting.volume, "none", setting.now).high
    assert high is not None
    return high


@pytest.mark.parametrize(("alkalinity", "step"), [("50", "0.01"), ("100", "0.01"), ("100", "0.02"), ("50", "0.04")])
def test_C13_a_dose_leaves_room_for_half_a_step_of_its_kit(alkalinity: str, step: str) -> None:
    """0.00 in steps of 0.01 may be 0.005 mg/L, and alkalinity / 100 mg/L of the salt is all that the water allows."""
    setting = fresh("0", step, alkalinity)
    card = asked("C01", setting, SALT)
    assert card.hold is None
    top = float(alkalinity) / 100 * 0.2545
    assert top - 0.002 < ends_at(setting, card) <= top * (1 + 1e-6)


def test_C13_where_less_than_all_is_offered_half_a_step_changes_nothing() -> None:
    """From 120 mg/L of alkalinity half of the rule is offered: 0.5 x 1.8 mg/L in 200 L, under its ceiling anyway."""
    for step in ("0", "0.01"):
        assert asked("C01", fresh("0", step, "180"), SALT).dose.add == Decimal("0.18")


def test_C13_a_kit_whose_half_step_takes_a_fifth_of_the_dose_is_too_coarse() -> None:
    """Too little is a harm as well: of 0.12725 mg/L Cu half of 0.06 takes 23.6 %."""
    found = hold("C01", fresh("0", "0.06", "50"), SALT)
    assert found.rule == "C13"
    assert "takes 24 % off the dose" in found.says


def test_C1_copper_that_the_kit_found_for_certain_is_not_sized_around() -> None:
    """What is there is refused by the ledger, with a change first, and never taken off the dose without a word."""
    from quarantine.water.level import Level

    found = fresh("0.05", "0.01")._replace(levels={"copper": Level(0.045, 0.055)})
    assert hold("C01", found, SALT).rule == "ceiling"


# --- What is held with its exact reason (T11), and animals of the notes that had no group --------------------------


def test_T11_says_why_no_salt_is_computed_against_nitrite() -> None:
    """The chloride that is there is measured by nothing, and the source leaves the form of its nitrite open."""
    found = hold("T11", water(reading("nitrite", "1", form="NO2"), reading("salinity", "0.5", "0.1")))
    assert found.rule == "unit of the target"
    assert "salinity does not say how much of it is chloride" in found.says
    assert "nitrite or nitrite-N, 3.28-fold apart" in found.says
    assert "nitrite_no2=" in found.remedy
    assert "SRAC" in found.reference


@pytest.mark.parametrize(
    ("text", "group", "substance"),
    [("flatworms kept on purpose", "flatworms", "praziquantel"), ("birds", "birds", "trichlorfon")],
)
def test_every_animal_of_an_entry_has_a_group(text: str, group: str, substance: str) -> None:
    """Treatment notes, rows Z01 and N12, column of who must not get it (from memory there)."""
    assert meant(text, shipped()).ids == {group}
    assert any(line.group == text and line.rule == "refuse" for line in load(substance).sensitive)


def test_flatworms_hold_praziquantel_and_a_fish_named_after_a_bird_is_no_bird() -> None:
    """A planarian in the water is refused its dose; a bird wrasse is no bird by its name."""
    found = hold("Z01", water(kind="marine", species=("Dugesia tigrina",)))
    assert found.rule == "sensitive animals"
    assert "flatworms kept on purpose" in found.says
    assert "birds" not in groups_of("bird wrasse", shipped())
