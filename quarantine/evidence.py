"""What the facts say about one batch: head count, looked days, clear days, open signs, feeding, readings, deaths.

Pure. Rules A1 to A9 and B6 of the house: day 0 is the day of arrival; a look states how many were seen;
only looked days that state "no signs" count as clear; silence is not gone; unknown stays unknown.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from functools import cached_property
from itertools import pairwise
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from quarantine.facts import DOSES, Condition, Fact, in_order, local_day
from quarantine.failures import Refused
from quarantine.inrange import Count
from quarantine.luggage import MERGED, MOVED_IN, Luggage, entries_of, is_entry, luggage_of, place_of
from quarantine.readings import NITRITE_PER_N, PARAMETERS
from quarantine.signs import SIGNS
from quarantine.water.ledger import Exposure

SEEN_SHARE = Decimal("0.8")  # rule A3
ALL_SEEN_DAYS = 3  # rule A3
UNLOOKED_RESTARTS = 3  # rule A4: this many unlooked days in a row
C_BECOMES_B_HOURS = 48  # rule A5
FEEDING_APPETITE = 2  # rule A6
REFUSES = "off food"  # rule A6: while this sign is open, a fish is known to refuse
STEADY_APART_HOURS, STEADY_GAP_HOURS = 6, 36  # rule A10
ALTERS = ("change", "topup", "evaporation", "exchange", "dose", "removal", "unknown_addition", "filter_on")
SAME_READING_MINUTES = 30  # readings closer than this are duplicates, and the worse counts; our choice, no source
OUTBREAK_DEATHS, OUTBREAK_SHARE = 2, Decimal("0.05")  # rule A7: in 24 hours
WORSE = {"A": 3, "B": 2, "C": 1}
INCIDENT_WORDS = {
    "power": "power cut",
    "heater": "heater failure",
    "leak": "leak",
    "overdose": "overdose",
    "other": "incident",
}
CAME = ("added", MERGED)
COUNTED = (*CAME, "died", "moved", "missing")
"""Facts that change the head count (rule B6); by the first fish came."""
KINDS_OF = {"power": "disturbance", "heater": "disturbance", "moved": "disturbance", "repeat_missed": "dose_missed"}
"""Events that are also another one: what asks for that one means them too."""
ABSENT = "keeper_absent"
"""The event of days on which nobody is there who may look; it may be known ahead. It is made of whole days."""
COOLS = ("power", "heater")
"""Incidents after which the temperature is not known until it is read (rule A10)."""


COUNTING = ("day", "ate", "clear_days", "feeding_days", "days_since_death", "days_since_dose")
"""Kinds of condition that name the earliest day on which they can be met, because they count days."""


class Look(NamedTuple):
    """One look of one day, with what it says and whether it counts (rule A3)."""

    fact: str
    at: datetime
    day: date
    seen: int | None
    appetite: int | None
    offered: bool
    signs: tuple[str, ...]
    gone: tuple[str, ...]
    none: bool
    counts: bool
    entered_at: datetime


class Happening(NamedTuple):
    """One thing that may act on periods: when, which event of the protocol, why, and when it was over.

    ``until`` is None for what has no length (a death). What goes on still (a sign that is open, a power cut) lasts to
    the instant it is asked about. A sign begins a period again at each look that saw it, another event once it is over.
    """

    at: datetime
    event: str
    why: str
    until: datetime | None = None

    @property
    def restarts_at(self) -> datetime:
        """The instant from which a period that begins again counts (rule A5: the last day of a sign is day 0)."""
        return self.at if self.until is None or self.event.startswith("sign") else self.until


class OpenSign(NamedTuple):
    """A sign that was seen and not yet said to be gone."""

    name: str
    severity: str
    since: datetime


class Clear(NamedTuple):
    """The clear count: how many days, since which day zero, why it stands there, and when silence restarts it."""

    days: int
    zero: date
    because: str
    lapses_on: date | None
    counted: tuple[date, ...] = ()
    """the days that were counted since day zero"""


class Evidence(NamedTuple):
    """Everything conditions are judged on, for one batch at one instant."""

    batch: str
    zone: str
    as_of: datetime
    today: date
    arrived_on: date
    entered_at: datetime
    alive: int
    arrived: int
    balanced: bool
    looks: tuple[Look, ...]
    open_signs: tuple[OpenSign, ...]
    clear: Clear
    deaths: tuple[Fact, ...]
    happenings: tuple[Happening, ...]
    """what may act on periods, in order of time; days on which nobody will be there are known ahead"""
    readings: tuple[Fact, ...]
    exposures: tuple[Exposure, ...]
    lifted_at: datetime | None
    """when a person last lifted a hold"""
    extended_days: int
    """days a person added at sign-off"""
    altered: tuple[datetime, ...] = ()
    """when the water was changed, topped up or dosed: what was read before is no duplicate of what was read after"""
    stopped: tuple[Fact, ...] = ()
    """courses that a person stopped before their last dose (F41)"""
    all_seen_on: date | None = None
    """the last day on which every living fish was seen (rule A3); None: there is none alive to see"""
    of_water: tuple[Happening, ...] = ()
    """of the happenings those that are of the water, and not the batch's own"""
    entered_id: str = ""
    """the fact by which fish last entered the water"""
    since: datetime | None = None
    """since when the batch is in this water"""
    luggage: Luggage | None = None
    """what it brought along from the water before"""
    merged: tuple[Fact, ...] = ()
    """batches that are counted with it since"""
    sentinels: tuple[Fact, ...] = ()
    """fish that were put to it to show what the others carry"""
    held: tuple[tuple[datetime, str], ...] = ()
    """(when, why) of holds of this water that fish left open when they went or their batch was closed (rule C9)"""
    cold: tuple[tuple[datetime, str], ...] = ()
    """(when, in words) heating stopped or may have: what was read before proves nothing of the temperature since"""


class PeriodStanding(NamedTuple):
    """How one period stands: its day zero and why, and the day it is complete (rule A8, after that day's look)."""

    id: str
    title: str
    length: int
    zero: date
    because: str
    complete_on: date
    day: int
    in_range: Count | None = None
    """of a period that counts days in range: how it stands"""
    first: date | None = None
    """the day zero it had before anything began it again"""
    begins: str = ""
    """why that was its day zero"""
    paused: tuple[date, ...] = ()
    """days that an event of the protocol keeps from being counted"""
    longer: tuple[tuple[date, int], ...] = ()
    """(day, days): by how many whole days an event made it longer"""

    @property
    def is_proven(self) -> bool:
        """Whether nothing that was not read yet could keep the period from its end."""
        return self.in_range is None or self.in_range.is_proven


