"""The shipped templates that follow what happens, lived through on facts: white spots at two temperatures, a copper
level that falls, moves that come too late, koi that are warmed."""

from __future__ import annotations

from datetime import datetime

import pytest
from history import History

from quarantine.facts import PlannedTask
from quarantine.water.ledger import Water

TANK = Water(54.0, 1.0)
WELL = {"tan": "0", "nitrite": "0", "ph": "7.5"}


def begun(name: str) -> History:
    return History(name, fish=6, water=TANK)


def fine(history: History, n: int, temperature: str = "25", signs: tuple[str, ...] = ()) -> None:
    """A morning's look and readings."""
    history.look(n, none=not signs, signs=signs)
    history.read(n, temperature=temperature, **WELL)


def planned(history: History, step: str, n: int, clock: str = "12:00") -> list[int | None]:
    """The days of a step's runs, counted from arrival; None for one that waits."""
    runs = history.runs(step, history.at(n, clock))
    return [(run.day - history.day(0)).days if run.day else None for run in runs]


def open_runs(history: History, step: str, at: datetime) -> list[PlannedTask]:
    return [run for run in history.runs(step, at) if run.outcome is None and run.day is not None]


def copper(history: History, n: int, value: str, clock: str = "09:00") -> None:
    """A reading by a kit for free copper."""
    data = {"parameter": "copper", "value": value, "step": "0.01", "unit": "mg/L", "form": "free", "water": "marine"}
    history.fact("reading", history.at(n, clock), data, batch=None)


def give(history: History, step: str, n: int, clock: str = "10:00") -> None:
    """The first open dose of a step, of copper."""
    at = history.at(n, clock)
    history.dose(at, open_runs(history, step, at)[0].key, target="0.18", substance="copper", route="prolonged")


def trial_stood(history: History, n: int, clock: str = "11:30") -> None:
    """A keeper's word that the trial fish are well."""
    (step,) = (one for one in history.protocol.steps if one.id == "dose")
    history.fact("word", history.at(n, clock), {"word": str(step.when[0].value)})


# --- White spot of fresh water ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("temperature", "doses", "changes", "clearing"),
    [
        ("24", [9, 11, 13, 15, 17], [10, 12, 14, 16], [18, 19, 20, 21, 22, 23]),
        ("22", [9, 11, 13, 15, 17], [10, 12, 14, 16], [18, 19, 20, 21, 22, 23]),
        ("18", [9, 13, 17, 21, 25], [10, 14, 18, 22], [26, 27, 28, 29, 30, 31]),
    ],
)
def test_white_spots_on_day_9_are_dosed_by_the_temperature(
    temperature: str, doses: list[int], changes: list[int], clearing: list[int]
) -> None:
    """Every 2 days at 24 °C, every 4 at 18 °C, most of the water changed the day after each dose but the last."""
    history = begun("fresh-white-spot")
    for n in range(9):
        fine(history, n, temperature)
    assert planned(history, "dose", 8) == [None]
    fine(history, 9, temperature, ("white spots",))
    trial_stood(history, 9)
    assert planned(history, "trial", 9) == [9]
    assert planned(history, "dose", 9) == doses
    assert planned(history, "between", 9) == changes
    assert planned(history, "clear-water", 9) == clearing
    assert planned(history, "put-back", 9) == clearing[-1:]


def test_no_formalin_is_due_before_the_trial_fish_are_said_to_be_well() -> None:
    """Rule C8: the dose waits for the keeper's word, over days, whatever is done with the chore of the trial; then
    it is due on the day of the word."""
    history = begun("fresh-white-spot")
    for n in range(12):
        fine(history, n, "24", ("white spots",) if n == 9 else ())
    (trial,) = open_runs(history, "trial", history.at(9))
    history.done(trial, history.at(9, "12:30"))
    for n in (9, 10, 11):
        assert planned(history, "dose", n, "13:00") == [None]
        assert planned(history, "clear-water", n, "13:00") == [None]
    (waiting,) = history.runs("dose", history.at(11))
    assert "A few fish of each species stood this strength" in str(waiting.needs)
    assert "quarantine event word" in str(waiting.needs)
    trial_stood(history, 11, "13:30")
    assert planned(history, "dose", 11, "14:00") == [11, 13, 15, 17, 19]


