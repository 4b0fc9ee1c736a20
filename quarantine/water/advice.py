"""What a reading past its limit asks for: what to do first, with the figures that are known.

Pure. A change of water is judged with the higher pH of the two waters (rule C16); chloride against nitrite is row T11
of the formulary, which hands its figures in. No amount of any substance is computed here: that is `dosing`.
"""

from __future__ import annotations

from decimal import Decimal
from typing import NamedTuple

from quarantine.failures import Refused
from quarantine.quantity import ceil_to, decimal_down, show, show_significant
from quarantine.readings import FORM_WORDS, NITRITE_PER_N, PARAMETERS
from quarantine.water.mixing import STEPS_INSTEAD, Reading, Side, judge_change, share_to_reach
from quarantine.water.oxygen import saturation_mg_per_l

DEFERS = "Not veterinary advice: fish that look sick or die are a veterinarian's, and so is any medicine."
"""Under every advice."""

SHARES = (Decimal("0.1"), Decimal("0.25"), Decimal("0.5"))
"""Changes that are judged, smallest first: our choice, no source. 25 % a week is common practice, no source."""

S27 = "Wiley, Clinical Guide to Fish Medicine, ISBN 9781119259848, water-quality pages (copies), year not stated"
S29 = "Pet-fish veterinary practice, Water chemistry, year not stated"
S43 = "Wiley, Fundamentals of Aquatic Veterinary Medicine, ISBN 9781119612728, pp. 13 and 15 (copies), year not stated"
S50 = "Veterinary course text, Maintenance of water quality for healthy fish, year not stated"
EMERSON = "J. Fish. Res. Board Can. 32:2379-2383, Aqueous ammonia equilibrium calculations, 1975"
BENSON = "Limnology and Oceanography 29:620-632, Oxygen in fresh water and seawater, 1984"
COMMON = "common practice, no source"

FASTEST_UP, FASTEST_DOWN = Decimal(2), Decimal(1)
"""°C in 24 hours: more than 2 up or 1 down can harm tropical fish (S50)."""


class Limit(NamedTuple):
    """A limit of one parameter in its own unit; None: no such end. ``reference`` says whose it is."""

    parameter: str
    low: Decimal | None
    high: Decimal | None
    reference: str


class Value(NamedTuple):
    """What was read: ``least`` and ``most`` of duplicates, ``low`` and ``high`` with what the kits' steps add."""

    low: Decimal
    high: Decimal
    least: Decimal
    most: Decimal

    @property
    def reading(self) -> Reading:
        """Its middle and its whole width, as the room of mixing takes a reading."""
        return float(self.low + self.high) / 2, float(self.high - self.low)


class Source(NamedTuple):
    """The water that goes in (tap, well, mixed salt water): pH, and where they were tested total ammonia N in mg/L and
    temperature in °C; ``said`` tells when it was tested."""

    ph: Reading
    tan_mg_per_l: Reading | None
    celsius: Reading | None
    said: str


class Chloride(NamedTuple):
    """Row T11 of the formulary: mg chloride per mg nitrite, its reference and cautions, the dose card or why it is
    held, and what is on record of these fish and salt."""

    ratio: Decimal
    reference: str
    cautions: tuple[str, ...]
    card: tuple[str, ...]
    fish: tuple[str, ...]


class Situation(NamedTuple):
    """What is known of the water. ``values`` by parameter, un-ionized ammonia ("uia") computed; ``form`` is what the
    nitrite kit reads ("N", "NO2", "" not said); ``day_celsius`` the lowest and highest temperature of the 24 h before;
    ``litres`` the water that is there; ``medicine`` what it holds, in words."""

    water: str
    values: dict[str, Value]
    limits: tuple[Limit, ...]
    form: str = ""
    source: Source | None = None
    litres: Decimal | None = None
    day_celsius: tuple[Decimal, Decimal] | None = None
    chloride: Chloride | None = None
    medicine: str = ""
    salinity_g_per_kg: float | None = None
    to_copper_limit: str = ""
    """the litres of a change that brings copper under its limit, in words; "" where they are not known"""


class Advice(NamedTuple):
    """One thing that is past its limit (or cannot be told): what it is, what to do in order, with what caution, and
    the references of figure and steps."""

    about: str
    says: str
    do: tuple[str, ...]
    caution: str
    references: tuple[str, ...]

    @property
    def lines(self) -> list[str]:
        """As a keeper reads it."""
        return [
            self.says,
            *(f"  Do: {step}" for step in self.do),
            f"  Caution: {self.caution}",
            *(f"  Source: {reference}" for reference in self.references),
        ]


