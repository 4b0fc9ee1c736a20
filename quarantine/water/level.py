"""What of one substance is in one water, as two bounds: a ledger of doses, changes and losses (C1, C2, C12).

Mass balance (algebra; calculations of the project's notes, section c). The true volume V lies within
volume - plus_minus and volume + plus_minus and is one shared factor over the whole ledger. Of a mass of the substance
a change leaves the share (L - out) / L and a flow through the tank exp(-litres / L), where L are the litres there at
that moment. L only rises with V, and so does each share: what is left, M, only rises with V, and so do the litres Z
at the end. Between two volumes a and b the level M / Z therefore lies within M(a) / Z(b) and M(b) / Z(a), and the
slope of M is bounded by the same argument. Where the slope of the level keeps its sign between a and b, its bounds
are the two ends themselves; else the straight lines from both ends with the steepest slopes bound it, and the
interval is halved where that is too wide. Every bound is widened by what floats may have rounded.

What has been diluted to nothing is not followed back: history before that is one number, added to the upper bound.
So a level costs one pass over the facts, and a few over those that still count.

While the filter is off (rule C10) the water of sump and filter, s litres, stands apart with what it held, and all else
happens in the tank, L - s litres. When it ran again is certain only once somebody said so. Two levels are possible, and
the bounds hold for both:

- The filter is still off. The tank alone is followed like any water of L - s litres, from the level that it had.
- It ran again in the meantime, at any moment: the level is all of the mass by all of the litres, m / L. A change takes
  the share out / (L - s) of that mass at most (the lower bound), because the tank holds no more than all of it. The
  upper bound falls by out / L only, and not at all for what the sump held, c x s: that may come back whole. (The level
  is linear in what was there at first. Of what the sump held a change takes nothing; of all else at least out / L,
  because the tank then holds it as strong as the mean or stronger.)

Once the filter is said to run only the second is left. What evaporates, is topped up, changed or read while it is off
is taken to be water of the tank.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from decimal import Decimal
from itertools import pairwise
from math import ceil, exp, expm1, inf, log, nextafter
from typing import NamedTuple, Protocol

from quarantine.failures import Refused
from quarantine.quantity import show

KINDS = (
    *("dose", "change", "topup", "evaporation", "exchange", "removal", "reading", "unknown_addition"),
    *("filter_off", "filter_on"),
)
LOSSES = ("none", "possible")

_EMPTY = 2.0**-40  # of the water before: what floats leave of a tank that was emptied on paper
_DRY = 2.0**-36  # of the smallest volume: less water than this has no level
_ROUNDING = 2.0**-49  # a float operation is good to 2**-53; one step has fewer than sixteen of them
_FLOWS = 64  # a flow has as much rounding as so many steps: exp of a number up to 745 is good to 745 * 2**-53
_TIGHT = 2.0**-14  # a bound this near to a level that some volume has is good enough: 0.006 %
_PIECES = 2, 32  # into so many pieces an interval of volumes may be cut: the longer the ledger, the fewer
_WORK = 6000  # steps for all pieces together, at most, where that leaves the fewest pieces
_SHORT = 128  # steps that are followed whole: finding what no longer counts would cost more
_NOTHING = 2.0**-52  # of what is there now: history that makes up less is one number
_NOTHING_MG_PER_L = 1e-15  # the same where next to nothing is there now


class HasVolume(Protocol):
    """Litres of water and their plus-minus, such as ``quarantine.water.volume.Volume``."""

    @property
    def litres(self) -> float: ...

    @property
    def plus_minus_litres(self) -> float: ...


class Decay(NamedTuple):
    """A loss that is stated as a range of half-lives, in hours, both above zero.

    The upper bound falls by the slowest (``inf``: no loss is certain), the lower bound by the fastest. First order:
    C = C0 x 2^(-t / T).
    """

    slowest_half_life_hours: float
    fastest_half_life_hours: float


Loss = str | Decay
""" "none", "possible" (no rate is known: the lower bound falls to zero at once, the upper never), or a stated range."""


class Step(NamedTuple):
    """One line of a ledger. ``at`` is aware; amounts are zero or more, in mg, L, L/h and mg/L.

    ================ =====================================================================
    kind             uses
    ================ =====================================================================
    dose             ``mass_mg_low``, ``mass_mg_high``: what was added
    change           ``out_litres``, then ``in_litres`` holding ``incoming_low`` .. ``high``
    topup            ``litres`` of water without the substance (restores evaporation)
    evaporation      ``litres`` that left without the substance
    exchange         ``litres_per_hour`` flow in and out from ``at`` to ``until`` (None: they still do),
                     holding ``incoming_low`` .. ``high``
    removal          carbon or UV: the lower bound becomes zero, the upper stays
    reading          ``level_low``, ``level_high`` mg/L replace both bounds (rule C13)
    unknown_addition the level is unknown until the whole water is changed or a reading
    filter_off       ``apart_low`` .. ``apart_high`` litres of sump and filter stand apart from here on
    filter_on        they are one water with the tank again
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
    litres_per_hour: float = 0.0
    apart_low: float = 0.0
    apart_high: float = 0.0
    until: datetime | None = None


