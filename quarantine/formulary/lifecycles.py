"""How long parasites and diseases take by temperature, and how repeats are spaced by it (rule C14).

``lists/lifecycles.toml`` ships; every figure in it stands as its source prints it. The file:

- ``logic``: the reasoning behind the spacing, one sentence.
- ``organism``: one table each: ``id``, ``name``, ``also`` (other names), ``water``, ``row`` (tables), ``unspaced``
  (why no repeat is spaced for it; may be left out).
- ``row``: ``id``; ``what`` (a word of ``WHATS``); the temperature: ``at`` ("20 °C", "any", "not stated"), or ``from``
  and ``to``, or ``above``, or ``below``; the time: ``low``, ``high`` (either may be left out) and ``words`` (as it is
  printed; needed where no figure stands), or ``never`` (true: it does not happen there) with ``words``; ``times`` (how
  often); ``kind`` (a key of ``KINDS``); ``reference``; ``derived_from`` (ids of the rows a derived one rests on);
  ``note``; ``conflicts_with`` (ids of rows that say otherwise; each names the other).
- ``spacing``: one table a cell of the derived table: ``id``, ``organism``, the temperature, and either ``every_low``,
  ``every_high`` and ``doses`` (the time between doses, and how many at least) or ``second_low``, ``second_high``,
  ``third_low``, ``third_high`` (after the first dose; where no high stands the source has none); ``reckoned`` (false:
  shown, never reckoned with); ``kind``, ``reference``, ``derived_from``, ``note``, ``conflicts_with`` as above.
- ``observation``: the days without any drug after the last dose: ``id``, the temperature, ``low``, ``kind``, ...
- ``reference``: as in a formulary entry.

Which row holds for a temperature. There is no interpolation between rows. A row belongs to a temperature that is
inside its printed band, or is its printed point. Where none does, the protective neighbour is taken: for a hatch the
nearest row below (colder is slower), for a maturity the nearest row above (warmer is faster). Outside the table
(colder than its coldest row, warmer than its warmest) nothing is said, and an unknown temperature is asked for.
"""

from __future__ import annotations

import os
import re
from functools import cache
from typing import TYPE_CHECKING, Any, NamedTuple

from quarantine.failures import Refused, Unknown

if TYPE_CHECKING:
    from decimal import Decimal

    from quarantine.formulary import Reference

FILE = "lifecycles.toml"
KINDS = {
    "read": "read in the source",
    "second-hand": "read where another page quotes the source",
    "common practice": "common practice, no source",
    "from memory": "from memory",
    "derived": "derived from other rows",
    "proposed": "proposed by this project, not published",
}
WITHOUT_REFERENCE = ("common practice", "from memory", "derived", "proposed")
WHATS = (
    *("whole cycle", "time on the fish", "division off the fish", "swimmer lives", "off the fish"),
    *("hatch begins", "hatching spread", "hatch complete", "part hatched"),
    *("egg to mature", "infection to mature", "hatch to mature"),
    *("births", "life", "stage", "disease", "deaths", "virus shed", "days that count"),
    *("transfer step", "repeat of the drug", "watched after the last dose", "water without fish"),
    "free of parasites in salt",
)
HATCH = ("hatch begins", "hatching spread", "hatch complete")
# "egg to mature" is not among them: an egg laid before the dose may hatch right after it, so what counts is the time
# from then on.
MATURITY = ("infection to mature", "hatch to mature")

FILE_KEYS = ("logic", "organism", "spacing", "observation", "reference")
ORGANISM_KEYS = ("id", "name", "also", "water", "row", "unspaced")
WHERE_KEYS = ("at", "from", "to", "above", "below")
SOURCE_KEYS = ("kind", "reference", "derived_from", "note", "conflicts_with")
ROW_KEYS = ("id", "what", *WHERE_KEYS, "low", "high", "words", "never", "times", *SOURCE_KEYS)
SLOT_TIMES = ("every_low", "every_high", "second_low", "second_high", "third_low", "third_high")
SLOT_KEYS = ("id", "organism", *WHERE_KEYS, *SLOT_TIMES, "doses", "reckoned", *SOURCE_KEYS)
OBSERVATION_KEYS = ("id", *WHERE_KEYS, "low", *SOURCE_KEYS)


class NoTiming(Refused):
    """No figure on record answers the question; the sentence says why, and what is on record. Exit 1."""

    kind = "no timing"


