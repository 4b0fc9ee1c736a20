"""The clocks at their edges: which of two counts, and what moved a period and what did not (found by mutants)."""

from __future__ import annotations

from datetime import date, datetime

import pytest
from history import History, dose_step, small
from test_clocks import told, with_events

from quarantine.clocks import PeriodClock
from quarantine.protocol import Protocol

WARM = 'in-range"\nreading = "temperature"\nmin = "22 °C"\nmax = "26 °C'
ONE_DOSE = dose_step('{ every = "1 d", times = 1 }')


def period(history: History, as_of: datetime) -> PeriodClock:
    """The one period of a small template."""
    (found,) = told(history, as_of).periods
    return found


def named(history: History, as_of: datetime) -> list[tuple[date | None, str, int]]:
    """What moved it: day, rule, days."""
    return [(one.on, one.rule, one.days) for one in period(history, as_of).moved]


def net(history: History, n: int) -> None:
    history.fact("shared", history.at(n), {"what": "a net", "with": f"Q{n}"}, batch=None)


def test_B1_of_two_shared_nets_the_later_is_the_zero() -> None:
    """On days 3 and 5: five days in, and it is the second net that is named."""
    history = History(with_events(small(""), shared_net="restart"))
    net(history, 3)
    net(history, 5)
    made = told(history, history.at(9)).entered
    assert (made.zero, made.so_far) == (history.day(5), 4)
    assert "shared a net with Q5" in made.because


def test_B1_fish_that_came_after_a_shared_net_are_the_zero() -> None:
    """A net on day 3, fish on day 5: the clock is zero at the last of them, whatever a net does."""
    history = History(with_events(small(""), shared_net="restart"))
    net(history, 3)
    history.fact("added", history.at(5), {"count": 1})
    made = told(history, history.at(9)).entered
    assert (made.zero, made.because) == (history.day(5), "fish came into the water (rule B1)")


@pytest.mark.parametrize("rule", ["note", "pause", "extend"])
def test_B1_only_a_restart_takes_the_own_clock_away(rule: str) -> None:
    """Whatever else the template makes of fish that come in, the batch keeps its own clock."""
    assert told(History(with_events(small(""), fish_added=rule)), History().at(1)).own_clock is True


@pytest.mark.parametrize("order", [("praziquantel", "metronidazole"), ("metronidazole", "praziquantel")])
def test_A9_of_two_substances_the_one_whose_contact_ended_last_counts(order: tuple[str, str]) -> None:
    """Both in food, which ends when given: on day 3 and on day 5 at 09:00; 51 h later it is 51 h, not 99."""
    history = History(small(ONE_DOSE))
    for n, substance in zip((3, 5), order, strict=True):
        history.dose(history.at(n), substance=substance, route="food")
    made = told(history, history.at(7, "12:00")).dose
    assert (made.so_far, made.zero) == (51, history.at(5))


@pytest.mark.parametrize("order", [("praziquantel", "metronidazole"), ("metronidazole", "praziquantel")])
def test_A9_while_any_substance_is_in_the_water_no_hours_are_counted(order: tuple[str, str]) -> None:
    """One by bath that nothing took out, the other in food since: the bath is named, and there is no number."""
    history = History(small(ONE_DOSE))
    bath, food = order
    history.dose(history.at(3), substance=bath)
    history.dose(history.at(5), substance=food, route="food")
    made = told(history, history.at(7)).dose
    assert (made.zero, made.so_far) == (None, None)
    assert made.because.lower().startswith(f"{bath} is still in the water")


def begun_by_arrival(**events: str) -> Protocol:
    """Ten calendar days since arrival."""
    made = with_events(small(""), **events)
    return made._replace(periods=tuple(p._replace(start=p.start._replace(kind="arrival")) for p in made.periods))


def test_B1_fish_that_restart_a_period_since_arrival_are_what_moved_it() -> None:
    """Fish on day 4: four days by restart. A period since the last fish in begins anew by them as well."""
    since_arrival, since_entry = History(begun_by_arrival(fish_added="restart")), History(small(""))
    for history in (since_arrival, since_entry):
        history.fact("added", history.at(4), {"count": 1})
        assert period(history, history.at(6)).complete_on == history.day(14)
    assert named(since_arrival, since_arrival.at(6)) == [(since_arrival.day(4), "restart", 4)]
    assert named(since_entry, since_entry.at(6)) == [(since_entry.day(4), "restart", 4)]


