"""Timed baths and dips as the facts have them: when contact must end, what the end takes, and what came of it. Pure.

A bath is timed where its row of the formulary states how long contact lasts, 48 hours at most (rule C5). It ends at a
level and not only at a time: when the upper bound is at or under the substance's prolonged limit, or the fish are in
clean water. Contact runs from the last addition to the first drain; the ceiling is counted from the first addition,
because the fish have been in it since then. Nothing here waits: an end exists once its start is on record (rule C6).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime, time, timedelta
from decimal import ROUND_FLOOR, Decimal
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from quarantine.dosing import (
    Dose,
    Setting,
    clearing_litres,
    counts_in_ledger,
    given_in_ledger,
    in_ledger,
    present_salinity,
)
from quarantine.dosing.known import litres_of, missing_litres
from quarantine.facts import Fact, PlannedTask, in_order, local_day
from quarantine.failures import Unknown
from quarantine.formulary import Figure, Regimen, Substance, load
from quarantine.quantity import Quantity, decimal_up, read, show, show_significant, to
from quarantine.records.codec import text_of_instant
from quarantine.water.ledger import CONTACT_SHARE, Exposure, Water, exposures, level_of, substances_in

BATH = "bath."
"""How the steps of these tasks begin; no step of a template has a dot in its id."""

END, PUT_BACK = "bath.end", "bath.put-back"

LONGEST_HOURS = 48
"""Contact of up to this is a timed bath, longer is prolonged (rule C5)."""

PARTLY = Decimal("0.9")
"""Contact under this share of the shortest that is published was only partly given (rule C5)."""

HALF = Decimal("0.5")
"""A flush in steps takes half of the water each time; our choice, no source."""

MOST_STEPS = 20
"""More changes than this are no plan; our choice, no source."""

FILTER_OFF = timedelta(hours=1)
"""A filter that was off for longer is a task to put back (rule C10)."""

BACK = {
    "carbon": "carbon in",
    "resin": "resin in",
    "uv": "UV on",
    "ozone": "ozone on",
    "skimmer": "skimmer on",
    "auto-top-up": "auto top-up on",
    "heater": "heater on",
    "lights": "lights on",
    "filter": "filter on",
}
"""What was switched off or taken out for a dose -> how it is put back (rule C10)."""


class Flush(NamedTuple):
    """The water that ends a bath, litres: ``at_once`` (None: more than there is), or ``steps`` changes of ``step``.

    Zero everywhere: the level is at or under the limit already, and any drain ends the contact. ``steps`` None: not
    even :data:`MOST_STEPS` changes would do.
    """

    at_once: Decimal | None
    step: Decimal
    steps: int | None

    @property
    def least_ready(self) -> Decimal | None:
        """Litres that must stand ready before the pour: at once where that can be, else those of all steps."""
        if self.at_once is not None:
            return self.at_once
        return None if self.steps is None else self.step * self.steps


class Bath(NamedTuple):
    """A timed bath: doses of one substance from the first until the water is clear of it, or the fish are out."""

    key: str
    batch: str
    tank: str
    first: Fact
    last: Fact
    """the last addition: contact runs from it"""
    limit: Decimal | None
    """the level at which it has ended, in the unit of the ledger; None: not known"""
    upper: Decimal | None
    """the level's upper bound now, in the same unit; None: not known"""
    drained_at: datetime | None
    """when water was first taken out, or the fish, after the last addition"""
    over: Fact | None
    """the fact that ended it"""
    oxidiser: bool = False
    """whether an oxidiser may be in the water: no conditioner meets it"""

    @property
    def substance(self) -> str:
        return str(self.first.data["substance"])

    @property
    def least(self) -> timedelta | None:
        return _span(self.last.data.get("contact_least"))

    @property
    def most(self) -> timedelta:
        return _span(self.last.data["contact_most"]) or timedelta(0)

    @property
    def latest(self) -> datetime:
        """When contact is over its ceiling."""
        return self.first.at + self.most

    @property
    def earliest(self) -> datetime:
        """From when on contact is as published; the latest instant where the source has no shortest."""
        return self.latest if self.least is None else min(self.last.at + self.least, self.latest)


class Dip(NamedTuple):
    """A dip that was begun from the terminal: its start on record, and the dose that ended it."""

    key: str
    batch: str
    tank: str
    start: Fact
    over: Fact | None

    @property
    def latest(self) -> datetime:
        return self.start.at + (_span(self.start.data["contact_most"]) or timedelta(0))

    @property
    def earliest(self) -> datetime:
        least = _span(self.start.data.get("contact_least"))
        return self.latest if least is None else min(self.start.at + least, self.latest)


