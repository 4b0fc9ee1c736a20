"""Rules C1 to C4 where a small change of the code went unseen: each of these was broken by hand, and is held here."""

from __future__ import annotations

import json
from collections.abc import Callable
from decimal import Decimal

import pytest
from history import History
from hypothesis import given
from hypothesis import strategies as st
from test_amounts import NOW, setting
from test_holds import gated, good
from test_instruction import said, under
from test_repeats import Basin, grams
from test_review_amounts import Room, make
from waters import amount, asked, dosed, reading, water

from quarantine.actions.cards import _beside
from quarantine.dosing import AT_THE_MARK, Proposal, Stock, propose, rescue_apart
from quarantine.dosing.known import ceiling_of, litres_of
from quarantine.dosing.repeats import gap_of
from quarantine.dosing.setting import Replaced
from quarantine.dosing.size import Size, size_of
from quarantine.facts import Condition
from quarantine.formulary import Figure, Regimen, Substance, regimen
from quarantine.protocol import load as load_protocol
from quarantine.protocol import shipped
from quarantine.quantity import Quantity, show
from quarantine.water.ledger import Water
from quarantine.water.level import Level

__all__ = ["make"]

# --- C1: repeats -----------------------------------------------------------------------------------------------------


def test_c1_a_repeat_counts_from_the_last_dose_and_not_from_the_first() -> None:
    """The 40 L of day 2 were made good on day 3: on day 6 only the 20 L since then are, a fifth of 0.2 g."""
    basin = Basin()
    basin.dose(0, "200")
    basin.change(2, "40")
    basin.dose(3, "80")
    basin.change(6, "20")
    assert grams(basin.repeat(6)) == Decimal("0.04")


def test_c1_water_beyond_the_mark_does_not_thin_what_a_change_takes_out() -> None:
    """20 L put in that nobody saw evaporate restore the mark: 40 L of 100 L are two fifths, not a third of 120 L."""
    basin = Basin()
    basin.dose(0, "200")
    basin.add("topup", 5, "10:00", {"litres": "20"})
    basin.change(6, "40")
    assert grams(basin.repeat(6)) == Decimal("0.08")


# --- C2: both ends ---------------------------------------------------------------------------------------------------


def sized(litres: float, plus_minus: float, row: str = "Z01") -> Size:
    """The size as it is computed, before the card shortens its figures."""
    substance, found = regimen(row)
    water = setting(litres, plus_minus, step="0.001")
    assert found.target is not None
    assert found.target.default is not None
    assert water.volume is not None
    ceiling = ceiling_of(found, water)
    assert ceiling is not None
    wanted = Quantity(found.target.default.value, found.target.default.unit)
    return size_of(substance, found, wanted, water, water.volume, ceiling)


@given(litres=st.integers(20, 5000), share=st.integers(0, 30))
def test_c2_both_ends_of_what_a_dose_gives_are_rounded_outward(litres: int, share: int) -> None:
    """To the last digit that is computed with: in the fullest tank no less than the low end, in the emptiest no more
    than the high one."""
    found = sized(float(litres), litres * share / 100)
    whole, plus_minus = litres_of(Water(float(litres), litres * share / 100))
    assert found.gives_low * (whole + plus_minus) <= found.given_mg <= found.gives_high * (whole - plus_minus)


# --- C3: the effective minimum ---------------------------------------------------------------------------------------


def with_minimum(mg_per_l: str, row: str = "Z01") -> tuple[Substance, Regimen]:
    """The row as if its source gave an effective minimum."""
    substance, found = regimen(row)
    return substance, found._replace(effective_minimum=Figure(Decimal(mg_per_l), "mg/L", "S43", "READ"))


def test_c3_a_low_end_at_the_effective_minimum_itself_is_a_dose() -> None:
    """In 100 L exactly 0.2 g give 2 mg/L, which works; 2.001 mg/L would not be reached."""
    assert propose(*with_minimum("2"), setting(100.0, 0.0)).hold is None
    short = propose(*with_minimum("2.001"), setting(100.0, 0.0))
    assert short.hold is not None
    assert short.hold.rule == "C3"


