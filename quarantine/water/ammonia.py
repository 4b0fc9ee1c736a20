"""Un-ionized ammonia: the poisonous share of what an ammonia kit reads.

Fresh water: K. Emerson and others, Aqueous ammonia equilibrium calculations, Journal of the Fisheries
Research Board of Canada 32:2379-2383, 1975 (0 to 50 °C, no salt). Salt water: T. G. Bell and others,
Environmental Chemistry 4:183-186, 2007, with the corrigendum 5:258, 2008 (5 to 30 °C, 5 to 40 g/kg; that
range from memory).
"""

from __future__ import annotations

from decimal import Decimal
from math import isfinite

from quarantine.failures import Refused
from quarantine.quantity import show

COLDEST, WARMEST = 0.0, 50.0  # °C, Emerson 1975
SALT_COLDEST, SALT_WARMEST = 5.0, 30.0  # °C, Bell 2007 (from memory)
SALT_LEAST, SALT_MOST = 5.0, 40.0  # g/kg, Bell 2007 (from memory)
PH_LEAST, PH_MOST = 4.0, 11.0  # our choice: outside it a reading is a slip
TAN_MOST = 1000.0  # mg/L, our choice: above it a reading is a slip
WATERS = ("fresh", "brackish", "marine")


def un_ionized_fraction(ph: float, celsius: float, salinity_g_per_kg: float = 0.0) -> float:
    """The share of total ammonia that is NH3, between 0 and 1.

    Fresh: pKa = 0.09018 + 2729.92 / (273.15 + °C) (Emerson 1975, 0 to 50 °C). Salt:
    pKa = 10.0423 - 0.0315536 x °C + 0.003071 x g/kg (Bell 2008, 5 to 30 °C, 5 to 40 g/kg). They leave a gap of
    4.8 % at 5 g/kg (pH 8, 25 °C), so between 0 and 5 g/kg the pKa is blended in proportion (our choice). In salt
    water one digit is meant: the pH scale alone is worth 7 to 25 %. Raises Refused outside these ranges and
    outside pH 4 to 11.
    """
    _check("pH", ph, "", PH_LEAST, PH_MOST)
    _check("salinity", salinity_g_per_kg, " g/kg", 0.0, SALT_MOST)
    if salinity_g_per_kg == 0:
        _check("temperature", celsius, " °C", COLDEST, WARMEST)
    else:
        _check("temperature in salt water", celsius, " °C", SALT_COLDEST, SALT_WARMEST)
    return _fraction(ph, celsius, salinity_g_per_kg)


def un_ionized_mg_per_l(
    tan: tuple[float, float],
    ph: tuple[float, float],
    celsius: tuple[float, float],
    water: str = "fresh",
    salinity_g_per_kg: float | None = None,
) -> tuple[float, float]:
    """The least and the most un-ionized ammonia in mg/L, on the basis the kit reads (as N, or as NH3).

    Each of the first three is (reading, step of the kit): the truth lies within half a step either way. ``tan`` is
    total ammonia in mg/L. The most is the fresh-water value, a safe upper bound (under about 7 °C the salt-water
    value at 5 g/kg is 1 % higher and is taken for brackish water). The least is that at ``salinity_g_per_kg``, or
    where it is not known that at 40 g/kg in brackish and marine water. Raises Refused for a reading outside the
    ranges of ``un_ionized_fraction``, for one below zero and for a water that is not fresh, brackish or marine.
    Salt water warmer than 30 °C is no refusal: the fresh-water value stays the upper bound.
    """
    salts = _salinities(water, salinity_g_per_kg)
    _check("total ammonia", tan[0], " mg/L", 0.0, TAN_MOST)
    _check("pH", ph[0], "", PH_LEAST, PH_MOST)
    _check("temperature", celsius[0], " °C", SALT_COLDEST if max(salts) > 0 else COLDEST, WARMEST)
    tan_low, tan_high = _ends(tan, 0.0, float("inf"))
    ph_low, ph_high = _ends(ph, PH_LEAST, PH_MOST)
    celsius_low, celsius_high = _ends(celsius, COLDEST, WARMEST)
    least = min(_fraction(ph_low, _within(celsius_low, salt), salt) for salt in salts)
    most = max(_fraction(ph_high, _within(celsius_high, salt), salt) for salt in salts)
    return tan_low * least, tan_high * most


def _salinities(water: str, salinity_g_per_kg: float | None) -> tuple[float, ...]:
    """The salinities whose values bound the truth; fresh water (0) is always one of them."""
    if water not in WATERS:
        raise Refused(f"There is no water {water!r}; write one of {', '.join(WATERS)}.")
    if salinity_g_per_kg is not None:
        _check("salinity", salinity_g_per_kg, " g/kg", 0.0, SALT_MOST)
        return 0.0, salinity_g_per_kg
    return {"fresh": (0.0,), "brackish": (0.0, SALT_LEAST, SALT_MOST), "marine": (0.0, SALT_MOST)}[water]


def _within(celsius: float, salinity_g_per_kg: float) -> float:
    # The share rises with the temperature, so the top of Bell's range still gives a lower bound above it.
    return min(celsius, SALT_WARMEST) if salinity_g_per_kg > 0 else celsius


def _fraction(ph: float, celsius: float, salinity_g_per_kg: float) -> float:
    return float(1 / (1 + 10 ** (_pka(celsius, salinity_g_per_kg) - ph)))


def _pka(celsius: float, salinity_g_per_kg: float) -> float:
    salt = 10.0423 - 0.0315536 * celsius + 0.003071 * max(salinity_g_per_kg, SALT_LEAST)
    share = min(salinity_g_per_kg / SALT_LEAST, 1.0)
    fresh = 0.09018 + 2729.92 / (273.15 + celsius)
    return fresh * (1 - share) + salt * share


def _ends(reading: tuple[float, float], least: float, most: float) -> tuple[float, float]:
    value, step = reading
    return max(value - step / 2, least), min(value + step / 2, most)


def _check(what: str, value: float, unit: str, least: float, most: float) -> None:
    if not least <= value <= most:
        raise Refused(
            f"The {what} {_written(value)}{unit} is outside {least:g} to {most:g}{unit}, where un-ionized ammonia"
            " can be computed; read it again and correct it."
        )


def _written(value: float) -> str:
    return show(Decimal(repr(value))) if isfinite(value) else "that was given"
