"""Tanks of every shape on the command line: options, advice, measuring, the water at another height, the record."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time

from quarantine.actions.places import level_tank
from quarantine.cli import session as sessions
from quarantine.cli.app import run
from quarantine.failures import Refused
from quarantine.water.volume import MEASURES

ADD = ("tank", "add", "Q1", "--site", "Hall", "--role", "quarantine", "--water", "fresh", "--shape")
BOX = ("box", "--length", "60 cm", "--width", "30 cm", "--filled", "32 cm")
POND = ("pond", "--area", "12.5 m2", "--soundings", "0 40 60 40 0; 0 50 80 55 0 cm")

Say = Callable[..., str]


@pytest.fixture
def home(tmp_path: Path) -> Path:
    return tmp_path / "home"


@pytest.fixture
def say(home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Say:
    """Run one command line on a home with a site and a keeper, at a minute of its own; what it says."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    minute = iter(range(60))

    def run_it(*words: str, code: int = 0, at: str | None = None) -> str:
        with freeze_time(at or f"2026-02-10 09:{next(minute):02}:00"):
            assert run(["--home", str(home), *words]) == code, capsys.readouterr()
        captured = capsys.readouterr()
        return captured.err if code else captured.out

    run_it("site", "add", "Hall", "--zone", "Europe/Berlin")
    run_it("keeper", "add", "Robin")
    return run_it


def shown(say: Say) -> Any:
    """The tank as a program sees it."""
    return json.loads(say("tank", "show", "Q1", "--json"))


def test_every_measure_of_the_shapes_is_an_option(say: Say) -> None:
    """The options of `tank add` are the shapes' own table, each with its help."""
    help_ = say("tank", "add", "--help")
    for name, words in MEASURES.items():
        assert f"--{name.replace('_', '-')} " in help_
        assert words.split()[0] in help_
    assert "sloping-" in help_


@pytest.mark.parametrize(
    ("options", "litres"),
    [
        (("lying-cylinder", "--diameter", "60 cm", "--length", "1 m", "--filled", "30 cm"), 141.37),
        (("bow-front", "--width", "90 cm", "--side-depth", "35 cm", "--centre-depth", "45 cm", "--filled", "50 cm"),
         187.79),
        (("Truncated cone", "--bottom-diameter", "26 cm", "--top-diameter", "30 cm", "--height", "36 cm", "--filled",
          "30 cm"), 18.06),
        (POND, 4062.5),
    ],
)  # fmt: skip
def test_a_tank_of_another_shape_is_added_shown_and_whole(say: Say, options: tuple[str, ...], litres: float) -> None:
    """The computed litres are kept with their working, shown again, and rebuilt from the journal."""
    assert "Computed only: buckets, a meter or salt measure better: quarantine tank gauge Q1" in say(*ADD, *options)
    tank = shown(say)
    assert tank["volume"]["litres"] == litres
    assert tank["shape"]["shape"] == options[0].casefold().replace(" ", "-")
    assert "The record is whole" in say("check")


@pytest.mark.parametrize(
    ("options", "code", "says"),
    [
        (("half-moon", "--width", "80 cm", "--filled", "40 cm"), 2, "missing: --centre-depth"),
        (("hexagon", "--width", "40 cm", "--filled", "40 cm", "--radius", "20 cm"), 2, "--radius does not belong"),
        (("quarter-round", "--radius", "60 cm", "--filled", "40 cm", "--walls", "6 mm"), 2, "measure it inside"),
        (("lying-cylinder", "--diameter", "60 cm", "--length", "1 m", "--filled", "61 cm"), 1, "stands 61 cm high"),
        (("pond", "--area", "12.5 m2", "--soundings", "40 60 40 cm"), 1, "begin and end with the 0 of its banks"),
        (("tub", "--length", "60 cm"), 1, "no tank shape 'tub'; known: box"),
    ],
)
def test_a_shape_that_cannot_be_is_refused_in_one_sentence(
    say: Say, options: tuple[str, ...], code: int, says: str
) -> None:
    """What is missing, what does not belong and what cannot be is named, and nothing is written."""
    said = say(*ADD, *options, code=code)
    assert says in said
    assert said.count("\n") == 1
    assert "No tank yet" in say("tank", "list")


