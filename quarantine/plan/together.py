"""One earliest day for all batches in a water (rule B5)."""

from __future__ import annotations

from quarantine.evidence import Standing, own_clock
from quarantine.plan.expansion import Expansion


def released_together(made: list[Expansion]) -> dict[str, Standing]:
    """Batch -> how it stands where its earliest day is that of another one in its water: the latest of all that are
    open and have fish. A batch whose template lets it keep its own clock goes by that (rule B1)."""
    counted = [one for one in made if one.ground.is_there and one.ground.evidence.alive > 0]
    if len(counted) < 2:
        return {}
    last = max(counted, key=lambda one: one.standing.earliest)
    day, course = last.standing.earliest, last.ground.course
    return {
        one.ground.course.batch: one.standing._replace(
            earliest=day, own=one.standing.earliest, waits_for=course.name or course.batch
        )
        for one in counted
        if one.standing.earliest < day and not own_clock(one.ground.protocol.events)
    }
