"""Fish that move: to another quarantine, by plan, by a keeper's choice, or at once."""

from __future__ import annotations

from typing import Annotated

import typer

from quarantine.cli.daily import At
from quarantine.cli.session import session

NoWater = Annotated[bool, typer.Option("--no-water", help="No water of the tank they left went with them.")]
Yes = Annotated[bool, typer.Option("--yes", help="Accept the dates this moves.")]
Really = Annotated[bool, typer.Option("--really", help="It is so, though it looks like a slip.")]


def move(
    batch: Annotated[str, typer.Argument(help="The batch, all of its fish.")],
    to_tank: Annotated[str, typer.Option("--to", help="The quarantine tank they went to.")],
    no_water: NoWater = False,
    yes: Yes = False,
    really: Really = False,
    at: At = None,
) -> None:
    from quarantine.actions.moving import move

    made = move(session().desk(), batch, to_tank, at=at, no_water=no_water, yes=yes, really=really)
    session().emit(made.document, made.lines)


def emergency(
    tank: Annotated[str, typer.Argument(help="The tank they have to leave.")],
    to_tank: Annotated[str, typer.Option("--to", help="Where they are now; a new name with --make.")],
    make: Annotated[str | None, typer.Option(help='Make that tank: the water in it, "40 L" or "40 L ± 2 L".')] = None,
    level: Annotated[
        str,
        typer.Option(
            help="Medicine in the new water: known (it was filled with the old water), unknown (some of it came "
            "along), none (clean water)."
        ),
    ] = "unknown",
    at: At = None,
) -> None:
    from quarantine.actions.evacuating import evacuate

    made = evacuate(session().desk(), tank, to_tank, make=make, level=level, at=at)
    session().emit(made.document, made.lines)


def split(
    batch: Annotated[str, typer.Argument(help="The batch.")],
    fish: Annotated[str, typer.Option(help='How many, with the species where there are several: "4", "2 A, 1 B".')],
    name: Annotated[str, typer.Option(help="The name of the new batch.")],
    to_tank: Annotated[str | None, typer.Option("--to", help="They went to another quarantine tank too.")] = None,
    no_water: NoWater = False,
    yes: Yes = False,
    really: Really = False,
    at: At = None,
) -> None:
    from quarantine.actions.parting import split

    made = split(session().desk(), batch, fish, name, to=to_tank, at=at, no_water=no_water, yes=yes, really=really)
    session().emit(made.document, made.lines)


def merge(
    batch: Annotated[str, typer.Argument(help="The batch that ends.")],
    into: Annotated[str, typer.Option(help="The batch that its fish are counted in from now on.")],
    yes: Yes = False,
    at: At = None,
) -> None:
    from quarantine.actions.parting import merge

    made = merge(session().desk(), batch, into, at=at, yes=yes)
    session().emit(made.document, made.lines)


def shared(
    tank: Annotated[str, typer.Argument(help="One tank.")],
    other: Annotated[str, typer.Option("--with", help="The other tank.")],
    what: Annotated[str, typer.Option(help="net, hands or splash.")] = "net",
    yes: Yes = False,
    at: At = None,
) -> None:
    from quarantine.actions.sharing import share

    lines, document = share(session().desk(), tank, other, what, at=at, yes=yes)
    session().emit(document, lines)
