"""Where batches were when, as far as the record says. Reads only."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import NamedTuple

from quarantine.luggage import MOVED_IN
from quarantine.records.reads import Row, Rows

NOT_COME = ("expected", "called off")
"""States of a batch without fish."""
EVER = "9999"
"""Later than every instant on record, as text."""


class Stay(NamedTuple):
    """A water in which fish of a batch were: its system, the tank, and the instants as the record has them. ``until``
    is EVER where they are there still, or nobody said that they left. ``part``: some of the fish only; ``released``:
    after the release."""

    system: str
    tank: str
    since: str
    until: str
    part: bool = False
    released: bool = False


def stays_of(rows: Rows) -> dict[str, tuple[Stay, ...]]:
    """Of each batch, by its id, the waters that it was in under quarantine, in order of time (rule B3)."""
    moves: dict[str, list[Row]] = {}
    for row in rows.rows("facts_of_kind", kind=MOVED_IN, system=None):
        moves.setdefault(row["batch"], []).append(row)
    return {b["id"]: tuple(_stays(b, moves.get(b["id"], []))) for b in rows.rows("batches") if came(b)}


def came(batch: Row) -> bool:
    """Whether fish of it ever arrived."""
    return batch["state"] not in NOT_COME


def _stays(batch: Row, moves: list[Row]) -> Iterator[Stay]:
    places = [(batch["system"], batch["tank"], batch["arrived_at"])]
    if moves:
        first = json.loads(moves[0]["data"])
        places = [(first["from_system"], first["from_tank"], batch["arrived_at"])]
        places += [(move["system"], move["tank"], move["happened_at"]) for move in moves]
    ends = [since for _, _, since in places[1:]] + [batch["closed_at"] or EVER]
    for (system, tank, since), until in zip(places, ends, strict=True):
        yield Stay(system, tank, since, until)