class Owner(NamedTuple):
    """Whose fish stand in a bath: a batch and its tank."""

    batch: str
    tank: str


Owned = Callable[[Fact], Owner | None]
"""Whose a dose is; None: of nobody who is there."""


def is_timed(row: Regimen) -> bool:
    """Whether a row is a timed bath: given to the tank's water, with a stated end within 48 hours (rule C5)."""
    if row.route not in ("bath", "prolonged") or row.contact is None or row.contact.high is None:
        return False
    return to(_quantity(row.contact.high), "h") <= LONGEST_HOURS


def contact_of(row: Regimen, longest: str = "") -> dict[str, str]:
    """The contact of a row as a fact keeps it: ``contact_least`` where it is stated, and ``contact_most``.

    ``longest`` is a template's own limit on a dip (a time with its unit; empty: the row's).
    """
    contact = row.contact
    most = contact.high if contact else None
    if contact is None or most is None:
        return {}
    kept = {"contact_most": longest or f"{show(most.value)} {most.unit}"}
    if contact.low is not None:
        kept["contact_least"] = f"{show(contact.low.value)} {contact.low.unit}"
    return kept


def limit_of(substance: Substance, target: Quantity, target_in_ledger: Decimal) -> tuple[Decimal | None, str]:
    """The level at which a bath has ended, in the unit of the substance's ledger, and the words for it.

    It is the substance's prolonged limit (rule C5); where none is on record, 5 % of the target (rule A9). None: not
    known, because the target is no amount in the ledger.
    """
    figure = substance.prolonged_limit
    if figure is not None and counts_in_ledger(substance, figure.unit):
        return in_ledger(substance, _quantity(figure)), f"the prolonged limit of {show(figure.value)} {figure.unit}"
    if target_in_ledger <= 0:
        return None, "a level that is not known"
    share = show_significant(CONTACT_SHARE * target.value, 3, up=False)
    words = f"{share} {target.unit}, 5 % of the target, because no prolonged limit is on record"
    return CONTACT_SHARE * target_in_ledger, words


def begun(substance: Substance, row: Regimen, setting: Setting, data: dict[str, Any]) -> dict[str, Any]:
    """What a dose's fact holds beside its amount when it begins a timed bath; empty for any other dose.

    ``data`` is the dose as recorded so far. A limit of salt is one of all salt: without a reading before the dose, from
    which the ledger goes on, no level ends the bath (rule C15).
    """
    if not is_timed(row):
        return {}
    limit, words = limit_of(substance, Quantity(data["target"], data["target_unit"]), data["target_mg_per_l"])
    if "salt" in substance.classes and present_salinity(setting) is None:
        limit, words = None, f"{words}, of all the salt there is, and how much there was before is not on record"
    return {
        "started_at": text_of_instant(setting.now),
        **contact_of(row),
        "limit_mg_per_l": limit and Decimal(show_significant(limit, 6, up=False)),
        "limit": words,
    }


def flush_of(water: Water, upper: Decimal, limit: Decimal, alone: Water | None = None) -> Flush:
    """The litres that bring the upper bound to the limit (both in one unit), by mass balance in the fullest tank.

    At once: :func:`quarantine.dosing.clearing_litres`. In steps of half of the least water that may be there: each
    leaves 1 - step / (V + u) of it. With the filter off only the tank ``alone`` is drained; whether it ran again is not
    known, so a litre is the share of all the ``water`` that the ledger's upper bound counts.
    """
    litres, plus_minus = litres_of(water)
    drained, error = litres_of(alone or water)
    if upper <= limit:
        return Flush(Decimal(0), Decimal(0), 0)
    step = ((drained - error) * HALF).quantize(Decimal("0.1"), rounding=ROUND_FLOOR)
    left, steps = upper * (1 + Decimal("1e-9")), 0
    while left > limit and steps < MOST_STEPS:
        left *= 1 - step / (litres + plus_minus)
        steps += 1
    at_once = clearing_litres(litres, plus_minus, upper, limit)
    if at_once is not None and at_once >= drained - error:
        at_once = None
    return Flush(at_once, step, steps if left <= limit else None)


