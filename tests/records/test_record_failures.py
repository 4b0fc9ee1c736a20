"""Trouble with the disk: one sentence each, and a record that is whole afterwards."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from fishroom import READINGS, check, child, desk, furnish, hear, live, ready, start, tell, tree

from quarantine.actions import noting
from quarantine.failures import Refused
from quarantine.records.reads import open_reader, sqlite_path
from quarantine.records.store import open_store


def _one_sentence(error: Refused) -> None:
    assert "\n" not in error.sentence
    assert "Traceback" not in error.sentence
    assert error.exit_code == 1


@pytest.mark.parametrize("spare", [0, 10_000, 100_000])
def test_a_full_disk_is_one_sentence_and_the_record_is_whole(sqlite_url: str, spare: int) -> None:
    """No file may grow beyond a size: what was written stays, what was not is gone, and later it goes on."""
    furnish(sqlite_url)
    start(sqlite_url)
    entries = check(sqlite_url)["entries"]
    filler = child("fill", sqlite_url, 40_000 + spare)
    ready(filler)
    tell(filler, "go")
    written, sentence = int(hear(filler)), hear(filler)
    assert filler.communicate() == ("", None)
    assert filler.returncode == 0
    assert sentence == (
        f"The disk is full: nothing was written to the record {sqlite_path(sqlite_url)}. Make room and try again."
    )
    assert check(sqlite_url)["entries"] == entries + written
    noting.reading(desk(sqlite_url, 1), "Q1", READINGS)
    assert check(sqlite_url)["entries"] == entries + written + 1


@pytest.mark.parametrize("folder", ["file/home", "file/deeper/home", "file"])
def test_a_home_that_cannot_be_made_is_one_sentence(tmp_path: Path, folder: str) -> None:
    """A path that leads through a file: told with the path, and the file is what it was."""
    (tmp_path / "file").write_text("not a folder")
    url = f"sqlite:///{tmp_path / folder / 'record.db'}"
    before = tree(tmp_path)
    with pytest.raises(Refused, match=r"The home folder .*file.* cannot be made: .*(exists|directory)") as refused:
        furnish(url)
    _one_sentence(refused.value)
    assert tree(tmp_path) == before
    with open_reader(url) as reader:
        assert reader.rows("tanks") == []


def test_a_record_that_is_a_folder_is_one_sentence(tmp_path: Path, sqlite_url: str) -> None:
    """Where the record should be a folder stands: refused by reads and writes."""
    sqlite_path(sqlite_url).mkdir(parents=True)
    before = tree(tmp_path)
    for opening in (open_reader, open_store):
        with pytest.raises(Refused, match=r"record\.db") as refused:
            opening(sqlite_url)
        _one_sentence(refused.value)
    assert tree(tmp_path) == before


@pytest.mark.parametrize("size", [15, 16, 100, 4096, 70_000])
def test_a_file_of_random_bytes_is_one_sentence(tmp_path: Path, sqlite_url: str, size: int) -> None:
    """Junk in the record's place is refused by reads and writes, and left for whoever wants to look at it."""
    path = sqlite_path(sqlite_url)
    path.parent.mkdir()
    path.write_bytes(random.Random(size).randbytes(size))
    before = tree(tmp_path)
    for opening in (open_reader, open_store):
        with pytest.raises(Refused, match=r"record\.db.*(not a database|malformed)") as refused:
            opening(sqlite_url)
        _one_sentence(refused.value)
    assert tree(tmp_path) == before


@pytest.mark.parametrize("size", [100, 512, 4096, 20_000])
def test_a_record_cut_short_is_one_sentence(tmp_path: Path, sqlite_url: str, size: int) -> None:
    """A file of which only the beginning was copied."""
    live(sqlite_url, tmp_path / "calendar.ics")
    path = sqlite_path(sqlite_url)
    path.write_bytes(path.read_bytes()[:size])
    with pytest.raises(Refused, match=r"(malformed|not a database|not a record|damaged|cannot be read)") as refused:
        check(sqlite_url)
    _one_sentence(refused.value)
    with pytest.raises(Refused) as refused:
        noting.reading(desk(sqlite_url, 9), "Q1", READINGS)
    _one_sentence(refused.value)


def test_damaged_pages_end_in_sentences(tmp_path: Path, sqlite_url: str) -> None:
    """Any one page overwritten with junk: `check` and a write either work or say one sentence, and most are found."""
    live(sqlite_url, tmp_path / "calendar.ics")
    path = sqlite_path(sqlite_url)
    whole = path.read_bytes()
    junk = random.Random(1)
    pages = len(whole) // 4096
    found = 0
    for page in range(pages):
        path.write_bytes(whole[: page * 4096] + junk.randbytes(4096) + whole[(page + 1) * 4096 :])
        for action in (
            lambda: check(sqlite_url),
            lambda: noting.event(desk(sqlite_url, 9), "note", "Q1", {"text": "after the damage"}),
        ):
            try:
                action()
            except Refused as error:
                _one_sentence(error)
                found += 1
    assert found > pages
