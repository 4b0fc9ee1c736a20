"""A stranger at the keyboard: wrong input is answered by one plain sentence, and the record stays as it was."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from freezegun import freeze_time

from quarantine.cli import app

NOW = "2026-11-28 14:30:00"
"""09:30 in New York on day 3, when the first dose of the shipped marine course may be given."""

TANK = ["tank", "add", "X", "--site", "Hall", "--role", "quarantine", "--water", "fresh", "--shape", "box"]
BOX = [*TANK, "--width", "12 in", "--filled", "14 in"]
FISH = ["--from", "a breeder", "--to", "Show", "--acknowledge"]
RAINBOWS = ["--fish", "12 Melanotaenia praecox", *FISH]
START = ["batch", "start", "--tank", "Q1", "--protocol", "fresh-watch"]


def dump(home: Path) -> str:
    """The whole record as text, to be compared before and after."""
    connection = sqlite3.connect(home / "record.db")
    try:
        return "\n".join(connection.iterdump())
    finally:
        connection.close()


def at(moment: str, home: Path, *args: str) -> int:
    """One command at a fixed instant (UTC)."""
    with freeze_time(moment):
        return app.run(["--home", str(home), *args])


@pytest.fixture(scope="module")
def fishroom(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two keepers, three tanks in inches, and one medicated batch looked at for three days."""
    home = tmp_path_factory.mktemp("fishroom") / "home"
    box = ["--site", "Hall", "--shape", "box", "--width", "12 in", "--height", "16 in", "--filled", "14 in"]
    lines = [
        ["keeper", "add", "Sam"],
        ["site", "add", "Hall", "--zone", "America/New_York"],
        ["tank", "add", "Q1", "--role", "quarantine", "--water", "fresh", "--length", "24 in", *box],
        ["tank", "add", "Q2", "--role", "quarantine", "--water", "marine", "--length", "30 in", *box],
        ["tank", "add", "Reef", "--role", "display", "--water", "marine", "--length", "60 in", *box],
        ["tank", "add", "Show", "--role", "display", "--water", "fresh", "--length", "60 in", *box],
        [
            "batch",
            "start",
            "--tank",
            "Q2",
            "--protocol",
            "marine-praziquantel",
            "--to",
            "Reef",
            "--acknowledge",
            "--yes",
            "--from",
            "breeder",
            "--arrived",
            "2026-11-25 07:00",
            "--fish",
            "6 Chromis viridis",
        ],
    ]
    assert at("2026-11-25 13:00:00", home, "keeper", "add", "Robin") == 0
    for line in lines:
        assert at("2026-11-25 13:00:00", home, "--as", "Robin", *line) == 0
    water = ["temp=25C", "ph=8.1", "tan=0mg/L", "nitrite=0mg/L", "oxygen=7mg/L", "salinity=34g/L"]
    for day in (25, 26, 27, 28):
        look = ["look", "Q2 6 3", "--no-signs"]
        assert at(f"2026-11-{day} 14:00:00", home, "--as", "Robin", *look) == 0
        assert at(f"2026-11-{day} 14:10:00", home, "--as", "Robin", "reading", "Q2", *water) == 0
    return home


