"""Protocol templates: TOML in, a checked Protocol out.

The grammar is :mod:`quarantine.protocol.grammar`; protocols/README.md explains every key of it. ``read`` reports every
mistake at once, each with file, line, key, what was expected and what was found. Medicated figures are not in a
template: a dose names a row of the formulary by its id.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from quarantine.failures import Refused, Unknown
from quarantine.protocol.grammar import EXACTLY_ONE, FIGURES, GRAMMAR, PATTERNS, WHOLE, Key
from quarantine.protocol.lines import Path_, key_lines
from quarantine.protocol.model import (
    EVENTS,
    FORMAT,
    MORE_EVENTS,
    READINGS,
    WHOLE_DAY,
    Band,
    Duration,
    Period,
    Problem,
    Protocol,
    ProtocolError,
    Ramp,
    Repeat,
    Start,
    Step,
    Treatment,
    Window,
)
from quarantine.protocol.reader import Reader
from quarantine.protocol.tables import OWN, TABLES, sentence
from quarantine.protocol.whole import check_whole
from quarantine.templates import Reference, shipped

__all__ = [
    "EVENTS",
    "EXACTLY_ONE",
    "FIGURES",
    "FORMAT",
    "GRAMMAR",
    "MORE_EVENTS",
    "OWN",
    "PATTERNS",
    "READINGS",
    "WHOLE",
    "WHOLE_DAY",
    "Band",
    "Duration",
    "Key",
    "Path_",
    "Period",
    "Problem",
    "Protocol",
    "ProtocolError",
    "Ramp",
    "Reference",
    "Repeat",
    "Start",
    "Step",
    "Treatment",
    "Window",
    "key_lines",
    "load",
    "read",
    "sentence",
    "shipped",
]


def read(text: str, file: str, *, frozen: bool = False) -> Protocol:
    """The checked protocol of a TOML text; ``file`` is only the name that mistakes are shown with.

    Raises ProtocolError with every mistake at once. A ``frozen`` copy was checked when its batch started: what a
    later version would object to does not stop a running batch.
    """
    reader = Reader(file, *_parsed(text, file), TABLES)
    _check_format(reader)
    found = reader.table("protocol", reader.data, ())
    check_whole(reader)
    if reader.problems and not (frozen and _nothing_lost(reader, found)):
        raise ProtocolError(file, sorted(reader.problems, key=lambda problem: problem.line))
    import hashlib

    return Protocol(
        **{key: found[key] for key in GRAMMAR["protocol"] if key in Protocol._fields},
        references={one.key: one for one in found["reference"]},
        periods=found["period"],
        steps=found["step"],
        criteria=found["criterion"],
        text=text,
        fingerprint=hashlib.sha256(text.encode()).hexdigest(),
    )


def _nothing_lost(reader: Reader, found: dict[str, Any]) -> bool:
    """Whether every step, period and criterion of the text was read: a running batch may lose none silently."""
    return all(len(found[key] or ()) == len(reader.data.get(key) or ()) for key in ("step", "period", "criterion"))


def _parsed(text: str, file: str) -> tuple[dict[str, Any], dict[Path_, int]]:
    import tomllib

    try:
        data = tomllib.loads(text)
        return data, key_lines(text.replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"^(.*?) \(at (?:line (\d+), column (\d+)|end of document)\)$", str(error), re.DOTALL)
        line = int(found[2]) if found and found[2] else text.count("\n") + 1
        what = found[1] if found else str(error)
        column = f" at column {found[3]}" if found and found[3] else ""
        raise ProtocolError(file, [Problem(file, line, "", f"expected TOML, got{column}: {what}")]) from None
    except RecursionError:
        deep = "expected a protocol, got brackets nested too deep"
        raise ProtocolError(file, [Problem(file, 1, "", deep)]) from None


def _check_format(reader: Reader) -> None:
    """A newer format is refused alone: its other keys cannot be judged."""
    value = reader.data.get("format")
    if value is None or value == FORMAT:
        return
    newer = isinstance(value, int) and not isinstance(value, bool) and value > FORMAT
    why = "this template is for a newer version of quarantine; update the program" if newer else ""
    reader.wrong(("format",), f"{FORMAT}, the newest format this version reads", value, why)
    raise ProtocolError(reader.file, reader.problems)


def load(id_or_path: str | Path) -> Protocol:
    """A shipped protocol by its id, or a file. Raises Unknown, Refused (unreadable) or ProtocolError."""
    known = shipped()
    path = known.get(str(id_or_path)) or Path(id_or_path)
    if not path.exists() and path.suffix != ".toml" and len(path.parts) == 1:
        raise Unknown("protocol", str(id_or_path), list(known), "; a file is named by its path")
    try:
        text = path.read_bytes().decode()
    except UnicodeDecodeError as error:
        raise Refused(f"The protocol {path} is not UTF-8 text (byte {error.start}); save it as UTF-8.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "not a file name"
        raise Refused(f"The protocol {path} cannot be read: {reason}; check the name.") from None
    return read(text, str(path))
