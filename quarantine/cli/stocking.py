"""The stock: products, their lots, and the book of what came in and went out."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from quarantine.cli.daily import At
from quarantine.cli.session import now, session

Product = Annotated[str, typer.Argument(help="The product's name.")]
Amount = Annotated[str, typer.Argument(help='How much: "2 g", "5 mL", "3 tablets".')]
LotNumber = Annotated[str | None, typer.Option("--lot", help="Its number, where there are several.")]
Because = Annotated[str, typer.Option(help="Why.")]


def add(
    name: Annotated[str, typer.Argument(help="A name of your own for the product.")],
    amount: Annotated[str, typer.Argument(help='How much there is: "50 g", "100 mL", "20 tablets".')],
    substance: Annotated[str | None, typer.Option(help="The substance in it, as the formulary has it.")] = None,
    form: Annotated[str | None, typer.Option(help="powder, solution or tablet.")] = None,
    strength: Annotated[
        str | None, typer.Option(help='As the label says it: "98 %", "37 % formaldehyde"; or unknown.')
    ] = None,
    each: Annotated[str | None, typer.Option(help='What is in one tablet: "500 mg".')] = None,
    step: Annotated[str | None, typer.Option(help='The smallest step it is measured with: "0.01 g".')] = None,
    lot: Annotated[str | None, typer.Option(help="The lot's number on the label.")] = None,
    expires: Annotated[str | None, typer.Option(help="Good until: 2027-03 or 2027-03-15.")] = None,
    opened: Annotated[str | None, typer.Option(help="Opened on, YYYY-MM-DD.")] = None,
    source: Annotated[str | None, typer.Option("--from", help="Where it was bought.")] = None,
    authority: Annotated[str | None, typer.Option(help="By whose prescription or permit, where one is needed.")] = None,
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
        lot=lot,
        expires=expires,
        opened=opened,
        source=source,
        authority=authority,
        at=at,
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
    session().emit({"lots": shown}, [_lot_line(lot) for lot in shown] or ["No stock on record: quarantine stock add."])


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


def _say_moved(made: dict[str, Any]) -> None:
    from quarantine.quantity import show

    moved = made["moved"]
    word = "in" if moved > 0 else "out"
    change = f"{show(abs(moved))} {made['unit']} {word}" if moved else "The books were right"
    session().emit(made, [f"{change}. {_lot_line(made)}."])


def _lot_line(lot: dict[str, Any]) -> str:
    from quarantine.quantity import show

    strength = lot["strength"] or (f"{lot['each']} each" if lot["each"] else "strength not said")
    good = f", good until {lot['good_until']}" if lot["good_until"] else ", no expiry on record"
    barred = f" ({lot['barred']})" if lot["barred"] else ""
    left = f"{show(lot['left'])} {lot['unit']} left"
    return f"{lot['product']} ({lot['substance']}, {strength}), lot {lot['lot']}: {left}{good}{barred}"


def _movement_line(one: dict[str, Any]) -> str:
    from quarantine.quantity import show

    sign = "+" if one["amount"] > 0 else "-"
    why = one.get("because") or one.get("how") or one.get("source") or ""
    line = f"{one['at']} {one['kind']}: {sign}{show(abs(one['amount']))} {one['unit']}, {one['by']}"
    return f"{line} ({why})" if why else line
