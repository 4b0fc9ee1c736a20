"""`check`: the journal is whole, the state is what the journal says, the counts balance."""

from __future__ import annotations

import json
from typing import Any

from quarantine.actions.signing import seal_holds
from quarantine.actions.systems import load_system, plan_system
from quarantine.facts import utc
from quarantine.failures import Refused, Usage
from quarantine.records.codec import canonical
from quarantine.records.journal import GENESIS, OUTSIDE, Entry, replay, verify
from quarantine.records.migrations import trigger_body, triggers, triggers_sql
from quarantine.records.reads import Reader
from quarantine.records.tables import TABLES

SHORTEST_SEAL = 8
"""Digits of a seal that are asked for: a shorter one is in many records by chance. Our choice, no source."""


class _NotWhole(Refused):
    """A record with faults: one sentence, and where there are several faults each on its line."""

    def __init__(self, faults: list[str], head: str) -> None:
        one = faults[0] if len(faults) == 1 else f"{len(faults)} faults were found."
        super().__init__(f"The record is not whole: {one}", faults=faults, head=head)
        self.lines = tuple(f"  {fault}" for fault in faults) if len(faults) > 1 else ()


def check(reader: Reader, now: Any, against: str | None = None) -> dict[str, Any]:
    """All faults found, as sentences, the head of the journal, and under ``after_signoff`` what was changed of the
    time that a sign-off had judged: that is no fault, and the sign-off stays. Raises Refused when there are faults.

    ``against``: a seal seen elsewhere, of a journal entry or of a sign-off, or at least its first 8 digits; Refused
    when it is not found in this record, Usage when it is no seal.
    """
    seal = _seal(against) if against is not None else None
    reader.read_damaged()
    entries = [Entry(row["id"], row["n"], row["payload"]) for row in reader.rows("journal")]
    found = reader.rows("head")
    head = found[0]["entry"] if found else GENESIS
    faults = _file(reader) + verify(entries, head)
    if found and found[0]["n"] != len(entries):
        faults.append(f"The head of the journal says {found[0]['n']} entries, {len(entries)} are there.")
    if reader.rows("meta", id="schema"):
        faults += _triggers(reader)
    faults += _state(reader, entries)
    try:
        faults += _seals(reader)
        faults += _counts(reader, now)
    except (ValueError, KeyError, TypeError):
        faults.append("A stored document cannot be read, so seals and counts could not be checked.")
    named = _named(reader, entries, seal) if seal else ""
    missing = (
        f"The seal {seal} was not found in this record: entries were cut off after it was written down, or it is of "
        "another record."
    )
    if faults:
        faults += [missing] if seal and not named else []
        raise _NotWhole(faults, head)
    if seal and not named:
        raise Refused(f"{missing} What is here is whole in itself.", faults=[missing], head=head)
    whole = {"entries": len(entries), "head": head, "faults": [], "after_signoff": _after_signoff(reader)}
    return whole | ({"against": named} if seal else {})


def _seal(text: str) -> str:
    """The digits of a typed seal. Raises Usage when they are too few or none."""
    digits = text.strip().lower()
    if not SHORTEST_SEAL <= len(digits) <= len(GENESIS) or set(digits) - set("0123456789abcdef"):
        raise Usage(
            f"--against {text!r} is no seal: write its {len(GENESIS)} digits (0 to 9, a to f), or at least the first "
            f"{SHORTEST_SEAL}."
        )
    return digits


def _named(reader: Reader, entries: list[Entry], seal: str) -> str:
    """What a seal is in this record, in words; empty when it is not there."""
    for entry in entries:
        if entry.id.startswith(seal):
            return f"journal entry {entry.n} of {len(entries)}"
    for row in reader.select("select signoff.seal, batch.name from signoff join batch on batch.id = signoff.batch"):
        if str(row["seal"]).startswith(seal):
            return f"the sign-off of batch {row['name']}"
    return ""


def _file(reader: Reader) -> list[str]:
    """SQLite's own check of every page and index; PostgreSQL checks its pages itself."""
    if reader.dialect != "sqlite":
        return []
    said = [str(next(iter(row.values()))) for row in reader.select("pragma integrity_check")]
    return [f"The database file is damaged: {said[0]}."] if said and said[0] != "ok" else []


def _triggers(reader: Reader) -> list[str]:
    """Every append-only trigger is there and does what it did when it was made."""
    there = {row["name"]: row["body"] for row in reader.select(triggers_sql(reader.dialect))}
    faults = []
    for name, statement in triggers(reader.dialect):
        if name not in there:
            faults.append(f"The trigger {name} is missing: rows could be changed unseen.")
        elif there[name] != trigger_body(reader.dialect, statement):
            faults.append(f"The trigger {name} is not the one that was made: rows could be changed unseen.")
    return faults


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
        f"The sign-off of batch {row['name']} ({row['at']}) is not what was sealed."
        for row in reader.select(
            "select signoff.*, batch.name from signoff join batch on batch.id = signoff.batch order by signoff.at"
        )
        if not seal_holds(row)
    ]


def _after_signoff(reader: Reader) -> list[str]:
    """What was entered, corrected or taken back after a batch was closed, of the time before: the seal covers what was
    known then."""
    found = reader.select(
        """select batch.name, signoff.decision, fact.kind, fact.data, coalesce(was.happened_at, fact.happened_at) as at
        from signoff join batch on batch.id = signoff.batch join fact on fact.system = batch.system
        and (fact.batch = batch.id or fact.batch is null) and fact.entered_at > signoff.at
        left join fact as was on was.id = fact.voids
        where signoff.decision <> 'extend' and fact.kind <> 'lapse'
        and coalesce(was.happened_at, fact.happened_at) between batch.arrived_at and signoff.at
        order by signoff.at, fact.entered_at, fact.id"""
    )
    return [
        f"Batch {row['name']} was closed ({row['decision']}); after that was {_done_to(row)}. The sign-off stays as it "
        "was sealed."
        for row in found
    ]


def _done_to(row: dict[str, Any]) -> str:
    data, at = json.loads(row["data"]), f"{row['at'][:16].replace('T', ' ')} UTC"
    if row["kind"] == "void":
        return f"taken back: {data['of']} of {at} ({data['because']})"
    if "corrected" in data:
        return f"corrected: {row['kind']} of {at} ({data['corrected']})"
    return f"entered: {row['kind']} of {at}"


def _counts(reader: Reader, now: Any) -> list[str]:
    faults = []
    for system in {b["system"] for b in reader.rows("open_batches")}:
        state = load_system(reader, system, utc(now))
        names = {b["id"]: b["name"] for b in state.batches}
        for batch, standing in plan_system(state, utc(now)).standings.items():
            if not standing.evidence.balanced:
                faults.append(f"Batch {names[batch]}: more fish left than ever arrived.")
    return faults
