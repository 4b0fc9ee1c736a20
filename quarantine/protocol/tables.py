"""The tables of a template but for a treatment: each from what was written to its value, with its own checks."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from itertools import pairwise
from typing import Any

from quarantine.facts import Condition
from quarantine.failures import Refused
from quarantine.protocol.doses import check_dose, read_treatment, whose
from quarantine.protocol.grammar import BRANCHES, CONDITIONS, EXACTLY_ONE, FIGURES, STARTS
from quarantine.protocol.lines import Path_
from quarantine.protocol.model import (
    AS,
    MORE_EVENTS,
    READINGS,
    WHOLE_DAY,
    Band,
    Duration,
    Period,
    Ramp,
    Repeat,
    Start,
    Step,
    Window,
)
from quarantine.protocol.reader import Reader
from quarantine.protocol.values import Bad, near, plain, read_limit
from quarantine.readings import PARAMETERS
from quarantine.templates import Reference
from quarantine.templates import shipped as shipped


def _reference(reader: Reader, value: object, path: Path_) -> Reference | None:
    found = reader.table("reference", value, path)
    return None if None in found.values() else Reference(**found)


def _start(reader: Reader, value: object, path: Path_) -> Start | None:
    found = reader.table("start", value, path)
    kind = reader.one_of(found, STARTS, value, path)
    if kind is None or not isinstance(value, dict):
        return None
    if kind in ("arrival", "entered") and "by" in value:
        reader.wrong((*path, "by"), f"no `by`: {kind} holds the time itself", value["by"])
    low, high = _limits(reader, found, kind, path)
    if kind in ("arrival", "entered"):
        return Start(kind, None, found[kind])
    return Start(kind, found[kind], found["by"], low, high) if found["by"] else None


def _limits(reader: Reader, found: dict[str, Any], kind: str, path: Path_) -> tuple[str | None, str | None]:
    """The limits min and max of a reading, in its own unit and in order; no other kind has any."""
    limits: list[str | None] = [None, None]
    for n, key in enumerate(("min", "max")):
        if found[key] is None:
            continue
        if kind not in ("reading", "steady"):
            reader.wrong((*path, key), f"no `{key}`: {kind} has no limits", found[key])
            continue
        try:
            limits[n] = read_limit(found[key], found[kind])
        except Bad as bad:
            reader.wrong((*path, key), bad.expected, found[key], bad.why)
            limits[n] = None
    low, high = limits
    if kind in ("reading", "steady") and found["min"] is None and found["max"] is None:
        reader.wrong(path, "`min`, `max` or both beside a reading")
    if low is not None and high is not None and Decimal(low) > Decimal(high):
        reader.wrong((*path, "min"), f"at most the max {found['max']}", found["min"])
    return low, high


def _band(reader: Reader, value: object, path: Path_) -> Band | None:
    found = reader.table("band", value, path)
    low, high, every, before = found.values()
    if low is None and high is None:
        reader.wrong(path, "`at_least`, `below` or both in a row of a temperature table")
    if low is not None and high is not None and low >= high:
        reader.wrong((*path, "at_least"), "a temperature under `below`", value["at_least"])  # type: ignore[index]
    if every is not None and every.value == 0:
        reader.wrong((*path, "every"), "a time above zero", str(every))
    if every is not None and before is not None and _hours_of_text(before) <= _hours_of_text(every):
        reader.wrong((*path, "before"), f"a time after the {every} of `every`", str(before))
    return Band(low, high, every, before) if every else None


def _hours_of_text(duration: Duration) -> int:
    return duration.value * (24 if duration.unit == "d" else 1)


def _ramp(reader: Reader, value: object, path: Path_) -> Ramp | None:
    """A value to go to and the most of one step, each in the parameter's unit (a step of degrees is a difference)."""
    from quarantine import quantity

    found = reader.table("ramp", value, path)
    if None in found.values():
        return None
    unit = READINGS[found["reading"]]
    kind = "temperature" if unit == "°C" else "concentration"
    try:
        to = Decimal(read_limit(found["to"], found["reading"]))
        by = quantity.to(quantity.read(found["by"], kind, "by"), unit, difference=unit == "°C")
    except (Bad, Refused) as bad:
        reader.wrong(path, f"`to` and `by` as amounts in {unit}", value, str(bad))
        return None
    if by <= 0:
        reader.wrong((*path, "by"), "a step above zero", found["by"])
    return Ramp(found["reading"], to, by)


