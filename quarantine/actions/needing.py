"""A keeper's word that starts a step of the protocol, and what is given as needed (rule A13).

The word is written down as the protocol has it, so that a slip of the pen starts nothing. What is asked for as needed
is refused inside its gap and over its daily number; a second use that really happened is recorded when it is said so.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any, NamedTuple

from quarantine.actions.cards import newcomers_of
from quarantine.actions.consequences import ask_about_moved, consequences, earliest_days
from quarantine.actions.desk import Desk, find_tank, local_text, named, when
from quarantine.actions.entering import add_fact, id_after
from quarantine.actions.planning import OPEN, replan
from quarantine.actions.systems import frozen
from quarantine.facts import DOSES, Fact, in_order, local_day
from quarantine.failures import Refused, Unknown
from quarantine.protocol import Protocol, Step
from quarantine.records.codec import instant
from quarantine.records.loading import fact_of
from quarantine.records.reads import Row
from quarantine.records.store import Act


def say_word(
    desk: Desk, tank_name: str, text: str, *, at: str | None = None, batch_name: str | None = None, yes: bool = False
) -> dict[str, Any]:
    """A keeper says what a step waits for: ``text`` is the step's id or its sentence, capitals aside.

    Raises Unknown for what no step waits for, Refused for what was said already, for a use inside its gap, over its
    daily number or its number in all, and where dates move that ``yes`` does not accept.
    """
    with desk.act() as act:
        tank = find_tank(act, tank_name)
        moment = when(at, tank["zone"], act.now)
        batch = _batch(act, tank, moment, batch_name)
        waiting = _waiting(frozen(act, batch["copy_id"]))
        sentence = _sentence_of(waiting, text, batch["protocol"])
        steps = [one.step for one in waiting if one.sentence.casefold() == sentence.casefold()]
        mine = [one for one in waiting if one.sentence == sentence]
        for one in mine:
            if one.starts:
                _check_use(act, batch, one.step, moment)
        if all(one.lasts for one in mine):
            _refuse_again(act, batch, sentence)
        before = earliest_days(act, {tank["system"]})
        was = {row["id"] for row in _tasks(act, batch, steps)}
        add_fact(
            act,
            "word",
            system=tank["system"],
            tank=tank["id"],
            batch=batch["id"],
            at=moment,
            data={"word": sentence},
            id_=id_after(act, tank["system"], moment),
        )
        moved = consequences(act, before, [replan(act, tank["system"])])
        ask_about_moved(act, moved, yes=yes)
        act.describe("word", f"{tank['name']}: {sentence}", moment)
        tasks = [row for row in _tasks(act, batch, steps) if row["id"] not in was]
        return {
            "tank": tank["name"],
            "batch": batch["name"],
            "word": sentence,
            "at": local_text(moment, tank["zone"]),
            "started": [{"code": row["code"], "title": row["title"], "on": row["day"]} for row in tasks],
            "moved": moved,
        }


def _batch(act: Act, tank: Row, moment: datetime, name: str | None) -> Row:
    """The open batch of a tank that the word is about."""
    batches = [b for b in act.rows("open_batches") if b["tank"] == tank["id"]]
    if not batches:
        raise Refused(f"There is no open batch in {tank['name']}; nothing was recorded.")
    if name is not None:
        batches = [named(batches, "open batch", name, f" in {tank['name']}")]
    if len(batches) > 1:
        known = ", ".join(b["name"] for b in batches)
        raise Refused(f"{tank['name']} holds {len(batches)} batches ({known}): say which, with --batch NAME.")
    if instant(batches[0]["arrived_at"]) > moment:
        raise Refused(f"Batch {batches[0]['name']} had not arrived then; check --at. Nothing was recorded.")
    return batches[0]


class _Waiting(NamedTuple):
    """A sentence that a step waits for: it starts the step, or it branches it (F8); ``lasts``: once said it holds."""

    sentence: str
    step: Step
    starts: bool
    lasts: bool = False


def _waiting(protocol: Protocol) -> list[_Waiting]:
    starts = [_Waiting(str(s.start.subject), s, True) for s in protocol.steps if s.start.kind == "word"]
    holds = [_Waiting(str(c.value), s, False, True) for s in protocol.steps for c in s.when if c.kind == "word"]
    ends = [_Waiting(str(c.value), s, False) for s in protocol.steps for c in s.stop if c.kind == "word"]
    return [*starts, *holds, *ends]


def _refuse_again(act: Act, batch: Row, sentence: str) -> None:
    """What was said holds, and saying it again does nothing, save for fish of a species that came since (rule C8)."""
    rows = act.rows("facts_since", system=batch["system"], since=batch["arrived_at"])
    facts = in_order([fact_of(row) for row in rows])
    said = [
        f
        for f in facts
        if f.kind == "word" and f.batch == batch["id"] and f.data["word"].casefold() == sentence.casefold()
    ]
    if said and not newcomers_of(batch, facts, said[-1]):
        who = act.rows("keeper_name", id=said[-1].keeper)[0]["name"]
        raise Refused(
            f"{who} said so of {batch['name']} already ({local_text(said[-1].at, batch['zone'])}); it holds. Nothing "
            "was recorded."
        )


def _sentence_of(waiting: list[_Waiting], text: str, protocol: str) -> str:
    """The sentence as the protocol has it, named by itself or by the id of a step that waits for it."""
    wanted = " ".join(text.split()).casefold()
    by_sentence = [one.sentence for one in waiting if one.sentence.casefold() == wanted]
    found = list(dict.fromkeys(by_sentence or [one.sentence for one in waiting if one.step.id.casefold() == wanted]))
    if len(found) > 1 and not by_sentence:
        raise Refused(f"{text} waits for several words; say which: {'; '.join(found)}.")
    if not found:
        known = [f"{one.step.id} ({one.sentence})" for one in waiting]
        raise Unknown("word that a step waits for", text, known, f": {protocol} waits for none")
    return found[0]


def _tasks(act: Act, batch: Row, steps: list[Step]) -> list[Row]:
    """The open tasks of these steps that have a day."""
    ids = {step.id for step in steps}
    rows = act.rows("tasks_of_batch", batch=batch["id"])
    return [row for row in rows if row["step"] in ids and row["day"] and row["state"] in OPEN]


def _check_use(act: Act, batch: Row, step: Step, moment: datetime) -> None:
    zone, sentence = batch["zone"], str(step.start.subject).casefold()
    rows = act.rows("facts_since", system=batch["system"], since=batch["arrived_at"])
    facts = [fact_of(row) for row in rows]
    said = [f for f in facts if f.kind == "word" and f.batch == batch["id"] and f.data["word"].casefold() == sentence]
    if step.repeat is None or step.repeat.as_needed is None:
        if said:
            who = act.rows("keeper_name", id=said[0].keeper)[0]["name"]
            raise Refused(f"{who} said so already, {local_text(said[0].at, zone)}; nothing was recorded.")
        return
    if open_ := _tasks(act, batch, [step]):
        raise Refused(
            f"{step.title} was asked for already and is open: {open_[0]['code']}. Do it, or skip it with the reason."
        )
    asked = max(len(said), len(_uses(facts, batch, step.id)))  # a word that was taken back gave nothing back
    if step.repeat.times is not None and asked >= step.repeat.times:
        raise Refused(f"{step.title} was asked for {asked} times, and {step.repeat.times} is the most; ask why.")
    if reason := _too_soon(step, _uses(facts, batch, step.id), moment, zone):
        raise Refused(f"{reason} Nothing was recorded.")


def _uses(facts: list[Fact], batch: Row, step: str) -> list[datetime]:
    """When a step was really given to this batch or its water, oldest first."""
    begun = [f for f in facts if f.kind == "arrival" and f.batch == batch["id"]]
    # Of fish that were moved the keys go on by the water and the tank they arrived in.
    owners = {batch["id"], *(owner for f in begun for owner in (f.tank, f.system))}
    keys = [(f.at, f.data["key"].split(":")) for f in facts if f.kind in ("done", *DOSES) and "key" in f.data]
    return sorted(at for at, (owner, name, *_) in keys if name == step and owner in owners)


def _too_soon(step: Step, uses: list[datetime], moment: datetime, zone: str) -> str:
    """Why a step may not be given at a moment, with both times; empty where it may.

    Hours are elapsed, days are calendar days at the site (rule A12); the daily number is counted from local midnight.
    """
    repeat = step.repeat
    if repeat is None or repeat.as_needed is None:
        return ""
    gap = repeat.as_needed
    for used in uses:
        if gap.unit == "h":
            near = abs(moment - used) < timedelta(hours=gap.value)
        else:
            near = abs((local_day(moment, zone) - local_day(used, zone)).days) < gap.value
        if near:
            free = (
                local_text(used + timedelta(hours=gap.value), zone)
                if gap.unit == "h"
                else (local_day(used, zone) + timedelta(days=gap.value)).isoformat()
            )
            return (
                f"{step.title} was given {local_text(used, zone)}; {local_text(moment, zone)} lies inside the gap of "
                f"{gap} (rule A13), which ends {free}."
            )
    today = [used for used in uses if local_day(used, zone) == local_day(moment, zone)]
    if repeat.daily is not None and len(today) >= repeat.daily:
        times = ", ".join(local_text(used, zone) for used in today)
        return (
            f"{step.title} was given {times}, and {repeat.daily} a day is the most (rule A13); the next day begins at "
            "local midnight."
        )
    return ""


def ask_inside_gap(act: Act, task: Row, moment: datetime, *, really: bool) -> None:
    """Rule C7: a use that really happened inside its gap is recorded once a keeper says that it is so."""
    if really:
        return
    batch = next(b for b in act.rows("open_batches") if b["id"] == task["batch"])
    step = next(s for s in frozen(act, batch["copy_id"]).steps if s.id == task["step"])
    facts = [fact_of(row) for row in act.rows("facts_since", system=task["system"], since=batch["arrived_at"])]
    if reason := _too_soon(step, _uses(facts, batch, step.id), moment, batch["zone"]):
        raise Refused(f"{reason} If it was really given then, say --really.")
