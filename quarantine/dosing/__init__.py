"""A dose for the water that is there, or the hold that says why not.

Pure. ``amount = min(target x V, ceiling x (V - u))`` (rule C2), in Decimal from target to measured amount,
rounded down to the keeper's scale (rule C4); both ends of what it gives are shown; under the effective minimum
it is not shown as a dose (rule C3). The upper bound of the level refuses a dose, it never sizes one (rule C1).

``setting`` has the types, ``known`` what the record says of the water, ``emergency`` and ``holds`` what stands
against a dose, ``size`` and ``food`` how much, ``card`` what is shown, ``rescuing`` what to do after too much.
"""

from __future__ import annotations

from quarantine.dosing.card import amount_words, checks_met, dose_of, headline, how_to, sized_for, to_confirm
from quarantine.dosing.emergency import FRESH_NITRITE, OUT_OF_LIMIT, emergency_hold
from quarantine.dosing.food import WEIGHT_DAYS, food_size, food_size_hold
from quarantine.dosing.holds import first_hold, mode_hold, where_hold
from quarantine.dosing.known import SYRINGE_ML, ceiling_mg_per_l, ceiling_of, default_target, present_salinity
from quarantine.dosing.rescuing import rescue, rescue_apart
from quarantine.dosing.setting import (
    AT_THE_MARK,
    DEFERS,
    TRIAL,
    Dose,
    Hold,
    Proposal,
    Setting,
    Stock,
    Weighed,
    Where,
)
from quarantine.dosing.size import COARSEST_LOSS, advice_on, clearing_litres, size_hold, size_of
from quarantine.dosing.words import PER_FISH
from quarantine.facts import Condition
from quarantine.formulary import Regimen, Substance
from quarantine.quantity import Quantity

__all__ = [
    "AT_THE_MARK",
    "COARSEST_LOSS",
    "DEFERS",
    "FRESH_NITRITE",
    "OUT_OF_LIMIT",
    "PER_FISH",
    "SYRINGE_ML",
    "TRIAL",
    "WEIGHT_DAYS",
    "Dose",
    "Hold",
    "Proposal",
    "Setting",
    "Stock",
    "Weighed",
    "Where",
    "amount_words",
    "ceiling_mg_per_l",
    "clearing_litres",
    "emergency_hold",
    "headline",
    "present_salinity",
    "propose",
    "rescue",
    "rescue_apart",
    "sized_for",
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
    wanted = target or default_target(regimen)
    if regimen.own_vessel:  # new water every time: only what the fish bring with them is the tank's
        others = {name: level for name, level in setting.levels.items() if name != substance.id}
        setting = setting._replace(volume=setting.vessel, volume_says="the vessel, as typed", levels=others)
    ceiling = ceiling_of(regimen, setting)
    hold = (
        mode_hold(substance, regimen, mode)
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
            size = size_of(substance, wanted, setting, setting.volume, ceiling)
            hold = size_hold(substance, regimen, setting, size, ceiling)
    return Proposal(
        dose=dose_of(substance, regimen, setting, wanted, None if hold else size),
        hold=hold,
        working=size.working if size else (),
        confirm=to_confirm(regimen, before, setting.evidence),
        advice="" if hold or size is None else advice_on(substance, size, setting),
        how=how_to(substance, regimen, where, setting, None if hold else size),
        checks=checks_met(before, setting.evidence),
    )
