"""Claims of tasks as they stand (F43): who does what now, until when. Whether a dose wants a witness is here too: the
list shows both. Light: `today` reads this.

A claim is a fact; the last one of a task rules, and the clock ends it.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

from quarantine.failures import Refused
from quarantine.records.codec import instant, text_of_instant
from quarantine.records.reads import Row, Rows

if TYPE_CHECKING:
    from quarantine.records.store import Act

LONGEST = timedelta(hours=4)
"""The longest claim: a forgotten one must not keep a dose of the day from being given; our choice, no source."""


WITNESS = "Witness: another keeper reads the amount off the scale, without seeing what the first one wrote."


def wants_witness(task: Row) -> bool:
    """Whether the template asks for a witness of this dose (F61)."""
    treatment = json.loads(task["detail"])["treatment"]
    return bool(treatment and treatment.get("witness"))


class Claim(NamedTuple):
    """Who does a task now, by id and name, and until when (UTC)."""

    keeper: str
    by: str
    until: datetime

    def words(self, zone: str) -> str:
        """ "claimed by Robin until 20:15", in the site's time; it is never further away than :data:`LONGEST`."""
        return f"claimed by {self.by} until {self.until.astimezone(ZoneInfo(zone)):%H:%M}"


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
        f"{task['code']} ({task['title']}) is {held.words(task['zone'])}: ask {held.by} whether it was begun "
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
