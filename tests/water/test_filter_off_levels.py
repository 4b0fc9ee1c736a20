"""Rule C10: with the filter off a dose is in the tank alone; sump and filter stand apart with what they held."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from math import exp
from typing import Any, NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quarantine.facts import Fact
from quarantine.water.ledger import Earlier, Water, exposures, level_of, lines_of
from quarantine.water.level import Level, Step, level, walk

START = datetime(2026, 3, 1, 9, tzinfo=UTC)
HUNDRED = Water(100.0, 0.0)
PRAZI = "praziquantel"
OFF = {"apart_litres": "20", "apart_plus_minus_litres": "0"}


def at(hours: float) -> datetime:
    return START + timedelta(hours=hours)


def fact(hours: float, kind: str, **data: Any) -> Fact:
    return Fact(f"{hours:08.2f}{kind}", kind, at(hours), at(hours), "K", "S", "T", None, None, data)


def dose(hours: float, mg: str, substance: str = PRAZI, **more: str) -> Fact:
    data = {"substance": substance, "route": "prolonged", "mass_mg": mg, "target_mg_per_l": "2"}
    return fact(hours, "dose", **data, **more)


def change(hours: float, out: str) -> Fact:
    return fact(hours, "change", out_litres=out, in_litres=out)


def near(low: float, high: float) -> Any:
    return (pytest.approx(low, rel=1e-6), pytest.approx(high, rel=1e-6))


def now(facts: list[Fact], hours: float = 500, water: Water = HUNDRED, substance: str = PRAZI) -> Level:
    return level_of(facts, substance, water, "none", at(hours))


# --- By hand -------------------------------------------------------------------------------------------------


def test_C10_the_level_is_that_of_the_tank_alone_until_somebody_says_that_the_filter_runs() -> None:
    """160 mg with the filter off, 20 L of 100 L apart: 160 / 80 = 2 mg/L, or 160 / 100 = 1.6 mg/L where it runs again
    and nobody said so; once somebody did, 1.6 mg/L. If it is 20 L give or take 1 L, the tank may hold 79 L."""
    facts = [dose(0, "160", **OFF)]
    assert now(facts) == near(1.6, 2)
    assert now([*facts, fact(24, "filter_on")]) == near(1.6, 1.6)
    assert now([*facts, fact(24, "filter_on"), change(25, "50")]) == near(0.8, 0.8)
    assert now([dose(0, "160", apart_litres="20", apart_plus_minus_litres="1")]) == near(1.6, 160 / 79)


def test_C10_a_change_takes_its_share_of_the_tank_or_of_all() -> None:
    """40 L of 80 L leave 80 mg, so 0.8 mg/L in 100 L; had the filter run, 40 L of 100 L leave 96 mg: 0.96 mg/L. In the
    tank alone 1 mg/L is left."""
    facts = [dose(0, "160", **OFF), change(1, "40")]
    assert now(facts) == near(0.8, 1)
    assert now([*facts, fact(24, "filter_on")]) == near(0.8, 0.96)


def test_C10_what_the_sump_held_comes_back_whole() -> None:
    """100 mg in 100 L, then 80 mg with the filter off: 180 mg, of which the sump holds 20. All 80 L of the tank changed
    leave those 20 mg: 0.2 mg/L. Had the filter run, 80 L of 100 L would leave a fifth of 1.8 mg/L; with four fifths of
    the sump's 0.2 mg/L given back that is 0.52 mg/L at most."""
    facts = [dose(0, "100"), dose(1, "80", **OFF), change(2, "80")]
    assert now([*facts, fact(24, "filter_on")]) == near(0, 1.8 / 5 + 0.2 * 4 / 5)
    # Off once more, and nobody said that it ran in between: the sump may hold its 20 mg still.
    again = now([*facts, dose(3, "0.001", **OFF), change(4, "80"), fact(24, "filter_on")])
    assert again.high is not None
    assert again.high >= 0.2
    # The same by 400 L that flowed through the tank.
    flow = fact(2, "exchange", litres_per_hour="100", until=at(6).isoformat())
    flushed = now([dose(0, "100"), dose(1, "0.001", **OFF), flow, fact(24, "filter_on")])
    assert flushed.high is not None
    assert flushed.high >= 0.2


def test_C10_another_substance_stands_apart_too() -> None:
    """100 mg of salt in all of the water, then praziquantel with the filter off: 40 L changed leave 0.5 mg/L of salt in
    the 80 L of the tank and 1 mg/L in the sump, 0.6 mg/L in both together."""
    facts = [dose(0, "100", "sodium-chloride"), dose(1, "160", **OFF), change(2, "40")]
    assert now(facts, substance="sodium-chloride") == near(0.5, 0.6 + 0.2 * 0.4)
    on = now([*facts, fact(24, "filter_on")], substance="sodium-chloride")
    assert on == near(0.5, 0.6 + 0.2 * 0.4)


