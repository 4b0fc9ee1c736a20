"""A level over time as a picture, read without colour, by a screen reader, in a narrow terminal, by a parser of XML."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quarantine.reports.chart import BEGINS, GLYPHS, RULES, Chart, Mark, Point, Rule, svg, terminal

NS = "{http://www.w3.org/2000/svg}"
START = datetime(2026, 2, 13, 16, tzinfo=UTC)


def at(days: float) -> datetime:
    return START + timedelta(days=days)


ALL_RULES = (
    Rule("target", 2.0),
    Rule("ceiling", 10.0),
    Rule("prolonged limit", 0.4),
    Rule("effective minimum", 0.75),
)
WHOLE = Chart(
    title="Praziquantel in the water of Q2",
    says="Now 0 to 1 mg/L.",
    unit="mg/L",
    zone="Europe/Lisbon",
    points=(
        Point(at(0), 1.807, 1.845),
        Point(at(0.001), 0.0, 1.845),
        Point(at(1), 0.0, 1.2),
        Point(at(3), None, None),
        Point(at(4), 0.5, 1.0),
    ),
    until=at(7),
    now=at(6),
    marks=(
        Mark(at(0), "dose", "dose: 0.09 g"),
        Mark(at(1), "change", "water change: 20 L"),
        Mark(at(3), "other", "something was added"),
        Mark(at(4), "reading", "reading: 0.75 mg/L", 0.5, 1.0),
    ),
    rules=ALL_RULES,
)


def drawn(chart: Chart) -> ElementTree.Element:
    return ElementTree.fromstring(svg(chart).encode())


def words(root: ElementTree.Element) -> list[str]:
    return [t.text or "" for t in root.iter(f"{NS}text")]


def height_of(root: ElementTree.Element, label: str) -> float:
    """Where a tick's label stands, its line 4 px above the foot of the letters."""
    return next(float(t.attrib["y"]) - 4 for t in root.iter(f"{NS}text") if t.text == label)


def level_at_height(root: ElementTree.Element, y: float) -> float:
    """The level that a height in px means, by the labels of the axis alone: 0 and 10."""
    zero, ten = height_of(root, "0"), height_of(root, "10")
    return (zero - y) / (zero - ten) * 10


def test_the_picture_is_valid_xml_with_a_title_and_a_description() -> None:
    """The first bytes tell whose picture it is; a screen reader finds its name and the whole in words."""
    text = svg(WHOLE)
    root = drawn(WHOLE)
    assert text.startswith(BEGINS)
    assert root.attrib["role"] == "img"
    assert [(child.tag, child.attrib["id"], child.text) for child in list(root)[:2]] == [
        (f"{NS}title", "title", WHOLE.title),
        (f"{NS}desc", "desc", WHOLE.says),
    ]
    assert root.attrib["aria-labelledby"] == "title desc"


@given(st.text(), st.text(), st.text())
def test_text_of_the_record_is_never_markup(title: str, says: str, mark: str) -> None:
    """Whatever a keeper typed, the file parses, has the same elements, and no control sign in it."""
    chart = WHOLE._replace(title=title, says=says, marks=(Mark(at(0), "dose", mark),))
    plain = WHOLE._replace(title="t", says="s", marks=(Mark(at(0), "dose", "m"),))
    assert [e.tag for e in drawn(chart).iter() if e.tag != f"{NS}text"] == [
        e.tag for e in drawn(plain).iter() if e.tag != f"{NS}text"
    ]
    assert re.search("[\x00-\x08\x0b-\x1f\x7f-\x9f]", svg(chart)) is None


def test_a_script_in_a_name_is_shown_as_it_was_typed() -> None:
    """A name with markup is letters of the title and of nothing else."""
    name = "<script>alert('x')</script> & \"Co\""
    root = drawn(WHOLE._replace(title=name))
    assert root[0].text == name
    assert root.find(f".//{NS}script") is None


def test_nothing_comes_from_elsewhere_and_nothing_is_coloured() -> None:
    """No address but the name of the language, no link, no style, no script; black, white or none."""
    text = svg(WHOLE)
    assert re.findall(r"https?://[^\"]+", text) == ["http://www.w3.org/2000/svg"]
    assert not re.search(r"href|<style|<script|<image|@import|data:", text)
    assert set(re.findall(r"url\(([^)]*)\)", text)) == {"#hatch", "#cross"}
    assert set(re.findall(r'(?:fill|stroke)="([^"]*)"', text)) == {"#000", "#fff", "none", "url(#hatch)", "url(#cross)"}


