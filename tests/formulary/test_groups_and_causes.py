"""The lists beside the entries: groups of animals, and what a sign may point to."""

from __future__ import annotations

import subprocess
import sys

import pytest

from quarantine import formulary
from quarantine.formulary import finding, groups
from quarantine.signs import SIGNS

GROUPS = formulary.list_text("groups.toml")
CAUSES = formulary.list_text("causes.toml")


def test_the_lists_that_ship_have_no_mistake() -> None:
    """Both lists pass the check that a keeper's file goes through."""
    assert groups.check(GROUPS, "groups.toml") == []
    assert finding.check(CAUSES, "causes.toml") == []


def test_the_scan_of_the_groups_agrees_with_the_reading() -> None:
    """The ids that a ceiling may name are those of the list."""
    assert formulary.group_ids() == tuple(group.id for group in groups.shipped().groups)


GROUP_MISTAKES = {
    "no reference on what was read": (
        'reference = "P-S30", status = "READ" },\n  { to = ["lowered',
        'status = "READ" },\n  { to = ["lowered',
        "group invertebrates: sensitive[1].reference: a note with status READ needs a reference",
    ),
    "a substance that is not there": (
        '{ to = ["copper"], rule = "refuse", text = "Copper is lethal',
        '{ to = ["coper"], rule = "refuse", text = "Copper is lethal',
        "group invertebrates: sensitive[1].to: 'coper' is not one of",
    ),
    "an unknown rule": ('rule = "refuse"', 'rule = "forbid"', "sensitive[1].rule: 'forbid' is not one of refuse"),
    "an unknown key": ('genera = ["Neo', 'genus = ["Neo', "group invertebrates: genus: unknown key"),
    "an id twice": ('id = "soft-water"', 'id = "invertebrates"', "id: 'invertebrates' is there twice"),
    "an id with a blank": ('id = "soft-water"', 'id = "Soft water"', "is not small letters, digits and hyphens"),
    "a reference that nothing uses": (
        '[[reference]]\nkey = "S09"',
        '[[reference]]\nkey = "S00"\ncite = "A, B, 2000"\nread = "read"\n\n[[reference]]\nkey = "S09"',
        "reference S00: key: nothing uses it",
    ),
    "no TOML": ("[[group]]", "[[group]", "not TOML"),
}


@pytest.mark.parametrize("case", GROUP_MISTAKES)
def test_a_mistake_in_a_list_of_groups_is_named(case: str) -> None:
    """Each mistake is told with the group and the key."""
    old, new, expected = GROUP_MISTAKES[case]
    assert old in GROUPS
    problems = groups.check(GROUPS.replace(old, new, 1), "groups.toml")
    assert any(expected in problem for problem in problems), problems


CAUSE_MISTAKES = {
    "a sign nobody knows": ('signs = ["white spots",', 'signs = ["white dots",', "'white dots' is not one of"),
    "read without a reference": ('reference = "P-S2b"\nstatus', "status", "needs a reference"),
    "an unknown water": ('water = ["fresh"]', 'water = ["sweet"]', "'sweet' is not one of fresh"),
    "no words": ('words = ["Lernaea", "anchor worm"]', "words = []", "words: is missing"),
    "an unknown status": ('status = "MEM"', 'status = "SEEN"', "SEEN"),
}


@pytest.mark.parametrize("case", CAUSE_MISTAKES)
def test_a_mistake_in_the_list_of_causes_is_named(case: str) -> None:
    """Each mistake is told with the cause and the key."""
    old, new, expected = CAUSE_MISTAKES[case]
    assert old in CAUSES
    problems = finding.check(CAUSES.replace(old, new, 1), "causes.toml")
    assert any(expected in problem for problem in problems), problems


@pytest.mark.parametrize(
    ("species", "expected"),
    [
        ("Danio rerio", {"danios", "small-ornamental"}),
        ("corydoras aeneus", {"corydoras", "scaleless", "suckermouth-catfish", "small-ornamental"}),
        ("Centropyge loricula", {"dwarf-angelfish"}),
        ("Hippocampus kuda", {"seahorses"}),
        ("Melanotaenia praecox", set()),
        ("", set()),
    ],
)
def test_a_species_is_in_the_groups_of_its_genus(species: str, expected: set[str]) -> None:
    """The genus leads to the groups; of what is not listed nothing is known."""
    assert groups.groups_of(species, groups.shipped()) == expected


def test_a_keepers_file_takes_nothing_away() -> None:
    """A keeper's danios keep every line that ships, whatever the own file says."""
    own = (
        '[[group]]\nid = "danios"\nname = "x"\ngenera = ["Brachydanio"]\n'
        'sensitive = [{ to = ["copper"], rule = "know", text = "Mine stand it.", status = "MEM" }]\n'
    )
    shipped = next(g for g in groups.shipped().groups if g.id == "danios")
    merged = next(g for g in groups.with_own(own, "groups.toml").groups if g.id == "danios")
    assert merged.sensitive[:-1] == shipped.sensitive
    assert merged.name == shipped.name
    assert set(merged.genera) == {*shipped.genera, "Brachydanio"}
    assert "dwarf-angelfish" in {g.id for g in groups.with_own(own, "groups.toml").groups}


def test_every_sign_leads_to_a_cause_or_is_said_to_be_open() -> None:
    """Signs without a cause on file are those that the notes call non-specific."""
    without = {name for name in SIGNS if not any(name in cause.signs for cause in finding.causes()[0])}
    assert without == {"buoyancy", "spitting", "colour"}


@pytest.mark.parametrize(
    ("asked", "named", "not_named"),
    [
        ("ich", {"T19", "C01"}, {"C04", "T12"}),
        ("Cryptocaryon", {"T12", "T18", "C04", "Q01"}, {"T19"}),
        ("FLUKES", {"Z01", "Z02", "F01", "T15"}, {"M01"}),
        ("anchor  worm", {"N08-lernaea"}, {"N05"}),
        ("stringy faeces", {"M01", "M02", "N05"}, {"F01"}),
        ("egg fungus", {"T08", "F13", "P07"}, {"Z01"}),
        ("nitrite", {"T11"}, {"Z01"}),
    ],
)
def test_find_knows_what_a_parasite_is_called(asked: str, named: set[str], not_named: set[str]) -> None:
    """Other names of a parasite lead to its rows, and to no row for another one."""
    found = {hit.row.id for hit in finding.find(asked).hits if hit.named}
    assert found >= named
    assert not found & not_named


def test_the_best_tier_comes_first_and_named_rows_before_general_ones() -> None:
    """Named rows by tier, then rows whose general purpose may cover it, by tier."""
    hits = finding.find("velvet").hits
    keys = [(not hit.named, formulary.TIERS.index(hit.row.tier)) for hit in hits]
    assert keys == sorted(keys)
    assert {hit.named for hit in hits} == {True, False}


def test_find_parses_no_entry() -> None:
    """A search goes over the first lines of the entries only."""
    code = (
        "from quarantine import formulary; from quarantine.formulary import finding;"
        " assert finding.find('white spots').hits; print(formulary._entry.cache_info().currsize)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout == "0\n"
