"""What a person changes in the plan of a running batch: another text of its protocol, or an end to a whole course.

Both are one dated fact with its reason. What was done stays as it is; an amendment plans nothing into the past.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from datetime import timedelta
from typing import Any, NamedTuple

from quarantine.actions.batches import acknowledged, freeze
from quarantine.actions.consequences import consequences, earliest_days
from quarantine.actions.desk import Desk, find_batch, local_text
from quarantine.actions.entering import add_fact, id_after
from quarantine.actions.planning import OPEN, detail_of, replan
from quarantine.actions.sharing import same_course
from quarantine.actions.systems import frozen, load_system
from quarantine.facts import Fact, in_order, local_day
from quarantine.failures import Refused, Unknown, Usage
from quarantine.luggage import doses_before
from quarantine.plan import DAILY_CARE, Plan
from quarantine.protocol import Protocol, Step, load
from quarantine.readiness import ARRIVAL
from quarantine.records.codec import instant, plain
from quarantine.records.loading import fact_of
from quarantine.records.reads import Row, Rows
from quarantine.records.store import Act
from quarantine.templates import shipped


class NotAccepted(Refused):
    """An act whose consequences nobody has accepted yet: one sentence, and each consequence on its line."""

    kind = "consequences"

    def __init__(self, sentence: str, lines: list[str], **facts: Any) -> None:
        super().__init__(sentence, **facts)
        self.lines = tuple(f"  {line}" for line in lines)


def amend(
    desk: Desk, name: str, *, because: str, protocol: str | None = None, acknowledge: bool = False, yes: bool = False
) -> dict[str, Any]:
    """Move an open batch to the newest text of its protocol, or to another one for the same water (F4).

    Shows what goes, comes and moves, and asks; ``yes`` accepts it, ``acknowledge`` the cautions of what gives medicine
    (rule C19). Raises Refused where it may not be done, NotAccepted where it was not accepted yet.
    """
    reason = _reason(because)
    with desk.act() as act:
        batch = _open_batch(act, name)
        old = frozen(act, batch["copy_id"])
        if protocol is None and old.id not in shipped():
            raise Refused(f"Protocol {old.id} is a keeper's own; name its file: --protocol FILE.")
        new = load(protocol or old.id)
        _check_text(act, batch, old, new)
        given = _given(act, batch)
        _check_clearing(old, new, given)
        freeze(act, new)
        if yes:
            acknowledged(act, new, acknowledge)
        was = act.rows("tasks_of_batch", batch=batch["id"])
        before = earliest_days(act, {batch["system"]})
        act.change("batch", batch["id"], copy_id=new.fingerprint)
        _write_amendment(act, batch, old, new, was, reason)
        made = replan(act, batch["system"])
        now = act.rows("tasks_of_batch", batch=batch["id"])
        _refuse_lost(act, batch, was, now)
        _refuse_longer_course(batch, old, new, made, given)
        _renew_cards(act, new, now)
        difference = _difference(was, now)
        moved = consequences(act, before, [made])
        texts = {"from": _text(old), "to": _text(new), "text": _compared(old, new)}
        if not (yes or act.dry_run):
            _ask(act, batch, new, [*texts["text"], *difference.lines(), *moved], {**texts, **difference.json()})
        act.describe("protocol amended", f"batch {batch['name']}: {_titled(old)} -> {_titled(new)}: {reason}")
        return {
            "batch": batch["name"],
            **texts,
            "because": reason,
            **difference.json(),
            "lines": difference.lines(),
            "moved": moved,
        }


def _reason(text: str) -> str:
    reason = " ".join(text.split())
    if not reason or not reason.isprintable():
        raise Usage("Why? Say it in plain words: --because REASON.")
    return reason


def _open_batch(act: Act, name: str) -> Row:
    batch = find_batch(act, name)
    if batch["state"] != "open":
        raise Refused(f"Batch {batch['name']} is not in quarantine ({batch['state']}): its plan cannot be changed.")
    return batch


def _titled(protocol: Protocol) -> str:
    return f"{protocol.id} revision {protocol.revision}"


def _text(protocol: Protocol) -> dict[str, Any]:
    return {"protocol": protocol.id, "revision": protocol.revision, "fingerprint": protocol.fingerprint}


def _check_text(act: Act, batch: Row, old: Protocol, new: Protocol) -> None:
    """The new text is another one, newer where it is the same protocol, for this water, and alone with its medicine."""
    if new.fingerprint == old.fingerprint:
        raise Refused(f"Batch {batch['name']} follows {_titled(new)} already; nothing was changed.")
    if new.id == old.id and new.revision <= old.revision:
        raise Refused(
            f"The text of {new.id} is revision {new.revision}, the batch follows revision {old.revision}: an amendment "
            "goes to a newer revision. Raise the revision in the file, and check it: quarantine protocol check."
        )
    if new.water not in ("any", batch["water"]):
        raise Refused(f"Protocol {new.id} is for {new.water} water; {batch['tank_name']} is {batch['water']}.")
    others = [b for b in load_system(act, batch["system"], act.now).batches if b["id"] != batch["id"]]
    names = [b["name"] for b in others if not same_course(frozen(act, b["copy_id"]), new)]
    if names:
        raise Refused(
            f"Batch {', '.join(names)} is in the same water, and {new.id} does not give the same medicine the same way "
            "as its protocol: two courses in one water are not planned (rule B2)."
        )


def _given(act: Act, batch: Row) -> list[Fact]:
    """The doses that this batch's water or fish had since it arrived, supporting salt apart (rules A9, B8)."""
    rows = act.rows("facts_since", system=batch["system"], since=batch["arrived_at"])
    facts = [fact_of(row) for row in rows]
    doses = [f for f in (*(f for f in facts if f.kind == "dose"), *doses_before(facts)) if f.data.get("counts")]
    return [fact for fact in doses if fact.at >= instant(batch["arrived_at"])]


