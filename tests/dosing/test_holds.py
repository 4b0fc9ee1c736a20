"""Every reason that holds a dose: its rule, its reference or that it is our choice, and what to do."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from history import History
from test_amounts import NOW, setting

from quarantine.dosing import AT_THE_MARK, Hold, Proposal, Setting, propose
from quarantine.facts import Condition, Fact
from quarantine.failures import Refused
from quarantine.formulary import Figure, Limit, Note, Regimen, Substance, load_all, regimen
from quarantine.quantity import read
from quarantine.water.level import UNKNOWN, Level

CARBON_OUT = "Carbon is out; UV, ozone and skimmer are off"
GATE = next(s for s in History("marine-praziquantel").protocol.steps if s.id == "dose").before


def good() -> History:
    """A batch on day 10 that passes every before-check of the marine template."""
    history = History("marine-praziquantel")
    history.looks(0, 9)
    history.read(9, "10:00", temperature="25")
    history.read(10, "08:00", temperature="25", tan="0", nitrite="0", ph="8", salinity="32", oxygen="6")
    return history


def gated(history: History, before: tuple[Condition, ...] = GATE) -> Proposal:
    return propose(*regimen("Z01"), setting(history=history), before=before)


def held(proposal: Proposal) -> Hold:
    """The hold, checked for what every hold has to have."""
    assert proposal.hold is not None
    assert proposal.dose.add is None
    assert proposal.dose.gives_high is None
    hold = proposal.hold
    assert hold.rule
    assert hold.says
    assert hold.remedy
    assert hold.reference
    assert hold.as_json()["rule"] == hold.rule
    return hold


def row_of(name: str, **changes: object) -> tuple[Substance, Regimen]:
    substance, row = regimen(name)
    return substance, row._replace(**changes)  # type: ignore[arg-type]


def test_a_batch_that_passes_every_check_is_given_its_dose() -> None:
    """Nothing is held, and the card asks for the words to be confirmed."""
    proposal = gated(good())
    assert proposal.hold is None
    assert proposal.dose.add == Decimal("0.4")
    assert proposal.confirm == (CARBON_OUT, AT_THE_MARK)


@pytest.mark.parametrize("row", ["Z04", "Z09", "Z10", "T05"])
def test_what_is_not_ready_is_held_with_its_tier(row: str) -> None:
    """A trial, an instruction, a refused row: none is shown as a dose, and what is ready is named."""
    hold = held(propose(*regimen(row), setting(kind="fresh")))
    assert hold.rule == "tier"
    assert "veterinarian" in hold.remedy


def test_every_regimen_without_a_dose_says_why() -> None:
    """All rows of the formulary in fresh and in marine water: a dose, or a hold with all it has to have."""
    seen = set()
    for substance in load_all():
        for row in substance.regimens:
            for kind in ("fresh", "marine"):
                proposal = propose(substance, row, setting(kind=kind))
                seen.add(held(proposal).rule if proposal.hold else "dose")
    assert {"dose", "tier", "water", "in food", "C15", "unit of the target"} <= seen


def test_in_food_is_not_sized_by_the_water() -> None:
    """M02 needs the weight of the fish."""
    assert held(propose(*regimen("M02"), setting(kind="fresh"))).rule == "in food"


def test_C15_a_dip_is_never_made_in_the_tank() -> None:
    """T01 is held wherever it is asked for."""
    hold = held(propose(*regimen("T01"), setting(kind="fresh")))
    assert hold.rule == "C15"
    assert "own vessel" in hold.says


def test_C17_a_target_in_another_unit_is_not_computed_with() -> None:
    """Chloride by nitrite, or microlitres of a solution per litre: held, never taken for mg/L."""
    assert held(propose(*regimen("T11"), setting(kind="fresh"))).rule == "unit of the target"
    substance, row = regimen("Z01")
    assert row.target is not None
    liquid = Figure(Decimal(25), "uL/L", "S43", "READ")
    row = row._replace(target=row.target._replace(low=liquid, high=liquid, default=liquid))
    assert held(propose(substance, row, setting())).rule == "unit of the target"


def test_C17_a_bare_ppm_for_a_liquid_is_refused() -> None:
    """ppm is mg/L for what is weighed and nothing at all for a liquid."""
    with pytest.raises(Refused, match="uL/L"):
        read("25 ppm", "volume_ratio")


def test_the_kind_of_water_must_be_the_published_one() -> None:
    """Z01 is for marine water, M01 for fresh."""
    assert held(propose(*regimen("Z01"), setting(kind="fresh"))).rule == "water"
    assert held(propose(*regimen("M01"), setting(kind="marine"))).rule == "water"


def test_C2_without_a_volume_there_is_no_dose() -> None:
    """Unknown litres, or litres whose error is as large as they are, ask for the tank to be measured."""
    for water in (setting()._replace(volume=None), setting(20.0, 20.0), setting(20.0, 25.0)):
        hold = held(propose(*regimen("Z01"), water))
        assert hold.rule == "C2"
        assert "measure the tank" in hold.remedy


def test_C12_an_unknown_level_is_held() -> None:
    """After an addition of unknown size nobody knows what the dose would make of it."""
    hold = held(propose(*regimen("Z01"), setting(levels={"praziquantel": UNKNOWN})))
    assert hold.rule == "C12"
    assert "change all of the water" in hold.remedy


# --- C9 ------------------------------------------------------------------------------------------------


def test_C9_an_a_sign_holds_until_a_person_lifts_it() -> None:
    """Not the sign's end, not the passing of days: a named person's word."""
    history = good()
    history.look(5, "12:00", signs=("gasping",))
    assert held(gated(history)).rule == "C9"  # said to be gone on day 6, and still held on day 10
    assert "quarantine event lift" in held(gated(history)).remedy
    history.fact("lift", history.at(7), {})
    assert gated(history).hold is None
    history.look(8, "12:00", signs=("gasping",))
    assert held(gated(history)).rule == "C9"


@pytest.mark.parametrize(("fish", "count"), [(40, 2), (10, 1)])
def test_C9_two_deaths_or_over_five_percent_hold_until_they_are_lifted(fish: int, count: int) -> None:
    """Explained or not, and on the days after as well."""
    history = good()
    history.fish = fish
    history.arrival.data["count"] = fish
    for fact in history.facts:
        if fact.kind == "look":
            fact.data["seen"] = fish
    history.died(8, fish=count, explained=True)
    history.look(9, "18:00")
    assert held(gated(history)).rule == "C9"
    history.fact("lift", history.at(9, "20:00"), {})
    assert gated(history).hold is None


@pytest.mark.parametrize(
    ("name", "value", "kind", "is_held"),
    [
        ("oxygen", "4.9", "marine", True),
        ("oxygen", "5", "marine", False),
        ("nitrite", "0.13", "marine", True),
        ("nitrite", "0.12", "marine", False),
        ("nitrite", "0.2", "fresh", False),
        ("nitrite", "0.21", "fresh", True),
    ],
)
def test_C9_water_out_of_limit_holds_every_dose_even_without_a_template(
    name: str, value: str, kind: str, is_held: bool
) -> None:
    """A dose that no template asked for is held by the last reading all the same, until it is lifted."""
    history = good()
    history.read(10, "08:30", **{name: value})
    row = "Z01" if kind == "marine" else "M01"
    proposal = propose(*regimen(row), setting(kind=kind, history=history))
    assert (proposal.hold is not None) is is_held
    if is_held:
        assert held(proposal).rule == "C9"
        history.fact("lift", history.at(10, "08:45"), {})
        assert propose(*regimen(row), setting(kind=kind, history=history)).hold is None


def test_C9_ammonia_is_held_by_its_worse_end() -> None:
    """1 mg/L at pH 8 and 25 °C is over 0.05 mg/L of un-ionized ammonia."""
    history = good()
    history.read(10, "08:30", tan="1", ph="8", temperature="25")
    hold = held(propose(*regimen("Z01"), setting(history=history)))
    assert (hold.rule, hold.figure_unit) == ("C9", "mg/L")


# --- Spacing and pairs ---------------------------------------------------------------------------------


def given_at(n: int, clock: str = "10:00", substance: str = "praziquantel") -> tuple[Fact, ...]:
    history = History("marine-watch")
    return (history.dose(history.at(n, clock), substance=substance),)


def spaced(row: str, doses: tuple[Fact, ...], **how: str) -> Proposal:
    return propose(*regimen(row), setting(doses=doses, **how))  # type: ignore[arg-type]


def test_the_minimum_gap_counts_over_all_doses_given() -> None:
    """Z01 wants four days: given on day 7 it is held on day 10 and free on day 11; free when given on day 6."""
    hold = held(spaced("Z01", given_at(7)))
    assert (hold.rule, hold.figure, hold.figure_unit) == ("minimum gap", "4", "d")
    assert hold.remedy == "wait until 2026-02-21"
    assert spaced("Z01", given_at(6)).hold is None


def test_the_last_dose_counts_whatever_the_order_of_the_record() -> None:
    """The one given last, not the one entered last."""
    assert held(spaced("Z01", (*given_at(9), *given_at(1)))).rule == "minimum gap"


def test_a_gap_in_hours_is_real_hours_and_names_the_time() -> None:
    """48 hours: held for 47, free after 48, and the remedy is a local time."""
    row = row_of("Z02", minimum_gap=Figure(Decimal(48), "h", "S24", "READ"))
    at = NOW - timedelta(hours=47)
    doses = (given_at(1)[0]._replace(at=at),)
    hold = held(propose(*row, setting(doses=doses)))
    assert hold.remedy == "wait until 2026-02-20 10:00"
    assert propose(*row, setting(doses=(doses[0]._replace(at=NOW - timedelta(hours=48)),))).hold is None


def test_without_a_published_gap_two_doses_never_fall_on_one_day() -> None:
    """Z02 states none: our choice is the next day, and it says so."""
    hold = held(spaced("Z02", given_at(10, "00:10")))
    assert (hold.rule, hold.reference) == ("minimum gap", "our choice, no source")
    assert spaced("Z02", given_at(9, "23:50")).hold is None


def test_two_drugs_do_not_meet() -> None:
    """Praziquantel in the water holds metronidazole, whatever its level, until it is out; an unknown level too."""
    for level in (Level(0.0, 0.01), UNKNOWN):
        hold = held(propose(*regimen("M01"), setting(kind="fresh", levels={"praziquantel": level})))
        assert hold.rule == "what must not be mixed"
        assert "Praziquantel is still in the water" in hold.says
    assert propose(*regimen("M01"), setting(kind="fresh", levels={"praziquantel": Level(0.0, 0.0)})).hold is None


def test_a_pair_holds_in_both_directions() -> None:
    """Salt's own entry says not with a drug on the same day: salt of today holds a drug, salt of yesterday does not."""
    levels = {"sodium-chloride": Level(900.0, 1000.0)}
    today = given_at(10, "07:00", "sodium-chloride")
    hold = held(propose(*regimen("M01"), setting(kind="fresh", levels=levels, doses=today)))
    assert (hold.rule, hold.reference) == ("what must not be mixed", "from memory")
    assert hold.remedy.startswith("wait until tomorrow; a veterinarian's instruction")
    yesterday = given_at(9, "07:00", "sodium-chloride")
    assert propose(*regimen("M01"), setting(kind="fresh", levels=levels, doses=yesterday)).hold is None


