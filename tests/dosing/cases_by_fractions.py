"""The generator of cases.csv: 200 doses worked out in exact fractions, without a line of the program.

Run it (``python tests/dosing/cases_by_fractions.py``) and it prints the table; a test compares the file with it.
It follows the words of the rules, not the code: a box holds length x width x depth / 1000 L, a cylinder
pi x diameter² / 4 x depth / 1000 L; each measure's plus-minus is worth half of what the volume differs between its two
ends, and together they are the root of the sum of their squares; a record keeps hundredths of a litre, the plus-minus
up; a dose is shown for tenths of a litre (thousandths under 10 L), the litres down and the plus-minus up by as much;
amount = the smaller of target x V and ceiling x (V - u) (rule C2), for salt less what is there already (C15), down to
whole steps of the scale (C4); more than a fifth lost to that is held, and so is less than one step; a plus-minus over
a quarter of the volume is held before (C3: no row here has an effective minimum); what it gives lies between the
amount in V + u and the amount in V - u, to three digits, rounded outward.

The column ``working`` spells it out; a test works every ``a = b`` of it out again. ``by_hand`` marks the cases that
were also worked with pencil and paper.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Callable, Iterator
from fractions import Fraction
from itertools import cycle
from math import isqrt

PI = Fraction("3.14159265358979323846264338327950288419716939937510")
ROCK_KG_PER_L = Fraction("2.7")  # limestone and granite, from memory; plus or minus a tenth, as the program has it
COLUMNS = ("case", "how", "measures", "plus_minus", "row", "scale_g", "present_g_per_l", "litres", "sure_litres")
COLUMNS += ("hold", "add_g", "gives_low", "gives_high", "working", "by_hand")

# row: water, target and ceiling in mg/L, unit of the target (the formulary holds the sources)
ROWS = {
    "Z01": ("marine", Fraction(2), Fraction(10), "mg/L"),
    "Z02": ("marine", Fraction(2), Fraction(10), "mg/L"),
    "M01": ("fresh", Fraction(5), Fraction(5), "mg/L"),
    "T04": ("fresh", Fraction(5000), Fraction(5000), "g/L"),
}
BY_HAND = {1, 2, 3, 4, 5, 76, 77, 146, 147, 148}

MEASURED = [
    *(("49.3 L", "0.5 L"), ("49.3 L", "0.6 L"), ("100 L", "3 L"), ("11.4 L", "0.1 L"), ("5.1 L", "0.05 L")),
    *(("20 L", "18.5 L"), ("50 L", "41 L"), ("60 L", "15 L"), ("60 L", "15.1 L"), ("60 L", "14.9 L")),
    *(("9.999 L", "0.1 L"), ("10 L", "0.1 L"), ("10.04 L", "0.1 L"), ("10.05 L", "0.1 L"), ("10.06 L", "0.1 L")),
    *(("0.75 L", "0.02 L"), ("1.5 L", "0.02 L"), ("2.25 L", "0.03 L"), ("4.9 L", "0.05 L"), ("7.125 L", "0.1 L")),
    *(("29.97 L", "0.3 L"), ("33.33 L", "0.4 L"), ("66.67 L", "0.7 L"), ("99.99 L", "1 L"), ("124.95 L", "1 L")),
    *(("1234.56 L", "12 L"), ("4999.99 L", "50 L"), ("9999.9 L", "99.9 L"), ("50000 L", "500 L"), ("99999.9 L", "9 L")),
]
BOXES = [
    *(("60", "30", "32"), ("60", "30", "30"), ("45", "28", "30.5"), ("120", "50", "47.5"), ("24.5", "24.5", "24.5")),
    *(("100", "40", "41.3"), ("80", "35", "38"), ("30", "20", "18.2"), ("200", "60", "55"), ("61.3", "28.9", "31.7")),
    *(("15", "15", "14"), ("90", "45", "40"), ("36.6", "18.3", "20.1"), ("50", "50", "45.05"), ("150", "150", "60")),
]
EXTRAS = [{}, {"walls": "0.6"}, {"rocks": "3"}, {"sump": "22"}, {"walls": "1", "rocks": "7.5", "sump": "40"}]
CYLINDERS = [
    *(("80", "50"), ("25", "24"), ("120", "70"), ("61.5", "33.3"), ("300", "90"), ("18", "17"), ("44.4", "40"))
]
SCALES = ("0.01", "0.001", "0.1", "0.05", "0.002")
SALT_SCALES = ("1", "0.1", "5", "0.5", "25")
PRESENT = ("0.5", "0.25", "1.3", "3", "4.5")


def text(number: Fraction) -> str:
    """A fraction that ends, as decimal text: 1/2 is 0.5, 5 is 5."""
    places = 0
    while (number * 10**places).denominator != 1:
        places += 1
        assert places < 40, number
    digits = f"{abs(number.numerator * 10**places // number.denominator):0{places + 1}d}"
    whole = digits[: len(digits) - places] + ("." + digits[len(digits) - places :] if places else "")
    return ("-" if number < 0 else "") + whole


def down(number: Fraction, step: Fraction) -> Fraction:
    return number // step * step


def up(number: Fraction, step: Fraction) -> Fraction:
    return -(-number // step) * step


def root_up(square: Fraction, step: Fraction) -> Fraction:
    """The smallest whole number of steps whose square is not below ``square``."""
    scaled = square / (step * step)
    whole = isqrt(scaled.numerator // scaled.denominator)
    return (whole if whole * whole >= scaled else whole + 1) * step


def three_digits(number: Fraction, rounding: Callable[[Fraction, Fraction], Fraction]) -> Fraction:
    if number == 0:
        return number
    step = Fraction(1)
    while number / step >= 1000:
        step *= 10
    while number / step < 100:
        step /= 10
    return rounding(number, step)


Measures = dict[str, tuple[Fraction, Fraction]]


def geometry(how: str, measures: Measures) -> Fraction:
    at = {name: value for name, (value, _) in measures.items()}
    off = 2 * at.get("walls", Fraction(0))
    if how == "box":
        water = (at["length"] - off) * (at["width"] - off) * at["filled"] / 1000
    else:
        water = PI * (at["diameter"] - off) ** 2 / 4 * at["filled"] / 1000
    stones = at["rocks"] / at["density"] if "rocks" in at else 0
    return water - stones + at.get("sump", Fraction(0))


def volume(how: str, measures: Measures) -> tuple[Fraction, Fraction]:
    """Litres and their plus-minus as the record keeps them."""
    litres = geometry(how, measures)
    square = Fraction(0)
    for name, (value, error) in measures.items():
        ends = [geometry(how, measures | {name: (value + shift, error)}) for shift in (error, -error)]
        square += ((ends[0] - ends[1]) / 2) ** 2
    hundredth = Fraction(1, 100)
    return Fraction(round(litres / hundredth)) * hundredth, root_up(square, hundredth)


def typed(sizes: dict[str, str]) -> Measures:
    """What is typed without a plus-minus has 0.2 cm, the water's height 0.3 cm, walls 0.05 cm, kg and litres 5 %."""
    errors = {"filled": "0.3", "walls": "0.05"}
    found = {}
    for name, size in sizes.items():
        value = Fraction(size)
        error = value / 20 if name in ("rocks", "sump") else Fraction(errors.get(name, "0.2"))
        found[name] = (value, error)
    if "rocks" in found:
        found["density"] = (ROCK_KG_PER_L, ROCK_KG_PER_L / 10)
    return found


