"""Two batches in one water (rules B1, B2 and B5): one dose, the latest day of all, and each its own clock."""

from __future__ import annotations

import pytest
from history import History, dose_step, small
from test_redose import protocol

from quarantine.facts import Fact
from quarantine.plan import Course, Plan, plan

ONCE = dose_step('{ every = "4 d", times = 2, from = "given" }')


class Two:
    """One water with two batches of one protocol; the second came so many days later."""

    def __init__(self, days: int = 0, steps: str = ONCE) -> None:
        self.first = History(small(steps))
        self.later = History(self.first.protocol, arrived=f"2026-02-{10 + days} 10:00")
        self.later.arrival = self._of_second(self.later.arrival)
        self.later.facts = [self.later.arrival]

    @staticmethod
    def _of_second(fact: Fact) -> Fact:
        return fact._replace(id=f"s{fact.id}", batch="C")

    def plan(self, day: int, clock: str = "12:00") -> Plan:
        courses = [
            self.first.course(),
            Course("C", "T", "S", self.first.zone, self.first.protocol, self.later.arrival),
        ]
        facts = [*self.first.facts, *(f for f in self.later.facts if f.batch == "C")]
        return plan(courses, facts, self.first.at(day, clock), self.first.water)

    def doses(self, day: int, batch: str, clock: str = "12:00") -> list[tuple[str, str]]:
        found = [t for t in self.plan(day, clock).tasks if t.step == "dose" and t.batch == batch]
        return [(str(t.day), t.state) for t in sorted(found, key=lambda t: (str(t.day), t.key))]


def given(two: Two, day: int, clock: str, batch: str = "B") -> None:
    """A dose of the row that both protocols give, for the first open task of a batch."""
    task = next(t for t in two.plan(day, clock).tasks if t.step == "dose" and t.batch == batch and t.outcome is None)
    fact = two.first.dose(two.first.at(day, clock), task.key)
    two.first.facts.remove(fact)
    two.first.facts.append(fact._replace(batch=batch, data={**fact.data, "regimen": "Z01"}))


def test_B2_one_dose_settles_the_dose_of_both() -> None:
    """Given for one, the other's is done by the same fact; the next one of both is due on the same day."""
    two = Two()
    given(two, 3, "10:00")
    assert two.doses(3, "B") == [("2026-02-13", "done"), ("2026-02-17", "planned")]
    assert two.doses(3, "C") == [("2026-02-13", "done"), ("2026-02-17", "planned")]
    outcomes = {t.outcome.id for t in two.plan(3).tasks if t.step == "dose" and t.outcome is not None}
    assert len(outcomes) == 1


@pytest.mark.parametrize("later", [0, 1, 2, 3])
def test_B2_two_doses_inside_the_gap_can_never_both_be_open(later: int) -> None:
    """Whoever came when: within the four days between two doses of the row no second one is due for anybody."""
    two = Two(later)
    given(two, 3, "10:00")
    for day in range(3, 7):
        tasks = [t for t in two.plan(day).tasks if t.step == "dose" and t.outcome is None and t.day is not None]
        assert all((t.day - two.first.day(3)).days >= 4 for t in tasks if t.day)


def test_B2_a_dose_before_a_batch_came_is_none_of_its_own() -> None:
    """Fish that come on day 5 have their whole course before them."""
    two = Two(5)
    given(two, 3, "10:00")
    assert two.doses(5, "C") == [("2026-02-18", "planned"), ("2026-02-22", "planned")]


def test_B2_each_dose_settles_one_run_of_a_course() -> None:
    """Two doses for one batch are two of the other's, not one twice."""
    two = Two()
    given(two, 3, "10:00")
    given(two, 7, "10:00", batch="C")
    assert two.doses(7, "B") == [("2026-02-13", "done"), ("2026-02-17", "done")]
    assert two.doses(7, "C") == [("2026-02-13", "done"), ("2026-02-17", "done")]


