"""`quarantine level`: the ledger of one water line by line, so that anyone can do each sum again by hand.

The tank is a box of 100 cm by 50 cm, filled to 10 cm give or take 1 mm: 50 L, plus or minus 0.5 L. What stands in a
test as a bound was computed by hand from that, as its comment says (mass balance).
"""

from __future__ import annotations

import io
import re
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
import typed_room
from freezegun import freeze_time

from quarantine.actions.desk import Desk
from quarantine.actions.entering import add_fact
from quarantine.cli import app
from quarantine.settings import open_home

BOX = '--shape box --length "100 cm ± 0 cm" --width "50 cm ± 0 cm" --filled "10 cm ± 0.1 cm"'
NS = "{http://www.w3.org/2000/svg}"


class Room(typed_room.Room):
    """The same, with the bounds of a level, and typed at by calling it."""

    def __call__(self, line: str, code: int = 0) -> str:
        return self.type(line, code)

    def entries(self) -> int:
        """How many entries the journal has."""
        return len(self.json("journal")["entries"])

    def span(self, line: str = "level Q1 salt") -> tuple[Any, Any]:
        """Both bounds now."""
        now = self.json(line)["now"]
        return now["low"], now["high"]


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    """Tank Q1 of 50 L, plus or minus 0.5 L, and a second one."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    made = Room(tmp_path / "home", capsys)
    made("site add Hall --zone Europe/Berlin")
    made("keeper add Robin")
    for name in ("Q1", "Q2"):
        made(f"tank add {name} --site Hall --role quarantine --water fresh {BOX}")
    return made


def salted(room: Room) -> Room:
    """100 g of salt at 10:00 on 11 February."""
    room.at("2026-02-11 09:00:00")('event dose Q1 T04 --gave "100 g" --really')
    return room


def sums(document: dict[str, Any]) -> list[list[str]]:
    """The sums by hand of each line."""
    return [[w for w in line["working"] if " = " in w] for line in document["lines"]]


def test_a_dose_and_a_change_can_be_done_again_by_hand(room: Room) -> None:
    """Each line has its amounts, litres and shares, once for 49.5 L and once for 50.5 L, and both bounds after it.

    100 g / 49.5 L = 2.0202 g/L and 100 g / 50.5 L = 1.9802 g/L; of 49.5 L 20 L are 40.404 %, so 2.0202 x 0.59596 =
    1.20396; of 50.5 L they are 39.604 %: 1.9802 x 0.60396 = 1.19596.
    """
    salted(room).at("2026-02-12 09:00:00")("event change Q1 --out 20L")
    made = room.at("2026-02-12 10:00:00").json("level Q1 salt")
    assert made["now"] == {
        "at": "2026-02-12T10:00:00+00:00",
        "low": 1.195,
        "high": 1.204,
        "unit": "g/L",
        "why": "",
    }
    assert [(line["after"]["low"], line["after"]["high"]) for line in made["lines"]] == [(1.98, 2.021), (1.195, 1.204)]
    assert sums(made) == [
        ["100 g / 49.5 L = 2.02 g/L", "100 g / 50.5 L = 1.98 g/L"],
        [
            "of 49.5 L 20 L went, 40.4 %: 2.02 x 0.596 = 1.204 g/L; 59.6 g are there",
            "of 50.5 L 20 L went, 39.6 %: 1.98 x 0.604 = 1.196 g/L; 60.4 g are there",
        ],
    ]


def test_the_lines_say_who_did_what_when(room: Room) -> None:
    """Times are those at the site; an entry made late says so."""
    salted(room)
    room.at("2026-02-12 20:00:00")('event change Q1 --out 20L --in 18L --at "2026-02-12 09:00"')
    said = room("level Q1 salt")
    assert "2026-02-11 10:00 dose: 100 g (T04; planned 5 g/L), Robin\n" in said
    assert "2026-02-12 09:00 water change: 20 L out, 18 L in, Robin (entered late)\n" in said
    assert "Water: 50 L, plus or minus 0.5 L (computed from its measures, 2026-02-10)." in said
    assert "Now, 2026-02-12 21:00: " in said


def test_evaporation_then_a_change(room: Room) -> None:
    """5 L that evaporate leave all the salt in less water, and a change takes more of it then.

    49.5 to 44.5 L: 2.0202 x 49.5 / 44.5 = 2.24719; 50.5 to 45.5 L: 1.9802 x 50.5 / 45.5 = 2.1978. 10 L out of each:
    2.24719 x 34.5 / 44.5 = 1.74221; 2.1978 x 35.5 / 45.5 = 1.71477.
    """
    salted(room).at("2026-02-12 09:00:00")("event evaporation Q1 5L")
    assert room.span() == (2.197, 2.248)
    room.at("2026-02-13 09:00:00")("event change Q1 --out 10L")
    assert room.span() == (1.714, 1.743)
    made = room.json("level Q1 salt")
    assert "49.5 L become 44.5 L: 2.02 x 49.5 / 44.5 = 2.247 g/L; 100 g are there" in sums(made)[1]
    assert "of 44.5 L 10 L went, 22.47 %: 2.247 x 0.7753 = 1.742 g/L; 77.53 g are there" in sums(made)[2]


def test_a_top_up_of_what_evaporated_restores_the_level(room: Room) -> None:
    """As much in as had gone brings the level back to where it was."""
    salted(room)
    before = room.span()
    room.at("2026-02-12 09:00:00")("event evaporation Q1 5L")
    room.at("2026-02-12 10:00:00")("event topup Q1 5L")
    assert room.span() == before == (1.98, 2.021)
    made = room.json("level Q1 salt")
    assert "44.5 L become 49.5 L: 2.247 x 44.5 / 49.5 = 2.02 g/L; 100 g are there" in sums(made)[2]


def test_water_put_in_beyond_what_had_gone_thins_the_lower_bound_only(room: Room) -> None:
    """Nobody wrote down that 5 L were missing: the upper bound counts as if they had been, the lower as if not.

    1.9802 x 50.5 / 55.5 = 1.8018.
    """
    salted(room).at("2026-02-12 09:00:00")("event topup Q1 5L")
    assert room.span() == (1.801, 2.021)
    (line,) = [line for line in room.json("level Q1 salt")["lines"] if line["kind"] == "topup"]
    assert any(w.startswith("5 L more than had gone went in") for w in line["working"])
    assert any(w.endswith("; or 1.802 g/L") for w in line["working"])


def test_evaporation_before_the_first_dose_counts(room: Room) -> None:
    """What had gone before is missing when the dose is given: 100 g / 44.5 L and 100 g / 45.5 L."""
    room.at("2026-02-10 12:00:00")("event evaporation Q1 5L")
    room("event change Q1 --out 10L")
    salted(room)
    assert room.span() == (2.197, 2.248)
    made = room.json("level Q1 salt")
    assert [line["kind"] for line in made["lines"]] == ["evaporation", "dose"]  # an even change before it is nothing
    assert made["lines"][0]["working"] == ["44.5 L are there", "45.5 L are there"]


def test_water_that_is_measured_anew_has_a_line_of_its_own(room: Room) -> None:
    """100 g went in for 50 L, and then buckets counted 42 L, give or take 0.5 L: the bounds hold whether there had
    been 42 L all along (100 g / 41.5 L = 2.4096 g/L) or the water became less since (2.0202 x 49.5 / 41.5 = 2.4096).
    """
    salted(room).at("2026-02-12 09:00:00")('tank measure Q1 42L --by "counted buckets" --plus-minus 0.5L')
    made = room.at("2026-02-13 09:00:00").json("level Q1 salt")
    assert [line["kind"] for line in made["lines"]] == ["dose", "volume"]
    line = made["lines"][1]
    assert line["says"] == (
        "the water was measured anew: 42 L, plus or minus 0.5 L; before it was 50 L, plus or minus 0.5 L"
    )
    assert "if it became less: 2.02 x 49.5 / 41.5 = 2.41 g/L" in line["working"]
    assert (line["after"]["low"], line["after"]["high"]) == (made["now"]["low"], made["now"]["high"])
    assert made["now"]["low"] <= 1.9802
    assert 2.4096 <= made["now"]["high"] <= 2.411
    before = room.json("level Q1 salt --on 2026-02-11")
    assert [line["kind"] for line in before["lines"]] == ["dose"]
    assert before["then"]["high"] >= 2.4096  # the figure of that day may have been wrong


def test_two_tanks_of_one_water_are_said(room: Room) -> None:
    """A dose in one of them is in both: 100 g in 100 L, plus or minus 1 L, is 0.9901 to 1.0102 g/L."""
    room(f"tank add Q3 --site Hall --role quarantine --water fresh --system Q1 {BOX}")
    salted(room)
    assert room.span("level Q3 salt") == room.span() == (0.99, 1.011)
    assert "It is one water with Q3." in room("level Q1")


def test_what_may_be_lost_leaves_the_lower_bound_at_zero(room: Room) -> None:
    """Praziquantel may break down: right after a dose it is there, an hour later nobody knows; the source is named.

    0.1 g / 50.5 L = 1.980 mg/L and / 49.5 L = 2.0202 mg/L.
    """
    room.at("2026-02-11 09:00:00")('event dose Q1 Z03 --gave "0.1 g" --really')
    assert room.span("level Q1 praziquantel") == (1.98, 2.021)
    made = room.at("2026-02-11 10:00:00").json("level Q1 praziquantel")
    assert (made["now"]["low"], made["now"]["high"]) == (0, 2.021)
    (lost,) = [note for note in made["notes"] if "may be lost" in note]
    assert "PeerJ" in lost


def test_water_that_is_exchanged_all_the_time_thins_what_was_there(room: Room) -> None:
    """4 L an hour for 10 h: 2.0202 x exp(-40 / 49.5) = 0.90043 and 1.9802 x exp(-40 / 50.5) = 0.89684, no more then.

    The level is also known in the middle of it: after 5 h 2.0202 x exp(-20 / 49.5) = 1.34869.
    """
    salted(room)
    begin = datetime(2026, 2, 11, 10, tzinfo=UTC)
    desk = Desk(open_home(str(room.home)), begin, "Robin")
    with desk.act() as act:
        tank = next(t for t in act.rows("tanks") if t["name"] == "Q1")
        data = {"litres_per_hour": Decimal(4), "until": begin + timedelta(hours=10)}
        add_fact(act, "exchange", system=tank["system"], tank=tank["id"], at=begin, data=data)
        act.describe("exchange", "for a test", begin)
    assert room.at("2026-02-12 09:00:00").span() == (0.8968, 0.9005)
    middle = room.json('level Q1 salt --on "2026-02-11 16:00"')["then"]
    assert 1.3486 <= middle["high"] <= 1.3490
    said = room("level Q1 salt --chart")
    assert "2026-02-11 11:00 water exchanged all the time: 4 L an hour, until 2026-02-11 21:00, Robin" in said
    assert "C = Cs + (C0 - Cs) x exp(-q / V)" in said
    room("event change Q1 --out 20L")
    assert "40 L were exchanged since, through 49.5 L: 2.02 g/L became 0.9004 g/L" in room("level Q1 salt")


def test_carbon_takes_the_lower_bound_and_leaves_the_upper(room: Room) -> None:
    """Nobody knows how much it took (rule C12)."""
    salted(room).at("2026-02-12 09:00:00")('event removal Q1 --by "fresh carbon"')
    assert room.span() == (0, 2.021)
    assert "2026-02-12 10:00 taken out: fresh carbon, Robin" in room("level Q1 salt")


def test_an_addition_of_unknown_size_is_shown_as_unknown_until_all_the_water_is_changed(room: Room) -> None:
    """Unknown is said with its reason, of this substance and of all others, and never as a number."""
    salted(room).at("2026-02-12 09:00:00")('event unknown Q1 --what "old water"')
    room.at("2026-02-12 10:00:00")
    made = room.json("level Q1 salt")
    why = "an amount that nobody knows came in (old water, 2026-02-12 10:00)"
    assert made["now"] == {"at": "2026-02-12T10:00:00+00:00", "low": None, "high": None, "unit": "g/L", "why": why}
    assert f"Now, 2026-02-12 11:00: unknown: {why}" in room("level Q1 salt")
    assert f"Of every other substance the level is unknown: {why}." in room("level Q1")
    assert f"Sodium chloride: now unknown: {why}" in room("level Q1")
    assert "?: unknown." in room("level Q1 salt --chart")
    assert room.json("level Q2")["others"]["high"] == 0
    room.at("2026-02-13 09:00:00")("event change Q1 --out 51L --really")
    assert room.span() == (0, 0)


def test_a_reading_takes_the_place_of_both_bounds(room: Room) -> None:
    """What the ledger expected stands beside what was read, with the kit's error: half of the 0.1 that it was read to.

    Then 20 L of it go: 1.95 x 29.5 / 49.5 = 1.16212 at the least and 2.05 x 30.5 / 50.5 = 1.23812 at the most.
    """
    salted(room).at("2026-02-12 09:00:00")("reading Q1 salinity=2.0g/L")
    assert room.span() == (1.95, 2.05)
    room.at("2026-02-13 09:00:00")("event change Q1 --out 20L")
    assert room.span() == (1.162, 1.239)
    read = room.json("level Q1 salt")["lines"][1]
    assert (read["expected"]["low"], read["expected"]["high"]) == (1.98, 2.021)
    assert (read["read"]["low"], read["read"]["high"], read["agrees"]) == (1.95, 2.05, True)
    assert "Expected 1.98 to 2.021 g/L; read 1.95 to 2.05 g/L; both can be true" in room("level Q1 salt")
    room.at("2026-02-14 09:00:00")("reading Q1 salinity=3.0g/L")
    assert "read 2.95 to 3.05 g/L; they do not meet: one of the two is wrong" in room("level Q1 salt")
    assert room.json("level Q1 salt")["lines"][3]["agrees"] is False


def test_after_an_unknown_addition_a_reading_makes_the_level_known_again(room: Room) -> None:
    """What was expected is shown as unknown, and nothing is said of agreement."""
    salted(room).at("2026-02-12 09:00:00")('event unknown Q1 --what "old water"')
    room.at("2026-02-13 09:00:00")("reading Q1 salinity=1.5g/L")
    assert room.span() == (1.45, 1.55)
    assert "Expected unknown; read 1.45 to 1.55 g/L\n" in room("level Q1 salt")
    assert room.json("level Q1 salt")["lines"][2]["agrees"] is None


def test_a_kit_that_reads_another_form_of_copper_replaces_nothing_and_says_so(room: Room) -> None:
    """Only free copper is on the ledger's scale (rule C13)."""
    room.at("2026-02-11 09:00:00")('event dose Q1 C01 --gave "0.1 g" --strength "99 % as CuSO4.5H2O" --really')
    room.at("2026-02-12 09:00:00")("reading Q1 copper_total=0.4mg/L")
    made = room.json("level Q1 copper")
    line = made["lines"][1]
    assert (line["after"]["low"], line["after"]["high"]) == (0, 0.509)
    assert (line["read"], line["expected"], line["agrees"]) == (None, None, None)
    assert "this kit reads total" in line["working"][0]
    room.at("2026-02-12 10:00:00")("reading Q1 copper_free=0.40mg/L")
    assert room.span("level Q1 copper") == (0.395, 0.405)