def test_B8_each_restart_moves_the_end_by_the_days_since_the_one_before() -> None:
    """On day 0 by none, on day 2 by two, on day 5 by three more: ten days from day 5."""
    history = History(with_events(small(""), disturbance="restart"))
    for n in (0, 2, 5):
        history.fact("disturbance", history.at(n, "12:00"), {"what": "a drill"}, batch=None)
    assert named(history, history.at(6)) == [(history.day(2), "restart", 2), (history.day(5), "restart", 3)]
    assert period(history, history.at(6)).complete_on == history.day(15)


def test_A4_a_day_that_is_not_over_is_no_day_without_a_look() -> None:
    """Clear on days 1, 2 and 4: day 3 took one day. On day 5 before the look nothing more is lost; nor before any."""
    history = History(small("", period="clear"))
    assert named(history, history.at(1, "06:00")) == []
    for n in (1, 2, 4):
        history.look(n)
    assert named(history, history.at(5, "06:00")) == [(history.day(3), "rule A4", 1)]


def test_A9_a_drug_on_day_zero_takes_no_day() -> None:
    """Day zero is not counted, so what was in the water on it moves nothing; on the day after it moves one day."""
    for n, moved in ((0, 0), (1, 1)):
        history = History(small(ONE_DOSE, period="drug-free"))
        history.dose(history.at(n, "12:00"), route="food")
        assert sum(days for _, _, days in named(history, history.at(4))) == moved
        assert period(history, history.at(4)).complete_on == history.day(10 + moved)


def test_A9_a_drug_after_the_end_moved_nothing() -> None:
    """Ten days without a drug were whole on day 10; food with medicine on day 12 comes after them."""
    history = History(small(ONE_DOSE, period="drug-free"))
    history.dose(history.at(12), route="food")
    assert period(history, history.at(13)).complete_on == history.day(10)
    assert named(history, history.at(13)) == []


@pytest.mark.parametrize("counts", ["calendar", "drug-free", WARM])
@pytest.mark.parametrize("rule", ["pause", "extend"])
def test_F32_what_happens_after_the_end_of_a_period_is_not_said_to_have_moved_it(counts: str, rule: str) -> None:
    """Complete on day 10, a drill on day 12: nothing moved; a drill on day 4 moved it by a day."""
    history = History(with_events(small(ONE_DOSE, period=counts), disturbance=rule))
    for n in range(15):
        history.read(n, "10:00", temperature="24")
    history.fact("disturbance", history.at(12), {"what": "a drill"}, batch=None)
    assert period(history, history.at(14)).complete_on == history.day(10)
    assert named(history, history.at(14)) == []
    history.fact("disturbance", history.at(4), {"what": "a drill"}, batch=None)
    assert named(history, history.at(14)) == [(history.day(4), rule, 1)]


def test_A9_a_day_with_two_drugs_is_lost_once() -> None:
    """One in the water on days 3 to 6, another on day 5 alone: four days."""
    history = History(small(ONE_DOSE, period="drug-free"))
    history.dose(history.at(3))
    history.dose(history.at(5), substance="metronidazole", route="food")
    history.change(6, "12:00", 200.0)
    assert sum(days for _, _, days in named(history, history.at(8))) == 4
    assert period(history, history.at(8)).complete_on == history.day(14)


def test_A10_of_a_gap_that_no_rule_of_the_template_names_it_is_said_that_it_pauses() -> None:
    """Heating stopped: the hours across it are not known and do not count, and the clock says so."""
    history = History(small("", period=WARM))
    for n in range(4):
        history.read(n, "10:00", temperature="24")
    incident = {"what": "heater", "tanks": ["T"], "tank_ids": ["T"], "until": history.at(1, "20:00").isoformat()}
    history.fact("incident", history.at(1, "15:00"), incident, batch=None)
    (warm,) = told(history, history.at(3, "10:00")).in_range
    assert [(gap.since, gap.until, gap.rule) for gap in warm.gaps] == [
        (history.at(1, "10:00"), history.at(2, "10:00"), "pause")
    ]
    assert warm.hours == 48
