"""Work that facts ask for (ends of baths, what to put back, checks after readings and incidents) on a sitter's sheet
and in a private calendar (F54, F58), and the conditioner of its water changes (F25)."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from round_room import Room
from test_bath import TEMPLATES, build

from quarantine.actions.sheets import about_medicine
from quarantine.formulary import load_all

POUR, LATER = "2026-02-13 08:00:00", "2026-02-13 12:10:00"
END = "2026-02-14 07:30:00"
BAD = "temp=25C ph=8.4 tan=2mg/L nitrite=1mg/L oxygen=3mg/L salinity=0.1g/L"


@pytest.fixture(scope="session")
def bathed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The fish room of the baths, with carbon and UV off for the dose and no step that puts them back."""
    folder = tmp_path_factory.mktemp("quiet")
    template = folder / "off.toml"
    template.write_text(TEMPLATES["off"](), encoding="utf-8")
    build(folder / "home", str(template))
    return folder / "home"


@pytest.fixture
def room(bathed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Room:
    """A bath of levamisole that runs, readings past their limits, and a heater that failed."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    shutil.copytree(bathed, tmp_path / "home")
    made = Room(tmp_path / "home", capsys, monkeypatch)
    code = next(t["code"] for t in listed(made, POUR) if t["kind"] == "dose")
    made.run("bath", "start", code, "--as-shown", "--ready", "60 L", at=POUR, keeper="Robin")
    made.run("reading", "Q1", *BAD.split(), at="2026-02-13 12:00:00", keeper="Robin")
    made.run("event", "incident", "Q1", "--what", "heater", at="2026-02-13 12:05:00", keeper="Robin")
    return made


def listed(room: Room, at: str = LATER) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(room.run("today", "--json", at=at))["tasks"]
    return found


def ended(room: Room) -> None:
    """End the bath, so that carbon and UV have to be put back."""
    code = next(t["code"] for t in listed(room, END) if t["step"] == "bath.end")
    room.run("bath", "end", code, "--out", "49 L", at=END, keeper="Robin")


def one_line(text: str) -> str:
    return " ".join(text.split())


def names() -> set[str]:
    return {name.casefold() for s in load_all() for name in (s.name, s.id, *s.also)} - {"salt"}


def test_F25_a_change_whose_litres_are_judged_later_has_its_conditioner_by_the_litre(room: Room) -> None:
    """The end of a bath, and the changes that ammonia and nitrite ask for: 0.85 mg/L x 7.0006 is 5.951 mg, up to
    5.96 mg a litre; without a reading of the tap water no amount, but what to read."""
    changes = [t for t in listed(room) if t["kind"] == "change"]
    assert {t["step"] for t in changes} == {"bath.end", "followup.ammonia-change", "followup.nitrite-change"}
    for task in changes:
        assert task["conditioner"]["new_litres"] is None
        assert "not on record" in task["conditioner"]["says"]
    room.run("reading", "Q1", "--tap-chlorine", "0.8mg/L", at=LATER, keeper="Robin")
    for task in listed(room):
        if task["kind"] == "change":
            says = "5.96 mg of sodium thiosulfate pentahydrate, counted as pure, for each litre of new water"
            assert task["conditioner"]["says"] == says
            assert f"conditioner for the litres that go in only, {says}" in one_line(
                room.run("why", task["code"], at=LATER)
            )
    shown = one_line(room.run("today", at=LATER))
    assert shown.count("for each litre of new water") == 3
    assert shown.count("quarantine event change Q1 --out LITRES --dry-run") == 3


def test_F54_a_private_calendar_names_no_substance_in_work_that_facts_ask_for(room: Room, tmp_path: Path) -> None:
    """Neither a medicine nor a bath, while it runs and when carbon has to go back; the full calendar names it."""
    for at in (LATER, "2026-02-14 08:00:00"):
        if at != LATER:
            ended(room)
        for words, medicine in ((("--private",), False), ((), True)):
            file = tmp_path / f"tasks{len(words)}.ics"
            room.run("calendar", "write", str(file), *words, at=at, keeper="Robin")
            text = file.read_bytes().replace(b"\r\n ", b"").decode().casefold()
            assert ("levamisole" in text) is medicine
            # The full one also says beside which oxidisers no conditioner may be.
            named = [n for n in names() if re.search(rf"\b{re.escape(n)}\b", text)]
            assert ("levamisole" in named) is bool(named) is medicine
            assert medicine or " bath" not in text


def test_F58_a_sitters_sheet_has_none_of_it_and_moves_no_fish(room: Room) -> None:
    """Neither the end of the bath, nor a judged change, nor conditioner, nor what to put back; and what it forbids, to
    move fish, it does not ask for. The checks of water and fish that anyone may do are there."""
    for at in (LATER, "2026-02-14 08:00:00"):
        if at != LATER:
            ended(room)
        room.run("reading", "Q1", "--tap-chlorine", "0.8mg/L", at=at, keeper="Robin")
        sitter = room.run("sheet", "--sitter", at=at)
        work = re.sub(r"(?m)^  Sources: [^\n]*(?:\n    [^\n]*)*", "", sitter)
        assert not about_medicine(work)
        assert "thiosulfate" not in sitter
        assert "conditioner" not in sitter.casefold()
        assert "Move the fish" not in sitter
        assert "Put back" not in sitter
        assert "Test again: ammonia" in sitter
    everything = room.run("sheet", at="2026-02-14 08:00:00")
    assert "Put back after the levamisole" in everything
    assert "thiosulfate" in everything
    assert "Move the fish in" in everything


def test_a_sitter_is_told_how_much_of_that_day_is_the_keepers(room: Room) -> None:
    """Work that waits and work of earlier days is no part of the number."""
    at = "2026-02-16 08:00:00"
    document = json.loads(room.run("sheet", "--sitter", "--json", at=at))
    open_ = [t for t in listed(room, at) if t["section"] not in ("missed", "waiting")]
    shown = {task["code"] for part in document["parts"] for task in part["tasks"]}
    assert sorted(document["kept_back"]) == sorted(t["code"] for t in open_ if t["code"] not in shown)
    assert len(document["kept_back"]) < len(listed(room, at)) - len(shown)


def test_an_incident_that_is_not_over_heads_the_keepers_sheet(room: Room) -> None:
    """As it heads today's list; a sitter's sheet has the signs and whom to call instead."""
    alert = "Q1: INCIDENT since 2026-02-13 13:05: heater failure. When it is over: quarantine event incident-over Q1"
    text = one_line(room.run("sheet", at=LATER))
    assert alert in text
    assert text.index(alert) < text.index("STOP AND CALL")
    assert "INCIDENT" not in room.run("sheet", "--sitter", at=LATER)
