"""Rows F49, F50 and F51 on the file of a real record: what entries say, who they are, what later files change."""

from __future__ import annotations

import re
import warnings
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

import pytest
import vobject

from quarantine.actions import batches, exporting, noting, places, signing, work
from quarantine.actions.desk import Desk
from quarantine.actions.exporting import CHECK_FIRST, Scope
from quarantine.calendars.lint import lint
from quarantine.failures import Refused
from quarantine.records.reads import open_reader
from quarantine.settings import SETTINGS, Home

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import ics

ARRIVED = datetime(2026, 2, 10, 12, 30, tzinfo=UTC)
KEEPER = "Keeper; of the room, #1"
TANK = 'Q1; "top" 100 % 🐠 ünder the longest shelf at the wall'
READINGS = ["temp=25.5C", "tan=0.1mg/L", "nitrite_no2=0.05mg/L", "ph=8.1", "oxygen=7mg/L", "salinity=34g/L"]


class Entry(NamedTuple):
    """One entry as vobject reads it, its revision apart."""

    sequence: int
    stamp: datetime
    status: str
    content: tuple[Any, ...]
    text: str
    alarms: int


class Room:
    """A medicated batch in a tank whose name needs every escape, and the files written of it."""

    def __init__(self, folder: Path) -> None:
        values = {setting.name: (setting.default, "default") for setting in SETTINGS}
        self.home = Home(folder / "home", "test", values)
        self.file = folder / "tasks.ics"
        places.add_site(self.desk()._replace(keeper=""), "Cellar", "Europe/Berlin")
        places.add_keeper(self.desk()._replace(keeper=""), KEEPER)
        box: dict[str, str | None] = {"length": "60 cm", "width": "30 cm", "filled": "30 cm"}
        for name, role in ((TANK, "quarantine"), ("Reef", "display")):
            places.add_tank(self.desk(), name, site="Cellar", role=role, water="marine", shape="box", measures=box)
        batches.start_batch(
            self.desk(),
            tank=TANK,
            protocol="marine-praziquantel",
            arrived="2026-02-10 13:30",
            fish=["4 Pygoplites diacanthus"],
            source="importer (invented)",
            to_tank="Reef",
            acknowledge=True,
            yes=True,
        )

    def desk(self, days: int = 0, hours: int = 0) -> Desk:
        return Desk(self.home, ARRIVED + timedelta(days=days, hours=hours), KEEPER)

    def tasks(self) -> dict[str, dict[str, Any]]:
        """Every task of the record by its id."""
        with open_reader(self.home.database) as reader:
            return {row["id"]: row for row in reader.select("select * from task")}

    def code(self, kind: str) -> str:
        open_ = [t for t in self.tasks().values() if t["kind"] == kind and t["state"] == "planned" and t["due_from"]]
        return str(min(open_, key=lambda t: t["due_from"])["code"])

    def day(self, n: int) -> None:
        noting.look(self.desk(n), f"{TANK} 4 3", no_signs=True)
        noting.reading(self.desk(n), TANK, READINGS)

    def write(self, days: int, hours: int = 0, **scope: Any) -> bytes:
        exporting.write_calendar(self.desk(days, hours), self.file, Scope(**scope))
        return self.file.read_bytes()


@pytest.fixture
def room(tmp_path: Path) -> Room:
    return Room(tmp_path)


def read(data: bytes) -> dict[str, Entry]:
    """The entries by UID. Fails where one UID stands twice."""
    events = vobject.readOne(data.decode()).vevent_list
    found = {}
    for event in events:
        description = event.description.value
        found[event.uid.value] = Entry(
            sequence=int(event.sequence.value),
            stamp=event.dtstamp.value,
            status=event.status.value,
            content=(
                event.summary.value,
                re.sub(r"\nAs of .*", "", description),
                event.dtstart.value,
                event.dtend.value,
                event.status.value,
                [(a.trigger.value, a.description.value) for a in event.contents.get("valarm", [])],
            ),
            text=description,
            alarms=len(event.contents.get("valarm", [])),
        )
    assert len(found) == len(events)
    return found


# --- F49 ------------------------------------------------------------------------------------------------------


