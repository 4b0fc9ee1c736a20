"""The calendar file: the tasks of the record as entries, amounts computed from the water that is there.

Sequence and stamp of an entry are stored with a hash of its content: the same record gives the same bytes,
and a changed content raises the sequence by one.
"""

from __future__ import annotations

import hashlib
import json
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple

from quarantine.actions import cards
from quarantine.actions.desk import Desk, find_batch, local_text
from quarantine.calendars.write import Event, write_file
from quarantine.dosing import DEFERS, Proposal, Setting
from quarantine.quantity import show
from quarantine.records.codec import instant
from quarantine.records.reads import Row
from quarantine.records.store import Act

AMOUNT_WITHIN = timedelta(hours=48)
"""The summary carries an amount only this close to the dose, and only when nothing planned before can change it."""

CHECK_FIRST = "Check the list before dosing (quarantine today): a calendar cannot know what was done since."


class _Content(NamedTuple):
    summary: str
    description: str
    cancelled: bool
    rings: bool


def write_calendar(
    desk: Desk,
    path: Path,
    *,
    batch: str | None = None,
    since: date | None = None,
    until: date | None = None,
    with_done: bool = False,
) -> dict[str, Any]:
    """Write the file of the dated tasks; returns how many entries it holds. Old file untouched on any failure."""
    with desk.act() as act:
        chosen = find_batch(act, batch) if batch else None
        rows = act.rows(
            "calendar_tasks",
            batch=chosen["id"] if chosen else None,
            since=since.isoformat() if since else None,
            until=until.isoformat() if until else None,
        )
        known = {row["id"]: row for row in act.rows("calendared")}
        database = act.rows("meta", id="database")[0]["value"]
        events = list(_events(act, desk, rows, known, database, with_done))
        act.describe("calendar written", f"{len(events)} entries")
        name = f"Quarantine {chosen['name']}" if chosen else "Quarantine"
        count = write_file(path, events, name) if not desk.dry_run else len(events)
        return {"file": str(path), "entries": count}


def _events(
    act: Act, desk: Desk, rows: list[Row], known: dict[str, Row], database: str, with_done: bool
) -> list[Event]:
    open_before = _blockers(rows)
    settings: dict[str, Setting] = {}
    ring_at = desk.home.value("ring_at")
    made: list[Event] = []
    fresh, moved = [], []
    for row in rows:
        cancelled = row["state"] == "withdrawn"
        if (cancelled and row["id"] not in known) or (row["state"] in ("done", "skipped") and not with_done):
            continue
        content = _content(act, desk, row, settings, open_before, cancelled)
        digest = hashlib.sha256(
            "\x1f".join(
                (
                    content.summary,
                    content.description,
                    str(row["day"]),
                    str(row["due_from"]),
                    ring_at,
                    str(content.cancelled),
                    str(content.rings),
                )
            ).encode()
        ).hexdigest()
        before = known.get(row["id"])
        if before is None:
            sequence, stamp = 0, act.now
            fresh.append({"id": row["id"], "sequence": 0, "stamp": stamp, "content": digest})
        elif before["content"] != digest:
            sequence, stamp = before["sequence"] + 1, act.now
            moved.append((row["id"], {"sequence": sequence, "stamp": stamp, "content": digest}))
        else:
            sequence, stamp = before["sequence"], instant(before["stamp"])
        made.append(_event(row, content, sequence, stamp, database, ring_at))
    act.add("calendared", *fresh)
    for id_, values in moved:
        act.change("calendared", id_, **values)
    return made


def _event(row: Row, content: _Content, sequence: int, stamp: datetime, database: str, ring_at: str) -> Event:
    hour, minute = (int(part) for part in ring_at.split(":"))
    elapsed = json.loads(row["detail"])["elapsed"]
    ring = timedelta(minutes=30) if elapsed else timedelta(hours=hour, minutes=minute)
    as_of = f"As of {local_text(stamp, row['zone'])}, {row['zone']}."
    return Event(
        uid=f"{row['id']}@{database}",
        sequence=sequence,
        stamp=stamp,
        created=instant(row["made_at"]),
        summary=content.summary,
        description=f"{content.description}\n{as_of}",
        day=None if elapsed else date.fromisoformat(row["day"]),
        start=instant(row["due_from"]) if elapsed else None,
        categories=(row["kind"], row["tank_name"]),
        cancelled=content.cancelled,
        ring=ring if content.rings else None,
    )


def _blockers(rows: list[Row]) -> dict[str, list[date]]:
    """The days of open doses and changes of each system: what can change a later amount."""
    found: dict[str, list[date]] = {}
    for row in rows:
        if row["kind"] in ("dose", "change") and row["state"] in ("planned", "missed"):
            found.setdefault(row["system"], []).append(date.fromisoformat(row["day"]))
    return found


def _content(
    act: Act, desk: Desk, row: Row, settings: dict[str, Setting], open_before: dict[str, list[date]], cancelled: bool
) -> _Content:
    head = f"{row['title']}, {row['tank_name']}"
    lines = [f"{row['title']} in {row['tank_name']}, batch {row['batch_name']}. Code {row['code']}."]
    done = row["state"] in ("done", "skipped")
    if row["kind"] == "dose" and not cancelled and not done:
        proposal = _proposal(act, desk, row, settings)
        head += _amount_words(act, row, proposal, open_before)
        lines += dose_lines(proposal)
    elif row["kind"] == "change" and not cancelled and not done:
        litres = cards.change_litres(row, act, act.now)
        if litres is not None:
            lines.append(f"Change about {show(litres)} L of the water that is there now.")
    if done:
        head = f"{row['state'].capitalize()}: {head}"
    lines.append(CHECK_FIRST)
    note = json.loads(row["detail"])["note"]
    if note:
        lines.insert(1, note)
    return _Content(head, "\n".join(lines), cancelled, not cancelled and not done)


def _proposal(act: Act, desk: Desk, row: Row, settings: dict[str, Setting]) -> Proposal:
    """The dose for the water that is there; the before-checks are left to the day."""
    if row["system"] not in settings:
        tank = next(t for t in act.rows("tanks") if t["id"] == row["tank"])
        batch = act.rows("batch_arrival", id=row["batch"])[0]
        settings[row["system"]] = cards.setting_for(act, desk.home, tank, batch, act.now)
    return cards.propose_task(row, settings[row["system"]], gate=False)


def _amount_words(act: Act, row: Row, proposal: Proposal, open_before: dict[str, list[date]]) -> str:
    """The amount for the summary, when it is near and nothing planned before can change it."""
    day = date.fromisoformat(row["day"])
    near = instant(row["due_from"]) - act.now <= AMOUNT_WITHIN
    blocked = sum(1 for other in open_before[row["system"]] if other <= day) > 1
    if proposal.hold is not None:
        return ": held, see the list"
    if not near or blocked or proposal.dose.add is None:
        return ": amount on the day"
    return f": {show(proposal.dose.add)} {proposal.dose.add_unit}"


def dose_lines(proposal: Proposal) -> list[str]:
    """Amount, working, reference and what it defers to, short enough for a phone."""
    dose = proposal.dose
    lines = []
    if proposal.hold is not None:
        lines.append(f"Held: {proposal.hold.says}. {proposal.hold.remedy}.")
    elif dose.add is not None:
        lines.append(f"As the water is now: {show(dose.add)} {dose.add_unit} of {dose.add_of}.")
        lines += proposal.working
    lines.append(f"Source: {dose.reference}")
    lines.append(DEFERS)
    return lines
