"""From facts to a substance's ledger in one water system: which facts touch its level, and when contact ends."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import NamedTuple

from quarantine.facts import Fact, in_order
from quarantine.water.level import Level, Step, level

CONTACT_SHARE = Decimal("0.05")
"""Contact has ended when the upper bound is at most this share of the target (rule A9; our choice, no source)."""


class Water(NamedTuple):
    """Litres really there, with their uncertainty."""

    litres: float
    plus_minus_litres: float


class Exposure(NamedTuple):
    """A substance in the water: from the first dose of a run to the end of contact (None: still in contact)."""

    substance: str
    since: datetime
    last_dose: datetime
    until: datetime | None
    target_mg_per_l: Decimal
    high_mg_per_l: Decimal | None
    """the upper bound now; None when it is unknown"""


def steps_of(facts: list[Fact], substance: str) -> list[Step]:
    """The ledger lines of one substance from a system's facts, in time order."""
    steps = []
    for fact in in_order(facts):
        data = fact.data
        if fact.kind == "dose" and data.get("substance") == substance and data.get("route") in ("bath", "prolonged"):
            mass = float(data["mass_mg"])
            steps.append(Step("dose", fact.at, mass_mg_low=mass, mass_mg_high=mass))
        elif fact.kind == "change":
            steps.append(
                Step(
                    "change",
                    fact.at,
                    out_litres=float(data["out_litres"]),
                    in_litres=float(data["in_litres"]),
                )
            )
        elif fact.kind in ("topup", "evaporation"):
            steps.append(Step(fact.kind, fact.at, litres=float(data["litres"])))
        elif fact.kind == "removal":
            steps.append(Step("removal", fact.at))
        elif fact.kind == "unknown_addition" and data.get("substance") in (None, substance):
            steps.append(Step("unknown_addition", fact.at))
    return steps


def substances_in(facts: list[Fact]) -> list[str]:
    """Every substance that was ever dosed into the water, in alphabetical order."""
    return sorted({f.data["substance"] for f in facts if f.kind == "dose" and f.data.get("substance")})


def level_of(facts: list[Fact], substance: str, water: Water, loss: str, until: datetime) -> Level:
    """The level of a substance at an instant, mg/L, as two bounds (rules C1, C2, C12).

    Water that is put in beyond what is on record as gone restores what nobody wrote down, or stands over the mark:
    which of the two is not known, so it lowers the lower bound only.
    """
    steps = [step for step in steps_of(facts, substance) if step.at <= until]
    found = level(steps, water, loss, until)
    restored = _restored(steps)
    if restored == steps or not found.known:
        return found
    return Level(found.low, level(restored, water, loss, until).high)


def _restored(steps: list[Step]) -> list[Step]:
    """The steps without the water that was put in beyond what had gone before."""
    gone, found = 0.0, []
    for step in steps:
        if step.kind == "evaporation":
            gone += step.litres
        elif step.kind == "topup":
            step = step._replace(litres=min(step.litres, gone))
            gone -= step.litres
        elif step.kind == "change":
            step = step._replace(in_litres=min(step.in_litres, gone + step.out_litres))
            gone += step.out_litres - step.in_litres
        found.append(step)
    return found


def short_of_mark(facts: list[Fact], since: dict[str, datetime]) -> Decimal:
    """Litres by which the record says that a water system holds less than its volume on record, zero or more.

    ``since`` is from when on each tank's volume holds; what went or came before is in it. More put in than had gone
    restores evaporation that nobody wrote down, and is no surplus.
    """
    short = Decimal(0)
    for fact in in_order(facts):
        if fact.tank is not None and fact.tank in since and fact.at < since[fact.tank]:
            continue
        if fact.kind == "change":
            short += Decimal(fact.data["out_litres"]) - Decimal(fact.data["in_litres"])
        elif fact.kind in ("evaporation", "topup"):
            short += Decimal(fact.data["litres"]) * (1 if fact.kind == "evaporation" else -1)
        short = max(short, Decimal(0))
    return short


def never_dosed(facts: list[Fact], water: Water, until: datetime) -> Level:
    """The level of a substance that no dose on record put in: none, or unknown after an addition of unknown size."""
    return level_of(facts, "", water, "none", until)


def exposures(facts: list[Fact], water: Water | None, until: datetime) -> list[Exposure]:
    """Each substance's run in the water, and when its contact ended (rule A9).

    A dip and a dose in food end when given: they do not stay in the water. Supporting doses (``counts`` false) are
    left out. Without ``water`` nobody can say that a bath has ended.
    """
    found = []
    ordered = [f for f in in_order(facts) if f.at <= until]
    for substance in substances_in(ordered):
        mine = [f for f in ordered if f.kind == "dose" and f.data.get("substance") == substance]
        doses = [f for f in mine if f.data.get("counts", True)]
        if not doses:
            continue
        last = doses[-1]
        end: datetime | None = last.at
        high: float | None = 0.0
        baths = [f for f in doses if f.data.get("route") in ("bath", "prolonged")]
        target = Decimal((baths or doses)[-1].data["target_mg_per_l"])
        if baths:
            over = _contact_end(ordered, substance, water, target, baths[-1].at, until) if water else None
            end = None if over is None else max(over, last.at)
            high = level_of(ordered, substance, water, "none", until).high if water else None
        upper = None if high is None else Decimal(repr(high))
        found.append(Exposure(substance, doses[0].at, last.at, end, target, upper))
    return found


def _contact_end(
    facts: list[Fact], substance: str, water: Water, target: Decimal, since: datetime, until: datetime
) -> datetime | None:
    limit = float(target * CONTACT_SHARE)
    for step in steps_of(facts, substance):
        if since < step.at <= until and step.kind == "change":
            high = level_of(facts, substance, water, "none", step.at).high
            if high is not None and high <= limit:
                return step.at
    return None
