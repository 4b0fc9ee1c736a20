"""A small room for amendments, words and stopped courses: one quarantine tank, one keeper, templates of its own."""

from __future__ import annotations

import json
import shlex
import sqlite3
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from freezegun import freeze_time

from quarantine.cli import app
from quarantine.templates import shipped


class Room:
    """A record with fish in Q1; the clock is set by hand, in the site's own time."""

    def __init__(
        self,
        folder: Path,
        capsys: pytest.CaptureFixture[str],
        monkeypatch: pytest.MonkeyPatch,
        water: str = "fresh",
        zone: str = "Europe/Berlin",
    ) -> None:
        for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
            monkeypatch.delenv(name, raising=False)
        self.folder, self.capsys, self.zone = folder, capsys, zone
        self.now = datetime(2026, 2, 1, 8, 0, tzinfo=UTC)
        self.type(f"site add Hall --zone {zone}")
        self.type("keeper add Robin")
        box = "--shape box --length '60 cm' --width '30 cm' --filled '30 cm'"
        self.type(f"tank add Show --site Hall --role display --water {water} {box}")
        self.type(f"tank add Q1 --site Hall --role quarantine --water {water} {box}")

    def at(self, local: str) -> Room:
        self.now = datetime.fromisoformat(local).replace(tzinfo=ZoneInfo(self.zone)).astimezone(UTC)
        return self

    def type(self, line: str, code: int = 0) -> str:
        """One command line; what it printed on the stream that its exit code calls for."""
        self.capsys.readouterr()
        with freeze_time(self.now):
            got = app.run(["--home", str(self.folder / "home"), *shlex.split(line)])
        said = self.capsys.readouterr()
        assert got == code, said
        assert "Traceback" not in said.err
        return " ".join((said.err if code else said.out).split())

    def json(self, line: str, code: int = 0) -> Any:
        self.capsys.readouterr()
        with freeze_time(self.now):
            got = app.run(["--home", str(self.folder / "home"), "--json", *shlex.split(line)])
        said = self.capsys.readouterr()
        assert got == code, said
        return json.loads(said.out)

    def template(self, name: str, like: str, *changes: tuple[str, str]) -> str:
        """A keeper's own file, made of a shipped template with some of its text changed; its path."""
        text = shipped()[like].read_text(encoding="utf-8").replace(f'id = "{like}"', f'id = "{name}"', 1)
        for old, new in changes:
            assert text.count(old) >= 1, old
            text = text.replace(old, new, 1)
        (self.folder / f"{name}.toml").write_text(text, encoding="utf-8")
        return str(self.folder / f"{name}.toml")

    def start(self, protocol: str, arrived: str = "2026-03-02 10:00") -> None:
        self.at(arrived).type(
            f'batch start --tank Q1 --protocol {protocol} --arrived "{arrived}" --fish "12 Melanotaenia praecox" '
            "--from 'a breeder' --to Show --acknowledge --yes"
        )

    def tasks(self, step: str = "", *states: str) -> list[dict[str, Any]]:
        """The stored tasks of the batch, in order of their time."""
        found = self.json("batch show Q1-1")["tasks"]
        return [t for t in found if step in ("", t["step"]) and (not states or t["state"] in states)]

    def rows(self, query: str) -> list[Any]:
        connection = sqlite3.connect(self.folder / "home" / "record.db")
        try:
            return connection.execute(query).fetchall()
        finally:
            connection.close()

    def settle(self) -> None:
        """Every open task that is due up to now is done, or skipped where it asks for more than a tick."""
        day = self.now.astimezone(ZoneInfo(self.zone)).date().isoformat()
        codes = [t["code"] for t in self.tasks("", "planned", "missed") if t["day"] and t["day"] <= day]
        if codes:
            self.type(f"skip {' '.join(codes)} --because 'a test' --yes")

    def whole(self) -> None:
        """The record is whole, and the state is what the journal says."""
        assert self.json("check")["faults"] == []
