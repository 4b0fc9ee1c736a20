"""`clocks BATCH` from the keyboard: four numbers that differ, in a narrow terminal and as a document (F28)."""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest
from amend_room import Room
from freezegun import freeze_time

from quarantine.cli import app

WARM = "temp=24C"


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    return Room(tmp_path, capsys, monkeypatch)


def four(room: Room) -> None:
    """Koi that are warm from day 1, get a companion on day 4, and a dose on day 9; it is day 10 now."""
    room.start("koi-warm-hold")
    for day in range(3, 13):
        room.at(f"2026-03-{day:02} 09:00").type(f"reading Q1 {WARM}")
        room.type('look "Q1 12 3" --no-signs' if day < 6 else 'look "Q1 13 3" --no-signs')
        if day == 5:
            room.at("2026-03-06 08:00").type("event added Q1 1 --yes")
    room.at("2026-03-12 15:00")


def test_F28_four_numbers_that_differ(room: Room) -> None:
    """10 days since arrival, 6 since the last fish in, hours in range since that day, and no dose."""
    four(room)
    made = room.json("clocks Q1-1")
    assert (made["since_arrival"]["days"], made["since_arrival"]["zero"]) == (10, "2026-03-02")
    assert (made["since_entered"]["days"], made["since_entered"]["zero"]) == (6, "2026-03-06")
    assert [one["on"] for one in made["since_entered"]["exposed"]] == ["2026-03-06"]
    (warm,) = made["in_range"]
    assert (warm["hours"], warm["need_hours"]) == (144, 720)
    assert warm["zero"].startswith("2026-03-06T08:00")
    assert made["since_dose"] == {"zero": None, "hours": None, "because": "no dose is on record"}
    assert made["earliest"] == room.json("batch show Q1-1")["earliest"]


def test_each_clock_is_a_sentence_with_its_zero_and_its_reason(room: Room) -> None:
    """Count, unit, zero and why stand in one line, and the periods follow."""
    four(room)
    said = room.type("clocks Q1-1")
    assert "Since arrival: 10 days; day 0 is 2026-03-02, the fish arrived (rule A1)." in said
    assert "Since fish last entered this water: 6 days; day 0 is 2026-03-06, fish came into the water" in said
    assert "Exposed on 2026-03-06: fish came into the water." in said
    assert "Since the last dose: no dose is on record." in said
    assert "Period Thirty days of observation (30 d, calendar days): first day 0 2026-03-02, 0 d after the fish" in said
    assert "2026-03-06: fish came into the water; the template says restart: day 0 is that day (+4 days)." in said
    assert "Clear count" in said


def test_it_reads_on_forty_columns_and_without_colour(room: Room, monkeypatch: pytest.MonkeyPatch) -> None:
    """No line is longer than the terminal, none has a code of colour in it."""
    four(room)
    monkeypatch.setenv("COLUMNS", "40")
    room.capsys.readouterr()
    for line in ("clocks Q1-1", "timeline Q1-1", "why Q1-1", "why Q1-1 2026-03-06"):
        with freeze_time(room.now):
            assert app.run(["--home", str(room.folder / "home"), *shlex.split(line)]) == 0
        said = room.capsys.readouterr().out
        assert max(map(len, said.splitlines())) <= 40
        assert "\x1b" not in said


def test_a_protocol_without_time_in_range_says_so(room: Room) -> None:
    """fresh-watch counts none: the clock says that, not zero."""
    room.start("fresh-watch")
    assert "Time in range: this protocol counts no time in range." in room.type("clocks Q1-1")
    assert room.json("clocks Q1-1")["in_range"] == []


def test_an_unknown_batch_is_refused_in_a_sentence(room: Room) -> None:
    """The known ones are named; nothing is read of a batch that has not come."""
    room.start("fresh-watch")
    assert "There is no batch 'Q9-9'; known: Q1-1." in room.type("clocks Q9-9", 1)
    room.type(
        "batch expect Later --tank Q1 --protocol fresh-watch --from 2026-04-10 --until 2026-04-12 "
        "--fish '3 Melanotaenia praecox' --source 'a breeder' --to Show --yes"
    )
    for command in ("clocks", "why", "timeline"):
        assert "Batch Later has not come yet, so nothing counts" in room.type(f"{command} Later", 1)


def test_a_closed_batch_stands_as_it_stood_when_it_was_closed(room: Room) -> None:
    """A month later the clocks are those of the day of the decision."""
    room.start("fresh-watch")
    room.at("2026-03-05 10:00").type("signoff Q1-1 --reject")
    room.at("2026-04-05 10:00")
    made = room.json("clocks Q1-1")
    assert made["since_arrival"]["days"] == 3
    assert "when it was closed" in room.type("clocks Q1-1")
    assert "signed off" in room.type("timeline Q1-1")
