"""Sites, keepers, tanks and how much water is in them."""

from __future__ import annotations

import json
import re
import shlex
from datetime import datetime, timedelta
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal
from typing import Any

from quarantine.actions.desk import Desk, find_site, find_tank, free_name, local_text, named, when
from quarantine.facts import local_day
from quarantine.failures import Refused, Usage
from quarantine.quantity import Quantity, read, read_with_error, show, to
from quarantine.records.loading import VolumeRecord, volume_of
from quarantine.records.reads import Row
from quarantine.records.store import Act, new_id
from quarantine.water import measuring
from quarantine.water.volume import (
    PERCENT_DEFAULT,
    Measure,
    Stand,
    Volume,
    label_overdose_percent,
    measured_at,
    net_volume,
    shape_from_text,
    stand_from_text,
    volume_at,
)

ROLES = ("quarantine", "display", "holding", "pond")
WATERS = ("fresh", "brackish", "marine")
SALT = "salt tracer"
COMPUTED = "computed from its measures"
"""The method of a tank's first volume; `records.queries` sorts by it, and no measured volume may take its name."""


def add_site(desk: Desk, name: str, zone: str) -> dict[str, Any]:
    """A place with tanks and a time zone (an IANA name such as Europe/Berlin)."""
    _check_zone(zone)
    with desk.act(anyone=True) as act:
        row = {"id": new_id(), "name": free_name(act.rows("sites"), "site", name), "zone": zone}
        act.add("site", row)
        act.describe("site added", f"site {row['name']} in zone {zone}")
        return row


def _check_zone(zone: str) -> None:
    from difflib import get_close_matches
    from zoneinfo import ZoneInfo, available_timezones

    try:
        ZoneInfo(zone)
    except (KeyError, ValueError, OSError):
        near = get_close_matches(zone, available_timezones(), n=3, cutoff=0.5)
        mean = f" Did you mean {', '.join(near)}?" if near else ""
        raise Refused(
            f"{zone!r} is not a time zone; write one such as Europe/Berlin or America/New_York.{mean}"
        ) from None


def add_keeper(desk: Desk, name: str, *, yes: bool = False) -> dict[str, Any]:
    """A person who does the work. Raises Refused where somebody is there now on days on which nobody was and that moves
    dates, with old and new ones, until ``yes`` is said."""
    with desk.act(anyone=True) as act:
        row = {"id": new_id(), "name": free_name(act.rows("keepers"), "keeper", name)}
        before = _days_before(act, row["id"]) if act.rows("absences", since="0000") else {}
        act.add("keeper", row)
        act.keeper = act.keeper or row["id"]
        act.describe("keeper added", "a keeper was added")
        return {**row, "moved": _planned_again(act, before, yes=yes) if before else []}


def _days_before(act: Act, keeper: str) -> dict[str, dict[str, Any]]:
    from quarantine.actions.peopling import days_before
    from quarantine.roster import Person

    zones = {site["id"]: site["zone"] for site in act.rows("sites")}
    return days_before(
        act,
        lambda roster, site: roster._replace(
            people=(*roster.people, Person(keeper, "", "", local_day(act.now, zones[site])))
        ),
    )


def _planned_again(act: Act, before: dict[str, dict[str, Any]], *, yes: bool) -> list[str]:
    from quarantine.actions.peopling import planned_again

    return planned_again(act, before, [], yes=yes)


def add_tank(
    desk: Desk,
    name: str,
    *,
    site: str,
    role: str,
    water: str,
    shape: str,
    measures: dict[str, str | None],
    system: str | None = None,
    label: str | None = None,
    really: bool = False,
) -> dict[str, Any]:
    """A tank with its shape; its water volume is computed and kept as the first volume.

    A label volume that is far from it is asked about once (``really``): one of the two is a slip (F22).

    ``measures`` are the typed lengths and displacements (see :func:`shape_from_text`).
    """
    role, water = _one_of("--role", role, ROLES), _one_of("--water", water, WATERS)
    table = shape_from_text(shape, **measures)
    volume = net_volume(table)
    label_litres = None if label is None else to(read(label, "volume", "--label"), "L")
    if label_litres is not None and not really:
        _ask_far(_amounts(volume)[0], "its measures give", label_litres, "the label says")
    with desk.act() as act:
        home = find_site(act, site)
        tank_name = free_name(act.rows("tanks"), "tank", name)
        tank = {
            "id": new_id(),
            "name": tank_name,
            "site": home["id"],
            "system": _system(act, system, tank_name, home["id"], water),
            "role": role,
            "water": water,
            "shape": table,
            "label_litres": label_litres,
        }
        act.add("tank", tank)
        add_volume(
            act,
            tank["id"],
            *_amounts(volume),
            COMPUTED,
            act.now,
            list(volume.working),
        )
        litres, error = _amounts(volume)
        says = f"{show(litres, 2)} L, plus or minus {show(error, 2, up=True)} L, {COMPUTED}"
        act.describe("tank added", f"tank {tank_name}: {says}")
        over = None if label_litres is None else label_overdose_percent(float(label_litres), volume)
        return {
            "tank": tank_name,
            "system": system or tank_name,
            "volume": volume,
            "label_litres": label_litres,
            "label_overdose_percent": over,
        }


