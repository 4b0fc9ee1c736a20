"""Times as keepers type them: "2026-02-10 14:30", "20:10", "yesterday 8pm", "mon 7:30", "-2h", "40 min ago".

A date is only read as YYYY-MM-DD: 10/02/2026 is two different days to two readers, so it is refused. A clock time
needs a colon, "am" or "pm": a bare 8 could be morning or evening.
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from quarantine.failures import Refused

FORMS = '"YYYY-MM-DD HH:MM", "20:10", "yesterday 8pm", "mon 7:30" or "-2h"'

_AGO = re.compile(r"(?:-\s*(\d{1,4})\s*([a-z]+)|(\d{1,4})\s*([a-z]+)\s+ago)")
_AGO_UNITS = {
    **dict.fromkeys(("m", "min", "mins", "minute", "minutes"), "minutes"),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), "hours"),
    **dict.fromkeys(("d", "day", "days"), "days"),
}
_DAY_AND_CLOCK = re.compile(r"(?:(\d{4}-\d\d-\d\d|[a-z]+)(?:t|[,\s]+|$))?(?:at\s+)?(.*)")
_CLOCK = re.compile(r"(?:(\d{1,2}):(\d\d)|(\d{1,2})(?=\s*[ap]m))(?:\s*([ap]m))?", re.ASCII)
_NAMED = {"noon": "12:00", "midnight": "00:00"}
_FULL = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_WEEKDAYS = {name: number for number, full in enumerate(_FULL) for name in (full, full[:3])}


def read_moment(text: str, zone: str, now: datetime, what: str) -> datetime:
    """The instant, in UTC, that a keeper at a site in ``zone`` means by ``text`` at the instant ``now`` (aware).

    Hours and minutes ago are elapsed time; days ago keep the local clock. Without a day, today is meant; a weekday
    is the last one, today included. In the autumn's double hour the first is meant. Raises Refused, naming the
    option ``what``, for what does not read and for a local time that the spring change skips.
    """
    said = " ".join(text.casefold().split())
    local = _ago(said, now, zone) if (said.startswith("-") or said.endswith("ago")) else _local(said, now, zone)
    if local is None:
        raise Refused(f"{what} {text!r} does not read: write {FORMS}.")
    at = local.astimezone(UTC).replace(microsecond=0)
    if at.astimezone(ZoneInfo(zone)).replace(tzinfo=None) != local.replace(tzinfo=None, microsecond=0):
        raise Refused(f"{what} {text!r} does not exist in {zone}: the clocks went forward over it.")
    return at


def _ago(said: str, now: datetime, zone: str) -> datetime | None:
    found = _AGO.fullmatch(said)
    unit = _AGO_UNITS.get(found[2] or found[4]) if found else None
    if found is None or unit is None:
        return None
    count = int(found[1] or found[3])
    if unit == "days":
        from dateutil.relativedelta import relativedelta

        # Added to the wall clock: two days ago at the same hour, through a change of the clocks too.
        return now.astimezone(ZoneInfo(zone)) + relativedelta(days=-count)
    return (now - timedelta(**{unit: count})).astimezone(ZoneInfo(zone))


def _local(said: str, now: datetime, zone: str) -> datetime | None:
    named = _NAMED.get(said)
    found = _DAY_AND_CLOCK.fullmatch(said)
    day_word, clock = ("", named) if named else (found[1] or "", found[2]) if found else ("", "")
    clock = _NAMED.get(clock, clock)
    today = now.astimezone(ZoneInfo(zone)).date()
    day = _day(day_word, today)
    read = _clock(clock)
    return None if day is None or read is None else datetime.combine(day, read, ZoneInfo(zone))


def _clock(text: str) -> time | None:
    found = _CLOCK.fullmatch(text)
    if found is None:
        return None
    hour, minute, half = int(found[1] or found[3]), int(found[2] or 0), found[4]
    if half and not 1 <= hour <= 12:
        return None
    hour = hour if not half else hour % 12 + (12 if half == "pm" else 0)
    return time(hour, minute) if hour < 24 and minute < 60 else None


def _day(word: str, today: date) -> date | None:
    if word in ("", "today"):
        return today
    if word == "yesterday":
        return today - timedelta(days=1)
    if word in _WEEKDAYS:
        from dateutil.relativedelta import relativedelta, weekday

        return today + relativedelta(weekday=weekday(_WEEKDAYS[word])(-1))
    try:
        return date.fromisoformat(word) if len(word) == 10 else None
    except ValueError:
        return None
