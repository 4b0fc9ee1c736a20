"""Doing a task, skipping it, and why it is there."""

from __future__ import annotations

import json
import shlex
from datetime import datetime
from decimal import Decimal
from typing import Any, NamedTuple

from quarantine import bathing, dosing
from quarantine.actions import cards, drawing, feeding
from quarantine.actions.cards import NOT_NAMED, OutOf
from quarantine.actions.claims import asked_if_claimed
from quarantine.actions.consequences import consequences, earliest_days
from quarantine.actions.desk import Desk, find_tank, local_text, when
from quarantine.actions.dipping import NO_DIP, Dip, Drained, Told, after_change, dip_of, end_bath, is_end
from quarantine.actions.duties import refuse_dose, refuse_task
from quarantine.actions.entering import add_fact, id_after
from quarantine.actions.exchanging import ask_about_litres, left_and_due, open_work
from quarantine.actions.idling import refuse_out_of_order
from quarantine.actions.planning import OPEN, replan
from quarantine.actions.systems import frozen
from quarantine.actions.twins import done_with, missed
from quarantine.actions.vouching import NOTHING_BESIDE, Beside, refuse_beside, vouched, vouched_lines
from quarantine.actions.whereabouts import present
from quarantine.dosing.known import missing_litres
from quarantine.emptied import is_drain
from quarantine.facts import local_day
from quarantine.failures import Refused, Usage
from quarantine.formulary import Substance, regimen
from quarantine.plan import DAILY_CARE, timing_of
from quarantine.quantity import Quantity, read, show, show_significant, to
from quarantine.records.codec import instant, text_of_instant
from quarantine.records.loading import fact_of, system_water
from quarantine.records.reads import Row, Rows
from quarantine.records.store import Act
from quarantine.settings import Home
from quarantine.water.ledger import filter_is_off

SLIP_SHARE = Decimal("0.1")
"""Given and shown amounts that differ by more than this are asked about once (C7); our choice, no source."""

REASONED_SHARE = Decimal("0.5")
"""So much where the template has an allowance, beyond which a reason is typed anyway: a reason explains the tail of a
jar, not a slip of the decimal point; our choice, no source."""


class NoTask(Refused):
    """No task has this code. Unlike other names the known ones are not listed: a code that was not read off the
    list would be another task's."""

    kind = "unknown"


def find_task(rows: Rows, code: str) -> Row:
    """A task by its spoken code, capitals aside. Raises NoTask."""
    wanted = code.strip().upper()
    found = rows.rows("task_by_code", code=wanted)
    if found:
        return found[0]
    raise NoTask(f"There is no task {code!r}; codes stand before each task in: quarantine today.", name=code)


def done(
    desk: Desk,
    codes: list[str],
    *,
    at: str | None = None,
    gave: str | None = None,
    as_shown: bool = False,
    note: str | None = None,
    really: bool = False,
    dip: Told = NO_DIP,
    strength: str | None = None,
    out_of: OutOf = NOT_NAMED,
    beside: Beside = NOTHING_BESIDE,
) -> list[dict[str, Any]]:
    """Tasks done: all of them or none. A dose needs the amount given, or ``as_shown`` (rule C18), and comes alone.

    ``strength`` is that of its product, as typed, ``out_of`` that product in stock; ``beside`` its witness, and the
    reason for another amount.
    ``dip`` is what a dip needs beside it: its vessel, start and end.
    """
    if gave is not None and as_shown:
        raise Usage("Say --gave AMOUNT or --as-shown, not both.")
    with desk.act() as act:
        tasks = [_where_then(act, find_task(act, code), at) for code in dict.fromkeys(codes)]
        amounts = [t for t in tasks if t["kind"] in ("dose", "change")]
        if amounts and len(tasks) > 1:
            raise Refused("A dose or a water change is ticked alone, with its amount: never in bulk.")
        if gave is not None and not amounts:
            raise Refused(f"{tasks[0]['code']} ({tasks[0]['title']}) takes no amount; leave --gave out.")
        said = []
        before = {t["system"]: open_work(act, t["system"]) for t in tasks if t["kind"] == "change" and not is_end(t)}
        days = earliest_days(act, {t["system"] for t in tasks}) if beside.eaten != feeding.NOT_SAID else {}
        for task in tasks:
            # Rule C9: the end of a bath is never held, by a claim neither.
            with asked_if_claimed(act, task, really=really or is_end(task)):
                said.append(
                    _do_one(act, desk.home, task, at, gave, as_shown, note, really, dip, strength, out_of, beside)
                )
        made = []
        for system in dict.fromkeys(t["system"] for t in tasks):
            made.append(replan(act, system))
            if system in before and not said[0]["rescue"]:  # of a bath that the change ended it is said already
                name = tasks[0]["tank_name"]
                said[0]["stays"] = left_and_due(act, name, system, before[system], kind="change")
        if days and (moved := consequences(act, days, made)):
            said[0]["stays"] = moved
        act.describe("task done", "; ".join(s["says"] for s in said), said[0]["happened_at"])
        return said


