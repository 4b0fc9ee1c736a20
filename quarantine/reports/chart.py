"""A level over time as a picture: SVG text, and lines for a terminal. Pure: values in, text out.

Black and white: a rule is told by its dashes and its words, a mark by its shape and its row, the span between both
bounds by hatching. Nothing is taken from elsewhere, and text of the record cannot be markup.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from math import floor, log10
from typing import NamedTuple
from zoneinfo import ZoneInfo

from quarantine.quantity import show_significant
from quarantine.reports.drawing import WIDTH, folded, line, path, picture, px, text, ticks
from quarantine.reports.paper import escape

BEGINS = '<?xml version="1.0" encoding="UTF-8"?>\n<!-- A level over time, drawn by quarantine -->\n'
"""The first bytes of each file, by which an older one is known again."""

MARKS = {"dose": "doses", "change": "changes", "reading": "readings", "other": "other"}
"""The kinds of a mark and the words of its row."""
RULES = ("target", "ceiling", "prolonged limit", "effective minimum")

_ABOVE = 5.0
"""A rule so many times over everything else would press the level flat: it is named, not drawn. Our choice."""

_ROOM = 1.06
"""Above the highest of what is drawn."""


class Point(NamedTuple):
    """The bounds from ``at`` (aware) until the next point, in the chart's unit; both None: unknown."""

    at: datetime
    low: float | None
    high: float | None


class Mark(NamedTuple):
    """Something that happened. ``kind`` is a key of MARKS; a reading has ``low`` and ``high``, kit's error included."""

    at: datetime
    kind: str
    says: str
    low: float | None = None
    high: float | None = None


class Rule(NamedTuple):
    """A figure the level is held against: one of RULES, in the chart's unit."""

    what: str
    value: float


class Chart(NamedTuple):
    """One substance in one water. ``points`` are in time order and at least one; ``until`` is where the last one ends.
    ``now`` is drawn where it lies inside. ``says`` is the whole in a sentence or two."""

    title: str
    says: str
    unit: str
    zone: str
    points: tuple[Point, ...]
    until: datetime
    now: datetime
    marks: tuple[Mark, ...] = ()
    rules: tuple[Rule, ...] = ()


# --- What both have in common -----------------------------------------------------------------------------


class _Scale(NamedTuple):
    """The part of time and of levels that is shown."""

    start: datetime
    seconds: float
    top: float
    ticks: tuple[float, ...]

    def across(self, at: datetime) -> float:
        """Share of the width, 0 to 1."""
        return min(max((at - self.start).total_seconds() / self.seconds, 0.0), 1.0)

    def up(self, value: float) -> float:
        """Share of the height, 0 to 1."""
        return min(max(value / self.top, 0.0), 1.0)


def _scale(chart: Chart, most_ticks: int) -> _Scale:
    start = chart.points[0].at
    whole = max((chart.until - start).total_seconds(), 3600.0)
    shown = [p.high for p in chart.points if p.high is not None]
    shown += [m.high for m in chart.marks if m.high is not None]
    shown += [r.value for r in chart.rules if r.what == "target"]
    most = max(shown, default=0.0) or min((r.value for r in chart.rules), default=0.0) or 1.0
    most = max([most, *(r.value for r in chart.rules if r.value <= _ABOVE * most)])
    step = _nice(most / most_ticks)
    ticks = tuple(n * step for n in range(floor(most * _ROOM / step) + 1))
    # A little time before the first event, so that what it did is seen.
    return _Scale(start - timedelta(seconds=whole * 0.03), whole * 1.06, most * _ROOM, ticks)


def _nice(least: float) -> float:
    """The smallest of 1, 2 or 5 times a power of ten that is not below ``least``."""
    power = 10.0 ** floor(log10(least))
    return next(n * power for n in (1.0, 2.0, 5.0, 10.0) if n * power >= least * (1 - 1e-9))


def _drawn(chart: Chart, scale: _Scale) -> tuple[Rule, ...]:
    return tuple(rule for rule in chart.rules if rule.value <= scale.top * (1 + 1e-9))


def _number(value: float) -> str:
    return show_significant(Decimal(repr(value)), 4)


def _amount(value: float, unit: str) -> str:
    return f"{_number(value)} {unit}"


def _spans(chart: Chart) -> Iterator[tuple[Point, datetime]]:
    """Each point with the instant at which its bounds end."""
    for at, point in enumerate(chart.points):
        yield point, chart.points[at + 1].at if at + 1 < len(chart.points) else chart.until


