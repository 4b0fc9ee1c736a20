"""Writing the file: whole or not at all, and one plain sentence when it cannot be done."""

from __future__ import annotations

import errno
import os
import re
import stat
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from quarantine.calendars.write import write_file
from quarantine.failures import Refused

OLD = b"BEGIN:VCALENDAR\r\nof last week"
ROOT = Path(__file__).resolve().parents[2]


def alone(target: Path) -> bool:
    """Whether nothing was left beside the target."""
    return os.listdir(target.parent) == [target.name]


def plain(refused: pytest.ExceptionInfo[Refused]) -> str:
    """The sentence, when it is on one line, begins as one and ends as one."""
    sentence = refused.value.sentence
    assert re.fullmatch(r"\S[^\n]*\.", sentence), sentence
    assert "Errno" not in sentence
    return sentence


@pytest.fixture
def target(tmp_path: Path) -> Path:
    target = tmp_path / "tasks.ics"
    target.write_bytes(OLD)
    return target


def test_file_holds_the_calendar(tmp_path, events, name, golden):
    """The file holds the bytes of the calendar, the number of events is told, and nothing else is left."""
    target = tmp_path / "tasks.ics"
    assert write_file(target, iter(events), name) == 3
    assert target.read_bytes() == golden
    assert alone(target)


def test_old_file_is_replaced(target, events, name, golden):
    """A second write takes the place of the first, and shorter content leaves no old tail."""
    write_file(target, events, name)
    assert target.read_bytes() == golden
    assert write_file(target, [], name) == 0
    assert target.read_bytes().count(b"BEGIN") == 1
    assert alone(target)


def test_new_file_has_the_usual_mode_and_an_old_one_keeps_its_own(tmp_path, events, name):
    """A new file may be read by whom any new file may; one that was made private stays private."""
    usual, target = tmp_path / "usual", tmp_path / "tasks.ics"
    usual.touch()
    write_file(target, events, name)
    assert target.stat().st_mode == usual.stat().st_mode
    target.chmod(0o600)
    write_file(target, events, name)
    assert stat.S_IMODE(target.stat().st_mode) == 0o600


def test_link_is_followed(tmp_path, target, events, name, golden):
    """A link to a file elsewhere stays a link, and the file there is written."""
    link = tmp_path / "link.ics"
    link.symlink_to(target)
    write_file(link, events, name)
    assert link.is_symlink()
    assert target.read_bytes() == golden


def test_relative_path(tmp_path, monkeypatch, events, name, golden):
    """A bare file name is written in the folder one stands in."""
    monkeypatch.chdir(tmp_path)
    write_file(Path("tasks.ics"), events, name)
    assert (tmp_path / "tasks.ics").read_bytes() == golden


def test_missing_folder(tmp_path, events, name):
    """A folder that does not exist is named, and is not made."""
    with pytest.raises(Refused) as refused:
        write_file(tmp_path / "nowhere" / "tasks.ics", events, name)
    assert f"There is no folder {tmp_path / 'nowhere'} for tasks.ics" in plain(refused)
    assert os.listdir(tmp_path) == []


def test_path_under_a_file(target, events, name):
    """A path that runs through a file is refused, and that file is untouched."""
    with pytest.raises(Refused) as refused:
        write_file(target / "tasks.ics", events, name)
    assert "a part of that path is a file" in plain(refused)
    assert target.read_bytes() == OLD
    assert alone(target)


def test_folder_is_refused(tmp_path, events, name):
    """The name of a folder is no name of a file."""
    folder = tmp_path / "calendars"
    folder.mkdir()
    with pytest.raises(Refused) as refused:
        write_file(folder, events, name)
    assert plain(refused) == f"{folder} is a folder; name a file in it."
    assert alone(folder)


