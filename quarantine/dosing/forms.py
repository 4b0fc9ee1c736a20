"""What a dose is measured as, in which unit its level is kept, and what of the water it depends on.

A published level, the level in the ledger and the product on the scale are three things: formalin is published and
kept in uL/L of the solution and drawn in mL, copper is published as copper or as its pentahydrate, kept as copper and
weighed as a salt. Taking one for another is a 2.7-fold or fourfold error (treatment notes, section 0), so a strength
whose basis matters and is not said holds the dose, and what reads two ways is refused with the question.
"""

from __future__ import annotations

import re
from decimal import ROUND_CEILING, Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from quarantine.dosing.known import (
    last_read,
    offered,
    salinity_now,
    since_altered,
    warmest_of_day,
    water_reading,
)
from quarantine.dosing.setting import MADE_UP_SHARE, OUR_CHOICE, Form, Hold, Setting, Stock
from quarantine.dosing.words import cited, in_ledger
from quarantine.failures import Refused
from quarantine.formulary import Regimen, Substance, by_water
from quarantine.quantity import UNITS, Quantity, decimal_down, show, show_significant
from quarantine.readings import PARAMETERS
from quarantine.water.level import Level

if TYPE_CHECKING:
    from quarantine.evidence import Span
    from quarantine.facts import Condition

# --- Strengths -------------------------------------------------------------------------------------------------------

FORMALDEHYDE, FORMALIN = "formaldehyde", "formalin"
WEAKEST_FORMALDEHYDE = Decimal(34)
"""Formaldehyde solution holds 34 to 37 % w/v: British Pharmacopoeia, Appendix I A, year not stated (reprint)."""
STRONGEST_FORMALDEHYDE = Decimal(40)
"""The strongest solution that a source of this formulary dosed: Dias, Santos, Fujimoto, Anais da Academia Brasileira de
Ciencias 84:1001-1007, 2012 (40 %)."""

_STRENGTH = re.compile(r"(\d+(?:\.\d+)?) ?%(.*)")
_GRAVITY = re.compile(r"(?<!\w)(?:SG|specific gravity) ?(\d+(?:\.\d+)?)(?![\w.])", re.IGNORECASE)
LIGHTEST, HEAVIEST = Decimal("0.5"), Decimal(3)
"""What a product's specific gravity is taken for no slip within; our choice, no source."""
_BY = {
    "w/v": ("w/v", "wv", "(w/v)", "by volume", "weight in volume"),
    "w/w": ("w/w", "ww", "(w/w)", "by weight", "weight in weight"),
}
_NAMES = {
    "cu": "Cu", "cu2+": "Cu", "copper": "Cu", "copper metal": "Cu",
    "cuso45h2o": "copper sulfate pentahydrate", "pentahydrate": "copper sulfate pentahydrate",
    "copper sulphate pentahydrate": "copper sulfate pentahydrate",
    "ch2o": FORMALDEHYDE, "hcho": FORMALDEHYDE, "formol": FORMALIN, "formaldehyde solution": FORMALIN,
    "h2o2": "hydrogen peroxide", "nacl": "sodium chloride", "kmno4": "potassium permanganate",
}  # fmt: skip
"""What people write for what a percentage counts; "copper sulfate" alone says nothing of its water of crystal."""
_TWOFOLD = {"cuso4", "copper sulfate", "copper sulphate", "bluestone"}


SALT_OR_BASE = {
    "chloroquine": "diphosphate",
    "emamectin-benzoate": "benzoate",
    "levamisole": "hydrochloride",
    "oxytetracycline": "hydrochloride",
}
"""Drugs of which the sources do not say, or not in every row, whether their levels count a salt or the base: see the
``basis`` of each entry. A label has to say what its strength counts; it is then taken as it stands."""


def read_strength(text: str, substance: Substance) -> Form:
    """A typed strength: "98 %", "3 % w/v", "37 % formaldehyde", "99 % as CuSO4.5H2O", "37 % w/w SG 1.08".

    Above 0 to 100 %. Raises Refused for what does not read, reads two ways, or counts something else than the entry.
    """
    plain = " ".join(text.replace("·", ".").replace("*", ".").split())
    found = _STRENGTH.fullmatch(plain)
    if found is None:
        raise Refused(
            f"--strength {text!r} does not read: write how much is in the product, as its label says it, such as "
            f'"{_example(substance)}".'
        )
    percent = Decimal(found[1])
    if not 0 < percent <= 100:
        raise Refused(f"--strength {text!r} is no share of a product: write more than 0 and at most 100 %.")
    by, rest = _by(found[2])
    gravity = _GRAVITY.search(rest)
    if gravity is not None:
        # g in 100 mL = % w/w x specific gravity (algebra; under 0.3 % off for water at another temperature than 4 °C).
        if by == "w/v" or not LIGHTEST <= Decimal(gravity[1]) <= HEAVIEST:
            raise Refused(
                f"--strength {text!r}: a specific gravity ({show(LIGHTEST)} to {show(HEAVIEST)}) turns a share by "
                'weight into grams in 100 mL; write it so: "37 % w/w SG 1.08".'
            )
        rest = f"{rest[: gravity.start()]} {rest[gravity.end() :]}"
        words = f"{show(percent)} %{found[2]}".strip()
        return Form(percent * Decimal(gravity[1]), "w/v", _counted(rest, text, substance), words)
    return Form(percent, by, _counted(rest, text, substance), f"{show(percent)} %{found[2]}".strip())


