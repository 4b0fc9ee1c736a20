"""One sentence for every figure that lies outside the range in which a formula of this room holds."""

from __future__ import annotations

from decimal import Decimal
from math import isfinite

from quarantine.failures import Refused
from quarantine.quantity import show

LITRES_MOST = 10**7  # L, our choice: above it a volume is a slip


Number = float | Decimal


def check(what: str, value: Number, unit: str, least: Number, most: Number, *, above: bool = False) -> None:
    """Pass when ``least`` <= ``value`` <= ``most``, or with ``above`` when it is also greater than ``least``.

    Raises Refused with one sentence that names the figure, its range and its ``unit``; nan and infinity never pass.
    """
    # A Decimal nan cannot even be compared, so it is asked first.
    if isfinite(value) and (least < value if above else least <= value) and value <= most:
        return
    space = f" {unit}" if unit else ""
    span = (
        f"above {number(least)} and at most {number(most)}{space}"
        if above
        else f"{number(least)} to {number(most)}{space}"
    )
    raise Refused(f"The {what} {number(value)}{space} is outside what can be computed ({span}); read it again.")


def check_litres(what: str, litres: Number) -> None:
    """A volume of water in litres: above 0, at most ten million. Raises Refused."""
    check(what, litres, "L", 0, LITRES_MOST, above=True)


def number(value: Number) -> str:
    """A figure as a sentence shows it: no exponent, no tail of zeros."""
    return show(Decimal(str(value))) if isfinite(value) else "that was given"
