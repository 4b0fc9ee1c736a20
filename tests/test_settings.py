"""Settings: option, then environment, then file, then default; and what a bad one is answered with."""

from __future__ import annotations

from pathlib import Path

import pytest

from quarantine.failures import Refused
from quarantine.settings import FILE, SETTINGS, open_home

DEFAULTS = {
    "database": "",
    "keeper": "",
    "scale_step": "0.01 g",
    "syringe_step": "0.1 mL",
    "ring_at": "09:00",
    "ring_as": "whole day",
}
GOOD = {
    "database": ("sqlite:///elsewhere.db", "postgresql://host/quarantine"),
    "keeper": ("Morning keeper", "Evening keeper"),
    "scale_step": ("0.1 g", "1 mg"),
    "syringe_step": ("0.01 mL", "50 uL"),
    "ring_at": ("07:30", "23:59"),
    "ring_as": ("timed", "whole day"),
}
BAD = [
    ("database", "mysql://host/name", "write sqlite:///FILE or postgresql://HOST/NAME"),
    ("database", "record.db", "write sqlite:///FILE or postgresql://HOST/NAME"),
    ("ring_at", "9:00", "write a time of day as HH:MM"),
    ("ring_at", "24:00", "write a time of day as HH:MM"),
    ("ring_as", "Timed", "write whole day or timed"),
    ("scale_step", "0 g", "a step is more than nothing"),
    ("scale_step", "0.1", ""),
    ("scale_step", "1 cm", ""),
    ("scale_step", "fine", ""),
    ("syringe_step", "0 mL", "a step is more than nothing"),
    ("syringe_step", "0.1 g", ""),
    ("syringe_step", "1 tsp", "is not a measure"),
    ("syringe_step", "1 drop", "count those of a product in 1 mL"),
    ("syringe_step", "20 measured drops per mL", "say them of it"),
]


@pytest.fixture(autouse=True)
def _no_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ["HOME", *(s.name.upper() for s in SETTINGS)]:
        monkeypatch.delenv(f"QUARANTINE_{name}", raising=False)


def _write(home: Path, text: str) -> Path:
    home.mkdir(exist_ok=True)
    (home / FILE).write_text(text, encoding="utf-8")
    return home / FILE


def test_it_works_without_a_file_and_makes_none(tmp_path: Path) -> None:
    """Every setting has its default, and says so; the folder is not made by asking."""
    home = open_home(str(tmp_path / "home"))
    assert home.values == {name: (value, "default") for name, value in DEFAULTS.items()}
    assert home.database == f"sqlite:///{tmp_path / 'home' / 'record.db'}"
    assert list(tmp_path.iterdir()) == []


def test_every_setting_has_a_help_and_a_good_default(tmp_path: Path) -> None:
    """The table holds what the documents list, and no default complains."""
    assert [s.name for s in SETTINGS] == list(DEFAULTS)
    for setting in SETTINGS:
        assert setting.help
        assert setting.default == DEFAULTS[setting.name]
        assert not setting.default or setting.check(setting.default) == ""


