"""Known failures: one plain sentence each (what was wrong, where, what to do) and an exit code."""

from __future__ import annotations

from typing import Any


class Failure(Exception):
    """A failure we know: shown as its sentence, never as a traceback.

    ``facts`` are JSON-ready values (text, whole numbers, lists of them) that a program
    reading ``--json`` may want beside the sentence.
    """

    exit_code = 1
    kind = "refused"
    lines: tuple[str, ...] = ()
    """what belongs under the sentence, a line each, where one sentence cannot hold it"""

    def __init__(self, sentence: str, **facts: Any) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.facts = facts


class Refused(Failure):
    """The tool understood and will not do it. Exit 1."""


MOST_LISTED = 40
"""So many known names are all named; of more, those that begin alike."""

BEGUN = 3
"""From so many letters on the one name that begins with them is meant."""


class Unknown(Refused):
    """A name that is not on record; the known ones are named. Exit 1."""

    kind = "unknown"

    def __init__(self, what: str, name: str, known: list[str], hint: str = "") -> None:
        from difflib import get_close_matches

        near = get_close_matches(name.casefold(), [k.casefold() for k in known], n=1, cutoff=0.6)
        nearest = next((k for k in known if near and k.casefold() == near[0]), None)
        begun = [k for k in known if len(name) >= BEGUN and k.casefold().startswith(name.casefold())]
        nearest = begun[0] if len(begun) == 1 else nearest
        listed = f"known: {', '.join(known)}" if known else f"there is none on record yet{hint}"
        if len(known) > MOST_LISTED:
            beginning = [k for k in known if k.casefold()[:1] == name.casefold()[:1]]
            some = beginning if 0 < len(beginning) <= MOST_LISTED else known[:MOST_LISTED]
            listed = f"{len(known)} are known{hint}, among them {', '.join(some)}"
        mean = f" Did you mean {nearest!r}?" if nearest else ""
        super().__init__(f"There is no {what} {name!r}; {listed}.{mean}", name=name, known=known)


class Usage(Failure):
    """The command was not understood. Exit 2."""

    exit_code = 2
    kind = "usage"