def _years(chart: Chart) -> str:
    zone = ZoneInfo(chart.zone)
    years = sorted({at.astimezone(zone).year for at in (chart.points[0].at, chart.until)})
    return " to ".join(map(str, years))


# --- SVG --------------------------------------------------------------------------------------------------

_LEFT, _RIGHT, _TOP, _PLOT = 90, 230, 64, 330
_DASHES = {"target": "14 5 3 5", "ceiling": "18 7", "prolonged limit": "3 5", "effective minimum": "8 4"}
_ROW = 24


def svg(chart: Chart) -> str:
    """The picture as one SVG file: black on white, no script, no font and no picture from elsewhere.

    Raises ValueError for a chart without points: a fault of the caller.
    """
    if not chart.points:
        raise ValueError("a chart has at least one point")
    scale = _scale(chart, 6)
    plot = _Plot(scale)
    title = folded(chart.title, WIDTH - 40)
    rows = [kind for kind in MARKS if any(m.kind == kind for m in chart.marks)]
    notes = [_above(rule, chart.unit) for rule in chart.rules if rule not in _drawn(chart, scale)]
    notes += ["Hatched: from the lower to the upper bound of what may be in the water."]
    if any(p.high is None for p in chart.points):
        notes.append("Crossed: the level is unknown.")
    foot = _TOP + _PLOT + 52
    height = foot + _ROW * len(rows) + 18 * len(notes) + 16
    parts = [
        *(text(20, 26 + 18 * n, words, size=15, bold=True) for n, words in enumerate(title)),
        *_axes(chart, plot),
        *_band(chart, plot),
        *_rules(chart, plot),
        *_now(chart, plot),
        *_reading_bars(chart, plot),
        *(part for n, kind in enumerate(rows) for part in _mark_row(chart, plot, kind, foot + _ROW * n)),
        *(text(_LEFT, foot + _ROW * len(rows) + 18 * n + 4, note) for n, note in enumerate(notes)),
    ]
    return picture(BEGINS, height, chart.title, chart.says, [_PATTERNS, *parts])


_PATTERNS = (
    '<defs>\n<pattern id="hatch" width="8" height="8" patternUnits="userSpaceOnUse">'
    '<path d="M-2 2 L2 -2 M0 8 L8 0 M6 10 L10 6" stroke="#000" stroke-width="0.8"/></pattern>\n'
    '<pattern id="cross" width="12" height="12" patternUnits="userSpaceOnUse">'
    '<path d="M0 0 L12 12 M12 0 L0 12" stroke="#000" stroke-width="0.8"/></pattern>\n</defs>'
)


class _Plot(NamedTuple):
    """Where a time and a level stand on the sheet, in px."""

    scale: _Scale

    def x(self, at: datetime) -> float:
        return _LEFT + self.scale.across(at) * (WIDTH - _LEFT - _RIGHT)

    def y(self, value: float) -> float:
        return _TOP + (1 - self.scale.up(value)) * _PLOT


def _axes(chart: Chart, plot: _Plot) -> Iterator[str]:
    bottom, right = _TOP + _PLOT, WIDTH - _RIGHT
    yield line(_LEFT, _TOP, _LEFT, bottom, 1.5)
    yield line(_LEFT, bottom, right, bottom, 1.5)
    for value in plot.scale.ticks:
        yield line(_LEFT - 5, plot.y(value), _LEFT, plot.y(value))
        yield text(_LEFT - 9, plot.y(value) + 4, _number(value), anchor="end")
    yield text(20, _TOP - 10, chart.unit, bold=True)
    for at, words in ticks(plot.scale.start, plot.scale.seconds, chart.zone, 9):
        yield line(plot.x(at), bottom, plot.x(at), bottom + 5)
        yield text(plot.x(at), bottom + 18, words, anchor="middle")
    yield text(_LEFT, bottom + 34, f"{_years(chart)}, month-day and clock at the site ({chart.zone})")


def _band(chart: Chart, plot: _Plot) -> Iterator[str]:
    """The hatched span, its lower edge thin and its upper edge thick; where the level is unknown, a crossed box."""
    run: list[tuple[Point, datetime]] = []
    for point, end in _spans(chart):
        if point.high is not None:
            run.append((point, end))
            continue
        yield from _run(run, plot)
        run = []
        left, right = plot.x(point.at), plot.x(end)
        yield (
            f'<rect x="{px(left)}" y="{_TOP}" width="{px(max(right - left, 1))}" height="{_PLOT}" '
            f'fill="url(#cross)" stroke="#000" stroke-width="0.5"><title>unknown</title></rect>'
        )
    yield from _run(run, plot)


