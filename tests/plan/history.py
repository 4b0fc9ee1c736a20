"""Facts for the tests of the pure rooms: a batch's history, day by day, in the site's own time."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import count
from typing import Any
from zoneinfo import ZoneInfo

from events_text import EVENTS_TEXT

from quarantine import clearance
from quarantine import evidence as ev
from quarantine.facts import Fact, PlannedTask
from quarantine.plan import Course, Plan, plan
from quarantine.protocol import Protocol, Treatment, load, read
from quarantine.water.ledger import Water, exposures

WATER = Water(200.0, 2.0)

HEAD = """
format = 1
id = "small"
revision = 1
title = "Small"
summary = "A template of a test."
author = "tests"
date = 2026-02-01
water = "marine"
fish = "any"

[[reference]]
key = "choice"
cite = "common practice, no source"
status = "common practice"

[[period]]
id = "observation"
title = "Ten days"
length = "10 d"
counts = "calendar"
start = { entered = "0 d" }
references = ["choice"]
"""

EVENTS = f"""
{EVENTS_TEXT}
[[criterion]]
period = "observation"
title = "The period is complete"

[[criterion]]
tasks = "settled"
"""

BATH = Treatment("Z01", None, "as published", "system", "running", ("carbon",), "After the last dose: this test.")


def small(steps: str, *, period: str = "", events: dict[str, str] | None = None, criteria: str = "") -> Protocol:
    """A small template; ``period`` replaces the period's ``counts``, ``events`` some of the events."""
    head = HEAD.replace('counts = "calendar"', f'counts = "{period}"') if period else HEAD
    tail = EVENTS
    for name, action in (events or {}).items():
        tail = tail.replace(f'{name} = "restart"', f'{name} = "{action}"')
        tail = tail.replace(f'{name} = "note"', f'{name} = "{action}"')
    protocol = read(head + steps + tail + criteria, "t.toml", frozen=True)
    made = [s._replace(kind="dose", treatment=BATH) if s.id == "dose" else s for s in protocol.steps]
    return protocol._replace(steps=tuple(made))


def dose_step(repeat: str, after_window: str = "shift", start: str = '{ arrival = "3 d" }', window: str = "") -> str:
    """One step that :func:`small` makes a dose of: the gates of a real template (rule C8) are not tested here."""
    return f"""
[[step]]
id = "dose"
kind = "chore"
title = "Bath"
for = "system"
start = {start}
repeat = {repeat}
{window or 'window = { from = "08:00", until = "20:00" }'}
after_window = "{after_window}"
references = ["choice"]
"""


