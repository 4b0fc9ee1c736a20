"""A water without fish (needs F47), and what a move leaves to do: for the water, those who stay and those who go."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from moving_room import day, hall
from once_room import BOX, OnceRoom
from test_bath import TEMPLATES, build

FEED = "Feed the idle filter, or skip this and dry it with the kit"
KIT = "Dry the kit until bone dry, before it is used again"
RELEASE = 'signoff Q2-1 --release --deviation "on a veterinary instruction"'
FORMALIN = "event dose Q2 F02 --gave 34mL --strength '37 % formaldehyde' --really"


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """Day 3 of four fish in Q2 that are watched; Q3 and Q4 stand empty."""
    return hall(OnceRoom(tmp_path / "home", capsys), "marine-watch")


def open_tasks(room: OnceRoom, name: str = "Q2-1") -> dict[str, Any]:
    """Title -> the open task of a batch."""
    found = room.json(f"batch show {name}")["tasks"]
    return {t["title"]: t for t in found if t["state"] in ("planned", "missed")}


def come(room: OnceRoom, tank: str = "Q2", protocol: str = "marine-watch") -> None:
    """Two more fish arrive, now."""
    room.type(
        f'batch start --tank {tank} --protocol {protocol} --arrived "-5min" --acknowledge --yes '
        '--fish "2 Centropyge bicolor, 6 cm" --from "a breeder" --to Reef'
    )


@pytest.mark.parametrize("how", [RELEASE, "signoff Q2-1 --reject"])
def test_F47_the_filter_and_the_kit_of_an_empty_water_are_seen_to(room: OnceRoom, how: str) -> None:
    """Released or rejected, the last batch leaves two chores: the kit until the next day ends, the filter on day 3."""
    assert not {FEED, KIT} & set(open_tasks(room))
    room.type(how)
    found = open_tasks(room)
    assert {title: t["day"] for title, t in found.items()} == {KIT: "2026-02-13", FEED: "2026-02-16"}
    assert "Dry the kit until bone dry" in room.type("today")
    said = room.type(f"why {found[FEED]['code']}")
    assert "no fish in this water since 2026-02-13 20:00" in said
    assert "only if it was disinfected or is new" in said
    assert "common practice, no source" in said
    assert "Dry the kit" in room.type("sheet")
    assert "no fish" not in room.type("handover")
    assert "whole" in room.type("check")


def test_F47_the_filter_is_fed_again_until_that_is_skipped(room: OnceRoom) -> None:
    """Each feed asks for the next one three days on; a reason ends it; undone, it is open again."""
    room.type(RELEASE)
    room.at("2026-02-17 09:00:00").type(f"done {open_tasks(room)[FEED]['code']}")
    assert open_tasks(room)[FEED]["day"] == "2026-02-20"
    room.type("undo not yet --yes")
    assert open_tasks(room)[FEED]["day"] == "2026-02-16"
    room.type(f"done {open_tasks(room)[FEED]['code']}")
    room.at("2026-02-20 09:00:00").type(f'skip {open_tasks(room)[FEED]["code"]} --because "not disinfected"')
    assert set(open_tasks(room)) == {KIT}
    room.at("2026-03-20 09:00:00").type("reading Q2 temp=24C")
    assert set(open_tasks(room)) == {KIT}
    assert "whole" in room.type("check")


def test_F47_fish_end_the_chores_of_the_idle_water(room: OnceRoom) -> None:
    """With the next arrival both are withdrawn; of fish that died out there are none."""
    room.type(RELEASE)
    come(room.at("2026-02-14 09:00:00"))
    assert open_tasks(room) == {}
    assert not {FEED, KIT} & {t["title"] for t in room.json("today")["tasks"]}
    room.type("event died Q2 2")
    room.type("signoff Q2-2 --died-out")
    assert open_tasks(room) == {}, "those that died out have chores of their own (rule B7)"
    assert "whole" in room.type("check")


def test_F47_a_water_with_fish_in_it_is_not_idle(room: OnceRoom) -> None:
    """The first of two batches leaves none of these chores; the second does."""
    come(room)
    room.type(RELEASE)
    assert not {FEED, KIT} & set(open_tasks(room))
    room.type(RELEASE.replace("Q2-1", "Q2-2"))
    assert {FEED, KIT} <= set(open_tasks(room, "Q2-2"))


def test_F47_after_a_move_the_filter_is_fed_only_where_it_is_not_dried(room: OnceRoom) -> None:
    """The chores of the emptied tank dry kit and filter; where that is skipped the filter is fed, in the old tank, and
    the sign-off of the fish does not wait for it."""
    room.type("batch move Q2-1 --to Q3 --no-water")
    dry = open_tasks(room)["Dry tank and kit until bone dry, before it is used again"]
    assert not {FEED, KIT} & set(open_tasks(room))
    room.type(f'skip {dry["code"]} --because "the filter was new, it is kept"')
    assert open_tasks(room)[FEED]["day"] == "2026-02-16"
    listed = next(t for t in room.at("2026-02-16 09:00:00").json("today")["tasks"] if t["title"] == FEED)
    assert listed["tanks"] == ["Q2"]
    room.type("batch move Q2-1 --to Q4 --no-water --yes")
    listed = next(t for t in room.json("today")["tasks"] if t["title"] == FEED)
    assert listed["tanks"] == ["Q2"]
    day(room, 16, "Q4")
    assert FEED in open_tasks(room)
    assert "whole" in room.type("check")


def test_the_look_after_an_overdose_goes_with_the_fish(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Moved out of what was too much, they are looked over all the same, under the same code; a look settles it."""
    room = hall(OnceRoom(tmp_path / "home", capsys), "marine-watch")
    room.type(FORMALIN)
    title = "Look over and count: after too much was given"
    code = open_tasks(room)[title]["code"]
    room.at("19:30:00").type("event emergency Q2 --to Q3 --level none")
    found = open_tasks(room)
    assert found[title]["code"] == code
    assert "Too much was given: strong air, change water, call a veterinarian" not in found
    room.at("20:30:00").type('look "Q3 4" --no-signs')
    assert title not in open_tasks(room)
    assert "whole" in room.type("check")


