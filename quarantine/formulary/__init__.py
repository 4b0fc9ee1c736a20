"""The formulary: one TOML file per substance, checked whole before any figure of it is used.

How to add a substance
----------------------
Write ``quarantine/formulary/ID.toml`` with the keys below and run the tests. Nothing else has to change.
All mistakes of a file are reported at once, each with file, place and key. What is not known is written
``"unknown"``, never left out and never guessed.

**A figure** is a table ``{ amount = "2 mg/L", reference = "S43", status = "READ" }``; **a span** has ``low``
and ``high`` instead of ``amount``. ``reference`` names one ``[[reference]]`` or several ("S93, S107") and is
never left out. Inside a regimen ``status`` may be left out: it is then the regimen's. Amounts are text with a
unit: g/L, mg/L, uL/L (of a liquid), min, h, d, °C, mg, mL, and the words of ``OWN_UNITS`` (food, ratios, copper by
what is counted, salinity, what a source prints without a basis). **A note** is a table
``{ text, reference, status }``; it may lack a reference only when its status is MEM, PROPOSAL or RULE.
A liquid is held in uL/L of its solution (rule C17): a bare ppm of a liquid is kept in the words of ``OWN_UNITS`` as
the source printed it, and is never computed with.

Statuses: READ seen in text of the source; READ-R seen in a reprint; READ-OCR seen in a poor scan; READ-CP
seen, but on a page that shows common practice only; MEM from memory, not seen; CALC arithmetic on a figure
that was seen; PROPOSAL proposed by this project, not published; RULE a rule of this tool.

The file itself:

- ``id``: the file's own name, small letters and hyphens.
- ``name``: how it is shown.
- ``also``: other names a keeper may type.
- ``classes``: words of ``CLASSES``; what another entry's ``incompatible`` may name.
- ``what``: one sentence.
- ``basis``: notes: what the weights are weights of (salt or base, powder or active).
- ``solution``: for a liquid: the strength of the solution its uL/L are of, a figure in %; may be left out.
- ``liquid``: true where it is sold as a solution whose density is not on record: its strength is said in % w/v; may
  be left out.
- ``salts``: tables of the forms it is sold in; keys below; may be left out.
- ``ledger_unit``: the unit in which its level in the water is kept, where that is not mg/L: "uL/L" of the solution as
  sold, or "mg/L Cu". All doses of it, whatever they are published in, add up in this one unit.
- ``figures``: tables ``what`` and a figure: other published numbers (factors, lethal levels).
- ``solubility``: a figure (concentration), or "unknown": then no stock solution is advised (rule C4).
- ``stock``: notes on making a stock solution.
- ``loss``: "none", or "possible" where something may break it down (level's lower bound falls at once).
- ``loss_notes``: notes on it.
- ``loss_figures``: like ``figures``: what is published about it.
- ``handling``: notes for the person.
- ``legal``: notes; the law of the country comes first.
- ``cautions``: notes for the fish.
- ``incompatible``: tables of what must not meet it; keys below.
- ``equipment``: tables of carbon, UV, ozone, skimmer; keys below.
- ``sensitive``: tables of groups of animals; keys below.
- ``takes_oxygen``: a figure in %: mg of oxygen that 100 mg of it take from the water in a long bath; may be left out.
- ``prolonged_limit``: a figure: at or under it a bath has ended (rule C5); or "unknown".
- ``nitrification``: a figure: a bath of so much or more harms the filter for days (F48); may be left out.
- ``water_limits``: notes on the water it may be used in.
- ``light``: a note on light (keep it dark, light breaks it down); may be left out.
- ``regimen``: the published ways to use it, one table each.
- ``reference``: the sources, one table each.

An ``incompatible`` table:

- ``with``: a class (the substance itself is not meant), an event of ``EVENTS``, or the id of a substance.
- ``rule``: "never", "not the same day", "one at a time", "wash out first" or "know".
- ``text``: why, one sentence.
- ``reference``: source.
- ``status``: as above.

An ``equipment`` table:

- ``item``: "carbon", "uv", "ozone" or "skimmer"; every entry names all four.
- ``do``: "off" before a dose, or "leave".
- ``text``: why.
- ``reference``: source.
- ``status``: as above.

A ``salts`` table:

- ``name``: the form ("copper sulfate pentahydrate").
- ``holds``: how much of what is counted is in it, in %.
- ``reference``: source.
- ``status``: as above.

A ``sensitive`` table (of the substance or of one regimen):

- ``group``: which animals.
- ``rule``: "refuse" or "caution".
- ``text``: what is known.
- ``reference``: source.
- ``status``: as above.

A ``regimen`` table:

- ``id``: the row of the treatment notes; a second use in one row adds a word ("Z07-food").
- ``tier``: "ready"; "trial" (a published trial, not general advice); "instruction" (only on a veterinary
  instruction); "refused" (known in order to refuse: no dose is offered).
- ``purpose``: what it is for.
- ``route``: "bath", "prolonged", "dip" (always in its own vessel with its own litres), "food", or "move" (the fish
  are moved and nothing is added).
- ``water``: list of "fresh", "brackish", "marine".
- ``target``: a span with ``default``; ``high`` may be left out where the source says "or more" (the ceiling
  bounds then); a refused regimen has no ``default``; or "unknown", which only a refused one may say; or "by the
  water", where ``water_rules`` give it; or "none" for a move. For sodium chloride the target is total salinity
  (rule C15).
- ``water_rules``: tables: how much by what was read of the water (rule C17: of several parameters the lowest
  counts); ``by`` ("alkalinity", "hardness", "ph"), ``use`` ("offer" or "ceiling"), ``from`` (the row holds from
  this value on, up to the next row's ``from``), ``to`` (the last value it holds for; left out: none), ``water``
  ("soft" or "hard", where the source has a column for each), and ``share`` (in % of what was read) or ``amount``.
- ``needs``: what must be known beside the volume, words of ``NEEDS``; where one is named no dose is computed that
  does not know it.
- ``trial_first``: true where the first use on a species is a trial on a few fish, watched, before the rest (C8).
- ``contact``: a span of time with ``words``; or "silent" where the source says nothing. Not for food.
- ``repeats``: ``times`` (how often in all), ``every`` (a span of time, or "silent"), ``words``; or "silent".
- ``modes``: which modes of repeat may be used (words of ``MODES``, rule C1).
- ``ceilings``: list of tables: ``amount`` (a level no dose may pass), ``up_to`` (the contact it holds for;
  left out: any length), ``warmest`` (the temperature up to which it holds; left out: any), ``group`` (a group of
  animals it holds for, by its id in groups.toml; it then lowers the others), ``rows`` (the rows it was built on),
  ``hard`` (the highest figure found, as words). None where the target is a lowered salinity or a move.
- ``course_ceiling``: a figure for all doses of a course, or "unknown".
- ``effective_minimum``: a figure; under it no dose is shown (rule C3); or "unknown".
- ``minimum_gap``: a figure: hours or days between two doses, only from a source; or "unknown".
- ``limits``: tables: ``what`` (a key of ``LIMITS``: "temperature", "oxygen", "alkalinity" ...), ``low``, ``high``,
  ``kind`` ("limit", or "tested at" where the source only says how it was tried), ``text``.
- ``light``: as above.
- ``sensitive``: as above.
- ``cautions``: notes.
- ``figures``: as above.
- ``food``: for food: the figures ``per_food`` and ``feeding_rate``, at which it agrees with the target per
  kilogram of fish; or "unknown".
- ``disagreements``: ids of regimens to show beside this one.
- ``status``: how the row was read; a ready one must be READ or READ-R.
- ``reference``: its source or sources.

A ``reference`` table:

- ``key``: short key.
- ``cite``: publisher, title, number, year in one line ("year not stated" where there is none).
- ``url``: its address; left out where there is none.
- ``read``: how much of it was read; "from memory" where nothing was.
"""

