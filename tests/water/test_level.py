"""The ledger of one substance in one water: two bounds that hold for every volume the tank may have."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quarantine.failures import Refused
from quarantine.water.level import Level, Step, clearing_changes, ledger, level
from quarantine.water.volume import Volume

START = datetime(2026, 3, 1, 9, tzinfo=UTC)
LATER = START + timedelta(days=60)
HUNDRED = Volume(100.0, 0.0, ())


def at(hours: float) -> datetime:
    return START + timedelta(hours=hours)


def dose(hours: float, mg: float, high: float | None = None) -> Step:
    return Step("dose", at(hours), mass_mg_low=mg, mass_mg_high=mg if high is None else high)


def change(hours: float, out: float, into: float | None = None, incoming: float = 0.0) -> Step:
    into = out if into is None else into
    return Step("change", at(hours), out_litres=out, in_litres=into, incoming_low=incoming, incoming_high=incoming)


def both(steps: list[Step], volume: Volume = HUNDRED, loss: str = "none") -> tuple[float, float]:
    found = level(steps, volume, loss, LATER)
    assert found.low is not None
    assert found.high is not None
    return found.low, found.high


def exact(steps: list[Step], litres: Fraction, high: bool = False) -> Fraction | None:
    """The level by plain mass balance in fractions, for a true volume; None when the water is used up."""
    mass = Fraction(0)
    for step in steps:
        if step.kind == "dose":
            mass += Fraction(step.mass_mg_high if high else step.mass_mg_low)
        elif step.kind == "change":
            kept = max(litres - Fraction(step.out_litres), Fraction(0))
            mass = mass * kept / litres if litres else Fraction(0)
            mass += Fraction(step.in_litres) * Fraction(step.incoming_high if high else step.incoming_low)
            litres = kept + Fraction(step.in_litres)
        elif step.kind == "topup":
            litres += Fraction(step.litres)
        elif step.kind == "evaporation":
            litres -= Fraction(step.litres)
        elif step.kind == "reading":
            mass = Fraction(step.level_high if high else step.level_low) * litres
        if litres <= 0:
            return None
    return mass / litres


amounts = st.floats(min_value=0, max_value=500).map(lambda x: round(x, 2))
litres = st.floats(min_value=0, max_value=60).map(lambda x: round(x, 1))
few = st.floats(min_value=0, max_value=8).map(lambda x: round(x, 1))
one_step = st.one_of(
    st.tuples(amounts, amounts).map(lambda a: dose(0, min(a), max(a))),
    st.tuples(litres, litres).map(lambda a: change(0, *a)),
    litres.map(lambda a: change(0, a)),
    st.tuples(litres, few).map(lambda a: change(0, a[0], a[0], a[1])),
    st.sampled_from([change(0, 100), change(0, 120)]),
    few.map(lambda a: Step("topup", START, litres=a)),
    few.map(lambda a: Step("evaporation", START, litres=a)),
    st.tuples(few, few).map(lambda a: Step("reading", START, level_low=min(a), level_high=max(a))),
)
histories = st.lists(one_step, max_size=14).map(
    lambda steps: [step._replace(at=at(hour)) for hour, step in enumerate(steps)]
)


@settings(max_examples=400, deadline=None)
@given(histories, st.floats(min_value=0, max_value=0.3), st.lists(st.fractions(0, 1), min_size=1, max_size=5))
def test_the_bounds_hold_for_every_volume_the_tank_may_have(
    steps: list[Step], share: float, wheres: list[Fraction]
) -> None:
    """Whatever the true volume inside its plus-minus, the exact ledger lies between the bounds.

    A millionth of a millionth of a mg/L is let pass: a tank emptied on paper may hold a float's last bit.
    """
    volume = Volume(100.0, 100 * share, ())
    found = level(steps, volume, "none", LATER)
    least = Fraction(volume.litres) - Fraction(volume.plus_minus_litres)
    for where in (Fraction(0), Fraction(1), *wheres):
        true = least + where * 2 * Fraction(volume.plus_minus_litres)
        low, high = exact(steps, true), exact(steps, true, high=True)
        if found.low is None or found.high is None or low is None or high is None:
            continue
        assert Fraction(found.low) <= low + Fraction(1, 10**12)
        assert high <= Fraction(found.high) + Fraction(1, 10**12)


@settings(deadline=None)
@given(histories)
def test_without_uncertainty_the_bounds_are_the_exact_ledger(steps: list[Step]) -> None:
    """With an exactly known volume both bounds are plain mass balance, to the rounding of floats."""
    found = level(steps, HUNDRED, "none", LATER)
    low, high = exact(steps, Fraction(100)), exact(steps, Fraction(100), high=True)
    if found.low is not None and found.high is not None and low is not None and high is not None:
        assert found.low == pytest.approx(float(low), rel=1e-9, abs=1e-9)
        assert found.high == pytest.approx(float(high), rel=1e-9, abs=1e-9)


equal_changes = st.lists(st.floats(min_value=1, max_value=50).map(lambda x: round(x, 1)), max_size=12)


@settings(deadline=None)
@given(equal_changes, st.floats(min_value=0.01, max_value=0.3))
def test_the_bounds_of_a_dose_and_changes_are_tight(outs: list[float], share: float) -> None:
    """For one dose and changes that put back what they took, each bound is reached by some volume inside."""
    volume = Volume(100.0, 100 * share, ())
    steps = [dose(0, 200), *[change(hour, out) for hour, out in enumerate(outs, 1)]]
    low, high = both(steps, volume)
    worth = [exact(steps, Fraction(100) * (1 + Fraction(share) * n / 200)) for n in range(-200, 201)]
    reached = [float(w) for w in worth if w is not None]
    assert low == pytest.approx(min(reached), rel=1e-3)
    assert high == pytest.approx(max(reached), rel=1e-3)


@settings(deadline=None)
@given(histories, st.floats(min_value=0, max_value=0.3))
def test_doubling_every_dose_doubles_the_level(steps: list[Step], share: float) -> None:
    """Twice as much of everything that was put in is twice the level."""
    volume = Volume(100.0, 100 * share, ())
    doubled = [
        step._replace(
            mass_mg_low=2 * step.mass_mg_low,
            mass_mg_high=2 * step.mass_mg_high,
            incoming_low=2 * step.incoming_low,
            incoming_high=2 * step.incoming_high,
            level_low=2 * step.level_low,
            level_high=2 * step.level_high,
        )
        for step in steps
    ]
    one, two = level(steps, volume, "none", LATER), level(doubled, volume, "none", LATER)
    assert one.known == two.known
    if one.low is not None and one.high is not None:
        assert two.low == pytest.approx(2 * one.low, rel=1e-9)
        assert two.high == pytest.approx(2 * one.high, rel=1e-9)


@settings(deadline=None)
@given(st.floats(min_value=1, max_value=1000), st.floats(min_value=0, max_value=0.3))
def test_a_single_dose_is_mass_over_volume(mg: float, share: float) -> None:
    """One dose gives the mass over the largest volume up to the mass over the smallest."""
    low, high = both([dose(0, mg)], Volume(100.0, 100 * share, ()))
    assert low == pytest.approx(mg / (100 * (1 + share)), rel=1e-12)
    assert high == pytest.approx(mg / (100 * (1 - share)), rel=1e-12)


@settings(deadline=None)
@given(st.floats(min_value=1, max_value=99), st.floats(min_value=0.1, max_value=50))
def test_a_redose_of_what_was_removed_restores_the_level(out: float, target: float) -> None:
    """Target x litres taken out, dosed after the change, brings the level back (rule C1, replace removed)."""
    low, high = both([dose(0, target * 100), change(1, out), dose(2, target * out)])
    assert low == pytest.approx(target, rel=1e-9)
    assert high == pytest.approx(target, rel=1e-9)


def test_the_volume_error_is_shared_over_the_ledger() -> None:
    """A change of 50 L and a redose of what it took: a tank that is small for one is small for all (rule C12).

    At 95 L: 200/95 x 45/95 + 100/95 = 2.0499; at 105 L: 200/105 x 55/105 + 100/105 = 1.9501 (computed). Independent
    errors would give 2.1607 and 1.8141.
    """
    low, high = both([dose(0, 200), change(1, 50), dose(2, 100)], Volume(100.0, 5.0, ()))
    assert high == pytest.approx(200 / 95 * 45 / 95 + 100 / 95)
    assert low == pytest.approx(200 / 105 * 55 / 105 + 100 / 105)


def test_evaporation_concentrates_and_topup_restores() -> None:
    """35 g/L in 100 L becomes 38.0435 at 92 L; fresh water brings back 35, water of 35 g/L makes 37.8 (computed)."""
    salt = dose(0, 3_500_000)
    dry = Step("evaporation", at(1), litres=8)
    assert both([salt, dry])[1] == pytest.approx(38043.5, abs=0.05)
    assert both([salt, dry, Step("topup", at(2), litres=8)])[1] == pytest.approx(35000)
    assert both([salt, dry, change(2, 0, 8, 35000)])[1] == pytest.approx(37800)


def test_hardness_builds_up_with_the_water_put_in() -> None:
    """150 mg/L hardness, ten times 5 % evaporated and topped up with the same water, is 225 mg/L (computed)."""
    steps = [dose(0, 15000)]
    for n in range(10):
        steps += [Step("evaporation", at(n + 1), litres=5), change(n + 1, 0, 5, 150)]
    assert both(steps)[1] == pytest.approx(225)


@pytest.mark.parametrize(
    ("steps", "expected"),
    [
        ([dose(0, 200), *[change(1, 25)] * 3], 0.84375),  # 2.0 mg/L, three changes of 25 %
        ([dose(0, 4000), *[change(1, 30)] * 5], 6.7228),  # 40 mg/L, five of 30 %
        ([dose(0, 4000), *[change(1, 25, incoming=5)] * 6], 11.2292),  # with 5 mg/L in the tap
        ([dose(0, 4000), *[change(1, 25, incoming=5)] * 7], 9.6719),
        ([dose(0, 20), change(1, 30), dose(1, 20)], 0.34),  # a full dose again after 30 %: too much
        ([dose(0, 20), *[change(1, 30), dose(1, 20)] * 60], 0.6667),  # and it tends to target / fraction
        ([dose(0, 100), change(1, 40, 0), Step("topup", at(2), litres=40)], 0.6),  # let out, then filled up
    ],
)
def test_closed_forms(steps: list[Step], expected: float) -> None:
    """Mass balance in closed form (algebra; no published worked example was read), within the printed digit."""
    low, high = both(steps)
    assert low == pytest.approx(expected, abs=5e-5)
    assert high == pytest.approx(expected, abs=5e-5)


def test_stepping_salinity_down() -> None:
    """35, 30, 25, 20, 15 g/L in 100 L: 14.286, 16.667, 20 and 25 L of fresh water each (computed)."""
    steps = [dose(0, 3_500_000)]
    for out, expected in ((14.286, 30), (16.667, 25), (20.0, 20), (25.0, 15)):
        steps.append(change(1, out))
        assert both(steps)[1] / 1000 == pytest.approx(expected, abs=0.005)


def test_a_change_of_everything_leaves_the_incoming_water() -> None:
    """Taking out all the water, or more than there is, leaves what the new water holds."""
    assert both([dose(0, 200), change(1, 100)]) == (0.0, 0.0)
    assert both([dose(0, 200), change(1, 130, 100)]) == (0.0, 0.0)
    assert both([dose(0, 200), change(1, 100, incoming=3)]) == (pytest.approx(3), pytest.approx(3))


def test_a_change_of_all_the_water_of_an_uncertain_tank() -> None:
    """If the tank may hold a little more than was taken out, a little may be left: 200/105 x 5/105 mg/L at most."""
    low, high = both([dose(0, 200), change(1, 100)], Volume(100.0, 5.0, ()))
    assert low == 0
    assert 200 / 105 * 5 / 105 <= high <= 200 / 105 * 5 / 105 * 1.01


def test_a_substance_that_may_break_down_has_no_lower_bound_later() -> None:
    """The lower bound is zero from the first later instant on; the upper never falls by it."""
    steps = [dose(0, 200)]
    assert level(steps, HUNDRED, "possible", at(0)).low == pytest.approx(2)
    later = level(steps, HUNDRED, "possible", at(0.01))
    assert later == Level(0.0, pytest.approx(2))
    again = level([*steps, dose(24, 100)], HUNDRED, "possible", at(24))
    assert again == Level(pytest.approx(1), pytest.approx(3))


def test_carbon_takes_the_lower_bound_only() -> None:
    """Removal by carbon or UV makes the lower bound zero and leaves the upper (rule C12); a later dose counts whole."""
    assert both([dose(0, 200), Step("removal", at(1))]) == (0.0, pytest.approx(2))
    assert both([dose(0, 200), Step("removal", at(1)), dose(2, 100)]) == (pytest.approx(1), pytest.approx(3))


def test_an_addition_of_unknown_size_makes_the_level_unknown() -> None:
    """The level is unknown until a reading, or until all the water, at its most, has been changed."""
    unknown = Step("unknown_addition", at(1))
    volume = Volume(100.0, 5.0, ())
    assert level([dose(0, 200), unknown, change(2, 100)], volume, "none", LATER) == Level(None, None)
    assert not level([unknown], volume, "none", LATER).known
    assert level([unknown, change(2, 105)], volume, "none", LATER) == Level(0.0, 0.0)
    read = Step("reading", at(3), level_low=1.8, level_high=2.2)
    assert both([unknown, read], volume) == (pytest.approx(1.8), pytest.approx(2.2))


def test_a_reading_replaces_both_bounds() -> None:
    """After a reading only it and what follows count (rule C13), and changes dilute it."""
    read = Step("reading", at(1), level_low=1.8, level_high=2.2)
    assert both([dose(0, 900), read, change(2, 50)]) == (pytest.approx(0.9), pytest.approx(1.1))


def test_water_that_is_used_up_leaves_no_level() -> None:
    """A tank that dried out, or was dosed empty, on paper has no level that can be computed: unknown, never guessed."""
    assert not level([dose(0, 200), Step("evaporation", at(1), litres=100)], HUNDRED, "none", LATER).known
    assert not level([change(0, 100, 0), dose(1, 200)], HUNDRED, "none", LATER).known
    assert level([dose(0, 200), change(1, 100, 0), Step("topup", at(2), litres=80)], HUNDRED, "none", LATER).high == 0


def test_draining_in_stages_stays_inside_the_bounds() -> None:
    """Where the tank ends under half full the shares are bounded in pieces; letting water out changes no level."""
    steps = [dose(0, 200), *[change(n, 10, 0) for n in range(1, 8)]]
    low, high = both(steps, Volume(100.0, 10.0, ()))
    assert 200 / 110 * 0.98 <= low <= 200 / 110
    assert 200 / 90 <= high <= 200 / 90 * 1.02


@pytest.mark.parametrize(
    ("into", "most"),
    [
        (1.0, 200 / 110 * 10 / 11),  # at V = 110 L; less at 120 L and at 102 L
        (0.0, 200 / 100),  # just above 100 L a little is left, and no smaller tank has any
    ],
)
def test_the_worst_volume_may_lie_inside_the_interval(into: float, most: float) -> None:
    """Where a change may just have emptied the tank, neither end of the interval is the worst (computed)."""
    low, high = both([dose(0, 200), change(1, 100, into)], Volume(100.0, 20.0, ()))
    assert low == 0
    assert most <= high <= most * 1.02


def test_later_steps_do_not_count_yet() -> None:
    """The level at an instant knows nothing of what comes after it."""
    assert level([dose(0, 200), dose(24, 200)], HUNDRED, "none", at(23)).high == pytest.approx(2)
    assert level([], HUNDRED, "none", LATER) == Level(0.0, 0.0)


def test_the_ledger_shows_the_level_after_each_step() -> None:
    """Each line has its step and the bounds right after it."""
    lines = ledger([dose(0, 200), change(1, 50), Step("unknown_addition", at(2))], HUNDRED, "none")
    assert [step.kind for step, _ in lines] == ["dose", "change", "unknown_addition"]
    assert [after.high for _, after in lines] == [pytest.approx(2), pytest.approx(1), None]


@pytest.mark.parametrize(
    ("steps", "volume", "loss", "until", "says"),
    [
        ([dose(2, 1), dose(1, 1)], HUNDRED, "none", LATER, "time order"),
        ([dose(1, 1)], HUNDRED, "none", datetime(2026, 3, 1), "zone"),
        ([Step("dose", datetime(2026, 3, 1))], HUNDRED, "none", LATER, "zone"),
        ([dose(1, -1)], HUNDRED, "none", LATER, "zero or more"),
        ([dose(1, float("nan"))], HUNDRED, "none", LATER, "zero or more"),
        ([Step("stir", START)], HUNDRED, "none", LATER, "not 'stir'"),
        ([], HUNDRED, "some", LATER, "not 'some'"),
        ([], Volume(100.0, 100.0, ()), "none", LATER, "smaller than the volume"),
    ],
)
def test_faults_of_the_caller_are_loud(
    steps: list[Step], volume: Volume, loss: str, until: datetime, says: str
) -> None:
    """A ledger out of order or with an impossible amount is a fault of the program."""
    with pytest.raises(ValueError, match=says):
        level(steps, volume, loss, until)


@pytest.mark.parametrize(
    ("high", "most", "fraction", "tap", "changes"),
    [
        (40, 10, "0.25", 0, 5),
        (40, 10, "0.5", 0, 2),  # exactly 2: guards the rounding up
        (20, 1, "0.3", 0, 9),
        (40, 10, "0.25", 5, 7),
        (10, 10, "0.5", 0, 0),
        (5, 10, "0.5", 0, 0),
        (40, 10, "1", 0, 1),
        (40, 5, "1", 5, 1),
        (40, 0, "1", 0, 1),
    ],
)
def test_how_many_changes_clear(high: float, most: float, fraction: str, tap: float, changes: int) -> None:
    """The number of equal changes to a level (algebra; no published worked example was read)."""
    assert clearing_changes(high, most, Decimal(fraction), tap) == changes


@settings(deadline=None)
@given(
    st.floats(min_value=1, max_value=100),
    st.floats(min_value=0.05, max_value=0.9),
    st.sampled_from(["0.1", "0.25", "0.3", "0.5", "0.9"]),
)
def test_so_many_changes_are_enough_and_fewer_are_not(high: float, share: float, fraction: str) -> None:
    """After that many changes the level is where it should be, and one fewer would not do."""
    most = high * share
    changes = clearing_changes(high, most, Decimal(fraction))
    left = 1 - float(fraction)
    assert high * left**changes <= most * (1 + 1e-6)
    assert high * left ** (changes - 1) >= most * (1 - 1e-6)


@pytest.mark.parametrize(("most", "fraction", "tap"), [(5, "0.5", 5), (4, "1", 5), (0, "0.5", 0)])
def test_what_changes_cannot_reach_is_refused(most: float, fraction: str, tap: float) -> None:
    """No number of changes brings the level under that of the water put in."""
    with pytest.raises(
        Refused, match=f"to {most} mg/L, because each leaves a part and the water put in holds {tap} mg/L"
    ):
        clearing_changes(40, most, Decimal(fraction), tap)


@pytest.mark.parametrize("fraction", ["0", "-0.5", "1.1"])
def test_a_fraction_of_a_change_lies_between_nothing_and_all(fraction: str) -> None:
    """A fraction outside its range is a fault of the program."""
    with pytest.raises(ValueError, match="fraction"):
        clearing_changes(40, 10, Decimal(fraction))
