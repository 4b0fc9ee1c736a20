"""From the bag into the tank: the opened bag's ammonia, the two ways in, and how far two waters may lie apart.

The sources disagree, and both ways are given side by side: float the bag and release, or add tank water in steps.
Dripping for 30 min to 2 h is widespread common practice; several sources say not to for a bag that was closed for
more than 1 to 2 h, because opening it lets carbon dioxide out, the pH climbs and ammonium becomes poisonous ammonia
(marine hatchery white paper on acclimation, 2014, not peer reviewed). Bag water never goes into the tank.
Whatever is not measured is not guessed: it stays None, and what depends on it is held back.
"""

from __future__ import annotations

from math import ceil, log
from typing import NamedTuple

from quarantine.quantity import decimal_down, decimal_up, show_significant
from quarantine.water.ammonia import PH_LEAST, PH_MOST
from quarantine.water.mixing import (
    COLDEST,
    UIA_HARM_MG_PER_L,
    WARMEST,
    Reading,
    Span,
    ends,
    mixed,
    uia_of_spans,
    widest,
)
from quarantine.water.ranges import check, number

S32 = "Lim, Dhert and Sorgeloos, Aquaculture Research 34:923-935 (title not recorded), 2003 (a translated copy)"
S113 = "fish farm page, Tempering fish, year not stated (not peer reviewed)"
S124 = "Texas State University, thesis, Effects of acute and chronic elevated pH exposure, year not stated (abstract)"

FLOATED_CELSIUS = 2.0  # the sealed bag floats until the difference is under this: S32
FLOAT_MINUTES, FLOATED_FROM_CELSIUS = 30, 5.0  # "about 30 min for a 4 to 5 °C difference": S32
SHORT_FLOAT_MINUTES = 15  # Indian veterinary e-course on quarantine, year not stated: 15 to 20 min
CELSIUS_PER_STEP = 0.55  # 1 °F a minute while mixing: S113; a step waits longer than a minute
SALINITY_PER_STEP = 0.5  # g/L, our choice, no source
SHARE_PER_STEP = 1 / 3  # of the water after the step, our choice, no source
BAG_SHARE_LEFT = 0.25  # three parts of tank water to one of the bag's: our choice, no source
STEP_MINUTES = 5  # our choice, no source
STEPS_MINUTES_LEAST, STEPS_MINUTES_MOST = 30, 120  # common practice, no source
CLOSED_HOURS_MOST = 1.0  # "no drip for bags closed over 1 to 2 h": several sources, the stricter end
UP_RELEASED = 1.3  # g/L: 0.001 of specific gravity (common practice), 1.3 g/L by EOS-80
UP_IN_STEPS = 2.0  # g/L: going up by more than 2 to 3 needs hours to days (from memory), the stricter end
UP_PER_DAY = 2.0  # g/L, our choice after the same figure
JUMP_CELSIUS = 5.0  # common practice, and carp fingerlings in a veterinary dictionary, year not stated
CELSIUS_PER_DAY = 0.6  # pet-fish veterinary practice, Water chemistry, year not stated; another text: +2 or -1 °C
PH_JUMP = 1.0  # a larger one needs slow adjustment: from memory
PH_KILLS = 9.0  # upward past about 9 kills fry within hours, tempering helps little: S124
MATCHED_CELSIUS, MATCHED_SALINITY, MATCHED_PH = 1.0, 1.0, 0.3
"""How near two tanks should lie before a move (from memory, the stricter ends): °C, g/L, pH."""
BAG_LEAST, BAG_MOST = 0.05, 10_000.0  # L, our choice: outside it the water in the bag is a slip
SALINITY_MOST = 60.0  # g/L, our choice: above it a reading is a slip

BAG_WATER_OUT = "Bag water never goes into the tank: net the fish out, throw the water away, never pour it in."
OPEN_LAST = (
    "Once the bag is open, get the fish out of its water: carbon dioxide leaves, the pH climbs and the ammonia in it"
    " becomes poisonous."
)
FIRST_DAY = "Dim light and no food on the first day (common practice)."


