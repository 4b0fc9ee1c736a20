"""Calendar files (iCalendar): the bytes of events, and writing them so that an old file is never half lost.

The layout is for readers that disagree with each other: one-off events only, a whole day as VALUE=DATE,
a time in UTC with Z (so no time zone has to be described), no METHOD, one plain DISPLAY alarm. Nothing
comes from a clock: the same events give the same bytes.

Rules: IETF, RFC 5545, Internet Calendaring and Scheduling Core Object Specification, 2009; IETF, RFC 7986,
New Properties for iCalendar, 2016 (NAME).
"""

from __future__ import annotations

import errno
import os
import re
import stat
from collections.abc import Iterable, Iterator
from contextlib import suppress
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from quarantine import __version__
from quarantine.calendars.lint import LONGEST_UID, lint_file
from quarantine.failures import Refused

if TYPE_CHECKING:
    import icalendar

MINUTE = timedelta(minutes=1)
DAY = timedelta(days=1)

_BREAKS = re.compile("\r\n|[\r\x0b\x0c\x85\u2028\u2029]")
# Beside C0 and C1: a mark that turns the reading direction could show 41 mL as 14 mL, and some readers drop
# a byte order mark wherever it stands.
_CONTROLS = re.compile("[\x00-\x08\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ufeff]")
# Half a surrogate pair has no UTF-8; it comes from bytes of a command line that were not text.
_SURROGATES = re.compile("[\ud800-\udfff]")
_BLANKS = re.compile("[ \t\n]+")
_NOT_SLUG = re.compile(r"[\W_]+")
# Comma, semicolon and backslash would be escaped and grow the line; quotes trip sloppy readers.
_UID = re.compile(rf"[!#-+\--:<-\[\]-~]{{1,{LONGEST_UID}}}")
_CANCELLED = "Cancelled: "


class Event(NamedTuple):
    """One task as a calendar shows it: either a whole ``day`` or a ``start`` in UTC, never both.

    ``uid``: printable ASCII without ``, ; \\ "`` or space, 1 to 71 octets, stored with the task and
    never changed. ``sequence``: 0, then one more for each change of what is exported. ``stamp``: the time
    of that change and ``created`` the time the task was made, both aware; whole seconds are written.
    ``minutes``: length of a timed event, 1 or more. ``ring``: when to ring, None for no alarm. On a whole
    day it counts from the local midnight that begins it (9 hours is 09:00, below 24 hours); on a timed
    event it is the time before the start. Whole minutes are written, and zero as one minute, because some
    calendars ignore an alarm of zero; it says the summary, then ``alarm``. A cancelled event never rings, and
    its summary says "Cancelled" for the calendars that draw it like a live one.
    """

    uid: str
    sequence: int
    stamp: datetime
    created: datetime
    summary: str
    description: str
    day: date | None = None
    start: datetime | None = None
    minutes: int = 15
    categories: tuple[str, ...] = ()
    cancelled: bool = False
    ring: timedelta | None = None
    alarm: str = ""


def clean(text: str) -> str:
    """Text that can stand in a calendar: tab and newline are the only controls left.

    Every other line end becomes a newline; other C0 and C1 controls, marks that turn the reading direction and
    byte order marks go; half surrogates become U+FFFD; and a backslash becomes a slash, because readers take
    ``\\N`` in ``C:\\New`` for a line end.
    """
    text = _CONTROLS.sub("", _BREAKS.sub("\n", text))
    return _SURROGATES.sub("\ufffd", text).replace("\\", "/")


def clean_line(text: str) -> str:
    """The same on one line: runs of blanks, tabs and newlines become one blank."""
    return _BLANKS.sub(" ", clean(text)).strip(" ")


def clean_name(text: str) -> str:
    """A calendar's name in plain words: readers disagree about escapes in it, so no comma or semicolon."""
    return clean_line(re.sub("[,;\\\\]", " ", text))


def slug(text: str) -> str:
    """A category in lower case, words joined by hyphens: some readers split at commas, escaped or not."""
    return _NOT_SLUG.sub("-", clean(text).casefold()).strip("-")


