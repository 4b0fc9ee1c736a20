"""A dose for the water that is there, or the hold that says why not.

Pure. ``amount = min(target x V, ceiling x (V - u))`` (rule C2), in Decimal from target to measured amount,
rounded down to the keeper's scale (rule C4); both ends of what it gives are shown; under the effective minimum
it is not shown as a dose (rule C3). The upper bound of the level refuses a dose, it never sizes one (rule C1).
"""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from functools import cache
from typing import TYPE_CHECKING, Any, NamedTuple
from zoneinfo import ZoneInfo

from quarantine import evidence as ev
from quarantine.facts import Condition, Fact, local_day
from quarantine.failures import Refused
from quarantine.formulary import Ceiling, Figure, Regimen, Substance, ceiling_for, keys_of
from quarantine.quantity import UNITS, Quantity, ceil_to, decimal_up, floor_to, show, show_significant, to
from quarantine.readings import PARAMETERS
from quarantine.water.ledger import Water
from quarantine.water.level import Level

if TYPE_CHECKING:
    from quarantine.formulary.groups import Group, Groups

DEFERS = (
    "Computed from your own record; this is not veterinary advice. The product's label, local law and a veterinarian "
    "come first. Never for fish that people may eat. Dispose of treated water by local rules."
)
"""On every dose shown (rule 5.7 of the house, F100)."""

ADVISE_STOCK_SHARE = Decimal("0.05")
"""A scale step over this share of the dose calls for a stock solution or a finer scale (rule C4: twenty steps)."""

COARSEST_LOSS = Decimal("0.2")
"""Rounding down that takes more than this share of the dose is refused: too little is a harm (rules C3 and C4).
Our choice, no source."""

WORST_KNOWN_SHARE = Decimal("0.25")
"""Where no effective minimum is published, a volume whose plus-minus is over this share of it is measured first: the
fullest tank would get a fifth too little, and more where the ceiling limits the dose (rules C2 and C3). Our choice,
no source."""

SHORT_SHARE = Decimal("0.01")
"""Water that is gone on record and was not put back, over this share of the volume: the water is not at its mark
(rules C10 and C11). Our choice, no source."""

OUR_CHOICE = "our choice, no source"

PER_FISH, PER_FOOD = "mg/kg fish/day", ("mg/g food", "g/lb food")
"""How a dose in food is published: by the weight of the fish, or as a content of the food."""
MG_PER_G = {"mg/g food": Decimal(1), "g/lb food": 1000 / to(Quantity(Decimal(1), "lb"), "g")}

WEIGHT_DAYS = 30
"""Fish grow: a weight older than this is no basis for a dose in food. Our choice, no source."""

STEPS_OF_SCALE = 20
"""Food is prepared in such an amount that the substance for it is so many steps of the scale (rule C4)."""

SYRINGE_ML = Decimal("0.1")
"""The step of the syringe that a stock solution is measured with; our choice, no source."""

TRIAL = "The first time on a species: only a few fish now, watched, before the rest (rule C8)"

AT_THE_MARK = "The water stands at its mark; if it does not, say so first: quarantine tank level (rule C10)"

SAME_DAY = "two doses of one substance on one day"


EMERGENCY_WITHIN_HOURS = 24
"""A reading counts for rule C9 this long; our choice, no source."""

S42 = "Univ. of Florida IFAS EDIS, Ammonia, FA16/FA031, 1990/1996"
S44 = "Defra, Selling animals as pets licensing, statutory guidance, 2024: from memory"
OUT_OF_LIMIT = (
    Condition("reading", "uia", "un-ionized ammonia", None, "0.05", "mg/L", EMERGENCY_WITHIN_HOURS, reference=S42),
    Condition("reading", "nitrite", "nitrite", None, "0.125", "mg/L", EMERGENCY_WITHIN_HOURS, reference=S44),
    Condition("reading", "oxygen", "oxygen", "5", None, "mg/L", EMERGENCY_WITHIN_HOURS, reference=OUR_CHOICE),
)
"""What holds every dose when it was read (rule C9). Nitrite in fresh water: :data:`FRESH_NITRITE`."""
FRESH_NITRITE = "0.2"


class Hold(NamedTuple):
    """A dose that may not be given now: rule, figure, reference, and what would make it acceptable."""

    rule: str
    says: str
    figure: str | None
    figure_unit: str | None
    reference: str
    remedy: str

    def as_json(self) -> dict[str, Any]:
        """The shape of `hold` in JSON."""
        figure = Decimal(self.figure) if self.figure and _is_number(self.figure) else self.figure
        return {**self._asdict(), "figure": figure}


class Dose(NamedTuple):
    """The measured amount to add, and all that it rests on. Amounts are Decimal in the units named beside them."""

    substance: str
    regimen: str
    route: str
    target: Decimal
    target_unit: str
    volume_litres: Decimal
    volume_plus_minus_litres: Decimal
    add: Decimal | None
    add_unit: str
    add_of: str
    gives_low: Decimal | None
    gives_high: Decimal | None
    gives_unit: str
    reference: str
    cautions: tuple[str, ...]
    fish_grams: Decimal | None = None
    """for a dose in food: what the fish weigh; there is no volume then"""
    fish_plus_minus_grams: Decimal | None = None
    food_grams: Decimal | None = None
    """the portion of the prepared food that holds ``add``"""


class Where(NamedTuple):
    """Which water a template doses and how (rule C10): ``water`` is "system", "tank", "vessel" (a dip) or "food",
    ``filter`` "running", "off" or "" (vessel, food), ``off`` what is switched off or taken out for the dose,
    ``longest`` the template's own limit on a dip ("": the row's)."""

    water: str
    filter: str
    off: tuple[str, ...]
    longest: str = ""


class Weighed(NamedTuple):
    """What a batch weighs, as it was typed: grams of ``number`` fish together with their plus-minus, how it was found
    (``by``) and when; ``food_grams`` is what they eat in a day (None: not known), ``grown`` says that fish came
    after it."""

    grams: Decimal
    plus_minus_grams: Decimal
    number: int
    food_grams: Decimal | None
    by: str
    at: datetime
    grown: bool = False


class Stock(NamedTuple):
    """A stock solution: grams of the substance in so many litres of it."""

    grams: Decimal
    litres: Decimal


class Proposal(NamedTuple):
    """A dose card: the dose (its ``add`` is None under a hold), the hold, the working line by line, what the keeper
    confirms by giving it, how it is measured and given, and how the before-checks stand (F37)."""

    dose: Dose
    hold: Hold | None
    working: tuple[str, ...]
    confirm: tuple[str, ...]
    advice: str
    how: tuple[str, ...] = ()
    checks: str = ""


class Setting(NamedTuple):
    """The water a dose is meant for. ``levels`` hold every substance on record for it, in mg/L."""

    kind: str
    zone: str
    now: datetime
    volume: Water | None
    volume_says: str
    levels: dict[str, Level]
    doses: tuple[Fact, ...]
    evidence: ev.Evidence | None
    scale_step_grams: Decimal
    beside: tuple[str, ...] = ()
    """what ``volume`` holds beside the tank itself: other tanks, sump, filter (rule C10)"""
    readings: tuple[Fact, ...] = ()
    """readings of a water without a batch, where there is no ``evidence`` to hold them"""
    weighed: Weighed | None = None
    """of the batch of ``evidence``, for a dose in food"""
    batch: str = "BATCH"
    """that batch's name, for what to type"""
    vessel: Water | None = None
    """a dip's own vessel, as typed at the moment (rule C15)"""
    stock: Stock | None = None
    """measured out of this instead of weighed (rule C4)"""
    prepared_grams: Decimal | None = None
    """grams of food to prepare at once; None: as little as the scale can weigh the substance for"""
    species: tuple[str, ...] = ()
    """of all fish in the water, as typed; empty: not known"""
    own_groups: str = ""
    """the text of the keeper's own file of groups of animals"""
    others: tuple[ev.Evidence, ...] = ()
    """of the other batches in this water: an emergency among them holds its doses too (rule C9)"""
    never_dosed: Level = Level(0.0, 0.0)
    """the level of a substance that is not in ``levels``: unknown after an addition of unknown size"""
    short_litres: Decimal = Decimal(0)
    """what the record says is missing of ``volume`` now"""


