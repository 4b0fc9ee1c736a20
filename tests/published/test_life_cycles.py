"""Life cycles by temperature, each printed figure beside its source, against the list that ships.

Typed from the project's notes on quarantine practice (sections 1.3 and 5) and on treatments (1e), apart from the list.
The last word is how it is known: R read, R2 second-hand, CP common practice without a source, MEM from memory, DER
derived from other rows, PROPOSAL proposed here. The sources print whole units, so the figures must agree exactly.
Disagreements stand side by side and are never averaged.
"""

from __future__ import annotations

from decimal import Decimal
from typing import NamedTuple

import pytest

from quarantine.formulary import lifecycles
from quarantine.formulary.lifecycles import Row

SRAC = "Southern Regional Aquaculture Center, Ich, publication 476, year not stated"
CIR920 = "Univ. of Florida IFAS EDIS, Ichthyophthirius multifiliis infections in fish, CIR920, older edition"
SEA_GRANT = "Illinois-Indiana Sea Grant, Diagnosis and treatment of Ich, AS-459, 1990"
ICH_ENTRY = "An encyclopaedia, entry Ichthyophthirius, year not stated"
AIHUA = "Aihua and Buchmann, title and journal not recorded, 2001"
ALABAMA = "Alabama extension, article on Ich, part 2, year not stated"
MIFSUD = "Mifsud and Rowland, Aquaculture Research, doi 10.1111/j.1365-2109.2008.01981.x, 2008"
FA164 = "Univ. of Florida IFAS EDIS, Cryptocaryon irritans infections, FA164, year not stated"
COLORNI = "Colorni, Diseases of Aquatic Organisms 1:19-22, doi 10.3354/dao001019, 1985"
BURGESS = "Colorni and Burgess, title and journal not recorded, 1997"
CHEUNG = "Cheung, Nigrelli and Ruggieri, J Fish Dis 2:93-97, doi 10.1111/j.1365-2761.1979.tb00146.x, 1979"
HYPOXIA = "Dormancy induced by hypoxia in tomonts of Cryptocaryon irritans, journal and year not recorded"
ROTATION = "Culture container rotation against Cryptocaryon, Aquaculture, doi 10.1016/j.aquaculture.2017.11.024, 2018"
CROAKER = "Water temperature affects Cryptocaryon irritans development, journal and year not recorded"
VIRGINIA = "Virginia Cooperative Extension, Getting acquainted with Amyloodinium ocellatum, 600-200, rev. 2024"
BERALDO = "Beraldo and Massimo, Amyloodiniosis, in Aquaculture Pathophysiology, 2022"
AMYLO_COPY = "Copy of an encyclopaedia on Amyloodinium, year not stated"
PAPERNA = "Paperna, title and journal not recorded, 1984"
FREEZE = "Gonzales et al., J Fish Dis, Freeze tolerance of Amyloodinium ocellatum, 2025"
KUPERMAN = "Kuperman and Matey, Diseases of Aquatic Organisms, doi 10.3354/dao039065, 1999"
ZHANG = "Zhang et al., Dactylogyrus vastator, doi 10.7541/2015.154, 2015"
GANNICOTT = "Gannicott and Tinsley, Discocotyle sagittata egg production and development, Parasitology, 1998"
SAJIRI = "Wan Sajiri et al., Thaparocleidus vistulensis, doi 10.21203/rs.3.rs-4958124/v1, 2024"
GIRELLAE = "Reproduction and growth of Neobenedenia girellae, journal and year not recorded"
BRAZENOR = "Brazenor and Hutson, Parasitology Research 114:1875-1886, 2015"
MELLENI = "Effect of salinity on hatching in Neobenedenia melleni, journal and year not recorded"
ERNST = "Ernst et al., J Fish Dis, doi 10.1111/j.1365-2761.2004.00605.x, 2005"
NOKES = "Scott and Nokes, Parasitology, 1984"
SCOTT = "Scott, Parasitology, 1982"
ALEXANDERI = "Gyrodactylus alexanderi on Gasterosteus aculeatus, journal and year not recorded"
COTTI = "Levsen and Berland (authors from memory), development of Camallanus cotti, year not stated"
FA091 = "Univ. of Florida IFAS EDIS, Nematode (roundworm) infections in fish, FA091, year not stated"
FA185 = "Univ. of Florida IFAS EDIS, Lernaea infestations, FA185, year not stated"
HOSSAIN = "Hossain et al., J Entomol Zool Stud 6(1):910-917, 2018"
LERNAEA = "Investigations on Lernaea, journal not recorded, 2013"
JAPONICUS = "Laying, development and hatching of eggs of Argulus japonicus, journal and year not recorded"
STUDENT = "A student's page citing works of 2013 and 2006, year not stated"
CLINIC = "A fish clinic in Japan, page on Argulus, year not stated"
FA184 = "Univ. of Florida IFAS EDIS, Argulus infections in fish, FA184, 2012"
YUASA = "Yuasa et al., Fish Pathol 43:83, doi 10.3147/jsfp.43.83, 2008"
GILAD = "J Gen Virol, doi 10.1099/vir.0.19323-0, 2003"
ORDER = "United Kingdom, statutory controls on koi herpesvirus, guidance to the Order of 2007"
VM113 = "Univ. of Florida IFAS EDIS, Koi Herpesvirus Disease, VM113, year not stated"
PAGE = "A page that is not named in the notes, year not stated"
COMMON = "common practice, no source"
MEMORY = "from memory"
OURS = "derived from the rows beside it"

