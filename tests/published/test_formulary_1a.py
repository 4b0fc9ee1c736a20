"""The formulary against its sources: methods without a drug (rows T12 to T18 of the notes on the sources).

Written down from the notes, not from the entries. Salt itself (rows T01 to T11 and T19) stands in
test_formulary.py.
"""

from __future__ import annotations

import pytest
from notes_rows import Amount, Row, asked, d, h, minutes, plain, row_of, stated

from quarantine import formulary

COLORNI = "Colorni, Dis. Aquat. Org. 1:19-22, doi 10.3354/dao001019, 1985 (abstract)"
MERCK = "Merck Veterinary Manual, Management of Fish, parasiticides, older page (study notes quoting it)"
HYPO = "Hyposalinity on Neobenedenia melleni, Aquaculture, 1993 from memory (abstract)"
BARRAMUNDI = "Short freshwater baths, Neobenedenia girellae on barramundi, year not stated (abstract)"
DHUFISH = "Treatments to control Haliotrema abaddon in West Australian dhufish, 2003 (abstract)"
PRACTICE = "Freshwater dips of marine arrivals: common practice, from memory"


def s(number: str) -> Amount:
    return number, "g/L salinity"


# fmt: off
ROWS = {
    # 10 ppt for 3 h, 4 treatments 3 days apart; taken off the ready list by the second reading.
    "T12": Row(COLORNI, ("S32",), "trial", "READ", "bath", s("10"), s("10"), s("10"), h("3"), h("3"),
               4, d("3"), d("3"), d("3")),
    "T13": Row(MERCK, ("S12",), "instruction", "READ-R", "prolonged", s("16"), s("18"), s("16")),
    # 15 g/L or less.
    "T14": Row(HYPO, ("S34",), "trial", "READ", "prolonged", s("15"), s("15"), s("15"), d("5"), d("5")),
    "T15": Row(BARRAMUNDI, ("S35",), "trial", "READ", "dip", s("0"), s("0"), s("0"), minutes("2"), minutes("30")),
    # Less than 2 ppt: "effective but highly stressful: do not template".
    "T16": Row(DHUFISH, ("S24",), "refused", "READ", "bath", s("0"), s("2"), None, minutes("90"), minutes("90")),
    "T17": Row(PRACTICE, ("MEM-T17",), "instruction", "MEM", "dip", s("0"), s("0"), s("0"), minutes("3"),
               minutes("10")),
    "T18": Row(COLORNI, ("S32",), "ready", "READ", "move", None, None, None, d("3"), d("3"), 4, d("3"), d("3")),
}
# fmt: on
METHODS = ("lowered-salinity", "freshwater-bath", "tank-transfer")


@pytest.mark.parametrize("row", ROWS)
def test_each_method_says_what_its_source_says(row: str) -> None:
    """Salinity, route, time, rounds and reading of each row are those of its source, for marine fish."""
    found = formulary.regimen(row)[1]
    assert row_of(found, ROWS[row].source) == ROWS[row]
    assert found.water == ("marine",)


def test_the_methods_hold_these_rows_and_no_other() -> None:
    """The three entries hold rows T12 to T18, each once."""
    assert sorted(r.id for name in METHODS for r in formulary.load(name).regimens) == sorted(ROWS)


# (substance or row, words it is named by, amount, key)
STATED = [
    # Tolerance of hypo-osmotic salinities in thirteen species of adult marine fish, Aquaculture 32:175-181, 1983.
    ("lowered-salinity", "12 of 13", "10 g/L salinity", "S106"),
    ("lowered-salinity", "6 of 13", "5 g/L salinity", "S106"),
    ("lowered-salinity", "3 of 13", "3 g/L salinity", "S106"),
    # Hyposalinity on Neobenedenia melleni: 18 g/L for 7 d not fully effective, 2 d kill juveniles and adults.
    ("T14", "not fully effective", "18 g/L salinity", "S34"),
    ("T14", "kills juveniles", "2 d", "S34"),
    # Colorni 1985: 3 to 7 d on the fish, tomites 3 to 28 d later.
    ("tank-transfer", "shortest time", "3 d", "S32"),
    ("tank-transfer", "longest time", "7 d", "S32"),
    ("tank-transfer", "first young", "3 d", "S32"),
    ("tank-transfer", "last young", "28 d", "S32"),
]


@pytest.mark.parametrize(("where", "words", "amount", "key"), STATED)
def test_other_numbers_of_the_methods_are_those_of_their_source(where: str, words: str, amount: str, key: str) -> None:
    """What survived which salinity, and how long the parasite takes, are as printed."""
    figure = stated(where, words)
    assert (f"{figure.value:f} {figure.unit}", figure.reference, figure.status) == (amount, key, "READ")


def test_tank_transfer_is_tested_at_22_to_32_degrees() -> None:
    """Culture container rotation against Cryptocaryon, Aquaculture, 2018: steps of 2 to 3 d only at 22 to 32 °C."""
    (limit,) = formulary.regimen("T18")[1].limits
    assert (limit.what, limit.kind, plain(limit.low), plain(limit.high)) == (
        "temperature",
        "tested at",
        ("22", "°C"),
        ("32", "°C"),
    )
    assert limit.note.reference == "S104"


def test_lowered_salinity_says_that_it_may_fail() -> None:
    """The isolates that hatch at 5 and 10 g/L (large yellow croaker, year not stated; Yambot, Song, Sung 2003) stand
    beside the row that was eradicated at 10 g/L."""
    cautions = [note for note in formulary.regimen("T12")[1].cautions if note.reference == "S102, S103"]
    assert len(cautions) == 1
    assert "hatched at 5 and 10 g/L" in cautions[0].text


@pytest.mark.parametrize("row", ROWS)
@pytest.mark.parametrize("kind", ["fresh", "marine"])
def test_no_method_is_ever_weighed_out(row: str, kind: str) -> None:
    """A salinity to go down to is not taken for something to add, whatever the tier."""
    proposal = asked(row, kind=kind)
    assert proposal.dose.add is None
    assert proposal.hold is not None
    if row != "T18":
        assert asked(row, kind=kind, as_ready=True).dose.add is None
