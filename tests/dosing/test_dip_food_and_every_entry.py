"""Every row of every substance at the command line: a dose, a hold or a refusal, each in plain words."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from freezegun import freeze_time

from quarantine.cli.app import run
from quarantine.formulary import Regimen, load, names
from quarantine.quantity import UNITS

COMPUTED = ("mg/L", "g/L", "mg/kg fish/day", "g/lb food", "mg/g food")


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fresh, a marine and a brackish tank, with readings of everything that a row may ask for."""
    folder = tmp_path_factory.mktemp("entries") / "home"
    box = ["--shape", "box", "--length", "60 cm", "--width", "30 cm", "--filled", "30 cm"]
    read = ["temp=25C", "ph=7.5", "alkalinity=150mg/L", "hardness=150mg/L", "oxygen=7mg/L", "salinity=0.1g/L"]
    with freeze_time("2026-02-10 12:00:00"):
        commands = [["site", "add", "Hall", "--zone", "UTC"], ["keeper", "add", "Robin"]]
        for water in ("fresh", "marine", "brackish"):
            commands.append(["tank", "add", water, "--site", "Hall", "--role", "quarantine", "--water", water, *box])
            commands.append(["reading", water, *read])
        for command in commands:
            assert run(["--home", str(folder), *command]) == 0
    return folder


def may_be_shown(row: Regimen) -> bool:
    """What general advice says outright, in a unit that is computed with, and hangs on nothing else."""
    unit = row.target.low.unit if row.target else ""
    alone = not row.needs and (row.own_vessel or not row.trial_first)
    return row.tier == "ready" and alone and row.route != "move" and unit in COMPUTED


@pytest.mark.parametrize("name", names())
def test_every_row_of_every_entry_is_a_dose_or_says_why_not(
    name: str, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Never an amount of a trial, an instruction or a refused row: no instruction is on record. Never a traceback."""
    for row in load(name).regimens:
        for water in ("fresh", "marine", "brackish"):
            for more in ([], ["--vessel", "10 L"], ["--food", "10 g"], ["--stock", "1 g in 500 mL"]):
                words = ["dose", name, "--tank", water, "--regimen", row.id, *more]
                with freeze_time("2026-02-10 12:05:00"):
                    code = run(["--home", str(home), "--json", *words])
                said = capsys.readouterr()
                document = json.loads(said.out)
                assert "Traceback" not in said.err
                if code:
                    assert code == 1, words
                    assert more, words
                    assert document["error"]["kind"] == "refused"
                    continue
                shown, hold = document["dose"]["add"], document["hold"]
                assert (shown is None) is (hold is not None), words
                if shown is not None:
                    assert may_be_shown(row), words
                    assert water in row.water
                else:
                    assert hold["says"], words
                    assert hold["remedy"], words
                    assert hold["reference"], words


@pytest.mark.parametrize("name", names())
def test_every_entry_asked_for_by_name_alone_answers_in_a_sentence(
    name: str, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A card, a hold, or the rows there are."""
    for water in ("fresh", "marine", "brackish"):
        with freeze_time("2026-02-10 12:05:00"):
            code = run(["--home", str(home), "dose", name, "--tank", water])
        said = capsys.readouterr()
        assert code in (0, 1)
        assert (said.err if code else said.out).strip()
        assert "report" not in said.err


def test_copper_formalin_and_the_oxidisers_are_held_with_what_is_missing(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Readings stand, and no batch does: the row for this temperature is named, and the animals are asked for."""
    for name, row, words in (
        ("copper", "C01", "which animals are in this water is not on record"),
        ("copper", "C04", "published for marine water"),
        ("formalin", "F01", "F01 is for at most 21 °C. What to do: use F02"),
        ("formalin", "F07", "which animals are in this water is not on record"),
        ("potassium-permanganate", "K01", "which animals are in this water is not on record"),
        ("chloramine-t", "H01", "which animals are in this water is not on record"),
    ):
        with freeze_time("2026-02-10 12:05:00"):
            assert run(["--home", str(home), "dose", name, "--tank", "fresh", "--regimen", row]) == 0
        assert words in " ".join(capsys.readouterr().out.split())


def test_the_units_that_are_computed_with_are_units() -> None:
    """Those of the water are known to the room of units; the others are the formulary's own."""
    assert {unit for unit in COMPUTED if unit in UNITS} == {"mg/L", "g/L"}
