"""Rows F14, F16, F18, F19, F37 and F100 of the needs, at the command line: amounts as people see and type them."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import re
import shutil
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time
from working_again import rework

from quarantine.cli.app import run
from quarantine.dosing import DEFERS
from quarantine.protocol import load, shipped

with (Path(__file__).parents[1] / "dosing" / "cases.csv").open(encoding="utf-8") as file:
    CASES = list(csv.DictReader(file))

BOX = ["--shape", "box", "--length", "60 cm", "--width", "30 cm", "--filled", "30 cm"]
READY = ["temp=25.5C", "ph=8.1", "tan=0.1mg/L", "nitrite_no2=0.05mg/L", "oxygen=6.5mg/L", "salinity=34g/L"]
DAY_3 = "2026-02-13 16:30:00"
"""17:30 in Berlin on day 3, when the first dose of the shipped marine course may be given."""


class Room:
    """A record of its own and what its commands say."""

    def __init__(self, home: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.home, self.capsys = home, capsys

    def says(self, *words: str, code: int = 0) -> str:
        """What one command prints: on standard output, or where it refuses on standard error."""
        found = run(["--home", str(self.home), *words])
        said = self.capsys.readouterr()
        assert found == code, (words, said)
        return said.err if code else said.out

    def json(self, *words: str, code: int = 0) -> Any:
        assert run(["--home", str(self.home), "--json", *words]) == code, words
        return json.loads(self.capsys.readouterr().out)

    def tank(self, name: str, water: str = "fresh", role: str = "quarantine") -> None:
        self.says("tank", "add", name, "--site", "Hall", "--role", role, "--water", water, *BOX)

    def dose(self) -> Any:
        """The open dose of today's list."""
        (dose,) = [task for task in self.json("today")["tasks"] if task["kind"] == "dose"]
        return dose


def quiet(home: Path, *words: str) -> None:
    """A command whose words nobody reads."""
    with contextlib.redirect_stdout(io.StringIO()):
        assert run(["--home", str(home), *words]) == 0, words


@pytest.fixture(scope="module")
def hall(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One site, one keeper."""
    home = tmp_path_factory.mktemp("hall") / "home"
    with freeze_time("2026-02-10 08:00:00"), pytest.MonkeyPatch.context() as patch:
        patch.delenv("QUARANTINE_KEEPER", raising=False)
        quiet(home, "site", "add", "Hall", "--zone", "Europe/Berlin")
        quiet(home, "keeper", "add", "Robin")
    return home


@pytest.fixture(scope="module")
def course(hall: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """49.3 L of sea water by buckets, the shipped marine course, looked at and read until day 3."""
    home = tmp_path_factory.mktemp("course") / "home"
    shutil.copytree(hall, home)
    with freeze_time("2026-02-10 09:00:00"):
        for name, role in (("Q2", "quarantine"), ("Reef", "display")):
            quiet(home, "tank", "add", name, "--site", "Hall", "--role", role, "--water", "marine", *BOX)
        quiet(home, "tank", "measure", "Q2", "49.3L", "--by", "buckets", "--plus-minus", "0.5L")
        quiet(
            home, "batch", "start", "--tank", "Q2", "--protocol", "marine-praziquantel",
            "--arrived", "2026-02-10 09:30", "--fish", "4 Centropyge bicolor, 6 cm", "--from", "an importer",
            "--to", "Reef", "--acknowledge", "--yes",
        )  # fmt: skip
    for day in (10, 11, 12, 13):
        with freeze_time(f"2026-02-{day} 16:00:00"):
            quiet(home, "look", "Q2 4" if day == 10 else "Q2 4 3", "--no-signs")
            quiet(home, "reading", "Q2", *READY)
    return home


@pytest.fixture
def room(hall: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    """One site, one keeper."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS", "QUARANTINE_SCALE_STEP"):
        monkeypatch.delenv(name, raising=False)
    shutil.copytree(hall, tmp_path / "home")
    return Room(tmp_path / "home", capsys)


@pytest.fixture
def medicated(room: Room, course: Path) -> Room:
    """49.3 L of sea water by buckets, the shipped marine course, looked at and read until day 3."""
    shutil.rmtree(room.home)
    shutil.copytree(course, room.home)
    return room


# --- F14: the volume that is valid at the time of the dose -----------------------------------------------------------