def test_a_word_after_the_window_makes_the_dose_due_in_the_next_one() -> None:
    """Said at 21:00 of day 9, the window closed at 20:00: due on day 10, and not late from the beginning."""
    history = begun("fresh-white-spot")
    for n in range(10):
        fine(history, n, "24", ("white spots",) if n == 9 else ())
    trial_stood(history, 9, "21:00")
    assert planned(history, "dose", 9, "21:30") == [10, 12, 14, 16, 18]


def test_while_the_trial_goes_on_the_course_counts_as_ahead() -> None:
    """By the slowest row, 4 days apart: doses on days 9 to 25, six changes to day 31, thirty days without a drug; and
    every task has an outcome when the last change has, not before."""
    history = begun("fresh-white-spot")
    for n in range(10):
        fine(history, n, "24", ("white spots",) if n == 9 else ())
    days = dict(history.plan(history.at(9)).standings["B"].days)
    tasks = next(one.title for one in history.protocol.criteria if one.kind == "tasks")
    assert days[tasks] == history.day(31)
    assert (history.earliest(history.at(9)) - history.day(31)).days >= 29


def test_where_no_white_spot_is_seen_thirty_days_are_enough_and_nothing_is_given() -> None:
    """The course waits and puts nothing off."""
    history = begun("fresh-white-spot")
    for n in range(31):
        fine(history, n)
    assert (history.earliest(history.at(5)) - history.day(0)).days == 30
    (period,) = history.plan(history.at(30)).standings["B"].periods
    assert period.complete_on == history.day(30)
    assert planned(history, "dose", 30) == [None]


def test_a_second_look_with_white_spots_begins_no_second_course_and_the_thirty_days_begin_again() -> None:
    """Rule B9: the sign restarts first; what is given stays on the first look."""
    history = begun("fresh-white-spot")
    for n in range(14):
        fine(history, n, "24", ("white spots",) if n in (9, 12, 13) else ())
    trial_stood(history, 9)
    assert planned(history, "dose", 13) == [9, 15, 17, 19, 21]  # none was given yet
    (period,) = history.plan(history.at(13)).standings["B"].periods
    assert period.zero == history.day(13)


def test_a_sign_remembered_two_days_late_dates_the_course_by_the_day_it_was_seen() -> None:
    """Entered on day 9, seen on day 7: the trial was due on day 7, and the dose when its fish are well."""
    history = begun("fresh-white-spot")
    for n in range(9):
        fine(history, n, "24")
    history.look(7, "18:00", none=False, signs=("white spots",), entered=history.at(9, "10:00"))
    fine(history, 9, "24")
    assert planned(history, "trial", 9) == [7]
    assert planned(history, "dose", 9) == [None]
    trial_stood(history, 9, "10:30")
    (first, *_) = open_runs(history, "dose", history.at(9, "10:45"))
    assert first.day == history.day(9)
    history.dose(history.at(9, "11:00"), first.key, substance="formalin", target="15")
    assert planned(history, "dose", 9)[1:] == [11, 13, 15, 17]


def test_without_a_reading_of_the_weekend_the_next_dose_waits_and_asks_for_one() -> None:
    """Nobody read anything on days 10 and 11: what is spaced by the temperature is not guessed."""
    history = begun("fresh-white-spot")
    for n in range(10):
        fine(history, n, "24", ("white spots",) if n == 9 else ())
    trial_stood(history, 9, "10:30")
    history.dose(
        history.at(9, "11:00"), open_runs(history, "dose", history.at(9, "10:45"))[0].key, substance="formalin"
    )
    waiting = [run for run in history.runs("dose", history.at(11)) if run.day is None]
    assert waiting
    assert "waits for a reading of temperature" in str(waiting[0].needs)
    history.read(11, "12:30", temperature="24")
    assert planned(history, "dose", 11, "13:00")[:2] == [9, 11]