def _ask_far(one: Decimal, one_says: str, other: Decimal, other_says: str) -> None:
    """An order-of-magnitude alarm: two volumes of one tank that are far apart are a slip of the unit or the decimal
    point, and every dose goes by them. Raises Refused."""
    if min(one, other) > 0 and max(one, other) / min(one, other) >= FAR_TIMES:
        raise Refused(
            f"{one_says} {show(one, 2)} L and {other_says} {show(other, 2)} L: {show(FAR_TIMES)} times apart or more, "
            "so one of them may be a slip of the unit or the decimal point. If both are so, say --really; nothing was "
            "recorded."
        )


def _one_of(option: str, value: str, allowed: tuple[str, ...]) -> str:
    if value not in allowed:
        raise Usage(f"{option} is one of {', '.join(allowed)}, not {value!r}.")
    return value


def _check_joining(act: Act, system: dict[str, Any], water: str) -> None:
    """A tank joins a system of the same water, and not one with fish under quarantine."""
    for tank in act.rows("tanks"):
        if tank["system"] == system["id"] and tank["water"] != water:
            raise Refused(f"Water system {system['name']!r} holds {tank['water']} water ({tank['name']}), not {water}.")
    if any(batch["system"] == system["id"] for batch in act.rows("open_batches")):
        raise Refused(
            f"A batch is in water system {system['name']!r}: a tank that joins it now would change its doses. "
            "Join it when the batch is signed off."
        )


def _system(act: Act, name: str | None, tank_name: str, site: str, water: str) -> str:
    """The water system a tank belongs to: a named one (made when new), else one of its own."""
    wanted = name or tank_name
    for row in act.rows("systems"):
        if row["name"].casefold() == wanted.casefold():
            if name is None:
                raise Refused(f"There is a water system {wanted!r} already; say --system to join it or choose a name.")
            if row["site"] != site:
                raise Refused(f"Water system {row['name']!r} is at another site; a system is at one place.")
            _check_joining(act, row, water)
            return str(row["id"])
    row = {"id": new_id(), "name": " ".join(wanted.split()), "site": site}
    act.add("system", row)
    return str(row["id"])


def measure_tank(
    desk: Desk, name: str, volume: str, *, by: str, plus_minus: str | None, at: str | None, really: bool = False
) -> dict[str, Any]:
    """A measured volume rules from its date on; the history is kept."""
    litres = to(read(volume, "volume", "measured volume"), "L")
    if not by.strip():
        raise Usage('How was it measured? Say --by, such as --by "counted buckets".')
    if by.strip().casefold().startswith("computed"):
        raise Usage("A measured volume is not a computed one: say --by what it was measured, such as counted buckets.")
    if plus_minus is None:
        raise Usage('How sure is it? Say --plus-minus, such as --plus-minus "1 L".')
    error = to(_error_of(plus_minus, litres), "L")
    return _measured(desk, name, litres, error, by.strip(), (), at, really)


