"""What the fish of a batch weigh and eat in a day: what a dose in food is sized by (needs F26)."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any, NamedTuple

from quarantine.actions.cards import measured
from quarantine.actions.desk import Desk, find_batch, local_text, when
from quarantine.actions.entering import add_fact, id_after
from quarantine.actions.noting import Noted
from quarantine.dosing.lengths import FEWEST, LEAST_POWER, MOST_POWER, Relation, read_relation, weight_of
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


class Lengths(NamedTuple):
    """Lengths that were measured instead of weights, as typed: "3.1 cm, 3.4 cm", the relation that makes weights of
    them, where it stands (publisher, title, number, year), and how far a single fish lies from it, where that is said
    ("15 %")."""

    lengths: str
    relation: str
    source: str
    within: str | None = None


class _Found(NamedTuple):
    """Grams of all fish alive, their plus-minus, how they were found, and what the fact keeps beside that."""

    grams: Decimal
    plus_minus_grams: Decimal
    by: str
    more: dict[str, Any]


def weigh(
    desk: Desk,
    batch_name: str,
    weight: str | None,
    *,
    by: str | None = None,
    lengths: Lengths | None = None,
    each: bool = False,
    eats: str | None = None,
    at: str | None = None,
    really: bool = False,
) -> Noted:
    """Grams of all living fish of a batch, or of each of them, with how it was found and what they eat in a day.

    Instead of ``weight`` and ``by`` the weight may be found from ``lengths``. ``eats`` is a percentage of their weight
    ("1 %") or grams of food a day for all of them ("0.4 g"). Raises Usage where both or neither is said, Refused for a
    weight of nothing, a batch that is not there, and a weight, a relation or food that is hard to believe unless
    ``really``.
    """
    if (weight is None) == (lengths is None):
        raise Usage('Say what they weigh ("36 g"), or their lengths with --lengths, --relation and --source.')
    basis = " ".join((by or "").split())
    if lengths is None and not basis:
        raise Usage("How was the weight found? " + ("Say it with --by." if by is None else "--by is empty."))
    if lengths is not None and each:
        raise Usage("--each is of a weight; lengths are of single fish already.")
    food = _eats(eats) if eats is not None else None
    with desk.act() as act:
        batch = find_batch(act, batch_name)
        moment = when(at, batch["zone"], act.now)
        if batch["state"] != "open" or moment < instant(batch["arrived_at"]):
            raise Refused(f"Batch {batch['name']} is not in quarantine at that time; nothing was recorded.")
        alive = _alive(act, batch, moment)
        if alive < 1:
            raise Refused(f"No fish of batch {batch['name']} is alive on record; nothing was recorded.")
        if lengths is not None:
            found = _by_lengths(lengths, basis, alive, really=really)
        else:
            found = _by_scale(str(weight), basis, alive if each else 1)
        grams = found.grams
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
            "plus_minus_grams": found.plus_minus_grams,
            "count": alive,
            "food_grams": eaten,
            "by": found.by,
            **found.more,
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
        error = show(found.plus_minus_grams, 4)
        says = f"{alive} fish of {batch['name']} weigh {show(grams, 4)} g, plus or minus {error} g ({found.by})"
        fed = f"They eat {show(eaten, 4)} g of food a day." if eaten is not None else "What they eat a day: not said."
        act.describe("weighed", says, moment)
        return Noted([f"{local_text(moment, batch['zone'])}: {says}.", fed], {"batch": batch["name"], **data})


def _by_scale(weight: str, basis: str, fish: int) -> _Found:
    """A weight as typed, of all of them or of each of so many."""
    whole, half = measured(weight, "mass", "weight")
    return _Found(to(whole, "g") * fish, to(half, "g", difference=True) * fish, basis, {})


def _by_lengths(said: Lengths, basis: str, alive: int, *, really: bool) -> _Found:
    """A weight from lengths and a relation, whose figures and source the keeper says: none stands in this program."""
    source = " ".join(said.source.split())
    if not re.search(r"[^\W\d_]{3}", source):
        raise Usage("--source is where a and b stand: publisher, title, number, year.")
    relation, taken = read_relation(said.relation), _lengths(said.lengths)
    within = _within(said.within)
    if not re.search(r"\b(1[89]|20)\d\d\b|year not stated", source):
        raise Usage('--source needs the year of the source, or the words "year not stated".')
    if len(taken) > alive:
        raise Refused(
            f"{len(taken)} lengths, and {alive} fish are alive on record; say who died or came first. Nothing was "
            "recorded."
        )
    if len(taken) < min(FEWEST, alive):
        raise Refused(
            f"Measure at least {min(FEWEST, alive)} fish of {alive}: fewer say nothing of how far the others are from "
            "them."
        )
    if not really:
        _ask_relation(relation, taken)
    found = weight_of(relation, taken, alive, within)
    scatter = "not said by its source" if within is None else f"{show(within)} %"
    by = (
        f"{len(taken)} lengths of {show_significant(min(one for one, _ in taken), 3)} to "
        f"{show_significant(max(one for one, _ in taken), 3)} cm, {relation.words()}, {source}; how far single fish "
        f"are from it: {scatter}{f'; {basis}' if basis else ''}"
    )
    more: dict[str, Any] = {
        "lengths_cm": [Decimal(show(one)) for one, _ in taken],
        "relation": relation.words(),
        "source": source,
    }
    return _Found(
        found.grams, found.plus_minus_grams, by, more | ({} if within is None else {"within_percent": within})
    )


def _lengths(text: str) -> list[tuple[Decimal, Decimal]]:
    """ "3.1 cm, 3.4 cm": centimetres of each fish with half a step of its last digit."""
    found = []
    for part in filter(None, (one.strip() for one in re.split(r"[,;]", text))):
        whole, half = measured(part, "length", "length")
        found.append((to(whole, "cm"), to(half, "cm", difference=True)))
    if not found:
        raise Usage('--lengths is the length of each fish that was measured, with its unit: "3.1 cm, 3.4 cm".')
    return found


def _within(text: str | None) -> Decimal | None:
    if text is None:
        return None
    found = re.fullmatch(r"\s*([0-9]+(?:\.[0-9]+)?)\s*%\s*", text)
    if found is None or not 0 < Decimal(found[1]) < 100:
        raise Usage(f'--within {text!r} does not read: how far single fish lie from the relation, such as "15 %".')
    return Decimal(found[1])


def _ask_relation(relation: Relation, lengths: Sequence[tuple[Decimal, Decimal]]) -> None:
    """A relation that makes a fish of these lengths far too slim or stout is a slip of a unit or of a decimal point."""
    if not LEAST_POWER <= relation.b <= MOST_POWER:
        raise Refused(
            f"b is {show(relation.b)}; of most fish it is {show(LEAST_POWER)} to {show(MOST_POWER)} (from memory). If "
            "the source says so, say --really; nothing was recorded."
        )
    for length, _ in lengths:
        build = 100 * relation.grams(length) / length**3
        if not SLIMMEST <= build <= STOUTEST:
            raise Refused(
                f"{show_significant(relation.grams(length), 3)} g is {'little' if build < SLIMMEST else 'much'} for a "
                f"fish of {show_significant(length, 3)} cm: are the units of {relation.words()} those of its source? "
                "If it is so, say --really; nothing was recorded."
            )


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
