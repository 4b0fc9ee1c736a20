"""The formulary against its sources, row by row.

The tables below were written down from the notes on the sources, not from the entries. Beside each row stand
publisher, title, number and year, as far as they are known; "from memory" and "common practice" are said where so.
Amounts are compared exactly: they are printed figures, and nothing is calculated from them unless a test says so.
"""

from __future__ import annotations

from decimal import Decimal
from typing import NamedTuple

import pytest

from quarantine import formulary
from quarantine.formulary import Figure, Regimen, Substance

# Sources of the rows, as cited in the notes.
VM86 = "Univ. of Florida IFAS, The Use of Salt in Aquaculture, Fact Sheet VM-86, 1995 (reprint)"
SALT_SHEET = "Extension sheet, Use and Application of Salt in Aquaculture, publisher and year not certain (reprint)"
MERCK = "Merck Veterinary Manual, Management of Fish, parasiticides, older page (study notes quoting it)"
ASTM = "ASTM E729, Table 7 (poor scan)"
GSA = "Global Seafood Alliance, Common salt a useful tool in aquaculture, part 2 (opening)"
TILAPIA = "Tilapia disease-treatment notes, unsigned: common practice, no source"
FDA_LIST = "US FDA, list of low regulatory priority: from memory"
SRAC462 = "SRAC 462, Nitrite in Fish Ponds, 1997 (part)"
PERCH_ICH = "Mifsud, Rowland, Aquaculture Research, doi 10.1111/j.1365-2109.2008.01981.x, 2008 (abstract)"
REEF = "Rev. Bras. Parasitol. Vet., Neobenedenia melleni in reef fish imported to Brazil, 2019 (abstract)"
DHUFISH = "Treatments to control Haliotrema abaddon in West Australian dhufish, 2003 (abstract)"
FORWOOD = "Forwood et al., J. Fish Diseases, doi 10.1111/jfd.12089 (abstract)"
MITCHELL09 = "Mitchell, Darwish, N. Am. J. Aquaculture 71:30-34, 2009 (abstract)"
MITCHELL04 = "Mitchell, J. Aquatic Animal Health 16:130-136, 2004 (abstract)"
BONYTAIL = "Removal and quantification of Asian tapeworm from bonytail chub using praziquantel (abstract)"
CARP = "Praziquantel against Diplostomum in grass and silver carp (abstract)"
FA033 = "Univ. of Florida IFAS FA033 / Merck Veterinary Manual: from memory"
KLINE = "Kline et al., N. Am. J. Aquaculture, doi 10.1577/a08-038.1, 2009 (abstract)"
RAY = "Chisholm, Whittington, J. Aquatic Animal Health 14:230-234, 2002 (abstract)"
C716 = "Univ. of Florida IFAS Circular 716, Introduction to Freshwater Fish Parasites (reprint)"
IAAAM = "Whaley, Francis-Floyd, IAAAM, metronidazole in angelfish, 1991 (abstract)"
VET_BOOK = "A veterinary formulary: from memory"


THREE = ("metronidazole", "praziquantel", "sodium-chloride")


def entries() -> tuple[Substance, ...]:
    """The three substances of this file; the others stand in files of their own."""
    return tuple(formulary.load(name) for name in THREE)


class Row(NamedTuple):
    """One row: amounts as (number, unit); None where the source says nothing."""

    source: str
    keys: tuple[str, ...]
    tier: str
    status: str
    route: str
    water: tuple[str, ...]
    low: tuple[str, str] | None
    high: tuple[str, str] | None
    shortest: tuple[str, str] | None = None
    longest: tuple[str, str] | None = None
    times: int | None = None
    every: tuple[str, str] | None = None
    gap: tuple[str, str] | None = None
    least: tuple[str, str] | None = None


FRESH, MARINE, BOTH = ("fresh",), ("marine",), ("fresh", "marine")
RATIO, PER_DAY, ONCE = "mg chloride per mg nitrite", "mg/kg fish/day", "mg/kg fish"


def g(number: str) -> tuple[str, str]:
    return number, "g/L"


def mg(number: str) -> tuple[str, str]:
    return number, "mg/L"


def minutes(number: str) -> tuple[str, str]:
    return number, "min"


def h(number: str) -> tuple[str, str]:
    return number, "h"


