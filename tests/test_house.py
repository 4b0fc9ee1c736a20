"""The house stands: arrows run downwards, no circles, outside packages stay in their room, reads start light."""

from __future__ import annotations

import ast
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

import pytest

HOUSE = Path(__file__).parents[1] / "quarantine"

# From the bottom up. A room imports itself and rooms of lower layers; rooms of one layer do not know each other.
LAYERS: tuple[tuple[str, ...], ...] = (
    ("quarantine", "failures", "facts", "readings", "signs", "templates"),
    ("codec", "quantity", "moments", "luggage"),
    # A setting's check reads an amount ("0.01 g"), so settings stands just above quantity.
    ("settings", "formulary", "water"),
    ("protocol", "inrange"),
    ("evidence", "protocol_schema", "stock", "roster"),
    ("plan", "readiness", "followups", "dosing", "clearance", "records"),
    ("bathing", "shopping", "starting", "emptied", "clocks"),
    ("explaining",),
    ("actions",),
    ("calendars", "reports"),
    ("cli",),
)
RANK = {room: rank for rank, layer in enumerate(LAYERS) for room in layer}

# The record keeps values and knows no science: of the rooms below it, these alone.
RECORDS_MAY = {"quarantine", "failures", "facts", "codec"}

# Arrows against the picture that are meant, each with its reason.
ALLOWED = {
    ("quarantine.actions.exporting", "quarantine.calendars.write"): (
        "writing the file is part of the keeper's transaction (sequence numbers are stored with it), and "
        "calendars.write knows nothing but events and failures, so no circle can close"
    ),
    ("quarantine.records.loading", "quarantine.water.ledger"): (
        "rows become the Water value that the pure rooms take; the type alone is used"
    ),
}

PURE = (
    "water",
    "plan",
    "readiness",
    "followups",
    "emptied",
    "bathing",
    "clocks",
    "explaining",
    "shopping",
    "dosing",
    "clearance",
    "stock",
    "roster",
    "starting",
    "evidence",
    "inrange",
    "luggage",
    "quantity",
    "moments",
)
OUTSIDE_WORLD = {"os", "pathlib", "io", "time", "sqlite3", "shutil", "tempfile", "subprocess", "socket", "random"}
CLOCKS = {"now", "utcnow", "today", "time", "monotonic", "perf_counter"}
FILES = {"open", "read_text", "write_text", "read_bytes", "write_bytes", "input", "print"}

# package -> the one room that may import it
OWNERS = {
    "sqlmodel": "records",
    "sqlalchemy": "records",
    "sqlite3": "records",
    "psycopg": "records",
    "icalendar": "calendars",
    "typer": "cli",
    "rich": "cli",
    "platformdirs": "settings",
}


class Source(NamedTuple):
    """One module: its dotted name, its room, its tree and all that it imports, late imports included."""

    name: str
    room: str
    tree: ast.Module
    imports: frozenset[str]


def room_of(module: str) -> str:
    """The room of a module of ours: the codec is a word of the bottom layer, though it lives with the records."""
    parts = module.split(".")
    if module == "quarantine.records.codec":
        return "codec"
    return parts[1] if len(parts) > 1 else parts[0]


