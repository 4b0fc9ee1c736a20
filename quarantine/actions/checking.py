"""`check`: the journal is whole, the state is what the journal says, the counts balance."""

from __future__ import annotations

from typing import Any

from quarantine.actions.planning import load_system, plan_system
from quarantine.actions.signing import seal_holds
from quarantine.facts import utc
from quarantine.failures import Refused
from quarantine.records.codec import canonical
from quarantine.records.journal import GENESIS, OUTSIDE, Entry, replay, verify
from quarantine.records.migrations import trigger_names_sql, triggers
from quarantine.records.reads import Reader
from quarantine.records.tables import TABLES


def check(reader: Reader, now: Any, against: str | None = None) -> dict[str, Any]:
    """All faults found, as sentences, and the head of the journal. Raises Refused when there are faults."""
    entries = [Entry(row["id"], row["n"], row["payload"]) for row in reader.rows("journal")]
    found = reader.rows("head")
    head = found[0]["entry"] if found else GENESIS
    faults = _file(reader) + verify(entries, head)
    if reader.rows("meta", id="schema"):
        faults += _triggers(reader)
    faults += _state(reader, entries)
    try:
        faults += _seals(reader)
        faults += _counts(reader, now)
    except (ValueError, KeyError, TypeError):
        faults.append("A stored document cannot be read, so seals and counts could not be checked.")
    if against and not any(entry.id.startswith(against.lower()) for entry in entries):
        faults.append(f"No journal entry has the seal {against}: entries were cut off, or it is of another record.")
    if faults:
        raise Refused(f"The record is not whole: {' '.join(faults)}", faults=faults, head=head)
    return {"entries": len(entries), "head": head, "faults": []}


def _file(reader: Reader) -> list[str]:
    """SQLite's own check of every page and index; PostgreSQL checks its pages itself."""
    if reader.dialect != "sqlite":
        return []
    said = [str(next(iter(row.values()))) for row in reader.select("pragma integrity_check")]
    return [f"The database file is damaged: {said[0]}."] if said and said[0] != "ok" else []


def _triggers(reader: Reader) -> list[str]:
    there = {row["name"] for row in reader.select(trigger_names_sql(reader.dialect))}
    return [
        f"The trigger {name} is missing: rows could be changed unseen."
        for name, _ in triggers(reader.dialect)
        if name not in there
    ]


def _state(reader: Reader, entries: list[Entry]) -> list[str]:
    """State rebuilt from the journal equals the state stored, table by table, row by row."""
    try:
        rebuilt = replay(entries)
    except (ValueError, KeyError, TypeError):
        return ["The state cannot be rebuilt from the journal."]
    faults = []
    for table in TABLES:
        outside = OUTSIDE.get(table, set())
        stored = {row["id"]: row for row in reader.select(f"select * from {table}")}
        expected = rebuilt.get(table, {})
        if missing := expected.keys() - stored.keys():
            faults.append(f"Table {table}: {len(missing)} rows of the journal are missing.")
        if extra := stored.keys() - expected.keys():
            faults.append(f"Table {table}: {len(extra)} rows are not in the journal.")
        for id_ in expected.keys() & stored.keys():
            columns = [
                c for c in stored[id_] if c not in outside and stored[id_][c] != _as_stored(expected[id_].get(c))
            ]
            if columns:
                faults.append(f"Table {table}, row {id_}: {', '.join(columns)} differ from the journal.")
    return faults


def _as_stored(value: Any) -> Any:
    return canonical(value) if isinstance(value, (dict, list)) else value


def _seals(reader: Reader) -> list[str]:
    return [
        f"The sign-off of batch {row['batch']} is not what was sealed."
        for row in reader.select("select batch, evidence, seal from signoff")
        if not seal_holds(row)
    ]


def _counts(reader: Reader, now: Any) -> list[str]:
    faults = []
    for system in {b["system"] for b in reader.rows("open_batches")}:
        state = load_system(reader, system, utc(now))
        names = {b["id"]: b["name"] for b in state.batches}
        for batch, standing in plan_system(state, utc(now)).standings.items():
            if not standing.evidence.balanced:
                faults.append(f"Batch {names[batch]}: more fish left than ever arrived.")
    return faults