def gauge_tank(
    desk: Desk,
    name: str,
    *,
    buckets: str | None = None,
    fill: str | None = None,
    meter: str | None = None,
    salt: str | None = None,
    before: str | None = None,
    after: str | None = None,
    calibration: str | None = None,
    at: str | None = None,
    really: bool = False,
) -> dict[str, Any]:
    """A volume measured in one of the ways of :mod:`quarantine.water.measuring`, recorded as `tank measure` does."""
    given = [way for way, text in (("buckets", buckets), ("fill", fill), ("meter", meter), ("salt", salt)) if text]
    if len(given) != 1:
        raise Usage(f"Say one way in which it was measured: {'; '.join(measuring.WAYS.values())}.")
    if salt is None and (before or after or calibration):
        raise Usage("--before, --after and --calibration belong to --salt.")
    if buckets:
        method, volume = "counted buckets", measuring.from_buckets(buckets)
    elif fill:
        method, volume = "timed fill", measuring.from_fill(fill)
    elif meter:
        method, volume = "metered fill", measuring.from_meter(meter)
    else:
        method, volume = SALT, measuring.from_salt(salt or "", before, after, calibration)
    litres, error = _amounts(volume)
    return _measured(desk, name, litres, error, method, volume.working, at, really)


def _measured(
    desk: Desk,
    name: str,
    litres: Decimal,
    error: Decimal,
    method: str,
    working: tuple[str, ...],
    at: str | None,
    really: bool,
) -> dict[str, Any]:
    """Record a measured volume with the water where it stands on record."""
    # A record holds hundredths of a litre: what would be nothing there, or not known there, is refused here.
    step = Decimal("0.01")
    if error <= 0 or error.quantize(step, rounding=ROUND_CEILING) >= litres.quantize(step):
        raise Refused(
            "A measured volume and its plus-minus are more than nothing, and the volume is the larger (to 0.01 L)."
        )
    with desk.act() as act:
        tank = find_tank(act, name)
        if method == SALT:
            _check_alone(act, tank)
        moment = when(at, tank["zone"], act.now)
        volumes = _volumes(act, tank)
        known = [v for v in volumes if v.valid_from <= moment] or volumes[:1]
        if known and not really:
            _ask_far(litres, "measured were", known[-1].litres, f"on record ({known[-1].method}) stand")
        says = f"{show(litres, 2)} L, plus or minus {show(error, 2, up=True)} L, by {method}"
        notes = []
        if stood := _level_before(volumes, moment):
            notes.append(f"On record it was measured with {stood.method.removeprefix(LEVEL)}.")
        later = [v for v in volumes if v.valid_from > moment]
        if later:
            notes += _ruled_by(tank, later[-1], litres, error, method)
        add_volume(act, tank["id"], litres, error, method, _free_second(volumes, moment), [*working, says])
        act.describe("tank measured", f"tank {tank['name']}: {says}", moment)
        from quarantine.actions.levels import off_strength

        notes += off_strength(act, tank, act.now)
        return {
            "tank": tank["name"],
            "litres": litres,
            "plus_minus_litres": error,
            "method": method,
            "working": working,
            "notes": notes,
            "rules": not later,
        }


def _ruled_by(tank: Row, later: VolumeRecord, litres: Decimal, error: Decimal, method: str) -> list[str]:
    """What rules in place of a volume measured before it, and what to type so that the measured one does."""
    since = local_text(later.valid_from, tank["zone"])
    sure = f"{show(error, 2, up=True)} L"
    words = ("tank", "measure", tank["name"], f"{show(litres, 2)} L", "--by", method, "--plus-minus", sure)
    again = shlex.join(("quarantine", *words))
    return [
        f"A later volume is on record and rules now: {show(later.litres)} L, {later.method}. It is of {since}.",
        f"If the one just measured is right as of now, say so, and it rules: {again}",
    ]


def _check_alone(act: Act, tank: Row) -> None:
    """Salt spreads through the whole water system: of one tank of several it says too much, and so would its doses."""
    others = [t["name"] for t in act.rows("tanks") if t["system"] == tank["system"] and t["id"] != tank["id"]]
    if others:
        raise Refused(
            f"{tank['name']} shares its water with {', '.join(sorted(others))}, and salt measures all of it: count"
            " buckets, or if the tank was cut off from the others, record it with quarantine tank measure."
        )


# --- Where the water stands ------------------------------------------------------------------------------

FAR_TIMES = Decimal(5)
"""Two volumes of one tank this far apart are asked about once: half of a ten-fold slip, so that a rough measure beside
it hides none. Our choice, no source."""

LEVEL = "computed for "
"""How the method of a volume begins that was computed for the water at another height."""


