"""A dose for the water that is there, or the hold that says why not.

Pure. ``amount = min(target x V, ceiling x (V - u))`` (rule C2), in Decimal from target to measured amount,
rounded down to the keeper's scale (rule C4); both ends of what it gives are shown; under the effective minimum
it is not shown as a dose (rule C3). The upper bound of the level refuses a dose, it never sizes one (rule C1).
"""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from quarantine import evidence as ev
from quarantine.facts import Condition, Fact, local_day
from quarantine.formulary import Ceiling, Regimen, Substance, ceiling_for
from quarantine.quantity import Quantity, decimal_up, floor_to, show, show_significant, to
from quarantine.readings import PARAMETERS
from quarantine.water.ledger import Water
from quarantine.water.level import Level

DEFERS = (
    "Computed from your own record; this is not veterinary advice. The product's label, local law and a veterinarian "
    "come first. Never for fish that people may eat. Dispose of treated water by local rules."
)
"""On every dose shown (rule 5.7 of the house, F100)."""

ADVISE_STOCK_SHARE = Decimal("0.05")
"""A scale step over this share of the dose calls for a stock solution or a finer scale (rule C4: twenty steps)."""

OUR_CHOICE = "our choice, no source"

SAME_DAY = "two doses of one substance on one day"


EMERGENCY_WITHIN_HOURS = 24
"""A reading counts for rule C9 this long; our choice, no source."""

S42 = "Univ. of Florida IFAS EDIS, Ammonia, FA16/FA031, 1990/1996"
S44 = "Defra, Selling animals as pets licensing, statutory guidance, 2024: from memory"
OUT_OF_LIMIT = (
    Condition("reading", "uia", "un-ionized ammonia", None, "0.05", "mg/L", EMERGENCY_WITHIN_HOURS, reference=S42),
    Condition("reading", "nitrite", "nitrite", None, "0.125", "mg/L", EMERGENCY_WITHIN_HOURS, reference=S44),
    Condition("reading", "oxygen", "oxygen", "5", None, "mg/L", EMERGENCY_WITHIN_HOURS, reference=OUR_CHOICE),
)
"""What holds every dose when it was read (rule C9). Nitrite in fresh water: :data:`FRESH_NITRITE`."""
FRESH_NITRITE = "0.2"


class Hold(NamedTuple):
    """A dose that may not be given now: rule, figure, reference, and what would make it acceptable."""

    rule: str
    says: str
    figure: str | None
    figure_unit: str | None
    reference: str
    remedy: str

    def as_json(self) -> dict[str, Any]:
        """The shape of `hold` in JSON."""
        figure = Decimal(self.figure) if self.figure and _is_number(self.figure) else self.figure
        return {**self._asdict(), "figure": figure}


class Dose(NamedTuple):
    """The measured amount to add, and all that it rests on. Amounts are Decimal in the units named beside them."""

    substance: str
    regimen: str
    route: str
    target: Decimal
    target_unit: str
    volume_litres: Decimal
    volume_plus_minus_litres: Decimal
    add: Decimal | None
    add_unit: str
    add_of: str
    gives_low: Decimal | None
    gives_high: Decimal | None
    gives_unit: str
    reference: str
    cautions: tuple[str, ...]


class Proposal(NamedTuple):
    """A dose card: the dose (its ``add`` is None under a hold), the hold, the working line by line, and what
    the keeper confirms by giving it."""

    dose: Dose
    hold: Hold | None
    working: tuple[str, ...]
    confirm: tuple[str, ...]
    advice: str


class Setting(NamedTuple):
    """The water a dose is meant for. ``levels`` hold every substance on record for it, in mg/L."""

    kind: str
    zone: str
    now: datetime
    volume: Water | None
    volume_says: str
    levels: dict[str, Level]
    doses: tuple[Fact, ...]
    evidence: ev.Evidence | None
    scale_step_grams: Decimal


