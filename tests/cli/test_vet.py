"""Veterinary instructions, fish that enter medicated water, and slips of ten, at the command line."""

# ruff: noqa: F401, F811 - fixtures of another file
from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time
from test_rows_amounts import DAY_3, Room, course, hall, medicated, quiet, room

from quarantine.records.reads import open_reader
from quarantine.settings import open_home

SAID = ["--by", "a practice", "--on", "2026-02-13", "--until", "2026-02-20", "--words", "bathe them now"]


def instruct(room: Room, *more: str, row: str = "Z01", dose: str = "1.5 mg/L", code: int = 0) -> str:
    return " ".join(room.says("vet", "add", "Q2-1", *SAID, "--regimen", row, "--dose", dose, *more, code=code).split())


def facts(room: Room, kind: str) -> list[dict[str, Any]]:
    with open_reader(open_home(str(room.home)).database) as rows:
        return rows.rows("facts_of_kind", kind=kind, system=None)


@freeze_time(DAY_3)
def test_the_dose_of_the_instruction_stands_on_the_card_in_why_and_at_sign_off(medicated: Room) -> None:
    """1.5 mg/L x 49.3 L = 73.95 mg, down to 70 mg; the fact keeps whose word it was given on."""
    text = instruct(medicated)
    assert 'On the instruction of a practice, 2026-02-13: Z01, 1.5 mg/L, until 2026-02-20: "bathe them now".' in text
    assert "a practice's name or initials are enough" in text
    task = medicated.dose()
    assert (task["dose"]["add"], task["dose"]["target"]) == (0.07, 1.5)
    for words in (["today"], ["why", task["code"]]):
        assert "On the instruction of a practice" in " ".join(medicated.says(*words).split())
    medicated.says("done", task["code"], "--as-shown")
    assert medicated.json("why", task["code"])["given"]["instruction"] == facts(medicated, "instruction")[0]["id"]
    (line,) = medicated.json("signoff", "Q2-1")["instructions"]
    assert line.endswith('Z01, 1.5 mg/L, until 2026-02-20 (in force): "bathe them now"')
    assert "On the instruction of a practice" in " ".join(medicated.says("signoff", "Q2-1").split())


@freeze_time(DAY_3)
def test_a_withdrawn_instruction_holds_no_more_and_stays_listed(medicated: Room) -> None:
    """The template's own 2 mg/L comes back (0.09 g); a second withdrawal finds nothing."""
    instruct(medicated)
    medicated.says("vet", "withdraw", "Q2-1", "Z01", "--because", "they are well")
    assert medicated.dose()["dose"]["add"] == 0.09
    assert medicated.json("vet", "list", "Q2-1")["instructions"][0]["state"] == "withdrawn"
    assert "nothing was recorded" in medicated.says("vet", "withdraw", "Q2-1", "Z01", "--because", "again", code=1)


@freeze_time(DAY_3)
def test_a_dry_run_records_no_instruction(medicated: Room) -> None:
    """Shown and taken back."""
    assert "Dry run: nothing was written." in instruct(medicated, "--dry-run")
    assert medicated.json("vet", "list")["instructions"] == []
    assert "No veterinary instruction is on record." in medicated.says("vet", "list")


REFUSED = [
    ("a regimen to be refused", {"row": "A05"}, "no instruction passes that"),
    ("another unit", {"dose": "2 mL"}, "--dose"),
    ("no unit", {"dose": "2"}, "does not read"),
    ("over the ceiling", {"dose": "15 mg/L"}, "over the ceiling of 10 mg/L"),
    ("ten times under", {"dose": "0.2 mg/L"}, "a slip of the decimal point?"),
    ("ten times over", {"row": "M01", "dose": "50 mg/L"}, "a slip of the decimal point?"),
    ("nothing", {"dose": "0 mg/L"}, "more than nothing"),
    ("unknown regimen", {"row": "Z99"}, "no regimen 'Z99'"),
]


@pytest.mark.parametrize(("what", "how", "says"), REFUSED, ids=[what for what, _, _ in REFUSED])
@freeze_time(DAY_3)
def test_what_cannot_be_instructed_is_refused_in_a_sentence(
    medicated: Room, what: str, how: dict[str, str], says: str
) -> None:
    """And nothing is recorded."""
    code = 2 if what in ("no unit", "nothing") else 1
    assert says in instruct(medicated, code=code, **how)
    assert facts(medicated, "instruction") == []


@freeze_time(DAY_3)
def test_a_day_ahead_an_end_before_its_beginning_and_an_unknown_word_are_refused(medicated: Room) -> None:
    """Days and words are checked before anything is written."""
    base = ["vet", "add", "Q2-1", "--by", "a", "--words", "w", "--regimen", "Z01", "--dose", "2 mg/L"]
    ahead = medicated.says(*base, "--on", "2026-02-14", "--until", "2026-02-20", code=1)
    assert "lies in the future" in ahead
    back = medicated.says(*base, "--on", "2026-02-12", "--until", "2026-02-11", code=2)
    assert "--until lies before --on" in back
    assert "--passes" in instruct(medicated, "--passes", "everything", code=1)


