"""Row F79: each condition of release alone blocks it, and is named; what is still owed is shown."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from history import History

from quarantine.clearance import Judged

EVENING = "21:00"
LAST = 30


def titles(judged: list[Judged]) -> list[str]:
    return [j.title for j in judged if not j.met]


def lived(template: str, last: int = LAST, but: dict[int, tuple[str, ...]] | None = None) -> History:
    """Every day's work done up to the last day, save the kinds named for a day."""
    history = History(template)
    for n in range(last + 1):
        history.perfect_day(n, but=(but or {}).get(n, ()))
    good_water(history, last)
    return history


def good_water(history: History, n: int, **other: str) -> None:
    history.read(n, "20:00", **{"temperature": "25", "tan": "0", "nitrite": "0", "ph": "7.5", **other})


def no_look_on_the_last_day(template: str) -> History:
    history = lived(template, LAST - 1)
    good_water(history, LAST)
    return history


def a_sign_late(template: str) -> History:
    history = History(template)
    for n in range(LAST + 1):
        if n == 20:
            history.look(n, "12:30", signs=("white spots",))
        history.perfect_day(n, but=("look", "feed") if n == 20 else ())
    good_water(history, LAST)
    return history


def a_fish_that_eats_little(template: str) -> History:
    history = History(template)
    for n in range(LAST + 1):
        if n == 28:
            history.look(n, "12:30", appetite=1)
        history.perfect_day(n, but=("feed",) if n == 28 else ())
    good_water(history, LAST)
    return history


def an_explained_death(template: str) -> History:
    history = History(template)
    for n in range(LAST + 1):
        if n == 20:
            history.died(n, "11:00", explained=True)
        history.perfect_day(n)
    good_water(history, LAST)
    return history


def much_ammonia(template: str) -> History:
    history = lived(template)
    history.read(LAST, "20:30", temperature="25", tan="3", ph="8.4")
    return history


def much_nitrite(template: str) -> History:
    history = lived(template)
    history.read(LAST, "20:30", nitrite="1")
    return history


def one_fish_not_found(template: str) -> History:
    history = lived(template)
    history.look(LAST, "20:30", seen=history.fish - 1)
    return history


def a_change_left_for_today(template: str) -> History:
    """The first day after the thirty on which a water change is due."""
    history = lived(template)
    for n in range(LAST + 1, LAST + 9):
        today = [
            t for t in history.plan(history.at(n, "06:00")).tasks if t.kind == "change" and t.day == history.day(n)
        ]
        history.perfect_day(n, but=("change",))
        good_water(history, n)
        if today:
            return history
        history.perfect_day(n)
    raise AssertionError("no water change is planned after the thirty days")


ALONE: dict[str, tuple[Callable[[str], History], str, str]] = {
    "period": (no_look_on_the_last_day, "Thirty days of observation are complete", "met on 2026-03-12 after the look"),
    "clear days": (a_sign_late, "14 clear days", "clear 10 of 14"),
    "feeding": (a_fish_that_eats_little, "7 days of feeding", "the last 2 offered days"),
    "death": (an_explained_death, "14 days since the last death", "last death 2026-03-02"),
    "ammonia": (much_ammonia, "un-ionized ammonia", "needed: at most 0.05 mg/L"),
    "nitrite": (much_nitrite, "nitrite", "nitrite 1 mg/L"),
    "counts": (one_fish_not_found, "count", "39 seen on 2026-03-12, 40 alive on record"),
    "tasks": (a_change_left_for_today, "Every task has an outcome", "of today's tasks still open"),
}


@pytest.mark.parametrize("template", ["fresh-watch", "marine-watch"])
@pytest.mark.parametrize("what", ALONE)
def test_F79_each_condition_alone_blocks_and_is_named(template: str, what: str) -> None:
    """Everything is met but one: exactly that one stands in the way, says what was found and what is needed."""
    live, title, says = ALONE[what]
    history = live(template)
    last_day = max(LAST, max((f.at - history.arrived).days for f in history.facts))
    judged = history.judged(history.at(last_day, EVENING))
    blocking = [j for j in judged if not j.met]
    assert [title.casefold() in j.title.casefold() for j in blocking] == [True], titles(judged)
    assert says in blocking[0].says
    assert blocking[0].as_json()["verdict"] in ("not met", "cannot be judged")


