"""Readings with their kits, duplicates side by side, trends, the form of nitrite, and what a bad reading asks for."""

from __future__ import annotations

from pathlib import Path

import pytest
from typed_room import Room, typed_room


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    """A quarantine tank Q1 of 54 L with twelve rainbowfish since 9 February."""
    return typed_room(tmp_path / "home", capsys, monkeypatch, 12)


# --- F73: kits --------------------------------------------------------------------------------------------


def test_F73_a_reading_keeps_kit_lot_expiry_unit_and_step(room: Room) -> None:
    """All that was said of the kit is in the fact, with the step that follows from the digits typed."""
    room.type('reading Q1 tan=0.5mg/L --kit "drop kit A" --lot L12 --expires 2027-03')
    assert room.facts("reading") == [
        {
            "parameter": "tan",
            "value": "0.5",
            "step": "0.10",
            "unit": "mg/L",
            "water": "fresh",
            "kit": "drop kit A",
            "lot": "L12",
            "expires": "2027-03",
        }
    ]


@pytest.mark.parametrize(
    ("expires", "expired"),
    [("2026-02", False), ("2026-01", True), ("2026-02-10", False), ("2026-02-09", True), ("2024-02-29", True)],
)
def test_F73_an_expired_kit_is_said_and_flagged_and_not_refused(room: Room, expires: str, expired: bool) -> None:
    """A month is good to its last day; the reading is kept either way."""
    said = room.type(f"reading Q1 tan=0.1mg/L --kit strips --expires {expires}")
    assert (f"expired {expires}" in said) is expired
    assert room.facts("reading")[0].get("expired", False) is expired
    assert room.json("readings Q1")["readings"][0]["expired"] is expired


def test_F73_the_last_kit_is_shown_and_never_assumed(room: Room) -> None:
    """Without --kit the last one is named and the fact stays without; another kit is another trend."""
    room.type('reading Q1 tan=0.1mg/L --kit "drop kit A" --lot L12')
    said = room.at("2026-02-11 08:00:00").type("reading Q1 tan=0.1mg/L")
    assert "last read here with drop kit A, lot L12 (2026-02-10 09:00)" in said
    assert "it is not assumed" in said
    assert "kit" not in room.facts("reading")[1]
    other = room.at("2026-02-12 08:00:00").type("reading Q1 tan=0.1mg/L --kit strips")
    assert "Another kit" in other
    same = room.at("2026-02-13 08:00:00").type("reading Q1 tan=0.1mg/L --kit Strips")
    assert "kit" not in same.casefold().replace("kits'", "")
    assert "Kit not said" not in room.type("reading Show tan=0.1mg/L")


@pytest.mark.parametrize(
    ("line", "code", "words"),
    [
        ("reading Q1 tan=0.1mg/L --lot L12", 2, "belong to a kit"),
        ("reading Q1 tan=0.1mg/L --expires 2027-03", 2, "belong to a kit"),
        ("reading Q1 tan=0.1mg/L --kit A --expires 03/2027", 2, "YYYY-MM"),
        ("reading Q1 tan=0.1mg/L --kit A --expires 2027-13", 2, "YYYY-MM"),
        ("reading Q1 tan=0.1mg/L --kit A --expires 2027-02-30", 2, "YYYY-MM"),
        ("reading Q1 tan=0.1mg/L --kit ' '", 2, "--kit needs"),
        ("reading Q1", 2, "What was read?"),
        ("reading Q1 nitrite_n=0.1", 1, "has no unit"),
        ("reading Q1 'nitrite_n=0.1 mg/L as NO2'", 2, "two things"),
        ("reading Q1 'tan=0.1 mg/L as N'", 2, "of nitrite only"),
        ("reading Q1 --tap-ph 78", 1, "hard to believe"),
        ("reading Q1 --tap-tan 0.1", 1, "has no unit"),
        ("readings Q1 --parameter uia", 2, "no reading 'uia'"),
        ("readings Q1 --days 0", 2, "whole number of days"),
        ("readings Q7", 1, "no tank 'Q7'"),
    ],
)
def test_what_does_not_read_is_one_sentence_and_writes_nothing(room: Room, line: str, code: int, words: str) -> None:
    """Each says what was wrong; no reading comes on record."""
    said = room.type(line, code)
    assert words in said
    assert said.count("\n") == 1
    assert room.facts("reading") == room.facts("source_water") == []


# --- Duplicates and trends ---------------------------------------------------------------------------------