class TemperatureUnknown(NoTiming):
    """The temperature is needed and not known; the sentence asks for it. Exit 1."""

    kind = "temperature unknown"


class Where(NamedTuple):
    """The temperature a row is printed for, °C, and its words.

    Both ends None: the source names none. ``beyond``: outside its one end ("above 24 °C"), the end itself excluded.
    """

    low_c: Decimal | None
    high_c: Decimal | None
    beyond: bool
    words: str

    def holds(self, temperature_c: Decimal) -> bool:
        """Whether the temperature (°C) is inside what is printed; a row without a temperature holds nowhere."""
        if self.beyond:
            above = self.low_c is not None and temperature_c > self.low_c
            return above or (self.high_c is not None and temperature_c < self.high_c)
        return self.low_c is not None and self.high_c is not None and self.low_c <= temperature_c <= self.high_c


class Source(NamedTuple):
    """How a row is known: ``kind`` is a key of KINDS; ``reference`` holds keys, or is empty."""

    kind: str
    reference: str
    derived_from: tuple[str, ...]
    note: str
    conflicts_with: tuple[str, ...]


class Row(NamedTuple):
    """One figure as printed. Hours are None where the source prints none; ``says`` is the time in words."""

    id: str
    what: str
    where: Where
    low_hours: Decimal | None
    high_hours: Decimal | None
    says: str
    never: bool
    times: int | None
    source: Source


class Organism(NamedTuple):
    """A parasite or a virus with its rows, in the order of the file."""

    id: str
    name: str
    also: tuple[str, ...]
    water: tuple[str, ...]
    rows: tuple[Row, ...]
    unspaced: str


class Slot(NamedTuple):
    """One cell of the derived table of spacings: a step and a number of doses, or the days of the second and third.

    Each pair of hours is (least, most), each None where nothing is printed. ``reckoned`` is False for what is shown
    and never reckoned with.
    """

    id: str
    organism: str
    where: Where
    every_hours: tuple[Decimal | None, Decimal | None]
    second_hours: tuple[Decimal | None, Decimal | None]
    third_hours: tuple[Decimal | None, Decimal | None]
    doses: int
    reckoned: bool
    source: Source


class Observation(NamedTuple):
    """Least time without any drug after the last dose, for a temperature."""

    id: str
    where: Where
    least_hours: Decimal
    source: Source


class Cycles(NamedTuple):
    """The whole list."""

    logic: str
    organisms: tuple[Organism, ...]
    slots: tuple[Slot, ...]
    observations: tuple[Observation, ...]
    references: dict[str, Reference]


class Timing(NamedTuple):
    """A time in hours, the rows it stands on, and a sentence. ``whole`` is False where a hatch's end is not printed."""

    organism: str
    hours: Decimal
    rows: tuple[Row, ...]
    whole: bool
    says: str
    reference: str


class Spacing(NamedTuple):
    """When to repeat a dose, counted in hours from the dose before.

    Where ``one_more`` is False one repeat after ``earliest_hours`` and before ``latest_hours`` does. Where it is True
    they do not meet: repeats follow each other by ``latest_hours`` at most until one falls after ``earliest_hours``
    from the first dose. ``repeats`` is the least number of doses after the first. ``rows`` are ids of what it stands
    on, ``slots`` the cells of the derived table for these temperatures, to be shown beside it.
    """

    organism: str
    earliest_hours: Decimal
    latest_hours: Decimal
    one_more: bool
    repeats: int
    rows: tuple[str, ...]
    slots: tuple[Slot, ...]
    says: str
    reference: str


class Transfer(NamedTuple):
    """The step of a tank transfer: every so many hours, so many moves, on these days (day 0: into the first tank)."""

    every_hours: Decimal
    least_hours: Decimal
    moves: int
    days: tuple[int, ...]
    rows: tuple[Row, ...]
    says: str
    reference: str


class KoiDay(NamedTuple):
    """Whether a day at this temperature counts for koi herpesvirus, the bounds in °C, and why."""

    counts: bool
    low_c: Decimal
    high_c: Decimal
    rows: tuple[Row, ...]
    says: str
    reference: str


# What is asked --------------------------------------------------------------------------------------------


@cache
def cycles() -> Cycles:
    """The list that ships. Raises FormularyError when the file has mistakes."""
    from quarantine.formulary import FormularyError, list_text

    found, problems = _read(list_text(FILE), FILE)
    if problems or found is None:
        raise FormularyError(FILE, problems)
    return found