def _do_one(
    act: Act,
    home: Home,
    task: Row,
    at: str | None,
    gave: str | None,
    as_shown: bool,
    note: str | None,
    really: bool,
    told: Told,
    strength: str | None,
    out_of: OutOf,
    beside: Beside,
) -> dict[str, Any]:
    refuse_finished(act, task)
    if not is_end(task):  # rule C9: the end of a bath is never held
        refuse_task(act, task, really=really)
    dip = dip_of(task, told, at, act.now)
    moment = dip.ended if dip else when(at, task["zone"], act.now)
    batch = act.rows("batch_arrival", id=task["batch"])[0]
    if (dip.started if dip else moment) < instant(batch["arrived_at"]) and batch["state"] != "expected":
        raise Refused(f"--at {at!r} lies before batch {task['batch_name']} arrived.")
    refuse_out_of_order(act, task, moment, really=really)
    if json.loads(task["detail"]).get("as_needed"):
        from quarantine.actions.needing import ask_inside_gap

        ask_inside_gap(act, task, moment, really=really)
    if task["kind"] == "look":
        raise Refused(f'A look is done by its count: quarantine look "{task["tank_name"]} SEEN APPETITE" --no-signs.')
    if task["kind"] == "test":
        reads = " ".join(f"{name}=..." for name in json.loads(task["detail"])["reads"])
        raise Refused(f"A test is done by its readings: quarantine reading {task['tank_name']} {reads}")
    if task["kind"] == "move":
        raise Refused(f"{task['code']} moves the fish: say where they went: quarantine done {task['code']} --to TANK.")
    if task["kind"] != "dose":
        refuse_beside(task, beside)
    drained: list[str] = []
    if is_end(task):
        return _ended(act, task, moment, gave, note, really)
    if task["kind"] == "dose":
        data = dose_data(act, home, task, moment, gave, as_shown, really, dip, strength, out_of, beside)
        says = f"{show(data['given'])} {data['given_unit']} of {data['substance']} given to {task['tank_name']}"
        if dip:
            says += f", a dip of {show(data['elapsed_seconds'])} s ({data['contact']})"
        elif "eaten" in data:
            says += f", {feeding.eaten_words(data)}"
        elif "contact_most" in data:
            says += f", a timed bath that ends after {data['contact_most']} at most"
        if (timing := timing_of(task, moment)) is not None:
            data["timing"] = timing
        kind = "dose"
    elif task["kind"] == "change":
        _change_fact(act, task, moment, gave, as_shown, really)
        drained = after_change(act, task["system"], moment)
        data, kind = {}, "done"
        says = f"{task['title']} done in {task['tank_name']}"
    else:
        data, kind = {}, "done"
        says = f"{task['title']} done in {task['tank_name']}"
    fact = add_fact(
        act,
        kind,
        system=task["system"],
        tank=task["tank"],
        batch=task["batch"],
        task=task["id"],
        at=moment,
        data={**data, "key": task["key"], **_planned_on(task), **({"note": note} if note else {})},
        id_=id_after(act, task["system"], moment),
    )
    drawing.write(act, fact, moment, data)
    if task["kind"] == "chore" and bathing.says_back(task["title"].casefold(), "filter"):
        _filter_on(act, task, moment)
    if is_drain(task["step"]):
        _drained(act, task, moment)
    outcome = {"fact": fact, **({"gave": f"{data['given']} {data['given_unit']}"} if data else {})}
    if not act.change_if(
        "task", task["id"], OPEN, state="done", outcome_at=moment, outcome_by=act.keeper, outcome=outcome
    ):
        refuse_finished(act, find_task(act, task["code"]))
    late = (act.now - moment).total_seconds() > 3600
    stock = [*_differs(data), *drawing.words(act, data)] if kind == "dose" else drawing.words(act, data)
    in_food = kind == "dose" and data["route"] == "food"
    fed = feeding.told(data, feeding.after_window_of(act, task)) if in_food else ""
    return {
        "code": task["code"],
        "says": says,
        "happened_at": moment,
        "local": local_text(moment, task["zone"]),
        "entered_late": late,
        "timing": timing_of(task, moment),
        "stock": stock,
        "rescue": " ".join(filter(None, (data.get("rescue") or " ".join(drained), fed))),
        "defers": dosing.DEFERS if kind == "dose" else "",
    }


