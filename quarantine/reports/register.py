"""The register of medicines as a page: a table, in black and white, that a printer takes."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from quarantine.actions.registering import BY_UNIT, COLUMNS, LAW, Register, Sums
from quarantine.quantity import show
from quarantine.reports.paper import escape

SUMS = ("Product", "Substance", "Lot", "Opening", "In", "Out", "On hand")
LINES = (
    "When",
    "What",
    "Product, lot",
    "In",
    "Out",
    "On hand",
    "Keeper",
    "Batch, tank, dose",
    "Source or reason",
    "Authority",
)
TITLE = "Register of medicines"
BEGINS = f"<!DOCTYPE html>\n<title>{TITLE}</title>".encode()
"""How a page of this kind begins: one is written over another, and over nothing else."""


def page(made: Register, as_of: str) -> str:
    """The page: the sums of each lot, then its lines. ``as_of`` is the local time it was made."""
    span = f"From {made.since} on; " if made.since else ""
    sums = _table(SUMS, (_sum_cells(one) for one in made.sums))
    lines = _table(LINES, (_line_cells(line) for line in made.lines if line["what"] != "in all"))
    head = (
        f"<h1>{TITLE}</h1><p>{escape(f'{span}as of {as_of}. {LAW}')}</p>"
        "<p>Opening + in - out = on hand. Fish that were treated are never for people to eat.</p>"
    )
    return f"{BEGINS.decode()}{_STYLE}{head}<h2>Lots</h2>{sums}<h2>In and out</h2>{lines}\n</html>\n"


def _sum_cells(sums: Sums) -> tuple[str, ...]:
    lot = sums.lot
    amounts = (sums.opening, sums.came_in, sums.went_out, sums.on_hand)
    return lot.product, lot.substance, lot.number, *(f"{show(amount)} {lot.unit}" for amount in amounts)


def _line_cells(line: dict[str, Any]) -> tuple[str, ...]:
    why = "; ".join(str(line[name]) for name in ("source", "reason") if line.get(name))
    dose = ", ".join(str(line[name]) for name in ("batch", "tank", "regimen") if line.get(name))
    return (
        str(line["at"]),
        str(line["what"]),
        f"{line['product']}, {line['lot']}",
        *(_amount(line, name) for name in ("in", "out", "on_hand")),
        str(line.get("keeper") or ""),
        dose,
        why,
        str(line.get("authority") or ""),
    )


def _amount(line: dict[str, Any], name: str) -> str:
    return next((f"{line[f'{name}_{key}']} {unit}" for unit, key in BY_UNIT.items() if f"{name}_{key}" in line), "")


def _table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    cells = "".join(f"<th>{escape(name)}</th>" for name in head)
    body = "\n".join(f"<tr>{''.join(f'<td>{escape(cell)}</td>' for cell in row)}</tr>" for row in rows)
    return f"<table><thead><tr>{cells}</tr></thead><tbody>\n{body}\n</tbody></table>"


def csv_begins() -> bytes:
    """How a table of this kind begins."""
    return ",".join(COLUMNS).encode()


_STYLE = """
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<style>
@page { size: landscape; margin: 10mm; }
body { margin: 0; color: #000; background: #fff; font: 9pt Arial, Helvetica, "DejaVu Sans", sans-serif; }
h1 { font-size: 16pt; } h2 { font-size: 12pt; }
table { border-collapse: collapse; width: 100%; }
th, td { border: 0.2mm solid #000; padding: 0.5mm 1mm; text-align: left; vertical-align: top; overflow-wrap: anywhere; }
thead { display: table-header-group; } tr { break-inside: avoid; }
</style>
"""
