"""Dose cards: from the record to the setting a dose is proposed for. Reads only; `today` uses it too."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from quarantine import dosing
from quarantine import evidence as ev
from quarantine.facts import Condition, in_order
from quarantine.formulary import load, regimen
from quarantine.quantity import Quantity, read, to
from quarantine.records.codec import instant, text_of_instant
from quarantine.records.loading import fact_of, system_water
from quarantine.records.reads import Row, Rows
from quarantine.settings import Home
from quarantine.water.ledger import exposures, level_of, substances_in


def setting_for(rows: Rows, home: Home, tank: Row, batch: Row | None, now: datetime) -> dosing.Setting:
    """The water of a tank's system now: volume, levels, doses, and what is known of the batch in it.

    ``tank`` needs system, shape, water and zone; ``batch`` id and arrived_at.
    """
    since = batch["arrived_at"] if batch else text_of_instant(now - timedelta(hours=24))
    facts = in_order([fact_of(row) for row in rows.rows("facts_since", system=tank["system"], since=since)])
    facts = [f for f in facts if f.at <= now]
    water, says = system_water(rows, tank["system"], now)
    levels = {}
    exposed = []
    if water is not None:
        levels = {name: level_of(facts, name, water, load(name).loss, now) for name in substances_in(facts)}
        exposed = exposures(facts, water, now)
    evidence = None
    if batch is not None:
        arrival = next(f for f in facts if f.kind == "arrival" and f.batch == batch["id"])
        evidence = ev.gather(facts, batch["id"], tank["zone"], arrival, now, exposed)
    return dosing.Setting(
        kind=tank["water"],
        zone=tank["zone"],
        now=now,
        volume=water,
        volume_says=says,
        levels=levels,
        doses=tuple(f for f in facts if f.kind == "dose"),
        evidence=evidence,
        scale_step_grams=to(read(home.value("scale_step"), "mass", "scale_step"), "g"),
        beside=_beside(rows, tank),
        readings=() if evidence else tuple(f for f in facts if f.kind == "reading"),
    )


def _beside(rows: Rows, tank: Row) -> tuple[str, ...]:
    """What the volume of a tank's water system holds beside the tank itself."""
    tanks = {row["tank"] for row in rows.rows("volumes_of_system", system=tank["system"])}
    shape = json.loads(tank["shape"])
    others = len(tanks) - 1
    shared = [f"{others} other tank{'s' if others > 1 else ''}"] if others > 0 else []
    return (*shared, *(f"the {part}" for part in ("sump", "filter") if shape.get(part)))


def batch_in(rows: Rows, system: str) -> Row | None:
    """The open batch in a system that arrived first, if there is one."""
    return next((b for b in rows.rows("open_batches") if b["system"] == system), None)


def propose_task(task: Row, setting: dosing.Setting, *, gate: bool = True) -> dosing.Proposal:
    """The card of a dose task, computed for the water as it is now. Without ``gate`` the before-checks are named and
    not judged: a look at another day cannot know that day's readings."""
    detail = json.loads(task["detail"])
    treatment = detail["treatment"]
    substance, row = regimen(treatment["regimen"])
    target = treatment["target"] and _quantity(treatment["target"])
    before = tuple(Condition(**c) for c in detail["before"])
    where = where_of(treatment["water"], treatment["filter"], treatment["off"])
    if gate:
        return dosing.propose(
            substance, row, setting, target=target, before=before, mode=treatment["mode"], where=where
        )
    setting = setting._replace(now=max(setting.now, instant(task["due_from"])))
    card = dosing.propose(substance, row, setting, target=target, mode=treatment["mode"], where=where)
    return card._replace(checks=f"To be met on the day: {'; '.join(c.title for c in before)}." if before else "")


def where_of(water: str, filter_: str, off: Iterable[str]) -> dosing.Where:
    """Which water a template doses, in the words people use."""
    return dosing.Where(water, filter_, tuple(_OFF_WORDS.get(item, item) for item in off))


_OFF_WORDS = {"uv": "UV", "auto-top-up": "auto top-up"}


def _quantity(text: str) -> Quantity:
    return read(text, "concentration", "the target")


def dose_json(dose: dosing.Dose) -> dict[str, Any]:
    """The `dose` of the contract: numbers as numbers."""
    return {**dose._asdict(), "cautions": list(dose.cautions)}


def change_litres(task: Row, rows: Rows, now: datetime) -> Decimal | None:
    """Litres of a planned change: its share of the water that is there, up to the next 0.1 L (protective: up)."""
    from quarantine.quantity import ceil_to

    fraction = json.loads(task["detail"])["fraction"]
    water, _ = system_water(rows, task["system"], now)
    if fraction is None or water is None:
        return None
    return ceil_to(Decimal(fraction) / 100 * Decimal(str(water.litres)), Decimal("0.1"))
