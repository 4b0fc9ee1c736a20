"""A heater failed, and the fish left the tank: what is to do at the tank stays there, the look over the fish goes with
them, and what was to be read of that water is needless (F70)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from moving_room import hall
from once_room import OnceRoom

UNPLUG = "Unplug the heater that failed; a second thermometer"
WARMTH = "Read the temperature"
AFTER = "Read the temperature, all running again"
LOOK = "Look over and count: after the incident"
RUNNING = "See that all runs again: filter, air, heater under water, timers"
RELEASE = 'signoff Q2-1 --release --deviation "on a veterinary instruction"'


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """Day 3 of four fish in Q2 that are watched, the heater found off; Q3 and Q4 stand empty."""
    made = hall(OnceRoom(tmp_path / "home", capsys), "marine-watch")
    made.type("event incident Q2 --what heater --yes")
    return made.at("19:10:00")


def checks(room: OnceRoom, name: str = "Q2-1") -> dict[str, dict[str, Any]]:
    """Title -> the checks of incidents of a batch."""
    found = room.json(f"batch show {name}")["tasks"]
    return {t["title"]: t for t in found if t["step"].startswith("followup.incident-")}


def listed(room: OnceRoom, code: str) -> dict[str, Any] | None:
    return next((t for t in room.json("today")["tasks"] if t["code"] == code), None)


@pytest.mark.parametrize("leave", ["event emergency Q2 --to Q3 --level none", RELEASE])
def test_the_heater_is_still_to_be_unplugged(room: OnceRoom, leave: str) -> None:
    """The chore is work of the tank that stands empty, under its code; so says its reason, and the sign-off of the
    fish does not wait for it. Ticked it is gone, untouched by any later plan."""
    code = checks(room)[UNPLUG]["code"]
    room.type(leave)
    assert (listed(room, code) or {})["tanks"] == ["Q2"]
    assert "INCIDENT since 2026-02-13 20:00: heater failure" in room.type("today")
    assert "the fish have left, this is still to do there" in room.type(f"why {code}")
    room.at("2026-02-14 09:00:00").type("reading Q2 temp=20C")
    assert (listed(room, code) or {})["tanks"] == ["Q2"]
    if leave != RELEASE:
        assert UNPLUG not in str(room.json("signoff Q2-1")["criteria"])
    room.type(f"done {code}")
    room.type("event incident-over Q2")
    room.type("reading Q2 temp=20C")
    assert checks(room)[UNPLUG]["state"] == "done"
    assert listed(room, code) is None
    assert "whole" in room.type("check")


@pytest.mark.parametrize("leave", ["event emergency Q2 --to Q3 --level none", RELEASE])
def test_a_tick_at_an_empty_tank_can_be_taken_back(room: OnceRoom, leave: str) -> None:
    """Open again, it stands on the list as before."""
    code = checks(room)[UNPLUG]["code"]
    room.type(leave)
    room.type(f"done {code}")
    room.type("undo it was another one --yes")
    assert (listed(room, code) or {})["tanks"] == ["Q2"]
    assert checks(room)[UNPLUG]["state"] == "planned"
    assert "whole" in room.type("check")


def test_what_follows_the_end_at_the_tank_waits_for_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A power cut: that all runs again is seen at the tank too, once somebody says it is over."""
    room = hall(OnceRoom(tmp_path / "home", capsys), "marine-watch")
    room.type("event incident Q2 --what power --yes")
    room.at("19:10:00").type("event emergency Q2 --to Q3 --level none")
    assert checks(room)[RUNNING]["day"] is None
    said = room.at("20:10:00").type("event incident-over Q2")
    assert RUNNING in said
    assert "Read oxygen" not in said
    assert checks(room)[RUNNING]["day"] == "2026-02-13"
    assert (listed(room, checks(room)[RUNNING]["code"]) or {})["tanks"] == ["Q2"]


def test_what_was_to_be_read_of_that_water_is_withdrawn_with_its_reason(room: OnceRoom) -> None:
    """No fish are in it: `why` says what it was asked for, and since when they are elsewhere."""
    codes = {title: checks(room)[title]["code"] for title in (WARMTH, AFTER)}
    room.type("event emergency Q2 --to Q3 --level none")
    for title, code in codes.items():
        assert checks(room)[title]["state"] == "withdrawn"
        said = room.type(f"why {code}")
        assert "heater failure, since 2026-02-13 20:00" in said
        assert "the fish left that water 2026-02-13 20:10: nothing of it is asked for them any more" in said
    assert "Q2, empty" in room.type("today")


