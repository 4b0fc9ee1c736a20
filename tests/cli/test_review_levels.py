"""Levels and what moves them, from the command line: fish that are moved, flows, and corrections of both."""

from __future__ import annotations

import csv
from datetime import UTC, datetime
from math import exp
from pathlib import Path

import pytest
from typed_room import Room

BOX = '--shape box --length "100 cm" --width "50 cm" --filled "40 cm"'
NOON = "2026-02-10 12:00:00"


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    """Marine and fresh quarantines of 200 L, plus or minus 1.75 L; fish in M1 and in F1; the site is in UTC."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    made = Room(tmp_path / "home", capsys)
    made.type("site add Hall --zone UTC")
    made.type("keeper add Robin")
    for name, role, water in (
        ("M1", "quarantine", "marine"), ("M2", "quarantine", "marine"), ("F1", "quarantine", "fresh"),
        ("F9", "quarantine", "fresh"), ("Reef", "display", "marine"), ("Pool", "display", "fresh"),
    ):  # fmt: skip
        made.type(f"tank add {name} --site Hall --role {role} --water {water} {BOX}")
    start = 'batch start --arrived "2026-02-09 10:00" --from breeder --acknowledge --yes'
    made.type(f'{start} --tank M1 --protocol marine-watch --fish "4 Amphiprion ocellaris, 4 cm" --to Reef')
    made.type(f'{start} --tank F1 --protocol fresh-watch --fish "6 Carassius auratus, 12 cm" --to Pool')
    return made.at(NOON)


def seal(room: Room) -> str:
    """The last entry's first digits."""
    return str(room.json("journal --last 1")["entries"][0]["seal"][:8])


def high(room: Room, tank: str = "M1", substance: str = "praziquantel") -> float:
    """The upper bound now."""
    return float(room.json(f"level {tank} {substance}")["now"]["high"])


# --- Fish that are moved ---------------------------------------------------------------------------------------------


def test_C12_fish_that_are_moved_may_carry_medicated_water(room: Room) -> None:
    """How much came along is not known, so neither is the level over there, and a dose of it is held."""
    room.type("event dose M1 Z01 --gave 0.4g --really")
    said = room.type("event moved M1 2 --to Reef")
    assert "The water they left may hold Praziquantel" in said
    assert "--no-water" in said
    (fact,) = room.facts("unknown_addition")
    assert fact == {"substance": "praziquantel", "what": "water that may have come with fish from M1"}
    assert "unknown: an amount that nobody knows came in" in room.type("level Reef praziquantel")
    assert room.json("dose praziquantel --tank Reef --regimen Z01")["hold"]["rule"] == "C12"
    assert room.json("level Reef")["others"]["high"] == 0  # of everything else nothing came


def test_fish_that_were_netted_bring_no_water(room: Room) -> None:
    """With --no-water, from water that holds nothing, and within one water, nothing is written over there."""
    room.type("event moved M1 1 --to Reef")
    room.type("event dose M1 Z01 --gave 0.4g --really")
    said = room.type("event moved M1 1 --to Reef --no-water")
    assert "may hold" not in said
    assert room.facts("unknown_addition") == []
    assert room.json("dose praziquantel --tank Reef --regimen Z01")["hold"] is None


def test_what_the_fish_carried_is_taken_back_with_the_move(room: Room) -> None:
    """One entry holds both, so one undo takes both back."""
    room.type("event dose M1 Z01 --gave 0.4g --really")
    room.type("event moved M1 2 --to Reef")
    room.type('undo "they were netted"')
    assert high(room, "Reef") == 0
    assert "The record is whole" in room.type("check")


def test_unknown_water_stays_unknown_where_the_fish_go(room: Room) -> None:
    """After an addition that nobody can name, any substance may have come along."""
    room.type('event unknown M1 --what "something from a bottle without a label"')
    assert "something that nobody knows" in room.type("event moved M1 2 --to Reef")
    assert room.json("level Reef")["others"]["high"] is None


