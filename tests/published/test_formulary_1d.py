"""The formulary against its sources: dyes, disinfectants and antibiotics (rows D and A).

The tables were written down from the notes on the sources, not from the entries. Beside each row stand publisher,
title, number and year, as far as they are known; "from memory" and "common practice" are said where so. Amounts are
compared exactly: they are printed figures, and nothing is calculated from them unless a test says so.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from notes_rows import Amount, Row, asked, d, guard_of, h, ids, mg, minutes, plain, row_of, stated

from quarantine import formulary
from quarantine.formulary import ceiling_for
from quarantine.quantity import Quantity, to

WEB = "pages that are no authority: common practice, no source"
RIFICI = "Rifici et al., Environ. Toxicol. Chem. 15:1304-1308, 1996 (abstract)"
JEWELFISH = "Malachite green in Hemichromis bimaculatus, year not stated (abstract)"
MEMORY = "source not recorded: from memory"
EXOTIC = "Exotic Animal Formulary, ch. 2 Fish, Table 2-1, year not stated (start of the table)"
HATCHERY = "US Fish and Wildlife Service, Fish Hatchery Management (Piper et al.), pp. 279-281, 1982 (page scans)"
ASTM = "ASTM E729, Table 7, year not stated (poor scan)"
FA084 = "Univ. of Florida IFAS EDIS, Use of Antibiotics in Ornamental Fish Aquaculture, Circular 84 / FA084 (reprint)"

PER_DAY = "mg/kg fish/day"


# fmt: off
ROWS = {
    # Methylene blue. D03: 50 mg/L for 10 s, 12 mg/L for 10 min; 10 s is said in words only.
    "D01": Row(WEB, ("CP-D01",), "instruction", "READ-CP", "prolonged", mg("3"), mg("3"), mg("3"), d("3"), d("5")),
    "D02": Row(RIFICI, ("S57",), "trial", "READ", "prolonged", mg("3"), mg("3"), mg("3")),
    "D03": Row(WEB, ("CP-D01",), "refused", "READ-CP", "dip", mg("50"), mg("50")),
    "D03-weak": Row(WEB, ("CP-D01",), "refused", "READ-CP", "dip", mg("12"), mg("12"), None,
                    minutes("10"), minutes("10")),
    # Malachite green.
    "D04": Row(JEWELFISH, ("S58", "S27", "S22"), "refused", "READ", "bath", mg("0.2"), mg("0.2")),
    "D05": Row(MEMORY, ("MEM-D05",), "refused", "MEM", "prolonged", mg("0.05"), mg("0.1"), None, None, None,
               3, d("3"), d("3"), d("3")),
    # Acriflavine (trout; channel catfish), bronopol, benzalkonium chloride, a quaternary ammonium compound.
    "D06": Row(EXOTIC, ("S59",), "instruction", "READ", "bath", mg("4"), mg("4"), mg("4"), h("4"), h("4")),
    "D06-catfish": Row(EXOTIC, ("S59",), "instruction", "READ", "bath", mg("10"), mg("10"), mg("10"), h("4"), h("4")),
    "D07": Row(EXOTIC, ("S59",), "instruction", "READ", "bath", mg("15"), mg("50"), mg("15"),
               minutes("30"), minutes("60")),
    "D08": Row(EXOTIC, ("S59",), "instruction", "READ", "bath", mg("10"), mg("10"), mg("10"),
               minutes("10"), minutes("10")),
    "D08-prolonged": Row(EXOTIC, ("S59",), "instruction", "READ", "prolonged", mg("0.5"), mg("0.5"), mg("0.5")),
    "D09": Row(HATCHERY, ("S10",), "instruction", "READ", "bath", mg("2"), mg("2"), mg("2"),
               minutes("60"), minutes("60")),
    # Oxytetracycline. A03: 55-77 mg/kg, calculated in the notes from 2.5-3.5 g per 100 lb of fish.
    "A01": Row(HATCHERY, ("S10",), "instruction", "READ", "prolonged", mg("15"), mg("15"), mg("15")),
    "A02": Row(ASTM, ("S13",), "refused", "READ-OCR", "bath", mg("25"), mg("25"), None, minutes("30"), minutes("60")),
    "A03": Row(HATCHERY, ("S10",), "instruction", "READ", "food", ("55", PER_DAY), ("77", PER_DAY), ("55", PER_DAY),
               None, None, None, d("1"), d("1"), d("1")),
    # Nitrofurans.
    "A04": Row(HATCHERY, ("S10",), "refused", "READ", "bath", mg("1"), mg("1"), None, minutes("5"), minutes("10")),
    "A04-prolonged": Row(HATCHERY, ("S10",), "refused", "READ", "prolonged", mg("0.1"), mg("0.1")),
    "A05": Row(HATCHERY, ("S10",), "refused", "READ", "prolonged", mg("5"), mg("30")),
    "A06": Row(ASTM, ("S13",), "refused", "READ-OCR", "bath", mg("3"), mg("5"), None, minutes("30"), minutes("60")),
    # Aminoglycosides: kanamycin's 50-100 mg/L each 72 h, 3 times, from memory; neomycin's A08 not in the copy.
    "A07": Row(ASTM, ("S13",), "instruction", "READ-OCR", "bath", mg("25"), mg("25"), mg("25"),
               minutes("30"), minutes("60")),
    "A08": Row(MEMORY, ("MEM-A08",), "refused", "MEM", "bath", mg("50"), mg("100"), None, None, None,
               3, h("72"), h("72"), h("72")),
    "A08-neomycin": Row(FA084, ("S18",), "refused", "READ-R", "bath"),
    # Not effective in a bath; dose not found.
    "A09": Row(FA084, ("S18", "S60"), "refused", "READ-R", "bath"),
    "A10": Row(FA084, ("S18",), "refused", "READ-R", "bath"),
    "A10-oxolinic": Row(FA084, ("S18",), "refused", "READ-R", "bath"),
}
# fmt: on

SUBSTANCES = {
    "methylene-blue": ("D01", "D02", "D03", "D03-weak"),
    "malachite-green": ("D04", "D05"),
    "acriflavine": ("D06", "D06-catfish"),
    "bronopol": ("D07",),
    "benzalkonium-chloride": ("D08", "D08-prolonged"),
    "quaternary-ammonium": ("D09",),
    "oxytetracycline": ("A01", "A02", "A03"),
    "nifurpirinol": ("A04", "A04-prolonged"),
    "nitrofurazone": ("A05", "A06"),
    "neomycin": ("A07", "A08-neomycin"),
    "kanamycin": ("A08",),
    "erythromycin": ("A09",),
    "nalidixic-acid": ("A10",),
    "oxolinic-acid": ("A10-oxolinic",),
}
ANTIBIOTICS = [name for name, rows in SUBSTANCES.items() if rows[0][0] == "A"]


@pytest.mark.parametrize("row", ROWS)
def test_each_row_of_dyes_and_antibiotics_says_what_its_source_says(row: str) -> None:
    """Tier, strength, default, contact, repeats, gap and reading of each row are those written down here."""
    assert row_of(formulary.regimen(row)[1], ROWS[row].source) == ROWS[row]


def test_every_row_of_dyes_and_antibiotics_is_there_under_its_substance() -> None:
    """The rows D and A stand on file, each once and under the substance it speaks of."""
    assert ids("DA") == set(ROWS)
    assert {name: tuple(r.id for r in formulary.load(name).regimens) for name in SUBSTANCES} == SUBSTANCES


def test_none_of_these_is_ready_and_all_are_for_fresh_water() -> None:
    """Not one row D or A is general advice that was read, and the notes have all of them for fresh water."""
    rows = [formulary.regimen(row)[1] for row in ROWS]
    assert "ready" not in {row.tier for row in rows}
    assert {row.water for row in rows} == {("fresh",)}


def test_what_is_said_in_words_only_is_said() -> None:
    """10 s (web pages), during incubation (Rifici et al. 1996), long (Exotic Animal Formulary)."""
    for row, words in (("D03", "10 s"), ("D02", "during incubation"), ("D08-prolonged", "long")):
        contact = formulary.regimen(row)[1].contact
        assert contact is not None
        assert (contact.words, contact.stated) == (words, True)


# Refuse-above figures: proposals of this project, not published, each built on the rows named with it.
Guard = tuple[Amount, Amount | None, tuple[str, ...]]
BLUE: list[Guard] = [(mg("3"), None, ("D01", "D02"))]
MALACHITE: list[Guard] = [(mg("0.1"), None, ("D04",)), (mg("0"), None, ("D04",)), (mg("0"), None, ("D04",))]
OXYTETRACYCLINE: list[Guard] = [(mg("15"), None, ("A01", "A02"))]
NOT_OFFERED: list[Guard] = [(mg("0"), None, ("A05", "A06"))]
NEOMYCIN: list[Guard] = [(mg("25"), minutes("60"), ("A07",))]
GUARDS: dict[str, list[Guard]] = {
    **dict.fromkeys(["D01", "D02", "D03", "D03-weak"], BLUE),
    **dict.fromkeys(["D04", "D05"], MALACHITE),
    "D06": [(mg("4"), h("4"), ("D06",))],
    "D06-catfish": [(mg("10"), h("4"), ("D06-catfish",))],
    "D07": [(mg("50"), minutes("30"), ("D07",))],
    "D08": [(mg("10"), minutes("10"), ("D08",))],
    "D08-prolonged": [(mg("0.5"), None, ("D08-prolonged",))],
    "D09": [(mg("2"), minutes("60"), ("D09",))],
    **dict.fromkeys(["A01", "A02"], OXYTETRACYCLINE),
    # In food the row's own upper figure: the notes have none.
    "A03": [(("77", PER_DAY), None, ("A03",))],
    "A04": [(mg("1"), minutes("10"), ("A04",))],
    "A04-prolonged": [(mg("0.1"), None, ("A04-prolonged",))],
    **dict.fromkeys(["A05", "A06"], NOT_OFFERED),
    # The row's own figure: the notes have none.
    **dict.fromkeys(["A07", "A08-neomycin"], NEOMYCIN),
    # Memory alone, or no dose at all: no level is allowed.
    **{row: [(mg("0"), None, (row,))] for row in ("A08", "A09", "A10", "A10-oxolinic")},
}


@pytest.mark.parametrize("row", ROWS)
def test_each_row_of_dyes_and_antibiotics_has_its_guard(row: str) -> None:
    """The figure above which a dose is refused is the proposed one, and calls itself a proposal."""
    ceilings = formulary.regimen(row)[1].ceilings
    assert [guard_of(ceiling) for ceiling in ceilings] == GUARDS[row]
    assert {ceiling.figure.status for ceiling in ceilings} == {"PROPOSAL"}


def test_methylene_blue_has_a_ceiling_up_to_25_degrees_only() -> None:
    """3 mg/L to 25 °C (a proposal, after Lin et al. 2003): warmer, or where nobody has looked, no level is allowed."""
    regimen = formulary.regimen("D01")[1]
    warm = ceiling_for(regimen, None, warmest_c=Decimal(25))
    assert warm is not None
    assert plain(warm.figure) == mg("3")
    assert ceiling_for(regimen, None, warmest_c=Decimal("25.1")) is None
    assert ceiling_for(regimen, None) is None


def test_malachite_green_has_no_level_for_tetras_fry_and_fish_that_are_not_known() -> None:
    """0.1 mg/L, and 0 for tetras, fry and unknown fish (a proposal on row D04)."""
    regimen = formulary.regimen("D04")[1]
    for groups, most in (
        (frozenset({"goldfish"}), "0.1"),
        (frozenset({"characins"}), "0"),
        (frozenset({"fry"}), "0"),
        (None, "0"),
    ):
        ceiling = ceiling_for(regimen, None, groups=groups)
        assert ceiling is not None
        assert plain(ceiling.figure) == mg(most)


# Other published numbers: (substance or row, words it is named by, amount, source, how it was read).
STATED = [
    # Lin et al., J. Taiwan Fisheries Research 11:47-56, 2003: 96 h LC50 of silver perch at 20 and 30 degrees.
    ("methylene-blue", "perch, 20", "22.75 mg/L", "S27", "READ"),
    ("methylene-blue", "perch, 30", "5.80 mg/L", "S27", "READ"),
    ("malachite-green", "perch, 20", "0.25 mg/L", "S27", "READ"),
    ("malachite-green", "perch, 30", "0.21 mg/L", "S27", "READ"),
    # Hemichromis bimaculatus (year not stated); Bills, rainbow trout, 1974; Hinton et al., eels (year not stated).
    ("malachite-green", "jewelfish", "1 mg/L", "S58", "READ"),
    ("malachite-green", "trout fingerling", "0.0224 mg/L", "S22", "READ"),
    ("malachite-green", "eel", "0.27 mg/L", "S94", "READ"),
    ("nifurpirinol", "eel", "0.77 mg/L", "S94", "READ"),
    # Web pages: 5 mL of 2.303 % in 10 US gallons, calculated in the notes.
    ("D01", "really gives", "3.04 mg/L", "CP-D01", "CALC"),
    # Rifici et al. 1996: larvae, 7 d.
    ("D02", "in the light", "0.6 mg/L", "S57", "READ"),
    ("D02", "in low light", "2.1 mg/L", "S57", "READ"),
    # Fish Hatchery Management, pp. 279-281, 1982.
    ("A01", "10 US gallons", "0.57 g", "S10", "READ"),
    ("A03", "least", "7 d", "S10", "READ"),
    ("A03", "most", "10 d", "S10", "READ"),
    ("A04", "10 US gallons", "0.038 g", "S10", "READ"),
    ("A04", "10 cubic feet", "0.283 g", "S10", "READ"),
    ("A05", "prefers", "5 mg/L", "S10", "READ"),
    ("A05", "lower level", "15 mg/L", "S10", "READ"),
    ("A05", "higher level", "25 mg/L", "S10", "READ"),
]


@pytest.mark.parametrize(("where", "words", "amount", "key", "status"), STATED)
def test_other_numbers_of_dyes_and_antibiotics_are_those_of_their_source(
    where: str, words: str, amount: str, key: str, status: str
) -> None:
    """Lethal levels and printed amounts are as printed, each with its own source and how it was read."""
    figure = stated(where, words)
    assert (f"{figure.value:f} {figure.unit}", figure.reference, figure.status) == (amount, key, status)


def test_no_number_of_dyes_and_antibiotics_stands_unchecked() -> None:
    """Every other number of these entries has its line in the table above."""
    here = {(where, words) for where, words, _, _, _ in STATED}
    for name, rows in SUBSTANCES.items():
        entry = formulary.load(name)
        for where, numbers in (
            (name, (*entry.figures, *entry.loss_figures)),
            *((row, formulary.regimen(row)[1].figures) for row in rows),
        ):
            for number in numbers:
                assert any(place == where and words in number.what for place, words in here), number


def test_bath_sources_that_disagree_are_shown_side_by_side() -> None:
    """Oxytetracycline at 15 and 25 mg/L, acriflavine for trout and for catfish, malachite green: each names the
    other."""
    names = {row: set(formulary.regimen(row)[1].disagreements) for row in ROWS}
    assert {row: others for row, others in names.items() if others} == {
        "D04": {"D05"},
        "D05": {"D04"},
        "D06": {"D06-catfish"},
        "D06-catfish": {"D06"},
        "A01": {"A02"},
        "A02": {"A01"},
    }


# How a dose is answered ---------------------------------------------------------------------------


@pytest.mark.parametrize("row", ROWS)
@pytest.mark.parametrize("kind", ["fresh", "marine"])
def test_no_dye_disinfectant_or_antibiotic_is_offered(row: str, kind: str) -> None:
    """None of these rows shows an amount in any water, and each says why."""
    proposal = asked(row, kind=kind)
    assert proposal.dose.add is None
    assert proposal.hold is not None
    assert proposal.hold.rule == "tier"
    assert "veterinarian" in proposal.hold.remedy


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("malachite-green", "lethal levels"),
        ("nifurpirinol", "forbidden"),
        ("nitrofurazone", "forbidden"),
        ("kanamycin", "memory"),
        ("erythromycin", "not effective in a bath"),
        ("nalidixic-acid", "no dose"),
        ("oxolinic-acid", "no dose"),
    ],
)
def test_a_dye_or_antibiotic_known_in_order_to_refuse_it_says_why(name: str, words: str) -> None:
    """No row of these is anything but refused, and the first caution is the reason."""
    entry = formulary.load(name)
    assert {row.tier for row in entry.regimens} == {"refused"}
    assert entry.cautions[0].text.startswith("Known in order to refuse it")
    assert words in entry.cautions[0].text


@pytest.mark.parametrize("row", ["A08-neomycin", "A09", "A10", "A10-oxolinic"])
def test_where_no_dose_was_found_none_is_written(row: str) -> None:
    """FA084 (reprint): erythromycin does not work in a bath, and for the others the copy has no dose."""
    assert formulary.regimen(row)[1].target is None


@pytest.mark.parametrize("name", ANTIBIOTICS)
def test_antibiotics_one_at_a_time_and_never_as_a_precaution(name: str) -> None:
    """General advice, from memory; that none is approved for ornamental fish is FA084's (reprint)."""
    entry = formulary.load(name)
    pairs = {pair.other: pair for pair in entry.incompatible}
    assert (pairs["antibiotic"].rule, pairs["antibiotic"].note.status) == ("one at a time", "MEM")
    assert any("never as a precaution" in note.text for note in entry.cautions)
    assert any("S18" in note.reference for note in entry.legal)