def test_the_earliest_day_counts_the_course_that_is_ahead() -> None:
    """Thirty days without a drug after the last clearing change of day 23, though none was given yet."""
    history = begun("fresh-white-spot")
    for n in range(10):
        fine(history, n, "24", ("white spots",) if n == 9 else ())
    assert (history.earliest(history.at(9)) - history.day(0)).days >= 23 + 30 - 1


# --- Copper -------------------------------------------------------------------------------------------------


def held(last: int) -> History:
    """Copper read at 0 and given on day 3, in range every morning up to day ``last``."""
    history = begun("marine-copper")
    for n in range(last + 1):
        fine(history, n)
        if n == 3:
            copper(history, 3, "0", "09:40")
            give(history, "dose", 3)
            copper(history, 3, "0.18", "18:00")
        if n > 3:
            copper(history, n, "0.18")
    return history


def test_no_copper_is_due_before_it_was_read() -> None:
    """The first dose waits for a reading, though none was dosed yet."""
    history = begun("marine-copper")
    for n in range(4):
        fine(history, n)
    assert planned(history, "dose", 3) == [None]
    copper(history, 3, "0", "12:30")
    assert planned(history, "dose", 3, "13:00")[0] == 3


def test_a_reading_under_the_range_on_day_9_makes_a_dose_due_and_adds_the_gap() -> None:
    """In range no dose is due; 0.15 mg/L on day 9 calls for one that day, and the end moves by the time from the last
    good reading to the next."""
    history = held(8)
    assert planned(history, "dose", 8) == [3, None]
    before = history.plan(history.at(8)).standings["B"].periods[1]
    assert before.complete_on == history.day(17)
    fine(history, 9)
    copper(history, 9, "0.15", "09:30")
    assert planned(history, "dose", 9)[:2] == [3, 9]
    give(history, "dose", 9, "13:00")
    copper(history, 9, "0.19", "20:00")
    copper(history, 10, "0.19")
    assert planned(history, "dose", 10) == [3, 9, None]
    after = history.plan(history.at(10)).standings["B"].periods[1]
    assert after.complete_on == history.day(19)
    assert planned(history, "clear-water", 10) == [20, 21, 22, 23, 24, 25]


def test_what_clearing_takes_out_calls_for_no_copper() -> None:
    """Once the first clearing change is done a low reading makes nothing due, nor does the change itself."""
    history = held(18)
    assert planned(history, "clear-water", 18) == [18, 19, 20, 21, 22, 23]
    at = history.at(18, "12:00")
    history.done(open_runs(history, "clear-water", at)[0], at)
    copper(history, 18, "0.09", "18:00")
    assert planned(history, "dose", 18, "19:00") == [3]
    assert "clearing began" in history.plan(history.at(18, "19:00")).stops[("B", "dose")]


def test_a_change_for_ammonia_in_mid_course_calls_for_copper_up_to_a_reading() -> None:
    """Ten litres on day 6: a reading first and a dose again, once."""
    history = held(6)
    history.change(6, "10:00", 10)
    again = [run for run in history.runs("dose", history.at(6, "12:00")) if run.key.endswith(":0")]
    assert [run.day for run in again] == [history.day(6)]


# --- Tank transfer ------------------------------------------------------------------------------------------


def test_moves_are_planned_on_days_3_6_9_and_12_and_the_baths_after_them() -> None:
    """Baths on days 13 and 17; thirty days after the last move end on day 42."""
    history = begun("marine-tank-transfer")
    fine(history, 0)
    assert planned(history, "move", 0) == [3, 6, 9, 12]
    assert planned(history, "dose", 0) == [13, 17]
    assert (history.earliest(history.at(0)) - history.day(0)).days == 42


