"""What holds for every history: keys stand still, the order of entry is nothing, done is done."""

from __future__ import annotations

import random
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

from history import History, dose_step, small
from hypothesis import given, settings
from hypothesis import strategies as st

from quarantine.facts import Fact, PlannedTask
from quarantine.plan import (
    SPOKEN,
    STORED_FIELDS,
    Course,
    code_of,
    plan,
    reconcile,
)
from quarantine.protocol import Protocol

LIVING = """
[[step]]
id = "move"
kind = "move"
title = "Move"
who = "keeper"
start = { arrival = "1 d" }
repeat = { every = "70 h", times = 4, latest = "72 h", then = "THEN", from = "given" }
window = { from = "08:00", until = "20:00" }
after_window = "keep"
references = ["choice"]

[[step]]
id = "test"
kind = "test"
title = "Read"
start = { arrival = "0 d" }
repeat = { every = "1 d", until = "observation" }
reads = ["temperature"]
references = ["choice"]

[[step]]
id = "ramp"
kind = "chore"
title = "Set the heater"
start = { arrival = "2 d" }
repeat = { every = "1 d", times = 5 }
ramp = { reading = "temperature", to = "28 °C", by = "1 °C" }
stop = [{ reading = "temperature", min = "28 °C", within = "24 h", reference = "choice" }]
after_window = "shift"
references = ["choice"]
"""
BY_TABLE = (
    '{ by_temperature = [{ below = "24 °C", every = "7 d", before = "9 d" }, '
    '{ at_least = "24 °C", every = "4 d", before = "6 d" }], times = 3, from = "given" }'
)
ACTIONS = ("note", "pause", "extend", "restart")


def living(seed: int) -> Protocol:
    """A template of what follows the fish and the thermometer, each event with a rule of its own."""
    chance = random.Random(seed)
    steps = LIVING.replace("THEN", chance.choice(["keep", "reopen"])) + dose_step(
        BY_TABLE, chance.choice(["shift", "keep", "reopen"])
    )
    protocol = small(steps)
    events = {name: "restart" if name == "outbreak" else chance.choice(ACTIONS) for name in protocol.events}
    period = protocol.periods[0]
    if chance.random() < 0.6:
        period = period._replace(counts="in-range", reading="temperature", low="23", high="27")
    treated = [s._replace(treatment=s.treatment._replace(regimen="Z03")) if s.treatment else s for s in protocol.steps]
    return protocol._replace(periods=(period,), events=events, steps=tuple(treated))


TEMPLATES = ("fresh-watch", "marine-watch", "marine-praziquantel", "living")


def happens(history: History, n: int, chance: random.Random) -> None:
    """One of the events that last, or that a keeper tells."""
    at, what = history.at(n, chance.choice(["06:00", "13:00", "21:00"])), chance.randrange(6)
    if what == 0:
        data = {"what": chance.choice(["power", "heater", "leak"]), "tanks": ["T"], "tank_ids": ["T"]}
        end = {"until": (at + timedelta(hours=chance.randrange(1, 60))).isoformat()} if chance.random() < 0.7 else {}
        history.fact("incident", at, {**data, **end}, batch=None)
    elif what == 1:
        history.fact("disturbance", at, {"what": "a fall"}, batch=None)
    elif what == 2:
        history.fact("shared", at, {"what": "a net", "with": "T2"}, batch=None)
    elif what == 3:
        history.fact("instruction", at, {"who": "Dr A"})
    elif what == 4:
        history.fact("added", at, {"count": 1})
    else:
        data = {"parameter": "temperature", "value": chance.choice(["18", "22.5", "24", "29"]), "step": "0.1"}
        history.fact("reading", at, data, batch=None)


def lived(template: str, seed: int, days: int = 20) -> History:
    """A random history: days that are lived well, half or not at all, with signs, deaths and events between."""
    chance = random.Random(seed)
    history = History(living(seed) if template == "living" else template)
    for n in range(days):
        if chance.random() < 0.2:
            happens(history, n, chance)
        what = chance.random()
        if what < 0.6:
            history.perfect_day(n)
        elif what < 0.75:
            history.perfect_day(n, but=("dose", "change"))
        elif what < 0.85:
            history.look(n, signs=(chance.choice(["gasping", "white spots", "colour"]),))
        elif what < 0.9:
            history.died(n)
    return history


