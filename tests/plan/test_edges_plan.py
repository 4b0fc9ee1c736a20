"""The plan at its edges: where one day, one instant or the order of two facts decides (A1 to A13, B1 to B9, C14; found
by mutants)."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

import pytest
from history import History, dose_step, small
from test_by_temperature import give, table, warm
from test_luggage import WARM, Moves
from test_two_batches import Two, given

from quarantine.evidence import PeriodStanding
from quarantine.facts import BEFORE, Fact, PlannedTask
from quarantine.luggage import COPIED, MOVED_IN
from quarantine.plan import STORED_FIELDS, Course, packed, reconcile
from quarantine.protocol import Protocol

ONE_DOSE = dose_step('{ every = "4 d", times = 1 }')
COURSE = dose_step('{ every = "4 d", times = 3, from = "given" }')
IN_RANGE = 'in-range"\nreading = "temperature"\nmin = "22 °C"\nmax = "26 °C'


def with_events(protocol: Protocol, **events: str) -> Protocol:
    return protocol._replace(events={**protocol.events, **events})


def period(history: History, as_of: datetime) -> PeriodStanding:
    return history.plan(as_of).standings["B"].periods[0]


def chore(id_: str, start: str, more: str = "", kind: str = "chore") -> str:
    return f"""
[[step]]
id = "{id_}"
kind = "{kind}"
title = "{id_}"
start = {start}
references = ["choice"]
{more}
"""


def open_days(history: History, step: str, as_of: datetime) -> list[date | None]:
    """The days of the runs without an outcome."""
    return [t.day for t in history.runs(step, as_of) if t.outcome is None]


# --- Periods ----------------------------------------------------------------------------------------------------


def test_A5_what_came_before_a_restart_on_the_first_day_does_not_extend_it() -> None:
    """On the day they came a drill at 11:00, gasping at 15:00: ten days from that day. A drill at 16:00: eleven."""
    for clock, days in (("11:00", 10), ("16:00", 11)):
        history = History(with_events(small(""), disturbance="extend", sign_a="restart"))
        history.fact("disturbance", history.at(0, clock), {"what": "a drill"}, batch=None)
        history.look(0, "15:00", signs=("gasping",))
        assert period(history, history.at(0, "18:00")).complete_on == history.day(days)


@pytest.mark.parametrize("counts", ["calendar", "drug-free", IN_RANGE])
def test_A5_a_pause_on_day_zero_takes_nothing(counts: str) -> None:
    """Day zero is not counted, so it is no day that was lost."""
    history = History(with_events(small(ONE_DOSE, period=counts), disturbance="pause"))
    for n in range(3):
        history.read(n, "10:00", temperature="24")
    before = period(history, history.at(2)).complete_on
    history.fact("disturbance", history.at(0, "12:00"), {"what": "a drill"}, batch=None)
    after = period(history, history.at(2))
    assert (after.complete_on, after.paused) == (before, ())


@pytest.mark.parametrize(("theirs", "zero"), [(1, 3), (5, 5)])
def test_B3_of_two_batches_that_became_one_the_later_zero_rules(theirs: int, zero: int) -> None:
    """A sign on day 3 here; their period had its day zero on day 1, or on day 5."""
    history = History(with_events(small(""), sign_a="restart"))
    history.look(3, signs=("gasping",))
    data: dict[str, Any] = {
        "from": "Q1-2", "from_batch": "C", "count": 10, "arrived_on": history.day(0).isoformat(),
        "entered_at": history.arrival.at.isoformat(), "happenings": [],
        "periods": {"observation": history.day(theirs).isoformat()},
        "clear": {"zero": history.day(0).isoformat(), "because": "the last fish came in", "counted": []},
        "last_death": None, "extended": 0, "ate": 0, "feeding": 0, "all_seen_on": None, "exposures": [],
    }  # fmt: skip
    history.fact("merged", history.at(6), data)
    found = period(history, history.at(7))
    assert (found.zero, found.complete_on) == (history.day(zero), history.day(zero + 10))


def test_A9_a_drug_that_is_in_the_water_today_lets_tomorrow_count_at_the_earliest() -> None:
    """Bathed on day zero and on day 3, and still in the water: from tomorrow on ten days, or what is left of them."""
    for n, whole in ((0, 10), (3, 11)):
        history = History(small(ONE_DOSE, period="drug-free"))
        history.dose(history.at(n, "12:00"))
        assert period(history, history.at(n, "13:00")).complete_on == history.day(whole)
        assert period(history, history.at(n + 2, "13:00")).complete_on == history.day(whole + 2)


def test_A10_a_period_that_is_not_proven_is_never_complete_in_the_past() -> None:
    """Read daily at 12:00 until day 9; at 23:00 of day 10 nobody has read again, and it may end today; on day 11 it
    does not end on day 10."""
    history = History(small("", period=IN_RANGE), arrived="2026-02-10 12:00")
    for n in range(10):
        history.read(n, "12:00", temperature="24")
    assert period(history, history.at(10, "23:00")).complete_on == history.day(10)
    late = period(history, history.at(11, "00:00"))
    assert (late.is_proven, late.complete_on) == (False, history.day(11))


@pytest.mark.parametrize(("clock", "carried"), [("00:00", True), ("00:01", False)])
def test_A10_over_36_hours_between_a_move_and_the_first_reading_are_not_read(clock: str, carried: bool) -> None:
    """Two days are proven; moved on day 2 at 12:00, and first read 36 h later, or a minute after that: where the
    template begins again by time that nobody read, the two days are lost by that minute."""
    made = small(WARM)
    moves = Moves(with_events(made, no_reading="restart", moved="note"))
    for n in range(3):
        moves.read(n, "23", "11:00")
    moves.move(2, "12:00")
    moves.read(4, "23", clock)
    moves.read(4, "23", "12:00")
    warm_ = next(p for p in moves.plan(4, "12:00").standings["B"].periods if p.id == "warm").in_range
    assert warm_ is not None
    assert (warm_.counted >= timedelta(days=2)) is carried


def test_A10_heating_that_stops_says_nothing_of_copper() -> None:
    """Ten days of free copper, the heater off for a night: all of the time counts."""
    history = History(small("", period='in-range"\nreading = "copper"\nmin = "0.18 mg/L"\nmax = "0.20 mg/L'))
    for n in range(5):
        data = {"parameter": "copper", "value": "0.19", "step": "0.01", "water": "marine", "form": "free"}
        history.fact("reading", history.at(n, "10:00"), data, batch=None)
    incident = {"what": "heater", "tanks": ["T"], "tank_ids": ["T"], "until": history.at(2, "08:00").isoformat()}
    history.fact("incident", history.at(1, "20:00"), incident, batch=None)
    counted = period(history, history.at(4, "10:00")).in_range
    assert counted is not None
    assert counted.counted == timedelta(days=4)


# --- What lies ahead --------------------------------------------------------------------------------------------


def test_C14_a_course_that_waits_for_a_temperature_is_not_promised_sooner_than_its_slowest_row() -> None:
    """Two of three doses are still to come, at 10 d each in the coldest water: not before day 23."""
    history = History(table())
    warm(history, 0, 3, "25")
    give(history, 3)
    at = history.at(6, "12:00")
    assert history.runs("dose", at)[1].day is None  # nobody has read for over 36 h
    ahead = dict(history.plan(at).standings["B"].days)
    assert max(ahead.values()) >= history.day(23)


def test_A8_on_the_day_on_which_all_may_end_there_is_work_for_tomorrow() -> None:
    """Whoever does not sign off on that day looks at the fish on: a week is planned. On the day before none is yet."""
    history = History(small(chore("look", '{ arrival = "0 d" }', 'repeat = { every = "1 d", until = "observation" }')))
    for n in range(11):
        history.perfect_day(n)
    assert max(t.day for t in history.runs("look", history.at(9, "22:00")) if t.day) == history.day(10)
    assert max(t.day for t in history.runs("look", history.at(10, "22:00")) if t.day) == history.day(17)


@pytest.mark.parametrize("after_window", ["shift", "keep"])
def test_A11_what_follows_a_dose_waits_for_it_while_it_is_not_given(after_window: str) -> None:
    """Due on day 3, and on day 6 neither given nor answered for: what comes a day after it is due on day 7."""
    step = dose_step('{ every = "4 d", times = 1 }', after_window)
    history = History(small(step + chore("then", '{ after = "dose", by = "1 d" }')))
    assert open_days(history, "then", history.at(6, "10:00")) == [history.day(7)]


# --- Anchors ----------------------------------------------------------------------------------------------------


def test_B9_a_course_hangs_on_the_look_that_saw_the_sign_first() -> None:
    """Seen on day 4 and again on day 5, before any dose was given: the same key, the same day."""
    history = History(small(dose_step('{ every = "4 d", times = 1 }', start='{ sign = "white spots", by = "2 d" }')))
    history.look(4, signs=("white spots",))
    (first,) = history.runs("dose", history.at(4, "10:00"))
    history.look(5, signs=("white spots",))
    (again,) = history.runs("dose", history.at(5, "10:00"))
    assert (again.key, again.day) == (first.key, first.day) == (first.key, history.day(6))


def test_B9_a_reading_before_the_fish_came_begins_nothing() -> None:
    """Nitrite on the day before they came; the same figure once they are there."""
    history = History(
        small(dose_step('{ every = "4 d", times = 1 }', start='{ reading = "nitrite", min = "0.5 mg/L" }'))
    )
    history.read(-1, nitrite="0.6")
    assert open_days(history, "dose", history.at(1)) == [None]
    history.read(1, nitrite="0.5")
    assert open_days(history, "dose", history.at(1, "10:00")) == [history.day(1)]


def test_B9_a_word_said_to_an_older_text_begins_nothing_of_the_new_one() -> None:
    """Said on day 2; on day 4 the step was amended and begins anew: it waits for the word to be said again."""
    history = History(small(chore("dim", '{ word = "they are shy" }')))
    history.fact("word", history.at(2), {"word": "they are shy"})
    assert open_days(history, "dim", history.at(3)) == [history.day(2)]
    steps = {"dim": {"from": history.day(4).isoformat(), "fresh": True}}
    history.fact("amended", history.at(4), {"steps": steps})
    assert open_days(history, "dim", history.at(5)) == [None]
    history.fact("word", history.at(5), {"word": "They are shy"})
    assert open_days(history, "dim", history.at(5, "10:00")) == [history.day(5)]


# --- Series -----------------------------------------------------------------------------------------------------

STOPPED = (
    'repeat = { every = "1 d", times = 20 }\nafter_window = "keep"\nwindow = { from = "08:00", until = "20:00" }\n'
)


def test_F8_of_two_reasons_to_stop_the_first_one_ended_the_series() -> None:
    """Said on day 4, and met by a reading on day 6 as well: what was missed on day 5 is not asked about."""
    warm_enough = '{ reading = "temperature", min = "28 °C", within = "24 h", reference = "choice" }'
    stop = f'stop = [{{ word = "enough" }}, {warm_enough}]'
    history = History(small(chore("ramp", '{ arrival = "1 d" }', STOPPED + stop)))
    history.fact("word", history.at(4, "07:00"), {"word": "enough"})
    history.read(6, temperature="28")
    made = history.plan(history.at(7))
    assert "2026-02-14" in made.stops["B", "ramp"]
    assert [t.day for t in made.tasks if t.step == "ramp"] == [history.day(n) for n in (1, 2, 3)]


@pytest.mark.parametrize(("clock", "kept"), [("19:59", False), ("20:00", True)])
def test_F8_what_was_missed_before_the_end_of_a_series_keeps_its_question(clock: str, kept: bool) -> None:
    """Due until 20:00 on day 1: missed from 20:00 on. The series ended a minute before that, or as it was missed."""
    history = History(small(chore("ramp", '{ arrival = "1 d" }', STOPPED + 'stop = [{ word = "enough" }]')))
    history.fact("word", history.at(1, clock), {"word": "enough"})
    assert [t.state for t in history.runs("ramp", history.at(2))] == (["missed"] if kept else [])


def lapsed(history: History, key: str, n: int) -> Fact:
    return history.fact("lapse", history.at(n, "20:00"), {"key": key, "task_kind": "dose"})


@pytest.mark.parametrize(("after_window", "days"), [("keep", [7, 11]), ("reopen", [4, 8, 12])])
def test_A11_only_a_series_that_is_reopened_begins_again(after_window: str, days: list[int]) -> None:
    """Missed on day 3. Kept, the second and third stand on days 7 and 11; reopened, three doses begin on day 4."""
    history = History(small(dose_step('{ every = "4 d", times = 3 }', after_window)))
    lapsed(history, history.runs("dose", history.at(3))[0].key, 3)
    planned = [t.day for t in history.runs("dose", history.at(3, "21:00")) if t.state == "planned"]
    assert planned == [history.day(n) for n in days]


def test_A11_a_dose_given_in_time_and_entered_after_its_lapse_begins_nothing_again() -> None:
    """Given on day 3 at 10:00, entered on day 4 when the lapse was on record already: the course goes on."""
    history = History(small(dose_step('{ every = "4 d", times = 3, from = "given" }', "reopen")))
    key = history.runs("dose", history.at(3))[0].key
    lapsed(history, key, 3)
    history.dose(history.at(3, "10:00"), key, entered=history.at(4))
    runs = history.runs("dose", history.at(4, "12:00"))
    assert [(t.day, t.state) for t in runs] == [
        (history.day(3), "done"), (history.day(7), "planned"), (history.day(11), "planned"),
    ]  # fmt: skip


def test_F4_what_was_done_before_an_amendment_stays_on_its_day() -> None:
    """Given on day 3, amended from day 6 on: the first dose is of day 3, the open one lies not before day 6."""
    history = History(small(dose_step('{ every = "1 d", times = 2 }')))
    first, second = history.runs("dose", history.at(3))
    history.dose(history.at(3, "10:00"), first.key)
    steps = {"dose": {"from": history.day(6).isoformat(), "fresh": False}}
    history.fact("amended", history.at(4), {"steps": steps})
    runs = history.runs("dose", history.at(4, "12:00"))
    assert [(t.key, t.day, t.state) for t in runs] == [
        (first.key, history.day(3), "done"), (second.key, history.day(6), "planned"),
    ]  # fmt: skip


def test_A11_a_dose_given_on_the_evening_of_its_sign_is_of_that_day() -> None:
    """Seen at 21:00, after the window of day 4: due on day 5. Given that evening all the same, it is day 4's."""
    step = dose_step('{ every = "4 d", times = 2 }', start='{ sign = "white spots" }')
    history = History(small(step))
    history.look(4, "21:00", signs=("white spots",))
    first, second = history.runs("dose", history.at(4, "21:30"))
    assert (first.day, second.day) == (history.day(5), history.day(9))
    history.dose(history.at(4, "22:00"), first.key)
    done, then = history.runs("dose", history.at(4, "22:30"))
    assert (done.day, done.state, then.day) == (history.day(4), "done", history.day(8))


