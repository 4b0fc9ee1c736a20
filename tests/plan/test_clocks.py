"""The four clocks, never mixed: each with its own zero, count, unit and reason (F28, F29; rules A1, A9, A10, B1)."""

from __future__ import annotations

import random
from datetime import date, datetime, timedelta
from typing import Any

import pytest
from history import History, dose_step, small
from hypothesis import given, settings
from hypothesis import strategies as st

from quarantine.clocks import Clocks, clocks
from quarantine.explaining import period_lines
from quarantine.protocol import Protocol, load

IN_RANGE = 'in-range"\nreading = "temperature"\nmin = "22 °C"\nmax = "25 °C'
COPPER = 'in-range"\nreading = "copper"\nmin = "0.18 mg/L"\nmax = "0.20 mg/L'
ONE_DOSE = dose_step('{ every = "1 d", times = 1 }')


def told(history: History, as_of: datetime) -> Clocks:
    return clocks(history.plan(as_of).standings["B"], history.protocol)


def with_events(protocol: Protocol, **events: str) -> Protocol:
    return protocol._replace(events={**protocol.events, **events})


def four() -> History:
    """Ten days in which each clock has another zero: fish came in on day 4, it was warm from day 5, fed a drug on 9."""
    history = History(small(ONE_DOSE, period=IN_RANGE))
    history.fact("added", history.at(4), {"count": 1})
    for n in range(5, 11):
        history.read(n, temperature="24")
    history.dose(history.at(9), route="food")
    return history


def test_F28_four_clocks_that_differ_print_four_right_numbers() -> None:
    """10 days since arrival, 6 since the last fish in, 120 hours in range, 30 hours since the last dose."""
    history = four()
    made = told(history, history.at(10, "15:00"))
    assert (made.arrival.so_far, made.arrival.unit, made.arrival.zero) == (10, "days", date(2026, 2, 10))
    assert (made.entered.so_far, made.entered.unit, made.entered.zero) == (6, "days", date(2026, 2, 14))
    assert [(one.hours, one.zero) for one in made.in_range] == [(120, history.at(5))]
    assert (made.dose.so_far, made.dose.unit, made.dose.zero) == (30, "hours", history.at(9))
    assert "fish came into the water" in made.entered.because
    assert made.exposed == ((date(2026, 2, 14), "fish came into the water"),)


def test_F29_the_day_of_arrival_is_day_0_until_midnight_at_the_site() -> None:
    """Arrived at 23:50: day 0 that night, day 1 twenty minutes later (rule A1)."""
    history = History(arrived="2026-02-10 23:50", zone="Europe/London")
    assert told(history, history.arrived).arrival[:2] == (date(2026, 2, 10), 0)
    assert told(history, history.arrived + timedelta(minutes=20)).arrival[:2] == (date(2026, 2, 10), 1)


def test_without_a_dose_there_is_no_count_of_hours() -> None:
    """The clock says that there was no dose, and gives no number."""
    history = History()
    assert told(history, history.at(3)).dose == (None, None, "hours", "no dose is on record")


def test_A9_while_the_dose_is_in_the_water_the_hours_do_not_begin() -> None:
    """The upper bound and the target are named; hours count from the change that took it under 5 %."""
    history = History(small(ONE_DOSE))
    history.dose(history.at(3))
    made = told(history, history.at(5)).dose
    assert made.so_far is None
    assert made.because == (
        "Praziquantel is still in the water: upper bound 2.03 mg/L, target 2 mg/L; contact ends at 5 % of the target "
        "(rule A9)"
    )
    history.change(6, "12:00", 200.0)
    ended = told(history, history.at(8, "15:00")).dose
    assert (ended.so_far, ended.zero) == (51, history.at(6, "12:00"))
    assert "last given 2026-02-13 09:00" in ended.because


def test_A9_without_a_volume_the_bound_is_unknown() -> None:
    """Nobody can say that contact ended: the clock says so and gives no number."""
    history = History(small(ONE_DOSE), water=None)
    history.dose(history.at(3))
    assert "may still be in the water, how much is unknown" in told(history, history.at(5)).dose.because