def check(text: str, file: str) -> list[str]:
    """All mistakes of a list of life cycles, each a sentence with file, place and key; empty when it is sound."""
    return _read(text, file)[1]


def called(name: str) -> tuple[Organism, ...]:
    """Those of that id or name: "white spot" is one in fresh water and another in the sea. Raises Unknown."""
    wanted = " ".join(name.split()).casefold()
    there = cycles().organisms
    found = tuple(o for o in there if wanted in (o.id, o.name.casefold(), *(other.casefold() for other in o.also)))
    if not found:
        raise Unknown("life cycle on record for", name, [o.id for o in there])
    return found


def organism(name: str) -> Organism:
    """The one of that id or name. Raises Unknown, and NoTiming where several have the name."""
    found = called(name)
    exact = [o for o in found if o.id == name]
    if exact or len(found) == 1:
        return (exact or list(found))[0]
    raise NoTiming(f"{name!r} is the name of {', '.join(o.id for o in found)}; say which one by that word.")


def slowest_hatch(name: str, lowest_c: Decimal | None) -> Timing:
    """When the last egg laid before a dose has hatched, at the lowest recorded temperature (°C); hours (rule C14).

    The rows whose printed band or point holds the temperature, else the nearest below it: colder is slower, and
    slower is safer. Of rows for the same temperature the slowest counts; where the beginning and the spread of
    hatching are printed it is their sum. Where only the beginning is printed ``whole`` is False.

    Raises TemperatureUnknown, and NoTiming where no row is on record, where it is colder than the coldest row of
    hatching or warmer than the warmest row of hatching or of the whole cycle, and where none hatch.
    """
    found = organism(name)
    temperature = _known(lowest_c, "lowest", found)
    rows = [row for row in found.rows if row.what in HATCH and row.where.low_c is not None]
    if not rows:
        raise NoTiming(f"No source on record says by temperature when eggs of {found.name} hatch.{_beside(found)}")
    lived = [row for row in found.rows if row.what == "whole cycle" and None not in row.where[:2]]
    _inside(found, "hatching", temperature, rows, [*rows, *lived])
    chosen = _at_or_below(rows, temperature)
    figures = [row for row in chosen if not row.never]
    if not figures:
        raise NoTiming(
            f"At {chosen[0].where.words} none of {found.name} hatched ({cite(chosen[0])}), and for"
            f" {_degrees(temperature)} no time is printed: what does not hatch is not dead, so nothing is timed by it."
        )
    hours, used, whole = _hatched(figures)
    end = "all eggs have hatched" if whole else "hatching begins at the latest, and its end is not printed"
    return Timing(found.id, hours, used, whole, f"{_time(hours)} after laying {end} ({_printed(used)})", _sources(used))


def fastest_maturity(name: str, highest_c: Decimal | None) -> Timing:
    """When the first young that infect a fish right after a dose are mature, at the highest recorded temperature (°C).

    Hours, from the infection or the hatch on. The rows whose printed band or point holds the temperature, else the
    nearest above it: warmer is faster, and faster is safer. Of rows for the same temperature the fastest counts.

    Raises TemperatureUnknown, and NoTiming where no row is on record or it is warmer than the warmest.
    """
    found = organism(name)
    temperature = _known(highest_c, "highest", found)
    rows = [row for row in found.rows if row.what in MATURITY and row.where.low_c is not None]
    if not rows:
        raise NoTiming(
            f"No source on record says by temperature when young of {found.name} are mature.{_beside(found)}"
        )
    chosen = _at_or_above(rows, temperature)
    if not chosen:
        raise NoTiming(_outside(found, "maturity", temperature, rows, "warmer than the warmest"))
    row = min(chosen, key=_least)
    says = f"{_time(_least(row))} after {row.what.split()[0]} the first young may be mature ({_printed((row,))})"
    return Timing(found.id, _least(row), (row,), True, says, _sources((row,)))


