"""A water with readings and fish, for the tests of copper, formalin and the oxidisers."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

from quarantine.dosing import Hold, Proposal, Setting, propose, read_strength
from quarantine.facts import Fact
from quarantine.formulary import regimen
from quarantine.water.ledger import Water
from quarantine.water.level import Level

NOW = datetime(2026, 3, 1, 12, tzinfo=UTC)
GOLDFISH = ("Carassius auratus",)
BIG = ("Astronotus ocellatus",)  # no small fish; what the keeper said of it stands in said_groups


def reading(name: str, value: str, step: str = "0", hours: float = 1, **more: Any) -> Fact:
    """A reading of so many hours ago."""
    at = NOW - timedelta(hours=hours)
    data = {"parameter": name, "value": value, "step": step, "unit": "", "water": "fresh", **more}
    return Fact(f"{name}{value}{hours}", "reading", at, at, "k", "s", "t", None, None, data)


def dosed(substance: str, hours: float, **data: Any) -> Fact:
    """A dose of so many hours ago."""
    at = NOW - timedelta(hours=hours)
    return Fact(f"d{hours}", "dose", at, at, "k", "s", "t", None, None, {"substance": substance, **data})


def water(
    *readings: Fact,
    litres: float = 200.0,
    plus_minus: float = 0.0,
    kind: str = "fresh",
    species: tuple[str, ...] = BIG,
    step: str = "0.001",
    levels: dict[str, float] | None = None,
    doses: tuple[Fact, ...] = (),
) -> Setting:
    """A measured water. Of ``BIG`` somebody said that they are in no group of the lists."""
    return Setting(
        kind=kind,
        zone="UTC",
        now=NOW,
        volume=Water(litres, plus_minus),
        volume_says="measured",
        levels={name: Level(0.0, high) for name, high in (levels or {}).items()},
        doses=doses,
        evidence=None,
        scale_step_grams=Decimal(step),
        readings=tuple(sorted(readings, key=lambda f: f.at)),
        species=species,
        said_groups=tuple((fish.casefold(), ()) for fish in BIG),
    )


def asked(row: str, setting: Setting, strength: str | None = None, **more: Any) -> Proposal:
    """The card of a row, with a product's strength as typed."""
    substance, found = regimen(row)
    product = read_strength(strength, substance)._replace(sure=True) if strength else None
    return propose(substance, found, setting._replace(product=product), **more)


def amount(row: str, setting: Setting, strength: str | None = None, **more: Any) -> str:
    """What is shown: "5 g", or the hold's rule and words."""
    card = asked(row, setting, strength, **more)
    if card.hold is not None:
        return f"{card.hold.rule}: {card.hold.says}"
    return f"{card.dose.add} {card.dose.add_unit}"


def hold(row: str, setting: Setting, strength: str | None = None, **more: Any) -> Hold:
    """The hold of a row that has to be held, whole: with reference and remedy."""
    found = asked(row, setting, strength, **more)
    assert found.dose.add is None
    assert found.hold is not None
    assert found.hold.reference
    assert found.hold.remedy
    return found.hold
