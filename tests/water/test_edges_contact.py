"""When contact with a dose ended, where two facts share an instant or a substance (A9, B3; found by mutants)."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from quarantine.facts import BEFORE, Fact
from quarantine.luggage import MOVED_IN
from quarantine.water.ledger import Water, exposures

START = datetime(2026, 2, 10, 10, tzinfo=UTC)
WATER = Water(200.0, 2.0)


def at(day: float) -> datetime:
    return START + timedelta(days=day)


def fact(kind: str, day: float, data: dict[str, Any], *, entered: float = 0) -> Fact:
    """A fact of the water; ``entered`` in seconds after it happened."""
    seconds = timedelta(seconds=entered)
    return Fact(f"{kind}{day}{entered}", kind, at(day), at(day) + seconds, "k", "S", "T", "B", None, data)


def dose(day: float, route: str = "bath", *, entered: float = 0) -> Fact:
    """2 mg/L, in the water or in food."""
    data = {"substance": "praziquantel", "route": route, "target_mg_per_l": "2", "mass_mg": "400", "counts": True}
    return fact("dose", day, data, entered=entered)


def change(day: float, litres: str = "200.0", *, entered: float = 0) -> Fact:
    return fact("change", day, {"out_litres": litres, "in_litres": litres}, entered=entered)


def until(*facts: Fact, as_of: float = 20) -> datetime | None:
    """When contact ended; None while it goes on."""
    (one,) = exposures(list(facts), WATER, at(as_of))
    return one.until


def test_A9_contact_ends_with_the_change_that_takes_it_out() -> None:
    """All of the water is changed on day 5; a tenth of it on day 4 ends nothing."""
    assert until(dose(3), change(4, "20.0")) is None
    assert until(dose(3), change(4, "20.0"), change(5)) == at(5)


def test_A9_clean_water_before_the_pour_is_no_end_of_its_contact() -> None:
    """All of the water is changed and then dosed, both told for one minute: the dose is in the water."""
    assert until(change(3), dose(3, entered=1)) is None
    assert until(change(3), dose(3, entered=1), change(5)) == at(5)


def test_A9_medicine_in_food_after_a_bath_is_a_later_dose() -> None:
    """The bath was taken out on day 4; the same substance in food on day 6: contact ended then."""
    assert until(dose(3), change(4), dose(6, "food")) == at(6)
    assert until(dose(3), dose(4, "food"), change(5)) == at(5)


def moved(*more: Fact) -> datetime | None:
    """Fish that were bathed on day 3 came into a clean water on day 5, with what is told besides."""
    left = {
        "substance": "praziquantel", "since": at(3).isoformat(), "last_dose": at(3).isoformat(),
        "until": at(5).isoformat(), "target": "2",
    }  # fmt: skip
    bag = fact(MOVED_IN, 5, {"exposures": [left], "doses": []})
    return until(dose(3)._replace(kind=BEFORE), bag, *more)


def test_A9_with_the_fish_out_contact_ended_unless_water_came_along() -> None:
    """Water that came with them is told for the instant of the move: then contact goes on until all of it is changed,
    with what the tank may hold above its volume."""
    unknown = {"what": "water of the fish", "substance": "praziquantel"}
    assert moved() == at(5)
    assert moved(fact("unknown_addition", 5, unknown, entered=1)) is None
    assert moved(fact("unknown_addition", 5, unknown, entered=1), change(6, "204.0")) == at(6)