GENERAL = (Limit("ph", Decimal("6.7"), Decimal("8.6"), f"{S43}: 6.7 to 8.6 as a general range"),)
TEMPERATURE = {
    "fresh": Limit(
        "temperature",
        Decimal(18),
        Decimal(30),
        f"{S29}: koi and goldfish 18 to 25 °C, tropical fish 24 to 27 °C; discus to 30 °C: from memory",
    ),
    "marine": Limit(
        "temperature",
        Decimal(22),
        Decimal(29),
        f"{S27}: tropical reef fish 22 to 28 °C; {S29}: 26 to 29 °C; the sources disagree",
    ),
}
"""The widest span of the groups the sources give: outside it the water suits none of them. Brackish: none was found."""


def general_limits(water: str) -> tuple[Limit, ...]:
    """The limits of pH and temperature that hold for any fish of a water, where nothing stricter is known."""
    return (*GENERAL, *([TEMPERATURE[water]] if water in TEMPERATURE else []))


def advise(situation: Situation, names: tuple[str, ...]) -> tuple[Advice, ...]:
    """What the readings of ``names`` ask for, one advice for each parameter past a limit, worst to breathe first.

    At the limit is not past it. Of several limits the strictest counts. A nitrite of unsaid form is also told when it
    would be past the limit as nitrite-N. Never raises: what cannot be computed is said.
    """
    found = [_ADVISERS[name](situation) for name in _ADVISERS if name in names and name in situation.values]
    return tuple(advice for advice in found if advice is not None)


def strictest(limits: tuple[Limit, ...], parameter: str) -> tuple[Limit | None, Limit | None]:
    """The limits with the highest low end and with the lowest high end; of equal ones the first."""
    mine = [limit for limit in limits if limit.parameter == parameter]
    lows = [limit for limit in mine if limit.low is not None]
    highs = [limit for limit in mine if limit.high is not None]
    return (
        max(lows, key=lambda limit: limit.low or Decimal(0), default=None),
        min(highs, key=lambda limit: limit.high or Decimal(0), default=None),
    )


def past(situation: Situation, parameter: str) -> tuple[Limit, str] | None:
    """The limit that a parameter is past and the sentence that says so; None when it is within, or at it."""
    value = situation.values[parameter]
    low, high = strictest(situation.limits, parameter)
    computed = parameter == "uia"
    least, most = (value.low, value.high) if computed else (value.least, value.most)
    if low is not None and low.low is not None and least < low.low:
        return low, _past_words(parameter, least, f"under {show(low.low)}", "as low as" if least < most else "")
    if high is not None and high.high is not None and most > high.high:
        return high, _past_words(parameter, most, f"over {show(high.high)}", "up to" if least < most else "")
    return None


def _past_words(parameter: str, value: Decimal, limit: str, prefix: str) -> str:
    known = PARAMETERS[parameter]
    unit = f" {known.unit}" if known.unit else ""
    number = show_significant(value, 2, up=True) if parameter == "uia" else show_significant(value, 6)
    amount = f"{prefix} {number}{unit}".strip()
    return f"PAST ITS LIMIT: {known.title} {amount}, {limit}{unit}."


# --- Oxygen, ammonia, nitrite, temperature, pH ---------------------------------------------------------------


def _oxygen(situation: Situation) -> Advice | None:
    found = past(situation, "oxygen")
    if found is None:
        return None
    limit, says = found
    do = [
        "aerate strongly now: air stone, and the filter's outlet breaking the surface",
        "give no food until it is back, and look whether fish gasp at the surface",
        "measure again within the hour",
    ]
    references = [limit.reference, f"steps: {COMMON}"]
    celsius = situation.values.get("temperature")
    if celsius is not None and situation.water == "fresh":
        most = saturation_mg_per_l(min(max(float(celsius.least), 0.0), 40.0))
        shown = show(decimal_down(most), 1, up=False)
        do.append(f"know what air can give: at {show_significant(celsius.least, 4)} °C at most about {shown} mg/L")
        references.append(BENSON)
    caution = "no dose into water short of oxygen (rule C9); formalin and oxidisers use up more of it"
    return Advice("oxygen", says, tuple(do), caution, tuple(references))


def _ammonia(situation: Situation) -> Advice | None:
    found = past(situation, "uia")
    if found is None:
        return None
    limit, says = found
    do = [
        "give no food until it is under the limit",
        "raise neither pH nor temperature: both turn more of the ammonia into the poisonous part",
        "aerate strongly",
        *change_lines(situation, limit),
        "test total ammonia and pH again after each step",
    ]
    caution = "a change of water can make it worse where the new water has a higher pH (rule C16)"
    references = (limit.reference, f"share of the poisonous part: {EMERSON}", f"steps: rule C16 of this tool; {COMMON}")
    return Advice("uia", says, tuple(do), _with_medicine(situation, caution), references)