def test_two_readings_within_half_an_hour_stand_side_by_side(room: Room) -> None:
    """Both are kept with their kits, none is averaged; after half an hour a reading stands alone."""
    room.type('reading Q1 tan=1mg/L --kit "drop kit A"')
    said = room.at("2026-02-10 08:10:00").type("reading Q1 tan=0.2mg/L --kit strips")
    assert "1 mg/L (drop kit A, 09:00) and 0.2 mg/L (strips, 09:10)" in said
    assert "0.6" not in said
    assert "limits go by the worse" in said
    assert [f["value"] for f in room.facts("reading")] == ["1", "0.2"]
    later = room.at("2026-02-10 08:40:00").type("reading Q1 tan=0.2mg/L --kit strips")
    assert "within half an hour" not in later


def test_the_sign_off_judges_the_worse_of_duplicates(room: Room) -> None:
    """The criterion on nitrite shows both figures and is not met by the worse."""
    room.type("reading Q1 nitrite_no2=0.5mg/L")
    room.at("2026-02-10 08:20:00").type("reading Q1 nitrite_no2=0.1mg/L")
    (criterion,) = [c for c in room.json("signoff Q1-1")["criteria"] if "itrite" in c["title"]]
    assert criterion["verdict"] == "not met"
    assert "0.1 and 0.5 mg/L (the worse counts)" in criterion["says"]


def test_the_trend_is_by_kit_and_never_over_two(room: Room) -> None:
    """Kit A falls from 1 to 0.5, strips stay at 2: no line compares one with the other."""
    for day, kit, read in ((10, "A", "1"), (11, "strips", "2"), (12, "A", "0.5"), (13, "strips", "2")):
        room.at(f"2026-02-{day} 08:00:00").type(f"reading Q1 tan={read}mg/L --kit {kit}")
    lines = room.type("readings Q1 --parameter ammonia").splitlines()
    assert lines == [
        "Q1, readings of the last 30 days, each kit by itself:",
        "total ammonia nitrogen, A:",
        "  2026-02-10 09:00: 1 mg/L (step 1 mg/L)",
        "  2026-02-12 09:00: 0.5 mg/L (step 0.1 mg/L)",
        "  First to last of these: down by 0.5 mg/L.",
        "total ammonia nitrogen, strips:",
        "  2026-02-11 09:00: 2 mg/L (step 1 mg/L)",
        "  2026-02-13 09:00: 2 mg/L (step 1 mg/L)",
        "  First to last of these: unchanged.",
    ]
    assert [r["kit"] for r in room.json("readings Q1")["readings"]] == ["A", "strips", "A", "strips"]
    assert [r["value"] for r in room.at("2026-02-13 09:00:00").json("readings Q1 --days 1")["readings"]] == [2]
    assert "no reading of nitrite" in room.type("readings Q1 --parameter nitrite")
    assert room.json("readings Show")["readings"] == []


# --- The form of nitrite ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "value", "form"),
    [
        ("nitrite_n=0.1mg/L", "0.328", "N"),
        ("nitrite-N=0.1mg/L", "0.328", "N"),
        ("nitrite=0.1 mg/L as N", "0.328", "N"),
        ("nitrite=0.1mg/L as NO2-N", "0.328", "N"),
        ("nitrite_no2=0.1mg/L", "0.1", "NO2"),
        ("nitrite=100 ug/L as NO2", "0.1", "NO2"),
        ("nitrite=0.1mg/L", "0.1", None),
        ("no2=0.1mg/L", "0.1", None),
    ],
)
def test_nitrite_is_kept_as_nitrite_with_the_form_that_was_read(
    room: Room, typed: str, value: str, form: str | None
) -> None:
    """NO2 is 3.28 times NO2-N (treatment notes, row T11); the limits are of nitrite, so that is what is judged."""
    room.type(f"reading Q1 {typed}")
    (fact,) = room.facts("reading")
    assert (fact["parameter"], fact["value"], fact.get("form")) == ("nitrite", value, form)


def test_nitrite_as_nitrogen_is_judged_as_the_nitrite_it_is(room: Room) -> None:
    """0.1 mg/L as N is 0.328 mg/L of nitrite: past 0.2, though the typed figure is not; both are shown."""
    said = room.type("reading Q1 nitrite_n=0.1mg/L")
    assert "nitrite 0.328 mg/L (0.1 mg/L as N)" in said
    assert "PAST ITS LIMIT: nitrite 0.328 mg/L, over 0.2 mg/L" in said


