"""What stands against a dose before any amount is computed, in the order a keeper would want to hear it."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from quarantine import evidence as ev
from quarantine.dosing.emergency import emergency_hold
from quarantine.dosing.food import food_hold
from quarantine.dosing.known import (
    TEMPERATURE_AGE_HOURS,
    TEMPERATURE_SPAN_HOURS,
    groups_known,
    groups_there,
    last_read,
    litres_of,
    present_salinity,
    stock_mg_per_ml,
)
from quarantine.dosing.setting import OUR_CHOICE, UNSOURCED, Hold, Setting, Where
from quarantine.dosing.words import PER_FISH, PER_FOOD, cited
from quarantine.facts import Condition, local_day
from quarantine.failures import Refused
from quarantine.formulary import Ceiling, Regimen, Substance, keys_of
from quarantine.quantity import UNITS, Quantity, show, show_significant, to
from quarantine.readings import PARAMETERS

WORST_KNOWN_SHARE = Decimal("0.25")
"""Where no effective minimum is published, a volume whose plus-minus is over this share of it is measured first: the
fullest tank would get a fifth too little, and more where the ceiling limits the dose (rules C2 and C3). Our choice,
no source."""


SHORT_SHARE = Decimal("0.01")
"""Water that is gone on record and was not put back, over this share of the volume: the water is not at its mark
(rules C10 and C11). Our choice, no source."""


SAME_DAY = "two doses of one substance on one day"


# --- What stands against a dose --------------------------------------------------------------------------


def first_hold(
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


def mode_hold(substance: Substance, regimen: Regimen, mode: str | None) -> Hold | None:
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
        cited(substance, regimen.references) or OUR_CHOICE,
        f"work it out with the source named and a veterinarian; {computed!r} would be another amount",
    )


def where_hold(where: Where | None, setting: Setting) -> Hold | None:
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

    The trial before a dip is a before-check of it (:func:`to_confirm`).
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
    cite = cited(substance, regimen.references)
    return Hold("needs", f"{regimen.id} {says}", None, None, cite, "work it out with the source and a veterinarian")


def _copper_words(setting: Setting) -> str:
    """What the water that was read allows of copper sulfate, by the lower of two rules (rule C17), or why nothing."""
    from quarantine.water.copper import sulfate_limit

    def read(parameter: str) -> tuple[Decimal, Decimal] | None:
        span = last_read(setting, parameter)
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
    return Hold("tier", f"{regimen.id} {says}", None, None, cited(substance, regimen.references), instead)


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
            cited(substance, regimen.references),
            f"give the target in {top.unit}",
        )
    if (target.value if target.unit == top.unit else to(target, top.unit)) <= top.value:
        return None
    return Hold(
        "published range",
        f"{regimen.id} is published up to {show(top.value)} {top.unit}, not {show(target.value)} {target.unit}",
        show(top.value),
        top.unit,
        cited(substance, top.reference) or cited(substance, regimen.references),
        f"use {show(top.value)} {top.unit} or less, or ask a veterinarian",
    )


def _route_hold(substance: Substance, regimen: Regimen, setting: Setting) -> Hold | None:
    if regimen.route == "food":
        unit = regimen.target.low.unit if regimen.target else ""
        if unit not in (PER_FISH, *PER_FOOD):
            return unit_hold(substance, regimen, unit)
        return food_hold(substance, regimen, setting)
    if regimen.own_vessel and setting.vessel is None:
        return Hold(
            "C15",
            "a dip is made in its own vessel with its own litres, never in the tank, and how much water is in the "
            "vessel is asked at the moment",
            None,
            None,
            cited(substance, regimen.references),
            "measure water into a vessel of its own and say its litres: "
            f'quarantine dose {substance.id} --tank TANK --regimen {regimen.id} --vessel "10 L"',
        )
    if regimen.target is not None and regimen.target.low.unit not in ("mg/L", "g/L"):
        return unit_hold(substance, regimen, regimen.target.low.unit)
    return None


def unit_hold(substance: Substance, regimen: Regimen, unit: str) -> Hold:
    return Hold(
        "unit of the target",
        f"{regimen.id} is published in {unit}, which is not computed with here",
        None,
        None,
        cited(substance, regimen.references),
        "work it out with the source named, or ask a veterinarian",
    )


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
        strength = stock_mg_per_ml(stock) * 1000
        most = to(Quantity(substance.solubility.value, substance.solubility.unit), "mg/L")
        if strength <= most:
            return None
        says = f"{show_significant(strength, 4)} mg/L is more than {substance.name} dissolves ({show(most)} mg/L)"
        remedy = "make a weaker stock solution"
    reference = substance.solubility.reference if substance.solubility else ""
    return Hold("C4", says, None, None, cited(substance, reference) or OUR_CHOICE, remedy)


def _water_hold(substance: Substance, regimen: Regimen, setting: Setting) -> Hold | None:
    if setting.kind not in regimen.water:
        return Hold(
            "water",
            f"{regimen.id} is published for {' and '.join(regimen.water)} water, this is {setting.kind}",
            None,
            None,
            cited(substance, regimen.references),
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
    litres, plus_minus = litres_of(setting.volume)
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
        cited(substance, gap.reference),
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
                    cited(source, pair.note.reference) or UNSOURCED.get(pair.note.status, OUR_CHOICE),
                    wait or f"change water until {other.name} is out",
                )
    return None


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


def _limits_hold(substance: Substance, regimen: Regimen, setting: Setting) -> Hold | None:
    """Limits of the water in the regimen itself: unknown is refused. A limit that no reading answers is confirmed
    by the keeper (:func:`to_confirm`)."""
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
                cited(substance, limit.note.reference) or OUR_CHOICE,
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


def _species_hold(substance: Substance, setting: Setting) -> Hold | None:
    """Animals in the water that the lists say must not get this. A species that is on no list is no answer."""
    if not setting.species:
        return None
    there = groups_known(setting.own_groups)
    words = {substance.id, *substance.classes}
    for fish in setting.species:
        for group in groups_there(fish, setting.own_groups):
            for line in group.sensitive:
                if line.rule == "refuse" and words & set(line.to):
                    cite = "; ".join(there.references[k].cite for k in keys_of(line.note.reference))
                    return Hold(
                        "sensitive animals",
                        f"{fish} belongs to {group.name}: {line.note.text.rstrip('.')}",
                        None,
                        None,
                        cite or (OUR_CHOICE if line.own else UNSOURCED.get(line.note.status, OUR_CHOICE)),
                        "keep them out of this water, or ask a veterinarian",
                    )
    return None


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
