"""A dose for water that goes round through several vessels is given in parts over time (rule C10)."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from waters import asked, water

from quarantine.dosing import Setting, Where
from quarantine.dosing.forms import MOST_PARTS, PART_MINUTES, parts_of

SYSTEM = Where("system", "running", ())
SUMP = ("1 other tank", "the sump")


def shared(litres: float, step: str = "0.01", beside: tuple[str, ...] = SUMP) -> Setting:
    """Marine water that two tanks and a sump share."""
    return water(litres=litres, kind="marine", step=step)._replace(beside=beside)


def line(row: str, setting: Setting, where: Where | None = SYSTEM, strength: str | None = None) -> str:
    """What the card says of parts; empty where it says nothing."""
    found = [words for words in asked(row, setting, strength, where=where).how if words.startswith("Shared water: ")]
    assert len(found) <= 1
    return found[0] if found else ""


@given(steps=st.integers(1, 10**6), step=st.sampled_from(["0.001", "0.01", "0.1", "0.05", "0.0455", "1", "0.5"]))
def test_C10_the_parts_are_measurable_alike_and_their_sum_is_the_dose(steps: int, step: str) -> None:
    """Each is a whole number of steps and at least one; none differs from another by more than a step; never more."""
    one = Decimal(step)
    parts = parts_of(steps * one, one)
    assert sum(parts) == steps * one
    assert len(parts) == min(MOST_PARTS, steps)
    assert all(part >= one and part % one == 0 for part in parts)
    assert max(parts) - min(parts) <= one
    assert list(parts) == sorted(parts)


def test_C10_a_systems_dose_is_shown_in_three_parts_each_measured() -> None:
    """2 mg/L in 500 L are 1 g: 0.33 + 0.33 + 0.34 g, ten minutes apart; how many and how long is our own choice."""
    said = line("Z01", shared(500))
    assert "in 3 parts, 0.33 g + 0.33 g + 0.34 g = 1 g, each measured and dissolved by itself" in said
    assert f"at least {PART_MINUTES} min apart, into strong flow" in said
    assert "our choice, no source" in said
    assert "Contact counts from the last part." in said


def test_C4_a_part_of_under_twenty_steps_is_not_measured_by_itself() -> None:
    """0.4 g on a 0.01 g scale is forty steps: weighed once, all of it dissolved, and the bucket poured by shares."""
    said = line("Z01", shared(200))
    assert "measure 0.4 g once" in said
    assert "about 0.13 g + 0.13 g + 0.14 g, stirred well before each" in said
    assert "each measured" not in said
    # Sixty steps are twenty for each part.
    assert "each measured" in line("Z01", shared(300))


@pytest.mark.parametrize(
    ("litres", "parts"), [(5.0, "one step"), (10.0, "in 2 parts, about 0.01 g + 0.01 g"), (15.0, "in 3 parts, about")]
)
def test_no_part_is_less_than_a_step(litres: float, parts: str) -> None:
    """One step has no parts, two have two, three have three."""
    assert parts in line("Z01", shared(litres))


def test_a_lone_tank_is_dosed_at_once() -> None:
    """Neither its own filter's litres nor a template that says "system" makes two vessels of it."""
    for beside in ((), ("the filter",)):
        assert line("Z01", shared(500, beside=beside)) == ""
    assert line("Z01", shared(500), where=None)
    assert "in parts into strong flow" in " ".join(asked("Z01", shared(500, beside=()), where=SYSTEM).how)


def test_a_dip_and_a_held_dose_have_no_parts() -> None:
    """A dip is in a vessel of its own; nothing is divided of what may not be given."""
    assert line("Z01", shared(2)) == ""
    salt = water(litres=200)._replace(beside=SUMP, vessel=water(litres=10).volume)
    assert line("T01", salt, where=Where("vessel", "", ())) == ""


def test_the_dose_itself_is_not_changed_by_its_parts() -> None:
    """Amount and both ends are those of the same water in one tank."""
    one, several = (asked("Z01", shared(500, beside=beside), where=SYSTEM).dose for beside in ((), SUMP))
    assert one == several
