"""What is asked of the formulary."""

from __future__ import annotations

import re
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import pytest

from quarantine import formulary
from quarantine.failures import Unknown


def test_the_names_are_the_files() -> None:
    """The substances are known without opening a file; the lists beside them are none."""
    files = sorted(path.stem for path in Path(formulary.__file__).parent.glob("*.toml"))
    assert list(formulary.names()) == files
    assert {"copper", "formalin", "praziquantel", "tank-transfer"} < set(files)
    assert "groups" not in files


@pytest.mark.parametrize("name", ["sodium-chloride", "Sodium chloride", "  SODIUM   CHLORIDE ", "salt", "NaCl"])
def test_a_substance_is_found_by_id_name_and_other_names(name: str) -> None:
    """Capitals, spaces and the other names of an entry all lead to it."""
    assert formulary.load(name).id == "sodium-chloride"


def test_an_entry_is_read_once() -> None:
    """The second load gives the very same entry."""
    assert formulary.load("praziquantel") is formulary.load("Praziquantel")


def test_an_unknown_substance_is_answered_with_the_known_ones() -> None:
    """A name that is not on file is refused, and the known ones are named."""
    with pytest.raises(Unknown) as caught:
        formulary.load("Praziquantal")
    known = ", ".join(formulary.names())
    assert caught.value.sentence == (
        f"There is no substance 'Praziquantal'; known: {known}. Did you mean 'praziquantel'?"
    )


@pytest.mark.parametrize("name", ["", "../praziquantel", "praziquantel.toml", "/etc/passwd"])
def test_a_name_is_never_a_path(name: str) -> None:
    """What is typed as a substance opens no other file."""
    with pytest.raises(Unknown):
        formulary.load(name)


def test_a_regimen_is_found_by_its_row() -> None:
    """A row id, in capitals or not, gives the regimen with its substance."""
    substance, regimen = formulary.regimen("z07-FOOD")
    assert (substance.id, regimen.id, regimen.row, regimen.substance) == (
        "praziquantel",
        "Z07-food",
        "Z07",
        "praziquantel",
    )


def test_every_regimen_is_found_by_its_id() -> None:
    """The scan of the files finds the regimens that reading them gives."""
    for substance in formulary.load_all():
        for regimen in substance.regimens:
            assert formulary.regimen(regimen.id) == (substance, regimen)


def test_an_unknown_regimen_is_answered_with_the_known_ones() -> None:
    """A row that is not on file is refused, and of the many known ones those that begin alike are named."""
    said = r"There is no regimen 'Z99'; [0-9]+ are known \(quarantine formulary list\), among them Z01, .*Z11\."
    with pytest.raises(Unknown, match=said):
        formulary.regimen("Z99")


