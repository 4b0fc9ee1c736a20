"""Clocks and timeline of a batch, and why a date is what it is."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from quarantine.cli.session import now, session

if TYPE_CHECKING:
    from quarantine.actions.explaining import Told
    from quarantine.clocks import Counted, InRange, PeriodClock
    from quarantine.records.reads import Row, Rows

Batch = Annotated[str, typer.Argument(help="The batch.")]


def clocks(batch: Batch) -> None:
    from quarantine.actions.explaining import tell

    with session().reader() as rows:
        told = tell(rows, batch, now())
    session().emit(clocks_json(told), clock_lines(told))


def timeline(
    batch: Batch,
    svg: Annotated[Path | None, typer.Option("--svg", help="Write it as a picture (SVG).")] = None,
) -> None:
    from quarantine.actions.explaining import tell
    from quarantine.reports.timeline import BEGINS, lines_of, timeline_of
    from quarantine.reports.timeline import svg as picture

    with session().reader() as rows:
        told = tell(rows, batch, now())
    name, protocol = told.batch["name"], told.course.protocol
    made = timeline_of(name, protocol, told.standing, told.clocks, told.facts, told.tasks)
    lines = lines_of(made)
    document: dict[str, Any] = {
        "batch": name,
        "as_of": made.now,
        "until": made.until,
        "periods": [
            {
                "title": span.title,
                "first_zero": span.first,
                "zero": span.zero,
                "began_again": list(span.again),
                "complete_on": span.complete_on,
            }
            for span in made.spans
        ],
        "rows": [{"at": row.at, "kind": row.kind, "says": row.says, "listed": row.listed} for row in made.rows],
    }
    if svg is not None:
        from quarantine.actions.sheets import save_page

        save_page(svg, picture(made), begins=BEGINS.encode(), what="timeline")
        document["file"] = str(svg)
        lines += ["", f"{svg}: the timeline. Open it in a browser to look at it or to print it."]
    session().emit(document, lines)


# --- Clocks in words ----------------------------------------------------------------------------------------


def clock_lines(told: Told) -> list[str]:
    """The four clocks, then the periods and the clear count: a line each, what belongs to it indented."""
    from quarantine.explaining import period_lines

    made, zone = told.clocks, told.course.zone
    lines = [
        f"Clocks of batch {told.batch['name']}, {told.as_of} ({zone})",
        f"Since arrival: {_counted(made.arrival, zone)}.",
        f"Since fish last entered this water: {_counted(made.entered, zone)}.",
    ]
    lines += [f"  Exposed on {day}: {why}." for day, why in made.exposed]
    if made.exposed and made.own_clock:
        lines.append("  The template lets this batch keep its own clock; sign-off lists the exposed days (rule B1).")
    if not made.in_range:
        lines.append("Time in range: this protocol counts no time in range.")
    for one in made.in_range:
        lines += _range_lines(one, zone)
    lines.append(f"Since the last dose: {_counted(made.dose, zone)}.")
    for period in made.periods:
        first, *rest = period_lines(period)
        lines += [f"Period {first}", *rest]
    need = f" ({made.clear_need} days are needed)" if made.clear_need is not None else ""
    lines.append(f"Clear count{need}: {_counted(made.clear, zone)}.")
    lines.append(
        f"Earliest sign-off if all goes well: {told.standing.earliest_words}. Why: quarantine why {_typed(told)}"
    )
    return lines


def _typed(told: Told) -> str:
    import shlex

    return shlex.quote(told.batch["name"])


def _counted(one: Counted, zone: str) -> str:
    """ "10 days; day 0 is 2026-03-02, the fish arrived (rule A1)" """
    if one.so_far is None:
        return one.because
    unit = one.unit.removesuffix("s") if one.so_far == 1 else one.unit
    if isinstance(one.zero, datetime):
        from quarantine.actions.desk import local_text

        return f"{one.so_far} {unit}; 0 is {local_text(one.zero, zone)}, {one.because}"
    return f"{one.so_far} {unit}; day 0 is {one.zero}, {one.because}"


def _range_lines(one: InRange, zone: str) -> list[str]:
    from quarantine.actions.desk import local_text

    if one.zero is None:
        begun = "it has not begun: two readings in range, at least 6 h apart, begin it (rule A10)"
        lines = [f"Time in range, {one.title}: 0 h of {one.need_hours} h; {begun}."]
    else:
        because = f", {one.because}" if one.because else ""
        lines = [
            f"Time in range, {one.title}: {one.hours} h of {one.need_hours} h; 0 is "
            f"{local_text(one.zero, zone)}{because} (rule A10)."
        ]
    return [*lines, *_gap_lines(one, zone)]


def _gap_lines(one: InRange, zone: str) -> list[str]:
    """What kept time from counting, each with its readings and what the template says of it."""
    from quarantine.actions.desk import local_text
    from quarantine.explaining import RULES

    return [
        f"  Gap from {local_text(gap.since, zone)} to {local_text(gap.until, zone)}: {gap.why}; "
        f"{RULES.get(gap.rule, 'the template says note: it counts')}."
        for gap in one.gaps
    ]


def clocks_json(told: Told) -> dict[str, Any]:
    """The shape of ``clocks --json``."""
    made = told.clocks
    return {
        "batch": told.batch["name"],
        "as_of": told.at,
        "since_arrival": _counted_json(made.arrival),
        "since_entered": {
            **_counted_json(made.entered),
            "exposed": [{"on": day, "because": why} for day, why in made.exposed],
            "own_clock": made.own_clock,
        },
        "in_range": [
            {
                "period": one.period,
                "title": one.title,
                "zero": one.zero,
                "hours": one.hours,
                "need_hours": one.need_hours,
                "because": one.because,
                "gaps": [gap._asdict() for gap in one.gaps],
            }
            for one in made.in_range
        ],
        "since_dose": _counted_json(made.dose),
        "periods": [period_json(one) for one in made.periods],
        "clear": {**_counted_json(made.clear), "need_days": made.clear_need},
        "earliest": told.standing.earliest,
        "waits_for": told.standing.waits_for or None,
    }


def _counted_json(one: Counted) -> dict[str, Any]:
    return {"zero": one.zero, one.unit: one.so_far, "because": one.because}


def period_json(one: PeriodClock) -> dict[str, Any]:
    """A period with all that moved it."""
    return {
        **{name: value for name, value in one._asdict().items() if name not in ("moved", "length", "day")},
        "length_days": one.length,
        "day": one.day,
        "moved": [{"on": m.on, "because": m.why, "rule": m.rule, "days": m.days} for m in one.moved],
    }


# --- Why: a batch, or one of its days -----------------------------------------------------------------------


def why_batch(rows: Rows, batch: Row, on: str | None) -> tuple[dict[str, Any], list[str]]:
    """What ``why`` shows of a batch, or of one day of it: the document and the lines."""
    from quarantine.actions.explaining import read_day, told_of

    day = None if on is None else read_day(on)
    told = told_of(rows, batch, now())
    if day is None:
        return _earliest_json(told), _earliest_lines(told)
    from quarantine.actions.explaining import day_of, keepers_of, words_of_day

    document = words_of_day(day_of(told, day), keepers_of(rows), told.course.zone)
    return {"batch": batch["name"], **document}, _day_lines(batch["name"], document)


def _earliest_lines(told: Told) -> list[str]:
    from quarantine.explaining import deciding, period_lines

    lines = [f"Batch {told.batch['name']}: earliest sign-off {told.standing.earliest} if all goes well ({told.as_of})"]
    for one in deciding(told.standing, told.course.protocol):
        decides = ", which decides" if one.decides else ""
        lines.append(f"  {one.day or 'no day of its own'}{decides}: {one.title}")
    zone = told.batch["zone"]
    for period in told.clocks.periods:
        first, *rest = period_lines(period)
        gaps = [line for one in told.clocks.in_range if one.period == period.period for line in _gap_lines(one, zone)]
        lines += [f"Period {first}", *rest[:-1], *gaps, *rest[-1:]]
    if told.batch["state"] == "open":
        lines.append(f"What stands in the way today: quarantine signoff {_typed(told)}")
    return lines


def _earliest_json(told: Told) -> dict[str, Any]:
    from quarantine.explaining import deciding

    return {
        "batch": told.batch["name"],
        "as_of": told.at,
        "earliest": told.standing.earliest,
        "waits_for": told.standing.waits_for or None,
        "criteria": [
            {"title": one.title, "earliest": one.day, "decides": one.decides}
            for one in deciding(told.standing, told.course.protocol)
        ],
        "periods": [period_json(one) for one in told.clocks.periods],
    }


def _day_lines(name: str, document: dict[str, Any]) -> list[str]:
    lines = [f"Batch {name}, day {document['day']}, {document['on']}"]
    lines.append("Planned:" if document["planned"] else "Planned: nothing.")
    for task in document["planned"]:
        because = f", because: {task['reason']}" if task["reason"] else ""
        lines.append(f"  {task['code']} {task['title']}: {task['state']}{because}")
    lines.append("Happened:" if document["happened"] else "Happened: nothing is on record.")
    for fact in document["happened"]:
        by = f", {fact['keeper']}" if fact["keeper"] else ""
        lines.append(f"  {fact['local'][11:]} {fact['says']}{by}")
    if document["acted"]:
        lines += ["What it did:", *(f"  {said}" for said in document["acted"])]
    return lines
