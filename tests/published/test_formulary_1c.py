"""The formulary against its sources: drugs against worms, crustacean parasites and marine ich (rows N and Q).

The tables were written down from the notes on the sources, not from the entries. Beside each row stand publisher,
title, number and year, as far as they are known; "from memory" and "common practice" are said where so. Amounts are
compared exactly: they are printed figures, and nothing is calculated from them unless a test says so. The rows Z and M
(praziquantel, metronidazole) stand in test_formulary.py.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from notes_rows import Amount, Row, asked, d, guard_of, h, ids, mg, plain, row_of, stated

from quarantine import formulary
from quarantine.quantity import Quantity, to

FA091 = "Univ. of Florida IFAS EDIS, Nematode (Roundworm) Infections in Fish, Circular 91 / FA091 (reprint)"
GUZ = "Guz, Szczepaniak, Med. Weter. 71:245-250, 2015 (abstract)"
ALVES = "Alves et al., J. Fish Diseases, doi 10.1111/jfd.12952, 2019 (abstract)"
FORWOOD = "Forwood et al., J. Fish Diseases, doi 10.1111/jfd.12089, year not stated (abstract)"
KENT = "Kent et al., J. Fish Diseases 42:1351-1357, 2019 (abstract)"
RAJA = "Raja et al., preprint, doi 10.21203/rs.3.rs-2253978/v1, 2022 (abstract)"
PARASITES = (
    "Encyclopedia of Parasitology, entry of a concentrate, doi 10.1007/978-3-642-27769-6_5027-1, year not stated"
)
MAYER = "Mayer et al., J. Exotic Pet Medicine 22:65-69, 2013 (abstract)"
IFAS = "Univ. of Florida IFAS, title not recorded: from memory"
HATCHERY = "US Fish and Wildlife Service, Fish Hatchery Management (Piper et al.), p. 283, 1982 (page scan)"
MEMORY = "source not recorded: from memory"
GILI = "Gili et al., IAAAM, chloroquine trials, 1998"
WIKI = "hobby wiki that quotes a textbook: common practice, no source"

PER_DAY = "mg/kg fish/day"


def lb(number: str) -> Amount:
    return number, "g/lb food"


def day(number: str) -> Amount:
    return number, PER_DAY


# fmt: off
ROWS = {
    # Levamisole. "Repeat in 2-3 weeks": 14 to 21 d.
    "N01": Row(FA091, ("S19",), "ready", "READ-R", "bath", mg("2"), mg("2"), mg("2"), h("24"), h("24"),
               None, d("14"), d("21"), d("14")),
    "N02": Row(FA091, ("S19",), "instruction", "READ-R", "food", lb("1.8"), lb("1.8"), lb("1.8"), None, None,
               3, d("7"), d("7"), d("7")),
    # 1, 2, 5, 10 mg/L on days 0, 7, 14; the default is the one proposed for levamisole at large.
    "N03": Row(GUZ, ("S49",), "trial", "READ", "bath", mg("1"), mg("10"), mg("2"), h("72"), h("72"),
               3, d("7"), d("7"), d("7")),
    "N04": Row(ALVES, ("S50",), "refused", "READ", "bath", mg("125"), mg("125"), None, h("24"), h("24")),
    # Fenbendazole.
    "N05": Row(FA091, ("S19",), "ready", "READ-R", "food", lb("1.14"), lb("1.14"), lb("1.14"), None, None,
               3, d("1"), d("1"), d("1")),
    "N06": Row(FORWOOD, ("S25",), "refused", "READ", "bath", mg("10"), mg("10"), None, h("48"), h("48")),
    "N06-food": Row(FORWOOD, ("S25",), "trial", "READ", "food", day("75"), day("75"), day("75"), None, None,
                    6, d("1"), d("1"), d("1")),
    # Emamectin benzoate. "0.168 or 0.56 mg/L, 24 h, 4 baths over 7 days".
    "N07": Row(KENT, ("S51",), "trial", "READ", "bath", mg("0.168"), mg("0.56"), mg("0.168"), h("24"), h("24"), 4),
    "N08": Row(KENT, ("S51",), "trial", "READ", "food", day("0.35"), day("0.35"), day("0.35"), None, None,
               14, d("1"), d("1"), d("1")),
    "N08-lernaea": Row(RAJA, ("S52",), "trial", "READ", "food", day("0.05"), day("0.05"), day("0.05"), None, None,
                       10, d("1"), d("1"), d("1")),
    "N09": Row(PARASITES, ("S53",), "instruction", "READ", "bath", mg("0.2"), mg("0.2"), mg("0.2"), h("3"), h("3")),
    "N09-pond": Row(PARASITES, ("S53",), "instruction", "READ", "prolonged", mg("0.05"), mg("0.05"), mg("0.05")),
    # Lufenuron, diflubenzuron, trichlorfon, mebendazole.
    "N10": Row(MAYER, ("S54",), "trial", "READ", "prolonged", mg("0.1"), mg("0.1"), mg("0.1"), None, None,
               5, d("7"), d("7"), d("7")),
    "N11": Row(IFAS, ("MEM-N11",), "refused", "MEM", "prolonged", mg("0.03"), mg("0.03")),
    "N12": Row(HATCHERY, ("S10", "S12"), "refused", "READ", "prolonged", mg("0.25"), mg("0.25"), None, None, None, 1),
    "N12-anchorworm": Row(HATCHERY, ("S10", "S12"), "refused", "READ", "prolonged", mg("0.25"), mg("0.25"), None,
                          None, None, 4, d("5"), d("7"), d("5")),
    "N13": Row(MEMORY, ("MEM-N13",), "refused", "MEM", "bath", mg("1"), mg("1"), None, h("24"), h("24")),
    # Albendazole 500 mg/L (6.6 % died), ivermectin 200 mg/L (all died in 2 h).
    "N14": Row(ALVES, ("S50",), "refused", "READ", "bath", mg("500"), mg("500")),
    "N14-ivermectin": Row(ALVES, ("S50",), "refused", "READ", "bath", mg("200"), mg("200")),
    # Chloroquine. "2 days in the dark", a weekly sequence for 4 weeks.
    "Q01": Row(GILI, ("S56",), "trial", "READ", "prolonged", mg("15"), mg("20"), mg("15"), d("2"), d("2"),
               4, d("7"), d("7"), d("7")),
    "Q02": Row(WIKI, ("CP-Q02",), "instruction", "READ-CP", "prolonged", mg("5"), mg("10"), mg("10"), None, None,
               None, d("5"), d("5"), d("5")),
    "Q03": Row(WIKI, ("CP-Q02",), "instruction", "READ-CP", "prolonged", mg("10"), mg("10"), mg("10"),
               d("21"), d("21")),
}
# fmt: on

SUBSTANCES = {
    "levamisole": ("N01", "N02", "N03", "N04"),
    "fenbendazole": ("N05", "N06", "N06-food"),
    "emamectin-benzoate": ("N07", "N08", "N08-lernaea", "N09", "N09-pond"),
    "lufenuron": ("N10",),
    "diflubenzuron": ("N11",),
    "trichlorfon": ("N12", "N12-anchorworm"),
    "mebendazole": ("N13",),
    "albendazole": ("N14",),
    "ivermectin": ("N14-ivermectin",),
    "chloroquine": ("Q01", "Q02", "Q03"),
}


@pytest.mark.parametrize("row", ROWS)
def test_each_row_of_worms_and_protozoa_says_what_its_source_says(row: str) -> None:
    """Tier, strength, default, contact, repeats, gap and reading of each row are those written down here."""
    assert row_of(formulary.regimen(row)[1], ROWS[row].source) == ROWS[row]


def test_every_row_of_worms_and_protozoa_is_there_under_its_substance() -> None:
    """The rows N and Q stand on file, each once and under the substance it speaks of."""
    assert ids("NQ") == set(ROWS)
    assert {name: tuple(r.id for r in formulary.load(name).regimens) for name in SUBSTANCES} == SUBSTANCES


def test_the_worm_drugs_are_for_fresh_water_and_chloroquine_for_sea_water() -> None:
    """The column "water" of the notes: FW in every row N, MW in every row Q."""
    assert {formulary.regimen(row)[1].water for row in ROWS if row[0] == "N"} == {("fresh",)}
    assert {formulary.regimen(row)[1].water for row in ROWS if row[0] == "Q"} == {("marine",)}


# Refuse-above figures: proposals of this project, not published, each built on the rows named with it.
LEVAMISOLE = [(mg("10"), None, ("N01", "N03", "N04"))]
EMAMECTIN = [(mg("0.2"), h("3"), ("N07", "N09"))]
CHLOROQUINE = [(mg("20"), None, ("Q01",))]


def own(row: str) -> list[tuple[Amount, None, tuple[str, ...]]]:
    """In food the row's own upper figure is the guard: the notes have none."""
    high = ROWS[row].high
    assert high is not None
    return [(high, None, (row,))]