def level_tank(desk: Desk, name: str, stands: str, *, at: str | None) -> dict[str, Any]:
    """The water stands elsewhere ("3 cm below", "29 cm", "at the mark"): a dated volume for that height.

    The last measured volume rules over the computed one: it is carried to the new height by the layer between, from
    the tank's shape. Raises Refused for a height the tank cannot have, and for a tank without a shape on record.
    """
    with desk.act() as act:
        tank = find_tank(act, name)
        moment = when(at, tank["zone"], act.now)
        shape = json.loads(tank["shape"])
        if not shape.get("filled"):
            raise Refused(
                f"Tank {tank['name']!r} has no shape on record, only measured volumes: measure it again with the water"
                " as it stands now: quarantine tank gauge."
            )
        stand = stand_from_text(shape, stands)
        volumes = _volumes(act, tank)
        volume = _carried(shape, stand, volumes, moment, tank["zone"])
        says = f"{_where(stand)}; the mark is at {_cm(stand.height.value - stand.above_mark.value)} cm"
        working = [f"water height: {_cm(stand.height.value)} cm, {says}", *volume.working]
        litres, error = _amounts(volume)
        method = LEVEL + _where(stand)
        add_volume(act, tank["id"], litres, error, method, _free_second(volumes, moment), working)
        act.describe("water height", f"tank {tank['name']}: {says}; {show(litres, 2)} L", moment)
        return {
            "tank": tank["name"],
            "litres": litres,
            "plus_minus_litres": error,
            "method": method,
            "water_height_cm": stand.height.value,
            "above_mark_cm": stand.above_mark.value,
            "working": working,
            "rules": not any(v.valid_from > moment for v in volumes),
        }


def _carried(shape: dict[str, Any], stand: Stand, volumes: list[VolumeRecord], moment: datetime, zone: str) -> Volume:
    """The volume at another height: from the shape alone, or from what was last measured by then."""
    bases = [v for v in volumes if not v.method.startswith(LEVEL)]
    base = ([v for v in bases if v.valid_from <= moment] or bases[:1])[-1]
    if base.method == COMPUTED:
        return volume_at(shape, stand)
    stood = _level_before(volumes, base.valid_from)
    was = _above_mark(stood.method) if stood else Measure(0.0, 0.0)
    day = local_day(base.valid_from, zone)
    says = f"{show(base.litres)} L, plus or minus {show(base.plus_minus)} L, {base.method}, {day}"
    measured = Volume(float(base.litres), float(base.plus_minus), (says,))
    return measured_at(shape, measured, was, stand)


def _volumes(act: Act, tank: Row) -> list[VolumeRecord]:
    return [volume_of(row) for row in act.rows("volumes", tank=tank["id"])]


def _level_before(volumes: list[VolumeRecord], at: datetime) -> VolumeRecord | None:
    """The water height in force at an instant, unless it is the mark."""
    levels = [v for v in volumes if v.method.startswith(LEVEL) and v.valid_from <= at]
    return levels[-1] if levels and _above_mark(levels[-1].method).value else None


def _where(stand: Stand) -> str:
    """Where the water stands, in words that `_above_mark` reads again."""
    change, error = stand.above_mark
    if not change:
        return "the water at the mark"
    return f"the water {_cm(abs(change))} ± {_cm(error)} cm {'above' if change > 0 else 'below'} the mark"


def _above_mark(method: str) -> Measure:
    found = re.search(r"([0-9.]+) ± ([0-9.]+) cm (above|below)", method)
    if found is None:
        return Measure(0.0, 0.0)
    return Measure(float(found[1]) * (1 if found[3] == "above" else -1), float(found[2]))


def _cm(value: float) -> str:
    return show(Decimal(repr(value)), 2)


def _free_second(volumes: list[VolumeRecord], at: datetime, *, computed: bool = False) -> datetime:
    """The instant itself, or the next second without a volume: within one second their order would be lost."""
    taken = {v.valid_from for v in volumes if computed or v.method != COMPUTED}
    while at in taken:
        at += timedelta(seconds=1)
    return at


def _amounts(volume: Volume) -> tuple[Decimal, Decimal]:
    """Litres and plus-minus without a float's tail, which would round 0.05 L up to 0.06 L."""
    litres, error = (Decimal(repr(round(part, 9))) for part in (volume.litres, volume.plus_minus_litres))
    return litres, error


def _error_of(text: str, litres: Decimal) -> Quantity:
    if text.strip().endswith("%"):
        try:
            return Quantity(litres * Decimal(text.strip().removesuffix("%").strip()) / 100, "L")
        except ArithmeticError:
            raise Refused(f"--plus-minus {text!r} does not read: write litres or a percentage.") from None
    return read(text, "volume", "--plus-minus")


