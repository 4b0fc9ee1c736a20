"""A small fish room for the tests of the record: its places, a batch with a history, and ways to look at it raw."""

from __future__ import annotations

import os
import subprocess
import sys
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from quarantine.actions import batches, checking, exporting, noting, peopling, places, signing, stocking, work
from quarantine.actions.desk import Desk
from quarantine.records.reads import open_reader, sqlite_path
from quarantine.records.tables import TABLES
from quarantine.settings import SETTINGS, Home

ARRIVED = datetime(2026, 2, 10, 12, 30, tzinfo=UTC)
MORNING, EVENING = "Morning keeper", "Evening keeper"
READINGS = ["temp=25.5C", "tan=0.1mg/L", "nitrite_no2=0.05mg/L", "ph=8.1", "oxygen=7mg/L", "salinity=34g/L"]
BOX: dict[str, str | None] = {"length": "60 cm", "width": "30 cm", "height": "36 cm", "filled": "30 cm"}


def desk(url: str, days: int = 0, hours: int = 0, *, keeper: str = MORNING, dry_run: bool = False) -> Desk:
    """A desk at the record, so long after the arrival of the fish."""
    values = {setting.name: (setting.default, "default") for setting in SETTINGS} | {"database": (url, "test")}
    return Desk(Home(Path("unused"), "test", values), ARRIVED + timedelta(days=days, hours=hours), keeper, dry_run)


def furnish(url: str) -> None:
    """A site, two keepers, a quarantine tank and a display tank."""
    places.add_site(desk(url, keeper=""), "Cellar", "Europe/Berlin")
    for keeper in (MORNING, EVENING):
        places.add_keeper(desk(url, keeper=""), keeper)
    for name, role in (("Q1", "quarantine"), ("Reef", "display")):
        places.add_tank(desk(url), name, site="Cellar", role=role, water="marine", shape="box", measures=BOX)


def start(url: str, dry_run: bool = False) -> dict[str, Any]:
    """Four fish arrive in Q1."""
    return batches.start_batch(
        desk(url, dry_run=dry_run),
        tank="Q1",
        protocol="marine-praziquantel",
        arrived="2026-02-10 13:30",
        fish=["4 Pygoplites diacanthus"],
        source="importer",
        to_tank="Reef",
        acknowledge=True,
        yes=True,
    )


def live(url: str, calendar: Path) -> None:
    """Some days in the room: looks, readings, a measured tank, a dose out of a jar, a skip, a death, who is away, when
    the room is shut, calendars, two decisions."""
    furnish(url)
    jar = {"substance": "praziquantel", "form": "powder", "strength": "98 %", "lot": "A12", "expires": "2028-03"}
    stocking.add(desk(url), "Jar", "25 g", **jar)
    start(url)
    for day in range(4):
        noting.look(desk(url, day, 1), "Q1 4 3", no_signs=True, note="hides behind the heater: 100 % seen, ½ asleep 🐠")
        noting.reading(desk(url, day, 1), "Q1", READINGS)
    places.measure_tank(desk(url, 3, 1), "Q1", "52.5 L", by="counted buckets", plus_minus="0.5 L", at=None)
    work.done(desk(url, 3, 2), [code_of(url, "dose")], as_shown=True)
    work.done(desk(url, 3, 2, keeper=EVENING), [code_of(url, "feed")])
    exporting.write_calendar(desk(url, 3, 3), calendar)
    work.skip(desk(url, 3, 3), [code_of(url, "chore")], because="moved by the importer")
    noting.look(desk(url, 4, 1, keeper=EVENING), "Q1 3 2", dead=1, signs=["white spots"])
    places.rename_tank(desk(url, 4, 2), "Reef", "Reef upstairs")
    peopling.absent(desk(url, 4, 2), EVENING, "2026-03-01", "2026-03-04", because="a course")
    peopling.close_site(desk(url, 4, 2), "Cellar", "2026-03-07", "2026-03-29", weekdays="sat,sun", what="weekends")
    peopling.set_role(desk(url, 4, 2), EVENING, "sitter")
    stocking.recall(desk(url, 4, 2), "Jar", lot="A12", because="the maker's letter")
    signing.sign(desk(url, 4, 3), "Q1-1", extend="7 d")
    exporting.write_calendar(desk(url, 4, 4), calendar)
    signing.sign(desk(url, 4, 5), "Q1-1", release=True, deviation="on a veterinary instruction")


def codes_of(url: str, kind: str) -> list[str]:
    """The codes of the open tasks of a kind, the earliest first."""
    with open_reader(url) as reader:
        rows = reader.rows("open_tasks", until="9999", tank=None)
    return [row["code"] for row in rows if row["kind"] == kind and row["due_from"]]


def code_of(url: str, kind: str) -> str:
    """The code of the earliest open task of a kind."""
    return codes_of(url, kind)[0]


def check(url: str, against: str | None = None) -> dict[str, Any]:
    """What `check` says. Raises Refused for a record that is not whole."""
    with open_reader(url) as reader:
        return checking.check(reader, ARRIVED + timedelta(days=5), against)


def dump(url: str) -> dict[str, list[dict[str, Any]]]:
    """Every row of every table."""
    with open_reader(url) as reader:
        return {
            table: sorted(reader.select(f"select * from {table}"), key=lambda row: str(row["id"]))
            for table in (*TABLES, "journal", "head", "meta")
        }


def raw(url: str, *statements: str) -> None:
    """Run statements behind the program's back."""
    if url.startswith("postgresql"):
        import psycopg

        with psycopg.connect(url) as connection:
            for statement in statements:
                connection.execute(statement)  # type: ignore[arg-type]
        return
    import sqlite3

    with closing(sqlite3.connect(sqlite_path(url))) as lite, lite:
        for statement in statements:
            lite.execute(statement)


def drop_trigger(url: str, table: str, what: str) -> str:
    """The statement that takes an append-only trigger away."""
    on = f" on {table}" if url.startswith("postgresql") else ""
    return f"drop trigger {table}_no_{what}{on}"


def tree(folder: Path) -> dict[str, bytes | None]:
    """Every file under a folder with its bytes, every folder with None."""
    return {str(p.relative_to(folder)): None if p.is_dir() else p.read_bytes() for p in sorted(folder.rglob("*"))}


def child(*words: object) -> subprocess.Popen[str]:
    """A process of its own that does one job of child.py."""
    return subprocess.Popen(
        [sys.executable, str(Path(__file__).with_name("child.py")), *map(str, words)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        encoding="utf-8",
        bufsize=1,
        env={**os.environ, "PYTHONUTF8": "1"},
    )


def ready(*processes: subprocess.Popen[str]) -> None:
    """Wait until every child has its imports behind it."""
    for process in processes:
        assert process.stdout is not None
        first = process.stdout.readline()
        assert first == "ready\n", first + process.stdout.read()


def tell(process: subprocess.Popen[str], line: str) -> None:
    """One line to a child."""
    assert process.stdin is not None
    process.stdin.write(line + "\n")
    process.stdin.flush()


def hear(process: subprocess.Popen[str]) -> str:
    """One line from a child."""
    assert process.stdout is not None
    return process.stdout.readline().rstrip("\n")