def change_lines(situation: Situation, limit: Limit) -> tuple[str, ...]:
    """A change of water against ammonia, judged by rule C16; what is missing for that is asked for by name."""
    source = situation.source
    parts = [situation.values.get(name) for name in ("ph", "temperature", "tan")]
    if source is None or any(part is None for part in parts):
        return (
            "before a water change test the pH and the ammonia of the new water and say them "
            "(--tap-ph 7.9 --tap-tan 0.1mg/L): no share is named until they are known (rule C16)",
        )
    ph, celsius, tan = (part.reading for part in parts if part is not None)
    incoming = Side(source.ph, source.celsius or celsius, source.tan_mg_per_l or (0.0, 0.0))
    limit_mg_per_l = float(limit.high or 0)
    try:
        judged = [
            judge_change(
                Side(ph, celsius, tan),
                incoming,
                float(share),
                situation.water,
                situation.salinity_g_per_kg,
                limit_mg_per_l,
            )
            for share in SHARES
        ]
    except Refused as outside:
        return (f"a water change cannot be judged: {outside.sentence}", *STEPS_INSTEAD)
    good = next((n for n, one in enumerate(judged) if one.within), None)
    if good is None:
        worst = judged[-1]
        worse = " (more than there is now)" if worst.uia_mg_per_l[1] > float(situation.values["uia"].high) else ""
        said = f"a change of {_share(SHARES[-1], situation)} does not do it: {worst.says}{worse}"
        # Food and testing stand among the steps already.
        return (said, *(step for step in worst.instead if not step.startswith(("give no food", "test "))))
    said = f"a change of {_share(SHARES[good], situation)}: {judged[good].says} (new water: {source.said})"
    if source.tan_mg_per_l is None:
        return (
            f"{said}; but only if the new water holds no ammonia, which was not tested: test it first and say "
            "--tap-tan (tap water with chloramine holds some)",
        )
    return (f"{said}; conditioned, and brought to the tank's temperature",)


def _share(share: Decimal, situation: Situation) -> str:
    percent = f"{show(share * 100)} %"
    if situation.litres is None:
        return percent
    return f"{percent} ({show(ceil_to(share * situation.litres, Decimal('0.1')))} L)"


def _nitrite(situation: Situation) -> Advice | None:
    found = past(situation, "nitrite")
    value = situation.values["nitrite"]
    if found is None:
        return _ask_form(situation, value)
    limit, says = found
    steps = ["give little food or none until it is under the limit", "aerate strongly", *_nitrite_change(value, limit)]
    references = [limit.reference, f"food and air: {COMMON}"]
    caution = "pale or brown gills, gasping: act now"
    chloride = situation.chloride
    if situation.water == "fresh" and chloride is not None:
        lines, cautions = chloride_lines(situation.form, value.most, chloride)
        steps += lines
        caution = "; ".join([caution, *(words.rstrip(".") for words in cautions)])
        references.append(f"chloride, row T11: {chloride.reference}")
    return Advice("nitrite", says, tuple(steps), _with_medicine(situation, caution), tuple(references))


def _ask_form(situation: Situation, value: Value) -> Advice | None:
    """The question where a nitrite of unsaid form is within the limit, and would not be as nitrite-N."""
    _, high = strictest(situation.limits, "nitrite")
    as_n = value.most * NITRITE_PER_N
    if situation.form or high is None or high.high is None or as_n <= high.high:
        return None
    says = (
        f"ASK: does the kit read {FORM_WORDS['NO2']} or {FORM_WORDS['N']}? As nitrite {show(value.most)} mg/L is "
        f"within the limit of {show(high.high)} mg/L; as nitrite-N it is {show_significant(as_n, 3, up=True)} mg/L of "
        "nitrite, over it."
    )
    do = ("read the kit's leaflet and say nitrite_no2=... or nitrite_n=...",)
    return Advice("nitrite", says, do, "until it is known, the worse may be true", (high.reference,))


def _nitrite_change(value: Value, limit: Limit) -> tuple[str, ...]:
    """The change that brings nitrite to its limit; over half of the water, how many halves (mass balance)."""
    high = limit.high or Decimal(0)
    share = share_to_reach(float(value.most), float(high), 0.0)
    if share <= 0.5:
        percent = show(ceil_to(Decimal(repr(round(share * 100, 6))), Decimal(1)))
        how = f"change {percent} % of the water"
    else:
        halves = next(n for n in range(1, 64) if value.most <= high * 2**n)
        how = f"change half of the water at most at once, and test; {halves} such changes in all"
    return (
        f"{how}: that brings it to the limit if the new water holds no nitrite; test the pH of the new water first, "
        "for ammonia's sake (rule C16, --tap-ph)",
        "test again after each change",
    )


