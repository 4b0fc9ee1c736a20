"""How values are written in the record: exact text, the same in the tables and in the journal."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

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
    """A value as the journal and the tables hold it: text, whole number, truth or nothing; never a float."""
    if value is None or isinstance(value, (str, bool, int)):
        return value
    if isinstance(value, datetime):
        return text_of_instant(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, dict):
        return {key: plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    raise TypeError(f"{type(value).__name__} has no exact text: {value!r}")


def canonical(document: Any) -> str:
    """Canonical JSON: keys ASCII and sorted, no spaces, amounts as text, no floats.

    Without floats and with ASCII keys this is RFC 8785 (JSON Canonicalization Scheme, IETF, 2020) already.
    """
    return json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
