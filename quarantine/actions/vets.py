"""A veterinarian's instruction on the record, and what the animals of a water are: what passes or makes a hold.

Who instructed is free text inside the journal, which forgets nothing: a practice's name or initials are enough, and
the keeper is told so. A keeper's own name stays outside it, as everywhere.
"""

from __future__ import annotations

import json
import re
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from quarantine import dosing
from quarantine.actions.beforehand import would_hold
from quarantine.actions.cards import own_groups
from quarantine.actions.desk import Desk, find_batch, find_tank, when
from quarantine.actions.duties import refuse_medicine
from quarantine.actions.entering import add_fact, id_after
from quarantine.actions.instructed import facts_of, instructions_here
from quarantine.actions.noting import Noted
from quarantine.actions.planning import OPEN
from quarantine.facts import Fact, local_day, utc
from quarantine.failures import Refused, Unknown, Usage
from quarantine.formulary import Regimen, Substance, level_unit, load, regimen
from quarantine.formulary.groups import Groups, groups_of, shipped, with_own
from quarantine.quantity import UNITS, Quantity, read, show, to
from quarantine.records.codec import instant
from quarantine.records.reads import Row, Rows
from quarantine.records.store import Act

SLIP_TIMES = 10
"""An instructed dose so many times the published range, or as far under it, is asked about once (F22)."""

PRIVACY = "Who instructed stands in the journal, which forgets nothing: a practice's name or initials are enough."


def add_instruction(
    desk: Desk,
    batch_name: str,
    *,
    by: str,
    on: date,
    regimen_id: str | None,
    substance_name: str | None,
    dose: str,
    until: date,
    words: str,
    passes: list[str],
    really: bool = False,
) -> Noted:
    """Record what a veterinarian instructed for one batch: regimen, dose, days, words, and what else it passes.

    Raises Refused for what no instruction passes (a regimen on record to be refused, a dose in another unit, days in
    the future), and asks once (``really``) about a dose over the ceiling or for another water, which stays held all
    the same, one ten times beside the published range, and one older than the instruction that it would replace.
    """
    who, said = _plain(by, "--by", 120), _plain(words, "--words", 500)
    substance, row = _which(regimen_id, substance_name)
    if row.tier == "refused":
        raise Refused(
            f"{row.id} ({substance.name}) is on record in order to refuse it, and no instruction passes that; nothing "
            "was recorded."
        )
    amount = read_dose(dose, row)
    if until < on:
        raise Usage("--until lies before --on.")
    with desk.act() as act:
        refuse_medicine(act, "A veterinarian's instruction")
        batch = find_batch(act, batch_name)
        if batch["state"] != "open":
            raise Refused(f"Batch {batch['name']} is {batch['state']}: an instruction is for fish in quarantine.")
        names = _passed(passes, _groups(desk))
        today = local_day(act.now, batch["zone"])
        if on > today:
            raise Refused(f"--on {on} lies in the future (it is {today} at the site).")
        arrived = instant(batch["arrived_at"])
        earlier = [f for f in facts_of(act, batch["system"]) if _about(f, batch, row)]
        # What was said later the same day must not stand after it in the order of the facts: the newest word rules.
        moment = min(max(_morning(on, batch["zone"]), arrived, *(f.at for f in earlier)), act.now)
        notes = _check_dose(amount, substance, row, batch, _later(earlier, on), really)
        data = {
            "who": who,
            "on": on.isoformat(),
            "until": until.isoformat(),
            "substance": substance.id,
            "regimen": row.id,
            "dose": Decimal(show(amount.value)),
            "dose_unit": amount.unit,
            "words": said,
            "passes": names,
        }
        add_fact(act, "instruction", data=data, **_at(act, batch, moment))
        made = next(one for one in _in_force(act, batch, until if until < today else today) if one.regimen == row.id)
        act.describe("veterinary instruction", f"batch {batch['name']}: {row.id}, {show(amount.value)} {amount.unit}")
        lines = [
            f"Batch {batch['name']}: {dosing.on_the_instruction(made)}",
            *_replaced(act, batch, row, made, earlier),
            *notes,
            *_shared(act, batch, row),
            *would_hold(act, desk.home, batch, substance, row, amount),
            "Nothing passes a ceiling, arithmetic, an unknown reading, or what must never be mixed.",
            PRIVACY,
        ]
        return Noted(lines, {"batch": batch["name"], "instruction": document(made, batch["zone"])})


