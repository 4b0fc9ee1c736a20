"""What an act does to the days of sign-off: the old and the new one, side by side, shown before it is accepted."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any

from quarantine.actions.repacking import onward_of
from quarantine.actions.systems import load_system, plan_system
from quarantine.failures import Refused
from quarantine.plan import BEGAN_AGAIN, Plan
from quarantine.records.store import Act


def changed_days(
    before: dict[str, date], after: dict[str, date], because: Mapping[str, str] | None = None
) -> list[str]:
    """Old and new earliest sign-off days, side by side, for batches that a fact moved; and why, where that is another
    batch in the same water (rule B5)."""
    return [
        f"{name}: earliest sign-off {before[name]} -> {after[name]}"
        + (f", {why}" if (why := (because or {}).get(name)) else "")
        for name in sorted(before)
        if name in after and before[name] != after[name]
    ]


def earliest_days(act: Act, systems: set[str]) -> dict[str, Any]:
    """The earliest sign-off day of every open batch in these waters, or moved on out of them, by name: taken before an
    act moves it."""
    found = {}
    for system in systems | onward_of(act, systems):
        state = load_system(act, system, act.now)
        names = {b["id"]: b["name"] for b in state.batches}
        for batch, standing in plan_system(state, act.now).standings.items():
            found[names[batch]] = standing.earliest
    return found


def consequences(act: Act, before: dict[str, Any], made: list[Plan]) -> list[str]:
    """What an act moved: old and new days, side by side."""
    names = {b["id"]: b["name"] for b in act.rows("open_batches")}
    stand = {names[b]: s for plan in made for b, s in plan.standings.items() if b in names}
    because = {name: s.because for name, s in stand.items()}
    moved = changed_days(before, {name: s.earliest for name, s in stand.items()}, because)
    return [*moved, *_begun_again(act, names)] if moved else []


def _begun_again(act: Act, names: dict[str, str]) -> Iterator[str]:
    """What is due first of each series that began again because its time ran out before this act."""
    lapsed = [fact["batch"] for fact in act.written("fact") if fact.get("kind") == "lapse"]
    for batch in dict.fromkeys(lapsed):
        rows = [row for row in act.rows("tasks_of_batch", batch=batch) if row["state"] == "planned" and row["day"]]
        again = [row for row in rows if row["kind"] in ("dose", "move") and BEGAN_AGAIN in (row["reason"] or "")]
        for row in sorted(again, key=lambda one: one["day"])[:1]:
            yield f"{names.get(batch, '')}: {BEGAN_AGAIN}: {row['code']} {row['title']} is due on {row['day']}"


def ask_about_moved(act: Act, moved: list[str], *, yes: bool) -> None:
    """The consequence comes before the act: raises Refused with the old and the new days until ``yes``. A dry run is
    not asked: it shows them with all the rest, and writes nothing."""
    if moved and not yes and not act.dry_run:
        raise Refused(f"This would move dates: {'; '.join(moved)}. Say --yes to record it.", moved=moved)
