"""The record as files for a spreadsheet. A read: it writes those files and nothing on record."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Annotated, Any

import typer

from quarantine.cli.session import session


def export(
    folder: Annotated[Path, typer.Argument(help="The new folder to make for the files.")],
    batch: Annotated[str | None, typer.Option(help="One batch only, with its water during its stay.")] = None,
    since: Annotated[str | None, typer.Option(help="From this local day on, YYYY-MM-DD.")] = None,
) -> None:
    from quarantine.actions.tabling import read_tables, save_folder
    from quarantine.cli.today import read_day
    from quarantine.reports.tables import csv_lines

    first = read_day(since, "--since") if since else None
    counts: dict[str, int] = {}
    with session().reader() as rows:
        rows.hold_still()
        tables = read_tables(rows, batch, first)
        save_folder(
            folder,
            (
                (f"{table.name}.csv", csv_lines(table.columns, _counted(table.rows, f"{table.name}.csv", counts)))
                for table in tables
            ),
        )
    files = [{"file": str(folder / name), "rows": count} for name, count in counts.items()]
    lines = [f"{file['file']}: {file['rows']} {'row' if file['rows'] == 1 else 'rows'}" for file in files]
    lines.append("Text that a spreadsheet would run as a formula has an apostrophe before it.")
    lines.append("Names of keepers are in these files.")
    session().emit({"files": files}, lines)


def _counted(rows: Iterable[dict[str, Any]], name: str, counts: dict[str, int]) -> Iterator[dict[str, Any]]:
    counts[name] = 0
    for row in rows:
        counts[name] += 1
        yield row
