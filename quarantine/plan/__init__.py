"""The plan: a pure function of the courses in one water system, the facts, and an instant.

``plan(courses, facts, as_of) -> Plan``. Nothing is patched: a fact is written, the plan is made again, and
:func:`reconcile` says what that changes in what is stored. What is done stays; a task's key is
(owner, step, id of the fact that anchored the run, n), so that an earlier fact entered late moves no key.

``model`` has the types, ``steps`` and ``windows`` what a step and a day say by themselves, ``ground`` all that is
known before anything is dated. From there ``anchors`` says what a series hangs on, ``series`` when its runs are due
(``spacing`` by temperature, ``contact`` behind a treatment, ``outcomes`` what came of each), ``conditions`` which of
them apply and when it stops, ``redosing`` what changes inside a treatment call for, ``periods`` which days count, and
``forecast`` the first day of each criterion; ``held`` ends a level that is held by readings in time. Of several
batches in one water ``joining`` makes their courses one, and ``together`` gives them one earliest day. ``expansion``
puts one course together, ``tasks`` shows its runs, ``packing`` is what a batch takes along when it is moved, and
``reconciling`` compares with what is stored.
"""

from __future__ import annotations

from datetime import datetime

from quarantine import evidence as ev
from quarantine.evidence import Standing
from quarantine.facts import Fact, PlannedTask
from quarantine.plan.expansion import Expansion
from quarantine.plan.ground import Ground
from quarantine.plan.model import DAILY_CARE, Course, Plan
from quarantine.plan.packing import packed
from quarantine.plan.reconciling import SPOKEN, STORED_FIELDS, Changes, code_of, reconcile
from quarantine.plan.redosing import reading_step, reading_steps
from quarantine.plan.series import BEGAN_AGAIN
from quarantine.plan.steps import needed_words
from quarantine.plan.together import released_together
from quarantine.plan.windows import OUT_OF_TIME, instant_at, timing, timing_of
from quarantine.water.ledger import Water, exposures

__all__ = [
    "BEGAN_AGAIN",
    "DAILY_CARE",
    "OUT_OF_TIME",
    "SPOKEN",
    "STORED_FIELDS",
    "Changes",
    "Course",
    "Plan",
    "code_of",
    "instant_at",
    "needed_words",
    "packed",
    "plan",
    "reading_step",
    "reading_steps",
    "reconcile",
    "timing",
    "timing_of",
]


def plan(courses: list[Course], facts: list[Fact], as_of: datetime, water: Water | None = None) -> Plan:
    """All tasks of one water system and how its batches stand, as the facts have it at ``as_of``.

    ``facts`` are those of the system in any order; those after ``as_of`` are left out. ``water`` (litres) is
    needed once something was dosed: it says when contact ends. The same facts give the same plan whatever the
    order in which they were entered. Without ``water`` a bath has no end.
    """
    known = ev.Known(facts, as_of)
    exposed = exposures(known.ordered, water, as_of)
    tasks: list[PlannedTask] = []
    standings: dict[str, Standing] = {}
    stops: dict[tuple[str, str], str] = {}
    in_turn = sorted(courses, key=lambda c: (c.arrival.at, c.batch))
    made = [Expansion(Ground(course, courses, known, as_of, exposed)) for course in in_turn]
    for one in made:
        one.beside = [other for other in made if other is not one and other.ground.is_there and other.doses]
    for one in made:
        one.begin()
    together = released_together(made)
    for one in made:
        batch = one.ground.course.batch
        one.finish(together.get(batch))
        tasks += one.tasks()
        standings[batch] = one.standing
        stops |= {(batch, step): why for step, why in one.last_days.items()}
        stops |= {(batch, step): why for step, (_, why) in one.stops.items()}
    # Two batches may have one piece of work: of the water, and hung on one fact of it. The first has it.
    first = {task.key: task for task in reversed(tasks)}
    return Plan(tuple(sorted(first.values(), key=lambda t: t.key)), standings, stops)
