"""F2, F3, F12, F29, F34, F40 at the command line: what is printed of a template, before and after it is used."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from freezegun import freeze_time

from quarantine.cli.app import run
from quarantine.protocol import Duration, load, shipped
from quarantine.templates import imprint

READY = ["temp=25.5C", "ph=8.1", "tan=0.1mg/L", "nitrite_no2=0.05mg/L", "oxygen=6.5mg/L", "salinity=34g/L"]
ARRIVED = "2026-02-10 09:30"
ZONES = {"Hall": "Europe/Berlin", "Annex": "Pacific/Auckland"}

Say = Callable[..., str]


@pytest.fixture
def say(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Say:
    """Type one command line on a home of its own at an instant (UTC); what it printed."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)

    def typed(moment: str, *words: str, code: int = 0) -> str:
        with freeze_time(moment):
            answer = run(["--home", str(tmp_path / "home"), *words])
        said = capsys.readouterr()
        assert answer == code, said
        return said.out or said.err

    return typed


def asked(say: Say, moment: str, *words: str) -> Any:
    return json.loads(say(moment, *words, "--json"))


def fish_room(say: Say) -> None:
    """Two sites half a day apart, each with a marine quarantine and a display of 54 L."""
    now = "2026-02-09 09:00:00"
    say(now, "keeper", "add", "Robin")
    for site, zone in ZONES.items():
        say(now, "site", "add", site, "--zone", zone)
        for role in ("quarantine", "display"):
            say(
                now, "tank", "add", f"{site} {role}", "--site", site, "--role", role, "--water", "marine",
                "--shape", "box", "--length", "60 cm", "--width", "30 cm", "--filled", "30 cm",
            )  # fmt: skip


def start(say: Say, site: str = "Hall", protocol: str = "marine-praziquantel", moment: str = "2026-02-10 09:00") -> str:
    return say(
        moment, "batch", "start", "--tank", f"{site} quarantine", "--protocol", protocol, "--arrived", ARRIVED,
        "--fish", "4 Centropyge bicolor", "--from", "an importer", "--to", f"{site} display", "--acknowledge", "--yes",
        "--name", f"{site}-1",
    )  # fmt: skip


def care(say: Say, first: int, last: int, site: str = "Hall") -> None:
    """Looks and readings at 17:00 in Berlin from one day of the batch to another."""
    for n in range(first, last + 1):
        moment = f"{date(2026, 2, 10) + timedelta(days=n)} 16:00:00"
        tank = f"{site} quarantine"
        say(moment, "look", f"{tank} 4" + (" 3" if n else ""), "--no-signs")
        say(moment, "reading", tank, *READY)


def code_of(say: Say, moment: str, kind: str) -> str:
    (code,) = [str(t["code"]) for t in asked(say, moment, "today")["tasks"] if t["kind"] == kind and t["day"]]
    return code


# --- F2 --------------------------------------------------------------------------------------------------


def test_F2_version_and_sources_stand_on_every_printout(say: Say) -> None:
    """List, page, check, preview and batch: the revision and its date, and the sources wherever figures are shown."""
    fish_room(say)
    now = "2026-02-10 12:00"
    preview = ("protocol", "preview", "marine-praziquantel", "--tank", "Hall quarantine", "--arrived", ARRIVED)
    header = imprint(shipped()["marine-praziquantel"].read_text(encoding="utf-8"))
    planned = say(now, *preview)
    start(say)
    shown = say(now, "batch", "show", "Hall-1")
    judged = say(now, "signoff", "Hall-1")
    decided = say(now, "signoff", "Hall-1", "--release", "--deviation", "A test", "--dry-run")
    page = say(now, "protocol", "show", "marine-praziquantel")
    assert "marine-praziquantel, revision 1, 2026-11-25: " in say(now, "protocol", "list")
    assert "(marine-praziquantel, revision 1, " in say(now, "protocol", "check", str(shipped()["marine-praziquantel"]))
    assert "marine-praziquantel revision 1" in say(now, "batch", "list")
    assert header.line in planned
    assert header.named_sources in planned
    assert header.line in shown
    for printed in (judged, decided):
        assert header.line in printed
        assert header.named_sources in printed
    assert len(header.sources) > 15
    for source in header.sources:
        assert source in shown
        assert source in page
    for word in (header.author, "reviewed by nobody yet", header.water, header.fish, str(header.date)):
        assert word in page


