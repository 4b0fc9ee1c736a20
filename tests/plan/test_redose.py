"""What a water change inside a treatment calls for: doses again by the template's mode (rules C1, C5, C11, F23)."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from history import History, dose_step, small
from hypothesis import given
from hypothesis import strategies as st

from quarantine.facts import Fact, PlannedTask
from quarantine.plan import reading_steps
from quarantine.protocol import Protocol, Treatment

CLEARING = """
[[step]]
id = "clear"
kind = "change"
title = "Change half the water"
start = { after = "dose", by = "9 d" }
repeat = { every = "1 d", times = 2, from = "given" }
fraction = "50 %"
after_window = "shift"
references = ["choice"]
"""

WEEKLY = """
[[step]]
id = "weekly"
kind = "change"
title = "Change a quarter"
start = { arrival = "1 d" }
repeat = { every = "7 d", until = "observation" }
fraction = "25 %"
references = ["choice"]
"""


def protocol(
    mode: str = "replace removed",
    *,
    more: str = "",
    regimen: str = "Z01",
    repeat: str = "",
    after_change: str = "nothing",
) -> Protocol:
    """One dose on day 3 that stays in the water, and clearing nine days after it."""
    steps = dose_step(repeat or '{ every = "4 d", times = 1, from = "given" }') + CLEARING + more
    made = small(steps)
    dose = Treatment(regimen, None, mode, "system", "running", (), "Clearing begins nine days after the dose.")
    dose = dose._replace(after_change=after_change)
    return made._replace(steps=tuple(s._replace(treatment=dose) if s.id == "dose" else s for s in made.steps))


def treated(made: Protocol | None = None) -> History:
    """The course's first dose was given at nine on day 3, by its own task."""
    history = History(made or protocol())
    history.dose(history.at(3), key_of(history, "dose", 3))
    return history


def key_of(history: History, step: str, n: int) -> str:
    return next(t.key for t in history.plan(history.at(n)).tasks if t.step == step and not t.key.endswith(":0"))


def again(history: History, n: int, clock: str = "23:00", step: str = "dose") -> list[PlannedTask]:
    """What changes called for, as the plan has it late on a day."""
    return [t for t in history.plan(history.at(n, clock)).tasks if t.step == step and t.key.endswith(":0")]


def open_again(history: History, n: int, clock: str = "23:00") -> list[PlannedTask]:
    return [t for t in again(history, n, clock) if t.outcome is None]


def test_F23_a_change_calls_for_a_dose_that_hangs_on_it() -> None:
    """The task is of the dose's own step, on the day of the change, and its key names the change."""
    history = treated()
    change = history.change(5, "10:00", 80)
    (task,) = again(history, 5)
    assert task.key == f"S:dose:{change.id}:0"
    assert (task.kind, task.title) == ("dose", "Bath again after a water change")
    assert (task.day, task.state) == (history.day(5), "planned")
    assert "80 L on 2026-02-15 10:00" in task.reason
    assert "replace removed (rule C1)" in task.reason


def test_F23_as_published_calls_for_the_full_amount_only_where_the_template_says_so() -> None:
    """Story 2: what breaks down may be given in full again; the template decides, and nothing is the default."""
    silent, full = treated(protocol("as published")), treated(protocol("as published", after_change="full"))
    for history in (silent, full):
        history.change(5, "10:00", 80)
    assert again(silent, 5) == []
    (task,) = again(full, 5)
    assert task.day == full.day(5)
    assert "the template says: the full amount again (rule C1)" in task.reason


def test_F23_a_top_up_and_evaporation_call_for_none() -> None:
    """Evaporation takes nothing of the substance out, and the top-up after it brings none back (rule C12)."""
    history = treated()
    history.fact("evaporation", history.at(5), {"litres": "8"}, batch=None)
    history.fact("topup", history.at(5, "10:00"), {"litres": "8"}, batch=None)
    assert again(history, 5) == []


def test_before_the_first_dose_a_change_calls_for_none() -> None:
    """There is nothing in the water yet."""
    history = History(protocol())
    history.change(3, "08:00", 80)
    history.dose(history.at(3), key_of(history, "dose", 3))
    assert again(history, 4) == []


