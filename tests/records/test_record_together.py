"""Several processes at one record, and processes that are killed."""

from __future__ import annotations

import json
import random
import time
from collections import Counter
from pathlib import Path

import pytest
from fishroom import (
    EVENING,
    MORNING,
    check,
    child,
    code_of,
    codes_of,
    desk,
    dump,
    furnish,
    hear,
    ready,
    start,
    tell,
)

from quarantine.actions import noting, work
from quarantine.failures import Refused
from quarantine.records.reads import open_reader

TICKS = 10


def test_two_processes_tick_one_task_and_one_wins(url: str) -> None:
    """Ten times over, two processes tick the same task at the same moment: one wins, the other is told who and when."""
    furnish(url)
    start(url)
    keepers = (MORNING, EVENING)
    both = [child("tick", url, keeper) for keeper in keepers]
    ready(*both)
    codes = codes_of(url, "feed")[:TICKS]
    assert len(codes) == TICKS
    for code in codes:
        for process in both:
            tell(process, code)
        answers = [hear(process) for process in both]
        assert answers.count("won") == 1, answers
        winner = keepers[answers.index("won")]
        loser = answers[1 - answers.index("won")]
        assert f"{code} (" in loser
        assert f"was done by {winner}, 2026-02-11 13:30" in loser
    for process in both:
        process.communicate()
    done = Counter(f["task"] for f in dump(url)["fact"] if f["kind"] == "done")
    assert sorted(done.values()) == [1] * TICKS
    assert check(url)["entries"] == 6 + TICKS


def test_a_dose_is_ticked_once(url: str) -> None:
    """A second keeper who says the same dose was given is told who and when, and how to record a real second."""
    furnish(url)
    start(url)
    code = code_of(url, "dose")
    work.done(desk(url, 3), [code], gave="0.1 g", really=True)
    before = dump(url)
    with pytest.raises(Refused, match=r"was done by Morning keeper, 2026-02-13 13:30\. If a second dose was really"):
        work.done(desk(url, 3, 1, keeper=EVENING), [code], gave="0.1 g", really=True)
    assert dump(url) == before


WRITERS, NOTES = 5, 20


def test_many_writers_at_once_all_get_through(url: str) -> None:
    """Five processes write as fast as they can: nobody is told that the record is locked, every note is there once."""
    furnish(url)
    writers = [child("write", url, n, NOTES) for n in range(WRITERS)]
    ready(*writers)
    for process in writers:
        tell(process, "go")
    heard = [process.communicate(timeout=120)[0].split() for process in writers]
    assert heard == [[str(n) for n in range(NOTES)]] * WRITERS
    assert check(url)["entries"] == 5 + WRITERS * NOTES
    assert set(_notes(url)) == {(str(w), n) for w in range(WRITERS) for n in range(NOTES)}
    assert len(_notes(url)) == WRITERS * NOTES


def test_reading_goes_on_while_others_write(url: str) -> None:
    """A reader beside two writers is never refused, and each time sees a journal that is whole up to its head."""
    furnish(url)
    writers = [child("write", url, n, NOTES) for n in range(2)]
    ready(*writers)
    for process in writers:
        tell(process, "go")
    seen = []
    while any(process.poll() is None for process in writers):
        with open_reader(url) as reader:
            head = reader.rows("head_payload")[0]
            entries = {row["id"]: row["n"] for row in reader.rows("journal")}
            assert entries[head["id"]] == head["n"]
            seen.append(head["n"])
    for process in writers:
        process.communicate()
    assert seen == sorted(seen)
    assert len(seen) > 5
    assert check(url)["entries"] == 5 + 2 * NOTES


def test_several_processes_make_the_record_at_once(url: str) -> None:
    """Four processes that find no record all get one and the same."""
    makers = [child("make", url) for _ in range(4)]
    ready(*makers)
    for process in makers:
        tell(process, "go")
    assert [process.communicate(timeout=60)[0] for process in makers] == ["made\n"] * 4
    assert len(dump(url)["meta"]) == 2
    furnish(url)
    assert check(url)["entries"] == 5


def _notes(url: str) -> list[tuple[str, int]]:
    facts = [json.loads(f["data"]) for f in dump(url)["fact"] if f["kind"] == "note"]
    return [(data["writer"], data["number"]) for data in facts if data["writer"] != "after"]


ROUNDS, KILLED_TOGETHER = 5, 4


def test_killed_at_any_moment_the_record_stays_whole(url: str) -> None:
    """Twenty writers, four at a time, are killed without warning at random moments.

    After each round the record is whole, holds every note whose writer was told that it is written, and of
    each writer at most one more; and the next keeper can write at once.
    """
    furnish(url)
    start(url)
    moments = random.Random(20260210)
    heads: list[str] = []
    for round_ in range(ROUNDS):
        writers = [child("write", url, f"{round_}.{n}", 100_000) for n in range(KILLED_TOGETHER)]
        ready(*writers)
        for process in writers:
            tell(process, "go")
        first = hear(writers[0])
        assert first == "0", first + (writers[0].stdout.read() if writers[0].stdout else "")
        for process in writers:
            time.sleep(moments.uniform(0, 0.08))
            process.kill()
        told = [process.communicate()[0].split() for process in writers]
        told[0].insert(0, "0")
        # The next keeper writes first: a server that still ends what a killed client began is waited for.
        noting.event(desk(url, 1), "note", "Q1", {"writer": "after", "number": round_})
        kept = Counter(writer for writer, _ in _notes(url))
        for n, numbers in enumerate(told):
            whole_lines = [number for number in numbers if number.isdigit()]
            assert len(whole_lines) <= kept[f"{round_}.{n}"] <= len(whole_lines) + 1
        found = check(url)
        assert found["entries"] == 6 + round_ + 1 + len(_notes(url))
        heads.append(found["head"])
    assert all(check(url, head) for head in heads)


def test_killed_while_the_record_is_made_it_can_be_made_again(tmp_path: Path) -> None:
    """A process killed at a random moment of making the record leaves nothing that stops the next one."""
    moments = random.Random(7)
    for n in range(6):
        url = f"sqlite:///{tmp_path / str(n) / 'record.db'}"
        maker = child("make", url)
        ready(maker)
        tell(maker, "go")
        time.sleep(moments.uniform(0, 0.03))
        maker.kill()
        maker.communicate()
        with open_reader(url) as reader:
            assert reader.rows("tanks") == []
        furnish(url)
        assert check(url)["entries"] == 5
