"""Claiming a task for some minutes (F43), so that two keepers do not both begin it. The clock ends a claim by itself.

A claim is a fact; the last one of a task rules. Every write takes the record's one lock before it reads, so of two
processes that claim a task at once the second reads the first one's claim and is refused. Reading is light: `today`
shows claims.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, NamedTuple
from zoneinfo import ZoneInfo

from quarantine.failures import Refused, Usage
from quarantine.records.codec import instant, text_of_instant
from quarantine.records.reads import Row, Rows

if TYPE_CHECKING:
    from quarantine.actions.desk import Desk
    from quarantine.records.store import Act

USUAL = "20 min"
"""How long a claim holds where nothing is said; our choice, no source."""

LONGEST = timedelta(hours=4)
"""The longest claim: a forgotten one must not keep a dose of the day from being given; our choice, no source."""


class Claim(NamedTuple):
    """Who does a task now, by id and name, and until when (UTC)."""

    keeper: str
    by: str
    until: datetime

    def words(self, zone: str, now: datetime) -> str:
        """ "claimed by Robin until 20:15", in the site's time; with the day where it is another one."""
        until, here = (at.astimezone(ZoneInfo(zone)) for at in (self.until, now))
        return f"claimed by {self.by} until {until:{'%H:%M' if until.date() == here.date() else '%Y-%m-%d %H:%M'}}"


def claims_at(rows: Rows, now: datetime) -> dict[str, Claim]:
    """Task's id -> the claim that holds at ``now``. One that has run out or was given up is not there."""
    last: dict[str, Row] = {}
    found = rows.rows("claims", since=text_of_instant(now - LONGEST))
    for row in sorted(found, key=lambda row: (row["entered_at"], row["id"])):
        last[row["task"]] = row
    held = {task: (row, json.loads(row["data"])) for task, row in last.items()}
    names = {k["id"]: k["name"] for k in rows.rows("keepers")} if held else {}
    return {
        task: Claim(row["keeper"], names[row["keeper"]], instant(data["until"]))
        for task, (row, data) in held.items()
        if not data.get("given_up") and instant(data["until"]) > now
    }


def claim(desk: Desk, code: str, *, for_: str | None = None, give_up: bool = False) -> dict[str, Any]:
    """Claim an open task for a while ("20 min" if left out, at least a minute, at most 4 h), or give one's claim up.

    One's own claim is renewed from now on. Raises Refused for a task that is finished or claimed by somebody else,
    and for giving up what is not one's own; Usage for a time that does not fit.
    """
    from quarantine.actions.planning import add_fact, id_after
    from quarantine.actions.work import find_task, refuse_finished

    if give_up and for_ is not None:
        raise Usage("Say --for TIME or --give-up, not both.")
    lasts = _lasts(for_ or USUAL)
    with desk.act() as act:
        task = find_task(act, code)
        refuse_finished(act, task)
        held = claims_at(act, act.now).get(task["id"])
        _refuse_others(act, task, held, give_up)
        until = act.now if give_up else act.now + lasts
        data = {"key": task["key"], "until": text_of_instant(until), **({"given_up": True} if give_up else {})}
        add_fact(
            act,
            "claim",
            system=task["system"],
            tank=task["tank"],
            batch=task["batch"],
            task=task["id"],
            at=act.now,
            data=data,
            id_=id_after(act, task["system"], act.now),
        )
        named = f"{task['code']} ({task['title']}, {task['tank_name']})"
        by = str(act.rows("keeper_name", id=act.keeper)[0]["name"])
        if give_up:
            says = f"{named} is free again: {by} gave the claim up"
        else:
            says = f"{named} is {Claim(str(act.keeper), by, until).words(task['zone'], act.now)}"
        act.describe("claim given up" if give_up else "task claimed", says)
        return {"code": task["code"], "by": by, "until": None if give_up else until, "says": says}


def _lasts(text: str) -> timedelta:
    """How long a claim shall hold, from a minute to :data:`LONGEST`. Raises Usage."""
    from quarantine.quantity import read, show, to

    minutes = to(read(text, "duration", "--for"), "min")
    most = int(LONGEST.total_seconds()) // 60
    if not 1 <= minutes <= most:
        raise Usage(
            f"--for {text!r} is {show(minutes)} min: a claim holds for 1 min at least and {most // 60} h at most; then "
            "it lapses, and can be made again."
        )
    return timedelta(seconds=int(minutes * 60))


def _refuse_others(act: Act, task: Row, held: Claim | None, give_up: bool) -> None:
    named = f"{task['code']} ({task['title']})"
    if held is not None and held.keeper != act.keeper:
        only = f"Only {held.by} gives it up; " if give_up else ""
        raise Refused(
            f"{named} is {held.words(task['zone'], act.now)}. {only}it lapses by itself then: ask {held.by}, or wait.",
            by=held.by,
            until=text_of_instant(held.until),
        )
    if give_up and held is None:
        raise Refused(f"{named} is not claimed by anybody now; nothing was recorded.")


@contextmanager
def asked_if_claimed(act: Act, task: Row, *, really: bool) -> Iterator[None]:
    """What is done inside to a task that somebody else has claimed is asked about once, together with whatever else is
    asked: one ``really`` answers all of it, so all of it must have been read. Raises Refused; the transaction that
    it leaves is rolled back."""
    held = None if really else claims_at(act, act.now).get(task["id"])
    if held is None or held.keeper == act.keeper:
        yield
        return
    says = (
        f"{task['code']} ({task['title']}) is {held.words(task['zone'], act.now)}: ask {held.by} whether it was begun "
        "or done already"
    )
    facts = {"by": held.by, "until": text_of_instant(held.until)}
    try:
        yield
    except Refused as refused:
        if "--really" not in refused.sentence:
            raise
        raise Refused(f"{says}. {refused.sentence}", **{**refused.facts, **facts}) from refused
    raise Refused(f"{says}. If you did it, say so with --really; nothing was recorded.", **facts)
