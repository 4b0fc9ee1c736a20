"""What of each substance is in one water, and how that follows from the record, line by line. A read.

Both bounds come from the ledger (rules C1, C2, C12, C13). Beside each line stands the same sum by hand, for the
smallest and for the largest volume that the record allows, so that anyone can do it again with pencil and paper.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from math import exp
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from quarantine.actions import cards
from quarantine.actions.today import tank_named
from quarantine.dosing.known import ceiling_of
from quarantine.dosing.words import cited, counts_in_ledger, in_ledger
from quarantine.facts import Fact, in_order
from quarantine.failures import Unknown
from quarantine.formulary import STATUSES, Ceiling, Figure, Regimen, Substance, level_unit, load, names, titles
from quarantine.quantity import Quantity, show, show_significant
from quarantine.readings import PARAMETERS
from quarantine.records.loading import fact_of, system_water
from quarantine.records.reads import Row, Rows
from quarantine.settings import Home
from quarantine.water.ledger import Line as Entry
from quarantine.water.ledger import Water, level_of, lines_of, read_of, steps_of, substances_in
from quarantine.water.level import UNKNOWN, Level, Step

DIGITS = 4
"""Significant digits of a level: bounds are rounded outward, the sums by hand to the nearest."""
LATE = timedelta(hours=1)
"""Entered so long after it happened, an entry says so; our choice, as in the journal."""
SAMPLES = 48
"""Instants at which a picture asks for a level that moves by itself, as under an exchange of water; our choice."""
IN_WATER = ("bath", "prolonged")
"""Routes whose dose goes into the tank's own water."""
LOWERED = "computed for the water "
"""How a volume is found that follows from another water height: doses before it were none the wrong ones."""
OFF_STRENGTH = 0.1
"""A dose that was measured for litres so far from those known now is named; our choice, as where an amount is asked."""
NO_VOLUME = "no volume of this water is on record"


class Unit(NamedTuple):
    """How levels of one substance are written. ``label`` is "mg/L", "g/L", "uL/L", or says what is counted
    ("mg/L Cu"); an amount of the ledger times ``factor`` is in it."""

    label: str
    factor: float

    @property
    def amount(self) -> str:
        """The unit of an amount of it: "mg", "g", "uL", "mg Cu"."""
        return self.label.replace("/L", "")


class Bounds(NamedTuple):
    """A level at an instant in the substance's unit, rounded outward; both None when it is unknown, then ``why``."""

    at: datetime
    low: Decimal | None
    high: Decimal | None
    why: str = ""


class Line(NamedTuple):
    """One fact of the ledger. ``working`` is the sum by hand. Of a reading, ``expected`` is what the ledger held right
    before it, ``read`` what was read with the kit's error, ``agrees`` whether both can be true (None: not known)."""

    at: datetime
    kind: str
    says: str
    keeper: str
    late: bool
    after: Bounds
    working: tuple[str, ...]
    expected: Bounds | None = None
    read: Bounds | None = None
    agrees: bool | None = None


class Held(NamedTuple):
    """A figure that bounds the level. ``value`` None: not known, ``says`` why. ``drawn``: in the level's unit."""

    what: str
    value: Decimal | None
    unit: str
    says: str
    reference: str
    drawn: Decimal | None = None


class WaterOf(NamedTuple):
    """The water that was asked about: its tanks, how much, and how it was found."""

    tank: str
    system: str
    beside: tuple[str, ...]
    zone: str
    volume: Water | None
    says: str


class Ledger(NamedTuple):
    """One substance in one water. ``then`` is at the instant that was asked for; ``points`` are for a picture."""

    water: WaterOf
    substance: str
    name: str
    unit: Unit
    now: Bounds
    then: Bounds | None
    lines: tuple[Line, ...]
    held: tuple[Held, ...]
    notes: tuple[str, ...]
    points: tuple[Bounds, ...]


class Found(NamedTuple):
    """One substance on record for a water, in a line."""

    substance: str
    name: str
    unit: str
    now: Bounds
    then: Bounds | None


class Overview(NamedTuple):
    """Every substance on record for one water; ``never`` are the names of all others, ``others`` their level."""

    water: WaterOf
    found: tuple[Found, ...]
    never: tuple[str, ...]
    others: Bounds


# --- Reading ----------------------------------------------------------------------------------------------


def read_on(text: str, zone: str, now: datetime) -> datetime:
    """A typed instant, past or to come; a day alone is its last minute at the site. Raises Refused."""
    from quarantine.moments import read_moment

    day = text.strip()
    whole = len(day) == 10 and day[4] == day[7] == "-"
    return read_moment(f"{day} 23:59" if whole else text, zone, now, "--on")


