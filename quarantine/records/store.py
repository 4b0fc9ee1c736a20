"""Writing: one transaction per keeper's action, with its journal entry inside it.

SQLite takes its write lock at once (BEGIN IMMEDIATE: a deferred begin ends in "database is locked" under two
writers); PostgreSQL locks the one head row. Whatever happens in between is all kept or all gone.
"""

from __future__ import annotations

import secrets
import sqlite3
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any
from uuid import uuid4

import sqlalchemy as sa
from sqlalchemy import Connection, Engine, event, text

from quarantine.failures import Failure, Refused
from quarantine.records import journal
from quarantine.records.codec import canonical, plain, text_of_instant
from quarantine.records.migrations import APPEND_ONLY_FUNCTION, MIGRATIONS, NEWEST, triggers
from quarantine.records.queries import QUERIES
from quarantine.records.reads import Row, sqlite_path

READS_ONLY = "quarantine_reads_only"
"""Execution option of a connection that begins without the write lock."""


def new_id(after: Iterable[str] = ()) -> str:
    """A fresh uuid, as 32 hexadecimal digits; it sorts behind those in ``after``, so that where two times do not tell
    rows apart the order of entry does."""
    last, fresh = max(after, default=""), uuid4().hex
    return fresh if fresh > last else f"{int(last, 16) + 1 + secrets.randbits(64):032x}"


class Act:
    """One keeper's action under way: reads, and collects the rows that it writes.

    Rows reach the database at once, so that later reads of the same action see them; the journal entry is made
    from them at the end.
    """

    def __init__(self, connection: Connection, keeper: str | None, now: datetime) -> None:
        self._connection = connection
        self.keeper = keeper
        self.now = now
        self.happened_at = now
        self.dry_run = False
        """whether all of it is rolled back at the end: then nothing is asked for that is only asked before writing"""
        self.kind = ""
        self.says = ""
        self._rows: dict[str, dict[str, Row]] = {}

    def rows(self, query: str, **values: Any) -> list[Row]:
        """The rows of a named query inside this transaction."""
        found = self._connection.execute(_statement(query), values)
        names = tuple(found.keys())  # a dict of each row by itself: its mapping would look every name up again
        return [dict(zip(names, row, strict=True)) for row in found]

    def written(self, table: str) -> list[Row]:
        """The rows of a table that this action has added or changed so far, as far as it named their columns."""
        return list(self._rows.get(table, {}).values())

    def stream(self, query: str, **values: Any) -> Iterator[Row]:
        """The rows of a named query one by one: never all in memory. Other tables may be written meanwhile."""
        piecewise = _statement(query).execution_options(yield_per=500)
        for row in self._connection.execute(piecewise, values).mappings():
            yield dict(row)

    def describe(self, kind: str, says: str, happened_at: datetime | None = None) -> None:
        """What this action was, for the journal: a word, a sentence, and when it happened."""
        self.kind, self.says = kind, says
        self.happened_at = happened_at or self.now

    def add(self, table: str, *rows: Row) -> None:
        """Insert rows (dicts with their id and every column)."""
        if not rows:
            return
        for row in rows:
            self._note(table, row)
        self._connection.execute(sa.insert(_named(table, rows[0])), [_stored(row) for row in rows])

    def change(self, table: str, id_: str, **values: Any) -> None:
        """Change columns of one row that is not append-only."""
        columns = _named(table, ("id", *values))
        self._note(table, {"id": id_, **values})
        self._connection.execute(sa.update(columns).where(columns.c.id == id_).values(_stored(values)))

    def change_if(self, table: str, id_: str, among: tuple[str, ...], /, **values: Any) -> bool:
        """Change a row only while its state is one of ``among``: compare-and-set. False when it was not."""
        columns = _named(table, ("id", "state", *values))
        where = (columns.c.id == id_) & columns.c.state.in_(among)
        if self._connection.execute(sa.update(columns).where(where).values(_stored(values))).rowcount != 1:
            return False
        self._note(table, {"id": id_, **values})
        return True

    def _note(self, table: str, row: Row) -> None:
        outside = journal.OUTSIDE.get(table, set())
        kept = {name: plain(value) for name, value in row.items() if name not in outside}
        self._rows.setdefault(table, {}).setdefault(row["id"], {}).update(kept)

    def _close(self) -> None:
        """Write the journal entry of what was collected and move the head."""
        if not self._rows:
            return
        head = self.rows("head")[0]
        entry, payload = journal.make(
            parents=[head["entry"]],
            kind=self.kind,
            keeper=self.keeper,
            happened_at=text_of_instant(self.happened_at),
            entered_at=text_of_instant(self.now),
            says=self.says,
            rows={table: list(rows.values()) for table, rows in sorted(self._rows.items())},
        )
        n = head["n"] + 1
        self._connection.execute(
            text("insert into journal (id, n, payload) values (:id, :n, :payload)"),
            {"id": entry, "n": n, "payload": payload},
        )
        self._connection.execute(text("update head set entry = :entry, n = :n where id = 1"), {"entry": entry, "n": n})


