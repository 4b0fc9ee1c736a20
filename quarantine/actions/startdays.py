"""The days on which fish can come, read from the record (needs F56, F57). Reads only."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from quarantine.actions.batches import made_preview
from quarantine.actions.clashing import NEAR_DAYS, NONE_NEAR, berth_of, clash_json, roster_at
from quarantine.actions.peopling import read_day
from quarantine.actions.previewing import batches_there, stock_of
from quarantine.actions.today import tank_named
from quarantine.facts import local_day, utc
from quarantine.failures import Refused, Usage
from quarantine.plan import instant_at
from quarantine.protocol import load
from quarantine.records.reads import Rows
from quarantine.settings import Home
from quarantine.starting import ARRIVES, nearest, start_days

USUAL_DAYS, MOST_DAYS = 14, 370
"""So many days are tried where no last one is said, and at most; our choice, no source."""


def tried(
    rows: Rows, home: Home, now: datetime, protocol: str, tank_name: str, first: str | None, last: str | None
) -> dict[str, Any]:
    """Every day of a span with what clashes, the nearest day that works where none of them does, and what the stock
    lacks for a stay that begins on the first that works."""
    template, tank = load(protocol), tank_named(rows.rows("tanks"), tank_name)
    if template.water not in ("any", tank["water"]):
        raise Refused(f"Protocol {template.id} is for {template.water} water; {tank['name']} is {tank['water']}.")
    today = local_day(now, tank["zone"])
    begins = read_day(first, "--from") if first else today
    ends = read_day(last, "--until") if last else begins + timedelta(days=USUAL_DAYS - 1)
    if ends < begins:
        raise Usage(f"--until {ends} lies before --from {begins}.")
    if begins < today:
        raise Usage(f"--from {begins} has passed (today is {today}); say a day to come.")
    if (ends - begins).days >= MOST_DAYS:
        raise Usage(f"--from {begins} --until {ends} is longer than {MOST_DAYS} days; try fewer at once.")
    roster, berth = roster_at(rows, tank, begins), berth_of(tank)
    days = list(
        start_days(template, berth, (begins + timedelta(days=n) for n in range((ends - begins).days + 1)), roster)
    )
    good = [day.day for day in days if not day.clashes]
    near = good[0] if good else nearest(template, berth, begins, roster, first=today, within=NEAR_DAYS)
    stock: list[str] = []
    notes: list[str] = []
    if near is not None:
        at = max(utc(instant_at(near, ARRIVES, tank["zone"])), utc(now))
        preview = made_preview(rows, template, tank, at, at)
        there = batches_there(preview, rows)
        notes = [f"{tank['name']} has fish in its water now (batch {', '.join(there)})."] if there else []
        stock = stock_of(preview, rows, home, now)[1] if template.medicated else []
    return {
        "protocol": template.id,
        "tank": tank["name"],
        "from": begins,
        "until": ends,
        "known": roster.says_anything,
        "days": [
            {"on": d.day, "weekday": f"{d.day:%A}", "clashes": [clash_json(c, d.day) for c in d.clashes]} for d in days
        ],
        "nearest": near,
        "none": NONE_NEAR,
        "notes": notes,
        "stock": stock,
    }
