"""Doing it once: claim a task for some minutes, and ask a witness blind."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from quarantine.cli.session import session

Witness = Annotated[
    str | None, typer.Option(help="Another keeper, who reads the amount off the scale without seeing yours.")
]
WitnessTyped = Annotated[
    str | None,
    typer.Option("--witness-typed", help='What the witness read, "3.4 g"; at a terminal they are asked instead.'),
]
Because = Annotated[str | None, typer.Option(help="Why the amount is another than the one shown.")]


def claim(
    code: Annotated[str, typer.Argument(help="The code of the task.")],
    for_: Annotated[str | None, typer.Option("--for", help='How long: "20 min" if left out, "4 h" at most.')] = None,
    give_up: Annotated[bool, typer.Option("--give-up", help="Your claim ends now; others may do it.")] = False,
) -> None:
    from quarantine.actions.claiming import claim

    made = claim(session().desk(), code, for_=for_, give_up=give_up)
    ends = [] if give_up else [f"It lapses by itself; to end it before: quarantine claim {made['code']} --give-up."]
    session().emit({k: v for k, v in made.items() if k != "says"}, [f"{made['says']}.", *ends])


def read_blind(witness: str | None, typed: str | None) -> str | None:
    """What the witness read: as it was given, or typed by them now at this terminal; None where neither is.

    Asked before the record is opened for writing: nobody waits for its lock meanwhile.
    """
    if witness is None or typed is not None or sys.stdin is None or not sys.stdin.isatty():
        return typed
    from quarantine.cli.asking import Asking, Stopped
    from quarantine.failures import Refused

    asking = Asking()
    asking.say(f"{witness}: read the scale yourself, look at nothing above, and type the amount with its unit.")
    try:
        return asking.ask()
    except Stopped:
        raise Refused("The witness did not say what the scale shows; nothing was recorded.") from None
