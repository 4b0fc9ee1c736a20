"""Salinity: from what a meter, a hydrometer or a scale says to g/L and back, and the salt a water lacks (rule C15).

Practical salinity has no unit: 35 of it is 35.165 g/kg and, at 25 °C, 35.986 g/L. Practical Salinity Scale 1978 and
the one-atmosphere equation of state EOS-80: UNESCO Technical Papers in Marine Science 44, 1983 (N. P. Fofonoff and
R. C. Millard). Both are for sea salt and want temperatures of IPTS-68, 1.00024 times those of today's ITS-90; a
bath of plain sodium chloride needs a meter calibrated with that salt.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import ROUND_FLOOR, Context, Decimal
from math import sqrt

from quarantine.failures import Refused
from quarantine.quantity import decimal_down
from quarantine.water.ranges import check, check_litres, number

SCALE_LEAST, SCALE_MOST = 2.0, 42.0  # practical salinity, range of the scale of 1978
SCALE_COLDEST, SCALE_WARMEST = -2.0, 35.0  # °C, range of the scale of 1978
STATE_COLDEST, STATE_WARMEST = 0.0, 40.0  # °C, range of EOS-80 at one atmosphere
G_PER_KG = 35.16504 / 35  # g/kg per unit of practical salinity: TEOS-10 (IOC, SCOR and IAPSO, 2010), standard sea water
CONDUCTIVITY_35_15 = 42.914  # mS/cm at practical salinity 35 and 15 °C (IPTS-68): the reference of the scale
GRAMS_PER_LITRE_MOST = 60  # g/L, our choice: above it a salinity is a slip
PURITY_LEAST = 50  # %, our choice: below it the figure is a slip

_DOWN = Context(prec=34, rounding=ROUND_FLOOR)
_HALVINGS = 60


def practical_salinity_of_conductivity(ms_per_cm: float, celsius: float) -> float:
    """Practical salinity from conductivity in mS/cm *not* corrected to 25 °C, and the water's temperature.

    Practical Salinity Scale 1978, UNESCO paper 44, 1983: -2 to 35 °C, salinity 2 to 42. Raises Refused outside.
    """
    check("temperature", celsius, "°C", SCALE_COLDEST, SCALE_WARMEST)
    check("conductivity", ms_per_cm, "mS/cm", 0, 100)
    salinity = practical_salinity_of_ratio(ms_per_cm / CONDUCTIVITY_35_15, 1.00024 * celsius)
    if not SCALE_LEAST <= salinity <= SCALE_MOST:
        raise Refused(
            f"The conductivity {number(ms_per_cm)} mS/cm at {number(celsius)} °C means a salinity"
            " outside 2 to 42, where the practical scale holds; use a salinity refractometer, or calibrate the meter"
            " with the salt itself."
        )
    return salinity


def practical_salinity_of_ratio(ratio: float, celsius_1968: float) -> float:
    """The polynomial of the scale: conductivity over that at 35 and 15 °C, and °C of IPTS-68, at the surface.

    No range is checked here (UNESCO paper 44, 1983, page 6 and on).
    """
    t = celsius_1968
    at_35 = 0.6766097 + t * (2.00564e-2 + t * (1.104259e-4 + t * (-6.9698e-7 + t * 1.0031e-9)))
    root = sqrt(ratio / at_35)
    at_15 = _polynomial(root, (0.0080, -0.1692, 25.3851, 14.0941, -7.0261, 2.7081))
    change = _polynomial(root, (0.0005, -0.0056, -0.0066, -0.0375, 0.0636, -0.0144))
    return at_15 + (t - 15) / (1 + 0.0162 * (t - 15)) * change


def conductivity_ms_per_cm(practical_salinity: float, celsius: float) -> float:
    """What a meter without temperature correction shows, mS/cm: the scale of 1978 turned round.

    Salinity 2 to 42, -2 to 35 °C. Raises Refused outside.
    """
    check("temperature", celsius, "°C", SCALE_COLDEST, SCALE_WARMEST)
    check("salinity", practical_salinity, "on the practical scale", SCALE_LEAST, SCALE_MOST)
    warm = 1.00024 * celsius
    ratio = _solve(lambda r: practical_salinity_of_ratio(r, warm), practical_salinity, 0.005, 3.0)
    return ratio * CONDUCTIVITY_35_15


def density_kg_per_m3(practical_salinity: float, celsius: float) -> float:
    """Density at one atmosphere: EOS-80, UNESCO paper 44, 1983; salinity 0 to 42, 0 to 40 °C. Raises Refused."""
    check("temperature", celsius, "°C", STATE_COLDEST, STATE_WARMEST)
    check("salinity", practical_salinity, "on the practical scale", 0, SCALE_MOST)
    t, salinity = 1.00024 * celsius, practical_salinity
    fresh = _polynomial(t, (999.842594, 6.793952e-2, -9.095290e-3, 1.001685e-4, -1.120083e-6, 6.536332e-9))
    first = _polynomial(t, (8.24493e-1, -4.0899e-3, 7.6438e-5, -8.2467e-7, 5.3875e-9))
    second = _polynomial(t, (-5.72466e-3, 1.0227e-4, -1.6546e-6))
    return fresh + first * salinity + second * salinity * sqrt(salinity) + 4.8314e-4 * salinity**2


def specific_gravity(practical_salinity: float, celsius: float, reference_celsius: float) -> float:
    """Density of the water at its temperature over that of pure water at the reference temperature (EOS-80).

    The reference is the second of the two temperatures printed on a hydrometer (25/25, 20/4 ...): the same water is
    3 to 4 g/kg apart between them, so it has no default. Ranges of ``density_kg_per_m3``; raises Refused outside.
    """
    return density_kg_per_m3(practical_salinity, celsius) / density_kg_per_m3(0, reference_celsius)


def practical_salinity_of_specific_gravity(gravity: float, celsius: float, reference_celsius: float) -> float:
    """Practical salinity from a hydrometer's reading, the water's temperature and the hydrometer's reference.

    ``specific_gravity`` turned round; how the glass itself widens with warmth is left out. Raises Refused for a
    reading that no salinity from 0 to 42 gives at that temperature.
    """
    least = specific_gravity(0, celsius, reference_celsius)
    most = specific_gravity(SCALE_MOST, celsius, reference_celsius)
    check("specific gravity", gravity, "", round(least, 4), round(most, 4))
    return _solve(lambda s: specific_gravity(s, celsius, reference_celsius), gravity, 0.0, SCALE_MOST)


def g_per_kg(practical_salinity: float) -> float:
    """Grams of sea salt in a kilogram of sea water: 35.16504/35 x practical salinity (TEOS-10, 2010); 0 to 42.

    Raises Refused outside.
    """
    check("salinity", practical_salinity, "on the practical scale", 0, SCALE_MOST)
    return practical_salinity * G_PER_KG


def g_per_l(practical_salinity: float, celsius: float) -> float:
    """Grams of sea salt in a litre: ``g_per_kg`` (TEOS-10, 2010) x density (EOS-80).

    Ranges of ``density_kg_per_m3``; raises Refused outside.
    """
    return g_per_kg(practical_salinity) * density_kg_per_m3(practical_salinity, celsius) / 1000


def practical_salinity_of_g_per_l(grams_per_litre: float, celsius: float) -> float:
    """``g_per_l`` turned round. Raises Refused for more than practical salinity 42 holds (some 43 g/L)."""
    check("salinity", grams_per_litre, "g/L", 0, round(g_per_l(SCALE_MOST, celsius), 2))
    return _solve(lambda s: g_per_l(s, celsius), grams_per_litre, 0.0, SCALE_MOST)


def salt_to_add_grams(
    target_g_per_l: Decimal, present_g_per_l: Decimal | None, volume_litres: Decimal, purity_percent: Decimal
) -> Decimal:
    """Grams of salt that bring the water to a total salinity: (target - present) x V / purity (rule C15; algebra).

    Salinities 0 to 60 g/L, volume above 0 L, purity 50 to 100 %. The last of 34 digits is rounded down; none is
    needed at or over the target. Raises Refused outside these ranges and where the present salinity is not known.
    """
    if present_g_per_l is None:
        raise Refused(
            "The present salinity is not known, and a salt target is the total: read it first"
            " (quarantine reading TANK salinity=...g/L)."
        )
    for what, value in (("target salinity", target_g_per_l), ("present salinity", present_g_per_l)):
        check(what, value, "g/L", 0, GRAMS_PER_LITRE_MOST)
    check_litres("volume", volume_litres)
    check("purity", purity_percent, "%", PURITY_LEAST, 100)
    rise = max(target_g_per_l - present_g_per_l, Decimal(0))
    return _DOWN.divide(_DOWN.multiply(_DOWN.multiply(rise, volume_litres), Decimal(100)), purity_percent)


def salt_for_new_water_grams(by_mass_g_per_kg: float, fresh_litres: float, celsius: float) -> Decimal:
    """Grams of dry salt that make ``fresh_litres`` of fresh water into water of a salinity by mass, g/kg.

    m = V x density of water x S / (1000 - S) (mass balance): more than V x S, because the salt has a mass too.
    Salinity 0 to 42 g/kg, 0 to 40 °C; 12 digits, rounded down. Raises Refused outside.
    """
    check("salinity", by_mass_g_per_kg, "g/kg", 0, SCALE_MOST)
    check_litres("volume", fresh_litres)
    kilograms = fresh_litres * density_kg_per_m3(0, celsius) / 1000
    return decimal_down(1000 * kilograms * by_mass_g_per_kg / (1000 - by_mass_g_per_kg))


def _polynomial(x: float, coefficients: tuple[float, ...]) -> float:
    value = 0.0
    for coefficient in reversed(coefficients):
        value = value * x + coefficient
    return value


def _solve(rising: Callable[[float], float], wanted: float, low: float, high: float) -> float:
    """Where a rising function meets ``wanted``, by halving: 60 halvings are finer than a float."""
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if rising(middle) < wanted:
            low = middle
        else:
            high = middle
    return (low + high) / 2
