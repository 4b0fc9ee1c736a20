"""Weighing, feeding and dipping at the command line: what is typed, what is shown, what the record keeps."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time

from quarantine.cli.app import run

DAY_3 = "2026-02-13 15:30:00"  # 15:30 in London


class Hall:
    """A record with one batch on day 3, every before-check met."""

    def __init__(self, home: Path, capsys: pytest.CaptureFixture[str], protocol: str) -> None:
        self.home, self.capsys = home, capsys
        with freeze_time(DAY_3):
            self.says("site", "add", "Hall", "--zone", "Europe/London")
            self.says("keeper", "add", "Robin")
            for tank, role in (("Q1", "quarantine"), ("Show", "display")):
                size = ["--shape", "box", "--length", "60 cm", "--width", "30 cm", "--filled", "30 cm"]
                self.says("tank", "add", tank, "--site", "Hall", "--role", role, "--water", "fresh", *size)
            fish = ["--fish", "12 Melanotaenia praecox, 5 cm", "--from", "a breeder", "--to", "Show", "--acknowledge"]
            self.says(
                "batch",
                "start",
                "--tank",
                "Q1",
                "--protocol",
                protocol,
                "--arrived",
                "2026-02-10 10:00",
                *fish,
                "--yes",
            )
            for day in (11, 12, 13):
                line = "Q1 12 3 temp=25C tan=0mg/L ph=7.2 nitrite=0mg/L oxygen=7mg/L salinity=0.1g/L"
                self.says("look", line, "--no-signs", "--at", f"2026-02-{day} 09:00")

    def says(self, *words: str, code: int = 0) -> str:
        found = run(["--home", str(self.home), *words])
        said = self.capsys.readouterr()
        assert found == code, (words, said)
        # Where a line is broken is the terminal's business.
        return " ".join((said.err if code else said.out).split())

    def dose(self) -> Any:
        tasks = json.loads(self.says("--json", "today"))["tasks"]
        return next(task for task in tasks if task["kind"] == "dose")

    def given(self, code: str) -> Any:
        return json.loads(self.says("--json", "why", code))["given"]


@pytest.fixture
def fed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Hall:
    return Hall(tmp_path / "home", capsys, "fresh-metronidazole-food")


@pytest.fixture
def dipped(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Hall:
    return Hall(tmp_path / "home", capsys, "fresh-salt-dip")


WEIGH = ("batch", "weigh", "Q1-1", "30.0 g", "--by", "scale, all of them")


def test_F26_a_dose_in_food_waits_for_the_weight_and_is_then_shown_and_given(fed: Hall) -> None:
    """30 g, plus or minus 0.05 g, at 0.5 % a day: 50 mg/kg of 29.95 g is 1.49 mg, in 0.15 g of food."""
    with freeze_time(DAY_3):
        assert "quarantine batch weigh Q1-1" in fed.dose()["hold"]["remedy"]
        said = fed.says(*WEIGH, "--eats", "0.5 %")
        assert "12 fish of Q1-1 weigh 30 g, plus or minus 0.05 g (scale, all of them)." in said
        assert "They eat 0.15 g of food a day." in said
        task = fed.dose()
        assert task["hold"] is None
        assert task["dose"]["fish_grams"] == 30
        assert " FEED 0.1" in fed.says("today")
        fed.says("done", task["code"], "--as-shown")
        kept = fed.given(task["code"])
        assert (kept["route"], kept["fish_grams"], kept["rescue"]) == ("food", "30", "")
        assert float(kept["mass_mg"]) <= 1.4975
        assert "The record is whole" in fed.says("check")


def test_a_dose_in_food_leaves_nothing_in_the_water(fed: Hall) -> None:
    """No level of it, and the next dose is a day later."""
    with freeze_time(DAY_3):
        fed.says(*WEIGH, "--eats", "0.5 %")
        fed.says("done", fed.dose()["code"], "--as-shown")
    with freeze_time("2026-02-14 12:00:00"):
        document = json.loads(fed.says("--json", "why", fed.dose()["code"]))
        assert document["levels"] == ["metronidazole: 0 mg/L in the water now"]


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (("0 g", "--by", "scale"), 1, "is nothing"),
        (("30", "--by", "scale"), 1, "has no unit"),
        (("30 mL", "--by", "scale"), 1, "a mass is needed"),
        (("30 g", "--by", " "), 2, "--by is empty"),
        (("30 g", "--by", "scale", "--eats", "20 %"), 1, "say --really"),
        (("30 g", "--by", "scale", "--eats", "0 %"), 1, "more than nothing"),
        (("30 g", "--by", "scale", "--eats", "much"), 1, "does not begin with a number"),
        (("30 g", "--by", "scale", "--at", "2026-02-09 12:00"), 1, "not in quarantine at that time"),
    ],
)
def test_a_weight_that_does_not_read_is_one_sentence(fed: Hall, words: tuple[str, ...], code: int, says: str) -> None:
    """Nothing of it is recorded."""
    with freeze_time(DAY_3):
        assert says in fed.says("batch", "weigh", "Q1-1", *words, code=code)
        assert fed.dose()["hold"]["rule"] == "in food"


DIP = ("--vessel", "10.0 L")


def test_F26_a_dip_is_closed_with_its_vessel_start_and_end(dipped: Hall) -> None:
    """50 s between the first fish in and the last one out; the amount is the vessel's."""
    with freeze_time(DAY_3):
        task = dipped.dose()
        assert task["hold"]["rule"] == "C15"
        shown = json.loads(dipped.says("--json", "dose", "salt", "--tank", "Q1", "--regimen", "T01", *DIP))["dose"]
        said = dipped.says(
            "done", task["code"], "--as-shown", *DIP, "--started", "15:00:00", "--ended", "15:00:50"
        )  # fmt: skip
        assert "a dip of 50 s (as published)" in said
        kept = dipped.given(task["code"])
        assert (kept["elapsed_seconds"], kept["contact"]) == ("50", "as published")
        assert float(kept["given"]) == shown["add"] <= 300
        assert kept["volume_litres"] == "10"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--as-shown",), "is a dip: say its vessel"),
        (("--as-shown", *DIP, "--started", "15:00:00"), "is a dip: say its vessel"),
        (("--as-shown", *DIP, "--started", "15:00:30", "--ended", "15:00:00"), "cannot be over before it began"),
        (("--as-shown", *DIP, "--started", "15:00", "--ended", "15:00"), "cannot be over before it began"),
        (("--as-shown", *DIP, "--started", "15:00", "--ended", "15:45"), "lies in the future"),
        (("--as-shown", *DIP, "--started", "15:00", "--ended", "15:30:40"), "lies in the future"),
        (("--as-shown", *DIP, "--started", "2026-02-09 09:00", "--ended", "15:00"), "before batch Q1-1 arrived"),
        (("--as-shown", "--vessel", "10", "--started", "15:00", "--ended", "15:01"), "has no unit"),
        (("--gave", "900 g", *DIP, "--started", "15:00", "--ended", "15:01"), "times the"),
    ],
)
def test_a_dip_that_cannot_be_is_refused_in_a_sentence(dipped: Hall, words: tuple[str, ...], says: str) -> None:
    """And stays open."""
    with freeze_time(DAY_3):
        code = dipped.dose()["code"]
        assert says in dipped.says("done", code, *words, code=1)
        assert dipped.dose()["code"] == code


