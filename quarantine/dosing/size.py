"""How much: from the target to what can be measured (rules C2 and C4), and when that is too much or too little."""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import NamedTuple

from quarantine.dosing.known import SYRINGE_ML, litres_of, salinity_now, stock_mg_per_ml
from quarantine.dosing.setting import OUR_CHOICE, Hold, Setting
from quarantine.dosing.words import cited, divide, exact_grams, in_unit
from quarantine.formulary import Ceiling, Figure, Regimen, Substance
from quarantine.quantity import Quantity, decimal_up, floor_to, show, show_significant, to
from quarantine.water.ledger import Water
from quarantine.water.level import Level

ADVISE_STOCK_SHARE = Decimal("0.05")
"""A scale step over this share of the dose calls for a stock solution or a finer scale (rule C4: twenty steps)."""


COARSEST_LOSS = Decimal("0.2")
"""Rounding down that takes more than this share of the dose is refused: too little is a harm (rules C3 and C4).
Our choice, no source."""


# --- Size ------------------------------------------------------------------------------------------------


class Size(NamedTuple):
    exact_mg: Decimal
    given_mg: Decimal
    gives_low: Decimal
    gives_high: Decimal
    working: tuple[str, ...]
    food: Food | None = None


class Food(NamedTuple):
    """The fish, the food that is prepared at once with its substance, and the day's portion of it."""

    fish_grams: Decimal
    plus_minus_grams: Decimal
    prepared_grams: Decimal
    substance_mg: Decimal
    portion_grams: Decimal


def size_of(substance: Substance, wanted: Quantity, setting: Setting, volume: Water, ceiling: Ceiling) -> Size:
    """Rules C2 and C4. ``gives`` is what this dose alone gives (for salt: with what is there), in mg/L."""
    litres, plus_minus = litres_of(volume)
    target = to(wanted, "mg/L")
    top = to(Quantity(ceiling.figure.value, ceiling.figure.unit), "mg/L")
    span = salinity_now(setting) if "salt" in substance.classes else None
    present = span.high * 1000 if span else Decimal(0)
    at_least = max(span.low, Decimal(0)) * 1000 if span else Decimal(0)
    rise, room = max(target - present, Decimal(0)), max(top - present, Decimal(0))
    by_target, by_ceiling = rise * litres, room * (litres - plus_minus)
    exact = min(by_target, by_ceiling)
    step, steps = setting.scale_step_grams * 1000, f"{show(setting.scale_step_grams)} g"
    if setting.stock is not None:
        step, steps = SYRINGE_ML * stock_mg_per_ml(setting.stock), f"{show(SYRINGE_ML)} mL of the stock solution"
    given = floor_to(exact, step)
    low = at_least + divide(given, litres + plus_minus, ROUND_FLOOR)
    high = present + divide(given, litres - plus_minus, ROUND_CEILING)
    unit = wanted.unit
    over = f" - present {show(present / 1000)} g/L" if present else ""
    there = f", with {show(at_least / 1000)} to {show(present / 1000)} g/L there" if present else ""
    working = (
        f"water: {show(litres)} L, plus or minus {show(plus_minus)} L ({setting.volume_says})",
        f"target {show(wanted.value)} {unit}{over}, for {show(litres)} L: {exact_grams(by_target)} g",
        f"ceiling {show(ceiling.figure.value)} {ceiling.figure.unit}{over}, for "
        f"{show(litres)} - {show(plus_minus)} = {show(litres - plus_minus)} L: "
        f"{exact_grams(by_ceiling)} g",
        f"the smaller: {exact_grams(exact)} g; rounded down to steps of {steps}: {show(given / 1000)} g",
        f"gives {show(given / 1000)} g in {show(litres + plus_minus)} L to {show(litres - plus_minus)} L{there}: "
        f"{in_unit(low, unit, up=False)} to {in_unit(high, unit, up=True)} {unit}",
    )
    return Size(exact, given, low, high, working)


def size_hold(substance: Substance, regimen: Regimen, setting: Setting, size: Size, ceiling: Ceiling) -> Hold | None:
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
            f"on this scale {exact_grams(size.exact_mg)} g becomes {exact_grams(size.given_mg)} g, "
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
            f"with this dose the level could reach {in_unit(upper + size.gives_high, unit, up=True)} {unit}; "
            f"the ceiling is {show(ceiling.figure.value)} {unit}",
            show(ceiling.figure.value),
            unit,
            cited(substance, ceiling.figure.reference),
            _clearing_words(upper, top - size.gives_high, setting.volume),
        )
    floor = regimen.effective_minimum
    if floor is not None and size.gives_low < to(Quantity(floor.value, floor.unit), "mg/L"):
        return Hold(
            "C3",
            f"the dose could give as little as {in_unit(size.gives_low, floor.unit, up=False)} {floor.unit}; "
            f"under {show(floor.value)} {floor.unit} it does not work",
            show(floor.value),
            floor.unit,
            cited(substance, floor.reference),
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
    out = (share * (litres + plus_minus_litres) * (1 + Decimal("1e-9"))).quantize(
        Decimal("0.1"), rounding=ROUND_CEILING
    )
    return out if out < litres - plus_minus_litres else None


def advice_on(substance: Substance, size: Size, setting: Setting) -> str:
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