class Standing(NamedTuple):
    """How one batch stands."""

    evidence: Evidence
    periods: tuple[PeriodStanding, ...]
    earliest: date
    days: tuple[tuple[str, date], ...] = ()
    """of each criterion that has one its title, and the first day on which it can be met if all goes well"""
    own: date | None = None
    """the day by the batch's own criteria, where the earliest day is that of another batch in its water (rule B5)"""
    waits_for: str = ""
    """the name of that batch"""

    @property
    def because(self) -> str:
        """Why the earliest day is not the batch's own; "" where it is."""
        return waits_words(self.waits_for) if self.waits_for else ""

    @property
    def earliest_words(self) -> str:
        """The earliest day, and whose it is where it is another batch's."""
        return f"{self.earliest}, {self.because}" if self.waits_for else str(self.earliest)


TOGETHER = "Every batch in this water is ready (rule B5)"
"""What sign-off asks for where several batches are in one water."""


def waits_words(batch: str) -> str:
    """Why the earliest day of a batch is that of another one (rule B5)."""
    return f"because batch {batch} is in the same water (rule B5)"


def own_clock(events: Mapping[str, str]) -> bool:
    """Whether a template lets a batch keep its own clock when fish come into its water (rule B1), by its events."""
    return events["fish_added"] != "restart"


class Verdict(NamedTuple):
    """How one condition stands: met (None: cannot be judged), in a sentence, and the earliest day it can be met."""

    met: bool | None
    says: str
    earliest: date | None = None
    figure: str | None = None
    figure_unit: str | None = None


def severity_of(name: str, data: dict[str, Any]) -> str:
    """A, B or C of a sign in a look: as the keeper stated it, else as the table has it."""
    stated: str | None = data.get("severity", {}).get(name)
    return stated or (SIGNS[name].severity if name in SIGNS else "B")


class Known:
    """The facts of a water in order, and found by kind and by batch: where many batches share a water, each of them
    goes through what concerns it, and not through all that happened."""

    def __init__(self, facts: list[Fact], as_of: datetime) -> None:
        self.ordered = [fact for fact in in_order(facts) if fact.at <= as_of]
        self._of_batch: dict[str | None, list[Fact]] = {}
        self._of_kinds: dict[tuple[str, ...], list[Fact]] = {}
        by_kind: dict[str, list[tuple[int, Fact]]] = {}
        for place, fact in enumerate(self.ordered):
            self._of_batch.setdefault(fact.batch, []).append(fact)
            by_kind.setdefault(fact.kind, []).append((place, fact))
        self._by_kind = by_kind
        self.readings = tuple(self.of("reading"))
        self.altered = tuple(fact.at for fact in self.of(*ALTERS))

    def own(self, batch: str) -> list[Fact]:
        """The facts of a batch, in order."""
        return self._of_batch.get(batch, [])

    def of(self, *kinds: str) -> list[Fact]:
        """The facts of these kinds, in order."""
        if kinds not in self._of_kinds:
            places = sorted((place, fact) for kind in kinds for place, fact in self._by_kind.get(kind, ()))
            self._of_kinds[kinds] = [fact for _, fact in places]
        return self._of_kinds[kinds]

    @cached_property
    def outcomes(self) -> dict[str, Fact]:
        """Key -> what came of its task, the last of them."""
        return {f.data["key"]: f for f in self.of("done", "skip", *DOSES) if "key" in f.data}

    @cached_property
    def read_in(self) -> dict[str | None, list[Fact]]:
        """Tank -> its readings, in order."""
        found: dict[str | None, list[Fact]] = {}
        for fact in self.readings:
            found.setdefault(fact.tank, []).append(fact)
        return found

    @cached_property
    def no_roots(self) -> set[str]:
        """Facts on which a series may hang that began by none of its looks, readings or words."""
        return {fact.id for fact in self.of("lapse", "amended")}


def gather(
    facts: list[Fact] | Known,
    batch: str,
    zone: str,
    arrival: Fact,
    as_of: datetime,
    exposures: list[Exposure],
    away: Iterable[tuple[date, str]] = (),
) -> Evidence:
    """Read the facts of a batch's water up to ``as_of``.

    ``facts`` are those of the whole water system, in any order; those of other batches only say that fish came in.
    ``away`` are the days on which nobody is there who may look, also those to come, each with why.
    """
    known = facts if isinstance(facts, Known) else Known(facts, as_of)
    own = known.own(batch)
    arrived = int(arrival.data["count"])
    bags, place = luggage_of(own, batch), place_of(own, batch, arrival)
    entries = entries_of(known.of("arrival", "added", MOVED_IN), batch, place)
    looks, all_seen_on = _looks(own, arrived, zone, local_day(arrival.at, zone))
    deaths = tuple(f for f in own if f.kind == "died")
    merged = tuple(f for f in own if f.kind == MERGED)
    alive = _alive(own, arrived)
    open_signs, happenings = _signs(own, as_of)
    happenings += _deaths(deaths, own, arrived)
    happenings += [one for f in merged for one in _of_merged(f)]
    happenings += [_came(f) for f in own if f.kind != "arrival" and is_entry(f)]
    tank = place.tank
    incidents = [f for f in known.of("incident") if tank is None or tank in f.data["tank_ids"]]
    of_water = [Happening(*one) for one in bags.happenings] if bags else []
    of_water += [_came(f) for f in entries if f.batch != batch]
    of_water += [
        one._replace(at=max(one.at, place.since))
        for one in _incidents(incidents, known.of("incident_over"), as_of)
        if one.until is None or one.until >= place.since
    ]
    told = [f for f in known.of("disturbance", "shared") if f.batch != batch and f.at >= place.since]
    of_water += [one for f in told if (one := _told(f, batch)) is not None]
    happenings += of_water
    happenings += _missed_doses(own, known.outcomes)
    happenings += _courses(own)
    stopped = tuple(f for f in own if f.kind == "stopped")
    today = local_day(as_of, zone)
    happenings += _not_looked(looks, local_day(arrival.at, zone), today, zone)
    happenings += _nobody_there(away, looks, local_day(arrival.at, zone), zone)
    happenings += [one for f in own if (one := _told(f, batch)) is not None]
    entered = bags.entered_at if bags else arrival.at, bags.entered_id if bags else arrival.id
    entered_at, entered_id = (entries[-1].at, entries[-1].id) if entries else entered
    lifted = [bags.lifted_at] if bags and bags.lifted_at else []
    lifted += [f.at for f in known.of("lift") if f.at >= place.since]
    return Evidence(
        batch=batch,
        zone=zone,
        as_of=as_of,
        today=today,
        arrived_on=local_day(arrival.at, zone),
        entered_at=entered_at,
        alive=alive,
        arrived=arrived,
        balanced=alive >= 0,
        looks=tuple(looks),
        open_signs=tuple(open_signs),
        clear=_with_others(clear_count(looks, own, local_day(entered_at, zone), today, as_of), merged, zone, looks),
        deaths=_with_their_deaths(deaths, merged),
        happenings=tuple(sorted(happenings, key=lambda one: one[:3])),
        readings=known.readings,
        exposures=_of_these(exposures, (batch, *(f.data["from_batch"] for f in merged)), bags),
        lifted_at=lifted[-1] if lifted else None,
        held=tuple((f.at, f.data["because"]) for f in known.of("held") if f.at >= place.since),
        extended_days=_extended(own),
        altered=known.altered,
        stopped=stopped,
        all_seen_on=_all_seen(all_seen_on, merged, zone) if alive > 0 else None,
        of_water=tuple(sorted(of_water, key=lambda one: one[:3])),
        entered_id=entered_id,
        since=place.since,
        merged=merged,
        sentinels=tuple(f for f in own if f.kind == "added" and f.data.get("sentinel")),
        luggage=bags,
        cold=tuple((f.at, INCIDENT_WORDS[f.data["what"]]) for f in incidents if f.data["what"] in COOLS),
    )


