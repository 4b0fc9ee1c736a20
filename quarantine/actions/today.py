"""Today's work, from stored rows: no planner, no ORM. Doses are computed for the water that is there now."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Collection
from datetime import date, datetime, time, timedelta
from shlex import quote
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from quarantine import dosing
from quarantine.actions import cards, conditioning
from quarantine.actions.claims import Claim, claims_at
from quarantine.actions.shelf import lots
from quarantine.actions.twins import WATER_DOSES, missed, one_work
from quarantine.bathing import END
from quarantine.evidence import INCIDENT_WORDS, WORSE, act_now_words, unseen_words
from quarantine.facts import local_day, utc
from quarantine.failures import Unknown
from quarantine.records.codec import instant, text_of_instant
from quarantine.records.loading import fact_of
from quarantine.records.reads import Row, Rows
from quarantine.settings import Home
from quarantine.stock import Lot

TANK_LEFT = "followup.emptied-"
"""How the steps of the cleaning of a tank begin that fish have left (:mod:`quarantine.emptied`)."""

SECTIONS = ("overdue", "due", "later", "waiting", "missed")

TURN = {"change": 1, "dose": 2}
"""Rule C11: what is looked at, tested and put back comes before a planned change, and the dose comes last."""


class Listed(NamedTuple):
    """One task on the list, with its card when it is a dose."""

    row: Row
    section: str
    proposal: dosing.Proposal | None
    litres: Any
    conditioner: conditioning.Conditioner | None = None
    """of a water change; by the litre, where its litres are not known beforehand"""
    claimed: Claim | None = None
    """by whom it is being done now"""
    left: timedelta | None = None
    """of what is too late from an elapsed ceiling on: the time until then (rule A12)"""
    also: tuple[Row, ...] = ()
    """the tasks of other batches in the same water that are done with it (rule B2)"""


class Day(NamedTuple):
    """The list of one day: a line for each tank, then the tasks in order (rules D), and tomorrow's titles (F35)."""

    on: date
    tanks: list[dict[str, Any]]
    tasks: list[Listed]
    tomorrow: dict[str, list[str]]
    """tank's name -> titles of the next day, in the same order; their doses are computed when the day has come"""


def list_day(rows: Rows, home: Home, now: datetime, on: date | None = None, tank: str | None = None) -> Day:
    """The work of a day. ``on`` None is today at each site; a later day leaves readings of that day out."""
    tanks = {t["id"]: t for t in rows.rows("tanks")}
    chosen = None if tank is None else tank_named(tanks.values(), tank)["id"]
    batches = rows.rows("open_batches")
    doses = {row["batch"]: row["day"] for row in rows.rows("next_doses")}
    zone = next(iter(tanks.values()))["zone"] if tanks else "UTC"
    day = on or local_day(now, zone)
    lines = _tank_lines(tanks, batches, doses, now, on, chosen, day)
    _add_alerts(lines, rows, batches, now)
    for row in rows.rows("expected_batches"):
        said = json.loads(row["standing"])["expected"]
        for line in [line for line in lines if line["tank_id"] == row["tank"]]:
            line["line"] += f"; {row['name']} expected {said['first']}"
    places = {line["tank_id"]: place for place, line in enumerate(lines)}
    # The next day has ended everywhere: behind UTC it ends up to 12 h later; a site ahead may be a day further on.
    until = datetime.combine(day + timedelta(days=2), time(12), ZoneInfo("UTC"))
    found = _behind_overdue(rows.rows("open_tasks", until=text_of_instant(until), tank=chosen), now)
    open_ = {b["id"]: b for b in batches}
    listed = _once(_listed(rows, home, found, now, on, open_, tanks), open_)
    changes = last_changes(listed, places)
    listed.sort(key=lambda item: order(item, places, changes))
    return Day(day, lines, listed, _tomorrow(found, now, on, places))


