"""The doses of a preview: what each would be for the water that is there now, the totals, and who is in the water;
and what courses that have not begun take out of the stock."""

from __future__ import annotations

import json
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from quarantine.actions import cards
from quarantine.actions.batches import Preview, made_preview
from quarantine.actions.planning import detail_of
from quarantine.actions.shelf import stock_zone
from quarantine.actions.shopping import Open, course_lines, item_json, shopping
from quarantine.actions.systems import frozen
from quarantine.dosing import from_stock, propose
from quarantine.facts import local_day, utc
from quarantine.formulary import regimen
from quarantine.quantity import show
from quarantine.readiness import midnight
from quarantine.records.reads import Rows
from quarantine.settings import Home
from quarantine.stock import counted

THIS = "this batch"
"""What a course that is only looked at is called beside those on record; no batch has such a name by itself."""


def doses_of(preview: Preview, rows: Rows, home: Home, now: datetime) -> dict[str, dict[str, Any]]:
    """Task key -> its dose for the tank's water now; readings of the day cannot be known yet."""
    setting = cards.setting_for(rows, home, preview.tank, None, now)._replace(levels={}, doses=())
    steps = {step.id: step for step in preview.protocol.steps}
    found = {}
    for task in preview.plan.tasks:
        treatment = steps[task.step].treatment
        if treatment is None:
            continue
        substance, row = regimen(treatment.regimen)
        longest = str(treatment.longest) if treatment.longest else ""
        where = cards.where_of(treatment.water, treatment.filter, treatment.off, longest)
        measured = from_stock(substance, setting)
        proposal = propose(substance, row, measured, target=treatment.target, mode=treatment.mode, where=where)
        again = int(task.key.rpartition(":")[2]) > 1 and treatment.mode == "replace removed"
        if again and proposal.hold is None:
            proposal = proposal._replace(dose=proposal.dose._replace(add=None, gives_low=None, gives_high=None))
            says = "what water changes will have taken out by then (rule C1)"
        elif proposal.hold is not None:
            says = f"held: {proposal.hold.says}; {proposal.hold.remedy}"
        else:
            amount = counted(proposal.dose.add or Decimal(0), proposal.dose.add_unit)
            says = f"{amount} of {proposal.dose.add_of}"
        found[task.key] = {**cards.dose_json(proposal.dose), "says": says}
    return found


def batches_there(preview: Preview, rows: Rows) -> list[str]:
    """The open batches in the tank's water, by name: starting another one beside them is judged by rules B1 and B2."""
    found = rows.rows("batches_of_system", system=preview.tank["system"])
    return [str(batch["name"]) for batch in found if batch["state"] == "open"]


def expected_tasks(rows: Rows, now: datetime) -> list[Open]:
    """What the course of each batch that is expected takes, as if it came on its first day."""
    batches = rows.rows("expected_batches")
    tanks = {tank["id"]: tank for tank in rows.rows("tanks")} if batches else {}
    found = []
    for batch in batches:
        first, tank = date.fromisoformat(json.loads(batch["standing"])["expected"]["first"]), tanks[batch["tank"]]
        at = max(midnight(first, tank["zone"]), utc(now))  # what is late has not come before now
        found += preview_tasks(made_preview(rows, frozen(rows, batch["copy_id"]), tank, at, at), batch["name"])
    return found


def preview_tasks(preview: Preview, name: str) -> list[Open]:
    """What takes something in a course that is not on record, for a batch of that name."""
    steps = {step.id: step for step in preview.protocol.steps}
    return [
        Open(
            key=task.key,
            code="",
            kind=task.kind,
            step=task.step,
            title=task.title,
            day=task.day,
            done=False,
            batch=name,
            on_record=None,
            tank=preview.tank,
            detail=detail_of(preview.protocol, steps[task.step]),
            copy=preview.protocol.text,
        )
        for task in preview.plan.tasks
        if task.kind in ("dose", "change", "chore") and task.state == "planned" and task.step in steps
    ]


def stock_of(preview: Preview, rows: Rows, home: Home, now: datetime) -> tuple[list[dict[str, Any]], list[str]]:
    """What the course takes beside all that is planned already, against the stock (F76): for JSON, and as lines."""
    made = shopping(rows, home, now, more=[*expected_tasks(rows, now), *preview_tasks(preview, THIS)])
    mine = {need.substance for need in made.needs if need.batch == THIS}
    items = [item_json(item) for item in made.items if item.kept.substance in mine]
    return items, course_lines(made, THIS, local_day(now, stock_zone(rows)))


def totals_of(doses: dict[str, dict[str, Any]]) -> list[dict[str, Any]]:
    """What the whole course takes of each substance, as it is measured out: g, mL or tablets; of doses that could be
    computed."""
    sums: dict[tuple[str, str], Decimal] = {}
    for dose in doses.values():
        if dose["add"] is not None:
            key = dose["substance"], dose["add_unit"]
            sums[key] = sums.get(key, Decimal(0)) + dose["add"]
    return [_total(name, unit, amount) for (name, unit), amount in sorted(sums.items())]


def _total(name: str, unit: str, amount: Decimal) -> dict[str, Any]:
    if unit == "g":
        return {"substance": name, "grams": amount, "grams_text": show(amount)}
    return {"substance": name, "amount": amount, "unit": unit}


def total_words(total: dict[str, Any]) -> str:
    """One of the totals in words: "0.18 g of praziquantel"."""
    amount, unit = (total["grams"], "g") if "grams" in total else (total["amount"], total["unit"])
    return f"{counted(amount, unit)} of {total['substance']}"