def test_on_a_past_day_what_came_later_is_not_there(room: Room) -> None:
    """A day alone is its last minute at the site; the ledger ends there, and now is said beside it."""
    salted(room).at("2026-02-13 09:00:00")("event change Q1 --out 20L")
    made = room.json("level Q1 salt --on 2026-02-11")
    assert made["then"] == {"at": "2026-02-11T22:59:00+00:00", "low": 1.98, "high": 2.021, "unit": "g/L", "why": ""}
    assert (made["now"]["low"], made["now"]["high"]) == (1.195, 1.204)
    assert [line["kind"] for line in made["lines"]] == ["dose"]
    assert "On 2026-02-11 23:59: 1.98 to 2.021 g/L" in room("level Q1 salt --on 2026-02-11")
    assert room.json('level Q1 salt --on "2026-02-11 09:59"')["then"]["high"] == 0
    assert "now 1.195 to 1.204 g/L; on 2026-02-11 23:59 1.98 to 2.021 g/L" in room("level Q1 --on 2026-02-11")


def test_on_a_day_to_come_nothing_more_happens_but_stated_losses(room: Room) -> None:
    """Salt stays; of what may be lost the lower bound is zero by then."""
    salted(room)('event dose Q1 Z03 --gave "0.1 g" --really')
    salt = room.json('level Q1 salt --on "2026-03-01 08:00"')
    assert (salt["then"]["low"], salt["then"]["high"]) == (1.98, 2.021)
    drug = room.json('level Q1 praziquantel --on "2026-03-01 08:00"')
    assert (drug["now"]["low"], drug["then"]["low"], drug["then"]["high"]) == (1.98, 0, 2.021)
    assert "On 2026-03-01 08:00, if nothing more happens: 1.98 to 2.021 g/L" in room(
        'level Q1 salt --on "2026-03-01 08:00"'
    )


