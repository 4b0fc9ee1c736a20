"""What must stand ready before ordered fish arrive, and the first hour of their arrival, as tasks. Pure.

One table (:data:`ITEMS`) holds the work before: how many days before the expected day, whose work, what settles it,
and where it comes from. The days are our choice, common practice without a source. Tests are settled by readings
inside the limits, never by any reading; chores by a keeper's tick.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

from quarantine import evidence as ev
from quarantine.facts import Condition, Fact, PlannedTask, in_order, local_day, utc
from quarantine.quantity import show
from quarantine.water.ranges import number

if TYPE_CHECKING:  # every write plans readiness; only an arrival needs this page
    from quarantine.water.acclimation import Acclimation, Step
    from quarantine.water.acclimation import Tank as TankWater

READY, ARRIVAL = "ready.", "arrival."
"""How the steps of these tasks begin; no step of a template has a dot in its id."""

CHOICE = "The number of days is our choice: common practice, no source"
PROVEN_HOURS = 72  # our choice, no source: an older reading of ammonia or nitrite proves nothing about today
UIA_MOST = "0.05"  # mg/L as N: Univ. of Florida IFAS EDIS, Ammonia, FA16/FA031, 1990/1996
NITRITE_MOST = {"fresh": "0.2", "brackish": "0.125", "marine": "0.125"}  # mg/L as nitrite: Defra, 2024, from memory
STEADY_HOURS, STEADY_WITHIN_HOURS = 24, 36  # the heater: 24 h on record, and at most 36 h apart (rule A10)
FIRST_WEEK_DAYS = 7  # of a stay, the day of arrival among them: who is away then is named; our choice, no source
STEADY_CELSIUS = Decimal(1)  # a fall of more than 1 °C in 24 h can harm tropical fish: veterinary course text
SPARE_PERCENT = Decimal(25)  # one weekly change of the shipped templates: common practice, no source

EDIS = (
    "Univ. of Florida IFAS EDIS, Ammonia, FA16/FA031, 1990/1996: harm by un-ionized ammonia begins at 0.05 mg/L (read "
    "in a copy)"
)
DEFRA = (
    "Defra, Selling animals as pets licensing, statutory guidance, 2024: nitrite at most 0.2 mg/L in fresh and 0.125 "
    "mg/L in sea water, measured as nitrite (from memory)"
)
ZERO = (
    "Wiley, Fundamentals of Aquatic Veterinary Medicine, ISBN 9781119612728, year not stated: a healthy system reads "
    "zero un-ionized ammonia (read in a copy)"
)
SWING = (
    "Veterinary course text, Maintenance of water quality for healthy fish, year not stated: more than 2 °C up or 1 °C "
    "down in 24 h can harm tropical fish"
)
IRELAND = (
    "Marine Institute Ireland, Disinfection on aquaculture sites, year not stated: remove debris, detergent for 15 "
    "min, rinse, disinfect at label strength and time, rinse"
)
DISPLAY = (
    "Book chapter, Quarantine of fish and aquatic invertebrates in public display aquaria, ch. 26, year not stated: a "
    "separate room, else lids against splash and aerosol; bare bottom (read in a copy)"
)
ADVOCATE = (
    "Global Aquaculture Advocate, Health management in recirculating systems, year not stated: nets, siphon and bucket "
    "of its own for each quarantine system"
)
TAP = (
    "Wiley, Clinical Guide to Fish Medicine, ISBN 9781119259848, Chlorines and chloramines, year not stated: test the "
    "tap water before and after it is conditioned (read in a copy)"
)
NO_SOURCE = "Common practice, no source"


class Item(NamedTuple):
    """One thing to have ready. ``reads`` names what a test needs; ``who`` is anyone, keeper or adult."""

    id: str
    kind: str
    title: str
    days_before: int
    who: str
    reads: tuple[str, ...]
    note: str
    references: tuple[str, ...]


ITEMS = (
    Item(
        "clean",
        "chore",
        "Clean and rinse the tank",
        7,
        "adult",
        (),
        "Debris out, detergent 15 min, rinse; disinfect as its label says, rinse again, fill. Bare bottom. Never mix "
        "bleach with acid, ammonia, formalin or quats (from memory).",
        (IRELAND, DISPLAY, CHOICE),
    ),
    Item(
        "kit",
        "chore",
        "Own net, siphon, bucket and thermometer",
        3,
        "anyone",
        (),
        "For this water alone, marked with the tank's name, clean and dry.",
        (ADVOCATE, CHOICE),
    ),
    Item(
        "lid",
        "chore",
        "Lid on, without gaps",
        3,
        "anyone",
        (),
        "Against splash and aerosol, and against fish that jump.",
        (DISPLAY, CHOICE),
    ),
    Item(
        "stock",
        "chore",
        "Stock at hand",
        3,
        "adult",
        (),
        "",
        (NO_SOURCE, CHOICE),
    ),
    Item(
        "absences",
        "chore",
        "Agree who does the work while somebody is away",
        7,
        "keeper",
        (),
        "In the first week there is most to do and most goes wrong. Days on which nobody can do a task: quarantine "
        "protocol start-days.",
        (NO_SOURCE, CHOICE),
    ),
    Item(
        "filter",
        "test",
        "Prove the filter: ammonia and nitrite",
        2,
        "keeper",
        ("tan", "nitrite", "ph", "temperature"),
        "Zero in water that nothing feeds proves nothing: the filter must have had ammonia to work on, or come from a "
        "tank known healthy (common practice, no source). Nitrite is noted as nitrite, not as nitrogen.",
        (EDIS, DEFRA, ZERO, CHOICE),
    ),
    Item(
        "heater",
        "test",
        "Temperature steady for 24 h",
        2,
        "anyone",
        ("temperature",),
        "At what these fish need. Two readings at least, 24 to 36 h apart, all within 1 °C.",
        (SWING, "Rule A10 of this project: at most 36 h between readings", CHOICE),
    ),
    Item(
        "water",
        "chore",
        "Spare water standing ready",
        1,
        "keeper",
        (),
        "Conditioned and tested, at the tank's temperature and salinity: for the first change, or a spill.",
        (TAP, "The amount, 25 % of the tank: common practice, no source", CHOICE),
    ),
)


class Expectation(NamedTuple):
    """A batch that was ordered: when it may come, since when that is known, and what was computed for it.

    ``said_on`` is the day on which the present days were said; ``stock``, ``spare`` and ``absences`` end the titles of
    their items. Without absences nobody has to agree on them.
    """

    batch: str
    tank: str
    system: str
    zone: str
    water: str
    first: date
    last: date
    said_on: date
    stock: str
    spare: str
    absences: str = ""


Closed = Mapping[str, datetime]
"""Key -> when a task that is stored as done was done."""


def tasks_before(expected: Expectation, facts: list[Fact], closed: Closed, as_of: datetime) -> list[PlannedTask]:
    """The readiness tasks of one expectation as the facts have it at ``as_of`` (aware).

    ``facts`` are those of its water since it was entered, in any order. A task's key does not depend on the day, so a
    new date moves no key. A day that passed without arrival dates what is open to today; a test that was passed too
    long before the new day is asked for once more, as a task of its own.
    """
    known = [fact for fact in in_order(facts) if fact.at <= as_of]
    outcomes = {f.data["key"]: f for f in known if f.kind in ("done", "skip") and "key" in f.data}
    made = []
    for item in ITEMS:
        if item.id == "absences" and not expected.absences and key_of(expected, item, 1) not in {*closed, *outcomes}:
            continue
        n = 1
        # A proof that is too old for the day proves nothing any more; a reason given for skipping stands.
        while _is_stale(item, expected, closed.get(key_of(expected, item, n)), as_of):
            made.append(_task(expected, item, n, as_of, None, "done", ""))
            n += 1
        key = key_of(expected, item, n)
        outcome, says = outcomes.get(key), ""
        if outcome is None and item.kind == "test" and key not in closed:
            outcome, says = _tested(item, expected, known, as_of)
        done = "skipped" if outcome is not None and outcome.kind == "skip" else "done"
        state = done if outcome is not None or key in closed else "planned"
        made.append(_task(expected, item, n, as_of, outcome, state, says))
    return made


def key_of(expected: Expectation, item: Item, n: int) -> str:
    """Owner, step, anchor, number: the anchor is the expectation, whose day may move."""
    return f"{expected.batch}:{READY}{item.id}:expected:{n}"


def _comes(expected: Expectation, as_of: datetime) -> date:
    """The first day on which the fish may still come."""
    return max(expected.first, local_day(as_of, expected.zone))


def _day(item: Item, expected: Expectation, as_of: datetime) -> date:
    comes = _comes(expected, as_of)
    return comes if comes > expected.first else max(comes - timedelta(days=item.days_before), expected.said_on)


def _fresh_from(item: Item, expected: Expectation, as_of: datetime) -> datetime:
    """From when a proof counts: a day more than the item's days before the fish may come."""
    return midnight(_comes(expected, as_of) - timedelta(days=item.days_before + 1), expected.zone)


