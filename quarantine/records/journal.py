"""The journal: a hash DAG from the first row.

An entry is canonical JSON with its parents' ids, a payload version and the complete rows it wrote; its id is
the SHA-256 of that text. State can be rebuilt from the entries alone (:func:`replay`), and a single changed
byte is found (:func:`verify`). A cut tail can only be found from outside: `check` prints the head and every
sign-off seals it, and `check --against SEAL` asks whether a seal seen elsewhere is still in the record.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from typing import Any, NamedTuple

from quarantine.records.codec import canonical

VERSION = 1
GENESIS = "0" * 64
OUTSIDE = {"keeper": {"name"}}
"""Columns that the journal does not hold, by table: a keeper's name can be erased without breaking the chain."""


class Entry(NamedTuple):
    """One journal entry as stored."""

    id: str
    n: int
    payload: str


def make(
    *,
    parents: list[str],
    kind: str,
    keeper: str | None,
    happened_at: str,
    entered_at: str,
    says: str,
    rows: dict[str, list[dict[str, Any]]],
) -> tuple[str, str]:
    """An entry's id and its canonical text. ``rows`` maps a table to the rows written, each with its id."""
    payload = canonical(
        {
            "version": VERSION,
            "parents": parents,
            "kind": kind,
            "keeper": keeper,
            "happened_at": happened_at,
            "entered_at": entered_at,
            "says": says,
            "rows": rows,
        }
    )
    return hashlib.sha256(payload.encode()).hexdigest(), payload


def verify(entries: Iterable[Entry], head: str) -> list[str]:
    """Every fault of the chain, each as a sentence with the entry's number; empty when it is whole."""
    faults: list[str] = []
    seen = {GENESIS}
    last = GENESIS
    expected = 1
    for entry in entries:
        if not (isinstance(entry.n, int) and isinstance(entry.payload, str) and isinstance(entry.id, str)):
            faults.append(f"Journal entry {expected} cannot be read.")  # the file was changed, not by this program
            expected += 1
            continue
        if entry.n != expected:
            faults.append(f"Journal entry {expected} is missing (next found: {entry.n}).")
        expected = entry.n + 1
        if hashlib.sha256(entry.payload.encode()).hexdigest() != entry.id:
            faults.append(f"Journal entry {entry.n} was changed after it was written: its seal does not fit.")
        try:
            document = json.loads(entry.payload)
            parents = [str(parent) for parent in document["parents"]]
            if canonical(document) != entry.payload:
                faults.append(f"Journal entry {entry.n} is not in canonical form.")
        except (ValueError, KeyError, TypeError):
            faults.append(f"Journal entry {entry.n} cannot be read.")
            parents = []
        faults += [f"Journal entry {entry.n} names a parent that is not there." for p in parents if p not in seen]
        seen.add(entry.id)
        last = entry.id
    if last != head:
        faults.append("The head of the journal is not its last entry: entries were cut off or added.")
    return faults


class Told(NamedTuple):
    """What an entry says of itself; the words are None where it cannot be read."""

    entry: Entry
    keeper: str | None
    kind: str | None
    says: str | None
    happened_at: str | None
    entered_at: str | None
    parents: list[str]
    fits: bool
    """whether the seal is that of the text"""


def tell(entry: Entry) -> Told:
    """Read one entry, whatever state the rest of the record is in."""
    fits = isinstance(entry.payload, str) and hashlib.sha256(entry.payload.encode()).hexdigest() == entry.id
    try:
        said = json.loads(entry.payload)
        return Told(
            entry=entry,
            keeper=None if said["keeper"] is None else str(said["keeper"]),
            kind=str(said["kind"]),
            says=str(said["says"]),
            happened_at=str(said["happened_at"]),
            entered_at=str(said["entered_at"]),
            parents=[str(parent) for parent in said["parents"]],
            fits=fits,
        )
    except (ValueError, KeyError, TypeError):
        return Told(entry, None, None, None, None, None, [], fits)


def replay(entries: Iterable[Entry]) -> dict[str, dict[str, dict[str, Any]]]:
    """The state that the entries alone give: table -> id -> row, values as plain JSON values."""
    state: dict[str, dict[str, dict[str, Any]]] = {}
    for entry in entries:
        for table, rows in json.loads(entry.payload)["rows"].items():
            held = state.setdefault(table, {})
            for row in rows:
                held.setdefault(row["id"], {}).update(row)
    return state
