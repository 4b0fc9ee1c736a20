"""A dose for the water that is there, or the hold that says why not.

Pure. ``amount = min(target x V, ceiling x (V - u))`` (rule C2), in Decimal from target to measured amount,
rounded down to the keeper's scale (rule C4); both ends of what it gives are shown; under the effective minimum
it is not shown as a dose (rule C3). The upper bound of the level refuses a dose, it never sizes one (rule C1).

``setting`` has the types, ``known`` what the record says of the water, ``emergency``, ``animals``, ``pairs`` and
``holds`` what stands against a dose, ``instructing`` what a veterinarian's instruction passes of that, ``forms`` what
it is measured as and hangs on, ``repeats`` how a repeat is sized, ``size`` and ``food`` how much, ``lengths`` what
fish of a length weigh, ``card`` what is shown, ``rescuing`` what to do after too much.
"""

from __future__ import annotations

from quarantine.dosing.animals import animals_cautions, animals_to_confirm
from quarantine.dosing.card import (
    amount_words,
    checks_met,
    dose_of,
    headline,
    how_to,
    off_to_confirm,
    sized_for,
    stock_label,
    to_confirm,
)
from quarantine.dosing.emergency import FRESH_NITRITE, OUT_OF_LIMIT, emergency_hold
from quarantine.dosing.food import WEIGHT_DAYS, food_size, food_size_hold
from quarantine.dosing.forms import (
    Measure,
    given_in_ledger,
    measure_of,
    measured_by,
    oxygen_hold,
    read_strength,
    stock_error,
    strength_hold,
)
from quarantine.dosing.holds import course_hold, first_hold, last_day_words, vessel_hold, where_hold
from quarantine.dosing.instructing import PASSES, in_force, instruction_for, on_the_instruction
from quarantine.dosing.known import ceiling_in_ledger, ceiling_of, circulating, default_target, present_salinity
from quarantine.dosing.pairs import pair_cautions
from quarantine.dosing.products import from_stock, stock_lines
from quarantine.dosing.repeats import how_repeated, mode_hold, nothing_hold, replaced
from quarantine.dosing.rescuing import rescue, rescue_apart, rescue_held
from quarantine.dosing.setting import (
    AT_THE_MARK,
    DEFERS,
    SYRINGE_ML,
    TRIAL,
    TRIED,
    Dose,
    Form,
    Hold,
    Instruction,
    Proposal,
    Setting,
    Stock,
    Unsaid,
    Weighed,
    Where,
)
from quarantine.dosing.size import COARSEST_LOSS, advice_on, clearing_litres, size_hold, size_of
from quarantine.dosing.words import PER_FISH, counts_in_ledger, in_ledger, level_in, out_of_ledger
from quarantine.facts import Condition
from quarantine.formulary import Regimen, Substance
from quarantine.quantity import Quantity

__all__ = [
    "AT_THE_MARK",
    "COARSEST_LOSS",
    "DEFERS",
    "FRESH_NITRITE",
    "OUT_OF_LIMIT",
    "PASSES",
    "PER_FISH",
    "SYRINGE_ML",
    "TRIAL",
    "TRIED",
    "WEIGHT_DAYS",
    "Dose",
    "Form",
    "Hold",
    "Instruction",
    "Measure",
    "Proposal",
    "Setting",
    "Stock",
    "Unsaid",
    "Weighed",
    "Where",
    "amount_words",
    "ceiling_in_ledger",
    "circulating",
    "clearing_litres",
    "counts_in_ledger",
    "emergency_hold",
    "from_stock",
    "given_in_ledger",
    "headline",
    "in_force",
    "in_ledger",
    "instruction_for",
    "level_in",
    "measure_of",
    "measured_by",
    "on_the_instruction",
    "out_of_ledger",
    "present_salinity",
    "propose",
    "read_strength",
    "rescue",
    "rescue_apart",
    "rescue_held",
    "sized_for",
    "stock_error",
    "stock_label",
    "stock_lines",
    "strength_hold",
]


def propose(
    substance: Substance,
    regimen: Regimen,
    setting: Setting,
    *,
    target: Quantity | None = None,
    before: tuple[Condition, ...] = (),
    mode: str | None = None,
    where: Where | None = None,
) -> Proposal:
    """The dose of a regimen for the water of ``setting``, or the first hold that stands against it.

    ``mode`` is the template's (rule C1); one that is not computed here is held and never taken for another.
    ``where`` is the template's too (rule C10); None: the water that is there, as it runs.
    """
    setting = circulating(where, from_stock(substance, setting))
    said = instruction_for(regimen, setting)
    # An instruction gives its own dose: neither the template's target nor the entry's default.
    planned = target or default_target(regimen, setting)
    wanted = Quantity(said.dose, said.unit) if said else planned
    beyond = vessel_hold(regimen, setting)
    if regimen.own_vessel:  # new water every time: only what the fish bring with them is the tank's
        others = {name: level for name, level in setting.levels.items() if name != substance.id}
        setting = setting._replace(volume=setting.vessel, volume_says="the vessel, as typed", levels=others)
    ceiling = ceiling_of(regimen, setting)
    setting = setting._replace(replaces=replaced(substance, regimen, setting, wanted, mode))
    hold = (
        beyond
        or mode_hold(substance, regimen, mode)
        or where_hold(where, setting)
        or first_hold(substance, regimen, setting, wanted, before, ceiling)
    )
    size = None
    if hold is None:
        assert wanted is not None
        assert ceiling is not None
        if regimen.route == "food":
            size = food_size(substance, regimen, wanted, setting, ceiling)
            hold = food_size_hold(substance, regimen, setting, size)
        else:
            assert setting.volume is not None
            size = size_of(substance, regimen, wanted, setting, setting.volume, ceiling)
            hold = (
                nothing_hold(substance, regimen, setting)
                or size_hold(substance, regimen, setting, size, ceiling)
                or oxygen_hold(substance, regimen, setting, size.gives_high, before)
                or course_hold(substance, regimen, setting, size.gives_high)
            )
    dose = dose_of(substance, regimen, setting, wanted, None if hold else size)
    eaten = substance if regimen.route == "food" else None
    out_of = stock_lines(setting, None if dose.add is None else Quantity(dose.add, dose.add_unit), eaten)
    instructed = on_the_instruction(said, planned) if said else ""
    warned = (*pair_cautions(substance, setting), *animals_cautions(substance, regimen, setting))
    return Proposal(
        dose=dose._replace(cautions=(*warned, *dose.cautions)),
        hold=hold,
        working=size.working if size else (),
        confirm=(
            *to_confirm(substance, regimen, before, setting),
            *off_to_confirm(where, setting),
            *animals_to_confirm(substance, regimen, setting),
        ),
        advice="" if hold or size is None else advice_on(substance, size, setting),
        instruction=instructed,
        how=(
            *((instructed,) if instructed else ()),
            *how_to(substance, regimen, where, setting, None if hold else size),
            *how_repeated(regimen, setting, mode, full_again=where is not None and bool(where.after_change)),
            *last_day_words(substance, regimen, setting),
            *out_of,
        ),
        checks=checks_met(before, setting.evidence),
    )