@pytest.mark.parametrize(("eaten", "left"), [(None, 2), ("part", 2), ("none", 3)])
def test_F26_a_portion_that_nothing_ate_is_no_dose_of_the_course(eaten: str | None, left: int) -> None:
    """Of three, one was given: two are left, and three where it was not eaten."""
    history = History(small(dose_step('{ every = "1 d", times = 3, from = "given" }')))
    dose = history.dose(history.at(3, "10:00"), history.runs("dose", history.at(3))[0].key, route="food")
    if eaten:
        dose.data["eaten"] = eaten
    assert len(open_days(history, "dose", history.at(3, "12:00"))) == left


def test_A11_a_move_that_is_skipped_begins_its_series_again() -> None:
    """Without it the fish stay too long: three moves are due anew, not two."""
    more = 'who = "keeper"\nwindow = { from = "08:00", until = "20:00" }\nafter_window = "reopen"\n'
    repeat = 'repeat = { every = "3 d", times = 3, from = "given" }\n'
    history = History(small(chore("move", '{ arrival = "3 d" }', more + repeat, kind="move")))
    skip = {"key": history.runs("move", history.at(3))[0].key, "task_kind": "move", "because": "a test"}
    history.fact("skip", history.at(3, "10:00"), skip)
    assert len(open_days(history, "move", history.at(3, "12:00"))) == 3


