"""Amounts that were shown or held wrongly: water gone on record, unknown additions, a sick neighbour, bad volumes."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time
from hypothesis import given
from hypothesis import strategies as st

from quarantine.actions.cards import read_vessel
from quarantine.cli.app import run
from quarantine.dosing import Setting, propose
from quarantine.facts import Fact
from quarantine.formulary import regimen
from quarantine.water.ledger import Water, level_of, short_of_mark

START = datetime(2026, 2, 13, 9, tzinfo=UTC)


class Room:
    """A record with one or two batches on day 3 in sea water, every before-check met; a minute passes each command."""

    def __init__(self, home: Path, capsys: pytest.CaptureFixture[str], quarantines: tuple[str, ...] = ("Q1",)) -> None:
        self.home, self.capsys, self.now = home, capsys, datetime(2026, 2, 13, 15, 30, tzinfo=UTC)
        self.says("site", "add", "Hall", "--zone", "Europe/London")
        self.says("keeper", "add", "Robin")
        size = ["--shape", "box", "--length", "60 cm", "--width", "30 cm", "--filled", "30 cm"]
        for tank in (*quarantines, "Show"):
            role = "display" if tank == "Show" else "quarantine"
            shared = [] if tank == "Show" else ["--system", "Sea"]
            self.says("tank", "add", tank, "--site", "Hall", "--role", role, "--water", "marine", *size, *shared)
        for tank in quarantines:
            fish = [
                "--fish",
                "12 Amphiprion ocellaris, 3 cm",
                "--from",
                "a breeder",
                "--to",
                "Show",
                "--acknowledge",
                "--yes",
            ]
            protocol = "marine-praziquantel" if len(quarantines) == 1 else "marine-watch"
            course = ["--protocol", protocol, "--arrived", "2026-02-10 10:00"]
            self.says("batch", "start", "--tank", tank, *course, *fish, "--yes")
        for day in (11, 12, 13):
            for tank in quarantines:
                line = f"{tank} 12 3 temp=25C tan=0mg/L ph=7.8 nitrite=0mg/L oxygen=7mg/L salinity=34g/L"
                self.says("look", line, "--no-signs", "--at", f"2026-02-{day} 09:00")

    def says(self, *words: str, code: int = 0) -> str:
        self.now += timedelta(minutes=1)
        with freeze_time(self.now):
            found = run(["--home", str(self.home), *words])
        said = self.capsys.readouterr()
        assert found == code, (words, said)
        return " ".join((said.err if code else said.out).split())

    def doses(self) -> list[Any]:
        tasks = json.loads(self.says("--json", "today"))["tasks"]
        return [task for task in tasks if task["kind"] == "dose"]

    def held(self) -> set[str]:
        """The rules by which the doses of today are held; "" for one that is shown."""
        for task in self.doses():
            assert (task["hold"] is None) == (task["dose"]["add"] is not None)
        return {task["hold"]["rule"] if task["hold"] else "" for task in self.doses()}


@pytest.fixture
def make(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Callable[..., Room]:
    return lambda *tanks: Room(tmp_path / "home", capsys, tanks or ("Q1",))


# --- The water is not at its mark (rules C10 and C11) --------------------------------------------------------


@pytest.mark.parametrize(
    "gone", [("evaporation", "Q1", "10 L"), ("change", "Q1", "--out", "20 L", "--in", "10 L")], ids=lambda w: w[0]
)
def test_no_dose_for_the_full_tank_is_shown_while_water_is_gone_on_record(
    make: Callable[..., Room], gone: tuple[str, ...]
) -> None:
    """Ten of 54 L are missing: 0.1 g would be a fifth too strong. Topping up, on record, frees it."""
    room = make()
    assert room.held() == {""}
    room.says("event", *gone)
    assert room.held() == {"C10"}
    assert "10 L went out of this water" in room.says("dose", "praziquantel", "--tank", "Q1", "--regimen", "Z01")
    room.says("done", room.doses()[0]["code"], "--as-shown", code=1)
    room.says("event", "topup", "Q1", "10 L")
    assert room.held() == {""}


def test_a_new_water_height_counts_what_went_before_it(make: Callable[..., Room]) -> None:
    """Where the water stands is said anew: the volume holds the loss already, and the dose is the smaller one."""
    room = make()
    room.says("event", "evaporation", "Q1", "9 L")
    room.says("tank", "level", "Q1", "5 cm below")
    task = room.doses()[0]
    assert task["hold"] is None
    assert task["dose"]["volume_litres"] == 45
    assert task["dose"]["add"] == pytest.approx(0.09)


def test_a_little_evaporation_holds_nothing(make: Callable[..., Room]) -> None:
    """Up to a hundredth of the volume (our choice) is inside what any keeper sees as the mark."""
    room = make()
    room.says("event", "evaporation", "Q1", "0.5 L")
    assert room.held() == {""}


def fact(number: int, kind: str, data: dict[str, str]) -> Fact:
    at = START + timedelta(hours=number)
    return Fact(f"f{number:02}", kind, at, at, "k", "s", "t", None, None, data)


DOSE = fact(0, "dose", {"substance": "praziquantel", "route": "bath", "mass_mg": "200"})


def test_water_put_in_that_restores_unwritten_evaporation_does_not_thin_the_upper_bound() -> None:
    """Three top-ups of 10 L, no evaporation on record: 200 mg in 100 L may still be 2 mg/L (rules C1 and C12)."""
    tops = [fact(n, "topup", {"litres": "10"}) for n in (1, 2, 3)]
    level = level_of([DOSE, *tops], "praziquantel", Water(100, 0), "none", START + timedelta(days=1))
    assert level.high == pytest.approx(2, abs=1e-9)
    assert level.low == pytest.approx(200 / 130, abs=1e-9)


def test_evaporation_on_record_that_is_topped_up_leaves_the_level_as_it_was() -> None:
    """C12: evaporation concentrates, top-up restores; a change with more in than out thins by what went out only."""
    facts = [DOSE, fact(1, "evaporation", {"litres": "10"}), fact(2, "topup", {"litres": "10"})]
    until = START + timedelta(days=1)
    level = level_of(facts, "praziquantel", Water(100, 0), "none", until)
    assert (level.low, level.high) == (pytest.approx(2, abs=1e-9), pytest.approx(2, abs=1e-9))
    change = fact(1, "change", {"out_litres": "10", "in_litres": "20"})
    assert level_of([DOSE, change], "praziquantel", Water(100, 0), "none", until).high == pytest.approx(1.8, abs=1e-9)


MOVES = st.lists(
    st.one_of(
        st.tuples(st.just("topup"), st.integers(1, 9)),
        st.tuples(st.just("evaporation"), st.integers(1, 5)),
        st.tuples(st.just("change"), st.integers(1, 20), st.integers(0, 30)),
    ),
    max_size=6,
)


@given(MOVES)
def test_the_upper_bound_covers_a_tank_that_never_stands_over_its_mark(moves: list[tuple[Any, ...]]) -> None:
    """Whatever is on record: if all surplus restored unwritten evaporation, the true level is under the upper bound."""
    facts, litres, mg = [DOSE], 100.0, 200.0
    for number, (kind, *amounts) in enumerate(moves, start=1):
        names = ("out_litres", "in_litres") if kind == "change" else ("litres",)
        facts.append(fact(number, kind, dict(zip(names, map(str, amounts), strict=True))))
        if kind == "change":
            mg *= 1 - amounts[0] / litres
            litres = min(litres - amounts[0] + amounts[1], 100.0)
        else:
            litres = min(litres + (amounts[0] if kind == "topup" else -amounts[0]), 100.0)
    level = level_of(facts, "praziquantel", Water(100, 0), "none", START + timedelta(days=2))
    assert level.high is not None
    assert level.low is not None
    assert level.high >= mg / litres - 1e-9
    assert level.low <= level.high
    assert float(short_of_mark(facts, {})) == pytest.approx(100 - litres)


def test_what_is_missing_is_counted_from_the_volume_on_and_never_below_nothing() -> None:
    """Water that went before the tank was measured is in the measurement; a surplus is no store for later."""
    gone = [fact(1, "evaporation", {"litres": "4"}), fact(5, "topup", {"litres": "9"})]
    later = fact(6, "evaporation", {"litres": "2.5"})
    assert short_of_mark([*gone, later], {"t": START}) == Decimal("2.5")
    assert short_of_mark(gone[:1], {"t": START + timedelta(hours=2)}) == 0


# --- What is in the water (rule C12), and who (rule C9) ------------------------------------------------------


def test_an_unknown_addition_holds_the_first_dose_too(make: Callable[..., Room]) -> None:
    """It makes every level unknown, also of what was never dosed; a change of all the water clears it."""
    room = make()
    room.says("event", "unknown", "Q1", "--what", "old tank water")
    assert room.held() == {"C12"}
    room.says("event", "change", "Q1", "--out", "55 L", "--really")
    assert room.held() == {""}


def test_what_was_really_given_into_unknown_water_is_answered_with_the_rescue(make: Callable[..., Room]) -> None:
    """The level is not known and may be over the ceiling, even when this dose alone is not (rule C7)."""
    room = make()
    room.says("event", "unknown", "Q1", "--what", "old tank water")
    said = room.says("event", "dose", "Q1", "Z01", "--gave", "0.1 g", "--really")
    assert "The level of Praziquantel is not known and may be over the ceiling of 10 mg/L" in said


def test_an_a_sign_in_a_neighbouring_tank_of_the_same_water_holds_every_dose(make: Callable[..., Room]) -> None:
    """Rule C9 is about the water: a batch that is well is not dosed beside one that is gasping."""
    room = make("Q1", "Q2")
    ask = ("dose", "praziquantel", "--tank", "Q2", "--regimen", "Z01")
    assert "ADD 0.21 g" in room.says(*ask)
    room.says("look", "Q2 12 1", "--sign", "gasping at the surface:A")
    assert "HELD: an emergency is open: sign seen: gasping at the surface" in room.says(*ask)
    room.says("event", "lift", "Q2", "--because", "air is on, the water was tested")
    assert "ADD 0.21 g" in room.says(*ask)


def test_bad_water_holds_a_dose_in_a_tank_without_a_batch(make: Callable[..., Room]) -> None:
    """Ammonia, nitrite or oxygen out of limit holds every dose in that water (rules B10 and C9)."""
    room = make()
    ask = ("dose", "praziquantel", "--tank", "Show", "--regimen", "Z01")
    room.says("reading", "Show", "oxygen=7mg/L", "salinity=34g/L")
    assert "ADD 0.1 g" in room.says(*ask)
    room.says("reading", "Show", "oxygen=3mg/L")
    assert "HELD: oxygen 3 mg/L, needed: at least 5 mg/L" in room.says(*ask)
    room.now += timedelta(hours=1)
    room.says("reading", "Show", "oxygen=7mg/L")
    room.says("reading", "Show", "nitrite=1mg/L")
    assert "HELD: nitrite 1 mg/L, needed: at most 0.125 mg/L" in room.says(*ask)


# --- How well the volume is known (rules C2 and C3) ----------------------------------------------------------


@pytest.mark.parametrize(("error", "rule"), [("13.5 L", ""), ("13.6 L", "C3"), ("53 L", "C3")])
def test_a_volume_that_is_hardly_known_shows_no_dose(make: Callable[..., Room], error: str, rule: str) -> None:
    """No effective minimum is published, so over a quarter of the volume (our choice) the tank is measured first."""
    room = make()
    room.says("tank", "measure", "Q1", "54 L", "--by", "counted buckets", "--plus-minus", error)
    assert room.held() == {rule}


def test_a_vessel_typed_too_coarsely_is_measured_again_and_not_the_tank() -> None:
    """ "1 L" may be a half or one and a half: held, with a remedy for the vessel; "2 L" is just known well enough."""
    salt, dip = regimen("T01")
    tank = Setting(
        kind="fresh",
        zone="Europe/London",
        now=START,
        volume=Water(54, 0.7),
        volume_says="measured",
        levels={},
        doses=(),
        evidence=None,
        scale_step_grams=Decimal("0.01"),
        readings=(fact(0, "reading", {"parameter": "salinity", "value": "0.1", "step": "0.1", "unit": "g/L"}),),
    )
    for typed, rule in (("1/2 L", "C2"), ("1 L", "C3"), ("2 L", None), ("1.0 L", None)):
        hold = propose(salt, dip, tank._replace(vessel=read_vessel(typed))).hold
        assert (hold and hold.rule) == rule, typed
        assert hold is None or "vessel" in hold.remedy
