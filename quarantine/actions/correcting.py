"""Taking back and correcting: both values are kept, the later entry names the earlier, and the plan is made again.

Nothing is overwritten. Taking back writes a fact of kind ``void`` that names the fact it voids; a correction writes the
fact anew, with the same name for what it replaces. What was voided is no longer read; the journal shows both.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, NamedTuple

from quarantine.actions.admitting import forget_added
from quarantine.actions.consequences import consequences, earliest_days
from quarantine.actions.desk import Desk, local_text, when
from quarantine.actions.drawing import drawn_anew, give_back, write
from quarantine.actions.entering import add_fact
from quarantine.actions.exchanging import TAKES, after_correction, open_work
from quarantine.actions.given_anew import answered, gave
from quarantine.actions.planning import replan
from quarantine.actions.restoring import (
    Stocked,
    earlier,
    in_words,
    is_of_stock,
    restock,
    restore,
    states_changed,
    stocked,
)
from quarantine.actions.returning import Later, again_at, came_later, put_back, refuse_built_upon, regrouped, standing
from quarantine.facts import flow_was
from quarantine.failures import Refused, Unknown, Usage
from quarantine.followups import is_of_place
from quarantine.luggage import COPIED
from quarantine.plan import Plan, timing_of
from quarantine.quantity import read, show, to
from quarantine.records.codec import instant, text_of_instant
from quarantine.records.reads import Row
from quarantine.records.store import Act

NOT_TAKEN_BACK = {
    "arrival": "a batch that has arrived is closed by its sign-off: quarantine signoff BATCH --reject",
    "closed": "a sign-off is sealed; start the batch again if its fish go on alone",
    "extended": "an extension is sealed; extend by fewer days by signing off again",
    "amended": "an amendment is undone by another one",
}
"""Facts that others were sealed or made upon, and what to do instead."""
REGROUPED = (
    "a move, a parting or a joining is taken back whole, while it is your last entry (quarantine undo REASON), and "
    "typed anew; later the fish are moved on (quarantine batch move BATCH --to TANK)"
)
"""Why one is not corrected: what came of it hangs on it as it was."""

NOT_HAPPENED = ("calendar written", "acknowledged")
"""Entries of one's own that undo passes over: they are of no fish and no water."""

LAST = 500
"""How many entries back one's own last one is looked for."""


class Entry(NamedTuple):
    """A journal entry and what of it still stands: its facts, and what it wrote of the stock."""

    seal: str
    kind: str
    says: str
    entered_at: datetime
    facts: list[Row]
    of_stock: bool = False
    stocked: Stocked = Stocked()
    later: tuple[Later, ...] = ()
    """of one's own last entry: those of all keepers since, the first first"""


def undo(desk: Desk, because: str, *, yes: bool = False) -> dict[str, Any]:
    """Take back one's own last entry: every fact of it that still stands. ``yes`` accepts that dates move.

    Of a correction only that: what it had corrected stands again. What was entered of the stock is reversed. Of a
    move, a parting or a joining of batches all that came of it is as it was, unless something was built upon it since.
    """
    reason = _reason(because)
    with desk.act() as act:
        entry = _own_last(act)
        _may_be_taken_back(entry)
        if what := regrouped(entry.facts):
            entry = entry._replace(facts=[*entry.facts, *came_later(act, entry.facts)])
            refuse_built_upon(act, entry.seal, entry.says, what, entry.later)
        versions = {fact["id"]: earlier(act, fact) for fact in entry.facts}
        if any(fact["kind"] == "dose" and versions[fact["id"]] is None for fact in entry.facts) and not yes:
            raise Refused(
                f"This takes back a dose ({entry.says}). Only if it was not given at all: medicine that is in the "
                "water must stay on record. Say --yes if nothing was given; a wrong amount is corrected: "
                f"quarantine correct {entry.seal[:8]} gave=AMOUNT --because REASON."
            )
        before = earliest_days(act, {*_waters(act, entry.facts), *(what.left if what else ())})
        replaced: dict[str, str] = {}
        for fact in entry.facts:
            if (version := versions[fact["id"]]) is not None:
                replaced[fact["id"]] = restore(act, fact, version, reason)
                continue
            if fact["kind"] == "dose":
                give_back(act, fact, reason)
            if fact["kind"] == "added":
                forget_added(act, fact)
            add_fact(
                act,
                "void",
                system=fact["system"],
                tank=fact["tank"],
                batch=fact["batch"],
                at=act.now,
                data={"because": reason, "of": fact["kind"]},
                voids=fact["id"],
            )
        shelf = restock(act, entry.stocked, reason)
        back = [*put_back(act, entry.seal, reason), *again_at(act, what)] if what else []
        moved = _settle(act, entry.facts, replaced, before, yes)
        again = [version for version in versions.values() if version is not None]
        words = [in_words(version) for version in again]
        stands = f"{'; '.join(words)} as before: " if words else ""
        act.describe("taken back", f"{stands}{entry.kind} [{entry.seal[:8]}] {entry.says}: {reason}")
        return {
            "entry": entry.seal,
            "kind": entry.kind,
            "says": entry.says,
            "because": reason,
            "moved": moved,
            "back": back,
            "stands_again": words,
            "rescue": [said for version in again if (said := json.loads(version["data"]).get("rescue"))],
            "stock": shelf,
        }


