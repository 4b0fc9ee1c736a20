"""A batch is parted (rule B4) or joined to another (rule B3): each keeps its history, its counts and its clocks.

A part that goes its own way is a batch of its own with copies of all that the first one was told. A merged batch takes
the later clock of both in every count. Both are one journal entry.
"""

from __future__ import annotations

import json
import re
from datetime import datetime
from typing import Any, NamedTuple

from quarantine.actions.consequences import ask_about_moved, changed_days, earliest_days
from quarantine.actions.desk import Desk, find_tank, free_name, local_text, when
from quarantine.actions.entering import add_fact, id_after
from quarantine.actions.moving import How, carry, open_batch
from quarantine.actions.planning import OPEN, replan
from quarantine.actions.systems import load_system, plan_system
from quarantine.evidence import Standing, eaten_days, fed_days
from quarantine.facts import BEFORE
from quarantine.failures import Refused, Usage
from quarantine.luggage import COPIED, dose_kept, doses_before
from quarantine.records.codec import instant
from quarantine.records.reads import Row
from quarantine.records.store import Act, new_id
from quarantine.water.ledger import exposures_until

NOT_COPIED = ("claim", "dip_start")
"""What is of one task and one hand, and nothing that a part of the batch has to know."""


class Parted(NamedTuple):
    """What is told: lines for the keeper, and the document."""

    lines: list[str]
    document: dict[str, Any]


# --- Parting ------------------------------------------------------------------------------------------------


def split(
    desk: Desk,
    batch_name: str,
    fish: str,
    name: str,
    *,
    to: str | None = None,
    at: str | None = None,
    no_water: bool = False,
    yes: bool = False,
    really: bool = False,
) -> Parted:
    """Some fish become a batch of their own, with copied history and clocks; ``to``: they go to another tank as well.

    ``fish`` is a count, with a species where the batch has several; several of them with commas between. Raises Refused
    and Usage.
    """
    with desk.act() as act:
        parent = open_batch(act, batch_name)
        moment = when(at, parent["zone"], act.now)
        alive = standing_of(act, parent, moment).evidence.alive
        lines_of_part = _lines(fish, parent)
        count = sum(line["count"] for line in lines_of_part)
        if count >= alive:
            raise Refused(
                f"{count} of {alive} fish: a part is fewer than all. The whole batch goes with: quarantine "
                f"batch move {parent['name']} --to TANK."
            )
        _refuse_running(act, parent)
        child = _add_child(act, parent, lines_of_part, name)
        _copy(act, parent, child["id"])
        _part(act, parent, child, count, alive, moment)
        replan(act, parent["system"])
        says = f"batch {parent['name']}: {count} fish are batch {child['name']} from now on"
        lines = [
            f"Batch {child['name']}: {count} fish of {parent['name']}, {local_text(moment, parent['zone'])}, "
            "with its history and its clocks (rule B4).",
            f"Batch {parent['name']}: {alive - count} fish.",
        ]
        document: dict[str, Any] = {
            "batch": child["name"],
            "of": parent["name"],
            "at": moment,
            "parts": [
                {"batch": child["name"], "alive": count},
                {"batch": parent["name"], "alive": alive - count},
            ],
        }
        if to is not None:
            row = open_batch(act, child["name"])
            told = carry(act, [row], find_tank(act, to), moment, How(no_water=no_water, yes=yes, really=really))
            lines += told.lines
            document["moved"] = told.document
        act.describe("batch parted", says, moment)
        return Parted(lines, document)


def _lines(text: str, parent: Row) -> list[dict[str, Any]]:
    """ "4" or "2 Centropyge bicolor, 1 Zebrasoma flavescens" as lines of the batch's fish. Raises Usage, or Refused for
    a fish it has not."""
    lines = [_line(part, parent) for part in re.split(r",(?=\s*\d)", text)]
    named = [line["species"] for line in lines]
    if twice := [species for species in named if named.count(species) > 1]:
        raise Usage(f"--fish names {twice[0]} twice: say it once, with the count of both.")
    return lines


def _line(text: str, parent: Row) -> dict[str, Any]:
    """ "4" or "4 Centropyge bicolor" as a line of the batch's fish. Raises Usage, or Refused for a fish it has not."""
    found = re.fullmatch(r"\s*(\d{1,6})\s*(.*?)\s*", text)
    if found is None or int(found[1]) < 1:
        raise Usage(f'--fish {text!r} does not read: write a count, with a species where there are several: "4".')
    known = json.loads(parent["fish"])
    wanted = found[2].casefold()
    lines = [line for line in known if not wanted or line["species"].casefold() == wanted]
    names = ", ".join(dict.fromkeys(line["species"] for line in known))
    if not lines:
        raise Refused(f"Batch {parent['name']} has no {found[2]}; it has {names}.")
    if len({line["species"] for line in lines}) > 1:
        raise Usage(f'Which fish? Batch {parent["name"]} has {names}: --fish "{found[1]} SPECIES".')
    return {**lines[0], "count": int(found[1])}


