"""What the fish weigh and eat: the one thing a dose in food needs that no tank tells."""

from __future__ import annotations

from typing import Annotated

import typer

from quarantine.cli.daily import At
from quarantine.cli.session import session


def weigh(
    batch: Annotated[str, typer.Argument(help="The batch.")],
    weight: Annotated[
        str | None, typer.Argument(help='All living fish together: "36 g", "36 g ± 2 g"; left out with --lengths.')
    ] = None,
    by: Annotated[str | None, typer.Option(help='How it was found: "scale, 4 fish in a bag of water".')] = None,
    each: Annotated[bool, typer.Option("--each", help="The weight is of one fish, and all are about alike.")] = False,
    lengths: Annotated[
        str | None, typer.Option(help='Instead of a weight, of each fish that was measured: "3.1 cm, 3.4 cm".')
    ] = None,
    relation: Annotated[
        str | None,
        typer.Option(
            help="What makes weights of lengths, as the source prints it for this species, in the form "
            '"a x L^b, g, cm, total" (or fork, standard: how it takes the length).'
        ),
    ] = None,
    source: Annotated[
        str | None, typer.Option(help="Where that relation stands: publisher, title, number, year.")
    ] = None,
    within: Annotated[
        str | None, typer.Option(help='How far single fish lie from it, where the source says so: "15 %".')
    ] = None,
    eats: Annotated[
        str | None, typer.Option(help='What they eat in a day: "1 %" of their weight, or "0.4 g" of food in all.')
    ] = None,
    really: Annotated[bool, typer.Option("--really", help="It is so, though it looks like a slip.")] = False,
    at: At = None,
) -> None:
    from quarantine.actions.weighing import Lengths, weigh
    from quarantine.failures import Usage

    measured = None
    if lengths is not None:
        if relation is None or source is None:
            raise Usage("Lengths make a weight only by a relation: say --relation and its --source too.")
        measured = Lengths(lengths, relation, source, within)
    elif (relation, source, within) != (None, None, None):
        raise Usage("--relation, --source and --within belong to --lengths.")
    made = weigh(session().desk(), batch, weight, by=by, lengths=measured, each=each, eats=eats, at=at, really=really)
    session().emit(made.document, made.lines)
