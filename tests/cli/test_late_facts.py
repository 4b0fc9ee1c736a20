"""What is remembered late of a water that fish have left by now counts for them as if it had been said in time: the
plan is the consequence of what happened, not of the order in which it was typed (design section 3, rules A9, B1-B8)."""

from __future__ import annotations

import itertools
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from moving_room import day, hall
from once_room import READY, OnceRoom

from quarantine.templates import shipped

MOVE = "2026-02-13 20:00:00"
"""21:00 at the site."""
LATE = "2026-02-16 17:00:00"

MOVED = "batch move Q2-1 --to Q3 --no-water --yes"
Halls = Callable[[], OnceRoom]


@pytest.fixture
def halls(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Halls:
    """A new hall each time, under a protocol that begins again after a net as after a fish."""
    text = shipped()["marine-praziquantel"].read_text(encoding="utf-8")
    mine = tmp_path / "mine.toml"
    mine.write_text(text.replace('disturbance = "note"', 'disturbance = "restart"'), encoding="utf-8")
    number = itertools.count()
    return lambda: hall(OnceRoom(tmp_path / f"home{next(number)}", capsys), str(mine))


def tell(room: OnceRoom, lines: tuple[str, ...]) -> None:
    for line in lines:
        if "DOSE" in line:
            tasks = room.json("batch show Q2-1")["tasks"]
            code = next(t["code"] for t in tasks if t["title"].startswith("Praziquantel bath (1"))
            line = line.replace("DOSE", code)
        room.type(line)


def stands(room: OnceRoom, tanks: tuple[str, ...] = ("Q2", "Q3")) -> dict[str, Any]:
    """All that the record says of the batch, without what tells two records of one stay apart: ids, codes, entry."""
    shown = room.json("batch show Q2-1")
    work = sorted(
        (t["title"], t["day"] or "", t["state"], t["step"])
        for t in shown["tasks"]
        if not t["title"].startswith(("Empty", "Clean", "Dry"))  # of the tank that they left
    )
    criteria = [(c["title"], c["verdict"], c["says"]) for c in room.json("signoff Q2-1")["criteria"]]
    clocks = room.json("clocks Q2-1")
    levels = [room.type(f"level {tank}") for tank in tanks]
    return {"work": work, "criteria": criteria, "clocks": clocks, "earliest": shown["earliest"], "levels": levels}


def lived(room: OnceRoom, before: tuple[str, ...] = (), move: str = MOVED, seen: int = 4, to: str = "Q3") -> OnceRoom:
    """The stay with ``before`` told before the move, and three days after it."""
    room.at("2026-02-13 19:50:00")
    tell(room, before)
    room.at(MOVE).type(move)
    for number in (14, 15, 16):
        day(room, number, to, seen=seen, more="--no-signs --really")
    return room.at(LATE)


WORDS = {
    "a fish of a friend, and a sign that went": (
        'event added Q2 1 --from "a friend" --at "2026-02-12 10:00" --yes',
        'look "Q2 5 3" --sign "white spots" --at "2026-02-12 19:00"',
        'look "Q2 5 3" --gone "white spots" --no-signs --at "2026-02-12 21:00"',
    ),
    "a net": ('event disturbance Q2 --what "a wet net" --at "2026-02-12 10:00" --yes',),
    "a death": ('event died Q2 1 --at "2026-02-12 19:00"',),
    "the dose of a task": ('done DOSE --as-shown --at "2026-02-13 19:40"',),
    "a dose without a task, and a change": (
        'event dose Q2 Z01 --gave 0.09g --at "2026-02-13 09:00" --really',
        'event change Q2 --out 20L --in 20L --at "2026-02-13 12:00" --really',
    ),
}


@pytest.mark.parametrize("what", WORDS)
def test_what_is_told_after_the_move_counts_as_if_told_before(halls: Halls, what: str) -> None:
    """Standing, clocks, criteria, work and levels are those of a record that was told in time."""
    words = WORDS[what]
    seen = 5 if "friend" in what else 4
    in_time = stands(lived(halls(), words, seen=seen))
    late = lived(halls(), seen=seen)
    silent = stands(late)
    tell(late, words)
    assert stands(late) == in_time
    assert silent != in_time, "the words change nothing, so this checks nothing"
    assert "whole" in late.type("check")


def moves_written(room: OnceRoom) -> int:
    """How many times the fact of a move was written, corrections among them."""
    with sqlite3.connect(room.home / "record.db") as record:
        (count,) = record.execute("select count(*) from fact where kind = 'moved_in'").fetchone()
    record.close()
    return int(count)


def test_what_goes_along_is_written_anew_only_where_it_is_something_else(halls: Halls) -> None:
    """A late look at the fish is theirs wherever they are; a late dose is in what they carry, once."""
    room = lived(halls())
    room.type('look "Q2 4 3" --no-signs --at "2026-02-12 18:00"')
    room.type(f"reading Q3 {READY}")
    assert moves_written(room) == 1
    room.type('event dose Q2 Z01 --gave 0.09g --at "2026-02-13 09:00" --really')
    assert moves_written(room) == 2


def test_what_is_told_late_follows_fish_that_were_moved_twice(halls: Halls) -> None:
    """From the first water into the third, and where the third is the first one again."""
    for last in ("Q4", "Q2"):
        room = lived(halls())
        if last == "Q2":
            for code in [t["code"] for t in room.json("today")["tasks"] if t["tanks"] == ["Q2"]]:
                room.type(f"done {code} --really")
        room.type(f"batch move Q2-1 --to {last} --no-water --yes")
        said = room.type('event added Q2 1 --from "a friend" --at "2026-02-12 10:00" --yes')
        assert f"Batch Q2-1 was in Q2 then, and is in {last} now" in said or last == "Q2"
        (period,) = room.json("clocks Q2-1")["periods"]
        assert ("2026-02-12", "fish came into the water") in {(m["on"], m["because"]) for m in period["moved"]}
        room.type('event dose Q2 Z01 --gave 0.09g --at "2026-02-13 09:00" --really')
        says = next(
            c["says"]
            for c in room.json("signoff Q2-1")["criteria"]
            if c["title"].startswith("14 days since the last dose")
        )
        assert "contact with the last dose ended 2026-02-13" in says
        assert "whole" in room.type("check")


def test_those_who_stay_and_those_who_left_both_have_it(halls: Halls) -> None:
    """A net of a time when two batches were in one water counts for the one that is there and for the one that is not;
    no task of either changes its code."""
    room = halls()
    room.at("2026-02-13 19:50:00")
    room.type("batch split Q2-1 --fish 2 --name B2 --to Q3 --no-water --yes")
    for number in (14, 15, 16):
        day(room, number, "Q2", seen=2)
        day(room, number, "Q3", seen=2)
    room.at(LATE)
    codes = {name: {t["code"] for t in room.json(f"batch show {name}")["tasks"]} for name in ("Q2-1", "B2")}
    room.type('event disturbance Q2 --what "a wet net" --at "2026-02-12 10:00" --yes')
    for name in ("Q2-1", "B2"):
        (period,) = room.json(f"clocks {name}")["periods"]
        assert {"on": "2026-02-12", "because": "disturbance: a wet net", "rule": "restart", "days": 2} in period[
            "moved"
        ]
        assert {t["code"] for t in room.json(f"batch show {name}")["tasks"]} == codes[name]


def test_a_late_dose_in_a_water_that_went_along_is_in_the_new_tank_too(halls: Halls) -> None:
    """Filled with the old water the new tank has what was in that; where nobody said how much came along its level is
    not known, and no dose is shown on top of it (rules B3, C1 and C12)."""
    dose = 'event dose Q2 Z01 --gave 0.09g --at "2026-02-13 09:00" --really'
    cracked = "event emergency Q2 --to Bin --make '45 L' --level known"
    filled = lived(halls(), move=cracked, to="Bin")
    assert "No dose on record" in filled.type("level Bin")
    filled.type(dose)
    level = filled.json("level Bin praziquantel")
    assert level["now"]["high"] > 1
    assert level == lived(halls(), (dose,), cracked, to="Bin").json("level Bin praziquantel")
    some = lived(halls(), move="batch move Q2-1 --to Q3 --yes")
    assert "Q3, 2026-02-13 21:00: water that may have come with fish from Q2: its level there is unknown" in some.type(
        dose
    )
    assert some.json("level Q3 praziquantel")["now"]["high"] is None
    none = lived(halls(), move=MOVED)
    none.type(dose)
    assert "No dose on record for this water" in none.type("level Q3")


def test_a_look_counts_for_the_fish_that_were_there(halls: Halls) -> None:
    """Dated before the move, it is of the tank they were in then; of the one they came to it is of no fish."""
    room = lived(halls())
    assert "before batch Q2-1 came (2026-02-13 21:00): it counts for no batch" in room.type(
        'look "Q3 4 3" --no-signs --at "2026-02-12 18:00"'
    )
    assert "came into Q3 2026-02-13 21:00; at 2026-02-12 18:00 its fish were not in Q3" in room.type(
        'event died Q3 1 --at "2026-02-12 18:00"', 1
    )
    assert "There is no open batch in Q4" in room.type('event died Q4 1 --at "2026-02-12 18:00"', 1)
    said = room.type('look "Q2 4 3" --sign "white spots" --at "2026-02-12 18:00"')
    assert "Batch Q2-1 was in Q2 then, and is in Q3 now: it counts for it." in said
    assert "quarantine reading Q3" in said


def test_what_is_corrected_of_the_time_before_a_parting_is_corrected_for_the_part(halls: Halls) -> None:
    """The look was at the fish of both: what it really saw counts for both, and so does its taking back (rule B4)."""
    room = halls()
    room.at("2026-02-13 19:40:00").type('look "Q2 4 3" --no-signs')
    seal = room.json("journal")["entries"][-1]["seal"]
    room.type("batch split Q2-1 --fish 2 --name B2 --to Q3 --no-water --yes")
    assert [room.json(f"clocks {name}")["clear"]["zero"] for name in ("Q2-1", "B2")] == ["2026-02-10"] * 2
    room.type(f'correct {seal} signs="white spots" --because "it was seen" --yes')
    assert [room.json(f"clocks {name}")["clear"]["zero"] for name in ("Q2-1", "B2")] == ["2026-02-13"] * 2
    room.type("undo 'it was dust' --yes")
    assert [room.json(f"clocks {name}")["clear"]["zero"] for name in ("Q2-1", "B2")] == ["2026-02-10"] * 2
    assert "whole" in room.type("check")


def test_a_corrected_dose_is_corrected_in_what_the_part_had(halls: Halls) -> None:
    """The amount that was really given is that of both; the stock and the water hear of it once."""
    room = halls()
    room.at("2026-02-13 19:00:00").type(f"done {room.code()} --as-shown")
    seal = room.json("journal")["entries"][-1]["seal"]
    room.at("2026-02-13 19:50:00").type("batch split Q2-1 --fish 2 --name B2 --to Q3 --no-water --yes")
    room.type(f"correct {seal} gave=0.08g --because 'the scale' --yes --really")
    with sqlite3.connect(room.home / "record.db") as record:
        rows = record.execute(
            "select json_extract(data, '$.given') from fact where kind = 'dose_before' "
            "and id not in (select voids from fact where voids is not null)"
        ).fetchall()
    record.close()
    assert rows == [("0.08",)]
    assert "0.08 g" in room.type("level Q2 praziquantel")


def test_fish_that_came_before_the_others_left_begin_their_clock_again(halls: Halls) -> None:
    """A batch that is entered late was in the water with those that have left it since (rule B1)."""
    room = lived(halls())
    room.type(
        'batch start --tank Q2 --protocol marine-watch --arrived "2026-02-12 10:00" --acknowledge --yes --really '
        '--fish "2 Centropyge bicolor, 6 cm" --from "a breeder" --to Reef --because "they came first"'
    )
    (period,) = room.json("clocks Q2-1")["periods"]
    assert ("2026-02-12", "fish came into the water") in {(m["on"], m["because"]) for m in period["moved"]}


@pytest.mark.parametrize(("how", "known"), [("", False), (" --no-water", True)])
def test_a_late_dose_reaches_the_water_that_fish_were_let_out_into(halls: Halls, how: str, known: bool) -> None:
    """Fish that went to a display tank took some of the old water along, unless it was said that none came (C12)."""
    room = halls()
    room.at(MOVE).type(f"event moved Q2 1 --to Reef{how}")
    room.at(LATE)
    assert room.json("level Reef praziquantel")["now"]["high"] == 0
    said = room.type('event dose Q2 Z01 --gave 0.09g --at "2026-02-13 09:00" --really')
    assert ("Reef, 2026-02-13 21:00: water that may have come with fish from Q2" in said) is not known
    assert (room.json("level Reef praziquantel")["now"]["high"] == 0) is known
