"""What must not meet: in the water, while the other's course runs, on one day, and on the shelf (F10)."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

from quarantine.dosing.instructing import MIXING, how_to_pass, passes
from quarantine.dosing.known import litres_of
from quarantine.dosing.setting import OUR_CHOICE, UNSOURCED, Hold, Instruction, Setting
from quarantine.dosing.words import cited
from quarantine.facts import Fact, local_day
from quarantine.formulary import Pair, Regimen, Substance, load, regimen
from quarantine.quantity import Quantity, show, to

RULE = "what must not be mixed"
UNSEEN = ("water conditioner", "carbonate media", "dilution by soft water")
"""What meets a substance without a fact on record: the card warns of it."""
DAY_HOURS = 24
SLOW_PH = Decimal("0.3")
"""pH in 24 hours: "at most 0.2 to 0.3 a day": common practice, no source."""
SLOW_SALINITY = Decimal(1)
"""g/L in 24 hours: "salinity within 1 g/L" for fish that are moved: from memory, no source."""
OPEN_COURSE_HOURS = Decimal(24)
"""How long after a dose its course counts as open where its row gives no interval: our choice, no source."""
REST_HOURS = 24
"""Rest of the water after a substance is out and before another: the lower end of what the entries propose."""


def pair_hold(substance: Substance, row: Regimen, setting: Setting, said: Instruction | None = None) -> Hold | None:
    """Substances that must not meet while the upper bound of the other is above zero, whichever entry says so, nor in
    the rest after it; two antibiotics as long as the course of the other is open, by whatever route it is given.

    "Not the same day" holds on the day of the other's dose only. An instruction passes what it says it mixes, and
    nothing that is never mixed.
    """
    for name in dict.fromkeys((*setting.levels, *(f.data.get("substance", "") for f in setting.doses))):
        if not name or name == substance.id:
            continue
        other = load(name)
        for source, partner in ((substance, other), (other, substance)):
            for pair in source.incompatible:
                meets = pair.other == partner.id or pair.other in partner.classes
                if not meets or pair.rule == "know" or (pair.rule != "never" and passes(said, MIXING)):
                    continue
                found = _meeting(pair, other, setting)
                if found is None:
                    continue
                says, remedy = found
                if pair.rule != "never":
                    remedy += how_to_pass(row, setting, MIXING)
                reference = cited(source, pair.note.reference) or UNSOURCED.get(pair.note.status, OUR_CHOICE)
                return Hold(RULE, f"{says}; {_clause(pair)}", None, None, reference, remedy)
    return None


def _clause(pair: Pair) -> str:
    """What an entry says of a pair, to go on in a sentence: its full stop comes with that."""
    return pair.note.text.rstrip().removesuffix(".")


def _meeting(pair: Pair, other: Substance, setting: Setting) -> tuple[str, str] | None:
    """Why the other substance is in the way now and what to do; None where it is not."""
    given = [f for f in setting.doses if f.data.get("substance") == other.id and f.at <= setting.now]
    today = local_day(setting.now, setting.zone)
    level = setting.levels.get(other.id)
    there = level is not None and level.high != 0
    if pair.rule == "not the same day":
        on_day = any(local_day(f.at, setting.zone) == today for f in given)
        return (f"{other.name} is still in the water", "wait until tomorrow") if there and on_day else None
    if there:
        return f"{other.name} is still in the water", _clearing(other, setting)
    if pair.rule == "one at a time" and given and (until := _course_open(given[-1])) > setting.now:
        day = local_day(until, setting.zone)
        return (
            f"a course of {other.name} is open: its last dose was given {local_day(given[-1].at, setting.zone)}",
            f"end that course first and wait until after {day}",
        )
    if pair.rule == "wash out first":
        return _resting(other, given, setting)
    return None


def _clearing(other: Substance, setting: Setting) -> str:
    """What takes the record's upper bound to zero: carbon takes away the lower bound only (rule C12)."""
    litres = "" if setting.volume is None else f" ({show(litres_of(setting.volume)[0])} L)"
    return (
        f"change water until {other.name} is out: the record counts it as out when all of the water{litres} was "
        "changed, and log it: quarantine event change"
    )


