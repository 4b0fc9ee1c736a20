"""A hall with a fresh and a marine quarantine of 100 L and fish in both, for the tests of copper and formalin."""

from __future__ import annotations

import contextlib
import io
import json
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time

from quarantine.cli.app import run

BOX = ["--shape", "box", "--length", "100 cm", "--width", "40 cm", "--filled", "30 cm"]
ARRIVED = "2026-02-10 08:00:00"


def quiet(home: Path, *words: str, at: str = ARRIVED) -> None:
    """A command whose words nobody reads."""
    with freeze_time(at), contextlib.redirect_stdout(io.StringIO()):
        assert run(["--home", str(home), *words]) == 0, words


def furnish(home: Path, *, fish: str = "6 Carassius auratus, 12 cm", protocol: str = "fresh-watch") -> None:
    """100 L by buckets, plus or minus 0.2 L, in UTC; a scale that reads milligrams; one batch in fresh water."""
    quiet(home, "site", "add", "Hall", "--zone", "UTC")
    quiet(home, "keeper", "add", "Robin")
    (home / "settings.toml").write_text('scale_step = "0.001 g"\n', encoding="utf-8")
    for name, role, water in (
        ("Q1", "quarantine", "fresh"), ("M1", "quarantine", "marine"), ("Pool", "display", "fresh"),
        ("Reef", "display", "marine"),
    ):  # fmt: skip
        quiet(home, "tank", "add", name, "--site", "Hall", "--role", role, "--water", water, *BOX)
    for name in ("Q1", "M1"):
        quiet(home, "tank", "gauge", name, "--buckets", "20 x 5 L ± 0.01 L")
    start = ["batch", "start", "--arrived", "2026-02-10 08:00", "--from", "a breeder", "--acknowledge", "--yes"]
    quiet(home, *start, "--tank", "Q1", "--protocol", protocol, "--fish", fish, "--to", "Pool")
    marine = ["--protocol", "marine-watch", "--fish", "4 Amphiprion ocellaris, 4 cm", "--to", "Reef"]
    quiet(home, *start, "--tank", "M1", *marine)


class Room:
    """A record of its own, and what its commands say at an instant."""

    def __init__(self, home: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.home, self.capsys = home, capsys

    def says(self, *words: str, at: str, code: int = 0) -> str:
        """What a command prints, on one line; where it refuses, its sentence."""
        with freeze_time(at):
            found = run(["--home", str(self.home), *words])
        said = self.capsys.readouterr()
        assert found == code, (words, said)
        return " ".join((said.err if code else said.out).split())

    def json(self, *words: str, at: str, code: int = 0) -> Any:
        """The document of a command."""
        with freeze_time(at):
            assert run(["--home", str(self.home), "--json", *words]) == code, words
        return json.loads(self.capsys.readouterr().out)

    def dose(self, *words: str, at: str) -> Any:
        """The document of one dose: its amount in words, or its hold."""
        made = self.json("dose", *words, at=at)
        return made["hold"] or f"{made['dose']['add']} {made['dose']['add_unit']}"
