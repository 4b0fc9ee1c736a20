"""A13 at its edges: the gap on both sides of a use, in hours and in days, and the number of a local day."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from history import small
from test_as_needed import foam

from quarantine.actions.needing import _too_soon

ZONE = "Europe/Berlin"


def at(text: str) -> datetime:
    """An instant in UTC."""
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def refused(repeat: str, moment: str, *uses: str) -> str:
    """Why a use is refused beside those that were made; "" where it is not."""
    (step,) = [s for s in small(foam(repeat)).steps if s.id == "foam"]
    return _too_soon(step, [at(one) for one in uses], at(moment), ZONE)


SIX = 'as_needed = "6 h", until = "observation"'
TWO_DAYS = 'as_needed = "2 d", until = "observation"'


@pytest.mark.parametrize(
    ("moment", "free"),
    [("2026-03-03 05:59", False), ("2026-03-03 06:00", True), ("2026-03-02 18:01", False), ("2026-03-02 18:00", True)],
)
def test_A13_the_gap_in_hours_lies_on_both_sides_of_a_use(moment: str, free: bool) -> None:
    """Given at midnight of UTC: six hours after it, and six hours before it for one that is entered late."""
    assert (refused(SIX, moment, "2026-03-03 00:00") == "") is free


@pytest.mark.parametrize(
    ("moment", "free"),
    [("2026-03-04 22:59", False), ("2026-03-04 23:00", True), ("2026-03-01 12:00", True), ("2026-03-02 12:00", False)],
)
def test_A13_the_gap_in_days_counts_days_at_the_site(moment: str, free: bool) -> None:
    """Given on the 3rd at noon: two days are over as the 5th begins in Berlin, which is 23:00 of the 4th in UTC."""
    assert (refused(TWO_DAYS, moment, "2026-03-03 12:00") == "") is free


def test_A13_the_daily_number_is_that_of_the_local_day() -> None:
    """Two a day: after two on the 3rd none more on it, and one in the first minute of the 4th at the site."""
    repeat = 'as_needed = "1 h", daily = 2, until = "observation"'
    uses = ("2026-03-03 08:00", "2026-03-03 12:00")
    assert refused(repeat, "2026-03-03 20:00", uses[0]) == ""
    assert "2 a day is the most" in refused(repeat, "2026-03-03 20:00", *uses)
    assert "2 a day is the most" in refused(repeat, "2026-03-03 22:59", *uses)
    assert refused(repeat, "2026-03-03 23:00", *uses) == ""