def d(number: str) -> tuple[str, str]:
    return number, "d"


# fmt: off
ROWS = {
    # Sodium chloride. 30 s is written 0.5 min.
    "T01": Row(VM86, ("S09", "S12"), "ready", "READ-R", "dip", FRESH, g("30"), g("30"), minutes("0.5"), minutes("10")),
    "T02": Row(SALT_SHEET, ("S11",), "instruction", "READ-R", "dip", FRESH, g("30"), g("30"),
               minutes("0.5"), minutes("1")),
    "T03": Row(ASTM, ("S13",), "instruction", "READ-OCR", "dip", FRESH, g("15"), g("30"), minutes("5"), minutes("10")),
    # "several hours": the 12 h are this project's cap, not the source's.
    "T04": Row(VM86, ("S09",), "ready", "READ-R", "bath", FRESH, g("5"), g("10"), None, h("12")),
    # The number was cut off in the copy.
    "T05": Row(SALT_SHEET, ("S11",), "refused", "READ-R", "bath", FRESH, None, None, minutes("30"), minutes("60")),
    "T06": Row(MERCK, ("S12",), "instruction", "READ-R", "prolonged", FRESH, g("5"), g("10")),
    "T07": Row(GSA, ("S28",), "instruction", "READ", "prolonged", FRESH, g("5"), g("6"), d("1")),
    "T08": Row(GSA, ("S28",), "instruction", "READ", "dip", FRESH, g("20"), g("30"), minutes("10"), minutes("15"),
               None, d("1"), d("1")),
    "T09": Row(TILAPIA, ("S29",), "instruction", "READ-CP", "prolonged", FRESH, g("1"), g("2")),
    "T10": Row(FDA_LIST, ("MEM-T10",), "refused", "MEM", "dip", FRESH, g("30"), g("30"), minutes("10"), minutes("30")),
    "T10-indefinite": Row(FDA_LIST, ("MEM-T10",), "refused", "MEM", "prolonged", FRESH, g("5"), g("10")),
    "T11": Row(SRAC462, ("S16", "S119"), "ready", "READ", "prolonged", FRESH, ("10", RATIO), None),
    # "2-3 g/L (2 advised); 1 g/L failed".
    "T19": Row(PERCH_ICH, ("S111", "S112"), "trial", "READ", "prolonged", FRESH, g("2"), g("3"), least=g("2")),
    # Praziquantel.
    "Z01": Row(REEF, ("S43",), "ready", "READ", "bath", MARINE, mg("2"), mg("2"), None, None, 2, d("4"), d("4")),
    "Z02": Row(DHUFISH, ("S24",), "ready", "READ", "bath", MARINE, mg("2"), mg("2"), h("30"), h("30"), 1),
    "Z03": Row(FORWOOD, ("S25",), "trial", "READ", "bath", FRESH, mg("10"), mg("10"), h("48"), h("48")),
    "Z04": Row(MITCHELL09, ("S44",), "trial", "READ", "bath", FRESH, mg("0.75"), None, h("24"), h("24"), 1,
               least=mg("0.75")),
    "Z05": Row(MITCHELL04, ("S45",), "trial", "READ", "bath", FRESH, mg("1.5"), mg("1.5"), h("24"), h("24")),
    "Z06": Row(BONYTAIL, ("S46",), "trial", "READ", "bath", FRESH, mg("1.5"), None, h("24"), h("24"),
               least=mg("1.5")),
    "Z07": Row(CARP, ("S47",), "trial", "READ", "bath", FRESH, mg("1"), mg("1"), h("90")),
    "Z07-food": Row(CARP, ("S47",), "trial", "READ", "food", FRESH, ("330", ONCE), ("330", ONCE), times=1),
    "Z08": Row(FORWOOD, ("S25",), "trial", "READ", "food", FRESH, ("75", PER_DAY), ("75", PER_DAY),
               times=6, every=d("1"), gap=d("1")),
    "Z09": Row(FA033, ("MEM-Z09",), "instruction", "MEM", "bath", BOTH, mg("2"), mg("10")),
    "Z10": Row(KLINE, ("S48",), "refused", "READ", "bath", FRESH, mg("6"), mg("6")),
    "Z11": Row(RAY, ("S116",), "trial", "READ", "bath", MARINE, mg("5"), mg("5"), h("40"), h("40"), 2, h("48"),
               h("48")),
    # Metronidazole.
    "M01": Row(C716, ("S77",), "ready", "READ-R", "bath", FRESH, mg("5"), mg("5"), None, None, 3, d("2"), d("2")),
    "M02": Row(IAAAM, ("S55", "S77"), "ready", "READ", "food", FRESH, ("50", PER_DAY), ("50", PER_DAY),
               times=5, every=d("1"), gap=d("1")),
    "M03": Row(IAAAM, ("S55",), "trial", "READ", "bath", FRESH, mg("5"), mg("5"), times=3),
    "M04": Row(VET_BOOK, ("MEM-M04",), "refused", "MEM", "bath", FRESH, mg("25"), mg("25"), None, None, 3, d("2"),
               d("2")),
}
# fmt: on