from __future__ import annotations

import os
import re
from functools import cache
from typing import TYPE_CHECKING, Any, NamedTuple

from quarantine.failures import Refused, Unknown

if TYPE_CHECKING:
    from decimal import Decimal

STATUSES = {
    "READ": "read in the source",
    "READ-R": "read in a reprint of the source",
    "READ-OCR": "read in a poor scan",
    "READ-CP": "common practice, read on a page that is no authority",
    "MEM": "from memory",
    "CALC": "calculated from a figure that was read",
    "PROPOSAL": "proposed by this project, not published",
    "RULE": "a rule of this tool",
}
WITHOUT_REFERENCE = ("MEM", "PROPOSAL", "RULE")
READY_STATUSES = ("READ", "READ-R")
TIERS = ("ready", "trial", "instruction", "refused")
ROUTES = ("bath", "prolonged", "dip", "food", "move")
WATERS = ("fresh", "brackish", "marine")
MODES = ("as published", "replace removed", "top up to a reading")
CLASSES = (
    *("salt", "drug", "anthelmintic", "antiprotozoal", "antibiotic"),
    *("dye", "disinfectant", "insecticide", "organophosphate"),
    *("oxidiser", "metal", "method"),
)
EVENTS = (
    *("salinity change", "temperature change", "pH change"),
    *("water conditioner", "carbonate media", "dilution by soft water"),
)
PAIR_RULES = ("never", "not the same day", "one at a time", "wash out first", "know")
ITEMS = ("carbon", "uv", "ozone", "skimmer")
LIMITS = {
    "temperature": "temperature",
    "salinity": "concentration",
    "stocking": "concentration",
    "oxygen": "concentration",
    "alkalinity": "concentration",
    "hardness": "concentration",
    "ph": "acidity",
}
# What a dose may depend on beside the volume of the water.
NEEDS = ("strength of the product", "alkalinity", "hardness", "ph", "species", "a test kit", "permanganate demand")
RULE_BY = {"alkalinity": "concentration", "hardness": "concentration", "ph": "acidity"}
RULE_USES = ("offer", "ceiling")
RULE_WATERS = ("soft", "hard")

# Units that only food and ratios have; the rest is read by quarantine.quantity.
OWN_UNITS = {
    "food dose": ("mg/kg fish/day", "mg/kg fish"),
    "food content": ("mg/g food",),
    "food by the pound": ("g/lb food",),
    "feeding rate": ("% of body weight/day",),
    "ratio": (
        "mg chloride per mg nitrite",
        "mg sodium chloride per mg chloride",
        "mg nitrite per mg nitrite-N",
        "times the 15 min permanganate demand",
    ),
    "share": ("%",),
    "acidity": ("pH",),
    # Copper by what is counted: taking one for another is a fourfold error (treatment notes, section 0, trap 3).
    "copper": ("mg/L Cu", "mg/L copper sulfate pentahydrate", "mg/L copper sulfate, hydrate not stated"),
    # A salinity to go down to: nothing is added.
    "lowered salinity": ("g/L salinity",),
    # A liquid as its source printed it: by weight or without a basis. Never computed with (rule C17).
    "as printed": ("ppm by weight", "ppm, basis not stated", "uL/L, basis not stated"),
}
# What a level in the water may be kept in.
LEDGER_UNITS = ("mg/L", "uL/L", "mg/L Cu")
LEVELS = ("concentration", "volume_ratio", "ratio", "copper", "lowered salinity", "as printed")
# Units of a target that no ceiling in another unit is compared with: no amount is computed from them.
APART = (*OWN_UNITS["ratio"], *OWN_UNITS["as printed"])

FIGURE_KEYS = ("amount", "reference", "status")
SPAN_KEYS = ("low", "high", "words", "reference", "status")
NOTE_KEYS = ("text", "reference", "status")
STATED_KEYS = ("what", *FIGURE_KEYS)
SUBSTANCE_KEYS = (
    *("id", "name", "also", "classes", "what", "basis", "solution", "liquid", "salts", "ledger_unit"),
    *("figures", "solubility", "stock", "loss"),
    *("loss_notes", "loss_figures", "handling", "legal", "cautions", "incompatible", "equipment"),
    *("sensitive", "takes_oxygen", "prolonged_limit", "nitrification", "water_limits", "light", "regimen", "reference"),
)
SALT_KEYS = ("name", "holds", "reference", "status")
PAIR_KEYS = ("with", "rule", *NOTE_KEYS)
EQUIPMENT_KEYS = ("item", "do", *NOTE_KEYS)
SENSITIVE_KEYS = ("group", "rule", *NOTE_KEYS)
REGIMEN_KEYS = (
    *("id", "tier", "purpose", "route", "water", "target", "contact", "repeats", "modes", "ceilings"),
    *("course_ceiling", "effective_minimum", "minimum_gap", "limits", "sensitive", "cautions", "figures"),
    *("food", "water_rules", "needs", "trial_first", "light", "disagreements", "status", "reference"),
)
TARGET_KEYS = ("low", "high", "default", "reference", "status")
REPEAT_KEYS = ("times", "every", "words", "reference", "status")
CEILING_KEYS = ("amount", "up_to", "warmest", "group", "rows", "hard", "reference", "status")
RULE_KEYS = ("by", "use", "from", "to", "water", "share", "amount", "reference", "status")
LIMIT_KEYS = ("what", "low", "high", "kind", "text", "reference", "status")
FOOD_KEYS = ("per_food", "feeding_rate")
REFERENCE_KEYS = ("key", "cite", "url", "read")