def propose(
    substance: Substance,
    regimen: Regimen,
    setting: Setting,
    *,
    target: Quantity | None = None,
    before: tuple[Condition, ...] = (),
    mode: str | None = None,
    where: Where | None = None,
) -> Proposal:
    """The dose of a regimen for the water of ``setting``, or the first hold that stands against it.

    ``mode`` is the template's (rule C1); one that is not computed here is held and never taken for another.
    ``where`` is the template's too (rule C10); None: the water that is there, as it runs.
    """
    wanted = target or _default(regimen)
    if regimen.own_vessel:  # new water every time: only what the fish bring with them is the tank's
        others = {name: level for name, level in setting.levels.items() if name != substance.id}
        setting = setting._replace(volume=setting.vessel, volume_says="the vessel, as typed", levels=others)
    ceiling = _ceiling(regimen, setting)
    hold = (
        _mode_hold(substance, regimen, mode)
        or _where_hold(where, setting)
        or _first_hold(substance, regimen, setting, wanted, before, ceiling)
    )
    size = None
    if hold is None:
        assert wanted is not None
        assert ceiling is not None
        if regimen.route == "food":
            size = _food_size(substance, regimen, wanted, setting, ceiling)
            hold = _food_size_hold(substance, regimen, setting, size)
        else:
            assert setting.volume is not None
            size = _size(substance, wanted, setting, setting.volume, ceiling)
            hold = _size_hold(substance, regimen, setting, size, ceiling)
    return Proposal(
        dose=_dose(substance, regimen, setting, wanted, None if hold else size),
        hold=hold,
        working=size.working if size else (),
        confirm=_confirm(regimen, before, setting.evidence),
        advice="" if hold or size is None else _advice(substance, size, setting),
        how=_how(substance, regimen, where, setting, None if hold else size),
        checks=_checks(before, setting.evidence),
    )


# --- What stands against a dose --------------------------------------------------------------------------


def _first_hold(
    substance: Substance,
    regimen: Regimen,
    setting: Setting,
    target: Quantity | None,
    before: tuple[Condition, ...],
    ceiling: Ceiling | None,
) -> Hold | None:
    """The first reason, in the order in which a keeper would want to hear it."""
    return (
        _needs_hold(substance, regimen, setting)
        or _tier_hold(substance, regimen, target)
        or _bounds_hold(substance, regimen, target)
        or _route_hold(substance, regimen, setting)
        or _stock_hold(substance, regimen, setting)
        or _water_hold(substance, regimen, setting)
        or emergency_hold(setting)
        or _gap_hold(substance, regimen, setting)
        or _pair_hold(substance, setting)
        or _before_hold(before, setting)
        or _limits_hold(substance, regimen, setting)
        or _salinity_hold(substance, setting)
        or _species_hold(substance, setting)
        or _ceiling_known_hold(regimen, ceiling)
    )


def _mode_hold(substance: Substance, regimen: Regimen, mode: str | None) -> Hold | None:
    """Salt in the tank is sized by a reading of what is there; everything else as published, the full amount."""
    there = "salt" in substance.classes and not regimen.own_vessel
    computed = "top up to a reading" if there else "as published"
    if mode in (None, computed):
        return None
    return Hold(
        "C1",
        f"the template repeats {regimen.id} as {mode!r}, which is not computed here",
        None,
        None,
        _cite(substance, regimen.references) or OUR_CHOICE,
        f"work it out with the source named and a veterinarian; {computed!r} would be another amount",
    )


def _where_hold(where: Where | None, setting: Setting) -> Hold | None:
    """Rule C10: the litres are those that circulate then. Those of one tank alone, or without sump and filter, are not
    on record by themselves: the litres of the whole would be an overdose."""
    if where is None or not setting.beside or where.water in ("vessel", "food"):
        return None
    if where.water == "system" and where.filter == "running":
        return None
    what = "one tank alone" if where.water == "tank" else "the water with the filter off"
    return Hold(
        "C10",
        f"the template doses {what}, and the volume on record also holds {' and '.join(setting.beside)}",
        None,
        None,
        OUR_CHOICE,
        "use a template that doses the whole water system with the filter running, or ask a veterinarian",
    )


def _needs_hold(substance: Substance, regimen: Regimen, setting: Setting) -> Hold | None:
    """What no amount is computed for: a move, and a dose that hangs on more than volume and level.

    The trial before a dip is a before-check of it (:func:`_confirm`).
    """
    trial = regimen.trial_first and not regimen.own_vessel
    more = (*regimen.needs, *(("a trial on a few of the species",) if trial else ()))
    if regimen.tier != "ready" or (not more and regimen.route != "move"):
        return None
    says = "moves the fish and adds nothing to the water"
    if more:
        says = f"depends on {', '.join(more)}, which is not computed with here"
        if substance.id == "copper" and {"alkalinity", "hardness"} <= set(regimen.needs):
            says = f"{says}. {_copper_words(setting)}"
    cite = _cite(substance, regimen.references)
    return Hold("needs", f"{regimen.id} {says}", None, None, cite, "work it out with the source and a veterinarian")


def _copper_words(setting: Setting) -> str:
    """What the water that was read allows of copper sulfate, by the lower of two rules (rule C17), or why nothing."""
    from quarantine.water.copper import sulfate_limit

    def read(parameter: str) -> tuple[Decimal, Decimal] | None:
        span = _last_read(setting, parameter)
        return (max(span.low, Decimal(0)), span.high) if span else None

    try:
        limit = sulfate_limit(read("alkalinity"), read("hardness"))
    except Refused as refusal:
        return refusal.sentence.rstrip(".")
    return (
        f"By its {limit.by} this water never takes more than {show_significant(limit.mg_per_l, 3, up=False)} mg/L of "
        f"copper sulfate pentahydrate ({limit.reference})"
    )


def _tier_hold(substance: Substance, regimen: Regimen, target: Quantity | None) -> Hold | None:
    if regimen.tier == "ready" and target is not None:
        return None
    says = {
        "trial": "is a published trial, not general advice",
        "instruction": "is given only on a veterinarian's instruction",
        "refused": "is on record in order to refuse it",
    }.get(regimen.tier, "has no target on record")
    if regimen.tier == "refused" and regimen.cautions:
        says = f"{says}. {regimen.cautions[0].text.rstrip('.')}"
    # Each for its own purpose: what is ready against worms is no answer to flukes.
    ready = [f"{r.id} ({r.purpose})" for r in substance.regimens if r.tier == "ready"]
    instead = f"ready is {', '.join(ready)}; for anything else ask a veterinarian" if ready else "ask a veterinarian"
    return Hold("tier", f"{regimen.id} {says}", None, None, _cite(substance, regimen.references), instead)