def test_a_measured_tank_is_not_advised_to_measure(say: Say) -> None:
    """The advice stands under a computed volume, and goes when one was measured."""
    say(*ADD, *BOX)
    assert "Computed only" in say("tank", "show", "Q1")
    say("tank", "gauge", "Q1", "--buckets", "5 x 10 L")
    assert "Computed only" not in say("tank", "show", "Q1")


@pytest.mark.parametrize(
    ("words", "litres", "plus_minus", "method"),
    [
        (("--buckets", "4 x 10 L ± 0.1 L + 9.3 L ± 0.1 L"), 49.3, 0.42, "counted buckets"),
        (("--fill", "7.5 L ± 0.1 L in 42 s ± 0.5 s for 336 s"), 60, 1.09, "timed fill"),
        (("--meter", "1203.2 L to 1254.9 L ± 0.5 L"), 51.7, 0.5, "metered fill"),
        (("--salt", "50 g ± 1 g", "--before", "0.2 g/L", "--after", "1.2 g/L ± 0.02 g/L"), 50, 1.74, "salt tracer"),
        (
            ("--salt", "50 g ± 0 g", "--before", "300 uS/cm ± 1 uS/cm", "--after", "2.3 mS/cm", "--calibration",
             "1 g ± 0 g in 1 L ± 0 L: 300 to 2300 uS/cm"), 50, 0.05, "salt tracer",
        ),
    ],
)  # fmt: skip
def test_each_way_of_measuring_is_recorded_with_its_working(
    say: Say, words: tuple[str, ...], litres: float, plus_minus: float, method: str
) -> None:
    """From then on the measured volume rules; the computed one stays in the history."""
    say(*ADD, *BOX)
    said = say("tank", "gauge", "Q1", *words)
    assert f"by {method}. Every later dose uses it." in said
    assert ("The salt stays in the water" in said) == (method == "salt tracer")
    tank = shown(say)
    assert (tank["volume"]["litres"], tank["volume"]["plus_minus_litres"]) == (litres, plus_minus)
    assert tank["volume"]["method"] == method
    assert any(line.startswith("plus-minus: ") for line in tank["volume"]["working"])
    assert [old["method"] for old in tank["history"]] == ["computed from its measures"]


def test_salt_does_not_measure_one_tank_of_a_shared_water(say: Say) -> None:
    """A tracer spreads through the whole system, so it is refused for one of its tanks; buckets are not."""
    say(*ADD, *BOX)
    say(*[{"Q1": "Q2"}.get(word, word) for word in ADD], *BOX, "--system", "Q1")
    salt = ("--salt", "50 g ± 1 g", "--before", "0.2 g/L", "--after", "1.2 g/L ± 0.02 g/L")
    assert "Q1 shares its water with Q2, and salt measures all of it" in say("tank", "gauge", "Q1", *salt, code=1)
    assert "counted buckets" in say("tank", "gauge", "Q1", "--buckets", "5 x 10 L")


def test_a_dry_run_only_looks(say: Say) -> None:
    """--dry-run of gauge and level prints the working and leaves the computed volume as it was."""
    say(*ADD, *BOX)
    for words in (("gauge", "Q1", "--buckets", "5 x 10 L"), ("level", "Q1", "3 cm below")):
        said = say("tank", *words, "--dry-run")
        assert "plus-minus: " in said
        assert said.endswith("Dry run: nothing was written.\n")
    assert shown(say)["history"] == []