def _once(listed: list[Listed], batches: dict[str, Row]) -> list[Listed]:
    """What is done once for several batches in one water is listed once, and done for all of them (rule B2): a bath by
    the same row, a planned change, a test; a look counts all fish of its tank, and is one at each batch there. Of what
    was missed one reason is given for all."""
    kept: dict[tuple[str, ...], Listed] = {}
    rest: list[Listed] = []
    # A card that is held says more than one that is not, and what is overdue more than what is due.
    for item in sorted(
        listed, key=lambda one: (_may_be_given(one), SECTIONS.index(one.section), one.row["batch_name"])
    ):
        twin = _twin(item, batches.get(item.row["batch"]))
        first = kept.get(twin) if twin is not None else None
        if twin is None or (first is not None and item.row["batch"] == first.row["batch"]):
            rest.append(item)
        elif first is None:
            kept[twin] = item
        else:
            claimed = first.claimed or item.claimed
            kept[twin] = first._replace(also=(*first.also, item.row), claimed=claimed)
    lodgers = Counter(batch["tank"] for batch in batches.values())
    return [_named(item, shared=lodgers[item.row["tank"]] > 1) for item in (*rest, *kept.values())]


def _may_be_given(item: Listed) -> bool:
    """Whether nothing holds a task; what holds one sorts before it."""
    return item.proposal is None or item.proposal.hold is None


def _twin(item: Listed, batch: Row | None) -> tuple[str, ...] | None:
    """What tasks of several batches have in common that are done once; None for what belongs to one batch."""
    row, late = item.row, item.section == "missed"
    if row["kind"] == "dose":
        dose = item.proposal.dose if item.proposal is not None and not late else None
        return ("dose", row["system"], dose.regimen) if dose and dose.route in WATER_DOSES else None
    common = one_work(row, None if batch is None else str(batch["copy_id"]))
    return common and (*common, "missed" if late else "open")


def _named(item: Listed, *, shared: bool) -> Listed:
    """A task that stands for several batches says for which; so does one of one batch in a tank that is ``shared``."""
    if not item.also:
        title = f"{item.row['title']}, for {item.row['batch_name']}"
        return item._replace(row={**item.row, "title": title}) if shared else item
    names = sorted({item.row["batch_name"], *(row["batch_name"] for row in item.also)})
    item = item._replace(row={**item.row, "title": f"{item.row['title']}, once for {_all_of(names)}"})
    if item.proposal is not None:
        says = f"one dose for {_all_of(names)}: give it once, and the other is done with it (rule B2)"
        item = item._replace(proposal=item.proposal._replace(confirm=(*item.proposal.confirm, says)))
    return item


def _all_of(names: list[str]) -> str:
    """ "A, B and C" """
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))


def _behind_overdue(found: list[Row], now: datetime) -> list[Row]:
    """Nothing is due behind a dose that is overdue, before that is given or skipped: the day on its row is of before,
    and the next write moves it (rule A11)."""
    late = [row for row in found if row["kind"] == "dose" and row["day"] and _section(row, now) == "overdue"]
    if not late:
        return found
    first = {(row["batch"], row["step"]): row for row in sorted(late, key=lambda row: row["day"], reverse=True)}
    made = []
    for row in found:
        steps = (row["step"], json.loads(row["detail"]).get("behind"))
        dose = next((first[key] for step in steps if (key := (row["batch"], step)) in first), None)
        if dose is not None and row["day"] and row["day"] > dose["day"] and row["state"] == "planned":
            needs = f"waits for {dose['code']}, which is overdue: its day moves with that"
            row = {**row, "day": None, "due_from": None, "due_until": None, "lapses_at": None, "needs": needs}
        made.append(row)
    return made


def _tomorrow(found: list[Row], now: datetime, on: date | None, places: dict[str, int]) -> dict[str, list[str]]:
    """What the day after brings, a tank at a time, clean to dirty."""
    titles: dict[str, list[str]] = {}
    for row in sorted(found, key=lambda r: (places.get(r["tank"], len(places)), r["due_from"] or "", r["title"])):
        following = (on or local_day(now, row["zone"])) + timedelta(days=1)
        if row["day"] == following.isoformat():
            titles.setdefault(row["tank_name"], []).append(row["title"])
    return {tank: list(dict.fromkeys(said)) for tank, said in titles.items()}


