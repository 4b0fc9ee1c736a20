"""Rule C14 on life cycles: which row holds for a temperature, what follows for repeats, and what is refused."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quarantine import formulary
from quarantine.cli.app import run
from quarantine.formulary import lifecycles
from quarantine.formulary.lifecycles import NoTiming, TemperatureUnknown

LIST = formulary.list_text("lifecycles.toml")
ALL = [one.id for one in lifecycles.cycles().organisms]
DEGREES = st.decimals("-2", "45", places=1)
DAY = 24


def days(hours: Decimal) -> Decimal:
    return hours / DAY


def or_none(ask: Callable[[], Any]) -> Any:
    """The answer, or None where it is refused."""
    try:
        return ask()
    except NoTiming:
        return None


# --- which row ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "temperature", "expected", "rows"),
    [
        ("dactylogyrus", "20", 8, ("DA03", "DA04")),  # its printed point: 3 d and a spread of 5 d, not "within 4 d"
        ("dactylogyrus", "20.1", 8, ("DA03", "DA04")),
        ("dactylogyrus", "19.9", 43, ("DA01", "DA02")),  # colder than the point: the next colder row, 19 d and 24 d
        ("dactylogyrus", "29.9", 8, ("DA03", "DA04")),
        ("dactylogyrus", "35", Decimal("4.5"), ("DA08", "DA09")),
        ("benedenia", "27.9", 16, ("BE02",)),
        ("benedenia", "28", 5, ("BE01",)),
        ("fish-louse", "15", 61, ("FL01",)),  # "no development" stands beside it; the figure counts
        ("fish-louse", "31", 61, ("FL01",)),
        ("neobenedenia", "24.9", 16, ("NE07",)),  # inside no row: the next colder one
        ("neobenedenia", "30", 6, ("NE01",)),
        ("anchor-worm", "26", Decimal("1.5"), ("AW02",)),
    ],
)
def test_C14_a_hatch_takes_the_row_at_or_below_the_lowest_temperature(
    name: str, temperature: str, expected: Decimal | int, rows: tuple[str, ...]
) -> None:
    """Nothing is interpolated: between two rows the colder, slower one holds, and it is named."""
    found = lifecycles.slowest_hatch(name, Decimal(temperature))
    assert days(found.hours) == expected
    assert tuple(row.id for row in found.rows) == rows


@pytest.mark.parametrize(
    ("name", "temperature", "expected"),
    [
        ("dactylogyrus", "20", 7),
        ("dactylogyrus", "4", 7),  # the only row; faster than so cold a water allows, so safe
        ("neobenedenia", "25", 10),
        ("fish-louse", "20", 40),
        ("fish-louse", "20.1", 26),  # between two rows the warmer, faster one
        ("fish-louse", "25", 26),
    ],
)
def test_C14_a_maturity_takes_the_row_at_or_above_the_highest_temperature(
    name: str, temperature: str, expected: int
) -> None:
    """Nothing is interpolated: between two rows the warmer, faster one holds."""
    assert days(lifecycles.fastest_maturity(name, Decimal(temperature)).hours) == expected


def test_a_hatch_whose_end_is_not_printed_says_so() -> None:
    """A beginning without a spread is no end of hatching."""
    found = lifecycles.slowest_hatch("neobenedenia", Decimal(25))
    assert not found.whole
    assert "its end is not printed" in found.says
    assert lifecycles.slowest_hatch("dactylogyrus", Decimal(25)).whole


@pytest.mark.parametrize("name", ALL)
@given(DEGREES, DEGREES)
def test_colder_water_never_hatches_sooner_and_warmer_never_matures_later(
    name: str, one: Decimal, two: Decimal
) -> None:
    """Whatever is answered, the colder of two waters has the later last hatch and the later first maturity."""
    cold, warm = sorted((one, two))
    for ask in (lifecycles.slowest_hatch, lifecycles.fastest_maturity):
        slow, fast = or_none(lambda: ask(name, cold)), or_none(lambda: ask(name, warm))  # noqa: B023
        assert slow is None or fast is None or slow.hours >= fast.hours


@pytest.mark.parametrize("name", ALL)
@given(DEGREES, DEGREES, st.decimals("0", "6", places=1))
def test_a_wider_range_of_temperatures_is_never_spaced_more_loosely(
    name: str, one: Decimal, two: Decimal, more: Decimal
) -> None:
    """A colder lowest or a warmer highest asks for no earlier end, no longer step and no fewer doses."""
    low, high = sorted((one, two))
    narrow = or_none(lambda: lifecycles.spacing(name, low, high))
    wide = or_none(lambda: lifecycles.spacing(name, low - more, high + more))
    if narrow and wide:
        assert wide.earliest_hours >= narrow.earliest_hours
        assert wide.latest_hours <= narrow.latest_hours
        assert wide.repeats * wide.latest_hours >= wide.earliest_hours


# --- spacing -----------------------------------------------------------------------------------------------


def test_C14_where_hatch_and_maturity_meet_the_repeat_lies_between_them() -> None:
    """Skin flukes at 25 °C: hatching begins by day 6, the first are mature on day 10."""
    found = lifecycles.spacing("neobenedenia", Decimal(25), Decimal(25))
    assert (days(found.earliest_hours), days(found.latest_hours), found.one_more) == (6, 10, False)
    assert found.says.startswith("Repeat after 6 d and before 10 d")


def test_C14_where_they_do_not_meet_there_is_one_more_dose_and_both_figures_are_said() -> None:
    """Gill flukes at 20 °C: all have hatched after 8 d, the first are mature after 7 d."""
    found = lifecycles.spacing("dactylogyrus", Decimal(20), Decimal(20))
    assert (days(found.earliest_hours), days(found.latest_hours), found.one_more, found.repeats) == (8, 7, True, 2)
    assert "one more dose" in found.says
    assert "every 7 d at most until a dose falls after 8 d" in found.says
    assert "Zhang" in found.reference


def test_so_many_repeats_as_reach_past_the_slowest_hatch() -> None:
    """Cold water with warm spells: steps of 7 d until day 43 is passed are seven repeats, not one more."""
    found = lifecycles.spacing("dactylogyrus", Decimal(10), Decimal(20))
    assert found.repeats == 7
    assert 6 * found.latest_hours < found.earliest_hours < 7 * found.latest_hours


def test_an_interpolated_cell_is_shown_and_never_reckoned_with() -> None:
    """The table's cell at 15 °C is interpolated, so the rows at 10 and 20 °C decide."""
    found = lifecycles.spacing("dactylogyrus", Decimal(15), Decimal(15))
    assert [slot.id for slot in found.slots] == ["R15-dac"]
    assert found.rows == ("DA01", "DA02", "DA10")


