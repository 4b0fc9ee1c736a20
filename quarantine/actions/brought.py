"""What is in a water that goes along with fish that are moved out of it (rules B3 and C12). Reads only."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Any

from quarantine.facts import Fact, in_order
from quarantine.records.loading import fact_of, system_water
from quarantine.records.reads import Rows

NONE, ALL, SOME = "none", "all", "some"
"""How a water went along: the data of a move. ``SOME``: nobody knows how much, perhaps nothing."""

SURELY_OUT = 1e-9
"""A level whose upper bound is a float's tail of nothing is nothing."""


def may_hold(rows: Rows, system: str, moment: datetime) -> list[str]:
    """Every substance whose upper bound is above zero, or not known, in a water; "" where any may be in it."""
    from quarantine.water.ledger import level_of, never_dosed, steps_of, substances_in

    facts = _until(rows, system, moment)
    water, _ = system_water(rows, system, moment)
    if water is None:
        strange = any(f.kind == "unknown_addition" and not f.data.get("substance") for f in facts)
        put_in = ("dose", "unknown_addition", "reading")
        return (
            [""]
            if strange
            else [
                name
                for name in substances_in(facts)
                if any(step.kind in put_in or step.incoming_high > 0 for step in steps_of(facts, name))
            ]
        )
    if not never_dosed(facts, water, moment).known:
        return [""]
    levels = ((name, level_of(facts, name, water, "none", moment).high) for name in substances_in(facts))
    return [name for name, high in levels if high is None or high > SURELY_OUT]


def all_of_it(rows: Rows, system: str, into: str, moment: datetime) -> dict[str, Any] | None:
    """The change by which a tank was filled with an old water: what was in that is in this one, between the same
    bounds. None where a level there is not known."""
    from quarantine.formulary import load
    from quarantine.water.ledger import level_of, never_dosed, substances_in

    facts = _until(rows, system, moment)
    water, _ = system_water(rows, system, moment)
    new, _ = system_water(rows, into, moment)
    if water is None or new is None or not never_dosed(facts, water, moment).known:
        return None
    brings = {}
    for name in substances_in(facts):
        level = level_of(facts, name, water, load(name).loss, moment)
        high = level_of(facts, name, water, "none", moment).high
        if high is None or level.low is None:
            return None
        if high > 0:
            brings[name] = [Decimal(repr(round(level.low, 9))), Decimal(repr(round(high, 9)))]
    litres = Decimal(repr(new.litres))
    return {"out_litres": litres, "in_litres": litres, **({"brings": brings} if brings else {})}


def _until(rows: Rows, system: str, moment: datetime) -> list[Fact]:
    found = rows.rows("facts_since", system=system, since="9999")
    return in_order([fact for row in found if (fact := fact_of(row)).at <= moment])