def none_at_all(*rows: str) -> list[tuple[Amount, None, tuple[str, ...]]]:
    """Where the notes say "always refuse", "refuse bath", "not offered" or have memory alone, no level is allowed."""
    return [(mg("0"), None, rows)]


GUARDS = {
    **dict.fromkeys(["N01", "N03", "N04"], LEVAMISOLE),
    **{row: own(row) for row in ("N02", "N05", "N06-food", "N08", "N08-lernaea")},
    "N06": none_at_all("N05", "N06"),
    **dict.fromkeys(["N07", "N09", "N09-pond"], EMAMECTIN),
    "N10": [(mg("0.11"), None, ("N10",))],
    "N11": none_at_all("N11"),
    **dict.fromkeys(["N12", "N12-anchorworm"], none_at_all("N12")),
    "N13": none_at_all("N13"),
    "N14": none_at_all("N14"),
    "N14-ivermectin": none_at_all("N14-ivermectin"),
    **dict.fromkeys(["Q01", "Q02", "Q03"], CHLOROQUINE),
}


@pytest.mark.parametrize("row", ROWS)
def test_each_row_of_worms_and_protozoa_has_its_guard(row: str) -> None:
    """The figure above which a dose is refused is the proposed one, and calls itself a proposal."""
    ceilings = formulary.regimen(row)[1].ceilings
    assert [guard_of(ceiling) for ceiling in ceilings] == GUARDS[row]
    assert {ceiling.figure.status for ceiling in ceilings} == {"PROPOSAL"}


