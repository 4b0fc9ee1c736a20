"""What two waters or two batches share: a course of medicine in one water (rule B2); a net, hands, a splash (B1)."""

from __future__ import annotations

from typing import Any

from quarantine.actions.consequences import ask_about_moved, consequences, earliest_days
from quarantine.actions.desk import Desk, find_tank, local_text, when
from quarantine.actions.entering import add_fact, id_after
from quarantine.actions.planning import replan
from quarantine.actions.systems import frozen
from quarantine.emptied import is_of_emptied
from quarantine.evidence import Standing
from quarantine.facts import local_day
from quarantine.failures import Refused, Usage
from quarantine.protocol import Protocol
from quarantine.records.reads import Row
from quarantine.records.store import Act


def refuse_other_course(act: Act, tank: Row, protocol: Protocol) -> None:
    """Rule B2: raises Refused where a batch would come into water in which another course of medicine is given."""
    here = [b for b in act.rows("open_batches") if b["system"] == tank["system"]]
    others = [(b, frozen(act, b["copy_id"])) for b in here]
    wrong = [b["name"] for b, other in others if not same_course(other, protocol)]
    if wrong:
        raise Refused(
            f"Batch {', '.join(wrong)} is in the water of {tank['name']}, and the two protocols do not give the same "
            "medicine the same way: two courses in one water are not planned (rule B2). Use a tank with water of its "
            "own; fish that are in already are recorded with: quarantine event added."
        )


def same_course(one: Protocol, other: Protocol) -> bool:
    """Whether two protocols give the same medicine the same way, and none in food: who eats it is not known then."""
    of_one, of_other = regimens_of(one), regimens_of(other)
    return of_one == of_other and not any(water == "food" for *_, water in of_one)


def regimens_of(protocol: Protocol) -> frozenset[tuple[str, str, str, str]]:
    """What a protocol gives: regimen, target, mode and the water of each of its doses."""
    return frozenset(
        (step.treatment.regimen, str(step.treatment.target or ""), step.treatment.mode, step.treatment.water)
        for step in protocol.steps
        if step.treatment is not None
    )


def refuse_dirty(act: Act, there: Row) -> None:
    """A tank that was emptied is cleaned and dry before fish go into it again (all in, all out)."""
    found = [row for row in act.rows("open_tasks_of_system", system=there["system"]) if row["tank"] == there["id"]]
    open_ = [row for row in found if is_of_emptied(row["step"])]
    if open_:
        what = "; ".join(f"{row['code']} {row['title']}" for row in sorted(open_, key=lambda row: row["due_until"]))
        raise Refused(
            f"{there['name']} was emptied and is not ready for fish again: {what}. Do them, or skip them with the "
            "reason, first."
        )


# --- Something wet was shared ------------------------------------------------------------------------------

SHARED = ("net", "hands", "splash")
"""What carries water from one tank to another (rule B1)."""


def share(
    desk: Desk, tank_name: str, other_name: str, what: str, *, at: str | None = None, yes: bool = False
) -> tuple[list[str], dict[str, Any]]:
    """A net, hands or a splash went from one water to another: each water knows it. Where a template begins again by it
    (rule B1) the new dates are shown first, until ``yes``. What is told, and the document. Raises Refused and Usage.
    """
    kind = what.strip().casefold()
    if kind not in SHARED:
        raise Usage(f"--what {what!r} is none of: {', '.join(SHARED)}.")
    with desk.act() as act:
        tanks = [find_tank(act, tank_name), find_tank(act, other_name)]
        if tanks[0]["system"] == tanks[1]["system"]:
            raise Refused(f"{tanks[0]['name']} and {tanks[1]['name']} share their water; that is more than a {kind}.")
        moment = when(at, tanks[0]["zone"], act.now)
        before = earliest_days(act, {tank["system"] for tank in tanks})
        for tank, other in (tanks, reversed(tanks)):
            data = {"what": kind, "with": other["name"], "with_tank": other["id"]}
            id_ = id_after(act, tank["system"], moment)
            add_fact(act, "shared", system=tank["system"], tank=tank["id"], at=moment, data=data, id_=id_)
        made = [replan(act, tank["system"]) for tank in tanks]
        moved = consequences(act, before, made)
        ask_about_moved(act, moved, yes=yes)
        names = f"{tanks[0]['name']} and {tanks[1]['name']}"
        act.describe("shared", f"{names}: {kind}", moment)
        lines = [
            f"{names}, {local_text(moment, tanks[0]['zone'])}: shared {kind} recorded in both",
            *(moved or ["By these protocols no date moves; the sign-off shows the day on which they were exposed."]),
            "One set of net, siphon and bucket for each water; hands washed between them (Yanong, Health management in "
            "recirculating systems, Global Aquaculture Advocate, year not stated).",
        ]
        return lines, {"tanks": [tank["name"] for tank in tanks], "what": kind, "at": moment, "moved": moved}


def exposed_lines(batch: Row, standing: Standing) -> list[str]:
    """The days of a stay on which fish were exposed to others, and by what: listed at sign-off (rule B1, own clock)."""
    evidence = standing.evidence
    found = [one for one in evidence.happenings if one.event in ("fish_added", "shared_net")]
    zone = batch["zone"]
    lines = [
        f"Exposed on {local_day(one.at, zone)}, day {(local_day(one.at, zone) - evidence.arrived_on).days}: {one.why}."
        for one in sorted(found, key=lambda one: (one.at, one.why))
    ]
    # Batches that were merged each bring what happened to both.
    return list(dict.fromkeys(lines)) + [
        f"{fact.data['count']} sentinel fish since {local_day(fact.at, zone)}: a clean sentinel is weak evidence "
        "(Environmental screening of zebrafish, PMC5755534), and it stays a quarantine fish until it is moved."
        for fact in evidence.sentinels
    ]
