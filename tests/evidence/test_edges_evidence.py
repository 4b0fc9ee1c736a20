"""Looks, deaths and batches that became one, where one day or one instant decides (A1 to A10, B3, B6, C9; found by
mutants)."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import Any

import pytest
from history import History, dose_step, small

from quarantine import evidence as ev
from quarantine.facts import Condition, Fact
from quarantine.water.ledger import Exposure

COURSE = dose_step('{ every = "4 d", times = 3, from = "given" }')


def clear(history: History, n: int, clock: str = "21:00") -> ev.Clear:
    return history.evidence(history.at(n, clock)).clear


def events(history: History, n: int) -> list[tuple[str, datetime]]:
    """What happened, days without a look aside."""
    found = history.evidence(history.at(n, "21:00")).happenings
    return [(one.event, one.at) for one in found if one.event != "not_looked"]


# --- Looks ------------------------------------------------------------------------------------------------------


def test_A3_fish_found_dead_at_a_look_are_not_looked_for_at_it() -> None:
    """Forty fish, one found dead as the others are counted: 39 of 39 were seen, and none is missing since."""
    history = History(fish=40)
    history.look(1)
    history.died(4, "09:00")
    history.look(4, "09:00", seen=39)
    evidence = history.evidence(history.at(5))
    assert evidence.all_seen_on == history.day(4)
    assert ev.unseen_days(evidence.all_seen_on, evidence.today) == 0


@pytest.mark.parametrize(("days", "told"), [(2, 0), (3, 3), (4, 4)])
def test_A3_a_fish_that_nobody_saw_is_told_from_the_third_day_on(days: int, told: int) -> None:
    """All were seen on day 0; on the third day it is said that each must be seen, and what follows where it is not."""
    history = History()
    assert ev.unseen_days(history.day(0), history.day(days)) == told
    words = ev.unseen_words(history.day(0), history.day(days))
    assert bool(words) is bool(told)
    assert ("or no look counts from tomorrow on" in words) is (days == 3)


def test_A5_a_c_sign_seen_before_the_last_fish_came_is_b_after_48_hours_all_the_same() -> None:
    """Seen on day 3 at 09:00, fish came on day 4, said to be gone on day 5 at 10:00, after 49 h: it was B until then,
    so day 5 is day zero. Said to be gone at 08:00, after 47 h, it never was, and day 5 is the first clear day."""
    for clock, zero, days in (("10:00", 5, 0), ("08:00", 4, 1)):
        history = History()
        history.look(3, "09:00", signs=("colour",), severity={"colour": "C"})
        history.fact("added", history.at(4), {"count": 1})
        history.look(5, clock)
        assert (clear(history, 5).zero, clear(history, 5).days) == (history.day(zero), days)


@pytest.mark.parametrize("appetites", [(3, 1), (1, 3)])
def test_A6_of_two_feeds_on_a_day_the_better_one_counts(appetites: tuple[int, int]) -> None:
    """Most ate once on that day: it is a feeding day."""
    history = History()
    for clock, appetite in zip(("08:00", "18:00"), appetites, strict=True):
        history.look(1, clock, appetite=appetite)
    assert ev.feeding_days(history.evidence(history.at(1, "21:00")).looks) == 1


def test_A6_fish_ate_on_looked_days_alone() -> None:
    """Forty fish: day 1 all were seen, on day 2 thirty-one, under 80 %: that look counts for nothing."""
    history = History(fish=40)
    history.look(1, seen=40)
    history.look(2, seen=31)
    history.look(3, seen=32)
    condition = Condition("ate", 3, "ate")
    verdict = ev.judge(condition, history.evidence(history.at(3, "21:00")))
    assert (verdict.met, verdict.figure) == (False, "2")


# --- Missed doses -----------------------------------------------------------------------------------------------


def lapsed(history: History, kind: str = "dose", n: int = 2) -> Fact:
    """The second run of a course was missed on day 7 at 20:00."""
    data = {"key": f"S:dose:{history.arrival.id}:{n}", "task_kind": kind, "because": "a test"}
    return history.fact("lapse", history.at(7, "20:00"), data)


@pytest.mark.parametrize(("clock", "missed"), [("19:59", False), ("20:01", True)])
def test_A11_a_dose_given_up_to_the_end_of_its_time_and_entered_later_was_not_missed(clock: str, missed: bool) -> None:
    """The lapse was written down first; the dose that is entered then says when it was really given."""
    history = History(small(COURSE), zone="UTC")
    lapse = lapsed(history)
    history.dose(history.at(7, clock), lapse.data["key"], entered=history.at(8))
    assert ("repeat_missed" in [event for event, _ in events(history, 9)]) is missed


def test_A11_a_portion_that_nothing_ate_is_a_missed_dose() -> None:
    """It was given in time, and is no dose of the course; one that was eaten is."""
    history = History(small(COURSE), zone="UTC")
    dose = history.dose(history.at(3), f"S:dose:{history.arrival.id}:1", route="food")
    assert events(history, 4) == []
    dose.data["eaten"] = "none"
    assert events(history, 4) == [("dose_missed", dose.at)]


@pytest.mark.parametrize(("kind", "event"), [("dose", "repeat_missed"), ("move", "repeat_missed"), ("look", None)])
def test_A11_a_move_that_is_skipped_is_a_missed_treatment_and_a_look_is_not(kind: str, event: str | None) -> None:
    """A tank transfer is a course of moves."""
    history = History(small(COURSE), zone="UTC")
    skip = {"key": f"S:work:{history.arrival.id}:2", "task_kind": kind, "because": "a test"}
    history.fact("skip", history.at(4), skip)
    assert [one for one, _ in events(history, 5)] == ([event] if event else [])


# --- What happened before they came -----------------------------------------------------------------------------


@pytest.mark.parametrize(("until", "told"), [("09:30", False), ("10:00", True), ("11:00", True)])
def test_B3_a_power_cut_that_was_over_before_they_came_is_none_of_theirs(until: str, told: bool) -> None:
    """They came at 10:00. One that went on is theirs from then on, and not from its beginning."""
    history = History(arrived="2026-02-10 10:00", zone="UTC")
    incident = {"what": "power", "tanks": ["T"], "tank_ids": ["T"], "until": history.at(0, until).isoformat()}
    history.fact("incident", history.at(0, "06:00"), incident, batch=None)
    assert events(history, 1) == ([("power", history.arrival.at)] if told else [])


def test_B3_a_disturbance_before_they_came_is_none_of_theirs() -> None:
    """A fall in the water on the day before; one at their own instant is theirs."""
    history = History(zone="UTC")
    history.fact("disturbance", history.at(-1), {"what": "a fall"}, batch=None)
    assert events(history, 1) == []
    history.fact("disturbance", history.arrival.at, {"what": "a drill"}, batch=None)
    assert events(history, 1) == [("disturbance", history.arrival.at)]


def moved(history: History, n: int, **more: Any) -> Fact:
    """The batch came into this water on day n at 12:00, with a bag in which is what is said."""
    bag: dict[str, Any] = {
        "from": "Q9", "joined": [], "entered_id": history.arrival.id, "entered_at": history.arrival.at.isoformat(),
        "happenings": [], "lifted_at": None, "exposures": [], "in_range": {}, "begun": {}, "stops": {}, "settled": {},
        "doses": [],
    }  # fmt: skip
    return history.fact("moved_in", history.at(n, "12:00"), {**bag, **more})


@pytest.mark.parametrize(("ended", "since"), [("11:59", None), ("12:00", None), ("12:01", "12:00"), (None, "12:00")])
def test_B3_what_was_in_the_water_before_they_came_was_around_them_since_they_came(
    ended: str | None, since: str | None
) -> None:
    """A drug that others were given there on day 3; they came on day 5 at 12:00. Gone by then, it is none of theirs."""
    history = History()
    moved(history, 5)
    until = None if ended is None else history.at(5, ended)
    other = Exposure("praziquantel", history.at(3), history.at(3), until, Decimal(2), Decimal(2))
    found = ev.gather(history.facts, "B", history.zone, history.arrival, history.at(6), [other]).exposures
    assert [one.since for one in found] == ([] if since is None else [history.at(5, since)])


def test_C9_a_lift_in_a_water_before_they_came_lifts_nothing_of_theirs() -> None:
    """Gasping on day 3 in the old water; somebody lifted a hold of the new one on day 4; they came on day 5."""
    history = History()
    history.look(3, signs=("gasping",))
    history.fact("lift", history.at(4), {"because": "of others"}, batch=None)
    moved(history, 5)
    assert ev.emergency(history.evidence(history.at(6))) == "sign seen: gasping (A), 2026-02-13"
    history.fact("lift", history.at(6), {"because": "seen by a veterinarian"}, batch=None)
    assert ev.emergency(history.evidence(history.at(7))) is None


@pytest.mark.parametrize(("n", "holds"), [(4, False), (6, True)])
def test_C9_a_hold_that_others_left_open_holds_from_when_the_fish_are_there(n: int, holds: bool) -> None:
    """Others went and left it open on day 4, before these came on day 5, or on day 6 when they were there."""
    history = History()
    moved(history, 5)
    history.fact("held", history.at(n), {"because": "2 dead in 24 hours"}, batch=None)
    assert ev.emergency(history.evidence(history.at(7))) == ("2 dead in 24 hours" if holds else None)


def test_C9_two_deaths_in_24_hours_hold_every_dose_until_somebody_lifts_it() -> None:
    """One death does not; the lift may come at the instant of the last of them."""
    history = History()
    history.died(3)
    assert ev.emergency(history.evidence(history.at(3, "21:00"))) is None
    last = history.died(4, "08:00")
    assert ev.emergency(history.evidence(history.at(4, "21:00"))) == "2 of 40 dead in 24 hours, 2026-02-14"
    history.fact("lift", last.at, {"because": "looked at"}, batch=None)
    assert ev.emergency(history.evidence(history.at(4, "21:00"))) is None


# --- Conditions at their edges ----------------------------------------------------------------------------------


def judged(history: History, n: int, condition: Condition, clock: str = "21:00") -> ev.Verdict:
    return ev.judge(condition, history.evidence(history.at(n, clock)))


@pytest.mark.parametrize(("n", "met"), [(2, False), (3, True), (4, True)])
def test_A1_not_before_day_3_is_met_on_day_3(n: int, met: bool) -> None:
    """From the first minute of that day on."""
    verdict = judged(History(), n, Condition("day", 3, "day 3"), "00:00")
    assert (verdict.met, verdict.earliest) == (met, History().day(3))


def test_A2_a_count_of_days_is_met_by_a_look_that_counts_alone() -> None:
    """Seven days since a death on day 2: on day 9 thirty of 39 were seen, under 80 %; on day 10 all of them."""
    history = History(fish=40)
    history.died(2)
    history.look(8)
    history.look(9, seen=30)
    week = Condition("days_since_death", 7, "a week")
    assert judged(history, 9, week).met is False
    history.look(10)
    assert judged(history, 10, week).met is True


def test_A9_days_since_the_last_dose_are_not_met_while_one_of_two_is_in_the_water() -> None:
    """Medicine in food ended on day 3; the bath of day 4 is still there, though it is old."""
    history = History()
    history.dose(history.at(3), substance="metronidazole", route="food")
    week = Condition("days_since_dose", 7, "a week")
    history.look(10)
    assert judged(history, 10, week).met is True
    history.dose(history.at(4))
    history.look(20)
    assert judged(history, 20, week).met is False


@pytest.mark.parametrize(("high", "met"), [("0.0999", True), ("0.1", True), ("0.1001", False), (None, None)])
def test_A9_five_per_cent_of_the_target_itself_is_low_enough(high: str | None, met: bool | None) -> None:
    """Of 2 mg/L that is 0.1 mg/L; what is not known is never met."""
    history = History()
    at = history.at(3)
    one = Exposure("praziquantel", at, at, None, Decimal(2), None if high is None else Decimal(high))
    evidence = history.evidence(history.at(5))._replace(exposures=(one,))
    assert ev.judge(Condition("level", "praziquantel", "5 %", share="5 %"), evidence).met is met


@pytest.mark.parametrize(("seen", "met"), [(39, False), (40, True), (41, False)])
def test_B6_more_fish_than_there_should_be_do_not_balance_either(seen: int, met: bool) -> None:
    """Forty came: 39 seen is one missing, 41 seen is one too many."""
    history = History(fish=40)
    history.look(3, seen=seen)
    assert judged(history, 3, Condition("counts", "balanced", "counts")).met is met


STEADY = Condition("steady", "temperature", "warm", low="23", high="27", unit="°C", within_hours=24)


def steady(*read: tuple[str, str], at: str = "12:00") -> bool | None:
    """Whether 24 h at 23 to 27 °C are met on day 3 at a time, by readings ("day clock", value)."""
    history = History()
    for when, value in read:
        day, _, clock = when.partition(" ")
        history.read(int(day), clock, temperature=value)
    return judged(history, 3, STEADY, at).met


@pytest.mark.parametrize(
    ("first", "second", "met"),
    [
        ("2 11:58", "2 12:01", None),  # three minutes apart, a day ago
        ("2 11:00", "2 16:59", None),  # the first before the 24 h, a minute too near
        ("2 11:00", "2 17:00", True),
        ("2 13:00", "2 18:59", None),  # both within them
        ("2 13:00", "2 19:00", True),
        ("2 01:00", "3 11:00", True),  # 34 h apart
        ("1 23:00", "3 11:01", None),  # over 36 h
    ],
)
def test_A10_a_day_in_range_takes_two_readings_six_hours_apart(first: str, second: str, met: bool | None) -> None:
    """Wherever the first of them lies: two that were read one after the other prove no time at all."""
    assert steady((first, "25"), (second, "25")) is met


def test_A10_readings_in_between_break_no_time_in_range_and_a_bad_one_does() -> None:
    """Good at 04:00, 11:30 and 12:30 of day 2: the first and the last lie over six hours apart. With a bad one among
    them the day is not in range, though that was before the 24 h."""
    assert steady(("2 04:00", "25"), ("2 11:30", "25"), ("2 12:30", "25")) is True
    assert steady(("2 04:00", "25"), ("2 11:30", "22"), ("2 12:30", "25")) is False
    assert steady(("2 04:00", "22"), ("2 11:30", "25"), ("2 12:30", "25")) is False


@pytest.mark.parametrize("what", ["power", "heater", "leak"])
def test_A10_a_heater_that_failed_is_a_disturbance_too(what: str) -> None:
    """What a template asks of a disturbance it asks of a power cut and of a heater's failure as well."""
    history = History()
    disturbed = Condition("event", "disturbance", "disturbed")
    assert judged(history, 2, disturbed).met is False
    history.fact("incident", history.at(2), {"what": what, "tanks": ["T"], "tank_ids": ["T"]}, batch=None)
    assert judged(history, 2, disturbed).met is True