def read_overview(rows: Rows, tank_name: str, now: datetime, on: str | None) -> Overview:
    """A line for every substance on record in the water of a tank. Raises Unknown or Refused for what was typed."""
    tank, facts, then = _asked(rows, tank_name, now, on)
    water = _water(rows, tank, now)
    found = []
    for id_ in _on_record(facts):
        name, loss = _called(id_)
        unit = unit_of(facts, id_)
        at_then = _bounds(facts, id_, water.volume, loss, then, unit, tank["zone"]) if then else None
        found.append(
            Found(id_, name, unit.label, _bounds(facts, id_, water.volume, loss, now, unit, tank["zone"]), at_then)
        )
    there = {one.substance for one in found}
    others = _bounds(facts, "", water.volume, "none", then or now, Unit("mg/L", 1.0), tank["zone"])
    return Overview(water, tuple(found), tuple(t.name for t in titles() if t.id not in there), others)


def read_ledger(rows: Rows, home: Home, tank_name: str, substance: str, now: datetime, on: str | None) -> Ledger:
    """One substance in the water of a tank, line by line, up to now or to the instant that was asked for. Later than
    now nothing more happens but stated losses. Raises Unknown or Refused for what was typed."""
    entry = load(substance)
    tank, facts, then = _asked(rows, tank_name, now, on)
    unit, zone, last = unit_of(facts, entry.id), tank["zone"], then or now
    # What is known of the volume today counts for the past as well: an earlier figure may have been wrong.
    water = _water(rows, tank, now)
    entries = _entries(facts, entry, water.volume, last)
    lines = _lines(
        entries, entry.id, water.volume, unit, zone, {row["id"]: row["name"] for row in rows.rows("keepers")}
    )
    lines = _with_volumes(facts, lines, entry, water, unit, last)
    return Ledger(
        water,
        entry.id,
        entry.name,
        unit,
        _bounds(facts, entry.id, water.volume, entry.loss, now, unit, zone),
        _bounds(facts, entry.id, water.volume, entry.loss, then, unit, zone) if then else None,
        lines,
        _held(rows, home, tank, [f for f in facts if f.at <= last], entry, unit, now),
        _notes(facts, entry, lines, water, last),
        _points(facts, lines, entry, water.volume, unit, last),
    )


def _asked(rows: Rows, tank_name: str, now: datetime, on: str | None) -> tuple[Row, list[Fact], datetime | None]:
    tank = tank_named(rows.rows("tanks"), tank_name)
    then = read_on(on, tank["zone"], now) if on is not None else None
    return tank, in_order([fact_of(row) for row in rows.rows("facts_since", system=tank["system"], since="")]), then


def _water(rows: Rows, tank: Row, at: datetime) -> WaterOf:
    volume, says = system_water(rows, tank["system"], at)
    beside = sorted(t["name"] for t in rows.rows("tanks") if t["system"] == tank["system"] and t["id"] != tank["id"])
    return WaterOf(tank["name"], tank["system_name"], tuple(beside), tank["zone"], volume, says)


def _on_record(facts: list[Fact]) -> list[str]:
    """Substances that something on record put into this water: a dose, new water, or an addition of unknown size."""
    dosed = substances_in([f for f in facts if f.data.get("route") in IN_WATER])
    brought = {id_ for f in facts for id_ in f.data.get("brings") or ()}
    strange = {f.data["substance"] for f in facts if f.kind == "unknown_addition" and f.data.get("substance")}
    return sorted({*dosed, *brought, *strange})


def _called(id_: str) -> tuple[str, str]:
    """How a substance is shown, and what may be lost of it; of one that left the formulary nothing is certain."""
    try:
        entry = load(id_)
    except Unknown:
        return id_, "possible"
    return entry.name, entry.loss


# --- Units ------------------------------------------------------------------------------------------------


def _doses(facts: Sequence[Fact], substance: str) -> list[Fact]:
    mine = [f for f in facts if f.kind == "dose" and f.data.get("substance") == substance]
    return [f for f in mine if f.data.get("route") in IN_WATER]


def unit_of(facts: Sequence[Fact], substance: str) -> Unit:
    """The unit of a substance's levels: its ledger's own, in g/L where its doses are published so.

    What was put in before the record said what is counted was weighed as it stood: then it is mg/L of that.
    """
    doses = _doses(facts, substance)
    entry = load(substance) if substance in names() else None
    if entry is not None and entry.ledger_unit != "mg/L":
        said = all(f.data.get("level_unit") == entry.ledger_unit for f in doses)
        return Unit(entry.ledger_unit if said else "mg/L", 1.0)
    uses = [use for use in entry.regimens if use.route in IN_WATER] if entry is not None else []
    published = str(doses[-1].data.get("target_unit")) if doses else next(filter(None, map(level_unit, uses)), "")
    return Unit("g/L", 0.001) if published == "g/L" else Unit("mg/L", 1.0)


def _in_unit(entry: Substance, value: Decimal, given: str, unit: Unit) -> Decimal | None:
    """A figure in the level's unit; None where it counts something else."""
    if unit.label != entry.ledger_unit and unit.factor == 1.0:  # weighed as it stood, see unit_of
        return value if given == unit.label else None
    if not counts_in_ledger(entry, given):
        return None
    return in_ledger(entry, Quantity(value, given)) * Decimal(str(unit.factor))


# --- Bounds -----------------------------------------------------------------------------------------------