def test_C10_a_reading_is_of_the_tank() -> None:
    """Read 2 g/L in the tank: 2 g/L there, and at least 1.6 g/L when the sump, which held nothing, comes to it."""
    facts = [
        dose(0, "160000", "sodium-chloride", **OFF),
        fact(1, "reading", parameter="salinity", value="2", step="0"),
    ]
    assert now(facts, substance="sodium-chloride") == near(1600, 2000)
    # 20 g stand in the sump when nothing is read in the tank: 0.2 g/L when they come back.
    flushed = [dose(0, "100000", "sodium-chloride"), dose(1, "160", **OFF), change(2, "80")]
    nothing = fact(3, "reading", parameter="salinity", value="0", step="0")
    assert now([*flushed, nothing, fact(24, "filter_on")], substance="sodium-chloride") == near(0, 200)


def test_C10_the_lines_of_a_ledger_say_when_the_filter_was_off_and_on() -> None:
    """A dose with the filter off makes two lines, the filter that runs again one; one never off none."""
    facts = [dose(0, "160", **OFF), change(1, "40"), fact(24, "filter_on"), fact(25, "filter_on")]
    lines = lines_of(facts, PRAZI, HUNDRED, "none", at(48))
    assert [line.step.kind for line in lines if line.step] == ["filter_off", "dose", "change", "filter_on"]
    assert [tuple(line.after) for line in lines] == [near(0, 0), near(1.6, 2), near(0.8, 1), near(0.8, 0.96)]
    assert tuple(lines[-1].before) == near(0.8, 1)


def test_C10_contact_can_end_by_the_filter_that_runs_again() -> None:
    """Rule A9: 5 % of 2.1 mg/L is 0.105 mg/L; 10 mg are 0.125 mg/L in the tank's 80 L, and 0.1 mg/L in 100 L."""
    facts = [dose(0, "10", **OFF)]
    facts[0].data["target_mg_per_l"] = "2.1"
    assert exposures(facts, HUNDRED, at(10))[0].until is None
    assert exposures([*facts, fact(5, "filter_on")], HUNDRED, at(10))[0].until == at(5)


def test_C10_a_volume_measured_anew_while_the_filter_is_off_is_bounded_both_ways() -> None:
    """160 mg in 80 L of 100 L; then 90 L were measured: 70 L without sump and filter, so up to 160 / 70 mg/L."""
    water = Water(90.0, 0.0, (Earlier(100.0, 0.0, at(10)),))
    found = now([dose(0, "160", **OFF)], water=water)
    assert found.low is not None
    assert found.high is not None
    assert found.low <= 1.6
    assert found.high >= 160 / 70 * 0.999999


@pytest.mark.parametrize("litres", [90, 120, 150])
def test_C10_what_the_sump_held_outlives_a_volume_measured_anew(litres: int) -> None:
    """100 mg in 100 L; the sump is cut off with 20 mg, the 80 L of the tank are changed. Then 10 L were let out, or
    more filled up, and the tank changed again: the filter brings 20 mg into 90 L, 0.222 mg/L."""
    water = Water(float(litres), 0.0, (Earlier(100.0, 0.0, at(10)),))
    off = [dose(0, "100"), dose(1, "0.001", **OFF), change(2, "80")]
    found = now([*off, change(11, str(litres - 20)), fact(24, "filter_on")], water=water)
    assert found.low is not None
    assert found.high is not None
    assert found.low <= 20 / litres <= found.high


def test_C12_a_clearing_by_a_volume_that_was_wrong_clears_nothing_for_certain() -> None:
    """1 mg in what was thought to be 60 L; 21 L out and 1 L in, then all that was left out, by that figure. Measured
    with 59 L gone it stands at 60 L still, so it had been 119 L, and half of the milligram is in it."""
    water = Water(60.0, 0.0, (Earlier(60.0, 0.0, at(2.5)),))
    facts = [dose(0, "1"), fact(1, "change", out_litres="21", in_litres="1")]
    found = now([*facts, fact(2, "change", out_litres="40", in_litres="1")], water=water)
    assert found.high is not None
    assert found.high >= 98 / 119 * 59 / 99 / 60


# --- Any history ---------------------------------------------------------------------------------------------


class Event(NamedTuple):
    """What happened, an hour after what was before it."""

    kind: str
    amount: float