def tank_named(tanks: Collection[Row], name: str) -> Row:
    """A tank by name, for reads: the desk's finder would load the ORM. Raises Unknown naming the known ones."""
    for row in tanks:
        if row["name"].casefold() == name.strip().casefold():
            return row
    raise Unknown("tank", name, sorted(t["name"] for t in tanks), " (add one: quarantine tank add NAME ...)")


def last_changes(listed: list[Listed], places: dict[str, int]) -> dict[str, int]:
    """Of each water the place of the last tank whose planned change is due: a dose belongs to the water, and comes
    after the changes of all its tanks (rule C11)."""
    found: dict[str, int] = {}
    for item in listed:
        row = item.row
        if row["kind"] == "change" and row["step"] != END and item.section in ("overdue", "due"):
            found[row["system"]] = max(found.get(row["system"], 0), places.get(row["tank"], 0))
    return found


def order(item: Listed, places: dict[str, int], changes: dict[str, int]) -> tuple[Any, ...]:
    """Rule D: overdue ends and moves, overdue doses and held A signs, running baths and dips; then clean to dirty;
    inside a tank by section, by what comes first in one water, and by time."""
    hold = item.proposal.hold if item.proposal else None
    late = item.section == "overdue"
    if item.row["step"] == END or (item.row["kind"] == "move" and (late or item.left is not None)):
        first = 0 if late else 2
    else:
        first = 1 if (late and item.row["kind"] == "dose") or (hold and hold.rule == "C9") else 3
    place = places.get(item.row["tank"], len(places))
    if item.row["step"].startswith(TANK_LEFT):  # living fish first: the tank they left can wait, and is dirty
        place = len(places)
    if item.row["kind"] == "dose" and item.section in ("overdue", "due"):
        place = max(place, changes.get(item.row["system"], 0))
    turn, due = TURN.get(item.row["kind"], 0), item.row["due_from"] or ""
    return first, place, SECTIONS.index(item.section), turn, due, item.row["title"], item.row["code"]


def _listed(
    rows: Rows,
    home: Home,
    found: list[Row],
    now: datetime,
    on: date | None,
    batches: dict[str, Row],
    tanks: dict[str, Row],
) -> list[Listed]:
    settings: dict[str, dosing.Setting] = {}
    shelf: tuple[Lot, ...] | None = None
    claims = claims_at(rows, now)
    listed = []
    for row in found:
        day = on or local_day(now, row["zone"])
        running = row["step"] == END and on is None  # a bath or dip that runs is on the list until it has ended
        if row["day"] is not None and row["day"] > day.isoformat() and not running:
            continue
        today = local_day(now, row["zone"])
        ahead = on is not None and on > today
        if ahead and row["day"] is not None and today.isoformat() <= row["day"] < day.isoformat():
            continue  # the days in between have lists of their own
        section = _section(row, instant_of(on, row["zone"]) if ahead and on else now)
        proposal = litres = conditioner = None
        if row["kind"] == "dose" and row["day"] is not None:
            if row["batch"] not in settings:
                shelf = tuple(lots(rows)) if shelf is None else shelf
                settings[row["batch"]] = cards.setting_for(
                    rows, home, tanks[row["tank"]], batches[row["batch"]], now, shelf
                )
            proposal = cards.propose_task(row, settings[row["batch"]], gate=not ahead)
        elif row["kind"] == "change" and row["day"] is not None:
            litres = cards.change_litres(row, rows, now)
            if litres != 0:
                conditioner = conditioning.for_change(rows, home, row, row["tank_name"], litres, now)
        listed.append(Listed(row, section, proposal, litres, conditioner, claims.get(row["id"]), _left(row, now)))
    return listed


def _left(row: Row, now: datetime) -> timedelta | None:
    """How long it is until an elapsed ceiling has passed; None where there is none, or it has."""
    if not row["lapses_at"] or instant(row["lapses_at"]) <= now or not json.loads(row["detail"]).get("ceiling"):
        return None
    return instant(row["lapses_at"]) - now


