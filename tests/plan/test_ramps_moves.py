"""Ramps whose step comes from the last reading, and moves with a deadline in elapsed hours (rules A11 and A12)."""

from __future__ import annotations

from datetime import timedelta

import pytest
from history import History, small

from quarantine.facts import PlannedTask
from quarantine.protocol import Protocol


def ramp(reading: str, to: str, by: str, stop: str) -> Protocol:
    """A daily step from day 1 on, up to eight of them."""
    return small(f"""
[[step]]
id = "ramp"
kind = "chore"
title = "Set the heater"
start = {{ arrival = "1 d" }}
repeat = {{ every = "1 d", times = 8 }}
ramp = {{ reading = "{reading}", to = "{to}", by = "{by}" }}
stop = [{{ reading = "{reading}", {stop}, within = "24 h", reference = "choice" }}]
after_window = "shift"
references = ["choice"]

[[step]]
id = "read"
kind = "test"
title = "Read"
start = {{ arrival = "0 d" }}
reads = ["{reading}"]
references = ["choice"]
""")


UP = ramp("temperature", "30 °C", "1 °C", 'min = "30 °C"')
DOWN = ramp("salinity", "15 g/L", "2 g/L", 'max = "15 g/L"')


def titles(history: History, n: int, clock: str = "12:00") -> list[str]:
    """What the open steps of the ramp say that are due."""
    runs = history.runs("ramp", history.at(n, clock))
    return [run.title for run in runs if run.outcome is None and run.day is not None and run.day <= history.day(n)]


@pytest.mark.parametrize(
    ("read", "says"),
    [
        ("25", "to 26 °C (it was 25 °C)"),
        ("29.6", "to 30 °C (it was 29.6 °C)"),  # never past the end
        ("31", "to 30 °C (it was 31 °C)"),  # past the end already: back, at most one step
        ("33", "to 32 °C (it was 33 °C)"),
    ],
)
def test_a_step_up_goes_by_the_last_reading(read: str, says: str) -> None:
    """One degree nearer to 30 °C than it was."""
    history = History(UP)
    history.read(0, "20:00", temperature=read)
    assert titles(history, 1) == [f"Set the heater: {says}"]


@pytest.mark.parametrize(("read", "says"), [("32", "to 30 g/L (it was 32 g/L)"), ("16", "to 15 g/L (it was 16 g/L)")])
def test_a_step_down_goes_by_the_last_reading(read: str, says: str) -> None:
    """Two grams a litre lower, and never below the end."""
    history = History(DOWN)
    history.read(0, "20:00", salinity=read)
    assert titles(history, 1) == [f"Set the heater: {says}"]


def test_without_a_reading_of_the_last_day_the_step_asks_for_one() -> None:
    """Never read, or read longer than 24 h ago: no figure is made up."""
    history = History(UP)
    assert titles(history, 1) == ["Set the heater: read temperature first"]
    history.read(0, "11:00", temperature="25")
    assert titles(history, 1, "11:00") == ["Set the heater: to 26 °C (it was 25 °C)"]
    assert titles(history, 1, "11:01") == ["Set the heater: read temperature first"]


def test_what_is_read_after_the_heater_was_turned_up_calls_for_no_second_step_that_day() -> None:
    """Read 25 in the morning, turned up, read 26 at noon before anybody ticked the step: it is still "to 26"."""
    history = History(UP)
    history.read(1, "08:00", temperature="25")
    assert titles(history, 1, "09:00") == ["Set the heater: to 26 °C (it was 25 °C)"]
    history.read(1, "12:00", temperature="26")
    assert titles(history, 1, "13:00") == ["Set the heater: to 26 °C (it was 25 °C)"]
    history.read(1, "14:00", temperature="23")  # it fell: never more than a step from where the water is
    assert titles(history, 1, "15:00") == ["Set the heater: to 24 °C (it was 23 °C)"]


def test_a_step_that_slipped_leaves_one_figure_for_the_day() -> None:
    """The step of day 1 is done on day 2: the next one is due on day 3, from the reading of then."""
    history = History(UP)
    history.read(1, "08:00", temperature="25")
    history.read(2, "08:00", temperature="25")
    first = history.runs("ramp", history.at(2, "09:00"))[0]
    history.fact("done", history.at(2, "09:00"), {"key": first.key})
    history.read(2, "18:00", temperature="26")
    assert titles(history, 2, "20:00") == []
    history.read(3, "08:00", temperature="26")
    assert titles(history, 3, "09:00") == ["Set the heater: to 27 °C (it was 26 °C)"]


