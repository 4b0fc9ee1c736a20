"""Sign-off: the criteria judged on the record, and the decision, by whom, when, with the seal of what was judged."""

from __future__ import annotations

import hashlib
import json
import re
from datetime import datetime
from typing import Any, NamedTuple

from quarantine.actions.desk import Desk, find_batch, local_text
from quarantine.actions.entering import add_fact, id_after
from quarantine.actions.examining import tests_of
from quarantine.actions.instructed import lines_of_batch as instruction_lines
from quarantine.actions.planning import followups_of, leave_held, replan
from quarantine.actions.readying import passed_lines
from quarantine.actions.sharing import exposed_lines
from quarantine.actions.systems import frozen, load_system, plan_system
from quarantine.actions.vouching import deviations_of
from quarantine.bathing import BATH
from quarantine.clearance import Beside, Judged, judge, together
from quarantine.evidence import Standing, own_clock
from quarantine.failures import Refused, Usage
from quarantine.followups import FOLLOWUP, is_of_place
from quarantine.records.codec import canonical, plain
from quarantine.records.reads import Row, Rows
from quarantine.records.store import Act, new_id

NOT_TESTED = (
    "Not judged here: diseases that show no sign, and whatever was not tested. A look cannot find them; "
    "watch the residents of the destination tank as well."
)


class NotYet(Refused):
    """A release that was asked for too early: one sentence, and each criterion that stands in the way on its line."""

    def __init__(self, found: Assessment) -> None:
        open_ = [j.as_json() for j in found.judged if not j.met]
        super().__init__(
            f"Batch {found.batch['name']} cannot be released yet: {len(open_)} of {len(found.judged)} criteria are not "
            f"met. Earliest day if all goes well: {found.standing.earliest_words}. (A named person can release it all "
            "the same: --deviation REASON.)",
            criteria=[j.as_json() for j in found.judged],
            earliest=found.standing.earliest.isoformat(),
        )
        self.lines = tuple(criterion_line(c) for c in open_)


def criterion_line(criterion: dict[str, Any]) -> str:
    """One judged criterion as a line: its verdict, its title, what was found, the earliest day."""
    earliest = f" Earliest: {criterion['earliest']}." if criterion["earliest"] else ""
    return f"  {criterion['verdict'].upper()}: {criterion['title']}: {criterion['says']}.{earliest}"


class Assessment(NamedTuple):
    """A batch and how every criterion stands."""

    batch: Row
    judged: list[Judged]
    standing: Standing

    @property
    def met(self) -> bool:
        """Whether all criteria are met."""
        return all(j.met for j in self.judged)


def assess(rows: Rows, name: str, now: datetime) -> Assessment:
    """Judge the criteria of an open batch; nothing is written. Raises Refused for a closed one."""
    batch = find_batch(rows, name)
    if batch["state"] == "expected":
        raise Refused(
            f"Batch {batch['name']} has not come yet; when it does: quarantine batch arrived {batch['name']}."
        )
    if batch["state"] != "open":
        decided = rows.rows("signoffs", batch=batch["id"])
        last = decided[-1] if decided else None
        by = (
            f" by {last['keeper_name']}, {local_text(datetime.fromisoformat(last['at']), batch['zone'])}"
            if last
            else ""
        )
        raise Refused(f"Batch {batch['name']} is closed: {batch['state']}{by}.")
    state = load_system(rows, batch["system"], now)
    made = plan_system(state, now)
    tasks = (*made.tasks, *followups_of(rows, state, made, now).tasks)
    judged = {
        course.batch: judge(
            course.protocol.criteria, made.standings[course.batch], [t for t in tasks if t.batch == course.batch]
        )
        for course in state.courses
    }
    standing = made.standings[batch["id"]]
    beside = [
        Beside(course.name, judged[course.batch], made.standings[course.batch])
        for course in state.courses
        if course.batch != batch["id"]
    ]
    mine = next(c for c in state.courses if c.batch == batch["id"])
    shared = None if own_clock(mine.protocol.events) else together(standing, beside)
    return Assessment(batch, [*judged[batch["id"]], *([shared] if shared else [])], standing)


