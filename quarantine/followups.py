"""The tasks that facts ask for, beside those of a template. Pure.

A reading past its limit, a dose that harms the filter and an incident each ask for checks. A task's key is (batch,
``followup.`` and what, id of the fact, number): it moves with no day and no later fact, and its text stands in
:class:`Check`. Another kind of follow-up is one function more in :data:`MAKERS`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import NamedTuple
from zoneinfo import ZoneInfo

from quarantine import evidence as ev
from quarantine.facts import Fact, PlannedTask, in_order, local_day, utc
from quarantine.luggage import doses_before
from quarantine.water import advice

FOLLOWUP = "followup."
"""How the steps of these tasks begin; no step of a template has a dot in its id."""

RECENT_HOURS = 24
"""A reading older than this is history and begins nothing: as long as a reading holds a dose (rule C9)."""
WATCH_DAYS = 10
"""Nitrification was harmed for over 8 days (S64); two more are our choice, no source."""

WHOLE_DAY_HOURS = 18
"""From so many hours on a task belongs to days, not to the clock: our choice, no source."""

COMMON = advice.COMMON
S43 = advice.S43
S50 = advice.S50
EDIS = "Univ. of Florida IFAS EDIS, Ammonia, FA16/FA031, 1990/1996: harm by un-ionized ammonia begins at 0.05 mg/L"
S64 = (
    "Aquaculture Research 49:3207-3217, 2018 (abstract): a single dose of 37 mg/L formaldehyde or more harmed "
    "nitrification for over 8 days"
)
S67 = "Aquatic Living Resources 15:361-370, 2002 (abstract): over 40 mg/L formaldehyde for 1 h harmed nitrite oxidation"

AMMONIA = ("tan", "nitrite", "ph", "temperature")
"""What it takes to judge ammonia and nitrite."""


class Check(NamedTuple):
    """What one kind of follow-up says: how its step ends, kind, title, what it reads, note, references, whose work."""

    id: str
    kind: str
    title: str
    reads: tuple[str, ...] = ()
    note: str = ""
    references: tuple[str, ...] = (COMMON,)
    who: str = "anyone"

    @property
    def step(self) -> str:
        """The step of its tasks."""
        return FOLLOWUP + self.id


class Berth(NamedTuple):
    """A batch in the water, to which the follow-ups of its tank belong.

    ``limits`` are the action limits of its water; ``tested`` what the template's own tests read, by day.
    """

    batch: str
    tank: str
    system: str
    zone: str
    water: str
    arrived_at: datetime
    limits: tuple[advice.Limit, ...] = ()
    tested: Mapping[date, frozenset[str]] = {}


class Known(NamedTuple):
    """What a maker reads: the facts in order up to ``as_of``, outcomes by (step, id of the fact, number), the keys that
    are stored, the doses that harm the filter with why, the id of the first batch in the water, and the keys of open
    checks of incidents that stand, also of those in another water."""

    facts: tuple[Fact, ...]
    as_of: datetime
    outcomes: dict[tuple[str, str, int], Fact]
    stored: frozenset[str]
    harmful: Mapping[str, str]
    first: str
    unchecked: frozenset[str] = frozenset()


class Made(NamedTuple):
    """A follow-up with its text. With ``settled`` it is no longer wanted: what is stored of it is withdrawn so."""

    task: PlannedTask
    check: Check
    settled: str = ""


Maker = Callable[[Berth, Known], Iterator[Made]]
"""One kind of follow-up."""


def followups(
    berths: list[Berth],
    facts: list[Fact],
    as_of: datetime,
    stored: frozenset[str] = frozenset(),
    harmful: Mapping[str, str] | None = None,
    of_each: tuple[Maker, ...] = (),
    unchecked: frozenset[str] = frozenset(),
) -> list[Made]:
    """All follow-ups of one water system, as the facts have it at ``as_of`` (aware).

    ``berths``: the open batches, the first to arrive first; of a tank that holds several, the first has its tasks.
    ``stored``: keys of tasks on record; what is long past begins no new one. ``harmful``: dose id -> why it harms the
    filter. Facts may come in any order; those after ``as_of`` are left out. ``of_each`` are makers of what every batch
    of a tank has of its own. ``unchecked``: keys of open checks of incidents that stand.
    """
    ordered = tuple(f for f in in_order(facts) if f.at <= as_of)
    of_tank: dict[str, Berth] = {}
    for berth in berths:
        of_tank.setdefault(berth.tank, berth)
    first = berths[0].batch if berths else ""
    known = Known(ordered, as_of, outcomes_of(ordered), stored, harmful or {}, first, unchecked)
    found = [made for berth in of_tank.values() for maker in MAKERS for made in maker(berth, known)]
    return [*found, *(made for berth in berths for maker in of_each for made in maker(berth, known))]


def outcomes_of(facts: Iterable[Fact]) -> dict[tuple[str, str, int], Fact]:
    """What settled tasks, by (step, id of the fact they hang on, number); of ``facts`` in order the last one rules."""
    outcomes = {}
    for fact in facts:
        if fact.kind in ("done", "dose", "skip") and "key" in fact.data:
            _, step, root, n = fact.data["key"].split(":")
            outcomes[step, root, int(n)] = fact
    return outcomes


def key_of(berth: Berth, check: Check, root: str, n: int = 1) -> str:
    """Owner, step, id of the fact that asks, number."""
    return f"{berth.batch}:{check.step}:{root}:{n}"


def task_of(
    berth: Berth,
    check: Check,
    known: Known,
    root: str,
    window: tuple[datetime, datetime] | None,
    reason: str,
    *,
    n: int = 1,
    settled_by: Fact | None = None,
    lapses: bool = False,
    needs: str | None = None,
) -> PlannedTask:
    """One follow-up task, done or skipped by its own outcome or by ``settled_by``; without a ``window`` it waits for
    ``needs``. With ``lapses`` it belongs to its window and is missed after it."""
    outcome = known.outcomes.get((check.step, root, n)) or settled_by
    start, end = window or (None, None)
    state = "planned"
    if outcome is not None:
        state = "skipped" if outcome.kind == "skip" else "done"
    elif lapses and end is not None and end <= known.as_of:
        state = "missed"
    return PlannedTask(
        key=key_of(berth, check, root, n),
        system=berth.system,
        tank=berth.tank,
        batch=berth.batch,
        kind=check.kind,
        step=check.step,
        title=check.title,
        day=local_day(start, berth.zone) if start else None,
        due_from=start,
        due_until=end,
        lapses_at=end if lapses else None,
        state=state,
        needs=needs if start is None else None,
        reason=reason,
        outcome=outcome,
    )


def shown(at: datetime, zone: str) -> str:
    """An instant as the site's clocks show it."""
    return at.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%d %H:%M")