def _by(rest: str) -> tuple[str, str]:
    """How the percentage is meant ("w/v", "w/w" or "") and what is left of the words."""
    for by, spellings in _BY.items():
        for spelling in spellings:
            if re.search(rf"(?<!\w){re.escape(spelling)}(?!\w)", rest, re.IGNORECASE):
                return by, re.sub(rf"(?<!\w){re.escape(spelling)}(?!\w)", "", rest, flags=re.IGNORECASE)
    return "", rest


def _counted(rest: str, text: str, substance: Substance) -> str:
    """What the percentage counts: "Cu", a salt's name, "formaldehyde", "formalin", or "" for the substance itself."""
    words = re.sub(r"^(as|of|active)\b", "", " ".join(rest.split()), flags=re.IGNORECASE).strip(" ,").casefold()
    bases = _bases(substance)
    if words in _TWOFOLD and substance.salts:
        raise Refused(
            f"--strength {text!r}: copper sulfate with its water of crystal (write CuSO4.5H2O) or copper itself (write "
            "Cu)? The one is counted four times higher than the other, so say which."
        )
    if "chelat" in words or "citrat" in words:
        raise Refused(
            f"--strength {text!r}: chelated copper is on another scale and by product; only its label doses it, and it "
            "is never converted."
        )
    if salt := SALT_OR_BASE.get(substance.id):
        said = words.removeprefix(substance.name.casefold()).strip()
        if said in (salt, "base") or (said, salt) == ("hcl", "hydrochloride"):
            return "base" if said == "base" else salt
    name = _NAMES.get(words.replace(".", ""), _NAMES.get(words, words))
    own = {substance.name.casefold(), substance.id, *(also.casefold() for also in substance.also)}
    if not name or name in bases:
        return name
    if not bases and (name in own or name.replace(" ", "-") in own):
        return ""
    known = " or ".join(bases) if bases else substance.name
    raise Refused(f"--strength {text!r}: {words!r} is not what {substance.name} is counted by; write {known}.")


def _bases(substance: Substance) -> tuple[str, ...]:
    """What a strength of it may count, where it matters."""
    if substance.salts:
        return ("Cu", *(salt.name for salt in substance.salts))
    return (FORMALDEHYDE, FORMALIN) if substance.solution else ()


def _example(substance: Substance) -> str:
    if substance.salts:
        return "99 % as CuSO4.5H2O"
    if substance.solution:
        return f"{show(substance.solution.value)} % {FORMALDEHYDE}"
    return "3 % w/v" if substance.liquid else "98 %"


# --- What it is measured as ------------------------------------------------------------------------------------------


class Measure(NamedTuple):
    """``holds`` is what one ``unit`` ("g" of a solid, "mL" of a liquid, "tablets") of the product puts into the
    ledger: mg, uL of formalin, mg of copper. ``of`` names the product, ``how`` says where ``holds`` comes from ("":
    pure), ``own_step`` is the product's."""

    unit: str
    holds: Decimal
    of: str
    how: str = ""
    own_step: Decimal | None = None

    def step(self, setting: Setting) -> Decimal:
        """The smallest amount that can be measured, in ``unit``; the product's own where it has one."""
        if self.own_step is not None:
            return self.own_step
        return setting.syringe_step_ml if self.unit == "mL" else setting.scale_step_grams


def measure_of(substance: Substance, product: Form | None) -> Measure:
    """How a product is measured. Its strength fits the entry (:func:`strength_hold`); None counts as pure.

    Formalin: the solution as sold counts as 100 % (IFAS VM061), so 1 mL is 1000 uL; one that is stronger than the
    entry's counts for more. w/v: 1 % is 10 mg in 1 mL. The share is rounded up: the dose becomes smaller.
    """
    if product is None:
        unit = "mL" if substance.solution else "g"
        return Measure(unit, Decimal(1000), f"{substance.name}, counted as pure (100 %)")
    measure = _measure_of_product(substance, product)
    whole = Decimal(1) if measure.unit == "tablets" else None
    return measure._replace(own_step=product.step or whole)