class Bag(NamedTuple):
    """The water the fish came in; each reading with the step of its kit, None where it is not known.

    ``packed_ph`` is the pH of the water when it was packed, ``closed_hours`` how long the bag was shut.
    """

    litres: float
    celsius: Reading
    ph: Reading | None = None
    tan_mg_per_l: Reading | None = None
    salinity_g_per_l: Reading | None = None
    closed_hours: float | None = None
    packed_ph: float | None = None


class Tank(NamedTuple):
    """The water the fish go to; ``water`` is fresh, brackish or marine."""

    celsius: Reading
    ph: Reading | None = None
    tan_mg_per_l: Reading | None = None
    salinity_g_per_l: Reading | None = None
    water: str = "fresh"


class OpenedBag(NamedTuple):
    """Un-ionized ammonia N in the bag, mg/L: while it is closed, and once opened (the most it can become)."""

    closed_mg_per_l: Span
    opened_ph: float
    opened_most_mg_per_l: float
    limit_mg_per_l: float
    harmful: bool
    says: str


class Step(NamedTuple):
    """One thing to do. ``from_minute`` counts from the start; ``minutes`` is how long it lasts, at least.

    ``pour_away_litres`` leave first (never into the tank), then ``add_litres`` of tank water go in; ``litres``,
    ``celsius``, ``salinity_g_per_l``, ``ph`` and ``uia_most_mg_per_l`` are what is there afterwards, as bounds; None
    where it is not known. pH is only bounded: measure it.
    """

    what: str
    from_minute: int
    minutes: int
    pour_away_litres: float
    add_litres: float
    litres: float
    celsius: Span
    salinity_g_per_l: float | None
    ph: Span | None
    uia_most_mg_per_l: float | None


class Acclimation(NamedTuple):
    """Both ways from the bag to the tank. ``advised`` is "release" or "steps"; ``steps`` is empty where it must not be.

    ``tank_first`` is what the tank's water needs before the bag is opened.
    """

    advised: str
    because: str
    tank_first: tuple[str, ...]
    release: tuple[Step, ...]
    steps: tuple[Step, ...]
    cautions: tuple[str, ...]
    opened: OpenedBag | None


class Difference(NamedTuple):
    """One figure of two waters: there less here, the most allowed, and whether it is within (None: not known)."""

    parameter: str
    difference: float | None
    most: float
    unit: str
    within: bool | None


def opened_bag(bag: Bag, tank: Tank, limit_mg_per_l: float = UIA_HARM_MG_PER_L) -> OpenedBag | None:
    """What opening the bag does to its ammonia, judged with the highest pH that is known of it.

    Once open, the pH can climb to that of the tank or of the water it was packed in. None where its total ammonia or
    its pH is not known, or neither of those two. The un-ionized part is Emerson 1975, the safe upper bound in salt
    water too. Raises Refused for a reading outside its range.
    """
    _check_waters(bag, tank)
    opened = _open_ph(bag, tank)
    if bag.tan_mg_per_l is None or bag.ph is None or opened is None:
        return None
    tan, own = ends(bag.tan_mg_per_l, 0.0), ends(bag.ph, PH_LEAST, PH_MOST)
    closed = uia_of_spans(tan, own, ends(bag.celsius, 0.0), tank.water)
    most = uia_of_spans(tan, opened, _warmth(bag, tank), tank.water)[1]
    harmful = most > limit_mg_per_l
    says = (
        f"un-ionized ammonia in the bag: {_up(closed[1])} mg/L at most while it is closed, {_up(most)} mg/L once it is"
        f" open, should the pH climb to {number(round(opened[1], 2))}; harm begins at {number(limit_mg_per_l)} mg/L"
    )
    return OpenedBag(closed, opened[1], most, limit_mg_per_l, harmful, says)


