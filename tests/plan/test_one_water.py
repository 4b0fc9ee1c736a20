"""Two batches under a course in one water (rules B2, B5, B9 and C11): one course, one clearing, one earliest day."""

from __future__ import annotations

from datetime import date

import pytest
from history import History, dose_step, small

from quarantine.evidence import TOGETHER
from quarantine.explaining import deciding
from quarantine.facts import Fact, PlannedTask
from quarantine.plan import Course, Plan, plan
from quarantine.protocol import Protocol, load

FIRST, SECOND = "B", "C"
BEGINS = 11
"""The day on which spots are seen in the first batch."""


class Pair:
    """Two batches that came on one day into one water of 200 L, read at 24 °C every morning."""

    def __init__(self) -> None:
        self.one = History("fresh-white-spot", water=History().water)
        self.second = self.one.arrival._replace(id="second", batch=SECOND)
        self.one.facts.append(self.second)
        self.word = next(str(c.value) for s in self.one.protocol.steps if s.id == "dose" for c in s.when)

    def plan(self, day: int, clock: str = "12:00") -> Plan:
        one = self.one
        courses = [one.course(), Course(SECOND, "T", "S", one.zone, one.protocol, self.second, name="Second")]
        return plan(courses, one.facts, one.at(day, clock), one.water)

    def fact(self, kind: str, batch: str, day: int, clock: str, data: dict[str, object]) -> Fact:
        return self.one.fact(kind, self.one.at(day, clock), dict(data), batch=batch)

    def days(self, first: int, last: int) -> None:
        """Both are looked at, and the water is read."""
        for day in range(first, last + 1):
            self.one.read(day, "08:30", temperature="24")
            for batch in (FIRST, SECOND):
                self.fact("look", batch, day, "09:00", {"seen": 40, "no_signs": True, "appetite": 3, "offered": True})

    def sign(self, batch: str, day: int) -> None:
        """Spots are seen, and a keeper says that the fish of the trial are well."""
        self.fact("look", batch, day, "09:30", {"seen": 40, "signs": ["white spots"], "severity": {}})
        self.fact("word", batch, day, "10:00", {"word": self.word})

    def due(self, step: str, batch: str, day: int) -> PlannedTask:
        found = [t for t in self.plan(day).tasks if t.step == step and t.batch == batch and t.outcome is None]
        return min((t for t in found if t.day is not None), key=lambda t: t.day or date.max)

    def give(self, batch: str, day: int) -> None:
        made = self.one.dose(self.one.at(day, "12:00"), self.due("dose", batch, day).key, substance="formalin")
        self.one.facts.remove(made)
        self.one.facts.append(made._replace(batch=batch, data={**made.data, "regimen": "F07", "route": "prolonged"}))

    def change(self, step: str, batch: str, day: int) -> None:
        key = self.due(step, batch, day).key
        self.one.change(day, "11:00", 160)
        self.fact("done", batch, day, "11:00", {"key": key})

    def all_of(self, step: str, batch: str, day: int) -> list[tuple[int, str]]:
        """(day of the stay, state) of each run."""
        found = [t for t in self.plan(day).tasks if t.step == step and t.batch == batch and t.day is not None]
        return sorted(((t.day - self.one.day(0)).days, t.state) for t in found if t.day)

    def done_on(self, step: str, batch: str, day: int) -> list[int]:
        """The days on which what is counted for a batch was really done."""
        found = [t.outcome for t in self.plan(day).tasks if t.step == step and t.batch == batch and t.outcome]
        return sorted((fact.at.date() - self.one.day(0)).days for fact in found)


@pytest.fixture
def pair() -> Pair:
    """The first batch is two doses into its course when spots are seen in the second one, on day 14."""
    made = Pair()
    made.days(0, BEGINS)
    made.sign(FIRST, BEGINS)
    made.give(FIRST, 11)
    made.days(12, 12)
    made.change("between", FIRST, 12)
    made.days(13, 13)
    made.give(FIRST, 13)
    made.days(14, 14)
    made.sign(SECOND, 14)
    return made


def test_B2_a_second_batch_joins_the_course_that_runs_in_its_water(pair: Pair) -> None:
    """Not a day after the last dose, but on the days of the first batch from its own sign on; then alone, to five."""
    assert pair.all_of("dose", FIRST, 14) == [(11, "done"), (13, "done"), *((n, "planned") for n in (15, 17, 19))]
    assert pair.all_of("dose", SECOND, 14) == [(n, "planned") for n in (15, 17, 19, 21, 23)]