def _entries(facts: list[Fact], entry: Substance, water: Water | None, until: datetime) -> list[Entry]:
    """The ledger's own lines from the first that put something in; water that came or went unevenly before counts too.
    Without a volume every level after the first of them is unknown."""
    if water is not None:
        found = lines_of(facts, entry.id, water, entry.loss, until)
    else:
        told = [(f, steps_of([f], entry.id)) for f in facts if f.at <= until]
        found = [Entry(f, step, UNKNOWN, UNKNOWN, "") for f, steps in told for step in steps]
    begun = next((n for n, one in enumerate(found) if _puts_in(one)), len(found))
    if begun == len(found):
        return []
    # A filter that ran again before anything was put in makes no difference any more.
    turned = [(n, one.step.kind) for n, one in enumerate(found[:begun]) if one.step and one.step.kind in FILTER]
    off = turned[-1][0] if turned and turned[-1][1] == "filter_off" else None
    before = [
        one for n, one in enumerate(found[:begun]) if one.step is not None and (_moves_litres(one.step) or n == off)
    ]
    return [*before, *found[begun:]]


FILTER = ("filter_off", "filter_on")
"""Steps by which sump and filter stand apart, or come back to the tank (rule C10)."""


def _puts_in(one: Entry) -> bool:
    step = one.step
    return step is None or step.kind in ("dose", "unknown_addition", "reading") or step.incoming_high > 0


def _moves_litres(step: Step) -> bool:
    return step.kind in ("topup", "evaporation") or step.out_litres != step.in_litres


def _bounds(
    facts: list[Fact], substance: str, water: Water | None, loss: str, at: datetime, unit: Unit, zone: str
) -> Bounds:
    if water is not None:
        found = level_of(facts, substance, water, loss, at)
        return _shown(found, at, unit, "" if found.known else _why(facts, substance, at, zone))
    put_in = [f for f in facts if f.at <= at and f.kind not in ("removal", "topup", "evaporation")]
    steps = [step for step in steps_of(put_in, substance) if step.kind not in FILTER]
    steps = [step for step in steps if step.kind != "change" or step.incoming_high > 0]
    return Bounds(at, None, None, NO_VOLUME) if steps else Bounds(at, Decimal(0), Decimal(0))


def _shown(level: Level, at: datetime, unit: Unit, why: str) -> Bounds:
    if level.low is None or level.high is None:
        return Bounds(at, None, None, why)
    return Bounds(at, _out(level.low * unit.factor, up=False), _out(level.high * unit.factor, up=True))


def level_words(bounds: Bounds, unit: str) -> str:
    """ "1.8 to 1.9 mg/L", "0 mg/L" or "unknown: why"."""
    if bounds.low is None or bounds.high is None:
        return f"unknown: {bounds.why}" if bounds.why else "unknown"
    span = show(bounds.low) if bounds.low == bounds.high else f"{show(bounds.low)} to {show(bounds.high)}"
    return f"{span} {unit}"


def left_in_water(rows: Rows, tank_name: str, now: datetime) -> list[str]:
    """What the water of a tank holds now by the record, a line a substance; nothing of what is surely out of it."""
    found = read_overview(rows, tank_name, now, None).found
    return [
        f"{one.name} in the water now: {level_words(one.now, one.unit)}."
        for one in found
        if one.now.high is None or one.now.high > 0
    ]


def off_strength(rows: Rows, tank: Row, now: datetime) -> list[str]:
    """What a volume that was measured anew says of the doses that went into the water before, a line each."""
    facts = in_order([fact_of(row) for row in rows.rows("facts_since", system=tank["system"], since="")])
    volume, _ = system_water(rows, tank["system"], now)
    doses = [dose for substance in _on_record(facts) for dose in _doses(facts, substance)]
    return _off_strength(doses, volume, tank["zone"]) if volume is not None else []


def _off_strength(doses: Sequence[Fact], water: Water, zone: str) -> list[str]:
    """Doses that were measured for other litres than are known now: one of the two figures was wrong, or the water
    became another since. What was given stays as it was given."""
    found = []
    for dose in doses:
        was = float(dose.data.get("whole_litres") or dose.data.get("volume_litres") or water.litres)
        after = any(one.until > dose.at for one in water.earlier)
        if not after or abs(was / water.litres - 1) <= OFF_STRENGTH:
            continue
        litres, percent = show(Decimal(str(water.litres)), 2), show(Decimal(str(abs(was / water.litres - 1) * 100)), 0)
        word = "strong" if was > water.litres else "weak"
        found.append(
            f"The dose of {_local(dose.at, zone)} ({show(Decimal(dose.data['given']))} {dose.data['given_unit']}) "
            f"was measured for {show(Decimal(str(was)), 2)} L. If {litres} L are right, it was {percent} % too {word}."
        )
    return found


def level_now(doses: Sequence[Fact], substance: str, level: Level, at: datetime) -> str:
    """A level that is known already, in words and in the unit of its ledger; ``doses`` are those of this water."""
    unit = unit_of(doses, substance)
    return level_words(_shown(level, at, unit, ""), unit.label)


