"""The emergency cards: what to do, in order, with the litres of one tank where one is named.

Every step says what it rests on. Litres are computed by mass balance (algebra) and rounded up.
"""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import NamedTuple

from quarantine import dosing
from quarantine.actions.sheets import Emergency, InWater, TankWater
from quarantine.quantity import decimal_up, show
from quarantine.reports.paper import Block
from quarantine.water.ammonia import un_ionized_fraction

CP = "common practice, no source"
MEM = "from memory"
ALGEBRA = "mass balance (algebra), rounded up"
S23 = "Yanong, Health management in recirculating systems, Global Aquaculture Advocate, year not stated"
S43 = "Wiley, Fundamentals of Aquatic Veterinary Medicine, ISBN 9781119612728, pp. 13 and 15, year not stated (copies)"
S49 = "Water Environment Federation, Manual of Practice 8, Dechlorination, year not stated (abstract)"
S50 = "Maintenance of water quality for healthy fish, a veterinary course text, year not stated"
S68 = "Aitcheson and others, Removal of aquaculture therapeutants by carbon adsorption, Aquaculture 183:269-284, 2000"
S71 = "Veterinary text on routes of administration in fish (book page not identified), year not stated (a copy)"
EMERSON = "Emerson and others, Aqueous ammonia equilibrium calculations, J. Fish. Res. Board Can. 32:2379-2383, 1975"

AT_CELSIUS = 25
AT_PH = ("7", "7.5", "8", "8.5")


class Step(NamedTuple):
    """One thing to do, and what it rests on."""

    says: str
    sources: tuple[str, ...]


class Card(NamedTuple):
    """One emergency."""

    title: str
    steps: tuple[Step, ...]


def cards(water: TankWater | None) -> tuple[Card, ...]:
    """The five emergencies, with this tank's litres where they are known."""
    return (_power(water), _leak(water), _overdose(water), _jumped(), _ammonia(water))


def papers(emergency: Emergency) -> list[list[Block]]:
    """The card: whom to call, this tank's water, the five emergencies, the sources."""
    water = emergency.water
    sources: list[str] = []
    told = [_card_block(card, sources) for card in cards(water)]
    legend = [f"[{_letter(n)}] {source}." for n, source in enumerate(sources)]
    return [
        [
            _head(emergency),
            *([_water_block(water)] if water else []),
            *([_cautions_block(water.inside)] if water and water.inside else []),
            *told,
            Block("notes", ("Sources", *legend, dosing.DEFERS)),
        ]
    ]


def title_of(emergency: Emergency) -> str:
    """What the page is called."""
    return f"Emergency, {emergency.water.tank}" if emergency.water else "Emergency"


def _head(emergency: Emergency) -> Block:
    call = "   ".join(f"{name} ____________" for name in emergency.keepers) or "____________"
    return Block(
        "head",
        (
            title_of(emergency),
            f"Call: {call}   veterinarian ____________",
            f"Computed as of {emergency.as_of}. Print it again when the water changes."
            if emergency.water
            else "For any tank. With the litres of one: quarantine card emergency --tank NAME.",
        ),
    )


def _water_block(water: TankWater) -> Block:
    shared = f", shared with {', '.join(water.shares)}" if water.shares else ""
    lines = [f"Water system {water.system}{shared}; {water.kind} water."]
    if water.litres is None or water.plus_minus_litres is None or water.half_litres is None:
        lines.append("How much water there is, is not known: change by halves of what you see, dose nothing.")
    else:
        lines += [
            f"Water really there: {show(water.litres)} L, plus or minus {show(water.plus_minus_litres)} L "
            f"({water.found}).",
            f"Half of it: {show(water.half_litres)} L.",
            _halving(water),
        ]
    lines += [_inside_line(one) for one in water.inside]
    if water.unknown:
        lines.append("Something of unknown size was added: only a change of all the water makes its level known.")
    if not water.inside and not water.unknown:
        lines.append("In the water by the record: no substance.")
    return Block("rules", (f"THIS TANK: {water.tank}", *lines))


