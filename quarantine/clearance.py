"""Sign-off: transfer criteria judged on the record, criterion by criterion, each with its evidence.

Pure. Unknown never counts as met; a criterion that cannot be judged says what is missing.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any, NamedTuple

from quarantine import evidence as ev
from quarantine.evidence import Standing
from quarantine.facts import Condition, PlannedTask, local_day


class Judged(NamedTuple):
    """One criterion: met True, False or None (cannot be judged), why, and the earliest day it can be met."""

    title: str
    met: bool | None
    says: str
    earliest: date | None
    reference: str

    def as_json(self) -> dict[str, Any]:
        """The shape `signoff --json` shows and the seal covers."""
        return {
            "title": self.title,
            "verdict": {True: "met", False: "not met", None: "cannot be judged"}[self.met],
            "says": self.says,
            "earliest": self.earliest.isoformat() if self.earliest else None,
            "reference": self.reference,
        }


def judge(criteria: tuple[Condition, ...], standing: Standing, tasks: list[PlannedTask]) -> list[Judged]:
    """Every criterion in the protocol's order. ``tasks`` are those of the batch, as planned now."""
    return [_judge(criterion, standing, tasks) for criterion in criteria]


class Beside(NamedTuple):
    """Another open batch in the same water: its name, its own criteria as judged, how it stands."""

    name: str
    judged: list[Judged]
    standing: Standing


def together(standing: Standing, others: Iterable[Beside]) -> Judged | None:
    """Rule B5: fish in one water are released when every batch in it is ready. ``others`` are the other open batches;
    one without living fish does not count. None: there is none that does."""
    counted = [one for one in others if one.standing.evidence.alive > 0]
    if not counted:
        return None
    stands = [says for one in counted if (says := _not_ready(one))]
    ready = f"{' and '.join(f'batch {one.name}' for one in counted)}, in the same water, could be released as well"
    day = max(standing.earliest, *(one.standing.earliest for one in counted))
    return Judged(ev.TOGETHER, not stands, "; ".join(stands) or ready, day if stands else None, "rule B5")


def _not_ready(one: Beside) -> str:
    """Why another batch in the water is not ready, in words; "" where it is. An open sign, or a hold that nobody
    lifted, counts also where no criterion of its protocol asks for it."""
    evidence = one.standing.evidence
    unmet = [judged.title for judged in one.judged if not judged.met]
    more = f", and {len(unmet) - 1} more" if unmet[1:] else ""
    found = [f"not met is {unmet[0]!r}{more}"] if unmet else []
    if evidence.open_signs:
        found.append(f"open signs: {', '.join(sign.name for sign in evidence.open_signs)}")
    if held := ev.emergency(evidence):
        found.append(f"a hold is open: {held}")
    return f"batch {one.name} in the same water is not ready: {'; '.join(found)}" if found else ""


def _judge(criterion: Condition, standing: Standing, tasks: list[PlannedTask]) -> Judged:
    if criterion.kind == "period":
        verdict = _period(criterion, standing, tasks)
    elif criterion.kind == "tasks":
        verdict = _tasks(standing, tasks)
    elif criterion.kind == "word":
        # A dose asks for the word when it is given; at sign-off there is none on record, so it is not known.
        verdict = ev.Verdict(None, "no word is kept for a sign-off; a named person releases with --deviation")
    else:
        verdict = ev.judge(criterion, standing.evidence)
    earliest = None if verdict.met else verdict.earliest
    return Judged(criterion.title, verdict.met, verdict.says, earliest, criterion.reference)


def _period(criterion: Condition, standing: Standing, tasks: list[PlannedTask]) -> ev.Verdict:
    """Rule A8 with A2: the days are counted, the last day's look is logged, no past task is blank, no hold is open."""
    period = next(p for p in standing.periods if p.id == criterion.value)
    # Medicine that is still due, or in the water, may put it off (rule A9).
    day = max([period.complete_on, *(on for title, on in standing.days if title == criterion.title)])
    evidence = standing.evidence
    looked = any(look.counts and look.day >= day for look in evidence.looks)
    counted = evidence.today >= day and looked and period.is_proven
    blank = sum(1 for t in tasks if t.outcome is None and t.day is not None and t.day < evidence.today)
    held = ev.emergency(evidence)
    stands = [f"{blank} past task{' has' if blank == 1 else 's have'} no outcome"] if blank else []
    stands += [f"a hold is open: {held}"] if held else []
    says = (
        f"day {period.day} of {period.length}, counted from {period.zero} ({period.because}); "
        f"met on {day} after the look"
    )
    return ev.Verdict(counted and not stands, "; ".join([says, *stands]), max(day, evidence.today))


OWED = ("dose", "move")
"""Kinds of work that a protocol treats with: what lies ahead of it is still owed."""


def _owed_words(kinds: set[str]) -> str:
    return "treatment" if len(kinds) > 1 else min(kinds)


def _tasks(standing: Standing, tasks: list[PlannedTask]) -> ev.Verdict:
    """No silent blanks (F45): whatever was due up to now has an outcome; doses still ahead are owed."""
    as_of, today = standing.evidence.as_of, standing.evidence.today
    late = [t for t in tasks if t.outcome is None and t.day is not None and t.day < today]
    owed = [t for t in tasks if t.outcome is None and t.day is not None and t.day >= today and t.kind in OWED]
    due = [
        t
        for t in tasks
        if t.outcome is None
        and t.day == today
        and t.kind in ("change", "chore", "move")
        and t.due_from is not None
        and t.due_from <= as_of
    ]
    parts = [_stopped(fact.data, local_day(fact.at, standing.evidence.zone)) for fact in standing.evidence.stopped]
    if not (late or owed or due or parts):
        return ev.Verdict(True, "every task up to today has an outcome, no dose is owed")
    if late:
        names = ", ".join(sorted({t.title for t in late}))
        parts.append(f"{len(late)} past task{'' if len(late) == 1 else 's'} without an outcome ({names})")
    if owed:
        parts.append(
            f"{len(owed)} {_owed_words({t.kind for t in owed})}{'' if len(owed) == 1 else 's'} still owed, "
            f"the last on {max(t.day for t in owed if t.day)}"
        )
    if due:
        parts.append(f"{len(due)} of today's tasks still open")
    last = max((t.day for t in owed if t.day), default=None)
    return ev.Verdict(False, "; ".join(parts), last)


def _stopped(data: dict[str, Any], day: date) -> str:
    """A course that was not given whole: a deviation, which sign-off names (rule B8)."""
    left = len(data["left"])
    return (
        f"the course {data['title']!r} was stopped on {day} with {left} dose{'' if left == 1 else 's'} not given "
        f"({data['because']}): a deviation, which a release names"
    )