def test_A4_a_day_with_a_sign_can_add_nothing_more() -> None:
    """Clear on days 1 to 3, a sign of severity C on day 4: two more days are days 5 and 6, not 4 and 5."""
    history = History()
    history.looks(1, 3)
    history.look(4, signs=("colour",), severity={"colour": "C"})
    assert judged(history, 4, Condition("clear_days", 5, "clear")).earliest == history.day(6)


def test_A4_day_zero_can_add_nothing() -> None:
    """On the day they came two clear days are the next two, whether they were looked at today or not."""
    history = History()
    assert judged(history, 0, Condition("clear_days", 2, "clear"), "11:00").earliest == history.day(2)
    history.look(0, "12:00")
    assert judged(history, 0, Condition("clear_days", 2, "clear")).earliest == history.day(2)


# --- Batches that became one ------------------------------------------------------------------------------------


def merged(history: History, n: int, **more: Any) -> Fact:
    """Ten fish of another batch are counted with this one from day n on, with what its clocks say."""
    data: dict[str, Any] = {
        "from": "Q1-2", "from_batch": "C", "count": 10, "arrived_on": history.day(0).isoformat(),
        "entered_at": history.arrival.at.isoformat(), "happenings": [], "periods": {},
        "clear": {"zero": history.day(0).isoformat(), "because": "the last fish came in", "counted": []},
        "last_death": None, "extended": 0, "ate": 99, "feeding": 99,
        "all_seen_on": history.day(n).isoformat(), "exposures": [],
    }  # fmt: skip
    return history.fact("merged", history.at(n, "12:00"), {**data, **more})