def test_steps_ahead_have_no_figure_yet() -> None:
    """What day 3 sets is said on day 3."""
    history = History(UP)
    history.read(1, "08:00", temperature="25")
    ahead = history.runs("ramp", history.at(1, "09:00"))[1:]
    assert {run.title for run in ahead} == {"Set the heater"}


@pytest.mark.parametrize(("value", "ends"), [("29.9", False), ("30", True), ("30.5", True)])
def test_a_ramp_ends_at_its_stop(value: str, ends: bool) -> None:
    """The first reading at the end withdraws every step that is left, and the plan says why."""
    history = History(UP)
    for n in (1, 2):
        history.read(n, "08:00", temperature="29")
        run = next(r for r in history.runs("ramp", history.at(n, "09:00")) if r.outcome is None)
        history.fact("done", history.at(n, "09:00"), {"key": run.key})
    history.read(3, "08:00", temperature=value)
    made = history.plan(history.at(3, "09:00"))
    open_ = [t for t in made.tasks if t.step == "ramp" and t.outcome is None]
    assert bool(open_) is not ends
    assert (("B", "ramp") in made.stops) is ends


# --- moves ---------------------------------------------------------------------------------------------------------


def move(then: str, after: str = "keep") -> Protocol:
    """Four moves into clean tanks, 70 h apart and never later than 72 h after the one before."""
    return small(f"""
[[step]]
id = "move"
kind = "move"
title = "Move every fish to the clean tank"
who = "keeper"
start = {{ arrival = "3 d" }}
repeat = {{ every = "70 h", times = 4, latest = "72 h", then = "{then}", from = "given" }}
window = {{ from = "08:00", until = "20:00" }}
after_window = "{after}"
references = ["choice"]
""")


def begun(history: History, n: int = 3, clock: str = "10:00") -> PlannedTask:
    """The first move done; the second one."""
    first = history.runs("move", history.at(n, clock))[0]
    history.fact("done", history.at(n, clock), {"key": first.key})
    return history.runs("move", history.at(n, clock))[1]


@pytest.mark.parametrize(
    ("arrived", "zone"),
    [
        ("2026-03-05 09:00", "America/New_York"),
        ("2026-03-26 09:00", "Europe/London"),
        ("2026-10-22 09:00", "Europe/London"),
        ("2026-04-02 09:00", "Australia/Lord_Howe"),
    ],
)
def test_A12_the_deadline_of_a_move_is_72_real_hours_through_a_clock_change(arrived: str, zone: str) -> None:
    """Moved the day before the clocks change: due after 70 elapsed hours, and by 72, whatever the clocks on the wall
    say."""
    history = History(move("keep"), arrived=arrived, zone=zone)
    second = begun(history, n=2)
    given = history.at(2, "10:00")
    assert second.due_from == given + timedelta(hours=70)
    assert second.due_until == given + timedelta(hours=72)
    offsets = {moment.astimezone(history.arrived.tzinfo).utcoffset() for moment in (given, second.due_until)}
    assert len(offsets) == 2  # the change lies inside


@pytest.mark.parametrize("then", ["keep", "shift"])
def test_A11_a_move_that_is_late_is_never_missed(then: str) -> None:
    """A week after its deadline it is planned still, on its own day: overdue, on top."""
    history = History(move(then))
    second = begun(history)
    late = history.runs("move", history.at(13))[1]
    assert (late.key, late.state, late.lapses_at) == (second.key, "planned", None)
    assert late.due_until == history.at(3, "10:00") + timedelta(hours=72)


def test_A11_a_move_with_reopen_is_missed_at_its_deadline_and_the_series_begins_again() -> None:
    """At 72 h it counts as missed; once that is written down four moves are planned anew, from a day that is still
    open; the missed one waits for a reason, and none of the old series is left."""
    history = History(move("reopen"))
    second = begun(history)
    assert second.lapses_at == history.at(3, "10:00") + timedelta(hours=72)
    assert history.runs("move", history.at(6, "09:59"))[1].state == "planned"
    assert history.runs("move", history.at(6, "10:00"))[1].state == "missed"
    lapse = history.fact("lapse", history.at(6, "10:00"), {"key": second.key}, entered=history.at(6, "12:00"))
    runs = history.runs("move", history.at(6, "12:00"))
    again = [run for run in runs if run.key.split(":")[2] == lapse.id]
    assert len(again) == 4
    assert again[0].day == history.day(6)
    assert [run.state for run in runs if run not in again] == ["done", "missed"]


def test_A11_a_first_move_that_may_be_kept_stays_overdue() -> None:
    """The window of the first one closes, and it is never called missed."""
    history = History(move("keep"))
    first = history.runs("move", history.at(9))[0]
    assert (first.state, first.day, first.lapses_at) == ("planned", history.day(3), None)
