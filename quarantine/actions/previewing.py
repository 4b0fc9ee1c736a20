"""The doses of a preview: what each would be for the water that is there now, the totals, and who is in the water."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Any

from quarantine.actions import cards
from quarantine.actions.batches import Preview
from quarantine.dosing import propose
from quarantine.formulary import regimen
from quarantine.quantity import show
from quarantine.records.reads import Rows
from quarantine.settings import Home


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
        proposal = propose(substance, row, setting, target=treatment.target, mode=treatment.mode, where=where)
        again = int(task.key.rpartition(":")[2]) > 1 and treatment.mode == "replace removed"
        if again and proposal.hold is None:
            proposal = proposal._replace(dose=proposal.dose._replace(add=None, gives_low=None, gives_high=None))
            says = "what water changes will have taken out by then (rule C1)"
        elif proposal.hold is not None:
            says = f"held: {proposal.hold.says}; {proposal.hold.remedy}"
        else:
            says = f"{show(proposal.dose.add or Decimal(0))} {proposal.dose.add_unit} of {proposal.dose.add_of}"
        found[task.key] = {**cards.dose_json(proposal.dose), "says": says}
    return found


def batches_there(preview: Preview, rows: Rows) -> list[str]:
    """The open batches in the tank's water, by name: starting another one beside them is judged by rules B1 and B2."""
    found = rows.rows("batches_of_system", system=preview.tank["system"])
    return [str(batch["name"]) for batch in found if batch["state"] == "open"]


def totals_of(doses: dict[str, dict[str, Any]]) -> list[dict[str, Any]]:
    """Grams of each substance over the whole course, where every dose could be computed."""
    grams: dict[str, Decimal] = {}
    for dose in doses.values():
        if dose["add"] is not None and dose["add_unit"] == "g":
            grams[dose["substance"]] = grams.get(dose["substance"], Decimal(0)) + dose["add"]
    return [{"substance": name, "grams": total, "grams_text": show(total)} for name, total in sorted(grams.items())]