def test_as_published_gives_nothing_in_between() -> None:
    """The full amount follows on its own date."""
    history = treated(protocol("as published"))
    history.change(5, "10:00", 80)
    assert again(history, 5) == []


def test_a_timed_bath_is_ended_by_a_change_and_not_dosed_again() -> None:
    """Z02 lasts 30 hours, within the 48 of rule C5: the change ends it."""
    history = treated(protocol(regimen="Z02"))
    history.change(4, "10:00", 80)
    assert again(history, 4) == []


def test_two_changes_on_one_day_call_for_one_dose() -> None:
    """Not two: at most one dose of a substance a day in one water (rules B2 and C11)."""
    history = treated()
    first = history.change(5, "10:00", 80)
    history.change(5, "15:00", 40)
    (task,) = again(history, 5)
    assert task.key == f"S:dose:{first.id}:0"
    assert "80 L on 2026-02-15 10:00 and 40 L on 2026-02-15 15:00" in task.reason


def test_an_open_dose_takes_the_change_of_the_next_day_along() -> None:
    """All that went out since the last dose is one dose, due after the last change."""
    history = treated()
    first = history.change(5, "10:00", 80)
    history.change(6, "10:00", 40)
    (task,) = again(history, 6)
    assert (task.key, task.day) == (f"S:dose:{first.id}:0", history.day(6))


def test_a_change_after_the_dose_of_that_day_is_made_good_the_next_day() -> None:
    """Two doses of one substance are never given on one day; nor is one due whose window is over."""
    history = treated()
    history.change(3, "15:00", 80)
    assert [t.day for t in again(history, 3)] == [history.day(4)]
    late = treated()
    late.change(5, "20:30", 80)
    assert [t.day for t in again(late, 5)] == [late.day(6)]


def test_what_was_given_again_is_done_and_moves_no_dose_of_the_course() -> None:
    """The course's second dose stays where it was; the redose is no run of the course."""
    repeat = '{ every = "4 d", times = 2, from = "given" }'
    history = treated(protocol(repeat=repeat))
    before = [t.day for t in history.runs("dose", history.at(4))]
    history.change(4, "10:00", 80)
    (task,) = again(history, 4)
    history.dose(history.at(4, "12:00"), task.key)
    (done,) = again(history, 4)
    assert (done.key, done.state) == (task.key, "done")
    assert [t.day for t in history.runs("dose", history.at(4)) if not t.key.endswith(":0")] == before
    assert [t.title for t in history.runs("dose", history.at(4)) if not t.key.endswith(":0")] == [
        "Bath (1 of 2)",
        "Bath (2 of 2)",
    ]


def test_a_second_change_after_the_dose_calls_for_another() -> None:
    """The first group is done with its dose; the second hangs on its own change."""
    history = treated()
    history.change(5, "10:00", 80)
    history.dose(history.at(5, "12:00"), again(history, 5)[0].key)
    second = history.change(7, "10:00", 40)
    assert [t.key for t in open_again(history, 7)] == [f"S:dose:{second.id}:0"]


def test_a_change_that_is_entered_late_moves_no_key() -> None:
    """An earlier change entered later joins the open dose, and does not take its key away."""
    history = treated()
    first = history.change(6, "10:00", 80)
    history.fact(
        "change",
        history.at(5),
        {"out_litres": "40.0", "in_litres": "40.0"},
        entered=history.at(6, "12:00"),
        batch=None,
    )
    assert [t.key for t in again(history, 6)] == [f"S:dose:{first.id}:0"]


def test_a_change_that_is_entered_after_the_dose_calls_for_its_own() -> None:
    """The dose was computed without it, whatever the times say."""
    history = treated()
    history.change(5, "10:00", 80)
    history.dose(history.at(5, "12:00"), again(history, 5)[0].key)
    data = {"out_litres": "40.0", "in_litres": "40.0"}
    late = history.fact("change", history.at(5, "11:00"), data, entered=history.at(6), batch=None)
    assert [t.key for t in open_again(history, 6)] == [f"S:dose:{late.id}:0"]