def _out(value: float, *, up: bool) -> Decimal:
    """A bound to the digits that are shown, outward, but for what floats may have added at the far end of theirs."""
    near = Decimal(show_significant(Decimal(repr(value)), 12))
    return Decimal(show_significant(near, DIGITS, up=up))


def _why(facts: list[Fact], substance: str, at: datetime, zone: str) -> str:
    """Why a level is unknown, if it is."""
    for fact in reversed([f for f in facts if f.at <= at]):
        if any(step.kind == "unknown_addition" for step in steps_of([fact], substance)):
            what = fact.data.get("what") or fact.kind.replace("_", " ")
            return f"an amount that nobody knows came in ({what}, {_local(fact.at, zone)})"
    return "by the record more water went than there was"


def _local(at: datetime, zone: str) -> str:
    return f"{at.astimezone(ZoneInfo(zone)):%Y-%m-%d %H:%M}"


def _points(
    facts: list[Fact], lines: tuple[Line, ...], entry: Substance, water: Water | None, unit: Unit, last: datetime
) -> tuple[Bounds, ...]:
    """The bounds from each instant on until the next one. Where something may be lost, the lower bound falls at once;
    where water is exchanged all the time, the level is asked for at instants between and both ends are counted."""
    if not lines:
        return (Bounds(last, Decimal(0), Decimal(0)),) if water is not None else (Bounds(last, None, None, NO_VOLUME),)
    points = []
    for line in lines:
        points.append(line.after)
        if entry.loss == "possible" and line.after.low:
            points.append(Bounds(line.at + timedelta(seconds=1), Decimal(0), line.after.high))
    flowing = [line.at for line in lines if line.kind == "exchange"]
    if not flowing or water is None or last <= flowing[0]:
        return tuple(p for p in points if p.at <= last)
    gap = (last - flowing[0]) / SAMPLES
    instants = sorted({*(p.at for p in points if p.at < last), *(flowing[0] + gap * n for n in range(SAMPLES)), last})
    levels = [level_of(facts, entry.id, water, entry.loss, at) for at in instants]
    return tuple(
        _shown(_hull(here, after), at, unit, "")
        for at, here, after in zip(instants, levels, [*levels[1:], levels[-1]], strict=True)
    )


def _hull(one: Level, other: Level) -> Level:
    if one.low is None or one.high is None or other.low is None or other.high is None:
        return UNKNOWN
    return Level(min(one.low, other.low), max(one.high, other.high))


# --- The sum by hand --------------------------------------------------------------------------------------


class _Sum(NamedTuple):
    """What one litre holds if ``litres`` are really there; ``amount`` None: the sum says nothing any more."""

    litres: float
    amount: float | None
    apart: float = 0.0
    """litres of sump and filter, while the filter is off"""
    held: float = 0.0
    """what one of those holds"""


class _Hand(NamedTuple):
    """The sums for one volume: with the least of each amount and all water on record, and with the most of each amount
    and without the water that was put in beyond what had gone."""

    least: _Sum
    most: _Sum


def _ends(water: Water | None) -> list[_Hand]:
    """The smallest and the largest litres that the volume on record may be."""
    if water is None:
        return []
    least, most = water.litres - water.plus_minus_litres, water.litres + water.plus_minus_litres
    return [_Hand(_Sum(litres, 0.0), _Sum(litres, 0.0)) for litres in dict.fromkeys((least, most))]


class _Flow(NamedTuple):
    """Water that is exchanged all the time: litres an hour of it, holding so much, until an instant (None: still)."""

    litres_per_hour: float
    low: float
    high: float
    until: datetime | None


def _flowed(sum_: _Sum, flows: Sequence[_Flow], since: datetime, at: datetime, *, most: bool) -> _Sum:
    """C = Cs + (C0 - Cs) x exp(-q t / V), mass balance of a well-mixed water, from one instant to another."""
    ends = sorted({at, *(f.until for f in flows if f.until is not None and since < f.until < at)})
    for end in ends:
        running = [f for f in flows if f.until is None or f.until >= end]
        rate = sum(f.litres_per_hour for f in running)
        if rate > 0 and sum_.amount is not None:
            brings = sum(f.litres_per_hour * (f.high if most else f.low) for f in running) / rate
            left = exp(-rate * (end - since).total_seconds() / 3600 / sum_.litres)
            sum_ = sum_._replace(amount=brings + (sum_.amount - brings) * left)
        since = end
    return sum_


def _advanced(sum_: _Sum, step: Step, *, most: bool) -> _Sum:
    """The sum after a step (mass balance); of the tank alone while the filter is off."""
    if step.kind == "filter_on":
        return _mixed(sum_)
    litres, amount = _stepped(sum_.litres, sum_.amount, step, most=most)
    return sum_._replace(litres=litres, amount=amount)


def _mixed(sum_: _Sum) -> _Sum:
    """Tank, sump and filter as one water."""
    whole = sum_.litres + sum_.apart
    if sum_.amount is None or not sum_.apart:
        return _Sum(whole, sum_.amount)
    return _Sum(whole, (sum_.amount * sum_.litres + sum_.held * sum_.apart) / whole)