class FormularyError(Refused):
    """An entry of the formulary has mistakes; ``problems`` holds them all."""

    kind = "formulary"

    def __init__(self, file: str, problems: list[str]) -> None:
        count = f"{len(problems)} mistakes" if len(problems) > 1 else "a mistake"
        super().__init__(
            f"The formulary file {file} has {count}, so nothing of it is used: {'; '.join(problems)}.",
            problems=problems,
        )
        self.problems = problems


class Figure(NamedTuple):
    """One published number.

    ``reference`` holds one key or several ("S93, S107"); ``status`` is a key of STATUSES.
    """

    value: Decimal
    unit: str
    reference: str
    status: str


class Reference(NamedTuple):
    """A source: publisher, title, number and year in ``cite``; ``url`` is empty where there is none."""

    key: str
    cite: str
    url: str
    read: str


class Note(NamedTuple):
    """A sentence with its source; ``reference`` is empty only for MEM, PROPOSAL and RULE."""

    text: str
    reference: str
    status: str


class Stated(NamedTuple):
    """Another published number and what it is a number of."""

    what: str
    figure: Figure


class Salt(NamedTuple):
    """A form the substance is sold in, and how much of what is counted it holds, in %."""

    name: str
    holds: Figure


class Pair(NamedTuple):
    """What must not meet the substance. ``other`` is a class, an event or the id of a substance."""

    other: str
    rule: str
    note: Note


class Equipment(NamedTuple):
    """What to do with a piece of equipment before a dose: "off" or "leave"."""

    item: str
    do: str
    note: Note


class Sensitive(NamedTuple):
    """Animals that need the rule "refuse" or "caution"."""

    group: str
    rule: str
    note: Note


class Target(NamedTuple):
    """The level to reach.

    ``high`` is None where the source says "or more"; ``default`` is None for a refused regimen.
    """

    low: Figure
    high: Figure | None
    default: Figure | None


class Span(NamedTuple):
    """A stretch of time. ``stated`` is False where the source is silent; then both ends are None."""

    low: Figure | None
    high: Figure | None
    words: str
    stated: bool


class Repeats(NamedTuple):
    """How often in all and how far apart.

    ``times`` is None and ``every.stated`` False where the source is silent.
    """

    times: int | None
    every: Span
    words: str
    stated: bool


class Ceiling(NamedTuple):
    """A level no dose may pass while contact is at most ``up_to`` (None: any length).

    It is a proposal built on ``rows``; ``hard`` says the highest published figure. ``warmest`` is the temperature
    up to which it holds (None: any); ``group`` the id of the animals it holds for ("": all of them).
    """

    figure: Figure
    up_to: Figure | None
    rows: tuple[str, ...]
    hard: str
    warmest: Figure | None = None
    group: str = ""


class WaterRule(NamedTuple):
    """How much by one reading of the water: ``figure`` is a level, or a share of the reading in %.

    It holds from ``start`` up to the next rule's ``start`` of the same ``by``, ``use`` and ``water`` ("soft",
    "hard" or "": both), and never above ``end`` (None: no end).
    """

    by: str
    use: str
    start: Figure
    end: Figure | None
    water: str
    figure: Figure


class Limit(NamedTuple):
    """A bound on the water: "limit", or "tested at" where the source only says how it was tried."""

    what: str
    low: Figure | None
    high: Figure | None
    kind: str
    note: Note


class Food(NamedTuple):
    """What the food holds, and the feeding rate at which that equals the target per kilogram of fish."""

    per_food: Figure
    feeding_rate: Figure


class Regimen(NamedTuple):
    """One published way to use a substance. None means that the figure is unknown."""

    id: str
    substance: str
    tier: str
    purpose: str
    route: str
    water: tuple[str, ...]
    target: Target | None
    contact: Span | None
    repeats: Repeats
    modes: tuple[str, ...]
    ceilings: tuple[Ceiling, ...]
    course_ceiling: Figure | None
    effective_minimum: Figure | None
    minimum_gap: Figure | None
    limits: tuple[Limit, ...]
    sensitive: tuple[Sensitive, ...]
    cautions: tuple[Note, ...]
    figures: tuple[Stated, ...]
    food: Food | None
    disagreements: tuple[str, ...]
    status: str
    references: tuple[str, ...]
    water_rules: tuple[WaterRule, ...] = ()
    needs: tuple[str, ...] = ()
    trial_first: bool = False
    light: Note | None = None

    @property
    def row(self) -> str:
        """The row of the treatment notes: "Z07" for "Z07-food"."""
        return self.id.partition("-")[0]

    @property
    def own_vessel(self) -> bool:
        """A dip is made in its own vessel with its own litres (rule C15)."""
        return self.route == "dip"


class Substance(NamedTuple):
    """A whole entry. ``solubility`` and ``prolonged_limit`` are None where no source was found."""

    id: str
    name: str
    also: tuple[str, ...]
    classes: tuple[str, ...]
    what: str
    basis: tuple[Note, ...]
    figures: tuple[Stated, ...]
    solubility: Figure | None
    stock: tuple[Note, ...]
    loss: str
    loss_notes: tuple[Note, ...]
    loss_figures: tuple[Stated, ...]
    handling: tuple[Note, ...]
    legal: tuple[Note, ...]
    cautions: tuple[Note, ...]
    incompatible: tuple[Pair, ...]
    equipment: tuple[Equipment, ...]
    sensitive: tuple[Sensitive, ...]
    prolonged_limit: Figure | None
    water_limits: tuple[Note, ...]
    regimens: tuple[Regimen, ...]
    references: dict[str, Reference]
    solution: Figure | None = None
    salts: tuple[Salt, ...] = ()
    light: Note | None = None
    nitrification: Figure | None = None
    ledger_unit: str = "mg/L"
    takes_oxygen: Figure | None = None
    liquid: bool = False