def chloride_lines(form: str, nitrite_mg_per_l: Decimal, chloride: Chloride) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Row T11: the chloride that nitrite calls for, mg/L in the water, and its cautions.

    Refuses to compute, in words, until it is known whether the kit reads nitrite or nitrite-N: they differ 3.28 times.
    """
    if not form:
        return (
            f"say what the kit reads, {FORM_WORDS['NO2']} or {FORM_WORDS['N']} (nitrite_no2=... or nitrite_n=...): "
            f"they differ {show(NITRITE_PER_N)} times, and no chloride is computed until it is known",
        ), ()
    wanted = show_significant(chloride.ratio * nitrite_mg_per_l, 3, up=True)
    line = (
        f"chloride protects: row T11 asks for {show(chloride.ratio)} mg chloride per mg nitrite, here {wanted} mg/L of "
        "chloride in the water, with what is there already, while nitrite is present"
    )
    return (line, *chloride.card, *chloride.fish), chloride.cautions


def _temperature(situation: Situation) -> Advice | None:
    found = past(situation, "temperature")
    value = situation.values["temperature"]
    swing = _swing(situation, value)
    if found is None and swing is None:
        return None
    says = " ".join([*([found[1]] if found else []), *([swing] if swing else [])])
    do = (
        "look at heater and thermostat, and read a second thermometer",
        f"bring it back slowly: more than {show(FASTEST_UP)} °C up or {show(FASTEST_DOWN)} °C down in 24 h can harm "
        "tropical fish",
        "aerate: the warmer the water, the less oxygen it holds",
    )
    references = (*([found[0].reference] if found else []), f"swing: {S50}", f"oxygen: {BENSON}", f"heater: {COMMON}")
    caution = "which range these fish need is not judged here: take their own, and that of the protocol"
    return Advice("temperature", says, do, caution, references)


def _swing(situation: Situation, value: Value) -> str | None:
    """A change of temperature within 24 hours that can harm tropical fish, as a sentence."""
    if situation.day_celsius is None:
        return None
    low, high = situation.day_celsius
    up, down = value.most - low, high - value.least
    if up <= FASTEST_UP and down <= FASTEST_DOWN:
        return None
    # Two readings of one moment that contradict each other do not say which way it went.
    both = up > FASTEST_UP and down > FASTEST_DOWN
    way = "up or down" if both else "up" if up > FASTEST_UP else "down"
    moved = f"{way} by {show(max(up, down) if both else up if up > FASTEST_UP else down)} °C"
    return f"QUICK CHANGE: the temperature went {moved} within 24 h."


def _ph(situation: Situation) -> Advice | None:
    found = past(situation, "ph")
    if found is None:
        return None
    limit, says = found
    do = (
        "do not correct it at once: an abrupt change harms more than the figure; 0.2 to 0.3 a day at most",
        "read total alkalinity: where it is low, pH falls",
        "read total ammonia with it: as pH rises, more of it is the poisonous part",
    )
    caution = "many fish live outside this general range, some soft-water fish far under it: take their own"
    return Advice("ph", says, do, caution, (limit.reference, f"0.2 to 0.3 a day: {COMMON}", f"ammonia: {EMERSON}"))


def _copper(situation: Situation) -> Advice | None:
    """Copper over the ceiling of the row it is given by: a little more of it kills."""
    found = past(situation, "copper")
    if found is None:
        return None
    limit, says = found
    change = situation.to_copper_limit or "change water until a test shows it under the limit"
    do = (
        "read it again now, before anything else is done: a slip of the kit looks the same",
        f"if it is so: {change}, and log it (quarantine event change); then read it again",
        "no copper until it is read under the limit; strong aeration; watch the fish",
    )
    caution = "fish that gasp, roll or lie on the ground: into clean water of the same temperature, call a veterinarian"
    return Advice("copper", says, do, caution, (limit.reference, f"steps: rule C7 of this tool; {COMMON}"))


def _with_medicine(situation: Situation, caution: str) -> str:
    if not situation.medicine:
        return caution
    return f"{caution}; the water holds {situation.medicine}, and a change takes a share of it: ask a veterinarian"


_ADVISERS = {
    "oxygen": _oxygen,
    "uia": _ammonia,
    "nitrite": _nitrite,
    "temperature": _temperature,
    "ph": _ph,
    "copper": _copper,
}