class Level(NamedTuple):
    """Lower and upper bound in mg/L; both None when the level is unknown."""

    low: float | None
    high: float | None

    @property
    def known(self) -> bool:
        return self.high is not None


UNKNOWN = Level(None, None)


def level(steps: Sequence[Step], volume: HasVolume, loss: Loss, until: datetime) -> Level:
    """The level at ``until``, in mg/L; steps after ``until`` do not count yet.

    ``loss`` is "none"; "possible" for a substance that may break down, whose lower bound is then zero from the
    first later instant on, and whose upper bound never falls by it; or a stated ``Decay``. ``volume`` is that at the
    mark, before the first step. A change of the whole volume or more leaves the incoming water only. The level is
    unknown after an addition of unknown size, and where the steps leave no water to be dosed or evaporated.
    Raises ValueError for steps out of order, a time without a zone, an amount below zero and a plus-minus
    as large as the volume: faults of the caller.
    """
    _check(steps, volume, loss, until)
    low, high = _ends(volume)
    made, tank = _Maker(low, high, loss), None
    off_since: datetime | None = None
    for step in steps:
        if step.at > until:
            break
        if step.kind == "filter_off" and step.at >= (off_since := off_since or _off_since(steps, until)):
            made.wait(step.at)
            before = _now(made, tank)
            made.take(step)
            tank = _tank_alone(made, step, before)
        else:
            made.take(step)
            if tank is not None:
                tank.take(step)
    made.wait(until)
    return _now(made, tank)


def _off_since(steps: Sequence[Step], until: datetime) -> datetime:
    """Since when the filter has been off without anybody saying by ``until`` that it runs again, ``until`` if it runs:
    what was said to be over needs no tank of its own."""
    ran = max((step.at for step in steps if step.kind == "filter_on" and step.at <= until), default=None)
    off = (step.at for step in steps if step.kind == "filter_off" and (ran is None or step.at > ran))
    return min(off, default=until)


def _now(made: _Maker, tank: _Maker | None) -> Level:
    """The level by all operations so far; with the filter off by those of the tank alone as well."""
    if made.now is not None and tank is not None:
        tank.wait(made.now)
    found = _found(made)
    return found if tank is None else _either(found, _found(tank))


def _found(made: _Maker) -> Level:
    if made.unknown:
        return UNKNOWN
    tops = _Pieces(*made.ends)
    beyond = tops.follow(made.highs, made.fullest, made.mass)
    if made.lows == made.highs:
        return _level(tops.least(), tops.most() + beyond)
    bottoms = _Pieces(*made.ends)
    bottoms.follow(made.lows, made.fullest, made.mass)
    return _level(bottoms.least(), tops.most() + beyond)


def _either(one: Level, other: Level) -> Level:
    """The bounds that hold for both; unknown where one of them is."""
    if one.low is None or one.high is None or other.low is None or other.high is None:
        return UNKNOWN
    return Level(min(one.low, other.low), max(one.high, other.high))


def _tank_alone(made: _Maker, off: Step, before: Level) -> _Maker:
    """The water of the tank alone from a step on that turned the filter off, with the level and the flows there were.

    ``made`` follows all of the water, that step included.
    """
    low, high = made.litres_now
    least, most = nextafter(low - off.apart_high, 0), nextafter(high - off.apart_low, inf)
    tank = _Maker(max(least, 0.0), max(most, 0.0), made.loss)
    if before.low is None or before.high is None or least <= low * _DRY:
        # Sump and filter said to hold as much as there is: what the tank holds is not known.
        tank.take(Step("unknown_addition", off.at))
    else:
        tank.take(Step("reading", off.at, level_low=before.low, level_high=before.high))
    for flow in made.flows:
        tank.take(flow._replace(at=off.at))
    return tank


