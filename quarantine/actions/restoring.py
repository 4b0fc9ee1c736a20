"""What an entry changed is as it was before: an earlier version of a fact stands again, and what a keeper entered of
the stock is balanced by a movement the other way. Nothing is overwritten: each is a new row that names the one it
reverses.
"""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any, NamedTuple

from quarantine import stock
from quarantine.actions.desk import local_text
from quarantine.actions.drawing import drawn_again, give_back, write
from quarantine.actions.entering import add_fact
from quarantine.actions.shelf import lots, stock_zone
from quarantine.actions.stocking import BY_WORD, move, standing
from quarantine.facts import flow_was
from quarantine.failures import Refused
from quarantine.records.codec import instant, text_of_instant
from quarantine.records.reads import Row
from quarantine.records.store import Act
from quarantine.stock import Lot

# --- Facts -------------------------------------------------------------------------------------------------------


def earlier(act: Act, fact: Row) -> Row | None:
    """The fact in whose place a correction stands; None where it corrects nothing, or only the plan wrote it anew. What
    stands again after a correction was taken back is as it was first: it has no earlier version but the one that it had
    then."""
    while restored := json.loads(fact["data"]).get("restored"):
        fact = act.rows("fact", id=restored)[0]
    return act.rows("fact", id=fact["voids"])[0] if fact["voids"] and not by_the_plan(fact) else None


def by_the_plan(fact: Row) -> bool:
    """Whether a fact stands in the place of another that nobody corrected
    (:func:`quarantine.actions.repacking.repack`)."""
    return fact["voids"] is not None and fact["kind"] != "void" and "corrected" not in json.loads(fact["data"])


def restore(act: Act, fact: Row, was: Row, because: str) -> str:
    """Write an earlier version of a fact anew, in the place of its correction: its id. ``restored`` names it."""
    data: dict[str, Any] = json.loads(was["data"])
    if "drawn" in data:
        give_back(act, fact, because)
        data |= {name: value for name, value in drawn_again(act, data).items() if value is not None}
    later = json.loads(fact["data"])
    if fact["kind"] == "change" and later["out_litres"] != data["out_litres"]:
        # What a dose again was sized by meanwhile stays known (rule C1).
        data["out_was"] = [*later.get("out_was", []), [later["out_litres"], text_of_instant(act.now)]]
    flow = ("litres_per_hour", "until")
    if fact["kind"] == "exchange" and any(later[name] != data[name] for name in flow):
        data |= flow_was(later, text_of_instant(act.now))
    data["first"] = data.get("first", {"id": was["id"], "entered_at": was["entered_at"]})
    data |= {"corrected": because, "restored": was["id"]}
    id_ = add_fact(
        act,
        was["kind"],
        system=was["system"],
        tank=was["tank"],
        batch=was["batch"],
        task=was["task"],
        at=instant(was["happened_at"]),
        data=data,
        voids=fact["id"],
    )
    write(act, id_, instant(was["happened_at"]), data)
    return id_


def in_words(fact: Row) -> str:
    """A fact that stands again, in a few words."""
    data = json.loads(fact["data"])
    if fact["kind"] == "dose":
        return f"dose of {data['given']} {data['given_unit']}"
    if fact["kind"] == "reading":
        return f"{data['parameter']} {data['value']} {data['unit']}".strip()
    return str(fact["kind"])


# --- Stock -------------------------------------------------------------------------------------------------------


class Stocked(NamedTuple):
    """What an entry wrote of the stock and still stands: its movements, lots that it called back, and by lot the dates
    that it added to what was known."""

    movements: tuple[Row, ...] = ()
    recalled: tuple[str, ...] = ()
    dated: tuple[tuple[str, tuple[str, ...]], ...] = ()

    def __bool__(self) -> bool:
        return bool(self.movements or self.recalled)


def is_of_stock(written: dict[str, list[Row]]) -> bool:
    """Whether the rows of an entry are of the stock alone: no fact, and something of a lot."""
    return "fact" not in written and bool({"movement", "lot"} & written.keys())


def stocked(act: Act, written: dict[str, list[Row]], later: set[str]) -> Stocked:
    """What stands of the rows that an entry wrote; ``later`` are the lots whose state a later entry changed."""
    mine = [row for row in written.get("movement", []) if row["fact"] is None and row["kind"] in BY_WORD]
    stands = {
        row["id"]: row
        for lot in dict.fromkeys(row["lot"] for row in mine)
        for row in standing(act.rows("movements", lot=lot))
    }
    known = [row for row in written.get("lot", []) if "product" not in row]
    return Stocked(
        tuple(stands[row["id"]] for row in mine if row["id"] in stands),
        tuple(row["id"] for row in known if row.get("state") == "recalled" and row["id"] not in later),
        tuple((row["id"], tuple(name for name in ("expires", "opened_on") if name in row)) for row in known),
    )


def states_changed(written: dict[str, list[Row]]) -> set[str]:
    """The lots whose state an entry changed."""
    return {row["id"] for row in written.get("lot", []) if "product" not in row and "state" in row}


def restock(act: Act, made: Stocked, because: str) -> list[str]:
    """Reverse what an entry wrote of the stock; the lots as they stand then, a line each.

    Raises Refused where something that came in by it has gone out since, and where the lot was counted since: what was
    found by counting is what is there.
    """
    there = {lot.id: lot for lot in lots(act)}
    for row in made.movements:
        lot, amount = there[row["lot"]], Decimal(row["amount"])
        _refuse_counted_since(act, lot, row)
        _refuse_gone(lot, amount)
        # Now, not then: what was drawn from it meanwhile had been there by the books.
        move(act, lot.id, "taken back", -amount, act.now, {"because": because, "of": row["id"], "of_kind": row["kind"]})
    for id_ in made.recalled:
        act.change("lot", id_, state="in use")
    for id_, names in made.dated:
        others = [row for row in standing(act.rows("movements", lot=id_)) if row["kind"] == "purchase"]
        said = max((row["entered_at"] for row in made.movements), default="")
        if names and not any(row["entered_at"] > said for row in others):
            act.change("lot", id_, **dict.fromkeys(names))
    touched = dict.fromkeys((*(row["lot"] for row in made.movements), *made.recalled))
    now = {lot.id: lot for lot in lots(act)}
    return [
        f"{now[id_].product}, lot {now[id_].number}: {stock.counted(now[id_].left, now[id_].unit)} left"
        f"{', in use again' if id_ in made.recalled else ''}."
        for id_ in touched
    ]


def _refuse_counted_since(act: Act, lot: Lot, row: Row) -> None:
    entered = row["entered_at"], row["id"]
    for one in standing(act.rows("movements", lot=lot.id)):
        if one["kind"] == "count" and (one["entered_at"], one["id"]) > entered:
            zone = stock_zone(act)
            raise Refused(
                f"Lot {lot.number} of {lot.product} was counted {local_text(instant(one['happened_at']), zone)}, after "
                "that entry: what was found then is what is there. If it is another amount now, count it again: "
                "quarantine stock count."
            )


def _refuse_gone(lot: Lot, amount: Decimal) -> None:
    """What came in and has gone out again, for a dose or otherwise, did come in."""
    gone = amount - max(lot.left, Decimal(0))
    if amount > 0 and gone > 0:
        raise Refused(
            f"{stock.counted(amount, lot.unit)} came in by that entry, and {stock.counted(gone, lot.unit)} of it "
            f"{stock.are(gone, lot.unit)} gone from lot {lot.number} of {lot.product} since (see: quarantine stock "
            "show). Take that back first, or set the books to what is there: quarantine stock count."
        )