def _where_then(act: Act, task: Row, at: str | None) -> Row:
    """A dose or a change that was made before the fish were moved went into the water they left: it is a task of that
    tank then."""
    if at is None or task["kind"] not in ("dose", "change"):
        return task
    moment = when(at, task["zone"], act.now)
    later = [
        json.loads(row["data"])
        for row in act.rows("moves_of_open")
        if row["batch"] == task["batch"] and instant(row["happened_at"]) > moment
    ]
    if not later:
        return task
    tank = next(tank for tank in act.rows("tanks") if tank["id"] == later[0]["from_tank"])
    return {**task, "system": tank["system"], "tank": tank["id"], "tank_name": tank["name"], "zone": tank["zone"]}


def _ended(act: Act, task: Row, moment: datetime, gave: str | None, note: str | None, really: bool) -> dict[str, Any]:
    """The end of a bath, ticked like another water change; that of a dip takes its two times."""
    if task["kind"] != "change":
        raise Refused(f"A dip is ended when the last fish is out: quarantine bath end {task['code']}.")
    if gave is None:
        raise Refused(
            f"{task['title']}. How many litres were changed? Say --gave LITRES; the fish in clean water: quarantine "
            f"bath end {task['code']} --fish-out."
        )
    litres = _litres_changed(gave)
    told = end_bath(act, task, Drained(litres, litres), moment, note=note, really=really)
    return {
        "code": task["code"],
        "says": told["says"],
        "happened_at": moment,
        "local": local_text(moment, task["zone"]),
        "entered_late": (act.now - moment).total_seconds() > 3600,
        "timing": None,
        "stock": [],
        "rescue": " ".join(told["lines"]),
        "defers": dosing.DEFERS,
    }


def refuse_finished(act: Act, task: Row) -> None:
    """A task is done once; whoever comes second is told who and when."""
    if task["state"] in OPEN:
        return
    who = act.rows("keeper_name", id=task["outcome_by"])[0]["name"] if task["outcome_by"] else "the plan"
    when_ = local_text(instant(task["outcome_at"]), task["zone"]) if task["outcome_at"] else "an unknown time"
    if task["state"] == "withdrawn":
        raise Refused(f"{task['code']} ({task['title']}) was withdrawn from the plan; see: quarantine today.")
    again = (
        " If a second dose was really given, record it: quarantine event dose."
        if task["kind"] == "dose" and task["state"] == "done"
        else ""
    )
    raise Refused(
        f"{task['code']} ({task['title']}) was {task['state']} by {who}, {when_}.{again}",
        by=who,
        at=when_,
        state=task["state"],
    )


