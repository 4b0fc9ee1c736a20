"""The measured amount: rules C1, C2, C3, C4, C7 and C15."""

from __future__ import annotations

import re
from datetime import timedelta
from decimal import Decimal

import pytest
from history import History
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from quarantine.dosing import DEFERS, Proposal, Setting, clearing_litres, propose, rescue
from quarantine.facts import Fact
from quarantine.formulary import Figure, load, load_all, regimen
from quarantine.quantity import Quantity
from quarantine.water.ledger import Water, level_of
from quarantine.water.level import Level

HISTORY = History("marine-watch")
NOW = HISTORY.at(10)


def setting(
    litres: float = 200.0,
    plus_minus: float = 2.0,
    *,
    step: str = "0.01",
    kind: str = "marine",
    levels: dict[str, Level] | None = None,
    doses: tuple[Fact, ...] = (),
    history: History | None = None,
) -> Setting:
    return Setting(
        kind=kind,
        zone="Europe/London",
        now=NOW,
        volume=Water(litres, plus_minus),
        volume_says="measured",
        levels=levels or {},
        doses=doses,
        evidence=history.evidence(NOW) if history else None,
        scale_step_grams=Decimal(step),
    )


def z01(water: Setting, target: str | None = None) -> Proposal:
    wanted = None if target is None else Quantity(Decimal(target), "mg/L")
    return propose(*regimen("Z01"), water, target=wanted)


@pytest.mark.parametrize(
    ("litres", "plus_minus", "step", "add", "low", "high"),
    [
        # 2 x 49.3 = 98.6 mg; down to 10 mg: 90 mg; / 49.9 = 1.8036, / 48.7 = 1.8480
        (49.3, 0.6, "0.01", "0.09", "1.8", "1.85"),
        # 98.6 mg down to 1 mg: 98 mg; / 49.9 = 1.9639, / 48.7 = 2.0123
        (49.3, 0.6, "0.001", "0.098", "1.96", "2.02"),
        # 2 x 200 = 400 mg; / 202 = 1.9801, / 198 = 2.0202
        (200.0, 2.0, "0.01", "0.4", "1.98", "2.03"),
        # 2 x 11.4 = 22.8 mg; down to 20 mg; / 11.4
        (11.4, 0.0, "0.01", "0.02", "1.75", "1.76"),
    ],
)
def test_C2_worked_by_hand(litres: float, plus_minus: float, step: str, add: str, low: str, high: str) -> None:
    """Target times volume, rounded down to the scale; both ends of what it gives, rounded outward."""
    dose = z01(setting(litres, plus_minus, step=step)).dose
    assert (str(dose.add), str(dose.gives_low), str(dose.gives_high)) == (add, low, high)
    assert (dose.add_unit, dose.gives_unit, dose.target_unit) == ("g", "mg/L", "mg/L")


def test_C2_the_ceiling_over_the_smallest_volume_limits_the_size() -> None:
    """M01 has target and ceiling 5 mg/L: 5 x (100 - 3) = 485 mg, not 500 mg; the most it gives is the ceiling."""
    dose = propose(*regimen("M01"), setting(100.0, 3.0, kind="fresh")).dose
    assert dose.add == Decimal("0.48")
    assert dose.gives_high is not None
    assert dose.gives_high <= 5


@given(st.integers(100, 50000), st.sampled_from(["Z01", "Z02", "M01"]))
def test_doubling_the_volume_doubles_the_dose(tenths: int, row: str) -> None:
    """Exactly, on a scale fine enough that nothing is rounded."""
    litres = tenths / 10
    kind = "fresh" if row == "M01" else "marine"
    once = propose(*regimen(row), setting(litres, 0.0, step="0.0001", kind=kind)).dose.add
    twice = propose(*regimen(row), setting(2 * litres, 0.0, step="0.0001", kind=kind)).dose.add
    assert once is not None
    assert twice == 2 * once


VOLUMES = st.floats(1.5, 5000.0)
SHARES = st.floats(0.0, 0.3)
STEPS = st.sampled_from(["0.1", "0.01", "0.001"])


