"""Levels where water flows and what is in it decays: bounds that hold for any true volume and any stated loss."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from math import exp, expm1, inf, log

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quarantine.water.ledger import Water
from quarantine.water.level import Decay, Level, Loss, Step, ledger, level, walk

START = datetime(2026, 3, 1, 9, tzinfo=UTC)


def at(hours: float) -> datetime:
    return START + timedelta(hours=hours)


def dose(hours: float, mg: float, high: float | None = None) -> Step:
    return Step("dose", at(hours), mass_mg_low=mg, mass_mg_high=mg if high is None else high)


def change(hours: float, out: float, into: float, low: float = 0.0, high: float = 0.0) -> Step:
    return Step("change", at(hours), out_litres=out, in_litres=into, incoming_low=low, incoming_high=high)


def flow(hours: float, rate: float, until: float | None, low: float = 0.0, high: float = 0.0) -> Step:
    end = None if until is None else at(until)
    return Step("exchange", at(hours), incoming_low=low, incoming_high=high, litres_per_hour=rate, until=end)


class Tank:
    """One tank whose true volume and true loss are known, filled and emptied in floats: the ledger's judge."""

    def __init__(self, litres: float, rate: float) -> None:
        self.litres, self.rate, self.mass, self.now = litres, rate, 0.0, START
        self.flows: list[tuple[Step, float]] = []

    def wait(self, until: datetime) -> None:
        marks = sorted({until, *(f.until for f, _ in self.flows if f.until is not None and self.now < f.until < until)})
        for mark in marks:
            hours = (mark - self.now).total_seconds() / 3600
            running = [(f, c) for f, c in self.flows if f.until is None or f.until > self.now]
            litres = sum(f.litres_per_hour for f, _ in running) * hours
            mass = sum(f.litres_per_hour * c for f, c in running) * hours
            y = litres / self.litres + self.rate * hours
            self.mass = self.mass * exp(-y) + (mass * -expm1(-y) / y if y > 0 else mass)
            self.now = mark

    def take(self, step: Step, share: float) -> None:
        """``share``: where between its low and its high each amount truly lies."""
        self.wait(step.at)
        within = step.incoming_low + share * (step.incoming_high - step.incoming_low)
        if step.kind == "dose":
            self.mass += step.mass_mg_low + share * (step.mass_mg_high - step.mass_mg_low)
        elif step.kind == "change":
            kept = max(self.litres - step.out_litres, 0.0)
            self.mass = self.mass * kept / self.litres + step.in_litres * within
            self.litres = kept + step.in_litres
        elif step.kind in ("topup", "evaporation"):
            self.litres += step.litres if step.kind == "topup" else -step.litres
        elif step.kind == "exchange":
            self.flows.append((step, within))
        elif step.kind == "removal":
            self.mass *= share
        elif step.kind == "reading":
            self.mass = (step.level_low + share * (step.level_high - step.level_low)) * self.litres


some = st.floats(min_value=0, max_value=50).map(lambda x: round(x, 2))
little = st.floats(min_value=0, max_value=3).map(lambda x: round(x, 2))
two = st.tuples(some, some).map(sorted)
one_step = st.one_of(
    two.map(lambda a: dose(0, *a)),
    st.tuples(some, some.map(lambda x: x + 0.1), two).map(lambda a: change(0, a[0], a[1], *a[2])),
    some.map(lambda a: change(0, a, a)),
    little.map(lambda a: Step("topup", START, litres=a)),
    little.map(lambda a: Step("evaporation", START, litres=a)),
    st.just(Step("removal", START)),
    two.map(lambda a: Step("reading", START, level_low=a[0], level_high=a[1])),
    st.tuples(little, st.one_of(st.none(), some), two).map(
        lambda a: flow(0, a[0] * 10, a[1], *a[2])  # the end is moved with the step below
    ),
)


def placed(steps: list[Step]) -> list[Step]:
    moved = []
    for hour, step in enumerate(steps):
        end = None if step.until is None else step.until + timedelta(hours=5 * hour)
        moved.append(step._replace(at=at(5 * hour), until=end))
    return moved


histories = st.lists(one_step, max_size=10).map(placed)
half_lives = st.tuples(st.floats(1, 200), st.floats(1, 200)).map(lambda a: Decay(max(a), min(a)))