def ledger(steps: Sequence[Step], volume: HasVolume, loss: Loss) -> list[tuple[Step, Level]]:
    """Each step with the level right after it, for printing. Raises like ``level``."""
    return [(step, after) for step, _, after in walk(steps, volume, loss)]


def walk(steps: Sequence[Step], volume: HasVolume, loss: Loss) -> Iterator[tuple[Step, Level, Level]]:
    """Each step with the level right before it and right after it, in one go. Raises like ``level``."""
    if not steps:
        return
    _check(steps, volume, loss, steps[-1].at)
    whole, tank = _Walker(_Maker(*_ends(volume), loss)), None
    for step in steps:
        before = whole.level_at(step.at)
        if tank is not None:
            before = _either(before, tank.level_at(step.at))
        whole.made.take(step)
        if step.kind == "filter_off":
            tank = _Walker(_tank_alone(whole.made, step, before))
        elif step.kind == "filter_on":
            tank = None
        elif tank is not None:
            tank.made.take(step)
        after = whole.level_at(step.at)
        yield step, before, after if tank is None else _either(after, tank.level_at(step.at))


class _Walker:
    """The level of a water after each of its steps."""

    def __init__(self, made: _Maker) -> None:
        self.made = made
        self._tops, self._bottoms = _Pieces(*made.ends), _Pieces(*made.ends)
        self._done = (0, 0)
        self._found = Level(0.0, 0.0)

    def level_at(self, at: datetime) -> Level:
        """The level at an instant not before the last one."""
        made = self.made
        made.wait(at)
        reached = (len(made.highs), len(made.lows))
        if made.unknown:
            return UNKNOWN
        if reached != self._done:
            self._tops.add(made.highs[self._done[0] :])
            self._bottoms.add(made.lows[self._done[1] :])
            self._done = reached
            self._found = _level(self._bottoms.least(), self._tops.most())
        return self._found


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


def _written(mg_per_l: float) -> str:
    return show(Decimal(repr(mg_per_l)))


def _level(bottom: float, top: float) -> Level:
    return Level(nextafter(bottom, 0), nextafter(top, inf) if top > 0 else 0.0)


def _check(steps: Sequence[Step], volume: HasVolume, loss: Loss, until: datetime) -> None:
    if isinstance(loss, Decay):
        if not 0 < loss.fastest_half_life_hours <= loss.slowest_half_life_hours:
            raise ValueError("half-lives are above zero, and the fastest is not longer than the slowest")
    elif loss not in LOSSES:
        raise ValueError(f"loss is one of {', '.join(LOSSES)}, not {loss!r}")
    if not 0 <= volume.plus_minus_litres < volume.litres:
        raise ValueError("the plus-minus of a volume is zero or more and smaller than the volume")
    if until.tzinfo is None:
        raise ValueError("every time of a ledger has a zone")
    before = None
    for step in steps:
        kind, at, *amounts, end = step
        if at.tzinfo is None or (end is not None and end.tzinfo is None):
            raise ValueError("every time of a ledger has a zone")
        if before is not None and at < before:
            raise ValueError("the steps of a ledger are in time order")
        before = at
        if kind not in KINDS:
            raise ValueError(f"a step of a ledger is one of {', '.join(KINDS)}, not {kind!r}")
        if min(amounts) < 0 or not sum(amounts) < inf:  # with a NaN the sum is one, and is not less than anything
            raise ValueError("the amounts of a ledger are zero or more and finite")
        if end is not None and end < at:
            raise ValueError("a flow ends after it began")


def _ends(volume: HasVolume) -> tuple[float, float]:
    """The smallest and the largest true volume, outside what the sums may have rounded."""
    if volume.plus_minus_litres == 0:
        return volume.litres, volume.litres
    low, high = volume.litres - volume.plus_minus_litres, volume.litres + volume.plus_minus_litres
    return nextafter(low, 0), nextafter(high, inf)


# --- From steps to what they do to mass and litres ---------------------------------------------------------

_ADD, _WATER, _SWAP, _OUT, _LET_OUT, _FLOW, _FADE, _READ, _CLEAR, _SINCE = range(10)

