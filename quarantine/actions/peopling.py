"""Absences of keepers, closures of a site, and what each keeper may do (needs F56, F57, F62).

All three are appended: a withdrawal is a row that names the one it voids, a role rules until the next one. Nothing is
moved by them: what clashes is named at once, with its code and day, and people decide. The journal holds no name.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from quarantine.actions.desk import Desk, find_site, named
from quarantine.actions.duties import people_of
from quarantine.actions.planning import frozen, replan
from quarantine.actions.rostering import away_of, days_text, roster_of, work_of_rows
from quarantine.facts import local_day
from quarantine.failures import Refused, Usage
from quarantine.records.codec import text_of_instant
from quarantine.records.reads import Row, Rows
from quarantine.records.store import Act, new_id
from quarantine.roster import ROLES, WEEKDAYS, WITHOUT_MEDICINE, Clash, clashes
from quarantine.starting import latest_hours

LONG_DAYS = 400
"""An absence or a closure of more days is a slip of the year; our choice, no source."""

MOST_TEXT = 200
NO_KEEPER = " (add one: quarantine keeper add NAME)"


def absent(desk: Desk, keeper: str, first: str, last: str, *, because: str = "") -> dict[str, Any]:
    """A keeper is away from a day to a day (YYYY-MM-DD, both among them). Which open work nobody else can do then is
    named; nothing is moved. Raises Refused for an absence that is on record already."""
    since, until = _span(first, last)
    why = _said(because, "--because")
    with desk.act() as act:
        who = named(act.rows("keepers"), "keeper", keeper, NO_KEEPER)
        known = [away_of(row) for row in act.rows("absences", since=since.isoformat())]
        if any(a.keeper == who["id"] and (a.since, a.until) == (since, until) for a in known):
            raise Refused(f"{who['name']} is on record as away {days_text(since, until)} already; nothing was written.")
        row = {"id": new_id(), "keeper": who["id"], "since": since, "until": until, "because": why, "voids": None}
        act.add("absence", {**row, "entered_at": act.now, "entered_by": act.keeper})
        act.describe("keeper absent", f"a keeper is away {days_text(since, until)}{_in_brackets(why)}")
        _ready_again(act, act.rows("expected_batches"))
        found = [clash for site in act.rows("sites") for clash in clashes_in(act, site, since, until)]
        return {
            "keeper": who["name"],
            "from": since,
            "until": until,
            "because": why,
            "clashes": [clash_json(clash) for clash in found],
            "lines": [clash_line(clash) for clash in found],
        }


def back(desk: Desk, keeper: str, first: str, *, because: str = "") -> dict[str, Any]:
    """An absence that begins on a day is withdrawn: a new row that voids it. Raises Refused where there is none."""
    since = read_day(first, "FROM")
    with desk.act() as act:
        who = named(act.rows("keepers"), "keeper", keeper, NO_KEEPER)
        mine = [row for row in act.rows("absences", since="0000") if row["keeper"] == who["id"]]
        row = _begins(mine, since, f"{who['name']} is not away from {since}", f"quarantine absent {who['name']}")
        values = {name: row[name] for name in ("keeper", "since", "until")}
        entry = {"id": new_id(), **values, "because": _said(because, "--because"), "voids": row["id"]}
        act.add("absence", {**entry, "entered_at": act.now, "entered_by": act.keeper})
        act.describe("absence withdrawn", f"a keeper is not away {_days_of(row)}{_in_brackets(entry['because'])}")
        _ready_again(act, act.rows("expected_batches"))
        return {"keeper": who["name"], "from": row["since"], "until": row["until"], "withdrawn": True}


def close_site(desk: Desk, site: str, first: str, last: str, *, weekdays: str = "", what: str = "") -> dict[str, Any]:
    """A site is shut from a day to a day (both among them); with ``weekdays`` ("sat,sun") only on those of them.

    ``what`` says why in a word ("half-term"). What clashes is named; nothing is moved.
    """
    since, until = _span(first, last)
    days, why = read_weekdays(weekdays), _said(what, "--what")
    if not why:
        raise Usage('What is it? Say --what, such as --what "half-term".')
    with desk.act() as act:
        place = find_site(act, site)
        mine = act.rows("closures", site=place["id"], since=since.isoformat())
        if any((r["since"], r["until"], r["weekdays"]) == (f"{since}", f"{until}", ",".join(days)) for r in mine):
            raise Refused(
                f"{place['name']} is on record as shut {days_text(since, until)} already; nothing was written."
            )
        row = {"id": new_id(), "site": place["id"], "since": since, "until": until, "voids": None}
        act.add(
            "closure",
            {**row, "weekdays": ",".join(days), "what": why, "entered_at": act.now, "entered_by": act.keeper},
        )
        act.describe("site closed", f"site {place['name']}: {why}, {days_text(since, until)}{_on(days)}")
        _ready_again(act, [b for b in act.rows("expected_batches") if _site_of(act, b["tank"]) == place["id"]])
        found = clashes_in(act, place, since, until)
        return {
            "site": place["name"],
            "from": since,
            "until": until,
            "weekdays": list(days),
            "what": why,
            "clashes": [clash_json(clash) for clash in found],
            "lines": [clash_line(clash) for clash in found],
        }


def open_site(desk: Desk, site: str, first: str) -> dict[str, Any]:
    """A closure that begins on a day is withdrawn. Raises Refused where there is none."""
    since = read_day(first, "FROM")
    with desk.act() as act:
        place = find_site(act, site)
        mine = act.rows("closures", site=place["id"], since="0000")
        row = _begins(
            mine, since, f"{place['name']} is not shut from {since}", f"quarantine site closed {place['name']}"
        )
        values = {name: row[name] for name in ("site", "since", "until", "weekdays", "what")}
        act.add(
            "closure",
            {"id": new_id(), **values, "entered_at": act.now, "entered_by": act.keeper, "voids": row["id"]},
        )
        act.describe("closure withdrawn", f"site {place['name']} is not shut {_days_of(row)} ({row['what']})")
        _ready_again(act, [b for b in act.rows("expected_batches") if _site_of(act, b["tank"]) == place["id"]])
        return {"site": place["name"], "from": row["since"], "until": row["until"], "withdrawn": True}


def set_role(desk: Desk, keeper: str, role: str) -> dict[str, Any]:
    """What a keeper may do from now on: keeper, adult, sitter or pupil. The last entry rules.

    Raises Refused for a sitter or pupil who would change a role, and where nobody would be left who handles medicine.
    """
    if role not in ROLES:
        raise Usage(f"A role is one of {', '.join(ROLES)}, not {role!r}.")
    with desk.act() as act:
        people = people_of(act)
        me = next((p for p in people if p.id == act.keeper), None)
        if me is not None and me.role in WITHOUT_MEDICINE:
            raise Refused(f"{me.name} is on record as a {me.role}; roles are given by a keeper or an adult.")
        who = named(act.rows("keepers"), "keeper", keeper, NO_KEEPER)
        before = next(p.role for p in people if p.id == who["id"])
        if before == role:
            raise Refused(f"{who['name']} is on record as {role} already; nothing was written.")
        others = [p for p in people if p.id != who["id"] and p.role not in ("adult", *WITHOUT_MEDICINE)]
        if role != "keeper" and not others:
            raise Refused(
                f"{who['name']} is the only one on record who may do everything: name another keeper first "
                "(quarantine keeper role NAME keeper), or nobody could tick what is for keepers."
            )
        # Of two entries of one second the later one rules.
        entry = {"id": new_id(row["id"] for row in act.rows("roles")), "keeper": who["id"], "role": role}
        act.add("role", {**entry, "entered_at": act.now, "entered_by": act.keeper})
        act.describe("role given", f"a keeper's role is {role}{f' (was {before})' if before else ''}")
        return {"keeper": who["name"], "role": role, "was": before or None}


def list_absences(rows: Rows, now: datetime) -> list[dict[str, Any]]:
    """The absences that have not ended, the first to begin first."""
    today = min((local_day(now, s["zone"]) for s in rows.rows("sites")), default=now.date())
    return [
        {"keeper": r["keeper_name"], "from": r["since"], "until": r["until"], "because": r["because"]}
        for r in rows.rows("absences", since=today.isoformat())
    ]


def list_closures(rows: Rows, now: datetime) -> list[dict[str, Any]]:
    """The closures of all sites that have not ended, the first to begin first."""
    return [
        {
            "site": r["site_name"],
            "from": r["since"],
            "until": r["until"],
            "weekdays": r["weekdays"].split(",") if r["weekdays"] else [],
            "what": r["what"],
        }
        for r in rows.rows("closures", site=None, since="0000")
        if r["until"] >= local_day(now, r["zone"]).isoformat()
    ]


# --- What clashes ------------------------------------------------------------------------------------------


def clashes_in(rows: Rows, site: Row, since: date, until: date) -> list[Clash]:
    """The open work of a site's running batches that nobody can do on days of a span."""
    after = until + timedelta(days=7)  # a gap in the looks ends behind the span
    end = datetime.combine(after + timedelta(days=1), time(0), ZoneInfo(site["zone"]))
    tanks = {tank["id"] for tank in rows.rows("tanks") if tank["site"] == site["id"]}
    tasks = [
        row
        for row in rows.rows("open_tasks", until=text_of_instant(end), tank=None)
        if row["tank"] in tanks and row["batch_state"] == "open"
    ]
    copies = {b["id"]: b["copy_id"] for b in rows.rows("open_batches")}
    latest = {
        (row["batch"], row["step"]): latest_hours(frozen(rows, copies[row["batch"]]), row["step"]) for row in tasks
    }
    found = clashes(work_of_rows(tasks, latest), roster_of(rows, site["id"], since))
    return [clash for clash in found if since <= clash.work.day <= until]


