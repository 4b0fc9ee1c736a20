"""The formulary against its sources: formalin, copper and the oxidisers (rows F, C, K, P and H of the notes).

Written down from the notes on the sources, not from the entries. Amounts are compared exactly unless a test gives a
tolerance, which follows the last printed digit. Where a source prints mg/L of formalin and treats it as uL/L of the
solution (IFAS VM061), uL/L stands here; ppm by weight or without a basis stays as printed.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from notes_rows import Amount, Row, asked, d, h, ids, mg, minutes, plain, row_of, stated

from quarantine import formulary
from quarantine.formulary import by_water, ceiling_for

VM061 = "Univ. of Florida IFAS, Use of Formalin to Control Fish Parasites, VM061 / VM-77, year not stated (reprint)"
HATCHERY = "US Fish and Wildlife Service, Fish Hatchery Management (Piper et al.), 1982 (page scans)"
MERCK_FDA = "Merck Veterinary Manual, FDA-Approved Drugs for Aquaculture Use, tables of 2014 and 2019"
TILAPIA = "Tilapia disease-treatment notes, unsigned: common practice, no source"
ASTM = "ASTM E729, Table 7 (poor scan)"
MERCK = "Merck Veterinary Manual, Management of Fish, parasiticides, older page (study notes quoting it)"
UNSIGNED = "unsigned page: common practice, no source"
HOBBY = "hobby page: common practice, no source"
SAPRO = "Formalin and hydrogen peroxide against saprolegniasis in channel catfish, year not stated (abstract)"
FA008 = "Univ. of Florida IFAS EDIS, Use of Copper in Freshwater Aquaculture and Farm Ponds, FA008, year not stated"
BOYD = "Global Seafood Alliance, Copper use in aquaculture (Boyd), year not stated"
FA165 = "Univ. of Florida IFAS EDIS FA165: from memory"
SILVA = "da Silva et al., Acta Sci. Biol. Sci. 36:377-381, 2014 (abstract)"
FA37 = "Univ. of Florida IFAS, Potassium Permanganate, FA-37, 1997 (reprint)"
INAD = "US Fish and Wildlife Service, Potassium Permanganate INAD 9246 summary, year not stated"
ARGULUS = "Hakalahti-Siren et al., Dis. Aquat. Org. 82:67-77, 2008 (abstract)"
RUSSO = "Russo, Curtis, Yanong, J. Aquatic Animal Health, 2007 (abstract)"
RACH03 = "Rach et al., N. Am. J. Aquaculture 65:300-305, 2003 (abstract)"
RACH00 = "Rach, Gaikowski, Ramsay, J. Aquatic Animal Health 12:119-127, 2000 (abstract)"
GAIKOWSKI = "Gaikowski, Rach, Ramsay, Aquaculture, 1999 (abstract)"
CFR = "US CFR Title 21, 529.382, Chloramine-T, year not stated"

SULFATE = "mg/L copper sulfate pentahydrate"
UNSTATED = "mg/L copper sulfate, hydrate not stated"
DEMAND = ("2.5", "times the 15 min permanganate demand")


def ul(number: str) -> Amount:
    return number, "uL/L"


def cu(number: str) -> Amount:
    return number, "mg/L Cu"


def weight(number: str) -> Amount:
    return number, "ppm by weight"


def ppm(number: str) -> Amount:
    return number, "ppm, basis not stated"


HOUR = (minutes("60"), minutes("60"))
# fmt: off
ROWS = {
    # Formalin. At most 250 mg/L up to 21 °C, at most 150 above, 60 min at most.
    "F01": Row(VM061, ("S01", "S02"), "ready", "READ-R", "bath", ul("250"), ul("250"), ul("250"), None, minutes("60")),
    "F02": Row(VM061, ("S02",), "ready", "READ-R", "bath", ul("150"), ul("150"), ul("150"), None, minutes("60")),
    "F03": Row(HATCHERY, ("S10",), "instruction", "READ", "bath", weight("167"), weight("167"), weight("167"), *HOUR,
               None, d("1"), d("1")),
    "F04": Row(MERCK_FDA, ("S03",), "instruction", "READ", "bath", ul("250"), ul("250"), ul("250"), None,
               minutes("60")),
    "F05": Row(TILAPIA, ("S29",), "instruction", "READ-CP", "bath", ppm("167"), ppm("167"), ppm("167"), *HOUR),
    "F06": Row(ASTM, ("S13",), "instruction", "READ-OCR", "bath", ul("150"), ul("250"), ul("150"), minutes("30"),
               minutes("60")),
    "F07": Row(VM061, ("S02", "S10", "S12"), "ready", "READ-R", "prolonged", ul("15"), ul("25"), ul("15")),
    "F08": Row(UNSIGNED, ("CP-F08",), "instruction", "READ-CP", "prolonged", ul("12.5"), ul("12.5"), ul("12.5")),
    "F09": Row(HATCHERY, ("S10",), "instruction", "READ", "prolonged", weight("10"), weight("10"), weight("10")),
    "F10": Row(MERCK_FDA, ("S03",), "instruction", "READ", "prolonged", ul("15"), ul("25"), ul("15"), None, None,
               None, d("5"), d("10"), d("5")),
    "F11": Row(HOBBY, ("CP-F11",), "instruction", "READ-CP", "prolonged", ppm("25"), ppm("25"), ppm("25"), None, None,
               None, d("2"), d("2"), d("2")),
    "F12": Row(SAPRO, ("S36",), "trial", "READ", "bath", ul("166"), ul("166"), ul("166"), *HOUR, 3, d("2"), d("2"),
               d("2")),
    "F12-daily": Row(SAPRO, ("S36",), "trial", "READ", "bath", ul("83"), ul("83"), ul("83"), *HOUR, 7, d("1"), d("1"),
                     d("1")),
    "F13": Row(VM061, ("S02", "S03"), "instruction", "READ-R", "dip", ul("1000"), ul("2000"), ul("1000"),
               minutes("15"), minutes("15")),
    "F14": Row(ASTM, ("S13",), "refused", "READ-OCR", "bath", ul("25"), ul("25"), None, h("1"), h("2")),
    # Copper. C01 to C03 go by the water: see the rules below. C01's repeats: ich, channel catfish, 18 °C
    # (J. Applied Aquaculture, doi 10.1080/10454430802498245, 2008).
    "C01": Row(FA008, ("S05",), "ready", "READ", "prolonged", None, None, None, h("4"), h("8"), 4, d("2"), d("2")),
    "C02": Row(HATCHERY, ("S10",), "instruction", "READ", "prolonged"),
    "C03": Row(BOYD, ("S07",), "instruction", "READ", "prolonged"),
    "C04": Row(MERCK, ("S12",), "ready", "READ-R", "prolonged", cu("0.18"), cu("0.20"), cu("0.18"), None,
               ("3", "weeks")),
    "C05": Row(TILAPIA, ("S29",), "instruction", "READ-CP", "prolonged", cu("0.1"), cu("0.2"), cu("0.1")),
    "C06": Row(FA165, ("MEM-C06",), "instruction", "MEM", "prolonged", cu("0.15"), cu("0.20"), cu("0.15"), d("14")),
    "C07": Row(HOBBY, ("CP-C07",), "refused", "READ-CP", "prolonged", None, None, None, d("14"), d("30")),
    "C08": Row(SILVA, ("S98",), "refused", "READ", "prolonged", None, None, None, h("96"), h("96")),
    # Potassium permanganate. K01: "at least 4 h while purple"; that it ends there is this project's cap.
    "K01": Row(FA37, ("S17",), "ready", "READ-R", "prolonged", mg("2"), mg("2"), mg("2"), None, h("4")),
    "K02": Row(FA37, ("CP-K02",), "instruction", "READ-CP", "bath", mg("10"), mg("10"), mg("10"), minutes("30"),
               minutes("30")),
    "K03": Row(INAD, ("S37",), "instruction", "READ", "bath", DEMAND, DEMAND, DEMAND, h("1"), h("1")),
    "K04": Row(ARGULUS, ("S38",), "trial", "READ", "bath", mg("10"), mg("10"), mg("10")),
    "K05": Row(ASTM, ("S13",), "instruction", "READ-OCR", "bath", mg("2"), mg("6"), mg("2"), minutes("30"),
               minutes("60")),
    # Hydrogen peroxide. 3.1 or more, 6.5 or more.
    "P01": Row(RUSSO, ("S39",), "trial", "READ", "bath", mg("3.1"), None, mg("3.1"), h("1"), h("1"), 1),
    "P02": Row(RUSSO, ("S39",), "trial", "READ", "bath", mg("6.5"), None, mg("6.5"), h("1"), h("1"), 1),
    "P03": Row(RACH03, ("S40",), "trial", "READ", "bath", mg("50"), mg("100"), mg("50"), *HOUR, 3, d("2"), d("2"),
               d("2")),
    "P04": Row(RACH00, ("S41",), "trial", "READ", "bath", mg("56"), mg("110"), mg("56"), *HOUR, None, d("2"), d("2"),
               d("2")),
    "P04-short": Row(RACH00, ("S41",), "trial", "READ", "bath", mg("56"), mg("230"), mg("56"), minutes("30"),
                     minutes("30"), None, d("2"), d("2"), d("2")),
    "P05": Row(SAPRO, ("S36",), "trial", "READ", "bath", mg("75"), mg("75"), mg("75"), *HOUR, 3, d("2"), d("2"),
               d("2")),
    "P06": Row(GAIKOWSKI, ("S42",), "refused", "READ", "bath", None, None, None, *HOUR),
    "P07": Row(MERCK_FDA, ("S03",), "instruction", "READ", "dip", mg("750"), mg("1000"), mg("750"), minutes("15"),
               minutes("15"), None, d("1"), d("2"), d("1")),
    "P07-cold": Row(MERCK_FDA, ("S03",), "instruction", "READ", "dip", mg("500"), mg("1000"), mg("500"),
                    minutes("15"), minutes("15"), None, d("1"), d("2"), d("1")),
    # Chloramine-T: 60 min once daily, 3 times on consecutive or alternate days.
    "H01": Row(CFR, ("S08",), "ready", "READ", "bath", mg("20"), mg("20"), mg("20"), *HOUR, 3, d("1"), d("2"), d("1")),
    "H02": Row(CFR, ("S08",), "instruction", "READ", "bath", mg("12"), mg("20"), mg("12"), *HOUR, 3, d("1"), d("2"),
               d("1")),
    "H02-walleye": Row(CFR, ("S08",), "instruction", "READ", "bath", mg("10"), mg("20"), mg("10"), *HOUR, 3, d("1"),
                       d("2"), d("1")),
    "H03": Row(HOBBY, ("CP-H03",), "refused", "READ-CP", "bath"),
}
# fmt: on
SEVERAL = {"F04", "F05", "F08", "K01"}
MARINE = {"F11", "C04", "C06", "C07"}


@pytest.mark.parametrize("row", ROWS)
def test_each_row_of_1b_says_what_its_source_says(row: str) -> None:
    """Strength, route, contact, repeats, gap and reading of each row are those of its source."""
    assert row_of(formulary.regimen(row)[1], ROWS[row].source) == ROWS[row]


@pytest.mark.parametrize("row", ROWS)
def test_each_row_of_1b_is_for_the_water_of_its_source(row: str) -> None:
    """Fresh water unless the row says otherwise; what the copy does not state about marine water is not claimed."""
    expected = ("fresh", "marine") if row in SEVERAL else ("marine",) if row in MARINE else ("fresh",)
    assert formulary.regimen(row)[1].water == (("brackish", "marine") if row == "C05" else expected)


def test_every_row_of_1b_is_there_and_no_other() -> None:
    """Rows F, C, K, P and H are on file as listed here, each once."""
    assert ids("FCKPH") == set(ROWS)


# Refuse-above figures: proposals of this project on the rows named (section 5 of the notes).
# (row, contact in hours, °C, groups) -> ceiling; None: refused at any level.
CEILINGS = [
    ("F01", "1", "21", (), ul("250")),
    ("F01", "1", "21.1", (), ul("150")),
    ("F02", "1", "27", (), ul("150")),
    ("F02", "1", "27.1", (), None),
    ("F02", "1", None, (), None),
    ("F01", "1.01", "20", (), None),
    ("F01", "1", "20", ("small-ornamental",), ul("100")),
    ("F01", "1", "20", ("small-ornamental", "fry"), ul("80")),
    ("F01", "1", "20", None, ul("80")),
    ("F07", None, None, (), ul("25")),
    ("F13", "0.25", None, (), ul("2000")),
    ("C01", None, None, (), ("2.5", SULFATE)),
    ("C04", None, None, (), cu("0.20")),
    ("K01", "4", None, (), mg("2")),
    ("K01", "4.1", None, (), None),
    ("K02", "0.5", None, (), mg("10")),
    ("K05", "1", None, (), None),
    ("P01", "1", None, (), mg("6.5")),
    ("P03", "1", None, (), mg("100")),
    ("P03", "1", None, None, mg("6.5")),
    ("H01", "1", None, (), mg("20")),
    ("H01", None, None, (), None),
]


@pytest.mark.parametrize(("row", "hours", "warmest", "groups", "expected"), CEILINGS)
def test_the_guard_of_a_row_depends_on_time_warmth_and_animals(
    row: str, hours: str | None, warmest: str | None, groups: tuple[str, ...] | None, expected: Amount | None
) -> None:
    """Warmer, longer or for small fish the ceiling is lower or there is none; what is not known takes the strictest."""
    found = ceiling_for(
        formulary.regimen(row)[1],
        Decimal(hours) if hours else None,
        warmest_c=Decimal(warmest) if warmest else None,
        groups=None if groups is None else frozenset(groups),
    )
    assert plain(found and found.figure) == expected


def test_every_guard_of_1b_calls_itself_a_proposal() -> None:
    """No ceiling dresses as a published figure."""
    assert {c.figure.status for row in ROWS for c in formulary.regimen(row)[1].ceilings} == {"PROPOSAL"}


def test_what_may_stand_after_a_bath() -> None:
    """Formalin 25 uL/L and permanganate 0.4 mg/L may stand (proposals); for copper and peroxide nothing is claimed."""
    limits = {name: plain(formulary.load(name).prolonged_limit) for name in OWN}
    assert limits == {
        "formalin": ul("25"),
        "potassium-permanganate": mg("0.4"),
        "copper": None,
        "hydrogen-peroxide": None,
        "chloramine-t": None,
    }


OWN = ("formalin", "copper", "potassium-permanganate", "hydrogen-peroxide", "chloramine-t")

# (substance or row, words it is named by, amount, key, status)
STATED = [
    # Label text of a 37 % formalin, year not stated: 100 uL/L are 37, 65.8 are 24 mg/L of formaldehyde.
    ("formalin", "in 100 uL/L", "37 mg/L", "S04", "READ"),
    ("formalin", "in 65.8 uL/L", "24 mg/L", "S04", "READ"),
    # Lin et al., J. Taiwan Fisheries Research 11:47-56, 2003: silver perch, 20 then 30 °C.
    ("formalin", "silver perch at 20", "112.81 mg/L", "S27", "READ"),
    ("formalin", "silver perch at 30", "84.71 mg/L", "S27", "READ"),
    ("copper", "silver perch at 20", f"2.12 {UNSTATED}", "S27", "READ"),
    ("copper", "silver perch at 30", f"1.07 {UNSTATED}", "S27", "READ"),
    ("potassium-permanganate", "silver perch at 20", "2.13 mg/L", "S27", "READ"),
    ("potassium-permanganate", "silver perch at 30", "1.97 mg/L", "S27", "READ"),
    # Hinton et al., American eels, year not stated.
    ("formalin", "eel", "84 mg/L", "S94", "READ"),
    ("potassium-permanganate", "eel", "3.06 mg/L", "S94", "READ"),
    # Comparison of the sensitivity of fish species to medical substances, year not stated.
    ("formalin", "solution, zebrafish", "0.12 mL/L", "S93", "READ"),
    ("formalin", "solution, guppy", "0.10 mL/L", "S93", "READ"),
    ("potassium-permanganate", "zebrafish", "1.25 mg/L", "S93", "READ"),
    ("potassium-permanganate", "guppy", "1.43 mg/L", "S93", "READ"),
    # Hoseini et al., 2013; Tancredo et al., 2019; Dias, Santos, Fujimoto, 2012.
    ("formalin", "0.5 h LC50, roach", "246 mg/L", "S91", "READ"),
    ("formalin", "highest advised for roach", "80 mg/L", "S91", "READ"),
    ("formalin", "advised for platy", "100 mg/L", "S90", "READ"),
    ("formalin", "no deaths in 96 h", "25 mg/L", "S92", "READ"),
    ("formalin", "65 % died", "50 mg/L", "S92", "READ"),
    ("formalin", "solution: 96 h LC50", "50.8 mg/L", "S92", "READ"),
    ("formalin", "all died in 96 h", "150 mg/L", "S92", "READ"),
    # Formalin toxicity, black sea bream juveniles, 2013.
    ("formalin", "24 h LC50", "233 mg/L", "P-S110", "READ"),
    ("formalin", "juveniles at 20 °C, 96 h LC50", "157 mg/L", "P-S110", "READ"),
    # US Fish and Wildlife Service, Fish Hatchery Management, 1982.
    ("formalin", "oxygen", "1 mg/L", "S10", "READ"),
    ("F03", "10 cubic feet", "43.8 mL", "S10", "READ"),
    ("F03", "salmonids", "10 °C", "S10", "READ"),
    ("F09", "96 h LC50", "12 ppm by weight", "S10", "READ"),
    ("F04", "over 10", "170 uL/L", "S03", "READ"),
    ("F04", "under 10", "250 uL/L", "S03", "READ"),
    ("F05", "30 to 45 min", "250 ppm, basis not stated", "S29", "READ-CP"),
    ("F14", "malachite green", "0.1 mg/L", "S13", "READ-OCR"),
    # Toxicity of copper sulfate and chelated copper to channel catfish, authors and year from memory.
    *(
        ("copper", f"of {form}, channel catfish, alkalinity {alkalinity} mg/L", f"{amount} mg/L Cu", "S97", "READ")
        for form, amounts in (
            ("copper sulfate", ("0.05", "0.73", "0.95", "0.98")),
            ("chelated copper", ("0.06", "1.51", "1.97", "1.74")),
        )
        for alkalinity, amount in zip(("16", "76", "127", "240"), amounts, strict=True)
    ),
    ("copper", "calcium 75", f"28 {UNSTATED}", "S125", "READ"),
    ("copper", "calcium 20", f"1.25 {UNSTATED}", "S124", "READ"),
    ("copper", "red sea bream, lower", "1.0 mg/L Cu", "S126", "READ"),
    ("copper", "red sea bream, higher", "5.3 mg/L Cu", "S126", "READ"),
    ("copper", "flounder, lower", "5 mg/L Cu", "S126", "READ"),
    ("copper", "flounder, higher", "12 mg/L Cu", "S126", "READ"),
    ("copper", "anemonefish", "0.16 mg/L Cu", "S127", "READ"),
    ("copper", "red drum, lower", "0.28 mg/L Cu", "S123", "READ"),
    ("copper", "red drum, higher", "0.88 mg/L Cu", "S123", "READ"),
    ("C01", "stopped deaths", f"1.1 {SULFATE}", "S99", "READ"),
    ("C01", "as a trial names it", f"2.2 {SULFATE}", "S99", "READ"),
    ("C04", "red drum, 3 h daily", f"0.4 {UNSTATED}", "S123", "READ"),
    ("C07", "hobby figure", "2 mg/L Cu", "CP-C07", "READ-CP"),
    ("C08", "Phalloceros", f"0.05 {UNSTATED}", "S98", "READ"),
    ("C08", "zebrafish", f"0.13 {UNSTATED}", "S98", "READ"),
    ("C08", "serpae", f"0.16 {UNSTATED}", "S98", "READ"),
    ("C08", "pacu", f"10.36 {UNSTATED}", "S98", "READ"),
    ("C03", "lowest", "0.05 mg/L Cu", "S07", "READ"),
    ("C03", "highest", "2.0 mg/L Cu", "S07", "READ"),
    # Griffin et al. 2002; Omuwa et al., year not stated; Potassium Permanganate (trade page), 2021.
    ("potassium-permanganate", "9 % died", "1.32 mg/L", "S95", "READ"),
    ("potassium-permanganate", "50.6 %", "2.19 mg/L", "S95", "READ"),
    ("potassium-permanganate", "therapeutic", "0.44 mg/L", "S95", "READ"),
    ("potassium-permanganate", "LC50, Clarias", "4.09 mg/L", "S96", "READ"),
    ("potassium-permanganate", "25 % died", "2 mg/L", "S96", "READ"),
    ("K01", "sensitive fish", "1 mg/L", "S14", "READ-CP"),
    ("K03", "never over", "10 mg/L", "S37", "READ"),
    ("K03", "at least", "2 mg/L", "S37", "READ"),
    ("K03", "at most", "4 mg/L", "S37", "READ"),
    ("K04", "formalin", "0.6 mL/L", "S38", "READ"),
    ("K04", "salt", "20 g/L", "S38", "READ"),
    # Mitchell, USDA ARS review, 1998; IFAS FA157, year not stated; Rach et al. 2000; Gaikowski et al. 1999.
    ("hydrogen-peroxide", "walleye", "178 ppm, basis not stated", "S79", "READ"),
    ("hydrogen-peroxide", "channel catfish", "2010 ppm, basis not stated", "S79", "READ"),
    ("hydrogen-peroxide", "with aeration", "3 d", "S15", "READ"),
    ("hydrogen-peroxide", "half is left", "6 d", "S15", "READ"),
    ("hydrogen-peroxide", "none is left", "10 d", "S15", "READ"),
    ("P02", "tiger barb", "34 mg/L", "S39", "READ"),
    ("P04", "raised deaths", "230 mg/L", "S41", "READ"),
    ("P06", "coldwater", "150 uL/L, basis not stated", "S42", "READ"),
    ("P06", "most others", "100 uL/L, basis not stated", "S42", "READ"),
    ("P06", "pike", "50 uL/L, basis not stated", "S42", "READ"),
    # EU chemicals registration dossier 25844, study of 1988; the substance was matched by the study's design.
    ("chloramine-t", "trout", "2.8 mg/L", "S117", "READ"),
    ("chloramine-t", "channel catfish", "3.75 mg/L", "S117", "READ"),
    ("chloramine-t", "minnow", "7.3 mg/L", "S117", "READ"),
]


@pytest.mark.parametrize(("where", "words", "amount", "key", "status"), STATED)
def test_other_numbers_of_1b_are_those_of_their_source(
    where: str, words: str, amount: str, key: str, status: str
) -> None:
    """Lethal levels, label figures and losses are as printed, each with its own source and how it was read."""
    figure = stated(where, words)
    assert (f"{figure.value:f} {figure.unit}", figure.reference, figure.status) == (amount, key, status)


def test_a_course_of_permanganate_stops_at_6_mg_per_l() -> None:
    """6 mg/L in all: Potassium Permanganate for External Infections of Fish, trade page, 2021 (common practice)."""
    course = formulary.regimen("K01")[1].course_ceiling
    assert (plain(course), course and course.status) == (mg("6"), "READ-CP")


def test_limits_of_the_water_are_those_of_their_source() -> None:
    """Temperatures, oxygen, alkalinity, hardness and salinity bind where the source says so."""
    found = {
        (r, limit.what, limit.kind, plain(limit.low), plain(limit.high))
        for r in ROWS
        for limit in formulary.regimen(r)[1].limits
    }
    assert found == {
        ("F01", "temperature", "limit", None, ("21", "°C")),  # IFAS VM-77: 70 °F
        ("F02", "temperature", "limit", ("21", "°C"), ("27", "°C")),  # the same; 27 is this project's
        ("F03", "temperature", "limit", ("21", "°C"), None),  # Fish Hatchery Management, 1982
        ("F05", "temperature", "limit", ("22", "°C"), None),  # common practice
        ("F10", "temperature", "limit", None, ("26.7", "°C")),  # Merck tables, 2014 and 2019: 80 °F
        ("F10", "oxygen", "limit", mg("5"), None),
        ("C01", "alkalinity", "limit", mg("50"), None),  # IFAS FA008
        ("C02", "hardness", "limit", mg("50"), mg("200")),  # Fish Hatchery Management, 1982, p. 277
        ("C05", "salinity", "limit", ("5", "g/L"), ("35", "g/L")),  # common practice
    }


def alkalinity_alone(row: str = "C01") -> formulary.Regimen:
    """The rule of IFAS FA008 without the one by hardness."""
    regimen = formulary.regimen(row)[1]
    return regimen._replace(water_rules=tuple(r for r in regimen.water_rules if r.by == "alkalinity"))


# Univ. of Florida IFAS EDIS FA008, year not stated: alkalinity / 100, none below 50, at most 2.5 above 250.
@pytest.mark.parametrize(
    ("alkalinity", "ceiling", "offer"),
    [("49", None, None), ("50", "0.5", "0.5"), ("100", "1", "1"), ("120", "1.2", "0.6"), ("220", "2.2", "1.1"),
     ("250", "2.5", "1.25"), ("300", "2.5", "1.25")],
)  # fmt: skip
def test_the_copper_rule_by_alkalinity(alkalinity: str, ceiling: str | None, offer: str | None) -> None:
    """The ceiling is the published rule; from 120 mg/L half of it is offered (a proposal on three trials)."""
    for use, expected in (("ceiling", ceiling), ("offer", offer)):
        found = by_water(alkalinity_alone(), use, {"alkalinity": Decimal(alkalinity)})
        assert (found and (found.value, found.unit)) == (expected and (Decimal(expected), SULFATE))


# US Fish and Wildlife Service, Fish Hatchery Management, p. 277, 1982: by total hardness.
@pytest.mark.parametrize(
    ("hardness", "low", "high"),
    [("49", None, None), ("50", "0.5", "0.75"), ("99", "0.5", "0.75"), ("100", "0.75", "1.0"), ("149", "0.75", "1.0"),
     ("150", "1.0", "2.0"), ("200", "1.0", "2.0"), ("201", None, None)],
)  # fmt: skip
def test_the_copper_rule_by_hardness(hardness: str, low: str | None, high: str | None) -> None:
    """Each band of hardness has its lower and its upper figure, and outside the bands there is none."""
    row = formulary.regimen("C02")[1]
    for use, expected in (("offer", low), ("ceiling", high)):
        found = by_water(row, use, {"hardness": Decimal(hardness)})
        assert plain(found) == (expected and (expected, UNSTATED))


def test_C17_copper_takes_the_lower_of_alkalinity_and_hardness() -> None:
    """Rule C17: of two rules the lower counts, and where one of the readings is missing there is no dose."""
    row = formulary.regimen("C01")[1]
    hard, soft = {"alkalinity": Decimal(80), "hardness": Decimal(160)}, {"hardness": Decimal(60)}
    assert plain(by_water(row, "ceiling", hard)) == ("0.8", SULFATE)
    assert plain(by_water(row, "ceiling", {**hard, **soft})) == ("0.75", SULFATE)
    assert by_water(row, "ceiling", soft) is None
    assert by_water(row, "ceiling", {"alkalinity": Decimal(80)}) is None
    assert by_water(row, "ceiling", {}) is None


# A table on a hobby page, original not retrieved: common practice, kept as a cap. pH: soft, hard, mg/L.
CHLORAMINE = [("6.0", "2.5", "7"), ("6.5", "5", "10"), ("7.0", "10", "15"), ("7.5", "18", "18"), ("8.0", "20", "20")]


@pytest.mark.parametrize("row", ["H01", "H02", "H02-walleye", "H03"])
def test_chloramine_t_is_capped_by_ph_and_hardness(row: str) -> None:
    """Each pH of the table has its two caps; between two rows the lower holds, under the first there is no dose, and
    water that is not known to be hard is taken for soft."""
    regimen = formulary.regimen(row)[1]
    for ph, soft, hard in CHLORAMINE:
        for step in ("0", "0.4"):
            readings = {"ph": Decimal(ph) + Decimal(step)}
            assert plain(by_water(regimen, "ceiling", readings)) == mg(soft)
            assert plain(by_water(regimen, "ceiling", readings, water="hard")) == mg(hard)
    assert by_water(regimen, "ceiling", {"ph": Decimal("5.9")}) is None


# Arithmetic on printed figures --------------------------------------------------------------------


def test_copper_in_the_pentahydrate_follows_the_atomic_weights() -> None:
    """63.546 / 249.685 (IUPAC, from memory; so the notes) is 25.45 %, and alkalinity 100 gives 0.2545 mg/L of copper;
    Boyd (Global Seafood Alliance, year not stated) prints about 0.25."""
    (salt,) = formulary.load("copper").salts
    assert plain(salt.holds) == ("25.45", "%")
    assert abs(Decimal("63.546") / Decimal("249.685") * 100 - salt.holds.value) < Decimal("0.005")
    assert abs(stated("C01", "rule dose at alkalinity 100").value - salt.holds.value / 100) < Decimal("0.00005")
    assert abs(stated("C03", "the same as copper").value - salt.holds.value / 100) < Decimal("0.005")


def test_the_marine_level_as_pentahydrate() -> None:
    """0.20 mg/L of copper is 0.79 mg/L of the pentahydrate to the last digit (calculated in the notes)."""
    (salt,) = formulary.load("copper").salts
    assert abs(Decimal("0.20") / salt.holds.value * 100 - stated("C04", "as the pentahydrate").value) < Decimal("0.005")


@pytest.mark.parametrize(
    ("alkalinity", "lc50", "share"), [("76", "0.73", "26"), ("127", "0.95", "34"), ("240", "0.98", "62")]
)
def test_what_share_of_the_lethal_level_the_copper_rule_is(alkalinity: str, lc50: str, share: str) -> None:
    """Channel catfish (abstract, authors and year from memory): the rule dose is 26, 34 and 62 % of the LC50."""
    copper = Decimal(alkalinity) / 100 * Decimal("0.2545")
    printed = stated("C01", f"alkalinity {alkalinity} mg/L")
    assert plain(printed) == (share, "%")
    assert abs(copper / Decimal(lc50) * 100 - printed.value) < Decimal("0.5")


def test_formaldehyde_is_37_hundredths_of_formalin() -> None:
    """Label text, year not stated: 100 uL/L print as 37 and 65.8 as 24 mg/L, by the strength of the solution."""
    strength = formulary.load("formalin").solution
    assert plain(strength) == ("37", "%")
    assert strength is not None
    for formalin, words in (("100", "in 100 uL/L"), ("65.8", "in 65.8 uL/L")):
        assert abs(Decimal(formalin) * strength.value / 100 - stated("formalin", words).value) < Decimal("0.5")


def test_ppm_by_weight_is_not_uL_per_L() -> None:
    """Fish Hatchery Management, p. 276, 1982: 167 ppm by weight in 10 cubic feet (283.168 L) are 43.8 mL, which is
    154.7 uL/L, 8 % less than 167: the row is kept as printed and no amount is computed from it."""
    printed = stated("F03", "10 cubic feet")
    assert abs(printed.value * 1000 / Decimal("283.16846592") - Decimal("154.7")) < Decimal("0.2")
    assert asked("F03", as_ready=True).dose.add is None


def test_the_citrated_stock_is_computed() -> None:
    """Tilapia notes (common practice): 3 g of the pentahydrate in 750 mL hold 1.018 mg of copper in 1 mL."""
    assert abs(Decimal(3000) / 750 * Decimal("0.2545") - stated("C05", "3 g").value) < Decimal("0.0005")


# No wrong amount -----------------------------------------------------------------------------------


@pytest.mark.parametrize("row", ROWS)
@pytest.mark.parametrize("kind", ["fresh", "marine"])
def test_no_amount_is_shown_for_what_is_not_computed(row: str, kind: str) -> None:
    """A liquid, copper and what depends on the species are held with a reason, whatever the tier."""
    proposal = asked(row, kind=kind)
    assert proposal.dose.add is None
    assert proposal.hold is not None
    assert proposal.hold.says


def test_the_ready_rows_of_1b_say_what_they_depend_on() -> None:
    """What a keeper would have to know beside the litres is named; the first that is not known stands in the hold."""
    needs = {row: set(formulary.regimen(row)[1].needs) for row in ROWS if ROWS[row].tier == "ready"}
    assert needs == {
        **{row: {"strength of the product", "species"} for row in ("F01", "F02", "F07")},
        "C01": {"alkalinity", "hardness", "species", "a test kit"},
        "C04": {"species", "a test kit"},
        "K01": {"species", "permanganate demand"},
        "H01": {"ph", "hardness", "species"},
    }
    first = {
        "F01": "temperature of the water is not known",
        "F02": "temperature of the water is not known",
        "F07": "which animals",
        "C01": "total alkalinity of the water is not known",
        "C04": "which animals",
        "K01": "which animals",
        "H01": "pH of the water is not known",
    }
    assert first.keys() == needs.keys()
    for row, words in first.items():
        hold = asked(row, kind="marine" if row == "C04" else "fresh").hold
        assert hold is not None
        assert words in hold.says


def test_C8_a_trial_on_a_few_comes_first() -> None:
    """Formalin, permanganate, peroxide, chloramine-T, the salt dip and the freshwater dip, unless they are refused."""
    there = {r.id for s in formulary.load_all() for r in s.regimens if r.trial_first}
    expected = {row for row in ROWS if row[0] in "FKPH" and ROWS[row].tier != "refused"}
    assert there >= expected | {"T01", "T02", "T03", "T15", "T17"}
    assert there - expected <= {"T01", "T02", "T03", "T15", "T17"}


def test_formalin_and_permanganate_never_meet() -> None:
    """IFAS FA-37, 1997 (reprint): the mixture can explode; both entries say so."""
    for one, other in (("formalin", "potassium-permanganate"), ("potassium-permanganate", "formalin")):
        pairs = [p for p in formulary.load(one).incompatible if p.other == other]
        assert [(p.rule, p.note.reference, p.note.status) for p in pairs] == [("never", "S17", "READ-R")]
