"""Steady over weeks: every day is known and inside, or it is not met (rule A10)."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from quarantine import evidence as ev
from quarantine.facts import Condition, Fact

ARRIVED = datetime(2026, 2, 10, 9, tzinfo=UTC)


def fact(kind: str, hours: int, **data: Any) -> Fact:
    at = ARRIVED + timedelta(hours=hours)
    return Fact(f"{kind}-{hours}", kind, at, at, "Robin", "water", "tank", "batch", None, data)


def judged(readings: dict[int, str], at: int, within: int = 720) -> ev.Verdict:
    """The verdict at so many hours after arrival, on temperatures by hour."""
    arrival = fact("arrival", 0, count="4")
    facts = [arrival, *(fact("reading", h, parameter="temperature", value=v, step="0.1") for h, v in readings.items())]
    as_of = ARRIVED + timedelta(hours=at)
    known = ev.gather(facts, "batch", "Europe/Berlin", arrival, as_of, [])
    condition = Condition("steady", "temperature", "", low="22", high="25", unit="°C", within_hours=within)
    return ev.judge(condition, known)


DAILY = dict.fromkeys(range(0, 721, 24), "23")


def test_thirty_days_of_daily_readings_inside_are_met() -> None:
    """From the first hour to the last no two are further apart than 36 h."""
    assert judged(DAILY, 721).met is True


@pytest.mark.parametrize("value", ["21.9", "25.1"])
def test_one_reading_outside_is_not_met_and_is_named(value: str) -> None:
    """Just under and just over."""
    verdict = judged(DAILY | {360: value}, 721)
    assert verdict.met is False
    assert f"was {value} °C" in verdict.says


def test_it_is_met_again_thirty_days_after_the_first_good_reading() -> None:
    """Cold at hour 360, good from hour 384: the time begins with the good reading (A10), to the hour."""
    longer = dict.fromkeys(range(0, 1201, 24), "23") | {360: "19"}
    assert judged(longer, 384 + 719).met is False
    assert judged(longer, 384 + 720).met is True


@pytest.mark.parametrize(("left_out", "met"), [([360], None), ([24 * 30], True), ([], True)])
def test_a_gap_over_36_hours_is_unknown(left_out: list[int], met: bool | None) -> None:
    """One missed day leaves 48 h unread in the middle; at the end only 25 h have passed since the reading before."""
    assert judged({hour: value for hour, value in DAILY.items() if hour not in left_out}, 721).met is met


def test_a_gap_says_since_when_nothing_was_read() -> None:
    """The keeper is told which day to look up."""
    without = {hour: value for hour, value in DAILY.items() if hour != 360}
    assert "no reading for over 36 h after 2026-02-24" in judged(without, 721).says


def test_before_the_first_reading_no_day_is_named_on_which_there_were_no_fish() -> None:
    """Fish of 10 February, judged over 30 days on the 20th: the gap lies before their first reading, not in January."""
    young = {hour: value for hour, value in DAILY.items() if hour <= 240}
    assert "no reading for over 36 h before 2026-02-10; needed" in judged(young, 241).says


def test_two_readings_of_the_last_day_are_not_thirty_days() -> None:
    """Two readings at least 6 h apart make a day steady, never a month."""
    assert judged({700: "23", 712: "23"}, 721).met is None
    assert judged({700: "23", 712: "23"}, 721, within=24).met is True


def test_the_last_reading_must_not_be_old() -> None:
    """Nothing read in the last day and a half: what the water is now is unknown."""
    assert judged({hour: value for hour, value in DAILY.items() if hour <= 672}, 721).met is None