_Op = tuple[int, float, float, float]
"""What to do, with up to three numbers:

======= =====================================================================================
add     mg put in
water   litres that come (or go, below zero) without the substance
swap    litres that leave with what they hold, as many coming without
out     litres that leave with what they hold, others following
let out the same, nothing following: a level does not change by it, however little is left
flow    litres through the tank, hours x decay an hour, mg that came with them
fade    the share of all that is left (0: nothing is certain any more)
read    mg/L that the water holds
clear   all of the water left
since   litres = litres + the first number, but not under the second: a history in short
======= =====================================================================================
"""


class _Maker:
    """Turns steps into operations, for the upper bound and the lower bound, as time goes by."""

    def __init__(self, low: float, high: float, loss: Loss) -> None:
        self.highs: list[_Op] = []
        self.lows: list[_Op] = []
        self.unknown = False
        self.fullest, self.mass = high, 0.0
        self.ends, self.loss = (low, high), loss
        self.now: datetime | None = None
        self.flows: list[Step] = []
        self._dry = False
        self._emptiest, self._fullest, self._least = low, high, low * _DRY
        self._apart = 0.0
        """litres of sump and filter at most, while the filter is off"""
        self._kept = 0.0
        """what these held at most when it was turned off, mg"""
        self._upper = _Upper(low, high)
        self._rates = (0.0, 0.0)
        self._forgets = loss == "possible"
        if isinstance(loss, Decay):
            self._rates = log(2) / loss.slowest_half_life_hours, log(2) / loss.fastest_half_life_hours
        self._passes = any(self._rates)

    def wait(self, until: datetime) -> None:
        """Time passes: what flows, flows; what fades, fades."""
        if self.now is not None and until > self.now:
            if self.flows:
                self._flow(self.now, until)
            elif self._passes:
                self._fade((until - self.now).total_seconds() / 3600)
            if self._forgets:
                self.lows.append((_FADE, 0.0, 0.0, 0.0))
        self.now = until

    def take(self, step: Step) -> None:
        """One step, after all that happened before it."""
        if step.at != self.now:
            self.wait(step.at)
        kind = step.kind
        if kind == "dose":
            self._need_water()
            self.mass += step.mass_mg_high
            self.highs.append((_ADD, step.mass_mg_high, 0.0, 0.0))
            self.lows.append((_ADD, step.mass_mg_low, 0.0, 0.0))
        elif kind == "change":
            self._change(step)
        elif kind == "topup":
            self._water(step.litres)
        elif kind == "evaporation":
            self._water(-step.litres)
            self._need_water()
        elif kind == "exchange":
            self._need_water()
            self.flows.append(step)
        elif kind == "removal":
            self.lows.append((_FADE, 0.0, 0.0, 0.0))
        elif kind == "reading":
            self._read(step)
        elif kind == "filter_off":
            self._filter_off(step)
        elif kind == "filter_on":
            self._apart = self._kept = 0.0
        else:
            self.unknown = True
            # Some of it may be in the sump.
            self._kept = inf if self._apart else 0.0

    @property
    def litres_now(self) -> tuple[float, float]:
        """The least and the most litres that are there."""
        return self._emptiest, self._fullest

    def _filter_off(self, step: Step) -> None:
        """Sump and filter keep what they held: by the level there was, or what they had kept before, if the filter did
        not run in between."""
        dry = self._emptiest <= self._least
        held = inf if self.unknown or dry else self._upper.of(self.highs) * step.apart_high
        self._kept = max(held, self._kept)
        self._apart = max(step.apart_high, self._apart)

    def _read(self, step: Step) -> None:
        self._need_water()
        self.unknown = self._dry or self._kept == inf
        self.mass += step.level_high * self._fullest
        self.highs.append((_READ, step.level_high, 0.0, 0.0))
        self.lows.append((_READ, step.level_low, 0.0, 0.0))
        if self._apart:
            # It was read in the tank: sump and filter may hold nothing, or all that they kept.
            self.lows.append((_FADE, max(1 - self._apart / max(self._emptiest, self._apart), 0.0), 0.0, 0.0))
            self._gives_back(1.0)

    def _gives_back(self, share: float) -> None:
        """What a step took of the upper bound, as if sump and filter had lost this share of what they kept too."""
        if 0 < self._kept < inf and self._emptiest > self._least:
            self.mass += self._kept * share
            self.highs.append((_ADD, self._kept * share, 0.0, 0.0))

    def _both(self, op: _Op) -> None:
        self.highs.append(op)
        self.lows.append(op)

    def _need_water(self) -> None:
        if self._emptiest <= self._least:
            self._dry = self.unknown = True

    def _water(self, litres: float) -> None:
        self._emptiest += litres
        self._fullest += litres
        self.fullest = max(self.fullest, self._fullest)
        self._both((_WATER, litres, 0.0, 0.0))

    def _change(self, step: Step) -> None:
        out, into = step.out_litres, step.in_litres
        share = min(out / self._emptiest, 1.0) if self._apart and self._emptiest > self._least else 0.0
        if share:
            self.lows.append((_WATER, -self._apart, 0.0, 0.0))
        if out > 0:
            # A change of all of it, even if the tank is at its fullest, clears what was.
            if self._fullest - out <= self._fullest * _EMPTY:
                self._emptiest = self._fullest = 0.0
                self.unknown = self._dry or self._kept == inf
                self._both((_CLEAR, 0.0, 0.0, 0.0))
            elif step.in_litres == out:
                self._emptiest = max(self._emptiest, out)
                self._both((_SWAP, out, 0.0, 0.0))
                into = 0.0
            else:
                self._emptiest, self._fullest = max(self._emptiest - out, 0.0), self._fullest - out
                self._both((_OUT if into > 0 else _LET_OUT, out, 0.0, 0.0))
        if share:
            self.lows.append((_WATER, self._apart, 0.0, 0.0))
        if into > 0:
            self._water(into)
        if share:
            self._gives_back(share)
        if step.in_litres * step.incoming_high > 0:
            self.mass += step.in_litres * step.incoming_high
            self.highs.append((_ADD, step.in_litres * step.incoming_high, 0.0, 0.0))
            self.lows.append((_ADD, step.in_litres * step.incoming_low, 0.0, 0.0))

    def _fade(self, hours: float) -> None:
        for ops, rate in ((self.highs, self._rates[0]), (self.lows, self._rates[1])):
            if rate > 0:
                ops.append((_FADE, exp(-rate * hours), 0.0, 0.0))

    def _flow(self, since: datetime, until: datetime) -> None:
        """Between two instants, cut where a flow ends."""
        ends = sorted({flow.until for flow in self.flows if flow.until is not None and since < flow.until < until})
        for begin, end in pairwise((since, *ends, until)):
            hours = (end - begin).total_seconds() / 3600
            self.flows = [flow for flow in self.flows if flow.until is None or flow.until > begin]
            litres = sum(flow.litres_per_hour for flow in self.flows) * hours
            if litres <= 0:
                self._fade(hours)
                continue
            high = sum(flow.litres_per_hour * flow.incoming_high for flow in self.flows) * hours
            low = sum(flow.litres_per_hour * flow.incoming_low for flow in self.flows) * hours
            self._need_water()
            self.mass += high
            self.highs.append((_FLOW, litres, self._rates[0] * hours, high))
            self._flow_low(litres, self._rates[1] * hours, low)
            if self._apart and self._emptiest > self._least:
                self._gives_back(-expm1(-self._rates[0] * hours - litres / self._emptiest))
        self.flows = [flow for flow in self.flows if flow.until is None or flow.until > until]

    def _flow_low(self, litres: float, faded: float, low: float) -> None:
        """What flows through takes most from the tank alone, while the filter is off."""
        if not self._apart:
            self.lows.append((_FLOW, litres, faded, low))
        elif self._emptiest - self._apart <= self._least:
            self.lows.append((_FADE, 0.0, 0.0, 0.0))
        else:
            self.lows.append((_WATER, -self._apart, 0.0, 0.0))
            self.lows.append((_FLOW, litres, faded, low))
            self.lows.append((_WATER, self._apart, 0.0, 0.0))


