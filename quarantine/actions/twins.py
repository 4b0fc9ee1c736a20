"""Doses of several batches in one water that are one dose (rule B2): by the same row, nearer than its minimum gap."""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

from quarantine.failures import Unknown


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
