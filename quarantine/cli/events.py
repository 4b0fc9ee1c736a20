"""What happened without a task. Facts are never refused; what they move is shown."""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated, Any

import typer

from quarantine.cli.daily import At
from quarantine.cli.session import FROM_REST, KEEP_UNTIL, LOT, PRODUCT, STOCK, STRENGTH, session

Tank = Annotated[str, typer.Argument(help="The tank.")]
Count = Annotated[str, typer.Argument(help="How many fish.")]
Really = Annotated[bool, typer.Option("--really", help="It is so, though it looks like a slip.")]
Yes = Annotated[bool, typer.Option("--yes", help="Accept the dates this moves.")]
Brings = Annotated[
    list[str] | None,
    typer.Option(help='What the new water holds: "praziquantel 2 mg/L"; once a substance.'),
]


def _note(kind: str, tank: str, data: dict[str, Any], at: str | None, **more: Any) -> None:
    from quarantine.actions.noting import event

    made = event(session().desk(), kind, tank, data, at=at, **more)
    session().emit(made.document, made.lines)


def _fish(text: str) -> int:
    from quarantine.actions.noting import read_count

    return read_count(text, "The number of fish", 1)


def _litres(text: str, what: str) -> Decimal:
    from quarantine.failures import Refused
    from quarantine.quantity import read, to

    litres = to(read(text, "volume", what), "L")
    if litres <= 0:
        raise Refused(f"{what} is more than nothing.")
    return litres


def change(
    tank: Tank,
    out: Annotated[str, typer.Option(help='Water taken out: "30 L", "8 USgal".')],
    in_: Annotated[str | None, typer.Option("--in", help="Water put in; as much as went out if left out.")] = None,
    by: Annotated[
        str | None, typer.Option(help="How the new water comes in: bucket or hose. Its conditioner is said for that.")
    ] = None,
    brings: Brings = None,
    really: Really = False,
    at: At = None,
) -> None:
    out_litres = _litres(out, "--out")
    _note(
        "change",
        tank,
        {
            "out_litres": out_litres,
            "in_litres": out_litres if in_ is None else _litres(in_, "--in"),
            **({} if by is None else {"by": by.strip().casefold()}),
            **_brought(brings),
        },
        at,
        really=really,
    )


def topup(
    tank: Tank,
    litres: Annotated[str, typer.Argument(help="Water put in.")],
    brings: Brings = None,
    really: Really = False,
    at: At = None,
) -> None:
    _note("topup", tank, {"litres": _litres(litres, "top-up"), **_brought(brings)}, at, really=really)


def _brought(brings: list[str] | None) -> dict[str, Any]:
    """What the new water holds, as the fact keeps it."""
    if not brings:
        return {}
    from quarantine.actions.exchanging import read_brings

    return {"brings": read_brings(brings)}


def exchange(
    tank: Tank,
    rate: Annotated[str | None, typer.Option(help='Water in, and as much out: "5 L/h", "500 mL/min".')] = None,
    until: Annotated[str | None, typer.Option(help="When it ended; it still runs if left out.")] = None,
    stop: Annotated[bool, typer.Option("--stop", help="Nothing flows any more.")] = False,
    brings: Brings = None,
    really: Really = False,
    at: At = None,
) -> None:
    from quarantine.actions.exchanging import exchange as flow

    made = flow(session().desk(), tank, rate, at=at, until=until, stop=stop, brings=brings, really=really)
    lines = made.pop("lines")
    session().emit(made, lines)


def evaporation(
    tank: Tank, litres: Annotated[str, typer.Argument(help="Water that left.")], really: Really = False, at: At = None
) -> None:
    _note("evaporation", tank, {"litres": _litres(litres, "evaporation")}, at, really=really)


def removal(tank: Tank, by: Annotated[str, typer.Option(help="Carbon, resin or UV.")], at: At = None) -> None:
    _note("removal", tank, {"by": by}, at)


def unknown(tank: Tank, what: Annotated[str, typer.Option(help="What was added.")], at: At = None) -> None:
    _note("unknown_addition", tank, {"what": what}, at)


def dose(
    tank: Tank,
    regimen: Annotated[str, typer.Argument(help="The regimen's id, such as Z01.")],
    gave: Annotated[str, typer.Option(help='What was really given: "0.12 g".')],
    strength: Annotated[str | None, typer.Option(help=STRENGTH)] = None,
    product: Annotated[str | None, typer.Option(help=PRODUCT)] = None,
    lot: Annotated[str | None, typer.Option(help=LOT)] = None,
    stock: Annotated[str | None, typer.Option(help=STOCK)] = None,
    keep_until: Annotated[str | None, typer.Option("--keep-until", help=KEEP_UNTIL)] = None,
    from_rest: Annotated[bool, typer.Option("--from-rest", help=FROM_REST)] = False,
    really: Annotated[bool, typer.Option("--really", help="It was really given.")] = False,
    at: At = None,
) -> None:
    from quarantine.actions.cards import OutOf, Solution
    from quarantine.actions.noting import dose_event

    out_of = OutOf(product, lot, Solution(stock, keep_until, from_rest))
    made = dose_event(session().desk(), tank, regimen, gave, at=at, really=really, strength=strength, out_of=out_of)
    session().emit(made.document, made.lines)


Batch = Annotated[str | None, typer.Option(help="Whose fish, where a tank holds several batches.")]
Signs = Annotated[list[str] | None, typer.Option("--sign", help="A sign on the dead fish; once a sign.")]
Disposal = Annotated[str | None, typer.Option(help="Where the body went.")]


