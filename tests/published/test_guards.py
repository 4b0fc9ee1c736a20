"""Every row of the notes on refuse-above bounds (treatment notes, section 5): the guard is the ceiling that the code
applies. Guards are proposals of this project, built on the rows named; amounts are exact, as printed.

The end of each line names the rows; where the notes give one guard for every length, temperature or animal, it holds
for all of them. What the notes never offer is refused.
"""

from __future__ import annotations

from decimal import Decimal
from typing import NamedTuple

import pytest
from notes_rows import asked

from quarantine import formulary
from quarantine.dosing.holds import course_hold, first_hold
from quarantine.formulary import by_water, ceiling_for
from quarantine.quantity import Quantity

EVERY = frozenset[str]()
UL, MG, G = "uL/L", "mg/L", "g/L"


class Guard(NamedTuple):
    """One line: the regimen, the contact in hours (None: any), the guard (None: refused), °C, groups of animals."""

    row: str
    hours: str | None
    guard: tuple[str, str] | None
    warmest: str | None = None
    groups: frozenset[str] | None = EVERY


GUARDS = [
    # Formalin: F01, F02-F05, F07, F10, F13; small fish 100 [S90], fry 80 [S91]
    Guard("F07", None, ("25", UL)),
    Guard("F10", None, ("25", UL)),
    Guard("F01", "1", ("250", UL), "21"),
    Guard("F01", "1", ("150", UL), "22"),
    Guard("F02", "1", ("150", UL), "27"),
    Guard("F02", "1", None, "28"),
    Guard("F02", "1", None, None),
    Guard("F01", "1", ("100", UL), "21", frozenset({"small-ornamental"})),
    Guard("F01", "1", ("80", UL), "21", frozenset({"fry"})),
    Guard("F01", "1", ("80", UL), "21", None),
    Guard("F01", "2", None, "21"),
    # Copper, marine, as Cu2+: C04, C06
    Guard("C04", None, ("0.20", "mg/L Cu")),
    Guard("C06", None, ("0.20", "mg/L Cu")),
    # Salt: dips T01, T10; hours T04; beyond 12 h and for good T06, T19
    Guard("T01", "0.1", ("30", G)),
    Guard("T01", "0.2", None),
    Guard("T04", "12", ("10", G)),
    Guard("T04", "13", ("5", G)),
    Guard("T06", None, ("5", G)),
    Guard("T19", None, ("5", G)),
    # Permanganate: K01, at most 4 h in clean water; K02-K04 30 min
    Guard("K01", "4", ("2", MG)),
    Guard("K01", "5", None),
    Guard("K02", "0.5", ("10", MG)),
    Guard("K04", "0.6", None),
    # Peroxide, ornamental: P01, P02
    Guard("P01", "1", ("6.5", MG)),
    Guard("P02", "1", ("6.5", MG)),
    Guard("P03", "1", ("6.5", MG), None, frozenset({"small-ornamental"})),
    Guard("P06", "1", ("6.5", MG)),
    # Chloramine-T: H01
    Guard("H01", "1", ("20", MG)),
    Guard("H01", "2", None),
    # Praziquantel Z03, Z04, Z06; levamisole N01-N04; metronidazole M01, M04; chloroquine Q01
    *(Guard(row, "24", ("10", MG)) for row in ("Z01", "Z03", "Z04", "Z06")),
    *(Guard(row, None, ("10", MG)) for row in ("N01", "N03")),
    Guard("M01", None, ("5", MG)),
    Guard("Q01", None, ("20", MG)),
    # Emamectin N07, N09; lufenuron N10
    Guard("N07", "3", ("0.2", MG)),
    Guard("N07", "24", None),
    Guard("N09", "3", ("0.2", MG)),
    Guard("N10", None, ("0.11", MG)),
    # Malachite green D04 (0 for tetras and fry, unknown animals the same), methylene blue D01, acriflavine D06
    Guard("D04", None, ("0.1", MG)),
    Guard("D04", None, ("0", MG), None, frozenset({"characins"})),
    Guard("D04", None, ("0", MG), None, frozenset({"fry"})),
    Guard("D04", None, ("0", MG), None, None),
    Guard("D01", None, ("3", MG), "25"),
    Guard("D06", "4", ("4", MG)),
    # Bronopol D07; quaternary ammonium D08, D09
    Guard("D07", "0.5", ("50", MG)),
    Guard("D08", "0.1666", ("10", MG)),
    Guard("D08-prolonged", None, ("0.5", MG)),
    Guard("D09", "1", ("2", MG)),
    # Nifurpirinol A04; oxytetracycline A01, A02
    Guard("A04", "0.1666", ("1", MG)),
    Guard("A04-prolonged", None, ("0.1", MG)),
    Guard("A01", None, ("15", MG)),
    Guard("A02", None, ("15", MG)),
]


@pytest.mark.parametrize("line", GUARDS, ids=[f"{g.row} {g.hours} {g.warmest} {g.groups}" for g in GUARDS])
def test_the_guard_of_the_notes_is_the_ceiling(line: Guard) -> None:
    """For this contact, temperature and these animals; refused where the notes give none for so long or so warm."""
    found = ceiling_for(
        formulary.regimen(line.row)[1],
        None if line.hours is None else Decimal(line.hours),
        warmest_c=None if line.warmest is None else Decimal(line.warmest),
        groups=line.groups,
    )
    assert (None if found is None else (f"{found.figure.value:f}", found.figure.unit)) == line.guard