class History:
    """A batch, its protocol and its facts. Days count from the day of arrival; clocks are local."""

    def __init__(
        self,
        protocol: Protocol | str = "fresh-watch",
        *,
        arrived: str = "2026-02-10 10:00",
        fish: int = 40,
        zone: str = "Europe/London",
        water: Water | None = WATER,
    ) -> None:
        self.protocol = load(protocol) if isinstance(protocol, str) else protocol
        self.zone, self.fish, self.water = zone, fish, water
        self.numbers = count(1)
        self.arrived = datetime.fromisoformat(arrived).replace(tzinfo=ZoneInfo(zone))
        self.facts: list[Fact] = []
        self.arrival = self.fact("arrival", self.arrived, {"count": fish})

    # --- time

    def day(self, n: int) -> date:
        return self.arrived.date() + timedelta(days=n)

    def at(self, n: int, clock: str = "09:00") -> datetime:
        hour, minute = (int(part) for part in clock.split(":"))
        day = self.day(n)
        return datetime(day.year, day.month, day.day, hour, minute, tzinfo=ZoneInfo(self.zone)).astimezone(UTC)

    # --- facts

    def fact(
        self,
        kind: str,
        at: datetime,
        data: dict[str, Any],
        *,
        entered: datetime | None = None,
        batch: str | None = "B",
        id_: str | None = None,
    ) -> Fact:
        made = Fact(
            id_ or f"f{next(self.numbers):04}",
            kind,
            at.astimezone(UTC),
            (entered or at).astimezone(UTC),
            "keeper",
            "S",
            "T",
            batch,
            None,
            data,
        )
        self.facts.append(made)
        return made

    def look(
        self,
        n: int,
        clock: str = "09:00",
        *,
        seen: int | None = -1,
        appetite: int | None = 3,
        none: bool = True,
        signs: tuple[str, ...] = (),
        gone: tuple[str, ...] = (),
        severity: dict[str, str] | None = None,
        entered: datetime | None = None,
    ) -> Fact:
        """A look; without ``seen`` all that are alive then were seen."""
        at = self.at(n, clock)
        alive = self.evidence(at).alive if seen == -1 else seen
        data: dict[str, Any] = {"seen": alive, "no_signs": none and not signs}
        if appetite is not None:
            data |= {"appetite": appetite, "offered": True}
        if signs:
            data |= {"signs": list(signs), "severity": severity or {}}
        if gone:
            data["gone"] = list(gone)
        return self.fact("look", at, data, entered=entered)

    def looks(self, first: int, last: int, **how: Any) -> None:
        for n in range(first, last + 1):
            self.look(n, **how)

    def read(self, n: int, clock: str = "09:00", *, form: str | None = "NO2", **values: str) -> None:
        """Readings by a fine kit; ``form`` is what a nitrite kit reads, None where nobody said it."""
        for name, value in values.items():
            data = {"parameter": name, "value": value, "step": "0.1", "unit": "", "water": self.protocol.water}
            said = {"form": form} if name == "nitrite" and form else {}
            self.fact("reading", self.at(n, clock), {**data, **said}, batch=None)

    def died(self, n: int, clock: str = "09:00", *, fish: int = 1, explained: bool = False) -> Fact:
        return self.fact("died", self.at(n, clock), {"count": fish, "explained": explained})

    def change(self, n: int, clock: str, litres: float) -> Fact:
        text = f"{litres:.1f}"
        return self.fact("change", self.at(n, clock), {"out_litres": text, "in_litres": text}, batch=None)

    def dose(
        self,
        at: datetime,
        key: str | None = None,
        *,
        target: str = "2",
        route: str = "bath",
        substance: str = "praziquantel",
        counts: bool = True,
        entered: datetime | None = None,
    ) -> Fact:
        """A dose of ``target`` mg/L for the nominal litres."""
        litres = self.water.litres if self.water else 200.0
        data = {
            "substance": substance,
            "route": route,
            "target_mg_per_l": target,
            "mass_mg": str(float(target) * litres),
            "counts": counts,
        }
        return self.fact("dose", at, data | ({"key": key} if key else {}), entered=entered)

    def done(self, task: PlannedTask, at: datetime) -> None:
        """The task as a keeper does it: looks, readings, doses and changes become their own facts."""
        if task.kind == "look":
            self.fact("look", at, {"seen": self.evidence(at).alive, "no_signs": True})
        elif task.kind == "feed":
            self.fact("look", at, {"seen": self.evidence(at).alive, "no_signs": True, "appetite": 3, "offered": True})
        elif task.kind == "test":
            step = next(s for s in self.protocol.steps if s.id == task.step)
            for name in step.reads:
                value = {"temperature": "25", "tan": "0", "nitrite": "0", "ph": "7.5", "salinity": "32"}[name]
                self.fact(
                    "reading",
                    at,
                    {"parameter": name, "value": value, "step": "0.01", "water": self.protocol.water},
                    batch=None,
                )
        elif task.kind == "dose":
            self.dose(at, task.key)
        else:
            if task.kind == "change" and self.water is not None:
                step = next(s for s in self.protocol.steps if s.id == task.step)
                litres = f"{float(step.fraction or 0) / 100 * self.water.litres:.1f}"
                self.fact("change", at, {"out_litres": litres, "in_litres": litres}, batch=None)
            self.fact("done", at, {"key": task.key})

    def perfect_day(self, n: int, *, but: tuple[str, ...] = ()) -> None:
        """Everything open up to day ``n`` is done at noon, save the kinds named in ``but``."""
        at = self.at(n, "12:00")
        for task in sorted(self.plan(at).tasks, key=lambda t: (t.due_from or at, t.kind, t.key)):
            if task.outcome is None and task.day is not None and task.day <= self.day(n) and task.kind not in but:
                self.done(task, at)

    # --- what the rooms say

    def course(self, closed_at: datetime | None = None) -> Course:
        return Course("B", "T", "S", self.zone, self.protocol, self.arrival, closed_at)

    def evidence(self, as_of: datetime) -> ev.Evidence:
        known = [f for f in self.facts if f.at <= as_of]
        return ev.gather(self.facts, "B", self.zone, self.arrival, as_of, exposures(known, self.water, as_of))

    def plan(self, as_of: datetime, *, facts: list[Fact] | None = None) -> Plan:
        return plan([self.course()], self.facts if facts is None else facts, as_of, self.water)

    def runs(self, step: str, as_of: datetime) -> list[PlannedTask]:
        """The tasks of a step by day, then by key."""
        found = [t for t in self.plan(as_of).tasks if t.step == step]
        return sorted(found, key=lambda t: (t.day or date.max, t.key))

    def judged(self, as_of: datetime) -> list[clearance.Judged]:
        made = self.plan(as_of)
        return clearance.judge(self.protocol.criteria, made.standings["B"], list(made.tasks))

    def earliest(self, as_of: datetime) -> date:
        return self.plan(as_of).standings["B"].earliest