def propose(
    substance: Substance,
    regimen: Regimen,
    setting: Setting,
    *,
    target: Quantity | None = None,
    before: tuple[Condition, ...] = (),
    mode: str | None = None,
) -> Proposal:
    """The dose of a regimen for the water of ``setting``, or the first hold that stands against it.

    ``mode`` is the template's (rule C1); one that is not computed here is held and never taken for another.
    """
    wanted = target or _default(regimen)
    ceiling = ceiling_for(regimen, None) or ceiling_for(regimen, _contact_hours(regimen))
    hold = _mode_hold(substance, regimen, mode) or _first_hold(substance, regimen, setting, wanted, before, ceiling)
    size = None
    if hold is None:
        assert wanted is not None
        assert setting.volume is not None
        assert ceiling is not None
        size = _size(substance, wanted, setting, setting.volume, ceiling)
        hold = _size_hold(substance, regimen, setting, size, ceiling)
    return Proposal(
        dose=_dose(substance, regimen, setting, wanted, None if hold else size),
        hold=hold,
        working=size.working if size else (),
        confirm=_confirm(regimen, before, setting.evidence),
        advice="" if hold or size is None else _advice(substance, size, setting.scale_step_grams),
    )


# --- What stands against a dose --------------------------------------------------------------------------


def _first_hold(
    substance: Substance,
    regimen: Regimen,
    setting: Setting,
    target: Quantity | None,
    before: tuple[Condition, ...],
    ceiling: Ceiling | None,
) -> Hold | None:
    """The first reason, in the order in which a keeper would want to hear it."""
    return (
        _tier_hold(substance, regimen, target)
        or _bounds_hold(substance, regimen, target)
        or _route_hold(substance, regimen)
        or _water_hold(substance, regimen, setting)
        or _emergency_hold(setting)
        or _gap_hold(substance, regimen, setting)
        or _pair_hold(substance, setting)
        or _before_hold(before, setting)
        or _limits_hold(substance, regimen, setting)
        or _salinity_hold(substance, setting)
        or _ceiling_known_hold(regimen, ceiling)
    )


def _mode_hold(substance: Substance, regimen: Regimen, mode: str | None) -> Hold | None:
    """Salt is sized by a reading of what is there; everything else as published, the full amount."""
    computed = "top up to a reading" if "salt" in substance.classes else "as published"
    if mode in (None, computed):
        return None
    return Hold(
        "C1",
        f"the template repeats {regimen.id} as {mode!r}, which is not computed here",
        None,
        None,
        _cite(substance, regimen.references) or OUR_CHOICE,
        f"work it out with the source named and a veterinarian; {computed!r} would be another amount",
    )


def _tier_hold(substance: Substance, regimen: Regimen, target: Quantity | None) -> Hold | None:
    if regimen.tier == "ready" and target is not None:
        return None
    says = {
        "trial": "is a published trial, not general advice",
        "instruction": "is given only on a veterinarian's instruction",
        "refused": "is on record in order to refuse it",
    }.get(regimen.tier, "has no target on record")
    ready = [r.id for r in substance.regimens if r.tier == "ready"]
    instead = f"use {' or '.join(ready)}, or ask a veterinarian" if ready else "ask a veterinarian"
    return Hold("tier", f"{regimen.id} {says}", None, None, _cite(substance, regimen.references), instead)


def _bounds_hold(substance: Substance, regimen: Regimen, target: Quantity | None) -> Hold | None:
    """A target over the published range is no use of this regimen; under it the effective minimum speaks (C3)."""
    top = regimen.target and (regimen.target.high or regimen.target.default)
    if target is None or not top or target == (top.value, top.unit) or to(target, top.unit) <= top.value:
        return None
    return Hold(
        "published range",
        f"{regimen.id} is published up to {show(top.value)} {top.unit}, not {show(target.value)} {target.unit}",
        show(top.value),
        top.unit,
        _cite(substance, top.reference) or _cite(substance, regimen.references),
        f"use {show(top.value)} {top.unit} or less, or ask a veterinarian",
    )


def _route_hold(substance: Substance, regimen: Regimen) -> Hold | None:
    if regimen.route == "food":
        return Hold(
            "in food",
            "a dose in food is sized by the weight of the fish and by how much they eat; neither is on record",
            None,
            None,
            _cite(substance, regimen.references),
            "weigh the fish and the daily ration with a veterinarian, who sizes this dose",
        )
    if regimen.own_vessel:
        return Hold(
            "C15",
            "a dip is made in its own vessel with its own litres, never in the tank",
            None,
            None,
            _cite(substance, regimen.references),
            "this program does not size dips: measure a vessel of its own and work the dip out with the source named",
        )
    if regimen.target is not None and regimen.target.low.unit not in ("mg/L", "g/L"):
        return Hold(
            "unit of the target",
            f"{regimen.id} is published in {regimen.target.low.unit}, which is not computed with here",
            None,
            None,
            _cite(substance, regimen.references),
            "work it out with the source named, or ask a veterinarian",
        )
    return None


