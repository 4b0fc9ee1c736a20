"""The event of days on which nobody is there: its four consequences, ahead and past, and looks on such days."""

from __future__ import annotations

import random
from datetime import UTC, date, datetime, timedelta

import pytest
from history import WATER, History, dose_step, small
from hypothesis import given
from hypothesis import strategies as st

from quarantine import evidence as ev
from quarantine import inrange
from quarantine.clocks import clocks
from quarantine.evidence import PeriodStanding
from quarantine.plan import Plan, plan
from quarantine.roster import Away, Person, Roster, Shut, unattended

ZONES = ("Europe/Berlin", "America/New_York", "Australia/Sydney")
"""Their clocks change on 2026-03-29, 2026-03-08 and 2026-04-05; a span is laid over each."""
SPRING = {"Europe/Berlin": "2026-03-25", "America/New_York": "2026-03-04", "Australia/Sydney": "2026-04-01"}


class Alone(History):
    """A history with days (counted from arrival) on which nobody is there. The period has ten days."""

    absent: tuple[int, ...] = ()

    def course(self, closed_at=None):  # type: ignore[no-untyped-def]
        days = tuple((self.day(n), "nobody there: a test") for n in self.absent)
        return super().course(closed_at)._replace(away=days)


def room(says: str, *absent: int, counts: str = "calendar", zone: str = "UTC", arrived: str = "2026-02-10") -> Alone:
    history = Alone(
        small("", events={}, period="" if counts == "calendar" else counts), zone=zone, arrived=f"{arrived} 10:00"
    )
    events = {**history.protocol.events, "keeper_absent": says, "not_looked": "note"}
    history.protocol = history.protocol._replace(events=events)
    history.absent = absent
    return history


def period(history: Alone, n: int, clock: str = "12:00") -> PeriodStanding:
    return history.plan(history.at(n, clock)).standings["B"].periods[0]


def ends(history: Alone, n: int, clock: str = "12:00") -> int:
    """The day on which the period is complete, counted from arrival."""
    return (period(history, n, clock).complete_on - history.day(0)).days


@pytest.mark.parametrize("zone", ZONES)
@pytest.mark.parametrize(
    ("says", "zero", "complete"), [("note", 0, 10), ("pause", 0, 13), ("extend", 0, 13), ("restart", 5, 15)]
)
@pytest.mark.parametrize("n", [1, 4, 8])
def test_three_days_do_what_the_template_says_before_during_and_after_them(
    n: int, says: str, zero: int, complete: int, zone: str
) -> None:
    """Days 3 to 5, a clock change among them: note nothing, pause and extend three days, restart from the last one; and
    the days are the same whether they lie ahead, go on or are over, for what is known ahead counts at once."""
    history = room(says, 3, 4, 5, zone=zone, arrived=SPRING[zone])
    if n == 8:
        history.looks(1, 2)
    assert (period(history, n).zero - history.day(0)).days == zero
    assert ends(history, n) == complete


@pytest.mark.parametrize(("says", "complete"), [("pause", 12), ("extend", 12), ("restart", 15)])
def test_a_day_on_which_somebody_looked_all_the_same_is_none(says: str, complete: int) -> None:
    """What harms is silence: of days 3 to 5 day 4 is taken out by a look that counts."""
    history = room(says, 3, 4, 5)
    history.look(4)
    assert ends(history, 8) == complete
    assert [(one.at, one.until) for one in absences(history, 8)] == [
        (history.at(3, "12:00"), history.at(3, "12:00")),
        (history.at(5, "12:00"), history.at(5, "12:00")),
    ]


def test_a_look_on_the_last_day_gives_a_restart_an_earlier_day_zero() -> None:
    """Until somebody has looked the day counts as one of nobody there; then it is none."""
    history = room("restart", 3, 4, 5)
    assert ends(history, 5, "08:00") == 15
    history.look(5, "09:00")
    assert ends(history, 5, "10:00") == 14


def test_a_look_that_does_not_count_leaves_the_day_what_it_is() -> None:
    """Rule A3: of forty fish thirty were seen, which is no look."""
    history = room("pause", 3)
    history.look(3, seen=30)
    assert ends(history, 4) == 11


def absences(history: Alone, n: int) -> list[ev.Happening]:
    found = history.plan(history.at(n, "12:00")).standings["B"].evidence.happenings
    return [one for one in found if one.event == "keeper_absent"]


@pytest.mark.parametrize("says", ["pause", "extend", "restart"])
@pytest.mark.parametrize("n", [1, 12, 30])
def test_what_comes_after_the_end_does_nothing(says: str, n: int) -> None:
    """Ten days are over on day 10: days 11 to 13 move nothing, before they come and afterwards."""
    history = room(says, 11, 12, 13)
    assert ends(history, n) == 10
    assert period(history, n).zero == history.day(0)


