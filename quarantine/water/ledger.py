"""From facts to a substance's ledger in one water system: which facts touch its level, and when contact ends."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, NamedTuple

from quarantine.facts import Fact, in_order
from quarantine.luggage import Left, left_behind
from quarantine.water.level import UNKNOWN, Level, Loss, Step, level, walk

CONTACT_SHARE = Decimal("0.05")
"""Contact has ended when the upper bound is at most this share of the target (rule A9; our choice, no source)."""


class Earlier(NamedTuple):
    """What was on record of the water until an instant."""

    litres: float
    plus_minus_litres: float
    until: datetime


class Water(NamedTuple):
    """Litres really there, with their uncertainty; ``earlier`` is what was on record before, the oldest first (F14)."""

    litres: float
    plus_minus_litres: float
    earlier: tuple[Earlier, ...] = ()


class Exposure(NamedTuple):
    """A substance in the water: from the first dose of a run to the end of contact (None: still in contact)."""

    substance: str
    since: datetime
    last_dose: datetime
    until: datetime | None
    target_mg_per_l: Decimal
    high_mg_per_l: Decimal | None
    """the upper bound now; None when it is unknown"""
    batch: str | None = None
    """of fish that were in it before they were moved here; None: it is, or was, in this water"""


def exposures_until(found: Iterable[Exposure], at: datetime) -> list[dict[str, Any]]:
    """Exposures as a fact keeps them that takes fish out of a water, or out of their batch, at an instant."""
    return [
        {
            "substance": one.substance,
            "since": one.since,
            "last_dose": one.last_dose,
            "until": min(one.until or at, at),
            "target": one.target_mg_per_l,
        }
        for one in found
    ]


class Line(NamedTuple):
    """One fact of a ledger, with the level right before it and right after it.

    ``step`` is None for a reading that measures the substance and replaces nothing; ``note`` then says why.
    """

    fact: Fact
    step: Step | None
    before: Level
    after: Level
    note: str


class Compared(NamedTuple):
    """What a reading says, and what the ledger expected right before it (F24), in mg/L.

    ``agrees`` is None where nothing was known, and False where the two do not meet: one of them is wrong.
    """

    fact: Fact
    read: Level
    expected: Level
    agrees: bool | None
    note: str


class _Measures(NamedTuple):
    """Which substance a reading measures, in which form, and how many mg/L one of its units are."""

    substance: str
    form: str
    mg_per_l: Decimal
    otherwise: str
    """why a reading of another form, or of none that was said, replaces nothing"""


MEASURES = {
    # A target of salt is total salinity (rule C15), and so is what is read.
    "salinity": _Measures("sodium-chloride", "", Decimal(1000), ""),
    "copper": _Measures(
        "copper",
        "free",
        Decimal(1),
        "a level of copper is replaced only by a kit that reads free (ionic) copper; chelated or total copper is on"
        " another scale, which is never converted",
    ),
}
"""Readings that measure a substance of the formulary (rule C13); of no other is a kit on record."""


def steps_of(facts: list[Fact], substance: str, until: datetime | None = None) -> list[Step]:
    """The ledger lines of one substance from a system's facts, in time order; none later than ``until``."""
    return [step for _, step, _ in _steps(facts, substance, until) if step is not None]


def _steps(facts: list[Fact], substance: str, until: datetime | None = None) -> Iterator[tuple[Fact, Step | None, str]]:
    """Each fact that touches a substance's ledger, with its line, or with why it has none. One by one: a long ledger
    costs what it holds in memory at once."""
    ordered = in_order(facts)
    ends = _ends_of_flows(ordered, until)
    off = False
    for fact in ordered:
        if until is not None and fact.at > until:
            break
        data, kind, at = fact.data, fact.kind, fact.at
        step, note = None, ""
        if kind == "dose":
            if "apart_litres" in data:
                off = True
                yield fact, _filter_off(fact), ""
            if data.get("substance") == substance and data.get("route") in ("bath", "prolonged"):
                mass = float(data["mass_mg"])
                step = Step("dose", at, mass, mass)
        elif kind == "change":
            step = Step("change", at, 0.0, 0.0, float(data["out_litres"]), float(data["in_litres"]))
        elif kind in ("topup", "evaporation"):
            step = Step(kind, at, litres=float(data["litres"]))
        elif kind == "removal":
            step = Step("removal", at)
        elif kind == "unknown_addition":
            if data.get("substance") in (None, substance):
                step = Step("unknown_addition", at)
        elif kind == "exchange":
            step = Step("exchange", at, litres_per_hour=float(data["litres_per_hour"]), until=ends[fact.id])
        elif kind == "reading":
            step, note = _reading(fact, substance)
        elif kind == "filter_on" and off:
            off, step = False, Step("filter_on", at)
        if step is not None and "brings" in data:
            step = _bringing(step, data["brings"].get(substance))
        if step is not None or note:
            yield fact, step, note


