"""One course of a row for all batches in a water (rules B2 and B9): which doses that others had are a batch's own, and
where an open one has its place beside them."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from decimal import Decimal

from quarantine.facts import Fact, local_day
from quarantine.plan.ground import Ground
from quarantine.plan.steps import hours_of, interval
from quarantine.protocol import Step


def to_water(step: Step) -> bool:
    """Whether a step gives something to all fish in its water."""
    return step.treatment is not None and step.treatment.water in ("system", "tank")


def days_apart(step: Step, ground: Ground, at: datetime) -> int | None:
    """Days by which two doses of a row that states no minimum gap lie apart in one water: the template's own step, of a
    table the shortest at the temperature last read up to an instant (rule C14). None: the row states its gap, or it is
    under a day, and what is given on one day is one dose."""
    from quarantine.formulary import regimen

    if step.treatment is None or step.repeat is None or step.repeat.times == 1:
        return None
    if regimen(step.treatment.regimen)[1].minimum_gap is not None:
        return None
    shortest = interval(step)
    if bands := step.repeat.by_temperature:
        read = [f for f in ground.evidence.readings if f.data["parameter"] == "temperature" and f.at <= at]
        holding = [one.every for one in bands if read and one.holds(Decimal(read[-1].data["value"]))]
        shortest = min(holding, key=hours_of, default=shortest)
    hours = hours_of(shortest)
    return None if hours < 24 or step.repeat.as_needed else -(-hours // 24)


def of_others(step: Step, ground: Ground, since: datetime | None) -> list[Fact]:
    """The doses by the row of a step that this water had for other batches, since the day of an instant: what is given
    on one day is one dose; in order."""
    row = step.treatment.regimen if step.treatment else ""
    first = None if since is None else local_day(since, ground.zone)
    return [
        fact
        for fact in ground.shared.doses
        if fact.data.get("regimen") == row
        and fact.data.get("route") in ("bath", "prolonged")
        and (first is None or local_day(fact.at, ground.zone) >= first)
    ]


def next_of_others(step: Step, key: str, ground: Ground, since: datetime | None) -> Fact | None:
    """The first dose of others since an instant that is no other run's of this batch."""
    found = of_others(step, ground, since) if to_water(step) and ground.shared.doses else []
    return next((f for f in found if ground.shared.used.get(f.id, key) == key), None)


def is_one(step: Step, day: date, fact: Fact, ground: Ground) -> bool | None:
    """Whether a dose that others had is the one that is due on a day: nearer than two may be, or, where the template
    lets a late one shift what follows, it was given while that one was open. None: :func:`days_apart` says none."""
    near = days_apart(step, ground, fact.at)
    if near is None:
        return None
    apart = (local_day(fact.at, ground.zone) - day).days
    return -near < apart and (apart < near or step.after_window == "shift")


def placed(
    step: Step, day: date, at: datetime | None, ground: Ground, planned: Iterable[date]
) -> tuple[date, datetime | None, str]:
    """The day of an open dose beside those of others in its water, and why it is another one: not nearer to the last
    one given than two may be, and on the day of one that is planned so near. ``planned`` are the days of theirs."""
    near = days_apart(step, ground, ground.as_of)
    if near is None:
        return day, at, ""
    said, open_on = "", max(day, ground.today)
    given = [local_day(fact.at, ground.zone) for fact in of_others(step, ground, None)]
    if given and (open_on - given[-1]).days < near:
        free = given[-1] + timedelta(days=near)
        if free > day:
            said += f"; moved from {day} to {free}: this water had one on {given[-1]} (rule B2)"
            day, at, open_on = free, None, free
    ahead = sorted(max(one, ground.today) for one in planned)
    joins = next((one for one in ahead if abs((one - open_on).days) < near), None)
    if joins is not None and joins != open_on and not (given and (joins - given[-1]).days < near):
        said += f"; moved from {day} to {joins}: one dose for all in this water (rule B2)"
        day, at = joins, None
    return day, at, said