@cache
def _statement(query: str) -> sa.TextClause:
    """A named query, read once: its values are found in its text by a search that costs as much as the query."""
    return text(QUERIES[query])


def _named(table: str, columns: Iterable[str]) -> sa.TableClause:
    """A table by its name and the columns that a statement writes. The models of :mod:`tables` know more, but
    importing them takes longer than all the rest of a `done`; the database itself refuses a wrong name."""
    return sa.table(table, *(sa.column(name) for name in dict.fromkeys(columns)))


def _stored(row: Row) -> Row:
    """Values as the columns hold them: a document as canonical JSON text."""
    return {
        name: canonical(plain(value)) if isinstance(value, (dict, list, tuple)) else plain(value)
        for name, value in row.items()
    }


class Store:
    """The record, opened for writing."""

    def __init__(self, url: str, engine: Engine | None = None) -> None:
        self.url = url
        self._engine = engine or _engine(url)

    @contextmanager
    def act(self, keeper: str | None, now: datetime, *, dry_run: bool = False) -> Iterator[Act]:
        """One transaction. With ``dry_run`` the same action runs and is rolled back at the end."""
        with refusing(self.url), self._engine.connect() as connection:
            transaction = connection.begin()
            try:
                if self._engine.dialect.name == "postgresql":
                    connection.execute(text("select entry from head where id = 1 for update"))
                # Asked again under the lock: the record was opened without one.
                _refuse_other(_written_number(connection))
                act = Act(connection, keeper, now)
                act.dry_run = dry_run
                yield act
                act._close()
            except BaseException:
                transaction.rollback()
                raise
            if dry_run:
                transaction.rollback()
            else:
                transaction.commit()

    def close(self) -> None:
        """Let go of the record."""
        self._engine.dispose()


def open_store(url: str, *, dry_run: bool = False) -> Store:
    """Open the record for writing; make or upgrade it first. Raises Refused when that cannot be done.

    With ``dry_run`` nothing is made or upgraded: where there is no record yet, the action runs on one in memory.
    """
    with refusing(url):
        if dry_run and _nothing_there(url):
            return _in_memory(url)
        store = Store(url)
        try:
            found = _schema_number(store._engine)
            if dry_run and not found:
                store.close()
                return _in_memory(url)
            if found > NEWEST or dry_run:
                _refuse_other(found)
            elif found < NEWEST:
                migrate(store._engine, found)
        except BaseException:
            store.close()
            raise
        return store


def _nothing_there(url: str) -> bool:
    """Whether a SQLite record's file is missing; the home must be one that could be made."""
    if not url.startswith("sqlite") or sqlite_path(url).exists():
        return False
    nearest = next(folder for folder in sqlite_path(url).absolute().parents if folder.exists())
    if not nearest.is_dir():
        raise Refused(f"The home folder {sqlite_path(url).parent} cannot be made: {nearest} is not a directory.")
    return True


def _in_memory(url: str) -> Store:
    """A new record that is gone when it is closed."""
    engine = _watched(sa.create_engine("sqlite://", poolclass=sa.pool.StaticPool))
    migrate(engine, 0)
    with engine.connect() as connection:
        raw = connection.connection.dbapi_connection
        assert raw is not None
        raw.execute("pragma foreign_keys = on")  # off since the migration: it is the one connection there is
    return Store(url, engine)


