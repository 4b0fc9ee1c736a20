"""Formalin: the two ways in which print doses it, 8 % apart, and what it does to the oxygen (rule C17).

Doses are of the solution of about 37 % formaldehyde, taken as 100 %: 1 uL/L here is 1 uL of that solution. US drug
labels and the tables after them count by volume; US Fish and Wildlife Service, Fish Hatchery Management, 1982,
page 276, counts mg of solution and so by mass: 167 ppm is 43.8 mL in 10 cubic feet, not 47.3. A bare ppm is therefore
two figures. Amounts are exact decimals; a dose is rounded down.
"""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_FLOOR, Context, Decimal
from typing import NamedTuple

from quarantine.water.ranges import check, check_litres

DENSITY_MG_PER_UL = Decimal("1.08")
"""British Pharmacopoeia, Appendix I A, year not stated (reprint): about 1.08 g/mL."""
FORMALDEHYDE_BY_VOLUME = Decimal("0.37")
"""mg of formaldehyde per uL where 37 % means 37 g in 100 mL, as the pairs of a US veterinary label do."""
FORMALDEHYDE_BY_WEIGHT = Decimal("0.3996")
"""mg of formaldehyde per uL where 37 % means by weight: 0.37 x 1.08."""
FISH_MOST_UL_PER_L = 250
"""The highest figure any source gives for live fish: Merck Veterinary Manual, FDA-Approved Drugs for Aquaculture Use,
2019. Egg baths are stronger and kill fish."""
OXYGEN_SHARE = Decimal(5)
"""mg of formalin that take 1 mg of oxygen, within 30 to 36 h: Fish Hatchery Management, 1982, page 276."""

_DOWN = Context(prec=34, rounding=ROUND_FLOOR)
_UP = Context(prec=34, rounding=ROUND_CEILING)


class SourcePpm(NamedTuple):
    """What a source's bare ppm of formalin may mean, in uL of solution per litre; the smaller one is used."""

    by_volume_ul_per_l: Decimal
    by_mass_ul_per_l: Decimal
    used_ul_per_l: Decimal


def solution_ml(ul_per_l: Decimal, volume_litres: Decimal) -> Decimal:
    """Millilitres of 37 % solution for a target in uL/L: uL/L x V / 1000, before rounding to the syringe.

    ``ul_per_l`` above 0 to 250, volume above 0 L. Raises Refused outside.
    """
    check("formalin", ul_per_l, "uL/L", 0, FISH_MOST_UL_PER_L, above=True)
    check_litres("volume", volume_litres)
    return _DOWN.divide(_DOWN.multiply(ul_per_l, volume_litres), Decimal(1000))


def ul_per_l_of_mass(mg_per_l: Decimal) -> Decimal:
    """Milligrams of solution per litre as uL/L: divided by 1.08 g/mL, the last of 34 digits down.

    ``mg_per_l`` is 0 to 270 (250 uL/L). Raises Refused outside.
    """
    check("formalin", mg_per_l, "mg/L", 0, FISH_MOST_UL_PER_L * DENSITY_MG_PER_UL)
    return _DOWN.divide(mg_per_l, DENSITY_MG_PER_UL)


def mg_per_l_of_volume(ul_per_l: Decimal) -> Decimal:
    """uL/L as milligrams of solution per litre: times 1.08 g/mL. 0 to 250 uL/L; raises Refused outside."""
    check("formalin", ul_per_l, "uL/L", 0, FISH_MOST_UL_PER_L)
    return ul_per_l * DENSITY_MG_PER_UL


def of_source_ppm(ppm: Decimal) -> SourcePpm:
    """Both readings of a source's ppm, and the smaller, which is used (rule C17). 0 to 250; raises Refused outside."""
    check("formalin", ppm, "ppm", 0, FISH_MOST_UL_PER_L)
    by_mass = ul_per_l_of_mass(ppm)
    return SourcePpm(ppm, by_mass, min(ppm, by_mass))


def formaldehyde_mg_per_l(ul_per_l: Decimal) -> tuple[Decimal, Decimal]:
    """The formaldehyde in it, mg/L: where 37 % means g in 100 mL, and where it means by weight.

    37 mg/L and more has harmed the filter's bacteria for over eight days (trial). 0 to 250 uL/L; raises Refused
    outside.
    """
    check("formalin", ul_per_l, "uL/L", 0, FISH_MOST_UL_PER_L)
    return ul_per_l * FORMALDEHYDE_BY_VOLUME, ul_per_l * FORMALDEHYDE_BY_WEIGHT


def oxygen_taken_mg_per_l(formalin_mg_per_l: Decimal) -> Decimal:
    """Oxygen that the formalin takes from the water within 30 to 36 h: 1 mg/L per 5 mg/L of solution.

    Fish Hatchery Management, 1982, page 276. 0 to 270 mg/L; raises Refused outside.
    """
    check("formalin", formalin_mg_per_l, "mg/L", 0, FISH_MOST_UL_PER_L * DENSITY_MG_PER_UL)
    return _UP.divide(formalin_mg_per_l, OXYGEN_SHARE)