def test_what_is_only_to_be_known_holds_nothing() -> None:
    """Praziquantel beside itself is a note of its entry and no hold."""
    assert propose(*regimen("Z01"), setting(levels={"praziquantel": Level(0.0, 2.0)})).hold is None


# --- Before-checks (C8) --------------------------------------------------------------------------------


def check(**how: object) -> Condition:
    return Condition(title="the check", **how)  # type: ignore[arg-type]


TAN = check(kind="reading", value="tan", low=None, high="1", unit="mg/L", within_hours=24)

NOT_MET: list[tuple[str, Condition]] = [
    ("not before its day", check(kind="day", value=11)),
    ("they did not eat often enough", check(kind="ate", value=20)),
    ("a C sign is open", check(kind="no_sign", value="C")),
    ("no reading", TAN),
    ("a reading over the limit", check(kind="reading", value="salinity", high="30", unit="g/L", within_hours=24)),
    ("one reading only", check(kind="steady", value="oxygen", low="5", unit="mg/L", within_hours=24)),
    ("too few clear days", check(kind="clear_days", value=30)),
    ("too few feeding days", check(kind="feeding_days", value=30)),
    ("too soon after a death", check(kind="days_since_death", value=30)),
    ("no dose to count from", check(kind="days_since_dose", value=3)),
    ("no level", check(kind="level", value="praziquantel", share="5 %")),
]


