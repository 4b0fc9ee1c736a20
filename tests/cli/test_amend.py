"""F4: a running batch moves to another text of its protocol by a dated amendment that asks first."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from amend_room import Room

NEWER = (
    ("revision = 1", "revision = 2"),
    (
        'repeat = { every = "7 d", until = "observation" }\nfraction = "25 %"',
        'repeat = { every = "3 d", until = "observation" }\nfraction = "25 %"',
    ),
    ('length = "30 d"', 'length = "40 d"'),
)
FRESH = "temp=25C ph=7.4 tan=0mg/L nitrite=0mg/L"
MARINE = "temp=25.5C ph=8.1 tan=0.1mg/L nitrite_no2=0.05mg/L oxygen=6.5mg/L salinity=34g/L"


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    return Room(tmp_path, capsys, monkeypatch)


@pytest.fixture
def reef(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    return Room(tmp_path, capsys, monkeypatch, water="marine")


def live(room: Room, days: int, readings: str = FRESH) -> None:
    """So many days of March from the second on, everything due up to each evening with an outcome."""
    for day in range(2, 2 + days):
        room.at(f"2026-03-{day:02} 20:00").type('look "Q1 12 3" --no-signs')
        room.type(f"reading Q1 {readings}")
        room.settle()


def stored(room: Room) -> dict[str, dict[str, Any]]:
    """Every stored task by its key."""
    names = ("key", "code", "state", "day", "step", "outcome", "outcome_at", "due_from", "due_until", "detail", "title")
    return {row[0]: dict(zip(names, row, strict=True)) for row in room.rows(f"select {', '.join(names)} from task")}


def mine(room: Room, like: str = "fresh-watch", *changes: tuple[str, str]) -> str:
    """The same protocol in a file, revision 2."""
    path = room.template("own", like, *(changes or NEWER))
    text = Path(path).read_text(encoding="utf-8").replace('id = "own"', f'id = "{like}"', 1)
    Path(path).write_text(text, encoding="utf-8")
    return path


def amend(room: Room, path: str, *more: str, code: int = 0) -> str:
    return room.type(f"batch amend Q1-1 --protocol {path} --because 'the club decided' {' '.join(more)}", code)


def test_an_amendment_shows_both_texts_and_what_goes_and_comes_and_asks(room: Room) -> None:
    """Without --yes: before and after, the dated difference, the new earliest sign-off, and nothing is written."""
    room.start("fresh-watch")
    live(room, 5)
    before = stored(room)
    said = amend(room, mine(room), code=1)
    assert "Batch Q1-1 would follow fresh-watch revision 2. Say --yes to accept this; nothing was changed." in said
    assert "before: fresh-watch revision 1" in said
    assert "after: fresh-watch revision 2" in said
    assert "period observation: 30 d, calendar -> 40 d, calendar" in said
    assert "step weekly-change: arrival +7 d, every 7 d, until observation" in said
    assert "goes: Change a quarter of the water:" in said
    assert "comes: Change a quarter of the water: 10 tasks, 2026-03-12 to 2026-04-11" in said
    assert "Q1-1: earliest sign-off 2026-04-01 -> 2026-04-11" in said
    assert stored(room) == before
    assert room.json("batch show Q1-1")["revision"] == 1


def test_only_future_tasks_differ_and_done_ones_stay_untouched(room: Room) -> None:
    """After --yes: every past row is as it was, unchanged steps keep keys and codes, one amendment with its reason."""
    room.start("fresh-watch")
    live(room, 10)
    before = stored(room)
    said = amend(room, mine(room), "--yes")
    assert said.startswith("Batch Q1-1 follows fresh-watch revision 2 from now on (the club decided).")
    after, today = stored(room), room.now.date().isoformat()
    for key, row in before.items():
        if row["state"] in ("done", "skipped") or (row["day"] and row["day"] < today):
            assert after[key] == row
        elif row["step"] != "weekly-change" and row["state"] == "planned":
            assert (after[key]["code"], after[key]["state"], after[key]["day"]) == (row["code"], "planned", row["day"])
    assert [key for key, row in after.items() if key not in before and row["day"] < today] == []
    changes = [r["day"] for r in after.values() if r["step"] == "weekly-change" and r["state"] == "planned"]
    assert sorted(changes)[:3] == ["2026-03-11", "2026-03-14", "2026-03-17"]
    facts = [json.loads(data) for (data,) in room.rows("select data from fact where kind = 'amended'")]
    assert [(f["says"], f["because"]) for f in facts] == [
        ("fresh-watch revision 1 -> fresh-watch revision 2", "the club decided")
    ]
    assert facts[0]["from"] != facts[0]["to"]
    assert facts[0]["steps"] == {"weekly-change": {"from": "2026-03-11", "fresh": True}}
    room.whole()
    assert "protocol amended" in room.type("journal --last 1")
    shown = "2026-03-11 20:00: fresh-watch revision 1 -> fresh-watch revision 2 (the club decided)"
    assert shown in room.type("batch show Q1-1")
    assert [c["because"] for c in room.json("batch show Q1-1")["changes"]] == ["the club decided"]


def test_a_day_that_is_done_by_the_old_text_is_not_asked_for_again(room: Room) -> None:
    """A water change ticked this morning by the older text; the newer one begins tomorrow."""
    room.start("fresh-watch")
    live(room, 8)
    assert [t["state"] for t in room.tasks("weekly-change") if t["day"] == "2026-03-09"] == ["skipped"]
    amend(room, mine(room), "--yes")
    assert room.tasks("weekly-change", "planned")[0]["day"] == "2026-03-10"


def test_a_second_amendment_counts_from_its_own_day(room: Room) -> None:
    """Each amendment is a fact of its own; the last one that touched a step rules it."""
    room.start("fresh-watch")
    live(room, 4)
    amend(room, mine(room), "--yes")
    live_again = mine(room, "fresh-watch", ("revision = 1", "revision = 3"), ('"7 d", until', '"2 d", until'))
    text = Path(live_again).read_text(encoding="utf-8")
    assert "revision = 3" in text
    room.at("2026-03-06 20:00").type('look "Q1 12 3" --no-signs')
    room.type(f"reading Q1 {FRESH}")
    room.settle()
    amend(room, live_again, "--yes")
    assert len(room.rows("select id from fact where kind = 'amended'")) == 2
    assert room.json("batch show Q1-1")["revision"] == 3
    assert "stays as it is: an amendment is undone by another one" in room.type("undo wrong", 1)
    room.whole()


def test_past_tasks_without_an_outcome_stand_in_the_way(room: Room) -> None:
    """What an amendment would take away silently is named by its code, and nothing is changed."""
    room.start("fresh-watch")
    live(room, 5)
    room.at("2026-03-20 09:00")
    before = stored(room)
    lost = [
        t["code"]
        for t in room.tasks("weekly-change")
        if t["day"] < "2026-03-20" and t["state"] in ("planned", "missed")
    ]
    said = amend(room, mine(room), "--yes", code=1)
    assert lost
    assert all(code in said for code in lost)
    assert "the amendment would take" in said
    assert stored(room) == before


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ((("revision = 1", "revision = 1 # a comment"),), "an amendment goes to a newer revision"),
        ((), "follows fresh-watch revision 1 already"),
    ],
)
def test_the_same_revision_is_no_amendment(room: Room, changes: tuple[tuple[str, str], ...], says: str) -> None:
    """A text that is the same, or says the same revision, changes nothing."""
    room.start("fresh-watch")
    path = mine(room, "fresh-watch", *changes) if changes else "fresh-watch"
    assert says in amend(room, path, "--yes", code=1)


def test_another_protocol_must_be_for_the_same_water(room: Room) -> None:
    """A marine template is refused in fresh water, an unknown one is named, and no reason is no amendment."""
    room.start("fresh-watch")
    assert "is for marine water; Q1 is fresh" in amend(room, "marine-watch", "--yes", code=1)
    assert "There is no protocol 'nosuch'" in amend(room, "nosuch", "--yes", code=1)
    assert "Why? Say it in plain words" in room.type("batch amend Q1-1 --because ' '", 2)


def test_an_own_protocol_is_named_by_its_file(room: Room) -> None:
    """A keeper's own template has no shipped newer text."""
    room.start(room.template("own", "fresh-watch"))
    assert "name its file: --protocol FILE" in room.type("batch amend Q1-1 --because x", 1)


