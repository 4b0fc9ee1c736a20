"""Migrations: in order, recorded, all or nothing, after a verified backup; other schemas refused untouched."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from fishroom import check, desk, dump, furnish, live, raw, start, tree

from quarantine.actions import places
from quarantine.failures import Refused
from quarantine.records import migrations, store
from quarantine.records.migrations import MIGRATIONS, Migration
from quarantine.records.reads import open_reader, sqlite_path
from quarantine.records.store import open_store

NOW = migrations.NEWEST
NOTES = ("alter table site add column note text", "create table shelf (id text primary key)")
SECOND = Migration(NOW + 1, "notes", NOTES)
THIRD = Migration(NOW + 2, "filled", ("update site set note = 'damp'", "drop table shelf"))
"""Two later versions. The last needs what the one before made: in another order both would fail."""


def _release(monkeypatch: pytest.MonkeyPatch, *later: Migration) -> None:
    """A later version of the program, with more migrations."""
    newest = later[-1].number
    monkeypatch.setattr(migrations, "NEWEST", newest)
    monkeypatch.setattr(store, "NEWEST", newest)
    monkeypatch.setattr(store, "MIGRATIONS", (*MIGRATIONS, *later))


def _schema(url: str) -> str:
    return next(row["value"] for row in dump(url)["meta"] if row["id"] == "schema")


def test_released_migrations_are_numbered_without_a_gap() -> None:
    """1, 2, 3 …; the newest is the last."""
    assert [m.number for m in MIGRATIONS] == list(range(1, migrations.NEWEST + 1))


def test_a_new_record_has_the_newest_schema_and_an_id(url: str) -> None:
    """The schema's number and an id of the record, from the start; opening again changes neither."""
    open_store(url).close()
    first = dump(url)["meta"]
    assert [row["id"] for row in first] == ["database", "schema"]
    assert first[1]["value"] == str(migrations.NEWEST)
    assert len(first[0]["value"]) == 32
    open_store(url).close()
    assert dump(url)["meta"] == first


