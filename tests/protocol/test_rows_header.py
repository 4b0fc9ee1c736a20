"""F1, F2: broken templates at the command line with message and line, nearest names, and a header that is complete."""

from __future__ import annotations

from pathlib import Path

import pytest

from quarantine.cli.app import run
from quarantine.protocol import GRAMMAR, Problem, ProtocolError, read, shipped
from quarantine.templates import imprint
from tests.protocol.test_broken import BROKEN, DOSE, WATCH, WHOLE, Case, _cut, _line

MEDICATED = shipped()["marine-praziquantel"].read_text(encoding="utf-8")
CATALOGUE = [(WATCH, case) for case in BROKEN] + [(MEDICATED, case) for case in DOSE]


def problems_of(text: str) -> list[Problem]:
    with pytest.raises(ProtocolError) as caught:
        read(text, "mine.toml")
    return caught.value.problems


# --- F1 --------------------------------------------------------------------------------------------------


def test_F1_the_catalogue_holds_at_least_forty_templates_each_broken_in_its_own_way() -> None:
    """No two of them are the same text, and none has the key and the message of another."""
    texts = {_cut(text, case) for text, case in CATALOGUE}
    said = {(case.key, case.message) for _, case in CATALOGUE}
    assert len(texts) == len(CATALOGUE) >= 40
    assert len(said) >= 40