def imports_of(tree: ast.Module, modules: set[str]) -> Iterator[str]:
    """Every import of a tree wherever it stands; `from package import module` is an arrow to the module."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "the house is written with absolute imports"
            assert node.module is not None
            for alias in node.names:
                whole = f"{node.module}.{alias.name}"
                yield whole if whole in modules else node.module


def read_house(folder: Path = HOUSE) -> dict[str, Source]:
    """All modules of the package by dotted name."""
    files = {}
    for path in sorted(folder.rglob("*.py")):
        parts = ("quarantine", *path.relative_to(folder).with_suffix("").parts)
        files[".".join(parts).removesuffix(".__init__")] = path
    made = {}
    for name, path in files.items():
        tree = ast.parse(path.read_text(encoding="utf-8"))
        made[name] = Source(name, room_of(name), tree, frozenset(imports_of(tree, set(files))))
    return made


def broken_arrows(sources: dict[str, Source]) -> list[str]:
    """Arrows that run upwards or sideways."""
    found = []
    for source in sources.values():
        for target in sorted(source.imports):
            if target not in sources or (source.name, target) in ALLOWED:
                continue
            room = room_of(target)
            sideways = room != source.room and RANK[room] >= RANK[source.room]
            too_wise = source.room == "records" and room not in {"records", *RECORDS_MAY}
            if sideways or too_wise:
                found.append(f"{source.name} -> {target}")
    return found


def circle_in(arrows: dict[str, set[str]]) -> list[str]:
    """One circle of modules, or none: whatever is left once modules without arrows are taken away again and again."""
    left = {name: set(targets) & set(arrows) - {name} for name, targets in arrows.items()}
    while ends := [name for name, targets in left.items() if not targets]:
        for name in ends:
            del left[name]
        left = {name: targets - set(ends) for name, targets in left.items()}
    return sorted(left)


@pytest.fixture(scope="module")
def house() -> dict[str, Source]:
    return read_house()


def test_arrows_run_downwards(house: dict[str, Source]) -> None:
    """A module imports only from its own room and from rooms below it, save the arrows that are allowed by name."""
    assert len(house) > 40
    assert broken_arrows(house) == []


def test_every_room_has_its_layer(house: dict[str, Source]) -> None:
    """A new room must be given its layer before it is furnished."""
    assert {source.room for source in house.values()} - set(RANK) == set()


def test_allowed_arrows_are_still_there(house: dict[str, Source]) -> None:
    """An allowed arrow that nobody uses any more is taken off the list."""
    assert [pair for pair in ALLOWED if pair[1] not in house[pair[0]].imports] == []


@pytest.mark.parametrize(
    ("name", "line"),
    [
        ("quarantine.quantity", "from quarantine.plan import plan"),
        ("quarantine.dosing", "def late():\n    from quarantine import clearance"),
        ("quarantine.plan", "from quarantine.records.reads import open_reader"),
        ("quarantine.records.store", "from quarantine import quantity"),
        ("quarantine.actions.work", "import quarantine.cli.out"),
    ],
)
def test_an_upward_arrow_is_seen(house: dict[str, Source], name: str, line: str) -> None:
    """The check of arrows sees one that runs upwards or sideways, at the top of a module and inside a function."""
    tree = ast.parse(line)
    changed = {**house, name: Source(name, room_of(name), tree, frozenset(imports_of(tree, set(house))))}
    assert [arrow.split(" -> ")[0] for arrow in broken_arrows(changed)] == [name]


def test_there_are_no_circles(house: dict[str, Source]) -> None:
    """No module imports itself by way of others, late imports included."""
    assert circle_in({source.name: set(source.imports) for source in house.values()}) == []


def test_a_circle_is_seen() -> None:
    """The check of circles names the modules of a circle and leaves out those that end elsewhere."""
    assert circle_in({"a": {"b"}, "b": {"c"}, "c": {"b", "d"}, "d": set()}) == ["a", "b", "c"]


def impurities(source: Source) -> list[str]:
    """What a pure room must not do: import the outside world or the record, read a clock, touch a file."""
    found = [
        f"imports {target}"
        for target in sorted(source.imports)
        if target.split(".")[0] in OUTSIDE_WORLD or room_of(target) == "records"
    ]
    for node in ast.walk(source.tree):
        if not isinstance(node, ast.Call):
            continue
        called = node.func
        if isinstance(called, ast.Attribute) and called.attr in CLOCKS | FILES:
            found.append(f"line {node.lineno} calls {ast.unparse(called)}")
        if isinstance(called, ast.Name) and called.id in FILES:
            found.append(f"line {node.lineno} calls {called.id}")
    return found


def test_the_science_is_pure(house: dict[str, Source]) -> None:
    """Water, plan, dosing, clearance, evidence and quantity read no clock, touch no file and know no record."""
    rooms = [source for source in house.values() if source.room in PURE]
    assert {source.room for source in rooms} == set(PURE)
    assert {source.name: bad for source in rooms if (bad := impurities(source))} == {}


@pytest.mark.parametrize(
    "line",
    [
        "import sqlite3",
        "from pathlib import Path",
        "def late():\n    import os",
        "from quarantine.records.reads import Row",
        "at = datetime.now(UTC)",
        "day = date.today()",
        "text = open('f').read()",
    ],
)
def test_an_impurity_is_seen(line: str) -> None:
    """The check of purity sees a clock, a file and the record."""
    tree = ast.parse(line)
    assert impurities(Source("quarantine.plan", "plan", tree, frozenset(imports_of(tree, set())))) != []


def test_outside_packages_stay_in_their_room(house: dict[str, Source]) -> None:
    """One room alone knows the database, one the calendar package, one the terminal packages."""
    strangers = [
        f"{source.name} imports {target}"
        for source in house.values()
        for target in sorted(source.imports)
        if OWNERS.get(target.split(".")[0], source.room) != source.room
    ]
    assert strangers == []
    used = {target.split(".")[0] for source in house.values() for target in source.imports}
    assert set(OWNERS) - used == set()


# --- What a read command loads -----------------------------------------------------------------------------

HEAVY = (
    "pydantic",
    "sqlmodel",
    "sqlalchemy",
    "icalendar",
    "rich",
    "importlib.metadata",
    "platformdirs",
    "quarantine.plan",
    "quarantine.protocol",
    "quarantine.records.store",
)

ASK = """
import json, sys
from quarantine.cli.app import run
code = run(sys.argv[1:])
sys.stdout.flush()
print("\\n" + json.dumps({"code": code, "modules": sorted(sys.modules)}))
"""


class Ran(NamedTuple):
    """One command line in a process of its own: what it said and what it had imported by its end."""

    said: str
    modules: set[str]


def run_cold(home: Path, *args: str) -> Ran:
    """Run a command in a fresh interpreter."""
    environment = {k: v for k, v in os.environ.items() if not k.startswith("QUARANTINE_")}
    done = subprocess.run(
        [sys.executable, "-c", ASK, *args],
        env=environment | {"QUARANTINE_HOME": str(home)},
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    said, _, last = done.stdout.rstrip("\n").rpartition("\n")
    answer = json.loads(last)
    assert answer["code"] == 0, done.stderr
    return Ran(said, set(answer["modules"]))


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small record: one marine tank with a batch under a medicated protocol, built on a passed-in clock."""
    from quarantine.actions.batches import start_batch
    from quarantine.actions.desk import Desk
    from quarantine.actions.places import add_keeper, add_site, add_tank
    from quarantine.settings import Home

    folder = tmp_path_factory.mktemp("house")
    values = {"database": "", "keeper": "", "scale_step": "0.01 g", "syringe_step": "0.1 mL", "ring_at": "09:00"}
    where = Home(folder, "test", {name: (value, "test") for name, value in values.items()})
    desk = Desk(where, datetime(2026, 2, 10, 15, 0, tzinfo=UTC), "Robin")
    add_site(desk._replace(keeper=""), "Hall", "Europe/Berlin")
    add_keeper(desk._replace(keeper=""), "Robin")
    for name, role in (("Q2", "quarantine"), ("Reef", "display")):
        measures: dict[str, str | None] = {"length": "60 cm", "width": "30 cm", "filled": "32 cm"}
        add_tank(desk, name, site="Hall", role=role, water="marine", shape="box", measures=measures, label="60 L")
    start_batch(
        desk,
        tank="Q2",
        protocol="marine-praziquantel",
        arrived="2026-02-10 12:00",
        fish=["4 Centropyge bicolor, 6 cm"],
        source="an importer (invented)",
        to_tank="Reef",
        acknowledge=True,
    )
    return folder


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("today",), "Q2"),
        (("today", "--json"), '"tasks"'),
        (("dose", "praziquantel", "--tank", "Q2", "--regimen", "Z01"), "Praziquantel"),
        (("tank", "show", "Q2"), "Q2"),
        (("batch", "list"), "Q2-1"),
        ((), "Next: quarantine today"),
        (("completion", "names", "--", "tank", "show", ""), "Reef"),
        (("--help",), "batch"),
        (("today", "--help"), "--tank"),
        (("--version",), "quarantine"),
    ],
    ids=" ".join,
)
def test_a_read_starts_light(home: Path, args: tuple[str, ...], says: str) -> None:
    """A command that reads loads no planner, no template reader, no ORM, no calendar package, no pydantic, no rich."""
    ran = run_cold(home, *args)
    assert says in ran.said
    assert "quarantine.cli.app" in ran.modules
    assert ran.modules & set(HEAVY) == set()


@pytest.mark.parametrize("args", [("--help",), ("batch", "--help"), ("--version",)], ids=" ".join)
def test_help_opens_no_record(home: Path, args: tuple[str, ...]) -> None:
    """Help and version load nothing of the record and nothing of the science."""
    ran = run_cold(home, *args)
    rooms = {room_of(name) for name in ran.modules if name.split(".")[0] == "quarantine"}
    assert "quarantine" in ran.said
    assert rooms == {"quarantine", "cli", "failures"}
    assert "sqlite3" not in ran.modules


def test_a_plain_write_leaves_the_models_out(home: Path) -> None:
    """The check of light starts sees SQLAlchemy where it belongs; the models are wanted only to make a record."""
    ran = run_cold(home, "keeper", "add", "Noor", "--as", "Robin", "--dry-run")
    assert "sqlalchemy" in ran.modules
    assert ran.modules & {"sqlmodel", "pydantic", "quarantine.records.tables"} == set()


def test_making_a_record_asks_the_models(tmp_path: Path) -> None:
    """The first write compares what the migrations made with what the models describe."""
    assert "sqlmodel" in run_cold(tmp_path / "new", "keeper", "add", "Noor").modules