def acclimation(bag: Bag, tank: Tank, vessel_litres: float | None = None) -> Acclimation:
    """The two ways from bag to tank as tables of steps, which of them the readings speak for, and the cautions.

    "Release": float the sealed bag until the difference is under 2 °C, then net the fish over. "Steps": float, then
    add tank water so that no step moves the temperature by more than 0.55 °C or the salinity by more than 0.5 g/L,
    until a quarter of the water is the bag's and the rest lies within 1 °C and 1 g/L. ``vessel_litres`` is what the
    steps are done in (None: as large as they need); where it is full, water is poured away first. Steps are advised
    only for a bag known to have been closed for at most 1 h whose ammonia is known to stay under the limit. Upwards
    of 2 g/L more salt there are no steps: the tank comes to the bag. Raises Refused for a reading outside its
    range, and a vessel that is not at least a tenth larger than the bag's water.
    """
    opened = opened_bag(bag, tank)
    if vessel_litres is not None:
        check("vessel", vessel_litres, "L", round(bag.litres * 1.1, 6), 10**5)
    rise = _salinity_rise(bag, tank)
    advised, because = _advice(bag, opened, rise)
    floated = _float(bag, tank)
    steps = () if rise is not None and rise > UP_IN_STEPS else _steps(bag, tank, floated, vessel_litres)
    cautions = (*_ammonia_cautions(bag, opened), *_cautions(bag, tank, rise, steps))
    return Acclimation(
        advised,
        because,
        _tank_first(bag, tank, rise),
        (floated, _release(floated)),
        steps,
        cautions,
        opened,
    )


def float_minutes(difference_celsius: float) -> int:
    """How long a sealed bag floats, at least, in whole minutes; the thermometer ends it, under 2 °C of difference.

    30 min for 4 to 5 °C (Lim and others, 2003). More is stretched as warmth evens out, 30 x ln(d / 2) / ln(5 / 2),
    which is computed and has no source; under 2 °C 15 min (veterinary e-course). 0 to 45 °C; raises Refused outside.
    """
    difference = abs(difference_celsius)
    check("difference of temperature", difference, "°C", 0, WARMEST)
    if difference <= FLOATED_CELSIUS:
        return SHORT_FLOAT_MINUTES
    stretched = FLOAT_MINUTES * log(difference / FLOATED_CELSIUS) / log(FLOATED_FROM_CELSIUS / FLOATED_CELSIUS)
    return max(FLOAT_MINUTES, ceil(round(stretched, 9)))


def daily_targets(now: float, wanted: float, most_per_day: float) -> tuple[float, ...]:
    """The figure for each day on the way from now to wanted, in equal steps of at most ``most_per_day`` (algebra).

    For the tank's temperature (0.6 °C a day) or its salinity (2 g/L a day upwards, our choice). The last is
    ``wanted``; empty where it is reached. ``most_per_day`` above 0. Raises Refused otherwise, and for over 1,000 days.
    """
    check("most in a day", most_per_day, "", 0, 10**6, above=True)
    days = ceil(round(abs(wanted - now) / most_per_day, 9))
    check("number of days", days, "", 0, 1000)
    return tuple(wanted if day == days else now + (wanted - now) * day / days for day in range(1, days + 1))


def differences(here: Tank, there: Tank) -> tuple[Difference, ...]:
    """How far two tanks lie apart before a move: temperature 1 °C, salinity 1 g/L, pH 0.3 (from memory).

    The kits' steps count: within means that the truth cannot lie further apart. Salinity that neither fresh
    water states is left out. Raises Refused for a reading outside its range.
    """
    for tank in (here, there):
        _check_tank(tank)
    rows = [
        _difference("temperature", here.celsius, there.celsius, MATCHED_CELSIUS, "°C"),
        _difference("salinity", here.salinity_g_per_l, there.salinity_g_per_l, MATCHED_SALINITY, "g/L"),
        _difference("ph", here.ph, there.ph, MATCHED_PH, ""),
    ]
    if here.water == "fresh" and _both_fresh_and_unread(here.salinity_g_per_l, there):
        del rows[1]
    return tuple(rows)