def _measure_of_product(substance: Substance, product: Form) -> Measure:
    of = f"{substance.name}, {product.words} ({product.bottle or 'as typed'})"
    if product.each_mg is not None:
        return Measure("tablets", product.each_mg, of, f"{show(product.each_mg)} mg in each tablet")
    if substance.solution is not None:
        stronger = product.percent / substance.solution.value if product.of == FORMALDEHYDE else Decimal(1)
        if stronger <= 1:
            return Measure("mL", Decimal(1000), of)
        holds = (1000 * stronger).quantize(Decimal("0.001"), rounding=ROUND_CEILING)
        how = f"stronger than {show(substance.solution.value)} %, so 1 mL counts as {show(holds)} uL"
        return Measure("mL", holds, of, how)
    if product.by == "w/v":
        holds = product.percent * 10
        return Measure("mL", holds, of, f"{show(product.percent)} % w/v: {show(holds)} mg in 1 mL")
    holds = 10 * product.percent
    for salt in substance.salts:
        if product.of == salt.name:
            holds = holds * salt.holds.value / 100
    unit = " of copper (Cu)" if substance.salts else ""
    return Measure("g", holds, of, f"{show(holds)} mg{unit} in 1 g" if holds != 1000 else "")


def measured_by(substance: Substance, setting: Setting) -> Measure:
    """What a dose of this setting is measured out of: its stock solution, else its product. Its strength fits."""
    if setting.stock is None:
        return measure_of(substance, setting.product)
    return stock_measure(substance, setting.product, setting.stock)


def stock_measure(substance: Substance, product: Form | None, stock: Stock) -> Measure:
    """A stock solution made out of a product that is weighed, its strength counted (needs F21).

    mg in 1 mL = grams weighed x what 1 g of the product holds / mL made up to (algebra; calculation notes, a.3), to
    nine digits, rounded up: the dose becomes smaller.
    """
    powder = measure_of(substance, product)
    millilitres = stock.litres * 1000
    holds = Decimal(show_significant(stock.grams * powder.holds / millilitres, 9, up=True))
    of_what = (
        "substance counted as pure, 100 %" if product is None else f"{product.words} ({product.bottle or 'as typed'})"
    )
    unit = substance.ledger_unit.partition("/")[0] + (" of copper (Cu)" if substance.salts else "")
    strength = f"{show_significant(holds, 6)} {unit}/mL"
    return Measure(
        "mL",
        holds,
        f"a stock solution of {substance.name}, {strength} ({of_what})",
        f"{show(stock.grams)} g made up to {show(millilitres)} mL: {show_significant(holds, 6)} {unit} in 1 mL",
    )


def weighing_step(setting: Setting) -> Decimal:
    """The step, g, with which a powder is weighed for a stock solution: its product's own, else the scale's."""
    own = setting.product.step if setting.product is not None else None
    return own or setting.scale_step_grams


def stock_error(stock: Stock, setting: Setting, millilitres: Decimal) -> Decimal:
    """How far a dose out of a stock solution may be off by what it was measured with, as a share of it.

    Half a step of the scale, the plus-minus of the volume made up to and half a step of the syringe, each as a share,
    taken together as the root of the sum of their squares (calculation notes, section l). ``millilitres`` are drawn,
    more than nothing.
    """
    made_up = stock.litres * MADE_UP_SHARE if stock.plus_minus_litres is None else stock.plus_minus_litres
    shares = (
        weighing_step(setting) / 2 / stock.grams,
        made_up / stock.litres,
        setting.syringe_step_ml / 2 / millilitres,
    )
    return sum((share**2 for share in shares), Decimal(0)).sqrt()


TWENTY = 20
"""A dose is to be at least so many steps of what measures it (rule C4; calculation notes, section l)."""


def fine_enough(exact: Decimal, measure: Measure) -> Decimal:
    """The coarsest step, a power of ten in the measure's unit, of which at least twenty make the dose. ``exact`` is the
    dose in the ledger's unit x litres, above nothing."""
    return Decimal(1).scaleb((exact / (measure.holds * TWENTY)).adjusted())


MOST_PARTS, PART_MINUTES = 3, 10
"""In how many parts a dose for several vessels is given, and how long after each other. Our choice, no source."""


def parts_of(amount: Decimal, step: Decimal) -> tuple[Decimal, ...]:
    """A dose in at most three parts as equal as the step lets them be, the smaller first: each at least one step, and
    their sum exactly the dose (rule C10). ``amount`` is a whole number of steps, above nothing."""
    steps = int(Fraction(amount) / Fraction(step))
    number = max(min(MOST_PARTS, steps), 1)
    least, more = divmod(steps, number)
    if number == 1:
        return (amount,)
    return tuple((least + (part >= number - more)) * step for part in range(number))


