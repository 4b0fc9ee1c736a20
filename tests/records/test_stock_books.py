"""The books of the stock balance under random histories of bought, given, taken back and corrected, on both engines."""

from __future__ import annotations

import json
import random
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from quarantine.actions import checking, correcting, noting, places, registering, stocking
from quarantine.actions.desk import Desk
from quarantine.actions.shelf import lots
from quarantine.failures import Failure
from quarantine.records.reads import Reader, open_reader
from quarantine.settings import SETTINGS, Home

NOW = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
BOX: dict[str, str | None] = {"length": "60 cm", "width": "30 cm", "filled": "30 cm"}
JAR: dict[str, Any] = {"substance": "praziquantel", "form": "powder", "strength": "98 %"}
STEPS = 24


def desk(url: str, minutes: int = 0) -> Desk:
    """A desk at the record, so many minutes on."""
    values = {setting.name: (setting.default, "default") for setting in SETTINGS} | {"database": (url, "test")}
    return Desk(Home(Path("unused"), "test", values), NOW + timedelta(minutes=minutes), "Robin")


def furnished(url: str) -> None:
    """One tank, and a jar with two lots of which one expires first."""
    places.add_site(desk(url)._replace(keeper=""), "Hall", "Europe/Berlin")
    places.add_keeper(desk(url)._replace(keeper=""), "Robin")
    places.add_tank(desk(url), "M1", site="Hall", role="quarantine", water="marine", shape="box", measures=BOX)
    stocking.add(desk(url), "Jar", "1 g", lot="A", expires="2026-05", **JAR)
    stocking.add(desk(url), "Jar", "2.5 g", lot="B")


def one_deed(url: str, chance: random.Random, minutes: int, seals: list[str]) -> None:
    """Something a keeper may do next; what the books refuse writes nothing."""
    there = desk(url, minutes)
    amount = f"{chance.randint(1, 90) / 100} g"
    lot = chance.choice("AB")
    deed = chance.choice(("dose", "dose", "dose", "add", "use", "count", "undo", "correct", "correct"))
    if deed == "dose":
        noting.dose_event(there, "M1", "Z01", amount, really=True)
    elif deed == "add":
        stocking.add(there, "Jar", amount, lot=lot)
    elif deed == "use":
        stocking.use(there, "Jar", amount, lot=lot, because="spilled")
    elif deed == "count":
        stocking.count(there, "Jar", amount, lot=lot, because="weighed")
    elif deed == "undo":
        correcting.undo(there, "not given", yes=True)
    elif seals:
        word = amount.replace(" ", "")
        correcting.correct(there, chance.choice(seals), [f"gave={word}"], because="misread", yes=True)


def balance(reader: Reader) -> None:
    """Nothing below zero; opening + in - out = on hand; what stands of the doses is what was drawn for them."""
    for sums in registering.register(reader).sums:
        assert sums.opening + sums.came_in - sums.went_out == sums.on_hand == sums.lot.left >= 0
    out: dict[str, Decimal] = {}
    for row in reader.rows("movements", lot=None):
        if row["fact"] is not None:
            out[row["fact"]] = out.get(row["fact"], Decimal(0)) - Decimal(row["amount"])
    stands = {row["id"]: json.loads(row["data"]) for row in reader.rows("facts_of_kind", kind="dose", system=None)}
    for fact, amount in out.items():
        assert amount == sum(Decimal(one["amount"]) for one in stands.get(fact, {"drawn": []})["drawn"])
    for data in stands.values():
        drawn = sum(Decimal(one["amount"]) for one in data["drawn"])
        assert drawn + Decimal(data.get("short", 0)) == Decimal(data["given"])


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_F75_F78_the_books_balance_whatever_happens(url: str, seed: int) -> None:
    """After each deed of a random history every gram has its line, and the record is whole at the end."""
    furnished(url)
    chance, done = random.Random(seed), 0
    for minutes in range(1, STEPS + 1):
        with open_reader(url) as reader:
            entries = [json.loads(row["payload"]) | {"id": row["id"]} for row in reader.rows("journal_last", most=1000)]
        seals = [entry["id"] for entry in entries if entry["kind"] in ("dose", "corrected")]
        try:
            one_deed(url, chance, minutes, seals)
            done += 1
        except Failure:
            pass  # too much to use, or nothing to take back: said and not written
        with open_reader(url) as reader:
            balance(reader)
    assert done >= STEPS / 2
    with open_reader(url) as reader:
        assert checking.check(reader, NOW + timedelta(days=1))
        assert len(lots(reader)) == 2
