"""A dose keeps how it lay to the window of its task, and events read it there (rule A11)."""

from __future__ import annotations

import json
import re
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from test_rows_templates import Say, care, code_of, fish_room, say, start  # noqa: F401 - a fixture


def doses(tmp_path: Path) -> list[dict[str, Any]]:
    """The data of the doses on record, in order of entry."""
    with closing(sqlite3.connect(tmp_path / "home" / "record.db")) as connection:
        rows = connection.execute("select data from fact where kind = 'dose' order by entered_at, rowid").fetchall()
    return [json.loads(row[0]) for row in rows]


@pytest.mark.parametrize(
    ("given", "timing"),
    [("2026-02-13 07:59", "early"), ("2026-02-13 20:00", "on time"), ("2026-02-13 20:01", "late")],
)
def test_a_dose_says_how_it_lay_to_its_window(say: Say, tmp_path: Path, given: str, timing: str) -> None:  # noqa: F811
    """From 08:00 to 20:00 in Berlin: by when it was given, and again by when a correction says it was."""
    fish_room(say)
    start(say)
    care(say, 0, 3)
    code = code_of(say, "2026-02-13 17:00", "dose")
    say("2026-02-13 21:00", "done", code, "--gave", "0.1 g", "--really", "--at", given)
    assert [data["timing"] for data in doses(tmp_path)] == [timing]
    entry = re.findall(r"\[([0-9a-f]{8})", say("2026-02-13 21:10", "journal"))[-1]
    say(
        "2026-02-13 21:30",
        "correct",
        entry,
        "--at",
        "2026-02-13 12:00",
        "--because",
        "read off the wrong clock",
        "--yes",
    )
    assert [data["timing"] for data in doses(tmp_path)] == [timing, "on time"]