@pytest.fixture
def home(fishroom: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Path:
    """A copy of that fish room, and an environment that says nothing."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    copy = tmp_path / "home"
    shutil.copytree(fishroom, copy)
    capsys.readouterr()
    return copy


def dose_code(home: Path, capsys: pytest.CaptureFixture[str]) -> str:
    """The code of the dose that is due."""
    assert at(NOW, home, "today", "--json") == 0
    tasks = json.loads(capsys.readouterr().out)["tasks"]
    return next(task["code"] for task in tasks if task["kind"] == "dose")


WRONG: list[tuple[str, list[str], int, list[str]]] = [
    ("bare-length", [*BOX, "--length", "24"], 1, ["--length '24' has no unit", "60 cm"]),
    ("gallon-label", [*BOX, "--length", "24 in", "--label", "20 gal"], 1, ["US gallon", "imperial", "20 %"]),
    ("below-zero-length", [*BOX, "--length", "-24 in"], 1, ["below zero"]),
    ("zero-length", [*BOX, "--length", "0 in"], 1, ["above zero"]),
    ("exponent", [*BOX, "--length", "1e9 in"], 1, ["exponent"]),
    ("not-a-number", [*BOX, "--length", "nan in"], 1, ["does not begin with a number"]),
    ("mass-for-length", [*BOX, "--length", "24 g"], 1, ["--length", "24 g"]),
    ("rocks-over-water", [*BOX, "--length", "24 in", "--rocks", "500 kg"], 1, ["more room than the water"]),
    ("fuller-than-high", [*BOX, "--length", "24 in", "--height", "10 in"], 1, ["35.56 cm", "25.4 cm"]),
    ("wrong-side", [*TANK, "--diameter", "24 in", "--filled", "1 in"], 2, ["--diameter does not belong to a box"]),
    ("unknown-shape", [w if w != "box" else "cone" for w in BOX], 1, ["no tank shape 'cone'", "cylinder"]),
    ("unknown-role", [w if w != "quarantine" else "bucket" for w in BOX], 2, ["--role is one of", "'bucket'"]),
    ("unknown-water", [w if w != "fresh" else "salty" for w in BOX], 2, ["--water is one of", "'salty'"]),
    (
        "unknown-site",
        [w if w != "Hall" else "Hal" for w in BOX] + ["--length", "1 m"],
        1,
        ["no site 'Hal'", "Did you mean 'Hall'?"],
    ),
    ("empty-tank-name", [w if w != "X" else "" for w in BOX] + ["--length", "1 m"], 1, ["1 to 60 plain characters"]),
    ("control-tank-name", [w if w != "X" else "a\x1b[31m\nb" for w in BOX] + ["--length", "1 m"], 1, ["plain char"]),
    ("tank-twice", [w if w != "X" else "Q1" for w in BOX] + ["--length", "1 m"], 1, ["a tank 'Q1' already"]),
    ("unknown-tank", ["tank", "show", "Q9"], 1, ["no tank 'Q9'", "Q1, Q2, Reef, Show"]),
    ("bare-measure", ["tank", "measure", "Q2", "20", "--by", "buckets"], 1, ["has no unit"]),
    ("gallon-measure", ["tank", "measure", "Q2", "20 gal", "--by", "buckets"], 1, ["USgal", "impgal"]),
    ("measure-how-sure", ["tank", "measure", "Q2", "75 L", "--by", "buckets"], 2, ["--plus-minus"]),
    ("measure-how", ["tank", "measure", "Q2", "75 L", "--by", "", "--plus-minus", "1 L"], 2, ["--by"]),
    (
        "measure-unsure",
        ["tank", "measure", "Q2", "75L", "--by", "meter", "--plus-minus", "200%"],
        1,
        ["the volume is the larger"],
    ),
    ("rename-onto", ["tank", "rename", "Q2", "Reef"], 1, ["a tank 'Reef' already"]),
    ("rename-empty", ["tank", "rename", "Q2", ""], 1, ["1 to 60 plain characters"]),
    ("zone", ["site", "add", "Barn", "--zone", "Berlin"], 1, ["not a time zone", "Europe/Berlin"]),
    ("zone-path", ["site", "add", "Barn", "--zone", "../../etc/passwd"], 1, ["not a time zone"]),
    ("site-empty", ["site", "add", "", "--zone", "UTC"], 1, ["1 to 60 plain characters"]),
    ("keeper-bell", ["keeper", "add", "\x07"], 1, ["1 to 60 plain characters"]),
    ("keeper-twice", ["keeper", "add", "Sam"], 1, ["a keeper 'Sam' already"]),
    (
        "unknown-protocol",
        ["batch", "start", "--tank", "Q1", "--protocol", "fresh-wach", "--arrived", "09:00", *RAINBOWS],
        1,
        ["no protocol 'fresh-wach'", "Did you mean 'fresh-watch'?"],
    ),
    (
        "wrong-water",
        ["batch", "start", "--tank", "Q1", "--protocol", "marine-watch", "--arrived", "09:00", *RAINBOWS],
        1,
        ["for marine water", "Q1 is fresh"],
    ),
    (
        "display-tank",
        ["batch", "start", "--tank", "Reef", "--protocol", "marine-watch", "--arrived", "09:00", *RAINBOWS],
        1,
        ["Reef is a display tank"],
    ),
    (
        "second-course",
        ["batch", "start", "--tank", "Q2", "--protocol", "marine-watch", "--arrived", "09:00", "--yes", *RAINBOWS],
        1,
        ["Q2-1", "rule B2"],
    ),
    ("arrives-tomorrow", [*START, "--arrived", "2026-11-29 09:00", *RAINBOWS], 1, ["lies in the future"]),
    ("arrival-unread", [*START, "--arrived", "28/11/2026 09:00", *RAINBOWS], 1, ["YYYY-MM-DD HH:MM"]),
    ("fish-uncounted", [*START, "--arrived", "09:00", "--fish", "Rainbows", *FISH], 2, ["write a count and a name"]),
    ("fish-below-zero", [*START, "--arrived", "09:00", "--fish", "-3 Rainbows", *FISH], 2, ["write a count"]),
    ("fish-none", [*START, "--arrived", "09:00", "--fish", "0 Rainbows", *FISH], 2, ["write a count"]),
    ("fish-huge", [*START, "--arrived", "09:00", "--fish", "9" * 20 + " Rainbows", *FISH], 2, ["write a count"]),
    ("to-itself", [*START, "--arrived", "09:00", *RAINBOWS, "--to", "Q1"], 1, ["the tank they are in"]),
    ("to-nowhere", [*START, "--arrived", "09:00", *RAINBOWS, "--to", "Attic"], 1, ["no tank 'Attic'"]),
    ("doa-below-zero", [*START, "--arrived", "09:00", *RAINBOWS, "--dead-on-arrival", "-2"], 2, ["0 or more"]),
    ("look-tank", ["look", "Q9 6 3", "--no-signs"], 1, ["no tank 'Q9'"]),
    ("look-one-of-two", ["look", "Q2 6 3, Q9 6 3", "--no-signs"], 1, ["no tank 'Q9'"]),
    ("look-below-zero", ["look", "Q2 -1 3", "--no-signs"], 2, ["'-1' is not a count"]),
    ("look-huge", ["look", "Q2 " + "9" * 20 + " 3", "--no-signs"], 2, ["is not a count"]),
    ("look-appetite", ["look", "Q2 6 4", "--no-signs"], 2, ["3 all at once", "not '4'"]),
    ("look-empty", ["look", ""], 2, ["names the tank and how many"]),
    ("look-sign", ["look", "Q2 6 3", "--sign", "itching"], 1, ["no sign 'itching'", "flashing"]),
    ("look-both", ["look", "Q2 6 3", "--sign", "flashing", "--no-signs"], 2, ["not both"]),
    ("look-dead", ["look", "Q2 6 3", "--dead", "-1"], 2, ["--dead", "-1"]),
    ("look-dead-of-two", ["look", "Q1 0 0, Q2 6 3", "--dead", "1"], 2, ["belong to one tank"]),
    ("look-tomorrow", ["look", "Q2 6 3", "--at", "2026-11-29 10:00"], 1, ["lies in the future"]),
    ("reading-bare", ["reading", "Q2", "temp=25"], 1, ["has no unit"]),
    ("reading-bare-tan", ["reading", "Q2", "temp=25C", "tan=0"], 1, ["total ammonia nitrogen '0' has no unit"]),
    ("reading-hot", ["reading", "Q2", "temp=300C"], 1, ["hard to believe", "0 to 45"]),
    ("reading-ph", ["reading", "Q2", "ph=78"], 1, ["hard to believe", "3 to 11"]),
    ("reading-unknown", ["reading", "Q2", "foo=1mg/L"], 1, ["no reading 'foo'", "nitrite"]),
    ("reading-empty", ["reading", "Q2", "temp"], 1, ["is empty"]),
    ("reading-below-zero", ["reading", "Q2", "tan=-1mg/L"], 1, ["below zero"]),
    ("reading-ppt", ["reading", "Q2", "salinity=35ppt"], 1, ["more than one way", "g/L"]),
    ("reading-gravity", ["reading", "Q2", "salinity=1.025"], 1, ["has no unit"]),
    ("change-bare", ["event", "change", "Q2", "--out", "30"], 1, ["--out '30' has no unit"]),
    ("change-gallon", ["event", "change", "Q2", "--out", "8 gal"], 1, ["US gallon", "imperial gallon"]),
    ("change-tank", ["event", "change", "Q9", "--out", "8 L"], 1, ["no tank 'Q9'"]),
    ("died-none", ["event", "died", "Q2", "0"], 2, ["'0' is not a count of fish"]),
    ("died-below-zero", ["event", "died", "Q2", "-1"], 2, ["-1"]),
    ("died-half", ["event", "died", "Q2", "1.5"], 2, ["1.5"]),
    ("died-empty-tank", ["event", "died", "Q1", "1"], 1, ["no open batch in Q1"]),
    ("dose-regimen", ["event", "dose", "Q2", "Z99", "--gave", "0.1g", "--really"], 1, ["no regimen 'Z99'"]),
    ("dose-not-really", ["event", "dose", "Q2", "Z01", "--gave", "0.1g"], 1, ["really put into Q2", "--really"]),
    ("unknown-substance", ["dose", "nettle", "--tank", "Q2"], 1, ["no substance 'nettle'", "praziquantel"]),
    ("which-regimen", ["dose", "praziquantel", "--tank", "Q2"], 1, ["2 ready regimens", "--regimen", "Z01"]),
    ("formulary", ["formulary", "show", "nettle"], 1, ["no substance 'nettle'"]),
    ("why", ["why", "ZZZZZ"], 1, ["no task 'ZZZZZ'"]),
    ("done-unknown", ["done", "ZZZZZ"], 1, ["no task 'ZZZZZ'"]),
    ("batch", ["batch", "show", "Q7-1"], 1, ["no batch 'Q7-1'", "Q2-1"]),
    ("signoff-unknown", ["signoff", "Q7-1"], 1, ["no batch 'Q7-1'"]),
    ("signoff-blank", ["signoff", "Q2-1", "--release", "--deviation", " "], 2, ["--deviation REASON"]),
    ("signoff-two-ways", ["signoff", "Q2-1", "--release", "--reject"], 2, ["Say one of --release"]),
    ("signoff-bare-days", ["signoff", "Q2-1", "--extend", "7"], 2, ["7 d"]),
    ("signoff-fewer-days", ["signoff", "Q2-1", "--extend", "-7 d"], 2, ["does not read"]),
    ("signoff-alive", ["signoff", "Q2-1", "--died-out"], 1, ["6 fish of Q2-1 are alive"]),
    ("today-day", ["today", "--on", "yesterday"], 2, ["'yesterday' is not a day", "YYYY-MM-DD"]),
    ("today-tank", ["today", "--tank", "Q9"], 1, ["no tank 'Q9'"]),
    ("today-dry", ["today", "--dry-run"], 2, ["this one writes nothing"]),
    ("seal", ["check", "--against", "abcdef12"], 1, ["The seal abcdef12 was not found in this record"]),
    ("no-command", ["nosuch"], 2, ["no command 'nosuch'", "today"]),
    ("no-option", ["today", "--foo"], 2, ["--foo", "today --help"]),
    ("calendar-folder", ["calendar", "write", "nosuch/x.ics"], 1, ["no folder nosuch"]),
    ("calendar-onto-folder", ["calendar", "write", "."], 1, ["is a folder"]),
    ("calendar-batch", ["calendar", "write", "x.ics", "--batch", "Q7-1"], 1, ["no batch 'Q7-1'"]),
    ("calendar-unread", ["calendar", "check", "nosuch.ics"], 1, ["nosuch.ics cannot be read"]),
    ("protocol-unread", ["protocol", "check", "nosuch.toml"], 1, ["nosuch.toml cannot be read"]),
]


@pytest.mark.parametrize(("args", "code", "words"), [w[1:] for w in WRONG], ids=[w[0] for w in WRONG])
def test_wrong_input_is_one_sentence_on_stderr_and_changes_nothing(
    args: list[str],
    code: int,
    words: list[str],
    home: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Wrong input is refused in one line on stderr that says what was wrong, and neither record nor folder changes."""
    monkeypatch.chdir(tmp_path)
    before, files = dump(home), sorted(tmp_path.iterdir())
    assert at(NOW, home, "--as", "Robin", *args) == code
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert said.err.rstrip()[-1] in ".?!)" or " --help" in said.err
    for word in words:
        assert word in said.err
    assert dump(home) == before
    assert sorted(tmp_path.iterdir()) == files


@pytest.mark.parametrize(("args", "code", "words"), [w[1:] for w in WRONG[::6]], ids=[w[0] for w in WRONG[::6]])
def test_a_refusal_with_json_is_a_document_and_a_sentence(
    args: list[str], code: int, words: list[str], home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With --json a refusal is a document on stdout and the same sentence on stderr, with the same exit code."""
    assert at(NOW, home, "--as", "Robin", "--json", *args) == code
    said = capsys.readouterr()
    error = json.loads(said.out)["error"]
    assert error["message"] == said.err.rstrip("\n")
    assert (error["kind"] == "usage") == (code == 2)
    for word in words:
        assert word in error["message"]


AMOUNTS = [
    ([], "--gave AMOUNT, or --as-shown"),
    (["--gave", "0.16"], "has no unit"),
    (["--gave", "0.16 L"], "a mass is needed"),
    (["--gave", "-1 g"], "below zero"),
    (["--gave", "0 g"], "more than nothing"),
    (["--gave", "1.6 g"], "10 times the 0.16 g"),
    (["--gave", "16 g"], "100 times the 0.16 g"),
    (["--gave", "0.016 g"], "0.1 times the 0.16 g"),
    (["--gave", "0.16 g", "--as-shown"], "not both"),
    (["--as-shown", "--at", "2026-11-28 20:00"], "lies in the future"),
    (["--as-shown", "--at", "2026-11-20 20:00"], "before batch Q2-1 arrived"),
]


@pytest.mark.parametrize(("how", "word"), AMOUNTS)
def test_a_dose_with_a_doubtful_amount_or_time_is_not_recorded(
    how: list[str], word: str, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A dose without an amount, with a wrong one, or at an impossible time is refused and not recorded."""
    code, before = dose_code(home, capsys), dump(home)
    assert at(NOW, home, "--as", "Robin", "done", code, *how) in (1, 2)
    said = capsys.readouterr()
    assert word in said.err
    assert said.out == ""
    assert dump(home) == before


def test_a_second_keeper_is_told_who_gave_the_dose_and_when(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A second tick of a dose names the first keeper and the local time, and records nothing."""
    code = dose_code(home, capsys)
    assert at(NOW, home, "--as", "Robin", "done", code, "--as-shown") == 0
    assert "0.16 g of praziquantel given to Q2" in capsys.readouterr().out
    before = dump(home)
    for line in (["done", code, "--as-shown"], ["done", code, "--gave", "0.16 g", "--really"]):
        assert at("2026-11-28 15:00:00", home, "--as", "Sam", *line) == 1
        assert "was done by Robin, 2026-11-28 09:30" in capsys.readouterr().err
    assert at("2026-11-28 15:00:00", home, "--as", "Sam", "skip", code, "--because", "late") == 1
    assert "was done by Robin" in capsys.readouterr().err
    assert dump(home) == before


def test_C18_a_dose_is_never_ticked_in_bulk(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A dose beside another task on one line is refused, and neither is ticked (rule C18)."""
    code = dose_code(home, capsys)
    assert at(NOW, home, "today", "--json") == 0
    other = next(t["code"] for t in json.loads(capsys.readouterr().out)["tasks"] if t["kind"] == "chore")
    before = dump(home)
    assert at(NOW, home, "--as", "Robin", "done", code, other, "--as-shown") == 1
    assert "never in bulk" in capsys.readouterr().err
    assert dump(home) == before


def test_a_skip_without_a_reason_is_refused(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A skipped dose needs its reason; an empty one is none."""
    code, before = dose_code(home, capsys), dump(home)
    assert at(NOW, home, "--as", "Robin", "skip", code, "--because", "") == 2
    assert "--because REASON" in capsys.readouterr().err
    assert dump(home) == before


def test_an_unknown_or_unnamed_keeper_writes_nothing(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With several keepers a write asks who acts; an unknown name is refused with the known ones."""
    before = dump(home)
    assert at(NOW, home, "look", "Q2 6 3", "--no-signs") == 1
    assert "say --as NAME (Robin, Sam)" in capsys.readouterr().err
    assert at(NOW, home, "--as", "Nobody", "look", "Q2 6 3", "--no-signs") == 1
    assert "no keeper 'Nobody'; known: Robin, Sam" in capsys.readouterr().err
    assert dump(home) == before


def test_a_medicated_protocol_asks_each_keeper_to_read_its_cautions(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A keeper who has not acknowledged a medicated protocol is shown its cautions and starts nothing (rule C19)."""
    tank = [{"X": "Q4", "fresh": "marine"}.get(word, word) for word in BOX]
    assert at(NOW, home, "--as", "Robin", *tank, "--length", "24 in") == 0
    capsys.readouterr()
    before = dump(home)
    line = ["batch", "start", "--tank", "Q4", "--protocol", "marine-praziquantel", "--arrived", "09:00"]
    fish = ["--fish", "2 Amphiprion ocellaris", "--from", "a shop", "--to", "Reef"]
    assert at(NOW, home, "--as", "Sam", *line, *fish) == 1
    said = capsys.readouterr()
    assert "--acknowledge" in said.err
    assert "veterinarian" in said.out + said.err
    assert dump(home) == before


def test_a_batch_of_last_month_counts_no_day_that_nobody_looked(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A batch that arrived a month ago is taken late, and says that unlooked days do not count."""
    assert at(NOW, home, "--as", "Robin", *START, "--arrived", "2026-10-28 10:00", *RAINBOWS) == 0
    said = capsys.readouterr().out
    assert "day 0 is 2026-10-28" in said
    assert "Days that nobody looked do not count" in said
    assert at(NOW, home, "--as", "Robin", "signoff", "Q1-1", "--release") == 1
    assert "clear 0 of 14" in capsys.readouterr().err


DRY = [
    ["keeper", "add", "Kim"],
    ["site", "add", "Barn", "--zone", "UTC"],
    [*BOX, "--length", "24 in"],
    ["tank", "measure", "Q2", "20 USgal", "--by", "counted buckets", "--plus-minus", "2 %"],
    ["tank", "rename", "Q2", "Q2 left"],
    [*START, "--arrived", "09:00", *RAINBOWS],
    ["look", "Q2 6 3", "--no-signs"],
    ["reading", "Q2", "temp=78F"],
    ["event", "change", "Q2", "--out", "5 USgal"],
    ["event", "topup", "Q2", "2 L"],
    ["event", "evaporation", "Q2", "2 L"],
    ["event", "dose", "Q2", "Z01", "--gave", "0.16 g", "--really"],
    ["event", "removal", "Q2", "--by", "fresh carbon"],
    ["event", "unknown", "Q2", "--what", "old tank water"],
    ["event", "added", "Q2", "2", "--yes"],
    ["event", "died", "Q2", "1"],
    ["event", "missing", "Q2", "1", "--because", "jumped"],
    ["event", "disturbance", "Q2", "--what", "shared net", "--yes"],
    ["signoff", "Q2-1", "--release", "--deviation", "trial"],
    ["signoff", "Q2-1", "--extend", "7 d"],
    ["signoff", "Q2-1", "--reject"],
    ["calendar", "write", "x.ics"],
]


@pytest.mark.parametrize("args", DRY, ids=[" ".join(a[:3]) for a in DRY])
def test_a_dry_run_writes_nothing(
    args: list[str],
    home: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Every writing command can be run dry: it answers as it would, says so, and the record is unchanged."""
    monkeypatch.chdir(tmp_path)
    before, files = dump(home), sorted(tmp_path.iterdir())
    assert at(NOW, home, "--as", "Robin", "--dry-run", *args) == 0
    assert capsys.readouterr().out.endswith("Dry run: nothing was written.\n")
    assert at(NOW, home, "--as", "Robin", "--dry-run", "--json", *args) == 0
    assert json.loads(capsys.readouterr().out)["dry_run"] is True
    assert dump(home) == before
    assert sorted(tmp_path.iterdir()) == files


READS = [
    ["today"],
    ["batch", "list"],
    ["batch", "show", "Q2-1"],
    ["signoff", "Q2-1"],
    ["tank", "list"],
    ["tank", "show", "Q2"],
    ["site", "list"],
    ["keeper", "list"],
    ["dose", "praziquantel", "--tank", "Q2", "--regimen", "Z01"],
    ["protocol", "list"],
    ["protocol", "show", "marine-praziquantel"],
    ["protocol", "preview", "marine-watch", "--tank", "Q2", "--arrived", "2026-11-28 09:00"],
    ["formulary", "list"],
    ["formulary", "show", "praziquantel"],
    ["check"],
    ["where"],
]


@pytest.mark.parametrize("args", READS, ids=[" ".join(a[:3]) for a in READS])
def test_every_read_is_one_json_document_and_writes_nothing(
    args: list[str], home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every read has a --json form, without exponents or a trailing .0, and leaves the record alone."""
    before = dump(home)
    assert at(NOW, home, "--json", *args) == 0
    said = capsys.readouterr()
    numbers: list[str] = []
    assert isinstance(json.loads(said.out, parse_float=lambda text: numbers.append(text)), dict)
    assert [n for n in numbers if n.endswith(".0") or "e" in n.lower()] == []
    assert said.err == ""
    assert dump(home) == before


def test_lines_keep_to_sixty_columns(
    home: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """On a terminal of sixty columns today's list and the working of a dose are folded, not cut."""
    code = dose_code(home, capsys)
    monkeypatch.setenv("COLUMNS", "60")
    for args in (["today"], ["why", code], ["signoff", "Q2-1"]):
        assert at(NOW, home, *args) == 0
        lines = capsys.readouterr().out.splitlines()
        assert [line for line in lines if len(line) > 60] == []


# From here on the process itself matters: its streams, its limits, its pipe.


def process(home: Path, *args: str, limit: int = 0, **environment: str) -> subprocess.CompletedProcess[bytes]:
    """One command in a process of its own; ``limit`` is the largest file it may write, in bytes."""
    words = [sys.executable, "-c", PROCESS, str(limit), "--home", str(home), *args]
    clean = {k: v for k, v in os.environ.items() if not k.startswith(("QUARANTINE", "PYTEST", "COV"))}
    return subprocess.run(words, capture_output=True, env={**clean, **environment}, timeout=60, check=False)


PROCESS = """
import resource, signal, sys
limit = int(sys.argv.pop(1))
if limit:
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
from quarantine.cli.app import run
sys.exit(run(sys.argv[1:]))
"""


def test_a_terminal_without_unicode_reads_plain_letters(home: Path) -> None:
    """Where the terminal speaks ASCII only, the formulary is in plain letters, no "?" for a unit."""
    done = process(home, "formulary", "show", "praziquantel", PYTHONIOENCODING="ascii")
    assert done.returncode == 0
    assert done.stderr == b""
    assert b"deg C" in done.stdout
    assert b"\\x" not in done.stdout
    assert b"?" not in done.stdout


def test_no_colour_codes_are_written(home: Path) -> None:
    """Colour never carries meaning: with NO_COLOR set no escape code is written."""
    done = process(home, "today", NO_COLOR="1")
    assert done.returncode == 0
    assert b"\x1b" not in done.stdout + done.stderr


@pytest.mark.parametrize("args", [["formulary", "show", "praziquantel"], ["tank", "show", "Q9", "--json"]])
def test_a_closed_pipe_is_silent(args: list[str], home: Path) -> None:
    """When the reader of a pipe has gone, the command ends without a traceback."""
    reader, writer = os.pipe()
    os.close(reader)
    words = [sys.executable, "-c", PROCESS, "0", "--home", str(home), *args]
    done = subprocess.run(words, stdout=writer, stderr=subprocess.PIPE, timeout=60, check=False)
    os.close(writer)
    assert done.returncode in (0, 1)
    assert b"Traceback" not in done.stderr
    assert b"BrokenPipe" not in done.stderr


def test_a_full_disk_is_one_sentence_and_nothing_is_written(home: Path) -> None:
    """When the disk takes no more, a write says so in one sentence and the record stays as it was."""
    before = dump(home)
    done = process(home, "--as", "Robin", "site", "add", "Barn", "--zone", "UTC", limit=2048)
    assert done.returncode == 1
    assert done.stdout == b""
    assert done.stderr.startswith(b"The disk is full")
    assert done.stderr.count(b"\n") == 1
    assert dump(home) == before
    assert process(home, "check").returncode == 0


def test_a_full_disk_at_the_first_write_can_be_tried_again(tmp_path: Path) -> None:
    """A record whose making ran out of disk is made by the next try."""
    home = tmp_path / "new"
    assert process(home, "keeper", "add", "Robin", limit=10240).stderr.startswith(b"The disk is full")
    assert process(home, "keeper", "add", "Robin").returncode == 0
    assert process(home, "keeper", "list").stdout == b"Robin\n"


@pytest.mark.parametrize("below", ["", "deeper"])
def test_a_home_under_a_file_is_one_sentence(below: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A home folder that cannot be made is named in one sentence, and the file in its place is left alone."""
    stone = tmp_path / "stone"
    stone.write_text("a file", encoding="utf-8")
    assert at(NOW, stone / below if below else stone, "keeper", "add", "Robin") == 1
    said = capsys.readouterr()
    assert "cannot be made" in said.err
    assert said.err.count("\n") == 1
    assert stone.read_text(encoding="utf-8") == "a file"


def test_a_home_that_is_not_there_is_read_as_empty(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Reading where nothing is on record says how to begin and makes no folder."""
    assert at(NOW, tmp_path / "none", "today") == 0
    assert "Nothing is on record yet" in capsys.readouterr().out
    assert not (tmp_path / "none").exists()


TYPOS = [
    ("^title", "titel", "did you mean 'title'?"),
    ('water = "fresh"', 'water = "frsh"', "fresh, brackish, marine"),
    ('title = "', "title = ", "expected TOML"),
]


@pytest.mark.parametrize(("right", "wrong", "word"), TYPOS, ids=["key", "value", "toml"])
def test_a_typo_in_a_protocol_file_is_named_with_its_line(
    right: str, wrong: str, word: str, home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A mistake in a keeper's own protocol names file, line and what was expected; no batch starts from it."""
    assert at(NOW, home, "where") == 0
    source = Path(__file__).parents[2] / "protocols" / "fresh-watch.toml"
    text = source.read_text(encoding="utf-8")
    right = right.removeprefix("^")
    assert right in text
    mine = tmp_path / "mine.toml"
    mine.write_text(text.replace(right, wrong, 1), encoding="utf-8")
    before = dump(home)
    capsys.readouterr()
    assert at(NOW, home, "protocol", "check", str(mine)) == 1
    said = capsys.readouterr()
    assert said.out == ""
    assert "mine.toml:" in said.err
    assert word in said.err
    line = ["batch", "start", "--tank", "Q1", "--protocol", str(mine), "--arrived", "09:00", *RAINBOWS]
    assert at(NOW, home, "--as", "Robin", *line) == 1
    assert "mine.toml" in capsys.readouterr().err
    assert dump(home) == before


@pytest.mark.parametrize("content", [b"\xff\xfe", b""], ids=["not-text", "empty"])
def test_a_file_that_is_no_protocol_is_refused(
    content: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file of bytes or of nothing is refused by name."""
    mine = tmp_path / "mine.toml"
    mine.write_bytes(content)
    assert at(NOW, tmp_path / "none", "protocol", "check", str(mine)) == 1
    said = capsys.readouterr()
    assert "mine.toml" in said.err
    assert "Traceback" not in said.err
