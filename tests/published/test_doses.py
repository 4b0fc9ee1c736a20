"""Doses against printed figures (publisher, title, number and year beside each; tolerance: the last printed digit)."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from decimal import Decimal

import pytest

from quarantine.dosing import Proposal, Setting, Stock, propose
from quarantine.formulary import Figure, regimen
from quarantine.quantity import Quantity, to
from quarantine.water.ledger import Water


def dose(row: str, litres: Decimal, step_grams: str, kind: str, plus_minus: float = 0.0) -> Proposal:
    setting = Setting(
        kind=kind,
        zone="UTC",
        now=datetime(2026, 3, 1, tzinfo=UTC),
        volume=Water(float(litres), plus_minus),
        volume_says="measured",
        levels={},
        doses=(),
        evidence=None,
        scale_step_grams=Decimal(step_grams),
    )
    return propose(*regimen(row), setting)


def test_metronidazole_for_one_us_gallon() -> None:
    """University of Florida IFAS, Introduction to Freshwater Fish Parasites, Circular 716, year not stated: 5 mg/L is
    printed as 18.9 mg for one gallon, read as a US gallon; last printed digit 0.1 mg."""
    gallon = to(Quantity(Decimal(1), "USgal"), "L")
    proposal = dose("M01", gallon, "0.0001", "fresh")
    assert proposal.dose.add is not None
    assert abs(proposal.dose.add * 1000 - Decimal("18.9")) <= Decimal("0.1")


@pytest.mark.parametrize("litres", ["100", "200", "350", "1000"])
def test_praziquantel_two_milligrams_per_litre(litres: str) -> None:
    """Rev. Bras. Parasitol. Vet., Neobenedenia melleni in ornamental reef fish imported to Brazil,
    doi 10.1590/S1984-296120180076, 2019: 2 mg/L. The amount is that times the litres (arithmetic), exactly."""
    proposal = dose("Z01", Decimal(litres), "0.01", "marine")
    assert proposal.dose.target == 2
    assert proposal.dose.add == 2 * Decimal(litres) / 1000
    assert "10.1590/S1984-296120180076" in proposal.dose.reference


@pytest.mark.parametrize(
    ("litres", "step", "advised"),
    [
        # common practice, no source: twenty steps of the scale, so 0.2 g is the smallest direct dose at 0.01 g
        ("100", "0.01", False),
        ("95", "0.01", True),
        # the same: 2 g at 0.1 g
        ("1000", "0.1", False),
        ("950", "0.1", True),
    ],
)
def test_the_smallest_dose_that_is_weighed_without_advice(litres: str, step: str, advised: bool) -> None:
    """Under twenty steps a finer scale is advised."""
    assert bool(dose("Z01", Decimal(litres), step, "marine").advice) is advised


def test_less_than_the_scale_can_weigh_is_refused() -> None:
    """Common practice, no source: 7.6 mg on a scale of 0.01 g is below resolution. 3.8 L at 2 mg/L are 7.6 mg."""
    proposal = dose("Z01", Decimal("3.8"), "0.01", "marine")
    assert proposal.hold is not None
    assert proposal.hold.rule == "C4"
    assert "0.0076 g" in proposal.hold.says


def test_the_label_of_a_tank_would_be_an_overdose() -> None:
    """Common practice, no source: a 60 L tank that holds 49.3 L. Dosed by the label it gets 2.4 mg/L of a published 2;
    by the water that is there never more than 2 mg/L (arithmetic)."""
    by_label = dose("Z01", Decimal(60), "0.001", "marine").dose.add
    by_water = dose("Z01", Decimal("49.3"), "0.001", "marine").dose.add
    assert by_label is not None
    assert by_water is not None
    assert round(by_label * 1000 / Decimal("49.3"), 1) == Decimal("2.4")
    assert by_water * 1000 / Decimal("49.3") <= 2


def test_a_stock_solution_for_what_the_scale_cannot_weigh() -> None:
    """7.6 mg from 0.20 g in 100 mL (2 mg/mL) are 3.8 mL; with 0.005 g, 1 mL and 0.05 mL of doubt that is known to
    3.0 % (root sum of squares; computed, no source). The solubility is made up: none was found for a real substance."""
    substance, row = regimen("Z01")
    soluble = substance._replace(solubility=Figure(Decimal(5), "g/L", "S43", "READ"))
    setting = Setting(
        kind="marine",
        zone="UTC",
        now=datetime(2026, 3, 1, tzinfo=UTC),
        volume=Water(3.8, 0.0),
        volume_says="measured",
        levels={},
        doses=(),
        evidence=None,
        scale_step_grams=Decimal("0.01"),
        stock=Stock(Decimal("0.20"), Decimal("0.1")),
    )
    proposal = propose(soluble, row, setting)
    assert proposal.hold is None
    assert (proposal.dose.add, proposal.dose.add_unit) == (Decimal("3.8"), "mL")
    doubt = math.hypot(0.005 / 0.20, 1 / 100, 0.05 / float(proposal.dose.add or 0))
    assert 100 * doubt == pytest.approx(3.0, abs=0.05)