@pytest.mark.parametrize(("says", "complete"), [("pause", 14), ("extend", 14), ("restart", 22)])
def test_days_that_others_reach_act_as_well(says: str, complete: int) -> None:
    """Days 9 and 10 put the end off so far that 11 and 12 come before it; 30 stays behind it."""
    history = room(says, 9, 10, 11, 12, 30)
    assert ends(history, 2) == complete


def test_the_day_of_arrival_is_none() -> None:
    """Somebody was there: the fish came."""
    history = room("pause", 0, 1)
    assert ends(history, 2) == 11
    assert [(one.at, one.until) for one in absences(history, 2)] == [(history.at(1, "12:00"), history.at(1, "12:00"))]


@pytest.mark.parametrize("says", ["pause", "extend"])
def test_days_up_to_a_new_day_zero_count_for_nothing(says: str) -> None:
    """A death on day 4, the second of days 3 to 5, begins the ten days again: of the three the 5th alone is left."""
    history = room(says, 3, 4, 5)
    history.died(4, "08:00")
    assert ends(history, 6) == 15


def test_a_day_that_two_events_make_longer_is_added_once() -> None:
    """Nobody was there on days 3 and 4, so nobody looked; on day 4 there was a power cut as well."""
    history = room("extend", 3, 4)
    events = {**history.protocol.events, "not_looked": "extend", "power": "extend"}
    history.protocol = history.protocol._replace(events=events)
    history.looks(1, 2)
    history.looks(5, 6)
    data = {"what": "power", "tanks": ["T"], "tank_ids": ["T"], "until": history.at(4, "09:00").isoformat()}
    history.fact("incident", history.at(4, "08:00"), data, batch=None)
    assert ends(history, 7) == 12


def test_of_a_batch_that_was_merged_what_was_over_acts_and_what_lay_ahead_does_not() -> None:
    """Merged on day 4 with one that nobody saw on days 2 and 3, and of which days 6 and 7 were known ahead then and
    taken back since; days 3 and 4 are this one's own."""
    history = room("extend", 3, 4)
    other = [
        [
            history.at(2, "12:00").isoformat(),
            "keeper_absent",
            "nobody there: a test",
            history.at(3, "12:00").isoformat(),
        ],
        [
            history.at(6, "12:00").isoformat(),
            "keeper_absent",
            "nobody there: a test",
            history.at(7, "12:00").isoformat(),
        ],
    ]
    history.fact(
        "merged",
        history.at(4),
        {
            "from": "Q2-1",
            "from_batch": "C",
            "count": 4,
            "arrived_on": history.day(0).isoformat(),
            "entered_at": history.at(0).isoformat(),
            "happenings": other,
            "periods": {},
            "clear": {"zero": history.day(0).isoformat(), "because": "a test", "counted": []},
            "last_death": None,
            "extended": 0,
            "ate": 0,
            "feeding": 0,
            "all_seen_on": None,
        },
    )
    assert ends(history, 5) == 13
    assert max(one.at for one in absences(history, 5)) == history.at(3, "12:00")


def test_a_death_and_an_absence_take_the_later_zero() -> None:
    """A restart of day 4 and one of days 2 and 3: the later one rules, whichever it is."""
    history = room("restart", 2, 3)
    history.died(4)
    assert ends(history, 6) == 14
    history.absent = (2, 3, 7)
    assert ends(history, 5) == 17


def test_the_count_of_clear_days_follows_rules_A4_and_A5_alone() -> None:
    """A period of clear days is moved by no absence, only by the silence that it is (rule A4)."""
    history = room("restart", 3, counts="clear")
    history.looks(1, 2)
    noted = room("note", 3, counts="clear")
    noted.looks(1, 2)
    for n in (2, 4):
        assert period(history, n)[:7] == period(noted, n)[:7]


@pytest.mark.parametrize("says", ["pause", "extend", "restart"])
def test_B8_no_dose_moves(says: str) -> None:
    """Observation moves, the course does not."""
    history = room(says, 4, 5)
    course = small(dose_step('{ every = "4 d", times = 3, from = "given" }'))
    history.protocol = course._replace(events={**course.events, "keeper_absent": says})
    with_it, moved = history.runs("dose", history.at(2)), ends(history, 2)
    history.absent = ()
    assert moved > ends(history, 2)
    assert [(t.key, t.day) for t in with_it] == [(t.key, t.day) for t in history.runs("dose", history.at(2))]


