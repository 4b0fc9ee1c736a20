"""Work that loses its day leaves the phone: its entry is cancelled, and comes back under its UID when it has a day."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from once_room import OnceRoom

READ = "temp=24C ph=7.2 tan=0.1mg/L nitrite_no2=0.05mg/L oxygen=6.5mg/L"
BOX = '--shape box --length "60 cm" --width "30 cm" --filled "30 cm"'


def entries(room: OnceRoom, file: Path) -> dict[str, tuple[str, int, str]]:
    """UID -> summary, SEQUENCE and STATUS of what a calendar file says."""
    room.type(f"calendar write {file}")
    text = file.read_text(encoding="utf-8").replace("\n ", "")
    found = {}
    for event in text.split("BEGIN:VEVENT")[1:]:
        said = dict(re.findall(r"(?m)^(UID|SUMMARY|SEQUENCE|STATUS|DTSTART)[^:\n]*:(.*?)\r?$", event))
        assert said["DTSTART"]
        found[said["UID"]] = (said["SUMMARY"], int(said.get("SEQUENCE", "0")), said.get("STATUS", ""))
    return found


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """Fish under the template whose doses are spaced by the temperature of the water, on day 4."""
    room = OnceRoom(tmp_path / "home", capsys).at("2026-03-02 09:00:00")
    room.type("site add Hall --zone Europe/Berlin", who="")
    room.type("keeper add Robin", who="")
    for name, role in (("Q1", "quarantine"), ("Q2", "quarantine"), ("Show", "display")):
        room.type(f"tank add {name} --site Hall --role {role} --water fresh {BOX}")
        room.type(f"tank measure {name} 50L --by buckets --plus-minus 1L")
    room.type(
        'batch start --tank Q1 --protocol fresh-flukes --arrived "2026-03-02 09:30" --acknowledge --yes '
        '--fish "12 Melanotaenia praecox, 4 cm" --from "an importer" --to Show'
    )
    for day in (2, 3, 4, 5, 6):
        room.at(f"2026-03-0{day} 10:00:00")
        room.type(f'look "Q1 12{"" if day == 2 else " 3"}" --no-signs')
        room.type(f"reading Q1 {READ}")
    return room


def test_a_dose_without_a_day_is_cancelled_and_comes_back(room: OnceRoom, tmp_path: Path) -> None:
    """An entry that is left out of the next file stays on the phone for ever; one that is cancelled goes (RFC 5545)."""
    told = entries(room, tmp_path / "a.ics")
    doses = {uid for uid, (summary, _, _) in told.items() if "raziquantel" in summary}
    room.at("2026-03-06 12:00:00").type("batch move Q1-1 --to Q2 --no-water --yes")
    after = entries(room, tmp_path / "b.ics")
    assert told.keys() <= after.keys()
    waiting = [t for t in room.json("batch show Q1-1")["tasks"] if t["day"] is None]
    lost = {uid for uid in doses if after[uid][2] == "CANCELLED"}
    assert waiting
    assert lost
    assert all(after[uid][1] > told[uid][1] for uid in lost)
    assert entries(room, tmp_path / "c.ics") == after  # nothing is told anew where nothing is new
    room.at("2026-03-06 13:00:00").type(f"reading Q2 {READ}")
    again = entries(room, tmp_path / "d.ics")
    assert all(again[uid][2] != "CANCELLED" and again[uid][1] > after[uid][1] for uid in lost)