def _check_clearing(old: Protocol, new: Protocol, given: list[Fact]) -> None:
    """What was given stays given (rule B8): sign-off goes on asking whether it has left the water."""
    asked = {(c.kind, str(c.value)) for c in new.criteria}
    kinds = {kind for kind, _ in asked}
    substances = {fact.data["substance"] for fact in given}
    lost = [str(c.value) for c in old.criteria if c.kind == "level" and ("level", str(c.value)) not in asked]
    lost = [name for name in lost if name in substances]
    if given and "days_since_dose" not in kinds and any(c.kind == "days_since_dose" for c in old.criteria):
        lost = lost or sorted(substances)
    if lost:
        raise Refused(
            f"{', '.join(lost)} was given in this stay, and {new.id} does not ask at sign-off whether it has left the "
            "water and how long ago: an amendment would forget it (rule B8). Keep the protocol, or amend to one that "
            "asks the same of it."
        )


def _write_amendment(act: Act, batch: Row, old: Protocol, new: Protocol, was: list[Row], reason: str) -> None:
    today = local_day(act.now, batch["zone"])
    done = {row["step"] for row in was if row["state"] in ("done", "skipped") and row["day"] == today.isoformat()}
    before = {step.id: step for step in old.steps}
    steps = {}
    for step in new.steps:
        if step.id in changed_steps(old, new):
            first = today + timedelta(days=1) if step.id in done else today
            steps[step.id] = {"from": first.isoformat(), "fresh": _fresh(before.get(step.id), step, old.id == new.id)}
    add_fact(
        act,
        "amended",
        system=batch["system"],
        tank=batch["tank"],
        batch=batch["id"],
        at=act.now,
        data={
            "from": old.fingerprint,
            "to": new.fingerprint,
            "says": f"{_titled(old)} -> {_titled(new)}",
            "because": reason,
            "steps": steps,
        },
        id_=id_after(act, batch["system"], act.now),
    )


def changed_steps(old: Protocol, new: Protocol) -> set[str]:
    """The steps of the new text that are new, that are planned otherwise, or that hang on one that is."""
    was = {step.id: step for step in old.steps}
    periods = {period.id: period for period in old.periods}
    changed = {s.id for s in new.steps if s.id not in was or _planned_by(was[s.id]) != _planned_by(s)}
    changed |= {p.id for p in new.periods if p.id not in periods or periods[p.id][2:5] != p[2:5]}
    while True:
        more = {s.id for s in new.steps if s.start.kind in ("after", "begun", "between") and s.start.subject in changed}
        if more <= changed:
            return changed & {s.id for s in new.steps}
        changed |= more