def test_a_day_that_does_not_read_is_refused(room: Room) -> None:
    """One sentence names the option and what was typed."""
    for typed in ("10/03/2026", "someday", "2026-02-30"):
        said = room(f'level Q1 --on "{typed}"', code=1)
        assert said.startswith(f"--on '{typed}")
        assert said.count("\n") == 1


def test_without_a_substance_all_on_record_and_those_never_dosed(room: Room) -> None:
    """One line for each that was put in, a number for the others; a dip and a dose in food are not in this water."""
    salted(room)('event dose Q1 Z03 --gave "0.1 g" --really')
    room.at("2026-02-11 10:00:00")('event dose Q1 T01 --gave "300 g" --really')
    said = room("level Q1")
    assert "Sodium chloride: now 1.98 to 2.021 g/L\n" in said
    assert "Praziquantel: now 0 to 2.021 mg/L\n" in said
    document = room.json("level Q1")
    assert [one["substance"] for one in document["substances"]] == ["praziquantel", "sodium-chloride"]
    assert {"Copper", "Formalin"} <= set(document["never_dosed"])
    assert not {"Praziquantel", "Sodium chloride"} & set(document["never_dosed"])
    assert "Not in this water, so not counted: doses as a dip or in food (1 on record)." in room("level Q1 salt")
    nothing = room("level Q2")
    assert "No dose on record for this water" in nothing
    assert "Sodium chloride" in room.json("level Q2")["never_dosed"]
    assert "0 g/L" in room("level Q2 salt")
    assert "Nothing on record put any of it into this water." in room("level Q2 salt")


