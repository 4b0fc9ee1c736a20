"""Changes inside a treatment that stays in the water, and the doses that make them good (rules C1, C5, C11 and C13)."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any, NamedTuple

from quarantine.facts import AGAIN, Fact, in_order, is_again, known_flow, known_out, local_day
from quarantine.plan.contact import clearing_day, clearing_steps
from quarantine.plan.ground import Ground, first_entered
from quarantine.plan.model import Run
from quarantine.plan.outcomes import settled
from quarantine.plan.steps import owner_of, redosed
from quarantine.plan.windows import day_window, instant_at, on_weekday, shown
from quarantine.protocol import WHOLE_DAY, Protocol, Step
from quarantine.quantity import show
from quarantine.readings import PARAMETERS
from quarantine.water.ledger import flowed

READ_FIRST = ".read"
"""How the step of the reading ends that a dose is topped up to; the id of no step of a template has a dot."""

FLOWED = "flow"
"""What flowed through a water on one day, beside its changes: a kind that no stored fact has."""


class Group(NamedTuple):
    """Changes that one dose makes good: what came of it under its own key, and the last dose before them."""

    changes: tuple[Fact, ...]
    outcome: Fact | None
    dose: Fact | None


def again(step: Step, runs: Mapping[str, list[Run]], stopped: bool, ground: Ground) -> Iterator[tuple[Step, Run]]:
    """The doses that changes call for between the first dose and the beginning of clearing, each with its step."""
    assert step.treatment is not None
    from quarantine.formulary import regimen

    substance = regimen(step.treatment.regimen)[0].id
    ends = clearing_day(step, ground.protocol, runs)
    clearing = {one.id for one in clearing_steps(step, ground.protocol)}
    # What was one dose with a batch that is no longer in this water is this one's to make good.
    gone = {f.batch for f in ground.shared.doses if f.id in ground.shared.used and f.batch not in ground.there}
    ours = {ground.course.batch, *gone}
    # What clears the water is one work of all under this protocol, whoever's task it was.
    cleared = {
        fact.id
        for fact in ground.facts
        if fact.kind == "done" and fact.data["key"].split(":")[1] in clearing and fact.batch in {*ours, *ground.twins}
    }
    for group in _groups(ground.facts, substance, step.id, ours, cleared, ground.zone, ground.as_of):
        if group.outcome is not None:
            root, day = group.outcome.data["key"].split(":")[2], local_day(group.changes[-1].at, ground.zone)
        else:
            root, day = first_entered(list(group.changes)), _again_on(step, group, ground.zone)
            ahead = [run.day for run in runs[step.id] if run.outcome is None and run.day is not None]
            # Clearing, or the next dose of the course, comes first; a stopped course gets none.
            if (ends and day >= ends) or (ahead and min(ahead) <= day) or stopped:
                continue
        key = f"{owner_of(step, ground.course)}:{step.id}:{root}:{AGAIN}"
        says = "the full amount again" if step.treatment.after_change == "full" else step.treatment.mode
        reason = f"{_changed(group, ground.zone)}; the template says: {says} (rule C1)"
        if step.treatment.mode == "top up to a reading":
            yield from _read_first(step, substance, group, root, ground)
        run = settled(step, Run(AGAIN, key, day, None, None, "planned", reason, None), ground)
        flows = all(one.kind == FLOWED for one in group.changes)
        when = "while water flows through" if flows else "after a water change"
        yield step._replace(title=f"{step.title} again {when}"), run


def _again_on(step: Step, group: Group, zone: str) -> date:
    """The day of the last change; the next one where its window is over, or a dose was given on it already."""
    assert step.treatment is not None
    from quarantine.formulary import regimen

    last, gap = group.changes[-1], regimen(step.treatment.regimen)[1].minimum_gap
    day = local_day(last.at, zone)
    closer = gap is not None and gap.unit == "h" and gap.value < 24
    given = group.dose is not None and local_day(group.dose.at, zone) == day and not closer
    if given or day_window(day, step.window, zone)[1] <= last.at:
        day += timedelta(days=1)
    return on_weekday(day, step.window.weekdays)


def _read_first(step: Step, substance: str, group: Group, root: str, ground: Ground) -> Iterator[tuple[Step, Run]]:
    """The reading that a dose is topped up to, where a kit reads the substance: after the change and before it."""
    reading = reading_step(step, substance)
    if reading is None:
        return
    since = group.changes[-1].at
    key = f"{owner_of(step, ground.course)}:{reading.id}:{root}:{AGAIN}"
    read = [
        fact
        for fact in ground.facts
        if fact.kind == "reading"
        and fact.tank == ground.course.tank
        and fact.at >= since
        and fact.data["parameter"] == reading.reads[0]
        and (substance != "copper" or fact.data.get("form") == "free")
    ]
    outcome = ground.outcomes.get(key) or (read[0] if read else None)
    if outcome is None and group.outcome is not None:
        return
    state = "planned" if outcome is None else "skipped" if outcome.kind == "skip" else "done"
    day = local_day(since, ground.zone)
    yield reading, Run(AGAIN, key, day, None, outcome, state, f"{_changed(group, ground.zone)}; {reading.note}", None)


def reading_step(step: Step, substance: str) -> Step | None:
    """The reading before a dose that is topped up to it, as a step of its own; None where no kit reads it."""
    parameter = "salinity" if substance == "sodium-chloride" else substance
    if parameter not in PARAMETERS:
        return None
    title = PARAMETERS[parameter].title
    return step._replace(
        id=f"{step.id}{READ_FIRST}",
        kind="test",
        title=f"Read {title} after a water change",
        repeat=None,
        window=WHOLE_DAY,
        after_window="shift",
        treatment=None,
        reads=(parameter,),
        who="anyone",
        before=(),
        note="the dose is topped up to this reading (rules C1 and C13)",
    )


def reading_steps(protocol: Protocol) -> list[Step]:
    """The readings that may come before doses of a protocol, beside its own steps."""
    from quarantine.formulary import regimen

    doses = [s for s in protocol.steps if s.treatment and s.treatment.mode == "top up to a reading" and redosed(s)]
    found = [reading_step(s, regimen(s.treatment.regimen)[0].id) for s in doses if s.treatment]
    return [one for one in found if one is not None]


def _changed(group: Group, zone: str) -> str:
    """ "water was changed: 20 L on 2026-03-04 10:00 and 10 L on 2026-03-04 18:00", "water flows through: 5 L an
    hour since 2026-03-04 10:00" """
    out = [one for one in group.changes if one.kind != FLOWED]
    said = [f"{show(Decimal(one.data['out_litres']))} L on {shown(one.at, zone)}" for one in out]
    flows = {one.data["since"]: one.data for one in group.changes if one.kind == FLOWED}
    through = [_through(data, zone) for data in flows.values()]
    parts = [f"water was changed: {' and '.join(said)}"] if said else []
    parts += [f"water flows through: {' and '.join(through)}"] if through else []
    return "; ".join(parts)


