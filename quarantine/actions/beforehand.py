"""What would hold a dose that a veterinarian instructs, said when the instruction is recorded and not on the morning
on which it is to be given."""

from __future__ import annotations

from quarantine import dosing
from quarantine.actions import cards
from quarantine.dosing.forms import oxygen_hold
from quarantine.formulary import Regimen, Substance
from quarantine.quantity import Quantity
from quarantine.records.reads import Row
from quarantine.records.store import Act
from quarantine.settings import Home


def would_hold(act: Act, home: Home, batch: Row, substance: Substance, row: Regimen, dose: Quantity) -> list[str]:
    """The holds that a dose of this size meets in the water as it is now, a line each: the first of all, and what it
    takes from the oxygen, which another hold may hide. ``batch`` needs its row's tank; empty where there is none."""
    tank = next(t for t in act.rows("tanks") if t["id"] == batch["tank"])
    setting = cards.setting_for(act, home, tank, batch, act.now)
    holds = [dosing.propose(substance, row, setting).hold]
    if dosing.counts_in_ledger(substance, dose.unit):
        breath = oxygen_hold(substance, row, setting, dosing.in_ledger(substance, dose), ())
        holds += [breath] if breath is not None and breath.figure is not None else []
    said = {hold.says: hold for hold in holds if hold is not None}
    return [
        f"In the water as it is now it would be held: {hold.says} (rule: {hold.rule}). What to do: {hold.remedy}."
        for hold in said.values()
    ]
