"""How long parasites and diseases take by temperature, row by row, and what follows for repeats (rule C14)."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from quarantine.cli.session import session

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from decimal import Decimal

    from quarantine.formulary.lifecycles import Cycles, Observation, Organism, Row, Slot

CAUTION = (
    "Printed figures, and spacing derived from them: no instruction to treat. Let a veterinarian confirm it; the "
    "substance's own row decides whether a dose may be given at all."
)


def cycles(
    organism: Annotated[
        str | None, typer.Argument(help="A parasite or disease, by its id or a name; all when left out.")
    ] = None,
    at: Annotated[
        str | None, typer.Option(help='A temperature, "24 °C": the rows that hold there, and what follows.')
    ] = None,
) -> None:
    from quarantine.formulary import lifecycles

    there = lifecycles.cycles()
    degrees = _degrees(at)
    chosen = there.organisms if organism is None else lifecycles.called(organism)
    observed = list(there.observations) if degrees is None else _observed(degrees)
    documents = [_document(one, there, degrees) for one in chosen]
    document = {
        "at_degc": degrees,
        "logic": there.logic,
        "organisms": documents,
        "without_drug": [_observation_document(one) for one in observed],
        "says": CAUTION,
    }
    session().emit(document, _lines(document))


def _degrees(at: str | None) -> Decimal | None:
    from quarantine.quantity import read, to

    return None if at is None else to(read(at, "temperature", "temperature"), "°C")


def _observed(degrees: Decimal) -> list[Observation]:
    from quarantine.formulary.lifecycles import NoTiming, observation

    try:
        return [observation(degrees)]
    except NoTiming:
        return []


# --- The document ----------------------------------------------------------------------------------------


def _document(one: Organism, there: Cycles, degrees: Decimal | None) -> dict[str, Any]:
    rows = _shown(one.rows, degrees)
    slots = _shown([slot for slot in there.slots if slot.organism == one.id], degrees)
    return {
        "organism": one.id,
        "name": one.name,
        "also": list(one.also),
        "water": list(one.water),
        "rows": [_row_document(row) for row in _beside(rows)],
        "spacing": [_slot_document(slot) for slot in _beside(slots)],
        "follows": [] if degrees is None else _follows(one, degrees),
    }


def _shown(rows: Iterable[Any], degrees: Decimal | None) -> list[Any]:
    """Every row; at a temperature those that hold there, those whose source names none, and what they conflict with."""
    if degrees is None:
        return list(rows)
    every = list(rows)
    hold = {row.id for row in every if row.where.low_c is row.where.high_c is None or row.where.holds(degrees)}
    return [row for row in every if row.id in hold or hold & set(row.source.conflicts_with)]


def _beside(rows: Iterable[Any]) -> list[Any]:
    """Each row once, and after it those that say otherwise."""
    there = {row.id: row for row in rows}
    order: dict[str, Any] = {}

    def take(name: str) -> None:
        if name in there and name not in order:
            order[name] = there[name]
            for other in there[name].source.conflicts_with:
                take(other)

    for name in there:
        take(name)
    return list(order.values())


def _row_document(row: Row) -> dict[str, Any]:
    return {
        "id": row.id,
        "what": row.what,
        **_where_document(row),
        "time": row.says,
        "low_hours": row.low_hours,
        "high_hours": row.high_hours,
        "never": row.never,
        **_source_document(row),
    }


def _slot_document(slot: Slot) -> dict[str, Any]:
    return {
        "id": slot.id,
        **_where_document(slot),
        "every_low_hours": slot.every_hours[0],
        "every_high_hours": slot.every_hours[1],
        "second_low_hours": slot.second_hours[0],
        "second_high_hours": slot.second_hours[1],
        "third_low_hours": slot.third_hours[0],
        "third_high_hours": slot.third_hours[1],
        "count": slot.doses,
        "time": _slot_words(slot),
        "reckoned": slot.reckoned,
        **_source_document(slot),
    }


def _observation_document(one: Observation) -> dict[str, Any]:
    return {
        "id": one.id,
        **_where_document(one),
        "low_hours": one.least_hours,
        "time": f"{_time(one.least_hours)} or more",
        **_source_document(one),
    }


def _where_document(row: Row | Slot | Observation) -> dict[str, Any]:
    return {"temperature": row.where.words, "low_degc": row.where.low_c, "high_degc": row.where.high_c}


def _source_document(row: Row | Slot | Observation) -> dict[str, Any]:
    from quarantine.formulary.lifecycles import cite

    return {
        "kind": row.source.kind,
        "source": cite(row),
        "derived_from": list(row.source.derived_from),
        "conflicts_with": list(row.source.conflicts_with),
        "note": row.source.note or None,
    }


def _follows(one: Organism, degrees: Decimal) -> list[dict[str, Any]]:
    """What the rules say at the temperature; a refusal is an answer too."""
    from quarantine.formulary import lifecycles

    asked: tuple[tuple[str, tuple[str, ...], Callable[[], Any]], ...] = (
        ("slowest hatch", lifecycles.HATCH, lambda: lifecycles.slowest_hatch(one.id, degrees)),
        ("fastest maturity", lifecycles.MATURITY, lambda: lifecycles.fastest_maturity(one.id, degrees)),
        ("spacing of repeats", lifecycles.WHATS, lambda: lifecycles.spacing(one.id, degrees, degrees)),
        ("tank transfer", ("transfer step",), lambda: lifecycles.transfer_step(degrees, degrees)),
        ("koi days", ("days that count",), lambda: lifecycles.koi_counts(degrees)),
    )
    there = {row.what for row in one.rows}
    return [_answer(what, ask) for what, needs, ask in asked if there & set(needs)]


def _answer(what: str, ask: Callable[[], Any]) -> dict[str, Any]:
    from quarantine.formulary.lifecycles import NoTiming

    try:
        found = ask()
    except NoTiming as refused:
        return {"what": what, "refused": True, "says": refused.sentence, "source": None}
    return {"what": what, "refused": False, "says": found.says, "source": found.reference}


# --- The lines -------------------------------------------------------------------------------------------


def _lines(document: dict[str, Any]) -> list[str]:
    lines = []
    for one in document["organisms"]:
        lines.append(f"{one['organism']}: {one['name']}; {'/'.join(one['water'])} water")
        lines += _row_lines(one["rows"])
        if one["spacing"]:
            lines.append("  Repeats, put together from the rows:")
            lines += [f"  {line}" for line in _row_lines(one["spacing"])]
        lines += [f"  {line}" for line in dict.fromkeys(map(_answer_line, one["follows"]))]
    if document["without_drug"]:
        lines.append("Without any drug after the last dose (of colder water the longer):")
        lines += _row_lines(document["without_drug"])
    return [*lines, f"Logic of the spacing: {document['logic']}", document["says"]]


def _answer_line(answer: dict[str, Any]) -> str:
    if answer["refused"]:
        return f"No {answer['what']}: {answer['says']}"
    return f"The {answer['what']}: {answer['says']}. Source: {answer['source']}."


def _row_lines(rows: list[dict[str, Any]]) -> list[str]:
    """A line each; what says otherwise is set under the row before it."""
    lines: list[str] = []
    said: list[str] = []
    for row in rows:
        against = [other for other in row["conflicts_with"] if other in said]
        mark = f"  Against {', '.join(against)}: " if against else ""
        what = f", {row['what']}" if "what" in row else ""
        note = f" {row['note']}" if row["note"] else ""
        lines.append(f"  {mark}{row['id']}, {row['temperature']}{what}: {row['time']} [{row['source']}]{note}")
        said.append(row["id"])
    return lines


def _slot_words(slot: Slot) -> str:
    if slot.every_hours[0] is not None:
        return f"every {_times(slot.every_hours)}, {slot.doses} doses at least"
    return f"second dose {_times(slot.second_hours)} after the first, third {_times(slot.third_hours)} after it"


def _times(pair: tuple[Decimal | None, Decimal | None]) -> str:
    low, high = pair
    if high is None:
        return f"{_time(low)} or more"
    return _time(low) if low == high else f"{_time(low)} to {_time(high)}"


def _time(hours: Decimal | None) -> str:
    from quarantine.quantity import show

    return "not said" if hours is None else f"{show(hours / 24)} d"
