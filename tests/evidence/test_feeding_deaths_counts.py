"""Feeding (A6), deaths (A7), the head count (B6), what a dose leaves behind (A9)."""

from __future__ import annotations

from decimal import Decimal

import pytest
from history import WATER, History
from hypothesis import given
from hypothesis import strategies as st

from quarantine import evidence as ev
from quarantine.facts import Condition
from quarantine.water.ledger import Water, exposures


def feeding(history: History, n: int) -> int:
    return ev.feeding_days(history.evidence(history.at(n, "21:00")).looks)


def events(history: History, n: int) -> list[str]:
    return [one.event for one in history.evidence(history.at(n, "23:00")).happenings if one.event != "not_looked"]


def judge(history: History, n: int, condition: Condition, clock: str = "21:00") -> ev.Verdict:
    return ev.judge(condition, history.evidence(history.at(n, clock)))


def test_A6_a_feeding_day_needs_most_fish_eating() -> None:
    """Appetite 2 and 3 count, 1 and 0 break the row."""
    history = History()
    for n, appetite in enumerate((3, 2, 1, 2, 3)):
        history.look(n, appetite=appetite)
    assert [feeding(history, n) for n in range(5)] == [1, 2, 0, 1, 2]


def test_A6_a_day_without_food_is_neutral() -> None:
    """A planned fast between two feeding days neither counts nor breaks."""
    history = History()
    history.look(0)
    history.look(1, appetite=None)
    history.look(2)
    assert feeding(history, 2) == 2


def test_A6_a_fish_known_to_refuse_breaks_the_row_until_it_is_said_to_eat() -> None:
    """ "Off food" holds through silence; the look that says it is gone starts a new row."""
    history = History()
    history.looks(0, 2)
    history.look(3, signs=("off food",))
    history.look(4, none=False)
    assert [feeding(history, n) for n in (3, 4)] == [0, 0]
    history.look(5, none=False, gone=("off food",))
    assert feeding(history, 5) == 1


def test_A6_food_offered_on_a_day_without_a_look_that_counts_is_no_feeding_day() -> None:
    """Fed, but not counted: the row is broken, because nobody knows who ate."""
    history = History()
    history.looks(0, 2)
    history.look(3, seen=None)
    assert feeding(history, 3) == 0


def test_A7_an_unexplained_death_is_an_event_and_an_explained_one_is_not() -> None:
    """One of 40: only the unexplained death restarts; both restart the days since a death."""
    unexplained, explained = History(), History()
    unexplained.died(5)
    explained.died(5, explained=True)
    assert events(unexplained, 5) == ["death"]
    assert events(explained, 5) == []
    for history in (unexplained, explained):
        verdict = judge(history, 6, Condition("days_since_death", 14, ""))
        assert verdict.earliest == history.day(19)


@pytest.mark.parametrize(
    ("second", "event"), [("20:00", "outbreak"), ("09:00", "outbreak"), ("09:01", None)], ids=["11 h", "24 h", "over"]
)
def test_A7_two_deaths_in_24_hours(second: str, event: str | None) -> None:
    """Two explained deaths restart when they lie within 24 hours of each other, the 24th included."""
    history = History()
    history.died(5, "09:00", explained=True)
    history.died(5 if second == "20:00" else 6, second, explained=True)
    assert events(history, 6) == ([event] if event else [])


@pytest.mark.parametrize(("fish", "event"), [(20, []), (19, ["outbreak"])])
def test_A7_over_five_percent_of_the_batch(fish: int, event: list[str]) -> None:
    """One explained death of 20 is 5 % and not over it; one of 19 is."""
    history = History(fish=fish)
    history.died(5, explained=True)
    assert events(history, 5) == event


def test_A7_two_that_died_at_once_are_an_outbreak() -> None:
    """One entry of two dead counts as two."""
    history = History()
    history.died(5, fish=2, explained=True)
    assert events(history, 5) == ["outbreak"]


def test_A2_days_since_a_death_are_met_after_the_look() -> None:
    """Fourteen days after the death it still needs that day's look."""
    history = History()
    history.died(2)
    condition = Condition("days_since_death", 14, "")
    history.looks(0, 15)
    assert judge(history, 16, condition, "08:00").met is False
    assert judge(history, 16, condition, "08:00").earliest == history.day(16)
    history.look(16)
    assert judge(history, 16, condition).met is True


LEDGER = st.lists(
    st.tuples(st.sampled_from(["added", "died", "moved", "missing"]), st.integers(0, 3), st.integers(0, 20)),
    max_size=12,
)


