"""Tables as comma-separated text that every spreadsheet opens: RFC 4180 (IETF, 2005), lines ended by CRLF, UTF-8.

A cell that a spreadsheet would run as a formula gets an apostrophe before it. :func:`as_typed` takes it off again.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

NUMBER = re.compile(r"[+-]?[0-9]+(?:\.[0-9]+)?")

_RUNS = re.compile(r"'*\s*[=+\-@＝＋－＠]|'*[\t\r\n]")
"""What a spreadsheet may take for a formula; also with apostrophes before it, so that one more can be taken off."""


def cell(value: Any) -> str:
    """A value as text: nothing as an empty cell, truth as yes or no, a list with semicolons."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    text = "; ".join(map(str, value)) if isinstance(value, (list, tuple)) else str(value)
    return f"'{text}" if _RUNS.match(text) and not NUMBER.fullmatch(text) else text


def as_typed(text: str) -> str:
    """The text of a cell as it was recorded."""
    return text[1:] if text[:1] == "'" and _RUNS.match(text) else text


def csv_lines(columns: tuple[str, ...], rows: Iterable[Mapping[str, Any]]) -> Iterator[str]:
    """The header, then each row, a record of text at a time; what a row does not have is an empty cell."""
    yield _record(columns)
    for row in rows:
        yield _record([cell(row.get(column)) for column in columns])


def _record(cells: Iterable[str]) -> str:
    made = io.StringIO(newline="")
    csv.writer(made, lineterminator="\r\n").writerow(cells)
    return made.getvalue()
