"""The longest contact of a level that is held by readings: its last day, what is planned after it, and what clears it
(rules A12, B8 and C5)."""

from __future__ import annotations

from quarantine.failures import Unknown
from quarantine.formulary.contact import TOP_UP, Held
from quarantine.luggage import doses_before
from quarantine.plan.contact import clearing_steps
from quarantine.plan.ground import Ground
from quarantine.plan.model import Anchor, Run
from quarantine.plan.windows import window_of
from quarantine.protocol import Step


def held_for(step: Step, ground: Ground) -> Held | None:
    """How long the level of a dose may be held, counted from the first one of the stay; None before that one, and
    where its row has no longest contact or is topped up to no reading."""
    if step.treatment is None or step.treatment.mode != TOP_UP:
        return None
    from quarantine.formulary import regimen
    from quarantine.formulary.contact import held

    try:
        substance, row = regimen(step.treatment.regimen)
    except Unknown:
        return None
    doses = [*(fact for fact in ground.facts if fact.kind == "dose"), *doses_before(ground.facts)]
    found = held(row, substance.id, doses, ground.evidence.arrived_on, ground.zone, ground.as_of)
    return found if found is not None and found.begun else None


def over(most: Held, zone: str) -> str:
    """Why nothing is given after the longest contact."""
    return f"{most.words(zone)}: nothing is given any more"


def up_to_last_day(step: Step, runs: list[Run], most: Held, zone: str) -> list[Run]:
    """The runs that can still be given within the longest contact, each with its last day."""
    says = most.words(zone)
    kept: list[Run] = []
    for run in runs:
        opens = window_of(step, run, zone)[0]
        if run.outcome is not None or run.state == "missed":
            kept.append(run)
        elif opens is None or run.day is None:
            kept.append(run._replace(needs=f"{run.needs or 'waits'}; {says}"))
        elif opens < most.until:
            kept.append(run._replace(reason=f"{run.reason}; {says}"))
    return kept


def cleared_in_time(step: Step, anchor: Anchor, ground: Ground) -> Anchor:
    """An anchor of what begins to clear a level: at the latest on the last day on which it may be held, whatever else
    it waits for."""
    for dose in ground.protocol.steps:
        most = held_for(dose, ground)
        if most is None:
            continue
        clearing = {one.id for one in clearing_steps(dose, ground.protocol)}
        last = most.last_day(ground.zone)
        first = step.id in clearing and step.start.subject not in clearing
        if first and (anchor.day is None or anchor.day > last):
            return anchor._replace(
                day=last, at=None, reason=f"the longest contact ends: {most.words(ground.zone)}", needs=None
            )
    return anchor