def clash_line(clash: Clash) -> str:
    """ "2026-03-10 CTS4 Change a quarter of the water (Q1-1): Robin is away, and nobody else may do it" """
    work = clash.work
    return f"{work.day} {work.code} {work.title} ({work.batch}): {clash.why}"


def clash_json(clash: Clash) -> dict[str, Any]:
    """A clash for a program."""
    work = clash.work
    return {"day_on": work.day, "code": work.code, "batch": work.batch, "title": work.title, "why": clash.why}


def _ready_again(act: Act, batches: Iterable[Row]) -> None:
    """What must stand ready before ordered fish come names who is away then."""
    for system in dict.fromkeys(batch["system"] for batch in batches):
        replan(act, system)


def _site_of(rows: Rows, tank: str) -> str:
    return str(next(t["site"] for t in rows.rows("tanks") if t["id"] == tank))


# --- What is typed -----------------------------------------------------------------------------------------


def read_day(text: str, what: str) -> date:
    """A typed day. Raises Usage."""
    try:
        day = date.fromisoformat(text.strip())
    except ValueError:
        raise Usage(f"{what} {text!r} is not a day; write YYYY-MM-DD.") from None
    if not 2000 <= day.year <= 2999:
        raise Usage(f"{what} {text!r} is too far away; write a day from 2000 to 2999.")
    return day


