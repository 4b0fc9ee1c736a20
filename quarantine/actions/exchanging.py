"""Water that flows through a tank, what new water brings with it, and what fish may carry over: from typed words to
the ledger's facts."""

from __future__ import annotations

import re
import shlex
from datetime import datetime
from decimal import Decimal
from typing import Any

from quarantine.actions.desk import Desk, find_tank, local_text, when
from quarantine.actions.planning import add_fact, consequences, earliest_days, id_after, replan
from quarantine.failures import Refused, Usage
from quarantine.quantity import read, show, to
from quarantine.records.loading import system_water
from quarantine.records.reads import Row, Rows
from quarantine.records.store import Act

HOURS = {
    **dict.fromkeys(("h", "hr", "hour"), Decimal(1)),
    **dict.fromkeys(("min", "minute"), Decimal(1) / 60),
    **dict.fromkeys(("d", "day"), Decimal(24)),
}


def read_rate(text: str) -> Decimal:
    """ "5 L/h", "2 L per hour", "500 mL/min", "30 USgal/day" in litres an hour. Raises Usage or Refused."""
    found = re.fullmatch(r"\s*(.+?)\s*(?:/|\bper\b|\ban?\b)\s*([a-z]+)\s*", text, re.IGNORECASE)
    hours = HOURS.get(found[2].casefold()) if found else None
    if found is None or hours is None:
        raise Usage(f'--rate {text!r} does not read: write litres and a time, such as "5 L/h" or "500 mL/min".')
    litres = to(read(found[1], "volume", "--rate"), "L") / hours
    if litres <= 0:
        raise Refused("--rate is more than nothing; for a flow that has ended say --stop.")
    return Decimal(show(litres.quantize(Decimal("0.000001"))))


def read_brings(words: list[str]) -> dict[str, list[Decimal]]:
    """ "praziquantel 2 mg/L", "sodium-chloride 3 g/L ± 5 %" as from so much to so much, in the ledger's unit.

    Without a ± the plus-minus is half a step of the last digit. Raises Usage, Unknown or Refused.
    """
    from quarantine.actions.cards import measured
    from quarantine.formulary import load

    brings: dict[str, list[Decimal]] = {}
    for word in words:
        found = re.fullmatch(r"\s*(\D.*?)\s+(\d.*)", word)
        if found is None:
            raise Usage(
                f'--brings {word!r} does not read: write a substance and a level, such as "praziquantel 2 mg/L".'
            )
        substance = load(found[1])
        if substance.id in brings:
            raise Usage(f"--brings says {substance.name} twice; say it once.")
        text, counted = found[2], substance.ledger_unit.removeprefix("mg/L").strip()
        if counted and substance.ledger_unit.startswith("mg/L"):
            if not text.casefold().endswith(f" {counted.casefold()}"):
                raise Usage(
                    f'{substance.name} is counted in {substance.ledger_unit}: write "0.1 {substance.ledger_unit}".'
                )
            text = text[: -len(counted)]
        liquid = not substance.ledger_unit.startswith("mg/L")
        level, error = measured(text, "volume_ratio" if liquid else "concentration", "--brings")
        unit = substance.ledger_unit if liquid else "mg/L"
        middle, half = to(level, unit), to(error, unit, difference=True)
        brings[substance.id] = [max(middle - half, Decimal(0)), middle + half]
    return brings


def brings_words(brings: dict[str, list[Decimal]]) -> str:
    """ "holding praziquantel 1.5 to 2.5 mg/L" """
    from quarantine.formulary import load

    parts = []
    for name, (low, high) in brings.items():
        substance = load(name)
        parts.append(f"{substance.name} {show(low, 4)} to {show(high, 4, up=True)} {substance.ledger_unit}")
    return f"holding {' and '.join(parts)}"


def exchange(
    desk: Desk,
    tank_name: str,
    rate: str | None,
    *,
    at: str | None = None,
    until: str | None = None,
    stop: bool = False,
    brings: list[str] | None = None,
    really: bool = False,
) -> dict[str, Any]:
    """Water flows through a tank from ``at`` on, as much in as out, until ``until`` or until it is said to stop.

    One tank has one flow: a new one ends that before. Raises Usage, Refused or Unknown.
    """
    from quarantine.formulary import load

    if stop == (rate is not None):
        raise Usage('Say --rate for a flow that runs, such as --rate "5 L/h", or --stop for one that has ended.')
    if stop and (until is not None or brings):
        raise Usage("--stop says that nothing flows any more; leave --until and --brings out.")
    litres = Decimal(0) if rate is None else read_rate(rate)
    within = read_brings(brings or [])
    with desk.act() as act:
        tank = find_tank(act, tank_name)
        moment = when(at, tank["zone"], act.now)
        end = None if until is None else when(until, tank["zone"], act.now, what="--until")
        if end is not None and end <= moment:
            raise Refused("--until is not after the flow began; say when it ended, or leave it out while it runs.")
        if stop and not _flows(act, tank, moment):
            raise Refused(f"No flow through {tank['name']} is on record at that time; nothing was recorded.")
        if not really:
            _ask_about_rate(act, tank, litres, moment)
        before = earliest_days(act, {tank["system"]})
        data = {"litres_per_hour": litres, "until": end, **({"brings": within} if within else {})}
        id_ = id_after(act, tank["system"], moment)
        add_fact(act, "exchange", system=tank["system"], tank=tank["id"], at=moment, data=data, id_=id_)
        moved = consequences(act, before, [replan(act, tank["system"])])
        says = _says(litres, within, end, tank["zone"])
        act.describe("exchange", f"{tank['name']}: {says}", moment)
        return {
            "tank": tank["name"],
            "at": moment,
            "rate": litres,
            "unit": "L/h",
            "until": end,
            "brings": [
                {"substance": name, "low": low, "high": high, "unit": load(name).ledger_unit}
                for name, (low, high) in within.items()
            ],
            "moved": moved,
            "lines": [f"{tank['name']}, {local_text(moment, tank['zone'])}: {says}", *moved],
        }


