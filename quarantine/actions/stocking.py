"""Products and lots: bought, counted, used, thrown away, recalled (needs F75, F36 and F78)."""

from __future__ import annotations

import json
import re
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from quarantine import stock
from quarantine.actions.desk import Desk, free_name, local_text, when
from quarantine.actions.measured import last_good_day, plain_words
from quarantine.actions.shelf import balances, find_lot, lot_document, lots, stock_zone
from quarantine.facts import local_day
from quarantine.failures import Refused, Unknown, Usage
from quarantine.quantity import UNITS, read, read_measured_drops, show, to
from quarantine.records.codec import instant, text_of_instant
from quarantine.records.reads import Row, Rows
from quarantine.records.store import Act, new_id
from quarantine.stock import Lot

HALF = Decimal("0.5")

UNNUMBERED = "no number"
"""The lot of a product whose label has none."""

BY_WORD = ("purchase", "count", "use", "disposal")
"""Kinds of movement that a keeper enters; a dose draws by itself."""


def add(
    desk: Desk,
    name: str,
    amount: str,
    *,
    substance: str | None = None,
    form: str | None = None,
    strength: str | None = None,
    each: str | None = None,
    step: str | None = None,
    halves: bool = False,
    lot: str | None = None,
    expires: str | None = None,
    opened: str | None = None,
    source: str | None = None,
    authority: str | None = None,
    at: str | None = None,
    really: bool = False,
) -> dict[str, Any]:
    """A product that was bought, or more of one that is known: another lot of it, or more of the same.

    ``strength`` is what the label says ("98 %", "37 % formaldehyde"), ``each`` what is in one tablet; one that looks
    like a slip of the decimal point is asked about once (``really``). Raises Usage for what is missing of a new
    product, Refused for what does not fit what is known of it, Unknown for a substance that is not in the formulary.
    """
    number = UNNUMBERED if lot is None else plain_words(lot, "--lot")
    if expires is not None:
        last_good_day(expires)
    with desk.act() as act:
        zone = stock_zone(act)
        moment = when(at, zone, act.now)
        product = _product(act, name, substance, form, strength, each, step, halves)
        if strength is not None and not really:
            _ask_weak(product["substance"], strength)
        bought = _amount(amount, product["unit"], "AMOUNT")
        row = _lot(act, product, number, expires, _opened(opened, local_day(act.now, zone)))
        data = {
            "source": source and plain_words(source, "--from"),
            "authority": authority and plain_words(authority, "--authority"),
        }
        move(act, row["id"], "purchase", bought, moment, {k: v for k, v in data.items() if v})
        act.describe(
            "stock added", f"{stock.counted(bought, product['unit'])} of {product['name']}, lot {number}", moment
        )
        return lot_document(next(one for one in lots(act) if one.id == row["id"]), local_day(act.now, zone))


def count(desk: Desk, name: str, amount: str, *, lot: str | None = None, because: str, at: str | None = None) -> Any:
    """What was found by counting or weighing: the books are set to it, and the difference is kept with its reason."""
    with desk.act() as act:
        found = find_lot(act, name, lot)
        counted = _amount(amount, found.unit, "AMOUNT", nothing=True)
        moment = _when(act, found, at)
        more = counted - left_at(act, found, moment)
        return _moved(act, found, "count", more, moment, {"because": _reason(because), "counted": counted})


def use(desk: Desk, name: str, amount: str, *, lot: str | None = None, because: str, at: str | None = None) -> Any:
    """What went out otherwise than by a dose on record: spilled, tried, given away."""
    with desk.act() as act:
        found = find_lot(act, name, lot)
        out, moment = _amount(amount, found.unit, "AMOUNT"), _when(act, found, at)
        return _moved(act, found, "use", -out, moment, {"because": _reason(because)})


def dispose(desk: Desk, name: str, *, lot: str | None = None, how: str, at: str | None = None) -> Any:
    """All that is left of a lot was thrown away, and how."""
    with desk.act() as act:
        found = find_lot(act, name, lot)
        moment = _when(act, found, at)
        there = left_at(act, found, moment)
        if there <= 0:
            raise Refused(f"Nothing is left of lot {found.number} of {found.product} on record; nothing was recorded.")
        return _moved(act, found, "disposal", -there, moment, {"how": plain_words(how, "--how", 200)})


