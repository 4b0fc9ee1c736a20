"""The conditioner of a water change: sodium thiosulfate for the new water only. Reads only; `today` uses it too.

No more than F25 asks: litres that go in, times the chlorine that was read in the tap water, times what chemistry takes.
Where the chlorine is unknown there is no amount, and beside an oxidiser in the tank there is none either.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from quarantine.dosing.setting import DEFERS, OUR_CHOICE, UNSOURCED
from quarantine.dosing.words import cited
from quarantine.facts import Fact, in_order, local_day
from quarantine.formulary import load
from quarantine.quantity import read, show, show_significant, to
from quarantine.records.codec import text_of_instant
from quarantine.records.loading import fact_of, system_water
from quarantine.records.reads import Row, Rows
from quarantine.settings import Home
from quarantine.water.chlorine import NewWater, for_new_water
from quarantine.water.ledger import Water, level_of, substances_in

READ_DAYS = 30
"""How long a reading of the tap's chlorine is used, with its date said: our choice, no source."""
WAYS = ("bucket", "hose")

HATCHERY = "US Fish and Wildlife Service, Fish Hatchery Management, page 283, 1982"
LABORATORY = "a water laboratory supplier's technical note TE213, 2017"
GUIDE = "Clinical Guide to Fish Medicine, Chlorines and chloramines, year not stated, read in a copy"
TOXIC = (
    "Free chlorine and chloramine are toxic below 0.02 mg/L (WEF, Manual of Practice 8, Dechlorination, year not "
    "stated, abstract): a kit of coarser steps cannot show that the water is safe."
)
WATER_CONDITIONER = "water conditioner"
"""Its name among what an entry of the formulary says must not meet."""
DEFERS_TOO = f"Caution: {DEFERS}"


class Conditioner(NamedTuple):
    """What a change's new water takes: ``says`` on the card, the working behind it, and what has to be known of it.

    ``litres`` None: how much goes in is not known beforehand, and ``says`` is for each litre.
    """

    litres: Decimal | None
    says: str
    new: NewWater | None = None
    """None where no amount is computed"""
    read: str = ""
    """the reading of the tap water, with its date"""
    notes: tuple[str, ...] = ()
    working: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


def for_change(rows: Rows, home: Home, tank: Row, name: str, litres: Decimal | None, now: datetime) -> Conditioner:
    """The conditioner for ``litres`` of new water in a tank's system, as it is known ``now``.

    ``litres`` None: they are judged when it is done (the end of a bath, a change that a reading asks for). ``tank``
    needs system and zone; ``name`` is the tank's.
    """
    since = text_of_instant(now - timedelta(days=READ_DAYS))
    facts = in_order([fact_of(row) for row in rows.rows("facts_since", system=tank["system"], since=since)])
    facts = [f for f in facts if f.at <= now]
    water, _ = system_water(rows, tank["system"], now)
    refused = _oxidiser(facts, water, now)
    if refused is not None:
        return Conditioner(litres, refused)
    tested = [f for f in facts if f.kind == "source_water" and "chlorine" in f.data]
    if not tested:
        return Conditioner(
            litres,
            "by its label (the chlorine of the tap water is not on record, so no amount is computed: read its total "
            f"chlorine, free chlorine and chloramine together, and say: quarantine reading {_word(name)} "
            "--tap-chlorine VALUE)",
        )
    scale = to(read(home.value("scale_step"), "mass", "scale_step"), "g")
    return _sized(tested[-1], litres, scale, water, tank["zone"], name, now)


def _word(name: str) -> str:
    import shlex

    return shlex.quote(name)


def _sized(
    fact: Fact, litres: Decimal | None, scale: Decimal, water: Water | None, zone: str, name: str, now: datetime
) -> Conditioner:
    """The amount by the last reading of the tap water; none where the kit found nothing."""
    chlorine, step = Decimal(fact.data["chlorine"]), Decimal(fact.data["chlorine_step"])
    when = fact.at.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%d %H:%M")
    read_ = f"tap water: total chlorine {show(chlorine)} mg/L, step of the kit {show(step)} mg/L, tested {when}"
    if local_day(fact.at, zone) != local_day(now, zone):
        read_ += "; tap water changes: test it again before this change"
    if chlorine == 0:
        hidden = (f"up to {show(step / 2)} mg/L could be there unseen",) if step else ()
        return Conditioner(litres, "none by this reading: the kit found no chlorine", None, read_, (*hidden, TOXIC))
    if litres is None:
        return Conditioner(litres, _each_litre(chlorine, step, scale), None, read_, (_in_grams(name), DEFERS_TOO))
    new = for_new_water(chlorine, step, litres, scale)
    return Conditioner(
        litres,
        f"ADD {show(new.grams)} g of sodium thiosulfate pentahydrate, counted as pure",
        new,
        read_,
        (_ammonia(new, litres, water),),
        _working(new, chlorine, step, litres, scale),
        (
            "counted as the pure crystals (pentahydrate): an impure product takes more; a mixed conditioner is "
            "another thing and goes by its own label",
            f"test the new water for total chlorine before and after ({GUIDE})",
            TOXIC,
            "no source on record says how much is too much: weigh it",
        ),
    )


def _each_litre(chlorine: Decimal, step: Decimal, scale: Decimal) -> str:
    """The rate where the litres are not known yet, up to three digits (rule C4)."""
    mg = show_significant(for_new_water(chlorine, step, Decimal(1), scale).mg, 3, up=True)
    return f"{mg} mg of sodium thiosulfate pentahydrate, counted as pure, for each litre of new water"


def _in_grams(name: str) -> str:
    return f"in grams, for your litres: quarantine event change {_word(name)} --out LITRES --dry-run"


