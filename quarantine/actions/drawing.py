"""What a dose takes out of the stock, and what comes back when it is taken back: in the transaction of the dose (F75).

The books never refuse what really happened (rule C7): what they lack is said, and kept with the dose.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal
from typing import Any

from quarantine import dosing, stock
from quarantine.actions.shelf import lots, stock_zone
from quarantine.actions.stocking import move
from quarantine.dosing import Setting
from quarantine.dosing.products import form_of
from quarantine.facts import local_day
from quarantine.formulary import Substance, load
from quarantine.quantity import UNITS, Quantity, show, to
from quarantine.records.codec import instant
from quarantine.records.reads import Row, Rows
from quarantine.records.store import Act
from quarantine.stock import Draw, Lot


def drawn(setting: Setting, substance: Substance, given: Quantity, *, food: bool) -> dict[str, Any]:
    """What a dose's fact says of the stock: ``drawn`` lot by lot, ``short`` what the books lack of it, ``barred`` why
    nothing should have been given out of it. Empty where it was measured out of nothing in stock."""
    choice = setting.choice
    if choice is None or not choice.lots:
        return {}
    unit = choice.lots[0].unit
    if setting.stock is not None:  # all that was weighed for the solution, whatever was drawn of it
        if setting.stock.rest or unit != "g":
            return {}
        amount = setting.stock.grams
    elif food:
        amount = _in_portion(given, dosing.measure_of(substance, setting.product))
    elif given.kind == UNITS[unit].kind:
        amount = to(given, unit)
    else:
        return {}
    taken, lacking = stock.draws(
        choice.lots, amount, local_day(setting.now, setting.zone), even_barred=bool(choice.barred)
    )
    return _of_fact(taken, lacking, choice.lots[0]) | ({"barred": choice.barred} if choice.barred else {})


def _of_fact(taken: Iterable[Draw], lacking: Decimal, first: Lot) -> dict[str, Any]:
    data: dict[str, Any] = {
        "drawn": [
            {
                "product": d.lot.product,
                "lot": d.lot.number,
                "lot_id": d.lot.id,
                "amount": show(d.amount),
                "unit": d.lot.unit,
            }
            for d in taken
        ]
    }
    if lacking > 0:
        data |= {"short": Decimal(show(lacking)), "short_unit": first.unit, "short_of": first.product}
    return data


def _in_portion(given: Quantity, measure: dosing.Measure) -> Decimal:
    """A dose in food is said as the substance in the portion: so much of its product, as the books count."""
    return stock.in_portion(to(given, "mg") / measure.holds)


def write(act: Act, fact: str, at: datetime, data: dict[str, Any]) -> None:
    """The movements of a dose that was just recorded."""
    for one in data.get("drawn", ()):
        move(act, one["lot_id"], "dose", -Decimal(one["amount"]), at, {}, fact)


def give_back(act: Act, fact: Row, because: str) -> None:
    """What a dose had drawn goes back into its lots: the dose is taken back, or drawn anew."""
    for one in json.loads(fact["data"]).get("drawn", ()):
        mine = [row for row in act.rows("movements", lot=one["lot_id"]) if row["fact"] == fact["id"]]
        out = stock.left(Decimal(row["amount"]) for row in mine)
        if out:
            move(act, one["lot_id"], "taken back", -out, instant(fact["happened_at"]), {"because": because}, fact["id"])


def drawn_anew(act: Act, was: dict[str, Any], new: dict[str, Any]) -> dict[str, Any]:
    """What a corrected dose draws, once :func:`give_back` has put back what it had: out of the same lots first.

    ``was`` and ``new`` are its data before and after; nothing where nothing was drawn.
    """
    before, given = stock.left(Decimal(one["amount"]) for one in was["drawn"]), Decimal(was["given"])
    total = before + Decimal(was.get("short") or 0)
    amount = (
        total
        if was.get("stock")
        else total * to(Quantity(Decimal(new["given"]), new["given_unit"]), was["given_unit"]) / given
    )
    product = was["drawn"][0]["product"] if was["drawn"] else was["short_of"]
    there = {lot.id: lot for lot in lots(act) if lot.product == product}
    if new["route"] == "food":
        amount = _portion_anew(next(iter(there.values())), total, amount, was, new)
    today = local_day(act.now, stock_zone(act))
    old = [there.pop(one["lot_id"]) for one in was["drawn"]]
    taken, lacking = stock.draws(old, amount, today, even_barred=True)
    more, lacking = stock.draws(there.values(), lacking, today)
    nothing = dict.fromkeys(("short", "short_unit", "short_of"))
    return nothing | _of_fact((*taken, *more), lacking, (old or list(there.values()))[0])


def drawn_again(act: Act, was: dict[str, Any]) -> dict[str, Any]:
    """What an earlier version of a dose had drawn, once :func:`give_back` has put back what the later one had: the same
    out of the same lots, where they still have it."""
    there = {lot.id: lot.left for lot in lots(act)}
    if any(Decimal(one["amount"]) > there.get(one["lot_id"], Decimal(0)) for one in was["drawn"]):
        return drawn_anew(act, was, was)
    return {}


def _portion_anew(lot: Lot, total: Decimal, amount: Decimal, was: dict[str, Any], new: dict[str, Any]) -> Decimal:
    """The product in another portion of food: by what the lot holds, where that is what it was counted by; else by the
    share of what was drawn, which was rounded."""
    substance = load(was["substance"])
    measure = dosing.measure_of(substance, form_of(lot, substance))
    before, now = (_in_portion(Quantity(Decimal(one["given"]), one["given_unit"]), measure) for one in (was, new))
    return now if before == total else stock.in_portion(amount)


def words(rows: Rows, data: dict[str, Any]) -> list[str]:
    """What was drawn and what is left then, as lines; what the books lacked, and what barred it."""
    left = {lot.id: lot.left for lot in lots(rows)} if data.get("drawn") else {}
    lines = [
        f"Out of {one['product']}, lot {one['lot']}: {stock.counted(Decimal(one['amount']), one['unit'])}; "
        f"{stock.counted(left[one['lot_id']], one['unit'])} left."
        for one in data.get("drawn", ())
    ]
    if short := data.get("short"):
        lacking, unit = Decimal(short), data["short_unit"]
        were = "was" if stock.is_one(lacking, unit) else "were"
        lines.append(
            f"On record {stock.counted(lacking, unit)} of {data['short_of']} {were} lacking for that: count what is "
            f'left: quarantine stock count "{data["short_of"]}" AMOUNT --because REASON.'
        )
    if barred := data.get("barred"):
        lines.append(f"It should not have been given ({barred}); recorded as it was.")
    if made := data.get("stock"):
        rest = f" {made['left_millilitres']} mL are left of it. {made['label']}" if "label" in made else ""
        lines.append(f"Out of a stock solution, within {made['off_percent']} % by what it was measured with.{rest}")
    return lines