def test_each_figure_has_its_own_dashes_and_its_words_beside_it() -> None:
    """Target, ceiling, prolonged limit and effective minimum are told apart on a black and white print."""
    root = drawn(WHOLE)
    said = words(root)
    for rule, shown in zip(ALL_RULES, ("2", "10", "0.4", "0.75"), strict=True):
        assert f"{rule.what} {shown} mg/L" in said
    wide = [e for e in root.iter(f"{NS}line") if e.attrib["y1"] == e.attrib["y2"] and "stroke-dasharray" in e.attrib]
    assert len({e.attrib["stroke-dasharray"] for e in wide}) == len(RULES)
    for line, value in zip(sorted(wide, key=lambda e: float(e.attrib["y1"])), (10, 2, 0.75, 0.4), strict=True):
        assert level_at_height(root, float(line.attrib["y1"])) == pytest.approx(value, abs=0.01)


def test_the_words_beside_the_plot_do_not_touch() -> None:
    """Four figures and both bounds near each other stand 16 px apart, in the order of their levels."""
    near = tuple(Rule(what, 1.0 + n / 100) for n, what in enumerate(RULES))
    root = drawn(WHOLE._replace(points=(Point(at(0), 0.99, 1.0),), rules=near))
    beside = [t for t in root.iter(f"{NS}text") if " mg/L" in (t.text or "") and float(t.attrib["x"]) > 700]
    heights = sorted(float(t.attrib["y"]) for t in beside)
    assert len(heights) == 6
    assert min(b - a for a, b in pairwise(heights)) == pytest.approx(16, abs=0.1)
    by_height = sorted(beside, key=lambda t: float(t.attrib["y"]))
    assert [(t.text or "").split()[-2] for t in by_height] == ["1.03", "1.02", "1.01", "1", "1", "0.99"]


def test_the_edges_stand_at_the_bounds() -> None:
    """The thick line is the upper bound and the thin one the lower, at the heights that the axis says."""
    root = drawn(WHOLE._replace(points=(Point(at(0), 4.0, 6.0), Point(at(2), 1.0, 5.0))))
    found = {}
    for path in root.iter(f"{NS}path"):
        if path.attrib.get("fill") == "none" and path.attrib.get("stroke-width") in ("1", "2.5"):
            pairs = re.findall(r"([\d.]+) ([\d.]+)", path.attrib["d"])
            found[path.attrib["stroke-width"]] = [level_at_height(root, float(y)) for _, y in pairs]
    assert found["2.5"] == pytest.approx([6, 6, 5, 5], abs=0.02)
    assert found["1"] == pytest.approx([4, 4, 1, 1], abs=0.02)


def test_a_mark_for_each_dose_change_and_reading_has_its_own_shape_and_row() -> None:
    """A row each, named; the words of each mark are its title."""
    root = drawn(WHOLE)
    assert {"doses", "changes", "readings", "other"} <= set(words(root))
    told = [g.findtext(f"{NS}title") for g in root.iter(f"{NS}g")]
    assert sorted(filter(None, told)) == sorted(m.says for m in WHOLE.marks)
    shapes = [ElementTree.tostring(list(g)[1]).decode() for g in root.iter(f"{NS}g")]
    assert len({re.sub(r"[\d.]+", "", shape) for shape in shapes}) == 4


def test_an_unknown_level_is_crossed_over_its_whole_time_and_height() -> None:
    """Unknown is shown as unknown, never as nothing."""
    root = drawn(WHOLE)
    (box,) = [e for e in root.iter(f"{NS}rect") if e.attrib["fill"] == "url(#cross)"]
    assert box.findtext(f"{NS}title") == "unknown"
    assert float(box.attrib["height"]) == pytest.approx(330)
    assert float(box.attrib["width"]) > 50
    assert "Crossed: the level is unknown." in words(root)
    known = WHOLE._replace(points=WHOLE.points[:3])
    assert "Crossed: the level is unknown." not in words(drawn(known))


def test_a_figure_far_above_everything_is_named_and_not_drawn() -> None:
    """A ceiling many times over the level would press it flat."""
    low = WHOLE._replace(points=(Point(at(0), 0.1, 0.2),), marks=(), rules=(Rule("ceiling", 10.0),))
    assert "The ceiling (10 mg/L) lies above this chart." in words(drawn(low))
    assert not [w for w in words(drawn(low)) if w.startswith("ceiling")]
    assert "The ceiling (10 mg/L) lies above this chart." in terminal(low, 80)


@pytest.mark.parametrize("columns", [20, 40, 80])
@pytest.mark.parametrize("ascii_only", [True, False])
def test_the_terminal_picture_fits(columns: int, ascii_only: bool) -> None:
    """Every line of the picture fits; where the terminal cannot, nothing but ASCII is used."""
    lines = terminal(WHOLE, columns, ascii_only=ascii_only)
    picture = [line for line in lines if not line.endswith(".")]
    assert len(picture) >= 15
    assert max(map(len, picture)) <= columns
    assert all(line.isascii() for line in lines) is ascii_only
    assert any(set(GLYPHS) & set(line) for line in lines) is not ascii_only
    assert any("?" in line for line in picture)


