"""What planned work takes against what is in stock: when it runs out, what is lacking, when to buy (F76, F77)."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quarantine.actions.shopping import exact_amount
from quarantine.dosing import Setting
from quarantine.dosing.forms import tops_up
from quarantine.dosing.known import ceiling_of, default_target
from quarantine.dosing.size import size_of
from quarantine.formulary import load_all
from quarantine.shopping import LEAD_DAYS, SPILLAGE_SHARE, Item, Kept, Need, first_product, item_of
from quarantine.stock import Lot
from quarantine.water.ledger import Water

TODAY = date(2026, 3, 1)


def lot(number: str, left: str, good_until: date | None = None, *, product: str = "Jar", recalled: bool = False) -> Lot:
    return Lot(number, product, "p", "98 %", None, "g", None, number, good_until, None, recalled, Decimal(left))


def kept(*lots: Lot, step: str = "0.1") -> Kept:
    return Kept("p", "Jar" if lots else "", "P", "g", Decimal(step), lots)


def need(day: int | None, amount: str | None, code: str = "D1", why: str = "") -> Need:
    on = None if day is None else TODAY + timedelta(days=day)
    return Need("p", "g", None if amount is None else Decimal(amount), on, "Q1-1", "Q1", code, "bath", why)


def test_F76_the_day_it_runs_out_is_that_of_the_first_dose_that_is_not_covered() -> None:
    """5 g for three doses of 2 g: the third lacks 1 g, and is bought for a week before, with a tenth for spillage."""
    item = item_of(kept(lot("A", "5")), [need(20, "2", "D3"), need(10, "2", "D1"), need(15, "2", "D2")], TODAY)
    assert (item.needed, item.reserve, item.usable) == (Decimal(6), Decimal("0.6"), Decimal(5))
    assert (item.short, item.buy, item.runs_out) == (Decimal(1), Decimal("1.6"), TODAY + timedelta(days=20))
    assert item.buy_by == TODAY + timedelta(days=20 - LEAD_DAYS)
    assert [(one.need.code, one.lacking) for one in item.shorts] == [("D3", Decimal(1))]


def test_F77_the_lead_time_is_taken_off_the_day() -> None:
    """With another lead the same shortage is bought on another day."""
    days = {lead: item_of(kept(), [need(10, "2")], TODAY, lead).buy_by for lead in (0, 3, 10, 14)}
    assert days == {lead: TODAY + timedelta(days=10 - lead) for lead in days}


def test_a_lot_that_expires_before_the_dose_does_not_cover_it() -> None:
    """Grams enough, but good only until the day before: the dose lacks them all, and what goes to waste is said."""
    good = TODAY + timedelta(days=9)
    item = item_of(kept(lot("A", "5", good)), [need(10, "2")], TODAY)
    assert (item.short, item.usable, item.runs_out) == (Decimal(2), Decimal(5), TODAY + timedelta(days=10))
    assert [(one.number, left) for one, left in item.wasted] == [("A", Decimal(5))]
    assert item_of(kept(lot("A", "5", good)), [need(9, "2")], TODAY).short == 0


def test_what_expires_first_is_drawn_first() -> None:
    """Of two lots the one with the earlier expiry is used up for the first dose, so nothing of it is wasted."""
    lots = lot("B", "2"), lot("A", "2", TODAY + timedelta(days=5))
    item = item_of(kept(*lots), [need(3, "2"), need(10, "2")], TODAY)
    assert (item.short, item.wasted) == (Decimal(0), ())
    assert item.buy == item.reserve == Decimal("0.4")


def test_where_only_the_reserve_is_lacking_it_is_bought_before_the_last_dose() -> None:
    """Enough for the doses and nothing for spillage: nothing runs out, and a tenth is to be bought."""
    item = item_of(kept(lot("A", "4")), [need(10, "2"), need(20, "2")], TODAY)
    assert (item.short, item.runs_out, item.buy) == (Decimal(0), None, Decimal("0.4"))
    assert item.buy_by == TODAY + timedelta(days=20 - LEAD_DAYS)
    assert item_of(kept(lot("A", "4.4")), [need(10, "2"), need(20, "2")], TODAY).buy_by is None


def test_a_late_dose_is_wanted_today_and_one_without_a_day_comes_last() -> None:
    """An open dose of last week takes what is there; a task that waits for something is counted, without a day."""
    item = item_of(kept(lot("A", "2")), [need(None, "2", "W"), need(-7, "1", "L"), need(4, "1", "N")], TODAY)
    assert [(one.need.code, one.on) for one in item.shorts] == [("W", TODAY + timedelta(days=4))]
    assert (item.needed, item.runs_out, item.buy_by) == (Decimal(4), None, None)
    assert item_of(kept(), [need(-7, "1")], TODAY).runs_out == TODAY


def test_an_amount_that_is_not_known_is_listed_and_never_guessed() -> None:
    """It is in no sum."""
    item = item_of(kept(), [need(3, None, "D1", "a reading of the day"), need(4, "2")], TODAY)
    assert (item.needed, item.short) == (Decimal(2), Decimal(2))
    assert [one.why for one in item.unknown] == ["a reading of the day"]


@pytest.mark.parametrize(("lots", "product"), [((), ""), (("Old", "New"), "New"), (("Old",), "Old")])
def test_the_product_that_is_counted_by_is_the_one_that_is_used_next(lots: tuple[str, ...], product: str) -> None:
    """One that may be used before one that expired; an expired one is named where there is no other."""
    made = [lot(name, "5", TODAY - timedelta(days=1) if name == "Old" else None, product=name) for name in lots]
    assert first_product(made, TODAY) == product


AMOUNTS = st.integers(1, 400).map(lambda n: Decimal(n) / 100)
LOTS = st.lists(st.tuples(AMOUNTS, st.none() | st.integers(-3, 40), st.booleans()), max_size=4)
NEEDS = st.lists(st.tuples(st.integers(-5, 40), AMOUNTS), min_size=1, max_size=12)


def simulated(lots: tuple[Lot, ...], needs: list[Need]) -> tuple[date | None, Decimal, Decimal]:
    """Day by day, dose by dose and hundredth of a gram by hundredth, as a person takes them out of the bottles: the day
    the first was lacking, how much was taken, and how much was lacking in all."""
    left = {one.number: int(one.left * 100) for one in lots}
    first, taken, lacking = None, 0, 0
    for day in (TODAY + timedelta(days=n) for n in range(41)):
        for one in sorted(needs, key=lambda n: n.day or day):
            if one.day is None or max(one.day, TODAY) != day:
                continue
            for _ in range(int((one.amount or 0) * 100)):
                good = [x for x in lots if left[x.number] and not x.recalled and (x.good_until or day) >= day]
                if not good:
                    first, lacking = first or day, lacking + 1
                    continue
                soonest = min(good, key=lambda x: (x.good_until or date.max, x.number))
                left[soonest.number] -= 1
                taken += 1
    return first, Decimal(taken) / 100, Decimal(lacking) / 100


@given(LOTS, NEEDS)
def test_F76_the_shortfall_is_that_of_a_simulated_run_out(
    lots: list[tuple[Decimal, int | None, bool]], needs: list[tuple[int, Decimal]]
) -> None:
    """The predicted day and the grams are those of taking every dose out of the bottles bit by bit; the sums agree."""
    made = tuple(
        lot(str(n), str(left), None if good is None else TODAY + timedelta(days=good), recalled=recalled)
        for n, (left, good, recalled) in enumerate(lots)
    )
    wanted = [need(day, str(amount), f"D{n}") for n, (day, amount) in enumerate(needs)]
    item: Item = item_of(kept(*made, step="0.01"), wanted, TODAY)
    first, taken, lacking = simulated(made, wanted)
    assert (item.runs_out, item.short, item.needed) == (first, lacking, taken + lacking)
    assert item.short == sum((one.lacking for one in item.shorts), Decimal(0))
    assert item.needed * SPILLAGE_SHARE <= item.reserve < item.needed * SPILLAGE_SHARE + Decimal("0.01")
    assert item.short <= item.buy <= item.short + item.reserve


@given(LOTS, NEEDS)
def test_F77_once_it_is_bought_nothing_is_lacking(
    lots: list[tuple[Decimal, int | None, bool]], needs: list[tuple[int, Decimal]]
) -> None:
    """What the list says to buy, in a new lot, covers every dose and the reserve."""
    made = tuple(
        lot(str(n), str(left), None if good is None else TODAY + timedelta(days=good), recalled=recalled)
        for n, (left, good, recalled) in enumerate(lots)
    )
    wanted = [need(day, str(amount), f"D{n}") for n, (day, amount) in enumerate(needs)]
    item = item_of(kept(*made, step="0.01"), wanted, TODAY)
    after = item_of(kept(*made, lot("bought", str(item.buy)), step="0.01"), wanted, TODAY)
    assert (after.short, after.buy) == (Decimal(0), Decimal(0))


PLAIN = {
    row.id: (substance, row)
    for substance in load_all()
    for row in substance.regimens
    if row.tier == "ready" and row.target and row.target.default and row.route in ("bath", "prolonged")
    if not row.own_vessel and not tops_up(substance, row)
    if not row.water_rules and not any(one.group or one.warmest for one in row.ceilings)
}


def set_in(volume: Water) -> Setting:
    """That water, with nothing in it and nothing known but its litres."""
    return Setting(
        kind="fresh",
        zone="UTC",
        now=datetime(2026, 3, 1, tzinfo=UTC),
        volume=volume,
        volume_says="measured",
        levels={},
        doses=(),
        evidence=None,
        scale_step_grams=Decimal("0.01"),
    )


@given(st.sampled_from(sorted(PLAIN)), st.integers(5, 900_000), st.integers(0, 60))
def test_a_need_is_sized_as_the_dose_will_be(name: str, tenths: int, percent: int) -> None:
    """For every ready row that hangs on litres alone: the exact amount is that of the dose's own working (C2)."""
    substance, row = PLAIN[name]
    litres = Decimal(tenths) / 10
    volume = Water(float(litres), float(litres * percent / 100))
    setting = set_in(volume)
    ceiling, wanted = ceiling_of(row, setting), default_target(row, setting)
    assert ceiling is not None
    assert wanted is not None
    size = size_of(substance, row, wanted, setting, volume, ceiling)
    exact, why = exact_amount(substance, row, f"{wanted.value} {wanted.unit}", setting)
    assert (exact, why) == (size.exact_mg, "")


def test_the_rows_that_hang_on_litres_alone_are_many() -> None:
    """The property above is about something."""
    assert {"praziquantel", "metronidazole", "levamisole"} <= {substance.id for substance, _ in PLAIN.values()}


def test_a_planned_change_is_made_good_for_the_litres_it_takes_out() -> None:
    """25 L of 100 L at 2 mg/L: 50 mg; never more than the whole dose."""
    substance, row = PLAIN["Z01"]
    setting = set_in(Water(100.0, 1.0))
    assert exact_amount(substance, row, "2 mg/L", setting, Decimal(25)) == (Decimal(50), "")
    assert exact_amount(substance, row, "2 mg/L", setting, Decimal(250)) == (Decimal(200), "")
