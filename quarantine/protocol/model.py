"""What a template is once it was read: the values that the plan and the dosing work with, and the mistakes found."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import NamedTuple

from quarantine.facts import Condition
from quarantine.failures import Refused
from quarantine.quantity import Quantity
from quarantine.readings import PARAMETERS
from quarantine.templates import Reference
from quarantine.templates import shipped as shipped

FORMAT = 1

READINGS: dict[str, str] = {name: parameter.unit for name, parameter in PARAMETERS.items()}
"""Readings a template may name, with the unit their limits are held in ("" for pH)."""

# What must be measured before un-ionized ammonia can be computed.
UIA_FROM = ("tan", "ph", "temperature")

EVENTS = (
    "sign_a",
    "sign_b",
    "sign_c",
    "death",
    "outbreak",
    "fish_added",
    "disturbance",
    "dose_missed",
)

MORE_EVENTS: dict[str, str] = {
    "sign_gone": "note",
    "power": "as disturbance",
    "heater": "as disturbance",
    "moved": "as disturbance",
    "out_of_range": "pause",
    "no_reading": "pause",
    "dose_late": "note",
    "dose_partly": "note",
    "repeat_missed": "as dose_missed",
    "bath_overrun": "note",
    "shared_net": "note",
    "not_looked": "note",
    "keeper_absent": "note",
    "instruction": "note",
    "revised": "note",
}
"""Happenings that a template may say something about, and what holds where it does not: as it was before there were
such keys ("as X": what the template says of X). The two of readings act on periods that count days in range alone."""

AS = "as "
"""How a default begins that is another event's word."""


class Duration(NamedTuple):
    """Text "30 d" or "72 h": ``d`` are calendar days at the site, ``h`` elapsed hours (rule A12)."""

    value: int
    unit: str

    def __str__(self) -> str:
        return f"{self.value} {self.unit}"


class Start(NamedTuple):
    """The fact that anchors a step or period, and how long after it (``by``) the work is due.

    ``kind`` is arrival, entered, after, begun, between, sign, reading or word. ``subject`` is the step or period
    (after: its end) or step (begun: its first run; between: each of its runs that another one follows), the sign, the
    parameter or the sentence; None for arrival and entered.
    ``low`` and ``high`` are decimal text in the parameter's unit of READINGS, for a reading only.
    """

    kind: str
    subject: str | None
    by: Duration
    low: str | None = None
    high: str | None = None


class Band(NamedTuple):
    """One row of a temperature table: at_least_c <= temperature < below_c in °C (None = no such end).

    A repeat is due ``every`` so long after the run before (after the slowest hatch) and, where the row says it,
    ``before`` so long has passed (the fastest maturity, rule C14).
    """

    at_least_c: Decimal | None
    below_c: Decimal | None
    every: Duration
    before: Duration | None = None

    def holds(self, celsius: Decimal) -> bool:
        """Whether a temperature lies in the row."""
        low, high = self.at_least_c, self.below_c
        return (low is None or celsius >= low) and (high is None or celsius < high)


class Repeat(NamedTuple):
    """How a step repeats: ``every`` or ``by_temperature``; ``times`` runs in all, or ``until`` a period ends.

    ``latest`` is an elapsed ceiling in hours since the run before, ``then`` what happens when it passes.
    ``from_`` says what the interval counts from: the planned run or the run really given.
    ``as_needed`` in place of ``every``: a keeper's word asks for each run, at least so long after the last one given
    and at most ``daily`` times a local day (rule A13).
    """

    every: Duration | None
    times: int | None
    until: str | None
    latest: Duration | None
    then: str | None
    from_: str
    by_temperature: tuple[Band, ...]
    as_needed: Duration | None = None
    daily: int | None = None


class Window(NamedTuple):
    """Local times "HH:MM" of the day the work is due; ``late``: how long after it may still be done.

    Without ``late`` the work counts as missed when the window closes. No ``weekdays`` means every day.
    """

    from_: str
    until: str
    late: Duration | None
    weekdays: tuple[str, ...]


