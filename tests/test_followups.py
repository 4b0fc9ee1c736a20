"""The tasks that facts ask for: readings past a limit, a dose that harms the filter, incidents. The pure room."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from itertools import count, permutations
from typing import Any

import pytest

from quarantine.actions.following import harms_filter
from quarantine.facts import Fact, PlannedTask
from quarantine.followups import AGAIN, FOLLOWUP, INCIDENTS, WATCH_DAYS, Berth, Made, followups
from quarantine.water.advice import Limit

BERLIN = "Europe/Berlin"
ARRIVED = datetime(2026, 2, 1, 9, tzinfo=UTC)
NITRITE = Limit("nitrite", None, Decimal("0.2"), "a reference")
UIA = Limit("uia", None, Decimal("0.05"), "a reference")
OXYGEN = Limit("oxygen", Decimal(5), None, "a reference")
BERTH = Berth("B", "T", "S", BERLIN, "fresh", ARRIVED, (NITRITE, UIA, OXYGEN))
_numbers = count(1)


def at(day: int, hour: int = 9, minute: int = 0) -> datetime:
    return datetime(2026, 2, day, hour, minute, tzinfo=UTC)


def fact(kind: str, when: datetime, data: dict[str, Any], *, entered: datetime | None = None, **more: Any) -> Fact:
    known = {"id_": f"f{next(_numbers)}", "tank": "T", "batch": "B", **more}
    return Fact(known["id_"], kind, when, entered or when, "K", "S", known["tank"], known["batch"], None, data)


def read(when: datetime, parameter: str, value: str, step: str = "0.01", **more: Any) -> Fact:
    return fact("reading", when, {"parameter": parameter, "value": value, "step": step, "water": "fresh"}, **more)


def done(made: Made | PlannedTask, when: datetime, kind: str = "done") -> Fact:
    task = made.task if isinstance(made, Made) else made
    return fact(kind, when, {"key": task.key})


def of(facts: list[Fact], as_of: datetime, what: str, stored: frozenset[str] = frozenset(), **more: Any) -> list[Made]:
    return [m for m in followups([BERTH], facts, as_of, stored, **more) if m.task.step == FOLLOWUP + what]


# --- F48: action limits -----------------------------------------------------------------------------------


@pytest.mark.parametrize(("value", "asked"), [("0.19", False), ("0.2", False), ("0.21", True)])
def test_F48_a_reading_over_its_limit_asks_and_one_at_it_does_not(value: str, asked: bool) -> None:
    """Just under and at an upper limit nothing is made; just over it a change and a test are."""
    made = followups([BERTH], [read(at(5), "nitrite", value)], at(5))
    assert [m.task.kind for m in made] == (["change", "test"] if asked else [])


@pytest.mark.parametrize(("value", "asked"), [("4.9", True), ("5", False), ("5.1", False)])
def test_F48_a_lower_limit_asks_under_it(value: str, asked: bool) -> None:
    """Oxygen under its limit asks for air and another test within the hour; at the limit it does not."""
    made = followups([BERTH], [read(at(5), "oxygen", value)], at(5))
    assert [m.task.kind for m in made] == (["chore", "test"] if asked else [])
    assert {m.task.due_until for m in made} == ({at(5, 10)} if asked else set())


def test_F48_un_ionized_ammonia_is_judged_when_its_last_part_is_read() -> None:
    """Total ammonia, pH and temperature make it; a change of water, judged, and a test of all three are asked for."""
    parts = [read(at(5), "ph", "8.0"), read(at(5), "temperature", "25")]
    made = followups([BERTH], [*parts, read(at(5, 10), "tan", "2")], at(5, 10))
    assert [(m.task.kind, m.task.title) for m in made] == [
        ("change", "Change water, judged (ammonia)"),
        ("test", "Test again: ammonia"),
    ]
    assert made[1].check.reads == ("tan", "ph", "temperature")
    assert "un-ionized ammonia" in made[0].task.reason
    assert followups([BERTH], [*parts, read(at(5, 10), "tan", "0.1")], at(5, 10)) == []


def test_F48_the_parts_of_ammonia_are_not_put_together_over_more_than_a_day() -> None:
    """A pH of two days ago says nothing of today's ammonia: unknown is no reading past a limit."""
    parts = [read(at(3), "ph", "8.0"), read(at(3), "temperature", "25")]
    assert followups([BERTH], [*parts, read(at(5, 10), "tan", "2")], at(5, 10)) == []


