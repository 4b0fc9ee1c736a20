"""The stories in which the plan moves: 4, 5, 6, 7 and 8 of the twelve that the whole tool is accepted by."""

from __future__ import annotations

from pathlib import Path

import pytest
from centre_room import MARINE, Centre


@pytest.fixture
def fresh(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Centre:
    """100 L of fresh water in Q1."""
    return Centre(tmp_path, capsys, monkeypatch, "fresh")


@pytest.fixture
def marine(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Centre:
    """100 L of sea water in Q1."""
    return Centre(tmp_path, capsys, monkeypatch, "marine")


def test_story_4_a_second_batch_in_the_water_is_shown_with_its_dates_and_cancelled(fresh: Centre) -> None:
    """Day 20 of 30: more fish for the same tank would begin the thirty days again. That is shown first; the keeper
    leaves it and takes another tank, and nothing of the first batch has moved."""
    fresh.tank("Q2")
    fresh.arrive("fresh-watch", "2026-03-02 10:00")
    fresh.days("2026-03-03", "2026-03-22", 12, readings=False)
    more = "batch start --protocol fresh-watch --arrived '2026-03-22 15:00' --fish '1 Corydoras' --from me --to Show"
    before, tasks = fresh.json("batch show Q1-1")["earliest"], fresh.tasks()
    assert before == "2026-04-01"
    said = fresh.at("2026-03-22 15:00").type(f"{more} --tank Q1", 1)
    # 22 March and thirty days are 21 April, counted by hand: 9 days are left in March
    assert "Q1-1: earliest sign-off 2026-04-01 -> 2026-04-21" in said
    assert "choose another tank" in said
    assert "Batch Q2-1: 1 fish in Q2, day 0 is 2026-03-22" in fresh.type(f"{more} --tank Q2")
    assert (fresh.json("batch show Q1-1")["earliest"], fresh.tasks()) == (before, tasks)
    assert [b["batch"] for b in fresh.json("batch list")["batches"]] == ["Q1-1", "Q2-1"]
    fresh.whole()


def test_story_5_a_move_is_due_within_72_hours_and_at_hour_73_the_series_begins_again(marine: Centre) -> None:
    """Hour 70 after the first move: the list, which needs no signal, says that two hours are left. At hour 73 nobody
    has moved them, and the template begins its four moves again."""
    for name in ("Q2", "Q3"):
        marine.tank(name, litres="100 L")
    marine.arrive("marine-tank-transfer", "2026-03-02 10:00", "4 Centropyge bicolor")
    marine.type("look 'Q1 4' --no-signs")
    marine.type(f"reading Q1 {MARINE}")
    marine.days("2026-03-03", "2026-03-05", 4)
    (move,) = marine.due("move")
    marine.type("reading Q2 temp=25.5C salinity=34g/L")
    marine.type(f"done {move['code']} --to Q2 --no-water --confirm")
    marine.days("2026-03-06", "2026-03-07", 4, "Q2")
    at_70, at_73 = "2026-03-08 07:00", "2026-03-08 10:00"
    (second,) = marine.at(at_70).due("move", "Q2")
    assert second["lapses_at"] == "2026-03-08T09:00:00+01:00"
    assert (
        f"{second['code']} Move every fish to the clean, dry tank (2 of 4), too late from 2026-03-08 09:00 (2 h left)"
        in (marine.type("today"))
    )
    assert marine.type("today").index(second["code"]) < marine.type("today").index("Look at every fish")
    assert "MISSED Move every fish to the clean, dry tank (2 of 4)" in marine.at(at_73).type("today")
    marine.type("look 'Q2 4 3' --no-signs")
    moves = [(t["state"], t["day"], t["title"][-8:]) for t in marine.tasks("move") if t["state"] != "withdrawn"]
    assert sorted(moves) == [
        ("done", "2026-03-05", "(1 of 4)"),
        ("missed", "2026-03-08", "(2 of 4)"),
        ("planned", "2026-03-08", "(1 of 4)"),
        ("planned", "2026-03-11", "(2 of 4)"),
        ("planned", "2026-03-14", "(3 of 4)"),
        ("planned", "2026-03-17", "(4 of 4)"),
    ]
    (again,) = marine.due("move", "Q2")
    assert again["code"] != second["code"]
    assert "2026-03-08" in marine.type(f"why {again['code']}")
    marine.whole()


TWO_TASKS = """
[[step]]
id = "stones"
kind = "chore"
title = "Look under the stones"
start = { arrival = "2 d" }
who = "adult"
references = ["school-days"]

[[step]]
id = "flush"
kind = "chore"
title = "Clean the filter"
start = { arrival = "10 d" }
who = "adult"
references = ["school-days"]

# --- What happens"""


def test_story_6_a_start_on_wednesday_is_refused_for_a_saturday_and_monday_is_offered(fresh: Centre) -> None:
    """Work for adults on days 2 and 10, nobody there at weekends. From a Wednesday day 10 is a Saturday: the planner
    says so and offers the Monday after."""
    own = fresh.template("own", "fresh-school-watch", ("# --- What happens", TWO_TASKS))
    fresh.at("2026-03-04 09:00").type("site closed Hall 2026-03-01 2026-06-30 --weekdays sat,sun --what weekend")
    wednesday = (
        f"batch start --tank Q1 --protocol {own} --arrived '2026-03-04 09:00' --fish '12 Melanotaenia praecox, 3 cm' "
        "--from 'a breeder' --to Show"
    )
    why = "day 10, Saturday 2026-03-14: Clean the filter (adults only): Hall is shut (weekend)"
    refused = fresh.type(wednesday, 1)
    assert why in refused
    assert "The nearest day of arrival that works is Monday 2026-03-09." in refused
    assert fresh.json("batch list")["batches"] == []
    proposed = fresh.json(f"protocol start-days {own} --tank Q1")
    assert proposed["nearest"] == "2026-03-09"
    assert [clash["says"] for clash in proposed["days"][0]["clashes"]] == [why]
    said = fresh.arrive(own, "2026-03-09 09:00", "12 Melanotaenia praecox, 3 cm")
    assert "day 0 is 2026-03-09" in said
    shut = [t for t in fresh.tasks() if t["step"] in ("stones", "flush")]
    assert [t["day"] for t in shut] == ["2026-03-11", "2026-03-19"]
    fresh.whole()


def test_story_7_a_tank_cracks_at_two_in_the_morning(marine: Centre) -> None:
    """One command moves all fish to a bin of 40 L; what medicine is in it nobody knows, and the list asks for a reading
    before the next dose."""
    marine.arrive("marine-praziquantel", "2026-03-02 10:00")
    marine.days("2026-03-03", "2026-03-05", 12)
    (dose,) = marine.due()
    marine.type(f"done {dose['code']} --as-shown")
    said = marine.at("2026-03-06 02:00").type('event emergency Q1 --to Bin --make "40 L"')
    assert "12 fish moved from Q1 to Bin, 2026-03-06 02:00" in said
    assert "What medicine is in Bin is not known: no dose before it is read" in said
    assert marine.json("tank show Bin")["volume"]["litres"] == 40
    tests = [t["title"] for t in marine.due("test", "Bin")]
    assert "Read the water the fish were moved to, before any dose" in tests
    assert "unknown" in marine.type("level Bin praziquantel")
    marine.days("2026-03-06", "2026-03-09", 12, "Bin")
    (second,) = marine.due("dose", "Bin")
    assert (second["dose"]["add"], second["hold"]["rule"]) == (None, "C12")
    assert "No amount is shown" in marine.type(f"done {second['code']} --as-shown", 1)
    marine.whole()


def copper_days(room: Centre) -> str:
    """The day on which the days at the level are whole, as the record has it."""
    return next(str(p["complete_on"]) for p in room.json("batch show Q1-1")["periods"] if p["id"] == "copper")


@pytest.mark.parametrize("rule", ["pause", "restart"])
def test_story_8_copper_under_its_range_pauses_or_restarts_the_days(
    marine: Centre, monkeypatch: pytest.MonkeyPatch, rule: str
) -> None:
    """A reading 0.05 mg/L under the range: by one template its gap is added, by another the days begin again; the
    explanation names the reading before the gap and the one that ended it."""
    monkeypatch.setenv("QUARANTINE_SCALE_STEP", "0.0001 g")
    own = marine.template("own", "marine-copper", ('out_of_range = "pause"', f'out_of_range = "{rule}"'))
    marine.arrive(own, "2026-03-02 10:00", "12 Amphiprion ocellaris")
    marine.days("2026-03-03", "2026-03-05", 12)
    marine.type("reading Q1 copper_free=0.00mg/L alkalinity=120mg/L")
    strength = "--as-shown --strength '99 % as CuSO4.5H2O'"
    (dose,) = marine.due()
    marine.type(f"done {dose['code']} {strength}")
    marine.at("2026-03-05 16:00").type("reading Q1 copper_free=0.19mg/L")
    for day in range(6, 11):
        marine.days(f"2026-03-{day:02}", f"2026-03-{day:02}", 12)
        marine.type("reading Q1 copper_free=0.19mg/L")
    assert copper_days(marine) == "2026-03-19"
    marine.days("2026-03-11", "2026-03-11", 12)
    marine.type("reading Q1 copper_free=0.13mg/L")
    (dose,) = marine.due()
    marine.type(f"done {dose['code']} {strength}")
    marine.at("2026-03-11 15:00").type("reading Q1 copper_free=0.19mg/L")
    marine.days("2026-03-12", "2026-03-12", 12)
    marine.type("reading Q1 copper_free=0.19mg/L")
    told = marine.type("clocks Q1-1")
    assert (
        "Gap from 2026-03-10 09:00 to 2026-03-11 15:00: copper (Cu) 0.19 mg/L on 2026-03-10 09:00, then copper (Cu) "
        f"0.13 mg/L on 2026-03-11 09:00; the template says {rule}"
    ) in told
    assert "Gap from 2026-03-10 09:00 to 2026-03-11 15:00" in marine.type("why Q1-1")
    # By hand: the gap is 30 h. 19 March 16:00 and 30 h are 20 March 22:00; 11 March 15:00 and 14 days are 25 March.
    # In range are 113 h before the gap and 18 h after it.
    expected = {"pause": ("2026-03-20", "131 h of 336 h"), "restart": ("2026-03-25", "18 h of 336 h")}
    assert (copper_days(marine), expected[rule][1] in told) == (expected[rule][0], True)
    marine.whole()