def test_A11_a_dose_given_at_the_last_moment_of_its_window_moves_nothing() -> None:
    """Until 20:00: given at 20:00 the next keeps its planned day; a minute later it counts from what was given."""
    for clock, following in (("20:00", 7), ("20:01", 7)):
        history = History(small(dose_step('{ every = "96 h", times = 2 }')))
        history.dose(history.at(3, clock), history.runs("dose", history.at(3))[0].key)
        (then,) = [t for t in history.runs("dose", history.at(3, "21:00")) if t.outcome is None]
        assert then.day == history.day(following)
        assert then.due_from is not None
        assert (then.due_from == history.at(7, clock)) is (clock == "20:01")


def test_A11_what_began_again_stays_when_the_missed_run_is_moved() -> None:
    """Missed on day 3, begun again and given on day 4; an amendment moves what is open to day 6: the dose of day 4 is
    on record as before, and is offered to nobody again."""
    history = History(small(dose_step('{ every = "4 d", times = 2, from = "given" }', "reopen")))
    lapsed(history, history.runs("dose", history.at(3))[0].key, 3)
    again = next(t for t in history.runs("dose", history.at(4)) if t.day == history.day(4))
    history.dose(history.at(4, "10:00"), again.key)
    steps = {"dose": {"from": history.day(6).isoformat(), "fresh": False}}
    history.fact("amended", history.at(5), {"steps": steps})
    runs = {t.key: (t.day, t.state) for t in history.runs("dose", history.at(5, "12:00"))}
    assert runs[again.key] == (history.day(4), "done")