@settings(max_examples=300, deadline=None)
@given(histories, st.floats(0, 0.3), st.floats(0, 1), st.floats(0, 1), st.one_of(half_lives, st.just("possible")))
def test_the_bounds_hold_for_any_volume_any_amount_and_any_loss_within_what_is_stated(
    steps: list[Step], plus_minus: float, where: float, share: float, loss: Loss
) -> None:
    """Whatever the volume, the amounts and the loss truly were, the level lies between the bounds."""
    until = at(60)
    found = level(steps, Water(100.0, 100 * plus_minus), loss, until)
    slow, fast = (
        (log(2) / loss.slowest_half_life_hours, log(2) / loss.fastest_half_life_hours)
        if isinstance(loss, Decay)
        else (0.0, 5.0)
    )
    tank = Tank(100 * (1 + plus_minus * (2 * where - 1)), slow + share * (fast - slow))
    for step in steps:
        tank.take(step, share)
        if tank.litres <= 1e-6:
            return
    tank.wait(until)
    if found.low is None or found.high is None:
        return
    there = tank.mass / tank.litres
    assert found.low <= there * (1 + 1e-9) + 1e-12
    assert there * (1 - 1e-9) - 1e-12 <= found.high


@settings(deadline=None)
@given(histories, st.floats(0, 0.3), st.sampled_from(["none", "possible"]))
def test_the_walk_ends_where_the_level_is(steps: list[Step], plus_minus: float, loss: Loss) -> None:
    """The ledger's last line is the level at that moment, to a thousandth: both bound it from outside, by pieces of
    their own, and where a change leaves almost nothing the pieces end a little sooner."""
    water = Water(100.0, 100 * plus_minus)
    for _, after in ledger(steps, water, loss)[-1:]:
        whole = level(steps, water, loss, steps[-1].at)
        assert after.known == whole.known
        if after.low is not None and after.high is not None:
            assert whole.high == pytest.approx(after.high, rel=1e-3, abs=1e-12)
            assert whole.low == pytest.approx(after.low, rel=1e-3, abs=1e-12)


@settings(deadline=None)
@given(histories, st.floats(0, 0.3), st.floats(0, 500), st.integers(0, 9))
def test_one_dose_more_never_lowers_a_bound(steps: list[Step], plus_minus: float, mg: float, where: int) -> None:
    """Both bounds only rise with a dose, wherever in the history it was given."""
    water = Water(100.0, 100 * plus_minus)
    index = min(where, len(steps))
    when = steps[index - 1].at if index else START
    without = level(steps, water, "none", at(60))
    more = level([*steps[:index], dose(0, mg)._replace(at=when), *steps[index:]], water, "none", at(60))
    if without.low is not None and without.high is not None and more.low is not None and more.high is not None:
        assert more.low >= without.low * (1 - 2e-4) - 1e-12
        assert more.high >= without.high * (1 - 2e-4) - 1e-12


@pytest.mark.parametrize("count", [150, 3000])
def test_a_long_history_costs_no_truth(count: int) -> None:
    """History that no longer counts is left out, and the bounds still hold; at 100 L exactly, they are the level."""
    steps: list[Step] = []
    for n in range(count):
        steps += [dose(n, 20 + n % 7), change(n, 5 + n % 3, 5 + n % 3), Step("evaporation", at(n), litres=0.5)]
        steps.append(Step("topup", at(n), litres=0.5))
    for litres, plus_minus in ((100.0, 0.0), (100.0, 10.0)):
        found = level(steps, Water(litres, plus_minus), "none", at(count))
        assert found.low is not None
        assert found.high is not None
        for where in (-1.0, -0.3, 0.0, 0.4, 1.0):
            tank = Tank(litres + where * plus_minus, 0.0)
            for step in steps:
                tank.take(step, 0.0)
            there = tank.mass / tank.litres
            assert found.low <= there * (1 + 1e-9)
            assert there * (1 - 1e-9) <= found.high
            if plus_minus == 0:
                assert found.high == pytest.approx(there, rel=1e-9)
        assert found.high - found.low <= found.high * 0.2


