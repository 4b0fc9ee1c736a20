"""The journal, as it was written: one line an entry, readable whatever state the record is in."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Annotated, Any

import typer

from quarantine.cli.session import session

if TYPE_CHECKING:
    from quarantine.records.journal import Told

SEAL_SHOWN = 16
"""Digits of a seal on a line; `check --against` takes them."""

MOST = 1_000_000_000
"""More than any record holds, and a number that every database can count to."""

LATE = timedelta(hours=1)
"""An entry made longer than this after what it tells says when it was made; our choice, no source."""


def journal(
    last: Annotated[int | None, typer.Option(help="Only the last so many entries.")] = None,
) -> None:
    from quarantine.failures import Usage
    from quarantine.records.journal import Entry, tell

    if last is not None and not 1 <= last <= MOST:
        raise Usage(f"--last {last} does not read: write how many entries to show, 1 to {MOST}.")
    with session().reader() as rows:
        rows.read_damaged()
        found = rows.rows("journal") if last is None else rows.rows("journal_last", most=last)[::-1]
        names = {row["id"]: row["name"] for row in rows.rows("keepers")}
    told = [tell(Entry(row["id"], row["n"], row["payload"])) for row in found]
    lines = [_line(one, names) for one in told]
    session().emit({"entries": [_document(one, names) for one in told]}, lines or ["The journal is empty."])


def _line(told: Told, names: dict[str, str]) -> str:
    """Number, when, who, what, and the beginning of the seal: always one line."""
    if told.kind is None:
        what = "this entry cannot be read"
    else:
        who = _who(told, names) or "nobody on record yet"
        what = f"{_clock(told.happened_at)} UTC, {who}, {told.kind}: {told.says}{_late(told)}"
    seal = f"[{str(told.entry.id)[:SEAL_SHOWN]}]{'' if told.fits else ' CHANGED: its seal does not fit'}"
    return " ".join(f"{told.entry.n} {what} {seal}".split())


def _who(told: Told, names: dict[str, str]) -> str | None:
    return None if told.keeper is None else names.get(told.keeper, "a keeper who is not on record")


def _clock(text: str | None) -> str:
    return str(text)[:16].replace("T", " ")


def _late(told: Told) -> str:
    made, happened = _instant(told.entered_at), _instant(told.happened_at)
    if made is None or happened is None or made - happened <= LATE:
        return ""
    return f" (entered {_clock(told.entered_at)} UTC)"


def _instant(text: str | None) -> datetime | None:
    try:
        return datetime.fromisoformat(str(text))
    except ValueError:
        return None


def _document(told: Told, names: dict[str, str]) -> dict[str, Any]:
    """All of an entry. ``payload`` is its exact text: the seal is the SHA-256 of that, as UTF-8."""
    return {
        "entry": told.entry.n,
        "happened_at": _instant(told.happened_at),
        "entered_at": _instant(told.entered_at),
        "by": _who(told, names),
        "kind": told.kind,
        "says": told.says,
        "seal": told.entry.id,
        "seal_fits": told.fits,
        "parents": told.parents,
        "payload": told.entry.payload,
    }