def test_A11_what_is_due_hours_after_another_is_missed_as_the_next_would_be_and_its_grace_is_over() -> None:
    """Every 48 h, five hours late at most: 53 h after it was due it is missed."""
    window = 'window = { from = "08:00", until = "20:00", late = "5 h" }'
    history = History(small(dose_step('{ every = "48 h", times = 2, from = "given" }', "keep", window=window)))
    history.dose(history.at(3, "10:00"), history.runs("dose", history.at(3))[0].key)
    second = history.runs("dose", history.at(4))[1]
    assert (second.due_from, second.lapses_at) == (history.at(5, "10:00"), history.at(7, "15:00"))


def test_C14_one_temperature_outside_the_table_is_enough_to_ask() -> None:
    """25 °C is in it, 29 °C is not: the next dose waits, and it is said why."""
    history = History(table())
    warm(history, 0, 3, "25")
    give(history, 3)
    history.read(4, temperature="29")
    waiting = history.runs("dose", history.at(4, "12:00"))[1]
    assert waiting.day is None
    assert "29 °C is outside its table" in str(waiting.needs)


@pytest.mark.parametrize(("times", "doses"), [(2, 3), (3, 4), (4, 4)])
def test_C14_one_more_dose_follows_as_far_as_the_row_goes(times: int, doses: int) -> None:
    """The row has four doses (Q01). At 19 to 25 °C hatch and maturity do not meet: of two or three it is one more, of
    four it is not."""
    history = History(table(times=times, regimen="Q01"))
    warm(history, 0, 3, "19")
    history.read(3, "09:30", temperature="25")
    give(history, 3)
    assert len(history.runs("dose", history.at(3, "12:00"))) == doses


