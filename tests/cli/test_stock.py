"""Products by lot: bought, counted, used, thrown away and called back, as a keeper types it (F75, F36)."""

from __future__ import annotations

from pathlib import Path

import pytest
from typed_room import Room

JAR = (
    'stock add "Prazi jar" "50 g" --substance praziquantel --form powder --strength "98 %" --lot A12 --expires 2026-03'
)


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    """A site, a keeper, and nothing else: stock needs no tank."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    made = Room(tmp_path / "home", capsys)
    made.type("site add Hall --zone Europe/Berlin")
    made.type("keeper add Robin")
    return made


def test_F75_what_came_in_less_what_went_out_is_what_is_left(room: Room) -> None:
    """A jar of 50 g: 0.5 g spilled, 8.2 g found missing by the scale, the rest thrown away; every gram has its line."""
    said = room.type(JAR)
    assert "Prazi jar (praziquantel, 98 %), lot A12: 50 g left, good until 2026-03-31" in said
    assert "law and a veterinarian come first" in said
    assert "49.5 g left" in room.type('stock use "Prazi jar" "500 mg" --because spilled')
    assert "8.2 g out" in room.type('stock count "prazi jar" "41.3 g" --because weighed')
    assert "The books were right" in room.type('stock count "Prazi jar" "41.3 g" --because "weighed again"')
    assert "0 g left" in room.type('stock dispose "Prazi jar" --how "taken to the pharmacy"')
    document = room.json('stock show "Prazi jar"')
    assert document["left"] == 0
    assert document["barred"] == "empty"
    assert [(m["kind"], m["amount"]) for m in document["movements"]] == [
        ("purchase", 50),
        ("use", -0.5),
        ("count", -8.2),
        ("count", 0),
        ("disposal", -41.3),
    ]
    assert {m["by"] for m in document["movements"]} == {"Robin"}
    assert room.json("stock list")["lots"] == []
    assert len(room.json("stock list --all")["lots"]) == 1
    assert "The record is whole" in room.type("check")


def test_F36_a_lot_is_good_to_the_end_of_the_month_on_its_label(room: Room) -> None:
    """By the calendar at the site: 31 March until midnight in Berlin, which is 22:00 in UTC."""
    room.type(JAR)
    for utc, barred in (("2026-03-31 21:59:00", ""), ("2026-03-31 22:00:00", "expired 2026-03-31")):
        assert room.at(utc).json("stock list")["lots"][0]["barred"] == barred


def test_a_recalled_lot_is_barred_and_another_lot_is_its_own(room: Room) -> None:
    """Two lots of one product: the number has to be said, and only the one that was called back is barred."""
    room.type(JAR)
    assert "lot B7: 25 g" in room.type('stock add "Prazi jar" "25 g" --lot B7 --expires 2028-01')
    assert "2 lots of Prazi jar: say --lot A12 or --lot B7" in room.type('stock use "Prazi jar" "1 g" --because x', 1)
    room.type("""stock recall "Prazi jar" --lot a12 --because "the maker's letter" """)
    assert "recalled already" in room.type('stock recall "Prazi jar" --lot A12 --because again', 1)
    assert {lot["lot"]: lot["barred"] for lot in room.json("stock list")["lots"]} == {"A12": "recalled", "B7": ""}
    assert "The record is whole" in room.type("check")


@pytest.mark.parametrize(
    ("line", "code", "says"),
    [
        ('stock add Jar "50 g"', 2, "--substance ID, --form powder|solution|tablet, --strength"),
        ('stock add Jar "50 g" --substance nothing --form powder --strength "98 %"', 1, "There is no substance"),
        ('stock add Jar "50" --substance praziquantel --form powder --strength "98 %"', 1, "has no unit"),
        ('stock add Jar "50 mL" --substance praziquantel --form powder --strength "98 %"', 1, "mL"),
        ('stock add Jar "0 g" --substance praziquantel --form powder --strength "98 %"', 2, "more than nothing"),
        ('stock add Jar "50 g" --substance praziquantel --form powder --strength "150 %"', 1, "at most 100 %"),
        ('stock add Jar "50 g" --substance praziquantel --form gel --strength "98 %"', 1, "There is no form 'gel'"),
        ('stock add Box "9 tablets" --substance metronidazole --form tablet', 2, '--each "500 mg"'),
        ('stock add Box "9 g" --substance metronidazole --form tablet --each "250 mg"', 1, "number of tablets"),
        ('stock add Jar "5 g" --substance praziquantel --form powder --strength "9 %" --each "2 mg"', 2, "--each"),
        ('stock add Jar "5 g" --substance praziquantel --form powder --strength "9 %" --expires soon', 2, "YYYY-MM"),
        ('stock add "Prazi jar" "5 g" --strength "80 %"', 1, "is on record with strength '98 %', not '80 %'"),
        ('stock add "Prazi jar" "5 g" --lot A12 --expires 2027-01', 1, "with expiry 2026-03, not 2027-01"),
        ('stock use "Prazi jar" "51 g" --because spilled', 1, "50 g are left of lot A12"),
        ('stock use "Pracy jar" "1 g" --because spilled', 1, "Did you mean 'Prazi jar'"),
        ('stock use "Prazi jar" "1 g" --lot Z --because spilled', 1, "There is no lot of Prazi jar 'Z'"),
        ('stock use "Prazi jar" "1 g" --because ""', 2, "--because needs"),
    ],
)
def test_wrong_input_is_one_sentence_and_nothing_is_written(room: Room, line: str, code: int, says: str) -> None:
    """What, where, what to do; the book of the jar stays as it was."""
    room.type(JAR)
    before = room.json("stock list --all"), room.json("journal --last 1")
    assert says in room.type(line, code)
    assert (room.json("stock list --all"), room.json("journal --last 1")) == before


def test_a_strength_that_is_not_known_is_kept_as_unknown(room: Room) -> None:
    """A label that does not say it: kept, said, and left for the dose to be held by."""
    said = room.type('stock add Old "10 g" --substance levamisole --form powder --strength unknown')
    assert "strength not said" in said
    assert "a dose that depends on it is held" in said
    assert room.json("stock list")["lots"][0]["strength"] == ""


def test_the_conditioner_is_kept_by_its_hydrate(room: Room) -> None:
    """It is no medicine and stands in no formulary; the anhydrous salt would be other amounts, so it is refused."""
    add = 'stock add "Thio" "500 g" --substance "sodium thiosulfate" --form powder --strength'
    assert "counted as the pentahydrate" in room.type(f"{add} anhydrous", 1)
    assert "Thio (sodium-thiosulfate, pentahydrate)" in room.type(f"{add} Pentahydrate")
    assert room.json("stock list")["lots"][0]["left"] == 500
