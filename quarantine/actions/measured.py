"""What surrounds a reading: the kit it was read with, its duplicates, its trend, and what it asks for."""

from __future__ import annotations

import calendar
import re
import shlex
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any, NamedTuple

from quarantine import evidence as ev
from quarantine.actions.desk import find_tank, local_text
from quarantine.facts import Fact, in_order
from quarantine.failures import Refused, Usage
from quarantine.quantity import show, show_significant
from quarantine.readings import COMPUTED, FORM_WORDS, NITRITE_PER_N, PARAMETERS, Parameter, as_read, find
from quarantine.records.codec import text_of_instant
from quarantine.records.loading import fact_of, system_water
from quarantine.records.reads import Row, Rows
from quarantine.records.store import Act
from quarantine.settings import Home
from quarantine.water import advice

KIT_DAYS = 90
"""How far back the last kit is looked for: our choice, no source."""
SOURCE_DAYS = 30
"""How long a test of the new water stands in for one of today: our choice, no source; it is shown with its date."""
ADVICE_HOURS = 24
"""A reading older than this is history and asks for nothing: as long as it holds a dose (rule C9)."""

Read = tuple[Parameter, Decimal, Decimal]
"""A parameter, its value in its own unit, and the step of the kit."""


# --- Kits ------------------------------------------------------------------------------------------------


class Kit(NamedTuple):
    """The kit or meter of a reading: its name, the lot, and "YYYY-MM" or "YYYY-MM-DD" until which it is good."""

    name: str
    lot: str | None
    expires: str | None

    def expired_on(self, day: date) -> bool:
        """Whether it was out of date on a day; a month is good to its end."""
        return self.expires is not None and last_good_day(self.expires) < day

    def data(self, day: date) -> dict[str, Any]:
        """As a reading's fact holds it."""
        held = {"kit": self.name, "lot": self.lot, "expires": self.expires, "expired": self.expired_on(day) or None}
        return {name: value for name, value in held.items() if value is not None}


def read_kit(kit: str | None, lot: str | None, expires: str | None) -> Kit | None:
    """The kit that was typed; None when none was said. Raises Usage for a lot or an expiry without a kit."""
    if kit is None:
        if lot is not None or expires is not None:
            raise Usage('--lot and --expires belong to a kit: say --kit "NAME" too.')
        return None
    if expires is not None:
        last_good_day(expires)
    return Kit(plain_words(kit, "--kit"), None if lot is None else plain_words(lot, "--lot"), expires)


def plain_words(text: str, option: str, most: int = 60) -> str:
    """A few typed words, tidied. Raises Usage when they are empty, too long or not printable."""
    tidy = " ".join(text.split())
    if not tidy or len(tidy) > most or not tidy.isprintable():
        raise Usage(f"{option} needs 1 to {most} plain characters.")
    return tidy


def last_good_day(expires: str) -> date:
    """The last day of "2027-03" or "2027-03-15". Raises Usage for anything else."""
    found = re.fullmatch(r"(\d{4})-(\d\d)(?:-(\d\d))?", expires.strip(), re.ASCII)
    try:
        if found is not None:
            year, month = int(found[1]), int(found[2])
            return date(year, month, int(found[3]) if found[3] else calendar.monthrange(year, month)[1])
    except (ValueError, calendar.IllegalMonthError):
        pass
    raise Usage(f"--expires {expires!r} does not read: write YYYY-MM or YYYY-MM-DD, such as 2027-03.")


def kit_words(data: dict[str, Any]) -> str:
    """ "drop kit A, lot L12", or that it was not said."""
    if "kit" not in data:
        return "kit not said"
    lot = f", lot {data['lot']}" if "lot" in data else ""
    expired = f", expired {data['expires']}" if data.get("expired") else ""
    return f"{data['kit']}{lot}{expired}"


