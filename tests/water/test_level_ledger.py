"""From facts to the ledger: readings, water with something in it, flows, and volumes that were measured anew."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from math import exp
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quarantine.facts import Fact
from quarantine.water.ledger import (
    Earlier,
    Water,
    compared,
    exposures,
    level_of,
    lines_of,
    read_of,
    steps_of,
    substances_in,
)
from quarantine.water.level import Level

START = datetime(2026, 3, 1, 9, tzinfo=UTC)
HUNDRED = Water(100.0, 0.0)
PRAZI = "praziquantel"


def at(hours: float) -> datetime:
    return START + timedelta(hours=hours)


def fact(hours: float, kind: str, tank: str = "T", entered: float | None = None, **data: Any) -> Fact:
    moment = at(hours)
    late = moment if entered is None else at(entered)
    return Fact(f"{hours:08.2f}{kind}{tank}", kind, moment, late, "K", "S", tank, None, None, data)


def dose(hours: float, mg: str, substance: str = PRAZI, target: str = "2") -> Fact:
    return fact(hours, "dose", substance=substance, route="prolonged", mass_mg=mg, target_mg_per_l=target)


def change(hours: float, out: str, into: str | None = None, **more: Any) -> Fact:
    return fact(hours, "change", out_litres=out, in_litres=out if into is None else into, **more)


def reading(hours: float, parameter: str, value: str, step: str = "0.1", **more: Any) -> Fact:
    return fact(hours, "reading", parameter=parameter, value=value, step=step, **more)


def flow(hours: float, rate: str, until: str | None = None, tank: str = "T", **more: Any) -> Fact:
    return fact(hours, "exchange", tank=tank, litres_per_hour=rate, until=until, **more)


def near(low: float, high: float, rel: float = 1e-6) -> Any:
    return (pytest.approx(low, rel=rel), pytest.approx(high, rel=rel))


def now(facts: list[Fact], substance: str = PRAZI, water: Water = HUNDRED, hours: float = 500) -> Level:
    return level_of(facts, substance, water, "none", at(hours))


# --- Readings (C13, F24) -----------------------------------------------------------------------------------


def test_C13_a_reading_replaces_both_bounds_by_half_a_step_of_its_kit() -> None:
    """3.0 g/L of salt on a scale of 0.1 g/L is 2950 to 3050 mg/L, whatever the ledger had; changes go on from there."""
    facts = [dose(0, "500000", "sodium-chloride"), reading(1, "salinity", "3.0")]
    assert now(facts, "sodium-chloride") == near(2950, 3050)
    assert now([*facts, change(2, "50")], "sodium-chloride") == near(1475, 1525)
    assert now(facts, PRAZI) == Level(0.0, 0.0)


@pytest.mark.parametrize(("form", "replaces"), [("free", True), ("total", False), ("chelated", False), (None, False)])
def test_C13_copper_is_replaced_only_by_a_kit_that_reads_free_copper(form: str | None, replaces: bool) -> None:
    """A reading of another form, or of none that was said, replaces nothing, and its line says so."""
    read = reading(1, "copper", "0.15", "0.05", **({"form": form} if form else {}))
    facts = [dose(0, "20", "copper"), read]
    expected = near(0.125, 0.175) if replaces else near(0.2, 0.2)
    assert now(facts, "copper") == expected
    line = lines_of(facts, "copper", HUNDRED, "none", at(9))[-1]
    assert (line.step is not None) == replaces
    assert line.after == expected
    assert ("another scale" in line.note) != replaces
    assert (form or "not said") in line.note or replaces


def test_C13_a_reading_ends_an_unknown_level() -> None:
    """After an addition of unknown size a reading makes the level known again."""
    facts = [dose(0, "20", "copper"), fact(1, "unknown_addition", what="old tank water")]
    assert not now(facts, "copper").known
    assert now([*facts, reading(2, "copper", "0.2", "0.1", form="free")], "copper") == near(0.15, 0.25)


def test_F24_expected_versus_read() -> None:
    """Each reading of a substance with what the ledger expected right before it, and whether both can be true."""
    facts = [
        dose(0, "20", "copper"),
        change(1, "25"),
        reading(2, "copper", "0.15", "0.02", form="free"),
        reading(3, "copper", "0.30", "0.02", form="free"),
        reading(4, "copper", "0.05", "0.02", form="total"),
        fact(5, "unknown_addition", what="old tank water"),
        reading(6, "copper", "0.05", "0.02", form="free"),
        reading(6, "ph", "8.1"),
    ]
    found = compared(facts, "copper", Water(100, 2), "possible", at(9))
    assert [one.agrees for one in found] == [True, False, None, None]
    assert found[0].expected == (0.0, pytest.approx(20 * (1 - 25 / 98) / 98, rel=1e-3))
    assert found[0].read == near(0.14, 0.16)
    assert found[1].expected == (0.0, pytest.approx(0.16))
    assert found[2].note
    assert found[3].expected == Level(None, None)


@settings(deadline=None)
@given(st.floats(0, 0.2), st.lists(st.floats(0, 60).map(lambda x: round(x, 1)), max_size=6), st.floats(-1, 1))
def test_F24_a_simulated_series_recovers_the_level(share: float, outs: list[float], where: float) -> None:
    """In a tank of known true volume, exact readings always agree with the ledger, and stay near the truth."""
    true = 100 * (1 + share * where)
    facts, mass = [dose(0, "20", "copper")], 20.0
    for n, out in enumerate(outs, 1):
        mass *= max(1 - out / true, 0)
        read = reading(10 * n + 1, "copper", f"{mass / true:.6f}", "0.00001", form="free")
        facts += [change(10 * n, str(out)), read]
    water = Water(100.0, 100 * share)
    assert all(one.agrees for one in compared(facts, "copper", water, "none", at(99)))
    if outs:
        assert now(facts, "copper", water) == (
            pytest.approx(mass / true, abs=2e-5),
            pytest.approx(mass / true, abs=2e-5),
        )


def test_what_a_reading_says_never_goes_under_nothing() -> None:
    """0.0 read on a scale of 0.1 is nothing up to half a step; a reading of something else says nothing."""
    assert read_of(reading(0, "salinity", "0.0"), "sodium-chloride") == (0.0, 50.0)
    assert read_of(reading(0, "ph", "8.0"), "sodium-chloride") is None
    assert read_of(dose(0, "1"), PRAZI) is None


# --- Water that brings something, and flows -----------------------------------------------------------------


def test_new_water_brings_what_it_holds() -> None:
    """50 of 100 L from a tank that holds 1 to 2 mg/L: 0.5 to 1 mg/L, and the substance is on the list."""
    facts = [change(0, "50", brings={PRAZI: ["1", "2"]})]
    assert now(facts) == near(0.5, 1)
    assert substances_in(facts) == [PRAZI]
    assert now(facts, "copper") == Level(0.0, 0.0)
    evaporated = [dose(0, "200"), fact(1, "evaporation", litres="10")]
    assert now([*evaporated, fact(2, "topup", litres="10", brings={PRAZI: ["2", "2"]})]) == near(2.2, 2.2)


def test_what_surplus_water_holds_is_in_the_tank_too() -> None:
    """10 L more than had gone, with 20 mg in them: over the mark (200 / 110) or restoring what nobody wrote down."""
    facts = [fact(0, "topup", litres="10", brings={PRAZI: ["2", "2"]})]
    assert now(facts) == near(20 / 110, 20 / 100)
    assert now([change(0, "5", "15", brings={PRAZI: ["2", "2"]})]) == near(30 / 110, 30 / 100)


def test_surplus_water_counts_for_the_upper_bound_where_it_keeps_more_of_it() -> None:
    """100 L more in 100 L make each later change of 60 L a smaller one: 2 x (140 / 200)^2 / 2 against 2 x 0.4^2."""
    facts = [dose(0, "200"), fact(1, "topup", litres="100"), change(2, "60"), change(3, "60")]
    assert now(facts) == near(2 * 0.4**2, 0.7**2)


def test_a_flow_thins_and_a_later_one_of_the_same_tank_ends_it() -> None:
    """5 L an hour for 12 h leave exp(-0.6); a rate of nothing ends it; the flow of another tank is its own."""
    assert now([dose(0, "1000"), flow(0, "5"), flow(12, "0")]) == near(10 * exp(-0.6), 10 * exp(-0.6))
    until = at(12).strftime("%Y-%m-%dT%H:%M:%SZ")
    assert now([dose(0, "1000"), flow(0, "5", until)]) == near(10 * exp(-0.6), 10 * exp(-0.6))
    both = [dose(0, "1000"), flow(0, "5"), flow(6, "5", tank="U"), flow(12, "0"), flow(12, "0", tank="U")]
    assert now(both) == near(10 * exp(-0.9), 10 * exp(-0.9))
    brought = [dose(0, "1000"), flow(0, "5", brings={PRAZI: ["4", "4"]})]
    assert now(brought, hours=12) == near(4 + 6 * exp(-0.6), 4 + 6 * exp(-0.6))


def test_A9_contact_ends_when_a_flow_has_brought_the_level_down() -> None:
    """2 mg/L in 100 L at 5 L an hour: 5 % of the target after 20 x ln 20 = 59.915 h, whenever it is asked."""
    facts = [dose(0, "200"), flow(0, "5")]
    for hours in (60, 100, 101.5, 500):
        (one,) = exposures(facts, HUNDRED, at(hours))
        assert one.until is not None
        assert (one.until - START).total_seconds() == pytest.approx(59.9146 * 3600, abs=1)
    (one,) = exposures(facts, HUNDRED, at(59))
    assert one.until is None


def test_A9_contact_ends_with_a_change_or_a_reading() -> None:
    """The first change after which the upper bound is low enough ends contact; so does a reading."""
    changed = [dose(0, "200"), change(1, "90"), change(2, "90"), change(3, "90")]
    assert exposures(changed, HUNDRED, at(9))[0].until == at(2)
    copper = [dose(0, "20", "copper", "0.2"), reading(5, "copper", "0.004", "0.01", form="free")]
    assert exposures(copper, HUNDRED, at(9))[0].until == at(5)


# --- Volumes that were measured anew (F14) ------------------------------------------------------------------


def test_F14_a_smaller_volume_shows_what_a_dose_by_the_label_really_was() -> None:
    """150 mg for a nominal 75 L; 61 L measured on day 3: up to 150 / 61 = 2.459 mg/L; 2 if some was let out."""
    water = Water(61.0, 0.0, (Earlier(75.0, 0.0, at(72)),))
    assert now([dose(0, "150")], water=water) == near(2, 150 / 61)
    lines = lines_of([dose(0, "150"), dose(80, "122")], PRAZI, water, "none", at(99))
    assert lines[0].after == near(2, 150 / 61)
    assert lines[1].after == near(4, 150 / 61 + 2)


def test_F14_a_larger_volume_dilutes_or_shows_too_little() -> None:
    """100 mg in 50 L, then 100 L on record: 1 mg/L if it always was so much or was filled up, 2 if only re-drawn."""
    water = Water(100.0, 0.0, (Earlier(50.0, 0.0, at(5)),))
    assert now([dose(0, "100")], water=water) == near(1, 2)


def test_F14_a_volume_from_before_the_first_dose_changes_nothing() -> None:
    """What was on record while the substance was not there does not matter."""
    facts = [dose(10, "100"), change(11, "20")]
    earlier = (Earlier(50.0, 5.0, at(1)), Earlier(80.0, 1.0, at(5)))
    assert now(facts, water=Water(100.0, 2.0, earlier)) == near(*now(facts, water=Water(100.0, 2.0)))


def test_F14_flows_unknowns_and_evaporation_go_on_over_a_new_volume() -> None:
    """A flow runs on, an unknown level stays unknown, and what had gone by then may stand in the new figure or not."""
    water = Water(100.0, 0.0, (Earlier(100.0, 0.0, at(5)),))
    assert now([dose(0, "1000"), flow(0, "5")], water=water, hours=12) == near(10 * exp(-0.6), 10 * exp(-0.6))
    assert not now([dose(0, "1000"), fact(1, "unknown_addition", what="x")], water=water).known
    gone = [dose(0, "1000"), fact(1, "evaporation", litres="20")]
    assert now(gone, water=water) == near(10, 12.5)


events = st.lists(
    st.one_of(
        st.integers(1, 200).map(lambda mg: ("dose", mg, 0)),
        st.tuples(st.integers(1, 40), st.integers(1, 40)).map(lambda a: ("change", *a)),
        st.integers(1, 4).map(lambda x: ("evaporation", x, 0)),
    ),
    min_size=1,
    max_size=9,
)


@settings(max_examples=200, deadline=None)
@given(events, st.floats(60, 140), st.floats(60, 140), st.integers(0, 9), st.booleans())
def test_F14_the_bounds_hold_whether_the_first_figure_was_wrong_or_the_water_became_another(
    made: list[tuple[str, int, int]], first: float, second: float, where: int, wrong: bool
) -> None:
    """Two volumes on record, exact ones: the true level of either story lies between the bounds."""
    gone = sum(a - min(a, b) for kind, a, b in made[:where] if kind != "dose")
    facts, mass, litres = [], 0.0, second + gone if wrong else first
    for n, (kind, a, b) in enumerate(made):
        if n == where and not wrong:
            # Let out, or filled up from the tap, to what was then measured.
            mass, litres = mass * min(1.0, second / litres), second
        if kind == "dose":
            facts.append(dose(n, str(a)))
            mass += a
        elif kind == "change":
            into = min(b, a)
            facts.append(change(n, str(a), str(into)))
            mass, litres = mass * max(litres - a, 0) / litres, max(litres - a, 0) + into
        else:
            facts.append(fact(n, "evaporation", litres=str(a)))
            litres -= a
        if litres <= 1:
            return
    when = at(where - 0.5)
    found = now(facts, water=Water(second, 0.0, (Earlier(first, 0.0, when),)))
    if where >= len(made) and not wrong:
        mass, litres = mass * min(1.0, second / litres), second
    if found.low is None or found.high is None:
        return
    assert found.low <= mass / litres * (1 + 1e-9)
    assert mass / litres * (1 - 1e-9) <= found.high


@settings(deadline=None)
@given(st.randoms(use_true_random=False))
def test_the_order_of_facts_of_one_second_is_one_on_every_machine(random: Any) -> None:
    """By when they happened, then when they were entered, then by id: however they come, the ledger is the same."""
    facts = [dose(0, "200"), change(1, "50"), fact(1, "dose", entered=2, substance=PRAZI, route="bath", mass_mg="30")]
    facts += [fact(1, "topup", entered=3, litres="1"), flow(1, "0.5"), reading(1, "salinity", "1.0")]
    mixed = random.sample(facts, len(facts))
    assert steps_of(mixed, PRAZI) == steps_of(facts, PRAZI)
    assert now(mixed) == now(facts)


def test_the_last_line_of_the_ledger_is_the_level() -> None:
    """Surplus water, a removal, an unknown addition and a reading included."""
    facts = [
        dose(0, "20", "copper"),
        fact(1, "topup", litres="5"),
        change(2, "30"),
        fact(3, "removal", by="carbon"),
        dose(4, "10", "copper"),
        fact(5, "unknown_addition", what="gravel", substance="copper"),
        reading(6, "copper", "0.1", "0.02", form="free"),
        change(7, "10"),
    ]
    water = Water(100, 3, (Earlier(110, 2, at(1.5)),))
    for hours in range(8):
        lines = lines_of(facts, "copper", water, "none", at(hours))
        then = level_of(facts, "copper", water, "none", at(hours))
        assert lines[-1].after == (
            then if not then.known else (pytest.approx(then.low, rel=2e-4), pytest.approx(then.high, rel=2e-4))
        )
        assert lines[-1].fact.at == at(hours)
    assert lines_of([], "copper", water, "none", at(9)) == []
    assert Decimal(facts[0].data["mass_mg"]) == 20
