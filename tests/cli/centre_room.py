"""The aquarium room of an invented community centre, for the acceptance stories: two keepers, some tanks, a clock that
is set in the site's own time."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from amend_room import Room

FRESH = "temp=25.5C ph=7.2 tan=0.1mg/L nitrite_no2=0.05mg/L oxygen=6.5mg/L"
MARINE = "temp=25.5C ph=8.1 tan=0.1mg/L nitrite_no2=0.05mg/L oxygen=6.5mg/L salinity=34g/L"
BOX = "--shape box --length '60 cm' --width '30 cm' --filled '30 cm'"


class Centre(Room):
    """Tanks Q1 (quarantine) and Show (display) at one site; Robin types where nobody else is named."""

    def __init__(
        self,
        folder: Path,
        capsys: pytest.CaptureFixture[str],
        monkeypatch: pytest.MonkeyPatch,
        water: str,
        litres: str = "100 L",
    ) -> None:
        super().__init__(folder, capsys, monkeypatch, water=water)
        monkeypatch.setenv("QUARANTINE_KEEPER", "Robin")
        self.type("keeper add Noor")
        self.water = water
        self.type(f"tank measure Q1 '{litres}' --by buckets --plus-minus '1 L' --really")

    def tank(self, name: str, role: str = "quarantine", litres: str = "") -> None:
        """One more tank; with its litres by buckets, where they are said."""
        self.type(f"tank add {name} --site Hall --role {role} --water {self.water} {BOX}")
        if litres:
            self.type(f"tank measure {name} '{litres}' --by buckets --plus-minus '1 L' --really")

    def arrive(
        self,
        protocol: str,
        at: str,
        fish: str = "12 Melanotaenia praecox",
        tank: str = "Q1",
        source: str = "a breeder",
        more: str = "",
    ) -> str:
        """Fish come now."""
        return self.at(at).type(
            f"batch start --tank {tank} --protocol {protocol} --arrived '{at}' --fish '{fish}' --from '{source}' "
            f"--to Show --acknowledge --yes {more}"
        )

    def days(self, first: str, last: str, seen: int, tanks: str = "Q1", *, readings: bool = True) -> None:
        """Each of these days at 09:00 one look at so many fish that ate, and the readings that a dose asks for."""
        day, end = datetime.fromisoformat(first), datetime.fromisoformat(last)
        while day <= end:
            self.at(f"{day:%Y-%m-%d} 09:00")
            for tank in tanks.split():
                self.type(f"look '{tank} {seen} 3' --no-signs")
                if readings:
                    self.type(f"reading {tank} {FRESH if self.water == 'fresh' else MARINE}")
            day += timedelta(days=1)

    def settle(self, batch: str = "Q1-1") -> None:
        """What of a batch is open up to today is said to have been left out, with a reason."""
        today = f"{self.now.astimezone(ZoneInfo(self.zone)):%Y-%m-%d}"
        tasks = self.json(f"batch show {batch}")["tasks"]
        open_ = [t["code"] for t in tasks if t["state"] in ("planned", "missed") and t["day"] and t["day"] <= today]
        if open_:
            self.type(f"skip {' '.join(open_)} --because 'a story' --yes")

    def due(self, kind: str = "dose", tank: str = "Q1") -> list[dict[str, Any]]:
        """What of a kind is due now or overdue, as the list of the day has it."""
        listed = self.json(f"today --tank {tank}")["tasks"]
        return [t for t in listed if t["kind"] == kind and t["section"] in ("due", "overdue")]

    def given(self, code: str) -> dict[str, Any]:
        """The dose on record of a task."""
        found: dict[str, Any] = self.json(f"why {code}")["given"]
        return found
