"""C14: temperatures outside a table make a repeat wait while it is so, and not for good."""

from __future__ import annotations

import pytest
from history import History
from test_by_temperature import ROWS, days, give, table, warm

LONG = ROWS.replace('"9 d"', '"30 d"')


def test_C14_a_cold_spell_lengthens_the_slowest_hatch_by_the_time_it_lasted() -> None:
    """Colder than the table on day 5, from the reading of day 4 to that of day 6: two days more than six."""
    history = History(table(rows=LONG))
    warm(history, 0, 4, "22")
    give(history, 3)
    warm(history, 5, 5, "15")
    assert days(history, 5) == [3, None]
    warm(history, 6, 6, "22")
    assert days(history, 6)[:2] == [3, 3 + 6 + 2]
    assert "48 h longer, because it was colder than the table" in history.runs("dose", history.at(6, "12:00"))[1].reason


def test_C14_one_cold_reading_on_the_morning_of_a_repeat_puts_it_off_by_a_day() -> None:
    """Read cold by day and warm an hour later: since the reading of the day before it may have been cold."""
    history = History(table(rows=LONG))
    warm(history, 0, 7, "22")
    give(history, 3)
    warm(history, 8, 8, "15", "09:00")
    warm(history, 8, 8, "22", "10:00")
    assert days(history, 8)[:2] == [3, 3 + 6 + 2]


def test_C14_a_cold_spell_that_outlasts_the_fastest_maturity_calls_for_one_more() -> None:
    """Hatching until eight days, mature after eight: six days apart, and four doses."""
    history = History(table(rows=ROWS.replace('"9 d"', '"8 d"')))
    warm(history, 0, 4, "22")
    give(history, 3)
    warm(history, 5, 5, "15")
    warm(history, 6, 6, "22")
    assert days(history, 6) == [3, 9, 15, 21]


def test_C14_after_a_spell_that_was_too_warm_one_more_follows_at_the_shorter_time() -> None:
    """Nobody knows how soon eggs were mature in it."""
    history = History(table(rows=LONG))
    warm(history, 0, 4, "22")
    give(history, 3)
    warm(history, 5, 5, "29")
    assert days(history, 5) == [3, None]
    warm(history, 6, 6, "22")
    assert days(history, 6) == [3, 9, 15, 21]
    assert "warmer than the table" in history.runs("dose", history.at(6, "12:00"))[1].reason


@pytest.mark.parametrize(
    ("regimen", "on", "until", "dated"),
    [
        ("Z03", 6, 20, [3, 13, 23]),  # at 22 and at 16 °C, as if it had been that
        ("Z01", 6, 20, [3, None]),  # of another row
        ("Z03", 4, 20, [3, None]),  # said before anybody read it
        ("Z03", 6, 6, [3, None]),  # it holds no more
    ],
)
def test_C14_a_veterinarians_instruction_dates_it(regimen: str, on: int, until: int, dated: list[int | None]) -> None:
    """Outside the table an instruction for its row that was said since, and holds, dates the next dose by the nearest
    row, as if it were the edge of it."""
    history = History(table(rows=LONG))
    warm(history, 0, 3, "22")
    give(history, 3)
    warm(history, 5, 7, "15")
    data = {"on": history.day(on).isoformat(), "until": history.day(until).isoformat(), "regimen": regimen}
    history.fact("instruction", history.at(on, "08:00"), {"who": "a practice", **data})
    assert days(history, 7)[: len(dated)] == dated


def test_C14_an_instruction_that_was_withdrawn_dates_nothing() -> None:
    """Then it waits again."""
    history = History(table())
    warm(history, 0, 3, "22")
    give(history, 3)
    warm(history, 5, 7, "15")
    data = {"on": history.day(6).isoformat(), "until": history.day(20).isoformat(), "regimen": "Z03"}
    history.fact("instruction", history.at(6, "08:00"), {"who": "a practice", **data})
    history.fact("instruction_withdrawn", history.at(6, "09:00"), {"regimen": "Z03", "because": "a test"})
    assert days(history, 7) == [3, None]
