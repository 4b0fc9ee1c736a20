"""How long a level that is held by readings may be held: the longest contact of its row, from the first dose of the
stay (rules A12 and B8). A row whose doses each have a contact of their own has no such time."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import NamedTuple

from quarantine.facts import DOSES, Fact, local_day
from quarantine.formulary import Figure, Regimen, is_prolonged
from quarantine.quantity import Quantity, show, to

TOP_UP = "top up to a reading"
"""The mode of rule C1 in which all doses are one contact."""


class Held(NamedTuple):
    """The first dose of a stay, and the instant (UTC) from which on no further one is given."""

    row: str
    most: Figure
    first: datetime
    until: datetime
    begun: bool
    """whether a first dose was given"""

    def last_day(self, zone: str) -> date:
        """The last day at the site on which a dose may be given."""
        return local_day(self.until, zone)

    def words(self, zone: str) -> str:
        """ "last day 2026-03-06: C04 is held for up to 3 weeks, from the first dose of the stay on 2026-02-13" """
        first = f"the first dose of the stay on {local_day(self.first, zone)}" if self.begun else "this first dose"
        most = f"{show(self.most.value)} {self.most.unit}"
        return f"last day {self.last_day(zone)}: {self.row} is held for up to {most}, from {first}"


def held_at_most(row: Regimen) -> Figure | None:
    """The longest time for which the source holds the level of a row by readings; None where it says none, where the
    row is a timed bath, or where its doses are not sized by a reading."""
    most = row.contact.high if row.contact else None
    return most if most is not None and TOP_UP in row.modes and is_prolonged(row) else None


def held(
    row: Regimen, substance: str, doses: Iterable[Fact], arrived_on: date, zone: str, now: datetime
) -> Held | None:
    """How long a level may be held, by the doses on record since a stay began (``arrived_on``, a day at the site);
    before the first one as if it were given ``now``. None where the row has no longest time."""
    most = held_at_most(row)
    if most is None:
        return None
    given = [
        fact.at
        for fact in doses
        if fact.kind in DOSES
        and fact.data.get("substance") == substance
        and fact.data.get("route") in ("bath", "prolonged")
        and arrived_on <= local_day(fact.at, zone)
        and fact.at <= now
    ]
    first = min(given, default=now)
    hours = to(Quantity(most.value, most.unit), "h")
    return Held(row.id, most, first, first + timedelta(hours=float(hours)), bool(given))