def _bounds_hold(substance: Substance, regimen: Regimen, target: Quantity | None) -> Hold | None:
    """A target over the published range is no use of this regimen; under it the effective minimum speaks (C3)."""
    top = regimen.target and (regimen.target.high or regimen.target.default)
    if target is None or not top:
        return None
    # Copper by what is counted, ratios, food: units that only the formulary has, and equal to their own.
    if target.unit != top.unit and not {target.unit, top.unit} <= UNITS.keys():
        return Hold(
            "unit of the target",
            f"{regimen.id} is published in {top.unit}, and {show(target.value)} {target.unit} is no amount of that",
            None,
            None,
            _cite(substance, regimen.references),
            f"give the target in {top.unit}",
        )
    if (target.value if target.unit == top.unit else to(target, top.unit)) <= top.value:
        return None
    return Hold(
        "published range",
        f"{regimen.id} is published up to {show(top.value)} {top.unit}, not {show(target.value)} {target.unit}",
        show(top.value),
        top.unit,
        _cite(substance, top.reference) or _cite(substance, regimen.references),
        f"use {show(top.value)} {top.unit} or less, or ask a veterinarian",
    )


def _route_hold(substance: Substance, regimen: Regimen, setting: Setting) -> Hold | None:
    if regimen.route == "food":
        return _food_hold(substance, regimen, setting)
    if regimen.own_vessel and setting.vessel is None:
        return Hold(
            "C15",
            "a dip is made in its own vessel with its own litres, never in the tank, and how much water is in the "
            "vessel is asked at the moment",
            None,
            None,
            _cite(substance, regimen.references),
            "measure water into a vessel of its own and say its litres: "
            f'quarantine dose {substance.id} --tank TANK --regimen {regimen.id} --vessel "10 L"',
        )
    if regimen.target is not None and regimen.target.low.unit not in ("mg/L", "g/L"):
        return _unit_hold(substance, regimen, regimen.target.low.unit)
    return None


def _unit_hold(substance: Substance, regimen: Regimen, unit: str) -> Hold:
    return Hold(
        "unit of the target",
        f"{regimen.id} is published in {unit}, which is not computed with here",
        None,
        None,
        _cite(substance, regimen.references),
        "work it out with the source named, or ask a veterinarian",
    )


def _food_hold(substance: Substance, regimen: Regimen, setting: Setting) -> Hold | None:
    """A dose in food needs the weight of the fish and what they eat in a day, both said by a person (needs F26)."""
    unit = regimen.target.low.unit if regimen.target else ""
    if unit not in (PER_FISH, *PER_FOOD):
        return _unit_hold(substance, regimen, unit)
    weighed, says = setting.weighed, ""
    if weighed is None or weighed.number < 1 or weighed.grams <= 0 or setting.evidence is None:
        says = "is sized by the weight of the fish, which is not on record"
    elif weighed.grown:
        says = f"is sized by the weight of the fish, and fish came after it was found on {_day(weighed, setting)}"
    elif setting.now - weighed.at > timedelta(days=WEIGHT_DAYS):
        says = f"is sized by the weight of the fish, which was last found on {_day(weighed, setting)}"
    elif not weighed.food_grams:
        says = "is sized by how much the fish eat in a day, which is not on record"
    elif setting.evidence.alive < 1:
        says = "is for living fish, and none is on record"
    if not says:
        return None
    return Hold(
        "in food",
        f"a dose in food {says}",
        None,
        None,
        _cite(substance, regimen.references),
        f'weigh them and watch what they eat: quarantine batch weigh {setting.batch} "3 g" --each --eats "1 %" '
        '--by "scale, 4 fish"',
    )


def _day(weighed: Weighed, setting: Setting) -> str:
    return local_day(weighed.at, setting.zone).isoformat()


def _stock_hold(substance: Substance, regimen: Regimen, setting: Setting) -> Hold | None:
    """A stock solution only of what dissolves, and as far as it does (rule C4)."""
    stock = setting.stock
    if stock is None:
        return None
    if regimen.route == "food":
        says, remedy = "a dose in food is weighed into the food", "leave --stock out"
    elif substance.solubility is None:
        says = f"no solubility of {substance.name} is on record, so no stock solution is made of it"
        remedy = "weigh on a finer scale, or stir the whole weighed amount into tank water and pour all of it"
    else:
        strength = _stock_mg_per_ml(stock) * 1000
        most = to(Quantity(substance.solubility.value, substance.solubility.unit), "mg/L")
        if strength <= most:
            return None
        says = f"{show_significant(strength, 4)} mg/L is more than {substance.name} dissolves ({show(most)} mg/L)"
        remedy = "make a weaker stock solution"
    reference = substance.solubility.reference if substance.solubility else ""
    return Hold("C4", says, None, None, _cite(substance, reference) or OUR_CHOICE, remedy)


def _stock_mg_per_ml(stock: Stock) -> Decimal:
    return stock.grams / stock.litres  # g/L is mg/mL


def _water_hold(substance: Substance, regimen: Regimen, setting: Setting) -> Hold | None:
    if setting.kind not in regimen.water:
        return Hold(
            "water",
            f"{regimen.id} is published for {' and '.join(regimen.water)} water, this is {setting.kind}",
            None,
            None,
            _cite(substance, regimen.references),
            "choose a regimen for this water, or ask a veterinarian",
        )
    if regimen.route == "food":
        return None
    if setting.volume is None:
        return Hold(
            "C2",
            "how much water is in the tank is not known",
            None,
            None,
            OUR_CHOICE,
            "measure the tank: quarantine tank measure",
        )
    litres, plus_minus = _litres(setting.volume)
    remedy = "measure the tank (quarantine tank gauge, or quarantine tank measure)"
    if regimen.own_vessel:
        remedy = 'measure the water in the vessel more finely and say so, such as --vessel "1.0 L"'
    if plus_minus >= litres:
        return Hold(
            "C2",
            f"the volume is not known well enough: {show(litres)} L, plus or minus {show(plus_minus)} L",
            show(plus_minus),
            "L",
            OUR_CHOICE,
            remedy,
        )
    if regimen.effective_minimum is None and plus_minus > WORST_KNOWN_SHARE * litres:
        return Hold(
            "C3",
            f"{show(litres)} L, plus or minus {show(plus_minus)} L, may make the dose too weak to work, and how little "
            f"is enough is not published: a plus-minus over {show(WORST_KNOWN_SHARE * 100)} % of the volume",
            show(plus_minus),
            "L",
            OUR_CHOICE,
            remedy,
        )
    return _known_water_hold(substance, regimen, setting, litres)


def _known_water_hold(substance: Substance, regimen: Regimen, setting: Setting, litres: Decimal) -> Hold | None:
    """Rules C10 and C12: the water is at the mark that its litres stand for, and what is in it is known."""
    if not regimen.own_vessel and setting.short_litres > SHORT_SHARE * litres:
        return Hold(
            "C10",
            f"on record {show(setting.short_litres, 2)} L went out of this water and were not put back, so it is not "
            f"at the mark that {show(litres)} L stand for",
            show(setting.short_litres, 2),
            "L",
            OUR_CHOICE,
            "top it up to the mark and log that (quarantine event topup), or say where it stands (quarantine tank "
            "level)",
        )
    if not setting.levels.get(substance.id, setting.never_dosed).known:
        return Hold(
            "C12",
            f"how much {substance.name} is already in the water is not known",
            None,
            None,
            OUR_CHOICE,
            "change all of the water",
        )
    return None


def emergency_hold(setting: Setting) -> Hold | None:
    """Rule C9: an A sign, deaths or bad water hold every dose until a person lifts it, whichever batch of the water
    they are of."""
    evidence = setting.evidence
    if evidence is None:
        return _bad_water(setting)
    what = next((why for one in (evidence, *setting.others) if (why := ev.emergency(one)) is not None), None)
    if what is not None:
        return Hold(
            "C9",
            f"an emergency is open: {what}",
            None,
            None,
            OUR_CHOICE,
            "test the water, add air, isolate the sick, call a veterinarian; then a named person lifts the hold: "
            "quarantine event lift",
        )
    for limit in _out_of_limit(setting):
        verdict = ev.judge(limit, evidence)
        span = ev.value_now(evidence, str(limit.value), EMERGENCY_WITHIN_HOURS)
        lifted = span is not None and evidence.lifted_at is not None and span.at <= evidence.lifted_at
        if verdict.met is False and not lifted:
            return Hold(
                "C9",
                f"{verdict.says}; no dose into bad water",
                verdict.figure,
                verdict.figure_unit,
                limit.reference,
                "change water, add air, test again; or a named person lifts the hold: quarantine event lift",
            )
    return None


