"""Water that came along with fish that were moved: what of it is known in the water they came to (rules B3 and C12)."""

from __future__ import annotations

from datetime import datetime

from quarantine.actions.brought import all_of_it, may_hold
from quarantine.actions.entering import add_fact, id_after
from quarantine.actions.exchanging import brings_words, carried_over
from quarantine.failures import Refused
from quarantine.records.reads import Row
from quarantine.records.store import Act


def some_water(act: Act, left: Row, there: Row, moment: datetime, *, yes: bool) -> list[str]:
    """Whether old water came along is asked where it may hold medicine; then it is on record (rules B3 and C12)."""
    if not carried_over(act, left, there, moment):
        return []
    if not yes:
        raise Refused(
            f"The water of {left['name']} may hold medicine. Say --no-water if none of it went with the fish; with "
            f"--yes some did, and its level in {there['name']} is unknown until all the water there is changed or it "
            "is read (rule C12)."
        )
    return [
        f"Some of the old water may have come along: what medicine is in {there['name']} is not known until all of its "
        "water is changed or it is read, and no dose of it is shown before (rule C12)."
    ]


def unknown_water(act: Act, left: Row, there: Row, moment: datetime) -> list[str]:
    """Old water came along, nobody knows how much: no level over there is known until it is read or changed (C12).
    Of a water that surely held nothing nothing came."""
    if not may_hold(act, left["system"], moment):
        return []
    what = f"water that came with fish from {left['name']}"
    id_ = id_after(act, there["system"], moment)
    add_fact(act, "unknown_addition", system=there["system"], tank=there["id"], at=moment, data={"what": what}, id_=id_)
    return [
        f"What medicine is in {there['name']} is not known: no dose before it is read, or before all of its water is "
        "changed (rule C12)."
    ]


def old_water(act: Act, left: Row, there: Row, moment: datetime) -> list[str]:
    """The new tank was filled with the old water: what was in that is in this one, between the same bounds."""
    data = all_of_it(act, left["system"], there["system"], moment)
    if data is None:
        return unknown_water(act, left, there, moment)
    id_ = id_after(act, there["system"], moment)
    add_fact(act, "change", system=there["system"], tank=there["id"], at=moment, data=data, id_=id_)
    brings = data.get("brings", {})
    return [f"{there['name']} is filled with the old water{', ' + brings_words(brings) if brings else ''}."]
