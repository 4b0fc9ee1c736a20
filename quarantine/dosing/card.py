"""What a dose card says: the amount, by which route, how to measure it, and what the keeper confirms by giving it."""

from __future__ import annotations

from decimal import Decimal

from quarantine import evidence as ev
from quarantine.dosing.food import how_food
from quarantine.dosing.forms import (
    AERATION,
    PART_MINUTES,
    TWENTY,
    Measure,
    basis_words,
    measure_of,
    measured_by,
    parts_of,
    stock_error,
    strength_hold,
)
from quarantine.dosing.known import litres_of
from quarantine.dosing.setting import AT_THE_MARK, DEFERS, TRIAL, TRIED, Dose, Setting, Where
from quarantine.dosing.size import Size
from quarantine.dosing.words import cited, g_of, level_in
from quarantine.facts import Condition, local_day
from quarantine.formulary import Regimen, Substance
from quarantine.quantity import FEWEST_DROPS, MOST_DROPS, Quantity, show, show_significant
from quarantine.readings import PARAMETERS

DEMAND = "How much permanganate this water uses up was tried first on a sample of it: organic matter takes it up"
"""Row K01 of the treatment notes: "organics use it up; bioassay first" (S14, S17 there)."""


def to_confirm(
    substance: Substance, regimen: Regimen, before: tuple[Condition, ...], setting: Setting
) -> tuple[str, ...]:
    """What the keeper confirms by giving the dose: the template's words, those that stand in for a reading that is
    not known, and the regimen's limits that no reading answers (how much fish is in the water)."""
    said: list[str] = []
    evidence = setting.evidence
    aerated = substance.takes_oxygen is not None and not regimen.own_vessel
    for condition in before:
        if condition.kind == "word":
            said.append(str(condition.value))
        elif aerated and "strong aeration" in str(condition.or_word).casefold():
            continue  # asked below, once, for as long as it is in the water
        elif condition.or_word and evidence is not None and ev.judge(condition, evidence).met is None:
            said.append(condition.or_word)
    tried = any(words in one.casefold() for one in said for words in ("few fish", "the trial"))
    if regimen.route in ("bath", "prolonged") and not regimen.own_vessel:
        said.append(AT_THE_MARK)
    said += basis_words(substance, setting.product)
    if regimen.trial_first and not tried:
        said.append(TRIED if regimen.route == "prolonged" else TRIAL)
    if "permanganate demand" in regimen.needs:
        said.append(DEMAND)
    if aerated:
        said.append(AERATION)
    said += [pair.note.text for pair in substance.incompatible if pair.other == "carbonate media"]
    return (*said, *(x.note.text for x in regimen.limits if x.kind == "limit" and x.what not in PARAMETERS))


def how_to(
    substance: Substance, regimen: Regimen, where: Where | None, setting: Setting, size: Size | None
) -> tuple[str, ...]:
    """By which route, in which water, and how to measure it (rules C4 and C10)."""
    if regimen.route == "food":
        return how_food(substance, size, setting)
    if regimen.own_vessel:
        return _how_dip(substance, regimen, where, setting, size)
    route = regimen.route
    if where is not None:
        water = "all of the water system" if where.water == "system" and not setting.whole else "this tank alone"
        off = f"; off or out: {', '.join(where.off)}" if where.off else ""
        route += f", in {water}; filter {where.filter}{_apart_words(setting)}{off}"
    parts = _in_parts(substance, regimen, where, setting, size)
    if setting.stock is not None:
        return (f"Route: {route}.", *_how_stock(substance, setting, size), *parts)
    measure = measure_of(substance, setting.product if size is not None else None)
    poured = "" if parts else ", then pour all of that in parts into strong flow"
    if size is not None and measure.unit == "mL":
        return (
            f"Route: {route}.",
            f"Measure: draw with a syringe with steps of {show(measure.step(setting))} mL"
            f"{_drops(size.amount, measure)}; stir all of it into a bucket of tank water first{poured}.",
            *parts,
        )
    if size is not None and measure.unit == "tablets":
        return (
            f"Route: {route}.",
            f"Measure: count the tablets and crush them; stir all of it into tank water first{poured}.",
            *parts,
        )
    step = setting.scale_step_grams if size is None else measure.step(setting)
    return (
        f"Route: {route}.",
        f"Measure: weigh on a scale with steps of {show(step)} g; stir all of it into tank water first{poured}.",
        *parts,
    )