def _water_hold(substance: Substance, regimen: Regimen, setting: Setting) -> Hold | None:
    if setting.kind not in regimen.water:
        return Hold(
            "water",
            f"{regimen.id} is published for {' and '.join(regimen.water)} water, this is {setting.kind}",
            None,
            None,
            _cite(substance, regimen.references),
            "choose a regimen for this water, or ask a veterinarian",
        )
    if setting.volume is None:
        return Hold(
            "C2",
            "how much water is in the tank is not known",
            None,
            None,
            OUR_CHOICE,
            "measure the tank: quarantine tank measure",
        )
    litres, plus_minus = _litres(setting.volume)
    if plus_minus >= litres:
        return Hold(
            "C2",
            f"the volume is not known well enough: {show(litres)} L, plus or minus {show(plus_minus)} L",
            show(plus_minus),
            "L",
            OUR_CHOICE,
            "measure the tank: quarantine tank measure",
        )
    if not setting.levels.get(substance.id, Level(0.0, 0.0)).known:
        return Hold(
            "C12",
            f"how much {substance.name} is already in the water is not known",
            None,
            None,
            OUR_CHOICE,
            "change all of the water",
        )
    return None


def _emergency_hold(setting: Setting) -> Hold | None:
    """Rule C9: an A sign, deaths or bad water hold every dose until a person lifts it."""
    evidence = setting.evidence
    if evidence is None:
        return None
    what = ev.emergency(evidence)
    if what is not None:
        return Hold(
            "C9",
            f"an emergency is open: {what}",
            None,
            None,
            OUR_CHOICE,
            "test the water, add air, isolate the sick, call a veterinarian; then a named person lifts the hold: "
            "quarantine event lift",
        )
    for limit in OUT_OF_LIMIT:
        if limit.value == "nitrite" and setting.kind == "fresh":
            limit = limit._replace(high=FRESH_NITRITE)
        verdict = ev.judge(limit, evidence)
        span = ev.value_now(evidence, str(limit.value), EMERGENCY_WITHIN_HOURS)
        lifted = span is not None and evidence.lifted_at is not None and span.at <= evidence.lifted_at
        if verdict.met is False and not lifted:
            return Hold(
                "C9",
                f"{verdict.says}; no dose into bad water",
                verdict.figure,
                verdict.figure_unit,
                limit.reference,
                "change water, add air, test again; or a named person lifts the hold: quarantine event lift",
            )
    return None


def _gap_hold(substance: Substance, regimen: Regimen, setting: Setting) -> Hold | None:
    """Spacing over all doses given to this water, whatever task they came from."""
    mine = [f for f in setting.doses if f.data.get("substance") == substance.id and f.at <= setting.now]
    if not mine:
        return None
    last = max(mine, key=lambda f: f.at)
    when = f"the last one was given {local_day(last.at, setting.zone)}"
    gap = regimen.minimum_gap
    if gap is not None and gap.unit == "d":
        open_on = local_day(last.at, setting.zone) + timedelta(days=int(gap.value))
        closed = local_day(setting.now, setting.zone) < open_on
        until = str(open_on)
    elif gap is not None:
        opens = last.at + timedelta(hours=float(to(Quantity(gap.value, gap.unit), "h")))
        closed = setting.now < opens
        until = f"{opens.astimezone(ZoneInfo(setting.zone)):%Y-%m-%d %H:%M}"
    else:
        closed = local_day(setting.now, setting.zone) == local_day(last.at, setting.zone)
    if not closed:
        return None
    if gap is None:
        return Hold("minimum gap", f"{SAME_DAY}: {when}", None, None, OUR_CHOICE, "wait until tomorrow")
    return Hold(
        "minimum gap",
        f"doses of {substance.name} are at least {show(gap.value)} {gap.unit} apart; {when}",
        show(gap.value),
        gap.unit,
        _cite(substance, gap.reference),
        f"wait until {until}",
    )


