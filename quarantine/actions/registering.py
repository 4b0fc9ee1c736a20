"""The register of medicines, and where a lot went (needs F78, F84). Reads only.

Which medicines a register is kept of, what it must hold and for how long is said by the law of the country.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date, datetime
from decimal import Decimal
from typing import Any, NamedTuple

from quarantine import stock
from quarantine.actions.desk import local_text
from quarantine.actions.shelf import lot_document, lots, stock_zone
from quarantine.actions.whereabouts import stays_of
from quarantine.facts import local_day
from quarantine.failures import Unknown
from quarantine.quantity import show
from quarantine.records.codec import instant
from quarantine.records.reads import Row, Rows
from quarantine.stock import Lot

LAW = (
    "Which medicines a register is kept of, what it must hold and for how long is said by the law of your country; ask "
    "a veterinarian."
)
AMOUNTS = ("in", "out", "on_hand")
BY_UNIT = {"g": "g", "mL": "ml", "tablets": "tablets"}
"""How the unit of an amount stands in the name of its column."""

COLUMNS = (
    "at", "zone", "what", "product", "substance", "strength", "lot", "good_until",
    *(f"{name}_{unit}" for unit in BY_UNIT.values() for name in AMOUNTS),
    "keeper", "source", "authority", "batch", "tank", "regimen", "reason", "entered_at", "fact",
)  # fmt: skip
WORDS = {
    "purchase": "purchase",
    "dose": "dose",
    "use": "use without a dose",
    "disposal": "disposal",
    "count": "count",
    "taken back": "dose taken back",
}


class Sums(NamedTuple):
    """A lot over the time of the register, in its own unit: opening + came in - went out = on hand, exactly."""

    lot: Lot
    opening: Decimal
    came_in: Decimal
    went_out: Decimal
    on_hand: Decimal


class Register(NamedTuple):
    """Its lines by column, lot by lot and in order of time within each, and the sums of each lot."""

    since: date | None
    lines: tuple[dict[str, Any], ...]
    sums: tuple[Sums, ...]


class _Dose(NamedTuple):
    """What a movement was drawn for."""

    batches: str
    tank: str
    regimen: str
    authority: str | None
    stands: bool


def register(rows: Rows, since: date | None = None) -> Register:
    """Every movement of every lot; with ``since`` from that local day on, over what each lot had before it."""
    zone = stock_zone(rows)
    known = _Known(rows)
    lines: list[dict[str, Any]] = []
    sums = []
    for lot in lots(rows):
        moved = rows.rows("movements", lot=lot.id)
        early = [row for row in moved if since is not None and local_day(instant(row["happened_at"]), zone) < since]
        late = moved[len(early) :]
        opening = on_hand = stock.left(Decimal(row["amount"]) for row in early)
        if since is not None:
            lines.append(
                {**_of_lot(lot, zone), "at": since.isoformat(), "what": "opening", **_amounts(lot, 0, on_hand)}
            )
        for row in late:
            on_hand += Decimal(row["amount"])
            lines.append(_line(row, lot, zone, on_hand, known))
        amounts = [Decimal(row["amount"]) for row in late]
        came_in = stock.left(amount for amount in amounts if amount > 0)
        went_out = -stock.left(amount for amount in amounts if amount < 0)
        sums.append(Sums(lot, opening, came_in, went_out, on_hand))
        lines.append({**_of_lot(lot, zone), "what": "in all", **_in_all(sums[-1])})
    return Register(since, tuple(lines), tuple(sums))


def _of_lot(lot: Lot, zone: str) -> dict[str, Any]:
    return {
        "zone": zone,
        "product": lot.product,
        "substance": lot.substance,
        "strength": lot.strength or (f"{lot.each} each" if lot.each else "not said"),
        "lot": lot.number,
        "good_until": lot.good_until,
    }


def _amounts(lot: Lot, moved: Decimal | int, on_hand: Decimal) -> dict[str, Any]:
    unit = BY_UNIT[lot.unit]
    found = {f"on_hand_{unit}": show(on_hand)}
    if moved:
        found[f"{'in' if moved > 0 else 'out'}_{unit}"] = show(abs(Decimal(moved)))
    return found


def _in_all(sums: Sums) -> dict[str, Any]:
    unit = BY_UNIT[sums.lot.unit]
    return {f"in_{unit}": show(sums.came_in), f"out_{unit}": show(sums.went_out), f"on_hand_{unit}": show(sums.on_hand)}


def _line(row: Row, lot: Lot, zone: str, on_hand: Decimal, known: _Known) -> dict[str, Any]:
    data = json.loads(row["data"])
    dose = known.dose(row["fact"]) if row["fact"] else None
    return {
        **_of_lot(lot, zone),
        "at": local_text(instant(row["happened_at"]), zone),
        "what": f"{of} taken back" if (of := data.get("of_kind")) else WORDS[row["kind"]],
        **_amounts(lot, Decimal(row["amount"]), on_hand),
        "keeper": row["keeper_name"],
        "source": data.get("source"),
        "authority": data.get("authority") or (dose.authority if dose else None),
        "batch": dose.batches if dose else None,
        "tank": dose.tank if dose else None,
        "regimen": dose.regimen if dose else None,
        "reason": data.get("because") or data.get("how"),
        "entered_at": local_text(instant(row["entered_at"]), zone),
        "fact": row["fact"],
    }


class _Known:
    """What facts of doses say, each read once."""

    def __init__(self, rows: Rows) -> None:
        self.rows = rows
        self.tanks = {row["id"]: row for row in rows.rows("tanks")}
        self.batches = rows.rows("batches")
        self.stays = stays_of(rows)
        self.found: dict[str, _Dose] = {}

    def dose(self, fact: str) -> _Dose:
        """What a dose's fact says; also one that was taken back."""
        if fact not in self.found:
            row = self.rows.rows("fact", id=fact)[0]
            data = json.loads(row["data"])
            authority = None
            if data.get("instruction"):
                told = json.loads(self.rows.rows("fact", id=data["instruction"])[0]["data"])
                authority = f"{told['who']}, instruction of {told['on']}"
            tank = self.tanks.get(row["tank"])
            self.found[fact] = _Dose(
                "; ".join(sorted(self._in_water(row))),
                "" if tank is None else str(tank["name"]),
                f"{data['substance']}, {data['regimen']}",
                authority,
                bool(self.rows.rows("fact_stands", id=fact)),
            )
        return self.found[fact]

    def _in_water(self, fact: Row) -> Iterator[str]:
        """The batches that a dose was given to: its own, and all that were in the same water then (rule B2)."""
        at, system = fact["happened_at"], fact["system"]
        for batch in self.batches:
            there = any(s.system == system and s.since <= at <= s.until for s in self.stays.get(batch["id"], ()))
            if batch["id"] == fact["batch"] or there:
                yield str(batch["name"])


