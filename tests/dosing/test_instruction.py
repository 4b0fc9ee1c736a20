"""A veterinarian's instruction passes exactly what it names, and nothing passes a ceiling or what is not known."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest
from history import History
from test_amounts import NOW, setting
from test_holds import GATE, check, good, held

from quarantine.dosing import Instruction, Proposal, Setting, in_force, instruction_for, propose
from quarantine.facts import Fact
from quarantine.formulary import load, load_all, regimen
from quarantine.quantity import Quantity
from quarantine.water.level import UNKNOWN, Level

DAY = NOW.date()


def said(row: str, dose: str, unit: str = "mg/L", *passes: str, batch: str = "B") -> Instruction:
    words = "bathe them once"
    return Instruction(
        "i1", batch, "Q1-1", row, Decimal(dose), unit, "a practice", "2026-02-19", "2026-03-01", words, passes
    )


def under(*instructions: Instruction, kind: str = "fresh", **how: object) -> Setting:
    made = setting(kind=kind, history=good())._replace(instructions=instructions)
    return made._replace(**how)  # type: ignore[arg-type]


def asked(row: str, found: Setting, **how: object) -> Proposal:
    return propose(*regimen(row), found, **how)  # type: ignore[arg-type]


def test_a_trial_is_held_without_an_instruction_and_its_hold_names_the_command() -> None:
    """Z04 is a published trial: its hold says how an instruction is recorded."""
    hold = held(asked("Z04", under()))
    assert hold.rule == "tier"
    assert "quarantine vet add" in hold.remedy
    assert "--regimen Z04" in hold.remedy


def test_the_dose_of_the_instruction_is_used_and_never_the_default_of_the_entry() -> None:
    """Z04's own figure is 0.75 mg/L; instructed are 3 mg/L: 3 x 200 L = 600 mg, and the card says on whose word."""
    proposal = asked("Z04", under(said("Z04", "3")))
    assert proposal.hold is None
    assert (proposal.dose.target, proposal.dose.add) == (Decimal(3), Decimal("0.6"))
    assert proposal.how[0] == (
        'On the instruction of a practice, 2026-02-19: Z04, 3 mg/L, until 2026-03-01: "bathe them once". '
        "Without it the target is 0.75 mg/L."
    )


def test_neither_the_target_of_a_template_nor_a_default_beats_an_instruction() -> None:
    """A ready row with a template's target of 2 mg/L, instructed at 1.5 mg/L: 0.3 g for 200 L."""
    found = under(said("Z01", "1.5"), kind="marine")
    assert asked("Z01", found, target=Quantity(Decimal(2), "mg/L")).dose.add == Decimal("0.3")


@pytest.mark.parametrize("other", [said("Z05", "3"), said("Z04", "3", batch="another")])
def test_it_passes_its_own_regimen_and_batch_only(other: Instruction) -> None:
    """An instruction for another regimen, or for another batch, passes nothing here."""
    assert held(asked("Z04", under(other))).rule == "tier"


def test_B2_every_batch_in_the_water_needs_the_same_instruction() -> None:
    """A dose goes to all fish of the water: one batch's instruction is none for the other, nor is another dose."""
    beside = good().evidence(NOW)._replace(batch="C")
    alone = under(said("Z04", "3"), others=(beside,))
    assert held(asked("Z04", alone)).rule == "tier"
    both = under(said("Z04", "3"), said("Z04", "3", batch="C"), others=(beside,))
    assert asked("Z04", both).hold is None
    apart = under(said("Z04", "3"), said("Z04", "2", batch="C"), others=(beside,))
    assert held(asked("Z04", apart)).rule == "tier"


def test_without_a_batch_there_is_no_instruction() -> None:
    """A water without a batch has nobody it was given for."""
    found = setting(kind="fresh")._replace(instructions=(said("Z04", "3"),))
    assert held(asked("Z04", found)).rule == "tier"