def given_in_ledger(substance: Substance, product: Form | None, given: Quantity, stock: Stock | None = None) -> Decimal:
    """What an amount that was really given puts into the ledger, in mg, uL of formalin or mg of copper.

    ``stock`` is the stock solution it was drawn out of; None: it was of the product itself. Raises Refused where the
    strength is not said and matters, and for a weight of what is drawn in mL.
    """
    from quarantine.quantity import to

    hold = strength_hold(substance, None, product)
    if hold is not None:
        raise Refused(
            f"{hold.says[0].upper()}{hold.says[1:]}: {hold.remedy}. If nobody knows what was given: quarantine event "
            "unknown."
        )
    measure = measure_of(substance, product) if stock is None else stock_measure(substance, product, stock)
    if given.kind != UNITS[measure.unit].kind:
        raise Refused(f"{given} of {measure.of}: that is measured in {measure.unit}; say it so.")
    return to(given, measure.unit) * measure.holds


# --- What it depends on ----------------------------------------------------------------------------------------------


def needs_hold(substance: Substance, regimen: Regimen, setting: Setting) -> Hold | None:
    """The first of what the regimen depends on beside litres and level that is not known, or not so."""
    return (
        _water_rules_hold(substance, regimen, setting)
        or warmest_hold(substance, regimen, setting)
        or _species_known_hold(substance, regimen, setting)
        or _kit_hold(substance, regimen, setting)
        or strength_hold(substance, regimen, setting.product)
        or basis_hold(substance, regimen, setting.product)
        or weak_hold(substance, regimen, setting.product)
    )


def strength_hold(substance: Substance, regimen: Regimen | None, product: Form | None) -> Hold | None:
    """Form and strength of the product, where they are needed, and what they cannot be. ``regimen`` None: any."""
    rows = substance.regimens if regimen is None else (regimen,)
    needed = bool(substance.salts) or any("strength of the product" in row.needs for row in rows)
    says, remedy = "", f'say what the label says: --strength "{_example(substance)}"'
    if product is None:
        remedy = (
            f'say what the label says, with dose, done or bath start: --strength "{_example(substance)}"; or record '
            "the bottle once: quarantine stock add"
        )
        says = f"the strength of the {substance.name} product is not known" if needed else ""
        if says and substance.solution:
            says = f"{says}: formaldehyde and formalin on a label differ 2.7-fold"
        elif says and substance.salts:
            says = f"{says}: copper and its sulfate differ fourfold"
    elif substance.salts:
        says = _salt_wrong(substance, product)
    elif substance.solution:
        says, remedy = _solution_wrong(substance, product, remedy)
    elif substance.liquid and product.by != "w/v":
        says = (
            f"{product.words} does not say how much is in 1 mL: no density of {substance.name} solutions is on record, "
            "so only % w/v is computed with"
        )
        remedy = 'read the label for grams in 100 mL (% w/v) and say that: --strength "3 % w/v"'
    elif needed and not product.by:
        says = f"{product.words} of {substance.name} may be by weight (a powder) or grams in 100 mL (a liquid)"
        remedy = 'say which: --strength "50 % w/w" is weighed in g, --strength "50 % w/v" is drawn in mL'
    if not says:
        return None
    cite = cited(substance, regimen.references) if regimen else cited(substance, substance.basis[0].reference)
    return Hold("strength of the product", says, None, None, cite or OUR_CHOICE, remedy)


WEAK_PERCENT, FAINT_PERCENT = Decimal(20), Decimal(10)
"""A powder of so little of its substance, %, is asked about once, and said again with each dose out of it: 9.8 typed
for 98 weighs out ten times the dose. Our choice, no source; premixes of a few per cent are sold."""


def powder_share(substance: Substance, product: Form) -> Decimal | None:
    """How much of a product that is weighed is the substance as its levels count it, in %: of copper its pentahydrate.

    None for what is drawn in mL or counted, and where the row asks for a strength because none is sold pure.
    """
    asked = any("strength of the product" in row.needs for row in substance.regimens)
    if asked or substance.liquid or substance.solution or product.each_mg is not None or product.by == "w/v":
        return None
    if not substance.salts:
        return product.percent
    holds = {"Cu": Decimal(100), **{salt.name: salt.holds.value for salt in substance.salts}}
    if product.of not in holds:
        return None
    return product.percent * holds[product.of] / substance.salts[0].holds.value


def weak_says(substance: Substance, product: Form) -> str:
    """What a strength that looks like a slip of the decimal point is asked; "" for any other."""
    from quarantine.water.salt import PURITY_LEAST

    share = powder_share(substance, product)
    if share is None:
        return ""
    if "salt" in substance.classes:
        says = f"{product.words} is no salt for fish: the least purity that is computed with is {PURITY_LEAST} %"
        return says if share < PURITY_LEAST else ""
    if share > WEAK_PERCENT:
        return ""
    times = show_significant(100 / share, 2)
    return (
        f"of a powder of {product.words} {times} times the weight of pure {substance.name} would be measured out, and "
        "a strength ten times too low is a dose ten times too high"
    )


