"""The stock as it stands: products and lots read from the record. Reads only; a dose card uses it too."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from quarantine import stock
from quarantine.failures import Refused, Unknown
from quarantine.records.codec import text_of_instant
from quarantine.records.reads import Row, Rows
from quarantine.stock import Lot


def lots(rows: Rows, substance: str | None = None) -> list[Lot]:
    """Every lot with what is left of it, by product and number."""
    wanted = [row for row in rows.rows("lots") if substance in (None, row["substance"])]
    moved: dict[str, list[Decimal]] = {}
    for row in rows.rows("movements", lot=None) if wanted else []:
        moved.setdefault(row["lot"], []).append(Decimal(row["amount"]))
    found = [lot_of(row, moved.get(row["id"], ())) for row in wanted]
    return sorted(found, key=lambda one: (one.product.casefold(), one.number.casefold()))


def lot_of(row: Row, amounts: Iterable[Decimal]) -> Lot:
    """A lot from its row and the amounts of its movements."""
    return Lot(
        id=row["id"],
        product=row["product_name"],
        substance=row["substance"],
        strength=row["strength"],
        each=row["each"],
        unit=row["unit"],
        step=None if row["step"] is None else Decimal(row["step"]),
        number=row["number"],
        good_until=None if row["expires"] is None else last_day(row["expires"]),
        opened_on=None if row["opened_on"] is None else date.fromisoformat(str(row["opened_on"])),
        recalled=row["state"] == "recalled",
        left=stock.left(amounts),
    )


def balances(rows: Rows, lot: Lot, since: datetime) -> dict[str, Decimal]:
    """What the books have of a lot at an instant and after every later one at which it moved, in order of time."""
    begin = text_of_instant(since)
    found, there = {begin: Decimal(0)}, Decimal(0)
    for row in rows.rows("movements", lot=lot.id):
        there += Decimal(row["amount"])
        found[max(row["happened_at"], begin)] = there
    return found


def last_day(expires: str) -> date:
    """The last good day of an expiry on record: of a month its last."""
    said = expires.strip()
    if len(said) > len("2027-03"):
        return date.fromisoformat(said)
    first = date.fromisoformat(f"{said}-01")
    return (first + timedelta(days=31)).replace(day=1) - timedelta(days=1)


def find_lot(rows: Rows, name: str, number: str | None) -> Lot:
    """A lot by its product's name and its number, which may be left out where there is one that is not empty."""
    mine = [one for one in lots(rows) if one.product.casefold() == name.strip().casefold()]
    if not mine:
        known = sorted({one.product for one in lots(rows)})
        raise Unknown("product", name, known, " (add one: quarantine stock add NAME AMOUNT ...)")
    if number is not None:
        for one in mine:
            if one.number.casefold() == number.strip().casefold():
                return one
        raise Unknown(f"lot of {mine[0].product}", number, [one.number for one in mine])
    left = [one for one in mine if one.left > 0] or mine
    if len(left) > 1:
        raise Refused(
            f"There are {len(left)} lots of {left[0].product}: say --lot {' or --lot '.join(x.number for x in left)}."
        )
    return left[0]


def stock_zone(rows: Rows) -> str:
    """The zone that days of the stock are counted in: that of the first site, for stock stands in no tank."""
    sites = sorted(rows.rows("sites"), key=lambda row: (row["name"].casefold(), row["id"]))
    return str(sites[0]["zone"]) if sites else "UTC"


def lot_document(lot: Lot, today: date) -> dict[str, Any]:
    """A lot for JSON and lines; ``barred`` says why nothing is given out of it."""
    return {
        "product": lot.product,
        "substance": lot.substance,
        "strength": lot.strength,
        "each": lot.each,
        "lot": lot.number,
        "left": lot.left,
        "unit": lot.unit,
        "good_until": lot.good_until,
        "opened_on": lot.opened_on,
        "barred": stock.barred(lot, today),
    }
