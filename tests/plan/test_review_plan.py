"""What was given is never offered again: whatever began its course, and whatever of that was said otherwise later."""

from __future__ import annotations

import pytest
from history import History, dose_step, small

from quarantine.facts import Fact

SIGN = dose_step('{ every = "4 d", times = 2, from = "given" }', start='{ sign = "white spots", by = "1 d" }')
REOPEN = dose_step('{ every = "4 d", times = 2, from = "given" }', "reopen")


def test_weekly_tests_come_on_their_days_though_the_daily_ones_before_them_are_blank() -> None:
    """Care that was missed is not done later: what follows it neither waits nor is moved, and a reason given for the
    blanks brings back nothing as past work that was never shown."""
    history = History("fresh-watch")
    history.looks(0, 23)
    days = {n: [t.day for t in history.runs("tests-weekly", history.at(n, "22:00"))] for n in (5, 13, 14, 17, 23)}
    assert days[14] == days[13] == days[5] == [history.day(n) for n in (14, 21, 28)]
    assert days[17] == days[23] == days[14]
    states = [t.state for t in history.runs("tests-weekly", history.at(23, "22:00"))]
    assert states == ["missed", "missed", "planned"]
    for task in history.runs("tests-daily", history.at(23)):
        history.fact("skip", history.at(23, "10:00"), {"key": task.key, "task_kind": "test", "because": "no kit"})
    after = history.runs("tests-weekly", history.at(23, "22:00"))
    assert [t.day for t in after] == days[23]
    assert [t.state for t in after] == states


def test_what_follows_a_dose_that_is_late_still_waits_for_it() -> None:
    """The last dose is open: clearing is planned behind it, from today on."""
    history = History("marine-praziquantel")
    for n in range(12):
        history.perfect_day(n, but=("dose", "change"))
    assert history.runs("clear-water", history.at(12))[0].day > history.day(12)


@pytest.mark.parametrize("first_stands", [True, False])
def test_a_course_keeps_its_keys_when_the_look_that_began_it_is_taken_back(first_stands: bool) -> None:
    """Two looks saw the sign. The one that was entered first began the course; without it the other one stands, and
    the dose that was given is not offered again."""
    history = History(small(SIGN))
    first = history.look(4, signs=("white spots",))
    key = history.runs("dose", history.at(4, "10:00"))[0].key
    history.dose(history.at(5), key)
    history.look(6, signs=("white spots",))
    kept = [f for f in history.facts if first_stands or f.id != first.id]
    runs = [t for t in history.plan(history.at(6, "12:00"), facts=kept).tasks if t.step == "dose"]
    assert [(t.key, t.state) for t in runs] == [(key, "done"), (key[:-1] + "2", "planned")]
    assert runs[1].day == history.day(9)


def test_a_word_said_anew_goes_on_with_the_course_that_the_first_one_began() -> None:
    """The first word is taken back after a dose was given on it: the second dose is owed, not the first."""
    start = '{ word = "the vet agreed" }'
    history = History(small(dose_step('{ every = "4 d", times = 2, from = "given" }', start=start)))
    first = history.fact("word", history.at(3), {"word": "the vet agreed"})
    key = history.runs("dose", history.at(3, "10:00"))[0].key
    history.dose(history.at(3, "11:00"), key)
    history.facts.remove(first)
    waiting = history.runs("dose", history.at(4))
    assert [(t.day, t.state) for t in waiting] == [(None, "planned")]
    history.fact("word", history.at(4), {"word": "the vet agreed"})
    runs = history.runs("dose", history.at(4, "12:00"))
    assert [(t.key, t.state, t.day) for t in runs] == [
        (key, "done", history.day(4)),
        (key[:-1] + "2", "planned", history.day(7)),
    ]


