"""A batch over time, as lines and as a picture: nothing that acts on a clock is left out; it reads without colour."""

from __future__ import annotations

import random
import sys
from datetime import datetime
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quarantine.clocks import clocks
from quarantine.facts import local_day
from quarantine.reports.timeline import BEGINS, KINDS, Timeline, lines_of, svg, timeline_of

sys.path.insert(0, str(Path(__file__).parent.parent / "plan"))
from history import History, dose_step, small

NS = "{http://www.w3.org/2000/svg}"
IN_RANGE = 'in-range"\nreading = "temperature"\nmin = "22 °C"\nmax = "25 °C'


def rows_of(history: History, as_of: datetime) -> list[dict[str, Any]]:
    """The planned tasks as the record would store them."""
    return [
        {
            "key": task.key,
            "kind": task.kind,
            "title": task.title,
            "state": task.state,
            "day": task.day and task.day.isoformat(),
            "due_from": task.due_from and task.due_from.isoformat(),
        }
        for task in history.plan(as_of).tasks
    ]


def drawn(history: History, as_of: datetime, name: str = "Q1-1") -> Timeline:
    standing = history.plan(as_of).standings["B"]
    counted = clocks(standing, history.protocol)
    known = sorted((f for f in history.facts if f.at <= as_of), key=lambda f: f.at)
    return timeline_of(name, history.protocol, standing, counted, known, rows_of(history, as_of))


def picture(made: Timeline) -> ElementTree.Element:
    return ElementTree.fromstring(svg(made).encode())


def titles(root: ElementTree.Element) -> list[str]:
    return [t.text or "" for t in root.iter(f"{NS}title")]


def treated() -> History:
    """Two doses, the second late; a sign that restarts, a death, a shared net, a reading out of range."""
    history = History(small(dose_step('{ every = "3 d", times = 3 }'), period=IN_RANGE))
    for n in range(1, 12):
        history.read(n, temperature="30" if n == 7 else "24")
    history.look(4, signs=("gasping",))
    history.died(6)
    history.fact("shared", history.at(8), {"what": "a net", "with": "Q2"}, batch=None)
    first = history.runs("dose", history.at(3))[0]
    history.dose(history.at(3, "10:00"), first.key)
    second = history.runs("dose", history.at(8))[1]
    history.dose(history.at(8, "10:00"), second.key)
    for fact in history.facts:
        if fact.kind == "dose":
            fact.data.update({"given": "0.12", "given_unit": "g"})
    return history


def test_doses_stand_beside_the_day_they_were_planned_for() -> None:
    """The late one says both days; what is still to come is planned, and is a row of its own."""
    history = treated()
    made = drawn(history, history.at(11))
    given = [row.says for row in made.rows if row.kind == "dose"]
    assert given == [
        "0.12 g of praziquantel, planned for 2026-02-13",
        "0.12 g of praziquantel, planned for 2026-02-16",
    ]
    planned = [(row.says, row.listed) for row in made.rows if row.kind == "planned"]
    assert planned[:2] == [
        ("Bath (1 of 3), planned for 2026-02-13: given", False),
        ("Bath (2 of 3), planned for 2026-02-16: given", False),
    ]
    assert planned[2][0].startswith("Bath (3 of 3), planned for ")
    assert planned[2][1] is True


def test_the_picture_is_valid_xml_with_a_name_and_the_whole_in_words() -> None:
    """A parser of XML reads it; a screen reader finds title and description; the first bytes tell whose it is."""
    history = treated()
    text = svg(made := drawn(history, history.at(11)))
    root = picture(made)
    assert text.startswith(BEGINS)
    assert root.attrib["role"] == "img"
    assert [(child.tag, child.attrib["id"]) for child in list(root)[:2]] == [
        (f"{NS}title", "title"),
        (f"{NS}desc", "desc"),
    ]
    assert "complete on" in (list(root)[1].text or "")


def test_black_on_white_and_nothing_from_elsewhere() -> None:
    """No colour, no script, no link: what it says it says by place, shape and words."""
    history = treated()
    text = svg(drawn(history, history.at(11)))
    root = ElementTree.fromstring(text.encode())
    used = {value for node in root.iter() for name, value in node.attrib.items() if name in ("fill", "stroke")}
    assert used <= {"#000", "#fff", "none", "url(#hatch)"}
    assert "<script" not in text
    assert "href" not in text