def test_nitrite_of_unsaid_form_is_asked_about_and_no_chloride_is_computed(room: Room) -> None:
    """Within the limit only as nitrite: asked. Past it: the chloride waits for the answer."""
    assert "ASK: does the kit read" in room.type("reading Q1 nitrite=0.1mg/L")
    said = room.at("2026-02-10 09:00:00").type("reading Q1 nitrite=2mg/L")
    assert "no chloride is computed until it is known" in said
    assert "of chloride" not in said


# --- F48: what a bad reading asks for -------------------------------------------------------------------------


def test_T11_names_the_level_and_no_amount_and_says_what_is_known_of_fish_and_salt(room: Room) -> None:
    """2 mg/L: 20 mg/L of chloride; the amount is what `dosing` says of row T11, which holds it."""
    said = room.type("reading Q1 nitrite_no2=2mg/L")
    assert "here 20 mg/L of chloride" in said
    assert "no amount of salt is shown" in said
    assert "Melanotaenia praecox: whether it bears salt is not known here" in said
    assert "SRAC 462" in said
    assert "Not veterinary advice" in said
    empty = room.type("reading Show nitrite_no2=2mg/L")
    assert "which fish live in this water is not on record" in empty


def test_C16_the_new_water_is_asked_for_kept_and_used_with_its_date(room: Room) -> None:
    """Without --tap-ph no share is named; with it on record a later reading is judged with it."""
    bad = "temp=25C ph=8.00 tan=1.20mg/L"
    said = room.type(f"reading Q1 {bad}")
    assert "PAST ITS LIMIT: un-ionized ammonia nitrogen" in said
    assert "--tap-ph" in said
    room.at("2026-02-10 09:00:00").type("reading Q1 --tap-ph 7.00 --tap-tan 0.00mg/L --tap-temp 25C")
    assert room.facts("source_water")[0].keys() == {
        "ph",
        "ph_step",
        "tan",
        "tan_step",
        "temperature",
        "temperature_step",
    }
    again = room.at("2026-02-11 09:00:00").type(f"reading Q1 {bad}")
    assert "a change of 50 % (27 L)" in again
    assert "tested 2026-02-10 10:00" in again
    worse = room.at("2026-02-12 09:00:00").type("reading Q1 temp=25C ph=7.50 tan=4.00mg/L --tap-ph 8.60")
    assert "does not do it" in worse
    assert "more than there is now" in worse
    late = room.at("2026-04-20 09:00:00").type(f"reading Q1 {bad}")
    assert "--tap-ph" in late, "after 30 days the new water is unknown again"


def test_a_reading_within_its_limits_asks_for_nothing(room: Room) -> None:
    """No advice and no word of a veterinarian; nor for what is entered more than a day late."""
    fine = room.type("reading Q1 temp=25C ph=7.4 tan=0.1mg/L nitrite_no2=0.1mg/L oxygen=7mg/L")
    assert "LIMIT" not in fine
    assert "veterinar" not in fine
    old = room.at("2026-02-14 09:00:00").type('reading Q1 oxygen=2mg/L --at "2026-02-11 09:00"')
    assert "LIMIT" not in old


def test_the_document_holds_the_advice_and_the_look_gives_it_too(room: Room) -> None:
    """`--json` has steps, caution and references as lists and text; a reading inside a look is answered alike."""
    document = room.json("reading Q1 oxygen=3mg/L --kit meter")
    (advice,) = document["advice"]
    assert advice["about"] == "oxygen"
    assert advice["do"][0].startswith("aerate strongly now")
    assert advice["references"]
    assert document["readings"][0]["kit"] == "meter"
    assert "PAST ITS LIMIT: dissolved oxygen 3 mg/L" in room.type('look "Q1 12 3 oxygen=3mg/L" --no-signs')
    assert room.json('look "Q1 12 3 oxygen=3mg/L" --no-signs')["looks"][0]["advice"][0]["about"] == "oxygen"


def test_a_corrected_nitrite_keeps_its_form_and_another_name_changes_it(room: Room) -> None:
    """A reading said to be nitrogen stays so; the record is whole after each step."""
    room.type("reading Q1 nitrite_n=0.01mg/L")
    for typed, value, form in (("nitrite=0.02mg/L", "0.0656", "N"), ("nitrite_no2=0.03mg/L", "0.03", "NO2")):
        entry = room.type("journal --last 1").rpartition("[")[2][:8]
        room.type(f"correct {entry} {typed} --because slip")
        (reading,) = room.json("readings Q1")["readings"]
        assert (str(reading["value"]), reading["form"]) == (value, form)
        assert "The record is whole" in room.type("check")