def test_A9_supporting_salt_is_no_dose() -> None:
    """A dose that does not count leaves the clock without a zero."""
    history = History(small(ONE_DOSE))
    history.dose(history.at(3), substance="sodium-chloride", counts=False)
    assert told(history, history.at(5)).dose.because == "no dose is on record"


@pytest.mark.parametrize(("rule", "zero"), [("restart", 5), ("note", 0)])
def test_B1_a_shared_net_is_an_entry_where_the_template_says_so(rule: str, zero: int) -> None:
    """With restart the clock begins at the shared net; with note it does not, and the day is listed all the same."""
    history = History(with_events(small(ONE_DOSE), shared_net=rule))
    history.fact("shared", history.at(5), {"what": "a net", "with": "Q2"}, batch=None)
    made = told(history, history.at(9))
    assert made.entered.zero == history.day(zero)
    assert made.exposed == ((history.day(5), "shared a net with Q2"),)


def test_B1_a_batch_with_its_own_clock_is_told_so() -> None:
    """Where fish that come in begin nothing again, the exposed days are what sign-off lists."""
    history = History(with_events(small(ONE_DOSE), fish_added="note"))
    assert told(history, history.at(9)).own_clock is True
    assert told(History(small(ONE_DOSE)), history.at(9)).own_clock is False


def copper(history: History, n: int, value: str, clock: str = "09:00") -> None:
    data = {"parameter": "copper", "value": value, "step": "0.01", "unit": "mg/L", "water": "marine", "form": "free"}
    history.fact("reading", history.at(n, clock), data, batch=None)


@pytest.mark.parametrize(
    ("rule", "hours", "need"), [("pause", 9 * 24, 240), ("extend", 11 * 24, 288), ("restart", 2 * 24, 240)]
)
def test_story_8_copper_under_range_on_day_9(rule: str, hours: int, need: int) -> None:
    """0.13 mg/L on day 9: pause leaves the gap out, extend adds it, restart begins at zero; both readings are named."""
    history = History(with_events(small(ONE_DOSE, period=COPPER), out_of_range=rule))
    for n in range(1, 13):
        copper(history, n, "0.13" if n == 9 else "0.19")
    made = told(history, history.at(12, "09:00")).in_range[0]
    assert (made.hours, made.need_hours) == (hours, need)
    (gap,) = made.gaps
    assert (gap.since, gap.until, gap.rule) == (history.at(8), history.at(10), rule)
    assert gap.why == "copper (Cu) 0.19 mg/L on 2026-02-18 09:00, then copper (Cu) 0.13 mg/L on 2026-02-19 09:00"


ACTIONS = ("note", "restart", "pause", "extend")


def troubled(seed: int) -> History:
    """Twenty days with looks, signs that come and go, deaths, disturbances; what each event does is drawn too."""
    chance = random.Random(seed)
    acts = {name: chance.choice(ACTIONS) for name in ("sign_a", "sign_b", "sign_c", "death", "disturbance", "outbreak")}
    history = History(with_events(small(""), **acts, not_looked=chance.choice(("note", "extend", "pause"))))
    for n in range(20):
        what = chance.random()
        if what < 0.5:
            history.look(n)
        elif what < 0.7:
            history.look(n, signs=(chance.choice(["gasping", "white spots", "colour"]),))
        elif what < 0.8:
            history.died(n)
        elif what < 0.9:
            history.fact("disturbance", history.at(n), {"what": "a drill"}, batch=None)
    if chance.random() < 0.5:
        history.fact("extended", history.at(19, "20:00"), {"days": chance.randint(1, 9)})
    return history


@settings(max_examples=150)
@given(st.integers(0, 10**6), st.integers(0, 25))
def test_what_moved_a_period_adds_up_to_the_day_it_is_complete(seed: int, day: int) -> None:
    """Of calendar days: first day 0 + length + the days of each thing that moved it, whatever happened."""
    history = troubled(seed)
    (period,) = told(history, history.at(day, "22:00")).periods
    assert period.first + timedelta(days=period.length + sum(one.days for one in period.moved)) == period.complete_on
    assert all(one.days > 0 and one.why for one in period.moved)