@pytest.mark.parametrize(
    ("mode", "minimum", "holds"), [("replace removed", "1.9", False), ("as published", "2.1", True)]
)
def test_c3_only_a_repeat_that_replaces_counts_what_is_left(mode: str, minimum: str, holds: bool) -> None:
    """0.08 g for the 40 L that went out stand on the 1.2 mg/L that are left at least; a full dose stands by itself, for
    what is left may be nothing by the time it acts."""
    basin = Basin()
    basin.dose(0, "200")
    basin.change(6, "40")
    left = basin.setting(6)._replace(levels={"praziquantel": Level(1.2, 1.2)})
    proposal = propose(*with_minimum(minimum), left, mode=mode)
    assert (proposal.hold is not None and proposal.hold.rule == "C3") is holds
    assert (proposal.dose.add is None) is holds


@given(
    litres=st.integers(20, 3000),
    share=st.integers(0, 40),
    step=st.sampled_from(["0.1", "0.01", "0.001"]),
    target=st.integers(150, 200),
    ceiling=st.integers(150, 400),
    minimum=st.integers(100, 220),
)
def test_c2_and_c3_hold_together_or_the_dose_is_held(
    litres: int, share: int, step: str, target: int, ceiling: int, minimum: int
) -> None:
    """What is shown is at least the effective minimum in the fullest tank and at most the ceiling in the emptiest, for
    every volume, scale, target, ceiling and minimum; where that cannot be there is a hold and no amount."""
    substance, row = with_minimum(str(Decimal(minimum) / 100))
    top = row.ceilings[0]._replace(figure=row.ceilings[0].figure._replace(value=Decimal(ceiling) / 100))
    row = row._replace(ceilings=(top,))
    wanted = Quantity(Decimal(target) / 100, "mg/L")
    proposal = propose(substance, row, setting(float(litres), litres * share / 100, step=step), target=wanted)
    assert (proposal.dose.add is None) == (proposal.hold is not None)
    if proposal.dose.add is None:
        return
    milligrams = proposal.dose.add * 1000
    fullest = Decimal(litres) * (100 + share) / 100
    emptiest = Decimal(litres) * (100 - share) / 100
    assert milligrams >= Decimal(minimum) / 100 * fullest
    assert milligrams <= Decimal(ceiling) / 100 * emptiest
    assert milligrams <= Decimal(target) / 100 * litres


@given(
    left=st.integers(0, 12000),
    litres=st.integers(20, 2000),
    changes=st.lists(st.integers(1, 90), max_size=4),
)
def test_c1_a_repeat_as_published_is_never_sized_down(left: int, litres: int, changes: list[int]) -> None:
    """Whatever may be left and whatever was changed: the full amount of the first dose, or a hold; never less."""
    basin = Basin(litres=float(litres))
    basin.dose(0, str(2 * litres))
    for n, percent in enumerate(changes, 2):
        basin.change(n, str(Decimal(litres) * percent / 100))
    first = grams(propose_full(basin, {}))
    again = propose_full(basin, {"praziquantel": Level(0.0, left / 1000)})
    assert again.dose.add in (first, None)
    assert (again.dose.add is None) == (again.hold is not None)
    # 2 mg/L on what is left: held exactly where that could pass the ceiling of 10 mg/L.
    assert (again.hold is not None and again.hold.rule == "ceiling") == (left + first * 1000 / litres * 1000 > 10000)


def propose_full(basin: Basin, levels: dict[str, Level]) -> Proposal:
    """The repeat of day 8 in full, with so much left in the water."""
    return propose(*regimen("Z01"), basin.setting(8)._replace(levels=levels), mode="as published")


# --- C4: rounding ----------------------------------------------------------------------------------------------------


