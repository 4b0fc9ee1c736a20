"""Copper that is held by readings is held for three weeks at most: Merck Veterinary Manual, Management of Fish,
parasiticides, older page, year not stated (read in study notes): "up to 3 weeks" (row C04)."""

# ruff: noqa: F401, F811 - fixtures of another file
from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from liquid_room import Room
from test_copper import DAY_3, MARINE, SALT, furnished, room


def given(room: Room, at: str) -> None:
    """Seventy milligrams of the sulfate, with or without a task."""
    room.says("event", "dose", "M1", "C04", "--gave", "0.07 g", *SALT, "--really", at=at)


def asked(room: Room, at: str) -> Any:
    """The card of a dose after a reading of 0.1 mg/L."""
    room.says("reading", "M1", "copper_free=0.10mg/L", at=at)
    return room.json("dose", *MARINE, *SALT, at=at)


def test_the_first_dose_says_its_last_day_ahead(room: Room) -> None:
    """Given on 13 February: 21 days on it is 6 March."""
    made = asked(room, DAY_3)
    said = room.says("dose", *MARINE, *SALT, at=DAY_3)
    assert made["hold"] is None
    assert "Longest contact: last day 2026-03-06: C04 is held for up to 3 weeks, from this first dose." in said


def test_21_days_after_the_first_dose_no_more_is_given_and_nothing_passes_it(room: Room) -> None:
    """Elapsed days (rule A12), over the whole stay (rule B8): up to the hour a top-up is computed, from then on none,
    whatever is instructed; what really happened is recorded all the same (rule C7)."""
    given(room, DAY_3)  # 12:00
    made = asked(room, "2026-03-06 11:59:00")
    assert made["hold"] is None
    said = room.says("dose", *MARINE, *SALT, at="2026-03-06 11:59:00")
    assert "last day 2026-03-06: C04 is held for up to 3 weeks, from the first dose of the stay on 2026-02-13." in said

    held = asked(room, "2026-03-06 12:00:00")["hold"]
    assert (held["rule"], held["figure"], held["figure_unit"]) == ("longest contact", 3, "weeks")
    assert "the last day was 2026-03-06" in held["says"]
    assert "Merck Veterinary Manual" in held["reference"]
    assert "bring it out of the water" in held["remedy"]

    told = ("--by", "a practice", "--on", "2026-03-06", "--until", "2026-03-20", "--words", "go on")
    batch = room.json("batch", "list", at=DAY_3)["batches"]
    name = next(one["batch"] for one in batch if one["tank"] == "M1")
    room.says("vet", "add", name, *told, "--regimen", "C04", "--dose", "0.18 mg/L Cu", at="2026-03-06 12:00:00")
    assert asked(room, "2026-03-06 12:01:00")["hold"]["rule"] == "longest contact"
    given(room, "2026-03-06 13:00:00")


def test_a_dose_in_the_middle_does_not_begin_the_weeks_anew(room: Room) -> None:
    """Cleared or not: days count over the whole stay (rule B8)."""
    given(room, DAY_3)
    given(room, "2026-02-27 12:00:00")
    assert asked(room, "2026-03-07 12:00:00")["hold"]["rule"] == "longest contact"


@pytest.mark.parametrize("row", ["C06", "C05"])
def test_rows_whose_source_gives_no_longest_time_have_none(row: str) -> None:
    """14 to 21 days or longer (C06, from memory) and a row that is silent (C05) are no ceiling; nor is a timed bath."""
    from quarantine.formulary import regimen
    from quarantine.formulary.contact import held_at_most

    assert held_at_most(regimen(row)[1]) is None
    assert held_at_most(regimen("C01")[1]) is None
    most = held_at_most(regimen("C04")[1])
    assert most is not None
    assert (most.value, most.unit) == (Decimal(3), "weeks")