def _halving(water: TankWater) -> str:
    much = "all of the water" if water.halving_litres is None else f"at least {show(water.halving_litres)} L"
    return f"To halve an overdose in one change, even if the tank is as full as it can be: {much} ({ALGEBRA})."


def _inside_line(one: InWater) -> str:
    return (
        f"In the water: {one.name}, {one.upper}; ceiling {one.ceiling} ({one.reference}). "
        f"To get from there to the ceiling: {one.change}."
    )


def _cautions_block(inside: tuple[InWater, ...]) -> Block:
    lines = [f"{one.name}: {one.cautions}" for one in inside]
    return Block("notes", ("Cautions", *lines))


def _card_block(card: Card, sources: list[str]) -> Block:
    lines = []
    for number, step in enumerate(card.steps, 1):
        for source in step.sources:
            if source not in sources:
                sources.append(source)
        marks = ", ".join(_letter(sources.index(source)) for source in step.sources)
        lines.append(f"{number}. {step.says} [{marks}]")
    return Block("rules", (card.title, *lines))


def _letter(n: int) -> str:
    return "abcdefghijklmnopqrstuvwxyz"[n]


def _cp(says: str) -> Step:
    return Step(says, (CP,))


def _half(water: TankWater | None) -> str:
    if water is None or water.half_litres is None:
        return "half of the water"
    return f"half of the water, {show(water.half_litres)} L,"


def _tank(water: TankWater | None) -> str:
    return f"'{water.tank}'" if water and " " in water.tank else water.tank if water else "TANK"


def _power(water: TankWater | None) -> Card:
    return Card(
        "POWER CUT, PUMP OR HEATER STOPPED",
        (
            _cp("Write down the time. Oxygen goes first, then warmth."),
            _cp(
                "Air at once: a pump on batteries; else lift water with a jug and pour it back from a height, again "
                "and again, most crowded tanks first."
            ),
            Step("With an oxygen kit: it should not fall below 2 to 5 mg/L.", (S43,)),
            _cp("No food and no dose until an hour after all runs again."),
            _cp("Keep warmth in: lid on, blankets round the sides, not over the air. No boiling water into the tank."),
            Step("Warm up slowly: more than 2 °C up or 1 °C down within 24 h can harm tropical fish.", (S50,)),
            _cp(
                "A closed filter that stood still for over an hour: empty and rinse it in tank water before it runs "
                "again. Then put on, one by one, whatever was off; see that the heater is under water first."
            ),
            _cp(
                "Then read temperature, ammonia, nitrite and oxygen, and log it: "
                f"quarantine event incident {_tank(water)} --what power."
            ),
        ),
    )


def _leak(water: TankWater | None) -> Card:
    much = ""
    if water is not None and water.litres is not None and water.plus_minus_litres is not None:
        most = (water.litres + water.plus_minus_litres).quantize(Decimal(1), rounding=ROUND_CEILING)
        much = f" Bins for {show(most)} L would hold all of this water."
    return Card(
        "LEAK, OR FISH MUST MOVE NOW",
        (
            _cp(f"Electricity first: pull plugs with dry hands. Heater off before it is dry.{much}"),
            _cp(
                "Fish into a clean, covered bucket or bin with their own water, as much of it as you can save, and "
                "air. Never into an established tank, and not to another batch."
            ),
            Step("Nets, buckets and hands that were in this water go into no other.", (S23,)),
            _cp("Filter sponges stay wet in tank water, with air."),
            _cp(
                "Whatever was in the water came along: its level in the new vessel is at most what it was. No dose "
                "there until its water is measured (quarantine tank measure)."
            ),
            _cp("New water only of the same temperature, and of the same salinity; and conditioned."),
            Step("Free chlorine is toxic below 0.02 mg/L.", (S49,)),
            _cp(
                f"No food today. Log it: quarantine event emergency {_tank(water)} --to NEW --make LITRES. Every "
                "planned dose waits."
            ),
        ),
    )


