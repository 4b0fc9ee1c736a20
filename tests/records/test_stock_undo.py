"""The books of the stock under random histories in which everything is corrected and taken back, on both engines (F75).

What stands is known beside the record by counting anew: each deed that went through is kept, and taken away again when
it is undone. The books must say the same.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any, NamedTuple
from uuid import uuid4

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from quarantine.actions import checking, correcting, noting, places, registering, stocking
from quarantine.actions.desk import Desk
from quarantine.actions.shelf import balances, lots
from quarantine.failures import Failure
from quarantine.records.reads import Reader, open_reader
from quarantine.settings import SETTINGS, Home

NOW = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
BOX: dict[str, str | None] = {"length": "60 cm", "width": "30 cm", "filled": "30 cm"}
JAR: dict[str, Any] = {"substance": "praziquantel", "form": "powder", "strength": "98 %"}
DEEDS = ("dose", "dose", "add", "use", "count", "dispose", "undo", "undo", "correct", "correct")


class Deed(NamedTuple):
    """What a keeper tries: which, with how many hundredths of a gram, of which lot or earlier entry."""

    kind: str
    hundredths: int
    which: int


DEED = st.builds(Deed, st.sampled_from(DEEDS), st.integers(1, 90), st.integers(0, 9))


def fresh(url: str) -> str:
    """A record of its own for one history, beside the one of the fixture."""
    if url.startswith("sqlite"):
        return url.replace("record.db", f"{uuid4().hex}.db")
    import psycopg

    name = f"t_{uuid4().hex}"
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(f"create database {name}")
        here = connection.info.dbname
    return url.replace(here, name)


def desk(url: str, minutes: int = 0) -> Desk:
    """A desk at the record, so many minutes on."""
    values = {setting.name: (setting.default, "default") for setting in SETTINGS} | {"database": (url, "test")}
    return Desk(Home(Path("unused"), "test", values), NOW + timedelta(minutes=minutes), "Robin")


def furnished(url: str) -> None:
    """One tank, and a jar with two lots."""
    places.add_site(desk(url)._replace(keeper=""), "Hall", "Europe/Berlin")
    places.add_keeper(desk(url)._replace(keeper=""), "Robin")
    places.add_tank(desk(url), "M1", site="Hall", role="quarantine", water="marine", shape="box", measures=BOX)
    stocking.add(desk(url), "Jar", "1 g", lot="A", expires="2026-05", **JAR)
    stocking.add(desk(url, 1), "Jar", "2.5 g", lot="B")


def entries(url: str) -> list[dict[str, Any]]:
    """The journal, newest first."""
    with open_reader(url) as reader:
        return [json.loads(row["payload"]) | {"id": row["id"]} for row in reader.rows("journal_last", most=500)]


def one_deed(url: str, deed: Deed, minutes: int) -> None:
    """Something a keeper does next. Raises Failure for what the books refuse."""
    there, lot, amount = desk(url, minutes), "AB"[deed.which % 2], f"{Decimal(deed.hundredths) / 100} g"
    if deed.kind == "dose":
        noting.dose_event(there, "M1", "Z01", amount, really=True)
    elif deed.kind == "add":
        stocking.add(there, "Jar", amount, lot=lot)
    elif deed.kind == "use":
        stocking.use(there, "Jar", amount, lot=lot, because="spilled")
    elif deed.kind == "count":
        stocking.count(there, "Jar", amount, lot=lot, because="weighed")
    elif deed.kind == "dispose":
        stocking.dispose(there, "Jar", lot=lot, how="burnt")
    elif deed.kind == "undo":
        correcting.undo(there, "not so", yes=True)
    else:
        seals = [entry["id"] for entry in entries(url) if entry["kind"] in ("dose", "corrected", "taken back")]
        seal = seals[deed.which % len(seals)] if seals else "0" * 64
        correcting.correct(there, seal, [f"gave={amount}"], because="misread", yes=True, really=True)


def balance(reader: Reader) -> None:
    """Nothing below zero; what each dose that stands says it drew is what its movements took; no other has
    anything; what was taken back by word is nothing in all."""
    for sums in registering.register(reader).sums:
        assert sums.opening + sums.came_in - sums.went_out == sums.on_hand == sums.lot.left >= 0
    moved = reader.rows("movements", lot=None)
    out: dict[str, Decimal] = {}
    for row in moved:
        if row["fact"] is not None:
            out[row["fact"]] = out.get(row["fact"], Decimal(0)) - Decimal(row["amount"])
    stands = {row["id"]: json.loads(row["data"]) for row in reader.rows("facts_of_kind", kind="dose", system=None)}
    assert {fact: amount for fact, amount in out.items() if amount} == {
        fact: sum(Decimal(one["amount"]) for one in data["drawn"]) for fact, data in stands.items() if data["drawn"]
    }
    for data in stands.values():
        drawn = sum(Decimal(one["amount"]) for one in data["drawn"])
        assert drawn + Decimal(data.get("short", 0)) == Decimal(data["given"])
    by_id = {row["id"]: Decimal(row["amount"]) for row in moved}
    for row in moved:
        if (of := json.loads(row["data"]).get("of")) is not None:
            assert by_id[of] + Decimal(row["amount"]) == 0


def least(reader: Reader) -> Decimal:
    """The least that the books have of any lot at any time."""
    found = [balances(reader, lot, NOW) for lot in lots(reader)]
    return min(min(one.values()) for one in found)


def test_F75_the_books_balance_whatever_is_corrected_and_taken_back(url: str) -> None:
    """After each deed of a random history every gram has its line, and no word makes any time have less than nothing;
    what really was given may (rule C7: a dose that is corrected upwards draws on what came later)."""

    @settings(max_examples=3, suppress_health_check=list(HealthCheck), deadline=None)
    @given(st.lists(DEED, min_size=5, max_size=10))
    def holds(history: list[Deed]) -> None:
        record = fresh(url)
        furnished(record)
        before = Decimal(0)
        for minutes, deed in enumerate(history, 2):
            try:
                one_deed(record, deed, minutes)
            except Failure:
                continue  # too much to use, or nothing to take back: said and not written
            with open_reader(record) as reader:
                balance(reader)
                now = least(reader)
            assert now >= before or deed.kind in ("dose", "correct", "undo")
            before = min(now, Decimal(0))
        with open_reader(record) as reader:
            assert checking.check(reader, NOW + timedelta(days=1))["faults"] == []

    holds()


def test_F75_undo_after_undo_ends_where_it_began(url: str) -> None:
    """Doses, corrections, purchases, uses, a count and a disposal: each undone in turn, until the jars are empty and
    nothing is in the water."""
    furnished(url)
    deeds = [
        Deed("dose", 20, 0), Deed("correct", 90, 0), Deed("correct", 30, 0), Deed("use", 10, 1), Deed("add", 50, 0),
        Deed("count", 70, 1), Deed("dose", 80, 0), Deed("dispose", 1, 1),
    ]  # fmt: skip
    for minutes, deed in enumerate(deeds, 2):
        one_deed(url, deed, minutes)
    undone = len(deeds) + 2  # with the two purchases at first
    for minutes in range(undone):
        with open_reader(url) as reader:
            balance(reader)
            assert least(reader) >= 0
        correcting.undo(desk(url, 20 + minutes), "all of it", yes=True)
    with pytest.raises(Failure, match="not of something that happened"):  # the tank
        correcting.undo(desk(url, 20 + undone), "all of it", yes=True)
    with open_reader(url) as reader:
        assert [lot.left for lot in lots(reader)] == [0, 0]
    with open_reader(url) as reader:
        assert reader.rows("facts_of_kind", kind="dose", system=None) == []
        assert checking.check(reader, NOW + timedelta(days=1))["faults"] == []


def test_F75_two_keepers_who_correct_one_dose_at_once_draw_once(url: str) -> None:
    """The second finds that nothing of the entry stands; the lot has what the first drew."""
    furnished(url)
    noting.dose_event(desk(url, 2), "M1", "Z01", "0.2 g", really=True)
    seal = entries(url)[0]["id"]
    correcting.correct(desk(url, 3), seal, ["gave=0.3g"], because="misread", really=True)
    with pytest.raises(Failure, match="Nothing of entry"):
        correcting.correct(desk(url, 3), seal, ["gave=0.4g"], because="misread", really=True)
    with open_reader(url) as reader:
        assert [lot.left for lot in lots(reader)] == [Decimal("0.7"), Decimal("2.5")]
