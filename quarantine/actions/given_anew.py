"""The amount of a dose corrected: what follows from it, asked about once where it looks like a slip, and answered with
the rescue where it is too much (rule C7)."""

from __future__ import annotations

import json
from datetime import datetime
from decimal import Decimal
from typing import Any

from quarantine import dosing
from quarantine.actions.desk import Desk
from quarantine.actions.work import REASONED_SHARE, SLIP_SHARE
from quarantine.dosing import Hold
from quarantine.dosing.rescuing import rescue_beside
from quarantine.facts import in_order
from quarantine.failures import Refused
from quarantine.formulary import Substance, regimen
from quarantine.quantity import Quantity, read, show, show_significant, to
from quarantine.records.codec import text_of_instant
from quarantine.records.loading import fact_of, system_water
from quarantine.records.reads import Row
from quarantine.records.store import Act
from quarantine.water.ledger import level_of, never_dosed, substances_in

TENFOLD = Decimal(10)
"""Where no amount was shown, only so much more or less than what is on record is asked about: our choice, no source."""

WITNESSED = ("witness", "witness_typed", "witness_unit")

OVERRUN = "The dip took "
"""How the rescue of a dip that took too long begins (quarantine.actions.dipping): it stays, whatever was given."""


def gave(act: Act, desk: Desk, fact: Row, text: str) -> tuple[dict[str, Any], str]:
    """The amount really given. What was planned and prepared stays; what it gives follows from the same volume. What a
    witness read was of the amount that was on record: of another one nobody is a witness."""
    was = json.loads(fact["data"])
    was_given = Quantity(Decimal(was["given"]), was["given_unit"])
    given = read(text, was_given.kind, "gave")
    if given.value <= 0:
        raise Refused("gave= is the amount that was given, more than nothing; a dose not given is taken back.")
    if was_given.value <= 0:
        raise Refused("That dose has no amount on record; take it back and enter it anew.")
    # Multiplied first: what ends as a decimal is then exact.
    more, less = to(given, was_given.unit), was_given.value
    mass = Decimal(show(Decimal(was["mass_mg"]) * more / less))
    new: dict[str, Any] = {"given": given.value, "given_unit": given.unit, "mass_mg": mass}
    for bound in ("gives_low_mg_per_l", "gives_high_mg_per_l"):
        if was.get(bound) is not None:
            up = bound.startswith("gives_high")
            new[bound] = Decimal(show_significant(Decimal(was[bound]) * more / less, 4, up=up))
    says = f"gave {was['given']} {was['given_unit']} -> {show(given.value)} {given.unit}"
    if "witness_typed" in was and more != less:
        seen = Quantity(Decimal(was["witness_typed"]), was["witness_unit"])
        new |= dict.fromkeys(WITNESSED)
        says += f"; its witness read {seen}, so this amount has none"
    return new, says


def answered(act: Act, fact: Row, moment: datetime, was: dict[str, Any], data: dict[str, Any], *, really: bool) -> str:
    """What to do after the corrected amount, as its fact keeps it: empty where it is not too much.

    Raises Refused where it looks like a slip or passes a ceiling, unless it was ``really`` given.
    """
    over = _over(act, fact, moment, data)
    if not really:
        _ask_once(was, data, over)
    held = _hold(data)
    amount = over or dosing.rescue_held(held, Decimal(data["mass_mg"]))
    overrun = (was.get("rescue") or "").partition(OVERRUN)
    return " ".join(filter(None, (amount, overrun[1] + overrun[2])))


def _ask_once(was: dict[str, Any], data: dict[str, Any], over: str) -> None:
    """As :func:`quarantine.actions.work.done` asks about the amount that is typed first."""
    given = Quantity(Decimal(data["given"]), data["given_unit"])
    shown = was.get("prepared") if was.get("hold") is None else None
    if shown is not None and Decimal(shown) > 0:
        measure = Quantity(Decimal(shown), was["prepared_unit"])
        ratio = to(given, measure.unit) / measure.value
        far = abs(ratio - 1) > (SLIP_SHARE if was.get("allowance") is None else REASONED_SHARE)
        than = f"the {measure} that was shown for this dose"
    else:
        measure = Quantity(Decimal(was["given"]), was["given_unit"])
        ratio = to(given, measure.unit) / measure.value
        far = ratio >= TENFOLD or ratio * TENFOLD <= 1
        than = f"the {measure} that is on record for it"
    if far:
        raise Refused(
            f"{given} is {show_significant(ratio, 2)} times {than}. If that was really given, say so with --really; "
            "nothing was recorded."
        )
    if over:
        raise Refused(f"{over} If {given} was really given, say so with --really; nothing was recorded.")


def _hold(data: dict[str, Any]) -> Hold | None:
    """What had stood against a dose, as its fact keeps it."""
    kept = data.get("hold")
    return None if kept is None else Hold(*(kept.get(name) for name in Hold._fields))


def _over(act: Act, fact: Row, moment: datetime, data: dict[str, Any]) -> str:
    """What to do where a dose, with what was in the water before it, may pass its ceiling."""
    substance, row = regimen(data["regimen"])
    litres, plus_minus = Decimal(data["volume_litres"]), Decimal(data["volume_plus_minus_litres"])
    if data["route"] not in ("bath", "prolonged"):
        return rescue_beside(row, litres - plus_minus, _least_fish(act, data, moment), Decimal(data["mass_mg"]))
    # An earlier correction of this program left out what was not known.
    if data.get("ceiling_mg_per_l") is None or "gives_high_mg_per_l" not in data or "salt" in substance.classes:
        return ""
    high, there = data["gives_high_mg_per_l"], _there(act, fact, moment, substance)
    upper = None if high is None or there is None else Decimal(high) + there
    ceiling = Decimal(data["ceiling_mg_per_l"])
    if upper is not None and upper <= ceiling:
        return ""
    return dosing.rescue(litres, upper, ceiling, substance.name, plus_minus, substance.ledger_unit)


def _there(act: Act, fact: Row, moment: datetime, substance: Substance) -> Decimal | None:
    """The upper bound of what was in the water without this dose, in the ledger's unit; None where it is not known."""
    water, _ = system_water(act, fact["system"], moment)
    if water is None:
        return None
    rows = act.rows("facts_since", system=fact["system"], since=text_of_instant(moment))
    facts = in_order([one for row in rows if row["id"] != fact["id"] and (one := fact_of(row)).at <= moment])
    if substance.id in substances_in(facts):
        high = level_of(facts, substance.id, water, substance.loss, moment).high
    else:
        high = never_dosed(facts, water, moment).high
    return None if high is None else Decimal(str(high))


def _least_fish(act: Act, data: dict[str, Any], moment: datetime) -> Decimal | None:
    """The least that the fish of a dose in food weigh, in g: the share that their last weight may be off."""
    if data.get("fish_grams") is None:
        return None
    grams = Decimal(data["fish_grams"])
    until = text_of_instant(moment)
    weighed = [row for row in act.rows("facts_of_kind", kind="weighed", system=None) if row["happened_at"] <= until]
    shares = [
        Decimal(said["plus_minus_grams"]) / Decimal(said["grams"])
        for said in (json.loads(row["data"]) for row in weighed[-1:])
        if Decimal(said["grams"]) > 0
    ]
    return grams * (1 - sum(shares, Decimal(0)))