# --- One lot -----------------------------------------------------------------------------------------------------


def trace(rows: Rows, number: str, now: datetime) -> list[dict[str, Any]]:
    """Where the lots of a number went, of whatever product: each lot with every dose that still stands, its tank and
    the batches in that water. Raises Unknown for a number that no lot has."""
    there = lots(rows)
    mine = [lot for lot in there if lot.number.casefold() == number.strip().casefold()]
    if not mine:
        raise Unknown("lot", number, sorted({lot.number for lot in there}), " (quarantine stock add)")
    zone, known = stock_zone(rows), _Known(rows)
    return [{**lot_document(lot, local_day(now, zone)), **_traced(rows, lot, zone, known)} for lot in mine]


def _traced(rows: Rows, lot: Lot, zone: str, known: _Known) -> dict[str, Any]:
    doses: list[dict[str, Any]] = []
    for row in rows.rows("movements", lot=lot.id):
        if row["kind"] != "dose" or not known.dose(row["fact"]).stands:
            continue
        dose = known.dose(row["fact"])
        doses.append(
            {
                "at": local_text(instant(row["happened_at"]), zone),
                "batch": dose.batches,
                "tank": dose.tank,
                "dose": dose.regimen,
                "amount": -Decimal(row["amount"]),
                "unit": lot.unit,
                "by": row["keeper_name"],
                "fact": row["fact"],
            }
        )
    batches = sorted({name for dose in doses for name in dose["batch"].split("; ") if name}, key=str.casefold)
    tanks = sorted({dose["tank"] for dose in doses if dose["tank"]}, key=str.casefold)
    return {"doses": doses, "batches": batches, "tanks": tanks}


class Given(NamedTuple):
    """A lot that a batch was given medicine out of: how it is called, and the instant of the first dose, as text."""

    says: str
    first: str


def given_out_of(rows: Rows) -> dict[str, dict[str, Given]]:
    """By the name of each batch, the lots that doses which still stand were drawn from for it, by the lot's id."""
    known, there = _Known(rows), {lot.id: lot for lot in lots(rows)}
    found: dict[str, dict[str, Given]] = {}
    for row in rows.rows("movements", lot=None):
        if row["kind"] != "dose" or not known.dose(row["fact"]).stands:
            continue
        lot = there[row["lot"]]
        for name in filter(None, known.dose(row["fact"]).batches.split("; ")):
            found.setdefault(name, {}).setdefault(
                lot.id, Given(f"lot {lot.number} of {lot.product}", row["happened_at"])
            )
    return found