@pytest.mark.parametrize("call", ["load('bluestone')", "load('salt')", "load('NaCl')", "titles()", "regimen('c01')"])
def test_a_name_or_a_list_parses_at_most_one_entry(call: str) -> None:
    """Another name of one substance, and the list of all, are answered without reading all entries."""
    code = (
        "from quarantine import formulary\n"
        f"try: formulary.{call}\nexcept formulary.Unknown: pass\n"
        "print(formulary._entry.cache_info().currsize)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert int(run.stdout) == (0 if "titles" in call or "bluestone" in call else 1)


def test_the_scan_of_the_first_lines_agrees_with_the_entries() -> None:
    """Names, classes, tiers, purposes, routes and waters that a list shows are those of the whole reading."""
    for title, substance in zip(formulary.titles(), formulary.load_all(), strict=True):
        assert title[:5] == (substance.id, substance.name, substance.also, substance.classes, substance.what)
        assert title.regimens == tuple(
            formulary.Heading(r.id, r.tier, r.purpose, r.route, r.water) for r in substance.regimens
        )


def test_no_name_and_no_row_means_two_substances() -> None:
    """Each name, other name and row leads to one substance only."""
    named = [(name.casefold(), t.id) for t in formulary.titles() for name in {t.id, t.name, *t.also}]
    owners: dict[str, set[str]] = {}
    for name, owner in named:
        owners.setdefault(name.replace(" ", "-"), set()).add(owner)
    assert {name: ids for name, ids in owners.items() if len(ids) > 1} == {}
    rows = [row.id.casefold() for t in formulary.titles() for row in t.regimens]
    assert len(rows) == len(set(rows))


def test_one_regimen_opens_one_entry() -> None:
    """Asking for row Z01 does not read the whole formulary, and importing it reads no TOML at all."""
    code = (
        "import sys; from quarantine import formulary; assert 'tomllib' not in sys.modules;"
        " assert 'quarantine.quantity' not in sys.modules; formulary.regimen('Z01');"
        " print(formulary._entry.cache_info().currsize)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout == "1\n"


@pytest.mark.parametrize(
    ("row", "hours", "ceiling"),
    [
        ("T04", "1", "10"),
        ("T04", "12", "10"),
        ("T04", "12.01", "5"),
        ("T04", None, "5"),
        ("T01", "0.16", "30"),
        ("T01", "0.17", None),
        ("T01", None, None),
        ("Z01", None, "10"),
        ("Z01", "1000", "10"),
    ],
)
def test_the_ceiling_depends_on_the_length_of_contact(row: str, hours: str | None, ceiling: str | None) -> None:
    """Longer contact takes the lower ceiling, unknown length the one for any length, none at all is said as None."""
    found = formulary.ceiling_for(formulary.regimen(row)[1], None if hours is None else Decimal(hours))
    assert (found and found.figure.value) == (ceiling and Decimal(ceiling))


def test_dips_have_their_own_vessel() -> None:
    """A dip is made in a vessel of its own, any other route in the tank (rule C15)."""
    rows = [regimen for substance in formulary.load_all() for regimen in substance.regimens]
    assert all(r.own_vessel == (r.route == "dip") for r in rows)
    assert {r.id for r in rows if r.own_vessel} >= {"T01", "T02", "T03", "T08", "T10", "T15", "T17", "F13", "P07"}


def test_a_dose_that_is_offered_stays_under_every_ceiling() -> None:
    """No default is above a ceiling that holds for it, and no refused regimen has a default."""
    for substance in formulary.load_all():
        for regimen in substance.regimens:
            default = regimen.target and regimen.target.default
            assert (default is None) == (regimen.tier == "refused" or regimen.target is None)
            for ceiling in regimen.ceilings:
                if default and default.unit == ceiling.figure.unit and not ceiling.warmest and not ceiling.group:
                    assert default.value <= ceiling.figure.value
            warm = [c.figure.value for c in regimen.ceilings if c.warmest]
            assert not (warm and default and default.unit == "uL/L") or default.value <= max(warm)


def test_every_figure_names_a_source_that_is_listed() -> None:
    """Each reference key of each number leads to a citation in the same entry."""
    for substance in formulary.load_all():
        keys = [key for figure in figures(substance) for key in formulary.keys_of(figure.reference)]
        assert keys or all(regimen.target is None for regimen in substance.regimens)
        assert set(keys) <= set(substance.references)
        assert all(figure.status in formulary.STATUSES for figure in figures(substance))


def figures(value: object) -> list[formulary.Figure]:
    """Every figure inside an entry."""
    if isinstance(value, formulary.Figure):
        return [value]
    if isinstance(value, tuple):
        return [found for item in value for found in figures(item)]
    return []


def test_the_page_on_adding_a_substance_names_every_key() -> None:
    """The keys that the docstring documents are the keys that are read, table by table."""
    documented: dict[str, list[str]] = {}
    section = ""
    for line in (formulary.__doc__ or "").splitlines():
        if heading := re.match(r"The file itself:|An? ``(\w+)`` table", line):
            section = heading.group(1) or "file"
        elif key := re.match(r"- ``(\w+)``:", line):
            documented.setdefault(section, []).append(key.group(1))
    assert {name: sorted(keys) for name, keys in documented.items()} == {
        "file": sorted(formulary.SUBSTANCE_KEYS),
        "incompatible": sorted(formulary.PAIR_KEYS),
        "equipment": sorted(formulary.EQUIPMENT_KEYS),
        "salts": sorted(formulary.SALT_KEYS),
        "sensitive": sorted(formulary.SENSITIVE_KEYS),
        "regimen": sorted(formulary.REGIMEN_KEYS),
        "reference": sorted(formulary.REFERENCE_KEYS),
    }
    text = formulary.__doc__ or ""
    inner = (
        formulary.RULE_KEYS,
        formulary.CEILING_KEYS,
        formulary.LIMIT_KEYS,
        formulary.REPEAT_KEYS,
        formulary.FOOD_KEYS,
    )
    for key in {key for keys in (*inner, formulary.TARGET_KEYS, formulary.SPAN_KEYS) for key in keys}:
        assert f"``{key}``" in text
    for status in formulary.STATUSES:
        assert re.search(rf"\b{status}\b", text)