def _planned_by(step: Step) -> Step:
    """A step without what changes its card alone: words, share of the water, who, before-checks."""
    return step._replace(title="", note="", references=(), line=0, before=(), who="", fraction=None)


def _fresh(before: Step | None, step: Step, same: bool) -> bool:
    """Whether a step's runs begin anew. A finite course goes on counting where it stood (rule B8), unless it is
    another work under an old name, or is settled by its day and not by its number."""
    if before is None or not same or before.kind != step.kind or step.kind in DAILY_CARE:
        return True
    regimens = {one.treatment.regimen if one.treatment else "" for one in (before, step)}
    return len(regimens) > 1 or bool(step.repeat and step.repeat.until)


def _refuse_lost(act: Act, batch: Row, was: list[Row], now: list[Row]) -> None:
    """Rule A11: what is behind stays until a person gives the reason; an amendment takes none of it away."""
    today = local_day(act.now, batch["zone"]).isoformat()
    after = {row["id"]: row for row in now}
    lost = [
        row["code"]
        for row in was
        if row["state"] in OPEN
        and row["day"]
        and row["day"] < today
        and (after[row["id"]]["state"] not in OPEN or after[row["id"]]["day"] != row["day"])
    ]
    if lost:
        raise Refused(
            f"{len(lost)} past task{'s have' if len(lost) > 1 else ' has'} no outcome, and the amendment would take "
            f"{'them' if len(lost) > 1 else 'it'} away. Log what was done with --at, or say why it was not: quarantine "
            f"skip {' '.join(lost)} --because REASON.",
            codes=lost,
        )


def _refuse_longer_course(batch: Row, old: Protocol, new: Protocol, made: Plan, given: list[Fact]) -> None:
    """Rule B8: a course's number counts over the whole stay, whatever text planned its doses."""
    from quarantine.formulary import regimen

    for step in new.steps:
        if step.treatment is None:
            continue
        substance, row = regimen(step.treatment.regimen)
        had = sum(1 for fact in given if fact.data["substance"] == substance.id)
        ahead = sum(1 for t in made.tasks if t.batch == batch["id"] and t.step == step.id and t.outcome is None)
        if had and ahead and row.repeats.times is not None and had + ahead > row.repeats.times:
            raise Refused(
                f"{had} dose{'s' if had > 1 else ''} of {substance.name} went in during this stay; {new.id} would add "
                f"{ahead}, and {row.id} has at most {row.repeats.times} (rule B8)."
            )


def _renew_cards(act: Act, new: Protocol, rows: list[Row]) -> None:
    """Open tasks show the new text's checks, notes, target and sources."""
    steps = {step.id: plain(detail_of(new, step)) for step in new.steps}
    for row in rows:
        if row["state"] in OPEN and row["step"] in steps and json.loads(row["detail"]) != steps[row["step"]]:
            act.change("task", row["id"], detail=steps[row["step"]])


def _ask(act: Act, batch: Row, new: Protocol, lines: list[str], facts: dict[str, Any]) -> None:
    silent = not new.medicated or act.rows("acknowledgements", keeper=act.keeper, copy_id=new.fingerprint)
    also = "" if silent else f" and --acknowledge, once its cautions are read (quarantine protocol show {new.id})"
    raise NotAccepted(
        f"Batch {batch['name']} would follow {_titled(new)}. Say --yes to accept this{also}; nothing was changed.",
        lines,
        **facts,
    )


def changes_of(rows: Rows, batch: Row) -> list[dict[str, Any]]:
    """The amendments and stopped courses of a batch that stand, oldest first: when, what, why."""
    facts = [fact_of(row) for row in rows.rows("facts_since", system=batch["system"], since=batch["arrived_at"])]
    mine = in_order([f for f in facts if f.batch == batch["id"] and f.kind in ("amended", "stopped")])
    return [
        {
            "kind": fact.kind,
            "at": local_text(fact.at, batch["zone"]),
            "says": fact.data["says"] if fact.kind == "amended" else f"course {fact.data['step']} stopped",
            "because": fact.data["because"],
        }
        for fact in mine
    ]