def test_F2_programs_get_the_header_too(say: Say) -> None:
    """Revision, date, people and sources are keys of the preview and of the batch."""
    fish_room(say)
    now = "2026-02-10 12:00"
    words = ("protocol", "preview", "marine-praziquantel", "--tank", "Hall quarantine", "--arrived", ARRIVED)
    planned = asked(say, now, *words)
    start(say)
    shown = asked(say, now, "batch", "show", "Hall-1")
    for document in (planned, shown):
        assert (document["revision"], document["date"], document["reviewer"]) == (1, "2026-11-25", None)
        assert {"key", "cite", "status"} == set(document["sources"][0])


# --- F3 --------------------------------------------------------------------------------------------------


@pytest.fixture
def shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of templates of its own in the place of those that ship, as a later version would bring it."""
    folder = tmp_path / "package" / "protocols"
    folder.mkdir(parents=True)
    for path in shipped().values():
        shutil.copy(path, folder)
    monkeypatch.setattr("quarantine.templates.__file__", str(tmp_path / "package" / "templates.py"))
    return folder


def edit(file: Path, old: str, new: str) -> None:
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new), encoding="utf-8")


def plan_of(say: Say, moment: str) -> list[tuple[str, str]]:
    return [(t["step"], t["day"]) for t in asked(say, moment, "batch", "show", "Hall-1")["tasks"]]


def test_F3_a_raised_revision_is_said_and_the_plan_stays(say: Say, shelf: Path) -> None:
    """Forty days instead of thirty and revision 2: list and page say that it exists; the batch keeps its own dates,
    after the next entries too, and its own text."""
    fish_room(say)
    start(say)
    before = plan_of(say, "2026-02-10 10:00")
    assert "newer" not in say("2026-02-10 10:00", "batch", "list") + say("2026-02-10 10:00", "batch", "show", "Hall-1")
    edit(shelf / "marine-praziquantel.toml", 'length = "30 d"', 'length = "40 d"')
    edit(shelf / "marine-praziquantel.toml", "revision = 1", "revision = 2")
    says = (
        "a newer version of marine-praziquantel exists: revision 2 (its file has it); "
        "this batch keeps its own copy of revision 1"
    )
    now = "2026-02-10 12:00"
    assert says in say(now, "batch", "list")
    assert says in say(now, "batch", "show", "Hall-1")
    assert asked(say, now, "batch", "show", "Hall-1")["newer"] == {"revision": 2, "says": says}
    assert asked(say, now, "batch", "list")["batches"][0]["newer"]["revision"] == 2
    care(say, 0, 1)
    assert plan_of(say, "2026-02-11 17:00") == before
    shown = say("2026-02-11 17:00", "batch", "show", "Hall-1")
    assert "protocol marine-praziquantel, revision 1," in shown
    assert "30 days from 2026-02-10" in shown
    assert load("marine-praziquantel").periods[0].length == Duration(40, "d")


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('length = "30 d"', 'length = "40 d"', "a text of marine-praziquantel that differs exists, also as revision 1"),
        ("revision = 1", "revision = ", "the file of marine-praziquantel was changed and no longer reads"),
        ("revision = 1\n", "", "the file of marine-praziquantel was changed and no longer reads"),
    ],
    ids=["edited without a number", "broken", "without a revision"],
)
def test_F3_an_edited_file_is_said_and_never_stops_a_list(say: Say, shelf: Path, old: str, new: str, says: str) -> None:
    """A text that differs under the same number, or that no longer reads, is named; the batch goes on."""
    fish_room(say)
    start(say)
    before = plan_of(say, "2026-02-10 10:00")
    edit(shelf / "marine-praziquantel.toml", old, new)
    assert says in say("2026-02-10 12:00", "batch", "list")
    assert says in say("2026-02-10 12:00", "batch", "show", "Hall-1")
    care(say, 0, 0)
    assert plan_of(say, "2026-02-10 17:00") == before


def test_F3_another_batch_with_a_newer_revision_of_a_keepers_own_file_is_said(say: Say, tmp_path: Path) -> None:
    """A file that does not ship is known by the batches: the older one names the batch that has the newer text."""
    fish_room(say)
    own = tmp_path / "mine.toml"
    shutil.copy(shipped()["marine-watch"], own)
    edit(own, 'id = "marine-watch"', 'id = "ours"')
    start(say, protocol=str(own))
    edit(own, "revision = 1", "revision = 3")
    start(say, "Annex", str(own))
    first, second = (say("2026-02-10 12:00", "batch", "show", name) for name in ("Hall-1", "Annex-1"))
    assert "a newer version of ours exists: revision 3 (batch Annex-1 has it)" in first
    assert "newer" not in second


def test_F3_a_downgraded_program_says_nothing_is_newer(say: Say, shelf: Path) -> None:
    """A file with an older revision than the batch's is no newer version."""
    edit(shelf / "marine-watch.toml", "revision = 1", "revision = 5")
    fish_room(say)
    start(say, protocol="marine-watch")
    edit(shelf / "marine-watch.toml", "revision = 5", "revision = 4")
    assert asked(say, "2026-02-10 12:00", "batch", "list")["batches"][0]["newer"] is None


