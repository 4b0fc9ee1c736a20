"""Reading a template: what comes out, all mistakes at once, and files that are no templates."""

from __future__ import annotations

import hashlib
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from quarantine.facts import Condition
from quarantine.failures import Refused, Unknown
from quarantine.protocol import (
    Band,
    Duration,
    Problem,
    ProtocolError,
    Repeat,
    Start,
    Window,
    key_lines,
    load,
    read,
    shipped,
)
from quarantine.quantity import Quantity
from tests.protocol.test_broken import WATCH


def _problems(text: str) -> list[Problem]:
    with pytest.raises(ProtocolError) as caught:
        read(text, "mine.toml")
    return caught.value.problems


def _found(text: str) -> list[Problem]:
    """The problems of a text; none when it is sound."""
    try:
        read(text, "mine.toml")
    except ProtocolError as error:
        return error.problems
    return []


def test_a_sound_template_becomes_named_tuples() -> None:
    """Everything written in the file comes out typed, with the defaults of what was left out."""
    protocol = read(WATCH, "mine.toml")
    assert (protocol.format, protocol.id, protocol.revision, protocol.date) == (1, "watch", 1, date(2026, 11, 25))
    assert protocol.reviewer is None
    assert protocol.cautions == ()
    assert not protocol.medicated
    assert protocol.fingerprint == hashlib.sha256(WATCH.encode()).hexdigest()
    assert protocol.text == WATCH
    look, tests, change = protocol.steps
    assert (look.for_, tests.for_, change.for_) == ("batch", "system", "system")
    assert look.start == Start("arrival", None, Duration(0, "d"))
    assert look.repeat == Repeat(Duration(1, "d"), None, "observation", None, None, "planned", ())
    assert look.window == Window("00:00", "23:59", None, ())
    assert look.who == "anyone"
    assert tests.repeat == Repeat(Duration(6, "h"), 3, None, Duration(9, "h"), "keep", "planned", ())
    assert tests.window == Window("08:00", "20:00", Duration(2, "h"), ("mon", "thu"))
    assert tests.weekdays == ("mon", "thu")
    assert change.start == Start("after", "tests", Duration(12, "h"))
    assert change.fraction == Decimal(25)
    assert protocol.periods[0].length == Duration(30, "d")
    assert protocol.events["sign_a"] == "restart"


def test_a_step_knows_its_line() -> None:
    """The line of a step is the line of its [[step]] header."""
    lines = WATCH.splitlines()
    for step in read(WATCH, "mine.toml").steps:
        assert lines[step.line - 1] == "[[step]]"
        assert lines[step.line] == f'id = "{step.id}"'


def test_conditions_hold_limits_as_decimal_text_in_the_readings_unit() -> None:
    """ug/L and °F become mg/L and °C; every condition has a title even where none was written."""
    text = WATCH.replace('max = "0.05 mg/L"', 'max = "50 ug/L"')
    condition = read(text, "mine.toml").criteria[1]
    title = "Un-ionized ammonia nitrogen at most 0.05 mg/L, read within 24 h"
    assert condition == Condition("reading", "uia", title, None, "0.05", "mg/L", 24, None, None, "book")
    warm = '{ steady = "temperature", min = "72.5 °F", max = "28 °C", within = "24 h", reference = "book" }'
    text = WATCH.replace('{ word = "Water is ready" }', warm)
    condition = read(text, "mine.toml").steps[2].before[0]
    assert (condition.low, condition.high, condition.unit) == ("22.5", "28", "°C")


