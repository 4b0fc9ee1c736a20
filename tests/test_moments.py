"""Times as keepers type them, against days and instants worked out by hand and against python-dateutil's zones."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from dateutil import tz
from hypothesis import given
from hypothesis import strategies as st

from quarantine.failures import Refused
from quarantine.moments import read_moment

NOW = datetime(2026, 11, 25, 19, 30, tzinfo=UTC)  # a Wednesday; 20:30 in Berlin


@pytest.mark.parametrize(
    ("text", "local"),
    [
        ("2026-02-10 14:30", "2026-02-10 14:30"),
        ("2026-02-10T14:30", "2026-02-10 14:30"),
        ("20:10", "2026-11-25 20:10"),
        ("7:05", "2026-11-25 07:05"),
        ("8pm", "2026-11-25 20:00"),
        ("8 pm", "2026-11-25 20:00"),
        ("12am", "2026-11-25 00:00"),
        ("12:10 pm", "2026-11-25 12:10"),
        ("noon", "2026-11-25 12:00"),
        ("today 6am", "2026-11-25 06:00"),
        ("yesterday 8pm", "2026-11-24 20:00"),
        ("Yesterday at 20:00", "2026-11-24 20:00"),
        ("yesterday noon", "2026-11-24 12:00"),
        ("mon 7:30", "2026-11-23 07:30"),
        ("Thursday 7:30", "2026-11-19 07:30"),
        ("wed 7:30", "2026-11-25 07:30"),
        ("-2h", "2026-11-25 18:30"),
        ("- 40 min", "2026-11-25 19:50"),
        ("3 hours ago", "2026-11-25 17:30"),
        ("-2d", "2026-11-23 20:30"),
    ],
)
def test_a_typed_time_is_the_one_meant(text: str, local: str) -> None:
    """Days, clocks and how long ago, at the site."""
    at = read_moment(text, "Europe/Berlin", NOW, "--at")
    assert at.utcoffset() == NOW.utcoffset()
    assert at.astimezone(tz.gettz("Europe/Berlin")).strftime("%Y-%m-%d %H:%M") == local


@pytest.mark.parametrize(
    "text",
    [
        *("8", "10/02/2026 8:00", "2026-13-01 8:00", "25:00", "8:61", "13pm", "0am", "tomorrow", "-2 fortnights"),
        *("-h", "", "soon", "2026-02-10", "yesterday", "mon", "8:00 8:00", "--2h", "1e3:00", "\u0668:00"),
    ],
)
def test_what_could_mean_two_things_is_refused(text: str) -> None:
    """A bare number, a date with slashes, a day without a clock: one sentence that shows how to write it."""
    with pytest.raises(Refused, match=r"--at .* does not read: write \"YYYY-MM-DD HH:MM\""):
        read_moment(text, "Europe/Berlin", NOW, "--at")


def test_hours_ago_are_elapsed_and_days_ago_keep_the_clock() -> None:
    """Over the night of 25 October 2026, which has 25 hours in Berlin."""
    now = datetime(2026, 10, 25, 12, 0, tzinfo=UTC)  # 13:00 in winter time
    assert read_moment("-24h", "Europe/Berlin", now, "--at") == datetime(2026, 10, 24, 12, 0, tzinfo=UTC)
    assert read_moment("-1d", "Europe/Berlin", now, "--at") == datetime(2026, 10, 24, 11, 0, tzinfo=UTC)


def test_a_time_that_the_clocks_skipped_is_refused() -> None:
    """02:30 on 29 March 2026 is no time in Berlin."""
    with pytest.raises(Refused, match="does not exist in Europe/Berlin"):
        read_moment("2026-03-29 02:30", "Europe/Berlin", NOW, "--at")


def test_in_the_double_hour_the_first_is_meant() -> None:
    """02:30 on 25 October 2026 comes twice in Berlin; the summer one is meant."""
    at = read_moment("2026-10-25 02:30", "Europe/Berlin", NOW, "--at")
    assert at == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)


@given(st.text(max_size=20))
def test_any_text_is_read_or_refused(text: str) -> None:
    """Nothing that can be typed ends in anything but an instant or one sentence."""
    try:
        said = read_moment(text, "America/New_York", NOW, "--at").isoformat()
    except Refused as refused:
        said = refused.sentence
    assert said.endswith("+00:00") or "does not read" in said or "does not exist" in said
