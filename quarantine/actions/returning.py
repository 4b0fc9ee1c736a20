"""A move, a parting or a joining that was typed wrongly is taken back: :func:`quarantine.actions.correcting.undo` voids
its facts, and the rows of the batches and of their tasks are as they were, wherever nobody changed them since.

What the journal holds of the rows before that entry is what they go back to; the plan is made again upon it.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any, NamedTuple

from quarantine.actions.desk import local_text
from quarantine.actions.restoring import by_the_plan
from quarantine.emptied import stays_behind
from quarantine.facts import local_day
from quarantine.failures import Refused
from quarantine.luggage import COPIED, MERGED, MOVED_IN
from quarantine.records.codec import canonical, instant
from quarantine.records.reads import Row
from quarantine.records.store import Act

NOT_IN_THE_WAY = ("lapse", "claim")
"""What may be entered of fish after a move that is taken back: what the plan wrote, and who will do something."""
ENTRIES = ("arrival", "added", MOVED_IN)
"""How other fish come into the water that these had left."""
REPACKED = (MOVED_IN, "change")
"""What is written anew when more becomes known of a water that fish had left."""
ALONG = "unknown_addition"
TABLES = ("batch", "task")
NO_OUTCOME = {"outcome_at": None, "outcome_by": None, "outcome": None}


class Regrouped(NamedTuple):
    """What an entry that moved, parted or joined batches touched: ids of the batches, of the systems that fish left
    and came to, and when they moved, as the record has it ("" where none did)."""

    batches: frozenset[str]
    left: frozenset[str]
    came_to: frozenset[str]
    at: str


class Later(NamedTuple):
    """An entry made after another one: its seal, its sentence, who made it, and the ids of its facts."""

    seal: str
    says: str
    keeper: str | None
    facts: tuple[str, ...]


def standing(act: Act, id_: str) -> Row | None:
    """A fact that stands, or what the plan wrote in its place when more became known of a water that fish had left
    (:func:`quarantine.actions.repacking.repack`). None for one that was taken back or corrected, and for one that the
    plan wrote in the place of another entry's: it follows from the others."""
    if found := act.rows("fact_stands", id=id_):
        return None if by_the_plan(found[0]) else found[0]
    (fact,) = act.rows("fact", id=id_)
    same = act.rows("facts_of_kind", kind=fact["kind"], system=fact["system"]) if fact["kind"] in REPACKED else []
    now = (row for row in same if by_the_plan(row) and json.loads(row["data"])["first"]["id"] == id_)
    return None if by_the_plan(fact) else next(now, None)


def came_later(act: Act, facts: Iterable[Row]) -> list[Row]:
    """The old water that came along with moves of these facts, as far as it became known after them what it held."""
    own = {fact["id"] for fact in facts}
    found = {}
    for fact in facts:
        data = json.loads(fact["data"])
        if fact["kind"] != MOVED_IN or COPIED in data:
            continue
        for row in act.rows("facts_of_kind", kind=ALONG, system=fact["system"]):
            along = json.loads(row["data"])["what"].endswith(f"with fish from {data['from']}")
            if along and row["happened_at"] == fact["happened_at"] and row["id"] not in own:
                found[row["id"]] = row
    return list(found.values())


def regrouped(facts: Iterable[Row]) -> Regrouped | None:
    """What the facts of an entry moved, parted or joined; None where they did not."""
    batches, left, came_to, at = set(), set(), set(), ""
    for fact in facts:
        data = json.loads(fact["data"])
        if fact["kind"] == MOVED_IN and COPIED not in data:
            left.add(data["from_system"])
            came_to.add(fact["system"])
            at = fact["happened_at"]
        elif fact["kind"] != MERGED and "to_batch" not in data:
            continue
        batches.add(fact["batch"])
    return Regrouped(frozenset(batches), frozenset(left), frozenset(came_to), at) if batches else None


# --- What was built upon it ------------------------------------------------------------------------------------------


def refuse_built_upon(act: Act, seal: str, says: str, what: Regrouped, later: Iterable[Later]) -> None:
    """Raises Refused where something of these fish, or of the water they alone were in, was entered since, and where
    other fish came into the water they had left: it would be of fish that were never there. What was remembered late of
    the time before the move is no hindrance."""
    tanks = {tank["system"]: tank for tank in act.rows("tanks")}
    others = {b["system"] for b in act.rows("open_batches") if b["id"] not in what.batches}
    alone = what.came_to - others
    for entry in later:
        for fact in (row for id_ in entry.facts if (row := standing(act, id_)) is not None):
            if not _in_the_way(fact, what, alone):
                continue
            at = local_text(instant(fact["happened_at"]), tanks[fact["system"]]["zone"])
            by = "" if entry.keeper == act.keeper else f" by {_name(act, entry.keeper)}"
            raise Refused(
                f"Entry {seal[:8]} ({says}) cannot be taken back yet: {fact['kind'].replace('_', ' ')} of {at} was "
                f"entered upon it{by} (entry {entry.seal[:8]}: {entry.says}). Take that back first (quarantine undo "
                "REASON), then this; if it has to stay, move the fish on instead: quarantine batch move BATCH --to "
                "TANK."
            )


def _in_the_way(fact: Row, what: Regrouped, alone: frozenset[str]) -> bool:
    if fact["kind"] in NOT_IN_THE_WAY or (fact["system"] in what.left and fact["happened_at"] < what.at):
        return False
    if fact["batch"] is None:
        # What it became known later that the old water held goes with the move.
        return fact["system"] in alone and not (fact["kind"] == ALONG and fact["happened_at"] == what.at)
    return fact["batch"] in what.batches or (fact["system"] in what.left and fact["kind"] in ENTRIES)