def plain(figure: Figure | None) -> tuple[str, str] | None:
    return None if figure is None else (f"{figure.value:f}", figure.unit)


def row_of(regimen: Regimen, source: str) -> Row:
    """A regimen of the formulary in the form of the table above."""
    target, contact = regimen.target, regimen.contact
    return Row(
        source=source,
        keys=regimen.references,
        tier=regimen.tier,
        status=regimen.status,
        route=regimen.route,
        water=regimen.water,
        low=plain(target and target.low),
        high=plain(target and target.high),
        shortest=plain(contact and contact.low),
        longest=plain(contact and contact.high),
        times=regimen.repeats.times,
        every=plain(regimen.repeats.every.low),
        gap=plain(regimen.minimum_gap),
        least=plain(regimen.effective_minimum),
    )


@pytest.mark.parametrize("row", ROWS)
def test_each_row_says_what_its_source_says(row: str) -> None:
    """Strength, route, water, contact, repeats, gap and reading of each row are those of its source."""
    assert row_of(formulary.regimen(row)[1], ROWS[row].source) == ROWS[row]


def test_every_row_is_there_and_no_other() -> None:
    """The entries hold the rows of the three substances, each once."""
    assert sorted(r.id for s in entries() for r in s.regimens) == sorted(ROWS)


def test_the_ready_rows_are_the_general_advice() -> None:
    """Ready are the rows that were read and are general advice, and only those."""
    ready = {r.id for s in entries() for r in s.regimens if r.tier == "ready"}
    assert ready == {"T01", "T04", "T11", "Z01", "Z02", "M01", "M02"}


# What is dosed unless somebody says otherwise: the source's figure, or the low end of its range (a choice of ours).
DEFAULTS = {
    "T01": "30 g/L",
    "T02": "30 g/L",
    "T03": "15 g/L",
    "T04": "5 g/L",
    "T06": "5 g/L",
    "T07": "5 g/L",
    "T08": "20 g/L",
    "T09": "1 g/L",
    "T11": f"10 {RATIO}",
    "T19": "2 g/L",  # Mifsud, Rowland 2008: 2 advised
    "Z01": "2 mg/L",
    "Z02": "2 mg/L",
    "Z03": "10 mg/L",
    "Z04": "0.75 mg/L",
    "Z05": "1.5 mg/L",
    "Z06": "1.5 mg/L",
    "Z07": "1 mg/L",
    "Z07-food": f"330 {ONCE}",
    "Z08": f"75 {PER_DAY}",
    "Z09": "2 mg/L",
    "Z11": "5 mg/L",
    "M01": "5 mg/L",
    "M02": f"50 {PER_DAY}",
    "M03": "5 mg/L",
}


def test_what_is_dosed_by_default_is_known_row_by_row() -> None:
    """Each row that is not refused has this default, and a refused one has none."""
    found = {
        r.id: f"{r.target.default.value:f} {r.target.default.unit}"
        for s in entries()
        for r in s.regimens
        if r.target and r.target.default
    }
    assert found == DEFAULTS