class Heading(NamedTuple):
    """What the first lines of a regimen say, without reading the entry."""

    id: str
    tier: str
    purpose: str
    route: str
    water: tuple[str, ...]


class Title(NamedTuple):
    """What the first lines of an entry say, without reading the entry."""

    id: str
    name: str
    also: tuple[str, ...]
    classes: tuple[str, ...]
    what: str
    regimens: tuple[Heading, ...]


# What is asked of the formulary -------------------------------------------------------------------


LONGEST_TIMED_HOURS = 48
"""A bath whose contact ends within this is ended by a water change; in any longer one it calls for a dose (rule C5)."""


def names() -> tuple[str, ...]:
    """The ids of the substances, from the file names only."""
    here = os.path.dirname(__file__)
    return tuple(sorted(file[: -len(".toml")] for file in os.listdir(here) if file.endswith(".toml")))


def load(name: str) -> Substance:
    """The entry of a substance by id, or by a name listed under ``also``; capitals and spaces do not matter.

    Reads that one entry only. Raises Unknown, which names the known ones, and FormularyError when the entry has
    mistakes.
    """
    wanted = _slug(name)
    if wanted in names():
        return _entry(wanted)
    for title in titles():
        if wanted in map(_slug, (title.name, *title.also)):
            return _entry(title.id)
    raise Unknown("substance", name, list(names()))


def titles() -> tuple[Title, ...]:
    """What there is, in the order of the ids: a scan of the first lines, so that a list parses no entry."""
    return tuple(_title(name) for name in names())


def load_all() -> tuple[Substance, ...]:
    """Every entry, in the order of their ids. Raises FormularyError for the first that has mistakes."""
    return tuple(_entry(name) for name in names())


def regimen(row_id: str) -> tuple[Substance, Regimen]:
    """A regimen by its id, with the substance it belongs to; reads only that substance's entry.

    Raises Unknown, which names the known ones.
    """
    index = _index()
    if row_id.casefold() not in index:
        raise Unknown("regimen", row_id, [known for _, known in index.values()], " (quarantine formulary list)")
    name, known = index[row_id.casefold()]
    substance = _entry(name)
    return substance, next(r for r in substance.regimens if r.id == known)


def ceiling_for(
    regimen: Regimen,
    hours: Decimal | None,
    *,
    warmest_c: Decimal | None = None,
    groups: frozenset[str] | None = None,
) -> Ceiling | None:
    """The ceiling for a contact of so many hours; None when the formulary allows no level for so long or so warm.

    An unknown length (``hours`` None) takes the ceiling that holds for any length, if there is one, and an unknown
    temperature (``warmest_c``, °C, rule C14) the one for any temperature. A ceiling for a group of animals lowers
    the others; ``groups`` are the ids of those that are there, and unknown (None) means that any may be.
    """

    def holds(ceiling: Ceiling) -> bool:
        long = ceiling.up_to is not None and (hours is None or hours > _hours(ceiling.up_to))
        warm = ceiling.warmest is not None and (warmest_c is None or warmest_c > ceiling.warmest.value)
        return not long and not warm

    there = [c for c in regimen.ceilings if holds(c)]
    whole = max((c for c in there if not c.group), key=lambda c: c.figure.value, default=None)
    special = [c for c in there if c.group and (groups is None or c.group in groups)]
    return min((whole, *special), key=lambda c: c.figure.value) if whole else None


def is_prolonged(regimen: Regimen) -> bool:
    """Whether it stays in the water with no stated end, or one after more than 48 hours (rule C5)."""
    most = regimen.contact.high if regimen.contact else None
    return regimen.route in ("bath", "prolonged") and (most is None or _hours(most) > LONGEST_TIMED_HOURS)


def by_water(regimen: Regimen, use: str, readings: dict[str, Decimal], *, water: str | None = None) -> Figure | None:
    """What the regimen's rules give for the water that was read; None where a rule's reading is not there, or lies
    where the source gives nothing: then there is no dose.

    ``use`` is "offer" or "ceiling"; ``readings`` are alkalinity and hardness in mg/L, and ph. Of several parameters
    the lowest counts (rule C17). Rules with a column for soft and one for hard water take the soft one unless
    ``water`` says "hard". There is no interpolation between rows.
    """
    rules = [r for r in regimen.water_rules if r.use == use and r.water in ("", water or "soft")]
    found = []
    for by in dict.fromkeys(rule.by for rule in rules):
        reading = readings.get(by)
        if reading is None:
            return None
        rows = [r for r in rules if r.by == by and r.start.value <= reading]
        row = max(rows, key=lambda r: r.start.value, default=None)
        if row is None or (row.end is not None and reading > row.end.value):
            return None
        found.append(_level_of(row, reading, regimen))
    return min(found, key=lambda figure: figure.value, default=None)


def level_unit(regimen: Regimen) -> str:
    """The unit a regimen's levels are in; "" where it has none."""
    if regimen.target is not None:
        return regimen.target.low.unit
    units = [rule.figure.unit for rule in regimen.water_rules if rule.figure.unit != "%"]
    return next(iter((*units, *(c.figure.unit for c in regimen.ceilings))), "")


def _level_of(rule: WaterRule, reading: Decimal, regimen: Regimen) -> Figure:
    figure = rule.figure
    if figure.unit != "%":
        return figure
    return Figure(reading * figure.value / 100, level_unit(regimen), figure.reference, figure.status)


def check(text: str, file: str) -> list[str]:
    """All mistakes of an entry, each a sentence with file, place and key; empty when it is sound."""
    return _read(text, file)[1]


@cache
def _entry(name: str) -> Substance:
    substance, problems = _read(_text(name), f"{name}.toml")
    if problems or substance is None:
        raise FormularyError(f"{name}.toml", problems)
    return substance


def _text(name: str) -> str:
    with open(os.path.join(os.path.dirname(__file__), f"{name}.toml"), encoding="utf-8") as opened:
        return opened.read()


def list_text(file: str) -> str:
    """The text of one of the lists that ship beside the entries (groups of animals, causes of signs)."""
    with open(os.path.join(os.path.dirname(__file__), "lists", file), encoding="utf-8") as opened:
        return opened.read()


@cache
def group_ids() -> tuple[str, ...]:
    """The ids of the groups of animals that ship, by a scan of their list."""
    return tuple(re.findall(r'(?m)^\[\[group\]\]\s*\nid = "([^"]+)"', list_text("groups.toml")))


def _slug(name: str) -> str:
    return "-".join(name.casefold().split())


