"""Fish that nobody has seen (F67): the streak is told on day N and after, never on the day before (rule A3)."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest
from typed_room import Room, typed_room

from quarantine.evidence import ALL_SEEN_DAYS, unseen_days, unseen_words

LAST = date(2026, 2, 9)
WORDS = "ot every fish was seen since"


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    """A quarantine tank Q1 of 54 L with twelve rainbowfish since 9 February."""
    return typed_room(tmp_path / "home", capsys, monkeypatch, 12)


@pytest.mark.parametrize(("days", "told"), [(0, 0), (1, 0), (2, 0), (3, 3), (4, 4), (30, 30)])
def test_F67_the_streak_begins_on_day_three_exactly(days: int, told: int) -> None:
    """Silent up to the day before; from then on it tells how many days it is."""
    assert ALL_SEEN_DAYS == 3
    assert unseen_days(LAST, LAST + timedelta(days=days)) == told
    assert bool(unseen_words(LAST, LAST + timedelta(days=days))) is bool(told)


def test_F67_the_sentence_is_that_of_the_rule() -> None:
    """On the third day a look still counts; from the fourth on none does until every fish was seen."""
    third, fourth = (unseen_words(LAST, LAST + timedelta(days=n)) for n in (3, 4))
    assert "since 2026-02-09 (3 days)" in third
    assert "from tomorrow on" in third
    assert "from tomorrow on" not in fourth
    for said in (third, fourth):
        assert "rule A3: 80 % of the living, and every fish within 3 days" in said
    assert unseen_words(None, LAST + timedelta(days=30)) == ""


def test_F67_today_the_round_and_the_batch_tell_it_on_day_three_and_not_on_day_two(room: Room) -> None:
    """Eleven of twelve are seen every day: looks count, and on the third day the twelfth is asked for."""
    for day, told in ((10, False), (11, False), (12, True), (13, True)):
        room.at(f"2026-02-{day} 08:00:00").type('look "Q1 11 3" --no-signs')
        assert (WORDS in room.type("today")) is told, day
        assert (WORDS in room.type("batch show Q1-1")) is told, day
        (line,) = [t for t in room.json("today")["tanks"] if t["tank"] == "Q1"]
        assert bool(line["alerts"]) is told
    assert room.json("batch show Q1-1")["all_seen_on"] == "2026-02-09"
    assert room.json("batch show Q1-1")["clear"]["days"] == 3, "the look of day 4 does not count"


def test_F67_it_is_told_without_any_write_once_its_day_has_come(room: Room) -> None:
    """Nobody looked at all: the day alone makes it true, and a list of a later day does not run ahead."""
    assert WORDS not in room.at("2026-02-11 22:59:59").type("today")
    assert WORDS not in room.type("today --on 2026-02-14")
    assert WORDS in room.at("2026-02-11 23:00:00").type("today"), "midnight at the site"


def test_F67_all_seen_ends_it(room: Room) -> None:
    """The streak is over with a look that counts every living fish, or when a person says who is missing."""
    room.at("2026-02-13 08:00:00").type('look "Q1 11 3" --no-signs')
    assert WORDS in room.type("today")
    room.at("2026-02-13 09:00:00").type('look "Q1 12 3" --no-signs')
    assert WORDS not in room.type("today")
    room.at("2026-02-17 08:00:00").type("event missing Q1 1 --because 'not found'")
    room.type('look "Q1 11 3" --no-signs')
    assert WORDS not in room.type("today")
    assert room.json("batch show Q1-1")["all_seen_on"] == "2026-02-17"