def dose_data(
    act: Act,
    home: Home,
    task: Row,
    moment: datetime,
    gave: str | None,
    as_shown: bool,
    really: bool,
    dip: Dip | None,
    strength: str | None = None,
    out_of: OutOf = NOT_NAMED,
    beside: Beside = NOTHING_BESIDE,
) -> dict[str, Any]:
    """A dose's three facts: planned (target), prepared (computed), given (typed); with what it gives."""
    batch = act.rows("batch_arrival", id=task["batch"])[0]
    unread = _not_acknowledged(act, task, really=really)
    if not really:
        _ask_about_day(task, moment)
    tank = next(t for t in act.rows("tanks") if t["id"] == task["tank"])
    setting = cards.setting_for(act, home, tank, batch, moment)
    if dip is not None:
        setting = setting._replace(vessel=dip.vessel)
    treatment = json.loads(task["detail"])["treatment"]
    substance = regimen(treatment["regimen"])[0]
    setting = cards.measured_out_of(setting, substance, strength, out_of, sure=really)
    setting = dosing.circulating(cards.where_of(treatment["water"], treatment["filter"], treatment["off"]), setting)
    cards.refuse_several(setting, substance)
    proposal = cards.propose_task(task, setting)
    if as_shown:
        if proposal.hold is not None or proposal.dose.add is None:
            raise Refused(
                f"No amount is shown for {task['code']}: {hold_text(proposal.hold)}",
                hold=None if proposal.hold is None else _hold_facts(proposal.hold),
            )
        given = Quantity(proposal.dose.add, proposal.dose.add_unit)
    elif gave is not None:
        given = cards.read_given(gave, proposal.dose.add_unit)
    else:
        words = (
            f"shown: {show(proposal.dose.add)} {proposal.dose.add_unit}"
            if proposal.dose.add is not None
            else "none is shown"
        )
        raise Refused(
            f"A dose is recorded with the amount that was given: --gave AMOUNT, or --as-shown ({words})."
            f"{_at_mark(proposal)}",
            **{f"shown_{proposal.dose.add_unit}": None if proposal.dose.add is None else show(proposal.dose.add)},
        )
    if given.value <= 0:
        raise Refused("--gave is the amount that was given, more than nothing; a dose not given is skipped.")
    _ask_once(task, proposal, given, really, beside)
    shown_amount = proposal.dose.add if proposal.hold is None else None
    shown = None if shown_amount is None else Quantity(shown_amount, proposal.dose.add_unit)
    data = {**dose_record(proposal, setting, given), **vouched(act, task, shown, given, beside)}
    data |= feeding.eaten_data(data, beside.eaten) | unread
    if left_off := _left_off(act, task, apart="apart_litres" in data):
        data["put_back"] = left_off
    if dip is None:
        return data
    return {**data, **dip.data, "rescue": " ".join(words for words in (data["rescue"], dip.rescue) if words)}


def _ask_about_day(task: Row, moment: datetime) -> None:
    """A dose before its day is most often one that was given already, or another batch's: it is asked about (C7)."""
    if task["day"] is not None and local_day(moment, task["zone"]).isoformat() < task["day"]:
        raise Refused(
            f"{task['code']} ({task['title']}) is planned for {task['day']}, not for "
            f"{local_day(moment, task['zone'])}: given before its day it comes too close to the one before. If it was "
            "given, say so with --really; nothing was recorded."
        )


def _not_acknowledged(act: Act, task: Row, *, really: bool) -> dict[str, Any]:
    """Rule C19: the cautions are acknowledged by revision and keeper. A dose by one who has not is asked about once;
    that it was really given is a fact, and what its record keeps of that (rule C7). Empty where they have."""
    copy_id = next(b["copy_id"] for b in act.rows("batches") if b["id"] == task["batch"])
    if act.rows("acknowledgements", keeper=act.keeper, copy_id=copy_id):
        return {}
    copy = frozen(act, copy_id)
    of = f"{copy.id}, revision {copy.revision}"
    if not really:
        raise Refused(
            f"You have not acknowledged the cautions of {of}, by which {task['code']} is given (rule C19): read them "
            f"with quarantine batch acknowledge {shlex.quote(task['batch_name'])}, then tick it again. If it was given "
            "already, say so with --really; nothing was recorded."
        )
    return {"unacknowledged": of}


def _at_mark(proposal: dosing.Proposal) -> str:
    """Rule C10: it is asked at each dose."""
    return f" Either says also: {dosing.AT_THE_MARK}." if dosing.AT_THE_MARK in proposal.confirm else ""