def _ammonia(new: NewWater, litres: Decimal, water: Water | None) -> str:
    """What the broken chloramine leaves: the most it can be, in the new water and when that is mixed in."""
    frees = show_significant(new.tan_mg_per_l, 3, up=True)
    mixed = ""
    if water is not None and water.litres > litres > 0:
        share = new.tan_mg_per_l * litres / Decimal(repr(water.litres))
        mixed = f", {show_significant(share, 3, up=True)} mg/L once it is mixed with the tank's"
    return (
        f"where all of it is chloramine, this frees up to {frees} mg/L of total ammonia nitrogen in the new water"
        f"{mixed}: test the conditioned water and say --tap-tan, so that the change is judged with it (rule C16)"
    )


def _working(new: NewWater, chlorine: Decimal, step: Decimal, litres: Decimal, scale: Decimal) -> tuple[str, ...]:
    off = (new.grams * 1000 / new.mg - 1) * 100
    finer = " A step of the scale is over 5 % of it: weigh more finely where you can." if scale * 20 > new.grams else ""
    return (
        f"{show(new.most_mg_per_l)} mg/L ({show(chlorine)} mg/L and half the kit's step of {show(step)} mg/L) x "
        f"{show(litres)} L of new water x 7.0006 mg per mg = {show_significant(new.mg, 5)} mg; by the reading "
        f"alone {show_significant(new.as_read_mg, 5)} mg",
        f"up to a step of the scale, {show(scale)} g: {show(new.grams)} g, {show_significant(off, 2, up=True)} % more "
        f"(rule C4).{finer}",
        f"the sources disagree: 7 mg per mg of chlorine ({LABORATORY}; 2 S2O3 + Cl2 -> S4O6 + 2 Cl), used here; 7.4 "
        f"({HATCHERY}; it does not name the hydrate), which would be "
        f"{show_significant(new.hatchery_mg, 5)} mg",
    )


def _oxidiser(facts: list[Fact], water: Water | None, now: datetime) -> str | None:
    """Why no conditioner goes in while an oxidiser may be in the tank's water; None where none may."""
    for name in substances_in(facts):
        substance = load(name)
        if "oxidiser" not in substance.classes:
            continue
        high = level_of(facts, name, water, substance.loss, now).high if water is not None else None
        if high == 0:
            continue
        there = "an unknown amount" if high is None else f"up to {_up(high)} mg/L"
        pair = next((p for p in substance.incompatible if p.other == WATER_CONDITIONER), None)
        if pair is None:
            why = "thiosulfate takes oxidisers away as it does chlorine"
            source = f"{OUR_CHOICE}: no source on record names this pair"
        else:
            why = pair.note.text.rstrip(".")
            source = cited(substance, pair.note.reference) or UNSOURCED.get(pair.note.status, OUR_CHOICE)
        return (
            f"NONE, refused: {there} of {substance.name} may still be in the water; {why} ({source}). Change with "
            "water that a test shows free of chlorine, which needs none, or wait until it is out"
        )
    return None


def _up(mg_per_l: float) -> str:
    return show_significant(Decimal(repr(mg_per_l)), 3, up=True)


def way_lines(conditioner: Conditioner, way: str | None) -> list[str]:
    """Where it goes, by how the water comes in; both ways where nobody said."""
    if conditioner.new is None:
        return []
    lines = {
        "bucket": "bucket: stir it into the new water and test that, before any of it goes in",
        "hose": "hose into the tank: all of it into the tank before the hose runs (common practice, no source); it is "
        "sized by the litres that go in (rule C12), since no source on record gives another amount for a hose. A "
        "bucket is safer: it can be tested first",
    }
    return [lines[way]] if way is not None else [lines[name] for name in WAYS]


def card_lines(conditioner: Conditioner, kind: str, way: str | None = None) -> list[str]:
    """The lines of today's list; ``kind`` is fresh, brackish or marine water."""
    match = "its temperature and salinity" if kind != "fresh" else "its temperature"
    if conditioner.litres is None:
        lines = [f"new water, matched to {match}; conditioner for the litres that go in only, {conditioner.says}"]
    else:
        litres = show(conditioner.litres)
        only = f"conditioner for these {litres} L only"
        lines = [f"new water: {litres} L, matched to {match}; {only}, {conditioner.says}"]
    below = [*([conditioner.read] if conditioner.read else []), *conditioner.notes, *way_lines(conditioner, way)]
    if conditioner.new is not None:
        below.append(DEFERS_TOO)
    return [*lines, *(f"  {line}" for line in below)]


def full_lines(conditioner: Conditioner, kind: str, way: str | None = None) -> list[str]:
    """The same with the working and every caution, as `why` and `event change` show it."""
    lines = card_lines(conditioner, kind, way)
    if conditioner.new is None:
        return lines
    more = [*conditioner.working, *(f"Caution: {caution}" for caution in conditioner.cautions)]
    return [*lines[:-1], *(f"  {line}" for line in more), lines[-1]]


def as_json(conditioner: Conditioner | None) -> dict[str, Any] | None:
    """The ``conditioner`` of a change task in the contract."""
    if conditioner is None:
        return None
    new = conditioner.new
    return {
        "new_litres": conditioner.litres,
        "says": conditioner.says,
        "add_g": None if new is None else new.grams,
        "of": None if new is None else "sodium thiosulfate pentahydrate",
        "most_chlorine_mg_per_l": None if new is None else new.most_mg_per_l,
        "frees_tan_mg_per_l": None if new is None else Decimal(show_significant(new.tan_mg_per_l, 3, up=True)),
        "notes": list(conditioner.notes),
        "working": list(conditioner.working),
        "cautions": [*conditioner.cautions, *([DEFERS] if new is not None else [])],
    }
