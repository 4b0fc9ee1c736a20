"""A batch that moved keeps its own facts, on both engines: read from the water it is in, without those of the old."""

from __future__ import annotations

import json
from collections import Counter

import pytest
from fishroom import BOX, READINGS, code_of, desk, furnish, start

from quarantine.actions import checking, evacuating, moving, noting, parting, places, work
from quarantine.records.reads import Row, open_reader


def house(url: str) -> None:
    """Day 3 of four fish in Q1: looked at, tested and dosed; Q2 stands empty beside it."""
    furnish(url)
    places.add_tank(desk(url), "Q2", site="Cellar", role="quarantine", water="marine", shape="box", measures=BOX)
    start(url)
    for day in range(4):
        noting.look(desk(url, day, 1), "Q1 4 3", no_signs=True)
        noting.reading(desk(url, day, 1), "Q1", READINGS)
    work.done(desk(url, 3, 2), [code_of(url, "dose")], as_shown=True)


def facts(url: str, tank: str, since: str = "") -> list[Row]:
    with open_reader(url) as rows:
        system = next(t["system"] for t in rows.rows("tanks") if t["name"] == tank)
        return rows.rows("facts_since", system=system, since=since)


def whole(url: str) -> bool:
    with open_reader(url) as rows:
        return bool(checking.check(rows, desk(url, 9).now)["entries"])


def test_a_moved_batch_is_read_with_its_own_facts_alone(url: str) -> None:
    """Its looks and its dose come along, the dose under a name that no ledger reads; readings and changes stay."""
    house(url)
    old = Counter(row["kind"] for row in facts(url, "Q1"))
    moving.move(desk(url, 3, 4), "Q1-1", "Q2", no_water=True, yes=True)
    new = Counter(row["kind"] for row in facts(url, "Q2"))
    assert new["look"] == old["look"] == 4
    assert (new["dose"], new["dose_before"]) == (0, 1)
    assert new["reading"] == 0
    assert new["moved_in"] == new["arrival"] == 1
    assert Counter(row["kind"] for row in facts(url, "Q1")) == old
    assert [row["kind"] for row in facts(url, "Q2", "9999")] == []
    assert whole(url)


def test_a_batch_that_went_and_came_back_is_read_once(url: str) -> None:
    """Each fact once, from whatever water; what happened in between comes along as well."""
    house(url)
    moving.move(desk(url, 3, 4), "Q1-1", "Q2", no_water=True, yes=True)
    noting.look(desk(url, 4, 1), "Q2 4 3", no_signs=True)
    evacuating.evacuate(desk(url, 4, 2), "Q2", "Q1", level="none")
    found = facts(url, "Q1")
    assert len({row["id"] for row in found}) == len(found)
    kinds = Counter(row["kind"] for row in found)
    assert (kinds["look"], kinds["moved_in"], kinds["dose"], kinds["dose_before"]) == (5, 2, 1, 0)
    assert whole(url)


def test_a_part_has_a_copy_of_each_fact_that_names_its_original(url: str) -> None:
    """The copies carry when the original was entered and keys that hang on copies; one entry holds them all (B4)."""
    house(url)
    parting.split(desk(url, 3, 4), "Q1-1", "1", "Shy")
    with open_reader(url) as rows:
        shy = next(b["id"] for b in rows.rows("batches") if b["name"] == "Shy")
        entries = rows.rows("journal_last", most=1)
    copies = [row for row in facts(url, "Q1") if row["batch"] == shy]
    originals = {row["id"]: row for row in facts(url, "Q1") if row["batch"] != shy}
    ids = {row["id"] for row in copies}
    for row in copies:
        data = json.loads(row["data"])
        if row["kind"] == "moved":
            continue
        original = originals[data["copied_from"]]
        assert row["happened_at"] == original["happened_at"]
        assert data["first"]["entered_at"] == original["entered_at"]
        assert row["task"] is None
        if "key" in data:
            assert data["key"].split(":")[2] in ids
    written = json.loads(entries[0]["payload"])["rows"]
    assert {row["id"] for row in written["fact"]} >= ids
    assert whole(url)


@pytest.mark.parametrize("to", ["Q2", None])
def test_the_plan_of_a_record_is_the_same_when_it_is_made_again(url: str, to: str | None) -> None:
    """Nothing that a move or a parting stored changes by the next write in that water."""
    house(url)
    if to is not None:
        moving.move(desk(url, 3, 4), "Q1-1", to, no_water=True, yes=True)
    else:
        parting.split(desk(url, 3, 4), "Q1-1", "1", "Shy")
    with open_reader(url) as rows:
        before = {t["id"]: t for t in rows.rows("all_tasks", batch=None)}
    noting.event(desk(url, 3, 4), "evaporation", to or "Q1", {"litres": 1})
    with open_reader(url) as rows:
        after = {t["id"]: t for t in rows.rows("all_tasks", batch=None)}
    assert after == before