def kit_lines(kit: Kit | None, names: list[str], past: list[Fact], tank: Row, day: date) -> list[str]:
    """What is said of the kit: that it is out of date; the last one used for each parameter here, never assumed."""
    lines = []
    if kit is not None and kit.expired_on(day):
        lines.append(f"The kit {kit.name} expired {kit.expires}: the reading is kept and marked; use a fresh kit.")
    for name in names:
        mine = [f for f in past if f.data["parameter"] == name and f.tank == tank["id"]]
        last = next((f for f in reversed(mine) if "kit" in f.data), None)
        if last is None or (kit is not None and kit.name.casefold() == last.data["kit"].casefold()):
            continue
        title, when = PARAMETERS[name].title, local_text(last.at, tank["zone"])
        before = f"{title} was last read here with {kit_words(last.data)} ({when})"
        if kit is None:
            lines.append(f"Kit not said; {before}. If it was that one, say --kit; it is not assumed.")
        else:
            lines.append(f"Another kit: {before}. Two kits are two trends.")
    return lines


# --- Readings that stand ------------------------------------------------------------------------------------


class Past(NamedTuple):
    """The facts of a water up to an instant that matter for its readings, in order of time."""

    readings: tuple[Fact, ...]
    altered: tuple[datetime, ...]
    sources: tuple[Fact, ...]


def past_of(rows: Rows, system: str, moment: datetime, days: int = KIT_DAYS) -> Past:
    """Readings, changes and tests of the new water of a system, up to ``moment``."""
    since = text_of_instant(moment - timedelta(days=days))
    found = in_order([fact_of(row) for row in rows.rows("water_facts_since", system=system, since=since)])
    found = [f for f in found if f.at <= moment]
    return Past(
        tuple(f for f in found if f.kind == "reading"),
        tuple(f.at for f in found if f.kind in ev.ALTERS),
        tuple(f for f in found if f.kind == "source_water" and moment - f.at <= timedelta(days=SOURCE_DAYS)),
    )


def value_words(data: dict[str, Any]) -> str:
    """ "0.5 mg/L", "0.0984 mg/L (0.03 mg/L as N)", "0 mg/L ± 0.01 mg/L" """
    parameter = PARAMETERS[data["parameter"]]
    unit = f" {parameter.unit}" if parameter.unit else ""
    exact = Decimal(data["value"])
    as_typed = "step" not in data or data.get("form") == "N"  # of that what was typed stands beside it
    value = exact if as_typed else as_read(exact, Decimal(data["step"]))
    as_n = f" ({show(exact / NITRITE_PER_N, 4)}{unit} as N)" if data.get("form") == "N" else ""
    off = data.get("plus_minus")
    error = "" if off is None else f" ± {show_significant(Decimal(off), 3)}{unit}"
    return f"{show(value)}{unit}{as_n}{error}"


def duplicate_lines(past: Past, names: list[str], zone: str) -> list[str]:
    """Readings of one parameter within half an hour, side by side."""
    lines = []
    for name in names:
        twice = ev.last_readings(past.readings, name, past.altered)
        if len(twice) > 1:
            each = " and ".join(
                f"{value_words(f.data)} ({kit_words(f.data)}, {local_text(f.at, zone)[-5:]})" for f in twice
            )
            lines.append(
                f"{PARAMETERS[name].title}, read {len(twice)} times within half an hour: {each}. All are kept and "
                "never averaged; limits go by the worse. A slip is taken back: quarantine correct."
            )
    return lines


# --- What a reading asks for --------------------------------------------------------------------------------