def day_of(day: date, zone: str) -> tuple[datetime, datetime]:
    """The instants at which a day of the site begins and ends."""
    start, end = (datetime.combine(day + timedelta(days=n), time(0), ZoneInfo(zone)) for n in (0, 1))
    return utc(start), utc(end)


def end_of(start: datetime, hours: int, zone: str) -> datetime:
    """So many hours after an instant; of a day or nearly one, the end of the day on which they are over."""
    end = start + timedelta(hours=hours)
    return end if hours < WHOLE_DAY_HOURS else day_of(local_day(end, zone), zone)[1]


def read_between(berth: Berth, check: Check, known: Known, since: datetime, until: datetime | None) -> Fact | None:
    """The reading that completed a test: from ``since`` on every parameter it names was read in this tank. Of a look
    the first that states how many were seen."""
    inside = [f for f in known.facts if f.at >= since and (until is None or f.at < until)]
    if check.kind == "look":
        looks = (f for f in inside if f.kind == "look" and f.batch == berth.batch and f.data.get("seen") is not None)
        return next(looks, None)
    firsts: dict[str, Fact] = {}
    for fact in inside:
        if fact.kind == "reading" and fact.tank == berth.tank:
            firsts.setdefault(fact.data["parameter"], fact)
    if check.kind != "test" or any(name not in firsts for name in check.reads):
        return None
    return max((firsts[name] for name in check.reads), key=lambda f: (f.at, f.entered_at, f.id))


# --- Readings past a limit (F48) -----------------------------------------------------------------------------


class Again(NamedTuple):
    """What a parameter past its limit asks for: work that a good reading makes needless, and the test that a good
    reading settles, within so many hours."""

    work: tuple[Check, ...]
    test: Check
    hours: int


