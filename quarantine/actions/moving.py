"""A batch moves to another quarantine (rule B3): by a step of its protocol, as a keeper says, or in an emergency.

The row of the batch and its open tasks go with the fish. One fact in the new water carries what the plan still needs of
the old one (:mod:`quarantine.luggage`); no key of a task moves, so no code and no entry of a calendar.
"""

from __future__ import annotations

import shlex
from datetime import datetime
from typing import Any, NamedTuple

from quarantine.actions.admitting import ask_about_medicine, second_source, sick_beside
from quarantine.actions.alongside import old_water, some_water, unknown_water
from quarantine.actions.batches import ask_litres
from quarantine.actions.brought import ALL, NONE, SOME
from quarantine.actions.consequences import ask_about_moved, changed_days, earliest_days
from quarantine.actions.crossing import asked_before, refuse_unasked
from quarantine.actions.desk import Desk, find_batch, find_tank, local_text, when
from quarantine.actions.dipping import FISH_OUT, end_bath
from quarantine.actions.entering import add_fact, id_after
from quarantine.actions.planning import OPEN, leave_held, replan
from quarantine.actions.sharing import refuse_dirty, refuse_other_course
from quarantine.actions.systems import frozen, load_system
from quarantine.actions.work import find_task, refuse_finished
from quarantine.bathing import END
from quarantine.emptied import stays_behind
from quarantine.facts import Fact
from quarantine.failures import Refused
from quarantine.luggage import MOVED_IN, last_move, place_of
from quarantine.plan import packed
from quarantine.records.codec import instant
from quarantine.records.loading import fact_of
from quarantine.records.reads import Row
from quarantine.records.store import Act


class Moved(NamedTuple):
    """What a move is told as: lines for the keeper, and the document."""

    lines: list[str]
    document: dict[str, Any]


class How(NamedTuple):
    """How fish are moved. ``urgent``: they have to go now, so nothing is refused that can be recorded and answered;
    ``no_water``: nothing of the old water goes with them; ``known``: the new tank was filled with it."""

    urgent: bool = False
    no_water: bool = False
    known: bool = False
    unknown: bool = False
    yes: bool = False
    really: bool = False

    @property
    def water(self) -> str:
        """How much of the old water went with them."""
        return NONE if self.no_water else ALL if self.known else SOME


def move(
    desk: Desk,
    batch_name: str,
    to: str,
    *,
    at: str | None = None,
    no_water: bool = False,
    yes: bool = False,
    really: bool = False,
) -> Moved:
    """A whole batch goes to another quarantine tank. The dates that this moves are shown first, until ``yes``.

    Raises Refused where the fish cannot be there, and Unknown for names that are not on record.
    """
    with desk.act() as act:
        batch = open_batch(act, batch_name)
        there = find_tank(act, to)
        moment = when(at, batch["zone"], act.now)
        told = carry(act, [batch], there, moment, How(no_water=no_water, yes=yes, really=really))
        act.describe("moved", f"batch {batch['name']}: {batch['tank_name']} to {there['name']}", moment)
        return told