def advice_for(
    act: Act, home: Home, tank: Row, names: list[str], moment: datetime, past: Past
) -> tuple[advice.Advice, ...]:
    """What the readings of ``names``, taken at ``moment``, ask for; nothing when that is long ago."""
    if act.now - moment > timedelta(hours=ADVICE_HOURS):
        return ()
    computed = ["uia"] if {"tan", "ph", "temperature"} & set(names) else []
    free = tuple(f for f in past.readings if f.data["parameter"] != "copper" or f.data.get("form") == "free")
    known = {name: ev.value_at(free, past.altered, moment, name, ADVICE_HOURS) for name in PARAMETERS}
    values = {
        name: advice.Value(span.low, span.high, span.least, span.most)
        for name, span in known.items()
        if span is not None
    }
    salinity = values.get("salinity")
    water, _ = system_water(act, tank["system"], moment)
    situation = advice.Situation(
        water=tank["water"],
        values=values,
        limits=limits_of(act, tank, moment, past if "copper" in names else None),
        form=_form(past),
        source=_source(past, tank["zone"]),
        litres=None if water is None else Decimal(repr(water.litres)),
        day_celsius=_day_celsius(past, tank, moment),
        salinity_g_per_kg=float(salinity.most) if salinity is not None and tank["water"] != "fresh" else None,
    )
    found = advice.advise(situation, (*names, *computed))
    if not found:
        return ()
    if any(one.about == "copper" for one in found):
        situation = situation._replace(to_copper_limit=_to_copper_limit(situation, water))
    # The rest is looked up only where something is wrong: it reads a substance's whole entry.
    from quarantine.actions.batches import medicine_in

    situation = situation._replace(medicine=medicine_in(act, tank) or "")
    if any(one.about == "nitrite" for one in found) and tank["water"] == "fresh":
        situation = situation._replace(chloride=_chloride(act, home, tank, moment))
    return advice.advise(situation, (*names, *computed))


def _to_copper_limit(situation: advice.Situation, water: Any) -> str:
    """The litres of one change after which the most that was read is at the limit; "" where they are not known."""
    from quarantine.dosing import clearing_litres

    _, limit = advice.strictest(situation.limits, "copper")
    if water is None or limit is None or limit.high is None:
        return ""
    litres, plus_minus = Decimal(repr(water.litres)), Decimal(repr(water.plus_minus_litres))
    most = situation.values["copper"].high
    out = clearing_litres(litres, plus_minus, most, limit.high) if plus_minus < litres else None
    much = "all of the water" if out is None else f"at least {show(out)} L in one change"
    return (
        f"change {much}, with matched, conditioned water without copper: that brings up to {show(most)} mg/L down to "
        f"{show(limit.high)} mg/L"
    )


def unmet_lines(act: Act, tank: Row, names: list[str], moment: datetime) -> list[str]:
    """Where a kit reads what by the record cannot be (rule C13): one of the two is wrong, and which is not known."""
    from quarantine.formulary import load
    from quarantine.water.ledger import MEASURES, compared

    water, _ = system_water(act, tank["system"], moment)
    said = []
    for name in (name for name in names if name == "copper" and water is not None):
        facts = in_order([fact_of(row) for row in act.rows("facts_since", system=tank["system"], since="9999")])
        substance = load(MEASURES[name].substance)
        assert water is not None
        last = [one for one in compared(facts, substance.id, water, substance.loss, moment) if one.fact.at == moment]
        for one in last:
            if one.agrees is False and one.expected.low is not None and one.expected.high is not None:
                low, high = (Decimal(repr(x)) for x in (one.expected.low, one.expected.high))
                said.append(
                    f"By the record {show_significant(low, 3, up=False)} to {show_significant(high, 3, up=True)} "
                    f"{substance.ledger_unit} of {substance.name} were expected: kit and record do not meet, one of "
                    f"the two is wrong. Read it again, and see quarantine level {shlex.quote(tank['name'])} "
                    f"{substance.id}."
                )
    return said


def limits_of(rows: Rows, tank: Row, moment: datetime, past: Past | None = None) -> tuple[advice.Limit, ...]:
    """The limits of this water: those that hold every dose (rule C9), the general ones, and the protocols'; with the
    readings of ``past`` also those of copper."""
    from quarantine.actions.following import limits_of_copper, limits_of_protocols, limits_that_hold
    from quarantine.actions.systems import frozen

    here = [b for b in rows.rows("open_batches") if b["system"] == tank["system"]]
    copies = [b["copy_id"] for b in here if b["arrived_at"] <= text_of_instant(moment)]
    protocols = [frozen(rows, copy) for copy in copies]
    doses = (
        [] if past is None else [fact_of(row) for row in rows.rows("facts_of_kind", kind="dose", system=tank["system"])]
    )
    return (
        *limits_that_hold(tank["water"]),
        *advice.general_limits(tank["water"]),
        *limits_of_protocols(protocols),
        *(() if past is None else limits_of_copper(protocols, [*past.readings, *doses])),
    )