_ROW = '\n[[regimen]]\nid = "'


@cache
def _index() -> dict[str, tuple[str, str]]:
    """Regimen id without capitals -> (substance, id): a scan, so that one dose parses one file only."""
    rows = ((name, part.partition('"')[0]) for name in names() for part in _text(name).split(_ROW)[1:])
    return {row.casefold(): (name, row) for name, row in rows}


@cache
def _title(name: str) -> Title:
    """The first lines of an entry. The keys scanned stand at the beginning of a line, as every entry has them; a
    test holds that the scan and the reading agree."""
    head, *regimens = re.split(r"(?m)^\[\[regimen\]\]\s*$", _text(name))
    return Title(
        name,
        _scan_text(head, "name"),
        _scan_texts(head, "also"),
        _scan_texts(head, "classes"),
        _scan_text(head, "what"),
        tuple(map(_heading, regimens)),
    )


def _heading(part: str) -> Heading:
    name, tier, purpose, route = (_scan_text(part, key) for key in ("id", "tier", "purpose", "route"))
    return Heading(name, tier, purpose, route, _scan_texts(part, "water"))


def _scan_text(part: str, key: str) -> str:
    found = re.search(rf'(?m)^{key} = "([^"]*)"', part)
    return found[1] if found else ""


def _scan_texts(part: str, key: str) -> tuple[str, ...]:
    found = re.search(rf"(?ms)^{key} = \[(.*?)\]", part)
    return tuple(re.findall(r'"([^"]*)"', found[1])) if found else ()


# How an entry is read -----------------------------------------------------------------------------


class _Reading:
    """What one reading of a file collects: mistakes, and the references that were named."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.problems: list[str] = []
        self.named: list[tuple[str, str, str, str]] = []  # key, status, place, path


class _Table:
    """One TOML table while it is read: every getter reports what is wrong and goes on."""

    def __init__(
        self,
        reading: _Reading,
        place: str,
        path: str,
        data: dict[str, Any],
        keys: tuple[str, ...],
        status: str = "",
    ) -> None:
        self.reading, self.place, self.path, self.data, self.status = reading, place, path, data, status
        for key in data:
            if key not in keys:
                self.wrong(key, f"unknown key{_nearest(key, keys)}")

    def wrong(self, key: str, message: str) -> None:
        path = f"{self.path}.{key}" if self.path else key
        self.reading.problems.append(f"{self.reading.file}: {self.place}: {path}: {message}")

    def has(self, key: str) -> bool:
        return key in self.data

    def text(self, key: str, needed: bool = True) -> str:
        value = self.data.get(key, "")
        if not isinstance(value, str) or "\n" in value:
            self.wrong(key, "expected one line of text")
            return ""
        if needed and not value.strip():
            self.wrong(key, "is missing")
        return value

    def texts(self, key: str, allowed: tuple[str, ...] = (), needed: bool = True) -> tuple[str, ...]:
        value = self.data.get(key, [])
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            self.wrong(key, "expected a list of texts")
            return ()
        if needed and not value:
            self.wrong(key, "is missing")
        for item in value if allowed else ():
            if item not in allowed:
                self.wrong(key, f"{item!r} is not one of {', '.join(allowed)}{_nearest(item, allowed)}")
        return tuple(value)

    def choice(self, key: str, allowed: tuple[str, ...]) -> str:
        value = self.text(key)
        if value and value not in allowed:
            self.wrong(key, f"{value!r} is not one of {', '.join(allowed)}{_nearest(value, allowed)}")
        return value

    def whole(self, key: str) -> int | None:
        value = self.data.get(key)
        if value is not None and (type(value) is not int or value < 1):
            self.wrong(key, "expected a whole number of at least 1")
            return None
        return value

    def flag(self, key: str) -> bool:
        value = self.data.get(key, False)
        if not isinstance(value, bool):
            self.wrong(key, "expected true or false")
            return False
        return value

    def tables(self, key: str, keys: tuple[str, ...], word: str = "") -> list[_Table]:
        """The tables of a list; with a ``word`` each is a place of its own ("regimen Z01"), by its id."""
        value = self.data.get(key, [])
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            self.wrong(key, "expected a list of tables")
            return []
        found = []
        for n, item in enumerate(value, 1):
            place = f"{word} {item.get('id', f'number {n}')}" if word else self.place
            path = "" if word else f"{self.path}.{key}[{n}]".lstrip(".")
            found.append(_Table(self.reading, place, path, item, keys, self.status))
        return found

    def table(self, key: str, keys: tuple[str, ...], word: str) -> _Table | None:
        """A table, or None where the file says ``word`` ("unknown", "silent") instead."""
        value = self.data.get(key)
        if value == word:
            return None
        if not isinstance(value, dict):
            self.wrong(key, f'expected a table or "{word}"')
            return None
        path = f"{self.path}.{key}" if self.path else key
        return _Table(self.reading, self.place, path, value, keys, self.status)

    def source(self) -> tuple[str, str]:
        """Reference and status of a figure: a figure without a reference is a mistake."""
        reference, status = self.text("reference", needed=False), self._status()
        if not reference:
            self.wrong("reference", "a figure needs a reference")
        self._name(reference, status)
        return reference, status

    def note(self, text: str = "text") -> Note:
        words, reference, status = self.text(text), self.text("reference", needed=False), self._status()
        if not reference and status not in WITHOUT_REFERENCE:
            self.wrong("reference", f"a note with status {status or 'unknown'} needs a reference")
        self._name(reference, status)
        return Note(words, reference, status)

    def notes(self, key: str, needed: bool = False) -> tuple[Note, ...]:
        if needed and not self.data.get(key):
            self.wrong(key, "is missing")
        return tuple(item.note() for item in self.tables(key, NOTE_KEYS))

    def free_note(self, key: str) -> Note | None:
        """A note that may be left out."""
        if not self.has(key):
            return None
        table = self.table(key, NOTE_KEYS, "")
        return table.note() if table else None

    def named(self) -> tuple[str, ...]:
        """The keys of the references of a whole regimen."""
        reference = self.text("reference", needed=False)
        if not reference:
            self.wrong("reference", "a figure needs a reference")
        self._name(reference, self.status)
        return keys_of(reference)

    def _status(self) -> str:
        status = self.text("status", needed=False) or self.status
        if status not in STATUSES:
            self.wrong("status", f"{status!r} is not one of {', '.join(STATUSES)}")
        return status

    def _name(self, reference: str, status: str) -> None:
        for key in keys_of(reference):
            self.reading.named.append((key, status, self.place, self.path or "reference"))

    def amount(self, key: str, kinds: tuple[str, ...]) -> tuple[Decimal, str] | None:
        """The amount under a key, in one of the kinds, or None after saying what is wrong."""
        text = self.text(key)
        if not text:
            return None
        found = _amount(text, kinds, f"{self.place}: {key}")
        if isinstance(found, str):
            self.wrong(key, found)
            return None
        return found

    def figure_under(self, key: str, kinds: tuple[str, ...], source: tuple[str, str]) -> Figure | None:
        """The amount under a key of this table as a figure with the table's own source."""
        found = self.amount(key, kinds) if self.has(key) else None
        return Figure(*found, *source) if found else None

    def figure(self, key: str, *kinds: str) -> Figure | None:
        """A figure of its own, or None where the file says "unknown"."""
        table = self.table(key, FIGURE_KEYS, "unknown")
        if table is None:
            return None
        source, found = table.source(), table.amount("amount", kinds)
        return Figure(*found, *source) if found else None

    def stated(self, key: str) -> tuple[Stated, ...]:
        """The other published numbers listed under a key."""
        kinds = ("concentration", "duration", "temperature", "mass", "volume", "volume_ratio", *OWN_UNITS)
        rows = []
        for table in self.tables(key, STATED_KEYS):
            what, source, found = table.text("what"), table.source(), table.amount("amount", kinds)
            if found:
                rows.append(Stated(what, Figure(*found, *source)))
        return tuple(rows)