def test_c4_a_dose_out_of_a_stock_solution_is_not_advised_a_stock_solution() -> None:
    """10 mg are one step of the scale of 0.01 g: weighed they are advised a stock solution, and out of one no more."""
    substance, row = regimen("Z01")
    substance = substance._replace(solubility=Figure(Decimal(10), "g/L", "S43", "READ"))
    water = setting(5.0, 0.0)
    assert "stock solution" in propose(substance, row, water).advice
    drawn = propose(substance, row, water._replace(stock=Stock(Decimal(1), Decimal("0.5"))))
    assert (drawn.dose.add, drawn.dose.add_unit, drawn.advice) == (5, "mL", "")


# --- A ten-fold slip, in the one shipped template that the other tests of it do not reach -----------------------------


@pytest.mark.parametrize("times", [Decimal(10), Decimal("0.1")])
def test_f22_a_bath_ten_times_off_is_asked_about(times: Decimal, make: Callable[..., Room]) -> None:
    """54 L by their measures: ten times or a tenth of the litres, of the depth and of the amount that was given."""
    room = make()
    task = room.doses()[0]
    assert task["hold"] is None
    gave = show(Decimal(str(task["dose"]["add"])) * times)
    assert "--really" in room.says("done", task["code"], "--gave", f"{gave} g", code=1)
    litres = show(Decimal(54) * times)
    measured = ["tank", "measure", "Q1", f"{litres} L", "--by", "meter", "--plus-minus", "0.1 L"]
    assert "may be a slip" in room.says(*measured, code=1)
    assert "may be a slip" in room.says("tank", "gauge", "Q1", "--buckets", f"1 x {litres} L", code=1)
    assert room.doses()[0]["dose"]["add"] == task["dose"]["add"]


@pytest.mark.parametrize("name", [name for name in shipped() if load_protocol(name).medicated])
def test_f22_no_shipped_template_says_a_rate_a_size_or_a_time_of_its_own(name: str) -> None:
    """Each takes them from its regimen, so that no ten-fold slip of the template's text can stand beside it."""
    doses = [step.treatment for step in load_protocol(name).steps if step.treatment is not None]
    assert doses
    assert [one.target for one in doses] == [None] * len(doses)


# --- C7: asked once --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("gave", "code"), [("0.11 g", 0), ("0.09 g", 0), ("0.111 g", 1), ("0.089 g", 1)])
def test_c7_a_tenth_beside_the_shown_amount_is_not_asked_about_and_more_is(
    gave: str, code: int, make: Callable[..., Room]
) -> None:
    """0.1 g are shown for 54 L: 0.01 g beside it is a grain of the scale, what lies beyond may be a slip."""
    room = make()
    task = room.doses()[0]
    assert task["dose"]["add"] == pytest.approx(0.1)
    said = room.says("done", task["code"], "--gave", gave, code=code)
    assert ("--really" in said) is bool(code)


# --- C9: what a lift answers -----------------------------------------------------------------------------------------


def test_c9_a_lift_answers_what_was_seen_up_to_its_own_minute() -> None:
    """A sign and its lift may be typed with one time; what is seen a minute later is held again."""
    history = good()
    history.look(8, "12:00", signs=("gasping",))
    history.fact("lift", history.at(8, "12:00"), {})
    assert gated(history).hold is None
    history.look(8, "12:01", signs=("gasping",))
    again = gated(history).hold
    assert again is not None
    assert again.rule == "C9"


# --- C10: the mark ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("gone", "rules"), [("0.5", {""}), ("0.6", {"C10"})])
def test_c10_over_a_hundredth_of_the_water_gone_the_tank_is_not_at_its_mark(
    gone: str, rules: set[str], make: Callable[..., Room]
) -> None:
    """0.54 L of 54 L are a hundredth."""
    room = make()
    room.says("event", "evaporation", "Q1", f"{gone} L")
    assert room.held() == rules


# --- C15: salt -------------------------------------------------------------------------------------------------------


def test_c15_the_rise_is_counted_from_the_most_that_may_be_there() -> None:
    """Read 1 g/L in steps of 0.2: 1.1 g/L may be there, so 3 g/L take 1.9 x 200 = 380 g, and not 2.1 x 200 = 420 g."""
    three = Quantity(Decimal(3), "g/L")
    assert amount("T04", water(reading("salinity", "1", "0.2")), target=three) == "380 g"