def _came(fact: Fact) -> Happening:
    """Fish entered a water that others are in (rules B1 and B3)."""
    return Happening(fact.at, "fish_added", "fish came into the water")


def happening_of(said: list[Any]) -> Happening:
    """A happening that a fact keeps, as (at, event, why, until)."""
    at, event, why, until = said
    return Happening(datetime.fromisoformat(at), event, why, datetime.fromisoformat(until) if until else None)


def _of_merged(fact: Fact) -> Iterator[Happening]:
    """What acted on a batch before it was merged: what lay ahead of it then lies ahead of both."""
    for one in map(happening_of, fact.data["happenings"]):
        if one.at <= fact.at:
            yield one._replace(until=one.until and min(one.until, fact.at))


def _with_others(clear: Clear, merged: tuple[Fact, ...], zone: str, looks: list[Look]) -> Clear:
    """The clear days of batches that were merged: those that were counted for each of them (rule B3); a look at all of
    them on the day they were merged counts for all."""
    for fact in merged:
        theirs, on = fact.data["clear"], local_day(fact.at, zone)
        zero = date.fromisoformat(theirs["zero"])
        both = {date.fromisoformat(day) for day in theirs["counted"]}
        both |= {look.day for look in _after(fact, looks) if look.counts and look.none}
        counted = tuple(day for day in clear.counted if day > zero and (day > on or day in both))
        later = zero > clear.zero
        clear = clear._replace(
            days=len(counted),
            counted=counted,
            zero=max(zero, clear.zero),
            because=theirs["because"] if later else clear.because,
        )
    return clear


def _extended(own: list[Fact]) -> int:
    """The days that a person added at sign-off: of merged batches the more of both (rule B3), and those added since."""
    days = 0
    for fact in own:
        days += int(fact.data["days"]) if fact.kind == "extended" else 0
        days = max(days, int(fact.data.get("extended", 0))) if fact.kind == MERGED else days
    return days


def _all_seen(own: date, merged: tuple[Fact, ...], zone: str) -> date:
    """The last day on which every fish was seen: of a merged batch its own, until all were seen together."""
    theirs = [f.data["all_seen_on"] for f in merged if own <= local_day(f.at, zone) and f.data["all_seen_on"]]
    return min([own, *(date.fromisoformat(day) for day in theirs)])


def _with_their_deaths(deaths: tuple[Fact, ...], merged: tuple[Fact, ...]) -> tuple[Fact, ...]:
    """The deaths of a batch and the last one of each that was merged into it, in order."""
    last = [f._replace(at=datetime.fromisoformat(said)) for f in merged if (said := f.data["last_death"])]
    return tuple(in_order([*deaths, *last])) if last else deaths


def fed_days(evidence: Evidence) -> int:
    """:func:`feeding_days` of all the fish: of merged batches the shortest of their counts (rule B3)."""
    return min([feeding_days(evidence.looks), *(int(f.data["feeding"]) + _since(f, evidence) for f in evidence.merged)])


def _since(fact: Fact, evidence: Evidence) -> int:
    """The feeding days since batches were merged."""
    return feeding_days(_after(fact, evidence.looks))


def _after(fact: Fact, looks: Iterable[Look]) -> tuple[Look, ...]:
    """The looks since batches were merged; of one second the order of entry decides."""
    merged = (fact.at, fact.entered_at, fact.id)
    return tuple(look for look in looks if (look.at, look.entered_at, look.fact) > merged)


def eaten_days(evidence: Evidence) -> int:
    """:func:`ate_days` of all the fish, likewise."""
    later = [_after(fact, evidence.looks) for fact in evidence.merged]
    theirs = [int(f.data["ate"]) + ate_days(looks) for f, looks in zip(evidence.merged, later, strict=True)]
    return min([ate_days(evidence.looks), *theirs])


def _of_these(exposures: list[Exposure], batches: tuple[str, ...], bags: Luggage | None) -> tuple[Exposure, ...]:
    """What these fish were in: in the water they left, and in this one since they are in it."""
    mine = [one for one in exposures if one.batch in (None, *batches)]
    if bags is None:
        return tuple(mine)
    since = bags.fact.at
    return tuple(
        one if one.batch else one._replace(since=max(one.since, since))
        for one in mine
        if one.batch or one.until is None or one.until > since
    )


def unseen_days(all_seen_on: date | None, today: date) -> int:
    """For how many days not every living fish has been seen, once that are as many as rule A3 allows; else 0.

    A fish that nobody has seen for three days is looked for on the third: from the fourth on no look counts until
    every fish was seen.
    """
    days = 0 if all_seen_on is None else (today - all_seen_on).days
    return days if days >= ALL_SEEN_DAYS else 0