def test_gauge_alone_says_the_ways_and_the_salt_it_takes(say: Say) -> None:
    """0.02 g/L: a rise of 0.5657 g/L, 33 g in 57.6 L (by hand); nothing is written."""
    say(*ADD, *BOX)
    said = say("tank", "gauge", "Q1", "--reads", "0.02 g/L")
    for way in ("--buckets", "--fill", "--meter", "--salt"):
        assert f"quarantine tank gauge Q1 {way} " in said
    assert "0.5657 g/L" in said
    assert "about 33 g in 57.6 L" in said
    assert "--reads" in say("tank", "gauge", "Q1")
    assert len(json.loads(say("tank", "gauge", "Q1", "--json"))["ways"]) == 4
    assert shown(say)["history"] == []


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (("gauge", "Q1", "--buckets", "5 x 10 L", "--meter", "1 L to 50 L"), 2, "Say one way"),
        (("gauge", "Q1", "--before", "0.2 g/L"), 2, "Say one way"),
        (("gauge", "Q1", "--buckets", "5 x 10 L", "--after", "1 g/L"), 2, "belong to --salt"),
        (("gauge", "Q1", "--salt", "50 g"), 2, "before and after"),
        (("gauge", "Q1", "--buckets", "5 x 10 L ± 11 L"), 1, "the volume is the larger"),
        (("gauge", "Q1", "--reads", "0.02"), 1, "has no unit"),
        (("gauge", "Q9"), 1, "no tank 'Q9'"),
        (("gauge", "Q9", "--buckets", "5 x 10 L"), 1, "no tank 'Q9'"),
        (("level", "Q9", "3 cm below"), 1, "no tank 'Q9'"),
        (("level", "Q1", "low"), 1, "does not begin with a number"),
        (("level", "Q1", "40 cm below"), 1, "no water in the tank"),
        (("measure", "Q1", "50 L", "--by", "Computed for fun", "--plus-minus", "1 L"), 2, "is not a computed one"),
    ],
)
def test_measuring_that_is_not_understood_is_one_sentence(
    say: Say, words: tuple[str, ...], code: int, says: str
) -> None:
    """Two ways at once, a missing reading or a height that cannot be: said, and nothing is written."""
    say(*ADD, *BOX)
    said = say("tank", *words, code=code)
    assert says in said
    assert said.count("\n") == 1
    assert shown(say)["history"] == []


def test_the_water_below_the_mark_is_a_dated_volume_of_the_shape(say: Say) -> None:
    """60 x 30 x 29 cm = 52.2 L from then on, with its working; back at the mark it is 57.6 L."""
    say(*ADD, *BOX)
    said = say("tank", "level", "Q1", "3 cm below")
    assert "filled: 60 cm x 30 cm x 29 cm / 1000 = 52.2 L" in said
    assert 'quarantine tank level Q1 "at the mark"' in said
    tank = shown(say)
    assert tank["volume"]["litres"] == 52.2
    assert tank["volume"]["method"] == "computed for the water 3 ± 0.3 cm below the mark"
    said = say("tank", "level", "Q1", "at the mark")
    assert "at the mark" not in said.splitlines()[-1]
    assert shown(say)["volume"]["litres"] == 57.6
    assert "The record is whole" in say("check")


def test_where_the_water_stands_is_in_the_document(say: Say) -> None:
    """A program reads the water height and how far it is from the mark, in cm."""
    say(*ADD, *BOX)
    document = json.loads(say("tank", "level", "Q1", "3 cm below", "--json"))
    assert (document["water_height_cm"], document["above_mark_cm"], document["litres"]) == (29, -3, 52.2)


def test_a_measured_volume_rules_and_is_carried_to_the_new_height(say: Say) -> None:
    """49.3 L measured at the mark, less the layer of 60 x 30 x 3 cm = 5.4 L, is 43.9 L; and again 49.3 L."""
    say(*ADD, *BOX)
    say("tank", "measure", "Q1", "49.3 L", "--by", "buckets", "--plus-minus", "0.5 L")
    assert "water: 49.3 + 52.2 - 57.6 = 43.9 L" in say("tank", "level", "Q1", "29 cm")
    assert shown(say)["volume"]["litres"] == 43.9
    say("tank", "level", "Q1", "at the mark")
    volume = shown(say)["volume"]
    assert (volume["litres"], volume["plus_minus_litres"]) == (49.3, 0.5)