def weak_hold(substance: Substance, regimen: Regimen, product: Form | None) -> Hold | None:
    """A typed strength that looks like a slip of the decimal point, until somebody says that the label says so (F22);
    salt of less than half is never computed with."""
    salt = "salt" in substance.classes
    says = "" if product is None or (product.sure and not salt) else weak_says(substance, product)
    if not says:
        return None
    remedy = "read the label again: a slip of the decimal point?"
    remedy += (
        " Use salt that is sold as nearly pure"
        if salt
        else " If it says so, say --really beside --strength, or record the product once: quarantine stock add"
    )
    return Hold("strength of the product", says, None, None, OUR_CHOICE, remedy)


def basis_hold(substance: Substance, regimen: Regimen, product: Form | None) -> Hold | None:
    """A drug that is sold as a salt: what its label counts has to be said, though the sources do not (levamisole)."""
    salt = SALT_OR_BASE.get(substance.id)
    if product is None or salt is None or product.of:
        return None
    share = "100 %" if product.each_mg is not None else f"{show(product.percent)} %"
    return Hold(
        "strength of the product",
        f"{product.words} of {substance.name} may count the {salt} or the base, and the sources do not say which they "
        "mean",
        None,
        None,
        cited(substance, regimen.references) or OUR_CHOICE,
        f'say what the label counts: --strength "{share} as {salt}" or --strength "{share} as base" (of tablets with '
        "--product NAME); where it does not say, ask a veterinarian",
    )


def basis_words(substance: Substance, product: Form | None) -> tuple[str, ...]:
    """What a keeper confirms of the label: who named no product of a drug that is sold as a salt, that it was read as
    :func:`basis_hold` asks; of a powder that is a tenth of its substance or less, how much more of it that makes."""
    salt = SALT_OR_BASE.get(substance.id)
    share = None if product is None else powder_share(substance, product)
    if product is not None and share is not None and share <= FAINT_PERCENT:
        times = show_significant(100 / share, 2)
        return (f"The label says {product.words}: {times} times the weight of pure {substance.name} is measured out",)
    if salt is None or product is not None:
        return ()
    return (
        f"The label says whether it counts the {salt} or the base of {substance.name.casefold()}, and it is all of "
        f'what is weighed; else say it first: --strength "98 % as {salt}"',
    )


def _salt_wrong(substance: Substance, product: Form) -> str:
    """What a copper salt's strength cannot be. More copper than the anhydrous sulfate holds is no copper sulfate."""
    from quarantine.water.copper import ANHYDROUS_COPPER_PERCENT

    if not product.of:
        return f"{product.words} does not say what it counts: copper (Cu) or its pentahydrate, a fourfold difference"
    if product.by == "w/v":
        return "a liquid copper product may be chelated, which is on another scale: only its label doses it"
    if product.of == "Cu" and product.percent > ANHYDROUS_COPPER_PERCENT:
        return f"{product.words} is more copper than any copper sulfate holds; the pentahydrate may be what is counted"
    return ""


def _solution_wrong(substance: Substance, product: Form, remedy: str) -> tuple[str, str]:
    """What the strength of formalin cannot be; doses are of a solution of about 37 % formaldehyde."""
    if not product.of:
        says = f"{product.words} does not say of what: formaldehyde or formalin, a 2.7-fold difference"
        return says, f'{remedy}; formalin as sold is --strength "100 % formalin"'
    if product.of == FORMALIN and product.percent != 100:
        share = show_significant(product.percent * Decimal("0.37"), 3)
        says = f"{product.words} is a dilution (about {share} % formaldehyde), and doses are of the solution as sold"
        return says, "use the undiluted solution"
    if product.of == FORMALDEHYDE and not WEAKEST_FORMALDEHYDE <= product.percent <= STRONGEST_FORMALDEHYDE:
        says = (
            f"doses are of a solution of about {show(substance.solution.value if substance.solution else 37)} % "
            f"formaldehyde ({show(WEAKEST_FORMALDEHYDE)} to {show(STRONGEST_FORMALDEHYDE)} %), not of {product.words}"
        )
        return says, "use that solution; never weigh paraformaldehyde"
    return "", remedy


def _species_known_hold(substance: Substance, regimen: Regimen, setting: Setting) -> Hold | None:
    """Where the row hangs on the animals, somebody has to have said what they are."""
    if "species" not in regimen.needs or setting.species:
        return None
    return Hold(
        "species",
        "which animals are in this water is not on record, and how much they bear depends on it",
        None,
        None,
        cited(substance, regimen.references) or OUR_CHOICE,
        "start the batch with its species (quarantine batch start)",
    )


