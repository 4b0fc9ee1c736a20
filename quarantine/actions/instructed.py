"""What the record says of a water's animals and of veterinarians' instructions for them. Reads only; light."""

from __future__ import annotations

import json
from datetime import date, datetime
from decimal import Decimal
from typing import Any, NamedTuple

from quarantine.dosing.instructing import in_force
from quarantine.dosing.setting import Instruction
from quarantine.facts import Fact, in_order, local_day
from quarantine.quantity import show
from quarantine.records.loading import fact_of
from quarantine.records.reads import Row, Rows


def facts_of(rows: Rows, system: str) -> list[Fact]:
    """The facts about instructions and animals of a water system, however old they are."""
    return in_order([fact_of(row) for row in rows.rows("instructions_and_animals", system=system)])


def instructions_here(facts: list[Fact], batches: list[Row], day: date) -> tuple[Instruction, ...]:
    """The instructions in force on a day for these batches."""
    return in_force(facts, day, {batch["id"]: batch["name"] for batch in batches})


def of_water(rows: Rows, system: str, batches: list[Row], zone: str, now: datetime) -> dict[str, Any]:
    """The fields of a dose's setting that say which animals are in the water and what was instructed for them."""
    facts = [f for f in facts_of(rows, system) if f.at <= now]
    ids = {batch["id"] for batch in batches}
    company: dict[str, str] = {}
    said: dict[str, tuple[str, ...]] = {}
    for fact in facts:
        if fact.kind != "animals" or (fact.batch is not None and fact.batch not in ids):
            continue
        name = fact.data["species"].casefold()
        if fact.data["lives"] == "gone":
            company.pop(name, None)
            said.pop(name, None)
            continue
        said[name] = tuple(fact.data["groups"])
        if fact.data["lives"] == "beside":
            company[name] = fact.data["species"]
    fish = [one["species"] for batch in batches for one in json.loads(batch["fish"])]
    return {
        "species": tuple(dict.fromkeys((*fish, *company.values()))),
        "said_groups": tuple(said.items()),
        "instructions": instructions_here(facts, batches, local_day(now, zone)),
    }


class Kept(NamedTuple):
    """An instruction as it was recorded, and how it stands on a day."""

    batch: Row
    data: dict[str, Any]
    state: str


def on_record(rows: Rows, batch: Row | None, now: datetime) -> list[Kept]:
    """All instructions, oldest first: of one batch, or of all. States: in force, later, over, withdrawn, replaced."""
    chosen = rows.rows("batches") if batch is None else [batch]
    found = []
    for one in chosen:
        facts = [f for f in facts_of(rows, one["system"]) if f.batch == one["id"]]
        standing = {made.id for made in instructions_here(facts, [one], local_day(now, one["zone"]))}
        for place, fact in enumerate(facts):
            if fact.kind == "instruction":
                found.append(Kept(one, fact.data, _state(fact, facts[place + 1 :], standing, one, now)))
    return found


def _state(fact: Fact, later: list[Fact], standing: set[str], batch: Row, now: datetime) -> str:
    if fact.id in standing:
        return "in force"
    after = [f for f in later if f.data["regimen"] == fact.data["regimen"]]
    if after:
        return "withdrawn" if after[0].kind == "instruction_withdrawn" else "replaced"
    return "over" if fact.data["until"] < local_day(now, batch["zone"]).isoformat() else "later"


def lines_of_batch(rows: Rows, batch: Row, now: datetime) -> list[str]:
    """What a sign-off lists: every instruction the batch was under, with how it stands."""
    return [
        f"On the instruction of {k.data['who']}, {k.data['on']}: {k.data['regimen']}, {show(Decimal(k.data['dose']))} "
        f'{k.data["dose_unit"]}, until {k.data["until"]} ({k.state}): "{k.data["words"]}"'
        for k in on_record(rows, batch, now)
    ]
