"""Settings: one table; option > environment > settings.toml in the home folder > default. Works without a file."""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

from quarantine.failures import Failure, Refused

FILE = "settings.toml"


class Setting(NamedTuple):
    """One setting: its name, default (text), a check that returns a complaint or "", and its help."""

    name: str
    default: str
    check: Callable[[str], str]
    help: str


def _step_of(kind: str) -> Callable[[str], str]:
    def check(text: str) -> str:
        from quarantine.quantity import read

        try:
            value = read(text, kind, "step").value
        except Failure as refusal:
            return refusal.sentence.rstrip(".")
        return "" if value > 0 else "a step is more than nothing"

    return check


def _syringe(text: str) -> str:
    """Drops differ by product (25 to 45 in 1 mL from one syringe, in a thread of the Unified Code for Units of Measure;
    USP 32, chapter 1101: a calibrated dropper may be 15 % off): measured, they are one product's step."""
    if re.search(r"\bdrops?\b|\bgtt\b", text.casefold()):
        return (
            "drops differ by product; count those of a product in 1 mL and say them of it: quarantine stock add ... "
            '--step "20 measured drops per mL"'
        )
    return _step_of("volume")(text)


def _clock(text: str) -> str:
    return "" if re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", text) else "write a time of day as HH:MM, such as 09:00"


def _database(text: str) -> str:
    return "" if re.match(r"(sqlite|postgresql)://", text) else "write sqlite:///FILE or postgresql://HOST/NAME"


def _ring_as(text: str) -> str:
    return "" if text in ("whole day", "timed") else "write whole day or timed"


def _any(text: str) -> str:
    return ""


SETTINGS = (
    Setting("database", "", _database, "where the record is kept; empty: record.db in the home folder (SQLite)"),
    Setting("keeper", "", _any, "who acts when --as is left out and more than one keeper is on record"),
    Setting(
        "scale_step",
        "0.01 g",
        _step_of("mass"),
        "the finest step of your scale; doses are rounded down to it",
    ),
    Setting(
        "syringe_step",
        "0.1 mL",
        _syringe,
        "the finest step of your syringe; what is drawn is rounded down to it, or to its product's own step",
    ),
    Setting("ring_at", "09:00", _clock, "local time at which a calendar entry for a whole day rings"),
    Setting(
        "ring_as",
        "whole day",
        _ring_as,
        "whole day: rings right on Apple, Nextcloud and DAVx5, at 15:00 on the eve in Outlook; timed: a short entry at "
        "ring_at, right in Outlook too, which moves when you travel (published reports, not tried on devices)",
    ),
)


class Home(NamedTuple):
    """The folder that holds the record and the settings, and how it was chosen."""

    path: Path
    origin: str
    values: dict[str, tuple[str, str]]
    """setting -> (value, where it came from)"""

    def value(self, name: str) -> str:
        """The value of a setting, as text."""
        return self.values[name][0]

    @property
    def database(self) -> str:
        """The URL of the record."""
        return self.value("database") or f"sqlite:///{self.path / 'record.db'}"


def open_home(option: str | None) -> Home:
    """The home folder and its settings; nothing is created. Raises Refused for a bad settings file."""
    path, origin = _choose(option)
    written = _read_file(path / FILE)
    values = {}
    for setting in SETTINGS:
        variable = f"QUARANTINE_{setting.name.upper()}"
        if variable in os.environ:
            value, whence = os.environ[variable], variable
        elif setting.name in written:
            value, whence = written[setting.name], str(path / FILE)
        else:
            value, whence = setting.default, "default"
        if value and (complaint := setting.check(value)):
            raise Refused(f"Setting {setting.name} = {value!r} ({whence}): {complaint}.")
        values[setting.name] = (value, whence)
    return Home(path, origin, values)


def _choose(option: str | None) -> tuple[Path, str]:
    if option:
        return Path(option).expanduser().absolute(), "--home"
    if os.environ.get("QUARANTINE_HOME"):
        return Path(os.environ["QUARANTINE_HOME"]).expanduser().absolute(), "QUARANTINE_HOME"
    from platformdirs import user_data_path  # 13 ms: only when nothing else says where

    return user_data_path("fish-quarantine", appauthor=False), "the platform's folder for data"


def _read_file(path: Path) -> dict[str, str]:
    try:
        text = path.read_text(encoding="utf-8")
    except (FileNotFoundError, NotADirectoryError):
        return {}
    except (OSError, UnicodeDecodeError) as error:
        raise Refused(f"The settings file {path} cannot be read: {error}.") from error
    import tomllib

    try:
        document: dict[str, Any] = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise Refused(f"The settings file {path} is not TOML: {error}.") from error
    known = [s.name for s in SETTINGS]
    for name, value in document.items():
        if name not in known:
            raise Refused(f"The settings file {path} has an unknown setting {name!r}; known: {', '.join(known)}.")
        if not isinstance(value, str):
            raise Refused(f'Setting {name} in {path} must be text in quotes, such as {name} = "...".')
    return document
