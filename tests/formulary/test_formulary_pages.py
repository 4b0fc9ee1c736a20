"""What `formulary list`, `show`, `find` and `groups` say, in words and as JSON."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from quarantine import formulary
from quarantine.cli import app

Say = Callable[..., str]
NAMES = formulary.names()
OWN = """
[[group]]
id = "my-fish"
name = "my own line"
genera = ["Nannostomus"]
sensitive = [{ to = ["formalin"], rule = "refuse", text = "Two died.", status = "MEM" }]

[[group]]
id = "danios"
name = "danios"
sensitive = [{ to = ["sodium-chloride"], rule = "refuse", text = "Mine roll at once.", status = "MEM" }]
"""


@pytest.fixture
def say(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Say:
    """One command line on a home of its own: what it printed, or the one sentence of a refusal."""
    monkeypatch.delenv("COLUMNS", raising=False)

    def run_it(*words: str, code: int = 0) -> str:
        assert app.run(["--home", str(tmp_path), "formulary", *words]) == code
        captured = capsys.readouterr()
        return captured.err if code else captured.out

    return run_it


def document(said: str) -> Any:
    return json.loads(said)


def test_the_list_groups_by_tier_and_class(say: Say) -> None:
    """Ready first, refused last; within a tier one heading a class, and each substance once."""
    lines = say("list").splitlines()
    tiers = [line.partition(":")[0].casefold() for line in lines if line[0] != " " and line.partition(":")[0].istitle()]
    assert tiers[:4] == list(formulary.TIERS)
    listed = [line.split(":")[0].strip() for line in lines if line.startswith("    ")]
    assert sorted(listed) == list(NAMES)
    assert "  antiprotozoal" in lines


def test_the_list_as_json_has_every_row_under_its_tier(say: Say) -> None:
    """Every row of every substance stands in the list of its tier."""
    found = {d["substance"]: d for d in document(say("list", "--json"))["substances"]}
    assert sorted(found) == list(NAMES)
    for substance in formulary.load_all():
        for tier in formulary.TIERS:
            rows = [row.id for row in substance.regimens if row.tier == tier]
            assert found[substance.id][tier] == rows
    assert found["copper"]["tier"] == "ready"
    assert found["ivermectin"]["tier"] == "refused"


@pytest.mark.parametrize("name", NAMES)
def test_every_page_reads_and_names_all_its_rows_and_sources(name: str, say: Say) -> None:
    """Purposes, rows, handling, law and each source stand on the page, with and without the refused figures."""
    substance = formulary.load(name)
    for words in ([name], [name, "--all"]):
        page = say("show", *words)
        assert all(f"  {row.id}, {row.tier}" in page for row in substance.regimens)
        assert all(f"Source {key}: " in page for key in substance.references)
        assert all(note.text in page for note in (*substance.handling, *substance.legal))
        assert all(row.purpose in page for row in substance.regimens)
        assert "this is not veterinary advice" in page


@pytest.mark.parametrize("name", NAMES)
def test_a_refused_row_shows_no_figure_unless_all_is_asked(name: str, say: Say) -> None:
    """Target, contact, ceiling and numbers in its notes stay back; --all brings them."""
    plain = document(say("show", name, "--json"))
    whole = document(say("show", name, "--all", "--json"))
    refused = [row.id for row in formulary.load(name).regimens if row.tier == "refused"]
    for row in plain["regimens"]:
        assert row["figures_hidden"] == (row["id"] in refused)
        if row["figures_hidden"]:
            assert [row[key] for key in ("target", "target_low", "target_high", "contact", "repeats")] == [None] * 5
            assert [row[key] for key in ("ceilings", "figures", "limits", "by_the_water")] == [[]] * 4
            assert not any(part[:1].isdigit() for text in row["cautions"] for part in text.split())
    assert not any(row["figures_hidden"] for row in whole["regimens"])


def test_what_is_refused_altogether_keeps_its_lethal_levels_back(say: Say) -> None:
    """Trichlorfon: the page says that it is never offered and gives no number of mg/L."""
    assert "mg/L" not in say("show", "trichlorfon").replace("mg of", "")
    assert "0.92 mg/L" in say("show", "trichlorfon", "--all")


def test_rows_for_one_purpose_stand_side_by_side_with_their_disagreements(say: Say) -> None:
    """F01 and F02 stand under one purpose, and each names the other."""
    page = say("show", "formalin")
    head, _, rest = page.partition("Against or for: external protozoa, monogeneans (flukes)\n")
    block = rest.partition("Against or for:")[0]
    assert head.startswith("Formalin: ")
    assert all(f"  {row}, " in block for row in ("F01", "F02", "F04", "F05", "F06", "F07"))
    assert "Sources disagree, see also: F02, F04, F05" in block
    assert "Limit, temperature: at most 21 °C." in block
    assert "Depends on: strength of the product, species" in block
    assert "a trial on a few fish, watched, before the rest" in block


def test_copper_is_shown_by_the_water_and_by_what_is_counted(say: Say) -> None:
    """The rule with its bands, the salt's share of copper, mg/L Cu beside mg/L of the pentahydrate."""
    page = say("show", "copper sulfate")
    assert "ceiling, alkalinity from 50 mg/L on: 1 % of it (READ, S05)" in page
    assert "ceiling, hardness from 150 mg/L to 200 mg/L: 2 mg/L copper sulfate pentahydrate (PROPOSAL, S10)" in page
    assert "Sold as: copper sulfate pentahydrate holds 25.45 %" in page
    assert "0.18 to 0.2 mg/L Cu" in page
    assert "Group: danios (zebrafish): refuse;" in page


