"""Measuring the water: what is typed, what it gives, its plus-minus, and what is refused."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quarantine.failures import Refused, Usage
from quarantine.water.measuring import (
    advice_for_salt,
    from_buckets,
    from_fill,
    from_meter,
    from_salt,
)
from quarantine.water.volume import Volume


def recomputed(volume: Volume) -> tuple[float, float]:
    """The litres of the line before the plus-minus, worked out, and as it says."""
    left, right = volume.working[-2].split(": ", 1)[1].split(" = ")
    return eval(re.sub(r" (g/L|g|L|s)\b", "", left).replace("x", "*")), float(right.removesuffix(" L"))


@pytest.mark.parametrize(
    ("volume", "litres", "plus_minus"),
    [
        (from_buckets("17 x 10 L"), 170, 8.5),  # one bucket, one mark: 17 times its 0.5 L
        (from_buckets("17x10 L ± 0.1 L"), 170, 1.7),
        (from_buckets("4 × 10 L ± 1 % + 3.5 L ± 0.1 L"), 43.5, math.hypot(0.4, 0.1)),
        (from_buckets("2 x 1 USgal +- 0 L; 1 L +- 1 L"), 8.570823568, 1),
        (from_fill("12 L/min for 9 min"), 108, 108 * math.hypot(0.05, 1 / 540)),
        (from_fill("12 L/min ± 0.6 L/min for 9 min ± 0 s"), 108, 5.4),
        (from_fill("0.2 L ± 0 L / s for 1 h ± 36 s"), 720, 7.2),
        (from_fill("7.5 L ± 0 L in 42 s ± 0.42 s for 336 s ± 0 s"), 60, 0.6),
        (from_meter("1203.2 L to 1254.9 L"), 51.7, 2.585),
        (from_meter("1.2032 m3 to 1254.9 L ± 0.5 L"), 51.7, 0.5),
        (from_meter("1203.2 L to 1254.9 L ± 2 %"), 51.7, 1.034),
        (from_salt("50 g ± 1 g", "0.2 g/L", "1.2 g/L ± 0.02 g/L", None), 50, 50 * math.hypot(0.02, 0.02, 0.02)),
        (from_salt("50 g ± 0 g", "200 mg/L ± 0.02 g/L", "1.2 g/L", None), 50, 50 * math.hypot(0.02, 0.02)),
        # 318 mg/L by 600 uS/cm; the scale is worth 10 %.
        (from_salt("15.9 g ± 0 g", "0.3 mS/cm", "900 uS/cm ± 6 uS/cm", None), 50, 50 * math.hypot(0.01, 0.01, 0.1)),
        (
            from_salt("50 g ± 0 g", "300 uS/cm ± 1 uS/cm", "2.3 mS/cm", "1 g ± 0 g in 1 L ± 0 L: 300 to 2300 uS/cm"),
            50,
            50 * math.hypot(*[0.0005] * 4),
        ),
    ],
)  # fmt: skip
def test_what_a_measurement_gives(volume: Volume, litres: float, plus_minus: float) -> None:
    """Litres and plus-minus by hand, and a working that gives the same litres."""
    assert volume.litres == pytest.approx(litres)
    assert volume.plus_minus_litres == pytest.approx(plus_minus)
    left, right = recomputed(volume)
    assert left == pytest.approx(right, rel=1e-4)
    assert right == pytest.approx(volume.litres, abs=0.0001)
    assert volume.working[-1].startswith("plus-minus: ")


@pytest.mark.parametrize(
    ("read", "text", "says"),
    [
        (from_buckets, "17 x 10", "--buckets '10' has no unit"),
        (from_buckets, "0 x 10 L", "count in --buckets is zero"),
        (from_buckets, "17 x 0 L", "--buckets '0 L' is zero"),
        (from_buckets, "10 L x 17", "more than one number"),
        (from_buckets, "16.5 x 10 L", "more than one number"),
        (from_buckets, "17 x 3 gal", "US gallon"),
        (from_buckets, "", "do not read"),
        (from_buckets, "17 x 10 L +", "do not read"),
        (from_fill, "12 L/min", "does not read; write it as in"),
        (from_fill, "12 L for 9 min", "does not read"),
        (from_fill, "12 L/min for 9", "has no unit"),
        (from_fill, "12 L/min for 0 s", "is zero; time it again"),
        (from_fill, "7.5 L in 0 s for 9 min", "is zero; time it again"),
        (from_fill, "0 L/min for 9 min", "is zero"),
        (from_fill, "12 gal/min for 9 min", "US gallon"),
        (from_meter, "1203.2 L", "does not read; write both readings"),
        (from_meter, "1254.9 L to 1203.2 L", "not above its first"),
        (from_meter, "5 L to 5 L", "not above its first"),
        (from_meter, "1203.2 to 1254.9 L", "has no unit"),
        (from_meter, "1203.2 L ± 1 L to 1254.9 L", "behind the second reading"),
    ],
)
def test_a_measurement_that_does_not_read_is_refused(read: object, text: str, says: str) -> None:
    """A number without its unit, a zero, or another order is refused with a sentence."""
    assert callable(read)
    with pytest.raises(Refused, match=says):
        read(text)


@pytest.mark.parametrize(
    ("words", "kind", "says"),
    [
        (("50 g", None, "1 g/L", None), Usage, "before and after"),
        (("50 g", "0.2 g/L", None, None), Usage, "before and after"),
        (("50 g", "0.2 g/L", "1.2 g/L", None), Usage, "How finely does the meter read"),
        (("50 g", "1.2 g/L ± 0.02 g/L", "0.2 g/L", None), Refused, "not above --before"),
        (("50 g", "0.2 g/L ± 0.1 g/L", "0.3 g/L", None), Refused, "more than the meter's plus-minus"),
        (("50", "0.2 g/L ± 0.1 g/L", "1.2 g/L", None), Refused, "--salt '50' has no unit"),
        (("0 g", "0.2 g/L ± 0.1 g/L", "1.2 g/L", None), Refused, "--salt '0 g' is zero"),
        (("50 g", "0.2 ppt ± 0.1 ppt", "1.2 ppt", None), Refused, "more than one way; write g/L"),
        (("50 g", "1.001 ± 0.001", "1.002", None), Refused, "has no unit"),
        (("50 g", "0.2 g/L ± 0.02 g/L", "900 uS/cm", None), Refused, "a concentration, and a conductivity is needed"),
        (("50 g", "300 uS/cm ± 5 uS/cm", "1.1 mS/cm", None), Refused, "Above 1000 uS/cm no fixed factor"),
        (("50 g", "300 uS/cm ± 5 uS/cm", "1.1 MS/cm", None), Refused, "capital M"),
        (("50 g", "300 uS/cm ± 5 uS/cm", "1.1 mS/cm", "1 g in 1 L"), Refused, "--calibration .* does not read"),
        (("50 g", "300 uS/cm ± 5 uS/cm", "1.1 mS/cm", "1 g in 1 L: 5 to 3 uS/cm"), Refused, "does not rise"),
        (("50 g", "300 uS/cm ± 5 uS/cm", "1.1 mS/cm", "1 g in 1 L: 5 to 3"), Refused, "no unit"),
    ],
)  # fmt: skip
def test_a_tracer_that_cannot_be_judged_is_refused(
    words: tuple[str, str | None, str | None, str | None], kind: type[Exception], says: str
) -> None:
    """Without two readings of one meter, how finely it reads, and a rise that it can see, there are no litres."""
    with pytest.raises(kind, match=says):
        from_salt(*words)


@given(st.floats(min_value=10, max_value=5000), st.floats(min_value=0.001, max_value=0.05))
def test_the_salt_advised_is_enough_for_five_percent(litres: float, reads: float) -> None:
    """With the grams of the advice the readings are worth 5 % of the litres or less."""
    litres, reads = round(litres, 1), round(reads, 4)
    grams = float(re.findall(r"about (\d+) g", advice_for_salt(f"{reads:.4f} g/L", litres)[1])[0])
    after = 0.1 + grams / litres
    volume = from_salt(f"{grams:.0f} g ± 0 g", f"0.1 g/L ± {reads:.4f} g/L", f"{after:.9f} g/L", None)
    assert volume.plus_minus_litres / volume.litres <= 0.05 * (1 + 1e-6)


def test_the_advice_for_a_conductivity_meter() -> None:
    """10 uS/cm: a rise of 282.8 uS/cm, x 0.53 mg/L x 57.6 L = 8.63 g, so 9 g (by hand)."""
    assert advice_for_salt("10 uS/cm", 57.6) == (
        "rise for 5 %: 1.4142 x 10 uS/cm / 0.05 = 282.8427 uS/cm",
        "salt for it: about 9 g in 57.6 L",
    )
