"""C14: repeats by a table of temperatures: after the slowest hatch, before the fastest maturity, nothing in between.

The rows of these tests are invented; those of sources stand in tests/published/.
"""

from __future__ import annotations

from datetime import timedelta

import pytest
from history import History, dose_step, small

from quarantine.facts import PlannedTask
from quarantine.protocol import Protocol

ROWS = """[
  { at_least = "16 °C", below = "20 °C", every = "10 d", before = "16 d" },
  { at_least = "20 °C", below = "24 °C", every = "6 d", before = "9 d" },
  { at_least = "24 °C", below = "28 °C", every = "4 d", before = "6 d" },
]"""


def table(times: int = 3, regimen: str = "Z03", after: str = "shift", rows: str = ROWS) -> Protocol:
    """Baths by the table from day 3 on; Z03 has no number of its own in the formulary, Z01 has two."""
    rows = " ".join(rows.split()).replace(", ]", "]")
    made = small(dose_step(f'{{ by_temperature = {rows}, times = {times}, from = "given" }}', after))
    steps = [s._replace(treatment=s.treatment._replace(regimen=regimen)) if s.treatment else s for s in made.steps]
    return made._replace(steps=tuple(steps))


def warm(history: History, first: int, last: int, celsius: str, clock: str = "09:00") -> None:
    for n in range(first, last + 1):
        history.read(n, clock, temperature=celsius)


def days(history: History, n: int, clock: str = "12:00") -> list[int | None]:
    """The days of the runs, counted from arrival."""
    runs = history.runs("dose", history.at(n, clock))
    return [None if run.day is None else (run.day - history.day(0)).days for run in runs]


def give(history: History, n: int, clock: str = "10:00") -> PlannedTask:
    """The first open dose, given."""
    at = history.at(n, clock)
    run = next(r for r in history.runs("dose", at) if r.outcome is None)
    history.dose(at, run.key)
    return run


@pytest.mark.parametrize(
    ("celsius", "every"), [("16", 10), ("19.9", 10), ("20", 6), ("23.9", 6), ("24", 4), ("27.9", 4)]
)
def test_C14_one_row_says_the_time(celsius: str, every: int) -> None:
    """From at_least on, up to and not with below; nothing is interpolated between the rows."""
    history = History(table())
    warm(history, 0, 3, celsius)
    give(history, 3)
    assert days(history, 3) == [3, 3 + every, 3 + 2 * every]


def test_C14_two_rows_that_meet_the_lowest_decides() -> None:
    """19 °C and 21 °C: eggs may hatch for 10 d, and none is mature before 9 d: they do not meet, unless the table says
    so; with a maturity of 12 d the slower row holds."""
    rows = ROWS.replace('"9 d"', '"12 d"')
    history = History(table(rows=rows))
    warm(history, 0, 3, "19")
    warm(history, 3, 3, "21", "09:30")
    give(history, 3)
    assert days(history, 3) == [3, 13, 23]
    assert "by the table at 19 to 21 °C" in history.runs("dose", history.at(3, "12:00"))[1].reason


def test_C14_where_they_do_not_meet_one_more_dose_follows_at_the_shorter_time() -> None:
    """Hatching until 10 d, mature after 9 d: four doses, six days apart, and the reason says why."""
    history = History(table())
    warm(history, 0, 3, "19")
    warm(history, 3, 3, "21", "09:30")
    give(history, 3)
    assert days(history, 3) == [3, 9, 15, 21]
    assert "so one more follows" in history.runs("dose", history.at(3, "12:00"))[1].reason


@pytest.mark.parametrize(
    ("rows", "number"), [(ROWS.replace('"9 d"', '"10 d"'), 4), (ROWS.replace('"9 d"', '"11 d"'), 3)]
)
def test_C14_hatching_and_maturity_on_the_same_day_do_not_meet(rows: str, number: int) -> None:
    """After the slowest hatch and before the fastest maturity: at 10 d and 10 d there is no day between."""
    history = History(table(rows=rows))
    warm(history, 0, 3, "19")
    warm(history, 3, 3, "21", "09:30")
    give(history, 3)
    assert len(days(history, 3)) == number


