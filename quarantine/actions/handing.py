"""The note for whoever comes next (need F60): how each tank stands, open, odd, to watch, stock low, who is away. Reads
only.

Everything that is open now is in it, whatever its age: what is on today's list, what was missed and has no reason yet,
and what waits for something. A note is never the record: the list is looked at before every dose.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from quarantine import evidence as ev
from quarantine.actions.admitting import still_in
from quarantine.actions.desk import local_text
from quarantine.actions.duties import people_of
from quarantine.actions.measured import limits_of, past_of
from quarantine.actions.rostering import days_text
from quarantine.actions.today import Day, Listed, list_day
from quarantine.bathing import END
from quarantine.facts import in_order, local_day
from quarantine.failures import Refused, Unknown
from quarantine.luggage import COPIED, MOVED_IN
from quarantine.readings import COMPUTED, PARAMETERS
from quarantine.records.codec import instant, text_of_instant
from quarantine.records.loading import fact_of
from quarantine.records.reads import Row, Rows
from quarantine.roster import WITHOUT_MEDICINE, Person, Roster, closed_on
from quarantine.settings import Home
from quarantine.water import advice

AHEAD_HOURS = 24
"""So far ahead a note says what must be done: one day's shifts; our choice, no source."""
AHEAD_DAYS = 7
"""So far ahead it says who is away; as far as the stock is looked at (our choice, no source)."""
READ_HOURS = 72
"""A reading older than this is no news for a shift: the age that sign-off allows; our choice, no source."""

NOTED = ("look", "dose", "done")
"""Kinds of facts beside which a keeper may write what the next one should know."""

OF_UIA = ("tan", "ph", "temperature")
"""What un-ionized ammonia is computed from."""


class Handover(NamedTuple):
    """One note. ``tanks`` is who is in each, how they stand and what medicine is in their water; ``tasks`` all that is
    open now. Both are in the order of the list (rules D)."""

    as_of: str
    on: date
    site: str
    to: str
    tanks: tuple[str, ...]
    tasks: tuple[Listed, ...]
    odd: tuple[str, ...]
    watch: tuple[str, ...]
    stock: tuple[str, ...]
    away: tuple[str, ...]


def read_handover(rows: Rows, home: Home, now: datetime, *, site: str | None = None, to: str | None = None) -> Handover:
    """The note for one site, or for all. Raises Unknown for a site or a keeper that is not on record, and Refused for
    one who handles no medicine: theirs is the sitter's sheet."""
    place = _named(rows.rows("sites"), "site", site) if site is not None else None
    person = _receiver(rows, to) if to is not None else None
    tanks = [t for t in rows.rows("tanks") if place is None or t["site"] == place["id"]]
    zone = str(place["zone"] if place else tanks[0]["zone"] if tanks else "UTC")
    day = _of_tanks(list_day(rows, home, now), {t["id"] for t in tanks})
    today = local_day(now, zone)
    return Handover(
        as_of=f"{now.astimezone(ZoneInfo(zone)):%Y-%m-%d %H:%M}, {zone}",
        on=today,
        site="" if place is None else str(place["name"]),
        to="" if person is None else person.name,
        tanks=tuple(_tanks(rows, day, {t["id"]: t for t in tanks}, now)),
        tasks=tuple(day.tasks),
        odd=(
            *_alerts(day),
            *_signs(rows, day),
            *_held(day),
            *_past(rows, tanks, now),
            *_over(rows, tanks, now),
            *_of_fish(rows, tanks, now),
            *_noted(rows, tanks, now),
            *_counted_otherwise(rows, tanks, now),
            *_missed(day),
        ),
        watch=tuple(_watch(rows, {t["id"] for t in tanks}, now)),
        stock=tuple(_stock(rows, home, now)),
        away=(*_away(rows, today, person), *_shut(rows, tanks, today)),
    )


def _receiver(rows: Rows, name: str) -> Person:
    people = people_of(rows)
    found = next((p for p in people if p.name.casefold() == name.strip().casefold()), None)
    if found is None:
        raise Unknown("keeper", name, [p.name for p in people], " (add one: quarantine keeper add NAME)")
    if found.role in WITHOUT_MEDICINE:
        raise Refused(
            f"{found.name} is on record as a {found.role}, and this note names medicine (rule C19): print the sitter's "
            "sheet instead: quarantine sheet --sitter."
        )
    return found