def _pair_hold(substance: Substance, setting: Setting) -> Hold | None:
    """Substances that must not meet while the upper bound of the other one is above zero, whichever entry says so.

    "Not the same day" holds on the day of the other's dose only.
    """
    from quarantine.formulary import load

    for name, level in setting.levels.items():
        if name == substance.id or level.high == 0:
            continue
        other = load(name)
        today = any(
            f.data.get("substance") == name and local_day(f.at, setting.zone) == local_day(setting.now, setting.zone)
            for f in setting.doses
        )
        for source, partner in ((substance, other), (other, substance)):
            for pair in source.incompatible:
                meets = pair.other == partner.id or pair.other in partner.classes
                if not meets or pair.rule == "know" or (pair.rule == "not the same day" and not today):
                    continue
                wait = "wait until tomorrow" if pair.rule == "not the same day" else None
                return Hold(
                    "what must not be mixed",
                    f"{other.name} is still in the water; {pair.note.text}",
                    None,
                    None,
                    _cite(source, pair.note.reference) or _UNSOURCED.get(pair.note.status, OUR_CHOICE),
                    wait or f"change water until {other.name} is out",
                )
    return None


_UNSOURCED = {"MEM": "from memory"}


def _before_hold(before: tuple[Condition, ...], setting: Setting) -> Hold | None:
    """The template's before-checks (rule C8): the first that is not met or cannot be judged."""
    for condition in before:
        if condition.kind == "word":
            continue
        if setting.evidence is None:
            return Hold(
                "C8",
                f"{condition.title}: no batch is in this water",
                None,
                None,
                condition.reference or OUR_CHOICE,
                "start a batch",
            )
        verdict = ev.judge(condition, setting.evidence)
        if verdict.met or (verdict.met is None and condition.or_word):
            continue
        return Hold(
            "C8",
            f"{condition.title}: {verdict.says}",
            verdict.figure,
            verdict.figure_unit,
            condition.reference or OUR_CHOICE,
            _remedy(condition),
        )
    return None


def _remedy(condition: Condition) -> str:
    match condition.kind:
        case "day":
            return "wait; a sign that will not wait is a veterinarian's"
        case "ate":
            return "wait until they eat, and log it with a look"
        case "no_sign":
            return "test the water first, then a veterinarian"
        case "reading" | "steady" if condition.value == "uia":
            return "read tan, ph and temperature (quarantine reading); if it is too high, change water and test again"
        case "reading" | "steady":
            return f"read {condition.value} (quarantine reading); out of range: mend that first, then test again"
    return "see quarantine signoff"


TEMPERATURE_AGE_HOURS, TEMPERATURE_SPAN_HOURS = 12, 24  # rule C14


def _limits_hold(substance: Substance, regimen: Regimen, setting: Setting) -> Hold | None:
    """Limits of the water in the regimen itself: unknown is refused. A limit that no reading answers is confirmed
    by the keeper (:func:`_confirm`)."""
    for limit in regimen.limits:
        if limit.kind != "limit" or limit.what not in PARAMETERS:
            continue
        low, high = (figure and show(figure.value) for figure in (limit.low, limit.high))
        unit = PARAMETERS[limit.what].unit
        condition = Condition("reading", limit.what, limit.what, low, high, unit, TEMPERATURE_AGE_HOURS)
        verdict = ev.judge(condition, setting.evidence) if setting.evidence else None
        if verdict is not None and verdict.met and setting.evidence is not None and limit.what == "temperature":
            verdict = _day_of_temperature(condition, setting.evidence)
        if verdict is None or not verdict.met:
            return Hold(
                "C14",
                verdict.says if verdict else f"{limit.what} is not known",
                verdict.figure if verdict else None,
                unit,
                _cite(substance, limit.note.reference) or OUR_CHOICE,
                f"read {limit.what} (quarantine reading); outside the limit choose another regimen",
            )
    return None


def _day_of_temperature(condition: Condition, evidence: ev.Evidence) -> ev.Verdict:
    """Rule C14: for a cap the highest of the last 24 hours counts (and for a floor the lowest)."""
    since = evidence.as_of - timedelta(hours=TEMPERATURE_SPAN_HOURS)
    values = [
        Decimal(f.data["value"]) for f in evidence.readings if f.data["parameter"] == "temperature" and f.at >= since
    ]
    for bad in (v for v in (max(values), min(values)) if not _inside(v, condition)):
        return ev.Verdict(False, f"temperature was {show(bad)} °C in the last 24 h", None, show(bad), "°C")
    return ev.Verdict(True, "temperature in limits for 24 h")