def test_B2_fish_are_not_added_to_water_that_may_have_been_brought_medicine(room: Room) -> None:
    """Any level whose upper bound is above zero counts: by new water, or by water that came with fish."""
    room.type('event change F1 --out 20L --brings "metronidazole 5.0 mg/L"')
    assert "still holds up to" in room.type("event added F1 1 --yes", 1)
    room.type("event change F1 --out 210L --really")
    room.type("event added F1 1 --yes")


# --- Flows -----------------------------------------------------------------------------------------------------------


def test_a_flow_is_corrected_in_rate_and_end(room: Room) -> None:
    """5 L an hour instead of 10, and three hours instead of six: 15 L of 200 L."""
    room.type("event dose M1 Z01 --gave 0.4g --really")
    room.type('event exchange M1 --rate "10 L/h" --really')
    room.at("2026-02-10 18:00:00")
    assert high(room) == pytest.approx(400 / 198.25 * exp(-60 / 198.25), rel=1e-3)
    assert "rate 10 -> 5 L/h" in room.type(f'correct {seal(room)} rate="5 L/h" --because "misread the meter"')
    assert high(room) == pytest.approx(400 / 198.25 * exp(-30 / 198.25), rel=1e-3)
    said = room.type(f'correct {seal(room)} until=15:00 --because "it was shut at three"')
    assert "until running -> 2026-02-10 15:00" in said
    assert high(room) == pytest.approx(400 / 198.25 * exp(-15 / 198.25), rel=1e-3)
    assert "would end before it began" in room.type(f'correct {seal(room)} --at 16:00 --because "later"', 1)
    room.type(f'correct {seal(room)} until=running --at 16:00 --because "later"')
    assert high(room) == pytest.approx(400 / 198.25 * exp(-10 / 198.25), rel=1e-3)
    assert "The record is whole" in room.type("check")


def test_a_flow_that_runs_on_can_be_corrected_in_its_time_alone(room: Room) -> None:
    """It still has no end afterwards, and every read works."""
    room.type("event dose M1 Z01 --gave 0.4g --really")
    room.type('event exchange M1 --rate "10 L/h" --really')
    room.at("2026-02-10 18:00:00").type(f'correct {seal(room)} --at 13:00 --because "an hour later"')
    assert high(room) == pytest.approx(400 / 198.25 * exp(-50 / 198.25), rel=1e-3)
    assert "no water flows" in room.type("event exchange M1 --stop")


def test_a_tank_has_one_flow_even_where_an_earlier_one_was_said_to_last(room: Room) -> None:
    """10 L an hour from 6 to 10, and from 8 on 5 L: 20 L and then 10 L by 10 o'clock, never both at once."""
    room.type("event dose M1 Z01 --gave 0.4g --really --at 05:00")
    room.type('event exchange M1 --rate "10 L/h" --at 06:00 --until 10:00 --really')
    room.type('event exchange M1 --rate "5 L/h" --at 08:00 --until 10:00 --really')
    assert high(room) == pytest.approx(400 / 198.25 * exp(-30 / 198.25), rel=1e-3)


