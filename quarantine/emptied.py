"""The tasks that a move asks for: the water that the fish came to is read, the tank they left is cleaned. Pure.

They are follow-ups (:mod:`quarantine.followups`) of the batch that was moved: its own, so that they go where it goes.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

from quarantine.followups import COMMON, Berth, Check, Known, Made, end_of, read_between, shown, task_of
from quarantine.luggage import COPIED, MOVED_IN

IRELAND = "Marine Institute Ireland, Disinfection on aquaculture sites, fishhealth.ie (year not recorded)"
HATCHERY = "Piper et al., Fish Hatchery Management, US Fish and Wildlife Service, p. 283, 1982"
SANITATION = "Univ. of Florida IFAS EDIS, Sanitation practices for aquaculture facilities, VM87, copy of 2008"
RULES = "Rules B3 and C13 of this tool"

READ = Check(
    "moved-water",
    "test",
    "Read the water the fish were moved to, before any dose",
    ("temperature", "tan", "ph"),
    "What was read of the water they left says nothing of this one; a dose waits for it.",
    (RULES,),
)
READ_SALT = READ._replace(reads=(*READ.reads, "salinity"))

EMPTIED = "emptied-"
CHORES = (
    Check(
        EMPTIED + "drain",
        "chore",
        "Empty the tank that the fish left",
        note="Used water, sludge and plants to where local rules let it go; medicated water by theirs. Never into a "
        "stream, a pond or a storm drain.",
        references=(SANITATION, COMMON),
        who="keeper",
    ),
    Check(
        EMPTIED + "disinfect",
        "chore",
        "Clean, then disinfect tank and kit",
        note="Debris out, detergent for 15 min, rinse; disinfectant at its label's strength and time, rinse. Of "
        "hypochlorite 200 mg/L of chlorine for 30 to 60 min; never beside acid, ammonia or formalin. Gloves, air.",
        references=(IRELAND, HATCHERY),
        who="adult",
    ),
    Check(
        EMPTIED + "dry",
        "chore",
        "Dry tank and kit until bone dry, before it is used again",
        note="Nets, siphon and filter too. How long is common practice, no source: 24 h and more.",
        references=(SANITATION, COMMON),
        who="keeper",
    ),
)
"""In the order in which they are done; how soon is our choice, no source."""


def is_of_emptied(step: str) -> bool:
    """Whether a task is a chore of a tank that was emptied by a move."""
    return step.startswith(CHORES[0].step.removesuffix("drain"))


def after_a_move(berth: Berth, known: Known) -> Iterator[Made]:
    """Of the last move of a batch: the new water is read; of every one: the tank it left empty is cleaned and dried."""
    moves = [f for f in known.facts if f.kind == MOVED_IN and f.batch == berth.batch and COPIED not in f.data]
    for fact in moves[-1:]:
        check = READ if berth.water == "fresh" else READ_SALT
        reason = f"moved from {fact.data['from']}, {shown(fact.at, berth.zone)}"
        read = read_between(berth, check, known, fact.at, None)
        window = (fact.at, fact.at + timedelta(hours=1))
        yield Made(task_of(berth, check, known, fact.id, window, reason, settled_by=read), check)
    for fact in moves:
        if not fact.data["emptied"]:
            continue
        left = berth._replace(tank=fact.data["from_tank"], system=fact.data["from_system"])
        reason = f"{fact.data['from']} stands empty since {shown(fact.at, berth.zone)}"
        for place, check in enumerate(CHORES):
            window = (fact.at + timedelta(hours=place), end_of(fact.at, 24 * (place + 1), berth.zone))
            yield Made(task_of(left, check, known, fact.id, window, reason), check)


OF_EACH = (after_a_move,)
"""Follow-ups that every batch of a tank has of its own."""