def test_what_bounds_the_level_is_named_with_its_source(room: Room) -> None:
    """Target, ceiling, prolonged limit and effective minimum, each with where it is from, or that it is not known."""
    salted(room)
    bounds = {b["what"]: b for b in room.json("level Q1 salt")["bounds"]}
    assert list(bounds) == ["target", "ceiling", "prolonged limit", "effective minimum"]
    assert (bounds["target"]["value"], bounds["target"]["unit"]) == (5, "g/L")
    assert (bounds["prolonged limit"]["value"], bounds["prolonged limit"]["unit"]) == (5, "g/L")
    assert bounds["effective minimum"]["value"] is None
    for known in ("target", "ceiling", "prolonged limit"):
        assert bounds[known]["reference"]
        assert bounds[known]["compared"]
    assert "Effective minimum: unknown; no source was found." in room("level Q1 salt")


def test_formalin_is_counted_in_microlitres_of_its_solution(room: Room) -> None:
    """0.7 mL are 700 uL: in 50.5 L 13.861 uL/L, in 49.5 L 14.141 uL/L; the limit is in the same unit (rule C17)."""
    room.at("2026-02-11 09:00:00")('event dose Q1 F07 --gave "0.7 mL" --strength "37 % formaldehyde" --really')
    made = room.json("level Q1 formalin")
    assert (made["now"]["low"], made["now"]["high"], made["now"]["unit"]) == (13.86, 14.15, "uL/L")
    assert made["lines"][0]["working"] == [
        "0.7 mL of 37 % formaldehyde hold 700 uL",
        "700 uL / 49.5 L = 14.14 uL/L",
        "700 uL / 50.5 L = 13.86 uL/L",
    ]
    limit = next(b for b in made["bounds"] if b["what"] == "prolonged limit")
    assert (limit["value"], limit["unit"], limit["compared"]) == (25, "uL/L", True)