def _repeat(reader: Reader, value: object, path: Path_) -> Repeat | None:
    before = len(reader.problems)
    found = reader.table("repeat", value, path)
    for kinds in EXACTLY_ONE["repeat"]:
        reader.one_of(found, kinds, value, path)
    _check_as_needed(reader, found, value, path)
    bands: tuple[Band, ...] = found["by_temperature"]
    steps = [found["every"]] if found["every"] else [band.every for band in bands]
    if found["every"] and found["every"].value == 0:
        reader.wrong((*path, "every"), "a time above zero", str(found["every"]))
    _check_bands(reader, bands, (*path, "by_temperature"))
    _check_latest(reader, found, steps, path)
    found["from_"] = found.pop("from")
    return Repeat(**found) if len(reader.problems) == before else None


def _check_as_needed(reader: Reader, found: dict[str, Any], value: object, path: Path_) -> None:
    """Rule A13: a gap above zero, counted from the last one given; what is asked for has no interval of its own."""
    gap = found["as_needed"]
    if gap is None:
        if found["daily"] is not None:
            reader.wrong((*path, "daily"), "`daily` only beside `as_needed`", found["daily"])
        return
    if gap.value == 0:
        reader.wrong((*path, "as_needed"), "a time above zero", str(gap))
    if found["latest"] is not None:
        reader.wrong((*path, "latest"), "no `latest`: what is given as needed is never too late", str(found["latest"]))
    if isinstance(value, dict) and value.get("from") == "planned":
        reader.wrong((*path, "from"), "given, because the gap counts from the last one given (rule A13)", "planned")
    found["from"] = "given"


def _check_bands(reader: Reader, bands: tuple[Band, ...], path: Path_) -> None:
    """Rows of a temperature table run from cold to warm and do not overlap."""
    for n, (cold, warm) in enumerate(pairwise(bands)):
        if cold.below_c is None or warm.at_least_c is None or cold.below_c > warm.at_least_c:
            reader.wrong((*path, n + 1), "rows from cold to warm that do not overlap", "an overlap")


def _check_latest(reader: Reader, found: dict[str, Any], steps: list[Duration], path: Path_) -> None:
    """An elapsed ceiling stands beside hours only, says what then, and is not before the repeat itself."""
    latest, then = found["latest"], found["then"]
    if then is not None and latest is None:
        reader.wrong((*path, "then"), "`then` only beside `latest`", then)
    if latest is None:
        return
    if then is None:
        reader.wrong((*path, "then"), "what happens after `latest` (reopen, keep or shift)")
    if any(step.unit != "h" for step in steps):
        reader.wrong((*path, "latest"), "`latest` only where the repeat is in hours", str(latest))
    elif any(step.value > latest.value for step in steps):
        reader.wrong((*path, "latest"), "at least the time between two runs", str(latest))


def _window(reader: Reader, value: object, path: Path_) -> Window | None:
    found = reader.table("window", value, path)
    if found["from"] is None or found["until"] is None:
        return None
    if found["from"] >= found["until"]:
        reader.wrong((*path, "until"), f"a time after {found['from']} on the same day", found["until"])
    return Window(found["from"], found["until"], found["late"], found["weekdays"])


def _condition(reader: Reader, value: object, path: Path_) -> Condition | None:
    before = len(reader.problems)
    found = reader.table("condition", value, path)
    noted = len(reader.problems)
    fits = _fitting(reader, value, path)
    if len(reader.problems) > noted:
        return None
    kind = reader.one_of(found, fits, value, path)
    if kind is None or not isinstance(value, dict):
        return None
    low, high = _limits(reader, found, kind, path)
    _check_companions(reader, value, kind, path)
    if len(reader.problems) > before:
        return None
    read = kind in ("reading", "steady")
    share = None if found["at_most"] is None else f"{plain(found['at_most'])} %"
    condition = Condition(
        kind,
        found[kind],
        found["title"] or "",
        low,
        high,
        READINGS[found[kind]] if read else None,
        found["within"].value if read else None,
        share,
        found["or_word"],
        found["reference"] or "",
    )
    return condition._replace(title=condition.title or sentence(condition))


def _fitting(reader: Reader, value: object, path: Path_) -> tuple[str, ...]:
    """The kinds of condition that may stand here: what can branch the plan is asked of the facts themselves, and what
    only branches is no check and no criterion. One that stands in the wrong place is told."""
    where = str(path[-2])
    fits = BRANCHES.get(where, tuple(one for one in CONDITIONS if one not in ("sign", "event", "group")))
    for kind in CONDITIONS if isinstance(value, dict) else ():
        if kind in value and kind not in fits:  # type: ignore[operator]
            reader.wrong((*path, kind), f"in `{where}` one of {', '.join(fits)}", kind)
    return fits


