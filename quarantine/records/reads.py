"""Reads: named SQL on the bare driver, no ORM. The same SQL runs on SQLite and PostgreSQL.

Opening a reader never creates anything: a home without a record reads as an empty one.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
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

    def __init__(self, connection: Any, dialect: str, where: str = "") -> None:
        self._connection = connection
        self.dialect = dialect
        self._where = where

    def rows(self, query: str, **values: Any) -> list[Row]:
        """The rows of a named query, as plain values."""
        return self.select(QUERIES[query], **values)

    def select(self, sql: str, **values: Any) -> list[Row]:
        """The rows of a statement of our own, as plain values; none while there is no record yet."""
        if self._connection is None:
            return []
        try:
            if self.dialect == "sqlite":
                return [dict(row) for row in self._connection.execute(sql, values)]
            return list(self._connection.execute(for_psycopg(sql), values))
        except (_errors(self.dialect), UnicodeDecodeError) as error:
            # In a damaged file even SQLite's own complaint may hold bytes that are no text.
            raise _unreadable(self._where, error) from error

    def read_damaged(self) -> None:
        """From now on a changed byte that makes text unreadable is read as a mark in it (U+FFFD), not refused: so a
        check can say in which row it stands. PostgreSQL lets no such text in."""
        if self.dialect == "sqlite" and self._connection is not None:
            self._connection.text_factory = lambda raw: raw.decode("utf-8", "replace")

    def hold_still(self) -> None:
        """From now on every read finds the record as the first one did, whatever others write meanwhile."""
        if self._connection is not None:
            self._connection.execute("begin" if self.dialect == "sqlite" else "begin isolation level repeatable read")

    def close(self) -> None:
        """Let go of the record."""
        if self._connection is not None:
            self._connection.close()

    def __enter__(self) -> Reader:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()


def _errors(dialect: str) -> type[Exception]:
    """What the driver raises."""
    if dialect == "sqlite":
        return sqlite3.Error
    import psycopg

    return psycopg.Error


def _unreadable(where: str, error: Exception) -> Refused:
    """The first line only, and no text of the record: that is context, or whatever stood in a damaged file."""
    said = str(error).partition("\n")[0].partition(" with text ")[0]
    full = "; make room on the disk and try again" if "disk" in said.casefold() else ""  # its log needs a little
    return Refused(f"The record {where} cannot be read: {said}{full}.")


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
    except (sqlite3.Error, OSError) as error:
        raise _unreadable(str(path), error) from error
    connection.row_factory = sqlite3.Row
    reader = Reader(connection, "sqlite", str(path))
    with _closing_if_refused(reader):
        reader.select("pragma query_only = on")
        names = {row["name"] for row in reader.select("select name from sqlite_master")}
        if not names:
            # A process that was killed while it made the record leaves an empty file.
            reader.close()
            return Reader(None, "sqlite")
        if "meta" not in names:
            raise Refused(f"The file {path} is a database, but not a record of this program. It is untouched.")
        check_schema(reader, str(path))
    return reader


@contextmanager
def _closing_if_refused(reader: Reader) -> Iterator[None]:
    try:
        yield
    except Refused:
        reader.close()
        raise


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
    except psycopg.Error as error:
        raise _unreadable("on PostgreSQL", error) from error
    reader = Reader(connection, "postgresql", "on PostgreSQL")
    with _closing_if_refused(reader):
        if not reader.select("select 1 as there where to_regclass('meta') is not null"):
            reader.close()
            return Reader(None, "postgresql")
        check_schema(reader, "on PostgreSQL")
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
