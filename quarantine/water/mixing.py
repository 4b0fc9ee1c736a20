"""Two waters become one: what can be computed of it, how a water change is judged (rule C16), and slow warmth.

Temperature, salinity and whatever is neither made nor lost mix by volume (mass balance; the small difference of
specific heat is left out). pH does not: the average of the hydrogen ions says 6.79 for equal parts of 6.5 and 8.0,
the average of the figures 7.25, and both are wrong where the alkalinities differ. So pH stays "between, measure it".
"""

from __future__ import annotations

from math import log
from typing import NamedTuple

from quarantine.failures import Refused
from quarantine.quantity import decimal_up, show_significant
from quarantine.water.ammonia import PH_LEAST, PH_MOST, un_ionized_mg_per_l
from quarantine.water.ranges import check, check_litres, number

Reading = tuple[float, float]
"""What was read and the step of the kit: the truth lies within half a step either way."""
Span = tuple[float, float]
"""The least and the most that something can be."""

UIA_HARM_MG_PER_L = 0.05
"""Un-ionized ammonia N where harm begins: Univ. of Florida IFAS EDIS, Ammonia, FA16/FA031, 1990/1996 (a copy)."""
HEAT_KJ_PER_KG_K = 4.18  # specific heat of water, from memory
KG_PER_LITRE = 0.997  # fresh water at 25 °C, UNESCO Technical Papers in Marine Science 44, 1983 (EOS-80)
COLDEST, WARMEST = 0.0, 45.0  # °C, our choice: outside it a water for fish is a slip

STEPS_INSTEAD = (
    "change in small steps, with time between them",
    "use an ammonia binder first",
    "give no food",
    "test total ammonia and pH again after each step",
)
"""What is done where a change would pass the limit (rule C16)."""


class Side(NamedTuple):
    """One of two waters: pH, temperature (°C) and total ammonia N (mg/L), each with the step of its kit."""

    ph: Reading
    celsius: Reading
    tan_mg_per_l: Reading


class Judged(NamedTuple):
    """A proposed water change (rule C16): what it leaves, mg/L as N, and what to do where it passes the limit."""

    share: float
    tan_mg_per_l: Span
    ph_most: float
    uia_mg_per_l: Span
    limit_mg_per_l: float
    within: bool
    says: str
    instead: tuple[str, ...]


def mixed(first: float, first_litres: float, second: float, second_litres: float) -> float:
    """Temperature, salinity or a conserved solute of two waters put together: weighted by litres (mass balance).

    Litres 0 or more and not both 0. Raises Refused otherwise.
    """
    check_litres("volume of the two waters", first_litres + second_litres)
    for litres in (first_litres, second_litres):
        check("volume", litres, "L", 0, first_litres + second_litres)
    return (first * first_litres + second * second_litres) / (first_litres + second_litres)


def ph_between(first: float, second: float) -> Span:
    """The pH of two waters put together is not computed: it lies between the two, and is measured. pH 4 to 11."""
    for ph in (first, second):
        check("pH", ph, "", PH_LEAST, PH_MOST)
    return min(first, second), max(first, second)


def hot_share(hot_celsius: float, cold_celsius: float, wanted_celsius: float) -> float:
    """The share of hot water in a mix of hot and cold that has the temperature wanted, 0 to 1 (mass balance).

    Hot is the warmer of the two, 0 to 100 °C. Raises Refused where the one wanted does not lie between them.
    """
    check("cold water", cold_celsius, "°C", 0, 100)
    check("hot water", hot_celsius, "°C", cold_celsius, 100, above=True)
    check("temperature wanted", wanted_celsius, "°C", cold_celsius, hot_celsius)
    return (wanted_celsius - cold_celsius) / (hot_celsius - cold_celsius)


def share_to_reach(now: float, wanted: float, incoming: float) -> float:
    """The share of the water to change once, 0 to 1, that brings a level down to the one wanted, in one unit.

    (now - wanted) / (now - incoming) (mass balance); 0 where it is reached already. Raises Refused where the water
    that goes in holds as much as is wanted, or more.
    """
    for what, value in (("level now", now), ("level wanted", wanted), ("level of the new water", incoming)):
        check(what, value, "", 0, 10**6)
    if now <= wanted:
        return 0.0
    if incoming > wanted:
        raise Refused(
            f"No change brings it to {number(wanted)}: the water that goes in holds {number(incoming)} already;"
            " find other water."
        )
    return (now - wanted) / (now - incoming)


def judge_change(
    tank: Side,
    incoming: Side,
    share: float,
    water: str = "fresh",
    salinity_g_per_kg: float | None = None,
    limit_mg_per_l: float = UIA_HARM_MG_PER_L,
) -> Judged:
    """What a change of ``share`` of the water (above 0 to 1) does to the ammonia, judged with the higher pH (rule C16).

    Total ammonia mixes by volume. The most of the un-ionized part is taken at the higher pH and the higher
    temperature of the two waters, the least at the lower ones, each over its kit's step. Fresh water that lifts the
    pH can so be worse than the ammonia it takes away. Raises Refused for a reading or share outside its range.
    """
    check("share of the water", share, "", 0, 1, above=True)
    check("limit of un-ionized ammonia", limit_mg_per_l, "mg/L", 0, 10, above=True)
    sides = (tank, incoming)
    # Each water is judged by itself first, so that a wrong reading is named as it was read.
    for side in sides:
        un_ionized_mg_per_l(side.tan_mg_per_l, side.ph, side.celsius, water, salinity_g_per_kg)
    left, new = ends(tank.tan_mg_per_l, 0.0), ends(incoming.tan_mg_per_l, 0.0)
    tan = (mixed(left[0], 1 - share, new[0], share), mixed(left[1], 1 - share, new[1], share))
    ph = widest([ends(side.ph, PH_LEAST, PH_MOST) for side in sides])
    celsius = widest([ends(side.celsius, 0.0) for side in sides])
    uia = uia_of_spans(tan, ph, celsius, water, salinity_g_per_kg)
    within = uia[1] <= limit_mg_per_l
    reached = show_significant(decimal_up(uia[1]), 3, up=True)
    says = (
        f"with the higher pH of the two waters, {number(round(ph[1], 2))}, un-ionized ammonia could reach"
        f" {reached} mg/L after the change; the limit is {number(limit_mg_per_l)} mg/L"
    )
    return Judged(share, tan, ph[1], uia, limit_mg_per_l, within, says, () if within else STEPS_INSTEAD)


