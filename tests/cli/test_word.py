"""F9, A13 as a keeper types it: a word starts what waits for it; a use inside the gap is refused with both times."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from amend_room import Room

STEP = """
[[step]]
id = "foam"
kind = "chore"
title = "Skim the foam"
for = "tank"
start = { word = "There is foam" }
repeat = { as_needed = "6 h", daily = 2, until = "observation" }
references = ["S4"]

[[step]]
id = "moult"
kind = "chore"
title = "Take the shed skin out"
start = { word = "The Veterinarian has agreed" }
references = ["S4"]

[[step]]
id = "dim"
kind = "chore"
title = "Keep the light dim"
start = { arrival = "1 d" }
repeat = { every = "1 d", until = "observation" }
when = [{ word = "They are shy" }]
stop = [{ word = "They are bold" }]
references = ["S4"]

# --- What happens"""


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    made = Room(tmp_path, capsys, monkeypatch)
    made.start(made.template("own", "fresh-watch", ("# --- What happens", STEP)))
    return made


def ask(room: Room, local: str, code: int = 0, more: str = "") -> str:
    return room.at(local).type(f"event word Q1 foam {more}", code)


def open_code(room: Room) -> str:
    return next(str(t["code"]) for t in room.tasks("foam", "planned", "missed") if t["day"])


def test_the_list_says_what_can_be_asked_for_and_how(room: Room) -> None:
    """`today` shows the sentence and the limits; a word by the step's id or by its sentence makes it due."""
    assert "Skim the foam: as needed, at least 6 h apart, at most 2 a day: There is foam" in room.type("today")
    said = room.at("2026-03-03 09:00").type("event word Q1 'there is  FOAM'")
    assert said.startswith("Q1, 2026-03-03 09:00: said, There is foam")
    assert f"{open_code(room)} Skim the foam, 2026-03-03" in said
    assert room.rows("select data from fact where kind = 'word'") == [('{"word":"There is foam"}',)]
    room.whole()


def test_a_second_use_inside_the_gap_is_refused_with_both_times(room: Room) -> None:
    """Six hours elapse from the last one given, not from the word: at 15:59 it is refused, at 16:00 it is not."""
    ask(room, "2026-03-03 09:00")
    room.at("2026-03-03 10:00").type(f"done {open_code(room)}")
    said = ask(room, "2026-03-03 15:59", 1)
    assert "Skim the foam was given 2026-03-03 10:00; 2026-03-03 15:59 lies inside the gap of 6 h" in said
    assert "which ends 2026-03-03 16:00. Nothing was recorded." in said
    ask(room, "2026-03-03 16:00")


def test_what_was_asked_for_and_is_open_is_not_asked_for_again(room: Room) -> None:
    """One open run at a time, named by its code."""
    ask(room, "2026-03-03 09:00")
    assert f"was asked for already and is open: {open_code(room)}" in ask(room, "2026-03-03 09:30", 1)


def test_the_daily_number_resets_at_local_midnight(room: Room) -> None:
    """Two on the local day; the third is refused up to 23:59 with both times, and goes at 00:00."""
    for local in ("2026-03-03 06:00", "2026-03-03 12:00"):
        ask(room, local)
        room.type(f"done {open_code(room)}")
    said = ask(room, "2026-03-03 23:59", 1)
    assert "was given 2026-03-03 06:00, 2026-03-03 12:00, and 2 a day is the most (rule A13)" in said
    ask(room, "2026-03-04 00:00")


@pytest.mark.parametrize(
    ("given", "refused", "free"),
    [
        ("2026-03-29 00:30", "2026-03-29 07:29", "2026-03-29 07:30"),  # the night of 23 hours
        ("2026-10-25 00:30", "2026-10-25 05:29", "2026-10-25 05:30"),  # the night of 25 hours
    ],
)
def test_the_gap_is_real_hours_through_a_clock_change(room: Room, given: str, refused: str, free: str) -> None:
    """Rule A12: six hours by the sun, whatever the clocks at the site do."""
    if given > "2026-04":
        room.at("2026-03-02 12:00").type("signoff Q1-1 --reject")
        room.at("2026-10-20 09:00").type(
            f"batch start --tank Q1 --protocol {room.folder / 'own.toml'} --arrived '2026-10-20 09:00' "
            "--fish '12 Melanotaenia praecox' --from 'a breeder' --to Show --name Q1-x"
        )
    room.at(given).type("event word Q1 foam")
    waiting = [t for t in room.json("today")["tasks"] if t["step"] == "foam" and t["day"]]
    room.type(f"done {waiting[0]['code']}")
    assert "lies inside the gap of 6 h" in ask(room, refused, 1)
    assert f"ends {free}" in ask(room, refused, 1)
    ask(room, free)


def test_a_use_that_really_happened_inside_the_gap_is_recorded(room: Room) -> None:
    """Rule C7: `done --at` inside the gap is asked about once, and --really records it."""
    ask(room, "2026-03-03 09:00")
    room.type(f"done {open_code(room)}")
    ask(room, "2026-03-03 16:00")
    code = open_code(room)
    said = room.type(f"done {code} --at '2026-03-03 11:00'", 1)
    assert "was given 2026-03-03 09:00; 2026-03-03 11:00 lies inside the gap" in said
    assert "If it was really given then, say --really." in said
    room.type(f"done {code} --at '2026-03-03 11:00' --really")
    room.whole()


def test_a_plain_word_is_said_once(room: Room) -> None:
    """A step that waits for one word starts with it; a second time says who said it and when."""
    waits = r"Not yet, waits for a keeper's word: The Veterinarian has agreed: \w{4} Take the shed skin out"
    assert re.search(waits, room.type("today"))
    said = room.at("2026-03-04 09:00").type("event word Q1 'The veterinarian has agreed'")
    assert "Take the shed skin out, 2026-03-04" in said
    assert "Robin said so already, 2026-03-04 09:00" in room.type("event word Q1 moult", 1)
    room.type("undo 'not yet'")
    assert room.tasks("moult", "planned")[0]["day"] is None
    room.whole()


def test_a_word_that_branches_the_plan_is_said_the_same_way(room: Room) -> None:
    """What a `when` and a `stop` wait for: by the sentence; by the step's id alone it is not clear which."""
    said = room.type("event word Q1 dim", 1)
    assert said == "dim waits for several words; say which: They are shy; They are bold."
    assert "Keep the light dim, 2026-03-04" in room.at("2026-03-04 09:00").type("event word Q1 'they are shy'")
    room.at("2026-03-04 09:30").type("event word Q1 'they are bold'")
    assert room.tasks("dim", "planned") == []
    room.whole()


def test_a_word_that_nothing_waits_for_starts_nothing(room: Room) -> None:
    """A slip of the pen names what there is; an empty tank and a time before the fish came are refused."""
    said = room.type("event word Q1 'There is form'", 1)
    assert "There is no word that a step waits for 'There is form'; known: foam (There is foam), moult" in said
    assert "There is no open batch in Show" in room.type("event word Show foam", 1)
    assert "had not arrived then" in room.at("2026-03-03 09:00").type("event word Q1 foam --at '2026-03-01 09:00'", 1)
    assert room.rows("select id from fact where kind = 'word'") == []
