"""`why` for any date: a task, a batch, a day of a batch, each back to an event and a rule (F34)."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from amend_room import Room

DATE = re.compile(r"\d{4}-\d\d-\d\d")


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    return Room(tmp_path, capsys, monkeypatch)


def sick(room: Room) -> None:
    """A watch in which a sign is seen on day 6."""
    room.start("fresh-watch")
    for day in range(3, 9):
        sign = "--sign 'gasping'" if day == 8 else "--no-signs"
        room.at(f"2026-03-{day:02} 09:00").type(f'look "Q1 12 3" {sign}')


def test_a_task_is_told_as_a_chain_from_the_fact_it_hangs_on(room: Room) -> None:
    """The arrival with its keeper, the template's line, the window, then what its day was counted from."""
    sick(room)
    task = next(t for t in room.tasks("weekly-change") if t["state"] == "planned")
    made = room.json(f"why {task['code']}")
    chain = made["chain"]
    assert chain[0] == "It hangs on: 12 fish arrived, 2026-03-02 10:00, Robin."
    assert chain[1].startswith("fresh-watch revision ")
    assert "7 d after arrival, every 7 d until observation is complete; open " in chain[1]
    assert chain[2] == f"So its day: {made['reason'].split('; ')[0]}."
    assert all(sentence in room.type(f"why {task['code']}") for sentence in chain)


def test_every_task_on_record_has_a_chain_that_names_a_date(room: Room) -> None:
    """Also the follow-ups of a reading past its limit, and the chores of day 0."""
    sick(room)
    room.at("2026-03-08 12:00").type("reading Q1 temp=24C ph=7.6 tan=4mg/L nitrite_no2=3mg/L --really")
    for task in room.tasks("", "planned", "missed", "done"):
        if task["day"]:
            assert DATE.search(" ".join(room.json(f"why {task['code']}")["chain"])), task


def test_the_earliest_day_names_what_decides_and_what_moved_it(room: Room) -> None:
    """A sign of severity A on day 6: the period began again, six days later, by the template's rule."""
    sick(room)
    made = room.json("why Q1-1")
    assert made["earliest"] == "2026-04-07"
    assert [one["title"] for one in made["criteria"] if one["decides"]] == ["Thirty days of observation are complete"]
    (period,) = made["periods"]
    assert (period["first"], period["zero"], period["complete_on"]) == ("2026-03-02", "2026-03-08", "2026-04-07")
    assert period["moved"] == [{"on": "2026-03-08", "because": "sign seen: gasping (A)", "rule": "restart", "days": 6}]
    said = room.type("why Q1-1")
    assert "2026-04-07, which decides: Thirty days of observation are complete" in said
    assert "2026-03-08: sign seen: gasping (A); the template says restart: day 0 is that day (+6 days)." in said


def test_days_added_at_sign_off_are_told_with_their_day(room: Room) -> None:
    """A person's own days stand beside what the template did."""
    sick(room)
    room.at("2026-03-08 18:00").type("signoff Q1-1 --extend '5 d'")
    (period,) = room.json("why Q1-1")["periods"]
    assert period["moved"][-1] == {
        "on": "2026-03-08",
        "because": "a person added days at sign-off",
        "rule": "by hand",
        "days": 5,
    }
    assert room.json("why Q1-1")["earliest"] == "2026-04-12"


def test_a_day_behind_tells_what_happened_and_what_it_did(room: Room) -> None:
    """Looks, the sign, the template's word, the new day 0; its number beside its date (F29)."""
    sick(room)
    made = room.json("why Q1-1 2026-03-08")
    assert made["day"] == 6
    assert [one["says"] for one in made["happened"]] == ["look: 12 seen, signs: gasping"]
    assert made["happened"][0]["keeper"] == "Robin"
    assert "sign seen: gasping (A): the template says restart" in made["acted"]
    assert "Thirty days of observation: day 0 (sign seen: gasping (A))" in made["acted"]
    said = room.type("why Q1-1 2026-03-08")
    assert said.startswith("Batch Q1-1, day 6, 2026-03-08 Planned:")


def test_a_day_ahead_tells_what_is_planned_and_why(room: Room) -> None:
    """Each task of it with its code and its reason; the last day says that the period is complete."""
    sick(room)
    made = room.json("why Q1-1 2026-03-16")
    planned = {one["title"]: one for one in made["planned"]}
    assert "Change a quarter of the water" in planned
    assert all(DATE.search(one["reason"]) for one in made["planned"])
    assert made["happened"] == []
    last = room.json("why Q1-1 2026-04-07")["acted"]
    assert "Thirty days of observation: complete after that day's look" in last
    assert "earliest day of sign-off, if all goes well" in last


@pytest.mark.parametrize(
    ("line", "code", "sentence"),
    [
        ("why Q1-1 someday", 2, "'someday' is no day; write it as YYYY-MM-DD"),
        ("why Q1-1 2026-02-30", 2, "'2026-02-30' is no day"),
        ("why Q1-1 2026-03-01", 1, "Batch Q1-1 came on 2026-03-02; 2026-03-01 is before that day 0."),
        ("why Q9-9 2026-03-05", 1, "There is no batch 'Q9-9'"),
        ("why Q9-9", 1, "There is no batch 'Q9-9'"),
    ],
)
def test_what_cannot_be_told_is_refused_in_a_sentence(room: Room, line: str, code: int, sentence: str) -> None:
    """A day that is none, a day before the fish came, a batch or a task that is not there."""
    sick(room)
    assert sentence in room.type(line, code)


def test_capitals_of_a_batch_do_not_matter(room: Room) -> None:
    """q1-1 is Q1-1."""
    sick(room)
    assert room.json("why q1-1")["batch"] == "Q1-1"


def test_protocol_show_lists_only_the_events_that_do_something(room: Room) -> None:
    """What is only noted is left out; what goes by another event stands beside it; a note against a default shows."""
    said = room.type("protocol show fresh-watch")
    events = said.partition("What happens to the periods:")[2].partition("Sign-off:")[0]
    assert " ".join(events.split()) == "sign a: restart death: restart outbreak: restart fish added: restart"
    own = room.template(
        "own",
        "fresh-watch",
        ('disturbance = "note"', 'disturbance = "pause"\nheater = "note"\nshared_net = "restart"'),
    )
    said = room.type(f"protocol show {own}").partition("What happens to the periods:")[2]
    assert "disturbance, power, moved: pause" in said
    assert "heater: note" in said
    assert "shared net: restart" in said


def test_a_day_tells_the_doses_that_others_in_the_water_had(room: Room) -> None:
    """A dose belongs to the water: a batch's own day names it, and so does its timeline, whoever it was given for."""
    room.start("fresh-watch")
    room.at("2026-03-04 12:00").type("event dose Q1 Z02 --gave '0.1 g' --strength '98 %' --really")
    assert any(one["says"].startswith("dose of 0.1 g of ") for one in room.json("why Q1-1 2026-03-04")["happened"])
    (row,) = [one for one in room.json("timeline Q1-1")["rows"] if one["kind"] == "dose"]
    assert row["says"].endswith("without a task of this batch")
    assert room.json("clocks Q1-1")["since_dose"]["hours"] is None
