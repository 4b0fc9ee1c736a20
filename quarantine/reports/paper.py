"""What all papers share: blocks of text, safe to print, as plain lines or as one page after another for a printer.

A page is black and white, in large type, with no script, no picture and nothing from elsewhere. It fits A4 and Letter
alike: the narrower width of A4 and the shorter height of Letter are counted with. Nothing is ever made smaller to fit.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape as _escape
from math import ceil
from typing import NamedTuple
from unicodedata import category, east_asian_width

BOX = "[ ]"

# Sheets of paper: ISO 216 (A4 is 210 x 297 mm) and ANSI/ASME Y14.1 (Letter is 8.5 x 11 in); from memory.
MARGIN_MM = 10.0
WIDTH_MM = 210.0 - 2 * MARGIN_MM
HEIGHT_MM = 279.4 - 2 * MARGIN_MM
SLACK_MM = 3.0
"""Kept free on each page: a renderer rounds."""
POINT_MM = 25.4 / 72


class Entry(NamedTuple):
    """One task: a row of the sheet's table. ``strong`` is the amount, large, in a row of its own.

    ``given`` leaves a blank for what was really given; without ``ticked`` there is nothing to tick or fill in.
    """

    code: str
    title: str
    strong: str
    lines: tuple[str, ...]
    given: bool = False
    ticked: bool = True


class Block(NamedTuple):
    """A part of a paper that stays together on a page.

    ``kind`` is head, name (the heading is read from across a room), large, tank, rules, notes or entry. The first of
    ``lines`` is the heading.
    """

    kind: str
    lines: tuple[str, ...]
    entry: Entry | None = None
    small: str = ""
    """sources, in small print under the lines"""


def plain(text: str) -> str:
    """One line that prints as it is stored: line ends and tabs become spaces; what is not seen, or turns the order of
    letters about, becomes a mark (U+FFFD)."""
    return "".join(" " if c in "\n\r\t" else "\ufffd" if category(c)[0] == "C" else c for c in text)


def escape(text: str) -> str:
    """Text of the record as HTML text: nothing in it can be markup."""
    return _escape(plain(text), quote=True)


# --- Plain text -------------------------------------------------------------------------------------------


def text_of(blocks: Iterable[Block]) -> list[str]:
    """The paper as lines; what stands under a heading is indented."""
    lines: list[str] = []
    for block in blocks:
        if block.entry is not None:
            lines += _entry_text(block.entry)
            continue
        if lines:
            lines.append("")
        first, *rest = block.lines
        indent = "" if block.kind == "head" else "  "
        lines += [plain(first), *(indent + plain(line) for line in (*rest, *_small(block)))]
    return lines


def _small(block: Block) -> tuple[str, ...]:
    return (block.small,) if block.small else ()


def _entry_text(entry: Entry) -> list[str]:
    blanks = ("   given ________" if entry.given else "") + "   time ______" if entry.ticked else ""
    lines = [f"  {BOX if entry.ticked else '---'} {plain(entry.code)} {plain(entry.title)}{blanks}"]
    if entry.strong:
        lines.append(f"      {plain(entry.strong)}")
    return [*lines, *(f"      {plain(line)}" for line in entry.lines)]


# --- How high a block is ----------------------------------------------------------------------------------


class _Type(NamedTuple):
    """A size of type: points, the height of a line as a share of them, the width there is for it, and whether bold."""

    points: float
    leading: float
    width_mm: float
    bold: bool = False

    def height_mm(self, text: str) -> float:
        """The most that the text can need, by wide letters (those of DejaVu Sans, measured, rounded up)."""
        have = self.width_mm / (self.points * POINT_MM) / (_BOLD if self.bold else 1)
        return self.rows(text, have) * self.points * self.leading * POINT_MM

    @staticmethod
    def rows(text: str, have_em: float) -> int:
        """Lines that a text folds to: word by word, a word that is too long cut."""
        rows, used = 1, 0.0
        for word in text.split(" "):
            wide = sum(map(_em, word))
            if used and used + _SPACE_EM + wide > have_em:
                rows, used = rows + 1, 0.0
            elif used:
                used += _SPACE_EM
            if wide > have_em:
                rows += ceil(wide / have_em) - 1
                wide %= have_em
            used += wide
        return rows


_BOLD = 1.14
_SPACE_EM = 0.32


def _em(letter: str) -> float:
    """The width of a letter in em, rounded up."""
    if east_asian_width(letter) in "WF":
        return 1.05
    if letter in "ijlftrI.,:;'|!()[]/-":
        return 0.42
    if letter in "mwMW@%":
        return 1.0
    return 0.78 if letter.isupper() or ord(letter) > 0x24F else 0.64


_CODE_MM, _BOX_MM, _GIVEN_MM, _TIME_MM = 20.0, 8.0, 30.0, 20.0
_PADDED_MM, _ROUND_MM = 6.0, 3.0  # borders, padding and margins: at the sides of a block, and above and below it
_HEAD, _NAME = _Type(18, 1.2, WIDTH_MM, bold=True), _Type(48, 1.2, WIDTH_MM, bold=True)
_TANK, _RULES = _Type(14, 1.25, WIDTH_MM, bold=True), _Type(12, 1.25, WIDTH_MM - _PADDED_MM, bold=True)
_TITLE = _Type(12, 1.25, WIDTH_MM - _BOX_MM - _CODE_MM - _GIVEN_MM - _TIME_MM)
_STRONG, _LINE = _Type(14, 1.25, WIDTH_MM - _BOX_MM, bold=True), _Type(10, 1.2, WIDTH_MM - _BOX_MM)
_SMALL = _Type(8, 1.2, WIDTH_MM - _PADDED_MM)
_NOTE, _LARGE = _Type(10, 1.2, WIDTH_MM - _PADDED_MM), _Type(14, 1.25, WIDTH_MM)
_TYPES = {
    "head": (_HEAD, _NOTE),
    "name": (_NAME, _LARGE),
    "large": (_TANK, _LARGE),
    "tank": (_TANK, _NOTE),
    "rules": (_RULES, _NOTE),
    "notes": (_RULES, _NOTE),
}


def height_mm(block: Block) -> float:
    """The most that a block can need on a page, in mm."""
    if block.entry is not None:
        entry = block.entry
        strong = _STRONG.height_mm(plain(entry.strong)) if entry.strong else 0
        under = sum(_LINE.height_mm(plain(line)) for line in entry.lines)
        return max(_TITLE.height_mm(plain(entry.title)), _BOX_ROW_MM) + strong + under + 1
    first, rest = _TYPES[block.kind]
    lines = sum(rest.height_mm(plain(line)) for line in block.lines[1:])
    return first.height_mm(plain(block.lines[0])) + lines + sum(map(_SMALL.height_mm, _small(block))) + _ROUND_MM


_BOX_ROW_MM = 6.0


# --- Pages ------------------------------------------------------------------------------------------------


def pages_of(blocks: Iterable[Block]) -> list[list[Block]]:
    """The blocks page by page, in order. A tank's heading goes with its first task; a block higher than a page has a
    page to itself and runs on."""
    pages: list[list[Block]] = [[]]
    left = full = HEIGHT_MM - SLACK_MM - _FOOT_MM
    for group in _groups(blocks):
        need = sum(map(height_mm, group))
        if need > left and pages[-1]:
            pages.append([])
            left = full - _AGAIN_MM
        pages[-1] += group
        left -= need
    return pages


_FOOT_MM, _AGAIN_MM = 6.0, 8.0


def _groups(blocks: Iterable[Block]) -> list[list[Block]]:
    groups: list[list[Block]] = []
    for block in blocks:
        if groups and groups[-1][-1].kind == "tank":
            groups[-1].append(block)
        else:
            groups.append([block])
    return groups


def page_html(title: str, papers: Iterable[Iterable[Block]]) -> str:
    """One self-contained page for a browser and a printer. Each paper begins on a sheet of its own; where it needs
    more sheets, each says how many tasks are on the next ones."""
    sheets = []
    for paper in papers:
        pages = pages_of(paper)
        for number, page in enumerate(pages, 1):
            sheets.append(_sheet_html(title, pages, page, number))
    return _FRAME.format(title=escape(title), body="\n".join(sheets))


def _sheet_html(title: str, pages: list[list[Block]], page: list[Block], number: int) -> str:
    many = len(pages) > 1
    again = f'<p class="again">{escape(title)}, sheet {number} of {len(pages)}</p>\n' if many and number > 1 else ""
    coming = sum(1 for later in pages[number:] for block in later if block.entry is not None)
    foot = f'<p class="foot">{escape(_turn(coming))}</p>\n' if number < len(pages) else ""
    return f'<section class="sheet">\n{again}{"".join(map(_block_html, page))}{foot}</section>'


def _turn(coming: int) -> str:
    if coming == 0:
        return "Goes on on the next sheet."
    return f"{coming} {'task is' if coming == 1 else 'tasks are'} on the next sheet."


def _block_html(block: Block) -> str:
    if block.entry is not None:
        return _entry_html(block.entry)
    first, *rest = block.lines
    tag = "h1" if block.kind in ("head", "name") else "h2"
    body = "".join(f"<p>{escape(line)}</p>\n" for line in rest)
    body += "".join(f'<p class="small">{escape(line)}</p>\n' for line in _small(block))
    return f'<div class="{block.kind}">\n<{tag}>{escape(first)}</{tag}>\n{body}</div>\n'


def _entry_html(entry: Entry) -> str:
    strong = f'<p class="strong">{escape(entry.strong)}</p>\n' if entry.strong else ""
    lines = "".join(f"<p>{escape(line)}</p>\n" for line in entry.lines)
    under = f'<div class="under">\n{strong}{lines}</div>\n' if strong or lines else ""
    given = '<td class="given">given</td>' if entry.given and entry.ticked else '<td class="none given"></td>'
    time = '<td class="time">time</td>' if entry.ticked else '<td class="none time"></td>'
    return (
        f'<div class="entry">\n<table><tr><td class="box">{"<span></span>" if entry.ticked else ""}</td>'
        f'<td class="code">{escape(entry.code)}</td><td class="what">{escape(entry.title)}</td>'
        f"{given}{time}</tr></table>\n{under}</div>\n"
    )


_FRAME = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
<style>
@page {{ margin: 10mm; }}
* {{ box-sizing: border-box; }}
body {{ margin: 0; color: #000; background: #fff; font-family: Arial, Helvetica, "DejaVu Sans", sans-serif; }}
h1, h2, p, table {{ margin: 0; padding: 0; }}
h1 {{ font-size: 18pt; line-height: 1.2; }}
h2 {{ font-size: 12pt; line-height: 1.25; }}
p {{ font-size: 10pt; line-height: 1.2; overflow-wrap: break-word; }}
h1, h2, td {{ overflow-wrap: break-word; }}
.sheet {{ width: 190mm; }}
.sheet + .sheet {{ break-before: page; }}
.head, .notes, .name, .large {{ margin-bottom: 2mm; }}
.tank {{ border-top: 0.7mm solid #000; padding-top: 0.8mm; margin-bottom: 1mm; }}
.tank h2, .large h2 {{ font-size: 14pt; }}
.name p, .large p {{ font-size: 14pt; line-height: 1.25; }}
.name h1 {{ font-size: 48pt; }}
.rules {{ border: 0.5mm solid #000; padding: 0.2mm 2mm; margin-bottom: 1.4mm; }}
.entry {{ border-top: 0.2mm solid #000; padding-top: 0.5mm; break-inside: avoid; }}
.entry table {{ width: 190mm; table-layout: fixed; border-collapse: collapse; }}
.entry td {{ padding: 0; vertical-align: top; font-size: 12pt; line-height: 1.25; }}
.entry .box {{ width: 8mm; }}
.box span {{ display: block; width: 5mm; height: 5mm; border: 0.4mm solid #000; }}
.entry .code {{ width: 20mm; font-weight: bold; }}
.entry .given {{ width: 30mm; font-size: 8pt; border-bottom: 0.2mm solid #000; }}
.entry .time {{ width: 20mm; font-size: 8pt; border-bottom: 0.2mm solid #000; border-left: 2mm solid #fff; }}
.entry .none {{ border-bottom: 0; }}
.under {{ margin-left: 8mm; }}
.strong {{ font-size: 14pt; line-height: 1.25; font-weight: bold; }}
.small {{ font-size: 8pt; }}
.again, .foot {{ font-size: 10pt; font-weight: bold; }}
.again {{ margin-bottom: 3mm; }}
.foot {{ margin-top: 1mm; }}
</style>
</head>
<body>
{body}
</body>
</html>
"""
