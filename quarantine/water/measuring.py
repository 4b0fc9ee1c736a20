"""Measuring the water instead of computing it: counted containers, a timed or metered fill, salt as a tracer.

Every way gives litres, a plus-minus and a working, like ``quarantine.water.volume``. Parts that share one error
(the same bucket filled seventeen times) are added; parts with errors of their own by the root of the sum of squares.

A tracer: what a weighed amount of salt raises the salinity by says how much water there is. It assumes full mixing,
no salt lost or added otherwise, a meter that compensates for temperature, and fish that bear the rise. General
practice: ICIMOD and University of Bern, Measuring mountain stream discharge using the salt dilution method, 2006.
"""

from __future__ import annotations

import re
from decimal import Decimal
from math import hypot, sqrt
from typing import NamedTuple

from quarantine.failures import Refused, Usage
from quarantine.quantity import UNITS, Quantity, kind_of, read_with_error, show, to
from quarantine.water.volume import PERCENT_DEFAULT, Measure, Volume

CLOCK_DEFAULT = Quantity(Decimal(1), "s")  # of a stopped time; our choice
NACL_MG_PER_L_PER_US_PER_CM = 0.53  # weak salt water at 20 °C, water-chemistry unit table (undated), from a reprint
# Our choice: conductivity rises by about 2 % a degree, and meters refer to 20 or to 25 °C.
CONDUCTIVITY_PLUS_MINUS = 0.10
MOST_CONDUCTIVITY = 1000.0  # uS/cm, where the factor above ends (the same table)
AIM = 0.05  # the share of the volume that a measurement should be good to; our choice

# The same, as they are typed: what an advice and a refusal show.
WAYS = {
    "buckets": '--buckets "17 x 10 L"',
    "fill": '--fill "12 L/min for 9 min"',
    "meter": '--meter "1203.2 L to 1254.9 L"',
    "salt": '--salt "50 g" --before "0.2 g/L ± 0.02 g/L" --after "1.2 g/L ± 0.02 g/L"',
}


class Term(NamedTuple):
    """So many fillings of one container; the plus-minus is that of one filling, and the same each time."""

    times: int
    litres: Measure


class Calibration(NamedTuple):
    """What the same meter made of a known amount of the same salt in a known volume of the same water."""

    salt_g: Measure
    litres: Measure
    rise: Measure


def counted(terms: list[Term]) -> Volume:
    """Litres of counted containers: the sum of count x content (calculation, no source needed).

    The content of one container is above 0 L, a count is 1 or more.
    """
    litres = sum(term.times * term.litres.value for term in terms)
    plus_minus = hypot(*(term.times * term.litres.plus_minus for term in terms))
    shown = " + ".join(f"{term.times} x {_n(term.litres.value)} L" for term in terms)
    errors = ", ".join(f"{term.times} x {_n(term.litres.plus_minus)}" for term in terms)
    return Volume(
        litres,
        plus_minus,
        (f"counted: {shown} = {_n(litres)} L", f"plus-minus: {_root(errors)} = {_n(plus_minus)} L"),
    )


def timed(test_litres: Measure, test_s: Measure, fill_s: Measure) -> Volume:
    """Litres of a timed fill: test litres / test seconds x seconds of the fill, each above 0.

    The flow must be the same all the time. Plus-minus: root of the sum of squares of the relative errors.
    """
    litres = test_litres.value / test_s.value * fill_s.value
    relative = [m.plus_minus / m.value for m in (test_litres, test_s, fill_s)]
    plus_minus = litres * hypot(*relative)
    return Volume(
        litres,
        plus_minus,
        (
            f"timed: {_n(test_litres.value)} L / {_n(test_s.value)} s x {_n(fill_s.value)} s = {_n(litres)} L",
            f"plus-minus: {_n(litres)} L x {_relative(('litres', 'time of the test', 'time of the fill'), relative)}"
            f" = {_n(plus_minus)} L",
        ),
    )


def metered(before_litres: float, after_litres: float, plus_minus_litres: float) -> Volume:
    """Litres by a water meter: reading after - reading before; the plus-minus is that of the difference."""
    litres = after_litres - before_litres
    return Volume(
        litres,
        plus_minus_litres,
        (
            f"metered: {_n(after_litres)} L - {_n(before_litres)} L = {_n(litres)} L",
            f"plus-minus: {_n(plus_minus_litres)} L",
        ),
    )