def unseen_words(all_seen_on: date | None, today: date) -> str:
    """The streak of :func:`unseen_days` as a sentence; "" before its day."""
    days = unseen_days(all_seen_on, today)
    if not days:
        return ""
    until = (
        "see each one today, or no look counts from tomorrow on"
        if days == ALL_SEEN_DAYS
        else "see each one today; no look counts"
    )
    return (
        f"Not every fish was seen since {all_seen_on} ({days} days): {until} until all were seen "
        f"(rule A3: {SEEN_SHARE * 100:.0f} % of the living, and every fish within {ALL_SEEN_DAYS} days)."
    )


def _told(fact: Fact, batch: str) -> Happening | None:
    """What a keeper told of the water or of this batch, as a happening; None for other facts."""
    data = fact.data
    if fact.kind == "disturbance":
        return Happening(fact.at, "disturbance", f"disturbance: {data.get('what', 'not said')}")
    if fact.kind == "shared":
        return Happening(fact.at, "shared_net", f"shared {data['what']} with {data['with']}")
    if fact.batch != batch:
        return None
    if fact.kind == "moved_in":
        return Happening(fact.at, "moved", f"moved from {data['from']}")
    if fact.kind == "instruction":
        return Happening(fact.at, "instruction", f"an instruction by {data['who']}")
    return Happening(fact.at, "revised", "the protocol was amended") if fact.kind == "amended" else None


def _incidents(incidents: list[Fact], ended: list[Fact], as_of: datetime) -> list[Happening]:
    """Power cuts, heater failures and the like, from when to when; one that nobody ended goes on."""
    over = {f.data["of"]: f.at for f in ended}
    found = []
    for fact in incidents:
        said = fact.data.get("until")
        until = datetime.fromisoformat(said) if said else over.get(fact.id, as_of)
        event = fact.data["what"] if fact.data["what"] in COOLS else "disturbance"
        found.append(Happening(fact.at, event, f"incident: {INCIDENT_WORDS[fact.data['what']]}", min(until, as_of)))
    return found


def _courses(own: list[Fact]) -> list[Happening]:
    """What came of doses otherwise than planned: late, partly, over their time, stopped before their end."""
    found = []
    for fact in own:
        data = fact.data
        if fact.kind == "stopped":
            found.append(Happening(fact.at, "dose_missed", f"the course {data['title']!r} was stopped"))
        if fact.kind in DOSES and data.get("timing") in ("late", "missed"):
            found.append(Happening(fact.at, "dose_late", "a dose was given late"))
        if data.get("contact") == "partly" or data.get("eaten") == "part":
            found.append(Happening(fact.at, "dose_partly", "a dose was given partly"))
        if data.get("contact") == "overrun":
            found.append(Happening(fact.at, "bath_overrun", "a bath went on for too long"))
    return found


def _not_looked(looks: list[Look], arrived_on: date, today: date, zone: str) -> list[Happening]:
    """The days between arrival and yesterday on which nobody looked so that it counts (rule A3)."""
    looked = {look.day for look in looks if look.counts}
    tried = {look.day for look in looks}
    days = [arrived_on + timedelta(days=n) for n in range(1, (today - arrived_on).days)]
    return [
        Happening(noon(day, zone), "not_looked", "no look that counts (rule A3)" if day in tried else "nobody looked")
        for day in days
        if day not in looked
    ]


def _nobody_there(away: Iterable[tuple[date, str]], looks: list[Look], arrived_on: date, zone: str) -> list[Happening]:
    """The days after arrival on which nobody is there who may look, as far ahead as they are known; those that follow
    one another as one, from the noon of the first to that of the last. A day on which somebody looked all the same, so
    that it counts, is none: what harms is silence."""
    looked = {look.day for look in looks if look.counts}
    spans: list[tuple[date, date, str]] = []
    for day, why in away:
        if day <= arrived_on or day in looked:
            continue
        if spans and spans[-1][1:] == (day - timedelta(days=1), why):
            spans[-1] = (spans[-1][0], day, why)
        else:
            spans.append((day, day, why))
    return [Happening(noon(first, zone), ABSENT, why, noon(last, zone)) for first, last, why in spans]


def noon(day: date, zone: str) -> datetime:
    """Local noon of a day, in UTC: what stands for a day that has no instant of its own."""
    return datetime.combine(day, time(12), ZoneInfo(zone)).astimezone(UTC)


def _missed_doses(own: list[Fact], outcomes: dict[str, Fact]) -> list[Happening]:
    """Each missed dose once: a reason given after a lapse is no second miss, a dose entered late that was given
    in time is none at all. One in food that was not eaten is missed as well, and so is a move that is a treatment."""
    missed: dict[str, Fact] = {}
    for fact in own:
        lapse = fact.kind == "lapse"
        not_eaten = fact.kind in DOSES and "key" in fact.data and fact.data.get("eaten") == "none"
        skipped = fact.kind == "skip" and fact.data.get("task_kind") in ("dose", "move")
        if not (lapse or skipped or not_eaten):
            continue
        key = fact.data["key"]
        given = outcomes.get(key) if lapse else None
        if given is None or given.kind not in DOSES or given.at > fact.at:
            missed.setdefault(key, fact)
    return [
        Happening(
            fact.at,
            "dose_missed" if key.endswith(":1") else "repeat_missed",
            f"a {fact.data.get('task_kind', 'dose')} was missed",
        )
        for key, fact in missed.items()
    ]


def _alive(own: list[Fact], arrived: int) -> int:
    """Living fish by the ledger (rule B6): arrived and added, less dead, euthanised, moved, missing."""
    counts = [(f.kind in CAME, int(f.data["count"])) for f in own if f.kind in COUNTED]
    return arrived + sum(count if came else -count for came, count in counts)


def _looks(own: list[Fact], arrived: int, zone: str, arrived_on: date) -> tuple[list[Look], date]:
    """The looks, and the last day on which every living fish was seen."""
    looks: list[Look] = []
    all_seen_on = arrived_on  # the fish were counted in
    counted = [f for f in own if f.kind in COUNTED]
    alive, place = arrived, 0
    for fact in own:
        if fact.kind != "look":
            continue
        data = fact.data
        day = local_day(fact.at, zone)
        seen = data.get("seen")
        while place < len(counted) and counted[place].at <= fact.at:
            alive, place = _alive([counted[place]], alive), place + 1
        if seen is not None and seen >= alive:
            all_seen_on = day
        enough = seen is not None and Decimal(seen) >= SEEN_SHARE * alive
        appetite = data.get("appetite")
        looks.append(
            Look(
                fact=fact.id,
                at=fact.at,
                day=day,
                seen=seen,
                appetite=appetite,
                offered=data.get("offered", appetite is not None),
                signs=tuple(data.get("signs", ())),
                gone=tuple(data.get("gone", ())),
                none=bool(data.get("no_signs")),
                counts=bool(enough and (day - all_seen_on).days <= ALL_SEEN_DAYS),
                entered_at=fact.entered_at,
            )
        )
    return looks, all_seen_on