def _inside(value: Decimal, condition: Condition) -> bool:
    low, high = condition.low, condition.high
    return (low is None or value >= Decimal(low)) and (high is None or value <= Decimal(high))


def _confirm(regimen: Regimen, before: tuple[Condition, ...], evidence: ev.Evidence | None) -> tuple[str, ...]:
    """What the keeper confirms by giving the dose: the template's words, those that stand in for a reading that is
    not known, and the regimen's limits that no reading answers (how much fish is in the water)."""
    said = []
    for condition in before:
        if condition.kind == "word":
            said.append(str(condition.value))
        elif condition.or_word and evidence is not None and ev.judge(condition, evidence).met is None:
            said.append(condition.or_word)
    return (*said, *(x.note.text for x in regimen.limits if x.kind == "limit" and x.what not in PARAMETERS))


def _salinity_hold(substance: Substance, setting: Setting) -> Hold | None:
    if "salt" not in substance.classes or present_salinity(setting) is not None:
        return None
    return Hold(
        "C15",
        "a salt target is the total salinity, and the present one is not known",
        None,
        None,
        OUR_CHOICE,
        "read salinity (quarantine reading TANK salinity=...g/L), not more than 24 h ago and after the last salt dose",
    )


def _ceiling_known_hold(regimen: Regimen, ceiling: Ceiling | None) -> Hold | None:
    if ceiling is not None:
        return None
    return Hold("ceiling", f"{regimen.id} has no ceiling on record", None, None, OUR_CHOICE, "ask a veterinarian")


# --- Size ------------------------------------------------------------------------------------------------


class _Size(NamedTuple):
    exact_mg: Decimal
    given_mg: Decimal
    gives_low: Decimal
    gives_high: Decimal
    working: tuple[str, ...]


def _size(substance: Substance, wanted: Quantity, setting: Setting, volume: Water, ceiling: Ceiling) -> _Size:
    """Rules C2 and C4. ``gives`` is what this dose alone gives (for salt: with what is there), in mg/L."""
    litres, plus_minus = _litres(volume)
    target = to(wanted, "mg/L")
    top = to(Quantity(ceiling.figure.value, ceiling.figure.unit), "mg/L")
    span = _salinity(setting) if "salt" in substance.classes else None
    present = span.high * 1000 if span else Decimal(0)
    at_least = max(span.low, Decimal(0)) * 1000 if span else Decimal(0)
    rise, room = max(target - present, Decimal(0)), max(top - present, Decimal(0))
    by_target, by_ceiling = rise * litres, room * (litres - plus_minus)
    exact = min(by_target, by_ceiling)
    step = setting.scale_step_grams * 1000
    given = floor_to(exact, step)
    low = at_least + _divide(given, litres + plus_minus, ROUND_FLOOR)
    high = present + _divide(given, litres - plus_minus, ROUND_CEILING)
    unit = wanted.unit
    over = f" - present {show(present / 1000)} g/L" if present else ""
    working = (
        f"water: {show(litres)} L, plus or minus {show(plus_minus)} L ({setting.volume_says})",
        f"target {show(wanted.value)} {unit}{over}, for {show(litres)} L: {show_significant(by_target / 1000, 6)} g",
        f"ceiling {show(ceiling.figure.value)} {ceiling.figure.unit}{over}, for "
        f"{show(litres)} - {show(plus_minus)} = {show(litres - plus_minus)} L: "
        f"{show_significant(by_ceiling / 1000, 6)} g",
        f"the smaller: {show_significant(exact / 1000, 6)} g; "
        f"rounded down to steps of {show(setting.scale_step_grams)} g: {show(given / 1000)} g",
        f"gives {show(given / 1000)} g in {show(litres + plus_minus)} L to {show(litres - plus_minus)} L: "
        f"{_in(low, unit, up=False)} to {_in(high, unit, up=True)} {unit}",
    )
    return _Size(exact, given, low, high, working)


