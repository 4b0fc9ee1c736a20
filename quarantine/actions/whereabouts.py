"""Where batches were when, as far as the record says. Reads only."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime
from typing import NamedTuple

from quarantine.luggage import COPIED, MOVED_IN
from quarantine.records.codec import instant, text_of_instant
from quarantine.records.loading import fact_of
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


def present(rows: Rows, place: str, moment: datetime) -> list[Row]:
    """The open batches whose fish were in a tank or a water (its id) at an instant, in order of arrival. Fish that were
    moved at that very instant are where they came to."""
    at = text_of_instant(moment)
    later: dict[str, Row] = {}
    for move in rows.rows("moves_of_open"):
        if move["happened_at"] > at:
            later.setdefault(move["batch"], json.loads(move["data"]))
    found = []
    for batch in rows.rows("open_batches"):
        left = later.get(batch["id"])
        here = (left["from_tank"], left["from_system"]) if left else (batch["tank"], batch["system"])
        if place in here and batch["arrived_at"] <= at:
            found.append(batch)
    return found


def came_into(rows: Rows, batch: Row) -> datetime:
    """When the fish of an open batch came into the tank that they are in."""
    moves = [move for move in rows.rows("moves_of_open") if move["batch"] == batch["id"]]
    return instant(moves[-1]["happened_at"] if moves else batch["arrived_at"])


LAST_OF_WATER = 10
"""How many of the last events of its water are shown with a batch; our choice."""
OF_WATER = ("dose", "change", "incident")


class WaterEvent(NamedTuple):
    """What happened in a water: the instant as the record has it, the tank (None: all of the water), in words, and the
    batch whose task it was, where it was one's."""

    at: str
    tank: str | None
    says: str
    batch: str | None


def water_events(rows: Rows, batch: Row) -> list[WaterEvent]:
    """The last doses, changes and incidents of the waters that a batch was in, while it was there, oldest first: also
    those that came with another batch, which were in its water too (rule B2)."""
    if not came(batch):
        return []
    from quarantine.explaining import fact_words

    stays = stays_of(rows)[batch["id"]]
    found = [
        fact_of(row)
        for system in {stay.system for stay in stays}
        for kind in OF_WATER
        for row in rows.rows("facts_of_kind", kind=kind, system=system)
    ]
    there = [f for f in found if COPIED not in f.data and any(_during(stay, f.system, f.at) for stay in stays)]
    last = sorted(there, key=lambda f: (f.at, f.entered_at, f.id))[-LAST_OF_WATER:]
    if not last:
        return []
    tanks = {row["id"]: row["name"] for row in rows.rows("tanks")}
    names = {row["id"]: row["name"] for row in rows.rows("batches")}
    return [
        WaterEvent(
            text_of_instant(f.at), tanks.get(f.tank or ""), fact_words(f), None if f.batch is None else names[f.batch]
        )
        for f in last
    ]


def _during(stay: Stay, system: str, at: datetime) -> bool:
    return stay.system == system and instant(stay.since) <= at and (stay.until == EVER or at <= instant(stay.until))
