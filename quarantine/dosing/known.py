"""What the record says of the water, the animals and the regimen's ceiling at the moment of a dose."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from functools import cache, lru_cache
from typing import TYPE_CHECKING

from quarantine import evidence as ev
from quarantine.dosing.setting import Setting, Where
from quarantine.dosing.words import counts_in_ledger, in_ledger
from quarantine.formulary import Ceiling, Regimen, Substance, by_water, ceiling_for
from quarantine.quantity import Quantity, show, to
from quarantine.water.ledger import Water, flowed

if TYPE_CHECKING:
    from quarantine.formulary.groups import Group, Groups


TEMPERATURE_AGE_HOURS, TEMPERATURE_SPAN_HOURS = 12, 24  # rule C14


@cache
def groups_known(own: str) -> Groups:
    from quarantine.formulary import groups

    return groups.with_own(own, groups.FILE) if own else groups.shipped()


@lru_cache(maxsize=256)
def groups_there(species: str, own: str) -> tuple[Group, ...]:
    from quarantine.formulary.groups import groups_of

    there = groups_known(own)
    ids = groups_of(species, there)
    return tuple(group for group in there.groups if group.id in ids)


def kinds_of(species: str, setting: Setting) -> frozenset[str] | None:
    """Ids of the groups an animal belongs to, by the lists and by what keepers said; None where neither knows it."""
    said = [ids for name, ids in setting.said_groups if name == species.casefold()]
    listed = frozenset(group.id for group in groups_there(species, setting.own_groups))
    return listed.union(*said) if listed or said else None


def ceiling_in_ledger(substance: Substance, regimen: Regimen, setting: Setting | None = None) -> Decimal | None:
    """The ceiling that holds for the regimen's contact, in the unit of the substance's ledger; None where none does, or
    where it is no level in the water (food). Water so warm that no level is allowed in it takes the lowest there is."""
    lowest = min(regimen.ceilings, key=lambda one: one.figure.value, default=None)
    ceiling = ceiling_of(regimen, setting) or ceiling_of(regimen, None) or lowest
    if ceiling is None or not counts_in_ledger(substance, ceiling.figure.unit):
        return None
    return in_ledger(substance, Quantity(ceiling.figure.value, ceiling.figure.unit))


def ceiling_of(regimen: Regimen, setting: Setting | None) -> Ceiling | None:
    """The ceiling for the regimen's contact, the warmest of the day (rule C14) and the animals there; what is not
    known takes the lower one."""
    warmest = groups = None
    if setting is not None and any(one.warmest for one in regimen.ceilings):
        warmest = warmest_of_day(setting)
    if setting is not None and setting.species and any(one.group for one in regimen.ceilings):
        each = [kinds_of(fish, setting) for fish in setting.species]
        # Of a fish that is on no list nothing is known: any of the groups may be there.
        groups = None if None in each else frozenset[str]().union(*(found for found in each if found is not None))
    for hours in (None, contact_hours(regimen)):
        found = ceiling_for(regimen, hours, warmest_c=warmest, groups=groups)
        if found is not None:
            return _by_the_water(regimen, setting, found)
    return None


def _by_the_water(regimen: Regimen, setting: Setting | None, found: Ceiling) -> Ceiling:
    """The ceiling lowered to what the water that was read allows, by the low end of each kit's step (rules C2, C17)."""
    if setting is None or not any(rule.use == "ceiling" for rule in regimen.water_rules):
        return found
    spans = {by: water_reading(setting, by) for by in dict.fromkeys(rule.by for rule in regimen.water_rules)}
    lows = {by: max(span.low, Decimal(0)) for by, span in spans.items() if span is not None}
    figure = by_water(regimen, "ceiling", lows)
    return found if figure is None or figure.value >= found.figure.value else found._replace(figure=figure)


FLOWED_SHARE = Decimal("0.01")
"""Water that flowed through since a reading, over this share of the volume, makes it a reading of another water. Our
choice, no source."""


def since_altered(setting: Setting, at: datetime) -> bool:
    """Whether nothing was changed in the water on record since an instant."""
    noted = (*setting.moved, *setting.doses)
    altered = setting.evidence.altered if setting.evidence else tuple(f.at for f in noted)
    return not any(at < moment <= setting.now for moment in altered) and not flowed_on(setting, at)


def flowed_on(setting: Setting, since: datetime) -> bool:
    """Whether so much water flowed through since an instant that what was read then is not so any more."""
    litres = flowed(list(setting.moved), since, setting.now)
    return litres > 0 and (setting.volume is None or litres > float(FLOWED_SHARE) * setting.volume.litres)


def water_reading(setting: Setting, parameter: str) -> ev.Span | None:
    """A reading of the water of 24 hours that no change of water has made old."""
    span = last_read(setting, parameter)
    return span if span is not None and since_altered(setting, span.at) else None


