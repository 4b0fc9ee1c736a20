"""What a dose of a template must say and may say: it fits its row of the formulary, its gate and its course."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from quarantine.facts import Condition
from quarantine.failures import Refused, Unknown
from quarantine.protocol.lines import Path_
from quarantine.protocol.model import Repeat, Treatment
from quarantine.protocol.reader import Reader
from quarantine.protocol.values import near, plain
from quarantine.quantity import Quantity
from quarantine.templates import shipped as shipped

if TYPE_CHECKING:
    from quarantine.formulary import Regimen


def read_treatment(reader: Reader, value: object, path: Path_) -> Treatment | None:
    """The treatment with its row of the formulary looked up: target, mode and row must fit one another."""
    found = reader.table("treatment", value, path)
    target = _check_regimen(reader, found, path)
    longest = _check_place(reader, found, path)
    if None in (found["regimen"], found["mode"], found["water"]):
        return None
    _check_after_change(reader, found, path)
    _check_allowance(reader, found, path)
    said = {"target": target, "filter": found["filter"] or "", "clearing": found["clearing"] or "", "longest": longest}
    return Treatment(**{**found, **said, "witness": bool(found["witness"])})


MOST_ALLOWED = Decimal(10)
"""Percent: beyond this every amount is asked about once (rule C7; our choice, no source), and a template may be
stricter, never laxer."""


def _check_allowance(reader: Reader, found: dict[str, Any], path: Path_) -> None:
    """What may be given without a reason (needs F27) is at most what is given without a question."""
    if found["allowance"] is not None and found["allowance"] > MOST_ALLOWED:
        why = "beyond that every amount is asked about, and a template may be stricter, never laxer"
        shown = f"{plain(found['allowance'])} %"
        reader.wrong((*path, "allowance"), f"at most {plain(MOST_ALLOWED)} %", shown, why)


def _check_after_change(reader: Reader, found: dict[str, Any], path: Path_) -> None:
    """The full amount again after a part of the water was changed: only of what may be gone by then (needs F23)."""
    row = row_of(found["regimen"])
    if found["after_change"] != "full" or row is None:
        return
    from quarantine.formulary import is_prolonged, regimen

    why = ""
    if found["mode"] != "as published":
        why = f'mode "{found["mode"]}" says already what a change calls for'
    elif not is_prolonged(row):
        why = f"{row.id} does not stay in the water for more than 48 hours"
    elif regimen(row.id)[0].loss != "possible":
        why = f"nothing on record breaks {regimen(row.id)[0].name} down, so the full amount would add up"
    if why:
        reader.wrong((*path, "after_change"), "no `after_change`", found["after_change"], why)


# Which routes of the formulary are given where.
_PLACES = {
    "system": ("bath", "prolonged"),
    "tank": ("bath", "prolonged"),
    "vessel": ("dip",),
    "food": ("food",),
}


def _check_place(reader: Reader, found: dict[str, Any], path: Path_) -> Quantity | None:
    """A bath is given to the water, with the filter running or off (rule C10); a dip in a vessel of its own, whose
    litres are asked at the moment (rule C15); a dose in food to the fish. The limit of a dip, where there is one."""
    where, row = found["water"], row_of(found["regimen"])
    if where in ("system", "tank") and found["filter"] is None:
        reader.wrong((*path, "filter"), "running or off, because a bath must say so (rule C10)")
    if where in ("vessel", "food"):
        for key in ("filter", "off"):
            if found[key]:
                shown = found[key] if isinstance(found[key], str) else ", ".join(found[key])
                reader.wrong((*path, key), f"no `{key}`: nothing is put into the tank's water", shown)
    if row is not None and where is not None and row.route not in _PLACES[where]:
        fits = " or ".join(f'"{place}"' for place, routes in _PLACES.items() if row.route in routes)
        why = f"its route is {row.route}" + (f"; its water is {fits}" if fits else ", and it gives nothing")
        expected = f'a {" or ".join(_PLACES[where])} regimen, because the water is "{where}"'
        reader.wrong((*path, "regimen"), expected, row.id, why)
    return _check_longest(reader, found["longest"], row, (*path, "longest"))


def row_of(name: str | None) -> Regimen | None:
    from quarantine import formulary

    try:
        return formulary.regimen(name)[1] if name else None
    except Unknown:
        return None


def _check_longest(reader: Reader, text: str | None, row: Regimen | None, path: Path_) -> Quantity | None:
    """The template's own limit on a dip: a time above zero and at most the row's."""
    if text is None or row is None:
        return None
    from quarantine import quantity

    most = row.contact.high if row.contact else None
    if row.route != "dip" or most is None:
        reader.wrong(path, "no `longest`: only a dip with a longest time of its own has one", text)
        return None
    bounds = f"a time above zero, at most the {plain(most.value)} {most.unit} of {row.id}"
    try:
        time = quantity.read(text, "duration", "longest")
    except Refused as error:
        reader.wrong(path, bounds, text, error.sentence)
        return None
    if not 0 < quantity.to(time, most.unit) <= most.value:
        reader.wrong(path, bounds, text)
    return time


def _check_regimen(reader: Reader, found: dict[str, Any], path: Path_) -> Quantity | None:
    """The row of the formulary exists and fits; the template's own target, if any, in the row's unit."""
    if found["regimen"] is None:
        return None
    from quarantine import formulary

    try:
        _, row = formulary.regimen(found["regimen"])
    except Unknown as unknown:
        known = unknown.facts["known"]
        why = near(found["regimen"], known) or f"known: {', '.join(known)}"
        reader.wrong((*path, "regimen"), "the id of a regimen in the formulary", found["regimen"], why)
        return None
    # Names are compared without capitals there; everything after this compares ids.
    found["regimen"] = row.id
    if row.tier == "refused":
        reader.wrong((*path, "regimen"), "a regimen the formulary offers", row.id, "it refuses this one")
    if found["mode"] and found["mode"] not in row.modes:
        reader.wrong((*path, "mode"), f"a mode {row.id} allows ({', '.join(row.modes)})", found["mode"])
    waters = ("fresh", "brackish", "marine")
    water = reader.data.get("water")
    for one in waters:
        if water in ("any", one) and one not in row.water:
            why = f"{row.id} is for {', '.join(row.water)} water"
            reader.wrong((*path, "regimen"), f"a regimen for {one} water", row.id, why)
    stays = row.route in ("bath", "prolonged")
    if stays and not (row.contact and row.contact.stated) and not found["clearing"]:
        why = "the source of the regimen is silent on contact time (rule C5)"
        reader.wrong((*path, "clearing"), "a sentence that says when clearing begins", None, why)
    return _check_target(reader, found["target"], row, (*path, "target"))


def _check_target(reader: Reader, text: str | None, row: Regimen, path: Path_) -> Quantity | None:
    """A target of the template lies inside the bounds of its regimen and under every ceiling."""
    if text is None or row.target is None:
        return None
    from quarantine import quantity

    unit = row.target.low.unit
    low, high = row.target.low.value, row.target.high.value if row.target.high else None
    bounds = f"at least {plain(low)} {unit}" if high is None else f"{plain(low)} to {plain(high)} {unit}"
    if unit not in quantity.UNITS:
        reader.wrong(path, f"no `target`: {row.id} has its own ({bounds})", text)
        return None
    try:
        value = quantity.to(quantity.read(text, quantity.UNITS[unit].kind, "target"), unit)
    except Refused as error:
        reader.wrong(path, f"an amount inside the bounds of {row.id} ({bounds})", text, error.sentence)
        return None
    most = max((one.figure.value for one in row.ceilings), default=None)
    if value < low or (high is not None and value > high):
        reader.wrong(path, f"an amount inside the bounds of {row.id} ({bounds})", text)
    elif most is not None and value > most:
        reader.wrong(path, f"at most the ceiling of {row.id} ({plain(most)} {unit})", text)
    return Quantity(value, unit)


def _check_course(reader: Reader, found: dict[str, Any], path: Path_) -> None:
    """A repeated dose has a number, not more than the regimen's source gave and not closer together."""
    repeat: Repeat | None = found["repeat"]
    treatment: Treatment | None = found["treatment"]
    if repeat is None or treatment is None:
        return
    from quarantine import formulary

    try:
        _, row = formulary.regimen(treatment.regimen)
    except Unknown:
        return
    most, gap = row.repeats.times, row.minimum_gap
    if repeat.times is None:
        reader.wrong((*path, "until"), "`times`, because a course of doses has a number", repeat.until)
    elif most is not None and repeat.times > most:
        reader.wrong((*path, "times"), f"at most the {most} doses of {row.id}", repeat.times)
    one = repeat.every or repeat.as_needed
    steps = [one] if one else [band.every for band in repeat.by_temperature]
    least = _hours_of(gap.value, gap.unit) if gap else Decimal(0)
    if gap and any(_hours_of(Decimal(step.value), step.unit) < least for step in steps):
        key = "every" if repeat.every else "as_needed" if repeat.as_needed else "by_temperature"
        shown = f"{plain(gap.value)} {gap.unit}"
        reader.wrong((*path, key), f"at least the gap of {row.id} ({shown})", ", ".join(map(str, steps)))


