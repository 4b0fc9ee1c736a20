"""Amounts with units: read what a keeper types, convert exactly, round and show safely.

Every factor is exact (NIST, Guide for the Use of the International System of Units, Special
Publication 811, 2008, appendix B; NIST, Handbook 44, appendix C, General Tables of Units of Measurement):
all follow from 1 in = 25.4 mm, 1 lb = 453.59237 g, 1 US gallon = 231 in3, 1 imperial gallon = 4.54609 L.
A bare number, "gal", a spoon or a drop is refused with a sentence: a wrong number kills animals.
"""

from __future__ import annotations

import re
from decimal import Context, Decimal
from fractions import Fraction
from typing import NamedTuple, NoReturn

from quarantine.failures import Refused


class Unit(NamedTuple):
    """One unit: ``(value - zero) * factor`` is the amount in the base unit of its kind, exactly.

    Bases: length cm, volume L, mass g, concentration mg/L, volume_ratio uL/L, conductivity uS/cm, temperature °C,
    duration h, tablets.
    """

    symbol: str
    kind: str
    factor: Fraction
    zero: Fraction = Fraction(0)


_INCH = Fraction(254, 100)  # cm, NIST SP 811 (2008) appendix B
_POUND = Fraction(45359237, 100000)  # g, NIST SP 811 (2008) appendix B
_US_GALLON = 231 * _INCH**3 / 1000  # L, NIST Handbook 44 appendix C: 231 in3 = 3.785411784 L
_IMPERIAL_GALLON = Fraction(454609, 100000)  # L, NIST SP 811 (2008) appendix B

UNITS: dict[str, Unit] = {
    unit.symbol: unit
    for unit in (
        Unit("mm", "length", Fraction(1, 10)),
        Unit("cm", "length", Fraction(1)),
        Unit("m", "length", Fraction(100)),
        Unit("in", "length", _INCH),
        Unit("ft", "length", 12 * _INCH),
        Unit("uL", "volume", Fraction(1, 10**6)),
        Unit("mL", "volume", Fraction(1, 1000)),
        Unit("L", "volume", Fraction(1)),
        Unit("m3", "volume", Fraction(1000)),
        Unit("cm3", "volume", Fraction(1, 1000)),
        Unit("in3", "volume", _INCH**3 / 1000),
        Unit("ft3", "volume", (12 * _INCH) ** 3 / 1000),
        Unit("USgal", "volume", _US_GALLON),
        Unit("impgal", "volume", _IMPERIAL_GALLON),
        Unit("USfloz", "volume", _US_GALLON / 128),
        Unit("impfloz", "volume", _IMPERIAL_GALLON / 160),
        Unit("ug", "mass", Fraction(1, 10**6)),
        Unit("mg", "mass", Fraction(1, 1000)),
        Unit("g", "mass", Fraction(1)),
        Unit("kg", "mass", Fraction(1000)),
        Unit("oz", "mass", _POUND / 16),
        Unit("lb", "mass", _POUND),
        Unit("grain", "mass", _POUND / 7000),
        Unit("ug/L", "concentration", Fraction(1, 1000)),
        Unit("mg/L", "concentration", Fraction(1)),
        Unit("g/L", "concentration", Fraction(1000)),
        Unit("% w/v", "concentration", Fraction(10000)),  # g in 100 mL
        Unit("uL/L", "volume_ratio", Fraction(1)),
        Unit("mL/L", "volume_ratio", Fraction(1000)),
        Unit("°C", "temperature", Fraction(1)),
        Unit("°F", "temperature", Fraction(5, 9), Fraction(32)),
        Unit("uS/cm", "conductivity", Fraction(1)),
        Unit("mS/cm", "conductivity", Fraction(1000)),
        Unit("s", "duration", Fraction(1, 3600)),
        Unit("min", "duration", Fraction(1, 60)),
        Unit("h", "duration", Fraction(1)),
        Unit("d", "duration", Fraction(24)),
        Unit("weeks", "duration", Fraction(168)),
        Unit("tablets", "tablets", Fraction(1)),  # of a product that says what is in one; never a mass
    )
}