def calendar_bytes(events: Iterable[Event], name: str) -> Iterator[bytes]:
    """The file piece by piece: header, one piece for each event, footer. Same input, same bytes.

    Events stand in the order in which they come (see :func:`ordered`), so that a large calendar is never held in
    memory. ValueError when an event breaks the ranges that Event states; that is a mistake of the caller, never of a
    keeper.
    """
    header = _header(clean_name(name))
    footer = b"END:VCALENDAR\r\n"
    yield header.removesuffix(footer)
    for event in events:
        yield _component(event).to_ical()
    yield footer


class Draft:
    """A calendar beside its target, whole and checked, that takes the target's place in one step when the block ends.

    With an error inside, or where ``placed`` is False (a dry run), the old file is as it was; nothing is ever left
    beside it. A link is followed; the old file's mode is kept. Refused when there is no room, no such folder, no
    permission, or the lint finds a problem.
    """

    def __init__(self, path: Path, *, placed: bool = True) -> None:
        self.path = path
        self.target = Path(os.path.realpath(path))
        self.part = self.target.parent / f".{os.urandom(8).hex()}.part"
        self.placed = placed

    def __enter__(self) -> Draft:
        return self

    def fill(self, events: Iterable[Event], name: str) -> int:
        """Write the bytes event by event, to the disk and through the lint; how many events. ValueError as for
        calendar_bytes."""
        count = 0

        def counted() -> Iterator[Event]:
            nonlocal count
            for event in events:
                count += 1
                yield event

        try:
            mode = _mode_of(self.target, self.path)
            with self.part.open("xb") as file:
                for piece in calendar_bytes(counted(), name):
                    file.write(piece)
                file.flush()
                os.fsync(file.fileno())
            _must_be_clean(self.part, self.path)
            if mode is not None:
                self.part.chmod(mode)
        except OSError as error:
            raise Refused(_sentence(error, self.path), path=str(self.path)) from error
        return count

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: object) -> None:
        try:
            if kind is None and self.placed:
                self.part.replace(self.target)
        except OSError as failed:
            raise Refused(_sentence(failed, self.path), path=str(self.path)) from failed
        finally:
            # After success it is gone already; under a path that is no folder it never was.
            with suppress(OSError):
                self.part.unlink()


def write_file(path: Path, events: Iterable[Event], name: str) -> int:
    """Write the calendar whole or not at all (:class:`Draft`); returns the number of events."""
    with Draft(path) as draft:
        return draft.fill(events, name)


def ordered(events: Iterable[Event]) -> list[Event]:
    """Events by day or start, a whole day before the times of that date, then by uid."""
    return sorted(events, key=_order)


def _order(event: Event) -> tuple[str, str]:
    """A whole day sorts before the times of its date, because its text is their beginning."""
    if event.start is not None:
        return _utc(event.start, "start").isoformat(), event.uid
    return event.day.isoformat() if event.day is not None else "", event.uid


def _header(name: str) -> bytes:
    import icalendar

    calendar = icalendar.Calendar()
    calendar.add("version", "2.0")
    calendar.add("prodid", f"-//quarantine//quarantine {__version__}//EN")
    calendar.add("calscale", "GREGORIAN")
    # A plain str under these two names is written unescaped: a line break in it would be a new property.
    calendar["NAME"] = icalendar.vText(name)
    calendar["X-WR-CALNAME"] = icalendar.vText(name)
    header: bytes = calendar.to_ical()
    return header


def _component(event: Event) -> icalendar.Event:
    import icalendar

    _must_be_writable(event)
    begin, end = _span(event)
    summary = clean_line(event.summary)
    if event.cancelled and not summary.startswith(_CANCELLED):
        summary = _CANCELLED + summary
    stamp = _utc(event.stamp, "stamp")
    component = icalendar.Event()
    component.add("uid", event.uid)
    component.add("sequence", event.sequence)
    component.add("dtstamp", stamp)
    component.add("last-modified", stamp)
    component.add("created", _utc(event.created, "created"))
    component.add("dtstart", begin)
    component.add("dtend", end)
    component.add("summary", summary)
    component.add("description", clean(event.description))
    component.add("status", "CANCELLED" if event.cancelled else "CONFIRMED")
    component.add("transp", "TRANSPARENT")
    # Each once, in the order given.
    if categories := list(dict.fromkeys(filter(None, map(slug, event.categories)))):
        component.add("categories", categories)
    if event.ring is not None and not event.cancelled:
        component.add_component(_alarm(summary + event.alarm, event.ring, whole_day=event.day is not None))
    return component