@pytest.mark.parametrize("name", DEFAULTS)
def test_environment_goes_before_file_and_file_before_default(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    """Each setting says its value and where it came from."""
    in_file, in_environment = GOOD[name]
    path = _write(tmp_path, f'{name} = "{in_file}"\n')
    assert open_home(str(tmp_path)).values[name] == (in_file, str(path))
    monkeypatch.setenv(f"QUARANTINE_{name.upper()}", in_environment)
    home = open_home(str(tmp_path))
    assert home.values[name] == (in_environment, f"QUARANTINE_{name.upper()}")
    assert home.value(name) == in_environment
    assert all(home.values[other] == (DEFAULTS[other], "default") for other in DEFAULTS if other != name)


def test_an_empty_variable_is_a_value(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An environment variable set to nothing goes before the file too: it turns a setting off for once."""
    _write(tmp_path, 'database = "postgresql://host/quarantine"\n')
    monkeypatch.setenv("QUARANTINE_DATABASE", "")
    assert open_home(str(tmp_path)).database == f"sqlite:///{tmp_path / 'record.db'}"


def test_the_home_folder_is_chosen_by_option_then_environment_then_platform(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """--home, then QUARANTINE_HOME, then the platform's folder; each is an absolute path and says how it was chosen."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "share"))
    assert open_home(None)[:2] == (tmp_path / "share" / "fish-quarantine", "the platform's folder for data")
    monkeypatch.setenv("QUARANTINE_HOME", str(tmp_path / "environment"))
    assert open_home(None)[:2] == (tmp_path / "environment", "QUARANTINE_HOME")
    assert open_home(str(tmp_path / "option"))[:2] == (tmp_path / "option", "--home")
    monkeypatch.chdir(tmp_path)
    assert open_home("near").path == tmp_path / "near"
    monkeypatch.setenv("HOME", str(tmp_path / "person"))
    assert open_home("~/fish").path == tmp_path / "person" / "fish"


def test_the_settings_file_of_the_chosen_home_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The option decides which file counts, not only where the record is."""
    _write(tmp_path / "one", 'ring_at = "06:00"\n')
    _write(tmp_path / "two", 'ring_at = "20:00"\n')
    monkeypatch.setenv("QUARANTINE_HOME", str(tmp_path / "one"))
    assert open_home(None).value("ring_at") == "06:00"
    assert open_home(str(tmp_path / "two")).value("ring_at") == "20:00"


@pytest.mark.parametrize(("name", "value", "complaint"), BAD)
def test_a_bad_value_in_the_file_is_refused_by_name_and_file(
    tmp_path: Path, name: str, value: str, complaint: str
) -> None:
    """The sentence says which setting, the value, the file and what to write."""
    path = _write(tmp_path, f'{name} = "{value}"\n')
    with pytest.raises(Refused) as refused:
        open_home(str(tmp_path))
    sentence = refused.value.sentence
    assert name in sentence or name.replace("_", " ") in sentence
    assert repr(value) in sentence
    assert str(path) in sentence
    assert complaint in sentence
    assert "\n" not in sentence


@pytest.mark.parametrize(("name", "value", "complaint"), BAD)
def test_a_bad_value_in_the_environment_is_refused_by_its_variable(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, value: str, complaint: str
) -> None:
    """The variable is named in place of the file."""
    monkeypatch.setenv(f"QUARANTINE_{name.upper()}", value)
    with pytest.raises(Refused) as refused:
        open_home(str(tmp_path))
    assert f"QUARANTINE_{name.upper()}" in refused.value.sentence
    assert complaint in refused.value.sentence


def test_an_unknown_setting_is_refused_and_the_known_ones_named(tmp_path: Path) -> None:
    """A misspelt setting would otherwise be silently without effect."""
    path = _write(tmp_path, 'scale_stop = "0.1 g"\n')
    with pytest.raises(Refused) as refused:
        open_home(str(tmp_path))
    assert refused.value.sentence == (
        f"The settings file {path} has an unknown setting 'scale_stop'; known: {', '.join(DEFAULTS)}."
    )


@pytest.mark.parametrize("written", ["0.1", "1", "true", '["0.1 g"]', "2026-02-10", '{a = "b"}'])
@pytest.mark.parametrize("name", DEFAULTS)
def test_a_value_that_is_not_text_is_refused(tmp_path: Path, name: str, written: str) -> None:
    """Every setting is text in quotes: a bare 0.1 would be a float, and without a unit."""
    path = _write(tmp_path, f"{name} = {written}\n")
    with pytest.raises(Refused) as refused:
        open_home(str(tmp_path))
    assert refused.value.sentence == f'Setting {name} in {path} must be text in quotes, such as {name} = "...".'


@pytest.mark.parametrize("text", ["ring_at = 09:00:", "ring_at", "[keeper\n", 'keeper = "a"\nkeeper = "b"\n', "= 1"])
def test_a_file_that_is_not_toml_is_refused(tmp_path: Path, text: str) -> None:
    """The sentence names the file and where in it the trouble is."""
    path = _write(tmp_path, text)
    with pytest.raises(Refused) as refused:
        open_home(str(tmp_path))
    assert refused.value.sentence.startswith(f"The settings file {path} is not TOML: ")
    assert "line" in refused.value.sentence or "end of document" in refused.value.sentence


def test_a_file_that_is_not_text_is_refused(tmp_path: Path) -> None:
    """Bytes that are not UTF-8, or a folder in the file's place, in one sentence with its path."""
    (tmp_path / FILE).write_bytes(b'keeper = "J\xe9"\n')
    with pytest.raises(Refused, match=r"The settings file .*settings\.toml cannot be read"):
        open_home(str(tmp_path))
    (tmp_path / FILE).unlink()
    (tmp_path / FILE).mkdir()
    with pytest.raises(Refused, match=r"The settings file .*settings\.toml cannot be read"):
        open_home(str(tmp_path))


def test_a_home_under_a_file_reads_as_an_empty_one(tmp_path: Path) -> None:
    """There can be no settings file there: the defaults hold until something must be written."""
    (tmp_path / "file").touch()
    home = open_home(str(tmp_path / "file" / "home"))
    assert home.values["ring_at"] == ("09:00", "default")


@pytest.mark.parametrize("settings", ["", "# nothing yet\n", "\n\n"])
def test_an_empty_file_changes_nothing(tmp_path: Path, settings: str) -> None:
    """A file without a setting is as good as none."""
    _write(tmp_path, settings)
    assert open_home(str(tmp_path)).values == {name: (value, "default") for name, value in DEFAULTS.items()}