def flush_words(flush: Flush | None) -> str:
    """A flush for the keeper: how many litres at once, or in which steps."""
    if flush is None or flush.least_ready is None:
        return "the fish into clean water, because how much to change is not known"
    if flush.steps == 0:
        return "change water or take the fish out; its level may stay"
    steps = f"{flush.steps} times {show(flush.step)} L" if flush.steps and flush.steps > 1 else ""
    if flush.at_once is None:
        return f"change {steps}, or the fish into clean water"
    return f"change at least {show(flush.at_once)} L" + (f" at once, or {steps}" if steps else "")


def water_words(oxidiser: bool) -> str:
    """The new water of an end. Conditioner takes oxidisers away as it does chlorine: beside one a test proves the water
    instead (:mod:`quarantine.actions.conditioning` has the sources)."""
    return "matched water that a test shows free of chlorine, no conditioner," if oxidiser else CONDITIONED


CONDITIONED = "matched, conditioned water"


def is_oxidiser(substance: str) -> bool:
    """Whether a substance takes no conditioner beside it; one that left the formulary is not known to be one."""
    try:
        return "oxidiser" in load(substance).classes
    except Unknown:
        return False


# --- From the facts to the baths -------------------------------------------------------------------------------------


def baths_in(facts: Iterable[Fact], water: Water | None, as_of: datetime, owned: Owned) -> list[Bath]:
    """Every timed bath of one water system, by when it began. ``water`` (litres) None: none ends by its level."""
    known = [f for f in in_order(list(facts)) if f.at <= as_of]
    names = {f.data["substance"] for f in known if _begins(f)}
    found = [bath for name in sorted(names) for bath in _runs(known, name, water, as_of, owned)]
    return sorted(found, key=lambda bath: (bath.first.at, bath.key))


def _begins(fact: Fact) -> bool:
    return fact.kind == "dose" and fact.data.get("route") != "dip" and "contact_most" in fact.data


def _runs(known: list[Fact], substance: str, water: Water | None, as_of: datetime, owned: Owned) -> list[Bath]:
    found: list[Bath] = []
    run: Bath | None = None
    outcomes = {f.data["key"]: f for f in known if f.kind == "done" and "key" in f.data}
    for fact in known:
        if _begins(fact) and fact.data["substance"] == substance:
            if run is None and (owner := owned(fact)) is not None:
                key = f"{owner.batch}:{END}:{fact.id}:1"
                run = Bath(key, owner.batch, owner.tank, fact, fact, None, None, None, None)
            if run is not None:
                run = run._replace(last=fact, limit=_decimal(fact.data.get("limit_mg_per_l")), drained_at=None)
        elif run is not None and _drains(fact, run.key):
            run = run._replace(drained_at=run.drained_at or fact.at)
            upper = _upper(known, substance, water, fact.at)
            clear = run.limit is not None and upper is not None and upper <= run.limit
            if fact.data.get("fish_out") or clear:
                found.append(run._replace(upper=upper, over=outcomes.get(run.key, fact)))
                run = None
    if run is not None:
        found.append(run._replace(upper=_upper(known, substance, water, as_of)))
    oxidisers = {name for name in substances_in(known) if is_oxidiser(name)}
    still = substance in oxidisers or any(_upper(known, name, water, as_of) != 0 for name in oxidisers)
    return [one._replace(oxidiser=True) for one in found] if still else found


def _drains(fact: Fact, key: str) -> bool:
    out = fact.kind == "done" and bool(fact.data.get("fish_out")) and fact.data.get("key") == key
    return out or fact.kind == "exchange" or (fact.kind == "change" and Decimal(fact.data["out_litres"]) > 0)


def _upper(facts: list[Fact], substance: str, water: Water | None, at: datetime) -> Decimal | None:
    """The upper bound of the level: no loss is counted (rule C1)."""
    high = level_of(facts, substance, water, "none", at).high if water else None
    return None if high is None else decimal_up(high)


def dips_in(facts: Iterable[Fact], as_of: datetime) -> list[Dip]:
    """Every dip that was begun from the terminal, by when it began."""
    known = [f for f in in_order(list(facts)) if f.at <= as_of]
    doses: dict[str, Fact] = {f.data["key"]: f for f in known if f.kind == "dose" and "key" in f.data}
    return [
        Dip(f"{f.batch}:{END}:{f.id}:1", f.batch, f.tank, f, doses.get(f.data["key"]))
        for f in known
        if f.kind == "dip_start" and f.batch is not None and f.tank is not None
    ]


