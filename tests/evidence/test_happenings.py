"""Each kind of event from the fact that tells it, with its span; and B8: no event moves a dose."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

import pytest
from history import History, dose_step, small

from quarantine.evidence import Happening
from quarantine.protocol import EVENTS, MORE_EVENTS

COURSE = dose_step('{ every = "4 d", times = 3, from = "given" }')
ALL = (*EVENTS, *MORE_EVENTS)


def room() -> History:
    return History(small(COURSE), zone="UTC")


def said(history: History, n: int, clock: str = "12:00") -> list[Happening]:
    """What happened up to a moment, days without a look aside."""
    return [one for one in history.evidence(history.at(n, clock)).happenings if one.event != "not_looked"]


def events(history: History, n: int, clock: str = "12:00") -> list[str]:
    return [one.event for one in said(history, n, clock)]


def unlooked(history: History, n: int) -> list[date]:
    """The days on which nobody looked."""
    found = history.evidence(history.at(n, "12:00")).happenings
    return [one.at.date() for one in found if one.event == "not_looked"]


def incident(history: History, what: str, n: int, clock: str = "08:00", *, until: datetime | None = None) -> str:
    data: dict[str, Any] = {"what": what, "tanks": ["T"], "tank_ids": ["T"]}
    if until is not None:
        data["until"] = until.isoformat()
    return str(history.fact("incident", history.at(n, clock), data, batch=None).id)


@pytest.mark.parametrize(
    ("what", "event"),
    [
        ("power", "power"),
        ("heater", "heater"),
        ("leak", "disturbance"),
        ("overdose", "disturbance"),
        ("other", "disturbance"),
    ],
)
def test_an_incident_lasts_to_its_end_or_to_now(what: str, event: str) -> None:
    """Power and heater are events of their own, the others disturbances; one that nobody ended goes on."""
    history = room()
    of = incident(history, what, 2)
    assert [(h.event, h.at, h.until) for h in said(history, 2)] == [
        (event, history.at(2, "08:00"), history.at(2, "12:00"))
    ]
    history.fact("incident_over", history.at(2, "11:00"), {"of": of}, batch=None)
    assert said(history, 2)[0].until == history.at(2, "11:00")


def test_an_incident_that_was_told_whole_has_both_ends() -> None:
    """One said to last until tomorrow lasts to now, and no longer."""
    history = room()
    incident(history, "power", 2, until=history.at(3, "09:00"))
    assert said(history, 2)[0].until == history.at(2, "12:00")
    assert next(h for h in said(history, 5) if h.event == "power").until == history.at(3, "09:00")


def test_an_incident_of_another_tank_is_none_of_this_batch() -> None:
    """The heater of another tank of the same water failed."""
    history = room()
    history.fact("incident", history.at(2), {"what": "heater", "tanks": ["U"], "tank_ids": ["U"]}, batch=None)
    assert events(history, 2) == []


def test_a_sign_lasts_from_look_to_look_and_its_end_is_an_event() -> None:
    """Seen on days 3 and 4 and gone on day 6: two spans of the sign, then its end."""
    history = room()
    history.look(3, signs=("white spots",))
    history.look(4, signs=("white spots",))
    assert [h.until for h in said(history, 5) if h.event == "sign_b"] == [history.at(4), history.at(5, "12:00")]
    history.look(6, none=False, gone=("white spots",))
    found = [(h.event, h.at, h.until) for h in said(history, 7) if h.event.startswith("sign")]
    assert found == [
        ("sign_b", history.at(3), history.at(4)),
        ("sign_b", history.at(4), history.at(6)),
        ("sign_gone", history.at(6), None),
    ]


def test_a_look_without_signs_ends_all_of_them() -> None:
    """Each of two open signs is said to be gone."""
    history = room()
    history.look(3, signs=("white spots", "gasping"))
    history.look(4)
    assert sorted(events(history, 4)) == ["sign_a", "sign_b", "sign_gone", "sign_gone"]


@pytest.mark.parametrize(
    ("data", "event"),
    [
        ({"timing": "late"}, "dose_late"),
        ({"timing": "missed"}, "dose_late"),
        ({"timing": "on time"}, None),
        ({"timing": "early"}, None),
        ({}, None),
        ({"contact": "partly"}, "dose_partly"),
        ({"eaten": "part"}, "dose_partly"),
        ({"contact": "overrun"}, "bath_overrun"),
        ({"contact": "as published"}, None),
    ],
)
def test_what_came_of_a_dose_is_an_event(data: dict[str, Any], event: str | None) -> None:
    """Late, partly, over its time: from the dose's own fact."""
    history = room()
    dose = history.dose(history.at(3), history.runs("dose", history.at(3))[0].key)
    dose.data.update(data)
    assert events(history, 3) == ([event] if event else [])


def test_the_end_of_a_bath_says_that_contact_was_too_short_or_too_long() -> None:
    """The fact of the end carries it; that of the dose cannot."""
    history = room()
    for n, contact, event in ((3, "partly", "dose_partly"), (4, "overrun", "bath_overrun")):
        history.fact("done", history.at(n), {"key": "S:end:x:1", "contact": contact})
        assert events(history, n)[-1] == event