def _name(act: Act, keeper: str | None) -> str:
    return str(act.rows("keeper_name", id=keeper)[0]["name"]) if keeper else "nobody"


def again_at(act: Act, what: Regrouped) -> list[str]:
    """When the fish were said to have moved: where they did, to another tank, that time is typed with it."""
    if not what.at:
        return []
    zone = next(tank["zone"] for tank in act.rows("tanks") if tank["system"] in what.came_to)
    return [f'If they did move, type it again with its time: --at "{local_text(instant(what.at), zone)}".']


# --- The rows --------------------------------------------------------------------------------------------------------


def put_back(act: Act, seal: str, because: str) -> list[str]:
    """The batches and tasks that an entry changed are as they were before it, in all that was not changed since; a
    batch that it made is called off, and what its facts asked for is withdrawn. Where the batches are now, a line each.
    """
    (entry,) = act.rows("entry", beginning=seal)
    rows = json.loads(entry["payload"])["rows"]
    wrote = {table: {row["id"]: row for row in rows.get(table, [])} for table in TABLES}
    was = _before(act, entry["n"], wrote)
    now = _now(act, wrote, was)
    for table in TABLES:
        for id_, written in wrote[table].items():
            if id_ in was[table] and id_ in now[table]:
                _restore(act, table, written, was[table][id_], now[table][id_])
    _take_along(act, wrote["batch"], was["batch"])
    _withdraw(act, now["task"], {fact["id"] for fact in rows["fact"]}, because)
    made = [row for id_, row in wrote["batch"].items() if id_ not in was["batch"]]
    lines = [_call_off(act, row["id"], because) for row in made]
    moved = {id_ for id_, row in wrote["batch"].items() if id_ in was["batch"] and {"tank", "state"} & row.keys()}
    return [
        *(f"Batch {b['name']} is in {b['tank_name']} again." for b in act.rows("open_batches") if b["id"] in moved),
        *lines,
    ]


def _before(act: Act, n: int, wrote: dict[str, dict[str, Row]]) -> dict[str, dict[str, Row]]:
    """Of these rows what the journal has of them before its entry ``n``; nothing of those that it made."""
    was: dict[str, dict[str, Row]] = {table: {} for table in TABLES}
    for entry in act.stream("journal"):
        if entry["n"] >= n:
            continue
        rows = json.loads(entry["payload"])["rows"]
        for table in TABLES:
            for row in rows.get(table, []):
                if row["id"] in wrote[table]:
                    was[table].setdefault(row["id"], {}).update(row)
    return was


def _now(act: Act, wrote: dict[str, dict[str, Row]], was: dict[str, dict[str, Row]]) -> dict[str, dict[str, Row]]:
    """The rows as they are stored."""
    owners = {row["batch"] for rows in (wrote["task"], was["task"]) for row in rows.values() if "batch" in row}
    tasks = [row for owner in sorted(owners) for row in act.rows("tasks_of_batch", batch=owner)]
    return {"batch": {row["id"]: row for row in act.rows("batches")}, "task": {row["id"]: row for row in tasks}}


def _restore(act: Act, table: str, written: Row, was: Row, now: Row) -> None:
    """The columns that an entry wrote, as they were; not those that were changed since."""
    values = {
        name: was[name]
        for name, value in written.items()
        if name != "id" and now[name] == _stored(value) and was[name] != value
    }
    if values:
        act.change(table, now["id"], **values)


def _take_along(act: Act, wrote: dict[str, Row], was: dict[str, Row]) -> None:
    """What was planned for a batch first in the water that it did not come to is of the one it is in, should it be
    planned again: a row of the plan keeps its place."""
    for id_, written in wrote.items():
        for task in act.rows("tasks_of_batch", batch=id_) if id_ in was and "system" in written else []:
            if task["system"] == written["system"] and not stays_behind(task["step"]):
                act.change("task", task["id"], tank=was[id_]["tank"], system=was[id_]["system"])


def _withdraw(act: Act, tasks: dict[str, Row], facts: set[str], because: str) -> None:
    """What hangs on facts that did not happen, also where a reading of other fish had settled it."""
    for task in tasks.values():
        if task["key"].split(":")[2] in facts and task["state"] != "withdrawn":
            reason = f"{task['reason']}; taken back: {because}"
            act.change("task", task["id"], state="withdrawn", reason=reason, **NO_OUTCOME)


def _stored(value: Any) -> Any:
    """A value of the journal as its column holds it."""
    return canonical(value) if isinstance(value, (dict, list)) else value


def _call_off(act: Act, id_: str, because: str) -> str:
    """A batch that never was: its fish are in the other one, its name is free again, nothing of it is left to do."""
    batches = act.rows("batches")
    row = next(b for b in batches if b["id"] == id_)
    day = local_day(instant(row["arrived_at"]), row["zone"]).isoformat()
    standing = {"expected": {"first": day, "last": day}, "called_off": f"parted by mistake: {because}"}
    name = _free(row["name"], {b["name"].casefold() for b in batches})
    act.change("batch", id_, name=name, state="called off", closed_at=act.now, standing=standing)
    for task in act.rows("tasks_of_batch", batch=id_):
        act.change("task", task["id"], state="withdrawn", **NO_OUTCOME)
    return f"Batch {row['name']} never was: it is kept as {name}, and its name is free again."


def _free(name: str, taken: set[str]) -> str:
    """ "Shy (taken back)", or the first of its kind with a number that is not taken."""
    fresh, n = f"{name} (taken back)", 1
    while fresh.casefold() in taken:
        n += 1
        fresh = f"{name} (taken back, {n})"
    return fresh
