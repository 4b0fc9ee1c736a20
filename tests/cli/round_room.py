"""A small fish room for the round and the returned sheet: two batches on day 3, two keepers, typed lines."""

from __future__ import annotations

import io
import json
import shutil
import sqlite3
import sys
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time

from quarantine.cli import app

NOW = "2026-02-13 16:30:00"
"""17:30 in Berlin on day 3, when the first dose of the shipped marine course may be given."""

FRESH = "temp=25C ph=7.8 tan=0.1mg/L nitrite_no2=0.05mg/L"
MARINE = "temp=25.5C ph=8.1 tan=0.1mg/L nitrite_no2=0.05mg/L oxygen=6.5mg/L"


class Room:
    """A record of its own, and what its commands say."""

    def __init__(self, home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
        self.home = home
        self._capsys = capsys
        self._monkeypatch = monkeypatch

    def run(self, *words: str, typed: str | None = "", at: str = NOW, code: int = 0, keeper: str = "Robin") -> str:
        """One command with typed lines (None: no input at all); what it said on both streams."""
        self._monkeypatch.setattr(sys, "stdin", None if typed is None else io.StringIO(typed))
        self._capsys.readouterr()
        with freeze_time(at):
            got = app.run(["--home", str(self.home), *(["--as", keeper] if keeper else []), *words])
        said = self._capsys.readouterr()
        assert got == code, said
        return said.out + said.err

    def ask(self, *words: str, at: str = NOW) -> Any:
        """A command's JSON document."""
        return json.loads(self.run(*words, "--json", at=at))

    def code(self, title: str, at: str = NOW) -> str:
        """The code of the due task of that title."""
        return next(t["code"] for t in self.ask("today", at=at)["tasks"] if t["title"].startswith(title))

    def facts(self, kind: str = "") -> list[dict[str, Any]]:
        """The facts of the record, in the order they were written in."""
        with sqlite3.connect(self.home / "record.db") as connection:
            connection.row_factory = sqlite3.Row
            rows = [dict(row) for row in connection.execute("select * from fact order by rowid")]
        connection.close()
        return [{**r, "data": json.loads(r["data"])} for r in rows if kind in ("", r["kind"])]

    def entries(self) -> int:
        """How many entries the journal has, each one transaction; the record is proved whole on the way."""
        document = self.ask("check")
        assert document["faults"] == []
        count: int = document["entries"]
        return count


def build(home: Path) -> None:
    """Days 0 to 2 are looked at and tested; on day 3 nothing was done yet."""

    def at(moment: str, *args: str) -> None:
        with freeze_time(moment):
            assert app.run(["--home", str(home), *args]) == 0

    start = "2026-02-10 09:00:00"
    at(start, "keeper", "add", "Robin")
    for line in (
        ["keeper", "add", "Noor"],
        ["site", "add", "Hall", "--zone", "Europe/Berlin"],
        ["site", "add", "Annex", "--zone", "Europe/Berlin"],
    ):
        at(start, "--as", "Robin", *line)
    box = ["--shape", "box", "--length", "60 cm", "--width", "30 cm", "--filled", "30 cm"]
    for name, site, role, water in (
        ("Q1", "Hall", "quarantine", "fresh"),
        ("Q2", "Annex", "quarantine", "marine"),
        ("Show", "Hall", "display", "fresh"),
        ("Reef", "Annex", "display", "marine"),
    ):
        at(start, "--as", "Robin", "tank", "add", name, "--site", site, "--role", role, "--water", water, *box)
    at(start, "--as", "Robin", "tank", "measure", "Q2", "49.3 L", "--by", "buckets", "--plus-minus", "0.5 L")
    for tank, protocol, fish, to in (
        ("Q1", "fresh-watch", "12 Melanotaenia praecox", "Show"),
        ("Q2", "marine-praziquantel", "4 Centropyge bicolor", "Reef"),
    ):
        at(
            start, "--as", "Robin", "batch", "start", "--tank", tank, "--protocol", protocol, "--arrived",
            "2026-02-10 09:30", "--fish", fish, "--from", "a breeder", "--to", to, "--acknowledge", "--yes",
        )  # fmt: skip
    at(start, "--as", "Noor", "batch", "acknowledge", "Q2-1")  # both may give its doses (rule C19)
    for day in (10, 11, 12):
        for tank, seen, water in (("Q1", 12, FRESH), ("Q2", 4, f"{MARINE} salinity=34g/L")):
            fed = "" if day == 10 else " 3"
            at(f"2026-02-{day} 16:00:00", "--as", "Robin", "look", f"{tank} {seen}{fed}", "--no-signs")
            at(f"2026-02-{day} 16:00:00", "--as", "Robin", "reading", tank, *water.split())


@pytest.fixture(scope="session")
def built_room(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("round") / "home"
    build(home)
    return home


@pytest.fixture
def room(built_room: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Room:
    """A copy of the fish room, and an environment that says nothing."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    shutil.copytree(built_room, tmp_path / "home")
    return Room(tmp_path / "home", capsys, monkeypatch)