def test_an_event_ahead_has_not_happened() -> None:
    """A condition on the event is met once the day is there, not before."""
    condition = ev.Condition("event", "keeper_absent", "nobody was there")
    history = room("note", 3)
    assert ev.judge(condition, history.plan(history.at(2)).standings["B"].evidence).met is False
    assert ev.judge(condition, history.plan(history.at(4)).standings["B"].evidence).met is True


def test_a_series_that_ends_with_the_event_ends_on_its_day() -> None:
    """`stop = [{ event = "keeper_absent" }]`: what lies ahead stops nothing yet."""
    history = room("note", 5)
    step = dose_step('{ every = "1 d", times = 9, from = "planned" }').replace(
        "after_window", 'stop = [{ event = "keeper_absent", title = "nobody is there" }]\nafter_window'
    )
    history.protocol = small(step)
    assert history.plan(history.at(4)).stops == {}
    assert len(history.runs("dose", history.at(4))) == 9
    assert "nobody there: a test" in history.plan(history.at(6)).stops["B", "dose"]


# --- Days in range -------------------------------------------------------------------------------------------


def warm(says: str, *absent: int, read: int) -> Alone:
    """Ten days in range, read twice a day from the arrival's to day ``read``."""
    history = room(says, *absent)
    protocol = small("", events={})
    made = protocol.periods[0]._replace(counts="in-range", reading="temperature", low="20", high="30")
    history.protocol = history.protocol._replace(periods=(made,))
    history.read(0, "12:00", temperature="25")
    for n in range(1, read + 1):
        history.read(n, "00:00", temperature="25")
        history.read(n, "12:00", temperature="25")
    return history


@pytest.mark.parametrize(("says", "complete"), [("note", 10), ("pause", 13), ("extend", 13)])
@pytest.mark.parametrize("read", [1, 4, 6])
def test_days_in_range_are_put_off_by_days_ahead_as_by_past_ones(read: int, says: str, complete: int) -> None:
    """From day 0 noon ten days of time in range: days 3 to 5 do not count (pause), or three more are asked (extend);
    by the readings so far, and if all stays in range."""
    assert ends(warm(says, 3, 4, 5, read=read), read) == complete


def test_time_that_is_left_runs_up_to_a_day_that_does_not_count_and_on_behind_it() -> None:
    """One day from the 10th, noon: complete before a span that begins when it is over; one that is past does nothing;
    six hours on one side and eighteen on the other of one in between."""
    noon, day, hour = datetime(2026, 3, 10, 12, tzinfo=UTC), timedelta(days=1), timedelta(hours=1)

    def complete(*off: tuple[datetime, datetime]) -> datetime:
        return inrange.count((), 1, {}, noon, off=off).complete

    assert complete() == noon + day
    assert complete((noon + day, noon + 2 * day)) == noon + day
    assert complete((noon - 2 * day, noon - day)) == noon + day
    assert complete((noon - hour, noon + hour)) == noon + day + hour
    assert complete((noon + 6 * hour, noon + 10 * hour)) == noon + day + 4 * hour
    assert complete((noon + 6 * hour, noon + 7 * hour), (noon + day, noon + 2 * day)) == noon + 2 * day + hour


@pytest.mark.parametrize("read", [1, 4, 6])
def test_days_in_range_begin_again_on_the_last_day_of_an_absence(read: int) -> None:
    """What was proven before is gone: ten days from the noon of day 5, at the earliest."""
    history = warm("restart", 3, 4, 5, read=read)
    assert ends(history, read) == 15
    counted = period(history, read).in_range
    assert counted is not None
    assert counted.counted == timedelta(days=max(read - 5, 0))


# --- Which days they are -------------------------------------------------------------------------------------


ROBIN, NOOR, KIM = Person("r", "Robin", "keeper"), Person("n", "Noor", ""), Person("k", "Kim", "pupil")


def d(n: int) -> date:
    """A day of March 2026; the 7th and the 14th are Saturdays."""
    return date(2026, 3, n)


def days(roster: Roster, *looks: str) -> list[int]:
    return [day.day for day, _ in unattended(roster, looks or ("anyone",))]


def away(person: Person, first: int, last: int) -> Away:
    return Away(person.id, d(first), d(last), "")


def test_one_keeper_away_while_another_is_there_is_no_event() -> None:
    """Of two keepers both must be away: Robin from 9 to 11, Noor from 10 to 13."""
    assert days(Roster((ROBIN, NOOR), (away(ROBIN, 9, 11),), ())) == []
    assert days(Roster((ROBIN, NOOR), (away(ROBIN, 9, 11), away(NOOR, 10, 13)), ())) == [10, 11]
    found = unattended(Roster((ROBIN, NOOR), (away(ROBIN, 9, 9), away(NOOR, 9, 9)), ()), ["anyone"])
    assert found == ((d(9), "nobody there: all who may look are away"),)