# A word of each citation by which it is found in the list; what has none there stands without a reference.
FOUND_BY = {
    SRAC: "publication 476",
    CIR920: "CIR920",
    SEA_GRANT: "AS-459",
    ICH_ENTRY: "entry Ichthyophthirius",
    AIHUA: "Aihua",
    ALABAMA: "Alabama",
    MIFSUD: "01981",
    FA164: "FA164",
    COLORNI: "dao001019",
    BURGESS: "Burgess",
    CHEUNG: "tb00146",
    HYPOXIA: "hypoxia",
    ROTATION: "2017.11.024",
    CROAKER: "croaker",
    VIRGINIA: "600-200",
    BERALDO: "Beraldo",
    AMYLO_COPY: "Amyloodinium, copy",
    PAPERNA: "Paperna",
    FREEZE: "Freeze",
    KUPERMAN: "dao039065",
    ZHANG: "2015.154",
    GANNICOTT: "Gannicott",
    SAJIRI: "Sajiri",
    GIRELLAE: "girellae",
    BRAZENOR: "Brazenor",
    MELLENI: "melleni",
    ERNST: "00605",
    NOKES: "Nokes",
    SCOTT: "reproductive potential",
    ALEXANDERI: "alexanderi",
    COTTI: "cotti",
    FA091: "FA091",
    FA185: "FA185",
    HOSSAIN: "Hossain",
    LERNAEA: "Investigations",
    JAPONICUS: "Argulus japonicus",
    STUDENT: "student",
    CLINIC: "clinic",
    FA184: "FA184",
    YUASA: "Yuasa",
    GILAD: "19323",
    ORDER: "Order of 2007",
    VM113: "VM113",
    PAGE: "year not stated",
    COMMON: "",
    MEMORY: "",
    OURS: "",
}
KINDS = {"R": "read", "R2": "second-hand", "CP": "common practice", "MEM": "from memory", "DER": "derived"}
HOURS = {"s": Decimal(1) / 3600, "min": Decimal(1) / 60, "h": Decimal(1), "d": Decimal(24), "weeks": Decimal(168)}
NONE, ANY = "temperature not stated", "any temperature"


class Said(NamedTuple):
    """What one source says: of what, when, from, to, in which unit (or in words), by whom, known how."""

    of: str
    what: str
    where: str
    low: str
    high: str
    unit: str
    source: str
    tag: str


