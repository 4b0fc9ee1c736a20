"""Doses that go to all fish in a water, fish of another species, and slips that a stranger was not asked about."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from once_room import OnceRoom
from test_dangerous_readings import _Silent

BOX = '--shape box --length "60 cm" --width "30 cm" --filled "30 cm"'
FRESH = "temp=24C ph=7.2 tan=0.1mg/L nitrite_no2=0.05mg/L oxygen=7mg/L"
BATCH = "batch start --tank Q1 --protocol fresh-white-spot --from 'a breeder' --to Show --acknowledge --yes"
MORNING = "2026-02-17 09:00:00"
FORMALIN = "stock add Bottle '500 mL' --substance formalin --form solution --step 0.01mL --expires 2027-03"
TRIED = "A few fish of each species stood this strength in a vessel"


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two batches in Q1 since the 10th and the 12th, looked at and tested daily; white spots are seen on the 17th."""
    home = tmp_path_factory.mktemp("waters") / "home"
    room = OnceRoom(home, _Silent())  # type: ignore[arg-type]
    room.at("2026-02-10 09:00:00")
    room.type("site add Hall --zone UTC", who="")
    room.type("keeper add Robin", who="")
    room.type("keeper add Noor")
    for name, role in (("Q1", "quarantine"), ("Show", "display")):
        room.type(f"tank add {name} --site Hall --role {role} --water fresh {BOX}")
    room.type("tank measure Q1 49.3L --by buckets --plus-minus 0.5L")
    room.type(f'{BATCH} --arrived "2026-02-10 08:30" --fish "12 Melanotaenia praecox, 3 cm"')
    room.at("2026-02-12 09:00:00").type(f'{BATCH} --arrived "2026-02-12 08:30" --fish "5 Danio rerio, 3 cm"')
    for day in range(12, 18):
        room.at(f"2026-02-{day} 09:00:00")
        room.type('look "Q1 17 3" ' + ("--sign 'white spots'" if day == 17 else "--no-signs"))
        room.type(f"reading Q1 {FRESH}")
    room.type(f"{FORMALIN} --strength '37 % formaldehyde'")
    return home


@pytest.fixture
def room(built: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """A copy of it on the morning on which white spots were seen."""
    shutil.copytree(built, tmp_path / "home")
    return OnceRoom(tmp_path / "home", capsys).at(MORNING)


def dose(room: OnceRoom) -> tuple[str, str]:
    """The code of the first dose of today's list that has a day, and what is said of it there."""
    found = next(t for t in room.json("today --tank Q1")["tasks"] if t["kind"] == "dose" and t["day"])
    return found["code"], "" if found["hold"] is None else found["hold"]["says"] + ". " + found["hold"]["remedy"]


# --- One dose, two batches (C8 and B2) -----------------------------------------------------------------------


def test_a_dose_is_held_while_another_batch_in_the_water_waits_for_its_word(room: OnceRoom) -> None:
    """What was tried on the fish of one batch was not tried on those of the other, and the dose goes to both."""
    room.type("event word Q1 dose --batch Q1-1 --yes")
    code, held = dose(room)
    assert f"Q1-2 is in this water too, and nobody has said of it: {TRIED}" in held
    assert "quarantine event word Q1 dose --batch Q1-2" in held
    assert "No amount is shown" in room.type(f"done {code} --as-shown", 1)
    room.type("event word Q1 dose --batch Q1-2 --yes")
    assert dose(room)[1] == ""
    room.type(f"done {dose(room)[0]} --as-shown")


def test_a_word_that_holds_is_not_written_twice(room: OnceRoom) -> None:
    """Who said it and when is told; the other batch has its own."""
    room.type("event word Q1 dose --batch Q1-1 --yes")
    said = room.type("event word Q1 dose --batch Q1-1 --yes", 1)
    assert "Robin said so of Q1-1 already (2026-02-17 09:00); it holds. Nothing was recorded." in said
    room.type("event word Q1 dose --batch Q1-2 --yes")


# --- Fish of another species --------------------------------------------------------------------------------


def test_fish_of_another_species_are_judged_by_every_dose_and_tried_first(room: OnceRoom) -> None:
    """The word was said before they came; the second word is for them, and is taken."""
    for name in ("Q1-1", "Q1-2"):
        room.type(f"event word Q1 dose --batch {name} --yes")
    said = room.type("event added Q1 1 --batch Q1-1 --species 'Crossocheilus oblongus, 5 cm' --from 'a friend' --yes")
    assert "1 fish, source a friend, species Crossocheilus oblongus" in said
    assert "Crossocheilus oblongus is new in Q1-1" in said
    assert "Crossocheilus oblongus came into Q1-1 after its keeper said" in dose(room)[1]
    room.type("batch groups Q1-1 'Crossocheilus oblongus' --none")
    room.at("2026-02-17 09:05:00").type("event word Q1 dose --batch Q1-1 --yes")
    assert dose(room)[1] == ""
    assert "1 Crossocheilus oblongus, 5 cm" in room.type("batch show Q1-1")
    assert room.json("batch show Q1-1")["alive"] == 13


def test_fish_that_did_not_come_after_all_are_no_species_of_the_batch(room: OnceRoom) -> None:
    """Taken back, the batch has the fish that it had, and its doses go by them."""
    room.type("event added Q1 1 --batch Q1-1 --species 'Crossocheilus oblongus' --yes")
    room.type("undo 'it stayed where it was' --yes")
    assert [f["species"] for f in room.json("batch show Q1-1")["fish"]] == ["Melanotaenia praecox"]


def test_which_fish_came_is_asked_where_a_batch_has_several_species(room: OnceRoom) -> None:
    """A name that is known is known in any capitals; fish of the only species need none."""
    room.type("event added Q1 1 --batch Q1-1 --yes")
    assert len(room.json("batch show Q1-1")["fish"]) == 1
    room.type("event added Q1 2 --batch Q1-1 --species 'Danio rerio' --yes")
    asked = room.type("event added Q1 3 --batch Q1-1 --yes", 2)
    assert 'Batch Q1-1 has Melanotaenia praecox and Danio rerio: say --species "NAME".' in asked
    assert "species Danio rerio" in room.type("event added Q1 3 --batch Q1-1 --species 'danio RERIO' --yes")


# --- Acknowledgement (C19) ----------------------------------------------------------------------------------


def test_a_dose_by_a_keeper_who_read_no_cautions_is_asked_about(room: OnceRoom) -> None:
    """The question names the command; after it the dose is ticked with no other question."""
    for name in ("Q1-1", "Q1-2"):
        room.type(f"event word Q1 dose --batch {name} --yes")
    code, _ = dose(room)
    asked = room.type(f"done {code} --as-shown", 1, who="Noor")
    assert "You have not acknowledged the cautions of fresh-white-spot, revision" in asked
    assert "quarantine batch acknowledge Q1-1" in asked
    said = room.type("batch acknowledge Q1-1", who="Noor")
    assert "Caution: " in said
    assert "Acknowledged: you read the cautions of fresh-white-spot" in said
    assert "given to Q1" in room.type(f"done {code} --as-shown", who="Noor")
    assert "It was on record already" in room.type("batch acknowledge Q1-1", who="Noor")


def test_a_dose_that_was_given_without_is_recorded_and_named_at_sign_off(room: OnceRoom) -> None:
    """Rule C7: what was really given is a fact; the deviation stands with its giver."""
    for name in ("Q1-1", "Q1-2"):
        room.type(f"event word Q1 dose --batch {name} --yes")
    room.type(f"done {dose(room)[0]} --as-shown --really", who="Noor")
    said = room.type("signoff Q1-1")
    assert "given by Noor, who had not acknowledged the cautions of fresh-white-spot, revision" in said


# --- Slips --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "asks"),
    [
        ("12 Danio rerio, 3", '"12 Danio rerio, 3 cm"'),
        ("12 Danio rerio 3", '"12 Danio rerio, 3 cm"'),
        ("12 Danio rerio, 3-4", '"12 Danio rerio, 3-4 cm"'),
    ],
)
def test_a_size_without_its_unit_is_asked_for(room: OnceRoom, typed: str, asks: str) -> None:
    """A bare number is no size, and no part of a name."""
    said = room.type(f"{BATCH} --arrived -5min --fish '{typed}'", 2)
    assert "Write a size with its unit" in said
    assert asks in said