@pytest.mark.parametrize(("clock", "day"), [("19:59", 7), ("20:01", 8)])
def test_C14_a_reading_after_the_window_brings_a_dose_forward_to_the_next_day(clock: str, day: int) -> None:
    """At 19 °C every 10 d; 25 °C on day 7 asks for 4 d, which is day 7 until 20:00, and day 8 after that."""
    history = History(table())
    warm(history, 0, 7, "19")
    give(history, 3)
    history.read(7, clock, temperature="25")
    assert history.runs("dose", history.at(7, "21:00"))[1].day == history.day(day)


HOURS = """[
  { at_least = "16 °C", below = "24 °C", every = "240 h", before = "300 h" },
  { at_least = "24 °C", below = "28 °C", every = "96 h", before = "144 h" },
]"""


def test_C14_by_hours_a_dose_that_a_reading_brings_forward_is_due_when_it_was_read() -> None:
    """At 19 °C every 240 h; 25 °C read on day 9 at 15:00 asks for 96 h, which were over on day 7: it is due at once."""
    history = History(table(rows=HOURS))
    warm(history, 0, 9, "19")
    give(history, 3)
    history.read(9, "15:00", temperature="25")
    second = history.runs("dose", history.at(9, "16:00"))[1]
    assert (second.day, second.due_from) == (history.day(9), history.at(9, "15:00"))