@pytest.mark.parametrize(
    ("lowest", "highest", "earliest", "latest", "one_more", "repeats"),
    [
        ("24", "25", 2, 2, False, 4),
        ("10", "10", 10, 10, False, 2),
        ("15", "15", 4, 5, False, 4),
        ("22", "22", 4, 2, True, 8),  # between two cells: the step of the warmer, as long as the colder one's series
        ("18", "25", 4, 2, True, 8),
        ("10", "15", 10, 5, True, 5),
        ("26", "26", 2, 2, False, 4),
    ],
)
def test_white_spot_of_fresh_water_goes_by_the_steps_of_the_table(
    lowest: str, highest: str, earliest: int, latest: int, one_more: bool, repeats: int
) -> None:
    """It has no egg: the earliest repeat is the step of the coldest water, the latest that of the warmest."""
    found = lifecycles.spacing("white-spot-fresh", Decimal(lowest), Decimal(highest))
    assert (days(found.earliest_hours), days(found.latest_hours)) == (earliest, latest)
    assert (found.one_more, found.repeats) == (one_more, repeats)


# --- refusals ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "ask",
    [
        lambda: lifecycles.slowest_hatch("dactylogyrus", None),
        lambda: lifecycles.fastest_maturity("dactylogyrus", None),
        lambda: lifecycles.spacing("dactylogyrus", None, Decimal(20)),
        lambda: lifecycles.spacing("white-spot-fresh", Decimal(20), None),
        lambda: lifecycles.transfer_step(Decimal(24), None),
        lambda: lifecycles.koi_counts(None),
        lambda: lifecycles.observation(None),
    ],
)
def test_C14_an_unknown_temperature_asks(ask: Callable[[], object]) -> None:
    """Nothing is spaced by a guess: the sentence asks for a reading."""
    with pytest.raises(TemperatureUnknown, match=r"log a reading \(quarantine reading TANK temp=\.\.\.\)"):
        ask()