def _engine(url: str) -> Engine:
    if url.startswith("postgresql"):
        return sa.create_engine(url.replace("postgresql://", "postgresql+psycopg://", 1))
    path = sqlite_path(url)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Refused(f"The home folder {path.parent} cannot be made: {error.strerror}.") from error
    # Not as text: a folder's name may hold what means something in a URL.
    file = sa.URL.create("sqlite", database=str(path))
    return _watched(sa.create_engine(file, connect_args={"timeout": 10}, poolclass=sa.pool.NullPool))


def _watched(engine: Engine) -> Engine:
    """A SQLite engine that begins as we say: for writing at once with the write lock, for reading without."""

    @event.listens_for(engine, "connect")
    def _connect(connection: sqlite3.Connection, _: object) -> None:
        connection.isolation_level = None  # we say BEGIN ourselves
        connection.execute("pragma foreign_keys = on")
        connection.execute("pragma synchronous = full")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        reads = connection.get_execution_options().get(READS_ONLY)
        connection.exec_driver_sql("begin" if reads else "begin immediate")

    return engine


def _refuse_other(found: int) -> None:
    """Raises Refused when the record's schema is not the one this version writes."""
    if found > NEWEST:
        raise Refused(
            f"The record has schema {found}, this version knows up to {NEWEST}: please upgrade the program. "
            "The record is untouched."
        )
    if found < NEWEST:
        raise Refused(
            f"The record has schema {found}, this version writes {NEWEST}: a command that writes, without --dry-run, "
            "upgrades it (after a verified backup). The record is untouched."
        )


def _schema_number(engine: Engine) -> int:
    """The schema of the record, 0 when there is none; read without a write lock, so nobody waits for it."""
    with engine.connect().execution_options(**{READS_ONLY: True}) as connection:
        if not _has_meta(connection):
            if engine.dialect.name == "sqlite" and connection.execute(text("select 1 from sqlite_master")).first():
                file = engine.url.database
                raise Refused(f"The file {file} is a database, but not a record of this program. It is untouched.")
            return 0
        return _written_number(connection)


def _has_meta(connection: Connection) -> bool:
    """Asked of PostgreSQL's own tables: to_regclass may answer from before another process made the record."""
    there = (
        "select 1 from sqlite_master where type = 'table' and name = 'meta'"
        if connection.dialect.name == "sqlite"
        else "select 1 from pg_catalog.pg_tables where tablename = 'meta' and schemaname = any(current_schemas(false))"
    )
    return connection.execute(text(there)).first() is not None


def _written_number(connection: Connection) -> int:
    return int(connection.execute(text(QUERIES["meta"]), {"id": "schema"}).scalar_one())


def migrate(engine: Engine, found: int) -> None:
    """Run the migrations after ``found`` in one transaction, re-make the triggers, check, commit.

    Foreign keys are off while tables may be re-made (before the transaction: SQLite ignores the pragma inside
    one), and checked before the commit. An older SQLite record is backed up under the transaction's own write
    lock: nobody can write between the backup and the first change.
    """
    dialect = engine.dialect.name
    with engine.connect() as connection:
        if dialect == "sqlite":
            raw = connection.connection.dbapi_connection
            assert raw is not None
            raw.execute("pragma foreign_keys = off")
            _write_ahead(raw)
        with connection.begin():
            if dialect == "postgresql":
                # Two processes may make the record at once: the second waits, then finds it made.
                connection.execute(text("select pg_advisory_xact_lock(7251)"))
            if _has_meta(connection) and _written_number(connection) != found:
                return  # another process was faster
            if found and dialect == "sqlite":
                _back_up(Path(str(engine.url.database)), found)
            before = _row_counts(connection) if found else {}
            for migration in MIGRATIONS:
                if migration.number > found:
                    for statement in migration.on(dialect):
                        connection.exec_driver_sql(statement)
            if not found:
                _first_rows(connection)
            _make_triggers(connection, dialect)
            connection.execute(text("update meta set value = :value where id = 'schema'"), {"value": str(NEWEST)})
            _verify(connection, dialect, before)


