"""The stock: products, their lots, and the book of what came in and went out."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from quarantine.cli.daily import At
from quarantine.cli.session import now, session

Product = Annotated[str, typer.Argument(help="The product's name.")]
Amount = Annotated[str, typer.Argument(help='How much: "2 g", "5 mL", "3 tablets".')]
LotNumber = Annotated[str | None, typer.Option("--lot", help="Its number, where there are several.")]
Because = Annotated[str, typer.Option(help="Why.")]

NOTHING = "No stock on record: quarantine stock add."


def add(
    name: Annotated[str, typer.Argument(help="A name of your own for the product.")],
    amount: Annotated[str, typer.Argument(help='How much there is: "50 g", "100 mL", "20 tablets".')],
    substance: Annotated[str | None, typer.Option(help="The substance in it, as the formulary has it.")] = None,
    form: Annotated[str | None, typer.Option(help="powder, solution or tablet.")] = None,
    strength: Annotated[
        str | None, typer.Option(help='As the label says it: "98 %", "37 % formaldehyde"; or unknown.')
    ] = None,
    each: Annotated[str | None, typer.Option(help='What is in one tablet: "500 mg".')] = None,
    step: Annotated[
        str | None, typer.Option(help='The smallest step it is measured with: "0.01 g"; of measured drops "0.05 mL".')
    ] = None,
    halves: Annotated[bool, typer.Option("--halves", help="Tablets that may be halved, as the label says.")] = False,
    lot: Annotated[str | None, typer.Option(help="The lot's number on the label.")] = None,
    expires: Annotated[str | None, typer.Option(help="Good until: 2027-03 or 2027-03-15.")] = None,
    opened: Annotated[str | None, typer.Option(help="Opened on, YYYY-MM-DD.")] = None,
    source: Annotated[str | None, typer.Option("--from", help="Where it was bought.")] = None,
    authority: Annotated[str | None, typer.Option(help="By whose prescription or permit, where one is needed.")] = None,
    really: Annotated[bool, typer.Option("--really", help="The strength is so, though it looks like a slip.")] = False,
    at: At = None,
) -> None:
    from quarantine.actions.stocking import add

    made = add(
        session().desk(),
        name,
        amount,
        substance=substance,
        form=form,
        strength=strength,
        each=each,
        step=step,
        halves=halves,
        lot=lot,
        expires=expires,
        opened=opened,
        source=source,
        authority=authority,
        at=at,
        really=really,
    )
    lines = [f"{_lot_line(made)}.", "The label, local law and a veterinarian come first."]
    if not made["strength"] and not made["each"]:
        lines.insert(1, "No strength is on record: a dose that depends on it is held.")
    session().emit(made, lines)


def list_(
    every: Annotated[bool, typer.Option("--all", help="Also lots that are empty.")] = False,
) -> None:
    from quarantine.actions.shelf import lot_document, lots, stock_zone
    from quarantine.facts import local_day

    with session().reader() as rows:
        found, today = lots(rows), local_day(now(), stock_zone(rows))
    shown = [lot_document(lot, today) for lot in found if every or lot.left > 0]
    nothing = "All that is on record is used up: quarantine stock list --all." if found else NOTHING
    session().emit({"lots": shown}, [_lot_line(lot) for lot in shown] or [nothing])


def count(product: Product, amount: Amount, because: Because, lot: LotNumber = None, at: At = None) -> None:
    from quarantine.actions.stocking import count

    _say_moved(count(session().desk(), product, amount, lot=lot, because=because, at=at))


def use(product: Product, amount: Amount, because: Because, lot: LotNumber = None, at: At = None) -> None:
    from quarantine.actions.stocking import use

    _say_moved(use(session().desk(), product, amount, lot=lot, because=because, at=at))


def dispose(
    product: Product,
    how: Annotated[str, typer.Option(help='How, by local rules: "taken to the pharmacy".')],
    lot: LotNumber = None,
    at: At = None,
) -> None:
    from quarantine.actions.stocking import dispose

    _say_moved(dispose(session().desk(), product, lot=lot, how=how, at=at))


def recall(product: Product, lot: Annotated[str, typer.Option("--lot", help="Its number.")], because: Because) -> None:
    from quarantine.actions.stocking import recall

    made = recall(session().desk(), product, lot=lot, because=because)
    session().emit(made, [f"{_lot_line(made)}: nothing more is given out of it."])


def show(product: Product, lot: LotNumber = None) -> None:
    """One lot, with every movement."""
    from quarantine.actions.shelf import find_lot, lot_document, stock_zone
    from quarantine.actions.stocking import movements_of
    from quarantine.facts import local_day

    with session().reader() as rows:
        zone = stock_zone(rows)
        found = find_lot(rows, product, lot)
        moved = movements_of(rows, found, zone)
    document = lot_document(found, local_day(now(), zone)) | {"movements": moved}
    session().emit(document, [_lot_line(document), *(f"  {_movement_line(one)}" for one in moved)])


def register(
    csv: Annotated[Path | None, typer.Option("--csv", help="Write it as a table for a spreadsheet.")] = None,
    html: Annotated[Path | None, typer.Option("--html", help="Write it as a page for a browser and a printer.")] = None,
    since: Annotated[str | None, typer.Option(help="From this local day on, YYYY-MM-DD.")] = None,
) -> None:
    """What came in and went out: on the screen, or as files."""
    from quarantine.actions.desk import local_text
    from quarantine.actions.registering import COLUMNS, LAW, register
    from quarantine.actions.sheets import save_page
    from quarantine.actions.shelf import stock_zone
    from quarantine.cli.today import read_day
    from quarantine.reports.register import BEGINS, csv_begins, page
    from quarantine.reports.tables import csv_lines

    first = read_day(since, "--since") if since else None
    with session().reader() as rows:
        rows.hold_still()
        made = register(rows, first)
        as_of = local_text(now(), stock_zone(rows))
    files = []
    if csv is not None:
        save_page(csv, "".join(csv_lines(COLUMNS, made.lines)), begins=csv_begins(), what="register")
        files.append(str(csv))
    if html is not None:
        save_page(html, page(made, as_of), begins=BEGINS, what="register")
        files.append(str(html))
    sums = [
        {
            "product": one.lot.product,
            "lot": one.lot.number,
            "opening": one.opening,
            "in": one.came_in,
            "out": one.went_out,
            "on_hand": one.on_hand,
            "unit": one.lot.unit,
        }
        for one in made.sums
    ]
    lines = [_sums_line(one) for one in sums] or [NOTHING]
    lines += [f"Written: {file}" for file in files]
    if files:
        lines.append("Names of keepers are in it.")
    session().emit({"since": since, "lots": sums, "lines": list(made.lines), "files": files}, [*lines, LAW])


def _sums_line(one: dict[str, Any]) -> str:
    from quarantine.stock import counted

    opening, came_in, out, on_hand = (counted(one[name], one["unit"]) for name in ("opening", "in", "out", "on_hand"))
    return f"{one['product']}, lot {one['lot']}: opening {opening} + in {came_in} - out {out} = on hand {on_hand}"


def lot(number: Annotated[str, typer.Argument(help="The lot's number.")]) -> None:
    """Every dose, tank and batch that a lot went into."""
    from quarantine.actions.registering import trace

    with session().reader() as rows:
        found = trace(rows, number, now())
    session().emit({"lots": found}, [line for one in found for line in _traced_lines(one)])


def _traced_lines(one: dict[str, Any]) -> list[str]:
    from quarantine.stock import counted

    lines = [f"{_lot_line(one)}."]
    for dose in one["doses"]:
        batch = f"batch {dose['batch']}" if dose["batch"] else "no batch there"
        amount = counted(dose["amount"], dose["unit"])
        lines.append(f"  {dose['at']} {dose['tank']} ({batch}): {amount}, {dose['dose']}, {dose['by']}")
    if not one["doses"]:
        return [*lines, "  No dose on record was drawn from it."]
    batches = f"Batches: {', '.join(one['batches']) or 'none'}"
    return [*lines, f"  {batches}. Tanks: {', '.join(one['tanks'])}."]


def _say_moved(made: dict[str, Any]) -> None:
    from quarantine.stock import counted

    moved = made["moved"]
    word = "in" if moved > 0 else "out"
    change = f"{counted(abs(moved), made['unit'])} {word}" if moved else "The books were right"
    session().emit(made, [f"{change}. {_lot_line(made)}."])


def _lot_line(lot: dict[str, Any]) -> str:
    from quarantine.stock import counted

    strength = lot["strength"] or (f"{lot['each']} each" if lot["each"] else "strength not said")
    good = f", good until {lot['good_until']}" if lot["good_until"] else ", no expiry on record"
    barred = f" ({lot['barred']})" if lot["barred"] else ""
    left = f"{counted(lot['left'], lot['unit'])} left"
    return f"{lot['product']} ({lot['substance']}, {strength}), lot {lot['lot']}: {left}{good}{barred}"


def _movement_line(one: dict[str, Any]) -> str:
    from quarantine.stock import counted

    sign = "+" if one["amount"] > 0 else "-" if one["amount"] else ""
    why = one.get("because") or one.get("how") or one.get("source") or ""
    kind = f"{one['of_kind']} {one['kind']}" if "of_kind" in one else one["kind"]
    line = f"{one['at']} {kind}: {sign}{counted(abs(one['amount']), one['unit'])}, {one['by']}"
    return f"{line} ({why})" if why else line