def test_F14_a_dose_entered_late_has_the_volume_of_its_own_time(medicated: Room) -> None:
    """Given at 17:30 with 49.3 L; measured at 18:30 as 40 L; told of the next day: 0.09 g and 49.3 L, not 0.08 g."""
    with freeze_time("2026-02-13 17:30:00"):
        code = medicated.dose()["code"]
        medicated.says("tank", "measure", "Q2", "40L", "--by", "meter", "--plus-minus", "0.5L")
        assert medicated.dose()["dose"]["add"] == 0.08
    with freeze_time("2026-02-14 09:00:00"):
        medicated.says("done", code, "--as-shown", "--at", "2026-02-13 17:30")
        given = medicated.json("why", code)["given"]
    assert (given["given"], given["volume_litres"], given["volume_plus_minus_litres"]) == ("0.09", "49.3", "0.5")
    assert given["working"][0].startswith("water: 49.3 L, plus or minus 0.5 L (buckets")


def test_F14_a_dose_without_a_task_has_the_volume_of_its_own_time(medicated: Room) -> None:
    """The same for what was given without a task: the fact holds the litres that were there then."""
    with freeze_time("2026-02-13 17:30:00"):
        medicated.says("tank", "measure", "Q2", "40L", "--by", "meter", "--plus-minus", "0.5L")
        earlier, now = (
            medicated.json("event", "dose", "Q2", "Z02", "--gave", "0.08 g", "--really", *when)["dose"]
            for when in (["--at", "2026-02-13 10:00"], [])
        )
    assert (earlier["volume_litres"], now["volume_litres"]) == (49.3, 40)


def test_F14_a_volume_that_is_told_of_late_does_not_become_the_newest(medicated: Room) -> None:
    """Measured 40 L today; yesterday's 45 L is entered after it: the dose of today uses 40 L, yesterday's 45 L."""
    with freeze_time(DAY_3):
        medicated.says("tank", "measure", "Q2", "40L", "--by", "meter", "--plus-minus", "0.5L", "--at", "12:00")
        late = ["--by", "counting", "--plus-minus", "0.5L", "--at", "2026-02-12 12:00"]
        medicated.says("tank", "measure", "Q2", "45L", *late)
        assert medicated.dose()["dose"]["volume_litres"] == 40
        told = ["--gave", "0.08 g", "--really", "--at", "2026-02-12 18:00"]
        assert medicated.json("event", "dose", "Q2", "Z02", *told)["dose"]["volume_litres"] == 45


# --- F16: the printed working is worked out again --------------------------------------------------------------------