def _form(past: Past) -> str:
    """What the nitrite kit reads: known only when it was said of every reading that counts now."""
    forms = {f.data.get("form", "") for f in ev.last_readings(past.readings, "nitrite", past.altered)}
    return "" if "" in forms or not forms else ("NO2" if "NO2" in forms else "N")


def _day_celsius(past: Past, tank: Row, moment: datetime) -> tuple[Decimal, Decimal] | None:
    """The lowest and the highest temperature of this tank in the 24 hours before ``moment``."""
    day = [
        Decimal(f.data["value"])
        for f in past.readings
        if f.data["parameter"] == "temperature" and f.tank == tank["id"] and moment - f.at <= timedelta(hours=24)
    ]
    return (min(day), max(day)) if day else None


def _source(past: Past, zone: str) -> advice.Source | None:
    """The newest test of the new water that has its pH; each figure is the newest one there is."""
    newest: dict[str, Fact] = {name: f for f in past.sources for name in ("ph", "tan", "temperature") if name in f.data}
    if "ph" not in newest:
        return None

    def reading(name: str) -> tuple[float, float] | None:
        if name not in newest:
            return None
        data = newest[name].data
        return float(data[name]), float(data[f"{name}_step"])

    ph = reading("ph")
    assert ph is not None
    said = f"pH {show(Decimal(newest['ph'].data['ph']))}, tested {local_text(newest['ph'].at, zone)}"
    return advice.Source(ph, reading("tan"), reading("temperature"), said)


def _chloride(act: Act, home: Home, tank: Row, moment: datetime) -> advice.Chloride | None:
    """Row T11 with what `dosing` says of it for this water, and of these fish and salt."""
    from quarantine import dosing
    from quarantine.actions import cards
    from quarantine.formulary import regimen

    substance, row = regimen("T11")
    if row.target is None or row.target.default is None:
        return None
    batches = [b for b in act.rows("open_batches") if b["system"] == tank["system"]]
    here = [b for b in batches if b["arrived_at"] <= text_of_instant(moment)]
    proposal = dosing.propose(substance, row, cards.setting_for(act, home, tank, here[0] if here else None, moment))
    if proposal.hold is not None:
        card = (f"no amount of salt is shown: {proposal.hold.says}; {proposal.hold.remedy}",)
    else:
        assert proposal.dose.add is not None
        card = (f"for it add {show(proposal.dose.add)} {proposal.dose.add_unit} of {proposal.dose.add_of}",)
    cites = "; ".join(substance.references[key].cite for key in row.references if key in substance.references)
    return advice.Chloride(
        row.target.default.value, cites, tuple(note.text for note in row.cautions), card, _salt_and_fish(home, here)
    )


def _salt_and_fish(home: Home, batches: list[Row]) -> tuple[str, ...]:
    """What is on record of these fish and salt; that nothing is says nothing of safety."""
    import json

    from quarantine.formulary.groups import groups_of

    species = list(dict.fromkeys(fish["species"] for b in batches for fish in json.loads(b["fish"])))
    if not species:
        return ("which fish live in this water is not on record: whether they bear salt is not known",)
    groups = _groups(home)
    lines = []
    for name in species:
        ids = groups_of(name, groups)
        notes = [
            f"{name} ({group.name}) and salt: {s.note.text} [{', '.join(filter(None, s.note[1:]))}]"
            for group in groups.groups
            if group.id in ids
            for s in group.sensitive
            if {"sodium-chloride", "salt"} & set(s.to)
        ]
        lines += notes or [f"{name}: whether it bears salt is not known here, and unknown is not safe"]
    return tuple(lines)