def correct(
    desk: Desk,
    seal: str,
    words: list[str],
    *,
    because: str,
    at: str | None = None,
    yes: bool = False,
    really: bool = False,
) -> dict[str, Any]:
    """Write an entry's facts anew with other values (NAME=VALUE) or another time; the old ones stay in the journal.

    ``really``: an amount of a dose that looks like a slip, or is too much, was given so (rule C7).
    """
    reason = _reason(because)
    if not words and at is None:
        raise Usage("What was wrong? Say NAME=VALUE, such as seen=11 or gave=3.4g, or --at WHEN.")
    with desk.act() as act:
        entry = _entry(act, _found(act, seal))
        if not entry.facts and entry.of_stock:
            raise Refused(
                f"Entry {seal} ({entry.kind}: {entry.says}) is of the stock: where it is your last one take it back "
                "(quarantine undo REASON) and enter it anew; else set the books to what is there: quarantine stock "
                "count."
            )
        if not entry.facts:
            raise Refused(f"Nothing of entry {seal} stands any more: it was taken back or corrected; see the journal.")
        _may_be_taken_back(entry)
        if regrouped(entry.facts):
            raise Refused(f"Entry {entry.seal[:8]} ({entry.kind}: {entry.says}) stays as it is: {REGROUPED}.")
        changed = _new_data(act, desk, entry, words)
        for fact in entry.facts:
            changed |= {
                copy["id"]: (changed[fact["id"]][0], "") for copy in _copies(act, fact) if fact["id"] in changed
            }
        told, answers = [], []
        asked = {fact["system"]: open_work(act, fact["system"]) for fact in entry.facts if fact["kind"] in TAKES}
        replaced: dict[str, str] = {}
        before = earliest_days(act, set(_waters(act, entry.facts)))
        for fact in entry.facts:
            if fact["id"] not in changed and at is None:
                continue
            zone = _zone(act, fact["system"])
            moment = when(at, zone, act.now) if at else instant(fact["happened_at"])
            if at is not None:
                _refuse_before_arrival(act, fact, moment, zone)
            was = json.loads(fact["data"])
            data = {**was, **_shifted(was, moment - instant(fact["happened_at"])), **_timed(act, fact, was, moment)}
            new, says = changed.get(fact["id"], ({}, ""))
            data |= new
            if "given" in new and fact["kind"] == "dose":
                data["rescue"] = answered(act, fact, moment, was, data, really=really)
            if fact["kind"] == "exchange":
                _refuse_backward_flow(data, moment)
            if "drawn" in was:
                give_back(act, fact, reason)
                data |= drawn_anew(act, was, data)
            data["first"] = was.get("first", {"id": fact["id"], "entered_at": fact["entered_at"]})
            data |= {"corrected": reason, "restored": None}
            replaced[fact["id"]] = add_fact(
                act,
                fact["kind"],
                system=fact["system"],
                tank=fact["tank"],
                batch=fact["batch"],
                task=fact["task"],
                at=moment,
                # What was not known stays so; what the correction takes back goes.
                data={name: value for name, value in data.items() if value is not None or was.get(name, "") is None},
                voids=fact["id"],
            )
            if "drawn" in was:
                write(act, replaced[fact["id"]], moment, data)
            if COPIED not in was:
                told.append(says or f"{fact['kind']}: {local_text(moment, zone)}")
                answers.append(data["rescue"] if "given" in new else "")
        moved = _settle(act, [f for f in entry.facts if f["id"] in replaced], replaced, before, yes)
        follows = [
            line
            for fact in entry.facts
            if fact["kind"] in TAKES and fact["id"] in replaced
            for line in after_correction(act, fact, asked[fact["system"]], changed.get(fact["id"], ({}, ""))[0])
        ]
        act.describe("corrected", f"{entry.kind} [{entry.seal[:8]}] {'; '.join(told)}: {reason}")
        return {
            "entry": entry.seal,
            "kind": entry.kind,
            "was": entry.says,
            "now": [f"{says}. {answer}" if answer else says for says, answer in zip(told, answers, strict=True)],
            "because": reason,
            "moved": moved,
            "follows": follows,
        }


