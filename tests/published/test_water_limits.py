"""Limits of the water and chloride against nitrite, beside the sources that give them.

- SRAC: Southern Regional Aquaculture Center, Nitrite in Fish Ponds, SRAC Publication 462, 1997 (a passage).
- Catfish: Chloride inhibition of nitrite-induced methemoglobinemia in channel catfish (abstract; year not recorded).
- Wiley: Fundamentals of Aquatic Veterinary Medicine, ISBN 9781119612728 (copies; no year).
- Pet-fish practice: Water chemistry (no year).
- Guide: Wiley, Clinical Guide to Fish Medicine, ISBN 9781119259848 (copies).
- IFAS: Univ. of Florida IFAS EDIS, Ammonia, FA16/FA031, 1990/1996 (a copy).
- Defra: Selling animals as pets licensing, statutory guidance, 2024: from memory.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from quarantine import dosing
from quarantine.formulary import regimen
from quarantine.readings import NITRITE_PER_N
from quarantine.water.advice import FASTEST_DOWN, FASTEST_UP, Chloride, chloride_lines, general_limits, strictest

TARGET = regimen("T11")[1].target
assert TARGET is not None
assert TARGET.default is not None
T11 = Chloride(TARGET.default.value, "SRAC 462", (), (), ())


def test_nitrite_is_3_28_times_its_nitrogen() -> None:
    """Formula weights N 14.007 and O 15.999 (IUPAC, abridged, from memory): 46.005 / 14.007 = 3.284; printed 3.28."""
    assert abs(Decimal("46.005") / Decimal("14.007") - NITRITE_PER_N) < Decimal("0.005")


@pytest.mark.parametrize(("nitrite", "chloride"), [("1", "10"), ("10", "100"), ("2.5", "25")])
def test_SRAC_ten_parts_of_chloride_to_one_of_nitrite(nitrite: str, chloride: str) -> None:
    """SRAC 462: at least 10 to 1 by mg/L; its standing 100 mg/L of chloride answers 10 mg/L of nitrite."""
    lines, _ = chloride_lines("NO2", Decimal(nitrite), T11)
    assert f"here {chloride} mg/L of chloride" in lines[0]


def test_the_catfish_trial_asks_for_more_than_ten_to_one() -> None:
    """100 mg/L of sodium chloride (60.7 mg/L of chloride) with 5 mg/L of nitrite: 12 to 1, so the 10 is no ceiling."""
    assert Decimal("60.7") / 5 > T11.ratio


def test_the_limits_of_a_dose_are_those_of_the_advice() -> None:
    """IFAS: harm from 0.05 mg/L of un-ionized ammonia; Defra: nitrite 0.2 mg/L fresh, 0.125 mg/L sea, as nitrite."""
    high = {c.value: c.high for c in dosing.OUT_OF_LIMIT}
    assert (high["uia"], high["nitrite"], dosing.FRESH_NITRITE) == ("0.05", "0.125", "0.2")


@pytest.mark.parametrize(
    ("water", "parameter", "low", "high"),
    [
        ("fresh", "ph", "6.7", "8.6"),  # Wiley: general range
        ("marine", "ph", "6.7", "8.6"),
        ("fresh", "temperature", "18", "30"),  # Pet-fish practice: koi from 18 °C; discus to 30 °C: from memory
        ("marine", "temperature", "22", "29"),  # Guide: 22 to 28 °C; Pet-fish practice: 26 to 29 °C
    ],
)
def test_general_ranges_are_the_widest_of_the_sources(water: str, parameter: str, low: str, high: str) -> None:
    """Exactly as printed."""
    least, most = strictest(general_limits(water), parameter)
    assert least is not None
    assert most is not None
    assert (least.low, most.high) == (Decimal(low), Decimal(high))


def test_the_quickest_change_of_temperature() -> None:
    """Veterinary course text, Maintenance of water quality for healthy fish (no year): over +2 or -1 °C in 24 h."""
    assert (FASTEST_UP, FASTEST_DOWN) == (2, 1)