@pytest.mark.parametrize(
    ("written", "title"),
    [
        ("day = 3\nreference = 'book'", "Day 3 or later"),
        ("ate = 1\nreference = 'book'", "Fish ate on 1 looked day"),
        ("no_sign = 'A'", "No sign of severity A is open"),
        ("no_sign = 'B'", "No sign of severity B or worse is open"),
        ("word = 'The lid is on'", "The lid is on"),
        ("period = 'observation'", "Period observation is complete"),
        ("clear_days = 14\nreference = 'book'", "14 clear days, looked at and without a sign"),
        ("feeding_days = 7\nreference = 'book'", "7 days of feeding, every one on which food was offered"),
        ("days_since_death = 1\nreference = 'book'", "1 day since the last death"),
        ("days_since_dose = 14\nreference = 'book'", "14 days since the last dose ended"),
        (
            "level = 'praziquantel'\nat_most = '5 %'\nreference = 'book'",
            "Praziquantel in the water at most 5 % of the last target",
        ),
        (
            "reading = 'ph'\nmin = '6.5 pH'\nmax = '8 pH'\nwithin = '24 h'\nreference = 'book'",
            "PH from 6.5 to 8, read within 24 h",
        ),
        ("counts = 'balanced'\ntitle = 'All are there'", "All are there"),
    ],
)
def test_a_condition_without_a_title_gets_a_sentence(written: str, title: str) -> None:
    """The sentence names what is asked for, in words and with the unit."""
    criteria = read(f"{WATCH}\n[[criterion]]\n{written}\n", "mine.toml").criteria
    assert criteria[-1].title == title.replace("PH", "pH")


def test_a_level_keeps_its_share_as_a_percentage() -> None:
    """The share of a level is text with its unit."""
    text = f"{WATCH}\n[[criterion]]\nlevel = 'praziquantel'\nat_most = '2.50 %'\nreference = 'book'\n"
    assert read(text, "mine.toml").criteria[-1].share == "2.5 %"


def test_a_temperature_table_is_read() -> None:
    """Rows from cold to warm may be open at the outer ends."""
    table = (
        '{ times = 3, by_temperature = [{ below = "24 °C", every = "4 d" }, { at_least = "24 °C", every = "48 h" }] }'
    )
    text = WATCH.replace('{ every = "6 h", times = 3, latest = "9 h", then = "keep" }', table)
    repeat = read(text, "mine.toml").steps[1].repeat
    assert repeat is not None
    assert repeat.every is None
    assert repeat.by_temperature == (
        Band(None, Decimal(24), Duration(4, "d")),
        Band(Decimal(24), None, Duration(48, "h")),
    )


def test_a_target_inside_the_bounds_is_taken() -> None:
    """A template may name the target, in any unit of concentration; it is held in the regimen's unit."""
    text = shipped()["marine-praziquantel"].read_text(encoding="utf-8")
    text = text.replace('mode = "as published"', 'mode = "as published"\ntarget = "0.002 g/L"')
    dose = next(step for step in read(text, "mine.toml").steps if step.treatment)
    assert dose.treatment is not None
    assert dose.treatment.target == Quantity(Decimal(2), "mg/L")


def test_texts_over_several_lines_become_one_line() -> None:
    """Line breaks and runs of spaces in a text become one space."""
    text = WATCH.replace('summary = "Watch only."', 'summary = """\n  Watch\n\n  only. """')
    assert read(text, "mine.toml").summary == "Watch only."


def test_all_mistakes_are_told_at_once_in_the_order_of_lines() -> None:
    """Three mistakes in three places give three problems, and the sentence holds all of them."""
    text = WATCH.replace('water = "fresh"', "water = 3").replace('"30 d"', '"30"').replace('"25 %"', '"0 %"')
    problems = _problems(text)
    assert [problem.key for problem in problems] == ["water", "period[observation].length", "step[change].fraction"]
    assert [problem.line for problem in problems] == sorted(problem.line for problem in problems)
    with pytest.raises(Refused) as caught:
        read(text, "mine.toml")
    assert "has 3 mistakes" in caught.value.sentence
    for problem in problems:
        assert str(problem) in caught.value.sentence
    assert caught.value.facts["problems"][0]["line"] == 8


def test_an_empty_file_is_told_what_it_needs() -> None:
    """Every required key of the file is asked for, and nothing breaks."""
    keys = {problem.key for problem in _problems("")}
    assert {"format", "id", "revision", "date", "reference", "period", "step", "events", "criterion"} <= keys


def test_a_newer_format_is_refused_alone() -> None:
    """A template for a newer grammar says so in one sentence; its other keys are not judged."""
    (problem,) = _problems("format = 2\nnonsense = true\n")
    assert problem.line == 1
    assert problem.message == (
        "expected 1, the newest format this version reads, got 2; "
        "this template is for a newer version of quarantine; update the program"
    )