def test_the_terminal_picture_line_by_line() -> None:
    """A level that halves: the filled part, the target's letters, the marks and the dates, column by column.

    By hand: 4 d and 6 % more in 30 columns, so the third of March, 2.12 d from the left edge of 4.24 d, is column 15;
    4.24 g/L over 12 rows, so 2 g/L is row 5.8 and 1 g/L row 8.4 from the top.
    """
    chart = Chart(
        "t",
        "s",
        "g/L",
        "UTC",
        (Point(datetime(2026, 3, 1, tzinfo=UTC), 0.0, 4.0), Point(datetime(2026, 3, 3, tzinfo=UTC), 0.0, 2.0)),
        datetime(2026, 3, 5, tzinfo=UTC),
        datetime(2026, 3, 5, tzinfo=UTC),
        (Mark(datetime(2026, 3, 1, tzinfo=UTC), "dose", "d"), Mark(datetime(2026, 3, 3, tzinfo=UTC), "change", "c")),
        (Rule("target", 4.0),),
    )
    assert terminal(chart, 40, ascii_only=True) == [
        "         g/L",
        "         |",
        "       4 |t###t###t###t###t   t   t   t",
        "         |################",
        "       3 |################",
        "         |################",
        "         |################",
        "       2 |##############################",
        "         |##############################",
        "       1 |##############################",
        "         |##############################",
        "         |##############################",
        "       0 |##############################",
        "         +------------------------------",
        "          03-01  03-02   03-03  03-04",
        "   doses  D",
        " changes                 C",
        "Filled: from the lower to the upper bound. Dates at the site (UTC), 2026.",
        "t: target 4 g/L.",
    ]


@pytest.mark.parametrize(
    ("zone", "start", "days"),
    [("Europe/Berlin", "2026-03-27", 5), ("Europe/Berlin", "2026-10-23", 5), ("Pacific/Auckland", "2026-04-02", 6)],
)
def test_dates_are_days_at_the_site_through_clock_changes(zone: str, start: str, days: int) -> None:
    """Each local midnight has its date, once and in order, in the night that is 23 or 25 hours long too."""
    from zoneinfo import ZoneInfo

    begin = datetime.fromisoformat(f"{start}T00:00:00").replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)
    chart = WHOLE._replace(
        zone=zone, points=(Point(begin, 0.0, 1.0),), until=begin + timedelta(days=days), marks=(), now=begin
    )
    root = drawn(chart)
    dates = [w for w in words(root) if re.fullmatch(r"\d\d-\d\d", w)]
    first = datetime.fromisoformat(start).date()
    assert dates == [f"{first + timedelta(days=n):%m-%d}" for n in range(days)] + (
        [f"{first + timedelta(days=days):%m-%d}"] if len(dates) > days else []
    )
    assert len(dates) >= days


@pytest.mark.parametrize("days", [0, 0.01, 1, 30, 3650])
def test_any_stretch_of_time_has_at_least_one_tick_and_safe_numbers(
    days: float, misread_numbers: Callable[[str], list[str]]
) -> None:
    """From minutes to ten years the axis has a few times on it, and no number that can be misread."""
    chart = WHOLE._replace(points=(Point(at(0), 0.00012, 0.1 + 0.2),), until=at(days), now=at(0), marks=())
    said = [*words(drawn(chart)), *terminal(chart, 80)]
    assert misread_numbers("\n".join(said)) == []
    assert 1 <= len([w for w in words(drawn(chart)) if re.fullmatch(r"\d\d-\d\d|\d\d:00|\d{4}-\d\d", w)]) <= 9


@given(
    st.lists(st.tuples(st.floats(0, 60), st.floats(0, 1e4), st.floats(0, 1e4)), min_size=1, max_size=8),
    st.floats(0, 90),
    st.integers(20, 120),
)
def test_every_level_can_be_drawn(spans: list[tuple[float, float, float]], days: float, columns: int) -> None:
    """Any bounds at any times give a file that parses and lines that fit."""
    points = tuple(Point(at(d), min(a, b), max(a, b)) for d, a, b in sorted(spans))
    chart = WHOLE._replace(points=points, until=points[-1].at + timedelta(days=days), marks=())
    assert drawn(chart).tag == f"{NS}svg"
    assert max(len(line) for line in terminal(chart, columns) if not line.endswith(".")) <= columns


def test_a_chart_of_nothing_is_a_fault_of_the_caller() -> None:
    """Without a point there is nothing to draw."""
    empty = WHOLE._replace(points=())
    with pytest.raises(ValueError, match="at least one point"):
        svg(empty)
    with pytest.raises(ValueError, match="at least one point"):
        terminal(empty, 80)
