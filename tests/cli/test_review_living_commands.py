"""What a critical reader of moves, merges and shared water found, each as it would have hurt fish."""

from __future__ import annotations

from pathlib import Path

import pytest
from moving_room import day, hall
from once_room import OnceRoom

from quarantine.templates import shipped


def two(room: OnceRoom, protocol: str) -> OnceRoom:
    """Four fish in Q2 since day 0, two more of the same protocol since day 1; it is day 3 of the first."""
    hall(room, protocol)
    room.type(
        f'batch start --tank Q2 --protocol {protocol} --arrived "2026-02-11 10:00" --acknowledge --yes '
        '--fish "2 Centropyge bicolor, 6 cm" --from "a breeder" --to Reef'
    )
    return room


def test_a_dose_from_before_a_move_never_stands_in_the_new_water(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Entered late, it went into the water the fish left: that one holds it, and no fish are added there (rule B2)."""
    room = hall(OnceRoom(tmp_path / "home", capsys))
    code = room.code()
    room.at("19:10:00").type("batch move Q2-1 --to Q3 --no-water")
    room.at("20:00:00")
    assert "0.09 g of praziquantel given to Q2" in room.type(f'done {code} --as-shown --at "2026-02-13 20:00"')
    assert "No dose on record for this water" in room.type("level Q3")
    assert "now 0 to 1.845 mg/L" in room.type("level Q2")
    assert (room.given(code)["given"], room.json(f"why {code}")["state"]) == ("0.09", "done")
    assert "whole" in room.type("check")


def test_a_hold_lifted_in_the_old_water_says_nothing_of_the_new_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nitrite out of limit in the tank the fish come to still holds every dose there (rule C9)."""
    room = hall(OnceRoom(tmp_path / "home", capsys))
    room.type("reading Q3 temp=25.5C ph=8.1 tan=0.1mg/L nitrite_no2=9mg/L oxygen=6.5mg/L salinity=34g/L")
    room.type('look "Q2 4 2" --sign gasping')
    room.at("19:30:00").type('event lift Q2 --because "seen by a veterinarian"')
    room.at("19:40:00").type("batch move Q2-1 --to Q3 --no-water --yes")
    assert "no dose into bad water" in room.type("dose praziquantel --tank Q3 --regimen Z01")
    room.at("19:50:00").type('event lift Q3 --because "the kit was wrong"')
    assert "no dose into bad water" not in room.type("dose praziquantel --tank Q3 --regimen Z01")


def test_days_added_at_a_sign_off_outlive_a_merge(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The later clock of both rules (B3): seven days that a person added to one of them are not lost."""
    room = two(OnceRoom(tmp_path / "home", capsys), "marine-watch")
    for number in (14, 15, 16):
        day(room, number, "Q2", 6)
    before = room.json("batch show Q2-1")["earliest"]
    room.type('signoff Q2-2 --extend "7 d"')
    later = room.json("batch show Q2-2")["earliest"]
    assert later > before
    room.type("batch merge Q2-2 --into Q2-1 --yes")
    assert room.json("batch show Q2-1")["earliest"] == later
    assert "whole" in room.type("check")


TABLE = """[step.repeat]
times = 2
from = "given"

[[step.repeat.by_temperature]]
at_least = "20 °C"
below = "28 °C"
every = "4 d"

[step.treatment]
regimen = "Z01"
"""


def test_a_course_whose_next_dose_waits_for_a_reading_is_not_merged_away(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The second dose has no day while nobody reads the temperature; it is owed all the same."""
    text = shipped()["marine-praziquantel"].read_text(encoding="utf-8")
    text = text.replace('repeat = { every = "4 d", times = 2, from = "given" }\n', "", 1)
    text = text.replace('[step.treatment]\nregimen = "Z01"\n', TABLE, 1)
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    room = two(OnceRoom(tmp_path / "home", capsys), str(tmp_path / "mine.toml"))
    for number in (14, 15):
        day(room, number, "Q2", 6)
    room.at("2026-02-15 17:00:00").type(f"done {room.code()} --as-shown")
    room.at("2026-02-17 10:00:00").type('look "Q2 6 3" --no-signs')
    waiting = [t for t in room.json("batch show Q2-2")["tasks"] if t["step"] == "dose" and t["state"] == "planned"]
    assert [t["day"] for t in waiting] == [None]
    assert "is still open" in room.type("batch merge Q2-2 --into Q2-1 --yes", 1)


def test_a_chain_of_merges_keeps_the_shortest_count_of_feeding(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Fish that ate on one day stay fish that ate on one day, however often their batch is merged on (rule B3)."""
    room = two(OnceRoom(tmp_path / "home", capsys), "marine-watch")
    for number in (14, 15):
        day(room, number, "Q2", 6)
    room.at("2026-02-15 17:00:00").type(
        'batch start --tank Q2 --protocol marine-watch --arrived "2026-02-15 17:30" --yes '
        '--fish "2 Centropyge bicolor, 6 cm" --from "a breeder" --to Reef'
    )
    day(room, 16, "Q2", 8)
    room.at("2026-02-16 17:00:00").type("batch merge Q2-3 --into Q2-1 --yes")
    room.at("2026-02-16 18:00:00").type("batch merge Q2-1 --into Q2-2 --yes")
    (says,) = [c["says"] for c in room.json("signoff Q2-2")["criteria"] if "offered days" in c["says"]]
    assert "the last 1 offered days were feeding days" in says