# As typed, in lower case, without spaces and full stops; a symbol itself always reads.
_SPELLINGS: dict[str, str] = {
    "mm": "millimetre millimetres millimeter millimeters",
    "cm": "cms centimetre centimetres centimeter centimeters",
    "m": "metre metres meter meters",
    "in": "\" '' inch inches",
    "ft": "' foot feet",
    "uL": "microlitre microlitres microliter microliters",
    "mL": "mls millilitre millilitres milliliter milliliters",
    "L": "lt ltr ltrs litre litres liter liters",
    "m3": "m^3 cubicmetre cubicmetres cubicmeter cubicmeters",
    "cm3": "cm^3 cc ccm cubiccentimetre cubiccentimetres cubiccentimeter cubiccentimeters",
    "in3": "in^3 cuin cubicinch cubicinches",
    "ft3": "ft^3 cuft cubicfoot cubicfeet",
    "USgal": "usgals usgallon usgallons galus gal(us) gallonsus gallons(us)",
    "impgal": "impgals impgallon impgallons imperialgal imperialgallon imperialgallons ukgal ukgallon ukgallons",
    "USfloz": "usfluidounce usfluidounces",
    "impfloz": "impfluidounce impfluidounces imperialfloz imperialfluidounce imperialfluidounces ukfloz",
    "ug": "mcg microgram micrograms microgramme microgrammes",
    "mg": "mgs milligram milligrams milligramme milligrammes",
    "g": "gm gms gram grams gramme grammes",
    "kg": "kgs kilo kilos kilogram kilograms kilogramme kilogrammes",
    "oz": "ounce ounces ozav ozavdp ozwt oz(av) oz(avoirdupois) ozbyweight ounce(avoirdupois) ounces(avoirdupois)"
    " ouncebyweight ouncesbyweight avoirdupoisounce avoirdupoisounces",
    "lb": "lbs pound pounds",
    "grain": "grains",
    "ug/L": "mcg/l ug/litre ug/liter ugperl ugperlitre ugperliter",
    "mg/L": "mg/litre mg/liter mgperl mgperlitre mgperliter ppm",
    "g/L": "g/litre g/liter gperl gperlitre gperliter",
    # Salt is counted so by the sources: 0.15 lb in 10 US gallons is called 0.18 % (treatment notes, section 2, S29).
    "% w/v": "%wv %(w/v) percentw/v %salt percentsalt pctsalt",
    "uL/L": "ul/litre ul/liter ulperl ulperlitre ulperliter",
    "mL/L": "ml/litre ml/liter mlperl mlperlitre mlperliter",
    "°C": "c degc degreec degreesc celsius degreecelsius degreescelsius",
    "°F": "f degf degreef degreesf fahrenheit degreefahrenheit degreesfahrenheit",
    "uS/cm": "microsiemens/cm",
    "mS/cm": "millisiemens/cm",
    "s": "sec secs second seconds",
    "min": "mins minute minutes",
    "h": "hr hrs hour hours",
    "d": "day days",
    "weeks": "week wk wks",
    "tablets": "tablet tab tabs",
}
_BY_SPELLING: dict[str, str] = {
    spelling: symbol
    for symbol, others in _SPELLINGS.items()
    for spelling in (symbol.casefold().replace(" ", ""), *others.split())
}

_SPOONS = (
    "tsp tsps teaspoon teaspoons teaspoonful tbsp tbsps tablespoon tablespoons tablespoonful spoon spoons"
    " spoonful spoonfuls cup cups cupful capful capfuls scoop scoops pinch pinches"
)
_SPOON = (
    "is not a measure: 71 household teaspoons held 2.5 to 7.3 mL (International Journal of Clinical Practice"
    " 64:1185, 2010); measure with a syringe in mL or weigh in g"
)
_DROP = (
    "is not a measure: a dropper's drop of water weighs 45 to 55 mg (USP 32, chapter 1101) and other liquids"
    " differ more; measure with a syringe in mL"
)
_PIECES = "tablet tablets tab tabs capsule capsules sachet sachets packet packets envelope envelopes"
_PIECE = "says nothing of what is in it; multiply by the mg that the label says one holds, and write that in mg"
_UNREADABLE: dict[str, str] = {
    **dict.fromkeys(
        ("gal", "gals", "gallon", "gallons"),
        "could be a US gallon (3.785411784 L, write USgal) or an imperial gallon (4.54609 L, write impgal),"
        " and they differ by 20 %, which is an overdose; say which",
    ),
    **dict.fromkeys(
        ("floz", "fluidounce", "fluidounces"),
        "could be US (29.5735295625 mL, write USfloz) or imperial (28.4130625 mL, write impfloz); say which",
    ),
    **dict.fromkeys(
        ("pt", "pint", "pints", "qt", "quart", "quarts"),
        "differs between US and imperial measure; write it in mL or L",
    ),
    **dict.fromkeys(_SPOONS.split(), _SPOON),
    **dict.fromkeys(("drop", "drops", "gtt"), _DROP),
    **dict.fromkeys(_PIECES.split(), _PIECE),
    "gr": "could be a gram (write g) or a grain (0.06479891 g, write grain); say which",
    "°": "does not say Celsius or Fahrenheit; write °C or °F",
    **dict.fromkeys(("deg", "degree", "degrees"), "does not say Celsius or Fahrenheit; write °C or °F"),
    **dict.fromkeys(
        ("ppt", "‰", "permille"), "is read in more than one way; write g/L for what is dissolved in the water"
    ),
    **dict.fromkeys(
        ("%", "percent", "pct"),
        "does not say of what: write % w/v for grams in 100 mL (1 % w/v is 10 g/L); a % w/w needs the"
        " liquid's specific gravity to become one",
    ),
    **dict.fromkeys(
        ("%w/w", "%ww", "%(w/w)", "percentw/w"),
        "is by weight: multiply it by the liquid's specific gravity and write the result as % w/v",
    ),
    **dict.fromkeys(("ppb",), "is read in more than one way; write ug/L"),
}
# Capital M means a million: megalitres and megagrams are never meant, and never guessed at.
_MEGA = frozenset({"ml", "mg", "mm", "m", "m3", "m^3", "mg/l", "ml/l", "ms/cm"})

