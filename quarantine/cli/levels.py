"""What of each substance is in the water, as a ledger that anyone can recompute, and as a chart. A read."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any
from zoneinfo import ZoneInfo

import typer

from quarantine.actions.levels import (
    Bounds,
    Held,
    Ledger,
    Line,
    Overview,
    WaterOf,
    level_words,
    read_ledger,
    read_overview,
)
from quarantine.cli.session import now, session
from quarantine.quantity import show, show_significant

if TYPE_CHECKING:
    from quarantine.reports.chart import Chart


def level(
    tank: Annotated[str, typer.Argument(help="The tank.")],
    substance: Annotated[str | None, typer.Argument(help="The substance's name; without it, all on record.")] = None,
    on: Annotated[
        str | None, typer.Option(help='Also at that time, past or to come: "2026-03-01 08:00", "yesterday 8pm".')
    ] = None,
    chart: Annotated[bool, typer.Option("--chart", help="Draw it under the lines.")] = False,
    svg: Annotated[Path | None, typer.Option("--svg", help="Write the chart as a picture (SVG).")] = None,
) -> None:
    from quarantine.failures import Usage

    if substance is None:
        if chart or svg is not None:
            raise Usage("A chart is of one substance; name it: quarantine level TANK SUBSTANCE --chart")
        with session().reader() as rows:
            found = read_overview(rows, tank, now(), on)
        session().emit(_overview_json(found), overview_lines(found))
        return
    home = session().home()
    with session().reader() as rows:
        made = read_ledger(rows, home, tank, substance, now(), on)
    document, lines = _ledger_json(made), ledger_lines(made)
    if chart or svg is not None:
        drawn = chart_of(made)
        if chart:
            document["chart"] = _terminal(drawn)
            lines += ["", "The same as a chart:", *document["chart"]]
        if svg is not None:
            from quarantine.actions.sheets import save_page
            from quarantine.reports.chart import BEGINS
            from quarantine.reports.chart import svg as picture

            save_page(svg, picture(drawn), begins=BEGINS.encode(), what="chart")
            document["file"] = str(svg)
            lines += ["", f"{svg}: the chart. Open it in a browser to look at it or to print it."]
    session().emit(document, lines)


# --- Words ------------------------------------------------------------------------------------------------


def overview_lines(found: Overview) -> list[str]:
    """A line for each substance on record, then what was never dosed."""
    lines, zone = [_water_line(found.water)], found.water.zone
    for one in found.found:
        then = f"; on {_local(one.then.at, zone)} {level_words(one.then, one.unit)}" if one.then else ""
        lines.append(f"{one.name}: now {level_words(one.now, one.unit)}{then}")
    if not found.found:
        lines.append("No dose on record for this water, and nothing else that put a substance in.")
    # The names of all of them (the document has them) would push what is in the water off a phone's screen.
    others = "the other" if found.found else "all"
    never = f"Never dosed in this water: {others} {len(found.never)} substances of the formulary."
    if found.others.high is None:
        lines.append(f"Of every other substance the level is unknown: {found.others.why}.")
    lines.append(never)
    if found.found:
        lines.append(f"Line by line: quarantine level {_typed(found.water.tank)} {found.found[0].substance}")
    return lines


def ledger_lines(made: Ledger) -> list[str]:
    """The level, what bounds it, what has to be known, and the ledger with its working."""
    label, zone = made.unit.label, made.water.zone
    lines = [
        f"{made.name} in {made.water.tank}",
        _water_line(made.water),
        f"Now, {_local(made.now.at, zone)}: {level_words(made.now, label)}",
    ]
    if made.then is not None:
        counted = ", if nothing more happens" if made.then.at > made.now.at else ""
        lines.append(f"On {_local(made.then.at, zone)}{counted}: {level_words(made.then, label)}")
    if not made.lines:
        lines.append("Nothing on record put any of it into this water.")
    lines += [_held_line(held, label) for held in made.held]
    lines += made.notes
    for line in made.lines:
        lines += ["", *_entry_lines(line, label, zone)]
    return lines


def _typed(name: str) -> str:
    import shlex

    return shlex.quote(name)


def _local(at: datetime, zone: str) -> str:
    return f"{at.astimezone(ZoneInfo(zone)):%Y-%m-%d %H:%M}"


def _water_line(water: WaterOf) -> str:
    beside = f" It is one water with {', '.join(water.beside)}." if water.beside else ""
    if water.volume is None:
        return f"Water: unknown; measure it: quarantine tank measure {_typed(water.tank)}.{beside}"
    litres, plus_minus = (_exact(v) for v in (water.volume.litres, water.volume.plus_minus_litres))
    return f"Water: {show(litres)} L, plus or minus {show(plus_minus)} L ({water.says}).{beside}"


def _exact(value: float) -> Any:
    from decimal import Decimal

    return Decimal(repr(round(value, 3)))


def _held_line(held: Held, unit: str) -> str:
    if held.value is None:
        return f"{held.what[0].upper()}{held.what[1:]}: unknown; {held.says}."
    source = f" [{held.reference}]" if held.reference else ""
    apart = "; it counts something else than the level, so the two are not compared" if held.drawn is None else ""
    other = held.drawn if held.unit != unit else None
    # What protects is rounded to the safe side.
    up = {"ceiling": False, "prolonged limit": False, "effective minimum": True}.get(held.what)
    equal = "" if other is None else f" = {show_significant(other, 4, up)} {unit}"
    return f"{held.what[0].upper()}{held.what[1:]} {show(held.value)} {held.unit}{equal}, {held.says}{apart}{source}"


def _entry_lines(line: Line, unit: str, zone: str) -> list[str]:
    from quarantine.reports.paper import plain

    by = f", {line.keeper}" if line.keeper else ""
    late = " (entered late)" if line.late else ""
    lines = [plain(f"{_local(line.at, zone)} {line.says}{by}{late}")]
    if line.expected is not None and line.read is not None:
        meets = {True: "; both can be true", False: "; they do not meet: one of the two is wrong", None: ""}
        lines.append(
            f"  Expected {level_words(line.expected, unit)}; read {level_words(line.read, unit)}{meets[line.agrees]}"
        )
    lines.append(f"  Then {level_words(line.after, unit)}")
    return [*lines, *(f"    {plain(words)}" for words in line.working)]


# --- JSON -------------------------------------------------------------------------------------------------


def _water_json(water: WaterOf) -> dict[str, Any]:
    volume = water.volume
    return {
        "tank": water.tank,
        "system": water.system,
        "shared_with": list(water.beside),
        "volume_litres": None if volume is None else volume.litres,
        "volume_plus_minus_litres": None if volume is None else volume.plus_minus_litres,
        "volume_says": water.says,
    }


def _bounds_json(bounds: Bounds | None, unit: str) -> dict[str, Any] | None:
    if bounds is None:
        return None
    return {"at": bounds.at, "low": bounds.low, "high": bounds.high, "unit": unit, "why": bounds.why}


def _overview_json(found: Overview) -> dict[str, Any]:
    return {
        **_water_json(found.water),
        "substances": [
            {
                "substance": one.substance,
                "name": one.name,
                "now": _bounds_json(one.now, one.unit),
                "then": _bounds_json(one.then, one.unit),
            }
            for one in found.found
        ],
        "never_dosed": list(found.never),
        "others": _bounds_json(found.others, "mg/L"),
    }


def _ledger_json(made: Ledger) -> dict[str, Any]:
    unit = made.unit.label
    return {
        **_water_json(made.water),
        "substance": made.substance,
        "name": made.name,
        "now": _bounds_json(made.now, unit),
        "then": _bounds_json(made.then, unit),
        "bounds": [
            {
                "what": held.what,
                "value": held.value,
                "unit": held.unit,
                "says": held.says,
                "reference": held.reference,
                "compared": held.drawn is not None,
            }
            for held in made.held
        ],
        "notes": list(made.notes),
        "lines": [
            {
                "at": line.at,
                "kind": line.kind,
                "says": line.says,
                "keeper": line.keeper,
                "entered_late": line.late,
                "after": _bounds_json(line.after, unit),
                "expected": _bounds_json(line.expected, unit),
                "read": _bounds_json(line.read, unit),
                "agrees": line.agrees,
                "working": list(line.working),
            }
            for line in made.lines
        ],
    }


# --- The chart --------------------------------------------------------------------------------------------


def chart_of(made: Ledger) -> Chart:
    """The ledger as a picture, with its marks and the figures that are in its unit."""
    from quarantine.reports.chart import Chart, Mark, Point, Rule

    zone, unit = made.water.zone, made.unit.label
    last = made.now if made.then is None else made.then
    marks = []
    for line in made.lines:
        kind = line.kind if line.kind in ("dose", "change", "reading") else "other"
        low = high = None
        if line.read is not None and line.read.low is not None and line.read.high is not None:
            low, high = float(line.read.low), float(line.read.high)
        marks.append(Mark(line.at, kind, f"{_local(line.at, zone)} {line.says}", low, high))
    points = [Point(b.at, None if b.low is None else float(b.low), _up(b)) for b in made.points]
    return Chart(
        f"{made.name} in the water of {made.water.tank}",
        " ".join(line for line in ledger_lines(made) if line),
        unit,
        zone,
        tuple(points),
        last.at,
        made.now.at,
        tuple(marks),
        tuple(Rule(held.what, float(held.drawn)) for held in made.held if held.drawn is not None),
    )


def _up(bounds: Bounds) -> float | None:
    return None if bounds.high is None else float(bounds.high)


def _terminal(drawn: Chart) -> list[str]:
    import sys

    from quarantine.cli.out import width
    from quarantine.reports.chart import GLYPHS, terminal

    try:
        GLYPHS.encode(sys.stdout.encoding or "utf-8")
    except UnicodeEncodeError:
        return terminal(drawn, width() or 80, ascii_only=True)
    return terminal(drawn, width() or 80)