@settings(deadline=None, max_examples=30)
@given(st.sampled_from(TEMPLATES), st.integers(0, 10**6), st.randoms(use_true_random=False))
def test_the_same_facts_in_any_order_give_the_same_plan(template: str, seed: int, chance: Any) -> None:
    """However the list of facts is shuffled."""
    history = lived(template, seed, 12)
    as_of = history.at(13)
    shuffled = list(history.facts)
    chance.shuffle(shuffled)
    assert history.plan(as_of, facts=shuffled) == history.plan(as_of)


def _but_outcome(tasks: tuple[PlannedTask, ...]) -> list[PlannedTask]:
    return [task._replace(outcome=None) for task in tasks]


@settings(deadline=None, max_examples=30)
@given(st.sampled_from(TEMPLATES), st.integers(0, 10**6), st.randoms(use_true_random=False))
def test_the_order_of_entry_changes_nothing(template: str, seed: int, chance: Any) -> None:
    """The same facts typed in another order, some of them days late: the same tasks on the same days."""
    history = lived(template, seed, 12)
    as_of = history.at(13)
    late = [f._replace(entered_at=f.at + timedelta(hours=chance.randrange(200))) for f in history.facts]
    before, after = history.plan(as_of), history.plan(as_of, facts=late)
    assert _but_outcome(after.tasks) == _but_outcome(before.tasks)
    assert {b: s.earliest for b, s in after.standings.items()} == {b: s.earliest for b, s in before.standings.items()}


@settings(deadline=None, max_examples=30)
@given(st.sampled_from(TEMPLATES), st.integers(0, 10**6), st.data())
def test_keys_never_move_when_an_earlier_fact_is_entered_late(template: str, seed: int, data: st.DataObject) -> None:
    """Any fact may arrive last: every key that was planned without it and is still planned is the same work."""
    history = lived(template, seed, 12)
    as_of = history.at(13)
    missing = data.draw(st.sampled_from(history.facts[1:]))
    without = history.plan(as_of, facts=[f for f in history.facts if f.id != missing.id])
    late = [f if f.id != missing.id else f._replace(entered_at=as_of) for f in history.facts]
    keys = {task.key: (task.step, task.batch) for task in without.tasks}
    again = {task.key: (task.step, task.batch) for task in history.plan(as_of, facts=late).tasks}
    assert all(again[key] == keys[key] for key in keys.keys() & again.keys())
    # a horizon may grow or shrink by the fact, a stop fall away, a table ask for one more; the rest keeps every key
    steps = [s for s in history.protocol.steps if not s.stop]
    finite = {s.id for s in steps if s.repeat is None or not (s.repeat.until or s.repeat.by_temperature)}
    assert {k for k, (step, _) in keys.items() if step in finite} == {k for k, (s, _) in again.items() if s in finite}


SIGN_DOSE = dose_step('{ every = "4 d", times = 2, from = "given" }', start='{ sign = "white spots", by = "1 d" }')


def test_B9_a_sign_seen_earlier_and_entered_late_starts_no_second_course() -> None:
    """The course hangs on the look that was entered first: the dose that was given stays given."""
    history = History(small(SIGN_DOSE))
    assert [t.needs for t in history.runs("dose", history.at(1))] == ["waits until 'white spots' is seen"]
    history.look(4, signs=("white spots",))
    first = history.runs("dose", history.at(4, "10:00"))[0]
    assert first.day == history.day(5)
    history.dose(history.at(5), first.key)
    history.look(3, signs=("white spots",), entered=history.at(5, "12:00"))
    history.look(6, signs=("white spots",))
    runs = history.runs("dose", history.at(6, "12:00"))
    assert [(run.day, run.state) for run in runs] == [(history.day(4), "done"), (history.day(9), "planned")]
    assert runs[0].key == first.key


