"""Done once: a claim that others see and that lapses by itself (F43), and one dose of two at the same moment (F42)."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from pathlib import Path

import pytest
from once_room import OnceRoom, furnish

JAR = (
    'stock add "Prazi jar" "50 g" --substance praziquantel --form powder --strength "98 %" --lot A12 --expires 2028-03'
)


@pytest.fixture
def hall(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> OnceRoom:
    """Two keepers, and a dose that is due."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "QUARANTINE_DATABASE", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    return furnish(OnceRoom(tmp_path / "home", capsys))


def test_F43_a_claim_is_seen_by_others_until_it_lapses_by_itself(hall: OnceRoom) -> None:
    """Twenty minutes from 20:00 on: today, the sheet and the JSON say so at 20:19; at 20:20 nobody claims it."""
    code = hall.code()
    assert "is claimed by Robin until 20:20" in hall.type(f"claim {code}")
    hall.at("19:19:59")
    assert f"{code} Praziquantel" in hall.type("today")
    assert "claimed by Robin until 20:20" in hall.type("today", who="Noor")
    assert "claimed by Robin until 20:20" in hall.type("sheet", who="Noor")
    (claimed,) = [t["claimed"] for t in hall.json("today")["tasks"] if t["code"] == code]
    assert claimed == {"by": "Robin", "until": "2026-02-13T20:20:00+01:00"}
    hall.at("19:20:00")
    assert "claimed" not in hall.type("today")
    assert {t["claimed"] for t in hall.json("today")["tasks"]} == {None}


def test_F43_a_lapsed_claim_can_be_taken_and_both_are_logged(hall: OnceRoom) -> None:
    """Noor is refused a second before Robin's claim ends, told who and until when, and has it when it ended."""
    code = hall.code()
    hall.type(f'claim {code} --for "5 min"')
    hall.at("19:04:59")
    refused = hall.json(f"claim {code}", 1, who="Noor")["error"]
    assert "is claimed by Robin until 20:05" in refused["message"]
    assert refused["by"] == "Robin"
    assert "claimed by Noor until 20:25" in hall.at("19:05:00").type(f"claim {code}", who="Noor")
    said = hall.type("journal")
    assert "claimed by Robin until 20:05" in said
    assert "claimed by Noor until 20:25" in said
    assert "The record is whole" in hall.type("check")


def test_a_claim_is_renewed_given_up_and_free_again(hall: OnceRoom) -> None:
    """One's own claim begins anew; only its own keeper ends it before its time, and then anybody may claim."""
    code = hall.code()
    hall.type(f"claim {code}")
    assert "until 21:10" in hall.at("19:10:00").type(f'claim {code} --for "1 h"')
    assert "Only Robin gives it up" in hall.type(f"claim {code} --give-up", 1, who="Noor")
    assert "is free again" in hall.type(f"claim {code} --give-up")
    assert "not claimed by anybody" in hall.type(f"claim {code} --give-up", 1)
    assert "claimed by Noor" in hall.type(f"claim {code}", who="Noor")


def test_a_claim_taken_back_is_none_and_a_giving_up_taken_back_holds_again(hall: OnceRoom) -> None:
    """What was taken back did not happen: claims are facts like all others."""
    code = hall.code()
    hall.type(f"claim {code}")
    hall.type(f"claim {code} --give-up")
    hall.type("undo mistyped")
    assert "claimed by Robin until 20:20" in hall.type("today")
    hall.type("undo mistyped")
    assert "claimed" not in hall.type("today")


@pytest.mark.parametrize(
    ("line", "code", "says"),
    [
        ("claim CODE --for 20", 1, "has no unit"),
        ('claim CODE --for "30 s"', 2, "1 min at least and 4 h at most"),
        ('claim CODE --for "5 h"', 2, "1 min at least and 4 h at most"),
        ('claim CODE --for "10 min" --give-up', 2, "not both"),
        ("claim XXXXX", 1, "There is no task"),
    ],
)
def test_a_wrong_claim_is_one_sentence_and_nothing_is_written(hall: OnceRoom, line: str, code: int, says: str) -> None:
    """A time without a unit, too short or too long, and a code that is none."""
    before = hall.json("check")["head"]
    assert says in hall.type(line.replace("CODE", hall.code()), code)
    hall.type(f"claim {hall.code()} --dry-run")
    assert hall.json("check")["head"] == before


def test_what_somebody_else_claimed_is_asked_about_once(hall: OnceRoom) -> None:
    """Noor gives the dose that Robin claimed: asked who and until when, recorded with --really; Robin is then told."""
    code = hall.code()
    hall.type(f"claim {code}")
    before = hall.json("check")["head"]
    asked = hall.type(f"done {code} --as-shown", 1, who="Noor")
    assert "is claimed by Robin until 20:20: ask Robin" in asked
    assert "say so with --really; nothing was recorded" in asked
    assert hall.json("check")["head"] == before
    assert "given to Q2" in hall.type(f"done {code} --as-shown --really", who="Noor")
    assert "was done by Noor, 2026-02-13 20:00" in hall.type(f"done {code} --as-shown", 1)
    assert "was done by Noor" in hall.type(f"claim {code}", 1)