def _refuse_before_arrival(act: Act, fact: Row, moment: datetime, zone: str) -> None:
    """What is known of fish that were not there yet would count for nothing: most often a slip of the date."""
    for batch in act.rows("batch_arrival", id=fact["batch"]) if fact["batch"] else []:
        arrived = instant(batch["arrived_at"])
        if moment < arrived <= instant(fact["happened_at"]):
            raise Refused(
                f"The fish arrived {local_text(arrived, zone)}; at {local_text(moment, zone)} they were not there. "
                "Check --at; what was of other fish is taken back."
            )


def _timed(act: Act, fact: Row, data: dict[str, Any], moment: datetime) -> dict[str, Any]:
    """How a dose lies to the window of its task, which a corrected time changes."""
    tasks = act.rows("tasks_of_batch", batch=fact["batch"]) if "timing" in data else []
    found = [timing_of(task, moment) for task in tasks if task["id"] == fact["task"]]
    return {"timing": found[0]} if found else {}


def _shifted(data: dict[str, Any], by: timedelta) -> dict[str, Any]:
    """The start and end of a dip, which move with it: how long it took is what the clock said."""
    return {name: text_of_instant(instant(data[name]) + by) for name in ("started_at", "ended_at") if name in data}


def _reason(text: str) -> str:
    reason = " ".join(text.split())
    if not reason or not reason.isprintable():
        raise Usage("What was wrong? A correction needs its reason, in plain words.")
    return reason


def _own_last(act: Act) -> Entry:
    """The keeper's own last entry of which something stands."""
    later: set[str] = set()
    since: list[Later] = []
    for row in act.rows("journal_last", most=LAST):
        said = json.loads(row["payload"])
        if said["keeper"] == act.keeper and said["kind"] not in NOT_HAPPENED:
            shelf = stocked(act, said["rows"], later)
            entry = _entry(act, row)._replace(stocked=shelf, later=tuple(reversed(since)))
            if entry.facts or entry.stocked:
                return entry
            if not _fact_ids(row) and not entry.of_stock:
                raise Refused(
                    f"Your last entry ({entry.kind}: {entry.says}) is not of something that happened; it stays."
                )
        later |= states_changed(said["rows"])
        since.append(Later(row["id"], said["says"], said["keeper"], tuple(_fact_ids(row))))
    raise Refused("You have no entry that can be taken back.")


def _found(act: Act, seal: str) -> Row:
    wanted = seal.strip().casefold().removeprefix("[").removesuffix("]")
    if len(wanted) < 6 or any(c not in "0123456789abcdef" for c in wanted):
        raise Usage(f"{seal!r} is no entry: take the first eight digits in brackets from: quarantine journal.")
    rows = act.rows("entry", beginning=f"{wanted}%")
    if len(rows) > 1:
        raise Refused(f"{len(rows)} entries begin with {seal}; write more of its digits.")
    if not rows:
        raise Unknown("entry", seal, [], " (see: quarantine journal)")
    return rows[0]


def _fact_ids(row: Row) -> list[str]:
    return [fact["id"] for fact in json.loads(row["payload"])["rows"].get("fact", []) if fact["kind"] != "lapse"]