def test_C14_never_more_doses_than_the_regimen_has() -> None:
    """The row has two: though hatching and maturity do not meet, no third is planned."""
    history = History(table(times=2, regimen="Z01"))
    warm(history, 0, 3, "19")
    warm(history, 3, 3, "21", "09:30")
    give(history, 3)
    assert len(days(history, 3)) == 2


@pytest.mark.parametrize("celsius", ["15.9", "28", "31"])
def test_C14_outside_the_table_the_next_one_waits_and_says_why(celsius: str) -> None:
    """Colder than the first row, or as warm as the end of the last one: no date is made up."""
    history = History(table())
    warm(history, 0, 2, "22")
    warm(history, 3, 3, celsius)
    give(history, 3)
    waiting = history.runs("dose", history.at(3, "12:00"))[1]
    assert waiting.day is None
    assert waiting.needs == f"waits: {celsius} °C is outside its table of temperatures; ask a veterinarian"


def test_C14_not_read_for_36_hours_waits_and_asks() -> None:
    """At 36 h after the last reading there is a date, and at 37 h the temperature is asked for; a reading brings the
    date back, with the same key."""
    history = History(table())
    warm(history, 0, 3, "22")
    give(history, 3)
    assert days(history, 4, "21:00") == [3, 9, 15]
    waiting = history.runs("dose", history.at(4, "22:00"))
    assert [run.needs for run in waiting[1:]] == [
        "waits for a reading of temperature: the table of its repeats goes by it"
    ]
    history.read(5, "08:00", temperature="22")
    again = history.runs("dose", history.at(5, "09:00"))
    assert [(run.key, run.day) for run in again[1:2]] == [(waiting[1].key, history.day(9))]


def test_C14_a_warm_spell_between_doses_brings_the_next_one_forward() -> None:
    """At 18 °C the second is due on day 13. On day 6 it is 25 °C: eggs of the cold days hatch until 10 d, those of the
    warm ones may be mature after 6 d: one more dose, and the next four days after the first. The keys stay."""
    history = History(table())
    warm(history, 0, 5, "18")
    give(history, 3)
    before = history.runs("dose", history.at(5))
    assert days(history, 5) == [3, 13, 23]
    warm(history, 6, 6, "25")
    after = history.runs("dose", history.at(6))
    assert days(history, 6) == [3, 7, 11, 15]
    assert [run.key for run in after[:3]] == [run.key for run in before]


@pytest.mark.parametrize("after", ["shift", "keep", "reopen"])
def test_C14_what_a_warm_spell_brings_forward_is_due_when_it_is_read_and_was_not_missed(after: str) -> None:
    """It gets warm on day 10, when four days after the first dose are long over: due that day, not on day 7; read after
    the window of that day, the day after."""
    for clock, due in (("09:00", 10), ("21:00", 11)):
        history = History(table(after=after))
        warm(history, 0, 9, "18")
        give(history, 3)
        warm(history, 10, 10, "25", clock)
        second = history.runs("dose", history.at(10, "22:00" if due == 11 else "12:00"))[1]
        assert (second.day, second.state) == (history.day(due), "planned")


def test_C14_a_day_that_was_brought_forward_stays_where_it_is() -> None:
    """It gets warmer still: the date is that of the first reading that asked for it, so that it grows overdue."""
    history = History(table())
    warm(history, 0, 9, "18")
    give(history, 3)
    for n, celsius in ((10, "25"), (11, "25.5"), (12, "26")):
        warm(history, n, n, celsius)
        assert days(history, n)[1] == 10


def test_C14_a_cold_spell_puts_the_next_one_off() -> None:
    """At 25 °C the second is due on day 7. On day 5 it is 22 °C: with hatching until 6 d and maturity after 6 d they do
    not meet; where maturity is later, the second moves to day 9."""
    history = History(table(rows=ROWS.replace('"6 d" },', '"8 d" },')))
    warm(history, 0, 4, "25")
    give(history, 3)
    assert days(history, 4) == [3, 7, 11]
    warm(history, 5, 5, "22")
    assert days(history, 5)[1] == 9


def test_C14_what_was_given_stays_given_whatever_is_read_later() -> None:
    """The second dose was given on its day; days of heat after it move the third one alone."""
    history = History(table())
    warm(history, 0, 9, "22")
    give(history, 3)
    second = give(history, 9)
    warm(history, 10, 10, "25")
    runs = history.runs("dose", history.at(10))
    assert [(run.key, run.state) for run in runs[:2]][1] == (second.key, "done")
    assert days(history, 10)[:2] == [3, 9]
    assert days(history, 10)[2] == 13