def _size_hold(substance: Substance, regimen: Regimen, setting: Setting, size: _Size, ceiling: Ceiling) -> Hold | None:
    top = to(Quantity(ceiling.figure.value, ceiling.figure.unit), "mg/L")
    salt = "salt" in substance.classes
    if salt and size.exact_mg == 0:
        return Hold(
            "C15",
            "the water is at the target already",
            None,
            None,
            OUR_CHOICE,
            "nothing to add; read salinity again later",
        )
    if size.given_mg == 0:
        return Hold(
            "C4",
            f"{show_significant(size.exact_mg / 1000, 3)} g is less than one step of the scale",
            show(setting.scale_step_grams),
            "g",
            OUR_CHOICE,
            "weigh on a finer scale (setting scale_step)",
        )
    upper = Decimal(0) if salt else decimal_up(setting.levels.get(substance.id, Level(0.0, 0.0)).high or 0.0)
    if upper + size.gives_high > top:
        unit = ceiling.figure.unit
        return Hold(
            "ceiling",
            f"with this dose the level could reach {_in(upper + size.gives_high, unit, up=True)} {unit}; "
            f"the ceiling is {show(ceiling.figure.value)} {unit}",
            show(ceiling.figure.value),
            unit,
            _cite(substance, ceiling.figure.reference),
            _clearing_words(upper, top - size.gives_high, setting.volume),
        )
    floor = regimen.effective_minimum
    if floor is not None and size.gives_low < to(Quantity(floor.value, floor.unit), "mg/L"):
        return Hold(
            "C3",
            f"the dose could give as little as {_in(size.gives_low, floor.unit, up=False)} {floor.unit}; "
            f"under {show(floor.value)} {floor.unit} it does not work",
            show(floor.value),
            floor.unit,
            _cite(substance, floor.reference),
            "measure the tank (quarantine tank measure), or weigh on a finer scale",
        )
    return None


def _clearing_words(upper: Decimal, room: Decimal, volume: Water | None) -> str:
    if room <= 0 or volume is None:
        return "choose a lower target, or ask a veterinarian"
    litres, plus_minus = _litres(volume)
    out = clearing_litres(litres, plus_minus, upper, room)
    if out is None:
        return "change all of the water first, and log it: quarantine event change"
    share = (out / litres * 100).quantize(Decimal(1), rounding=ROUND_CEILING)
    return (
        f"change at least {show(out)} L of water first ({show(share)} %), and log it: quarantine event change; "
        "then ask again"
    )


def clearing_litres(
    litres: Decimal, plus_minus_litres: Decimal, upper_mg_per_l: Decimal, at_most_mg_per_l: Decimal
) -> Decimal | None:
    """Litres of one change after which the level's upper bound is at most ``at_most_mg_per_l``, up to 0.1 L.

    In the fullest tank that is possible, V + u, a litre taken out is the smallest share of the water:
    out = (1 - at_most / upper) x (V + u) (mass balance, algebra). None: more than the emptiest tank holds,
    so all of the water has to go.
    """
    share = 1 - at_most_mg_per_l / upper_mg_per_l
    # The ledger rounds its bounds outward; a billionth more than the algebra keeps the result inside.
    out = (share * (litres + plus_minus_litres) * (1 + Decimal("1e-9"))).quantize(
        Decimal("0.1"), rounding=ROUND_CEILING
    )
    return out if out < litres - plus_minus_litres else None


def _advice(substance: Substance, size: _Size, step_grams: Decimal) -> str:
    if step_grams * 1000 <= ADVISE_STOCK_SHARE * size.given_mg:
        return ""
    lost = (size.exact_mg - size.given_mg) / size.exact_mg * 100
    says = f"One step of the scale is over 5 % of this dose; {show_significant(lost, 2)} % was lost by rounding down."
    if substance.solubility is None:
        return (
            f"{says} Weigh on a finer scale; no solubility of {substance.name} is on record, so no stock solution: "
            "disperse the whole weighed amount in tank water and pour all of it."
        )
    return (
        f"{says} Weigh on a finer scale, or make a stock solution (dissolves to {show(substance.solubility.value)} "
        f"{substance.solubility.unit})."
    )


# --- The card --------------------------------------------------------------------------------------------


def _dose(
    substance: Substance, regimen: Regimen, setting: Setting, wanted: Quantity | None, size: _Size | None
) -> Dose:
    litres, plus_minus = _litres(setting.volume) if setting.volume else (Decimal(0), Decimal(0))
    unit = wanted.unit if wanted else "mg/L"
    cautions = [note.text for note in (*regimen.cautions, *substance.cautions, *substance.handling, *substance.legal)]
    return Dose(
        substance=substance.id,
        regimen=regimen.id,
        route=regimen.route,
        target=wanted.value if wanted else Decimal(0),
        target_unit=unit,
        volume_litres=litres,
        volume_plus_minus_litres=plus_minus,
        add=size.given_mg / 1000 if size else None,
        add_unit="g",
        add_of=f"{substance.name}, counted as pure (100 %)",
        gives_low=_amount(size.gives_low, unit, up=False) if size else None,
        gives_high=_amount(size.gives_high, unit, up=True) if size else None,
        gives_unit=unit,
        reference=_cite(substance, regimen.references),
        cautions=(*cautions, DEFERS),
    )