def move_task(
    desk: Desk,
    code: str,
    to: str | None,
    *,
    at: str | None = None,
    note: str | None = None,
    no_water: bool = False,
    confirm: bool = False,
    yes: bool = False,
    really: bool = False,
) -> Moved:
    """A step that moves the fish is done by moving them. ``confirm``: the words that it asks for are so.

    Raises Refused for a task that moves none, and for checks that are not met (:mod:`quarantine.actions.crossing`).
    """
    with desk.act() as act:
        task = find_task(act, code)
        if task["kind"] != "move":
            raise Refused(f"{task['code']} ({task['title']}) moves no fish; leave --to out.")
        if to is None:
            raise Refused(
                f"{task['code']} moves the fish: say where they went: quarantine done {task['code']} --to TANK."
            )
        from quarantine.actions.duties import refuse_task

        refuse_finished(act, task)
        refuse_task(act, task, really=really)
        batch = open_batch(act, task["batch_name"])
        there = find_tank(act, to)
        before = _came_before(act, batch, there, really=really)
        moment = before or when(at, batch["zone"], act.now)
        typed = task["code"]
        task, begun_again = _not_too_late(act, task, moment)
        if before is not None:
            return _moved_before(act, task, batch, there, before, note, begun_again)
        asked = asked_before(act, task, batch, there, moment)
        kept = refuse_unasked(task, there, asked, typed=typed, confirm=confirm, really=really)
        _settle(act, task, there, moment, note, kept)
        told = carry(act, [batch], there, moment, How(no_water=no_water, yes=yes, really=really))
        act.describe("task done", f"{task['title']}: batch {batch['name']} to {there['name']}", moment)
        document = {**told.document, "code": task["code"], **kept}
        done = f"{task['code']}: {task['title']} done."
        return Moved([*begun_again, done, *_in_spite(kept), *told.lines], document)


def _not_too_late(act: Act, task: Row, moment: datetime) -> tuple[Row, list[str]]:
    """The task that a move at ``moment`` does. One that it came too late for stays missed, also where nothing was
    written since: then the series begins again, and the move is the first of that (rules A11 and A12)."""
    if not task["lapses_at"] or moment < instant(task["lapses_at"]):
        return task, []
    replan(act, task["system"])
    open_ = [
        row
        for row in act.rows("tasks_of_batch", batch=task["batch"])
        if row["step"] == task["step"] and row["state"] == "planned" and row["id"] != task["id"]
    ]
    if not open_:
        return task, []
    first = find_task(act, min(open_, key=lambda row: row["due_from"] or "")["code"])
    since = local_text(instant(task["lapses_at"]), task["zone"])
    return first, [
        f"{task['code']} was too late from {since}: it stays missed, and "
        f"needs its reason (quarantine skip {task['code']} --because REASON). The moves have begun again: this is "
        f"{first['code']}."
    ]


def _in_spite(kept: dict[str, Any]) -> list[str]:
    """What a move was made in spite of: sign-off names it (rule C7)."""
    return [f"Deviation, which sign-off names: {'; '.join(kept['unmet'])}."] if kept.get("unmet") else []


def _came_before(act: Act, batch: Row, there: Row, *, really: bool) -> datetime | None:
    """When the fish came into the tank that a step is said to move them to, where they are in it already.

    Raises Refused until ``really``, and where they arrived in it or another step moved them there.
    """
    if batch["tank"] != there["id"]:
        return None
    facts = [fact_of(row) for row in act.rows("facts_of_kind", kind=MOVED_IN, system=batch["system"])]
    move = last_move(facts, batch["id"])
    steps = [row for row in act.rows("tasks_of_batch", batch=batch["id"]) if row["kind"] == "move"]
    if move is None or any(row["state"] == "done" and instant(row["outcome_at"]) == move.at for row in steps):
        raise Refused(f"{there['name']} is the tank they are in; say where they went.")
    if not really:
        came = local_text(move.at, batch["zone"])
        raise Refused(
            f"The fish came into {there['name']} {came} already. If that was this move, say --really; if they were "
            "moved again, say where to."
        )
    return move.at


def _moved_before(
    act: Act, task: Row, batch: Row, there: Row, moment: datetime, note: str | None, begun_again: list[str]
) -> Moved:
    """The step was a move that is on record already, by `batch move` or in an emergency: it is done by that one, at the
    time of that one."""
    came = local_text(moment, batch["zone"])
    kept = {"unmet": [f"moved before, {came}: no check was asked for"]}
    _settle(act, task, there, moment, note, kept)
    earliest = replan(act, batch["system"]).standings[batch["id"]].earliest
    act.describe("task done", f"{task['title']}: batch {batch['name']} was moved to {there['name']}", moment)
    done = f"{task['code']}: {task['title']} done, by the move to {there['name']} of {came}."
    return Moved(
        [*begun_again, done, *_in_spite(kept), f"Earliest sign-off: {earliest}."],
        {"code": task["code"], "to": there["name"], "at": moment, "earliest": earliest, **kept},
    )


