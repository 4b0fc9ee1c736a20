"""What the sources tried against a sign, a parasite or a disease: a search, never a recommendation.

``lists/causes.toml`` holds what a sign may point to. Each ``cause`` table: ``id``, ``name``, ``words`` (what it is
called; a row whose purpose has one of them was tried against it by name), ``wide`` (words of a purpose so general
that it may be meant), ``water``, ``signs`` (names of quarantine.signs), ``reference`` and ``status`` of the link
between signs and cause (MEM: from memory). ``reference`` tables are those of a formulary entry.

The rows are found by the first lines of the entries (:func:`quarantine.formulary.titles`): nothing is parsed but
the list of causes, and no figure is read.
"""

from __future__ import annotations

import os
import re
from functools import cache
from typing import Any, NamedTuple

from quarantine.formulary import TIERS, Heading, Note, Reference, Title, list_text, titles

FILE = "causes.toml"
CAUSE_KEYS = ("id", "name", "words", "wide", "water", "signs", "reference", "status")
FILE_KEYS = ("cause", "reference")


class Cause(NamedTuple):
    """What a sign may point to; ``note`` cites the link between the signs and it."""

    id: str
    name: str
    words: tuple[str, ...]
    wide: tuple[str, ...]
    water: tuple[str, ...]
    signs: tuple[str, ...]
    note: Note


class Hit(NamedTuple):
    """A row that was tried. ``named`` is False where only its general purpose covers what was asked for."""

    title: Title
    row: Heading
    named: bool


class Found(NamedTuple):
    """What was asked, how it was understood, and the rows, ready first, then trial, instruction, refused."""

    asked: str
    sign: str
    causes: tuple[Cause, ...]
    hits: tuple[Hit, ...]


def find(asked: str) -> Found:
    """The causes and rows for a sign's name, a parasite, a disease or any word of a purpose; perhaps none.

    Capitals and spaces do not matter. Whole words are compared: "ich" is not found in "Trichodina".
    """
    wanted = " ".join(asked.split()).casefold()
    if not wanted:
        return Found(asked, "", (), ())
    sign, found = _understood(wanted)
    hits = [
        Hit(title, row, named)
        for title in titles()
        for row in title.regimens
        if (named := _named(row, wanted, found)) or any(_fits(row, cause, cause.wide) for cause in found)
    ]
    hits.sort(key=lambda hit: (not hit.named, TIERS.index(hit.row.tier)))
    return Found(asked, sign, found, tuple(hits))


@cache
def causes() -> tuple[tuple[Cause, ...], dict[str, Reference]]:
    """The causes on file with their sources. Raises FormularyError when the file has mistakes."""
    from quarantine.formulary import FormularyError

    found, references, problems = _read(list_text(FILE), FILE)
    if problems:
        raise FormularyError(FILE, problems)
    return found, references


def check(text: str, file: str) -> list[str]:
    """All mistakes of a file of causes, each a sentence with file, place and key; empty when it is sound."""
    return _read(text, file)[2]


def _understood(wanted: str) -> tuple[str, tuple[Cause, ...]]:
    """The sign that was named, if it is one, and the causes: by the sign, else by their own words."""
    from quarantine.signs import SIGNS

    there = causes()[0]
    by_word = tuple(c for c in there if wanted in (c.id, *(word.casefold() for word in c.words)))
    sign = next((name for name in SIGNS if wanted.rstrip("s") == name.rstrip("s")), "")
    by_sign = tuple(c for c in there if sign in c.signs)
    return sign, tuple(dict.fromkeys((*by_word, *by_sign)))


def _named(row: Heading, wanted: str, found: tuple[Cause, ...]) -> bool:
    return _mentions(row.purpose, (wanted,)) or any(_fits(row, cause, cause.words) for cause in found)


def _fits(row: Heading, cause: Cause, words: tuple[str, ...]) -> bool:
    """The words fit, and the water: "white spot" is one parasite in fresh water and another in the sea."""
    return bool(set(cause.water) & set(row.water)) and _mentions(row.purpose, words)


def _mentions(purpose: str, words: tuple[str, ...]) -> bool:
    return any(re.search(rf"(?<!\w){re.escape(word)}(?!\w)", purpose, re.IGNORECASE) for word in words)


def _read(text: str, file: str) -> tuple[tuple[Cause, ...], dict[str, Reference], list[str]]:
    import tomllib

    from quarantine.formulary import WATERS, WITHOUT_REFERENCE, _check_named, _Reading, _references, _Table
    from quarantine.signs import SIGNS

    reading = _Reading(os.path.basename(file))
    try:
        data: dict[str, Any] = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return (), {}, [f"{reading.file}: not TOML: {error}"]
    top = _Table(reading, "file", "", data, FILE_KEYS)
    found = []
    for table in top.tables("cause", CAUSE_KEYS, "cause"):
        status, reference = table.text("status"), table.text("reference", needed=False)
        table.status = status
        if reference:
            table.named()
        elif status not in WITHOUT_REFERENCE:
            table.wrong("reference", f"a link with status {status or 'unknown'} needs a reference")
        found.append(
            Cause(
                table.text("id"),
                table.text("name"),
                table.texts("words"),
                table.texts("wide", needed=False),
                table.texts("water", WATERS),
                table.texts("signs", tuple(SIGNS)),
                Note(table.text("name"), reference, status),
            )
        )
    if not found:
        top.wrong("cause", "is missing")
    references = _references(top)
    _check_named(reading, references)
    return tuple(found), references, reading.problems