def _is_stale(item: Item, expected: Expectation, closed_at: datetime | None, as_of: datetime) -> bool:
    return item.kind == "test" and closed_at is not None and closed_at < _fresh_from(item, expected, as_of)


def _task(
    expected: Expectation, item: Item, n: int, as_of: datetime, outcome: Fact | None, state: str, says: str
) -> PlannedTask:
    day, comes = _day(item, expected, as_of), _comes(expected, as_of)
    before = f"{item.days_before} day{'s' if item.days_before > 1 else ''} before"
    reason = f"{before} the first day on which the fish may come, {expected.first}"
    if comes > expected.first:
        reason += "; that day passed without them, so it is due now"
    return PlannedTask(
        key=key_of(expected, item, n),
        system=expected.system,
        tank=expected.tank,
        batch=expected.batch,
        kind=item.kind,
        step=READY + item.id,
        title=_title(item, expected) + ("" if n == 1 else " (again)"),
        day=day,
        due_from=midnight(day, expected.zone),
        due_until=midnight(max(expected.last, comes) + timedelta(days=1), expected.zone),
        lapses_at=None,
        state=state,
        needs=None,
        reason=reason + (f"; {says}" if says else ""),
        outcome=outcome,
    )


def _title(item: Item, expected: Expectation) -> str:
    more = {"stock": expected.stock, "water": expected.spare, "absences": expected.absences}.get(item.id, "")
    return f"{item.title}: {more}" if more else item.title