def test_c10_a_dip_is_not_held_by_the_mark_of_its_tank() -> None:
    """Ten litres are missing in the tank; the vessel has its own: 30 g/L in 10 L less the 0.1 g/L there are 299 g."""
    tank = water(reading("salinity", "0.1"))._replace(vessel=Water(10.0, 0.0), short_litres=Decimal(10))
    assert amount("T01", tank) == "299 g"
    assert amount("M01", tank).startswith("C10: ")


def test_c10_the_mark_is_asked_at_a_dose_that_stays_in_the_water_too() -> None:
    """By every dose that goes into the tank, whatever its route; by no dip."""
    for row, asks in (("M01", True), ("F07", True), ("T04", True), ("T01", False), ("M02", False)):
        assert (AT_THE_MARK in asked(row, water()).confirm) is asks


# --- C8, C9: what a word and a lift do not pass ----------------------------------------------------------------------


def test_c8_a_word_stands_for_no_reading_that_is_out_of_its_limit() -> None:
    """It is for what is not known: 32 g/L read where 33 are needed hold, whatever anybody says."""
    check = Condition("reading", "salinity", "salt enough", "33", None, "g/L", 24, or_word="It tastes right")
    found = gated(good(), (check,)).hold
    assert found is not None
    assert found.rule == "C8"


def test_c9_a_lift_says_nothing_of_a_reading_that_comes_after_it() -> None:
    """Nitrite of 0.5 mg/L at half past eight, lifted; the same at nine o'clock is held anew."""
    history = good()
    history.read(10, "08:30", nitrite="0.5")
    history.fact("lift", history.at(10, "08:45"), {})
    assert gated(history, ()).hold is None
    history.read(10, "09:00", nitrite="0.5")
    again = propose(*regimen("Z01"), setting(history=history)._replace(now=history.at(10, "09:00"))).hold
    assert again is not None
    assert again.rule == "C9"


def test_c7_what_was_really_given_into_an_emergency_is_answered(make: Callable[..., Room]) -> None:
    """Under its ceiling the dose is recorded all the same, and what to watch is said."""
    room = make()
    task = room.doses()[0]
    room.says("look", "Q1 12 3", "--sign", "gasping")
    said = room.says("done", task["code"], "--gave", "0.1 g", "--really")
    assert "It would have been held: an emergency is open" in said


# --- C11, C13, C15: at the bound itself ------------------------------------------------------------------------------


@pytest.mark.parametrize(("hours", "counts"), [("23", True), ("24", False), ("25", False)])
def test_c11_only_a_gap_under_a_day_holds_for_what_replaces_a_change(hours: str, counts: bool) -> None:
    """A day or more is between full doses: of those that replace, one a day is the most."""
    row = regimen("Z01")[1]._replace(minimum_gap=Figure(Decimal(hours), "h", "S43", "READ"))
    replacing = setting()._replace(replaces=Replaced(Decimal(1), ()))
    assert (gap_of(row, replacing) is not None) is counts
    assert gap_of(row, setting()) is not None


ALKALINE = (reading("alkalinity", "180"), reading("hardness", "160"))
PENTAHYDRATE = "100 % as CuSO4.5H2O"


def test_c13_a_reading_of_the_minute_of_a_dose_does_not_know_it_yet() -> None:
    """Which of the two came first nobody said: it is read again."""
    given = dosed("copper", 5, route="prolonged", mass_mg="2", target_mg_per_l="0.2")
    for hours, held in ((5, True), (4.9, False)):
        kit = reading("copper", "0.01", "0.01", hours=hours, form="free")
        sea = water(kit, kind="marine", doses=(given,), levels={"copper": 0.01})
        assert amount("C04", sea, PENTAHYDRATE).startswith("C13: ") is held