def _out_of_limit(setting: Setting) -> tuple[Condition, ...]:
    fresh = setting.kind == "fresh"
    return tuple(x._replace(high=FRESH_NITRITE) if fresh and x.value == "nitrite" else x for x in OUT_OF_LIMIT)


def _bad_water(setting: Setting) -> Hold | None:
    """Rule C9 for a water without a batch (rule B10): its last readings; there is nobody's hold to lift."""
    read = tuple(f for f in setting.readings if f.at <= setting.now)
    for limit in _out_of_limit(setting):
        span = ev.value_at(read, (), setting.now, str(limit.value), EMERGENCY_WITHIN_HOURS)
        if span is None:
            continue
        low, high = (None if x is None else Decimal(x) for x in (limit.low, limit.high))
        worst = span.most if high is not None and span.most > high else span.least
        if (low is None or worst >= low) and (high is None or worst <= high):
            continue
        needed = f"at least {limit.low}" if high is None else f"at most {limit.high}"
        figure = show_significant(worst, 3)
        return Hold(
            "C9",
            f"{limit.title} {figure} {limit.unit}, needed: {needed} {limit.unit}; no dose into bad water",
            figure,
            limit.unit,
            limit.reference,
            "change water, add air, test again",
        )
    return None


def _gap_hold(substance: Substance, regimen: Regimen, setting: Setting) -> Hold | None:
    """Spacing over all doses given to this water, whatever task they came from."""
    mine = [f for f in setting.doses if f.data.get("substance") == substance.id and f.at <= setting.now]
    if not mine:
        return None
    last = max(mine, key=lambda f: f.at)
    when = f"the last one was given {local_day(last.at, setting.zone)}"
    gap = regimen.minimum_gap
    if gap is not None and gap.unit == "d":
        open_on = local_day(last.at, setting.zone) + timedelta(days=int(gap.value))
        closed = local_day(setting.now, setting.zone) < open_on
        until = str(open_on)
    elif gap is not None:
        opens = last.at + timedelta(hours=float(to(Quantity(gap.value, gap.unit), "h")))
        closed = setting.now < opens
        until = f"{opens.astimezone(ZoneInfo(setting.zone)):%Y-%m-%d %H:%M}"
    else:
        closed = local_day(setting.now, setting.zone) == local_day(last.at, setting.zone)
    if not closed:
        return None
    if gap is None:
        return Hold("minimum gap", f"{SAME_DAY}: {when}", None, None, OUR_CHOICE, "wait until tomorrow")
    return Hold(
        "minimum gap",
        f"doses of {substance.name} are at least {show(gap.value)} {gap.unit} apart; {when}",
        show(gap.value),
        gap.unit,
        _cite(substance, gap.reference),
        f"wait until {until}",
    )


def _pair_hold(substance: Substance, setting: Setting) -> Hold | None:
    """Substances that must not meet while the upper bound of the other one is above zero, whichever entry says so.

    "Not the same day" holds on the day of the other's dose only.
    """
    from quarantine.formulary import load

    for name, level in setting.levels.items():
        if name == substance.id or level.high == 0:
            continue
        other = load(name)
        today = any(
            f.data.get("substance") == name and local_day(f.at, setting.zone) == local_day(setting.now, setting.zone)
            for f in setting.doses
        )
        for source, partner in ((substance, other), (other, substance)):
            for pair in source.incompatible:
                meets = pair.other == partner.id or pair.other in partner.classes
                if not meets or pair.rule == "know" or (pair.rule == "not the same day" and not today):
                    continue
                wait = "wait until tomorrow" if pair.rule == "not the same day" else None
                return Hold(
                    "what must not be mixed",
                    f"{other.name} is still in the water; {pair.note.text}",
                    None,
                    None,
                    _cite(source, pair.note.reference) or _UNSOURCED.get(pair.note.status, OUR_CHOICE),
                    wait or f"change water until {other.name} is out",
                )
    return None


_UNSOURCED = {"MEM": "from memory"}


def _before_hold(before: tuple[Condition, ...], setting: Setting) -> Hold | None:
    """The template's before-checks (rule C8): the first that is not met or cannot be judged."""
    for condition in before:
        if condition.kind == "word":
            continue
        if setting.evidence is None:
            return Hold(
                "C8",
                f"{condition.title}: no batch is in this water",
                None,
                None,
                condition.reference or OUR_CHOICE,
                "start a batch",
            )
        verdict = ev.judge(condition, setting.evidence)
        if verdict.met or (verdict.met is None and condition.or_word):
            continue
        return Hold(
            "C8",
            f"{condition.title}: {verdict.says}",
            verdict.figure,
            verdict.figure_unit,
            condition.reference or OUR_CHOICE,
            _remedy(condition),
        )
    return None


def _remedy(condition: Condition) -> str:
    match condition.kind:
        case "day":
            return "wait; a sign that will not wait is a veterinarian's"
        case "ate":
            return "wait until they eat, and log it with a look"
        case "no_sign":
            return "test the water first, then a veterinarian"
        case "reading" | "steady" if condition.value == "uia":
            return "read tan, ph and temperature (quarantine reading); if it is too high, change water and test again"
        case "reading" | "steady":
            return f"read {condition.value} (quarantine reading); out of range: mend that first, then test again"
    return "see quarantine signoff"


TEMPERATURE_AGE_HOURS, TEMPERATURE_SPAN_HOURS = 12, 24  # rule C14


def _limits_hold(substance: Substance, regimen: Regimen, setting: Setting) -> Hold | None:
    """Limits of the water in the regimen itself: unknown is refused. A limit that no reading answers is confirmed
    by the keeper (:func:`_confirm`)."""
    for limit in regimen.limits:
        if limit.kind != "limit" or limit.what not in PARAMETERS:
            continue
        low, high = (figure and show(figure.value) for figure in (limit.low, limit.high))
        unit = PARAMETERS[limit.what].unit
        condition = Condition("reading", limit.what, limit.what, low, high, unit, TEMPERATURE_AGE_HOURS)
        verdict = ev.judge(condition, setting.evidence) if setting.evidence else None
        if verdict is not None and verdict.met and setting.evidence is not None and limit.what == "temperature":
            verdict = _day_of_temperature(condition, setting.evidence)
        if verdict is None or not verdict.met:
            return Hold(
                "C14",
                verdict.says if verdict else f"{limit.what} is not known",
                verdict.figure if verdict else None,
                unit,
                _cite(substance, limit.note.reference) or OUR_CHOICE,
                f"read {limit.what} (quarantine reading); outside the limit choose another regimen",
            )
    return None


def _day_of_temperature(condition: Condition, evidence: ev.Evidence) -> ev.Verdict:
    """Rule C14: for a cap the highest of the last 24 hours counts (and for a floor the lowest)."""
    since = evidence.as_of - timedelta(hours=TEMPERATURE_SPAN_HOURS)
    values = [
        Decimal(f.data["value"]) for f in evidence.readings if f.data["parameter"] == "temperature" and f.at >= since
    ]
    for bad in (v for v in (max(values), min(values)) if not _inside(v, condition)):
        return ev.Verdict(False, f"temperature was {show(bad)} °C in the last 24 h", None, show(bad), "°C")
    return ev.Verdict(True, "temperature in limits for 24 h")