def test_a_claim_and_a_slip_are_asked_about_together(hall: OnceRoom) -> None:
    """One --really answers both, so both are read first: ten times the amount hides behind no claim."""
    code = hall.code()
    hall.type(f"claim {code}")
    asked = hall.type(f'done {code} --gave "0.9 g"', 1, who="Noor")
    assert "claimed by Robin" in asked
    assert "10 times the 0.09 g" in asked


def test_the_keeper_who_claimed_it_is_not_asked(hall: OnceRoom) -> None:
    """A claim is for the one who made it: done as shown, without a question."""
    code = hall.code()
    hall.type(f"claim {code}")
    assert "given to Q2" in hall.type(f"done {code} --as-shown")


def test_the_round_shows_a_claim_and_asks(hall: OnceRoom, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where Noor comes to the tank, the round says who is at the dose; the amount alone is not taken."""
    code = hall.code()
    hall.type(f"claim {code}")
    monkeypatch.setattr(sys, "stdin", io.StringIO("\n\nas shown\nq\n"))
    said = hall.type("round", who="Noor")
    assert "claimed by Robin until 20:20" in said
    assert "say so with really; nothing was recorded" in said


def _both(hall: OnceRoom, url: str, *lines: list[str]) -> list[str]:
    """Two commands in processes of their own, let go at the same moment: what each says, with its exit code."""
    here = Path(__file__).parent
    paths = [str(here), str(here.parent), *sys.path]
    env = {**os.environ, "QUARANTINE_DATABASE": url, "PYTHONUTF8": "1", "PYTHONPATH": os.pathsep.join(paths)}
    processes = [
        subprocess.Popen(
            [sys.executable, str(here / "once_room.py"), "--home", str(hall.home), *line],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            encoding="utf-8",
            env=env,
        )
        for line in lines
    ]
    for process in processes:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
    return [process.communicate("go\n", timeout=120)[0] for process in processes]


@pytest.fixture
def on_either(
    url: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> OnceRoom:
    """The same hall on SQLite, then on PostgreSQL."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("QUARANTINE_DATABASE", url)
    return furnish(OnceRoom(tmp_path / "home", capsys))


def test_F42_two_processes_give_one_dose_and_one_is_recorded(on_either: OnceRoom, url: str) -> None:
    """Both keepers tick the dose at the same moment: one is told who gave it; the level and the jar know one dose."""
    hall = on_either
    hall.type(JAR)
    code = hall.code()
    said = _both(hall, url, *[["done", code, "--as-shown", "--as", who] for who in ("Robin", "Noor")])
    assert sorted(text.strip().rpartition("\n")[2] for text in said) == ["exit 0", "exit 1"], said
    (loser,) = [" ".join(text.split()) for text in said if "exit 1" in text]
    assert "2026-02-13 20:00. If a second dose was really given, record it: quarantine event dose" in loser
    winner = hall.given(code)
    events = [line for line in hall.json("level Q2 praziquantel")["lines"] if line["kind"] == "dose"]
    assert len(events) == 1
    drawn = [m for m in hall.json('stock show "Prazi jar"')["movements"] if m["kind"] == "dose"]
    assert [-m["amount"] for m in drawn] == [float(winner["given"])]
    assert "The record is whole" in hall.type("check")


def test_F43_two_processes_claim_one_task_and_one_has_it(on_either: OnceRoom, url: str) -> None:
    """Both keepers claim the dose at the same moment: one has it, the other is told who; the journal has one claim."""
    hall = on_either
    code = hall.code()
    said = _both(hall, url, *[["claim", code, "--as", who] for who in ("Robin", "Noor")])
    assert sorted(text.strip().rpartition("\n")[2] for text in said) == ["exit 0", "exit 1"], said
    winner = "Robin" if "exit 0" in said[0] else "Noor"
    (loser,) = [" ".join(text.split()) for text in said if "exit 1" in text]
    assert f"is claimed by {winner} until 20:20" in loser
    entries = hall.json("journal")["entries"]
    assert sum("task claimed" in str(entry) for entry in entries) == 1


def test_C7_a_second_dose_that_was_really_given_is_an_event_of_its_own(hall: OnceRoom) -> None:
    """The second keeper gave it too: done names the command, and the level then holds both."""
    code = hall.code()
    hall.type(f"done {code} --as-shown")
    assert "quarantine event dose" in hall.type(f"done {code} --as-shown", 1, who="Noor")
    hall.type('event dose Q2 Z01 --gave "0.09 g" --really', who="Noor")
    events = [line for line in hall.json("level Q2 praziquantel")["lines"] if line["kind"] == "dose"]
    assert len(events) == 2