AGAIN = {
    "oxygen": Again(
        (Check("oxygen-air", "chore", "Aerate strongly", note="Air stone; the filter's outlet breaks the surface."),),
        Check(
            "oxygen-test",
            "test",
            "Test again: oxygen",
            ("oxygen",),
            "Within the hour, and until it is back (common practice, no source).",
        ),
        1,
    ),
    "uia": Again(
        (
            Check(
                "ammonia-change",
                "change",
                "Change water, judged (ammonia)",
                note="How much is said by: quarantine reading, with the pH of the new water (--tap-ph). A higher pH "
                "there can make it worse (rule C16). No food.",
                references=("Rule C16 of this tool", COMMON),
                who="keeper",
            ),
        ),
        Check(
            "ammonia-test",
            "test",
            "Test again: ammonia",
            ("tan", "ph", "temperature"),
            "After each change, and daily until it is within its limit (common practice, no source).",
        ),
        24,
    ),
    "nitrite": Again(
        (
            Check(
                "nitrite-change",
                "change",
                "Change water, judged (nitrite)",
                note="How much is said by: quarantine reading. Test the pH of the new water first (rule C16).",
                references=("Rule C16 of this tool", COMMON),
                who="keeper",
            ),
        ),
        Check(
            "nitrite-test",
            "test",
            "Test again: nitrite",
            ("nitrite",),
            "After each change, and daily until it is within its limit (common practice, no source).",
        ),
        24,
    ),
    "temperature": Again(
        (
            Check(
                "temperature-heater",
                "chore",
                "Look at heater, thermostat and a second thermometer",
                note="Bring it back slowly: more than 2 °C up or 1 °C down in 24 h can harm tropical fish.",
                references=(S50, COMMON),
                who="keeper",
            ),
        ),
        Check(
            "temperature-test",
            "test",
            "Test again: temperature",
            ("temperature",),
            "Until it is within its limit (common practice, no source).",
        ),
        24,
    ),
    "copper": Again(
        (
            Check(
                "copper-change",
                "change",
                "Change water, until copper is under its limit",
                note="How much is said by: quarantine reading. Read it again first: a slip of the kit looks the same. "
                "No copper before it is read under its limit.",
                references=("Rule C7 of this tool", COMMON),
                who="keeper",
            ),
        ),
        Check(
            "copper-test",
            "test",
            "Test again: free copper",
            ("copper",),
            "Now, after each change, and until it is within its limit (common practice, no source).",
        ),
        1,
    ),
    "ph": Again(
        (),
        Check(
            "ph-test",
            "test",
            "Test again: pH",
            ("ph",),
            "Do not correct it at once; read total ammonia with it (common practice, no source).",
        ),
        24,
    ),
}
"""By what is past its limit, as :mod:`quarantine.water.advice` says it. How soon to test again is our choice."""


class _Judged(NamedTuple):
    """A reading that tells of a parameter: past its limit or not, in words."""

    fact: Fact
    bad: bool
    says: str


class _Spell(NamedTuple):
    """Readings past a limit until something ended it: the fact that its task hangs on, and what ended it."""

    root: str
    first: _Judged
    last: _Judged
    ended: _Judged | None


def past_limits(berth: Berth, known: Known) -> Iterator[Made]:
    """A task for each thing that a parameter past its limit asks for: once until it is done, skipped or needless."""
    for about, again in AGAIN.items():
        if not any(limit.parameter == about for limit in berth.limits):
            continue
        judged = _judged(berth, known, about)
        for check in (*again.work, again.test):
            for spell in _spells(judged, check, known):
                yield from _of_spell(berth, known, check, spell, again)


def _of_spell(berth: Berth, known: Known, check: Check, spell: _Spell, again: Again) -> Iterator[Made]:
    is_stored = key_of(berth, check, spell.root) in known.stored
    fresh = spell.ended is None and known.as_of - spell.last.fact.at <= timedelta(hours=RECENT_HOURS)
    if not is_stored and not fresh:
        return
    start = (spell.last if check.kind == "test" else spell.first).fact.at
    if check.kind == "test" or again.hours < WHOLE_DAY_HOURS:
        window = start, end_of(start, again.hours, berth.zone)
    else:
        window = start, day_of(local_day(start, berth.zone), berth.zone)[1]
    reason = f"{spell.first.says} Read {shown(spell.first.fact.at, berth.zone)}"
    settled_by, settled = None, ""
    if spell.ended is not None:
        within = f"read within its limit {shown(spell.ended.fact.at, berth.zone)}"
        reason += f"; {within}"
        settled_by = spell.ended.fact if check.kind == "test" else None
        settled = "" if check.kind == "test" else reason
    task = task_of(berth, check, known, spell.root, window, reason, settled_by=settled_by)
    yield Made(task, check, settled if task.outcome is None else "")