def test_a_course_that_an_amendment_began_stays_on_it_when_a_later_one_goes_on_with_it() -> None:
    """The runs hang on the first amendment; the second changes the gap and begins nothing anew."""
    history = History(small(dose_step('{ every = "4 d", times = 2, from = "given" }', start='{ arrival = "1 d" }')))

    def amended(n: int, fresh: bool) -> Fact:
        steps = {"dose": {"from": history.day(n).isoformat(), "fresh": fresh}}
        return history.fact("amended", history.at(n), {"steps": steps})

    begun = amended(3, True)
    first = history.runs("dose", history.at(3, "10:00"))[0]
    assert first.key.split(":")[2] == begun.id
    history.dose(history.at(3, "11:00"), first.key)
    amended(4, False)
    runs = history.runs("dose", history.at(4, "10:00"))
    assert [(t.key, t.state) for t in runs] == [(first.key, "done"), (first.key[:-1] + "2", "planned")]
    assert runs[1].day == history.day(7)


def test_a_dose_given_by_a_later_code_moves_the_one_before_it_behind_itself() -> None:
    """The second code was ticked for the first: what is left is four days later, and not today."""
    history = History(small(dose_step('{ every = "4 d", times = 2, from = "given" }')))
    second = history.runs("dose", history.at(3))[1]
    history.dose(history.at(4), second.key)
    open_ = [t for t in history.runs("dose", history.at(4, "12:00")) if t.outcome is None]
    assert [t.day for t in open_] == [history.day(8)]


def _missed(history: History, n: int, key: str, entered: int) -> Fact:
    return history.fact("lapse", history.at(n, "20:00"), {"key": key}, entered=history.at(entered))


def test_a_missed_dose_given_late_after_the_series_began_again_moves_the_next_behind_it() -> None:
    """Missed on day 3, begun anew on day 4, missed again, and then the first code is ticked on day 5: it is the first
    of the two that began anew, and the one that was missed meanwhile keeps its question."""
    history = History(small(REOPEN))
    first = history.runs("dose", history.at(3))[0]
    _missed(history, 3, first.key, 4)
    again = next(t for t in history.runs("dose", history.at(4)) if t.outcome is None and t.day == history.day(4))
    _missed(history, 4, again.key, 5)
    history.dose(history.at(5, "10:00"), first.key)
    planned = [t.day for t in history.runs("dose", history.at(5, "12:00")) if t.state == "planned"]
    assert planned == [history.day(9)]
    missed = [t.day for t in history.runs("dose", history.at(5, "12:00")) if t.state == "missed"]
    assert missed == [history.day(4)]


def test_a_lapse_that_was_written_twice_keeps_the_keys_of_what_began_anew() -> None:
    """The dose was given on the series that the first lapse began; a second lapse of the same run moves nothing."""
    history = History(small(REOPEN))
    first = history.runs("dose", history.at(3))[0]
    _missed(history, 3, first.key, 4)
    again = next(t for t in history.runs("dose", history.at(4)) if t.day == history.day(4))
    history.dose(history.at(4, "10:00"), again.key)
    before = [(t.key, t.day, t.state) for t in history.runs("dose", history.at(5))]
    _missed(history, 3, first.key, 5)
    assert [(t.key, t.day, t.state) for t in history.runs("dose", history.at(5, "10:00"))] == before


def test_A7_euthanised_is_no_death_of_an_outbreak_and_an_explained_death_is() -> None:
    """Two put down in a day hold no dose; two that jumped do; one that died and one put down do not."""
    for deaths, event in (
        (({"euthanised": True, "explained": True}, {"euthanised": True, "explained": True}), None),
        (({"explained": True}, {"explained": True}), "outbreak"),
        (({"explained": True}, {"euthanised": True, "explained": True}), None),
        (({}, {"euthanised": True, "explained": True}), "death"),
    ):
        history = History("fresh-watch")
        for n, data in enumerate(deaths):
            history.fact("died", history.at(4, f"{10 + n}:00"), {"count": 1, **data})
        evidence = history.evidence(history.at(5))
        assert {one.event for one in evidence.happenings} - {"not_looked"} == ({event} if event else set())
        assert evidence.alive == 38
