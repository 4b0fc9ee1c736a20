"""Fish that enter a water: not while medicine is in it (B2); what a second source means for those there (F72)."""

from __future__ import annotations

import json
import re
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any, NamedTuple

from quarantine.actions.brought import SURELY_OUT
from quarantine.actions.desk import local_text
from quarantine.actions.instructed import facts_of, instructions_here
from quarantine.dosing.instructing import ADDING, on_the_instruction
from quarantine.facts import Fact, in_order, local_day
from quarantine.failures import Refused, Usage
from quarantine.formulary import Substance, load, regimen
from quarantine.luggage import MOVED_IN, last_move
from quarantine.quantity import show, show_significant
from quarantine.records.codec import instant
from quarantine.records.loading import fact_of, system_water
from quarantine.records.reads import Row, Rows
from quarantine.water.ledger import Water

if TYPE_CHECKING:
    from quarantine.records.store import Act


class Fish(NamedTuple):
    """One line of a batch: how many, of what, and what else was said."""

    number: int
    species: str
    note: str


_SIZE = re.compile(r"[0-9]+(?:[.,][0-9]+)?(?:\s*(?:-|to)\s*[0-9]+(?:[.,][0-9]+)?)?")


def read_fish(text: str, option: str = "--fish") -> Fish:
    """ "12 Melanotaenia praecox, 3 cm" -> 12, the species, "3 cm". Raises Usage for what does not read, and for a size
    without its unit."""
    found = re.fullmatch(r"\s*(\d{1,6})\s+([^,]+?)\s*(?:,\s*(.*?)\s*)?", text)
    if found is None or int(found[1]) < 1:
        raise Usage(
            f'{option} {text!r} does not read: write a count and a name, such as "12 Melanotaenia praecox, 3 cm".'
        )
    name, note = found[2], found[3] or ""
    *words, last = name.split()
    size = (
        note
        if _SIZE.fullmatch(note)
        else last
        if len(words) > 1 and len(words[-1]) > 1 and _SIZE.fullmatch(last)
        else ""
    )
    if size:
        of = name if size == note else " ".join(words)
        raise Usage(
            f'{option} {text!r}: {size} of what? Write a size with its unit, in cm or inches: "{found[1]} {of}, '
            f'{size} cm".'
        )
    return Fish(int(found[1]), name, note)


class Held(NamedTuple):
    """A substance that is in the water: its level's upper bound as words, and when it came in last."""

    substance: Substance
    up_to: str
    last: datetime


def still_in(rows: Rows, system: str, at: datetime) -> tuple[Held, ...]:
    """What medicine a water may still hold at an instant: every level whose upper bound is above zero (rule B2).

    Salt is no medicine here (rule A9). Where the volume is not known, neither is any level.
    """
    from quarantine.water.ledger import level_of, substances_in

    facts = in_order([fact_of(row) for row in rows.rows("facts_since", system=system, since="9999")])
    facts = [f for f in facts if f.at <= at]
    water, _ = system_water(rows, system, at)
    found = []
    for name in substances_in(facts):
        substance = load(name)
        came = [f for f in facts if f.data.get("route") not in ("dip", "food") and _brought(f, name)]
        if "salt" in substance.classes or not came:
            continue
        high = None if water is None else level_of(facts, name, water, "none", at).high
        if high is not None and high <= SURELY_OUT:
            continue
        shown = None if high is None else show_significant(Decimal(repr(high)), 3, up=True)
        up_to = "an unknown amount" if shown is None else f"up to {shown} {substance.ledger_unit}"
        found.append(Held(substance, up_to, came[-1].at))
    return (*found, *_by_kit_alone(facts, water, at))


def _by_kit_alone(facts: list[Fact], water: Water | None, at: datetime) -> tuple[Held, ...]:
    """Copper that a kit found for certain and nothing on record put in: a level all the same (rules B2 and C13)."""
    from quarantine.water.ledger import level_of, substances_in

    read = [f for f in facts if f.kind == "reading" and f.data["parameter"] == "copper"]
    if water is None or not read or "copper" in substances_in(facts):
        return ()
    level, substance = level_of(facts, "copper", water, "none", at), load("copper")
    if not level.low or level.high is None:
        return ()
    shown = show_significant(Decimal(repr(level.high)), 3, up=True)
    return (Held(substance, f"up to {shown} {substance.ledger_unit}, by a kit,", read[-1].at),)


def _brought(fact: Fact, name: str) -> bool:
    """Whether a fact put some of a substance into the water: by a dose, with new water, or nobody knows how much."""
    if fact.kind in ("dose", "unknown_addition"):
        return bool(fact.data.get("substance") == name)
    return name in fact.data.get("brings", {})