def _water_rules_hold(substance: Substance, regimen: Regimen, setting: Setting) -> Hold | None:
    """How much by what was read of the water: unknown or outside what the source gives is refused (rules C2, C17)."""
    lows: dict[str, Decimal] = {}
    for by in dict.fromkeys(rule.by for rule in regimen.water_rules):
        title, unit = PARAMETERS[by].title, PARAMETERS[by].unit
        span, cite = water_reading(setting, by), _rule_cite(substance, regimen, by)
        if span is None:
            return Hold(
                "C17" if substance.salts else "by the water",
                f"{title} of the water is not known (a reading of the last 24 h, after the last change of water), and "
                f"{substance.name} kills where it is low",
                None,
                None,
                cite,
                f"read it first: quarantine reading TANK {by}={f'...{unit}' if unit else '...'}",
            )
        lows[by] = max(span.low, Decimal(0))
        one = regimen._replace(water_rules=tuple(rule for rule in regimen.water_rules if rule.by == by))
        if any(by_water(one, use, {by: lows[by]}) is None for use in {rule.use for rule in one.water_rules}):
            figure = min(rule.start.value for rule in one.water_rules)
            ends = [rule.end.value for rule in one.water_rules if rule.end is not None]
            side = f"under {show(figure)}" if lows[by] < figure else f"over {show(max(ends))}"
            limit = figure if lows[by] < figure else max(ends)
            return Hold(
                "C17" if substance.salts else "by the water",
                f"{title} may be {show(lows[by])}{f' {unit}' if unit else ''} (the low end of the kit's step), and "
                f"{substance.name} is not used {side}{f' {unit}' if unit else ''}",
                show(limit),
                unit or "pH",
                cite,
                "choose another substance, or ask a veterinarian; the water is not changed for a medicine on one day",
            )
    return None


def _rule_cite(substance: Substance, regimen: Regimen, by: str) -> str:
    keys = next((rule.figure.reference for rule in regimen.water_rules if rule.by == by), "")
    return cited(substance, keys) or OUR_CHOICE


def rule_lines(regimen: Regimen, setting: Setting) -> tuple[str, ...]:
    """What each reading of the water gave, for the working."""
    lines = []
    for by in dict.fromkeys(rule.by for rule in regimen.water_rules):
        span = water_reading(setting, by)
        if span is None:
            continue
        low = max(span.low, Decimal(0))
        one = regimen._replace(water_rules=tuple(rule for rule in regimen.water_rules if rule.by == by))
        unit = f" {PARAMETERS[by].unit}" if PARAMETERS[by].unit else ""
        offer, top = by_water(one, "offer", {by: low}), by_water(one, "ceiling", {by: low})
        says = [f"offers {show(offer.value)} {offer.unit}"] if offer else []
        says += [f"ceiling {show(top.value)} {top.unit}"] if top else []
        column = ", by the column for soft water, the lower one" if any(r.water for r in one.water_rules) else ""
        lines.append(f"{PARAMETERS[by].title} at least {show(low)}{unit}{column}: {', '.join(says)}")
    return tuple(lines)


def goes_by_warmest(regimen: Regimen) -> bool:
    """Whether the row is one of several that the warmest water of the day chooses from (rule C14)."""
    return any(ceiling.warmest for ceiling in regimen.ceilings)


def judged_by_needs(regimen: Regimen, what: str) -> bool:
    """Whether :func:`needs_hold` judges this limit of the water itself: by its rules, or by the warmest of the day."""
    return any(rule.by == what for rule in regimen.water_rules) or (what == "temperature" and goes_by_warmest(regimen))


def warmest_hold(substance: Substance, regimen: Regimen, setting: Setting) -> Hold | None:
    """Rule C14: which of several rows holds is said by the highest temperature of the day, the kit's step counted in:
    water that may be over 21 °C takes the row for over 21 °C, and the rows never overlap."""
    limit = next((x for x in regimen.limits if x.what == "temperature" and x.kind == "limit"), None)
    if not goes_by_warmest(regimen):
        return None
    warmest = warmest_of_day(setting)
    if warmest is None:
        return Hold(
            "C14",
            "the temperature of the water is not known (a reading of the last 12 h)",
            None,
            "°C",
            cited(substance, limit.note.reference) if limit else cited(substance, regimen.references),
            "read it: quarantine reading TANK temp=...C",
        )
    if limit is None or _fits(limit.low and limit.low.value, limit.high and limit.high.value, warmest):
        return None
    over = limit.high is not None and warmest > limit.high.value
    bound = limit.high if over else limit.low
    assert bound is not None
    heater = "" if setting.set_point is None else " and of what the heater is set to"
    return Hold(
        "C14",
        f"the warmest of the last 24 h{heater} may be {show_significant(warmest, 4)} °C, and {regimen.id} is for "
        f"{'at most' if over else 'over'} {show(bound.value)} °C",
        show(bound.value),
        "°C",
        cited(substance, limit.note.reference) or OUR_CHOICE,
        _other_row(substance, warmest),
    )