def _tested(item: Item, expected: Expectation, facts: list[Fact], as_of: datetime) -> tuple[Fact | None, str]:
    """The reading that settles a test, or None; and how its conditions stand, in words."""
    mine = [f for f in facts if f.kind in ev.ALTERS or (f.kind == "reading" and f.tank == expected.tank)]
    met, says = _heater(mine, as_of) if item.id == "heater" else _filter(expected, mine, as_of)
    read = [f for f in mine if f.kind == "reading" and f.data["parameter"] in item.reads]
    fresh = bool(read) and read[-1].at >= _fresh_from(item, expected, as_of)
    if met and not fresh:
        says += "; too early to prove it for that day, read again then"
    return (read[-1] if met and fresh else None), says


def _filter(expected: Expectation, facts: list[Fact], as_of: datetime) -> tuple[bool, str]:
    arrival = Fact("", "arrival", as_of, as_of, "", expected.system, expected.tank, "", None, {"count": 0})
    evidence = ev.gather(facts, "", expected.zone, arrival, as_of, [])
    verdicts = [ev.judge(condition, evidence) for condition in limits(expected.water)]
    return all(v.met for v in verdicts), "; ".join(v.says for v in verdicts)


def limits(water: str) -> tuple[Condition, Condition]:
    """What ammonia and nitrite must be at most before fish come, in fresh, brackish or marine water (mg/L)."""
    return (
        Condition("reading", "uia", "", None, UIA_MOST, "mg/L", PROVEN_HOURS, reference=EDIS),
        Condition("reading", "nitrite", "", None, NITRITE_MOST[water], "mg/L", PROVEN_HOURS, reference=DEFRA),
    )


def _heater(facts: list[Fact], as_of: datetime) -> tuple[bool, str]:
    """Whether the readings of the last day lie within 1 °C, the first of them 24 to 36 h before the last."""
    found = [f for f in facts if f.kind == "reading" and f.data["parameter"] == "temperature"]
    needed = f"needed: two readings {STEADY_HOURS} to {STEADY_WITHIN_HOURS} h apart, within {show(STEADY_CELSIUS)} °C"
    if not found or as_of - found[-1].at > timedelta(hours=STEADY_WITHIN_HOURS):
        return False, f"temperature: no reading of the last {STEADY_WITHIN_HOURS} h; {needed}"
    last = found[-1].at
    before = [f for f in found if STEADY_HOURS <= (last - f.at).total_seconds() / 3600 <= STEADY_WITHIN_HOURS]
    if not before:
        return False, f"temperature: its readings do not reach back {STEADY_HOURS} h yet; {needed}"
    values = [Decimal(f.data["value"]) for f in found if f.at >= before[-1].at]
    return max(values) - min(values) <= STEADY_CELSIUS, (
        f"temperature {show(min(values))} to {show(max(values))} °C over {STEADY_HOURS} h; {needed}"
    )


def midnight(day: date, zone: str) -> datetime:
    """The instant (UTC) at which a day begins at a site."""
    return utc(datetime.combine(day, time(0), ZoneInfo(zone)))


# --- The first hour ------------------------------------------------------------------------------------------


