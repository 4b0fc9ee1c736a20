"""A dose in food: by the weight of the fish, or by the content of what they eat (needs F26)."""

from __future__ import annotations

from datetime import timedelta
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from quarantine import evidence as ev
from quarantine.dosing.forms import Measure, measure_of
from quarantine.dosing.setting import OUR_CHOICE, Hold, Setting, Weighed
from quarantine.dosing.size import COARSEST_LOSS, Food, Size
from quarantine.dosing.words import MG_PER_G, PER_FISH, cited, divide, g_of, mg_of
from quarantine.facts import Fact, local_day
from quarantine.formulary import Ceiling, Regimen, Substance
from quarantine.quantity import Quantity, ceil_to, floor_to, show, show_significant

WEIGHT_DAYS = 30
"""Fish grow: a weight older than this is no basis for a dose in food. Our choice, no source."""


MOST_PRODUCT_SHARE = Decimal("0.5")
"""Food of which more than this share would be the product is no food. Our choice, no source."""

STEPS_OF_SCALE = 20
"""Food is prepared in such an amount that the substance for it is so many steps of the scale (rule C4)."""
_STEPS = {"g": STEPS_OF_SCALE, "mL": STEPS_OF_SCALE}  # tablets are whole already


def food_hold(substance: Substance, regimen: Regimen, setting: Setting) -> Hold | None:
    """A dose in food needs the weight of the fish and what they eat in a day, both said by a person (needs F26)."""
    weighed, says = setting.weighed, ""
    if weighed is None or weighed.number < 1 or weighed.grams <= 0 or setting.evidence is None:
        says = "is sized by the weight of the fish, which is not on record"
    elif weighed.grown:
        says = f"is sized by the weight of the fish, and fish came after it was found on {weighed_on(weighed, setting)}"
    elif setting.now - weighed.at > timedelta(days=WEIGHT_DAYS):
        says = f"is sized by the weight of the fish, which was last found on {weighed_on(weighed, setting)}"
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
        cited(substance, regimen.references),
        f'weigh them and watch what they eat: quarantine batch weigh {setting.batch} "3 g" --each --eats "1 %" '
        '--by "scale, 4 fish"',
    )


def appetite_hold(regimen: Regimen, setting: Setting) -> Hold | None:
    """A dose in food is only for fish that eat (rule A6): appetite 2 or more when food was last offered, today or
    yesterday, no fish that is known to refuse, and nothing left of the portion before.

    A later day's appetite is not known today: the card says what is asked then.
    """
    evidence = setting.evidence
    if regimen.route != "food" or evidence is None or local_day(setting.now, setting.zone) > evidence.today:
        return None
    log = 'log it: quarantine look "TANK SEEN APPETITE" (appetite 0 none, 1 few, 2 most, 3 all at once)'
    first = "test the water and look for signs first; take what they leave out; when they eat plain food again, " + log
    vet = "; where they go on refusing, ask a veterinarian about another route"
    looks = [look for look in evidence.looks if look.offered]
    last = looks[-1] if looks else None
    left = _left_over(setting)
    refuses = next((sign for sign in evidence.open_signs if sign.name == ev.REFUSES), None)
    if last is None or last.appetite is None or last.day < evidence.today - timedelta(days=1):
        says = "whether the fish eat is not known: no look since yesterday says how they took food"
        first, vet = f"offer a pinch of plain food, watch, and {log}", ""
    elif last.appetite < ev.FEEDING_APPETITE:
        says = f"when food was last offered, on {last.day}, {'none' if last.appetite == 0 else 'only few'} of them ate"
    elif refuses is not None:
        says = f"a fish is known to refuse food since {local_day(refuses.since, setting.zone)}: it would get no dose"
        vet = f'; when it eats, say --gone "{ev.REFUSES}" with the look{vet}'
    elif left is not None and last.at <= left.at:
        much = "was not eaten" if left.data["eaten"] == "none" else "was eaten only in part"
        says = f"the portion of {local_day(left.at, setting.zone)} {much}, and no look since says that they eat"
    else:
        return None
    return Hold("A6", says, None, None, OUR_CHOICE, first + vet)


def _left_over(setting: Setting) -> Fact | None:
    """The last dose in food of this water, where something of it was left."""
    fed = [f for f in setting.doses if f.data.get("route") == "food" and f.at <= setting.now]
    last = max(fed, key=lambda f: f.at, default=None)
    return last if last is not None and last.data.get("eaten") in ("none", "part") else None