def test_a_medicated_text_needs_its_acknowledgement(reef: Room) -> None:
    """Rule C19: --yes alone is refused; the cautions are shown; with --acknowledge the course is planned from today."""
    reef.start("marine-watch")
    live(reef, 6, MARINE)
    asked = amend(reef, "marine-praziquantel", code=1)
    assert "and --acknowledge, once its cautions are read" in asked
    assert "gives medicine. Read its cautions" in amend(reef, "marine-praziquantel", "--yes", code=1)
    assert reef.json("batch show Q1-1")["protocol"] == "marine-watch"
    amend(reef, "marine-praziquantel", "--yes", "--acknowledge")
    doses = reef.tasks("dose", "planned")
    assert [t["day"] for t in doses] == ["2026-03-07", "2026-03-11"]
    card = next(t for t in reef.json("today")["tasks"] if t["kind"] == "dose")
    assert card["dose"]["regimen"] == "Z01"
    reef.whole()


def test_what_was_given_is_not_forgotten(reef: Room) -> None:
    """Rule B8: after a dose a text that does not ask about it at sign-off is refused."""
    reef.start("marine-praziquantel")
    live(reef, 3, MARINE)
    reef.at("2026-03-05 10:00").type('look "Q1 12 3" --no-signs')
    reef.type(f"reading Q1 {MARINE}")
    code = reef.tasks("dose", "planned")[0]["code"]
    reef.type(f"done {code} --as-shown")
    assert "praziquantel was given in this stay" in amend(reef, "marine-watch", "--yes", code=1)