# Other published numbers: (substance or row, words it is named by, amount, source, how it was read).
STATED = [
    # FA091, reprint: 1.8 and 1.14 g per pound of food; per gram calculated in the notes.
    ("N02", "in one gram", "3.97 mg/g food", "S19", "CALC"),
    ("N05", "in one gram", "2.51 mg/g food", "S19", "CALC"),
    ("N05", "1 % of their weight", "25 mg/kg fish/day", "S19", "CALC"),
    ("N05", "at the earliest", "14 d", "S19", "READ-R"),
    ("N05", "at the latest", "21 d", "S19", "READ-R"),
    # Veterinary wiki, Capillaria in fish, unsigned: common practice, no source.
    ("N05", "unsigned wiki", "25 mg/kg fish/day", "S120", "READ-CP"),
    ("N01", "unsigned wiki", "10 mg/L", "S120", "READ-CP"),
    # Guz, Szczepaniak 2015: four levels, 73 % fewer at the highest.
    ("N03", "lowest", "1 mg/L", "S49", "READ"),
    ("N03", "second", "2 mg/L", "S49", "READ"),
    ("N03", "third", "5 mg/L", "S49", "READ"),
    ("N03", "tested, highest", "10 mg/L", "S49", "READ"),
    ("N03", "fewer worms", "73 %", "S49", "READ"),
    # Forwood et al.: 91 % in the bath, 95 % in food.
    ("N06", "fewer worms", "91 %", "S25", "READ"),
    ("N06-food", "fewer worms", "95 %", "S25", "READ"),
    # Kent et al. 2019: 0.168 or 0.56 mg/L, 4 baths over 7 days.
    ("N07", "lower of", "0.168 mg/L", "S51", "READ"),
    ("N07", "higher of", "0.56 mg/L", "S51", "READ"),
    ("N07", "lie within", "7 d", "S51", "READ"),
    # Mayer et al. 2013: 409.8 mg per 3,785 L.
    ("N10", "1000 US gallons", "409.8 mg", "S54", "READ"),
    # Lin et al., J. Taiwan Fisheries Research 11:47-56, 2003: 96 h LC50 of silver perch.
    ("trichlorfon", "perch, 20", "2.91 mg/L", "S27", "READ"),
    ("trichlorfon", "perch, 30", "0.92 mg/L", "S27", "READ"),
    # Hinton et al., Toxicity of ten commonly used chemicals to American eels (year not stated).
    ("trichlorfon", "eel", "1.31 mg/L", "S94", "READ"),
    # Treatments to control Haliotrema abaddon in West Australian dhufish, 2003: 0.5 mg/L, 30 h.
    ("trichlorfon", "dhufish: safe for 30 h", "0.5 mg/L", "S24", "READ"),
    # Alves et al. 2019.
    ("N14", "died", "6.6 %", "S50", "READ"),
    ("N14-ivermectin", "died within", "2 h", "S50", "READ"),
    # Desalination and Water Treatment 277:85-89, 2022, a poor copy: bone char, equilibrium in 5 h.
    ("chloroquine", "bone char", "5 h", "S70", "READ-OCR"),
    # From memory: 10 d instead of 21.
    ("Q03", "from memory", "10 d", "MEM-Q03", "MEM"),
]