def formula(how: str, sizes: dict[str, str]) -> str:
    """The volume as people write it; with a cylinder or rocks it does not end, and the working begins after it."""
    if how != "box" or "rocks" in sizes:
        return ""
    off = f" - 2 x {sizes['walls']}" if "walls" in sizes else ""
    sump = f" + {sizes['sump']}" if "sump" in sizes else ""
    sides = f"({sizes['length']}{off}) x ({sizes['width']}{off})"
    exact = geometry(how, typed(sizes))
    return f"{sides} x {sizes['filled']} / 1000{sump} = {text(exact)}; "


def dose(number: int, how: str, measures: str, plus_minus: str, water: tuple[Fraction, Fraction], row: str, scale: str,
         present: str, first: str) -> dict[str, str]:  # fmt: skip
    """One line of the table."""
    kept, error = water
    _, target, ceiling, unit = ROWS[row]
    step = Fraction(1, 10) if kept >= 10 else Fraction(1, 1000)
    litres = down(kept, step)
    sure = up(error + kept - litres, step)
    half = Fraction(1, 2 * 10 ** len(present.partition(".")[2])) if present else Fraction(0)
    there = Fraction(present or 0)
    high_there, low_there = (there + half) * 1000 if present else Fraction(0), max(there - half, Fraction(0)) * 1000
    by_target = (target - high_there) * litres
    by_ceiling = (ceiling - high_there) * (litres - sure)
    exact = min(by_target, by_ceiling)
    grain = Fraction(scale) * 1000
    given = down(exact, grain)
    hold = "C4" if given == 0 or (exact - given) / exact > Fraction(1, 5) else ""
    hold = "C3" if sure / litres > Fraction(1, 4) else hold
    share = 1000 if unit == "g/L" else 1
    low = three_digits((low_there + given / (litres + sure)) / share, down)
    high = three_digits((high_there + given / (litres - sure)) / share, up)
    t, c, h = text(target), text(ceiling), text(high_there)
    working = (
        f"{first}({t} - {h}) x {text(litres)} = {text(by_target)}; "
        f"({c} - {h}) x ({text(litres)} - {text(sure)}) = {text(by_ceiling)}; "
        f"{text(given / grain)} x {scale} x 1000 = {text(given)}; {text(given)} / 1000 = {text(given / 1000)}"
    )
    line = (number, how, measures, plus_minus, row, scale, present, litres, sure, hold)
    line += ("" if hold else given / 1000, "" if hold else low, "" if hold else high, working, "")
    named = dict(zip(COLUMNS, (text(v) if isinstance(v, Fraction) else str(v) for v in line), strict=True))
    return named | {"by_hand": "yes" if number in BY_HAND else ""}


