"""Formalin as a new user would try it: at 70 °F, at 28 °C, from a bottle of unknown strength, in a template."""

from __future__ import annotations

import csv
import shutil
from pathlib import Path

import pytest
from bath_room import template
from liquid_room import Room, furnish, quiet

ASK = ("formalin", "--tank", "Q1", "--regimen")
AS_SOLD = ("--strength", "37 % formaldehyde")
DAY_3 = "2026-02-13 12:00:00"


@pytest.fixture(scope="module")
def furnished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The hall, made once, with a template that has a bath of formalin on day 3."""
    home = tmp_path_factory.mktemp("formalin") / "home"
    text = template("F02").replace("24 °C", "20 °C")
    (home.parent / "bath-watch.toml").write_text(text, encoding="utf-8")
    furnish(home, protocol=str(home.parent / "bath-watch.toml"))
    return home


@pytest.fixture
def room(furnished: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Room:
    """A copy of it for one test."""
    shutil.copytree(furnished, tmp_path / "home")
    return Room(tmp_path / "home", capsys)


def test_formalin_at_70_fahrenheit_is_the_row_for_warm_water(room: Room) -> None:
    """70 °F is 21.11 °C, with the step up to 21.39: F01 is for at most 21, so F02. Goldfish are small ornamental fish:
    min(150 x 100, 100 x (100 - 0.2)) / 1000 = 9.98 mL, down to 9.9."""
    assert room.dose(*ASK, "F02", *AS_SOLD, at=DAY_3)["rule"] == "C14"
    room.says("reading", "Q1", "temp=70F", at=DAY_3)
    held = room.dose(*ASK, "F01", *AS_SOLD, at=DAY_3)
    assert (held["rule"], held["figure"]) == ("C14", 21)
    assert "--regimen F02" in held["remedy"]
    assert room.dose(*ASK, "F02", *AS_SOLD, at=DAY_3) == "9.9 mL"


def test_formalin_at_28_degrees_is_refused(room: Room) -> None:
    """Over 27 °C neither row holds, and the long one finds no oxygen: 7.83 mg/L at most, 3.24 taken."""
    room.says("reading", "Q1", "temp=28C", "oxygen=7mg/L", at=DAY_3)
    for row in ("F01", "F02"):
        assert room.dose(*ASK, row, *AS_SOLD, at=DAY_3)["rule"] == "C14"
    held = room.dose(*ASK, "F07", *AS_SOLD, at=DAY_3)
    assert (held["rule"], held["figure"]) == ("oxygen", 5)


def test_formalin_of_unsaid_strength_is_held_and_a_bare_ppm_never_read(room: Room) -> None:
    """37 % of what? A dilution, a weight and drops are refused with the reason."""
    room.says("reading", "Q1", "temp=24C", at=DAY_3)
    for strength, words in ((None, "2.7-fold"), ("37 %", "2.7-fold"), ("10 % formalin", "a dilution")):
        said = () if strength is None else ("--strength", strength)
        held = room.dose(*ASK, "F02", *said, at=DAY_3)
        assert (held["rule"], words in held["says"]) == ("strength of the product", True)
    record = ("event", "dose", "Q1", "F02", *AS_SOLD, "--really", "--gave")
    assert "a volume is needed" in room.says(*record, "10 g", at=DAY_3, code=1)
    assert "is not a measure" in room.says(*record, "20 drops", at=DAY_3, code=1)


def ready(room: Room) -> str:
    """Two days of feeding, the readings of the day, and the code of the bath of day 3."""
    for day in ("11", "12"):
        at = f"2026-02-{day} 09:00:00"
        quiet(room.home, "look", "Q1 6 3", "--no-signs", at=at)
        quiet(room.home, "reading", "Q1", "temp=22.0C", at=at)
    quiet(room.home, "look", "Q1 6 3", "--no-signs", at="2026-02-13 09:00:00")
    read = ["temp=22.0C", "ph=7.4", "tan=0.1mg/L", "nitrite_no2=0.05mg/L", "oxygen=7.5mg/L"]
    quiet(room.home, "reading", "Q1", *read, at="2026-02-13 11:30:00")
    (dose,) = [t for t in room.json("today", at=DAY_3)["tasks"] if t["kind"] == "dose"]
    return str(dose["code"])


def test_a_bath_of_formalin_from_a_template_is_given_by_its_typed_strength(room: Room) -> None:
    """Today holds it for the strength; `done --as-shown --strength` records 9900 uL; the bath's end follows."""
    code = ready(room)
    assert "formaldehyde and formalin on a label differ 2.7-fold" in room.says("today", at=DAY_3)
    assert "No amount is shown" in room.says("done", code, "--as-shown", at=DAY_3, code=1)
    (done,) = room.json("done", code, "--as-shown", *AS_SOLD, at=DAY_3)["tasks"]
    assert "9.9 mL of formalin given to Q1" in done["says"]
    given = room.json("why", code, at="2026-02-13 12:05:00")["given"]
    assert (given["given"], given["given_unit"], given["mass_mg"]) == ("9.9", "mL", "9900")
    assert (given["level_unit"], given["target_mg_per_l"], given["ceiling_mg_per_l"]) == ("uL/L", "150", "100")
    assert "uL/L" in room.says("level", "Q1", "formalin", at="2026-02-13 12:05:00")
    assert "End the bath of formalin" in room.says("today", at="2026-02-13 12:05:00")


def test_an_exported_dose_of_a_liquid_stands_in_columns_of_its_own_unit(room: Room, tmp_path: Path) -> None:
    """9900 uL and 150 uL/L are in the columns that say so (F93): the mg and mg/L of that row are empty."""
    room.says("done", ready(room), "--as-shown", *AS_SOLD, at=DAY_3)
    room.says("export", str(tmp_path / "tables"), at=DAY_3)
    with (tmp_path / "tables" / "doses.csv").open(encoding="utf-8", newline="") as file:
        (row,) = csv.DictReader(file)
    assert (row["volume_ul"], row["target_ul_per_l"], row["ceiling_ul_per_l"]) == ("9900", "150", "100")
    assert (row["given"], row["given_unit"], row["product"]) == ("9.9", "mL", AS_SOLD[1])
    assert not [name for name, value in row.items() if name.endswith(("_mg", "mg_per_l", "copper")) and value]


def test_a_slip_in_millilitres_is_asked_about_once_and_corrected_later(room: Room) -> None:
    """99 mL for 9.9 is ten times; what was given is told in mL and can be corrected in mL."""
    code = ready(room)
    asked = room.says("done", code, "--gave", "99 mL", *AS_SOLD, at=DAY_3, code=1)
    assert "10 times the 9.9 mL" in asked
    room.says("done", code, "--gave", "9.8 mL", *AS_SOLD, at=DAY_3)
    newest = room.json("journal", at=DAY_3)["entries"][-1]["seal"]
    said = room.says("correct", newest, "gave=9.9 mL", "--because", "misread", at="2026-02-13 12:10:00")
    assert "gave 9.8 mL -> 9.9 mL" in said
    given = room.json("why", code, at="2026-02-13 12:15:00")["given"]
    assert given["mass_mg"] == "9900"


def test_too_much_formalin_is_answered_with_the_water_to_change(room: Room) -> None:
    """20 mL in 100 L may be 200.4 uL/L, over the 100 for small fish."""
    room.says("reading", "Q1", "temp=24C", at=DAY_3)
    said = room.says("event", "dose", "Q1", "F02", "--gave", "20 mL", *AS_SOLD, "--really", at=DAY_3)
    assert "may be 201 uL/L, over the ceiling of 100 uL/L" in said
    assert "change at least" in said
