"""The templates as files: which ones ship, and the header of one. Light: lists read it; the grammar is elsewhere."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any, NamedTuple


class Reference(NamedTuple):
    """Where a figure comes from; ``status`` is read, second-hand, common practice or from memory."""

    key: str
    cite: str
    status: str


class Imprint(NamedTuple):
    """The header of a template as every printout shows it: which text this is, and where its figures come from."""

    id: str
    revision: int
    date: date
    author: str
    reviewer: str | None
    water: str
    fish: str
    references: tuple[Reference, ...]

    @property
    def line(self) -> str:
        """The header as one line."""
        return (
            f"protocol {self.id}, revision {self.revision}, {self.date}, by {self.author}, "
            f"reviewed by {self.reviewer or 'nobody yet'}; {self.water} water; {self.fish}"
        )

    @property
    def named_sources(self) -> str:
        """The sources by their keys, each with how it is known."""
        return ", ".join(f"{one.key} ({one.status})" for one in self.references)

    @property
    def sources(self) -> list[str]:
        """The sources in full, a line each."""
        return [f"{one.key} ({one.status}): {one.cite}" for one in self.references]

    def as_json(self) -> dict[str, Any]:
        """What a JSON document holds of the header."""
        return {
            "revision": self.revision,
            "date": self.date,
            "author": self.author,
            "reviewer": self.reviewer,
            "sources": [one._asdict() for one in self.references],
        }


def imprint(text: str) -> Imprint:
    """The header of a template that was checked before: a batch's frozen copy stays printable in every version.

    Raises ValueError when the text is no template.
    """
    import tomllib

    data = tomllib.loads(text)
    try:
        return Imprint(
            id=_line(data["id"]),
            revision=int(data["revision"]),
            date=data["date"],
            author=_line(data["author"]),
            reviewer=_line(data["reviewer"]) if "reviewer" in data else None,
            water=_line(data["water"]),
            fish=_line(data["fish"]),
            references=tuple(Reference(one["key"], _line(one["cite"]), one["status"]) for one in data["reference"]),
        )
    except (AttributeError, KeyError, TypeError):
        raise ValueError("the text has no header of a template") from None


def _line(text: str) -> str:
    return " ".join(text.split())


def shipped() -> dict[str, Path]:
    """The templates that came with the program, by id, in order of their names."""
    here = Path(__file__).parent
    # An installed package has them beside its modules; a checkout has them beside the package.
    folder = next((one for one in (here / "protocols", here.parent / "protocols") if one.is_dir()), here)
    return {path.stem: path for path in sorted(folder.glob("*.toml"))}