@pytest.mark.parametrize("row", [r.id for s in load_all() for r in s.regimens if r.tier == "refused"])
def test_what_is_on_record_to_be_refused_is_never_given(row: str) -> None:
    """Nitrofurans, trichlorfon, ivermectin and the rest: no instruction is even found for them, and none is offered."""
    target = regimen(row)[1].target
    made = said(row, "1", target.low.unit if target else "mg/L", "gate", "mixing")
    for kind in ("fresh", "marine"):
        hold = held(asked(row, under(made, kind=kind)))
        assert "vet add" not in hold.remedy
    assert instruction_for(regimen(row)[1], under(made)) is None


# --- The gate ------------------------------------------------------------------------------------------------


def early() -> Setting:
    """Day 2: too early, and nobody has eaten on two looked days."""
    history = History("marine-praziquantel")
    at = history.at(2, "12:00")
    found = setting()._replace(now=at, evidence=history.evidence(at))
    return found._replace(instructions=(said("Z01", "2")._replace(on="2026-02-11"),))


def test_C8_the_gate_is_passed_only_where_the_instruction_says_so() -> None:
    """Day 2: held with the instruction alone, given with --passes gate."""
    hold = held(asked("Z01", early(), before=GATE))
    assert hold.rule == "C8"
    assert "--passes gate" in hold.remedy
    passing = early()
    passing = passing._replace(instructions=tuple(i._replace(passes=("gate",)) for i in passing.instructions))
    assert asked("Z01", passing, before=GATE).hold is None


@pytest.mark.parametrize("parameter", ["alkalinity", "hardness", "salinity", "ph"])
def test_a_check_that_is_no_part_of_the_gate_is_never_passed(parameter: str) -> None:
    """An unknown alkalinity stays unknown, whoever instructed."""
    unknown = check(kind="reading", value=parameter, low="50", unit="mg/L", within_hours=24)
    history = good()
    history.facts = [f for f in history.facts if f.data.get("parameter") != parameter]
    found = setting(history=history)._replace(instructions=(said("Z01", "2", "mg/L", "gate", "mixing"),))
    hold = held(asked("Z01", found, before=(unknown,)))
    assert hold.rule == "C8"
    assert "vet add" not in hold.remedy


# --- What nothing passes -------------------------------------------------------------------------------------


EVERYTHING = ("gate", "mixing", "fish-added")


def test_nothing_passes_a_ceiling() -> None:
    """Z01's ceiling is 10 mg/L: instructed at 11 it is held and never quietly made smaller; at 10 it is given."""
    hold = held(asked("Z01", under(said("Z01", "11", "mg/L", *EVERYTHING), kind="marine")))
    assert (hold.rule, hold.figure, hold.figure_unit) == ("ceiling", "10", "mg/L")
    assert "no instruction passes a ceiling" in hold.remedy
    assert asked("Z01", under(said("Z01", "9", "mg/L"), kind="marine")).hold is None


def test_nothing_passes_the_level_that_a_dose_would_reach() -> None:
    """9 mg/L are there already: 2 mg/L more could be over 10 mg/L, instructed or not."""
    found = under(said("Z01", "2", "mg/L", *EVERYTHING), kind="marine", levels={"praziquantel": Level(8.5, 9.0)})
    assert held(asked("Z01", found)).rule == "ceiling"


def test_the_published_range_is_passed_as_far_as_the_dose_of_the_instruction() -> None:
    """Z01 is published at 2 mg/L: 5 mg/L is over its range without an instruction, and given with one."""
    wanted = Quantity(Decimal(5), "mg/L")
    hold = held(asked("Z01", under(kind="marine"), target=wanted))
    assert hold.rule == "published range"
    assert "quarantine vet add" in hold.remedy
    assert asked("Z01", under(said("Z01", "5"), kind="marine"), target=wanted).hold is None