def test_a_change_that_was_undone_or_corrected() -> None:
    """Undone: nothing is due. Corrected (same id, other litres): the same key."""
    history = treated()
    change = history.change(5, "10:00", 80)
    key = again(history, 5)[0].key
    history.facts.remove(change)
    assert again(history, 5) == []
    history.facts.append(change._replace(data={"out_litres": "20.0", "in_litres": "20.0"}))
    assert [t.key for t in again(history, 5)] == [key]
    history.facts[-1] = change._replace(data={"out_litres": "0", "in_litres": "0"})
    assert again(history, 5) == []


def test_clearing_ends_it() -> None:
    """The changes of clearing call for none, and what was still open then is withdrawn."""
    history = treated()
    history.change(10, "21:00", 80)
    assert [t.day for t in open_again(history, 10)] == [history.day(11)]
    assert open_again(history, 11, "09:00")
    clear = next(t for t in history.plan(history.at(12)).tasks if t.step == "clear")
    assert clear.day == history.day(12)
    history.done(clear, history.at(11, "12:00"))
    assert open_again(history, 11) == []
    history.change(11, "15:00", 40)
    assert open_again(history, 12) == []


def test_a_dose_that_would_fall_on_the_day_of_clearing_is_not_due() -> None:
    """Clearing comes first, even before its change is logged."""
    history = treated()
    history.change(11, "21:00", 80)
    assert open_again(history, 11) == []


def test_a_stopped_course_gets_no_dose_again() -> None:
    """A person stopped it: what is open is withdrawn (F41)."""
    history = treated()
    history.change(5, "10:00", 80)
    history.fact("stopped", history.at(6), {"step": "dose", "title": "Bath", "because": "a test", "left": []})
    assert open_again(history, 6) == []


def test_the_next_dose_of_the_course_takes_the_place() -> None:
    """Where the course doses again on that day or before, there is one dose and not two (rule B2)."""
    history = treated(protocol(repeat='{ every = "4 d", times = 2, from = "given" }'))
    history.change(7, "07:00", 80)
    assert open_again(history, 7) == []
    assert [t.day for t in history.runs("dose", history.at(7)) if t.outcome is None] == [history.day(7)]


def test_a_skipped_dose_again_is_settled() -> None:
    """Its reason stands; a later change calls for one that makes good both."""
    history = treated()
    history.change(5, "10:00", 80)
    (task,) = again(history, 5)
    history.fact("skip", history.at(5, "12:00"), {"key": task.key, "task_kind": "dose", "because": "a test"})
    (skipped,) = again(history, 6)
    assert skipped.state == "skipped"
    history.change(8, "10:00", 40)
    assert len(open_again(history, 8)) == 1


def test_top_up_to_a_reading_asks_for_the_reading_first() -> None:
    """A test of the substance after the change, then the dose; a reading from before the change does not settle it."""
    made = protocol("top up to a reading", regimen="T11")
    history = History(made)
    history.dose(history.at(3), key_of(history, "dose", 3), substance="sodium-chloride", route="prolonged")
    history.read(5, "09:00", salinity="5")
    change = history.change(5, "10:00", 80)
    (test,) = again(history, 5, step="dose.read")
    assert (test.key, test.kind, test.state) == (f"S:dose.read:{change.id}:0", "test", "planned")
    assert test.title == "Read salinity after a water change"
    assert len(again(history, 5)) == 1
    history.read(5, "11:00", salinity="4")
    assert again(history, 5, step="dose.read")[0].state == "done"
    assert [(s.id, s.reads, s.treatment) for s in reading_steps(made)] == [("dose.read", ("salinity",), None)]


def test_open_doses_hold_the_forecast() -> None:
    """What is still to be given counts for the earliest day, as every task does."""
    history = treated()
    history.change(5, "10:00", 80)
    assert history.earliest(history.at(30)) >= history.day(30)


# --- Water that flows through all the time (rules C1, C12) ---------------------------------------------------


