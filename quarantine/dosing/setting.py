"""What a dose rests on and what a card holds: the types of this room."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import Any, NamedTuple

from quarantine import evidence as ev
from quarantine.facts import Fact
from quarantine.stock import Choice, Lot
from quarantine.water.ledger import Water
from quarantine.water.level import Level

DEFERS = (
    "Computed from your own record; this is not veterinary advice. The product's label, local law and a veterinarian "
    "come first. Never for fish that people may eat. Dispose of treated water by local rules."
)
"""On every dose shown (rule 5.7 of the house, F100)."""


OUR_CHOICE = "our choice, no source"


TRIAL = "The first time on a species: only a few fish now, watched, before the rest (rule C8)"


TRIED = "The first time on a species: a few fish stood this strength first, in a vessel of their own, watched (rule C8)"
"""Of what stays in the water: all fish in it get it at once."""


AT_THE_MARK = "The water stands at its mark; if it does not, say so first: quarantine tank level (rule C10)"


SYRINGE_ML = Decimal("0.1")
"""The step of the syringe that a liquid is drawn with, where nobody set one; our choice, no source."""


class Hold(NamedTuple):
    """A dose that may not be given now: rule, figure, reference, and what would make it acceptable."""

    rule: str
    says: str
    figure: str | None
    figure_unit: str | None
    reference: str
    remedy: str

    def as_json(self) -> dict[str, Any]:
        """The shape of `hold` in JSON."""
        figure = Decimal(self.figure) if self.figure and _is_number(self.figure) else self.figure
        return {**self._asdict(), "figure": figure}


class Dose(NamedTuple):
    """The measured amount to add, and all that it rests on. Amounts are Decimal in the units named beside them."""

    substance: str
    regimen: str
    route: str
    target: Decimal
    target_unit: str
    volume_litres: Decimal
    volume_plus_minus_litres: Decimal
    add: Decimal | None
    add_unit: str
    add_of: str
    gives_low: Decimal | None
    gives_high: Decimal | None
    gives_unit: str
    reference: str
    cautions: tuple[str, ...]
    fish_grams: Decimal | None = None
    """for a dose in food: what the fish weigh; there is no volume then"""
    fish_plus_minus_grams: Decimal | None = None
    food_grams: Decimal | None = None
    """the portion of the prepared food that holds ``add``"""


class Where(NamedTuple):
    """Which water a template doses and how (rule C10): ``water`` is "system", "tank", "vessel" (a dip) or "food",
    ``filter`` "running", "off" or "" (vessel, food), ``off`` what is switched off or taken out for the dose,
    ``longest`` the template's own limit on a dip ("": the row's), ``after_change`` "full" where a change calls for the
    full amount again."""

    water: str
    filter: str
    off: tuple[str, ...]
    longest: str = ""
    after_change: str = ""


class Weighed(NamedTuple):
    """What a batch weighs, as it was typed: grams of ``number`` fish together with their plus-minus, how it was found
    (``by``) and when; ``food_grams`` is what they eat in a day (None: not known), ``grown`` says that fish came
    after it."""

    grams: Decimal
    plus_minus_grams: Decimal
    number: int
    food_grams: Decimal | None
    by: str
    at: datetime
    grown: bool = False


MADE_UP_SHARE = Decimal("0.01")
"""How far the volume that a stock solution is made up to may be off, where nobody said: 1 mL of 100, as in the worked
example of the calculation notes (section l); our choice, no source."""


class Stock(NamedTuple):
    """A stock solution: grams of the product, weighed, made up to so many litres; of the substance itself where no
    product is known. ``plus_minus_litres`` None: nobody said (:data:`MADE_UP_SHARE`). ``kept_until`` is the last day at
    the site on which its label lets it be used (None: not known), ``rest``: it was made before, and nothing more is
    weighed for it."""

    grams: Decimal
    litres: Decimal
    plus_minus_litres: Decimal | None = None
    kept_until: date | None = None
    rest: bool = False


class Form(NamedTuple):
    """The product a dose is measured out of, as its label says its strength: ``percent`` above 0 to 100, ``by`` "w/v"
    (g in 100 mL), "w/w" or "" (not said), ``of`` what it counts ("Cu", "formaldehyde", "" for the substance itself),
    ``words`` as typed. Of the stock: ``each_mg`` is what one tablet holds, ``step`` the smallest amount it is measured
    in (in its unit; None: by the scale or the syringe), ``bottle`` the product, its lot and expiry in words. ``sure``:
    somebody was asked whether so little is no slip, or will be (:func:`quarantine.dosing.forms.weak_hold`)."""

    percent: Decimal
    by: str
    of: str
    words: str
    each_mg: Decimal | None = None
    step: Decimal | None = None
    bottle: str = ""
    sure: bool = False


class Proposal(NamedTuple):
    """A dose card: the dose (its ``add`` is None under a hold), the hold, the working line by line, what the keeper
    confirms by giving it, how it is measured and given, and how the before-checks stand (F37)."""

    dose: Dose
    hold: Hold | None
    working: tuple[str, ...]
    confirm: tuple[str, ...]
    advice: str
    how: tuple[str, ...] = ()
    checks: str = ""
    instruction: str = ""
    """on whose instruction it is given, held or not; "" where there is none"""


class Instruction(NamedTuple):
    """A veterinarian's recorded instruction: what it passes, it passes for this regimen, batch and dose only.

    ``dose`` and ``unit`` are as the regimen is published; ``on`` and ``until`` are days at the site, both within;
    ``passes`` are words of :data:`quarantine.dosing.instructing.PASSES` and ids of groups of animals.
    """

    id: str
    batch: str
    batch_name: str
    regimen: str
    dose: Decimal
    unit: str
    who: str
    on: str
    until: str
    words: str
    passes: tuple[str, ...]


class Unsaid(NamedTuple):
    """A word that nobody said of a batch in the water whose own dose by ``regimen`` waits for it; or that was said
    before the species ``newcomers`` came in ("": none did)."""

    batch: str
    tank: str
    regimen: str
    step: str
    sentence: str
    newcomers: str = ""


class Replaced(NamedTuple):
    """The most that a dose may add that replaces what was taken out, in the ledger's unit x litres; its working."""

    amount: Decimal
    working: tuple[str, ...]


