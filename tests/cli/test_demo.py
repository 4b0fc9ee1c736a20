"""The demonstration, step by step, and what can be done with its folder afterwards."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path

import pytest
import vobject

from quarantine.cli.app import run


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The folder of one demonstration, and what it printed."""
    import contextlib
    import io

    home = tmp_path_factory.mktemp("demo") / "room"
    text = io.StringIO()
    with pytest.MonkeyPatch.context() as patch, contextlib.redirect_stdout(text):
        patch.delenv("COLUMNS", raising=False)
        assert run(["demo", "--home", str(home)]) == 0
    return home, text.getvalue()


def test_it_refuses_early_release_with_reasons_then_releases(shown: tuple[Path, str]) -> None:
    """Asked on day 3 the release is refused by name; on day 30 both batches are released."""
    _, text = shown
    refused, released = text.index("Refused: Batch Q1-1 cannot be released yet"), text.index("Q1-1: release.")
    assert refused < released
    assert "Earliest day if all goes well: 2026-03-12" in text
    assert "Q2-1: release." in text


def test_the_sign_of_day_nine_restarts_the_clear_count_and_not_the_observation(shown: tuple[Path, str]) -> None:
    """Flashing is a B sign: clear days start again at its last seeing (rule A4), the thirty days do not (A5)."""
    _, text = shown
    assert "clear 20 of 14 days, counted from 2026-02-20 (sign seen: flashing (B))" in text
    assert "day 30 of 30, counted from 2026-02-10" in text


def test_its_dose_can_be_recomputed_by_hand(shown: tuple[Path, str]) -> None:
    """2 mg/L x 49.3 L = 98.6 mg, down to 0.01 g: 0.09 g; 90 mg in 49.8 to 48.8 L gives 1.80 to 1.85 mg/L."""
    _, text = shown
    assert "ADD 0.09 g of Praziquantel" in text
    assert "for 49.3 L, plus or minus 0.5 L; target 2 mg/L; gives 1.8 to 1.85 mg/L" in text


def test_afterwards_today_batch_list_and_check_work(
    shown: tuple[Path, str], capsys: pytest.CaptureFixture[str]
) -> None:
    """The folder is a record like any other: listed, released, whole."""
    home, _ = shown
    assert run(["--home", str(home), "today", "--json"]) == 0
    steps = {task["step"] for task in json.loads(capsys.readouterr().out)["tasks"]}
    assert all(step.startswith("followup.idle") for step in steps), "what is left is the care of the empty tanks"
    assert run(["--home", str(home), "batch", "list", "--json"]) == 0
    states = {b["batch"]: b["state"] for b in json.loads(capsys.readouterr().out)["batches"]}
    assert states == {"Q1-1": "released", "Q2-1": "released"}
    assert run(["--home", str(home), "check"]) == 0
    assert "state and journal agree" in capsys.readouterr().out


def test_a_second_demonstration_in_the_same_folder_is_refused(
    shown: tuple[Path, str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing of the first is touched."""
    home, _ = shown
    before = (home / "record.db").read_bytes()
    assert run(["demo", "--home", str(home)]) == 1
    assert "is not empty" in capsys.readouterr().err
    assert (home / "record.db").read_bytes() == before


def test_every_command_it_prints_is_one_that_can_be_typed(shown: tuple[Path, str]) -> None:
    """Each line after the prompt names a command and options that exist."""
    from quarantine.cli.app import COMMANDS, command

    _, text = shown
    lines = [line[2:] for line in text.splitlines() if line.startswith("$ ")]
    assert len(lines) > 15
    for line in lines:
        words = shlex.split(line)[1:]
        entry = COMMANDS[words[0]]
        if isinstance(entry, dict):
            entry = entry[words[1]]
        known = {o for p in command("x", entry).params for o in p.opts} | {"--as", "--json", "--dry-run", "--home"}
        assert {w for w in words if w.startswith("--")} <= known, line


def test_its_calendar_reads_in_another_library(shown: tuple[Path, str]) -> None:
    """vobject (not the library that wrote it) finds both doses on their days, each with one alarm."""
    home, text = shown
    calendar = vobject.readOne((home / "quarantine.ics").read_bytes().decode())
    calendar.validate(raiseException=True)
    entries = int(re.search(r"(\d+) entries", text)[1])  # type: ignore[index]
    assert len(calendar.vevent_list) == entries
    doses = [e for e in calendar.vevent_list if "Praziquantel bath" in e.summary.value]
    # The first dose was given before the file was written; the second, four days later, is still planned.
    assert [e.dtstart.value.isoformat() for e in doses] == ["2026-02-17"]
    assert all(len(list(e.getChildren())) and e.contents.get("valarm") for e in doses)


GOLDEN = Path(__file__).parents[1] / "calendars" / "golden" / "demonstration.ics"


def without_ids(data: bytes) -> str:
    """A calendar file without what is new in every record (ids and the codes made from them), its events sorted."""
    text = data.decode()
    text = re.sub(r"UID:[0-9a-f]{32}@[0-9a-f]{32}\r\n ?[0-9a-f]*", "UID:ID\r\n", text.replace("\r\n ", ""))
    text = re.sub(r"\bCode [0-9A-Z]{4,5}\.", "Code CODE.", text)
    text = re.sub(r"PRODID:.*", f"PRODID:{'VERSION'}\r", text)
    head, *events = re.split(r"(?=BEGIN:VEVENT\r\n)", text.replace("END:VCALENDAR\r\n", ""))
    return "".join([head, *sorted(events), "END:VCALENDAR\r\n"])


def test_its_calendar_is_the_golden_one(shown: tuple[Path, str], tmp_path: Path) -> None:
    """Unfolded and without its ids, the demonstration's file is, byte for byte, the one that was read and kept."""
    home, _ = shown
    made = without_ids((home / "quarantine.ics").read_bytes())
    # After a change that is meant: read this file, then copy it over the golden one.
    (tmp_path / "demonstration.ics").write_bytes(made.encode())
    assert made == GOLDEN.read_bytes().decode(), f"compare {tmp_path / 'demonstration.ics'} with {GOLDEN}"