def _entry(act: Act, row: Row) -> Entry:
    said = json.loads(row["payload"])
    facts = [found for id_ in _fact_ids(row) if (found := standing(act, id_))]
    told = {fact["id"] for fact in facts}
    facts += [copy for fact in facts for copy in _copies(act, fact) if copy["id"] not in told]
    of_stock = is_of_stock(said["rows"])
    return Entry(row["id"], said["kind"], said["says"], instant(said["entered_at"]), facts, of_stock)


def _copies(act: Act, fact: Row) -> list[Row]:
    """What parts of its batch have of a fact, and parts of those: it was of their fish as well (rule B4)."""
    found = act.rows("copies_of", copied=f'%"{COPIED}":"{_first_id(fact)}"%')
    return [one for copy in found for one in (copy, *_copies(act, copy))]


def _first_id(fact: Row) -> str:
    """The id of the first fact of a line of corrections."""
    return str(json.loads(fact["data"]).get("first", {}).get("id", fact["id"]))


def _may_be_taken_back(entry: Entry) -> None:
    for fact in entry.facts:
        # A part of a batch has copies of what that one was told: they go with the parting.
        if (instead := NOT_TAKEN_BACK.get(fact["kind"])) and COPIED not in json.loads(fact["data"]):
            raise Refused(f"Entry {entry.seal[:8]} ({entry.kind}: {entry.says}) stays as it is: {instead}.")


def _settle(act: Act, facts: list[Row], replaced: dict[str, str], before: dict[str, Any], yes: bool) -> list[str]:
    """Open the tasks again that these facts had settled, and make the plan anew: it settles what still is."""
    touched: set[str] = set()
    batches = {b["id"]: b["state"] for b in act.rows("batches")}
    for fact in facts:
        first = _first_id(fact)
        for task in [t for id_ in {fact["id"], first} for t in act.rows("settled_by", fact=f'%"fact":"{id_}"%')]:
            # Of a batch that died out what is about the water is still to do (rule B7).
            water = batches[task["batch"]] == "died out" and task["kind"] in ("change", "chore")
            if batches[task["batch"]] in ("open", "expected") or water or _is_of_place(act, task):
                _reopen(act, task["id"])
                touched.add(task["id"])
    systems = _waters(act, facts)
    made = [replan(act, system) for system in systems]
    again = [_reopen_unsettled(act, system, plan) for system, plan in zip(systems, made, strict=True)]
    made = [replan(act, system) if any(again) else plan for system, plan in zip(systems, made, strict=True)]
    for fact in facts:
        first = _first_id(fact)
        for task in act.rows("settled_by", fact=f'%"fact":"{first}"%'):
            # The plan knows a line of corrections by its first fact; the task names the one that stands.
            if fact["id"] in replaced and task["id"] in touched:
                act.change("task", task["id"], outcome={"fact": replaced[fact["id"]]})
    moved = consequences(act, before, made)
    if moved and not (yes or act.dry_run):
        raise Refused(f"This moves dates: {'; '.join(moved)}. Say --yes to accept that.", moved=moved)
    return moved


def _is_of_place(act: Act, task: Row) -> bool:
    """Whether a task is what an incident asks for at a tank, whoever has left it."""
    steps = (row["step"] for row in act.rows("tasks_of_batch", batch=task["batch"]) if row["id"] == task["id"])
    return is_of_place(next(steps))


def _waters(act: Act, facts: list[Row]) -> list[str]:
    """The waters whose plan goes by these facts: theirs, and those that their batches are in now."""
    now_in = {b["id"]: b["system"] for b in act.rows("batches")}
    return list(dict.fromkeys([*(f["system"] for f in facts), *(now_in[f["batch"]] for f in facts if f["batch"])]))


def _reopen(act: Act, task: str) -> None:
    act.change("task", task, state="planned", outcome_at=None, outcome_by=None, outcome=None)


def _reopen_unsettled(act: Act, system: str, made: Plan) -> bool:
    """Open what several facts had settled together, where one of them stands no more: a test whose last reading is
    there and whose first was taken back. Whether there was any."""
    open_ = {task.key for task in made.tasks if task.outcome is None}
    stored = [row for row in act.rows("tasks_of_system", system=system) if row["state"] in ("done", "skipped")]
    found = [row["id"] for row in stored if row["key"] in open_]
    for id_ in found:
        _reopen(act, id_)
    return bool(found)


