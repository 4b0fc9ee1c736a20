"""What stands against a dose before any amount is computed, in the order a keeper would want to hear it."""

from __future__ import annotations

import shlex
from datetime import date, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from quarantine import evidence as ev
from quarantine.dosing.animals import species_hold
from quarantine.dosing.emergency import emergency_hold
from quarantine.dosing.food import appetite_hold, food_hold
from quarantine.dosing.forms import TWENTY, judged_by_needs, measure_of, needs_hold, strength_hold, weighing_step
from quarantine.dosing.instructing import GATE, how_to_pass, instruction_for, of_the_gate, passes, passes_check
from quarantine.dosing.known import (
    TEMPERATURE_AGE_HOURS,
    TEMPERATURE_SPAN_HOURS,
    litres_of,
    missing_litres,
    present_salinity,
)
from quarantine.dosing.pairs import change_hold, pair_hold
from quarantine.dosing.products import product_hold
from quarantine.dosing.repeats import gap_of
from quarantine.dosing.setting import OUR_CHOICE, Hold, Instruction, Setting, Where
from quarantine.dosing.words import PER_FISH, PER_FOOD, cited, counts_in_ledger
from quarantine.facts import Condition, local_day
from quarantine.formulary import Ceiling, Regimen, Substance
from quarantine.formulary.contact import held
from quarantine.quantity import UNITS, Quantity, show, show_significant, to
from quarantine.readings import PARAMETERS

WORST_KNOWN_SHARE = Decimal("0.25")
"""Where no effective minimum is published, a volume whose plus-minus is over this share of it is measured first: the
fullest tank would get a fifth too little, and more where the ceiling limits the dose (rules C2 and C3). Our choice,
no source."""


SHORT_SHARE = Decimal("0.01")
"""Water that is gone on record and was not put back, over this share of the volume: the water is not at its mark
(rules C10 and C11). Our choice, no source."""


COURSE_DAYS = 30
"""How far back doses count for a course's ceiling in a water without a batch. Our choice, no source."""


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
    """The first reason, in the order in which a keeper would want to hear it; what an instruction names is passed."""
    said = instruction_for(regimen, setting)
    return (
        _move_hold(substance, regimen, said)
        or _tier_hold(substance, regimen, setting, target, said)
        or _bounds_hold(substance, regimen, setting, target, said)
        or _route_hold(substance, regimen, setting)
        or _stock_hold(substance, regimen, setting)
        or _water_hold(substance, regimen, setting)
        or product_hold(substance, setting)
        or needs_hold(substance, regimen, setting)
        or emergency_hold(setting)
        or _contact_hold(substance, regimen, setting)
        or _gap_hold(substance, regimen, setting)
        or _word_hold(regimen, setting, said)
        or pair_hold(substance, regimen, setting, said)
        or _before_hold(regimen, before, setting, said)
        or appetite_hold(regimen, setting)
        or _limits_hold(substance, regimen, setting)
        or change_hold(substance, regimen, setting, said)
        or _salinity_hold(substance, setting)
        or species_hold(substance, regimen, setting, said)
        or _ceiling_known_hold(substance, regimen, ceiling, said)
    )


def _word_hold(regimen: Regimen, setting: Setting, said: Instruction | None) -> Hold | None:
    """A dose goes into the water, so what one batch's own dose by the same row waits for, a trial on its species say,
    is waited for by all (rules B2 and C8)."""
    if passes(said, GATE):
        return None
    for one in setting.unsaid:
        # What a batch's own dose waits for stands with its task, which has no day before.
        its_own = one.batch == setting.batch and not one.newcomers
        if one.regimen != regimen.id or its_own or (one.newcomers and not regimen.trial_first):
            continue
        tank, batch = shlex.quote(one.tank), shlex.quote(one.batch)
        if one.newcomers:
            says = f"{one.newcomers} came into {one.batch} after its keeper said: {one.sentence}"
        else:
            says = f"{one.batch} is in this water too, and nobody has said of it: {one.sentence}"
        return Hold(
            "C8",
            says,
            None,
            None,
            OUR_CHOICE,
            f"a dose goes to all fish in the water: when it is so for {one.newcomers or one.batch} too, say quarantine "
            f"event word {tank} {one.step} --batch {batch}",
        )
    return None