def test_F16_typed_measures_give_the_amount_of_the_table_and_a_working_that_is_true(
    room: Room, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`tank add`, `tank measure`, `reading`, `dose` for fifty of the 200 cases, those worked by hand among them."""
    wrong = []
    chosen = [case for case in CASES if case["by_hand"] or int(case["case"]) % 5 == 1]
    assert len(chosen) > 45
    for case in chosen:
        monkeypatch.setenv("QUARANTINE_SCALE_STEP", f"{case['scale_g']} g")
        name, water = f"N{case['case']}", "marine" if case["row"].startswith("Z") else "fresh"
        with freeze_time("2026-02-10 09:00:00"):
            measured = case["how"] == "measured"
            typed = [w for pair in ([] if measured else case["measures"].split()) for w in pair.split("=")]
            typed[::2] = [f"--{option}" for option in typed[::2]]
            shape = BOX if measured else ["--shape", case["how"], *typed]
            room.says("tank", "add", name, "--site", "Hall", "--role", "holding", "--water", water, *shape)
            if measured:
                litres = ["--by", "buckets", "--plus-minus", case["plus_minus"]]
                room.says("tank", "measure", name, case["measures"], *litres, "--really")
            if case["present_g_per_l"]:
                room.says("reading", name, f"salinity={case['present_g_per_l']}g/L")
            substance = {"Z": "praziquantel", "M": "metronidazole", "T": "salt"}[case["row"][0]]
            text = room.says("dose", substance, "--tank", name, "--regimen", case["row"])
        if case["hold"]:
            shown: Any = re.findall(r"(?m)^  Rule: (\w+)\.$", text)
            wanted: Any = [case["hold"]]
        else:
            shown = (re.findall(r"(?m)^ADD ([\d.]+) g of ", text)[0], *rework(text.splitlines()))
            wanted = (case["add_g"], *(Fraction(case[n]) for n in ("add_g", "gives_low", "gives_high")))
        wrong += [] if shown == wanted else [(case, shown)]
    assert wrong == []


def test_F16_why_shows_the_same_working_before_and_after_the_dose(medicated: Room) -> None:
    """The lines of `why` work out to the amount shown; after the dose the frozen ones still do."""
    with freeze_time(DAY_3):
        code = medicated.dose()["code"]
        before = medicated.says("why", code)
        medicated.says("done", code, "--as-shown")
        after = medicated.says("why", code)
    assert (
        rework(before.splitlines())
        == rework(after.splitlines())
        == (Fraction("0.09"), Fraction("1.8"), Fraction("1.85"))
    )
    assert "planned 2 mg/L, prepared 0.09 g, given 0.09 g" in after


# --- F18: a unit on everything that is typed -------------------------------------------------------------------------

ADD = ["tank", "add", "X", "--site", "Hall", "--role", "quarantine", "--water", "fresh", "--shape", "box"]
TYPED = [
    ("length", [*ADD, "--width", "30 cm", "--filled", "30 cm", "--length"], "m"),
    ("height", [*ADD, *BOX[2:], "--height"], "m"),
    *((option[2:], [*ADD, *BOX[2:], option], "cm") for option in ("--walls", "--substrate")),
    *(
        (option[2:], [*ADD, *BOX[2:], "--really", option], "L")
        for option in ("--rocks", "--sump", "--filter", "--label")
    ),
    ("measured", ["tank", "measure", "Q2", "--by", "buckets", "--plus-minus", "1 L", "--really"], "L"),
    ("plus-minus", ["tank", "measure", "Q2", "49 L", "--by", "buckets", "--plus-minus"], "L"),
    ("change", ["event", "change", "Q2", "--out"], "L"),
    ("change-in", ["event", "change", "Q2", "--out", "5 L", "--in"], "L"),
    ("topup", ["event", "topup", "Q2"], "L"),
    ("evaporation", ["event", "evaporation", "Q2"], "L"),
    ("event-dose", ["event", "dose", "Q2", "Z02", "--really", "--gave"], "g"),
]


@pytest.mark.parametrize(("words", "unit"), [row[1:] for row in TYPED], ids=[row[0] for row in TYPED])
def test_F18_every_amount_that_is_typed_needs_its_unit(medicated: Room, words: list[str], unit: str) -> None:
    """A bare number, a gallon of no country and a spoon are refused wherever an amount is typed; a unit is taken."""
    with freeze_time(DAY_3):
        bare = medicated.says(*words, "2", code=1)
        assert "no unit" in bare
        gallon = medicated.says(*words, "2 gal", code=1)
        assert "US gallon" in gallon
        assert "imperial gallon" in gallon
        assert "is not a measure" in medicated.says(*words, "2 tsp", code=1)
        medicated.says(*words, f"2 {unit}", "--dry-run")


def test_F18_a_dose_that_is_ticked_and_a_scale_need_their_unit(
    medicated: Room, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`done --gave 0.09` and a scale of "0.01" are refused with what to write; "0.09 g" is taken."""
    with freeze_time(DAY_3):
        code = medicated.dose()["code"]
        wrong = {"0.09": "no unit", "0.09 gr": "grain", "1 tsp": "is not a measure", "1 mL": "a mass"}
        for gave, says in wrong.items():
            assert says in medicated.says("done", code, "--gave", gave, code=1)
        monkeypatch.setenv("QUARANTINE_SCALE_STEP", "0.01")
        assert "scale_step" in medicated.says("today", code=1)
        monkeypatch.delenv("QUARANTINE_SCALE_STEP")
        medicated.says("done", code, "--gave", "0.09 g")


@pytest.mark.parametrize("typed", ["temp=25", "tan=0.5", "nitrite=0.1", "oxygen=6", "salinity=34", "nitrate=10"])
def test_F18_a_reading_needs_its_unit_and_ph_has_none(medicated: Room, typed: str) -> None:
    """25 of what? A reading without its unit is refused by name, and nothing is written."""
    with freeze_time(DAY_3):
        head = medicated.json("check")["head"]
        assert "unit" in medicated.says("reading", "Q2", typed, code=1)
        assert medicated.json("check")["head"] == head
        medicated.says("reading", "Q2", "ph=8")


# --- F19: the reading of every output --------------------------------------------------------------------------------

BAD = {
    "add .5 g of it": "a bare decimal point",
    "ADD 5.0 g of it": "a zero at the end of a decimal",
    "ADD 0.10 g. Then wait": "a zero at the end of a decimal",
    "level 1e-05 mg/L": "an exponent",
    "level 2E+3 mg/L": "an exponent",
    "49.300000000000004 L": "a float's tail",
    "gives nan to 5 mg/L": "no number",
    "it holds 12,000 L": "a comma inside a number",
    "level -0 mg/L": "a minus before zero",
    "ADD 5 of Praziquantel": "an amount without its unit",
    "for 49.3, plus or minus 0.5 L": "an amount without its unit",
    "gives 1.8 to 1.85 in it": "an amount without its unit",
    '{"add": 5.0, "add_unit": "g"}': "5.0 is no safe number",
    '{"add": 1e-05, "add_unit": "g"}': "1e-05 is no safe number",
    '{"litres": NaN}': "NaN is no safe number",
    '{"litres": 49.300000000000004}': "is no safe number",
    '{"add": 5}': "add: no unit is named",
    '{"tasks": [{"dose": {"working": ["target .5 mg/L"]}}]}': "a bare decimal point",
}
GOOD = [
    "ADD 0.5 g of Praziquantel, counted as pure (100 %)",
    "  for 49.3 L, plus or minus 0.5 L; target 2 mg/L; gives 1.8 to 1.85 mg/L",
    "ceiling 10 mg/L, for 49.3 - 0.5 = 48.8 L: 0.488 g. Done at 20:10 on 2026-02-10, version 0.1.0.",
    "doi 10.1590/S1984-296120180076, 2019; Bulletin 57:349; arrived ...; see /tmp/x.5/y.0",
    "The --length '.50 cm' has no unit, and \"1e-5\" neither.",
    "planned for 2026-02-13; D3E45 of task 3e05-7; 12, 13 and 14 fish",
    '{"add": 0.5, "add_unit": "g", "gives_low": 1.8, "gives_unit": "mg/L", "litres": 50, "seen": 4, "day": null}',
]


@pytest.mark.parametrize("text", BAD)
def test_F19_the_reading_finds_each_number_that_can_be_misread(
    misread_numbers: Callable[[str], list[str]], text: str
) -> None:
    """One bad number in an output, spoken or JSON, is found and named by what is wrong with it."""
    found = misread_numbers(f"Today.\n{text}\nThe end.")
    assert any(BAD[text] in bad for bad in found), found


@pytest.mark.parametrize("text", GOOD)
def test_F19_the_reading_passes_what_is_written_safely(misread_numbers: Callable[[str], list[str]], text: str) -> None:
    """Safe numbers, clocks, days, versions, citations, codes, and what a keeper typed, shown in quotes."""
    assert misread_numbers(text) == []


@pytest.mark.parametrize("text", ["Weighed .5 g.", "Weighed 5.0 g.", '{"level": 1e-05, "level_unit": "mg/L"}'])
def test_F19_a_command_of_the_suite_that_prints_a_bad_number_fails(
    room: Room, monkeypatch: pytest.MonkeyPatch, text: str
) -> None:
    """The reading hangs on every command line that a test runs, on both streams; on the next one it is silent again."""
    from quarantine.cli import out, places

    for stream in ("stdout", "stderr"):
        with monkeypatch.context() as patch:
            patch.setattr(places, "where", lambda stream=stream: out.write(text, getattr(__import__("sys"), stream)))
            with pytest.raises(AssertionError, match="quarantine --home"):
                room.says("where")
    room.says("tank", "list")


def plain_calendar(file: Path) -> str:
    """A calendar file unfolded and unescaped, save for line ends."""
    return file.read_bytes().decode().replace("\r\n ", "").replace("\\,", ",").replace("\\;", ";")


def test_F19_the_calendar_file_is_written_as_safely(
    medicated: Room, tmp_path: Path, misread_numbers: Callable[[str], list[str]]
) -> None:
    """Summaries and descriptions of every entry, unfolded and unescaped, hold no number that can be misread."""
    with freeze_time(DAY_3):
        medicated.says("calendar", "write", str(tmp_path / "q.ics"))
    said = re.findall(r"(?m)^(?:SUMMARY|DESCRIPTION)[^:]*:(.*)\r$", plain_calendar(tmp_path / "q.ics"))
    assert len(said) > 200
    plain = "\n".join(said).replace("\\n", "\n")
    assert "0.09 g" in plain
    assert misread_numbers(plain) == []


def test_F19_an_amount_typed_with_zeros_is_shown_without_them(medicated: Room) -> None:
    """0.090 g are given as 0.09 g and .5 L changed as 0.5 L, in what is said and in what `why` keeps."""
    with freeze_time(DAY_3):
        code = medicated.dose()["code"]
        assert f"{code}: 0.09 g of praziquantel" in medicated.says("done", code, "--gave", "0.090 g")
        assert "given 0.09 g" in medicated.says("why", code)
        assert medicated.json("why", code)["given"]["mass_mg"] == "90"
        assert "out 0.5 L" in medicated.says("event", "change", "Q2", "--out", ".50 L")


# --- F37: the dose card ----------------------------------------------------------------------------------------------

MEDICATED = [name for name in sorted(shipped()) if load(name).medicated]


def card_of(text: str, code: str) -> list[str]:
    """The lines of one task in today's list, from its code to the next code or the end of its tank."""
    lines = text.splitlines()
    start = next(n for n, line in enumerate(lines) if line.startswith(f"  {code} "))
    end = next((n for n in range(start + 1, len(lines)) if not lines[n].startswith("    ")), len(lines))
    return lines[start:end]


def missing_of_card(card: list[str]) -> list[str]:
    """What a dose card must have and this one has not (F37)."""
    head, body = card[0], "\n".join(line.strip() for line in card[1:])
    wanted = {
        "window": r"(?:, until \d\d:\d\d|, from \d\d:\d\d|, OVERDUE since )",
        "quantity, substance and strength": r"(?m)^ADD [\d.]+ \w+ of .+ \(.+ %\)$",
        "water": r"(?m)^for [\d.]+ L, plus or minus [\d.]+ L; target [\d.]+ \S+; gives [\d.]+ to [\d.]+ \S+$",
        "route": r"(?m)^Route: \w+, in .+; filter (?:running|off)",
        "how to measure": r"(?m)^Measure: .+ steps of [\d.]+ g",
        "before-checks": r"(?m)^(?:Checked: |To be met on the day: ).+\.$",
        "limits": re.escape(f"Caution: {DEFERS}"),
        "source": r"(?m)^Source \(.+\): .+$",
    }
    return [name for name, pattern in wanted.items() if not re.search(pattern, head if name == "window" else body)]


@pytest.mark.parametrize("name", MEDICATED)
def test_F37_the_card_lacks_nothing_in_any_shipped_template(room: Room, name: str) -> None:
    """Every dose of every medicated template, on its own day: a whole card under tank and batch, or a whole hold."""
    water = load(name).water.replace("any", "fresh")
    with freeze_time("2026-02-10 09:00:00"):
        room.tank("Q1", water)
        room.tank("Show", water, "display")
        room.says(
            "batch", "start", "--tank", "Q1", "--protocol", name, "--arrived", "2026-02-10 09:30", "--fish", "4 fish",
            "--from", "an importer", "--to", "Show", "--acknowledge", "--yes",
        )  # fmt: skip
        steps = {step.id for step in load(name).steps if step.kind == "dose"}
        doses = [t for t in room.json("batch", "show", "Q1-1")["tasks"] if t["step"] in steps and t["day"]]
        for task in doses:
            text = room.says("today", "--on", task["day"])
            assert "\nQ1 (Q1-1)\n" in text
            card = card_of(text, task["code"])
            if not card[1].strip().startswith("HELD: "):
                assert missing_of_card(card) == [], "\n".join(card)
                continue
            for part in ("What to do: ", "Rule: ", "Source: ", f"Caution: {DEFERS}"):
                assert any(line.strip().startswith(part) for line in card), "\n".join(card)
    asked = [step for step in load(name).steps if step.id in steps]
    assert doses or all(step.when or step.start.kind in ("sign", "word", "reading") for step in asked)


def test_F37_on_the_day_the_card_says_what_was_checked_and_what_is_left_to_confirm(medicated: Room) -> None:
    """Day 3: the checks with what they were judged on; what no reading answers is confirmed by giving the dose."""
    with freeze_time(DAY_3):
        card = card_of(medicated.says("today"), medicated.dose()["code"])
    assert missing_of_card(card) == []
    text = "\n".join(card)
    assert "    Checked: day 3, needed: day 3 (2026-02-13); ate on 3 looked days, needed: 2; no open sign" in text
    assert "un-ionized ammonia nitrogen 0.0024 to 0.012 mg/L, needed: at most 0.05 mg/L" in text
    assert "    Confirm: Carbon is out; UV, ozone and skimmer are off" in text
    assert (
        "    Route: bath, in all of the water system; filter running; off or out: carbon, UV, ozone, skimmer.\n" in text
    )


@pytest.mark.parametrize("line", ["regimen = ", "mode = ", "water = ", "filter = ", "clearing = "])
def test_F37_a_field_that_the_card_needs_fails_the_check_when_it_is_missing(
    room: Room, tmp_path: Path, line: str
) -> None:
    """The shipped medicated template without one key of its treatment: `protocol check` names the key."""
    head, mark, treatment = shipped()["marine-praziquantel"].read_text(encoding="utf-8").partition("[step.treatment]\n")
    kept = [row for row in treatment.splitlines(keepends=True)[:6] if not row.startswith(line)]
    assert len(kept) == 5
    file = tmp_path / "mine.toml"
    file.write_text(head + mark + "".join(kept + treatment.splitlines(keepends=True)[6:]), encoding="utf-8")
    assert line.removesuffix(" = ") in room.says("protocol", "check", str(file), code=1)


def test_F37_a_medicated_template_without_before_checks_or_after_window_fails_the_check(
    room: Room, tmp_path: Path
) -> None:
    """Rules C8 and A11: no gate before the first dose, or no word on what a missed one means, is a mistake."""
    text = shipped()["marine-praziquantel"].read_text(encoding="utf-8")
    file = tmp_path / "mine.toml"
    file.write_text(re.sub(r"(?s)\[\[step\.before\]\].*?\n\n", "", text), encoding="utf-8")
    assert "before" in room.says("protocol", "check", str(file), code=1)
    file.write_text(text.replace('after_window = "shift"\nwho', "who", 1), encoding="utf-8")
    assert "after_window" in room.says("protocol", "check", str(file), code=1)


# --- F100: the limits on every dose ----------------------------------------------------------------------------------


def test_F100_every_output_with_a_dose_states_its_limits(medicated: Room, tmp_path: Path) -> None:
    """Whatever shows, plans or records a dose says whose word comes first."""
    preview = ["protocol", "preview", "marine-praziquantel", "--tank", "Q2", "--arrived", "2026-02-10 09:30"]
    with freeze_time(DAY_3):
        code = medicated.dose()["code"]
        medicated.says("calendar", "write", str(tmp_path / "q.ics"))
        said = {
            "dose": medicated.says("dose", "praziquantel", "--tank", "Q2", "--regimen", "Z01"),
            "today": medicated.says("today"),
            "another day": medicated.says("today", "--on", "2026-02-17"),
            "why": medicated.says("why", code),
            "preview": medicated.says(*preview),
            "done": medicated.says("done", code, "--as-shown"),
            "why after": medicated.says("why", code),
            "a held dose": medicated.says("dose", "praziquantel", "--tank", "Q2", "--regimen", "Z01"),
            "event dose": medicated.says("event", "dose", "Q2", "Z02", "--gave", "0.08 g", "--really"),
            "formulary": medicated.says("formulary", "show", "praziquantel"),
        }
    assert [name for name, text in said.items() if DEFERS not in text] == []
    entries = plain_calendar(tmp_path / "q.ics").split("BEGIN:VEVENT")
    doses = [entry for entry in entries if "Praziquantel bath" in entry]
    assert len(doses) == 2
    assert all(DEFERS in entry for entry in doses)


def test_F100_every_document_with_a_dose_states_its_limits(medicated: Room) -> None:
    """The same for programs: the last caution of a dose, and a key of their own where there are no cautions."""
    preview = ["protocol", "preview", "marine-praziquantel", "--tank", "Q2", "--arrived", "2026-02-10 09:30"]
    with freeze_time(DAY_3):
        assert medicated.dose()["dose"]["cautions"][-1] == DEFERS
        asked = medicated.json("dose", "praziquantel", "--tank", "Q2", "--regimen", "Z01")
        assert asked["dose"]["cautions"][-1] == DEFERS
        doses = [t["dose"] for t in medicated.json(*preview)["tasks"] if t["dose"]]
        assert [dose["cautions"][-1] for dose in doses] == [DEFERS, DEFERS]
        assert medicated.json("done", medicated.dose()["code"], "--as-shown")["tasks"][0]["defers"] == DEFERS


# --- What else a dose says -------------------------------------------------------------------------------------------


def test_a_dose_that_is_asked_for_says_that_the_list_decides_whether_today(medicated: Room) -> None:
    """`dose` computes an amount only: it says where the checks of the batch's protocol stand (rule C8)."""
    with freeze_time(DAY_3):
        text = medicated.says("dose", "praziquantel", "--tank", "Q2", "--regimen", "Z02")
        assert "Whether a batch in this water may be dosed today is on today's list (quarantine today)" in text
        assert "(rule C8)" in text
        assert "Whether a batch" not in medicated.says("today")


@pytest.mark.parametrize(
    ("gave", "says"),
    [
        ("280000 g", "280000 g is far more than the 0.09 g that"),
        ("9.1 g", "9.1 g is far more than the 0.09 g that"),
        ("9 g", "9 g is 100 times the 0.09 g that"),
        ("0.2 g", "0.2 g is 2.2 times the 0.09 g that"),
        ("0.009 g", "0.009 g is 0.1 times the 0.09 g that"),
        ("1 mg", "1 mg is far less than the 0.09 g that"),
    ],
)
def test_a_slip_is_asked_about_in_words_that_can_be_read(medicated: Room, gave: str, says: str) -> None:
    """Both amounts, and a ratio only where a ratio says something."""
    with freeze_time(DAY_3):
        assert says in medicated.says("done", medicated.dose()["code"], "--gave", gave, code=1)


def test_a_dose_into_water_that_nobody_can_size_is_recorded_and_answered_with_the_rescue(room: Room) -> None:
    """Rule C7: 10 L, plus or minus 9.99 L: the fact is kept, its level unknown, and all of the water is to go."""
    with freeze_time("2026-02-10 09:00:00"):
        room.tank("Q1", "marine")
        room.says("tank", "measure", "Q1", "10L", "--by", "guessing", "--plus-minus", "9.99L", "--really")
        said = room.says("event", "dose", "Q1", "Z01", "--gave", "0.5 g", "--really")
        assert "The level of Praziquantel is not known and may be over the ceiling of 10 mg/L" in said
        assert "change all of the water" in said
        room.says("check")


@pytest.mark.parametrize(("litres", "sure"), [("0.001L", "0.0005L"), ("0.02L", "0.019L"), ("5L", "5L"), ("5L", "0L")])
def test_a_measured_volume_that_the_record_could_not_hold_is_refused(room: Room, litres: str, sure: str) -> None:
    """A record keeps hundredths of a litre: what is nothing there, or no more than its plus-minus, is refused."""
    with freeze_time("2026-02-10 09:00:00"):
        room.tank("Q1")
        said = room.says("tank", "measure", "Q1", litres, "--by", "a cup", "--plus-minus", sure, code=1)
        assert "more than nothing" in said


def test_C10_a_template_that_doses_one_tank_of_two_is_held(room: Room, tmp_path: Path) -> None:
    """Two tanks share 108 L and the template doses one of them: no amount for 108 L is shown, nor in its preview."""
    text = shipped()["marine-praziquantel"].read_text(encoding="utf-8")
    text = text.replace('water = "system"', 'water = "tank"').replace('for = "system"', 'for = "tank"')
    file = tmp_path / "one-tank.toml"
    file.write_text(text.replace('id = "marine-praziquantel"', 'id = "one-tank"'), encoding="utf-8")
    with freeze_time("2026-02-10 09:00:00"):
        room.tank("Q1", "marine")
        room.tank("Show", "marine", "display")
        room.says(
            "tank", "add", "Q3", "--site", "Hall", "--role", "quarantine", "--water", "marine", "--system", "Q1", *BOX
        )  # fmt: skip
        preview = room.says("protocol", "preview", str(file), "--tank", "Q1", "--arrived", "2026-02-10 09:30")
        assert preview.count("held: the template doses one tank alone") == 2
        room.says(
            "batch", "start", "--tank", "Q1", "--protocol", str(file), "--arrived", "2026-02-10 09:30",
            "--fish", "4 Centropyge bicolor", "--from", "an importer", "--to", "Show", "--acknowledge", "--yes",
        )  # fmt: skip
        (task,) = [t for t in room.json("today", "--on", "2026-02-13")["tasks"] if t["kind"] == "dose"]
    assert task["dose"]["add"] is None
    assert task["hold"]["rule"] == "C10"
