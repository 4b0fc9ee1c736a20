"""Migration 4: absences, closures and roles; a batch can be merged. On both engines, from a record of schema 3."""

from __future__ import annotations

import pytest
from fishroom import desk, dump, raw

from quarantine.actions import peopling
from quarantine.failures import Refused
from quarantine.records import migrations, store, tables
from quarantine.records.migrations import APPEND_ONLY, MIGRATIONS, triggers, triggers_sql
from quarantine.records.reads import open_reader
from quarantine.records.store import open_store

NEW = ("absence", "closure", "role")
FIRST_ROWS = (
    "insert into site values ('s', 'Cellar', 'Europe/Berlin')",
    "insert into keeper values ('k', 'Morning keeper')",
    "insert into system values ('w', 'Q1', 's')",
    "insert into tank values ('t', 'Q1', 's', 'w', 'quarantine', 'fresh', '{}', null)",
    "insert into copy values ('c', 'fresh-watch', 1, 'Watch', 'text')",
    """insert into batch values ('b', 'Q1-1', 't', 'w', 'c', '2026-02-10T12:00:00Z', 'a club', null, '[]', 'released',
        '2026-03-20T12:00:00Z', '{}')""",
    "insert into fact values ('f', 'look', 'w', 't', 'b', null, '2026-02-10T12:00:00Z', '2026-02-10T12:00:00Z', 'k', "
    "'{}', null, null)",
)
"""What a keeper of schema 3 may have."""


@pytest.fixture
def upgraded(url: str, monkeypatch: pytest.MonkeyPatch) -> str:
    """A record that was made with schema 3, given rows, and opened by this version."""
    with monkeypatch.context() as before:
        before.setattr(store, "MIGRATIONS", MIGRATIONS[:3])
        before.setattr(store, "NEWEST", 3)
        before.setattr(migrations, "NEWEST", 3)
        before.setattr(migrations, "APPEND_ONLY", tuple(t for t in APPEND_ONLY if t not in NEW))
        before.setattr(tables, "TABLES", {name: t for name, t in tables.TABLES.items() if name not in NEW})
        open_store(url).close()
    raw(url, *FIRST_ROWS)
    open_store(url).close()
    return url


def test_a_record_of_schema_3_is_taken_to_4_with_all_its_rows(upgraded: str) -> None:
    """Every row is there as it was, the new tables are empty, and their triggers stand."""
    rows = dump(upgraded)
    assert next(row["value"] for row in rows["meta"] if row["id"] == "schema") == "4"
    assert rows["batch"][0] == {
        "id": "b",
        "name": "Q1-1",
        "tank": "t",
        "system": "w",
        "copy_id": "c",
        "arrived_at": "2026-02-10T12:00:00Z",
        "source": "a club",
        "destination": None,
        "fish": "[]",
        "state": "released",
        "closed_at": "2026-03-20T12:00:00Z",
        "standing": "{}",
    }
    assert rows["fact"][0]["batch"] == "b"
    assert [rows[table] for table in NEW] == [[], [], []]
    with open_reader(upgraded) as reader:
        there = {row["name"] for row in reader.select(triggers_sql(reader.dialect))}
        assert {name for name, _ in triggers(reader.dialect)} <= there


def test_a_batch_can_be_merged_and_nothing_else_new(upgraded: str) -> None:
    """The state is one of ours, and one that is not is refused still."""
    raw(upgraded, "update batch set state = 'merged'")
    assert dump(upgraded)["batch"][0]["state"] == "merged"
    with pytest.raises(Exception, match=r"(?i)constraint"):
        raw(upgraded, "update batch set state = 'lost'")
    with pytest.raises(Exception, match=r"(?i)unique"):
        raw(upgraded, "insert into batch select 'x', upper(name), tank, system, copy_id, arrived_at, source, "
            "destination, fish, state, closed_at, standing from batch")  # fmt: skip


@pytest.mark.parametrize(
    ("statement", "why"),
    [
        ("insert into role values ('r', 'k', 'boss', '2026-03-01T12:00:00Z', 'k')", "constraint"),
        ("insert into role values ('r', 'nobody', 'pupil', '2026-03-01T12:00:00Z', 'k')", "constraint"),
        (
            "insert into absence values ('a', 'k', '2026-03-02', '2026-03-01', '', '2026-03-01T12:00:00Z', 'k', null)",
            "constraint",
        ),
        (
            "insert into closure values ('a', 'x', '2026-03-01', '2026-03-01', '', 'w', '2026-03-01T12:00:00Z', 'k', "
            "null)",
            "constraint",
        ),
    ],
)
def test_the_database_refuses_what_is_no_absence_closure_or_role(upgraded: str, statement: str, why: str) -> None:
    """Roles, days and links stand under checks, whoever writes."""
    foreign_keys_on = ["pragma foreign_keys = on"] if upgraded.startswith("sqlite") else []
    with pytest.raises(Exception, match=rf"(?i){why}"):
        raw(upgraded, *foreign_keys_on, statement)


def test_an_upgraded_record_takes_them_and_a_second_withdrawal_is_refused(upgraded: str) -> None:
    """The actions write on both engines; what was withdrawn is no more, and the row that voids it is none itself."""
    peopling.absent(desk(upgraded, 20), "Morning keeper", "2026-03-09", "2026-03-11", because="course")
    peopling.close_site(desk(upgraded, 20), "Cellar", "2026-03-09", "2026-03-29", weekdays="sun", what="Sundays")
    peopling.set_role(desk(upgraded, 20), "Morning keeper", "keeper")
    with open_reader(upgraded) as reader:
        assert [row["keeper_name"] for row in reader.rows("absences", since="2026-03-11")] == ["Morning keeper"]
        assert reader.rows("absences", since="2026-03-12") == []
        assert [row["weekdays"] for row in reader.rows("closures", site=None, since="2026-03-01")] == ["sun"]
        assert [row["role"] for row in reader.rows("roles")] == ["keeper"]
    peopling.back(desk(upgraded, 21), "Morning keeper", "2026-03-09")
    peopling.open_site(desk(upgraded, 21), "Cellar", "2026-03-09")
    with open_reader(upgraded) as reader:
        assert reader.rows("absences", since="0000") == reader.rows("closures", site=None, since="0000") == []
    with pytest.raises(Refused, match="is not away from 2026-03-09"):
        peopling.back(desk(upgraded, 22), "Morning keeper", "2026-03-09")
    voided = dump(upgraded)["absence"]
    assert len(voided) == 2
    with pytest.raises(Exception, match=r"(?i)unique"):
        raw(
            upgraded,
            "insert into absence select 'again', keeper, since, until, because, entered_at, entered_by, voids "
            "from absence where voids is not null",
        )