def add_volume(
    act: Act, tank: str, litres: Decimal, plus_minus: Decimal, method: str, at: datetime, working: list[str]
) -> None:
    tenth = Decimal("0.01")
    act.add(
        "volume",
        {
            "id": new_id(),
            "tank": tank,
            "litres": litres.quantize(tenth, rounding=ROUND_HALF_EVEN),
            "plus_minus": plus_minus.quantize(tenth, rounding=ROUND_CEILING),
            "method": method,
            "valid_from": at,
            "working": working,
            "keeper": act.keeper,
        },
    )


# --- Sump and filter, and the heater ---------------------------------------------------------------------


def tank_parts(
    desk: Desk,
    name: str,
    *,
    sump: str | None = None,
    filter_: str | None = None,
    counted: str | None = None,
    at: str | None = None,
    really: bool = False,
) -> dict[str, Any]:
    """How many litres stand in the sump and the filter of a tank on record, and the volume that follows, dated.

    Doses with the filter off go without them (rule C10). Nothing ("0 L") takes a part off the record. ``counted`` says
    of measured litres whether they hold both ("yes" or "no"); computed ones are computed anew. Raises Usage for what is
    missing or does not read, Refused for a tank without a shape, water off its mark, and what looks like a slip.
    """
    typed = {part: text for part, text in (("sump", sump), ("filter", filter_)) if text is not None}
    if not typed:
        raise Usage('Say how many litres stand in them: --sump "20 L", --filter "2 L" or both.')
    read_parts = {part: _part(text, f"--{part}") for part, text in typed.items()}
    with desk.act() as act:
        tank = find_tank(act, name)
        moment = when(at, tank["zone"], act.now)
        shape = json.loads(tank["shape"])
        if not shape.get("filled"):
            raise Refused(
                f"Tank {tank['name']!r} has no shape on record, only litres: measure it with its sump and filter full: "
                "quarantine tank gauge."
            )
        if _level_before(_volumes(act, tank), moment):
            raise Refused(
                f"On record the water of {tank['name']} is off its mark: say first that it stands there (quarantine "
                'tank level, "at the mark"), and afterwards where it stands.'
            )
        fresh = {**shape, **read_parts}
        volumes = _volumes(act, tank)
        litres, error, method, working = _with_parts(shape, fresh, volumes, moment, counted)
        rules = ([v for v in volumes if v.valid_from <= moment] or volumes[:1])[-1]
        if not really:
            _ask_far(litres, "with them it holds", rules.litres, f"on record ({rules.method}) stand")
        parts = _parts_words(fresh) or "neither sump nor filter"
        says = f"{show(litres, 2)} L, plus or minus {show(error, 2, up=True)} L in all, of it {parts}"
        act.change("tank", tank["id"], shape=fresh)
        since = _free_second(volumes, moment, computed=True)
        add_volume(act, tank["id"], litres, error, method, since, [*working, says])
        act.describe("sump and filter", f"tank {tank['name']}: {says}", moment)
        from quarantine.actions.levels import off_strength

        return {
            "tank": tank["name"],
            "litres": litres,
            "plus_minus_litres": error,
            "method": method,
            "sump_litres": _litres_in(fresh, "sump"),
            "filter_litres": _litres_in(fresh, "filter"),
            "says": says,
            "working": working,
            "notes": off_strength(act, tank, act.now),
        }


def _part(text: str, option: str) -> list[str] | None:
    """Litres of a part with their plus-minus, as the shape keeps them; None: nothing stands there."""
    value, error = read_with_error(text, "volume", option, PERCENT_DEFAULT)
    litres = to(value, "L")
    return [show(litres), show(to(error, "L", difference=True))] if litres else None


def _litres_in(shape: dict[str, Any], part: str) -> Decimal:
    return Decimal(shape[part][0]) if shape.get(part) else Decimal(0)


def _parts_words(shape: dict[str, Any]) -> str:
    return " and ".join(
        f"{show(_litres_in(shape, part))} L in the {part}" for part in ("sump", "filter") if shape.get(part)
    )