def where_hold(where: Where | None, setting: Setting) -> Hold | None:
    """Rule C10: the litres are those that circulate then. Those of one tank of several, or without a sump and filter
    that nobody measured, are not on record by themselves: the litres of the whole would be an overdose."""
    if where is None or not setting.beside or where.water in ("vessel", "food") or setting.whole is not None:
        return None
    if where.filter == "running" and setting.filter_off:
        return Hold(
            "C10",
            "by the record the filter is off, and this dose is for the water with the filter running: too much for the "
            "tank alone",
            None,
            None,
            OUR_CHOICE,
            "turn the filter on and tick the task that says so, then ask again",
        )
    if where.water == "system" and where.filter == "running":
        return None
    what = "one tank alone" if where.water == "tank" else "the water with the filter off"
    return Hold(
        "C10",
        f"the template doses {what}, and the volume on record also holds {' and '.join(setting.beside)}",
        None,
        None,
        OUR_CHOICE,
        _where_remedy(where, setting),
    )


def _where_remedy(where: Where, setting: Setting) -> str:
    parts = [part for part in ("sump", "filter") if f"the {part}" in setting.beside]
    if where.filter == "off" and len(parts) == len(setting.beside):
        told = " and ".join(f"--{part} LITRES" for part in parts)
        return f"record how many litres stand in the {' and the '.join(parts)}: quarantine tank parts TANK {told}"
    return "use a template that doses the whole water system with the filter running, or ask a veterinarian"


LITRES_A_FISH = Decimal("0.2")
"""Less than this in a dip's vessel for each living fish is held: a slip of the decimal point, or too little to keep its
strength and its oxygen. Our choice, no source."""


def _crowded_hold(vessel: Decimal, setting: Setting) -> Hold | None:
    alive = setting.evidence.alive if setting.evidence else 0
    if vessel >= LITRES_A_FISH * alive:
        return None
    return Hold(
        "C15",
        f"{show(vessel)} L in the vessel are little for {alive} fish: under {show(LITRES_A_FISH)} L for each",
        show(vessel),
        "L",
        OUR_CHOICE,
        "measure the water in the vessel again and type its litres: a slip of the decimal point? Else take more water",
    )


def vessel_hold(regimen: Regimen, setting: Setting) -> Hold | None:
    """More water in a dip's vessel than the tank holds, which it is taken from, is a slip of the litres (F22)."""
    if not regimen.own_vessel or setting.vessel is None or setting.volume is None:
        return None
    vessel, tank = litres_of(setting.vessel)[0], Decimal(str(setting.volume.litres + setting.volume.plus_minus_litres))
    if vessel <= tank:
        return _crowded_hold(vessel, setting)
    return Hold(
        "C15",
        f"{show(vessel)} L in the vessel are more than the {show(tank, 1)} L that the tank holds, whose water it is",
        show(vessel),
        "L",
        OUR_CHOICE,
        "measure the water in the vessel again and type its litres: a slip of the decimal point?",
    )


def _move_hold(substance: Substance, regimen: Regimen, said: Instruction | None) -> Hold | None:
    """A move adds nothing to the water, so no amount is computed for it."""
    if regimen.route != "move" or (regimen.tier != "ready" and said is None):
        return None
    cite = cited(substance, regimen.references)
    says = f"{regimen.id} moves the fish and adds nothing to the water"
    return Hold("needs", says, None, None, cite, "work it out with the source and a veterinarian")


def _tier_hold(
    substance: Substance, regimen: Regimen, setting: Setting, target: Quantity | None, said: Instruction | None
) -> Hold | None:
    """An instruction gives its own dose: the entry's default of a row that is not ready is never used."""
    # What the water offers may not be known yet: then needs_hold says what to read.
    by_water = target is None and bool(regimen.water_rules)
    if (target is not None or by_water) and (regimen.tier == "ready" or said is not None):
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
    instead += how_to_pass(regimen, setting)
    return Hold("tier", f"{regimen.id} {says}", None, None, cited(substance, regimen.references), instead)


