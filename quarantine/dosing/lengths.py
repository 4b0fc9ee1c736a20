"""What fish weigh, found from their lengths: W = a x L^b, with the a and b that a source gives for the species (F26).

No a and no b stand here: the reference notes print none, so the keeper says both, and from where.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal
from typing import NamedTuple

from quarantine.failures import Refused
from quarantine.quantity import Quantity, show, to

KINDS = ("total", "fork", "standard")
"""How a length is taken: to the end of the tail fin, to its fork, to where it begins. A relation is for one of them."""

MASSES, LENGTHS = ("g", "mg", "kg"), ("cm", "mm", "in")

FEWEST = 3
"""So many fish are measured at the least, or all there are: one length says nothing of how far the others are from it.
Our choice, no source."""

LEAST_POWER, MOST_POWER = Decimal("2.5"), Decimal("3.5")
"""The power b of most fish lies in this range (from memory); another one is asked about once."""

_RELATION = re.compile(
    rf"(?:W ?= ?)?(?P<a>\d+(?:\.\d+)?) ?(?:x|\*|×)? ?L ?(?:\^|\*\*) ?(?P<b>\d+(?:\.\d+)?) ?, "
    rf"?(?P<mass>{'|'.join(MASSES)}) ?, ?(?P<length>{'|'.join(LENGTHS)}) ?,? ?(?P<kind>{'|'.join(KINDS)})(?: length)?",
    re.IGNORECASE,
)

EXAMPLE = "0.012 x L^3.04, g, cm, total"
"""The form of a relation, not a relation of any fish."""


class Relation(NamedTuple):
    """W = a x L^b: W in ``mass_unit``, L in ``length_unit``, taken as ``kind`` says (:data:`KINDS`)."""

    a: Decimal
    b: Decimal
    mass_unit: str
    length_unit: str
    kind: str

    def words(self) -> str:
        """ "W = 0.012 x L^3.04 (g, cm, total length)" """
        return f"W = {show(self.a)} x L^{show(self.b)} ({self.mass_unit}, {self.length_unit}, {self.kind} length)"

    def grams(self, length_cm: Decimal) -> Decimal:
        """Grams of one fish of so many centimetres, more than nothing."""
        length = to(Quantity(length_cm, "cm"), self.length_unit)
        return to(Quantity(self.a * length**self.b, self.mass_unit), "g")


def read_relation(text: str) -> Relation:
    """A typed relation with its units and the kind of its length: "0.012 x L^3.04, g, cm, total".

    Raises Refused for what does not read and for an a or a b of nothing: g against mm instead of cm is a factor of a
    thousand, and total instead of standard length a third and more, so neither is guessed.
    """
    found = _RELATION.fullmatch(" ".join(text.split()))
    if found is None:
        raise Refused(
            f"--relation {text!r} does not read: write a and b of the source with the units of weight and length and "
            f'how it takes the length ({", ".join(KINDS)}), in the form "{EXAMPLE}".'
        )
    a, b = Decimal(found["a"]), Decimal(found["b"])
    if a <= 0 or b <= 0:
        raise Refused(f"--relation {text!r}: a and b are more than nothing.")
    return Relation(a, b, found["mass"].lower(), found["length"].lower(), found["kind"].lower())


class Weight(NamedTuple):
    """Grams of all living fish together, and their plus-minus."""

    grams: Decimal
    plus_minus_grams: Decimal


def weight_of(
    relation: Relation, lengths: Sequence[tuple[Decimal, Decimal]], alive: int, within_percent: Decimal | None
) -> Weight:
    """The weight of ``alive`` fish, at least as many as were measured.

    ``lengths`` are centimetres with their plus-minus. What was measured weighs what the relation says at both ends of
    its length; a fish that was not measured weighs as much as the lightest or the heaviest of those that were (the
    spread of the lengths). ``within_percent``: how far a single fish lies from the relation, where its source says so.
    Grams are the mean times the number, to the second digit of the plus-minus, which reaches the further end and is
    rounded up. Formula: W = a x L^b, the length-weight relation of fishery biology (from memory).
    """
    middle = [relation.grams(length) for length, _ in lengths]
    lightest = [relation.grams(max(length - half, Decimal(0))) for length, half in lengths]
    heaviest = [relation.grams(length + half) for length, half in lengths]
    others, off = alive - len(lengths), (within_percent or Decimal(0)) / 100
    low = max((sum(lightest) + others * min(lightest)) * (1 - off), Decimal(0))
    high = (sum(heaviest) + others * max(heaviest)) * (1 + off)
    mean = sum(middle, Decimal(0)) / len(middle)
    step = Decimal(1).scaleb(((high - low) / 2).adjusted() - 1)
    grams = (mean * alive).quantize(step, rounding=ROUND_HALF_EVEN)
    plus_minus = max(high - grams, grams - low).quantize(step, rounding=ROUND_CEILING)
    return Weight(Decimal(show(grams)), Decimal(show(plus_minus)))
