"""A new plan against what is stored: what is new, what changed, what is withdrawn. And the code a task is called by."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from quarantine.facts import PlannedTask

SPOKEN = "23456789ABCEFGHJKMNPQRSTUVWXYZ"
"""Letters and digits that are not mistaken when spoken: no 0 or O, no 1, I or L. D is for doses alone."""

STORED_FIELDS = ("title", "day", "due_from", "due_until", "lapses_at", "state", "needs", "reason")


def code_of(key: str, kind: str, attempt: int = 0) -> str:
    """The spoken code of a task: four characters, for a dose D and four more. A clash takes the next attempt."""
    digest = int.from_bytes(hashlib.sha256(f"{key}:{attempt}".encode()).digest()[:8], "big")
    letters = []
    for _ in range(4):
        digest, rest = divmod(digest, len(SPOKEN))
        letters.append(SPOKEN[rest])
    return ("D" if kind == "dose" else "") + "".join(letters)


class Changes(NamedTuple):
    """What a new plan changes in what is stored."""

    new: list[PlannedTask]
    changed: list[tuple[str, dict[str, Any]]]
    """(task id, columns)"""


def reconcile(
    stored: list[dict[str, Any]], tasks: Iterable[PlannedTask], stops: Mapping[tuple[str, str], str] | None = None
) -> Changes:
    """Compare by key. Done and skipped rows stay as they are; what is no longer planned is withdrawn.

    ``stored`` rows carry Python values (dates, instants) under the columns of the task table. What a stop withdrew
    keeps why, by (batch, step).
    """
    rows = {row["key"]: row for row in stored}
    new, changed, seen = [], [], set()
    for task in tasks:
        seen.add(task.key)
        row = rows.get(task.key)
        if row is None:
            new.append(task)
        elif row["state"] not in ("done", "skipped"):
            values = {name: getattr(task, name) for name in STORED_FIELDS if row[name] != getattr(task, name)}
            if values:
                changed.append((row["id"], values))
    changed += [
        (row["id"], {"state": "withdrawn", **_because(row, stops or {})})
        for key, row in rows.items()
        if key not in seen and row["state"] in ("planned", "missed")
    ]
    return Changes(new, changed)


def _because(row: dict[str, Any], stops: Mapping[tuple[str, str], str]) -> dict[str, str]:
    why = stops.get((row["batch"], row["step"])) if stops else None
    return {} if why is None else {"reason": why}
