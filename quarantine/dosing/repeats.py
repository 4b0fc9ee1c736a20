"""How a repeat is sized by what happened to the water since the last dose (rule C1), and the order of a day's work
(rule C11). Pure.

Replace removed, with no decay: mass = target x f x V, where f is the share of the water that was taken out (mass
balance, algebra). Several changes before one dose leave the product of what each left, so that f is not their sum.
What the ledger says is left at least bounds it: a repeat restores the target and never overshoots it. The upper bound
of the ledger refuses a repeat and never sizes one.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from math import exp, nextafter

from quarantine.dosing.forms import tops_up
from quarantine.dosing.known import litres_of
from quarantine.dosing.setting import OUR_CHOICE, Hold, Replaced, Setting
from quarantine.dosing.words import cited, counts_in_ledger, exact_grams, in_ledger, level_in
from quarantine.facts import BEFORE, Fact, in_order, known_flow, known_out
from quarantine.formulary import Figure, Regimen, Substance, is_prolonged
from quarantine.quantity import Quantity, decimal_down, show, show_significant
from quarantine.water.ledger import flowed
from quarantine.water.level import Level

AS_PUBLISHED, REPLACE_REMOVED, TOP_UP = "as published", "replace removed", "top up to a reading"

MOVES_WATER = ("change", "topup", "evaporation", "exchange")
"""Facts that say how many litres went out of the water or came in, or flow through."""

STAYS = ("bath", "prolonged")
"""The routes whose dose stays in the water until it is taken out."""


def mode_hold(substance: Substance, regimen: Regimen, mode: str | None) -> Hold | None:
    """A mode that this row does not allow, or that is not how its amounts are found, is never taken for another.

    Salt in the tank and copper that is held by a kit are sized by a reading of what is there, the first time too.
    """
    reads = tops_up(substance, regimen)
    computed = [TOP_UP] if reads else [AS_PUBLISHED]
    if REPLACE_REMOVED in regimen.modes and regimen.route in STAYS:
        computed.append(REPLACE_REMOVED)
    if mode is None or mode in computed:
        return None
    return Hold(
        "C1",
        f"the template repeats {regimen.id} as {mode!r}, which is not computed here",
        None,
        None,
        cited(substance, regimen.references) or OUR_CHOICE,
        f"work it out with the source named and a veterinarian; {computed[0]!r} would be another amount",
    )


def replaced(
    substance: Substance, regimen: Regimen, setting: Setting, wanted: Quantity | None, mode: str | None
) -> Replaced | None:
    """The most that a dose in mode "replace removed" may add; None: another mode, the first dose, or not to be known.

    target x V x the share of the water taken out since the last dose, and not more than target x V less what the lower
    bound of the ledger says is left. In the ledger's unit x litres (mg; uL of formalin; mg of copper); zero or more.
    """
    given = [f for f in setting.doses if f.at <= setting.now and _put_in(f, substance)]
    level = setting.levels.get(substance.id, setting.never_dosed)
    if mode != REPLACE_REMOVED or not given or setting.volume is None or level.low is None or wanted is None:
        return None
    if not counts_in_ledger(substance, wanted.unit):
        return None
    litres, _ = litres_of(setting.volume)
    # With the filter off for the dose, it ran in between: a change took its share of all the water.
    there, _ = litres_of(setting.whole or setting.volume)
    if litres <= 0:
        return None
    target, left = in_ledger(substance, wanted), decimal_down(level.low)
    out, share = taken_out(setting, given, there)
    by_share = _floored(Fraction(target) * Fraction(litres) * share)
    by_left = max(target - left, Decimal(0)) * litres
    unit = wanted.unit
    counted = "mL" if substance.ledger_unit == "uL/L" else "g of copper (Cu)" if substance.salts else "g"
    percent = show_significant(Decimal(float(share * 100)), 4)
    return Replaced(
        min(by_share, by_left),
        (
            f"replace removed: {show(out)} L of {show(there)} L were taken out since the last dose: {percent} % of "
            f"the water; {show(wanted.value)} {unit} for that part: {exact_grams(by_share)} {counted}",
            f"left in the water at least {level_in(substance, left, unit, up=False)} {unit}: up to the target "
            f"{exact_grams(by_left)} {counted} at most",
        ),
    )


def taken_out(setting: Setting, given: list[Fact], litres: Decimal) -> tuple[Decimal, Fraction]:
    """Litres taken out since the last of these doses, or before it and unknown when it was sized, and the share of the
    target that went with them, 0 to 1.

    ``litres`` stood there at that dose. Evaporation takes nothing of the substance out, and a top-up brings none back.
    """
    last = in_order(given)[-1]
    before, missed = _not_made_good(setting, given, last, Fraction(litres))
    after = [f for f in in_order([last, *setting.moved]) if f.at <= setting.now]
    out, kept, there, since = before, 1 - missed, Fraction(litres), last.at
    for fact in (*after[after.index(last) + 1 :], None):
        at = setting.now if fact is None else fact.at
        through = Fraction(flowed(list(setting.moved), since, at))
        if through > 0 and there > 0:  # what flows through leaves exp(-litres / V), mass balance of a well-mixed water
            kept *= Fraction(nextafter(exp(-float(through / there)), 1))
            out += Decimal(float(through)).quantize(Decimal("0.01"))
        since = at
        if fact is None or fact.kind == "exchange":
            continue
        if fact.kind == "change":
            went = Fraction(fact.data["out_litres"])
            kept *= max(there - went, Fraction(0)) / there if there > 0 else Fraction(0)
            there += Fraction(fact.data["in_litres"]) - went
            out += Decimal(fact.data["out_litres"])
        else:
            there += Fraction(fact.data["litres"]) * (1 if fact.kind == "topup" else -1)
        # Water beyond the mark restores what nobody wrote down.
        there = min(max(there, Fraction(0)), Fraction(litres))
    return out, 1 - kept


def _not_made_good(setting: Setting, given: list[Fact], last: Fact, litres: Fraction) -> tuple[Decimal, Fraction]:
    """Litres that went out before the last dose and were not on record when it was sized, because they were entered or
    corrected later, and the share of the target that is missing by them.

    Each counts by what all the other changes since the dose before it left: so never more than is missing.
    """
    out, missed = Decimal(0), Fraction(0)
    changes = [f for f in setting.moved if f.kind == "change" and f.at <= last.at]
    for change in changes:
        more = Decimal(change.data["out_litres"]) - known_out(change, last.entered_at)
        doses = [f for f in given if f.at < change.at]
        if more <= 0 or not doses or litres <= 0:
            continue
        share = min(Fraction(more) / litres, Fraction(1))
        for other in changes:
            if other is not change and other.at >= doses[-1].at:
                share *= max(litres - Fraction(other.data["out_litres"]), Fraction(0)) / litres
        through = Fraction(flowed(list(setting.moved), doses[-1].at, last.at))
        share *= Fraction(exp(-float(through / litres))) if through > 0 else 1
        out, missed = out + more, missed + share
    more_flowed, share = _flow_not_made_good(setting, given, last, changes, litres)
    return out + more_flowed, min(missed + share, Fraction(1))


def _flow_not_made_good(
    setting: Setting, given: list[Fact], last: Fact, changes: list[Fact], litres: Fraction
) -> tuple[Decimal, Fraction]:
    """The same for what flowed through between two doses: e^(-q t / V) by the rate that was on record when the last one
    was sized, less that by the rate that is, for as much as changes and flow have left of it since."""
    out, missed = 0.0, Fraction(0)
    flows = [f for f in setting.moved if f.kind == "exchange"]
    known = [one for f in flows if (one := known_flow(f, last.entered_at)) is not None]
    if known == flows or litres <= 0:
        return Decimal(0), missed
    for since, until in pairwise(f.at for f in in_order(given)):
        then, now = (flowed(of, since, until) for of in (known, flows))
        if now > then:
            whole, after = float(litres), flowed(flows, until, last.at)
            share = Fraction((exp(-then / whole) - exp(-now / whole)) * exp(-after / whole))
            for change in changes:
                if change.at >= since:
                    share *= max(litres - Fraction(change.data["out_litres"]), Fraction(0)) / litres
            out, missed = out + now - then, missed + share
    return Decimal(out).quantize(Decimal("0.01")), missed


def nothing_hold(substance: Substance, regimen: Regimen, setting: Setting) -> Hold | None:
    """A repeat that has nothing to replace is no dose."""
    if setting.replaces is None or setting.replaces.amount > 0:
        return None
    return Hold(
        "C1",
        f"the template repeats {regimen.id} as {REPLACE_REMOVED!r}, and since the last dose nothing was taken out of "
        "the water that has to be replaced",
        None,
        None,
        cited(substance, regimen.references) or OUR_CHOICE,
        "log what water was changed (quarantine event change); if none was, skip this dose with that reason",
    )


def gap_of(regimen: Regimen, setting: Setting) -> Figure | None:
    """The spacing that holds for this dose: the published gap is between full doses; what only replaces what was taken
    out keeps to one dose of a substance a day in a water (rules B2 and C11), or to a gap that is shorter."""
    gap = regimen.minimum_gap
    if setting.replaces is None or (gap is not None and gap.unit == "h" and gap.value < 24):
        return gap
    return None


def left_low(substance: Substance, setting: Setting) -> Decimal:
    """What is in the water already at least, for a repeat that adds to it; otherwise nothing is counted on."""
    if setting.replaces is None:
        return Decimal(0)
    return decimal_down(setting.levels.get(substance.id, Level(0.0, 0.0)).low or 0.0)


def how_repeated(regimen: Regimen, setting: Setting, mode: str | None, *, full_again: bool = False) -> tuple[str, ...]:
    """How the repeats are sized, and the planned change that comes before the dose (rules C1 and C11)."""
    if regimen.route not in STAYS or regimen.own_vessel:
        return ()
    first = f"First the water change, then the dose (rule C11): {'; '.join(setting.first)}."
    sized = {
        AS_PUBLISHED: "Repeats: as published, the full amount on its own dates; a water change calls for none between.",
        REPLACE_REMOVED: "Repeats: a water change before clearing calls for a dose again, of what it took out.",
        TOP_UP: "Repeats: a water change before clearing calls for a reading, and for a dose up to the target.",
    }
    if full_again:
        sized[AS_PUBLISHED] = "Repeats: as published; a water change before clearing calls for the full amount again."
    return (*((first,) if setting.first else ()), *((sized[mode],) if mode and is_prolonged(regimen) else ()))


def _put_in(fact: Fact, substance: Substance) -> bool:
    """Whether a dose put some of a substance into this water, and not into one that the fish have left."""
    return fact.kind != BEFORE and fact.data.get("substance") == substance.id and fact.data.get("route") in STAYS


def _floored(exact: Fraction) -> Decimal:
    """Down to a millionth of the ledger's unit: never more than the algebra."""
    return Decimal(int(exact * 10**6)).scaleb(-6)
