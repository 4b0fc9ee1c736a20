"""Who is there, and who may do what: roles of keepers, their absences, the days on which a site is shut, and the work
that clashes with them. Pure.

A day is a day at the site. Absences and closures name their first and their last day, both among them. Nothing is moved
here: a clash says what cannot be done on its day, and why.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from datetime import date, timedelta
from typing import NamedTuple

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")

MAY = {
    "": ("anyone", "adult", "keeper"),
    "keeper": ("anyone", "adult", "keeper"),
    "adult": ("anyone", "adult"),
    "sitter": ("anyone",),
    "pupil": ("anyone",),
}
"""Role -> whose tasks a keeper of it may do; "" is a keeper of whom no role was said."""

WHO = MAY["keeper"]
"""Whose a task may be: a keeper may do all."""

ROLES = tuple(role for role in MAY if role)
WITHOUT_MEDICINE = ("sitter", "pupil")
"""Rule C19: these handle no medicine, whatever a task says."""

UNLOOKED_DAYS = 3
"""So many days in a row on which nobody looked restart the clear count (rule A4)."""


NOBODY = "nobody on record may do it"
ALL_AWAY = "all who may look are away"


class Person(NamedTuple):
    """A keeper with the role that was said last; "" where none was. ``since`` is the day on which they were put on
    record; None: always taken to have been."""

    id: str
    name: str
    role: str
    since: date | None = None


class Away(NamedTuple):
    """A keeper's absence, first and last day among it. ``keeper`` is the id."""

    keeper: str
    since: date
    until: date
    because: str


class Shut(NamedTuple):
    """A site that is shut from a day to a day; of these days only on ``weekdays``, if there are any ("sat")."""

    site: str
    since: date
    until: date
    weekdays: tuple[str, ...]
    what: str


class Roster(NamedTuple):
    """All that is known of who is there at one site."""

    people: tuple[Person, ...]
    away: tuple[Away, ...]
    shut: tuple[Shut, ...]

    @property
    def says_anything(self) -> bool:
        """Whether an absence or a closure is on record: without one nothing can clash."""
        return bool(self.away or self.shut)


class Work(NamedTuple):
    """One dated task as the roster sees it. ``latest_hours``: the longest the template allows since the run before;
    None where it says nothing. ``code`` is that of a stored task, and ``batch`` the name of whose it is."""

    day: date
    kind: str
    step: str
    title: str
    who: str
    latest_hours: int | None = None
    code: str = ""
    batch: str = ""


class Clash(NamedTuple):
    """Work that nobody can do on its day, and why; ``unnamed`` says it without a name, as the journal may keep it."""

    work: Work
    why: str
    unnamed: str


def may_do(role: str, who: str, kind: str) -> bool:
    """Whether a keeper of a role may do a task of that kind whose template says ``who``."""
    return who in MAY[role] and not (kind == "dose" and role in WITHOUT_MEDICINE)


def closed_on(day: date, roster: Roster) -> Shut | None:
    """The closure that holds on a day, one of whole weeks before one of weekdays; None while the site is open."""
    name = WEEKDAYS[day.weekday()]
    found = [s for s in roster.shut if s.since <= day <= s.until and (not s.weekdays or name in s.weekdays)]
    return min(found, key=lambda s: (bool(s.weekdays), s.since, s.until, s.what), default=None)


def away_on(day: date, roster: Roster) -> dict[str, Away]:
    """Keeper's id -> the absence that holds on a day."""
    return {a.keeper: a for a in reversed(roster.away) if a.since <= day <= a.until}


def unattended(roster: Roster, looks: Collection[str]) -> tuple[tuple[date, str], ...]:
    """The days on which the site is shut, or everybody is away who may look, in order, each with why (without a name).
    ``looks`` says whose the looks of a template are ("anyone"). While one of them is there it is no such day. One that
    is shut is one though people may come: whether somebody looked all the same is on record.
    """
    able = [p for p in roster.people if any(may_do(p.role, who, "look") for who in looks)]
    off = {p.id: {day for a in roster.away if a.keeper == p.id for day in _days(a)} for p in able}
    away = {day for days in off.values() for day in days if _all_away(day, able, off)}
    shut = {day: shut_words(found) for s in roster.shut for day in _days(s) if (found := closed_on(day, roster))}
    return tuple((day, f"nobody there: {shut.get(day, ALL_AWAY)}") for day in sorted({*away, *shut}))


def _all_away(day: date, able: list[Person], off: dict[str, set[date]]) -> bool:
    """Whether all are away on a day who were on record by then: who is added later was not there before."""
    return all(day in off[p.id] for p in able if p.since is None or p.since <= day)