def test_what_is_no_ordinary_file_is_left_alone(tmp_path, events, name):
    """A pipe or a device is never replaced by a file."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    with pytest.raises(Refused) as refused:
        write_file(pipe, events, name)
    assert "not an ordinary file" in plain(refused)
    assert stat.S_ISFIFO(pipe.stat().st_mode)
    assert alone(pipe)


def test_lint_failure_keeps_the_old_file(target, events, name):
    """A calendar in which the lint finds a problem does not replace the old one; the problem is named."""
    with pytest.raises(Refused) as refused:
        write_file(target, [*events, events[0]._replace(day=date(2028, 1, 1), start=None)], name)
    assert "UID 6d1f0c9e-look-1@0b7f stands already on line 12" in plain(refused)
    assert len(refused.value.facts["problems"]) == 1
    assert target.read_bytes() == OLD
    assert alone(target)


def test_mistake_of_the_caller_keeps_the_old_file(target, events, name):
    """An event out of range half-way leaves the old file as it was and nothing beside it."""
    with pytest.raises(ValueError, match="uid"):
        write_file(target, [*events, events[0]._replace(uid="", day=date(2028, 1, 1), start=None)], name)
    assert target.read_bytes() == OLD
    assert alone(target)


@pytest.mark.parametrize("call", ["fsync", "replace"])
@pytest.mark.parametrize(
    ("number", "words"),
    [
        (errno.ENOSPC, "no room left"),
        (errno.EDQUOT, "no room left"),
        (errno.EFBIG, "no room left"),
        (errno.EACCES, "may not be written by this account"),
        (errno.EPERM, "may not be written by this account"),
        (errno.EROFS, "may not be written by this account"),
        (errno.EIO, "could not be written (input/output error)"),
        (errno.ENAMETOOLONG, "could not be written (file name too long)"),
    ],
)
def test_every_failure_of_the_disk_is_one_sentence(monkeypatch, target, events, name, call, number, words):
    """Whatever the disk refuses, at whichever step, the old file stays and the sentence says what to do."""

    def fail(*_: object) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(f"quarantine.calendars.write.os.{call}", fail)
    with pytest.raises(Refused) as refused:
        write_file(target, events, name)
    sentence = plain(refused)
    assert words in sentence
    assert str(target) in sentence
    assert "any older file is as it was" in sentence
    assert target.read_bytes() == OLD
    assert alone(target)


FULL = """
import resource, sys
from datetime import UTC, date, datetime
from pathlib import Path
from quarantine.calendars.write import Event, write_file
from quarantine.failures import Refused
stamp = datetime(2027, 2, 20, 10, 15, tzinfo=UTC)
event = Event(uid="", sequence=0, stamp=stamp, created=stamp, summary="Feed Q1", description="x" * 400,
              day=date(2027, 2, 28))
events = [event._replace(uid=f"feed-{n}@a") for n in range(int(sys.argv[2]))]
write_file(Path(sys.argv[1]).with_name("warm.ics"), events, "Fish room")
Path(sys.argv[1]).with_name("warm.ics").unlink()
resource.setrlimit(resource.RLIMIT_FSIZE, (4096, resource.RLIM_INFINITY))
try:
    print(write_file(Path(sys.argv[1]), events, "Fish room"))
except Refused as refused:
    print(refused.sentence)
"""


@pytest.mark.parametrize("events_made", [7, 500])
def test_full_disk(target, events_made):
    """When the room runs out, early or near the end, the old file is whole and nothing is left beside it."""
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(target), str(events_made)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    assert done.stderr == ""
    assert done.stdout.startswith(f"There is no room left to write {target}; any older file is as it was.")
    assert target.read_bytes() == OLD
    assert alone(target)


def test_room_enough(target):
    """Under the same limit a calendar that fits is written: it was the limit that refused the others."""
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(target), "5"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    assert (done.stdout, done.stderr) == ("5\n", "")
    assert target.read_bytes().count(b"BEGIN:VEVENT") == 5
    assert alone(target)
