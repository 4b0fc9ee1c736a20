"""Days, times of day and windows as instants, and how a moment lies to a window (rule A11)."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from quarantine.facts import local_day, utc
from quarantine.plan.model import DAILY_CARE, Run
from quarantine.plan.steps import after_window, interval
from quarantine.protocol import Step, Window


@lru_cache(maxsize=4096)
def instant_at(day: date, clock: str, zone: str) -> datetime:
    """Local time on a day, as an instant in UTC; in the autumn's double hour the first one is meant.

    A time that the spring change skips is the instant at which clocks show an hour later.
    """
    hour, minute = clock.split(":")
    return utc(datetime.combine(day, time(int(hour), int(minute)), ZoneInfo(zone)))


def shown(at: datetime, zone: str) -> str:
    """An instant as local time, to the minute."""
    return at.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%d %H:%M")


def moment_of(day: date, at: datetime | None, zone: str) -> datetime:
    """The instant of a run: its own where it has one on that day, else noon."""
    return at if at is not None and local_day(at, zone) == day else instant_at(day, "12:00", zone)


def on_weekday(day: date, weekdays: tuple[str, ...]) -> date:
    """The day itself, or the next one on which the window opens."""
    names = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
    while weekdays and names[day.weekday()] not in weekdays:
        day += timedelta(days=1)
    return day


@lru_cache(maxsize=4096)
def day_window(day: date, window: Window, zone: str) -> tuple[datetime, datetime]:
    """The instants between which a window is open on a day; the whole day ends as the next one begins."""
    if window.until == "23:59":
        end = instant_at(day + timedelta(days=1), "00:00", zone)
    else:
        end = instant_at(day, window.until, zone)
    return instant_at(day, window.from_, zone), end


def window_over(step: Step, day: date, at: datetime, zone: str) -> bool:
    """Whether an instant lies on a day, after the window of the step on it."""
    return local_day(at, zone) == day and day_window(day, step.window, zone)[1] <= at


def window_of(step: Step, run: Run, zone: str) -> tuple[datetime | None, datetime | None, datetime | None]:
    """From when, until when, and after when it counts as missed (rule A11)."""
    if run.day is None:
        return None, None, None
    then = after_window(step, run)
    lapses = then in ("keep", "reopen") or (then is None and step.kind in DAILY_CARE)
    if step.kind == "move" and then != "reopen":
        lapses = False  # the deadline of a move is never missed: it stays overdue, on top (rule A11)
    if run.ceiling is not None:
        due_from = run.at or day_window(run.day, step.window, zone)[0]
        return due_from, run.ceiling, run.ceiling if lapses else None
    if run.at is not None:
        every = interval(step)
        open_for = timedelta(hours=every.value) if every.unit == "h" else timedelta(days=1)
        late = step.window.late
        more = timedelta(hours=late.value * (24 if late.unit == "d" else 1)) if late else timedelta(0)
        return run.at, run.at, run.at + open_for + more if lapses else None
    due_from, due_until = day_window(run.day, step.window, zone)
    if not lapses:
        return due_from, due_until, None
    late = step.window.late
    if late is None:
        return due_from, due_until, due_until
    if late.unit == "h":
        return due_from, due_until, due_until + timedelta(hours=late.value)
    return due_from, due_until, day_window(run.day + timedelta(days=late.value), step.window, zone)[1]


def timing(due_from: datetime, due_until: datetime, lapses_at: datetime | None, at: datetime) -> str:
    """How a moment lies to a task's window: ``early``, ``on time``, ``late``, or ``missed`` (rule A11, F40).

    The window's own first and last instant are on time; from ``lapses_at`` on it is missed. All in UTC.
    """
    if at < due_from:
        return "early"
    if lapses_at is not None and at >= lapses_at:
        return "missed"
    return "on time" if at <= due_until else "late"


def timing_of(task: Mapping[str, Any], at: datetime) -> str | None:
    """:func:`timing` of a stored task row; None for a task that has no date."""
    if not task["due_from"]:
        return None
    lapses_at = datetime.fromisoformat(task["lapses_at"]) if task["lapses_at"] else None
    return timing(datetime.fromisoformat(task["due_from"]), datetime.fromisoformat(task["due_until"]), lapses_at, at)


OUT_OF_TIME = {"early": "early", "late": "late", "missed": "after it was missed"}
"""What is said of a task that was done outside its window; on time is what is expected, and goes without saying."""
