"""Rule C9: what holds every dose in a water, whatever it is of."""

from __future__ import annotations

from decimal import Decimal

from quarantine import evidence as ev
from quarantine.dosing.setting import OUR_CHOICE, Hold, Setting
from quarantine.facts import Condition
from quarantine.quantity import show_significant

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


FIRST_FOR_FISH = (
    "first strong air, second test the water (ammonia, nitrite, pH, temperature, oxygen) and mend what is out of limit "
    "by a water change, third isolate the sick or take the dead out, fourth call a veterinarian; then a named person "
    "lifts the hold: quarantine event lift"
)
"""What to do before any dose, in order (rule C9); the order is common practice, no source."""


def first_for(parameter: str) -> str:
    """What to do first about a reading out of limit, in order (rules C9 and C16; the order: common practice)."""
    if parameter == "oxygen":
        return "first strong air, second no food, third cooler water or fewer fish in it, fourth read oxygen again"
    return (
        "first strong air, second no food, third change water in small steps (the higher pH of the two waters counts: "
        "rule C16), fourth test again"
    )


def emergency_hold(setting: Setting) -> Hold | None:
    """Rule C9: an A sign, deaths or bad water hold every dose until a person lifts it, whichever batch of the water
    they are of."""
    evidence = setting.evidence
    if evidence is None:
        return _bad_water(setting)
    what = next((why for one in (evidence, *setting.others) if (why := ev.emergency(one)) is not None), None)
    if what is not None:
        return Hold(
            "C9",
            f"an emergency is open: {what}",
            None,
            None,
            OUR_CHOICE,
            FIRST_FOR_FISH,
        )
    for limit in _out_of_limit(setting):
        verdict = ev.judge(limit, evidence)
        span = ev.value_now(evidence, str(limit.value), EMERGENCY_WITHIN_HOURS)
        # A person who lifted the hold of the water that the fish left said nothing of this one.
        lift, since = evidence.lifted_at, evidence.since
        lifted = span is not None and lift is not None and span.at <= lift and (since is None or since <= lift)
        if verdict.met is False and not lifted:
            return Hold(
                "C9",
                f"{verdict.says}; no dose into bad water",
                verdict.figure,
                verdict.figure_unit,
                limit.reference,
                f"{first_for(str(limit.value))}; else a named person lifts the hold: quarantine event lift",
            )
    return None


def _out_of_limit(setting: Setting) -> tuple[Condition, ...]:
    fresh = setting.kind == "fresh"
    return tuple(x._replace(high=FRESH_NITRITE) if fresh and x.value == "nitrite" else x for x in OUT_OF_LIMIT)


def _bad_water(setting: Setting) -> Hold | None:
    """Rule C9 for a water without a batch (rule B10): its last readings; there is nobody's hold to lift."""
    read = tuple(f for f in setting.readings if f.at <= setting.now)
    for limit in _out_of_limit(setting):
        span = ev.value_at(read, (), setting.now, str(limit.value), EMERGENCY_WITHIN_HOURS)
        if span is None:
            continue
        low, high = (None if x is None else Decimal(x) for x in (limit.low, limit.high))
        worst = span.most if high is not None and span.most > high else span.least
        if (low is None or worst >= low) and (high is None or worst <= high):
            continue
        needed = f"at least {limit.low}" if high is None else f"at most {limit.high}"
        figure = show_significant(worst, 3)
        return Hold(
            "C9",
            f"{limit.title} {figure} {limit.unit}, needed: {needed} {limit.unit}; no dose into bad water",
            figure,
            limit.unit,
            limit.reference,
            first_for(str(limit.value)),
        )
    return None