def _alarm(says: str, ring: timedelta, *, whole_day: bool) -> icalendar.Alarm:
    import icalendar

    after = max(ring // MINUTE, 1) * MINUTE
    alarm = icalendar.Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", clean_line(says))
    alarm.add("trigger", after if whole_day else -after)
    return alarm


def _span(event: Event) -> tuple[date, date] | tuple[datetime, datetime]:
    """Begin and end; the end is the first day or second that no longer belongs to the event."""
    if event.day is not None and event.start is None:
        return event.day, event.day + DAY
    if event.start is not None and event.day is None:
        begin = _utc(event.start, "start")
        return begin, begin + event.minutes * MINUTE
    raise ValueError(f"event {event.uid!r} needs either a day or a start")


def _utc(at: datetime, what: str) -> datetime:
    if at.tzinfo is None:
        raise ValueError(f"{what} of an event needs a time zone: {at.isoformat()}")
    return at.astimezone(UTC).replace(microsecond=0)


def _must_be_writable(event: Event) -> None:
    if not _UID.fullmatch(event.uid):
        raise ValueError(f"uid of an event must be 1 to {LONGEST_UID} plain ASCII characters: {event.uid!r}")
    if isinstance(event.day, datetime):
        raise ValueError(f"day of event {event.uid!r} is a time, not a date")
    if event.sequence < 0:
        raise ValueError(f"sequence of event {event.uid!r} is below 0")
    if event.minutes < 1:
        raise ValueError(f"event {event.uid!r} must last a minute or more")
    if event.ring is not None and event.ring < timedelta(0):
        raise ValueError(f"ring of event {event.uid!r} is negative")
    if event.ring is not None and event.day is not None and event.ring >= DAY:
        raise ValueError(f"ring of event {event.uid!r} falls on a later day than the event")


_BEGINS = b"BEGIN:VCALENDAR"


def _mode_of(target: Path, path: Path) -> int | None:
    """Permissions of the file that will be replaced, None when there is none yet.

    Refused for a folder and for a device: replacing /dev/null by a file would harm the whole machine.
    """
    if not target.exists():
        return None
    if target.is_dir():
        raise Refused(f"{path} is a folder; name a file in it.", path=str(path))
    if not target.is_file():
        raise Refused(f"{path} is not an ordinary file and was left alone; name another.", path=str(path))
    with target.open("rb") as file:
        first = file.read(len(_BEGINS))
    if first.upper() not in (b"", _BEGINS):  # notes, or the record itself, under a mistyped name
        raise Refused(f"{path} is there and is no calendar; it was left alone: name another file.", path=str(path))
    return stat.S_IMODE(target.stat().st_mode)


def _must_be_clean(written: Path, path: Path) -> None:
    problems = lint_file(written)
    if not problems:
        return
    more = f" (and {len(problems) - 1} more)" if len(problems) > 1 else ""
    raise Refused(
        f"The calendar {path} was not written, because a phone might not read it: line {problems[0].line}, "
        f"{problems[0].message}{more}; any older file is as it was. Please report this fault of the tool.",
        path=str(path),
        problems=[f"line {problem.line}: {problem.message}" for problem in problems],
    )


def _sentence(error: OSError, path: Path) -> str:
    kept = "any older file is as it was"
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return f"There is no room left to write {path}; {kept}. Free some space or name another disk."
    if error.errno == errno.ENOENT:
        return f"There is no folder {path.parent} for {path.name}; make it first or name another file."
    if error.errno == errno.ENOTDIR:
        return f"{path} cannot be written: a part of that path is a file, not a folder. Name another file."
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return f"{path} may not be written by this account; {kept}. Name a file in a folder of your own."
    reason = (error.strerror or type(error).__name__).lower()
    return f"{path} could not be written ({reason}); {kept}. Name another file or look at the disk."