def _filter_off(fact: Fact) -> Step:
    """A dose with the filter off (rule C10): from here on the litres of sump and filter stand apart, whatever else is
    in the water."""
    litres, error = Decimal(fact.data["apart_litres"]), Decimal(fact.data["apart_plus_minus_litres"])
    return Step(
        "filter_off", fact.at, apart_low=float(max(litres - error, Decimal(0))), apart_high=float(litres + error)
    )


def filter_is_off(facts: list[Fact], at: datetime) -> bool:
    """Whether a dose turned the filter off and nobody has said by an instant that it runs again (rule C10)."""
    steps = [step for step in steps_of(facts, "", at) if step.kind in ("filter_off", "filter_on")]
    return bool(steps) and steps[-1].kind == "filter_off"


def _ends_of_flows(ordered: list[Fact], until: datetime | None) -> dict[str, datetime | None]:
    """Id of each flow to its end: one tank has one flow, which ends where the next one of its tank begins, if it had
    not ended before."""
    ends: dict[str, datetime | None] = {}
    flowing: dict[str | None, str] = {}
    for fact in ordered:
        if fact.kind != "exchange" or (until is not None and fact.at > until):
            continue
        if fact.tank in flowing:
            end = ends[flowing[fact.tank]]
            ends[flowing[fact.tank]] = fact.at if end is None else min(end, fact.at)
        ends[fact.id] = _instant(fact.data.get("until"))
        flowing[fact.tank] = fact.id
    return ends


def flowed(facts: list[Fact], since: datetime, until: datetime) -> float:
    """Litres that flowed through the water of ``facts`` between two instants, as much in as out."""
    flows = [step for step in steps_of(facts, "", until) if step.kind == "exchange"]
    ran = (min(flow.until or until, until) - max(flow.at, since) for flow in flows)
    return sum(
        flow.litres_per_hour * max(time.total_seconds(), 0.0) / 3600 for flow, time in zip(flows, ran, strict=True)
    )


def _instant(text: str | datetime | None) -> datetime | None:
    return datetime.fromisoformat(text) if isinstance(text, str) else text


def _bringing(step: Step, brings: list[Any] | None) -> Step:
    """New water that holds some of the substance: from so much to so much, mg/L."""
    if brings is None:
        return step
    low, high = float(brings[0]), float(brings[1])
    if step.kind == "topup":
        step = Step("change", step.at, in_litres=step.litres)
    return step._replace(incoming_low=low, incoming_high=high)


def read_of(fact: Fact, substance: str) -> Level | None:
    """What a reading says of a substance, in mg/L, by the error of its kit; None where it measures something else.

    The error is half a step of the kit, as everywhere a reading is judged.
    """
    measures = MEASURES.get(fact.data["parameter"]) if fact.kind == "reading" else None
    if measures is None or measures.substance != substance:
        return None
    value, half = Decimal(fact.data["value"]), Decimal(fact.data["step"]) / 2
    low, high = max(value - half, Decimal(0)) * measures.mg_per_l, (value + half) * measures.mg_per_l
    return Level(float(low), float(high))


def _reading(fact: Fact, substance: str) -> tuple[Step | None, str]:
    read = read_of(fact, substance)
    if read is None or read.low is None or read.high is None:
        return None, ""
    measures = MEASURES[fact.data["parameter"]]
    form = fact.data.get("form", "")
    if form != measures.form:
        said = f"this kit reads {form}" if form else "what this kit reads was not said"
        return None, f"{said}: {measures.otherwise}"
    return Step("reading", fact.at, level_low=read.low, level_high=read.high), ""