@pytest.mark.parametrize(
    ("alkalinity", "guard"),
    [("49", None), ("50", "0.5"), ("100", "1"), ("119", "1.19"), ("250", "2.5"), ("400", "2.5")],
)
def test_copper_sulfate_in_fresh_water_is_capped_by_the_alkalinity(alkalinity: str, guard: str | None) -> None:
    """min(alkalinity / 100, 2.5), refused under 50 or unknown: IFAS EDIS FA008, year not stated (rows C01, C08)."""
    row = formulary.regimen("C01")[1]
    assert by_water(row, "ceiling", {"hardness": Decimal(100)}) is None
    row = row._replace(water_rules=tuple(rule for rule in row.water_rules if rule.by == "alkalinity"))
    found = by_water(row, "ceiling", {"alkalinity": Decimal(alkalinity)})
    if guard is None:
        assert found is None
        return
    assert found is not None
    assert found.value == Decimal(guard)


REFUSED_GROUPS = [
    ("C01", "Hyphessobrycon eques"),
    ("C01", "Danio rerio"),
    ("C01", "Poecilia reticulata"),
    ("C04", "Centropyge loricula"),
    ("C04", "Lysmata amboinensis"),
    ("P01", "Corydoras aeneus"),
    ("P01", "Hypostomus plecostomus"),
    ("P01", "Trichopodus trichopterus"),
    ("F07", "Neocaridina davidi"),
    ("K01", "Vallisneria spiralis"),
]


@pytest.mark.parametrize(("row", "species"), REFUSED_GROUPS)
def test_animals_that_the_guard_refuses_hold_the_dose(row: str, species: str) -> None:
    """Small tetras, danios and small livebearers [S97-S99], dwarf angelfish [S100], invertebrates [S06]; armoured and
    suckermouth catfish and gouramis [S39]; the rest from memory."""
    from test_interactions import water

    from quarantine.dosing.animals import species_hold

    kind = "marine" if row == "C04" else "fresh"
    hold = species_hold(*formulary.regimen(row), water(kind=kind)._replace(species=(species,)))
    assert hold is not None
    assert hold.rule == "sensitive animals"
    assert species in hold.says
    assert "keep them out of this water" in hold.remedy


@pytest.mark.parametrize(
    ("row", "kind", "is_held"),
    [("C01", "fresh", True), ("C04", "marine", False), ("P01", "fresh", True), ("F07", "fresh", False)],
)
def test_a_fish_on_no_list_holds_what_can_kill_it_and_is_confirmed_for_the_rest(
    row: str, kind: str, is_held: bool
) -> None:
    """Rainbowfish are on no list: copper in fresh water and peroxide wait for the keeper's word what they are."""
    from test_interactions import water

    from quarantine.dosing.animals import animals_to_confirm, species_hold

    found = water(kind=kind)._replace(species=("Melanotaenia praecox",))
    hold = species_hold(*formulary.regimen(row), found)
    assert (hold is not None) is is_held
    if hold is not None:
        assert "quarantine batch groups" in hold.remedy
    assert "on no list" in animals_to_confirm(*formulary.regimen(row), found)[0]
    said = found._replace(said_groups=(("melanotaenia praecox", ()),))
    assert species_hold(*formulary.regimen(row), said) is None
    assert animals_to_confirm(*formulary.regimen(row), said) == ()


@pytest.mark.parametrize("row", ["N06", "N12", "D04", "A05", "N14", "N14-ivermectin", "M04", "N04", "A02"])
def test_what_the_notes_never_offer_is_refused(row: str) -> None:
    """Fenbendazole bath, trichlorfon, malachite green, nitrofurans, albendazole and ivermectin baths; what lies over
    a guard (M04 25, N04 125, A02 25 mg/L)."""
    assert formulary.regimen(row)[1].tier == "refused"
    hold = asked(row).hold
    assert hold is not None


def test_K01_all_doses_of_a_course_stay_under_6_mg_per_l() -> None:
    """2 mg/L a dose, 6 mg/L cumulative (common practice, row K01): a fourth full dose is held, over the whole stay."""
    from test_interactions import NOW, dose, water

    substance, row = formulary.regimen("K01")
    given = []
    for days in (1, 2, 3):
        fact = dose("potassium-permanganate", 24 * days)
        given.append(fact._replace(data=fact.data | {"gives_high_mg_per_l": "1.99"}))
        hold = course_hold(substance, row, water(facts=tuple(given)), Decimal(2))
        assert (hold is not None) is (days == 3)
    assert hold is not None
    assert (hold.rule, hold.figure, hold.figure_unit) == ("course ceiling", "6", "mg/L")
    unknown = given[0]._replace(data=given[0].data | {"gives_high_mg_per_l": None})
    assert course_hold(substance, row, water(facts=(unknown,)), Decimal(1)) is not None
    assert course_hold(substance, row, water(facts=(given[0]._replace(at=NOW.replace(year=2025)),)), Decimal(2)) is None


@pytest.mark.parametrize(
    "row",
    [r.id for s in formulary.load_all() for r in s.regimens if r.tier == "ready" and r.route in ("bath", "prolonged")],
)
def test_a_target_over_its_published_range_is_held_before_any_amount(row: str) -> None:
    """Ten times the top of every ready bath: held by its range, its unit, or what it depends on; never dosed."""
    from test_interactions import water

    substance, regimen = formulary.regimen(row)
    top = regimen.target and (regimen.target.high or regimen.target.low)
    if not top:
        assert regimen.water_rules  # by what was read of the water: there is no target to type
        return
    kind = regimen.water[0]
    wanted = Quantity(top.value * 10, top.unit)
    assert first_hold(substance, regimen, water(kind=kind), wanted, (), regimen.ceilings[0]) is not None