def test_dyes_are_not_mixed_at_home() -> None:
    """Malachite green with methylene blue and formalin, on zebrafish embryos (year not stated, abstract)."""
    for one, other in (
        ("malachite-green", "methylene-blue"),
        ("methylene-blue", "malachite-green"),
        ("methylene-blue", "formalin"),
    ):
        pairs = {pair.other: pair for pair in formulary.load(one).incompatible}
        assert (pairs[other].rule, pairs[other].note.reference) == ("never", "S72")


def test_malachite_green_and_formalin_add_up() -> None:
    """Bills, rainbow trout, 1974 (abstract): strictly additive, so never two full doses."""
    pairs = {pair.other: pair for pair in formulary.load("malachite-green").incompatible}
    assert (pairs["formalin"].rule, pairs["formalin"].note.reference) == ("never", "S22")


@pytest.mark.parametrize("name", ["oxytetracycline", "nalidixic-acid", "oxolinic-acid"])
def test_what_hard_water_and_sea_water_bind_says_so(name: str) -> None:
    """A veterinary text on routes of administration (year not stated) and FA084 (reprint)."""
    (bound,) = (note for note in formulary.load(name).water_limits if "bind it" in note.text)
    assert set(formulary.keys_of(bound.reference)) == {"S71", "S18"}


