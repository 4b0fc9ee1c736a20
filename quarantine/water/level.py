"""What of one substance is in one water, as two bounds: a ledger of doses, changes and losses (C1, C2, C12).

Mass balance (algebra). The true volume V lies within volume - plus_minus and volume + plus_minus and is one
shared factor over the whole ledger. What one addition is worth at the end, m / V x product of (1 - out / V),
first rises with V and then falls: its derivative has the sign of (sum of out / (V - out)) - 1, which only
falls. So its bounds lie at the ends of the interval or at that one point, and the shares are added. Where
evaporation or unequal changes break that form, the interval is cut into pieces and each is bounded from
outside. Every bound is widened by what floats may have rounded.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from itertools import pairwise
from math import ceil, log, nextafter
from typing import NamedTuple, Protocol

from quarantine.failures import Refused
from quarantine.quantity import show

KINDS = ("dose", "change", "topup", "evaporation", "removal", "reading", "unknown_addition")
LOSSES = ("none", "possible")

_PIECES = 64
_HALVINGS = 60
_EMPTY = 2.0**-40  # of the water before: what floats leave of a tank that was emptied on paper
_ROUNDING = 2.0**-49  # a float operation is good to 2**-53; one step has fewer than sixteen of them


class HasVolume(Protocol):
    """Litres of water and their plus-minus, such as ``quarantine.water.volume.Volume``."""

    @property
    def litres(self) -> float: ...

    @property
    def plus_minus_litres(self) -> float: ...


class Step(NamedTuple):
    """One line of a ledger. ``at`` is aware; amounts are zero or more, in mg, L and mg/L.

    ================ =====================================================================
    kind             uses
    ================ =====================================================================
    dose             ``mass_mg_low``, ``mass_mg_high``: what was added
    change           ``out_litres``, then ``in_litres`` holding ``incoming_low`` .. ``high``
    topup            ``litres`` of water without the substance (restores evaporation)
    evaporation      ``litres`` that left without the substance
    removal          carbon or UV: the lower bound becomes zero, the upper stays
    reading          ``level_low``, ``level_high`` mg/L replace both bounds (rule C13)
    unknown_addition the level is unknown until the whole water is changed or a reading
    ================ =====================================================================
    """

    kind: str
    at: datetime
    mass_mg_low: float = 0.0
    mass_mg_high: float = 0.0
    out_litres: float = 0.0
    in_litres: float = 0.0
    incoming_low: float = 0.0
    incoming_high: float = 0.0
    litres: float = 0.0
    level_low: float = 0.0
    level_high: float = 0.0


class Level(NamedTuple):
    """Lower and upper bound in mg/L; both None when the level is unknown."""

    low: float | None
    high: float | None

    @property
    def known(self) -> bool:
        return self.high is not None


UNKNOWN = Level(None, None)


def level(steps: Sequence[Step], volume: HasVolume, loss: str, until: datetime) -> Level:
    """The level at ``until``, in mg/L; steps after ``until`` do not count yet.

    ``loss`` is "none", or "possible" for a substance that may break down: its lower bound is then zero from
    the first later instant on, and its upper bound never falls by it. ``volume`` is that at the mark,
    before the first step. A change of the whole volume or more leaves the incoming water only. The level is
    unknown after an addition of unknown size, and where the steps leave no water to be dosed or evaporated.
    Raises ValueError for steps out of order, a time without a zone, an amount below zero and a plus-minus
    as large as the volume: faults of the caller.
    """
    _check(steps, volume, loss, until)
    done = [step for step in steps if step.at <= until]
    low, high = _ends(volume)
    ends = _trace(done, low), _trace(done, high)
    if ends[0] is None or ends[1] is None:
        return UNKNOWN
    bottom = top = 0.0
    for source in _sources(done, ends[1]):
        if source.high is None:
            return UNKNOWN
        least, most = _outward(source, done, ends[0], *_bounds(source, done, low, high, ends[0], ends[1]))
        top += source.high * most
        if loss == "none" or source.at == until:
            bottom += source.low * least
    return Level(nextafter(bottom, 0), nextafter(top, float("inf")) if top > 0 else 0.0)


def ledger(steps: Sequence[Step], volume: HasVolume, loss: str) -> list[tuple[Step, Level]]:
    """Each step with the level right after it, for printing. Raises like ``level``."""
    after = []
    for count, step in enumerate(steps, 1):
        after.append((step, level(steps[:count], volume, loss, step.at)))
    return after


def clearing_changes(
    high_mg_per_l: float, at_most_mg_per_l: float, fraction: Decimal, incoming_mg_per_l: float = 0.0
) -> int:
    """How many equal changes of ``fraction`` (above 0, at most 1) bring a level down to the one wanted, mg/L.

    n = ceil(log((target - incoming) / (high - incoming)) / log(1 - fraction)), the ratio rounded to nine
    decimals first so that 40 to 10 mg/L at 50 % is 2 and not 3 (mass balance, algebra). Raises Refused
    where no number of changes gets there, and ValueError for a fraction outside its range.
    """
    if not 0 < fraction <= 1:
        raise ValueError("the fraction of a change is above 0 and at most 1")
    if high_mg_per_l <= at_most_mg_per_l:
        return 0
    if at_most_mg_per_l <= incoming_mg_per_l and (fraction < 1 or at_most_mg_per_l < incoming_mg_per_l):
        raise Refused(
            f"No number of such changes brings the level to {_written(at_most_mg_per_l)} mg/L, because each leaves a"
            f" part and the water put in holds {_written(incoming_mg_per_l)} mg/L; aim higher or change all the water."
        )
    if fraction == 1:
        return 1
    ratio = (at_most_mg_per_l - incoming_mg_per_l) / (high_mg_per_l - incoming_mg_per_l)
    return max(1, ceil(round(log(ratio) / log(1 - float(fraction)), 9)))


class _Source(NamedTuple):
    """Something that put the substance in at step ``number``: mg, or mg/L where ``per_litre``; None is unknown."""

    number: int
    at: datetime
    low: float
    high: float | None
    per_litre: bool


class _Water(NamedTuple):
    """Litres before a step, what of them stayed, and litres after it."""

    before: float
    kept: float
    after: float


def _check(steps: Sequence[Step], volume: HasVolume, loss: str, until: datetime) -> None:
    if loss not in LOSSES:
        raise ValueError(f"loss is one of {', '.join(LOSSES)}, not {loss!r}")
    if not 0 <= volume.plus_minus_litres < volume.litres:
        raise ValueError("the plus-minus of a volume is zero or more and smaller than the volume")
    if any(at.tzinfo is None for at in (until, *(step.at for step in steps))):
        raise ValueError("every time of a ledger has a zone")
    if any(earlier.at > later.at for earlier, later in pairwise(steps)):
        raise ValueError("the steps of a ledger are in time order")
    for step in steps:
        if step.kind not in KINDS:
            raise ValueError(f"a step of a ledger is one of {', '.join(KINDS)}, not {step.kind!r}")
        if not all(0 <= amount < float("inf") for amount in step[2:]):
            raise ValueError("the amounts of a ledger are zero or more and finite")


def _ends(volume: HasVolume) -> tuple[float, float]:
    """The smallest and the largest true volume, outside what the sums may have rounded."""
    if volume.plus_minus_litres == 0:
        return volume.litres, volume.litres
    low, high = volume.litres - volume.plus_minus_litres, volume.litres + volume.plus_minus_litres
    return nextafter(low, 0), nextafter(high, float("inf"))


def _trace(steps: Sequence[Step], litres: float) -> list[_Water] | None:
    """The water before and after each step if ``litres`` is the true volume; None where the water is used up."""
    trace: list[_Water] = []
    for step in steps:
        kept, added = litres, 0.0
        if step.kind == "change":
            kept, added = max(litres - step.out_litres, 0.0), step.in_litres
        elif step.kind == "topup":
            added = step.litres
        elif step.kind == "evaporation":
            added = -step.litres
        after = kept + added
        if after <= 0 and step.kind in ("dose", "evaporation", "reading"):
            return None
        trace.append(_Water(litres, kept, after))
        litres = after
    return trace


def _sources(steps: Sequence[Step], fullest: list[_Water]) -> list[_Source]:
    """What is still in the water; a change of all of it, even if the tank is at its fullest, clears what was."""
    found: list[_Source] = []
    for index, step in enumerate(steps):
        if step.kind == "dose":
            found.append(_Source(index, step.at, step.mass_mg_low, step.mass_mg_high, per_litre=False))
        elif step.kind == "change":
            if fullest[index].kept <= fullest[index].before * _EMPTY:
                found = []
            mass = step.in_litres * step.incoming_low, step.in_litres * step.incoming_high
            if mass[1] > 0:
                found.append(_Source(index, step.at, *mass, per_litre=False))
        elif step.kind == "removal":
            found = [source._replace(low=0.0) for source in found]
        elif step.kind == "reading":
            found = [_Source(index, step.at, step.level_low, step.level_high, per_litre=True)]
        elif step.kind == "unknown_addition":
            found.append(_Source(index, step.at, 0.0, None, per_litre=False))
    return found


def _factors(source: _Source, steps: Sequence[Step], trace: list[_Water]) -> tuple[float, float]:
    """mg/L at the end for each mg (or mg/L) put in, as two factors: one that only rises with V, one that only falls."""
    rises, falls = 1.0, 1.0 if source.per_litre else 1 / trace[source.number].after
    for step, water in zip(steps[source.number + 1 :], trace[source.number + 1 :], strict=True):
        if step.kind == "evaporation":
            falls *= water.before / water.after
        elif water.after > 0:
            rises *= water.kept / water.after
        else:
            rises = 0.0
    return rises, falls


def _bounds(
    source: _Source,
    steps: Sequence[Step],
    low: float,
    high: float,
    at_low: list[_Water],
    at_high: list[_Water],
) -> tuple[float, float]:
    """Least and most of what one unit of the source is worth over every true volume from ``low`` to ``high``."""
    rises_low, falls_low = _factors(source, steps, at_low)
    rises_high, falls_high = _factors(source, steps, at_high)
    least, most = sorted((rises_low * falls_low, rises_high * falls_high))
    if low == high:
        return least, most
    if not _one_peak(source, steps, at_low):
        return _by_pieces(source, steps, low, high)
    if _slope(source, steps, at_low) > 0 > _slope(source, steps, at_high):
        return least, max(most, _peak(source, steps, low, high))
    return least, most


def _one_peak(source: _Source, steps: Sequence[Step], emptiest: list[_Water]) -> bool:
    """Whether the worth rises, then falls, and never rises again, for every V from the emptiest on.

    The slope times the last litres z is the sum of out z / (x y) less 1, x litres before and y after the
    outflow. A term falls with V where x y <= z (x + y), and that, once true, stays true for a larger V.
    """
    last = emptiest[-1].after
    if any(step.kind == "change" and water.kept <= 0 for step, water in zip(steps, emptiest, strict=True)):
        return False
    if source.per_litre:
        # Its worth holds the litres at the reading as well: it only rises where no less water stands there now.
        return last >= emptiest[source.number].after
    later = emptiest[source.number + 1 :]
    return all(water.before * water.kept <= last * (water.before + water.kept) for water in later)


def _slope(source: _Source, steps: Sequence[Step], trace: list[_Water]) -> float:
    """The sign of the derivative of the logarithm of the worth by V."""
    slope = -1 / trace[-1].after + (1 / trace[source.number].after if source.per_litre else 0.0)
    for step, water in zip(steps[source.number + 1 :], trace[source.number + 1 :], strict=True):
        if step.kind == "change":
            slope += 1 / water.kept - 1 / water.before
    return slope


def _peak(source: _Source, steps: Sequence[Step], low: float, high: float) -> float:
    """An upper bound of the worth at its one peak, by halving the interval on the sign of the slope."""
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if _slope(source, steps, _must(_trace(steps, middle))) > 0:
            low = middle
        else:
            high = middle
    return _piece(source, steps, _must(_trace(steps, low)), _must(_trace(steps, high)))[1]


def _by_pieces(source: _Source, steps: Sequence[Step], low: float, high: float) -> tuple[float, float]:
    cuts = [low + (high - low) * n / _PIECES for n in range(_PIECES)] + [high]
    traces = [_must(_trace(steps, cut)) for cut in cuts]
    pieces = [_piece(source, steps, *pair) for pair in pairwise(traces)]
    return min(least for least, _ in pieces), max(most for _, most in pieces)


def _piece(source: _Source, steps: Sequence[Step], at_low: list[_Water], at_high: list[_Water]) -> tuple[float, float]:
    """Bounds from outside: the smallest rising factor with the smallest falling one, and the largest of both."""
    rises_low, falls_low = _factors(source, steps, at_low)
    rises_high, falls_high = _factors(source, steps, at_high)
    return rises_low * falls_high, rises_high * falls_low


def _must(trace: list[_Water] | None) -> list[_Water]:
    assert trace is not None  # the emptiest tank has been traced before, and a fuller one holds more
    return trace


def _outward(
    source: _Source, steps: Sequence[Step], emptiest: list[_Water], least: float, most: float
) -> tuple[float, float]:
    """Both widened by what the float operations of the ledger may have rounded."""
    rounded = _factors(source, steps, emptiest)[1] * len(steps) * _ROUNDING
    return max(least - rounded, 0.0), most + rounded


def _written(mg_per_l: float) -> str:
    return show(Decimal(repr(mg_per_l)))
