"""Incidents: a power cut, a heater, a leak, an overdose; and when they are over."""

from __future__ import annotations

from typing import Annotated

import typer

from quarantine.cli.daily import At
from quarantine.cli.events import Tank, Yes
from quarantine.cli.session import session


def incident(
    tank: Tank,
    what: Annotated[str, typer.Option(help="power, heater, leak, overdose or other.")],
    from_: Annotated[str | None, typer.Option("--from", help="When it began, now if left out.")] = None,
    until: Annotated[str | None, typer.Option(help="When it was over; left out: it is not over yet.")] = None,
    tanks: Annotated[str | None, typer.Option(help='Other tanks it touched, "Q2,Q3".')] = None,
    note: Annotated[str | None, typer.Option(help="A few words.")] = None,
    yes: Yes = False,
) -> None:
    from quarantine.actions.incidents import incident as write

    made = write(session().desk(), tank, what, since=from_, until=until, tanks=tanks, note=note, yes=yes)
    session().emit(made.document, made.lines)


def incident_over(tank: Tank, at: At = None) -> None:
    from quarantine.actions.incidents import incident_over as write

    made = write(session().desk(), tank, at=at)
    session().emit(made.document, made.lines)
