"""Baths and dips that are really started and ended (rules C5 and C6): what the commands `bath start`, `bath end` and
`bath timer` do. The start is a fact, so the time goes on whether or not a terminal is open."""

from __future__ import annotations

import json
from datetime import datetime
from decimal import Decimal
from typing import Any, NamedTuple

from quarantine import dosing
from quarantine.actions.baths import Baths, baths_of
from quarantine.actions.cards import NO_SOLUTION, NOT_NAMED, OutOf, Solution, read_vessel
from quarantine.actions.claims import asked_if_claimed
from quarantine.actions.desk import Desk, local_text, when
from quarantine.actions.dipping import FISH_OUT, Drained, Told, end_bath, is_end
from quarantine.actions.dipping import Dip as DipNow
from quarantine.actions.duties import refuse_dose
from quarantine.actions.entering import add_fact, id_after
from quarantine.actions.planning import replan
from quarantine.actions.vouching import KEPT, NOTHING_BESIDE, Beside
from quarantine.actions.work import done, dose_data, find_task, refuse_finished
from quarantine.bathing import (
    Bath,
    Dip,
    Flush,
    contact_of,
    flush_now,
    flush_words,
    is_oxidiser,
    is_timed,
    water_words,
)
from quarantine.failures import Refused, Usage
from quarantine.formulary import regimen
from quarantine.quantity import read, show, to
from quarantine.records.reads import Row, Rows
from quarantine.records.store import Act
from quarantine.water.ledger import Water


class Running(NamedTuple):
    """A bath or dip as a timer and a list show it. Instants in UTC; ``over_at`` None while it runs."""

    code: str
    title: str
    tank: str
    zone: str
    started_at: datetime
    earliest: datetime
    latest: datetime
    over_at: datetime | None
    after: str
    """what is to be done at the end"""


def start(
    desk: Desk,
    code: str,
    *,
    gave: str | None = None,
    as_shown: bool = False,
    strength: str | None = None,
    out_of: OutOf = NOT_NAMED,
    vessel: str | None = None,
    ready: str | None = None,
    clean_tank: bool = False,
    at: str | None = None,
    note: str | None = None,
    really: bool = False,
    beside: Beside = NOTHING_BESIDE,
) -> dict[str, Any]:
    """The pour of a timed bath, or the first fish in a dip's vessel. A bath's pour is the dose: the same fact.

    ``ready`` is how much matched, conditioned water stands ready for the end of a bath; ``clean_tank`` says that the
    fish go into clean water instead (rule C5); ``beside`` is its witness, and the reason for another amount. Raises
    Refused for what is no bath or dip, for water that is not ready, for a dose that is held, and for one that somebody
    started before.
    """
    with desk.act() as act:
        task = find_task(act, code)
        if is_end(task):
            refuse_finished(act, task)
            raise Refused(
                f"{task['code']} ({task['title']}) is the end of a bath or dip that was started already; "
                f"its time: quarantine bath timer {task['code']}; to end it: quarantine bath end {task['code']}."
            )
        _refuse_running(act, task)
        refuse_finished(act, task)
        refuse_dose(act, task)
        treatment = json.loads(task["detail"])["treatment"] if task["kind"] == "dose" else None
        row = regimen(treatment["regimen"])[1] if treatment else None
        if row is not None and treatment is not None and row.own_vessel:
            if ready is not None or clean_tank:
                raise Usage("A dip ends in the clean water of its tank: leave --ready and --clean-tank out.")
            longest = treatment.get("longest", "")
            with asked_if_claimed(act, task, really=really):
                said = _start_dip(
                    act, desk, task, vessel, gave, as_shown, at, note, really, longest, strength, out_of, beside
                )
        elif row is not None and is_timed(row):
            if vessel is not None:
                raise Usage("A bath is given to the tank's water: leave --vessel out.")
            litres = None if ready is None else _litres(ready, "--ready")
            new = water_words(is_oxidiser(row.substance))
            under, stands = desk._replace(under=act), _standing(note, litres, clean_tank, new)
            given = done(
                under,
                [task["code"]],
                at=at,
                gave=gave,
                as_shown=as_shown,
                note=stands,
                really=really,
                strength=strength,
                out_of=out_of,
                beside=beside,
            )[0]
            said = _started_bath(act, task, given, litres, clean_tank)
        else:
            raise Refused(
                f"{task['code']} ({task['title']}) is no bath with an end within 48 h and no dip; "
                f"tick it with: quarantine done {task['code']}."
            )
        replan(act, task["system"])
        run = _running(act, task["system"], task["key"], act.now)
        act.describe("bath started", said["says"], run.started_at)
        return {**said, **_times(run), "code": run.code}