def test_a_reading_that_starts_a_step_keeps_its_key() -> None:
    """An earlier reading entered late moves the day and not the key; a reading inside the limits starts nothing."""
    start = '{ reading = "nitrite", min = "0.5 mg/L", by = "1 d" }'
    history = History(small(dose_step('{ every = "4 d", times = 1 }', start=start)))
    history.read(2, nitrite="0.1")
    assert history.runs("dose", history.at(3))[0].needs == "waits for a reading of nitrite"
    history.read(5, nitrite="0.6")
    first = history.runs("dose", history.at(5, "10:00"))[0]
    assert first.day == history.day(6)
    history.fact(
        "reading",
        history.at(4),
        {"parameter": "nitrite", "value": "0.7", "step": "0.1"},
        entered=history.at(6),
        batch=None,
    )
    again = history.runs("dose", history.at(6, "10:00"))
    assert [(t.key, t.day) for t in again] == [(first.key, history.day(5))]


def rows_of(tasks: tuple[PlannedTask, ...]) -> list[dict[str, Any]]:
    return [{"id": f"row {t.key}", "key": t.key, **{name: getattr(t, name) for name in STORED_FIELDS}} for t in tasks]


def store(rows: list[dict[str, Any]], tasks: tuple[PlannedTask, ...]) -> list[dict[str, Any]]:
    """Rows after what reconcile says was written."""
    changes = reconcile(rows, tasks)
    changed = dict(changes.changed)
    return [row | changed.get(row["id"], {}) for row in rows] + rows_of(tuple(changes.new))


@settings(deadline=None, max_examples=25)
@given(st.sampled_from(TEMPLATES), st.integers(0, 10**6))
def test_reconcile_is_idempotent_and_never_touches_what_is_done(template: str, seed: int) -> None:
    """Stored once, the same plan changes nothing; done and skipped rows stay as they were through all later plans."""
    history = lived(template, seed, 14)
    rows: list[dict[str, Any]] = []
    for n in range(0, 15, 2):
        tasks = history.plan(history.at(n, "22:00")).tasks
        finished = {row["id"]: row for row in rows if row["state"] in ("done", "skipped")}
        rows = store(rows, tasks)
        again = reconcile(rows, tasks)
        assert (again.new, again.changed) == ([], [])
        assert all(row == finished[row["id"]] for row in rows if row["id"] in finished)


def test_reconcile_withdraws_what_is_no_longer_planned_and_brings_it_back() -> None:
    """A course that is closed loses its open rows; planned again they stand as before."""
    history = History("fresh-watch")
    tasks = history.plan(history.at(1)).tasks
    rows = store([], tasks)
    gone = store(rows, ())
    assert {row["state"] for row in gone if row["day"]} == {"withdrawn"}
    assert store(gone, tasks) == rows


@settings(deadline=None, max_examples=25)
@given(st.sampled_from(TEMPLATES), st.integers(0, 10**6), st.integers(0, 20))
def test_a_plan_never_lies_in_the_past(template: str, seed: int, n: int) -> None:
    """A day that is over holds outcomes, missed work, or work that stays overdue because it never lapses."""
    history = lived(template, seed)
    for task in history.plan(history.at(n, "22:00")).tasks:
        if task.day is not None and task.day < history.day(n) and task.state == "planned":
            assert task.lapses_at is None
            assert task.kind in ("dose", "change", "chore", "move")


