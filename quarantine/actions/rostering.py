"""Who is there, read from the record: what :mod:`quarantine.roster` judges by. Light: nothing here plans or writes."""

from __future__ import annotations

import json
from datetime import date

from quarantine.actions.duties import people_of
from quarantine.records.reads import Row, Rows
from quarantine.roster import Away, Roster, Shut, Work


def roster_of(rows: Rows, site: str, since: date) -> Roster:
    """Keepers with their roles, and what absences and closures of a site (its id) have not ended before ``since``."""
    away = tuple(away_of(row) for row in rows.rows("absences", since=since.isoformat()))
    shut = tuple(shut_of(row) for row in rows.rows("closures", site=site, since=since.isoformat()))
    return Roster(people_of(rows), away, shut)


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