@given(VOLUMES, SHARES, STEPS, st.floats(0.0, 1.0))
def test_what_a_dose_gives_lies_between_its_ends_for_every_true_volume(
    litres: float, share: float, step: str, place: float
) -> None:
    """Any true volume within plus or minus: gives_low <= amount / volume <= gives_high, and under the ceiling."""
    plus_minus = litres * share
    dose = z01(setting(litres, plus_minus, step=step)).dose
    assume(dose.add is not None)
    assert dose.add is not None
    assert dose.gives_low is not None
    assert dose.gives_high is not None
    exact = Decimal(str(litres)) + Decimal(str(plus_minus)) * (2 * Decimal(place) - 1)
    true = dose.add * 1000 / exact
    assert dose.gives_low <= true <= dose.gives_high <= 10


@given(VOLUMES, SHARES, STEPS)
def test_C4_a_dose_is_never_rounded_up(litres: float, share: float, step: str) -> None:
    """The amount is a whole number of steps and at most target times volume; one step more would be over it."""
    dose = z01(setting(litres, litres * share, step=step)).dose
    assume(dose.add is not None)
    assert dose.add is not None
    assert dose.add % Decimal(step) == 0
    assert dose.add * 1000 <= 2 * Decimal(str(litres))
    assert (dose.add + Decimal(step)) * 1000 > 2 * dose.volume_litres
    assert dose.volume_litres <= Decimal(str(litres))


def test_C4_less_than_one_step_of_the_scale_is_held() -> None:
    """4.9 L take 9.8 mg, less than 0.01 g: no dose is shown."""
    proposal = z01(setting(4.9, 0.0))
    assert proposal.dose.add is None
    assert proposal.hold is not None
    assert (proposal.hold.rule, proposal.hold.figure, proposal.hold.figure_unit) == ("C4", "0.01", "g")
    assert "finer scale" in proposal.hold.remedy


def test_C4_advice_begins_where_a_step_is_over_five_percent_of_the_dose() -> None:
    """Twenty steps are enough and nineteen are not; no stock solution where no solubility is on record."""
    assert z01(setting(100.0, 0.0)).advice == ""
    advice = z01(setting(99.9, 0.0)).advice
    assert "finer scale" in advice
    assert "no stock solution" in advice
    substance = load("praziquantel")._replace(solubility=Figure(Decimal("0.4"), "g/L", "S43", "READ"))
    found = propose(substance, regimen("Z01")[1], setting(99.9, 0.0)).advice
    assert "make a stock solution (dissolves to 0.4 g/L)" in found


def test_C3_a_low_end_under_the_effective_minimum_is_not_shown_as_a_dose() -> None:
    """With a minimum of 2 mg/L an uncertain volume cannot promise it; the hold says what the dose could give."""
    substance, row = regimen("Z01")
    row = row._replace(effective_minimum=Figure(Decimal("2"), "mg/L", "S43", "READ"))
    proposal = propose(substance, row, setting())
    assert proposal.dose.add is None
    assert proposal.hold is not None
    assert (proposal.hold.rule, proposal.hold.figure) == ("C3", "2")
    assert "1.98" in proposal.hold.says
    assert "measure the tank" in proposal.hold.remedy
    assert proposal.hold.reference
    enough = row._replace(effective_minimum=Figure(Decimal("1.98"), "mg/L", "S43", "READ"))
    assert propose(substance, enough, setting()).hold is None


def test_C1_the_upper_bound_refuses_and_never_sizes() -> None:
    """6 mg/L already there: the full amount as published. 8 mg/L: no smaller dose, but a hold."""
    free = z01(setting())
    some = z01(setting(levels={"praziquantel": Level(0.0, 6.0)}))
    assert some.dose.add == free.dose.add == Decimal("0.4")
    much = z01(setting(levels={"praziquantel": Level(0.0, 8.0)}))
    assert much.dose.add is None
    assert much.hold is not None
    assert (much.hold.rule, much.hold.figure) == ("ceiling", "10")
    assert "change at least" in much.hold.remedy


def litres_of(text: str) -> float | None:
    found = re.search(r"change at least ([\d.]+) L", text)
    return float(found[1]) if found else None


