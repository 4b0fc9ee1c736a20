"""F5, F6, F34: every planned pair keeps its gap, the two anchors, and every date traces to an event and a rule."""

from __future__ import annotations

import random
import re
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from history import EVENTS, HEAD, History, small
from hypothesis import given, settings
from hypothesis import strategies as st

from quarantine.facts import PlannedTask, local_day
from quarantine.plan import instant_at
from quarantine.protocol import Protocol, ProtocolError, Step, read

NAMES = ("a", "b", "c", "d", "e")
ZONE = "Europe/London"
ARRIVED = "2026-03-20 10:00"
"""The clocks go forward on 2026-03-29, day 9."""

LENGTHS = st.one_of(st.integers(0, 4).map(lambda n: f"{n} d"), st.integers(0, 80).map(lambda n: f"{n} h"))
INTERVALS = st.one_of(st.integers(1, 4).map(lambda n: f"{n} d"), st.integers(6, 80).map(lambda n: f"{n} h"))


@st.composite
def steps(draw: st.DrawFn) -> str:
    """Up to five steps: on arrival or hung on one before them by its start or end, or on the end of the period."""
    written = []
    for place, name in enumerate(NAMES[: draw(st.integers(2, len(NAMES)))]):
        by = draw(LENGTHS)
        hung = draw(st.sampled_from(["arrival", "period", "after", "begun"]) if place else st.just("arrival"))
        subject = draw(st.sampled_from(NAMES[:place])) if place else ""
        start = {
            "arrival": f'{{ arrival = "{by}" }}',
            "period": f'{{ after = "observation", by = "{by}" }}',
            "after": f'{{ after = "{subject}", by = "{by}" }}',
            "begun": f'{{ begun = "{subject}", by = "{by}" }}',
        }[hung]
        times, from_ = draw(st.integers(1, 3)), draw(st.sampled_from(["planned", "given"]))
        days = draw(st.sampled_from(["", "", ', weekdays = ["tue", "sat"]']))
        written.append(
            f'[[step]]\nid = "{name}"\nkind = "chore"\ntitle = "Work {name}"\nstart = {start}\n'
            f'repeat = {{ every = "{draw(INTERVALS)}", times = {times}, from = "{from_}" }}\n'
            f'window = {{ from = "08:00", until = "20:00"{days} }}\n'
            f'after_window = "{draw(st.sampled_from(["shift", "keep"]))}"\nreferences = ["choice"]\n'
        )
    return "\n".join(written)


def live(history: History, chance: random.Random, days: int) -> None:
    """So many days on which what is due is done at some hour, put off, or skipped."""
    for n in range(days):
        at = history.at(n, chance.choice(["07:30", "12:00", "19:59", "23:30"]))
        for task in history.plan(at).tasks:
            if task.outcome is not None or task.day is None or task.day > history.day(n):
                continue
            what = chance.random()
            if what < 0.55:
                history.fact("done", at, {"key": task.key})
            elif what < 0.65:
                history.fact("skip", at, {"key": task.key, "task_kind": task.kind, "because": "a test"})


def runs_of(tasks: tuple[PlannedTask, ...], step: str) -> list[PlannedTask]:
    return sorted((t for t in tasks if t.step == step), key=lambda t: int(t.key.rpartition(":")[2]))


def end_of(task: PlannedTask, today: date) -> tuple[date, datetime | None]:
    """The day a run was done, or can or could be done until it was skipped; and the instant where it was done."""
    assert task.day is not None
    if task.outcome is not None and task.outcome.kind != "skip":
        return local_day(task.outcome.at, ZONE), task.outcome.at
    return max(task.day, local_day(task.outcome.at, ZONE) if task.outcome else today), None


def keeps(first: PlannedTask, then: PlannedTask, by: str, today: date, *, exact: bool) -> bool:
    """Whether ``then`` lies ``by`` after ``first``: days by the calendar, hours elapsed. ``exact``: and no later."""
    assert then.day is not None
    assert then.due_from is not None
    number, unit = int(by.split()[0]), by.split()[1]
    day, at = end_of(first, today)
    if unit == "d":
        return then.day == day + timedelta(days=number) if exact else then.day >= day + timedelta(days=number)
    if at is None:  # a run that is only planned has an hour of its own, or noon stands for it
        planned = first.due_from if first.due_from == first.due_until else None
        at = planned if planned and local_day(planned, ZONE) == day else instant_at(day, "12:00", ZONE)
    wanted = at + timedelta(hours=number)
    return then.due_from == wanted if exact else then.due_from >= wanted


