"""The grammar of templates (``format = 1``): each table, its keys, their types, and what goes with what.

protocols/README.md explains every key, and a test keeps the two alike.
"""

from __future__ import annotations

from typing import NamedTuple

from quarantine.protocol.model import EVENTS, MORE_EVENTS, READINGS
from quarantine.readings import COMPUTED
from quarantine.templates import shipped as shipped


class Key(NamedTuple):
    """One key of a table: its type in words, and ``required``, ``optional`` or its default."""

    type: str
    need: str = "optional"


_STATUS = "read | second-hand | common practice | from memory"
_DAYS = "mon | tue | wed | thu | fri | sat | sun"
_EVENT = "pause | extend | restart | note"
_MEASURED = " | ".join(name for name in READINGS if name not in COMPUTED)

GRAMMAR: dict[str, dict[str, Key]] = {
    "protocol": {
        "format": Key("whole number", "required"),
        "id": Key("id", "required"),
        "revision": Key("whole number", "required"),
        "title": Key("text", "required"),
        "summary": Key("text", "required"),
        "author": Key("text", "required"),
        "reviewer": Key("text"),
        "date": Key("date", "required"),
        "water": Key("fresh | brackish | marine | any", "required"),
        "fish": Key("text", "required"),
        "cautions": Key("list of text"),
        "reference": Key("tables of reference", "required"),
        "period": Key("tables of period", "required"),
        "step": Key("tables of step", "required"),
        "events": Key("table events", "required"),
        "criterion": Key("tables of condition", "required"),
    },
    "reference": {
        "key": Key("id", "required"),
        "cite": Key("text", "required"),
        "status": Key(_STATUS, "required"),
    },
    "period": {
        "id": Key("id", "required"),
        "title": Key("text", "required"),
        "length": Key("days", "required"),
        "counts": Key("calendar | drug-free | clear | in-range", "required"),
        "reading": Key(_MEASURED),
        "min": Key("amount"),
        "max": Key("amount"),
        "start": Key("table start", "required"),
        "references": Key("list of id", "required"),
    },
    "step": {
        "id": Key("id", "required"),
        "kind": Key("look | feed | test | change | dose | chore | move", "required"),
        "title": Key("text", "required"),
        "for": Key("system | tank | batch"),
        "start": Key("table start", "required"),
        "repeat": Key("table repeat"),
        "window": Key("table window"),
        "after_window": Key("shift | keep | reopen"),
        "treatment": Key("table treatment"),
        "reads": Key(f"list of {_MEASURED}"),
        "fraction": Key("percent"),
        "ramp": Key("table ramp"),
        "who": Key("anyone | keeper | adult", "anyone"),
        "before": Key("tables of condition"),
        "when": Key("tables of condition"),
        "stop": Key("tables of condition"),
        "note": Key("text"),
        "references": Key("list of id", "required"),
    },
    "start": {
        "arrival": Key("duration"),
        "entered": Key("duration"),
        "after": Key("id"),
        "begun": Key("id"),
        "between": Key("id"),
        "sign": Key("sign"),
        "reading": Key(" | ".join(READINGS)),
        "word": Key("text"),
        "by": Key("duration", "0 d"),
        "min": Key("amount"),
        "max": Key("amount"),
    },
    "repeat": {
        "every": Key("duration"),
        "by_temperature": Key("tables of band"),
        "as_needed": Key("duration"),
        "daily": Key("whole number"),
        "times": Key("whole number"),
        "until": Key("id"),
        "latest": Key("hours"),
        "then": Key("reopen | keep | shift"),
        "from": Key("planned | given", "planned"),
    },
    "band": {
        "at_least": Key("temperature"),
        "below": Key("temperature"),
        "every": Key("duration", "required"),
        "before": Key("duration"),
    },
    "ramp": {
        "reading": Key("temperature | salinity", "required"),
        "to": Key("amount", "required"),
        "by": Key("amount", "required"),
    },
    "window": {
        "from": Key("time", "required"),
        "until": Key("time", "required"),
        "late": Key("duration"),
        "weekdays": Key(f"list of {_DAYS}"),
    },
    "treatment": {
        "regimen": Key("id", "required"),
        "target": Key("amount"),
        "mode": Key("as published | replace removed | top up to a reading", "required"),
        "water": Key("system | tank | vessel | food", "required"),
        "filter": Key("running | off"),
        "off": Key("list of carbon | uv | ozone | skimmer | auto-top-up"),
        "clearing": Key("text"),
        "after_change": Key("nothing | full", "nothing"),
        "witness": Key("true or false"),
        "allowance": Key("percent"),
        "longest": Key("amount"),
    },
    "condition": {
        "day": Key("whole number"),
        "ate": Key("whole number"),
        "no_sign": Key("A | B | C"),
        "reading": Key(" | ".join(READINGS)),
        "steady": Key(" | ".join(READINGS)),
        "word": Key("text"),
        "period": Key("id"),
        "clear_days": Key("whole number"),
        "feeding_days": Key("whole number"),
        "days_since_death": Key("whole number"),
        "days_since_dose": Key("whole number"),
        "level": Key("id"),
        "counts": Key("balanced"),
        "tasks": Key("settled"),
        "sign": Key("sign"),
        "event": Key(" | ".join((*EVENTS, *MORE_EVENTS))),
        "group": Key("id"),
        "min": Key("amount"),
        "max": Key("amount"),
        "within": Key("hours"),
        "at_most": Key("percent"),
        "or_word": Key("text"),
        "title": Key("text"),
        "reference": Key("id"),
    },
    "events": {
        **{event: Key(_EVENT, "required") for event in EVENTS},
        **{event: Key(_EVENT) for event in MORE_EVENTS},
    },
}

STARTS = ("arrival", "entered", "after", "begun", "between", "sign", "reading", "word")
CONDITIONS = tuple(list(GRAMMAR["condition"])[:17])
_NO_FIGURES = ("no_sign", "word", "period", "counts", "tasks", "sign", "event", "group")
FIGURES = tuple(kind for kind in CONDITIONS if kind not in _NO_FIGURES)
BRANCHES = {
    "when": ("reading", "steady", "no_sign", "sign", "event", "word", "group"),
    "stop": ("reading", "no_sign", "sign", "event", "word"),
}
"""The kinds of condition that a branch of the plan may ask for; sign, event and group stand nowhere else."""

EXACTLY_ONE: dict[str, tuple[tuple[str, ...], ...]] = {
    "start": (STARTS,),
    "repeat": (("every", "by_temperature", "as_needed"), ("times", "until")),
    "condition": (CONDITIONS,),
}
"""Of each of these groups a table has exactly one key."""

PATTERNS = {
    "id": r"(?=.{1,40}$)[A-Za-z0-9]+(-[A-Za-z0-9]+)*",
    "days": r"(?!0+ ?d)(\d{1,4}) ?(d)",
    "hours": r"(?!0+ ?h)(\d{1,4}) ?(h)",
    "duration": r"(\d{1,4}) ?([dh])",
    "time": r"([01]\d|2[0-3]):[0-5]\d",
    "percent": r"(\d{1,3}(?:\.\d{1,4})?) ?%",
}
"""How a value of a type is written, whole; the JSON Schema for editors holds the same."""

WHOLE = range(1, 10_000)