@pytest.mark.parametrize(("n", "event"), [(1, "dose_missed"), (2, "repeat_missed"), (3, "repeat_missed")])
@pytest.mark.parametrize("kind", ["lapse", "skip"])
def test_a_dose_that_was_missed_is_the_first_or_a_repeat(n: int, event: str, kind: str) -> None:
    """By its number in the series; a reason given later is no second miss."""
    history = room()
    key = f"S:dose:{history.arrival.id}:{n}"
    data = {"key": key, "task_kind": "dose", "because": "a test"}
    history.fact(kind, history.at(4), data)
    history.fact("skip", history.at(5), data)
    assert events(history, 6) == [event]


def test_other_facts_that_are_events() -> None:
    """Deaths, fish that came, a fall, a net, an instruction, an amendment, a stopped course: each by its name."""
    history = room()
    history.died(1)
    history.died(3, fish=3)
    history.fact("added", history.at(4), {"count": 1})
    history.fact("disturbance", history.at(5), {"what": "a fall"}, batch=None)
    history.fact("shared", history.at(6), {"what": "a net", "with": "T2"}, batch=None)
    history.fact("instruction", history.at(7), {"who": "Dr A"})
    history.fact("amended", history.at(8), {"steps": {}})
    stopped = {"step": "other", "title": "Other", "because": "a test", "left": []}
    history.fact("stopped", history.at(9), stopped)
    assert events(history, 10) == [
        "death",
        "outbreak",
        "fish_added",
        "disturbance",
        "shared_net",
        "instruction",
        "revised",
        "dose_missed",
    ]


def test_a_day_without_a_look_is_one_and_today_is_none_yet() -> None:
    """Looked on days 1 and 3: day 2 was not looked at, day 4 can still be; a look that counted nobody is none."""
    history = room()
    history.look(1)
    history.look(3)
    history.look(4, seen=None, appetite=None)
    assert unlooked(history, 4) == [history.day(2)]
    assert unlooked(history, 5) == [history.day(2), history.day(4)]


def test_events_of_the_water_reach_every_batch_in_it_and_a_batchs_own_do_not() -> None:
    """Another batch's fall is this one's as well; its sign, its instruction and its missed dose are its own."""
    history = room()
    history.fact("disturbance", history.at(2), {"what": "a fall"}, batch="other")
    history.fact("instruction", history.at(3), {"who": "Dr A"}, batch="other")
    history.fact("look", history.at(3), {"seen": 1, "signs": ["gasping"]}, batch="other")
    history.fact("skip", history.at(3), {"key": "S:dose:x:1", "task_kind": "dose"}, batch="other")
    assert events(history, 4) == ["disturbance"]


def every_event(history: History, n: int) -> None:
    """One of each kind on a day."""
    history.died(n, "06:00")
    history.look(n, "07:00", signs=("gasping", "white spots"))
    history.look(n, "07:30", none=False, gone=("white spots",))
    history.fact("added", history.at(n, "08:00"), {"count": 1})
    history.fact("disturbance", history.at(n, "08:10"), {"what": "a fall"}, batch=None)
    history.fact("shared", history.at(n, "08:20"), {"what": "a net", "with": "T2"}, batch=None)
    history.fact("instruction", history.at(n, "08:30"), {"who": "Dr A"})
    incident(history, "power", n, "08:40", until=history.at(n, "09:40"))
    incident(history, "heater", n, "08:50", until=history.at(n, "09:40"))


@pytest.mark.parametrize("action", ["restart", "pause", "extend", "note"])
def test_B8_no_event_moves_a_dose_that_was_given_or_is_planned(action: str) -> None:
    """Whatever the template makes of the events: observation moves, and the course keeps its days, keys and states."""
    protocol = small(COURSE)
    history = History(protocol._replace(events=dict.fromkeys(ALL, action)), zone="UTC")
    history.looks(0, 4)
    first = history.runs("dose", history.at(3, "08:30"))[0]
    history.dose(history.at(3, "10:00"), first.key)
    before = [(t.key, t.day, t.state) for t in history.runs("dose", history.at(5, "12:00"))]
    zero = history.plan(history.at(5, "12:00")).standings["B"].periods[0]
    every_event(history, 5)
    after = [(t.key, t.day, t.state) for t in history.runs("dose", history.at(5, "12:00"))]
    period = history.plan(history.at(5, "12:00")).standings["B"].periods[0]
    assert after == before
    assert [state for _, _, state in after] == ["done", "planned", "planned"]
    assert period.zero >= zero.zero
    assert (period.complete_on > zero.complete_on) is (action != "note" or period.zero > zero.zero)


def test_a_restart_counts_from_the_end_of_what_lasted() -> None:
    """A heater failure from day 4 to day 6 with restart: day 6 is day zero; while it goes on, today is."""
    protocol = small("")
    history = History(protocol._replace(events={**protocol.events, "heater": "restart"}), zone="UTC")
    of = incident(history, "heater", 4)
    assert history.plan(history.at(5)).standings["B"].periods[0].zero == history.day(5)
    history.fact("incident_over", history.at(6, "08:00"), {"of": of}, batch=None)
    assert history.plan(history.at(9)).standings["B"].periods[0].zero == history.day(6)