def traced(salt_g: Measure, before: Measure, after: Measure, scale: float = 0.0) -> Volume:
    """Litres by a salt tracer: grams / (salinity after - before in g/L).

    The two readings have errors of their own: u(V) / V = sqrt((u_m / m)² + (u_1² + u_0²) / rise² + scale²), which for
    one meter is 2 (u_C / rise)². ``scale`` is the relative error of the meter's scale, which goes straight into
    the litres. Grams and rise are above 0.
    """
    rise = after.value - before.value
    litres = salt_g.value / rise
    relative = [salt_g.plus_minus / salt_g.value, hypot(before.plus_minus, after.plus_minus) / rise, scale]
    plus_minus = litres * hypot(*relative)
    return Volume(
        litres,
        plus_minus,
        (
            f"tracer: {_n(salt_g.value)} g / ({_n(after.value)} g/L - {_n(before.value)} g/L) = {_n(litres)} L",
            f"plus-minus: {_n(litres)} L x {_relative(('salt', 'rise', 'scale of the meter'), relative)}"
            f" = {_n(plus_minus)} L",
        ),
    )


def traced_by_calibration(salt_g: Measure, rise: Measure, sample: Calibration) -> Volume:
    """Litres by a salt tracer with a calibrated meter: (m_tank / m_ref) x V_ref x (rise_ref / rise_tank).

    Both rises are in whatever the meter shows, so an error of its scale cancels. All values are above 0.
    """
    litres = salt_g.value / sample.salt_g.value * sample.litres.value * sample.rise.value / rise.value
    measures = (salt_g, sample.salt_g, sample.litres, sample.rise, rise)
    relative = [m.plus_minus / m.value for m in measures]
    plus_minus = litres * hypot(*relative)
    names = ("salt", "salt of the sample", "litres of the sample", "rise of the sample", "rise of the tank")
    return Volume(
        litres,
        plus_minus,
        (
            f"tracer: {_n(salt_g.value)} g / {_n(sample.salt_g.value)} g x {_n(sample.litres.value)} L"
            f" x {_n(sample.rise.value)} / {_n(rise.value)} = {_n(litres)} L",
            f"plus-minus: {_n(litres)} L x {_relative(names, relative)} = {_n(plus_minus)} L",
        ),
    )


def rise_needed(reads_to: float, share: float = AIM) -> float:
    """The rise that brings the error of the readings to ``share`` of the volume: sqrt(2) x u_C / share.

    ``reads_to`` is the plus-minus of one reading, in any unit; the answer is in the same (28 times it for 5 %).
    """
    return sqrt(2) * reads_to / share


# --- What a keeper types ---------------------------------------------------------------------------------


def from_buckets(text: str) -> Volume:
    """Counted containers: "17 x 10 L", "14 x 3.5 USgal + 1.2 L", each with a ± of one filling (else 5 %, our choice).

    Raises Refused for what does not read.
    """
    terms = []
    for part in re.split(r"\+(?! */? *-)|;", text):
        found = re.fullmatch(r"\s*(?:(\d{1,6})\s*[xX×*])?(.+)", part)
        if found is None or not found[2].strip():
            raise Refused(f"The --buckets {text[:40]!r} do not read; write them as in {WAYS['buckets']}.")
        terms.append(Term(int(found[1] or 1), _litres(found[2].strip(), "--buckets")))
    if not all(term.times for term in terms):
        raise Refused("A count in --buckets is zero; write how many were filled.")
    return counted(terms)


def from_fill(text: str) -> Volume:
    """A timed fill: "12 L/min for 9 min", or a test "7.5 L in 42 s for 336 s"; each with its ± (5 %, 1 s else).

    Raises Refused for what does not read.
    """
    found = re.fullmatch(r"(.+?)\s+for\s+(.+)", text.strip(), re.IGNORECASE)
    rate = re.fullmatch(r"(.+?)(?:\s+in\s+(.+)|\s*/\s*(s|sec|min|h))", found[1], re.IGNORECASE) if found else None
    if found is None or rate is None:
        raise Refused(
            f"The --fill {text[:40]!r} does not read; write it as in {WAYS['fill']}, or with a test:"
            ' --fill "7.5 L in 42 s for 336 s".'
        )
    # A flow is exact in its time: its error is in the litres.
    seconds = _seconds(rate[2]) if rate[2] else Measure(_seconds(f"1 {rate[3]}").value, 0.0)
    litres = rate[1].replace(f"/{rate[3]}", "")  # "12 L/min ± 0.5 L/min" says the time twice
    return timed(_litres(litres, "--fill"), seconds, _seconds(found[2]))