def ask_about_medicine(rows: Rows, tank: Row, at: datetime, *, really: bool) -> list[str]:
    """Rule B2 before fish enter: refused with each level and how to clear it, save on a veterinary instruction.

    ``really`` records what happened all the same (rule C7); the lines answer it with what to watch. Raises Refused.
    """
    held = still_in(rows, tank["system"], at)
    if not held:
        return []
    batches = [b for b in rows.rows("open_batches") if b["system"] == tank["system"]]
    in_force = instructions_here(facts_of(rows, tank["system"]), batches, local_day(at, tank["zone"]))
    named = {regimen(one.regimen)[0].id: one for one in in_force if ADDING in one.passes}
    lines = [on_the_instruction(named[one.substance.id]) for one in held if one.substance.id in named]
    open_ = [one for one in held if one.substance.id not in named]
    if not open_:
        return lines
    what = " and ".join(f"{one.up_to} of {one.substance.name}" for one in open_)
    clear = _clearing(rows, tank, at)
    if not really:
        batch = batches[0]["name"] if batches else "BATCH"
        raise Refused(
            f"{tank['name']} still holds {what}: no fish are added to medicated water (rule B2). {clear} On a "
            f"veterinarian's instruction they may enter: quarantine vet add {batch} --passes {ADDING} and the rest. If "
            "they are in already, say --really."
        )
    return [
        *lines,
        f"These fish went into {what}. Watch them without a break for the first hour and again every few hours (how "
        "long: our choice, no source): gasping, rolling or lying on the ground: into clean water of the same "
        "temperature at once. Strong aeration; no dose more; ask a veterinarian about the part of the course they "
        f"missed. {clear}",
    ]


def _clearing(rows: Rows, tank: Row, at: datetime) -> str:
    water, _ = system_water(rows, tank["system"], at)
    litres = "" if water is None else f", {show(Decimal(repr(water.litres)), 1)} L,"
    return (
        f"To clear it change all of the water{litres} at once or in steps, and log it: quarantine event change; carbon "
        "alone proves nothing (rule C12)."
    )


def second_source(rows: Rows, tank: Row, entering: str, source: str, at: datetime) -> list[str]:
    """Said once, when a second batch or source enters a water: who shares its risk from now on (F72)."""
    here = [b for b in rows.rows("open_batches") if b["system"] == tank["system"] and b["name"] != entering]
    if not here:
        return []
    moves = [fact_of(row) for row in rows.rows("facts_of_kind", kind=MOVED_IN, system=tank["system"])]
    who = "; ".join(f"{b['name']} from {b['source']}, in it since {_in_since(b, moves)}" for b in here)
    return [
        f"Two batches share this water from now on: {entering} from {source} beside {who}. What one carries the others "
        "can catch, and each dose goes to all of them (rules B2 and B5)."
    ]


def added_line(batch: Row, data: dict[str, Any]) -> dict[str, Any] | None:
    """Fish that come into a batch as a line of its fish: which they are is asked where the batch has several species.
    None where they are as the others. Raises Usage."""
    known = list(dict.fromkeys(line["species"] for line in json.loads(batch["fish"])))
    if "species" not in data:
        if len(known) > 1:
            raise Usage(f'Which fish came? Batch {batch["name"]} has {" and ".join(known)}: say --species "NAME".')
        return None
    fish = read_fish(f"{data['count']} {data['species']}", "--species")
    name = next((one for one in known if one.casefold() == fish.species.casefold()), fish.species)
    return {"count": fish.number, "species": name, "note": fish.note}


def forget_added(act: Act, fact: Row) -> None:
    """Fish that did not come in after all are no line of their batch."""
    first = json.loads(fact["data"]).get("first", {}).get("id", fact["id"])
    for batch in act.rows("batches"):
        lines = json.loads(batch["fish"])
        kept = [line for line in lines if line.get("added") != first]
        if kept != lines:
            act.change("batch", batch["id"], fish=kept)


def _in_since(batch: Row, moves: list[Fact]) -> str:
    """When a batch came into the water it is in, as people at its site write it: by its last move, else by arriving."""
    move = last_move(moves, batch["id"])
    return local_text(instant(batch["arrived_at"]) if move is None else move.at, batch["zone"])


def sick_beside(entering: list[Row], resident: list[Row], there: Row) -> list[str]:
    """Said before fish go in beside others: which of them have a sign that nobody said is gone; who can catch it."""
    groups = ((entering, resident), (resident, entering))
    return [
        f"{one['name']} shows {', '.join(signs)}: in {there['name']} {' and '.join(b['name'] for b in others)} can "
        "catch what it has (rule B5)."
        for sick, others in groups
        for one in sick
        if others and (signs := [sign["name"] for sign in json.loads(one["standing"])["signs"]])
    ]