def flow(
    history: History, n: int, clock: str = "10:00", rate: str = "2", until: str | None = None, **more: Any
) -> Fact:
    return history.fact("exchange", history.at(n, clock), {"litres_per_hour": rate, "until": until}, batch=None, **more)


def test_a_flow_calls_for_one_dose_a_day_until_it_ends() -> None:
    """It is planned for the next day, hangs on the day of the flow, and the next one is planned once it is given."""
    history = treated()
    began = flow(history, 5)
    keys = []
    for n in (6, 7, 8):
        (task,) = open_again(history, n - 1)
        assert (task.day, task.title) == (history.day(n), "Bath again while water flows through")
        assert task.key == f"S:dose:{began.id}-{history.day(n - 1)}:0"
        assert task.reason.startswith("water flows through: 2 L an hour since 2026-02-15 10:00; ")
        assert [t.key for t in open_again(history, n, "09:00")] == [task.key]
        history.dose(history.at(n), task.key)
        keys.append(task.key)
    flow(history, 8, "15:00", "0")
    (last,) = open_again(history, 8, "16:00")
    assert (last.day, last.key) == (history.day(9), f"S:dose:{began.id}-{history.day(8)}:0")
    assert "from 2026-02-15 10:00 to 2026-02-18 15:00" in last.reason
    history.dose(history.at(9), last.key)
    assert open_again(history, 10) == []
    assert [t.key for t in again(history, 10)] == [*keys, last.key]


def test_a_flow_that_was_left_a_day_keeps_its_one_open_dose() -> None:
    """The first is due today again, and the day that begins is planned only after it."""
    history = treated()
    flow(history, 5)
    (first,) = open_again(history, 5)
    for n in (6, 7, 8):
        (task,) = open_again(history, n, "12:00")
        assert (task.key, task.day) == (first.key, history.day(n))


def test_a_dose_before_its_day_leaves_the_rest_of_that_day_to_another() -> None:
    """Given on the evening of the flow: what flows until midnight has a dose of its own, under its own key."""
    history = treated()
    began = flow(history, 5)
    (early,) = open_again(history, 5)
    history.dose(history.at(5, "18:00"), early.key)
    (rest,) = open_again(history, 5)
    assert (rest.key, rest.day) == (f"S:dose:{began.id}-{history.day(5)}-2:0", history.day(6))
    assert [t.state for t in again(history, 5)] == ["planned", "done"]
    history.dose(history.at(6), rest.key)
    assert [t.key for t in open_again(history, 6)] == [f"S:dose:{began.id}-{history.day(6)}:0"]


def test_a_skipped_day_of_a_flow_is_settled_before_it_and_on_it() -> None:
    """Its reason stands, and the next day has its own; that dose is sized by all that went out since the last one."""
    for clock, n in (("18:00", 5), ("09:00", 6)):
        history = treated()
        began = flow(history, 5)
        (task,) = open_again(history, 5)
        history.fact("skip", history.at(n, clock), {"key": task.key, "task_kind": "dose", "because": "a test"})
        (following,) = open_again(history, 6)
        assert (following.key, following.day) == (f"S:dose:{began.id}-{history.day(6)}:0", history.day(7))
        assert [t.state for t in again(history, 6) if t.outcome] == ["skipped"]


def test_a_flow_that_ran_before_the_dose_counts_from_the_dose_on() -> None:
    """What flowed through clean water took nothing out."""
    history = History(protocol())
    flow(history, 1)
    assert again(history, 2) == []
    history.dose(history.at(3), key_of(history, "dose", 3))
    (task,) = open_again(history, 3)
    assert task.day == history.day(4)


def test_a_flow_that_is_entered_after_a_dose_calls_for_its_own() -> None:
    """The dose was computed without it; and the end that is entered late moves no key."""
    history = treated()
    history.change(5, "10:00", 80)
    history.dose(history.at(6), again(history, 5)[0].key)
    late = flow(history, 5, "12:00", entered=history.at(6, "12:00"))
    (task,) = open_again(history, 6, "13:00")
    assert (task.key, task.day) == (f"S:dose:{late.id}-{history.day(5)}:0", history.day(7))
    flow(history, 5, "18:00", "0", entered=history.at(6, "13:00"))
    assert [t.key for t in open_again(history, 6, "14:00")] == [task.key]