@pytest.mark.parametrize("template", ["fresh-watch", "marine-watch", "marine-praziquantel"])
def test_F79_with_every_condition_met_nothing_blocks(template: str) -> None:
    """The same history without the mishap is ready: it was the mishap that blocked."""
    history = lived(template)
    assert titles(history.judged(history.at(LAST, EVENING))) == []


def test_F79_unlooked_water_cannot_be_judged_and_blocks() -> None:
    """Readings older than the criterion allows are no readings: both of the water's criteria, and no other, block."""
    history = lived("fresh-watch")
    for n in range(LAST + 1, LAST + 5):
        history.perfect_day(n, but=("test",))
    for task in history.plan(history.at(LAST + 4, EVENING)).tasks:
        if task.kind == "test" and task.outcome is None and task.day is not None and task.day <= history.day(LAST + 4):
            history.fact("skip", history.at(LAST + 4), {"key": task.key, "task_kind": "test", "because": "no kit"})
    judged = history.judged(history.at(LAST + 4, EVENING))
    assert {j.met for j in judged if not j.met} == {None}
    assert len(titles(judged)) == 2
    assert all("no reading of the last 72 h" in j.says for j in judged if not j.met)


def test_F79_the_course_that_is_not_complete_is_owed() -> None:
    """Asked early, the doses still owed are counted with the day of the last one."""
    history = History("marine-praziquantel")
    for n in range(3):
        history.perfect_day(n)
    tasks = next(j for j in history.judged(history.at(2, EVENING)) if j.title == "Every task has an outcome")
    doses = sorted(t.day for t in history.plan(history.at(2, EVENING)).tasks if t.kind == "dose" and t.day)
    assert len(doses) == 2
    assert tasks.met is False
    assert f"2 doses still owed, the last on {doses[-1]}" in tasks.says
    assert tasks.earliest is not None
    assert tasks.earliest >= doses[-1]


def test_F79_a_late_course_blocks_by_its_drug_free_days_alone() -> None:
    """The doses came late: all else is met on day 30, the fourteen days since contact ended are not."""
    history = History("marine-praziquantel")
    for n in range(LAST + 1):
        history.perfect_day(n, but=("dose",) if n < 9 else ())
    good_water(history, LAST)
    judged = history.judged(history.at(LAST, EVENING))
    (blocking,) = [j for j in judged if not j.met]
    assert "14 days" in blocking.title
    assert "contact with the last dose ended" in blocking.says


def test_F79_medicine_left_in_the_water_blocks_by_name() -> None:
    """Without the clearing changes the upper bound stays over 5 % of the target: level and drug-free days name it."""
    history = History("marine-praziquantel")
    for n in range(LAST + 1):
        history.perfect_day(n, but=("change",))
        for task in history.plan(history.at(n, "20:00")).tasks:
            if task.kind == "change" and task.outcome is None and task.day is not None and task.day <= history.day(n):
                history.fact("skip", history.at(n, "20:30"), {"key": task.key, "task_kind": "change", "because": "t"})
    good_water(history, LAST)
    judged = history.judged(history.at(LAST, EVENING))
    said = " ".join(j.says for j in judged if not j.met)
    assert len(titles(judged)) == 2
    assert "praziquantel: upper bound" in said
    assert "praziquantel is still in the water" in said


def test_F79_an_open_hold_blocks_by_name() -> None:
    """An emergency that nobody lifted, with doses owed, keeps the period open and says why."""
    history = History("marine-praziquantel")
    history.look(2, signs=("gasping",))
    history.looks(3, 45)
    said = [j.says for j in history.judged(history.at(45, EVENING)) if not j.met]
    assert any("a hold is open: sign seen: gasping (A)" in one for one in said)


@pytest.mark.parametrize("template", ["fresh-watch", "marine-watch", "marine-praziquantel"])
def test_F79_asked_early_the_days_still_owed_are_shown(template: str) -> None:
    """On day 3 every condition of days says how many there are, how many are needed, and the earliest day."""
    history = History(template)
    for n in range(4):
        history.perfect_day(n)
    judged = {j.title: j for j in history.judged(history.at(3, EVENING))}
    period = judged["Thirty days of observation are complete"]
    assert "day 3 of 30" in period.says
    assert period.earliest == history.day(30)
    clear = next(j for title, j in judged.items() if title.startswith("14 clear days"))
    assert "clear 3 of 14" in clear.says
    assert clear.earliest == history.day(14)
