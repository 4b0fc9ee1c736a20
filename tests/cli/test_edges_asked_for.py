"""A13: what is given as needed can be asked for as often as its template says, and not once more."""

from __future__ import annotations

from pathlib import Path

import pytest
from amend_room import Room

STEP = """
[[step]]
id = "foam"
kind = "chore"
title = "Skim the foam"
for = "tank"
start = { word = "There is foam" }
repeat = { as_needed = "1 h", times = 2 }
references = ["S4"]

# --- What happens"""


def test_A13_the_number_in_all_is_the_most(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Twice in all: the third word is refused, and says what was asked for."""
    room = Room(tmp_path, capsys, monkeypatch)
    room.start(room.template("own", "fresh-watch", ("# --- What happens", STEP)))
    for local in ("2026-03-03 09:00", "2026-03-03 12:00"):
        room.at(local).type("event word Q1 foam")
        code = next(t["code"] for t in room.tasks("foam", "planned", "missed") if t["day"])
        room.type(f"done {code}")
    refused = room.at("2026-03-03 15:00").type("event word Q1 foam", 1)
    assert "asked for 2 times, and 2 is the most" in refused
