"""Changing the plan of a running batch: another text of its protocol, or an end to a whole course."""

from __future__ import annotations

from typing import Annotated

import typer

from quarantine.cli.session import session

Batch = Annotated[str, typer.Argument(help="The batch.")]


def amend(
    batch: Batch,
    because: Annotated[str, typer.Option(help="Why the plan is changed.")],
    protocol: Annotated[
        str | None, typer.Option(help="Another protocol for the same water; left out: the newest text of its own.")
    ] = None,
    acknowledge: Annotated[bool, typer.Option("--acknowledge", help="Cautions, label and law were read.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Accept what goes, comes and moves.")] = False,
) -> None:
    from quarantine.actions.amending import amend
    from quarantine.actions.batches import NeedsAcknowledgement

    try:
        made = amend(session().desk(), batch, because=because, protocol=protocol, acknowledge=acknowledge, yes=yes)
    except NeedsAcknowledgement as refusal:
        if not session().as_json:
            from quarantine.cli import out

            for caution in refusal.facts["cautions"]:
                out.say(f"Caution: {caution}")
        raise
    to = made["to"]
    lines = [
        f"Batch {made['batch']} follows {to['protocol']} revision {to['revision']} from now on ({made['because']}).",
        *[f"  {line}" for line in [*made["text"], *made["lines"], *made["moved"]]],
        "What was done stays as it was. Next: quarantine today",
    ]
    session().emit({name: value for name, value in made.items() if name != "lines"}, lines)


def stop_course(
    batch: Batch,
    step: Annotated[str, typer.Argument(help="The course: its step's id, or the code of one of its doses.")],
    because: Annotated[str, typer.Option(help="Why the rest is not given.")],
    yes: Annotated[bool, typer.Option("--yes", help="Accept what is withdrawn and the dates this moves.")] = False,
) -> None:
    from quarantine.actions.amending import stop_course

    made = stop_course(session().desk(), batch, step, because=because, yes=yes)
    lines = [
        f"Course {made['title']!r} of batch {made['batch']} stopped ({made['because']}); given: {len(made['given'])}.",
        *[f"  {line}" for line in [*made["lines"], *made["moved"]]],
        "Sign-off names it as a deviation. What is in the water is cleared all the same: quarantine today",
    ]
    session().emit({name: value for name, value in made.items() if name != "lines"}, lines)