# --- Before and after --------------------------------------------------------------------------------------


def _compared(old: Protocol, new: Protocol) -> list[str]:
    """Both texts side by side, what differs alone: title, periods, steps, what sign-off asks."""
    lines = [f"before: {_titled(old)}, {old.title}", f"after: {_titled(new)}, {new.title}"]
    for what, was, now in (
        (
            "period",
            {p.id: f"{p.length}, {p.counts}" for p in old.periods},
            {p.id: f"{p.length}, {p.counts}" for p in new.periods},
        ),
        ("step", _said_steps(old), _said_steps(new)),
        ("event", old.events, new.events),
        ("sign-off asks", {c.title: "yes" for c in old.criteria}, {c.title: "yes" for c in new.criteria}),
    ):
        for name in dict.fromkeys([*was, *now]):
            first, then = was.get(name), now.get(name)
            if first != then:
                lines.append(f"{what} {name}: {_side(what, first)} -> {_side(what, then)}")
    return lines


def _said_steps(protocol: Protocol) -> dict[str, str]:
    from quarantine.plan import needed_words

    said = {}
    for step in protocol.steps:
        start, repeat = step.start, step.repeat
        words = f"{start.kind} {start.subject or ''} +{start.by}".replace("  ", " ")
        if repeat is not None:
            often = needed_words(repeat) if repeat.as_needed else f"every {repeat.every or 'row of temperature'}"
            words += f", {often}, " + (f"{repeat.times} times" if repeat.times else f"until {repeat.until}")
        words += f", {step.window.from_} to {step.window.until}"
        if step.window.weekdays:
            words += f" on {', '.join(step.window.weekdays)}"
        if step.treatment:
            words += f", {step.treatment.regimen}"
            words += f" at {step.treatment.target}" if step.treatment.target else ""
        for word, conditions in (("when", step.when), ("stops when", step.stop)):
            if conditions:
                words += f", {word} {'; '.join(condition.title for condition in conditions)}"
        if step.before:
            words += f", {len(step.before)} before-check{'s' if len(step.before) > 1 else ''}"
        said[step.id] = words
    return said


def _side(what: str, words: str | None) -> str:
    if words is None:
        return "no" if what == "sign-off asks" else "none"
    return words


class _Difference(NamedTuple):
    """Open tasks that go, come and move, by step: (title, days); a moved one (code, title, from, to)."""

    goes: dict[str, list[str]]
    comes: dict[str, list[str]]
    moves: list[tuple[str, str, str, str]]

    def lines(self) -> list[str]:
        """One line for each step that loses or gains tasks, and for each task that moves."""
        said = [*_lines("goes", self.goes), *_lines("comes", self.comes)]
        said += [f"moves: {code} {title}: {was} -> {now}" for code, title, was, now in self.moves]
        return said or ["No task goes, comes or moves."]

    def json(self) -> dict[str, Any]:
        """The shape that --json shows."""
        return {
            "goes": [{"title": title, "on": days} for title, days in self.goes.items()],
            "comes": [{"title": title, "on": days} for title, days in self.comes.items()],
            "moves": [{"code": code, "title": title, "was_on": was, "on": now} for code, title, was, now in self.moves],
        }


def _lines(word: str, by_title: dict[str, list[str]]) -> Iterator[str]:
    for title, days in by_title.items():
        when = days[0] if len(days) == 1 else f"{len(days)} tasks, {days[0]} to {days[-1]}"
        yield f"{word}: {title}: {when}"