def _inside(value: Decimal, condition: Condition) -> bool:
    low, high = condition.low, condition.high
    return (low is None or value >= Decimal(low)) and (high is None or value <= Decimal(high))


def _confirm(regimen: Regimen, before: tuple[Condition, ...], evidence: ev.Evidence | None) -> tuple[str, ...]:
    """What the keeper confirms by giving the dose: the template's words, those that stand in for a reading that is
    not known, and the regimen's limits that no reading answers (how much fish is in the water)."""
    said = []
    for condition in before:
        if condition.kind == "word":
            said.append(str(condition.value))
        elif condition.or_word and evidence is not None and ev.judge(condition, evidence).met is None:
            said.append(condition.or_word)
    if regimen.route in ("bath", "prolonged") and not regimen.own_vessel:
        said.append(AT_THE_MARK)
    if regimen.trial_first:
        said.append(TRIAL)
    return (*said, *(x.note.text for x in regimen.limits if x.kind == "limit" and x.what not in PARAMETERS))


def _species_hold(substance: Substance, setting: Setting) -> Hold | None:
    """Animals in the water that the lists say must not get this. A species that is on no list is no answer."""
    if not setting.species:
        return None
    there = _groups(setting.own_groups)
    words = {substance.id, *substance.classes}
    for fish in setting.species:
        for group in _groups_of(fish, setting.own_groups):
            for line in group.sensitive:
                if line.rule == "refuse" and words & set(line.to):
                    cite = "; ".join(there.references[k].cite for k in keys_of(line.note.reference))
                    return Hold(
                        "sensitive animals",
                        f"{fish} belongs to {group.name}: {line.note.text.rstrip('.')}",
                        None,
                        None,
                        cite or (OUR_CHOICE if line.own else _UNSOURCED.get(line.note.status, OUR_CHOICE)),
                        "keep them out of this water, or ask a veterinarian",
                    )
    return None


@cache
def _groups(own: str) -> Groups:
    from quarantine.formulary import groups

    return groups.with_own(own, groups.FILE) if own else groups.shipped()


def _groups_of(species: str, own: str) -> tuple[Group, ...]:
    from quarantine.formulary.groups import groups_of

    there = _groups(own)
    ids = groups_of(species, there)
    return tuple(group for group in there.groups if group.id in ids)


def _salinity_hold(substance: Substance, setting: Setting) -> Hold | None:
    if "salt" not in substance.classes or present_salinity(setting) is not None:
        return None
    return Hold(
        "C15",
        "a salt target is the total salinity, and the present one is not known",
        None,
        None,
        OUR_CHOICE,
        "read salinity (quarantine reading TANK salinity=...g/L), not more than 24 h ago and after the last salt dose",
    )


def _ceiling_known_hold(regimen: Regimen, ceiling: Ceiling | None) -> Hold | None:
    if ceiling is not None:
        return None
    return Hold("ceiling", f"{regimen.id} has no ceiling on record", None, None, OUR_CHOICE, "ask a veterinarian")


# --- Size ------------------------------------------------------------------------------------------------


class _Size(NamedTuple):
    exact_mg: Decimal
    given_mg: Decimal
    gives_low: Decimal
    gives_high: Decimal
    working: tuple[str, ...]
    food: _Food | None = None


class _Food(NamedTuple):
    """The fish, the food that is prepared at once with its substance, and the day's portion of it."""

    fish_grams: Decimal
    plus_minus_grams: Decimal
    prepared_grams: Decimal
    substance_mg: Decimal
    portion_grams: Decimal


def _size(substance: Substance, wanted: Quantity, setting: Setting, volume: Water, ceiling: Ceiling) -> _Size:
    """Rules C2 and C4. ``gives`` is what this dose alone gives (for salt: with what is there), in mg/L."""
    litres, plus_minus = _litres(volume)
    target = to(wanted, "mg/L")
    top = to(Quantity(ceiling.figure.value, ceiling.figure.unit), "mg/L")
    span = _salinity(setting) if "salt" in substance.classes else None
    present = span.high * 1000 if span else Decimal(0)
    at_least = max(span.low, Decimal(0)) * 1000 if span else Decimal(0)
    rise, room = max(target - present, Decimal(0)), max(top - present, Decimal(0))
    by_target, by_ceiling = rise * litres, room * (litres - plus_minus)
    exact = min(by_target, by_ceiling)
    step, steps = setting.scale_step_grams * 1000, f"{show(setting.scale_step_grams)} g"
    if setting.stock is not None:
        step, steps = SYRINGE_ML * _stock_mg_per_ml(setting.stock), f"{show(SYRINGE_ML)} mL of the stock solution"
    given = floor_to(exact, step)
    low = at_least + _divide(given, litres + plus_minus, ROUND_FLOOR)
    high = present + _divide(given, litres - plus_minus, ROUND_CEILING)
    unit = wanted.unit
    over = f" - present {show(present / 1000)} g/L" if present else ""
    there = f", with {show(at_least / 1000)} to {show(present / 1000)} g/L there" if present else ""
    working = (
        f"water: {show(litres)} L, plus or minus {show(plus_minus)} L ({setting.volume_says})",
        f"target {show(wanted.value)} {unit}{over}, for {show(litres)} L: {_grams(by_target)} g",
        f"ceiling {show(ceiling.figure.value)} {ceiling.figure.unit}{over}, for "
        f"{show(litres)} - {show(plus_minus)} = {show(litres - plus_minus)} L: "
        f"{_grams(by_ceiling)} g",
        f"the smaller: {_grams(exact)} g; rounded down to steps of {steps}: {show(given / 1000)} g",
        f"gives {show(given / 1000)} g in {show(litres + plus_minus)} L to {show(litres - plus_minus)} L{there}: "
        f"{_in(low, unit, up=False)} to {_in(high, unit, up=True)} {unit}",
    )
    return _Size(exact, given, low, high, working)


def _food_size(substance: Substance, regimen: Regimen, wanted: Quantity, setting: Setting, ceiling: Ceiling) -> _Size:
    """A day's dose in food (rules C2 and C4): by the weight of the fish, or by the content of what they eat.

    What is measured on the day is a portion of prepared food, so that is what is rounded down; the substance is
    weighed once, for a larger amount of food. ``gives`` is in the unit of the target.
    """
    weighed, step, unit, top = setting.weighed, setting.scale_step_grams, wanted.unit, ceiling.figure.value
    assert weighed is not None
    alive, fish, plus_minus, eats = _biomass(setting)
    least = max(fish - plus_minus, Decimal(0))
    share = show_significant(eats / fish * 100, 3)
    says: tuple[str, ...]
    if unit == PER_FISH:
        by_target, by_ceiling = wanted.value * fish / 1000, top * least / 1000
        exact = min(by_target, by_ceiling)
        says = (
            f"target {show(wanted.value)} {unit} for {_g(fish)} g: {_mg(by_target)} mg",
            f"ceiling {show(top)} {unit} for {_g(fish)} - {_g(plus_minus)} = {_g(least)} g: {_mg(by_ceiling)} mg",
            f"the smaller in {_g(eats)} g of food: {_mg(exact / eats)} mg in each gram",
        )
    else:
        per_gram = min(wanted.value, top) * MG_PER_G[unit]
        exact = per_gram * eats
        says = (
            f"target {show(wanted.value)} {unit} (ceiling {show(top)} {unit}): {_mg(per_gram)} mg in each gram of food",
            f"in {_g(eats)} g of food: {_mg(exact)} mg",
        )
    content = exact / eats
    prepared = setting.prepared_grams or max(
        ceil_to(STEPS_OF_SCALE * step * 1000 / content, step) if content else step, ceil_to(eats, step)
    )
    mixed = floor_to(content * prepared, step * 1000)
    real = mixed / prepared
    portion = min(floor_to(exact / real if real else Decimal(0), step), prepared)
    if unit != PER_FISH:
        portion = min(portion, floor_to(eats, step))
    given = (real * portion).quantize(Decimal("0.0001"), rounding=ROUND_FLOOR)
    if unit == PER_FISH:
        low = _divide(given * 1000, fish + plus_minus, ROUND_FLOOR)
        high = _divide(given * 1000, least, ROUND_CEILING) if least else Decimal(0)
    else:
        low = high = (real / MG_PER_G[unit]).quantize(Decimal("0.000001"), rounding=ROUND_FLOOR)
    of_fish = show_significant(given * 1000 / fish, 3, up=True)
    working = (
        f"fish: {_g(fish)} g, plus or minus {_g(plus_minus)} g ({alive} fish alive; {_g(weighed.grams)} g for "
        f"{weighed.number} fish on {_day(weighed, setting)}: {weighed.by})",
        f"they eat {_g(eats)} g of food a day, {share} % of their weight",
        *says,
        f"prepared: {show(mixed / 1000)} g in {show(prepared)} g of food, rounded down to steps of {show(step)} g: "
        f"{_mg(real)} mg in each gram",
        f"the day's portion, rounded down: {show(portion)} g of it, with {show(given)} mg; for each kg of fish "
        f"{of_fish} mg",
    )
    food = _Food(fish, plus_minus, prepared, mixed, portion)
    return _Size(exact, given, low, high, working, food)


