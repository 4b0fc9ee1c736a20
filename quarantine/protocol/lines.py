"""Which key of a TOML text stands in which line, so that a mistake is told with its place."""

from __future__ import annotations

import re
from collections.abc import Iterator

from quarantine.templates import shipped as shipped

Path_ = tuple[str | int, ...]

_TOKEN = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}'  # a text over several lines may end in one or two quotes of its own
    r"|'''.*?'{3,5}"
    r'|"(?:\\.|[^"\\\n])*"'
    r"|'[^'\n]*'"
    r"|\#[^\n]*"
    r"|\n|[\[\]{},=.]"
    r"|[^\s\[\]{},=.\"'\#]+",
    re.DOTALL,
)


def key_lines(text: str) -> dict[Path_, int]:
    """The line (from 1) of every key and list element of a TOML text that tomllib has accepted.

    tomllib forgets lines; this walk over the tokens only has to follow keys and brackets.
    """
    lines: dict[Path_, int] = {}
    tokens = [(token, line) for token, line in _tokens(text) if not token.startswith("#")]
    counts: dict[Path_, int] = {}
    table: Path_ = ()
    at = 0
    while at < len(tokens):
        token, line = tokens[at]
        if token == "\n":
            at += 1
        elif token == "[":
            many = tokens[at + 1][0] == "["
            parts, at = _key(tokens, at + 1 + many, "]")
            table = _header(parts, many, counts)
            _mark(lines, table, line)
            at += many
        else:
            parts, at = _key(tokens, at, "=")
            path = (*table, *parts)
            _mark(lines, path, line)
            at = _value(tokens, at, path, lines)
    return lines


def _tokens(text: str) -> Iterator[tuple[str, int]]:
    line = 1
    for found in _TOKEN.finditer(text):
        yield found[0], line
        line += found[0].count("\n")


def _key(tokens: list[tuple[str, int]], at: int, end: str) -> tuple[list[str], int]:
    """The parts of a dotted key that ends before ``end``, and the place after it."""
    parts = []
    while tokens[at][0] != end:
        token = tokens[at][0]
        if token not in (".", "\n", ","):
            parts.append(_unquoted(token))
        at += 1
    return parts, at + 1


def _unquoted(token: str) -> str:
    if token[0] not in "\"'":
        return token
    import tomllib

    return str(tomllib.loads(f"key = {token}")["key"])


def _header(parts: list[str], many: bool, counts: dict[Path_, int]) -> Path_:
    """Where a [table] or [[table]] header points, each list standing for its newest element."""
    path: Path_ = ()
    for n, part in enumerate(parts):
        path = (*path, part)
        if many and n == len(parts) - 1:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


def _mark(lines: dict[Path_, int], path: Path_, line: int) -> None:
    for end in range(1, len(path) + 1):
        lines.setdefault(path[:end], line)


def _value(tokens: list[tuple[str, int]], at: int, path: Path_, lines: dict[Path_, int]) -> int:
    """Walk over one value, marking what is inside it; the place after it."""
    token = tokens[at][0]
    if token == "[":
        return _list(tokens, at + 1, path, lines)
    if token == "{":
        return _inline(tokens, at + 1, path, lines)
    while at < len(tokens) and tokens[at][0] not in ("\n", ",", "]", "}"):
        at += 1
    return at


def _list(tokens: list[tuple[str, int]], at: int, path: Path_, lines: dict[Path_, int]) -> int:
    n = 0
    while tokens[at][0] != "]":
        if tokens[at][0] in ("\n", ","):
            at += 1
            continue
        lines[(*path, n)] = tokens[at][1]
        at = _value(tokens, at, (*path, n), lines)
        n += 1
    return at + 1


def _inline(tokens: list[tuple[str, int]], at: int, path: Path_, lines: dict[Path_, int]) -> int:
    while tokens[at][0] != "}":
        if tokens[at][0] in ("\n", ","):
            at += 1
            continue
        line = tokens[at][1]
        parts, at = _key(tokens, at, "=")
        _mark(lines, (*path, *parts), line)
        at = _value(tokens, at, (*path, *parts), lines)
    return at + 1