def _says(litres: Decimal, brings: dict[str, list[Decimal]], end: datetime | None, zone: str) -> str:
    if not litres:
        return "no water flows through any more"
    within = f", {brings_words(brings)}" if brings else ""
    last = "until it is said to stop" if end is None else f"until {local_text(end, zone)}"
    return f"{show(litres, 3)} L of water an hour flow through{within}, {last}"


def _flows(rows: Rows, tank: Row, moment: datetime) -> bool:
    """Whether water flows through a tank just before an instant."""
    from quarantine.facts import in_order
    from quarantine.records.loading import fact_of

    facts = in_order([fact_of(row) for row in rows.rows("facts_since", system=tank["system"], since="9999")])
    own = [f for f in facts if f.kind == "exchange" and f.tank == tank["id"] and f.at <= moment]
    if not own:
        return False
    end = own[-1].data.get("until")
    return Decimal(own[-1].data["litres_per_hour"]) > 0 and (end is None or datetime.fromisoformat(end) > moment)


def _ask_about_rate(rows: Rows, tank: Row, litres: Decimal, moment: datetime) -> None:
    """More than the whole water each hour is a slip of the unit or the decimal point (our choice, no source)."""
    water, _ = system_water(rows, tank["system"], moment)
    if water is not None and litres > Decimal(repr(water.litres)):
        whole = show(Decimal(repr(water.litres)), 1)
        raise Refused(
            f"{show(litres, 1)} L an hour is more than all of this water, {whole} L, each hour. If it is so, say"
            " --really."
        )


def ask_about_litres(
    rows: Rows, system: str, amounts: list[Decimal], moment: datetime, *, if_so: str = "say --really"
) -> None:
    """More water out or in than the system holds is a slip of the unit or the decimal point, and on paper it would
    clear every level (rule C7). Raises Refused, with what to do if it is so."""
    water, _ = system_water(rows, system, moment)
    if water is None or not amounts:
        return
    if max(amounts) > Decimal(str(water.litres + water.plus_minus_litres)):
        raise Refused(
            f"{show(max(amounts), 1)} L is more than the {show(Decimal(str(water.litres)), 1)} L that are in this "
            f"water. If it is so, {if_so}."
        )


def carried_over(act: Act, tank: Row, there: Row, moment: datetime) -> list[str]:
    """Fish went from a tank to another water, and water may have gone with them: how much is not known, so of each
    substance that may have been in it the level over there is unknown from then on (rules B3 and C12).

    Writes that down and says it; nothing where both are one water, or where the water they left held nothing.
    """
    if tank["system"] == there["system"]:
        return []
    held = _may_hold(act, tank["system"], moment)
    what = f"water that may have come with fish from {tank['name']}"
    for name in held:
        data = {"what": what, **({"substance": name} if name else {})}
        id_ = id_after(act, there["system"], moment)
        add_fact(act, "unknown_addition", system=there["system"], tank=there["id"], at=moment, data=data, id_=id_)
    if not held:
        return []
    from quarantine.formulary import load

    named = " and ".join(load(name).name for name in held if name) or "something that nobody knows"
    return [
        f"The water they left may hold {named}, and some of it may have come along: in {there['name']} that level is "
        "unknown from now on, until all the water is changed or it is read. If none came, take this back (quarantine "
        "undo) and say --no-water; if the litres are known, log them as well: quarantine event topup "
        f'{shlex.quote(there["name"])} LITRES --brings "SUBSTANCE LEVEL".'
    ]


def _may_hold(rows: Rows, system: str, moment: datetime) -> list[str]:
    """Every substance whose upper bound is above zero, or not known, in a water; "" where any may be in it."""
    from quarantine.actions.admitting import SURELY_OUT
    from quarantine.facts import in_order
    from quarantine.records.loading import fact_of
    from quarantine.water.ledger import level_of, never_dosed, steps_of, substances_in

    facts = in_order([fact_of(row) for row in rows.rows("facts_since", system=system, since="9999")])
    facts = [f for f in facts if f.at <= moment]
    water, _ = system_water(rows, system, moment)
    if water is None:
        strange = any(f.kind == "unknown_addition" and not f.data.get("substance") for f in facts)
        put_in = ("dose", "unknown_addition", "reading")
        return (
            [""]
            if strange
            else [
                name
                for name in substances_in(facts)
                if any(step.kind in put_in or step.incoming_high > 0 for step in steps_of(facts, name))
            ]
        )
    if not never_dosed(facts, water, moment).known:
        return [""]
    levels = ((name, level_of(facts, name, water, "none", moment).high) for name in substances_in(facts))
    return [name for name, high in levels if high is None or high > SURELY_OUT]