@pytest.mark.parametrize(("says", "condition"), NOT_MET, ids=[says for says, _ in NOT_MET])
def test_C8_a_before_check_that_is_not_met_or_unknown_holds(says: str, condition: Condition) -> None:
    """Each kind of check, with what to do about it."""
    history = good()
    history.facts = [f for f in history.facts if f.data.get("parameter") != "tan"]
    history.look(9, "12:00", signs=("colour",))
    hold = held(gated(history, (condition,)))
    assert hold.rule == "C8"
    assert hold.says.startswith("the check: ")


def test_C8_the_count_must_balance_where_a_template_asks_for_it() -> None:
    """39 of 40 seen."""
    history = good()
    history.look(9, "12:00", seen=39)
    assert held(gated(history, (check(kind="counts", value="balanced"),))).rule == "C8"


def test_C8_without_a_batch_no_check_can_be_judged() -> None:
    """The gate of the template stands, and the hold says that no batch is there."""
    hold = held(propose(*regimen("Z01"), setting(), before=GATE))
    assert hold.rule == "C8"
    assert "no batch" in hold.says


def test_C8_the_gate_of_the_shipped_template_day_by_day() -> None:
    """Day 2 is too early, unfed fish wait, and a reading of yesterday does for no dose of today."""
    early = good()
    found = setting(history=early)
    day2 = found._replace(now=early.at(2, "12:00"), evidence=early.evidence(early.at(2, "12:00")))
    assert "day 2, needed: day 3" in held(propose(*regimen("Z01"), day2, before=GATE)).says
    unfed = good()
    for fact in unfed.facts:
        fact.data.pop("appetite", None)
    assert "ate on 0 looked days" in held(gated(unfed)).says
    unread = good()
    unread.facts = [f for f in unread.facts if f.data.get("parameter") != "nitrite"]
    hold = held(gated(unread))
    assert "nitrite: no reading of the last 24 h" in hold.says
    assert hold.reference == "S44"


