"""The desk an action works at: the record, who acts, and the one time that was made for it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from typing import NamedTuple

from quarantine.facts import utc
from quarantine.failures import Refused, Unknown
from quarantine.records.reads import Row, Rows
from quarantine.records.store import Act, open_store
from quarantine.settings import Home


class Desk(NamedTuple):
    """Where an action happens. ``now`` is made once, in the command; ``keeper`` is a typed name or empty."""

    home: Home
    now: datetime
    keeper: str = ""
    dry_run: bool = False
    under: Act | None = None
    """the act that what is done here is a part of: several deeds, one transaction and one journal entry"""

    @contextmanager
    def act(self, *, anyone: bool = False) -> Iterator[Act]:
        """One transaction of this keeper. ``anyone``: setting up a record may come before its first keeper."""
        if self.under is not None:
            yield self.under
            return
        store = open_store(self.home.database, dry_run=self.dry_run)
        try:
            with store.act(None, utc(self.now), dry_run=self.dry_run) as act:
                act.keeper = who(act, self.keeper or self.home.value("keeper"), anyone=anyone)
                warn_clock(act)
                yield act
        finally:
            store.close()


def warn_clock(act: Act) -> None:
    """Refuse a clock that stands before the last entry: every date after it would be wrong."""
    import json

    last = act.rows("head_payload")
    if last:
        entered = json.loads(last[0]["payload"])["entered_at"]
        if datetime.fromisoformat(entered) > act.now + timedelta(days=1):
            raise Refused(
                f"This computer's clock says {act.now:%Y-%m-%d %H:%M} UTC, but the record's last entry was made "
                f"{entered[:16].replace('T', ' ')} UTC. Set the clock and try again."
            )


def who(rows: Rows, name: str, *, anyone: bool = False) -> str | None:
    """The id of the keeper who acts: named, or the only one on record."""
    keepers = rows.rows("keepers")
    if anyone and not keepers:
        return None  # whoever the settings name cannot be on record yet
    if name:
        return str(named(keepers, "keeper", name, " (add one: quarantine keeper add NAME)")["id"])
    if len(keepers) == 1:
        return str(keepers[0]["id"])
    if not keepers:
        raise Refused("Nobody is on record yet, and every entry names who made it: quarantine keeper add NAME.")
    known = sorted(k["name"] for k in keepers)
    raise Refused(f"Who is acting? Several keepers are on record: say --as NAME ({', '.join(known)}).", known=known)


def named(rows: list[Row], what: str, name: str, hint: str = "") -> Row:
    """The row of that name, capitals aside. Raises Unknown naming the known ones."""
    for row in rows:
        if row["name"].casefold() == name.strip().casefold():
            return row
    raise Unknown(what, name, sorted(row["name"] for row in rows), hint)


def find_site(rows: Rows, name: str) -> Row:
    """A site by name."""
    return named(rows.rows("sites"), "site", name, " (add one: quarantine site add NAME --zone ZONE)")


def find_tank(rows: Rows, name: str) -> Row:
    """A tank by name."""
    return named(rows.rows("tanks"), "tank", name, " (add one: quarantine tank add NAME ...)")


def find_batch(rows: Rows, name: str) -> Row:
    """A batch by name."""
    return named(rows.rows("batches"), "batch", name, " (start one: quarantine batch start ...)")


def free_name(rows: list[Row], what: str, name: str) -> str:
    """A new name, tidied. Raises Refused when it is empty, too long or taken."""
    tidy = " ".join(name.split())
    if not tidy or len(tidy) > 60 or not tidy.isprintable():
        raise Refused(f"A {what} needs a name of 1 to 60 plain characters.")
    if what == "tank" and set(tidy) & set(",="):
        raise Refused(f"A tank's name has no comma and no = in it: a look parts tanks by them. {tidy!r} has.")
    if any(row["name"].casefold() == tidy.casefold() for row in rows):
        raise Refused(f"There is a {what} {tidy!r} already; choose another name.")
    return tidy


def when(text: str | None, zone: str, now: datetime, *, what: str = "--at") -> datetime:
    """A typed local time at the site ("2026-02-10 14:30", "20:10", "yesterday 8pm", "-2h") as an instant in UTC.

    Raises Refused for what does not read, lies in the future, or does not exist because clocks changed.
    """
    if not text:
        return utc(now)
    from quarantine.moments import read_moment

    at = read_moment(text, zone, now, what)
    if at > utc(now):
        raise Refused(f"{what} {text!r} lies in the future (it is {local_text(now, zone)} at the site).")
    return at


def local_text(at: datetime, zone: str) -> str:
    """An instant as people at the site write it."""
    from zoneinfo import ZoneInfo

    return at.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%d %H:%M")
