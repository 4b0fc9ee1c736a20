"""A10, F31 and F32: time in range from readings, in every clause, and what four rules make of one series of gaps."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from history import History, small
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from quarantine import inrange
from quarantine.evidence import PeriodStanding
from quarantine.facts import Fact
from quarantine.inrange import Band, Count, Stretch
from quarantine.protocol import Protocol

ZONE = "UTC"
START = datetime(2026, 3, 2, 8, tzinfo=UTC)
WARM = Band("temperature", Decimal(24), Decimal(26))


def read(hours: float, value: str, parameter: str = "temperature", **more: str) -> Fact:
    """A reading so many hours after the start."""
    at = START + timedelta(hours=hours)
    data = {"parameter": parameter, "value": value, "step": "0.1", **more}
    return Fact(f"r{hours}-{value}-{more}", "reading", at, at, "k", "S", "T", None, None, data)


def spans(
    *readings: Fact, until: float, band: Band = WARM, cold: tuple[float, ...] = (), altered: tuple[float, ...] = ()
) -> list[tuple[float, float, str]]:
    """(from, to, event) in hours after the start."""

    def at(hours: float) -> datetime:
        return START + timedelta(hours=hours)

    ordered = tuple(sorted(readings, key=lambda f: (f.at, f.id)))
    found = inrange.stretches(band, ordered, START, at(until), ZONE, tuple(map(at, cold)), tuple(map(at, altered)))
    hour = timedelta(hours=1)
    return [((one.since - START) / hour, (one.until - START) / hour, one.event) for one in found]


# --- A10, clause by clause -------------------------------------------------------------------------------------


@pytest.mark.parametrize(("second", "begins"), [(5, False), (5.99, False), (6, True), (36, True), (36.01, False)])
def test_A10_two_good_readings_at_least_6_and_at_most_36_hours_apart_prove_the_time_between(
    second: float, begins: bool
) -> None:
    """It starts at the first of the two; 36 h between them is known, more is not."""
    good = [one for one in spans(read(0, "25"), read(second, "25"), until=second) if not one[2]]
    assert good == ([(0, second, "")] if begins else [])


def test_A10_one_good_reading_proves_nothing_yet() -> None:
    """What it may begin is shown as unproven, and counts for nothing."""
    assert spans(read(3, "25"), until=20) == [(3, 20, inrange.UNPROVEN)]
    assert spans(until=20) == []
    assert spans(read(3, "23"), until=20) == []


def test_A10_three_readings_close_together_begin_at_the_first_of_them() -> None:
    """Four hours and four hours more: the first and the third lie 8 h apart."""
    assert spans(read(0, "25"), read(4, "25"), read(8, "25"), until=8) == [(0, 8, "")]


def test_A10_it_ends_at_the_last_good_reading_before_a_bad_one() -> None:
    """From 12 h on it is not known when the water left the range: nothing of that time counts."""
    found = spans(read(0, "25"), read(12, "25"), read(30, "23"), until=40)
    assert found == [(0, 12, ""), (12, 40, "out_of_range")]


def test_A10_after_a_bad_reading_two_good_ones_begin_again() -> None:
    """The time from the last good one before to the first good one after is out of range."""
    found = spans(read(0, "25"), read(12, "25"), read(20, "27"), read(30, "25"), read(40, "25"), until=40)
    assert found == [(0, 12, ""), (12, 30, "out_of_range"), (30, 40, "")]


def test_A10_a_single_good_reading_between_two_bad_ones_belongs_to_what_is_around_it() -> None:
    """It proves no time: one gap, not two."""
    found = spans(
        read(0, "25"), read(12, "25"), read(20, "27"), read(24, "25"), read(28, "27"), read(30, "25"), read(40, "25"),
        until=40,
    )  # fmt: skip
    assert found == [(0, 12, ""), (12, 30, "out_of_range"), (30, 40, "")]


def test_A10_over_36_hours_without_a_reading_are_not_counted() -> None:
    """Neither between two readings nor since the last one; up to 36 h after the last one nothing is said yet."""
    one, two = read(0, "25"), read(12, "25")
    assert spans(one, two, until=48) == [(0, 12, "")]
    assert spans(one, two, until=49) == [(0, 12, ""), (12, 49, "no_reading")]
    after = (read(49, "25"), read(60, "25"))
    assert spans(one, two, *after, until=60) == [(0, 12, ""), (12, 49, "no_reading"), (49, 60, "")]


def test_A10_of_copper_only_what_is_free_counts() -> None:
    """A reading of total copper neither proves nor ends anything, whatever it says."""
    band = Band("copper", Decimal("0.15"), Decimal("0.2"))
    free = [read(n, "0.17", "copper", form="free") for n in (0, 12, 24)]
    total = [read(6, "0.4", "copper", form="total"), read(20, "0.02", "copper")]
    assert spans(*free, *total, until=24, band=band) == [(0, 24, "")]
    assert spans(*total, read(30, "0.17", "copper", form="chelated"), until=40, band=band) == []


def test_A10_nitrite_of_which_nobody_said_the_form_counts_where_both_forms_agree() -> None:
    """0.1 mg/L is under a limit of 0.5 mg/L as nitrogen too (0.33); 0.3 mg/L would be 0.99 and says nothing."""
    band = Band("nitrite", None, Decimal("0.5"))
    ends = read(0, "0.1", "nitrite"), read(12, "0.1", "nitrite")
    assert spans(*ends, until=12, band=band) == [(0, 12, "")]
    assert spans(*ends, read(6, "0.3", "nitrite"), until=12, band=band) == [(0, 12, "")]
    assert spans(*ends, read(6, "0.6", "nitrite"), until=12, band=band)[0][2] == inrange.UNPROVEN
    unsaid = read(0, "0.3", "nitrite"), read(12, "0.3", "nitrite")
    assert spans(*unsaid, until=12, band=band) == []
    assert spans(*(f._replace(data={**f.data, "form": "NO2"}) for f in unsaid), until=12, band=band) == [(0, 12, "")]


def test_A10_no_time_in_range_goes_across_stopped_heating() -> None:
    """Good before and good after proves nothing between: the hours of the failure do not count."""
    readings = read(0, "25"), read(12, "25"), read(24, "25"), read(36, "25")
    assert spans(*readings, until=36, cold=(14,)) == [(0, 12, ""), (12, 24, "cold"), (24, 36, "")]
    assert spans(*readings, until=36, cold=(12.5, 23)) == [(0, 12, ""), (12, 24, "cold"), (24, 36, "")]
    assert spans(*readings, until=40, cold=(37,))[1:] == [(36, 40, "cold")]


@pytest.mark.parametrize("order", [("24.5", "23"), ("23", "24.5")])
def test_A10_of_duplicates_the_worse_counts_whichever_was_read_first(order: tuple[str, str]) -> None:
    """Twenty minutes apart, one good and one bad: both are bad, and the time ends a reading earlier."""
    twins = read(24, order[0]), read(24 + 1 / 3, order[1])
    found = spans(read(0, "25"), read(12, "25"), *twins, read(36, "25"), read(48, "25"), until=48)
    assert found == [(0, 12, ""), (12, 36, "out_of_range"), (36, 48, "")]


def test_A10_what_was_read_before_a_water_change_is_no_duplicate_of_what_was_read_after() -> None:
    """A change between the two, twenty minutes apart: the second one stands for itself."""
    twins = read(24, "23"), read(24 + 1 / 3, "24.5")
    found = spans(read(0, "25"), read(12, "25"), *twins, read(36, "25"), until=36, altered=(24.1,))
    assert [(round(a, 2), b, event) for a, b, event in found] == [
        (0, 12, ""),
        (12, 24 + 1 / 3, "out_of_range"),
        (24.33, 36, ""),
    ]


@pytest.mark.parametrize(("value", "good"), [("24", True), ("26", True), ("23.9", False), ("26.1", False)])
def test_A10_the_limits_themselves_are_in_range(value: str, good: bool) -> None:
    """Both ends of the band."""
    assert bool(spans(read(0, value), read(12, value), until=12)) is good


# --- F32: four rules by one series ---------------------------------------------------------------------------------


def template(counts: str = "in-range", **rules: str) -> Protocol:
    """Ten days of one kind, with rules for some events."""
    protocol = small("")
    period = protocol.periods[0]
    if counts == "in-range":
        period = period._replace(counts=counts, reading="temperature", low="24", high="26")
    return protocol._replace(periods=(period._replace(counts=counts),), events={**protocol.events, **rules})


def period_of(history: History, n: int, clock: str = "12:00") -> PeriodStanding:
    return history.plan(history.at(n, clock)).standings["B"].periods[0]


def gap_series(rule: str, days: int = 20) -> History:
    """Read at 10:00 every day from arrival on; on day 4 it was 22 °C."""
    history = History(template(out_of_range=rule), zone="UTC")
    for n in range(days):
        history.read(n, "10:00", temperature="22" if n == 4 else "25")
    return history


@pytest.mark.parametrize(("rule", "day"), [("note", 10), ("pause", 12), ("extend", 12), ("restart", 15)])
def test_F32_four_rules_by_one_gap_give_their_dates(rule: str, day: int) -> None:
    """Good from day 0 to day 3 and from day 5 on: the gap is two days. By note it counts all the same; by pause the
    two days are lost; by extend they count and the period is two days longer; by restart it begins on day 5."""
    standing = period_of(gap_series(rule), 16)
    assert standing.in_range is not None
    assert standing.is_proven
    assert standing.complete_on == History(template(), zone="UTC").day(day)


@pytest.mark.parametrize(("rule", "day"), [("note", 10), ("pause", 11), ("extend", 12), ("restart", 15)])
def test_F32_pause_counts_hours_and_extend_whole_days(rule: str, day: int) -> None:
    """Good until day 3 22:00 and from day 5 08:00 on: 34 h. By pause they are lost, by extend two days begun."""
    history = History(template(out_of_range=rule), zone="UTC", arrived="2026-02-10 08:00")
    for n in range(20):
        history.read(n, "08:00", temperature="22" if n == 4 else "25")
        history.read(n, "22:00", temperature="22" if n == 4 else "25")
    standing = period_of(history, 17)
    assert standing.complete_on == history.day(day)
    assert standing.in_range is not None
    if rule == "pause":
        assert standing.in_range.complete == history.at(11, "18:00")


def test_F32_what_was_not_read_pauses_where_the_template_says_nothing() -> None:
    """No reading on days 4 and 5: 72 h from day 3 to day 6 are not counted, and the day moves by three."""
    history = History(template(), zone="UTC")
    for n in [0, 1, 2, 3, 6, 7, 8, 9, 10, 11, 12, 13]:
        history.read(n, "10:00", temperature="25")
    assert period_of(history, 13).complete_on == history.day(13)


@pytest.mark.parametrize(
    ("rule", "day"),
    [("note", 10), ("pause", 12), ("extend", 11), ("restart", 15)],
)
def test_F32_fourteen_hours_over_midnight_in_a_period_of_calendar_days(rule: str, day: int) -> None:
    """A power cut from 20:00 of day 4 to 10:00 of day 5: by pause both days it touched do not count, by extend it is
    one day begun, by restart its end is day zero."""
    history = History(template("calendar", power=rule), zone="UTC")
    power(history, (4, "20:00"), (5, "10:00"))
    assert period_of(history, 7).complete_on == history.day(day)


def power(history: History, since: tuple[int, str], until: tuple[int, str]) -> None:
    """A power cut that was said whole."""
    data = {"what": "power", "tanks": ["T"], "tank_ids": ["T"], "until": history.at(*until).isoformat()}
    history.fact("incident", history.at(*since), data, batch=None)


@pytest.mark.parametrize(
    ("first", "second", "extend", "pause"),
    [
        (((3, "08:00"), (3, "20:00")), ((3, "18:00"), (4, "06:00")), 11, 12),  # 22 h together: one day begun
        (((3, "08:00"), (3, "20:00")), ((3, "20:00"), (4, "08:00")), 11, 12),  # touching: 24 h are one day
        (((3, "08:00"), (3, "20:00")), ((3, "20:00"), (4, "09:00")), 12, 12),  # 25 h are two
        (((3, "08:00"), (3, "09:00")), ((3, "20:00"), (3, "21:00")), 12, 11),  # apart: a day each; one calendar day
        (((3, "08:00"), (6, "08:00")), ((4, "08:00"), (5, "08:00")), 13, 14),  # one inside the other
    ],
)
def test_F32_events_that_overlap_or_touch_are_one_time(first: Any, second: Any, extend: int, pause: int) -> None:
    """Their hours are counted once, in whatever order they were told."""
    for rule, day in (("extend", extend), ("pause", pause)):
        for told in ((first, second), (second, first)):
            history = History(template("calendar", power=rule), zone="UTC")
            for since, until in told:
                power(history, since, until)
            assert period_of(history, 8).complete_on == history.day(day), rule


@pytest.mark.parametrize("counts", ["calendar", "drug-free", "in-range"])
@pytest.mark.parametrize("rule", ["pause", "extend"])
def test_F32_what_begins_after_the_end_of_a_period_changes_nothing_in_it(counts: str, rule: str) -> None:
    """Complete on day 10; a power cut of three days from day 12 on, and the water left to cool."""
    history = History(template(counts, power=rule, out_of_range=rule, no_reading=rule), zone="UTC")
    for n in range(12):
        history.read(n, "10:00", temperature="25")
    assert period_of(history, 11).complete_on == history.day(10)
    power(history, (12, "08:00"), (15, "08:00"))
    history.read(13, "10:00", temperature="18")
    for n in (12, 15, 20):
        standing = period_of(history, n, "23:00")
        assert (standing.complete_on, standing.is_proven) == (history.day(10), True)


def test_F32_a_period_in_range_that_is_complete_does_not_begin_again_when_the_water_cools() -> None:
    """A warm hold that is over is over: out of range restarts one that is still counted alone."""
    history = History(template(out_of_range="restart"), zone="UTC")
    for n in range(12):
        history.read(n, "10:00", temperature="25")
    history.read(12, "10:00", temperature="18")
    assert period_of(history, 14).complete_on == history.day(10)
    assert period_of(history, 14).is_proven


@pytest.mark.parametrize(("begins", "day"), [((9, "08:00"), 12), ((10, "20:00"), 12), ((11, "00:00"), 10)])
def test_F32_extend_acts_when_it_begins_before_the_period_ends(begins: tuple[int, str], day: int) -> None:
    """A power cut of 30 h that begins on the last day makes it two days longer; one from midnight after it does not."""
    history = History(template("calendar", power="extend"), zone="UTC")
    n, clock = begins
    end = history.at(n, clock) + timedelta(hours=30)
    data = {"what": "power", "tanks": ["T"], "tank_ids": ["T"], "until": end.isoformat()}
    history.fact("incident", history.at(n, clock), data, batch=None)
    assert period_of(history, 14).complete_on == history.day(day)


@pytest.mark.parametrize(("rule", "day"), [("pause", 10), ("extend", 11), ("note", 10), ("restart", 10)])
def test_F32_an_event_on_day_zero(rule: str, day: int) -> None:
    """Day zero is not counted, so a pause takes nothing from it; an extension of hours on it is one all the same."""
    history = History(template("calendar", disturbance=rule), zone="UTC")
    history.fact("disturbance", history.at(0, "15:00"), {"what": "a fall"})
    assert period_of(history, 1).complete_on == history.day(day)


def test_F32_an_event_before_a_restart_on_the_same_day_does_not_extend_the_new_count() -> None:
    """A disturbance at 09:00, an A sign at 15:00: ten days from that day."""
    history = History(template("calendar", disturbance="extend"), zone="UTC")
    history.fact("disturbance", history.at(4, "09:00"), {"what": "a fall"})
    history.look(4, "15:00", signs=("gasping",))
    assert period_of(history, 5).complete_on == history.day(14)
    history.fact("disturbance", history.at(4, "16:00"), {"what": "another"})
    assert period_of(history, 5).complete_on == history.day(15)


@pytest.mark.parametrize("cut", [("09:00", "11:00"), ("13:00", "15:00"), ("11:00", "12:00")])
def test_F32_what_has_no_length_counts_for_its_day_only_where_nothing_else_does(cut: tuple[str, str]) -> None:
    """A disturbance at 12:00 and a power cut on the same day, before it, after it or up to it: one day, not two."""
    history = History(template("calendar", power="extend", disturbance="extend"), zone="UTC")
    history.fact("disturbance", history.at(4, "12:00"), {"what": "a fall"})
    power(history, (4, cut[0]), (4, cut[1]))
    assert period_of(history, 6).complete_on == history.day(11)


def test_F32_a_day_that_is_paused_and_out_of_range_is_lost_once() -> None:
    """A power cut pauses day 4; on day 4 it was 22 °C as well. The gap by readings is two days, and day 4 is in it."""
    history = gap_series("pause")
    history.protocol = template(power="pause", out_of_range="pause")
    power(history, (4, "08:00"), (4, "20:00"))
    standing = period_of(history, 14)
    assert standing.complete_on == history.day(12)


def test_F32_a_paused_day_takes_its_time_in_range_out_of_the_count() -> None:
    """The reading was good throughout; the day of the sign does not count, and the period ends a day later."""
    history = History(template(sign_b="pause"), zone="UTC")
    for n in range(14):
        history.read(n, "10:00", temperature="25")
    history.look(4, "09:00", signs=("white spots",))
    history.look(4, "20:00", none=False, gone=("white spots",))
    standing = period_of(history, 12)
    assert standing.complete_on == history.day(11)
    assert standing.in_range is not None
    assert [(one.since, one.until) for one in standing.in_range.stretches if one.event == inrange.PAUSED] == [
        (history.at(4, "00:00"), history.at(5, "00:00"))
    ]


def test_A10_a_restart_counts_from_its_own_instant() -> None:
    """Fish came into the warm water on day 5 at 15:00: what was read that morning counts for them as little as for
    the clock, which begins with the first good reading after."""
    history = History(template(), zone="UTC")
    for n in range(17):
        history.read(n, "10:00", temperature="25")
    history.fact("added", history.at(5, "15:00"), {"count": 1})
    standing = period_of(history, 16)
    assert standing.in_range is not None
    assert standing.in_range.zero == history.at(6, "10:00")
    assert standing.complete_on == history.day(16)


def test_F31_a_measured_start_opens_at_two_readings_six_hours_apart() -> None:
    """One reading in range does not start the count, two do, and a bad one between them begins it anew."""
    history = History(template(), zone="UTC")
    history.read(0, "12:00", temperature="25")
    assert counted(history, 0, "18:00").zero is None
    history.read(0, "19:00", temperature="25")
    assert counted(history, 0, "19:00").zero == history.at(0, "12:00")
    other = History(template(out_of_range="restart"), zone="UTC")
    for clock, value in (("12:00", "25"), ("15:00", "23"), ("19:00", "25")):
        other.read(0, clock, temperature=value)
    assert counted(other, 0, "19:00").zero is None
    other.read(1, "02:00", temperature="25")
    assert counted(other, 1, "03:00").zero == other.at(0, "19:00")


def counted(history: History, n: int, clock: str) -> Count:
    found = period_of(history, n, clock).in_range
    assert found is not None
    return found


def test_the_day_ahead_does_not_wander_while_a_second_reading_is_awaited() -> None:
    """Read at noon of day 0: the tenth day stands in the evening, the next morning, and once it is proven."""
    history = History(template(), zone="UTC")
    history.read(0, "12:00", temperature="25")
    for n, clock in ((0, "12:00"), (0, "23:00"), (1, "11:00")):
        assert period_of(history, n, clock).complete_on == history.day(10)
    history.read(1, "12:00", temperature="25")
    assert period_of(history, 1, "13:00").complete_on == history.day(10)


def test_a_period_is_never_complete_before_readings_prove_it() -> None:
    """Half an hour before the reading of day 10 the criterion is not met, and the day is today; with it, it is met."""
    history = History(template(), zone="UTC")
    history.looks(0, 10, clock="09:00")
    for n in range(10):
        history.read(n, "10:00", temperature="25")
    standing = period_of(history, 10, "09:30")
    assert (standing.is_proven, standing.complete_on) == (False, history.day(10))
    assert is_met(history, 10, "09:30") is False
    assert is_met(history, 10, "10:30") is False
    history.read(10, "10:00", temperature="25")
    assert is_met(history, 10, "10:30") is True


def is_met(history: History, n: int, clock: str) -> bool | None:
    """Whether the criterion of the period is met."""
    judged = history.judged(history.at(n, clock))
    return next(one for one in judged if one.title == "The period is complete").met


def test_heating_that_stops_breaks_the_count_of_a_temperature_and_of_nothing_else() -> None:
    """A heater that failed from 12:00 to 20:00 of day 2: from the reading before to the first one after it does not
    count, though both were good."""
    history = History(template(heater="note"), zone="UTC")
    for n in range(5):
        history.read(n, "10:00", temperature="25")
        history.read(n, "14:00", temperature="25")
    data = {"what": "heater", "tanks": ["T"], "tank_ids": ["T"], "until": history.at(2, "20:00").isoformat()}
    history.fact("incident", history.at(2, "12:00"), data, batch=None)
    found = counted(history, 4, "15:00")
    hours = [(one.since, one.until, one.event) for one in found.stretches]
    assert hours == [
        (history.at(0, "10:00"), history.at(2, "10:00"), ""),
        (history.at(2, "10:00"), history.at(3, "10:00"), inrange.COLD),
        (history.at(3, "10:00"), history.at(4, "14:00"), ""),
    ]


# --- properties ----------------------------------------------------------------------------------------------------

READINGS = st.lists(
    st.tuples(st.integers(0, 24 * 60), st.sampled_from(["22", "24", "25", "25", "25", "26", "27"])), max_size=25
)
RULES = st.fixed_dictionaries(
    {
        "out_of_range": st.sampled_from(["pause", "extend", "restart", "note"]),
        "no_reading": st.sampled_from(["pause", "extend", "restart"]),
    }
)


def facts_of(drawn: list[tuple[int, str]]) -> tuple[Fact, ...]:
    """Readings at so many half hours after the start, in order."""
    return tuple(sorted((read(n / 2, value) for n, value in drawn), key=lambda f: (f.at, f.id)))


@settings(max_examples=300)
@given(READINGS, RULES, st.integers(1, 20), st.integers(0, 24 * 31))
def test_the_count_never_exceeds_the_time_that_passed(
    drawn: list[tuple[int, str]], rules: dict[str, str], days: int, hours: int
) -> None:
    """Nor begins it before the first good reading; what counts without a note lies in stretches that were proven."""
    as_of = START + timedelta(hours=hours)
    found = inrange.stretches(WARM, facts_of(drawn), START, as_of, ZONE)
    made = inrange.count(found, days, rules, as_of)
    passed = as_of - made.zero if made.zero else timedelta(0)
    assert timedelta(0) <= made.counted <= passed
    assert all(one.since <= one.until <= as_of for one in found)
    assert [one.until for one in found[:-1]] == [one.since for one in found[1:]]
    if made.is_proven:
        assert made.complete <= as_of
        proven = sum((one.length for one in found if not one.event), timedelta(0))
        assert rules["out_of_range"] == "note" or proven >= timedelta(days=days)
    else:
        assert made.complete >= (found[-1].since if found else as_of)


@settings(max_examples=300)
@given(READINGS, st.data())
def test_a_good_reading_between_two_good_ones_changes_nothing(
    drawn: list[tuple[int, str]], data: st.DataObject
) -> None:
    """Where the two already prove the time between them."""
    facts = facts_of(drawn)
    as_of = START + timedelta(days=31)
    found = inrange.stretches(WARM, facts, START, as_of, ZONE)
    good = [one for one in found if not one.event]
    assume(good)
    inside = data.draw(st.sampled_from(good))
    minutes = data.draw(st.integers(1, int(inside.length / timedelta(minutes=1)) - 1))
    hours = (inside.since - START) / timedelta(hours=1) + minutes / 60
    more = tuple(sorted((*facts, read(hours, "25")), key=lambda f: (f.at, f.id)))
    assert inrange.stretches(WARM, more, START, as_of, ZONE) == found


@settings(max_examples=60)
@given(READINGS, RULES, st.integers(0, 10**6), st.integers(0, 24 * 31))
def test_the_order_of_entry_makes_no_difference(
    drawn: list[tuple[int, str]], rules: dict[str, str], seed: int, hours: int
) -> None:
    """The same readings in any order, some entered days late: the same standing."""
    history = History(template(**rules), zone="UTC", arrived="2026-03-02 08:00")
    for fact in facts_of(drawn):
        history.facts.append(fact)
    as_of = START + timedelta(hours=hours)
    before = history.plan(as_of).standings["B"].periods
    chance = random.Random(seed)
    late = [f._replace(entered_at=f.at + timedelta(hours=chance.randrange(90))) for f in history.facts]
    chance.shuffle(late)
    assert history.plan(as_of, facts=late).standings["B"].periods == before


@settings(max_examples=60)
@given(READINGS, RULES, st.integers(1, 31))
def test_no_sign_off_before_the_time_is_proven(drawn: list[tuple[int, str]], rules: dict[str, str], n: int) -> None:
    """On every day on which the period is not proven its criterion is not met, and it never lies in the past."""
    history = History(template(**rules), zone="UTC", arrived="2026-03-02 08:00")
    history.facts += facts_of(drawn)
    history.looks(0, n, clock="09:00")
    at = history.at(n, "12:00")
    standing = history.plan(at).standings["B"].periods[0]
    met = is_met(history, n, "12:00")
    if not standing.is_proven:
        assert met is False
        assert standing.complete_on >= history.day(n)
    else:
        assert standing.complete_on <= history.day(n)


def test_a_span_that_is_cut_out_leaves_the_rest_whole() -> None:
    """Two days out of one stretch: three pieces, in order and without holes; what is no time in range stays."""
    day = timedelta(days=1)
    whole = (Stretch(START, START + 5 * day, "", ""), Stretch(START + 5 * day, START + 6 * day, "out_of_range", "bad"))
    off = ((START + day, START + 2 * day), (START + 5 * day - day / 2, START + 7 * day))
    found = inrange.without(whole, off)
    assert [((one.since - START) / day, (one.until - START) / day, one.event) for one in found] == [
        (0, 1, ""),
        (1, 2, inrange.PAUSED),
        (2, 4.5, ""),
        (4.5, 5, inrange.PAUSED),
        (5, 6, "out_of_range"),
    ]
