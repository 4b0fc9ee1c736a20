"""A template of a keeper's own to begin with: one that ships, with a comment at each key, under a name of its own."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from textwrap import wrap

from quarantine.failures import Refused, Unknown, Usage
from quarantine.protocol import GRAMMAR, PATTERNS, Path_, key_lines, read
from quarantine.protocol_schema import meanings, table_at
from quarantine.templates import imprint, shipped

_WIDE = 100

_HEAD = """\
# A protocol of your own, made from {like}, revision {revision}. It passes its check as it stands:
#   quarantine protocol check {file}
# Change one thing, check again, change the next. What it comes to, before any fish do:
#   quarantine protocol preview {file} --tank T --arrived WHEN
# A line that begins with # is a comment and changes nothing. Title, summary, fish and sources are still
# those of {like}: say what yours does and does not do, and where each figure
# comes from. A change of what is already in use raises the revision.

"""


def new_protocol(file: Path, *, like: str, author: str, today: date, dry_run: bool) -> dict[str, object]:
    """Write a commented template; its id is the file's name. ``today`` is its date.

    Raises Usage (no name for a template), Unknown (no such template to begin with), ProtocolError (an author's
    name that no template may hold) and Refused (the file is there already, or cannot be written: then nothing is left).
    """
    if file.suffix != ".toml" or not re.fullmatch(PATTERNS["id"], file.stem):
        raise Usage(
            f"{file.name!r} is no name for a template: letters, digits and hyphens, then .toml, "
            "such as spring-fish.toml."
        )
    known = shipped()
    if file.stem in known:
        raise Usage(f"{file.stem} is the name of a protocol that ships; choose another, such as our-{file.stem}.toml.")
    if like not in known:
        raise Unknown("protocol", like, list(known))
    text = draft(known[like].read_text(encoding="utf-8"), file.name, file.stem, author, today)
    read(text, file.name)  # an author's name, say, must not break the file
    if file.exists() or file.is_symlink():
        raise _taken(file)
    if not file.absolute().parent.is_dir():
        raise Refused(f"There is no folder {file.parent}; make it first, or name another.", file=str(file))
    if not dry_run:
        _write(file, text)
    return {"file": str(file), "protocol": file.stem, "like": like, "author": author}


def _taken(file: Path) -> Refused:
    return Refused(f"{file} is there already and stays as it is; choose another name.", file=str(file))


def _write(file: Path, text: str) -> None:
    try:
        with file.open("x", encoding="utf-8", newline="\n") as out:
            try:
                out.write(text)
                out.flush()
            except OSError:
                file.unlink()
                raise
    except FileExistsError:
        raise _taken(file) from None
    except OSError as error:
        raise Refused(f"{file} cannot be written: {error.strerror}; nothing was left there.", file=str(file)) from None


def draft(text: str, file: str, id_: str, author: str, today: date) -> str:
    """The text of a shipped template under another id, with what each key means above its first use.

    The header of a shipped template holds each value on one line; a test sees to it. ``author`` may hold any text.
    """
    lines = key_lines(text)
    own = {
        "id": f'id = "{id_}"',
        "revision": "revision = 1",
        "author": f"author = {_quoted(author)}",
        "date": f"date = {today}",
    }
    replaced = {lines[(key,)]: line for key, line in own.items()}
    comments = _comments(lines)
    header = imprint(text)
    made = _HEAD.format(like=header.id, revision=header.revision, file=file).splitlines()
    for number, line in enumerate(text.splitlines(), 1):
        if number == 1 and line.startswith("#"):
            continue  # what the shipped file is, which this one will no longer be
        made += comments.get(number, [])
        made.append(replaced.get(number, line))
    return "\n".join(made) + "\n"


def _quoted(text: str) -> str:
    """A text as TOML, whatever is in it."""
    import json

    return json.dumps(" ".join(text.split()), ensure_ascii=False).replace("\x7f", "\\u007f")


def _comments(lines: dict[Path_, int]) -> dict[int, list[str]]:
    """Line -> the comments above it: each key where it is first used, and what else its table takes."""
    says = meanings()
    first: dict[tuple[str, str], int] = {}
    for path, line in lines.items():
        table = table_at(path)
        if table is not None:
            first.setdefault((table, str(path[-1])), line)
    found: dict[int, list[str]] = {}
    for (table, key), line in first.items():
        spec = GRAMMAR[table][key]
        need = spec.need if spec.need in ("required", "optional") else f"left out: {spec.need}"
        found.setdefault(line, []).extend(_folded(f"{key} ({_plain(spec.type)}; {need}): {says[table][key]}"))
    for table, line, unused in _unused(first):
        named = ", ".join(f"{key} ({_plain(GRAMMAR[table][key].type)})" for key in unused)
        found.setdefault(line, []).extend(_folded(f"Not used in this file, but possible in {table}: {named}"))
    return found


def _unused(first: dict[tuple[str, str], int]) -> Iterator[tuple[str, int, list[str]]]:
    """(table, line of its first key, its keys that the file does not use)."""
    for table, keys in GRAMMAR.items():
        used = [line for (one, _), line in first.items() if one == table]
        unused = [key for key in keys if (table, key) not in first]
        if used and unused:
            yield table, min(used), unused


def _plain(words: str) -> str:
    return words.replace(" | ", ", ") if len(words) <= _WIDE else f"{words[: words.index(' | ')]}, ..."


def _folded(text: str) -> list[str]:
    return wrap(text.replace("\\|", "|"), _WIDE, initial_indent="# ", subsequent_indent="#   ")