@freeze_time(DAY_3)
def test_an_instruction_over_the_ceiling_is_recorded_when_it_is_so_and_the_dose_stays_held(medicated: Room) -> None:
    """What a veterinarian wrote is a fact; the ceiling of 10 mg/L stands all the same."""
    assert "the dose stays held" in instruct(medicated, "--really", dose="15 mg/L")
    hold = medicated.dose()["hold"]
    assert (hold["rule"], hold["figure"], hold["figure_unit"]) == ("ceiling", 10, "mg/L")


@freeze_time(DAY_3)
def test_a_trial_is_dosed_only_at_what_was_instructed(medicated: Room) -> None:
    """Z11 in this water: held by its tier, and after the instruction at 3 mg/L: 147.9 mg, down to 0.14 g."""
    ask = ["dose", "praziquantel", "--tank", "Q2", "--regimen", "Z11"]
    assert medicated.json(*ask)["hold"]["rule"] == "tier"
    instruct(medicated, row="Z11", dose="3 mg/L")
    after = medicated.json(*ask)
    assert after["hold"] is None
    assert after["dose"]["add"] == 0.14


@freeze_time(DAY_3)
def test_an_instruction_for_another_water_is_asked_about_and_stays_held(medicated: Room) -> None:
    """Z04 is published for fresh water and the batch is in sea water: a slip, or held all the same."""
    said = instruct(medicated, row="Z04", dose="3 mg/L", code=1)
    assert "Z04 is published for fresh water and Q2-1 is in marine water" in said
    assert not facts(medicated, "instruction")
    instruct(medicated, "--really", row="Z04", dose="3 mg/L")
    held = medicated.json("dose", "praziquantel", "--tank", "Q2", "--regimen", "Z04")["hold"]
    assert held["rule"] in ("tier", "water")


# --- What the animals are ------------------------------------------------------------------------------------


@freeze_time(DAY_3)
def test_snails_beside_the_batch_hold_copper_until_they_are_gone(medicated: Room) -> None:
    """A snail that lives in the water holds copper, whatever the batch is."""
    from quarantine.actions.cards import batch_in, setting_for
    from quarantine.dosing.animals import species_hold
    from quarantine.formulary import regimen

    def hold() -> Any:
        home = open_home(str(medicated.home))
        with open_reader(home.database) as rows:
            tank = next(t for t in rows.rows("tanks") if t["name"] == "Q2")
            from quarantine.cli.session import now

            found = setting_for(rows, home, tank, batch_in(rows, tank["system"]), now())
        return species_hold(*regimen("Z01"), found), species_hold(*regimen("C04"), found)

    assert hold()[1].says.startswith("Centropyge bicolor belongs to dwarf angelfish")
    medicated.says("tank", "company", "Q2", "Turbo fluctuosa")
    medicated.says("tank", "company", "Q2", "a coral of unknown name", "--group", "invertebrates")
    assert "belongs to" in hold()[1].says
    assert hold()[0] is None
    medicated.says("tank", "company", "Q2", "turbo fluctuosa", "--gone")
    assert "no longer lives" in medicated.says("tank", "company", "Q2", "a coral of unknown name", "--gone")
    assert "company of this water" in medicated.says("tank", "company", "Q2", "an eel", "--gone", code=1)


@freeze_time(DAY_3)
def test_a_keeper_says_what_a_fish_is_that_no_list_knows(room: Room) -> None:
    """Rainbowfish are on no list: peroxide is held until a keeper says what they are; a wrong group id is refused."""
    room.tank("Q1")
    room.tank("Show", role="display")
    room.says(
        "batch", "start", "--tank", "Q1", "--protocol", "fresh-watch", "--arrived", "2026-02-13 09:30",
        "--fish", "12 Melanotaenia praecox", "--from", "a breeder", "--to", "Show",
    )  # fmt: skip
    say = ["batch", "groups", "Q1-1", "melanotaenia praecox"]
    assert "--group" in room.says(*say, code=2)
    assert "no group of animals" in room.says(*say, "--group", "rainbows", code=1)
    assert "not both" in room.says(*say, "--group", "danios", "--none", code=2)
    assert "none of the listed groups, on the keeper's word" in room.says(*say, "--none")
    assert "small ornamental fish" in room.says(*say, "--group", "small-ornamental")


# --- B2: fish that enter medicated water ----------------------------------------------------------------------


@pytest.fixture
def dosed(medicated: Room) -> Room:
    """Praziquantel is in the water of Q2."""
    with freeze_time(DAY_3):
        medicated.says("done", medicated.dose()["code"], "--as-shown")
    return medicated


ADD = ["event", "added", "Q2", "1", "--yes"]


