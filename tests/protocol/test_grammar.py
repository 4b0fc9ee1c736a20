"""protocols/README.md and the grammar say the same."""

from __future__ import annotations

import re
import tomllib

import pytest

from quarantine.protocol import GRAMMAR, READINGS, shipped

README = (shipped()["fresh-watch"].parent / "README.md").read_text(encoding="utf-8")
ROW = re.compile(r"^\| `(\w+)` \| ((?:[^|\\]|\\\|)+) \| ([^|]+) \| (.+) \| `(.+)` \|$", re.MULTILINE)


def _documented(table: str) -> dict[str, tuple[str, str, str]]:
    """Key -> (type, default, example) of the section of one table."""
    section = README.split(f"<!-- keys of {table} -->")[1].split("\n## ")[0]
    return {key: (kind.replace("\\|", "|"), need, example) for key, kind, need, _, example in ROW.findall(section)}


@pytest.mark.parametrize("table", GRAMMAR)
def test_every_key_is_documented_with_its_type_and_default_and_no_other(table: str) -> None:
    """The rows of a table's section are the keys of the grammar, in its order, with type and default."""
    documented = {key: (kind, need) for key, (kind, need, _) in _documented(table).items()}
    assert list(documented.items()) == [(key, (spec.type, spec.need)) for key, spec in GRAMMAR[table].items()]


@pytest.mark.parametrize("table", GRAMMAR)
def test_every_example_is_toml_of_its_key(table: str) -> None:
    """An example in the documentation can be pasted, and is about the key it stands beside."""
    for key, (_, _, example) in _documented(table).items():
        written = tomllib.loads(example)
        assert key in written or key in str(written)


def test_no_section_is_about_a_table_that_is_none() -> None:
    """Every section of keys belongs to a table of the grammar."""
    assert re.findall(r"<!-- keys of (\w+) -->", README) == list(GRAMMAR)


def test_every_shipped_template_is_listed() -> None:
    """The table of templates names all that ship, and no other."""
    table = README.split("| template | for |")[1].split("\n\n")[0]
    assert sorted(re.findall(r"^\| `([\w-]+)` \|", table, re.MULTILINE)) == sorted(shipped())


def test_every_type_is_explained() -> None:
    """Each plain type that a key has stands in the section on types."""
    types = README.split("## Types")[1].split("\n## ")[0]
    for keys in GRAMMAR.values():
        for spec in keys.values():
            plain = spec.type.removeprefix("list of ")
            if (
                " | " not in plain
                and not plain.startswith(("table", "tables"))
                and plain not in ("balanced", "settled")
            ):
                assert f"\n| {plain} |" in types


def test_readings_have_the_units_that_limits_are_held_in() -> None:
    """The eleven readings a template may name, with their units; pH has none."""
    assert READINGS == {
        "temperature": "°C",
        "ph": "",
        "tan": "mg/L",
        "uia": "mg/L",
        "nitrite": "mg/L",
        "nitrate": "mg/L",
        "oxygen": "mg/L",
        "salinity": "g/L",
        "alkalinity": "mg/L",
        "hardness": "mg/L",
        "copper": "mg/L",
    }
