"""F4: a running batch adopts the current revision of its own protocol; the difference is shown and asked for first."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from amend_room import Room

NEWER = (
    ("revision = 1", "revision = 2"),
    ('length = "30 d"', 'length = "40 d"'),
    ('disturbance = "note"', 'disturbance = "restart"'),
    ("clear_days = 14", "clear_days = 20"),
    (
        'repeat = { every = "7 d", until = "observation" }\nfraction = "25 %"',
        'repeat = { every = "3 d", until = "observation" }\nfraction = "25 %"',
    ),
)


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    return Room(tmp_path, capsys, monkeypatch)


def current(room: Room, like: str = "fresh-watch", *changes: tuple[str, str]) -> str:
    """The same protocol in a file, a revision later."""
    path = Path(room.template("own", like, *(changes or NEWER)))
    path.write_text(path.read_text(encoding="utf-8").replace('id = "own"', f'id = "{like}"', 1), encoding="utf-8")
    return str(path)


def adopt(room: Room, path: str, *more: str, code: int = 0) -> str:
    return room.type(f"batch adopt Q1-1 --protocol {path} --because 'the club revised it' {' '.join(more)}", code)


def lived(room: Room) -> None:
    room.start("fresh-watch")
    for day in range(2, 6):
        room.at(f"2026-03-{day:02} 20:00").type('look "Q1 12 3" --no-signs')
        room.settle()


def state(room: Room) -> list[Any]:
    return room.rows("select key, state, day, outcome, outcome_at, detail from task order by key")


def test_it_shows_steps_events_criteria_periods_and_dates_and_asks(room: Room) -> None:
    """Without --yes everything that differs is named, old and new, and nothing is written."""
    lived(room)
    before = state(room)
    said = adopt(room, current(room), code=1)
    assert "Batch Q1-1 would follow fresh-watch revision 2. Say --yes to accept this; nothing was changed." in said
    assert "step weekly-change: arrival +7 d, every 7 d, until observation" in said
    assert "event disturbance: note -> restart" in said
    assert "sign-off asks" in said
    assert "period observation: 30 d, calendar -> 40 d, calendar" in said
    assert "period Thirty days of observation, complete on: 2026-04-01 -> 2026-04-11" in said
    assert "Q1-1: earliest sign-off 2026-04-01 -> 2026-04-11" in said
    assert state(room) == before


def test_done_tasks_stay_and_only_future_ones_differ(room: Room) -> None:
    """Every settled row is as it was, to the letter; the batch names the new revision; the record is whole."""
    lived(room)
    settled = [row for row in state(room) if row[1] in ("done", "skipped")]
    assert settled
    said = adopt(room, current(room), "--yes")
    assert "Batch Q1-1 adopted fresh-watch revision 2, before it revision 1 (the club revised it)." in said
    after = state(room)
    assert [row for row in settled if row not in after] == []
    assert room.json("batch show Q1-1")["revision"] == 2
    assert room.json("why Q1-1")["periods"][0]["length_days"] == 40
    room.whole()


def test_the_same_text_is_refused(room: Room) -> None:
    """What the batch follows already is no change."""
    lived(room)
    refused = "Batch Q1-1 follows fresh-watch revision 1 already; nothing was changed."
    assert refused in room.type("batch adopt Q1-1 --because 'to be sure' --yes", 1)


def test_another_protocol_is_not_adopted(room: Room) -> None:
    """Adopting keeps to the batch's own protocol, and names the command that does not."""
    lived(room)
    said = adopt(room, "fresh-school-watch", "--yes", code=1)
    assert "Batch Q1-1 follows fresh-watch, and that text is of fresh-school-watch" in said
    assert "quarantine batch amend Q1-1 --protocol fresh-school-watch" in said


def test_a_keepers_own_protocol_is_adopted_from_its_file(room: Room) -> None:
    """Without its file it cannot be found, and the sentence says so; with it the newer text is taken."""
    path = Path(room.template("own", "fresh-watch"))
    room.start(str(path))
    assert "Protocol own is a keeper's own; name its file: --protocol FILE." in room.type(
        "batch adopt Q1-1 --because 'we found a slip' --yes", 1
    )
    text = path.read_text(encoding="utf-8")
    for old, new in NEWER:
        text = text.replace(old, new, 1)
    path.write_text(text, encoding="utf-8")
    assert "adopted own revision 2" in adopt(room, str(path), "--yes")


def test_C19_new_cautions_are_acknowledged_again(room: Room) -> None:
    """Of a text that gives medicine the new revision's cautions are read before it is taken; the new one is named."""
    room.start("fresh-fenbendazole-food")
    text = Path(room.template("own", "fresh-fenbendazole-food")).read_text(encoding="utf-8")
    revision = next(line for line in text.splitlines() if line.startswith("revision = "))
    newer = current(
        room,
        "fresh-fenbendazole-food",
        (revision, f"revision = {int(revision.split('=')[1]) + 1}"),
        ("cautions = [\n", 'cautions = [\n    "Gloves: a caution made for a test.",\n'),
    )
    asked = adopt(room, newer, code=1)
    assert "and --acknowledge, once its cautions are read" in asked
    assert "new caution: Gloves: a caution made for a test." in asked
    adopt(room, newer, "--yes", code=1)
    assert room.json("batch show Q1-1")["revision"] == int(revision.split("=")[1])
    assert "adopted fresh-fenbendazole-food" in adopt(room, newer, "--yes", "--acknowledge")


def test_a_reason_is_asked_for_and_a_dry_run_writes_nothing(room: Room) -> None:
    """An empty reason is none; --dry-run says what it would do."""
    lived(room)
    path = current(room)
    assert "Why? Say it in plain words" in room.type(f"batch adopt Q1-1 --protocol {path} --because ' ' --yes", 2)
    before = state(room)
    assert "Dry run: nothing was written." in adopt(room, path, "--yes", "--dry-run")
    assert state(room) == before


def entries(path: Path) -> dict[str, str]:
    """Entries of a calendar file by their UID, without the times that tell when it was written."""
    parts = path.read_bytes().decode().replace("\r\n ", "").split("BEGIN:VEVENT")[1:]
    return {next(line for line in part.splitlines() if line.startswith("UID:")): part for part in parts}


def day_of(entry: str) -> str:
    return next(line for line in entry.splitlines() if line.startswith("DTSTART")).rpartition(":")[2][:8]


def test_story_11_a_calendar_written_again_changes_only_future_entries(room: Room) -> None:
    """Entries of days behind stay to the letter; of the days ahead some go, come or move."""
    lived(room)
    before, after = room.folder / "before.ics", room.folder / "after.ics"
    room.type(f"calendar write {before} --done")
    adopt(room, current(room), "--yes")
    room.type(f"calendar write {after} --done")
    was, now = entries(before), entries(after)
    behind = {uid for uid, entry in was.items() if day_of(entry) < "20260305"}
    assert behind
    assert {uid: was[uid] for uid in behind} == {uid: now.get(uid) for uid in behind}
    changed = {uid for uid in was.keys() | now.keys() if was.get(uid) != now.get(uid)}
    assert changed
    assert all(day_of(now.get(uid) or was[uid]) >= "20260305" for uid in changed)