def test_a_liquid_or_an_active_share_names_the_strength_of_the_product() -> None:
    """Solutions, concentrates, stocks of 50 % and drugs whose salt is not said need the product's own strength."""
    needing = {row for row in ROWS if "strength of the product" in formulary.regimen(row)[1].needs}
    assert needing == {"D01", "D07", "D08", "D08-prolonged", "D09", "A01", "A03"}


# Arithmetic on printed figures --------------------------------------------------------------------


def test_methylene_blue_in_ten_gallons() -> None:
    """Web pages (common practice, no source): 5 mL of 2.303 % in 10 US gallons is "approx. 3 ppm", and really 3.04."""
    litres = to(Quantity(Decimal(10), "USgal"), "L")
    strength = to(Quantity(Decimal("2.303"), "% w/v"), "mg/L")
    really = 5 * strength / 1000 / litres
    assert abs(really - 3) < Decimal("0.06")
    assert abs(really - stated("D01", "really gives").value) < Decimal("0.005")


def test_oxytetracycline_in_ten_gallons() -> None:
    """Fish Hatchery Management, p. 279, 1982: 15 ppm active is 0.57 g in 10 US gallons; last printed digit 0.01 g."""
    litres = to(Quantity(Decimal(10), "USgal"), "L")
    dose = asked("A01", litres=litres, step_grams="0.0001", as_ready=True).dose
    assert dose.add is not None
    assert abs(dose.add - stated("A01", "10 US gallons").value) < Decimal("0.005")


