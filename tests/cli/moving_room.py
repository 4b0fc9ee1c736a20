"""A hall with two quarantine tanks more than it needs, for the tests of fish that move."""

from __future__ import annotations

from once_room import AT, BOX, READY, OnceRoom, furnish, remembered


def hall(room: OnceRoom, protocol: str = "marine-praziquantel") -> OnceRoom:
    """The hall of the other tests, its batch Q2-1 in Q2, and beside it Q3 and Q4, empty."""
    return remembered(room, _hall, protocol).at(AT)


def _hall(room: OnceRoom, protocol: str) -> None:
    furnish(room, protocol)
    for name in ("Q3", "Q4"):
        room.type(f"tank add {name} --site Hall --role quarantine --water marine {BOX}")
        room.type(f"tank measure {name} 49.3L --by buckets --plus-minus 0.5L")


def day(
    room: OnceRoom, number: int, tank: str, seen: int = 4, clock: str = "16:00:00", more: str = "--no-signs"
) -> None:
    """One more day in February is looked at and tested."""
    room.at(f"2026-02-{number:02} {clock}")
    room.type(f'look "{tank} {seen} 3" {more}')
    room.type(f"reading {tank} {READY}")