def _left_off(act: Act, task: Row, *, apart: bool) -> list[str]:
    """What was off or out for a dose and no chore of the template puts back (rule C10); a filter however short it was
    off where its water stands ``apart``: what is in the water is known again only once it is said to run."""
    treatment = json.loads(task["detail"])["treatment"]
    if not treatment["off"] and treatment["filter"] != "off":
        return []
    batch = next(b for b in act.rows("batches") if b["id"] == task["batch"])
    later = [s.title for s in frozen(act, batch["copy_id"]).steps if s.kind == "chore" and s.start.kind == "after"]
    off, filter_ = ([*treatment["off"], "filter"], "") if apart else (treatment["off"], treatment["filter"])
    return bathing.to_put_back(off, filter_, regimen(treatment["regimen"])[1], later)


def _drained(act: Act, task: Row, moment: datetime) -> None:
    """What was in the water of a tank that was emptied has gone with it (rule C12); not where other tanks share it, or
    fish are in it again."""
    beside = [t for t in act.rows("tanks") if t["system"] == task["system"] and t["id"] != task["tank"]]
    water, _ = system_water(act, task["system"], moment)
    if beside or water is None or present(act, task["system"], moment):
        return
    litres = Decimal(repr(water.litres + water.plus_minus_litres))
    data = {"out_litres": litres, "in_litres": litres}
    id_ = id_after(act, task["system"], moment)
    add_fact(act, "change", system=task["system"], tank=task["tank"], at=moment, data=data, id_=id_)


def _filter_on(act: Act, task: Row, moment: datetime) -> None:
    """A chore that puts the filter back says that its water and the tank's are one again (rule C10)."""
    facts = [fact_of(row) for row in act.rows("facts_since", system=task["system"], since="9999")]
    if filter_is_off(facts, moment):
        at = id_after(act, task["system"], moment)
        add_fact(act, "filter_on", system=task["system"], tank=task["tank"], at=moment, data={}, id_=at)


def _ask_once(task: Row, proposal: dosing.Proposal, given: Quantity, really: bool, beside: Beside) -> None:
    """Rule C7: a fact is never refused, but asked about once if it looks like a slip."""
    if really:
        return
    shown = proposal.dose.add
    if proposal.hold is not None or shown is None:
        raise Refused(
            f"This dose is held: {hold_text(proposal.hold)} If {show(given.value)} {given.unit} was really given, "
            "say so with --really."
        )
    amount = to(given, proposal.dose.add_unit)
    allowance = json.loads(task["detail"])["treatment"].get("allowance")
    if abs(amount - shown) > (SLIP_SHARE if allowance is None else REASONED_SHARE) * shown:
        why_ = "" if allowance is None or beside.because else ", and why with --because REASON"
        food = proposal.dose.food_grams
        of = f" of {proposal.dose.substance} in {show(food)} g of prepared food" if food is not None else ""
        raise Refused(
            f"{show(given.value)} {given.unit} is {_compared(amount / shown)} the {show(shown)} "
            f"{proposal.dose.add_unit}{of} that "
            f"{task['code']} shows. If that was really given, say so with --really{why_}; nothing was recorded."
        )


def _differs(data: dict[str, Any]) -> list[str]:
    """What was given beside what was shown, and what it gives beside the ceiling, where the two are not the same: a
    small difference is asked about by nobody."""
    if data.get("prepared") is None or data["hold"] is not None:
        return []
    shown = Quantity(Decimal(data["prepared"]), data["prepared_unit"])
    off = to(Quantity(Decimal(data["given"]), data["given_unit"]), shown.unit) - shown.value
    if not off:
        return []
    share = show_significant(abs(off) / shown.value * 100, 2, up=True)
    says = f"{share} % {'more' if off > 0 else 'less'} than the {show(shown.value)} {shown.unit} shown"
    high, ceiling = data["gives_high_mg_per_l"], data["ceiling_mg_per_l"]
    if data["route"] not in ("bath", "prolonged") or high is None or ceiling is None:
        return [f"{says}."]
    unit = data.get("level_unit", "mg/L")
    return [
        f"{says}: it gives {show(Decimal(data['gives_low_mg_per_l']))} to {show(Decimal(high))} {unit}; the ceiling is "
        f"{show(Decimal(ceiling))} {unit}."
    ]