def _course_open(last: Fact) -> datetime:
    """When the next dose of a course would be due at the latest: until then it is open."""
    every = regimen(last.data["regimen"])[1].repeats.every.high if last.data.get("regimen") else None
    hours = OPEN_COURSE_HOURS if every is None else to(Quantity(every.value, every.unit), "h")
    return last.at + timedelta(hours=float(hours))


def _resting(other: Substance, given: list[Fact], setting: Setting) -> tuple[str, str] | None:
    """The rest after the other substance left the water. Only what stayed in the water is washed out of it."""
    if setting.evidence is None or not any(f.data.get("route") in ("bath", "prolonged") for f in given):
        return None
    out = next((e.until for e in setting.evidence.exposures if e.substance == other.id), None)
    if out is None or setting.now >= out + timedelta(hours=REST_HOURS):
        return None
    last, left = (local_day(at, setting.zone) for at in (given[-1].at, out))
    free = out + timedelta(hours=REST_HOURS)
    return (
        f"{other.name} was given {last} and left the water {left}: the rest after it is not over",
        f"wait until {local_day(free, setting.zone)}, at least {REST_HOURS} h after it left, with fresh carbon in "
        "between and out again before the dose",
    )


def change_hold(substance: Substance, row: Regimen, setting: Setting, said: Instruction | None = None) -> Hold | None:
    """No change of temperature, pH or salinity on the day of a dose: extra stress (the notes' row, from memory)."""
    from quarantine.water.advice import FASTEST_DOWN, FASTEST_UP, S50

    if passes(said, MIXING):
        return None
    fastest = {
        "temperature change": ("temperature", FASTEST_UP, FASTEST_DOWN, " °C", S50),
        "pH change": ("ph", SLOW_PH, SLOW_PH, "", "common practice, no source"),
        "salinity change": ("salinity", SLOW_SALINITY, SLOW_SALINITY, " g/L", "from memory"),
    }
    for pair in substance.incompatible:
        if pair.other not in fastest or pair.rule != "not the same day":
            continue
        name, up, down, unit, limit = fastest[pair.other]
        moved = _moved(name, setting)
        if moved is not None and (moved > up or -moved > down):
            return Hold(
                RULE,
                f"{pair.other} of {show(abs(moved))}{unit} {'up' if moved > 0 else 'down'} in the last {DAY_HOURS} h; "
                f"{_clause(pair)}",
                show(abs(moved)),
                unit.strip() or "pH",
                f"{cited(substance, pair.note.reference) or UNSOURCED.get(pair.note.status, OUR_CHOICE)}; {limit}",
                f"wait until it stood still for {DAY_HOURS} h and read it again{how_to_pass(row, setting, MIXING)}",
            )
    return None


def _moved(name: str, setting: Setting) -> Decimal | None:
    """By how much a reading certainly moved in 24 hours, in its own unit: the last one less the furthest from it,
    less what the two steps of the kits may hide. None where it was not read twice."""
    readings = setting.evidence.readings if setting.evidence else setting.readings
    since = setting.now - timedelta(hours=DAY_HOURS)
    mine = [f for f in readings if f.data["parameter"] == name and since <= f.at <= setting.now]
    if len(mine) < 2:
        return None
    last = mine[-1]
    apart = [Decimal(last.data["value"]) - Decimal(f.data["value"]) for f in mine[:-1]]
    far = max(apart, key=abs)
    slack = sum((Decimal(f.data["step"]) for f in (last, mine[apart.index(far)])), Decimal(0)) / 2
    sure = max(abs(far) - slack, Decimal(0))
    return sure if far > 0 else -sure


def pair_cautions(substance: Substance, setting: Setting) -> tuple[str, ...]:
    """What the card says of pairs that no record shows: on the shelf, with conditioner or media, and a repeat."""
    shelf = [
        f"Do not keep it together with {load(pair.other).name}: {pair.note.text}"
        for pair in substance.incompatible
        if pair.rule == "never" and "storage" in pair.note.text
    ]
    unseen = [f"With {pair.other}: {pair.note.text}" for pair in substance.incompatible if pair.other in UNSEEN]
    repeated = any(f.data.get("substance") == substance.id and f.at <= setting.now for f in setting.doses)
    again = [p.note.text for p in substance.incompatible if p.other == substance.id and repeated]
    return (*shelf, *unseen, *again)