# Refuse-above figures: proposals of this project, not published, each built on the rows named with it.
PRAZIQUANTEL_GUARD = [("10", "mg/L", None, ("Z03", "Z04", "Z06"))]
DIP_GUARD = [("30", "g/L", ("10", "min"), ("T01", "T10"))]
HOURS_GUARD = ("10", "g/L", ("12", "h"), ("T04", "T06", "T19"))
LONG_GUARD = ("5", "g/L", None, ("T04", "T06", "T19"))
GUARDS = {
    **dict.fromkeys(["T01", "T02", "T03", "T10"], DIP_GUARD),
    "T04": [HOURS_GUARD, LONG_GUARD],
    "T05": [HOURS_GUARD],
    "T06": [HOURS_GUARD, LONG_GUARD],
    # Eggs: the row's own upper end.
    "T08": [("30", "g/L", ("15", "min"), ("T08",))],
    **{row: [LONG_GUARD] for row in ("T07", "T09", "T10-indefinite", "T11", "T19")},
    **dict.fromkeys([f"Z{n:02}" for n in range(1, 12) if n != 8], PRAZIQUANTEL_GUARD),
    # In food: the row's own figure.
    "Z07-food": [("330", ONCE, None, ("Z07-food",))],
    "Z08": [("75", PER_DAY, None, ("Z08",))],
    **{row: [("5", "mg/L", None, ("M01", "M04"))] for row in ("M01", "M03", "M04")},
    "M02": [("50", PER_DAY, None, ("M02",))],
}


@pytest.mark.parametrize("row", ROWS)
def test_each_row_has_its_guard_and_calls_it_a_proposal(row: str) -> None:
    """The figure above which a dose is refused is the proposed one, named with the rows it stands on."""
    ceilings = formulary.regimen(row)[1].ceilings
    assert [(*(plain(c.figure) or ()), plain(c.up_to), c.rows) for c in ceilings] == GUARDS[row]
    assert {c.figure.status for c in ceilings} == {"PROPOSAL"}


# Other published numbers: (substance or row, where it stands, words it is named by) -> amount.
STATED = [
    # Zuskova et al., Veterinarni Medicina 67:579-584, 2022.
    ("praziquantel", "zebrafish: no deaths in 96 h", "21.2 mg/L", "S62"),
    ("praziquantel", "zebrafish: 96 h LC50", "30.4 mg/L", "S62"),
    # Thomas et al., PeerJ e1857, 2016: 8 (+/- 1), 2 and 2 (+/- 1) d; 15 d stable in sterile sea water.
    ("praziquantel", "first dose", "8 d", "S61"),
    ("praziquantel", "second dose", "2 d", "S61"),
    ("praziquantel", "third dose", "2 d", "S61"),
    ("praziquantel", "sterile", "15 d", "S61"),
    # Ido et al., 2019.
    ("praziquantel", "fish farm", "3 d", "S88"),
    # Mitchell, Darwish, N. Am. J. Aquaculture 71:30-34, 2009.
    ("Z04", "stocking", "120 g/L", "S44"),
    ("Z04", "lasted 6 h", "12 mg/L", "S44"),
    ("Z04", "lasted 12 h", "9 mg/L", "S44"),
    # Bonytail chub (year not stated).
    ("Z06", "not enough", "0.7 mg/L", "S46"),
    ("Z06", "no side effects", "36 mg/L", "S46"),
    # Chisholm, Whittington, J. Aquatic Animal Health 14:230-234, 2002.
    ("Z11", "failed", "20 mg/L", "S116"),
    # Comparison of the sensitivity of fish species to medical substances (year not stated).
    ("sodium-chloride", "96 h LC50, zebrafish", "10.4 g/L", "S93"),
    ("sodium-chloride", "guppy", "21.7 g/L", "S93"),
    # Abrupt transfer of goldfish to salinity (year not stated).
    ("sodium-chloride", "96 h LC50, goldfish", "11.0 g/L", "S107"),
    ("sodium-chloride", "all lived", "8 g/L", "S107"),
    ("sodium-chloride", "40 % lived", "12 g/L", "S107"),
    ("sodium-chloride", "none lived", "16 g/L", "S107"),
    # Valente et al., doi 10.1111/are.15277, 2021.
    ("sodium-chloride", "platy", "16.5 g/L", "S109"),
    # Environ. Toxicol. Pharmacol., Metynnis orinocensis, 2008.
    ("sodium-chloride", "lower figure", "10.5 g/L", "S108"),
    ("sodium-chloride", "higher figure", "10.8 g/L", "S108"),
    ("sodium-chloride", "called safe", "5 g/L", "S108"),
    # Hinton et al., American eels (year not stated).
    ("sodium-chloride", "eel", "17.9 g/L", "S94"),
    # SRAC 462, 1997.
    ("T11", "insurance", "100 mg/L", "S16"),
    # Mifsud, Rowland 2008; Garcia et al. (year not stated).
    ("T19", "failed", "1 g/L", "S111"),
    ("T19", "silver catfish", "4 g/L", "S112"),
    # Rev. Bras. Parasitol. Vet., 2019.
    ("Z01", "clear at day", "7 d", "S43"),
]