def test_the_table_of_changes_has_what_flowed_through(room: Room, tmp_path: Path) -> None:
    """With its rate and its end; while it runs on the end is empty."""
    room.type('event exchange M1 --rate "10 L/h" --at 06:00 --until 10:00 --really')
    room.type('event exchange M1 --rate "5 L/h" --at 11:00 --really')
    room.type(f"export {tmp_path / 'out'}")
    with (tmp_path / "out" / "changes.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["kind"] == "exchange"]
    assert [(row["litres_per_hour"], row["until"]) for row in rows] == [
        ("10", "2026-02-10T10:00:00+00:00"),
        ("5", ""),
    ]


def test_C15_a_salinity_from_before_a_flow_says_nothing_of_the_water_now(room: Room) -> None:
    """200 L read at 2 g/L, then 24 L flow through: read it again."""
    room.type("reading F1 salinity=2.0g/L")
    room.at("2026-02-10 12:01:00").type('event exchange F1 --rate "6 L/h"')
    room.at("2026-02-10 16:01:00")
    assert room.json("dose sodium-chloride --tank F1 --regimen T04")["hold"]["rule"] == "C15"
    room.type("reading F1 salinity=1.8g/L")
    assert room.json("dose sodium-chloride --tank F1 --regimen T04")["hold"] is None
    room.at("2026-02-10 17:01:00")  # 6 L more: 3 % of the water
    assert room.json("dose sodium-chloride --tank F1 --regimen T04")["hold"]["rule"] == "C15"


def test_C2_alkalinity_from_before_a_change_sizes_no_copper_in_a_tank_without_a_batch(room: Room) -> None:
    """Half the water was changed since: what it is now is not known, and copper kills where it is low."""
    room.type("reading F9 alkalinity=180mg/L hardness=160mg/L copper_free=0.00mg/L")
    dose = 'dose copper --tank F9 --regimen C01 --strength "99 % as CuSO4.5H2O"'
    assert "alkalinity" not in str(room.json(dose)["hold"])
    room.at("2026-02-10 12:10:00").type("event change F9 --out 100L")
    assert "total alkalinity of the water is not known" in room.json(dose)["hold"]["says"]


# --- Slips of litres -------------------------------------------------------------------------------------------------


def test_C7_a_slip_in_the_litres_of_a_ticked_change_is_asked_about_once(room: Room) -> None:
    """5000 L for 50: on paper it would clear every level, and the next dose would go on top of what is there."""
    room.at("2026-02-16 12:00:00")
    code = next(task["code"] for task in room.json("today")["tasks"] if task["kind"] == "change")
    assert "5000 L is more than the 200 L" in room.type(f"done {code} --gave 5000L", 1)
    assert room.facts("change") == []
    room.type(f"done {code} --gave 50L")
    assert "take the entry back" in room.type(f"correct {seal(room)} out=5000L --because slip", 1)
    assert [fact["out_litres"] for fact in room.facts("change")] == ["50"]


# --- Corrections of a dose -------------------------------------------------------------------------------------------


def test_a_dose_with_what_nobody_knew_is_corrected_twice(room: Room) -> None:
    """A dip given without its litres has no upper end; that stays so through every correction."""
    room.type("event dose F1 T01 --gave 300g --really")
    room.type(f"correct {seal(room)} gave=200g --because slip")
    assert "gave 200 g -> 100 g" in room.type(f"correct {seal(room)} gave=100g --because slip")
    assert room.facts("dose")[-1]["gives_high_mg_per_l"] is None
    assert room.facts("dose")[-1]["prepared"] is None


def test_why_writes_a_level_as_the_level_command_does(room: Room) -> None:
    """Copper in mg/L Cu and salt in g/L, each with what is counted."""
    from quarantine.actions.cards import batch_in, setting_for
    from quarantine.actions.levels import level_now
    from quarantine.records.reads import open_reader
    from quarantine.settings import open_home

    room.type('event dose F1 C01 --gave 0.2g --strength "100 % as CuSO4.5H2O" --really')
    room.type("event dose F1 T04 --gave 200g --really")
    home = open_home(str(room.home))
    with open_reader(home.database) as rows:
        tank = next(t for t in rows.rows("tanks") if t["name"] == "F1")
        setting = setting_for(rows, home, tank, batch_in(rows, tank["system"]), datetime(2026, 2, 10, 12, tzinfo=UTC))
    said = {name: level_now(setting.doses, name, level, setting.now) for name, level in setting.levels.items()}
    for name, words in said.items():
        assert f"Now, 2026-02-10 12:00: {words}" in room.type(f"level F1 {name}")
    assert said["copper"].endswith(" mg/L Cu")
    assert said["sodium-chloride"].endswith(" g/L")