ICH, CRYPTO, AMYLO, PISCINO = "white-spot-fresh", "white-spot-marine", "velvet-marine", "velvet-fresh"
DACTYLO, NEO, BENE, GYRO = "dactylogyrus", "neobenedenia", "benedenia", "gyrodactylus"
WORM, ANCHOR, LOUSE, KHV = "camallanus", "anchor-worm", "fish-louse", "koi-herpesvirus"

PRINTED = [
    # 5.1 Ichthyophthirius multifiliis
    Said(ICH, "whole cycle", "above 24 °C", "", "4", "d", SRAC, "R2"),
    Said(ICH, "whole cycle", "below 7 °C", "5", "", "weeks", SRAC, "R2"),
    Said(ICH, "free of parasites in salt", "17 to 21 °C", "8", "8", "d", MIFSUD, "R"),
    Said(ICH, "free of parasites in salt", "19 to 23.5 °C", "6", "6", "d", MIFSUD, "R"),
    Said(ICH, "division off the fish", "25 °C", "12", "", "h", SEA_GRANT, "R"),
    Said(ICH, "division off the fish", "10 °C", "", "", "several months", SEA_GRANT, "R"),
    Said(ICH, "time on the fish", "28 °C", "1", "1", "d", ICH_ENTRY, "R"),
    Said(ICH, "time on the fish", "20 °C", "7", "7", "d", ICH_ENTRY, "R"),
    Said(ICH, "whole cycle", "24 to 26 °C", "3", "6", "d", CIR920, "MEM"),
    Said(ICH, "whole cycle", "15 to 16 °C", "10", "10", "d", CIR920, "MEM"),
    Said(ICH, "whole cycle", "10 °C", "", "", "a month or more", CIR920, "MEM"),
    Said(ICH, "division off the fish", "5 °C", "8", "9", "d", AIHUA, "MEM"),
    Said(ICH, "division off the fish", "25 to 30 °C", "16", "27", "h", AIHUA, "MEM"),
    Said(ICH, "swimmer lives", ANY, "", "24", "h", SEA_GRANT, "R"),
    Said(ICH, "swimmer lives", ANY, "", "48", "h", PAGE, "R2"),
    Said(ICH, "swimmer lives", ANY, "2", "4", "d", PAGE, "R2"),
    Said(ICH, "water without fish", ANY, "3", "", "d", ALABAMA, "R"),
    Said(ICH, "disease", "33 °C", "", "", "outbreak still occurred", SRAC, "R2"),
    Said(ICH, "disease", "30 °C", "10", "14", "d", COMMON, "CP"),
    # 5.2 Cryptocaryon irritans
    Said(CRYPTO, "disease", "15 to 30 °C", "", "", "infects", FA164, "R"),
    Said(CRYPTO, "time on the fish", NONE, "3", "7", "d", COLORNI, "R"),
    Said(CRYPTO, "hatch begins", NONE, "3", "28", "d", COLORNI, "R"),
    Said(CRYPTO, "hatch begins", NONE, "", "72", "d", BURGESS, "MEM"),
    Said(CRYPTO, "swimmer lives", NONE, "24", "48", "h", COLORNI, "R"),
    Said(CRYPTO, "swimmer lives", NONE, "12", "48", "h", COMMON, "CP"),
    Said(CRYPTO, "part hatched", "30 °C", "", "5", "d", CHEUNG, "R"),
    Said(CRYPTO, "hatch complete", "30 °C", "", "7", "d", CHEUNG, "R"),
    Said(CRYPTO, "part hatched", "25 °C", "8", "", "d", CHEUNG, "R"),
    Said(CRYPTO, "part hatched", "20 °C", "9", "", "d", CHEUNG, "R"),
    Said(CRYPTO, "part hatched", "37 °C", "", "", "no hatching", CHEUNG, "R"),
    Said(CRYPTO, "part hatched", "7 °C", "", "", "no hatching", CHEUNG, "R"),
    Said(CRYPTO, "off the fish", "12 °C", "", "", "4 to 5 months", MEMORY, "MEM"),
    Said(CRYPTO, "part hatched", "15 °C", "14", "", "d", CROAKER, "R"),
    Said(CRYPTO, "part hatched", "18 to 33 °C", "", "", "most at 27 to 30 °C", CROAKER, "R"),
    Said(CRYPTO, "off the fish", NONE, "", "", "after 1 month", HYPOXIA, "R2"),
    Said(CRYPTO, "transfer step", NONE, "3", "3", "d", COLORNI, "R"),
    Said(CRYPTO, "transfer step", "22 to 32 °C", "2", "3", "d", ROTATION, "R"),
    Said(CRYPTO, "transfer step", "18 °C", "4", "", "d", ROTATION, "R"),
    Said(CRYPTO, "transfer step", "20 °C", "4", "", "d", ROTATION, "R"),
    Said(CRYPTO, "water without fish", NONE, "6", "6", "weeks", MEMORY, "MEM"),
    Said(CRYPTO, "water without fish", NONE, "76", "76", "d", COMMON, "CP"),
    Said(CRYPTO, "water without fish", NONE, "8", "8", "weeks", COMMON, "CP"),
    Said(CRYPTO, "water without fish", "27 °C", "45", "45", "d", COMMON, "CP"),
    # 5.3 velvet
    Said(AMYLO, "whole cycle", NONE, "7", "20", "d", VIRGINIA, "R"),
    Said(AMYLO, "whole cycle", NONE, "", "1", "weeks", BERALDO, "R"),
    Said(AMYLO, "deaths", NONE, "12", "48", "h", AMYLO_COPY, "R2"),
    Said(AMYLO, "disease", "16 to 30 °C", "", "", "best at 23 to 27 °C", PAPERNA, "MEM"),
    Said(AMYLO, "part hatched", "22 °C", "", "", "97 %", FREEZE, "R"),
    Said(AMYLO, "disease", "40 °C", "", "", "outbreak", KUPERMAN, "R"),
    Said(AMYLO, "swimmer lives", NONE, "7", "", "d", COMMON, "CP"),
    Said(AMYLO, "water without fish", NONE, "6", "6", "weeks", COMMON, "CP"),
    Said(PISCINO, "time on the fish", "23 to 25 °C", "3", "4", "d", COMMON, "CP"),
    Said(PISCINO, "swimmer lives", NONE, "", "24", "h", COMMON, "CP"),
    Said(PISCINO, "whole cycle", "23 to 25 °C", "10", "14", "d", MEMORY, "MEM"),
    # 5.4 monogeneans
    Said(DACTYLO, "hatch begins", "10 °C", "19", "19", "d", ZHANG, "R"),
    Said(DACTYLO, "hatching spread", "10 °C", "24", "24", "d", ZHANG, "R"),
    Said(DACTYLO, "hatch begins", "20 °C", "3", "3", "d", ZHANG, "R"),
    Said(DACTYLO, "hatching spread", "20 °C", "5", "5", "d", ZHANG, "R"),
    Said(DACTYLO, "egg to mature", "20 °C", "8", "11", "d", ZHANG, "R"),
    Said(DACTYLO, "hatch begins", "30 °C", "2", "2", "d", ZHANG, "R"),
    Said(DACTYLO, "hatching spread", "30 °C", "5", "5", "d", ZHANG, "R"),
    Said(DACTYLO, "hatch begins", "35 °C", "36", "36", "h", ZHANG, "R"),
    Said(DACTYLO, "hatching spread", "35 °C", "3", "3", "d", ZHANG, "R"),
    Said(DACTYLO, "infection to mature", "20 °C", "", "7", "d", ZHANG, "R"),
    Said(DACTYLO, "hatch complete", "20 °C", "", "4", "d", PAGE, "R2"),
    Said(DACTYLO, "whole cycle", "22 to 24 °C", "", "", "a few days", PAGE, "R2"),
    Said(DACTYLO, "whole cycle", "1 to 2 °C", "", "", "5 to 6 months", PAGE, "R2"),
    Said("discocotyle", "hatch begins", "6 °C", "84", "84", "d", GANNICOTT, "R"),
    Said("discocotyle", "hatch begins", "13 °C", "28", "28", "d", GANNICOTT, "R"),
    Said("discocotyle", "hatch begins", "18 °C", "20", "20", "d", GANNICOTT, "R"),
    Said("thaparocleidus", "part hatched", "30 °C", "", "", "fastest hatch", SAJIRI, "R"),
    Said("thaparocleidus", "part hatched", "5 °C", "", "", "no hatching", SAJIRI, "R"),
    Said("thaparocleidus", "part hatched", "35 °C", "", "", "no hatching", SAJIRI, "R"),
    Said(NEO, "hatch begins", "25 °C", "5", "6", "d", GIRELLAE, "R"),
    Said(NEO, "infection to mature", "25 °C", "10", "11", "d", GIRELLAE, "R"),
    Said(NEO, "whole cycle", "25 °C", "15", "17", "d", GIRELLAE, "R"),
    Said(NEO, "hatch begins", "15 °C", "", "", "none hatch", GIRELLAE, "R"),
    Said(NEO, "whole cycle", "26 to 32 °C", "10", "13", "d", BRAZENOR, "R"),
    Said(NEO, "whole cycle", "22 to 24 °C", "15", "16", "d", BRAZENOR, "R"),
    Said(NEO, "hatch begins", "22 to 24 °C", "", "16", "d", OURS, "DER"),
    Said(NEO, "part hatched", NONE, "72", "", "h", MELLENI, "R"),
    Said(BENE, "hatch begins", "28 °C", "5", "5", "d", ERNST, "R"),
    Said(BENE, "hatch begins", "14 °C", "16", "16", "d", ERNST, "R"),
    Said(BENE, "hatch begins", "30 °C", "", "", "none hatch", ERNST, "R"),
    Said(BENE, "off the fish", NONE, "", "3", "min", ERNST, "R"),
    Said(BENE, "off the fish", "50 °C", "", "30", "s", ERNST, "R"),
    Said(GYRO, "births", NONE, "1", "1", "d", SCOTT, "R"),
    Said(GYRO, "life", NONE, "4.2", "4.2", "d", SCOTT, "R"),
    Said(GYRO, "life", "21 °C", "", "5.5", "d", NOKES, "R"),
    Said(GYRO, "births", "25.5 °C", "", "", "most young", NOKES, "R"),
    Said(GYRO, "births", "27.5 °C", "", "", "0.23 a day", NOKES, "R"),
    Said(GYRO, "life", "30 °C", "", "", "does not survive", NOKES, "R"),
    Said(GYRO, "births", "15 °C", "1.6", "6.9", "d", ALEXANDERI, "R"),
    Said(GYRO, "life", "15 °C", "", "28", "d", ALEXANDERI, "R"),
    Said(GYRO, "life", "7 °C", "", "71", "d", ALEXANDERI, "R"),
    Said(GYRO, "off the fish", "15 °C", "", "1.8", "d", ALEXANDERI, "R"),
    # 5.5 to 5.7 worms, anchor worm, fish louse
    Said(WORM, "stage", "22 °C", "11", "11", "d", COTTI, "R"),
    Said(WORM, "stage", "23 °C", "33", "42", "d", COTTI, "R"),
    Said(WORM, "stage", NONE, "", "", "weeks", MEMORY, "MEM"),
    Said(WORM, "repeat of the drug", NONE, "2", "3", "weeks", FA091, "R"),
    Said(WORM, "watched after the last dose", "23 °C", "6", "", "weeks", OURS, "DER"),
    Said(ANCHOR, "whole cycle", "25 to 30 °C", "18", "25", "d", FA185, "R"),
    Said(ANCHOR, "hatch complete", "25 to 30 °C", "24", "36", "h", FA185, "R"),
    Said(ANCHOR, "whole cycle", "26 to 28 °C", "18", "25", "d", HOSSAIN, "R"),
    Said(ANCHOR, "whole cycle", "29 °C", "18", "25", "d", LERNAEA, "R"),
    Said(ANCHOR, "stage", "below 20 °C", "", "", "do not complete", LERNAEA, "R"),
    Said(ANCHOR, "births", "14 °C", "", "", "do not breed", LERNAEA, "R"),
    Said(ANCHOR, "watched after the last dose", "25 to 30 °C", "25", "", "d", OURS, "DER"),
    Said(LOUSE, "hatch complete", "15 °C", "61", "61", "d", JAPONICUS, "R"),
    Said(LOUSE, "hatch complete", "35 °C", "10", "10", "d", JAPONICUS, "R"),
    Said(LOUSE, "part hatched", "28 °C", "15", "15", "d", STUDENT, "R2"),
    Said(LOUSE, "hatch complete", "32 °C", "", "10", "d", STUDENT, "R2"),
    Said(LOUSE, "hatch complete", "15 °C", "", "", "no development", STUDENT, "R2"),
    Said(LOUSE, "hatch to mature", "25 °C", "26", "26", "d", CLINIC, "R"),
    Said(LOUSE, "hatch to mature", "20 °C", "40", "40", "d", CLINIC, "R"),
    Said(LOUSE, "repeat of the drug", NONE, "20", "25", "d", CLINIC, "R"),
    Said(LOUSE, "whole cycle", NONE, "30", "60", "d", FA184, "R2"),
    Said(LOUSE, "repeat of the drug", NONE, "2", "2", "weeks", PAGE, "R2"),
    Said(LOUSE, "births", "below 8 °C", "", "", "laying stops below 8 to 10 °C", STUDENT, "R2"),
    # 1.3 koi herpesvirus
    Said(KHV, "deaths", "16 °C", "21", "52", "d", YUASA, "R"),
    Said(KHV, "deaths", "23 °C", "5", "20", "d", YUASA, "R"),
    Said(KHV, "deaths", "28 °C", "7", "14", "d", YUASA, "R"),
    Said(KHV, "virus shed", "16 °C", "34", "34", "d", YUASA, "R"),
    Said(KHV, "virus shed", "23 °C", "14", "14", "d", YUASA, "R"),
    Said(KHV, "virus shed", "28 °C", "12", "12", "d", YUASA, "R"),
    Said(KHV, "disease", "13 °C", "", "", "no deaths", GILAD, "R"),
    Said(KHV, "disease", "18 °C", "", "", "85 % died", GILAD, "R"),
    Said(KHV, "disease", "23 °C", "", "", "95.2 % died", GILAD, "R"),
    Said(KHV, "disease", "28 °C", "", "", "89.4 to 95.2 % died", GILAD, "R"),
    Said(KHV, "deaths", NONE, "7", "14", "d", COMMON, "CP"),
    Said(KHV, "disease", "15 to 28 °C", "", "", "signs in the field", ORDER, "R"),
    Said(KHV, "disease", "22 to 27 °C", "", "", "most often", VM113, "R2"),
    Said(KHV, "days that count", "22 to 25 °C", "", "", "counts days", OURS, "DER"),
]