@pytest.mark.parametrize(("where", "words", "amount", "key", "status"), STATED)
def test_other_numbers_of_worms_and_protozoa_are_those_of_their_source(
    where: str, words: str, amount: str, key: str, status: str
) -> None:
    """Lethal levels, contents and failures are as printed, each with its own source and how it was read."""
    figure = stated(where, words)
    assert (f"{figure.value:f} {figure.unit}", figure.reference, figure.status) == (amount, key, status)


def test_no_number_of_worms_and_protozoa_stands_unchecked() -> None:
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


def test_worm_sources_that_disagree_are_shown_side_by_side() -> None:
    """FA091 against the zebrafish and tambaqui trials, food against bath, the two emamectin baths, the aquarium
    against the wiki: each names the other."""
    names = {row: set(formulary.regimen(row)[1].disagreements) for row in ROWS}
    assert names["N01"] == {"N03", "N04"}
    assert names["N05"] == {"N06", "N06-food"}
    assert names["N07"] == {"N09"}
    assert names["Q01"] == {"Q02"}
    for one, others in names.items():
        for other in others:
            assert one in names[other]


# How a dose is answered ---------------------------------------------------------------------------


@pytest.mark.parametrize("litres", ["50", "200", "1000"])
def test_levamisole_is_dosed_at_the_printed_strength(litres: str) -> None:
    """FA091 (reprint): 2 mg/L for 24 h; the amount is that times the litres (arithmetic), exactly."""
    dose = asked("N01", litres=Decimal(litres)).dose
    assert dose.add == 2 * Decimal(litres) / 1000
    assert (dose.add_unit, dose.gives_low, dose.gives_high) == ("g", 2, 2)
    assert "FA091" in dose.reference
    assert any("hydrochloride" in caution for caution in dose.cautions)


