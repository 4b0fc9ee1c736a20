"""A row of the notes on the sources, as a test writes it down, and a regimen of the formulary in the same form."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal
from typing import NamedTuple

from quarantine import formulary
from quarantine.dosing import Proposal, Setting, propose
from quarantine.formulary import Ceiling, Figure, Regimen
from quarantine.water.ledger import Water
from quarantine.water.level import Level

Amount = tuple[str, str]


class Row(NamedTuple):
    """One row: amounts as (number, unit); None where the source says nothing."""

    source: str
    keys: tuple[str, ...]
    tier: str
    status: str
    route: str
    low: Amount | None = None
    high: Amount | None = None
    default: Amount | None = None
    shortest: Amount | None = None
    longest: Amount | None = None
    times: int | None = None
    every: Amount | None = None
    latest: Amount | None = None
    gap: Amount | None = None


def mg(number: str) -> Amount:
    return number, "mg/L"


def minutes(number: str) -> Amount:
    return number, "min"


def h(number: str) -> Amount:
    return number, "h"


def d(number: str) -> Amount:
    return number, "d"


def plain(figure: Figure | None) -> Amount | None:
    return None if figure is None else (f"{figure.value:f}", figure.unit)


def row_of(regimen: Regimen, source: str) -> Row:
    """A regimen of the formulary as a row; ``source`` is only carried over, the entry cites by key."""
    target, contact, every = regimen.target, regimen.contact, regimen.repeats.every
    return Row(
        source=source,
        keys=regimen.references,
        tier=regimen.tier,
        status=regimen.status,
        route=regimen.route,
        low=plain(target and target.low),
        high=plain(target and target.high),
        default=plain(target and target.default),
        shortest=plain(contact and contact.low),
        longest=plain(contact and contact.high),
        times=regimen.repeats.times,
        every=plain(every.low),
        latest=plain(every.high),
        gap=plain(regimen.minimum_gap),
    )


def guard_of(ceiling: Ceiling) -> tuple[Amount | None, Amount | None, tuple[str, ...]]:
    return plain(ceiling.figure), plain(ceiling.up_to), ceiling.rows


def stated(where: str, words: str) -> Figure:
    """The one number of a substance or a row that is named by these words."""
    if where in formulary.names():
        entry = formulary.load(where)
        rows = (*entry.figures, *entry.loss_figures)
    else:
        rows = formulary.regimen(where)[1].figures
    (found,) = (row.figure for row in rows if words in row.what)
    return found


def ids(letters: str) -> set[str]:
    """Every regimen on file whose row begins with one of the letters."""
    return {r.id for s in formulary.load_all() for r in s.regimens if r.id[0] in letters}


def asked(
    row: str,
    *,
    litres: Decimal = Decimal(200),
    kind: str = "fresh",
    step_grams: str = "0.01",
    present: dict[str, float] | None = None,
    as_ready: bool = False,
) -> Proposal:
    """A dose of a row for a water of known litres. ``present`` are levels in mg/L of what is there already.
    ``as_ready`` asks for the arithmetic alone of a row that is held by its tier."""
    substance, regimen = formulary.regimen(row)
    setting = Setting(
        kind=kind,
        zone="UTC",
        now=datetime(2026, 3, 1, tzinfo=UTC),
        volume=Water(float(litres), 0.0),
        volume_says="measured",
        levels={name: Level(0.0, level) for name, level in (present or {}).items()},
        doses=(),
        evidence=None,
        scale_step_grams=Decimal(step_grams),
    )
    return propose(substance, regimen._replace(tier="ready", needs=()) if as_ready else regimen, setting)
