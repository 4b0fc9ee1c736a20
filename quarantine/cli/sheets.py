"""Paper: the day's sheet, the emergency card, the tank card. Reads only."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Annotated, Any

import typer

from quarantine.cli.session import now, session

Html = Annotated[Path | None, typer.Option("--html", help="Write a page for a browser and a printer.")]


def sheet(
    on: Annotated[str | None, typer.Option(help="Another day, YYYY-MM-DD.")] = None,
    tank: Annotated[str | None, typer.Option(help="One tank only.")] = None,
    sitter: Annotated[
        bool, typer.Option("--sitter", help="Only what a stranger may do: no medicine; one sheet a tank.")
    ] = False,
    html: Html = None,
    text: Annotated[bool, typer.Option("--text", help="Plain text on standard output; so without --html.")] = False,
) -> None:
    from quarantine.actions.sheets import read_sheet
    from quarantine.cli.render import card_lines
    from quarantine.cli.today import read_day
    from quarantine.failures import Usage
    from quarantine.reports.sheet import papers, title_of

    if text and html:
        raise Usage("--text and --html FILE exclude each other; leave one out.")
    day = read_day(on, "--on") if on else None
    home = session().home()
    with session().reader() as rows:
        made = read_sheet(rows, home, now(), card_lines, on=day, tank=tank, sitter=sitter)
    _answer(made, title_of(made), papers(made), html)


def emergency(
    tank: Annotated[str | None, typer.Option(help="With the litres of this tank.")] = None,
    html: Html = None,
) -> None:
    from quarantine.actions.sheets import Emergency, read_emergency
    from quarantine.failures import Failure
    from quarantine.reports.emergency import papers, title_of

    try:
        with session().reader() as rows:
            made = read_emergency(rows, now(), tank)
    except (Failure, OSError):
        if tank is not None:
            raise
        # In an emergency a record that cannot be read is no reason to show nothing.
        made = Emergency("", (), None)
    _answer(made, title_of(made), papers(made), html)


def tank_card(
    tank: Annotated[str, typer.Argument(help="The tank.")],
    html: Html = None,
) -> None:
    from quarantine.actions.sheets import read_tank_card
    from quarantine.reports.tankcard import papers, title_of

    with session().reader() as rows:
        made = read_tank_card(rows, now(), tank)
    _answer(made, title_of(made), papers(made), html)


def _answer(made: Any, title: str, papers: Iterable[Any], html: Path | None) -> None:
    """One document for a program; a file and where it is; or the text."""
    from quarantine.reports.paper import page_html, pages_of, text_of

    laid = [list(paper) for paper in papers]
    document = _plain(made)
    if html is None:
        session().emit(
            document, [line for n, paper in enumerate(laid) for line in (*([""] * (n > 0)), *text_of(paper))]
        )
        return
    from quarantine.actions.sheets import save_page

    save_page(html, page_html(title, laid))
    count = sum(len(pages_of(paper)) for paper in laid)
    sheets = "1 sheet" if count == 1 else f"{count} sheets"
    # Tanks of a sitter hang apart; what is one paper may turn the leaf.
    both = f"; printed on both sides, {-(-count // 2)}" if count > len(laid) == 1 else ""
    said = f"{html}: {sheets} of A4 or Letter paper{both}. Open it in a browser to print."
    session().emit({**document, "file": str(html)}, [said])


def _plain(value: Any) -> Any:
    """A document of named tuples as JSON takes it."""
    if hasattr(value, "_asdict"):
        return {key: _plain(inner) for key, inner in value._asdict().items()}
    if isinstance(value, tuple):
        return [_plain(inner) for inner in value]
    return value