def _run(run: Sequence[tuple[Point, datetime]], plot: _Plot) -> Iterator[str]:
    if not run:
        return
    upper = [xy for p, end in run for xy in ((plot.x(p.at), plot.y(p.high or 0)), (plot.x(end), plot.y(p.high or 0)))]
    lower = [xy for p, end in run for xy in ((plot.x(p.at), plot.y(p.low or 0)), (plot.x(end), plot.y(p.low or 0)))]
    yield f'<path d="{path([*upper, *reversed(lower)])} Z" fill="url(#hatch)" stroke="none"/>'
    yield f'<path d="{path(lower)}" fill="none" stroke="#000" stroke-width="1"/>'
    yield f'<path d="{path(upper)}" fill="none" stroke="#000" stroke-width="2.5"/>'


def _rules(chart: Chart, plot: _Plot) -> Iterator[str]:
    """Each figure as a dashed line, and its words beside the plot, moved apart where they would touch."""
    right = WIDTH - _RIGHT
    last = chart.points[-1]
    named = [(plot.y(r.value), f"{r.what} {_amount(r.value, chart.unit)}") for r in _drawn(chart, plot.scale)]
    if last.high is not None and last.low is not None:
        named.append((plot.y(last.high), f"upper bound {show_up(last.high)} {chart.unit}"))
        named.append((plot.y(last.low), f"lower bound {show_down(last.low)} {chart.unit}"))
    for rule in _drawn(chart, plot.scale):
        y = plot.y(rule.value)
        yield line(_LEFT, y, right, y, 2.0 if rule.what == "ceiling" else 1.4, _DASHES[rule.what])
    named.sort()
    for (y, words), spread in zip(named, _spread([y for y, _ in named], 16, _TOP + 4, _TOP + _PLOT), strict=True):
        yield line(right, y, right + 14, spread, 0.7)
        yield text(right + 18, spread + 4, words)


def show_up(value: float) -> str:
    """An upper bound to four significant digits, never below it."""
    return show_significant(Decimal(repr(value)), 4, up=True)


def show_down(value: float) -> str:
    """A lower bound to four significant digits, never above it."""
    return show_significant(Decimal(repr(value)), 4, up=False)


def _spread(wanted: list[float], apart: float, top: float, bottom: float) -> list[float]:
    """Heights in the same order, at least so far apart where there is room, near those that are wanted."""
    found: list[float] = []
    for y in wanted:
        found.append(max(y, found[-1] + apart if found else top))
    over = bottom
    for at in range(len(found) - 1, -1, -1):
        found[at] = min(found[at], over)
        over = found[at] - apart
    return found


def _now(chart: Chart, plot: _Plot) -> Iterator[str]:
    if chart.points[0].at < chart.now <= chart.until:
        x = plot.x(chart.now)
        yield line(x, _TOP - 4, x, _TOP + _PLOT, 1.0, "2 3")
        yield text(x, _TOP - 8, "now", anchor="middle")


def _reading_bars(chart: Chart, plot: _Plot) -> Iterator[str]:
    for mark in chart.marks:
        if mark.kind == "reading" and mark.low is not None and mark.high is not None:
            x, low, high = plot.x(mark.at), plot.y(mark.low), plot.y(mark.high)
            yield line(x, low, x, high, 2.0)
            yield line(x - 5, low, x + 5, low, 2.0)
            yield line(x - 5, high, x + 5, high, 2.0)


def _mark_row(chart: Chart, plot: _Plot, kind: str, y: float) -> Iterator[str]:
    yield text(_LEFT - 9, y + 4, MARKS[kind], anchor="end")
    yield line(_LEFT, y, WIDTH - _RIGHT, y, 0.4)
    for mark in chart.marks:
        if mark.kind == kind:
            yield f"<g><title>{escape(mark.says)}</title>{_shape(kind, plot.x(mark.at), y)}</g>"


def _shape(kind: str, x: float, y: float) -> str:
    """A filled triangle, an open diamond, a filled circle, a cross."""
    if kind == "reading":
        return f'<circle cx="{px(x)}" cy="{px(y)}" r="4.5" fill="#000"/>'
    if kind == "dose":
        return f'<path d="{path([(x - 6, y + 5), (x, y - 7), (x + 6, y + 5)])} Z" fill="#000"/>'
    if kind == "change":
        corners = [(x - 6, y), (x, y - 6), (x + 6, y), (x, y + 6)]
        return f'<path d="{path(corners)} Z" fill="#fff" stroke="#000" stroke-width="1.5"/>'
    crossed = f"{path([(x - 5, y - 5), (x + 5, y + 5)])} {path([(x - 5, y + 5), (x + 5, y - 5)])}"
    return f'<path d="{crossed}" fill="none" stroke="#000" stroke-width="2"/>'