def test_F49_two_other_libraries_read_the_same_entries(room: Room) -> None:
    """vobject and ics, which share no code with the writer: the same UIDs, titles, texts and days, all of them."""
    data = room.write(0)
    mine = read(data)
    theirs = {event.uid: event for event in ics.Calendar(data.decode()).events}
    assert mine.keys() == theirs.keys()
    assert len(mine) > 100
    for uid, entry in mine.items():
        assert theirs[uid].name == entry.content[0]
        assert theirs[uid].description == entry.text
        assert theirs[uid].begin.date() == entry.content[2]
        assert theirs[uid].all_day
    with open_reader(room.home.database) as reader:
        database = reader.rows("meta", id="database")[0]["value"]
    dated = {f"{id_}@{database}" for id_, task in room.tasks().items() if task["day"]}
    assert mine.keys() == dated, "one entry for each dated task"


def test_F49_lines_are_folded_and_special_characters_escaped(room: Room) -> None:
    """No line is over 75 octets or cut inside a character (IETF, RFC 5545 3.1, 2009); the tank's name comes back whole.

    Its quotes, percent and fish are plain text; its comma and semicolon are escaped (3.3.11).
    """
    data = room.write(0)
    assert lint(data) == []
    lines = data.split(b"\r\n")
    assert max(map(len, lines)) <= 75
    assert sum(line.startswith(b" ") for line in lines) > 100
    for line in lines:
        line.decode()
    unfolded = data.replace(b"\r\n ", b"").decode()
    escaped = TANK.replace(";", "\\;").replace(",", "\\,")
    assert escaped in unfolded
    assert not re.search(r"(?m)^(?:SUMMARY|DESCRIPTION):.*(?<!\\)[;,]", unfolded)
    assert all(TANK in entry.content[0] and TANK in entry.text for entry in read(data).values())


def test_F49_an_entry_has_its_quantity_tank_code_and_the_day_of_the_plan(room: Room) -> None:
    """A dose its grams with the working and the source, a change its litres, every entry the tank, the task's code and
    as of when."""
    for n in range(4):
        room.day(n)
    tasks = room.tasks()
    found = {uid.partition("@")[0]: entry for uid, entry in read(room.write(3, 1)).items()}
    assert {tasks[id_]["kind"] for id_ in found} == {"look", "feed", "test", "change", "chore", "dose"}
    for id_, entry in found.items():
        assert f"Code {tasks[id_]['code']}." in entry.text
        assert TANK in entry.text
        assert "As of 2026-02-1" in entry.text
    doses = [entry for id_, entry in found.items() if tasks[id_]["kind"] == "dose"]
    assert len(doses) == 2
    # 2 mg/L x 54 L = 108 mg, down to a step of 0.01 g (rules C2, C4)
    for dose in doses:
        assert "As the water is now: 0.1 g of Praziquantel" in dose.text
        assert "target 2 mg/L, for 54 L: 0.108 g" in dose.text
        assert "Source: " in dose.text
    assert sorted(dose.content[0].rpartition(": ")[2] for dose in doses) == ["0.1 g", "amount on the day"]
    changes = [entry for id_, entry in found.items() if tasks[id_]["kind"] == "change"]
    assert changes
    assert all(re.search(r"Change about [\d.]+ L of the water", change.text) for change in changes)


# --- F50 ------------------------------------------------------------------------------------------------------


def replanned(room: Room) -> list[dict[str, Entry]]:
    """The files written in turn: as planned, the same again, a day's work, a skipped dose that moves the course, an
    extension, a rejection that withdraws what is left, and the same again."""
    files = [read(room.write(0, with_done=True)), read(room.write(0, 1, with_done=True))]
    for n in range(4):
        room.day(n)
    files.append(read(room.write(3, 1, with_done=True)))
    work.skip(room.desk(3, 2), [room.code("dose")], because="no scale at hand", yes=True)
    files.append(read(room.write(3, 3, with_done=True)))
    signing.sign(room.desk(4), f"{TANK}-1", extend="7 d")
    files.append(read(room.write(4, 1, with_done=True)))
    signing.sign(room.desk(5), f"{TANK}-1", reject=True)
    files.append(read(room.write(5, 1, with_done=True)))
    files.append(read(room.write(5, 2, with_done=True)))
    return files