_KIND_NAMES: dict[str, str] = {
    "length": "a length",
    "volume": "a volume",
    "mass": "a mass",
    "concentration": "a concentration",
    "volume_ratio": "a volume of liquid in a volume of water",
    "conductivity": "a conductivity",
    "temperature": "a temperature",
    "duration": "a duration",
    "tablets": "a number of tablets",
}
_EXAMPLES = {
    "length": "60 cm",
    "volume": "54 L",
    "mass": "0.5 g",
    "concentration": "2 mg/L",
    "volume_ratio": "25 uL/L",
    "conductivity": "420 uS/cm",
    "temperature": "25 °C",
    "duration": "24 h",
    "tablets": "2 tablets",
}

_LETTERS = str.maketrans(
    {
        "µ": "u",
        "μ": "u",
        "³": "3",
        "º": "°",
        "˚": "°",
        "℃": "°C",
        "℉": "°F",
        "″": '"',
        "“": '"',
        "”": '"',
        "′": "'",
        "‘": "'",
        "’": "'",
        "⁄": "/",
        "−": "-",
        "–": "-",
        "½": " 1/2",
        "¼": " 1/4",
        "¾": " 3/4",
        "⅛": " 1/8",
        "⅜": " 3/8",
        "⅝": " 5/8",
        "⅞": " 7/8",
        "⅓": " 1/3",
        "⅔": " 2/3",
    }
)
_AMOUNT = re.compile(
    r"(?:(?P<whole>[0-9]+) +)?(?P<top>[0-9]+) */ *(?P<bottom>[0-9]+)(?P<unit_a>[^0-9./].*|)"
    r"|(?P<decimal>[0-9]+(?:\.[0-9]+)?|\.[0-9]+)(?P<unit_b>.*)"
)
_PLUS_MINUS = re.compile(r"±|\+ */? *-")
_MOST_DIGITS = 20


class Quantity(NamedTuple):
    """An amount and its unit (a symbol of ``UNITS``); as text "2 mg/L", written safely."""

    value: Decimal
    unit: str

    @property
    def kind(self) -> str:
        """What is measured: length, volume, mass, concentration, volume_ratio, temperature or duration."""
        return UNITS[self.unit].kind

    def __str__(self) -> str:
        return f"{show(self.value)} {self.unit}"


def read(text: str, kind: str, what: str = "amount") -> Quantity:
    """The amount a keeper typed, for example "2 mg/L", "29 USgal", "78 °F", "1 1/2 in".

    ``kind`` is a kind of ``UNITS``; ``what`` names the amount in a refusal. For a concentration
    "ppm" reads as mg/L, and a label's rate ("5 g per 100 L", see ``read_rate``) as mg/L of six digits, rounded down;
    for a volume in water as uL/L. Raises Refused for a bare number, a unit that is unknown, ambiguous or of another
    kind, and a number that is below zero or has a comma or an exponent.
    """
    if kind in _OF_WATER and _is_label(text):
        per_litre = _OF_WATER[kind]
        return Quantity(Decimal(show_significant(rate_in(read_rate(text, what), per_litre), 6, up=False)), per_litre)
    return _read_plain(text, kind, what)


