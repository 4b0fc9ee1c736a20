"""Kills a writing process at a hundred points and says, a line each, what was left.

Run by test_rows_killed.py in a process of its own. The writer is a fork: it dies by SIGKILL, either at a random step
of the database's own machine or at a random moment, and the record is then read here.
"""

from __future__ import annotations

import json
import os
import random
import select
import shutil
import signal
import sys
import time
import traceback
from collections.abc import Callable
from pathlib import Path

import sqlalchemy as sa
from fishroom import READINGS, check, code_of, desk, furnish, start

from quarantine.actions import exporting, noting, places, signing, work
from quarantine.calendars.lint import lint

POINTS = 10
STEP = 20
"""Instructions of SQLite's machine from one point to the next."""

ACTIONS: dict[str, Callable[[str, Path], object]] = {
    "first write": lambda url, _: places.add_site(desk(url, keeper=""), "Cellar", "Europe/Berlin"),
    "batch start": lambda url, _: start(url),
    "look": lambda url, _: noting.look(desk(url, 3, 1), "Q1 4 3", no_signs=True),
    "reading": lambda url, _: noting.reading(desk(url, 3, 1), "Q1", READINGS),
    "dose": lambda url, _: work.done(desk(url, 3, 2), [code_of(url, "dose")], as_shown=True),
    "chore": lambda url, _: work.done(desk(url, 3, 2), [code_of(url, "chore")]),
    "skip": lambda url, _: work.skip(desk(url, 3, 2), [code_of(url, "dose")], because="no scale", yes=True),
    "measure": lambda url, _: places.measure_tank(
        desk(url, 3, 2), "Q1", "52.5 L", by="counted buckets", plus_minus="0.5 L", at=None
    ),
    "sign-off": lambda url, _: signing.sign(desk(url, 3, 2), "Q1-1", release=True, deviation="on instruction"),
    "calendar": lambda url, folder: exporting.write_calendar(desk(url, 3, 2), folder / "calendar.ics"),
}


def before(url: str, action: str, folder: Path) -> None:
    """The record that an action finds."""
    if action == "first write":
        return
    furnish(url)
    if action == "batch start":
        return
    start(url)
    exporting.write_calendar(desk(url), folder / "calendar.ics")
    for day in range(4):
        noting.look(desk(url, day), "Q1 4 3", no_signs=True)
        noting.reading(desk(url, day), "Q1", READINGS)


def write(action: str, url: str, folder: Path, pipe: int, fatal: int) -> None:
    """What the fork does: the action, its count of steps told at the end, then wait for the end."""
    steps = 0

    def step() -> int:
        nonlocal steps
        steps += 1
        if steps == fatal:
            os.kill(os.getpid(), signal.SIGKILL)
        return 0

    @sa.event.listens_for(sa.Engine, "connect")
    def _(connection: object, __: object) -> None:
        connection.set_progress_handler(step, STEP)  # type: ignore[attr-defined]

    ACTIONS[action](url, folder)
    os.write(pipe, b"%d\n" % steps)
    signal.pause()


def run(action: str, url: str, folder: Path, *, fatal: int = 0, after: float = 60) -> tuple[int, float]:
    """Fork, let it write, kill it at step ``fatal`` or after so many seconds, at the latest when it is done.

    Gives the steps it told, 0 when it died before it could, and the seconds it lived.
    """
    reads, writes = os.pipe()
    began = time.monotonic()
    child = os.fork()
    if not child:
        try:
            write(action, url, folder, writes, fatal)
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(1)
    os.close(writes)
    select.select([reads], [], [], after)
    seconds = time.monotonic() - began
    os.kill(child, signal.SIGKILL)
    status = os.waitpid(child, 0)[1]
    assert os.WIFSIGNALED(status), f"{action} failed by itself: {status}"
    assert os.WTERMSIG(status) == signal.SIGKILL
    with os.fdopen(reads, "rb") as pipe:
        return int(pipe.read() or 0), seconds


def main(folder: Path) -> None:
    """A hundred points, ten of each action."""
    chance = random.Random(20260210)
    for action in ACTIONS:
        base, place = folder / action / "base", folder / action / "place"
        url = f"sqlite:///{place / 'record.db'}"
        base.mkdir(parents=True)
        before(f"sqlite:///{base / 'record.db'}", action, base)
        fresh(base, place)
        whole, seconds = run(action, url, place)
        assert whole > 1, f"{action} took {whole} steps"
        entries = check(f"sqlite:///{base / 'record.db'}")["entries"]
        assert check(url)["entries"] == entries + 1, f"{action} makes no entry"
        calendar = (base / "calendar.ics").read_bytes() if (base / "calendar.ics").exists() else None
        for point in range(POINTS):
            fresh(base, place)
            by_step = point % 2 == 1
            if by_step:
                told, _ = run(action, url, place, fatal=chance.randrange(1, whole))
            else:
                told, _ = run(action, url, place, after=chance.uniform(0, seconds))
            found = check(url)["entries"] - entries
            answer = {"action": action, "by_step": by_step, "told": bool(told), "kept": found, "calendar": True}
            if calendar is not None:
                left = (place / "calendar.ics").read_bytes()
                answer["calendar"] = left == calendar or not lint(left)
            places.add_keeper(desk(url, 4, keeper="" if action == "first write" else "Morning keeper"), "Next keeper")
            answer["goes_on"] = check(url)["entries"] - entries - found
            print(json.dumps(answer), flush=True)


def fresh(base: Path, place: Path) -> None:
    """The folder as it is before the action."""
    shutil.rmtree(place, ignore_errors=True)
    shutil.copytree(base, place)
    assert not list(place.glob("*-wal"))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
