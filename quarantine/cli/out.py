"""What a person or a program sees: plain lines or one JSON document, readable in any terminal."""

from __future__ import annotations

import json
import os
import sys
from datetime import date, datetime
from decimal import Decimal
from typing import Any, TextIO

ASCII = str.maketrans(
    {
        "±": "+/-",
        "µ": "u",
        "μ": "u",
        "°": " deg ",
        "×": "x",
        "≥": ">=",
        "≤": "<=",
        "→": "->",
        "–": "-",
        "—": "-",
        "…": "...",
        "½": "1/2",
        "²": "2",
        "³": "3",
        "’": "'",
        "“": '"',
        "”": '"',
    }
)
"""Where the terminal cannot: "uL" and ">=" are written, never "?L"."""


class Closed(Exception):
    """Nobody reads any more: the pipe was closed. No OSError, of which the parser of commands would make exit 1."""


class Unshown(Exception):
    """The answer could not be put where standard output goes, though the command ran: its reason."""


def to_json(value: Any) -> str:
    """JSON text; a number is the Decimal's own text, never 5.0, 1e-05 or a float's tail."""
    if isinstance(value, Decimal):
        from quarantine.quantity import show

        return show(value)
    if isinstance(value, float):
        return to_json(Decimal(repr(round(value, 6))))
    if isinstance(value, datetime):
        return json.dumps(value.isoformat())
    if isinstance(value, date):
        return json.dumps(value.isoformat())
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(str(k))}: {to_json(v)}" for k, v in value.items()) + "}"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(to_json(item) for item in value) + "]"
    return json.dumps(value, ensure_ascii=False)


def write(text: str, stream: TextIO | None = None) -> None:
    """One line, in what the stream can show."""
    out = stream or sys.stdout
    encoding = out.encoding or "utf-8"
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        text = text.translate(ASCII).encode(encoding, "backslashreplace").decode(encoding)
    try:
        out.write(text + "\n")
    except OSError as error:
        raise _unshown(error) from None


def flush() -> None:
    """What is shown so far reaches its reader. Raises Closed or Unshown, as `write` does."""
    try:
        sys.stdout.flush()
    except OSError as error:
        raise _unshown(error) from None


def _unshown(error: OSError) -> Closed | Unshown:
    return Closed() if isinstance(error, BrokenPipeError) else Unshown(error.strerror or str(error))


def width(stream: TextIO | None = None) -> int | None:
    """The columns to fold at: those of the terminal that the stream goes to; None when a program is reading."""
    if os.environ.get("COLUMNS", "").isdigit():
        return max(20, int(os.environ["COLUMNS"]))
    out = stream or sys.stdout
    columns = os.get_terminal_size(out.fileno()).columns if out.isatty() else 0
    return max(20, columns) if columns else None  # a serial line says 0: it does not know


def say(line: str = "", indent: int = 0, stream: TextIO | None = None) -> None:
    """A line for a person, folded at the terminal's width with a hanging indent."""
    columns = width(stream)
    text = " " * indent + line
    if columns is None or len(text) <= columns:
        write(text, stream)
        return
    from textwrap import wrap

    lines = wrap(line, columns, initial_indent=" " * indent, subsequent_indent=" " * min(indent + 2, columns // 3))
    for part in lines or [""]:
        write(part, stream)


def say_indented(line: str, stream: TextIO | None = None) -> None:
    """The same for a line that brings its own indent."""
    body = line.lstrip(" ")
    say(body, len(line) - len(body), stream)


def emit(document: dict[str, Any], lines: list[str], *, as_json: bool) -> None:
    """The one document, or the lines."""
    if as_json:
        write(to_json(document))
        return
    for line in lines:
        say_indented(line)