def test_C8_a_word_may_stand_for_a_reading_that_is_not_known_and_must_then_be_said() -> None:
    """Oxygen unknown: strong aeration is confirmed by giving. Oxygen read as too low: no word helps."""
    history = good()
    history.facts = [f for f in history.facts if f.data.get("parameter") != "oxygen"]
    proposal = gated(history)
    assert proposal.hold is None
    assert proposal.confirm == ("Strong aeration is running", CARBON_OUT, AT_THE_MARK)
    history.read(10, "08:30", oxygen="4")
    held(gated(history))


# --- Limits of the regimen (C14) -----------------------------------------------------------------------


def capped(history: History | None, high: str = "26", low: str | None = None) -> Proposal:
    figure = Figure(Decimal(high), "°C", "S43", "READ")
    floor = None if low is None else Figure(Decimal(low), "°C", "S43", "READ")
    limit = Limit("temperature", floor, figure, "limit", Note("Not over it.", "S43", "READ"))
    return propose(*row_of("Z01", limits=(limit,)), setting(history=history))


def test_C14_the_highest_temperature_of_the_last_24_hours_counts() -> None:
    """25 °C now and 27 °C last night is over a cap of 26 °C; two days ago it would not matter."""
    assert capped(good()).hold is None
    warm = good()
    warm.read(9, "20:00", temperature="27")
    hold = held(capped(warm))
    assert (hold.rule, hold.figure, hold.figure_unit) == ("C14", "27", "°C")
    past = good()
    past.read(8, "20:00", temperature="27")
    assert capped(past).hold is None
    cold = good()
    cold.read(9, "20:00", temperature="19")
    assert held(capped(cold, low="20")).figure == "19"


