"""Baths and dips through the command line: started with their water standing ready, timed, ended, taken back."""

from __future__ import annotations

import contextlib
import json
import shutil
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from bath_room import template
from freezegun import freeze_time
from round_room import Room

from quarantine.actions.bathing import Running
from quarantine.cli import app
from quarantine.cli.bathing import BELL, clock, keep_time

POUR = "2026-02-13 08:00:00"
"""09:00 in Berlin on day 3, when the first dose may be given."""

LATE = "2026-02-14 10:00:00"
"""Two hours after the 24 h of levamisole (N01) are over."""

WATER = "temp=25C ph=7.8 tan=0.1mg/L nitrite_no2=0.05mg/L oxygen=7mg/L salinity=0.1g/L"


def build(home: Path, protocol: str) -> None:
    """One fresh tank of 50 L, plus or minus 0.5 L, with a batch looked at and tested until day 3."""

    def at(moment: str, *words: str) -> None:
        with freeze_time(moment):
            assert app.run(["--home", str(home), "--as", "Robin", *words]) == 0

    start = "2026-02-10 09:00:00"
    with freeze_time(start):
        assert app.run(["--home", str(home), "keeper", "add", "Robin"]) == 0
    at(start, "keeper", "add", "Noor")
    at(start, "site", "add", "Hall", "--zone", "Europe/Berlin")
    box = ["--shape", "box", "--length", "60 cm", "--width", "30 cm", "--filled", "30 cm"]
    for name, role in (("Q1", "quarantine"), ("Show", "display")):
        at(start, "tank", "add", name, "--site", "Hall", "--role", role, "--water", "fresh", *box)
    at(start, "tank", "measure", "Q1", "50 L", "--by", "buckets", "--plus-minus", "0.5 L")
    at(
        start, "batch", "start", "--tank", "Q1", "--protocol", protocol, "--arrived", "2026-02-10 09:30", "--fish",
        "12 Melanotaenia praecox", "--from", "a breeder", "--to", "Show", "--acknowledge", "--yes",
    )  # fmt: skip
    for day in (10, 11, 12, 13):
        moment = f"2026-02-{day} {'16:00:00' if day < 13 else '07:30:00'}"
        at(moment, "look", f"Q1 12{'' if day == 10 else ' 3'}", "--no-signs")
        at(moment, "reading", "Q1", *WATER.split())


TEMPLATES = {
    "levamisole": lambda: template(),
    "salt": lambda: template("T04", "top up to a reading"),
    "formalin": lambda: template("F02"),
    "permanganate": lambda: template("K01"),
    "off": lambda: template(more='off = ["carbon", "uv"]', chore="Look the tank over"),
}


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """The fish room under a template of that name, built once."""
    folder = tmp_path_factory.mktemp("baths")
    made: dict[str, Path] = {}

    def get(name: str) -> Path:
        if name not in made:
            protocol = name
            if name in TEMPLATES:
                (folder / f"{name}.toml").write_text(TEMPLATES[name](), encoding="utf-8")
                protocol = str(folder / f"{name}.toml")
            made[name] = folder / name
            build(made[name], protocol)
        return made[name]

    return get


Make = Callable[..., "Tank"]


class Tank(Room):
    """The fish room, with the words these tests say most."""

    def start(self, *more: str, at: str = POUR, code: int = 0, keeper: str = "Robin") -> str:
        ready = () if "--clean-tank" in more or "--ready" in more or "--vessel" in more else ("--ready", "60 L")
        amount = () if "--gave" in more else ("--as-shown",)
        return self.run("bath", "start", self.dose(), *amount, *ready, *more, at=at, code=code, keeper=keeper)

    def dose(self) -> str:
        """The code of the first dose there is, open or done."""
        return str(self.tasks("dose")[0]["code"])

    def end_code(self) -> str:
        return str(next(row["code"] for row in self.tasks("") if row["step"] == "bath.end"))

    def tasks(self, kind: str) -> list[dict[str, Any]]:
        import sqlite3

        with sqlite3.connect(self.home / "record.db") as connection:
            connection.row_factory = sqlite3.Row
            rows = [dict(r) for r in connection.execute("select * from task order by coalesce(day, '9'), due_from")]
        connection.close()
        return [row for row in rows if kind in ("", row["kind"])]

    def end_task(self) -> dict[str, Any]:
        return next(row for row in self.tasks("") if row["step"] == "bath.end")