def _above(rule: Rule, unit: str) -> str:
    return f"The {rule.what} ({_amount(rule.value, unit)}) lies above this chart."


# --- Terminal ---------------------------------------------------------------------------------------------

_LETTERS = {"target": "t", "ceiling": "c", "prolonged limit": "p", "effective minimum": "m"}
GLYPHS = "▒│─└"
"""What the terminal has to be able to show; else the plain letters are used."""
_HEIGHT = 12
LEAST_COLUMNS = 20


def terminal(chart: Chart, columns: int, *, ascii_only: bool = False) -> list[str]:
    """The picture as lines of at most so many columns (20 or more), then what its letters mean.

    The last lines are words and may be longer: they are folded like any other line. Raises ValueError like ``svg``.
    """
    if not chart.points:
        raise ValueError("a chart has at least one point")
    scale = _scale(chart, 4)
    labels = {_row(scale, value): _number(value) for value in scale.ticks}
    margin = max(*(len(words) for words in labels.values()), len(MARKS["reading"]) if columns >= 40 else 0)
    wide = max(min(columns, 100) - margin - 2, 8)
    rules = _drawn(chart, scale)
    filled, side, foot, corner = tuple("#|-+" if ascii_only else GLYPHS)
    cells = _cells(chart, scale, wide, rules, filled)
    lines = [f"{'':>{margin}} {chart.unit}"]
    for row in range(_HEIGHT):
        lines.append(f"{labels.get(row, ''):>{margin}} {side}{''.join(cells[row])}".rstrip())
    lines.append(f"{'':>{margin}} {corner}{foot * wide}")
    lines.append(f"{'':>{margin}}  {_tick_row(chart, scale, wide)}".rstrip())
    narrow: list[str] = []
    for kind, name in MARKS.items():
        there = [m for m in chart.marks if m.kind == kind]
        if there:
            marked = [" "] * wide
            for mark in there:
                marked[_column(scale, mark.at, wide)] = name[0].upper()
            whole = name if len(name) <= margin else ""
            lines.append(f"{whole:>{margin}}  {''.join(marked)}".rstrip())
            narrow += [] if whole else [f"{name[0].upper()}: {name}."]
    lines.append(f"Filled: from the lower to the upper bound. Dates at the site ({chart.zone}), {_years(chart)}.")
    lines += narrow
    if any(p.high is None for p in chart.points):
        lines.append("?: unknown.")
    lines += [f"{_LETTERS[rule.what]}: {rule.what} {_amount(rule.value, chart.unit)}." for rule in rules]
    lines += [_above(rule, chart.unit) for rule in chart.rules if rule not in rules]
    return lines


def _row(scale: _Scale, value: float) -> int:
    return round((1 - scale.up(value)) * (_HEIGHT - 1))


def _column(scale: _Scale, at: datetime, wide: int) -> int:
    return min(int(scale.across(at) * wide), wide - 1)


def _cells(chart: Chart, scale: _Scale, wide: int, rules: Sequence[Rule], filled: str) -> list[list[str]]:
    cells = [[" "] * wide for _ in range(_HEIGHT)]
    for point, end in _spans(chart):
        for column in range(_column(scale, point.at, wide), _column(scale, end, wide) + 1):
            if point.high is None or point.low is None:
                for row in range(_HEIGHT):
                    cells[row][column] = "?"
                continue
            for row in range(_row(scale, point.high), _row(scale, point.low) + 1):
                if cells[row][column] == " ":
                    cells[row][column] = filled
    for phase, rule in enumerate(rules):
        for column in range(phase, wide, len(RULES)):
            cells[_row(scale, rule.value)][column] = _LETTERS[rule.what]
    return cells


def _tick_row(chart: Chart, scale: _Scale, wide: int) -> str:
    """Dates and clocks under their columns; one that would touch the last is left out."""
    row = ""
    for at, words in ticks(scale.start, scale.seconds, chart.zone, max(wide // 6, 2)):
        column = _column(scale, at, wide)
        if column >= len(row) + (1 if row else 0) and column + len(words) <= wide:
            row = f"{row:<{column}}{words}"
    return row