def test_B2_no_two_doses_of_one_water_come_nearer_than_the_template_repeats_them(pair: Pair) -> None:
    """Whoever's code is ticked, day by day to the end: eight doses two days apart, five for each batch."""
    for day in range(14, 24):
        if day > 14:
            pair.days(day, day)
        for step in ("between", "clear-water", "dose"):
            for batch in (SECOND, FIRST) if day % 4 == 1 else (FIRST, SECOND):
                open_ = [n for n, state in pair.all_of(step, batch, day) if state == "planned" and n <= day]
                if open_ and step == "dose":
                    pair.give(batch, day)
                elif open_:
                    pair.change(step, batch, day)
    doses = sorted((f.at.date() - pair.one.day(0)).days for f in pair.one.facts if f.kind == "dose")
    assert doses == [11, 13, 15, 17, 19, 21, 23]
    assert pair.done_on("dose", FIRST, 23) == [11, 13, 15, 17, 19]
    assert pair.done_on("dose", SECOND, 23) == [15, 17, 19, 21, 23]
    changes = sorted((f.at.date() - pair.one.day(0)).days for f in pair.one.facts if f.kind == "change")
    assert changes == [12, 14, 16, 18, 20, 22]  # one between two doses, and no clearing before the last one
    assert pair.all_of("clear-water", FIRST, 23) == [(n, "planned") for n in range(24, 30)]
    assert pair.all_of("clear-water", SECOND, 23) == [(n, "planned") for n in range(24, 30)]
    assert not [t for t in pair.plan(23).tasks if t.key.endswith(":0") and t.outcome is None]


def test_B2_a_dose_of_the_day_of_the_sign_is_the_first_of_both() -> None:
    """What is given on one day is one dose, also where the second batch's sign is seen hours after it."""
    made = Pair()
    made.days(0, BEGINS)
    made.sign(FIRST, BEGINS)
    made.give(FIRST, BEGINS)
    made.fact("look", SECOND, BEGINS, "13:00", {"seen": 40, "signs": ["white spots"], "severity": {}})
    made.fact("word", SECOND, BEGINS, "13:30", {"word": made.word})
    found = [t for t in made.plan(BEGINS, "14:00").tasks if t.step == "dose" and t.batch == SECOND]
    assert sorted((str(t.day), t.state) for t in found)[:2] == [("2026-02-21", "done"), ("2026-02-23", "planned")]


def test_what_was_one_dose_stays_one_whatever_is_read_later(pair: Pair) -> None:
    """Cold after the fourth dose, or days without a reading, move what follows; what was given to both stays so."""
    pair.change("between", FIRST, 14)
    pair.days(15, 15)
    pair.give(FIRST, 15)
    pair.days(16, 16)
    pair.change("between", FIRST, 16)
    pair.days(17, 17)
    pair.give(FIRST, 17)
    assert pair.done_on("dose", SECOND, 20) == [15, 17]  # nothing was read for three days
    pair.one.read(20, "08:30", temperature="19")
    assert pair.done_on("dose", SECOND, 20) == [15, 17]


def every(days: int) -> Protocol:
    """A course of four doses of a row that states no gap, from the day on which spots are seen."""
    made = small(dose_step(f'{{ every = "{days} d", times = 4, from = "given" }}', start='{ sign = "white spots" }'))
    steps = tuple(s._replace(treatment=s.treatment._replace(regimen="Z02")) if s.treatment else s for s in made.steps)
    return made._replace(steps=steps)


def test_B2_a_second_batch_waits_for_the_dose_that_is_planned_so_near() -> None:
    """One course is repeated every three days, the other every two: on day 13 none is given, because the first batch
    has its next on day 14."""
    one = History(every(3))
    second = one.arrival._replace(id="second", batch=SECOND)
    spots = {"seen": 40, "signs": ["white spots"], "severity": {}}
    one.fact("look", one.at(11), dict(spots))
    courses = [one.course(), Course(SECOND, "T", "S", one.zone, every(2), second)]
    begins = next(t for t in plan(courses, [*one.facts, second], one.at(11), one.water).tasks if t.day == one.day(11))
    given = one.dose(one.at(11, "12:00"), begins.key)
    given.data.update(regimen="Z02")
    one.fact("look", one.at(12), dict(spots), batch=SECOND)
    made = plan(courses, [*one.facts, second], one.at(12, "12:00"), one.water)
    days = {b: [t.day for t in made.tasks if t.step == "dose" and t.batch == b and t.day] for b in (FIRST, SECOND)}
    assert min(day for day in days[FIRST] if day > one.day(11)) == min(days[SECOND]) == one.day(14)


def test_B2_a_change_inside_the_course_that_was_late_is_not_done_twice(pair: Pair) -> None:
    """Done on day 17 for the first batch, it is the one that the second had on day 16."""
    pair.change("between", FIRST, 14)
    pair.days(15, 15)
    pair.give(FIRST, 15)
    pair.days(16, 17)
    assert (16, "planned") in pair.all_of("between", SECOND, 17)
    pair.change("between", FIRST, 17)
    assert pair.done_on("between", SECOND, 17) == [17]