def weighed_on(weighed: Weighed, setting: Setting) -> str:
    return local_day(weighed.at, setting.zone).isoformat()


def food_size(substance: Substance, regimen: Regimen, wanted: Quantity, setting: Setting, ceiling: Ceiling) -> Size:
    """A day's dose in food (rules C2 and C4): by the weight of the fish, or by the content of what they eat.

    What is measured on the day is a portion of prepared food, so that is what is rounded down; the substance is
    weighed once, for a larger amount of food. ``gives`` is in the unit of the target.
    """
    weighed, step, unit, top = setting.weighed, setting.scale_step_grams, wanted.unit, ceiling.figure.value
    measure = measure_of(substance, setting.product)
    one_step = measure.step(setting) * measure.holds
    assert weighed is not None
    alive, fish, plus_minus, eats = biomass(setting)
    least = max(fish - plus_minus, Decimal(0))
    share = show_significant(eats / fish * 100, 3)
    says: tuple[str, ...]
    if unit == PER_FISH:
        by_target, by_ceiling = wanted.value * fish / 1000, top * least / 1000
        exact = min(by_target, by_ceiling)
        says = (
            f"target {show(wanted.value)} {unit} for {g_of(fish)} g: {mg_of(by_target)} mg",
            f"ceiling {show(top)} {unit} for {g_of(fish)} - {g_of(plus_minus)} = {g_of(least)} g: "
            f"{mg_of(by_ceiling)} mg",
            f"the smaller in {g_of(eats)} g of food: {mg_of(exact / eats)} mg in each gram",
        )
    else:
        per_gram = min(wanted.value, top) * MG_PER_G[unit]
        exact = per_gram * eats
        says = (
            f"target {show(wanted.value)} {unit} (ceiling {show(top)} {unit}): {mg_of(per_gram)} mg in each gram of "
            "food",
            f"in {g_of(eats)} g of food: {mg_of(exact)} mg",
        )
    content = exact / eats
    prepared = setting.prepared_grams or max(
        ceil_to(_STEPS.get(measure.unit, 1) * one_step / content, step) if content else step, ceil_to(eats, step)
    )
    mixed = floor_to(content * prepared, one_step)
    real = mixed / prepared
    portion = min(floor_to(exact / real if real else Decimal(0), step), prepared)
    if unit != PER_FISH:
        portion = min(portion, floor_to(eats, step))
    given = (real * portion).quantize(Decimal("0.0001"), rounding=ROUND_FLOOR)
    if unit == PER_FISH:
        low = divide(given * 1000, fish + plus_minus, ROUND_FLOOR)
        high = divide(given * 1000, least, ROUND_CEILING) if least else Decimal(0)
    else:
        low = high = (real / MG_PER_G[unit]).quantize(Decimal("0.000001"), rounding=ROUND_FLOOR)
    of_fish = show_significant(given * 1000 / fish, 3, up=True)
    working = (
        f"fish: {g_of(fish)} g, plus or minus {g_of(plus_minus)} g ({alive} fish alive; {g_of(weighed.grams)} g for "
        f"{weighed.number} fish on {weighed_on(weighed, setting)}: {weighed.by})",
        f"they eat {g_of(eats)} g of food a day, {share} % of their weight",
        *says,
        *_fit_line(regimen, content, share),
        f"prepared: {_out_of(mixed, measure)}{show(mixed / 1000)} g in {show(prepared)} g of prepared food, "
        "rounded down to "
        f"steps of {show(measure.step(setting))} {measure.unit.removesuffix('s')}: {mg_of(real)} mg in each gram",
        f"the day's portion, rounded down: {show(portion)} g of it, with {show(given)} mg; for each kg of fish "
        f"{of_fish} mg",
    )
    food = Food(fish, plus_minus, prepared, mixed, portion)
    return Size(exact, given, low, high, working, food)


def biomass(setting: Setting) -> tuple[int, Decimal, Decimal, Decimal]:
    """How many are alive; grams of them all, the plus-minus, and grams of food they eat in a day."""
    weighed = setting.weighed
    assert weighed is not None
    assert weighed.food_grams is not None
    assert setting.evidence is not None
    alive = setting.evidence.alive
    share = Decimal(alive) / Decimal(weighed.number)
    return alive, weighed.grams * share, weighed.plus_minus_grams * share, weighed.food_grams * share