def cases() -> Iterator[dict[str, str]]:
    """200 lines: 75 of measured volumes, 70 of boxes, 55 of cylinders."""
    rows, scales, salt_scales, there = cycle(("Z01", "M01", "Z02")), cycle(SCALES), cycle(SALT_SCALES), cycle(PRESENT)
    plan: list[tuple[str, str, str, tuple[Fraction, Fraction], str]] = []
    for n in range(75):
        litres, sure = MEASURED[n % len(MEASURED)]
        kept = Fraction(round(Fraction(litres[:-2]) * 100), 100)
        plan.append(("measured", litres, sure, (kept, up(Fraction(sure[:-2]), Fraction(1, 100))), ""))
    for how, names, shapes, most in (
        ("box", ("length", "width", "filled"), BOXES, 70),
        ("cylinder", ("diameter", "filled"), CYLINDERS, 55),
    ):
        for n in range(most):
            extra = EXTRAS[n // len(shapes) % len(EXTRAS)]
            sizes = dict(zip(names, shapes[n % len(shapes)], strict=True)) | extra
            units = {"rocks": "kg", "sump": "L"}
            words = " ".join(f"{name}={size}{units.get(name, 'cm')}" for name, size in sizes.items())
            plan.append((how, words, "", volume(how, typed(sizes)), formula(how, sizes)))
    for number, (how, words, sure, water, first) in enumerate(plan, start=1):
        salt = number % 4 == 0 and water[0] >= 2
        row = "T04" if salt else next(rows)
        scale = next(salt_scales) if salt else next(scales)
        yield dose(number, how, words, sure, water, row, scale, next(there) if salt else "", first)


def main() -> None:
    writer = csv.DictWriter(sys.stdout, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(cases())


if __name__ == "__main__":
    main()