def _refuse_running(act: Act, task: Row) -> None:
    """A bath or dip is started once; whoever comes second is told who did and when."""
    there = baths_of(act, task["system"], act.now)
    found = next((dip for dip in there.dips if dip.over is None and dip.start.data["key"] == task["key"]), None)
    if found is not None:
        who = act.rows("keeper_name", id=found.start.keeper)[0]["name"]
        raise Refused(
            f"{task['code']} ({task['title']}) was started by {who}, {local_text(found.start.at, task['zone'])}; "
            f"its time: quarantine bath timer {task['code']}.",
            by=who,
        )


def _standing(note: str | None, ready: Decimal | None, clean_tank: bool, water: str) -> str | None:
    """The keeper's word that what the end takes stands ready, kept with the dose (rule C5)."""
    stands = [] if ready is None else [f"{show(ready)} L of {water} stand ready for the end"]
    stands += ["clean water for the fish stands ready for the end"] if clean_tank else []
    return "; ".join([*([note] if note else []), *stands]) or None


def _started_bath(
    act: Act, task: Row, given: dict[str, Any], ready: Decimal | None, clean_tank: bool
) -> dict[str, Any]:
    there, bath = _bath_of_dose(act, task)
    flush = flush_now(bath, there.water)
    if not clean_tank:
        _ask_for_water(flush, ready, water_words(bath.oxidiser))
    end = "the fish into the clean water that stands ready" if clean_tank else flush_words(flush)
    return {
        "says": given["says"],
        "lines": [
            f"{given['says']}, {given['local']}.",
            *given["stock"],
            *([given["rescue"]] if given["rescue"] else []),
            f"At its end: {end} ({bath.last.data['limit']}).",
        ],
        "end": end,
        "defers": given["defers"],
    }


def _bath_of_dose(act: Act, task: Row) -> tuple[Baths, Bath]:
    there = baths_of(act, task["system"], act.now)
    # A second dose within a bath is an addition to it.
    return there, next(b for b in there.baths if task["key"] in (b.first.data.get("key"), b.last.data.get("key")))


def _ask_for_water(flush: Flush | None, ready: Decimal | None, water: str) -> None:
    """Rule C5: what the end takes stands ready before the pour."""
    other = "Say --clean-tank when the fish go into clean water that stands ready instead. Nothing was recorded."
    least = None if flush is None else flush.least_ready
    if flush is None or least is None:
        raise Refused(f"How much water the end of this bath takes cannot be computed for this tank (rule C5). {other}")
    if least > 0 and (ready is None or ready < least):
        said = "" if ready is None else f"{show(ready)} L are too little. "
        raise Refused(
            f"{said}At the end of this bath: {flush_words(flush)}. {show(least)} L of {water} stand ready before the "
            f'pour (rule C5): say --ready "{show(least)} L" or more. {other}',
            ready_litres=show(least),
        )


