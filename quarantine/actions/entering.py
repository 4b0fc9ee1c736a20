"""Writing a fact, in the order in which it was entered, inside a transaction."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from quarantine.records.codec import text_of_instant
from quarantine.records.store import Act, new_id

OUTCOMES = ("done", "dose", "skip")
"""Facts that settle a task by themselves."""


def add_fact(
    act: Act,
    kind: str,
    *,
    system: str,
    at: datetime,
    data: dict[str, Any],
    tank: str | None = None,
    batch: str | None = None,
    task: str | None = None,
    id_: str | None = None,
    voids: str | None = None,
) -> str:
    """Write one fact; its id. ``voids`` names the fact that it takes back, or takes the place of."""
    id_ = id_ or new_id()
    # A task whose outcome was taken back can have another; the database tells them apart by this number.
    before = act.rows("outcomes_of_task", task=task)[0]["n"] if task and kind in OUTCOMES else 0
    act.add(
        "fact",
        {
            "id": id_,
            "kind": kind,
            "system": system,
            "tank": tank,
            "batch": batch,
            "task": task,
            "happened_at": at,
            "entered_at": act.now,
            "keeper": act.keeper,
            "data": data,
            "attempt": before or None,
            "voids": voids,
        },
    )
    return id_


def id_after(act: Act, system: str, at: datetime) -> str:
    """An id for a fact that sorts after those of the same water, second and second of entry: where the two times do
    not tell facts apart their ids do (:func:`quarantine.facts.in_order`), so that the order of entry decides."""
    at_text, now_text = text_of_instant(at), text_of_instant(act.now)
    found = act.rows("facts_since", system=system, since=at_text)
    same = [row["id"] for row in found if row["happened_at"] == at_text and row["entered_at"] == now_text]
    return new_id(same)
