"""The runs of a step, one after another: when each is due, what was missed, and the series that began again."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from itertools import zip_longest

from quarantine.facts import Fact, local_day
from quarantine.plan.anchors import after_run, counted_from, said, waiting
from quarantine.plan.contact import Around, behind
from quarantine.plan.ground import Ground
from quarantine.plan.joining import next_of_others, placed, to_water
from quarantine.plan.model import Anchor, Run
from quarantine.plan.outcomes import done_for_others, settled
from quarantine.plan.spacing import Spacing, one_more, spacing_after
from quarantine.plan.steps import after_window, interval, needed_words, not_eaten, owner_of, skipped_move
from quarantine.plan.windows import day_window, moment_of, on_weekday, shown, window_of, window_over
from quarantine.protocol import Duration, Step

BEGAN_AGAIN = "the series began again"
"""How the reason of each run begins whose series began again because one was missed."""


def series(
    step: Step, anchor: Anchor, ground: Ground, last: date | None, around: Around, late: Fact | None = None
) -> Iterator[Run]:
    """The runs of a step from its anchor on, the first one without a day being the last.

    ``last`` is the day after which none is planned, ``around`` what else goes on in its water, ``late`` a dose of the
    series before that counts as the first of this one, and stands there.
    """
    prefix = f"{owner_of(step, ground.course)}:{step.id}:{anchor.id}:"
    repeat = step.repeat
    every = interval(step)
    times = 1 if repeat is None else repeat.times
    day, at, reason = anchor.day, anchor.at, anchor.reason
    ceiling = _first_ceiling(step, anchor)
    n, since = 1, anchor.since
    spacing, longer = Spacing(every), False
    bands = repeat.by_temperature if repeat is not None else ()
    while last is None or (day is not None and day <= last):
        key = f"{prefix}{n}"
        if times is not None and n > times and not (bands and key in ground.outcomes):
            return
        if day is not None:
            day, at, moved = _put_off(step, key, day, at, anchor if n == 1 else None, ground, around)
            reason += moved
            day, at, moved = _beside(step, key, day, at, since, ground, around)
            reason += moved
        if n > 1:
            reason += f"; the first: {anchor.reason}"
        needs = spacing.needs or anchor.needs
        run = Run(n, key, day, at, None, "planned", reason, needs, ceiling)
        if n == 1 and late is not None:
            run = run._replace(day=local_day(late.at, ground.zone), at=None, outcome=late, state="done")
            since = run.done_at
        else:
            made = settled(step, run, ground, since)
            run, since = _apart(step, run, made, every, ground, since), made.done_at or since
            yield run
        if day is None:
            return
        if times is not None and not_eaten(run) and after_window(step, run) == "shift":
            times += 1  # a portion that was not eaten is no dose of the course (needs F26)
        if repeat is not None and bands:
            following = f"{prefix}{n + 1}"
            outcome = ground.outcomes.get(following) or next_of_others(step, following, ground, since)
            spacing = spacing_after(step, repeat, run, outcome, ground)
            if spacing.one_more and times is not None and n < times and not longer:
                times, longer = one_more(step, times), True
        day, at, reason = _next(run, repeat.from_ if repeat else "planned", spacing.every, step, ground)
        reason += spacing.why
        if spacing.since is not None and f"{prefix}{n + 1}" not in ground.outcomes:
            day, at = _not_before(spacing.since, day, at, step, ground.zone)
        if spacing.needs:
            day, at, reason = None, None, ""
        if repeat is not None and repeat.latest is not None:
            before = run.done_at or moment_of(run.day or ground.today, run.at, ground.zone)
            ceiling = before + timedelta(hours=repeat.latest.value)
        n += 1


def _put_off(
    step: Step,
    key: str,
    day: date,
    at: datetime | None,
    begins: Anchor | None,
    ground: Ground,
    around: Around,
) -> tuple[date, datetime | None, str]:
    """The day of a run once an amendment, its window, a treatment and its weekdays had their say, and which did.

    ``begins`` is the anchor of the first run of a series. What has its outcome is put off neither by an amendment nor
    by a window that was over.
    """
    said = ""
    amended = ground.amended.get(step.id)
    if amended and day < amended.day and key not in ground.outcomes:
        said += f"; moved from {day} to {amended.day}: the protocol was amended"
        day, at = amended.day, None
    if begins is not None and key not in ground.outcomes and _begun_too_late(step, begins, day, ground.zone):
        said += f"; moved from {day} to {day + timedelta(days=1)}: its window was over"
        day += timedelta(days=1)
    if step.kind == "change" and (moved := behind(step, day, ground.outcomes.get(key), around.contacts(), ground.zone)):
        free, substance = moved
        said += f"; moved from {day} to {free}: no planned change while {substance} acts (rule C11)"
        day, at = free, None
    weekdays = step.window.weekdays
    if weekdays and (opens := on_weekday(day, weekdays)) != day:
        said += f"; moved from {day} to {opens}: the window opens on {', '.join(weekdays)}"
        day, at = opens, None
    return day, at, said


def _beside(
    step: Step, key: str, day: date, at: datetime | None, since: datetime | None, ground: Ground, around: Around
) -> tuple[date, datetime | None, str]:
    """The day of an open dose beside those of other batches in its water, and why it is another one (rule B2)."""
    if not to_water(step) or key in ground.outcomes:
        return day, at, ""
    planned = sorted(around.doses())
    if not planned and not ground.shared.doses:
        return day, at, ""
    if done_for_others(step, key, day, at, ground, since) is not None:
        return day, at, ""
    return placed(step, day, at, ground, planned)


def _first_ceiling(step: Step, anchor: Anchor) -> datetime | None:
    """The elapsed ceiling of the first run of a series that begins hours after arrival: no run is before it, but the
    hours in the first water count alike (rule A12)."""
    latest = step.repeat.latest if step.repeat is not None else None
    if latest is None or anchor.at is None or step.start.kind not in ("arrival", "entered"):
        return None
    return anchor.at + timedelta(hours=max(latest.value - step.start.by.value, 0))


def _begun_too_late(step: Step, anchor: Anchor, day: date, zone: str) -> bool:
    """Whether the sign, reading or word that begins a series came after the window of its first day: that run is
    due in the next one, and not overdue at birth (rule A11)."""
    began = anchor.since if anchor.at is None and step.start.kind in ("sign", "reading", "word") else None
    return began is not None and window_over(step, day, began, zone)


def _apart(step: Step, planned: Run, run: Run, every: Duration, ground: Ground, since: datetime | None) -> Run:
    """An open dose moves behind one that was given in its place, by a later code of its course or by one that was
    missed: two are never given to catch up (rule A11). ``run`` is the planned one with its outcome or its state; what
    was moved before its time ran out was not missed."""
    if step.kind != "dose" or step.repeat is None or run.day is None or run.state not in ("planned", "missed"):
        return run
    if after_window(step, run) not in ("shift", "reopen"):
        return run
    _, _, root, _ = run.key.split(":")
    others = [f.at for of, n, f in ground.given.get(step.id, ()) if of != root or n > run.n]
    if run.state == "missed":
        over = window_of(step, planned, ground.zone)[2]
        others = [at for at in others if over is not None and at < over]
    free = counted_from("", max(others), every, "another one was given", ground.zone) if others else None
    if free is None or free.day is None or free.day <= run.day:
        return run
    said = f"{run.reason}; moved from {run.day}: {free.reason}"
    if run.state == "planned":
        return run._replace(day=free.day, at=free.at, reason=said)
    return settled(step, planned._replace(day=free.day, at=free.at, reason=said), ground, since)


def _next(
    run: Run, from_: str, every: Duration, step: Step, ground: Ground
) -> tuple[date | None, datetime | None, str]:
    """When the next run is due: from the run really given, or from the one planned (F6).

    Where the template says shift, a run given after its window moves what follows, so that two are never
    given to catch up (rule A11).
    """
    assert run.day is not None
    shifts = after_window(step, run) == "shift"
    if run.done_at is not None and (from_ == "given" or (shifts and _late(step, run, every, ground.zone))):
        anchor = counted_from("", run.done_at, every, "the one before was given", ground.zone)
        return anchor.day, anchor.at, anchor.reason
    day = run.day
    if from_ == "given" or shifts:
        day = max(day, _open_until(step, run, ground))
    left = "was still open" if run.outcome is None else "was skipped"
    before = "the one before" if day == run.day else f"the one before {left}"
    if every.unit == "h":
        since = moment_of(day, run.at, ground.zone)
        at = since + timedelta(hours=every.value)
        return local_day(at, ground.zone), at, f"{every} after {before} on {shown(since, ground.zone)}"
    return day + timedelta(days=every.value), None, f"{every} after {before} on {day}"


def _open_until(step: Step, run: Run, ground: Ground) -> date:
    """The day up to which a run that was not done could still be done: today, or the day on which it was skipped, so
    that a late skip moves nothing into the past. What was missed before keeps its own day."""
    assert run.day is not None
    if run.outcome is None:
        return ground.today if run.state == "planned" else run.day
    lapses_at = window_of(step, run._replace(outcome=None), ground.zone)[2]
    skipped = run.outcome.kind == "skip" and (lapses_at is None or run.outcome.at < lapses_at)
    return local_day(run.outcome.at, ground.zone) if skipped else run.day


def _late(step: Step, run: Run, every: Duration, zone: str) -> bool:
    """Whether a run was given after its window; one due at an instant has as long as the next one is away."""
    due_until = window_of(step, run, zone)[1]
    if due_until is not None and run.at is not None and run.ceiling is None:
        due_until = run.at + timedelta(hours=every.value if every.unit == "h" else 24)
    return due_until is not None and run.done_at is not None and run.done_at > due_until


def _not_before(
    known: datetime, day: date | None, at: datetime | None, step: Step, zone: str
) -> tuple[date | None, datetime | None]:
    """A run that a reading brings forward is due when it was read at the earliest: nothing was missed before."""
    if at is not None:
        return (day, at) if at >= known else (local_day(known, zone), known)
    first = local_day(known, zone)
    if day is None or day > first:
        return day, None
    return first + timedelta(days=day_window(first, step.window, zone)[1] <= known), None


def chain(
    step: Step, runs: list[Run], ground: Ground, last: date | None, around: Around, late: Fact | None = None
) -> list[Run]:
    """The series again from its first run where a run was missed and the template says reopen (rule A11).

    What was still ahead in the broken series falls away; the missed run stays until a person gives the reason. A dose
    that was given after all by the code of a missed run (``late``: of a series before these runs) is the first of the
    series that was open then: two are never given to catch up.
    """
    for place, run in enumerate(runs):
        uneaten = run.outcome if not_eaten(run) else None
        lapse = uneaten or ground.lapses.get(run.key) or skipped_move(step, run) or _given_late(step, run, ground.zone)
        if lapse is None or after_window(step, run) != "reopen":
            continue
        if uneaten is None and run.done_at is not None and run.done_at <= lapse.at:
            continue  # given in time and entered late
        if run.state == "planned" and lapse.id not in ground.roots:
            continue  # it was moved since, and can still be given in time
        again = _reopening(step, run, lapse, ground.zone)
        kept = [r for r in runs[place + 1 :] if r.outcome is not None]
        anew = list(series(step, again, ground, last, around))
        given = run.outcome if uneaten is None and run.done_at is not None else late
        if given is not None and given.at > lapse.at and anew and anew[0].state == "planned":
            anew, given = list(series(step, again, ground, last, around, given)), None
        return runs[: place + 1] + kept + chain(step, anew, ground, last, around, given)
    return runs


def _given_late(step: Step, run: Run, zone: str) -> Fact | None:
    """A dose that was given under its own code after its time had run out, and before anybody wrote that down."""
    fact, lapses_at = run.outcome, window_of(step, run, zone)[2]
    if step.kind != "dose" or fact is None or fact.data.get("key") != run.key or run.done_at is None:
        return None
    late = lapses_at is not None and lapses_at < run.done_at
    # When it was given, and not when that was typed: the order of entry changes no plan.
    return fact._replace(at=lapses_at, entered_at=run.done_at) if late and lapses_at is not None else None


def _reopening(step: Step, run: Run, lapse: Fact, zone: str) -> Anchor:
    """The first day whose window was still open when the lapse was written down."""
    known = max(lapse.at, lapse.entered_at)
    day = local_day(known, zone)
    if day_window(day, step.window, zone)[1] <= known:
        day += timedelta(days=1)
    return Anchor(lapse.id, day, None, f"{BEGAN_AGAIN}: a run was missed on {run.day}")


def between(step: Step, subject: Step, others: list[Run], ground: Ground, around: Around) -> Iterator[Run]:
    """The runs of a step that is done between two of another one, its ``subject``: so long after each of ``others``
    that one more follows, and not after that one. What was not done before the next was given is missed."""
    times = (subject.repeat.times if subject.repeat is not None else None) or 1
    taken = [run for run in others if run.state not in ("skipped", "missed")]
    for place, before in enumerate(taken):
        following = taken[place + 1] if place + 1 < len(taken) else None
        if following is None and (before.day is not None or before.n >= times):
            return
        _, _, root, n = before.key.split(":")
        key = f"{owner_of(step, ground.course)}:{step.id}:{root}:{n}"
        anchor = after_run(subject.kind, before, step.start.by, f"the {subject.id!r} before it", ground)
        if anchor.day is None or following is None:
            yield settled(step, Run(before.n, key, None, None, None, "planned", "", anchor.needs), ground)
            return
        day, at, moved = _put_off(step, key, anchor.day, anchor.at, None, ground, around)
        if following.day is not None and day > following.day:
            day, at = following.day, None
        planned = Run(before.n, key, day, at, None, "planned", anchor.reason + moved, None)
        run = settled(step, planned, ground, before.done_at)
        late = run.outcome is None and following.done_at is not None
        yield run._replace(state="missed") if late else run


def newest(runs: list[Run], ground: Ground) -> list[Run]:
    """The runs of a ramp: one that was not ticked is replaced by the next one that is due, because only one can be
    set."""
    return [
        run
        for run, later in zip_longest(runs, runs[1:])
        if run.outcome is not None or later is None or later.day is None or later.day > ground.today
    ]


def uses(step: Step, ground: Ground, last: date | None, around: Around) -> list[Run]:
    """A step that is given as needed (rule A13): a run for each time a keeper asked for it, and one that waits."""
    assert step.repeat is not None
    once, most = step._replace(repeat=None), step.repeat.times
    runs: list[Run] = []
    for word in sorted(said(step.start, step.id, ground), key=lambda f: (f.entered_at, f.at, f.id))[:most]:
        what = f"a keeper said {word.data['word']!r}"
        anchor = counted_from(word.id, word.at, step.start.by, what, ground.zone)
        runs += series(once, anchor, ground, None, around)
    runs = [run for run in runs if last is None or run.outcome or (run.day is not None and run.day <= last)]
    runs.sort(key=lambda run: (run.day or date.max, run.key))
    if (most is None or len(runs) < most) and (last is None or ground.today <= last):
        needs = f"as needed, {needed_words(step.repeat)}: {step.start.subject}"
        runs += series(once, waiting(ground.course, needs), ground, None, around)
    return runs