def lines_of(facts: list[Fact], substance: str, water: Water, loss: Loss, until: datetime) -> list[Line]:
    """The ledger of a substance, a line for each fact that touches it, none later than ``until`` (rule C12)."""
    found = list(_steps(facts, substance, until))
    # A reading that replaces nothing still needs the level before it: nothing is topped up there.
    steps = [step or Step("topup", fact.at) for fact, step, _ in found]
    levels = _walked(steps, _volumes(water), loss)
    return [
        Line(fact, step, before, after, note) for (fact, step, note), (before, after) in zip(found, levels, strict=True)
    ]


def compared(facts: list[Fact], substance: str, water: Water, loss: Loss, until: datetime) -> list[Compared]:
    """Expected versus read, for every reading of a substance up to ``until`` (F24)."""
    return [
        Compared(line.fact, read, line.before, _agree(read, line.before) if not line.note else None, line.note)
        for line in lines_of(facts, substance, water, loss, until)
        if (read := read_of(line.fact, substance)) is not None
    ]


def _agree(read: Level, expected: Level) -> bool | None:
    if read.low is None or read.high is None or expected.low is None or expected.high is None:
        return None
    return read.low <= expected.high and expected.low <= read.high


def substances_in(facts: list[Fact]) -> list[str]:
    """Every substance that was ever put into the water, by a dose or with other water, in alphabetical order."""
    found = {f.data["substance"] for f in facts if f.kind in ("dose", "unknown_addition") and f.data.get("substance")}
    return sorted(found.union(*(f.data["brings"] for f in facts if "brings" in f.data)))


def level_of(facts: list[Fact], substance: str, water: Water, loss: Loss, until: datetime) -> Level:
    """The level of a substance at an instant, mg/L, as two bounds (rules C1, C2, C12).

    Water that is put in beyond what is on record as gone restores what nobody wrote down, or stands over the mark:
    which of the two is not known, so the bounds hold for both.

    Where the volume was measured anew, either the earlier figure was wrong or the water became another: which of the
    two is not known, so the bounds hold for both. In the first case the new volume holds for the whole ledger, and a
    dose for 75 L that went into 61 L shows as what it is. In the second the level is carried over as it stood, or
    diluted, or thickened, by the water that made the difference.
    """
    steps = steps_of(facts, substance, until)
    volumes = _volumes(water)
    runs = _runs(steps, volumes, _states(steps, volumes, loss, until))
    return _hull(level(run.steps, run.volume, loss, until) for run in runs)


class _Volume(NamedTuple):
    litres: float
    plus_minus_litres: float
    since: datetime | None


class _Run(NamedTuple):
    """One way in which it may have been: a volume, and the steps from where it holds."""

    volume: _Volume
    steps: list[Step]


def _volumes(water: Water) -> list[_Volume]:
    """The volumes on record, the oldest first; the first holds from before the first fact."""
    marks: list[datetime | None] = [None, *(one.until for one in water.earlier)]
    both = [*(one[:2] for one in water.earlier), (water.litres, water.plus_minus_litres)]
    return [_Volume(litres, error, since) for (litres, error), since in zip(both, marks, strict=True)]


def _states(steps: list[Step], volumes: list[_Volume], loss: Loss, until: datetime) -> list[Level]:
    """The level where each volume begins to hold, by what was on record before it; none after ``until``."""
    states = [Level(0.0, 0.0)]
    for index, volume in enumerate(volumes[1:], 1):
        if volume.since is None or volume.since > until:
            break
        known = [step for step in steps if step.at < volume.since]
        runs = _runs(known, volumes[:index], states)
        states.append(_hull(level(run.steps, run.volume, loss, volume.since) for run in runs))
    return states


def _runs(steps: list[Step], volumes: list[_Volume], states: list[Level]) -> Iterator[_Run]:
    """Every way in which it may have been: the water became what the last volume says at any of the instants of
    ``states``, or was so from the first; and what was measured after them may have been so all along."""
    last = len(states) - 1
    # Before anything was put in, what the volume was does not matter. That all of it was changed is no such instant:
    # by a figure that was wrong some of it stayed.
    begun = next((step.at for step in steps if _puts_in(step)), None)
    marks = (volume.since for volume in volumes[: last + 1])
    first = max(n for n, since in enumerate(marks) if since is None or begun is None or since <= begun)
    for begin in range(first, last + 1):
        yield from _run(steps, volumes, states, begin, last)
    if last < len(volumes) - 1:
        yield from _either(volumes[-1], steps)


