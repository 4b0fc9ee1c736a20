"""Batches that were ordered: expected with their readiness tasks, re-dated when they are late, arrived, called off."""

from __future__ import annotations

import json
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from quarantine.actions.admitting import Fish, ask_about_medicine, read_fish, second_source
from quarantine.actions.arriving import Bag
from quarantine.actions.batches import (
    acknowledged,
    ask_about_arrival,
    ask_beside,
    check_tanks,
    check_water,
    count_of,
    fish_json,
    freeze,
    made_preview,
    record_arrival,
    stock_lines,
)
from quarantine.actions.clashing import PASS_START, expected_clashes, passed_clashes, passed_words
from quarantine.actions.desk import Desk, find_batch, find_tank, free_name, local_text, when
from quarantine.actions.entering import add_fact
from quarantine.actions.planning import replan, store_tasks
from quarantine.actions.readying import away_in_first_week, expectation_of, ready
from quarantine.actions.systems import frozen
from quarantine.facts import local_day, utc
from quarantine.failures import Refused, Usage
from quarantine.protocol import Protocol, load
from quarantine.quantity import ceil_to, show
from quarantine.readiness import READY, SPARE_PERCENT, midnight
from quarantine.records.codec import instant
from quarantine.records.loading import system_water
from quarantine.records.reads import Row, Rows
from quarantine.records.store import Act, new_id

FAR_DAYS, WIDE_DAYS = 180, 60
"""An expected day further ahead, and a wider range of days, are asked about once; our choice, no source."""


class NotReady(Refused):
    """An arrival with open readiness items: one sentence, and each item on its line."""

    kind = "not ready"

    def __init__(self, name: str, items: list[str]) -> None:
        super().__init__(
            f"Batch {name} cannot start yet: open of what must stand ready: {len(items)}. Tick what is done "
            "(quarantine done CODE), or start it with --open-items REASON: the items are then skipped with your name "
            "and reason, which the sign-off shows.",
            items=items,
        )
        self.lines = tuple(f"  {item}" for item in items)


def expect(
    desk: Desk,
    name: str,
    *,
    first: str,
    last: str | None = None,
    tank: str | None = None,
    protocol: str | None = None,
    fish: list[str] | None = None,
    source: str | None = None,
    to_tank: str | None = None,
    because: str | None = None,
    yes: bool = False,
) -> dict[str, Any]:
    """Fish are ordered: a batch that is expected, with its readiness tasks. Said again for the same name it gets new
    days, and whatever else is said; the keys of its tasks stay.

    ``first`` and ``last`` are days (YYYY-MM-DD) at the site. Raises Refused for days that have passed, and until
    ``yes`` for days far ahead (:data:`FAR_DAYS`) or far apart (:data:`WIDE_DAYS`), and without a reason (``because``)
    for days from which not all that follows can be done (absences, closures).
    """
    with desk.act() as act:
        known = next((b for b in act.rows("batches") if b["name"].casefold() == name.strip().casefold()), None)
        if known is not None:
            _refuse_unexpected(act, known)
            if tank is not None and find_tank(act, tank)["id"] != known["tank"]:
                raise Refused(
                    f"Batch {known['name']} is expected in {known['tank_name']}, which was made ready for it; for "
                    f"another tank call it off (quarantine batch call-off {known['name']} --because REASON) and expect "
                    "it anew."
                )
        if known is None:
            _refuse_missing(tank=tank, protocol=protocol, fish=fish, source=source, to_tank=to_tank)
        quarantine = _tank(act, known, tank, "tank")
        destination = _tank(act, known, to_tank, "destination")
        template = _template(act, known, protocol)
        lines = _fish(known, fish)
        said = (known["source"] if known and source is None else source or "").strip()
        if not said:
            raise Usage("Where will the fish come from? Say --source.")
        days = _days(first, last, quarantine["zone"], act.now, yes)
        check_tanks(quarantine, destination, template)
        freeze(act, template)
        if because is None and known is not None and days == _said_days(known):
            because = _said(known).get("because")  # said again for the same days: the reason stands
        passed = expected_clashes(act, quarantine, template, days, act.now, because)
        batch = _write(act, desk, known, name, quarantine, destination, template, lines, said, days, passed)
        replan(act, quarantine["system"])
        word = "expected" if known is None else "expected anew"
        act.describe(f"batch {word}", f"batch {batch['name']}: {count_of(lines)} fish, {days_text(*days)}")
        made = _document(act, batch["id"], "" if known is None else _before(known))
        away = away_in_first_week(act, expectation_of(_stored(act, batch["id"])), act.now)
        return {**made, "away": [f"{span.who} {span.days}" for span in away], "passed": passed_words(passed)}


