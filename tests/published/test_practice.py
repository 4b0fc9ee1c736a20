"""Periods, water limits, sign-off and acclimation as the sources give them, and what ships beside them.

The tables are typed from the project's notes on quarantine practice (sections 1, 4 and 6), apart from the templates
and the code. The last word of a row is how it is known: R read, R2 second-hand, MEM from memory, CP common practice
without a source, DER arithmetic on the figures of the row. Disagreements stand side by side and are never averaged.
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import NamedTuple

import pytest

from quarantine import dosing, formulary, readiness
from quarantine.facts import Condition
from quarantine.formulary import groups
from quarantine.protocol import Protocol, load, shipped
from quarantine.reports import emergency
from quarantine.water import acclimation, advice
from quarantine.water.ammonia import un_ionized_fraction


class Said(NamedTuple):
    """What one source says: of what, from, to, in which unit, by whom, known how."""

    of: str
    low: str
    high: str
    unit: str
    source: str
    tag: str


ZOOS = "J Zoo Wildl Med 42(4):641-650, Fish quarantine: current practices in public zoos and aquaria, 2011"
CIR920 = "Univ. of Florida IFAS EDIS, Ichthyophthirius multifiliis infections in fish, CIR920, year not stated"
NOGA = "A textbook's author (Fish Disease: Diagnosis and Treatment) quoted in a wiki, year not stated"
PET_PAGE = "Veterinarian-written page for pet keepers, The new kid in the tank, year not stated"
VM113 = "Univ. of Florida IFAS EDIS, Koi Herpesvirus Disease, VM113, year not stated"
KOI_GUIDE = "Koi veterinarian's web guide, step 19, year not stated"
ZEBRAFISH = "Zebrafish International Resource Center, quarantine recommendations, year not stated"
CEBRA = "CEBRA/ACERA 1206G, Ornamental finfish import reform, Australia, 2013"
ADVICE_2009 = "Biosecurity Australia Advice 2009/06 and a forum copy, 2009"
IMPORTER = "Page of an importer on Australian import rules from 1 March 2016, year not stated"
BICON = "BICON health certificate, freshwater ornamental fish, 2019-20"
YUASA = "Yuasa et al., Fish Pathol 43:83, doi 10.3147/jsfp.43.83, 2008"
GILAD = "Gilad et al. (authors from memory), J Gen Virol, doi 10.1099/vir.0.19323-0, 2003"
COTTI = "Levsen and Berland (authors from memory), development of Camallanus cotti, year not stated"
COMMON = "common practice, no source"
MEMORY = "from memory"

# Section 1, periods in days (weeks x 7, months x 30).
PERIODS = [
    Said("all fish, public aquaria", "30", "30", "d", ZOOS, "R"),  # or more, in 95 % of 42 institutions
    Said("freshwater", "21", "21", "d", CIR920, "R"),  # generally the minimum
    Said("general", "21", "28", "d", NOGA, "R2"),
    Said("home aquarium, minimum", "14", "14", "d", PET_PAGE, "R"),
    Said("home aquarium, ideal", "28", "42", "d", PET_PAGE, "R"),
    Said("koi", "30", "30", "d", VM113, "R2"),  # from a page that credits it; not found again
    Said("koi, 21 to 26 °C", "14", "14", "d", KOI_GUIDE, "R"),  # against the 30 d
    Said("koi, clubs", "42", "56", "d", COMMON, "CP"),
    Said("koi, clubs, 22 to 26 °C", "90", "90", "d", COMMON, "CP"),
    Said("koi, scheme with a laboratory test", "14", "14", "d", COMMON, "CP"),
    Said("marine, web pages", "14", "28", "d", COMMON, "CP"),
    Said("marine, web pages", "30", "30", "d", COMMON, "CP"),
    Said("marine, without fish after an outbreak", "76", "76", "d", COMMON, "CP"),
    Said("marine, copper scheme, after the drug", "14", "14", "d", COMMON, "CP"),
    Said("zebrafish in research", "14", "14", "d", ZEBRAFISH, "R"),
    Said("extension and veterinary manuals", "30", "30", "d", MEMORY, "MEM"),
    Said("retail", "0", "14", "d", COMMON, "CP"),
    Said("Australia, after arrival", "7", "21", "d", CEBRA, "R"),
    Said("Australia until 2016, gourami and cichlids", "14", "14", "d", ADVICE_2009, "R2"),
    Said("Australia until 2016, poeciliids", "7", "7", "d", ADVICE_2009, "R2"),
    Said("Australia from 2016, goldfish", "21", "21", "d", IMPORTER, "R2"),
    Said("Australia from 2016, all others", "7", "7", "d", IMPORTER, "R2"),
    Said("Australia, before export", "14", "14", "d", BICON, "R"),
    # Section 5, what lives off the fish: the two isolations.
    Said("fish louse eggs at 15 °C", "61", "61", "d", "Eggs of Argulus japonicus, year not stated (abstract)", "R"),
    Said("marine, without fish, older texts", "42", "42", "d", MEMORY, "MEM"),
    Said("marine, without fish", "56", "56", "d", COMMON, "CP"),
    Said("marine, without fish, 27 °C", "45", "45", "d", COMMON, "CP"),
]

# Section 1.3, koi herpesvirus: (°C, first day of death, last day, percent dead at most).
KHV_DEATHS = {16: (21, 52), 23: (5, 20), 28: (7, 14)}  # YUASA, R
KHV_KILLS = {13: "0", 18: "85.0", 23: "95.2", 28: "95.2"}  # GILAD, R: 28 °C 89.4 to 95.2

PERIOD_OF = {
    "fresh-watch": (ZOOS, "30"),
    "fresh-school-watch": (ZOOS, "30"),
    "marine-watch": (ZOOS, "30"),
    "goldfish-watch": (ZOOS, "30"),
    "koi-watch": (ZOOS, "30"),
    "koi-warm-hold": (ZOOS, "30"),
    "fresh-white-spot": (ZOOS, "30"),
    "fresh-flukes": (ZOOS, "30"),
    "marine-tank-transfer": (ZOOS, "30"),
    "marine-copper": (ZOOS, "30"),
    "marine-praziquantel": (ZOOS, "30"),
    "fresh-metronidazole-food": (ZOOS, "30"),
    "fresh-fenbendazole-food": (ZOOS, "30"),
    "fresh-salt-dip": (ZOOS, "30"),
    "fresh-isolation": ("Eggs of Argulus japonicus, year not stated (abstract)", "61"),
    "marine-isolation": (COMMON, "76"),
}

# Periods that count something else than days of observation: tests/published/test_living_figures.py.
BESIDE = {"marine-tank-transfer": ("since-entry",), "marine-copper": ("copper",), "koi-warm-hold": ("warm",)}


def test_every_shipped_template_is_looked_at_here() -> None:
    """No template ships whose period is not beside a source."""
    assert sorted(PERIOD_OF) == sorted(shipped())


@pytest.mark.parametrize("name", sorted(PERIOD_OF))
def test_the_period_of_a_template_is_one_that_a_source_gives(name: str) -> None:
    """The days of each period stand in the table under the source that is named, and a mere custom is called one."""
    source, days = PERIOD_OF[name]
    protocol = load(name)
    rows = [row for row in PERIODS if row.source == source and row.low == row.high == days]
    assert rows
    for period in (one for one in protocol.periods if one.id not in BESIDE.get(name, ())):
        assert (period.length.value, period.length.unit) == (int(days), "d")
        kept = [protocol.references[key] for key in period.references]
        assert any(days in one.cite for one in kept)
        if rows[0].tag == "CP":
            assert any(one.status == "common practice" and f"{days} days" in one.cite for one in kept)


@pytest.mark.parametrize("name", sorted(PERIOD_OF))
def test_no_period_is_shorter_than_the_minimum_of_its_group(name: str) -> None:
    """3 weeks for fresh water (CIR920), 30 days for koi (VM113, second-hand), 21 days for goldfish (an importer), 2 to
    4 weeks for marine fish (common practice)."""
    least = {"koi-watch": 30, "koi-warm-hold": 30}.get(name, 21 if load(name).water == "fresh" else 28)
    assert all(period.length.value >= least for period in load(name).periods if period.id != "copper")


def test_koi_are_watched_where_the_virus_shows_before_the_period_ends() -> None:
    """At the temperatures that are asked for deaths end on day 20 (YUASA) and the virus kills (GILAD); at 16 °C deaths
    come until day 52, so such days must not do."""
    (warm,) = [one for one in load("koi-watch").criteria if one.kind == "steady"]
    days = load("koi-watch").periods[0].length.value
    assert warm.low is not None
    assert warm.high is not None
    inside = [t for t in KHV_DEATHS if Decimal(warm.low) <= t <= Decimal(warm.high)]
    assert inside == [23]
    assert all(KHV_DEATHS[t][1] <= days for t in inside)
    outside = [t for t in KHV_DEATHS if KHV_DEATHS[t][1] > days]
    assert outside == [16]
    assert all(t < Decimal(warm.low) for t in outside)
    cite = load("koi-watch").references["S20"].cite
    assert all(f"{float(percent):g} %" in cite for percent in KHV_KILLS.values() if percent != "0")
    assert "none at 13 °C" in cite


def test_roundworms_are_given_the_time_they_need_to_mature() -> None:
    """Camallanus cotti: final moult about day 33 (male), 34 to 42 (female) at 23 °C (abstract); hold at least 6 weeks
    after the last treatment, or 60 days in all (derived). Whole days."""
    males, females = 33, (34, 42)
    protocol = load("fresh-fenbendazole-food")
    (free,) = [one for one in protocol.criteria if one.kind == "days_since_dose"]
    assert free.value == max(males, *females) == 6 * 7
    assert protocol.references[free.reference].status == "common practice"
    assert f"days {females[0]} to {females[1]}" in protocol.references["S75"].cite
    doses = {step.id: step for step in protocol.steps if step.treatment}
    first, again = doses["dose"], doses["dose-again"]
    assert first.repeat is not None
    assert again.repeat is not None
    last = first.start.by.value + 2 * ((first.repeat.times or 0) - 1) + again.start.by.value
    assert last + free.value >= 60
    assert "Thirty days cannot clear Camallanus" in " ".join(protocol.summary.split())


# --- Section 4 -----------------------------------------------------------------------------------------------

DEFRA = "Defra, Selling animals as pets licensing, statutory guidance, 2024"
FA031 = "Univ. of Florida IFAS EDIS, Ammonia, FA16/FA031, 1990/1996"
FUNDAMENTALS = "Wiley, Fundamentals of Aquatic Veterinary Medicine, ISBN 9781119612728, year not stated"
GUIDE = "Wiley, Clinical Guide to Fish Medicine, ISBN 9781119259848, year not stated"
PET_FISH = "Pet-fish veterinary practice, Water chemistry, year not stated"
COURSE = "Maintenance of water quality for healthy fish, veterinary course text, year not stated"
WEF = "Water Environment Federation, Manual of Practice 8, Dechlorination, year not stated"

WATER = [
    Said("uia, harm begins", "0.05", "0.05", "mg/L", FA031, "R"),
    Said("uia, toxic from", "0.05", "0.05", "mg/L", FUNDAMENTALS, "R"),
    Said("uia, fresh", "0", "0.02", "mg/L", DEFRA, "MEM"),
    Said("uia, sea", "0", "0.01", "mg/L", DEFRA, "MEM"),
    Said("nitrite, fresh", "0", "0.2", "mg/L", DEFRA, "MEM"),
    Said("nitrite, sea", "0", "0.125", "mg/L", DEFRA, "MEM"),
    Said("oxygen, not below", "2", "5", "mg/L", FUNDAMENTALS, "R"),
    Said("oxygen, over", "5", "5", "mg/L", MEMORY, "MEM"),
    Said("ph, general", "6.7", "8.6", "", FUNDAMENTALS, "R"),
    Said("chlorine, toxic below", "0.02", "0.02", "mg/L", WEF, "R"),
    Said("salinity, sea aquaria", "28", "35", "g/L", GUIDE, "R"),
    Said("temperature, reef fish", "22", "28", "°C", GUIDE, "R"),
    Said("temperature, tropical fresh", "24", "27", "°C", PET_FISH, "R"),
    Said("temperature, tropical marine", "26", "29", "°C", PET_FISH, "R"),
    Said("temperature, koi and goldfish", "18", "25", "°C", PET_FISH, "R"),
    Said("temperature, discus", "28", "30", "°C", MEMORY, "MEM"),
    Said("temperature, a day", "0", "0.6", "°C", PET_FISH, "R"),  # under 1 °F
    Said("temperature, up in 24 h", "2", "2", "°C", COURSE, "R"),
    Said("temperature, down in 24 h", "1", "1", "°C", COURSE, "R"),
]
# What a template asks of the water, by kind of fish: the row that says it. None: a choice that says so.
BANDS = {
    "fresh-watch": None,
    "fresh-school-watch": None,
    "marine-watch": None,
    "goldfish-watch": "temperature, koi and goldfish",
    "koi-watch": None,  # 22 to 25 °C is a choice around the 23 °C of the trials
    "koi-warm-hold": None,
    "fresh-white-spot": None,  # 18 to 26 °C is a choice by the rows of the life cycle
    "fresh-flukes": None,  # 20 to 28 °C is a choice by the rows of the hatch
    "marine-tank-transfer": None,  # 22 to 32 °C is that of the transfers, 22 to 28 °C that of the baths
    "marine-copper": "temperature, reef fish",
    "marine-praziquantel": "temperature, reef fish",
    "fresh-metronidazole-food": "temperature, tropical fresh",
    "fresh-fenbendazole-food": "temperature, tropical fresh",
    "fresh-salt-dip": "temperature, tropical fresh",
    "fresh-isolation": None,  # 15 °C or warmer is a choice after the 61 days
    "marine-isolation": None,  # 18 °C or warmer: hatching of marine white spot, not a range for fish
}


def row(of: str) -> Said:
    (found,) = [one for one in WATER if one.of == of]
    return found


def conditions(protocol: Protocol) -> list[Condition]:
    return [*protocol.criteria, *(one for step in protocol.steps for one in step.before)]


@pytest.mark.parametrize("name", sorted(BANDS))
def test_what_a_template_asks_of_the_water_is_what_a_source_says(name: str) -> None:
    """Ammonia, nitrite and oxygen of every criterion and gate are the figures of the table, and so is the temperature
    of a group of fish; a band that no source gives is called a choice."""
    protocol = load(name)
    sea = "fresh" if protocol.water == "fresh" else "sea"
    for one in conditions(protocol):
        if one.kind not in ("reading", "steady"):
            continue
        if one.value == "uia":
            assert (one.high, one.unit) == (row("uia, harm begins").high, "mg/L")
        elif one.value == "nitrite":
            assert (one.high, one.unit) == (row(f"nitrite, {sea}").high, "mg/L")
            assert protocol.references[one.reference].status == "from memory"
        elif one.value == "oxygen":
            assert (one.low, one.unit) == (row("oxygen, not below").high, "mg/L")
        elif BANDS[name]:
            band = row(str(BANDS[name]))
            assert (one.low, one.high, one.unit) == (band.low, band.high, band.unit)
        else:
            known = protocol.references[one.reference]
            assert known.status == "common practice" or one.low in known.cite


def test_the_doses_of_all_templates_are_held_at_the_same_limits() -> None:
    """Ammonia 0.05, nitrite 0.2 and 0.125, oxygen 5 mg/L."""
    held = {str(one.value): one for one in dosing.OUT_OF_LIMIT}
    assert held["uia"].high == row("uia, harm begins").high
    assert held["nitrite"].high == row("nitrite, sea").high
    assert row("nitrite, fresh").high == dosing.FRESH_NITRITE
    assert held["oxygen"].low == row("oxygen, over").low


def test_readiness_asks_for_the_same_water_before_the_fish_come() -> None:
    """Ammonia 0.05 mg/L; nitrite 0.2 mg/L fresh, 0.125 mg/L for anything with salt; 1 °C in 24 h."""
    assert row("uia, harm begins").high == readiness.UIA_MOST
    assert readiness.NITRITE_MOST["fresh"] == row("nitrite, fresh").high
    assert {readiness.NITRITE_MOST[water] for water in ("brackish", "marine")} == {row("nitrite, sea").high}
    assert Decimal(row("temperature, down in 24 h").high) == readiness.STEADY_CELSIUS


def test_advice_speaks_at_the_widest_ranges_and_the_strictest_swings() -> None:
    """pH 6.7 to 8.6; fresh 18 to 30 °C and marine 22 to 29 °C over the groups of the table; +2 and -1 °C in 24 h."""
    assert (advice.GENERAL[0].low, advice.GENERAL[0].high) == (
        Decimal(row("ph, general").low),
        Decimal(row("ph, general").high),
    )
    for water, of in (
        ("fresh", ("koi and goldfish", "tropical fresh", "discus")),
        ("marine", ("reef fish", "tropical marine")),
    ):
        bands = [row(f"temperature, {group}") for group in of]
        assert advice.TEMPERATURE[water].low == min(Decimal(one.low) for one in bands)
        assert advice.TEMPERATURE[water].high == max(Decimal(one.high) for one in bands)
    assert Decimal(row("temperature, up in 24 h").high) == advice.FASTEST_UP
    assert Decimal(row("temperature, down in 24 h").high) == advice.FASTEST_DOWN


# Un-ionized share, table of section 4 (Emerson 1975; 15 °C and pH 7 to 8.5 as printed in GUIDE, the rest computed).
SHARES = {
    7.0: ".0019 .0027 .0039 .0053 .0056 .0069 .0080",
    7.5: ".0058 .0086 .0124 .0164 .0176 .0216 .0248",
    8.0: ".0182 .0267 .0381 .0502 .0537 .0654 .0743",
    8.5: ".0554 .0797 .1112 .1431 .1521 .1812 .2025",
}


@pytest.mark.parametrize(
    ("ph", "celsius", "printed"),
    [
        (ph, t, float(cell))
        for ph, cells in SHARES.items()
        for t, cell in zip((10, 15, 20, 24, 25, 28, 30), cells.split(), strict=True)
    ],
)
def test_the_poisonous_share_of_ammonia(ph: float, celsius: float, printed: float) -> None:
    """Within 0.0001, the last printed digit; the column of 15 °C is another print with another constant: 0.6 %."""
    assert un_ionized_fraction(ph, celsius) == pytest.approx(printed, rel=6e-3 if celsius == 15 else 0, abs=1e-4)


# Total ammonia, mg/L, at which 0.02 and 0.05 mg/L are un-ionized (derived from the same constants).
TOTALS = {
    (7.0, 25): (3.55, 8.87),
    (7.5, 25): (1.14, 2.84),
    (8.0, 25): (0.37, 0.93),
    (8.2, 25): (0.24, 0.61),
    (8.5, 25): (0.13, 0.33),
    (7.5, 20): (1.62, 4.04),
    (8.0, 20): (0.53, 1.31),
}


@pytest.mark.parametrize(("water", "totals"), TOTALS.items())
def test_the_total_that_reaches_a_limit(water: tuple[float, float], totals: tuple[float, float]) -> None:
    """Within half the last printed digit; the card rounds down, so it is up to 0.01 mg/L under it."""
    for limit, printed in zip((0.02, 0.05), totals, strict=True):
        assert limit / un_ionized_fraction(*water) == pytest.approx(printed, abs=0.0051)
    if f"{water[0]:g}" in emergency.AT_PH and water[1] == emergency.AT_CELSIUS:
        card = emergency.tan_at(Decimal("0.05"), f"{water[0]:g}")
        assert Decimal(0) <= Decimal(str(totals[1])) - card <= Decimal("0.01")


def printed_steps() -> str:
    return " ".join(step.says for card in emergency.cards(None) for step in card.steps)


def test_the_emergency_cards_say_the_figures_of_the_table() -> None:
    """Oxygen 2 to 5 mg/L, +2 and -1 °C in 24 h, chlorine 0.02 mg/L, ammonia 0.05, nitrite 0.2 and 0.125 mg/L."""
    said = printed_steps()
    oxygen, chlorine = row("oxygen, not below"), row("chlorine, toxic below")
    for words in (
        f"below {oxygen.low} to {oxygen.high} mg/L",
        f"more than {row('temperature, up in 24 h').low} °C up or {row('temperature, down in 24 h').low} °C down",
        f"toxic below {chlorine.low} mg/L",
        f"begins at {row('uia, harm begins').low} mg/L",
        f"over {row('nitrite, fresh').high} mg/L in fresh, {row('nitrite, sea').high} mg/L in salt water, as nitrite",
    ):
        assert words in said


# --- Section 6 -----------------------------------------------------------------------------------------------

# What sources ask before fish may move: kind of criterion, days or None, source, tag.
SIGN_OFF = [
    ("clear_days", 14, COMMON, "CP"),  # no single published number was read
    ("days_since_dose", 14, COMMON, "CP"),
    ("feeding_days", None, "zoo practice: healthy and eating well, year not stated", "R2"),
    ("days_since_death", None, ZOOS, "R"),  # none unexplained, necropsy of each
    ("period", None, ZOOS, "R"),
    ("fish_added", None, "DAFF Australia, Import industry advice 41-2025, 2025", "R"),
]


@pytest.mark.parametrize("name", sorted(PERIOD_OF))
def test_sign_off_asks_for_what_sources_ask_and_calls_the_rest_a_choice(name: str) -> None:
    """Each criterion with a number of days has the number of the table or more, and its reference says that no source
    gives it; fish added start it again; a period, the head count and all tasks are asked for."""
    protocol = load(name)
    known = {kind: days for kind, days, _, _ in SIGN_OFF}
    asked = {one.kind for one in protocol.criteria}
    assert {"period", "clear_days", "days_since_death", "counts", "tasks"} <= asked
    # A course that may never begin asks for days without a drug in the water instead.
    free = any(period.counts == "drug-free" for period in protocol.periods)
    assert ("days_since_dose" in asked or free) == protocol.medicated
    for one in protocol.criteria:
        if one.kind not in ("clear_days", "feeding_days", "days_since_death", "days_since_dose"):
            continue
        assert int(one.value) >= (known[one.kind] or 0)
        reference = protocol.references[one.reference]
        assert reference.status == "common practice"
        assert str(one.value) in reference.cite
    assert protocol.events["fish_added"] == protocol.events["outbreak"] == "restart"


def test_acclimation_stays_within_what_sources_say() -> None:
    """Float until under 2 °C, about 30 min for 4 to 5 °C (Lim, Dhert and Sorgeloos, Aquaculture Research 34:923-935,
    2003, second-hand), else 15 to 20 min (an Indian veterinary e-course, year not stated); under 1 °F a minute (a fish
    farm's page, year not stated, not peer reviewed); jumps of 5 to 6 °C for carp fingerlings (a veterinary dictionary,
    year not stated); a day under 0.6 °C (PET_FISH); a bag closed over 1 to 2 h is not dripped (several pages, common
    practice); 0.001 of specific gravity (common practice); going up by more than 2 to 3 g/L, pH over 1.0 apart, 1 to
    2 °C, 1 g/L and pH 0.3 to 0.5 before a move (from memory)."""
    assert acclimation.FLOATED_CELSIUS == 2
    assert (acclimation.FLOAT_MINUTES, acclimation.FLOATED_FROM_CELSIUS) == (30, 5)
    assert 15 <= acclimation.SHORT_FLOAT_MINUTES <= 20
    assert acclimation.CELSIUS_PER_STEP * 1.8 < 1
    assert acclimation.JUMP_CELSIUS == 5
    assert Decimal(str(acclimation.CELSIUS_PER_DAY)) == Decimal(row("temperature, a day").high)
    assert 1 <= acclimation.CLOSED_HOURS_MOST <= 2
    assert 2 <= acclimation.UP_IN_STEPS <= 3
    assert acclimation.PH_JUMP == 1
    moved = (acclimation.MATCHED_CELSIUS, acclimation.MATCHED_SALINITY, acclimation.MATCHED_PH)
    assert moved == (1, 1, 0.3)
    # 6 h LC50 of fry from pH 8.1: 9.39 to 10.22 (Pence, thesis, Texas State Univ., year not stated): 9 is under all.
    assert min(9.39, 9.72, 9.87, 10.22) > acclimation.PH_KILLS


# --- Citations -----------------------------------------------------------------------------------------------

YEAR = re.compile(r"\b(1[89]|20)\d\d\b|year (of the copy )?not (stated|recorded)|(19|20)\d\d/\d\d")
UNSOURCED = ("common practice", "from memory")


def test_every_source_of_a_template_names_its_year_or_says_that_it_is_not_stated() -> None:
    """Publisher, title, number, year: a citation that was read or told second-hand has the last of them."""
    without = [
        (name, key)
        for name in shipped()
        for key, one in load(name).references.items()
        if one.status not in UNSOURCED and not YEAR.search(one.cite)
    ]
    assert without == []


def test_one_source_is_cited_in_one_way() -> None:
    """A key of the notes stands for the same words in every entry of the formulary and its lists."""
    cites: dict[str, set[str]] = {}
    lists = groups.shipped().references.items()
    for key, cite in [
        *((key, one.cite) for entry in formulary.load_all() for key, one in entry.references.items()),
        *((key, one.cite) for key, one in lists),
    ]:
        cites.setdefault(key, set()).add(cite)
        assert YEAR.search(cite), cite
    assert {key: found for key, found in cites.items() if len(found) > 1} == {}


@pytest.mark.parametrize("module", [advice, readiness, acclimation, emergency])
def test_every_source_in_the_code_names_its_year(module: object) -> None:
    """The constants of the rooms that cite: a year, or "year not stated", or that there is no source."""
    named = {
        key: value
        for key, value in vars(module).items()
        if isinstance(value, str)
        and re.fullmatch(r"S\d+|EDIS|DEFRA|ZERO|SWING|IRELAND|DISPLAY|ADVOCATE|TAP|[A-Z]+SON", key)
    }
    assert named
    assert [key for key, value in named.items() if not YEAR.search(value)] == []


def test_no_brand_or_address_of_a_shop_stands_in_a_template() -> None:
    """Sources are cited by publisher and title; an address of a page is no citation."""
    for path in shipped().values():
        assert "http" not in path.read_text(encoding="utf-8")
