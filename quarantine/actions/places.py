"""Sites, keepers, tanks and how much water is in them."""

from __future__ import annotations

from datetime import datetime
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal
from typing import Any

from quarantine.actions.desk import Desk, find_site, find_tank, free_name, named, when
from quarantine.failures import Refused, Usage
from quarantine.quantity import Quantity, read, show, to
from quarantine.records.store import Act, new_id
from quarantine.water.volume import label_overdose_percent, net_volume, shape_from_text

ROLES = ("quarantine", "display", "holding", "pond")
WATERS = ("fresh", "brackish", "marine")


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


def add_keeper(desk: Desk, name: str) -> dict[str, Any]:
    """A person who does the work."""
    with desk.act(anyone=True) as act:
        row = {"id": new_id(), "name": free_name(act.rows("keepers"), "keeper", name)}
        act.add("keeper", row)
        act.keeper = act.keeper or row["id"]
        act.describe("keeper added", "a keeper was added")
        return row


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
) -> dict[str, Any]:
    """A tank with its shape; its water volume is computed and kept as the first volume.

    ``measures`` are the typed lengths and displacements (see :func:`shape_from_text`).
    """
    role, water = _one_of("--role", role, ROLES), _one_of("--water", water, WATERS)
    table = shape_from_text(shape, **measures)
    volume = net_volume(table)
    label_litres = None if label is None else to(read(label, "volume", "--label"), "L")
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
        _add_volume(
            act,
            tank["id"],
            Decimal(repr(volume.litres)),
            Decimal(repr(volume.plus_minus_litres)),
            "computed from its measures",
            act.now,
            list(volume.working),
        )
        act.describe("tank added", f"tank {tank_name}: {volume.working[-1] if volume.working else ''}")
        over = None if label_litres is None else label_overdose_percent(float(label_litres), volume)
        return {
            "tank": tank_name,
            "system": system or tank_name,
            "volume": volume,
            "label_litres": label_litres,
            "label_overdose_percent": over,
        }


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
    desk: Desk, name: str, volume: str, *, by: str, plus_minus: str | None, at: str | None
) -> dict[str, Any]:
    """A measured volume rules from its date on; the history is kept."""
    litres = to(read(volume, "volume", "measured volume"), "L")
    if not by.strip():
        raise Usage('How was it measured? Say --by, such as --by "counted buckets".')
    if plus_minus is None:
        raise Usage('How sure is it? Say --plus-minus, such as --plus-minus "1 L".')
    error = to(_error_of(plus_minus, litres), "L")
    if litres <= 0 or error <= 0 or error >= litres:
        raise Refused("A measured volume and its plus-minus are more than nothing, and the volume is the larger.")
    with desk.act() as act:
        tank = find_tank(act, name)
        moment = when(at, tank["zone"], act.now)
        says = f"{show(litres, 2)} L, plus or minus {show(error, 2, up=True)} L, by {by.strip()}"
        _add_volume(act, tank["id"], litres, error, by.strip(), moment, [says])
        act.describe("tank measured", f"tank {tank['name']}: {says}", moment)
        return {"tank": tank["name"], "litres": litres, "plus_minus_litres": error, "method": by.strip()}


def _error_of(text: str, litres: Decimal) -> Quantity:
    if text.strip().endswith("%"):
        try:
            return Quantity(litres * Decimal(text.strip().removesuffix("%").strip()) / 100, "L")
        except ArithmeticError:
            raise Refused(f"--plus-minus {text!r} does not read: write litres or a percentage.") from None
    return read(text, "volume", "--plus-minus")


def _add_volume(
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


def rename_tank(desk: Desk, name: str, new_name: str) -> dict[str, Any]:
    """Another name for a tank; its id, history and links stay (F97)."""
    with desk.act() as act:
        tank = named(act.rows("tanks"), "tank", name)
        fresh = free_name([t for t in act.rows("tanks") if t["id"] != tank["id"]], "tank", new_name)
        act.change("tank", tank["id"], name=fresh)
        act.describe("tank renamed", f"tank {tank['name']} is now {fresh}")
        return {"tank": fresh, "was": tank["name"]}
