"""Rows F16, F17, F20 and F37 of the needs, in the pure room: 200 cases, two paths to an amount, rounding, the card."""

from __future__ import annotations

import csv
import re
from decimal import ROUND_CEILING, Decimal
from fractions import Fraction
from pathlib import Path

import cases_by_fractions
import pytest
from history import History
from hypothesis import assume, given
from hypothesis import strategies as st
from working_again import rework

from quarantine.cli.render import cautions_once, proposal_lines
from quarantine.dosing import COARSEST_LOSS, DEFERS, Proposal, Setting, Where, propose
from quarantine.facts import Fact
from quarantine.formulary import Figure, load, regimen
from quarantine.quantity import Quantity, read, to
from quarantine.water.ledger import Water
from quarantine.water.volume import net_volume, shape_from_text

HISTORY = History("marine-watch")
NOW = HISTORY.at(10)
with (Path(__file__).parent / "cases.csv").open(encoding="utf-8") as file:
    CASES = list(csv.DictReader(file))


def setting(
    litres: str = "200",
    plus_minus: str = "2",
    *,
    step: str = "0.01",
    kind: str = "marine",
    salinity: str = "",
    beside: tuple[str, ...] = (),
) -> Setting:
    """A lone tank without a batch; ``salinity`` is what was read, its last digit being the kit's step."""
    said = []
    if salinity:
        places = len(salinity.partition(".")[2])
        data = {"parameter": "salinity", "value": salinity, "step": str(Decimal(1).scaleb(-places)), "unit": "g/L"}
        said.append(Fact("reading", "reading", NOW, NOW, "keeper", "system", "tank", None, None, data))
    return Setting(
        kind=kind,
        zone="Europe/London",
        now=NOW,
        volume=Water(float(litres), float(plus_minus)),
        volume_says="measured",
        levels={},
        doses=(),
        evidence=None,
        scale_step_grams=Decimal(step),
        beside=beside,
        readings=tuple(said),
    )


# --- F16 -------------------------------------------------------------------------------------------------------------


def test_the_table_is_what_its_generator_works_out() -> None:
    """Nobody mends a line of the 200 by hand: the file is the generator's, line by line."""
    assert list(cases_by_fractions.cases()) == CASES
    assert "quarantine" not in re.findall(r"(?m)^(?:from|import) (\w+)", Path(cases_by_fractions.__file__).read_text())


def test_the_table_covers_what_it_is_for() -> None:
    """200 different cases: three ways to a volume, four rows, nine scales, both limits at work, held ones."""
    assert len(CASES) == 200
    assert len({tuple(case[name] for name in cases_by_fractions.COLUMNS[1:7]) for case in CASES}) == 200
    assert {case["how"] for case in CASES} == {"measured", "box", "cylinder"}
    assert {case["row"] for case in CASES} == {"Z01", "Z02", "M01", "T04"}
    assert len({case["scale_g"] for case in CASES}) == 9
    assert sum(case["hold"] == "" for case in CASES) >= 150
    assert sum(case["by_hand"] == "yes" for case in CASES) == 10
    near = [c for c in CASES if c["gives_high"] and Fraction(c["gives_high"]) >= (10 if c["row"][0] == "Z" else 5)]
    assert len(near) >= 10
    # Praziquantel's ceiling is five targets: only a volume that is held for its plus-minus would come near it.
    assert {case["row"][0] for case in near} == {"M", "T"}
    assert {case["hold"] for case in CASES} == {"", "C3", "C4"}


