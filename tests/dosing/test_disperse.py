"""What a dose of fewer than twenty steps is told, in the order of rule C4; and stock solutions out of a product."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from waters import asked, hold, water

from quarantine.dosing import Proposal, Setting, Stock, given_in_ledger, propose, read_strength
from quarantine.dosing.forms import Measure, fine_enough, stock_error
from quarantine.formulary import Figure, load, load_all, regimen
from quarantine.quantity import Quantity


def dissolving(setting: Setting, strength: str | None = None, most: str = "10") -> Proposal:
    """Z01 as if a source gave its solubility, in g/L: no entry has one."""
    substance, row = regimen("Z01")
    product = read_strength(strength, substance)._replace(sure=True) if strength else None
    soluble = substance._replace(solubility=Figure(Decimal(most), "g/L", "S43", "READ"))
    return propose(soluble, row, setting._replace(product=product))


def marine(litres: float = 49.0, step: str = "0.01", stock: Stock | None = None, syringe: str = "0.1") -> Setting:
    """Marine water measured without a doubt."""
    return water(litres=litres, kind="marine", step=step)._replace(stock=stock, syringe_step_ml=Decimal(syringe))


def test_no_shipped_entry_has_a_solubility() -> None:
    """None was found in a source, so none is made up: what is below stands on an entry of the tests' own."""
    assert [s.id for s in load_all() if s.solubility is not None] == []


# --- Under twenty steps ----------------------------------------------------------------------------------------------


def test_C4_the_card_offers_a_finer_scale_then_no_stock_solution_then_disperse_and_pour() -> None:
    """98 mg on a 0.01 g scale: 0.001 g would do; without a solubility nothing but to pour all that was weighed."""
    advice = asked("Z01", marine()).advice
    order = ["Weigh on a finer scale: one with steps of 0.001 g", "No solubility", "disperse and pour: stir all that"]
    assert [advice.find(words) for words in order] == sorted(advice.find(words) for words in order)
    assert all(words in advice for words in order)
    assert advice.endswith("pour all of it, never a share of a larger amount.")
    assert "half a step, 5.6 % of it" in advice  # 0.005 g of 0.09 g


def test_C4_where_it_dissolves_a_stock_solution_stands_in_its_place() -> None:
    """Finer first, then the solution with what dissolves; no word of dispersing."""
    advice = dissolving(marine()).advice
    assert "(one with steps of 0.001 g would do), or make a stock solution (dissolves to 10 g/L)" in advice
    assert "disperse" not in advice


def test_C4_a_hold_says_which_step_would_do_and_never_a_share_of_more() -> None:
    """98 mg on a 0.1 g scale."""
    found = hold("Z01", marine(step="0.1"))
    assert found.rule == "C4"
    assert "one with steps of 0.001 g would do" in found.remedy
    assert "never a share of a larger amount: what is weighed is stirred into tank water and all of it" in found.remedy


@given(mg=st.decimals("0.001", "100000", places=4), holds=st.sampled_from(["1000", "980", "370", "30"]))
def test_the_step_that_would_do_makes_twenty_of_the_dose_and_ten_times_coarser_does_not(
    mg: Decimal, holds: str
) -> None:
    """A power of ten: at least twenty steps, fewer than two hundred."""
    measure = Measure("g", Decimal(holds), "")
    step = fine_enough(mg, measure)
    assert 20 * step * measure.holds <= mg < 200 * step * measure.holds
    assert step.as_tuple().digits == (1,)


def test_a_liquid_is_told_of_a_finer_syringe() -> None:
    """2 mg/L x 30 L = 60 mg of a 3 % w/v liquid is 2 mL; of one of 30 % w/v 0.2 mL, two steps of 0.1 mL."""
    assert asked("Z01", marine(30), "3 % w/v").advice == ""
    advice = asked("Z01", marine(30), "30 % w/v").advice
    assert "Draw with a finer syringe: one with steps of 0.01 mL would do" in advice
    assert asked("Z01", marine(30, syringe="0.01"), "30 % w/v").advice == ""
    assert "setting syringe_step): one with steps of 0.001 mL" in hold("Z01", marine(10), "30 % w/v").remedy


# --- Stock solutions out of a product --------------------------------------------------------------------------------


@given(
    litres=st.integers(20, 900),
    grams=st.decimals("0.2", "4", places=2),
    percent=st.integers(5, 100),
    millilitres=st.integers(100, 1000),
)
def test_F21_stock_and_direct_dose_agree_within_the_stated_error(
    litres: int, grams: Decimal, percent: int, millilitres: int
) -> None:
    """Both put the target into the water less at most one step of what measures them, and never more."""
    strength = f"{percent} %"
    made = dissolving(marine(litres, "0.001", Stock(grams, Decimal(millilitres) / 1000)), strength, most="100")
    straight = asked("Z01", marine(litres, "0.001"), strength)
    wanted = Decimal(2 * litres)
    assert straight.dose.add is not None
    direct = straight.dose.add * 10 * percent
    assert wanted - Decimal("0.001") * 10 * percent < direct <= wanted
    holds = grams * 10 * percent / millilitres  # mg in 1 mL
    if made.hold is not None:  # so strong that a step of the syringe is over a fifth of the dose
        assert made.hold.rule == "C4"
        assert holds * Decimal("0.1") > wanted / 10
        return
    assert made.dose.add is not None
    given_mg = made.dose.add * holds
    assert wanted - holds * Decimal("0.1") - Decimal("0.001") < given_mg <= wanted
    assert abs(given_mg - direct) < holds * Decimal("0.1") + Decimal("0.01") * percent + Decimal("0.001")