@pytest.mark.parametrize(
    ("ask", "says"),
    [
        (
            lambda: lifecycles.slowest_hatch("dactylogyrus", Decimal("9.9")),
            r"colder than the coldest row.*10 °C.*Zhang",
        ),
        (lambda: lifecycles.slowest_hatch("dactylogyrus", Decimal("35.1")), r"warmer than the warmest row.*35 °C"),
        (lambda: lifecycles.slowest_hatch("neobenedenia", Decimal("32.1")), r"warmer than the warmest row.*Brazenor"),
        (lambda: lifecycles.slowest_hatch("neobenedenia", Decimal(20)), r"At 15 °C none .* hatched .*is not dead"),
        (lambda: lifecycles.slowest_hatch("benedenia", Decimal(30)), r"At 30 °C none .* hatched"),
        (lambda: lifecycles.slowest_hatch("gyrodactylus", Decimal(20)), r"No source on record"),
        (lambda: lifecycles.fastest_maturity("fish-louse", Decimal("25.1")), r"warmer than the warmest row.*25 °C"),
        (lambda: lifecycles.fastest_maturity("benedenia", Decimal(25)), r"No source on record"),
        (lambda: lifecycles.spacing("dactylogyrus", Decimal(28), Decimal("30.1")), r"warmer than the warmest row"),
        (lambda: lifecycles.spacing("white-spot-fresh", Decimal("9.9"), Decimal(20)), r"colder than the coldest row"),
        (lambda: lifecycles.spacing("white-spot-fresh", Decimal(20), Decimal(31)), r"warmer than the warmest row"),
        (lambda: lifecycles.spacing("dactylogyrus", Decimal(21), Decimal(20)), r"lowest .* is above the highest"),
        (lambda: lifecycles.spacing("gyrodactylus", Decimal(20), Decimal(20)), r"live young"),
        (lambda: lifecycles.spacing("koi-herpesvirus", Decimal(20), Decimal(20)), r"virus"),
        (lambda: lifecycles.spacing("white-spot-marine", Decimal(25), Decimal(25)), r"72 d.*tank transfer"),
        (lambda: lifecycles.spacing("camallanus", Decimal(23), Decimal(23)), r"2 to 3 weeks \(read: .*FA091"),
        (lambda: lifecycles.transfer_step(Decimal("21.9"), Decimal(24)), r"21.9 °C.*more than 4 d at 18 °C.*2018"),
        (lambda: lifecycles.transfer_step(Decimal(24), Decimal("32.1")), r"32.1 °C.*warmer nothing was tried"),
        (lambda: lifecycles.observation(Decimal("9.9")), r"10 °C to 30 °C only"),
        (lambda: lifecycles.observation(Decimal("30.1")), r"10 °C to 30 °C only"),
        (lambda: lifecycles.organism("white spot"), r"the name of white-spot-fresh, white-spot-marine"),
    ],
)
def test_outside_the_table_it_refuses_with_the_reason_and_the_source(ask: Callable[[], object], says: str) -> None:
    """Colder than the coldest row, warmer than the warmest, or no row at all: one sentence, no figure."""
    with pytest.raises(NoTiming) as refused:
        ask()
    assert re.search(says, refused.value.sentence)


def test_the_days_without_a_drug_between_two_cells_are_those_of_the_colder() -> None:
    """At 22 °C the 21 d of 18 to 20 °C hold, not the 14 d of 24 °C."""
    assert days(lifecycles.observation(Decimal(22)).least_hours) == 21
    assert days(lifecycles.observation(Decimal(24)).least_hours) == 14


# --- the file ----------------------------------------------------------------------------------------------


def test_the_list_that_ships_has_no_mistake() -> None:
    """It passes its own check."""
    assert lifecycles.check(LIST, "lifecycles.toml") == []