def test_a_course_goes_on_counting_over_an_amendment(reef: Room) -> None:
    """Rule B8: of two doses one was given; the newer text with another gap plans one more, and a third is refused."""
    reef.start("marine-praziquantel")
    live(reef, 3, MARINE)
    reef.at("2026-03-05 10:00").type('look "Q1 12 3" --no-signs')
    reef.type(f"reading Q1 {MARINE}")
    first = reef.tasks("dose", "planned")[0]["code"]
    reef.type(f"done {first} --as-shown")
    reef.settle()
    later = mine(
        reef,
        "marine-praziquantel",
        ("revision = 1", "revision = 2"),
        ('every = "4 d", times = 2', 'every = "5 d", times = 2'),
    )
    amend(reef, later, "--yes", "--acknowledge")
    assert [(t["day"], t["state"]) for t in reef.tasks("dose")] == [("2026-03-05", "done"), ("2026-03-10", "planned")]
    another = mine(
        reef,
        "marine-praziquantel",
        ("revision = 1", "revision = 3"),
        ('id = "dose"', 'id = "bath"'),
        ('after = "dose"', 'after = "bath"'),
    )
    said = amend(reef, another, "--yes", "--acknowledge", code=1)
    assert "1 dose of Praziquantel went in during this stay" in said
    assert "would add 2, and Z01 has at most 2 (rule B8)" in said


def test_open_cards_follow_the_new_text(reef: Room) -> None:
    """A dose that was planned before shows the checks and the note of the text it is given by."""
    reef.start("marine-praziquantel")
    live(reef, 2, MARINE)
    newer = mine(
        reef,
        "marine-praziquantel",
        ("revision = 1", "revision = 2"),
        ("[[step.before]]\nday = 3", "[[step.before]]\nday = 5"),
    )
    before = stored(reef)
    amend(reef, newer, "--yes", "--acknowledge")
    after = stored(reef)
    doses = [key for key, row in before.items() if row["step"] == "dose"]
    assert doses
    for key in doses:
        assert json.loads(before[key]["detail"])["before"][0]["value"] == 3
        assert json.loads(after[key]["detail"])["before"][0]["value"] == 5
        assert after[key]["day"] == before[key]["day"]


# --- F41: an end to a whole course --------------------------------------------------------------------------


def test_stopping_a_course_shows_what_is_left_and_asks(reef: Room) -> None:
    """Both doses that are left are named; nothing is written without --yes."""
    reef.start("marine-praziquantel")
    said = reef.type("batch stop-course Q1-1 dose --because 'fish distressed'", 1)
    assert "This stops the whole course 'Praziquantel bath' of batch Q1-1 (0 given)" in said
    assert said.count("withdrawn: D") == 2
    assert len(reef.tasks("dose", "planned")) == 2
    assert reef.rows("select id from fact where kind = 'stopped'") == []