def _fits(low: Decimal | None, high: Decimal | None, warmest: Decimal) -> bool:
    return (low is None or warmest > low) and (high is None or warmest <= high)


def _other_row(substance: Substance, warmest: Decimal) -> str:
    for row in substance.regimens:
        limits = [x for x in row.limits if x.what == "temperature" and x.kind == "limit"]
        low, high = (limits[0].low, limits[0].high) if limits else (None, None)
        if row.tier == "ready" and limits and _fits(low and low.value, high and high.value, warmest):
            return f"use {row.id}: --regimen {row.id}"
    return "no row is for water so warm: choose another substance, or cool it slowly and ask again another day"


# --- A kit that can hold the band (rule C13) -------------------------------------------------------------------------

FREE_FORMS = ("free", "Cu")
"""The forms of a copper reading that count: free (ionic) copper. Total and chelated copper are on another scale."""


def kit_reading(substance: Substance, setting: Setting) -> Span | None:
    """The last reading of the substance itself in 24 h, by a kit of the right form, after its last dose."""
    facts = setting.evidence.readings if setting.evidence else setting.readings
    mine = [
        f
        for f in facts
        if f.at <= setting.now and f.data["parameter"] == substance.id and f.data.get("form") in FREE_FORMS
    ]
    last_dose = max(
        (f.at for f in setting.doses if f.data.get("substance") == substance.id and f.at <= setting.now), default=None
    )
    fresh = [f for f in mine if (last_dose is None or f.at > last_dose) and since_altered(setting, f.at)]
    if not fresh:
        return None
    return last_read(setting._replace(evidence=None, readings=tuple(fresh)), substance.id)


def tops_up(substance: Substance, regimen: Regimen) -> bool:
    """Whether a dose is sized by a reading of what is there already: salt in the tank, copper held by testing."""
    if regimen.own_vessel:
        return False
    return "salt" in substance.classes or ("a test kit" in regimen.needs and "top up to a reading" in regimen.modes)


def present_span(substance: Substance, regimen: Regimen, setting: Setting) -> tuple[Decimal, Decimal] | None:
    """What a reading says is there already, low and high, in the ledger's unit; None: nothing, or no reading."""
    if "salt" in substance.classes:
        span = salinity_now(setting)
        return (max(span.low, Decimal(0)) * 1000, span.high * 1000) if span else None
    if tops_up(substance, regimen):
        span = kit_reading(substance, setting)
        return (max(span.low, Decimal(0)), span.high) if span else None
    return None


def there_span(substance: Substance, regimen: Regimen, setting: Setting) -> tuple[Decimal, Decimal]:
    """What a dose counts as being there already, low and high, in the ledger's unit.

    Beside :func:`present_span` half a step of the kit that a dose has to be read with: 0.00 in steps of 0.01 may be
    0.005 mg/L, and the dose goes on top of it. What the kit found for certain is left to the ledger (rule C1).
    """
    span = present_span(substance, regimen, setting)
    if span is not None or "a test kit" not in regimen.needs or regimen.own_vessel:
        return span or (Decimal(0), Decimal(0))
    read = kit_reading(substance, setting)
    return (Decimal(0), read.high if read is not None and read.low <= 0 else Decimal(0))


def _kit_hold(substance: Substance, regimen: Regimen, setting: Setting) -> Hold | None:
    if "a test kit" not in regimen.needs:
        return None
    span = kit_reading(substance, setting)
    cite = cited(substance, regimen.references) or OUR_CHOICE
    if span is None:
        return Hold(
            "C13",
            f"{substance.name} in the water was not read in the last 24 h (with a kit for free copper, after the last "
            "dose and change of water), and too little does not work and a little more kills",
            None,
            None,
            cite,
            "read it, though none was dosed yet: quarantine reading TANK copper_free=...mg/L; a kit for total or "
            "chelated copper is no answer",
        )
    step = (span.high - span.low) - (span.most - span.least)
    target = regimen.target
    band = None
    if target is not None and target.high is not None:
        band = in_ledger(substance, Quantity(target.high.value - target.low.value, target.low.unit))
        words = f"the band of {regimen.id} is {show(band)} {substance.ledger_unit} wide"
    else:
        offer = offered(regimen, setting)
        if offer is not None:
            band = in_ledger(substance, offer)
            words = f"the whole dose is {show_significant(band, 3)} {substance.ledger_unit}"
    if band is None or step <= band:
        return None
    return Hold(
        "C13",
        f"the kit reads in steps of {show(step)} mg/L, and {words}: it cannot hold it",
        show(step),
        "mg/L",
        cite,
        f"use a kit with steps of {show_significant(band, 3, up=False)} mg/L or finer; without one choose another way",
    )