MISTAKES = {
    "no TOML": ("[[organism]]", "[[organism]", "not TOML"),
    "an unknown key": ('what = "whole cycle", above', 'where = 1, what = "whole cycle", above', "where: unknown key"),
    "an unknown word": ('what = "whole cycle", above', 'what = "cycle", above', "'cycle' is not one of whole cycle"),
    "an id twice": ('id = "WF02"', 'id = "WF01"', "'WF01' is there twice"),
    "an id of another form": ('id = "WF02"', 'id = "F02"', "'F02' is not written as the others are"),
    "read without a reference": (
        'kind = "read", reference = "P-S128", note = "In 2 to 3 g/L salt, day 8',
        'kind = "read", note = "In 2 to 3 g/L salt, day 8',
        "row WF03: reference: a row that is read needs a reference",
    ),
    "an unknown kind": (
        'kind = "second-hand", reference = "P-S52" }',
        'kind = "heard" }',
        "'heard' is not one of read",
    ),
    "a source from memory that was read": (
        'kind = "from memory", reference = "P-AB2001" }',
        'kind = "read", reference = "P-AB2001" }',
        "is from memory, so the status is MEM",
    ),
    "no such source": ('reference = "P-S54"', 'reference = "P-S5x"', "there is no reference 'P-S5x'"),
    "a source that nothing uses": (
        '[[reference]]\nkey = "P-S5"',
        '[[reference]]\nkey = "P-S0"\ncite = "A, B, 2000"\nread = "read"\n\n[[reference]]\nkey = "P-S5"',
        "reference P-S0: key: nothing uses it",
    ),
    "derived from nothing": (', derived_from = ["NE06"]', "", "a derived row, and no other, names the rows"),
    "derived from no row": ('derived_from = ["NE06"]', 'derived_from = ["NE99"]', "row NE07: there is no row 'NE99'"),
    "a conflict on one side": (', conflicts_with = ["FL01"]', "", "row FL01: conflicts_with: FL05 does not name it"),
    "low above high": ('low = "8 d", high = "11 d"', 'low = "12 d", high = "11 d"', "row DA05: low: is above high"),
    "a time without a unit": ('low = "8 d", high = "11 d"', 'low = "8", high = "11 d"', "row DA05: low:"),
    "a temperature in another unit": ('at = "33 °C"', 'at = "91 °F"', "row WF19: at: give the temperature in °C"),
    "two temperatures": ('at = "33 °C"', 'at = "33 °C", above = "3 °C"', "row WF19: at: give one of at, from and to"),
    "a band upside down": ('from = "24 °C", to = "26 °C"', 'from = "27 °C", to = "26 °C"', "from: is not under to"),
    "a figure nobody can read": ('high = "48 h", words = "48 h"', 'high = "48 h"', "row WF16: words: is missing"),
    "a hatch without a figure": (
        'what = "hatch begins", at = "10 °C", low = "19 d", high = "19 d"',
        'what = "hatch begins", at = "10 °C", words = "long"',
        "row DA01: low: hatch begins is reckoned with and needs a figure",
    ),
    "a hatch without an end of its band": (
        'what = "hatch begins", at = "10 °C"',
        'what = "hatch begins", below = "10 °C"',
        "row DA01: what: hatch begins is reckoned with and needs a point or a band",
    ),
    "never, with a time": ("never = true, words", 'never = true, low = "3 d", words', "never: what does not happen"),
    "a cell of both forms": ('every_low = "10 d"', 'second_low = "9 d"\nevery_low = "10 d"', "spacing R10-ich: every_"),
    "a cell without its number": (
        "doses = 3\n",
        "",
        "spacing R10-ich: every_low: give every_low, every_high and doses",
    ),
    "a cell of nobody": ('organism = "neobenedenia"', 'organism = "nobody"', "'nobody' is not one of"),
    "a cell without a temperature": ('id = "Q10"\nat = "10 °C"', 'id = "Q10"\nat = "any"', "needs a point or a band"),
}


@pytest.mark.parametrize("case", MISTAKES)
def test_a_mistake_in_the_list_is_named_with_its_place(case: str) -> None:
    """Each mistake is told with the row and the key."""
    old, new, expected = MISTAKES[case]
    assert old in LIST
    problems = lifecycles.check(LIST.replace(old, new, 1), "lifecycles.toml")
    assert any(expected in problem for problem in problems), problems