def _check_group(reader: Reader, name: str, path: Path_) -> None:
    from quarantine.formulary.groups import shipped as shipped_groups

    known = [group.id for group in shipped_groups().groups if group.genera]
    if name not in known:
        reader.wrong(
            path,
            "a group of animals that is known by its genera",
            name,
            near(name, known) or f"known: {', '.join(known)}",
        )


def _check_companions(reader: Reader, value: dict[str, Any], kind: str, path: Path_) -> None:
    """What must stand beside a kind of condition, and what only makes sense beside another."""
    read = kind in ("reading", "steady")
    if read and "within" not in value:
        reader.wrong((*path, "within"), 'how old the reading may be, in hours such as "24 h"')
    if kind == "level" and "at_most" not in value:
        reader.wrong((*path, "at_most"), 'a percentage of the target such as "5 %"')
    if kind == "group":
        _check_group(reader, value["group"], (*path, "group"))
    if kind == "level" and isinstance(value["level"], str):
        _check_substance(reader, value["level"], (*path, "level"))
    for key, fits in (("within", read), ("or_word", read), ("at_most", kind == "level")):
        if key in value and not fits:
            reader.wrong((*path, key), f"no `{key}` beside {kind}", value[key])
    if kind in FIGURES and "reference" not in value:
        reader.wrong((*path, "reference"), "the key of a [[reference]], because this condition holds a figure")


def _check_substance(reader: Reader, name: str, path: Path_) -> None:
    from quarantine import formulary

    if name not in formulary.names():
        known = ", ".join(formulary.names())
        reader.wrong(path, "a substance of the formulary", name, near(name, formulary.names()) or f"known: {known}")


def sentence(condition: Condition) -> str:
    """The default title of a condition: what is asked for, in one line."""
    value = condition.value
    days = f"{value} day{'' if value == 1 else 's'}"
    subject = PARAMETERS[str(value)].title if condition.kind in ("reading", "steady") else ""
    return {
        "day": f"Day {value} or later",
        "ate": f"Fish ate on {value} looked day{'' if value == 1 else 's'}",
        "no_sign": f"No sign of severity {value}{'' if value == 'A' else ' or worse'} is open",
        "reading": f"{_capital(subject)} {_range(condition)}, read within {condition.within_hours} h",
        "steady": f"{_capital(subject)} {_range(condition)} for {condition.within_hours} h",
        "word": f"{value}",
        "period": f"Period {value} is complete",
        "clear_days": f"{value} clear day{'' if value == 1 else 's'}, looked at and without a sign",
        "feeding_days": f"{days} of feeding, every one on which food was offered",
        "days_since_death": f"{days} since the last death",
        "days_since_dose": f"{days} since the last dose ended",
        "level": f"{_capital(str(value))} in the water at most {condition.share} of the last target",
        "counts": "The head count balances",
        "tasks": "Every task has an outcome",
        "sign": f"The sign {value} is open",
        "event": f"{_capital(str(value).replace('_', ' '))} has happened",
        "group": f"Fish of the group {value} are in the batch",
    }[condition.kind]


def _range(condition: Condition) -> str:
    low, high, unit = condition.low, condition.high, condition.unit
    amount = "{}" if condition.value == "ph" else f"{{}} {unit}"
    if low is None or high is None:
        return f"at least {amount.format(low)}" if high is None else f"at most {amount.format(high)}"
    return f"from {low} to {amount.format(high)}"


def _capital(text: str) -> str:
    return text if text == "pH" else text[:1].upper() + text[1:]


_FOR = {"look": "batch", "feed": "batch", "move": "batch"}
# Which kind of step each of these keys belongs to, and needs.
OWN = {"reads": "test", "fraction": "change", "treatment": "dose"}


def _step(reader: Reader, value: object, path: Path_) -> Step | None:
    before = len(reader.problems)
    found = reader.table("step", value, path)
    if not isinstance(value, dict):
        return None
    _check_own(reader, found, value, path)
    _check_move(reader, found, path)
    _check_ramp(reader, found, path)
    if found["repeat"] and found["repeat"].as_needed and found["start"] and found["start"].kind != "word":
        reader.wrong(
            (*path, "start"), "a `word`, because a keeper's word asks for what is given as needed", "another start"
        )
    _check_between(reader, found, path)
    if found["kind"] == "dose":
        check_dose(reader, found, value, path)
    if len(reader.problems) > before:
        return None
    place = whose(found["treatment"]) if found["treatment"] else _FOR.get(found["kind"], "system")
    found["for_"] = found.pop("for") or place
    return Step(
        **{
            **found,
            "window": found["window"] or WHOLE_DAY,
            "note": found["note"] or "",
            "line": reader.line(path),
        }
    )


