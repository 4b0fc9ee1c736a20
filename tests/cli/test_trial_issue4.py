"""A stranger's trial of what is in the water: what was found wrong by typing it, each as it should read."""

from __future__ import annotations

from pathlib import Path

import pytest
from bath_room import template
from typed_room import BOX, Room

PURE = '--strength "37 % formaldehyde"'


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    """50 L with ten goldfish and a formalin bath of F02 on day 3, all that its gate asks for read that morning."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    text = tmp_path / "bath-watch.toml"
    text.write_text(template("F02"), encoding="utf-8")
    made = Room(tmp_path / "home", capsys).at("2026-02-06 08:00:00")
    made.type("site add Hall --zone Europe/Berlin")
    made.type("keeper add Robin")
    for name, role, water in (
        ("Q1", "quarantine", "fresh"),
        ("M1", "quarantine", "marine"),
        ("Show", "display", "fresh"),
    ):
        made.type(f"tank add {name} --site Hall --role {role} --water {water} {BOX}")
        made.type(f'tank measure {name} 50L --by "counted buckets" --plus-minus 0.5L')
    made.type(
        f'batch start --tank Q1 --protocol {text} --arrived "2026-02-06 08:00" --fish "10 Carassius auratus" '
        "--from breeder --to Show --acknowledge --yes"
    )
    made.type(
        'batch start --tank M1 --protocol marine-watch --arrived "2026-02-06 08:00" --fish "3 Amphiprion ocellaris" '
        "--from breeder --to Show --yes --really"
    )
    for day in (7, 8, 9):
        made.at(f"2026-02-0{day} 07:30:00")
        made.type('look "Q1 10 3" --no-signs')
        made.type("reading Q1 temp=25C ph=7.6 tan=0mg/L nitrite_no2=0mg/L oxygen=8mg/L")
    return made


def flat(text: str) -> str:
    return " ".join(text.split())


def code(room: Room, title: str) -> str:
    return next(str(task["code"]) for task in room.json("today")["tasks"] if title in task["title"])


def titles(room: Room) -> list[str]:
    return [task["title"] for task in room.json("today")["tasks"]]


# --- Veterinary instructions -----------------------------------------------------------------------------------

VET = 'vet add M1-1 --by "a practice" --on 2026-02-09 --regimen Z01 --until 2026-02-20 --words "as said"'


def test_an_instruction_given_anew_on_the_day_it_was_withdrawn_is_in_force(room: Room) -> None:
    """Withdrawn at 08:30 and instructed again at 08:31: the newest word rules, and nothing falls over."""
    room.type(f'{VET} --dose "2 mg/L"')
    room.type('vet withdraw M1-1 Z01 --because "well again"')
    room.at("2026-02-09 07:31:00").type(f'{VET} --dose "3 mg/L"')
    states = [(one["dose"], one["state"]) for one in room.json("vet list")["instructions"]]
    assert (3, "in force") in states
    assert (2, "withdrawn") in states


def test_an_older_instruction_does_not_quietly_replace_a_newer_one(room: Room) -> None:
    """That of the 8th is asked about while that of the 9th stands."""
    room.type(f'{VET} --dose "2 mg/L"')
    older = f'{VET} --dose "3 mg/L"'.replace("--on 2026-02-09", "--on 2026-02-08")
    assert "of 2026-02-09, a later day, is on record" in room.type(older, code=1)
    room.type(f"{older} --really")
    assert [one["dose"] for one in room.json("vet list")["instructions"] if one["state"] == "in force"] == [3]


def test_one_published_figure_is_no_range(room: Room) -> None:
    """Z01 is published at one figure: "at 2 mg/L", never "2 to 2 mg/L"."""
    said = room.type(f'{VET} --dose "30 mg/L"', code=1)
    assert "Z01 is published at 2 mg/L" in said


# --- Incidents ---------------------------------------------------------------------------------------------------


def test_an_incident_that_is_open_is_not_recorded_twice(room: Room) -> None:
    """The second keeper who logs the same power cut is told since when it stands: its checks are asked once."""
    room.type("event incident Q1 --what power --from 08:00 --yes")
    before = titles(room)
    said = room.type("event incident Q1 --what power --from 08:10 --yes", code=1)
    assert "Power cut in Q1 since 2026-02-09 08:00 is on record and not over yet" in said
    assert titles(room) == before
    room.type("event incident Q1 --what leak --from 08:10 --yes")


def test_an_incident_names_its_tank_and_parts_its_checks(room: Room) -> None:
    """Commas stand inside the titles, so semicolons part them; the tank is known."""
    said = flat(room.type("event incident Q1 --what power --from 08:00 --yes"))
    assert "Lid on, without gaps; Look over and count" in said
    assert "quarantine card emergency --tank Q1" in said
    assert "NAME" not in said


def test_the_emergency_card_logs_a_power_cut_as_an_incident(room: Room) -> None:
    """A disturbance asks for no checks; an incident does."""
    assert "quarantine event incident Q1 --what power." in flat(room.type("card emergency --tank Q1"))


# --- Too much, or what these fish cannot bear --------------------------------------------------------------------


def test_too_much_is_named_before_it_is_recorded_and_stays_on_the_list(room: Room) -> None:
    """34 mL for 3.4: the level and the ceiling are in the question, the bath ends now, and the rescue is a task."""
    gave = f'event dose Q1 F02 --gave "34 mL" {PURE}'
    asked = flat(room.type(gave, code=1))
    assert "over the ceiling of 100 uL/L" in asked
    assert "Too much was given" not in " ".join(titles(room))
    room.type(f"{gave} --really")
    found = titles(room)
    assert any(title.startswith("End the bath of formalin now, it is over its ceiling") for title in found)
    assert "Too much was given: strong air, change water, call a veterinarian" in found
    assert "Look over and count: after too much was given" in found
    assert "change at least" in flat(room.type(f"why {code(room, 'Too much')}"))
    room.type(f"done {code(room, 'Too much')}")
    assert "Too much" not in " ".join(titles(room))


def test_a_dose_that_was_not_given_leaves_no_rescue(room: Room) -> None:
    """Taken back, it asks for nothing any more."""
    room.type(f'event dose Q1 F02 --gave "34 mL" {PURE} --really')
    room.type("undo 'it was water' --yes")
    assert not [title for title in titles(room) if "Too much" in title or "End the bath" in title]


def test_in_water_too_warm_for_every_row_the_lowest_ceiling_is_passed(room: Room) -> None:
    """At 29 °C no level of formalin is allowed: 10 mL in 50 L are over the lowest there is, and are answered so."""
    room.type("reading Q1 temp=29C")
    said = flat(room.type(f'event dose Q1 F01 --gave "10 mL" {PURE} --really'))
    assert "over the ceiling of 80 uL/L" in said
    assert "strong aeration" in said


def test_what_the_water_cannot_bear_is_answered_under_its_ceiling_too(room: Room) -> None:
    """Copper at an alkalinity of 40 mg/L is no dose at any amount: what was given is answered with what to do."""
    room.type("reading Q1 alkalinity=40mg/L hardness=120mg/L")
    said = flat(room.type('event dose Q1 C01 --gave "0.01 g" --strength "99 % as CuSO4.5H2O" --really'))
    assert "It would have been held: total alkalinity may be" in said
    assert "strong aeration" in said


def test_too_much_of_an_oxidiser_asks_for_no_conditioner(room: Room) -> None:
    """The answer to a change refuses conditioner beside permanganate, so the rescue does not ask for it either."""
    said = flat(room.type('event dose Q1 K01 --gave "0.2 g" --really'))
    assert "of matched water that a test shows free of chlorine" in said
    assert "conditioned water" not in said


# --- Baths ---------------------------------------------------------------------------------------------------------

POUR = f'--gave "4.9 mL" {PURE} --ready 50L'


def test_the_end_of_a_bath_is_not_started(room: Room) -> None:
    """Its code at `bath start` names the two commands that it is for."""
    room.type(f"bath start {code(room, 'Bath of')} {POUR}")
    end = code(room, "End the bath")
    said = room.type(f"bath start {end} {POUR}", code=1)
    assert f"quarantine bath end {end}" in said
    assert "no bath with an end" not in said


def test_a_bath_drained_in_time_and_cleared_late_says_so(room: Room) -> None:
    """10 L at 30 min is the end of contact (rule C5), but what was left stood above the limit for three hours."""
    room.type(f"bath start {code(room, 'Bath of')} {POUR}")
    end = code(room, "End the bath")
    room.at("2026-02-09 08:00:00").type(f"bath end {end} --out 10L")
    said = flat(room.at("2026-02-09 10:30:00").type(f"bath end {end} --out 45L"))
    assert "Contact: 30 min, as published." in said
    assert "the water was cleared only 3 h after the pour, 2 h over the longest contact of 60 min" in said
    assert "Now: strong aeration; fresh activated carbon; watch the fish; call a veterinarian." in said


# --- The water ---------------------------------------------------------------------------------------------------


def test_a_change_says_what_is_left_and_nothing_of_medicine_that_never_was_there(room: Room) -> None:
    """The record knows what is in the water: 100 mg / 49.5 L x 29.5 / 49.5 at most, / 50.5 L x 30.5 / 50.5 at least."""
    assert "edicine" not in room.type("event change M1 --out 10L")
    room.type('event dose M1 Z01 --gave "0.1 g" --really')
    said = room.type("event change M1 --out 20L")
    assert "Praziquantel in the water now: 1.195 to 1.204 mg/L." in said
    assert "No dose is planned for what went out with the old water." in said
    taken = room.type("event removal M1 --by carbon")
    assert "Praziquantel in the water now: 0 to 1.204 mg/L." in taken


def test_an_overview_fits_a_phone(room: Room) -> None:
    """The names of what was never dosed stand in the document; the screen has their number."""
    said = room.type("level Q1")
    assert len(said.splitlines()) <= 4
    assert len(room.json("level Q1")["never_dosed"]) > 30


def test_a_substance_with_several_rows_names_the_ready_ones_and_what_parts_them(room: Room) -> None:
    """F01 and F02 are against the same and differ by the temperature; rows for a veterinarian are not in the list."""
    said = room.type("dose formalin --tank Q1", code=1)
    assert "F01: external protozoa, monogeneans (flukes), bath, only up to 21 °C" in said
    assert "F09" not in said


def test_an_unknown_strength_says_where_to_type_it(room: Room) -> None:
    """The list of the day takes no --strength; the remedy names what does."""
    said = flat(room.type("today"))
    assert "with dose, done or bath start: --strength" in said
    assert "quarantine stock add" in said


# --- Temperatures --------------------------------------------------------------------------------------------------


def test_a_temperature_far_from_the_last_is_asked_about_once(room: Room) -> None:
    """2.5 for 25, by reading and by look; what is so is recorded with --really."""
    said = room.type("reading Q1 temp=2.5C", code=1)
    assert "2.5 °C in Q1, and 25 °C were read there 2026-02-09 08:30" in said
    assert "a slip of the decimal point" in room.type('look "Q1 10 3 temp=2.5C" --no-signs', code=1)
    room.type("reading Q1 temp=34.9C")
    room.type("reading Q1 temp=2.5C --really")


def test_two_temperatures_of_one_moment_do_not_say_which_way_it_went(room: Room) -> None:
    """They contradict each other: "up or down"."""
    said = flat(room.type("reading Q1 temp=21C"))
    assert "the temperature went up or down by 4" in said