def _hours_of(value: Decimal, unit: str) -> Decimal:
    from quarantine import quantity

    return quantity.to(Quantity(value, unit), "h")


def check_dose(reader: Reader, found: dict[str, Any], value: dict[str, Any], path: Path_) -> None:
    """Rules A11, C1, C8 and C19: what a dose must say before anybody may pour it."""
    for key, words in (("after_window", "shift, keep or reopen"), ("window", "a table with from and until")):
        if key not in value:
            reader.wrong((*path, key), f"{words}, because a dose must say so (rule A11)")
    if found["who"] == "anyone":
        reader.wrong((*path, "who"), "keeper or adult, because not everyone handles medicine (rule C19)", "anyone")
    if found["treatment"] and found["for"] not in (None, whose(found["treatment"])):
        owner = whose(found["treatment"])
        what = "the fish that are dipped or fed" if owner == "batch" else "the water of the treatment"
        reader.wrong((*path, "for"), f"{owner}, {what}", found["for"])
    _check_tier(reader, found, path)
    if isinstance(value.get("repeat"), dict) and "from" not in value["repeat"]:
        reader.wrong((*path, "repeat", "from"), "planned or given, because a repeated dose must say so")
    _check_course(reader, found, (*path, "repeat"))
    for missing in _gate_missing(found["before"], _broken(value)):
        reader.wrong((*path, "before"), f"{missing} (rule C8)")