def _hours_open(sign: OpenSign, at: datetime) -> OpenSign:
    """The sign as it stands at an instant: C that has been open longer than 48 hours is B (rule A5)."""
    if sign.severity == "C" and at - sign.since > timedelta(hours=C_BECOMES_B_HOURS):
        return sign._replace(severity="B")
    return sign


def _signs(own: list[Fact], as_of: datetime) -> tuple[list[OpenSign], list[Happening]]:
    """The signs still open, and each seeing of a sign as an event of the protocol (sign_a, sign_b, sign_c).

    A sign lasts from one look that saw it to the next that speaks of it; one that is open lasts to ``as_of``.
    """
    open_: dict[str, OpenSign] = {}
    last: dict[str, Happening] = {}
    events: list[Happening] = []
    for fact in own:
        if fact.kind != "look":
            continue
        gone = [*open_] if fact.data.get("no_signs") else [n for n in fact.data.get("gone", ()) if n in open_]
        events += [last.pop(name)._replace(until=fact.at) for name in gone]
        events += [Happening(fact.at, "sign_gone", f"sign gone: {name}") for name in gone]
        for name in gone:
            del open_[name]
        for name in fact.data.get("signs", ()):
            if name in last:
                events.append(last[name]._replace(until=fact.at))
            since = open_[name].since if name in open_ else fact.at
            open_[name] = sign = _hours_open(OpenSign(name, severity_of(name, fact.data), since), fact.at)
            event, why = f"sign_{sign.severity.lower()}", f"sign seen: {name} ({sign.severity})"
            last[name] = Happening(fact.at, event, why)
    events += [one._replace(until=as_of) for one in last.values()]
    return list(open_.values()), events


def _deaths(deaths: tuple[Fact, ...], own: list[Fact], arrived: int) -> list[Happening]:
    """Deaths as events (rule A7): "outbreak" for two in 24 hours or over 5 %, explained or not; else "death" when
    unexplained. Euthanised is its own outcome and none of these: what was seen of those fish is its look's."""
    events = []
    died = [fact for fact in deaths if not fact.data.get("euthanised")]
    for fact in died:
        day_before = fact.at - timedelta(hours=24)
        count = sum(int(f.data["count"]) for f in died if day_before <= f.at <= fact.at)
        alive_before = _alive([f for f in own if f.at < day_before], arrived)
        if count >= OUTBREAK_DEATHS or Decimal(count) > OUTBREAK_SHARE * max(alive_before, 1):
            events.append(Happening(fact.at, "outbreak", f"{count} of {max(alive_before, count)} dead in 24 hours"))
        elif not fact.data.get("explained"):
            events.append(Happening(fact.at, "death", "an unexplained death"))
    return events


def clear_count(
    looks: list[Look], own: list[Fact], entered_on: date, today: date, as_of: datetime | None = None
) -> Clear:
    """Clear days by rules A4 and A5, counted from the day after ``entered_on`` to today.

    With ``as_of`` a sign of severity C that is silently open for longer than 48 hours counts as B now.
    """
    by_day: dict[date, list[Look]] = {}
    for look in looks:
        by_day.setdefault(look.day, []).append(look)
    data_of = {f.id: f.data for f in own if f.kind == "look"}
    open_: dict[str, OpenSign] = {}
    counted: list[date] = []
    zero, because, silent, last_looked = entered_on, "the last fish came in", 0, entered_on
    first = min([entered_on, *by_day])
    for offset in range((today - first).days + 1):
        day = first + timedelta(days=offset)
        seen: list[OpenSign] = []
        for look in by_day.get(day, []):
            seen += _at_look(open_, look, data_of[look.fact])
        if day == today and as_of is not None:
            seen += [sign for sign in _turned(open_, as_of) if sign.severity == "B"]
        if day < entered_on:
            continue
        worst = max(seen, key=lambda sign: WORSE[sign.severity], default=None)
        whole = [look for look in by_day.get(day, []) if look.counts]
        if worst is not None and worst.severity in ("A", "B"):
            counted, zero, because = [], day, f"sign seen: {worst.name} ({worst.severity})"
        elif day > zero and any(look.none for look in whole) and not open_ and worst is None:
            counted.append(day)
        if whole or worst is not None or day == entered_on:
            silent, last_looked = 0, day
        elif day < today:
            silent += 1
            if silent == UNLOOKED_RESTARTS:
                counted, zero, because, silent = [], day, "three days in a row without a look", 0
    lapses = last_looked + timedelta(days=UNLOOKED_RESTARTS + 1) if counted else None
    return Clear(len(counted), zero, because, lapses, tuple(counted))


def _turned(open_: dict[str, OpenSign], at: datetime) -> list[OpenSign]:
    """The open signs of severity C that are B by now; they are B from here on."""
    turned = [sign for sign in (_hours_open(s, at) for s in open_.values()) if sign != open_[sign.name]]
    open_.update({sign.name: sign for sign in turned})
    return turned


def _at_look(open_: dict[str, OpenSign], look: Look, data: dict[str, Any]) -> list[OpenSign]:
    """What a look says of signs, written into ``open_``; the signs that count as seen by it.

    Silence is not gone: C that stood open for over 48 hours until this look was B, whatever the look says.
    """
    seen = _turned(open_, look.at)
    if look.none:
        open_.clear()
    for name in look.gone:
        open_.pop(name, None)
    for name in look.signs:
        since = open_[name].since if name in open_ else look.at
        open_[name] = _hours_open(OpenSign(name, severity_of(name, data), since), look.at)
        seen.append(open_[name])
    return seen


def feeding_days(looks: tuple[Look, ...]) -> int:
    """How many of the last offered days, without a break, were feeding days (rule A6).

    An offered day without a look that counts is none; nor is a day on which a fish is known to refuse, which is
    so until a look says that the sign is gone.
    """
    fed: dict[date, bool] = {}
    refused: set[date] = set()
    refuses = False
    for look in looks:
        if REFUSES in look.gone or look.none:
            refuses = False
        refuses = refuses or REFUSES in look.signs
        if look.offered:
            ate = look.counts and (look.appetite or 0) >= FEEDING_APPETITE
            fed[look.day] = fed.get(look.day, False) or ate
        if refuses:
            refused.add(look.day)
    streak = 0
    for day in sorted(fed, reverse=True):
        if not fed[day] or day in refused:
            break
        streak += 1
    return streak


