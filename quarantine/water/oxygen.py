"""Dissolved oxygen: how much the air can hold in the water, and what share of it a reading is.

Saturation in moist air at 1 atm: B. B. Benson and D. Krause, Limnology and Oceanography 29:620-632, 1984, in the form
of APHA, Standard Methods, 1985 (0 to 40 °C, practical salinity 0 to 40). Pressure terms of the same authors and the
closed form of the standard atmosphere: from memory. The linear salinity factor that probe manuals print after
ISO 5814 understates the drop by 2 to 9 % and is not used.
"""

from __future__ import annotations

from math import exp

from quarantine.water.ranges import check

COLDEST, WARMEST = 0.0, 40.0  # °C, Benson and Krause 1984
SALTIEST = 40.0  # practical salinity, Benson and Krause 1984
LOWEST, HIGHEST = -500.0, 5000.0  # m, our choice: where people live
OXYGEN_MOST = 40.0  # mg/L, our choice: above it a reading is a slip
PERCENT_MOST = 500.0  # % of saturation, our choice: above it a reading is a slip


def saturation_mg_per_l(celsius: float, practical_salinity: float = 0.0, altitude_m: float = 0.0) -> float:
    """Oxygen in water that is in balance with the air, mg/L.

    ln C = -139.34411 + 1.575701e5/T - 6.642308e7/T2 + 1.2438e10/T3 - 8.621949e11/T4 - S (0.017674 - 10.754/T +
    2140.7/T2), T in kelvin (Benson and Krause 1984; 0 to 40 °C, S 0 to 40), at the mean pressure of the altitude in
    metres (-500 to 5,000). Raises Refused outside these ranges.
    """
    check("temperature", celsius, "°C", COLDEST, WARMEST)
    check("salinity", practical_salinity, "", 0, SALTIEST)
    t = 273.15 + celsius
    fresh = -139.34411 + 1.575701e5 / t - 6.642308e7 / t**2 + 1.243800e10 / t**3 - 8.621949e11 / t**4
    salt = practical_salinity * (0.017674 - 10.754 / t + 2140.7 / t**2)
    return exp(fresh - salt) * _pressure_share(celsius, pressure_atm(altitude_m))


def pressure_atm(altitude_m: float) -> float:
    """Mean air pressure in atm: (1 - 2.25577e-5 h)^5.25588 (standard atmosphere, closed form from memory).

    ``altitude_m`` is -500 to 5,000 m above the sea. Raises Refused outside it.
    """
    check("altitude", altitude_m, "m", LOWEST, HIGHEST)
    return float((1 - 2.25577e-5 * altitude_m) ** 5.25588)


def percent_of_saturation(
    oxygen_mg_per_l: float, celsius: float, practical_salinity: float = 0.0, altitude_m: float = 0.0
) -> float:
    """A reading in mg/L (0 to 40) as percent of saturation. Raises Refused like ``saturation_mg_per_l``."""
    check("oxygen", oxygen_mg_per_l, "mg/L", 0, OXYGEN_MOST)
    return 100 * oxygen_mg_per_l / saturation_mg_per_l(celsius, practical_salinity, altitude_m)


def oxygen_mg_per_l(percent: float, celsius: float, practical_salinity: float = 0.0, altitude_m: float = 0.0) -> float:
    """A reading in percent of saturation (0 to 500) as mg/L. Raises Refused like ``saturation_mg_per_l``."""
    check("oxygen", percent, "% of saturation", 0, PERCENT_MOST)
    return percent / 100 * saturation_mg_per_l(celsius, practical_salinity, altitude_m)


def _pressure_share(celsius: float, atm: float) -> float:
    """Saturation at a pressure as a share of that at 1 atm: Benson and Krause, pressure terms (from memory)."""
    kelvin = 273.15 + celsius
    vapour = exp(11.8571 - 3840.70 / kelvin - 216961 / kelvin**2)
    theta = 0.000975 - 1.426e-5 * celsius + 6.436e-8 * celsius**2
    return atm * (1 - vapour / atm) * (1 - theta * atm) / ((1 - vapour) * (1 - theta))