def test_F48_a_second_bad_reading_makes_no_second_task() -> None:
    """While the task is open, its key stays and there is one; the test is due anew after the later reading."""
    facts = [read(at(5), "nitrite", "0.5")]
    first = followups([BERTH], facts, at(5))
    again = followups([BERTH], [*facts, read(at(5, 20), "nitrite", "0.6")], at(5, 20))
    assert [m.task.key for m in again] == [m.task.key for m in first]
    assert again[1].task.due_from == at(5, 20)
    assert again[0].task.due_from == at(5)


def test_F48_a_good_reading_settles_the_test_and_withdraws_the_work_with_the_reason() -> None:
    """The test is done by the good reading; the change is not wanted any more, and says since when."""
    facts = [read(at(5), "nitrite", "0.5")]
    stored = frozenset(m.task.key for m in followups([BERTH], facts, at(5)))
    good = read(at(6), "nitrite", "0.1")
    change, test = followups([BERTH], [*facts, good], at(6), stored)
    assert change.settled.endswith("read within its limit 2026-02-06 10:00")
    assert change.task.outcome is None
    assert (test.task.state, test.task.outcome, test.settled) == ("done", good, "")


@pytest.mark.parametrize("kind", ["done", "skip"])
def test_F48_after_an_outcome_another_bad_reading_asks_anew(kind: str) -> None:
    """A change that was made, or skipped with a reason, stays so; the next reading past the limit is another task."""
    facts = [read(at(5), "nitrite", "0.5")]
    change = of(facts, at(5), "nitrite-change")[0]
    facts.append(done(change, at(5, 12), kind))
    stored = frozenset({change.task.key})
    assert [m.task.state for m in of(facts, at(5, 13), "nitrite-change", stored)] == [
        "done" if kind == "done" else "skipped"
    ]
    facts.append(read(at(6), "nitrite", "0.4"))
    both = of(facts, at(6), "nitrite-change", stored)
    assert [m.task.outcome is None for m in both] == [False, True]
    assert len({m.task.key for m in both}) == 2


def test_F48_a_change_logged_before_the_reading_settles_its_task() -> None:
    """A keeper may say a change was made a few minutes before the reading that asked for it was written down."""
    facts = [read(at(5), "nitrite", "0.5")]
    change = of(facts, at(5), "nitrite-change")[0]
    facts.append(done(change, at(5, 8)))
    assert [m.task.state for m in of(facts, at(5, 12), "nitrite-change", frozenset({change.task.key}))] == ["done"]


def test_F48_what_is_long_past_begins_nothing_and_what_was_begun_stays() -> None:
    """After a day a reading is history; a task that is on record stands until it is done or needless."""
    facts = [read(at(5), "nitrite", "0.5")]
    stored = frozenset(m.task.key for m in followups([BERTH], facts, at(5)))
    assert len(followups([BERTH], facts, at(6, 9))) == 2
    assert followups([BERTH], facts, at(6, 10)) == []
    assert len(followups([BERTH], facts, at(9), stored)) == 2


def test_F48_a_reading_before_the_fish_or_of_another_tank_asks_nothing() -> None:
    """Only readings of the batch's own tank since it arrived count."""
    before = read(ARRIVED - timedelta(hours=1), "nitrite", "0.5")
    other = read(at(1, 10), "nitrite", "0.5", tank="U")
    assert followups([BERTH], [before, other], at(1, 10)) == []
    assert followups([], [read(at(5), "nitrite", "0.5")], at(5)) == []


def test_F48_an_earlier_bad_reading_entered_late_moves_no_key() -> None:
    """The task hangs on the reading that was entered first."""
    facts = [read(at(5), "nitrite", "0.5")]
    key = of(facts, at(5, 12), "nitrite-test")[0].task.key
    facts.append(read(at(5, 7), "nitrite", "0.5", entered=at(5, 12)))
    assert [m.task.key for m in of(facts, at(5, 12), "nitrite-test")] == [key]


