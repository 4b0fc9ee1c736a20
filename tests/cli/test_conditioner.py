"""F25: the conditioner of a water change, for the new water only; and the command that turns a label's rate (F17)."""

from __future__ import annotations

import json
import shlex
import sqlite3
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time

from quarantine.cli import app
from quarantine.templates import shipped

BOX = '--shape box --length "100 cm" --width "50 cm" --filled "40 cm"'
DAY_0, DAY_7 = "2026-02-10 09:00:00", "2026-02-17 09:00:00"


class Room:
    """A record on a clock that is set, in UTC; the site is in Berlin, an hour ahead."""

    def __init__(self, home: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.home, self.capsys = home, capsys

    def type(self, line: str, at: str = DAY_7, code: int = 0) -> str:
        self.capsys.readouterr()
        with freeze_time(at):
            got = app.run(["--home", str(self.home), *shlex.split(line)])
        said = self.capsys.readouterr()
        assert got == code, said
        # Where a line is broken is the terminal's business.
        return " ".join((said.err if code else said.out).split())

    def json(self, line: str, at: str = DAY_7) -> Any:
        return json.loads(self.type(f"{line} --json", at))

    def change(self, at: str = DAY_7) -> Any:
        return next(task for task in self.json("today", at)["tasks"] if task["step"] == "weekly-change")


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    """Q1, 200 L by its inside measures, whose protocol changes 30 % of the water on day 7."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    text = shipped()["fresh-watch"].read_text(encoding="utf-8")
    mine = tmp_path / "mine.toml"
    mine.write_text(
        text.replace('fraction = "25 %"', 'fraction = "30 %"').replace('"fresh-watch"', '"mine"', 1), "utf-8"
    )
    made = Room(tmp_path / "home", capsys)
    made.type("site add Hall --zone Europe/Berlin", DAY_0)
    made.type("keeper add Robin", DAY_0)
    for name, role in (("Q1", "quarantine"), ("Show", "display")):
        made.type(f"tank add {name} --site Hall --role {role} --water fresh {BOX}", DAY_0)
    made.type(
        f'batch start --tank Q1 --protocol {mine} --arrived "2026-02-10 10:00" --fish "12 Melanotaenia praecox" '
        '--from "a breeder" --to Show --acknowledge --yes',
        "2026-02-10 10:00:00",
    )
    return made


def test_F25_thirty_percent_of_200_litres_is_a_dose_for_60(room: Room) -> None:
    """0.8 mg/L by a kit of steps of 0.1: 60 L x 0.85 x 7.0006 is 357.03 mg, up to 0.36 g; never one for 200 L."""
    room.type('reading Q1 --tap-chlorine "0.8 mg/L"')
    said = room.type("today")
    assert "conditioner for these 60 L only, ADD 0.36 g of sodium thiosulfate pentahydrate, counted as pure" in said
    assert "total chlorine 0.8 mg/L, step of the kit 0.1 mg/L, tested 2026-02-17 10:00" in said
    assert "not veterinary advice" in said
    task = room.change()
    found = task["conditioner"]
    assert (found["new_litres"], found["add_g"], found["most_chlorine_mg_per_l"]) == (60, 0.36, 0.85)
    why = room.type(f"why {task['code']}")
    assert "x 60 L of new water x 7.0006 mg per mg = 357.03 mg; by the reading alone 336.03 mg" in why
    assert "7.4 (US Fish and Wildlife Service, Fish Hatchery Management, page 283, 1982" in why
    assert "would be 377.4 mg" in why


def test_F25_unknown_chlorine_has_no_amount_and_names_the_reading(room: Room) -> None:
    """Nothing is guessed: what to read is said, with the command; after 30 days a reading is unknown again."""
    said = room.type("today")
    assert "conditioner for these 60 L only, by its label (the chlorine of the tap water is not on record" in said
    assert "quarantine reading Q1 --tap-chlorine VALUE" in said
    assert "sodium thiosulfate" not in said
    assert room.change()["conditioner"]["add_g"] is None
    room.type("reading Q1 --tap-chlorine 0.8mg/L", DAY_0)
    assert "ADD 0.36 g" in room.type("today")
    late = room.type("event change Q1 --out 60L --dry-run", "2026-03-12 09:00:01")
    assert "the chlorine of the tap water is not on record" in late


def test_F25_a_reading_of_another_day_is_used_and_asked_for_again(room: Room) -> None:
    """The supply may have changed since (P22); the same day asks nothing. The newest reading counts."""
    room.type("reading Q1 --tap-chlorine 2.0mg/L", DAY_0)
    assert "test it again before this change" in room.type("today")
    room.type("reading Q1 --tap-chlorine 0.8mg/L")
    said = room.type("today")
    assert "test it again" not in said
    assert "ADD 0.36 g" in said


def test_F25_no_chlorine_found_calls_for_none_and_says_what_the_kit_cannot_see(room: Room) -> None:
    """Half of the kit's step may be there, and fish suffer below 0.02 mg/L."""
    room.type("reading Q1 --tap-chlorine 0.0mg/L")
    said = room.type("today")
    assert "none by this reading: the kit found no chlorine" in said
    assert "up to 0.05 mg/L could be there unseen" in said
    assert "ADD" not in said
    assert room.change()["conditioner"]["add_g"] is None


def test_F25_chloramine_is_said_with_the_ammonia_it_frees(room: Room) -> None:
    """0.85 mg/L x 0.1976 is 0.168 mg/L of nitrogen in the new water, and 60 of 200 L of that when it is mixed."""
    room.type("reading Q1 --tap-chlorine 0.8mg/L")
    said = room.type("today")
    assert "frees up to 0.168 mg/L of total ammonia nitrogen in the new water, 0.0504 mg/L once it is mixed" in said
    assert room.change()["conditioner"]["frees_tan_mg_per_l"] == 0.168


@pytest.mark.parametrize(
    ("by", "said", "not_said"),
    [
        (" --by bucket", "bucket: stir it into the new water", "hose into the tank"),
        (" --by hose", "hose into the tank: all of it into the tank before the hose runs", "bucket: stir"),
        ("", "By bucket or by hose?", "by bucket)"),
    ],
)
def test_F25_event_change_shows_the_litres_in_and_asks_bucket_or_hose(
    room: Room, by: str, said: str, not_said: str
) -> None:
    """40 L out and 50 L in is a conditioner for 50 L; by a hose it stays that, and says that no source has more."""
    room.type("reading Q1 --tap-chlorine 0.8mg/L")
    text = room.type(f"event change Q1 --out 40L --in 50L{by}")
    assert "for these 50 L only, ADD 0.3 g" in text
    assert said in text
    assert not_said not in text
    assert ("no source on record gives another amount for a hose" in text) is ("bucket" not in by)
    with sqlite3.connect(room.home / "record.db") as connection:
        data = json.loads(connection.execute("select data from fact where kind = 'change'").fetchone()[0])
    connection.close()
    assert data.get("by", "") == by.removeprefix(" --by ")


def test_water_comes_in_by_bucket_or_hose(room: Room) -> None:
    """Any other word is asked about; nothing is recorded."""
    assert "say one of bucket, hose" in room.type("event change Q1 --out 40L --by pump", code=2)
    assert room.json("event change Q1 --out 40L --dry-run")["conditioner"]["new_litres"] == 40


@pytest.mark.parametrize(
    ("dose", "name", "why"),
    [
        ('K01 --gave "0.2 g"', "Potassium permanganate", "Dechlorinator and conditioner cancel it"),
        ('H01 --gave "0.2 g"', "Chloramine-T", "Thiosulfate cancels it (from memory"),
        ('P01 --gave "20 mL" --strength "1 % w/v"', "Hydrogen peroxide", "no source on record names this pair"),
    ],
)
def test_F25_never_while_an_oxidiser_may_be_in_the_water(room: Room, dose: str, name: str, why: str) -> None:
    """Refused with the pair's own words and source, with or without a reading; all of the water out ends it."""
    room.type(f"event dose Q1 {dose} --really")
    for _ in range(2):
        said = room.type("today")
        assert "NONE, refused: up to 1.01 mg/L of " in said
        assert name.casefold() in said.casefold()
        assert why in said
        assert "ADD" not in said
        room.type("reading Q1 --tap-chlorine 0.8mg/L")
    assert room.change()["conditioner"]["add_g"] is None
    changed = room.type("event change Q1 --out 60L --by hose")
    assert "NONE, refused: up to 1.01 mg/L of" in changed


def test_another_medicine_is_no_oxidiser(room: Room) -> None:
    """Praziquantel in the water leaves the conditioner as it is."""
    room.type('event dose Q1 Z01 --gave "0.2 g" --really')
    room.type("reading Q1 --tap-chlorine 0.8mg/L")
    assert "ADD 0.36 g of sodium thiosulfate" in room.type("today")


def test_C4_the_conditioner_goes_up_to_the_step_of_the_scale(room: Room) -> None:
    """On a scale of 0.1 g: 0.4 g, which is 13 % more; finer weighing is advised. 0.001 g: 0.358 g."""
    room.type("reading Q1 --tap-chlorine 0.8mg/L")
    settings = room.home / "settings.toml"
    for step, grams, advised in (("0.1 g", "0.4 g", True), ("0.001 g", "0.358 g", False)):
        settings.write_text(f'scale_step = "{step}"\n', "utf-8")
        said = room.type(f"why {room.change()['code']}")
        assert f"ADD {grams} of sodium thiosulfate" in said
        assert ("weigh more finely" in said) is advised


@pytest.mark.parametrize(
    ("typed", "says", "code"),
    [
        ("--tap-chlorine 0.8", "has no unit", 1),
        ("--tap-chlorine 12mg/L", "total chlorine 12mg/L is hard to believe (expected 0 to 10 mg/L)", 1),
        ("--tap-chlorine -1mg/L", "below zero", 1),
        ("--tap-chlorine much", "does not begin with a number", 1),
        ("chlorine=0.8mg/L", "say --tap-chlorine VALUE", 2),
    ],
)
def test_chlorine_that_is_not_believed(room: Room, typed: str, says: str, code: int) -> None:
    """A reading without a unit, far too high, or of the tank is answered in a sentence."""
    assert says in room.type(f"reading Q1 {typed}", code=code)


def test_the_taps_chlorine_is_exported_and_stands_in_the_readings_answer(room: Room, tmp_path: Path) -> None:
    """With its step, as water that goes in."""
    answer = room.json("reading Q1 --tap-chlorine 0.8mg/L --tap-ph 7.6")
    assert answer["source_water"][1] == {"parameter": "chlorine", "value": 0.8, "unit": "mg/L"}
    room.type(f"export {tmp_path / 'out'}")
    assert "chlorine" in (tmp_path / "out" / "readings.csv").read_text("utf-8")


def test_the_sheet_has_the_conditioner_and_the_sitters_has_not(room: Room) -> None:
    """Paper is a device too; a sitter handles no substance."""
    room.type("reading Q1 --tap-chlorine 0.8mg/L")
    assert "ADD 0.36 g of sodium thiosulfate pentahydrate" in room.type("sheet")
    assert "thiosulfate" not in room.type("sheet --sitter")


# --- F17: a label's rate ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ('"5 g per 100 L" mg/L', "5 g per 100 L is 50 mg/L of the product."),
        ('"5 g per 100 L" mg/L --strength "80 %"', "of a product of 80 % is 40 mg/L of the substance."),
        ('"1 mL/40 L" uL/L', "1 mL per 40 L is 25 uL/L of the product."),
        ('"1 mL/40 L" mg/L --strength "37 % w/v"', "is 9.25 mg/L of the substance."),
        ('"0.1 ounce (avoirdupois) per 100 US gal" mg/L', "is about 7.48915 mg/L of the product."),
        ('"29 USgal" L', "29 USgal is about 109.777 L."),
        ('"78.8 °F" °C', "78.8 °F is 26 °C."),
    ],
)
def test_F17_convert_lays_a_label_beside_the_formulary(room: Room, typed: str, says: str) -> None:
    """A rate says whether it is of the product or the substance, with the caution; a plain amount needs none."""
    said = room.type(f"convert {typed}")
    assert says in said
    assert ("A label's rate is of the product" in said) is says.endswith(("product.", "substance."))