def worked(side: str) -> Fraction:
    """A side of a working line, by the rules of school: brackets, then x and /, then + and -."""
    while "(" in side:
        side = re.sub(r"\(([^()]*)\)", lambda inner: str(worked(inner[1])), side)
    total = Fraction(0)
    for sign, product in re.findall(r"(^|[+-] )([^+-]+)", side):
        value = Fraction(1)
        for mark, number in re.findall(r"(^|x |/ )([\d./]+)", product.strip()):
            value = value / Fraction(number) if mark == "/ " else value * Fraction(number)
        total += -value if sign == "- " else value
    return total


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["case"])
def test_each_line_of_the_table_spells_out_its_own_working(case: dict[str, str]) -> None:
    """Every "a = b" of the column is true, its last one is the amount, and no step of the scale more would fit."""
    sides = [step.split(" = ") for step in case["working"].split("; ")]
    assert [(left, right) for left, right in sides if worked(left) != Fraction(right)] == []
    by_target, by_ceiling, given_mg = (Fraction(right) for _, right in sides[-4:-1])
    step_mg = Fraction(case["scale_g"]) * 1000
    assert given_mg <= min(by_target, by_ceiling) < given_mg + step_mg
    assert case["hold"] or Fraction(case["add_g"]) * 1000 == given_mg


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["case"])
def test_the_dose_of_each_of_200_cases(case: dict[str, str]) -> None:
    """The amount and both ends of what it gives are those of exact fractions; or it is held by the same rule."""
    row = regimen(case["row"])
    water = Fraction(case["litres"]), Fraction(case["sure_litres"])
    kind = "marine" if case["row"].startswith("Z") else "fresh"
    proposal = propose(
        *row,
        setting(
            str(float(water[0])),
            str(float(water[1])),
            step=case["scale_g"],
            kind=kind,
            salinity=case["present_g_per_l"],
        ),
    )
    assert proposal.dose.volume_litres == Decimal(case["litres"])
    if case["hold"]:
        assert proposal.hold is not None
        assert (proposal.hold.rule, proposal.dose.add) == (case["hold"], None)
        return
    assert proposal.hold is None
    wanted = tuple(Fraction(case[name]) for name in ("add_g", "gives_low", "gives_high"))
    dose = proposal.dose
    assert (dose.add, dose.gives_low, dose.gives_high) == wanted
    lines = proposal_lines(proposal)
    assert rework(lines) == wanted
    assert lines[0].startswith(f"ADD {case['add_g']} g of ")


@pytest.mark.parametrize("case", [case for case in CASES if case["how"] != "measured"], ids=lambda case: case["case"])
def test_the_litres_of_each_computed_case(case: dict[str, str]) -> None:
    """Typed sides, walls, rocks and sump: the litres and the plus-minus of the table, as the record would hold them."""
    measures = dict(pair.split("=") for pair in case["measures"].split())
    found = net_volume(shape_from_text(case["how"], **measures))
    litres = Decimal(repr(found.litres)).quantize(Decimal("0.01"))
    sure = Decimal(repr(found.plus_minus_litres)).quantize(Decimal("0.01"), rounding=ROUND_CEILING)
    dose = propose(*regimen("Z01"), setting(str(litres), str(sure))).dose
    wanted = Decimal(case["litres"]), Decimal(case["sure_litres"])
    assert (dose.volume_litres, dose.volume_plus_minus_litres) == wanted


# --- F17, as far as mg/L and g/L go ----------------------------------------------------------------------------------

ONE_TARGET = ["2 mg/L", "0.002 g/L", "2000 ug/L", "0.0002 % w/v", "2 ppm"]


@pytest.mark.parametrize("text", ONE_TARGET)
@pytest.mark.parametrize(("litres", "plus_minus"), [("49.3", "0.5"), ("200", "2"), ("1234.5", "12")])
def test_F17_a_target_gives_the_same_amount_whatever_its_unit(text: str, litres: str, plus_minus: str) -> None:
    """2 mg/L typed in five ways: one amount, and what it gives is the same level in the unit that was typed."""
    wanted = read(text, "concentration", "target")
    one = propose(*regimen("Z01"), setting(litres, plus_minus), target=Quantity(Decimal(2), "mg/L")).dose
    dose = propose(*regimen("Z01"), setting(litres, plus_minus), target=wanted).dose
    assert dose.add == one.add
    for mine, ones in ((dose.gives_low, one.gives_low), (dose.gives_high, one.gives_high)):
        assert mine is not None
        assert to(Quantity(mine, dose.gives_unit), "mg/L") == ones


@given(st.integers(20, 20000), st.integers(0, 40), st.sampled_from(["1", "0.1", "5"]))
def test_F17_grams_a_litre_and_milligrams_a_litre_are_two_paths_to_one_amount(
    tenths: int, there: int, step: str
) -> None:
    """5 g/L and 5000 mg/L of salt with salt in the water already: the same grams, or the same hold."""
    water = setting(str(tenths / 10), "0.1", step=step, kind="fresh", salinity=str(Decimal(there) / 10))
    grams, milligrams = (
        propose(*regimen("T04"), water, target=Quantity(Decimal(value), unit))
        for value, unit in (("5", "g/L"), ("5000", "mg/L"))
    )
    assert grams.dose.add == milligrams.dose.add
    assert (grams.hold and grams.hold.rule) == (milligrams.hold and milligrams.hold.rule)


# --- F20 -------------------------------------------------------------------------------------------------------------