def days(history: History, *numbers: int) -> list[str]:
    return [history.day(n).isoformat() for n in numbers]


def theirs(history: History, zero: int, *counted: int) -> dict[str, Any]:
    return {"zero": history.day(zero).isoformat(), "because": "their sign", "counted": days(history, *counted)}


def test_B3_the_clear_days_of_two_batches_are_those_of_both() -> None:
    """Clear here on days 1 to 6, there on days 2 and 4 since day 1; one batch from day 4 on: 2, 4, 5 and 6 count."""
    history = History()
    history.looks(1, 3)
    merged(history, 4, clear=theirs(history, 1, 2, 4))
    history.looks(4, 6, clock="13:00")
    found = clear(history, 6)
    assert (found.days, found.counted) == (4, tuple(history.day(n) for n in (2, 4, 5, 6)))
    assert (found.zero, found.because) == (history.day(1), "their sign")


def test_B3_the_day_on_which_they_became_one_counts_where_it_was_clear_for_both() -> None:
    """Clear here on day 4 and not there: it is none of the whole; the days after it are looked at together."""
    history = History()
    history.looks(1, 4)
    merged(history, 4, clear=theirs(history, 1, 2, 3))
    history.looks(5, 6)
    assert clear(history, 6).counted == tuple(history.day(n) for n in (2, 3, 5, 6))


