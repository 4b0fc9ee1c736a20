"""The journal: what changes in it is found, and the state can be rebuilt from it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from fishroom import READINGS, check, desk, drop_trigger, dump, furnish, live, raw
from hypothesis import given, settings
from hypothesis import strategies as st

from quarantine.actions import noting
from quarantine.failures import Refused
from quarantine.records import journal
from quarantine.records.journal import GENESIS, OUTSIDE, Entry, make, replay, verify
from quarantine.records.reads import sqlite_path
from quarantine.records.tables import TABLES


def _chain(length: int) -> list[Entry]:
    entries: list[Entry] = []
    head = GENESIS
    for n in range(1, length + 1):
        id_, payload = make(
            parents=[head],
            kind="look",
            keeper="k1",
            happened_at=f"2026-02-{n:02}T08:00:00Z",
            entered_at=f"2026-02-{n:02}T08:00:00Z",
            says=f"Q1: {n} seen, ½ of them asleep",
            rows={"fact": [{"id": f"f{n}", "data": {"seen": n, "litres": "0.10"}}]},
        )
        entries.append(Entry(id_, n, payload))
        head = id_
    return entries


CHAIN = _chain(5)
HEAD = CHAIN[-1].id


def test_a_whole_chain_has_no_fault() -> None:
    """What was written one after the other is whole; so is an empty journal."""
    assert verify(CHAIN, HEAD) == []
    assert verify([], GENESIS) == []


def test_an_id_is_the_sha_256_of_the_text() -> None:
    """NIST, Secure Hash Standard, FIPS 180-4, 2015 (from memory): SHA-256 of "abc". Exact.

    The id of an entry is that function of its canonical text, so another program can check a record.
    """
    import hashlib

    expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert hashlib.sha256(b"abc").hexdigest() == expected
    assert all(hashlib.sha256(e.payload.encode()).hexdigest() == e.id for e in CHAIN)
    assert [json.loads(e.payload)["parents"] for e in CHAIN] == [[GENESIS], *([e.id] for e in CHAIN[:-1])]


@settings(max_examples=300)
@given(st.data())
def test_any_single_changed_byte_is_found(data: st.DataObject) -> None:
    """Any bit pattern at any place of any payload or id: `verify` names that entry."""
    at = data.draw(st.integers(0, len(CHAIN) - 1))
    field = data.draw(st.sampled_from(["payload", "id"]))
    content = bytearray(getattr(CHAIN[at], field).encode())
    place = data.draw(st.integers(0, len(content) - 1))
    content[place] ^= data.draw(st.integers(1, 255))
    changed = CHAIN[at]._replace(**{field: content.decode("utf-8", errors="replace")})
    faults = verify([*CHAIN[:at], changed, *CHAIN[at + 1 :]], HEAD)
    assert any(f"entry {at + 1} " in fault for fault in faults)


@pytest.mark.parametrize("at", range(len(CHAIN)))
def test_a_missing_entry_is_found(at: int) -> None:
    """Any one entry taken out: its number is named, or the head no longer fits."""
    faults = verify([*CHAIN[:at], *CHAIN[at + 1 :]], HEAD)
    wanted = "cut off" if at == len(CHAIN) - 1 else f"entry {at + 1} is missing"
    assert any(wanted in fault for fault in faults)


@given(st.permutations(range(len(CHAIN))).filter(lambda order: order != list(range(len(CHAIN)))))
def test_entries_in_another_order_are_found(order: list[int]) -> None:
    """Entries that changed places are a fault, even with their numbers made to fit."""
    shuffled = [CHAIN[place]._replace(n=n) for n, place in enumerate(order, 1)]
    assert verify(shuffled, HEAD)


def test_an_entry_put_between_is_found() -> None:
    """An entry that was never made, with a seal of its own, has no place in the chain."""
    id_, payload = make(
        parents=[CHAIN[1].id], kind="look", keeper="k1", happened_at="x", entered_at="x", says="", rows={}
    )
    added = [*CHAIN[:2], Entry(id_, 3, payload), *(e._replace(n=e.n + 1) for e in CHAIN[2:])]
    assert verify([*CHAIN, Entry(id_, 6, payload)], HEAD) != []
    replaced = [*CHAIN[:2], Entry(id_, 3, payload), *CHAIN[3:]]
    assert any("names a parent that is not there" in fault for fault in verify(replaced, HEAD))
    assert verify(added, HEAD) == [], "a side branch with its seal is part of the DAG"


def test_text_that_is_not_canonical_is_found() -> None:
    """The same document written with a space has another seal; with that seal it is still not canonical."""
    import hashlib

    spaced = json.dumps(json.loads(CHAIN[-1].payload), ensure_ascii=False, sort_keys=True)
    id_ = hashlib.sha256(spaced.encode()).hexdigest()
    assert verify([*CHAIN[:-1], Entry(id_, 5, spaced)], id_) == ["Journal entry 5 is not in canonical form."]


@pytest.mark.parametrize(
    "payload", ["", "[]", "{}", "null", "{", "1", '{"parents":null}', '{"parents":5}', '{"parents":[[]]}', '"x"']
)
def test_an_unreadable_entry_is_a_fault_and_no_crash(payload: str) -> None:
    """Whatever stands there instead of an entry is answered with a sentence."""
    assert any("entry 3 " in fault for fault in verify([*CHAIN[:2], CHAIN[2]._replace(payload=payload)], HEAD))


def test_a_later_change_rules_in_the_rebuilt_state() -> None:
    """Entries are applied in order; a change touches only the columns it names."""
    entries = [
        Entry("a", 1, json.dumps({"rows": {"task": [{"id": "t", "state": "planned", "title": "Look"}]}})),
        Entry("b", 2, json.dumps({"rows": {"task": [{"id": "t", "state": "done"}], "fact": [{"id": "f"}]}})),
    ]
    assert replay(entries) == {
        "task": {"t": {"id": "t", "state": "done", "title": "Look"}},
        "fact": {"f": {"id": "f"}},
    }


# --- In a record --------------------------------------------------------------------------------------


@pytest.fixture
def lived(url: str, tmp_path: Path) -> str:
    """A record with a history."""
    live(url, tmp_path / "calendar.ics")
    return url


def _faults(url: str, against: str | None = None) -> list[str]:
    with pytest.raises(Refused, match=r"The record is not whole|was not found in this record") as refused:
        check(url, against)
    found: list[str] = refused.value.facts["faults"]
    return found


def test_the_state_rebuilt_from_the_journal_is_the_state_stored(lived: str) -> None:
    """After a realistic history every table, row by row and column by column, is what the entries alone give."""
    rows = dump(lived)
    rebuilt = replay(Entry(e["id"], e["n"], e["payload"]) for e in sorted(rows["journal"], key=lambda e: e["n"]))
    assert len(rows["journal"]) == rows["head"][0]["n"] == 29
    for table in TABLES:
        outside = OUTSIDE.get(table, set())
        stored = {row["id"]: {k: v for k, v in row.items() if k not in outside} for row in rows[table]}
        expected = {
            id_: {k: journal.canonical(v) if isinstance(v, (dict, list)) else v for k, v in row.items()}
            for id_, row in rebuilt[table].items()
        }
        assert stored == expected, table
        assert stored, f"the history has no {table}"


def test_a_whole_record_is_found_whole(lived: str) -> None:
    """`check` counts the entries and gives the head, and knows every head there has been."""
    found = check(lived)
    assert (found["entries"], found["faults"]) == (29, [])
    for entry in dump(lived)["journal"]:
        assert check(lived, entry["id"])["head"] == found["head"]
        assert check(lived, entry["id"][:12].upper())["head"] == found["head"]


def test_a_keepers_name_can_be_erased(lived: str) -> None:
    """The name stands outside the journal: without it the record is still whole, and nowhere else is it kept."""
    keeper = dump(lived)["keeper"][0]
    raw(lived, f"update keeper set name = 'erased' where id = '{keeper['id']}'")
    assert check(lived)["faults"] == []
    assert keeper["name"] not in json.dumps(dump(lived), ensure_ascii=False)


CHANGES: list[tuple[str, str, str, str]] = [
    ("fact", "update", "update fact set data = replace(data, '3', '4') where kind = 'look'", "Table fact, row"),
    ("fact", "delete", "delete from fact where kind = 'reading'", "Table fact: 24 rows of the journal are missing"),
    ("volume", "update", "update volume set litres = '525' where litres = '52.50'", "litres differ from the journal"),
    ("signoff", "update", "update signoff set evidence = '{}'", "is not what was sealed"),
    ("signoff", "update", "update signoff set decision = 'release'", "decision differ from the journal"),
    (
        "journal",
        "update",
        "update journal set payload = replace(payload, 'Q1', 'Q2') where n = 4",
        "entry 4 was changed",
    ),
    ("journal", "delete", "delete from journal where n = 7", "Journal entry 7 is missing"),
    ("journal", "delete", "delete from journal where n = 29", "entries were cut off or added"),
    ("", "", "update task set state = 'planned' where state = 'done'", "Table task, row"),
    ("", "", "update batch set state = 'open'", "Table batch, row"),
    ("", "", "update tank set name = 'Q9' where name = 'Q1'", "Table tank, row"),
    ("", "", "insert into site select 'x', 'Loft', zone from site", "Table site: 1 rows are not in the journal"),
    ("", "", "update head set n = 1, entry = 'x'", "The head of the journal is not its last entry"),
]


@pytest.mark.parametrize(("table", "what", "statement", "sentence"), CHANGES)
def test_a_change_behind_the_programs_back_is_found(
    lived: str, table: str, what: str, statement: str, sentence: str
) -> None:
    """Rows changed, deleted or added by other hands, with the trigger out of the way: `check` says where."""
    before = dump(lived)
    away = [drop_trigger(lived, table, what)] if table else []
    raw(lived, *away, statement)
    assert dump(lived) != before
    faults = _faults(lived)
    assert any(sentence in fault for fault in faults), faults
    assert not away or any(f"The trigger {table}_no_{what} is missing" in fault for fault in faults)


def test_every_missing_trigger_is_named(lived: str) -> None:
    """A record whose triggers were taken away is not whole, although no row has changed yet."""
    for table in ("journal", "fact", "volume", "copy", "acknowledgement", "signoff"):
        raw(lived, drop_trigger(lived, table, "delete"))
    assert len(_faults(lived)) == 6


def test_a_cut_tail_is_found_only_from_outside(tmp_path: Path, sqlite_url: str) -> None:
    """An older copy put in the record's place is whole in itself; a head printed elsewhere tells."""
    furnish(sqlite_url)
    path = sqlite_path(sqlite_url)
    older = path.read_bytes()
    noting.reading(desk(sqlite_url, 1), "Q1", READINGS)
    seal = check(sqlite_url)["head"]
    assert check(sqlite_url, seal)["entries"] == 6
    path.write_bytes(older)
    assert check(sqlite_url)["entries"] == 5
    assert _faults(sqlite_url, seal) == [
        f"The seal {seal} was not found in this record: entries were cut off after it was written down, or it is of "
        "another record."
    ]


def test_a_changed_byte_in_the_file_is_found(tmp_path: Path, sqlite_url: str) -> None:
    """Every byte of a sentence in the record's file, changed on the disk one after the other, is found by `check`."""
    furnish(sqlite_url)
    path = sqlite_path(sqlite_url)
    whole = path.read_bytes()
    sentence = b"site Cellar in zone Europe/Berlin"
    assert whole.count(sentence) == 1
    start = whole.index(sentence)
    for place in range(start, start + len(sentence)):
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :])
        assert any("entry 1 was changed" in fault for fault in _faults(sqlite_url)), place
    path.write_bytes(whole)
    assert check(sqlite_url)["entries"] == 5