def test_an_old_record_is_taken_through_every_migration_in_order(
    url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two numbers up in one go: both are run, the number is recorded, every row is kept, the triggers stand."""
    live(url, tmp_path / "calendar.ics")
    before = dump(url)
    _release(monkeypatch, SECOND, THIRD)
    open_store(url).close()
    after = dump(url)
    assert _schema(url) == str(NOW + 2)
    assert after["site"] == [{**row, "note": "damp"} for row in before["site"]]
    for table in before.keys() - {"site", "meta"}:
        assert after[table] == before[table], table
    for statement in ("delete from fact", "update journal set n = n + 100"):
        with pytest.raises(Exception, match="append-only"):
            raw(url, statement)


def test_a_record_one_behind_runs_only_what_it_lacks(url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """One number on, the migration before is not run again; it would fail if it were."""
    furnish(url)
    _release(monkeypatch, SECOND)
    open_store(url).close()
    assert _schema(url) == str(NOW + 1)
    _release(monkeypatch, SECOND, THIRD)
    open_store(url).close()
    assert _schema(url) == str(NOW + 2)


def test_a_fresh_record_is_made_by_the_same_migrations(url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """From nothing to the newest: the baseline and every later migration, and no backup of nothing."""
    _release(monkeypatch, SECOND, THIRD)
    open_store(url).close()
    assert _schema(url) == str(NOW + 2)
    if url.startswith("sqlite"):
        assert not list(sqlite_path(url).parent.glob("*backup*"))


@pytest.mark.parametrize(
    "broken",
    [
        (
            "alter table site add column note text",
            "update site set note = 'damp'",
            "alter table nowhere add column x text",
        ),
        ("alter table site add column note text", "delete from calendared"),
        ("drop index uq_site_name", "this is not SQL"),
    ],
)
def test_a_failing_migration_leaves_the_record_untouched(
    url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, broken: tuple[str, ...]
) -> None:
    """Whatever fails half-way, or would lose rows: one sentence, and the record is what it was, at its old number."""
    live(url, tmp_path / "calendar.ics")
    before, found = dump(url), check(url)
    with monkeypatch.context() as release:
        _release(release, Migration(NOW + 1, "broken", broken))
        with pytest.raises(Refused) as refused:
            open_store(url)
        assert "\n" not in refused.value.sentence
    assert dump(url) == before
    assert check(url) == found
    raw(url, "create unique index again on site (lower(name))", "drop index uq_site_name")


def test_a_migration_that_breaks_a_link_is_refused(
    tmp_path: Path, sqlite_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Foreign keys are off while SQLite's tables may be re-made, so they are checked before the commit."""
    furnish(sqlite_url)
    before = dump(sqlite_url)
    with monkeypatch.context() as release:
        _release(release, Migration(NOW + 1, "unlinked", ("update tank set site = 'nowhere'",)))
        with pytest.raises(Refused, match=r"would have lost rows \(links\); the record is untouched"):
            open_store(sqlite_url)
    assert dump(sqlite_url) == before


def test_a_table_may_be_re_made(tmp_path: Path, sqlite_url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """What SQLite's ALTER TABLE cannot do is done by a new table in the old one's place; links to it hold."""
    live(sqlite_url, tmp_path / "calendar.ics")
    before = dump(sqlite_url)
    statements = (
        "create table site_new (id text not null, name text not null, zone text not null, constraint pk_site "
        "primary key (id), constraint ck_site_name check (name <> ''))",
        "insert into site_new select id, name, zone from site",
        "drop table site",
        "alter table site_new rename to site",
        "create unique index uq_site_name on site (lower(name))",
    )
    _release(monkeypatch, Migration(NOW + 1, "re-made", statements))
    open_store(sqlite_url).close()
    assert dump(sqlite_url)["site"] == before["site"]
    assert check(sqlite_url)["faults"] == []
    with pytest.raises(sqlite3.IntegrityError, match="ck_site_name"):
        raw(sqlite_url, "update site set name = ''")


def test_a_backup_is_made_and_verified_before_an_upgrade(
    tmp_path: Path, sqlite_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The backup beside the record opens with the old version, and is whole, with the same rows and head."""
    live(sqlite_url, tmp_path / "calendar.ics")
    before, found = dump(sqlite_url), check(sqlite_url)
    with monkeypatch.context() as release:
        _release(release, SECOND)
        open_store(sqlite_url).close()
        assert _schema(sqlite_url) == str(NOW + 1)
    backup = sqlite_path(sqlite_url).with_name(f"record.schema-{NOW}.backup.db")
    assert dump(f"sqlite:///{backup}") == before
    assert check(f"sqlite:///{backup}") == found


def test_without_a_good_backup_nothing_is_upgraded(
    tmp_path: Path, sqlite_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the backup cannot be written the record stays at its old number, untouched."""
    furnish(sqlite_url)
    before = dump(sqlite_url)
    backup = sqlite_path(sqlite_url).with_name(f"record.schema-{NOW}.backup.db")
    backup.mkdir()
    with monkeypatch.context() as release:
        _release(release, SECOND)
        with pytest.raises(Refused) as refused:
            open_store(sqlite_url)
        assert "\n" not in refused.value.sentence
    assert dump(sqlite_url) == before


def test_a_failed_upgrade_leaves_the_backup(tmp_path: Path, sqlite_url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The backup was made before anything was tried, and the second try makes it again."""
    furnish(sqlite_url)
    backup = sqlite_path(sqlite_url).with_name(f"record.schema-{NOW}.backup.db")
    with monkeypatch.context() as release:
        _release(release, Migration(NOW + 1, "broken", ("this is not SQL",)))
        for _ in range(2):
            with pytest.raises(Refused):
                open_store(sqlite_url)
            assert backup.exists()
    assert dump(f"sqlite:///{backup}") == dump(sqlite_url)


def test_a_newer_record_is_refused_untouched(url: str, tmp_path: Path) -> None:
    """A record of a later version: neither read nor written, and not one byte of it changes."""
    furnish(url)
    raw(url, "update meta set value = '99' where id = 'schema'")
    before = tree(tmp_path)
    with pytest.raises(Refused, match=rf"has schema 99, this version knows up to {NOW}: .*upgrade the program"):
        open_reader(url)
    with pytest.raises(Refused, match=rf"has schema 99, this version knows up to {NOW}: .*upgrade the program"):
        open_store(url)
    with pytest.raises(Refused, match="has schema 99"):
        start(url)
    assert tree(tmp_path) == before
    raw(url, f"update meta set value = '{NOW}' where id = 'schema'")
    assert check(url)["entries"] == 5


def test_reading_an_older_record_says_so(url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A read never upgrades: it says what will, and leaves the record as it was."""
    furnish(url)
    before = tree(tmp_path)
    with monkeypatch.context() as release:
        _release(release, SECOND)
        says = f"has schema {NOW}, this version reads {NOW + 1}: any command that writes upgrades it"
        with pytest.raises(Refused, match=says):
            open_reader(url)
        assert tree(tmp_path) == before
    assert check(url)["entries"] == 5


def test_the_next_write_upgrades_and_then_writes(url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The keeper's action itself brings an older record up, and is then written."""
    furnish(url)
    _release(monkeypatch, SECOND)
    places.rename_tank(desk(url, 1), "Reef", "Lagoon")
    assert _schema(url) == str(NOW + 1)
    assert {row["name"] for row in dump(url)["tank"]} == {"Q1", "Lagoon"}
    assert check(url)["entries"] == 6