def test_a_flow_of_another_rate_goes_on_with_the_same_dose() -> None:
    """One tank has one flow; both took out what one dose makes good."""
    history = treated()
    flow(history, 5)
    flow(history, 6, "06:00", "3")
    (task,) = open_again(history, 6, "07:00")
    assert task.day == history.day(6)
    assert "2 L an hour from 2026-02-15 10:00 to 2026-02-16 06:00 and 3 L an hour since" not in task.reason
    assert "2 L an hour from 2026-02-15 10:00 to 2026-02-16 06:00" in task.reason


def test_clearing_and_a_stop_end_what_a_flow_calls_for() -> None:
    """No dose on the day of clearing or after it (rule C5), none of a course that a person stopped (F41)."""
    history = treated()
    flow(history, 10)
    assert [t.day for t in open_again(history, 10)] == [history.day(11)]
    history.dose(history.at(11), open_again(history, 11)[0].key)
    assert open_again(history, 11) == []
    stopped = treated()
    flow(stopped, 5)
    stopped.fact("stopped", stopped.at(5, "12:00"), {"step": "dose", "title": "Bath", "because": "a test", "left": []})
    assert open_again(stopped, 6) == []


def test_a_flow_follows_the_mode_of_its_template() -> None:
    """As published none; the full amount where the template says so; a reading first where it is topped up."""
    for made, says in (
        (protocol("as published"), None),
        (protocol("as published", after_change="full"), "the full amount again (rule C1)"),
        (protocol("top up to a reading", regimen="T11"), "top up to a reading (rule C1)"),
    ):
        history = History(made)
        salt = says is not None and says.startswith("top")
        substance, route = ("sodium-chloride", "prolonged") if salt else ("praziquantel", "bath")
        history.dose(history.at(3), key_of(history, "dose", 3), substance=substance, route=route)
        flow(history, 5)
        found = open_again(history, 6, "09:00")
        assert [t.reason.endswith(f"the template says: {says}") for t in found] == ([True] if says else [])
        assert len(again(history, 6, "09:00", "dose.read")) == salt


def test_a_timed_bath_is_ended_by_a_flow_and_not_dosed_again() -> None:
    """Z02 lasts 30 hours, within the 48 of rule C5."""
    history = treated(protocol(regimen="Z02"))
    flow(history, 4)
    assert again(history, 5) == []


FLOWS = st.lists(
    st.tuples(
        st.integers(3, 13),
        st.integers(0, 23),
        st.sampled_from(["0", "0.5", "3"]),
        st.sampled_from(["", "give", "skip"]),
    ),
    min_size=1,
    max_size=8,
)


@given(FLOWS)
def test_one_open_dose_at_most_however_it_flows(acts: list[tuple[int, int, str, str]]) -> None:
    """Never two open ones, never two of one key, none before its flow, none on or after the day of clearing."""
    history = treated()
    for n, hour, rate, act in sorted(acts):
        if (n, hour) <= (3, 9):
            continue
        flow(history, n, f"{hour:02}:00", rate)
        found = open_again(history, n, f"{hour:02}:30")
        assert len(found) <= 1
        for task in found:
            assert task.day is not None
            assert history.day(3) < task.day < history.day(12)
            outcome = {"key": task.key, "task_kind": "dose", "because": "a test"}
            if act == "give":
                history.dose(history.at(n, f"{hour:02}:45"), task.key)
            elif act == "skip":
                history.fact("skip", history.at(n, f"{hour:02}:45"), outcome)
            keys = [t.key for t in again(history, n, f"{hour:02}:50")]
            assert len(keys) == len(set(keys))
            if act:
                assert task.key in {t.key for t in again(history, n, f"{hour:02}:50") if t.outcome is not None}


# --- C11: no planned change until contact ends ---------------------------------------------------------------