@freeze_time("2026-02-13 18:00:00")
def test_B2_fish_are_not_added_while_any_level_is_above_zero(dosed: Room) -> None:
    """0.09 g in 48.8 L is up to 1.85 mg/L: refused with the level and the litres that clear it."""
    text = " ".join(dosed.says(*ADD, code=1).split())
    assert "Q2 still holds up to 1.85 mg/L of Praziquantel" in text
    assert "change all of the water, 49.3 L," in text
    assert "--really" in text
    assert "quarantine vet add Q2-1 --passes fish-added" in text
    assert facts(dosed, "added") == []


@freeze_time("2026-02-13 18:00:00")
def test_B2_a_change_of_half_does_not_clear_it_and_one_of_all_does(dosed: Room) -> None:
    """The upper bound after half of the water is above zero still."""
    dosed.says("event", "change", "Q2", "--out", "25L")
    assert "still holds" in dosed.says(*ADD, code=1)
    dosed.says("event", "change", "Q2", "--out", "49.8L", "--really")
    assert "added recorded" in dosed.says(*ADD)


@freeze_time("2026-02-13 18:00:00")
def test_C7_fish_that_are_in_already_are_recorded_with_what_to_watch(dosed: Room) -> None:
    """The fact is never refused, and answered."""
    text = " ".join(dosed.says(*ADD, "--really").split())
    assert "These fish went into up to 1.85 mg/L of Praziquantel." in text
    assert "into clean water of the same temperature at once" in text
    assert len(facts(dosed, "added")) == 1


@freeze_time("2026-02-13 18:00:00")
def test_B2_an_instruction_lets_them_in_only_where_it_says_so(dosed: Room) -> None:
    """Without --passes fish-added it does not; with it the card's words are said."""
    instruct(dosed)
    assert "still holds" in dosed.says(*ADD, code=1)
    instruct(dosed, "--passes", "fish-added")
    assert "On the instruction of a practice" in " ".join(dosed.says(*ADD).split())


@freeze_time("2026-02-13 18:00:00")
def test_F72_fish_of_a_second_source_are_told_of_once_with_the_batch_they_join(dosed: Room) -> None:
    """Another source than the batch's is named; the batch's own is not."""
    dosed.says("event", "change", "Q2", "--out", "49.8L", "--really")
    text = " ".join(dosed.says(*ADD, "--from", "a shop").split())
    assert text.count("A second source is in the water of Q2 from now on") == 1
    assert "fish from a shop in batch Q2-1 from an importer" in text
    assert "second source" not in dosed.says(*ADD, "--from", "An Importer")


@freeze_time("2026-02-13 18:00:00")
def test_F72_a_second_batch_in_a_water_names_the_first_once(room: Room) -> None:
    """Both sources are said, and that they share the risk."""
    room.tank("Q1")
    room.tank("Show", role="display")
    start = [
        "batch", "start", "--tank", "Q1", "--protocol", "fresh-watch", "--arrived", "2026-02-13 09:30",
        "--fish", "12 Danio rerio", "--to", "Show",
    ]  # fmt: skip
    assert "Two batches" not in room.says(*start, "--from", "a breeder")
    text = " ".join(room.says(*start, "--from", "a shop", "--yes").split())
    assert text.count("Two batches share this water from now on") == 1
    assert "Q1-2 from a shop beside Q1-1 from a breeder" in text


# --- C7: 34 g for 3.4 g ----------------------------------------------------------------------------------------


@freeze_time(DAY_3)
def test_34_g_typed_for_3_4_is_asked_and_34_g_really_given_is_answered_with_the_litres(
    tmp_path: Path, course: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """1700 L at 2 mg/L are 3.4 g. 34 g in 1683 L could be 20.21 mg/L, over 10 mg/L: (1 - 10/20.21) x 1717 L go out."""
    shutil.copytree(course, tmp_path / "home")
    big = Room(tmp_path / "home", capsys)
    big.says("tank", "measure", "Q2", "1700L", "--by", "meter", "--plus-minus", "17L", "--really")
    task = big.dose()
    assert task["dose"]["add"] == 3.4
    slip = big.says("done", task["code"], "--gave", "34 g", code=1)
    assert "34 g is 10 times the 3.4 g" in " ".join(slip.split())
    assert "nothing was recorded" in slip
    assert big.dose()["code"] == task["code"]
    text = " ".join(big.says("done", task["code"], "--gave", "34 g", "--really").split())
    assert "may be 20.3 mg/L, over the ceiling of 10 mg/L" in text
    litres = float(text.partition("change at least ")[2].partition(" L")[0])
    # 34000 mg / 1683 L = 20.2020 mg/L; (1 - 10 / 20.2020) x 1717 = 867.1 L.
    assert litres == pytest.approx(867.1, abs=0.1)
    for words in ("strong aeration", "activated carbon", "call a veterinarian"):
        assert words in text
    assert big.json("why", task["code"])["given"]["given"] == "34"