def spacing(name: str, lowest_c: Decimal | None, highest_c: Decimal | None) -> Spacing:
    """When to repeat a dose at recorded temperatures (°C, lowest and highest), by rule C14.

    After the slowest hatch at the lowest temperature, before the fastest maturity at the highest; where they do not
    meet, one more dose, and as many as it takes at that step until one falls after the slowest hatch. Warmer than the
    warmest row of maturity the second dose of the derived table stands for it. The derived table can raise the number
    of repeats, never lower it.

    White spot of fresh water has no egg: its cells of the derived table are steps between doses. The step of the row
    at or below the lowest temperature is the earliest repeat, the one at or above the highest the latest; the series
    lasts as long as the slower row's.

    Raises TemperatureUnknown and NoTiming.
    """
    found = organism(name)
    if found.unspaced:
        raise NoTiming(f"No repeat is spaced for {found.name}. {found.unspaced}.")
    low, high = _known(lowest_c, "lowest", found), _known(highest_c, "highest", found)
    if low > high:
        raise NoTiming(
            f"The lowest temperature {_degrees(low)} is above the highest {_degrees(high)}; look at the readings."
        )
    slots = [slot for slot in cycles().slots if slot.organism == found.id]
    beside = tuple(slot for slot in slots if slot.where.holds(low) or slot.where.holds(high))
    reckoned = [slot for slot in slots if slot.reckoned]
    if any(slot.every_hours[0] is not None for slot in reckoned):
        return _by_step(found, low, high, reckoned, beside)
    return _by_cycle(found, low, high, reckoned, beside)


def transfer_step(lowest_c: Decimal | None, highest_c: Decimal | None) -> Transfer:
    """The step of a marine tank transfer against white spot at recorded temperatures (°C).

    The printed step and number of moves hold only inside the band of the second study (22 to 32 °C): colder the step
    was longer, warmer nothing was tried. The days are those of the longer reading: moves on days 3, 6, 9 and 12.

    Raises TemperatureUnknown, and NoTiming outside the band.
    """
    found = organism("white-spot-marine")
    low, high = _known(lowest_c, "lowest", found), _known(highest_c, "highest", found)
    rows = [row for row in found.rows if row.what == "transfer step"]
    step = next(row for row in rows if row.times)
    band = next(row for row in rows if row.where.low_c != row.where.high_c)
    every, moves = _most(step), step.times or 0
    for one in (low, high):
        if not band.where.holds(one):
            cold = "; ".join(f"{row.says} at {row.where.words}" for row in rows if row not in (step, band))
            why = f"colder the step was longer: {cold}" if one < _end(band.where.low_c) else "warmer nothing was tried"
            raise NoTiming(
                f"A tank transfer by steps of {_time(every)} is refused at {_degrees(one)}: it is supported at"
                f" {band.where.words} only, and {why} ({cite(band)}). Bring the water to {band.where.words} slowly, or"
                " ask a veterinarian."
            )
    days = tuple(int(every * n / 24) for n in range(1, moves + 1))
    says = f"{step.says}: on days {', '.join(map(str, days))}; supported at {band.where.words} ({step.id}, {band.id})"
    return Transfer(every, _least(band), moves, days, (step, band), says, _sources((step, band)))


def koi_counts(temperature_c: Decimal | None) -> KoiDay:
    """Whether a day at this temperature (°C) counts for koi herpesvirus: inside 22 to 25 °C, both ends included.

    Ask for the lowest and the highest of the day: both must count. Raises TemperatureUnknown.
    """
    found = organism("koi-herpesvirus")
    temperature = _known(temperature_c, "day's", found)
    band = next(row for row in found.rows if row.what == "days that count")
    counts = band.where.holds(temperature)
    rests = tuple(row for row in found.rows if row.id in band.source.derived_from)
    return KoiDay(
        counts,
        _end(band.where.low_c),
        _end(band.where.high_c),
        (band, *rests),
        f"{_degrees(temperature)} {'counts' if counts else 'does not count'}: a koi day counts at {band.where.words}"
        f" ({band.id}, {band.source.kind})",
        _sources((band,)),
    )


def observation(temperature_c: Decimal | None) -> Observation:
    """The least time without any drug after the last dose, by the lowest temperature since then (°C).

    The cell that holds the temperature, else the nearest one below it (colder is longer). Raises TemperatureUnknown,
    and NoTiming outside the table.
    """
    if temperature_c is None:
        raise TemperatureUnknown(_ASK)
    cells = list(cycles().observations)
    ends = (
        f"{_degrees(min(_end(c.where.low_c) for c in cells))} to {_degrees(max(_end(c.where.high_c) for c in cells))}"
    )
    chosen = _at_or_below(cells, temperature_c)
    if not chosen or temperature_c > max(_end(c.where.high_c) for c in cells):
        raise NoTiming(f"The days without any drug are on record for {ends} only, not for {_degrees(temperature_c)}.")
    cell: Observation = chosen[0]
    return cell