def _refuse_unexpected(act: Act, batch: Row) -> None:
    """Only a batch that is expected can be re-dated, arrive or be called off."""
    if batch["state"] == "expected":
        return
    if batch["state"] == "called off":
        raise Refused(f"Batch {batch['name']} was called off; expect it anew under another name.")
    came = local_text(instant(batch["arrived_at"]), batch["zone"])
    raise Refused(f"Batch {batch['name']} arrived {came}; it is not expected any more.")


ASKED = {
    "tank": "--tank TANK",
    "protocol": "--protocol ID (quarantine protocol list)",
    "fish": '--fish "COUNT SPECIES"',
    "source": "--source WHERE",
    "to_tank": "--to TANK",
}
"""What a batch that nothing is known of yet needs, and how it is said."""


def _refuse_missing(**said: Any) -> None:
    """All that is missing at once. Raises Usage."""
    missing = [how for name, how in ASKED.items() if not said[name]]
    if missing:
        raise Usage(f"Nothing is known of this batch yet: say also {', '.join(missing)}.")


def _tank(act: Act, known: Row | None, name: str | None, column: str) -> Row:
    if name is not None:
        return find_tank(act, name)
    assert known is not None  # of a batch that is new all was said
    return next(row for row in act.rows("tanks") if row["id"] == known[column])


def _template(rows: Rows, known: Row | None, protocol: str | None) -> Protocol:
    if protocol is not None:
        return load(protocol)
    assert known is not None
    return frozen(rows, known["copy_id"])


def _fish(known: Row | None, fish: list[str] | None) -> list[Fish]:
    if fish:
        return [read_fish(text) for text in fish]
    assert known is not None
    return [Fish(line["count"], line["species"], line["note"]) for line in json.loads(known["fish"])]


def _days(first: str, last: str | None, zone: str, now: datetime, yes: bool) -> tuple[date, date]:
    begins = _day(first, "--from")
    ends = begins if last is None else _day(last, "--until")
    today = local_day(now, zone)
    if ends < begins:
        raise Usage(f"--until {ends} lies before --from {begins}.")
    if ends < today:
        raise Refused(
            f"--from {begins} has passed (today is {today}): say a day to come; if the fish are there, quarantine "
            "batch arrived NAME."
        )
    far, wide = (begins - today).days, (ends - begins).days
    if not yes and far > FAR_DAYS:
        raise Refused(f"--from {begins} is {far} days ahead; if that is meant, say --yes.")
    if not yes and wide > WIDE_DAYS:
        raise Refused(f"--from {begins} --until {ends} is {wide} days wide; if that is meant, say --yes.")
    return begins, ends


def _day(text: str, option: str) -> date:
    try:
        day = date.fromisoformat(text.strip())
    except ValueError:
        raise Usage(f"{option} {text!r} is not a day; write YYYY-MM-DD.") from None
    if not 2000 <= day.year <= 2999:
        raise Usage(f"{option} {text!r} is too far away; write a day from 2000 to 2999.")
    return day


def _write(
    act: Act,
    desk: Desk,
    known: Row | None,
    name: str,
    quarantine: Row,
    destination: Row,
    template: Protocol,
    lines: list[Fish],
    source: str,
    days: tuple[date, date],
    passed: dict[str, Any],
) -> Row:
    today = local_day(act.now, quarantine["zone"])
    expected = {
        "first": days[0].isoformat(),
        "last": days[1].isoformat(),
        "said_on": today.isoformat(),
        "entered_on": _said(known)["entered_on"] if known else today.isoformat(),
        "stock": stock_text(act, desk, template, quarantine, days[0]),
        "spare": spare_text(act, quarantine, act.now),
        **({"because": passed["clashes"]["because"]} if passed else {}),
    }
    values = {
        "tank": quarantine["id"],
        "system": quarantine["system"],
        "copy_id": template.fingerprint,
        "arrived_at": midnight(days[0], quarantine["zone"]),
        "source": source,
        "destination": destination["id"],
        "fish": fish_json(lines),
        "standing": {"expected": expected},
    }
    if known is not None:
        act.change("batch", known["id"], **values)
        return {**known, **values}
    made = {"id": new_id(), "name": free_name(act.rows("batches"), "batch", name), "state": "expected", **values}
    act.add("batch", {**made, "closed_at": None})
    return made


def _said(batch: Row) -> dict[str, str]:
    said: dict[str, str] = json.loads(batch["standing"])["expected"]
    return said


def _said_days(known: Row) -> tuple[date, date]:
    said = _said(known)
    return date.fromisoformat(said["first"]), date.fromisoformat(said["last"])