def weekly_days(history: History, n: int) -> list[int]:
    return [(t.day - history.day(0)).days for t in history.runs("weekly", history.at(n)) if t.day]


def test_C11_a_planned_change_inside_contact_moves_behind_it() -> None:
    """Dose on day 3, clearing on days 12 and 13: the change of day 8 waits until day 14, and says why."""
    history = History(protocol("as published", more=WEEKLY))
    assert weekly_days(history, 0)[:2] == [1, 14]
    moved = history.runs("weekly", history.at(0))[1]
    assert "no planned change while Praziquantel acts (rule C11)" in moved.reason


def test_C11_on_the_day_of_the_dose_the_change_comes_first() -> None:
    """Before the dose it may be done that day; once the dose is in, it waits."""
    history = History(protocol("as published", more=WEEKLY.replace('"1 d" }', '"3 d" }', 1)))
    assert weekly_days(history, 2)[0] == 3
    history.dose(history.at(3), key_of(history, "dose", 3))
    assert weekly_days(history, 3)[0] == 14


def test_C11_a_change_that_a_reading_asks_for_is_never_moved() -> None:
    """Ammonia comes first all the same."""
    step = WEEKLY.replace('{ arrival = "1 d" }', '{ reading = "nitrite", min = "1 mg/L" }').replace(
        'repeat = { every = "7 d", until = "observation" }\n', ""
    )
    test = '\n[[step]]\nid = "t"\nkind = "test"\ntitle = "T"\nstart = { arrival = "0 d" }\nreads = ["nitrite"]\n'
    history = treated(protocol(more=step + test + 'references = ["choice"]\n'))
    history.read(5, nitrite="2")
    assert weekly_days(history, 5) == [5]


def test_C11_after_contact_the_days_are_what_they_were() -> None:
    """A change that was done inside contact stays where it was done."""
    history = treated(protocol("as published", more=WEEKLY))
    weekly = history.runs("weekly", history.at(3))[0]
    history.fact("done", history.at(2), {"key": weekly.key})
    assert weekly_days(history, 4)[0] == 1


def test_C11_what_follows_a_moved_change_counts_from_where_it_was_done() -> None:
    """The change of day 8 waits until day 14; done there, the next is due on day 21, not the day after."""
    history = treated(protocol("as published", more=WEEKLY.replace('until = "observation"', "times = 4")))
    history.fact("done", history.at(2), {"key": history.runs("weekly", history.at(3))[0].key})
    for n in range(4, 14):
        history.perfect_day(n)
    moved = history.runs("weekly", history.at(13))[1]
    assert moved.day == history.day(14)
    history.fact("done", history.at(14), {"key": moved.key})
    days = [(run.day - history.day(0)).days for run in history.runs("weekly", history.at(14, "20:00")) if run.day]
    assert days[:3] == [1, 14, 21]


# --- Any history ---------------------------------------------------------------------------------------------

CHANGES = st.lists(
    st.tuples(st.integers(3, 13), st.integers(10, 22), st.decimals("0.1", "190", places=1)), min_size=1, max_size=6
)


@given(CHANGES, st.booleans())
def test_one_open_dose_at_most_whatever_is_changed(changes: list[tuple[int, int, Decimal]], give: bool) -> None:
    """Never two open ones, never two given on one day, none on or after the day of clearing."""
    history = treated()
    given_on: list[date] = [history.day(3)]
    for n, hour, litres in sorted(changes):
        history.change(n, f"{hour:02}:00", float(litres))
        for task in open_again(history, n):
            assert task.day is not None
            assert history.day(3) < task.day < history.day(12)
            if give and task.day == history.day(n) and n not in {(d - history.day(0)).days for d in given_on}:
                history.dose(history.at(n, f"{hour:02}:30"), task.key)
                given_on.append(task.day)
        assert len(open_again(history, n)) <= 1
    assert len(given_on) == len(set(given_on))
    assert all(b - a >= timedelta(days=1) for a, b in zip(sorted(given_on), sorted(given_on)[1:], strict=False))
