"""Rounding of doses: the table of doses that binary floats get wrong (computed with exact decimals, no source)."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest

from quarantine.quantity import ceil_to, floor_to, show

TABLE = [
    ("1.9", "0.1", "1.9"),
    ("0.29", "0.01", "0.29"),
    ("0.57", "0.01", "0.57"),
    ("4.35", "0.01", "4.35"),
    ("0.2271", "0.01", "0.22"),
    ("0.2271", "0.1", "0.2"),
    ("1.9", "1", "1"),
    ("0.0076", "0.01", "0"),
    ("1.15", "0.1", "1.1"),
]


@pytest.mark.parametrize(("dose", "step", "right"), TABLE)
def test_a_dose_is_rounded_down_exactly(dose: str, step: str, right: str) -> None:
    """A dose goes down to a whole step, and stays where it is one already."""
    assert floor_to(Decimal(dose), Decimal(step)) == Decimal(right)


def test_floats_would_get_four_of_them_wrong() -> None:
    """The reason for Decimal: floor(D / u) x u in floats is one step low for 1.9, 0.29, 0.57 and 4.35."""
    floats = [(d, u, r) for d, u, r in TABLE if math.floor(float(d) / float(u)) * Decimal(u) != Decimal(r)]
    assert [d for d, _, _ in floats] == ["1.9", "0.29", "0.57", "4.35"]


def test_what_protects_is_rounded_up() -> None:
    """0.2271 at a step of 0.01 goes up to 0.23, and 1.9 at 0.1 stays."""
    assert ceil_to(Decimal("0.2271"), Decimal("0.01")) == Decimal("0.23")
    assert ceil_to(Decimal("1.9"), Decimal("0.1")) == Decimal("1.9")


@pytest.mark.parametrize(
    ("dose", "step", "percent"),
    [("0.2271", "0.01", "-3.13"), ("0.2271", "0.1", "-11.93"), ("1.9", "1", "-47.4"), ("1.15", "0.1", "-4.35")],
)
def test_the_error_of_rounding_down(dose: str, step: str, percent: str) -> None:
    """What rounding takes off agrees with the table, within its last digit."""
    error = (floor_to(Decimal(dose), Decimal(step)) / Decimal(dose) - 1) * 100
    assert abs(error - Decimal(percent)) <= Decimal("0.05")


def test_what_is_shown_has_no_more_digits_than_the_step() -> None:
    """0.2271 g at 0.01 g is shown as 0.22 g and never as 0.23 g; a leading zero, no trailing one (our rule)."""
    assert show(floor_to(Decimal("0.2271"), Decimal("0.01"))) == "0.22"
    assert show(floor_to(Decimal("0.2000"), Decimal("0.01"))) == "0.2"
    assert show(Decimal("0.2271"), 2, up=False) == "0.22"