def _difference(was: list[Row], now: list[Row]) -> _Difference:
    """The open tasks before and after. One in whose place another of the same step and day stands neither goes nor
    comes."""
    before = {r["id"]: r for r in was if r["state"] in OPEN and not r["step"].startswith(ARRIVAL)}
    after = {r["id"]: r for r in now if r["state"] in OPEN and not r["step"].startswith(ARRIVAL)}
    gone = [before[id_] for id_ in before.keys() - after.keys()]
    come = [after[id_] for id_ in after.keys() - before.keys()]
    kept = {(r["step"], r["day"]) for r in gone} & {(r["step"], r["day"]) for r in come}
    moves = [
        (r["code"], r["title"], before[id_]["day"] or "waits", r["day"] or "waits")
        for id_, r in after.items()
        if id_ in before and before[id_]["day"] != r["day"]
    ]
    return _Difference(
        _by_title(r for r in gone if (r["step"], r["day"]) not in kept),
        _by_title(r for r in come if (r["step"], r["day"]) not in kept),
        sorted(moves, key=lambda move: (move[3], move[0])),
    )


def _by_title(rows: Iterable[Row]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for row in sorted(rows, key=lambda r: (r["step"], r["day"] or "waits", r["title"])):
        found.setdefault(row["title"], []).append(row["day"] or "waits")
    return found


# --- An end to a whole course ------------------------------------------------------------------------------


def stop_course(desk: Desk, name: str, step: str, *, because: str, yes: bool = False) -> dict[str, Any]:
    """Stop a whole course of doses (F41): what is left of it is withdrawn, and sign-off names it as a deviation.

    ``step`` is the step's id, or the code of one of its tasks. What was missed before keeps its question. Raises
    Refused where nothing is left, NotAccepted where what is left was not accepted yet.
    """
    reason = _reason(because)
    with desk.act() as act:
        batch = _open_batch(act, name)
        rows = act.rows("tasks_of_batch", batch=batch["id"])
        course = _course(frozen(act, batch["copy_id"]), rows, step)
        mine = [row for row in rows if row["step"] == course.id]
        left = [row for row in mine if row["state"] in OPEN and not _missed(act, row)]
        given = [row for row in mine if row["state"] == "done"]
        if not left:
            raise Refused(
                f"Nothing is left of {course.id} ({course.title}) of batch {batch['name']}; nothing was stopped."
            )
        before = earliest_days(act, {batch["system"]})
        shown = [{"code": row["code"], "title": row["title"], "on": row["day"]} for row in left]
        add_fact(
            act,
            "stopped",
            system=batch["system"],
            tank=batch["tank"],
            batch=batch["id"],
            at=act.now,
            data={"step": course.id, "title": course.title, "because": reason, "left": shown},
            id_=id_after(act, batch["system"], act.now),
        )
        moved = consequences(act, before, [replan(act, batch["system"])])
        lines = [f"withdrawn: {row['code']} {row['title']}, {row['day'] or 'waits'}" for row in left]
        if not (yes or act.dry_run):
            raise NotAccepted(
                f"This stops the whole course {course.title!r} of batch {batch['name']} ({len(given)} given): sign-off "
                "names it as a deviation. Too few doses leave parasites alive: ask the veterinarian. Say --yes to "
                "stop it; nothing was changed.",
                [*lines, *moved],
                left=shown,
                moved=moved,
            )
        act.describe("course stopped", f"batch {batch['name']}: {course.title}, {len(left)} not given: {reason}")
        return {
            "batch": batch["name"],
            "step": course.id,
            "title": course.title,
            "because": reason,
            "given": [{"code": row["code"], "title": row["title"], "on": row["day"]} for row in given],
            "left": shown,
            "lines": lines,
            "moved": moved,
        }


def _course(protocol: Protocol, rows: list[Row], name: str) -> Step:
    """A course of doses by its step's id, or by the code of one of its tasks, capitals aside. Raises Unknown."""
    courses = {step.id: step for step in protocol.steps if step.kind == "dose"}
    wanted = name.strip().casefold()
    by_code = {row["code"].casefold(): row["step"] for row in rows}
    found = [step for id_, step in courses.items() if id_.casefold() == wanted or by_code.get(wanted) == id_]
    if not found:
        raise Unknown("course of doses", name, list(courses), f": {protocol.id} gives no medicine")
    return found[0]


def _missed(act: Act, row: Row) -> bool:
    return row["state"] == "missed" or bool(row["lapses_at"] and instant(row["lapses_at"]) <= act.now)
