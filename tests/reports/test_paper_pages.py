"""Pages: what is on a sheet of paper, counted here and by an engine that lays out pages for print."""

from __future__ import annotations

import contextlib
import io
import re
from html.parser import HTMLParser
from pathlib import Path

import plutoprint
import pytest
from freezegun import freeze_time
from hypothesis import given
from hypothesis import strategies as st

from quarantine.cli import demo
from quarantine.cli.app import run
from quarantine.reports.paper import Block, Entry, escape, height_mm, page_html, pages_of, plain, text_of
from quarantine.settings import open_home

A4, LETTER = plutoprint.PAGE_SIZE_A4, plutoprint.PAGE_SIZE_LETTER

# What people and other programs put into names and notes.
NASTY = st.text() | st.sampled_from(
    [
        "<script>alert(1)</script>",
        "</p></section><img src=x onerror=alert(1)>",
        "&lt;b&gt; & \"quotes\" 'and' more",
        "{title} {body} {0}",
        "\u202eg 42.0 DDA",
        "a\x00b\x1b[31m\x7f\u200b\ud800",
        "]]><!--",
    ]
)


def sheets(html: str, size: plutoprint.PageSize) -> int:
    """On how many sheets of paper a print engine puts the page."""
    book = plutoprint.Book(size)
    book.load_html(html)
    return int(book.get_page_count())


class Seen(HTMLParser):
    """The tags, attributes and text of a page."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: set[str] = set()
        self.said: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes |= {name for name, _ in attrs}

    def handle_data(self, data: str) -> None:
        self.said.append(data)


@pytest.fixture(scope="module")
def shown_room(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demonstration's room up to the morning of day 3, when the first dose is due."""
    home = tmp_path_factory.mktemp("paper") / "room"
    home.mkdir()
    room = demo._Room(open_home(str(home)))
    with contextlib.redirect_stdout(io.StringIO()):
        room.build()
        room.arrivals()
        for day in range(3):
            room.day(day)
    return home