def _overdose(water: TankWater | None) -> Card:
    halves = Step(
        f"Change {_half(water)} with matched, conditioned water: each such change halves what is there; two leave a "
        "quarter.",
        (ALGEBRA,),
    )
    if water is not None and water.litres is not None:
        much = "all of the water" if water.halving_litres is None else f"at least {show(water.halving_litres)} L"
        halves = Step(
            f"Change {much} with matched, conditioned water: that halves what is there; twice leaves a quarter. If "
            "the level is on record, the litres down to the ceiling stand above.",
            (ALGEBRA,),
        )
    return Card(
        "TOO MUCH WAS GIVEN, OR THE WRONG THING",
        (
            _cp("Add nothing more, and nothing against it. Gloves on."),
            _cp(
                "Strong air now. Fish that lie or gasp: into clean water of the same temperature and salinity, at once."
            ),
            halves,
            Step("Then fresh activated carbon, and UV on: they cut a bath.", (S71,)),
            Step("Carbon takes up some medicines and not all: count on the water change.", (S68,)),
            _cp("Call a veterinarian, or the poison line for people; have the bottle in your hand."),
            _cp(
                "Log what was really given, then the change: "
                f"quarantine event dose {_tank(water)} REGIMEN --gave AMOUNT --really, quarantine event change "
                f"{_tank(water)} --out LITRES."
            ),
            Step(
                "Poured-out water goes where local rules allow; never into a pond, a stream or a storm drain.", (MEM,)
            ),
        ),
    )


def _jumped() -> Card:
    return Card(
        "A FISH JUMPED OUT",
        (
            _cp("Even if it looks dry and dead: wet your hands, lift it, never by the tail."),
            _cp("Rinse dust off in water of its own tank, and put it back into that tank, never into another."),
            _cp("Dim the light; more air; hold nothing and force nothing."),
            _cp("Look again after 10 min, after an hour, and every day: torn skin and cloudy eyes come later."),
            _cp("Which gap did it find? Lid on, weighted."),
            _cp(
                "Dead: count all the others, and log it (quarantine event died TANK 1). Alive: log a look with a note."
            ),
            Step("Wash your hands; cuts on them are a way in for fish tuberculosis.", (MEM,)),
        ),
    )


def _ammonia(water: TankWater | None) -> Card:
    limits = {str(c.value): c for c in dosing.OUT_OF_LIMIT}
    uia, nitrite = limits["uia"], limits["nitrite"]
    harm = uia.high or "0"
    table = ", ".join(f"pH {ph}: {show(tan_at(Decimal(harm), ph))} mg/L" for ph in AT_PH)
    return Card(
        "AMMONIA OR NITRITE IS HIGH",
        (
            _cp("No food, no dose, more air."),
            Step(
                f"Read pH and temperature too: harm begins at {harm} mg/L of un-ionized ammonia.",
                (uia.reference,),
            ),
            Step(f"At {AT_CELSIUS} °C that is reached by this much total ammonia: {table}.", (EMERSON,)),
            Step(
                f"Nitrite: over {dosing.FRESH_NITRITE} mg/L in fresh, {nitrite.high} mg/L in salt water, as nitrite.",
                (nitrite.reference,),
            ),
            _cp(
                "Read the pH of the new water. Is it higher than the tank's, change in small steps and test in "
                "between: a higher pH makes more of the ammonia poisonous (rule C16)."
            ),
            _cp(
                f"Else change {_half(water)} with matched, conditioned water; test again after an hour, and again "
                "tomorrow."
            ),
            _cp("A binder of ammonia only by its label, for the water that is really there."),
            _cp("Filter: is it running, was it washed in tap water, was something given? Do not clean it now."),
            _cp(
                f"Log it: quarantine reading {_tank(water)} temp=25C ph=7.8 tan=0.5mg/L nitrite_no2=0.1mg/L, with "
                "your values."
            ),
        ),
    )


def tan_at(uia_mg_per_l: Decimal, ph: str, celsius: float = AT_CELSIUS) -> Decimal:
    """Total ammonia, mg/L, at which so much is un-ionized in fresh water, down to 0.01 mg/L.

    Fresh-water share (Emerson 1975): in salt water a little less is un-ionized, so it is safe there too.
    """
    share = un_ionized_fraction(float(ph), celsius)
    return (uia_mg_per_l / decimal_up(share)).quantize(Decimal("0.01"), rounding=ROUND_FLOOR)