@given(LEDGER)
def test_B6_the_head_count_balances_whatever_happens(rows: list[tuple[str, int, int]]) -> None:
    """Arrived and added = alive and dead and moved and missing, in any order; never seen alone kills nobody."""
    history = History(fish=100)
    left = {"added": 0, "died": 0, "moved": 0, "missing": 0}
    for kind, number, n in rows:
        history.fact(kind, history.at(n, "12:00"), {"count": number})
        left[kind] += number
    history.look(5, seen=0)
    evidence = history.evidence(history.at(30))
    assert evidence.arrived + left["added"] == evidence.alive + left["died"] + left["moved"] + left["missing"]
    assert evidence.balanced


def test_B6_not_seen_is_never_dead_and_sign_off_wants_every_fish() -> None:
    """39 of 40 seen leaves 40 alive, and the count is not met until all are seen or one is said to be missing."""
    history = History()
    history.look(3, seen=39)
    condition = Condition("counts", "balanced", "")
    assert history.evidence(history.at(4)).alive == 40
    assert judge(history, 3, condition).met is False
    history.fact("missing", history.at(4), {"count": 1, "because": "jumped"})
    assert judge(history, 5, condition).met is True


def test_B6_a_count_never_made_cannot_be_judged() -> None:
    """Without a look the fish are not counted."""
    assert judge(History(), 3, Condition("counts", "balanced", "")).met is None


def dosed(water: Water | None = WATER) -> History:
    history = History("marine-watch", water=water)
    history.dose(history.at(3, "10:00"))
    return history


def exposed(history: History, n: int, clock: str = "21:00") -> list[ev.Exposure]:
    at = history.at(n, clock)
    return exposures(history.facts, history.water, at)


def test_A9_contact_ends_with_the_change_that_brings_the_upper_bound_to_five_percent() -> None:
    """2 mg/L in 200 L, half changed each day: 2.02 / 2^5 = 0.063 mg/L is the first under 0.1 (algebra)."""
    history = dosed()
    for n in range(4, 12):
        history.change(n, "09:00", 100)
    # 198 L is the emptiest tank: 400 / 198 mg/L; 202 L the fullest, of which 100 L are 49.5 %
    bound = [400 / v * (1 - 100 / v) ** 5 for v in (198, 202)]
    assert max(bound) <= 0.1 < max(400 / v * (1 - 100 / v) ** 4 for v in (198, 202))
    assert exposed(history, 7)[0].until is None
    assert exposed(history, 9)[0].until == history.at(8, "09:00")


def test_A9_days_since_the_dose_count_from_the_end_of_contact() -> None:
    """Not from the pour: still in the water is not met, and then the day of the last change is day zero."""
    history = dosed()
    condition = Condition("days_since_dose", 14, "")
    assert judge(history, 30, condition).met is False
    for n in range(31, 36):
        history.change(n, "09:00", 100)
    assert judge(history, 36, condition).earliest == history.day(49)


@pytest.mark.parametrize("route", ["dip", "food"])
def test_A9_a_dip_is_a_dose_and_ends_when_it_is_given(route: str) -> None:
    """It stays in no water, and its day is day zero."""
    history = History("marine-watch")
    history.dose(history.at(3), route=route)
    found = exposed(history, 4)
    assert [(e.until, e.high_mg_per_l) for e in found] == [(history.at(3), Decimal("0.0"))]


def test_A9_a_dip_after_a_bath_does_not_end_the_bath() -> None:
    """The medicine of the bath is still in the water."""
    history = dosed()
    history.dose(history.at(5), route="dip")
    found = exposed(history, 6)[0]
    assert found.until is None
    assert found.high_mg_per_l is not None
    assert found.high_mg_per_l > 2


def test_A9_supporting_doses_do_not_count_and_do_not_hide_those_that_do() -> None:
    """Supporting salt is no dose; beside a treatment it does not make that one vanish."""
    history = History("fresh-watch")
    history.dose(history.at(2), substance="sodium-chloride", counts=False)
    assert exposed(history, 3) == []
    history.dose(history.at(4), substance="sodium-chloride", route="dip")
    assert [e.last_dose for e in exposed(history, 5)] == [history.at(4)]


def test_A9_without_a_known_volume_a_bath_has_no_end() -> None:
    """Unknown is not gone: the level cannot be judged and the days are not met."""
    history = dosed(water=None)
    history.change(4, "09:00", 150)
    found = exposed(history, 9)[0]
    assert (found.until, found.high_mg_per_l) == (None, None)
    assert judge(history, 40, Condition("days_since_dose", 14, "")).met is False
    assert judge(history, 40, Condition("level", "praziquantel", "", share="5 %")).met is None


