"""Two batches in one water, from the command line: one earliest day, one sign-off, and fish that stay in quarantine."""

from __future__ import annotations

from pathlib import Path

import pytest
from once_room import OnceRoom, remembered

BOX = '--shape box --length "60 cm" --width "30 cm" --filled "30 cm"'
BECAUSE = "because batch Q1-2 is in the same water (rule B5)"
CRITERION = "Every batch in this water is ready (rule B5)"
FRESH = "temp=25.5C ph=7.2 tan=0.1mg/L nitrite_no2=0.05mg/L"


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> OnceRoom:
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    return OnceRoom(tmp_path / "home", capsys)


def _hall(room: OnceRoom, _: str) -> None:
    """Two batches of one day in Q1; Q2 shares the water of Q1, Q3 has its own."""
    room.at("2026-03-02 11:00:00")
    room.type("site add Hall --zone Europe/Berlin", who="")
    room.type("keeper add Robin", who="")
    for name, more in (("Q1", ""), ("Q2", "--system Q1"), ("Q3", "")):
        room.type(f"tank add {name} --site Hall --role quarantine --water fresh {BOX} {more}")
    room.type(f"tank add Show --site Hall --role display --water fresh {BOX}")
    for fish in ("6 Melanotaenia praecox", "40 Puntius titteya"):
        room.type(
            'batch start --tank Q1 --protocol fresh-watch --arrived "2026-03-02 10:00" --acknowledge --yes '
            f'--fish "{fish}" --from "a breeder" --to Show'
        )


def hall(room: OnceRoom) -> OnceRoom:
    return remembered(room, _hall)


def _stay(room: OnceRoom, _: str) -> None:
    """Looked at every day up to day 30; on day 19 two fish of the second batch died, and the hold was lifted."""
    hall(room)
    for day in range(1, 31):
        month, of_month = (3, 2 + day) if day < 30 else (4, 1)
        room.at(f"2026-{month:02d}-{of_month:02d} 07:00:00").type(f'look "Q1 {46 if day < 20 else 44} 3" --no-signs')
        if day == 19:
            room.at("2026-03-21 13:00:00").type("event died Q1 2 --batch Q1-2")
            room.type("event lift Q1 --because 'the water was tested'")
    room.type(f"reading Q1 {FRESH}")
    settle(room)


def settle(room: OnceRoom) -> None:
    """What is blank up to today gets a reason."""
    for batch in ("Q1-1", "Q1-2"):
        tasks = room.json(f"batch show {batch}")["tasks"]
        open_ = [t["code"] for t in tasks if t["state"] in ("planned", "missed") and t["day"] <= "2026-04-01"]
        if open_:
            room.type(f"skip {' '.join(open_)} --because 'no part of this test' --yes")


def stay(room: OnceRoom) -> OnceRoom:
    return remembered(room, _stay).at("2026-04-01 07:30:00")


def test_B5_a_death_in_one_batch_tells_the_new_day_of_both(room: OnceRoom) -> None:
    """The consequence names the batch that it comes from, and so does every list from then on."""
    hall(room).at("2026-03-03 07:00:00").type('look "Q1 46 3" --no-signs')
    said = room.type("event died Q1 2 --batch Q1-2")
    assert f"Q1-1: earliest sign-off 2026-04-01 -> 2026-04-02, {BECAUSE}" in said
    assert "Q1-2: earliest sign-off 2026-04-01 -> 2026-04-02 ACT NOW" in said
    assert f"earliest sign-off 2026-04-02, {BECAUSE}" in room.type("batch show Q1-1")
    assert f"earliest sign-off 2026-04-02, {BECAUSE}" in room.type("batch list")
    assert room.json("batch show Q1-1")["waits_for"] == "Q1-2"
    assert room.json("batch show Q1-2")["waits_for"] is None
    assert "with Q1-2 in one water until 2026-04-02 (rule B5)" in room.type("today")
    assert f"Earliest sign-off if all goes well: 2026-04-02, {BECAUSE}." in room.type("clocks Q1-1")
    assert f"2026-04-02, which decides: {CRITERION}: batch Q1-2 is in it too" in room.type("why Q1-1")
    assert f"earliest day of sign-off, if all goes well, {BECAUSE}" in room.type("why Q1-1 2026-04-02")
    assert room.json("clocks Q1-1")["waits_for"] == room.json("why Q1-1")["waits_for"] == "Q1-2"


