"""Rule C10: a dose with the filter off is sized by the litres that really circulate: without sump and filter."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from waters import asked, dosed, water

from quarantine.actions.cards import _apart
from quarantine.dosing import Setting, Where, circulating
from quarantine.dosing.known import litres_of
from quarantine.water.ledger import Water
from quarantine.water.level import Level

OFF = Where("system", "off", ())
RUNNING = Where("system", "running", ())
ANGEL = ("Centropyge bicolor",)


APART = Water(12, 0.6)


def tank(litres: float = 62, plus_minus: float = 0.4, apart: Water | None = APART, **more: Any) -> Setting:
    """So many litres in all, with a sump of 10 L and a filter of 2 L."""
    whole = water(litres=litres, plus_minus=plus_minus, kind="marine", species=ANGEL)
    parts: dict[str, Any] = {"beside": ("the sump", "the filter"), "apart": apart, "apart_says": "sump and filter"}
    return whole._replace(**{**parts, **more})


def test_C10_with_the_filter_off_the_dose_is_for_the_tank_alone() -> None:
    """62 L - 10 L - 2 L = 50 L, and 0.4 L + 0.5 L + 0.1 L = 1 L: 2 mg/L x 50 L = 0.1 g gives 100 / 51 to 100 / 49 mg/L.
    With the filter running the same tank takes 0.124 g."""
    card = asked("Z01", tank(), where=OFF)
    assert (card.dose.volume_litres, card.dose.volume_plus_minus_litres) == (50, 1)
    assert (card.dose.add, card.dose.gives_low, card.dose.gives_high) == (
        Decimal("0.1"),
        Decimal("1.96"),
        Decimal("2.05"),
    )
    assert asked("Z01", tank(), where=RUNNING).dose.add == Decimal("0.124")


def test_C10_the_card_says_which_litres_and_why() -> None:
    """The route names the litres that do not take part, and the working both volumes with their plus-minus."""
    card = asked("Z01", tank(), where=OFF._replace(off=("carbon",)))
    assert card.how[0] == (
        "Route: bath, in this tank alone; filter off: the 12 L of sump and filter do not take part, 50 L are dosed; "
        "off or out: carbon."
    )
    assert card.working[0] == (
        "water: 50 L, plus or minus 1 L (filter off: 62 L, plus or minus 0.4 L, measured, less the 12 L, plus or minus "
        "0.6 L, of sump and filter)"
    )


def test_C2_the_ceiling_holds_in_the_least_water_that_may_be_in_the_tank() -> None:
    """The ceiling of 10 mg/L: 10 x (50 - 1) = 0.49 g, and never the 0.616 g of all the water."""
    assert "ceiling 10 mg/L, for 50 - 1 = 49 L: 0.49 g" in asked("Z01", tank(), where=OFF).working


def test_C1_the_clearing_change_before_a_dose_is_one_of_all_the_water() -> None:
    """9 mg/L there and 2.041 mg/L to come: (1 - (10 - 2.041) / 9) x (62 + 0.4) = 7.22 L, up to 7.3 L. The filter runs
    then, so the litres are a share of all the water and not of the tank (5.9 L)."""
    card = asked("Z01", tank(levels={"praziquantel": Level(8.0, 9.0)}), where=OFF)
    assert card.hold is not None
    assert card.hold.rule == "ceiling"
    assert "change at least 7.3 L of water first (12 %)" in card.hold.remedy


def test_C1_what_replaces_a_change_is_sized_by_the_share_of_all_the_water() -> None:
    """15.5 L of 62 L went, a quarter: of the 0.1 g for 50 L a quarter, rounded down; never 15.5 / 50 of it."""
    change = dosed("", 1)._replace(kind="change", data={"out_litres": "15.5", "in_litres": "15.5"})
    given_before = dosed("praziquantel", 48, route="prolonged", mass_mg="100", target_mg_per_l="2", key="k")
    level = {"praziquantel": Level(1.2, 1.5)}
    setting = tank(levels=level, doses=(given_before,), moved=(change,))
    card = asked("Z01", setting, where=OFF, mode="replace removed")
    assert card.hold is None, card.hold
    assert card.dose.add == Decimal("0.025")


@pytest.mark.parametrize(
    ("beside", "remedy"),
    [
        (("the sump",), "record how many litres stand in the sump: quarantine tank parts TANK --sump LITRES"),
        (
            ("the sump", "the filter"),
            "record how many litres stand in the sump and the filter: quarantine tank parts TANK --sump LITRES and "
            "--filter LITRES",
        ),
        (("1 other tank", "the sump"), "use a template that doses the whole water system with the filter running"),
    ],
)
def test_C10_litres_that_are_not_known_hold_the_dose_and_say_what_to_record(
    beside: tuple[str, ...], remedy: str
) -> None:
    """Without the litres of sump or filter, and where other tanks share the water, no amount is shown."""
    card = asked("Z01", tank(apart=None, beside=beside), where=OFF)
    assert card.dose.add is None
    assert card.hold is not None
    assert card.hold.rule == "C10"
    assert remedy in card.hold.remedy


def test_C10_a_tank_without_a_sump_or_filter_on_record_is_confirmed() -> None:
    """All its litres count as the tank's own, and the keeper confirms that none stand apart."""
    card = asked("Z01", tank(litres=50, apart=None, beside=()), where=OFF)
    assert card.dose.add == Decimal("0.1")
    said = (
        "No sump or filter is on record: none of the 50 L stand apart while the filter is off (rule C10; where some "
        "do, record them first: quarantine tank parts)"
    )
    assert said in card.confirm
    assert said not in asked("Z01", tank(), where=OFF).confirm


