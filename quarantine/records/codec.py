"""How values are written in the record: exact text, the same in the tables and in the journal."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from quarantine.failures import Refused

INSTANT = "%Y-%m-%dT%H:%M:%SZ"


def text_of_instant(at: datetime) -> str:
    """Fixed-width UTC text, whole seconds: sorts as it reads. Raises ValueError for a naive time."""
    if at.tzinfo is None:
        raise ValueError("an instant needs a zone")
    return at.astimezone(UTC).strftime(INSTANT)


def instant(text: str) -> datetime:
    """The instant of a fixed-width UTC text."""
    return datetime.fromisoformat(text)


def plain(value: Any) -> Any:
    """A value as the journal and the tables hold it: text, whole number, truth or nothing; never a float.

    Raises Refused for text that is not Unicode, TypeError or ValueError for what has no exact text.
    """
    if isinstance(value, str):
        return _unicode(value)
    if value is None or isinstance(value, (bool, int)):
        return value
    if isinstance(value, datetime):
        return text_of_instant(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal):
        if not value.is_finite():
            raise ValueError(f"{value} is not an amount")
        return format(value, "f")
    if isinstance(value, dict):
        return {plain(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    raise TypeError(f"{type(value).__name__} has no exact text: {value!r}")


def _unicode(text: str) -> str:
    """The text itself. A byte that a terminal could not decode arrives as half a character: no file can hold it."""
    if not text.isascii():
        try:
            text.encode()
        except UnicodeEncodeError:
            shown = text.encode(errors="replace").decode()
            raise Refused(f"The text {shown!r} holds characters that cannot be read; write it again.") from None
    return text


def canonical(document: Any) -> str:
    """Canonical JSON: keys sorted, no spaces, amounts as text, no floats.

    Without floats this is RFC 8785 (JSON Canonicalization Scheme, IETF, 2020).
    """
    return json.dumps(_sorted(document), separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def _sorted(value: Any) -> Any:
    """Keys in the order of their UTF-16 code units, as RFC 8785 wants: a sign that a keeper named can be a key."""
    if isinstance(value, dict):
        keys = sorted(value) if all(map(str.isascii, value)) else sorted(value, key=lambda k: k.encode("utf-16-be"))
        return {key: _sorted(value[key]) for key in keys}
    return [_sorted(item) for item in value] if isinstance(value, (list, tuple)) else value
