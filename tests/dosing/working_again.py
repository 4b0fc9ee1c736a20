"""Works the printed lines of a dose out again, each line from the figures printed in it and in exact fractions."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Any

WATER = re.compile(r"water: ([\d.]+) L, plus or minus ([\d.]+) L \(.+\)")
TARGET = re.compile(r"target ([\d.]+) (m?)g/L(?: - present ([\d.]+) g/L)?, for ([\d.]+) L: ([\d.]+) g")
CEILING = re.compile(
    r"ceiling ([\d.]+) (m?)g/L(?: - present ([\d.]+) g/L)?, for ([\d.]+) - ([\d.]+) = ([\d.]+) L: ([\d.]+) g"
)
SMALLER = re.compile(r"the smaller: ([\d.]+) g; rounded down to steps of ([\d.]+) g: ([\d.]+) g")
GIVES = re.compile(
    r"gives ([\d.]+) g in ([\d.]+) L to ([\d.]+) L(?:, with ([\d.]+) to ([\d.]+) g/L there)?: "
    r"([\d.]+) to ([\d.]+) (m?)g/L"
)


def rework(lines: list[str]) -> tuple[Fraction, Fraction, Fraction]:
    """The amount in g and both ends of what it gives, worked out from the printed lines; fails where one is untrue."""
    litres, sure = _numbers(WATER, lines)
    level, milli, there, volume, by_target = _numbers(TARGET, lines)
    share = 1000 if milli else 1
    assert volume == litres
    assert by_target == (level / share - (there or 0)) * volume
    top, milli_top, there_top, whole, less, least, by_ceiling = _numbers(CEILING, lines)
    assert (whole, less, least, there_top) == (litres, sure, litres - sure, there)
    assert by_ceiling == (top / (1000 if milli_top else 1) - (there or 0)) * least
    smaller, step, amount = _numbers(SMALLER, lines)
    assert smaller == min(by_target, by_ceiling)
    assert amount == smaller // step * step
    poured, most, least_again, low_there, high_there, low, high, milli_gives = _numbers(GIVES, lines)
    assert (poured, most, least_again, milli_gives) == (amount, litres + sure, least, milli)
    assert high_there == there
    assert low == _three_digits(((low_there or 0) + amount / most) * share, up=False)
    assert high == _three_digits(((high_there or 0) + amount / least) * share, up=True)
    return amount, low, high


def _numbers(pattern: re.Pattern[str], lines: list[str]) -> list[Any]:
    """What a working line holds: its numbers as fractions, units as they stand, None where a part is left out."""
    found = [match for line in lines if (match := pattern.fullmatch(line.strip()))]
    assert len(found) == 1, (pattern.pattern, lines)
    return [Fraction(part) if part and part[0].isdigit() else part for part in found[0].groups()]


def _three_digits(value: Fraction, *, up: bool) -> Fraction:
    step = Fraction(1)
    while value / step >= 1000:
        step *= 10
    while value / step < 100:
        step /= 10
    return -(-value // step) * step if up else value // step * step