def keys_of(reference: str) -> tuple[str, ...]:
    """The keys in a figure's ``reference``: "S93, S107" -> ("S93", "S107")."""
    return tuple(key.strip() for key in reference.split(",") if key.strip())


def _nearest(name: str, known: tuple[str, ...]) -> str:
    from difflib import get_close_matches

    near = get_close_matches(name, known, n=1, cutoff=0.6)
    return f"; did you mean {near[0]!r}?" if near else ""


def _amount(text: str, kinds: tuple[str, ...], what: str) -> tuple[Decimal, str] | str:
    """An amount in one of the kinds, or the sentence that says why not."""
    from decimal import Decimal

    from quarantine.quantity import read

    number, _, unit = text.partition(" ")
    if any(unit in OWN_UNITS.get(kind, ()) for kind in kinds):
        if not re.fullmatch(r"\d+(\.\d+)?", number):
            return f"{text!r} has no plain number before its unit"
        return Decimal(number), unit
    own = ", ".join(unit for kind in kinds for unit in OWN_UNITS.get(kind, ()))
    sentence = f"{text!r} is not in one of the units {own}"
    for kind in kinds:
        if kind in OWN_UNITS:
            continue
        try:
            quantity = read(text, kind, what)
        except Refused as refused:
            sentence = refused.sentence.rstrip(".")
        else:
            return quantity.value, quantity.unit
    return sentence


def _read(text: str, file: str) -> tuple[Substance | None, list[str]]:
    import tomllib

    reading = _Reading(os.path.basename(file))
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return None, [f"{reading.file}: not TOML: {error}"]
    top = _Table(reading, "substance", "", data, SUBSTANCE_KEYS)
    substance = _substance(top)
    _check_named(reading, substance.references)
    _check_rows(reading, substance)
    return substance, reading.problems


def _substance(top: _Table) -> Substance:
    own = top.text("id")
    if own and f"{own}.toml" != top.reading.file:
        top.wrong("id", f"{own!r} is not the file's name")
    return Substance(
        id=own,
        name=top.text("name"),
        also=top.texts("also", needed=False),
        classes=top.texts("classes", CLASSES),
        what=top.text("what"),
        basis=top.notes("basis", needed=True),
        figures=top.stated("figures"),
        solubility=top.figure("solubility", "concentration"),
        stock=top.notes("stock", needed=True),
        loss=top.choice("loss", ("none", "possible")),
        loss_notes=top.notes("loss_notes", needed=True),
        loss_figures=top.stated("loss_figures"),
        handling=top.notes("handling", needed=True),
        legal=top.notes("legal", needed=True),
        cautions=top.notes("cautions", needed=True),
        incompatible=_pairs(top, own),
        equipment=_equipment(top),
        sensitive=_sensitive(top),
        prolonged_limit=top.figure("prolonged_limit", *LEVELS),
        water_limits=top.notes("water_limits", needed=True),
        regimens=_regimens(top, own),
        references=_references(top),
        solution=top.figure("solution", "share") if top.has("solution") else None,
        salts=_salts(top),
        light=top.free_note("light"),
        nitrification=top.figure("nitrification", *LEVELS) if top.has("nitrification") else None,
        takes_oxygen=top.figure("takes_oxygen", "share") if top.has("takes_oxygen") else None,
        liquid=top.flag("liquid"),
        ledger_unit=top.choice("ledger_unit", LEDGER_UNITS) if top.has("ledger_unit") else "mg/L",
    )


def _salts(top: _Table) -> tuple[Salt, ...]:
    rows = []
    for table in top.tables("salts", SALT_KEYS):
        name, source, found = table.text("name"), table.source(), table.amount("holds", ("share",))
        if found:
            rows.append(Salt(name, Figure(*found, *source)))
    return tuple(rows)


def _pairs(top: _Table, own: str) -> tuple[Pair, ...]:
    allowed = (*CLASSES, *EVENTS, *dict.fromkeys((*names(), own)))
    return tuple(
        Pair(table.choice("with", allowed), table.choice("rule", PAIR_RULES), table.note())
        for table in top.tables("incompatible", PAIR_KEYS)
    )


def _equipment(top: _Table) -> tuple[Equipment, ...]:
    rows = tuple(
        Equipment(table.choice("item", ITEMS), table.choice("do", ("off", "leave")), table.note())
        for table in top.tables("equipment", EQUIPMENT_KEYS)
    )
    for item in ITEMS:
        if item not in {row.item for row in rows}:
            top.wrong("equipment", f"says nothing about {item}")
    return rows


def _sensitive(top: _Table) -> tuple[Sensitive, ...]:
    return tuple(
        Sensitive(table.text("group"), table.choice("rule", ("refuse", "caution")), table.note())
        for table in top.tables("sensitive", SENSITIVE_KEYS)
    )