def _puts_in(step: Step) -> bool:
    return step.kind in ("dose", "unknown_addition", "reading") or step.incoming_high > 0


def _run(steps: list[Step], volumes: list[_Volume], states: list[Level], begin: int, last: int) -> Iterator[_Run]:
    since, measured = volumes[begin].since, volumes[last].since
    if since is not None:
        steps = list(_carried(steps, volumes[begin - 1], volumes[last], states[begin], since))
    yield from _either(volumes[last], steps)
    if begin < last and measured is not None:
        # It was measured after so much had gone, and perhaps as it then stood: before that there was more.
        _, gone = _restored([step for step in steps if step.at < measured])
        if gone > 0:
            yield from _either(volumes[last], steps, gone)


def _either(volume: _Volume, steps: list[Step], more_litres: float = 0.0) -> Iterator[_Run]:
    """With the water that was put in beyond what had gone, and without it."""
    restored, _ = _restored(steps)
    more = [Step("topup", steps[0].at, litres=more_litres)] if more_litres else []
    yield _Run(volume, [*more, *steps] if more else steps)
    if restored != steps:
        yield _Run(volume, [*more, *restored])


def _carried(steps: list[Step], was: _Volume, becomes: _Volume, state: Level, since: datetime) -> Iterator[Step]:
    """The steps from ``since`` on, beginning with the level as it then stood, and with the flows that run on.

    What there was by then, with and without water that nobody wrote down, became what was measured: less was let out
    or evaporated, more was filled up. Both volumes are taken at the same end of their plus-minus: they are of one tank
    (rule C12: one shared factor).
    """
    during = [step for step in steps if step.at < since and (was.since is None or step.at >= was.since)]
    ratios = [1.0] + [
        max(was.litres + sign * was.plus_minus_litres + net, 0.0) / (becomes.litres + sign * becomes.plus_minus_litres)
        for sign in (-1, 1)
        for net in (0.0, -_restored(during)[1], _net(during))
    ]
    off = _still_off(steps, since)
    if state.low is None or state.high is None:
        yield from (Step("unknown_addition", since), *(off._replace(at=since) for off in off[-1:]))
    else:
        carried = Step("reading", since, level_low=state.low * min(ratios), level_high=state.high * max(ratios))
        if off:
            # What sump and filter hold may be as strong as the water was when they were cut off.
            held = level([step for step in steps if step.at < off[0].at], was, "none", off[0].at).high
            yield carried._replace(level_high=max(carried.level_high, carried.level_high if held is None else held))
            yield off[-1]._replace(at=since)
        yield carried
    for step in steps:
        if step.at >= since:
            yield step
        elif step.kind == "exchange" and (step.until is None or step.until > since):
            yield step._replace(at=since)


def _still_off(steps: list[Step], since: datetime) -> list[Step]:
    """The steps before an instant that turned the filter off and after which nobody said that it runs again."""
    found: list[Step] = []
    for step in steps:
        if step.at < since and step.kind == "filter_off":
            found.append(step)
        elif step.at < since and step.kind == "filter_on":
            found.clear()
    return found


def _net(steps: list[Step]) -> float:
    """Litres that came, less those that went, as they were written down."""
    return sum(
        step.in_litres - step.out_litres + (-step.litres if step.kind == "evaporation" else step.litres)
        for step in steps
    )


def _restored(steps: list[Step]) -> tuple[list[Step], float]:
    """The steps without the water that was put in beyond what had gone before, and what is still gone, L.

    What that water held stays: it is in the tank whichever way it was.
    """
    gone, found = 0.0, []
    for step in steps:
        if step.kind == "evaporation":
            gone += step.litres
        elif step.kind == "topup":
            if step.litres > gone:
                step = step._replace(litres=gone)
            gone -= step.litres
        elif step.kind == "change":
            if step.in_litres > gone + step.out_litres:
                step = _without_surplus(step, gone + step.out_litres)
            gone += step.out_litres - step.in_litres
        found.append(step)
    return found, gone


