"""Doses in food, whole: weights from lengths, appetite, what was not eaten, and food that does not fit (needs F26)."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from history import History, dose_step, small
from hypothesis import given
from hypothesis import strategies as st
from test_amounts import NOW
from test_food_doses import FISH, fed, m02
from test_holds import held

from quarantine.actions import feeding
from quarantine.actions.feeding import Eaten, eaten_at_least_mg, eaten_data, eaten_words, seen_later
from quarantine.dosing import Setting, propose
from quarantine.dosing.food import appetite_hold, biomass
from quarantine.dosing.forms import read_strength
from quarantine.dosing.lengths import Relation, read_relation, weight_of
from quarantine.facts import Fact
from quarantine.failures import Refused, Usage
from quarantine.formulary import regimen

CUBE = Relation(Decimal("0.01"), Decimal(3), "g", "cm", "total")
M02 = regimen("M02")[1]


# --- Weights from lengths ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "made"),
    [
        ("0.012 x L^3.04, g, cm, total", ("0.012", "3.04", "g", "cm", "total")),
        ("W = 0.0000123 * L ^ 2.98, g, mm, standard length", ("0.0000123", "2.98", "g", "mm", "standard")),
        ("0.012L**3, mg, cm fork", ("0.012", "3", "mg", "cm", "fork")),
    ],
)
def test_a_relation_is_read_with_its_units_and_its_kind_of_length(text: str, made: tuple[str, ...]) -> None:
    """All five, in any of these forms."""
    found = read_relation(text)
    assert found == Relation(Decimal(made[0]), Decimal(made[1]), *made[2:])


@pytest.mark.parametrize(
    "text",
    [
        *("0.012 x L^3.04", "0.012 x L^3.04, g, cm", "0.012 x L^3.04, cm, g, total", "0.012, 3.04", ""),
        *(
            "-0.012 x L^3, g, cm, total",
            "0 x L^3, g, cm, total",
            "0.012 x L^0, g, cm, total",
            "1e-2 x L^3, g, cm, total",
        ),
    ],
)
def test_a_relation_without_a_unit_or_a_kind_is_refused(text: str) -> None:
    """Neither the unit of a length nor how it is taken is guessed."""
    with pytest.raises(Refused, match="--relation"):
        read_relation(text)


def test_the_units_of_a_relation_are_converted_exactly() -> None:
    """0.01 x 4^3 g of 4 cm are 0.64 g, whether the relation is in g and cm, in mg and cm, or in g and mm."""
    for a, mass, length in (("0.01", "g", "cm"), ("10", "mg", "cm"), ("0.00001", "g", "mm")):
        assert Relation(Decimal(a), Decimal(3), mass, length, "total").grams(Decimal(4)) == Decimal("0.64")


def test_F26_all_fish_measured_carry_only_the_error_of_the_ruler() -> None:
    """By hand: 0.01 x (3^3 + 4^3) = 0.91 g; at 2.95 and 3.95 cm 0.873 g, at 3.05 and 4.05 cm 0.948 g."""
    half = Decimal("0.05")
    made = weight_of(CUBE, [(Decimal(3), half), (Decimal(4), half)], 2, None)
    assert made == (Decimal("0.91"), Decimal("0.039"))


def test_F26_the_spread_of_the_lengths_is_the_plus_minus_of_the_others() -> None:
    """Two of ten measured, exactly: 0.27 and 0.64 g. The mean for ten is 4.55 g; were the other eight all like the one
    or all like the other, they would weigh 3.07 or 6.03 g."""
    made = weight_of(CUBE, [(Decimal(3), Decimal(0)), (Decimal(4), Decimal(0))], 10, None)
    assert abs(made.grams - Decimal("4.55")) <= Decimal("0.05")
    assert made.grams - made.plus_minus_grams <= Decimal("3.07")
    assert made.grams + made.plus_minus_grams >= Decimal("6.03")
    assert made.plus_minus_grams <= Decimal("1.6")


def test_F26_what_the_source_says_of_single_fish_widens_it() -> None:
    """Within 20 %: 0.64 g may be 0.512 to 0.768 g."""
    made = weight_of(CUBE, [(Decimal(4), Decimal(0))], 1, Decimal(20))
    assert made == (Decimal("0.64"), Decimal("0.13"))


@given(
    lengths=st.lists(st.decimals("1", "30", places=1), min_size=1, max_size=12),
    measured=st.integers(1, 12),
    b=st.decimals("2.5", "3.5", places=2),
)
def test_the_bounds_hold_the_weight_of_any_fish_no_longer_and_no_shorter_than_those_measured(
    lengths: list[Decimal], measured: int, b: Decimal
) -> None:
    """The first few are measured, and those that were not lie between them: their sum is inside."""
    relation = CUBE._replace(b=b)
    taken = lengths[:measured]
    real = [min(max(one, min(taken)), max(taken)) for one in lengths]
    made = weight_of(relation, [(one, Decimal("0.05")) for one in taken], len(real), None)
    total = sum((relation.grams(one) for one in real), Decimal(0))
    assert made.grams - made.plus_minus_grams <= total <= made.grams + made.plus_minus_grams


# --- A factor that does not fit --------------------------------------------------------------------------------------


def test_M02_fish_that_eat_less_are_held_with_the_strength_that_would_fit() -> None:
    """50 mg for 1 kg in 3 g of food are 16.7 mg/g against 10 published; at 10 mg/g they would have to eat 5 g."""
    hold = held(m02(fed(eats="3")))
    assert (hold.rule, hold.figure, hold.figure_unit) == ("published range", "10", "mg/g food")
    assert "16.7 mg in each gram would fit" in hold.remedy
    assert "it fits from 5 g of food a day on" in hold.remedy


def test_M02_fish_that_eat_more_get_food_of_the_strength_that_fits() -> None:
    """At 1 % a day 5 mg in each gram give the same 50 mg/kg; 10 mg in each gram would be twice the dose."""
    proposal = m02(fed(eats="10"))
    assert proposal.hold is None
    dose = proposal.dose
    assert dose.gives_high == 50
    assert (dose.add, dose.food_grams) == (Decimal("0.05"), Decimal(10))
    line = next(one for one in proposal.working if one.startswith("published: 10 mg/g food"))
    assert "fish that eat 0.5 % of their weight a day; these eat 1 %, which fits 5 mg in each gram" in line


def test_N05_says_nothing_of_a_ration_that_its_source_does_not_print() -> None:
    """Only M02 prints a content beside the dose of the fish."""
    assert not any(one.startswith("published:") for one in propose(*regimen("N05"), fed(eats="10")).working)


@pytest.mark.parametrize(("strength", "fits"), [("1.5 %", False), ("1.9 %", False), ("2 %", True), ("50 %", True)])
def test_a_product_so_weak_that_the_food_would_be_the_product_is_held(strength: str, fits: bool) -> None:
    """10 mg in each gram out of a product of 20 mg in each gram is half of the food; of a weaker one more."""
    substance = regimen("M02")[0]
    proposal = m02(fed()._replace(product=read_strength(strength, substance)._replace(sure=True)))
    if fits:
        assert proposal.hold is None
        return
    hold = held(proposal)
    assert hold.rule == "strength of the product"
    assert "at least 20 mg in 1 g would fit" in hold.remedy


def test_prepared_food_is_weighed_with_what_is_in_it() -> None:
    """2 % powder at 10 mg/g: of 40 g of prepared food 20 g are powder, so that 1 g of it holds 10 mg and not 6.7."""
    substance = regimen("M02")[0]
    weak = fed(prepared="40")._replace(product=read_strength("2 %", substance)._replace(sure=True))
    (line,) = [one for one in m02(weak).how if one.startswith("Prepare")]
    assert "weigh 20 g of Metronidazole, 2 %" in line
    assert "both together weigh 40 g" in line


# --- Appetite (rule A6) --------------------------------------------------------------------------------------------


def after(*looks: tuple[int, str, int | None], signs: tuple[str, ...] = (), doses: tuple[Fact, ...] = ()) -> Setting:
    """Ten fish that were looked at on these days and times with this appetite; the last look saw the signs."""
    history = History("fresh-watch", fish=10)
    for place, (day, clock, appetite) in enumerate(looks):
        last = place == len(looks) - 1
        history.look(day, clock, appetite=appetite, signs=signs if last else ())
    return fed(history=history)._replace(doses=doses)


@pytest.mark.parametrize("appetite", [2, 3])
@pytest.mark.parametrize("day", [9, 10])
def test_A6_fish_that_ate_today_or_yesterday_are_dosed(appetite: int, day: int) -> None:
    """Most of them, or all at once."""
    assert m02(after((day, "08:30", appetite))).hold is None


@pytest.mark.parametrize(("appetite", "says"), [(0, "none of them ate"), (1, "only few of them ate")])
def test_A6_fish_that_hardly_ate_are_held_with_what_to_do_first(appetite: int, says: str) -> None:
    """At the last look with food; that they ate well the day before does not count."""
    hold = held(m02(after((9, "09:00", 3), (10, "08:00", appetite))))
    assert hold.rule == "A6"
    assert says in hold.says
    assert hold.remedy.startswith("test the water and look for signs first")


def test_A6_a_look_without_food_says_nothing_of_appetite() -> None:
    """They refused at eight; at half past nobody offered food: refused stands. After a good meal it is neutral."""
    assert held(m02(after((10, "08:00", 1), (10, "08:30", None)))).rule == "A6"
    assert m02(after((10, "08:00", 3), (10, "08:30", None))).hold is None


@pytest.mark.parametrize("looks", [(), ((8, "20:00", 3),), ((10, "08:00", None),)])
def test_A6_without_a_look_with_food_since_yesterday_it_is_asked(
    looks: tuple[tuple[int, str, int | None], ...],
) -> None:
    """Never looked, the day before yesterday, and looked without food: unknown holds and asks."""
    hold = held(m02(after(*looks)))
    assert hold.rule == "A6"
    assert "not known" in hold.says
    assert "quarantine look" in hold.remedy


def test_A6_one_fish_that_is_known_to_refuse_holds_it() -> None:
    """Most ate, and one is off food: it would get nothing."""
    hold = held(m02(after((10, "08:00", 3), signs=("off food",))))
    assert hold.rule == "A6"
    assert "refuse" in hold.says


def test_A6_a_later_day_is_not_judged_by_todays_appetite() -> None:
    """What a list shows of tomorrow has its amount, and says what is asked then."""
    tomorrow = after((10, "08:00", 0))._replace(now=NOW + timedelta(days=1))
    proposal = m02(tomorrow)
    assert proposal.hold is None
    assert any("only while they eat (appetite 2 or 3, rule A6)" in line for line in proposal.how)


def test_A6_is_asked_of_no_bath() -> None:
    """Fish that do not eat may be bathed."""
    assert appetite_hold(regimen("M01")[1], after((10, "08:00", 0))) is None


def given_dose(day: int, clock: str, eaten: str | None) -> Fact:
    history = History("fresh-watch", fish=10)
    data: dict[str, Any] = {
        "substance": "metronidazole",
        "route": "food",
        **({} if eaten is None else {"eaten": eaten}),
    }
    return history.fact("dose", history.at(day, clock), data)


@pytest.mark.parametrize(
    ("eaten", "look", "held_"),
    [("none", "08:00", True), ("part", "08:00", True), ("all", "08:00", False), (None, "08:00", False),
     ("none", "20:30", False), ("part", "20:30", False)],
)  # fmt: skip
def test_A6_what_was_left_of_the_last_portion_holds_the_next_until_a_look(
    eaten: str | None, look: str, held_: bool
) -> None:
    """Given at 20:00 of the day before, and looked at before or after that."""
    found = appetite_hold(M02, after((9, look, 3), doses=(given_dose(9, "20:00", eaten),)))
    assert (found is not None) is held_
    if found is not None:
        assert found.rule == "A6"
        assert "the portion of 2026-02-19 was" in found.says


def test_the_weight_that_was_found_follows_the_living() -> None:
    """Ten fish of 1 kg in all: that is what is dosed."""
    assert biomass(fed(history=FISH)) == (10, Decimal(1000), Decimal(0), Decimal(5))


# --- What was eaten --------------------------------------------------------------------------------------------------

DOSE = {
    "route": "food",
    "substance": "metronidazole",
    "mass_mg": "10",
    "food_grams": "2",
    "prepared": "0.01",
    "prepared_unit": "g",
    "given": "0.01",
    "given_unit": "g",
}


@pytest.mark.parametrize(
    ("said", "kept"),
    [
        (Eaten(), {}),
        (Eaten("all"), {"eaten": "all", "counts": True}),
        (Eaten("Part"), {"eaten": "part", "counts": True}),
        (Eaten("none"), {"eaten": "none", "counts": False}),
        (Eaten(None, "0 g"), {"eaten": "all", "counts": True}),
        (Eaten(None, "0.5 g"), {"eaten": "part", "counts": True, "uneaten_grams": Decimal("0.5")}),
        (Eaten("part", "500 mg"), {"eaten": "part", "counts": True, "uneaten_grams": Decimal("0.5")}),
        (Eaten(None, "2 g"), {"eaten": "none", "counts": False, "uneaten_grams": Decimal(2)}),
    ],
)
def test_F26_what_was_eaten_is_kept_and_none_of_it_counts_as_no_dose(said: Eaten, kept: dict[str, Any]) -> None:
    """Out of 2 g that were offered. What was not eaten at all is no last dose either (rule A9)."""
    assert eaten_data(DOSE, said) == kept


@pytest.mark.parametrize(
    ("said", "refused"),
    [
        (Eaten("some"), Usage),
        (Eaten("all", "0.5 g"), Usage),
        (Eaten("part", "0 g"), Usage),
        (Eaten(None, "2.1 g"), Refused),
        (Eaten(None, "2"), Refused),
        (Eaten(None, "2 mL"), Refused),
    ],
)
def test_what_was_eaten_that_cannot_be_is_refused(said: Eaten, refused: type[Exception]) -> None:
    """More left than there was, words that contradict each other, and no unit."""
    with pytest.raises(refused):
        eaten_data(DOSE, said)


def test_a_bath_is_not_eaten() -> None:
    """Of any other route it is refused."""
    with pytest.raises(Usage, match="food"):
        eaten_data({**DOSE, "route": "bath"}, Eaten("all"))


def test_what_was_offered_follows_what_was_given() -> None:
    """Half of what the card shows was given: half of its 2 g of food were offered, and 1.5 g cannot be left of that."""
    half = {**DOSE, "given": "5", "given_unit": "mg", "mass_mg": "5"}
    assert feeding.offered_grams(half) == 1
    with pytest.raises(Refused, match="food out of the water is wet"):
        eaten_data(half, Eaten(None, "1.5 g"))


@pytest.mark.parametrize(
    ("more", "least"),
    [
        ({"eaten": "all"}, Decimal(10)),
        ({"eaten": "none"}, Decimal(0)),
        ({"eaten": "part", "uneaten_grams": "0.5"}, Decimal("7.5")),
        ({"eaten": "part"}, None),
        ({}, None),
    ],
)
def test_what_was_eaten_at_the_least(more: dict[str, Any], least: Decimal | None) -> None:
    """A quarter of the portion left: at least 7.5 of 10 mg went in. What nobody saw is not known."""
    assert eaten_at_least_mg({**DOSE, **more}) == least


def test_what_was_seen_later_replaces_all_that_was_said() -> None:
    """0.5 g left, and then all eaten: the grams are taken back."""
    was = {**DOSE, **eaten_data(DOSE, Eaten(None, "0.5 g"))}
    data, says = seen_later(was, "all")
    assert data == {"uneaten_grams": None, "eaten": "all", "counts": True}
    assert says.startswith("eaten in part, 0.5 g were left, at least 7.5 mg of metronidazole went in -> eaten wholly.")
    assert eaten_words({**was, **data}) == "eaten wholly"


# --- What follows from a dose that was not eaten (rule A11) -----------------------------------------------------------


def course(after_window: str, *eaten: str) -> tuple[History, list[tuple[date | None, str]]]:
    """A course of three from day 3 on, given on its days as it was eaten: the days and states of all runs then."""
    history = History(small(dose_step('{ every = "1 d", times = 3 }', after_window)))
    for n, how in enumerate(eaten):
        at = history.at(3 + n, "10:00")
        (run, *_) = [t for t in history.plan(at).tasks if t.step == "dose" and t.outcome is None and t.day is not None]
        data = {"substance": "metronidazole", "route": "food", "target_mg_per_l": "0", "mass_mg": "1", "eaten": how}
        history.fact("dose", at, {**data, "counts": how != "none", "key": run.key})
    made = history.plan(history.at(2 + max(len(eaten), 1), "12:00"))
    tasks = sorted((t for t in made.tasks if t.step == "dose"), key=lambda t: (str(t.day), t.key))
    return history, [(t.day, t.state) for t in tasks]


@pytest.mark.parametrize(
    ("after_window", "eaten", "last_day", "runs"),
    [
        ("shift", (), 5, 3),
        ("shift", ("all",), 5, 3),
        ("shift", ("part", "part"), 5, 3),
        ("shift", ("none",), 6, 4),
        ("shift", ("none", "all", "none"), 7, 5),
        ("keep", ("none",), 5, 3),
        ("reopen", ("all", "none"), 7, 5),
    ],
)
def test_a_dose_that_was_not_eaten_is_none_of_the_course(
    after_window: str, eaten: tuple[str, ...], last_day: int, runs: int
) -> None:
    """Shift gives one more at the end, reopen begins again on the next day, keep leaves it; part counts as given."""
    history, found = course(after_window, *eaten)
    assert len(found) == runs
    assert found[-1][0] == history.day(last_day)
    assert sum(1 for _, state in found if state == "done") == len(eaten)
    days = [day for day, _ in found]
    assert len(set(days)) == len(days)  # never two on one day


def test_A9_a_dose_of_which_nothing_was_eaten_is_no_last_dose() -> None:
    """Part of one is."""
    for how, last in (("none", 3), ("part", 4)):
        history, _ = course("shift", "all", how)
        (exposure,) = history.evidence(history.at(5)).exposures
        assert exposure.last_dose == history.at(last, "10:00")


def test_a_dose_that_was_not_eaten_is_a_missed_one_for_the_periods() -> None:
    """What the template does on a missed dose it does on this one."""
    history, _ = course("shift", "none", "part")
    happened = [one.event for one in history.evidence(history.at(5)).happenings]
    assert "dose_missed" in happened
    assert happened.count("dose_partly") == 1