def test_C14_after_the_last_dose_no_weather_asks_for_another() -> None:
    """The course was whole on day 15; weeks of cold and heat later it has three doses still."""
    history = History(table())
    for n in (3, 9, 15):
        warm(history, n - 3, n, "22")
        give(history, n)
    warm(history, 16, 20, "17")
    warm(history, 21, 30, "26")
    assert days(history, 30) == [3, 9, 15]


def test_C14_an_extra_dose_that_was_given_stays_in_the_plan_when_its_reading_is_taken_back() -> None:
    """Four were given because of one warm reading; without it three would have done. All four stand as given."""
    history = History(table())
    warm(history, 0, 3, "19")
    warm(history, 3, 3, "21", "09:30")
    odd = history.facts[-1]
    give(history, 3)
    for n in (9, 15, 21):
        warm(history, n - 5, n, "19")
        give(history, n)
    history.facts.remove(odd)
    runs = history.runs("dose", history.at(21, "12:00"))
    assert [run.state for run in runs] == ["done"] * 4


def test_C14_a_dose_given_while_no_temperature_was_known_does_not_end_its_course() -> None:
    """The temperature was read for the first dose, and not again before the second was given: the third follows by
    what is read then."""
    history = History(table())
    warm(history, 0, 3, "22")
    give(history, 3)
    second = history.runs("dose", history.at(3, "12:00"))[1]
    history.facts = [f for f in history.facts if f.kind != "reading"]
    history.dose(history.at(9, "10:00"), second.key)
    history.read(9, "10:30", temperature="22")
    runs = history.runs("dose", history.at(9, "12:00"))
    assert [run.state for run in runs] == ["done", "done", "planned"]
    assert runs[2].day == history.day(15)


def test_C14_after_a_skipped_dose_the_temperatures_since_its_day_count() -> None:
    """Skipped on day 9 at 22 °C, cold for a day on day 10: the third is due by the slower row from the planned day."""
    history = History(table(after="keep", rows=ROWS.replace('"9 d"', '"12 d"')))
    warm(history, 0, 9, "22")
    give(history, 3)
    second = history.runs("dose", history.at(9, "12:00"))[1]
    skipped = {"key": second.key, "task_kind": "dose", "because": "a test"}
    history.fact("skip", history.at(9, "12:00"), skipped)
    warm(history, 10, 10, "19")
    warm(history, 11, 13, "22")
    assert days(history, 13)[2] == 19


def test_C14_the_day_before_the_dose_belongs_to_it() -> None:
    """It was 19 °C an hour less than a day before the dose, and 22 °C since: the slower row holds; a reading of more
    than a day before does not."""
    rows = ROWS.replace('"9 d"', '"12 d"')
    for clock, every in (("11:00", 10), ("09:00", 6)):
        history = History(table(rows=rows))
        history.read(2, clock, temperature="19")
        history.read(3, "09:30", temperature="22")
        give(history, 3)
        assert days(history, 3)[1] == 3 + every


def test_C14_hours_of_a_table_are_elapsed_hours() -> None:
    """A row in hours: due that many hours after the dose that was given, to the minute."""
    rows = '[{ at_least = "20 °C", every = "72 h", before = "96 h" }, ]'
    history = History(table(rows=rows))
    warm(history, 0, 3, "22")
    give(history, 3, "10:40")
    second = history.runs("dose", history.at(3, "12:00"))[1]
    assert second.due_from == history.at(3, "10:40") + timedelta(hours=72)


def test_C14_the_order_in_which_readings_are_entered_changes_no_date() -> None:
    """The warm reading of day 6 is typed in on day 8, after the cold one of day 7."""
    history = History(table())
    warm(history, 0, 5, "18")
    give(history, 3)
    warm(history, 6, 6, "25")
    warm(history, 7, 8, "18")
    before = days(history, 8)
    late = [f._replace(entered_at=history.at(8, "11:00")) if f.kind == "reading" else f for f in history.facts]
    found = [t.day for t in history.plan(history.at(8, "12:00"), facts=late[::-1]).tasks if t.step == "dose"]
    assert sorted((day - history.day(0)).days for day in found if day) == before
