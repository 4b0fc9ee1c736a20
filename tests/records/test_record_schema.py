"""The schema that the migrations make, and what its triggers refuse."""

from __future__ import annotations

from pathlib import Path

import pytest
import sqlalchemy as sa
from fishroom import desk, drop_trigger, dump, furnish, live, raw
from sqlmodel import SQLModel

from quarantine.actions import places
from quarantine.failures import Refused
from quarantine.records.migrations import APPEND_ONLY, triggers, triggers_sql
from quarantine.records.reads import open_reader
from quarantine.records.store import open_store
from quarantine.records.tables import TABLES

JOURNAL_TABLES = {"meta", "journal", "head"}
"""Made by the baseline, written by named statements, unknown to SQLModel."""


def _inspect(url: str) -> sa.Inspector:
    open_store(url).close()
    target = url.replace("postgresql://", "postgresql+psycopg://", 1)
    return sa.inspect(sa.create_engine(target, poolclass=sa.pool.NullPool))


def test_the_baseline_makes_the_tables_that_the_models_describe(url: str) -> None:
    """Columns, their kinds, which may be empty, primary and foreign keys: the same in the schema and the models."""
    there = _inspect(url)
    assert set(there.get_table_names()) == set(TABLES) | JOURNAL_TABLES
    for name in TABLES:
        table = SQLModel.metadata.tables[name]
        made = {c["name"]: (bool(c["nullable"]), _kind(c["type"])) for c in there.get_columns(name)}
        assert made == {c.name: (bool(c.nullable), _kind(c.type)) for c in table.columns}, name
        assert there.get_pk_constraint(name)["constrained_columns"] == [c.name for c in table.primary_key]
        links = {(k["constrained_columns"][0], k["referred_table"]) for k in there.get_foreign_keys(name)}
        assert links == {(k.parent.name, k.column.table.name) for k in table.foreign_keys}, name


def _kind(type_: object) -> str:
    return "integer" if isinstance(type_, sa.Integer) else "text"


def test_nothing_is_taken_away_with_what_it_belongs_to(url: str) -> None:
    """No foreign key deletes its rows in a cascade."""
    there = _inspect(url)
    options = [key["options"] for name in TABLES for key in there.get_foreign_keys(name)]
    assert len(options) > 10
    assert not any("ondelete" in option for option in options)


def test_every_constraint_has_the_name_of_the_convention(url: str) -> None:
    """A later migration can name what it changes, on both engines."""
    there = _inspect(url)
    for name in TABLES:
        assert there.get_pk_constraint(name)["name"] == f"pk_{name}"
        for key in there.get_foreign_keys(name):
            assert key["name"] == f"fk_{name}_{key['constrained_columns'][0]}"


def test_the_triggers_that_are_promised_are_there(url: str) -> None:
    """`check` looks for them by these names."""
    open_store(url).close()
    with open_reader(url) as reader:
        there = {row["name"] for row in reader.select(triggers_sql(reader.dialect))}
        promised = {name for name, _ in triggers(reader.dialect)}
    assert len(promised) == 3 * len(APPEND_ONLY)
    assert promised <= there


@pytest.fixture
def lived(url: str, tmp_path: Path) -> str:
    """A record with a history."""
    live(url, tmp_path / "calendar.ics")
    return url


def _refused(url: str, statement: str) -> None:
    before = dump(url)
    with pytest.raises(Exception, match="append-only"):
        raw(url, statement)
    assert dump(url) == before


def test_append_only_rows_are_neither_changed_nor_deleted(lived: str) -> None:
    """Update, delete, and on PostgreSQL truncate, of facts, volumes, copies, sign-offs and the journal are refused."""
    for table in APPEND_ONLY:
        assert dump(lived)[table], f"{table} has no row to try"
        _refused(lived, f"update {table} set id = 'other'")
        _refused(lived, f"delete from {table}")
        if lived.startswith("postgresql"):
            _refused(lived, f"truncate {table} cascade")


def test_insert_or_replace_does_not_overwrite(tmp_path: Path, sqlite_url: str) -> None:
    """SQLite's INSERT OR REPLACE deletes without the delete trigger; a trigger of its own refuses it."""
    live(sqlite_url, tmp_path / "calendar.ics")
    for table in APPEND_ONLY:
        _refused(sqlite_url, f"insert or replace into {table} select * from {table}")


def test_an_upsert_does_not_overwrite(lived: str) -> None:
    """Insert with "on conflict do update" is refused as an update is."""
    for table in APPEND_ONLY:
        _refused(
            lived, f"insert into {table} select * from {table} where true on conflict (id) do update set id = 'other'"
        )


def test_the_program_itself_is_told_in_a_sentence(lived: str) -> None:
    """An action that changes an append-only row is refused with what to do instead."""
    fact = dump(lived)["fact"][0]
    store = open_store(lived)
    with (
        pytest.raises(Refused, match="fact is append-only; a correction is a new entry"),
        store.act(None, desk(lived, 9).now) as act,
    ):
        act.change("fact", fact["id"], data={})
    store.close()


def test_without_its_trigger_a_row_can_be_changed(lived: str) -> None:
    """It is the trigger that refuses: once it is gone, the same statement goes through."""
    raw(lived, drop_trigger(lived, "volume", "update"), "update volume set method = 'guessed'")
    assert {row["method"] for row in dump(lived)["volume"]} == {"guessed"}


@pytest.mark.parametrize(
    ("statement", "table"),
    [
        ("update tank set role = 'bucket'", "tank"),
        ("update tank set water = 'salty'", "tank"),
        ("update batch set state = 'lost'", "batch"),
        ("update task set state = 'overdue'", "task"),
        ("update head set id = 2", "head"),
        ("update tank set site = 'nowhere'", "tank"),
        ("insert into tank select 'x', lower(name), site, system, role, water, shape, null from tank", "tank"),
        ("insert into keeper select 'x', upper(name) from keeper", "keeper"),
    ],
)
def test_the_database_refuses_what_is_not_a_word_of_ours(lived: str, statement: str, table: str) -> None:
    """Roles, waters, states, links and names stand under checks, whoever writes."""
    before = dump(lived)[table]
    foreign_keys_on = ["pragma foreign_keys = on"] if lived.startswith("sqlite") else []
    with pytest.raises(Exception, match=r"(?i)constraint"):
        raw(lived, *foreign_keys_on, statement)
    assert dump(lived)[table] == before


def test_a_task_has_one_outcome_in_the_database_too(url: str, tmp_path: Path) -> None:
    """A second done, dose or skip of a task is refused by a unique index, not only by the action."""
    live(url, tmp_path / "calendar.ics")
    with pytest.raises(Exception, match=r"(?i)unique"):
        raw(
            url,
            "insert into fact select 'second', 'skip', system, tank, batch, task, happened_at, entered_at, keeper,"
            " data, attempt, voids"
            " from fact where kind = 'dose' and task is not null",
        )


def test_furnishing_twice_is_refused_by_name(url: str) -> None:
    """Names of sites are unique whatever their capitals; the action says so before the database has to."""
    furnish(url)
    with pytest.raises(Refused, match="There is a site 'CELLAR' already"):
        places.add_site(desk(url), "CELLAR", "Europe/Berlin")