def hours(number: str, unit: str) -> Decimal | None:
    return round(Decimal(number) * HOURS[unit], 9) if number else None


def rows_of(said: Said) -> list[Row]:
    """The rows of the list that say what this source says."""
    there = lifecycles.organism(said.of).rows
    low, high = (hours(said.low, said.unit), hours(said.high, said.unit))
    return [
        row
        for row in there
        if (row.what, row.where.words, row.source.kind) == (said.what, said.where, KINDS[said.tag])
        and tuple(one if one is None else round(one, 9) for one in (row.low_hours, row.high_hours)) == (low, high)
        and FOUND_BY[said.source] in lifecycles.cite(row)
        and bool(FOUND_BY[said.source]) == bool(row.source.reference)
        and (said.unit in HOURS or said.unit in row.says)
    ]


@pytest.mark.parametrize("said", PRINTED, ids=lambda said: "-".join(said[:7]).replace(" ", "_")[:90])
def test_the_list_has_every_printed_figure_with_its_source_and_its_standing(said: Said) -> None:
    """Each figure of the notes is one row: the same time, the same temperature, its source, how it is known."""
    assert len(rows_of(said)) == 1


def test_the_list_has_no_figure_that_is_not_in_the_notes() -> None:
    """Every row that ships is one of the figures above."""
    found = {row.id for said in PRINTED for row in rows_of(said)}
    assert found == {row.id for one in lifecycles.cycles().organisms for row in one.rows}