def _before(known: Row) -> str:
    return days_text(*_said_days(known))


def days_text(first: date, last: date) -> str:
    """The days on which fish may come, in words."""
    return f"{first}" if first == last else f"{first} to {last}"


def stock_text(rows: Rows, desk: Desk, template: Protocol, tank: Row, day: date) -> str:
    """What the protocol's planned doses need in all, for the water as it is now; else what every stay needs."""
    from quarantine.actions.previewing import doses_of, total_words, totals_of

    at = midnight(day, tank["zone"])
    preview = made_preview(rows, template, tank, at, at)
    doses = doses_of(preview, rows, desk.home, utc(desk.now))
    totals = [f"{total_words(t)} in all" for t in totals_of(doses)]
    computed = {t["substance"] for t in totals_of(doses)}
    unknown = sorted({d["substance"] for d in doses.values()} - computed)
    parts = [*totals, *(f"{name}, its amount not known yet" for name in unknown)]
    return ", ".join([*parts, "conditioner, kits in date"])


def spare_text(rows: Rows, tank: Row, now: datetime) -> str:
    """A quarter of the water as it is now, up to the next litre; nothing where the volume is not known."""
    water, _ = system_water(rows, tank["system"], now)
    if water is None:
        return ""
    return f"{show(ceil_to(Decimal(str(water.litres)) * SPARE_PERCENT / 100, Decimal(1)))} L"


def _stored(act: Act, batch_id: str) -> Row:
    return next(b for b in act.rows("batches") if b["id"] == batch_id)


def _document(act: Act, batch_id: str, was: str) -> dict[str, Any]:
    batch = _stored(act, batch_id)
    said = _said(batch)
    tasks = [t for t in act.rows("tasks_of_batch", batch=batch_id) if t["step"].startswith(READY)]
    tasks.sort(key=lambda t: (t["day"], t["title"]))
    return {
        "batch": batch["name"],
        "tank": batch["tank_name"],
        "protocol": batch["protocol"],
        "revision": batch["revision"],
        "expected_from": said["first"],
        "expected_until": said["last"],
        "was": was,
        "tasks": [
            {"code": t["code"], "day": t["day"], "title": t["title"], "state": t["state"], "who": who_of(t)}
            for t in tasks
            if t["state"] != "withdrawn"
        ],
    }


def who_of(task: Row) -> str:
    """Whose work a stored task is: anyone, keeper or adult."""
    return str(json.loads(task["detail"])["who"])


def arrived(
    desk: Desk,
    name: str,
    *,
    at: str | None = None,
    tank: str | None = None,
    protocol: str | None = None,
    fish: list[str] | None = None,
    source: str | None = None,
    to_tank: str | None = None,
    dead_on_arrival: int = 0,
    bag: Bag = Bag({}),  # noqa: B008 (a constant)
    open_items: str | None = None,
    acknowledge: bool = False,
    because: str | None = None,
    yes: bool = False,
    really: bool = False,
) -> dict[str, Any]:
    """Expected fish came: tank, protocol, fish, source and destination are those of the expectation, unless said.

    Raises NotReady while readiness items are open and no reason (``open_items``) is given for passing them, and
    Clashing where not all that follows can be done on its day and no reason (``because``) was given, here or when they
    were expected.
    """
    if dead_on_arrival < 0:
        raise Usage("--dead-on-arrival is a count, 0 or more.")
    reason = " ".join((open_items or "").split())
    if open_items is not None and not reason:
        raise Usage("Passing what is not ready needs its reason: --open-items REASON.")
    with desk.act() as act:
        known = find_batch(act, name)
        _refuse_unexpected(act, known)
        if dead_on_arrival and not fish:
            raise Refused(
                f"{count_of(_fish(known, None))} fish were ordered and {dead_on_arrival} came dead: how many came "
                'alive? Say --fish "COUNT SPECIES".'
            )
        if known is None:
            _refuse_missing(tank=tank, protocol=protocol, fish=fish, source=source, to_tank=to_tank)
        quarantine = _tank(act, known, tank, "tank")
        destination = _tank(act, known, to_tank, "destination")
        template = _template(act, known, protocol)
        lines = _fish(known, fish)
        moment = when(at, quarantine["zone"], act.now, what="--arrived")
        _ask_day(known, moment, yes)
        ask_about_arrival(act, moment, quarantine["zone"], really=really)
        check_tanks(quarantine, destination, template)
        freeze(act, template)
        acknowledged(act, template, acknowledge)
        told = ask_about_medicine(act, quarantine, moment, really=really)
        before = check_water(act, quarantine, template, yes)
        kept = because if because is not None else _said(known).get("because")
        clashing = passed_clashes(act, quarantine, template, moment, act.now, kept, PASS_START)
        passed = _pass_items(act, known, quarantine, moment, reason)
        values = {
            "tank": quarantine["id"],
            "system": quarantine["system"],
            "copy_id": template.fingerprint,
            "arrived_at": moment,
            "source": (source or known["source"]).strip(),
            "destination": destination["id"],
            "fish": fish_json(lines),
            "state": "open",
            "standing": {},
        }
        act.change("batch", known["id"], **values)
        batch = {"id": known["id"], "name": known["name"], **values}
        act.describe("batch arrived", f"batch {known['name']}: {count_of(lines)} fish in {quarantine['name']}", moment)
        more = {**({"open_items": {"because": reason, "items": passed}} if passed else {}), **clashing}
        made = record_arrival(act, batch, quarantine, template, bag, dead_on_arrival, more, yes=yes)
        moved, unmoved = ask_beside(act, quarantine, before, yes=yes)
        told += [*unmoved, *second_source(act, quarantine, known["name"], values["source"], moment)]
        more_lines = [*told, *made["lines"], *passed_words(clashing), *stock_lines(act, desk, template, batch)]
        return {**made, "expected": _before(known), "open_items": passed, "moved": moved, "lines": more_lines}


