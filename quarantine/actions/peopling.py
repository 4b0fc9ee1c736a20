"""Absences of keepers, closures of a site, and what each keeper may do (needs F56, F57, F62).

All three are appended: a withdrawal is a row that names the one it voids, a role rules until the next one. What clashes
is named at once, with its code and day, and people decide. A day on which nobody is there is an event of the protocols
(`keeper_absent`): what their word for it moves is asked about. The journal holds no name.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from quarantine.actions.consequences import ask_about_moved, consequences, earliest_days
from quarantine.actions.desk import Desk, find_site, named
from quarantine.actions.duties import people_of
from quarantine.actions.planning import replan
from quarantine.actions.rostering import Attendance, away_of, days_text, roster_of, shut_of, work_of_rows
from quarantine.actions.systems import frozen
from quarantine.evidence import ABSENT
from quarantine.facts import local_day
from quarantine.failures import Refused, Usage
from quarantine.plan import DAILY_CARE
from quarantine.protocol import Protocol
from quarantine.records.codec import instant, text_of_instant
from quarantine.records.reads import Row, Rows
from quarantine.records.store import Act, new_id
from quarantine.roster import (
    ROLES,
    WEEKDAYS,
    WHO,
    WITHOUT_MEDICINE,
    Away,
    Clash,
    Person,
    Roster,
    Shut,
    Work,
    clashes,
    unattended,
)
from quarantine.starting import latest_hours

LONG_DAYS = 400
"""An absence or a closure of more days is a slip of the year; our choice, no source."""

ALWAYS = "0000"
"""Before every day, as text."""

MOST_TEXT = 200
NO_KEEPER = " (add one: quarantine keeper add NAME)"


def absent(desk: Desk, keeper: str, first: str, last: str, *, because: str = "", yes: bool = False) -> dict[str, Any]:
    """A keeper is away from a day to a day (YYYY-MM-DD, both among them). Which open work nobody else can do then is
    named. Raises Refused for an absence that is on record already, and where days on which nobody is there move dates,
    with old and new ones, until ``yes`` is said."""
    since, until = _span(first, last)
    why = _said(because, "--because")
    with desk.act() as act:
        caught_up(act)
        who = named(act.rows("keepers"), "keeper", keeper, NO_KEEPER)
        known = [away_of(row) for row in act.rows("absences", since=since.isoformat())]
        if any(a.keeper == who["id"] and (a.since, a.until) == (since, until) for a in known):
            raise Refused(f"{who['name']} is on record as away {days_text(since, until)} already; nothing was written.")
        there = {site["id"]: roster_of(act, site["id"], since) for site in act.rows("sites")}
        before = days_before(
            act, lambda roster, _: roster._replace(away=(*roster.away, Away(who["id"], since, until, why)))
        )
        row = {"id": new_id(), "keeper": who["id"], "since": since, "until": until, "because": why, "voids": None}
        act.add("absence", {**row, "entered_at": act.now, "entered_by": act.keeper})
        act.describe("keeper absent", f"a keeper is away {days_text(since, until)}{_in_brackets(why)}")
        moved = planned_again(act, before, act.rows("expected_batches"), yes=yes)
        found = new_clashes(act, there, since, until)
        return {
            "keeper": who["name"],
            "from": since,
            "until": until,
            "because": why,
            "moved": moved,
            "clashes": [clash_json(clash) for clash in found],
            "lines": clash_lines(found),
        }


def back(desk: Desk, keeper: str, first: str, *, because: str = "", yes: bool = False) -> dict[str, Any]:
    """An absence that begins on a day is withdrawn: a new row that voids it. Raises Refused where there is none, and
    where it moves dates, until ``yes`` is said."""
    since = read_day(first, "FROM")
    with desk.act() as act:
        who = named(act.rows("keepers"), "keeper", keeper, NO_KEEPER)
        mine = [row for row in act.rows("absences", since="0000") if row["keeper"] == who["id"]]
        row = _begins(mine, since, f"{who['name']} is not away from {since}", f"quarantine absent {who['name']}")
        gone = away_of(row)
        before = days_before(act, lambda roster, _: roster._replace(away=tuple(a for a in roster.away if a != gone)))
        values = {name: row[name] for name in ("keeper", "since", "until")}
        entry = {"id": new_id(), **values, "because": _said(because, "--because"), "voids": row["id"]}
        act.add("absence", {**entry, "entered_at": act.now, "entered_by": act.keeper})
        act.describe("absence withdrawn", f"a keeper is not away {_days_of(row)}{_in_brackets(entry['because'])}")
        moved = planned_again(act, before, act.rows("expected_batches"), yes=yes)
        return {"keeper": who["name"], "from": row["since"], "until": row["until"], "withdrawn": True, "moved": moved}


def close_site(
    desk: Desk, site: str, first: str, last: str, *, weekdays: str = "", what: str = "", yes: bool = False
) -> dict[str, Any]:
    """A site is shut from a day to a day (both among them); with ``weekdays`` ("sat,sun") only on those of them.

    ``what`` says why in a word ("half-term"). What clashes is named. Raises Refused where the days on which nobody is
    there move dates, with old and new ones, until ``yes`` is said.
    """
    since, until = _span(first, last)
    days, why = read_weekdays(weekdays), _said(what, "--what")
    if not why:
        raise Usage('What is it? Say --what, such as --what "half-term".')
    with desk.act() as act:
        caught_up(act)
        place = find_site(act, site)
        there = {place["id"]: roster_of(act, place["id"], since)}
        mine = act.rows("closures", site=place["id"], since=since.isoformat())
        if any((r["since"], r["until"], r["weekdays"]) == (f"{since}", f"{until}", ",".join(days)) for r in mine):
            raise Refused(
                f"{place['name']} is on record as shut {days_text(since, until)} already; nothing was written."
            )
        shut = Shut(place["name"], since, until, days, why)
        before = days_before(
            act, lambda roster, id_: roster._replace(shut=(*roster.shut, *([shut] if id_ == place["id"] else [])))
        )
        row = {"id": new_id(), "site": place["id"], "since": since, "until": until, "voids": None}
        act.add(
            "closure",
            {**row, "weekdays": ",".join(days), "what": why, "entered_at": act.now, "entered_by": act.keeper},
        )
        act.describe("site closed", f"site {place['name']}: {why}, {days_text(since, until)}{_on(days)}")
        moved = planned_again(act, before, _expected_at(act, place), yes=yes)
        found = new_clashes(act, there, since, until)
        return {
            "site": place["name"],
            "from": since,
            "until": until,
            "weekdays": list(days),
            "what": why,
            "moved": moved,
            "clashes": [clash_json(clash) for clash in found],
            "lines": clash_lines(found),
        }


def open_site(desk: Desk, site: str, first: str, *, yes: bool = False) -> dict[str, Any]:
    """A closure that begins on a day is withdrawn. Raises Refused where there is none, and where it moves dates, until
    ``yes`` is said."""
    since = read_day(first, "FROM")
    with desk.act() as act:
        place = find_site(act, site)
        mine = act.rows("closures", site=place["id"], since="0000")
        row = _begins(
            mine, since, f"{place['name']} is not shut from {since}", f"quarantine site closed {place['name']}"
        )
        gone = shut_of(row)
        before = days_before(act, lambda roster, _: roster._replace(shut=tuple(s for s in roster.shut if s != gone)))
        values = {name: row[name] for name in ("site", "since", "until", "weekdays", "what")}
        act.add(
            "closure",
            {"id": new_id(), **values, "entered_at": act.now, "entered_by": act.keeper, "voids": row["id"]},
        )
        act.describe("closure withdrawn", f"site {place['name']} is not shut {_days_of(row)} ({row['what']})")
        moved = planned_again(act, before, _expected_at(act, place), yes=yes)
        return {"site": place["name"], "from": row["since"], "until": row["until"], "withdrawn": True, "moved": moved}


def set_role(desk: Desk, keeper: str, role: str, *, yes: bool = False) -> dict[str, Any]:
    """What a keeper may do from now on: keeper, adult, sitter or pupil. The last entry rules.

    Raises Refused for a sitter or pupil who would change a role, where nobody would be left who handles medicine, and
    where it moves dates because others may look now, until ``yes`` is said.
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
        days = days_before(act, lambda roster, _: roster._replace(people=_with_role(roster.people, who["id"], role)))
        # Of two entries of one second the later one rules.
        entry = {"id": new_id(row["id"] for row in act.rows("roles")), "keeper": who["id"], "role": role}
        act.add("role", {**entry, "entered_at": act.now, "entered_by": act.keeper})
        act.describe("role given", f"a keeper's role is {role}{f' (was {before})' if before else ''}")
        moved = planned_again(act, days, [], yes=yes)
        return {"keeper": who["name"], "role": role, "was": before or None, "moved": moved}


