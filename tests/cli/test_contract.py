"""Command names, options and JSON keys that programs may rely on, on one small record and a passed-in clock."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time

from quarantine.cli.app import run

TASK_KEYS = [
    *("code", "key", "system", "tanks", "batches", "kind", "step", "title", "day"),
    *("due_from", "due_until", "lapses_at", "state", "section", "needs", "hold", "dose", "conditioner", "claimed"),
]
DOSE_KEYS = [
    *("substance", "regimen", "route", "target", "target_unit", "volume_litres", "volume_plus_minus_litres"),
    *("add", "add_unit", "add_of", "gives_low", "gives_high", "gives_unit", "reference", "cautions"),
]
HOLD_KEYS = {"rule", "figure", "figure_unit", "reference", "remedy"}
READY = ["temp=25.5C", "ph=8.1", "tan=0.1mg/L", "nitrite_no2=0.05mg/L", "oxygen=6.5mg/L", "salinity=34g/L"]

Ask = Callable[..., Any]


@pytest.fixture
def ask(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Ask:
    """Run one command line on a home of its own and read its JSON document."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)

    def run_it(*words: str, code: int = 0) -> Any:
        assert run(["--home", str(tmp_path / "home"), "--json", *words]) == code, capsys.readouterr()
        return json.loads(capsys.readouterr().out)

    return run_it


def fish_room(ask: Ask) -> None:
    """One site, two keepers, a marine quarantine of 49.3 L measured, a display; a medicated batch on day 0."""
    with freeze_time("2026-02-10 09:00:00"):
        ask("site", "add", "Hall", "--zone", "Europe/Berlin")
        ask("keeper", "add", "Robin")
        ask("keeper", "add", "Noor", "--as", "Robin")
        box = ["--shape", "box", "--length", "60 cm", "--width", "30 cm", "--filled", "30 cm", "--label", "60 L"]
        ask("tank", "add", "Q2", "--site", "Hall", "--role", "quarantine", "--water", "marine", *box, "--as", "Robin")
        ask("tank", "add", "Reef", "--site", "Hall", "--role", "display", "--water", "marine", *box, "--as", "Robin")
        ask("tank", "measure", "Q2", "49.3L", "--by", "buckets", "--plus-minus", "0.5L", "--as", "Robin")
        ask(
            "batch", "start", "--tank", "Q2", "--protocol", "marine-praziquantel", "--arrived", "2026-02-10 09:30",
            "--fish", "4 Centropyge bicolor, 6 cm", "--from", "an importer", "--to", "Reef", "--acknowledge", "--yes",
            "--as", "Robin",
        )  # fmt: skip


def three_days(ask: Ask) -> None:
    """Looks and readings of days 0 to 3, so that the first dose is open."""
    for day in (10, 11, 12, 13):
        with freeze_time(f"2026-02-{day} 16:00:00"):
            appetite = [] if day == 10 else ["3"]
            ask("look", " ".join(["Q2", "4", *appetite]), "--no-signs", "--as", "Robin")
            ask("reading", "Q2", *READY, "--as", "Robin")


def the_dose(ask: Ask) -> Any:
    """The open dose of today's list."""
    (dose,) = [t for t in ask("today")["tasks"] if t["kind"] == "dose"]
    return dose


def test_today_has_the_keys_of_the_contract_and_numbers_as_numbers(ask: Ask) -> None:
    """2 mg/L x 49.3 L = 98.6 mg; on a 0.01 g scale 0.09 g; 90 mg / 49.8 L and / 48.8 L: 1.80 to 1.85 mg/L (by hand)."""
    fish_room(ask)
    three_days(ask)
    with freeze_time("2026-02-13 16:30:00"):
        document = ask("today")
        task = the_dose(ask)
    assert document["on"] == "2026-02-13"
    assert list(task) == TASK_KEYS
    assert task["hold"] is None
    assert list(task["dose"]) == DOSE_KEYS
    assert (task["dose"]["add"], task["dose"]["add_unit"]) == (0.09, "g")
    assert (task["dose"]["gives_low"], task["dose"]["gives_high"]) == (1.8, 1.85)
    assert task["dose"]["volume_litres"] == 49.3
    assert task["day"] == "2026-02-13"
    assert task["due_from"].endswith("+01:00")
    assert task["code"].startswith("D")


def test_a_held_dose_shows_no_amount_and_its_rule(ask: Ask) -> None:
    """Rule C8: nobody has seen them eat, so the first dose is held, with what to do."""
    fish_room(ask)
    with freeze_time("2026-02-13 16:30:00"):
        task = the_dose(ask)
    assert task["dose"]["add"] is None
    assert set(task["hold"]) >= HOLD_KEYS
    assert task["hold"]["rule"] == "C8"
    assert task["hold"]["remedy"]


def test_story_1_a_second_done_is_told_who_gave_it_and_when(ask: Ask) -> None:
    """A dose given 20:10 by one keeper; the other types done at 20:40 and is refused with that time."""
    fish_room(ask)
    three_days(ask)
    with freeze_time("2026-02-13 18:30:00"):
        code = the_dose(ask)["code"]
    with freeze_time("2026-02-13 18:45:00"):
        ask("done", code, "--as-shown", "--as", "Robin")
    with freeze_time("2026-02-13 18:50:00"):
        error = ask("done", code, "--as-shown", "--as", "Noor", code=1)["error"]
    assert error["by"] == "Robin"
    assert error["at"] == "2026-02-13 19:45"
    assert "second dose was really given" in error["message"]


