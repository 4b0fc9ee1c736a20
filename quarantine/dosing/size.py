"""How much: from the target to what can be measured (rules C2 and C4), and when that is too much or too little."""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import NamedTuple

from quarantine.dosing.forms import (
    TWENTY,
    Measure,
    fine_enough,
    floor_amount,
    measured_by,
    oxygen_line,
    rule_lines,
    there_span,
    tops_up,
    weighing_step,
)
from quarantine.dosing.known import litres_of, missing_litres
from quarantine.dosing.repeats import left_low
from quarantine.dosing.setting import OUR_CHOICE, Hold, Setting, Stock
from quarantine.dosing.words import cited, divide, exact_grams, in_ledger, level_in
from quarantine.formulary import Ceiling, Figure, Regimen, Substance
from quarantine.quantity import Quantity, decimal_up, show, show_significant
from quarantine.water.ledger import Water
from quarantine.water.level import Level

ADVISE_STOCK_SHARE = Decimal("0.05")
"""A scale step over this share of the dose calls for a stock solution or a finer scale (rule C4: twenty steps)."""


BAND_SHORT = Decimal("0.05")
"""How far under its band a dose may bring the water: one of the twenty steps of rule C4 (our choice, no source)."""
COARSEST_LOSS = Decimal("0.2")
"""Rounding down that takes more than this share of the dose is refused: too little is a harm (rules C3 and C4).
Our choice, no source."""


LEDGER_TAIL = Decimal("1e-9")
"""How far the ledger rounds a bound outward, as a share of it."""


# --- Size ------------------------------------------------------------------------------------------------


class Size(NamedTuple):
    exact_mg: Decimal
    given_mg: Decimal
    gives_low: Decimal
    gives_high: Decimal
    working: tuple[str, ...]
    food: Food | None = None
    amount: Decimal = Decimal(0)
    """what is measured out of the product or the stock solution, in its own unit (not for food)"""
    lost_to_kit: Decimal = Decimal(0)
    """the share of the dose that half a step of its kit takes off"""


class Food(NamedTuple):
    """The fish, the food that is prepared at once with its substance, and the day's portion of it."""

    fish_grams: Decimal
    plus_minus_grams: Decimal
    prepared_grams: Decimal
    substance_mg: Decimal
    portion_grams: Decimal


def size_of(
    substance: Substance, regimen: Regimen, wanted: Quantity, setting: Setting, volume: Water, ceiling: Ceiling
) -> Size:
    """Rules C2 and C4. ``gives`` is what this dose alone gives (where a reading sizes it: with what is there); it and
    the amounts are in the unit of the substance's ledger: mg, uL of formalin, mg of copper."""
    litres, plus_minus = litres_of(volume)
    target = in_ledger(substance, wanted)
    top = in_ledger(substance, Quantity(ceiling.figure.value, ceiling.figure.unit))
    at_least, present = there_span(substance, regimen, setting)
    counted_off = present if tops_up(substance, regimen) else Decimal(0)
    rise, room = max(target - counted_off, Decimal(0)), max(top - present, Decimal(0))
    # What is gone on record is gone for the ceiling; the target is for the mark, to which the water comes back.
    short = missing_litres(regimen, setting)
    least_litres = litres - plus_minus - short
    by_target, by_ceiling = rise * litres, room * least_litres
    repeat = setting.replaces
    others = (by_target, *((repeat.amount,) if repeat else ()))
    exact, with_no_step = min(*others, by_ceiling), min(*others, top * least_litres)
    measure = measured_by(substance, setting)
    amount, given = floor_amount(exact, measure, measure.step(setting))
    low = at_least + divide(given, litres + plus_minus, ROUND_FLOOR)
    high = present + divide(given, least_litres, ROUND_CEILING)
    unit, counted = wanted.unit, _counted_words(substance, regimen)
    over = f" - present {_shown_there(substance, present)}" if present else ""
    of_target = over if counted_off else ""
    gone = f" - {show(short)} gone" if short else ""
    there = (
        f", with {_shown_there(substance, at_least, False)} to {_shown_there(substance, present)} there"
        if present
        else ""
    )
    working = (
        f"water: {show(litres)} L, plus or minus {show(plus_minus)} L ({setting.volume_says})",
        *rule_lines(regimen, setting),
        f"target {_level_words(substance, wanted)}{of_target}, for {show(litres)} L: "
        f"{exact_grams(by_target)} {counted}",
        f"ceiling {_level_words(substance, Quantity(ceiling.figure.value, ceiling.figure.unit))}"
        f"{f' ({ceiling.group})' if ceiling.group else ''}{over}, for "
        f"{show(litres)} - {show(plus_minus)}{gone} = {show(least_litres)} L: "
        f"{exact_grams(by_ceiling)} {counted}",
        *(repeat.working if repeat else ()),
        *_rounding_lines(exact, given, amount, measure, counted, setting),
        f"gives {show(given / 1000)} {counted} in {show(litres + plus_minus)} L to {show(least_litres)} L"
        f"{there}: "
        f"{level_in(substance, low, unit, up=False)} to {level_in(substance, high, unit, up=True)} {unit}"
        f"{_also_as_copper(substance, low, high, unit)}",
        *oxygen_line(substance, regimen, high),
    )
    lost = Decimal(0) if counted_off or not with_no_step else 1 - exact / with_no_step
    return Size(exact, given, low, high, working, amount=Decimal(show(amount)), lost_to_kit=lost)


