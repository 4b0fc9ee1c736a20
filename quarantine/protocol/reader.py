"""Reads tables by the grammar and gathers what is wrong, with file, line and key."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from quarantine.protocol.grammar import GRAMMAR, Key
from quarantine.protocol.lines import Path_
from quarantine.protocol.model import Problem
from quarantine.protocol.values import TYPES, Bad, as_found, choice, near
from quarantine.templates import shipped as shipped


class Reader:
    """Reads tables of one file by the grammar and gathers what is wrong."""

    def __init__(
        self,
        file: str,
        data: dict[str, Any],
        lines: dict[Path_, int],
        tables: Mapping[str, Callable[[Reader, object, Path_], Any]],
    ) -> None:
        self.file = file
        self.data = data
        self.lines = lines
        self.tables = tables
        self.problems: list[Problem] = []

    def line(self, path: Path_) -> int:
        """The line of a key, or of the nearest table around one that is missing."""
        while path and path not in self.lines:
            path = path[:-1]
        return self.lines.get(path, 1)

    def name(self, path: Path_) -> str:
        """A key as a person calls it: step[dose].repeat.every; elements without an id by number from 1."""
        shown = ""
        here: Any = self.data
        for part in path:
            here = here[part] if _has(here, part) else None
            if isinstance(part, int):
                known = (here.get("id") or here.get("key")) if isinstance(here, dict) else None
                shown += f"[{known if isinstance(known, str) else part + 1}]"
            else:
                shown += f".{part}" if shown else part
        return shown

    def wrong(self, path: Path_, expected: str, got: object = None, why: str = "") -> None:
        """Note one mistake. A value that is missing is "nothing"."""
        found = "nothing" if got is None else as_found(got)
        message = f"expected {expected}, got {found}{'; ' + why if why else ''}"
        self.problems.append(Problem(self.file, self.line(path), self.name(path), message))

    def table(self, kind: str, value: object, path: Path_) -> dict[str, Any]:
        """All keys of a table of the grammar, converted; None stands for what is missing or wrong."""
        keys = GRAMMAR[kind]
        if not isinstance(value, dict):
            self.wrong(path, f"a table ({', '.join(keys)})", value)
            return {key: _nothing(spec) for key, spec in keys.items()}
        for key in value:
            if key not in keys:
                known = near(key, keys) or f"the keys here are {', '.join(keys)}"
                self.wrong((*path, key), "a known key", key, known)
        return {key: self.entry(spec, value.get(key), (*path, key)) for key, spec in keys.items()}

    def entry(self, spec: Key, value: object, path: Path_) -> Any:
        """One value by its type of the grammar, or its default."""
        if value is None:
            if spec.need == "required":
                self.wrong(path, _words(spec.type))
                return _nothing(spec)
            value = None if spec.need == "optional" else spec.need
        if value is None:
            return _nothing(spec)
        head, _, rest = spec.type.partition(" of ")
        if head == "list":
            return self.many(value, path, lambda one, at: self.entry(Key(rest), one, at), _words(rest))
        if head == "tables":
            return self.many(value, path, self.tables[rest], f"a table of {rest}", self)
        if spec.type.startswith("table "):
            return self.tables[spec.type[6:]](self, value, path)
        return self.scalar(spec.type, value, path)

    def scalar(self, kind: str, value: object, path: Path_) -> Any:
        try:
            return TYPES[kind](value) if kind in TYPES else choice(value, kind.split(" | "))
        except Bad as bad:
            self.wrong(path, bad.expected, value, bad.why)
            return None

    def many(self, value: object, path: Path_, one: Callable[..., Any], words: str, *before: Any) -> tuple[Any, ...]:
        """The elements of a list that are right; a wrong one is noted and left out."""
        if not isinstance(value, list) or not value:
            self.wrong(path, f"a list, each {words}", value)
            return ()
        found = [one(*before, element, (*path, n)) for n, element in enumerate(value)]
        return tuple(element for element in found if element is not None)

    def one_of(self, found: dict[str, Any], kinds: tuple[str, ...], value: object, path: Path_) -> str | None:
        """The one discriminating key of a table, or None after noting that there is none or several."""
        if not isinstance(value, dict):
            return None
        named = [kind for kind in kinds if kind in value]
        if len(named) != 1:
            self.wrong(path, f"exactly one of {', '.join(kinds)}", " and ".join(named) or None)
            return None
        return named[0] if found[named[0]] is not None else None


def _nothing(spec: Key) -> Any:
    """What stands for a value that is missing or wrong: an empty list, or None."""
    return () if spec.type.startswith(("list of ", "tables of ")) else None


def _has(here: object, part: str | int) -> bool:
    if isinstance(part, int):
        return isinstance(here, list) and part < len(here)
    return isinstance(here, dict) and part in here


def _words(kind: str) -> str:
    """A type of the grammar in words for a sentence about a missing value."""
    if " | " in kind and " of " not in kind:
        return f"one of {kind.replace(' | ', ', ')}"
    try:
        if kind in TYPES:
            TYPES[kind](None)
    except Bad as bad:
        return bad.expected
    head, _, rest = kind.partition(" of ")
    if head == "tables":
        return f"at least one table of {rest}"
    return f"a list, each {_words(rest)}" if head == "list" else f"a {kind.replace('table ', 'table of ')}"
