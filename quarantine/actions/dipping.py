"""A dip as it is told: the vessel, when the first fish went in and when the last came out (rules C6 and C15)."""

from __future__ import annotations

import json
import re
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, NamedTuple

from quarantine.actions.cards import read_vessel
from quarantine.actions.desk import local_text, when
from quarantine.failures import Refused, Usage
from quarantine.formulary import Regimen, regimen
from quarantine.quantity import Quantity, read, show, to
from quarantine.records.codec import text_of_instant
from quarantine.records.reads import Row
from quarantine.water.ledger import Water

PARTLY = Decimal("0.9")
"""Contact under this share of the shortest that is published was only partly given (rule C5)."""


class Told(NamedTuple):
    """What a keeper typed of a dip; None for what was left out."""

    vessel: str | None = None
    started: str | None = None
    ended: str | None = None


NO_DIP = Told()


class Dip(NamedTuple):
    """A dip that is over: its vessel, start and end, and what the record keeps of it."""

    vessel: Water
    started: datetime
    ended: datetime
    data: dict[str, Any]
    rescue: str


def dip_of(task: Row, told: Told, at: str | None, now: datetime) -> Dip | None:
    """The dip that a task's keeper tells of; None for a task that is none.

    Raises Refused and Usage for a dip without its vessel, start or end, and for one that ends before it begins.
    """
    treatment = json.loads(task["detail"])["treatment"] if task["kind"] == "dose" else None
    row = regimen(treatment["regimen"])[1] if treatment else None
    if treatment is None or row is None or not row.own_vessel:
        if any(told):
            raise Refused(f"{task['code']} ({task['title']}) is no dip; leave --vessel, --started and --ended out.")
        return None
    if at is not None:
        raise Usage("A dip has two times: --started and --ended, and no --at.")
    if None in told:
        raise Refused(
            f"{task['code']} is a dip: say its vessel, when the first fish went in and when the last came out: "
            '--vessel "10 L" --started 09:00:00 --ended 09:02:30.'
        )
    vessel = read_vessel(told.vessel or "")
    started = _to_the_second(told.started or "", task["zone"], now, "--started")
    ended = _to_the_second(told.ended or "", task["zone"], now, "--ended")
    if ended <= started:
        raise Refused(
            f"A dip cannot be over before it began: --started {told.started!r}, --ended {told.ended!r}. "
            "Write the seconds too: 09:00:00."
        )
    return _timed(vessel, started, ended, row, treatment.get("longest", ""))


def _timed(vessel: Water, started: datetime, ended: datetime, row: Regimen, longest: str) -> Dip:
    elapsed = Decimal(int((ended - started).total_seconds()))
    least, most = (figure and to(Quantity(figure.value, figure.unit), "s") for figure in _span(row))
    if longest:
        most = min(to(read(longest, "duration", "longest"), "s"), most or Decimal("Infinity"))
    contact, rescue = "as published", ""
    if most is not None and elapsed > most:
        contact = "overrun"
        rescue = (
            f"The dip took {show(elapsed)} s, over its limit of {show(most)} s. Now: every fish in clean water of the "
            "tank, strong aeration, watch them; call a veterinarian."
        )
    elif least is not None and elapsed < PARTLY * least:
        contact = "partly"
    data = {
        "started_at": text_of_instant(started),
        "ended_at": text_of_instant(ended),
        "elapsed_seconds": elapsed,
        "contact": contact,
    }
    return Dip(vessel, started, ended, data, rescue)


def _span(row: Regimen) -> tuple[Any, Any]:
    return (row.contact.low, row.contact.high) if row.contact else (None, None)


def _to_the_second(text: str, zone: str, now: datetime, what: str) -> datetime:
    """A typed time; HH:MM:SS keeps its seconds."""
    found = re.fullmatch(r"(.*\d{1,2}:\d{2}):([0-5]\d)", text.strip())
    if found is None:
        return when(text, zone, now, what=what)
    at = when(found[1], zone, now, what=what) + timedelta(seconds=int(found[2]))
    if at > now:
        raise Refused(f"{what} {text!r} lies in the future (it is {local_text(now, zone)} at the site).")
    return at