def _apart_words(setting: Setting) -> str:
    """Which litres a dose with the filter off leaves out, and why (rule C10)."""
    if setting.whole is None or setting.volume is None or setting.apart is None:
        return ""
    alone, apart = litres_of(setting.volume)[0], Decimal(str(setting.apart.litres))
    return f": the {show(apart, 2)} L of {setting.apart_says} do not take part, {show(alone)} L are dosed"


def off_to_confirm(where: Where | None, setting: Setting) -> tuple[str, ...]:
    """Where no sump or filter is on record, the litres count as the tank's own; measured ones may hold theirs too."""
    if where is None or where.filter != "off" or setting.beside or setting.volume is None:
        return ()
    litres = show(litres_of(setting.volume)[0])
    return (
        f"No sump or filter is on record: none of the {litres} L stand apart while the filter is off (rule C10; where "
        "some do, record them first: quarantine tank parts)",
    )


def _drops(millilitres: Decimal, measure: Measure) -> str:
    """A product's own step may be a syringe's, or one of its drops that were counted."""
    step = measure.own_step
    if step is None or not Decimal(1) / MOST_DROPS <= step <= Decimal(1) / FEWEST_DROPS:
        return ", never by drops"
    return (
        f" (where that step is a drop counted for this product: {show(millilitres / step)} of its drops, which may be "
        "15 % off: USP 32, chapter 1101), never by other drops"
    )


def shares_its_water(setting: Setting) -> bool:
    """Whether the water goes round through more than one vessel: other tanks, or a sump."""
    return setting.whole is None and any(part != "the filter" for part in setting.beside)


def _in_parts(
    substance: Substance, regimen: Regimen, where: Where | None, setting: Setting, size: Size | None
) -> tuple[str, ...]:
    """Rule C10: a system's dose is dissolved first and given in parts into strong flow. Each part is measured by itself
    where it is twenty steps; else all is measured once, and the bucket is poured by shares: all of it goes into the one
    water, so the sum is the dose whatever each share was."""
    if size is None or not shares_its_water(setting) or (where is not None and where.water != "system"):
        return ()
    measure = measured_by(substance, setting)
    parts, step = parts_of(size.amount, measure.step(setting)), measure.step(setting)
    wait = f"at least {PART_MINUTES} min apart, into strong flow, and watch the fish between"
    last = " Contact counts from the last part." if regimen.route == "bath" else ""
    ours = "Number and time: our choice, no source."
    if len(parts) == 1:
        one = f"This is one step of what measures it, so it has no parts: stir {_amount(parts[0], measure)} into a"
        return (f"Shared water: {one} bucket of tank water and pour all of it slowly into strong flow. {ours}",)
    words = " + ".join(_amount(part, measure) for part in parts)
    if measure.unit == "tablets" or parts[0] >= TWENTY * step:
        return (
            f"Shared water: give it in {len(parts)} parts, {words} = {_amount(size.amount, measure)}, each measured "
            f"and dissolved by itself in a bucket of tank water; pour all of one, then the next, {wait}.{last} {ours}",
        )
    return (
        f"Shared water: measure {_amount(size.amount, measure)} once (a part by itself would be under twenty steps), "
        f"dissolve all of it in one bucket of tank water and pour that in {len(parts)} parts, about {words}, stirred "
        f"well before each, {wait}; rinse the bucket into the last.{last} {ours}",
    )


def _amount(value: Decimal, measure: Measure) -> str:
    return f"{show(value)} {measure.unit}"


def _how_stock(substance: Substance, setting: Setting, size: Size | None) -> tuple[str, ...]:
    """Rule C4 and F21: how it is made, what it may be off by, and the label of the bottle."""
    assert setting.stock is not None
    stock = setting.stock
    made = f"dissolve {show(stock.grams)} g wholly and fill up to {show(stock.litres * 1000)} mL"
    first = "take the rest of the solution" if stock.rest else made
    error = ""
    if size is not None and size.amount > 0:
        share = show_significant(stock_error(stock, setting, size.amount) * 100, 2, up=True)
        error = f" What it was measured with may put it off by {share} % in all (root of the sum of squares)."
    return (
        f"Measure: {first}; draw with a syringe with steps of {show(setting.syringe_step_ml)} mL, stir it into a "
        f"bucket of tank water and pour all of that.{error}",
        *(() if stock.rest else (stock_label(substance, setting),)),
    )