def test_a_level_is_judged_by_its_upper_bound() -> None:
    """Over the share of the target it is not met, under it it is, without a dose it cannot be judged."""
    condition = Condition("level", "praziquantel", "", share="5 %")
    assert judge(History("marine-watch"), 4, condition).met is None
    history = dosed()
    assert judge(history, 4, condition).met is False
    for n in range(4, 9):
        history.change(n, "22:00", 100)
    assert judge(history, 9, condition).met is True


def test_a_missed_dose_is_one_event_and_none_when_it_was_given_in_time() -> None:
    """A lapse and the reason given for it are one miss; a dose entered late that was given before the lapse is none."""
    history = History("marine-watch")
    history.fact("lapse", history.at(5), {"key": "S:dose:r:1"})
    history.fact("skip", history.at(6), {"key": "S:dose:r:1", "task_kind": "dose", "because": "ill"})
    assert events(history, 6) == ["dose_missed"]
    history = History("marine-watch")
    history.fact("lapse", history.at(5), {"key": "S:dose:r:1"})
    history.dose(history.at(4), "S:dose:r:1", entered=history.at(6))
    assert events(history, 6) == []


READ = Condition("reading", "temperature", "", "22", "28", "°C", 24)


@pytest.mark.parametrize(
    ("value", "clock", "met"), [("25", "09:00", True), ("29", "09:00", False), ("21", "09:00", False)]
)
def test_a_reading_is_judged_by_its_value(value: str, clock: str, met: bool) -> None:
    """In range, over it, under it."""
    history = History()
    history.read(3, clock, temperature=value)
    assert judge(history, 3, READ).met is met


def test_a_reading_that_is_too_old_is_unknown() -> None:
    """24 hours count, a minute more does not."""
    history = History()
    history.read(3, "09:00", temperature="25")
    assert judge(history, 4, READ, "09:00").met is True
    assert judge(history, 4, READ, "09:01").met is None


def test_un_ionized_ammonia_is_judged_by_its_worse_end_and_needs_all_three() -> None:
    """Total ammonia, pH and temperature; with one missing it is unknown."""
    condition = Condition("reading", "uia", "", None, "0.05", "mg/L", 24)
    history = History()
    history.read(3, tan="0.5", ph="8.5")
    assert judge(history, 3, condition).met is None
    history.read(3, temperature="26")
    assert judge(history, 3, condition).met is False
    history.read(3, "10:00", tan="0", ph="7")
    assert judge(history, 3, condition).met is True


STEADY = Condition("steady", "temperature", "", "22", "28", "°C", 24)


def steady(*readings: tuple[int, str, str]) -> bool | None:
    history = History()
    for n, clock, value in readings:
        history.read(n, clock, temperature=value)
    return judge(history, 3, STEADY, "12:00").met


def test_steady_needs_a_reading_before_the_hours_or_two_that_are_six_hours_apart() -> None:
    """Two within minutes prove nothing of a day; nor does one of a week ago (rule A10: 36 h is unknown)."""
    assert steady((2, "09:00", "25"), (3, "09:00", "25")) is True
    assert steady((3, "03:00", "25"), (3, "09:00", "25")) is True
    assert steady((3, "11:00", "25"), (3, "11:05", "25")) is None
    assert steady((3, "11:00", "25")) is None
    assert steady((1, "09:00", "25"), (3, "09:00", "25")) is None
    assert steady((2, "09:00", "25")) is None


def test_one_reading_out_of_range_is_not_steady() -> None:
    """Whether it stands inside the hours or just before them."""
    assert steady((2, "09:00", "25"), (2, "20:00", "29"), (3, "09:00", "25")) is False
    assert steady((2, "09:00", "21"), (3, "09:00", "25")) is False


def test_no_sign_is_unknown_until_somebody_looked() -> None:
    """Nobody looked: cannot be judged. A C sign does not stand against "no A sign"."""
    history = History()
    condition = Condition("no_sign", "A", "")
    assert judge(history, 1, condition).met is None
    history.look(1, signs=("colour",))
    assert judge(history, 1, condition).met is True
    history.look(2, signs=("gasping",))
    assert judge(history, 2, condition).met is False


def test_what_lies_after_the_instant_is_not_known() -> None:
    """Facts of tomorrow change nothing today."""
    history = History()
    history.look(1)
    before = history.evidence(history.at(1, "21:00"))
    history.died(2, fish=5)
    history.look(2, signs=("gasping",))
    history.fact("added", history.at(3), {"count": 4})
    assert history.evidence(history.at(1, "21:00")) == before