def added(
    tank: Tank,
    count: Count,
    species: Annotated[
        str | None, typer.Option(help='What they are, if not as the others: "Danio rerio", "Danio rerio, 3 cm".')
    ] = None,
    source: Annotated[str | None, typer.Option("--from", help="Where they came from, if not as the others.")] = None,
    batch: Batch = None,
    sentinel: Annotated[
        bool, typer.Option("--sentinel", help="They are there to show what the others carry; no clock begins again.")
    ] = False,
    yes: Yes = False,
    really: Really = False,
    at: At = None,
) -> None:
    data = {"count": _fish(count), **({"source": source} if source else {}), **({"sentinel": True} if sentinel else {})}
    data |= {} if species is None else {"species": species}
    _note("added", tank, data, at, of_batch=True, batch_name=batch, yes=yes, really=really)


def died(
    tank: Tank,
    count: Count,
    found: Annotated[str | None, typer.Option(help="When they were found; now if left out. The same as --at.")] = None,
    sign: Signs = None,
    cause: Annotated[str | None, typer.Option(help="The cause, when it is known.")] = None,
    suspected: Annotated[str | None, typer.Option(help="A suspected cause: the death stays unexplained.")] = None,
    disposal: Disposal = None,
    batch: Batch = None,
    euthanised: Annotated[bool, typer.Option("--euthanised", help="The same as: event euthanised.")] = False,
    really: Really = False,
    at: At = None,
) -> None:
    from quarantine.failures import Usage

    if found is not None and at is not None:
        raise Usage("--found and --at say the same; give one of them.")
    if cause is not None and suspected is not None:
        raise Usage("A cause is known or suspected: say --cause or --suspected.")
    data: dict[str, Any] = {"count": _fish(count), "euthanised": euthanised}
    if cause is not None:
        data |= {"cause": _plain(cause, "--cause"), "explained": True}
    if euthanised:
        data["explained"] = True
    data |= _of_the_dead(sign, suspected, disposal)
    _note("died", tank, data, found or at, of_batch=True, batch_name=batch, really=really)


def euthanised(
    tank: Tank,
    count: Count,
    because: Annotated[str, typer.Option(help="Why.")],
    method: Annotated[str | None, typer.Option(help="How, as the veterinarian said.")] = None,
    sign: Signs = None,
    disposal: Disposal = None,
    batch: Batch = None,
    really: Really = False,
    at: At = None,
) -> None:
    data: dict[str, Any] = {"count": _fish(count), "euthanised": True, "explained": True}
    data |= {"because": _plain(because, "--because"), **_of_the_dead(sign, None, disposal)}
    if method is not None:
        data["method"] = _plain(method, "--method")
    _note("died", tank, data, at, of_batch=True, batch_name=batch, really=really)


def _of_the_dead(sign: list[str] | None, suspected: str | None, disposal: str | None) -> dict[str, Any]:
    """What was seen on the body, what is thought of it, and where it went; nothing is a key without a value."""
    from quarantine.actions.noting import read_sign

    data: dict[str, Any] = {}
    if sign:
        data["signs"] = [read_sign(text)[0] for text in sign]
    if suspected is not None:
        data["suspected"] = _plain(suspected, "--suspected")
    if disposal is not None:
        data["disposal"] = _plain(disposal, "--disposal")
    return data


def _plain(text: str, option: str) -> str:
    from quarantine.actions.measured import plain_words

    return plain_words(text, option, 200)


def moved(
    tank: Tank,
    count: Count,
    to_tank: Annotated[str, typer.Option("--to", help="The tank they went to.")],
    no_water: Annotated[
        bool, typer.Option("--no-water", help="No water of the tank they left went with them.")
    ] = False,
    batch: Batch = None,
    really: Really = False,
    at: At = None,
) -> None:
    data = {"count": _fish(count), "to": to_tank}
    _note("moved", tank, data, at, of_batch=True, batch_name=batch, really=really, no_water=no_water)


def missing(
    tank: Tank,
    count: Count,
    because: Annotated[str, typer.Option(help="Why they are held to be missing.")],
    batch: Batch = None,
    really: Really = False,
    at: At = None,
) -> None:
    data = {"count": _fish(count), "because": because}
    _note("missing", tank, data, at, of_batch=True, batch_name=batch, really=really)


def disturbance(
    tank: Tank, what: Annotated[str, typer.Option(help="What happened.")], yes: Yes = False, at: At = None
) -> None:
    _note("disturbance", tank, {"what": what}, at, yes=yes)


def word(
    tank: Tank,
    what: Annotated[str, typer.Argument(help="The step's id, or the sentence it waits for, as today shows it.")],
    batch: Annotated[str | None, typer.Option(help="Of which batch, where a tank holds several.")] = None,
    yes: Yes = False,
    at: At = None,
) -> None:
    from quarantine.actions.needing import say_word

    made = say_word(session().desk(), tank, what, at=at, batch_name=batch, yes=yes)
    lines = [f"{made['tank']}, {made['at']}: said, {made['word']}"]
    lines += [f"  {task['code']} {task['title']}, {task['on']}" for task in made["started"]]
    session().emit(made, [*lines, *made["moved"]])


def lift(tank: Tank, because: Annotated[str, typer.Option(help="Why doses may go on.")], at: At = None) -> None:
    _note("lift", tank, {"because": because}, at)
