"""Water that flows through a tank, what new water brings with it, and what fish may carry over: from typed words to
the ledger's facts."""

from __future__ import annotations

import json
import re
import shlex
from datetime import datetime, timedelta
from decimal import Decimal
from math import exp
from typing import Any, NamedTuple

from quarantine.actions.brought import may_hold
from quarantine.actions.consequences import consequences, earliest_days
from quarantine.actions.desk import Desk, find_tank, local_text, when
from quarantine.actions.entering import add_fact, id_after
from quarantine.actions.planning import replan
from quarantine.actions.systems import frozen
from quarantine.facts import Fact, in_order, is_again
from quarantine.failures import Refused, Usage
from quarantine.quantity import read, show, show_significant, to
from quarantine.records.codec import instant
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

    One tank has one flow: a new one ends that before. Through a treatment it is asked about once, with how fast its
    level falls and what is due for it. Raises Usage, Refused or Unknown.
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
        before, asked_before = earliest_days(act, {tank["system"]}), open_work(act, tank["system"])
        data = {"litres_per_hour": litres, "until": end, **({"brings": within} if within else {})}
        id_ = id_after(act, tank["system"], moment)
        add_fact(act, "exchange", system=tank["system"], tank=tank["id"], at=moment, data=data, id_=id_)
        moved = consequences(act, before, [replan(act, tank["system"])])
        says = _says(litres, within, end, tank["zone"])
        follows = _flow_follows(act, tank, litres, moment, asked_before, running=end is None)
        if litres and end is None and not really and (treated := _treated_with(act, tank["system"])):
            raise Refused(
                f"{' and '.join(treated)} acts in this water. {' '.join(follows)} If water is to flow through all the "
                "same, say --really; nothing was recorded."
            )
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
            "lines": [f"{tank['name']}, {local_text(moment, tank['zone'])}: {says}", *moved, *follows],
        }


def _says(litres: Decimal, brings: dict[str, list[Decimal]], end: datetime | None, zone: str) -> str:
    if not litres:
        return "no water flows through any more"
    within = f", {brings_words(brings)}" if brings else ""
    last = "until it is said to stop" if end is None else f"until {local_text(end, zone)}"
    return f"{show(litres, 3)} L of water an hour flow through{within}, {last}"


# --- What water that goes takes along ---------------------------------------------------------------------


class Open(NamedTuple):
    """A dose or test that is still to be done, in words; ``again``: a water change or a flow called for it."""

    says: str
    again: bool


def open_work(rows: Rows, system: str) -> dict[str, Open]:
    """The doses and tests of a water that are still to be done, by code."""
    return {
        row["code"]: Open(f"{row['code']} {row['title']}, {row['day'] or 'not dated yet'}", row["key"].endswith(":0"))
        for row in rows.rows("tasks_of_system", system=system)
        if row["kind"] in ("dose", "test") and row["state"] == "planned"
    }


def left_and_due(
    act: Act,
    tank: str,
    system: str,
    before: dict[str, Open],
    *,
    kind: str,
    ended: list[str] | None = None,
    falling: list[str] | None = None,
) -> list[str]:
    """What the water holds now, a line a substance, and which dose is due for what went (rule C1). ``before`` is the
    open work before it, ``ended`` what a change did to timed baths (rule C5), ``falling`` how fast a flow that runs
    brings the levels down, in the place of what they are now."""
    from quarantine.actions.levels import left_in_water

    held = left_in_water(act, tank, act.now)
    held = falling if held and falling else held
    due = open_work(act, system)
    asked = [one.says for code, one in due.items() if code not in before]
    joined = [one.says for code, one in due.items() if code in before and one.again]
    if asked:
        return [*(ended or []), *held, f"This {kind} calls for: {'; '.join(asked)}. See: quarantine today."]
    if ended:
        return [*ended, *(falling or [])]
    if not held or kind not in TAKES_OUT:
        return held
    if joined:
        return [*held, f"What went out is made good by: {'; '.join(joined)}. See: quarantine today."]
    return [*held, f"No dose is planned for what {TAKES_OUT[kind]}.{_why_none(act, system)}"]


TAKES = ("change", "exchange")
"""The facts that a dose makes good: what of the water was changed, and what flows through."""


def after_correction(act: Act, change: Row, before: dict[str, Open], new: dict[str, Any]) -> list[str]:
    """What a corrected water change or flow asks for: what is in the water now, the dose for what went out beyond what
    one made good already, or that more was given than was needed. ``change`` is the row as it was, ``new`` what was
    changed."""
    from quarantine.formulary import load

    if not {"out_litres", "litres_per_hour", "until"} & new.keys():
        return []
    tank = next(t["name"] for t in act.rows("tanks") if t["id"] == change["tank"])
    lines = left_and_due(act, tank, change["system"], before, kind="correction")
    at = instant(change["happened_at"])
    given = [f for f in _facts(act, change["system"]) if f.kind == "dose" and is_again(f) and f.at >= at]
    was = _less_than_before(json.loads(change["data"]), new)
    if not was or not given:
        return lines
    names = " and ".join(sorted({load(f.data["substance"]).name for f in given}))
    return [
        *lines,
        f"{names} was given again since then, for {was}: more than was needed. Nothing takes it out again but a water "
        "change; what may be in the water is counted at the next dose.",
    ]