def _spells(judged: list[_Judged], check: Check, known: Known) -> Iterator[_Spell]:
    """The spells of one task. It ends with a reading within the limit, or with the task's own outcome: a reading past
    the limit after that asks anew."""
    outcomes = [(root, fact) for (step, root, _), fact in known.outcomes.items() if step == check.step]
    events: list[tuple[Fact, _Judged | str]] = [(one.fact, one) for one in judged]
    events += [(fact, root) for root, fact in outcomes]
    events.sort(key=lambda event: (event[0].at, event[0].entered_at, event[0].id))
    bad: list[_Judged] = []
    for _, what in events:
        if isinstance(what, str):
            if bad:
                yield _Spell(what, bad[0], bad[-1], None)
            bad = []
        elif what.bad:
            bad.append(what)
        elif bad:
            yield _Spell(_root(bad), bad[0], bad[-1], what)
            bad = []
    if bad:
        yield _Spell(_root(bad), bad[0], bad[-1], None)


def _root(bad: list[_Judged]) -> str:
    """The one entered first: an earlier reading that is entered late moves no key."""
    return min(bad, key=lambda one: (one.fact.entered_at, one.fact.at, one.fact.id)).fact.id


def _judged(berth: Berth, known: Known, about: str) -> list[_Judged]:
    """Each reading of this tank that tells of a parameter, judged with what was known then; unknown is left out."""
    names = ("tan", "ph", "temperature") if about == "uia" else (about,)
    readings = [f for f in known.facts if f.kind == "reading"]
    if about == "copper":  # total and chelated copper are on another scale, and no limit is theirs
        readings = [f for f in readings if f.data.get("form") == "free"]
    mine = [f for f in readings if f.tank == berth.tank and f.at >= berth.arrived_at and f.data["parameter"] in names]
    if not _may_be_past(berth, mine, about):
        return []
    altered = tuple(f.at for f in known.facts if f.kind in ev.ALTERS)
    found: dict[datetime, _Judged] = {}
    for fact in mine:
        since = fact.at - timedelta(hours=RECENT_HOURS)
        near = tuple(f for f in readings if since <= f.at <= fact.at or _salt_before(f, fact))
        span = ev.value_at(near, altered, fact.at, about, RECENT_HOURS)
        if span is None:
            continue
        value = advice.Value(span.low, span.high, span.least, span.most)
        past = advice.past(advice.Situation(berth.water, {about: value}, berth.limits), about)
        found[fact.at] = _Judged(fact, past is not None, past[1] if past else "")
    return list(found.values())


def _salt_before(fact: Fact, than: Fact) -> bool:
    return fact.data["parameter"] == "salinity" and fact.at <= than.at


def _may_be_past(berth: Berth, mine: list[Fact], about: str) -> bool:
    """Whether any reading can be past the limit at all, before each is judged: un-ionized ammonia is a share of the
    total."""
    low, high = advice.strictest(berth.limits, about)
    name = "tan" if about == "uia" else about
    values = [(Decimal(f.data["value"]), Decimal(f.data["step"])) for f in mine if f.data["parameter"] == name]
    most = None if high is None else high.high
    least = None if low is None or about == "uia" else low.low
    return any((most is not None and v + step > most) or (least is not None and v - step < least) for v, step in values)


# --- A dose that harms the filter ----------------------------------------------------------------------------

WATCH = Check(
    "filter-test",
    "test",
    "Test: the filter was dosed",
    AMMONIA,
    "Feed little until ammonia and nitrite have stayed within their limits: what is not eaten turns to ammonia (common "
    "practice, no source). Do not clean the filter now.",
    (S64, S67, f"{WATCH_DAYS} days: over 8 in the source, two more our choice", EDIS),
)


def filter_watch(berth: Berth, known: Known) -> Iterator[Made]:
    """Ammonia and nitrite on each of ten days after a dose that harms the filter; a day that a template's own tests
    cover, or an earlier dose, has no second test."""
    doses = [f for f in known.facts if f.id in known.harmful and f.at >= berth.arrived_at]
    mine = [f for f in doses if f.tank == berth.tank or (f.tank is None and berth.batch == known.first)]
    taken: set[date] = set()
    for dose in sorted(mine, key=lambda f: (f.entered_at, f.at, f.id)):
        for n in range(1, WATCH_DAYS + 1):
            day = local_day(dose.at, berth.zone) + timedelta(days=n)
            if day in taken or {"tan", "nitrite"} <= berth.tested.get(day, frozenset()):
                continue
            taken.add(day)
            start, end = day_of(day, berth.zone)
            read = read_between(berth, WATCH, known, start, end)
            reason = f"day {n} of {WATCH_DAYS} after the dose on {shown(dose.at, berth.zone)}: {known.harmful[dose.id]}"
            yield Made(
                task_of(berth, WATCH, known, dose.id, (start, end), reason, n=n, settled_by=read, lapses=True), WATCH
            )