def _write_ahead(raw: Any) -> None:
    """Write-ahead logging, kept in the file from then on. It can only be chosen outside a transaction, and SQLite
    answers "locked" at once, without its busy timeout, while another process makes the record."""
    for _ in range(100):
        try:
            raw.execute("pragma journal_mode = wal")
            return
        except sqlite3.OperationalError as error:
            if "locked" not in str(error):
                raise
            time.sleep(0.1)
    raise Refused("Another process is making the record; nothing was written. Try again.")


def _first_rows(connection: Connection) -> None:
    insert = text("insert into meta (id, value) values (:id, :value)")
    connection.execute(insert, [{"id": "schema", "value": "0"}, {"id": "database", "value": new_id()}])
    connection.execute(text("insert into head (id, entry, n) values (1, :entry, 0)"), {"entry": journal.GENESIS})


def _make_triggers(connection: Connection, dialect: str) -> None:
    if dialect == "postgresql":
        connection.exec_driver_sql(APPEND_ONLY_FUNCTION.replace("%", "%%"))
    for name, statement in triggers(dialect):
        table = name.rsplit("_no_", 1)[0]
        on = f" on {table}" if dialect == "postgresql" else ""
        connection.exec_driver_sql(f"drop trigger if exists {name}{on}")
        connection.exec_driver_sql(statement)


def _row_counts(connection: Connection) -> dict[str, int]:
    return {
        table: connection.execute(text(f"select count(*) from {table}")).scalar_one()
        for table in sa.inspect(connection).get_table_names()
    }


def _verify(connection: Connection, dialect: str, before: dict[str, int]) -> None:
    """Nothing was lost, every link holds, and every column that the models describe is there."""
    from quarantine.records.tables import TABLES

    for table, model in TABLES.items():
        made = {column["name"] for column in sa.inspect(connection).get_columns(table)}
        if lacking := set(model.model_fields) - made:
            raise Refused(f"The upgrade left table {table} without {', '.join(lacking)}; the record is untouched.")
    after = _row_counts(connection)
    lost = [table for table, count in before.items() if after.get(table, 0) < count]
    broken = connection.exec_driver_sql("pragma foreign_key_check").first() if dialect == "sqlite" else None
    if lost or broken:
        raise Refused(f"The upgrade would have lost rows ({', '.join(lost) or 'links'}); the record is untouched.")


def _back_up(path: Path, found: int) -> None:
    """A copy beside the record by SQLite's own backup, opened and checked before anything is changed.

    Called under the record's write lock: readers are let in, writers are not.
    """
    copy = path.with_name(f"{path.stem}.schema-{found}.backup.db")
    with sqlite3.connect(path) as source, sqlite3.connect(copy) as target:
        source.backup(target)
        if target.execute("pragma integrity_check").fetchone()[0] != "ok":
            raise Refused(f"The backup {copy} could not be verified; the record is untouched.")
    source.close()
    target.close()


@contextmanager
def refusing(url: str) -> Iterator[None]:
    """Known trouble of the database as one sentence."""
    try:
        yield
    except Failure:
        raise
    except sa.exc.DBAPIError as error:
        raise Refused(_sentence(str(error.orig), url)) from error
    except sqlite3.Error as error:
        raise Refused(_sentence(str(error), url)) from error
    except UnicodeDecodeError as error:  # SQLite quotes what it found, and in a damaged file that may be no text
        raise Refused(_sentence(f"malformed text ({error.reason})", url)) from error


def _sentence(message: str, url: str) -> str:
    where = f"the record {sqlite_path(url)}" if url.startswith("sqlite") else "the record on PostgreSQL"
    message = message.partition("\n")[0]  # PostgreSQL adds lines of context
    low = message.casefold()
    if "full" in low or "disk i/o" in low or "no space" in low:
        return f"The disk is full: nothing was written to {where}. Make room and try again."
    if "readonly" in low or "unable to open" in low or "not a directory" in low:
        return f"Nothing was written: {where} cannot be opened for writing."
    if "locked" in low:
        return f"Another process is writing to {where}; nothing was written. Try again."
    if "not a database" in low or "malformed" in low:
        return f"{where[0].upper()}{where[1:]} is damaged or not a record: {message}. Restore a backup."
    if "append-only" in low:
        return f"Nothing was written: {message}; a correction is a new entry."
    return f"Nothing was written to {where}: {message}."