@settings(deadline=None, max_examples=40)
@given(st.sampled_from(TEMPLATES), st.integers(0, 10**6), st.integers(1, 20))
def test_no_period_ends_before_it_began_nor_is_complete_unproven(template: str, seed: int, n: int) -> None:
    """Through every event and gap: day zero is not after the end, what is not proven does not lie in the past, and no
    sign-off is due before its last period ends."""
    history = lived(template, seed, n)
    standing = history.plan(history.at(n, "22:00")).standings["B"]
    for period in standing.periods:
        assert period.zero <= period.complete_on <= standing.earliest
        assert period.is_proven or period.complete_on >= history.day(n)
        if period.in_range is not None:
            passed = history.at(n, "22:00") - history.arrival.at
            assert timedelta(0) <= period.in_range.counted <= passed


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 10**6), st.integers(2, 20))
def test_every_planned_gap_and_ceiling_of_the_living_plan_holds(seed: int, n: int) -> None:
    """On any evening: a move is due 70 h after the one that was made and by 72 h at the latest; no two doses that are
    given or planned lie closer than the shortest row of their table."""
    history = lived("living", seed, n)
    at = history.at(n, "22:00")
    tasks = history.plan(at).tasks
    moves: dict[str, list[PlannedTask]] = {}
    for task in sorted((t for t in tasks if t.step == "move"), key=lambda t: t.key):
        moves.setdefault(task.key.rpartition(":")[0], []).append(task)
    for series in moves.values():
        for first, then in pairwise(series):
            if first.outcome is not None and first.outcome.kind == "done" and then.outcome is None and then.due_until:
                assert then.due_from == first.outcome.at + timedelta(hours=70)
                assert then.due_until == first.outcome.at + timedelta(hours=72)
                assert then.lapses_at in (None, then.due_until)
    doses = [t for t in tasks if t.step == "dose" and t.day is not None and t.state in ("planned", "done")]
    days = sorted((_really(t, history, n), t.state) for t in doses)
    assert all((later - sooner).days >= 4 for (sooner, _), (later, state) in pairwise(days) if state == "planned")


@settings(deadline=None, max_examples=25)
@given(st.integers(0, 10**6), st.integers(1, 20))
def test_planning_again_changes_nothing(seed: int, n: int) -> None:
    """Twice by the same facts: the same plan, whatever was kept from the first time."""
    history = lived("living", seed, n)
    at = history.at(n, "22:00")
    assert history.plan(at) == history.plan(at)


@settings(deadline=None, max_examples=10)
@given(st.integers(0, 10**6))
def test_a_closed_course_has_no_open_task(seed: int) -> None:
    """After sign-off only what has an outcome is left."""
    history = lived("marine-praziquantel", seed)
    as_of = history.at(20)
    made = plan([history.course(closed_at=as_of)], history.facts, as_of, history.water)
    assert all(task.outcome is not None for task in made.tasks)


@settings(deadline=None, max_examples=60)
@given(
    st.sampled_from(["planned", "given"]),
    st.lists(st.integers(0, 6), min_size=3, max_size=3),
    st.lists(st.sampled_from(["08:00", "13:00", "19:59", "23:00"]), min_size=3, max_size=3),
)
def test_planned_doses_keep_the_templates_gap(from_: str, waits: list[int], clocks: list[str]) -> None:
    """However late each dose is given, on every evening those given and those planned lie four days apart."""
    history = History(small(dose_step(f'{{ every = "4 d", times = 4, from = "{from_}" }}')))
    doses = 0
    due_since = None
    for n in range(3, 45):
        runs = history.runs("dose", history.at(n, "07:00"))
        next_ = next((r for r in runs if r.outcome is None), None)
        if next_ is not None and next_.day is not None and next_.day <= history.day(n):
            due_since = n if due_since is None else due_since
            if doses == 3 or n - due_since >= waits[doses]:
                clock = clocks[doses] if doses < 3 else "09:00"
                history.dose(history.at(n, clock), next_.key)
                doses, due_since = doses + 1, None
        evening = history.at(n, "23:30")
        days = sorted(_really(run, history, n) for run in history.runs("dose", evening) if run.day)
        gaps = [(b - a).days for a, b in pairwise(days)]
        assert all(gap >= 4 for gap in gaps), (n, days)
    assert doses == 4


def _really(run: PlannedTask, history: History, n: int) -> date:
    """The day of a dose as it was given, or as it can still be given."""
    assert run.day is not None
    if run.outcome is not None:
        return run.outcome.at.date()
    return max(run.day, history.day(n))


def test_an_event_of_the_template_pauses_or_extends_by_a_day() -> None:
    """A sign seen on day 4 and still open on day 5: by pause neither day counts, by extend the hours between make the
    period longer by the days they began; note does nothing."""
    for action, expected in (("note", 10), ("pause", 12), ("extend", 11), ("restart", 14)):
        history = History(small("", events={"sign_b": action}))
        history.looks(0, 3)
        history.look(4, signs=("white spots",))
        period = history.plan(history.at(5)).standings["B"].periods[0]
        assert period.complete_on == history.day(expected)


