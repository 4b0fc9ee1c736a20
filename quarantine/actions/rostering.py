"""Who is there, read from the record: what :mod:`quarantine.roster` judges by. Light: nothing here plans or writes."""

from __future__ import annotations

import json
from datetime import date, datetime
from functools import cached_property
from typing import TYPE_CHECKING

from quarantine.actions.duties import people_of
from quarantine.facts import local_day
from quarantine.records.codec import instant
from quarantine.records.reads import Row, Rows
from quarantine.roster import Away, Person, Roster, Shut, Work, unattended

if TYPE_CHECKING:
    from quarantine.protocol import Protocol


def roster_of(rows: Rows, site: str, since: date) -> Roster:
    """Keepers with their roles, and what absences and closures of a site (its id) have not ended before ``since``."""
    away = tuple(away_of(row) for row in rows.rows("absences", since=since.isoformat()))
    shut = tuple(shut_of(row) for row in rows.rows("closures", site=site, since=since.isoformat()))
    return Roster(people_of(rows), away, shut)


def lookers(protocol: Protocol) -> tuple[str, ...]:
    """Whose the looks of a template are: "anyone", "adult" or "keeper"; where it asks for none anyone may look."""
    return tuple(sorted({step.who for step in protocol.steps if step.kind == "look"})) or ("anyone",)


class Attendance:
    """The days on which nobody is there who may look, site by site; read once, and nothing more where no absence and no
    closure is on record that has not ended before the day ``since`` (as text). A keeper who is being put on record is
    there from ``now`` on."""

    def __init__(self, rows: Rows, since: str, now: datetime) -> None:
        self._rows, self._now = rows, now
        self._away, self._shut = rows.rows("absences", since=since), rows.rows("closures", site=None, since=since)
        self._made: dict[tuple[str, tuple[str, ...]], tuple[tuple[date, str], ...]] = {}

    def of(self, stays: list[tuple[date, str]], looks: tuple[str, ...]) -> tuple[tuple[date, str], ...]:
        """Of a batch that was in these water systems, each from a day on: its days of nobody there, in order, each with
        why. ``looks`` says whose its looks are."""
        if not self._away and not self._shut:
            return ()
        ends = [*(day for day, _ in stays[1:]), date.max]
        return tuple(
            one
            for (begin, system), end in zip(stays, ends, strict=True)
            for one in self._at(self._sites[system], looks)
            if begin <= one[0] < end
        )

    def roster(self, site: str) -> Roster:
        """Who is there at a site (its id), keepers with the day on which they were put on record."""
        return Roster(self._people[site], tuple(away_of(row) for row in self._away), self._closures(site))

    def _closures(self, site: str) -> tuple[Shut, ...]:
        return tuple(shut_of(row) for row in self._shut if row["site"] == site)

    def _at(self, site: str, looks: tuple[str, ...]) -> tuple[tuple[date, str], ...]:
        if (site, looks) not in self._made:
            # Where nobody is on record as away keepers do not matter, and the journal is left alone.
            roster = self.roster(site) if self._away else Roster((), (), self._closures(site))
            self._made[site, looks] = unattended(roster, looks)
        return self._made[site, looks]

    @cached_property
    def _people(self) -> dict[str, tuple[Person, ...]]:
        """Site -> the keepers; the table of keepers has no date, their entry in the journal has."""
        added: dict[str, datetime] = {}
        for row in self._rows.rows("keepers_added"):
            entry = json.loads(row["payload"])
            if entry["kind"] == "keeper added":
                added |= {one["id"]: instant(entry["entered_at"]) for one in entry["rows"]["keeper"]}
        people = people_of(self._rows)
        return {
            site["id"]: tuple(p._replace(since=local_day(added.get(p.id, self._now), site["zone"])) for p in people)
            for site in self._rows.rows("sites")
        }

    @cached_property
    def _sites(self) -> dict[str, str]:
        """System -> its site."""
        return {row["id"]: row["site"] for row in self._rows.rows("systems")}


def away_of(row: Row) -> Away:
    """An absence from its row."""
    return Away(row["keeper"], date.fromisoformat(row["since"]), date.fromisoformat(row["until"]), row["because"])


def shut_of(row: Row) -> Shut:
    """A closure from its row."""
    weekdays = tuple(row["weekdays"].split(",")) if row["weekdays"] else ()
    since, until = date.fromisoformat(row["since"]), date.fromisoformat(row["until"])
    return Shut(row["site_name"], since, until, weekdays, row["what"])


def work_of_rows(tasks: list[Row], latest: dict[tuple[str, str], int | None]) -> list[Work]:
    """Stored tasks that are open and have a day; ``latest`` by (batch, step): hours that its template allows."""
    return [
        Work(
            day=date.fromisoformat(row["day"]),
            kind=row["kind"],
            step=row["step"],
            title=row["title"],
            who=json.loads(row["detail"]).get("who", "anyone"),
            latest_hours=latest.get((row["batch"], row["step"])),
            code=row["code"],
            batch=row["batch_name"],
        )
        for row in tasks
        if row["day"] is not None and row["state"] == "planned"
    ]


def days_text(since: date, until: date) -> str:
    """The days of an absence or a closure, in words."""
    return f"{since}" if since == until else f"{since} to {until}"