@pytest.mark.parametrize("row", [row for row in ROWS if ROWS[row].tier != "ready"])
@pytest.mark.parametrize("kind", ["fresh", "marine"])
def test_what_is_no_general_advice_against_worms_is_held(row: str, kind: str) -> None:
    """A trial, an instruction and a refused row show no amount in any water, and say why."""
    proposal = asked(row, kind=kind)
    assert proposal.dose.add is None
    assert proposal.hold is not None
    assert proposal.hold.rule == "tier"
    assert proposal.hold.reference


def test_fenbendazole_is_not_sized_by_the_water() -> None:
    """FA091 gives grams per pound of food and no feeding rate: no amount follows from the litres."""
    proposal = asked("N05")
    assert proposal.dose.add is None
    assert proposal.hold is not None
    assert proposal.hold.rule == "in food"
    assert formulary.regimen("N05")[1].food is None


def test_levamisole_is_not_offered_in_sea_water() -> None:
    """The notes have it for fresh water only."""
    proposal = asked("N01", kind="marine")
    assert proposal.hold is not None
    assert proposal.hold.rule == "water"


def test_levamisole_and_an_organophosphate_never_meet() -> None:
    """Both act on cholinergic nerves (from memory): whichever is in the water, the other is held."""
    proposal = asked("N01", present={"trichlorfon": 0.01})
    assert proposal.hold is not None
    assert proposal.hold.rule == "what must not be mixed"
    assert "cholinergic" in proposal.hold.says
    pairs = {pair.other: pair for pair in formulary.load("trichlorfon").incompatible}
    assert (pairs["levamisole"].rule, pairs["levamisole"].note.status) == ("never", "MEM")


@pytest.mark.parametrize("name", [s.id for s in formulary.titles() if "drug" in s.classes and s.id != "levamisole"])
def test_no_drug_is_poured_onto_another(name: str) -> None:
    """Washing out between drugs is a proposal, for no published number of days was found: while any other drug of the
    formulary may be in the water, levamisole is held."""
    proposal = asked("N01", present={name: 0.01})
    assert proposal.dose.add is None
    assert proposal.hold is not None
    assert proposal.hold.rule == "what must not be mixed"


@pytest.mark.parametrize("name", ["emamectin-benzoate", "lufenuron", "diflubenzuron"])
def test_crustaceans_are_refused_beside_what_kills_them(name: str) -> None:
    """All crustaceans (Kent et al. 2019; Mayer et al. 2013; diflubenzuron from memory)."""
    rules = {row.group: row.rule for row in formulary.load(name).sensitive}
    assert rules == {"all crustaceans": "refuse"}


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("trichlorfon", "nerve poison"),
        ("albendazole", "fish died"),
        ("ivermectin", "every fish died"),
        ("mebendazole", "memory"),
        ("diflubenzuron", "memory"),
    ],
)
def test_what_is_known_only_in_order_to_refuse_it_says_why(name: str, words: str) -> None:
    """No row of these is anything but refused, none has a default, and the first caution is the reason."""
    entry = formulary.load(name)
    assert {row.tier for row in entry.regimens} == {"refused"}
    assert entry.cautions[0].text.startswith("Known in order to refuse it")
    assert words in entry.cautions[0].text


@pytest.mark.parametrize("name", ["levamisole", "emamectin-benzoate", "lufenuron"])
def test_nothing_was_found_on_how_long_they_last(name: str) -> None:
    """No decay figure, no solubility and no level at which a bath has ended was found for these."""
    entry = formulary.load(name)
    assert entry.loss_figures == ()
    assert entry.loss == "possible"
    assert entry.solubility is None
    assert entry.prolonged_limit is None