def _refuse_running(act: Act, parent: Row) -> None:
    """A dip that runs is of all its fish: it is ended first."""
    from quarantine.bathing import END

    rows = act.rows("tasks_of_batch", batch=parent["id"])
    if dips := [row for row in rows if row["step"] == END and row["kind"] == "chore" and row["state"] in OPEN]:
        raise Refused(f"A dip of {parent['name']} is running: end it first (quarantine bath end {dips[0]['code']}).")


def standing_of(act: Act, batch: Row, moment: datetime) -> Standing:
    """How an open batch stands at an instant."""
    return plan_system(load_system(act, batch["system"], act.now), moment).standings[batch["id"]]


BATCH = ("tank", "system", "copy_id", "source", "destination")


def _add_child(act: Act, parent: Row, lines: list[dict[str, Any]], name: str) -> Row:
    fresh = free_name(act.rows("batches"), "batch", name)
    if set(fresh) & set("/\\"):
        raise Refused(f"A batch's name has no / and no \\ in it; {fresh} has. Choose another name.")
    if any(row["name"].casefold() == fresh.casefold() for row in act.rows("tanks")):
        raise Refused(f"{fresh!r} is the name of a tank; give the batch a name of its own.")
    child = {
        "id": new_id(),
        "name": fresh,
        **{column: parent[column] for column in BATCH},
        "arrived_at": instant(parent["arrived_at"]),
        "fish": lines,
        "state": "open",
        "closed_at": None,
        "standing": {},
    }
    act.add("batch", child)
    return child


def _copy(act: Act, parent: Row, child: str) -> None:
    """All that is on record of a batch alone, once more for its part. A dose is in the water once: its copy is a dose
    that the fish had, of which no ledger knows."""
    found = {row["id"]: row for row in act.rows("facts_since", system=parent["system"], since="")}
    found |= {row["id"]: row for row in act.rows("instructions_and_animals", system=parent["system"])}
    own = [row for row in found.values() if row["batch"] == parent["id"] and row["kind"] not in NOT_COPIED]
    own.sort(key=lambda row: (row["happened_at"], row["entered_at"], row["id"]))
    ids: dict[str, str] = {}
    for row in own:
        ids[_first(row)["id"]] = new_id(ids.values())
    for row in own:
        first = _first(row)
        new = ids[first["id"]]
        data = {k: v for k, v in json.loads(row["data"]).items() if k not in ("corrected", "restored", "drawn")}
        data |= {"first": {"id": new, "entered_at": first["entered_at"]}, COPIED: first["id"]}
        if "key" in data:
            data["key"] = _key(data["key"], parent["id"], child, ids)
        for name in ("entered_id", "of", "answers"):
            if data.get(name) in ids:
                data[name] = ids[data[name]]
        add_fact(
            act,
            BEFORE if row["kind"] == "dose" else row["kind"],
            system=row["system"],
            tank=row["tank"],
            batch=child,
            at=instant(row["happened_at"]),
            data=data,
            id_=new,
        )


def _first(row: Row) -> dict[str, Any]:
    """The fact in whose place a fact stands: the first of its line of corrections."""
    return json.loads(row["data"]).get("first", {"id": row["id"], "entered_at": row["entered_at"]})  # type: ignore[no-any-return]


def _key(key: str, parent: str, child: str, ids: dict[str, str]) -> str:
    """The key of a task of the part: its own as its owner, and the copy of the fact that the run hangs on."""
    owner, step, root, n = key.split(":")
    return f"{child if owner == parent else owner}:{step}:{ids.get(root, root)}:{n}"


def _part(act: Act, parent: Row, child: Row, count: int, alive: int, moment: datetime) -> None:
    """The counts of both balance (rule B6): each has lost the fish that are in the other one."""
    for batch, gone, other in ((child, alive - count, parent), (parent, count, child)):
        data = {"count": gone, "to": parent["tank_name"], "to_tank": parent["tank"], "to_batch": other["name"]}
        common: dict[str, Any] = {"system": parent["system"], "tank": parent["tank"], "batch": batch["id"]}
        add_fact(act, "moved", at=moment, data=data, id_=id_after(act, parent["system"], moment), **common)


# --- Joining ------------------------------------------------------------------------------------------------