def instant_of(day: date, zone: str) -> datetime:
    """Noon of a day at a site: when a later day's list is shown for."""
    return utc(datetime.combine(day, time(12), ZoneInfo(zone)))


def _section(row: Row, now: datetime) -> str:
    if row["day"] is None:
        return "waiting"
    if missed(row, now):
        return "missed"
    if instant(row["due_until"]) < now:
        return "overdue"
    return "due" if instant(row["due_from"]) <= now else "later"


def _tank_lines(
    tanks: dict[str, Row],
    batches: list[Row],
    doses: dict[str, str],
    now: datetime,
    on: date | None,
    chosen: str | None,
    headed: date,
) -> list[dict[str, Any]]:
    """One line a tank, clean to dirty: established tanks, then quarantines from the longest clear to the sickest.

    Sickest is the worst open sign, then how many there are; then come the fewest clear days, the latest restart and
    the latest arrival. Where it is not the day the list is ``headed`` with, the line says its own (F29).
    """
    lines = []
    in_tank: dict[str, list[Row]] = {}
    for batch in batches:
        in_tank.setdefault(batch["tank"], []).append(batch)
    for tank in tanks.values():
        if chosen is not None and tank["id"] != chosen:
            continue
        held = in_tank.get(tank["id"], [])
        day = on or local_day(now, tank["zone"])
        shown = [_batch_line(b, doses, day, local_day(now, tank["zone"])) for b in held]
        rank = 0 if tank["role"] != "quarantine" and not held else 2 if held else 1
        signs = [sign for s in shown for sign in s["signs"]]
        sick = max((WORSE[sign["severity"]] for sign in signs), default=0), len(signs)
        clear = min((s["clear_days"] for s in shown), default=0)
        newest = max((s["zero"] for s in shown), default=""), max((b["arrived_at"] for b in held), default="")
        names = [f"{b['name']} " if len(held) > 1 else "" for b in held]
        told = (f"{name}{s['says']}" for name, s in zip(names, shown, strict=True))
        says = "; ".join(told) or ("empty" if tank["role"] == "quarantine" else tank["role"])
        if day != headed and held:
            says = f"{day:%A %-d %B} there, {says}"
        lines.append(
            {
                "tank_id": tank["id"],
                "tank": tank["name"],
                "line": f"{tank['name']}, {says}",
                "batches": [b["name"] for b in held],
                "order": (rank, sick, -clear, newest, tank["name"].casefold()),
            }
        )
    return sorted(lines, key=lambda line: line["order"])


def _add_alerts(lines: list[dict[str, Any]], rows: Rows, batches: list[Row], now: datetime) -> None:
    """What heads the list of a tank now: an emergency that nobody lifted (rules A7, C9), incidents that are not over,
    and fish that nobody has seen (rule A3)."""
    incidents = open_incidents(rows)
    for line in lines:
        mine = [b for b in batches if b["tank"] == line["tank_id"]]
        open_ = [(b["name"], json.loads(b["standing"]).get("act_now")) for b in mine]
        line["alerts"] = [f"{name}: {act_now_words(why)}" for name, why in open_ if why]
        line["alerts"] += [says for tank, says in incidents if tank == line["tank_id"]]
        line["alerts"] += [says for b in mine if (says := not_seen(b, local_day(now, b["zone"])))]


def open_incidents(rows: Rows) -> list[tuple[str, str]]:
    """(tank's id, sentence) of each incident of which nobody has said yet that it is over, oldest first."""
    facts = [fact_of(row) for row in rows.rows("incidents")]
    over = {f.data["of"] for f in facts if f.kind == "incident_over"}
    open_ = [f for f in facts if f.kind == "incident" and f.id not in over and not f.data.get("until")]
    tanks = {t["id"]: t for t in rows.rows("tanks")} if open_ else {}
    return [
        (id_, incident_says(f.data, f.at, tanks[id_]))
        for f in sorted(open_, key=lambda f: (f.at, f.id))
        for id_ in f.data["tank_ids"]
    ]


