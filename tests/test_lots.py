"""The stock as a pure room: what is left, what is barred, from which lots an amount is drawn."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from quarantine.stock import Lot, barred, draws, left

TODAY = date(2026, 2, 10)


def lot(number: str = "1", amount: str = "10", **said: object) -> Lot:
    known = {"good_until": None, "opened_on": None, "recalled": False, **said}
    fixed = {"id": number, "product": "Jar", "substance": "praziquantel", "strength": "98 %", "each": None}
    return Lot(**fixed, unit="g", step=None, number=number, left=Decimal(amount), **known)  # type: ignore[arg-type]


def test_a_lot_is_good_on_its_last_day_and_not_after() -> None:
    """Recalled, expired and empty are three reasons, each said."""
    assert barred(lot(good_until=TODAY), TODAY) == ""
    assert barred(lot(good_until=TODAY), TODAY + timedelta(days=1)) == "expired 2026-02-10"
    assert barred(lot(recalled=True), TODAY) == "recalled"
    assert barred(lot(amount="0"), TODAY) == "empty"


def test_what_runs_out_first_is_taken_first_and_an_opened_one_before_a_closed_one() -> None:
    """6 g: 4 g of the lot that ends in March, then 2 g of the opened one of two without an expiry."""
    lots = [
        lot("closed", "9"),
        lot("opened", "9", opened_on=TODAY),
        lot("March", "4", good_until=date(2026, 3, 31)),
        lot("gone", "9", good_until=date(2026, 1, 31)),
    ]
    taken, lacking = draws(lots, Decimal(6), TODAY)
    assert [(one.lot.number, one.amount) for one in taken] == [("March", Decimal(4)), ("opened", Decimal(2))]
    assert lacking == 0


AMOUNTS = st.decimals("0", "100", places=2)


@given(st.lists(st.tuples(AMOUNTS, st.integers(-3, 3), st.booleans()), max_size=6), AMOUNTS)
def test_draws_and_what_is_lacking_make_up_the_amount(made: list[tuple[Decimal, int, bool]], wanted: Decimal) -> None:
    """No lot gives more than it has, a barred one gives nothing, and not a hundredth is lost."""
    lots = [
        lot(str(n), str(amount), good_until=TODAY + timedelta(days=days), recalled=recalled)
        for n, (amount, days, recalled) in enumerate(made)
    ]
    taken, lacking = draws(lots, wanted, TODAY)
    assert left(one.amount for one in taken) + lacking == wanted
    assert all(0 < one.amount <= one.lot.left for one in taken)
    assert not [one for one in taken if barred(one.lot, TODAY)]
    usable = left(one.left for one in lots if not barred(one, TODAY))
    assert lacking == max(wanted - usable, Decimal(0))