def test_C11_a_planned_change_waits_for_the_contact_of_another_batch_s_dose(pair: Pair) -> None:
    """A quarter of the water would take the medicine out: it waits until the water of all is cleared."""
    alone = Pair()
    alone.days(0, 13)
    assert (7, "planned") in alone.all_of("weekly-change", SECOND, 13)
    made = Pair()
    made.days(0, BEGINS)
    made.sign(FIRST, BEGINS)
    made.give(FIRST, BEGINS)
    clear = [n for n, _ in made.all_of("clear-water", FIRST, BEGINS)]
    open_ = [n for n, state in made.all_of("weekly-change", SECOND, BEGINS) if state == "planned"]
    assert min(open_) == max(clear) + 1 == 26
    reason = next(t.reason for t in made.plan(BEGINS).tasks if t.step == "weekly-change" and t.batch == SECOND)
    assert "no planned change while Formalin acts (rule C11)" in reason


# --- One earliest day ------------------------------------------------------------------------------------------------

WATCHED = """
[[step]]
id = "look"
kind = "look"
title = "Look"
start = { arrival = "0 d" }
repeat = { every = "1 d", until = "observation" }
references = ["choice"]
"""


def beside(events: dict[str, str] | None = None, *, dies: int = 8, alive: int = 40) -> tuple[Plan, History]:
    """Two batches of one day under ten days of watching; two fish of the second die on day 8, it is day 9."""
    one = History(small(WATCHED, events=events))
    second = one.arrival._replace(id="second", batch=SECOND, data={"count": alive})
    facts = [*one.facts, second]
    for day in range(10):
        said = {"no_signs": True, "appetite": 3, "offered": True}
        facts.append(one.fact("look", one.at(day), {"seen": 40, **said}))
        facts.append(one.fact("look", one.at(day), {"seen": alive, **said}, batch=SECOND))
    if dies:
        facts.append(one.fact("died", one.at(dies, "15:00"), {"count": 2}, batch=SECOND))
    courses = [one.course(), Course(SECOND, "T", "S", one.zone, one.protocol, second, name="Second")]
    return plan(courses, facts, one.at(9, "12:00"), one.water), one


def test_B5_the_earliest_day_is_the_latest_of_all_in_the_water_and_says_whose() -> None:
    """Deaths in one batch put off the other, whose own clock goes on; its care goes on to that day."""
    made, one = beside()
    first, second = made.standings[FIRST], made.standings[SECOND]
    assert (first.earliest, first.own, first.waits_for) == (one.day(18), one.day(10), "Second")
    assert first.because == "because batch Second is in the same water (rule B5)"
    assert first.periods[0].zero == one.day(0)
    assert (second.earliest, second.waits_for, second.because) == (one.day(18), "", "")
    decides = [d for d in deciding(first, one.protocol) if d.decides]
    assert [(d.title, d.day) for d in decides] == [(f"{TOGETHER}: batch Second is in it too", one.day(18))]
    looks = [t.day for t in made.tasks if t.step == "look" and t.batch == FIRST and t.day]
    assert max(looks) == one.day(18)


def test_B5_two_batches_of_one_day_have_one_day_and_no_reason() -> None:
    """Where both would be released on one day nobody waits for anybody."""
    made, one = beside(dies=0)
    assert {s.earliest for s in made.standings.values()} == {one.day(10)}
    assert {s.waits_for for s in made.standings.values()} == {""}


def test_B5_a_batch_without_living_fish_puts_nobody_off() -> None:
    """Only open batches with fish in the water count."""
    made, one = beside(alive=2)
    assert made.standings[SECOND].evidence.alive == 0
    assert made.standings[FIRST].earliest == one.day(10)


def test_B1_a_batch_that_keeps_its_own_clock_goes_by_that() -> None:
    """The template says so; what it was exposed to is listed at sign-off."""
    made, one = beside({"fish_added": "note"})
    assert (made.standings[FIRST].earliest, made.standings[FIRST].waits_for) == (one.day(10), "")


def test_B5_a_batch_that_comes_tomorrow_puts_nobody_off() -> None:
    """As of a day it is not there yet: nor is one that is closed."""
    one = History(small(WATCHED))
    one.looks(0, 9)
    second = one.arrival._replace(id="second", batch=SECOND, at=one.at(10, "12:00"))
    later = Course(SECOND, "T", "S", one.zone, one.protocol, second)
    made = plan([one.course(), later], [*one.facts, second], one.at(9, "12:00"), one.water)
    assert made.standings[FIRST].earliest == one.day(10)
    then = plan([one.course(), later], [*one.facts, second], one.at(11, "12:00"), one.water)
    assert then.standings[FIRST].earliest == one.day(20)
    closed = [one.course(), later._replace(closed_at=one.at(10, "13:00"))]
    gone = plan(closed, one.facts, one.at(11, "12:00"), one.water)
    assert gone.standings[FIRST].waits_for == ""


def test_the_row_of_these_tests_states_no_gap() -> None:
    """The shipped course is repeated every two days when it is warm, and its row states no gap."""
    from quarantine.formulary import regimen

    dose = next(s for s in load("fresh-white-spot").steps if s.id == "dose")
    assert dose.treatment is not None
    assert regimen(dose.treatment.regimen)[1].minimum_gap is None