def incident_says(data: dict[str, Any], at: datetime, tank: Row) -> str:
    """One open incident as a sentence."""
    since = at.astimezone(ZoneInfo(tank["zone"]))
    note = f" ({data['note']})" if data.get("note") else ""
    over = f"quarantine event incident-over {quote(tank['name'])}"
    return f"INCIDENT since {since:%Y-%m-%d %H:%M}: {INCIDENT_WORDS[data['what']]}{note}. When it is over: {over}"


def not_seen(batch: Row, day: date) -> str:
    """Since when not every fish of an open batch was seen, as a sentence; "" before it matters."""
    seen_on = json.loads(batch["standing"]).get("all_seen_on")
    words = unseen_words(date.fromisoformat(seen_on) if seen_on else None, day)
    return f"{batch['name']}: {words[0].lower()}{words[1:]}" if words else ""


def _batch_line(batch: Row, doses: dict[str, str], day: date, today: date) -> dict[str, Any]:
    """ "day 9 of 30, clear 0 of 14, next dose Thu 12 Mar" """
    standing = json.loads(batch["standing"])
    arrived = local_day(instant(batch["arrived_at"]), batch["zone"])
    number = (day - arrived).days
    parts = []
    period = standing["periods"][0] if standing["periods"] else None
    if period is None or (period["zero"] == arrived.isoformat() and not period.get("left_out_days")):
        parts.append(f"day {number}" + (f" of {period['length']}" if period else ""))
    else:
        parts.append(f"day {number}, observation {day_words(period, day)}")
    clear = standing["clear"]
    lapsed = clear["lapses_on"] is not None and today.isoformat() >= clear["lapses_on"]
    days = 0 if lapsed else clear["days"]
    if clear["need"]:
        parts.append(f"clear {days} of {clear['need']}")
    if standing["signs"]:
        parts.append("signs: " + ", ".join(s["name"] for s in standing["signs"]))
    if batch["id"] in doses:
        due = date.fromisoformat(doses[batch["id"]])
        parts.append(f"{'dose overdue since' if due < today else 'next dose'} {due:%a %-d %b}")
    if standing.get("waits_for"):
        parts.append(f"with {standing['waits_for']} in one water until {standing['earliest']} (rule B5)")
    zero = period["zero"] if period else arrived.isoformat()
    return {"says": ", ".join(parts), "signs": standing["signs"], "clear_days": days, "zero": zero}


def day_words(period: dict[str, Any], day: date) -> str:
    """The number of a day in a period as it is stored: "day 9 of 30". With a drug in the water none is added since."""
    if period.get("in_water"):
        day = min(day, date.fromisoformat(period["as_of"]))
    since = (day - date.fromisoformat(period["zero"])).days - period.get("left_out_days", 0)
    return f"day {since} of {period['length']}" if since >= 0 else f"from {period['zero']} on"


def task_json(item: Listed) -> dict[str, Any]:
    """One task of the contract."""
    row = item.row
    zone = ZoneInfo(row["zone"])

    def local(name: str) -> str | None:
        return instant(row[name]).astimezone(zone).isoformat() if row[name] else None

    proposal = item.proposal
    return {
        "code": row["code"],
        "key": row["key"],
        "system": row["system_name"],
        "tanks": [row["tank_name"]],
        "batches": sorted({row["batch_name"], *(other["batch_name"] for other in item.also)}),
        "kind": row["kind"],
        "step": row["step"],
        "title": row["title"],
        "day": row["day"],
        "due_from": local("due_from"),
        "due_until": local("due_until"),
        "lapses_at": local("lapses_at"),
        "state": "missed" if item.section == "missed" else row["state"],
        "section": item.section,
        "needs": row["needs"],
        "hold": proposal.hold.as_json() if proposal and proposal.hold else None,
        "dose": cards.dose_json(proposal.dose) if proposal else None,
        "conditioner": conditioning.as_json(item.conditioner),
        "claimed": item.claimed and {"by": item.claimed.by, "until": item.claimed.until.astimezone(zone).isoformat()},
    }
