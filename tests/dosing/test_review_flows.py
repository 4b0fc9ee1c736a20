"""Water that flows through a tank: what it takes of a dose, and which readings it makes old. And what a card asks."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from math import exp

import pytest
from waters import GOLDFISH, NOW, amount, asked, dosed, reading, water

from quarantine.dosing import Setting
from quarantine.dosing.repeats import taken_out
from quarantine.facts import Fact
from quarantine.quantity import Quantity
from quarantine.water.ledger import Water, flowed
from quarantine.water.level import Step, ledger, level


def flow(litres_per_hour: str, hours: float, *, until: float | None = None, tank: str = "t") -> Fact:
    """A flow that began so many hours ago, and ended ``until`` hours ago (None: it runs on)."""
    at = NOW - timedelta(hours=hours)
    end = None if until is None else (NOW - timedelta(hours=until)).isoformat()
    data = {"litres_per_hour": litres_per_hour, "until": end}
    return Fact(f"x{hours}", "exchange", at, at, "k", "s", tank, None, None, data)


def change(litres: str, hours: float) -> Fact:
    """As much out as in."""
    at = NOW - timedelta(hours=hours)
    return Fact(f"c{hours}", "change", at, at, "k", "s", "t", None, None, {"out_litres": litres, "in_litres": litres})


def dosed_marine(*moved: Fact) -> Setting:
    """200 L of sea water with praziquantel of five days ago."""
    given = dosed("praziquantel", 120, route="prolonged", mass_mg="400", target_mg_per_l="2")
    return water(kind="marine", doses=(given,), levels={"praziquantel": 1.0})._replace(moved=moved)


# 200 L through 200 L leave exp(-1) of what was there (mass balance of a well-mixed water): 0.4 g x 0.63212 = 0.25285 g.
@pytest.mark.parametrize(
    ("moved", "grams"),
    [
        ((flow("10", 20),), "0.252 g"),
        ((flow("10", 30, until=10),), "0.252 g"),
        ((flow("10", 130, until=100),), "0.252 g"),  # the first ten hours of it were before the dose
        ((flow("10", 20), change("100", 1)), "0.326 g"),  # half of exp(-1) is left: 0.4 x 0.81606
        ((change("80", 6),), "0.16 g"),
    ],
)
def test_C1_a_repeat_makes_good_what_flowed_out(moved: tuple[Fact, ...], grams: str) -> None:
    """Litres that flowed through were taken out as those of a change are, and mixed all the while."""
    assert amount("Z01", dosed_marine(*moved), mode="replace removed") == grams


def test_the_litres_that_flowed_are_counted_between_two_instants() -> None:
    """A later flow of a tank ends the one before, also one that was said to last longer; other tanks have their own."""
    facts = [flow("10", 10, until=2), flow("5", 6, until=2), flow("1", 4, tank="other")]
    assert flowed(facts, NOW - timedelta(hours=10), NOW) == pytest.approx(40 + 20 + 4)
    assert flowed(facts, NOW - timedelta(hours=7), NOW - timedelta(hours=5)) == pytest.approx(10 + 5)


def test_the_share_and_the_litres_of_a_flow_agree_with_the_closed_form() -> None:
    """1 - exp(-q t / V)."""
    setting = dosed_marine(flow("4", 12))
    out, share = taken_out(setting, list(setting.doses), Decimal(200))
    assert out == 48
    assert float(share) == pytest.approx(1 - exp(-48 / 200), abs=1e-12)


def test_C2_a_reading_that_soft_water_flowed_away_sizes_no_copper() -> None:
    """2 L through 200 L are within a hundredth; 2.5 L are not, and the alkalinity is asked for again."""
    read = (
        reading("alkalinity", "180", hours=5),
        reading("hardness", "160", hours=5),
        reading("copper", "0", "0.01", hours=5, form="free"),
    )
    salt = "100 % as CuSO4.5H2O"
    assert amount("C01", water(*read)._replace(moved=(flow("0.4", 6),)), salt) == "0.18 g"
    assert "total alkalinity of the water is not known" in amount(
        "C01", water(*read)._replace(moved=(flow("0.5", 6),)), salt
    )


def test_C15_a_target_under_the_ceiling_is_reached_from_what_is_there_and_not_passed() -> None:
    """3 g/L in 200 L that hold 1 g/L: 400 g, where the ceiling of 5 g/L alone would leave room for 800 g."""
    three = Quantity(Decimal(3), "g/L")
    assert amount("T04", water(reading("salinity", "1")), target=three) == "400 g"
    assert amount("T04", water(reading("salinity", "1")), "97 %", target=three) == "412.371 g"


def test_permanganate_asks_for_the_demand_of_the_water() -> None:
    """The entry needs it, and no reading holds it, so the keeper says that it was tried."""
    assert any("uses up was tried first" in words for words in asked("K01", water(species=GOLDFISH)).confirm)
    assert not any("uses up" in words for words in asked("Z01", water(kind="marine")).confirm)


def test_the_ledger_line_by_line_is_as_tight_as_the_level() -> None:
    """75 to 125 L, nearly emptied twice: the cuts that earlier lines needed do not loosen the last one."""
    at = datetime(2026, 3, 1, 9, tzinfo=UTC)
    changes = ((30.0, 0.1), (32.0, 3.1), (4.0, 2.1))
    steps = [Step("dose", at, 0.0, 1.0), *(Step("change", at, out_litres=o, in_litres=i) for o, i in changes)]
    whole = level(steps, Water(100.0, 25.0), "none", at)
    (_, line), *_ = reversed(ledger(steps, Water(100.0, 25.0), "none"))
    assert whole.high is not None
    assert line.high == pytest.approx(whole.high, rel=1e-4)
