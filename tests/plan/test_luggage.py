"""What a batch takes along when it is moved (rule B3): the part of the old water that its plan still goes by."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from history import History, dose_step, small

from quarantine.facts import Fact
from quarantine.luggage import MOVED_IN
from quarantine.plan import Course, Plan, packed, plan
from quarantine.protocol import Protocol
from quarantine.records.codec import plain

WARM = """
[[period]]
id = "warm"
title = "Four days at 22 °C or more"
length = "4 d"
counts = "in-range"
reading = "temperature"
min = "22 degC"
start = { arrival = "0 d" }
references = ["choice"]
"""

CHORE = """
[[step]]
id = "salt"
kind = "chore"
title = "Once it is warm"
for = "system"
start = { reading = "temperature", min = "24 degC", by = "2 d" }
references = ["choice"]
"""


class Moves:
    """A history whose fish are moved, once or several times, to waters S2, S3 ..."""

    def __init__(self, protocol: Protocol, **how: str) -> None:
        self.history = History(protocol, **how)  # type: ignore[arg-type]
        self.facts: list[Fact] = self.history.facts
        self.system, self.tank = "S", "T"

    def course(self) -> Course:
        return self.history.course()._replace(system=self.system, tank=self.tank)

    def plan(self, day: int, clock: str = "12:00") -> Plan:
        return plan([self.course()], self.facts, self.history.at(day, clock), self.history.water)

    def move(self, day: int, clock: str = "10:00", joined: tuple[str, ...] = ()) -> None:
        """The facts as a read of the new water gives them: the batch's own, its doses by another name, its move."""
        at = self.history.at(day, clock)
        bag = packed([self.course()], self.facts, "B", at, self.history.water)
        number = int(self.system[1:] or 1) + 1
        data = {"from": self.tank, "from_systems": [], "joined": list(joined), "emptied": True, **bag}
        self.system, self.tank = f"S{number}", f"T{number}"
        move = Fact(f"m{number}", MOVED_IN, at, at, "keeper", self.system, self.tank, "B", None, data)
        move = move._replace(data=json.loads(json.dumps(plain(data))))
        own = [f for f in self.facts if f.batch == "B"]
        self.facts = [f._replace(kind="dose_before") if f.kind == "dose" else f for f in own] + [move]

    def read(self, day: int, value: str, clock: str = "09:00") -> None:
        at = self.history.at(day, clock)
        data = {"parameter": "temperature", "value": value, "step": "0.1", "unit": "°C", "water": "marine"}
        self.facts.append(Fact(f"r{day}{clock}", "reading", at, at, "keeper", self.system, self.tank, None, None, data))


def keys(made: Plan) -> dict[str, tuple[str, str]]:
    return {t.key: (str(t.day), t.state) for t in made.tasks}


def test_the_plan_of_a_course_is_the_same_after_a_move() -> None:
    """Keys, days, states and the earliest day: the course goes on in the new water as if nothing had been."""
    moves = Moves(small(dose_step('{ every = "4 d", times = 3, from = "given" }')))
    first = moves.history.runs("dose", moves.history.at(3))[0]
    moves.history.dose(moves.history.at(3, "09:00"), first.key)
    before = moves.plan(3)
    moves.move(3)
    assert keys(moves.plan(3)) == keys(before)
    assert moves.plan(3).standings["B"].earliest == before.standings["B"].earliest
    moves.move(4)
    assert {k: d for k, (d, _) in keys(moves.plan(4)).items()} == {k: d for k, (d, _) in keys(before).items()}


def test_time_in_range_that_was_proven_is_carried() -> None:
    """Two days in the old water and two in the new one are four; what nobody read in between is none."""
    moves = Moves(_with(WARM))
    for day in range(3):
        moves.read(day, "23", "11:00")
    assert _warm(moves.plan(2, "11:00")) == timedelta(days=2)
    moves.move(2, "12:00")
    assert _warm(moves.plan(2, "13:00")) == timedelta(days=2)
    for day in (3, 4, 5):
        moves.read(day, "23", "12:00")
    assert _warm(moves.plan(5, "12:00")) == timedelta(days=4)
    period = next(p for p in moves.plan(5, "12:00").standings["B"].periods if p.id == "warm")
    assert period.is_proven


def test_time_in_range_begins_again_where_the_template_says_so() -> None:
    """A move that restarts the period takes no proven hours along."""
    moves = Moves(_with(WARM, moved="restart"))
    for day in range(3):
        moves.read(day, "23")
    moves.move(3, "10:00")
    assert _warm(moves.plan(3, "11:00")) == timedelta(0)


def test_a_step_that_a_reading_began_goes_on_in_the_new_water() -> None:
    """Its key hangs on the reading of the old one."""
    moves = Moves(_with("", CHORE))
    moves.read(1, "25")
    before = next(t for t in moves.plan(1).tasks if t.step == "salt")
    assert str(before.day) == "2026-02-13"
    moves.move(2)
    after = next(t for t in moves.plan(2).tasks if t.step == "salt")
    assert (after.key, after.day) == (before.key, before.day)


def test_what_happened_in_the_old_water_still_counts_and_what_was_in_the_new_one_does_not() -> None:
    """A disturbance there restarted the observation; one here, before they came, is none of theirs."""
    moves = Moves(_with("", disturbance="restart", moved="note"))
    at = moves.history.at(2, "10:00")
    moves.facts.append(Fact("d1", "disturbance", at, at, "keeper", "S", "T", None, None, {"what": "drill"}))
    before = moves.plan(4).standings["B"]
    moves.move(4)
    early = moves.history.at(3, "10:00")
    moves.facts.append(Fact("d2", "disturbance", early, early, "keeper", "S2", "T2", None, None, {"what": "drill"}))
    after = moves.plan(4).standings["B"]
    assert after.periods[0].zero == before.periods[0].zero == moves.history.day(2)
    assert after.earliest == before.earliest


def test_contact_ends_by_the_move() -> None:
    """Rule A9: with the fish out of the water contact is over, whatever is left in it."""
    moves = Moves(small(dose_step('{ every = "4 d", times = 1 }')))
    moves.history.dose(moves.history.at(3, "09:00"), moves.history.runs("dose", moves.history.at(3))[0].key)
    assert moves.plan(3).standings["B"].evidence.exposures[0].until is None
    moves.move(4)
    (exposure,) = moves.plan(4).standings["B"].evidence.exposures
    assert exposure.until == moves.history.at(4, "10:00")
    assert exposure.high_mg_per_l == 0


@pytest.mark.parametrize("joined", [(), ("Other",)])
def test_only_fish_that_join_others_enter_a_water(joined: tuple[str, ...]) -> None:
    """Into an empty one the clock since the last entry goes on (rules B1 and B3)."""
    moves = Moves(_with(""))
    moves.move(4, joined=joined)
    entered = moves.plan(4).standings["B"].evidence.entered_at
    assert entered == (moves.history.at(4, "10:00") if joined else moves.history.arrival.at)


def _with(period: str, steps: str = "", **events: str) -> Protocol:
    made = small(period + steps)
    return made._replace(events={**made.events, **events})


def _warm(made: Plan) -> timedelta:
    counted = next(p for p in made.standings["B"].periods if p.id == "warm").in_range
    assert counted is not None
    return counted.counted