def test_copper_is_counted_as_copper_whatever_it_was_weighed_as(room: Room) -> None:
    """0.1 g of the pentahydrate at 99 % hold 0.1 x 0.99 x 25.45 % = 25.196 mg of copper: in 50.5 L 0.4989 mg/L, in 49.5
    L 0.509 mg/L. The ceiling, published as the pentahydrate, is said in both: 2.5 x 25.45 % = 0.63625 mg/L, and down.
    """
    room.at("2026-02-11 09:00:00")('event dose Q1 C01 --gave "0.1 g" --strength "99 % as CuSO4.5H2O" --really')
    made = room.json("level Q1 copper")
    assert (made["now"]["low"], made["now"]["high"], made["now"]["unit"]) == (0.4989, 0.509, "mg/L Cu")
    assert made["lines"][0]["working"][0].endswith("hold 25.1955 mg Cu")
    assert "Ceiling 2.5 mg/L copper sulfate pentahydrate = 0.6362 mg/L Cu" in room("level Q1 copper")


def test_the_document_keeps_its_keys(room: Room) -> None:
    """Programs read them: no key comes or goes by itself."""
    made = salted(room).json("level Q1 salt")
    assert list(made) == [
        *("tank", "system", "shared_with", "volume_litres", "volume_plus_minus_litres", "volume_says"),
        *("substance", "name", "now", "then", "bounds", "notes", "lines"),
    ]
    assert list(made["lines"][0]) == [
        *("at", "kind", "says", "keeper", "entered_late", "after", "expected", "read", "agrees", "working")
    ]
    assert list(made["bounds"][0]) == ["what", "value", "unit", "says", "reference", "compared"]
    whole = room.json("level Q1")
    assert list(whole)[6:] == ["substances", "never_dosed", "others"]
    assert list(whole["substances"][0]) == ["substance", "name", "now", "then"]