def test_what_was_measured_below_the_mark_is_known_as_such(say: Say) -> None:
    """45 L measured 3 cm below the mark are 50.4 L at the mark, and the output says where the water stood."""
    say(*ADD, *BOX)
    say("tank", "level", "Q1", "3 cm below")
    said = say("tank", "gauge", "Q1", "--buckets", "9 x 5 L ± 0.05 L")
    assert "On record it was measured with the water 3 ± 0.3 cm below the mark." in said
    assert shown(say)["volume"]["litres"] == 45
    say("tank", "level", "Q1", "at the mark")
    assert shown(say)["volume"]["litres"] == 50.4


def test_a_height_of_the_past_uses_what_was_measured_by_then(say: Say) -> None:
    """A late entry is carried from the volume of its own time, and a measurement entered late says what rules now."""
    say(*ADD, *BOX)
    later = "2026-02-13 09:00:00"
    say("tank", "measure", "Q1", "49.3 L", "--by", "buckets", "--plus-minus", "0.5 L", at=later)
    say("tank", "level", "Q1", "3 cm below", "--at", "2026-02-12 10:00", at=later)
    tank = json.loads(say("tank", "show", "Q1", "--json", at=later))
    assert tank["volume"]["litres"] == 49.3
    assert sorted(v["litres"] for v in tank["history"]) == [52.2, 57.6]
    late = ("tank", "measure", "Q1", "56 L", "--by", "salt", "--plus-minus", "1 L", "--at", "2026-02-12 12:00")
    assert "A later volume is on record and rules now: 49.3 L, buckets." in say(*late, at=later)


def test_two_volumes_of_one_second_keep_their_order(say: Say) -> None:
    """The second of two entries in one second is kept a second later, so that it rules."""
    say(*ADD, *BOX)
    for litres in range(40, 52):
        at = "2026-02-11 09:00:00"
        say("tank", "measure", "Q1", f"{litres} L", "--by", "buckets", "--plus-minus", "1 L", at=at)
    assert json.loads(say("tank", "show", "Q1", "--json", at="2026-02-12 09:00:00"))["volume"]["litres"] == 51


def test_a_tank_without_a_shape_is_measured_again(say: Say, home: Path) -> None:
    """Where the record holds no shape, no height can be computed: the refusal says to measure."""
    say(*ADD, *BOX)
    desk = sessions.Session(str(home)).desk()
    with desk.act() as act:
        act.change("tank", act.rows("tanks")[0]["id"], shape={})
        act.describe("tank changed", "a record from elsewhere")
    with pytest.raises(Refused, match="no shape on record, only measured volumes: measure it again"):
        level_tank(desk, "Q1", "3 cm below", at=None)


def test_a_tank_reads_on_sixty_columns(say: Say, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every line of what is said of a tank fits 60 columns, and each measure stands on its own line."""
    monkeypatch.setenv("COLUMNS", "60")
    lines = say(*ADD, *POND, "--label", "5 m3").splitlines() + say("tank", "show", "Q1").splitlines()
    assert max(len(line) for line in lines) <= 60
    assert "  area: 12.5 m2, plus or minus 0.63 m2" in lines
    assert "  soundings: 0, 40, 60, 40, 0 cm" in lines


def test_a_renamed_tank_keeps_its_volumes(say: Say) -> None:
    """F97: the history of measured volumes and heights stays with the tank; a name with a space is quoted in advice."""
    say(*ADD, *BOX)
    say("tank", "level", "Q1", "3 cm below")
    say("tank", "rename", "Q1", "Q1 left")
    assert 'quarantine tank gauge "Q1 left"' in say("tank", "show", "Q1 left")
    tank = json.loads(say("tank", "show", "Q1 left", "--json"))
    assert [tank["volume"]["litres"], *(v["litres"] for v in tank["history"])] == [52.2, 57.6]