def _check_tier(reader: Reader, found: dict[str, Any], path: Path_) -> None:
    """What is no general advice stands in a template only with the word that a veterinarian instructed it."""
    row = row_of(found["treatment"].regimen if found["treatment"] else None)
    words = [str(one.value).casefold() for one in found["before"] if one.kind == "word"]
    if row is None or row.tier == "ready" or any("veterinar" in word for word in words):
        return
    why = f"{row.id} is no general advice (tier {row.tier})"
    reader.wrong((*path, "before"), 'a before-check {word = "..."} that names the veterinary instruction', None, why)


def _broken(value: dict[str, Any]) -> list[dict[str, Any]]:
    entries = value.get("before")
    return [one for one in entries if isinstance(one, dict)] if isinstance(entries, list) else []


def _at_most(limit: str | None, most: str) -> bool:
    return limit is not None and Decimal(limit) <= Decimal(most)


def _at_least(limit: str | None, least: str) -> bool:
    return limit is not None and Decimal(limit) >= Decimal(least)


# Rule C8: kind, the key's value where it matters, what satisfies it, how to write it. 0.05 mg/L is where harm
# by un-ionized ammonia begins (Univ. of Florida IFAS EDIS, Ammonia, FA16/FA031, 1990/1996, read in a copy).
_GATE: tuple[tuple[str, str | None, Callable[[Condition], bool], str], ...] = (
    ("day", None, lambda c: int(c.value) >= 3, "{day = 3} or later"),
    ("ate", None, lambda c: int(c.value) >= 2, "{ate = 2} or more"),
    ("no_sign", None, lambda c: True, '{no_sign = "A"}'),
    (
        "reading",
        "uia",
        lambda c: _at_most(c.high, "0.05") and (c.within_hours or 99) <= 24 and c.or_word is None,
        '{reading = "uia", max = "0.05 mg/L", within = "24 h"} or stricter',
    ),
    (
        "reading",
        "nitrite",
        lambda c: c.high is not None and (c.within_hours or 99) <= 24 and c.or_word is None,
        '{reading = "nitrite", max = ..., within = "24 h"} or stricter',
    ),
    (
        "steady",
        "temperature",
        lambda c: None not in (c.low, c.high) and (c.within_hours or 0) >= 24 and c.or_word is None,
        '{steady = "temperature", min = ..., max = ..., within = "24 h"} or longer',
    ),
    (
        "reading",
        "oxygen",
        lambda c: _at_least(c.low, "5"),
        '{reading = "oxygen", min = "5 mg/L", or_word = "..."} or stricter',
    ),
)


def _gate_missing(before: tuple[Condition, ...], raw: list[dict[str, Any]]) -> list[str]:
    """The before-checks of rule C8 that are not there; one that is there but misspelt was noted already."""
    missing = []
    for kind, subject, enough, words in _GATE:
        same = [c for c in before if c.kind == kind and subject in (None, c.value)]
        written = [one for one in raw if kind in one and subject in (None, one[kind])]
        if not any(enough(c) for c in same) and len(written) <= len(same):
            missing.append(f"a before-check {words}")
    return missing


def whose(treatment: Treatment) -> str:
    """Whose task a dose is: the water's that is dosed, or the batch's that is dipped or fed."""
    return treatment.water if treatment.water in ("system", "tank") else "batch"