def _set_apart(hands: Sequence[_Hand], step: Step) -> list[_Hand]:
    """The sums for the tank alone: the smallest with the most litres apart, the largest with the least."""
    both = hands if len(hands) != 1 or step.apart_low == step.apart_high else [hands[0], hands[0]]

    def alone(sum_: _Sum, litres: float) -> _Sum:
        return sum_ if sum_.apart else _Sum(sum_.litres - litres, sum_.amount, litres, sum_.amount or 0.0)

    ends = (step.apart_high, step.apart_low)
    return [_Hand(alone(h.least, litres), alone(h.most, litres)) for h, litres in zip(both, ends, strict=False)]


def _stepped(litres: float, amount: float | None, step: Step, *, most: bool) -> tuple[float, float | None]:
    if step.kind == "reading":
        return litres, step.level_high if most else step.level_low
    kept, added = litres, 0.0
    if step.kind == "change":
        kept, added = max(litres - step.out_litres, 0.0), step.in_litres
    elif step.kind == "topup":
        added = step.litres
    elif step.kind == "evaporation":
        kept, added = litres, -step.litres
    after = kept + added
    incoming = step.incoming_high if most else step.incoming_low
    if step.kind == "unknown_addition" or after <= 0:
        return max(after, 0.0), None
    if amount is None:
        # A change of all the water leaves what came in, whatever was there before.
        return after, incoming if step.kind == "change" and kept == 0 else None
    if step.kind == "dose":
        return litres, amount + (step.mass_mg_high if most else step.mass_mg_low) / litres
    if step.kind == "evaporation":
        return after, amount * litres / after
    return after, (amount * kept + incoming * added) / after


def _counted(step: Step, gone: float) -> tuple[Step, float]:
    """The step without the water that was put in beyond the litres that had gone, and the litres still gone after it.

    Such water restores what nobody wrote down, or stands too high; which, is not known, so it thins no upper bound.
    """
    if step.kind == "evaporation":
        return step, gone + step.litres
    if step.kind == "topup":
        inside = min(step.litres, gone)
        return step._replace(litres=inside), gone - inside
    if step.kind == "change":
        inside = min(step.in_litres, gone + step.out_litres)
        return step._replace(in_litres=inside), gone + step.out_litres - inside
    return step, gone


def _number(value: float, digits: int = DIGITS) -> str:
    return show_significant(Decimal(repr(value)), digits)


def _litres(value: float) -> str:
    return f"{_number(value, 5)} L"


def _working(step: Step, counted: Step, before: Sequence[_Hand], after: Sequence[_Hand], unit: Unit) -> list[str]:
    """The sum of one step in words, once for each volume."""
    if step.kind in _WORDS:
        return [_WORDS[step.kind]]
    told = []
    for here, there in zip(before, after, strict=True):
        if here.most.amount is None or there.most.amount is None:
            continue
        words = _sum_words(counted, here.most, there.most, unit)
        least = there.least.amount
        if least is not None and abs(least - there.most.amount) > 1e-9 * there.most.amount:
            words += f"; or {_level(least, unit)}"
        told.append(words)
        if there.most.apart and step.kind != "filter_off":
            told.append(f"if the filter ran again: {_mixed_words(there.most, _mixed(there.most), unit)}")
    return told


def _mixed_words(here: _Sum, there: _Sum, unit: Unit) -> str:
    now, held = (_number((amount or 0.0) * unit.factor) for amount in (here.amount, here.held))
    return (
        f"({now} x {_number(here.litres, 5)} + {held} x {_number(here.apart, 5)}) / {_number(there.litres, 5)} = "
        f"{_level(there.amount or 0.0, unit)}"
    )


_WORDS = {
    "removal": "how much it took is not known: the lower bound is 0 from here on, the upper one stays",
    "reading": "both bounds are those of the reading from here on",
    "unknown_addition": "how much came in is not known, so neither is the level, until all the water is changed or the "
    "level is read",
}


def _level(amount: float, unit: Unit) -> str:
    return f"{_number(amount * unit.factor)} {unit.label}"


def _mass(amount: float, unit: Unit) -> str:
    return f"{_number(amount * unit.factor, 6)} {unit.amount}"