def test_emamectin_is_allowed_at_no_level_for_longer_than_three_hours() -> None:
    """The guard is 0.2 mg/L for 3 h (a proposal on rows N07, N09): for the 24 h of the trial there is no ceiling."""
    regimen = formulary.regimen("N07")[1]
    three = formulary.ceiling_for(regimen, Decimal(3))
    assert three is not None
    assert plain(three.figure) == mg("0.2")
    assert formulary.ceiling_for(regimen, Decimal(24)) is None


# Arithmetic on printed figures --------------------------------------------------------------------


@pytest.mark.parametrize(("row", "printed", "per_gram"), [("N05", "1.14", "2.51"), ("N02", "1.8", "3.97")])
def test_grams_per_pound_of_food_are_milligrams_per_gram(row: str, printed: str, per_gram: str) -> None:
    """FA091 prints grams for a pound of food of 453.59237 g (NIST SP 811, 2008); last digit 0.01."""
    target = formulary.regimen(row)[1].target
    assert target is not None
    assert plain(target.low) == lb(printed)
    pound = to(Quantity(Decimal(1), "lb"), "g")
    assert abs(target.low.value * 1000 / pound - Decimal(per_gram)) < Decimal("0.005")
    assert stated(row, "in one gram").value == Decimal(per_gram)


def test_fenbendazole_at_one_percent_is_the_other_texts_dose() -> None:
    """1.14 g per pound eaten at 1 % of body weight a day is 25 mg/kg (calculated), which the unsigned wiki gives."""
    pound = to(Quantity(Decimal(1), "lb"), "g")
    per_kg = Decimal("1.14") * 1000 / pound * 10
    assert abs(per_kg - stated("N05", "1 % of their weight").value) < Decimal("0.5")
    assert stated("N05", "unsigned wiki").value == 25


def test_emamectin_concentrate_in_a_bath() -> None:
    """Encyclopedia of Parasitology: 2 mL of 10 mg/mL per 100 L. 0.2 mg/L, exactly; the dose is those 20 mg."""
    dose = asked("N09", litres=Decimal(100), step_grams="0.001", as_ready=True).dose
    assert dose.add == 2 * Decimal(10) / 1000
    assert dose.target == 2 * Decimal(10) / 100 == Decimal("0.2")


def test_emamectin_concentrate_in_a_pond() -> None:
    """The same entry: 5 mL of 10 mg/mL per 1,000 L is 0.05 mg/L, exactly; with no contact stated none is dosed."""
    target = formulary.regimen("N09-pond")[1].target
    assert target is not None
    assert target.low.value == 5 * Decimal(10) / 1000
    held = asked("N09-pond", as_ready=True).hold
    assert held is not None
    assert held.rule == "ceiling"


def test_lufenuron_in_a_thousand_gallons() -> None:
    """Mayer et al. 2013 print 409.8 mg in 1,000 US gallons (3,785 L) as about 0.1 mg/L: last printed digit 0.1. It is
    more than this tool gives for 0.1 mg/L, and under the guard of 0.11."""
    litres = to(Quantity(Decimal(1000), "USgal"), "L")
    assert abs(litres - 3785) < 1
    dose = asked("N10", litres=litres, step_grams="0.0001", as_ready=True).dose
    printed = stated("N10", "1000 US gallons").value
    assert dose.add is not None
    assert abs(dose.add * 1000 / litres - Decimal("0.1")) < Decimal("0.0001")
    assert abs(printed / litres - Decimal("0.1")) < Decimal("0.05")
    assert dose.add * 1000 < printed < Decimal("0.11") * litres


def test_trichlorfon_powder_for_an_acre_foot() -> None:
    """Fish Hatchery Management, p. 283, 1982: 0.25 mg/L active from an 80 % powder is 0.84 lb for an acre-foot, with
    the manual's own 2.70 lb per mg/L; last digit 0.01. Checked as arithmetic: no dose is offered."""
    target = formulary.regimen("N12")[1].target
    assert target is not None
    assert target.default is None
    assert abs(target.low.value * Decimal("2.70") / Decimal("0.80") - Decimal("0.84")) < Decimal("0.005")