# --- Incidents (F70) -----------------------------------------------------------------------------------------


class After(NamedTuple):
    """A check of an incident: when, in hours after it began or (``over``) ended, and how long it may take."""

    check: Check
    over: bool
    hours: int
    within_hours: int


def _warm(id_: str, title: str) -> Check:
    note = "Bring it back slowly: more than 2 °C up or 1 °C down in 24 h can harm tropical fish."
    return Check(id_, "test", title, ("temperature",), note, (S50, COMMON))


OXYGEN = Check(
    "incident-oxygen",
    "test",
    "Read oxygen",
    ("oxygen",),
    "Not under 2 to 5 mg/L. Without a kit: look whether fish gasp, and skip this with that reason.",
    (S43, COMMON),
)
WARMTH = _warm("incident-temperature", "Read the temperature")
WARMTH_AFTER = _warm("incident-temperature-after", "Read the temperature, all running again")
WATER_AFTER = Check(
    "incident-ammonia",
    "test",
    "Test ammonia and nitrite, the day after",
    AMMONIA,
    "A filter that stood still, was emptied or was dosed may have suffered. Feed little until this is read.",
    (EDIS, COMMON),
)
LOOK = Check("incident-look", "look", "Look over and count: after the incident")
LOOK_AFTER = Check("overdose-look", "look", "Look over and count: after too much was given")
RUNNING = Check(
    "incident-running",
    "chore",
    "See that all runs again: filter, air, heater under water, timers",
    note="A closed filter that stood still for over an hour: empty and rinse it in tank water before it runs again.",
)
LID = Check("incident-lid", "chore", "Lid on, without gaps")
HEATER = Check(
    "incident-heater",
    "chore",
    "Unplug the heater that failed; a second thermometer",
    note="Stuck on: strong air, and let it cool slowly. Dead: lid on, blankets round the sides.",
    who="keeper",
)
LEVEL = Check(
    "incident-level",
    "chore",
    "Measure the water anew",
    note="A dose is computed from it: quarantine tank measure, or quarantine tank level.",
    who="keeper",
)
DRY = Check("incident-dry", "chore", "See that it stays dry, and the level stands")
RESCUE = Check(
    "incident-rescue",
    "chore",
    "Strong air; call a veterinarian",
    note="Log what was really given (quarantine event dose ... --really); its answer says how much to change. Add "
    "nothing against it.",
    who="keeper",
)

TOO_MUCH = Check("overdose", "chore", "Too much was given: strong air, change water, call a veterinarian", who="keeper")
OVER_CEILING = "over the ceiling of"
"""What the answer to a dose says, in its fact, where the level may have passed its ceiling (rule C7)."""

INCIDENTS = {
    "power": (
        After(WARMTH, False, 0, 1),
        After(OXYGEN, False, 0, 1),
        After(RUNNING, True, 0, 1),
        After(WARMTH_AFTER, True, 0, 6),
        After(LID, True, 0, 6),
        After(LOOK, True, 0, 24),
        After(WATER_AFTER, True, 24, 24),
    ),
    "heater": (
        After(HEATER, False, 0, 1),
        After(WARMTH, False, 0, 1),
        After(WARMTH_AFTER, True, 6, 18),
        After(LOOK, True, 0, 24),
    ),
    "leak": (
        After(WARMTH, False, 0, 1),
        After(LEVEL, True, 0, 6),
        After(LID, True, 0, 6),
        After(DRY, True, 1, 23),
        After(LOOK, True, 0, 24),
        After(WATER_AFTER, True, 24, 24),
    ),
    "overdose": (
        After(RESCUE, False, 0, 1),
        After(OXYGEN, False, 0, 1),
        After(LOOK, False, 1, 5),
        After(WATER_AFTER, False, 24, 24),
    ),
    "other": (After(WARMTH, False, 0, 6), After(LOOK, False, 0, 24)),
}
"""What each kind of incident asks for; hours and order are common practice, no source."""
CHECKS = {after.check.step: after.check for asked in INCIDENTS.values() for after in asked}
"""The checks of incidents by their steps."""


