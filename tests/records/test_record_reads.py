"""Reads: every named query on both engines, and that reading leaves no trace."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from fishroom import check, desk, dump, furnish, live, raw, tree

from quarantine.failures import Refused
from quarantine.records.queries import QUERIES
from quarantine.records.reads import for_psycopg, open_reader
from quarantine.records.store import open_store

EMPTY_AT_THE_END = {
    "expected_batches",
    "open_batches",
    "next_doses",
    "tasks_of_system",
}
EMPTY_AT_THE_END |= {"amount_changers", "open_amounts", "moves_of_open"}
"""The history ends with a release: nothing is open after it but the chores of the idle water."""
EMPTY_AT_THE_END |= {"incidents", "instructions_and_animals", "claims", "shopping_facts"}
"""Nor did anything go wrong in it, or a veterinarian instruct anything, or a keeper claim a task."""


def _values(url: str) -> dict[str, dict[str, Any]]:
    """For each query values that find something in the history of :func:`fishroom.live`."""
    rows = dump(url)
    batch, tank = rows["batch"][0], next(t for t in rows["tank"] if t["name"] == "Q1")
    acknowledged, head = rows["acknowledgement"][0], rows["head"][0]
    shared = {
        "system": batch["system"],
        "besides": next(row["id"] for row in rows["system"] if row["id"] != batch["system"]),
        "batch": batch["id"],
        "tank": tank["id"],
        "site": tank["site"],
        "suffix": "",
        "since": "2026-02-11",
        "until": "2026-03-01",
        "most": 5,
        "kind": "dose",
        "seal": head["entry"][:12],
        "code": rows["task"][0]["code"],
        "key": rows["task"][0]["key"],
        "lot": rows["lot"][0]["id"],
        "keeper": acknowledged["keeper"],
        "copy_id": acknowledged["copy_id"],
        "copied": '%"seen"%',
        "beginning": f"{head['entry'][:12]}%",
        "task": next(row["task"] for row in rows["fact"] if row["task"]),
        "fact": f'%"fact":"{next(row["id"] for row in rows["fact"] if row["kind"] == "dose")}"%',
    }
    ids = {
        "meta": "schema",
        "copy": batch["copy_id"],
        "batch_arrival": batch["id"],
        "fact": rows["fact"][0]["id"],
        "fact_stands": rows["fact"][0]["id"],
        "keeper_name": acknowledged["keeper"],
    }
    wanted = {name: set(re.findall(r"(?<!:):(\w+)", sql)) for name, sql in QUERIES.items()}
    return {
        name: {key: ids[name] if key == "id" else shared[key] for key in sorted(keys)} for name, keys in wanted.items()
    }


def test_every_named_query_runs_and_reads_the_same_both_ways(url: str, tmp_path: Path) -> None:
    """The bare driver and a transaction under way give the same rows, in the same order, for every query."""
    live(url, tmp_path / "calendar.ics")
    values = _values(url)
    store = open_store(url)
    with open_reader(url) as reader, store.act(None, desk(url, 9).now) as act:
        for name in QUERIES:
            read = reader.rows(name, **values[name])
            assert act.rows(name, **values[name]) == read, name
            assert bool(read) is (name not in EMPTY_AT_THE_END), name
    store.close()


def test_optional_values_may_be_left_open(url: str, tmp_path: Path) -> None:
    """Where a query takes a tank, a batch or a day "or none", none finds at least as much, on both engines."""
    live(url, tmp_path / "calendar.ics")
    values = _values(url)
    optional = {name: re.findall(r"cast\(:(\w+) as text\) is null", sql) for name, sql in QUERIES.items()}
    assert sum(map(len, optional.values())) >= 5
    with open_reader(url) as reader:
        for name, keys in optional.items():
            for key in keys:
                some = reader.rows(name, **values[name])
                every = reader.rows(name, **{**values[name], key: None})
                assert {row["id"] for row in some} <= {row["id"] for row in every}, name


def test_every_query_finds_nothing_in_an_empty_record(url: str, tmp_path: Path) -> None:
    """A fresh record answers every query without a row, save its own two and a count of none."""
    live(url, tmp_path / "calendar.ics")
    values = _values(url)
    fresh = f"sqlite:///{tmp_path / 'fresh' / 'record.db'}"
    open_store(fresh).close()
    with open_reader(fresh) as reader:
        found = {name for name in QUERIES if reader.rows(name, **values[name])}
        assert reader.rows("outcomes_of_task", task="none") == [{"n": 0}]
    assert found == {"meta", "head", "outcomes_of_task"}


def test_names_become_what_psycopg_wants() -> None:
    """`:name` is translated; a cast and a percent sign stay what they are."""
    assert for_psycopg("a = :a and b like '%' and c::text = :long_name") == (
        "a = %(a)s and b like '%%' and c::text = %(long_name)s"
    )


def test_reading_where_nothing_is_creates_nothing(tmp_path: Path) -> None:
    """A home without a record reads as an empty one, and stays what it was."""
    home = tmp_path / "home"
    for url in (f"sqlite:///{home / 'record.db'}", f"sqlite:///{tmp_path / 'file' / 'home' / 'record.db'}"):
        with open_reader(url) as reader:
            assert reader.rows("tanks") == []
        assert tree(tmp_path) == {}


def test_reading_an_empty_postgres_creates_nothing(postgres: Any) -> None:
    """A database without our tables reads as an empty record."""
    with open_reader(postgres.get_uri()) as reader:
        assert reader.rows("tanks") == []
    with open_reader(postgres.get_uri()) as reader:
        assert reader.rows("tanks") == []


def test_reading_a_record_leaves_its_folder_as_it_was(tmp_path: Path, sqlite_url: str) -> None:
    """The same files with the same bytes before and after reads and `check`."""
    live(sqlite_url, tmp_path / "calendar.ics")
    before = tree(tmp_path)
    check(sqlite_url)
    assert tree(tmp_path) == before
    assert "home/record.db" in before


def test_a_reader_cannot_write(tmp_path: Path, sqlite_url: str) -> None:
    """The connection of a read is read-only: even a statement that writes is refused, in a sentence."""
    furnish(sqlite_url)
    before = tree(tmp_path)
    with (
        open_reader(sqlite_url) as reader,
        pytest.raises(Refused, match="cannot be read: attempt to write a readonly database"),
    ):
        reader.select("update keeper set name = 'nobody'")
    assert tree(tmp_path) == before


def test_an_empty_file_reads_as_an_empty_record(tmp_path: Path, sqlite_url: str) -> None:
    """A process killed while it made the record leaves an empty file: it reads as an empty record."""
    (tmp_path / "home").mkdir()
    (tmp_path / "home" / "record.db").touch()
    with open_reader(sqlite_url) as reader:
        assert reader.rows("tanks") == []
    furnish(sqlite_url)
    assert check(sqlite_url)["entries"] == 5


def test_another_programs_database_is_left_alone(tmp_path: Path, sqlite_url: str) -> None:
    """A SQLite file with other tables is not filled with ours, and not read as a record."""
    (tmp_path / "home").mkdir()
    raw(sqlite_url, "create table recipes (id integer primary key)")
    before = tree(tmp_path)
    with pytest.raises(Refused, match=r"record\.db is a database, but not a record of this program"):
        open_reader(sqlite_url)
    with pytest.raises(Refused, match=r"record\.db is a database, but not a record of this program"):
        open_store(sqlite_url)
    assert tree(tmp_path) == before


@pytest.mark.parametrize(
    "folder", ["50% water", "what?", "a#b", "tank: Q1; new", "Süßwasser 🐠", "plus+minus", "a=b&c"]
)
def test_the_home_may_have_any_name(tmp_path: Path, folder: str) -> None:
    """Reads and writes meet in the same file, whatever signs its folder's name holds."""
    url = f"sqlite:///{tmp_path / folder / 'record.db'}"
    furnish(url)
    with open_reader(url) as reader:
        assert {row["name"] for row in reader.rows("tanks")} == {"Q1", "Reef"}
    assert [path.name for path in tmp_path.iterdir()] == [folder]
    assert "record.db" in {path.name for path in (tmp_path / folder).iterdir()}


def test_a_postgres_that_is_not_there_is_one_sentence(tmp_path: Path) -> None:
    """A server that does not answer is told in a sentence, by reads and by writes."""
    url = f"postgresql://postgres:@/none?host={tmp_path}"
    for opening in (open_reader, open_store):
        with pytest.raises(Refused) as refused:
            opening(url)
        assert "PostgreSQL" in refused.value.sentence
        assert "\n" not in refused.value.sentence


def test_stored_documents_are_canonical(url: str, tmp_path: Path) -> None:
    """What facts, tasks and sign-offs hold as JSON has neither a float nor a space between."""
    live(url, tmp_path / "calendar.ics")
    rows = dump(url)
    texts = [row["data"] for row in rows["fact"]] + [row["detail"] for row in rows["task"]]
    texts += [row["evidence"] for row in rows["signoff"]] + [row["payload"] for row in rows["journal"]]
    assert len(texts) > 100
    for text in texts:
        document = json.loads(text, parse_float=lambda number: pytest.fail(f"{number} is a float"))
        assert json.dumps(document, separators=(",", ":"), ensure_ascii=False) == text