def read_dose(text: str, row: Regimen) -> Quantity:
    """ "2 mg/L" in the unit the regimen is published in. Raises Refused where it cannot be that."""
    unit = level_unit(row)
    found = re.fullmatch(r"\s*([0-9]+(?:\.[0-9]+)?)\s*(\S.*?)\s*", text)
    if found is None:
        raise Usage(f'--dose {text!r} does not read: write an amount with its unit, such as "2 {unit or "mg/L"}".')
    if found[2].casefold() == unit.casefold():
        made = Quantity(Decimal(found[1]), unit)
    elif unit in UNITS:
        made = Quantity(to(read(text, UNITS[unit].kind, "--dose"), unit), unit)
    else:
        raise Refused(f"{row.id} is published in {unit or 'no amount'}, and {text!r} is no amount of that.")
    if made.value <= 0:
        raise Usage("--dose is more than nothing.")
    return made


def _about(fact: Fact, batch: Row, row: Regimen) -> bool:
    told = fact.kind in ("instruction", "instruction_withdrawn")
    return told and fact.batch == batch["id"] and fact.data["regimen"] == row.id


def _replaced(act: Act, batch: Row, row: Regimen, made: dosing.Instruction, earlier: list[Fact]) -> list[str]:
    """In whose place an instruction stands: the one before, and the targets of the doses to be given while it holds."""
    lines = []
    if earlier and earlier[-1].kind == "instruction":
        was = earlier[-1].data
        lines.append(
            f"It replaces the instruction of {was['who']}, {was['on']}: {row.id}, {show(Decimal(was['dose']))} "
            f"{was['dose_unit']}."
        )
    open_ = [task for task in act.rows("tasks_of_batch", batch=batch["id"]) if task["state"] in OPEN]
    doses = [(task, json.loads(task["detail"])["treatment"]) for task in open_ if task["kind"] == "dose"]
    of_row = [(task, treatment["target"]) for task, treatment in doses if treatment and treatment["regimen"] == row.id]
    of_row = [(task, target) for task, target in of_row if (task["day"] or made.on) <= made.until]
    own = row.target and row.target.default
    dose = f"{show(made.dose)} {made.unit}"
    for task, target in of_row:
        planned = target or (f"{show(own.value)} {own.unit}" if own else "what the water offers")
        says = "as planned" if planned == dose else f"in the place of {planned}"
        lines.append(f"{task['code']} {task['title']}, {task['day'] or 'not dated yet'}: {dose}, {says}.")
    if not of_row:
        lines.append(
            f"No dose of {batch['name']} by {row.id} is planned up to {made.until}: it replaces none. One beside the "
            f"plan is computed with quarantine dose, and --regimen {row.id}."
        )
    return lines


def _later(earlier: list[Fact], on: date) -> str | None:
    """The day of the instruction that stands, where it is a later one than ``on``; else None."""
    stands = earlier[-1].data.get("on") if earlier else None
    return stands if stands is not None and stands > on.isoformat() else None


def _check_dose(
    amount: Quantity, substance: Substance, row: Regimen, batch: Row, later: str | None, really: bool
) -> list[str]:
    """What is said of the dose, once: over a ceiling or in another water it stays held, far from the published range
    it may be a slip, and an older instruction would replace a ``later`` one."""
    notes = []
    if batch["water"] not in row.water:
        notes.append(
            f"{row.id} is published for {' and '.join(row.water)} water and {batch['name']} is in {batch['water']} "
            "water, which no instruction passes: the dose stays held."
        )
    if later is not None:
        notes.append(f"An instruction for {row.id} of {later}, a later day, is on record, and this one replaces it.")
    top = max((c.figure.value for c in row.ceilings if c.figure.unit == amount.unit), default=None)
    if top is not None and amount.value > top:
        notes.append(
            f"{show(amount.value)} {amount.unit} is over the ceiling of {show(top)} {amount.unit} for "
            f"{substance.name}, which no instruction passes: the dose stays held."
        )
    if row.target is not None and row.target.low.unit == amount.unit:
        high = row.target.high or row.target.default or row.target.low
        if amount.value >= high.value * SLIP_TIMES or amount.value * SLIP_TIMES <= row.target.low.value:
            least = f"{show(row.target.low.value)} to " if row.target.low.value != high.value else ""
            notes.append(
                f"{row.id} is published at {least}{show(high.value)} {amount.unit}, and "
                f"{show(amount.value)} {amount.unit} is ten times or more beside it: a slip of the decimal point?"
            )
    if notes and not really:
        raise Refused(f"{' '.join(notes)} If that was instructed, say --really; nothing was recorded.")
    return notes