VOLUMES = st.decimals("0.6", "3000", places=2)
SCALES = st.sampled_from(["0.001", "0.01", "0.1", "1"])


@given(VOLUMES, st.sampled_from([0, 1, 5, 20]), SCALES, st.sampled_from(["Z01", "M01"]))
def test_F20_a_rounded_dose_is_within_tolerance_or_the_card_says_what_to_do(
    litres: Decimal, percent: int, step: str, row: str
) -> None:
    """Never up, never over the ceiling; over 5 % a step the card asks for a finer scale; over a fifth lost is held."""
    kind = "marine" if row == "Z01" else "fresh"
    proposal = propose(*regimen(row), setting(str(litres), str(litres * percent / 100), step=step, kind=kind))
    target, ceiling = (2, 10) if row == "Z01" else (5, 5)
    volume, sure = proposal.dose.volume_litres, proposal.dose.volume_plus_minus_litres
    exact = min(target * volume, ceiling * (volume - sure)) / 1000
    steps = exact // Decimal(step)
    lost = (exact - steps * Decimal(step)) / exact
    if lost > COARSEST_LOSS:
        assert proposal.hold is not None
        assert (proposal.hold.rule, proposal.hold.figure, proposal.dose.add) == ("C4", step, None)
        assert "finer scale" in proposal.hold.remedy
        return
    assert proposal.hold is None
    add, high = proposal.dose.add, proposal.dose.gives_high
    assert add is not None
    assert high is not None
    assert add == steps * Decimal(step)
    assert add * 1000 / (volume - sure) <= high <= ceiling
    assert ("finer scale" in proposal.advice) is (steps < 20)


@pytest.mark.parametrize(("litres", "lost"), [("9.9", "49"), ("12.4", ""), ("12.5", ""), ("12.6", "21")])
def test_F20_the_error_that_is_refused_begins_over_a_fifth(litres: str, lost: str) -> None:
    """2 mg/L on a 0.01 g scale: 12.5 L take 25 mg and get 20, a fifth less; 12.6 L take 25.2 mg and are held."""
    proposal = propose(*regimen("Z01"), setting(litres, "0"))
    assert (proposal.hold is not None) is bool(lost)
    if proposal.hold is not None:
        assert f"{lost} % too little" in proposal.hold.says
    else:
        assert proposal.dose.add == Decimal("0.02")


def test_F20_a_stock_solution_is_advised_only_for_what_dissolves() -> None:
    """With a solubility on record the hold and the advice name a stock solution with it; without one neither does."""
    substance, row = regimen("Z01")
    soluble = substance._replace(solubility=Figure(Decimal("0.4"), "g/L", "S43", "READ"))
    for litres, held in (("4", True), ("9.9", True), ("60", False)):
        with_it, without = (propose(s, row, setting(litres, "0")) for s in (soluble, substance))
        says = [p.hold.remedy if p.hold else p.advice for p in (with_it, without)]
        assert [p.hold is not None for p in (with_it, without)] == [held, held]
        assert "make a stock solution (dissolves to 0.4 g/L)" in says[0]
        assert "make a stock" not in says[1]
        assert all("eigh on a finer scale" in words for words in says)


# --- F16: the printed working ----------------------------------------------------------------------------------------


@given(st.decimals("10", "150000", places=2), st.sampled_from(["0.01", "0.001"]), st.decimals("0.6", "2", places=3))
def test_the_working_never_shows_more_than_was_computed(litres: Decimal, step: str, target: Decimal) -> None:
    """Hundreds of grams and a fine scale: what is "rounded down" in the working is not under what is shown above it."""
    wanted = Quantity(target, "mg/L")
    proposal = propose(*regimen("Z01"), setting(str(litres), "0", step=step), target=wanted)
    assume(proposal.hold is None)
    (line,) = [line for line in proposal.working if line.startswith("the smaller")]
    found = re.fullmatch(r"the smaller: ([\d.]+) g; rounded down to steps of ([\d.]+) g: ([\d.]+) g", line)
    assert found is not None
    smaller, grain, given_g = (Fraction(number) for number in found.groups())
    assert smaller == Fraction(target) * Fraction(proposal.dose.volume_litres) / 1000
    assert smaller // grain * grain == given_g


# --- F37 and rule C10 ------------------------------------------------------------------------------------------------


def salt_card() -> Proposal:
    return propose(*regimen("T04"), setting(kind="fresh", salinity="0.5", step="1"))