def test_a_task_that_was_skipped_stays_skipped_in_the_record() -> None:
    """What a person answered for is not made open by a later plan."""
    history = History(small(ONE_DOSE))
    (task,) = history.runs("dose", history.at(3))
    row = {"id": "row", "key": task.key, **{name: getattr(task, name) for name in STORED_FIELDS}}
    for state in ("done", "skipped"):
        assert reconcile([{**row, "state": state}], [task]).changed == []
    assert reconcile([{**row, "state": "missed"}], [task]).changed == [("row", {"state": "planned"})]


# --- Looks and the day's work -------------------------------------------------------------------------------------


def test_A3_a_look_that_counted_nobody_does_not_settle_the_days_look() -> None:
    """A note alone, and then the count."""
    look = chore("look", '{ arrival = "0 d" }', 'repeat = { every = "1 d", until = "observation" }', kind="look")
    history = History(small(look))
    history.look(1, seen=None)
    assert history.runs("look", history.at(1, "10:00"))[1].state == "planned"
    history.look(1, "11:00")
    assert history.runs("look", history.at(1, "12:00"))[1].state == "done"


# --- One water, two batches ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("days", "one"), [(0, True), (3, True), (4, False)])
def test_B2_inside_the_minimum_gap_it_is_one_dose_and_at_the_gap_it_is_two(days: int, one: bool) -> None:
    """The row of these tests has four days between two doses: the second batch came so many days later, and its dose is
    the first one's of day 8 where it is due less than four days after it."""
    two = Two(days, dose_step('{ every = "4 d", times = 1 }', start='{ arrival = "8 d" }'))
    given(two, 8, "10:00")
    ((_, state),) = two.doses(8, "C")
    assert state == ("done" if one else "planned")


def test_B2_a_dose_by_another_row_is_not_the_same_dose() -> None:
    """Their substance by another regimen settles nothing."""
    two = Two()
    given(two, 3, "10:00")
    two.first.facts[-1].data["regimen"] = "Z02"
    assert two.doses(3, "C")[0] == ("2026-02-13", "planned")


WEEKLY = """
[[step]]
id = "weekly"
kind = "change"
title = "Change water"
fraction = "25 %"
FOR
start = { arrival = "3 d" }
repeat = { every = "7 d", times = 2 }
references = ["choice"]
"""


def test_B2_a_change_of_another_day_is_another_change() -> None:
    """Done for one batch on day 4, a day late: the other one's of day 3 is still due, and both of day 10."""
    two = Two(0, WEEKLY.replace("FOR", ""))
    task = next(t for t in two.plan(3).tasks if t.step == "weekly" and t.batch == "B")
    two.first.fact("done", two.first.at(4, "11:00"), {"key": task.key})
    states = [(str(t.day), t.state) for t in two.plan(4).tasks if t.step == "weekly" and t.batch == "C"]
    assert sorted(states) == [("2026-02-13", "planned"), ("2026-02-20", "planned")]


def test_B2_a_chore_of_a_batch_is_done_for_that_batch_alone() -> None:
    """What is done to the fish of one is not done to those of the other."""
    for for_, state in (("batch", "planned"), ("tank", "done")):
        two = Two(0, chore("salt", '{ arrival = "3 d" }', f'for = "{for_}"'))
        task = next(t for t in two.plan(3).tasks if t.step == "salt" and t.batch == "B")
        two.first.fact("done", two.first.at(3, "11:00"), {"key": task.key})
        assert {t.state for t in two.plan(3).tasks if t.step == "salt" and t.batch == "C"} == {state}


def bag(two: Two, day: int, *, parts: bool = False) -> dict[str, Any]:
    """What the second batch takes along."""
    courses = [two.first.course(), Course("C", "T", "S", two.first.zone, two.first.protocol, two.later.arrival)]
    facts = [*two.first.facts, *(f for f in two.later.facts if f.batch == "C")]
    return packed(courses, facts, "C", two.first.at(day, "12:00"), two.first.water, parts=parts)