def test_the_letter_and_number_of_a_catfish_are_a_name() -> None:
    """ "L 46" is how such fish are called."""
    from quarantine.actions.admitting import read_fish

    assert read_fish("5 Hypancistrus L 46")[:2] == (5, "Hypancistrus L 46")
    assert read_fish("5 Hypancistrus L46, 3 to 4 cm") == (5, "Hypancistrus L46", "3 to 4 cm")


def test_an_arrival_a_year_back_is_asked_about_once(room: OnceRoom) -> None:
    """A slip of the year would make a plan of tasks that all lie in the past; --really records it."""
    typed = f"{BATCH} --arrived '2025-02-10 14:30' --fish '12 Danio rerio, 3 cm'"
    said = room.type(typed, 1)
    assert "--arrived 2025-02-10 14:30 is 372 days ago: a slip of the year or the month?" in said
    assert "Batch Q1-3" in room.type(f"{typed} --really --dry-run")


def test_a_percent_of_formalin_that_may_be_of_two_things_is_asked_for(room: OnceRoom) -> None:
    """Every dose out of it would be held for want of it, and the label is at hand now."""
    other = FORMALIN.replace("Bottle", "Other")
    said = room.type(f"{other} --strength '37 %'", 1)
    assert "37 % formaldehyde" in said
    assert "--strength unknown" in said
    room.type(f"{other} --strength unknown")


def test_a_small_difference_is_said_with_what_it_gives(room: OnceRoom) -> None:
    """0.8 mL where 0.73 are shown: under a tenth more is no slip to ask about, and no amount to say nothing of."""
    for name in ("Q1-1", "Q1-2"):
        room.type(f"event word Q1 dose --batch {name} --yes")
    code, _ = dose(room)
    said = room.type(f"done {code} --gave 0.8mL")
    # 0.07 / 0.73 = 9.589 %; 800 uL in 49.8 L = 16.06, in 48.8 L = 16.39 uL/L.
    assert "9.6 % more than the 0.73 mL shown: it gives 16.06 to 16.4 uL/L; the ceiling is 25 uL/L." in said


def test_a_veterinarians_dose_is_told_at_once_what_it_will_meet(room: OnceRoom) -> None:
    """24.5 °C at most: 8.34 mg/L of oxygen, of which 20 uL/L may take 4.32; the one that fits is told no such thing."""
    typed = "vet add Q1-1 --regimen F07 --dose '{}' --by 'a practice' --on 2026-02-17 --until 2026-02-28 --words so"
    said = room.type(typed.format("20 uL/L"))
    assert "In the water as it is now it would be held: at 24.5 °C this water holds at most 8.34 mg/L" in said
    assert "at most 15.4 uL/L would leave enough" in said
    assert "of oxygen" not in room.type(typed.format("15 uL/L"))
