"""The stories in which the plan moves: 4, 5, 6, 7 and 8 of the twelve that the whole tool is accepted by."""

from __future__ import annotations

from pathlib import Path

import pytest
from centre_room import MARINE, Centre


def log(*x):
    with open("/tmp/n5.log", "a") as f:
        print(*x, file=f)


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
    more = "batch start --protocol fresh-watch --arrived '2026-03-22 15:00' --fish '1 Corydoras' --from 'a friend' --to Show"
    before = fresh.json("batch show Q1-1")["earliest"]
    tasks = fresh.tasks()
    said = fresh.at("2026-03-22 15:00").type(f"{more} --tank Q1", 1)
    log(said)
    log(fresh.type(f"{more} --tank Q2"))
    log(before)
    assert fresh.json("batch show Q1-1")["earliest"] == before
    assert fresh.tasks() == tasks
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
    log(marine.type("today"))
    (move,) = marine.due("move")
    log(move)
    log(marine.type(f"done {move['code']} --to Q2 --no-water"))
    marine.days("2026-03-06", "2026-03-07", 4, "Q2")
    log([(t["day"], t["state"], t["timing"], t["title"]) for t in marine.tasks("move")])
    log(marine.at("2026-03-08 07:00").type("today"))
    log([t for t in marine.json("today --tank Q2")["tasks"] if t['kind']=='move'])
    log(marine.at("2026-03-08 10:00").type("today"))
    marine.type("look 'Q2 4 3' --no-signs")
    log([(t["day"], t["state"], t["timing"], t["title"]) for t in marine.tasks("move")])
    log(marine.type("today"))
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
    log(fresh.type(wednesday, 1))
    days = fresh.json(f"protocol start-days {own} --tank Q1")
    log(days)
    log(fresh.type(f"protocol start-days {own} --tank Q1"))
    assert fresh.json("batch list")["batches"] == []
    log(fresh.arrive(own, "2026-03-09 09:00", "12 Melanotaenia praecox, 3 cm"))
    fresh.whole()


def test_story_7_a_tank_cracks_at_two_in_the_morning(marine: Centre) -> None:
    """One command moves all fish to a bin of 40 L; what medicine is in it nobody knows, and the list asks for a reading
    before the next dose."""
    marine.arrive("marine-praziquantel", "2026-03-02 10:00")
    marine.days("2026-03-03", "2026-03-05", 12)
    (dose,) = marine.due()
    marine.type(f"done {dose['code']} --as-shown")
    said = marine.at("2026-03-06 02:00").type('event emergency Q1 --to Bin --make "40 L"')
    log(said)
    log(marine.type("today"))


@pytest.mark.parametrize("rule", ["pause", "restart"])
def test_story_8_copper_under_its_range_pauses_or_restarts_the_days(marine: Centre, rule: str) -> None:
    """A reading 0.05 mg/L under the range: by one template its gap is added, by another the days begin again; the
    explanation names the reading before the gap and the one that ended it."""
    own = marine.template("own", "marine-copper", ('out_of_range = "pause"', f'out_of_range = "{rule}"'))
    log(marine.arrive(own, "2026-03-02 10:00", "12 Amphiprion ocellaris"))
    marine.days("2026-03-03", "2026-03-05", 12)
    marine.type("reading Q1 copper_free=0.00mg/L alkalinity=120mg/L")
    (dose,) = marine.due()
    log(marine.type(f"dose copper --tank Q1 --regimen C04 --strength '99 % as CuSO4.5H2O'"))
    log(marine.type(f"done {dose['code']} --as-shown --strength '99 % as CuSO4.5H2O'"))
    log(marine.at("2026-03-05 16:00").type("reading Q1 copper_free=0.19mg/L"))
    for day in range(6, 11):
        marine.days(f"2026-03-{day:02}", f"2026-03-{day:02}", 12)
        marine.type("reading Q1 copper_free=0.19mg/L")
    log(marine.type("signoff Q1-1"))
    before = marine.json("batch show Q1-1")
    log(before["periods"], before["earliest"])
    marine.days("2026-03-11", "2026-03-11", 12)
    log(marine.type("reading Q1 copper_free=0.13mg/L"))
    log(marine.json("batch show Q1-1")["periods"])
    log(marine.type("today"))
    log(marine.due())
    (dose,) = marine.due()
    log(marine.type(f"dose copper --tank Q1 --regimen C04 --strength '99 % as CuSO4.5H2O'"))
    log(marine.type(f"done {dose['code']} --as-shown --strength '99 % as CuSO4.5H2O'"))
    log(marine.at("2026-03-11 15:00").type("reading Q1 copper_free=0.19mg/L"))
    log(marine.json("batch show Q1-1")["periods"])
    marine.days("2026-03-12", "2026-03-12", 12)
    log(marine.type("reading Q1 copper_free=0.19mg/L"))
    log(marine.json("batch show Q1-1")["periods"])
    log(marine.type("signoff Q1-1"))