class _Upper:
    """An upper bound of the level by operations that only become more: one piece, never cut, and read on from where it
    had come to."""

    def __init__(self, low: float, high: float) -> None:
        self._width = high - low
        self._state = _State(low, high, 1.0, 1.0, *[0.0] * 13)
        self._held: _State | None = None
        self._done = 0

    def of(self, ops: list[_Op]) -> float:
        """mg/L, with more than floats may have rounded."""
        self._state, self._held = _fold(ops[self._done :], self._state, self._held)
        self._done = len(ops)
        return _between(_Piece(0.0, self._width, self._state, self._held)).most * (1 + len(ops) * _FLOWS * _ROUNDING)


# --- Between two volumes ---------------------------------------------------------------------------------


class _State(NamedTuple):
    """The ledger between two volumes a and b; slopes are by the volume, as the least and the most they can be.

    What was read is kept apart from the masses put in since: read x (litres then / litres now) x what is left of it.
    """

    litres_a: float
    litres_b: float
    rise_low: float
    rise_high: float
    """slope of the litres: 1, or 0 where a change emptied the tank"""
    mass_a: float
    mass_b: float
    slope_low: float
    slope_high: float
    read: float
    """mg/L; 0 when nothing was read"""
    then_a: float
    then_b: float
    then_rise_low: float
    then_rise_high: float
    left_a: float
    left_b: float
    left_slope_low: float
    left_slope_high: float