def test_B8_the_doses_of_others_that_the_fish_were_in_are_taken_along_and_no_earlier_ones() -> None:
    """The first batch was dosed on day 3. Who came on day 2 was in it; who came on day 5 was not."""
    for came, taken in ((2, 1), (5, 0)):
        two = Two(came)
        given(two, 3, "10:00")
        assert len(bag(two, 6)["doses"]) == taken


def test_B8_a_dose_that_a_batch_has_a_copy_of_is_not_taken_along_twice() -> None:
    """A part of the batch that was dosed: its own copy goes with it, the original is no other dose."""
    two = Two()
    given(two, 3, "10:00")
    assert len(bag(two, 6)["doses"]) == 1
    original = next(f for f in two.first.facts if f.kind == "dose")
    copy = original._replace(id="copy", kind=BEFORE, batch="C", data={**original.data, COPIED: original.id})
    two.later.facts.append(copy)
    assert bag(two, 6)["doses"] == []


class Parts(Moves):
    """Moves of a batch while others stay behind in the water that it leaves."""

    def move(self, day: int, clock: str = "10:00", joined: tuple[str, ...] = ()) -> None:
        at = self.history.at(day, clock)
        bag = packed([self.course()], self.facts, "B", at, self.history.water, parts=True)
        number = int(self.system[1:] or 1) + 1
        data = {"from": self.tank, "from_systems": [], "joined": list(joined), "emptied": False, **bag}
        self.system, self.tank = f"S{number}", f"T{number}"
        move = Fact(f"m{number}", MOVED_IN, at, at, "keeper", self.system, self.tank, "B", None, data)
        self.facts = [*(f for f in self.facts if f.batch == "B"), move]


def test_B4_keys_that_hang_on_a_fact_of_the_old_water_move_once_and_never_again() -> None:
    """Other fish came in on day 1, and a chore hangs on that. Moved on day 2 while they stay: a key of its own, which
    every later move leaves alone."""
    moves = Parts(small(chore("salt", '{ entered = "9 d" }')))
    came = moves.history.at(1)
    moves.facts.append(Fact("x", "arrival", came, came, "keeper", "S", "T", "X", None, {"count": 3}))
    keys = []
    for n in (2, 3, 4):
        keys.append([t.key for t in moves.plan(n, "08:00").tasks if t.step == "salt"])
        moves.move(n)
    before, first, second = keys
    assert before != first
    assert first == second
    assert first[0].split(":")[2] == "x-B"


def test_A9_contact_ends_at_the_move_at_the_latest() -> None:
    """Still in the water as they leave: until then. Gone before: until it was gone."""
    two = Two()
    given(two, 3, "10:00")
    assert [one["until"] for one in bag(two, 6)["exposures"]] == [two.first.at(6, "12:00")]
    two.first.change(5, "10:00", 200.0)
    assert [one["until"] for one in bag(two, 6)["exposures"]] == [two.first.at(5, "10:00")]


def test_B3_what_goes_on_in_the_old_water_ends_for_those_that_leave() -> None:
    """A power cut that was said to last until day 8; moved on day 6 at 12:00."""
    two = Two()
    cut = {"what": "power", "tanks": ["T"], "tank_ids": ["T"], "until": two.first.at(8).isoformat()}
    two.first.fact("incident", two.first.at(5), cut, batch=None)
    ends = [until for _, event, _, until in bag(two, 6)["happenings"] if event == "power"]
    assert ends == [two.first.at(6, "12:00")]


def tasks_of(made: Any, step: str) -> list[PlannedTask]:
    return [t for t in made.tasks if t.step == step]


def test_B2_work_that_two_batches_share_is_the_first_ones() -> None:
    """A sign of the water's own key: one task, and it is the one of the batch that came first."""
    two = Two(1, chore("salt", '{ reading = "temperature", min = "20 °C" }', 'for = "system"'))
    two.first.read(2, temperature="24")
    assert [t.batch for t in tasks_of(two.plan(2), "salt")] == ["B"]
