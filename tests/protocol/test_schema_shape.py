"""The JSON Schema for editors: never stricter than the check, and it sees what is wrong in shape."""

from __future__ import annotations

import json
import tomllib
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from quarantine.cli.app import run
from quarantine.protocol import EXACTLY_ONE, GRAMMAR, ProtocolError, read, shipped
from quarantine.protocol_schema import meanings, schema, table_at
from quarantine.signs import SIGNS
from tests.protocol.test_broken import BROKEN, DOSE, WATCH, Case, _cut, _medicated

VALIDATOR = Draft202012Validator(schema())
CASES = [(WATCH, case) for case in BROKEN] + [(_medicated(), case) for case in DOSE]

# What only the check can tell: names, sources, sums, limits of the formulary, and the rules of a dose (A11, C10, C19;
# the gate of rule C8 is added below). To an editor a date in quotes and one without are the same text.
BEYOND_SHAPE = {
    "in full after a change, and as much as it took out",
    *("date as text", "control character", "id used twice", "arrival with by", "start after an unknown step"),
    *("begun names a period", "start by a reading without limits", "start waits for itself"),
    *("period waits for a step that repeats until it", "until names no period", "repeat every zero"),
    *("latest with days", "latest before the repeat", "latest without then", "then without latest", "bands overlap"),
    *("window backwards", "fraction over all", "unknown reference", "reference nothing names", "outbreak only noted"),
    *("no head count at sign-off", "limit without unit", "limits crossed", "reading of any age"),
    *("reading nobody takes", "limit beside a word", "criterion of an unknown period"),
    *("level of an unknown substance", "no cautions", "unknown regimen", "regimen for other water"),
    *("mode the regimen has not", "target outside the bounds", "clearing left out", "too many doses"),
    *("doses too close", "course without a number", "from left out", "no after_window", "no window"),
    *("anyone may dose", "other water than the treatment", "nothing puts the carbon back"),
    *(case.name for case in DOSE if case.name.startswith("gate: ")),
} - {"gate: a misspelt check is told once"}


def plain(value: Any) -> Any:
    """A parsed template as an editor hands it to a schema: a date without quotes is text."""
    if isinstance(value, dict):
        return {key: plain(one) for key, one in value.items()}
    if isinstance(value, list):
        return [plain(one) for one in value]
    return value.isoformat() if isinstance(value, date) else value