CONFLICTS = [
    ("WF01", "WF04"),  # the whole cycle when warm: SRAC 476 against CIR920
    ("WF08", "WF06"),  # division at 10 °C "several months" against about a month for the whole cycle
    ("WF15", "WF16"),  # swimmers: 24 h (AS-459) against 48 h
    ("WF15", "WF17"),  # and against 2 to 4 d
    ("WF19", "WF20"),  # an outbreak at 33 °C against "30 °C kills"
    ("WM03", "WM04"),  # the latest hatch: 28 d against 72 d
    ("FL01", "FL05"),  # Argulus at 15 °C: 61 d against no development
    ("FL08", "FL10"),  # repeats every 20 to 25 d against once after 2 weeks
    ("KH01", "KH11"),  # deaths at 16 °C as late as day 52 against 7 to 14 d
]


@pytest.mark.parametrize(("one", "other"), CONFLICTS)
def test_what_the_notes_call_a_conflict_is_marked_on_both_rows(one: str, other: str) -> None:
    """Neither stands alone: each row names the one that says otherwise."""
    rows = {row.id: row for organism in lifecycles.cycles().organisms for row in organism.rows}
    assert other in rows[one].source.conflicts_with
    assert one in rows[other].source.conflicts_with


class Cell(NamedTuple):
    """A cell of section 5.9 in days: a step and a number of doses, or second and third dose; tag as above."""

    of: str
    where: str
    first: tuple[str, str]
    then: tuple[str, str]
    tag: str