def merge(desk: Desk, batch_name: str, into: str, *, at: str | None = None, yes: bool = False) -> Parted:
    """A batch is counted with another one of the same water and the same protocol from now on: the later clock of both
    in every count (rule B3). Raises Refused where they cannot be one, or where dates move, until ``yes``."""
    with desk.act() as act:
        one, other = open_batch(act, into), open_batch(act, batch_name)
        moment = when(at, one["zone"], act.now)
        _check_merge(act, one, other, moment)
        before = earliest_days(act, {one["system"]})
        standing = standing_of(act, other, moment)
        count = standing.evidence.alive
        common: dict[str, Any] = {"system": one["system"], "tank": one["tank"], "at": moment}
        left = {"count": count, "to": one["tank_name"], "to_tank": one["tank"], "to_batch": one["name"]}
        add_fact(act, "moved", batch=other["id"], data=left, id_=id_after(act, one["system"], moment), **common)
        data = _merged(other, standing, moment) | {"doses": _doses_of(act, other, standing, moment)}
        add_fact(act, "merged", batch=one["id"], data=data, id_=id_after(act, one["system"], moment), **common)
        shown = {**json.loads(other["standing"]), "alive": 0}
        act.change("batch", other["id"], state="merged", closed_at=moment, standing=shown)
        act.change("batch", one["id"], fish=[*json.loads(one["fish"]), *json.loads(other["fish"])])
        for row in act.rows("tasks_of_batch", batch=other["id"]):
            # What a tank that it left before asks for is still to do there.
            if row["state"] in OPEN and row["system"] == one["system"]:
                act.change(
                    "task", row["id"], state="withdrawn", reason=f"batch {other['name']} is in {one['name']} now"
                )
        made = replan(act, one["system"])
        alive = made.standings[one["id"]].evidence.alive
        after = {one["name"]: made.standings[one["id"]].earliest}
        moved = changed_days({k: v for k, v in before.items() if k == one["name"]}, after)
        ask_about_moved(act, moved, yes=yes)
        act.describe("batches merged", f"batch {other['name']} into {one['name']}: {count} fish", moment)
        return Parted(
            [
                f"Batch {other['name']}: its {count} fish are counted in {one['name']} from now on, {alive} in all "
                "(rule B3: the later clock of both).",
                *(moved or ["No sign-off date moves."]),
            ],
            {"batch": one["name"], "merged": other["name"], "at": moment, "alive": alive, "moved": moved},
        )


def _check_merge(act: Act, one: Row, other: Row, moment: datetime) -> None:
    """Raises Refused where two batches cannot be one."""
    if one["id"] == other["id"]:
        raise Refused(f"{one['name']} is one batch already; say which other one it joins.")
    if one["system"] != other["system"] or one["tank"] != other["tank"]:
        raise Refused(
            f"{other['name']} is in {other['tank_name']}, {one['name']} in {one['tank_name']}: only fish in one tank "
            f'are one batch. Move them first: quarantine batch move {other["name"]} --to "{one["tank_name"]}".'
        )
    if one["copy_id"] != other["copy_id"]:
        raise Refused(
            f"{one['name']} and {other['name']} follow two texts of a protocol: amend one first "
            "(quarantine batch amend)."
        )
    for batch in (one, other):
        if moment < instant(batch["arrived_at"]):
            raise Refused(f"Batch {batch['name']} had not arrived then. Check --at.")
        rows = act.rows("tasks_of_batch", batch=batch["id"])
        begun = {row["step"] for row in rows if row["state"] == "done" and "as_needed" not in json.loads(row["detail"])}
        open_ = [row for row in rows if row["kind"] in ("dose", "move") and row["state"] in OPEN]
        owed = [row for row in open_ if row["day"] or row["step"] in begun]  # the next may wait for a reading
        if owed:
            raise Refused(
                f"{owed[0]['code']} {owed[0]['title']} of {batch['name']} is still open: who had which dose would "
                "not be known any more. Merge them when the courses of both are over."
            )
        if signs := standing_of(act, batch, moment).evidence.open_signs:
            raise Refused(f"{signs[0].name} of {batch['name']} is not said to be gone; a sign is of its batch.")


def _doses_of(act: Act, other: Row, standing: Standing, moment: datetime) -> list[dict[str, Any]]:
    """The doses that the fish of a batch had, in this water and before (rule B8)."""
    facts = [fact for fact in load_system(act, other["system"], act.now).facts if fact.at <= moment]
    since = standing.evidence.since or instant(other["arrived_at"])
    here = [fact for fact in facts if fact.kind == "dose" and fact.at >= since]
    return [dose_kept(fact) for fact in (*here, *(f for f in doses_before(facts) if f.batch == other["id"]))]


def _merged(other: Row, standing: Standing, moment: datetime) -> dict[str, Any]:
    """What the other batch's clocks say: of each count the later one rules. Its ``exposures`` hold those of all that
    were merged into it before."""
    evidence = standing.evidence
    last = evidence.deaths[-1].at if evidence.deaths else None
    return {
        "from": other["name"],
        "from_batch": other["id"],
        "count": evidence.alive,
        "arrived_on": evidence.arrived_on,
        "entered_at": evidence.entered_at,
        "happenings": [[one.at, one.event, one.why, one.until] for one in evidence.happenings],
        "periods": {period.id: period.zero for period in standing.periods},
        "clear": {
            "zero": evidence.clear.zero,
            "because": evidence.clear.because,
            "counted": list(evidence.clear.counted),
        },
        "last_death": last,
        "extended": evidence.extended_days,
        "ate": eaten_days(evidence),
        "feeding": fed_days(evidence),
        "all_seen_on": evidence.all_seen_on,
        "exposures": exposures_until(evidence.exposures, moment),
    }
