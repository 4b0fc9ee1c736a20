"""Every template that ships: previewed, started, and those that give nothing lived through to release."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time

from quarantine.cli.app import run
from quarantine.protocol import load, shipped

MONDAY = date(2026, 2, 9)
ARRIVED = f"{MONDAY} 10:30"
WATCHING = [name for name in shipped() if not load(name).medicated]
FINE = {
    "fresh": ["ph=7.2", "tan=0.1mg/L", "nitrite_no2=0.05mg/L"],
    "marine": ["ph=8.1", "tan=0.1mg/L", "nitrite_no2=0.05mg/L", "salinity=34g/L"],
}
WARMTH = {"goldfish-watch": "temp=21C", "koi-watch": "temp=23C", "koi-warm-hold": "temp=23C"}

Ask = Callable[..., Any]


@pytest.fixture
def ask(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Ask:
    """Type one command line at 17:00 of a day in Berlin; its document, or the sentence of a refusal."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)

    def asked(day: int, *words: str, code: int = 0) -> Any:
        with freeze_time(f"{MONDAY + timedelta(days=day)} 16:00:00"):
            answer = run(["--home", str(tmp_path / "home"), *words, "--json"])
        said = capsys.readouterr()
        assert answer == code, said
        return json.loads(said.out)

    return asked


def room(ask: Ask, name: str) -> None:
    """One quarantine Q and one display of the template's water, 54 L each."""
    ask(-1, "keeper", "add", "Robin")
    ask(-1, "site", "add", "Hall", "--zone", "Europe/Berlin")
    for tank, role in (("Q", "quarantine"), ("Show", "display")):
        ask(
            -1, "tank", "add", tank, "--site", "Hall", "--role", role, "--water", load(name).water, "--shape", "box",
            "--length", "60 cm", "--width", "30 cm", "--filled", "30 cm",
        )  # fmt: skip


def begin(ask: Ask, name: str) -> Any:
    return ask(
        0, "batch", "start", "--tank", "Q", "--protocol", name, "--arrived", ARRIVED, "--fish", "4 Invented species",
        "--from", "a neighbour", "--to", "Show", "--acknowledge", "--yes",
    )  # fmt: skip


@pytest.mark.parametrize("name", list(shipped()))
def test_each_template_previews_starts_and_has_work_for_the_first_day(ask: Ask, name: str) -> None:
    """No refusal, nothing that this version cannot plan, and the preview's earliest day is the batch's."""
    room(ask, name)
    shown = ask(-1, "protocol", "preview", name, "--tank", "Q", "--arrived", ARRIVED)
    started = begin(ask, name)
    assert shown["earliest"] == started["earliest"]
    assert shown["earliest"] >= str(MONDAY + timedelta(days=load(name).periods[0].length.value))
    assert started["past_tasks"] == 0
    kinds = {task["kind"] for task in ask(0, "today")["tasks"] if task["day"] == str(MONDAY)}
    assert {"look", "test", "chore"} <= kinds


def look(ask: Ask, name: str, day: int, *, only_temperature: bool) -> None:
    """All four seen and well, fed where the template feeds, and the readings of the day."""
    feeds = any(step.kind == "feed" for step in load(name).steps) and day > 0
    warmth = WARMTH.get(name, "temp=25.5C")
    readings = [] if only_temperature else FINE[load(name).water]
    ask(day, "look", " ".join(["Q 4", *(["3"] if feeds else []), warmth, *readings]), "--no-signs")


def tick(ask: Ask, day: int) -> None:
    """Whatever is still open on a day is done."""
    tasks = [t for t in ask(day, "today")["tasks"] if t["day"] is not None and t["day"] <= str(on(day))]
    for kind, amount in (("chore", []), ("change", ["--as-shown"])):
        for task in tasks:
            if task["kind"] == kind and task["state"] == "planned":
                ask(day, "done", task["code"], *amount)


def on(day: int) -> date:
    return MONDAY + timedelta(days=day)


@pytest.mark.parametrize("name", WATCHING)
def test_a_stay_that_goes_well_ends_with_release_on_the_day_that_was_shown(ask: Ask, name: str) -> None:
    """Looks every day, tests as planned (at school only from Monday to Friday), weekly work on Mondays: refused the
    day before its last, released on its last."""
    room(ask, name)
    last = (date.fromisoformat(begin(ask, name)["earliest"]) - MONDAY).days
    assert last == load(name).periods[0].length.value
    school = name == "fresh-school-watch"
    for day in range(last):
        look(ask, name, day, only_temperature=school and on(day).weekday() >= 5)
        if day % 7 == 0 or day == last - 1:
            tick(ask, day)
    assert "not met" in json.dumps(ask(last - 1, "signoff", "Q-1"))
    ask(last - 1, "signoff", "Q-1", "--release", code=1)
    look(ask, name, last, only_temperature=False)
    tick(ask, last)
    judged = ask(last, "signoff", "Q-1")
    assert {one["verdict"] for one in judged["criteria"]} == {"met"}, judged
    ask(last, "signoff", "Q-1", "--release")
    assert ask(last, "batch", "list")["batches"][0]["state"] == "released"


def test_adult_work_of_the_school_template_falls_on_school_days(ask: Ask) -> None:
    """Tests and changes by an adult are on Monday to Friday; looking, feeding and temperature on every day."""
    room(ask, "fresh-school-watch")
    words = ("protocol", "preview", "fresh-school-watch", "--tank", "Q", "--arrived", ARRIVED)
    tasks = ask(-1, *words)["tasks"]
    who = {step.id: step.who for step in load("fresh-school-watch").steps}
    adult = [date.fromisoformat(t["day"]) for t in tasks if who[t["step"]] == "adult"]
    daily = {t["step"]: 0 for t in tasks if who[t["step"]] == "anyone"}
    for task in tasks:
        if task["step"] in daily and date.fromisoformat(task["day"]).weekday() >= 5:
            daily[task["step"]] += 1
    assert len(adult) > 15
    assert all(day.weekday() < 5 for day in adult)
    assert set(daily) == {"look", "feed", "temperature"}
    assert all(weekend_days == 8 for weekend_days in daily.values())


@pytest.mark.parametrize(("again", "clear"), [(7, 5), (8, 1)], ids=["a weekend", "a long weekend"])
def test_three_unlooked_days_of_a_long_weekend_start_the_clear_count_again(ask: Ask, again: int, clear: int) -> None:
    """What the school template warns of: two days without a look only do not count, with a third it begins (A4)."""
    room(ask, "fresh-school-watch")
    begin(ask, "fresh-school-watch")
    for day in (0, 1, 2, 3, 4, again):
        look(ask, "fresh-school-watch", day, only_temperature=False)
    assert ask(again, "batch", "show", "Q-1")["clear"]["days"] == clear


@pytest.mark.parametrize(
    ("name", "reading"), [("koi-watch", "temp=19C"), ("fresh-isolation", "temp=14C"), ("marine-isolation", "temp=17C")]
)
def test_a_cold_day_is_no_day_at_temperature(ask: Ask, name: str, reading: str) -> None:
    """One reading outside the band and the criterion is not met, with the value that broke it."""
    room(ask, name)
    begin(ask, name)
    for day in range(3):
        look(ask, name, day, only_temperature=True)
    ask(3, "reading", "Q", reading, "--really")
    (steady,) = [one for one in ask(3, "signoff", "Q-1")["criteria"] if "without a break" in one["title"]]
    assert steady["verdict"] == "not met"
    assert f"was {reading[5:7]} °C" in steady["says"]
