"""A running batch goes on by the current revision of its own protocol: an amendment (F4) that is kept to that."""

from __future__ import annotations

import json
from typing import Any

from quarantine.actions.amending import NotAccepted, amend
from quarantine.actions.desk import Desk, find_batch
from quarantine.actions.systems import frozen
from quarantine.failures import Refused
from quarantine.protocol import Protocol, load
from quarantine.records.reads import Row, Rows
from quarantine.records.store import Act
from quarantine.templates import shipped


def adopt(
    desk: Desk, name: str, *, because: str, protocol: str | None = None, acknowledge: bool = False, yes: bool = False
) -> dict[str, Any]:
    """Move an open batch to the current revision of its own protocol: the one that ships, or a keeper's file.

    Shows what differs (steps, events, criteria, periods with their dates old and new) and asks; ``yes`` accepts it,
    ``acknowledge`` the cautions of what gives medicine (rule C19). Raises what ``amend`` raises, and Refused for
    another protocol.
    """
    with desk.act() as act:
        batch = find_batch(act, name)
        old, new = frozen(act, batch["copy_id"]), _current(act, batch, protocol)
        if new.id != old.id:
            raise Refused(
                f"Batch {batch['name']} follows {old.id}, and that text is of {new.id}: adopting keeps to newer "
                f"revisions of its own protocol. Another one: quarantine batch amend {batch['name']} --protocol "
                f"{protocol}."
            )
        before = _standing(act, batch)
        under = desk._replace(under=act)
        try:
            made = amend(under, name, because=because, protocol=protocol, acknowledge=acknowledge, yes=yes)
        except NotAccepted as asked:
            moved = period_lines(before, _standing(act, batch))
            raise NotAccepted(
                asked.sentence,
                [*(line.strip() for line in asked.lines), *moved, *_cautions(old, new)],
                **asked.facts,
                periods=moved,
            ) from None
        return {**made, "periods": period_lines(before, _standing(act, batch)), "cautions": _cautions(old, new)}


def _current(rows: Rows, batch: Row, protocol: str | None) -> Protocol:
    """The text to adopt: the one named, else the one that ships under the name of the batch's own."""
    old = frozen(rows, batch["copy_id"])
    if protocol is None and old.id not in shipped():
        raise Refused(f"Protocol {old.id} is a keeper's own; name its file: --protocol FILE.")
    return load(protocol or old.id)


def _standing(act: Act, batch: Row) -> dict[str, Any]:
    row = find_batch(act, batch["name"])
    found: dict[str, Any] = json.loads(row["standing"]) if isinstance(row["standing"], str) else row["standing"]
    return found


def period_lines(before: dict[str, Any], after: dict[str, Any]) -> list[str]:
    """Every period whose dates differ, old and new; and the earliest day of sign-off."""
    was = {one["id"]: one for one in before["periods"]}
    now = {one["id"]: one for one in after["periods"]}
    lines = []
    for name in dict.fromkeys([*was, *now]):
        old, new = was.get(name), now.get(name)
        said = [
            f"period {(new or old or {})['title']}, {word}: {old and old[key]} -> {new and new[key]}"
            for word, key in (("day 0", "zero"), ("complete on", "complete_on"))
            if (old and old[key]) != (new and new[key])
        ]
        lines += [line.replace("None", "none") for line in said]
    return lines


def _cautions(old: Protocol, new: Protocol) -> list[str]:
    """The cautions that the text before did not have."""
    return [f"new caution: {' '.join(one.split())}" for one in new.cautions if one not in old.cautions]