def test_the_strength_of_the_powder_counts_and_what_was_drawn_is_recorded_by_it() -> None:
    """0.5 g of 98 % made up to 250 mL holds 1.96 mg in 1 mL: 98 mg are 50 mL."""
    stock = Stock(Decimal("0.5"), Decimal("0.25"))
    made = dissolving(marine(stock=stock), "98 %")
    assert (made.dose.add, made.dose.add_unit) == (50, "mL")
    assert "a stock solution of Praziquantel, 1.96 mg/mL (98 % (as typed))" in made.dose.add_of
    assert "0.5 g made up to 250 mL: 1.96 mg in 1 mL: 50 mL of the stock solution" in " ".join(made.working)
    substance = load("praziquantel")
    form = read_strength("98 %", substance)
    assert given_in_ledger(substance, form, Quantity(Decimal(50), "mL"), stock) == 98


def test_how_far_it_may_be_off_is_the_root_of_the_sum_of_the_squares() -> None:
    """Calculation notes, section l, stock example (computed there, 3.0 %): 0.20 g by 0.01 g, 100 mL within 1 mL, 3.8 mL
    by 0.1 mL. Where no plus-minus was said the volume counts as known to 1 %; 5 mL of 100 make it 5.7 %."""
    stock = Stock(Decimal("0.2"), Decimal("0.1"))
    setting = marine(3.8, stock=stock)
    assert round(stock_error(stock, setting, Decimal("3.8")) * 100, 1) == Decimal("3.0")
    said = " ".join(dissolving(setting).how)
    assert "may put it off by 3 % in all (root of the sum of squares)" in said
    loose = stock._replace(plus_minus_litres=Decimal("0.005"))
    assert round(stock_error(loose, setting, Decimal("3.8")) * 100, 1) == Decimal("5.7")  # sqrt(2.5^2 + 5^2 + 1.3158^2)


def test_the_rest_is_given_only_as_long_as_its_label_says() -> None:
    """How long a stock solution keeps has no source: a rest without a day is held, and one past its day."""
    rest = Stock(Decimal("0.5"), Decimal("0.25"), rest=True)
    held = dissolving(marine(stock=rest), "98 %").hold
    assert held is not None
    assert "nobody said how long it keeps" in held.says
    for day, good in ((date(2026, 2, 28), False), (date(2026, 3, 1), True)):  # now is 2026-03-01
        found = dissolving(marine(stock=rest._replace(kept_until=day)), "98 %")
        assert (found.hold is None) is good
    assert "take the rest of the solution" in " ".join(found.how)
    assert "Label:" not in " ".join(found.how)


@pytest.mark.parametrize(
    ("strength", "stock", "says"),
    [
        ("3 % w/v", Stock(Decimal("0.5"), Decimal("0.25")), "is made of what is weighed"),
        ("98 %", Stock(Decimal("0.005"), Decimal("0.25")), "less than one step of the scale"),
        ("98 %", Stock(Decimal(3), Decimal("0.25")), "is more than Praziquantel dissolves"),
    ],
)
def test_what_makes_no_stock_solution_is_held(strength: str, stock: Stock, says: str) -> None:
    """A liquid, what the scale cannot weigh, and more than dissolves."""
    found = dissolving(marine(stock=stock), strength).hold
    assert found is not None
    assert found.rule == "C4"
    assert says in found.says


def test_a_solution_of_too_few_steps_is_told_so() -> None:
    """0.1 g are ten steps of the scale; 1.9 mL nineteen of the syringe."""
    advice = dissolving(marine(3.8, stock=Stock(Decimal("0.1"), Decimal("0.025")))).advice
    assert "Weigh at least 0.2 g for a stock solution" in advice
    assert "Make it weaker: under 2 mL" in advice


@pytest.mark.parametrize("name", ["levamisole", "chloroquine", "emamectin-benzoate", "oxytetracycline"])
def test_what_a_label_counts_is_confirmed_where_no_product_was_named(name: str) -> None:
    """The salt or the base of these drugs: nobody has to guess which (issue 5); a product has to say it."""
    substance = load(name)
    row = next(r for r in substance.regimens if r.route in ("bath", "prolonged"))
    words = " ".join(propose(substance, row, water()).confirm)
    assert "or the base of" in words
    said = read_strength("98 % as base", substance)
    assert "or the base of" not in " ".join(propose(substance, row, water()._replace(product=said)).confirm)
