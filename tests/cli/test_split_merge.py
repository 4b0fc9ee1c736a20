"""A batch is parted and joined (F68, rules B3, B4 and B6): history, counts and clocks of both."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from moving_room import day, hall
from once_room import OnceRoom


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """Day 3 of four fish in Q2 under praziquantel, the first bath due."""
    return hall(OnceRoom(tmp_path / "home", capsys))


@pytest.fixture
def watched(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """Day 3 of four fish in Q2 under a protocol without medicine."""
    return hall(OnceRoom(tmp_path / "home", capsys), "marine-watch")


CLOCKS = ("earliest", "periods", "clear", "signs", "all_seen_on", "day")


def clocks(room: OnceRoom, name: str) -> dict[str, Any]:
    shown = room.json(f"batch show {name}")
    return {key: shown[key] for key in CLOCKS}


def states(room: OnceRoom, name: str) -> list[tuple[str, str | None, str]]:
    found = room.json(f"batch show {name}")["tasks"]
    return sorted((t["step"], t["day"] or "", t["state"]) for t in found if t["state"] != "withdrawn")


def test_a_part_has_the_clocks_and_the_history_of_the_whole(room: OnceRoom) -> None:
    """At the parting every clock and the state of every task are the same; the counts balance on both sides."""
    room.type('look "Q2 4 2" --sign flashing')
    room.type(f"done {room.code()} --as-shown --really")
    before, work = clocks(room, "Q2-1"), states(room, "Q2-1")
    said = room.type("batch split Q2-1 --fish 1 --name Shy")
    assert "Batch Shy: 1 fish of Q2-1" in said
    assert clocks(room, "Shy") == before
    assert clocks(room, "Q2-1") == before
    assert [one for one in states(room, "Shy") if one in work] == [
        one for one in work if not one[0].startswith(("followup", "arrival"))
    ]
    assert room.json("batch show Shy")["alive"] == 1
    assert room.json("batch show Q2-1")["alive"] == 3
    for name in ("Shy", "Q2-1"):
        says = {c["title"]: c for c in room.json(f"signoff {name}")["criteria"]}
        assert (
            "2026-02-13" in says["14 days since the last dose ended"]["says"]
            or "still in the water" in (says["14 days since the last dose ended"]["says"])
        )
    assert "parted from batch Q2-1" in room.type("batch show Shy")
    assert "1 fish are counted in batch Shy" in room.type("batch show Q2-1")
    assert "whole" in room.type("check")


def test_a_copied_dose_is_in_the_water_once(room: OnceRoom) -> None:
    """The level of the water is not doubled by a parting, nor is what the next dose may add."""
    room.type(f"done {room.code()} --as-shown")
    level = room.json("level Q2")
    room.type("batch split Q2-1 --fish 2 --name Two")
    assert room.json("level Q2") == level
    assert "apart; the last one was given 2026-02-13" in room.type("dose praziquantel --tank Q2 --regimen Z01")


def test_a_part_that_goes_to_another_tank_takes_its_course_along(room: OnceRoom) -> None:
    """Parting and moving in one: the second bath of each is due on its day, in its own water."""
    room.type(f"done {room.code()} --as-shown")
    room.type("batch split Q2-1 --fish 2 --name Two --to Q3 --no-water")
    for number in (14, 15, 16, 17):
        day(room, number, "Q2", 2)
        day(room, number, "Q3", 2)
    room.at("2026-02-17 18:00:00")
    doses = {t["tanks"][0]: t for t in room.json("today")["tasks"] if t["kind"] == "dose"}
    assert set(doses) == {"Q2", "Q3"}
    assert [d["hold"] for d in doses.values()] == [None, None]
    for dose in doses.values():
        room.type(f"done {dose['code']} --as-shown")
    assert "whole" in room.type("check")


def test_deaths_of_one_part_leave_the_other_alone(watched: OnceRoom) -> None:
    """What happens after the parting is of one batch only; a share of its own fish is what counts."""
    watched.type("batch split Q2-1 --fish 2 --name Two --to Q3")
    before = clocks(watched, "Q2-1")
    watched.type("event died Q3 1")
    assert watched.json("batch show Two")["alive"] == 1
    assert watched.json("batch show Q2-1")["alive"] == 2
    assert clocks(watched, "Q2-1") == before


def test_which_fish_and_how_many_is_asked(watched: OnceRoom) -> None:
    """All of them are no part; a name that is taken, a fish that is not there and a count that is none are refused."""
    assert "a part is fewer than all" in watched.type("batch split Q2-1 --fish 4 --name Two", 1)
    assert "already" in watched.type("batch split Q2-1 --fish 2 --name Q2-1", 1)
    assert "has no Amphiprion" in watched.type('batch split Q2-1 --fish "2 Amphiprion" --name Two', 1)
    assert "does not read" in watched.type("batch split Q2-1 --fish some --name Two", 2)


def test_parting_and_joining_again_gives_the_same_clocks(watched: OnceRoom) -> None:
    """Merged, both are as they were: nothing of the later clock differs."""
    day(watched, 14, "Q2")
    before = clocks(watched, "Q2-1")
    watched.type("batch split Q2-1 --fish 2 --name Two")
    said = watched.type("batch merge Two --into Q2-1")
    assert "its 2 fish are counted in Q2-1 from now on, 4 in all" in said
    assert clocks(watched, "Q2-1") == before
    assert watched.json("batch show Q2-1")["alive"] == 4
    two = watched.json("batch show Two")
    assert (two["state"], two["alive"]) == ("merged", 0)
    assert "2 fish of batch Two came to it" in watched.type("batch show Q2-1")
    assert "is closed: merged" in watched.type("signoff Two", 1)
    watched.type('look "Q2 4 3" --no-signs')
    assert "whole" in watched.type("check")


def test_merging_takes_the_later_clock_of_both_in_every_count(watched: OnceRoom) -> None:
    """Fish that came on day 2 into the same tank: the merged batch has their zero, clear days and last death."""
    watched.type(
        'batch start --tank Q2 --protocol marine-watch --arrived "2026-02-12 18:00" --yes '
        '--fish "2 Centropyge bicolor, 6 cm" --from "a breeder" --to Reef'
    )
    day(watched, 14, "Q2", 6)
    day(watched, 15, "Q2", 6)
    watched.type('event died Q2 1 --batch Q2-2 --cause "jumped out"')
    both = [clocks(watched, name) for name in ("Q2-1", "Q2-2")]
    refused = watched.type("batch merge Q2-2 --into Q2-1 --dry-run --yes")
    assert "Dry run" in refused
    watched.type("batch merge Q2-2 --into Q2-1 --yes")
    made = clocks(watched, "Q2-1")
    assert made["earliest"] == max(one["earliest"] for one in both)
    assert [p["zero"] for p in made["periods"]] == [
        max(zeros) for zeros in zip(*([p["zero"] for p in one["periods"]] for one in both), strict=True)
    ]
    assert made["clear"]["days"] == min(one["clear"]["days"] for one in both)
    assert made["clear"]["zero"] == max(one["clear"]["zero"] for one in both)
    death = next(c for c in watched.json("signoff Q2-1")["criteria"] if "death" in c["title"])
    assert "last death 2026-02-15" in death["says"]
    assert watched.json("batch show Q2-1")["alive"] == 5
    assert "whole" in watched.type("check")


def test_what_cannot_be_one_batch_is_refused(room: OnceRoom) -> None:
    """Another tank, another protocol, an open dose, an open sign."""
    room.type("batch split Q2-1 --fish 2 --name Two")
    assert "is still open" in room.type("batch merge Two --into Q2-1", 1)
    assert "is one batch already" in room.type("batch merge Two --into Two", 1)