def test_the_order_in_which_facts_are_handed_over_changes_nothing() -> None:
    """The same facts make the same tasks, whatever their order."""
    facts = [
        read(at(5), "nitrite", "0.5", id_="a"),
        read(at(6), "nitrite", "0.1", id_="b"),
        read(at(6, 12), "nitrite", "0.4", id_="c"),
        fact("incident", at(6), {"what": "heater", "tanks": ["Q1"], "tank_ids": ["T"]}, id_="d"),
    ]
    plans = [followups([BERTH], list(order), at(6, 13)) for order in permutations(facts)]
    assert all(plan == plans[0] for plan in plans)
    assert plans[0]


def test_two_batches_in_one_tank_share_one_task() -> None:
    """The batch that came first has the work of its tank; another tank's batch has its own."""
    second = BERTH._replace(batch="C", arrived_at=at(2))
    made = followups([BERTH, second], [read(at(5), "nitrite", "0.5")], at(5))
    assert {m.task.batch for m in made} == {"B"}
    elsewhere = BERTH._replace(batch="C", tank="U")
    both = [read(at(5), "nitrite", "0.5"), read(at(5), "nitrite", "0.5", tank="U")]
    assert {m.task.batch for m in followups([BERTH, elsewhere], both, at(5))} == {"B", "C"}


def test_every_parameter_that_is_advised_on_has_its_test() -> None:
    """Each test reads what it takes to judge its parameter, and its step says nothing that a key would break on."""
    for about, again in AGAIN.items():
        assert set(again.test.reads) >= ({"tan", "ph", "temperature"} if about == "uia" else {about})
        assert all(check.id.isascii() and ":" not in check.id for check in (*again.work, again.test))


# --- A dose that harms the filter -------------------------------------------------------------------------

HARM = "100 uL/L or more"


def dose(when: datetime, **more: Any) -> Fact:
    return fact("dose", when, {"substance": "formalin"}, batch=None, **more)


def test_ten_days_of_ammonia_and_nitrite_follow_a_dose_that_harms_the_filter() -> None:
    """One test a day from the day after, for ten days, each for its own day at the site."""
    poured = dose(at(5))
    made = of([poured], at(5), "filter-test", harmful={poured.id: HARM})
    assert [m.task.day for m in made] == [date(2026, 2, 5 + n) for n in range(1, WATCH_DAYS + 1)]
    assert {"tan", "nitrite"} <= set(made[0].check.reads)
    assert "Feed little" in made[0].check.note
    assert of([poured], at(5), "filter-test") == []


def test_a_day_that_a_template_or_another_dose_covers_has_no_second_test() -> None:
    """A template's test of ammonia and nitrite stands for that day; a second dose adds the days after the first's."""
    poured, again = dose(at(5)), dose(at(7))
    berth = BERTH._replace(
        tested={date(2026, 2, 8): frozenset({"tan", "nitrite", "ph"}), date(2026, 2, 9): frozenset({"tan"})}
    )
    made = followups([berth], [poured, again], at(7), harmful={poured.id: HARM, again.id: HARM})
    days = [m.task.day for m in made if m.task.day is not None]
    assert date(2026, 2, 8) not in days
    assert date(2026, 2, 9) in days
    assert len(days) == len(set(days)) == WATCH_DAYS + 2 - 1
    assert max(days) == date(2026, 2, 17)
    assert len({m.task.key for m in made}) == len(days)


def test_a_day_of_the_watch_is_done_by_that_days_readings_and_missed_without() -> None:
    """All four readings of the day make it done; a day that ended without them is missed; a reason skips it."""
    poured = dose(at(5))
    harmful = {poured.id: HARM}
    days = of([poured], at(5), "filter-test", harmful=harmful)
    values = [read(at(6, 10 + n), name, "7") for n, name in enumerate(("tan", "nitrite", "ph", "temperature"))]
    facts = [poured, *values, done(days[1], at(8), "skip")]
    states = [m.task.state for m in of(facts, at(9), "filter-test", harmful=harmful)]
    assert states[:4] == ["done", "skipped", "missed", "planned"]
    partly = of([poured, *values[:3]], at(8), "filter-test", harmful=harmful)
    assert partly[0].task.state == "missed"


