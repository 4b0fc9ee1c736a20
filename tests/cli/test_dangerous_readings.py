"""Copper as its kit reads it: past its limit, against the record, and typed so that a dose can rest on it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from once_room import BOX, READY, OnceRoom

from quarantine.actions.noting import read_reading
from quarantine.failures import Usage

SALT = "stock add 'copper sulfate' '50 g' --substance copper --form powder --step 0.001g"
MORNING = "2026-02-14 08:00:00"
"""Day 4: yesterday's dose stands at up to 0.106 mg/L by a reading at noon."""


class _Silent:
    """Stands for the captured output of one test, where a whole module's room is built."""

    def readouterr(self) -> tuple[str, str]:
        return _Said("", "")


class _Said(tuple[str, str]):
    out = err = ""

    def __new__(cls, out: str, err: str) -> _Said:
        return super().__new__(cls, (out, err))


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """50 L with four fish under marine-copper; the first dose on day 3, read three hours later as 0.10 mg/L."""
    home = tmp_path_factory.mktemp("copper-read") / "home"
    room = OnceRoom(home, _Silent())  # type: ignore[arg-type]
    room.at("2026-02-10 09:00:00")
    room.type("site add Hall --zone UTC", who="")
    room.type("keeper add Robin", who="")
    for name, role in (("A", "quarantine"), ("Reef", "display")):
        room.type(f"tank add {name} --site Hall --role {role} --water marine {BOX}")
    room.type("tank measure A 50L --by buckets --plus-minus 0.5L")
    room.type(
        'batch start --tank A --protocol marine-copper --arrived "2026-02-10 08:30" --acknowledge --yes '
        '--fish "4 Amphiprion ocellaris, 4 cm" --from "an importer" --to Reef'
    )
    for day in (10, 11, 12, 13):
        room.at(f"2026-02-{day} 09:00:00")
        room.type(f'look "A 4{"" if day == 10 else " 3"}" --no-signs')
        room.type(f"reading A {READY} alkalinity=120mg/L")
    room.type("reading A copper_free=0.00mg/L --kit 'copper kit'")
    room.type(f"{SALT} --strength '99 % as CuSO4.5H2O'")
    room.type(f"done {code_of_dose(room)} --as-shown")
    room.at("2026-02-13 12:00:00").type("reading A copper_free=0.10mg/L --kit 'copper kit'")
    return home


def code_of_dose(room: OnceRoom) -> str:
    """The code of the first open dose by the record itself."""
    from quarantine.records.reads import open_reader

    with open_reader(f"sqlite:///{room.home / 'record.db'}") as rows:
        (batch,) = rows.rows("open_batches")
        found = rows.rows("open_tasks_of_system", system=batch["system"])
    return str(min((t["day"], t["code"]) for t in found if t["kind"] == "dose" and t["day"])[1])


@pytest.fixture
def room(built: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """A copy of it on the morning of day 4."""
    shutil.copytree(built, tmp_path / "home")
    return OnceRoom(tmp_path / "home", capsys).at(MORNING)


def test_copper_over_its_ceiling_is_answered_with_the_litres_that_bring_it_under(room: OnceRoom) -> None:
    """(1 - 0.2 / 0.305) x 50.5 L = 17.39 L, up to 17.4 (mass balance): the ceiling of C04, read again first."""
    said = room.type("reading A copper_free=0.30mg/L --kit 'copper kit'")
    assert "PAST ITS LIMIT: copper (Cu) 0.3 mg/L, over 0.2 mg/L." in said
    assert "read it again now" in said
    assert "change at least 17.4 L in one change" in said
    assert "Source: ceiling of C04: Merck Veterinary Manual" in said


def test_a_kit_that_reads_more_than_the_record_can_hold_is_told(room: OnceRoom) -> None:
    """0.105 mg/L at most were there and nothing was added: 0.3 mg/L is a slip, or the record is."""
    assert "kit and record do not meet" in room.type("reading A copper_free=0.30mg/L --kit 'copper kit'")
    said = room.at("2026-02-14 09:00:00").type("reading A copper_free=0.30mg/L --kit 'copper kit'")
    assert "do not meet" not in said


def test_copper_over_its_ceiling_stands_on_the_list_until_it_is_read_under_it(room: OnceRoom) -> None:
    """A test within the hour and a change of water; a reading under the limit settles both."""
    room.type("reading A copper_free=0.30mg/L --kit 'copper kit'")
    said = room.type("today --tank A")
    assert "Test again: free copper, until 09:00" in said
    assert "Change water, until copper is under its limit, until 09:00" in said
    room.at("2026-02-14 09:00:00").type("reading A copper_free=0.19mg/L --kit 'copper kit'")
    said = room.type("today --tank A")
    assert "Test again: free copper" not in said
    assert "copper is under its limit" not in said


def test_a_kit_for_total_copper_passes_no_limit_of_free_copper(room: OnceRoom) -> None:
    """Total and chelated copper are on another scale (rule C13)."""
    said = room.type("reading A copper_total=0.30mg/L --kit 'copper kit'")
    assert "PAST ITS LIMIT" not in said
    assert "Test again: free copper" not in room.type("today --tank A")


def test_a_reading_over_the_band_makes_no_date_earlier(room: OnceRoom) -> None:
    """Whether a top-up is due today says nothing of later days: no reading moves sign-off forward."""
    room.at("2026-02-13 13:00:00")
    before = room.json("batch show A-1")["earliest"]
    room.at(MORNING).type("reading A copper_free=0.30mg/L --kit 'copper kit'")
    assert room.json("batch show A-1")["earliest"] >= before


@pytest.mark.parametrize(
    ("word", "asks"),
    [
        ("copper=0mg/L", "which copper does the kit read? Write copper_free=..."),
        ("copper=0.12mg/L", "which copper does the kit read?"),
        ("copper_free=0mg/L", "copper_free=0.00mg/L for steps of 0.01 mg/L"),
    ],
)
def test_what_no_dose_of_copper_could_rest_on_is_asked_when_it_is_typed(word: str, asks: str) -> None:
    """Which copper the kit reads, and how fine a zero is, cannot be known from the figure (rule C13)."""
    with pytest.raises(Usage) as refusal:
        read_reading(word)
    assert asks in refusal.value.sentence


@pytest.mark.parametrize("word", ["copper_free=0.00mg/L", "copper_free=0 mg/L ± 0.005 mg/L", "cu_free=0 ± 0.005 mg/L"])
def test_a_zero_with_its_digits_or_its_plus_minus_has_the_step_of_its_kit(word: str) -> None:
    """Steps of 0.01 mg/L, three ways."""
    assert [str(x.normalize()) for x in read_reading(word)[1:]] == ["0", "0.01"]


def test_a_plus_minus_that_was_typed_is_said_again(room: OnceRoom) -> None:
    """It stands in the answer and in the list of readings, and a correction without one takes it away."""
    typed = "reading A 'copper_free=0 mg/L ± 0.01 mg/L' --kit other"
    assert "copper (Cu) 0 mg/L ± 0.01 mg/L" in room.type(typed)
    assert "0 mg/L ± 0.01 mg/L (step 0.02 mg/L)" in room.type("readings A --parameter copper")
    seal = room.json("journal --last 1")["entries"][0]["seal"][:8]
    room.type(f"correct {seal} copper_free=0.10mg/L --because misread --yes")
    assert "±" not in room.type("readings A --parameter copper")