def test_a_stopped_course_is_cleared_and_named_at_sign_off(reef: Room) -> None:
    """One dose given, one withdrawn: clearing hangs on the given one, sign-off wants a deviation, undo restores it."""
    reef.start("marine-praziquantel")
    live(reef, 3, MARINE)
    reef.at("2026-03-05 10:00").type('look "Q1 12 3" --no-signs')
    reef.type(f"reading Q1 {MARINE}")
    first, second = (t["code"] for t in reef.tasks("dose", "planned"))
    reef.type(f"done {first} --as-shown")
    said = reef.type(f"batch stop-course q1-1 {second} --because 'fish distressed' --yes")
    assert "Course 'Praziquantel bath' of batch Q1-1 stopped (fish distressed); given: 1." in said
    assert f"withdrawn: {second} Praziquantel bath (2 of 2), 2026-03-09" in said
    assert [t["state"] for t in reef.tasks("dose")] == ["done", "withdrawn"]
    assert reef.tasks("clear-water", "planned")[0]["day"] == "2026-03-08"
    assert "was withdrawn from the plan" in reef.type(f"done {second} --as-shown", 1)
    shown = next(c for c in reef.json("signoff Q1-1")["criteria"] if c["title"] == "Every task has an outcome")
    assert shown["verdict"] == "not met"
    assert (
        "the course 'Praziquantel bath' was stopped on 2026-03-05 with 1 dose not given (fish distressed): a deviation"
        in shown["says"]
    )
    assert "Nothing is left of dose" in reef.type("batch stop-course Q1-1 dose --because x --yes", 1)
    reef.whole()
    reef.type("undo 'it goes on' --yes")
    assert [t["state"] for t in reef.tasks("dose")] == ["done", "planned"]
    reef.whole()


def test_what_comes_after_a_course_is_not_lost_when_none_was_given(reef: Room) -> None:
    """Stopped on day 0: clearing and the weekly water changes after it go on from the stop, under their own codes."""
    reef.start("marine-praziquantel")
    codes = [t["code"] for t in reef.tasks("clear-water", "planned")]
    reef.type("batch stop-course Q1-1 dose --because 'no stock' --yes")
    clearing = reef.tasks("clear-water", "planned")
    assert [t["day"] for t in clearing] == [f"2026-03-{day:02}" for day in range(5, 11)]
    assert [t["code"] for t in clearing] == codes
    assert reef.tasks("weekly-change", "planned")[0]["day"] == "2026-03-17"
    assert "after 'dose' was stopped, not once done, on 2026-03-02" in reef.type(f"why {codes[0]}")
    reef.whole()


def test_what_was_missed_before_a_stop_keeps_its_question(reef: Room) -> None:
    """A dose missed by its window stays on the list: the reason for stopping is no reason for having missed it."""
    kept = reef.template("kept", "marine-praziquantel", ('after_window = "shift"\nwho', 'after_window = "keep"\nwho'))
    reef.start(kept)
    reef.at("2026-03-06 09:00").type('look "Q1 12 3" --no-signs')
    reef.type("batch stop-course Q1-1 dose --because 'no stock' --yes")
    assert [t["state"] for t in reef.tasks("dose")] == ["missed", "withdrawn"]
    reef.at("2026-03-20 09:00").type('look "Q1 12 3" --no-signs')
    assert [t["state"] for t in reef.tasks("dose")] == ["missed", "withdrawn"]


def test_only_a_course_of_doses_can_be_stopped(reef: Room) -> None:
    """Another step and a slip of the pen are answered with the courses that there are."""
    reef.start("marine-praziquantel")
    assert "There is no course of doses 'look'; known: dose." in reef.type("batch stop-course Q1-1 look --because x", 1)
    assert "There is no batch 'Q9'" in reef.type("batch stop-course Q9 dose --because x", 1)
    assert "Why? Say it in plain words" in reef.type("batch stop-course Q1-1 dose --because ''", 2)