class Truth(NamedTuple):
    """Two compartments: litres and mg of the tank, litres and mg of sump and filter."""

    tank: float
    mg: float
    apart: float
    mg_apart: float
    off: bool

    @property
    def level(self) -> float:
        return self.mg / self.tank

    def mixed(self) -> Truth:
        whole = (self.mg + self.mg_apart) / (self.tank + self.apart)
        return self._replace(mg=whole * self.tank, mg_apart=whole * self.apart, off=False)


def happened(truth: Truth, event: Event) -> Truth:
    """One event, exactly. What happens to a filter that runs happens to all of the water."""
    if event.kind == "off":
        return truth.mixed()._replace(off=True)
    if event.kind == "on" or (event.kind == "unsaid" and truth.off):
        return truth.mixed()
    tank, mg = truth.tank, truth.mg
    if event.kind == "dose":
        mg += event.amount
    elif event.kind == "change":
        mg *= (tank - event.amount) / tank if truth.off else 1 - event.amount / (tank + truth.apart)
    elif event.kind == "flow":
        mg *= exp(-event.amount / (tank if truth.off else tank + truth.apart))
    elif event.kind == "evaporation":
        tank -= event.amount
    elif event.kind == "topup":
        tank += event.amount
    found = truth._replace(tank=tank, mg=mg)
    if not truth.off:
        if event.kind in ("change", "flow"):
            share = mg / truth.mg if truth.mg else 1.0
            found = found._replace(mg_apart=truth.mg_apart * share)
        found = found.mixed()
    return found


def steps_told(events: list[Event], apart: tuple[float, float]) -> list[Step]:
    """What the record has of it; that a filter ran again may not have been said."""
    told, off = [], False
    for hour, event in enumerate(events):
        moment = at(hour)
        if event.kind == "off":
            off = True
            told.append(Step("filter_off", moment, apart_low=apart[0], apart_high=apart[1]))
        elif event.kind == "on" and off:
            off = False
            told.append(Step("filter_on", moment))
        elif event.kind == "dose":
            told.append(Step("dose", moment, event.amount, event.amount))
        elif event.kind == "change":
            told.append(Step("change", moment, out_litres=event.amount, in_litres=event.amount))
        elif event.kind == "flow":
            told.append(
                Step("exchange", moment, litres_per_hour=event.amount * 2, until=moment + timedelta(minutes=30))
            )
        elif event.kind in ("evaporation", "topup"):
            told.append(Step(event.kind, moment, litres=event.amount))
    return told


amounts = st.floats(min_value=0.1, max_value=40).map(lambda x: round(x, 1))
little = st.floats(min_value=0.1, max_value=2).map(lambda x: round(x, 1))
events_any = st.lists(
    st.one_of(
        st.builds(Event, st.sampled_from(["off", "on", "unsaid"]), st.just(0.0)),
        st.builds(Event, st.sampled_from(["dose", "change", "flow"]), amounts),
        st.builds(Event, st.sampled_from(["evaporation", "topup"]), little),
    ),
    min_size=1,
    max_size=14,
)


@settings(deadline=None, max_examples=300)
@given(
    events_any,
    st.floats(min_value=-1, max_value=1),
    st.floats(min_value=-1, max_value=1),
    st.sampled_from([1.0, 10.0, 45.0]),
)
def test_C10_the_bounds_contain_the_exact_level_of_two_waters(
    events: list[Event], error: float, error_apart: float, apart: float
) -> None:
    """Whatever is dosed, changed, exchanged, evaporated or topped up while the filter is off or runs, whether or not
    it was said that it runs again: the exact level of the tank lies within the bounds, right after it and later."""
    volume, plus_minus = 120.0, 4.0
    litres, apart_true = volume + error * plus_minus, apart * (1 + 0.05 * error_apart)
    truth = Truth(litres - apart_true, 0.0, apart_true, 0.0, off=False)
    steps = steps_told(events, (apart * 0.95, apart * 1.05))
    levels = {}
    for hour, event in enumerate(events):
        truth = happened(truth, event)
        # A flow is over half an hour after it began.
        levels[at(hour + 0.75)] = truth.level
    for moment, exact in levels.items():
        known = [step for step in steps if step.at <= moment]
        found = level(known, Water(volume, plus_minus), "none", moment)
        assert found.low is not None
        assert found.high is not None
        assert found.low * (1 - 1e-9) <= exact <= found.high * (1 + 1e-9)
    if steps:
        step, _, after = list(walk(steps, Water(volume, plus_minus), "none"))[-1]
        whole = level(steps, Water(volume, plus_minus), "none", step.at)
        assert after == (pytest.approx(whole.low, rel=1e-3, abs=1e-9), pytest.approx(whole.high, rel=1e-3, abs=1e-9))