def food_size_hold(substance: Substance, regimen: Regimen, setting: Setting, size: Size) -> Hold | None:
    """Rules C3 and C4 for food, and the published content: fish that eat less cannot eat the dose."""
    assert size.food is not None
    step, food = setting.scale_step_grams, size.food
    if food.plus_minus_grams >= food.fish_grams:
        says = f"{g_of(food.fish_grams)} g, plus or minus {g_of(food.plus_minus_grams)} g"
        remedy = "weigh them again"
        return Hold("C2", f"the weight of the fish is not known well enough: {says}", None, None, OUR_CHOICE, remedy)
    eats = biomass(setting)[3]
    published = regimen.food.per_food if regimen.food else None
    content = size.exact_mg / eats
    if published is not None and content.quantize(Decimal("0.000001"), ROUND_FLOOR) > published.value:
        return Hold(
            "published range",
            f"they eat so little that each gram of food would hold {show_significant(content, 3)} mg; "
            f"published is {show(published.value)} {published.unit}",
            show(published.value),
            published.unit,
            cited(substance, published.reference),
            f"only food with {show_significant(content, 3)} mg in each gram would fit what they eat, and none of that "
            f"strength is published: it fits from {show_significant(size.exact_mg / published.value, 3, up=True)} g of "
            "food a day on; fish that hardly eat are not treated in food: ask a veterinarian",
        )
    if (weak := _weak_product_hold(substance, setting, content)) is not None:
        return weak
    lost = (size.exact_mg - size.given_mg) / size.exact_mg
    if food.portion_grams == 0 or lost > COARSEST_LOSS:
        return Hold(
            "C4",
            f"of {mg_of(size.exact_mg)} mg the day's portion of food would hold {show(size.given_mg)} mg",
            show(step),
            "g",
            OUR_CHOICE,
            "prepare more food at once, at least a day's portion (quarantine dose, --food), or weigh on a finer scale "
            "(setting scale_step)",
        )
    return None


def _fit_line(regimen: Regimen, content: Decimal, share: str) -> tuple[str, ...]:
    """Where the row prints a content of the food beside the dose of the fish: at which ration they agree, and which
    content fits this one."""
    if regimen.food is None:
        return ()
    per_food, rate = regimen.food.per_food, regimen.food.feeding_rate
    return (
        f"published: {show(per_food.value)} {per_food.unit} for fish that eat {show(rate.value)} % of their weight a "
        f"day; these eat {share} %, which fits {mg_of(content)} mg in each gram",
    )


def _weak_product_hold(substance: Substance, setting: Setting, content: Decimal) -> Hold | None:
    """A product so weak that most of the food would be the product; of tablets nobody knows what they weigh."""
    measure = measure_of(substance, setting.product)
    least = content / MOST_PRODUCT_SHARE
    if measure.unit == "tablets" or measure.holds >= least:
        return None
    return Hold(
        "strength of the product",
        f"each gram of food has to hold {mg_of(content)} mg, and 1 {measure.unit} of the product holds "
        f"{mg_of(measure.holds)} mg: most of the food would be the product",
        None,
        None,
        OUR_CHOICE,
        f"a product with at least {show_significant(least, 3, up=True)} mg in 1 {measure.unit} would fit",
    )


def _out_of(mixed_mg: Decimal, measure: Measure) -> str:
    """The product that holds so much of the substance, where it is not pure."""
    return f"{show(mixed_mg / measure.holds)} {measure.unit} of the product with " if measure.how else ""


_VERBS = {"g": "weigh", "mL": "draw", "tablets": "crush"}


def how_food(substance: Substance, size: Size | None, setting: Setting) -> tuple[str, ...]:
    if size is None or size.food is None:
        return ("Route: in food.",)
    food, measure = size.food, measure_of(substance, setting.product)
    return (
        "Route: in food.",
        f"Prepare: {_VERBS[measure.unit]} {show(food.substance_mg / measure.holds)} {measure.unit} of {measure.of}, "
        f"mix it evenly with food, so that both together weigh {show(food.prepared_grams)} g; how, the sources on "
        "record do not say: the product's label or a veterinarian does. Label it; how long it keeps is not known.",
        f"Give: {show(food.portion_grams)} g of it as the day's food, only while they eat (appetite 2 or 3, rule A6), "
        "and watch that it is eaten; what is left over is a dose that was not given: take it out, give no second "
        "portion that day, and say so (done --eaten all, part or none).",
    )
