"""Taking back one's own last entry, and correcting any."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from quarantine.cli.daily import At
from quarantine.cli.session import session

Yes = Annotated[bool, typer.Option("--yes", help="Accept the dates that this moves.")]


def undo(
    reason: Annotated[list[str], typer.Argument(help="What was wrong, in plain words.")],
    yes: Yes = False,
) -> None:
    from quarantine.actions.correcting import undo

    made = undo(session().desk(), " ".join(reason), yes=yes)
    lines = [f"Taken back: {made['kind']}, {made['says']}. Both stay in the journal."]
    lines += [f"What it had corrected stands again: {words}." for words in made["stands_again"]]
    session().emit(made, [*lines, *made["back"], *made["rescue"], *made["stock"], *made["moved"]])


def correct(
    entry: Annotated[str, typer.Argument(help="The first eight digits in brackets from: quarantine journal.")],
    because: Annotated[str, typer.Option(help="What was wrong.")],
    values: Annotated[
        list[str] | None, typer.Argument(help="NAME=VALUE: seen=11, appetite=2, temp=25.4C, gave=3.4g, out=14L ...")
    ] = None,
    at: At = None,
    yes: Yes = False,
    really: Annotated[bool, typer.Option("--really", help="Such an amount was really given.")] = False,
) -> None:
    from quarantine.actions.correcting import correct

    made: dict[str, Any] = correct(
        session().desk(), entry, values or [], because=because, at=at, yes=yes, really=really
    )
    lines = [f"Corrected ({made['was']}):", *[f"  {line}" for line in made["now"]], *made["follows"], *made["moved"]]
    session().emit(made, [*lines, "Both stay in the journal."])