@pytest.mark.parametrize(("text", "case"), CATALOGUE, ids=[case.name for _, case in CATALOGUE])
def test_F1_the_command_says_file_line_key_and_message(
    text: str, case: Case, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`protocol check` refuses each broken template with one line that an editor can jump to, and no traceback."""
    broken = _cut(text, case)
    file = tmp_path / "mine.toml"
    file.write_bytes(broken.encode())
    assert run(["--home", str(tmp_path / "home"), "protocol", "check", str(file)]) == 1
    said = capsys.readouterr()
    line = _line(broken, case.at) if case.at else 1
    (found,) = [one for one in said.err.splitlines() if one.startswith(f"{file}:")]
    assert found.startswith(f"{file}:{line}: {case.key}: ")
    assert WHOLE.get(case.message, case.message) in found
    assert said.out == ""
    assert "Traceback" not in said.err
    assert not (tmp_path / "home").exists()


TABLES = {
    "protocol": (WATCH, 'water = "fresh"', '{key} = 1\nwater = "fresh"'),
    "reference": (WATCH, 'cite = "A book, 2020"', '{key} = 1\ncite = "A book, 2020"'),
    "period": (WATCH, 'counts = "calendar"', '{key} = 1\ncounts = "calendar"'),
    "step": (WATCH, 'title = "Look"', '{key} = 1\ntitle = "Look"'),
    "start": (WATCH, '{ arrival = "0 d" }', '{ arrival = "0 d", {key} = 1 }'),
    "repeat": (WATCH, 'until = "observation" }', 'until = "observation", {key} = 1 }'),
    "band": (
        WATCH,
        'every = "6 h", times = 3, latest = "9 h", then = "keep"',
        'times = 3, by_temperature = [{ below = "24 °C", every = "4 d", {key} = 1 }]',
    ),
    "ramp": (
        WATCH,
        'title = "Look"',
        'ramp = { reading = "temperature", to = "24 °C", by = "1 °C", {key} = 1 }\ntitle = "Look"',
    ),
    "window": (WATCH, 'weekdays = ["mon", "thu"]', 'weekdays = ["mon", "thu"], {key} = 1'),
    "treatment": (MEDICATED, 'regimen = "Z01"', 'regimen = "Z01"\n{key} = 1'),
    "condition": (WATCH, '{ word = "Water is ready" }', '{ word = "Water is ready", {key} = 1 }'),
    "events": (WATCH, 'sign_a = "restart"', '{key} = 1\nsign_a = "restart"'),
}


@pytest.mark.parametrize("table", GRAMMAR)
def test_F1_every_misspelt_key_of_every_table_is_answered_with_the_right_one(table: str) -> None:
    """A doubled letter, a lost letter and capitals: the key is refused, and its own name is the one proposed."""
    text, old, new = TABLES[table]
    assert old in text
    for key in GRAMMAR[table]:
        lost = key[:1] + key[2:]
        for wrong in {f"{key}{key[-1]}", key.upper(), lost if len(key) > 4 else f"{key}{key[-1]}"}:
            if wrong in GRAMMAR[table]:
                continue
            told = [p for p in problems_of(text.replace(old, new.replace("{key}", wrong), 1)) if p.key.endswith(wrong)]
            (message,) = [p.message for p in told if "a known key" in p.message]
            assert message == f"expected a known key, got \"{wrong}\"; did you mean '{key}'?"


# --- F2 --------------------------------------------------------------------------------------------------

HEADER = ("id", "revision", "title", "author", "date", "water", "fish")


@pytest.mark.parametrize("key", HEADER)
def test_F2_a_header_without_one_of_its_lines_fails_the_check(key: str) -> None:
    """Name, version, title, author, date, water and fish group: each is asked for by its name."""
    lines = WATCH.splitlines(keepends=True)
    (place,) = [n for n, line in enumerate(lines[:10]) if line.startswith(f"{key} = ")]
    problems = problems_of("".join(lines[:place] + lines[place + 1 :]))
    assert [p.key for p in problems] == [key]
    assert problems[0].message.endswith("got nothing")


@pytest.mark.parametrize("text", [WATCH, *(path.read_text(encoding="utf-8") for path in shipped().values())])
def test_F2_a_template_without_any_source_fails_the_check(text: str) -> None:
    """Without its [[reference]] tables the file is asked for at least one, and each figure for its own."""
    start, end = text.index("[[reference]]"), text.index("[[period]]")
    problems = problems_of(text[:start] + text[end:])
    assert "expected at least one table of reference, got nothing" in {p.message for p in problems if not p.line - 1}
    assert any("the key of a [[reference]]" in p.message for p in problems)


@pytest.mark.parametrize("cite", ['cite = ""', 'cite = "  "', "cite = 7", ""])
def test_F2_a_source_that_says_nothing_fails_the_check(cite: str) -> None:
    """A reference needs the words of its source."""
    problems = problems_of(WATCH.replace('cite = "A book, 2020"', cite))
    assert [p.key for p in problems] == ["reference[book].cite"]


def test_F2_the_header_is_one_line_with_version_and_people_and_all_sources_follow() -> None:
    """Which text this is, who wrote and who checked it; sources by key, or in full with how each is known."""
    header = imprint(WATCH)
    assert header.line == (
        "protocol watch, revision 1, 2026-11-25, by a keeper, reviewed by nobody yet; fresh water; any fish"
    )
    assert header.named_sources == "book (read)"
    assert header.sources == ["book (read): A book, 2020"]
    reviewed = imprint(WATCH.replace('author = "a keeper"', 'author = "a keeper"\nreviewer = "a fish veterinarian"'))
    assert "by a keeper, reviewed by a fish veterinarian;" in reviewed.line


@pytest.mark.parametrize("name", list(shipped()))
def test_F2_the_header_says_what_the_checked_template_says(name: str) -> None:
    """Read for itself it is the same as in the protocol: id, revision, date, people, water, fish and every source."""
    text = shipped()[name].read_text(encoding="utf-8")
    header, protocol = imprint(text), read(text, name)
    for field in ("id", "revision", "date", "author", "reviewer", "water", "fish"):
        assert getattr(header, field) == getattr(protocol, field)
    assert header.references == tuple(protocol.references.values())


@pytest.mark.parametrize("text", ["", "id = 3", "= 3", 'id = "x"\nrevision = "two"', "reference = 7"])
def test_F2_a_text_that_has_no_header_is_told_apart(text: str) -> None:
    """Another file in place of a template is no header, and no traceback of another kind."""
    with pytest.raises(ValueError):
        imprint(text)