# --- The steps -------------------------------------------------------------------------------------------


def _float(bag: Bag, tank: Tank) -> Step:
    apart = bag.celsius[0] - tank.celsius[0]
    left = max(min(apart, FLOATED_CELSIUS), -FLOATED_CELSIUS)
    celsius = min(tank.celsius[0], tank.celsius[0] + left), max(tank.celsius[0], tank.celsius[0] + left)
    salinity = None if bag.salinity_g_per_l is None else bag.salinity_g_per_l[0]
    ph = None if bag.ph is None else ends(bag.ph, PH_LEAST, PH_MOST)
    uia = _uia_most(bag, tank, 1.0, ph)
    return Step("float", 0, float_minutes(apart), 0.0, 0.0, bag.litres, celsius, salinity, ph, uia)


def _release(before: Step) -> Step:
    return before._replace(
        what="release",
        from_minute=before.from_minute + before.minutes,
        minutes=0,
        pour_away_litres=0.0,
        add_litres=0.0,
    )


def _steps(bag: Bag, tank: Tank, floated: Step, vessel_litres: float | None) -> tuple[Step, ...]:
    additions = _additions(bag, tank, floated, vessel_litres)
    minutes = max(STEP_MINUTES, ceil(STEPS_MINUTES_LEAST / len(additions)))
    done = [floated]
    share = 1.0
    for pour_away, add in additions:
        last = done[-1]
        stays = last.litres - pour_away
        share *= stays / (stays + add)
        low, high = (mixed(end, stays, tank.celsius[0], add) for end in last.celsius)
        salinity = _mixed_salinity(last, stays, tank, add)
        ph = _open_ph(bag, tank)
        done.append(
            Step(
                "add",
                last.from_minute + last.minutes,
                minutes,
                pour_away,
                add,
                stays + add,
                (low, high),
                salinity,
                ph,
                _uia_most(bag, tank, share, ph),
            )
        )
    return (*done, _release(done[-1]))


def _additions(bag: Bag, tank: Tank, floated: Step, vessel_litres: float | None) -> list[tuple[float, float]]:
    """(litres poured away, litres added) of each step: never over a step's limit, until the waters are near."""
    litres, share = bag.litres, 1.0
    celsius = floated.celsius[1] - floated.celsius[0]
    salinity = abs(_salinity_rise(bag, tank) or 0.0)
    found = []
    while share > BAG_SHARE_LEFT or celsius > MATCHED_CELSIUS or salinity > MATCHED_SALINITY:
        by_warmth, by_salt = _share_within(CELSIUS_PER_STEP, celsius), _share_within(SALINITY_PER_STEP, salinity)
        fraction = min(SHARE_PER_STEP, by_warmth, by_salt)
        add = _measured(litres * fraction / (1 - fraction))
        pour_away = 0.0
        if vessel_litres is not None and litres + add > vessel_litres:
            pour_away = round(litres - bag.litres, 6)
            add = _measured(min(bag.litres * fraction / (1 - fraction), vessel_litres - bag.litres))
        litres -= pour_away
        left = litres / (litres + add)
        litres += add
        share, celsius, salinity = share * left, celsius * left, salinity * left
        found.append((pour_away, add))
    return found


def _share_within(most: float, difference: float) -> float:
    return most / difference if difference > most else 1.0


def _measured(litres: float) -> float:
    """Two digits, rounded down: what a jug shows, and never over the limit of the step."""
    return float(show_significant(decimal_down(litres), 2, up=False))


def _mixed_salinity(last: Step, stays: float, tank: Tank, add: float) -> float | None:
    if last.salinity_g_per_l is None or tank.salinity_g_per_l is None:
        return None
    return mixed(last.salinity_g_per_l, stays, tank.salinity_g_per_l[0], add)


