"""Dips: in a vessel of their own with its own litres, timed, after a trial (rules C5, C6, C8 and C15)."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from history import History
from test_amounts import NOW, setting
from test_holds import held, row_of

from quarantine.dosing import TRIAL, Proposal, Setting, Where, present_salinity, propose, rescue_apart
from quarantine.formulary import regimen
from quarantine.water.ledger import Water
from quarantine.water.level import Level


def vessel(litres: float = 10.0, plus_minus: float = 0.0, *, salinity: str | None = "0.05") -> Setting:
    """A vessel beside a tank of 200 L; its water is the tank's, with 0 to 0.1 g/L of salt."""
    history = History("fresh-watch")
    if salinity is not None:
        history.read(10, "08:00", salinity=salinity)
    water = setting(kind="fresh", history=history)
    return water._replace(vessel=Water(litres, plus_minus))


def t01(water: Setting, where: Where | None = None) -> Proposal:
    return propose(*regimen("T01"), water, mode="as published", where=where)


def test_T01_thirty_grams_for_each_litre_of_the_vessel() -> None:
    """(30 - 0.1) g/L x 10 L = 299 g; the tank's 200 L have nothing to do with it."""
    proposal = t01(vessel())
    assert proposal.hold is None
    dose = proposal.dose
    assert (dose.route, dose.add, dose.volume_litres) == ("dip", Decimal(299), Decimal(10))
    assert dose.gives_high is not None
    assert dose.gives_high <= 30


def test_C15_without_the_litres_of_the_vessel_nothing_is_shown() -> None:
    """The hold says how to give them."""
    hold = held(t01(vessel()._replace(vessel=None)))
    assert hold.rule == "C15"
    assert '--vessel "10 L"' in hold.remedy


def test_C15_a_present_salinity_that_is_not_known_is_refused() -> None:
    """The vessel is filled with the tank's water, so its salt counts."""
    assert held(t01(vessel(salinity=None))).rule == "C15"


def test_C2_a_vessel_known_badly_is_refused() -> None:
    """10 L, plus or minus 10 L, is no measure."""
    assert held(t01(vessel(10.0, 10.0))).rule == "C2"


def test_C8_the_trial_on_a_few_is_confirmed_by_giving_it() -> None:
    """A before-check of every dip whose first use on a species is a trial."""
    assert TRIAL in t01(vessel()).confirm


def test_C6_the_card_says_the_time_the_way_out_and_to_set_a_timer_now() -> None:
    """The row's own words, and the template's shorter limit where it has one."""
    how = " ".join(t01(vessel(), Where("vessel", "", (), "1 min")).how)
    for words in ("30 s to 10 min by species; out at once when fish roll", "here at most 1 min", "Set a timer now"):
        assert words in how
    assert "never in the tank" in how


def test_a_dip_that_hangs_on_more_than_litres_is_still_held() -> None:
    """Its own vessel does not tell the strength of a product."""
    substance, row = row_of("T01", needs=("strength of the product",))
    assert held(propose(substance, row, vessel())).rule == "strength of the product"


def test_the_salt_of_a_dip_is_not_in_the_tank() -> None:
    """A reading of the tank from before a dip still holds; after salt into the tank it does not."""
    history = History("fresh-watch")
    history.read(10, "08:00", salinity="1")
    for route, known in (("dip", True), ("prolonged", False)):
        dose = history.dose(NOW - timedelta(minutes=10), route=route, substance="sodium-chloride", counts=False)
        water = setting(kind="fresh", history=history, doses=(dose,))
        assert (present_salinity(water) is not None) is known


def test_a_medicine_in_the_tank_still_holds_a_salt_dip_on_its_day() -> None:
    """What the fish are in counts, though the dip is made apart."""
    history = History("fresh-watch")
    history.read(10, "08:00", salinity="0.05")
    given = history.dose(NOW - timedelta(hours=1), substance="metronidazole")
    water = vessel()._replace(levels={"metronidazole": Level(0.0, 5.0)}, doses=(given,))
    assert held(t01(water)).rule == "what must not be mixed"


@pytest.mark.parametrize(("grams", "over"), [(290, False), (400, True)])
def test_C7_too_strong_a_dip_is_answered_with_the_rescue(grams: int, over: bool) -> None:
    """400 g in 10 L are 40 g/L: the fish go into clean water at once."""
    says = rescue_apart(t01(vessel()).dose, regimen("T01")[1], Decimal(grams * 1000))
    assert bool(says) is over
    assert ("clean water" in says) is over
