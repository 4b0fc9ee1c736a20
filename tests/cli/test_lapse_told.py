"""What the clock has changed is shown by a plain read, and told by the next write (design 3, rules A11 and A12)."""

from __future__ import annotations

from pathlib import Path

import pytest
from centre_room import FRESH, MARINE, Centre

STRENGTH = "--strength '37 % formaldehyde'"
COOLER = FRESH.replace("25.5C", "24C")


@pytest.fixture
def reef(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Centre:
    """Fish of a tank transfer, moved once on 5 March at 09:00: the second move is too late from 8 March, 09:00."""
    room = Centre(tmp_path, capsys, monkeypatch, "marine")
    room.tank("Q2", litres="100 L")
    room.arrive("marine-tank-transfer", "2026-03-02 10:00", fish="4 Amphiprion ocellaris")
    room.days("2026-03-03", "2026-03-05", 4)
    room.type(f"reading Q2 {MARINE}")
    (move,) = room.due("move")
    room.type(f"done {move['code']} --to Q2 --confirm --really --yes")
    room.days("2026-03-06", "2026-03-07", 4, "Q2")
    return room


def test_a_plain_read_after_a_missed_move_shows_the_days_that_are_true_now(reef: Centre) -> None:
    """`clocks` counts from the last of four moves that begin again, before and after anybody wrote anything."""
    reef.at("2026-03-08 20:00")
    before = reef.json("clocks Q1-1")["periods"][0]["complete_on"]
    reef.type("look 'Q2 4 3' --no-signs")
    assert reef.json("clocks Q1-1")["periods"][0]["complete_on"] == before == "2026-04-16"


def test_the_next_write_says_the_new_day_and_which_move_is_due_first(reef: Centre) -> None:
    """A look says both in its own answer."""
    reef.at("2026-03-08 20:00")
    assert "the days shown here are still those of before" in " ".join(reef.type("today --tank Q2").split())
    said = " ".join(reef.type("look 'Q2 4 3' --no-signs").split())
    (move,) = reef.due("move", "Q2")
    assert "Q1-1: earliest sign-off 2026-04-13 -> 2026-04-16" in said
    assert f"Q1-1: the series began again: {move['code']} {move['title']} is due on 2026-03-08" in said


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Centre:
    """White spots on 11 March at 24 °C, and the first of five doses given."""
    room = Centre(tmp_path, capsys, monkeypatch, "fresh")
    room.arrive("fresh-white-spot", "2026-03-02 10:00")
    days(room, 3, 10)
    room.at("2026-03-11 09:00").type("look 'Q1 12 3' --sign 'white spots'")
    room.type(f"reading Q1 {COOLER}")
    room.type("event word Q1 dose --yes")
    (dose,) = room.due()
    room.type(f"done {dose['code']} --as-shown {STRENGTH}")
    return room


def days(room: Centre, first: int, last: int) -> None:
    """Each of these days of March a look without signs, and the readings."""
    for day in range(first, last + 1):
        room.days(f"2026-03-{day:02}", f"2026-03-{day:02}", 12, readings=False)
        room.type(f"reading Q1 {COOLER}")


def test_nothing_is_listed_as_due_behind_a_dose_that_is_overdue(room: Centre) -> None:
    """Dose 2 is a day late: the change after it and dose 3 wait for it in the list, whatever day their rows have."""
    days(room, 12, 12)
    (change,) = room.due("change")
    room.type(f"done {change['code']} --as-shown")
    room.at("2026-03-14 10:00")
    (late,) = room.due()
    assert late["section"] == "overdue"
    assert not room.due("change")
    document = room.json("today --tank Q1")
    waiting = [t for t in document["tasks"] if t["step"] in ("dose", "between") and t["section"] == "waiting"]
    assert waiting
    assert {t["needs"] for t in waiting} == {f"waits for {late['code']}, which is overdue: its day moves with that"}
    assert "Formalin" not in room.type("today --tank Q1").partition("Next day")[2]


def test_the_day_of_a_drug_free_period_is_one_number_in_every_list(room: Centre) -> None:
    """Formalin is in the water: day 0 in `today`, `clocks` and `signoff`, also on a day on which nothing was written,
    and one day on which the period is met."""
    days(room, 12, 13)
    room.at("2026-03-14 08:00")
    assert "observation day 0 of 30" in room.type("today --tank Q1")
    (period,) = room.json("clocks Q1-1")["periods"]
    assert period["day"] == 0
    said = room.type("signoff Q1-1 --dry-run")
    assert "day 0 of 30, counted from 2026-03-11" in said
    assert f"met on {period['put_off_to']} after the look" in said
    assert f"earliest if all goes well: {period['put_off_to']}" in said
