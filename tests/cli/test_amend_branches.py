"""F8 and F7 as a keeper types them: branches of the plan in a record, and real hours through both clock changes."""

from __future__ import annotations

from pathlib import Path

import pytest
from amend_room import Room

EXTRA = """
[[step]]
id = "extra-change"
kind = "change"
title = "Change water for ammonia"
start = { arrival = "0 d" }
repeat = { every = "1 d", until = "observation" }
fraction = "25 %"
when = [{ reading = "tan", min = "0.25 mg/L", within = "24 h", reference = "S4" }]
stop = [{ event = "outbreak" }]
references = ["S4"]

[[step]]
id = "loach-look"
kind = "chore"
title = "Look under the wood"
start = { arrival = "0 d" }
when = [{ group = "scaleless" }]
references = ["S4"]

# --- What happens"""

HOURS = """
[[step]]
id = "again"
kind = "chore"
title = "Inspect the quarantine net"
start = { arrival = "0 d" }
repeat = { every = "48 h", times = 3, from = "given", latest = "72 h", then = "THEN" }
window = { from = "00:00", until = "23:59" }
references = ["S4"]

# --- What happens"""


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    return Room(tmp_path, capsys, monkeypatch)


def test_a_protocol_shows_its_branches(room: Room) -> None:
    """`protocol show` says when a step applies and what ends it."""
    said = room.type(f"protocol show {room.template('own', 'fresh-watch', ('# --- What happens', EXTRA))}")
    assert "only while: Total ammonia nitrogen at least 0.25 mg/L, read within 24 h; ends when: Outbreak has" in said
    assert "once; only while: Fish of the group scaleless are in the batch" in said


def needs(room: Room, step: str) -> list[str]:
    return [t["needs"] for t in room.json("today")["tasks"] if t["step"] == step]


def test_a_reading_makes_extra_work_due_and_an_outbreak_ends_it(room: Room) -> None:
    """It waits and says for what; a reading makes it due; three deaths withdraw it, and `why` says so."""
    room.start(room.template("own", "fresh-watch", ("# --- What happens", EXTRA)))
    (waits,) = needs(room, "extra-change")
    assert waits.startswith("applies when: Total ammonia nitrogen at least 0.25 mg/L, read within 24 h (")
    room.at("2026-03-03 09:00").type("reading Q1 tan=0.5mg/L")
    assert needs(room, "extra-change") == [None]
    code = next(t["code"] for t in room.json("today")["tasks"] if t["step"] == "extra-change")
    room.at("2026-03-03 10:00").type("event died Q1 3")
    assert needs(room, "extra-change") == []
    assert "was withdrawn" in room.type(f"done {code} --as-shown", 1)
    assert "stopped on 2026-03-03 10:00: Outbreak has happened (3 of 12 dead in 24 hours)" in room.type(f"why {code}")
    room.whole()


@pytest.mark.parametrize(("fish", "applies"), [("Melanotaenia praecox", False), ("Botia almorhae", True)])
def test_a_group_is_known_by_the_fish_of_the_batch(room: Room, fish: str, applies: bool) -> None:
    """The batch's own fish decide, by the genus on record."""
    room.at("2026-03-02 10:00").type(
        f"batch start --tank Q1 --protocol {room.template('own', 'fresh-watch', ('# --- What happens', EXTRA))} "
        f"--arrived '2026-03-02 10:00' --fish '6 {fish}' --from 'a breeder' --to Show"
    )
    (found,) = needs(room, "loach-look")
    assert (found is None) is applies


@pytest.mark.parametrize(
    ("arrived", "latest"),
    [
        ("2026-03-28 12:00", "2026-03-31 13:00"),  # a night of 23 hours inside: the clock shows an hour more
        ("2026-10-24 12:00", "2026-10-27 11:00"),  # a night of 25 hours inside: an hour less
        ("2026-06-10 12:00", "2026-06-13 12:00"),  # no change: the same hour
    ],
)
@pytest.mark.parametrize("then", ["keep", "reopen"])
def test_F7_seventy_two_hours_are_real_hours(room: Room, arrived: str, latest: str, then: str) -> None:
    """Rule A12: the ceiling is 72 elapsed hours after the run before, on the list, a minute before and at it."""
    room.start(room.template("own", "fresh-watch", ("# --- What happens", HOURS.replace("THEN", then))), arrived)
    first = next(t for t in room.tasks("again") if t["day"] == arrived[:10])
    room.at(arrived).type(f"done {first['code']}")
    code = room.tasks("again", "planned")[0]["code"]
    hour, minute = int(latest[11:13]), int(latest[14:])
    before = f"{latest[:10]} {hour - 1 if minute == 0 else hour:02}:{(minute - 1) % 60:02}"
    room.at(before)
    (second,) = [t for t in room.json("today")["tasks"] if t["code"] == code]
    assert second["lapses_at"][:16].replace("T", " ") == latest
    assert second["section"] != "missed"
    assert f"too late from {latest}" in room.type("today")
    room.at(latest)
    assert [t["section"] for t in room.json("today")["tasks"] if t["code"] == code] == ["missed"]
