"""A dip as it is told: the vessel, when the first fish went in and when the last came out (rules C6 and C15). And the
end of a bath: the water that was changed, or the fish in clean water (rule C5)."""

from __future__ import annotations

import json
import re
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, NamedTuple

from quarantine.actions.baths import Baths, baths_of
from quarantine.actions.cards import read_vessel
from quarantine.actions.desk import local_text, when
from quarantine.actions.entering import add_fact, id_after
from quarantine.actions.planning import OPEN
from quarantine.bathing import (
    END,
    PARTLY,
    Bath,
    contact_word,
    flush_now,
    flush_words,
    level_words,
    overrun_words,
    overstay_words,
    time_words,
)
from quarantine.failures import Refused, Usage
from quarantine.formulary import Regimen, regimen
from quarantine.quantity import Quantity, read, show, to
from quarantine.records.codec import text_of_instant
from quarantine.records.reads import Row
from quarantine.records.store import Act
from quarantine.water.ledger import Water


class Told(NamedTuple):
    """What a keeper typed of a dip, or what is on record of its start; None for what was left out."""

    vessel: str | Water | None = None
    started: str | datetime | None = None
    ended: str | datetime | None = None


NO_DIP = Told()


class Dip(NamedTuple):
    """A dip that is over: its vessel, start and end, and what the record keeps of it."""

    vessel: Water
    started: datetime
    ended: datetime
    data: dict[str, Any]
    rescue: str


def dip_of(task: Row, told: Told, at: str | None, now: datetime) -> Dip | None:
    """The dip that a task's keeper tells of; None for a task that is none.

    Raises Refused and Usage for a dip without its vessel, start or end, and for one that ends before it begins.
    """
    treatment = json.loads(task["detail"])["treatment"] if task["kind"] == "dose" else None
    row = regimen(treatment["regimen"])[1] if treatment else None
    if treatment is None or row is None or not row.own_vessel:
        if any(told):
            raise Refused(f"{task['code']} ({task['title']}) is no dip; leave --vessel, --started and --ended out.")
        return None
    if at is not None:
        raise Usage("A dip has two times: --started and --ended, and no --at.")
    if None in told:
        raise Refused(
            f"{task['code']} is a dip: say its vessel, when the first fish went in and when the last came out: "
            '--vessel "10 L" --started 09:00:00 --ended 09:02:30.'
        )
    vessel = told.vessel if isinstance(told.vessel, Water) else read_vessel(told.vessel or "")
    started = _to_the_second(told.started or "", task["zone"], now, "--started")
    ended = _to_the_second(told.ended or "", task["zone"], now, "--ended")
    if ended <= started:
        raise Refused(
            f"A dip cannot be over before it began: it was started {_clock(told.started, task['zone'])}, and ended "
            f"{_clock(told.ended, task['zone'])}. Write the seconds too: 09:00:00."
        )
    return _timed(vessel, started, ended, row, treatment.get("longest", ""))


def _timed(vessel: Water, started: datetime, ended: datetime, row: Regimen, longest: str) -> Dip:
    elapsed = Decimal(int((ended - started).total_seconds()))
    least, most = (figure and to(Quantity(figure.value, figure.unit), "s") for figure in _span(row))
    if longest:
        most = min(to(read(longest, "duration", "longest"), "s"), most or Decimal("Infinity"))
    contact, rescue = "as published", ""
    if most is not None and elapsed > most:
        contact = "overrun"
        rescue = (
            f"The dip took {show(elapsed)} s, over its limit of {show(most)} s. Now: every fish in clean water of the "
            "tank, strong aeration, watch them; call a veterinarian."
        )
    elif least is not None and elapsed < PARTLY * least:
        contact = "partly"
    data = {
        "started_at": text_of_instant(started),
        "ended_at": text_of_instant(ended),
        "elapsed_seconds": elapsed,
        "contact": contact,
    }
    return Dip(vessel, started, ended, data, rescue)


def _span(row: Regimen) -> tuple[Any, Any]:
    return (row.contact.low, row.contact.high) if row.contact else (None, None)


def _clock(told: str | datetime | None, zone: str) -> str:
    return local_text(told, zone) if isinstance(told, datetime) else repr(told)


def _to_the_second(text: str | datetime, zone: str, now: datetime, what: str) -> datetime:
    """A typed time; HH:MM:SS keeps its seconds."""
    if isinstance(text, datetime):
        return text
    found = re.fullmatch(r"(.*\d{1,2}:\d{2}):([0-5]\d)", text.strip())
    if found is None:
        return when(text, zone, now, what=what)
    at = when(found[1], zone, now, what=what) + timedelta(seconds=int(found[2]))
    if at > now:
        raise Refused(f"{what} {text!r} lies in the future (it is {local_text(now, zone)} at the site).")
    return at


# --- The end of a bath -----------------------------------------------------------------------------------------------


class Drained(NamedTuple):
    """What was taken out of a bath: litres out and in, or None for both: the fish went into clean water."""

    out_litres: Decimal | None
    in_litres: Decimal | None


FISH_OUT = Drained(None, None)


def bath_of(act: Act, task: Row) -> tuple[Baths, Bath | None]:
    """The baths of a task's water, and the one that the task ends; None for the end of a dip."""
    there = baths_of(act, task["system"], act.now)
    return there, next((bath for bath in there.baths if bath.key == task["key"]), None)