def check_gaps(history: History, protocol: Protocol, n: int) -> int:
    """Every pair of the plan on the evening of day ``n``; how many pairs with a planned member were compared."""
    evening = history.at(n, "23:45")
    made = history.plan(evening)
    today = history.day(n)
    complete = made.standings["B"].periods[0].complete_on
    compared = 0
    for step in protocol.steps:
        runs = runs_of(made.tasks, step.id)
        assert all(local_day(r.due_from, ZONE) == r.day for r in runs if r.due_from and r.outcome is None)
        assert all(r.day.strftime("%a").lower() in step.weekdays for r in runs if r.day and step.weekdays)
        for first, then in pairwise(runs):
            if then.outcome is None:
                compared += 1
                assert keeps_interval(step, first, then, today), (n, step.id, first, then)
        head = runs[0]
        if head.outcome is not None or head.day is None:
            continue
        compared += 1
        exact, by = not step.weekdays, str(step.start.by)
        if step.start.subject == "observation":
            assert after_period(head, complete, by, exact=exact), (n, step.id, head)
        elif step.start.subject is not None:
            others = runs_of(made.tasks, step.start.subject)
            assert keeps(others[-1 if step.start.kind == "after" else 0], head, by, today, exact=exact), (n, step.id)
    return compared


def after_period(head: PlannedTask, complete: date, by: str, *, exact: bool) -> bool:
    """Whether a run lies ``by`` after the end of the period: days from its last day, hours from the midnight after."""
    number, unit = int(by.split()[0]), by.split()[1]
    assert head.day is not None
    assert head.due_from is not None
    if unit == "d":
        wanted = complete + timedelta(days=number)
        return head.day == wanted if exact else head.day >= wanted
    least = instant_at(complete + timedelta(days=1), "00:00", ZONE) + timedelta(hours=number)
    return head.due_from == least if exact else head.due_from >= least


def keeps_interval(step: Step, first: PlannedTask, then: PlannedTask, today: date) -> bool:
    """Two runs of one step: from the run that was given or from the one planned, as the template says."""
    assert step.repeat is not None
    every = str(step.repeat.every)
    if step.repeat.from_ == "given":
        # A run that was missed and is kept is over: its planned day counts, also where it was skipped then.
        if first.outcome and first.outcome.kind == "skip" and first.lapses_at and first.lapses_at <= first.outcome.at:
            return keeps(first._replace(outcome=None), then, every, first.day, exact=False)  # type: ignore[arg-type]
        return keeps(first, then, every, first.day if first.state == "missed" else today, exact=False)  # type: ignore[arg-type]
    return keeps(first._replace(outcome=None), then, every, first.day, exact=False)  # type: ignore[arg-type]


@settings(max_examples=80)
@given(steps(), st.integers(0, 10**6))
def test_F5_every_planned_pair_keeps_its_gap(written: str, seed: int) -> None:
    """Steps hung on each other in any way, done early, late or not at all: on every evening each run that is ahead
    lies its time after what it hangs on, through a clock change as well."""
    protocol, chance = small(written), random.Random(seed)
    compared = 0
    for n in (0, 3, 7, 10, 14):
        history = History(protocol, arrived=ARRIVED, zone=ZONE)
        live(history, random.Random(chance.random()), n)
        compared += check_gaps(history, protocol, n)
    assert compared > 0


SOUND = EVENTS + '\n[[criterion]]\ncounts = "balanced"\n'
"""The rest of a template that passes every check."""


def test_F5_hours_after_a_period_count_from_the_end_of_its_last_day() -> None:
    """Arrived on 20 March, ten days, then 72 h: the period ends with 30 March, so 3 April 00:00 in London."""
    step = '[[step]]\nid = "a"\nkind = "chore"\ntitle = "A"\nreferences = ["choice"]\n'
    history = History(small(step + 'start = { after = "observation", by = "72 h" }\n'), arrived=ARRIVED, zone=ZONE)
    (task,) = history.runs("a", history.at(0, "12:00"))
    assert task.day == date(2026, 4, 3)
    assert task.due_from == instant_at(date(2026, 4, 3), "00:00", ZONE)