@pytest.fixture
def tank(
    built: Callable[[str], Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Make:
    """A copy of the fish room under a template, and an environment that says nothing."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)

    def make(name: str = "levamisole") -> Tank:
        shutil.copytree(built(name), tmp_path / "home")
        return Tank(tmp_path / "home", capsys, monkeypatch)

    return make


# --- The start -------------------------------------------------------------------------------------------------------


def test_c5_water_for_the_end_stands_ready_before_the_pour(tank: Make) -> None:
    """Rule C5: without the litres that the end takes nothing is poured; 2.03 mg/L down to 0.1 mg/L in 50.5 L is
    (1 - 0.1/2.0202) x 50.5 = 48.0003, so 48.1 L."""
    room = tank()
    said = room.run("bath", "start", room.dose(), "--as-shown", at=POUR, code=1)
    assert '48.1 L of matched, conditioned water stand ready before the pour (rule C5): say --ready "48.1 L"' in said
    assert "10 L are too little" in room.start("--ready", "10 L", code=1)
    assert room.facts("dose") == []
    room.start("--ready", "48.1 L")
    data = room.facts("dose")[0]["data"]
    assert data["note"] == "48.1 L of matched, conditioned water stand ready for the end"
    assert (data["started_at"], data["contact_least"], data["contact_most"]) == ("2026-02-13T08:00:00Z", "24 h", "24 h")
    assert room.entries() > 0


def test_clean_water_for_the_fish_will_do(tank: Make) -> None:
    """Rule C5: fish that go into clean water need no flush; that it stands ready is said and kept."""
    room = tank()
    assert "At its end: the fish into the clean water that stands ready" in room.start("--clean-tank")
    assert room.facts("dose")[0]["data"]["note"] == "clean water for the fish stands ready for the end"


def test_the_card_says_what_the_end_takes(tank: Make) -> None:
    """Rules C5 and C6: the card of a timed bath asks for the water of its end, and says to set a timer now."""
    room = tank()
    said = " ".join(room.run("today", at=POUR).split())
    assert "Confirm: 48.1 L of matched, conditioned water stand ready for the end of the bath (rule C5)" in said
    assert "At its end: change at least 48.1 L at once, or 5 times 24.7 L" in said
    assert f"Set a timer now; this keeps one: quarantine bath start {room.dose()}." in said


def test_c6_the_end_is_real_once_the_start_is(tank: Make, tmp_path: Path) -> None:
    """Rule C6: neither the list nor the calendar has an end before the pour; then both have it, with one alarm at its
    minute."""
    room = tank()
    before, after = tmp_path / "before.ics", tmp_path / "after.ics"
    room.run("calendar", "write", str(before), at=POUR)
    assert "End the bath" not in before.read_text(encoding="utf-8") + room.run("today", at=POUR)
    assert "It ends at 2026-02-14 09:00" in room.start()
    assert "RUNNING, ends 2026-02-14 09:00" in room.run("today", at="2026-02-13 09:00:00")
    room.run("calendar", "write", str(after), at=POUR)
    events = after.read_text(encoding="utf-8").replace("\r\n ", "").split("BEGIN:VEVENT")
    (event,) = [one for one in events if "End the bath" in one]
    assert "DTSTART:20260214T080000Z" in event
    assert event.count("BEGIN:VALARM") == 1
    assert "TRIGGER:-PT1M" in event


def test_a_dry_run_starts_nothing(tank: Make) -> None:
    """--dry-run says when it would end and writes nothing."""
    room = tank()
    before = room.entries()
    assert "Dry run: nothing was written." in room.start("--dry-run")
    assert room.facts("dose") == []
    assert room.entries() == before


def test_p25_two_keepers_start_one_bath(tank: Make) -> None:
    """P25, F42: the second keeper is told who poured it and when, and nothing is poured twice."""
    room = tank()
    room.start()
    said = room.start(at="2026-02-13 08:05:00", code=1, keeper="Noor")
    assert "was done by Robin, 2026-02-13 09:00" in said
    assert len(room.facts("dose")) == 1


def test_done_begins_the_same_bath(tank: Make) -> None:
    """A timed bath that is ticked with `done` runs all the same: its end is on the list."""
    room = tank()
    said = room.run("done", room.dose(), "--as-shown", at=POUR)
    assert "a timed bath that ends after 24 h at most" in said
    assert room.end_task()["due_until"] == "2026-02-14T08:00:00Z"


def test_a_dose_without_a_task_begins_one_too(tank: Make) -> None:
    """What was really poured without a task has an end as well, for the batch in that water."""
    room = tank()
    room.run("event", "dose", "Q1", "N01", "--gave", "0.1 g", "--really", at=POUR)
    assert room.end_task()["state"] == "planned"
    assert "Contact: 24 h, as published." in room.run(
        "bath", "end", room.end_code(), "--fish-out", at="2026-02-14 08:00:00"
    )


def test_what_is_no_bath_is_not_started(tank: Make) -> None:
    """A prolonged dose is ticked as ever; a bath has no vessel."""
    room = tank()
    look = next(row["code"] for row in room.tasks("look") if row["state"] == "planned")
    assert "is no bath with an end within 48 h and no dip" in room.run("bath", "start", look, at=POUR, code=1)
    assert "leave --vessel out" in room.run(
        "bath", "start", room.dose(), "--as-shown", "--vessel", "10 L", at=POUR, code=2
    )


# --- The end ---------------------------------------------------------------------------------------------------------


def test_c7_a_bath_ended_two_hours_late(tank: Make) -> None:
    """Rules A11, C7 and D: an end that nobody saw to heads the list, is never missed, is never skipped; ended, it is an
    overrun with its rescue."""
    room = tank()
    room.start()
    lines = [line.strip() for line in room.run("today", at=LATE).splitlines()]
    first = lines[lines.index("Q1 (Q1-1)") + 1]
    assert first.endswith("OVERDUE since 2026-02-14 09:00")
    assert "End the bath of levamisole" in first
    assert "no task to skip" in room.run("skip", room.end_code(), "--because", "away", at=LATE, code=1)
    said = room.run("bath", "end", room.dose(), "--out", "48.1 L", at=LATE)
    assert "took 26 h, 2 h over its longest contact of 24 h. Now: strong aeration;" in said
    assert "Contact: 26 h, overrun." in said
    done = room.facts("done")[-1]["data"]
    assert (done["contact"], done["elapsed_seconds"]) == ("overrun", "93600")
    assert room.end_task()["state"] == "done"
    assert room.end_task()["title"] == "End the bath of levamisole"
    assert room.entries() > 0


def test_it_is_overdue_weeks_later(tank: Make) -> None:
    """Rule A11: the end of a bath never becomes missed."""
    room = tank()
    room.start()
    at = "2026-03-05 08:00:00"
    room.run("look", "Q1 12 3", "--no-signs", at=at)
    (task,) = [t for t in room.ask("today", at=at)["tasks"] if t["step"] == "bath.end"]
    assert (task["state"], task["section"]) == ("planned", "overdue")


def test_c5_half_the_contact_is_partly(tank: Make) -> None:
    """Rule C5: a bath of 12 of 24 h was partly given, and nothing is given to catch up."""
    room = tank()
    room.start()
    said = room.run("bath", "end", room.dose(), "--out", "48.1 L", at="2026-02-13 20:00:00")
    assert "Contact: 12 h, partly: under 90 % of the 24 h that are published (rule C5)." in said
    assert room.facts("done")[-1]["data"]["contact"] == "partly"


def test_c5_it_stays_open_until_the_level_is_low(tank: Make) -> None:
    """Rule C5: 30 L end the contact and not the bath: it stays open and says how many litres more; those end it."""
    room = tank()
    room.start()
    at = "2026-02-14 08:00:00"
    said = room.run("bath", "end", room.dose(), "--out", "30 L", at=at)
    # 100 mg in 49.5 to 50.5 L; (1 - 30/50.5) x 100/50.5 = 0.8038, and (1 - 0.1/0.8038) x 50.5 = 44.22.
    assert "In the water may be 0.804 mg/L, over 0.1 mg/L" in said
    assert "Not at its end yet. Still: change at least 44.3 L at once, or 4 times 24.7 L." in said
    assert room.end_task()["state"] == "planned"
    later = "2026-02-14 11:00:00"
    said = room.run("bath", "end", room.end_code(), "--out", "44.3 L", "--note", "in two goes", at=later)
    assert "Contact: 24 h, as published." in said
    assert "at or under 0.1 mg/L" in said
    assert room.facts("done")[-1]["data"]["note"] == "in two goes"
    said = room.run("bath", "end", room.end_code(), "--out", "1 L", at=later, code=1, keeper="Noor")
    assert "was done by Robin, 2026-02-14 12:00" in said


def test_done_ends_it_too(tank: Make) -> None:
    """The end of a bath is ticked like another water change, with its litres; a round and a sheet do it so."""
    room = tank()
    room.start()
    assert "How many litres were changed?" in room.run("done", room.end_code(), at="2026-02-14 08:00:00", code=1)
    said = room.run("done", room.end_code(), "--gave", "48.1 L", at="2026-02-14 08:00:00")
    assert "Contact: 24 h, as published." in said
    assert room.end_task()["state"] == "done"


def test_more_water_than_there_is_is_asked_about(tank: Make) -> None:
    """Rule C7: 500 L out of 50 are a slip of the decimal point, until they are said to be so."""
    room = tank()
    room.start()
    said = room.run("bath", "end", room.dose(), "--out", "500 L", at=LATE, code=1)
    assert "500 L is more than the 50 L that are in this water." in said
    assert room.facts("change") == []
    room.run("bath", "end", room.dose(), "--out", "500 L", "--really", at=LATE)


def test_a_bath_does_not_end_before_its_pour(tank: Make) -> None:
    """A time before the pour is a slip of the date, and one of both ways to end is asked for."""
    room = tank()
    room.start()
    said = room.run("bath", "end", room.dose(), "--fish-out", "--at", "2026-02-13 08:00", at=LATE, code=1)
    assert "The last of it was poured 2026-02-13 09:00" in said
    assert "How did it end?" in room.run("bath", "end", room.dose(), at=LATE, code=2)
    assert "How did it end?" in room.run("bath", "end", room.dose(), "--fish-out", "--out", "9 L", at=LATE, code=2)


def test_c5_a_water_change_inside_it_ends_it(tank: Make) -> None:
    """Rule C5: `event change` says that it ended the contact, how long that was, and how much water is still to go."""
    room = tank()
    assert "inside a timed bath" not in room.run("event", "change", "Q1", "--out", "1 L", at="2026-02-13 07:40:00")
    room.start()
    said = room.run("event", "change", "Q1", "--out", "10 L", at="2026-02-13 10:00:00")
    assert "A change inside a timed bath ends it (rule C5): levamisole, contact 2 h, partly" in said
    assert "Still: change at least" in said
    assert room.end_task()["title"].startswith("Go on clearing levamisole")


def test_c5_a_little_drained_in_time_and_the_rest_late_is_warned_of(tank: Make) -> None:
    """Rules C5 and C7: 5 L in time end the contact; hours past the longest one the level still stood above its limit,
    which `bath end` and `event change` answer with the rescue, and the record keeps the contact as it counts."""
    room = tank()
    room.start()
    said = room.run("bath", "end", room.dose(), "--out", "5 L", at="2026-02-14 07:30:00")
    assert "WARNING" not in said
    said = " ".join(room.run("event", "change", "Q1", "--out", "5 L", at="2026-02-14 11:00:00").split())
    assert "the water is not cleared 27 h after the pour, 3 h over the longest contact of 24 h" in said
    assert "all of it matched and conditioned; fresh activated carbon; watch the fish; call a veterinarian." in said
    said = " ".join(room.run("bath", "end", room.end_code(), "--out", "48 L", at="2026-02-14 12:00:00").split())
    assert "was cleared only 28 h after the pour, 4 h over the longest contact of 24 h" in said
    assert "Contact: 23 h 30 min, as published." in said
    assert room.facts("done")[-1]["data"]["contact"] == "as published"


def test_the_end_of_a_bath_of_an_oxidiser_takes_water_without_conditioner(tank: Make) -> None:
    """Conditioner is never with oxidisers (permanganate, K01): neither the card nor the start asks for conditioned
    water, and what stood ready is kept so."""
    room = tank("permanganate")
    free = "matched water that a test shows free of chlorine, no conditioner, stand ready"
    said = " ".join(room.run("today", at=POUR).split())
    assert free in said
    assert "conditioned water stand" not in said
    refused = " ".join(room.run("bath", "start", room.dose(), "--as-shown", at=POUR, code=1).split())
    assert free in refused
    room.start()
    assert room.facts("dose")[0]["data"]["note"] == f"60 L of {free} for the end"
    late = " ".join(room.run("bath", "end", room.dose(), "--out", "5 L", at="2026-02-13 14:00:00").split())
    assert "all of it matched and free of chlorine by a test, no conditioner" in late


def test_a_water_change_that_clears_it_settles_the_end(tank: Make) -> None:
    """A change that nobody called the end of the bath, and that is enough, settles the task; taken back, it is open."""
    room = tank()
    room.start()
    room.run("event", "change", "Q1", "--out", "49 L", at="2026-02-14 08:00:00")
    assert room.end_task()["state"] == "done"
    room.run("undo", "other tank", "--yes", at="2026-02-14 08:10:00")
    assert room.end_task()["state"] == "planned"
    assert room.end_task()["outcome"] is None
    assert room.entries() > 0


def test_a_bath_with_salt_that_may_stay(tank: Make) -> None:
    """Row T04: at 5 g/L, which is the prolonged limit, no litres have to go; any change in 12 h ends contact."""
    room = tank("salt")
    said = room.run("bath", "start", room.dose(), "--as-shown", at=POUR)
    assert "change water or take the fish out; its level may stay (the prolonged limit of 5 g/L)" in said
    assert "It ends at 2026-02-13 21:00" in said
    said = room.run("bath", "end", room.dose(), "--out", "12.5 L", at="2026-02-13 18:00:00")
    assert "Contact: 10 h, as published." in said
    assert "at or under the prolonged limit of 5 g/L" in said


def test_formalin_ends_at_its_prolonged_limit_within_the_hour(tank: Make) -> None:
    """Row F02: 60 min at most, down to 25 uL/L. 7 mL in 49.5 L are 141.4 uL/L; (1 - 25/141.4) x 50.5 = 41.57 L."""
    room = tank("formalin")
    said = room.start("--gave", "7 mL", "--strength", "37 % formaldehyde", "--really", "--ready", "41.6 L")
    assert "At its end: change at least 41.6 L at once" in said
    assert "(the prolonged limit of 25 uL/L)" in said
    said = room.run("bath", "end", room.dose(), "--out", "41.6 L", at="2026-02-13 09:05:00")
    assert "took 1 h 5 min, 5 min over its longest contact of 60 min" in said
    assert "at or under the prolonged limit of 25 uL/L" in said


def test_c15_salt_on_salt_that_nobody_read(tank: Make) -> None:
    """Rule C15: a limit of salt is one of all salt. Poured without a reading of a day, no level ends the bath: the fish
    go into clean water."""
    room = tank("salt")
    at = "2026-02-15 08:00:00"
    told = ["--gave", "240 g", "--really"]
    said = room.run("bath", "start", room.dose(), *told, "--ready", "200 L", at=at, code=1)
    assert "How much water the end of this bath takes cannot be computed for this tank" in said
    room.run("bath", "start", room.dose(), *told, "--clean-tank", at=at)
    said = room.run("bath", "end", room.dose(), "--out", "49 L", at="2026-02-15 18:00:00")
    assert "Still: the fish into clean water, because how much to change is not known." in said
    assert "the bath has ended" in room.run("bath", "end", room.dose(), "--fish-out", at="2026-02-15 18:10:00")


def test_b7_the_end_outlives_the_fish(tank: Make) -> None:
    """Rule B7: when the last fish dies its doses are withdrawn; the end of the bath stays, and can be made."""
    room = tank()
    room.start()
    at = "2026-02-14 08:00:00"
    room.run("event", "died", "Q1", "12", at=at)
    room.run("signoff", "Q1-1", "--died-out", at=at)
    assert room.end_task()["state"] == "planned"
    assert "End the bath of levamisole" in room.run("today", at=at)
    room.run("bath", "end", room.end_code(), "--out", "48.1 L", at=at)
    assert room.end_task()["state"] == "done"
    room.run("undo", "not yet", "--yes", at=at)
    assert room.end_task()["state"] == "planned"
    assert room.entries() > 0


def test_c9_the_end_is_never_held(tank: Make) -> None:
    """Rule C9: an A sign holds every dose of that water, and not the end of a bath."""
    room = tank()
    room.start()
    at = "2026-02-14 08:00:00"
    assert "ACT NOW" in room.run("look", "Q1 12 3", "--sign", "gasping", at=at)
    assert "Contact: 24 h, as published." in room.run("bath", "end", room.dose(), "--out", "48.1 L", at=at)


def test_a_bath_through_the_night_of_the_clocks(tank: Make) -> None:
    """Rule A12: poured at 20:00 in Berlin before clocks go forward, 24 h end at 21:00 the next evening."""
    room = tank()
    said = room.start("--gave", "0.1 g", "--really", at="2026-03-28 19:00:00")
    assert "It ends at 2026-03-29 21:00" in said
    assert "Contact: 24 h, as published." in room.run(
        "bath", "end", room.dose(), "--out", "48.1 L", "--at", "21:00", at="2026-03-29 19:30:00"
    )


def test_a_round_ends_a_bath_with_its_litres(tank: Make) -> None:
    """In a round the end of a bath is a water change: its litres are typed, and what came of it is said."""
    room = tank()
    room.start()
    at = "2026-02-14 08:00:00"
    said = room.run("round", typed="12 3 n\n\n\n48.1 L\ny\n", at=at)
    assert "How many litres were changed?" in said
    assert room.end_task()["state"] == "done"
    assert room.facts("done")[-1]["data"]["contact"] == "as published"


# --- Taken back and corrected ----------------------------------------------------------------------------------------


def test_undo_of_a_start_takes_the_end_with_it(tank: Make) -> None:
    """A pour that was not made has no end: taken back, its task is withdrawn and the dose is open again."""
    room = tank()
    room.start()
    room.run("undo", "wrong tank", "--yes", at="2026-02-13 08:10:00")
    assert room.end_task()["state"] == "withdrawn"
    assert next(row for row in room.tasks("dose"))["state"] == "planned"
    assert "is not running" in room.run("bath", "end", room.dose(), "--fish-out", at=LATE, code=1)
    room.start(at="2026-02-13 08:20:00")
    assert [row["state"] for row in room.tasks("") if row["step"] == "bath.end"] == ["withdrawn", "planned"]
    assert room.entries() > 0


def test_undo_of_an_end_opens_it_again(tank: Make) -> None:
    """An end that was not made is open again, with the litres that it takes, and can be made again."""
    room = tank()
    room.start()
    at = "2026-02-14 08:00:00"
    room.run("bath", "end", room.dose(), "--out", "48.1 L", at=at)
    room.run("undo", "only thought of it", "--yes", at=at)
    assert room.end_task()["state"] == "planned"
    assert "change at least 48.1 L" in room.end_task()["title"]
    room.run("bath", "end", room.dose(), "--out", "48.1 L", at=at)
    assert room.end_task()["state"] == "done"
    assert room.entries() > 0


def test_fewer_litres_after_all_open_it_again(tank: Make) -> None:
    """A change that is corrected from 48.1 to 4.81 L did not end the bath: the task is open, and says what is left."""
    room = tank()
    room.start()
    at = "2026-02-14 08:00:00"
    room.run("bath", "end", room.dose(), "--out", "48.1 L", at=at)
    seal = room.ask("journal", "--last", "1", at=at)["entries"][-1]["seal"][:8]
    room.run("correct", seal, "out=4.81L", "in=4.81L", "--because", "decimal point", "--yes", at=at)
    assert room.end_task()["state"] == "planned"
    assert room.end_task()["title"].startswith("Go on clearing levamisole")
    assert room.entries() > 0


def test_c10_what_no_step_puts_back_is_a_task(tank: Make) -> None:
    """Rule C10, F38: carbon and UV were off for the dose, and no chore of the template puts them back: one does, after
    contact, and it can be done."""
    room = tank("off")
    room.start()
    assert [row for row in room.tasks("chore") if row["step"] == "bath.put-back"] == []
    at = "2026-02-14 08:00:00"
    room.run("bath", "end", room.dose(), "--fish-out", at=at)
    code = room.code("Put back after the levamisole: carbon in, UV on", at=at)
    room.run("done", code, at=at)
    assert "Put back" not in room.run("today", at=at)
    assert room.entries() > 0


# --- Dips ------------------------------------------------------------------------------------------------------------


def test_c6_a_dip_begun_and_ended_is_the_dose(tank: Make) -> None:
    """Rule C6, F26: a dip that was begun from the terminal and ended there is the same dose as one that is told with
    its two times."""
    room = tank("fresh-salt-dip")
    said = room.start("--vessel", "10 L")
    assert "It ends from 09:00:30 on, at the latest 09:01:00" in said
    assert room.facts("dose") == []
    assert "was started by Robin" in room.start("--vessel", "10 L", at="2026-02-13 08:00:10", code=1, keeper="Noor")
    assert "RUNNING" in room.run("today", at="2026-02-13 08:00:20")
    said = room.run("bath", "end", room.dose(), at="2026-02-13 08:00:50")
    assert "a dip of 50 s (as published)" in said
    begun = room.facts("dose")[0]["data"]
    assert (begun["started_at"], begun["ended_at"], begun["elapsed_seconds"], begun["contact"]) == (
        "2026-02-13T08:00:00Z",
        "2026-02-13T08:00:50Z",
        "50",
        "as published",
    )
    assert room.end_task()["state"] == "done"
    assert room.entries() > 0


def test_a_dip_told_afterwards_has_the_same_data(tank: Make) -> None:
    """The same dip told with --vessel, --started and --ended leaves the same fact, the plan aside."""
    room = tank("fresh-salt-dip")
    told = ["--vessel", "10 L", "--started", "09:00:00", "--ended", "09:00:50"]
    room.run("done", room.dose(), "--as-shown", *told, at="2026-02-13 08:02:00")
    one = room.facts("dose")[0]["data"]
    kept = {
        n: one[n] for n in ("given", "mass_mg", "volume_litres", "elapsed_seconds", "contact", "gives_high_mg_per_l")
    }
    assert kept == {
        "given": "283.57",
        "mass_mg": "283570",
        "volume_litres": "10",
        "elapsed_seconds": "50",
        "contact": "as published",
        "gives_high_mg_per_l": kept["gives_high_mg_per_l"],
    }


def test_a_dip_over_its_limit_heads_the_list(tank: Make) -> None:
    """Rules A11 and D: a dip that is over its minute heads the list; ended, it is an overrun with its rescue."""
    room = tank("fresh-salt-dip")
    room.start("--vessel", "10 L")
    at = "2026-02-13 08:03:00"
    lines = [line.strip() for line in room.run("today", at=at).splitlines()]
    assert "End the dip in sodium-chloride" in lines[lines.index("Q1 (Q1-1)") + 1]
    said = room.run("bath", "end", room.end_code(), at=at)
    assert "a dip of 180 s (overrun)" in said
    assert "over its limit of 60 s. Now: every fish in clean water" in said


def test_a_dip_that_was_not_begun_is_taken_back(tank: Make) -> None:
    """The start of a dip can be taken back: its end is withdrawn, and the dip can be begun again."""
    room = tank("fresh-salt-dip")
    room.start("--vessel", "10 L")
    room.run("undo", "the fish jumped back", at="2026-02-13 08:00:30")
    assert room.end_task()["state"] == "withdrawn"
    room.start("--vessel", "10 L", at="2026-02-13 08:10:00")
    assert room.entries() > 0


def test_a_dip_wants_its_vessel(tank: Make) -> None:
    """Rule C15: a dip is begun with the litres of its vessel, and ends without any."""
    room = tank("fresh-salt-dip")
    assert "say the water in its vessel" in room.run("bath", "start", room.dose(), "--as-shown", at=POUR, code=1)
    assert "leave --ready and --clean-tank out" in room.start("--vessel", "10 L", "--clean-tank", code=2)
    room.start("--vessel", "10 L")
    assert "leave --out and --in out" in room.run("bath", "end", room.dose(), "--out", "1 L", at=POUR, code=2)
    assert "A dip is ended when the last fish is out" in room.run("done", room.end_code(), at=POUR, code=1)


# --- The timer -------------------------------------------------------------------------------------------------------


class Clock:
    """A clock that moves only when it is slept on, and stops a timer after so many seconds."""

    def __init__(self, at: datetime, stop: int) -> None:
        self.at = at
        self.left = stop

    def now(self) -> datetime:
        return self.at

    def sleep(self, seconds: float) -> None:
        self.at += timedelta(seconds=seconds)
        self.left -= 1
        if self.left < 0:
            raise KeyboardInterrupt


BEGUN = datetime.fromisoformat("2026-02-13T08:00:00+00:00")
RUN = Running(
    "K4T7",
    "bath of levamisole",
    "Q1",
    "UTC",
    BEGUN,
    BEGUN + timedelta(minutes=2),
    BEGUN + timedelta(minutes=3),
    None,
    "change at least 30 L",
)


def watch(clock_: Clock, *, live: bool, again: Callable[[], Running] = lambda: RUN) -> None:
    with contextlib.suppress(KeyboardInterrupt):
        keep_time(RUN, again, clock_.now, clock_.sleep, live=live)


def test_a_timer_into_a_file_says_each_minute(capsys: pytest.CaptureFixture[str]) -> None:
    """Where no terminal reads, there is a line at the start and each minute; the bell at the end and each minute
    over."""
    watch(Clock(BEGUN, 5 * 60), live=False)
    lines = capsys.readouterr().out.splitlines()
    now = "Now: change at least 30 L. quarantine bath end K4T7"
    assert lines == [
        "Q1, bath of levamisole: 3 min 0 s left, from 2 min 0 s on",
        "Q1, bath of levamisole: 2 min 0 s left, from 1 min 0 s on",
        "Q1, bath of levamisole: 1 min 0 s left, may end now",
        f"{BELL}Q1, bath of levamisole: time is up. {now}",
        f"{BELL}Q1, bath of levamisole: OVER by 1 min 0 s. {now}",
        f"{BELL}Q1, bath of levamisole: OVER by 2 min 0 s. {now}",
    ]


def test_a_timer_on_a_terminal_keeps_one_line(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """At a terminal every second is written over the one before, in one line of its width."""
    monkeypatch.setenv("COLUMNS", "40")
    watch(Clock(BEGUN, 3), live=True)
    parts = capsys.readouterr().out.split("\r")[1:]
    assert [part.strip() for part in parts] == [
        "Q1, bath of levamisole: 3 min 0 s left,",
        "Q1, bath of levamisole: 2 min 59 s left",
        "Q1, bath of levamisole: 2 min 58 s left",
        "Q1, bath of levamisole: 2 min 57 s left",
    ]
    assert {len(part) for part in parts} == {39}


def test_c6_a_timer_is_taken_up_again(capsys: pytest.CaptureFixture[str]) -> None:
    """Rule C6: a terminal that was closed loses no time: a new one shows what is left by the clock."""
    watch(Clock(BEGUN, 10), live=False)
    watch(Clock(BEGUN + timedelta(seconds=100), 0), live=False)
    assert capsys.readouterr().out.splitlines()[-1] == "Q1, bath of levamisole: 1 min 20 s left, from 20 s on"


def test_a_timer_stops_when_the_bath_has_ended(capsys: pytest.CaptureFixture[str]) -> None:
    """A bath that another keeper ends stops the timer at the next minute."""
    clock_ = Clock(BEGUN, 10_000)
    ended = RUN._replace(over_at=BEGUN + timedelta(seconds=30))
    keep_time(RUN, lambda: ended, clock_.now, clock_.sleep, live=False)
    assert clock_.at == BEGUN + timedelta(seconds=60)
    assert capsys.readouterr().out.splitlines()[-1] == "The bath of levamisole in Q1 has ended on record."


def test_ctrl_c_leaves_the_record_and_says_how_to_go_on(tank: Make, monkeypatch: pytest.MonkeyPatch) -> None:
    """`bath start --timer` records first: Ctrl-C stops the showing and nothing else."""

    def interrupted(seconds: float) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("quarantine.cli.bathing.time.sleep", interrupted)
    room = tank()
    said = room.start("--timer", code=130)
    assert "Q1, bath of levamisole: 24 h 0 min left" in said
    assert f"goes on and is on record. The time again: quarantine bath timer {room.end_code()}." in said
    assert len(room.facts("dose")) == 1
    again = room.run("bath", "timer", room.dose(), at="2026-02-13 09:00:00", code=130)
    assert "Q1, bath of levamisole: 23 h 0 min left" in again
    assert len(room.facts("dose")) == 1


def test_the_time_as_a_document(tank: Make) -> None:
    """With --json the timer answers once; before a start there is nothing to time."""
    room = tank()
    assert "is not running" in room.run("bath", "timer", room.dose(), at=POUR, code=1)
    room.start()
    told = room.ask("bath", "timer", room.dose(), at=LATE)
    assert (told["left"], told["end_until"], told["ended_at"]) == (
        "over by 2 h 0 min",
        "2026-02-14T08:00:00+00:00",
        None,
    )
    made = json.loads(room.run("bath", "end", room.dose(), "--fish-out", "--json", at=LATE))
    assert (made["ended"], made["contact"]) == (True, "overrun")
    said = room.run("bath", "start", room.dose(), "--as-shown", "--timer", "--json", at=LATE, code=2)
    assert "--timer is for people" in said


@pytest.mark.parametrize(
    ("seconds", "text"), [(-5, "0 s"), (59, "59 s"), (60, "1 min 0 s"), (3599, "59 min 59 s"), (3660, "1 h 1 min")]
)
def test_the_clock_in_words(seconds: int, text: str) -> None:
    """Seconds for people in two units at most, never below zero."""
    assert clock(seconds) == text
