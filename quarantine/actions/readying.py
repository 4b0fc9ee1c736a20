"""The tasks of batches that are expected, from stored rows: what :func:`quarantine.actions.planning.replan` stores with
every write in that water. And what was passed over when the fish came, for the sign-off."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple

from quarantine.facts import Fact, PlannedTask, local_day
from quarantine.readiness import FIRST_WEEK_DAYS, ITEMS, READY, Expectation, Item, midnight, tasks_before
from quarantine.records.codec import text_of_instant
from quarantine.records.loading import fact_of, task_values
from quarantine.records.reads import Row, Rows

BEFORE_ENTRY = timedelta(days=4)
"""How far before an expectation was entered readings are looked for: the heater's and the filter's hours, and a bit."""


class Ready(NamedTuple):
    """One expectation: its stored task rows (instants as values), the tasks as they should be, and their details."""

    rows: list[Row]
    tasks: list[PlannedTask]
    details: dict[tuple[str, str], dict[str, Any]]


def readiness_of(rows: Rows, system: str, now: datetime) -> Iterator[Ready]:
    """Each batch that is expected in a water system, with its tasks planned anew."""
    for batch in rows.rows("batches_of_system", system=system):
        if batch["state"] == "expected":
            yield ready(rows, batch, expectation_of(batch), now)


def ready(rows: Rows, batch: Row, expected: Expectation, now: datetime) -> Ready:
    """The tasks of one expectation planned anew, beside the stored ones."""
    stored = [task_values(row) for row in rows.rows("tasks_of_batch", batch=batch["id"])]
    mine = [row for row in stored if row["step"].startswith(READY)]
    closed = {row["key"]: row["outcome_at"] for row in mine if row["state"] == "done"}
    expected = expected._replace(absences=absences_text(rows, expected, now))
    tasks = tasks_before(expected, _facts(rows, batch), closed, now)
    return Ready(mine, tasks, {(batch["id"], READY + i.id): detail_of_item(i.note, i) for i in ITEMS})


class Span(NamedTuple):
    """Who or what is not there, in the first week of a stay, from a day to a day."""

    who: str
    since: str
    until: str

    @property
    def days(self) -> str:
        """ "2026-03-10 to 2026-03-14" """
        return self.since if self.since == self.until else f"{self.since} to {self.until}"


def away_in_first_week(rows: Rows, expected: Expectation, now: datetime) -> list[Span]:
    """Who is away in the first week after the fish may come; and what shuts the site for whole days."""
    first = max(expected.first, local_day(now, expected.zone))
    last = max(expected.last, first) + timedelta(days=FIRST_WEEK_DAYS - 1)
    spans = [Span(r["keeper_name"], r["since"], r["until"]) for r in rows.rows("absences", since=first.isoformat())]
    site = next(tank["site"] for tank in rows.rows("tanks") if tank["id"] == expected.tank)
    shut = rows.rows("closures", site=site, since=first.isoformat())
    spans += [Span(f"{r['site_name']} ({r['what']})", r["since"], r["until"]) for r in shut if not r["weekdays"]]
    return [span for span in spans if span.since <= last.isoformat()]


def absences_text(rows: Rows, expected: Expectation, now: datetime) -> str:
    """The days of these absences and closures. No name: a task stands in the journal, which forgets nothing."""
    return ", ".join(dict.fromkeys(span.days for span in away_in_first_week(rows, expected, now)))


def _facts(rows: Rows, batch: Row) -> list[Fact]:
    entered = date.fromisoformat(json.loads(batch["standing"])["expected"]["entered_on"])
    since = text_of_instant(midnight(entered, batch["zone"]) - BEFORE_ENTRY)
    return [fact_of(row) for row in rows.rows("facts_since", system=batch["system"], since=since)]


def expectation_of(batch: Row) -> Expectation:
    """The expectation of a batch row that is expected."""
    said = json.loads(batch["standing"])["expected"]
    first, last, said_on = (date.fromisoformat(said[name]) for name in ("first", "last", "said_on"))
    return Expectation(
        batch=batch["id"],
        tank=batch["tank"],
        system=batch["system"],
        zone=batch["zone"],
        water=batch["water"],
        first=first,
        last=last,
        said_on=said_on,
        stock=said["stock"],
        spare=said["spare"],
    )


def detail_of_item(note: str, item: Item | None = None) -> dict[str, Any]:
    """What a task's card needs, for a task that no template has: like that of a step without a treatment."""
    return {
        "who": item.who if item else "anyone",
        "elapsed": False,
        "note": note,
        "reads": list(item.reads) if item else [],
        "fraction": None,
        "references": list(item.references) if item else [],
        "treatment": None,
        "before": [],
    }


def arrival_of(rows: Rows, batch: Row) -> Row | None:
    """The data of a batch's arrival, with the keeper who entered it; None while it has not arrived."""
    for row in rows.rows("facts_since", system=batch["system"], since=batch["arrived_at"]):
        if row["kind"] == "arrival" and row["batch"] == batch["id"]:
            return {**json.loads(row["data"]), "keeper": rows.rows("keeper_name", id=row["keeper"])[0]["name"]}
    return None


def passed_lines(rows: Rows, batch: Row) -> list[str]:
    """What was not ready when the fish came, or could not be done on its day, who passed it and why: shown at
    sign-off."""
    arrival = arrival_of(rows, batch) or {}
    named = {"open_items": "Not ready at arrival", "clashes": "Nobody there on its day, as planned at arrival"}
    return [
        f"{says}, passed by {arrival['keeper']} ({passed['because']}): {'; '.join(passed['items'])}."
        for name, says in named.items()
        if (passed := arrival.get(name))
    ]
