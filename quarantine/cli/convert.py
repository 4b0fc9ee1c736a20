"""A label's rate, or any amount, in another unit: so that a label can be laid beside the formulary."""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated

import typer

from quarantine.cli.session import session

OF_THE_PRODUCT = (
    "A label's rate is of the product as it stands in the bottle or bag, the formulary's of the substance in it: they "
    "are one only where the label gives the strength (--strength). No dose is sized here: quarantine dose does that, "
    "for the water really there."
)
DIGITS = 6
"""Significant digits shown: more than any label or scale has."""


def convert(
    amount: Annotated[str, typer.Argument(help='What is printed: "5 g per 100 L", "1 mL/40 L", "29 USgal".')],
    unit: Annotated[str, typer.Argument(help='In which unit: mg/L, uL/L, "g per 100 L", "mg/g food", L.')],
    strength: Annotated[
        str | None,
        typer.Option(help='Of the product: "80 %" of what is weighed; "37 % w/v", "10 mg/mL" of what is poured.'),
    ] = None,
) -> None:
    from quarantine.failures import Usage
    from quarantine.quantity import kind_of, of_substance, rate_in, read, read_rate, show_significant, to

    kind, wanted = kind_of(amount), unit.strip()
    if kind is None or kind in ("concentration", "volume_ratio"):
        rate = read_rate(amount)
        made = rate if strength is None else of_substance(rate, strength)
        value, says = rate_in(made, wanted), str(rate)
    elif strength is not None:
        raise Usage("--strength belongs to a rate, such as 5 g per 100 L; leave it out.")
    else:
        whole = read(amount, kind)
        value, says = to(whole, read(f"1 {wanted}", kind, "unit").unit), str(whole)
    shown = show_significant(value, DIGITS)
    exact = "is" if Decimal(shown) == value else "is about"
    document = {"typed": says, "value": Decimal(shown), "unit": wanted, "strength": strength}
    if kind is not None and kind not in ("concentration", "volume_ratio"):
        session().emit({**document, "of": None, "caution": None}, [f"{says} {exact} {shown} {wanted}."])
        return
    of = "product" if strength is None else "substance"
    held = "" if strength is None else f" of a product of {strength.strip()}"
    lines = [f"{says}{held} {exact} {shown} {wanted} of the {of}.", f"  Caution: {OF_THE_PRODUCT}"]
    session().emit({**document, "of": of, "caution": OF_THE_PRODUCT}, lines)