def faults(text: str) -> list[str]:
    """What the schema finds wrong, each with its place; what is no TOML is wrong before any schema."""
    try:
        document = plain(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        return [str(error)]
    return [f"{error.json_path}: {error.message}" for error in VALIDATOR.iter_errors(document)]


def test_the_schema_is_itself_one_of_its_draft() -> None:
    """It passes the meta-schema of draft 2020-12."""
    Draft202012Validator.check_schema(schema())
    assert schema()["$schema"] == "https://json-schema.org/draft/2020-12/schema"


@pytest.mark.parametrize("name", list(shipped()))
def test_every_template_that_ships_fits_the_schema(name: str) -> None:
    """What the check accepts the schema accepts."""
    assert faults(shipped()[name].read_text(encoding="utf-8")) == []


def test_the_sound_template_of_the_broken_ones_fits() -> None:
    """The template that the forty mistakes are put into is right in shape."""
    assert faults(WATCH) == []


def _told(text: str) -> list[str]:
    with pytest.raises(ProtocolError) as caught:
        read(text, "mine.toml")
    return [problem.message for problem in caught.value.problems]


@pytest.mark.parametrize(("text", "case"), CASES, ids=[case.name for _, case in CASES])
def test_a_template_that_is_wrong_in_shape_fails_the_schema_too(text: str, case: Case) -> None:
    """Each broken template fails, save those whose mistake is in no shape: they pass, and the check finds it."""
    broken = _cut(text, case)
    assert _told(broken)
    assert bool(faults(broken)) is (case.name not in BEYOND_SHAPE)


def test_the_list_of_what_is_beyond_shape_names_broken_templates() -> None:
    """Every name in it is one of the broken templates, and a good third of those are wrong in shape."""
    names = {case.name for _, case in CASES}
    assert names > BEYOND_SHAPE
    assert 3 * len(names - BEYOND_SHAPE) > len(names)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('title = "Look"', 'titel = "Look"'),
        ('counts = "calendar"', 'counts = "days"'),
        ('length = "30 d"', 'length = "0 d"'),
        ('length = "30 d"', "length = 30"),
        ("revision = 1", "revision = 0"),
        ("revision = 1", "revision = 10000"),
        ("revision = 1", 'revision = "1"'),
        ("format = 1", "format = 2"),
        ('id = "watch"', 'id = "a--b"'),
        ('id = "watch"', f'id = "{"a" * 41}"'),
        ("date = 2026-11-25", "date = 2026-11-25T10:00:00"),
        ('from = "08:00"', 'from = "8:00"'),
        ('fraction = "25 %"', 'fraction = "25"'),
        ('{ arrival = "0 d" }', '{ arrival = "0 d", entered = "0 d" }'),
        ('{ arrival = "0 d" }', "{ }"),
        ('every = "1 d", until = "observation"', 'every = "1 d"'),
        ('every = "1 d", until = "observation"', 'every = "1 d", until = "observation", times = 3'),
        ('reads = ["tan", "ph", "temperature"]', ""),
        ('reads = ["tan", "ph", "temperature"]', 'reads = ["uia"]'),
        ('fraction = "25 %"', 'fraction = "25 %"\nreads = ["ph"]'),
        ('sign_a = "restart"', ""),
        ('within = "24 h"\nreference = "book"', 'within = "24 h"'),
        ('references = ["book"]', "references = []"),
    ],
)
def test_each_rule_of_shape_is_in_the_schema(old: str, new: str) -> None:
    """One change of the sound template, which the check refuses and the schema as well."""
    assert WATCH.count(old) >= 1
    text = WATCH.replace(old, new, 1)
    assert _told(text)
    assert faults(text)


def test_every_key_says_what_it_means_and_has_the_default_of_the_grammar() -> None:
    """Hover texts are the rows of the grammar's page; no table and no key is missing or made up."""
    tables = schema()["$defs"]
    assert list(tables) == list(GRAMMAR)
    for name, keys in GRAMMAR.items():
        properties = tables[name]["properties"]
        assert list(properties) == list(keys) == list(meanings()[name])
        for key, spec in keys.items():
            assert properties[key]["description"] == meanings()[name][key]
            assert properties[key].get("default") == (None if spec.need in ("required", "optional") else spec.need)
        assert tables[name].get("required", []) == [key for key, spec in keys.items() if spec.need == "required"]


def test_signs_and_groups_come_from_the_same_tables() -> None:
    """The names of signs are the program's, and of each group exactly one key may stand."""
    tables = schema()["$defs"]
    assert tables["start"]["properties"]["sign"]["enum"] == list(SIGNS)
    for name, groups in EXACTLY_ONE.items():
        named = [[one["required"][0] for one in group["oneOf"]] for group in tables[name]["allOf"]]
        assert named == [list(group) for group in groups]


@pytest.mark.parametrize(
    ("path", "table"),
    [
        (("format",), "protocol"),
        (("step", 0, "start", "arrival"), "start"),
        (("step", 3, "repeat", "by_temperature", 0, "below"), "band"),
        (("step", 0, "before", 1, "word"), "condition"),
        (("step", 0, "references", 0), None),
        (("nothing",), None),
        (("events", "sign_a", "deeper"), None),
        ((), None),
    ],
)
def test_a_path_of_a_template_leads_to_its_table(path: tuple[str | int, ...], table: str | None) -> None:
    """The table of the grammar that a key stands in; outside the grammar there is none."""
    assert table_at(path) == table


@pytest.mark.parametrize("more", [[], ["--json"]])
def test_the_command_prints_the_schema_as_one_document(
    more: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """In a narrow terminal too nothing is folded; it makes no folder."""
    monkeypatch.setenv("COLUMNS", "40")
    assert run(["--home", str(tmp_path / "home"), "protocol", "schema", *more]) == 0
    said = capsys.readouterr().out
    assert json.loads(said) == json.loads(json.dumps(schema()))
    assert said.isascii()
    assert not (tmp_path / "home").exists()