def chain(names: list[str], starts: list[str], until: str = "") -> str:
    """Steps one after the other, each with its own start; the last may repeat until the period."""
    written = []
    for place, (name, start) in enumerate(zip(names, starts, strict=True)):
        repeat = until if until and place == len(names) - 1 else ""
        written.append(
            f'[[step]]\nid = "{name}"\nkind = "chore"\ntitle = "{name}"\nstart = {start}\n'
            f'{repeat}references = ["choice"]\n'
        )
    return "\n".join(written)


@settings(max_examples=60)
@given(st.integers(1, 8), st.lists(st.sampled_from(["after", "begun"]), min_size=8, max_size=8), st.data())
def test_F5_a_circle_of_any_length_is_rejected_and_the_same_chain_cut_open_is_not(
    length: int, words: list[str], data: st.DataObject
) -> None:
    """Steps that each wait for the one before; the first for the last: refused, and the message shows the circle."""
    names = [f"s{n}" for n in range(length)]
    order = data.draw(st.permutations(range(length)))
    starts = [f'{{ {words[n]} = "{names[n - 1]}", by = "1 d" }}' for n in range(length)]

    def text(all_starts: list[str]) -> str:
        return HEAD + chain([names[n] for n in order], [all_starts[n] for n in order]) + SOUND

    with pytest.raises(ProtocolError) as caught:
        read(text(starts), "mine.toml")
    (problem,) = caught.value.problems
    assert "expected a start that does not wait for itself" in problem.message
    shown = re.search(r'got "(.*)"', problem.message)
    assert shown is not None
    assert text(starts).splitlines()[problem.line - 1].startswith("start = ")
    if "…" not in shown[1]:
        circle = shown[1].split(" → ")
        assert circle[0] == circle[-1]
        assert set(circle) == set(names)
    read(text(['{ arrival = "0 d" }', *starts[1:]]), "mine.toml")


def test_F5_a_circle_through_a_period_is_rejected() -> None:
    """A step that repeats until a period which begins after that step would never end."""
    step = chain(["a"], ['{ arrival = "0 d" }'], 'repeat = { every = "1 d", until = "observation" }\n')
    text = HEAD.replace('{ entered = "0 d" }', '{ after = "a" }') + step + SOUND
    with pytest.raises(ProtocolError, match="does not wait for itself"):
        read(text, "mine.toml")


# --- F6 --------------------------------------------------------------------------------------------------

TWO_ANCHORS = """
[[step]]
id = "first"
kind = "chore"
title = "First"
start = { arrival = "24 h" }
after_window = "shift"
references = ["choice"]

[[step]]
id = "moves"
kind = "chore"
title = "Hangs on the first"
start = { after = "first", by = "48 h" }
after_window = "shift"
references = ["choice"]

[[step]]
id = "stays"
kind = "chore"
title = "Hangs on the arrival"
start = { arrival = "72 h" }
after_window = "shift"
references = ["choice"]
"""


@pytest.mark.parametrize(("late", "moved"), [(0, 0), (6, 6), (-2, -2)])
def test_F6_six_hours_late_moves_what_hangs_on_the_fact_and_not_what_hangs_on_day_zero(late: int, moved: int) -> None:
    """Two steps due at the same instant; the first dose done six hours late parts them by six hours, no more."""
    history = History(small(TWO_ANCHORS), arrived=ARRIVED, zone=ZONE)
    (first,) = history.runs("first", history.at(0, "12:00"))
    assert first.due_from is not None
    history.fact("done", first.due_from + timedelta(hours=late), {"key": first.key})
    as_of = first.due_from + timedelta(hours=8)
    (moves,), (stays,) = history.runs("moves", as_of), history.runs("stays", as_of)
    assert stays.due_from == history.arrival.at + timedelta(hours=72)
    assert moves.due_from is not None
    assert moves.due_from - stays.due_from == timedelta(hours=moved)


# --- F34 -------------------------------------------------------------------------------------------------

