"""What planned work takes against what is in stock: when something runs out, what is lacking, when to buy. Pure.

Need by need, in order of days, as it will be given: the lots that may be used that day are drawn on, and what they do
not cover is short. So what is short in all is the sum of what is short of each dose, and the day of the first is the
day it runs out (needs F76, F77, P12).
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta
from decimal import Decimal
from typing import NamedTuple

from quarantine.quantity import ceil_to
from quarantine.stock import Lot, barred, draws

SPILLAGE_SHARE = Decimal("0.1")
"""So much of a need is kept beside it for what is spilled or has to be given again: our choice, no source."""

LEAD_DAYS = 7
"""So long before the first day that lacks it a substance is to be bought: our choice, no source."""


class Need(NamedTuple):
    """What one task takes. ``amount`` is what will be measured out, in ``unit``; None where it is not known, and
    ``why`` says why. ``day`` None: the task has no day."""

    substance: str
    unit: str
    amount: Decimal | None
    day: date | None
    batch: str
    tank: str
    code: str
    what: str
    why: str = ""


class Kept(NamedTuple):
    """What there is of a substance: its lots, all counted in ``unit``, and the smallest step it is measured in.

    ``product`` names the one that the amounts are of; "": none is on record, so they are of the pure substance.
    ``of`` is that in words. ``why`` says of what is on record that it cannot be counted.
    """

    substance: str
    product: str
    of: str
    unit: str
    step: Decimal
    lots: tuple[Lot, ...]
    why: str = ""


class Short(NamedTuple):
    """A need and what is lacking of it, more than nothing; ``on`` is the day it is wanted, today where it is late."""

    need: Need
    lacking: Decimal
    on: date


class Item(NamedTuple):
    """One line of a shopping list. Amounts in the unit of ``kept``.

    ``short`` is what is lacking of ``needed``, ``buy`` of ``needed`` and ``reserve`` together. ``runs_out`` is the day
    of the first need that is not covered, ``buy_by`` so many days of lead before it, or before the last need where
    only the reserve is lacking; both None where nothing is, or where no need has a day.
    """

    kept: Kept
    needed: Decimal
    reserve: Decimal
    usable: Decimal
    short: Decimal
    buy: Decimal
    runs_out: date | None
    buy_by: date | None
    shorts: tuple[Short, ...]
    unknown: tuple[Need, ...]
    wasted: tuple[tuple[Lot, Decimal], ...]
    """lots that expire before the last need, with what will be left in them then"""


def item_of(kept: Kept, needs: Iterable[Need], today: date, lead_days: int = LEAD_DAYS) -> Item:
    """The line of one substance. Needs of days that have passed and are still open are wanted today; those without a
    day come last, when the last dated one is due."""
    wanted = list(needs)
    known = sorted((n for n in wanted if n.amount), key=lambda n: (n.day is None, n.day or today, n.tank, n.code))
    last = max((max(n.day, today) for n in known if n.day is not None), default=today)
    lots, shorts = kept.lots, []
    for need in known:
        on = last if need.day is None else max(need.day, today)
        lots, lacking = _drawn(lots, need.amount or Decimal(0), on)
        if lacking > 0:
            shorts.append(Short(need, lacking, on))
    needed = sum((n.amount or Decimal(0) for n in known), Decimal(0))
    reserve = ceil_to(needed * SPILLAGE_SHARE, kept.step)
    rest, without_reserve = _drawn(lots, reserve, last)
    short = sum((one.lacking for one in shorts), Decimal(0))
    runs_out = shorts[0].on if shorts and shorts[0].need.day is not None else None
    dated = any(n.day is not None for n in known)
    first = runs_out if shorts else last if without_reserve > 0 and dated else None
    return Item(
        kept=kept,
        needed=needed,
        reserve=reserve,
        usable=sum((lot.left for lot in kept.lots if not barred(lot, today)), Decimal(0)),
        short=short,
        buy=short + without_reserve,
        runs_out=runs_out,
        buy_by=None if first is None else first - timedelta(days=lead_days),
        shorts=tuple(shorts),
        unknown=tuple(n for n in wanted if n.amount is None),
        wasted=tuple((lot, lot.left) for lot in rest if not barred(lot, today) and barred(lot, last)),
    )


def _drawn(lots: tuple[Lot, ...], amount: Decimal, on: date) -> tuple[tuple[Lot, ...], Decimal]:
    """The lots after an amount was taken out of them on a day, and what they lacked of it."""
    taken, lacking = draws(lots, amount, on)
    out = {draw.lot.id: draw.amount for draw in taken}
    return tuple(lot._replace(left=lot.left - out.get(lot.id, Decimal(0))) for lot in lots), lacking


def first_product(lots: Iterable[Lot], today: date) -> str:
    """The product that a substance is measured from next, as :func:`quarantine.stock.draws` takes lots: of those that
    have something that may be used, what expires first; else of any that is on record. "" where none is."""
    known = sorted(
        lots,
        key=lambda lot: (bool(barred(lot, today)), lot.good_until or date.max, lot.opened_on is None, lot.product),
    )
    return known[0].product if known else ""
