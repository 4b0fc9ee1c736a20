"""What a stranger stumbled over a second time: who is sick beside whom, what was late, what one reason answers."""

from __future__ import annotations

from pathlib import Path

import pytest
from once_room import OnceRoom
from spot_room import BOX, FRESH, STRENGTH, dose, spots

from quarantine.actions.today import TANK_LEFT
from quarantine.cli.today import CARE
from quarantine.emptied import EMPTIED
from quarantine.followups import FOLLOWUP
from quarantine.plan import DAILY_CARE


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """Twelve fish in Q1 on day 4, looked at and tested every day."""
    return spots(OnceRoom(tmp_path / "home", capsys))


def parted(room: OnceRoom) -> OnceRoom:
    """Four of them are batch Small in Q2, where one of them flashes since an hour."""
    room.type(f"tank add Q2 --site Hall --role quarantine --water fresh {BOX}")
    room.type("tank measure Q2 100L --by buckets --plus-minus 1L --really")
    room.type("batch split Q1-1 --fish 4 --name Small --to Q2 --yes")
    room.at("2026-03-06 18:00:00").type("look 'Q2 4 2' --sign flashing")
    return room.at("2026-03-06 19:00:00")


# --- Sick fish beside healthy ones ------------------------------------------------------------------------------


def test_B5_sick_fish_are_named_before_they_go_in_beside_healthy_ones(room: OnceRoom) -> None:
    """The sign and who can catch it stand before the dates, and are said again of a move that was made."""
    beside = "Small shows flashing: in Q1 Q1-1 can catch what it has (rule B5)."
    said = parted(room).type("batch move Small --to Q1", 1)
    assert said.startswith(f"{beside} This would move dates: ")
    assert said.endswith("Say --yes to record it.")
    assert beside in room.type("batch move Small --to Q1 --yes")


def test_B5_healthy_fish_are_not_put_beside_sick_ones_unasked(room: OnceRoom) -> None:
    """The sick ones may be those that are there; once nobody is sick only the dates are asked about."""
    said = parted(room).type("batch move Q1-1 --to Q2", 1)
    assert "Small shows flashing: in Q2 Q1-1 can catch what it has (rule B5)." in said
    room.type("look 'Q2 4 2' --gone flashing")
    assert room.type("batch move Q1-1 --to Q2", 1).startswith("This would move dates: ")


def test_F72_who_is_there_already_is_there_since_its_own_move(room: OnceRoom) -> None:
    """Small came into Q2 by a move on day 4, not with its arrival on day 0."""
    said = parted(room).type("batch move Q1-1 --to Q2 --yes")
    assert "beside Small from an importer, in it since 2026-03-06 17:00." in said


# --- An emergency -----------------------------------------------------------------------------------------------


def test_F69_a_tank_that_is_not_there_yet_is_made_in_the_same_command(room: OnceRoom) -> None:
    """The refusal of an unknown name at two in the morning says how the tub becomes a tank."""
    assert '--make "40 L"' in room.type("event emergency Q1 --to Tub", 1)
    room.type("event emergency Q1 --to Tub --make '40 L'")


def test_F69_living_fish_come_before_the_empty_tank(room: OnceRoom) -> None:
    """After the move the water they are in is read first; the tank they left is cleaned last."""
    room.type("event emergency Q1 --to Tub --make '40 L'")
    titles = [task["title"] for task in room.json("today")["tasks"]]
    read = next(
        place for place, title in enumerate(titles) if title.startswith("Read the water the fish were moved to")
    )
    left = next(place for place, title in enumerate(titles) if title == "Empty the tank that the fish left")
    assert read < left
    assert titles[left:] == titles[-3:]


def test_the_list_knows_the_cleaning_of_a_tank_by_the_name_of_its_step() -> None:
    """The list loads no planner, so the name stands there as well."""
    assert TANK_LEFT == FOLLOWUP + EMPTIED


# --- Incidents --------------------------------------------------------------------------------------------------


