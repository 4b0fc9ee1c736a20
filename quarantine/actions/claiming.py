"""Claiming a task for some minutes, so that two keepers do not both begin it (F43). The clock ends a claim by itself.

Every write takes the record's one lock before it reads, so of two processes that claim a task at once the second reads
the first one's claim and is refused.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from quarantine.actions.claims import LONGEST, Claim, claims_at
from quarantine.actions.desk import Desk
from quarantine.actions.entering import add_fact, id_after
from quarantine.actions.work import find_task, refuse_finished
from quarantine.failures import Refused, Usage
from quarantine.quantity import read, show, to
from quarantine.records.codec import text_of_instant
from quarantine.records.reads import Row
from quarantine.records.store import Act

USUAL = "20 min"
"""How long a claim holds where nothing is said; our choice, no source."""


def claim(desk: Desk, code: str, *, for_: str | None = None, give_up: bool = False) -> dict[str, Any]:
    """Claim an open task for a while ("20 min" if left out, at least a minute, at most 4 h), or give one's claim up.

    One's own claim is renewed from now on. Raises Refused for a task that is finished or claimed by somebody else,
    and for giving up what is not one's own; Usage for a time that does not fit.
    """
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
            says = f"{named} is {Claim(str(act.keeper), by, until).words(task['zone'])}"
        act.describe("claim given up" if give_up else "task claimed", says)
        return {"code": task["code"], "by": by, "until": None if give_up else until, "says": says}


def _lasts(text: str) -> timedelta:
    """How long a claim shall hold, from a minute to :data:`LONGEST`. Raises Usage."""
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
        lapses = f"Only {held.by} gives it up; it" if give_up else "It"
        raise Refused(
            f"{named} is {held.words(task['zone'])}. {lapses} lapses by itself then: ask {held.by}, or wait.",
            by=held.by,
            until=text_of_instant(held.until),
        )
    if give_up and held is None:
        raise Refused(f"{named} is not claimed by anybody now; nothing was recorded.")