def is_of_place(step: str) -> bool:
    """Whether a check of an incident is work at a tank, its kit and its room: it is there to do without fish too."""
    check = CHECKS.get(step)
    return check is not None and check.kind == "chore" and check is not RESCUE


def incident_words(fact: Fact) -> str:
    """ "power cut or pump stopped (storm)" """
    note = f" ({fact.data['note']})" if fact.data.get("note") else ""
    return f"{ev.INCIDENT_WORDS[fact.data['what']]}{note}"


def ends_of(facts: tuple[Fact, ...] | list[Fact]) -> dict[str, datetime | None]:
    """Id of each incident -> when it was over; None: nobody has said so yet."""
    over = {f.data["of"]: f.at for f in facts if f.kind == "incident_over"}
    return {
        f.id: datetime.fromisoformat(f.data["until"]) if f.data.get("until") else over.get(f.id)
        for f in facts
        if f.kind == "incident"
    }


def is_asked(berth: Berth, fact: Fact) -> bool:
    """Whether a fact is an incident in this tank since the batch is there."""
    return fact.kind == "incident" and berth.tank in fact.data["tank_ids"] and fact.at >= berth.arrived_at


def incident_checks(berth: Berth, known: Known) -> Iterator[Made]:
    """The checks of each incident in this tank; what follows its end waits until someone says that it is over."""
    ends = ends_of(known.facts)
    for fact in known.facts:
        if not is_asked(berth, fact):
            continue
        for after in INCIDENTS[fact.data["what"]]:
            since = ends[fact.id] if after.over else fact.at
            words = f"{incident_words(fact)}, since {shown(fact.at, berth.zone)}"
            if since is None:
                needs = f"once the {ev.INCIDENT_WORDS[fact.data['what']]} is over"
                yield Made(task_of(berth, after.check, known, fact.id, None, words, needs=needs), after.check)
                continue
            start = since + timedelta(hours=after.hours)
            if after.hours >= WHOLE_DAY_HOURS:
                start = day_of(local_day(start, berth.zone), berth.zone)[0]
            end = end_of(start, min(after.within_hours, 23), berth.zone)
            reason = f"{words}, over {shown(since, berth.zone)}" if after.over else words
            read = read_between(berth, after.check, known, start, None)
            yield Made(task_of(berth, after.check, known, fact.id, (start, end), reason, settled_by=read), after.check)


def overdoses(berth: Berth, known: Known) -> Iterator[Made]:
    """What is to be done after a dose that took the level over its ceiling stays on the list until somebody ticks it,
    and then the fish are looked over (rule C7): the answer to the command alone is gone with the screen."""
    for dose in known.facts:
        rescue = str(dose.data.get("rescue", "")) if dose.kind == "dose" else ""
        mine = dose.tank == berth.tank or (dose.tank is None and berth.batch == known.first)
        if OVER_CEILING not in rescue or not mine or dose.at < berth.arrived_at:
            continue
        reason = f"too much of {dose.data['substance']} was given, {shown(dose.at, berth.zone)}"
        check = TOO_MUCH._replace(note=rescue)
        yield Made(task_of(berth, check, known, dose.id, (dose.at, dose.at + timedelta(hours=1)), reason), check)
        yield _look_after(berth, known, dose)


def _look_after(berth: Berth, known: Known, dose: Fact) -> Made:
    """The fish are looked over in the hours after too much of a dose."""
    start = dose.at + timedelta(hours=1)
    looked = read_between(berth, LOOK_AFTER, known, start, None)
    reason = f"too much of {dose.data['substance']} was given, {shown(dose.at, berth.zone)}"
    window = (start, start + timedelta(hours=5))
    return Made(task_of(berth, LOOK_AFTER, known, dose.id, window, reason, settled_by=looked), LOOK_AFTER)


def overdosed_before(berth: Berth, known: Known) -> Iterator[Made]:
    """Fish that were moved out of the water that had too much are looked over all the same, where that was asked for
    before they left: what is to be done to the water itself stays behind."""
    for dose in doses_before(list(known.facts)):
        over = dose.batch == berth.batch and OVER_CEILING in str(dose.data.get("rescue", ""))
        if over and key_of(berth, LOOK_AFTER, dose.id) in known.stored:
            yield _look_after(berth, known, dose)


MAKERS = (past_limits, filter_watch, incident_checks, overdoses)
"""Every kind of follow-up, each ``(berth, known) -> Made ...``."""