def _bounds_hold(
    substance: Substance, regimen: Regimen, setting: Setting, target: Quantity | None, said: Instruction | None
) -> Hold | None:
    """A target over the published range is no use of this regimen; under it the effective minimum speaks (C3). An
    instruction passes the range as far as its own dose."""
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
    wanted = target.value if target.unit == top.unit else to(target, top.unit)
    if wanted <= top.value or (said is not None and said.unit == top.unit and wanted <= said.dose):
        return None
    return Hold(
        "published range",
        f"{regimen.id} is published up to {show(top.value)} {top.unit}, not {show(target.value)} {target.unit}",
        show(top.value),
        top.unit,
        cited(substance, top.reference) or cited(substance, regimen.references),
        f"use {show(top.value)} {top.unit} or less, or ask a veterinarian{how_to_pass(regimen, setting)}",
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
    if regimen.target is not None and not counts_in_ledger(substance, regimen.target.low.unit):
        return unit_hold(substance, regimen, regimen.target.low.unit)
    return None


CHLORIDE_RATIO = "mg chloride per mg nitrite"


def unit_hold(substance: Substance, regimen: Regimen, unit: str) -> Hold:
    if unit == CHLORIDE_RATIO:
        # Row T11 of the treatment notes (S16): "Passage does not say NO2 or NO2-N: ask for the kit's unit".
        return Hold(
            "unit of the target",
            f"{regimen.id} is a ratio of all the chloride in the water to its nitrite: no reading on record measures "
            "the chloride that is there (salinity does not say how much of it is chloride), and the source does not "
            "say whether it counts nitrite or nitrite-N, 3.28-fold apart, so no salt is computed",
            None,
            None,
            cited(substance, regimen.references),
            "a nitrite reading in its form says how much chloride in all the ratio asks for (quarantine reading TANK "
            "nitrite_no2=...mg/L); change water against nitrite first, and ask a veterinarian how much salt",
        )
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
    if stock is None or strength_hold(substance, regimen, setting.product) is not None:
        return None  # a strength that does not fit is held by itself
    today, reference = local_day(setting.now, setting.zone), ""
    if regimen.route == "food":
        says, remedy = "a dose in food is weighed into the food", "leave --stock out"
    elif substance.solubility is None:
        says = f"no solubility of {substance.name} is on record, so no stock solution is made of it"
        remedy = "weigh on a finer scale, or stir the whole weighed amount into tank water and pour all of it"
    elif measure_of(substance, setting.product).unit != "g":
        says, remedy = f"a stock solution is made of what is weighed, and {substance.name} is not", "leave --stock out"
    elif stock.grams < weighing_step(setting):
        says = f"{show(stock.grams)} g is less than one step of the scale"
        remedy = f"weigh at least {show(TWENTY * weighing_step(setting))} g, twenty steps, and make it up to more"
    elif stock.rest and (stock.kept_until is None or stock.kept_until < today):
        kept = f"it was to be used until {stock.kept_until}" if stock.kept_until else "nobody said how long it keeps"
        says = f"the rest of a stock solution is not given: {kept}"
        remedy = "make it fresh; where its label says a day, say it: --keep-until DAY"
    else:
        share = setting.product.percent / 100 if setting.product is not None else Decimal(1)
        strength = stock.grams * share / stock.litres * 1000
        most = to(Quantity(substance.solubility.value, substance.solubility.unit), "mg/L")
        if strength <= most:
            return None
        says = f"{show_significant(strength, 4)} mg/L is more than {substance.name} dissolves ({show(most)} mg/L)"
        remedy, reference = "make a weaker stock solution", substance.solubility.reference
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
    if plus_minus + missing_litres(regimen, setting) >= litres:
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
    gap = gap_of(regimen, setting)
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


def _before_hold(
    regimen: Regimen, before: tuple[Condition, ...], setting: Setting, said: Instruction | None
) -> Hold | None:
    """The template's before-checks (rule C8): the first that is not met or cannot be judged."""
    for condition in before:
        if condition.kind == "word" or passes_check(said, condition):
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
        # A bath is given to every batch in the water, so the first dose of each waits for its own gate (rule B2).
        others = setting.others if regimen.route in ("bath", "prolonged") else ()
        verdicts = [(ev.judge(condition, one), one) for one in (setting.evidence, *others)]
        open_ = [pair for pair in verdicts if not (pair[0].met or (pair[0].met is None and condition.or_word))]
        if not open_:
            continue
        verdict, of = open_[0]
        whose = "" if of is setting.evidence else "of another batch in this water: "
        return Hold(
            "C8",
            f"{condition.title}: {whose}{verdict.says}",
            verdict.figure,
            verdict.figure_unit,
            condition.reference or OUR_CHOICE,
            _remedy(condition) + (how_to_pass(regimen, setting, GATE) if of_the_gate(condition) else ""),
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
        if judged_by_needs(regimen, limit.what):
            continue
        low, high = (figure and show(figure.value) for figure in (limit.low, limit.high))
        unit = PARAMETERS[limit.what].unit
        condition = Condition("reading", limit.what, limit.what, low, high, unit, TEMPERATURE_AGE_HOURS)
        verdict = ev.judge(condition, setting.evidence) if setting.evidence else None
        if verdict is not None and verdict.met and setting.evidence is not None and limit.what == "temperature":
            verdict = _day_of_temperature(condition, setting.evidence, setting.set_point)
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


def _day_of_temperature(condition: Condition, evidence: ev.Evidence, set_point: Decimal | None) -> ev.Verdict:
    """Rule C14: for a cap the highest of the last 24 hours and the set point counts (and for a floor the lowest)."""
    since = evidence.as_of - timedelta(hours=TEMPERATURE_SPAN_HOURS)
    values = [
        Decimal(f.data["value"]) for f in evidence.readings if f.data["parameter"] == "temperature" and f.at >= since
    ]
    for bad in (v for v in (max(values), min(values)) if not _inside(v, condition)):
        return ev.Verdict(False, f"temperature was {show(bad)} °C in the last 24 h", None, show(bad), "°C")
    high = None if condition.high is None else Decimal(condition.high)
    if set_point is not None and high is not None and set_point > high:
        return ev.Verdict(False, f"the heater is set to {show(set_point)} °C", None, show(set_point), "°C")
    return ev.Verdict(True, "temperature in limits for 24 h")


def _inside(value: Decimal, condition: Condition) -> bool:
    low, high = condition.low, condition.high
    return (low is None or value >= Decimal(low)) and (high is None or value <= Decimal(high))


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


def _ceiling_known_hold(
    substance: Substance, regimen: Regimen, ceiling: Ceiling | None, said: Instruction | None
) -> Hold | None:
    """No dose without a ceiling; and one that was instructed over it is held, never made smaller without a word."""
    if ceiling is None:
        return Hold("ceiling", f"{regimen.id} has no ceiling on record", None, None, OUR_CHOICE, "ask a veterinarian")
    if said is None or said.unit != ceiling.figure.unit or said.dose <= ceiling.figure.value:
        return None
    top = f"{show(ceiling.figure.value)} {ceiling.figure.unit}"
    return Hold(
        "ceiling",
        f"{show(said.dose)} {said.unit} was instructed by {said.who}, and the ceiling is {top}",
        show(ceiling.figure.value),
        ceiling.figure.unit,
        cited(substance, ceiling.figure.reference),
        f"no instruction passes a ceiling: ask for a dose of {top} or less, and record it with quarantine vet add",
    )


def stay_began(setting: Setting) -> date:
    """The day on which the stay began that doses count over (rule B8): of the first batch in this water."""
    stay = [e.arrived_on for e in (setting.evidence, *setting.others) if e is not None]
    return min(stay, default=local_day(setting.now, setting.zone) - timedelta(days=COURSE_DAYS))


def _contact_hold(substance: Substance, regimen: Regimen, setting: Setting) -> Hold | None:
    """A level that is held by readings is held for the longest contact of its row and no longer: a ceiling of the
    course in time, over the whole stay, which nothing passes (rules A12 and B8)."""
    found = held(regimen, substance.id, setting.doses, stay_began(setting), setting.zone, setting.now)
    if found is None or setting.now < found.until:
        return None
    return Hold(
        "longest contact",
        f"{substance.name} is held for up to {show(found.most.value)} {found.most.unit}, and its first dose of this "
        f"stay was given on {local_day(found.first, setting.zone)}: the last day was {found.last_day(setting.zone)}",
        show(found.most.value),
        found.most.unit,
        cited(substance, found.most.reference),
        "no more of it in this stay: bring it out of the water by changes, and ask a veterinarian what was not reached",
    )


def last_day_words(substance: Substance, regimen: Regimen, setting: Setting) -> tuple[str, ...]:
    """Until when a level may be held, said ahead on every card of it."""
    found = held(regimen, substance.id, setting.doses, stay_began(setting), setting.zone, setting.now)
    return () if found is None else (f"Longest contact: {found.words(setting.zone)}.",)


def course_hold(substance: Substance, regimen: Regimen, setting: Setting, gives_high_mg_per_l: Decimal) -> Hold | None:
    """The ceiling of a course, over all doses of the substance that this water was given during the stay (rule B8):
    each counts with the most it can have given, and one of unknown size leaves no room."""
    ceiling = regimen.course_ceiling
    if ceiling is None or ceiling.unit not in ("mg/L", "g/L"):
        return None
    top = to(Quantity(ceiling.value, ceiling.unit), "mg/L")
    since = stay_began(setting)
    mine = [
        f
        for f in setting.doses
        if f.data.get("substance") == substance.id
        and f.data.get("route") in ("bath", "prolonged")
        and since <= local_day(f.at, setting.zone)
        and f.at <= setting.now
    ]
    gave = [f.data.get("gives_high_mg_per_l") for f in mine]
    so_far = None if None in gave else sum((Decimal(x) for x in gave if x is not None), Decimal(0))
    if so_far is not None and so_far + gives_high_mg_per_l <= top:
        return None
    had = "an unknown amount" if so_far is None else f"up to {show_significant(so_far, 3, up=True)} mg/L"
    return Hold(
        "course ceiling",
        f"this water was given {had} of {substance.name} since {since}, and this dose gives up to "
        f"{show_significant(gives_high_mg_per_l, 3, up=True)} mg/L; all doses together may give {show(top)} mg/L",
        show(top),
        "mg/L",
        cited(substance, ceiling.reference),
        "no more of it in this stay; ask a veterinarian about another treatment",
    )