def recall(desk: Desk, name: str, *, lot: str, because: str) -> dict[str, Any]:
    """The maker or an authority called a lot back: nothing more is given out of it."""
    with desk.act() as act:
        found = find_lot(act, name, lot)
        if found.recalled:
            raise Refused(f"Lot {found.number} of {found.product} was recalled already; nothing was recorded.")
        act.change("lot", found.id, state="recalled")
        act.describe("lot recalled", f"lot {found.number} of {found.product}: {_reason(because)}")
        return lot_document(found._replace(recalled=True), local_day(act.now, stock_zone(act)))


def move(
    act: Act, lot: str, kind: str, amount: Decimal, at: datetime, data: dict[str, Any], fact: str | None = None
) -> None:
    """Write down one movement of a lot, in this transaction; ``amount`` below zero went out."""
    times = text_of_instant(at), text_of_instant(act.now)
    same = [row["id"] for row in act.rows("movements", lot=lot) if (row["happened_at"], row["entered_at"]) == times]
    act.add(
        "movement",
        {
            "id": new_id(same),
            "lot": lot,
            "kind": kind,
            "amount": amount,
            "happened_at": at,
            "entered_at": act.now,
            "keeper": act.keeper,
            "fact": fact,
            "data": data,
        },
    )


# --- Reading -----------------------------------------------------------------------------------------------------


def movements_of(rows: Rows, lot: Lot, zone: str) -> list[dict[str, Any]]:
    """What came into a lot and went out of it, in order of time, with who and why."""
    return [
        {
            "at": local_text(instant(row["happened_at"]), zone),
            "kind": row["kind"],
            "amount": Decimal(row["amount"]),
            "unit": lot.unit,
            "by": row["keeper_name"],
            "fact": row["fact"],
            **json.loads(row["data"]),
        }
        for row in rows.rows("movements", lot=lot.id)
    ]


# --- What was typed ----------------------------------------------------------------------------------------------


def _product(
    act: Act,
    name: str,
    substance: str | None,
    form: str | None,
    strength: str | None,
    each: str | None,
    step: str | None,
    halves: bool,
) -> Row:
    """The product of that name: known, and then what is said must fit it, or made of what is said. One of which all was
    taken back is described anew."""
    known = [row for row in act.rows("products") if row["name"].casefold() == name.strip().casefold()]
    if not known:
        row = _described(name, substance, form, strength, each, step, halves)
        made = {"id": new_id(), "name": free_name(act.rows("products"), "product", name), **row}
        act.add("product", made)
        return made
    if not any(_stands(act, row["id"]) for row in act.rows("lots") if row["product"] == known[0]["id"]):
        row = _described(name, substance, form, strength, each, step, halves)
        act.change("product", known[0]["id"], **row)
        return {**known[0], **row}
    said = {
        "substance": substance and _substance(substance),
        "form": form,
        "strength": strength and _strength(known[0]["substance"], strength),
        "each": each and _each(each),
    }
    if said["strength"] and known[0]["strength"] and not _is_computable(known[0]):
        # Nothing was ever given by it: what the label says takes the place of what cannot be computed with.
        act.change("product", known[0]["id"], strength=said["strength"])
        return {**known[0], "strength": said["strength"]}
    for column, value in said.items():
        if value is not None and value != known[0][column]:
            raise Refused(
                f"{known[0]['name']} is on record with {column} {_said(known[0][column])}, not {_said(value)}. Another "
                "strength or form is another product: give it a name of its own."
            )
    measured = HALF if halves else None if step is None else _step(step, known[0]["unit"])
    if measured is not None and (known[0]["step"] is None or measured != Decimal(known[0]["step"])):
        raise Refused(
            f"{known[0]['name']} is on record as measured in {_steps(known[0])}. Measured otherwise it is another "
            "product: give it a name of its own."
        )
    return known[0]


def _said(value: str | None) -> str:
    return repr(value) if value else "unknown"


def _steps(product: Row) -> str:
    if product["step"] is not None:
        return f"steps of {show(Decimal(product['step']))} {product['unit']}"
    return "whole tablets" if product["unit"] == "tablets" else "the steps of the settings"


