"""Doses in food and dips against printed figures (publisher, title, number and year beside each)."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal

import pytest

from quarantine.dosing import Proposal, Setting, Weighed, propose
from quarantine.evidence import gather
from quarantine.facts import Fact
from quarantine.formulary import regimen
from quarantine.quantity import Quantity, to
from quarantine.water.ledger import Water

NOW = datetime(2026, 3, 1, 12, tzinfo=UTC)


def fact(kind: str, data: dict[str, object], day: int) -> Fact:
    at = datetime(2026, 2 if day < 0 else 3, 20 if day < 0 else day, 9, tzinfo=UTC)
    return Fact(kind, kind, at, at, "keeper", "S", "T", "B", None, data)


def setting(*, grams: str = "1", food: str = "1", vessel: Decimal | None = None, step: str = "0.001") -> Setting:
    """Ten fish of a stated weight that eat a stated amount; a vessel of water without salt."""
    arrival = fact("arrival", {"count": "10"}, -1)
    salt = {"parameter": "salinity", "value": "0", "step": "0", "unit": "g/L", "water": "fresh"}
    ate = fact("look", {"seen": 10, "no_signs": True, "appetite": 3, "offered": True}, 1)
    evidence = gather([arrival, fact("reading", salt, 1), ate], "B", "UTC", arrival, NOW, [])
    return Setting(
        kind="fresh",
        zone="UTC",
        now=NOW,
        volume=None,
        volume_says="",
        levels={},
        doses=(),
        evidence=evidence,
        scale_step_grams=Decimal(step),
        weighed=Weighed(Decimal(grams), Decimal(0), 10, Decimal(food), "stated", NOW),
        vessel=None if vessel is None else Water(float(vessel), 0.0),
    )


def dose(row: str, water: Setting) -> Proposal:
    proposal = propose(*regimen(row), water)
    assert proposal.hold is None, proposal.hold
    return proposal


@pytest.mark.parametrize("grams", ["200", "1000", "4000"])
def test_metronidazole_fifty_milligrams_a_kilogram_and_ten_a_gram_of_food(grams: str) -> None:
    """Whaley, Francis-Floyd, Metronidazole in angelfish, International Association for Aquatic Animal Medicine, 1991:
    50 mg/kg of fish a day, 10 mg in each gram of food. They agree at 0.5 % of the weight a day (arithmetic),
    exactly."""
    food = Decimal(grams) * Decimal("0.005")
    shown = dose("M02", setting(grams=grams, food=str(food))).dose
    assert shown.add == Decimal(grams) / 1000 * 50 / 1000
    assert shown.food_grams == food
    assert shown.add is not None
    assert shown.add * 1000 / food == 10


def test_fenbendazole_a_pound_of_food_holds_one_point_one_four_grams() -> None:
    """University of Florida IFAS EDIS, Nematode (Roundworm) Infections in Fish, Circular 91 / FA091, year not stated:
    1.14 g per pound of food (0.45359237 kg: NIST, Handbook 44, appendix C); last printed digit 0.01 g."""
    pound = to(Quantity(Decimal(1), "lb"), "g")
    shown = dose("N05", setting(grams="45359", food=str(pound))).dose
    assert shown.add is not None
    assert Decimal("1.13") <= shown.add <= Decimal("1.14")


def test_fenbendazole_at_one_percent_a_day_is_twenty_five_milligrams_a_kilogram() -> None:
    """Circular 91 / FA091 again, at a feeding rate of 1 % of the weight a day: 25 mg/kg of fish a day (arithmetic; an
    unsigned veterinary wiki prints the same figure for 3 days: common practice); last printed digit 1 mg/kg."""
    shown = dose("N05", setting(grams="1000", food="10", step="0.0001")).dose
    assert shown.add is not None
    assert abs(shown.add * 1000 - 25) <= 1


@pytest.mark.parametrize("litres", ["1", "5", "10", "20"])
def test_a_salt_dip_is_thirty_grams_for_each_litre(litres: str) -> None:
    """University of Florida IFAS, The Use of Salt in Aquaculture, Fact Sheet VM-86, 1995: 3 %, which is 30 g/L, 30 s to
    10 min by species; out when fish roll (Merck Veterinary Manual, Management of Fish, year not stated). Exactly."""
    proposal = dose("T01", setting(vessel=Decimal(litres)))
    assert proposal.dose.add == 30 * Decimal(litres)
    assert any("30 s to 10 min by species; out at once when fish roll" in line for line in proposal.how)
    assert "VM-86, 1995" in proposal.dose.reference


def test_a_salt_dip_in_ten_us_gallons_takes_two_and_a_half_pounds() -> None:
    """Common practice, no official source: an extension course page prints 2.5 lb of salt in 10 US gallons for 3 %;
    last printed digit 0.1 lb."""
    litres = to(Quantity(Decimal(10), "USgal"), "L")
    added = dose("T01", setting(vessel=litres)).dose.add
    assert added is not None
    assert abs(to(Quantity(added, "g"), "lb") - Decimal("2.5")) <= Decimal("0.1")