def test_oxytetracycline_per_hundred_pounds_of_fish() -> None:
    """Fish Hatchery Management, p. 280, 1982: 2.5 to 3.5 g active per 100 lb of fish a day; in mg/kg to the digit."""
    target = formulary.regimen("A03")[1].target
    assert target is not None
    assert target.high is not None
    kilograms = to(Quantity(Decimal(100), "lb"), "g") / 1000
    for grams, figure in (("2.5", target.low), ("3.5", target.high)):
        assert abs(Decimal(grams) * 1000 / kilograms - figure.value) < Decimal("0.5")


@pytest.mark.parametrize(
    ("amount", "unit", "words", "digit"),
    [("10", "USgal", "10 US gallons", "0.001"), ("10", "ft3", "10 cubic feet", "0.001")],
)
def test_nifurpirinol_per_printed_volume(amount: str, unit: str, words: str, digit: str) -> None:
    """Fish Hatchery Management, p. 281, 1982: 1 ppm active is 0.038 g in 10 US gallons, 0.283 g in 10 cubic feet.
    Checked as arithmetic: no dose is offered."""
    target = formulary.regimen("A04")[1].target
    assert target is not None
    grams = target.low.value * to(Quantity(Decimal(amount), unit), "L") / 1000
    assert abs(grams - stated("A04", words).value) < Decimal(digit) / 2