def test_what_moved_a_period_is_named_with_its_day_and_rule() -> None:
    """A sign that restarts, two days of another that pause, a cause each."""
    events: dict[str, Any] = {"sign_a": "restart", "sign_c": "pause"}
    history = History(with_events(small(""), **events))
    history.look(2, signs=("gasping",))
    history.look(3)
    history.look(5, signs=("colour",), severity={"colour": "C"})
    history.look(6)
    (period,) = told(history, history.at(8)).periods
    assert [(one.on, one.why, one.rule, one.days) for one in period.moved] == [
        (history.day(2), "sign seen: gasping (A)", "restart", 2),
        (history.day(5), "sign seen: colour (C)", "pause", 2),
    ]
    assert period.complete_on == history.day(14)


def test_drug_free_days_name_the_drug_that_kept_them() -> None:
    """Days with a drug in the water are not counted, and each is counted once."""
    history = History(small(ONE_DOSE, period="drug-free"))
    history.dose(history.at(3))
    history.change(6, "12:00", 200.0)
    (period,) = told(history, history.at(8)).periods
    assert [(one.on, one.why, one.days) for one in period.moved] == [(history.day(3), "Praziquantel in the water", 4)]
    assert period.first + timedelta(days=10 + 4) == period.complete_on


def test_doses_that_are_still_due_put_a_drug_free_period_off_and_that_is_said() -> None:
    """Ten days without a drug, the one dose due on day 3 and its drug gone that day at the earliest: two days count
    before it and eight after, so it ends on day 11, the day of its criterion, and not on day 10. Once the dose is given
    nothing is put off."""
    history = History(small(ONE_DOSE, period="drug-free"))
    (period,) = told(history, history.at(2)).periods
    assert (period.complete_on, period.put_off_to) == (history.day(10), history.day(11))
    said = period_lines(period)[-1]
    assert f"complete on {history.day(10)}" in said
    assert said.endswith(
        f"; medicine that is still due or in the water puts it off: {history.day(11)} at the earliest."
    )
    history.dose(history.at(3), history.runs("dose", history.at(3))[0].key)
    history.change(3, "18:00", 200.0)
    (period,) = told(history, history.at(4)).periods
    assert period.put_off_to is None
    assert "put it off" not in period_lines(period)[-1]


CLEARING = """
[[step]]
id = "clear"
kind = "change"
title = "Change all the water"
start = { after = "dose", by = "2 d" }
fraction = "100 %"
references = ["choice"]
"""


def test_medicine_that_has_to_be_cleared_puts_a_drug_free_period_off_and_that_is_said() -> None:
    """Every dose is given, on day 3, and the change that brings the drug out is planned for day 5: two days count
    before it and eight after, so day 13 and not day 12, which a drug gone on day 4 would leave. Once the water is
    changed nothing is put off: it is day 13 that the period itself has."""
    history = History(small(ONE_DOSE + CLEARING, period="drug-free"))
    history.dose(history.at(3), history.runs("dose", history.at(3))[0].key)
    (period,) = told(history, history.at(4)).periods
    assert (period.complete_on, period.put_off_to) == (history.day(12), history.day(13))
    said = "; medicine that is still due or in the water puts it off: "
    assert period_lines(period)[-1].endswith(f"{said}{history.day(13)} at the earliest.")
    assert dict(history.plan(history.at(4)).standings["B"].days)["The period is complete"] == history.day(13)
    history.change(5, "12:00", 200.0)
    (period,) = told(history, history.at(6)).periods
    assert (period.complete_on, period.put_off_to) == (history.day(13), None)
    assert said not in period_lines(period)[-1]


def test_a_period_of_calendar_days_is_put_off_by_no_dose() -> None:
    """Only days without a drug wait for doses."""
    history = History(small(ONE_DOSE))
    assert [one.put_off_to for one in told(history, history.at(2)).periods] == [None]


def test_a_protocol_that_counts_no_time_in_range_has_no_such_clock() -> None:
    """fresh-watch counts none; koi-warm-hold does, and has not begun before two good readings."""
    watch, koi = History("fresh-watch"), History(load("koi-warm-hold"))
    assert told(watch, watch.at(2)).in_range == ()
    (warm,) = told(koi, koi.at(2)).in_range
    assert (warm.zero, warm.hours, warm.need_hours) == (None, 0, 720)