class Chore(NamedTuple):
    """One task of the day of arrival, in its place: how its step ends, its title, its note.

    With ``within_hours`` of the arrival it is due, and stands outside the order of the others.
    """

    id: str
    title: str
    note: str
    within_hours: Decimal | None = None


def claim(hours: Decimal) -> Chore:
    """The task to tell the source, within so many hours of the arrival, what came dead or ill (F64)."""
    return Chore("claim", "Claim from the source what came dead or ill", CLAIM, hours)


CLAIM = (
    "By the source's own terms, which say how long and what they want to see. Photograph the fish and the closed bag; "
    "keep the dead ones cold (common practice, no source). Nothing to claim: tick it all the same."
)


def numbered(steps: tuple[Step, ...], *, per_litre: bool = False) -> list[str]:
    """A way from the bag to the tank as numbered sentences; ``per_litre``: litres are for each litre of bag water."""
    return [f"{n}. {_sentence(step, per_litre)}" for n, step in enumerate(steps, 1)]


def _sentence(step: Step, per_litre: bool) -> str:
    if step.what == "float":
        return f"Float the closed bag {step.minutes} min, until under 2 °C of difference is left."
    if step.what == "release":
        return "Net the fish over into the tank; throw the bag's water away."
    each = " for each litre of bag water" if per_litre else ""
    away = f"Pour {number(step.pour_away_litres)} L away, then add" if step.pour_away_litres else "Add"
    low, high = (number(round(end, 1)) for end in step.celsius)
    warmth = f"{low} °C" if low == high else f"{low} to {high} °C"
    salt = "" if step.salinity_g_per_l is None else f", {number(round(step.salinity_g_per_l, 1))} g/L"
    return f"{away} {number(step.add_litres)} L of tank water{each}, wait {step.minutes} min ({warmth}{salt})."


def chores_of_arrival(way: Acclimation | None, *, per_litre: bool, own_chore: bool) -> list[Chore]:
    """What is ticked on day 0, in order: float, mix where that is advised, net over; dim light and no food unless the
    template has a chore of its own for that day (``own_chore``)."""
    from quarantine.water.acclimation import FIRST_DAY

    chores = []
    if way is not None:
        steps = way.steps if way.advised == "steps" else way.release
        lines = [_sentence(step, per_litre) for step in steps]
        first = " ".join((*way.tank_first, lines[0]))
        chores.append(Chore("float", f"float the closed bag {steps[0].minutes} min", first))
        if len(lines) > 2:
            chores.append(Chore("mix", f"add tank water in {len(lines) - 2} steps", " ".join(lines[1:-1])))
        chores.append(Chore("release", "net the fish over, none of the bag's water", lines[-1]))
    if not own_chore:
        chores.append(Chore("quiet", "dim light, no food today", FIRST_DAY))
    return chores


def tasks_of_arrival(batch: str, tank: str, arrival: Fact, zone: str, chores: list[Chore]) -> list[PlannedTask]:
    """The chores of day 0 as tasks, numbered, so that they are done in order; due until the day ends, or until its own
    hours after the arrival are over."""
    day = local_day(arrival.at, zone)
    in_order_of_day = [chore for chore in chores if chore.within_hours is None]
    titles = {c.id: f"Arrival {n} of {len(in_order_of_day)}: {c.title}" for n, c in enumerate(in_order_of_day, 1)}
    return [
        PlannedTask(
            key=f"{batch}:{ARRIVAL}{chore.id}:{arrival.id}:1",
            system=arrival.system,
            tank=tank,
            batch=batch,
            kind="chore",
            step=ARRIVAL + chore.id,
            title=titles.get(chore.id, chore.title),
            day=day,
            due_from=midnight(day, zone),  # so that they stand before the day's other work
            due_until=midnight(day + timedelta(days=1), zone)
            if chore.within_hours is None
            else arrival.at + timedelta(hours=float(chore.within_hours)),
            lapses_at=None,
            state="planned",
            needs=None,
            reason=f"the fish arrived on {day}",
            outcome=None,
        )
        for chore in chores
    ]


def tank_water(readings: list[Fact], water: str) -> TankWater | None:
    """The tank's water for the acclimation from its newest readings; None while its temperature is not known."""
    from quarantine.water.acclimation import Tank as TankWater

    newest = {f.data["parameter"]: (float(f.data["value"]), float(f.data["step"])) for f in in_order(readings)}
    if "temperature" not in newest:
        return None
    return TankWater(newest["temperature"], newest.get("ph"), newest.get("tan"), newest.get("salinity"), water)