def ate_days(looks: tuple[Look, ...]) -> int:
    """On how many looked days fish ate at all well (appetite 2 or more)."""
    return len({look.day for look in looks if look.counts and (look.appetite or 0) >= FEEDING_APPETITE})


def worst_open(evidence: Evidence) -> str:
    """The worst severity open now, "" when none."""
    severities = [_hours_open(sign, evidence.as_of).severity for sign in evidence.open_signs]
    return max(severities, key=lambda s: WORSE[s], default="")


def emergency(evidence: Evidence) -> str | None:
    """What holds every dose in this water (rule C9): an A sign, two deaths or over 5 % in 24 hours, until a person
    lifts it. Saying that the sign is gone does not lift it."""
    grave = [one for one in evidence.happenings if one.event in ("sign_a", "outbreak")]
    # It stands until it is lifted, so its day is said: "in 24 hours" is not those before now.
    dated = ((one.at, f"{one.why}, {local_day(one.at, evidence.zone)}") for one in grave)
    stands = sorted([*dated, *evidence.held])
    open_ = [why for at, why in stands if evidence.lifted_at is None or at > evidence.lifted_at]
    return open_[-1] if open_ else None


def act_now_words(why: str) -> str:
    """What an open emergency asks for, as a sentence."""
    return (
        f"ACT NOW ({why}): test the water, add air, isolate the sick, call a veterinarian. Every dose in this water is "
        "held until a named person lifts it: quarantine event lift."
    )


def last_readings(
    readings: tuple[Fact, ...], parameter: str, altered: tuple[datetime, ...] = (), oldest: datetime | None = None
) -> list[Fact]:
    """The newest reading of a parameter and its duplicates, in order of time: those less than half an hour older and of
    the same water, that is not from before an instant of ``altered``. None is looked for before ``oldest``."""
    close: list[Fact] = []
    for fact in reversed(readings):
        if close and close[0].at - fact.at >= timedelta(minutes=SAME_READING_MINUTES):
            break
        if not close and oldest is not None and fact.at < oldest:
            break
        if fact.data["parameter"] == parameter:
            close.append(fact)
    if len(close) > 1:
        fresh = max((at for at in altered if at < close[0].at), default=None)
        close = [f for f in close if fresh is None or f.at >= fresh]
    return close[::-1]


class Span(NamedTuple):
    """A value with the ends its kits allow. ``least`` and ``most`` are what was read: one figure, or the two ends of
    duplicates, which are never averaged."""

    low: Decimal
    high: Decimal
    at: datetime
    least: Decimal
    most: Decimal


def span_of(duplicates: list[Fact]) -> Span:
    """Duplicate readings as one span, dated by the newest."""
    pairs = [(Decimal(f.data["value"]), Decimal(f.data["step"]) / 2) for f in duplicates]
    values = [value for value, _ in pairs]
    low, high = min(value - half for value, half in pairs), max(value + half for value, half in pairs)
    return Span(low, high, duplicates[-1].at, min(values), max(values))


def value_now(evidence: Evidence, parameter: str, within_hours: int) -> Span | None:
    """The parameter's value with its kit's error; un-ionized ammonia is computed. None: unknown or too old."""
    return value_at(evidence.readings, evidence.altered, evidence.as_of, parameter, within_hours)


def value_at(
    readings: tuple[Fact, ...], altered: tuple[datetime, ...], at: datetime, parameter: str, within_hours: int
) -> Span | None:
    """The same from the readings of a water up to ``at``, in order of time, and when that water was altered."""
    names = ("tan", "ph", "temperature") if parameter == "uia" else (parameter,)
    oldest = at - timedelta(hours=within_hours)
    parts = [last_readings(readings, name, altered, oldest) for name in names]
    if not all(parts):
        return None
    return _uia(readings, parts) if parameter == "uia" else span_of(parts[0])


def _ends(pairs: set[tuple[float, float]]) -> set[tuple[float, float]]:
    """Of values with the steps of their kits those at the ends: forty tanks of one water may be read in an hour, and
    between the ends nothing is worse (un-ionized ammonia rises with each of the three)."""
    lowest, highest = min(pairs, key=lambda one: one[0] - one[1] / 2), max(pairs, key=lambda one: one[0] + one[1] / 2)
    return {min(pairs), max(pairs), lowest, highest}


def _uia(readings: tuple[Fact, ...], parts: list[list[Fact]]) -> Span | None:
    """Un-ionized ammonia from total ammonia, pH and temperature; of duplicates the worse."""
    from itertools import product

    from quarantine.water.ammonia import un_ionized_mg_per_l

    water = parts[0][-1].data.get("water", "fresh")
    salt = (
        None if water == "fresh" else next((f for f in reversed(readings) if f.data["parameter"] == "salinity"), None)
    )
    salinity = float(salt.data["value"]) if salt else None
    pairs = [_ends({(float(f.data["value"]), float(f.data["step"])) for f in found}) for found in parts]
    try:
        ends = [un_ionized_mg_per_l(t, p, c, water, salinity) for t, p, c in product(*pairs)]
    except Refused:
        return None  # outside the range of the published formulas: unknown, and so never met
    low, high = Decimal(repr(min(end[0] for end in ends))), Decimal(repr(max(end[1] for end in ends)))
    return Span(low, high, min(found[-1].at for found in parts), low, high)


def known_at(evidence: Evidence, own: list[Fact], at: datetime) -> Evidence:
    """What was known of looks, signs, events and readings at an earlier instant; what is counted stays as of now.

    ``own`` are the batch's looks in order.
    """
    return evidence._replace(
        as_of=at,
        today=local_day(at, evidence.zone),
        looks=_up_to(evidence.looks, at),
        open_signs=tuple(_signs(_up_to(own, at), at)[0]),
        happenings=_up_to(evidence.happenings, at),
        cold=tuple(one for one in evidence.cold if one[0] <= at),
        readings=_up_to(evidence.readings, at),
        altered=evidence.altered[: bisect_right(evidence.altered, at)],
    )


def _up_to(found: Any, at: datetime) -> Any:
    """Of a list or tuple in order of time what is not later than an instant."""
    return found[: bisect_right(found, at, key=lambda one: one.at)]