def _less_than_before(was: dict[str, Any], new: dict[str, Any]) -> str:
    """What was on record, in words, where a correction says that less went out; else nothing."""
    for name, unit in (("out_litres", "L"), ("litres_per_hour", "L an hour")):
        if name in new and new[name] < Decimal(was[name]):
            return f"the {show(Decimal(was[name]), 3)} {unit} that were on record"
    return ""


TAKES_OUT = {"change": "went out with the old water", "flow": "flows out", "end of the flow": "flowed out"}
"""What takes out of the water what is dissolved in it, and how that is said."""


def _why_none(rows: Rows, system: str) -> str:
    """Why nothing is given again: the one reason that a template itself gives; else nothing is said."""
    copies = [b["copy_id"] for b in rows.rows("open_batches") if b["system"] == system]
    given = [step.treatment for copy in copies for step in frozen(rows, copy).steps if step.treatment]
    silent = [one for one in given if one.mode == "as published" and one.after_change != "full"]
    return " The template gives its doses as published, on their own dates (rule C1)." if given == silent != [] else ""


def _flow_follows(
    act: Act, tank: Row, litres: Decimal, moment: datetime, before: dict[str, Open], *, running: bool
) -> list[str]:
    """What a flow does to what is in the water, how fast, and what is due for it."""
    from quarantine.actions.dipping import after_change

    ended = after_change(act, tank["system"], moment) if litres else []
    falling = _falling(act, tank) if litres and running else None
    kind = "flow" if running and litres else "end of the flow"
    return left_and_due(act, tank["name"], tank["system"], before, kind=kind, ended=ended, falling=falling)


def _falling(act: Act, tank: Row) -> list[str]:
    """How fast a flow that runs now brings each level down: C0 x e^(-q t / V), mass balance of a well-mixed water."""
    from quarantine.actions.levels import level_words, read_overview
    from quarantine.water.ledger import flowed

    water, _ = system_water(act, tank["system"], act.now)
    later = act.now + timedelta(hours=24)
    litres = flowed(_facts(act, tank["system"]), act.now, later)
    if water is None:
        return ["The level falls, and nobody knows how fast: no volume of this water is on record."]
    left = show_significant(Decimal(repr(100 * exp(-litres / water.litres))), 2)
    whole, out = show(Decimal(repr(water.litres)), 1), show(Decimal(repr(litres)), 1)
    found = read_overview(act, tank["name"], act.now, local_text(later, tank["zone"])).found
    levels = [
        f"{one.name}: now {level_words(one.now, one.unit)}, in 24 h {level_words(one.then, one.unit)}"
        for one in found
        if one.then is not None and (one.now.high is None or one.now.high > 0)
    ]
    if not levels:
        return []
    return [
        f"The level falls all the time: {out} L flow through {whole} L in 24 h, and about {left} % of what is in the "
        "water now is left then (e^(-q t / V), mass balance).",
        f"With nothing given, {'; '.join(levels)}.",
    ]


def _treated_with(rows: Rows, system: str) -> list[str]:
    """The substances of doses that still act in a water: over 5 % of their last target may be there (rule A9)."""
    from quarantine.formulary import load
    from quarantine.water.ledger import CONTACT_SHARE, level_of

    facts = _facts(rows, system)
    doses = {f.data["substance"]: f for f in facts if f.kind == "dose" and f.data["route"] in ("bath", "prolonged")}
    now = max((f.at for f in facts), default=None)
    if now is None:
        return []
    water, _ = system_water(rows, system, now)
    names = []
    for name, last in doses.items():
        high = None if water is None else level_of(facts, name, water, "none", now).high
        if high is None or high > float(CONTACT_SHARE * Decimal(last.data["target_mg_per_l"])):
            names.append(load(name).name)
    return names


def _facts(rows: Rows, system: str) -> list[Fact]:
    from quarantine.records.loading import fact_of

    return in_order([fact_of(row) for row in rows.rows("facts_since", system=system, since="9999")])


def _flows(rows: Rows, tank: Row, moment: datetime) -> bool:
    """Whether water flows through a tank just before an instant."""
    own = [f for f in _facts(rows, tank["system"]) if f.kind == "exchange" and f.tank == tank["id"] and f.at <= moment]
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
    held = may_hold(act, tank["system"], moment)
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
