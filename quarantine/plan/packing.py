"""What a batch takes along from the water that it is moved from (:mod:`quarantine.luggage`)."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from quarantine import evidence as ev
from quarantine import inrange
from quarantine.facts import Fact, local_day
from quarantine.luggage import COPIED, Begun, dose_kept
from quarantine.plan.anchors import first_reading
from quarantine.plan.expansion import Expansion
from quarantine.plan.ground import Ground
from quarantine.plan.model import Course
from quarantine.plan.steps import as_needed
from quarantine.water.ledger import Water, exposures


def packed(
    courses: list[Course], facts: list[Fact], batch: str, at: datetime, water: Water | None, *, parts: bool = False
) -> dict[str, Any]:
    """What a batch takes along when it is moved at an instant: the part of the fact of its move that the plan and the
    evidence read again in the new water, as they have it in the old one (:mod:`quarantine.luggage`).

    ``parts``: others stay in the old water. Work of that water that hangs on one of its facts stays with them; the
    batch goes on with the same under keys of its own.
    """
    known = ev.Known(facts, at)
    course = next(c for c in courses if c.batch == batch)
    # Days on which nobody is there and that lie ahead are known in the new water by themselves.
    course = course._replace(away=tuple(one for one in course.away if one[0] < local_day(at, course.zone)))
    ground = Ground(course, courses, known, at, exposures(known.ordered, water, at))
    made, begun = Expansion(ground), _begun(ground)
    made.begin()
    made.finish()
    evidence, before = ground.evidence, ground.luggage
    runs = [run for of in made.runs.values() for run in of]
    runs += [run for of in made.again.values() for _, run in of]
    others = {run.key: run.outcome for run in runs if run.outcome is not None and run.outcome.batch != batch}
    own = {fact.id for fact in known.own(batch)}
    roots = {evidence.entered_id, *(one.id for one in begun.values())} - own if parts else set()
    new = {root: f"{root}-{batch}" for root in roots if not root.endswith(batch)}
    settled = {run.key: run.outcome for run in runs if run.outcome and run.key.split(":")[2] in new} | others
    ramps = {step.id for step in course.protocol.steps if step.ramp is not None}
    copied = {f.data[COPIED] for f in known.own(batch) if COPIED in f.data}
    of_others = [f for f in known.of("dose") if f.batch != batch and f.at >= ground.since and f.id not in copied]
    return {
        "entered_id": new.get(evidence.entered_id, evidence.entered_id),
        "entered_at": evidence.entered_at,
        "count": evidence.alive,
        "happenings": [[one.at, one.event, one.why, one.until and min(one.until, at)] for one in evidence.of_water],
        "lifted_at": evidence.lifted_at,
        "exposures": [
            {
                "substance": one.substance,
                "since": one.since,
                "last_dose": one.last_dose,
                "until": min(one.until or at, at),
                "target": one.target_mg_per_l,
            }
            for one in evidence.exposures
        ],
        "in_range": {
            one.id: _in_range(one.in_range, made.zeros[one.id])
            for one in made.periods.values()
            if one.in_range is not None and one.in_range.zero is not None
        },
        "begun": {name: one._replace(id=new.get(one.id, one.id))._asdict() for name, one in begun.items()},
        "stops": {
            step: {"at": when, "why": why}
            for step, (when, why) in made.stops.items()
            if step not in ramps and step not in ground.stopped
        },
        "settled": {
            **({key: list(one) for key, one in before.settled.items()} if before else {}),
            **{_renamed(key, new): [fact.id, fact.at] for key, fact in settled.items()},
        },
        "doses": [
            *(before.fact.data["doses"] if before else []),
            *(dose_kept(fact) for fact in of_others),
        ],
    }


def _begun(ground: Ground) -> dict[str, Begun]:
    """Step or period -> the reading by which it began."""
    starts = {period.id: period.start for period in ground.protocol.periods}
    starts |= {step.id: step.start for step in ground.protocol.steps if not as_needed(step)}
    found = {name: first_reading(start, name, ground) for name, start in starts.items() if start.kind == "reading"}
    return {name: begun for name, begun in found.items() if begun is not None}


def _renamed(key: str, roots: Mapping[str, str]) -> str:
    """A key that hangs on another fact."""
    owner, step, root, n = key.split(":")
    return f"{owner}:{step}:{roots.get(root, root)}:{n}"


def _in_range(counted: inrange.Count, zero: date) -> dict[str, Any]:
    return {
        "zero": zero.isoformat(),
        "since": counted.zero,
        "seconds": int(counted.counted.total_seconds()),
        "complete": counted.complete if counted.is_proven else None,
    }
