"""What has to be true before a step of a protocol moves fish, in the water they leave and in the one they come to, and
how a move that was made all the same stands at sign-off (rule C7)."""

from __future__ import annotations

import json
import shlex
from datetime import datetime
from typing import Any, NamedTuple

from quarantine.actions.desk import local_text
from quarantine.actions.planning import conditions_of
from quarantine.actions.systems import load_system, plan_system
from quarantine.evidence import describe, judge, value_at
from quarantine.facts import Condition, Fact
from quarantine.failures import Refused
from quarantine.records.loading import fact_of
from quarantine.records.reads import Row, Rows
from quarantine.records.store import Act

READ_WITHIN_HOURS = 24
"""So old a reading of the water that fish come to may be: the 24 hours of rule C8; our choice, no source."""


class Asked(NamedTuple):
    """What a move asks first: ``words`` that the keeper says are so, ``unmet`` what is not met, or not known."""

    words: tuple[str, ...]
    unmet: tuple[str, ...]
    unread: tuple[str, ...]
    """of ``unmet``: what was not read in the tank they go to, as a reading is typed"""


def asked_before(act: Act, task: Row, batch: Row, there: Row, moment: datetime) -> Asked:
    """The checks that a template has before a move, judged at ``moment`` by the water the fish leave; and what has to
    be known of the water they come to: its temperature, within the same limits, and in salt water its salinity."""
    state = load_system(act, batch["system"], act.now)
    evidence = plan_system(state, moment).standings[batch["id"]].evidence
    conditions = conditions_of(json.loads(task["detail"]))
    judged = [(c, judge(c, evidence)) for c in conditions if c.kind != "word"]
    unmet = [verdict.says for _, verdict in judged if not verdict.met]
    facts = sorted(
        (fact_of(row) for row in act.rows("facts_of_kind", kind="reading", system=there["system"])),
        key=lambda fact: (fact.at, fact.entered_at, fact.id),
    )
    readings = tuple(fact for fact in facts if fact.at <= moment)
    unread, outside = _unread(readings, there, moment), _outside(readings, conditions, there, moment)
    names = " and ".join(describe(name) for name in unread)
    missing = [f"{there['name']}, where they go: no {names} of the last {READ_WITHIN_HOURS} h"] if unread else []
    words = tuple(str(c.value) for c in conditions if c.kind == "word")
    return Asked(words, (*unmet, *outside, *missing), tuple(_TYPED[name] for name in unread))


_TYPED = {"temperature": "temp=...", "salinity": "salinity=..."}


def _unread(readings: tuple[Fact, ...], there: Row, moment: datetime) -> list[str]:
    """What is not known of the water they come to."""
    wanted = ["temperature"] if there["water"] == "fresh" else ["temperature", "salinity"]
    return [name for name in wanted if value_at(readings, (), moment, name, READ_WITHIN_HOURS) is None]


def _outside(readings: tuple[Fact, ...], conditions: tuple[Condition, ...], there: Row, moment: datetime) -> list[str]:
    """The template's limits of temperature that the water they come to breaks, of duplicates by the worse."""
    from quarantine.quantity import show

    span = value_at(readings, (), moment, "temperature", READ_WITHIN_HOURS)
    limits = [c for c in conditions if c.kind in ("steady", "reading") and c.value == "temperature"]
    said = []
    for limit in limits if span is not None else ():
        assert span is not None
        cold = limit.low is not None and span.least < type(span.least)(limit.low)
        warm = limit.high is not None and span.most > type(span.most)(limit.high)
        if cold or warm:
            read = show(span.least if cold else span.most)
            ends = " to ".join(str(end) for end in (limit.low, limit.high) if end is not None)
            said.append(f"{there['name']}, where they go: temperature {read} {limit.unit}, needed: {ends} {limit.unit}")
    return said


def refuse_unasked(task: Row, there: Row, asked: Asked, *, typed: str, confirm: bool, really: bool) -> dict[str, Any]:
    """What the fact of the move keeps: the words that were confirmed, and what it was made in spite of (``unmet``).
    ``typed`` is the code that the keeper named: another one where that came too late.

    Raises Refused where something is not met or not confirmed and the keeper does not say that it was ``really`` done.
    """
    unsaid = () if confirm else asked.words
    if really:
        unmet = [*asked.unmet, *(f"not confirmed: {words}" for words in unsaid)]
        confirmed = list(asked.words) if confirm else []
        return {**({"confirmed": confirmed} if confirmed else {}), **({"unmet": unmet} if unmet else {})}
    if not asked.unmet and not unsaid:
        return {"confirmed": list(asked.words)} if asked.words else {}
    how = []
    if asked.unread:
        how.append(f"Read it first (quarantine reading {shlex.quote(there['name'])} {' '.join(asked.unread)}).")
    if unsaid:
        how.append("If the words are so, say --confirm.")
    code = task["code"]
    who = code if code == typed else f"{typed} was too late, so this move would be {code}, the first anew, which"
    raise Refused(
        f"{who} asks first: {'; '.join((*asked.unmet, *unsaid))}. {' '.join([*how, ''])}"
        "If they were moved all the same, say --really; nothing was recorded.",
        unmet=list(asked.unmet),
        confirm=list(unsaid),
    )


def move_deviations(rows: Rows, batch: Row, now: datetime) -> list[str]:
    """The moves of a batch that were made though a check was not met or not confirmed: a line each, for sign-off."""
    rows_of = rows.rows("facts_since", system=batch["system"], since=batch["arrived_at"])
    found = [fact_of(row) for row in rows_of if row["kind"] == "done" and row["batch"] == batch["id"]]
    return [
        f"Deviation of a move, {local_text(fact.at, batch['zone'])}: to {fact.data['to']}, though "
        f"{'; '.join(fact.data['unmet'])} ({fact.data.get('note') or 'no reason was said'})."
        for fact in sorted(found, key=lambda fact: fact.at)
        if fact.data.get("unmet") and fact.at <= now
    ]