def test_C14_a_temperature_over_twelve_hours_old_is_unknown() -> None:
    """And unknown is held, as it is without a batch."""
    old = good()
    old.facts = [f for f in old.facts if not (f.kind == "reading" and f.at > old.at(9, "20:59"))]
    assert "no reading of the last 12 h" in held(capped(old)).says
    assert held(capped(None)).says == "temperature is not known"


def test_a_limit_that_no_reading_answers_is_confirmed_by_the_keeper() -> None:
    """So many grams of fish per litre: nobody can read it, so the card asks."""
    limit = Limit("stocking", None, None, "limit", Note("At most 60 g of fish per litre.", "S43", "READ"))
    proposal = propose(*row_of("Z01", limits=(limit,)), setting())
    assert proposal.hold is None
    assert proposal.confirm == (AT_THE_MARK, "At most 60 g of fish per litre.")


def test_a_range_that_was_only_tested_is_no_limit() -> None:
    """ "Tested at" informs and holds nothing."""
    limit = Limit("temperature", None, Figure(Decimal(5), "°C", "S43", "READ"), "tested at", Note("x", "S43", "READ"))
    assert propose(*row_of("Z01", limits=(limit,)), setting()).hold is None


def test_without_a_ceiling_on_record_nothing_is_dosed() -> None:
    """A regimen that lost its ceiling."""
    assert held(propose(*row_of("Z01", ceilings=()), setting())).rule == "ceiling"


def test_a_hold_is_json_with_a_number_where_there_is_one() -> None:
    """The contract: rule, figure, figure_unit, reference, remedy; a severity stays a letter."""
    found = Hold("r", "s", "0.5", "mg/L", "ref", "do").as_json()
    assert found == {
        "rule": "r",
        "says": "s",
        "figure": Decimal("0.5"),
        "figure_unit": "mg/L",
        "reference": "ref",
        "remedy": "do",
    }
    assert Hold("r", "s", "A", "severity", "ref", "do").as_json()["figure"] == "A"


def test_the_first_hold_is_the_one_to_hear_first() -> None:
    """An emergency comes before a gap, a gap before the checks of the template."""
    history = good()
    history.look(10, "08:00", signs=("gasping",))
    found: Setting = setting(history=history, doses=given_at(9))
    assert held(propose(*regimen("Z01"), found, before=(TAN,))).rule == "C9"
    calm: Setting = setting(history=good(), doses=given_at(9))
    assert held(propose(*regimen("Z01"), calm, before=(check(kind="day", value=50),))).rule == "minimum gap"


def test_C1_a_mode_that_is_not_computed_is_never_taken_for_another() -> None:
    """A mode that the row does not allow is held, while those that are computed give a dose."""
    assert held(propose(*regimen("Z01"), setting(), mode="top up to a reading")).rule == "C1"
    assert propose(*regimen("Z01"), setting(), mode="replace removed").hold is None
    assert propose(*regimen("Z01"), setting(), mode="as published").hold is None
    fresh = good()
    fresh.read(10, "08:30", salinity="0.5")
    salty = setting(kind="fresh", history=fresh)
    assert propose(*regimen("T04"), salty, mode="top up to a reading").hold is None
    assert held(propose(*regimen("T04"), salty, mode="as published")).rule == "C1"
