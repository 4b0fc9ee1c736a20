"""What fish that were moved took along, when more becomes known of the time before: the fact of their move is corrected
(:mod:`quarantine.luggage`), so that the plan follows from what happened and not from the order in which it was told."""

from __future__ import annotations

import json
from datetime import datetime
from typing import Any

from quarantine.actions import brought
from quarantine.actions.entering import add_fact
from quarantine.actions.rostering import Attendance
from quarantine.actions.systems import SystemState, course_of
from quarantine.actions.whereabouts import stays_of
from quarantine.facts import Fact, in_order
from quarantine.plan import packed
from quarantine.records.codec import canonical, instant, plain, text_of_instant
from quarantine.records.loading import fact_of, system_water
from quarantine.records.reads import Row, Rows
from quarantine.records.store import Act


def onward_of(rows: Rows, systems: set[str]) -> set[str]:
    """The waters in which open batches are now that were in one of these before."""
    moved = rows.rows("moves_of_open")
    left = {move["batch"] for move in moved if json.loads(move["data"])["from_system"] in systems}
    return {batch["system"] for batch in rows.rows("open_batches") if batch["id"] in left}


def repack(act: Act, system: str) -> set[str]:
    """What this act wrote of a water at a time before fish were moved out of it goes with them (:func:`packed`): the
    fact of their move is corrected where it would carry something else. The waters that are to be planned again for it.
    """
    onward: set[str] = set()
    moves = act.rows("moves_of_open")
    to_do, now = [system], text_of_instant(act.now)
    while to_do:
        touched = _touched(act, left := to_do.pop()) or now
        if touched < now:
            onward |= _let_out(act, left, touched)
        for move in moves:
            if json.loads(move["data"])["from_system"] != left or touched >= move["happened_at"]:
                continue
            onward.add(move["system"])
            onward |= {b["system"] for b in act.rows("open_batches") if b["id"] == move["batch"]}
            # A later move of the batch carries what this one does: it is packed again after it, as it stands then.
            stands = next(row for row in act.rows("moves_of_open") if fact_of(row).id == fact_of(move).id)
            if _repacked(act, stands):
                to_do.append(move["system"])
    return onward


def _touched(act: Act, system: str) -> str:
    """The earliest instant of which this act wrote something, or took it back, in a water; empty: of none."""
    times = []
    for row in act.written("fact"):
        taken = act.rows("fact", id=row["voids"]) if row["voids"] else []
        times += [one["happened_at"] for one in [row, *taken] if one["system"] == system]
    return min(times, default="")


def _repacked(act: Act, row: Row) -> bool:
    """Whether the fact of a move carries something else by now, or its water does; then that is corrected."""
    move, data = fact_of(row), json.loads(row["data"])
    state = _state_before(act, move)
    parts = data.get("parts", len(state.batches) > 1)
    bag = packed(list(state.courses), list(state.facts), str(move.batch), move.at, state.water, parts=parts)
    watered = _water_again(act, move, row)
    now = json.loads(canonical(plain(bag)))
    if now == {name: data.get(name) for name in now}:
        return watered
    first = data.get("first", {"id": row["id"], "entered_at": row["entered_at"]})
    _anew(act, row, {**data, **bag, "first": first})
    return True


def _anew(act: Act, row: Row, data: dict[str, Any]) -> None:
    """A fact written anew, in the place of the one that it voids."""
    at = instant(row["happened_at"])
    add_fact(
        act, row["kind"], system=row["system"], tank=row["tank"], batch=row["batch"], at=at, data=data, voids=row["id"]
    )


def _water_again(act: Act, move: Fact, row: Row) -> bool:
    """Whether what came along with the old water is something else than was known then (rules B3 and C12)."""
    how, old, moment = move.data.get("water"), move.data["from_system"], move.at
    at = text_of_instant(moment)
    written = [f for f in act.rows("facts_since", system=row["system"], since=at) if f["happened_at"] == at]
    if how == brought.ALL and (data := brought.all_of_it(act, old, row["system"], moment)) is not None:
        for change in written:
            if change["kind"] != "change" or fact_of(change).entered_at != move.entered_at:
                continue
            was = json.loads(change["data"])
            if was.get("brings", {}) == json.loads(canonical(plain(data.get("brings", {})))):
                return False
            first = was.get("first", {"id": change["id"], "entered_at": change["entered_at"]})
            _anew(act, change, {**data, "first": first})
            return True
    return how not in (None, brought.NONE) and _some_came(
        act, old, move.data["from"], row["system"], row["tank"], moment
    )


def _let_out(act: Act, left: str, touched: str) -> set[str]:
    """The waters outside quarantine that fish went to, perhaps with water that held something, as is known now."""
    tanks = {tank["id"]: tank for tank in act.rows("tanks")}
    found = set()
    for row in act.rows("facts_of_kind", kind="moved", system=left):
        data = json.loads(row["data"])
        there = tanks.get(data.get("to_tank"))
        if row["happened_at"] <= touched or data.get("water") != brought.SOME or there is None:
            continue
        name, moment = tanks[row["tank"]]["name"], instant(row["happened_at"])
        if there["system"] != left and _some_came(act, left, name, there["system"], there["id"], moment):
            found.add(there["system"])
    return found


def _some_came(act: Act, left: str, name: str, system: str, tank: str, moment: datetime) -> bool:
    """Whether a water that may have come along held something that the one it came to does not know of yet: then its
    level there is unknown from that moment on."""
    at = text_of_instant(moment)
    written = act.rows("facts_of_kind", kind="unknown_addition", system=system)
    there = {json.loads(f["data"]).get("substance", "") for f in written if f["happened_at"] == at}
    new = [held for held in brought.may_hold(act, left, moment) if held not in there and "" not in there]
    for held in new:
        data = {"what": f"water that may have come with fish from {name}", **({"substance": held} if held else {})}
        add_fact(act, "unknown_addition", system=system, tank=tank, at=moment, data=data)
    return bool(new)


def _state_before(rows: Rows, move: Fact) -> SystemState:
    """The water that fish left by a move, as it is known now to have been just before."""
    left, at = move.data["from_system"], text_of_instant(move.at)
    stays = stays_of(rows)
    batches = [
        b
        for b in rows.rows("batches")
        if any(one.system == left and one.since <= at <= one.until for one in stays.get(b["id"], ()))
    ]
    found = rows.rows("facts_since", system=left, since=min(b["arrived_at"] for b in batches))
    for batch in batches:
        if batch["system"] != left:
            found = found + rows.rows("facts_elsewhere", besides=left, batch=batch["id"])
    facts = in_order([fact for fact in map(fact_of, found) if _known_at(fact, move)])
    batches = [b for b in batches if any(f.kind == "arrival" and f.batch == b["id"] for f in facts)]
    there = Attendance(rows, min(b["arrived_at"] for b in batches)[:10], move.entered_at)
    courses = [course_of(rows, b, left, move.data["from_tank"], facts, there) for b in batches]
    return SystemState(
        left, batches[0]["zone"], tuple(courses), tuple(facts), system_water(rows, left, move.at)[0], tuple(batches)
    )


def _known_at(fact: Fact, move: Fact) -> bool:
    """Whether a fact is of the time before a move. Of what was written with the move itself only the outcome of the
    step that it was: the rest is of those who stay, or of the water they came to."""
    if fact.at != move.at or fact.entered_at > move.entered_at:
        return fact.at < move.at
    return fact.entered_at < move.entered_at or fact.kind == "done"
