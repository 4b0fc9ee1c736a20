"""The card that hangs at a tank: its name for good, its water, its fish."""

from __future__ import annotations

from quarantine import dosing
from quarantine.actions.sheets import Lodger, TankCard
from quarantine.reports.paper import Block
from quarantine.reports.sheet import OWN_KIT


def papers(card: TankCard) -> list[list[Block]]:
    """The card as one paper."""
    return [[_name(card), _water(card), *map(_lodger, card.lodgers), *_empty(card), *_cautions(card), _kit(card)]]


def title_of(card: TankCard) -> str:
    """What the page is called."""
    return f"Tank {card.tank}"


def _name(card: TankCard) -> Block:
    return Block("name", (card.tank, f"{card.role}, {card.water.kind} water, at {card.site}"))


def _water(card: TankCard) -> Block:
    water = card.water
    lines = [f"Water: {card.volume}."]
    if card.label:
        lines.append(card.label)
    if water.shares:
        lines.append(f"Shares its water with {', '.join(water.shares)} (water system {water.system}).")
    for one in water.inside:
        lines.append(f"IN THE WATER: {one.name}, {one.upper}; ceiling {one.ceiling} ({one.reference}).")
    if water.unknown:
        lines.append("IN THE WATER: something of unknown size.")
    if not water.inside and not water.unknown:
        lines.append("In the water by the record: no substance.")
    return Block("large", ("Water", *lines))


def _lodger(lodger: Lodger) -> Block:
    lines = [
        *lodger.fish,
        f"{lodger.alive} alive on record. Arrived {lodger.arrived}; {lodger.day}.",
        f"Protocol: {lodger.protocol}." + (f" To go to {lodger.destination}." if lodger.destination else ""),
    ]
    if lodger.signs:
        lines.append(f"Signs open: {', '.join(lodger.signs)}.")
    return Block("large", (f"Batch {lodger.batch}", *lines))


def _empty(card: TankCard) -> list[Block]:
    return [] if card.lodgers else [Block("large", ("Fish", "No batch is in quarantine here."))]


def _cautions(card: TankCard) -> list[Block]:
    lines = [f"{one.name}: {one.cautions}" for one in card.water.inside]
    return [Block("notes", ("Cautions", *lines))] if lines else []


def _kit(card: TankCard) -> Block:
    return Block(
        "rules",
        (
            f"OWN KIT: net, siphon, bucket and thermometer of {card.tank} only",
            f"They are marked with its name and go into no other water. Wash hands before and after ({OWN_KIT}).",
            dosing.DEFERS,
            f"Day {card.on:%A %-d %B %Y}; as of {card.as_of}. The record is the list, this card is not.",
        ),
    )