def _without_surplus(step: Step, litres: float) -> Step:
    """The change with so many litres put in, holding what all of them held."""
    low, high = step.incoming_low * step.in_litres, step.incoming_high * step.in_litres
    if litres > 0:
        return step._replace(in_litres=litres, incoming_low=low / litres, incoming_high=high / litres)
    return Step("dose", step.at, low, high) if high > 0 else step._replace(in_litres=0.0)


def _walked(steps: list[Step], volumes: list[_Volume], loss: Loss) -> list[tuple[Level, Level]]:
    """Each step's level before and after it, by every way in which it may have been so then."""
    if not steps:
        return []
    states = _states(steps, volumes, loss, steps[-1].at)
    found: list[tuple[Level, Level]] = []
    for index in range(len(states)):
        end = volumes[index + 1].since if index + 1 < len(states) else None
        known = [step for step in steps if end is None or step.at < end]
        mine = len(known) - len(found)
        if mine:
            runs = list(_runs(known, volumes[: index + 1], states[: index + 1]))
            if index + 1 < len(volumes):
                runs += _either(volumes[-1], known)
            each = [list(walk(run.steps, run.volume, loss))[-mine:] for run in runs]
            found += [
                (_hull(before for _, before, _ in line), _hull(after for _, _, after in line))
                for line in zip(*each, strict=True)
            ]
    return found


def _hull(levels: Iterable[Level]) -> Level:
    """The bounds that hold whichever of the levels is the true one; unknown where one of them is."""
    low, high = None, 0.0
    for one in levels:
        if one.low is None or one.high is None:
            return UNKNOWN
        low, high = one.low if low is None else min(low, one.low), max(high, one.high)
    return Level(low, high)


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
    ordered = [f for f in in_order(facts) if f.at <= until]
    found = [_carried_over(ordered, one, water, until) for one in left_behind(ordered)]
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


def _carried_over(ordered: list[Fact], left: Left, water: Water | None, until: datetime) -> Exposure:
    """What fish were in before they were moved here. With the fish out contact ended, unless some of that water came
    along: then it ends as that of a dose does (rules A9 and C12)."""
    common = (left.substance, left.since, left.last_dose)
    if not any(_puts_in(step) and step.at >= left.until for step in steps_of(ordered, left.substance, until)):
        return Exposure(*common, left.until, left.target, Decimal(0), left.batch)
    high = level_of(ordered, left.substance, water, "none", until).high if water else None
    then = level_of(ordered, left.substance, water, "none", left.until).high if water else None
    little = then is not None and then <= float(left.target * CONTACT_SHARE)
    end = left.until if little else None
    if end is None and water is not None:
        end = _contact_end(ordered, left.substance, water, left.target, left.until, until)
    return Exposure(*common, end, left.target, None if high is None else Decimal(repr(high)), left.batch)


def _contact_end(
    facts: list[Fact], substance: str, water: Water, target: Decimal, since: datetime, until: datetime
) -> datetime | None:
    """The first instant after ``since`` at which the upper bound is low enough, by no loss that is not certain."""
    limit = float(target * CONTACT_SHARE)
    lines = [line for line in lines_of(facts, substance, water, "none", until) if line.step is not None]
    ended = [
        line.fact.at
        for line in lines
        if line.fact.at > since
        and line.fact.kind in ENDING
        and line.after.high is not None
        and line.after.high <= limit
    ]
    flows = [line.step for line in lines if line.step is not None and line.step.kind == "exchange"]
    for flow in flows:
        begin, end = max(flow.at, since), min(flow.until or until, until)
        if end > begin:
            ended += _under(facts, substance, water, limit, begin, end)
    return min(ended, default=None)


ENDING = ("change", "topup", "reading", "exchange", "filter_on")
"""Kinds of facts by which the level of a substance can fall for certain."""


def _under(
    facts: list[Fact], substance: str, water: Water, limit: float, begin: datetime, end: datetime
) -> list[datetime]:
    """The first whole second of a flow at which the upper bound is low enough: it only falls while nothing is added."""

    def low_enough(seconds: int) -> bool:
        high = level_of(facts, substance, water, "none", begin + timedelta(seconds=seconds)).high
        return high is not None and high <= limit

    few, many = 0, int((end - begin).total_seconds())
    if not low_enough(many):
        return []
    while few < many:
        middle = (few + many) // 2
        few, many = (few, middle) if low_enough(middle) else (middle + 1, many)
    return [begin + timedelta(seconds=few)]