def _sum_words(step: Step, here: _Sum, there: _Sum, unit: Unit) -> str:
    was, now = here.amount or 0.0, there.amount or 0.0
    old = _number(was * unit.factor)
    if step.kind == "dose":
        before = f"{old} + " if was else ""
        return f"{before}{_mass(step.mass_mg_high, unit)} / {_litres(here.litres)} = {_level(now, unit)}"
    if step.kind == "filter_off":
        whole = _litres(there.litres + there.apart)
        left = f"{_litres(there.litres)} stay"
        return f"of {whole} {_litres(there.apart)} stand apart with {_level(there.held, unit)}: {left}"
    if step.kind == "filter_on":
        return _mixed_words(here, there, unit)
    if step.kind == "exchange":
        return f"{_litres(step.litres_per_hour)} an hour, out of {_litres(here.litres)}"
    kept = here.litres - (step.out_litres if step.kind == "change" else 0.0)
    added = there.litres - kept
    left = f"; {_number(now * there.litres * unit.factor)} {unit.amount} are there"
    if step.kind == "change" and step.in_litres == step.out_litres and not step.incoming_high:
        share = step.out_litres / here.litres
        return (
            f"of {_litres(here.litres)} {_litres(step.out_litres)} went, {_number(share * 100)} %: "
            f"{old} x {_number(1 - share)} = {_level(now, unit)}{left}"
        )
    if step.incoming_high:
        brings = _number(step.incoming_high * unit.factor)
        return (
            f"{_litres(kept)} of {_litres(here.litres)} stay and {_litres(added)} come in: "
            f"({old} x {_number(kept, 5)} + {brings} x {_number(added, 5)}) / {_number(there.litres, 5)} = "
            f"{_level(now, unit)}{left}"
        )
    stay = kept if step.kind == "change" else here.litres
    return (
        f"{_litres(stay)} become {_litres(there.litres)}: {old} x {_number(stay, 5)} / {_number(there.litres, 5)} = "
        f"{_level(now, unit)}{left}"
    )


def _holds(fact: Fact, step: Step, unit: Unit) -> list[str]:
    """How much of what is counted was in a product that has a strength."""
    if step.kind != "dose" or not fact.data.get("product"):
        return []
    given = f"{show(Decimal(fact.data['given']))} {fact.data['given_unit']}"
    return [f"{given} of {fact.data['product']} hold {_mass(step.mass_mg_high, unit)}"]


def _only_water(after: Sequence[_Hand]) -> list[str]:
    """Before anything was put in, only the litres count."""
    return [f"{_litres(hand.most.litres)} are there" for hand in after]


def _surplus(step: Step, counted: Step) -> list[str]:
    over = step.litres - counted.litres + step.in_litres - counted.in_litres
    if over <= 0:
        return []
    return [
        f"{_litres(over)} more than had gone went in: it restores what nobody wrote down, or stands over the mark: the "
        "sums count without it, and behind the word or with it"
    ]


def _wider(after: Level, hands: Sequence[_Hand]) -> list[str]:
    """Said where the upper bound lies above both sums: a volume between them, or on record before, may give more."""
    sums = [hand.most.amount for hand in hands if hand.most.amount is not None]
    if after.high is None or not sums or after.high <= max(sums) * 1.0005:
        return []
    return ["the upper bound is higher than that: it holds for all else that may be true as well"]


# --- Lines ------------------------------------------------------------------------------------------------


def _lines(
    entries: list[Entry], substance: str, water: Water | None, unit: Unit, zone: str, keepers: dict[str, str]
) -> tuple[Line, ...]:
    hands, gone, since, begun = _ends(water), 0.0, None, False
    flows: list[_Flow] = []
    lines = []
    for one in entries:
        fact, step, before, after, note = one
        at, working = fact.at, [note] if note else []
        if flows and since is not None and at > since:
            flowed = [_through(hand, flows, since, at) for hand in hands]
            working += _flow_words(hands, flowed, flows, since, at, unit)
            hands = flowed
        if step is not None:
            counted, gone = _counted(step, gone)
            if step.kind == "filter_off":
                there = _set_apart(hands, step)
                hands = hands if len(hands) == len(there) else [*hands, *hands]
            else:
                there = [
                    _Hand(_advanced(h.least, step, most=False), _advanced(h.most, counted, most=True)) for h in hands
                ]
            begun = begun or _puts_in(one)
            working += _holds(fact, step, unit)
            working += _working(step, counted, hands, there, unit) if begun else _only_water(there)
            working += [*_surplus(step, counted), *_wider(after, there)]
            hands = there
            if step.kind == "exchange":
                flows.append(_Flow(step.litres_per_hour, step.incoming_low, step.incoming_high, step.until))
        since = at
        line = Line(
            at,
            step.kind if step is not None else fact.kind,
            _says(fact, step, unit, zone),
            keepers.get(fact.keeper, ""),
            fact.entered_at - at > LATE,
            _shown(after, at, unit, ""),
            tuple(working),
        )
        # A reading on another scale, which its note names, is neither compared nor drawn.
        read = read_of(fact, substance) if step is not None and step.kind == "reading" else None
        lines.append(line if read is None else _compared(line, before, read, unit))
    return tuple(lines)


def _with_volumes(
    facts: list[Fact], lines: tuple[Line, ...], entry: Substance, water: WaterOf, unit: Unit, last: datetime
) -> tuple[Line, ...]:
    """The lines with one for each time that the water was measured anew while some of it was there."""
    if water.volume is None or not lines:
        return lines
    earlier, made = water.volume.earlier, []
    for number, was in enumerate(earlier):
        at = was.until
        if not lines[0].at <= at <= last:
            continue
        becomes = Water(*(earlier[number + 1] if number + 1 < len(earlier) else water.volume)[:2])
        known = Water(was.litres, was.plus_minus_litres, earlier[:number])
        before = level_of(facts, entry.id, known, entry.loss, at)
        after = _shown(level_of(facts, entry.id, water.volume, entry.loss, at), at, unit, "")
        says = f"the water was measured anew: {_plus_minus(becomes)}; before it was {_plus_minus(known)}"
        made.append(Line(at, "volume", says, "", False, after, tuple(_became(before, known, becomes, unit))))
    return tuple(sorted((*lines, *made), key=lambda line: line.at))


