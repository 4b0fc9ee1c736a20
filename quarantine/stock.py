"""A keeper's own products: what is left of each lot, which may be used, and from which a dose is drawn. Pure.

A product is counted in one unit: grams of a powder, millilitres of a solution, tablets. What came in and what went out
are movements; what is left is their sum and nothing else, so that the books balance by themselves (F75, F78). A count
writes down the difference between what was found and what the books had.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from typing import NamedTuple

from quarantine.failures import Unknown
from quarantine.quantity import show

UNITS = {"powder": "g", "solution": "mL", "tablet": "tablets"}
"""In which unit a product of each form is counted."""

CONDITIONER = "sodium-thiosulfate"
"""What frees new water of chlorine: kept in stock as a medicine is, and in no formulary."""

FINEST = Decimal("0.001")
"""The books count in thousandths of a unit what is not weighed by itself: the product in a day's food."""

IN, OUT = ("purchase",), ("dose", "use", "disposal")
"""Kinds of movement by their sign; a count and what was taken back may have either."""


class Lot(NamedTuple):
    """One bottle or bag as it stands; ``left`` is in the product's ``unit``, ``good_until`` the last good day."""

    id: str
    product: str
    substance: str
    strength: str
    each: str | None
    unit: str
    step: Decimal | None
    number: str
    good_until: date | None
    opened_on: date | None
    recalled: bool
    left: Decimal


class Draw(NamedTuple):
    """So much out of one lot."""

    lot: Lot
    amount: Decimal


def left(amounts: Iterable[Decimal]) -> Decimal:
    """What is left after all movements of a lot, exactly."""
    return sum(amounts, Decimal(0))


def counted(amount: Decimal, unit: str) -> str:
    """An amount with its unit as people say it: 5 g, 1 tablet, 0.5 tablet, 2 tablets."""
    return f"{show(amount)} {'tablet' if is_one(amount, unit) else unit}"


def is_one(amount: Decimal, unit: str) -> bool:
    """Whether people speak of an amount as of one thing: a tablet, or half of one."""
    return unit == "tablets" and 0 < amount <= 1


def are(amount: Decimal, unit: str) -> str:
    """The verb behind an amount: 5 g are, 1 tablet is."""
    return "is" if is_one(amount, unit) else "are"


def in_portion(amount: Decimal) -> Decimal:
    """What the books count of a product that is in a portion of food: to a thousandth, and never as nothing, because
    a lot that is called back lists every dose that was drawn from it (F84)."""
    return max(amount.quantize(FINEST), FINEST) if amount > 0 else Decimal(0)


def barred(lot: Lot, on: date) -> str:
    """Why nothing is given out of a lot on a day; empty where it may be. It is good on its last day still."""
    if lot.recalled:
        return "recalled"
    if lot.good_until is not None and lot.good_until < on:
        return f"expired {lot.good_until}"
    return "" if lot.left > 0 else "empty"


def draws(
    lots: Iterable[Lot], amount: Decimal, on: date, *, even_barred: bool = False
) -> tuple[tuple[Draw, ...], Decimal]:
    """From which lots of one product an amount is taken, what is opened or runs out first before the rest; and what is
    lacking. Nothing is taken of a lot that is barred that day, unless ``even_barred``: it really was (rule C7)."""
    wanted, taken = amount, []
    for lot in in_turn(one for one in lots if one.left > 0 and (even_barred or not barred(one, on))):
        if wanted <= 0:
            break
        part = min(wanted, lot.left)
        taken.append(Draw(lot, part))
        wanted -= part
    return tuple(taken), max(wanted, Decimal(0))


def in_turn(lots: Iterable[Lot]) -> list[Lot]:
    """Lots in the order in which they are used up."""
    return sorted(lots, key=lambda one: (one.good_until or date.max, one.opened_on is None, one.number))


class Choice(NamedTuple):
    """Out of what a dose is measured: the lots of one product in the order they are drawn from.

    ``barred`` says why nothing of it may be given ("": it may); ``several`` names the products of which one has to be
    said first, and then there are no ``lots``.
    """

    lots: tuple[Lot, ...]
    barred: str = ""
    several: tuple[str, ...] = ()


def choose(lots: Iterable[Lot], on: date, product: str | None = None, number: str | None = None) -> Choice | None:
    """The product of a substance that a dose is measured out of: the one that is named, or the only one of which there
    is something to give. ``lots`` are all of that substance; None where there is none of them.

    Raises Unknown for a product or a lot that is not among them.
    """
    mine = list(lots)
    if product is not None:
        mine = _of_name(mine, product)
    if number is not None:
        mine = _of_number(mine, number)
    if not mine:
        return None
    good = [lot for lot in mine if not barred(lot, on)]
    names = tuple(dict.fromkeys(lot.product for lot in in_turn(good or mine)))
    why = "" if good else "; ".join(f"{lot.product}, lot {lot.number}: {barred(lot, on)}" for lot in in_turn(mine))
    if len(names) > 1:
        return Choice((), why, tuple(sorted(names, key=str.casefold)))
    return Choice(tuple(in_turn(good or mine)), why)


def _of_name(lots: list[Lot], product: str) -> list[Lot]:
    found = [lot for lot in lots if lot.product.casefold() == product.strip().casefold()]
    if not found:
        raise Unknown("product of that substance in stock", product, sorted({lot.product for lot in lots}))
    return found


def _of_number(lots: list[Lot], number: str) -> list[Lot]:
    found = [lot for lot in lots if lot.number.casefold() == number.strip().casefold()]
    if not found:
        raise Unknown("lot of that substance in stock", number, sorted({lot.number for lot in lots}))
    return found