def warmest_of_day(setting: Setting) -> Decimal | None:
    """The highest of the temperatures read in the last 24 hours and of the set point, °C; None when none was read in
    the last 12 (rule C14): what a heater is set to is no reading of the water."""
    span = last_read(setting, "temperature", TEMPERATURE_AGE_HOURS)
    since = setting.now - timedelta(hours=TEMPERATURE_SPAN_HOURS)
    readings = setting.evidence.readings if setting.evidence else setting.readings
    found = [
        Decimal(f.data["value"]) + Decimal(f.data["step"]) / 2
        for f in readings
        if f.data["parameter"] == "temperature" and since <= f.at <= setting.now
    ]
    return max(found + ([] if setting.set_point is None else [setting.set_point])) if span else None


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
    """The salinity read within 24 hours. A reading taken before salt was added, or water changed, topped up,
    evaporated or flowed through, says nothing of the water now."""
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
    salted += [f.at for f in setting.moved if f.at <= setting.now]
    read = ev.last_readings(tuple(f for f in readings if f.at <= setting.now), "salinity", tuple(salted))
    if not read or setting.now - read[-1].at > timedelta(hours=24) or any(at >= read[-1].at for at in salted):
        return None
    if flowed_on(setting, read[-1].at):
        return None
    return ev.span_of(read)


def default_target(regimen: Regimen, setting: Setting) -> Quantity | None:
    """The row's own target, or what the water that was read offers; None where it has none, or the water is unknown."""
    if regimen.water_rules and regimen.target is None:
        return offered(regimen, setting)
    if regimen.target is None or regimen.target.default is None:
        return None
    return Quantity(regimen.target.default.value, regimen.target.default.unit)


def offered(regimen: Regimen, setting: Setting) -> Quantity | None:
    """What the water that was read offers, by the lower of its rules and at the lower of both ends of each reading."""
    rules = dict.fromkeys(rule.by for rule in regimen.water_rules if rule.use == "offer")
    spans = {by: water_reading(setting, by) for by in rules}
    lows = {by: max(span.low, Decimal(0)) for by, span in spans.items() if span is not None}
    found = [by_water(regimen, "offer", lows)] if rules else []
    # Half of the rule is offered from 120 mg/L: water that may be there takes the half.
    for by, span in spans.items():
        found += [by_water(regimen, "offer", {**lows, by: span.high})] if span is not None and found[0] else []
    known = [figure for figure in found if figure is not None]
    least = min(known, key=lambda figure: figure.value, default=None)
    return None if least is None or found[0] is None else Quantity(least.value, least.unit)


def contact_hours(regimen: Regimen) -> Decimal | None:
    contact = regimen.contact
    if contact is None or contact.high is None:
        return None
    return to(Quantity(contact.high.value, contact.high.unit), "h")


def circulating(where: Where | None, setting: Setting) -> Setting:
    """The setting with the litres that circulate at this dose (rule C10): with the filter off V - sump - filter. A dose
    without a template goes into the water as it runs by the record.

    Their plus-minus is that of all the water and that of sump and filter together: both errors may go one way. Where
    the litres apart are not known, or other tanks share the water, nothing is changed and the dose is held
    (:func:`quarantine.dosing.holds.where_hold`).
    """
    whole, apart = setting.volume, setting.apart
    off = setting.filter_off if where is None else where.filter == "off"
    if not off or setting.whole or whole is None or apart is None:
        return setting
    litres, plus_minus = (Decimal(str(one)) for one in whole[:2])
    less, error = (Decimal(str(one)) for one in apart[:2])
    says = (
        f"filter off: {show(litres, 2)} L, plus or minus {show(plus_minus, 2, up=True)} L, {setting.volume_says}, less "
        f"the {show(less, 2)} L, plus or minus {show(error, 2, up=True)} L, of {setting.apart_says}"
    )
    alone = Water(float(litres - less), float(plus_minus + error))
    return setting._replace(volume=alone, volume_says=says, whole=whole)


def missing_litres(regimen: Regimen, setting: Setting) -> Decimal:
    """Litres that the record says are missing of the water that a dose goes into, up to 0.001 L; a dip's vessel lacks
    none."""
    missing = Decimal(0) if regimen.own_vessel else setting.short_litres
    return missing.quantize(Decimal("0.001"), rounding=ROUND_CEILING)


def litres_of(volume: Water) -> tuple[Decimal, Decimal]:
    """Litres as shown and their plus-minus, widened by what showing took: what is printed is what is computed with."""
    exact, plus_minus = Decimal(str(volume.litres)), Decimal(str(volume.plus_minus_litres))
    step = Decimal("0.1") if exact >= 10 else Decimal("0.001")
    litres = exact.quantize(step, rounding=ROUND_FLOOR)
    return litres, (plus_minus + exact - litres).quantize(step, rounding=ROUND_CEILING)