def test_other_work_of_that_water_is_withdrawn_with_its_reason(room: OnceRoom) -> None:
    """Ammonia past its limit asks for a change and a test; in the new water neither is needed. One that nothing asked
    for in the end is withdrawn without."""
    room.type("reading Q2 temp=25C ph=8.3 tan=2mg/L salinity=34g/L")
    found = room.json("batch show Q2-1")["tasks"]
    titles = ("Change water, judged (ammonia)", "Test again: ammonia")
    codes = [t["code"] for t in found if t["title"] in titles]
    room.type("event emergency Q2 --to Q3 --level none")
    for code in codes:
        assert "the fish left that water 2026-02-13 20:10" in room.type(f"why {code}")
    assert len(codes) == 2
    assert not [t for t in room.json("today")["tasks"] if t["code"] in codes]


def test_the_fish_are_looked_over_where_they_are(room: OnceRoom) -> None:
    """Under its code, within a day of the move; a look settles it, and one that is taken back opens it again."""
    code = checks(room)[LOOK]["code"]
    room.type("event emergency Q2 --to Q3 --level none")
    assert checks(room)[LOOK]["code"] == code
    assert (listed(room, code) or {})["tanks"] == ["Q3"]
    assert "an incident in the tank that they left" in room.type(f"why {code}")
    room.at("20:00:00").type('look "Q3 4 3" --no-signs')
    assert checks(room)[LOOK]["state"] == "done"
    room.type("undo it was Q4 --yes")
    assert checks(room)[LOOK]["state"] == "planned"
    room.type('look "Q3 4 3" --no-signs')
    room.at("21:00:00").type("reading Q3 temp=25C")
    assert checks(room)[LOOK]["state"] == "done"
    assert "whole" in room.type("check")


def test_an_incident_that_was_none_leaves_nothing(room: OnceRoom) -> None:
    """Taken back after the fish left, its chore and its look are withdrawn."""
    room.type("event emergency Q2 --to Q3 --level none", who="Noor")
    room.type("undo it was nothing --yes")
    room.type("reading Q3 temp=25C")
    assert {t["state"] for t in checks(room).values()} == {"withdrawn"}
    assert "whole" in room.type("check")


def test_who_stays_in_the_tank_has_the_work(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Of two batches that were there one leaves: the tank asks for it once, of the other."""
    room = hall(OnceRoom(tmp_path / "home", capsys), "marine-watch")
    room.type("batch split Q2-1 --fish 2 --name Two")
    room.type("event incident Q2 --what heater --yes")
    first, other = sorted(("Q2-1", "Two"), key=lambda name: UNPLUG not in checks(room, name))
    room.at("19:10:00").type(f"batch move {first} --to Q3 --no-water --yes")
    assert checks(room, first)[UNPLUG]["state"] == "withdrawn"
    assert checks(room, other)[UNPLUG]["state"] == "planned"


def test_new_fish_do_not_end_it(room: OnceRoom) -> None:
    """Fish that come into the tank meanwhile are not asked for the incident before them; the heater is still off."""
    code = checks(room)[UNPLUG]["code"]
    room.type("event emergency Q2 --to Q3 --level none")
    chores = " ".join(t["code"] for t in room.json("today")["tasks"] if t["tanks"] == ["Q2"] and t["code"] != code)
    room.type(f'skip {chores} --because "it is filled anew"')
    room.at("2026-02-14 09:00:00").type(
        'batch start --tank Q2 --protocol marine-watch --arrived "-5min" --acknowledge --yes '
        '--fish "2 Centropyge bicolor, 6 cm" --from "a breeder" --to Reef'
    )
    assert (listed(room, code) or {})["tanks"] == ["Q2"]
    assert checks(room, "Q2-2") == {}
    room.type("batch move Q2-1 --to Q2 --no-water --yes")
    room.type("reading Q2 temp=25C")
    assert (listed(room, code) or {})["tanks"] == ["Q2"]
    assert "whole" in room.type("check")