CELLS = [
    Cell(ICH, "10 °C", ("10", "10"), ("3", ""), "CP"),
    Cell(ICH, "15 °C", ("4", "5"), ("5", ""), "MEM"),
    Cell(ICH, "18 to 20 °C", ("4", "4"), ("5", ""), "DER"),
    Cell(ICH, "24 to 25 °C", ("2", "2"), ("5", ""), "DER"),
    Cell(ICH, "24 to 25 °C", ("4", "4"), ("3", ""), "CP"),
    Cell(ICH, "28 to 30 °C", ("1", "2"), ("5", ""), "DER"),
    Cell(DACTYLO, "10 °C", ("28", ""), ("56", ""), "DER"),
    Cell(DACTYLO, "15 °C", ("14", "14"), ("28", "28"), "DER"),  # interpolated, low confidence
    Cell(DACTYLO, "18 to 20 °C", ("7", "7"), ("14", "14"), "DER"),
    Cell(DACTYLO, "24 to 25 °C", ("5", "6"), ("11", "12"), "DER"),
    Cell(DACTYLO, "28 to 30 °C", ("4", "5"), ("9", "10"), "DER"),
    Cell(NEO, "24 to 25 °C", ("7", "7"), ("14", "14"), "DER"),
    Cell(NEO, "28 to 30 °C", ("6", "6"), ("12", "12"), "DER"),
]


