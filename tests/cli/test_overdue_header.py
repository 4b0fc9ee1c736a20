"""The line of a tank in ``today``: a dose whose day has passed is not the next one, it is overdue."""

from __future__ import annotations

import json
from datetime import date

import pytest

from quarantine.actions.today import _batch_line


@pytest.mark.parametrize(
    ("due", "says"),
    [
        ("2026-11-23", "dose overdue since Mon 23 Nov"),
        ("2026-11-24", "dose overdue since Tue 24 Nov"),
        ("2026-11-25", "next dose Wed 25 Nov"),
        ("2026-11-26", "next dose Thu 26 Nov"),
    ],
)
@pytest.mark.parametrize("listed", [date(2026, 11, 25), date(2026, 11, 27)])
def test_a_dose_of_a_past_day_is_said_to_be_overdue(due: str, says: str, listed: date) -> None:
    """Seen on 25 November, whatever day is listed: today's dose is still the next one."""
    standing = {"periods": [], "clear": {"need": None, "days": 0, "lapses_on": None}, "signs": []}
    batch = {
        "id": "b",
        "standing": json.dumps(standing),
        "arrived_at": "2026-11-20T09:00:00.000000Z",
        "zone": "Europe/London",
    }
    line = _batch_line(batch, {"b": due}, listed, date(2026, 11, 25))
    assert line["says"].endswith(says)
