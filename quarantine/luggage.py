"""What a batch brought along when it was moved to another water, as the fact of its move keeps it. Pure.

A fact ``moved_in`` stands in the water that the fish came to. Whatever the plan and the evidence still need of the
water they left is frozen in it: facts of that water are not read again for these fish. The last move of a batch carries
what the earlier ones carried.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, NamedTuple

from quarantine.facts import BEFORE, Fact

MOVED_IN = "moved_in"
MERGED = "merged"
COPIED = "copied_from"
"""In the data of a fact that a batch has from the one it was parted from: the id of the original."""


class Carried(NamedTuple):
    """Time in range that was proven in the water before: of a period that began at ``zero`` (a day, ISO), from
    ``since`` on; ``complete`` is when it was whole, where it was."""

    zero: str
    since: datetime
    counted: timedelta
    complete: datetime | None


class Begun(NamedTuple):
    """The reading of the water before by which a step began: the id its keys carry, when, and the value."""

    id: str
    at: datetime
    value: str


class Luggage(NamedTuple):
    """What the last move of a batch carries. ``happenings`` are (at, event, why, until) of the water before;
    ``settled`` the tests that readings there settled, by key; ``stops`` (step -> when and why) series that ended there.
    """

    fact: Fact
    entered_id: str
    entered_at: datetime
    joined: tuple[str, ...]
    happenings: tuple[tuple[datetime, str, str, datetime | None], ...]
    lifted_at: datetime | None
    in_range: dict[str, Carried]
    begun: dict[str, Begun]
    stops: dict[str, tuple[datetime, str]]
    settled: dict[str, tuple[str, datetime]]


class Place(NamedTuple):
    """The water a batch is in, its tank, and since when."""

    system: str
    tank: str | None
    since: datetime


def last_move(facts: Iterable[Fact], batch: str) -> Fact | None:
    """The fact of the last move of a batch; None for one that is where it arrived. ``facts`` are in order of time."""
    found = [fact for fact in facts if fact.kind == MOVED_IN and fact.batch == batch]
    return found[-1] if found else None


def luggage_of(facts: Iterable[Fact], batch: str) -> Luggage | None:
    """What a batch brought along from the water it left last; None for one that was never moved."""
    fact = last_move(facts, batch)
    if fact is None:
        return None
    data = fact.data
    return Luggage(
        fact=fact,
        entered_id=data["entered_id"],
        entered_at=_at(data["entered_at"]),
        joined=tuple(data["joined"]),
        happenings=tuple((_at(at), event, why, _maybe(until)) for at, event, why, until in data["happenings"]),
        lifted_at=_maybe(data["lifted_at"]),
        in_range={
            period: Carried(
                said["zero"],
                _at(said["since"]),
                timedelta(seconds=int(said["seconds"])),
                _maybe(said["complete"]),
            )
            for period, said in data["in_range"].items()
        },
        begun={step: Begun(said["id"], _at(said["at"]), said["value"]) for step, said in data["begun"].items()},
        stops={step: (_at(said["at"]), said["why"]) for step, said in data["stops"].items()},
        settled={key: (id_, _at(at)) for key, (id_, at) in data["settled"].items()},
    )


def place_of(facts: Iterable[Fact], batch: str, arrival: Fact) -> Place:
    """Where a batch is: the water it was moved to last, else the one it arrived in."""
    fact = last_move(facts, batch)
    if fact is None:
        return Place(arrival.system, arrival.tank, arrival.at)
    return Place(fact.system, fact.tank, fact.at)


def entries_of(facts: list[Fact], batch: str, place: Place) -> list[Fact]:
    """The facts by which fish came into the water that a batch is in, since it is there, its own among them.

    A batch that was moved into water without other fish is none: it went on with its own. Nor are the copies that a
    batch has of another's facts, nor fish that are there to show what the others carry.
    """
    mine = {fact.data[COPIED] for fact in facts if fact.batch == batch and COPIED in fact.data}
    return [
        fact
        for fact in facts
        if fact.system == place.system
        and fact.at >= place.since
        and is_entry(fact)
        and (fact.batch == batch or (COPIED not in fact.data and fact.id not in mine))
    ]


def is_entry(fact: Fact) -> bool:
    """Whether by a fact fish came into a water to others."""
    if fact.kind == MOVED_IN:
        return bool(fact.data["joined"])
    return fact.kind in ("arrival", "added") and not fact.data.get("sentinel")


def doses_before(facts: list[Fact]) -> list[Fact]:
    """The doses that fish now in this water had before they were moved here, their own and those of others that they
    were in: gaps and the ceiling of a course count over the whole stay (rule B8)."""
    # A batch that was parted from another one has a copy of what is still on record in this water.
    here = {fact.id for fact in facts if fact.kind == "dose"}
    found = [fact for fact in facts if fact.kind == BEFORE and fact.data.get(COPIED) not in here]
    for fact in _told(facts):
        found += [
            fact._replace(id=said["id"], kind=BEFORE, at=_at(said["at"]), entered_at=_at(said["at"]), data=said["data"])
            for said in fact.data.get("doses", ())
            if said["id"] not in here
        ]
    return list({fact.id: fact for fact in reversed(found)}.values())[::-1]


def _told(facts: Iterable[Fact]) -> list[Fact]:
    """The facts that say what fish had elsewhere: of each batch its last move, and every batch counted with it."""
    said = [fact for fact in facts if fact.kind in (MOVED_IN, MERGED) and fact.batch]
    moves = {fact.batch: fact for fact in said if fact.kind == MOVED_IN}
    return [*moves.values(), *(fact for fact in said if fact.kind == MERGED)]


def dose_kept(fact: Fact) -> dict[str, Any]:
    """Of a dose what gaps, pairs and the ceiling of a course ask, as a fact keeps it for fish that leave its water;
    and what was said where it was too much."""
    asked = ("substance", "regimen", "route", "gives_high_mg_per_l", "target_mg_per_l", "counts", "eaten", "rescue")
    return {"id": fact.id, "at": fact.at, "data": {name: fact.data[name] for name in asked if name in fact.data}}


class Left(NamedTuple):
    """A substance that fish were in before they were moved, from when to when; its last target in the ledger's unit."""

    batch: str
    substance: str
    since: datetime
    last_dose: datetime
    until: datetime
    target: Decimal


def left_behind(facts: Iterable[Fact]) -> list[Left]:
    """What the batches that were moved into a water were in before (rule A9: with the fish out contact ended), and what
    those were in that are counted with one of its batches."""
    return [
        Left(
            fact.batch or "",
            said["substance"],
            _at(said["since"]),
            _at(said["last_dose"]),
            _at(said["until"]),
            Decimal(said["target"]),
        )
        for fact in _told(facts)
        for said in fact.data.get("exposures", ())
    ]


def _at(text: Any) -> datetime:
    return text if isinstance(text, datetime) else datetime.fromisoformat(text)


def _maybe(text: Any) -> datetime | None:
    return None if text is None else _at(text)