def days(pair: tuple[Decimal | None, Decimal | None]) -> tuple[str, str]:
    low, high = ("" if one is None else f"{(one / 24).normalize():f}" for one in pair)
    return low, high


def test_the_derived_table_of_spacings_is_the_notes_own() -> None:
    """Section 5.9, cell by cell, with how each is known; nothing beside it."""
    there = [
        Cell(slot.organism, slot.where.words, days(slot.every_hours), (str(slot.doses), ""), slot.source.kind)
        if slot.every_hours[0] is not None
        else Cell(slot.organism, slot.where.words, days(slot.second_hours), days(slot.third_hours), slot.source.kind)
        for slot in lifecycles.cycles().slots
    ]
    assert there == [cell._replace(tag=KINDS[cell.tag]) for cell in CELLS]


# Section 5.9, last column, in days, PROPOSAL; the first is 19 d and a hatch window of 24 d.
OBSERVED = {"10 °C": 43, "15 °C": 35, "18 to 20 °C": 21, "24 to 25 °C": 14, "28 to 30 °C": 14}


def test_the_days_without_a_drug_are_the_notes_own() -> None:
    """The proposed days after the last dose, by temperature, called proposals."""
    there = lifecycles.cycles().observations
    assert {one.where.words: one.least_hours / 24 for one in there} == OBSERVED
    assert [one.source.kind for one in there] == ["derived", *["proposed"] * 4]


