"""Water that flows through a tank, and what new water brings with it, from the command line (rules C12, C13)."""

from __future__ import annotations

import json
import shlex
from math import exp
from pathlib import Path

import pytest
from freezegun import freeze_time

from quarantine.cli import app

BOX = '--shape box --length "100 cm" --width "50 cm" --filled "40 cm"'


class Room:
    """A record on a clock that is set, in UTC; the site is in Berlin, an hour ahead."""

    def __init__(self, home: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.home, self.capsys = home, capsys

    def type(self, line: str, at: str = "2026-02-10 09:00:00", code: int = 0) -> str:
        self.capsys.readouterr()
        with freeze_time(at):
            got = app.run(["--home", str(self.home), *shlex.split(line)])
        said = self.capsys.readouterr()
        assert got == code, said
        return " ".join((said.err if code else said.out).split())

    def now(self, at: str, substance: str = "praziquantel") -> tuple[float, float]:
        found = json.loads(self.type(f"level Q1 {substance} --json", at))["now"]
        return found["low"], found["high"]


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    """Q1, 200 L by its inside measures."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    made = Room(tmp_path / "home", capsys)
    made.type("site add Hall --zone Europe/Berlin")
    made.type("keeper add Robin")
    made.type(f"tank add Q1 --site Hall --role quarantine --water fresh {BOX}")
    return made


def test_a_flow_is_recorded_runs_on_and_is_stopped(room: Room) -> None:
    """200 L of which half held 2 mg/L; then 10 L an hour flow through it for ten hours."""
    said = room.type('event change Q1 --out 100L --brings "praziquantel 2.0 mg/L"')
    assert "holding Praziquantel 1.95 to 2.05 mg/L" in said
    said = room.type('event exchange Q1 --rate "10 L/h"')
    assert said.startswith("Q1, 2026-02-10 10:00: 10 L of water an hour flow through, until it is said to stop")
    assert "240 L flow through 200 L in 24 h, and about 30 % of what is in the water now is left then" in said
    said = room.type("event exchange Q1 --stop", "2026-02-10 19:00:00")
    assert said.startswith("Q1, 2026-02-10 20:00: no water flows through any more")
    for at in ("2026-02-10 19:00:00", "2026-02-12 19:00:00"):
        low, high = room.now(at)
        assert low == 0  # praziquantel may be lost at any time
        assert high == pytest.approx(1.025 * exp(-0.5), rel=0.02)  # and the volume is not known better than 1 %
    assert high >= 1.025 * exp(-0.5)
    assert "of the record is sound" not in room.type("check")


@pytest.mark.parametrize(
    ("rate", "per_hour"),
    [("5 L/h", "5 L"), ("5 L per hour", "5 L"), ("500 mL/min", "30 L"), ("24 L/day", "1 L"), ("1 USgal/h", "3.785 L")],
)
def test_rates_are_read_in_the_units_people_use(room: Room, rate: str, per_hour: str) -> None:
    """Litres an hour, millilitres a minute, litres or gallons a day."""
    assert f"{per_hour} of water an hour" in room.type(f'event exchange Q1 --rate "{rate}" --dry-run')


def test_a_flow_that_has_ended_is_told_with_its_end(room: Room) -> None:
    """Begin and end in one go, and what the water held."""
    line = 'event exchange Q1 --rate "5 L/h" --at "06:00" --until "08:00" --brings "salt 3.0 g/L ± 5 %"'
    assert "holding Sodium chloride 2850 to 3150 mg/L, until 2026-02-10 08:00" in room.type(line)
    low, high = room.now("2026-02-10 09:00:00", "sodium-chloride")
    share = 1 - exp(-10 / 200)
    assert 0 < low <= 2.85 * share
    assert 3.15 * share <= high <= 3.15 * share * 1.05
    made = json.loads(room.type(f"{line} --dry-run --json"))
    assert (made["rate"], made["unit"]) == (5, "L/h")
    assert made["brings"] == [{"substance": "sodium-chloride", "low": 2850, "high": 3150, "unit": "mg/L"}]


@pytest.mark.parametrize(
    ("line", "code", "says"),
    [
        ("event exchange Q1", 2, "Say --rate for a flow that runs"),
        ('event exchange Q1 --rate "5 L/h" --stop', 2, "or --stop for one that has ended"),
        ('event exchange Q1 --stop --brings "salt 3 g/L"', 2, "leave --until and --brings out"),
        ("event exchange Q1 --rate 5", 2, "write litres and a time"),
        ('event exchange Q1 --rate "5 L/year"', 2, "write litres and a time"),
        ('event exchange Q1 --rate "0 L/h"', 1, "more than nothing"),
        ('event exchange Q1 --rate "5 kg/h"', 1, "kg"),
        ('event exchange Q1 --rate "500 L/h"', 1, "more than all of this water, 200 L, each hour"),
        ("event exchange Q1 --stop", 1, "No flow through Q1 is on record"),
        ('event exchange Q1 --rate "5 L/h" --at 08:00 --until 07:00', 1, "--until is not after the flow began"),
        ('event exchange Q1 --rate "5 L/h" --until 23:00', 1, "lies in the future"),
        ('event change Q1 --out 10L --brings "3 mg/L"', 2, "write a substance and a level"),
        ('event change Q1 --out 10L --brings "gin 3 mg/L"', 1, "no substance"),
        ('event topup Q1 1L --brings "copper 0.2 mg/L"', 2, "counted in mg/L Cu"),
        ('event topup Q1 1L --brings "salt 1 g/L" --brings "sodium-chloride 1 g/L"', 2, "twice"),
    ],
)
def test_what_does_not_read_or_cannot_be_is_refused_in_a_sentence(room: Room, line: str, code: int, says: str) -> None:
    """Nothing is guessed: neither a unit, nor a substance, nor a flow from another time."""
    assert says in room.type(line, code=code)
    assert json.loads(room.type("level Q1 --json"))["tank"] == "Q1"


def test_a_rate_that_looks_like_a_slip_can_be_so(room: Room) -> None:
    """Facts are never refused: --really records it."""
    assert "500 L of water an hour" in room.type('event exchange Q1 --rate "500 L/h" --really')
    assert "no water flows" in room.type("event exchange Q1 --stop", "2026-02-10 10:00:00")
    assert "No flow" in room.type("event exchange Q1 --stop", "2026-02-10 10:00:00", 1)
    room.type('undo "typed twice"', "2026-02-10 10:00:30")
    assert "no water flows" in room.type("event exchange Q1 --stop", "2026-02-10 10:01:00")


def test_water_with_copper_or_formalin_is_counted_as_their_ledgers_are(room: Room) -> None:
    """Copper as copper, formalin as microlitres of its solution."""
    said = room.type('event topup Q1 2L --brings "copper 0.20 mg/L Cu" --brings "formalin 2 uL/L"')
    assert "holding Copper 0.195 to 0.205 mg/L Cu and Formalin 1.5 to 2.5 uL/L" in said
    assert room.now("2026-02-10 09:00:00", "copper")[1] == pytest.approx(2 * 0.205 / 200, rel=0.03)
