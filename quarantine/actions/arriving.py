"""The bag: what was read of it, the way from it into the tank, and the chores of day 0."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, NamedTuple

from quarantine.facts import Fact, local_day
from quarantine.failures import Refused
from quarantine.protocol import Protocol
from quarantine.quantity import show
from quarantine.readiness import chores_of_arrival, claim, numbered, tank_water, tasks_of_arrival
from quarantine.readings import PARAMETERS
from quarantine.records.codec import text_of_instant
from quarantine.records.loading import fact_of
from quarantine.records.reads import Row, Rows

TANK_WITHIN = timedelta(hours=12)
"""A temperature older than this is unknown (rule C14); the tank's other readings are judged alike."""


class Bag(NamedTuple):
    """What a keeper said of the bag or box. Readings by parameter name as (value, step of the kit) in the parameter's
    own unit; ``litres`` of water in the bag, ``packed_ph`` when it was packed, ``transit_hours`` it was closed,
    ``claim_hours`` in which the source takes a claim, from the arrival on."""

    readings: dict[str, tuple[Decimal, Decimal]]
    litres: Decimal | None = None
    packed_ph: Decimal | None = None
    transit_hours: Decimal | None = None
    box: str = ""
    claim_hours: Decimal | None = None

    def data(self) -> dict[str, Any]:
        """The same for the arrival fact; what was not said is left out."""
        read = {name: {"value": value, "step": step} for name, (value, step) in self.readings.items()}
        bag = {**read, "litres": self.litres, "packed_ph": self.packed_ph}
        said = {
            "bag": {k: v for k, v in bag.items() if v is not None},
            "transit_hours": self.transit_hours,
            "box": self.box,
            "claim_hours": self.claim_hours,
        }
        return {k: v for k, v in said.items() if v}


class Welcome(NamedTuple):
    """What an arrival brings beside the batch: data for its fact, chores of day 0 and lines for the keeper."""

    data: dict[str, Any]
    chores: list[Any]
    lines: list[str]


def welcome(rows: Rows, tank: Row, template: Protocol, at: datetime, now: datetime, bag: Bag, yes: bool) -> Welcome:
    """The way from the bag into the tank, computed from both their readings where the bag's temperature was said.

    Chores are made for an arrival of today only. Raises Refused where the tank's temperature is not known, unless
    ``yes`` or the arrival lies days back: then nothing is computed.
    """
    today = local_day(at, tank["zone"]) == local_day(now, tank["zone"])
    own = any(
        step.kind == "chore" and step.start.kind == "arrival" and step.start.by.value == 0 for step in template.steps
    )
    way = _way(rows, tank, at, now, bag, ask=today and not yes) if "temperature" in bag.readings else None
    per_litre = bag.litres is None
    chores = chores_of_arrival(way, per_litre=per_litre, own_chore=own) if today else []
    if bag.claim_hours is not None and at + timedelta(hours=float(bag.claim_hours)) > now:
        chores.append(claim(bag.claim_hours))
    data = bag.data()
    if way is None:
        return Welcome(data, chores, [])
    advised, other = (way.steps, way.release) if way.advised == "steps" else (way.release, way.steps)
    data["acclimation"] = {
        "advised": way.advised,
        "because": way.because,
        "tank_first": list(way.tank_first),
        "steps": numbered(advised, per_litre=per_litre),
        "other": numbered(other, per_litre=per_litre),
        "cautions": list(way.cautions),
    }
    return Welcome(data, chores, acclimation_lines(data["acclimation"]))


def _way(rows: Rows, tank: Row, at: datetime, now: datetime, bag: Bag, *, ask: bool) -> Any:
    from quarantine.water.acclimation import Bag as BagWater
    from quarantine.water.acclimation import acclimation

    water = tank_water(_tank_readings(rows, tank, at, now), tank["water"])
    if water is None:
        if not ask:
            return None
        raise Refused(
            f"The way from the bag into {tank['name']} needs the tank's temperature, and none was read in the last "
            f"12 h: quarantine reading {tank['name']} temp=...C ph=... tan=...mg/L first. (--yes records the arrival "
            "without.)"
        )
    read = {name: (float(value), float(step)) for name, (value, step) in bag.readings.items()}
    said = BagWater(
        litres=float(bag.litres or 1),  # where it is not known every addition is for one litre of bag water
        celsius=read["temperature"],
        ph=read.get("ph"),
        tan_mg_per_l=read.get("tan"),
        salinity_g_per_l=read.get("salinity"),
        closed_hours=None if bag.transit_hours is None else float(bag.transit_hours),
        packed_ph=None if bag.packed_ph is None else float(bag.packed_ph),
    )
    return acclimation(said, water)


def _tank_readings(rows: Rows, tank: Row, at: datetime, now: datetime) -> list[Fact]:
    since = text_of_instant(at - TANK_WITHIN)
    found = [fact_of(row) for row in rows.rows("facts_since", system=tank["system"], since=since)]
    until = min(now, at + TANK_WITHIN)
    return [f for f in found if f.kind == "reading" and f.tank == tank["id"] and at - TANK_WITHIN <= f.at <= until]


def acclimation_lines(way: dict[str, Any]) -> list[str]:
    """A stored way into the tank: what comes first, the numbered steps, why this way, the other one, the cautions."""
    lines = [f"Before the bag is opened: {first}" for first in way["tank_first"]]
    lines.append("From the bag into the tank:")
    lines += [f"  {step}" for step in way["steps"]]
    lines.append(f"This way, because {way['because']}.")
    if way["other"]:
        lines.append(f"The other way the sources name: {' '.join(way['other'])}")
    return [*lines, *(f"Caution: {caution}" for caution in way["cautions"])]


def bag_lines(arrival: dict[str, Any]) -> list[str]:
    """What was said of the bag at an arrival, in lines; none where nothing was."""
    bag = arrival.get("bag", {})
    said = []
    for name, parameter in PARAMETERS.items():
        if name in bag:
            unit = f" {parameter.unit}" if parameter.unit else ""
            said.append(f"{parameter.title} {show(Decimal(bag[name]['value']))}{unit}")
    if "litres" in bag:
        said.append(f"{show(Decimal(bag['litres']))} L of water")
    if "packed_ph" in bag:
        said.append(f"pH when packed {show(Decimal(bag['packed_ph']))}")
    if "transit_hours" in arrival:
        said.append(f"{show(Decimal(arrival['transit_hours']))} h on the way")
    lines = [f"Bag: {', '.join(said)}."] if said else []
    if "claim_hours" in arrival:
        lines.append(f"The source takes claims for {show(Decimal(arrival['claim_hours']))} h from the arrival.")
    return [*lines, *([f"Box: {arrival['box']}"] if arrival.get("box") else [])]


def chore_tasks(batch: str, tank: Row, arrival: Fact, chores: list[Any]) -> tuple[list[Any], dict[Any, Any]]:
    """The chores of day 0 as tasks, and their details by (batch, step)."""
    from quarantine.actions.readying import detail_of_item

    tasks = tasks_of_arrival(batch, tank["id"], arrival, tank["zone"], chores)
    details = {(batch, t.step): detail_of_item(c.note) for t, c in zip(tasks, chores, strict=True)}
    for task, chore in zip(tasks, chores, strict=True):
        if chore.within_hours is not None:  # it speaks for the room to the source
            details[batch, task.step]["who"] = "keeper"
    return tasks, details