def stock_label(substance: Substance, setting: Setting) -> str:
    """What is written on the bottle. No source on record says how long a stock solution keeps."""
    stock = setting.stock
    assert stock is not None
    made = local_day(setting.now, setting.zone).isoformat()
    until = f"use until {stock.kept_until}, as you said" if stock.kept_until else _MAKE_FRESH
    strength = measured_by(substance, setting).of.removeprefix("a stock solution of ")
    return f"Label: {strength}; made on {made}; {until}."


_MAKE_FRESH = "discard what is left: how long it keeps is not known (no source), so make it fresh"


def _how_dip(
    substance: Substance, regimen: Regimen, where: Where | None, setting: Setting, size: Size | None
) -> tuple[str, ...]:
    """Rules C6 and C15. The end is real only once the start is recorded."""
    measure = measure_of(substance, setting.product if size is not None else None)
    step = measure.step(setting) if measure.unit == "g" else setting.scale_step_grams
    with_what = {"mL": "drawn with a syringe", "tablets": "of crushed tablets"}
    measured = f"weighed on a scale with steps of {show(step)} g"
    if size is not None:
        measured = with_what.get(measure.unit, measured)
    litres = f"{show(litres_of(setting.vessel)[0])} L of " if setting.vessel else ""
    words = regimen.contact.words if regimen.contact and regimen.contact.words else ""
    longest = f"; here at most {where.longest}" if where and where.longest else ""
    return (
        "Route: dip in a vessel of its own, never in the tank.",
        f"Vessel: {litres}water of this tank, at its temperature; stir until all {substance.name.casefold()} is "
        f"dissolved, {measured}; only then the fish.",
        f"Time: {words}{longest}. Set a timer now and stay in the room; note when the first fish goes in and the last "
        "comes out.",
        "Out at once, into the clean water of the tank, when a fish rolls onto its side, whatever the timer says.",
    )


def checks_met(before: tuple[Condition, ...], evidence: ev.Evidence | None) -> str:
    """The before-checks that are met, each with what it was judged on."""
    if evidence is None:
        return ""
    judged = [ev.judge(condition, evidence) for condition in before if condition.kind != "word"]
    met = "; ".join(verdict.says for verdict in judged if verdict.met)
    return met and f"Checked: {met}."


# --- The card --------------------------------------------------------------------------------------------


def dose_of(
    substance: Substance, regimen: Regimen, setting: Setting, wanted: Quantity | None, size: Size | None
) -> Dose:
    litres, plus_minus = litres_of(setting.volume) if setting.volume else (Decimal(0), Decimal(0))
    unit = wanted.unit if wanted else "mg/L"
    if regimen.route == "food":
        litres = plus_minus = Decimal(0)
    # A strength that does not fit is held, and what it would be measured as is not asked.
    # Of a dose in food what is counted is the substance in the portion, whatever it was weighed as.
    fits = regimen.route != "food" and strength_hold(substance, regimen, setting.product) is None
    setting = setting if fits else setting._replace(product=None)
    measure = measured_by(substance, setting)
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
        add=_measured(size) if size else None,
        add_unit=measure.unit,
        add_of=measure.of,
        gives_low=Decimal(level_in(substance, size.gives_low, unit, up=False)) if size else None,
        gives_high=Decimal(level_in(substance, size.gives_high, unit, up=True)) if size else None,
        gives_unit=unit,
        reference=cited(substance, regimen.references),
        cautions=(*cautions, DEFERS),
        fish_grams=Decimal(g_of(size.food.fish_grams)) if size and size.food else None,
        fish_plus_minus_grams=Decimal(g_of(size.food.plus_minus_grams)) if size and size.food else None,
        food_grams=size.food.portion_grams if size and size.food else None,
    )


def _measured(size: Size) -> Decimal:
    return size.given_mg / 1000 if size.food is not None else size.amount


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