# --- What came of it -------------------------------------------------------------------------------------------------


def contact_word(bath: Bath, at: datetime) -> str:
    """Contact that ended at an instant: as published, partly (under 90 %), or an overrun (rule C5)."""
    if at > bath.latest:
        return "overrun"
    if bath.least is not None and (at - bath.last.at) < bath.least * float(PARTLY):
        return "partly"
    return "as published"


def time_words(time: timedelta) -> str:
    """A stretch of time for people: "20 h 5 min", "45 s"."""
    seconds = int(time.total_seconds())
    parts = [(seconds // 3600, "h"), (seconds % 3600 // 60, "min"), (seconds % 60, "s")]
    said = [f"{number} {unit}" for number, unit in parts if number]
    return " ".join(said[:2]) or "0 s"


def overrun_words(bath: Bath, at: datetime, flush: Flush | None, *, over: bool) -> str:
    """What to do when contact that ended ``at`` an instant was over its longest (rule C7); empty where it was not.

    ``flush`` is what the water still takes, unless the bath is ``over``: it is clear, or the fish are out.
    """
    if at <= bath.latest:
        return ""
    clear = over or (flush is not None and flush.steps == 0)
    return (
        f"The bath of {bath.substance} took {time_words(at - bath.first.at)}, {time_words(at - bath.latest)} over its "
        f"longest contact of {bath.last.data['contact_most']}. {_rescue(bath, flush, clear=clear)}"
    )


def _rescue(bath: Bath, flush: Flush | None, *, clear: bool) -> str:
    """What to do for fish that were in a bath for too long (rule C7)."""
    new = "matched and free of chlorine by a test, no conditioner" if bath.oxidiser else "matched and conditioned"
    still = "" if clear else f"{flush_words(flush)}, all of it {new}; "
    return f"Now: strong aeration; {still}fresh activated carbon; watch the fish; call a veterinarian."


def overstay_words(bath: Bath, at: datetime, flush: Flush | None, *, over: bool) -> str:
    """The warning where contact was over in time by its rule, at the first drain, and the fish stood above the level at
    which the bath ends for longer than its longest contact, up to ``at`` (rules C5 and C7); empty where they did not.

    ``flush`` is what the water still takes, unless the bath is ``over``.
    """
    if bath.drained_at is None or bath.drained_at > bath.latest or at <= bath.latest:
        return ""
    if over and bath.over is not None and bath.over.at < at:
        return ""
    long = time_words(at - bath.first.at)
    was = f"was cleared only {long} after the pour" if over else f"is not cleared {long} after the pour"
    return (
        f"WARNING: contact with {bath.substance} counts to the first drain (rule C5), but the water {was}, "
        f"{time_words(at - bath.latest)} over the longest contact of {bath.last.data['contact_most']}, and until then "
        f"its level was above {bath.last.data['limit']}. {_rescue(bath, flush, clear=over)}"
    )


def level_words(bath: Bath) -> str:
    """The level now against the level at which the bath has ended, in the unit of the target."""
    limit = str(bath.last.data.get("limit", ""))
    target, ledger = Decimal(bath.last.data["target"]), Decimal(bath.last.data["target_mg_per_l"])
    if bath.upper is None or target <= 0 or ledger <= 0:
        return f"How much is left in the water is not known; it ends at {limit}"
    shown = show_significant(bath.upper / ledger * target, 3, up=True)
    over = "at or under" if bath.limit is not None and bath.upper <= bath.limit else "over"
    return f"In the water may be {shown} {bath.last.data['target_unit']}, {over} {limit}"


# --- Tasks -----------------------------------------------------------------------------------------------------------


def tasks_of(
    baths: Sequence[Bath], dips: Sequence[Dip], facts: Iterable[Fact], water: Water | None, zone: str, as_of: datetime
) -> list[PlannedTask]:
    """The end of each bath and dip, and what has to be put back, as tasks. None is ever missed (rule A11)."""
    ends = [_end_of(bath, water, zone) for bath in baths]
    outs = [_out_of(dip, zone) for dip in dips]
    return [*ends, *outs, *_put_backs(baths, facts, water, zone, as_of)]


def _end_of(bath: Bath, water: Water | None, zone: str) -> PlannedTask:
    flush = flush_now(bath, water)
    words = "" if bath.over else f": {flush_words(flush)}"
    begin = "Go on clearing" if bath.drained_at and not bath.over else "End the bath of"
    since = _local(bath.last.at, zone)
    # What is over its ceiling is not left in for the time that a right dose may stay (rule C7).
    now = _over_ceiling(bath)
    hurry = " now, it is over its ceiling" if now else ""
    earliest, latest = (bath.last.at, bath.last.at) if now else (bath.earliest, bath.latest)
    return PlannedTask(
        key=bath.key,
        system=bath.first.system,
        tank=bath.tank,
        batch=bath.batch,
        kind="change",
        step=END,
        title=f"{begin} {bath.substance}{hurry}{words}",
        day=local_day(earliest, zone),
        due_from=earliest,
        due_until=latest,
        lapses_at=None,
        state="done" if bath.over else "planned",
        needs=None,
        reason=f"contact since {since}, at most {bath.last.data['contact_most']}; it ends at {bath.last.data['limit']}",
        outcome=bath.over,
    )


def _over_ceiling(bath: Bath) -> bool:
    """Whether too much was given and the level may still be over the ceiling of that dose."""
    ceiling = _decimal(bath.last.data.get("ceiling_mg_per_l"))
    if bath.over is not None or bath.upper is None or ceiling is None:
        return False
    return bool(bath.first.data.get("rescue") or bath.last.data.get("rescue")) and bath.upper > ceiling


def flush_now(bath: Bath, water: Water | None) -> Flush | None:
    """The water that ends a bath as its level is now; None: not known."""
    if water is None or bath.upper is None or bath.limit is None:
        return None
    last, alone = bath.last.data, None
    if "apart_litres" in last:
        alone = Water(float(last["volume_litres"]), float(last["volume_plus_minus_litres"]))
    return flush_of(water, bath.upper, bath.limit, alone)


def _out_of(dip: Dip, zone: str) -> PlannedTask:
    return PlannedTask(
        key=dip.key,
        system=dip.start.system,
        tank=dip.tank,
        batch=dip.batch,
        kind="chore",
        step=END,
        title=f"End the dip in {dip.start.data['substance']}: every fish out, into clean water of the tank",
        day=local_day(dip.earliest, zone),
        due_from=dip.earliest,
        due_until=dip.latest,
        lapses_at=None,
        state="done" if dip.over else "planned",
        needs=None,
        reason=f"in the vessel since {_local(dip.start.at, zone)}, at most {dip.start.data['contact_most']}",
        outcome=dip.over,
    )


def _put_backs(
    baths: Sequence[Bath], facts: Iterable[Fact], water: Water | None, zone: str, as_of: datetime
) -> list[PlannedTask]:
    """What was switched off or taken out for a dose and no step of the template puts back, once contact has ended."""
    known = [f for f in in_order(list(facts)) if f.at <= as_of]
    last = {f.data["substance"]: f for f in known if f.kind == "dose" and f.data.get("put_back") and f.batch and f.tank}
    if not last:
        return []
    exposed = {e.substance: e for e in exposures(known, water, as_of)}
    made = []
    for substance, dose in last.items():
        ended = _contact_end(dose, baths, exposed.get(substance))
        if ended is not None:
            made.append(_put_back(dose, ended, known, zone))
    return made


def _contact_end(dose: Fact, baths: Sequence[Bath], exposed: Exposure | None) -> datetime | None:
    """When contact with a dose ended: of a timed bath with the bath, else as rule A9 has it; None: it goes on."""
    mine = [b for b in baths if b.substance == dose.data["substance"] and b.first.at <= dose.at <= b.last.at]
    if mine:
        return mine[-1].over.at if mine[-1].over else None
    return exposed.until if exposed else None


def _put_back(dose: Fact, ended: datetime, known: list[Fact], zone: str) -> PlannedTask:
    key = f"{dose.batch}:{PUT_BACK}:{dose.id}:1"
    outcome = next((f for f in known if f.kind in ("done", "skip") and f.data.get("key") == key), None)
    day = local_day(ended, zone)
    following = datetime.combine(day + timedelta(days=1), time(), ZoneInfo(zone))
    return PlannedTask(
        key=key,
        system=dose.system,
        tank=str(dose.tank),
        batch=str(dose.batch),
        kind="chore",
        step=PUT_BACK,
        title=f"Put back after the {dose.data['substance']}: {', '.join(BACK[item] for item in dose.data['put_back'])}",
        day=day,
        due_from=ended,
        due_until=following.astimezone(ended.tzinfo),
        lapses_at=None,
        state="planned" if outcome is None else "skipped" if outcome.kind == "skip" else "done",
        needs=None,
        reason=f"contact ended {_local(ended, zone)}, and no step of the protocol puts it back (rule C10)",
        outcome=outcome,
    )


def to_put_back(off: Iterable[str], filter_: str, row: Regimen, put_back_by: Iterable[str]) -> list[str]:
    """What a dose leaves to put back: what was ``off`` for it, and a filter off for over an hour, save what a chore of
    the template puts back (``put_back_by``: the titles of the chores that come after a step)."""
    items = list(off)
    most = row.contact.high if row.contact else None
    if filter_ == "off" and (most is None or to(_quantity(most), "h") * 3600 > int(FILTER_OFF.total_seconds())):
        items.append("filter")
    titles = [title.casefold() for title in put_back_by]
    return [item for item in items if not any(says_back(title, item) for title in titles)]


def says_back(title: str, item: str) -> bool:
    """Whether a chore's title, in small letters, says that an item is put back or on again."""
    words = title.replace("-", " ").replace(",", " ").replace(";", " ").split()
    name = item.replace("-", " ")
    return name in " ".join(words) and bool({"back", "on"} & set(words))


# --- The card --------------------------------------------------------------------------------------------------------


class Before(NamedTuple):
    """What a card of a timed bath says before the pour: how it ends, and what the keeper confirms (one or none)."""

    how: str
    confirm: tuple[str, ...]


def before_pour(substance: Substance, row: Regimen, setting: Setting, dose: Dose, code: str) -> Before | None:
    """The lines of a timed bath's card for the water as it is; None where the volume is not known."""
    if setting.volume is None or dose.add is None:
        return None
    target, known = Quantity(dose.target, dose.target_unit), counts_in_ledger(substance, dose.target_unit)
    ledger = in_ledger(substance, target) if known else Decimal(0)
    planned = {"target": dose.target, "target_unit": dose.target_unit, "target_mg_per_l": ledger}
    data = begun(substance, row, setting, planned)
    there, flush = setting.levels.get(substance.id, setting.never_dosed).high, None
    litres, plus_minus = litres_of(setting.volume)
    least = litres - plus_minus - missing_litres(row, setting)
    if there is not None and ledger and data["limit_mg_per_l"] is not None and least > 0:
        given = Quantity(dose.add or Decimal(0), dose.add_unit)
        weighed = setting.stock is None  # a stock solution's mL say nothing by themselves
        added = given_in_ledger(substance, setting.product, given) / least if weighed else ledger
        # The levels of a card begin with the first dose; salt that was read before it is there too.
        present = present_salinity(setting) if "salt" in substance.classes else None
        held = max(decimal_up(there), (present or Decimal(0)) * 1000)
        flush = flush_of(setting.whole or setting.volume, held + added, data["limit_mg_per_l"], setting.volume)
    words = row.contact.words if row.contact else ""
    return Before(
        f"Bath: {words}. At its end: {flush_words(flush)} ({data['limit']}). Set a timer now; this keeps one: "
        f"quarantine bath start {code}.",
        _ready_words(flush, water_words(_beside_oxidiser(substance, setting))),
    )


def _beside_oxidiser(substance: Substance, setting: Setting) -> bool:
    """Whether an oxidiser is given, or may be in the water already."""
    there = [name for name, level in setting.levels.items() if level.high is None or level.high > 0]
    return "oxidiser" in substance.classes or any(is_oxidiser(name) for name in there)


def _ready_words(flush: Flush | None, water: str) -> tuple[str, ...]:
    """The before-check of rule C5, with its litres."""
    if flush is None or flush.least_ready is None:
        return ("Clean water of the same kind stands ready for all the fish, for the end of the bath (rule C5)",)
    if flush.least_ready == 0:
        return ()
    return (f"{show(flush.least_ready)} L of {water} stand ready for the end of the bath (rule C5)",)


# --- Small things ----------------------------------------------------------------------------------------------------


def _quantity(figure: Figure) -> Quantity:
    return Quantity(figure.value, figure.unit)


def _span(text: str | None) -> timedelta | None:
    """A time as a fact keeps it ("24 h")."""
    return None if text is None else timedelta(seconds=float(to(read(text, "duration", "the contact"), "s")))


def _decimal(value: str | Decimal | None) -> Decimal | None:
    return None if value is None else Decimal(value)


def _local(at: datetime, zone: str) -> str:
    return at.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%d %H:%M")
