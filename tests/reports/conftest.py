"""Paper made from a small room on a passed-in clock: one medicated marine tank, one display."""

from __future__ import annotations

import atexit
import importlib.util
import json
import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest
from freezegun import freeze_time

from quarantine.cli.app import run

Print = Callable[..., str]


def _one_font() -> None:
    """The print engine finds one font, Bitstream Vera (DejaVu's letters) out of a wheel: sheets of paper are counted
    alike on every machine, also on one without fonts. It has to be said before the engine is first used."""
    found = importlib.util.find_spec("reportlab")
    assert found is not None
    assert found.origin is not None
    folder = Path(tempfile.mkdtemp(prefix="quarantine-test-fonts-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    (folder / "fonts.conf").write_text(
        '<?xml version="1.0"?><!DOCTYPE fontconfig SYSTEM "fonts.dtd"><fontconfig>'
        f"<dir>{Path(found.origin).parent / 'fonts'}</dir><cachedir>{folder}</cachedir></fontconfig>",
        encoding="utf-8",
    )
    os.environ["FONTCONFIG_FILE"] = str(folder / "fonts.conf")


_one_font()
READY = ["temp=25.5C", "ph=8.1", "tan=0.1mg/L", "nitrite_no2=0.05mg/L", "oxygen=6.5mg/L", "salinity=34g/L"]
DAY_3 = "2026-02-13 12:00:00"


@pytest.fixture
def say(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Print:
    """Run one command line at a time of one's own in a home of one's own; what it said."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)

    def run_it(*words: str, at: str = DAY_3, code: int = 0) -> str:
        with freeze_time(at):
            got = run(["--home", str(tmp_path / "home"), *words])
        captured = capsys.readouterr()
        assert got == code, captured
        return captured.err if code else captured.out

    return run_it


@pytest.fixture
def room(say: Print) -> Print:
    """A medicated batch in Q2 (49.3 L, 0.5 L) that is ready for its first dose on day 3."""
    at = "2026-02-10 09:00:00"
    say("site", "add", "Hall", "--zone", "Europe/Berlin", at=at)
    say("keeper", "add", "Robin", at=at)
    box = ["--shape", "box", "--length", "60 cm", "--width", "30 cm", "--filled", "30 cm", "--label", "60 L"]
    say("tank", "add", "Q2", "--site", "Hall", "--role", "quarantine", "--water", "marine", *box, at=at)
    say("tank", "add", "Reef", "--site", "Hall", "--role", "display", "--water", "marine", *box, at=at)
    say("tank", "measure", "Q2", "49.3L", "--by", "buckets", "--plus-minus", "0.5L", at=at)
    say(
        "batch", "start", "--tank", "Q2", "--protocol", "marine-praziquantel", "--arrived", "2026-02-10 09:30",
        "--fish", "4 Centropyge bicolor, 6 cm", "--from", "an importer", "--to", "Reef", "--acknowledge",
        "--yes", at=at,
    )  # fmt: skip
    tasks = json.loads(say("today", "--json", at="2026-02-10 09:40:00"))["tasks"]
    say("done", next(t["code"] for t in tasks if t["step"] == "settle"), at="2026-02-10 09:45:00")
    for day in range(4):
        time = f"2026-02-{10 + day} {'11:00' if day else '10:00'}:00"
        say("look", f"Q2 4{' 3' if day else ''}", "--no-signs", at=time)
        say("reading", "Q2", *READY, at=time)
    return say
