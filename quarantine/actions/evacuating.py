"""An emergency in one command (F69): a tank is made, all fish of another one are in it, the plan goes on."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from quarantine.actions.cards import measured
from quarantine.actions.desk import Desk, find_tank, free_name, when
from quarantine.actions.moving import How, Moved, carry
from quarantine.actions.places import add_volume
from quarantine.failures import Refused, Unknown, Usage
from quarantine.quantity import show, to
from quarantine.records.reads import Row
from quarantine.records.store import Act, new_id

LEVELS = ("known", "unknown", "none")
MADE_BY = "as said when it was made in an emergency"
ROUGH_PERCENT = Decimal(5)
"""The plus-minus of litres that were said at night without one; our choice, no source."""


def evacuate(
    desk: Desk,
    tank_name: str,
    to: str,
    *,
    make: str | None = None,
    level: str = "unknown",
    at: str | None = None,
    yes: bool = True,
    really: bool = False,
) -> Moved:
    """Every batch of a tank goes to another one now, which is made where ``make`` says its litres.

    ``level`` is what is known of medicine in the new water: known (it is the old water), unknown (some came along),
    none (clean water). Nothing is refused that can be recorded; what has to be done is said.
    """
    if level not in LEVELS:
        raise Usage(f"--level is one of {', '.join(LEVELS)}, not {level!r}.")
    with desk.act() as act:
        left = find_tank(act, tank_name)
        batches = [b for b in act.rows("open_batches") if b["tank"] == left["id"]]
        if not batches:
            raise Refused(f"No batch is in {left['name']}; nothing was recorded.")
        moment = when(at, left["zone"], act.now)
        if level == "known" and make is None:
            raise Usage(
                '--level known is for a tank that is made now and filled with the old water: say --make "40 L".'
            )
        there = _there(act, to) if make is None else make_tank(act, to, left, make, moment)
        how = How(
            urgent=True,
            no_water=level == "none",
            known=level == "known",
            unknown=level == "unknown",
            yes=yes,
            really=really,
        )
        told = carry(act, batches, there, moment, how)
        names = ", ".join(b["name"] for b in batches)
        act.describe("emergency move", f"{left['name']} to {there['name']}: batch {names}", moment)
        return told


def _there(act: Act, name: str) -> Row:
    """The tank they go to. Raises Unknown, which says how one is made of it in the same breath."""
    try:
        return find_tank(act, name)
    except Unknown as unknown:
        unknown.sentence += ' A tub or a bin that is made a tank now: say the water in it too, --make "40 L".'
        raise


def make_tank(act: Act, name: str, left: Row, make: str, moment: datetime) -> Row:
    """A tank of so many litres, of the same water and at the same site as another one, in a system of its own. One of
    that name that an emergency made, and of which nothing is on record because it was taken back, is that tank.
    """
    litres, error = measured(make, "volume", "--make")
    whole, off = to(litres, "L"), to(error, "L", difference=True)
    if not any(mark in make for mark in ("±", "+")):
        off = whole * ROUGH_PERCENT / 100
    if whole <= 0 or off >= whole:
        raise Refused("--make is the water in the new tank, more than nothing and more than its plus-minus.")
    if there := _made_before(act, name, left, whole, off):
        return there
    fresh = free_name(act.rows("tanks"), "tank", name)
    if any(row["name"].casefold() == fresh.casefold() for row in act.rows("systems")):
        raise Refused(f"There is a water system {fresh!r} already; choose another name.")
    system = {"id": new_id(), "name": fresh, "site": left["site"]}
    act.add("system", system)
    tank = {
        "id": new_id(),
        "name": fresh,
        "site": left["site"],
        "system": system["id"],
        "role": "quarantine",
        "water": left["water"],
        "shape": {},
        "label_litres": None,
    }
    act.add("tank", tank)
    says = f"{show(whole, 2)} L, plus or minus {show(off, 2, up=True)} L, {MADE_BY}"
    add_volume(act, tank["id"], whole, off, MADE_BY, moment, [says])
    return find_tank(act, fresh)


def _made_before(act: Act, name: str, left: Row, whole: Decimal, off: Decimal) -> Row | None:
    """The tank of a name, of these litres, that was made for a move which was taken back: nothing is known of its
    water, and no batch was ever in it."""
    found = [row for row in act.rows("tanks") if row["name"].casefold() == " ".join(name.split()).casefold()]
    if not found:
        return None
    there = found[0]
    volumes = act.rows("volumes", tank=there["id"])
    made = len(volumes) == 1 and volumes[0]["method"] == MADE_BY
    same = made and (Decimal(volumes[0]["litres"]), Decimal(volumes[0]["plus_minus"])) == (whole, off)
    alike = all(there[column] == left[column] for column in ("site", "water"))
    used = act.rows("facts_since", system=there["system"], since="") or act.rows(
        "batches_of_system", system=there["system"]
    )
    return there if same and alike and not used else None