def end_bath(
    act: Act, task: Row, drained: Drained, moment: datetime, *, note: str | None = None, really: bool = False
) -> dict[str, Any]:
    """Write what ended a bath, or brought it nearer its end, at an instant; what is told of it.

    The task is done once the level's upper bound is at or under its limit, or the fish are out (rule C5); until then
    it stays open and says how much more. Raises Refused for a time before the pour and for more water than there is.
    """
    there, bath = bath_of(act, task)
    if bath is None:
        raise Refused(f"{task['code']} ({task['title']}) is a dip: quarantine bath end {task['code']}.")
    if moment < bath.last.at:
        poured = local_text(bath.last.at, task["zone"])
        raise Refused(f"The last of it was poured {poured}; a bath does not end before. Check --at.")
    if drained.out_litres is not None:
        _change(act, task, there.water, drained, moment, really)
        bath = _again(act, task)
    over = drained.out_litres is None or bath.over is not None
    # The contact ended at the first drain; a later one only clears the water further.
    ended = bath.drained_at or moment
    contact = contact_word(bath, ended)
    elapsed = ended - bath.last.at
    if over:
        seconds = Decimal(int(elapsed.total_seconds()))
        _settle(act, task, moment, drained, contact, seconds, note, f"End the bath of {bath.substance}")
    flush = flush_now(bath, there.water)
    rescue = overrun_words(bath, ended, flush, over=over) or overstay_words(bath, moment, flush, over=over)
    return {
        "code": task["code"],
        "says": _says(task, drained, bath, over),
        "ended": over,
        "contact": contact,
        "lines": [
            *([rescue] if rescue else []),
            f"Contact: {time_words(elapsed)}, {contact}{_less(bath) if contact == 'partly' else ''}.",
            *([] if drained.out_litres is None else [f"{level_words(bath)}."]),
            *([] if over else [f"Not at its end yet. Still: {flush_words(flush)}."]),
        ],
        "rescue": rescue,
    }


def _less(bath: Bath) -> str:
    return (
        f": under {show(PARTLY * 100)} % of the {bath.last.data['contact_least']} that are published (rule C5). "
        "Nothing is given to catch up; the protocol or a veterinarian says whether it is repeated"
    )


def _says(task: Row, drained: Drained, bath: Bath, over: bool) -> str:
    if drained.out_litres is None:
        what = "Fish in clean water"
    else:
        what = f"{show(drained.out_litres)} L out, {show(drained.in_litres or Decimal(0))} L in"
    ends = "the bath has ended" if over else "not at its end yet"
    return f"{what}, {bath.substance} in {task['tank_name']}: {ends}"


def _again(act: Act, task: Row) -> Bath:
    found = bath_of(act, task)[1]
    assert found is not None, "a bath that was written to is still there"
    return found


def _change(act: Act, task: Row, water: Water | None, drained: Drained, moment: datetime, really: bool) -> None:
    """The water change as a fact. More than there is looks like a slip, and is asked about once (rule C7)."""
    out, in_ = drained.out_litres or Decimal(0), drained.in_litres or Decimal(0)
    if water is not None and not really and max(out, in_) > Decimal(str(water.litres + water.plus_minus_litres)):
        raise Refused(
            f"{show(max(out, in_))} L is more than the {show(Decimal(str(water.litres)), 1)} L that are in this water. "
            "If it was changed in steps, log each; if it is so, say --really."
        )
    add_fact(
        act,
        "change",
        system=task["system"],
        tank=task["tank"],
        at=moment,
        data={"out_litres": out, "in_litres": in_},
        id_=id_after(act, task["system"], moment),
    )


def _settle(
    act: Act,
    task: Row,
    moment: datetime,
    drained: Drained,
    contact: str,
    elapsed: Decimal,
    note: str | None,
    title: str,
) -> None:
    fact = add_fact(
        act,
        "done",
        system=task["system"],
        tank=task["tank"],
        batch=task["batch"],
        task=task["id"],
        at=moment,
        data={
            "key": task["key"],
            "contact": contact,
            "elapsed_seconds": elapsed,
            **({"fish_out": True} if drained.out_litres is None else {}),
            **({"note": note} if note else {}),
        },
        id_=id_after(act, task["system"], moment),
    )
    values = {"state": "done", "outcome_at": moment, "outcome_by": act.keeper, "outcome": {"fact": fact}}
    if not act.change_if("task", task["id"], OPEN, title=title, **values):
        raise Refused(f"{task['code']} ({task['title']}) was ended by somebody else just now; see: quarantine today.")


def after_change(act: Act, system: str, moment: datetime) -> list[str]:
    """What a water change at an instant did to the baths of its water: it ends the contact of each (rule C5)."""
    said = []
    there = baths_of(act, system, act.now)
    for bath in there.baths:
        if bath.drained_at is None or moment < bath.last.at or (bath.over is not None and bath.over.at < moment):
            continue
        flush = flush_now(bath, there.water)
        contact, elapsed = contact_word(bath, bath.drained_at), time_words(bath.drained_at - bath.last.at)
        said.append(
            f"A change inside a timed bath ends it (rule C5): {bath.substance}, contact {elapsed}, {contact}"
            f"{_less(bath) if contact == 'partly' else ''}."
        )
        over = bath.over is not None
        rescue = overrun_words(bath, bath.drained_at, flush, over=over)
        if rescue := rescue or overstay_words(bath, moment, flush, over=over):
            said.append(rescue)
        still = "" if bath.over is not None else f". Still: {flush_words(flush)}"
        said.append(f"{level_words(bath)}{still}.")
    return said


def is_end(task: Row) -> bool:
    """Whether a task is the end of a bath or of a dip."""
    return bool(task["step"] == END)