def _counted_words(substance: Substance, regimen: Regimen) -> str:
    """What the working's amounts are amounts of."""
    if substance.ledger_unit == "uL/L":
        return "mL"
    return "g of copper (Cu)" if substance.ledger_unit == "mg/L Cu" else "g"


def _level_words(substance: Substance, level: Quantity) -> str:
    """A level as it is published, and as copper where it counts a salt."""
    words = f"{show(level.value)} {level.unit}"
    if level.unit == substance.ledger_unit or not substance.salts:
        return words
    return f"{words} = {show_significant(in_ledger(substance, level), 6)} {substance.ledger_unit}"


def _also_as_copper(substance: Substance, low: Decimal, high: Decimal, unit: str) -> str:
    if unit == substance.ledger_unit or not substance.salts:
        return ""
    ends = f"{show_significant(low, 3, up=False)} to {show_significant(high, 3, up=True)}"
    return f" = {ends} {substance.ledger_unit}"


def _shown_there(substance: Substance, level: Decimal, unit: bool = True) -> str:
    """What is there already: of salt in g/L."""
    if "salt" not in substance.classes:
        return f"{show(level)} {substance.ledger_unit}" if unit else show(level)
    return f"{show(level / 1000)} g/L" if unit else show(level / 1000)


def _rounding_lines(
    exact: Decimal, given: Decimal, amount: Decimal, measure: Measure, counted: str, setting: Setting
) -> tuple[str, ...]:
    """From what is wanted in the water to what is measured (rule C4)."""
    steps = f"{show(measure.step(setting))} {measure.unit.removesuffix('s')}"
    product = "product" if setting.stock is None else "stock solution"
    smaller = f"the smaller: {exact_grams(exact)} {counted}"
    if not measure.how:
        return (f"{smaller}; rounded down to steps of {steps}: {show(given / 1000)} {counted}",)
    wanted = show_significant(exact / measure.holds, 6, up=False)
    return (
        f"{smaller}; {measure.how}: {wanted} {measure.unit} of the {product}",
        f"rounded down to steps of {steps}: {show(amount)} {measure.unit} of the {product}, "
        f"{'that counts as' if measure.unit == 'mL' else 'with'} {show_significant(given / 1000, 6)} {counted}",
    )