def _with_role(people: tuple[Person, ...], keeper: str, role: str) -> tuple[Person, ...]:
    return tuple(p._replace(role=role) if p.id == keeper else p for p in people)


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


def caught_up(act: Act) -> None:
    """What ran out of time becomes a fact first, so that a series which begins again for it is among the open work."""
    ran_out = [
        row
        for row in act.rows("open_tasks", until=text_of_instant(act.now), tank=None)
        if row["state"] == "planned" and row["batch_state"] == "open" and row["kind"] in ("dose", "move")
    ]
    for system in {row["system"] for row in ran_out if row["lapses_at"] and instant(row["lapses_at"]) <= act.now}:
        replan(act, system)


def new_clashes(act: Act, before: dict[str, Roster], since: date, until: date) -> list[Clash]:
    """The open work that nobody can do on days of a span, at the sites of ``before``; what clashed by their rosters as
    they were is not named again."""
    found = []
    for site in act.rows("sites"):
        if site["id"] in before:
            tasks = _open_work(act, site, until)
            was = {clash.work for clash in _clashing(tasks, before[site["id"]], since, until, site, act.now)}
            will = _clashing(tasks, roster_of(act, site["id"], since), since, until, site, act.now)
            found += [clash for clash in will if clash.work not in was]
    return found