def _references(top: _Table) -> dict[str, Reference]:
    references: dict[str, Reference] = {}
    for table in top.tables("reference", REFERENCE_KEYS):
        key = table.text("key")
        if key in references:
            table.wrong("key", f"{key!r} is there twice")
        cite, url, read = table.text("cite"), table.text("url", needed=False), table.text("read")
        if cite and not re.search(r"\b(18|19|20)\d\d\b|year not (stated|recorded)", cite):
            table.wrong("cite", 'names no year; write "year not stated" where the source has none')
        references[key] = Reference(key, cite, url, read)
    return references


def _regimens(top: _Table, own: str) -> tuple[Regimen, ...]:
    regimens: list[Regimen] = []
    for table in top.tables("regimen", REGIMEN_KEYS, "regimen"):
        name = table.text("id")
        if name in {r.id for r in regimens}:
            table.wrong("id", f"{name!r} is there twice")
        regimens.append(_regimen(table, name, own))
    if not regimens:
        top.wrong("regimen", "is missing")
    return tuple(regimens)


def _regimen(table: _Table, name: str, own: str) -> Regimen:
    status = table.choice("status", tuple(STATUSES))
    # What inherits a wrong status is not told again.
    table.status = status if status in STATUSES else "RULE"
    tier, route = table.choice("tier", TIERS), table.choice("route", ROUTES)
    kinds = ("food dose", "food by the pound") if route == "food" else LEVELS
    target = _target(table, kinds, tier, route)
    references = table.named()
    regimen = Regimen(
        id=name,
        substance=own,
        tier=tier,
        purpose=table.text("purpose"),
        route=route,
        water=table.texts("water", WATERS),
        target=target,
        contact=_contact(table, route),
        repeats=_repeats(table),
        modes=table.texts("modes", MODES, needed=tier != "refused" and route != "move"),
        ceilings=_ceilings(table, kinds, route, target),
        course_ceiling=table.figure("course_ceiling", *kinds),
        effective_minimum=table.figure("effective_minimum", *kinds),
        minimum_gap=table.figure("minimum_gap", "duration"),
        limits=_limits(table),
        sensitive=_sensitive(table),
        cautions=table.notes("cautions"),
        figures=table.stated("figures"),
        food=_food(table, route, target),
        disagreements=table.texts("disagreements", needed=False),
        status=status,
        references=references,
        water_rules=_water_rules(table),
        needs=table.texts("needs", NEEDS, needed=False),
        trial_first=table.flag("trial_first"),
        light=table.free_note("light"),
    )
    _check_needs(table, regimen)
    _check_ready(table, regimen)
    _check_bounds(table, regimen)
    return regimen


def _target(table: _Table, kinds: tuple[str, ...], tier: str, route: str) -> Target | None:
    said = table.data.get("target")
    if said in ("by the water", "none"):
        if said == "by the water" and not table.data.get("water_rules"):
            table.wrong("target", '"by the water" needs water_rules')
        if said == "none" and route != "move":
            table.wrong("target", '"none" is for a move; here something is in the water')
        return None
    inner = table.table("target", TARGET_KEYS, "unknown")
    if inner is None:
        if tier != "refused" and said == "unknown":
            table.wrong("target", "only a refused regimen may leave its target unknown")
        return None
    source = inner.source()
    if not inner.has("low"):
        inner.wrong("low", "is missing")
    low, high, default = (inner.figure_under(key, kinds, source) for key in ("low", "high", "default"))
    _order(inner, low, high)
    if tier == "refused" and inner.has("default"):
        inner.wrong("default", "a refused regimen offers no dose")
    if tier != "refused" and not inner.has("default"):
        inner.wrong("default", "is missing")
    if default and low and (default.unit != low.unit or default.value < low.value):
        inner.wrong("default", f"{_say(default)} is outside the bounds (low {_say(low)})")
    elif default and high and (default.unit != high.unit or default.value > high.value):
        inner.wrong("default", f"{_say(default)} is outside the bounds (high {_say(high)})")
    return Target(low, high, default) if low else None


def _span(table: _Table | None, words: str) -> Span:
    if table is None:
        return Span(None, None, words, False)
    source = table.source()
    low, high = (table.figure_under(key, ("duration",), source) for key in ("low", "high"))
    _order(table, low, high)
    if low is None and high is None and not table.has("words"):
        table.wrong("words", "is missing where neither low nor high is given")
    return Span(low, high, table.text("words", needed=False), True)


def _contact(table: _Table, route: str) -> Span | None:
    if route == "food":
        if table.has("contact"):
            table.wrong("contact", "food has no contact time")
        return None
    return _span(table.table("contact", SPAN_KEYS, "silent"), "the source is silent")


def _repeats(table: _Table) -> Repeats:
    inner = table.table("repeats", REPEAT_KEYS, "silent")
    if inner is None:
        silent = "the source is silent"
        return Repeats(None, Span(None, None, silent, False), silent, False)
    inner.source()
    every = _span(inner.table("every", SPAN_KEYS, "silent"), "the source is silent")
    return Repeats(inner.whole("times"), every, inner.text("words"), True)


def _ceilings(table: _Table, kinds: tuple[str, ...], route: str, target: Target | None) -> tuple[Ceiling, ...]:
    rows = []
    for inner in table.tables("ceilings", CEILING_KEYS):
        source, found = inner.source(), inner.amount("amount", kinds)
        if source[1] != "PROPOSAL":
            inner.wrong("status", "a ceiling is a proposal built on rows; its status is PROPOSAL")
        up_to = inner.figure_under("up_to", ("duration",), source)
        warmest = inner.figure_under("warmest", ("temperature",), source)
        group = inner.choice("group", group_ids()) if inner.has("group") else ""
        row_ids, hard = inner.texts("rows"), inner.text("hard")
        if found:
            rows.append(Ceiling(Figure(*found, *source), up_to, row_ids, hard, warmest, group))
    lowered = target is not None and target.low.unit in OWN_UNITS["lowered salinity"]
    if lowered and rows:
        table.wrong("ceilings", "a lowered salinity has none")
    if not table.data.get("ceilings") and not lowered and route != "move":
        table.wrong("ceilings", "is missing")
    return tuple(rows)