@pytest.mark.parametrize(
    ("typed", "says", "code"),
    [
        ('"1 tsp per 10 L" mg/L', "is not a measure", 1),
        ('"1 mL/40 L" mg/L', "the label has to say", 1),
        ('"1 mL/40 L" mg/L --strength "37 %"', "a weight in a volume", 1),
        ('"5 g per 100 L" mg/L --strength "37 % w/v"', "a percent by weight", 1),
        ('"5 g per 100 L" mg/L --strength "120 %"', "not above 0 % and up to 100 %", 1),
        ('"5 g per 100 L" ""', "in which unit?", 1),
        ('"5 g per 100 L" mg', "does not say per how much water", 1),
        ('"29 USgal" mg/L', "a volume is needed", 1),
        ('"29 USgal" L --strength "80 %"', "belongs to a rate", 2),
    ],
)
def test_F17_convert_asks_rather_than_guesses(room: Room, typed: str, says: str, code: int) -> None:
    """What is ambiguous, or needs the strength, is refused with what to say."""
    assert says in room.type(f"convert {typed}", code=code)


def test_F17_a_templates_target_may_be_a_labels_rate(room: Room, tmp_path: Path) -> None:
    """ "0.2 g per 100 L" is the 2 mg/L that the regimen has; ten times of it stays out of bounds."""
    text = shipped()["marine-praziquantel"].read_text(encoding="utf-8")
    mine = tmp_path / "label.toml"
    mine.write_text(text.replace('regimen = "Z01"', 'regimen = "Z01"\ntarget = "0.2 g per 100 L"'), "utf-8")
    room.type(f"protocol check {mine}")
    mine.write_text(text.replace('regimen = "Z01"', 'regimen = "Z01"\ntarget = "2 g per 100 L"'), "utf-8")
    assert "bounds of Z01" in room.type(f"protocol check {mine}", code=1)