def _settle(act: Act, task: Row, there: Row, moment: datetime, note: str | None, kept: dict[str, Any]) -> None:
    """The task is done, by a fact of the batch in the water that it leaves; ``kept`` is what its checks left."""
    data = {"key": task["key"], "to": there["name"], **kept, **({"note": note} if note else {})}
    fact = add_fact(
        act,
        "done",
        system=task["system"],
        tank=task["tank"],
        batch=task["batch"],
        task=task["id"],
        at=moment,
        data=data,
        id_=id_after(act, task["system"], moment),
    )
    outcome = {"fact": fact}
    if not act.change_if(
        "task", task["id"], OPEN, state="done", outcome_at=moment, outcome_by=act.keeper, outcome=outcome
    ):
        refuse_finished(act, find_task(act, task["code"]))


# --- The move itself ---------------------------------------------------------------------------------------


def carry(act: Act, batches: list[Row], there: Row, moment: datetime, how: How) -> Moved:
    """Move batches that share a tank to another one, inside an act. Raises Refused."""
    left = next(tank for tank in act.rows("tanks") if tank["id"] == batches[0]["tank"])
    lines: list[str] = []
    for batch in batches:
        lines += _check(act, batch, left, there, moment, how)
    if not how.urgent:
        refuse_dirty(act, there)
    lines += ask_about_medicine(act, there, moment, really=how.really or how.urgent)
    before = earliest_days(act, {left["system"], there["system"]})
    resident = [b for b in act.rows("open_batches") if b["system"] == there["system"]]
    joined = [b["name"] for b in resident]
    brings = old_water(act, left, there, moment) if how.known else []
    state = load_system(act, left["system"], act.now)
    ids = {b["id"] for b in batches}
    stay = [b for b in act.rows("open_batches") if b["system"] == left["system"] and b["id"] not in ids]
    courses, known = list(state.courses), list(state.facts)
    bags = {b["id"]: packed(courses, known, b["id"], moment, state.water, parts=bool(stay)) for b in batches}
    for batch in batches:
        lines += _end_baths(act, batch, moment)
    emptied = not any(b["tank"] == left["id"] for b in stay)
    facts = []
    for place, batch in enumerate(batches):
        with_others = [*joined, *(b["name"] for b in batches[:place])] if joined else []
        leave_held(act, batch, moment)
        _leave(act, batch, stay, known)
        bag = {**bags[batch["id"]], "parts": bool(stay), "water": how.water, **({"urgent": True} if how.urgent else {})}
        facts += _write(act, batch, left, there, moment, bag, with_others, emptied=emptied and place == 0)
    lines += brings
    if how.unknown:
        lines += unknown_water(act, left, there, moment)
    elif not how.no_water and not how.known:
        lines += some_water(act, left, there, moment, yes=how.yes)
    made = [replan(act, left["system"]), replan(act, there["system"])]
    names = {b["id"]: b["name"] for b in act.rows("open_batches")}
    after = {names[b]: s.earliest for plan in made for b, s in plan.standings.items() if b in names}
    moved = changed_days(before, after)
    beside = sick_beside(batches, resident, there)
    _ask(act, moved, beside, yes=how.yes)
    lines += beside
    if joined:
        for batch in batches:
            lines += second_source(act, there, batch["name"], batch["source"], moment)
    alive = {b["id"]: bags[b["id"]]["count"] - _parted_since(known, b["id"], moment) for b in batches}
    said = [
        f"Batch {b['name']}: {alive[b['id']]} fish moved from {left['name']} to {there['name']}, "
        f"{local_text(moment, b['zone'])}"
        for b in batches
    ]
    after_it = _tasks(act, ids, facts)
    return Moved(
        [
            *said,
            *(moved or ["No sign-off date moves."]),
            *lines,
            *(f"  {task['code']} {task['tank']}: {task['title']}" for task in after_it),
            f"Next: quarantine reading {shlex.quote(there['name'])} temp=... ph=... tan=...",
        ],
        {
            "batches": [
                {"batch": b["name"], "alive": alive[b["id"]], "earliest": after.get(b["name"])} for b in batches
            ],
            "from": left["name"],
            "to": there["name"],
            "at": moment,
            "joined": joined,
            "moved": moved,
            "said": lines,
            "asked": after_it,
        },
    )


