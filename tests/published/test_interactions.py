"""Every row of the notes on interactions and washout (treatment notes, section 3): the hold happens or the caution
stands.

Sources as the notes give them: [S17] Univ. of Florida IFAS FA-37, 1997 (reprint); [S15] IFAS FA157, year not stated;
[S22] Bills, Toxicity of formalin, malachite green, and the mixture, 1974; [S72] Malachite green, methylene blue and
formalin on zebrafish embryos (not dated); [S05] IFAS FA008, year not stated; [S10] US Fish and Wildlife Service, Fish
Hatchery Management, 1982; [S07] Global Seafood Alliance, Copper use in aquaculture, year not stated; [S71] a veterinary
text on routes of administration (not identified); [S61] Thomas et al., PeerJ e1857, 2016; [S64] Fredricks et al.,
Aquaculture Research 49:3207-3217, 2018; [S67] Keck, Blanc, Aquatic Living Resources 15:361-370, 2002; [S27] Lin et al.,
J. Taiwan Fisheries Research 11:47-56, 2003. The rest is from memory or common practice, no source, as each test says.
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from itertools import permutations
from pathlib import Path

import pytest

from quarantine import formulary
from quarantine.dosing import Hold, Setting, propose
from quarantine.dosing.pairs import change_hold, pair_cautions, pair_hold
from quarantine.facts import Fact
from quarantine.water.ledger import Water
from quarantine.water.level import UNKNOWN, Level

sys.path.insert(0, str(Path(__file__).parent.parent / "plan"))  # the history helper of the tests of the plan

NOW = datetime(2026, 3, 1, 12, tzinfo=UTC)


def water(levels: dict[str, Level] | None = None, facts: tuple[Fact, ...] = (), kind: str = "fresh") -> Setting:
    return Setting(
        kind=kind,
        zone="UTC",
        now=NOW,
        volume=Water(200.0, 2.0),
        volume_says="measured",
        levels=levels or {},
        doses=tuple(f for f in facts if f.kind == "dose"),
        evidence=None,
        scale_step_grams=Decimal("0.01"),
        readings=tuple(f for f in facts if f.kind == "reading"),
    )


def dose(substance: str, hours: int, route: str = "bath", regimen: str = "") -> Fact:
    at = NOW - timedelta(hours=hours)
    data = {"substance": substance, "route": route, "mass_mg": "400", "target_mg_per_l": "2"}
    return Fact(
        f"d{hours}", "dose", at, at, "k", "S", "T", None, None, data | ({"regimen": regimen} if regimen else {})
    )


def reading(name: str, value: str, hours: int, step: str = "0.1") -> Fact:
    at = NOW - timedelta(hours=hours)
    data = {"parameter": name, "value": value, "step": step, "unit": "", "water": "fresh"}
    return Fact(f"{name}{hours}", "reading", at, at, "k", "S", "T", None, None, data)


def meeting(asked: str, there: str, level: Level | None = None) -> Hold | None:
    substance = formulary.load(asked)
    found = water({there: level or Level(0.0, 0.001)})
    return pair_hold(substance, substance.regimens[0], found)


NEVER = [
    # line of the notes, the two substances, a word of why
    ("formalin + permanganate: the mixture can explode [S17]", "formalin", "potassium-permanganate", "explode"),
    ("permanganate + any medication: cancelled (common practice)", "potassium-permanganate", "metronidazole", ""),
    ("permanganate + peroxide: redox (common practice; S15)", "potassium-permanganate", "hydrogen-peroxide", "neutral"),
    ("formalin + malachite green: strictly additive in trout [S22]", "formalin", "malachite-green", "add up"),
    ("formalin + malachite green + methylene blue [S72]", "malachite-green", "methylene-blue", "calcium"),
    ("formalin + methylene blue [S72]", "formalin", "methylene-blue", ""),
    ("copper + formalin: said to raise free copper (common practice)", "copper", "formalin", "free copper"),
    ("levamisole + organophosphate (from memory)", "levamisole", "trichlorfon", "cholinergic"),
    ("oxidisers are kept apart [S14]", "chloramine-t", "hydrogen-peroxide", ""),
]  # fmt: skip


@pytest.mark.parametrize(("line", "one", "other", "why"), NEVER, ids=[row[0] for row in NEVER])
def test_a_pair_that_is_never_mixed_holds_both_ways_while_any_is_in_the_water(
    line: str, one: str, other: str, why: str
) -> None:
    """However little the upper bound says, and where the level is not known; out of the water it holds no more."""
    for asked, there in permutations((one, other)):
        for level in (Level(0.0, 0.001), UNKNOWN):
            hold = meeting(asked, there, level)
            assert hold is not None
            assert hold.rule == "what must not be mixed"
            assert why in hold.says
            assert hold.reference
            assert "all of the water" in hold.remedy
        assert meeting(asked, there, Level(0.0, 0.0)) is None


@pytest.mark.parametrize(("one", "other"), list(permutations(("formalin", "potassium-permanganate"))))
def test_formalin_and_permanganate_are_kept_apart_on_the_shelf_too(one: str, other: str) -> None:
    """[S17]: never, also not in storage: the card of each says so."""
    name = formulary.load(other).name
    said = pair_cautions(formulary.load(one), water())
    assert any(line.startswith(f"Do not keep it together with {name}") for line in said)


def test_bleach_is_kept_from_ammonia_and_formalin() -> None:
    """Bleach with ammonia, acid, formalin or quats: from memory; no entry of it, so the disinfection step says it."""
    from quarantine import readiness

    assert any("bleach with acid, ammonia, formalin" in str(value) for value in vars(readiness).values())


UNSEEN = [
    ("potassium-permanganate", "water conditioner", "wait 4 days"),
    ("chloramine-t", "water conditioner", "Thiosulfate cancels it"),
    ("copper", "carbonate media", "carbonate takes copper out"),
    ("copper", "dilution by soft water", "test again before a top-up"),
]


@pytest.mark.parametrize(("substance", "other", "why"), UNSEEN)
def test_what_no_record_shows_stands_as_a_caution_on_the_card(substance: str, other: str, why: str) -> None:
    """Permanganate and chloramine-T with conditioner (common practice; from memory), copper with media [S07] and with
    soft water [S05, S10]."""
    said = pair_cautions(formulary.load(substance), water())
    assert any(line.startswith(f"With {other}: ") and why in line for line in said)


def test_carbon_uv_ozone_and_skimmer_are_off_before_a_bath() -> None:
    """[S71]: cut or destroy the drug; the skimmer from memory. Every substance that is added to the water says it."""
    for substance in formulary.load_all():
        baths = [r for r in substance.regimens if r.route in ("bath", "prolonged") and r.tier == "ready"]
        if baths and {"drug", "dye", "oxidiser", "metal", "disinfectant"} & set(substance.classes):
            done = {item.item: item.do for item in substance.equipment}
            assert done["carbon"] == "off", substance.id


def test_oxytetracycline_and_quinolones_say_that_hard_and_sea_water_bind_them() -> None:
    """[S71]; [S18] IFAS FA084 (reprint): expect loss of activity by chelation."""
    for name in ("oxytetracycline", "oxolinic-acid", "nalidixic-acid"):
        entry = formulary.load(name)
        notes = (
            *entry.water_limits,
            *entry.cautions,
            *entry.loss_notes,
            *(n for r in entry.regimens for n in r.cautions),
        )
        text = " ".join(note.text for note in notes)
        assert "hard water" in text.casefold(), name


def test_praziquantel_repeated_says_that_each_later_dose_lasts_shorter() -> None:
    """[S61]: microbial breakdown. Said on the second card, not on the first, and no hold."""
    substance = formulary.load("praziquantel")
    again = "In one mature tank each later dose lasts a shorter time."
    assert again not in pair_cautions(substance, water())
    assert again in pair_cautions(substance, water(facts=(dose("praziquantel", 24 * 9),)))
    assert meeting("praziquantel", "praziquantel") is None


def test_a_bath_that_harms_the_filter_says_so() -> None:
    """[S64], [S67]: from about 100 uL/L of formalin nitrification suffers for over 8 days."""
    entry = formulary.load("formalin")
    (line,) = [s for s in entry.sensitive if s.group == "filter bacteria"]
    assert "100 uL/L" in line.note.text
    assert line.note.reference == "S64, S67"


ANTIBIOTICS = [s.id for s in formulary.load_all() if "antibiotic" in s.classes]


@pytest.mark.parametrize("other", [name for name in ANTIBIOTICS if name != "metronidazole"])
def test_two_antibiotics_are_given_one_at_a_time_by_whatever_route(other: str) -> None:
    """General advice, from memory. In the water while any is left; in food until the next dose would be due."""
    hold = meeting("metronidazole", other)
    assert hold is not None
    assert hold.rule == "what must not be mixed"
    substance = formulary.load("metronidazole")
    row = substance.regimens[0]
    fed = pair_hold(substance, row, water(facts=(dose(other, 12, "food"),)))
    assert fed is not None
    assert "course" in fed.says
    assert "quarantine vet add" in fed.remedy
    assert pair_hold(substance, row, water(facts=(dose(other, 25, "food"),))) is None


def test_a_salt_dose_and_a_drug_are_not_of_one_day() -> None:
    """From memory; toxicity rises with temperature for six agents [S27]. Both ways, and only on that day."""
    salty = {"sodium-chloride": Level(900.0, 1000.0)}
    for hours, is_held in ((3, True), (25, False)):
        for asked in ("metronidazole", "formalin", "copper"):
            substance = formulary.load(asked)
            found = water(salty, (dose("sodium-chloride", hours),))
            assert (pair_hold(substance, substance.regimens[0], found) is not None) is is_held


CHANGES = [
    ("temperature", "25", "22.5", True),  # 2.5 °C up: over 2 by more than the kits hide
    ("temperature", "24", "25.5", True),  # 1.5 °C down: over 1
    ("temperature", "25", "23.2", False),  # 1.8 °C up: not over 2
    ("ph", "7.8", "7", True),  # 0.8: over 0.3
    ("ph", "7.2", "7", False),
    ("salinity", "4", "1", True),  # 3 g/L: over 1
    ("salinity", "1.5", "1", False),
]


@pytest.mark.parametrize(("name", "now", "was", "is_held"), CHANGES)
def test_a_change_of_temperature_ph_or_salinity_holds_a_drug_for_a_day(
    name: str, now: str, was: str, is_held: bool
) -> None:
    """From memory as a rule. How fast is fast: over +2 or -1 °C in 24 h (Hadfield, Clayton, Clinical Guide to Fish
    Medicine, year not recorded, row S50 of the notes); pH 0.3 a day (common practice); salinity 1 g/L (from memory)."""
    substance = formulary.load("metronidazole")
    for hours, holds in ((20, is_held), (30, False)):
        found = water(facts=(reading(name, was, hours), reading(name, now, 1)))
        hold = change_hold(substance, substance.regimens[0], found)
        assert (hold is not None) is holds
        assert hold is None or hold.rule == "what must not be mixed"


def test_no_published_washout_was_found_and_the_entries_say_so() -> None:
    """The notes: no published day count; two changes of 50 %, 24 h of carbon and 24 to 48 h of rest are a proposal."""
    found = [p for s in formulary.load_all() for p in s.incompatible if p.rule == "wash out first"]
    assert found
    for pair in found:
        assert pair.note.status == "PROPOSAL"
        assert "No published number of days was found" in pair.note.text


def test_F10_a_second_drug_waits_for_the_rest_after_the_first_and_both_dates_are_shown() -> None:
    """Out of the water at 20:00 the day before: held until 24 h later, with both days."""
    from history import History

    history = History("marine-praziquantel")
    history.looks(0, 9)
    history.read(10, "08:00", temperature="25", tan="0", nitrite="0", ph="8", salinity="32", oxygen="6")
    history.dose(history.at(5, "10:00"))
    history.change(9, "20:00", 202)
    for clock, day, is_held in (("12:00", 10, True), ("20:00", 10, False)):
        at = history.at(day, clock)
        found = water(kind="marine")._replace(
            now=at,
            evidence=history.evidence(at),
            doses=tuple(f for f in history.facts if f.kind == "dose"),
            levels={"praziquantel": Level(0.0, 0.0)},
        )
        substance = formulary.load("metronidazole")
        hold = pair_hold(substance, substance.regimens[0], found)
        assert (hold is not None) is is_held
        if hold is not None:
            assert "was given 2026-02-15 and left the water 2026-02-19" in hold.says
            assert "No published number of days was found" in hold.says


def test_every_pair_names_something_that_is_there() -> None:
    """A class, an event or a substance: a pair with a name that nothing has would never hold."""
    known = {*formulary.names(), *formulary.CLASSES, *formulary.EVENTS}
    for substance in formulary.load_all():
        assert {pair.other for pair in substance.incompatible} <= known, substance.id


def test_a_hold_for_a_pair_stands_before_any_amount() -> None:
    """Through the whole card: permanganate in the water, metronidazole asked for."""
    proposal = propose(*formulary.regimen("M01"), water({"potassium-permanganate": Level(0.0, 0.5)}))
    assert proposal.hold is not None
    assert proposal.hold.rule == "what must not be mixed"
    assert proposal.dose.add is None
