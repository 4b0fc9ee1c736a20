"""One function for each type of the grammar: from what stands in the file to its value, or to what was expected."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from quarantine.failures import Refused
from quarantine.protocol.grammar import PATTERNS, WHOLE
from quarantine.protocol.model import READINGS, Duration
from quarantine.readings import PARAMETERS
from quarantine.templates import shipped as shipped


class Bad(Exception):
    """A value is not of its type; the argument says what was expected, ``why`` what else to know."""

    def __init__(self, expected: str, why: str = "") -> None:
        super().__init__(expected)
        self.expected = expected
        self.why = why


def _text(value: object) -> str:
    if not isinstance(value, str) or not value.split():
        raise Bad("a text")
    # Texts end up in lists, calendars and on paper: one line, whatever way it was typed.
    text = " ".join(value.split())
    if not text.isprintable():
        raise Bad("a text without control characters")
    return text


def _id(value: object) -> str:
    if not isinstance(value, str) or not re.fullmatch(PATTERNS["id"], value):
        raise Bad("a name of letters, digits and hyphens, 40 at most")
    return value


def _whole(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value not in WHOLE:
        raise Bad("a whole number from 1 to 9999")
    return value


def _date(value: object) -> date:
    if not isinstance(value, date) or isinstance(value, datetime):
        raise Bad("a date without quotes such as 2026-11-25")
    return value


def _duration(value: object, kind: str = "duration") -> Duration:
    found = re.fullmatch(PATTERNS[kind], value) if isinstance(value, str) else None
    if not found:
        days, hours = 'days such as "4 d"', 'hours such as "72 h"'
        raise Bad({"days": days, "hours": hours}.get(kind, f"{days} or {hours}"))
    return Duration(int(found[1]), found[2])


def _days(value: object) -> Duration:
    return _duration(value, "days")


def _hours(value: object) -> Duration:
    return _duration(value, "hours")


def _time(value: object) -> str:
    if not isinstance(value, str) or not re.fullmatch(PATTERNS["time"], value):
        raise Bad('a local time such as "08:00"')
    return value


def _percent(value: object) -> Decimal:
    found = re.fullmatch(PATTERNS["percent"], value) if isinstance(value, str) else None
    if not found or not 0 < Decimal(found[1]) <= 100:
        raise Bad('a percentage above 0 up to 100 such as "25 %"')
    return Decimal(found[1])


def _truth(value: object) -> bool:
    if not isinstance(value, bool):
        raise Bad("true or false, without quotes")
    return value


def _sign(value: object) -> str:
    from quarantine.signs import SIGNS

    return choice(value, list(SIGNS))


def _amount(value: object) -> str:
    if not isinstance(value, str):
        raise Bad('an amount with its unit such as "0.05 mg/L"')
    return value


def _temperature(value: object) -> Decimal:
    return Decimal(read_limit(value, "temperature"))


def read_limit(value: object, parameter: str) -> str:
    """A limit as decimal text in the parameter's unit of READINGS; pH is a number with "pH"."""
    unit = READINGS[parameter]
    if parameter == "ph":
        found = re.fullmatch(r"(?:pH )?(\d{1,2}(?:\.\d{1,3})?)(?: ?pH)?", value) if isinstance(value, str) else None
        if not found or "pH" not in str(value) or Decimal(found[1]) > 14:
            raise Bad('a pH such as "7.8 pH"')
        return plain(Decimal(found[1]))
    from quarantine import quantity

    kind = "temperature" if unit == "°C" else "concentration"
    example = {"°C": "25 °C", "g/L": "33 g/L"}.get(unit, "0.05 mg/L")
    name = PARAMETERS[parameter].title
    try:
        return plain(quantity.to(quantity.read(_amount(value), kind, name), unit))
    except Refused as error:
        raise Bad(f'an amount in {unit} such as "{example}"', error.sentence) from None


def plain(value: Decimal) -> str:
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


TYPES: dict[str, Callable[[object], Any]] = {
    "text": _text,
    "id": _id,
    "whole number": _whole,
    "date": _date,
    "days": _days,
    "hours": _hours,
    "duration": _duration,
    "time": _time,
    "percent": _percent,
    "true or false": _truth,
    "sign": _sign,
    "amount": _amount,
    "temperature": _temperature,
}


def choice(value: object, allowed: list[str]) -> str:
    if not isinstance(value, str) or value not in allowed:
        raise Bad(f"one of {', '.join(allowed)}" if len(allowed) > 1 else f'"{allowed[0]}"', near(value, allowed))
    return value


def near(value: object, known: Iterable[str]) -> str:
    from difflib import get_close_matches

    names = {name.casefold(): name for name in known}
    found = get_close_matches(str(value).casefold(), list(names), n=1, cutoff=0.6)
    return f"did you mean {names[found[0]]!r}?" if found else ""


def as_found(value: object) -> str:
    """A value as a person would find it in the file, shortened."""
    if isinstance(value, str):
        text = "".join(one if one.isprintable() else repr(one)[1:-1] for one in " ".join(value.split()))
        return f'"{text if len(text) <= 40 else text[:39] + "…"}"'
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list" if value else "an empty list"
    return str(value)[:40]