def _read_plain(text: str, kind: str, what: str) -> Quantity:
    number, unit_text = _split(text, what)
    return Quantity(number, _unit(text, unit_text, kind, what))


_DROPS_PER_ML = re.compile(r"([0-9]+) measured drops (?:per|in|/) ?(?:1 )?ml", re.IGNORECASE)
FEWEST_DROPS, MOST_DROPS = 12, 60
"""Drops in 1 mL that are believed; our choice, no source: 12 to 45 were found in print (a thread of the Unified Code
for Units of Measure, year not stated)."""


def read_measured_drops(text: str) -> Decimal | None:
    """One drop in mL of "20 measured drops per mL": a keeper's own count for one product, to three digits, rounded up,
    so that a dose becomes smaller. None: no such words. Raises Refused for a count that is hard to believe."""
    found = _DROPS_PER_ML.fullmatch(" ".join(text.split()))
    if found is None:
        return None
    if not FEWEST_DROPS <= int(found[1]) <= MOST_DROPS:
        raise Refused(
            f"{_quoted(text)}: {FEWEST_DROPS} to {MOST_DROPS} drops make 1 mL; count them again on a syringe, or draw "
            "with it in mL."
        )
    return Decimal(show_significant(_decimal(Fraction(1, int(found[1]))), 3, up=True))


def kind_of(text: str) -> str | None:
    """What the typed amount measures, by its unit; None when it has none that is known. Never raises."""
    for part in _PLUS_MINUS.split(text.translate(_LETTERS)):
        match = _AMOUNT.fullmatch(" ".join(part.split()))
        unit_text = (match["unit_a"] or match["unit_b"] or "") if match else ""
        symbol = _BY_SPELLING.get(_key(unit_text))
        if symbol is not None:
            return UNITS[symbol].kind
    return None


def read_with_error(text: str, kind: str, what: str, default: Quantity | Decimal) -> tuple[Quantity, Quantity]:
    """The amount and its plus-minus: "60 cm ± 0.5 cm", "60 ± 0.5 cm", "60 cm +- 5 mm", "100 L ± 5 %".

    Without a plus-minus the ``default`` is it: an amount, or a Decimal as percent of the amount. The unit
    may stand on either side; both sides of a temperature have the same one. A plus-minus is a difference:
    convert it with ``to(..., difference=True)``. Raises Refused like ``read``.
    """
    parts = _PLUS_MINUS.split(text.translate(_LETTERS))
    if len(parts) == 1:
        whole = _read_plain(text, kind, what)
        return whole, default if isinstance(default, Quantity) else _share(whole, default)
    if len(parts) > 2:
        raise Refused(f"The {what} {_quoted(text)} has more than one ±; write one, such as {_EXAMPLES[kind]} ± 1 %.")
    number, unit_text = _split(parts[0], what)
    error, error_unit = _split(parts[1], f"± of the {what}")
    if error_unit == "%":
        whole = Quantity(number, _unit(text, unit_text, kind, what))
        return whole, _share(whole, error)
    value = Quantity(number, _unit(text, unit_text or error_unit, kind, what))
    spread = Quantity(error, _unit(text, error_unit or unit_text, kind, f"± of the {what}"))
    if kind == "temperature" and value.unit != spread.unit:
        raise Refused(f"The {what} {_quoted(text)} mixes °C and °F; write both sides in one of them.")
    return value, spread


class Rate(NamedTuple):
    """So much per so much, as a label prints it: ``amount`` (mass or volume) per ``per`` (water, or fish or food).

    ``of`` is "" for water, else "fish" or "food", with "/day" where it is a daily rate.
    """

    amount: Quantity
    per: Quantity
    of: str = ""

    def __str__(self) -> str:
        who, _, daily = self.of.partition("/")
        amount = f"{self.amount} av" if self.amount.unit == "oz" else str(self.amount)
        return f"{amount} per {self.per}{f' {who}' if who else ''}{' a day' if daily else ''}"