def _which(regimen_id: str | None, substance_name: str | None) -> tuple[Substance, Regimen]:
    """The regimen by its id, or the only one of a substance that can be instructed."""
    if regimen_id is not None:
        substance, row = regimen(regimen_id)
        if substance_name is not None and load(substance_name).id != substance.id:
            raise Refused(f"{row.id} is a regimen of {substance.name}, not of {load(substance_name).name}.")
        return substance, row
    if substance_name is None:
        raise Usage("What was instructed? Say --regimen ID, or --substance NAME where it has one regimen.")
    substance = load(substance_name)
    rows = [row for row in substance.regimens if row.tier != "refused"]
    if not rows:
        raise Refused(
            f"{substance.name} is on record in order to refuse it, and no instruction passes that; nothing was "
            "recorded."
        )
    if len(rows) > 1:
        listed = "; ".join(f"{row.id}: {row.purpose}, {row.route}" for row in rows)
        raise Refused(f"{substance.name} has {len(rows)} regimens: say which with --regimen. On record: {listed}.")
    return substance, rows[0]


def _passed(words: list[str], groups: Groups) -> list[str]:
    """The typed words of --passes, checked: those of PASSES, or ids of groups of animals."""
    known = [*dosing.PASSES, *(group.id for group in groups.groups)]
    for word in words:
        if word not in known:
            raise Unknown("word for --passes", word, known)
    return list(dict.fromkeys(words))


def withdraw(desk: Desk, batch_name: str, regimen_id: str, *, because: str, at: str | None = None) -> Noted:
    """An instruction holds no more from now on (or from ``at``); what was given on it stays given."""
    reason = _plain(because, "--because", 500)
    row = regimen(regimen_id)[1]
    with desk.act() as act:
        batch = find_batch(act, batch_name)
        moment = when(at, batch["zone"], act.now)
        if not any(one.regimen == row.id for one in _in_force(act, batch, local_day(moment, batch["zone"]))):
            raise Refused(f"No instruction for {row.id} is in force for batch {batch['name']}; nothing was recorded.")
        add_fact(act, "instruction_withdrawn", data={"regimen": row.id, "because": reason}, **_at(act, batch, moment))
        act.describe("instruction withdrawn", f"batch {batch['name']}: {row.id}, {reason}", moment)
        return Noted(
            [f"Batch {batch['name']}: the instruction for {row.id} is withdrawn; its doses are held as before it."],
            {"batch": batch["name"], "regimen": row.id, "because": reason},
        )


def document(made: dosing.Instruction, zone: str) -> dict[str, Any]:
    """One instruction as a program reads it."""
    return {
        "regimen": made.regimen,
        "dose": made.dose,
        "dose_unit": made.unit,
        "who": made.who,
        "on": made.on,
        "until": made.until,
        "words": made.words,
        "passes": list(made.passes),
    }


# --- What the animals are ---------------------------------------------------------------------------------------


def say_groups(
    desk: Desk, batch_name: str, species: str, groups: list[str], *, none: bool = False, at: str | None = None
) -> Noted:
    """A keeper says to which groups of animals a species of a batch belongs, or that it is none of them."""
    with desk.act() as act:
        batch = find_batch(act, batch_name)
        typed = [fish["species"] for fish in json.loads(batch["fish"])]
        name = next((one for one in typed if one.casefold() == species.strip().casefold()), None)
        if name is None:
            raise Unknown("fish in this batch", species, typed)
        where = {"system": batch["system"], "tank": batch["tank"], "batch": batch["id"]}
        return _say(act, desk, name, groups, none, "in the batch", where, batch["zone"], at)