class Setting(NamedTuple):
    """The water a dose is meant for. ``levels`` hold every substance on record for it, each in its ledger's unit."""

    kind: str
    zone: str
    now: datetime
    volume: Water | None
    volume_says: str
    levels: dict[str, Level]
    doses: tuple[Fact, ...]
    evidence: ev.Evidence | None
    scale_step_grams: Decimal
    syringe_step_ml: Decimal = SYRINGE_ML
    beside: tuple[str, ...] = ()
    """what ``volume`` holds beside the tank itself: other tanks, sump, filter (rule C10)"""
    apart: Water | None = None
    """of ``beside``, litres of sump and filter that do not take part while the filter is off; None: they are not known,
    or other tanks share the water"""
    apart_says: str = ""
    """what stands apart then: "sump and filter", "sump", "filter\""""
    filter_off: bool = False
    """by the record the filter is off now: a dose turned it off, and nobody said that it runs again"""
    whole: Water | None = None
    """where ``volume`` is the tank alone because the filter is off for this dose: all of the water"""
    readings: tuple[Fact, ...] = ()
    """readings of a water without a batch, where there is no ``evidence`` to hold them"""
    weighed: Weighed | None = None
    """of the batch of ``evidence``, for a dose in food"""
    batch: str = "BATCH"
    """that batch's name, for what to type"""
    vessel: Water | None = None
    """a dip's own vessel, as typed at the moment (rule C15)"""
    product: Form | None = None
    """what it is measured out of; None: nobody said, so it counts as pure where its strength is no question"""
    shelf: tuple[Lot, ...] = ()
    """the keeper's stock: all lots of all substances"""
    choice: Choice | None = None
    """out of which lots of it this dose is measured; None: out of none"""
    stock: Stock | None = None
    """measured out of this instead of weighed (rule C4)"""
    prepared_grams: Decimal | None = None
    """grams of food to prepare at once; None: as little as the scale can weigh the substance for"""
    species: tuple[str, ...] = ()
    """of all fish in the water, as typed; empty: not known"""
    own_groups: str = ""
    """the text of the keeper's own file of groups of animals"""
    others: tuple[ev.Evidence, ...] = ()
    """of the other batches in this water: an emergency among them holds its doses too (rule C9)"""
    never_dosed: Level = Level(0.0, 0.0)
    """the level of a substance that is not in ``levels``: unknown after an addition of unknown size"""
    short_litres: Decimal = Decimal(0)
    """what the record says is missing of ``volume`` now"""
    instructions: tuple[Instruction, ...] = ()
    """of the batches in this water, those in force now, oldest first"""
    moved: tuple[Fact, ...] = ()
    """what moved water: changes, top-ups, evaporation, flows"""
    first: tuple[str, ...] = ()
    """planned water changes of today that are still open (rule C11)"""
    replaces: Replaced | None = None
    """of a repeat in mode "replace removed" (rule C1)"""
    set_point: Decimal | None = None
    """°C: the highest to which a heater of this water is set; None: none is on record"""
    said_groups: tuple[tuple[str, tuple[str, ...]], ...] = ()
    """what keepers said of the animals: name without capitals, ids of groups (none: it is none of them)"""
    unsaid: tuple[Unsaid, ...] = ()
    """what keepers have not said of the batches in this water, whose own doses wait for it (rule C8)"""


UNSOURCED = {"MEM": "from memory"}


def _is_number(text: str) -> bool:
    return text.replace(".", "", 1).replace("-", "", 1).isdigit()
