"""Levels over time against closed forms, printed figures and a solver of differential equations.

The figures of section c of the calculations reference come from mass balance (algebra) and were checked there with an
ODE solver; no published worked example was read for them. Each is put to the ledger itself, with the tolerance that
stands beside it there.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from math import exp, log

import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from quarantine.water.ledger import Water
from quarantine.water.level import Decay, Level, Loss, Step, clearing_changes, level

START = datetime(2026, 3, 1, 9, tzinfo=UTC)


def at(hours: float) -> datetime:
    return START + timedelta(hours=hours)


def dose(hours: float, mg: float) -> Step:
    return Step("dose", at(hours), mass_mg_low=mg, mass_mg_high=mg)


def change(hours: float, out: float, into: float | None = None, tap: float = 0.0) -> Step:
    into = out if into is None else into
    return Step("change", at(hours), out_litres=out, in_litres=into, incoming_low=tap, incoming_high=tap)


def flow(hours: float, rate: float, until: float | None = None, tap: float = 0.0) -> Step:
    end = None if until is None else at(until)
    return Step("exchange", at(hours), incoming_low=tap, incoming_high=tap, litres_per_hour=rate, until=end)


def known(steps: list[Step], hours: float = 0, litres: float = 100, loss: Loss = "none") -> float:
    """The level of a water whose volume is known exactly: both bounds are one figure."""
    found = level(steps, Water(litres, 0.0), loss, at(hours))
    assert found.low is not None
    assert found.high == pytest.approx(found.low, rel=1e-9)
    return found.high


def halved_every(hours: float) -> Decay:
    return Decay(hours, hours)


@pytest.mark.parametrize(
    ("mg", "steps", "expected", "tolerance"),
    [
        (200, [change(0, 25)] * 3, 0.84375, 1e-12),  # 2.0, three changes of 25 %
        (4000, [change(0, 30)] * 5, 6.7228, 1e-9),  # 40, five of 30 %
        (4000, [change(0, 25, tap=5)] * 6, 11.2292, 1e-4),  # 40, 25 % with 5 in the tap: the sixth
        (4000, [change(0, 25, tap=5)] * 7, 9.6719, 1e-4),  # and the seventh
        (100, [change(0, 75)], 0.25, 1e-12),  # one 75 %
        (100, [change(0, 25)] * 3, 0.421875, 1e-12),  # three 25 %
        (3_500_000, [Step("evaporation", at(0), litres=8)], 38043.5, 0.1),  # 35 g/L, 100 to 92 L: 38.0435 g/L
        (3_500_000, [Step("evaporation", at(0), litres=8), Step("topup", at(0), litres=8)], 35000, 0.1),
        (3_500_000, [Step("evaporation", at(0), litres=8), change(0, 0, 8, 35000)], 37800, 0.1),
        (15000, [Step("evaporation", at(0), litres=5), change(0, 0, 5, 150)] * 10, 225, 1e-9),  # hardness
        (20, [change(0, 30), dose(0, 20)], 0.34, 1e-4),  # a full redose each time: 0.34 at first
        (20, [change(0, 30), dose(0, 20)] * 80, 0.6667, 1e-4),  # then toward 0.6667
        (4000, [change(0, 57.1429, tap=5)], 20, 1e-4),  # 40 to 20 with 5 in the tap: f = 0.571429
        (3_500_000, [change(0, 14.286)], 30000, 5),  # g/L 35 -> 30 -> 25 -> 20 -> 15 in 100 L
        (3_000_000, [change(0, 16.667)], 25000, 5),
        (2_500_000, [change(0, 20.0)], 20000, 5),
        (2_000_000, [change(0, 25.0)], 15000, 5),
        (0, [change(0, 25), dose(0, 100)] * 200, 4, 1e-9),  # input 1 a day, f 0.25: 4 before the change
        (0, [*[change(0, 25), dose(0, 100)] * 200, change(0, 25)], 3, 1e-9),  # and 3 after it
    ],
)
def test_changes_as_the_calculations_reference_prints_them(
    mg: float, steps: list[Step], expected: float, tolerance: float
) -> None:
    """Section c, check values: changes, evaporation, top-ups and redoses in 100 L."""
    assert known([dose(0, mg), *steps]) == pytest.approx(expected, abs=tolerance, rel=1e-12)


@pytest.mark.parametrize(
    ("high", "most", "fraction", "tap", "changes"),
    [(40, 10, "0.25", 0, 5), (40, 10, "0.5", 0, 2), (20, 1, "0.3", 0, 9), (40, 10, "0.25", 5, 7)],
)
def test_numbers_of_changes_as_the_reference_prints_them(
    high: float, most: float, fraction: str, tap: float, changes: int
) -> None:
    """Section c: so many changes are computed, and in the ledger so many do, and one fewer does not."""
    assert clearing_changes(high, most, Decimal(fraction), tap) == changes
    one = change(0, 100 * float(fraction), tap=tap)
    assert known([dose(0, high * 100), *[one] * changes]) <= most * (1 + 1e-9)
    assert known([dose(0, high * 100), *[one] * (changes - 1)]) > most


def test_a_flow_as_the_reference_prints_it() -> None:
    """Section c: 10 mg/L, 5 L an hour through 100 L, 12 hours: 5.488116; to half 13.8629 h, to a tenth 46.0517 h."""
    steps = [dose(0, 1000), flow(0, 5)]
    assert known(steps, 12) == pytest.approx(5.488116, abs=1e-6)
    for left, hours in ((5, 13.8629), (1, 46.0517)):
        assert brentq(lambda h, left=left: known(steps, h) - left, 1, 60, xtol=1e-6) == pytest.approx(hours, abs=1e-4)
    assert known([dose(0, 100), flow(0, 5)], 20) == pytest.approx(0.367879, abs=1e-6)  # one tank volume
    assert known([dose(0, 100), flow(0, 5)], 60) == pytest.approx(0.049787, abs=1e-6)  # three of them


def test_decay_as_the_reference_prints_it() -> None:
    """Section c: half-life 24 h, 18 h from 10: 5.946036; 0.2 to 0.05 at 12 h takes 24 h."""
    assert known([dose(0, 1000)], 18, loss=halved_every(24)) == pytest.approx(5.946036, abs=1e-6)
    assert known([dose(0, 20)], 24, loss=halved_every(12)) == pytest.approx(0.05, rel=1e-12)


def test_decay_and_flow_and_input_as_the_reference_prints_them() -> None:
    """Section c: k = ln 2 / 24, q/V 0.05 an hour, input 0.2 mg/L an hour, from 1, 30 h: 2.391412; at last 2.535461.

    An even input r is a flow that brings r V / q: 0.2 / 0.05 = 4 mg/L.
    """
    steps = [dose(0, 100), flow(0, 5, tap=4)]
    assert known(steps, 30, loss=halved_every(24)) == pytest.approx(2.391412, abs=1e-6)
    assert known(steps, 2000, loss=halved_every(24)) == pytest.approx(2.535461, abs=1e-6)


def test_redoses_as_the_reference_prints_them() -> None:
    """Section c: 0.2 mg/L in 75 L, 30 % changed: 4.5 mg restore it; decayed to 0.1 before the change 9.75 mg do."""
    assert known([dose(0, 15), change(1, 22.5), dose(1, 4.5)], 1, 75) == pytest.approx(0.2, abs=1e-12)
    halved = [dose(0, 15), change(24, 22.5), dose(24, 9.75)]
    assert known(halved, 24, 75, halved_every(24)) == pytest.approx(0.2, abs=1e-12)


def test_repeats_and_ramps_as_the_reference_prints_them() -> None:
    """Section c: a dose of 1 every half-life peaks at 1.9375 after five and tends to 2; 0 to 0.20 in four steps."""
    doses = [dose(24 * n, 100) for n in range(60)]
    assert known(doses[:5], 96, loss=halved_every(24)) == pytest.approx(1.9375, rel=1e-12)
    assert known(doses, 24 * 59, loss=halved_every(24)) == pytest.approx(2, rel=1e-12)
    ramp = [known([dose(0, 5)] * n) for n in (1, 2, 3, 4)]
    assert ramp == [pytest.approx(expected, abs=1e-12) for expected in (0.05, 0.10, 0.15, 0.20)]


@pytest.mark.parametrize(
    ("fraction", "times", "left"),
    [(50, 1, 0.50), (50, 2, 0.25), (50, 3, 0.125), (25, 4, 0.316), (90, 1, 0.10)],
)
def test_fractions_left_as_the_treatment_notes_print_them(fraction: float, times: int, left: float) -> None:
    """Treatment notes, section 4 (computed there, no source): what changes leave of any dissolved drug."""
    assert known([dose(0, 100), *[change(0, fraction)] * times]) == pytest.approx(left, abs=5e-4)


def test_a_replacement_dose_restores_and_does_not_double() -> None:
    """Treatment notes, section 4 (computed there): the dose times the changed volume only restores the level."""
    assert known([dose(0, 200), change(0, 40), dose(0, 2 * 40)]) == pytest.approx(2, rel=1e-12)


# Fractions changed, mg/L in the new water, hours between: twenty water changes as a keeper might do them.
SEQUENCES = [([5 + 7 * n % 60, 11 + 13 * n % 70, 3 + 17 * n % 90][: 1 + n % 3] * (1 + n % 4), n % 5) for n in range(20)]


@pytest.mark.parametrize(("percents", "tap"), SEQUENCES)
def test_twenty_sequences_of_changes_follow_the_closed_form(percents: list[int], tap: int) -> None:
    """C = Cs + (C0 - Cs) x product of (1 - f) (mass balance, algebra), at once and by steps."""
    expected = 20.0
    for percent in percents:
        expected = tap + (expected - tap) * (1 - percent / 100)
    steps = [dose(0, 20 * 150), *[change(n, 1.5 * percent, tap=tap) for n, percent in enumerate(percents, 1)]]
    assert known(steps, 99, 150) == pytest.approx(expected, rel=1e-9)
    low, high = level(steps, Water(150, 3.0), "none", at(99))
    assert low is not None
    assert high is not None
    assert low <= expected <= high


@pytest.mark.parametrize(
    ("rate", "tap", "half_life"),
    [(5.0, 0.0, 24.0), (5.0, 3.0, 24.0), (0.5, 8.0, 100.0), (60.0, 1.0, 6.0), (0.0, 0.0, 9.0)],
)
def test_a_solver_of_differential_equations_agrees(rate: float, tap: float, half_life: float) -> None:
    """dM/dt = -k M - q M / V + q Cs with doses and a change between, against scipy.integrate.solve_ivp.

    100 L hold 10 mg/L; the flow runs from hour 2 to hour 20; 5 mg/L more at hour 8, a change of 30 L at hour 12.
    """
    k = log(2) / half_life
    mass, expected = 1000.0, []
    for begin, end, add in ((0, 2, 0), (2, 8, 500), (8, 12, 0), (12, 20, 0), (20, 30, 0)):
        q = rate if 2 <= begin < 20 else 0.0
        run = solve_ivp(lambda _, m, q=q: -k * m - q * m / 100 + q * tap, (begin, end), [mass], rtol=1e-11, atol=1e-11)
        mass = run.y[0][-1] + add
        if end == 12:
            mass *= 0.7
        expected.append(mass / 100)
    flows = [flow(2, rate, 20, tap)] if rate else []
    steps = [dose(0, 1000), *flows, dose(8, 500), change(12, 30)]
    for hours, there in zip((2, 8, 12, 20, 30), expected, strict=True):
        until = [step for step in steps if step.at <= at(hours)]
        assert known(until, hours, loss=halved_every(half_life)) == pytest.approx(there, rel=1e-8)


def test_the_solver_agrees_at_both_ends_of_an_uncertain_volume() -> None:
    """A flow through 90 to 110 L: each bound is what the solver finds at one end of the interval."""
    found = level([dose(0, 1000), flow(0, 5)], Water(100, 10), "none", at(12))
    ends = [
        solve_ivp(lambda _, c, v=v: -5 / v * c, (0, 12), [1000 / v], rtol=1e-11, atol=1e-11).y[0][-1] for v in (90, 110)
    ]
    assert (found.low, found.high) == (pytest.approx(min(ends), rel=1e-6), pytest.approx(max(ends), rel=1e-6))


def test_a_volume_entered_as_75_and_measured_as_61_was_overdosed() -> None:
    """A worked story of the needs: 2 mg/L for 75 L in 61 L are 150 / 61 = 2.459 mg/L (arithmetic)."""
    assert known([dose(0, 150)], 0, 61) == pytest.approx(2.459, abs=5e-4)
    assert level([dose(0, 150)], Water(75, 0), "none", at(0)) == Level(pytest.approx(2), pytest.approx(2))


def test_one_tank_volume_through_leaves_e_to_the_minus_one() -> None:
    """exp(-1) of what was there, whatever the tank (algebra)."""
    for litres in (20.0, 350.0):
        assert known([dose(0, litres), flow(0, litres / 10)], 10, litres) == pytest.approx(exp(-1), rel=1e-9)