_OF_WATER = {"concentration": "mg/L", "volume_ratio": "uL/L"}
_PER = re.compile(r" (?:per|for|in|to)(?: every| each)? | (?:every|each) ", re.IGNORECASE)
_SLASH = re.compile(r"((?:(?:[0-9]+ +)?[0-9]+ */ *[0-9]+|[0-9.,]+)[^/0-9]*)/(.*)")
_DAILY = re.compile(r" *(?:/|\b(?:per|a|each|every) ) *day$| daily$", re.IGNORECASE)
_FED = re.compile(r" *(?:of )?(fish|body ?weight|bw|food|feed)$", re.IGNORECASE)
_WATER = re.compile(r" *(?:of )?(?:the )?(?:(?:tank|aquarium|pond) )?water$", re.IGNORECASE)


def read_rate(text: str, what: str = "rate") -> Rate:
    """A label's rate: "5 g per 100 L", "1 mL/40 L", "0.1 ounce (avoirdupois) per 100 US gal", "0.3 % salt", "2 mg/L",
    "50 mg per kg fish per day", "10 mg per g food".

    "% salt" and "% w/v" are grams in 100 mL. Raises Refused, with a question, for a spoon, a drop, a tablet, a gallon
    that is not said to be US or imperial, an ounce that may be a weight or a fluid ounce, a weight of nobody says what,
    and for what names no water; else like ``read``.
    """
    plain, daily = _DAILY.subn("", " ".join(text.translate(_LETTERS).split()))
    amount_text, per_text = _halves(plain)
    if per_text is None or _says_per_what(plain):
        return _rate_of_unit(text, plain, what)
    amount = _rate_amount(text, amount_text, what)
    per, of = _rate_per(text, per_text, what)
    if daily and not of:
        raise Refused(f"The {what} {_quoted(text)} is so much a day in water; write what one dose is.")
    return Rate(amount, per, f"{of}/day" if daily else of)


def rate_in(rate: Rate, unit: str) -> Decimal:
    """The same rate in another unit, such as "mg/L", "uL/L", "g per 100 L", "mg/kg fish": exact where it ends, else 34
    digits.

    Raises Refused for a unit that does not read, and where a weight would become a volume, or fish food.
    """
    if not unit.strip():
        raise Refused(f"{rate} in which unit? Write one such as mg/L, uL/L or g per 100 L.")
    target = read_rate(f"1 {unit.strip()}", "unit")
    if (rate.amount.kind, rate.of) != (target.amount.kind, target.of):
        raise Refused(f"{rate} cannot be given in {unit.strip()}: {_apart(rate, target)}.")
    return _decimal(_base(rate.amount) / _base(rate.per) / (_base(target.amount) / _base(target.per)))


def of_substance(rate: Rate, strength: str) -> Rate:
    """The rate of the substance in a product: ``strength`` is a percent by weight ("80 %") of what is weighed, and a
    weight in a volume ("37 % w/v", "10 mg/mL") of what is poured.

    Raises Refused for a strength that does not read, is above 100 %, or is not of the kind that the rate needs.
    """
    weighed = rate.amount.kind == "mass"
    share = re.fullmatch(r"([0-9.]+) *(?:%|percent)(?: *w/w)?", strength.strip(), re.IGNORECASE)
    if weighed and share is not None:
        percent = _split(share[1], "strength")[0]
        if not 0 < percent <= 100:
            raise Refused(f"The strength {_quoted(strength)} is not above 0 % and up to 100 %; read the label again.")
        part = Fraction(rate.amount.value) * Fraction(percent) / 100
        return rate._replace(amount=Quantity(_decimal(part), rate.amount.unit))
    held = None if weighed or share is not None else read_rate(strength, "strength")
    if held is None or held.of or held.amount.kind != "mass":
        needed = 'a percent by weight, such as "80 %"' if weighed else 'a weight in a volume, such as "10 mg/mL"'
        raise Refused(f"The strength {_quoted(strength)} does not fit {rate}; write {needed}.")
    grams = _base(rate.amount) * _base(held.amount) / _base(held.per)
    return rate._replace(amount=Quantity(_decimal(grams), "g"))


def _apart(rate: Rate, target: Rate) -> str:
    if rate.of != target.of:
        return f"one is counted by {rate.of or 'water'} and the other by {target.of or 'water'}"
    return (
        "one is a weight and the other a volume of a liquid, and between them stands its strength in g per L, which the"
        " label has to say"
    )


def _base(quantity: Quantity) -> Fraction:
    return Fraction(quantity.value) * UNITS[quantity.unit].factor


def _is_label(text: str) -> bool:
    """Whether it is so much per so much, in no unit that has a name of its own."""
    plain = " ".join(text.translate(_LETTERS).split())
    match = _AMOUNT.fullmatch(plain)
    unit_text = (match["unit_a"] or match["unit_b"] or "") if match else ""
    per_text = _halves(plain)[1]
    return _key(unit_text) not in _BY_SPELLING and per_text is not None and bool(_FIRST_LITRE.search(per_text))