def page(home: Path, folder: Path, at: str, *words: str) -> str:
    """The page that a command writes."""
    with freeze_time(at), contextlib.redirect_stdout(io.StringIO()):
        assert run(["--home", str(home), *words, "--html", str(folder / "page.html")]) == 0
    return (folder / "page.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("size", [A4, LETTER], ids=["A4", "Letter"])
def test_the_demonstrations_ordinary_day_is_one_sheet(
    shown_room: Path, tmp_path: Path, size: plutoprint.PageSize
) -> None:
    """Both tanks of the demonstration fit one sheet of A4 and one of Letter (F96)."""
    html = page(shown_room, tmp_path, "2026-02-13 06:00:00", "sheet", "--on", "2026-02-14")
    assert html.count('class="entry"') > 6
    assert sheets(html, size) == 1


@pytest.mark.parametrize("size", [A4, LETTER], ids=["A4", "Letter"])
def test_a_sitters_sheet_is_one_for_each_tank(shown_room: Path, tmp_path: Path, size: plutoprint.PageSize) -> None:
    """Also in the week in which water is changed (F58)."""
    for at in ("2026-02-14 08:00:00", "2026-02-17 08:00:00"):
        html = page(shown_room, tmp_path, at, "sheet", "--sitter")
        assert sheets(html, size) == html.count("STOP AND CALL") == 2


@pytest.mark.parametrize("size", [A4, LETTER], ids=["A4", "Letter"])
def test_a_sheet_that_is_too_long_says_how_many_tasks_come(
    shown_room: Path, tmp_path: Path, size: plutoprint.PageSize
) -> None:
    """The day of a dose takes two sheets: the first counts the tasks of the second; nothing is made smaller."""
    html = page(shown_room, tmp_path, "2026-02-13 08:30:00", "sheet")
    first, second = html.split('<section class="sheet">')[1:]
    coming = second.count('class="entry"')
    assert coming > 0
    assert f"{coming} tasks are on the next sheet." in first
    assert "sheet 2 of 2" in second
    assert sheets(html, size) == 2


def test_one_paper_of_two_pages_is_one_leaf_and_a_sitters_hang_apart(
    shown_room: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is to be printed is said: the keepers' sheet may turn the leaf, a sitter's is one for each tank."""
    for words, said in (((), "2 sheets of A4 or Letter paper; printed on both sides, 1."), (("--sitter",), "paper.")):
        with freeze_time("2026-02-13 08:30:00"):
            assert run(["--home", str(shown_room), "sheet", *words, "--html", str(tmp_path / "both.html")]) == 0
        shown = " ".join(capsys.readouterr().out.split())
        assert f"{said} Open it in a browser to print." in shown
        assert ("both sides" in shown) is (not words)


@pytest.mark.parametrize("size", [A4, LETTER], ids=["A4", "Letter"])
@pytest.mark.parametrize("words", [("card", "tank", "Q1"), ("card", "emergency", "--tank", "Q2")], ids=" ".join)
def test_cards_take_the_sheets_that_are_promised(
    shown_room: Path, tmp_path: Path, words: tuple[str, ...], size: plutoprint.PageSize
) -> None:
    """A tank's card is one sheet, the emergency card two: as many as were laid out, on both sizes of paper."""
    html = page(shown_room, tmp_path, "2026-02-13 08:30:00", *words)
    assert sheets(html, size) == html.count('<section class="sheet">') == (1 if words[1] == "tank" else 2)


@pytest.mark.parametrize(
    "text",
    ["word " * 60, "WIDE LETTERS MW@ " * 20, "m" * 400, "魚を数える" * 30, "0123456789 ____ " * 20, "iiii llll " * 40],
    ids=["words", "capitals", "one word", "wide", "blanks", "narrow"],
)
def test_a_block_is_never_higher_than_was_reckoned(text: str) -> None:
    """The engine, with the widest of the fonts that are asked for, needs at most the height that was counted with."""
    for block in (
        Block("rules", ("A heading", text, text)),
        Block("head", (text, text)),
        Block("large", ("A heading", text)),
        Block("entry", (), Entry("K7MP", text, text, (text, text), given=True)),
    ):
        margin = plutoprint.PageMargins(28.35, 28.35, 28.35, 28.35)  # 10 mm, and A4's width on an endless roll
        book = plutoprint.Book(plutoprint.PageSize(595.276, 20000), margin)
        book.load_html(page_html("x", [[block]]))
        assert book.get_document_height() / 96 * 25.4 <= height_mm(block) + 0.5, block.kind


@given(st.lists(NASTY, min_size=1, max_size=8), NASTY)
def test_nothing_of_the_record_becomes_markup(lines: list[str], title: str) -> None:
    """Whatever stands in a name or a note, the page has the tags that a harmless text gives, and no other."""
    harmless = [Block("tank", ("x",) * len(lines)), Block("entry", (), Entry("x", "x", "x", ("x",) * len(lines)))]
    nasty = [
        Block("tank", tuple(lines)),
        Block("entry", (), Entry(title, title, title or "x", tuple(lines))),
    ]
    seen = Seen(page_html(title, [nasty]))
    plain_page = Seen(page_html("x", [harmless]))
    assert sorted(seen.tags)[:5] == sorted(plain_page.tags)[:5]
    assert set(seen.tags) <= set(plain_page.tags)
    assert seen.attributes <= plain_page.attributes
    assert plain(lines[0]) in seen.said or not lines[0].strip()


@given(NASTY)
def test_a_line_stays_one_line_and_keeps_its_order(text: str) -> None:
    """No line end, control or mark of direction comes through: what is shown reads from left to right as stored."""
    shown = plain(text)
    assert len(shown) == len(text)
    assert shown.isprintable() or all(c.isprintable() or c.isspace() for c in shown)
    assert not re.search("[\n\r\t\x00-\x1f\u202a-\u202e\u2066-\u2069]", shown)
    assert "<" not in escape(text)
    assert '"' not in escape(text)


@given(st.lists(st.integers(min_value=0, max_value=40), min_size=1, max_size=30))
def test_no_task_is_lost_between_sheets(sizes: list[int]) -> None:
    """Every task is on exactly one sheet, in order, and each sheet counts what is still to come."""
    blocks = [
        Block("entry", (), Entry(f"C{n}", "A task", "", ("a line of some words",) * size))
        for n, size in enumerate(sizes)
    ]
    pages = pages_of(blocks)
    assert [block for one in pages for block in one] == blocks
    html = page_html("x", [blocks])
    said = [int(n) for n in re.findall(r"(\d+) tasks? (?:is|are) on the next sheet", html)]
    assert said == [sum(map(len, pages[number:])) for number in range(1, len(pages))]


def test_a_page_needs_nothing_from_elsewhere(shown_room: Path, tmp_path: Path) -> None:
    """No script, no picture, no address, no colour but black and white: it prints offline (F93, F96)."""
    for words in (("sheet",), ("sheet", "--sitter"), ("card", "emergency", "--tank", "Q2"), ("card", "tank", "Q1")):
        html = page(shown_room, tmp_path, "2026-02-13 08:30:00", *words)
        seen = Seen(html)
        assert not {"script", "img", "link", "iframe", "object", "form"} & set(seen.tags)
        assert not {"src", "href", "onload", "style"} & seen.attributes
        assert "http" not in html.replace("http-equiv", "")
        assert set(re.findall(r"#[0-9a-f]{3,6}\b", html)) == {"#000", "#fff"}
        assert "default-src 'none'" in html


def test_the_text_of_a_block_is_indented_under_its_heading() -> None:
    """Plain text reads by a screen reader and on paper: heading, then its lines; a task's lines under its box."""
    blocks = [Block("tank", ("Q1", "12 fish")), Block("entry", (), Entry("K7MP", "Look", "", ("seen ____",)))]
    assert text_of(blocks) == ["Q1", "  12 fish", "  [ ] K7MP Look   time ______", "      seen ____"]