class Pond:
    """A water that is dosed as shown and changed in between."""

    def __init__(self, litres: float, plus_minus: float, step: str, row: str) -> None:
        self.history = History("marine-watch" if row != "M01" else "fresh-watch", water=Water(litres, plus_minus))
        self.water, self.step, self.row = Water(litres, plus_minus), step, row
        self.substance, self.regimen = regimen(row)
        self.now = self.history.at(1)

    def high(self) -> float:
        found = level_of(self.history.facts, self.substance.id, self.water, self.substance.loss, self.now).high
        assert found is not None
        return found

    def propose(self) -> Proposal:
        doses = tuple(f for f in self.history.facts if f.kind == "dose")
        level = level_of(self.history.facts, self.substance.id, self.water, self.substance.loss, self.now)
        kind = "fresh" if self.row == "M01" else "marine"
        found = setting(
            self.water.litres,
            self.water.plus_minus_litres,
            step=self.step,
            kind=kind,
            levels={self.substance.id: level} if doses else {},
            doses=doses,
        )
        return propose(self.substance, self.regimen, found._replace(now=self.now))

    def give(self, proposal: Proposal) -> None:
        assert proposal.dose.add is not None
        dose = self.history.dose(self.now, substance=self.substance.id)
        dose.data["mass_mg"] = str(proposal.dose.add * 1000)

    def change(self, litres: float) -> None:
        data = {"out_litres": f"{litres:.4f}", "in_litres": f"{litres:.4f}"}
        self.history.fact("change", self.now, data, batch=None)


PONDS = st.builds(
    Pond,
    st.floats(20, 2000),
    st.floats(0.0, 15.0),
    st.sampled_from(["0.01", "0.1"]),
    st.sampled_from(["Z02", "Z01", "M01"]),
)
MOVES = st.lists(
    st.tuples(st.sampled_from(["dose", "dose", "change"]), st.floats(0.0, 1.0), st.integers(5, 60)), max_size=14
)


@settings(deadline=None)
@given(PONDS, MOVES)
def test_no_accepted_history_passes_a_ceiling(pond: Pond, moves: list[tuple[str, float, int]]) -> None:
    """Doses as shown and changes in any sequence: the upper bound of the ledger never passes the ceiling."""
    ceiling = float(max(c.figure.value for c in pond.regimen.ceilings))
    for move, share, hours in moves:
        pond.now += timedelta(hours=hours)
        if move == "change":
            pond.change(share * pond.water.litres)
        elif (proposal := pond.propose()).hold is None:
            pond.give(proposal)
        assert pond.high() <= ceiling * (1 + 1e-12)


@settings(deadline=None)
@given(PONDS, st.integers(0, 12))
def test_the_computed_clearing_change_really_makes_room(pond: Pond, more: int) -> None:
    """After the litres that the hold names, the same dose passes the ceiling check."""
    for _ in range(12 + more):
        pond.now += timedelta(hours=100)
        proposal = pond.propose()
        if proposal.hold is not None:
            break
        pond.give(proposal)
    assume(proposal.hold is not None and proposal.hold.rule == "ceiling")
    assert proposal.hold is not None
    litres = litres_of(proposal.hold.remedy)
    if litres is None:
        assert "change all of the water" in proposal.hold.remedy or "lower target" in proposal.hold.remedy
        return
    pond.now += timedelta(hours=1)
    pond.change(litres)
    again = pond.propose().hold
    assert again is None or again.rule != "ceiling"


@settings(deadline=None)
@given(st.floats(20, 2000), st.floats(0.0, 15.0), st.floats(1.01, 8.0))
def test_C7_the_litres_of_the_rescue_bring_the_level_under_the_ceiling(
    litres: float, plus_minus: float, times: float
) -> None:
    """Far too much was given: after the change that the rescue names the upper bound is at the ceiling or under it."""
    pond = Pond(litres, plus_minus, "0.01", "Z02")
    dose = pond.history.dose(pond.now)
    dose.data["mass_mg"] = str(10 * times * litres)
    shown = pond.propose().dose
    high = Decimal(repr(pond.high()))
    says = rescue(shown.volume_litres, high, Decimal(10), "praziquantel", shown.volume_plus_minus_litres)
    out = litres_of(says)
    if out is None:
        assert "change all of the water" in says
        return
    pond.now += timedelta(hours=1)
    pond.change(out)
    assert pond.high() <= 10
    assert "aeration" in says
    assert "veterinarian" in says


def test_clearing_litres_by_hand() -> None:
    """From 4 to 3 mg/L in 100 L exactly: a quarter. With plus or minus 5 L: a quarter of 105 L. From 4 to 0.1: all."""
    assert clearing_litres(Decimal(100), Decimal(0), Decimal(4), Decimal(3)) == Decimal("25.1")
    assert clearing_litres(Decimal(100), Decimal(5), Decimal(4), Decimal(3)) == Decimal("26.3")
    assert clearing_litres(Decimal(100), Decimal(5), Decimal(4), Decimal("0.1")) is None


