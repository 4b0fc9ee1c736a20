"""Which runs of a step apply, and when a series ends before its time: conditions judged at an instant (F8, F41)."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from quarantine import evidence as ev
from quarantine.facts import Condition, Fact, local_day
from quarantine.plan.contact import clearing_steps
from quarantine.plan.ground import Ground
from quarantine.plan.held import held_for, over
from quarantine.plan.model import Run
from quarantine.plan.steps import after_window
from quarantine.plan.windows import instant_at, on_weekday, shown, window_of, window_over
from quarantine.protocol import Step


class Conditions:
    """The conditions of a course at any instant. A class only to gather what was known at an instant once."""

    def __init__(self, ground: Ground) -> None:
        self.ground = ground
        self._evidence: dict[datetime, ev.Evidence] = {}

    def lacking(self, step: Step, at: datetime) -> str | None:
        """What a step waits for at an instant, in words; None when all is met. Unknown never counts as met."""
        for condition in step.when:
            verdict = self._branch(condition, at)
            if not verdict.met:
                return f"{condition.title} ({verdict.says})"
        return None

    def _branch(self, condition: Condition, at: datetime) -> ev.Verdict:
        if condition.kind == "word":
            so = any(f.at <= at for f in self._said(condition))
            return ev.Verdict(so, "a keeper has to say so: quarantine event word")
        if condition.kind == "group":
            return _of_group(str(condition.value), self.ground.course.species)
        return ev.judge(condition, self._known(at))

    def first_applied(self, step: Step, since: datetime, until: datetime) -> datetime | None:
        """The first instant of a span at which all that a step asks for was met."""
        instants = {since, until} | {fact.at for fact in self.ground.facts if since < fact.at < until}
        return next((at for at in sorted(instants) if self.lacking(step, at) is None), None)

    def from_reading(self, step: Step, opens: datetime) -> datetime:
        """When it is known of a day whether a step applies: from the first reading of that day on that it asks for,
        whatever an older one had said; by the old one from ``opens`` on where none was read."""
        asked = {one.value for one in step.when if one.kind == "reading"}
        begins = instant_at(local_day(opens, self.ground.zone), "00:00", self.ground.zone)
        read = [f.at for f in self.ground.evidence.readings if f.at >= begins and f.data["parameter"] in asked]
        same = [at for at in read if at < begins + timedelta(days=1)]
        return max(opens, min(same)) if same else opens

    def first_met(self, condition: Condition, since: datetime) -> tuple[datetime, str] | None:
        """The first fact from ``since`` on that met a condition, and in words how."""
        if condition.kind == "word":
            return next(((f.at, "a keeper said so") for f in self._said(condition) if f.at >= since), None)
        if condition.kind == "event":
            events = [one for one in self.ground.evidence.happenings if ev.means(one.event, str(condition.value))]
            return next(((one.at, one.why) for one in events if since <= one.at <= self.ground.as_of), None)
        facts = self.ground.evidence.readings if condition.kind == "reading" else self.ground.looks
        for fact in facts:
            if fact.at >= since and (verdict := ev.judge(condition, self._known(fact.at))).met:
                return fact.at, verdict.says
        return None

    def _said(self, condition: Condition) -> list[Fact]:
        """The times at which a keeper said the word of a condition."""
        sentence = str(condition.value).casefold()
        return [f for f in self.ground.words if f.data["word"].casefold() == sentence]

    def _known(self, at: datetime) -> ev.Evidence:
        """The evidence as it was at an instant."""
        if at not in self._evidence:
            self._evidence[at] = ev.known_at(self.ground.evidence, self.ground.looks, at)
        return self._evidence[at]


def _of_group(group: str, species: tuple[str, ...]) -> ev.Verdict:
    """Whether a batch has fish of a group; a fish of which nothing is on record is not known to be one."""
    from quarantine.formulary.groups import groups_of, shipped

    found = [name for name in species if group in groups_of(name, shipped())]
    if found:
        return ev.Verdict(True, f"{', '.join(found)}: {group}")
    return ev.Verdict(None, f"no fish of the batch is known to belong to {group}")


def applying(step: Step, runs: list[Run], conditions: Conditions) -> list[Run]:
    """The runs that apply (F8). One that was missed is owed if it applied at any time while it could be done; what a
    reading of its day says counts before what one of the day before had said. Of the others one whose turn passed
    without it falls away; the last one due waits, and says for what, or is due on the day on which it came to apply."""
    ground = conditions.ground
    kept: list[Run] = []
    lacking = conditions.lacking(step, ground.as_of)
    runs = list(runs)
    for place in range(len(runs)):
        run = runs[place]
        opens, _, lapses_at = window_of(step, run, ground.zone)
        if run.outcome is not None or opens is None:
            kept.append(run)
        elif lapses_at is not None and lapses_at <= ground.as_of:
            known = min(conditions.from_reading(step, opens), lapses_at)
            kept += [run] if conditions.first_applied(step, known, lapses_at) else []
        elif lacking is not None:
            following = runs[place + 1].day if place + 1 < len(runs) else None
            if following is not None and following <= ground.today:
                continue
            waits = run._replace(day=None, at=None, needs=f"applies when: {lacking}", state="planned", ceiling=None)
            return [*kept, waits, *(later for later in runs[place + 1 :] if later.outcome is not None)]
        elif (day := _applies_on(step, run, opens, runs[place + 1 :], conditions)) is not None:
            at = run.at if day == run.day else None
            said = "; ".join(condition.title for condition in step.when)
            kept.append(run._replace(day=day, at=at, reason=f"{run.reason}; it applies: {said}"))
            if run.day is not None and (put_off := day - max(run.day, ground.today)) > timedelta(0):
                runs[place + 1 :] = [_with_it(step, later, put_off) for later in runs[place + 1 :]]
    return kept


def _applies_on(step: Step, run: Run, opens: datetime, later: list[Run], conditions: Conditions) -> date | None:
    """The day of a run that applies now: its own, or the one on which it came to apply. None: its turn passed."""
    ground = conditions.ground
    since = conditions.first_applied(step, opens, ground.as_of) if opens <= ground.as_of else None
    if since is None or run.day is None:
        return run.day
    day = max(run.day, local_day(since, ground.zone))
    if window_over(step, day, since, ground.zone):
        day += timedelta(days=1)  # what it waited for came after the window of that day
    due = later[0].day if later else None
    return None if due is not None and due <= day else day


def _with_it(step: Step, run: Run, put_off: timedelta) -> Run:
    """An open run behind one that waits for the next window: where the template counts from what was given, it
    moves with it, so that their distance stays."""
    follows = after_window(step, run) == "shift" or (step.repeat is not None and step.repeat.from_ == "given")
    if not follows or run.day is None or run.outcome is not None or run.state != "planned":
        return run
    day = on_weekday(run.day + put_off, step.window.weekdays)
    said = f"{run.reason}; moved from {run.day} to {day}: the one before waits for its next window"
    return run._replace(day=day, at=None if run.at is None else run.at + (day - run.day), reason=said)


def stop_of(step: Step, runs: list[Run], conditions: Conditions) -> tuple[datetime, str] | None:
    """When and why a series ended before its time: a person stopped the course (F41), or the condition of its template
    was met after its first run was due (F8)."""
    ground = conditions.ground
    found = []
    if (fact := ground.stopped.get(step.id)) is not None:
        found.append((fact.at, f"the course was stopped on {shown(fact.at, ground.zone)}: {fact.data['because']}"))
    if ground.luggage is not None and step.id in ground.luggage.stops:
        found.append(ground.luggage.stops[step.id])
    if (cleared := _cleared(step, ground)) is not None:
        found.append((cleared, f"clearing began on {shown(cleared, ground.zone)}: nothing is given any more"))
    if (most := held_for(step, ground)) is not None and most.until <= ground.as_of:
        found.append((most.until, over(most, ground.zone)))
    since = window_of(step, runs[0], ground.zone)[0] if step.stop and runs else None
    for condition in step.stop if since is not None else ():
        if since is not None and (met := conditions.first_met(condition, since)) is not None:
            at, says = met
            found.append((at, f"stopped on {shown(at, ground.zone)}: {condition.title} ({says})"))
    return min(found, default=None)


def _cleared(dose: Step, ground: Ground) -> datetime | None:
    """When the change was done that clears a dose which is given by readings: what it takes out is missed by no
    reading, and calls for no dose (rule C5)."""
    if dose.treatment is None or not dose.when:
        return None
    clearing = {one.id for one in clearing_steps(dose, ground.protocol) if one.start.kind == "after"}
    done = [f for f in ground.outcomes.values() if f.kind == "done" and f.batch == ground.course.batch]
    return min((f.at for f in done if f.data["key"].split(":")[1] in clearing), default=None)


def up_to_stop(step: Step, runs: list[Run], stop: datetime | None, zone: str) -> list[Run]:
    """The runs without those that were withdrawn with the series; what was missed before keeps its question."""
    if stop is None:
        return runs
    return [run for run in runs if run.outcome is not None or _lapsed_by(step, run, stop, zone)]


def _lapsed_by(step: Step, run: Run, at: datetime, zone: str) -> bool:
    lapses_at = window_of(step, run, zone)[2]
    return lapses_at is not None and lapses_at <= at