def test_C10_sump_and_filter_that_hold_as_much_as_there_is_leave_nothing_to_dose() -> None:
    """A slip of a litre of the sump shows as a tank whose volume is not known well enough."""
    card = asked("Z01", tank(apart=Water(62, 3)), where=OFF)
    assert card.hold is not None
    assert card.hold.rule == "C2"


def test_C10_the_litres_apart_are_the_tanks_own_measures() -> None:
    """Sump and filter are added with their plus-minus; with another tank in the water nothing is computed."""
    shape = {"sump": ["10", "0.5"], "filter": ["2", "0.1"]}
    assert _apart(shape, ("the sump", "the filter")) == {"apart": Water(12, 0.6), "apart_says": "sump and filter"}
    assert _apart({"sump": None, "filter": ["2", "0.1"]}, ("the filter",))["apart_says"] == "filter"
    assert _apart(shape, ("1 other tank", "the sump", "the filter")) == {}
    assert _apart({}, ()) == {}


@given(
    st.floats(min_value=20, max_value=900).map(lambda x: round(x, 1)),
    st.floats(min_value=0.1, max_value=0.9),
    st.floats(min_value=0, max_value=0.05),
)
def test_C10_the_tank_alone_lies_within_its_plus_minus_whatever_both_errors_are(
    litres: float, share: float, error: float
) -> None:
    """Both ends of V and of the litres apart, taken against each other, are inside what the card is computed with."""
    apart = Water(round(litres * share, 2), round(litres * share * 0.05, 3))
    alone = circulating(OFF, tank(litres=litres, plus_minus=round(litres * error, 2), apart=apart))
    assert alone.volume is not None
    middle, plus_minus = litres_of(alone.volume)
    whole = alone.whole
    assert whole is not None
    for sign in (1, -1):
        end = whole.litres + sign * whole.plus_minus_litres - apart.litres + sign * apart.plus_minus_litres
        assert float(middle - plus_minus) - 1e-9 <= end <= float(middle + plus_minus) + 1e-9
    assert circulating(OFF, alone) == alone


def test_C10_a_filter_that_is_off_by_the_record_holds_a_dose_for_all_the_water() -> None:
    """A template that doses with the filter running is held until somebody says that it runs; a dose without a template
    is for the tank alone, as the water stands."""
    off = tank(filter_off=True)
    card = asked("Z01", off, where=RUNNING)
    assert card.dose.add is None
    assert card.hold is not None
    assert (card.hold.rule, card.hold.remedy) == (
        "C10",
        "turn the filter on and tick the task that says so, then ask again",
    )
    assert asked("Z01", off).dose.volume_litres == 50
    assert asked("Z01", off, where=OFF).dose.volume_litres == 50


def test_C10_a_filter_that_runs_changes_nothing() -> None:
    """A dose with the filter running, in food or in a vessel is for what it was for."""
    for where in (None, RUNNING, Where("food", "", ()), Where("vessel", "", ())):
        assert circulating(where, tank()) == tank()