_FIRST_LITRE = re.compile(r"[0-9]|gal", re.IGNORECASE)
"""What makes "x/y" a label's: a number or a gallon behind the stroke; without them a slip of a unit is told as one."""


def _says_per_what(plain: str) -> bool:
    """Whether it is in a unit such as % w/v or mg/L, or in one that is refused with its own sentence (% w/w)."""
    match = _AMOUNT.fullmatch(plain)
    key = _key((match["unit_a"] or match["unit_b"] or "") if match else "")
    return key in _UNREADABLE or (key in _BY_SPELLING and UNITS[_BY_SPELLING[key]].kind in _OF_WATER)


def _halves(plain: str) -> tuple[str, str | None]:
    """What stands before and behind the "per"; None where there is none."""
    words = _PER.split(plain, maxsplit=1)
    if len(words) == 2:
        return words[0], words[1]
    strokes = _SLASH.fullmatch(plain)
    return (strokes[1].strip(), strokes[2].strip()) if strokes else (plain, None)


def _rate_of_unit(text: str, plain: str, what: str) -> Rate:
    """ "0.3 % salt", "2 ppm": the unit itself says per how much."""
    number, unit_text = _split(plain, what)
    key = _key(unit_text)
    symbol = _BY_SPELLING.get(key, "")
    if symbol == "% w/v":
        return Rate(Quantity(number, "g"), Quantity(Decimal(100), "mL"))
    if symbol and UNITS[symbol].kind in _OF_WATER:
        return Rate(Quantity(number, symbol.split("/")[0]), Quantity(Decimal(1), "L"))
    if key in _UNREADABLE or not symbol:
        _unit(text, unit_text, "concentration", what)
    raise Refused(f"The {what} {_quoted(text)} does not say per how much water; write it so, such as 5 g per 100 L.")


def _rate_amount(text: str, amount_text: str, what: str) -> Quantity:
    number, unit_text = _split(amount_text, what)
    key = _key(unit_text)
    if key in ("oz", "ounce", "ounces"):
        raise Refused(
            f"The {what} {_quoted(text)}: is it an ounce by weight (28.349523125 g, write oz av) or a fluid ounce of a"
            " liquid (29.5735295625 mL, write USfloz; imperial 28.4130625 mL, write impfloz)? Say which."
        )
    symbol = _BY_SPELLING.get(key)
    kind = UNITS[symbol].kind if symbol and UNITS[symbol].kind in ("mass", "volume") else "mass"
    return Quantity(number, _unit(text, unit_text, kind, what))


def _rate_per(text: str, per_text: str, what: str) -> tuple[Quantity, str]:
    """Per how much, and of what: "" for water, "fish" or "food"."""
    fed = _FED.search(per_text)
    of = "" if fed is None else "food" if fed[1].casefold() in ("food", "feed") else "fish"
    rest = (_FED if fed else _WATER).sub("", per_text).strip()
    number, unit_text = _split(rest if re.match(r"[0-9.-]", rest) else f"1 {rest}", what)
    symbol = _BY_SPELLING.get(_key(unit_text))
    if not of and symbol is not None and UNITS[symbol].kind == "mass":
        raise Refused(
            f"The {what} {_quoted(text)}: is it per {unit_text} of fish or of food? They differ as much as fish eat;"
            f" write {unit_text} fish or {unit_text} food."
        )
    per = Quantity(number, _unit(text, unit_text, "mass" if of else "volume", what))
    if number <= 0:
        raise Refused(f"The {what} {_quoted(text)} is per nothing; write per how much, such as 5 g per 100 L.")
    return per, of


def to(quantity: Quantity, unit: str, *, difference: bool = False) -> Decimal:
    """The same amount in ``unit``: exact where it ends, else 34 digits correctly rounded.

    ``difference`` converts a difference (a plus-minus, a rise): 1 °C is then 1.8 °F. Raises Refused when the
    unit measures something else. Factors: NIST SP 811 (2008), appendix B.
    """
    source, target = UNITS[quantity.unit], UNITS[unit]
    if source.kind != target.kind:
        raise Refused(
            f"{quantity} cannot be given in {unit}: it is {_KIND_NAMES[source.kind]} and {unit} measures"
            f" {_KIND_NAMES[target.kind]}; use one of {_accepted(source.kind)}."
        )
    if difference:
        return _decimal(Fraction(quantity.value) * source.factor / target.factor)
    return _decimal((Fraction(quantity.value) - source.zero) * source.factor / target.factor + target.zero)