def _ask_day(known: Row, moment: datetime, yes: bool) -> None:
    """Fish that came before they were ordered are most often a slip of the date."""
    entered = date.fromisoformat(_said(known)["entered_on"])
    came = local_day(moment, known["zone"])
    if came < entered and not yes:
        raise Refused(
            f"--arrived {local_text(moment, known['zone'])} lies before batch {known['name']} was entered as expected "
            f"({entered}); if it is so, say --yes."
        )


def _pass_items(act: Act, known: Row, quarantine: Row, moment: datetime, reason: str) -> list[str]:
    """The readiness items that are open as the fish come, skipped with the reason; their titles.

    A proof that was too old by then counts as open; in another tank than the one that was made ready all are.
    """
    day = local_day(moment, known["zone"])
    expected = expectation_of(known)._replace(first=day, last=day)
    now_ready = ready(act, known, expected, act.now)
    store_tasks(act, *now_ready)
    rows = [t for t in act.rows("tasks_of_batch", batch=known["id"]) if t["step"].startswith(READY)]
    open_ = [t for t in rows if t["state"] in ("planned", "missed")]
    named = {t["id"]: t["title"] for t in open_}
    if quarantine["id"] != known["tank"]:
        named |= {t["id"]: f"{t['title']} (was for {known['tank_name']})" for t in rows if t["state"] == "done"}
    if named and not reason:
        codes = {t["id"]: f"{t['code']} {named[t['id']]}{_owed(t)}" for t in rows if t["id"] in named}
        raise NotReady(known["name"], list(codes.values()))
    for task in open_:
        data = {"key": task["key"], "task_kind": task["kind"], "because": reason}
        fact = add_fact(
            act,
            "skip",
            system=task["system"],
            tank=task["tank"],
            batch=task["batch"],
            task=task["id"],
            at=act.now,
            data=data,
        )
        outcome = {"fact": fact, "because": reason}
        act.change("task", task["id"], state="skipped", outcome_at=act.now, outcome_by=act.keeper, outcome=outcome)
    return list(named.values())


def _owed(task: Row) -> str:
    """For a test: what its readings lack, from the reason it is kept with."""
    says = task["reason"].split("; ", 1)[1:] if task["kind"] == "test" else []
    return f": {says[0]}" if says else ""


def call_off(desk: Desk, name: str, because: str) -> dict[str, Any]:
    """The fish will not come: the expectation ends with its reason, its open tasks are withdrawn."""
    reason = " ".join(because.split())
    if not reason:
        raise Usage("Why will they not come? Say --because REASON.")
    with desk.act() as act:
        batch = find_batch(act, name)
        _refuse_unexpected(act, batch)
        standing = json.loads(batch["standing"]) | {"called_off": reason}
        act.change("batch", batch["id"], state="called off", closed_at=act.now, standing=standing)
        open_ = [t for t in act.rows("tasks_of_batch", batch=batch["id"]) if t["state"] in ("planned", "missed")]
        for task in open_:
            act.change("task", task["id"], state="withdrawn")
        act.describe("batch called off", f"batch {batch['name']}: {reason}")
        return {"batch": batch["name"], "because": reason, "withdrawn": len(open_), "tank": batch["tank_name"]}
