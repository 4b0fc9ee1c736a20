"""What fish leave to do: the water that they were moved to is read, the tank they left is cleaned, and a water without
any fish has its filter and its kit seen to. Pure.

They are follow-ups (:mod:`quarantine.followups`) of the batch that left. Those of a move are its own, and judged with
it; those of a water that stands idle stay with that water, and end when fish come into it. Of an incident what is to do
at the tank stays there, until it is done; the look over the fish goes with them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import timedelta
from typing import NamedTuple

from quarantine.facts import Fact, local_day
from quarantine.followups import (
    CHECKS,
    COMMON,
    FOLLOWUP,
    RECENT_HOURS,
    Berth,
    Check,
    Known,
    Made,
    day_of,
    end_of,
    incident_checks,
    is_asked,
    is_of_place,
    key_of,
    overdosed_before,
    read_between,
    shown,
    task_of,
)
from quarantine.luggage import COPIED, MOVED_IN

IRELAND = "Marine Institute Ireland, Disinfection on aquaculture sites, fishhealth.ie (year not recorded)"
HATCHERY = "Piper et al., Fish Hatchery Management, US Fish and Wildlife Service, p. 283, 1982"
SANITATION = "Univ. of Florida IFAS EDIS, Sanitation practices for aquaculture facilities, VM87, copy of 2008"
RULES = "Rules B3 and C13 of this tool"
DISPLAY = (
    "Book chapter, Quarantine of fish and aquatic invertebrates in public display aquaria, ch. 26, year not stated: a "
    "filter is kept alive between batches with ammonium chloride only if it was disinfected or is new (read in a copy)"
)
ZOOS = "AZA, quarantine guidance, aza.org/quarantine, year not stated: idle filters are kept alive"

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


class Gap(NamedTuple):
    """The least time from one of the chores to the next: less is asked about, with what it takes and whose figure that
    is."""

    least: timedelta
    says: str


SOONEST = {
    CHORES[1].step: Gap(
        timedelta(minutes=15 + 30),
        f"detergent takes 15 min ({IRELAND}), and hypochlorite of 200 mg/L 30 min at least ({HATCHERY}); another "
        "disinfectant takes the time of its label",
    ),
    CHORES[2].step: Gap(timedelta(hours=24), "how long drying takes has no source; common practice is 24 h and more"),
}
"""By the later of two chores."""


def chore_before(step: str) -> str | None:
    """The chore of an emptied tank that comes before another one; None for the first, and for what is none."""
    steps = [check.step for check in CHORES]
    place = steps.index(step) if step in steps else 0
    return steps[place - 1] if place else None


FEED_DAYS = 3
"""Days from one feed of an idle filter to the next: common practice, no source. No source here gives an amount."""
IDLE = "idle-"
FEED = Check(
    IDLE + "filter",
    "chore",
    "Feed the idle filter, or skip this and dry it with the kit",
    note="Only a filter that was disinfected, or is new, is kept alive for the next fish, with ammonium chloride: skip "
    "this for any other, and it is not asked again. Never with fish in the water. No source here gives an amount: "
    "little, and test ammonia and nitrite; before fish come both have to be within their limits.",
    references=(DISPLAY, ZOOS, f"Every {FEED_DAYS} days: common practice, no source"),
    who="keeper",
)
KIT = Check(
    IDLE + "kit",
    "chore",
    "Dry the kit until bone dry, before it is used again",
    note="Once the fish are out: nets, siphon, buckets, thermometer. Clean first; after sick fish disinfect too, at "
    "the label's strength and time, and rinse. How long is common practice, no source: 24 h and more.",
    references=(IRELAND, SANITATION, COMMON),
    who="keeper",
)


def is_drain(step: str) -> bool:
    """Whether a task is the chore by which the water of a tank goes."""
    return step == CHORES[0].step


def is_of_emptied(step: str) -> bool:
    """Whether a task is a chore of a tank that was emptied by a move."""
    return step.startswith(CHORES[0].step.removesuffix("drain"))


def is_of_idle(step: str) -> bool:
    """Whether a task is a chore of a water that stands without fish."""
    return step.startswith(FOLLOWUP + IDLE)


def stays_behind(step: str) -> bool:
    """Whether a task is work of a tank or of a water, which stays there when the fish leave."""
    return is_of_emptied(step) or is_of_idle(step) or is_of_place(step)


class Leaving(NamedTuple):
    """How the last batch left a water: the fact of its sign-off, or of its move to another water; and who it was."""

    fact: Fact
    berth: Berth


def last_to_leave(facts: Iterable[Fact], system: str) -> Fact | None:
    """The fact by which a water without an open batch came to be so: a sign-off in it, or a move out of it. None where
    no fish ever left it, or where they died: then other chores stand (rule B7)."""
    leaving = [
        fact
        for fact in facts
        if (fact.kind == "closed" and fact.system == system)
        or (fact.kind == MOVED_IN and fact.data["from_system"] == system and COPIED not in fact.data)
    ]
    # What was entered last left it empty on record: a move can be entered after a later one.
    last = max(leaving, key=lambda fact: (fact.entered_at, fact.at, fact.id), default=None)
    return None if last is None or last.data.get("decision") == "died out" else last


def while_idle(leaving: Leaving, known: Known) -> Iterator[Made]:
    """The chores of a water since its last batch left it: the kit is dried once, the filter is fed again and again
    until that is skipped.

    After a move the chores of the emptied tank have kit and filter dried already: there the filter is fed only where
    that was skipped, so that no list asks for both. What left more than a day before it is first planned begins none.
    """
    fact, berth = leaving
    reason = f"no fish in this water since {shown(fact.at, berth.zone)}"
    if fact.kind == MOVED_IN:
        kept = known.outcomes.get((CHORES[-1].step, fact.id, 1))
        if kept is None or kept.kind != "skip":
            return
    else:
        begun = key_of(berth, KIT, fact.id) in known.stored
        if not begun and known.as_of - fact.entered_at > timedelta(hours=RECENT_HOURS):
            return
        yield Made(task_of(berth, KIT, known, fact.id, (fact.at, end_of(fact.at, 24, berth.zone)), reason), KIT)
    since, n = fact.at, 1
    while True:
        window = day_of(local_day(since, berth.zone) + timedelta(days=FEED_DAYS), berth.zone)
        yield Made(task_of(berth, FEED, known, fact.id, window, reason, n=n), FEED)
        fed = known.outcomes.get((FEED.step, fact.id, n))
        if fed is None or fed.kind == "skip":
            return
        since, n = fed.at, n + 1


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


def after_an_incident(berth: Berth, known: Known) -> Iterator[Made]:
    """Of an incident in a tank that the fish have left since: they are looked over all the same, if that was open."""
    here = {fact.id for fact in known.facts if is_asked(berth, fact)}
    for key in sorted(known.unchecked):
        batch, step, root, _ = key.split(":")
        check, since = CHECKS[step], berth.arrived_at
        if batch == berth.batch and root not in here and check.kind == "look":
            reason = f"an incident in the tank that they left {shown(since, berth.zone)}"
            window, looked = (since, end_of(since, 23, berth.zone)), read_between(berth, check, known, since, None)
            yield Made(task_of(berth, check, known, root, window, reason, settled_by=looked), check)


def at_the_place(berth: Berth, known: Known) -> Iterator[Made]:
    """What an incident asks for at a tank, for the batch that it was asked of and that has left: it stays to do."""
    for made in incident_checks(berth, known):
        if is_of_place(made.check.step):
            reason = f"{made.task.reason}; the fish have left, this is still to do there"
            yield made._replace(task=made.task._replace(reason=reason))


OF_EACH = (after_a_move, overdosed_before, after_an_incident)
"""Follow-ups that every batch of a tank has of its own."""
