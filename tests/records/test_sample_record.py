"""A record that a released version wrote opens in this one, is whole, and can be written to."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import pytest

from quarantine.cli.app import run
from quarantine.records.migrations import NEWEST

SAMPLES = Path(__file__).parent.parent.parent / "samples"


@pytest.mark.parametrize("number", range(1, NEWEST + 1))
def test_a_record_of_every_schema_opens_is_whole_and_takes_an_entry(
    number: int, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever kept fish with an older version loses nothing by upgrading."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "QUARANTINE_DATABASE"):
        monkeypatch.delenv(name, raising=False)
    with sqlite3.connect(tmp_path / "record.db") as record:
        record.executescript((SAMPLES / f"record-schema-{number}.sql").read_text(encoding="utf-8"))
    record.close()
    home = ["--home", str(tmp_path), "--json"]
    assert run([*home, "look", "Round Pool 19 2", "--no-signs"]) == 0
    assert run([*home, "check"]) == 0
    capsys.readouterr()
    assert run([*home, "tank", "show", "Q1"]) == 0
    assert json.loads(capsys.readouterr().out)["volume"]["litres"] == 56.5