# --- F12 -------------------------------------------------------------------------------------------------


def tree(folder: Path) -> dict[str, tuple[bytes, int]]:
    """Every folder below a folder, and every file with its content and time of change."""
    return {
        str(path.relative_to(folder)): (path.read_bytes(), path.stat().st_mtime_ns) if path.is_file() else (b"", 0)
        for path in sorted(folder.rglob("*"))
    }


@pytest.mark.parametrize("protocol", ["marine-watch", "marine-praziquantel"])
@pytest.mark.parametrize(
    ("shown_at", "started_at"),
    [
        ("2026-02-01 09:00", "2026-02-10 09:00"),
        ("2026-02-10 09:00", "2026-02-10 09:00"),
        ("2026-03-03 09:00", "2026-03-03 09:05"),
    ],
    ids=["nine days ahead", "on arrival", "three weeks late"],
)
def test_F12_a_preview_is_the_later_real_plan_and_leaves_every_file_as_it_was(
    say: Say, tmp_path: Path, protocol: str, shown_at: str, started_at: str
) -> None:
    """All steps, days, needs and the earliest day of the batch that is started later are those that were shown."""
    fish_room(say)
    before = tree(tmp_path)
    words = ("protocol", "preview", protocol, "--tank", "Hall quarantine", "--arrived", ARRIVED)
    shown = asked(say, shown_at, *words)
    printed = say(shown_at, *words)
    assert tree(tmp_path) == before
    start(say, protocol=protocol, moment=started_at)
    real = asked(say, started_at, "batch", "show", "Hall-1")
    key = ("step", "title", "day")
    assert sorted([t[k] for k in key] for t in shown["tasks"]) == sorted([t[k] for k in key] for t in real["tasks"])
    assert shown["earliest"] == real["earliest"]
    assert shown["past_tasks"] == sum(t["state"] == "missed" for t in real["tasks"])
    assert "Nothing is written." in printed
    assert f"Earliest sign-off if all goes well: {real['earliest']}" in printed


def test_F12_the_doses_of_a_preview_are_those_that_are_given_later(say: Say) -> None:
    """Both amounts and their total, shown before the fish came, are what the cards say on the days of the doses."""
    fish_room(say)
    words = ("protocol", "preview", "marine-praziquantel", "--tank", "Hall quarantine", "--arrived", ARRIVED)
    shown = asked(say, "2026-02-01 09:00", *words)
    expected = {t["day"]: t["dose"]["add"] for t in shown["tasks"] if t["kind"] == "dose"}
    start(say)
    given = {}
    for n in range(8):
        care(say, n, n)
        moment = f"{date(2026, 2, 10) + timedelta(days=n)} 16:30"
        for task in asked(say, moment, "today")["tasks"]:
            if task["kind"] == "dose" and task["day"] == moment[:10]:
                given[task["day"]] = task["dose"]["add"]
                say(moment, "done", task["code"], "--as-shown")
    assert given == expected == {"2026-02-13": 0.1, "2026-02-17": 0.1}
    assert shown["totals"] == [{"substance": "praziquantel", "grams": 0.2, "grams_text": "0.2"}]


@pytest.mark.parametrize("made", [False, True], ids=["no folder", "an empty folder"])
def test_F12_a_preview_on_an_empty_home_makes_no_file(say: Say, tmp_path: Path, made: bool) -> None:
    """Nothing is on record, so the tank is unknown; nothing is there afterwards either."""
    if made:
        (tmp_path / "home").mkdir()
    before = tree(tmp_path)
    words = ("protocol", "preview", "marine-watch", "--tank", "Q1", "--arrived", ARRIVED)
    assert "no tank 'Q1'" in say("2026-02-10 09:00", *words, code=1)
    assert tree(tmp_path) == before