def _ask(act: Act, moved: list[str], beside: list[str], *, yes: bool) -> None:
    """What sick fish mean for those beside them is said before the dates, and asked about too. Raises Refused."""
    if beside and not (yes or act.dry_run):
        dates = f" This would move dates: {'; '.join(moved)}." if moved else ""
        raise Refused(f"{' '.join(beside)}{dates} Say --yes to record it.", moved=moved, said=beside)
    ask_about_moved(act, moved, yes=yes)


def _parted_since(facts: list[Fact], batch: str, moment: datetime) -> int:
    """Of the fish that a batch had at an instant those that are counted in its other part since (rule B4)."""
    parted = [f for f in facts if f.kind == "moved" and f.batch == batch and f.at > moment and "to_batch" in f.data]
    return sum(int(f.data["count"]) for f in parted)


def _tasks(act: Act, ids: set[str], facts: list[str]) -> list[dict[str, Any]]:
    """What a move asks for: the new water read, the tank that was left cleaned."""
    tanks = {tank["id"]: tank["name"] for tank in act.rows("tanks")}
    found = [row for id_ in sorted(ids) for row in act.rows("tasks_of_batch", batch=id_)]
    return [
        {"code": row["code"], "tank": tanks[row["tank"]], "title": row["title"], "day": row["day"]}
        for row in sorted(found, key=lambda row: (row["due_from"] or "", row["due_until"] or ""))
        if row["state"] == "planned" and row["key"].split(":")[2] in facts
    ]


def open_batch(act: Act, name: str) -> Row:
    """An open batch by name. Raises Refused for one that is not."""
    batch = find_batch(act, name)
    if batch["state"] != "open":
        raise Refused(f"Batch {batch['name']} is {batch['state']}: only fish in quarantine are moved by this.")
    return batch


def _check(act: Act, batch: Row, left: Row, there: Row, moment: datetime, how: How) -> list[str]:
    """Raises Refused where these fish cannot be moved there. What is said of a move that could not wait."""
    if left["id"] == there["id"]:
        raise Refused(f"{left['name']} is the tank they are in; say where they went.")
    if left["system"] == there["system"]:
        raise Refused(
            f"{left['name']} and {there['name']} share their water: for the protocol the fish are where they were. "
            "Name a tank with water of its own."
        )
    allowed = ("quarantine", "holding", "pond") if how.urgent else ("quarantine",)
    if there["role"] not in allowed:
        raise Refused(
            f"{there['name']} is a {there['role']} tank: fish that are not signed off go into a quarantine tank "
            "(quarantine tank add NAME --role quarantine)."
        )
    if there["water"] != left["water"]:
        raise Refused(f"{there['name']} holds {there['water']} water, {left['name']} {left['water']}: not these fish.")
    goal = next((t for t in act.rows("tanks") if t["id"] == batch["destination"]), None)
    if goal is not None and goal["system"] == there["system"]:
        raise Refused(
            f"{there['name']} holds the water of {goal['name']}, where batch {batch['name']} goes once it is signed "
            "off: that is no quarantine."
        )
    protocol = frozen(act, batch["copy_id"])
    said = []
    try:
        refuse_other_course(act, there, protocol)
    except Refused as refusal:
        if not how.urgent:
            raise
        said = [f"{refusal.sentence} Move one of them on, before any dose."]
    if not (how.urgent or how.yes):
        ask_litres(act, there, protocol)
    _refuse_before(act, batch, moment)
    return said