WHOLE_DAY = Window("00:00", "23:59", None, ())


class Treatment(NamedTuple):
    """A dose by a row of the formulary. ``target`` None means the row's own default.

    ``mode`` is one of the three of rule C1, ``water`` the water that circulates (rule C10) or "vessel" for a dip and
    "food" for a dose in food, ``filter`` is "" for those two, ``off`` what is switched off for the dose, ``clearing``
    the sentence that says when clearing begins (rule C5), ``longest`` the template's own limit on a dip,
    ``after_change`` what a water change before clearing calls for in mode "as published": nothing, or the "full"
    amount, ``witness`` whether another keeper reads the scale blind, ``allowance`` how far the amount given may lie
    from the one shown without a reason, in percent (None: not said).
    """

    regimen: str
    target: Quantity | None
    mode: str
    water: str
    filter: str
    off: tuple[str, ...]
    clearing: str
    longest: Quantity | None = None
    after_change: str = "nothing"
    witness: bool = False
    allowance: Decimal | None = None


class Ramp(NamedTuple):
    """Going there in steps: each run sets ``parameter`` at most ``by`` nearer to ``to`` than the last reading was."""

    parameter: str
    to: Decimal
    by: Decimal


class Step(NamedTuple):
    """One line of a protocol. ``fraction`` is a percentage of the water (0 < fraction <= 100)."""

    id: str
    kind: str
    title: str
    for_: str
    start: Start
    repeat: Repeat | None
    window: Window
    after_window: str | None
    treatment: Treatment | None
    reads: tuple[str, ...]
    fraction: Decimal | None
    who: str
    before: tuple[Condition, ...]
    note: str
    references: tuple[str, ...]
    line: int
    when: tuple[Condition, ...] = ()
    """all must be met for a run to apply; what is unknown is not met"""
    stop: tuple[Condition, ...] = ()
    """the first that is met once the series has begun ends it"""
    ramp: Ramp | None = None
    """of a chore: what is brought to a value step by step"""

    @property
    def weekdays(self) -> tuple[str, ...]:
        """The days of the week the window opens on; empty means every day."""
        return self.window.weekdays


class Period(NamedTuple):
    """An observation period; ``length`` is in calendar days, ``counts`` says which days count.

    One that counts days in range has the band of a reading: ``reading`` from ``low`` to ``high``, decimal text in the
    parameter's unit of READINGS (None = no such end).
    """

    id: str
    title: str
    length: Duration
    counts: str
    start: Start
    references: tuple[str, ...]
    reading: str | None = None
    low: str | None = None
    high: str | None = None


class Protocol(NamedTuple):
    """A checked template. ``text`` is the file as read, ``fingerprint`` the SHA-256 of it in UTF-8."""

    format: int
    id: str
    revision: int
    title: str
    summary: str
    author: str
    reviewer: str | None
    date: date
    water: str
    fish: str
    cautions: tuple[str, ...]
    references: dict[str, Reference]
    periods: tuple[Period, ...]
    steps: tuple[Step, ...]
    events: dict[str, str]
    criteria: tuple[Condition, ...]
    text: str
    fingerprint: str

    @property
    def medicated(self) -> bool:
        """Whether any step gives a substance."""
        return any(step.treatment for step in self.steps)


class Problem(NamedTuple):
    """One mistake of a template: where it is and what was expected there."""

    file: str
    line: int
    key: str
    message: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.key + ': ' if self.key else ''}{self.message}"


class ProtocolError(Refused):
    """A template with mistakes; ``problems`` holds all of them, the sentence lists all of them."""

    kind = "protocol"

    def __init__(self, file: str, problems: list[Problem]) -> None:
        many = f"{len(problems)} mistakes" if len(problems) > 1 else "one mistake"
        listed = "\n".join(str(problem) for problem in problems)
        super().__init__(
            f"The protocol {file} has {many}; correct and check again:\n{listed}",
            problems=[problem._asdict() for problem in problems],
        )
        self.problems = problems