def rescue(
    litres: Decimal,
    high_mg_per_l: Decimal,
    ceiling_mg_per_l: Decimal,
    name: str,
    plus_minus_litres: Decimal = Decimal(0),
) -> str:
    """What to do after more than the ceiling was really given (rule C7): computed dilution, air, veterinarian."""
    out = clearing_litres(litres, plus_minus_litres, high_mg_per_l, ceiling_mg_per_l) if litres else None
    much = f"at least {show(out)} L" if out is not None else "all of the water for the same volume"
    return (
        f"The level of {name} may be {show_significant(high_mg_per_l, 3, up=True)} mg/L, over the ceiling of "
        f"{show(ceiling_mg_per_l)} mg/L. Now: strong aeration; change {much} of matched, conditioned "
        "water and log it (quarantine event change); fresh activated carbon; call a veterinarian."
    )


def ceiling_mg_per_l(regimen: Regimen) -> Decimal | None:
    """The ceiling that holds for the regimen's contact, in mg/L."""
    ceiling = ceiling_for(regimen, None) or ceiling_for(regimen, _contact_hours(regimen))
    return to(Quantity(ceiling.figure.value, ceiling.figure.unit), "mg/L") if ceiling else None


def present_salinity(setting: Setting) -> Decimal | None:
    """The last salinity reading of 24 hours, g/L, by its upper end; None when there is none since the last salt."""
    span = _salinity(setting)
    return span.high if span else None


def _salinity(setting: Setting) -> ev.Span | None:
    """The salinity read within 24 hours. A reading taken before salt was added says nothing of the water now."""
    from quarantine.formulary import load

    if setting.evidence is None:
        return None
    span = ev.value_now(setting.evidence, "salinity", 24)
    salted = [f.at for f in setting.doses if f.at <= setting.now and "salt" in load(f.data["substance"]).classes]
    return span if span is not None and all(at < span.at for at in salted) else None


def _default(regimen: Regimen) -> Quantity | None:
    if regimen.target is None or regimen.target.default is None:
        return None
    return Quantity(regimen.target.default.value, regimen.target.default.unit)


def _contact_hours(regimen: Regimen) -> Decimal | None:
    contact = regimen.contact
    if contact is None or contact.high is None:
        return None
    return to(Quantity(contact.high.value, contact.high.unit), "h")


def _litres(volume: Water) -> tuple[Decimal, Decimal]:
    """Litres as shown and their plus-minus, widened by what showing took: what is printed is what is computed with."""
    exact, plus_minus = Decimal(str(volume.litres)), Decimal(str(volume.plus_minus_litres))
    step = Decimal("0.1") if exact >= 10 else Decimal("0.001")
    litres = exact.quantize(step, rounding=ROUND_FLOOR)
    return litres, (plus_minus + exact - litres).quantize(step, rounding=ROUND_CEILING)


def _divide(milligrams: Decimal, litres: Decimal, rounding: str) -> Decimal:
    return (milligrams / litres).quantize(Decimal("0.000001"), rounding=rounding)


def _amount(mg_per_l: Decimal, unit: str, *, up: bool) -> Decimal:
    return Decimal(_in(mg_per_l, unit, up=up))


def _in(mg_per_l: Decimal, unit: str, *, up: bool) -> str:
    """A level in another unit, to three significant digits, rounded outward."""
    return show_significant(to(Quantity(mg_per_l, "mg/L"), unit), 3, up=up)


def _cite(substance: Substance, keys: str | tuple[str, ...]) -> str:
    names = keys if isinstance(keys, tuple) else tuple(k.strip() for k in keys.split(",") if k.strip())
    return "; ".join(substance.references[key].cite for key in names if key in substance.references)


def _is_number(text: str) -> bool:
    return text.replace(".", "", 1).replace("-", "", 1).isdigit()