def _compared(ratio: Decimal) -> str:
    """A ratio in words: a number where it says something, else the direction of the slip."""
    if ratio < Decimal("0.1"):
        return "far less than"
    return "far more than" if ratio > 100 else f"{show_significant(ratio, 2)} times"


def dose_record(proposal: dosing.Proposal, setting: dosing.Setting, given: Quantity) -> dict[str, Any]:
    """The data of a dose fact, with everything it can be recomputed from, and the rescue when it is too much."""
    dose = proposal.dose
    substance, row = regimen(dose.regimen)
    food = dose.route == "food"  # of that the substance in the portion is counted
    milligrams = to(given, "mg") if food else dosing.given_in_ledger(substance, setting.product, given, setting.stock)
    most = dose.volume_litres + dose.volume_plus_minus_litres
    least = dose.volume_litres - dose.volume_plus_minus_litres - missing_litres(row, setting)
    low = milligrams / most if most > 0 else Decimal(0)
    high = milligrams / least if least > 0 else None  # so little is known of the volume that no level is too high
    ceiling = dosing.ceiling_in_ledger(substance, row, setting)
    there = setting.levels.get(substance.id, setting.never_dosed).high  # None: not known, and neither is the sum
    upper = None if high is None or there is None else high + Decimal(str(there))
    rescue = dosing.rescue_apart(dose, row, milligrams)
    bath = dose.route in ("bath", "prolonged")
    if bath and ceiling is not None and (upper is None or upper > ceiling) and "salt" not in substance.classes:
        rescue = dosing.rescue(
            dose.volume_litres, upper, ceiling, substance.name, dose.volume_plus_minus_litres, substance.ledger_unit
        )
    rescue = rescue or dosing.rescue_held(proposal.hold, milligrams)
    data = {
        "substance": substance.id,
        "regimen": dose.regimen,
        "route": dose.route,
        "target": dose.target,
        "target_unit": dose.target_unit,
        "target_mg_per_l": _in_ledger(substance, dose.target, dose.target_unit),
        "prepared": dose.add,
        "prepared_unit": dose.add_unit,
        "given": given.value,
        "given_unit": given.unit,
        "mass_mg": milligrams,
        "volume_litres": dose.volume_litres,
        "volume_plus_minus_litres": dose.volume_plus_minus_litres,
        "gives_low_mg_per_l": show_significant(low, 4, up=False),
        "gives_high_mg_per_l": None if high is None else show_significant(high, 4, up=True),
        "ceiling_mg_per_l": ceiling,
        "hold": None if proposal.hold is None else _hold_facts(proposal.hold),
        # Rule A9: supporting salt that stays in the water is no dose; a salt bath or dip is one.
        "counts": "salt" not in substance.classes or dose.route != "prolonged",
        "reference": dose.reference,
        "working": list(proposal.working),
        "rescue": rescue,
    }
    if substance.ledger_unit != "mg/L":
        data["level_unit"] = substance.ledger_unit
    if (said := dosing.instruction_for(row, setting)) is not None:
        data["instruction"] = said.id
    if setting.product is not None:
        data["product"] = setting.product.words
    data |= drawing.drawn(setting, substance, given, food=food) | cards.solution_record(setting, substance, given)
    if dose.fish_grams is not None:
        data |= {"fish_grams": dose.fish_grams, "food_grams": dose.food_grams}
    if dose.route in ("bath", "prolonged") and setting.whole is not None and setting.apart is not None:
        data |= {
            "whole_litres": Decimal(str(setting.whole.litres)),
            "whole_plus_minus_litres": Decimal(str(setting.whole.plus_minus_litres)),
            "apart_litres": Decimal(str(setting.apart.litres)),
            "apart_plus_minus_litres": Decimal(str(setting.apart.plus_minus_litres)),
        }
    data |= bathing.begun(substance, row, setting, data)
    return {name: Decimal(show(value)) if isinstance(value, Decimal) else value for name, value in data.items()}