RULE = re.compile(
    r"(?P<n>\d+) (?P<unit>[dh]) after .+? on (?P<on>\d{4}-\d\d-\d\d)(?: (?P<clock>\d\d:\d\d))?"
    r"(?:; moved from (?P<from_>\d{4}-\d\d-\d\d) to (?P<to>\d{4}-\d\d-\d\d): the window opens on [a-z, ]+)?"
    r"(?:; the first: (?P<root>.+))?"
)


def traced(task: PlannedTask, zone: str) -> re.Match[str]:
    """The reason of a dated task, once its arithmetic gives its day: a date, a length, and perhaps a weekday."""
    found = RULE.fullmatch(task.reason)
    assert found, task
    on, number = date.fromisoformat(found["on"]), int(found["n"])
    if found["unit"] == "d":
        due = on + timedelta(days=number)
    elif found["clock"]:
        at = datetime.fromisoformat(f"{found['on']} {found['clock']}").replace(tzinfo=ZoneInfo(zone))
        due = local_day(at.astimezone(ZoneInfo("UTC")) + timedelta(hours=number), zone)
    else:
        raise AssertionError(task)
    if found["to"]:
        assert found["from_"] == str(due)
        due = date.fromisoformat(found["to"])
    assert due == task.day, task
    return found


def trace_all(history: History, as_of: datetime) -> int:
    """Every task of a plan traced to its event; how many there were."""
    made = history.plan(as_of)
    facts = {f.id: f for f in history.facts}
    events = {local_day(f.at, history.zone) for f in history.facts if f.at <= as_of}
    events |= {t.day for t in made.tasks if t.day} | {local_day(as_of, history.zone)}
    events |= {p.complete_on + timedelta(days=n) for p in made.standings["B"].periods for n in (0, 1)}
    for task in made.tasks:
        anchor = task.key.split(":")[2]
        if task.day is None:
            assert task.needs
            assert anchor == "waiting" or anchor in facts
            continue
        assert anchor in facts, task
        found = traced(task, history.zone)
        assert date.fromisoformat(found["on"]) in events, task
        assert (found["root"] is not None) == (not task.key.endswith(":1")), task
        if found["root"]:
            root = re.fullmatch(r"\d+ [dh] after .+ on (\d{4}-\d\d-\d\d)(?: \d\d:\d\d)?", found["root"])
            assert root, task
            assert date.fromisoformat(root[1]) in events, task
    return len(made.tasks)


@settings(max_examples=30)
@given(st.sampled_from(["fresh-watch", "marine-watch", "marine-praziquantel"]), st.integers(0, 10**6))
def test_F34_every_date_of_a_shipped_template_traces_to_an_event_and_a_rule(template: str, seed: int) -> None:
    """Whatever was done or not: date + length of the reason is the day, the date is that of an event on record or of
    another task, the key hangs on a fact that exists, and a later run names what the first one hung on."""
    history = History(template)
    chance = random.Random(seed)
    for n in range(6):
        if chance.random() < 0.7:
            history.perfect_day(n, but=chance.choice([(), ("dose",), ("look", "feed")]))
    assert trace_all(history, history.at(8, "22:00")) > 80


@settings(max_examples=40)
@given(steps(), st.integers(0, 10**6))
def test_F34_every_date_of_any_template_traces_to_an_event_and_a_rule(written: str, seed: int) -> None:
    """The same for steps that hang on each other in days, hours and weekdays, through a clock change."""
    history = History(small(written), arrived=ARRIVED, zone=ZONE)
    live(history, random.Random(seed), 6)  # and three days on which nobody came
    assert trace_all(history, history.at(9, "23:45")) > 0


def test_F34_a_task_that_waits_says_for_what() -> None:
    """A step that hangs on a sign, a reading or a word has no date and no reason, but a need."""
    starts: dict[str, Any] = {
        "a": '{ sign = "white spots" }',
        "b": '{ reading = "nitrite", min = "0.5 mg/L" }',
        "c": '{ word = "The vet agreed" }',
    }
    history = History(small(chain(list(starts), list(starts.values()))))
    needs = {t.step: t.needs for t in history.plan(history.at(1)).tasks}
    assert needs == {
        "a": "waits until 'white spots' is seen",
        "b": "waits for a reading of nitrite",
        "c": "waits for a keeper's word: The vet agreed",
    }