def test_B3_the_later_zero_of_both_stands() -> None:
    """Theirs on day 0, here a sign on day 2: day 2, and its reason."""
    history = History()
    history.look(1)
    history.look(2, signs=("white spots",))
    history.look(3)
    merged(history, 4, clear=theirs(history, 0, 1, 2, 3))
    assert clear(history, 4).zero == history.day(2)
    assert clear(history, 4).because == "sign seen: white spots (B)"
    assert clear(history, 4).days == 1


@pytest.mark.parametrize(("own", "other", "whole"), [(2, 3, 3), (3, 2, 3), (0, 2, 2)])
def test_B3_of_days_that_people_added_the_more_stand_and_later_ones_are_added(own: int, other: int, whole: int) -> None:
    """Two and three are three, not five; one more after they became one is one more."""
    history = History()
    history.fact("extended", history.at(2), {"days": own})
    merged(history, 4, extended=other)
    assert history.evidence(history.at(5)).extended_days == whole
    history.fact("extended", history.at(6), {"days": 1})
    assert history.evidence(history.at(7)).extended_days == whole + 1


def test_B3_every_fish_was_seen_when_the_last_of_both_were() -> None:
    """All here on day 3, all there on day 2: day 2, until on day 5 all fifty are seen."""
    history = History(fish=40)
    history.looks(1, 3)
    merged(history, 4, all_seen_on=history.day(2).isoformat())
    assert history.evidence(history.at(4, "21:00")).all_seen_on == history.day(2)
    history.look(5, seen=50)
    assert history.evidence(history.at(5, "21:00")).all_seen_on == history.day(5)