def _in_ledger(substance: Substance, value: Decimal, unit: str) -> Decimal:
    return (
        dosing.in_ledger(substance, Quantity(value, unit)) if dosing.counts_in_ledger(substance, unit) else Decimal(0)
    )


def _hold_facts(hold: dosing.Hold) -> dict[str, Any]:
    return {name: value for name, value in hold._asdict().items() if value is not None}


def hold_text(hold: dosing.Hold | None) -> str:
    """A hold as one sentence: rule, reason, what to do."""
    if hold is None:
        return "nothing is held."
    return f"{hold.says} (rule: {hold.rule}). What to do: {hold.remedy}."


def _change_fact(act: Act, task: Row, moment: datetime, gave: str | None, as_shown: bool, really: bool) -> None:
    """A planned water change, with the litres really changed: out and in alike."""
    shown = cards.change_litres(task, act, moment)
    if gave is not None:
        litres = _litres_changed(gave)
        if not really:
            ask_about_litres(act, task["system"], [litres], moment)
    elif as_shown and shown is not None:
        litres = shown
    else:
        words = f" (shown: {show(shown)} L)" if shown is not None else ""
        raise Refused(f"How many litres were changed? Say --gave LITRES, or --as-shown{words}.")
    add_fact(
        act,
        "change",
        system=task["system"],
        tank=task["tank"],
        at=moment,
        data={"out_litres": litres, "in_litres": litres},
        id_=id_after(act, task["system"], moment),
    )


def _litres_changed(text: str) -> Decimal:
    litres = to(read(text, "volume", "--gave"), "L")
    if litres <= 0:
        raise Refused("--gave is the litres that were changed, more than nothing.")
    return litres


def _planned_on(task: Row) -> dict[str, Any]:
    """The day a task was planned for, as its fact keeps it: of several batches in one water the work of that day is
    done, however late (rule B2)."""
    return {"on": task["day"]} if task["day"] else {}


def _begun_again(task: Row) -> str:
    """What skipping a move means, in words: one that can lapse is of a series that the plan then begins again (rule
    A12). "" where it began again before, and of any other task."""
    lapses = task["kind"] == "move" and task["lapses_at"] and task["state"] == "planned"
    return "; the moves begin again from the first" if lapses else ""


class Skipped(NamedTuple):
    """The tasks that were skipped, and of each batch how many were so far, by reason."""

    tasks: list[dict[str, Any]]
    counts: dict[str, dict[str, int]]


def skip(
    desk: Desk,
    codes: list[str],
    *,
    because: str,
    missed_in: str | None = None,
    at: str | None = None,
    yes: bool = False,
) -> Skipped:
    """Tasks not done, with the reason; what follows from it is planned. All of them or none. What stands on the list in
    one row for several batches is skipped for all of them; with ``missed_in`` also all missed care of that tank.

    Where skipping a dose moves dates, the new ones are shown first, and ``yes`` accepts them. Raises Usage where no
    code and no tank is said, Refused where nothing was missed in it.
    """
    if not codes and missed_in is None:
        raise Usage("Which task? Say its code, or --missed TANK for all missed looks, feeding and tests of a tank.")
    reason = because.strip()
    if not reason:
        raise Usage("A skipped task needs its reason: --because REASON.")
    with desk.act() as act:
        said = []
        more = [] if missed_in is None else _missed_care(act, missed_in)
        named = [find_task(act, code) for code in dict.fromkeys([*codes, *more])]
        for task in named:
            refuse_finished(act, task)
        found = [one for task in named for one in (task, *done_with(act, task, act.now))]
        tasks = list({task["id"]: task for task in found}.values())
        before = earliest_days(act, {task["system"] for task in tasks})
        for task in tasks:
            if is_end(task):
                raise Refused(
                    f"{task['code']} ({task['title']}) is no task to skip: it stands until the bath or dip has ended "
                    f"(rule A11). End it: quarantine bath end {task['code']}."
                )
            refuse_dose(act, task)
            moment = when(at, task["zone"], act.now)
            fact = add_fact(
                act,
                "skip",
                system=task["system"],
                tank=task["tank"],
                batch=task["batch"],
                task=task["id"],
                at=moment,
                data={"key": task["key"], "task_kind": task["kind"], "because": reason},
            )
            act.change_if(
                "task",
                task["id"],
                OPEN,
                state="skipped",
                outcome_at=moment,
                outcome_by=act.keeper,
                outcome={"fact": fact, "because": reason},
            )
            whose = "" if task in named else f" for {task['batch_name']} too"
            says = f"{task['title']} skipped{whose}: {reason}{_begun_again(task)}"
            said.append({"code": task["code"], "says": says, "system": task["system"]})
        made = [replan(act, system) for system in dict.fromkeys(s.pop("system") for s in said)]
        moved = consequences(act, before, made)
        if moved and any(task["kind"] in ("dose", "move") for task in tasks) and not (yes or act.dry_run):
            what = " or ".join(k for k in ("dose", "move") if any(task["kind"] == k for task in tasks))
            raise Refused(f"Skipping a {what} moves dates: {'; '.join(moved)}. Say --yes to accept that.", moved=moved)
        said[-1]["moved"] = moved
        act.describe("task skipped", "; ".join(s["says"] for s in said))
        return Skipped(said, {task["batch_name"]: _reasons(act, task["batch"]) for task in tasks})