class _Between(NamedTuple):
    """Bounds of the level over all volumes from a to b, and the level at both ends, mg/L."""

    least: float
    most: float
    at_a: float
    at_b: float


class _Piece(NamedTuple):
    a: float
    b: float
    state: _State
    held: _State | None
    """the state before water was let out that nothing has followed yet"""


class _Pieces:
    """The interval of volumes, cut where its bounds would be too wide."""

    def __init__(self, low: float, high: float) -> None:
        self._low, self._high = low, high
        self._ops: list[_Op] = []
        self._rounded = 0.0
        self._pieces = [self._piece(low, high)]

    def follow(self, ops: list[_Op], fullest: float, mass: float) -> float:
        """All operations at once, less those that no longer count; what those may still be worth, mg/L.

        ``fullest`` is the most water there ever was, and ``mass`` the most mg that were ever put in.
        """
        start, left = _where_it_counts(ops, fullest, mass)
        self._note(ops)
        self._ops = [_in_short(ops[:start], self._high), *ops[start:]] if start else ops
        whole = self._piece(self._low, self._high)
        self._pieces = [whole]
        return left / (whole.held or whole.state).litres_a if left > 0 else 0.0

    def add(self, ops: list[_Op]) -> None:
        """The next operations."""
        self._note(ops)
        self._ops += ops
        if 2 * len(self._pieces) > _PIECES[1] and len(self._ops) <= _SHORT:
            # Most cuts were spent on earlier steps; the utmost of this one may lie elsewhere.
            self._pieces = [self._piece(self._low, self._high)]
        else:
            self._pieces = [_Piece(p.a, p.b, *_fold(ops, p.state, p.held)) for p in self._pieces]

    def most(self) -> float:
        """The upper bound of the level over all volumes, mg/L."""
        while True:
            found = [(_between(piece), piece) for piece in self._pieces]
            reached = max(max(one.at_a, one.at_b) for one, _ in found)
            widest, piece = max(found, key=lambda pair: pair[0].most)
            if widest.most <= reached * (1 + _TIGHT) or not self._split(piece):
                return widest.most * (1 + self._rounded)

    def least(self) -> float:
        """The lower bound of the level over all volumes, mg/L."""
        while True:
            found = [(_between(piece), piece) for piece in self._pieces]
            reached = min(min(one.at_a, one.at_b) for one, _ in found)
            widest, piece = min(found, key=lambda pair: pair[0].least)
            if widest.least >= reached * (1 - _TIGHT) or not self._split(piece):
                return max(widest.least - max(one.most for one, _ in found) * self._rounded, 0.0)

    def _note(self, ops: list[_Op]) -> None:
        """How much floats may have rounded by now; the litres are rounded outward as they are computed."""
        self._rounded += (len(ops) + _FLOWS * [op[0] for op in ops].count(_FLOW)) * _ROUNDING

    def _piece(self, a: float, b: float) -> _Piece:
        start = _State(a, b, 1.0, 1.0, *[0.0] * 13)
        return _Piece(a, b, *_fold(self._ops, start, None))

    def _split(self, piece: _Piece) -> bool:
        middle = (piece.a + piece.b) / 2
        few, many = _PIECES
        most = min(many, max(few, _WORK // max(len(self._ops), 1)))
        if len(self._pieces) >= most or not piece.a < middle < piece.b:
            return False
        self._pieces.remove(piece)
        self._pieces += [self._piece(piece.a, middle), self._piece(middle, piece.b)]
        return True


def _where_it_counts(ops: list[_Op], fullest: float, mass: float) -> tuple[int, float]:
    """The first operation that still counts, and the mg that all before it are worth at most.

    A mass only gets less, and least so with the most water. It begins anew with a reading, with all of the water
    changed, and where nothing is certain any more.
    """
    still, here, enough = 1.0, 0.0, fullest * _NOTHING_MG_PER_L
    for index in range(len(ops) - 1, -1, -1):
        code, x, y, z = ops[index]
        if code == _ADD:
            here += x * still
        elif _SWAP <= code <= _LET_OUT:
            still *= max(fullest - x, 0.0) / fullest
        elif code == _FLOW:
            here += z * still
            still *= exp(-y - x / fullest)
        elif code == _FADE:
            if x == 0:
                return index, 0.0
            still *= x
        elif code >= _READ:
            return index, 0.0
        if len(ops) - index > _SHORT and mass * still <= max(enough, here * _NOTHING):
            return index, mass * still
    return 0, 0.0


def _in_short(ops: list[_Op], fullest: float) -> _Op:
    """What a history does to the litres alone: they become litres + x, not under y, to within z."""
    plus, least, litres, peak = 0.0, 0.0, fullest, fullest
    for code, x, _, _ in ops:
        if code in (_OUT, _LET_OUT):
            plus, least, litres = plus - x, max(least - x, 0.0), max(litres - x, 0.0)
        elif code == _SWAP:
            least, litres = max(least, x), max(litres, x)
        elif code == _WATER:
            plus, least, litres = plus + x, least + x, litres + x
            peak = max(peak, litres)
        elif code == _CLEAR:
            plus, least, litres = -inf, 0.0, 0.0
    return _SINCE, plus, least, len(ops) * peak * 2.0**-51


_UNDER, _OVER = 1 - 2.0**-52, 1 + 2.0**-52  # what was computed is no less, or no more, than this of what is


def _fold(ops: list[_Op], state: _State, held: _State | None) -> tuple[_State, _State | None]:
    """The operations one after another, for both volumes at once (one loop: it is what a level costs)."""
    la, lb, gl, gh, ma, mb, sl, sh, c, ta, tb, tl, th, qa, qb, ql, qh = state
    for code, x, y, z in ops:
        if code == _ADD:
            ma += x
            mb += x
            held = None
        elif code == _WATER:
            la = (la + x) * _UNDER
            lb = (lb + x) * _OVER
            held = None
        elif code <= _LET_OUT:
            if code != _LET_OUT:
                held = None
            elif held is None:
                held = _State(la, lb, gl, gh, ma, mb, sl, sh, c, ta, tb, tl, th, qa, qb, ql, qh)
            # The share (L - out) / L has the slope out / L^2 from where the tank is just emptied on.
            if la > x:
                fa = (la - x) / la
                fl, fh = gl * x / (lb * lb), gh * x / (la * la)
                la = la if code == _SWAP else (la - x) * _UNDER
            else:
                fa = fl = gl = 0.0
                fh = gh / x
                la = x if code == _SWAP else 0.0
            if lb > x:
                fb = (lb - x) / lb
                lb = lb if code == _SWAP else (lb - x) * _OVER
            else:
                fb = fh = gh = 0.0
                lb = x if code == _SWAP else 0.0
            sl, sh = sl * fa + ma * fl, sh * fb + mb * fh
            ma *= fa
            mb *= fb
            if c:
                ql, qh = ql * fa + qa * fl, qh * fb + qb * fh
                qa *= fa
                qb *= fb
        elif code == _FLOW:
            fa, fb, fl, fh = _share_of_flow(x, y, la, lb)
            aa, ab, al, ah = _brought_by_flow(x, y, z, la, lb)
            sl, sh = sl * fa + ma * fl * gl + al * gl, sh * fb + mb * fh * gh + ah * gh
            ma, mb = ma * fa + aa, mb * fb + ab
            ql, qh = ql * fa + qa * fl * gl, qh * fb + qb * fh * gh
            qa, qb = qa * fa, qb * fb
            held = None
        elif code == _FADE:
            ma, mb, sl, sh, c = ma * x, mb * x, sl * x, sh * x, c * x
            if held is not None:
                held = held._replace(
                    mass_a=held.mass_a * x,
                    mass_b=held.mass_b * x,
                    slope_low=held.slope_low * x,
                    slope_high=held.slope_high * x,
                    read=held.read * x,
                )
        elif code == _READ:
            ma = mb = sl = sh = ql = qh = 0.0
            qa = qb = 1.0
            c, ta, tb, tl, th = x, la, lb, gl, gh
            held = None
        elif code == _CLEAR:
            la = lb = gl = gh = ma = mb = sl = sh = c = 0.0
            held = None
        else:
            gl = gl if la + x > y else 0.0
            gh = gh if lb + x > y else 0.0
            la, lb = max(la + x, y) - z, max(lb + x, y) + z
    return _State(la, lb, gl, gh, ma, mb, sl, sh, c, ta, tb, tl, th, qa, qb, ql, qh), held


def _share_of_flow(litres: float, faded: float, la: float, lb: float) -> tuple[float, float, float, float]:
    """exp(-litres / L - faded) at both ends, and the least and most of its slope by L, which is greatest at 2 L."""
    xa, xb = litres / la, litres / lb
    still = exp(-faded)
    steepest = 2.0 if xb <= 2 <= xa else (xa if xa < 2 else xb)
    slopes = [x * x * exp(-x) * still / litres for x in (xa, xb, steepest)]
    return exp(-faded - xa), exp(-faded - xb), min(slopes[:2]), slopes[2]


def _brought_by_flow(
    litres: float, faded: float, mass: float, la: float, lb: float
) -> tuple[float, float, float, float]:
    """What is left at the end of a mass that came evenly with the flow, and the least and most of its slope by L.

    With y = litres / L + faded it is mass x (1 - exp(-y)) / y, which falls with y and so rises with L; the slope by y
    is (1 - exp(-y) (1 + y)) / y^2, which falls with y too.
    """
    if mass == 0:
        return 0.0, 0.0, 0.0, 0.0
    ya, yb = litres / la + faded, litres / lb + faded
    least = mass * _steep(ya) * litres / (lb * lb)
    most = mass * _steep(yb) * litres / (la * la)
    return mass * -expm1(-ya) / ya, mass * -expm1(-yb) / yb, least, most


def _steep(y: float) -> float:
    """(1 - exp(-y) (1 + y)) / y^2; by its series where the difference would have no digits left."""
    return 0.5 - y / 3 + y * y / 8 if y < 1e-4 else (-expm1(-y) - y * exp(-y)) / (y * y)


def _between(piece: _Piece) -> _Between:
    """The bounds of the level over a piece; water that is let out changes no level while some is left."""
    if piece.held is None:
        return _bounds(piece.state, piece.b - piece.a)
    if piece.state.litres_b <= 0:
        return _Between(0.0, 0.0, 0.0, 0.0)
    found = _bounds(piece.held, piece.b - piece.a)
    return found if piece.state.litres_a > 0 else found._replace(least=0.0, at_a=0.0)


def _bounds(state: _State, width: float) -> _Between:
    la, lb, gl, gh, ma, mb, sl, sh, c, ta, tb, tl, th, qa, qb, ql, qh = state
    if lb <= 0 or not (mb or c):
        return _Between(0.0, 0.0, 0.0, 0.0)
    at_a, at_b = ma / la, mb / lb
    least, most = ma / lb, mb / la
    # Slope of M / L: (slope of M - slope of L x M / L) / L.
    low, high = sl - gh * most, sh - gl * least
    slope_low = low / (la if low < 0 else lb)
    slope_high = high / (lb if high < 0 else la)
    if c:
        ra, rb = ta / la, tb / lb
        small, large = min(ra, rb), max(ra, rb)
        # Slope of T / L: (slope of T x L - T x slope of L) / L^2. Where both only shift it has one sign.
        if gl == gh == tl == th:
            low, high = sorted((gl * (la - ta), gl * (lb - tb)))
        else:
            low, high = tl * la - gh * tb, th * lb - gl * ta
        low = low / (la * la) * qb if low < 0 else low / (lb * lb) * qa
        high = high / (lb * lb) * qa if high < 0 else high / (la * la) * qb
        slope_low += c * (low + small * ql)
        slope_high += c * (high + large * qh)
        at_a, at_b = at_a + c * ra * qa, at_b + c * rb * qb
        least, most = least + c * small * qa, most + c * large * qb
    if slope_low >= 0:
        return _Between(at_a, at_b, at_a, at_b)
    if slope_high <= 0:
        return _Between(at_b, at_a, at_a, at_b)
    # From either end the level goes up, or down, no faster than by these slopes: two lines meet at its utmost.
    up = at_a + slope_high * (at_b - at_a - slope_low * width) / (slope_high - slope_low)
    down = at_a + slope_low * (at_a - at_b + slope_high * width) / (slope_high - slope_low)
    highest, lowest = max(at_a, at_b), min(at_a, at_b)
    return _Between(max(least, min(down, lowest)), min(most, max(up, highest)), at_a, at_b)
