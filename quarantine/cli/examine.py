"""Examinations and laboratory results."""

from __future__ import annotations

from typing import Annotated

import typer

from quarantine.cli.daily import At
from quarantine.cli.session import session


def exam(
    batch: Annotated[str, typer.Argument(help="The batch.")],
    what: Annotated[str, typer.Option(help="scrape, clip, faeces, pcr or necropsy.")],
    found: Annotated[str | None, typer.Option(help="What was found.")] = None,
    negative: Annotated[bool, typer.Option("--negative", help="Nothing was found.")] = False,
    pending: Annotated[bool, typer.Option("--pending", help="The result is awaited.")] = False,
    n: Annotated[str | None, typer.Option("--n", help="How many fish were examined.")] = None,
    lab: Annotated[str | None, typer.Option(help="The laboratory or the examiner.")] = None,
    file: Annotated[
        str | None, typer.Option(help="A photograph or a report: its name and SHA-256 are kept, not the file.")
    ] = None,
    answers: Annotated[str | None, typer.Option(help="The pending examination of which this is the result.")] = None,
    at: At = None,
) -> None:
    from quarantine.actions.examining import exam

    made = exam(
        session().desk(),
        batch,
        what,
        found=found,
        negative=negative,
        pending=pending,
        count=n,
        lab=lab,
        file=file,
        answers=answers,
        at=at,
    )
    session().emit(made.document, made.lines)


def exams(
    batch: Annotated[str | None, typer.Argument(help="The batch; all open ones if left out.")] = None,
) -> None:
    from quarantine.actions.examining import listing

    with session().reader() as rows:
        lines, document = listing(rows, batch)
    session().emit(document, lines)