def test_every_kind_has_its_row_its_word_and_its_shape() -> None:
    """What the rows are is written beside them; no two kinds are drawn alike."""
    history = treated()
    made = drawn(history, history.at(11))
    root = picture(made)
    words = [t.text or "" for t in root.iter(f"{NS}text")]
    kinds = {row.kind for row in made.rows}
    assert {"planned", "dose", "sign", "death", "restart", "fish", "reading", "other"} == kinds
    assert all(KINDS[kind] in words for kind in kinds)
    shapes: dict[str, set[str]] = {}
    for group in root.iter(f"{NS}g"):
        mark = [
            (
                child.tag,
                tuple(v for k, v in sorted(child.attrib.items()) if k in ("fill", "stroke-width", "r", "width")),
            )
            for child in group
            if child.tag != f"{NS}title"
        ]
        says = (group.find(f"{NS}title").text or "")[17:]  # type: ignore[union-attr]
        kind = next(row.kind for row in made.rows if row.says == says)
        shapes.setdefault(kind, set()).add(str(mark))
    assert all(len(found) == 1 for found in shapes.values())
    assert len({next(iter(found)) for found in shapes.values()}) == len(kinds)


@settings(max_examples=60)
@given(st.integers(0, 10**6), st.integers(1, 20))
def test_all_that_acts_on_a_clock_appears_in_both(seed: int, day: int) -> None:
    """Each happening on its day with the template's word, each dose and death; in the lines and in the picture."""
    chance = random.Random(seed)
    history = History(small(dose_step('{ every = "3 d", times = 3 }'), events={"sign_c": "pause"}))
    for n in range(20):
        what = chance.random()
        if what < 0.4:
            history.perfect_day(n)
        elif what < 0.6:
            history.look(n, signs=(chance.choice(["gasping", "white spots", "colour"]),))
        elif what < 0.7:
            history.died(n, explained=chance.random() < 0.5)
        elif what < 0.8:
            history.fact("disturbance", history.at(n), {"what": "a drill"}, batch=None)
        elif what < 0.9:
            history.fact("added", history.at(n), {"count": 1})
    as_of = history.at(day, "22:00")
    made = drawn(history, as_of)
    evidence = history.plan(as_of).standings["B"].evidence
    for one in evidence.happenings:
        if one.event != "not_looked":
            assert [row for row in made.rows if row.at == one.at and row.says.startswith(one.why)], one
    for fact in history.facts:
        if fact.at <= as_of and fact.kind in ("dose", "died", "added", "arrival"):
            kinds = {"dose": "dose", "died": "death", "added": "fish", "arrival": "fish"}
            assert [row for row in made.rows if row.at == fact.at and row.kind == kinds[fact.kind]], fact
    unlooked = {local_day(one.at, history.zone) for one in evidence.happenings if one.event == "not_looked"}
    assert bool(unlooked) is any(row.says.startswith("nobody looked") for row in made.rows)
    said, shown = "\n".join(lines_of(made)), titles(picture(made))
    assert all(row.says in said for row in made.rows if row.listed)
    assert all(any(row.says in title for title in shown) for row in made.rows)


def test_each_row_of_the_lines_begins_with_its_word_and_its_day() -> None:
    """A screen reader hears the day, then what kind of thing it was; today stands between what was and what comes."""
    history = treated()
    lines = lines_of(drawn(history, history.at(11)))
    assert lines[0] == "Batch Q1-1: small revision 1"
    rows = [line for line in lines if line.startswith("  ")]
    words = ("dose", "dose not given", "sign", "death", "restart", "fish", "reading", "other")
    assert all(line.strip().partition(":")[0] in words for line in rows)
    days = [line for line in lines if line.startswith("Day ")]
    assert days == sorted(days, key=lambda line: int(line.split()[1].rstrip(",")))
    assert [line for line in days if line.endswith(": today")] == ["Day 11, 2026-02-21: today"]


def test_a_reading_out_of_range_says_what_it_was_and_what_it_should_be() -> None:
    """The value with its unit and the band of the period."""
    history = treated()
    made = drawn(history, history.at(11))
    assert "temperature 30 °C, past the protocol's limit (at least 22 °C, at most 25 °C)" in [
        row.says for row in made.rows if row.kind == "reading"
    ]


@pytest.mark.parametrize("name", ["<script>", 'a & b "c"', "x\u202ey", "tab\tname"])
def test_a_name_of_the_record_is_never_markup(name: str) -> None:
    """Whatever a batch is called, the picture stays one that a parser reads, with that name in it as text."""
    history = treated()
    root = picture(drawn(history, history.at(11), name))
    assert root.tag == f"{NS}svg"
    assert not [node for node in root.iter() if "script" in node.tag]


def test_a_batch_of_one_day_has_a_timeline() -> None:
    """On the day of arrival there is an axis, today's line and what is ahead."""
    history = History("marine-praziquantel")
    made = drawn(history, history.arrived)
    assert "Day 0, 2026-02-10: today" in lines_of(made)
    assert picture(made).tag == f"{NS}svg"