def _span(first: str, last: str) -> tuple[date, date]:
    since, until = read_day(first, "FROM"), read_day(last, "TO")
    if until < since:
        raise Usage(f"TO {until} lies before FROM {since}.")
    if (until - since).days >= LONG_DAYS:
        raise Usage(f"{since} to {until} are {(until - since).days + 1} days; write {LONG_DAYS} days at most.")
    return since, until


def read_weekdays(text: str) -> tuple[str, ...]:
    """ "sun, Sat" -> sat, sun, in the order of the week; "" is every day. Raises Usage."""
    typed = [word.strip().casefold()[:3] for word in text.split(",") if word.strip()]
    if any(word not in WEEKDAYS for word in typed):
        raise Usage(f"--weekdays {text!r} does not read: write days parted by commas, of {', '.join(WEEKDAYS)}.")
    return tuple(day for day in WEEKDAYS if day in typed)


def _said(text: str, option: str) -> str:
    """A reason in one line of plain characters. Raises Usage where it is too long."""
    tidy = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    if len(tidy) > MOST_TEXT:
        raise Usage(f"{option} is longer than {MOST_TEXT} characters; write it shorter.")
    return tidy


def _begins(found: list[Row], since: date, says: str, how: str) -> Row:
    """The row that begins on a day. Raises Refused, which names those there are."""
    row = next((r for r in found if r["since"] == since.isoformat()), None)
    if row is None:
        there = "; ".join(_days_of(r) for r in found) or "nothing"
        raise Refused(f"{says}; on record: {there}. To withdraw one: {how} FROM --withdraw, with its first day.")
    return row


def _days_of(row: Row) -> str:
    return days_text(date.fromisoformat(row["since"]), date.fromisoformat(row["until"]))


def _in_brackets(text: str) -> str:
    return f" ({text})" if text else ""


def _on(weekdays: tuple[str, ...]) -> str:
    return f", on {', '.join(weekdays)}" if weekdays else ""