def _start_dip(
    act: Act,
    desk: Desk,
    task: Row,
    vessel: str | None,
    gave: str | None,
    as_shown: bool,
    at: str | None,
    note: str | None,
    really: bool,
    longest: str,
    strength: str | None,
    out_of: OutOf,
    beside: Beside,
) -> dict[str, Any]:
    """The vessel, what is in it and the first fish in it; the dose is written when the last is out (rule C15)."""
    if vessel is None:
        raise Refused(f'{task["code"]} is a dip: say the water in its vessel, such as --vessel "10 L".')
    if gave is not None and as_shown:
        raise Usage("Say --gave AMOUNT or --as-shown, not both.")
    water, moment = read_vessel(vessel), when(at, task["zone"], act.now)
    data = dose_data(
        act,
        desk.home,
        task,
        moment,
        gave,
        as_shown,
        really,
        DipNow(water, moment, moment, {}, ""),
        strength,
        out_of,
        beside,
    )
    row = regimen(data["regimen"])[1]
    kept = {name: data[name] for name in ("substance", "regimen", "given", "given_unit")}
    kept |= {name: data[name] for name in KEPT if name in data}
    add_fact(
        act,
        "dip_start",
        system=task["system"],
        tank=task["tank"],
        batch=task["batch"],
        at=moment,
        data={
            **kept,
            "key": task["key"],
            "vessel_litres": Decimal(show(data["volume_litres"])),
            "vessel_plus_minus_litres": Decimal(show(data["volume_plus_minus_litres"])),
            **contact_of(row, longest),
            **({"strength": strength} if strength else {}),
            **_named(data, out_of),
            **({"note": note} if note else {}),
        },
        id_=id_after(act, task["system"], moment),
    )
    says = (
        f"{show(data['given'])} {data['given_unit']} of {data['substance']} in {show(data['volume_litres'])} L; the "
        f"first fish of {task['tank_name']} in it"
    )
    return {
        "says": says,
        "lines": [
            f"{says}, {local_text(moment, task['zone'])}.",
            *([data["rescue"]] if data["rescue"] else []),
            "Stay in the room. Out at once, into the clean water of the tank, when a fish rolls onto its side, "
            "whatever the timer says.",
        ],
        "end": "every fish out, into the clean water of the tank",
        "defers": dosing.DEFERS,
    }


def _named(data: dict[str, Any], out_of: OutOf) -> dict[str, Any]:
    """Out of which product the dip was weighed, so that its end draws from the same; the lot where it was named, and
    the stock solution as it was typed."""
    drawn = data.get("drawn")
    product = drawn[0]["product"] if drawn else data.get("short_of")
    named = {"product": product, "lot": out_of.lot, "solution": list(out_of.solution) if "stock" in data else None}
    return {name: value for name, value in named.items() if value}


def end(
    desk: Desk,
    code: str,
    *,
    out: str | None = None,
    in_: str | None = None,
    fish_out: bool = False,
    at: str | None = None,
    note: str | None = None,
    really: bool = False,
) -> dict[str, Any]:
    """Water out of a bath, or its fish into clean water; the last fish out of a dip. ``code`` is the task's or the
    dose's. Raises Refused for what is not running, and for a time before its start."""
    with desk.act() as act:
        task = _end_task(act, find_task(act, code))
        if task["kind"] != "change":
            said = _end_dip(act, desk, task, out, at, note)
        else:
            if (out is None) == (not fish_out):
                raise Usage(
                    "How did it end? Say --out LITRES of water that were changed, or --fish-out when the fish are in "
                    "clean water."
                )
            moment = when(at, task["zone"], act.now)
            litres = None if out is None else _litres(out, "--out")
            drained = FISH_OUT if litres is None else Drained(litres, _litres(in_, "--in") if in_ else litres)
            said = end_bath(act, task, drained, moment, note=note, really=really)
            said = {**said, "lines": [f"{said['says']}, {local_text(moment, task['zone'])}.", *said["lines"]]}
            act.describe("bath ended" if said["ended"] else "bath drained", said["says"], moment)
        replan(act, task["system"])
        return said


def _litres(text: str, option: str) -> Decimal:
    litres = to(read(text, "volume", option), "L")
    if litres <= 0:
        raise Refused(f"{option} is more than nothing.")
    return litres