def describe(parameter: str) -> str:
    """The parameter's words."""
    return PARAMETERS[parameter].title


def judge(condition: Condition, evidence: Evidence) -> Verdict:
    """How one condition stands. Unknown never counts as met.

    Conditions that need the plan (period, tasks) are judged in :mod:`quarantine.clearance`.
    """
    return _JUDGES[condition.kind](condition, evidence)


def _day(condition: Condition, evidence: Evidence) -> Verdict:
    need = int(condition.value)
    now = (evidence.today - evidence.arrived_on).days
    when = evidence.arrived_on + timedelta(days=need)
    return Verdict(now >= need, f"day {now}, needed: day {need} ({when})", when, str(now), "day")


def _ate(condition: Condition, evidence: Evidence) -> Verdict:
    need, have = int(condition.value), eaten_days(evidence)
    return Verdict(
        have >= need,
        f"ate on {have} looked days, needed: {need}",
        _day_of_count(
            need - have, any(look.day == evidence.today and look.offered for look in evidence.looks), evidence
        ),
        str(have),
        "days",
    )


def _day_of_count(missing: int, today_is_settled: bool, evidence: Evidence) -> date:
    """The day on which so many more days can have been counted, today among them unless it is settled."""
    return evidence.today + timedelta(days=max(0, missing if today_is_settled else missing - 1))


def _no_sign(condition: Condition, evidence: Evidence) -> Verdict:
    limit = WORSE[str(condition.value)]
    worst = worst_open(evidence)
    names = ", ".join(f"{s.name} ({s.severity})" for s in evidence.open_signs)
    if worst and WORSE[worst] >= limit:
        return Verdict(False, f"sign open: {names}", None, worst, "severity")
    if not any(look.counts for look in evidence.looks):
        return Verdict(None, "nobody has looked yet")
    return Verdict(True, f"no open sign of severity {condition.value} or worse")


def _limits(condition: Condition) -> tuple[Decimal | None, Decimal | None]:
    return (
        None if condition.low is None else Decimal(condition.low),
        None if condition.high is None else Decimal(condition.high),
    )


def _range_text(condition: Condition) -> str:
    low, high = _limits(condition)
    unit = f" {condition.unit}" if condition.unit else ""
    if low is not None and high is not None:
        return f"{low} to {high}{unit}"
    return f"at least {low}{unit}" if high is None else f"at most {high}{unit}"


def _reading(condition: Condition, evidence: Evidence) -> Verdict:
    from quarantine.quantity import show_significant

    name = str(condition.value)
    hours = condition.within_hours or 24
    span = value_now(evidence, name, hours)
    if span is None:
        return Verdict(None, f"{describe(name)}: no reading of the last {hours} h; needed: {_range_text(condition)}")
    low, high = _limits(condition)
    # What was read is judged, not what the kit's step adds to it; of duplicates, as of a computed one, the worse end.
    worst = span.most if high is not None and span.most > high else span.least
    good = (low is None or span.least >= low) and (high is None or span.most <= high)
    unit = f" {condition.unit}" if condition.unit else ""
    if good and name == "nitrite" and (said := _form_not_said(evidence, span, high)):
        return Verdict(None, f"{said}; needed: {_range_text(condition)}")
    if name == "uia":
        shown = f"{show_significant(span.low, 2, up=False)} to {show_significant(span.high, 2, up=True)}{unit}"
    elif span.least == span.most:
        shown = f"{show_significant(span.most, 6)}{unit}"
    else:
        shown = f"{show_significant(span.least, 6)} and {show_significant(span.most, 6)}{unit} (the worse counts)"
    return Verdict(
        good,
        f"{describe(name)} {shown}, needed: {_range_text(condition)}",
        None,
        show_significant(worst, 3),
        condition.unit or None,
    )


def _form_not_said(evidence: Evidence, span: Span, high: Decimal | None) -> str:
    """Why a nitrite reading inside its limit cannot be judged: nobody said what the kit reads, and it would be over the
    limit if that is nitrite nitrogen. Empty where it can."""
    from quarantine.quantity import show_significant

    silent = [f for f in last_readings(evidence.readings, "nitrite", evidence.altered) if "form" not in f.data]
    as_nitrogen = span.most * NITRITE_PER_N
    if not silent or high is None or as_nitrogen <= high:
        return ""
    return (
        f"nitrite {show_significant(span.most, 6)} mg/L, and if the kit reads nitrite nitrogen that is "
        f"{show_significant(as_nitrogen, 3, up=True)} mg/L: say what it reads (nitrite_no2=... or nitrite_n=...)"
    )


def _steady(condition: Condition, evidence: Evidence) -> Verdict:
    name, hours = str(condition.value), condition.within_hours or 24
    low, high = _limits(condition)
    since = evidence.as_of - timedelta(hours=hours)
    all_ = [f for f in evidence.readings if f.data["parameter"] == name]
    inside = [f for f in all_ if f.at > since]
    gap = timedelta(hours=STEADY_GAP_HOURS)
    apart = timedelta(hours=STEADY_APART_HOURS)
    # Two readings that lie closer prove no time: it takes one that is so much older than the last (rule A10).
    far = [f for f in all_ if inside and f.at <= inside[-1].at - apart][-1:]
    before = [f for f in all_ if far and far[0].at <= f.at <= since]
    before = before or [f for f in all_ if far and f.at <= since and inside[0].at - f.at <= gap][-1:]
    if not far:
        return Verdict(
            None,
            f"{describe(name)}: no two readings at least {STEADY_APART_HOURS} h apart in the last {hours} h; "
            f"needed: {_range_text(condition)}",
        )
    cold = [(at, why) for at, why in evidence.cold if name == "temperature" and since < at <= evidence.as_of]
    if cold and cold[-1][0] > inside[-1].at:
        at, why = cold[-1]
        unread = f"not read since the {why} of {local_day(at, evidence.zone)}"
        return Verdict(None, f"{describe(name)}: {unread}; needed: {_range_text(condition)} for {hours} h")
    for fact in before + inside:
        value = Decimal(fact.data["value"])
        if (low is not None and value < low) or (high is not None and value > high):
            return Verdict(
                False,
                f"{describe(name)} was {fact.data['value']} {condition.unit}, needed: {_range_text(condition)}",
                None,
                fact.data["value"],
                condition.unit,
            )
    # Over a long time what was not read is not known (rule A10); within a day and a half there is no such gap.
    known = [*(f.at for f in before + inside), evidence.as_of]
    for earlier, later in pairwise([since, *known] if not before else known):
        if later - earlier > gap:
            read = before or earlier > since
            day = local_day(earlier if read else later, evidence.zone)
            why = f"no reading for over {STEADY_GAP_HOURS} h {'after' if read else 'before'} {day}"
            return Verdict(None, f"{describe(name)}: {why}; needed: {_range_text(condition)} for {hours} h")
    return Verdict(True, f"{describe(name)} {_range_text(condition)} for {hours} h")