def test_B5_a_batch_is_not_released_before_the_others_in_its_water(room: OnceRoom) -> None:
    """All of its own criteria are met on day 30; a named person may pass this one with a reason."""
    said = stay(room).type("signoff Q1-1 --release", 1)
    assert f"1 of 9 criteria are not met. Earliest day if all goes well: 2026-04-20, {BECAUSE}." in said
    assert "batch Q1-2 in the same water is not ready: not met is 'Thirty days of observation are complete'" in said
    shown = room.json("signoff Q1-1")
    assert [c["title"] for c in shown["criteria"] if c["verdict"] != "met"] == [CRITERION]
    assert (shown["earliest"], shown["waits_for"]) == ("2026-04-20", "Q1-2")
    before = room.json("clocks Q1-2")
    made = room.json("signoff Q1-1 --release --deviation 'the tank is needed'")
    assert made["decision"] == "release with deviation"
    assert room.json("clocks Q1-2") == before


def other(room: OnceRoom) -> OnceRoom:
    """A third batch comes into Q2, on the day after."""
    hall(room).at("2026-03-03 11:00:00").type(
        'batch start --tank Q2 --protocol fresh-watch --arrived "2026-03-03 10:00" --acknowledge --yes '
        '--fish "10 Corydoras aeneus" --from "a breeder" --to Show'
    )
    return room


def test_B5_a_sign_or_a_hold_in_the_other_batch_is_one_in_this_water(room: OnceRoom) -> None:
    """Told by name, whatever the other's criteria ask for."""
    other(room).at("2026-03-04 07:00:00").type('look "Q2 10 3" --sign gasping --really')
    said = room.type("signoff Q1-1")
    assert "batch Q2-1 in the same water is not ready" in said
    assert "open signs: gasping; a hold is open: sign seen: gasping (A)" in said


def test_B5_tanks_that_share_a_system_are_one_water(room: OnceRoom) -> None:
    """A batch in Q2 counts for those in Q1, as long as it is open and has fish."""
    other(room)
    assert {b["earliest"] for b in room.json("batch list")["batches"]} == {"2026-04-02"}
    room.at("2026-03-05 07:00:00").type("event died Q2 2")
    assert [room.json(f"batch show {b}")["waits_for"] for b in ("Q1-1", "Q1-2", "Q2-1")] == ["Q2-1", "Q2-1", None]
    room.at("2026-03-06 07:00:00").type("event died Q2 8")
    assert room.json("batch show Q1-1")["waits_for"] is None
    assert "Q2-1" not in room.type("signoff Q1-1")


def test_B5_releasing_one_moves_nothing_of_the_others(room: OnceRoom) -> None:
    """A batch that is rejected puts the others off no more; their own clocks stay."""
    other(room).at("2026-03-05 07:00:00").type("event died Q2 2")
    before = room.json("clocks Q1-1")
    room.type("signoff Q2-1 --reject")
    after = room.json("clocks Q1-1")
    assert (before["waits_for"], after["waits_for"]) == ("Q2-1", None)
    assert {k: v for k, v in after.items() if k not in ("waits_for", "earliest")} == {
        k: v for k, v in before.items() if k not in ("waits_for", "earliest")
    }


def test_B3_fish_that_go_to_another_quarantine_tank_are_no_fish_that_left(room: OnceRoom) -> None:
    """They would belong to no batch: refused, with the command that moves them. A display takes them, with a word."""
    hall(room).at("2026-03-03 07:00:00")
    said = room.type("event moved Q1 1 --to Q3 --batch Q1-2 --no-water", 1)
    assert "quarantine batch split Q1-2 --fish 1 --name NAME --to Q3 --no-water" in said
    assert "quarantine batch move Q1-2 --to Q3" in room.type("event moved Q1 40 --to Q3 --batch Q1-2", 1)
    assert "share their water: nothing is to be recorded" in room.type("event moved Q1 1 --to Q2 --batch Q1-2", 1)
    assert room.json("batch show Q1-2")["alive"] == 40
    assert "have not been signed off" in room.type("event moved Q1 1 --to Show --batch Q1-2")
    room.type("batch split Q1-2 --fish 1 --name Gone --to Q3 --no-water --yes")
    assert room.json("batch show Gone")["tank"] == "Q3"
