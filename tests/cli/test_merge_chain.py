"""Batches that are merged one after the other keep the doses of all of them (rules A9, B3 and B8)."""

from __future__ import annotations

from pathlib import Path

import pytest
from moving_room import hall
from once_room import BOX, OnceRoom


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """A in Q2 had praziquantel, B is in Q3, C in Q4: three watched batches under one protocol, and Q5 empty."""
    made = hall(OnceRoom(tmp_path / "home", capsys), "marine-watch")
    made.type(f"tank add Q5 --site Hall --role quarantine --water marine {BOX}")
    made.type("tank measure Q5 49.3L --by buckets --plus-minus 0.5L")
    for name, tank in (("B", "Q3"), ("C", "Q4")):
        made.type(
            f'batch start --tank {tank} --protocol marine-watch --arrived "2026-02-10 09:30" --yes --name {name} '
            '--fish "2 Centropyge bicolor, 6 cm" --from "an importer" --to Reef'
        )
    made.at("2026-02-13 19:00:00").type('event dose Q2 Z01 --gave "0.09 g" --really')
    return made


def merged(room: OnceRoom) -> OnceRoom:
    """A into B in Q3 on day 4, both into C in Q4 on day 5."""
    room.at("2026-02-14 09:00:00").type("batch move Q2-1 --to Q3 --no-water --yes")
    room.type("batch merge Q2-1 --into B --yes")
    room.at("2026-02-15 09:00:00").type("batch move B --to Q4 --no-water --yes")
    room.type("batch merge B --into C --yes")
    return room


def test_a_dose_of_the_first_is_known_of_the_last(room: OnceRoom) -> None:
    """Contact of A ended as its fish left Q2 on the 14th at 10:00: the last dose of C as well, moved on or not."""
    assert room.json("clocks C")["since_dose"]["zero"] is None
    merged(room)
    known = {
        "zero": "2026-02-14T09:00:00+00:00",
        "hours": 24,
        "because": "contact with Praziquantel ended, last given 2026-02-13 20:00 (rule A9)",
    }
    assert room.json("clocks C")["since_dose"] == known
    room.at("2026-02-15 09:00:00").type("batch move C --to Q5 --no-water --yes")
    assert room.json("clocks C")["since_dose"] == known
    assert "whole" in room.type("check")


def test_what_a_batch_was_in_before_the_one_came_that_it_is_counted_with(room: OnceRoom) -> None:
    """Q3 had a dose and was cleared before C came there: of B's fish it is known, so of all that are counted as C."""
    room.type('event dose Q3 Z01 --gave "0.09 g" --really')
    room.at("2026-02-14 09:00:00").type("event change Q3 --out 49.3L --really")
    assert room.json("clocks B")["since_dose"]["zero"] == "2026-02-14T09:00:00+00:00"
    room.at("2026-02-15 09:00:00").type("batch move C --to Q3 --no-water --yes --really")
    assert room.json("clocks C")["since_dose"]["zero"] is None
    room.type("batch merge B --into C --yes")
    assert room.json("clocks C")["since_dose"]["zero"] == "2026-02-14T09:00:00+00:00"
    assert "the last one was given 2026-02-13" in room.type("dose praziquantel --tank Q3 --regimen Z01")


def test_a_look_in_the_second_of_the_merge_counts_for_all_once(room: OnceRoom) -> None:
    """Looked at and merged in one second: the day counts whichever came first, and it is one day of feeding."""
    room.at("2026-02-14 09:00:00").type("batch move C --to Q3 --no-water --yes")
    days = []
    for before in (True, False):
        number = 15 if before else 16
        room.at(f"2026-02-{number} 16:00:00")
        if not before:
            room.type("batch merge C --into B --yes")
        room.type('look "Q3 4 3" --no-signs')
        said = {c["title"]: c for c in room.json("signoff B")["criteria"]}
        days.append((room.json("batch show B")["clear"], said))
    assert days[1][0]["days"] == days[0][0]["days"] + 1


def test_the_gap_to_that_dose_is_kept_through_merges_and_moves(room: OnceRoom) -> None:
    """In Q4, and after one more move in Q5: the dose that A's fish had is still counted (rule B8), once."""
    merged(room)
    assert "the last one was given 2026-02-13" in room.type("dose praziquantel --tank Q4 --regimen Z01")
    room.at("2026-02-16 09:00:00").type("batch move C --to Q5 --no-water --yes")
    assert "the last one was given 2026-02-13" in room.type("dose praziquantel --tank Q5 --regimen Z01")
    assert "whole" in room.type("check")