def test_story_3_a_measured_volume_changes_later_doses_and_leaves_past_ones(ask: Ask) -> None:
    """F14: the dose given keeps the 49.3 L it was computed with; the next uses the 40 L measured since."""
    fish_room(ask)
    three_days(ask)
    with freeze_time("2026-02-13 17:00:00"):
        code = the_dose(ask)["code"]
        ask("done", code, "--as-shown", "--as", "Robin")
    with freeze_time("2026-02-14 09:00:00"):
        ask("tank", "measure", "Q2", "40L", "--by", "meter", "--plus-minus", "0.5L", "--as", "Robin")
        given = ask("why", code)["given"]
        later = [t for t in ask("today", "--on", "2026-02-17")["tasks"] if t["kind"] == "dose"]
        shown = ask("tank", "show", "Q2")
    assert given["volume_litres"] == "49.3"
    assert later[0]["dose"]["volume_litres"] == 40
    assert later[0]["dose"]["add"] == 0.08  # 2 mg/L x 40 L = 80 mg
    assert shown["volume"]["litres"] == 40
    assert shown["volume"]["method"] == "meter"
    assert shown["volume"]["measured_on"] == "2026-02-14"
    assert [round(v["litres"], 1) for v in shown["history"]] == [54, 49.3]
    assert set(shown["volume"]) >= {"litres", "plus_minus_litres", "method", "measured_on", "working"}
    assert shown["label_litres"] == 60
    assert shown["label_overdose_percent"] == 50  # 60 / 40


def test_a_dry_run_is_the_real_action_and_leaves_nothing(ask: Ask, tmp_path: Path) -> None:
    """The same answer as the real one, and a record with the same content."""
    fish_room(ask)
    three_days(ask)
    with freeze_time("2026-02-13 17:00:00"):
        head = ask("check")["head"]
        code = the_dose(ask)["code"]
        dry = ask("done", code, "--as-shown", "--as", "Robin", "--dry-run")
        assert dry["dry_run"] is True
        assert ask("check")["head"] == head
        assert the_dose(ask)["state"] == "planned"
        wet = ask("done", code, "--as-shown", "--as", "Robin")
    assert dry["tasks"] == wet["tasks"]


def test_preview_equals_the_plan_that_starts(ask: Ask) -> None:
    """F12: the dates shown before are the dates planned after; nothing was written by showing them."""
    fish_room(ask)
    with freeze_time("2026-02-10 09:40:00"):
        head = ask("check")["head"]
        shown = ask("protocol", "preview", "marine-praziquantel", "--tank", "Q2", "--arrived", "2026-02-10 09:30")
        assert ask("check")["head"] == head
        planned = ask("batch", "show", "Q2-1")
    assert sorted((t["step"], t["day"]) for t in shown["tasks"]) == sorted(
        (t["step"], t["day"]) for t in planned["tasks"]
    )
    assert shown["totals"] == [{"substance": "praziquantel", "grams": 0.18, "grams_text": "0.18"}]
    assert shown["earliest"] == planned["earliest"] == "2026-03-12"


def test_a_dose_entered_late_keeps_another_from_being_offered_beside_it(ask: Ask) -> None:
    """Spacing counts over all doses of the water: a dose told of afterwards holds the planned one."""
    fish_room(ask)
    three_days(ask)
    with freeze_time("2026-02-13 17:00:00"):
        assert the_dose(ask)["hold"] is None
        ask(
            "event", "dose", "Q2", "Z01", "--gave", "0.09 g", "--at", "2026-02-12 20:00", "--really", "--as", "Robin"
        )  # fmt: skip
        held = the_dose(ask)
    assert held["dose"]["add"] is None
    assert held["hold"]["rule"] == "minimum gap"
    assert held["hold"]["figure"] == 4


def test_more_than_the_ceiling_really_given_is_recorded_and_answered_with_the_rescue(ask: Ask) -> None:
    """Rule C7: ten times the dose is asked about once, then recorded, and the litres to change are computed."""
    fish_room(ask)
    three_days(ask)
    with freeze_time("2026-02-13 17:00:00"):
        code = the_dose(ask)["code"]
        slip = ask("done", code, "--gave", "0.9 g", "--as", "Robin", code=1)["error"]
        assert "10 times" in slip["message"]
        made = ask("done", code, "--gave", "0.9 g", "--really", "--as", "Robin")
    rescue = made["tasks"][0]["rescue"]
    # 900 mg / 48.8 L = 18.4 mg/L against 10 mg/L: 46 % of 49.3 L is 22.6 L at least.
    assert "over the ceiling of 10 mg/L" in rescue
    assert "veterinarian" in rescue


def test_with_several_keepers_somebody_must_say_who(ask: Ask) -> None:
    """F55: an entry without who is refused when more than one keeper is listed; the known ones are named."""
    fish_room(ask)
    error = ask("look", "Q2 4", code=1)["error"]
    assert error["known"] == ["Noor", "Robin"]


@pytest.mark.parametrize(
    ("words", "key"),
    [
        (["tank", "list"], "tanks"),
        (["batch", "list"], "batches"),
        (["today"], "tasks"),
        (["protocol", "list"], "protocols"),
        (["formulary", "list"], "substances"),
        (["site", "list"], "sites"),
        (["keeper", "list"], "keepers"),
    ],
)
def test_every_list_is_one_document_with_a_plural_key_even_when_empty(ask: Ask, words: list[str], key: str) -> None:
    """A program can always read it; an empty record gives an empty list and makes no file."""
    assert isinstance(ask(*words)[key], list)


def test_reading_an_empty_home_creates_nothing(ask: Ask, tmp_path: Path) -> None:
    """Reads never make a folder or a file."""
    ask("today")
    ask("batch", "list")
    ask("where")
    assert not (tmp_path / "home").exists()
