"""Groups of animals and what each does not tolerate: the lists that ship, and a keeper's own.

``lists/groups.toml`` ships; ``groups.toml`` in the home folder has the same keys and is checked the same way. A
keeper's group adds to a shipped one of the same id and never takes anything away from it. The file:

- ``group``: one table each. ``id``, ``name``; ``also`` (other names, which the ``group`` of an entry's ``sensitive``
  line may use for it); ``common`` (common names of fish that belong to it, as ``also`` are); ``genera`` (genera whose
  fish belong to it, by this project's choice and from memory where a sensitivity does not name them); ``sensitive``
  (tables).
- ``sensitive``: ``to`` (ids of substances, words of ``CLASSES`` of the formulary or of ``THINGS``), ``rule``
  ("refuse", "caution" or "know"), ``text``, ``reference`` and ``status`` as in a formulary entry.
- ``reference``: as in a formulary entry.
"""

from __future__ import annotations

import os
import re
from functools import lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from quarantine.formulary import Note, Reference

FILE = "groups.toml"
THINGS = (
    *("ammonia", "nitrite", "chlorine", "low oxygen", "temperature", "pH change"),
    *("conductivity change", "low salinity", "fasting", "infections", "cold air"),
)
RULES = ("refuse", "caution", "know")
FILE_KEYS = ("group", "reference")
GROUP_KEYS = ("id", "name", "also", "common", "genera", "sensitive")
SENSITIVE_KEYS = ("to", "rule", "text", "reference", "status")


class Sensitivity(NamedTuple):
    """What a group does not tolerate. ``to`` are substances, classes or things; ``own`` marks a keeper's line."""

    to: tuple[str, ...]
    rule: str
    note: Note
    own: bool


class Group(NamedTuple):
    """Animals that share sensitivities. ``own`` is True for a group that only the keeper's file has."""

    id: str
    name: str
    also: tuple[str, ...]
    genera: tuple[str, ...]
    sensitive: tuple[Sensitivity, ...]
    own: bool
    common: tuple[str, ...] = ()


class Groups(NamedTuple):
    """The groups in the order of the files, and the sources they cite."""

    groups: tuple[Group, ...]
    references: dict[str, Reference]


def shipped() -> Groups:
    """The groups that ship. Raises FormularyError when the file has mistakes."""
    from quarantine.formulary import list_text

    return _checked(list_text(FILE), FILE, own=False)


def with_own(text: str, file: str) -> Groups:
    """The groups that ship with those of a keeper's file added. Raises FormularyError for its mistakes."""
    base, own = shipped(), _checked(text, file, own=True)
    mine = {group.id: group for group in own.groups}
    merged = [_merged(group, mine.pop(group.id, None)) for group in base.groups]
    return Groups((*merged, *mine.values()), {**own.references, **base.references})


def check(text: str, file: str) -> list[str]:
    """All mistakes of a file of groups, each a sentence with file, place and key; empty when it is sound."""
    return _read(text, file, own=True)[1]


def groups_of(species: str, groups: Groups) -> frozenset[str]:
    """Ids of the groups a fish belongs to: by the genus its name begins with, or by a common name of a group that
    stands in it ("neon tetra"); empty when none is listed for it.

    Empty says that nothing is on record, not that the fish tolerates everything.
    """
    genus = next(iter(species.split()), "").casefold()
    said = _words(species)
    return frozenset(
        g.id
        for g in groups.groups
        if genus in (name.casefold() for name in g.genera)
        or any(_inside(_words(name), said) for name in (*g.also, *g.common))
    )


class Meant(NamedTuple):
    """Whom an entry's line means: ids of groups, all animals, or those whose tolerance nobody knows."""

    ids: frozenset[str]
    everyone: bool
    unlisted: bool


EVERYONE = ("all animals", "fish of any age")
UNLISTED = ("any species whose tolerance is not known",)


def meant(text: str, groups: Groups) -> Meant:
    """Whom the ``group`` of an entry's ``sensitive`` line means: its words are those of a group's id, name or other
    names, or a list of them ("catfish, loaches and eels"). What no group is named by leaves ``ids`` empty."""
    if text in EVERYONE or text in UNLISTED:
        return Meant(frozenset(), text in EVERYONE, text in UNLISTED)
    parts = {_words(part) for part in (text, *re.split(r", | and |[()]", text))} - {()}
    return Meant(
        frozenset(g.id for g in groups.groups if parts & {_words(n) for n in (g.id, g.name, *g.also)}),
        False,
        False,
    )


@lru_cache(maxsize=4096)
def _words(text: str) -> tuple[str, ...]:
    """Words without capitals, commas and the ending of the plural. Kept: a dose asks for the same names many times."""
    found = re.findall(r"[^\s,()]+", text.casefold())
    return tuple(re.sub(r"(?<=\w\w)s$", "", re.sub(r"(?<=\w\w)ies$", "y", word)) for word in found)


def _inside(part: tuple[str, ...], whole: tuple[str, ...]) -> bool:
    """Whether words stand in others, one beside the other."""
    return any(whole[at : at + len(part)] == part for at in range(len(whole) - len(part) + 1)) if part else False


def _merged(group: Group, mine: Group | None) -> Group:
    if mine is None:
        return group
    return group._replace(
        also=tuple(dict.fromkeys((*group.also, *mine.also))),
        genera=tuple(dict.fromkeys((*group.genera, *mine.genera))),
        sensitive=(*group.sensitive, *mine.sensitive),
        common=tuple(dict.fromkeys((*group.common, *mine.common))),
    )


def _checked(text: str, file: str, *, own: bool) -> Groups:
    from quarantine.formulary import FormularyError

    groups, problems = _read(text, file, own=own)
    if problems or groups is None:
        raise FormularyError(os.path.basename(file), problems)
    return groups


def _read(text: str, file: str, *, own: bool) -> tuple[Groups | None, list[str]]:
    import tomllib

    from quarantine.formulary import _check_named, _Reading, _references, _Table

    reading = _Reading(os.path.basename(file))
    try:
        data: dict[str, Any] = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return None, [f"{reading.file}: not TOML: {error}"]
    top = _Table(reading, "file", "", data, FILE_KEYS)
    found: list[Group] = []
    for table in top.tables("group", GROUP_KEYS, "group"):
        name = table.text("id")
        if name and not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", name):
            table.wrong("id", f"{name!r} is not small letters, digits and hyphens")
        if name in {g.id for g in found}:
            table.wrong("id", f"{name!r} is there twice")
        names = [table.texts(key, needed=False) for key in ("also", "genera", "common")]
        found.append(Group(name, table.text("name"), names[0], names[1], _sensitive(table, own), own, names[2]))
    if not found:
        top.wrong("group", "is missing")
    references = _references(top)
    _check_named(reading, references)
    return Groups(tuple(found), references), reading.problems


def _sensitive(table: Any, own: bool) -> tuple[Sensitivity, ...]:
    from quarantine.formulary import CLASSES, names

    allowed = (*names(), *CLASSES, *THINGS)
    rows = tuple(
        Sensitivity(inner.texts("to", allowed), inner.choice("rule", RULES), inner.note(), own)
        for inner in table.tables("sensitive", SENSITIVE_KEYS)
    )
    if not rows:
        table.wrong("sensitive", "is missing")
    return rows