def litres_to_add(difference: float, wanted: float, litres: float) -> float:
    """Litres of the other water that bring a difference down to the one wanted, in a volume that grows.

    The difference left is d V / (V + added), so added = V (d / wanted - 1): 9 V to leave a tenth (mass balance). Signs
    are ignored; 0 where it is reached already. ``wanted`` above 0, litres above 0. Raises Refused otherwise.
    """
    check("difference wanted", wanted, "", 0, 10**6, above=True)
    check_litres("volume", litres)
    return max(litres * (abs(difference) / wanted - 1), 0.0)


def hours_to_overflow(difference: float, wanted: float, litres: float, litres_per_hour: float) -> float:
    """Hours of inflow at a constant volume (overflow) until a difference is down to the one wanted.

    The difference left is d exp(-q t / V), so t = V / q x ln(d / wanted) (mass balance, full mixing). Signs are
    ignored. ``wanted``, litres and inflow above 0; raises Refused otherwise.
    """
    check("difference wanted", wanted, "", 0, 10**6, above=True)
    check_litres("volume", litres)
    check("inflow", litres_per_hour, "L/h", 0, 10**6, above=True)
    return max(litres / litres_per_hour * log(max(abs(difference), wanted) / wanted), 0.0)


def inflow_litres_per_hour(drops_per_second: float, drops_per_ml: float) -> float:
    """The inflow of a dripping line, L/h, from the drops in a mL that the keeper counted for that line (algebra).

    A drop is no measure by itself, so the count has no default. Both above 0 (to 50 a second, 100 a mL; our choice).
    Raises Refused outside.
    """
    check("drops", drops_per_second, "a second", 0, 50, above=True)
    check("drops", drops_per_ml, "in a mL", 0, 100, above=True)
    return drops_per_second / drops_per_ml * 3.6


def least_hours(difference: float, most_per_hour: float) -> float:
    """The shortest time for a difference at an allowed rate: |difference| / rate (algebra). Rate above 0."""
    check("allowed rate", most_per_hour, "an hour", 0, 10**6, above=True)
    return abs(difference) / most_per_hour


def heating_kj(litres: float, rise_celsius: float) -> float:
    """Heat that warms fresh water, without losses, kJ: V x 0.997 kg/L x 4.18 kJ/(kg K) x rise (0 to 45 °C)."""
    check_litres("volume", litres)
    check("rise", rise_celsius, "°C", 0, WARMEST)
    return litres * KG_PER_LITRE * HEAT_KJ_PER_KG_K * rise_celsius


def heating_hours(litres: float, rise_celsius: float, watts: float) -> float:
    """The shortest time in which a heater of so many watts gives that heat; losses make it longer. Watts above 0."""
    check("heater", watts, "W", 0, 10**6, above=True)
    return heating_kj(litres, rise_celsius) / watts / 3.6


def cooling_hours(now_celsius: float, wanted_celsius: float, room_celsius: float, constant_hours: float) -> float:
    """Hours until water without a heater has fallen to a temperature: -tau ln((T - room) / (T0 - room)) (Newton).

    ``constant_hours`` is tau of that tank, measured: the hours in which its lead over the room falls to 37 %. Needs
    room < wanted <= now, within 0 to 45 °C. Raises Refused otherwise.
    """
    check("room", room_celsius, "°C", COLDEST, WARMEST)
    check("temperature wanted", wanted_celsius, "°C", room_celsius, WARMEST, above=True)
    check("temperature now", now_celsius, "°C", wanted_celsius, WARMEST)
    check("time constant", constant_hours, "h", 0, 10**4, above=True)
    return -constant_hours * log((wanted_celsius - room_celsius) / (now_celsius - room_celsius))


def ends(reading: Reading, least: float = float("-inf"), most: float = float("inf")) -> Span:
    """The least and the most that a reading allows, inside a range it cannot leave."""
    value, step = reading
    return max(value - step / 2, least), min(value + step / 2, most)


def widest(spans: list[Span]) -> Span:
    """The least and the most of several spans."""
    return min(span[0] for span in spans), max(span[1] for span in spans)


def uia_of_spans(
    tan_mg_per_l: Span, ph: Span, celsius: Span, water: str = "fresh", salinity_g_per_kg: float | None = None
) -> Span:
    """``un_ionized_mg_per_l`` over spans instead of readings, mg/L as N. Raises Refused like it."""
    tan, acid, warmth = (((low + high) / 2, high - low) for low, high in (tan_mg_per_l, ph, celsius))
    return un_ionized_mg_per_l(tan, acid, warmth, water, salinity_g_per_kg)