def _through(flow: dict[str, Any], zone: str) -> str:
    """ "5 L an hour since 2026-03-04 10:00" """
    rate, since = show(Decimal(flow["rate"]), 3), shown(flow["since"], zone)
    if flow["until"] is None:
        return f"{rate} L an hour since {since}"
    return f"{rate} L an hour from {since} to {shown(flow['until'], zone)}"


def _groups(
    facts: list[Fact],
    substance: str,
    step: str,
    ours: Collection[str | None],
    cleared: Collection[str],
    zone: str,
    as_of: datetime,
) -> Iterator[Group]:
    """The changes inside a treatment, by the dose that makes them good: one for all since the dose before.

    A dose makes good what it was entered after; what was entered late calls for another. Once a clearing step is done
    the treatment has ended, until the course doses again. ``facts`` are those of the water, in order. What flows
    through all the time is made good a day at a time: nothing of it is due twice, so the next day's waits until what
    went before is made good. ``ours`` are the batches whose doses count as those of this course.
    """
    pending: list[Fact] = []
    last, inside = None, False
    over, coming = _flowed(facts, zone, as_of)
    pieces = {one.id: one for one in (*over, *coming)}
    used: set[str] = set()
    """roots of doses and skips of a flow, with which no other dose may share its key"""
    skipped: set[str] = set()
    for fact in in_order([*facts, *over]) if over else facts:
        _, of, root, _ = str(fact.data.get("key", ":::")).split(":")
        mine = of == step and fact.batch in ours
        if fact.kind == "change" and inside and Decimal(fact.data["out_litres"]) > 0:
            pending.append(fact)
        elif fact.kind == FLOWED and inside and fact.id not in skipped:
            pending.append(_unused(fact, used))
        elif fact.id in cleared:
            pending, inside = [], False
        elif _stays_in(fact, substance) or (fact.kind == "skip" and mine and is_again(fact)):
            answered = tuple(one for one in pending if one.entered_at <= fact.entered_at)
            early = _piece_of(root, pieces) if mine and is_again(fact) else None
            if early is not None:
                used.add(root)
                if early.at > fact.at:  # before the day was over that it was planned for
                    answered = (*answered, early._replace(id=root, at=fact.at))
                    skipped |= {early.id} if fact.kind == "skip" else set()
            own = mine and root in {one.id for one in answered}
            if own:
                yield Group(answered, fact, last)
            if fact.kind == "dose":
                last = fact
                inside = mine if of and not is_again(fact) else inside
            if fact.kind == "dose" or own:
                pending = [one for one in pending if one not in answered]
            if fact.kind == "dose":
                pending += [more for one in answered if (more := _corrected_since(one, fact)) is not None]
                pending += [more for more in _flowed_more(answered, facts, fact) if more not in pending]
    following = next((one for one in coming if one.id not in skipped), None) if inside else None
    if pending:
        yield Group(tuple(pending), None, last)
    elif following is not None:
        yield Group((_unused(following, used),), None, last)