def _days(span: Away | Shut) -> Iterator[date]:
    return (span.since + timedelta(days=n) for n in range((span.until - span.since).days + 1))


def clashes(work: Iterable[Work], roster: Roster) -> list[Clash]:
    """What of the work nobody can do on its day, in order of days.

    What is for keepers or adults clashes on a day on which the site is shut, or every keeper who may do it is away.
    What anyone may do clashes where all keepers are away; on a day that is shut whoever is there may do it, but what
    has a longest gap between its runs clashes where shut days make a longer one: that of the template, and for looks
    without one :data:`UNLOOKED_DAYS` in a row (rule A4).
    """
    if not roster.says_anything:
        return []
    planned = sorted(work, key=lambda w: (w.day, w.title, w.code))
    found = [Clash(one, *why) for one in planned if (why := _why(one, roster))]
    found += _gaps(planned, roster)
    return sorted(found, key=lambda c: (c.work.day, c.work.title, c.work.code))


def any_clash(work: Iterable[Work], roster: Roster) -> bool:
    """Whether :func:`clashes` finds any: sooner, because one is enough."""
    if not roster.says_anything:
        return False
    judged: dict[tuple[date, str, str], bool] = {}
    planned = list(work)
    for one in planned:
        asked = (one.day, one.who, one.kind)  # all that is asked of a task: most days have several of a kind
        if asked not in judged:
            judged[asked] = _why(one, roster) is not None
        if judged[asked]:
            return True
    return any(_gaps(sorted(planned, key=lambda w: w.day), roster))


def _why(work: Work, roster: Roster) -> tuple[str, str] | None:
    """Why nobody can do a task on its day, with names and without; None where somebody can."""
    shut = closed_on(work.day, roster)
    if shut is not None and (work.who != "anyone" or work.kind == "dose"):
        return shut_words(shut), shut_words(shut)
    able = [p for p in roster.people if may_do(p.role, work.who, work.kind)]
    away = away_on(work.day, roster)
    if not roster.people or any(p.id not in away for p in able):
        return None
    if not able:
        return NOBODY, NOBODY
    return _away_words(able, away), "everybody who may do it is away"


def shut_words(shut: Shut) -> str:
    """ "Hall is shut (half-term)" """
    return f"{shut.site} is shut ({shut.what})"


def _away_words(able: list[Person], away: dict[str, Away]) -> str:
    who = [f"{p.name}{f' ({away[p.id].because})' if away[p.id].because else ''}" for p in able]
    if len(who) == 1:
        return f"{who[0]} is away, and nobody else may do it"
    return f"{', '.join(who[:-1])} and {who[-1]} are away, and nobody else may do it"


def _gaps(planned: list[Work], roster: Roster) -> Iterator[Clash]:
    """The gaps that shut days make in what anyone may do, each at its first day without it."""
    series: dict[tuple[str, str], list[Work]] = {}
    for one in planned:
        if one.who == "anyone" and (one.kind == "look" or one.latest_hours is not None):
            series.setdefault((one.batch, one.step), []).append(one)
    for runs in series.values():
        before: date | None = None
        without: list[Work] = []
        for run in runs:
            if _nobody(run.day, roster):
                without.append(run)
                continue
            yield from _gap(before, without, run.day, roster)
            before, without = run.day, []
        yield from _gap(before, without, None, roster)


def _nobody(day: date, roster: Roster) -> bool:
    away = away_on(day, roster)
    return closed_on(day, roster) is not None or (bool(roster.people) and all(p.id in away for p in roster.people))


def _gap(before: date | None, without: list[Work], after: date | None, roster: Roster) -> Iterator[Clash]:
    """A gap from the last run that somebody could do to the next one; where all are away each day clashes by itself."""
    shut = next((s for w in without if (s := closed_on(w.day, roster)) is not None), None)
    if shut is None:
        return
    first = without[0]
    begins = before if before is not None else first.day
    ends = after if after is not None else without[-1].day
    if first.latest_hours is not None:
        hours = (ends - begins).days * 24
        if hours > first.latest_hours:
            says = f"{hours} h from {begins} to {ends}, and the template allows {first.latest_hours} h"
            yield Clash(first, f"{shut_words(shut)}: {says}", f"{shut_words(shut)}: {says}")
        return
    last = ends - timedelta(days=1) if after is not None else ends
    unlooked = (last - (begins if before is None else begins + timedelta(days=1))).days + 1
    if unlooked >= UNLOOKED_DAYS:
        says = (
            f"{shut_words(shut)}: nobody looks for {unlooked} days, {first.day} to {last}, and {UNLOOKED_DAYS} in a "
            "row restart the clear count (rule A4)"
        )
        yield Clash(first, says, says)