def _named(found: list[Row], what: str, name: str) -> Row:
    """The row of that name; the desk's finder would load the ORM. Raises Unknown."""
    row = next((r for r in found if r["name"].casefold() == name.strip().casefold()), None)
    if row is None:
        raise Unknown(what, name, sorted(r["name"] for r in found), " (add one: quarantine site add NAME --zone ZONE)")
    return row


def _of_tanks(day: Day, tanks: set[str]) -> Day:
    return day._replace(
        tanks=[line for line in day.tanks if line["tank_id"] in tanks],
        tasks=[item for item in day.tasks if item.row["tank"] in tanks],
    )


def _tanks(rows: Rows, day: Day, tanks: dict[str, Row], now: datetime) -> Iterator[str]:
    """Each tank: its batches with the fish alive on record, how they stand, and what medicine its water may hold."""
    alive = {b["name"]: json.loads(b["standing"])["alive"] for b in rows.rows("open_batches")}
    for line in day.tanks:
        tank = tanks[line["tank_id"]]
        held = ", ".join(f"{name} {alive[name]} alive" for name in line["batches"])
        says = line["line"].removeprefix(f"{line['tank']}, ")
        medicine = [
            f"in the water {one.up_to} of {one.substance.name}, last in {_local(one.last, tank)}"
            for one in still_in(rows, tank["system"], now)
        ]
        yield "; ".join([f"{line['tank']}{f' ({held})' if held else ''}: {says}", *medicine])


def _local(at: datetime, tank: Row) -> str:
    return local_text(at, tank["zone"])


def _alerts(day: Day) -> list[str]:
    return [f"{line['tank']}: {alert}" for line in day.tanks for alert in line["alerts"]]


def _signs(rows: Rows, day: Day) -> Iterator[str]:
    """The signs that are open, by batch."""
    here = {line["tank_id"] for line in day.tanks}
    for batch in rows.rows("open_batches"):
        signs = json.loads(batch["standing"])["signs"]
        if batch["tank"] in here and signs:
            said = ", ".join(f"{sign['name']} ({sign['severity']})" for sign in signs)
            yield f"{batch['tank_name']}: {batch['name']} shows {said}; not yet said to be gone"


def _held(day: Day) -> Iterator[str]:
    for item in day.tasks:
        hold = item.proposal.hold if item.proposal else None
        if hold is not None:
            row = item.row
            yield f"{row['tank_name']}: {row['code']} {row['title']} is held ({hold.rule}): {hold.says}. {hold.remedy}."