def _zone(act: Act, system: str) -> str:
    return str(next(tank["zone"] for tank in act.rows("tanks") if tank["system"] == system))


# --- What can be corrected ---------------------------------------------------------------------------------


def _new_data(act: Act, desk: Desk, entry: Entry, words: list[str]) -> dict[str, tuple[dict[str, Any], str]]:
    """Fact id -> its changed data, and the change in words. Raises Usage for a name that nothing there has."""
    changed: dict[str, tuple[dict[str, Any], str]] = {}
    for word in words:
        name, equals, text = word.partition("=")
        name = name.strip().casefold()
        if not equals or not text.strip():
            raise Usage(f"{word!r} does not read: write NAME=VALUE, such as seen=11 or gave=3.4g.")
        taking = [(fact, find) for fact in entry.facts if (find := _correction(fact, name))]
        if not taking:
            raise Usage(f"Entry {entry.seal[:8]} has no {name!r}; it can be corrected in: {', '.join(_names(entry))}.")
        fact, find = taking[0]
        new, says = find(act, desk, fact, text.strip())
        data, before = changed.get(fact["id"], ({}, ""))
        changed[fact["id"]] = ({**data, **new}, f"{before}; {says}" if before else says)
    return changed


Correction = Callable[[Act, Desk, Row, str], tuple[dict[str, Any], str]]


def _correction(fact: Row, name: str) -> Correction | None:
    if fact["kind"] == "reading":
        from quarantine.readings import find

        parameter = find(name)
        return _reading(name) if parameter and parameter.name == json.loads(fact["data"])["parameter"] else None
    return CORRECTIONS.get(fact["kind"], {}).get(name)


def _names(entry: Entry) -> list[str]:
    names = [name for fact in entry.facts for name in CORRECTIONS.get(fact["kind"], {})]
    names += [json.loads(fact["data"])["parameter"] for fact in entry.facts if fact["kind"] == "reading"]
    return [*dict.fromkeys(names), "--at"]


def _was(fact: Row, name: str) -> str:
    value = json.loads(fact["data"]).get(name)
    return "not said" if value is None else str(value)


def _seen(act: Act, desk: Desk, fact: Row, text: str) -> tuple[dict[str, Any], str]:
    from quarantine.actions.noting import read_count

    seen = None if text == "?" else read_count(text, "the fish seen", 0)
    return {"seen": seen}, f"seen {_was(fact, 'seen')} -> {text}"


def _appetite(act: Act, desk: Desk, fact: Row, text: str) -> tuple[dict[str, Any], str]:
    if text not in ("0", "1", "2", "3", "-"):
        raise Usage(f"Appetite is 0 none, 1 few, 2 most, 3 all at once (or - when not fed), not {text!r}.")
    says = f"appetite {_was(fact, 'appetite')} -> {text}"
    return ({"appetite": None, "offered": None} if text == "-" else {"appetite": int(text), "offered": True}), says


def _signs(act: Act, desk: Desk, fact: Row, text: str) -> tuple[dict[str, Any], str]:
    from quarantine.actions.noting import read_sign

    if text.casefold() == "none":
        return {"signs": None, "severity": None, "no_signs": True}, "no signs"
    signs = [read_sign(part) for part in text.split("+")]
    stated = {name: severity for name, severity in signs if severity}
    names = [name for name, _ in signs]
    return {"signs": names, "severity": stated, "no_signs": False}, f"signs: {', '.join(names)}"


def _note(act: Act, desk: Desk, fact: Row, text: str) -> tuple[dict[str, Any], str]:
    return {"note": "".join(c for c in text if c.isprintable())}, "note"


def _because(act: Act, desk: Desk, fact: Row, text: str) -> tuple[dict[str, Any], str]:
    return {"because": text}, f"because {text}"


def _dead(act: Act, desk: Desk, fact: Row, text: str) -> tuple[dict[str, Any], str]:
    from quarantine.actions.noting import read_count

    return {"count": read_count(text, "the dead", 1)}, f"dead {_was(fact, 'count')} -> {text}"