@pytest.mark.parametrize(("step", "held"), [("0.02", False), ("0.03", True), ("0.04", True)])
def test_c13_a_kit_of_steps_over_the_band_cannot_hold_it(step: str, held: bool) -> None:
    """The band of C04 is 0.18 to 0.20 mg/L, 0.02 wide."""
    sea = water(reading("copper", "0", step, form="free"), kind="marine")
    assert amount("C04", sea, PENTAHYDRATE).startswith("C13: the kit reads in steps") is held


def test_c15_a_salinity_of_the_minute_of_a_salt_dose_does_not_know_it_yet() -> None:
    """Read and salted at one time: unknown, and refused."""
    salted = dosed("sodium-chloride", 13, route="prolonged", mass_mg="1000", target_mg_per_l="5000")
    for hours, held in ((13, True), (12.9, False)):
        tank = water(reading("salinity", "1", "0.1", hours=hours), doses=(salted,))
        assert amount("T04", tank).startswith("C15: a salt target is the total salinity") is held


# --- B2, C9: every batch of the water --------------------------------------------------------------------------------


def test_b2_what_one_batch_s_instruction_passes_it_passes_for_no_other() -> None:
    """Both batches are to be given the same dose; the gate is passed only where both instructions say so."""
    beside = good().evidence(NOW)._replace(batch="C")
    early = (Condition("day", 50, "day 50"),)
    for other, rules in (((), "C8"), (("gate",), None)):
        both = under(said("Z04", "3", "mg/L", "gate"), said("Z04", "3", "mg/L", *other, batch="C"), others=(beside,))
        found = propose(*regimen("Z04"), both, before=early).hold
        assert (found and found.rule) == rules


def test_c9_an_emergency_of_another_batch_in_the_water_holds_its_doses_too() -> None:
    """A batch that is well stands beside one of which a fish gasps."""
    sick = History("marine-watch")
    sick.look(9, signs=("gasping",))
    beside = sick.evidence(NOW)._replace(batch="C")
    well = setting(history=good())
    assert propose(*regimen("Z01"), well).hold is None
    found = propose(*regimen("Z01"), well._replace(others=(beside,))).hold
    assert found is not None
    assert found.rule == "C9"


@pytest.mark.parametrize(
    ("name", "value", "held"),
    [("oxygen", "5", False), ("oxygen", "4.9", True), ("nitrite", "0.2", False), ("nitrite", "0.21", True)],
)
def test_c9_water_without_a_batch_at_the_limit_itself_is_within_it(name: str, value: str, held: bool) -> None:
    """The same limits as beside fish: 5 mg/L of oxygen at least, 0.2 mg/L of nitrite at most."""
    assert amount("M01", water(reading(name, value, form="NO2"))).startswith("C9: ") is held


# --- C7, C10: the vessel, and what the volume holds beside the tank ---------------------------------------------------


def test_c7_too_strong_a_dip_is_judged_in_the_least_water_of_its_vessel() -> None:
    """10 L plus or minus 1: the ceiling of 30 g/L is passed from 270 g on, and not only from 300 g on."""
    substance, row = regimen("T01")
    dose = propose(substance, row, water(reading("salinity", "0.1"))._replace(vessel=Water(10.0, 1.0))).dose
    assert (dose.volume_litres, dose.volume_plus_minus_litres) == (10, 1)
    assert rescue_apart(dose, row, Decimal(270_000)) == ""
    assert "over its ceiling of 30 g/L" in rescue_apart(dose, row, Decimal(270_100))


class Alone:
    """A record of one tank, as far as its volume is asked for."""

    def rows(self, name: str, **which: str) -> list[dict[str, str]]:
        assert (name, which) == ("volumes_of_system", {"system": "s"})
        return [{"tank": "t"}]


@pytest.mark.parametrize("part", ["sump", "filter"])
def test_c10_the_water_of_sump_and_filter_is_not_that_of_the_tank(part: str) -> None:
    """With the filter off, or for one tank alone, the litres on record are more than what circulates."""
    tank = {"system": "s", "shape": json.dumps({part: "5 L"})}
    assert _beside(Alone(), tank) == (f"the {part}",)  # type: ignore[arg-type]
    assert _beside(Alone(), {**tank, "shape": "{}"}) == ()  # type: ignore[arg-type]