def salted(salinity: str | None, *, given_after: bool = False, step: str = "1") -> Proposal:
    history = History("fresh-watch")
    if salinity is not None:
        history.read(10, "06:00", salinity=salinity)
    doses = ()
    if given_after:
        doses = (history.dose(history.at(9, "07:00"), substance="sodium-chloride"),)
        history.facts = [f for f in history.facts if f.kind != "reading"]
        history.read(9, "22:00" if salinity == "late" else "06:30", salinity="0.5")
    return propose(*regimen("T04"), setting(kind="fresh", history=history, doses=doses, step=step))


def test_C15_salt_is_sized_by_what_is_there() -> None:
    """Target 5 g/L, 0.5 g/L there with a step of 0.1: (5 - 0.55) x 200 = 890 g by target,
    (5 - 0.55) x 198 = 881.1 g by ceiling; from 0.45 + 881/202 to 0.55 + 881/198 g/L."""
    dose = salted("0.5").dose
    assert dose.add == Decimal(881)
    assert (str(dose.gives_low), str(dose.gives_high)) == ("4.81", "5")


def test_C15_an_unknown_present_salinity_is_refused() -> None:
    """No reading, no dose, and the hold asks for the reading by name."""
    hold = salted(None).hold
    assert hold is not None
    assert hold.rule == "C15"
    assert "read salinity" in hold.remedy


def test_C15_a_reading_from_before_the_last_salt_says_nothing_of_the_water_now() -> None:
    """Read at 06:30, salted at 07:00: the next day the old reading is not taken for the present salinity."""
    hold = salted("early", given_after=True).hold
    assert hold is not None
    assert hold.rule == "C15"


def test_C15_water_at_the_target_takes_no_salt() -> None:
    """Nothing to add is said, and nothing is added."""
    for salinity in ("5", "9"):
        proposal = salted(salinity)
        assert proposal.hold is not None
        assert (proposal.hold.rule, proposal.dose.add) == ("C15", None)
        assert "at the target already" in proposal.hold.says


@given(st.integers(0, 49), st.integers(-1, 1))
def test_C15_the_ends_hold_for_every_present_salinity_and_volume(tenths: int, side: int) -> None:
    """Whatever the kit's step hides: the salinity afterwards lies between the two ends and under the ceiling."""
    dose = salted(str(Decimal(tenths) / 10)).dose
    assume(dose.add is not None)
    assert dose.add is not None
    assert dose.gives_low is not None
    assert dose.gives_high is not None
    present = max(Decimal(tenths) / 10 + side * Decimal("0.05"), Decimal(0))
    for litres in (198, 200, 202):
        assert dose.gives_low <= present + dose.add / litres <= dose.gives_high <= 5


def test_every_dose_carries_its_cautions_held_or_not() -> None:
    """Every regimen of the formulary, in water that suits it and in water that does not."""
    for substance in load_all():
        for row in substance.regimens:
            for kind in ("fresh", "marine"):
                dose = propose(substance, row, setting(kind=kind)).dose
                assert dose.cautions[-1] == DEFERS
                assert all(note.text in dose.cautions for note in substance.legal)
    assert "never for fish that people may eat" in DEFERS.casefold()
    assert "veterinarian" in DEFERS


def test_the_working_can_be_recomputed_by_hand() -> None:
    """Water, target, ceiling, the smaller of the two, what it gives: each line with its figures and units."""
    assert z01(setting(49.3, 0.6)).working == (
        "water: 49.3 L, plus or minus 0.6 L (measured)",
        "target 2 mg/L, for 49.3 L: 0.0986 g",
        "ceiling 10 mg/L, for 49.3 - 0.6 = 48.7 L: 0.487 g",
        "the smaller: 0.0986 g; rounded down to steps of 0.01 g: 0.09 g",
        "gives 0.09 g in 49.9 L to 48.7 L: 1.8 to 1.85 mg/L",
    )


def test_a_target_inside_the_published_range_is_taken_and_one_over_it_is_not() -> None:
    """Z01 is published at 2 mg/L: 1.5 mg/L is smaller, 3 mg/L is no use of this row, ceiling or not."""
    assert z01(setting(), "1.5").dose.add == Decimal("0.3")
    hold = z01(setting(), "3").hold
    assert hold is not None
    assert (hold.rule, hold.figure, hold.figure_unit) == ("published range", "2", "mg/L")