def _refuse_before(act: Act, batch: Row, moment: datetime) -> None:
    """A move is dated after the fish came into the water they leave, and after the last dose that they had in it."""
    rows = act.rows("facts_since", system=batch["system"], since=batch["arrived_at"])
    facts = sorted((fact_of(row) for row in rows), key=lambda f: (f.at, f.entered_at, f.id))
    arrival = next(f for f in facts if f.kind == "arrival" and f.batch == batch["id"])
    place = place_of(facts, batch["id"], arrival)
    if moment < place.since:
        raise Refused(
            f"The fish of {batch['name']} came into {batch['tank_name']} {local_text(place.since, batch['zone'])}; "
            "they cannot leave it before. Check --at."
        )
    later = [f for f in facts if f.at > moment and _holds(f, batch)]
    if later:
        raise Refused(
            f"A {later[0].kind} on record ({local_text(later[0].at, batch['zone'])}) is of the time after the fish "
            "would have left. Check --at."
        )


def _holds(fact: Fact, batch: Row) -> bool:
    return fact.system == batch["system"] and fact.kind == "dose" and fact.batch in (None, batch["id"])


def _end_baths(act: Act, batch: Row, moment: datetime) -> list[str]:
    """A timed bath in the water they leave ends for these fish: they are out of it (rule C5)."""
    lines = []
    for row in act.rows("tasks_of_batch", batch=batch["id"]):
        if row["step"] != END or row["state"] not in OPEN or row["kind"] != "change":
            continue
        told = end_bath(act, row, FISH_OUT, moment)
        lines += [f"{row['code']}: the fish are out, so their bath has ended (rule C5).", *told["lines"]]
    return lines


def _leave(act: Act, batch: Row, stay: list[Row], known: list[Fact]) -> None:
    """Work of the old water that hangs on a fact of it goes on, under its code, with those who stay and have the step;
    what the batch that leaves goes on with has keys of its own."""
    own = {fact.id for fact in known if fact.batch == batch["id"]}
    steps = {b["id"]: {step.id for step in frozen(act, b["copy_id"]).steps} for b in stay}
    for row in act.rows("tasks_of_batch", batch=batch["id"]):
        owner, _, root, _ = row["key"].split(":")
        heir = next((id_ for id_, has in steps.items() if row["step"] in has), None)
        if heir is not None and root not in own and owner != batch["id"]:
            act.change("task", row["id"], batch=heir)


def _write(
    act: Act,
    batch: Row,
    left: Row,
    there: Row,
    moment: datetime,
    bag: dict[str, Any],
    joined: list[str],
    *,
    emptied: bool,
) -> list[str]:
    """The row of the batch, its open tasks, and the fact that carries what it brought along: its id."""
    earlier = [fact_of(row) for row in act.rows("facts_of_kind", kind=MOVED_IN, system=batch["system"])]
    systems = [one for f in earlier if f.batch == batch["id"] for one in f.data["from_systems"]]
    act.change("batch", batch["id"], tank=there["id"], system=there["system"])
    for row in act.rows("tasks_of_batch", batch=batch["id"]):
        if row["state"] in OPEN and not stays_behind(row["step"]):
            act.change("task", row["id"], tank=there["id"], system=there["system"])
    data = {
        "from": left["name"],
        "from_tank": left["id"],
        "from_system": left["system"],
        "from_systems": list(dict.fromkeys([*systems, left["system"]])),
        "to": there["name"],
        "joined": joined,
        "emptied": emptied,
        **bag,
    }
    id_ = id_after(act, there["system"], moment)
    common: dict[str, Any] = {"system": there["system"], "tank": there["id"], "batch": batch["id"], "at": moment}
    return [add_fact(act, "moved_in", data=data, id_=id_, **common)]
