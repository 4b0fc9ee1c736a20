"""A veterinarian's recorded instruction: when it is in force, and what it passes (rule 5.5 of the house, C8 and B2).

It passes exactly what it names, for the regimen, batch and dose it names: the tier of the regimen and its published
range as far as its own dose; and where it says so the gate of the first dose, groups of animals, what is only mixed
on a veterinarian's word, and fish that are added while its substance is in the water. Nothing passes a ceiling,
arithmetic, an unknown volume, level or reading of the water, a pair that is never mixed, an emergency that nobody
has lifted, or a regimen that is on record in order to be refused.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from quarantine.dosing.setting import Instruction, Setting
from quarantine.facts import Condition, Fact, in_order
from quarantine.formulary import Regimen
from quarantine.quantity import Quantity, show

GATE, MIXING, ADDING = "gate", "mixing", "fish-added"
PASSES = {
    GATE: "the checks before a first dose: day, feeding, signs, ammonia, nitrite, temperature, oxygen (rule C8)",
    MIXING: "what is mixed on a veterinarian's word only; never what must never be mixed",
    ADDING: "fish that are added while its substance is in the water (rule B2)",
}
"""What an instruction can pass beside its regimen's tier and range, and a group of animals by its id."""

GATE_KINDS = ("day", "ate", "no_sign")
GATE_READINGS = ("uia", "tan", "nitrite", "temperature", "oxygen")
"""The checks that rule C8 names; a template's other checks (alkalinity, salinity, counts) no instruction passes."""


def in_force(facts: list[Fact], day: date, names: dict[str, str]) -> tuple[Instruction, ...]:
    """The instructions on record for batches of ``names`` (id to name) that hold on a day at the site, oldest first.

    One that was withdrawn holds no more from then on; of several of one batch and regimen the newest rules.
    """
    found: dict[tuple[str, str], Instruction] = {}
    for fact in in_order(facts):
        data = fact.data
        if fact.kind == "instruction_withdrawn":
            found.pop((fact.batch or "", data["regimen"]), None)
        elif fact.kind == "instruction" and fact.batch in names and data["on"] <= day.isoformat():
            found[fact.batch, data["regimen"]] = Instruction(
                id=fact.id,
                batch=fact.batch,
                batch_name=names[fact.batch],
                regimen=data["regimen"],
                dose=Decimal(data["dose"]),
                unit=data["dose_unit"],
                who=data["who"],
                on=data["on"],
                until=data["until"],
                words=data["words"],
                passes=tuple(data["passes"]),
            )
    return tuple(one for one in found.values() if one.until >= day.isoformat())


def instruction_for(regimen: Regimen, setting: Setting) -> Instruction | None:
    """The instruction that a dose of the regimen in this water is given on; None where there is none.

    A dose belongs to the water (rule B2): every batch in it needs the same instruction, or one batch's fish would be
    given what only another's veterinarian saw.
    """
    if regimen.tier == "refused" or setting.evidence is None:
        return None
    mine = {one.batch: one for one in setting.instructions if one.regimen == regimen.id}
    here = [setting.evidence.batch, *(other.batch for other in setting.others)]
    if not all(batch in mine for batch in here) or len({(mine[b].dose, mine[b].unit) for b in here}) > 1:
        return None
    first = mine[here[0]]
    common = tuple(word for word in first.passes if all(word in mine[batch].passes for batch in here))
    return first._replace(passes=common)


def passes(said: Instruction | None, word: str) -> bool:
    """Whether an instruction names this."""
    return said is not None and word in said.passes


def of_the_gate(condition: Condition) -> bool:
    """Whether a before-check is one that rule C8 names."""
    return condition.kind in GATE_KINDS or (
        condition.kind in ("reading", "steady") and condition.value in GATE_READINGS
    )


def passes_check(said: Instruction | None, condition: Condition) -> bool:
    """Whether an instruction passes a before-check: those that rule C8 names, and no other."""
    return of_the_gate(condition) and passes(said, GATE)


def on_the_instruction(said: Instruction, otherwise: Quantity | None = None) -> str:
    """What a card, `why` and a sign-off say of it; ``otherwise`` is the target that it takes the place of."""
    also = f" It also passes: {', '.join(said.passes)}." if said.passes else ""
    instead = ""
    if otherwise is not None and (otherwise.value, otherwise.unit) != (said.dose, said.unit):
        instead = f" Without it the target is {show(otherwise.value)} {otherwise.unit}."
    return (
        f"On the instruction of {said.who}, {said.on}: {said.regimen}, {show(said.dose)} {said.unit}, until "
        f'{said.until}: "{said.words}".{instead}{also}'
    )


def how_to_pass(regimen: Regimen, setting: Setting, word: str = "") -> str:
    """The end of a remedy: the command that records what would pass a hold."""
    if regimen.tier == "refused":
        return ""
    more = f" --passes {word}" if word else ""
    each = " (every batch in this water needs its own)" if setting.others else ""
    return (
        f"; a veterinarian's instruction is recorded with: quarantine vet add {setting.batch} --regimen {regimen.id}"
        f" --dose AMOUNT --by WHO --on DAY --until DAY --words TEXT{more}{each}"
    )
