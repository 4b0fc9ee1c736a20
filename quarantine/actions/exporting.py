"""The calendar file: the tasks of the record as entries, amounts computed from the water that is there.

Sequence and stamp of an entry are stored with a hash of its content: the same record gives the same bytes,
and a changed content raises the sequence by one.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from itertools import groupby
from pathlib import Path
from typing import Any, NamedTuple

from quarantine.actions import cards
from quarantine.actions.desk import Desk, find_batch, find_site, find_tank, local_text, named
from quarantine.actions.twins import Twins
from quarantine.calendars.write import Draft, Event, ordered
from quarantine.dosing import DEFERS, Proposal, Setting, amount_words
from quarantine.facts import local_day
from quarantine.plan import instant_at
from quarantine.quantity import show
from quarantine.records.codec import instant
from quarantine.records.reads import Row
from quarantine.records.store import Act

AMOUNT_WITHIN = timedelta(hours=48)
"""The summary carries an amount only this close to the dose, and only when nothing planned before can change it."""

CANCELLED_FOR = timedelta(weeks=4)
"""How long a withdrawn task stays in the file as cancelled, counted from the first file that said so; our choice."""

CHECK_FIRST = "Check the list before dosing (quarantine today): a calendar cannot know what was done since."

PRIVATE = {
    "look": "Look over",
    "feed": "Feed",
    "test": "Test the water",
    "change": "Change water",
    "dose": "Treatment, see the list",
}
"""What a task is called in a calendar that others can read; anything else is a chore."""

KEPT_TOGETHER = 500
"""Entries that are noted down at a time: a large calendar is never held in memory."""


class Scope(NamedTuple):
    """Which tasks a file holds, and for whose eyes."""

    batch: str | None = None
    tank: str | None = None
    site: str | None = None
    keeper: str | None = None
    since: date | None = None
    until: date | None = None
    with_done: bool = False
    private: bool = False


class _Content(NamedTuple):
    summary: str
    description: str
    cancelled: bool
    rings: bool


class _Told(NamedTuple):
    """What is noted of an entry that is new or changed: a row of the table ``calendared``."""

    id: str
    sequence: int
    stamp: datetime
    content: str


def write_calendar(desk: Desk, path: Path, scope: Scope = Scope()) -> dict[str, Any]:  # noqa: B008 (a constant)
    """Write the file of the dated tasks; returns how many entries it holds. Old file untouched on any failure.

    The file takes its place after the commit: a number that stands in a calendar stands in the record as well.
    """
    with Draft(path, placed=not desk.dry_run) as draft:
        with desk.act() as act:
            writer = _Writer(act, desk, scope)
            count = draft.fill(writer.events(), writer.name)
            act.describe("calendar written", f"{count} entries")
        return {"file": str(path), "entries": count}


class _Writer:
    """One file being made: its rows are read, told apart from what was written before, and noted down."""

    def __init__(self, act: Act, desk: Desk, scope: Scope) -> None:
        self.act = act
        self.desk = desk
        self.scope = scope
        self.database = act.rows("meta", id="database")[0]["value"]
        # Another calendar of the same account may refuse a UID that it holds already.
        self.suffix = ":private" if scope.private else ""
        self.batch = find_batch(act, scope.batch) if scope.batch else None
        self.tank = find_tank(act, scope.tank) if scope.tank else None
        self.site = find_site(act, scope.site) if scope.site else None
        self.may_dose = _may_dose(act, scope.keeper) if scope.keeper else None
        self.open_before = _blockers(act)
        self.settings: dict[str, Setting] = {}
        self.twins = Twins()
        self.given_with: dict[str, str] = {}
        """id of a dose -> code of the one in the same water that it is given with (rule B2)"""
        named = [row["name"] for row in (self.batch, self.tank, self.site) if row] if not scope.private else []
        self.name = " ".join(["Quarantine", *named, *([scope.keeper] if scope.keeper else [])])

    def events(self) -> Iterator[Event]:
        """The entries, day by day."""
        told: list[_Told] = []
        for _, rows in groupby(self._rows(), key=lambda row: row["day"]):
            day = list(rows)
            ringing = _who_rings([row for row in day if _live(row)])
            self._pair([row for row in day if row["kind"] == "dose" and _live(row)])
            yield from ordered([self._event(row, ringing, told) for row in day])
            if len(told) >= KEPT_TOGETHER:
                self._note(told)
        self._note(told)

    def _rows(self) -> Iterator[Row]:
        scope = self.scope
        for row in self.act.stream(
            "calendar_tasks",
            suffix=self.suffix,
            batch=self.batch and self.batch["id"],
            tank=self.tank and self.tank["id"],
            site=self.site and self.site["id"],
            since=scope.since and scope.since.isoformat(),
            until=scope.until and scope.until.isoformat(),
        ):
            # What has lost its day is on no phone any more; dated again it comes back under the same UID.
            shown = row if row["day"] is not None else {**row, "state": "withdrawn"}
            if self._wanted(shown):
                yield shown

    def _wanted(self, row: Row) -> bool:
        if row["state"] in ("done", "skipped") and not self.scope.with_done:
            return False
        if row["state"] == "withdrawn":
            # Never told: nobody waits for it. Told as cancelled long ago: by now every calendar has heard.
            if row["told_content"] is None:
                return False
            if row["told_content"].startswith(_CANCELLED):
                return bool(self.act.now - instant(row["told_stamp"]) <= CANCELLED_FOR)
        return self.may_dose is None or row["kind"] != "dose" or row["copy_id"] in self.may_dose

    def _event(self, row: Row, ringing: dict[str, str], told: list[_Told]) -> Event:
        content = self._content(row, ringing.get(row["id"]))
        ring_as, ring_at = self.desk.home.value("ring_as"), self.desk.home.value("ring_at")
        parts = (*content, row["day"], row["due_from"], ring_as, ring_at, ringing.get(row["id"]))
        digest = hashlib.sha256("\x1f".join(map(str, parts)).encode()).hexdigest()
        digest = (_CANCELLED if content.cancelled else "") + digest
        if row["told_content"] == digest:
            sequence, stamp = row["told_sequence"], instant(row["told_stamp"])
        else:
            sequence = 0 if row["told_content"] is None else row["told_sequence"] + 1
            stamp = self.act.now
            told.append(_Told(row["id"] + self.suffix, sequence, stamp, digest))
        return self._laid_out(row, content, sequence, stamp, ringing.get(row["id"], ""))

    def _note(self, told: list[_Told]) -> None:
        self.act.add("calendared", *(entry._asdict() for entry in told if entry.sequence == 0))
        for entry in told:
            if entry.sequence:
                values = entry._asdict()
                self.act.change("calendared", values.pop("id"), **values)
        told.clear()

    def _laid_out(self, row: Row, content: _Content, sequence: int, stamp: datetime, alarm: str) -> Event:
        home = self.desk.home
        hour, minute = (int(part) for part in home.value("ring_at").split(":"))
        day = date.fromisoformat(row["day"]) if row["day"] else local_day(stamp, row["zone"])
        start: datetime | None = None
        ring = timedelta(hours=hour, minutes=minute)
        if json.loads(row["detail"])["elapsed"] and row["due_from"]:
            before = json.loads(row["detail"]).get("ring_minutes", 30)
            start, ring = instant(row["due_from"]), timedelta(minutes=before)
        elif home.value("ring_as") == "timed":
            start, ring = instant_at(day, home.value("ring_at"), row["zone"]), timedelta(minutes=1)
        as_of = f"As of {local_text(stamp, row['zone'])}, {row['zone']}."
        return Event(
            uid=f"{row['id']}{'-p' if self.scope.private else ''}@{self.database}",
            sequence=sequence,
            stamp=stamp,
            created=instant(row["made_at"]),
            summary=content.summary,
            description=f"{content.description}\n{as_of}",
            day=None if start else day,
            start=start,
            categories=(row["kind"], row["tank_name"]),
            cancelled=content.cancelled,
            ring=ring if content.rings else None,
            alarm=alarm,
        )

    def _content(self, row: Row, alarm: str | None) -> _Content:
        done = row["state"] in ("done", "skipped")
        cancelled = row["state"] == "withdrawn"
        live = not done and not cancelled
        if self.scope.private:
            head = f"{PRIVATE.get(row['kind'], 'Chore, see the list')}, {row['tank_name']}"
            lines = [f"Code {row['code']}."]
        else:
            head, lines = self._full(row, live)
        if done:
            head = f"{row['state'].capitalize()}: {head}"
        return _Content(head, "\n".join([*lines, CHECK_FIRST]), cancelled, live and alarm is not None)

    def _full(self, row: Row, live: bool) -> tuple[str, list[str]]:
        head = f"{row['title']}, {row['tank_name']}"
        lines = [f"{row['title']} in {row['tank_name']}, batch {row['batch_name']}. Code {row['code']}."]
        if note := json.loads(row["detail"])["note"]:
            lines.append(note)
        if (other := self.given_with.get(row["id"])) is not None and live:
            head += f": given with {other}"
            lines.append(f"One dose for both batches: give it once, as {other} (rule B2).")
        elif row["kind"] == "dose" and live:
            proposal = self._proposal(row)
            head += self._amount_words(row, proposal)
            lines += dose_lines(proposal)
        elif row["kind"] == "change" and live:
            litres = cards.change_litres(row, self.act, self.act.now)
            if litres is not None:
                lines.append(f"Change about {show(litres)} L of the water that is there now.")
        return head, lines

    def _pair(self, doses: list[Row]) -> None:
        """Which of a day's doses are given with another batch's, on this day or shortly before."""
        for row in sorted(doses, key=lambda one: (one["due_from"], one["code"])):
            treatment = json.loads(row["detail"])["treatment"]
            if treatment and treatment["water"] in ("system", "tank"):
                day = date.fromisoformat(row["day"])
                other = self.twins.of(row["system"], treatment["regimen"], row["batch"], day, row["code"])
                if other is not None:
                    self.given_with[row["id"]] = other

    def _proposal(self, row: Row) -> Proposal:
        """The dose for the water that is there; the before-checks are left to the day."""
        if row["system"] not in self.settings:
            tank = next(t for t in self.act.rows("tanks") if t["id"] == row["tank"])
            batch = self.act.rows("batch_arrival", id=row["batch"])[0]
            self.settings[row["system"]] = cards.setting_for(self.act, self.desk.home, tank, batch, self.act.now)
        return cards.propose_task(row, self.settings[row["system"]], gate=False)

    def _amount_words(self, row: Row, proposal: Proposal) -> str:
        """The amount for the summary, when it is near and nothing planned before can change it."""
        day = date.fromisoformat(row["day"])
        near = instant(row["due_from"]) - self.act.now <= AMOUNT_WITHIN
        blocked = sum(1 for other in self.open_before.get(row["system"], []) if other <= day) > 1
        if proposal.hold is not None:
            return ": held, see the list"
        if not near or blocked or proposal.dose.add is None:
            return ": amount on the day"
        if proposal.dose.food_grams is not None:
            return f": {show(proposal.dose.food_grams)} g of prepared food"
        return f": {show(proposal.dose.add)} {proposal.dose.add_unit}"


_CANCELLED = "cancelled "


def _live(row: Row) -> bool:
    return row["state"] in ("planned", "missed")


def _who_rings(rows: list[Row]) -> dict[str, str]:
    """Task id -> what its alarm says. A dose and a timed task ring by themselves; the daily care of a tank rings once,
    on its first entry, and names the rest: a phone that rings for every look is soon not heard."""
    found: dict[str, str] = {}
    care: dict[str, list[Row]] = {}
    for row in rows:
        if row["kind"] == "dose" or json.loads(row["detail"])["elapsed"]:
            found[row["id"]] = ""
        else:
            care.setdefault(row["tank"], []).append(row)
    for together in care.values():
        first = min(together, key=lambda row: (row["title"], row["id"]))
        count = f" and {len(together) - 1} more" if len(together) > 1 else ""
        found[first["id"]] = f"{count} in {first['tank_name']}" if count else ""
    return found


def _may_dose(act: Act, keeper: str) -> set[str]:
    """The protocol copies whose cautions this keeper has acknowledged: only their doses are for this keeper (C19)."""
    found = named(act.rows("keepers"), "keeper", keeper)
    return {row["copy_id"] for row in act.rows("acknowledged_by", keeper=found["id"])}


def _blockers(act: Act) -> dict[str, list[date]]:
    """The days of open doses and changes of each system, in the file or not: what can change a later amount."""
    found: dict[str, list[date]] = {}
    for row in act.rows("amount_changers"):
        found.setdefault(row["system"], []).append(date.fromisoformat(row["day"]))
    return found


def dose_lines(proposal: Proposal) -> list[str]:
    """Amount, working, reference and what it defers to, short enough for a phone."""
    dose = proposal.dose
    lines = []
    if proposal.hold is not None:
        lines.append(f"Held: {proposal.hold.says}. {proposal.hold.remedy}.")
    elif dose.add is not None:
        lines.append(f"As the water is now: {amount_words(dose)}.")
        lines += proposal.working
    if proposal.instruction:
        lines.append(proposal.instruction)
    lines.append(f"Source: {dose.reference}")
    lines.append(DEFERS)
    return lines