def test_F70_an_incident_may_be_over_in_the_minute_it_was_noted(room: OnceRoom) -> None:
    """Found and mended at once; a minute before it began is refused."""
    room.type("event incident Q1 --what heater --yes")
    room.type("event incident-over Q1 --at 16:59", 2)
    assert "heater failure, over 2026-03-06 17:00" in room.type("event incident-over Q1")
    assert "INCIDENT" not in room.type("today")


def test_F70_the_time_of_an_incident_is_asked_for_by_its_own_option(room: OnceRoom) -> None:
    """--at, as everywhere else, is --from there."""
    assert "Did you mean --from?" in room.type("event incident Q1 --what heater --at 16:00", 2)


def test_F70_a_check_that_a_reading_settled_goes_with_its_incident(room: OnceRoom) -> None:
    """The temperature was read before the incident was typed: its check is done, and withdrawn once that is undone."""
    room.at("2026-03-06 17:00:00").type("reading Q1 temp=24C")
    room.at("2026-03-06 17:20:00").type(
        "event incident Q1 --what heater --from '2026-03-06 17:30' --until '2026-03-06 17:45' --yes"
    )
    assert checks(room) == ["done", "planned", "planned", "planned"]
    room.type("undo 'it was another tank' --yes")
    assert checks(room) == ["withdrawn"] * 4
    assert "The record is whole" in room.type("check")


def checks(room: OnceRoom) -> list[str]:
    tasks = room.json("batch show Q1-1")["tasks"]
    return sorted(task["state"] for task in tasks if task["step"].startswith("followup.incident-"))


# --- Late entries, and days that moved --------------------------------------------------------------------------


def test_what_was_entered_late_says_so(room: OnceRoom) -> None:
    """A sign of two days ago, typed today; what was typed at its time says nothing."""
    room.type("look 'Q1 12 3' --sign flashing --at '2026-03-04 18:00'")
    late = "signs: flashing, entered late, 2026-03-06 17:00"
    assert late in room.type("why Q1-1 2026-03-04")
    assert "sign seen: flashing (B), entered late, 2026-03-06 17:00; the template" in room.type("timeline Q1-1")
    assert "entered late" not in room.type("why Q1-1 2026-03-05")


def test_a_death_that_was_entered_late_says_so_in_the_timeline(room: OnceRoom) -> None:
    """Found two days ago; an hour is no delay worth a word."""
    room.type("event died Q1 1 --at '2026-03-06 16:10'")
    assert "entered late" not in room.type("timeline Q1-1")
    room.type("event died Q1 1 --at '2026-03-04 18:00'")
    assert "1 fish died, entered late, 2026-03-06 17:00" in room.type("timeline Q1-1")


def test_A3_a_look_without_a_count_is_not_nobody(room: OnceRoom) -> None:
    """On day 6 a sign was seen and no fish counted; on day 5 nobody looked, and the two are told apart."""
    room.at("2026-03-08 16:00:00").type("look 'Q1 ?' --sign flashing")
    room.at("2026-03-09 16:00:00").type("look 'Q1 12 3' --gone flashing")
    said = room.type("timeline Q1-1")
    assert "Day 5, 2026-03-07 other: nobody looked; the template" in said
    assert "no look that counts (rule A3); the template" in said


def test_B1_added_fish_say_the_old_day_zero_and_the_days_they_cost(room: OnceRoom) -> None:
    """Day 0 was the arrival; a friend's fish on day 4 cost four days, like a sign on that day."""
    room.type("event added Q1 1 --yes")
    for line in ("clocks Q1-1", "why Q1-1"):
        said = room.type(line)
        assert "first day 0 2026-03-02, 0 d after the fish arrived on 2026-03-02." in said
        assert "2026-03-06: fish came into the water; the template says restart: day 0 is that day (+4 days)." in said
    period = room.json("clocks Q1-1")["periods"][0]
    assert (period["first"], period["zero"]) == ("2026-03-02", "2026-03-06")


