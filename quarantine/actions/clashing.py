"""A day of arrival that was chosen, beside who is there (needs F56, F57, F46): what clashes, and how it is passed.

A day that clashes is refused with what clashes and the nearest day that works; it is passed by a named person with a
reason, which the sign-off shows. Where no absence and no closure is on record nothing is asked.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

from quarantine.actions.rostering import roster_of
from quarantine.facts import local_day, utc
from quarantine.failures import Refused
from quarantine.protocol import Protocol
from quarantine.records.reads import Row, Rows
from quarantine.roster import Clash, Roster
from quarantine.starting import Berth, clashes_of, nearest, start_days

NEAR_DAYS = 120
"""So far away a day that works is looked for; our choice, no source."""
NONE_NEAR = f"No day within {NEAR_DAYS} days works with the absences and closures on record."

PASS_START = (
    "If the fish are there, say why the day is kept, and who does the work all the same: --because REASON, which "
    "the sign-off shows"
)
PASS_EXPECT = "Say another day, or why this one is kept: --because REASON, which the sign-off shows"

LISTED = 6
"""So many clashes are named in a refusal; all are in its facts."""


class Clashing(Refused):
    """A day of arrival on which what follows could not all be done: one sentence, and each clash on its line."""

    kind = "clash"


def berth_of(tank: Row) -> Berth:
    """Where the fish would be."""
    return Berth(tank["id"], tank["system"], tank["zone"])


def roster_at(rows: Rows, tank: Row, since: date) -> Roster:
    """Who is there, at the site of a tank."""
    return roster_of(rows, tank["site"], since)


def clash_json(clash: Clash, arrival: date) -> dict[str, Any]:
    """A clash of a stay that begins on a day: what, on which day of it, and why; and as one sentence."""
    work = clash.work
    return {
        "title": work.title,
        "who": work.who,
        "on": work.day,
        "day": (work.day - arrival).days,
        "why": clash.why,
        "says": says(clash, arrival),
    }


def says(clash: Clash, arrival: date, *, unnamed: bool = False) -> str:
    """ "day 9, Saturday 2026-03-14: Change a quarter of the water (adults only): Hall is shut (weekend)". What the
    record keeps is ``unnamed``: the journal forgets no name."""
    work = clash.work
    whose = "" if work.who == "anyone" else f" ({work.who}s only)"
    why = clash.unnamed if unnamed else clash.why
    return f"day {(work.day - arrival).days}, {work.day:%A} {work.day}: {work.title}{whose}: {why}"


def arrival_clashes(rows: Rows, tank: Row, template: Protocol, at: datetime, now: datetime) -> tuple[Clash, ...]:
    """What of a stay that begins at an instant nobody could do, from today on."""
    zone = tank["zone"]
    roster = roster_at(rows, tank, min(local_day(at, zone), local_day(now, zone)))
    return clashes_of(template, berth_of(tank), utc(at), roster, local_day(now, zone))


def passed_clashes(
    rows: Rows, tank: Row, template: Protocol, at: datetime, now: datetime, because: str | None, how: str
) -> dict[str, Any]:
    """For the fact of an arrival: the clashes that were passed, with the reason. Nothing where nothing clashes.

    Raises Clashing without a reason; ``how`` is how it is passed.
    """
    day = local_day(at, tank["zone"])
    found = arrival_clashes(rows, tank, template, at, now)
    reason = " ".join((because or "").split())
    if not found:
        return {}
    if not reason:
        raise refusal(rows, tank, template, day, [says(clash, day) for clash in found], now, how)
    return {"clashes": {"because": reason, "items": [says(clash, day, unnamed=True) for clash in found]}}


def expected_clashes(
    rows: Rows, tank: Row, template: Protocol, days: tuple[date, date], now: datetime, because: str | None
) -> dict[str, Any]:
    """For an expectation of a span of days: what was passed, with the reason; nothing where every day works.

    Raises Clashing without a reason: fish that may come on a day that does not work are better not ordered for it.
    """
    today = local_day(now, tank["zone"])
    roster = roster_at(rows, tank, today)
    if not roster.says_anything:
        return {}
    begins = max(days[0], today)
    span = (begins + timedelta(days=n) for n in range((days[1] - begins).days + 1))
    bad = [day for day in start_days(template, berth_of(tank), span, roster) if day.clashes]
    reason = " ".join((because or "").split())
    if not bad:
        return {}
    first = bad[0].day
    items = [says(clash, first) for clash in bad[0].clashes]
    items += [f"also if they come on {d.day:%A} {d.day}: {says(d.clashes[0], d.day)}" for d in bad[1:]]
    if not reason:
        raise refusal(rows, tank, template, first, items, now, PASS_EXPECT)
    return {"clashes": {"because": reason, "items": items}}


def passed_words(data: dict[str, Any]) -> list[str]:
    """What was passed at an arrival or an expectation, for a person."""
    passed = data.get("clashes")
    if not passed:
        return []
    items = [f"  {item}" for item in passed["items"]]
    return [f"Nobody can do on its day, passed ({passed['because']}); the sign-off will show it:", *items]


def refusal(
    rows: Rows, tank: Row, template: Protocol, day: date, items: list[str], now: datetime, how: str
) -> Clashing:
    """What clashes on a day of arrival, the nearest day that works, and how it is passed."""
    today = local_day(now, tank["zone"])
    roster = roster_at(rows, tank, today)
    near = nearest(template, berth_of(tank), max(day, today), roster, first=today, within=NEAR_DAYS)
    offer = f"The nearest day of arrival that works is {near:%A} {near}" if near else NONE_NEAR.rstrip(".")
    refused = Clashing(
        f"Fish that come on {day:%A} {day} need what nobody can do on its day (protocol {template.id}). {offer}. "
        f"{how}.",
        clashes=items,
        nearest=near and near.isoformat(),
    )
    more = len(items) - LISTED
    refused.lines = (*(f"  {item}" for item in items[:LISTED]), *([f"  and {more} more"] if more > 0 else []))
    return refused