def test_F12_what_a_start_would_refuse_a_preview_refuses_or_says(say: Say) -> None:
    """A display tank and the wrong water are refused alike; fish that are in the water are named."""
    fish_room(say)
    now = "2026-02-10 12:00"
    words = ("protocol", "preview", "marine-watch", "--arrived", ARRIVED, "--tank")
    assert "Hall display is a display tank" in say(now, *words, "Hall display", code=1)
    fresh = ("protocol", "preview", "fresh-watch", "--arrived", ARRIVED, "--tank", "Hall quarantine")
    assert "Protocol fresh-watch is for fresh water" in say(now, *fresh, code=1)
    assert asked(say, now, *words, "Hall quarantine")["batches_there"] == []
    start(say)
    assert "In this water already: Hall-1." in say(now, *words, "Hall quarantine")


# --- F29 -------------------------------------------------------------------------------------------------

NUMBERED = re.compile(r"\bday (\d+)\b", re.IGNORECASE)
LONG = "{0:%A} {0.day} {0:%B} {0.year}"


def dates_in(page: str) -> set[date]:
    """Every date that is printed on a page, short or long."""
    found = {date.fromisoformat(text) for text in re.findall(r"\b\d{4}-\d\d-\d\d\b", page)}
    for text in re.findall(r"\b\w+day \d{1,2} \w+ \d{4}\b", page):
        found.add(datetime.strptime(text, "%A %d %B %Y").date())
    return found


PAGES = [
    ("today",),
    ("today", "--on", "2026-02-15"),
    ("batch", "list"),
    ("batch", "show", "Hall-1"),
    ("signoff", "Hall-1"),
    ("protocol", "preview", "marine-praziquantel", "--tank", "Hall quarantine", "--arrived", ARRIVED),
    ("tank", "show", "Hall quarantine"),
    ("check",),
]


@pytest.mark.parametrize("moment", ["2026-02-10 10:00", "2026-02-12 22:59:59", "2026-02-12 23:00", "2026-02-14 12:00"])
def test_F29_the_day_number_is_one_rule_and_stands_beside_its_date(say: Say, moment: str) -> None:
    """Day 0 is the day of arrival at the site, through midnight in Berlin; every page with a number has its date."""
    fish_room(say)
    start(say)
    at = datetime.fromisoformat(moment).replace(tzinfo=ZoneInfo("UTC")).astimezone(ZoneInfo("Europe/Berlin"))
    number = (at.date() - date(2026, 2, 10)).days
    numbered = 0
    for words in PAGES:
        page = say(moment, *words)
        for found in NUMBERED.finditer(page):
            numbered += 1
            day = date(2026, 2, 10) + timedelta(days=int(found[1]))
            assert dates_in(page) & {day, date(2026, 2, 10)}, (words, found[0], page)
    assert numbered >= 3
    assert f"day {number} of 30" in say(moment, "today", "--tank", "Hall quarantine")
    assert LONG.format(at) in say(moment, "today", "--tank", "Hall quarantine")
    assert asked(say, moment, "batch", "list")["batches"][0]["day"] == number
    assert f"day {number} of 30, counted from 2026-02-10" in say(moment, "signoff", "Hall-1")


def test_F29_a_batch_that_is_closed_stops_counting(say: Say) -> None:
    """Rejected on day 2: a month later it is still day 2 of that batch."""
    fish_room(say)
    start(say)
    say("2026-02-12 12:00", "signoff", "Hall-1", "--reject")
    assert asked(say, "2026-03-12 12:00", "batch", "show", "Hall-1")["day"] == 2


def test_F29_a_site_where_it_is_another_day_says_so_in_its_line(say: Say) -> None:
    """At noon UTC it is 10 February in Berlin and the 11th in Auckland: a day number stands beside its own date."""
    fish_room(say)
    start(say, "Hall")
    start(say, "Annex")
    page = say("2026-02-10 12:00", "today")
    headed, lines = page.splitlines()[0], page.splitlines()
    (hall,), (annex,) = ([x for x in lines if x.startswith(f"{site} quarantine, ")] for site in ZONES)
    own = {"Hall": (hall, 0, "Tuesday 10 February"), "Annex": (annex, 1, "Wednesday 11 February")}
    for line, number, day in own.values():
        assert f"day {number} of 30" in line
        assert headed.startswith(day) or f"{day} there" in line
    assert sum("there" in line for line in (hall, annex)) == 1


# --- F34 -------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def demonstration(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("why") / "room"
    with pytest.MonkeyPatch.context() as patch:
        patch.delenv("COLUMNS", raising=False)
        assert run(["demo", "--home", str(home)]) == 0
    return home