def _check_own(reader: Reader, found: dict[str, Any], value: dict[str, Any], path: Path_) -> None:
    """A test has `reads`, a change `fraction`, a dose `treatment`: needed there and refused elsewhere."""
    for key, kind in OWN.items():
        if found["kind"] == kind and key not in value:
            reader.wrong((*path, key), f"`{key}`, because a {kind} needs it")
        if found["kind"] not in (kind, None) and key in value:
            reader.wrong((*path, key), f"`{key}` only in a {kind}", value[key])


def _check_move(reader: Reader, found: dict[str, Any], path: Path_) -> None:
    """Moving fish is a keeper's work, and says what happens when it was not done in time (rule A11)."""
    if found["kind"] != "move":
        return
    if found["who"] == "anyone":
        reader.wrong((*path, "who"), "keeper or adult, because a move handles every fish", "anyone")
    if found["for"] not in (None, "batch"):
        reader.wrong((*path, "for"), "batch, whose fish are moved", found["for"])
    if found["after_window"] is None:
        reader.wrong((*path, "after_window"), "shift, keep or reopen, because a move must say so (rule A11)")


def _check_between(reader: Reader, found: dict[str, Any], path: Path_) -> None:
    """What is done between two runs of another step has as many runs as that one says, and is no treatment itself."""
    if found["start"] is None or found["start"].kind != "between":
        return
    if found["kind"] not in ("change", "chore", "test", None):
        reader.wrong((*path, "start", "between"), "`between` only for a change, chore or test", found["kind"])
    if found["repeat"] is not None:
        reader.wrong((*path, "repeat"), "no `repeat`: it goes with the runs of the step it is between", "a repeat")


def _check_ramp(reader: Reader, found: dict[str, Any], path: Path_) -> None:
    """What is brought to a value step by step is a daily chore at most, and ends by a `stop` on that reading."""
    if found["ramp"] is None:
        return
    if found["kind"] not in ("chore", None):
        reader.wrong((*path, "ramp"), "`ramp` only in a chore", found["kind"])
    if found["repeat"] is None:
        reader.wrong((*path, "repeat"), "a `repeat`, because a ramp goes in steps")
    if not any(one.kind == "reading" and one.value == found["ramp"].parameter for one in found["stop"]):
        reader.wrong((*path, "stop"), f"a `stop` by a reading of {found['ramp'].parameter}, at which the ramp ends")


def _period(reader: Reader, value: object, path: Path_) -> Period | None:
    found = reader.table("period", value, path)
    band = {key: found.pop(key) for key in ("reading", "min", "max")}
    if None in found.values():
        return None
    if found["start"].kind == "between":
        reader.wrong((*path, "start", "between"), "another start: a period begins once", found["start"].subject)
    if found["counts"] != "in-range":
        for key in [key for key, said in band.items() if said is not None]:
            reader.wrong((*path, key), f"`{key}` only where days in range are counted", band[key])
        return Period(**found)
    if band["reading"] is None:
        reader.wrong((*path, "reading"), "what is read, because the period counts days in range", None)
        return None
    low, high = _limits(reader, band, "reading", path)
    return Period(**found, reading=band["reading"], low=low, high=high)


def _events(reader: Reader, value: object, path: Path_) -> dict[str, str] | None:
    found = reader.table("events", value, path)
    if found["outbreak"] not in ("restart", None):
        reader.wrong((*path, "outbreak"), "restart, because rule A7 says so", found["outbreak"])
    if found["no_reading"] == "note":
        why = "what was not read for over 36 hours is not known (rule A10)"
        reader.wrong((*path, "no_reading"), "pause, extend or restart", "note", why)
    for event, default in MORE_EVENTS.items():
        if found[event] is None:
            found[event] = found[default.removeprefix(AS)] if default.startswith(AS) else default
    return found


TABLES: dict[str, Callable[[Reader, object, Path_], Any]] = {
    "reference": _reference,
    "period": _period,
    "step": _step,
    "start": _start,
    "repeat": _repeat,
    "band": _band,
    "ramp": _ramp,
    "window": _window,
    "treatment": read_treatment,
    "condition": _condition,
    "events": _events,
}
