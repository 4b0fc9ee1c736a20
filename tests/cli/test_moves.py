"""A batch moves to another quarantine (rule B3): its keys, clocks and doses go with it, the old water does not."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from bath_room import template
from moving_room import day, hall
from once_room import BOX, OnceRoom


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """Day 3 of four fish in Q2, the first bath of praziquantel due; Q3 and Q4 stand empty."""
    return hall(OnceRoom(tmp_path / "home", capsys))


@pytest.fixture
def watched(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """The same fish under a protocol without medicine."""
    return hall(OnceRoom(tmp_path / "home", capsys), "marine-watch")


def tasks(room: OnceRoom, name: str = "Q2-1") -> dict[str, tuple[str, str | None]]:
    """Code -> title and day of the open work of a batch."""
    found = room.json(f"batch show {name}")["tasks"]
    return {t["code"]: (t["title"], t["day"]) for t in found if t["state"] in ("planned", "missed")}


def uids(room: OnceRoom, file: Path) -> set[str]:
    room.type(f"calendar write {file}")
    return set(re.findall(r"(?m)^UID:(\S+)", file.read_text(encoding="utf-8")))


def second(room: OnceRoom, tank: str = "Q3", on: str = "2026-02-12 17:00", protocol: str = "marine-watch") -> str:
    """Two more fish come into another tank; what is said."""
    return room.type(
        f'batch start --tank {tank} --protocol {protocol} --arrived "{on}" --acknowledge --yes '
        '--fish "2 Centropyge bicolor, 6 cm" --from "a breeder" --to Reef'
    )


def test_a_move_into_an_empty_tank_changes_no_code_no_entry_and_no_date(room: OnceRoom, tmp_path: Path) -> None:
    """The tasks of the batch are the same ones before and after it, each under its code, on its day, in its entry."""
    room.type(f"done {room.code()} --as-shown")
    before, entries = tasks(room), uids(room, tmp_path / "a.ics")
    earliest = room.json("batch show Q2-1")["earliest"]
    said = room.type("batch move Q2-1 --to Q3 --no-water")
    assert "4 fish moved from Q2 to Q3" in said
    assert "No sign-off date moves." in said
    after = tasks(room)
    assert before.items() <= after.items()
    more = {title for code, (title, _) in after.items() if code not in before}
    assert more == {
        "Read the water the fish were moved to, before any dose",
        "Empty the tank that the fish left",
        "Clean, then disinfect tank and kit",
        "Dry tank and kit until bone dry, before it is used again",
    }
    assert entries <= uids(room, tmp_path / "b.ics")
    assert room.json("batch show Q2-1")["earliest"] == earliest
    assert room.json("batch show Q2-1")["tank"] == "Q3"
    assert "whole" in room.type("check")


def test_work_goes_on_in_the_new_tank_and_nothing_old_is_owed(room: OnceRoom) -> None:
    """What was tested in the old water stays done; looks and readings of the new one settle the days to come."""
    room.type("batch move Q2-1 --to Q3 --no-water")
    for number in (14, 15):
        day(room, number, "Q3")
    states = {
        (t["title"], t["day"]): t["state"] for t in room.json("batch show Q2-1")["tasks"] if t["step"] != "acclimate"
    }
    for number in (11, 12, 13, 14, 15):
        assert states["Read the temperature", f"2026-02-{number}"] == "done"
        assert states["Look at every fish and count", f"2026-02-{number}"] == "done"
    tests = [c for c in room.json("signoff Q2-1")["criteria"] if c["title"].startswith("Every task")]
    assert "Read the temperature" not in tests[0]["says"]
    assert "clear 5 of 14" in room.type("signoff Q2-1")


def test_a_dose_before_the_move_counts_for_the_fish_and_not_for_the_new_water(room: OnceRoom) -> None:
    """The gap holds the next one, the old water keeps its level, the new one never had any (rules B2, B8 and C12)."""
    room.type(f"done {room.code()} --as-shown")
    room.at("20:00:00").type("batch move Q2-1 --to Q3 --no-water")
    assert "apart; the last one was given 2026-02-13" in room.type("dose praziquantel --tank Q3 --regimen Z01")
    assert "No dose on record for this water" in room.type("level Q3")
    assert "raziquantel" in room.type("level Q2")
    says = {c["title"]: c for c in room.json("signoff Q2-1")["criteria"]}
    since = says["14 days since the last dose ended"]
    assert "contact with the last dose ended 2026-02-13" in since["says"]
    level = says["Praziquantel in the water at most 5 % of the last target"]
    assert level["verdict"] == "met"


def test_the_second_dose_of_a_course_is_due_in_the_new_water(room: OnceRoom) -> None:
    """The course goes on by the day of its first dose, and its card is computed for the new tank."""
    room.type(f"done {room.code()} --as-shown")
    room.type("batch move Q2-1 --to Q3 --no-water")
    for number in (14, 15, 16, 17):
        day(room, number, "Q3")
    room.at("2026-02-17 19:00:00")
    dose = next(t for t in room.json("today")["tasks"] if t["kind"] == "dose")
    assert dose["tanks"] == ["Q3"]
    assert dose["hold"] is None
    room.type(f"done {dose['code']} --as-shown")
    states = [t["state"] for t in room.json("batch show Q2-1")["tasks"] if t["title"].startswith("Praziquantel bath")]
    assert states == ["done", "done"]


def test_water_that_may_have_come_along_is_asked_about_and_then_unknown(room: OnceRoom) -> None:
    """Out of a dosed water the move says --no-water or accepts that the level over there is unknown (rule C12)."""
    room.type(f"done {room.code()} --as-shown")
    assert "--no-water" in room.type("batch move Q2-1 --to Q3", 1)
    assert "is not known until all of its water is changed" in room.type("batch move Q2-1 --to Q3 --yes")
    level = next(c for c in room.json("signoff Q2-1")["criteria"] if c["title"].startswith("Praziquantel"))
    assert level["verdict"] == "cannot be judged"
    room.at("20:00:00").type("event change Q3 --out 49.8L --in 49.8L")
    level = next(c for c in room.json("signoff Q2-1")["criteria"] if c["title"].startswith("Praziquantel"))
    assert level["verdict"] == "met"


def test_a_tank_that_was_emptied_takes_no_fish_before_it_is_clean_and_dry(room: OnceRoom) -> None:
    """The chores stand in the order in which they are done; a reason passes them."""
    room.type("batch move Q2-1 --to Q3 --no-water")
    refused = room.type("batch move Q2-1 --to Q2 --no-water", 1)
    assert "Q2 was emptied and is not ready for fish again" in refused
    new = 'batch start --tank Q2 --protocol marine-watch --arrived "2026-02-13 19:30" --from "a breeder" --to Reef'
    assert "is not ready for fish" in room.type(f'{new} --fish "2 Centropyge bicolor, 6 cm"', 1)
    chores = [t["code"] for t in room.json("today")["tasks"] if t["tanks"] == ["Q2"]]
    assert len(chores) == 3
    room.type(f"done {' '.join(chores)} --really")
    assert "moved from Q3 to Q2" in room.type("batch move Q2-1 --to Q2 --no-water")
    assert "whole" in room.type("check")


def test_fish_that_join_others_start_the_clock_of_both_again(watched: OnceRoom) -> None:
    """The receiving system is at zero (rule B3), both batches see it first, and a second source is named (F72)."""
    second(watched)
    watched.at("2026-02-14 09:00:00")
    refused = watched.type("batch move Q2-1 --to Q3", 1)
    assert "Q2-1: earliest sign-off 2026-03-12 -> 2026-03-16" in refused
    assert "Q3-1: earliest sign-off 2026-03-14 -> 2026-03-16" in refused
    said = watched.type("batch move Q2-1 --to Q3 --yes")
    assert "Two batches share this water from now on" in said
    for name in ("Q2-1", "Q3-1"):
        assert watched.json(f"batch show {name}")["earliest"] == "2026-03-16"
    watched.type("look 'Q3 6 3' --no-signs")
    assert "whole" in watched.type("check")


def test_a_batch_that_leaves_others_behind_leaves_their_clock_alone(watched: OnceRoom) -> None:
    """The giving system is unchanged (rule B3), and the fish that left keep the day on which the others came in."""
    second(watched, "Q2")
    watched.at("2026-02-14 09:00:00")
    before = {name: watched.json(f"batch show {name}")["earliest"] for name in ("Q2-1", "Q2-2")}
    said = watched.type("batch move Q2-1 --to Q3")
    assert "Empty the tank" not in said
    assert {name: watched.json(f"batch show {name}")["earliest"] for name in before} == before
    assert before["Q2-1"] == "2026-03-14"


def test_where_fish_cannot_be_moved_is_said_in_a_sentence(room: OnceRoom) -> None:
    """Into a display, into the tank they are in, before they came, into the water of another course."""
    assert "a display tank" in room.type("batch move Q2-1 --to Reef", 1)
    assert "is the tank they are in" in room.type("batch move Q2-1 --to Q2", 1)
    assert "they cannot leave it before" in room.type('batch move Q2-1 --to Q3 --at "2026-02-10 08:00"', 1)
    assert "no tank" in room.type("batch move Q2-1 --to Q9", 1)
    room.type(f"tank add Q5 --site Hall --role quarantine --water marine --system Reef {BOX}")
    assert "that is no quarantine" in room.type("batch move Q2-1 --to Q5", 1)
    room.type(f"done {room.code()} --as-shown")
    room.at("20:00:00")
    assert "would have left" in room.type('batch move Q2-1 --to Q3 --no-water --at "2026-02-13 12:00"', 1)
    second(room)
    assert "rule B2" in room.type("batch move Q2-1 --to Q3 --no-water", 1)


def test_what_a_veterinarian_said_goes_with_the_fish(room: OnceRoom) -> None:
    """An instruction holds for the batch, wherever it is."""
    room.type(
        'vet add Q2-1 --by "a practice" --on 2026-02-12 --regimen Z01 --dose "2 mg/L" --until 2026-03-12 '
        '--words "bathe them now" --passes gate'
    )
    room.type("batch move Q2-1 --to Q3 --no-water")
    assert "in force" in room.type("vet list")


POURED = "2026-03-05 18:00:00"


def bathing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """Day 3 of six fish in Q1, in a timed bath that was poured at 19:00; Q2 stands empty."""
    room = OnceRoom(tmp_path / "home", capsys).at("2026-03-02 08:00:00")
    (tmp_path / "bath.toml").write_text(template(), encoding="utf-8")
    room.type("site add Hall --zone Europe/Berlin", who="")
    room.type("keeper add Robin", who="")
    for name, role in (("Q1", "quarantine"), ("Q2", "quarantine"), ("Pond", "display")):
        room.type(f"tank add {name} --site Hall --role {role} --water fresh {BOX}")
        room.type(f"tank measure {name} 50L --by buckets --plus-minus 0.5L")
    room.type(
        f'batch start --tank Q1 --protocol {tmp_path / "bath.toml"} --arrived "2026-03-02 08:30" --acknowledge --yes '
        '--fish "6 Danio rerio, 3 cm" --from "a breeder" --to Pond'
    )
    for number in range(2, 6):
        room.at(f"2026-03-{number:02} 17:00:00")
        room.type(f'look "Q1 6{"" if number == 2 else " 3"}" --no-signs')
        room.type("reading Q1 temp=25.5C ph=7.4 tan=0mg/L nitrite_no2=0mg/L oxygen=7mg/L")
    room.at(POURED)
    dose = next(t for t in room.json("today")["tasks"] if t["kind"] == "dose")
    room.type(
        f'bath start {dose["code"]} --gave "{dose["dose"]["add"]} {dose["dose"]["add_unit"]}" --ready 150L --really'
    )
    return room.at("2026-03-05 20:00:00")


def test_a_timed_bath_ends_for_fish_that_are_moved_out_of_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """They are in clean water (rule C5): the end is done by the move, and said."""
    room = bathing(tmp_path, capsys)
    said = room.type("batch move Q1-1 --to Q2 --no-water")
    assert "the fish are out, so their bath has ended (rule C5)" in said
    assert "Contact: 2 h, partly" in said
    ends = [t for t in room.json("batch show Q1-1")["tasks"] if t["step"] == "bath.end"]
    assert [t["state"] for t in ends] == ["done"]
    assert "whole" in room.type("check")


def test_the_end_of_a_bath_is_never_lost_for_those_who_stay(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The batch that the dose was given to is moved out; who is left in that water is told to end the bath (C9)."""
    room = bathing(tmp_path, capsys)
    room.type("batch split Q1-1 --fish 2 --name Two")
    room.type("batch move Q1-1 --to Q2 --no-water")
    (end,) = [t for t in room.json("today")["tasks"] if t["step"] == "bath.end"]
    assert (end["batches"], end["tanks"]) == (["Two"], ["Q1"])
    room.at("2026-03-06 18:00:00").type(f"bath end {end['code']} --out 50L --in 50L --really")
    assert "whole" in room.type("check")