@pytest.mark.parametrize(("other", "whole"), [(1, 3), (5, 5)])
def test_B3_fish_ate_on_as_many_days_as_the_batch_that_ate_on_fewer(other: int, whole: int) -> None:
    """Three days here before they became one, one or five there, and two days together since."""
    history = History()
    history.looks(1, 3)
    merged(history, 4, ate=other, feeding=other)
    history.looks(5, 6)
    evidence = history.evidence(history.at(6, "21:00"))
    assert (ev.eaten_days(evidence), ev.fed_days(evidence)) == (whole, whole)


@pytest.mark.parametrize(("last", "start"), [(3, 3), (1, 2), (None, 2)])
def test_B3_days_since_a_death_count_from_the_last_one_of_both(last: int | None, start: int) -> None:
    """Here one died on day 2; there on day 3, on day 1, or none."""
    history = History()
    history.died(2)
    merged(history, 4, last_death=None if last is None else history.at(last).isoformat())
    verdict = ev.judge(Condition("days_since_death", 7, "t"), history.evidence(history.at(5)))
    assert verdict.says.startswith(f"last death {history.day(start)}; ")


def test_B3_without_a_death_the_days_count_from_the_later_arrival() -> None:
    """They came on day 1."""
    history = History()
    merged(history, 4, arrived_on=history.day(1).isoformat())
    verdict = ev.judge(Condition("days_since_death", 7, "t"), history.evidence(history.at(5)))
    assert verdict.earliest == date(2026, 2, 10 + 1 + 7)