def _biomass(setting: Setting) -> tuple[int, Decimal, Decimal, Decimal]:
    """How many are alive; grams of them all, the plus-minus, and grams of food they eat in a day."""
    weighed = setting.weighed
    assert weighed is not None
    assert weighed.food_grams is not None
    assert setting.evidence is not None
    alive = setting.evidence.alive
    share = Decimal(alive) / Decimal(weighed.number)
    return alive, weighed.grams * share, weighed.plus_minus_grams * share, weighed.food_grams * share


def _food_size_hold(substance: Substance, regimen: Regimen, setting: Setting, size: _Size) -> Hold | None:
    """Rules C3 and C4 for food, and the published content: fish that eat less cannot eat the dose."""
    assert size.food is not None
    step, food = setting.scale_step_grams, size.food
    if food.plus_minus_grams >= food.fish_grams:
        says = f"{_g(food.fish_grams)} g, plus or minus {_g(food.plus_minus_grams)} g"
        remedy = "weigh them again"
        return Hold("C2", f"the weight of the fish is not known well enough: {says}", None, None, OUR_CHOICE, remedy)
    published = regimen.food.per_food if regimen.food else None
    content = size.exact_mg / _biomass(setting)[3]
    if published is not None and content.quantize(Decimal("0.000001"), ROUND_FLOOR) > published.value:
        return Hold(
            "published range",
            f"they eat so little that each gram of food would hold {show_significant(content, 3)} mg; "
            f"published is {show(published.value)} {published.unit}",
            show(published.value),
            published.unit,
            _cite(substance, published.reference),
            "fish that hardly eat are not treated in food: ask a veterinarian",
        )
    lost = (size.exact_mg - size.given_mg) / size.exact_mg
    if food.portion_grams == 0 or lost > COARSEST_LOSS:
        return Hold(
            "C4",
            f"of {_mg(size.exact_mg)} mg the day's portion of food would hold {show(size.given_mg)} mg",
            show(step),
            "g",
            OUR_CHOICE,
            "prepare more food at once, at least a day's portion (quarantine dose, --food), or weigh on a finer scale "
            "(setting scale_step)",
        )
    return None


def _g(grams: Decimal) -> str:
    return show_significant(grams, 6)


def _mg(milligrams: Decimal) -> str:
    return show_significant(milligrams, 6, up=False)


def _grams(milligrams: Decimal) -> str:
    """Grams for the working: exact where twelve digits hold it, and never rounded up past a step of the scale."""
    return show_significant(milligrams / 1000, 12, up=False)


def _size_hold(substance: Substance, regimen: Regimen, setting: Setting, size: _Size, ceiling: Ceiling) -> Hold | None:
    top = to(Quantity(ceiling.figure.value, ceiling.figure.unit), "mg/L")
    salt = "salt" in substance.classes
    if salt and size.exact_mg == 0:
        return Hold(
            "C15",
            "the water is at the target already",
            None,
            None,
            OUR_CHOICE,
            "nothing to add; read salinity again later",
        )
    if size.given_mg == 0:
        return Hold(
            "C4",
            f"{show_significant(size.exact_mg / 1000, 3)} g is less than one step of the scale",
            show(setting.scale_step_grams),
            "g",
            OUR_CHOICE,
            _finer(substance),
        )
    lost = (size.exact_mg - size.given_mg) / size.exact_mg
    if lost > COARSEST_LOSS:
        return Hold(
            "C4",
            f"on this scale {_grams(size.exact_mg)} g becomes {_grams(size.given_mg)} g, "
            f"{show_significant(lost * 100, 2)} % too little, which leaves parasites and breeds resistance",
            show(setting.scale_step_grams),
            "g",
            OUR_CHOICE,
            _finer(substance),
        )
    upper = Decimal(0) if salt else decimal_up(setting.levels.get(substance.id, Level(0.0, 0.0)).high or 0.0)
    if upper + size.gives_high > top:
        unit = ceiling.figure.unit
        return Hold(
            "ceiling",
            f"with this dose the level could reach {_in(upper + size.gives_high, unit, up=True)} {unit}; "
            f"the ceiling is {show(ceiling.figure.value)} {unit}",
            show(ceiling.figure.value),
            unit,
            _cite(substance, ceiling.figure.reference),
            _clearing_words(upper, top - size.gives_high, setting.volume),
        )
    floor = regimen.effective_minimum
    if floor is not None and size.gives_low < to(Quantity(floor.value, floor.unit), "mg/L"):
        return Hold(
            "C3",
            f"the dose could give as little as {_in(size.gives_low, floor.unit, up=False)} {floor.unit}; "
            f"under {show(floor.value)} {floor.unit} it does not work",
            show(floor.value),
            floor.unit,
            _cite(substance, floor.reference),
            "measure the tank (quarantine tank measure), or weigh on a finer scale",
        )
    return None


def _finer(substance: Substance) -> str:
    """What to do when a step of the scale is too coarse for the dose (rule C4)."""
    finer = "weigh on a finer scale (setting scale_step)"
    if substance.solubility is None:
        return finer
    return f"{finer}, or make a stock solution ({_dissolves(substance.solubility)})"


def _dissolves(solubility: Figure) -> str:
    return f"dissolves to {show(solubility.value)} {solubility.unit}"


def _clearing_words(upper: Decimal, room: Decimal, volume: Water | None) -> str:
    if room <= 0 or volume is None:
        return "choose a lower target, or ask a veterinarian"
    litres, plus_minus = _litres(volume)
    out = clearing_litres(litres, plus_minus, upper, room)
    if out is None:
        return "change all of the water first, and log it: quarantine event change"
    share = (out / litres * 100).quantize(Decimal(1), rounding=ROUND_CEILING)
    return (
        f"change at least {show(out)} L of water first ({show(share)} %), and log it: quarantine event change; "
        "then ask again"
    )


def clearing_litres(
    litres: Decimal, plus_minus_litres: Decimal, upper_mg_per_l: Decimal, at_most_mg_per_l: Decimal
) -> Decimal | None:
    """Litres of one change after which the level's upper bound is at most ``at_most_mg_per_l``, up to 0.1 L.

    In the fullest tank that is possible, V + u, a litre taken out is the smallest share of the water:
    out = (1 - at_most / upper) x (V + u) (mass balance, algebra). None: more than the emptiest tank holds,
    so all of the water has to go.
    """
    share = 1 - at_most_mg_per_l / upper_mg_per_l
    # The ledger rounds its bounds outward; a billionth more than the algebra keeps the result inside.
    out = (share * (litres + plus_minus_litres) * (1 + Decimal("1e-9"))).quantize(
        Decimal("0.1"), rounding=ROUND_CEILING
    )
    return out if out < litres - plus_minus_litres else None


