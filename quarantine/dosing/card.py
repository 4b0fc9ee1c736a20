"""What a dose card says: the amount, by which route, how to measure it, and what the keeper confirms by giving it."""

from __future__ import annotations

from decimal import Decimal

from quarantine import evidence as ev
from quarantine.dosing.food import how_food
from quarantine.dosing.forms import AERATION, measure_of, strength_hold
from quarantine.dosing.known import SYRINGE_ML, litres_of, stock_mg_per_ml
from quarantine.dosing.setting import AT_THE_MARK, DEFERS, TRIAL, Dose, Setting, Stock, Where
from quarantine.dosing.size import Size
from quarantine.dosing.words import cited, g_of, level_in
from quarantine.facts import Condition, local_day
from quarantine.formulary import Regimen, Substance
from quarantine.quantity import Quantity, show, show_significant
from quarantine.readings import PARAMETERS

DEMAND = "How much permanganate this water uses up was tried first on a sample of it: organic matter takes it up"
"""Row K01 of the treatment notes: "organics use it up; bioassay first" (S14, S17 there)."""


def to_confirm(
    substance: Substance, regimen: Regimen, before: tuple[Condition, ...], evidence: ev.Evidence | None
) -> tuple[str, ...]:
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
    if "permanganate demand" in regimen.needs:
        said.append(DEMAND)
    if substance.takes_oxygen is not None and not regimen.own_vessel:
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
        water = "all of the water system" if where.water == "system" else "this tank alone"
        off = f"; off or out: {', '.join(where.off)}" if where.off else ""
        route += f", in {water}; filter {where.filter}{off}"
    if setting.stock is not None:
        return (f"Route: {route}.", *_how_stock(substance, setting))
    measure = measure_of(substance, setting.product if size is not None else None)
    if size is not None and measure.unit == "mL":
        return (
            f"Route: {route}.",
            f"Measure: draw with a syringe with steps of {show(measure.step(setting))} mL, never by drops; stir all of "
            "it into a bucket of tank water first, then pour that in parts into strong flow.",
        )
    if size is not None and measure.unit == "tablets":
        return (
            f"Route: {route}.",
            "Measure: count the tablets and crush them; stir all of it into tank water first, then pour all of that in "
            "parts into strong flow.",
        )
    step = setting.scale_step_grams if size is None else measure.step(setting)
    return (
        f"Route: {route}.",
        f"Measure: weigh on a scale with steps of {show(step)} g; stir all of it into tank water first, then pour all "
        "of that in parts into strong flow.",
    )


def _how_stock(substance: Substance, setting: Setting) -> tuple[str, ...]:
    """Rule C4 and F21: the label of the bottle. No source on record says how long a stock solution keeps."""
    assert setting.stock is not None
    made = local_day(setting.now, setting.zone).isoformat()
    strength = show_significant(stock_mg_per_ml(setting.stock), 6)
    return (
        f"Measure: dissolve {show(setting.stock.grams)} g wholly and fill up to "
        f"{show(setting.stock.litres * 1000)} mL; draw with a syringe with steps of {show(SYRINGE_ML)} mL.",
        f"Label: {substance.name}, {strength} mg/mL; made on {made}; discard: how long it keeps is not known (no "
        "source), so make it fresh.",
    )


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
    product = setting.product if fits else None
    measure = measure_of(substance, product)
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
        add_unit="mL" if setting.stock else measure.unit,
        add_of=_measured_of(substance, setting.stock) if setting.stock else measure.of,
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


def _measured_of(substance: Substance, stock: Stock) -> str:
    strength = show_significant(stock_mg_per_ml(stock), 6)
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