@pytest.mark.parametrize("row", ["Z01", "Z02", "M01", "T04"])
def test_F37_every_ready_dose_says_how_to_measure_it_and_by_which_route(row: str) -> None:
    """Amount first; substance and strength, litres, target, route, scale, cautions, limits and source: nothing is
    missing."""
    kind = "marine" if row.startswith("Z") else "fresh"
    where = Where("system", "running", ("carbon", "UV"))
    proposal = propose(*regimen(row), setting(kind=kind, salinity="0.5" if row == "T04" else ""), where=where)
    lines = proposal_lines(proposal)
    assert re.match(r"ADD [\d.]+ g of \w.*, counted as pure \(100 %\)$", lines[0])
    assert re.match(r"  for [\d.]+ L, plus or minus [\d.]+ L; target [\d.]+ m?g/L; gives ", lines[1])
    assert "  Route: bath, in all of the water system; filter running; off or out: carbon, UV." in lines
    assert any(line.startswith("  Measure: weigh on a scale with steps of 0.01 g; ") for line in lines)
    assert f"  Caution: {DEFERS}" in lines
    assert lines[-1].startswith(f"  Source ({row}): ")


@pytest.mark.parametrize(
    ("where", "beside", "held"),
    [
        (Where("system", "running", ()), ("1 other tank", "the sump"), False),
        (Where("tank", "running", ()), (), False),
        (Where("tank", "running", ()), ("1 other tank",), True),
        (Where("tank", "off", ()), (), False),
        (Where("system", "off", ()), ("the sump",), True),
        (Where("tank", "running", ()), ("the sump",), True),
        (None, ("1 other tank", "the sump"), False),
    ],
)
def test_C10_the_litres_of_the_whole_are_never_taken_for_a_part(
    where: Where | None, beside: tuple[str, ...], held: bool
) -> None:
    """One tank alone, or the filter off, while the volume on record holds more: no amount, and it says what more."""
    proposal = propose(*regimen("Z01"), setting(beside=beside), where=where)
    assert (proposal.dose.add is None) is held
    assert (proposal.hold is not None) is held
    if proposal.hold is not None:
        assert proposal.hold.rule == "C10"
        assert beside[0] in proposal.hold.says


def test_a_caution_that_stands_in_another_is_shown_once() -> None:
    """An exact repetition and one whose words are part of a longer one go; the order of the rest stays."""
    said = ("Wear gloves.", "Never for fish that people may eat.", "Wear gloves.", DEFERS)
    assert cautions_once(said) == ["Wear gloves.", DEFERS]
    assert cautions_once(("A.", "B.")) == ["A.", "B."]


STOP = set(re.findall(r"\w+", "a an and are as at be but by d for from g h in is it l mg no not of on or the to"))


@pytest.mark.parametrize("row", ["Z01", "Z02", "M01", "T04"])
def test_no_caution_of_a_card_says_again_what_another_says(row: str) -> None:
    """Of any two cautions on one card the shorter shares fewer than half of its words with the longer."""
    substance, found = regimen(row)
    kind = found.water[0]
    cautions = cautions_once(propose(substance, found, setting(kind=kind)).dose.cautions)
    words = [set(re.findall(r"[a-z0-9]+", caution.casefold())) - STOP for caution in cautions]
    again = [
        (cautions[i], cautions[j])
        for i in range(len(words))
        for j in range(i)
        if 2 * len(words[i] & words[j]) >= min(len(words[i]), len(words[j]))
    ]
    assert again == []


def test_salt_says_in_its_working_what_was_there_already() -> None:
    """0.5 g/L read in steps of 0.1: 4.45 g/L x 198 L = 881 g; with 0.45 to 0.55 there it gives 4.81 to 5 g/L."""
    assert salt_card().working[-1] == "gives 881 g in 202 L to 198 L, with 0.45 to 0.55 g/L there: 4.81 to 5 g/L"


def test_salt_for_a_water_without_a_batch_takes_the_reading_that_was_made() -> None:
    """Water is salted before fish come: the reading of that water counts, and one of another day does not."""
    assert salt_card().dose.add == Decimal(881)
    fresh = setting(kind="fresh", salinity="0.5", step="1")
    old = tuple(f._replace(at=HISTORY.at(8)) for f in fresh.readings)
    hold = propose(*regimen("T04"), fresh._replace(readings=old)).hold
    assert hold is not None
    assert hold.rule == "C15"
    assert load("sodium-chloride").classes == ("salt",)
