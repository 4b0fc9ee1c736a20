"""A running batch goes on by the current revision of its protocol."""

from __future__ import annotations

from typing import Annotated

import typer

from quarantine.cli.session import session


def adopt(
    batch: Annotated[str, typer.Argument(help="The batch.")],
    because: Annotated[str, typer.Option(help="Why it is adopted.")],
    protocol: Annotated[
        str | None, typer.Option(help="The id or file of the current text; left out: the one that ships.")
    ] = None,
    acknowledge: Annotated[bool, typer.Option("--acknowledge", help="Cautions, label and law were read.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Accept what goes, comes and moves.")] = False,
) -> None:
    from quarantine.actions.adopting import adopt
    from quarantine.cli.batches import cautions_first

    with cautions_first():
        made = adopt(session().desk(), batch, because=because, protocol=protocol, acknowledge=acknowledge, yes=yes)
    was, to = made["from"], made["to"]
    lines = [
        f"Batch {made['batch']} adopted {to['protocol']} revision {to['revision']}, before it revision "
        f"{was['revision']} ({made['because']}).",
        *[f"  {said}" for said in (*made["text"], *made["lines"], *made["periods"], *made["moved"], *made["cautions"])],
        "What was done stays as it was. Next: quarantine today",
    ]
    session().emit({name: value for name, value in made.items() if name != "lines"}, lines)