def _plus_minus(volume: Water) -> str:
    return f"{_litres(volume.litres)}, plus or minus {_litres(volume.plus_minus_litres)}"


def _became(before: Level, was: Water, becomes: Water, unit: Unit) -> list[str]:
    """The sum by hand for water that became less, at the same end of both plus-minuses; more water thins it."""
    told = ["whether the figure before was wrong or the water became another is not known: the bounds hold for both"]
    if before.high is None or becomes.litres >= was.litres:
        return told
    high = before.high * unit.factor
    for sign in (-1, 1):
        old, new = (v.litres + sign * v.plus_minus_litres for v in (was, becomes))
        told.append(
            f"if it became less: {_number(high)} x {_number(old, 5)} / {_number(new, 5)} = "
            f"{_number(high * old / new)} {unit.label}"
        )
    return told


def _through(hand: _Hand, flows: Sequence[_Flow], since: datetime, at: datetime) -> _Hand:
    return _Hand(_flowed(hand.least, flows, since, at, most=False), _flowed(hand.most, flows, since, at, most=True))


def _flow_words(
    before: Sequence[_Hand], after: Sequence[_Hand], flows: Sequence[_Flow], since: datetime, at: datetime, unit: Unit
) -> list[str]:
    """What the exchange that ran in between made of it: so many litres in all, through the water that was there."""
    ran = [(f, (min(at, f.until or at) - since).total_seconds() / 3600) for f in flows]
    passed = sum(f.litres_per_hour * hours for f, hours in ran if hours > 0)
    return [
        f"{_litres(passed)} were exchanged since, through {_litres(here.most.litres)}: "
        f"{_level(here.most.amount, unit)} became {_level(there.most.amount, unit)}"
        for here, there in zip(before, after, strict=True)
        if passed and here.most.amount is not None and there.most.amount is not None
    ]


def _compared(line: Line, before: Level, read: Level, unit: Unit) -> Line:
    """Expected against read (F24): they agree where the two spans meet."""
    agrees = None
    if before.low is not None and before.high is not None and read.low is not None and read.high is not None:
        agrees = read.low <= before.high and before.low <= read.high
    expected = _shown(before, line.at, unit, "")
    return line._replace(expected=expected, read=_shown(read, line.at, unit, ""), agrees=agrees)


def _says(fact: Fact, step: Step | None, unit: Unit, zone: str) -> str:
    """What happened, in words: amounts as they were typed."""
    data = fact.data
    if step is not None and step.kind == "filter_off":
        litres, error = (_litres(float(data[name])) for name in ("apart_litres", "apart_plus_minus_litres"))
        return f"filter off: {litres}, plus or minus {error}, of sump and filter stand apart"
    if fact.kind == "filter_on":
        return "the filter runs again: its water and that of the tank are one"
    if fact.kind == "dose":
        planned = f"; planned {show(Decimal(data['target']))} {data['target_unit']}" if _stated(data) else ""
        product = f" of {data['product']}" if data.get("product") else ""
        return f"dose: {show(Decimal(data['given']))} {data['given_unit']}{product} ({data['regimen']}{planned})"
    if fact.kind == "change":
        out, in_ = (f"{show(Decimal(data[name]))} L" for name in ("out_litres", "in_litres"))
        return f"water change: {out} out, {in_} in{_brings(step, unit)}"
    if fact.kind in ("topup", "evaporation"):
        word = "top-up" if fact.kind == "topup" else "evaporation"
        return f"{word}: {show(Decimal(data['litres']))} L{_brings(step, unit)}"
    if fact.kind == "exchange" and step is not None:
        until = f"until {_local(step.until, zone)}" if step.until else "and it runs on"
        return f"water exchanged all the time: {_litres(step.litres_per_hour)} an hour, {until}{_brings(step, unit)}"
    if fact.kind == "removal":
        return f"taken out: {data.get('by', '')}"
    if fact.kind == "unknown_addition":
        return f"added, nobody knows how much: {data.get('what', '')}"
    if fact.kind == "reading":
        known = PARAMETERS.get(data["parameter"])
        kit = f" ({data['kit']})" if data.get("kit") else ""
        name = known.title if known else data["parameter"]
        name += f", {data['form']}" if data.get("form") else ""
        return f"reading: {name} {show(Decimal(data['value']))} {data['unit']}{kit}"
    return fact.kind.replace("_", " ")


def _brings(step: Step | None, unit: Unit) -> str:
    if step is None or not step.incoming_high:
        return ""
    low, high = _number(step.incoming_low * unit.factor), _number(step.incoming_high * unit.factor)
    return f", which holds {low if low == high else f'{low} to {high}'} {unit.label}"


# --- What bounds it ---------------------------------------------------------------------------------------