def _word(condition: Condition, evidence: Evidence) -> Verdict:
    return Verdict(True, f"say so when giving it: {condition.value}")


def next_countable(evidence: Evidence) -> date:
    """The first day that can still add to the clear count: today if it is not settled yet, and after day zero."""
    today = [look for look in evidence.looks if look.day == evidence.today]
    settled = evidence.today in evidence.clear.counted or any(look.signs for look in today)
    day = evidence.today + timedelta(days=1) if settled else evidence.today
    return max(day, evidence.clear.zero + timedelta(days=1))


def _clear_days(condition: Condition, evidence: Evidence) -> Verdict:
    need, clear = int(condition.value), evidence.clear
    missing = max(0, need - clear.days)
    earliest = next_countable(evidence) + timedelta(days=missing - 1) if missing else evidence.today
    return Verdict(
        clear.days >= need,
        f"clear {clear.days} of {need} days, counted from {clear.zero} ({clear.because})",
        earliest,
        str(clear.days),
        "days",
    )


def _feeding(condition: Condition, evidence: Evidence) -> Verdict:
    need, have = int(condition.value), fed_days(evidence)
    return Verdict(
        have >= need,
        f"the last {have} offered days were feeding days, needed: {need}",
        _day_of_count(
            need - have, any(look.day == evidence.today and look.offered for look in evidence.looks), evidence
        ),
        str(have),
        "days",
    )


def _looked_since(day: date, evidence: Evidence) -> bool:
    """Rule A2: a count of days is met once the look of its last day, or of a later one, is logged."""
    return any(look.counts and look.day >= day for look in evidence.looks)


def _since_death(condition: Condition, evidence: Evidence) -> Verdict:
    need = int(condition.value)
    if not evidence.deaths:
        came = [date.fromisoformat(fact.data["arrived_on"]) for fact in evidence.merged]
        start, what = max([evidence.arrived_on, *came]), "no death since arrival"
    else:
        start = local_day(evidence.deaths[-1].at, evidence.zone)
        what = f"last death {start}"
    met_on = start + timedelta(days=need)
    return Verdict(
        _looked_since(met_on, evidence),
        f"{what}; {need} days are met on {met_on} after the look",
        max(met_on, evidence.today),
    )


def _since_dose(condition: Condition, evidence: Evidence) -> Verdict:
    need = int(condition.value)
    if not evidence.exposures:
        return Verdict(None, f"no dose is on record; needed: {need} days since the last one left the water")
    if any(e.until is None for e in evidence.exposures):
        names = ", ".join(e.substance for e in evidence.exposures if e.until is None)
        return Verdict(False, f"{names} is still in the water (upper bound over 5 % of the target)")
    end = max(local_day(e.until, evidence.zone) for e in evidence.exposures if e.until)
    met_on = end + timedelta(days=need)
    return Verdict(
        _looked_since(met_on, evidence),
        f"contact with the last dose ended {end}; {need} days are met on {met_on} after the look",
        max(met_on, evidence.today),
    )


def _level(condition: Condition, evidence: Evidence) -> Verdict:
    from quarantine.formulary import load
    from quarantine.quantity import show_significant

    mine = [e for e in evidence.exposures if e.substance == condition.value]
    if not mine:
        return Verdict(None, f"no dose of {condition.value} is on record")
    high, target = mine[-1].high_mg_per_l, mine[-1].target_mg_per_l
    if high is None:
        return Verdict(None, f"how much {condition.value} is in the water is not known")
    limit = target * Decimal(str(condition.share).removesuffix("%").strip()) / 100
    shown, unit = show_significant(high, 2, up=True), load(str(condition.value)).ledger_unit
    return Verdict(
        high <= limit,
        f"{condition.value}: upper bound {shown} {unit}, needed: at most {show_significant(limit, 3)} {unit} "
        f"({condition.share} of the target)",
        None,
        shown,
        unit,
    )


def _counts(condition: Condition, evidence: Evidence) -> Verdict:
    last = next((look for look in reversed(evidence.looks) if look.seen is not None), None)
    if last is None:
        return Verdict(None, "the fish have not been counted since they arrived")
    if last.seen != evidence.alive:
        remedy = "find them, or say who is missing and why"
        if last.seen is not None and last.seen > evidence.alive:
            remedy = (
                "more than there should be. Count again; fish that came in are recorded with quarantine event added, "
                "an outcome that was not so is corrected"
            )
        return Verdict(False, f"{last.seen} seen on {last.day}, {evidence.alive} alive on record: {remedy}")
    return Verdict(True, f"{evidence.alive} alive on record, {last.seen} seen on {last.day}")


def _sign(condition: Condition, evidence: Evidence) -> Verdict:
    found = [sign for sign in evidence.open_signs if sign.name == condition.value]
    if found:
        return Verdict(True, f"{condition.value} is open since {local_day(found[0].since, evidence.zone)}")
    if not any(look.counts for look in evidence.looks):
        return Verdict(None, "nobody has looked yet")
    return Verdict(False, f"{condition.value} is not open")


def _event(condition: Condition, evidence: Evidence) -> Verdict:
    known = _up_to(evidence.happenings, evidence.as_of)
    found = [one for one in known if means(one.event, str(condition.value))]
    if not found:
        return Verdict(False, "it has not happened")
    return Verdict(True, f"{found[-1].why}, {local_day(found[-1].at, evidence.zone)}")


def means(event: str, asked: str) -> bool:
    """Whether an event is the one asked for: a power cut is a disturbance too, a missed repeat a missed dose."""
    return asked in (event, KINDS_OF.get(event))


_JUDGES = {
    "day": _day,
    "ate": _ate,
    "no_sign": _no_sign,
    "reading": _reading,
    "steady": _steady,
    "word": _word,
    "clear_days": _clear_days,
    "feeding_days": _feeding,
    "days_since_death": _since_death,
    "days_since_dose": _since_dose,
    "level": _level,
    "counts": _counts,
    "sign": _sign,
    "event": _event,
}