def _advice(substance: Substance, size: _Size, setting: Setting) -> str:
    step_grams = setting.scale_step_grams
    if size.food is not None or setting.stock is not None:
        return ""
    if step_grams * 1000 <= ADVISE_STOCK_SHARE * size.given_mg:
        return ""
    lost = (size.exact_mg - size.given_mg) / size.exact_mg * 100
    says = f"One step of the scale is over 5 % of this dose; {show_significant(lost, 2)} % was lost by rounding down."
    if substance.solubility is None:
        return f"{says} Weigh on a finer scale; no solubility of {substance.name} is on record, so no stock solution."
    return f"{says} Weigh on a finer scale, or make a stock solution ({_dissolves(substance.solubility)})."


def _how(
    substance: Substance, regimen: Regimen, where: Where | None, setting: Setting, size: _Size | None
) -> tuple[str, ...]:
    """By which route, in which water, and how to measure it (rules C4 and C10)."""
    if regimen.route == "food":
        return _how_food(substance, size)
    if regimen.own_vessel:
        return _how_dip(substance, regimen, where, setting)
    route = regimen.route
    if where is not None:
        water = "all of the water system" if where.water == "system" else "this tank alone"
        off = f"; off or out: {', '.join(where.off)}" if where.off else ""
        route += f", in {water}; filter {where.filter}{off}"
    if setting.stock is not None:
        return (f"Route: {route}.", *_how_stock(substance, setting))
    return (
        f"Route: {route}.",
        f"Measure: weigh on a scale with steps of {show(setting.scale_step_grams)} g; stir all of it into tank water "
        "first, then pour all of that in parts into strong flow.",
    )


def _how_stock(substance: Substance, setting: Setting) -> tuple[str, ...]:
    """Rule C4 and F21: the label of the bottle. No source on record says how long a stock solution keeps."""
    assert setting.stock is not None
    made = local_day(setting.now, setting.zone).isoformat()
    strength = show_significant(_stock_mg_per_ml(setting.stock), 6)
    return (
        f"Measure: dissolve {show(setting.stock.grams)} g wholly and fill up to "
        f"{show(setting.stock.litres * 1000)} mL; draw with a syringe with steps of {show(SYRINGE_ML)} mL.",
        f"Label: {substance.name}, {strength} mg/mL; made on {made}; discard: how long it keeps is not known (no "
        "source), so make it fresh.",
    )


def _how_dip(substance: Substance, regimen: Regimen, where: Where | None, setting: Setting) -> tuple[str, ...]:
    """Rules C6 and C15. The end is real only once the start is recorded."""
    litres = f"{show(_litres(setting.vessel)[0])} L of " if setting.vessel else ""
    words = regimen.contact.words if regimen.contact and regimen.contact.words else ""
    longest = f"; here at most {where.longest}" if where and where.longest else ""
    return (
        "Route: dip in a vessel of its own, never in the tank.",
        f"Vessel: {litres}water of this tank, at its temperature; stir until all {substance.name.casefold()} is "
        f"dissolved, weighed on a scale with steps of {show(setting.scale_step_grams)} g; only then the fish.",
        f"Time: {words}{longest}. Set a timer now and stay in the room; note when the first fish goes in and the last "
        "comes out.",
        "Out at once, into the clean water of the tank, when a fish rolls onto its side, whatever the timer says.",
    )


def _how_food(substance: Substance, size: _Size | None) -> tuple[str, ...]:
    if size is None or size.food is None:
        return ("Route: in food.",)
    food = size.food
    return (
        "Route: in food.",
        f"Prepare: weigh {show(food.substance_mg / 1000)} g of {substance.name}, counted as pure (100 %), mix it "
        f"evenly into {show(food.prepared_grams)} g of food; how, the sources on record do not say: the "
        "product's label or a veterinarian does. Label it; how long it keeps is not known.",
        f"Give: {show(food.portion_grams)} g of it as the day's food, and watch that it is eaten; what is left over is "
        "a dose that was not given.",
    )


def _checks(before: tuple[Condition, ...], evidence: ev.Evidence | None) -> str:
    """The before-checks that are met, each with what it was judged on."""
    if evidence is None:
        return ""
    judged = [ev.judge(condition, evidence) for condition in before if condition.kind != "word"]
    met = "; ".join(verdict.says for verdict in judged if verdict.met)
    return met and f"Checked: {met}."


# --- The card --------------------------------------------------------------------------------------------


def _dose(
    substance: Substance, regimen: Regimen, setting: Setting, wanted: Quantity | None, size: _Size | None
) -> Dose:
    litres, plus_minus = _litres(setting.volume) if setting.volume else (Decimal(0), Decimal(0))
    unit = wanted.unit if wanted else "mg/L"
    if regimen.route == "food":
        litres = plus_minus = Decimal(0)
    light = regimen.light or substance.light
    notes = (*regimen.cautions, *substance.cautions, *((light,) if light else ()))
    cautions = [note.text for note in (*notes, *substance.handling, *substance.legal)]
    return Dose(
        substance=substance.id,
        regimen=regimen.id,
        route=regimen.route,
        target=wanted.value if wanted else Decimal(0),
        target_unit=unit,
        volume_litres=litres,
        volume_plus_minus_litres=plus_minus,
        add=_measured(size.given_mg, setting.stock) if size else None,
        add_unit="mL" if setting.stock else "g",
        add_of=_measured_of(substance, setting.stock),
        gives_low=_amount(size.gives_low, unit, up=False) if size else None,
        gives_high=_amount(size.gives_high, unit, up=True) if size else None,
        gives_unit=unit,
        reference=_cite(substance, regimen.references),
        cautions=(*cautions, DEFERS),
        fish_grams=Decimal(_g(size.food.fish_grams)) if size and size.food else None,
        fish_plus_minus_grams=Decimal(_g(size.food.plus_minus_grams)) if size and size.food else None,
        food_grams=size.food.portion_grams if size and size.food else None,
    )


def _measured(milligrams: Decimal, stock: Stock | None) -> Decimal:
    if stock is None:
        return milligrams / 1000
    return floor_to(milligrams / _stock_mg_per_ml(stock) + Decimal("1e-12"), SYRINGE_ML)


def _measured_of(substance: Substance, stock: Stock | None) -> str:
    if stock is None:
        return f"{substance.name}, counted as pure (100 %)"
    strength = show_significant(_stock_mg_per_ml(stock), 6)
    return f"a stock solution of {substance.name}, {strength} mg/mL (substance counted as pure, 100 %)"


def amount_words(dose: Dose) -> str:
    """What is measured out, in words: "0.4 g of Praziquantel", or for food the portion and what it holds.

    ``dose`` is not held: its ``add`` is there.
    """
    amount = f"{show(dose.add or Decimal(0))} {dose.add_unit} of {dose.add_of}"
    return amount if dose.food_grams is None else f"{show(dose.food_grams)} g of the prepared food: it holds {amount}"


def headline(dose: Dose) -> str:
    """The first line of a card. What is given in food is never said to be added."""
    return f"{'ADD' if dose.food_grams is None else 'FEED'} {amount_words(dose)}"


def sized_for(dose: Dose) -> str:
    """What a dose was sized by, for a card: the litres, or for food the fish."""
    if dose.fish_grams is None or dose.fish_plus_minus_grams is None:
        return f"for {show(dose.volume_litres)} L, plus or minus {show(dose.volume_plus_minus_litres)} L"
    return f"for {show(dose.fish_grams)} g of fish, plus or minus {show(dose.fish_plus_minus_grams)} g"