def test_the_reader_loads_no_entry_and_no_other_room() -> None:
    """Asked for a spacing, it has parsed no substance, and neither plan nor protocol nor water is there."""
    code = (
        "import sys; from decimal import Decimal; from quarantine import formulary;"
        " from quarantine.formulary import lifecycles; lifecycles.spacing('dactylogyrus', Decimal(20), Decimal(20));"
        " print(formulary._entry.cache_info().currsize,"
        " [m for m in sys.modules if m.split('.')[0] == 'quarantine'"
        " and m.split('.')[1:2] not in ([], ['formulary'], ['failures'], ['quantity'])])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "0 []\n"


# --- the command -------------------------------------------------------------------------------------------


@pytest.fixture
def ask(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Callable[..., str]:
    """The command by its words, on no record; what it printed."""
    monkeypatch.setenv("QUARANTINE_HOME", str(tmp_path / "home"))

    def asked(*words: str, code: int = 0) -> str:
        assert run(["formulary", "cycles", *words]) == code
        said = capsys.readouterr()
        return said.out + said.err

    return asked


def test_cycles_shows_every_row_with_its_source_and_how_it_is_known(ask: Callable[..., str]) -> None:
    """Without a name all of them, each once; nothing is printed without its standing."""
    text = "".join(ask().split())
    for one in lifecycles.cycles().organisms:
        for row in one.rows:
            line = f"{row.id}, {row.where.words}, {row.what}: {row.says} [{lifecycles.cite(row)}]"
            assert text.count("".join(line.split())) == 1


def test_cycles_sets_what_conflicts_under_what_it_conflicts_with(ask: Callable[..., str]) -> None:
    """The 61 d and the "no development" of the same temperature stand one under the other."""
    rows = json.loads(ask("fish-louse", "--json"))["organisms"][0]["rows"]
    ids = [row["id"] for row in rows]
    assert ids.index("FL05") == ids.index("FL01") + 1
    assert "Against FL01: FL05, 15 °C" in " ".join(ask("fish-louse").split())


def test_cycles_at_a_temperature_shows_what_holds_there_and_what_follows(ask: Callable[..., str]) -> None:
    """Degrees Fahrenheit are understood; the rows that hold, the spacing with its source, the days without a drug."""
    found = json.loads(ask("dactylogyrus", "--at", "68 °F", "--json"))
    assert found["at_degc"] == 20
    one = found["organisms"][0]
    assert {row["id"] for row in one["rows"]} == {"DA03", "DA04", "DA05", "DA10", "DA11"}
    assert [row["id"] for row in one["spacing"]] == ["R18-dac"]
    follows = {answer["what"]: answer for answer in one["follows"]}
    assert set(follows) == {"slowest hatch", "fastest maturity", "spacing of repeats"}
    assert "one more dose" in follows["spacing of repeats"]["says"]
    assert "Zhang" in follows["spacing of repeats"]["source"]
    assert [cell["id"] for cell in found["without_drug"]] == ["Q18"]


def test_cycles_shows_a_row_that_conflicts_though_it_holds_elsewhere(ask: Callable[..., str]) -> None:
    """At 24 °C the whole cycle from memory is not shown without the shorter one printed for above 24 °C."""
    rows = json.loads(ask("ich", "--at", "24C", "--json"))["organisms"][0]["rows"]
    assert {"WF01", "WF04"} <= {row["id"] for row in rows}


def test_cycles_says_a_refusal_as_an_answer(ask: Callable[..., str]) -> None:
    """Too cold for a tank transfer, or too warm for a koi day, is said and is no failure of the command."""
    assert "refused at 20 °C" in ask("marine ich", "--at", "20 °C")
    assert "28 °C does not count" in " ".join(ask("KHV", "--at", "28 °C").split())
    assert json.loads(ask("ich", "--at", "5 °C", "--json"))["without_drug"] == []


def test_cycles_knows_other_names_and_names_the_known_ones(ask: Callable[..., str]) -> None:
    """One name may mean several; an unknown one is refused with those that are known."""
    found = json.loads(ask("White  spot", "--json"))["organisms"]
    assert [one["organism"] for one in found] == ["white-spot-fresh", "white-spot-marine"]
    assert "known: white-spot-fresh" in " ".join(ask("nettle", code=1).split())


@pytest.mark.parametrize("typed", ["24", "warm", "24 mg/L", ""])
def test_cycles_refuses_a_temperature_without_its_unit(ask: Callable[..., str], typed: str) -> None:
    """A bare number is no temperature."""
    assert "temperature" in ask("ich", "--at", typed, code=1)
