"""Out of which product a dose is measured: the keeper's own, as it stands in stock (needs F36 and F75).

What a card shows is measured out of the only product of the substance of which there is something to give, or out of
the one that was named. With nothing of it in stock a dose is measured as its typed strength says, and nothing is drawn.
"""

from __future__ import annotations

from decimal import Decimal

from quarantine import stock
from quarantine.dosing.forms import Measure, measure_of, read_strength, strength_hold
from quarantine.dosing.setting import OUR_CHOICE, Form, Hold, Setting
from quarantine.facts import local_day
from quarantine.failures import Refused
from quarantine.formulary import Substance
from quarantine.quantity import Quantity, read, show, to
from quarantine.stock import Lot


def from_stock(
    substance: Substance, setting: Setting, product: str | None = None, number: str | None = None
) -> Setting:
    """A setting whose dose is measured out of the stock; unchanged where none of the substance is in it.

    ``product`` and ``number`` (of a lot) are as typed. A strength that was typed already stays: without a name beside
    it only a product of that strength, or of one that nobody knows, is drawn from; of tablets it says what each counts.
    Raises Unknown for a product or lot that is not in stock, Refused where nothing of the substance is.
    """
    if setting.choice is not None:
        return setting
    named = product is not None or number is not None
    mine = [lot for lot in setting.shelf if lot.substance == substance.id]
    if named and not mine:
        raise Refused(
            f"Nothing of {substance.name} is in stock: leave --product and --lot out, or add it: quarantine stock add."
        )
    typed = setting.product
    if typed is not None and not named:
        mine = [lot for lot in mine if _of_strength(lot, typed, substance)]
    choice = stock.choose(mine, local_day(setting.now, setting.zone), product, number)
    if choice is None or (typed is not None and not named and choice.barred):
        return setting
    if not choice.lots:
        return setting._replace(choice=choice)
    first = choice.lots[0]
    form = form_of(first, substance)
    if typed is not None:
        each = None if form is None or form.each_mg is None else form.each_mg * typed.percent / 100
        form = typed._replace(each_mg=each)
    if form is not None:
        form = form._replace(step=first.step, bottle=bottle_words(first))
    return setting._replace(choice=choice, product=form)


def form_of(lot: Lot, substance: Substance) -> Form | None:
    """What the label of a lot says of its strength; None where it says nothing that can be computed with."""
    if lot.each is not None:
        each = to(read(lot.each, "mass", "one tablet"), "mg")
        return Form(Decimal(100), "", "", f"tablets of {lot.each}", each_mg=each)
    try:
        # It was asked about when it was added to the stock.
        return read_strength(lot.strength, substance)._replace(sure=True) if lot.strength else None
    except Refused:  # the entry has changed since
        return None


def measured_lot(substance: Substance, lot: Lot) -> tuple[Measure | None, str]:
    """How what is in a lot is measured, by its own label; None where that is not known, and why."""
    form = form_of(lot, substance)
    if form is None:
        return None, f"the strength of {lot.product} is not on record"
    if form.each_mg is not None:
        known = not (substance.salts or substance.solution)
        return (
            (measure_of(substance, form), "") if known else (None, f"tablets of {substance.name} are not computed with")
        )
    if hold := strength_hold(substance, None, form):
        return None, hold.says
    measure = measure_of(substance, form)
    if measure.unit != lot.unit:
        return None, f"it is counted in {lot.unit}, and measured in {measure.unit}"
    return measure, ""


def _of_strength(lot: Lot, typed: Form, substance: Substance) -> bool:
    form = form_of(lot, substance)
    if form is None:
        return True
    return form.each_mg is None and form[:2] == typed[:2] and form.of in ("", typed.of)


def bottle_words(lot: Lot) -> str:
    """A lot as a card names it."""
    good = f"good until {lot.good_until}" if lot.good_until else "no expiry on record"
    return f"{lot.product}, lot {lot.number}, {good}"


def product_hold(substance: Substance, setting: Setting) -> Hold | None:
    """What of the stock stands against a dose: two products, nothing that may be given, a strength nobody knows."""
    choice = setting.choice
    if choice is None:
        return None
    if choice.barred:
        return Hold(
            "F36",
            f"nothing of {substance.name} in stock may be given ({choice.barred})",
            None,
            None,
            OUR_CHOICE,
            "take another lot and add it (quarantine stock add), or say the strength of what is not in stock "
            "(--strength); what was given all the same is recorded with --really",
        )
    if choice.several:
        return Hold(
            "product",
            f"there are {len(choice.several)} products of {substance.name} in stock: {', '.join(choice.several)}",
            None,
            None,
            OUR_CHOICE,
            f'say out of which: --product "{choice.several[0]}"',
        )
    lot = choice.lots[0]
    if setting.product is None:
        return _strength(f"the strength of {lot.product} is not on record", 'its label says it: --strength "98 %"')
    measure = measure_of(substance, setting.product)
    if measure.unit != lot.unit:
        counted = "grams in 100 mL (% w/v)" if lot.unit == "mL" else "a share by weight"
        return _strength(
            f"{lot.product} is counted in {lot.unit}, and {setting.product.words} does not say {counted}",
            'say what the label says: --strength "3 % w/v"'
            if lot.unit == "mL"
            else 'say what it says: --strength "98 %"',
        )
    return None


def _strength(says: str, remedy: str) -> Hold:
    return Hold("strength of the product", says, None, None, OUR_CHOICE, remedy)


def stock_lines(setting: Setting, amount: Quantity | None, food: Substance | None = None) -> tuple[str, ...]:
    """Out of which lots an amount in the product's unit is taken, and what the books lack of it.

    ``food`` is the substance of a dose in food: its ``amount`` is that of the substance in the day's portion, and so
    much of its product is counted.
    """
    choice = setting.choice
    if choice is None or not choice.lots or amount is None:
        return ()
    if setting.stock is not None:  # of the powder all that was weighed, whatever is drawn of the solution
        if setting.stock.rest:
            return ()
        amount = Quantity(setting.stock.grams, "g")
    elif food is not None:
        measure = measure_of(food, setting.product)
        amount = Quantity(stock.in_portion(to(amount, "mg") / measure.holds), measure.unit)
    if amount.unit != choice.lots[0].unit:
        return ()
    taken, lacking = stock.draws(choice.lots, amount.value, local_day(setting.now, setting.zone))
    parts = "; ".join(
        f"{bottle_words(d.lot)}: {show(d.amount)} of {stock.counted(d.lot.left, amount.unit)}" for d in taken
    )
    lines = (f"Out of: {parts}.",) if parts else ()
    if lacking <= 0:
        return lines
    return (
        *lines,
        f"In stock {stock.counted(lacking, amount.unit)} {stock.are(lacking, amount.unit)} lacking for this dose: "
        "count it (quarantine stock count), or have more ready before you begin.",
    )