def floor_to(value: Decimal, step: Decimal) -> Decimal:
    """The largest whole number of steps that is not above ``value``, exactly (a dose is rounded down).

    Decimals only: a binary float would make 1.8 of 1.9 at a step of 0.1, so it raises TypeError.
    Raises ValueError for a step that is not above zero.
    """
    exact_step = _step(value, step)
    return _decimal(Fraction(value) // exact_step * exact_step)


def ceil_to(value: Decimal, step: Decimal) -> Decimal:
    """The smallest whole number of steps that is not below ``value``, exactly (what protects is rounded up).

    Raises TypeError and ValueError like ``floor_to``.
    """
    exact_step = _step(value, step)
    return _decimal(-(-Fraction(value) // exact_step) * exact_step)


def show(value: Decimal | int, places: int | None = None, *, up: bool | None = None) -> str:
    """A number as people and JSON see it: 0.5 never .5, 5 never 5.0, no exponent.

    ``places`` is the most decimals shown; then ``up=False`` rounds down, ``up=True`` up and None to
    the nearest, a tie to even. Raises ValueError for nan and infinity.
    """
    number = Decimal(value)
    if not number.is_finite():
        raise ValueError("only a finite number can be shown")
    if places is not None:
        number = _rounded(number, -places, up)
    text = format(number, "f")
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def show_significant(value: Decimal | int, digits: int, up: bool | None = None) -> str:
    """A number with at most ``digits`` significant digits, rounded and written like ``show``."""
    number = Decimal(value)
    if not number.is_finite() or digits < 1:
        raise ValueError("only a finite number can be shown, with one digit or more")
    if number == 0:
        return "0"
    return show(_rounded(number, number.adjusted() - digits + 1, up))


def decimal_down(x: float, digits: int = 12) -> Decimal:
    """A lower bound from the floats of physics as a Decimal of ``digits`` significant digits, never above it.

    With ``decimal_up`` the one crossing from float to Decimal. Raises ValueError for nan and infinity.
    """
    return _crossed(x, digits, up=False)


def decimal_up(x: float, digits: int = 12) -> Decimal:
    """An upper bound from the floats of physics as a Decimal of ``digits`` significant digits, not below it.

    Raises ValueError for nan and infinity.
    """
    return _crossed(x, digits, up=True)


def _split(text: str, what: str) -> tuple[Decimal, str]:
    """The number and the text of the unit that follows it ("" when there is none)."""
    plain = " ".join(text.translate(_LETTERS).split())
    if not plain:
        raise Refused(f"The {what} is empty; write a number and its unit.")
    if "," in plain:
        raise Refused(
            f"The {what} {_quoted(text)} has a comma, which some read as a decimal point and some as"
            " thousands; write 1.5 with a point, or 1500 without a mark."
        )
    if re.match(r"- *[0-9.]", plain):
        raise Refused(f"The {what} {_quoted(text)} is below zero; write an amount of zero or more.")
    match = _AMOUNT.fullmatch(plain)
    if match is None:
        raise Refused(f"The {what} {_quoted(text)} does not begin with a number; write one such as 0.5, then its unit.")
    unit_text = (match["unit_a"] or match["unit_b"] or "").strip()
    if re.match(r"e *[+-]?[0-9]", unit_text, re.IGNORECASE):
        raise Refused(f"The {what} {_quoted(text)} has an exponent; write the number out, such as 0.001.")
    if re.match(r"[0-9./+-]", unit_text) or re.search(r"[^A-Za-z^][0-9]|x *[0-9]|±", unit_text):
        raise Refused(f"The {what} {_quoted(text)} holds more than one number; write one number, then its unit.")
    if len(re.sub(r"[^0-9]", "", match[0])) > _MOST_DIGITS:
        raise Refused(f"The {what} {_quoted(text)} has more digits than any measurement; write at most {_MOST_DIGITS}.")
    if match["decimal"]:
        return Decimal(match["decimal"]), unit_text
    if int(match["bottom"]) == 0:
        raise Refused(f"The {what} {_quoted(text)} divides by zero; write the fraction again, such as 1/2.")
    return _decimal(int(match["whole"] or 0) + Fraction(int(match["top"]), int(match["bottom"]))), unit_text


def _key(unit_text: str) -> str:
    return re.sub(r"[ .]", "", unit_text).casefold()


def _share(whole: Quantity, percent: Decimal) -> Quantity:
    return Quantity(_decimal(Fraction(whole.value) * Fraction(percent) / 100), whole.unit)


def _unit(text: str, unit_text: str, kind: str, what: str) -> str:
    """The symbol of the unit that was typed; Refused when it cannot be what ``kind`` needs."""
    key = _key(unit_text)
    shown, accepted = f"The {what} {_quoted(text)}", _accepted(kind)
    if not key:
        raise Refused(f"{shown} has no unit; write one of {accepted}, for example {_EXAMPLES[kind]}.")
    if key == "ppm" and kind == "volume_ratio":
        raise Refused(
            f"{shown} is in ppm, which for a liquid may be by volume or by weight (8 % apart for formalin);"
            f" write it in uL/L, for example {_EXAMPLES[kind]}."
        )
    if key in _MEGA and unit_text.startswith("M"):
        raise Refused(f"{shown} has a unit with a capital M, which means a million; write {key.replace('l', 'L')}.")
    counted = kind == "tablets" and key in _BY_SPELLING
    if key in _UNREADABLE and not (key.startswith("%") and kind != "concentration") and not counted:
        raise Refused(f"{shown}: {unit_text!r} {_UNREADABLE[key]}.")
    symbol = _BY_SPELLING.get(key)
    if symbol is None:
        _refuse_unknown(shown, unit_text, key, kind)
    if UNITS[symbol].kind != kind:
        raise Refused(
            f"{shown} is {_KIND_NAMES[UNITS[symbol].kind]}, and {_KIND_NAMES[kind]} is needed; write one of"
            f" {accepted}, for example {_EXAMPLES[kind]}."
        )
    return symbol


def _refuse_unknown(shown: str, unit_text: str, key: str, kind: str) -> NoReturn:
    from difflib import get_close_matches

    spellings = [spelling for spelling, symbol in _BY_SPELLING.items() if UNITS[symbol].kind == kind]
    near = get_close_matches(key, spellings, n=1, cutoff=0.5)
    meant = f" (the nearest is {_BY_SPELLING[near[0]]})" if near else ""
    raise Refused(
        f"{shown} has the unknown unit {_quoted(unit_text)}{meant}; write one of {_accepted(kind)},"
        f" for example {_EXAMPLES[kind]}."
    )


def _accepted(kind: str) -> str:
    if kind not in _KIND_NAMES:
        raise ValueError(f"unknown kind of amount {kind!r}; known: {', '.join(_KIND_NAMES)}")
    return ", ".join(symbol for symbol, unit in UNITS.items() if unit.kind == kind)


def _quoted(text: str) -> str:
    """What was typed, short enough for one sentence."""
    return repr(text if len(text) <= 40 else text[:37] + "...")


def _decimal(number: Fraction) -> Decimal:
    """Exact when the decimal ends, else 34 digits correctly rounded (half even)."""
    twos = (number.denominator & -number.denominator).bit_length() - 1
    rest, fives = number.denominator >> twos, 0
    while rest % 5 == 0:
        rest, fives = rest // 5, fives + 1
    if rest != 1:
        return Context(prec=34).divide(Decimal(number.numerator), Decimal(number.denominator))
    places = max(twos, fives)
    return Decimal(f"{number.numerator * 10**places // number.denominator}E-{places}")


def _step(value: Decimal, step: Decimal) -> Fraction:
    if not isinstance(value, Decimal) or not isinstance(step, Decimal):
        raise TypeError("doses are rounded as Decimal only: a float is already rounded")
    if not value.is_finite() or not step.is_finite() or step <= 0:
        raise ValueError("rounding needs a finite value and a step above zero")
    return Fraction(step)


def _rounded(number: Decimal, exponent: int, up: bool | None) -> Decimal:
    """To a whole number of 10**exponent: down, up, or (None) half to even, without any rounding before."""
    step = Fraction(10) ** exponent
    steps = Fraction(number) / step
    whole = round(steps) if up is None else -(-steps // 1) if up else steps // 1
    return _decimal(whole * step)


def _crossed(x: float, digits: int, *, up: bool) -> Decimal:
    number = Decimal(x)
    if not number.is_finite():
        raise ValueError("only a finite number can be a bound")
    if number == 0:
        return Decimal(0)
    return _rounded(number, number.adjusted() - digits + 1, up)