def test_F50_the_same_task_keeps_its_uid_and_only_a_change_raises_its_sequence(room: Room) -> None:
    """Through six files no UID goes; a sequence rises by one where title, text, day, state or alarm changed, and else
    stays with its stamp."""
    files = replanned(room)
    raised = kept = 0
    for before, after in pairwise(files):
        assert before.keys() <= after.keys()
        for uid, entry in before.items():
            if after[uid].content == entry.content:
                assert after[uid] == entry
                kept += 1
            else:
                assert after[uid].sequence == entry.sequence + 1
                assert after[uid].stamp > entry.stamp
                raised += 1
        assert all(after[uid].sequence == 0 for uid in after.keys() - before.keys())
    assert files[0] == files[1]
    assert files[-1] == files[-2]
    assert raised > 100
    assert kept > 300
    assert len(files[4]) > len(files[3]), "the extension planned more"


def test_F50_a_calendar_that_imports_every_file_has_each_task_once(room: Room) -> None:
    """Imported in turn, a higher sequence replacing a lower one, it ends as the last file: none doubled, none left
    alive that was withdrawn."""
    phone: dict[str, Entry] = {}
    files = replanned(room)
    for file in files:
        for uid, entry in file.items():
            if uid not in phone or entry.sequence > phone[uid].sequence:
                phone[uid] = entry
    assert phone == files[-1]
    states = {uid.partition("@")[0]: entry for uid, entry in phone.items()}
    assert len(states) == len(phone)
    tasks = room.tasks()
    # What stands after the release is the chores of the empty tank.
    left = {id_ for id_ in states if tasks[id_]["state"] == "planned"}
    assert {tasks[id_]["kind"] for id_ in left} == {"chore"}
    assert {tasks[id_]["state"] for id_ in states.keys() - left} == {"done", "skipped", "withdrawn"}
    for id_, entry in ((id_, entry) for id_, entry in states.items() if id_ not in left):
        withdrawn = tasks[id_]["state"] == "withdrawn"
        assert entry.status == ("CANCELLED" if withdrawn else "CONFIRMED")
        assert entry.content[0].startswith(("Cancelled: ",) if withdrawn else ("Done: ", "Skipped: "))
        assert entry.alarms == 0


# --- F51 ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("private", [False, True])
def test_F51_every_entry_says_check_the_list_and_as_of_when(room: Room, private: bool) -> None:
    """Planned, done, skipped and cancelled entries, in full and in private: each says to check the list before dosing,
    and when what it says was so, which is its own stamp in the site's time."""
    seen = set()
    for n in range(4):
        room.day(n)
    seen |= _all_say_so(room.write(3, 1, with_done=True, private=private))
    work.skip(room.desk(3, 2), [room.code("dose")], because="no scale at hand", yes=True)
    signing.sign(room.desk(5), f"{TANK}-1", reject=True)
    seen |= _all_say_so(room.write(5, 1, with_done=True, private=private))
    assert seen == {"CONFIRMED", "CANCELLED"}


def _all_say_so(data: bytes) -> set[str]:
    found = read(data)
    for entry in found.values():
        local = (entry.stamp + timedelta(hours=1)).strftime("%Y-%m-%d %H:%M")
        assert CHECK_FIRST in entry.text
        assert entry.text.endswith(f"As of {local}, Europe/Berlin.")
    assert CHECK_FIRST.startswith("Check the list before dosing")
    return {entry.status for entry in found.values()}


# --- The file and the record ------------------------------------------------------------------------------------


def test_a_calendar_takes_its_place_only_after_the_record_has_its_numbers(
    room: Room, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the record cannot be written, the old file stays: no number stands in a file that the record lacks."""
    room.write(0)
    before = room.file.read_bytes()
    room.day(0)
    with monkeypatch.context() as broken:

        def fail(*_: object) -> None:
            raise RuntimeError("the disk is full")

        broken.setattr("sqlalchemy.engine.base.RootTransaction.commit", fail)
        with pytest.raises(RuntimeError, match="full"):
            room.write(0, 1)
    assert room.file.read_bytes() == before
    assert [p.name for p in room.file.parent.glob("*.part")] == []


def test_a_dry_run_refuses_where_the_file_could_not_be_written(room: Room) -> None:
    """It says what the real command would say, and leaves neither file nor folder."""
    desk = room.desk(0)._replace(dry_run=True)
    nowhere = room.file.parent / "nowhere" / "tasks.ics"
    with pytest.raises(Refused, match="nowhere"):
        exporting.write_calendar(desk, nowhere)
    assert not nowhere.parent.exists()
    assert exporting.write_calendar(desk, room.file)["entries"] > 0
    assert not room.file.exists()
