"""What the rooms of the plan pass on: a course, what a series hangs on, one run of it, and the plan made of them."""

from __future__ import annotations

from datetime import date, datetime
from typing import NamedTuple

from quarantine.evidence import Standing
from quarantine.facts import Fact, PlannedTask
from quarantine.protocol import Protocol

DAILY_CARE = ("look", "feed", "test")
"""Care that belongs to its day: once the window closes it is missed, and a person says why."""


class Course(NamedTuple):
    """A batch in a water system, with its frozen protocol."""

    batch: str
    tank: str
    system: str
    zone: str
    protocol: Protocol
    arrival: Fact
    closed_at: datetime | None = None
    species: tuple[str, ...] = ()
    """the fish of the batch by name, as far as they are known"""
    away: tuple[tuple[date, str], ...] = ()
    """the days on which nobody is there who may look, as far as they are known, each with why"""
    name: str = ""
    """what people call the batch"""


class Plan(NamedTuple):
    """Tasks in order of key, how each batch stands, and why a series ended before its time, by (batch, step)."""

    tasks: tuple[PlannedTask, ...]
    standings: dict[str, Standing]
    stops: dict[tuple[str, str], str]


class Anchor(NamedTuple):
    """What a series of runs hangs on: an id for the key, the day (or instant) of its first run, or what it needs."""

    id: str
    day: date | None
    at: datetime | None
    reason: str
    needs: str | None = None
    since: datetime | None = None
    """the instant of what it hangs on"""


class Run(NamedTuple):
    """One time that a step is to be done: its number and key, when it is due and why, and what came of it."""

    n: int
    key: str
    day: date | None
    at: datetime | None
    outcome: Fact | None
    state: str
    reason: str
    needs: str | None
    ceiling: datetime | None = None
    """the elapsed ceiling since the run before (rule A12)"""

    @property
    def done_at(self) -> datetime | None:
        return self.outcome.at if self.outcome is not None and self.outcome.kind != "skip" else None
