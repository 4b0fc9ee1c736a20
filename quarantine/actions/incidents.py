"""Incidents (F70): a power cut, a heater, a leak, an overdose; from when to when, in which tanks, and what is to check.

One fact for each water that it touches, all with the same tanks, written in one transaction. The checks are tasks of
:mod:`quarantine.followups`; for the protocols an incident is a disturbance.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any, NamedTuple

from quarantine.actions.consequences import ask_about_moved, consequences, earliest_days
from quarantine.actions.desk import Desk, find_tank, local_text, when
from quarantine.actions.entering import add_fact, id_after
from quarantine.actions.planning import replan
from quarantine.evidence import COOLS, INCIDENT_WORDS
from quarantine.facts import Fact
from quarantine.failures import Refused, Usage
from quarantine.followups import FOLLOWUP, INCIDENTS
from quarantine.records.codec import text_of_instant
from quarantine.records.loading import fact_of
from quarantine.records.reads import Row
from quarantine.records.store import Act


class Noted(NamedTuple):
    """What a command shows: its lines, and its document."""

    lines: list[str]
    document: dict[str, Any]


def incident(
    desk: Desk,
    tank_name: str,
    what: str,
    *,
    since: str | None = None,
    until: str | None = None,
    tanks: str | None = None,
    note: str | None = None,
    yes: bool = False,
) -> Noted:
    """An incident in a tank and, named with commas between, in others; ``until`` None: it is not over yet.

    Raises Refused where it moves dates, with old and new ones, until ``yes`` is said, and where the same one is open
    there already: its checks would be asked twice. Usage for what does not read.
    """
    kind = what.strip().casefold()
    if kind not in INCIDENTS:
        raise Usage(f"--what {what!r} is none of: {', '.join(INCIDENTS)}.")
    said = {} if note is None else {"note": _plain(note)}
    with desk.act() as act:
        here = _tanks(act, tank_name, tanks)
        zone = here[0]["zone"]
        start = when(since, zone, act.now, what="--from")
        data: dict[str, Any] = {"what": kind, "tanks": [tank["name"] for tank in here], **said}
        if until is not None:
            end = when(until, zone, act.now, what="--until")
            if end <= start:
                raise Usage(f"--until ({local_text(end, zone)}) is not after --from ({local_text(start, zone)}).")
            data["until"] = text_of_instant(end)
        if until is None:
            _refuse_open(act, kind, here)
        systems = list(dict.fromkeys(tank["system"] for tank in here))
        before = earliest_days(act, set(systems))
        facts = [_write(act, system, here, start, data) for system in systems]
        made = [replan(act, system) for system in systems]
        moved = consequences(act, before, made)
        ask_about_moved(act, moved, yes=yes)
        names = ", ".join(data["tanks"])
        span = f"from {local_text(start, zone)}"
        span += f" until {local_text(end, zone)}" if until is not None else ", not over yet"
        act.describe("incident", f"{names}: {INCIDENT_WORDS[kind]}, {span}", start)
        checks = _checks(act, systems, facts)
        return Noted(
            [
                f"{names}: {INCIDENT_WORDS[kind]}, {span}: recorded",
                *(moved or [_unmoved(act, here)]),
                *([COOLED] if kind in COOLS else []),
                *_lines(checks),
                *([f"When it is over: quarantine event incident-over {_quoted(here[0])}"] if until is None else []),
                CARD.format(tank=_quoted(here[0])),
            ],
            {"incident": facts, "at": start, "tanks": data["tanks"], "data": data, "moved": moved, "checks": checks},
        )


COOLED = (
    "Whether the temperature is in range is not known until it is read again (rule A10): doses that ask for it wait."
)
CARD = "What to do meanwhile, with this tank's litres: quarantine card emergency --tank {tank}"


def incident_over(desk: Desk, tank_name: str, *, at: str | None = None) -> Noted:
    """The open incident of a tank is over, in all its tanks; of several the one that began last.

    Raises Refused where none is open, Usage for an end before its beginning.
    """
    with desk.act() as act:
        tank = find_tank(act, tank_name)
        moment = when(at, tank["zone"], act.now)
        found = _open_in(act, tank)
        if not found:
            raise Refused(f"No incident is open in {tank['name']}; nothing was recorded.")
        last = found[-1]
        if moment < last.at:
            raise Usage(
                f"It began {local_text(last.at, tank['zone'])}; --at ({local_text(moment, tank['zone'])}) is before."
            )
        parts = [f for f in _open(act) if f.at == last.at and f.data["tanks"] == last.data["tanks"]]
        for part in parts:
            add_fact(
                act,
                "incident_over",
                system=part.system,
                tank=part.tank,
                at=moment,
                data={"of": part.id},
                id_=id_after(act, part.system, moment),
            )
            replan(act, part.system)
        names, words = ", ".join(last.data["tanks"]), INCIDENT_WORDS[last.data["what"]]
        said = f"{names}: {words}, over {local_text(moment, tank['zone'])}"
        act.describe("incident over", said, moment)
        ids = [part.id for part in parts]
        checks = _checks(act, [part.system for part in parts], ids)
        document = {"incident": ids, "at": moment, "tanks": last.data["tanks"], "checks": checks}
        return Noted([f"{said}: recorded", *_lines(checks)], document)


def _plain(note: str) -> str:
    from quarantine.actions.measured import plain_words

    return plain_words(note, "--note", 200)


def _tanks(act: Act, name: str, more: str | None) -> list[Row]:
    """The tanks of an incident, each once. Raises Unknown for a name that is not on record."""
    named = [find_tank(act, part) for part in (name, *(more or "").split(",")) if part.strip() or part is name]
    return list({tank["id"]: tank for tank in named}.values())


def _write(act: Act, system: str, tanks: list[Row], at: datetime, data: dict[str, Any]) -> str:
    mine = [tank["id"] for tank in tanks if tank["system"] == system]
    id_ = id_after(act, system, at)
    return add_fact(act, "incident", system=system, tank=mine[0], at=at, data={**data, "tank_ids": mine}, id_=id_)


def _open(act: Act) -> list[Fact]:
    """The incidents that are not over, by when they began."""
    facts = [fact_of(row) for row in act.rows("incidents")]
    over = {f.data["of"] for f in facts if f.kind == "incident_over"}
    open_ = [f for f in facts if f.kind == "incident" and f.id not in over and "until" not in f.data]
    return sorted(open_, key=lambda f: (f.at, f.entered_at, f.id))


def _open_in(act: Act, tank: Row) -> list[Fact]:
    return [fact for fact in _open(act) if tank["id"] in fact.data["tank_ids"]]


def _refuse_open(act: Act, kind: str, tanks: list[Row]) -> None:
    """An incident that is not over is recorded once. Raises Refused with when it began and what to say instead."""
    for tank in tanks:
        same = [fact for fact in _open_in(act, tank) if fact.data["what"] == kind]
        if same:
            raise Refused(
                f"{INCIDENT_WORDS[kind].capitalize()} in {tank['name']} since {local_text(same[-1].at, tank['zone'])} "
                "is on record and not over yet; nothing was recorded. Is it over: quarantine event incident-over "
                f"{_quoted(tank)}. Was its beginning or its tanks wrong: quarantine undo REASON, then log it again."
            )


def _unmoved(act: Act, tanks: list[Row]) -> str:
    """That no date moves; where no batch is there, that nobody is given a task either."""
    here = {tank["id"] for tank in tanks}
    if any(batch["tank"] in here for batch in act.rows("open_batches")):
        return "For the protocol it is a disturbance: no sign-off date moves."
    return "No batch is in quarantine there: nothing is planned, so look and read by yourself, and log it."


def _checks(act: Act, systems: list[str], facts: list[str]) -> list[dict[str, Any]]:
    """The tasks that these incidents ask for, in the order of their times."""
    found = []
    tanks = {tank["id"]: tank for tank in act.rows("tanks")}
    for system in dict.fromkeys(systems):
        # What is to do at a tank that its fish have left is open there, and no task of a batch in this water.
        rows = (*act.rows("tasks_of_system", system=system), *act.rows("open_tasks_of_system", system=system))
        for row in {row["id"]: row for row in rows if row["system"] == system}.values():
            if row["step"].startswith(FOLLOWUP) and row["key"].split(":")[2] in facts and row["state"] != "withdrawn":
                found.append((row["due_from"] or "~", row["title"], row))
    return [
        {
            "code": row["code"],
            "tank": tanks[row["tank"]]["name"],
            "title": row["title"],
            "day": row["day"],
            "state": row["state"],
            "needs": row["needs"],
        }
        for _, _, row in sorted(found, key=lambda one: one[:2])
    ]


def _lines(checks: list[dict[str, Any]]) -> list[str]:
    open_ = [c for c in checks if c["state"] in ("planned", "missed")]
    later = "; ".join(dict.fromkeys(c["title"] for c in open_ if not c["day"]))
    dated = [f"  {c['code']} {c['tank']}: {c['title']}, {c['day']}" for c in open_ if c["day"]]
    return [*dated, *([f"  Once it is over: {later}"] if later else [])]


def _quoted(tank: Row) -> str:
    import shlex

    return shlex.quote(str(tank["name"]))
