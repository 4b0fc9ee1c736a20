"""Two readings of one parameter less than half an hour apart: never averaged, and the worse of them is judged."""

from __future__ import annotations

from decimal import Decimal

import pytest
from history import History

from quarantine import evidence as ev
from quarantine.facts import Condition

NITRITE = Condition("reading", "nitrite", "nitrite", None, "0.125", "mg/L", 24)
OXYGEN = Condition("reading", "oxygen", "oxygen", "5", None, "mg/L", 24)
AMMONIA = Condition("reading", "uia", "ammonia", None, "0.05", "mg/L", 24)


def judge(history: History, condition: Condition) -> ev.Verdict:
    return ev.judge(condition, history.evidence(history.at(3, "12:00")))


@pytest.mark.parametrize("order", [("0.05", "0.3"), ("0.3", "0.05")])
def test_the_worse_of_two_is_judged_in_either_order(order: tuple[str, str]) -> None:
    """0.05 and 0.3 mg/L of nitrite ten minutes apart: not met by the 0.3, though their middle or the last may do."""
    history = History()
    for clock, read in zip(("09:00", "09:10"), order, strict=True):
        history.read(3, clock, nitrite=read)
    verdict = judge(history, NITRITE)
    assert verdict.met is False
    assert verdict.figure == "0.3"
    assert "0.05 and 0.3 mg/L (the worse counts)" in verdict.says


def test_for_a_least_value_the_lower_is_the_worse() -> None:
    """Oxygen 6 and 4.5 mg/L."""
    history = History()
    history.read(3, "09:00", oxygen="4.5")
    history.read(3, "09:29", oxygen="6")
    assert judge(history, OXYGEN).met is False
    assert judge(history, OXYGEN).figure == "4.5"


def test_half_an_hour_later_it_is_a_new_reading() -> None:
    """At 29 minutes both count, at 30 the newer alone."""
    for clock, met in (("09:29", False), ("09:30", True)):
        history = History()
        history.read(3, "09:00", nitrite="0.3")
        history.read(3, clock, nitrite="0.05")
        assert judge(history, NITRITE).met is met


def test_what_was_read_before_a_water_change_is_no_duplicate_of_what_was_read_after() -> None:
    """0.3 at 09:00, half the water changed at 09:05, 0.05 at 09:20: that is the water now."""
    history = History()
    history.read(3, "09:00", nitrite="0.3")
    history.change(3, "09:05", 100)
    history.read(3, "09:20", nitrite="0.05")
    assert judge(history, NITRITE).met is True


def test_un_ionized_ammonia_takes_the_worse_of_each_part() -> None:
    """pH 7 and 8.5 within ten minutes: judged as at 8.5 with the higher TAN; a single pH 7 would be within."""
    single = History()
    single.read(3, "09:00", tan="0.5", ph="7", temperature="25")
    assert judge(single, AMMONIA).met is True
    twice = History()
    twice.read(3, "09:00", tan="0.5", ph="8.5", temperature="25")
    twice.read(3, "09:10", ph="7")
    assert judge(twice, AMMONIA).met is False
    span = ev.value_now(twice.evidence(twice.at(3, "12:00")), "uia", 24)
    alone = ev.value_now(single.evidence(single.at(3, "12:00")), "uia", 24)
    assert span is not None
    assert alone is not None
    assert span.low == alone.low
    assert span.high > alone.high


def test_a_single_reading_stands_as_it_was_read() -> None:
    """No range, no words about duplicates."""
    history = History()
    history.read(3, "08:00", nitrite="0.3")
    history.read(3, "09:00", nitrite="0.1")
    assert judge(history, NITRITE).says == "nitrite 0.1 mg/L, needed: at most 0.125 mg/L"
    span = ev.value_now(history.evidence(history.at(3, "12:00")), "nitrite", 24)
    assert span is not None
    assert (span.least, span.most, span.low, span.high) == tuple(map(Decimal, ("0.1", "0.1", "0.05", "0.15")))


@pytest.mark.parametrize(
    ("value", "form", "met"),
    [
        ("0.038", None, True),  # 0.038 x 3.28 = 0.12464 mg/L, inside the limit of 0.125 either way
        ("0.039", None, None),  # 0.039 x 3.28 = 0.12792 mg/L: over it if the kit reads nitrogen
        ("0.125", None, None),
        ("0.126", None, False),  # over it whatever the kit reads
        ("0.125", "NO2", True),
        ("0.125", "N", True),  # turned into nitrite when it was typed, and the limit itself is inside
    ],
)
def test_nitrite_of_a_kit_that_nobody_named_is_judged_by_both_forms(
    value: str, form: str | None, met: bool | None
) -> None:
    """Nitrite nitrogen is 3.28 times less than the nitrite it stands for (SRAC Publication 462, row T11): where that
    decides, the reading cannot be judged until it is said."""
    history = History()
    history.read(3, "09:00", form=form, nitrite=value)
    verdict = judge(history, NITRITE)
    assert verdict.met is met
    assert ("say what it reads" in verdict.says) is (met is None)
