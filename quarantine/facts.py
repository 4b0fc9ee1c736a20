"""The words the pure rooms share: a fact, and a condition that is judged on facts.

A fact is something that happened, as the journal holds it. The pure rooms (plan, dosing, clearance)
take facts in any order and sort them by when they happened.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from itertools import pairwise
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo


class Fact(NamedTuple):
    """One thing that happened to a water system, a tank or a batch.

    ``data`` depends on ``kind`` (see DEVELOPERS.md, "Facts"); amounts in it are decimal text.
    ``at`` and ``entered_at`` are aware and in UTC.
    """

    id: str
    kind: str
    at: datetime
    entered_at: datetime
    keeper: str
    system: str
    tank: str | None
    batch: str | None
    task: str | None
    data: dict[str, Any]


def in_order(facts: list[Fact]) -> list[Fact]:
    """Facts by when they happened, then by when they were entered, then by id: one order on every machine."""
    if all(a.at < b.at for a, b in pairwise(facts)):
        return list(facts)  # as they mostly are: ten thousand keys to sort by cost more than the look
    return sorted(facts, key=lambda f: (f.at, f.entered_at, f.id))


def local_day(at: datetime, zone: str) -> date:
    """The calendar date at the site (rule A1)."""
    return at.astimezone(ZoneInfo(zone)).date()


def utc(at: datetime) -> datetime:
    """The same instant in UTC, whole seconds: what the record keeps."""
    return at.astimezone(UTC).replace(microsecond=0)


BEFORE = "dose_before"
"""A dose that fish had in a water they have left: no ledger of the water that they are in sees it."""
DOSES = ("dose", BEFORE)
"""The doses of a batch, wherever it was when they were given."""

AGAIN = 0
"""The number in the key of what a water change called for; the runs of a series count from 1."""


def is_again(fact: Fact) -> bool:
    """Whether it is the outcome of a task that a water change called for (rule C1)."""
    return str(fact.data.get("key", "")).endswith(f":{AGAIN}")


def known_out(change: Fact, at: datetime) -> Decimal:
    """The litres that were on record at an instant as taken out by a change: a correction may have come later, and
    before it was entered none were."""
    if change.entered_at > at:
        return Decimal(0)
    was = next((litres for litres, until in change.data.get("out_was", ()) if datetime.fromisoformat(until) > at), None)
    return Decimal(change.data["out_litres"] if was is None else was)


def flow_was(data: dict[str, Any], until: str) -> dict[str, Any]:
    """What a corrected flow keeps: its rate and its end as they were on record until an instant (text)."""
    return {"flow_was": [*data.get("flow_was", []), [data["litres_per_hour"], data.get("until"), until]]}


def known_flow(flow: Fact, at: datetime) -> Fact | None:
    """A flow through a water with the rate and the end that were on record at an instant; None: it was not entered."""
    if flow.entered_at > at:
        return None
    was = next((one for one in flow.data.get("flow_was", ()) if datetime.fromisoformat(one[2]) > at), None)
    if was is None:
        return flow
    return flow._replace(data={**flow.data, "litres_per_hour": was[0], "until": was[1]})


class Condition(NamedTuple):
    """One typed condition of a protocol: a before-check of a dose, or a criterion of sign-off.

    ``kind`` is one of

    ========== ======================================================= =======================
    kind       met when                                                value
    ========== ======================================================= =======================
    day        the batch is in day ``value`` or later                  whole number
    ate        fish ate on ``value`` looked days (appetite >= 2)       whole number
    no_sign    no sign of severity ``value`` or worse is open          "A", "B" or "C"
    reading    the last reading of ``value`` lies in low..high, and is  parameter
               not older than ``within_hours``
    steady     every reading of ``value`` in ``within_hours`` lies in  parameter
               low..high, of these and the ones before them (at most
               36 h) two at least 6 h apart (rule A10)
    word       the keeper says ``value`` is so, when giving the dose   a sentence
    period     period ``value`` is complete (rule A8)                  period id
    clear_days ``value`` clear days are counted (rule A4)              whole number
    feeding_days the last ``value`` offered days were all feeding days whole number
    days_since_death, days_since_dose                                  whole number
    level      the upper bound of substance ``value`` is at most       substance
               ``share`` of the last target (rule A9)
    counts     the head count balances (rule B6)                       "balanced"
    tasks      every task has an outcome (F45)                         "settled"
    sign       this sign is open (only to branch the plan)             name
    event      this event of the protocol has happened (only to branch) name
    group      fish of this group are in the batch (only to branch)    group id
    ========== ======================================================= =======================

    Limits are decimal text in the parameter's own unit (``unit``): mg/L, degC, pH.
    ``or_word`` is a sentence a keeper may confirm instead ("strong aeration is running").
    """

    kind: str
    value: str | int
    title: str
    low: str | None = None
    high: str | None = None
    unit: str | None = None
    within_hours: int | None = None
    share: str | None = None
    or_word: str | None = None
    reference: str = ""


class PlannedTask(NamedTuple):
    """One thing to do. Instants in UTC; ``day`` is the site's calendar day, None while it waits for ``needs``."""

    key: str
    system: str
    tank: str
    batch: str
    kind: str
    step: str
    title: str
    day: date | None
    due_from: datetime | None
    due_until: datetime | None
    lapses_at: datetime | None
    state: str
    needs: str | None
    reason: str
    outcome: Fact | None