def _described(
    name: str,
    substance: str | None,
    form: str | None,
    strength: str | None,
    each: str | None,
    step: str | None,
    halves: bool,
) -> Row:
    asked = {"--substance ID": substance, f"--form {'|'.join(stock.UNITS)}": form}
    asked |= {'--each "500 mg"': each} if form == "tablet" else {'--strength "98 %"': strength}
    if missing := [how for how, value in asked.items() if value is None]:
        raise Usage(f"Nothing is known of {name.strip()!r} yet: say also {', '.join(missing)}.")
    if form not in stock.UNITS:
        raise Unknown("form", str(form), list(stock.UNITS))
    if (each is not None) != (form == "tablet"):
        raise Usage("--each is what is in one tablet; leave it out for anything else, and --strength for tablets.")
    if form == "tablet" and step is not None:
        raise Usage("Tablets are given whole, or by halves where the label says so: --halves, and no --step.")
    if form != "tablet" and halves:
        raise Usage("--halves is for tablets; of anything else say the step it is measured with: --step.")
    unit, id_ = stock.UNITS[form], _substance(str(substance))
    return {
        "substance": id_,
        "form": form,
        "strength": _strength(id_, strength) if strength is not None else "",
        "each": None if each is None else _each(each),
        "unit": unit,
        "step": HALF if halves else None if step is None else _step(step, unit),
    }


def _substance(name: str) -> str:
    """Its id in the formulary, or that of the conditioner, which is no medicine and stands in none."""
    if "-".join(name.casefold().split()) in (stock.CONDITIONER, "thiosulfate"):
        return stock.CONDITIONER
    from quarantine.formulary import load

    return load(name).id


def _strength(substance: str, text: str) -> str:
    """A label's strength as it reads; empty for "unknown": a dose that depends on it is then held."""
    if substance == stock.CONDITIONER:
        return _hydrate(text)
    if text.strip().casefold() == "unknown":
        return ""
    from quarantine.dosing.forms import read_strength, strength_hold
    from quarantine.formulary import load

    entry = load(substance)
    form = read_strength(text, entry)
    # Every dose out of it would be held for want of this, and the label is at hand now (rule C17).
    if hold := strength_hold(entry, None, form):
        raise Refused(
            f"--strength {text!r}: {hold.says}. {hold.remedy[0].upper()}{hold.remedy[1:]}; where the label does not "
            "say, write --strength unknown. Nothing was recorded."
        )
    return form.words


def _is_computable(product: Row) -> bool:
    """Whether a dose can be computed out of the strength that is on record of a product."""
    from quarantine.failures import Failure

    try:
        return bool(_strength(product["substance"], product["strength"]))
    except Failure:
        return False


def _ask_weak(substance: str, text: str) -> None:
    """A strength that looks like a slip of the decimal point is asked about once (F22). Raises Refused."""
    if substance == stock.CONDITIONER or text.strip().casefold() == "unknown":
        return
    from quarantine.dosing.forms import read_strength, weak_says
    from quarantine.formulary import load

    entry = load(substance)
    if says := weak_says(entry, read_strength(text, entry)):
        raise Refused(
            f"--strength {text!r}: {says}. Read the label again: a slip of the decimal point? If it says so, say "
            "--really; nothing was recorded."
        )


def _hydrate(text: str) -> str:
    """What a jar of thiosulfate is; the amounts for new water are counted as the pentahydrate."""
    said = text.strip().casefold()
    if said != "pentahydrate":
        raise Refused(
            f"--strength {text!r}: amounts of sodium thiosulfate are counted as the pentahydrate, pure; write "
            "--strength pentahydrate where the jar says so. The anhydrous salt takes other amounts: by its own label."
        )
    return said


def _each(text: str) -> str:
    each = read(text, "mass", "--each")
    if each.value <= 0:
        raise Usage("--each is what is in one tablet, more than nothing.")
    return f"{show(to(each, 'mg'))} mg"


def _lot(act: Act, product: Row, number: str, expires: str | None, opened_on: date | None) -> Row:
    """The lot of that number: known, and then what is said must fit it, or made. One of which all was taken back takes
    its dates as they are said now."""
    for row in act.rows("lots"):
        if row["product"] == product["id"] and row["number"].casefold() == number.casefold():
            if not _stands(act, row["id"]):
                act.change("lot", row["id"], expires=expires, opened_on=opened_on)
                return row
            if expires is not None and row["expires"] is None and row["number"] != UNNUMBERED:
                act.change("lot", row["id"], expires=expires)
            elif expires is not None and expires != row["expires"]:
                raise Refused(
                    f"Lot {number} of {product['name']} is on record with expiry {row['expires'] or 'not said'}, not "
                    f"{expires}. Another expiry is another lot: say its number or a word of your own with --lot."
                )
            if opened_on is not None and row["opened_on"] is None:
                act.change("lot", row["id"], opened_on=opened_on)
            return row
    made = {"id": new_id(), "product": product["id"], "number": number, "expires": expires, "opened_on": opened_on}
    act.add("lot", {**made, "state": "in use"})
    return made


