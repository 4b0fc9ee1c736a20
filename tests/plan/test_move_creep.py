"""Moves that are due from hour 70 of the one before and too late from hour 72: what an early hour does to the rest."""

from __future__ import annotations

from datetime import datetime

import pytest
from history import History


@pytest.mark.parametrize(("hour", "clocks"), [(70, [-2, -4, -6, -8]), (72, [0, 0, 0, 0])])
def test_done_at_the_first_minute_each_transfer_comes_two_hours_earlier_in_the_day(
    hour: int, clocks: list[int]
) -> None:
    """Hours beside the hour of arrival, move by move; done at the last minute they keep it."""
    history = History("marine-tank-transfer", fish=6)
    at: datetime = history.arrival.at
    found = []
    for _ in clocks:
        due = next(run for run in history.runs("move", at) if run.outcome is None and run.day is not None)
        moment = due.due_from if hour == 70 else due.due_until
        assert moment is not None
        history.done(due, moment)
        found.append((moment - history.arrival.at).total_seconds() / 3600)
        at = moment
    assert found == [n * 72 + clock for n, clock in enumerate(clocks, 1)]
