"""What a reading past its limit asks for: the limit itself, rule C16 for a change, row T11 for chloride."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quarantine.water.advice import (
    DEFERS,
    SHARES,
    Advice,
    Chloride,
    Limit,
    Situation,
    Source,
    Value,
    advise,
    chloride_lines,
    general_limits,
    strictest,
)
from quarantine.water.ammonia import un_ionized_mg_per_l
from quarantine.water.mixing import Side, judge_change

LIMITS = (
    Limit("uia", None, Decimal("0.05"), "ammonia source"),
    Limit("nitrite", None, Decimal("0.2"), "nitrite source"),
    Limit("oxygen", Decimal(5), None, "oxygen source"),
    *general_limits("fresh"),
)
T11 = Chloride(
    Decimal(10), "SRAC 462", ("a caution of T11.",), ("no amount of salt is shown: held",), ("a fish: unknown",)
)
ALL = ("oxygen", "uia", "nitrite", "temperature", "ph")


def value(read: str, step: str = "0", most: str | None = None) -> Value:
    least, top, half = Decimal(read), Decimal(most or read), Decimal(step) / 2
    return Value(least - half, top + half, least, top)


def situation(**values: Value) -> Situation:
    return Situation("fresh", values, LIMITS, litres=Decimal("57.6"))


def one(found: tuple[Advice, ...], about: str) -> Advice:
    (only,) = [advice for advice in found if advice.about == about]
    return only


def bad_ammonia(tan: str = "3", ph: str = "8", celsius: str = "25") -> Situation:
    low, high = un_ionized_mg_per_l((float(tan), 0), (float(ph), 0), (float(celsius), 0))
    return situation(
        tan=value(tan),
        ph=value(ph),
        temperature=value(celsius),
        uia=Value(*(Decimal(repr(x)) for x in (low, high, low, high))),
    )


@pytest.mark.parametrize(
    ("parameter", "within", "past"),
    [
        ("nitrite", ["0.2", "0.199"], ["0.201"]),
        ("oxygen", ["5", "5.1"], ["4.99"]),
        ("uia", ["0.05", "0.049"], ["0.0501"]),
        ("temperature", ["18", "30"], ["17.9", "30.1"]),
        ("ph", ["6.7", "8.6"], ["6.69", "8.61"]),
    ],
)
def test_F48_at_the_limit_is_not_past_it_and_just_beyond_is(parameter: str, within: list[str], past: list[str]) -> None:
    """At the limit, just under and just over, for each parameter that is judged."""
    for read in within:
        assert advise(situation(**{parameter: value(read)})._replace(form="NO2"), (parameter,)) == ()
    for read in past:
        assert one(advise(situation(**{parameter: value(read)})._replace(form="NO2"), (parameter,)), parameter)


def test_the_strictest_of_several_limits_counts_with_its_own_source() -> None:
    """A protocol of 24 to 27 °C is stricter than the general 18 to 30 °C, and a looser one changes nothing."""
    own = Limit("temperature", Decimal(24), Decimal(27), "protocol")
    loose = Limit("temperature", Decimal(1), Decimal(40), "loose")
    low, high = strictest((*LIMITS, loose, own), "temperature")
    assert low == own
    assert high == own
    found = advise(situation(temperature=value("28"))._replace(limits=(*LIMITS, own)), ("temperature",))
    assert "28 °C, over 27 °C" in found[0].says
    assert "protocol" in found[0].references


def test_only_what_was_read_now_is_judged_and_what_is_not_known_is_left_out() -> None:
    """An old bad nitrite does not speak up with a reading of pH; a name without a value says nothing."""
    bad = situation(nitrite=value("5"), ph=value("7"))
    assert advise(bad, ("ph", "oxygen")) == ()


def test_duplicates_are_judged_by_the_worse_end() -> None:
    """0.1 and 0.3 mg/L: the 0.3 is past the limit; oxygen 6 and 4: the 4 is."""
    found = advise(situation(nitrite=value("0.1", most="0.3"), oxygen=value("4", most="6")), ("nitrite", "oxygen"))
    assert "up to 0.3 mg/L" in one(found, "nitrite").says
    assert "as low as 4 mg/L" in one(found, "oxygen").says


def test_every_advice_has_steps_a_caution_and_references_and_no_amount_of_a_substance() -> None:
    """All five at once, with everything known: nothing in grams or millilitres; a veterinarian has the last word."""
    bad = bad_ammonia()._replace(
        source=Source((8.5, 0.1), (0.0, 0.0), None, "tested"),
        chloride=T11,
        form="N",
        day_celsius=(Decimal(20), Decimal(31)),
    )
    bad = bad._replace(
        values={**bad.values, "nitrite": value("5"), "oxygen": value("3"), "temperature": value("31"), "ph": value("9")}
    )
    found = advise(bad, ALL)
    assert [advice.about for advice in found] == list(ALL)
    for advice in found:
        assert advice.do
        assert advice.caution
        assert advice.references
        assert (
            re.search(r"\d ?(g|mg|kg|mL|uL)\b(?!/)", "\n".join(advice.lines[1:-1]).replace("mg chloride", "")) is None
        ), advice
    assert "veterinarian" in DEFERS


# --- C16 -----------------------------------------------------------------------------------------------------


def test_C16_no_share_is_named_until_the_new_water_is_known() -> None:
    """Without the pH of the new water the advice asks for it."""
    steps = " ".join(one(advise(bad_ammonia(), ("uia",)), "uia").do)
    assert "--tap-ph" in steps
    assert re.search(r"a change of \d", steps) is None


def test_C16_a_change_that_passes_with_the_higher_ph_is_named_and_is_the_smallest() -> None:
    """TAN 1.2, pH 8, 25 °C is 0.064 mg/L; tap water of pH 7 without ammonia: a quarter does it, a tenth does not."""
    source = Source((7.0, 0.0), (0.0, 0.0), (25.0, 0.0), "pH 7, tested")
    steps = one(advise(bad_ammonia("1.2")._replace(source=source), ("uia",)), "uia").do
    (said,) = [step for step in steps if step.startswith("a change of")]
    assert said.startswith("a change of 25 % (14.4 L): with the higher pH of the two waters, 8,")
    tank, new = Side((8, 0), (25, 0), (1.2, 0)), Side((7, 0), (25, 0), (0, 0))
    assert [judge_change(tank, new, float(share)).within for share in SHARES] == [False, True, True]


def test_C16_a_change_into_higher_ph_is_refused_with_small_steps_and_binder_instead() -> None:
    """TAN 4, pH 7.5, tap pH 8.6: half the water leaves 2 mg/L at pH 8.6, more poison than now."""
    source = Source((8.6, 0.0), (0.0, 0.0), (25.0, 0.0), "pH 8.6, tested")
    found = one(advise(bad_ammonia("4", "7.5")._replace(source=source), ("uia",)), "uia")
    text = " ".join(found.do)
    assert "a change of 50 % (28.8 L) does not do it" in text
    assert "more than there is now" in text
    assert "small steps" in text
    assert "binder" in text
    assert text.count("give no food") == 1


def test_C16_new_water_whose_ammonia_was_not_tested_is_not_taken_for_clean() -> None:
    """The change is named with the condition, and with what to test."""
    source = Source((7.0, 0.0), None, None, "pH 7, tested")
    text = " ".join(one(advise(bad_ammonia("1.2")._replace(source=source), ("uia",)), "uia").do)
    assert "only if the new water holds no ammonia, which was not tested" in text


@given(
    st.sampled_from(["0.5", "1", "2", "4", "8"]),
    st.sampled_from(["7", "7.5", "8", "8.5"]),
    st.sampled_from([6.5, 7.5, 8.5, 9.0]),
    st.sampled_from([0.0, 0.25, 1.0]),
)
def test_C16_a_named_change_never_leaves_more_than_the_limit(tan: str, ph: str, tap_ph: float, tap_tan: float) -> None:
    """Whatever the two waters are: the share that is named keeps the most there can be under 0.05 mg/L."""
    source = Source((tap_ph, 0.0), (tap_tan, 0.0), (25.0, 0.0), "tested")
    for advice in advise(bad_ammonia(tan, ph)._replace(source=source), ("uia",)):
        for step in advice.do:
            if (named := re.match(r"a change of (\d+) % \(\S+ L\): ", step)) is not None:
                share = int(named[1]) / 100
                judged = judge_change(
                    Side((float(ph), 0), (25, 0), (float(tan), 0)), Side((tap_ph, 0), (25, 0), (tap_tan, 0)), share
                )
                assert judged.uia_mg_per_l[1] <= 0.05


def test_medicine_in_the_water_is_said_before_a_change() -> None:
    """A change takes a share of the medicine too."""
    found = one(advise(bad_ammonia()._replace(medicine="up to 2 mg/L of praziquantel"), ("uia",)), "uia")
    assert "the water holds up to 2 mg/L of praziquantel" in found.caution


# --- T11 ----------------------------------------------------------------------------------------------------


def test_T11_nothing_is_computed_until_it_is_known_what_the_kit_reads() -> None:
    """Nitrite or nitrite-N: 3.28 times apart, so the question stands where the figure would."""
    lines, cautions = chloride_lines("", Decimal(5), T11)
    assert cautions == ()
    assert "nitrite_n=" in lines[0]
    assert "50" not in lines[0]


@pytest.mark.parametrize(("nitrite", "chloride"), [("5", "50"), ("0.5", "5"), ("3.28", "32.8"), ("0.984", "9.84")])
def test_T11_ten_to_one_by_weight_once_the_form_is_known(nitrite: str, chloride: str) -> None:
    """SRAC Publication 462, 1997: chloride to nitrite at least 10 to 1 by mg/L (0.984 mg/L is 0.3 mg/L as N)."""
    for form in ("N", "NO2"):
        lines, cautions = chloride_lines(form, Decimal(nitrite), T11)
        assert f"here {chloride} mg/L of chloride" in lines[0]
        assert "with what is there already" in lines[0]
        assert lines[1:] == (*T11.card, *T11.fish)
        assert cautions == T11.cautions


def test_T11_is_for_fresh_water_only() -> None:
    """In the sea there is chloride enough: none is advised."""
    sea = situation(nitrite=value("5"))._replace(water="marine", chloride=T11, form="N")
    assert "chloride" not in " ".join(one(advise(sea, ("nitrite",)), "nitrite").lines)


@pytest.mark.parametrize(("read", "asked"), [("0.06", False), ("0.061", True), ("0.2", True)])
def test_nitrite_of_unsaid_form_is_asked_about_where_the_answer_matters(read: str, asked: bool) -> None:
    """0.2 / 3.28 = 0.06098: from there on nitrite-N would be past the limit; said to be nitrite, it is within."""
    unsaid = situation(nitrite=value(read))
    assert bool(advise(unsaid, ("nitrite",))) is asked
    assert advise(unsaid._replace(form="NO2"), ("nitrite",)) == ()
    if asked:
        assert advise(unsaid, ("nitrite",))[0].says.startswith("ASK: ")


@pytest.mark.parametrize(
    ("nitrite", "says"),
    [
        ("0.25", "change 20 % of the water"),
        ("0.4", "change 50 % of the water"),
        ("0.41", "2 such changes"),
        ("5", "5 such"),
    ],
)
def test_nitrite_a_change_is_named_by_its_share_or_in_halves(nitrite: str, says: str) -> None:
    """By hand: (0.25 - 0.2)/0.25 = 20 %; 5 x 0.5^5 = 0.156 is under 0.2, 5 x 0.5^4 = 0.31 is not."""
    assert says in " ".join(one(advise(situation(nitrite=value(nitrite)), ("nitrite",)), "nitrite").do)


# --- Oxygen and temperature ----------------------------------------------------------------------------------


def test_low_oxygen_says_what_air_can_give_at_this_temperature() -> None:
    """8.26 mg/L at 25 °C in fresh water (Benson and Krause 1984), rounded down; without a temperature not at all."""
    with_it = one(advise(situation(oxygen=value("4"), temperature=value("25")), ("oxygen",)), "oxygen")
    assert "at 25 °C at most about 8.2 mg/L" in " ".join(with_it.do)
    without = one(advise(situation(oxygen=value("4")), ("oxygen",)), "oxygen")
    assert "at most about" not in " ".join(without.do)
    assert "aerate" in without.do[0]


@pytest.mark.parametrize(
    ("now", "day", "moved"),
    [
        ("26", ("24", "26"), None),
        ("26.1", ("24", "26.1"), "up by 2.1 °C"),
        ("24", ("24", "25"), None),
        ("23.9", ("23.9", "25"), "down by 1.1 °C"),
    ],
)
def test_a_quick_change_of_temperature_is_named(now: str, day: tuple[str, str], moved: str | None) -> None:
    """More than 2 °C up or 1 °C down within 24 hours; just at it is not."""
    low, high = (Decimal(text) for text in day)
    found = advise(situation(temperature=value(now))._replace(day_celsius=(low, high)), ("temperature",))
    assert [moved in advice.says for advice in found if moved] == ([True] if moved else [])
    assert bool(found) is (moved is not None)


def test_brackish_water_has_no_general_temperature() -> None:
    """No source was found for it, so none is invented."""
    assert [limit.parameter for limit in general_limits("brackish")] == ["ph"]