def _missed_care(act: Act, tank_name: str) -> list[str]:
    """The codes of the care of a tank that was missed: one reason may stand for all of it, as after a weekend away.
    Doses, moves and changes are answered for one by one. Raises Refused where there is none."""
    tank = find_tank(act, tank_name)
    rows = act.rows("open_tasks", until=text_of_instant(act.now), tank=tank["id"])
    codes = [row["code"] for row in rows if row["kind"] in DAILY_CARE and row["day"] and missed(row, act.now)]
    if not codes:
        raise Refused(f"No look, feeding or test was missed in {tank['name']}; nothing was recorded.")
    return codes


def _reasons(act: Act, batch: str) -> dict[str, int]:
    """How often tasks of a batch were skipped, by reason as it was first typed, the most frequent first (F41)."""
    counts: dict[str, int] = {}
    spelling: dict[str, str] = {}
    for row in act.rows("tasks_of_batch", batch=batch):
        if row["state"] == "skipped" and row["outcome"]:
            fact = act.rows("fact", id=json.loads(row["outcome"])["fact"])[0]
            reason = json.loads(fact["data"])["because"]
            name = spelling.setdefault(reason.casefold(), reason)
            counts[name] = counts.get(name, 0) + 1
    return dict(sorted(counts.items(), key=lambda item: -item[1]))


class Why(NamedTuple):
    """Why a task is there on that day, and the working behind its amount."""

    task: Row
    proposal: dosing.Proposal | None
    given: dict[str, Any] | None
    levels: list[str]
    vouched: list[str]
    """who read the scale too, and why the amount is another than the one shown"""


def why(rows: Rows, home: Home, code: str, now: datetime) -> Why:
    """The facts and rules behind a task's day, and the working behind its amount."""
    task = find_task(rows, code)
    given = None
    if task["outcome"]:
        found = rows.rows("fact", id=json.loads(task["outcome"])["fact"])
        given = json.loads(found[0]["data"]) if found else None
    if task["kind"] != "dose":
        return Why(task, None, given, [], [])
    tank = next(t for t in rows.rows("tanks") if t["id"] == task["tank"])
    setting = cards.setting_for(rows, home, tank, rows.rows("batch_arrival", id=task["batch"])[0], now)
    return Why(task, cards.propose_task(task, setting), given, level_lines(setting), vouched_lines(rows, given or {}))


def level_lines(setting: dosing.Setting) -> list[str]:
    """What of each substance is in the water, as sentences, in the unit that `level` writes it in."""
    from quarantine.actions.levels import level_now

    return [
        f"{name}: {level_now(setting.doses, name, level, setting.now)} in the water now"
        if level.known
        else f"{name}: level unknown"
        for name, level in setting.levels.items()
    ]