@pytest.mark.parametrize(
    ("lowest", "highest", "second", "third"),
    [
        ("20", "20", 7, 14),  # Zhang et al. 2015: "second treatment one week after the first"; table: day 7, day 14
        ("24", "25", 6, 12),  # table: day 5 to 6, day 11 to 12
        ("28", "30", 5, 10),  # table: day 4 to 5, day 9 to 10
    ],
)
def test_rule_C14_gives_the_days_of_the_derived_table_for_gill_flukes(
    lowest: str, highest: str, second: int, third: int
) -> None:
    """The latest second and third dose by the rule are the latest days that the table of section 5.9 has."""
    found = lifecycles.spacing(DACTYLO, Decimal(lowest), Decimal(highest))
    assert (found.one_more, found.repeats) == (True, 2)
    assert [n * found.latest_hours / 24 for n in (1, 2)] == [second, third]
    assert 2 * found.latest_hours > found.earliest_hours


def test_rule_C14_gives_the_table_for_skin_flukes_of_the_sea() -> None:
    """At 28 to 30 °C day 6 and day 12, as section 5.9; at 25 °C its day 7 lies in the rule's window."""
    warm = lifecycles.spacing(NEO, Decimal(28), Decimal(30))
    assert (warm.latest_hours, warm.repeats) == (6 * 24, 2)
    mild = lifecycles.spacing(NEO, Decimal(25), Decimal(25))
    assert mild.earliest_hours < 7 * 24 < mild.latest_hours
    assert mild.repeats == 2


def test_the_clinics_own_step_against_lice_ends_before_the_rules_latest_repeat() -> None:
    """The clinic repeats every 20 to 25 d; by the rule at 25 °C it is before day 26, when the first are mature."""
    found = lifecycles.spacing(LOUSE, Decimal(25), Decimal(25))
    assert 25 * 24 < found.latest_hours == 26 * 24


def test_the_tank_transfer_is_colornis_within_the_second_studys_temperatures() -> None:
    """Four moves 3 d apart (Colorni 1985), supported at 22 to 32 °C by steps of 2 to 3 d (2018); else refused."""
    found = lifecycles.transfer_step(Decimal(22), Decimal(32))
    assert (found.every_hours, found.least_hours, found.moves) == (72, 48, 4)
    assert found.days == (3, 6, 9, 12)
    for lowest, highest in (("20", "26"), ("18", "18"), ("24", "33"), ("21.9", "24")):
        with pytest.raises(lifecycles.NoTiming, match=r"22 to 32 °C"):
            lifecycles.transfer_step(Decimal(lowest), Decimal(highest))


@pytest.mark.parametrize(
    ("temperature", "counts"), [("16", False), ("21.9", False), ("22", True), ("23", True), ("25", True), ("28", False)]
)
def test_a_koi_day_counts_at_22_to_25_degrees(temperature: str, counts: bool) -> None:
    """At 16 °C fish died as late as day 52, at 23 °C by day 20 (Yuasa et al. 2008); the bounds are derived from it."""
    found = lifecycles.koi_counts(Decimal(temperature))
    assert found.counts is counts
    assert (found.low_c, found.high_c) == (22, 25)
    assert "Yuasa" in found.reference