def stated(where: str, words: str) -> Figure:
    """The one number of a substance or a row that is named by these words."""
    if where in formulary.names():
        entry = formulary.load(where)
        rows = (*entry.figures, *entry.loss_figures)
    else:
        rows = formulary.regimen(where)[1].figures
    (found,) = (row.figure for row in rows if words in row.what)
    return found


@pytest.mark.parametrize(("where", "words", "amount", "key"), STATED)
def test_other_numbers_are_those_of_their_source(where: str, words: str, amount: str, key: str) -> None:
    """Lethal levels, losses and failures are as printed, with their own source and read in it."""
    figure = stated(where, words)
    assert (f"{figure.value:f} {figure.unit}", figure.reference, figure.status) == (amount, key, "READ")


def test_the_limits_of_a_row_are_those_of_its_source() -> None:
    """Temperatures and stocking stand with the rows that state them, and say whether they bind."""
    found = {
        (r.id, limit.what, limit.kind, plain(limit.low), plain(limit.high))
        for s in entries()
        for r in s.regimens
        for limit in r.limits
    }
    assert found == {
        # Mifsud, Rowland, Aquaculture Research, 2008: day 8 and day 6.
        ("T19", "temperature", "tested at", ("17.3", "°C"), ("21.3", "°C")),
        ("T19", "temperature", "tested at", ("19.2", "°C"), ("23.5", "°C")),
        # Mitchell, Darwish, 2009: only at up to 60 g of fish per litre.
        ("Z04", "stocking", "limit", None, ("60", "g/L")),
        # Mitchell, 2004: all cleared at 6, four of 30 kept a worm at 60 g of fish per litre.
        ("Z05", "stocking", "tested at", ("6", "g/L"), ("60", "g/L")),
    }


def test_sources_that_disagree_are_shown_side_by_side() -> None:
    """Rows that contradict each other name each other."""
    names = {r.id: set(r.disagreements) for s in entries() for r in s.regimens}
    # VM-86 against the salt sheet; the two tapeworm trials and the bonytail one; bath against food.
    for one, other in [("T01", "T02"), ("T04", "T06"), ("Z04", "Z05"), ("Z04", "Z06"), ("M01", "M02"), ("M01", "M04")]:
        assert other in names[one]
        assert one in names[other]


def test_a_bath_of_salt_has_ended_at_the_level_that_may_stand() -> None:
    """5 g/L beyond 12 h is a proposal on the 96 h LC50s (S93, S107, S108); for the drugs no such level was found."""
    limit = formulary.load("salt").prolonged_limit
    assert limit == Figure(Decimal(5), "g/L", "S93, S107, S108", "PROPOSAL")
    assert formulary.load("praziquantel").prolonged_limit is None
    assert formulary.load("metronidazole").prolonged_limit is None


def test_no_solubility_is_given_because_none_was_found() -> None:
    """No source for a solubility was found, so no stock solution is advised for any of the three."""
    assert [s.solubility for s in entries()] == [None, None, None]


def test_the_loss_that_is_possible_is_said() -> None:
    """Salt is not lost; praziquantel is (Thomas et al. 2016); for metronidazole nothing was found."""
    assert {s.id: s.loss for s in entries()} == {
        "sodium-chloride": "none",
        "praziquantel": "possible",
        "metronidazole": "possible",
    }
    assert formulary.load("metronidazole").loss_figures == ()


@pytest.mark.parametrize("substance", ["praziquantel", "metronidazole"])
def test_what_takes_a_drug_out_of_a_bath_is_switched_off(substance: str) -> None:
    """Carbon, UV and ozone (a veterinary text on routes of administration) and the skimmer (from memory) are off."""
    rows = {e.item: (e.do, e.note.status) for e in formulary.load(substance).equipment}
    read, memory = ("off", "READ"), ("off", "MEM")
    assert rows == {"carbon": read, "uv": read, "ozone": read, "skimmer": memory}