@pytest.mark.parametrize(
    ("target", "given", "harms"),
    [("99.9", "1", False), ("100", "1", True), ("250", "1", True), ("25", "1", False), ("50", "2", True)],
)
def test_the_formulary_says_from_what_amount_the_filter_is_harmed(target: str, given: str, harms: bool) -> None:
    """Formalin from 100 uL/L on (37 mg/L of formaldehyde); what was really given counts, not what was shown."""
    data = {
        "substance": "formalin",
        "route": "bath",
        "target": target,
        "target_unit": "uL/L",
        "prepared": "1",
        "prepared_unit": "g",
        "given": given,
        "given_unit": "g",
    }
    assert bool(harms_filter(data)) is harms
    assert harms_filter({**data, "route": "dip"}) == ""
    assert harms_filter({**data, "substance": "praziquantel", "target_unit": "mg/L"}) == ""


def test_a_dose_that_cannot_be_compared_is_taken_for_harmful() -> None:
    """A target in another unit says nothing of the threshold: the filter is watched."""
    data = {"substance": "formalin", "route": "bath", "target": "1", "target_unit": "mg/L"}
    assert "harms nitrification" in harms_filter(data)


# --- F70: incidents ---------------------------------------------------------------------------------------


def incident(what: str, when: datetime, **data: Any) -> Fact:
    return fact("incident", when, {"what": what, "tanks": ["Q1"], "tank_ids": ["T"], **data}, batch=None)


@pytest.mark.parametrize("what", sorted(INCIDENTS))
def test_F70_each_kind_of_incident_has_its_checks_with_their_references(what: str) -> None:
    """What follows the beginning is dated; what follows the end waits until it is said to be over."""
    made = followups([BERTH], [incident(what, at(5))], at(5))
    assert len(made) == len(INCIDENTS[what])
    for after, one in zip(INCIDENTS[what], made, strict=True):
        assert (one.task.day is None) is after.over
        assert bool(one.task.needs) is after.over
        assert one.check.references
        assert one.task.kind in ("chore", "test", "look")


def test_F70_the_end_dates_what_waited_and_moves_no_key() -> None:
    """Said later, the end gives the waiting checks their days; all keys stay."""
    cut = incident("power", at(5, 20))
    open_ = followups([BERTH], [cut], at(5, 20))
    over = fact("incident_over", at(5, 22), {"of": cut.id}, batch=None)
    made = followups([BERTH], [cut, over], at(5, 22))
    assert [m.task.key for m in made] == [m.task.key for m in open_]
    ammonia = next(m.task for m in made if m.task.step == FOLLOWUP + "incident-ammonia")
    assert (ammonia.day, ammonia.needs) == (date(2026, 2, 6), None)
    said = followups([BERTH], [incident("power", at(5, 20), until="2026-02-05T22:00:00+00:00")], at(5, 23))
    assert [m.task.day for m in said] == [m.task.day for m in made]


def test_F70_checks_are_settled_by_readings_and_looks_after_the_incident() -> None:
    """A reading before it proves nothing; one after it settles the test, a counted look the look."""
    cut = incident("other", at(5, 12))
    before = [read(at(5, 11), "temperature", "25"), fact("look", at(5, 11), {"seen": 4})]
    assert [m.task.state for m in followups([BERTH], [cut, *before], at(5, 13))] == ["planned", "planned"]
    after = [read(at(5, 13), "temperature", "25"), fact("look", at(5, 13), {"seen": 4})]
    assert [m.task.state for m in followups([BERTH], [cut, *before, *after], at(5, 13))] == ["done", "done"]
    uncounted = fact("look", at(5, 13), {"seen": None})
    assert [m.task.state for m in followups([BERTH], [cut, uncounted], at(5, 13))] == ["planned", "planned"]


def test_F70_an_incident_of_another_tank_or_before_the_fish_asks_nothing_here() -> None:
    """Only the tanks that it names, and the fish that were there."""
    elsewhere = fact("incident", at(5), {"what": "leak", "tanks": ["Q2"], "tank_ids": ["U"]}, tank="U", batch=None)
    earlier = incident("leak", ARRIVED - timedelta(hours=2))
    assert followups([BERTH], [elsewhere, earlier], at(5)) == []
