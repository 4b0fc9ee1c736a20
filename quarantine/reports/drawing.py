"""What the pictures share: SVG text without colour, script or font from elsewhere, and round times along an axis.

Pure: values in, text out; text of the record cannot be markup.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from quarantine.quantity import show
from quarantine.reports.paper import escape, plain

WIDTH = 960
"""Of each picture, in px."""

_LETTER = 6.6
"""Width of a letter of 12 px, by which a title is folded; wide letters of a plain sans-serif."""


def px(value: float) -> str:
    """A length or a place in px, to a tenth."""
    return show(Decimal(repr(round(value, 1))))


def text(x: float, y: float, words: str, *, size: int = 12, anchor: str = "start", bold: bool = False) -> str:
    """Words that begin, end or are centred at a place; ``size`` in px."""
    weight = ' font-weight="bold"' if bold else ""
    return f'<text x="{px(x)}" y="{px(y)}" font-size="{size}" text-anchor="{anchor}"{weight}>{escape(words)}</text>'


def line(x1: float, y1: float, x2: float, y2: float, width: float = 1.0, dashes: str = "") -> str:
    """A straight black line; ``dashes`` as SVG has them."""
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<line x1="{px(x1)}" y1="{px(y1)}" x2="{px(x2)}" y2="{px(y2)}" stroke="#000" '
        f'stroke-width="{px(width)}"{dashed}/>'
    )


def folded(words: str, width: int) -> list[str]:
    """The title on at most two lines; what is longer stands whole in the title element."""
    from textwrap import wrap

    lines = wrap(plain(words), int(width / (_LETTER * 15 / 12)))
    return [*lines[:1], *([lines[1] + ("…" if len(lines) > 2 else "")] if len(lines) > 1 else [])]


def path(points: Iterable[tuple[float, float]]) -> str:
    """The course of a line through places, in px."""
    return "M" + " L".join(f"{px(x)} {px(y)}" for x, y in points)


def picture(begins: str, height: int, title: str, says: str, parts: Iterable[str]) -> str:
    """One SVG file of the width of all: its first bytes, its name and the whole in words for a screen reader, black on
    white."""
    body = "\n".join(parts)
    return (
        f'{begins}<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{height}" '
        f'viewBox="0 0 {WIDTH} {height}" role="img" aria-labelledby="title desc" '
        f'font-family="Arial, Helvetica, DejaVu Sans, sans-serif" fill="#000">\n'
        f'<title id="title">{escape(title)}</title>\n<desc id="desc">{escape(says)}</desc>\n'
        f'<rect x="0" y="0" width="{WIDTH}" height="{height}" fill="#fff"/>\n{body}\n</svg>\n'
    )


_HOURS = (1, 2, 3, 6, 12)
_DAYS = (1, 2, 3, 7, 14, 28, 56, 91, 182, 365, 730, 1825, 3650, 18250)


def ticks(start: datetime, seconds: float, place: str, most: int) -> list[tuple[datetime, str]]:
    """Round times at the site, at most so many: clock times with their date at midnight, or dates only."""
    zone = ZoneInfo(place)
    end = start + timedelta(seconds=seconds)
    first, last = start.astimezone(zone).date(), end.astimezone(zone).date()
    for hours in _HOURS if seconds < 86400 * most else ():
        clocks = [(day, hour) for day in _days(first, last, 1) for hour in range(0, 24, hours)]
        found = [
            (at, f"{day:%m-%d}" if hour == 0 else f"{hour:02d}:00")
            for day, hour in clocks
            if start <= (at := _instant(day, hour, zone)) <= end
        ]
        if len(found) <= most:
            return found
    for step in _DAYS:
        found = [
            (at, f"{day:%m-%d}" if step < 182 else f"{day:%Y-%m}")
            for day in _days(first, last, step)
            if start <= (at := _instant(day, 0, zone)) <= end
        ]
        if len(found) <= most:
            return found
    return []


def _days(first: date, last: date, step: int) -> Iterator[date]:
    for n in range(0, (last - first).days + 1, step):
        yield first + timedelta(days=n)


def _instant(day: date, hour: int, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time(hour), zone).astimezone(UTC)