def _uia_most(bag: Bag, tank: Tank, bag_share: float, ph: Span | None) -> float | None:
    """The most un-ionized ammonia with so much of the bag's water left; None where a reading is missing."""
    if bag.tan_mg_per_l is None or ph is None or (bag_share < 1 and tank.tan_mg_per_l is None):
        return None
    own = ends(bag.tan_mg_per_l, 0.0)
    other = ends(tank.tan_mg_per_l or (0.0, 0.0), 0.0)
    tan = mixed(own[0], bag_share, other[0], 1 - bag_share), mixed(own[1], bag_share, other[1], 1 - bag_share)
    return uia_of_spans(tan, ph, _warmth(bag, tank), tank.water)[1]


# --- What speaks for which way ---------------------------------------------------------------------------


def _advice(bag: Bag, opened: OpenedBag | None, rise: float | None) -> tuple[str, str]:
    if rise is not None and rise > UP_IN_STEPS:
        return "release", (
            f"the tank is {number(round(rise, 2))} g/L saltier than the bag, too much for steps of minutes: bring the"
            " tank to the bag's salinity first, then raise it over days"
        )
    if bag.closed_hours is None:
        return "release", "how long the bag was closed is not known, and a long-closed bag is not dripped"
    if bag.closed_hours > CLOSED_HOURS_MOST:
        return "release", (
            f"the bag was closed for {number(bag.closed_hours)} h; several sources say no drip after 1 to 2 h (others"
            " drip all the same: both ways are listed)"
        )
    if opened is None:
        return "release", "the bag's total ammonia and pH and the tank's pH are not all known"
    if opened.harmful:
        return "release", opened.says
    return "steps", "the bag was closed for an hour or less and its ammonia stays under the limit once it is open"


def _tank_first(bag: Bag, tank: Tank, rise: float | None) -> tuple[str, ...]:
    said = []
    apart = bag.celsius[0] - tank.celsius[0]
    if abs(apart) > JUMP_CELSIUS:
        said.append(
            f"The waters are {number(round(abs(apart), 2))} °C apart: bring the tank to within"
            f" {number(JUMP_CELSIUS)} °C of the bag, and afterwards back by at most {number(CELSIUS_PER_DAY)} °C a day"
            " (the sources disagree on how much a jump harms)."
        )
    if rise is not None and rise > UP_RELEASED and bag.salinity_g_per_l is not None:
        said.append(
            f"The tank is {number(round(rise, 2))} g/L saltier than the bag: bring it to"
            f" {number(bag.salinity_g_per_l[0])} g/L before a release, and afterwards up by at most"
            f" {number(UP_PER_DAY)} g/L a day (from memory: more than 2 to 3 g/L upwards needs hours to days)."
        )
    if tank.ph is not None and ends(tank.ph, PH_LEAST, PH_MOST)[1] > PH_KILLS:
        said.append(
            f"The tank's pH may be over {number(PH_KILLS)}, where a move upwards kills fry within hours whatever the"
            f" tempering ({S124}): lower it first."
        )
    return tuple(said)


def _ammonia_cautions(bag: Bag, opened: OpenedBag | None) -> tuple[str, ...]:
    if opened is None:
        return (
            "The total ammonia and pH of the bag and the pH of the tank are not all known: take the bag's ammonia to be"
            " dangerous once it is open.",
            OPEN_LAST,
        )
    said = [f"Opened bag: {opened.says}."]
    if bag.packed_ph is None:
        said.append("The pH at packing is not known; if it was higher than that, so will the ammonia be.")
    return (*said, OPEN_LAST)