def test_C9_an_alarm_says_its_day_and_its_share(room: OnceRoom) -> None:
    """Two days later it still stands, and is not read as one of today."""
    room.type("event died Q1 1")
    assert "ACT NOW (1 of 12 dead in 24 hours, 2026-03-06)" in room.at("2026-03-08 12:00:00").type("today")


# --- One line, one reason ---------------------------------------------------------------------------------------


def test_A11_of_two_changes_that_wait_one_card_is_shown(room: OnceRoom) -> None:
    """The weekly change of days 7 and 14 was not done: the first is a line, the second a card with its litres."""
    said = room.at("2026-03-16 16:00:00").type("today")
    assert said.count("Change a quarter of the water, OVERDUE") == 1
    assert said.count("about 25 L of the water that is there") == 1
    assert "the next one is due as well; if it was not done, say why: quarantine skip" in said


def test_A11_one_reason_answers_for_all_missed_care_of_a_tank(room: OnceRoom) -> None:
    """Two days away: looks, feeding and tests are skipped together; what was not missed stays, and a change too."""
    room.at("2026-03-09 16:00:00")
    assert "quarantine skip --missed Q1 --because REASON" in room.type("today")
    room.type("skip --missed Q1 --because 'away for the weekend'")
    open_ = [task for task in room.json("today")["tasks"] if task["section"] == "missed"]
    assert open_ == []
    skipped = [task for task in room.json("batch show Q1-1")["tasks"] if task["state"] == "skipped"]
    assert {task["day"] for task in skipped} == {"2026-03-07", "2026-03-08"}
    assert "No look, feeding or test was missed in Q1" in room.type("skip --missed Q1 --because again", 1)


def test_the_list_knows_daily_care_as_the_plan_does() -> None:
    """The list loads no planner, so its kinds stand there as well."""
    assert CARE == DAILY_CARE


def test_a_skip_of_nothing_asks_for_a_code_or_a_tank(room: OnceRoom) -> None:
    """A reason alone is no task."""
    assert "Say its code, or --missed TANK" in room.type("skip --because away", 2)


def test_F49_why_nobody_can_do_it_is_said_once(room: OnceRoom) -> None:
    """Four days away: the reason stands once over all that it is the reason of, and once at what is open still."""
    said = room.type("absent Robin 2026-03-08 2026-03-11 --yes")
    assert said.count("nobody else may do it") == 2
    assert (
        "still open; Robin is away, and nobody else may do it Robin is away, and nobody else may do it: 2026-03-08"
        in said
    )


# --- Sea water --------------------------------------------------------------------------------------------------


def test_the_hardness_of_sea_water_is_no_slip(room: OnceRoom) -> None:
    """About 6300 mg/L as CaCO3 (from memory); ten times that is one."""
    room.type(f"tank add M1 --site Hall --role quarantine --water marine {BOX}")
    assert "total hardness 6300 mg/L" in room.type("reading M1 hardness=6300mg/L")
    room.type("reading M1 hardness=63000mg/L", 1)


# --- A course that was stopped ----------------------------------------------------------------------------------


def test_F41_clearing_begins_on_the_day_a_course_was_stopped(room: OnceRoom) -> None:
    """One dose on day 4, stopped on day 8: the first change is due on day 8, not since day 5, and none of it waits for
    a dose that will not come."""
    room.type("look 'Q1 12 3' --sign 'white spots'")
    room.type(f"reading Q1 {FRESH}")
    room.type("event word Q1 dose --yes")
    room.type(f"done {dose(room)} --as-shown {STRENGTH}")
    room.at("2026-03-10 16:00:00").type("batch stop-course Q1-1 dose --because 'the veterinarian says so' --yes")
    tasks = [task for task in room.json("batch show Q1-1")["tasks"] if task["state"] in ("planned", "missed")]
    assert min(task["day"] for task in tasks if task["step"] == "clear-water") == "2026-03-10"
    assert [task for task in tasks if task["step"] == "between"] == []