def size_hold(substance: Substance, regimen: Regimen, setting: Setting, size: Size, ceiling: Ceiling) -> Hold | None:
    top = in_ledger(substance, Quantity(ceiling.figure.value, ceiling.figure.unit))
    topped = tops_up(substance, regimen)
    measure = measured_by(substance, setting)
    counted, step = _counted_words(substance, regimen), measure.step(setting)
    if topped and size.exact_mg == 0:
        what = "salinity" if "salt" in substance.classes else substance.name.casefold()
        return Hold(
            "C15" if "salt" in substance.classes else "C13",
            "the water is at the target already",
            None,
            None,
            OUR_CHOICE,
            f"nothing to add; read {what} again later",
        )
    if size.lost_to_kit > COARSEST_LOSS:
        return Hold(
            "C13",
            f"the kit reads so coarsely that half a step of it takes {show_significant(size.lost_to_kit * 100, 2)} % "
            "off the dose: that much may be there already, under the ceiling with it",
            show(COARSEST_LOSS * 100),
            "%",
            OUR_CHOICE,
            "use a kit with finer steps",
        )
    if size.given_mg == 0:
        one = f"one step of {TOOLS[measure.unit]}" if measure.unit in TOOLS else _tablet(step)
        return Hold(
            "C4",
            f"{show_significant(size.exact_mg / 1000, 3)} {counted} is less than {one}",
            show(step),
            measure.unit,
            OUR_CHOICE,
            _finer(substance, measure, size, setting),
        )
    lost = (size.exact_mg - size.given_mg) / size.exact_mg
    if lost > COARSEST_LOSS:
        tool = f"on {TOOLS[measure.unit]}" if measure.unit in TOOLS else f"in steps of {_tablet(step)}"
        return Hold(
            "C4",
            f"{tool} {exact_grams(size.exact_mg)} {counted} becomes {exact_grams(size.given_mg)} {counted}, "
            f"{show_significant(lost * 100, 2)} % too little, which leaves parasites and breeds resistance",
            show(step),
            measure.unit,
            OUR_CHOICE,
            _finer(substance, measure, size, setting),
        )
    upper = Decimal(0) if topped else decimal_up(setting.levels.get(substance.id, Level(0.0, 0.0)).high or 0.0)
    sized_by = there_span(substance, regimen, setting)[1]
    # What sized the dose is in gives_high already; the ledger rounds the same reading outward by a float's tail.
    upper = Decimal(0) if upper <= sized_by * (1 + LEDGER_TAIL) else upper - sized_by
    if upper + size.gives_high > top:
        unit = ceiling.figure.unit
        return Hold(
            "ceiling",
            f"with this dose the level could reach {level_in(substance, upper + size.gives_high, unit, up=True)} "
            f"{unit}; "
            f"the ceiling is {show(ceiling.figure.value)} {unit}",
            show(ceiling.figure.value),
            unit,
            cited(substance, ceiling.figure.reference),
            # Before the dose the filter runs: of all the water a litre is the smaller share.
            _clearing_words(upper, top - size.gives_high, setting.whole or setting.volume),
        )
    if topped and (held := _band_hold(substance, regimen, setting, size, measure)) is not None:
        return held
    floor = regimen.effective_minimum
    least = size.gives_low + left_low(substance, setting)
    if floor is not None and least < in_ledger(substance, Quantity(floor.value, floor.unit)):
        return Hold(
            "C3",
            f"the dose could give as little as {level_in(substance, least, floor.unit, up=False)} "
            f"{floor.unit}; "
            f"under {show(floor.value)} {floor.unit} it does not work",
            show(floor.value),
            floor.unit,
            cited(substance, floor.reference),
            "measure the tank (quarantine tank measure), or weigh on a finer scale",
        )
    return None


def _band_hold(substance: Substance, regimen: Regimen, setting: Setting, size: Size, measure: Measure) -> Hold | None:
    """A row that holds a band by readings is not brought to a level under it: by half of the nominal litres' error
    nobody can help, but the rounding of the scale is a choice (rules C3 and C13)."""
    target = regimen.target
    if "a test kit" not in regimen.needs or target is None or target.high is None or setting.volume is None:
        return None
    low = in_ledger(substance, Quantity(target.low.value, target.low.unit))
    least, most = there_span(substance, regimen, setting)
    reached = (least + most) / 2 + size.given_mg / Decimal(repr(setting.volume.litres))
    if reached >= low * (1 - BAND_SHORT):
        return None
    unit = target.low.unit
    return Hold(
        "C3",
        f"what can be measured brings the water to {level_in(substance, reached, unit, up=False)} {unit}, under the "
        f"band of {show(target.low.value)} to {show(target.high.value)} {unit} that is to be held",
        show(target.low.value),
        unit,
        cited(substance, regimen.references) or OUR_CHOICE,
        _finer(substance, measure, size, setting),
    )


TOOLS = {"g": "the scale", "mL": "the syringe"}
"""What each unit of a product is measured with; tablets are counted."""


def _tablet(step: Decimal) -> str:
    return "one tablet" if step == 1 else f"{show(step)} tablet"