def _cautions(bag: Bag, tank: Tank, rise: float | None, steps: tuple[Step, ...]) -> tuple[str, ...]:
    said = []
    if rise is None and not _both_fresh_and_unread(bag.salinity_g_per_l, tank):
        said.append("The salinity of both waters is not known: read both before the bag is opened.")
    if bag.ph is None or tank.ph is None:
        said.append("The pH of both waters is not known: read both.")
    elif abs(tank.ph[0] - bag.ph[0]) > PH_JUMP:
        said.append(
            f"The pH of the waters is {number(round(abs(tank.ph[0] - bag.ph[0]), 2))} apart; over {number(PH_JUMP)}"
            " needs slow adjustment (from memory), which in a long-closed bag its ammonia forbids: match the tank."
        )
    if steps and steps[-1].from_minute - steps[0].minutes > STEPS_MINUTES_MOST:
        said.append("The steps take longer than the 2 h of common practice: match the tank's water first and release.")
    said += [
        f"Float until a thermometer says under {number(FLOATED_CELSIUS)} °C ({S32}); while mixing at most"
        f" {number(CELSIUS_PER_STEP)} °C a minute ({S113}).",
        BAG_WATER_OUT,
        FIRST_DAY,
    ]
    return tuple(said)


def _salinity_rise(bag: Bag, tank: Tank) -> float | None:
    if bag.salinity_g_per_l is None or tank.salinity_g_per_l is None:
        return None
    return tank.salinity_g_per_l[0] - bag.salinity_g_per_l[0]


def _both_fresh_and_unread(salinity: Reading | None, tank: Tank) -> bool:
    return tank.water == "fresh" and salinity is None and tank.salinity_g_per_l is None


def _difference(parameter: str, here: Reading | None, there: Reading | None, most: float, unit: str) -> Difference:
    if here is None or there is None:
        return Difference(parameter, None, most, unit, None)
    apart = there[0] - here[0]
    worst = abs(apart) + (here[1] + there[1]) / 2
    return Difference(parameter, apart, most, unit, worst <= most + 1e-9)


def _open_ph(bag: Bag, tank: Tank) -> Span | None:
    """Where the pH can lie once the bag is open; None when its own is not known, or nothing it could climb to."""
    others = [] if tank.ph is None else [ends(tank.ph, PH_LEAST, PH_MOST)]
    if bag.packed_ph is not None:
        others.append((bag.packed_ph, bag.packed_ph))
    return widest([ends(bag.ph, PH_LEAST, PH_MOST), *others]) if bag.ph is not None and others else None


def _warmth(bag: Bag, tank: Tank) -> Span:
    return widest([ends(bag.celsius, 0.0), ends(tank.celsius, 0.0)])


def _up(mg_per_l: float) -> str:
    return show_significant(decimal_up(mg_per_l), 2, up=True)


def _check_waters(bag: Bag, tank: Tank) -> None:
    check("water in the bag", bag.litres, "L", BAG_LEAST, BAG_MOST)
    _check_readings("bag", bag.celsius, bag.ph, bag.tan_mg_per_l, bag.salinity_g_per_l)
    if bag.closed_hours is not None:
        check("time the bag was closed", bag.closed_hours, "h", 0, 1000)
    if bag.packed_ph is not None:
        check("pH at packing", bag.packed_ph, "", PH_LEAST, PH_MOST)
    _check_tank(tank)


def _check_tank(tank: Tank) -> None:
    _check_readings("tank", tank.celsius, tank.ph, tank.tan_mg_per_l, tank.salinity_g_per_l)


def _check_readings(
    where: str, celsius: Reading, ph: Reading | None, tan: Reading | None, salinity: Reading | None
) -> None:
    check(f"temperature of the {where}", celsius[0], "°C", COLDEST, WARMEST)
    for what, reading, unit, least, most in (
        ("pH", ph, "", PH_LEAST, PH_MOST),
        ("total ammonia", tan, "mg/L", 0.0, 1000.0),
        ("salinity", salinity, "g/L", 0.0, SALINITY_MOST),
    ):
        if reading is not None:
            check(f"{what} of the {where}", reading[0], unit, least, most)