def test_what_was_diluted_to_nothing_stays_a_trace_and_never_becomes_more() -> None:
    """One dose and 10,000 changes of 1 %: the rest is under a millionth of a millionth, and never under nothing."""
    steps = [dose(0, 200), *[change(n, 1, 1) for n in range(1, 10001)]]
    found = level(steps, Water(100.0, 5.0), "none", at(10001))
    assert found.low is not None
    assert found.high is not None
    assert 0 <= found.low <= 2 * 0.99**10000
    assert 2 * 0.99**10000 <= found.high <= 1e-12


def test_a_flow_ends_where_it_is_said_to_end() -> None:
    """5 L an hour through 100 L for 12 h leave 5.488 of 10 mg/L (calculations, section c), and nothing more goes."""
    for until, left in ((6, 10 * exp(-0.3)), (12, 10 * exp(-0.6)), (40, 10 * exp(-0.6))):
        found = level([dose(0, 1000), flow(0, 5, 12)], Water(100, 0), "none", at(until))
        assert found == (pytest.approx(left), pytest.approx(left))


def test_two_flows_at_once_are_one() -> None:
    """Flows add, each with what it brings."""
    both = level([dose(0, 1000), flow(0, 3, None, 2, 2), flow(0, 2, None)], Water(100, 2), "none", at(9))
    one = level([dose(0, 1000), flow(0, 5, None, 1.2, 1.2)], Water(100, 2), "none", at(9))
    assert both == (pytest.approx(one.low), pytest.approx(one.high))


def test_a_stated_decay_bounds_from_both_sides() -> None:
    """Half-lives of 12 to 24 h: after a day 2 mg/L are 0.5 to 1; where no loss is certain the upper bound stays."""
    found = level([dose(0, 200)], Water(100, 0), Decay(24, 12), at(24))
    assert found == (pytest.approx(0.5), pytest.approx(1))
    assert level([dose(0, 200)], Water(100, 0), Decay(inf, 12), at(24)) == (pytest.approx(0.5), pytest.approx(2))


def test_the_walk_knows_the_level_right_before_each_step() -> None:
    """What is expected before a reading is what the ledger had by then, flows and losses included."""
    steps = [dose(0, 1000), flow(0, 5, None), Step("reading", at(12), level_low=4, level_high=5)]
    *_, (_, before, after) = walk(steps, Water(100, 0), "none")
    assert before == (pytest.approx(10 * exp(-0.6)), pytest.approx(10 * exp(-0.6)))
    assert after == (pytest.approx(4), pytest.approx(5))
    *_, (_, before, _) = walk(steps, Water(100, 0), "possible")
    assert before == (0.0, pytest.approx(10 * exp(-0.6)))
    assert list(walk([], Water(100, 0), "none")) == []


def test_water_that_is_let_out_changes_no_level() -> None:
    """Letting out, waiting and losing leave what they should: the share that decays, and nothing else."""
    steps = [dose(0, 1000), change(1, 60, 0), change(2, 30, 0)]
    low, high = level(steps[:1], Water(100, 5), "none", at(3))
    assert level(steps, Water(100, 5), "none", at(3)) == (pytest.approx(low), pytest.approx(high))
    faded = level(steps, Water(100, 0), Decay(12, 12), at(12))
    assert faded == (pytest.approx(5), pytest.approx(5))


@pytest.mark.parametrize(
    ("steps", "loss", "says"),
    [
        ([flow(1, -1, None)], "none", "zero or more"),
        ([flow(1, 1, 0.5)], "none", "ends after"),
        ([flow(1, 1, None)._replace(until=datetime(2026, 4, 1))], "none", "zone"),
        ([], Decay(12, 24), "fastest"),
        ([], Decay(12, 0), "above zero"),
    ],
)
def test_faults_of_a_flow_or_a_loss_are_loud(steps: list[Step], loss: Loss, says: str) -> None:
    """A flow that runs backwards and a half-life of nothing are faults of the program."""
    with pytest.raises(ValueError, match=says):
        level(steps, Water(100, 0), loss, at(9))


def test_a_flow_through_no_water_has_no_level() -> None:
    """A tank that was emptied on paper cannot be flowed through: unknown, never guessed."""
    found = level([dose(0, 200), change(1, 100, 0), flow(2, 5, None)], Water(100, 0), "none", at(9))
    assert found == Level(None, None)