def say_company(
    desk: Desk,
    tank_name: str,
    species: str,
    groups: list[str],
    *,
    none: bool = False,
    gone: bool = False,
    at: str | None = None,
) -> Noted:
    """What else lives in a water beside its batches: shrimps, snails, corals, plants; or that it is gone again."""
    with desk.act() as act:
        tank = find_tank(act, tank_name)
        where = {"system": tank["system"], "tank": tank["id"], "batch": None}
        name = _plain(species, "the name", 80)
        if gone:
            here = [f.data["species"] for f in facts_of(act, tank["system"]) if f.kind == "animals"]
            if name.casefold() not in {one.casefold() for one in here}:
                raise Unknown("company of this water", name, sorted(set(here)))
            moment = when(at, tank["zone"], act.now)
            add_fact(act, "animals", data={"species": name, "groups": [], "lives": "gone"}, **_at(act, where, moment))
            act.describe("company", f"{tank['name']}: {name} is gone", moment)
            return Noted([f"{tank['name']}: {name} no longer lives in this water."], {"species": name, "gone": True})
        return _say(act, desk, name, groups, none, "beside", where, tank["zone"], at)


def _say(
    act: Act,
    desk: Desk,
    name: str,
    groups: list[str],
    none: bool,
    lives: str,
    where: dict[str, Any],
    zone: str,
    at: str | None,
) -> Noted:
    there = _groups(desk)
    known = [group.id for group in there.groups]
    for id_ in groups:
        if id_ not in known:
            raise Unknown("group of animals", id_, known)
    listed = groups_of(name, there)
    if groups and none:
        raise Usage("Say --group, or --none, not both.")
    if not groups and not none and not (listed and lives == "beside"):
        raise Usage(f"What is {name}? Say --group ID, or --none when it is none of them: quarantine formulary groups.")
    moment = when(at, zone, act.now)
    ids = list(dict.fromkeys(groups))
    add_fact(
        act, "animals", data={"species": name, "groups": ids, "lives": lives, "none": none}, **_at(act, where, moment)
    )
    names = {group.id: group.name for group in there.groups}
    all_ids = [id_ for id_ in known if id_ in listed or id_ in ids]
    says = ", ".join(names[id_] for id_ in all_ids) or "none of the listed groups, on the keeper's word"
    act.describe("animals", f"{name}: {says}", moment)
    more = [f"The lists say so already: {', '.join(names[i] for i in known if i in listed)}."] if listed else []
    return Noted([f"{name}: {says}.", *more], {"species": name, "groups": all_ids, "lives": lives})


# --- Small things -----------------------------------------------------------------------------------------------


def _at(act: Act, where: Row | dict[str, Any], moment: datetime) -> dict[str, Any]:
    """Where and when a fact is written: the water of a batch's row, or of a place."""
    return {
        "system": where["system"],
        "tank": where["tank"],
        "batch": where["id"] if "id" in where else where["batch"],
        "at": moment,
        "id_": id_after(act, where["system"], moment),
    }


def _in_force(rows: Rows, batch: Row, day: date) -> tuple[dosing.Instruction, ...]:
    return instructions_here(facts_of(rows, batch["system"]), [batch], day)


def _shared(act: Act, batch: Row, row: Regimen) -> list[str]:
    """Other batches in the same water need their own instruction (rule B2)."""
    others = [b["name"] for b in act.rows("open_batches") if b["system"] == batch["system"] and b["id"] != batch["id"]]
    if not others:
        return []
    return [
        f"Batch {', '.join(others)} is in the same water: a dose goes to all of it, so it stays held until {row.id} is "
        "instructed for each batch."
    ]


def _groups(desk: Desk) -> Groups:
    text = own_groups(desk.home)
    return with_own(text, "groups.toml") if text else shipped()


def _morning(day: date, zone: str) -> datetime:
    return utc(datetime.combine(day, time(0), ZoneInfo(zone)))


def _plain(text: str, what: str, most: int) -> str:
    tidy = " ".join(text.split())
    if not tidy or len(tidy) > most or not tidy.isprintable():
        raise Usage(f"{what} needs 1 to {most} plain characters.")
    return tidy