def _with_parts(
    was: dict[str, Any], fresh: dict[str, Any], volumes: list[VolumeRecord], moment: datetime, counted: str | None
) -> tuple[Decimal, Decimal, str, list[str]]:
    """Litres, plus-minus, method and working of a tank's volume with other litres in its sump and filter."""
    bases = [v for v in volumes if not v.method.startswith(LEVEL)]
    base = ([v for v in bases if v.valid_from <= moment] or bases[:1])[-1]
    if base.method == COMPUTED:
        if counted is not None:
            raise Usage("--counted is for measured litres; these are computed from the tank's measures.")
        volume = net_volume(fresh)
        return *_amounts(volume), COMPUTED, list(volume.working)
    if counted is None:
        raise Refused(
            f"{show(base.litres)} L are on record by {base.method}. Were sump and filter full and counted with them? "
            "Say --counted yes or --counted no."
        )
    if counted not in ("yes", "no"):
        raise Usage(f"--counted is yes or no, not {counted!r}.")
    before = f"measured: {show(base.litres)} L, plus or minus {show(base.plus_minus)} L, {base.method}"
    more = sum(_litres_in(fresh, part) - _litres_in(was, part) for part in ("sump", "filter"))
    if counted == "yes" or not more:
        if sum(_litres_in(fresh, part) for part in ("sump", "filter")) >= base.litres:
            raise Refused(f"Sump and filter would hold all of the {show(base.litres)} L; measure them again.")
        return base.litres, base.plus_minus, base.method, [before, "sump and filter were counted with them"]
    # Both errors may go one way, as those of several tanks.
    error = base.plus_minus + sum(Decimal(fresh[part][1]) for part in ("sump", "filter") if fresh.get(part))
    litres = base.litres + more
    if litres <= error:
        raise Refused(f"That would leave {show(litres)} L, plus or minus {show(error)} L; measure the tank again.")
    line = f"sump and filter beside them: {show(base.litres)} {'+' if more > 0 else '-'} {show(abs(more))} = "
    return litres, error, f"{base.method}, sump and filter beside it", [before, f"{line}{show(litres)} L"]


def set_point(desk: Desk, name: str, celsius: str | None, *, none: bool, at: str | None) -> dict[str, Any]:
    """To which temperature the heater of a tank is set (rule C14); ``none``: no heater warms it any more.

    A cap on temperature counts the higher of it and of what was read in 24 hours. 0 to 45 °C. Raises Usage for what is
    missing or does not read, Refused outside, and for ``none`` where no set point is on record.
    """
    from quarantine.actions.entering import add_fact, id_after
    from quarantine.actions.planning import replan
    from quarantine.readings import PARAMETERS

    if none == (celsius is not None):
        raise Usage('Say the temperature that the heater is set to, such as "26 °C", or --none for no heater.')
    span, degrees = PARAMETERS["temperature"], None
    if celsius is not None:
        degrees = to(read(celsius, "temperature", "set point"), span.unit)
        if not span.low <= degrees <= span.high:
            raise Refused(
                f"A heater set to {show(degrees, 1)} °C is hard to believe (expected {show(span.low)} to "
                f"{show(span.high)} °C); a slip of the unit or the decimal point?"
            )
    with desk.act() as act:
        tank = find_tank(act, name)
        moment = when(at, tank["zone"], act.now)
        told = act.rows("facts_of_kind", kind="set_point", system=tank["system"])
        mine = [json.loads(row["data"]) for row in told if row["tank"] == tank["id"]]
        if none and not (mine and mine[-1]["celsius"] is not None):
            raise Refused(f"No set point of {tank['name']} is on record; nothing was recorded.")
        id_ = id_after(act, tank["system"], moment)
        data = {"celsius": degrees}
        add_fact(act, "set_point", system=tank["system"], tank=tank["id"], at=moment, data=data, id_=id_)
        replan(act, tank["system"])
        says = "no heater any more" if degrees is None else f"the heater is set to {show(degrees)} °C"
        act.describe("set point", f"{tank['name']}: {says}", moment)
        return {"tank": tank["name"], "at": moment, "celsius": degrees, "says": says, "zone": tank["zone"]}


def rename_tank(desk: Desk, name: str, new_name: str) -> dict[str, Any]:
    """Another name for a tank; its id, history and links stay (F97)."""
    with desk.act() as act:
        tank = named(act.rows("tanks"), "tank", name)
        fresh = free_name([t for t in act.rows("tanks") if t["id"] != tank["id"]], "tank", new_name)
        act.change("tank", tank["id"], name=fresh)
        act.describe("tank renamed", f"tank {tank['name']} is now {fresh}")
        return {"tank": fresh, "was": tank["name"]}
