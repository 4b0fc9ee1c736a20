"""Two batches in one water: what may be together (rule B2)."""

from __future__ import annotations

from quarantine.actions.planning import frozen
from quarantine.failures import Refused
from quarantine.protocol import Protocol
from quarantine.records.reads import Row
from quarantine.records.store import Act


def refuse_other_course(act: Act, tank: Row, protocol: Protocol, apart: str | None = None) -> None:
    """Rule B2: raises Refused where a batch would come into water in which another course of medicine is given.

    ``apart`` is the id of a batch that is left out: itself.
    """
    here = [b for b in act.rows("open_batches") if b["system"] == tank["system"] and b["id"] != apart]
    others = [(b, frozen(act, b["copy_id"])) for b in here]
    wrong = [b["name"] for b, other in others if not _same_course(other, protocol)]
    if wrong:
        raise Refused(
            f"Batch {', '.join(wrong)} is in the water of {tank['name']}, and the two protocols do not give the same "
            "medicine the same way: two courses in one water are not planned (rule B2). Use a tank with water of its "
            "own."
        )


def _same_course(one: Protocol, other: Protocol) -> bool:
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
