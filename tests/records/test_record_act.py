"""One transaction for each action: all of it or nothing, and a dry run that writes nothing."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from fishroom import (
    EVENING,
    READINGS,
    check,
    code_of,
    codes_of,
    desk,
    dump,
    furnish,
    live,
    start,
    tree,
)

from quarantine.actions import batches, exporting, noting, places, signing, work
from quarantine.failures import Refused
from quarantine.records import journal, store
from quarantine.records.store import open_store


def test_an_action_is_one_entry(url: str) -> None:
    """Starting a batch writes over a hundred rows and one entry, which names its parent, its keeper and both times."""
    furnish(url)
    head = dump(url)["head"][0]
    start(url)
    rows = dump(url)
    entry = next(e for e in rows["journal"] if e["n"] == head["n"] + 1)
    document = json.loads(entry["payload"])
    assert len(rows["journal"]) == entry["n"] == 6
    assert document["parents"] == [head["entry"]]
    assert document["keeper"] == next(k["id"] for k in rows["keeper"] if k["name"] == "Morning keeper")
    assert (document["happened_at"], document["entered_at"]) == ("2026-02-10T12:30:00Z", "2026-02-10T12:30:00Z")
    assert {table: len(written) for table, written in document["rows"].items()} == {
        "acknowledgement": 1,
        "batch": 1,
        "copy": 1,
        "fact": 1,
        "task": len(rows["task"]),
    }
    assert len(rows["task"]) > 100


def test_an_action_that_writes_nothing_leaves_no_entry(url: str) -> None:
    """The same calendar a second time is no event: the journal stays as it is."""
    open_store(url).close()
    store_ = open_store(url)
    with store_.act(None, desk(url).now) as act:
        act.describe("nothing", "nothing happened")
    store_.close()
    assert (dump(url)["journal"], dump(url)["head"][0]["n"]) == ([], 0)


def _add_and_fail(url: str) -> None:
    store_ = open_store(url)
    try:
        with store_.act(None, desk(url).now) as act:
            act.add("site", {"id": "s", "name": "Loft", "zone": "UTC"})
            assert {row["name"] for row in act.rows("sites")} == {"Cellar", "Loft"}
            raise ZeroDivisionError
    finally:
        store_.close()


def test_an_error_in_the_middle_leaves_nothing(url: str) -> None:
    """Whatever goes wrong after the first row, no row and no entry of the action stays."""
    furnish(url)
    before = dump(url)
    with pytest.raises(ZeroDivisionError):
        _add_and_fail(url)
    assert dump(url) == before
    assert check(url)["entries"] == 5


def test_an_error_at_the_entry_itself_leaves_nothing(url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The rows and their journal entry are one: if the entry cannot be made, the rows are gone."""
    furnish(url)
    before = dump(url)

    def fail(**_: Any) -> tuple[str, str]:
        raise OSError("no entry today")

    monkeypatch.setattr(journal, "make", fail)
    with pytest.raises(OSError, match="no entry today"):
        start(url)
    assert dump(url) == before


