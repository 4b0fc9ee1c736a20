"""Which product of the stock a dose is measured out of, and what it is held by (F20, F36, F75): pure."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from waters import GOLDFISH, reading, water

from quarantine.dosing import Setting, from_stock, given_in_ledger, propose, read_strength
from quarantine.failures import Refused
from quarantine.formulary import load, regimen
from quarantine.quantity import Quantity
from quarantine.stock import Lot


def lot(product: str, substance: str, strength: str = "", unit: str = "g", **said: Any) -> Lot:
    known = {"each": None, "step": None, "number": "1", "left": Decimal(50), **said}
    return Lot(
        id=f"{product}-{known['number']}", product=product, substance=substance, strength=strength, unit=unit,
        good_until=date(2027, 1, 31), opened_on=None, recalled=False, **known,
    )  # fmt: skip


def shown(row: str, setting: Setting, *lots: Lot, strength: str | None = None, **more: Any) -> str:
    """The amount, or the hold's rule and words."""
    substance, found = regimen(row)
    product = read_strength(strength, substance) if strength else None
    card = propose(substance, found, from_stock(substance, setting._replace(shelf=lots, product=product)), **more)
    if card.hold is not None:
        return f"{card.hold.rule}: {card.hold.says}"
    return f"{card.dose.add} {card.dose.add_unit} of {card.dose.add_of}"


def pond() -> Setting:
    """100 L of water with goldfish, at 24 °C."""
    return water(reading("temperature", "24"), litres=100, species=GOLDFISH)


def test_formalin_of_the_stock_is_drawn_by_its_own_step() -> None:
    """F02 at 24 °C, small ornamental fish: 100 uL/L x 100 L = 10 mL; by 0.3 mL steps 9.9 mL; its expiry is named."""
    bottle = lot("Forma", "formalin", "37 % formaldehyde", "mL", step=Decimal("0.3"))
    assert shown("F02", pond(), bottle) == "9.9 mL of Formalin, 37 % formaldehyde (Forma, lot 1, good until 2027-01-31)"
    coarse = bottle._replace(step=Decimal(6))
    assert shown("F02", pond(), coarse).startswith("C4: on the syringe 10 mL becomes 6 mL")


def test_a_weight_of_what_is_counted_in_mL_is_asked_for() -> None:
    """A solution that says "3 %" may be by weight: nothing is computed until it says grams in 100 mL."""
    marine = water(litres=100, kind="marine")
    assert "does not say grams in 100 mL" in shown("Z01", marine, lot("Drops", "praziquantel", "3 %", "mL"))
    # 200 mg / 30 mg in 1 mL = 6.66 mL, down to the syringe's 0.1 mL.
    assert shown("Z01", marine, lot("Drops", "praziquantel", "3 % w/v", "mL")).startswith("6.6 mL of Praziquantel, 3 %")
    assert "does not say a share by weight" in shown("Z01", marine, lot("Jar", "praziquantel", "3 % w/v"))


def test_the_only_product_with_something_to_give_is_taken() -> None:
    """The other one is empty: named, it is held by F36; of two that are there, one has to be said."""
    marine = water(litres=100, kind="marine")
    full, empty = lot("Jar", "praziquantel", "98 %"), lot("Bag", "praziquantel", "50 %", left=Decimal(0))
    assert shown("Z01", marine, full, empty).startswith("0.204 g of Praziquantel, 98 % (Jar")
    assert shown("Z01", marine, empty).startswith(
        "F36: nothing of Praziquantel in stock may be given (Bag, lot 1: empty)"
    )
    assert shown("Z01", marine, full, empty._replace(left=Decimal(1))).startswith("product: there are 2 products")
    assert shown("Z01", marine, lot("Leva", "levamisole", "98 %")).startswith("0.2 g of Praziquantel, counted as pure")


def test_a_typed_strength_is_of_another_bottle_unless_one_is_named() -> None:
    """Of 50 % there is none in stock; the 98 % jar is drawn from where 98 % was typed; a name takes what was typed."""
    substance, marine = load("praziquantel"), water(litres=100, kind="marine")._replace(
        shelf=(lot("Jar", "praziquantel", "98 %"),)
    )  # fmt: skip
    for typed, named, drawn in (("50 %", None, False), ("98 %", None, True), ("50 %", "jar", True)):
        setting = marine._replace(product=read_strength(typed, substance))
        assert (from_stock(substance, setting, named).choice is not None) is drawn
    with pytest.raises(Refused, match="There is no product"):
        from_stock(substance, marine, "Jug")


@pytest.mark.parametrize(
    ("typed", "grams_in_a_litre"),
    # Calculation notes, section a.3, "37 % w/w, SG 1.08" and "8.25 % w/w, SG 1.11": computed there, exact.
    [("37 % w/w SG 1.08", "399.6"), ("8.25 % w/w, SG 1.11", "91.575")],
)
def test_a_share_by_weight_with_its_specific_gravity_is_drawn_in_mL(typed: str, grams_in_a_litre: str) -> None:
    """c (g/L) = 10 x % w/w x specific gravity."""
    bottle = lot("Bottle", "praziquantel", typed, "mL")
    setting = from_stock(load("praziquantel"), water()._replace(shelf=(bottle,)))
    held = given_in_ledger(load("praziquantel"), setting.product, Quantity(Decimal(1000), "mL"))
    assert held == Decimal(grams_in_a_litre) * 1000
    for wrong in ("3 % w/v SG 1.1", "37 % w/w SG 11"):
        with pytest.raises(Refused, match="specific gravity"):
            read_strength(wrong, load("praziquantel"))


def test_tablets_count_for_what_each_holds() -> None:
    """Three of 120 mg are 360 mg; grams of them, and tablets of a powder, are refused."""
    substance = load("metronidazole")
    box = from_stock(
        substance, water(litres=100)._replace(shelf=(lot("Box", "metronidazole", "", "tablets", each="120 mg"),))
    )
    assert given_in_ledger(substance, box.product, Quantity(Decimal(3), "tablets")) == 360
    with pytest.raises(Refused, match="measured in tablets"):
        given_in_ledger(substance, box.product, Quantity(Decimal(1), "g"))
    with pytest.raises(Refused, match="measured in g"):
        given_in_ledger(substance, None, Quantity(Decimal(1), "tablets"))


def test_twenty_tablets_of_250_mg_as_in_the_calculation_notes() -> None:
    """Section a.3: 20 mg/L in 20 US gal (75.708 L) from 250 mg tablets is 6.0567 tablets, so 6; computed there."""
    exact = Decimal(20) * Decimal("75.70823568") / 250
    assert round(exact, 4) == Decimal("6.0567")
    from quarantine.dosing.forms import floor_amount, measure_of

    substance = load("metronidazole")
    box = from_stock(substance, water()._replace(shelf=(lot("Box", "metronidazole", "", "tablets", each="250 mg"),)))
    measure = measure_of(substance, box.product)
    assert floor_amount(exact * 250, measure, measure.step(box)) == (6, 1500)
