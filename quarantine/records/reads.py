"""Reads: named SQL on the bare driver, no ORM. The same SQL runs on SQLite and PostgreSQL.

Opening a reader never creates anything: a home without a record reads as an empty one.
"""

from __future__ import annotations

import re
import sqlite3
from pathlib import Path
from typing import Any, Protocol

from quarantine.failures import Refused
from quarantine.records.queries import QUERIES

Row = dict[str, Any]


class Rows(Protocol):
    """Whatever can answer a named query: a reader, or a transaction under way."""

    def rows(self, query: str, **values: Any) -> list[Row]:
        """The rows of a named query, as plain values."""


class Reader:
    """A read-only connection to the record."""

    def __init__(self, connection: Any, dialect: str) -> None:
        self._connection = connection
        self.dialect = dialect

    def rows(self, query: str, **values: Any) -> list[Row]:
        """The rows of a named query, as plain values."""
        return self.select(QUERIES[query], **values)

    def select(self, sql: str, **values: Any) -> list[Row]:
        """The rows of a statement of our own, as plain values; none while there is no record yet."""
        if self._connection is None:
            return []
        if self.dialect == "sqlite":
            try:
                return [dict(row) for row in self._connection.execute(sql, values)]
            except sqlite3.Error as error:
                raise Refused(
                    f"The record cannot be read: {_short(error)}. Restore a backup if this stays so."
                ) from error
        return _select_postgres(self._connection, sql, values)

    def close(self) -> None:
        """Let go of the record."""
        if self._connection is not None:
            self._connection.close()

    def __enter__(self) -> Reader:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()


def _select_postgres(connection: Any, sql: str, values: Row) -> list[Row]:
    import psycopg

    try:
        return list(connection.execute(for_psycopg(sql), values))
    except psycopg.Error as error:
        raise Refused(f"The record on PostgreSQL cannot be read: {_short(error)}.") from error


def _short(error: Exception) -> str:
    """The first line: what follows is context, or whatever stood in a damaged file."""
    return str(error).partition("\n")[0]


def for_psycopg(sql: str) -> str:
    """`:name` as psycopg writes it."""
    return re.sub(r"(?<!:):(\w+)", r"%(\1)s", sql.replace("%", "%%"))


def sqlite_path(url: str) -> Path:
    """The file of a sqlite:/// URL."""
    return Path(url.removeprefix("sqlite:///"))


def open_reader(url: str) -> Reader:
    """Open the record for reading. Raises Refused when it cannot be read or its schema is another."""
    return _open_sqlite(sqlite_path(url)) if url.startswith("sqlite") else _open_postgres(url)


def _open_sqlite(path: Path) -> Reader:
    try:
        if not path.exists():
            return Reader(None, "sqlite")
        # Not mode=ro: such a connection leaves the files of the write-ahead log behind. query_only refuses writes too.
        connection = sqlite3.connect(f"file:{_uri(path)}?mode=rw", uri=True, timeout=10, isolation_level=None)
        connection.execute("pragma query_only = on")
        connection.row_factory = sqlite3.Row
        if connection.execute("select count(*) from sqlite_master").fetchone()[0] == 0:
            # A process that was killed while it made the record leaves an empty file.
            connection.close()
            return Reader(None, "sqlite")
        if not connection.execute("select 1 from sqlite_master where name = 'meta'").fetchone():
            raise Refused(f"The file {path} is a database, but not a record of this program. It is untouched.")
        reader = Reader(connection, "sqlite")
        check_schema(reader, str(path))
    except (sqlite3.Error, OSError) as error:
        raise Refused(f"The record {path} cannot be read: {_short(error)}.") from error
    return reader


def _uri(path: Path) -> str:
    from urllib.parse import quote

    return quote(str(path))


def _open_postgres(url: str) -> Reader:
    try:
        import psycopg
        from psycopg.rows import dict_row
    except ImportError as error:
        raise Refused(
            "The record is on PostgreSQL, for which psycopg is missing: pip install 'fish-quarantine[postgres]'."
        ) from error
    try:
        connection = psycopg.connect(url, row_factory=dict_row, autocommit=True)
        reader = Reader(connection, "postgresql")
        if not connection.execute("select 1 as there where to_regclass('meta') is not null").fetchone():
            connection.close()
            return Reader(None, "postgresql")
        check_schema(reader, "on PostgreSQL")
    except psycopg.Error as error:
        raise Refused(f"The record on PostgreSQL cannot be read: {_short(error)}.") from error
    return reader


def check_schema(rows: Rows, where: str) -> None:
    """Raises Refused when the record was written by another version of the schema. Nothing is changed."""
    from quarantine.records.migrations import NEWEST

    found = rows.rows("meta", id="schema")
    number = int(found[0]["value"]) if found else 0
    if number > NEWEST:
        raise Refused(
            f"The record {where} has schema {number}, this version knows up to {NEWEST}: "
            "please upgrade the program. The record is untouched."
        )
    if number < NEWEST:
        raise Refused(
            f"The record {where} has schema {number}, this version reads {NEWEST}: any command that writes "
            "upgrades it (after a verified backup)."
        )
