"""A hall with two keepers and a medicated batch whose first dose is open, for the tests of doing it once."""

from __future__ import annotations

import atexit
import json
import os
import shlex
import shutil
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time

from quarantine.cli.app import run
from quarantine.protocol import load
from quarantine.templates import shipped

READY = "temp=25.5C ph=8.1 tan=0.1mg/L nitrite_no2=0.05mg/L oxygen=6.5mg/L salinity=34g/L"
BOX = '--shape box --length "60 cm" --width "30 cm" --filled "30 cm"'
AT = "2026-02-13 19:00:00"
"""20:00 at the site in Berlin: the first dose is open until then and a while longer."""


def template(more: str) -> str:
    """The shipped template of marine fish under praziquantel, with ``more`` in its treatment."""
    text = shipped()["marine-praziquantel"].read_text(encoding="utf-8")
    return text.replace('regimen = "Z01"\n', f'regimen = "Z01"\n{more}\n', 1)


class OnceRoom:
    """What is typed at a record, on a clock that is set, in UTC."""

    def __init__(self, home: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.home, self.capsys, self.now = home, capsys, AT

    def at(self, utc: str) -> OnceRoom:
        """The same room at another time of the day of the dose, in UTC; or at another day."""
        self.now = utc if " " in utc else f"2026-02-13 {utc}"
        return self

    def type(self, line: str, code: int = 0, *, who: str = "Robin") -> str:
        """A command by a keeper: what it says, on one line; where it is refused, the sentence."""
        self.capsys.readouterr()
        with freeze_time(self.now):
            got = run(["--home", str(self.home), *(["--as", who] if who else []), *shlex.split(line)])
        said = self.capsys.readouterr()
        assert got == code, (line, said)
        return " ".join((said.err if code in (1, 2) else said.out).split())

    def json(self, line: str, code: int = 0, *, who: str = "Robin") -> Any:
        """The document of a command."""
        self.capsys.readouterr()
        with freeze_time(self.now):
            got = run(["--home", str(self.home), "--json", "--as", who, *shlex.split(line)])
        said = self.capsys.readouterr()
        assert got == code, (line, said)
        return json.loads(said.out)

    def code(self, kind: str = "dose") -> str:
        """The code of the first task of a kind on today's list."""
        return str(next(t["code"] for t in self.json("today")["tasks"] if t["kind"] == kind))

    def given(self, code: str) -> Any:
        """The dose on record of a task."""
        return self.json(f"why {code}")["given"]


_KEPT: dict[str, Path] = {}


def remembered(room: OnceRoom, typed: Callable[[OnceRoom, str], object], key: str = "") -> OnceRoom:
    """What many tests begin with is typed once in a run; its folder is copied for each: typing takes seconds.

    ``key`` is the protocol; of the path of a template what stands in that file tells two of them apart.
    """
    if room.home.exists() or "QUARANTINE_DATABASE" in os.environ:  # with settings or a record of its own
        typed(room, key)
        return room
    text = Path(key).read_text(encoding="utf-8") if Path(key).is_file() else key
    name = f"{type(room).__qualname__} {typed.__module__}.{typed.__qualname__} {text}"
    if name in _KEPT:
        shutil.copytree(_KEPT[name], room.home)
        return room
    typed(room, key)
    kept = Path(tempfile.mkdtemp(prefix="quarantine-room-"))
    atexit.register(shutil.rmtree, kept, ignore_errors=True)
    _KEPT[name] = shutil.copytree(room.home, kept / "home")
    return room


def furnish(room: OnceRoom, protocol: str = "marine-praziquantel") -> OnceRoom:
    """49.3 L by buckets, four fish on day 3, looked at and tested every day: 0.09 g of praziquantel are due."""
    return remembered(room, _furnish, protocol).at(AT)


def _furnish(room: OnceRoom, protocol: str) -> None:
    room.at("2026-02-10 09:00:00")
    room.type("site add Hall --zone Europe/Berlin", who="")
    for keeper in ("Robin", "Noor"):
        room.type(f"keeper add {keeper}", who="" if keeper == "Robin" else "Robin")
    for name, role in (("Q2", "quarantine"), ("Reef", "display")):
        room.type(f"tank add {name} --site Hall --role {role} --water marine {BOX}")
    room.type("tank measure Q2 49.3L --by buckets --plus-minus 0.5L")
    room.type(
        f'batch start --tank Q2 --protocol {protocol} --arrived "2026-02-10 09:30" --acknowledge --yes '
        '--fish "4 Centropyge bicolor, 6 cm" --from "an importer" --to Reef'
    )
    if load(protocol).medicated:
        room.type("batch acknowledge Q2-1", who="Noor")  # both may give its doses (rule C19)
    for day in (10, 11, 12, 13):
        room.at(f"2026-02-{day} 16:00:00")
        room.type(f'look "Q2 4{"" if day == 10 else " 3"}" --no-signs')
        room.type(f"reading Q2 {READY}")


def with_template(room: OnceRoom, folder: Path, more: str) -> OnceRoom:
    """The same hall under a template that asks for more at each dose."""
    (folder / "mine.toml").write_text(template(more), encoding="utf-8")
    return furnish(room, str(folder / "mine.toml"))


def _child() -> None:
    """A process of its own: says "ready", waits for a line, runs its command, says how it went."""
    with freeze_time(AT):
        print("ready", flush=True)
        sys.stdin.readline()
        code = run(sys.argv[1:])
        print(f"exit {code}", flush=True)


if __name__ == "__main__":
    _child()
