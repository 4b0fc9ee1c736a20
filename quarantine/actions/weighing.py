"""What the fish of a batch weigh and eat in a day: what a dose in food is sized by (needs F26)."""

from __future__ import annotations

import json
import re
from datetime import datetime
from decimal import Decimal

from quarantine.actions.cards import measured
from quarantine.actions.desk import Desk, find_batch, local_text, when
from quarantine.actions.noting import Noted
from quarantine.actions.planning import add_fact, id_after
from quarantine.evidence import gather
from quarantine.facts import Fact, in_order
from quarantine.failures import Refused, Usage
from quarantine.quantity import Quantity, read, show, show_significant, to
from quarantine.records.codec import instant
from quarantine.records.loading import fact_of
from quarantine.records.reads import Row
from quarantine.records.store import Act

FAR_TIMES = Decimal(5)
"""Two weights of one fish this far apart are asked about once: our choice, no source."""
SLIMMEST, STOUTEST = Decimal("0.25"), Decimal(5)
"""Fulton's condition factor, 100 x grams / cm3 of the length, is about 1 to 2 in most fish (from memory); outside this
range a first weight is asked about once. The range is our choice, no source."""

EATS_AT_MOST = 5
"""Percent of the body weight a day above which a typed amount of food is asked about once; our choice, no source."""


def weigh(
    desk: Desk,
    batch_name: str,
    weight: str,
    *,
    by: str,
    each: bool = False,
    eats: str | None = None,
    at: str | None = None,
    really: bool = False,
) -> Noted:
    """Grams of all living fish of a batch, or of each of them, with how it was found and what they eat in a day.

    ``eats`` is a percentage of their weight ("1 %") or grams of food a day for all of them ("0.4 g"). Raises Refused
    for a weight of nothing, a batch that is not there, and food that is hard to believe unless ``really``.
    """
    basis = " ".join(by.split())
    if not basis:
        raise Usage("How was the weight found? --by is empty.")
    whole, half = measured(weight, "mass", "weight")
    grams, error = to(whole, "g"), to(half, "g", difference=True)
    food = _eats(eats) if eats is not None else None
    with desk.act() as act:
        batch = find_batch(act, batch_name)
        moment = when(at, batch["zone"], act.now)
        if batch["state"] != "open" or moment < instant(batch["arrived_at"]):
            raise Refused(f"Batch {batch['name']} is not in quarantine at that time; nothing was recorded.")
        alive = _alive(act, batch, moment)
        if alive < 1:
            raise Refused(f"No fish of batch {batch['name']} is alive on record; nothing was recorded.")
        if each:
            grams, error = grams * alive, error * alive
        if not really:
            _ask_far(act, batch, moment, grams / alive)
        eaten = None if food is None else food.value if food.unit == "g" else grams * food.value / 100
        if eaten is not None and eaten > grams * EATS_AT_MOST / 100 and not really:
            raise Refused(
                f"{show_significant(eaten / grams * 100, 2)} % of their weight a day is much food, and a dose in food "
                "is sized by it. If they really eat that, say --really."
            )
        data = {
            "grams": grams,
            "plus_minus_grams": error,
            "count": alive,
            "food_grams": eaten,
            "by": basis,
        }
        add_fact(
            act,
            "weighed",
            system=batch["system"],
            tank=batch["tank"],
            batch=batch["id"],
            at=moment,
            data=data,
            id_=id_after(act, batch["system"], moment),
        )
        says = f"{alive} fish of {batch['name']} weigh {show(grams, 4)} g, plus or minus {show(error, 4)} g ({basis})"
        fed = f"They eat {show(eaten, 4)} g of food a day." if eaten is not None else "What they eat a day: not said."
        act.describe("weighed", says, moment)
        return Noted([f"{local_text(moment, batch['zone'])}: {says}.", fed], {"batch": batch["name"], **data})


def _ask_far(act: Act, batch: Row, moment: datetime, grams_each: Decimal) -> None:
    """A fish that weighs so many times what it weighed before is a slip of the unit or the decimal point (F22)."""
    found = [fact_of(row) for row in act.rows("facts_since", system=batch["system"], since=batch["arrived_at"])]
    before = [f for f in in_order(found) if f.kind == "weighed" and f.batch == batch["id"] and f.at <= moment]
    if not before:
        _ask_build(batch, grams_each)
        return
    was = Decimal(before[-1].data["grams"]) / int(before[-1].data["count"])
    if max(was, grams_each) / min(was, grams_each) >= FAR_TIMES:
        raise Refused(
            f"{show_significant(grams_each, 3)} g a fish, and {show_significant(was, 3)} g a fish on "
            f"{local_text(before[-1].at, batch['zone'])}: {show(FAR_TIMES)} times apart or more. A slip of the unit or "
            "the decimal point? If it is so, say --really; nothing was recorded."
        )


def _ask_build(batch: Row, grams_each: Decimal) -> None:
    """The first weight has none before it: it is held against the length that was said when the fish came (F22)."""
    kinds = [(fish["count"], _centimetres(fish["note"])) for fish in json.loads(batch["fish"])]
    if any(length is None for _, length in kinds):
        return
    cubes = sum(count * length**3 for count, length in kinds if length) / sum(count for count, _ in kinds)
    build = 100 * grams_each / cubes
    if not SLIMMEST <= build <= STOUTEST:
        said = ", ".join(fish["note"] for fish in json.loads(batch["fish"]))
        raise Refused(
            f"{show_significant(grams_each, 3)} g a fish is {'little' if build < SLIMMEST else 'much'} for the length "
            f"on record ({said}). A slip of the unit or the decimal point? If it is so, say --really; nothing was "
            "recorded."
        )


def _centimetres(note: str) -> Decimal | None:
    """The length in "3 cm" or "about 4 cm, thin"; None where there is none."""
    found = re.search(r"(\d+(?:\.\d+)?)\s*(mm|cm|in|inch|inches)\b", note)
    if found is None:
        return None
    length = to(read(f"{found[1]} {found[2]}", "length", "length"), "cm")
    return length if length > 0 else None


def _eats(text: str) -> Quantity:
    found = re.fullmatch(r"\s*([0-9]+(?:\.[0-9]+)?)\s*%\s*", text)
    made = Quantity(Decimal(found[1]), "%") if found else Quantity(to(read(text, "mass", "--eats"), "g"), "g")
    if made.value <= 0:
        raise Refused('--eats is what they eat in a day, more than nothing: "1 %" of their weight, or "0.4 g".')
    return made


def _alive(act: Act, batch: Row, moment: datetime) -> int:
    found = [fact_of(row) for row in act.rows("facts_since", system=batch["system"], since=batch["arrived_at"])]
    facts: list[Fact] = in_order([f for f in found if f.at <= moment])
    arrival = next(f for f in facts if f.kind == "arrival" and f.batch == batch["id"])
    return gather(facts, batch["id"], batch["zone"], arrival, moment, []).alive