@pytest.mark.parametrize("columns", ["20", "40", "80"])
def test_the_chart_fits_the_terminal(room: Room, monkeypatch: pytest.MonkeyPatch, columns: str) -> None:
    """No line is longer than the terminal; the lines that say the same stand before it."""
    salted(room).at("2026-02-12 09:00:00")("event change Q1 --out 20L")
    monkeypatch.setenv("COLUMNS", columns)
    said = room("level Q1 salt --chart")
    before, _, after = said.replace("\n  ", " ").partition("The same as a chart:")
    assert "2026-02-11 10:00 dose: 100 g" in before
    assert "▒" in after
    # What cannot be folded, a long word of a citation, may stick out.
    assert max(len(line) for line in said.splitlines() if " " in line.strip()) <= int(columns)


def test_where_the_terminal_cannot_the_chart_is_plain_letters(room: Room, monkeypatch: pytest.MonkeyPatch) -> None:
    """No backslash code stands in the picture on a terminal that has only ASCII."""
    salted(room)
    room.at("2026-02-12 09:00:00")
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, encoding="ascii"))
    with freeze_time(room.now):
        assert app.run(["--home", str(room.home), "level", "Q1", "salt", "--chart"]) == 0
    sys.stdout.flush()
    picture = raw.getvalue().decode("ascii").partition("The same as a chart:")[2]
    assert "###" in picture
    assert "\\" not in picture


