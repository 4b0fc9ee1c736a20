"""The calendar file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from quarantine.cli.session import session


def write(
    file: Annotated[Path, typer.Argument(help="The file to write, such as quarantine.ics.")],
    batch: Annotated[str | None, typer.Option(help="One batch only.")] = None,
    tank: Annotated[str | None, typer.Option(help="One tank only.")] = None,
    site: Annotated[str | None, typer.Option(help="One site only.")] = None,
    keeper: Annotated[
        str | None, typer.Option(help="What this keeper may do: no dose whose cautions they have not acknowledged.")
    ] = None,
    private: Annotated[
        bool, typer.Option("--private", help="No medicine, amount, batch or note: for a calendar that others see.")
    ] = False,
    since: Annotated[str | None, typer.Option("--from", help="First day, YYYY-MM-DD.")] = None,
    until: Annotated[str | None, typer.Option("--to", help="Last day, YYYY-MM-DD.")] = None,
    done: Annotated[bool, typer.Option("--done", help="Also what is done or skipped.")] = False,
) -> None:
    from quarantine.actions.exporting import Scope, write_calendar
    from quarantine.cli.today import read_day
    from quarantine.failures import Usage

    first = read_day(since, "--from") if since else None
    last = read_day(until, "--to") if until else None
    if first and last and last < first:
        raise Usage("--to lies before --from; nothing was written.")
    scope = Scope(batch, tank, site, keeper, first, last, done, private)
    made = write_calendar(session().desk(), file, scope)
    session().emit(
        made,
        [
            f"{made['entries']} entries in {made['file']}. A calendar reminds and is never the record: "
            "check the list before dosing.",
        ],
    )


def check(file: Annotated[Path, typer.Argument(help="The calendar file.")]) -> None:
    from quarantine.calendars.lint import lint_file
    from quarantine.failures import Refused

    try:
        problems = lint_file(file)
    except OSError as error:
        raise Refused(f"{file} cannot be read: {error.strerror}.") from None
    if problems:
        listed = [f"line {p.line}: {p.message}" for p in problems]
        faults = "1 fault" if len(problems) == 1 else f"{len(problems)} faults"
        more = f"; and {len(listed) - 20} more" if len(listed) > 20 else ""
        raise Refused(f"{file} has {faults}. {'; '.join(listed[:20])}{more}.", problems=listed)
    session().emit({"file": str(file), "problems": []}, [f"{file}: no fault found."])