def test_B5_the_earliest_day_of_both_is_the_latest_entry() -> None:
    """The second batch starts the observation of the first anew; a batch that leaves changes nothing for the other."""
    two = Two(4)
    standings = two.plan(4).standings
    assert standings["B"].earliest == standings["C"].earliest
    alone = plan([two.first.course()], [*two.first.facts, two.later.arrival], two.first.at(4, "12:00"), two.first.water)
    assert alone.standings["B"].earliest == standings["B"].earliest


def test_a_change_of_the_water_is_done_once_for_both() -> None:
    """The same planned change of one protocol, on one day, is done for both batches when one ticks it."""
    change = """
[[step]]
id = "weekly"
kind = "change"
title = "Change water"
fraction = "25 %"
start = { arrival = "3 d" }
references = ["choice"]
"""
    two = Two(0, change)
    task = next(t for t in two.plan(3).tasks if t.step == "weekly" and t.batch == "B")
    two.first.fact("done", two.first.at(3, "11:00"), {"key": task.key})
    assert {t.batch: t.state for t in two.plan(3).tasks if t.step == "weekly"} == {"B": "done", "C": "done"}


def test_what_goes_out_is_made_good_once_also_when_the_batch_that_was_dosed_is_gone() -> None:
    """While both are there the change calls for one dose; when the first is released it is due for the other (C1)."""
    two = Two()
    made = protocol()
    two.first.protocol = two.later.protocol = made
    given(two, 3, "10:00")
    two.first.change(4, "10:00", 40.0)
    again = [t for t in two.plan(4).tasks if t.step == "dose" and t.key.endswith(":0")]
    assert [t.batch for t in again] == ["B"]
    course = Course("C", "T", "S", two.first.zone, made, two.later.arrival)
    alone = plan([course], [*two.first.facts, two.later.arrival], two.first.at(4, "12:00"), two.first.water)
    left = [t for t in alone.tasks if t.step == "dose" and t.key.endswith(":0")]
    assert [(t.batch, t.key) for t in left] == [("C", again[0].key)]


LONG = dose_step(
    '{ every = "7 d", times = 1 }', "keep", window='window = { from = "08:00", until = "20:00", late = "48 h" }'
)
CHANGE = """
[[step]]
id = "change"
kind = "change"
title = "Change a quarter"
for = "system"
start = { arrival = "3 d" }
window = { from = "08:00", until = "20:00", late = "48 h" }
fraction = "25 %"
references = ["choice"]
"""


def late(step: str, kind: str, data: dict[str, str]) -> list[list[str]]:
    """What was due on day 3 for two batches and done on day 4 for the first: the states of both."""
    two = Two(steps=LONG if step == "dose" else CHANGE)
    for history in (two.first, two.later):
        steps = tuple(
            s._replace(treatment=s.treatment._replace(regimen="Z02")) if s.treatment else s
            for s in history.protocol.steps
        )
        history.protocol = two.first.protocol._replace(steps=steps)
    task = next(t for t in two.plan(4).tasks if t.step == step and t.batch == "B")
    assert str(task.day) == "2026-02-13"
    at = two.first.at(4, "10:00")
    fact = two.first.dose(at, task.key) if kind == "dose" else two.first.fact(kind, at, {"key": task.key})
    fact.data.update(data)
    return [[t.state for t in two.plan(4).tasks if t.step == step and t.batch == batch] for batch in ("B", "C")]


@pytest.mark.parametrize(
    ("step", "kind", "data"),
    [
        ("change", "done", {}),
        ("dose", "dose", {"regimen": "Z02"}),
    ],
)
def test_B2_what_is_done_late_for_one_is_done_for_both(step: str, kind: str, data: dict[str, str]) -> None:
    """A day late it is the work of the day it was planned for: no second change, and of a row without a gap no second
    dose. Where the fact does not say which day that was, the day it was done on alone counts."""
    assert late(step, kind, {**data, "on": "2026-02-13"}) == [["done"], ["done"]]
    assert late(step, kind, data)[1] != ["done"]