@pytest.mark.parametrize(
    ("rule", "changes"),
    [
        ("C2", {"volume": None}),
        ("C12", {"levels": {"praziquantel": UNKNOWN}}),
        ("C10", {"short_litres": Decimal(50)}),
    ],
)
def test_nothing_passes_what_is_not_known_of_the_water(rule: str, changes: dict[str, object]) -> None:
    """Volume, level and the mark."""
    found = under(said("Z01", "2", "mg/L", *EVERYTHING), kind="marine", **changes)
    assert held(asked("Z01", found)).rule == rule


def test_C9_nothing_passes_an_emergency_but_a_named_person() -> None:
    """An A sign holds an instructed dose like any other."""
    history = good()
    history.look(9, "12:00", signs=("gasping",))
    found = setting(history=history)._replace(instructions=(said("Z01", "2", "mg/L", *EVERYTHING),))
    assert held(asked("Z01", found)).rule == "C9"


def test_what_must_never_be_mixed_is_never_passed_and_the_rest_only_where_named() -> None:
    """Praziquantel beside metronidazole waits for it to wash out, or is instructed; a "never" pair stays."""
    there = {"praziquantel": Level(0.0, 1.0)}
    hold = held(asked("M01", under(said("M01", "5"), levels=there)))
    assert hold.rule == "what must not be mixed"
    assert "--passes mixing" in hold.remedy
    assert asked("M01", under(said("M01", "5", "mg/L", "mixing"), levels=there)).hold is None
    never = {"potassium-permanganate": Level(0.0, 1.0)}
    found = under(said("M01", "5", "mg/L", *EVERYTHING), levels=never)
    stays = held(asked("M01", found))
    assert stays.rule == "what must not be mixed"
    assert "vet add" not in stays.remedy


# --- Animals -------------------------------------------------------------------------------------------------


def test_a_sensitive_group_is_passed_by_its_name_and_no_other() -> None:
    """Copper on a dwarf angelfish: the group has to be named in the instruction."""
    from quarantine.dosing.animals import species_hold

    copper = load("copper")
    row = next(r for r in copper.regimens if r.id == "C04")
    found = setting()._replace(species=("Centropyge loricula",))
    for passed, is_held in ((("danios",), True), (("dwarf-angelfish",), False)):
        one = said("C04", "0.18", "mg/L Cu", *passed)
        assert (species_hold(copper, row, found, one) is not None) is is_held


# --- In force ------------------------------------------------------------------------------------------------


def fact(kind: str, hours: int, **data: object) -> Fact:
    at = NOW + timedelta(hours=hours)
    return Fact(f"f{hours:03}", kind, at, at, "keeper", "S", "T", "B", None, dict(data))


def instructed(hours: int, dose: str) -> Fact:
    days = {"on": "2026-02-10", "until": "2026-02-20"}
    return fact("instruction", hours, regimen="Z04", dose=dose, dose_unit="mg/L", who="a", words="w", passes=[], **days)


def doses(facts: list[Fact], day: str) -> list[str]:
    return [str(one.dose) for one in in_force(facts, date.fromisoformat(day), {"B": "Q1-1"})]


def test_an_instruction_holds_from_its_first_to_its_last_day() -> None:
    """Both days included, and not a day before or after."""
    facts = [instructed(0, "3")]
    assert doses(facts, "2026-02-09") == []
    assert doses(facts, "2026-02-10") == ["3"]
    assert doses(facts, "2026-02-20") == ["3"]
    assert doses(facts, "2026-02-21") == []


def test_the_newest_of_one_regimen_rules_and_a_withdrawn_one_does_not_come_back() -> None:
    """3 mg/L, then 2 mg/L: 2; withdrawn: none, not 3 again."""
    facts = [instructed(0, "3"), instructed(1, "2")]
    assert doses(facts, "2026-02-15") == ["2"]
    assert doses([*facts, fact("instruction_withdrawn", 2, regimen="Z04")], "2026-02-15") == []
    assert doses([*facts, fact("instruction_withdrawn", 2, regimen="Z05")], "2026-02-15") == ["2"]
