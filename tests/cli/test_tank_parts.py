"""Sump and filter of a tank that is on record already: dated like a new volume, and left out with the filter off."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from typed_room import BOX, Room, typed_room

from quarantine.actions.cards import setting_for
from quarantine.dosing import Where, propose
from quarantine.facts import utc
from quarantine.formulary import regimen
from quarantine.records.reads import open_reader
from quarantine.settings import open_home

PARTS = '--sump "10 L ± 0.5 L" --filter "2 L ± 0.1 L"'


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    """Q1 of 54 L by its lengths, with fish; neither sump nor filter is on record."""
    return typed_room(tmp_path / "home", capsys, monkeypatch, 12)


def volume(room: Room, tank: str = "Q1") -> tuple[float, str]:
    """Litres and method of the volume that rules."""
    found = room.json(f"tank show {tank}")["volume"]
    return found["litres"], found["method"]


def apart(room: Room, tank: str = "Q1") -> Any:
    """What stands apart with the filter off, as a dose reads it."""
    shape = room.json(f"tank show {tank}")["shape"]
    return shape["sump"], shape["filter"]


def test_computed_litres_are_computed_again_with_sump_and_filter(room: Room) -> None:
    """54 + 10 + 2 = 66 L from now on; the volume of before stays in the history."""
    assert volume(room) == (54, "computed from its measures")
    said = room.at("2026-02-11 09:00:00").type(f"tank parts Q1 {PARTS}")
    assert "Q1: 66 L, plus or minus" in said
    assert "of it 10 L in the sump and 2 L in the filter. A dose with the filter off goes without them" in said
    assert volume(room) == (66, "computed from its measures")
    assert [one["litres"] for one in room.json("tank show Q1")["history"]] == [54]
    assert apart(room) == (["10", "0.5"], ["2", "0.1"])
    assert "The record is whole" in room.type("check")
    assert "sump and filter" in room.type("journal")


def test_measured_litres_are_asked_whether_they_hold_them(room: Room) -> None:
    """Both answers: 50 L hold all, or 50 + 12 L with both errors added."""
    room.type('tank measure Q1 50L --by buckets --plus-minus "0.4 L"')
    room.at("2026-02-11 09:00:00")
    asked = " ".join(room.type(f"tank parts Q1 {PARTS}", 1).split())
    assert "50 L are on record by buckets. Were sump and filter full and counted with them?" in asked
    assert apart(room) == (None, None)
    assert "--counted is yes or no, not 'perhaps'" in room.type(f"tank parts Q1 {PARTS} --counted perhaps", 2)
    made = room.json(f"tank parts Q1 {PARTS} --counted yes --dry-run")
    assert (made["litres"], made["plus_minus_litres"], made["sump_litres"], made["filter_litres"]) == (50, 0.4, 10, 2)
    room.type(f"tank parts Q1 {PARTS} --counted no")
    assert volume(room) == (62, "buckets, sump and filter beside it")
    assert room.json("tank show Q1")["volume"]["plus_minus_litres"] == 1


def test_C10_a_dose_with_the_filter_off_names_the_command_and_leaves_out_what_it_recorded(room: Room) -> None:
    """The confirmation of a tank without either names the command, and with them their litres are left out."""
    moment = datetime(2026, 2, 12, 9, tzinfo=UTC)

    def card() -> Any:
        home = open_home(str(room.home))
        with open_reader(home.database) as rows:
            tank = next(t for t in rows.rows("tanks") if t["name"] == "Q1")
            setting = setting_for(rows, home, tank, None, utc(moment))
        substance, row = regimen("M01")
        return propose(substance, row, setting, where=Where("system", "off", ()))

    assert any("quarantine tank parts" in line for line in card().confirm)
    room.at("2026-02-11 09:00:00").type(f"tank parts Q1 {PARTS}")
    made = card()
    assert made.dose.volume_litres == 54
    assert not any("quarantine tank parts" in line for line in made.confirm)


def test_a_part_can_be_taken_off_the_record(room: Room) -> None:
    """No sump any more: its litres go with it."""
    room.at("2026-02-11 09:00:00").type(f"tank parts Q1 {PARTS}")
    room.at("2026-02-12 09:00:00").type('tank parts Q1 --sump "0 L"')
    assert volume(room)[0] == 56
    assert apart(room) == (None, ["2", "0.1"])


def test_two_volumes_of_one_second_keep_their_order(room: Room) -> None:
    """A tank that was added this second is computed anew a second later, and that one rules."""
    room.type(f"tank add Q9 --site Hall --role holding --water fresh {BOX}")
    room.type(f"tank parts Q9 {PARTS}")
    assert volume(room.at("2026-02-10 09:00:00"), "Q9")[0] == 66


def test_parts_with_a_date_count_from_then_on(room: Room) -> None:
    """As a new volume does; what was measured later still rules."""
    room.at("2026-02-12 09:00:00").type('tank measure Q1 50L --by buckets --plus-minus "0.4 L"')
    room.type(f'tank parts Q1 {PARTS} --at "2026-02-11 09:00"')
    assert volume(room) == (50, "buckets")
    assert [one["litres"] for one in room.json("tank show Q1")["history"]] == [54, 66]


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        ("tank parts Q1", 2, "Say how many litres stand in them"),
        ('tank parts Q1 --sump "10"', 1, "10"),
        ('tank parts Q1 --sump "500 L"', 1, "5 times apart or more"),
        ('tank parts Q1 --sump "10 L" --counted yes', 2, "these are computed from the tank's measures"),
        ('tank parts Q7 --sump "10 L"', 1, "There is no tank 'Q7'"),
    ],
)
def test_what_does_not_read_or_looks_like_a_slip_is_refused(room: Room, words: str, code: int, says: str) -> None:
    """One sentence each, and nothing is written."""
    before = json.dumps(room.json("tank show Q1"))
    assert says in " ".join(room.type(words, code).split())
    assert json.dumps(room.json("tank show Q1")) == before


def test_more_in_the_parts_than_was_measured_is_refused(room: Room) -> None:
    """60 L in the sump of 50 L in all."""
    room.type('tank measure Q1 50L --by buckets --plus-minus "0.4 L"')
    said = room.at("2026-02-11 09:00:00").type('tank parts Q1 --sump "60 L" --counted yes', 1)
    assert "Sump and filter would hold all of the 50 L" in " ".join(said.split())


def test_water_off_its_mark_is_put_right_first(room: Room) -> None:
    """The litres of a sump are for the mark; where the water stands is said again afterwards."""
    room.type('tank level Q1 "3 cm below"')
    room.at("2026-02-11 09:00:00")
    assert "is off its mark" in " ".join(room.type(f"tank parts Q1 {PARTS}", 1).split())
    room.type('tank level Q1 "at the mark"')
    room.at("2026-02-11 10:00:00").type(f"tank parts Q1 {PARTS}")
    room.at("2026-02-11 11:00:00").type('tank level Q1 "3 cm below"')
    assert volume(room)[0] == pytest.approx(66 - 5.4)
