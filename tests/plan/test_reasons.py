"""F34: every date in a plan traces to an event and a rule; there is no orphan."""

from __future__ import annotations

import random
import re
from datetime import date

import pytest
from history import History
from hypothesis import given, settings
from hypothesis import strategies as st

from quarantine.explaining import chain, deciding, parts_of, root_of
from quarantine.templates import shipped

DATE = re.compile(r"\d{4}-\d\d-\d\d")


def lived(template: str, seed: int, days: int) -> History:
    """A random history of a shipped template: good days, half days, signs, deaths, readings, a disturbance."""
    chance = random.Random(seed)
    history = History(template)
    for n in range(days):
        what = chance.random()
        if what < 0.5:
            history.perfect_day(n, but=("move", "test"))
        elif what < 0.65:
            history.look(n, signs=(chance.choice(["gasping", "white spots", "flashing"]),))
        elif what < 0.75:
            history.died(n)
        elif what < 0.9:
            history.read(n, temperature=chance.choice(("18", "24", "28")))
    return history


@settings(max_examples=60)
@given(st.sampled_from(sorted(shipped())), st.integers(0, 10**6), st.integers(0, 14))
def test_F34_no_task_with_a_day_lacks_a_reason_that_names_a_date(template: str, seed: int, days: int) -> None:
    """Each task hangs on a fact of the record, and its reason names the day that it was counted from."""
    history = lived(template, seed, days)
    facts = {fact.id: fact for fact in history.facts}
    for task in history.plan(history.at(days, "13:00")).tasks:
        if task.day is None:
            assert task.needs
            continue
        assert DATE.search(task.reason), (template, task)
        assert root_of(task.key) in facts, (template, task)
        step = next(s for s in history.protocol.steps if s.id == task.step.removesuffix(".read"))
        said = chain(task.reason, (facts[root_of(task.key)], "Robin"), step, history.protocol, history.zone)
        assert said[0].startswith("It hangs on: ")
        assert DATE.search(said[0])
        assert said[1].startswith(f"{template} revision {history.protocol.revision} says: ")
        assert DATE.search(said[-1]) or DATE.search(said[-2])


@settings(max_examples=40)
@given(st.sampled_from(sorted(shipped())), st.integers(0, 10**6), st.integers(0, 14))
def test_the_earliest_day_is_the_latest_of_what_the_criteria_ask(template: str, seed: int, days: int) -> None:
    """One criterion decides at least, unless it is today; none asks for a later day."""
    history = lived(template, seed, days)
    standing = history.plan(history.at(days, "13:00")).standings["B"]
    found = deciding(standing, history.protocol)
    assert [one.title for one in found] == [criterion.title for criterion in history.protocol.criteria]
    asked = [one.day for one in found if one.day is not None]
    assert standing.earliest == max([standing.evidence.today, *asked])
    assert any(one.decides for one in found) is (standing.earliest > standing.evidence.today)


@pytest.mark.parametrize(
    ("reason", "parts"),
    [
        ("3 d after the fish arrived on 2026-02-10", ["3 d after the fish arrived on 2026-02-10"]),
        ("a; moved from b (c; d); e", ["a", "moved from b (c; d)", "e"]),
        ("", [""]),
    ],
)
def test_a_reason_is_parted_where_a_brackets_inside_stays_whole(reason: str, parts: list[str]) -> None:
    """A semicolon inside brackets belongs to the words in them."""
    assert parts_of(reason) == parts


def test_a_course_moved_by_c11_tells_the_move_in_its_chain() -> None:
    """What moved a task stands behind what its day was counted from, one sentence each."""
    made = chain(
        "7 d after the fish arrived on 2026-02-10; moved from 2026-02-17 to 2026-02-21: no planned change while "
        "Praziquantel acts (rule C11)",
        None,
        None,
        None,
        "Europe/London",
    )
    assert made == [
        "So its day: 7 d after the fish arrived on 2026-02-10.",
        "Then: moved from 2026-02-17 to 2026-02-21: no planned change while Praziquantel acts (rule C11).",
    ]
    assert date.fromisoformat(DATE.findall(made[1])[1]) == date(2026, 2, 21)