def from_meter(text: str) -> Volume:
    """A metered fill: "1203.2 L to 1254.9 L", and after it the ± of the difference (5 % if left out, our choice).

    Raises Refused for what does not read, and for a meter that ran backwards.
    """
    found = re.fullmatch(r"(.+?)\s+to\s+(.+)", text.strip(), re.IGNORECASE)
    if found is None:
        raise Refused(f"The --meter {text[:40]!r} does not read; write both readings as in {WAYS['meter']}.")
    start, end = (_reading_of_meter(part) for part in (found[1], found[2]))
    if start.plus_minus:
        raise Refused("Write the ± of --meter once, behind the second reading: it is that of the difference.")
    if end.value <= start.value:
        raise Refused("The meter's second reading is not above its first; read both again, the earlier one first.")
    litres = end.value - start.value
    said = re.search(r"(?:±|\+ */? *-) *([0-9.]+) *(%?)", found[2])
    if said is None:
        return metered(start.value, end.value, litres * float(PERCENT_DEFAULT) / 100)
    return metered(start.value, end.value, litres * float(said[1]) / 100 if said[2] else end.plus_minus)


def from_salt(salt: str, before: str | None, after: str | None, calibration: str | None) -> Volume:
    """A salt tracer from its weight and two readings of one meter, salinity (g/L, mg/L) or conductivity (uS/cm, mS/cm).

    At least one reading says its ±, which is then that of both; a weight without one has 5 % (our choice).
    ``calibration`` is a sample of the same salt in the same water: "1 g in 1 L: 210 to 2050 uS/cm". Conductivity
    without it is taken as 0.53 mg/L for 1 uS/cm, up to 1000 uS/cm, and 10 % for the scale. Raises Usage for
    what is missing and Refused for what does not read or does not rise.
    """
    if not before or not after:
        raise Usage(f"A salt tracer needs the readings of one meter before and after: {WAYS['salt']}.")
    grams = _typed(salt, "mass", "--salt", "g")
    kind = kind_of(after) or kind_of(before) or "concentration"
    unit = {"conductivity": "uS/cm"}.get(kind, "mg/L")
    first, second = _both_sure(before, after, "conductivity" if unit == "uS/cm" else "concentration", unit)
    rise = _rise(first, second, "--after is not above --before: the salt must raise the reading")
    if calibration:
        return traced_by_calibration(grams, rise, _calibration(calibration, unit, rise.plus_minus))
    if unit == "mg/L":
        return traced(grams, _scaled(first, 0.001), _scaled(second, 0.001))
    if second.value > MOST_CONDUCTIVITY:
        raise Refused(
            f"Above {_n(MOST_CONDUCTIVITY)} uS/cm no fixed factor makes salt of conductivity; calibrate the meter with"
            ' the same salt: --calibration "1 g in 1 L: 210 to 2050 uS/cm".'
        )
    factor = NACL_MG_PER_L_PER_US_PER_CM / 1000
    volume = traced(grams, _scaled(first, factor), _scaled(second, factor), CONDUCTIVITY_PLUS_MINUS)
    line = (
        f"salinity: 1 uS/cm is about {_n(NACL_MG_PER_L_PER_US_PER_CM)} mg/L of salt at 20 °C (water-chemistry unit"
        " table, undated), plus or minus 10 % (our choice); a calibration is better"
    )
    return volume._replace(working=(line, *volume.working))


def advice_for_salt(reads: str, litres: float) -> tuple[str, ...]:
    """The rise and the salt that a measurement to 5 % takes in about ``litres``, for a meter that reads to ``reads``.

    Raises Refused for what is neither a salinity nor a conductivity.
    """
    kind = kind_of(reads) or "concentration"
    unit = {"conductivity": "uS/cm"}.get(kind, "g/L")
    error = _typed(reads, "conductivity" if unit == "uS/cm" else "concentration", "--reads", unit).value
    rise = rise_needed(error)
    factor = NACL_MG_PER_L_PER_US_PER_CM / 1000 if unit == "uS/cm" else 1.0
    return (
        f"rise for 5 %: 1.4142 x {_n(error)} {unit} / 0.05 = {_n(rise)} {unit}",
        f"salt for it: about {show(Decimal(repr(rise * factor * litres)), 0, up=True)} g in {_n(litres)} L",
    )