def test_the_picture_is_written_and_an_older_one_replaced(room: Room, tmp_path: Path) -> None:
    """The file is a drawing with the tank's name, the doses and the figures; typed text cannot break it."""
    salted(room).at("2026-02-12 09:00:00")('event removal Q1 --by "<b>&carbon</b>"')
    file = tmp_path / "deep.svg"
    entries = room.entries()
    said = room.json(f"level Q1 salt --svg {file}")
    assert said["file"] == str(file)
    root = ElementTree.parse(file).getroot()
    assert root.findtext(f"{NS}title") == "Sodium chloride in the water of Q1"
    assert "Robin" in (root.findtext(f"{NS}desc") or "")
    told = [g.findtext(f"{NS}title") for g in root.iter(f"{NS}g")]
    assert "2026-02-12 10:00 taken out: <b>&carbon</b>" in told
    assert {"target 5 g/L", "prolonged limit 5 g/L"} <= {t.text for t in root.iter(f"{NS}text")}
    first = file.read_bytes()
    room.at("2026-02-13 09:00:00")(f"level Q1 salt --svg {file}")
    assert file.read_bytes() != first
    assert room.entries() == entries
    assert [path.name for path in tmp_path.iterdir() if path.suffix == ".part"] == []


@pytest.mark.parametrize("what", ["text", "page", "other drawing", "folder", "no folder"])
def test_nothing_but_an_older_chart_is_replaced(room: Room, tmp_path: Path, what: str) -> None:
    """A file that this command did not write is left as it is, with one sentence."""
    salted(room)
    file = tmp_path / "mine"
    before = {
        "text": b"my notes",
        "page": b"<!DOCTYPE html>\n<html></html>",
        "other drawing": b'<?xml version="1.0" encoding="UTF-8"?>\n<svg/>',
    }.get(what)
    if before is not None:
        file.write_bytes(before)
    elif what == "folder":
        file.mkdir()
    else:
        (tmp_path / "a file").write_text("x")
        file = tmp_path / "a file" / "chart.svg"
    said = room(f'level Q1 salt --svg "{file}"', code=1)
    assert str(file) in said
    assert said.count("\n") == 1
    assert "name another file" in said
    if before is not None:
        assert file.read_bytes() == before


def test_what_cannot_be_shown_is_one_sentence(room: Room) -> None:
    """An unknown tank or substance, and a chart of everything at once."""
    assert room("level Q9", code=1).startswith("There is no tank 'Q9'; known: Q1, Q2.")
    assert "prazi" in room("level Q1 prazi", code=1)
    assert room("level Q1 --chart", code=2) == (
        "A chart is of one substance; name it: quarantine level TANK SUBSTANCE --chart\n"
    )
    assert room("level Q1 --svg x.svg", code=2).startswith("A chart is of one substance")
    assert room("level Q1 salt --dry-run", code=2).startswith("--dry-run is for commands that write")


def test_every_sum_by_hand_lies_inside_the_bounds_of_its_line(room: Room) -> None:
    """Doses, changes, evaporation and top-ups in turn: whichever volume is true, the level is within both bounds."""
    steps = (
        ('event dose Q1 T04 --gave "100 g" --really', 1),
        ("event change Q1 --out 20L", 2),
        ("event evaporation Q1 2L", 3),
        ('event dose Q1 T04 --gave "50 g" --really', 4),
        ("event change Q1 --out 45L --in 47L", 5),
        ("event topup Q1 3L", 6),
        ("event change Q1 --out 12.5L --in 11L", 7),
        ("event change Q1 --out 40L", 8),
    )
    for line, day in steps:
        room.at(f"2026-02-{10 + day} 09:00:00")(line)
    made = room.json("level Q1 salt")
    assert len(made["lines"]) == len(steps)
    for line in made["lines"]:
        found = [Decimal(n) for w in line["working"] for n in re.findall(r"(?:= |; or )([\d.]+) g/L", w)]
        assert len(found) >= 2
        # The sums are rounded to the nearest, the bounds outward.
        assert min(found) >= Decimal(str(line["after"]["low"]))
        assert max(found) <= Decimal(str(line["after"]["high"]))


def test_no_number_of_it_can_be_misread(room: Room, misread_numbers: Callable[[str], list[str]]) -> None:
    """Each has its unit and is written safely, in the chart too (F19)."""
    salted(room).at("2026-02-12 09:00:00")("event change Q1 --out 20L")
    assert misread_numbers(room("level Q1 salt --chart")) == []
