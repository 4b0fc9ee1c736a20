"""What the fish weigh and eat: the one thing a dose in food needs that no tank tells."""

from __future__ import annotations

from typing import Annotated

import typer

from quarantine.cli.daily import At
from quarantine.cli.session import session


def weigh(
    batch: Annotated[str, typer.Argument(help="The batch.")],
    weight: Annotated[str, typer.Argument(help='All living fish together: "36 g", "36 g ± 2 g".')],
    by: Annotated[str, typer.Option(help='How it was found: "scale, 4 fish in a bag of water".')],
    each: Annotated[bool, typer.Option("--each", help="The weight is of one fish, and all are about alike.")] = False,
    eats: Annotated[
        str | None, typer.Option(help='What they eat in a day: "1 %" of their weight, or "0.4 g" of food in all.')
    ] = None,
    really: Annotated[bool, typer.Option("--really", help="It is so, though it looks like a slip.")] = False,
    at: At = None,
) -> None:
    from quarantine.actions.weighing import weigh

    made = weigh(session().desk(), batch, weight, by=by, each=each, eats=eats, at=at, really=really)
    session().emit(made.document, made.lines)