# --- Oxygen (formalin in the water for long) -------------------------------------------------------------------------

OXYGEN_LEAST = Decimal(5)
"""mg/L of oxygen that must stay: Merck/MSD Veterinary Manual, tables of 2014 and 2019 (formalin, ponds); rule C8."""
AERATION = "Strong aeration is running, and goes on as long as this is in the water"


def oxygen_hold(
    substance: Substance, regimen: Regimen, setting: Setting, gives_high: Decimal, before: tuple[Condition, ...]
) -> Hold | None:
    """What a long bath takes from the oxygen that the water can hold at its warmest; under 5 mg/L it is refused.

    ``gives_high`` is what this dose may give, in the ledger's unit; what is there already takes oxygen too.
    """
    if substance.takes_oxygen is None or regimen.route != "prolonged":
        return None
    from quarantine.water.formalin import DENSITY_MG_PER_UL
    from quarantine.water.oxygen import saturation_mg_per_l

    cite = cited(substance, substance.takes_oxygen.reference)
    warmest = warmest_of_day(setting)
    if warmest is None:
        return Hold(
            "C14",
            "the temperature of the water is not known (a reading of the last 12 h), and so is not how much oxygen it "
            "can hold",
            None,
            None,
            cite,
            "read it: quarantine reading TANK temp=...C",
        )
    there = Decimal(str(setting.levels.get(substance.id, Level(0.0, 0.0)).high or 0.0))
    per_unit = (DENSITY_MG_PER_UL if substance.ledger_unit == "uL/L" else 1) * substance.takes_oxygen.value / 100
    taken = (there + gives_high) * per_unit
    holds = decimal_down(saturation_mg_per_l(float(warmest), float(salinity_at_most(setting))), 4)
    left = holds - taken
    if left < OXYGEN_LEAST:
        room = max((holds - OXYGEN_LEAST) / per_unit - there, Decimal(0))
        return Hold(
            "oxygen",
            f"at {show_significant(warmest, 3)} °C this water holds at most {show_significant(holds, 3, up=False)} "
            f"mg/L of oxygen, and this takes up to {show_significant(taken, 3, up=True)} mg/L of it within 30 to 36 h: "
            f"under {show(OXYGEN_LEAST)} mg/L could be left",
            show(OXYGEN_LEAST),
            "mg/L",
            cite,
            f"at this temperature at most {show_significant(room, 3, up=False)} {substance.ledger_unit} would leave "
            "enough; choose a timed bath, or cooler water reached slowly",
        )
    aerated = any("strong aeration" in str(words).casefold() for c in before for words in (c.value, c.or_word))
    if not aerated and last_read(setting, "oxygen", 12) is None:
        return Hold(
            "oxygen",
            "oxygen in the water is not known (a reading of the last 12 h), and nobody said that strong aeration runs",
            None,
            None,
            cite,
            "read it: quarantine reading TANK oxygen=...mg/L",
        )
    return None


def salinity_at_most(setting: Setting) -> Decimal:
    """The salinity that oxygen is judged at, g/L: read, or dosed; where nobody knows, fresh water holds none and other
    water the 40 g/L to which the formula reaches."""
    span = last_read(setting, "salinity")
    dosed = Decimal(str(setting.levels.get("sodium-chloride", Level(0.0, 0.0)).high or 0.0)) / 1000
    unread = Decimal(0) if setting.kind == "fresh" else Decimal(40)
    return min(max(span.high if span else unread, dosed), Decimal(40))


def oxygen_line(substance: Substance, regimen: Regimen, gives_high: Decimal) -> tuple[str, ...]:
    """What the dose takes from the oxygen, for the working."""
    if substance.takes_oxygen is None or regimen.route != "prolonged":
        return ()
    from quarantine.water.formalin import DENSITY_MG_PER_UL

    per_unit = (DENSITY_MG_PER_UL if substance.ledger_unit == "uL/L" else 1) * substance.takes_oxygen.value / 100
    return (f"oxygen: it takes up to {show_significant(gives_high * per_unit, 3, up=True)} mg/L within 30 to 36 h",)


def floor_amount(exact: Decimal, measure: Measure, step: Decimal) -> tuple[Decimal, Decimal]:
    """Rule C4: what is measured, in the measure's unit, rounded down to its step; and what it puts into the ledger."""
    steps = Decimal(Fraction(exact) // (Fraction(step) * Fraction(measure.holds)))
    return steps * step, steps * step * measure.holds
