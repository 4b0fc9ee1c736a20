"""A second keeper reads the scale blind, where the template asks for it (F61): equal, different, the same person."""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from bath_room import template as bath_template
from once_room import OnceRoom, furnish, template, with_template
from test_bath import POUR, Tank, build

from quarantine.failures import Failure
from quarantine.protocol import read, shipped

ASKED = "witness = true"


@pytest.fixture
def hall(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> OnceRoom:
    """Two keepers, and a dose of 0.09 g that wants a witness."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    return with_template(OnceRoom(tmp_path / "home", capsys), tmp_path, ASKED)


class Terminal(io.StringIO):
    """What is typed at a terminal."""

    def isatty(self) -> bool:
        return True


def head(hall: OnceRoom) -> str:
    """The head of the journal: the same as before where nothing was written."""
    return str(hall.json("check")["head"])


def test_F61_an_equal_reading_passes_and_is_recorded(hall: OnceRoom) -> None:
    """Noor reads 90 mg where Robin says 0.09 g: the same amount; who and what is kept with the dose, in `why`."""
    code = hall.code()
    assert "given to Q2" in hall.type(f'done {code} --as-shown --witness noor --witness-typed "90 mg"')
    given = hall.given(code)
    assert (given["witness_typed"], given["witness_unit"]) == ("90", "mg")
    assert "witness: Noor, who read 90 mg without seeing the other figure" in hall.type(f"why {code}")
    assert "The record is whole" in hall.type("check")


def test_F61_another_reading_stops_with_both_figures(hall: OnceRoom) -> None:
    """0.9 g on the scale and 0.09 g typed: nothing is recorded, and --really does not pass it."""
    code = hall.code()
    before = head(hall)
    for more in ("", " --really"):
        said = hall.type(f'done {code} --as-shown --witness Noor --witness-typed "0.9 g"{more}', 1)
        assert "Stop: Noor read 0.9 g, and 0.09 g is what would be recorded" in said
    assert head(hall) == before


def test_F61_the_same_person_is_refused(hall: OnceRoom) -> None:
    """Who gives the dose is no witness of it, in capitals neither."""
    before = head(hall)
    said = hall.type(f'done {hall.code()} --as-shown --witness ROBIN --witness-typed "0.09 g"', 1)
    assert "Robin gives this dose and cannot be its witness too" in said
    assert head(hall) == before


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("", "wants a witness: another keeper on record"),
        ('--witness-typed "0.09 g"', "wants a witness: another keeper on record"),
        ("--witness Noor", "What did Noor read off the scale? At a terminal they are asked"),
        ('--witness Sam --witness-typed "0.09 g"', "There is no keeper 'Sam'"),
        ("--witness Noor --witness-typed 0.09", "has no unit"),
        ('--witness Noor --witness-typed "0.09 mL"', "mL"),
    ],
)
def test_F61_without_a_terminal_what_is_missing_is_said(
    hall: OnceRoom, words: str, says: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No witness, no amount, somebody who is not on record, an amount without its unit: refused with how to say it."""
    monkeypatch.setattr(sys, "stdin", io.StringIO("0.09 g\n"))
    before = head(hall)
    assert says in hall.type(f"done {hall.code()} --as-shown {words}", 1)
    assert head(hall) == before


@pytest.mark.parametrize(("typed", "code"), [("0.09 g\n", 0), ("0.1 g\n", 1), ("", 1)])
def test_F61_at_a_terminal_the_witness_is_asked_and_shown_no_amount(
    hall: OnceRoom, typed: str, code: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The question names the witness and no figure; what they type is compared; without an answer nothing is kept."""
    dose = hall.code()
    monkeypatch.setattr(sys, "stdin", Terminal(typed))
    from freezegun import freeze_time

    from quarantine.cli.app import run

    capsys.readouterr()
    with freeze_time(hall.now):
        got = run(["--home", str(hall.home), "--as", "Robin", "done", dose, "--as-shown", "--witness", "Noor"])
    said = capsys.readouterr()
    assert got == code, said
    question = said.out.partition(">")[0]
    assert question.startswith("Noor: read the scale yourself")
    assert "0.09" not in question


def test_the_list_and_the_sheet_say_that_a_witness_is_wanted(hall: OnceRoom) -> None:
    """Before the dose is weighed, not after; the sheet has room for name and amount."""
    assert "Witness: another keeper reads the amount off the scale" in hall.type("today")
    assert "Name: __________ Amount: __________" in hall.type("sheet")


def test_a_witness_of_what_asks_for_none_is_recorded_all_the_same(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two keepers who check each other need no template for it; a chore has no witness."""
    hall = furnish(OnceRoom(tmp_path / "home", capsys))
    chore = hall.code("chore")
    assert "is no dose: leave --witness" in hall.type(f'done {chore} --witness Noor --witness-typed "1 g"', 2)
    code = hall.code()
    assert "Witness:" not in hall.type("today")
    assert "Stop: Noor read 0.08 g" in hall.type(f'done {code} --as-shown --witness Noor --witness-typed "0.08 g"', 1)
    hall.type(f'done {code} --as-shown --witness Noor --witness-typed "0.09 g"')
    assert hall.given(code)["witness_typed"] == "0.09"


@pytest.fixture
def tank(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Callable[[str], Tank]:
    """A hall with a fresh tank under a template of that text, on the morning of day 3."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)

    def make(text: str) -> Tank:
        (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
        build(tmp_path / "home", str(tmp_path / "mine.toml"))
        capsys.readouterr()
        return Tank(tmp_path / "home", capsys, monkeypatch)

    return make


def test_the_start_of_a_bath_wants_the_witness_too(tank: Callable[[str], Tank]) -> None:
    """The pour is the dose: without a witness, with one who reads otherwise, and with one who reads the same; a bath
    that Noor claimed is asked about."""
    room = tank(bath_template(more=ASKED))
    assert "wants a witness" in room.start(code=1)
    assert "Stop: Noor read 5 g" in room.start("--witness", "Noor", "--witness-typed", "5 g", code=1)
    shown = json.loads(room.run("today", "--json", at=POUR))["tasks"]
    (dose,) = [t["dose"] for t in shown if t["kind"] == "dose"]
    same = ("--witness", "Noor", "--witness-typed", f"{dose['add']} {dose['add_unit']}")
    room.run("claim", room.dose(), at=POUR, keeper="Noor")
    assert "claimed by Noor until 09:20" in room.start(*same, code=1)
    assert room.facts("dose") == []
    room.start(*same, "--really")
    assert room.facts("dose")[0]["data"]["witness_typed"] == str(dose["add"])


def test_a_dip_is_witnessed_when_it_is_started_and_its_dose_keeps_that(tank: Callable[[str], Tank]) -> None:
    """The salt is weighed before the first fish goes in; at the end nobody is asked again."""
    text = shipped()["fresh-salt-dip"].read_text(encoding="utf-8")
    room = tank(text.replace('regimen = "T01"\n', f'regimen = "T01"\n{ASKED}\nallowance = "5 %"\n'))
    assert "wants a witness" in room.start("--vessel", "10 L", code=1)
    seen = ("--vessel", "10 L", "--witness", "Noor", "--witness-typed", "283.57 g")
    assert "Stop: Noor read 283.57 g, and 290 g" in room.start(*seen, "--gave", "290 g", code=1)
    room.start(*seen)
    room.run("bath", "end", room.dose(), at="2026-02-13 08:00:50")
    data = room.facts("dose")[0]["data"]
    assert (data["witness_typed"], data["witness_unit"], data["allowance"]) == ("283.57", "g", "5 %")


def test_the_grammar_holds_a_witness_for_every_treatment() -> None:
    """Asked for or not: read and frozen."""
    for more, asks in ((ASKED, True), ("witness = false", False), ("", False)):
        made = read(bath_template(more=more), "mine.toml")
        assert [s.treatment.witness for s in made.steps if s.treatment] == [asks]


@pytest.mark.parametrize("value", ['"yes"', '"true"', "1"])
def test_a_witness_is_true_or_false(value: str) -> None:
    """Anything else is a mistake of the template, with its line."""
    with pytest.raises(Failure, match=r"step\[\w+\]\.treatment\.witness.*expected true or false, without quotes"):
        read(template(f"witness = {value}"), "mine.toml")


def test_no_shipped_template_asks_for_a_witness_unawares() -> None:
    """A keeper who works alone could not give its doses: a shipped one that asks would say so in its title."""
    asking = [name for name, path in shipped().items() if "witness = true" in path.read_text(encoding="utf-8")]
    assert asking == []


def test_a_sheet_that_comes_back_brings_its_witness_and_its_reason(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A line holds what stands on the sheet: the amount, who read the scale too and what, and why it is another amount;
    the witness is another keeper than the one who did the work, whoever types it."""
    monkeypatch.delenv("QUARANTINE_KEEPER", raising=False)
    hall = with_template(OnceRoom(tmp_path / "home", capsys), tmp_path, f'{ASKED}\nallowance = "5 %"')
    code = hall.code()
    for line, says in (
        (f"{code} 0.1 g 19:50", "its protocol allows 5 %"),
        (f"{code} 0.1 g because no finer scale 19:50", "wants a witness"),
        (f"{code} 0.1 g witness Noor 0.1 g because no finer scale 19:50", "cannot be its witness"),
        (f"{code} 0.1 g witness Robin 0.09 g because no finer scale 19:50", "Stop: Robin read 0.09 g"),
        (f"{code} 0.1 g witness Robin 0.1 g because no finer scale 19:50", ""),
    ):
        monkeypatch.setattr(sys, "stdin", io.StringIO(f"Noor\n\n{line}\n\n" + ("q\n" if says else "y\n")))
        said = hall.type("enter --on 2026-02-13", 130 if says else 0)
        assert says in said
    given = hall.given(code)
    assert (given["witness_typed"], given["because"]) == ("0.1", "no finer scale")
