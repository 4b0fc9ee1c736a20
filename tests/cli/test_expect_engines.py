"""An order on both engines: made ready, taken back, re-dated, arrived, called off; the record whole after each."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from quarantine.actions import batches, checking, correcting, expecting, noting, places, work
from quarantine.actions.arriving import Bag
from quarantine.actions.desk import Desk
from quarantine.failures import Refused
from quarantine.records.reads import open_reader
from quarantine.settings import SETTINGS, Home

NOW = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)
BOX: dict[str, str | None] = {"length": "60 cm", "width": "30 cm", "filled": "30 cm"}
BAG = Bag({"temperature": (Decimal(22), Decimal(1))}, transit_hours=Decimal(30), box="one bag")


def desk(url: str, days: int = 0) -> Desk:
    """A desk at the record, so many days after 1 March."""
    values = {setting.name: (setting.default, "default") for setting in SETTINGS} | {"database": (url, "test")}
    return Desk(Home(Path("unused"), "test", values), NOW + timedelta(days=days), "Robin")


def whole(url: str, days: int = 0) -> None:
    """Raises Refused unless the state rebuilt from the journal is the state stored."""
    with open_reader(url) as reader:
        checking.check(reader, desk(url, days).now)


def expect(url: str, name: str, first: str) -> dict[str, Any]:
    """An order for Q1."""
    return expecting.expect(
        desk(url),
        name,
        first=first,
        tank="Q1",
        protocol="fresh-watch",
        fish=["12 Melanotaenia praecox"],
        source="a breeder",
        to_tank="Show",
    )


def states(url: str, batch: str) -> dict[str, str]:
    """The states of the readiness tasks of a batch, by the end of the step."""
    with open_reader(url) as reader:
        row = next(b for b in reader.rows("batches") if b["name"] == batch)
        tasks = reader.rows("tasks_of_batch", batch=row["id"])
    return {t["step"].removeprefix("ready."): t["state"] for t in tasks if t["step"].startswith("ready.")}


def test_an_order_lives_on_both_engines(url: str) -> None:
    """Each step of an order's life leaves a whole record, on SQLite and on PostgreSQL."""
    places.add_site(desk(url)._replace(keeper=""), "Hall", "Europe/Berlin")
    places.add_keeper(desk(url)._replace(keeper=""), "Robin")
    for name, role in (("Q1", "quarantine"), ("Show", "display")):
        places.add_tank(desk(url), name, site="Hall", role=role, water="fresh", shape="box", measures=BOX)
    code = next(t["code"] for t in expect(url, "Rainbows", "2026-03-10")["tasks"] if "Lid" in t["title"])
    steps: list[tuple[int, Callable[[Desk], object]]] = [
        (7, lambda d: work.done(d, [code])),
        (7, lambda d: correcting.undo(d, "not yet")),
        (7, lambda d: work.done(d, [code])),
        (7, lambda d: noting.reading(d, "Q1", ["temp=25.0C"])),
        (8, lambda d: noting.reading(d, "Q1", ["temp=25.0C", "tan=0.1mg/L", "nitrite_no2=0.1mg/L", "ph=7.4"])),
        (8, lambda d: expecting.expect(d, "Rainbows", first="2026-03-11")),
        (10, lambda d: noting.reading(d, "Q1", ["temp=25.0C"])),
    ]
    for days, step in steps:
        step(desk(url, days))
        whole(url, days)
    assert states(url, "Rainbows") | {"clean": ""} == {
        "clean": "",
        "filter": "done",
        "heater": "done",
        "kit": "planned",
        "lid": "done",
        "stock": "planned",
        "water": "planned",
    }
    with pytest.raises(expecting.NotReady) as refusal:
        expecting.arrived(desk(url, 10), "Rainbows", bag=BAG)
    assert len(refusal.value.lines) == 4
    whole(url, 10)
    made = expecting.arrived(desk(url, 10), "Rainbows", bag=BAG, open_items="only a small thing")
    assert made["acclimation"]["advised"] == "release"
    assert states(url, "Rainbows")["kit"] == "skipped"
    noting.look(desk(url, 11), "Q1 12 3", no_signs=True)
    whole(url, 11)


def test_a_called_off_order_on_both_engines(url: str) -> None:
    """Called off, nothing of it is open, and its tank is free for other fish."""
    places.add_site(desk(url)._replace(keeper=""), "Hall", "Europe/Berlin")
    places.add_keeper(desk(url)._replace(keeper=""), "Robin")
    for name, role in (("Q1", "quarantine"), ("Show", "display")):
        places.add_tank(desk(url), name, site="Hall", role=role, water="fresh", shape="box", measures=BOX)
    expect(url, "Tetras", "2026-03-10")
    with pytest.raises(Refused, match="Tetras is expected in Q1"):
        _start(url)
    expecting.call_off(desk(url), "Tetras", "sold out")
    whole(url)
    assert set(states(url, "Tetras").values()) == {"withdrawn"}
    assert _start(url)["alive"] == 2
    whole(url)


def _start(url: str) -> dict[str, Any]:
    return batches.start_batch(
        desk(url),
        tank="Q1",
        protocol="fresh-watch",
        arrived="09:30",
        fish=["2 Corydoras panda"],
        source="a shop",
        to_tank="Show",
    )