@pytest.mark.parametrize("leaves", ["batch move Q1-1 --to Q6 --no-water --yes", RELEASE.replace("Q2-1", "Q1-1")])
def test_what_has_to_be_put_back_is_the_work_of_those_who_stay(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], leaves: str
) -> None:
    """Carbon and UV were off for the bath of a batch that has left: under its code, those who are still there do it."""
    (tmp_path / "bath.toml").write_text(TEMPLATES["off"](), encoding="utf-8")
    build(tmp_path / "home", str(tmp_path / "bath.toml"))
    room = OnceRoom(tmp_path / "home", capsys).at("2026-02-13 08:00:00")
    room.type(f"tank add Q6 --site Hall --role quarantine --water fresh {BOX}")
    room.type(f"bath start {room.code('dose')} --as-shown --ready 60L")
    end = next(t["code"] for t in room.json("today")["tasks"] if t["step"] == "bath.end")
    room.at("2026-02-14 07:30:00").type(f"bath end {end} --out 49L")
    room.type("batch split Q1-1 --fish 4 --name Q1-2 --yes")
    title = "Put back after the levamisole: carbon in, UV on"
    code = open_tasks(room, "Q1-1")[title]["code"]
    room.type(leaves)
    assert title not in open_tasks(room, "Q1-1")
    assert open_tasks(room, "Q1-2")[title]["code"] == code
    listed = next(t for t in room.json("today")["tasks"] if t["code"] == code)
    assert (listed["tanks"], listed["batches"]) == (["Q1"], ["Q1-2"])
    room.type(f"done {code}")
    assert title not in open_tasks(room, "Q1-2")
    room.type("undo not yet --yes")
    assert open_tasks(room, "Q1-2")[title]["code"] == code
    room.type(f"done {code}")
    room.type("reading Q1 temp=25C")
    assert title not in open_tasks(room, "Q1-2")
    assert "whole" in room.type("check")


def test_a_batch_shows_what_happened_in_its_water(room: OnceRoom) -> None:
    """Doses, changes and incidents of the water it shares; the last ten, and none of the time before it came or after
    it left."""
    room.type("event change Q2 --out 5L --in 5L")
    room.at("19:30:00")
    come(room)
    room.at("20:00:00").type("event incident Q2 --what power --yes")
    room.type(FORMALIN)
    assert [one["says"] for one in room.json("batch show Q2-2")["water_events"]] == [
        "incident: power cut",
        "dose of 34 mL of formalin",
    ]
    assert "2026-02-13 21:00 Q2: dose of 34 mL of formalin" in room.type("batch show Q2-2")
    assert len(room.json("batch show Q2-1")["water_events"]) == 3
    room.at("20:30:00").type("batch move Q2-1 --to Q3 --no-water --yes")
    room.at("21:00:00")
    for _ in range(9):
        room.type("event change Q2 --out 1L --in 1L")
    assert len(room.json("batch show Q2-1")["water_events"]) == 3
    assert len(room.json("batch show Q2-2")["water_events"]) == 10
    assert room.json("batch show Q2-2")["water_events"][0]["says"] == "dose of 34 mL of formalin"