def test_a_format_that_never_was_is_refused() -> None:
    """Format 0 or a text is not a newer format."""
    (problem,) = _problems("format = 0\n")
    assert problem.message == "expected 1, the newest format this version reads, got 0"
    (problem,) = _problems('format = "1"\n')
    assert problem.message == 'expected 1, the newest format this version reads, got "1"'


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ('format = 1\nid = "watch\n', 2),
        ("format = 1\n\n[[step\n", 3),
        ("format = 1\nformat = 1\n", 2),
        ("format = 1\nfish = {", 2),
        ("a = " + "[" * 5000, 1),
    ],
)
def test_a_file_that_is_no_toml_is_told_with_its_line(text: str, line: int) -> None:
    """A mistake of the TOML itself is one problem with its line, never a traceback."""
    (problem,) = _problems(text)
    assert problem.line == line
    assert problem.message.startswith("expected ")


def test_lines_are_found_through_all_that_toml_allows() -> None:
    """Comments, quoted and dotted keys, texts over lines, lists over lines and inline tables keep their lines."""
    text = """\
# a comment = 1
a = 1 # b = 2
"quoted key".x = '''one
two = "not a key"
''' # three
list = [
  { one = 1 },
  # between
  { two = { three = "]" } }, [
    5, 6.5 ],
]
day = 2026-11-25T08:00:00Z

[[step]]
id = "x"
  [step.start]
  by.more = \"\"\"}" ""\"\"\"

[[step]]
  [[step.before]]
  day = 3
  [[step.before]]
  'day' = 4
"""
    assert key_lines(text) == {
        ("a",): 2,
        ("quoted key",): 3,
        ("quoted key", "x"): 3,
        ("list",): 6,
        ("list", 0): 7,
        ("list", 0, "one"): 7,
        ("list", 1): 9,
        ("list", 1, "two"): 9,
        ("list", 1, "two", "three"): 9,
        ("list", 2): 9,
        ("list", 2, 0): 10,
        ("list", 2, 1): 10,
        ("day",): 12,
        ("step",): 14,
        ("step", 0): 14,
        ("step", 0, "id"): 15,
        ("step", 0, "start"): 16,
        ("step", 0, "start", "by"): 17,
        ("step", 0, "start", "by", "more"): 17,
        ("step", 1): 19,
        ("step", 1, "before"): 20,
        ("step", 1, "before", 0): 20,
        ("step", 1, "before", 0, "day"): 21,
        ("step", 1, "before", 1): 22,
        ("step", 1, "before", 1, "day"): 23,
    }


def test_lines_are_the_same_with_windows_line_ends() -> None:
    """A file saved with carriage returns has the same lines and the same mistakes."""
    text = WATCH.replace('"25 %"', "25")
    assert _problems(text.replace("\n", "\r\n")) == _problems(text)


@pytest.mark.parametrize("wrong", ["7", "true", '""', "[]", "[7]", "{}", "{ x = 7 }", "1.5", "2026-11-25", "[[[]]]"])
def test_no_value_of_a_wrong_type_breaks_the_reader(wrong: str) -> None:
    """Any value in any place gives a protocol or a list of problems, never a traceback."""
    text = shipped()["marine-praziquantel"].read_text(encoding="utf-8")
    text = text[: text.index("[[criterion]]")] + WATCH[WATCH.index("[[criterion]]") :]
    lines = text.splitlines()
    places = [n for n, line in enumerate(lines) if " = " in line and not line.startswith(("#", "format"))]
    refused = 0
    for n in places:
        changed = [*lines[:n], f"{lines[n].partition(' = ')[0]} = {wrong}", *lines[n + 1 :]]
        refused += bool(_found("\n".join(changed)))
    assert refused > len(places) / 2


def test_no_missing_line_breaks_the_reader() -> None:
    """A template with any one line left out gives a protocol or a list of problems, never a traceback."""
    lines = WATCH.splitlines()
    for n in range(len(lines)):
        problems = _found("\n".join(lines[:n] + lines[n + 1 :]))
        assert all(1 <= problem.line <= len(lines) and problem.message for problem in problems)