@pytest.mark.parametrize(("end", "contact", "rescued"), [("15:00:20", "partly", False), ("15:02:00", "overrun", True)])
def test_C5_contact_that_was_too_short_or_too_long_is_said(dipped: Hall, end: str, contact: str, rescued: bool) -> None:
    """Under 90 % of 30 s; over the minute that the template allows the trial."""
    with freeze_time(DAY_3):
        code = dipped.dose()["code"]
        said = dipped.says("done", code, "--as-shown", *DIP, "--started", "15:00:00", "--ended", end)
        assert f"({contact})" in said
        assert ("call a veterinarian" in said) is rescued
        assert dipped.given(code)["contact"] == contact


def test_what_is_no_dip_takes_no_vessel(fed: Hall) -> None:
    """Neither a dose in food nor a chore."""
    with freeze_time(DAY_3):
        assert "is no dip" in fed.says("done", fed.dose()["code"], "--as-shown", "--vessel", "10 L", code=1)
        for words in (("--regimen", "M01", "--vessel", "10 L"), ("--regimen", "M01", "--food", "10 g")):
            assert "leave --" in fed.says("dose", "metronidazole", "--tank", "Q1", *words, code=1)
        for stock in ("10 g", "10 g in 0 mL", "x in 5 mL"):
            words = ("--regimen", "M01", "--stock", stock)
            assert "--stock" in fed.says("dose", "metronidazole", "--tank", "Q1", *words, code=1)


def test_F25_a_water_change_asks_for_conditioner_for_the_new_water_only(fed: Hall) -> None:
    """A quarter of 54 L: the new water alone, and no amount while the tap's chlorine is unknown."""
    with freeze_time("2026-02-17 12:00:00"):
        text = fed.says("today")
    assert "new water: 13.5 L, matched to its temperature; conditioner for these 13.5 L only" in text
    assert "the chlorine of the tap water is not on record" in text


def test_sensitive_animals_of_the_keepers_own_list_hold_a_dose(fed: Hall) -> None:
    """The home folder's list is read for every dose; a species on no list is no answer."""
    own = 'id = "rainbows"\nname = "my rainbowfish"\ngenera = ["Melanotaenia"]\n'
    line = '{ to = ["metronidazole"], rule = "refuse", text = "They died of it.", status = "RULE" }'
    with freeze_time(DAY_3):
        assert "ADD" in fed.says("dose", "metronidazole", "--tank", "Q1", "--regimen", "M01")
        (fed.home / "groups.toml").write_text(f"[[group]]\n{own}sensitive = [{line}]\n", encoding="utf-8")
        text = fed.says("dose", "metronidazole", "--tank", "Q1", "--regimen", "M01")
    assert "HELD: Melanotaenia praecox belongs to my rainbowfish: They died of it." in text
