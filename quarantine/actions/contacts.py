"""What a batch shared with others: water, fish, nets, a source, lots of medicine. Reads only.

For the look back after an outbreak: whatever is on record, however long ago, and no judgement of what it means.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import NamedTuple

from quarantine.actions.desk import find_batch, local_text
from quarantine.actions.registering import Given, given_out_of
from quarantine.actions.whereabouts import EVER, Stay, came, stays_of
from quarantine.luggage import COPIED
from quarantine.records.codec import instant
from quarantine.records.reads import Row, Rows


class Way(NamedTuple):
    """One way in which a batch was in contact with another, in words; ``at`` is its beginning, for the order."""

    way: str
    at: str
    says: str


class Contact(NamedTuple):
    """Another batch, and every way in which the one that was asked about had to do with it."""

    batch: Row
    ways: tuple[Way, ...]


def contacts(rows: Rows, name: str) -> tuple[Row, list[Contact]]:
    """A batch, and all others that it shared something with, by name. Raises Unknown for a name that is none."""
    mine = find_batch(rows, name)
    others = [b for b in rows.rows("batches") if came(b) and b["id"] != mine["id"]]
    tanks = {row["id"]: row for row in rows.rows("tanks")}
    stays = _with_later(rows, stays_of(rows), tanks)
    nets, moves = (rows.rows("facts_of_kind", kind=kind, system=None) for kind in ("shared", "moved"))
    used = given_out_of(rows)
    if not came(mine):
        return mine, []
    found = []
    for other in sorted(others, key=lambda b: str(b["name"]).casefold()):
        ways = [
            *_waters(stays[mine["id"]], stays[other["id"]], tanks, mine["zone"]),
            *_fish(mine, other, moves),
            *_nets(stays[mine["id"]], stays[other["id"]], nets, tanks, mine["zone"]),
            *_source(mine, other),
            *_same_lots(used.get(mine["name"], {}), used.get(other["name"], {}), mine["zone"]),
        ]
        if ways:
            found.append(Contact(other, tuple(ways)))
    return mine, found


def _with_later(rows: Rows, stays: dict[str, tuple[Stay, ...]], tanks: dict[str, Row]) -> dict[str, list[Stay]]:
    """Also the waters that single fish were moved to, and those that batches went on to when they were released."""
    found = {batch: list(there) for batch, there in stays.items()}
    for row in rows.rows("facts_of_kind", kind="moved", system=None):
        data = json.loads(row["data"])
        tank = tanks.get(data.get("to_tank") or "")
        # Fish that became another batch are that one's; a copy tells of fish that left before it was parted.
        if tank is not None and row["batch"] in found and "to_batch" not in data and COPIED not in data:
            found[row["batch"]].append(Stay(tank["system"], tank["id"], row["happened_at"], EVER, part=True))
    for batch in rows.rows("batches"):
        tank = tanks.get(batch["destination"] or "")
        if batch["state"] == "released" and tank is not None:
            found[batch["id"]].append(Stay(tank["system"], tank["id"], batch["closed_at"], EVER, released=True))
    return found


def _waters(mine: Iterable[Stay], theirs: Iterable[Stay], tanks: dict[str, Row], zone: str) -> Iterator[Way]:
    """The times at which fish of both were in one water."""
    theirs = tuple(theirs)
    for one in mine:
        for other in theirs:
            since, until = max(one.since, other.since), min(one.until, other.until)
            if one.system == other.system and since < until:
                names = dict.fromkeys(str(tanks[stay.tank]["name"]) for stay in (one, other))
                part = ", some of the fish only" if one.part or other.part else ""
                after = " after a release" if one.released or other.released else ""
                end = "until now" if until == EVER else f"until {_local(until, zone)}"
                says = f"one water{after} ({', '.join(names)}{part}), from {_local(since, zone)} {end}"
                yield Way("water", since, says)


def _nets(mine: list[Stay], theirs: list[Stay], nets: list[Row], tanks: dict[str, Row], zone: str) -> Iterator[Way]:
    """What went from one water to the other without fish: each such fact stands in both waters."""
    for net in nets:
        data, at = json.loads(net["data"]), net["happened_at"]
        other = tanks.get(data["with_tank"])
        if other and net["system"] in _systems_at(mine, at) and other["system"] in _systems_at(theirs, at):
            yield Way("net", at, f"{data['what']} shared with {other['name']}, {_local(at, zone)}")


def _fish(mine: Row, other: Row, moves: list[Row]) -> Iterator[Way]:
    """Two batches that were one (rule B4: then each has lost the fish of the other), or became one (rule B3)."""
    told: dict[str, int] = {}
    for move in moves:
        data = json.loads(move["data"])
        for one, there in ((mine, other), (other, mine)):
            if move["batch"] == one["id"] and data.get("to_batch") == there["name"] and COPIED not in data:
                told[move["happened_at"]] = told.get(move["happened_at"], 0) + 1
    for at, facts in told.items():
        word = "until" if facts > 1 else "since"
        yield Way("fish", at, f"one batch {word} {_local(at, mine['zone'])}")


def _systems_at(stays: Iterable[Stay], at: str) -> set[str]:
    return {stay.system for stay in stays if stay.since <= at < stay.until}


def _source(mine: Row, other: Row) -> Iterator[Way]:
    if mine["source"].strip().casefold() == other["source"].strip().casefold():
        arrived = _local(other["arrived_at"], other["zone"])[:10]
        yield Way("source", other["arrived_at"], f"from {other['source']} as well, arrived {arrived}")


def _same_lots(mine: dict[str, Given], theirs: dict[str, Given], zone: str) -> Iterator[Way]:
    for lot in mine.keys() & theirs.keys():
        first = theirs[lot].first
        yield Way("lot", first, f"{theirs[lot].says} was given as well, first on {_local(first, zone)[:10]}")


def _local(text: str, zone: str) -> str:
    return local_text(instant(text), zone)


def as_of_words(now: datetime, zone: str) -> str:
    """What such a list cannot know."""
    return (
        f"As the record has it at {local_text(now, zone)}. Fish that came with no batch, and what nobody entered, are "
        "not in it."
    )