def _opened(text: str | None, today: date) -> date | None:
    if text is None:
        return None
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise Usage(f"--opened {text!r} is not a day; write YYYY-MM-DD.") from None
    if day > today:
        raise Refused(f"--opened {text} lies in the future (it is {today} at the site); write the day it was opened.")
    return day


def _stands(act: Act, lot: str) -> bool:
    """Whether anything of a lot stands on record: something that a keeper entered, or that a dose ever drew."""
    moved = act.rows("movements", lot=lot)
    return bool(standing(moved)) or any(row["fact"] is not None for row in moved)


def standing(moved: list[Row]) -> list[Row]:
    """Of the movements of a lot those that a keeper entered and nobody took back."""
    gone = {json.loads(row["data"]).get("of") for row in moved if row["kind"] == "taken back"}
    return [row for row in moved if row["kind"] in BY_WORD and row["id"] not in gone]


def _amount(text: str, unit: str, what: str, *, nothing: bool = False) -> Decimal:
    """A typed amount in a product's unit, above zero; ``nothing`` lets zero pass."""
    value = to(read(text, UNITS[unit].kind, what), unit)
    if value < 0 or (value == 0 and not nothing):
        raise Usage(f"{what} is more than nothing.")
    return value


def _step(text: str, unit: str) -> Decimal:
    """A typed step in the product's unit. Drops are measured first: how many of them make 1 mL differs by product."""
    measured = read_measured_drops(text) if unit == "mL" else None
    if measured is not None:
        return measured
    if re.search(r"\bdrops?\b|\bgtt\b", text.casefold()):
        raise Refused(
            f"--step {text!r}: drops are no measure by themselves; a dropper may be 15 % off even with water (USP 32, "
            "chapter 1101). Count the drops of this product in 1 mL on a syringe, and say that: --step "
            '"20 measured drops per mL" (0.05 mL each).'
        )
    return _amount(text, unit, "--step")


def _reason(because: str) -> str:
    return plain_words(because, "--because", 200)


def left_at(rows: Rows, lot: Lot, at: datetime) -> Decimal:
    """What the books have of a lot at an instant."""
    return next(iter(balances(rows, lot, at).values()))


def _when(act: Act, lot: Lot, at: str | None) -> datetime:
    """The instant at which something of a lot moved. Raises Refused where it had not come in by then."""
    zone = stock_zone(act)
    moment = when(at, zone, act.now)
    came = [
        instant(row["happened_at"]) for row in standing(act.rows("movements", lot=lot.id)) if row["kind"] == "purchase"
    ]
    first = min(came, default=moment)
    if moment < first.replace(second=0):
        raise Refused(
            f"Lot {lot.number} of {lot.product} came in {local_text(first, zone)}; at {local_text(moment, zone)} it "
            "was not there. Check --at; nothing was recorded."
        )
    return max(moment, first)  # a minute that was typed has no seconds


def refuse_below_nothing(act: Act, lot: Lot, amount: Decimal, moment: datetime) -> None:
    """Raises Refused where the books would have less than nothing of a lot, then or at any time after."""
    zone = stock_zone(act)
    for n, (at, there) in enumerate(balances(act, lot, moment).items()):
        if there + amount >= 0:
            continue
        then = f" at {local_text(instant(at), zone)}" if n else ""
        why = "more was taken out of it since" if n else "more than that cannot go out"
        raise Refused(
            f"On record {stock.counted(there, lot.unit)} {stock.are(there, lot.unit)} left of lot {lot.number} of "
            f"{lot.product}{then}: {why}. If there was more, count it first: quarantine stock count."
        )


def _moved(act: Act, lot: Lot, kind: str, amount: Decimal, moment: datetime, data: dict[str, Any]) -> dict[str, Any]:
    """One movement by a keeper's word. More than the books have cannot go out: count first."""
    zone = stock_zone(act)
    if amount < 0:
        refuse_below_nothing(act, lot, amount, moment)
    move(act, lot.id, kind, amount, moment, data)
    now = lot._replace(left=lot.left + amount)
    words = f"{stock.counted(abs(amount), lot.unit)} of {lot.product}, lot {lot.number}"
    act.describe(f"stock {kind}", f"{words}: {data.get('because') or data.get('how')}", moment)
    return lot_document(now, local_day(act.now, zone)) | {"moved": amount, "at": moment.astimezone(ZoneInfo(zone))}
