"""What a batch brings along, read off the facts of its moves (rules A9, B1, B3, B4 and B8; found by mutants)."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

from quarantine.facts import BEFORE, Fact
from quarantine.luggage import (
    COPIED,
    MOVED_IN,
    Left,
    doses_before,
    entries_of,
    last_move,
    left_behind,
    luggage_of,
    place_of,
)

START = datetime(2026, 2, 10, 10, tzinfo=UTC)


def at(day: float) -> datetime:
    """So many days after the fish came."""
    return START + timedelta(days=day)


def fact(id_: str, kind: str, day: float, *, batch: str = "B", system: str = "S", **data: Any) -> Fact:
    """One fact in a water of its own tank."""
    return Fact(id_, kind, at(day), at(day), "k", system, f"T-{system}", batch, None, data)


def move(id_: str, day: float, system: str, **more: Any) -> Fact:
    """A move to another water, with nothing in its bag but what is said."""
    bag: dict[str, Any] = {
        "from": "old", "joined": [], "entered_id": "a", "entered_at": START.isoformat(), "happenings": [],
        "lifted_at": None, "exposures": [], "in_range": {}, "begun": {}, "stops": {}, "settled": {}, "doses": [],
    }  # fmt: skip
    return fact(id_, MOVED_IN, day, system=system, **{**bag, **more})


ARRIVAL = fact("a", "arrival", 0, count=4)


def test_B3_a_batch_is_where_it_was_moved_last_and_since_then() -> None:
    """Moved twice: the second water, its tank, its instant; of another batch's move nothing."""
    moves = [move("m1", 2, "S2"), move("m2", 5, "S3"), move("other", 6, "S4")._replace(batch="C")]
    assert last_move([ARRIVAL, *moves], "B") == moves[1]
    assert place_of([ARRIVAL, *moves], "B", ARRIVAL) == ("S3", "T-S3", at(5))
    assert place_of([ARRIVAL], "B", ARRIVAL) == ("S", "T-S", at(0))


def test_B3_proven_time_is_carried_in_seconds() -> None:
    """Ninety thousand seconds are a day and an hour."""
    said = {"warm": {"zero": "2026-02-10", "since": START.isoformat(), "seconds": 90_000, "complete": None}}
    bags = luggage_of([move("m1", 2, "S2", in_range=said)], "B")
    assert bags is not None
    assert bags.in_range["warm"].counted == timedelta(days=1, hours=1)


def entries(facts: list[Fact], batch: str = "B") -> list[str]:
    """The ids of the facts by which fish came into the water of a batch."""
    arrival = next(f for f in facts if f.kind == "arrival" and f.batch == batch)
    return [f.id for f in entries_of(facts, batch, place_of(facts, batch, arrival))]


def test_B1_sentinel_fish_are_no_entry() -> None:
    """They show what the others carry: the clock of the water does not begin by them; by other added fish it does."""
    sentinel, more = fact("s", "added", 3, count=1, sentinel=True), fact("n", "added", 4, count=1)
    assert entries([ARRIVAL, sentinel, more]) == ["a", "n"]


def test_B1_what_came_into_the_water_before_the_batch_or_into_another_water_is_no_entry_of_it() -> None:
    """Moved into S2 on day 4: the fish that came there on day 3 exposed nobody; those at its own instant did."""
    before, with_it = fact("x", "arrival", 3, batch="X", system="S2"), fact("y", "arrival", 4, batch="Y", system="S2")
    elsewhere = fact("z", "arrival", 5, batch="Z", system="S9")
    moved = move("m", 4, "S2", joined=["X"])
    assert entries([ARRIVAL, before, moved, with_it, elsewhere]) == ["m", "y"]


def test_B3_a_move_into_water_without_fish_is_no_entry_and_beside_others_it_is() -> None:
    """The batch goes on with its own clock in the one, and begins again in the other."""
    assert entries([ARRIVAL, move("m", 4, "S2")]) == []
    assert entries([ARRIVAL, move("m", 4, "S2", joined=["X"])]) == ["m"]


def test_B4_a_copied_entry_counts_once_and_for_the_batch_that_has_the_copy() -> None:
    """Fish added on day 2, the batch parted on day 3: each of the two has one entry of that day, under its own id."""
    added, parted = fact("n", "added", 2, count=1), fact("c", "arrival", 0, batch="C", count=2, **{COPIED: "a"})
    copy = fact("n2", "added", 2, batch="C", count=1, **{COPIED: "n"})
    facts = [ARRIVAL, parted, added, copy]
    assert entries(facts, "B") == ["a", "n"]
    assert entries(facts, "C") == ["c", "n2"]


DOSE = {"substance": "praziquantel", "regimen": "Z01", "target_mg_per_l": "2"}


def test_B8_the_doses_before_a_move_are_the_batchs_own_and_those_of_others_it_was_in() -> None:
    """One of its own, one of a neighbour that its move carries; a dose of the water it is in now is none before."""
    others = [{"id": "d2", "at": at(2).isoformat(), "data": {**DOSE, "regimen": "Z02"}}]
    facts = [fact("d1", BEFORE, 1, **DOSE), move("m", 4, "S2", doses=others), fact("d3", "dose", 5, **DOSE)]
    assert [(f.id, f.kind, f.at) for f in doses_before(facts)] == [("d1", BEFORE, at(1)), ("d2", BEFORE, at(2))]


def test_B8_of_several_moves_the_last_carries_the_doses_of_others_once() -> None:
    """The second bag holds what the first one held."""
    one = {"id": "d1", "at": at(1).isoformat(), "data": DOSE}
    two = {"id": "d2", "at": at(3).isoformat(), "data": DOSE}
    facts = [move("m1", 2, "S2", doses=[one]), move("m2", 4, "S3", doses=[one, two])]
    assert [f.id for f in doses_before(facts)] == ["d1", "d2"]


def test_B8_a_copy_of_a_dose_that_this_water_had_is_not_counted_beside_it() -> None:
    """A batch that was parted from another one has a copy: the water's own dose is the one that counts."""
    dose, copy = fact("d1", "dose", 1, **DOSE), fact("d2", BEFORE, 1, batch="C", **{**DOSE, COPIED: "d1"})
    assert doses_before([dose, copy]) == []
    assert doses_before([copy]) == [copy]


def test_A9_what_fish_were_in_has_three_instants() -> None:
    """First given on day 1, last on day 3, left on day 4: none stands for another."""
    said = {
        "substance": "praziquantel", "since": at(1).isoformat(), "last_dose": at(3).isoformat(),
        "until": at(4).isoformat(), "target": "2",
    }  # fmt: skip
    (left,) = left_behind([move("m", 4, "S2", exposures=[said])])
    assert left == Left("B", "praziquantel", at(1), at(3), at(4), Decimal(2))