def test_B8_a_restart_moves_observation_and_not_what_was_given() -> None:
    """An A sign on day 9: the period starts again, the doses keep their days and keys."""
    history = History("marine-praziquantel")
    for n in range(9):
        history.perfect_day(n)
    before = history.runs("dose", history.at(8, "22:00"))
    history.look(9, signs=("gasping",))
    after = history.runs("dose", history.at(9, "22:00"))
    assert [(t.key, t.day, t.state) for t in after] == [(t.key, t.day, t.state) for t in before]
    assert history.plan(history.at(9, "22:00")).standings["B"].periods[0].zero == history.day(9)


def test_B1_two_batches_in_one_water_share_the_later_clock() -> None:
    """The period of the older batch starts again when the younger one comes in; the younger one's is its own."""
    history = History("fresh-watch")
    other = history.fact("arrival", history.at(6), {"count": 3}, batch="other")
    courses = [history.course(), Course("other", "T", "S", history.zone, history.protocol, other)]
    made = plan(courses, history.facts, history.at(7), history.water)
    assert {s.periods[0].zero for s in made.standings.values()} == {history.day(6)}
    assert {s.earliest for s in made.standings.values()} == {history.day(36)}


def test_a_step_after_one_that_is_not_planned_waits() -> None:
    """Where a step has no run at all, what follows it waits and says for what."""
    never = """
[[step]]
id = "never"
kind = "chore"
title = "Never"
start = { arrival = "90 d" }
repeat = { every = "1 d", until = "observation" }
references = ["choice"]

[[step]]
id = "then"
kind = "chore"
title = "Then"
start = { after = "never" }
references = ["choice"]

[[step]]
id = "first"
kind = "chore"
title = "First"
start = { begun = "never" }
references = ["choice"]
"""
    history = History(small(never))
    for step in ("then", "first"):
        (task,) = history.runs(step, history.at(1))
        assert (task.day, task.needs) == (None, "waits for 'never', which is not planned")


def test_a_keepers_word_is_waited_for() -> None:
    """A step that starts on a word has no day."""
    history = History(small(dose_step('{ every = "4 d", times = 1 }', start='{ word = "the vet agreed" }')))
    (task,) = history.runs("dose", history.at(1))
    assert (task.day, task.needs) == (None, "waits for a keeper's word: the vet agreed")


def test_facts_after_the_instant_are_left_out() -> None:
    """The plan of yesterday does not know today."""
    history = History("fresh-watch")
    before = history.plan(history.at(2))
    history.look(5, signs=("gasping",))
    assert history.plan(history.at(2)) == before


@given(st.text(min_size=1, max_size=60), st.integers(0, 50))
def test_codes_are_spoken_and_dose_codes_start_with_d(key: str, attempt: int) -> None:
    """No 0, O, 1, I or L anywhere; D first for a dose and nowhere for care."""
    assert not set("0O1ILD") & set(SPOKEN)
    care, dose = code_of(key, "look", attempt), code_of(key, "dose", attempt)
    assert (len(care), len(dose)) == (4, 5)
    assert set(care) <= set(SPOKEN)
    assert dose == "D" + care


def test_a_clash_of_codes_takes_the_next_attempt() -> None:
    """Another attempt is another code; the same one is always the same."""
    assert code_of("k", "look") == code_of("k", "look", 0)
    assert code_of("k", "look", 1) != code_of("k", "look", 0)


def test_a_fact_is_put_in_one_order_on_every_machine() -> None:
    """By when it happened, then by when it was entered, then by id."""
    from quarantine.facts import in_order

    history = History()
    late = history.fact("look", history.at(1), {"seen": 1}, entered=history.at(2), id_="a")
    soon = history.fact("look", history.at(1), {"seen": 2}, entered=history.at(1), id_="z")
    twin = history.fact("look", history.at(1), {"seen": 3}, entered=history.at(1), id_="b")
    ordered: list[Fact] = in_order([late, soon, twin])
    assert [f.id for f in ordered] == ["b", "z", "a"]
