"""Opening a record for writing: no lock before the action's own, no trace of a dry run, no gap before an upgrade."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from fishroom import check, desk, dump, furnish, raw, start, tree

from quarantine.actions import places
from quarantine.cli.app import run
from quarantine.failures import Refused
from quarantine.records import migrations, store
from quarantine.records.migrations import MIGRATIONS, NEWEST, Migration
from quarantine.records.reads import sqlite_path
from quarantine.records.store import open_store

LATER = Migration(NEWEST + 1, "shelves", ("create table shelf (id text primary key)",))
OLD = f"record.schema-{NEWEST}.backup.db"


def release(monkeypatch: pytest.MonkeyPatch, later: Migration = LATER) -> None:
    """A later version of the program, with one migration more."""
    for room in (migrations, store):
        monkeypatch.setattr(room, "NEWEST", later.number)
    monkeypatch.setattr(store, "MIGRATIONS", (*MIGRATIONS, later))


# --- A dry run ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("made", [False, True], ids=["no folder", "an empty folder"])
def test_a_dry_run_where_nothing_is_leaves_nothing(
    made: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """In a home that is not there, or empty, the action answers as it will, and no folder and no file is made."""
    home = tmp_path / "home"
    if made:
        home.mkdir()
    before = tree(tmp_path)
    words = ["--home", str(home), "--json", "site", "add", "Hall", "--zone", "Europe/Berlin"]
    assert run([*words, "--dry-run"]) == 0
    assert tree(tmp_path) == before
    dry = json.loads(capsys.readouterr().out)
    assert run(words) == 0
    assert dry == {**json.loads(capsys.readouterr().out), "dry_run": True}
    assert (home / "record.db").exists()


def test_a_dry_run_at_an_empty_file_leaves_it_empty(tmp_path: Path, sqlite_url: str) -> None:
    """What a process killed at its first write left behind is not filled by a dry run."""
    sqlite_path(sqlite_url).parent.mkdir()
    sqlite_path(sqlite_url).touch()
    before = tree(tmp_path)
    places.add_site(desk(sqlite_url, keeper="", dry_run=True), "Hall", "Europe/Berlin")
    assert tree(tmp_path) == before


def test_a_dry_run_on_an_empty_postgres_makes_no_table(postgres: Any) -> None:
    """On PostgreSQL too the first action can be tried: no table is there afterwards."""
    import psycopg

    with psycopg.connect(postgres.get_uri(), autocommit=True) as connection:
        connection.execute("create database dry_run")
    url = postgres.get_uri(database="dry_run")
    places.add_site(desk(url, keeper="", dry_run=True), "Hall", "Europe/Berlin")
    with psycopg.connect(url) as connection:
        there = connection.execute("select count(*) from pg_tables where schemaname = 'public'").fetchone()
    assert there == (0,)


def test_a_dry_run_in_memory_holds_to_the_same_rules(tmp_path: Path, sqlite_url: str) -> None:
    """Links and append-only tables are watched there as in a file: what would be refused is refused."""
    dry = open_store(sqlite_url, dry_run=True)
    with pytest.raises(Refused, match="FOREIGN KEY"), dry.act(None, desk(sqlite_url).now, dry_run=True) as act:
        act.add("system", {"id": "s", "name": "S", "site": "nowhere"})
    with dry.act(None, desk(sqlite_url).now, dry_run=True) as act:
        act.add("site", {"id": "s", "name": "Hall", "zone": "UTC"})
        assert [row["name"] for row in act.rows("sites")] == ["Hall"]
    with dry.act(None, desk(sqlite_url).now, dry_run=True) as act:
        assert act.rows("sites") == []
    dry.close()
    assert list(tmp_path.iterdir()) == []


def test_a_dry_run_refuses_a_home_that_cannot_be_made(tmp_path: Path) -> None:
    """A path through a file: the dry run says what the real one will say."""
    (tmp_path / "file").write_text("not a folder")
    before = tree(tmp_path)
    url = f"sqlite:///{tmp_path / 'file' / 'home' / 'record.db'}"
    with pytest.raises(Refused, match=r"The home folder .*home cannot be made: .*file is not a directory"):
        places.add_site(desk(url, keeper="", dry_run=True), "Hall", "Europe/Berlin")
    assert tree(tmp_path) == before


def test_a_dry_run_upgrades_nothing(url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An older record is refused with what will upgrade it: no migration, no backup, not one row changed."""
    furnish(url)
    before, files = dump(url), tree(tmp_path)
    with monkeypatch.context() as later:
        release(later)
        with pytest.raises(Refused, match=rf"has schema {NEWEST}, .*: a command that writes, without --dry-run"):
            start(url, dry_run=True)
    assert dump(url) == before
    assert tree(tmp_path) == files


# --- Locks ----------------------------------------------------------------------------------------------------


def test_opening_waits_for_no_writer(sqlite_url: str) -> None:
    """While another process writes, a record is opened at once: only the action itself takes the write lock."""
    furnish(sqlite_url)
    with closing(sqlite3.connect(sqlite_path(sqlite_url), isolation_level=None)) as other:
        other.execute("begin immediate")
        open_store(sqlite_url).close()
        other.execute("rollback")


def test_an_action_takes_the_write_lock_once(sqlite_url: str) -> None:
    """Opening and acting together begin one transaction that writes."""
    furnish(sqlite_url)
    begun: list[str] = []

    def note(_: Any, __: Any, statement: str, *rest: Any) -> None:
        if statement.startswith("begin"):
            begun.append(statement)

    sa.event.listen(sa.Engine, "before_cursor_execute", note)
    try:
        start(sqlite_url)
    finally:
        sa.event.remove(sa.Engine, "before_cursor_execute", note)
    assert begun.count("begin immediate") == 1
    assert set(begun) == {"begin", "begin immediate"}


def test_a_record_upgraded_between_opening_and_acting_is_left_alone(url: str) -> None:
    """The schema's number is asked again under the lock: an older program does not write into a newer record."""
    furnish(url)
    opened = open_store(url)
    raw(url, f"update meta set value = '{NEWEST + 1}' where id = 'schema'")
    with pytest.raises(Refused, match=rf"has schema {NEWEST + 1}, .*upgrade the program"):
        _write(opened, url)
    opened.close()
    raw(url, f"update meta set value = '{NEWEST}' where id = 'schema'")
    assert check(url)["entries"] == 5


def _write(opened: store.Store, url: str) -> None:
    with opened.act(None, desk(url).now) as act:
        act.add("site", {"id": "s", "name": "Loft", "zone": "UTC"})


def test_nobody_writes_between_the_backup_and_the_upgrade(sqlite_url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The backup is made under the upgrade's own write lock: it holds every row that was there to be upgraded."""
    furnish(sqlite_url)
    before, path = dump(sqlite_url), sqlite_path(sqlite_url)
    back_up, told = store._back_up, []

    def watched(*words: Any) -> None:
        for moment in ("before", "after"):
            with closing(sqlite3.connect(path, timeout=0, isolation_level=None)) as other:
                try:
                    other.execute("begin immediate")
                except sqlite3.OperationalError as error:
                    told.append((moment, str(error)))
            if moment == "before":
                back_up(*words)

    with monkeypatch.context() as later:
        release(later)
        later.setattr(store, "_back_up", watched)
        open_store(sqlite_url).close()
    assert told == [("before", "database is locked"), ("after", "database is locked")]
    assert dump(f"sqlite:///{path.with_name(OLD)}") == before
