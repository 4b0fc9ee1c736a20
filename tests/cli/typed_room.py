"""A record that tests type commands into, on a clock that is set; the site is in Berlin, an hour ahead of UTC."""

from __future__ import annotations

import json
import shlex
import sqlite3
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time

from quarantine.cli import app

BOX = '--shape box --length "60 cm" --width "30 cm" --filled "30 cm"'


class Room:
    """A record on a clock that is set, in UTC; the site is in Berlin, an hour ahead."""

    def __init__(self, home: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.home, self.capsys, self.now = home, capsys, "2026-02-10 08:00:00"

    def at(self, utc: str) -> Room:
        self.now = utc
        return self

    def type(self, line: str, code: int = 0) -> str:
        self.capsys.readouterr()
        with freeze_time(self.now):
            got = app.run(["--home", str(self.home), *shlex.split(line)])
        said = self.capsys.readouterr()
        assert got == code, said
        return said.err if code else said.out

    def json(self, line: str) -> Any:
        return json.loads(self.type(f"{line} --json"))

    def facts(self, kind: str) -> list[dict[str, Any]]:
        connection = sqlite3.connect(self.home / "record.db")
        try:
            rows = connection.execute("select data from fact where kind = ? order by rowid", (kind,)).fetchall()
        finally:
            connection.close()
        return [json.loads(row[0]) for row in rows]


def typed_room(home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, fish: int) -> Room:
    """A quarantine tank Q1 of 54 L with so many rainbowfish since 9 February."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    made = Room(home, capsys)
    made.type("site add Hall --zone Europe/Berlin")
    made.type("keeper add Robin")
    for name, role in (("Q1", "quarantine"), ("Show", "display")):
        made.type(f"tank add {name} --site Hall --role {role} --water fresh {BOX}")
    made.type(
        'batch start --tank Q1 --protocol fresh-watch --arrived "2026-02-09 10:00" '
        f'--fish "{fish} Melanotaenia praecox" '
        "--from breeder --to Show --yes"
    )
    return made