def _held(
    rows: Rows, home: Home, tank: Row, facts: list[Fact], entry: Substance, unit: Unit, now: datetime
) -> tuple[Held, ...]:
    """Target, ceiling, prolonged limit and effective minimum: the dose's own target, else the formulary's figures of
    today, by the use that was dosed last in this water."""
    doses = _doses(facts, entry.id)
    if not doses:
        return (_limit(entry, unit),)
    last = doses[-1].data
    row = next((use for use in entry.regimens if use.id == last.get("regimen")), None)
    found = []
    if _stated(last):
        value, given = Decimal(last["target"]), str(last["target_unit"])
        found.append(
            Held("target", value, given, _row(last), last.get("reference", ""), _in_unit(entry, value, given, unit))
        )
    if row is not None:
        setting = cards.setting_for(rows, home, tank, cards.batch_in(rows, tank["system"]), now)
        found.append(_ceiling(entry, row, ceiling_of(row, setting), unit))
    found.append(_limit(entry, unit))
    if row is not None:
        found.append(_figure("effective minimum", entry, row.effective_minimum, unit, f"of {row.id}"))
    return tuple(found)


def _stated(dose: dict[str, Any]) -> bool:
    """Whether a dose on record had a target: one that the water decides may have had none."""
    return bool(dose.get("target")) and Decimal(dose["target"]) > 0


def _row(data: dict[str, Any]) -> str:
    return f"of the last dose ({data['regimen']})"


def _ceiling(entry: Substance, row: Regimen, ceiling: Ceiling | None, unit: Unit) -> Held:
    words = f"of {row.id}"
    if ceiling is None:
        says = f"the formulary gives none {words} for the contact, the temperature and the animals on record"
        return Held("ceiling", None, "", says, "")
    if ceiling.up_to is not None:
        words += f", for a contact of at most {show(ceiling.up_to.value)} {ceiling.up_to.unit}"
    if ceiling.warmest is not None:
        words += f", up to {show(ceiling.warmest.value)} {ceiling.warmest.unit}"
    if ceiling.group:
        words += f", for {ceiling.group}"
    return _figure("ceiling", entry, ceiling.figure, unit, words)


def _limit(entry: Substance, unit: Unit) -> Held:
    return _figure("prolonged limit", entry, entry.prolonged_limit, unit, "at or under it a bath has ended")


def _figure(what: str, entry: Substance, figure: Figure | None, unit: Unit, words: str) -> Held:
    if figure is None:
        return Held(what, None, "", "no source was found", "")
    source = "; ".join(part for part in (cited(entry, figure.reference), STATUSES[figure.status]) if part)
    return Held(what, figure.value, figure.unit, words, source, _in_unit(entry, figure.value, figure.unit, unit))


def _notes(
    facts: list[Fact], entry: Substance, lines: tuple[Line, ...], water: WaterOf, last: datetime
) -> tuple[str, ...]:
    """What has to be known to read the lines."""
    notes = ["Bounds are rounded outward to four digits, the sums by hand to the nearest."] if lines else []
    if any("; or " in words for line in lines for words in line.working):
        notes.append("Behind the word or stands the sum with the least of each amount and all the water on record.")
    if lines and entry.loss == "possible":
        keys = ", ".join(dict.fromkeys(note.reference for note in entry.loss_notes if note.reference))
        known = cited(entry, keys) or "; ".join(dict.fromkeys(STATUSES[note.status] for note in entry.loss_notes))
        source = f" ({known})" if known else ""
        notes.append(
            "Some of it may be lost and nobody can say how much: from the moment after a dose the lower bound is 0, "
            f"and the upper one counts no loss{source}."
        )
    if lines and "salt" in entry.classes:
        notes.append(
            "Counted is what was added, on top of the salt that the water held before, until a reading of its salinity "
            "takes the place of both."
        )
    if any(line.kind == "filter_off" for line in lines):
        notes.append(
            "With the filter off the sums are of the tank alone; the bounds hold as well in case that it ran again and "
            "nobody said so: then a change took its share of all the water, of what was in it at the least that of the "
            "tank alone (rule C10)."
        )
    if any(line.kind == "exchange" for line in lines):
        notes.append(
            "Water exchanged all the time: C = Cs + (C0 - Cs) x exp(-q / V), with q litres exchanged, V litres there "
            "and Cs what the new water holds (mass balance of a well-mixed water)."
        )
    if lines and water.volume is not None and any(one.until >= lines[0].at for one in water.volume.earlier):
        notes.append(
            "The water was measured anew: the sums by hand are for the volume on record now, the bounds for the one "
            "before it as well."
        )
    if water.volume is not None and LOWERED not in water.says:
        notes += _off_strength(_doses([f for f in facts if f.at <= last], entry.id), water.volume, water.zone)
    apart = [f for f in facts if f.kind == "dose" and f.data.get("substance") == entry.id and f.at <= last]
    apart = [f for f in apart if f.data.get("route") not in IN_WATER]
    if apart:
        notes.append(f"Not in this water, so not counted: doses as a dip or in food ({len(apart)} on record).")
    return tuple(notes)