def test_who_may_not_do_the_looks_of_a_template_covers_for_nobody() -> None:
    """A pupil may do what anyone may; looks that are for adults they may not."""
    roster = Roster((ROBIN, KIM), (away(ROBIN, 9, 10),), ())
    assert days(roster) == []
    assert days(roster, "adult") == [9, 10]
    assert days(roster, "adult", "anyone") == []


def test_a_site_that_is_shut_has_nobody_on_its_days() -> None:
    """Of 7 to 15 March the weekends; with the reason, that of whole weeks before one of weekdays."""
    weekends = Shut("Hall", d(7), d(15), ("sat", "sun"), "weekend")
    assert days(Roster((ROBIN,), (), (weekends,))) == [7, 8, 14, 15]
    both = Roster((ROBIN,), (), (weekends, Shut("Hall", d(14), d(16), (), "half-term")))
    assert dict(unattended(both, ["anyone"]))[d(14)] == "nobody there: Hall is shut (half-term)"
    assert dict(unattended(both, ["anyone"]))[d(7)] == "nobody there: Hall is shut (weekend)"


def test_a_keeper_who_is_put_on_record_later_was_not_there_before() -> None:
    """Noor is added on the 10th: of Robin's absence from 8 to 12 the days before stay what they were."""
    later = NOOR._replace(since=d(10))
    assert days(Roster((ROBIN, later), (away(ROBIN, 8, 12),), ())) == [8, 9]


SPANS = st.lists(st.tuples(st.sampled_from([ROBIN, NOOR, KIM]), st.integers(1, 20), st.integers(0, 6)), max_size=8)


@given(SPANS, st.lists(st.tuples(st.integers(1, 20), st.integers(0, 6), st.booleans()), max_size=3), st.randoms())
def test_the_order_in_which_absences_were_entered_does_not_matter(
    spans: list[tuple[Person, int, int]], shut: list[tuple[int, int, bool]], chance: random.Random
) -> None:
    """Entered in any order the days and their reasons are the same; and each day is one by counting heads."""
    gone = [away(person, first, first + more) for person, first, more in spans]
    closed = [Shut("Hall", d(n), d(n + more), ("sat",) if some else (), f"{n}") for n, more, some in shut]
    people = (ROBIN, NOOR, KIM)
    found = unattended(Roster(people, tuple(gone), tuple(closed)), ["anyone"])
    chance.shuffle(gone)
    chance.shuffle(closed)
    assert unattended(Roster(people, tuple(gone), tuple(closed)), ["anyone"]) == found
    for n in range(1, 28):
        there = {p.id for p in people} - {a.keeper for a in gone if a.since <= d(n) <= a.until}
        closed_now = [s for s in closed if s.since <= d(n) <= s.until and (not s.weekdays or d(n).weekday() == 5)]
        assert (d(n) in dict(found)) == (not there or bool(closed_now))


@given(st.sets(st.integers(1, 25), max_size=12), st.sets(st.integers(1, 12), max_size=4), st.integers(1, 26))
def test_pause_and_extend_agree_with_counting_days_one_by_one(absent: set[int], looked: set[int], today: int) -> None:
    """Ten days that count since arrival, those left out on which nobody is there and nobody looked: found by counting
    up from day 0; and a restart by beginning again on each such day until the end."""
    for says in ("pause", "extend", "restart"):
        history = room(says, *sorted(absent))
        for n in sorted(looked):
            if n < today:
                history.look(n)
        alone = absent - {n for n in looked if n < today}
        n, counted = 0, 0
        while counted < 10:
            n += 1
            counted = (0 if says == "restart" else counted) if n in alone else counted + 1
        assert ends(history, today) == n, says


# --- What is told of them ------------------------------------------------------------------------------------


def test_the_clocks_name_what_moved_a_period_and_their_days_add_up() -> None:
    """Each rule that moved it with its days; what came after the end is not among them."""
    for says, moved in (
        ("note", []),
        ("pause", [("pause", 3)]),
        ("extend", [("extend", 3)]),
        ("restart", [("restart", 5)]),
    ):
        history = room(says, 3, 4, 5, 30)
        made: Plan = plan([history.course()], history.facts, history.at(2), WATER)
        told = clocks(made.standings["B"], history.protocol).periods[0]
        assert [(one.rule, one.days) for one in told.moved] == moved
        assert told.first + timedelta(days=told.length + sum(one.days for one in told.moved)) == told.complete_on
        assert all(one.why == "nobody there: a test" for one in told.moved)
