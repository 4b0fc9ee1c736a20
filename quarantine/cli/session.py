"""What every command shares: where the record is, who acts, how to answer, and the one `now`."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, NamedTuple

from quarantine.cli import out

if TYPE_CHECKING:
    from quarantine.actions.desk import Desk
    from quarantine.records.reads import Reader
    from quarantine.settings import Home


STRENGTH = 'How strong the product is, as its label says: "98 %", "37 % formaldehyde", "99 % as CuSO4.5H2O", "3 % w/v".'

PRODUCT = "Out of which product in stock, where there are several: its name."
LOT = "Out of which lot of it."

STOCK = 'Out of a stock solution: what was weighed and made up to what, "10 g in 500 mL", "0.2 g in 100 mL ± 1 mL".'
KEEP_UNTIL = "Of a stock solution: the last day its label lets it be used, YYYY-MM-DD; not known if left out."
FROM_REST = "Of a stock solution: out of the rest of one made before; nothing more is drawn from the lot."


class Session(NamedTuple):
    """The options that may stand anywhere on the line."""

    home_option: str | None = None
    keeper: str = ""
    as_json: bool = False
    dry_run: bool = False
    debug: bool = False

    def home(self) -> Home:
        """The home folder with its settings."""
        from quarantine.settings import open_home

        return open_home(self.home_option)

    def desk(self) -> Desk:
        """The desk of a writing command: its time is made here, once."""
        from quarantine.actions.desk import Desk

        return Desk(self.home(), now(), self._named(), self.dry_run)

    def who(self) -> str:
        """The name of the keeper who reads: said on the line, in the environment or in the settings; "" where none."""
        return self._named() or str(self.home().value("keeper") or "")

    def _named(self) -> str:
        import os

        return self.keeper or os.environ.get("QUARANTINE_KEEPER", "")

    def reader(self) -> Reader:
        """The record, for reading."""
        from quarantine.records.reads import open_reader

        return open_reader(self.home().database)

    def emit(self, document: dict[str, Any], lines: list[str]) -> None:
        """Answer as asked: for a person, or as one JSON document."""
        if self.dry_run:
            document = {**document, "dry_run": True}
            lines = [*lines, "Dry run: nothing was written."]
        out.emit(document, lines, as_json=self.as_json)


current = Session()


def use(session: Session) -> None:
    """Make a session the current one."""
    global current
    current = session


def session() -> Session:
    """The session of the command that runs."""
    return current


def now() -> datetime:
    """The present instant, whole seconds. The only clock of the program."""
    return datetime.now(UTC).replace(microsecond=0)
