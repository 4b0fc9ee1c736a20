"""What the record says of the water, the animals and the regimen's ceiling at the moment of a dose."""

from __future__ import annotations

from datetime import timedelta
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from functools import cache
from typing import TYPE_CHECKING

from quarantine import evidence as ev
from quarantine.dosing.setting import Setting, Stock
from quarantine.formulary import Ceiling, Regimen, ceiling_for
from quarantine.quantity import Quantity, to
from quarantine.water.ledger import Water

if TYPE_CHECKING:
    from quarantine.formulary.groups import Group, Groups


SYRINGE_ML = Decimal("0.1")
"""The step of the syringe that a stock solution is measured with; our choice, no source."""


def stock_mg_per_ml(stock: Stock) -> Decimal:
    return stock.grams / stock.litres  # g/L is mg/mL


TEMPERATURE_AGE_HOURS, TEMPERATURE_SPAN_HOURS = 12, 24  # rule C14


@cache
def groups_known(own: str) -> Groups:
    from quarantine.formulary import groups

    return groups.with_own(own, groups.FILE) if own else groups.shipped()


def groups_there(species: str, own: str) -> tuple[Group, ...]:
    from quarantine.formulary.groups import groups_of

    there = groups_known(own)
    ids = groups_of(species, there)
    return tuple(group for group in there.groups if group.id in ids)


def ceiling_mg_per_l(regimen: Regimen) -> Decimal | None:
    """The ceiling that holds for the regimen's contact, in mg/L."""
    ceiling = ceiling_of(regimen, None)
    if ceiling is None or ceiling.figure.unit not in ("mg/L", "g/L"):
        return None  # microlitres of a solution, copper by what is counted, food: no weight per litre
    return to(Quantity(ceiling.figure.value, ceiling.figure.unit), "mg/L")


def ceiling_of(regimen: Regimen, setting: Setting | None) -> Ceiling | None:
    """The ceiling for the regimen's contact, the warmest of the day (rule C14) and the animals there; what is not
    known takes the lower one."""
    warmest = groups = None
    if setting is not None and any(one.warmest for one in regimen.ceilings):
        warmest = warmest_of_day(setting)
    if setting is not None and setting.species and any(one.group for one in regimen.ceilings):
        each = [groups_there(fish, setting.own_groups) for fish in setting.species]
        # Of a fish that is on no list nothing is known: any of the groups may be there.
        groups = frozenset(g.id for found in each for g in found) if all(each) else None
    for hours in (None, contact_hours(regimen)):
        found = ceiling_for(regimen, hours, warmest_c=warmest, groups=groups)
        if found is not None:
            return found
    return None


def warmest_of_day(setting: Setting) -> Decimal | None:
    """The highest temperature read in the last 24 hours, °C; None when none was read in the last 12 (rule C14)."""
    span = last_read(setting, "temperature", TEMPERATURE_AGE_HOURS)
    since = setting.now - timedelta(hours=TEMPERATURE_SPAN_HOURS)
    readings = setting.evidence.readings if setting.evidence else setting.readings
    found = [
        Decimal(f.data["value"]) + Decimal(f.data["step"]) / 2
        for f in readings
        if f.data["parameter"] == "temperature" and since <= f.at <= setting.now
    ]
    return max(found) if span else None


def last_read(setting: Setting, parameter: str, within_hours: int = 24) -> ev.Span | None:
    """The last reading of the water, over the kit's step; None when there is none so recent."""
    readings = setting.evidence.readings if setting.evidence else setting.readings
    read = ev.last_readings(tuple(f for f in readings if f.at <= setting.now), parameter)
    if not read or setting.now - read[-1].at > timedelta(hours=within_hours):
        return None
    return ev.span_of(read)


def present_salinity(setting: Setting) -> Decimal | None:
    """The last salinity reading of 24 hours, g/L, by its upper end; None when there is none since the last salt."""
    span = salinity_now(setting)
    return span.high if span else None


def salinity_now(setting: Setting) -> ev.Span | None:
    """The salinity read within 24 hours. A reading taken before salt was added says nothing of the water now."""
    from quarantine.formulary import load

    readings = setting.evidence.readings if setting.evidence else setting.readings
    salted = [
        f.at
        for f in setting.doses
        # A dip's salt is not in this water.
        if f.at <= setting.now
        and f.data.get("route") in ("bath", "prolonged")
        and "salt" in load(f.data["substance"]).classes
    ]
    read = ev.last_readings(tuple(f for f in readings if f.at <= setting.now), "salinity", tuple(salted))
    if not read or setting.now - read[-1].at > timedelta(hours=24) or any(at >= read[-1].at for at in salted):
        return None
    return ev.span_of(read)


def default_target(regimen: Regimen) -> Quantity | None:
    if regimen.target is None or regimen.target.default is None:
        return None
    return Quantity(regimen.target.default.value, regimen.target.default.unit)


def contact_hours(regimen: Regimen) -> Decimal | None:
    contact = regimen.contact
    if contact is None or contact.high is None:
        return None
    return to(Quantity(contact.high.value, contact.high.unit), "h")


def litres_of(volume: Water) -> tuple[Decimal, Decimal]:
    """Litres as shown and their plus-minus, widened by what showing took: what is printed is what is computed with."""
    exact, plus_minus = Decimal(str(volume.litres)), Decimal(str(volume.plus_minus_litres))
    step = Decimal("0.1") if exact >= 10 else Decimal("0.001")
    litres = exact.quantize(step, rounding=ROUND_FLOOR)
    return litres, (plus_minus + exact - litres).quantize(step, rounding=ROUND_CEILING)