def test_a_shipped_template_is_loaded_by_its_id_and_a_file_by_its_path(tmp_path: Path) -> None:
    """load takes the id of a shipped template or the path of a file."""
    mine = tmp_path / "mine.toml"
    mine.write_bytes(WATCH.encode())
    assert load("fresh-watch").id == "fresh-watch"
    assert load(mine).id == load(str(mine)).id == "watch"


def test_an_unknown_id_names_the_known_ones() -> None:
    """A protocol that does not exist is refused with those that do, and the nearest."""
    with pytest.raises(Unknown, match="Did you mean 'fresh-watch'"):
        load("fresh-wach")


@pytest.mark.parametrize("name", ["gone.toml", "folder/gone", "", "a\0b.toml"])
def test_a_file_that_is_not_there_is_one_sentence(tmp_path: Path, name: str) -> None:
    """A missing file, a folder and a name that cannot be one are refused in a sentence."""
    with pytest.raises(Refused, match="cannot be read"):
        load(f"{tmp_path}/{name}")


def test_a_file_that_is_not_utf8_is_one_sentence(tmp_path: Path) -> None:
    """A file in another encoding is refused and says what to do."""
    mine = tmp_path / "mine.toml"
    mine.write_bytes(b'title = "caf\xe9"')
    with pytest.raises(Refused, match="not UTF-8"):
        load(mine)


def test_templates_beside_the_package_come_before_those_of_the_checkout(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An installed package has protocols/ beside its modules, a checkout beside the package; the first wins."""
    package = tmp_path / "quarantine"
    for folder, name in ((package / "protocols", "inside"), (tmp_path / "protocols", "beside")):
        folder.mkdir(parents=True)
        (folder / f"{name}.toml").write_text(WATCH, encoding="utf-8")
    monkeypatch.setattr("quarantine.templates.__file__", str(package / "templates.py"))
    assert list(shipped()) == ["inside"]
    (package / "protocols" / "inside.toml").unlink()
    (package / "protocols").rmdir()
    assert list(shipped()) == ["beside"]


def test_names_of_regimens_are_taken_without_capitals() -> None:
    """z01 is Z01: the protocol holds the formulary's own id."""
    text = shipped()["marine-praziquantel"].read_text(encoding="utf-8").replace('regimen = "Z01"', 'regimen = "z01"')
    dose = next(step for step in read(text, "mine.toml").steps if step.treatment)
    assert dose.treatment is not None
    assert dose.treatment.regimen == "Z01"


@pytest.mark.parametrize(
    ("regimen", "water", "says"),
    [
        ("T01", "fresh", "its route is dip"),
        ("Z08", "fresh", "its route is food"),
        ("Z10", "fresh", "it refuses this one"),
    ],
)
def test_dips_food_and_refused_regimens_are_not_dosed_by_the_tank(regimen: str, water: str, says: str) -> None:
    """Thirty grams of salt per litre in the system would kill: only baths are dosed into it."""
    text = shipped()["marine-praziquantel"].read_text(encoding="utf-8")
    text = text.replace('regimen = "Z01"', f'regimen = "{regimen}"').replace('water = "marine"', f'water = "{water}"')
    messages = [one.message for one in _problems(text) if one.key == "step[dose].treatment.regimen"]
    assert any(says in message for message in messages)


def test_a_frozen_copy_never_loses_a_step_silently() -> None:
    """What a later version objects to is let pass; a step that cannot be read at all is not: doses would vanish."""
    from quarantine.protocol import shipped

    text = shipped()["marine-praziquantel"].read_text(encoding="utf-8")
    strange = text.replace('regimen = "Z01"', 'regimen = "Z99"')
    assert strange != text
    with pytest.raises(ProtocolError):
        read(strange, "t.toml")
    try:
        kept = read(strange, "t.toml", frozen=True)
    except ProtocolError:
        return
    assert len(kept.steps) == strange.count("[[step]]")
    assert any(step.treatment for step in kept.steps)