def test_an_error_in_any_write_of_an_action_leaves_nothing(url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Starting a batch fails at its first, second, third … write: each time the record is as it was."""
    furnish(url)
    before = dump(url)
    add = store.Act.add
    failed = 0
    for fatal in range(1, 20):
        count = 0

        def breaking(self: store.Act, table: str, *rows: Any, fatal: int = fatal) -> None:
            nonlocal count
            count += 1
            add(self, table, *rows)
            if count == fatal:
                raise OSError("the power is gone")

        monkeypatch.setattr(store.Act, "add", breaking)
        try:
            start(url)
        except OSError:
            failed += 1
            assert dump(url) == before
            continue
        break
    assert failed == 5, "copy, acknowledgement, batch, arrival, tasks"
    assert check(url)["entries"] == 6


def test_a_refusal_among_several_tasks_ticks_none(url: str) -> None:
    """Three codes, the last one already done: nothing is ticked, and who did it is told."""
    furnish(url)
    start(url)
    feeds = codes_of(url, "feed")[:3]
    work.done(desk(url, 3, keeper=EVENING), [feeds[2]])
    before = dump(url)
    with pytest.raises(Refused, match="was done by Evening keeper, 2026-02-13 13:30"):
        work.done(desk(url, 3), feeds)
    assert dump(url) == before


ACTIONS: dict[str, Callable[[str, Path], Any]] = {
    "site": lambda url, _: places.add_site(desk(url, 3, dry_run=True), "Loft", "Europe/Berlin"),
    "keeper": lambda url, _: places.add_keeper(desk(url, 3, dry_run=True), "Weekend keeper"),
    "rename": lambda url, _: places.rename_tank(desk(url, 3, dry_run=True), "Reef", "Lagoon"),
    "measure": lambda url, _: places.measure_tank(
        desk(url, 3, dry_run=True), "Q1", "50 L", by="buckets", plus_minus="1 L", at=None
    ),
    "look": lambda url, _: noting.look(desk(url, 3, dry_run=True), "Q1 4 3", no_signs=True),
    "reading": lambda url, _: noting.reading(desk(url, 3, dry_run=True), "Q1", READINGS),
    "event": lambda url, _: noting.event(desk(url, 3, dry_run=True), "note", "Q1", {"text": "net shared"}),
    "done": lambda url, _: work.done(desk(url, 3, dry_run=True), [code_of(url, "feed")]),
    "skip": lambda url, _: work.skip(desk(url, 3, dry_run=True), [code_of(url, "dose")], because="no scale"),
    "sign": lambda url, _: signing.sign(desk(url, 3, dry_run=True), "Q1-1", release=True, deviation="on instruction"),
    "calendar": lambda url, folder: exporting.write_calendar(desk(url, 3, dry_run=True), folder / "calendar.ics"),
}


@pytest.mark.parametrize("action", ACTIONS)
def test_a_dry_run_writes_nothing(url: str, tmp_path: Path, action: str) -> None:
    """The action runs to its end and answers, and every row and every file is what it was."""
    furnish(url)
    start(url)
    rows, files = dump(url), tree(tmp_path)
    assert ACTIONS[action](url, tmp_path)
    assert dump(url) == rows
    assert tree(tmp_path) == files


def test_a_dry_run_answers_what_the_real_one_answers(url: str) -> None:
    """Starting a batch for show gives the days, counts and consequences of the start that follows."""
    furnish(url)
    before = dump(url)
    shown = start(url, dry_run=True)
    assert dump(url) == before
    done = start(url)
    assert {**shown, "arrival": None} == {**done, "arrival": None}


def test_the_same_calendar_twice_is_one_entry(url: str, tmp_path: Path) -> None:
    """Exporting again without a change neither raises a sequence nor adds an entry."""
    furnish(url)
    start(url)
    exporting.write_calendar(desk(url, 0, 1), tmp_path / "a.ics")
    before = dump(url)
    exporting.write_calendar(desk(url, 0, 2), tmp_path / "b.ics")
    assert dump(url) == before
    assert (tmp_path / "a.ics").read_bytes() == (tmp_path / "b.ics").read_bytes()


def test_a_clock_that_went_back_is_refused(url: str) -> None:
    """A computer whose clock stands days before the last entry would write wrong dates: nothing is written."""
    furnish(url)
    before = dump(url)
    with pytest.raises(Refused, match="Set the clock and try again"):
        noting.reading(desk(url, -3), "Q1", READINGS)
    assert dump(url) == before


def test_both_engines_keep_the_same_history(sqlite_url: str, postgres: Any, tmp_path: Path) -> None:
    """The same days give the same facts, tasks, volumes and decisions on SQLite and on PostgreSQL, ids aside."""
    import psycopg

    with psycopg.connect(postgres.get_uri(), autocommit=True) as connection:
        connection.execute("create database same_history")
    kept = []
    for url in (sqlite_url, postgres.get_uri(database="same_history")):
        live(url, tmp_path / "calendar.ics")
        rows = dump(url)
        facts = sorted((f["kind"], f["happened_at"], f["entered_at"]) for f in rows["fact"])
        tasks = sorted((t["step"], t["day"] or "", t["state"], t["due_from"] or "") for t in rows["task"])
        volumes = sorted((v["litres"], v["plus_minus"], v["valid_from"]) for v in rows["volume"])
        decisions = sorted((s["decision"], s["at"]) for s in rows["signoff"])
        kept.append((facts, tasks, volumes, decisions))
    assert kept[0] == kept[1]
    assert min(map(len, kept[0])) >= 2


def test_a_batch_that_was_refused_is_not_started(url: str) -> None:
    """A second batch in dosed or occupied water is refused before anything is written."""
    furnish(url)
    start(url)
    before = dump(url)
    with pytest.raises(Refused, match="Batch Q1-1 is in the water of Q1"):
        batches.start_batch(
            desk(url, 1),
            tank="Q1",
            protocol="marine-watch",
            arrived="2026-02-11 10:00",
            fish=["2 Zebrasoma flavescens"],
            source="shop",
            to_tank="Reef",
            yes=True,
        )
    assert dump(url) == before