def _flowed(facts: list[Fact], zone: str, as_of: datetime) -> tuple[list[Fact], list[Fact]]:
    """What flows through a water, a piece for each local day, as if it were changed when that day ends or the flow
    does: the pieces that are over at ``as_of``, and those to come up to the end of the day after.

    A piece keeps its id when its flow is said to have ended in it, or is corrected.
    """
    flows = [fact for fact in facts if fact.kind == "exchange"]
    pieces: list[Fact] = []
    for place, flow in enumerate(flows):
        following = next((one.at for one in flows[place + 1 :] if one.tank == flow.tank), None)
        said = flow.data.get("until")
        end = min((at for at in (following, datetime.fromisoformat(said) if said else None) if at), default=None)
        day, since = local_day(flow.at, zone), flow.at
        runs = Decimal(flow.data["litres_per_hour"]) > 0
        while runs and (end is None or since < end) and day <= local_day(as_of, zone) + timedelta(days=1):
            day += timedelta(days=1)
            midnight = instant_at(day, "00:00", zone)
            until = midnight if end is None else min(midnight, end)
            told = {"rate": flow.data["litres_per_hour"], "since": flow.at, "until": end if until == end else None}
            told["flow"] = flow.id
            id_ = f"{flow.id}-{day - timedelta(days=1)}"
            pieces.append(flow._replace(id=id_, kind=FLOWED, at=until, batch=None, data=told))
            since = midnight
    pieces = in_order(pieces)
    return [one for one in pieces if one.at <= as_of], [one for one in pieces if one.at > as_of]


def _corrected_since(change: Fact, dose: Fact) -> Fact | None:
    """What a change was corrected by once a dose had made good what was on record of it, as a change of its own."""
    was: list[list[str]] = change.data.get("out_was", []) if change.kind == "change" else []
    more = Decimal(change.data["out_litres"]) - known_out(change, dose.entered_at) if was else Decimal(0)
    if more <= 0:
        return None
    at = datetime.fromisoformat(was[-1][1])
    id_ = f"{change.id}-{len(was)}"
    return change._replace(id=id_, at=at, entered_at=at, data={"out_litres": show(more), "in_litres": show(more)})


def _flowed_more(answered: Iterable[Fact], facts: list[Fact], dose: Fact) -> list[Fact]:
    """The flows that a dose made good by less than is on record of them now: their rate or their end was corrected
    since. Each once, as if it flowed when it was corrected."""
    made_good = {one.data["flow"] for one in answered if one.kind == FLOWED}
    found = []
    for flow in (fact for fact in facts if fact.id in made_good and fact.data.get("flow_was")):
        known = known_flow(flow, dose.entered_at)
        now, then = (0.0 if one is None else flowed([one], flow.at, dose.at) for one in (flow, known))
        if now > then:
            at = datetime.fromisoformat(flow.data["flow_was"][-1][2])
            told = {"rate": flow.data["litres_per_hour"], "since": flow.at, "until": None, "flow": flow.id}
            id_ = f"{flow.id}-corrected-{len(flow.data['flow_was'])}"
            found.append(flow._replace(id=id_, kind=FLOWED, at=at, entered_at=at, batch=None, data=told))
    return found


def _piece_of(root: str, pieces: dict[str, Fact]) -> Fact | None:
    """The day's flow that a dose hangs on, or the rest of it."""
    return pieces.get(root) or pieces.get(root.rpartition("-")[0])


def _unused(piece: Fact, used: set[str]) -> Fact:
    """A day's flow under an id of its own where a dose was given in the middle of it: the rest is another one."""
    n, id_ = 1, piece.id
    while id_ in used:
        n += 1
        id_ = f"{piece.id}-{n}"
    return piece._replace(id=id_)


def _stays_in(fact: Fact, substance: str) -> bool:
    """Whether a fact put a substance into the water."""
    data = fact.data
    return fact.kind == "dose" and data.get("substance") == substance and data.get("route") in ("bath", "prolonged")