def sign(
    desk: Desk,
    name: str,
    *,
    release: bool = False,
    deviation: str | None = None,
    extend: str | None = None,
    reject: bool = False,
    died_out: bool = False,
) -> dict[str, Any]:
    """Record one decision. Early release needs a named deviation; it is never silent."""
    if [release, extend is not None, reject, died_out].count(True) != 1:
        raise Usage("Say one of --release, --extend, --reject, --died-out.")
    if deviation is not None and not release:
        raise Usage("--deviation belongs to --release.")
    if deviation is not None and not deviation.strip():
        raise Usage("A deviation needs its reason: --deviation REASON.")
    with desk.act() as act:
        found = assess(act, name, act.now)
        if release:
            decision = _release(found, deviation)
        elif extend is not None:
            decision = "extend"
        else:
            decision = "reject" if reject else "died out"
        if died_out and found.standing.evidence.alive:
            raise Refused(
                f"{found.standing.evidence.alive} fish of {found.batch['name']} are alive on record; record their "
                "deaths first: quarantine event died."
            )
        days = _days(extend) if extend is not None else 0
        seal = _write(act, found, decision, deviation, days)
        act.describe("sign-off", f"batch {found.batch['name']}: {decision}")
        return {
            "batch": found.batch["name"],
            "decision": decision,
            "deviation": deviation,
            "extended_days": days,
            "at": act.now,
            "seal": seal,
            "criteria": [j.as_json() for j in found.judged],
            "tests": tests_of(act, found.batch),
            "instructions": instruction_lines(act, found.batch, act.now),
            "dose_deviations": deviations_of(act, found.batch, act.now),
            "exposed": exposed_lines(found.batch, found.standing),
            "not_tested": NOT_TESTED,
        }


def _days(text: str) -> int:
    found = re.fullmatch(r"\s*(\d{1,3})\s*d\s*", text)
    if found is None or not int(found[1]):
        raise Usage(f'--extend {text!r} does not read: write days, such as --extend "7 d".')
    return int(found[1])


def _release(found: Assessment, deviation: str | None) -> str:
    if deviation:  # also where every criterion is met: what a person names is not hidden
        return "release with deviation"
    if found.met:
        return "release"
    raise NotYet(found)


def _write(act: Act, found: Assessment, decision: str, deviation: str | None, days: int) -> str:
    batch = found.batch
    protocol = frozen(act, batch["copy_id"])
    evidence = plain(
        {
            "batch": batch["id"],
            "protocol": protocol.id,
            "revision": protocol.revision,
            "fingerprint": batch["copy_id"],
            "decision": decision,
            "deviation": deviation,
            "by": act.keeper,
            "at": act.now,
            "alive": found.standing.evidence.alive,
            "criteria": [j.as_json() for j in found.judged],
            "tests": tests_of(act, batch),
            "not_ready_at_arrival": passed_lines(act, batch),
            "instructions": instruction_lines(act, batch, act.now),
            "dose_deviations": deviations_of(act, batch, act.now),
            "exposed": exposed_lines(batch, found.standing),
            "journal": act.rows("head")[0]["entry"],
        }
    )
    seal = seal_of(evidence)
    act.add(
        "signoff",
        {
            "id": new_id(),
            "batch": batch["id"],
            "decision": decision,
            "keeper": act.keeper,
            "at": act.now,
            "deviation": deviation,
            "evidence": evidence,
            "seal": seal,
        },
    )
    common: dict[str, Any] = {"system": batch["system"], "tank": batch["tank"], "batch": batch["id"], "at": act.now}
    if decision == "extend":
        add_fact(act, "extended", data={"days": days}, **common)
    else:
        state = {"reject": "rejected", "died out": "died out"}.get(decision, "released")
        _close(act, batch, state, decision)
        # Of two of one second the one that was entered last left the water empty.
        id_ = id_after(act, batch["system"], act.now)
        add_fact(act, "closed", data={"decision": decision}, id_=id_, **common)
    replan(act, batch["system"])
    return seal


def _close(act: Act, batch: Row, state: str, decision: str) -> None:
    """The batch ends, and its protocol with it. Where its fish died the ends of baths stay, what is to put back and the
    tank to see to (rule B7); what an incident asks for at the tank stays always."""
    leave_held(act, batch, act.now)
    act.change("batch", batch["id"], state=state, closed_at=act.now)
    stays = (FOLLOWUP, BATH) if decision == "died out" else ()
    for task in act.rows("open_tasks_of_system", system=batch["system"]):
        of_water = task["kind"] in ("change", "chore") and task["step"].startswith(stays)
        if task["batch"] == batch["id"] and not of_water and not is_of_place(task["step"]):
            act.change("task", task["id"], state="withdrawn")


def seal_of(evidence: dict[str, Any]) -> str:
    """The SHA-256 of what was judged, as canonical JSON."""
    return hashlib.sha256(canonical(evidence).encode()).hexdigest()


SEALED = {"batch": "batch", "decision": "decision", "deviation": "deviation", "keeper": "by", "at": "at"}
"""Columns of a sign-off, and where the sealed evidence holds the same."""


def seal_holds(signoff: Row) -> bool:
    """Whether the stored evidence is still what was sealed, and the decision beside it the one it speaks of."""
    try:
        evidence = json.loads(signoff["evidence"])
        same = all(signoff[column] == evidence[key] for column, key in SEALED.items())
    except (ValueError, KeyError, TypeError):
        return False
    return same and seal_of(evidence) == str(signoff["seal"])