def _past(rows: Rows, tanks: list[Row], now: datetime) -> Iterator[str]:
    """The last reading of each parameter that is past a limit of its water, with when it was read."""
    waters: dict[str, list[Row]] = {}
    for tank in tanks:
        waters.setdefault(tank["system"], []).append(tank)
    for system, sharing in waters.items():
        past = past_of(rows, system, now, days=READ_HOURS // 24)
        if not past.readings:
            continue
        tank = sharing[0]
        known = {name: ev.value_at(past.readings, past.altered, now, name, READ_HOURS) for name in PARAMETERS}
        values = {
            name: advice.Value(span.low, span.high, span.least, span.most)
            for name, span in known.items()
            if span is not None
        }
        situation = advice.Situation(water=tank["water"], values=values, limits=limits_of(rows, tank, now))
        for name in values:
            found = advice.past(situation, name)
            if found is not None:
                of = OF_UIA if name in COMPUTED else (name,)
                at = max(f.at for f in past.readings if f.data["parameter"] in of)
                when = f"{at.astimezone(ZoneInfo(tank['zone'])):%Y-%m-%d %H:%M}"
                yield f"{', '.join(t['name'] for t in sharing)}: {found[1]} Read {when}."


def _over(rows: Rows, tanks: list[Row], now: datetime) -> Iterator[str]:
    """Incidents of the last day that are over; those that are not head the list of their tank."""
    facts = [fact_of(row) for row in rows.rows("incidents")]
    ended = {f.data["of"]: f.at for f in facts if f.kind == "incident_over"}
    zones = {t["id"]: ZoneInfo(t["zone"]) for t in tanks}
    for fact in sorted(facts, key=lambda f: (f.at, f.id)):
        if fact.kind != "incident" or fact.tank not in zones:
            continue
        until = instant(fact.data["until"]) if fact.data.get("until") else ended.get(fact.id)
        if until is None or not now - timedelta(hours=AHEAD_HOURS) <= until <= now:
            continue
        zone = zones[fact.tank]
        yield (
            f"{', '.join(fact.data['tanks'])}: incident, over: {ev.INCIDENT_WORDS[fact.data['what']]}, from "
            f"{fact.at.astimezone(zone):%Y-%m-%d %H:%M} until {until.astimezone(zone):%Y-%m-%d %H:%M}"
        )


_SAID = {
    "added": "{count} fish added to {batch}",
    "died": "{count} fish of {batch} {died}",
    "missing": "{count} fish of {batch} missing ({because})",
    MOVED_IN: "{batch} was moved here from {from}",
}
"""What happened to fish, by the kind of its fact."""


def _of_fish(rows: Rows, tanks: list[Row], now: datetime) -> Iterator[str]:
    """Fish that came in, died, are missing or were moved within the last day."""
    here, names = {t["id"]: t for t in tanks}, {b["id"]: b["name"] for b in rows.rows("batches")}
    found = [fact_of(row) for kind in _SAID for row in rows.rows("facts_of_kind", kind=kind, system=None)]
    for fact in in_order(found):
        tank = here.get(fact.tank or "")
        if tank is None or not now - timedelta(hours=AHEAD_HOURS) <= fact.at <= now or COPIED in fact.data:
            continue
        died = "euthanised" if fact.data.get("euthanised") else "died"
        batch = names.get(fact.batch or "", "the tank")
        said = _SAID[fact.kind].format(**{**fact.data, "batch": batch, "died": died})
        yield f"{tank['name']}: {said}, {_local(fact.at, tank)}"


def _noted(rows: Rows, tanks: list[Row], now: datetime) -> Iterator[str]:
    """What keepers wrote beside their looks and their work within the last day, each note once: under the tank that its
    fish are in now."""
    here, who = {t["id"]: t for t in tanks}, {row["id"]: row["name"] for row in rows.rows("keepers")}
    in_now = {b["id"]: b["tank"] for b in rows.rows("open_batches")}
    since = now - timedelta(hours=AHEAD_HOURS)
    told = []
    for system in dict.fromkeys(t["system"] for t in tanks):
        found = [fact_of(row) for row in rows.rows("facts_since", system=system, since=text_of_instant(since))]
        for fact in in_order(found):
            tank = here.get(in_now.get(fact.batch or "", fact.tank or ""))
            if fact.kind in NOTED and fact.data.get("note") and tank is not None and since <= fact.at <= now:
                by = who.get(fact.keeper) or "a keeper"
                told.append(f"{tank['name']}: note of {by}, {_local(fact.at, tank)}: {fact.data['note']}")
    yield from dict.fromkeys(told)


def _counted_otherwise(rows: Rows, tanks: list[Row], now: datetime) -> Iterator[str]:
    """Batches of which the last count, no older than a reading may be, was not what the record had alive then."""
    here = {t["id"]: t for t in tanks}
    since = text_of_instant(now - timedelta(hours=READ_HOURS))
    for batch in rows.rows("open_batches"):
        if batch["tank"] not in here:
            continue
        facts = [fact_of(row) for row in rows.rows("facts_since", system=batch["system"], since=since)]
        mine = in_order([f for f in facts if f.batch == batch["id"] and f.at <= now])
        last = next((f for f in reversed(mine) if f.kind == "look" and f.data.get("seen") is not None), None)
        if last is None:
            continue
        alive = int(json.loads(batch["standing"])["alive"])
        for fact in mine[mine.index(last) + 1 :]:
            if fact.kind in ev.COUNTED:
                alive -= int(fact.data["count"]) * (1 if fact.kind in ev.CAME else -1)
        if last.data["seen"] != alive:
            at = f"{last.at.astimezone(ZoneInfo(batch['zone'])):%Y-%m-%d %H:%M}"
            seen = f"{last.data['seen']} of {batch['name']} were seen {at}"
            yield f"{batch['tank_name']}: {seen}, {alive} were alive on record"


def _missed(day: Day) -> Iterator[str]:
    """Moves and doses that were missed, and have no reason yet."""
    for item in day.tasks:
        row = item.row
        if item.section == "missed" and row["kind"] in ("dose", "move"):
            yield f"{row['tank_name']}: {row['code']} {row['title']} of {row['day']} was missed"


def _watch(rows: Rows, tanks: set[str], now: datetime) -> Iterator[str]:
    """What must be done within a day: doses, the ends of baths and dips, moves, and whatever is soon too late."""
    ahead = now + timedelta(hours=AHEAD_HOURS)
    for row in rows.rows("open_tasks", until=text_of_instant(ahead), tank=None):
        if row["tank"] not in tanks or row["day"] is None or row["state"] != "planned" or not _has_deadline(row):
            continue
        ends = instant(row["lapses_at"] or row["due_until"])
        if ends < now:
            continue  # it is open, and says there since when
        zone, starts = ZoneInfo(row["zone"]), instant(row["due_from"])
        named = f"{row['tank_name']}: {row['code']} {row['title']}"
        if row["step"] == END:
            yield f"{named}, RUNNING, at the latest {ends.astimezone(zone):%Y-%m-%d %H:%M}"
            continue
        begins = f", from {starts.astimezone(zone):%Y-%m-%d %H:%M}" if starts > now else ""
        word = "too late from" if row["lapses_at"] else "until"
        yield f"{named}{begins}, {word} {ends.astimezone(zone):%Y-%m-%d %H:%M}"


def _has_deadline(row: Row) -> bool:
    """Whether a task hangs on the clock, not only on its day."""
    from quarantine.actions.sheets import moves_fish

    detail = json.loads(row["detail"])
    clock = bool(detail.get("elapsed") or detail.get("ceiling"))
    return row["kind"] in ("dose", "move") or row["step"] == END or clock or moves_fish(row["title"])


def _stock(rows: Rows, home: Home, now: datetime) -> list[str]:
    """What runs out of the products on record, then what else the shopping list says is to be bought in these days;
    where no stock is kept, nothing is known of it."""
    if not rows.rows("lots"):
        return []
    from quarantine.actions.shelf import stock_zone
    from quarantine.actions.shopping import headline, shopping, soon_short, verdict

    lines = soon_short(rows, home, now)
    today = local_day(now, stock_zone(rows))
    for item in shopping(rows, home, now).items:
        said = any(line.startswith(f"STOCK: {item.kept.product} ") for line in lines) if item.kept.product else False
        if item.buy and item.buy_by and item.buy_by <= today + timedelta(days=AHEAD_DAYS) and not said:
            lines.append(f"STOCK: {headline(item)}; {verdict(item, today)}")
    return lines


def _away(rows: Rows, today: date, to: Person | None) -> Iterator[str]:
    """Who is away today or in the days to come; first of all the one for whom the note is."""
    last = (today + timedelta(days=AHEAD_DAYS)).isoformat()
    found = [row for row in rows.rows("absences", since=today.isoformat()) if row["since"] <= last]
    found.sort(key=lambda row: (to is None or row["keeper"] != to.id, row["since"]))
    for row in found:
        why = f" ({row['because']})" if row["because"] else ""
        days = days_text(date.fromisoformat(row["since"]), date.fromisoformat(row["until"]))
        mine = ", to whom this goes," if to is not None and row["keeper"] == to.id else ""
        yield f"{row['keeper_name']}{mine} is away {days}{why}"


def _shut(rows: Rows, tanks: list[Row], today: date) -> Iterator[str]:
    from quarantine.actions.rostering import shut_of

    sites = {tank["site"] for tank in tanks}
    for row in rows.rows("closures", site=None, since=today.isoformat()):
        if row["site"] not in sites:
            continue
        roster = Roster((), (), (shut_of(row),))
        days = [d for d in (today + timedelta(days=n) for n in range(AHEAD_DAYS + 1)) if closed_on(d, roster)]
        if days:
            yield f"{row['site_name']} is shut on {', '.join(f'{d:%a} {d}' for d in days)} ({row['what']})"


def document(note: Handover, tasks: list[dict[str, Any]]) -> dict[str, Any]:
    """The note for a program; ``tasks`` as they stand in `today --json`."""
    return {
        "as_of": note.as_of,
        "on": note.on,
        "site": note.site or None,
        "to": note.to or None,
        "tanks": list(note.tanks),
        "open": tasks,
        "odd": list(note.odd),
        "watch": list(note.watch),
        "stock": list(note.stock),
        "away": list(note.away),
    }