def _litres(key: str) -> Correction:
    def find(act: Act, desk: Desk, fact: Row, text: str) -> tuple[dict[str, Any], str]:
        from quarantine.actions.exchanging import ask_about_litres

        litres = to(read(text, "volume", key), "L")
        anew = "take the entry back (quarantine undo) and log it anew with --really"
        ask_about_litres(act, fact["system"], [litres], instant(fact["happened_at"]), if_so=anew)
        was = json.loads(fact["data"])
        # What a dose again was sized by stays known, with the time until when it was on record (rule C1).
        before = [*was.get("out_was", []), [was.get(key), text_of_instant(act.now)]]
        kept = {"out_was": before} if key == "out_litres" else {}
        return {key: litres, **kept}, f"{key.replace('_', ' ')} {_was(fact, key)} -> {show(litres)} L"

    return find


def _rate(act: Act, desk: Desk, fact: Row, text: str) -> tuple[dict[str, Any], str]:
    from quarantine.actions.exchanging import read_rate

    litres = read_rate(text)
    was = Decimal(json.loads(fact["data"])["litres_per_hour"])
    kept = flow_was(json.loads(fact["data"]), text_of_instant(act.now))
    return {"litres_per_hour": litres, **kept}, f"rate {show(was, 3)} -> {show(litres, 3)} L/h"


def _until(act: Act, desk: Desk, fact: Row, text: str) -> tuple[dict[str, Any], str]:
    """When a flow ended; "running" while it runs on."""
    zone = _zone(act, fact["system"])
    was = json.loads(fact["data"]).get("until")
    before = local_text(instant(was), zone) if was else "running"
    kept = flow_was(json.loads(fact["data"]), text_of_instant(act.now))
    if text.casefold() == "running":
        return {"until": None, **kept}, f"until {before} -> running"
    end = when(text, zone, act.now, what="until=")
    return {"until": end, **kept}, f"until {before} -> {local_text(end, zone)}"


def _refuse_backward_flow(data: dict[str, Any], moment: datetime) -> None:
    """A flow ends after it began: most often a slip of the day."""
    until = data.get("until")
    if until is not None and (until if isinstance(until, datetime) else instant(until)) <= moment:
        raise Refused("The flow would end before it began; correct until= too, or write until=running.")


def _reading(name: str) -> Correction:
    """A reading under the name that was typed; a nitrite that was said to be read as nitrogen stays so unless that name
    says otherwise."""

    def find(act: Act, desk: Desk, fact: Row, text: str) -> tuple[dict[str, Any], str]:
        from quarantine.actions.noting import read_reading
        from quarantine.readings import COPPER_FORMS, FORMS

        form_now = json.loads(fact["data"]).get("form", "")
        was = {"N": "nitrite_n", "NO2": "nitrite_no2"}.get(form_now, f"{name}_{form_now}" if form_now else name)
        parameter, value, step = read_reading(f"{name if name in (*FORMS, *COPPER_FORMS) else was}={text}")
        unit = f" {parameter.unit}" if parameter.unit else ""
        form = {"form": parameter.form} if parameter.form else {}
        data = {"value": value, "step": step, "plus_minus": parameter.error, **form}
        return data, f"{parameter.title} {_was(fact, 'value')} -> {show(value)}{unit}"

    return find


def _eaten(act: Act, desk: Desk, fact: Row, text: str) -> tuple[dict[str, Any], str]:
    """How a dose in food was eaten: all, part, none, or the grams that were left."""
    from quarantine.actions.feeding import seen_later

    return seen_later(json.loads(fact["data"]), text)


CORRECTIONS: dict[str, dict[str, Correction]] = {
    "look": {"seen": _seen, "appetite": _appetite, "signs": _signs, "note": _note},
    "died": {"dead": _dead},
    "change": {"out": _litres("out_litres"), "in": _litres("in_litres")},
    "topup": {"litres": _litres("litres")},
    "evaporation": {"litres": _litres("litres")},
    "exchange": {"rate": _rate, "until": _until},
    "dose": {"gave": gave, "eaten": _eaten},
    "done": {"note": _note},
    "skip": {"because": _because},
}
"""What can be corrected in each kind of fact, by the name a keeper types."""