def rescue(
    litres: Decimal,
    high_mg_per_l: Decimal | None,
    ceiling_mg_per_l: Decimal,
    name: str,
    plus_minus_litres: Decimal = Decimal(0),
) -> str:
    """What to do after more than the ceiling was really given (rule C7): computed dilution, air, veterinarian.

    ``high_mg_per_l`` is the upper bound of the level; None when it is not known, because the volume is not.
    """
    out, level = None, "is not known and may be"
    if high_mg_per_l is not None:
        out = clearing_litres(litres, plus_minus_litres, high_mg_per_l, ceiling_mg_per_l)
        level = f"may be {show_significant(high_mg_per_l, 3, up=True)} mg/L,"
    much = f"at least {show(out)} L" if out is not None else "all of the water for the same volume"
    return (
        f"The level of {name} {level} over the ceiling of {show(ceiling_mg_per_l)} mg/L. Now: strong aeration; "
        f"change {much} of matched, conditioned water and log it (quarantine event change); fresh activated carbon; "
        "call a veterinarian."
    )


def rescue_apart(dose: Dose, regimen: Regimen, given_mg: Decimal) -> str:
    """What to do after too strong a dip or too much in food was really given (rule C7); empty where it was not."""
    ceiling = _ceiling(regimen, None)
    if ceiling is None:
        return ""
    top = f"{show(ceiling.figure.value)} {ceiling.figure.unit}"
    least = dose.volume_litres - dose.volume_plus_minus_litres
    if regimen.own_vessel and least > 0 and ceiling.figure.unit in ("mg/L", "g/L"):
        if given_mg / least <= to(Quantity(ceiling.figure.value, ceiling.figure.unit), "mg/L"):
            return ""
        return (
            f"The dip may have been over its ceiling of {top}. Now: every fish in clean water of the tank, strong "
            "aeration, watch them; call a veterinarian."
        )
    if dose.fish_grams is None or dose.fish_plus_minus_grams is None or ceiling.figure.unit != PER_FISH:
        return ""
    if given_mg * 1000 / (dose.fish_grams - dose.fish_plus_minus_grams) <= ceiling.figure.value:
        return ""
    return (
        f"The food may have given more than the ceiling of {top}. Now: take out what is not eaten, no more of it "
        "today; call a veterinarian."
    )


def ceiling_mg_per_l(regimen: Regimen) -> Decimal | None:
    """The ceiling that holds for the regimen's contact, in mg/L."""
    ceiling = _ceiling(regimen, None)
    if ceiling is None or ceiling.figure.unit not in ("mg/L", "g/L"):
        return None  # microlitres of a solution, copper by what is counted, food: no weight per litre
    return to(Quantity(ceiling.figure.value, ceiling.figure.unit), "mg/L")


def _ceiling(regimen: Regimen, setting: Setting | None) -> Ceiling | None:
    """The ceiling for the regimen's contact, the warmest of the day (rule C14) and the animals there; what is not
    known takes the lower one."""
    warmest = groups = None
    if setting is not None and any(one.warmest for one in regimen.ceilings):
        warmest = _warmest(setting)
    if setting is not None and setting.species and any(one.group for one in regimen.ceilings):
        each = [_groups_of(fish, setting.own_groups) for fish in setting.species]
        # Of a fish that is on no list nothing is known: any of the groups may be there.
        groups = frozenset(g.id for found in each for g in found) if all(each) else None
    for hours in (None, _contact_hours(regimen)):
        found = ceiling_for(regimen, hours, warmest_c=warmest, groups=groups)
        if found is not None:
            return found
    return None


def _warmest(setting: Setting) -> Decimal | None:
    """The highest temperature read in the last 24 hours, °C; None when none was read in the last 12 (rule C14)."""
    span = _last_read(setting, "temperature", TEMPERATURE_AGE_HOURS)
    since = setting.now - timedelta(hours=TEMPERATURE_SPAN_HOURS)
    readings = setting.evidence.readings if setting.evidence else setting.readings
    found = [
        Decimal(f.data["value"]) + Decimal(f.data["step"]) / 2
        for f in readings
        if f.data["parameter"] == "temperature" and since <= f.at <= setting.now
    ]
    return max(found) if span else None


def _last_read(setting: Setting, parameter: str, within_hours: int = 24) -> ev.Span | None:
    """The last reading of the water, over the kit's step; None when there is none so recent."""
    readings = setting.evidence.readings if setting.evidence else setting.readings
    read = ev.last_readings(tuple(f for f in readings if f.at <= setting.now), parameter)
    if not read or setting.now - read[-1].at > timedelta(hours=within_hours):
        return None
    return ev.span_of(read)


def present_salinity(setting: Setting) -> Decimal | None:
    """The last salinity reading of 24 hours, g/L, by its upper end; None when there is none since the last salt."""
    span = _salinity(setting)
    return span.high if span else None


def _salinity(setting: Setting) -> ev.Span | None:
    """The salinity read within 24 hours. A reading taken before salt was added says nothing of the water now."""
    from quarantine.formulary import load

    readings = setting.evidence.readings if setting.evidence else setting.readings
    salted = [
        f.at
        for f in setting.doses
        # A dip's salt is not in this water.
        if f.at <= setting.now
        and f.data.get("route") in ("bath", "prolonged")
        and "salt" in load(f.data["substance"]).classes
    ]
    read = ev.last_readings(tuple(f for f in readings if f.at <= setting.now), "salinity", tuple(salted))
    if not read or setting.now - read[-1].at > timedelta(hours=24) or any(at >= read[-1].at for at in salted):
        return None
    return ev.span_of(read)


def _default(regimen: Regimen) -> Quantity | None:
    if regimen.target is None or regimen.target.default is None:
        return None
    return Quantity(regimen.target.default.value, regimen.target.default.unit)


def _contact_hours(regimen: Regimen) -> Decimal | None:
    contact = regimen.contact
    if contact is None or contact.high is None:
        return None
    return to(Quantity(contact.high.value, contact.high.unit), "h")


def _litres(volume: Water) -> tuple[Decimal, Decimal]:
    """Litres as shown and their plus-minus, widened by what showing took: what is printed is what is computed with."""
    exact, plus_minus = Decimal(str(volume.litres)), Decimal(str(volume.plus_minus_litres))
    step = Decimal("0.1") if exact >= 10 else Decimal("0.001")
    litres = exact.quantize(step, rounding=ROUND_FLOOR)
    return litres, (plus_minus + exact - litres).quantize(step, rounding=ROUND_CEILING)


def _divide(milligrams: Decimal, litres: Decimal, rounding: str) -> Decimal:
    return (milligrams / litres).quantize(Decimal("0.000001"), rounding=rounding)


def _amount(mg_per_l: Decimal, unit: str, *, up: bool) -> Decimal:
    return Decimal(_in(mg_per_l, unit, up=up))


def _in(mg_per_l: Decimal, unit: str, *, up: bool) -> str:
    """A level in another unit, to three significant digits, rounded outward; what food gives is in its own already."""
    if unit in (PER_FISH, *PER_FOOD):
        return show_significant(mg_per_l, 3, up=up)
    return show_significant(to(Quantity(mg_per_l, "mg/L"), unit), 3, up=up)


def _cite(substance: Substance, keys: str | tuple[str, ...]) -> str:
    names = keys if isinstance(keys, tuple) else tuple(k.strip() for k in keys.split(",") if k.strip())
    return "; ".join(substance.references[key].cite for key in names if key in substance.references)


def _is_number(text: str) -> bool:
    return text.replace(".", "", 1).replace("-", "", 1).isdigit()