def test_pairs_of_the_notes_are_held() -> None:
    """A repeat of praziquantel lasts shorter (Thomas et al. 2016), antibiotics one at a time (from memory), and no
    drug on the day of a change of salinity, temperature or pH (from memory, as a rule)."""
    pairs = {(s.id, p.other): (p.rule, p.note.status) for s in entries() for p in s.incompatible}
    assert pairs[("praziquantel", "praziquantel")] == ("know", "READ")
    assert pairs[("metronidazole", "antibiotic")] == ("one at a time", "MEM")
    assert pairs[("sodium-chloride", "drug")] == ("not the same day", "MEM")
    for drug in ("praziquantel", "metronidazole"):
        assert pairs[(drug, "drug")] == ("wash out first", "PROPOSAL")
        for event in ("salinity change", "temperature change", "pH change"):
            assert pairs[(drug, event)][0] == "not the same day"


# Arithmetic on printed figures --------------------------------------------------------------------


def test_metronidazole_per_gallon_is_the_printed_one() -> None:
    """Circular 716 (reprint) prints 5 mg/L as 18.9 mg in a US gallon of 3.785411784 L (NIST SP 811, 2008)."""
    target = formulary.regimen("M01")[1].target
    assert target is not None
    printed = stated("M01", "US gallon")
    assert (plain(printed), printed.reference) == (("18.9", "mg"), "S77")
    assert abs(target.low.value * Decimal("3.785411784") - printed.value) < Decimal("0.05")


def test_food_and_fish_weight_agree_at_half_a_percent() -> None:
    """Whaley, Francis-Floyd 1991: 50 mg/kg of fish and 10 mg/g of food agree at 0.5 % of body weight a day."""
    regimen = formulary.regimen("M02")[1]
    assert regimen.food is not None
    assert regimen.target is not None
    assert plain(regimen.food.per_food) == ("10", "mg/g food")
    assert plain(regimen.food.feeding_rate) == ("0.5", "% of body weight/day")
    assert regimen.food.feeding_rate.status == "CALC"
    eaten_g_per_kg = Decimal(1000) * regimen.food.feeding_rate.value / 100
    assert eaten_g_per_kg * regimen.food.per_food.value == regimen.target.low.value


def test_salt_per_chloride_agrees_with_the_catfish_trial() -> None:
    """100 mg/L of sodium chloride hold 60.7 mg/L of chloride (chloride inhibition of nitrite-induced
    methemoglobinemia in channel catfish, abstract, calculated): 1.65 to the last printed digit."""
    factor = stated("sodium-chloride", "one part of chloride")
    assert plain(factor) == ("1.65", "mg sodium chloride per mg chloride")
    assert abs(Decimal(100) / Decimal("60.7") - factor.value) < Decimal("0.005")


def test_complete_block_of_nitrite_is_about_twelve_to_one() -> None:
    """The same trial: 60.7 mg/L of chloride against 5 mg/L of nitrite gave the complete block, "about 12:1"."""
    assert abs(Decimal("60.7") / 5 - stated("T11", "complete block").value) < Decimal("0.5")


def test_nitrite_per_nitrite_nitrogen_follows_the_atomic_weights() -> None:
    """(14.007 + 2 x 15.999) / 14.007, IUPAC standard atomic weights, from memory: 3.28 to the last digit."""
    factor = stated("sodium-chloride", "nitrite nitrogen")
    assert plain(factor) == ("3.28", "mg nitrite per mg nitrite-N")
    assert abs((Decimal("14.007") + 2 * Decimal("15.999")) / Decimal("14.007") - factor.value) < Decimal("0.005")


def test_the_lower_ratios_are_called_common_practice() -> None:
    """6:1 and 5:1 of chloride to nitrite stand on pages that are no authority: common practice, no source."""
    lower, lowest = stated("T11", "lower ratio"), stated("T11", "lowest ratio")
    assert (lower.value, lowest.value) == (Decimal(6), Decimal(5))
    assert (lower.status, lowest.status) == ("READ-CP", "READ-CP")