def _finer(substance: Substance, measure: Measure, size: Size, setting: Setting) -> str:
    """What to do when a step of the scale is too coarse for the dose, in the order of rule C4: measure finer, a stock
    solution of what dissolves, else all that was weighed is dispersed and poured."""
    if setting.stock is not None:
        return "make a weaker stock solution, of which twenty steps of the syringe or more are drawn"
    if measure.unit == "tablets":
        # Twenty steps of them make the dose; a step is one tablet, or a half where the label says so.
        small = show_significant(size.exact_mg / TWENTY / measure.step(setting), 3, up=False)
        if substance.solubility is None:
            return (
                f"use a powder that can be weighed, or tablets that hold at most {small} mg each, or ask a "
                "veterinarian: no solubility is on record, so a share of a dissolved tablet is no measure"
            )
        return (
            "crush one tablet, dissolve it wholly in a measured volume of water and give the share of that volume "
            f"({_dissolves(substance.solubility)}), or use a powder that can be weighed"
        )
    would_do = f"one with steps of {show(fine_enough(size.exact_mg, measure))} {measure.unit} would do"
    if measure.unit == "mL":
        return (
            f"draw with a finer syringe (setting syringe_step): {would_do}; without one treat in a larger volume of "
            "water, or ask a veterinarian"
        )
    finer = f"weigh on a finer scale (setting scale_step): {would_do}"
    if substance.solubility is None:
        return (
            f"{finer}; no stock solution, for no solubility of {substance.name} is on record, and never a share of a "
            "larger amount: what is weighed is stirred into tank water and all of it is poured"
        )
    return f"{finer}; or make a stock solution ({_dissolves(substance.solubility)})"


def _dissolves(solubility: Figure) -> str:
    return f"dissolves to {show(solubility.value)} {solubility.unit}"


def _clearing_words(upper: Decimal, room: Decimal, volume: Water | None) -> str:
    if room <= 0 or volume is None:
        return "choose a lower target, or ask a veterinarian"
    litres, plus_minus = litres_of(volume)
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
    out = (share * (litres + plus_minus_litres) * (1 + LEDGER_TAIL)).quantize(Decimal("0.1"), rounding=ROUND_CEILING)
    return out if out < litres - plus_minus_litres else None


def advice_on(substance: Substance, size: Size, setting: Setting) -> str:
    """What a dose of fewer than twenty steps is told: what is lost and how far the tool itself may be off, and what
    would be better, in the order of rule C4."""
    if size.food is not None:
        return ""
    measure = measured_by(substance, setting)
    if setting.stock is not None:
        return _stock_advice(setting.stock, measure, size, setting)
    step = measure.step(setting)
    if step * measure.holds <= ADVISE_STOCK_SHARE * size.given_mg:
        return ""
    lost = (size.exact_mg - size.given_mg) / size.exact_mg * 100
    by_rounding = f"{show_significant(lost, 2)} % was lost by rounding down"
    if measure.unit == "tablets":
        least = _tablet(step)
        return f"{least[0].upper()}{least[1:]} is over 5 % of this dose; {by_rounding}. A powder can be weighed finer."
    half = show_significant(step * measure.holds / 2 / size.given_mg * 100, 2, up=True)
    tool = TOOLS[measure.unit]
    says = (
        f"One step of {tool} is over 5 % of this dose; {by_rounding}, and {tool} itself may be off by half a step, "
        f"{half} % of it."
    )
    would_do = f"one with steps of {show(fine_enough(size.exact_mg, measure))} {measure.unit} would do"
    if measure.unit == "mL":
        return f"{says} Draw with a finer syringe: {would_do}; else stir all of it into tank water and pour all of it."
    if substance.solubility is not None:
        dissolves = _dissolves(substance.solubility)
        return f"{says} Weigh on a finer scale ({would_do}), or make a stock solution ({dissolves})."
    return (
        f"{says} Weigh on a finer scale: {would_do}. No solubility of {substance.name} is on record, so no stock "
        f"solution. {DISPERSE}"
    )


DISPERSE = (
    "Without such a scale disperse and pour: stir all that was weighed into tank water and pour all of it, never a "
    "share of a larger amount."
)
"""Rule C4: what does not dissolve is no measure by its volume."""


def _stock_advice(stock: Stock, measure: Measure, size: Size, setting: Setting) -> str:
    """A stock solution is weighed and drawn by at least twenty steps each (calculation notes, section l)."""
    says = []
    if stock.grams < TWENTY * weighing_step(setting):
        least = show(TWENTY * weighing_step(setting))
        says.append(f"Weigh at least {least} g for a stock solution: that is twenty steps of the scale.")
    if size.amount < TWENTY * measure.step(setting):
        least = show(TWENTY * measure.step(setting))
        says.append(f"Make it weaker: under {least} mL, twenty steps of the syringe, are drawn.")
    return " ".join(says)