def _water_rules(table: _Table) -> tuple[WaterRule, ...]:
    rows = []
    for inner in table.tables("water_rules", RULE_KEYS):
        by, use, source = inner.choice("by", tuple(RULE_BY)), inner.choice("use", RULE_USES), inner.source()
        kind = (RULE_BY.get(by, "concentration"),)
        start, end = inner.figure_under("from", kind, source), inner.figure_under("to", kind, source)
        _order(inner, start, end)
        water = inner.choice("water", RULE_WATERS) if inner.has("water") else ""
        if inner.has("share") == inner.has("amount"):
            inner.wrong("amount", "give either share or amount")
        share, level = inner.figure_under("share", ("share",), source), inner.figure_under("amount", LEVELS, source)
        figure = share or level
        if start is None:
            inner.wrong("from", "is missing")
        elif figure is not None:
            rows.append(WaterRule(by, use, start, end, water, figure))
    return tuple(rows)


def _check_needs(table: _Table, regimen: Regimen) -> None:
    """What a dose depends on is named, so that none is computed without it."""
    for rule in regimen.water_rules:
        if rule.by not in regimen.needs and regimen.tier != "refused":
            table.wrong("needs", f"does not name {rule.by}, which water_rules go by")
    liquid = level_unit(regimen) in ("uL/L", "mL/L")
    if liquid and regimen.tier != "refused" and "strength of the product" not in regimen.needs:
        table.wrong("needs", "does not name strength of the product, which a liquid goes by")


def _limits(table: _Table) -> tuple[Limit, ...]:
    rows = []
    for inner in table.tables("limits", LIMIT_KEYS):
        what, note = inner.choice("what", tuple(LIMITS)), inner.note()
        source = inner.source() if not note.reference else (note.reference, note.status)
        low, high = (inner.figure_under(key, (LIMITS.get(what, "concentration"),), source) for key in ("low", "high"))
        _order(inner, low, high)
        if not inner.has("low") and not inner.has("high"):
            inner.wrong("low", "is missing; give low, high or both")
        rows.append(Limit(what, low, high, inner.choice("kind", ("limit", "tested at")), note))
    return tuple(rows)


def _food(table: _Table, route: str, target: Target | None) -> Food | None:
    if route != "food":
        if table.has("food"):
            table.wrong("food", "only the route food has it")
        return None
    inner = table.table("food", FOOD_KEYS, "unknown")
    if inner is None:
        return None
    per_food = inner.figure("per_food", "food content")
    rate = inner.figure("feeding_rate", "feeding rate")
    if per_food is None or rate is None:
        return None
    per_kg = per_food.value * rate.value * 10  # mg/g x 1000 g fish x rate / 100
    if target and target.default and per_kg != target.default.value:
        inner.wrong("feeding_rate", f"gives {per_kg.normalize():f} mg/kg fish/day, not {_say(target.default)}")
    return Food(per_food, rate)


def _say(figure: Figure) -> str:
    return f"{figure.value:f} {figure.unit}"


def _hours(figure: Figure) -> Decimal:
    from quarantine.quantity import Quantity, to

    return to(Quantity(figure.value, figure.unit), "h")


def _order(table: _Table, low: Figure | None, high: Figure | None) -> None:
    if low is None or high is None:
        return
    if low.unit != high.unit:
        table.wrong("high", f"{_say(high)} and low {_say(low)} have two units")
    elif low.value > high.value:
        table.wrong("low", f"{_say(low)} is above high {_say(high)}")


def _check_ready(table: _Table, regimen: Regimen) -> None:
    """A ready regimen stands on figures that were read (treatment notes, section 0)."""
    if regimen.tier != "ready":
        return
    figures = [("status", regimen.status)]
    if regimen.target:
        figures.append(("target", regimen.target.low.status))
    for key, status in figures:
        if status not in READY_STATUSES:
            table.wrong(key, f"a ready regimen must be READ or READ-R, not {status}")


def _check_bounds(table: _Table, regimen: Regimen) -> None:
    """The default lies between effective minimum and ceilings; all levels of a regimen have one unit.

    A ratio (chloride to nitrite) is no level, so its ceiling, which is one, is not compared with it; nor is what a
    source printed without a basis.
    """
    target, minimum = regimen.target, regimen.effective_minimum
    if target is None:
        return
    # A ceiling up to a temperature need not hold in warmer water, nor one for a group with other animals.
    warm = [c.figure.value for c in regimen.ceilings if c.warmest]
    for one in regimen.ceilings:
        ceiling = one.figure
        if target.low.unit in APART and ceiling.unit not in APART:
            continue
        most = max(warm) if one.warmest else ceiling.value
        if ceiling.unit != target.low.unit:
            table.wrong("ceilings", f"{_say(ceiling)} and the target {_say(target.low)} have two units")
        elif not one.group and target.default and target.default.value > most:
            table.wrong("target.default", f"{_say(target.default)} is above the ceiling {_say(ceiling)}")
    if minimum and minimum.unit != target.low.unit:
        table.wrong("effective_minimum", f"{_say(minimum)} and the target {_say(target.low)} have two units")
    elif minimum and target.default and target.default.value < minimum.value:
        table.wrong("target.default", f"{_say(target.default)} is under the least that works, {_say(minimum)}")


def _check_named(reading: _Reading, references: dict[str, Reference]) -> None:
    """Every key that is named is listed, every listed one is named, and memory is called memory."""
    named = {key for key, _, _, _ in reading.named}
    for key, status, place, path in reading.named:
        if key not in references:
            reading.problems.append(
                f"{reading.file}: {place}: {path}: there is no reference {key!r}{_nearest(key, tuple(references))}"
            )
        elif references[key].read == "from memory" and status not in WITHOUT_REFERENCE:
            reading.problems.append(
                f"{reading.file}: {place}: {path}: reference {key!r} is from memory, so the status is MEM, not {status}"
            )
    for key in references:
        if key not in named:
            reading.problems.append(f"{reading.file}: reference {key}: key: nothing uses it")


def _check_rows(reading: _Reading, substance: Substance) -> None:
    """Rows that a regimen names exist in the entry, and none disagrees with itself."""
    known = tuple(regimen.id for regimen in substance.regimens)
    for regimen in substance.regimens:
        place = f"{reading.file}: regimen {regimen.id}"
        rows = [("disagreements", row) for row in regimen.disagreements]
        rows += [("ceilings.rows", row) for ceiling in regimen.ceilings for row in ceiling.rows]
        for key, row in rows:
            if row not in known:
                reading.problems.append(f"{place}: {key}: there is no regimen {row!r}{_nearest(row, known)}")
        if regimen.id in regimen.disagreements:
            reading.problems.append(f"{place}: disagreements: a regimen cannot disagree with itself")