def test_find_says_what_was_tried_and_never_recommends(say: Say) -> None:
    """Ready, trial, instruction, refused, in that order, each row with its source; and it is called what it is."""
    page = say("find", "Argulus")
    assert "never a recommendation" in page
    order = [page.index(f"{tier.capitalize()} (") for tier in ("trial", "instruction", "refused")]
    assert order == sorted(order)
    assert "potassium-permanganate K04: Argulus, juveniles and adults (fish louse)" in page
    assert "[READ: Hakalahti-Siren et al., Diseases of Aquatic Organisms 82:67-77" in page
    assert "only in a general purpose of the row" in page


def test_find_by_a_sign_names_what_it_may_point_to(say: Say) -> None:
    """White spots: one parasite of fresh water and one of the sea, each with the rows for its own water."""
    found = document(say("find", "white spots", "--json"))
    assert found["sign"] == "white spots"
    assert [cause["cause"] for cause in found["causes"]] == ["ichthyophthirius", "cryptocaryon"]
    rows = {row["regimen"]: row for row in found["rows"]}
    assert rows["T19"]["named"]
    assert rows["T18"]["named"]
    assert all(row["references"] for row in found["rows"])


def test_find_shows_no_figure_of_a_refused_row(say: Say) -> None:
    """A search gives no strength at all."""
    for asked in ("lice", "fungus", "ich"):
        for row in document(say("find", asked, "--json"))["rows"]:
            assert not {"target", "target_low", "contact"} & set(row)
            assert "mg/L" not in row["purpose"]


def test_find_of_nothing_known_is_answered_with_what_is_known(say: Say) -> None:
    """An unknown word is refused in one sentence that names the signs and parasites that begin alike."""
    sentence = say("find", "lurgy", code=1)
    assert re.match(r"There is no sign, parasite or purpose 'lurgy'; [0-9]+ are known, among them Lernaea, ", sentence)
    assert "listless" in sentence
    assert "Argulus" not in sentence


@pytest.mark.parametrize("asked", ["", "   ", ".*", "(", "\\d", "ich" * 500])
def test_find_takes_any_text_as_plain_words(asked: str, say: Say) -> None:
    """Blanks and the letters of a search pattern are words that nothing is known by."""
    assert "There is no sign" in say("find", asked, code=1)


def test_groups_are_shown_with_their_sources(say: Say) -> None:
    """Each group with what it does not tolerate and the source, and that the list is none of an authority."""
    page = say("groups")
    assert "dwarf-angelfish: dwarf angelfish" in page
    assert "[READ: Callan, doctoral thesis, University of Maine" in page
    assert "not an official list" in page


@pytest.mark.parametrize("name", ["danios", "Zebrafish", "Danio"])
def test_one_group_is_found_by_id_name_or_genus(name: str, say: Say) -> None:
    """The id, another name or a genus leads to the group."""
    assert "danios" in [group["group"] for group in document(say("groups", name, "--json"))["groups"]]


def test_an_unknown_group_is_answered_with_the_known_ones(say: Say) -> None:
    """A group that is not on file is refused, and the known ones are named."""
    assert "There is no group 'dragons'; known: invertebrates" in say("groups", "dragons", code=1)


def test_a_keepers_own_groups_are_added_and_marked(say: Say, tmp_path: Path) -> None:
    """groups.toml in the home folder adds a group and a line to a shipped one; both say that they are the keeper's."""
    (tmp_path / "groups.toml").write_text(OWN, encoding="utf-8")
    page = say("groups")
    assert "my-fish: my own line (your own); genera: Nannostomus" in page
    assert "formalin: refuse; Two died. [yours, MEM: your own]" in page
    danios = document(say("groups", "danios", "--json"))["groups"][0]
    assert not danios["own"]
    assert [line["own"] for line in danios["sensitive"]].count(True) == 1
    assert "copper" in danios["sensitive"][0]["to"]
    assert "my own line: refuse; Two died. (your own)" in say("show", "formalin")


def test_a_keepers_broken_groups_are_refused_with_every_mistake(say: Say, tmp_path: Path) -> None:
    """Nothing of a wrong file is used: one sentence names the file, the group and the key of each mistake."""
    text = OWN.replace('"refuse"', '"refuze"', 1).replace('"sodium-chloride"', '"sodium-cloride"')
    (tmp_path / "groups.toml").write_text(text, encoding="utf-8")
    sentence = say("groups", code=1)
    assert "groups.toml has 2 mistakes, so nothing of it is used" in sentence
    assert "group my-fish: sensitive[1].rule: 'refuze' is not one of refuse, caution, know" in sentence
    assert "did you mean 'sodium-chloride'?" in sentence


def test_a_file_of_groups_that_is_not_text_is_refused(say: Say, tmp_path: Path) -> None:
    """Bytes that are no text are answered with one sentence."""
    (tmp_path / "groups.toml").write_bytes(b"\xff\xfe\x00")
    assert "cannot be read" in say("groups", code=1)
