"""Stock solutions (needs F21, rule C4): only of what dissolves, and the same dose as weighed, to rounding."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_amounts import setting
from test_holds import held

from quarantine.dosing import SYRINGE_ML, Stock, propose
from quarantine.formulary import Figure, Regimen, Substance, load_all, regimen

STOCK = Stock(Decimal(1), Decimal("0.5"))


def dissolving(most: str = "10 ") -> tuple[Substance, Regimen]:
    """Z01 as if a source gave its solubility, in g/L: no entry has one yet."""
    substance, row = regimen("Z01")
    return substance._replace(solubility=Figure(Decimal(most), "g/L", "S43", "READ")), row


@given(litres=st.integers(20, 2000), grams=st.integers(1, 5))
def test_F21_the_round_trip_equals_the_direct_dose_to_rounding(litres: int, grams: int) -> None:
    """Millilitres times strength is target times litres less at most one step of the syringe."""
    water = setting(float(litres), 0.0)._replace(stock=Stock(Decimal(grams), Decimal("0.5")))
    proposal = propose(*dissolving(), water)
    assert proposal.hold is None
    dose = proposal.dose
    assert dose.add is not None
    assert dose.add_unit == "mL"
    strength = Decimal(grams) * 2  # mg/mL
    direct = Decimal(2 * litres)
    assert dose.add * strength <= direct < (dose.add + SYRINGE_ML) * strength


def test_the_label_says_what_when_and_that_nobody_knows_how_long() -> None:
    """1 g in 500 mL are 2 mg/mL; 400 mg are 200 mL."""
    proposal = propose(*dissolving(), setting(200.0, 0.0)._replace(stock=STOCK))
    assert proposal.dose.add == 200
    assert "2 mg/mL" in proposal.dose.add_of
    (label,) = [line for line in proposal.how if line.startswith("Label: ")]
    assert "made on 2026-02-20" in label
    assert "not known (no source)" in label


def test_more_than_dissolves_is_refused() -> None:
    """2 g/L of something that dissolves to 1 g/L would leave most of it on the bottom."""
    hold = held(propose(*dissolving("1"), setting()._replace(stock=STOCK)))
    assert hold.rule == "C4"
    assert "dissolves" in hold.says


@pytest.mark.parametrize("row", ["Z01", "M01"])
def test_without_a_solubility_on_record_there_is_no_stock_solution(row: str) -> None:
    """The remedy is to weigh finer or to pour all that was weighed."""
    substance, one = regimen(row)
    assert substance.solubility is None
    hold = held(propose(substance, one, setting(kind=one.water[0])._replace(stock=STOCK)))
    assert "no solubility" in hold.says


def test_food_is_weighed_and_not_poured() -> None:
    """Every ready row in food refuses a stock solution or is held before."""
    rows = [(s, r) for s in load_all() for r in s.regimens if r.route == "food" and r.tier == "ready"]
    assert rows
    for substance, row in rows:
        assert held(propose(substance, row, setting(kind="fresh")._replace(stock=STOCK))).rule in ("C4", "in food")