def test_F34_why_explains_every_task_of_the_demonstration(
    demonstration: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """For each of its tasks: date and length give the day, a later run names the event its first one hung on, and
    the source of the rule stands below."""

    monkeypatch.delenv("COLUMNS", raising=False)

    def said(*words: str) -> str:
        assert run(["--home", str(demonstration), *words]) == 0
        return capsys.readouterr().out

    capsys.readouterr()
    codes = [
        (batch["batch"], task)
        for batch in json.loads(said("batch", "list", "--json"))["batches"]
        for task in json.loads(said("batch", "show", batch["batch"], "--json"))["tasks"]
    ]
    assert len(codes) > 200
    steps = set()
    for batch, task in codes:
        page = said("why", task["code"])
        assert f"batch {batch}" in page
        if task["step"].startswith("followup.idle"):  # the care of a tank that the release left empty
            assert re.search(r"because: no fish in this water since 2026-.*?\n  Source: \S+", page, re.DOTALL), page
            continue
        found = re.search(r"day: (\S+), because: (\d+) d after .+? on (\d{4}-\d\d-\d\d)(?:; the first: (.+))?\n", page)
        assert found, page
        day = date.fromisoformat(found[1])
        assert date.fromisoformat(found[3]) + timedelta(days=int(found[2])) == day, page
        assert day.isoformat() == task["day"]
        root = found[4] or f"{found[2]} d after"
        assert re.match(r"\d+ d after", root), page
        if found[4]:
            assert re.search(r"the (fish arrived|last '[\w-]+') on 2026-", root), page
        assert re.search(r"\n  Source: \S+", page), page
        steps.add((batch, task["step"]))
    assert len(steps) > 15


# --- F40 -------------------------------------------------------------------------------------------------


def section_of(say: Say, moment: str, code: str) -> str:
    (task,) = [t for t in asked(say, moment, "today")["tasks"] if t["code"] == code]
    return str(task["section"])


def test_F40_the_list_says_later_due_and_overdue_at_each_edge_of_a_dose(say: Say) -> None:
    """08:00 to 20:00 in Berlin, a template that shifts: later before, due to the last second, then overdue and never
    missed; the second dose moves away day by day."""
    fish_room(say)
    start(say)
    care(say, 0, 2)
    code = code_of(say, "2026-02-13 06:00", "dose")
    assert section_of(say, "2026-02-13 06:59:59", code) == "later"
    assert section_of(say, "2026-02-13 07:00:00", code) == "due"
    assert section_of(say, "2026-02-13 19:00:00", code) == "due"
    assert section_of(say, "2026-02-13 19:00:01", code) == "overdue"
    assert section_of(say, "2026-02-20 19:00:01", code) == "overdue"


def test_F40_the_list_says_missed_as_the_day_is_over_at_the_site(say: Say) -> None:
    """The look of day 0 is due to the last second of that day in Berlin, and missed at midnight."""
    fish_room(say)
    start(say)
    look = next(t for t in asked(say, "2026-02-10 10:00", "batch", "show", "Hall-1")["tasks"] if t["step"] == "look")
    assert section_of(say, "2026-02-10 22:59:59", look["code"]) == "due"
    assert section_of(say, "2026-02-10 23:00:00", look["code"]) == "missed"


@pytest.mark.parametrize(
    ("given", "timing", "shown"),
    [
        ("2026-02-13 07:59", "early", "done early "),
        ("2026-02-13 08:00", "on time", "done       "),
        ("2026-02-13 20:00", "on time", "done       "),
        ("2026-02-13 20:01", "late", "done late  "),
    ],
)
def test_F40_a_task_that_was_done_says_early_on_time_or_late(say: Say, given: str, timing: str, shown: str) -> None:
    """By when it was given, not by when it was entered."""
    fish_room(say)
    start(say)
    care(say, 0, 3)
    code = code_of(say, "2026-02-13 17:00", "dose")
    answer = say("2026-02-13 21:00", "done", code, "--gave", "0.1 g", "--really", "--at", given)
    assert (f", {given}, {timing} (entered late)." in answer) == (timing != "on time")
    (task,) = [t for t in asked(say, "2026-02-13 22:00", "batch", "show", "Hall-1")["tasks"] if t["code"] == code]
    assert (task["state"], task["timing"]) == ("done", timing)
    assert f"{code} {shown}" in say("2026-02-13 22:00", "batch", "show", "Hall-1")