# How it is reckoned ---------------------------------------------------------------------------------------


_ASK = (
    "The temperature is not known, and nothing is spaced by a guess; log a reading (quarantine reading TANK temp=...)."
)


def _by_cycle(found: Organism, low: Decimal, high: Decimal, slots: list[Slot], beside: tuple[Slot, ...]) -> Spacing:
    hatch = slowest_hatch(found.id, low)
    latest, before_rows, before = _before(found, high, slots)
    meet = hatch.hours < latest
    # Steps a little shorter than the latest must reach past the slowest hatch.
    repeats = 1 if meet else int(hatch.hours // latest) + 1
    repeats = max([repeats, *(slot.doses - 1 for slot in beside if slot.reckoned)])
    after, until = _time(hatch.hours), _time(latest)
    if meet:
        words = f"Repeat after {after} and before {until}"
    else:
        words = (
            "The slowest hatch and the fastest maturity do not meet, so one more dose at least: repeat every"
            f" {until} at most until a dose falls after {after}"
        )
    rows = (*hatch.rows, *before_rows)
    says = f"{words}, {_repeats(repeats)} at least: {hatch.says}; {before}"
    return Spacing(
        found.id,
        hatch.hours,
        latest,
        not meet,
        repeats,
        tuple(row.id for row in rows),
        beside,
        says,
        _sources(rows),
    )


def _before(found: Organism, high: Decimal, slots: list[Slot]) -> tuple[Decimal, tuple[Row | Slot, ...], str]:
    """The latest repeat: the fastest maturity, or where the water is warmer than its rows the table's second dose."""
    try:
        mature = fastest_maturity(found.id, high)
    except NoTiming:
        cells = [slot for slot in _at_or_above(slots, high) if slot.second_hours[1] is not None]
        if not cells:
            raise
        cell: Slot = cells[0]
        hours = _end(cell.second_hours[1])
        said = (
            f"the table derived from the rows has the second dose by {_time(hours)} (at {cell.where.words}: {cell.id})"
        )
        return hours, (cell,), f"for water so warm no maturity is printed, and {said}"
    return mature.hours, mature.rows, mature.says


def _by_step(found: Organism, low: Decimal, high: Decimal, slots: list[Slot], beside: tuple[Slot, ...]) -> Spacing:
    for temperature in (low, high):
        _inside(found, "spacing", temperature, slots, slots)
    slow, fast = _at_or_below(slots, low)[0], _at_or_above(slots, high)[0]
    earliest, latest = _end(slow.every_hours[0]), _end(fast.every_hours[1])
    one_more = earliest > latest
    lasts = (slow.doses - 1) * _end(slow.every_hours[1])
    steps = int(lasts // latest) + (lasts % latest > 0)
    repeats = max(slow.doses - 1 + one_more, fast.doses - 1 + one_more, steps)
    said = "; ".join(_step_says(slot) for slot in dict.fromkeys((slow, fast)))
    words = f"Repeat every {_span(earliest, latest)}"
    if one_more:
        words = (
            f"The step of the coldest water ({_time(earliest)}) is longer than that of the warmest ({_time(latest)}),"
            f" so one more dose at least: repeat every {_time(latest)} at most for {_time(lasts)}"
        )
    rows = tuple(dict.fromkeys((slow, fast)))
    says = f"{words}, {_repeats(repeats)} at least: {said}"
    ids = tuple(slot.id for slot in rows)
    return Spacing(found.id, earliest, latest, one_more, repeats, ids, beside, says, _sources(rows))


def _step_says(slot: Slot) -> str:
    return (
        f"at {slot.where.words} every {_span(_end(slot.every_hours[0]), _end(slot.every_hours[1]))}, {slot.doses} doses"
        f" at least ({slot.id}, {slot.source.kind})"
    )


def _hatched(rows: list[Row]) -> tuple[Decimal, tuple[Row, ...], bool]:
    """The slowest end of hatching among rows of one temperature, the rows it is made of, whether it is the end."""
    by_what = {what: max((r for r in rows if r.what == what), key=_most, default=None) for what in HATCH}
    begins, spread, complete = (by_what[what] for what in HATCH)
    found: list[tuple[Decimal, tuple[Row, ...], bool]] = []
    if begins is not None and spread is not None:
        found.append((_most(begins) + _most(spread), (begins, spread), True))
    elif begins is not None:
        found.append((_most(begins), (begins,), False))
    if complete is not None:
        found.append((_most(complete), (complete,), True))
    return max(found, key=lambda one: one[0])


def _known(temperature_c: Decimal | None, which: str, found: Organism) -> Decimal:
    if temperature_c is None:
        raise TemperatureUnknown(f"The {which} temperature is needed for {found.name}. {_ASK}")
    return temperature_c


def _inside(found: Organism, of: str, temperature: Decimal, coldest: list[Any], warmest: list[Any]) -> None:
    """Refuses a temperature colder than the coldest row or warmer than the warmest."""
    if temperature < min(_end(row.where.low_c) for row in coldest):
        raise NoTiming(_outside(found, of, temperature, coldest, "colder than the coldest"))
    if temperature > max(_end(row.where.high_c) for row in warmest):
        raise NoTiming(_outside(found, of, temperature, warmest, "warmer than the warmest"))


def _outside(found: Organism, of: str, temperature: Decimal, rows: list[Any], how: str) -> str:
    row = (min if how.startswith("colder") else max)(rows, key=lambda r: _end(r.where.low_c))
    return (
        f"{_degrees(temperature)} is {how} row on the {of} of {found.name}, {row.where.words} ({cite(row)}): no time"
        " is read out of a table beyond its ends. Bring the water inside it slowly, or ask a veterinarian."
    )


def _at_or_below(rows: list[Any], temperature: Decimal) -> list[Any]:
    """The rows that hold the temperature, else the nearest ones below it; empty when none is."""
    inside = [row for row in rows if row.where.holds(temperature)]
    below = [row for row in rows if _end(row.where.high_c) < temperature]
    nearest = max((_end(row.where.high_c) for row in below), default=None)
    return inside or [row for row in below if row.where.high_c == nearest]


def _at_or_above(rows: list[Any], temperature: Decimal) -> list[Any]:
    """The rows that hold the temperature, else the nearest ones above it; empty when none is."""
    inside = [row for row in rows if row.where.holds(temperature)]
    above = [row for row in rows if _end(row.where.low_c) > temperature]
    nearest = min((_end(row.where.low_c) for row in above), default=None)
    return inside or [row for row in above if row.where.low_c == nearest]


def _end(value: Decimal | None) -> Decimal:
    """A value that the check of the file has made sure of."""
    assert value is not None
    return value


def _least(row: Row) -> Decimal:
    return _end(row.high_hours if row.low_hours is None else row.low_hours)


def _most(row: Row) -> Decimal:
    return _end(row.low_hours if row.high_hours is None else row.high_hours)


def _beside(found: Organism) -> str:
    """What the sources say of repeats all the same."""
    rows = [row for row in found.rows if row.what == "repeat of the drug"]
    said = "; ".join(f"{row.says} ({cite(row)})" for row in rows)
    return f" Printed for the repeat of a drug: {said}." if rows else ""


# How it is said -------------------------------------------------------------------------------------------


def _degrees(value: Decimal) -> str:
    from quarantine.quantity import show

    return f"{show(value)} °C"


def _time(hours: Decimal) -> str:
    from quarantine.quantity import show

    return f"{show(hours / 24)} d" if hours % 24 == 0 else f"{show(hours)} h"


def _span(low: Decimal, high: Decimal) -> str:
    return _time(low) if low == high else f"{_time(low)} to {_time(high)}"


def _repeats(number: int) -> str:
    return f"{number} repeat{'s' if number > 1 else ''}"


def _printed(rows: tuple[Row, ...]) -> str:
    """What is printed, where, how it is known: "at 20 °C: hatch begins 3 d; hatching spread 5 d; DA03, DA04, read"."""
    said = "; ".join(f"{row.what} {row.says}" for row in rows)
    kinds = ", ".join(dict.fromkeys(row.source.kind for row in rows))
    return f"at {rows[0].where.words}: {said}; {', '.join(row.id for row in rows)}, {kinds}"


def cite(row: Row | Slot | Observation) -> str:
    """Kind and source of a row: "read: Yuasa et al., Fish Pathology ..., 2008", "derived from DA01, DA02"."""
    derived = f" from {', '.join(row.source.derived_from)}" if row.source.derived_from else ""
    cited = "; ".join(_cited(row))
    return f"{row.source.kind}{derived}{': ' if cited else ''}{cited}"


def _cited(row: Row | Slot | Observation) -> list[str]:
    """Its own sources, in full."""
    there = cycles().references
    return [there[key.strip()].cite for key in row.source.reference.split(",") if key.strip()]


def _sources(rows: tuple[Row | Slot, ...]) -> str:
    """The sources that rows stand on, those of derived ones included; else how the rows are known."""
    by_id = {row.id: row for o in cycles().organisms for row in o.rows}
    every = [one for row in rows for one in (row, *(by_id[i] for i in row.source.derived_from))]
    found = list(dict.fromkeys(text for one in every for text in _cited(one)))
    return "; ".join(found or dict.fromkeys(row.source.kind for row in rows))


# How the file is read -------------------------------------------------------------------------------------


def _read(text: str, file: str) -> tuple[Cycles | None, list[str]]:
    import tomllib

    from quarantine.formulary import WATERS, _check_named, _Reading, _references, _Table

    reading = _Reading(os.path.basename(file))
    try:
        data: dict[str, Any] = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return None, [f"{reading.file}: not TOML: {error}"]
    top = _Table(reading, "file", "", data, FILE_KEYS)
    seen: dict[str, str] = {}
    organisms = []
    for table in top.tables("organism", ORGANISM_KEYS, "organism"):
        rows = tuple(_row(inner, seen) for inner in table.tables("row", ROW_KEYS, "row"))
        if not rows:
            table.wrong("row", "is missing")
        organisms.append(
            Organism(
                _id(table, seen, r"[a-z]+(-[a-z]+)*"),
                table.text("name"),
                table.texts("also", needed=False),
                table.texts("water", WATERS),
                rows,
                table.text("unspaced", needed=False),
            )
        )
    if not organisms:
        top.wrong("organism", "is missing")
    known = tuple(o.id for o in organisms)
    slots = tuple(_slot(table, seen, known) for table in top.tables("spacing", SLOT_KEYS, "spacing"))
    observed = tuple(_observed(table, seen) for table in top.tables("observation", OBSERVATION_KEYS, "observation"))
    references = _references(top)
    _check_named(reading, references)
    logic = top.text("logic")
    found = Cycles(logic, tuple(organisms), slots, observed, references)
    if not reading.problems:
        _check_ids(reading, found, seen)
    return found, reading.problems


def _id(table: Any, seen: dict[str, str], pattern: str) -> str:
    name = str(table.text("id"))
    if name and not re.fullmatch(pattern, name):
        table.wrong("id", f"{name!r} is not written as the others are")
    if name in seen:
        table.wrong("id", f"{name!r} is there twice")
    seen[name] = table.place
    return name


def _row(table: Any, seen: dict[str, str]) -> Row:
    low, high = _hours(table, "low"), _hours(table, "high")
    words, never = table.text("words", needed=False), table.flag("never")
    if low is not None and high is not None and low > high:
        table.wrong("low", "is above high")
    if never and (low is not None or high is not None):
        table.wrong("never", "what does not happen takes no time")
    if not words and (never or (low is None and high is None)):
        table.wrong("words", "is missing")
    what = table.choice("what", WHATS)
    where = _where_of(table)
    if what in (*HATCH, *MATURITY) and where.beyond:
        table.wrong("what", f"{what} is reckoned with and needs a point or a band")
    if what in (*HATCH, *MATURITY) and not never and low is None and high is None:
        table.wrong("low", f"{what} is reckoned with and needs a figure")
    if not words and (low is None) != (high is None):
        table.wrong("words", "is missing: say what one figure alone means")
    says = words or _as_printed(str(table.data.get("low", "")), str(table.data.get("high", "")))
    return Row(
        _id(table, seen, r"[A-Z]{2}\d\d"), what, where, low, high, says, never, table.whole("times"), _source(table)
    )


def _as_printed(low: str, high: str) -> str:
    """ "8 d" and "11 d" are "8 to 11 d"; the same twice is said once."""
    number, _, unit = low.partition(" ")
    if low == high:
        return low
    return f"{number} to {high}" if unit == high.partition(" ")[2] else f"{low} to {high}"


def _slot(table: Any, seen: dict[str, str], organisms: tuple[str, ...]) -> Slot:
    name, organism = _id(table, seen, r"R\d\d-[a-z0-9-]+"), table.choice("organism", organisms)
    where = _where_of(table)
    if where.low_c is None or where.high_c is None:
        table.wrong("at", "a cell of the table needs a point or a band")
    times = [_hours(table, key) for key in SLOT_TIMES]
    for at in (0, 2, 4):
        low, high = times[at], times[at + 1]
        if high is not None and (low is None or low > high):
            table.wrong(SLOT_TIMES[at], "is missing or above its high")
    doses = table.whole("doses")
    step, dates = (*times[:2], doses), (times[2], times[4])
    steps, days = (any(one is not None for one in some) for some in (step, times[2:]))
    if steps == days or None in (step if steps else dates):
        table.wrong("every_low", "give every_low, every_high and doses, or second_low and third_low")
    reckoned = table.flag("reckoned") if table.has("reckoned") else True
    return Slot(
        *(name, organism, where),
        *((times[0], times[1]), (times[2], times[3]), (times[4], times[5])),
        *(doses or 3, reckoned, _source(table)),
    )


def _observed(table: Any, seen: dict[str, str]) -> Observation:
    from decimal import Decimal

    where = _where_of(table)
    if where.low_c is None or where.high_c is None:
        table.wrong("at", "a cell of the table needs a point or a band")
    least = _hours(table, "low")
    if least is None:
        table.wrong("low", "is missing")
    return Observation(_id(table, seen, r"Q\d\d"), where, least or Decimal(0), _source(table))


def _hours(table: Any, key: str) -> Decimal | None:
    """A time under a key in hours, None where it is not there."""
    from quarantine.quantity import Quantity, to

    found = table.amount(key, ("duration",)) if table.has(key) else None
    return to(Quantity(*found), "h") if found else None


def _where_of(table: Any) -> Where:
    given = tuple(key for key in WHERE_KEYS if table.has(key))
    if given == ("at",) and table.data["at"] in ("any", "not stated"):
        return Where(None, None, False, "any temperature" if table.data["at"] == "any" else "temperature not stated")
    if given not in (("at",), ("from", "to"), ("above",), ("below",)):
        table.wrong("at", "give one of at, from and to, above, below")
        return Where(None, None, False, "")
    ends = [table.amount(key, ("temperature",)) for key in given]
    if None in ends or any(end[1] != "°C" for end in ends):
        table.wrong(given[0], "give the temperature in °C")
        return Where(None, None, False, "")
    values = [end[0] for end in ends]
    if given == ("from", "to"):
        if values[0] >= values[1]:
            table.wrong("from", "is not under to")
        return Where(values[0], values[1], False, f"{_degrees(values[0]).removesuffix(' °C')} to {_degrees(values[1])}")
    said = _degrees(values[0])
    if given == ("above",):
        return Where(values[0], None, True, f"above {said}")
    if given == ("below",):
        return Where(None, values[0], True, f"below {said}")
    return Where(values[0], values[0], False, said)


def _source(table: Any) -> Source:
    kind, reference = table.choice("kind", tuple(KINDS)), table.text("reference", needed=False)
    derived = table.texts("derived_from", needed=False)
    if not reference and kind not in WITHOUT_REFERENCE:
        table.wrong("reference", f"a row that is {kind or 'unknown'} needs a reference")
    if (kind == "derived") != bool(derived):
        table.wrong("derived_from", "a derived row, and no other, names the rows it rests on")
    table._name(reference, "MEM" if kind == "from memory" else "READ")
    return Source(
        kind, reference, derived, table.text("note", needed=False), table.texts("conflicts_with", needed=False)
    )


def _check_ids(reading: Any, found: Cycles, seen: dict[str, str]) -> None:
    """What a row names is there, and of two rows that disagree each names the other."""
    every: list[Any] = [*(row for o in found.organisms for row in o.rows), *found.slots, *found.observations]
    sources: dict[str, Source] = {one.id: one.source for one in every}
    for name, source in sources.items():
        place = f"{reading.file}: {seen[name]}"
        for other in (*source.derived_from, *source.conflicts_with):
            if other not in sources:
                reading.problems.append(f"{place}: there is no row {other!r}")
        for other in source.conflicts_with:
            if other in sources and name not in sources[other].conflicts_with:
                reading.problems.append(f"{place}: conflicts_with: {other} does not name it in return")