def _end_dip(act: Act, desk: Desk, task: Row, out: str | None, at: str | None, note: str | None) -> dict[str, Any]:
    if out is not None:
        raise Usage("A dip ends when the last fish is out of its vessel: leave --out and --in out.")
    dip = next(d for d in baths_of(act, task["system"], act.now).dips if d.key == task["key"])
    dose = next(t for t in act.rows("tasks_of_batch", batch=dip.batch) if t["key"] == dip.start.data["key"])
    data = dip.start.data
    vessel = Water(float(data["vessel_litres"]), float(data["vessel_plus_minus_litres"]))
    # Without --at the instant itself: a typed time has whole minutes, a dip has seconds.
    ended = when(at, task["zone"], act.now)
    made = done(
        desk._replace(under=act),
        [dose["code"]],
        gave=f"{show(Decimal(data['given']))} {data['given_unit']}",
        note=note or data.get("note"),
        really=True,  # it was shown, or asked about, at the start
        dip=Told(vessel, dip.start.at, ended),
        strength=data.get("strength"),
        out_of=OutOf(data.get("product"), data.get("lot"), Solution(*data.get("solution", NO_SOLUTION))),
        beside=Beside(kept={name: data[name] for name in KEPT if name in data}),  # of what was weighed at the start
    )[0]
    over = next(d for d in baths_of(act, task["system"], act.now).dips if d.key == task["key"]).over
    assert over is not None, "the dose that was just written ends the dip"
    return {
        "code": dose["code"],
        "says": made["says"],
        "ended": True,
        "contact": over.data["contact"],
        "rescue": made["rescue"],
        "lines": [f"{made['says']}, {made['local']}.", *made["stock"], *([made["rescue"]] if made["rescue"] else [])],
    }


def _end_task(act: Act, task: Row) -> Row:
    """The end of a bath or dip, named by its own code or by the code of its dose."""
    if not is_end(task):
        there = baths_of(act, task["system"], act.now)
        keys = {b.first.data.get("key"): b.key for b in there.baths}
        keys |= {b.last.data.get("key"): b.key for b in there.baths}
        keys |= {d.start.data["key"]: d.key for d in there.dips}
        rows = [t for t in act.rows("tasks_of_batch", batch=task["batch"]) if t["key"] == keys.get(task["key"])]
        if not rows:
            raise Refused(
                f"{task['code']} ({task['title']}) is not running: it is started with: quarantine bath start "
                f"{task['code']}."
            )
        task = find_task(act, rows[0]["code"])
    refuse_finished(act, task)
    return task


# --- Reads -----------------------------------------------------------------------------------------------------------


def watched(rows: Rows, code: str, now: datetime) -> Running:
    """The bath or dip of a code, its own or its dose's, as it is at ``now``. Raises Refused where none was started."""
    task = find_task(rows, code)
    return _running(rows, task["system"], task["key"], now, of=task)


def _running(rows: Rows, system: str, key: str, now: datetime, of: Row | None = None) -> Running:
    there = baths_of(rows, system, now)
    for bath in reversed(there.baths):
        if key in (bath.key, bath.first.data.get("key"), bath.last.data.get("key")):
            return _shown(rows, bath, there)
    for dip in reversed(there.dips):
        if key in (dip.key, dip.start.data["key"]):
            return _shown(rows, dip, there)
    named = f"{of['code']} ({of['title']})" if of else "It"
    raise Refused(f"{named} is not running: a bath or dip is started with: quarantine bath start CODE.")


def _shown(rows: Rows, one: Bath | Dip, there: Baths) -> Running:
    task = next(t for t in rows.rows("tasks_of_batch", batch=one.batch) if t["key"] == one.key)
    if isinstance(one, Bath):
        after = flush_words(flush_now(one, there.water))
        over_at = one.drained_at if one.over is None else one.over.at
        return Running(
            task["code"],
            f"bath of {one.substance}",
            task["tank_name"],
            task["zone"],
            one.last.at,
            one.earliest,
            one.latest,
            over_at,
            after,
        )
    return Running(
        task["code"],
        f"dip in {one.start.data['substance']}",
        task["tank_name"],
        task["zone"],
        one.start.at,
        one.earliest,
        one.latest,
        None if one.over is None else one.over.at,
        "every fish out",
    )


def _times(run: Running) -> dict[str, Any]:
    return {
        "tank": run.tank,
        "zone": run.zone,
        "started_at": run.started_at,
        "end_from": run.earliest,
        "end_until": run.latest,
    }