def test_a_move_is_due_for_two_hours_and_missed_after_72() -> None:
    """From hour 70 of the move before; at hour 72 it lapses, and with the lapse the four begin again."""
    history = begun("marine-tank-transfer")
    for n in range(7):
        fine(history, n)
    first = history.runs("move", history.at(3, "09:50"))[0]
    history.fact("done", history.at(3, "09:50"), {"key": first.key})
    second = open_runs(history, "move", history.at(6, "09:00"))[0]
    assert (second.due_from, second.due_until) == (history.at(6, "07:50"), history.at(6, "09:50"))
    assert second.lapses_at == history.at(6, "09:50")
    missed = history.at(6, "09:50")
    history.fact("lapse", missed, {"key": second.key})
    assert planned(history, "move", 6) == [3, 6, 6, 9, 12, 15]
    assert planned(history, "dose", 6) == [16, 20]


def test_the_first_move_has_72_hours_from_arrival_as_well() -> None:
    """Arrived at 10:00: due from 08:00 of day 3, missed at 10:00."""
    history = begun("marine-tank-transfer")
    first = open_runs(history, "move", history.at(3, "07:00"))[0]
    assert (first.due_from, first.due_until, first.lapses_at) == (
        history.at(3, "08:00"),
        history.at(3, "10:00"),
        history.at(3, "10:00"),
    )


# --- Koi ----------------------------------------------------------------------------------------------------


def test_koi_are_warmed_by_half_a_degree_a_day_and_the_days_count_from_22_degrees() -> None:
    """From 18 °C 23 °C is read on day 10, 22 °C on day 8; each chore says what it sets."""
    history = begun("koi-warm-hold")
    for n in range(12):
        history.look(n)
        history.read(n, temperature=f"{min(18 + n / 2, 23):g}", tan="0", nitrite="0", ph="7")
        if n == 4:
            today = open_runs(history, "warm-up", history.at(4))[0]
            assert today.title == "Set the heater: to 20.5 °C (it was 20 °C)"
        history.perfect_day(n, but=("look", "test", "feed"))
    assert planned(history, "warm-up", 11) == list(range(1, 10))
    warm = history.plan(history.at(11)).standings["B"].periods[1]
    assert (warm.zero, warm.complete_on) == (history.day(8), history.day(38))


def test_a_heater_found_off_adds_its_days() -> None:
    """In range on days 0 to 9, 17 °C on day 10, in range again from day 11: two days do not count and are added."""
    history = begun("koi-warm-hold")
    for n in range(13):
        history.look(n)
        history.read(n, "12:00", temperature="17" if n == 10 else "23")
    observation, warm = history.plan(history.at(12, "13:00")).standings["B"].periods
    assert observation.complete_on == history.day(30)
    assert warm.complete_on == history.day(32)


# --- Gill flukes --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("temperature", "doses"), [("20", [3, 10, 17]), ("24", [3, 9, 15]), ("27", [3, 8, 13])])
def test_gill_flukes_are_bathed_three_times_by_the_temperature(temperature: str, doses: list[int]) -> None:
    """7, 6 and 5 days apart."""
    history = begun("fresh-flukes")
    for n in range(4):
        fine(history, n, temperature)
    history.dose(history.at(3, "10:00"), open_runs(history, "dose", history.at(3))[0].key)
    assert planned(history, "dose", 3) == doses


def test_water_colder_than_the_rows_of_the_hatch_is_not_timed() -> None:
    """At 18 °C the second bath waits, and a veterinarian is asked."""
    history = begun("fresh-flukes")
    for n in range(4):
        fine(history, n, "20" if n < 3 else "18")
    history.dose(history.at(3, "10:00"), open_runs(history, "dose", history.at(3))[0].key)
    waiting = [run for run in history.runs("dose", history.at(3)) if run.day is None]
    assert "18 °C is outside its table of temperatures; ask a veterinarian" in str(waiting[0].needs)