def _groups(home: Home) -> Any:
    """The groups that ship, with those of the home folder's file where there is one."""
    from quarantine.formulary import groups as house

    path = home.path / house.FILE
    try:
        text = path.read_text(encoding="utf-8")
    except (FileNotFoundError, NotADirectoryError):
        return house.shipped()
    except (OSError, UnicodeDecodeError) as error:
        raise Refused(f"The file of groups {path} cannot be read: {error}.") from error
    return house.with_own(text, str(path))


def advice_lines(found: tuple[advice.Advice, ...]) -> list[str]:
    """All advice as lines, with the word to a veterinarian under it."""
    return [*(line for one in found for line in one.lines), *([advice.DEFERS] if found else [])]


def advice_json(found: tuple[advice.Advice, ...]) -> list[dict[str, Any]]:
    """The same as a document."""
    return [{**one._asdict(), "do": list(one.do), "references": list(one.references)} for one in found]


# --- The trend ------------------------------------------------------------------------------------------------


def trend(rows: Rows, tank_name: str, parameter: str | None, days: str, now: datetime) -> tuple[list[str], Any]:
    """The readings of a tank by parameter and kit, oldest first: lines and document."""
    tank = find_tank(rows, tank_name)
    if not re.fullmatch(r"[0-9]{1,4}", days) or not int(days):
        raise Usage(f"--days {days!r} does not read: write a whole number of days, such as 30.")
    wanted = None if parameter is None else find(parameter)
    if parameter is not None and (wanted is None or wanted.name in COMPUTED):
        known = ", ".join(name for name in PARAMETERS if name not in COMPUTED)
        raise Usage(f"There is no reading {parameter!r}; known: {known}.")
    past = past_of(rows, tank["system"], now, int(days))
    mine = [f for f in past.readings if f.tank == tank["id"]]
    mine = [f for f in mine if wanted is None or f.data["parameter"] == wanted.name]
    document = {"tank": tank["name"], "days": int(days), "readings": [reading_json(f, tank["zone"]) for f in mine]}
    if not mine:
        what = "" if wanted is None else f" of {wanted.title}"
        return [f"{tank['name']}: no reading{what} in the last {days} days."], document
    lines = [f"{tank['name']}, readings of the last {days} days, each kit by itself:"]
    for name in PARAMETERS:
        same = [f for f in mine if f.data["parameter"] == name]
        for kit in dict.fromkeys(_by(f.data) for f in same):
            lines += _series([f for f in same if _by(f.data) == kit], kit, tank["zone"])
    return lines, document


def _by(data: dict[str, Any]) -> str:
    """With what a reading was taken, as the heading of its trend; of nitrite, what that kit reads."""
    form = f", reads {FORM_WORDS[data['form']]}" if data.get("form") else ""
    return f"{kit_words(data)}{form}"


def _series(facts: list[Fact], kit: str, zone: str) -> list[str]:
    first, last = facts[0], facts[-1]
    parameter = PARAMETERS[first.data["parameter"]]
    unit = f" {parameter.unit}" if parameter.unit else ""
    lines = [f"{parameter.title}, {kit}:"]
    for fact in facts:
        step = f"step {show(Decimal(fact.data['step']))}{unit}"
        lines.append(f"  {local_text(fact.at, zone)}: {value_words(fact.data)} ({step})")
    if len(facts) > 1:
        moved = Decimal(last.data["value"]) - Decimal(first.data["value"])
        way = "unchanged" if not moved else f"{'up' if moved > 0 else 'down'} by {show(abs(moved))}{unit}"
        lines.append(f"  First to last of these: {way}.")
    return lines


def reading_json(fact: Fact, zone: str) -> dict[str, Any]:
    """One reading as a document: what was read, with what, when."""
    from zoneinfo import ZoneInfo

    data = fact.data
    return {
        "parameter": data["parameter"],
        "value": Decimal(data["value"]),
        "unit": data["unit"],
        "step": Decimal(data["step"]),
        "form": data.get("form"),
        "kit": data.get("kit"),
        "lot": data.get("lot"),
        "expires": data.get("expires"),
        "expired": bool(data.get("expired")),
        "at": fact.at.astimezone(ZoneInfo(zone)),
    }
