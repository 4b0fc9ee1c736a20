"""Work of several batches in one water that is one work: doses by the same row, nearer than its minimum gap (rule B2);
tests and changes of the water, a look at its fish and their feeding, on one day."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date, datetime
from typing import NamedTuple

from quarantine.bathing import END
from quarantine.facts import local_day
from quarantine.failures import Unknown
from quarantine.records.codec import instant
from quarantine.records.reads import Row, Rows

WATER_DOSES = ("bath", "prolonged")
"""Routes of what goes to all fish in a water; a dip and food are of one batch."""


def missed(row: Row, now: datetime) -> bool:
    """Whether the time of a task has run out; it stays until a person gives the reason (rule A11)."""
    return bool(row["state"] == "missed" or (row["lapses_at"] and instant(row["lapses_at"]) <= now))


def one_work(row: Row, copy: str | None) -> tuple[str, ...] | None:
    """What tasks of several batches have in common that one deed does; None for what is of one batch alone, and for a
    dose (:class:`Twins`). ``copy`` is the batch's copy of its protocol (None: it is not in the water yet).

    A look, food and a reading are of the tank: one entry is one for each batch in it. A change is done for those
    under the same protocol, and so is a chore of the water.
    """
    kind, step, day = row["kind"], row["step"], row["day"]
    if day is None or step == END or copy is None:
        return None
    common = (kind, row["system"], row["tank"], step, row["title"], day)
    if kind in ("look", "feed", "test"):
        return common
    of_water = "." not in step and row["key"].split(":")[0] != row["batch"]
    return (*common, copy) if kind == "change" or (kind == "chore" and of_water) else None


def done_with(rows: Rows, task: Row, now: datetime) -> list[Row]:
    """The open tasks of other batches that stand on the list in one row with this one: what is said of it is said of
    them."""
    batches = {b["id"]: b for b in rows.rows("batches_of_system", system=task["system"]) if b["state"] == "open"}
    if task["batch"] not in batches or len(batches) == 1:
        return []
    late, today = missed(task, now), local_day(now, task["zone"]).isoformat()
    copies = {id_: str(b["copy_id"]) for id_, b in batches.items()}
    return [
        {**row, "zone": task["zone"], "batch_name": batches[row["batch"]]["name"], "tank_name": task["tank_name"]}
        for row in rows.rows("open_tasks_of_system", system=task["system"])
        if row["batch"] in copies
        and row["batch"] != task["batch"]
        and missed(row, now) == late
        and (_same_dose(task, row, today) if task["kind"] == "dose" else _same_work(task, row, copies))
    ]


def _same_work(task: Row, row: Row, copies: Mapping[str, str]) -> bool:
    common = one_work(task, copies[task["batch"]])
    return common is not None and common == one_work(row, copies[row["batch"]])


def _same_dose(task: Row, row: Row, today: str) -> bool:
    """Whether two doses stand on the list as one: both to the water, by the same row, and due by the same day."""
    if row["kind"] != "dose" or row["day"] is None or task["day"] is None or row["state"] != "planned":
        return False
    from quarantine.formulary import regimen

    mine, other = (json.loads(one["detail"])["treatment"]["regimen"] for one in (task, row))
    shown = row["day"] <= today if task["day"] <= today else row["day"] == task["day"]
    return bool(mine == other and shown and regimen(mine)[1].route in WATER_DOSES)


class _Dose(NamedTuple):
    batch: str
    day: date
    code: str


class Twins:
    """Open doses, told in order of their days."""

    def __init__(self) -> None:
        self._first: dict[tuple[str, str], list[_Dose]] = {}
        self._days: dict[str, int] = {}

    def of(self, system: str, regimen: str, batch: str, day: date, code: str) -> str | None:
        """The code of another batch's dose with which this one is given; None: it is given for itself."""
        near = [
            one
            for one in self._first.setdefault((system, regimen), [])
            if one.batch != batch and abs((day - one.day).days) < self._apart(regimen)
        ]
        if near:
            return near[-1].code
        self._first[system, regimen].append(_Dose(batch, day, code))
        return None

    def _apart(self, name: str) -> int:
        """Days from which on two doses of a row are two: its minimum gap, at least a day."""
        if name not in self._days:
            from quarantine.formulary import regimen

            try:
                gap = regimen(name)[1].minimum_gap
            except Unknown:
                gap = None
            hours = 24 if gap is None else int(gap.value) * (1 if gap.unit == "h" else 24)
            self._days[name] = max(1, -(-hours // 24))
        return self._days[name]