def _typed(text: str, kind: str, option: str, unit: str) -> Measure:
    value, plus_minus = read_with_error(text, kind, option, PERCENT_DEFAULT)
    measure = Measure(float(to(value, unit)), float(to(plus_minus, unit, difference=True)))
    if measure.value <= 0:
        raise Refused(f"The {option} {text.strip()[:40]!r} is zero; measure it again.")
    return measure


def _litres(text: str, option: str) -> Measure:
    return _typed(text, "volume", option, "L")


def _seconds(text: str) -> Measure:
    value, plus_minus = read_with_error(text, "duration", "--fill", CLOCK_DEFAULT)
    if value.value <= 0:
        raise Refused(f"The --fill time {text.strip()[:40]!r} is zero; time it again.")
    return Measure(float(to(value, "s")), float(to(plus_minus, "s", difference=True)))


def _reading_of_meter(text: str) -> Measure:
    value, plus_minus = read_with_error(text, "volume", "--meter", Quantity(Decimal(0), "L"))
    return Measure(float(to(value, "L")), float(to(plus_minus, "L", difference=True)))


def _both_sure(before: str, after: str, kind: str, unit: str) -> tuple[Measure, Measure]:
    """Two readings of one meter; a plus-minus that only one of them says is that of both."""
    unsaid = Quantity(Decimal(0), unit)
    pairs = [read_with_error(text, kind, option, unsaid) for text, option in ((before, "--before"), (after, "--after"))]
    found = [Measure(float(to(v, unit)), float(to(error, unit, difference=True))) for v, error in pairs]
    said = max(reading.plus_minus for reading in found)
    if not said:
        raise Usage(
            "How finely does the meter read? Say it with one of the readings, such as"
            ' --before "0.2 g/L ± 0.02 g/L": a rise must be 28 times that to be good to 5 %.'
        )
    first, second = (Measure(reading.value, reading.plus_minus or said) for reading in found)
    return first, second


def _rise(first: Measure, second: Measure, refusal: str) -> Measure:
    rise = Measure(second.value - first.value, hypot(first.plus_minus, second.plus_minus))
    if rise.value <= rise.plus_minus:
        raise Refused(f"{refusal} by more than the meter's plus-minus; take more salt or a finer meter.")
    return rise


def _scaled(reading: Measure, factor: float) -> Measure:
    return Measure(reading.value * factor, reading.plus_minus * factor)


def _calibration(text: str, unit: str, plus_minus: float) -> Calibration:
    """The sample of a calibration; its readings are by the same meter, so their rise has the same plus-minus."""
    found = re.fullmatch(r"(.+?)\s+in\s+(.+?)\s*:\s*(.+?)\s+to\s+(.+)", text.strip(), re.IGNORECASE)
    if found is None:
        raise Refused(
            f"The --calibration {text[:40]!r} does not read; write it as in"
            ' --calibration "1 g in 1 L: 210 to 2050 uS/cm".'
        )
    salt, litres = _typed(found[1], "mass", "--calibration", "g"), _litres(found[2], "--calibration")
    kind = UNITS[unit].kind
    end, _ = read_with_error(found[4], kind, "--calibration", PERCENT_DEFAULT)
    start_text = found[3] if re.search(r"[A-Za-z]", found[3]) else f"{found[3]} {end.unit}"
    start, _ = read_with_error(start_text, kind, "--calibration", PERCENT_DEFAULT)
    rise = float(to(end, unit)) - float(to(start, unit))
    if rise <= plus_minus:
        raise Refused("The --calibration does not rise by more than the meter's plus-minus; take more salt for it.")
    return Calibration(salt, litres, Measure(rise, plus_minus))


def _relative(names: tuple[str, ...], shares: list[float]) -> str:
    percents = ", ".join(f"{name} {_n(100 * s)} %" for name, s in zip(names, shares, strict=True) if s > 0)
    return _root(percents or "0 %")


def _root(parts: str) -> str:
    return f"root of the sum of squares of {parts}"


def _n(number: float) -> str:
    """For the working: at most four decimals."""
    return show(Decimal(repr(number)), 4)