def _open_work(rows: Rows, site: Row, until: date) -> list[Work]:
    """The open work of a site's running batches up to a week after a day: there a gap in the looks may end."""
    after = until + timedelta(days=7)
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
    return work_of_rows(tasks, latest)


def _clashing(work: list[Work], roster: Roster, since: date, until: date, site: Row, now: datetime) -> list[Clash]:
    """What nobody can do on its day of a span; and of what is overdue by now what nobody can do on any day of it. Care
    that belongs to its day is not made good later (rule A11)."""
    today = local_day(now, site["zone"])
    days = [since + timedelta(days=n) for n in range((until - since).days + 1) if since + timedelta(days=n) >= today]
    found = [clash for clash in clashes(work, roster) if since <= clash.work.day <= until]
    for one in work:
        if days and one.day < min(since, today) and one.kind not in DAILY_CARE:
            open_on = [one._replace(day=day, latest_hours=None) for day in days]
            never = clashes(open_on, roster)
            if {clash.work.day for clash in never} == {*days}:
                found.append(Clash(one, f"still open; {never[0].why}", f"still open; {never[0].unnamed}"))
    return sorted(found, key=lambda clash: (clash.work.day, clash.work.title, clash.work.code))


def clash_lines(found: list[Clash]) -> list[str]:
    """What nobody can do, the reason of several said once before them: "Robin is away, and nobody else may do it:",
    then "  2026-03-10 CTS4 Change a quarter of the water (Q1-1)"; one alone is one line with its reason."""
    lines = []
    for why in dict.fromkeys(clash.why for clash in found):
        works = [clash.work for clash in found if clash.why == why]
        said = [f"{work.day} {work.code} {work.title} ({work.batch})" for work in works]
        lines += [f"{said[0]}: {why}"] if len(said) == 1 else [f"{why}:", *(f"  {one}" for one in said)]
    return lines


def clash_json(clash: Clash) -> dict[str, Any]:
    """A clash for a program."""
    work = clash.work
    return {"day_on": work.day, "code": work.code, "batch": work.batch, "title": work.title, "why": clash.why}


# --- What moves --------------------------------------------------------------------------------------------


def days_before(act: Act, changed: Callable[[Roster, str], Roster]) -> dict[str, dict[str, Any]]:
    """Water system -> the earliest sign-off days of its batches, of the waters that are to be planned again because of
    days on which nobody is there: none where those days stay what they are. ``changed`` makes of a roster, and the id
    of its site, what it will be. To be asked before anything is written.

    Only waters with fish whose template makes something of such days are. Fish may have come from another site: where
    the days of one change those waters of all sites are planned again.
    """
    attendance = Attendance(act, ALWAYS, act.now)
    rosters = [(attendance.roster(site["id"]), site["id"]) for site in act.rows("sites")]
    after = [(was, changed(was, site)) for was, site in rosters]
    if all(unattended(was, [who]) == unattended(will, [who]) for was, will in after for who in WHO):
        return {}
    systems = {b["system"] for b in act.rows("open_batches") if _minds(frozen(act, b["copy_id"]))}
    return {system: earliest_days(act, {system}) for system in systems}


def _minds(protocol: Protocol) -> bool:
    """Whether a protocol makes more than a note of a day on which nobody is there."""
    asked = [condition for step in protocol.steps for condition in (*step.when, *step.stop)]
    return protocol.events[ABSENT] != "note" or any((c.kind, c.value) == ("event", ABSENT) for c in asked)


def planned_again(act: Act, before: dict[str, dict[str, Any]], expected: list[Row], *, yes: bool) -> list[str]:
    """Plan the waters again of which :func:`days_before` gave the days, and those of ordered fish, whose readiness list
    names who is away; the days that moved, old and new. Raises Refused for them until ``yes`` is said."""
    systems = dict.fromkeys([*before, *(batch["system"] for batch in expected)])
    made = [replan(act, system) for system in systems]
    moved = consequences(act, {name: day for days in before.values() for name, day in days.items()}, made)
    ask_about_moved(act, moved, yes=yes)
    return moved


def _expected_at(rows: Rows, site: Row) -> list[Row]:
    """The ordered batches that are to come to a site."""
    sites = {tank["id"]: tank["site"] for tank in rows.rows("tanks")}
    return [batch for batch in rows.rows("expected_batches") if sites[batch["tank"]] == site["id"]]


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
