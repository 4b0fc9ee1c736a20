"""Dose cards: from the record to the setting a dose is proposed for. Reads only; `today` uses it too."""

from __future__ import annotations

import json
from datetime import datetime
from decimal import Decimal
from typing import Any

from quarantine import dosing
from quarantine import evidence as ev
from quarantine.facts import Condition, in_order
from quarantine.formulary import load, regimen
from quarantine.quantity import Quantity, read, to
from quarantine.records.codec import instant
from quarantine.records.loading import fact_of, system_water
from quarantine.records.reads import Row, Rows
from quarantine.settings import Home
from quarantine.water.ledger import exposures, level_of, substances_in


def setting_for(rows: Rows, home: Home, tank: Row, batch: Row | None, now: datetime) -> dosing.Setting:
    """The water of a tank's system now: volume, levels, doses, and what is known of the batch in it.

    ``tank`` needs system, water and zone; ``batch`` id and arrived_at.
    """
    since = batch["arrived_at"] if batch else "9999"
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
    )


def batch_in(rows: Rows, system: str) -> Row | None:
    """The open batch in a system that arrived first, if there is one."""
    return next((b for b in rows.rows("open_batches") if b["system"] == system), None)


def propose_task(task: Row, setting: dosing.Setting, *, gate: bool = True) -> dosing.Proposal:
    """The card of a dose task, computed for the water as it is now. Without ``gate`` the before-checks are left out:
    a look at another day cannot know that day's readings."""
    detail = json.loads(task["detail"])
    treatment = detail["treatment"]
    substance, row = regimen(treatment["regimen"])
    target = treatment["target"] and _quantity(treatment["target"])
    before = tuple(Condition(**c) for c in detail["before"]) if gate else ()
    if not gate:
        setting = setting._replace(now=max(setting.now, instant(task["due_from"])))
    return dosing.propose(substance, row, setting, target=target, before=before, mode=treatment["mode"])


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
