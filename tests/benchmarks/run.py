"""What people feel, measured: `.venv/bin/python tests/benchmarks/run.py` (3 minutes; exit 1 when a bar is missed).

Every bar but eight is a ratio of two things measured in one run, in turns, on one machine; each figure is the median.
Start-up is timed from outside, in processes of their own. The large record is built as a keeper builds it, twelve
open batches through the actions on a passed-in clock; closed batches, their tasks and looks are then copied straight
into the SQLite file, so its journal is not whole and it is good for timing alone. All of it is invented.
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from functools import partial
from itertools import count
from pathlib import Path
from statistics import median
from time import perf_counter
from typing import Any, NamedTuple
from uuid import uuid4
from zoneinfo import ZoneInfo

from quarantine.actions.batches import start_batch
from quarantine.actions.cards import propose_task, setting_for
from quarantine.actions.desk import Desk
from quarantine.actions.noting import look, reading
from quarantine.actions.places import add_keeper, add_site, add_tank
from quarantine.actions.today import list_day
from quarantine.actions.work import done
from quarantine.calendars.write import Event, write_file
from quarantine.facts import Fact
from quarantine.plan import STORED_FIELDS, Course, plan, reconcile
from quarantine.protocol import load
from quarantine.records.codec import text_of_instant
from quarantine.records.reads import open_reader
from quarantine.settings import Home
from quarantine.water.ledger import Water, level_of

ZONE = "Europe/Berlin"
KEEPER = "Robin"
FRESH = tuple(f"F{n}" for n in range(1, 7))
MARINE = tuple(f"M{n}" for n in range(1, 7))
READ = ["temp=25.5C", "ph=7.8", "tan=0.1mg/L", "nitrite_no2=0.1mg/L"]
MARINE_READ = [*READ, "oxygen=6.5mg/L", "salinity=34g/L"]

ALL_BATCHES, ALL_TASKS, ALL_LOOKS = 500, 60_000, 100_000
ROWS_SHOWN = 60
STARTS = 11
PLANNED = (1_000, 10_000)
SYSTEM_TANKS, SYSTEM_BATCHES = 40, 100
EVENTS = 10_000
MANY_EVENTS = 100_000

COMMAND = Path(sys.executable).with_name("quarantine")
TYPER = ("-c", "import typer")
TYPER_AND_RICH = ("-c", "import typer, rich.console, rich.table")


class Figure(NamedTuple):
    """One line of the table. ``least`` turns the bar round: the figure must be at least so much."""

    what: str
    figure: float
    bar: float
    note: str
    least: bool = False

    @property
    def ok(self) -> bool:
        return self.figure >= self.bar if self.least else self.figure <= self.bar

    def line(self) -> str:
        shown = f"{self.figure:,.0f}" if self.least else f"{self.figure:.2f}"
        bar = f"{'>=' if self.least else '<='} {self.bar:,g}"
        return f"{self.what:<44} {shown:>9}  {bar:>9}  {'ok' if self.ok else 'OVER':<5} {self.note}"


def in_turns(ours: Callable[[], Any], theirs: Callable[[], Any], times: int) -> tuple[float, float]:
    """Median seconds of both, run in turns after one of each that is not counted."""
    ours()
    theirs()
    mine: list[float] = []
    other: list[float] = []
    for _ in range(times):
        for act, seconds in ((ours, mine), (theirs, other)):
            begin = perf_counter()
            act()
            seconds.append(perf_counter() - begin)
    return median(mine), median(other)


def compared(what: str, bar: float, seconds: tuple[float, float]) -> Figure:
    """The ratio of two medians."""
    ours, theirs = seconds
    return Figure(what, ours / theirs, bar, f"{1000 * ours:,.0f} ms against {1000 * theirs:,.0f} ms")


def python(*args: str, home: Path) -> str:
    """Run a fresh interpreter; what it printed. Raises CalledProcessError when it fails.

    Both sides keep their compiled bytecode, as an installed program does, in a folder of this run.
    """
    environment = {k: v for k, v in os.environ.items() if not k.startswith("QUARANTINE_")}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    environment |= {
        "QUARANTINE_HOME": str(home),
        "QUARANTINE_KEEPER": KEEPER,
        "PYTHONPYCACHEPREFIX": str(home.parent / "bytecode"),
    }
    return subprocess.run(
        [sys.executable, *args], env=environment, capture_output=True, text=True, check=True, timeout=60
    ).stdout


# --- The record --------------------------------------------------------------------------------------------


def at(day: date, hour: int) -> datetime:
    """An hour of a day at the site."""
    return datetime(day.year, day.month, day.day, hour, tzinfo=ZoneInfo(ZONE)).astimezone(UTC)


def build(folder: Path) -> Home:
    """Twelve open batches, all work done but today's: six in fresh water on day 7, six under medicine on day 3."""
    values = {"database": "", "keeper": "", "scale_step": "0.01 g", "syringe_step": "0.1 mL", "ring_at": "09:00"}
    home = Home(folder, "benchmark", {name: (value, "benchmark") for name, value in values.items()})
    today = datetime.now(ZoneInfo(ZONE)).date()
    first = today - timedelta(days=7)
    desk = Desk(home, at(first, 8), KEEPER)
    add_site(desk._replace(keeper=""), "Hall", ZONE)
    add_keeper(desk._replace(keeper=""), KEEPER)
    box: dict[str, str | None] = {"length": "60 cm", "width": "30 cm", "filled": "32 cm"}
    for names, role, water in (
        (FRESH, "quarantine", "fresh"),
        (MARINE, "quarantine", "marine"),
        (("Pool",), "display", "fresh"),
        (("Reef",), "display", "marine"),
    ):
        for name in names:
            add_tank(desk, name, site="Hall", role=role, water=water, shape="box", measures=box, label=None)
    for day in (first + timedelta(days=n) for n in range(7)):
        if day == first:
            arrive(desk._replace(now=at(day, 11)), FRESH, "fresh-watch", "Pool", day)
        if day == today - timedelta(days=3):
            arrive(desk._replace(now=at(day, 11)), MARINE, "marine-praziquantel", "Reef", day)
        day_of_work(desk._replace(now=at(day, 18)), day, first, today - timedelta(days=3))
    return home


def arrive(desk: Desk, tanks: tuple[str, ...], protocol: str, destination: str, day: date) -> None:
    """Twelve fish in each tank."""
    for tank in tanks:
        start_batch(
            desk,
            tank=tank,
            protocol=protocol,
            arrived=f"{day} 10:00",
            fish=["12 Melanotaenia praecox, 3 cm"] if tank in FRESH else ["12 Centropyge bicolor, 6 cm"],
            source="invented",
            to_tank=destination,
            acknowledge=True,
            yes=True,
        )


def day_of_work(desk: Desk, day: date, first: date, second: date) -> None:
    """Everything that is due on a day: looks, readings, chores."""
    words = ["temp=25.5C", "ph=7.8", "tan=0.1mg/L", "nitrite_no2=0.1mg/L"]
    for tanks, arrived, words in ((FRESH, first, READ), (MARINE, second, MARINE_READ)):
        if day < arrived:
            continue
        appetite = "" if day == arrived else " 3"
        look(desk, ", ".join(f"{tank} 12{appetite}" for tank in tanks), no_signs=True)
        for tank in tanks:
            reading(desk, tank, words)
    with open_reader(desk.home.database) as rows:
        left = [item.row for item in list_day(rows, desk.home, desk.now).tasks if item.row["day"]]
    for row in left:
        done(desk, [row["code"]], as_shown=row["kind"] in ("dose", "change"))


def enlarge(path: Path) -> None:
    """Closed batches, done tasks and looks, copied from the open ones until the record has its full size."""
    with sqlite3.connect(path) as connection:
        connection.row_factory = sqlite3.Row
        batches = [dict(row) for row in connection.execute("select * from batch")]
        tasks = [dict(row) for row in connection.execute("select * from task")]
        looks = [dict(row) for row in connection.execute("select * from fact where kind = 'look'")]
        closed = list(closed_batches(batches, ALL_BATCHES - len(batches)))
        insert(connection, "batch", closed)
        insert(connection, "task", closed_tasks(closed, tasks, ALL_TASKS - len(tasks)))
        insert(connection, "fact", closed_looks(closed, looks[0], ALL_LOOKS - len(looks)))
    connection.close()


def insert(connection: sqlite3.Connection, table: str, rows: Any) -> None:
    """Insert rows that are dicts of every column."""
    rows = list(rows)
    columns = list(rows[0])
    places = ", ".join(f":{name}" for name in columns)
    connection.executemany(f"insert into {table} ({', '.join(columns)}) values ({places})", rows)


def closed_batches(batches: list[dict[str, Any]], wanted: int) -> Iterator[dict[str, Any]]:
    """Batches released over the years before, in the same tanks one after the other."""
    for n in range(wanted):
        like = batches[n % len(batches)]
        arrived = datetime.fromisoformat(like["arrived_at"]) - timedelta(days=35 * (1 + n // len(batches)))
        yield like | {
            "id": uuid4().hex,
            "name": f"{like['name']} before {n}",
            "arrived_at": text_of_instant(arrived),
            "state": "released",
            "closed_at": text_of_instant(arrived + timedelta(days=31)),
        }


def closed_tasks(closed: list[dict[str, Any]], tasks: list[dict[str, Any]], wanted: int) -> Iterator[dict[str, Any]]:
    """Tasks that were done, spread evenly over the closed batches."""
    numbers = count()
    dated = [task for task in tasks if task["day"]]
    for n in range(wanted):
        batch = closed[n % len(closed)]
        like = dated[n % len(dated)]
        due = datetime.fromisoformat(batch["arrived_at"]) + timedelta(hours=6 * (n // len(closed)))
        yield like | {
            "id": uuid4().hex,
            "key": f"closed:{next(numbers)}",
            "code": f"closed {n}",
            "batch": batch["id"],
            "system": batch["system"],
            "tank": batch["tank"],
            "day": due.date().isoformat(),
            "due_from": text_of_instant(due),
            "due_until": text_of_instant(due + timedelta(hours=12)),
            "state": "done",
        }


def closed_looks(closed: list[dict[str, Any]], like: dict[str, Any], wanted: int) -> Iterator[dict[str, Any]]:
    """Looks, spread evenly over the closed batches and their days."""
    for n in range(wanted):
        batch = closed[n % len(closed)]
        moment = text_of_instant(datetime.fromisoformat(batch["arrived_at"]) + timedelta(hours=3 * (n // len(closed))))
        yield like | {
            "id": uuid4().hex,
            "batch": batch["id"],
            "system": batch["system"],
            "tank": batch["tank"],
            "happened_at": moment,
            "entered_at": moment,
        }


def widen(path: Path) -> None:
    """The open batches again until there are 500 of them, each in a tank of its own size with its own open tasks."""
    with sqlite3.connect(path) as connection:
        connection.row_factory = sqlite3.Row
        batches = [dict(row) for row in connection.execute("select * from batch where state = 'open'")]
        for n in range(ALL_BATCHES - len(batches)):
            batch = batches[n % len(batches)]
            new = {"batch": uuid4().hex, "tank": uuid4().hex, "system": uuid4().hex}
            for table, where in (("system", "id = :system"), ("tank", "id = :tank"), ("volume", "tank = :tank")):
                found = connection.execute(f"select * from {table} where {where}", batch).fetchall()
                insert(connection, table, [copied(dict(row), table, new, n) for row in found])
            insert(connection, "batch", [copied(batch, "batch", new, n)])
            tasks = connection.execute("select * from task where batch = :id and state = 'planned'", batch).fetchall()
            insert(connection, "task", [copied(dict(row), "task", new, n) for row in tasks])
    connection.close()


def copied(row: dict[str, Any], table: str, new: dict[str, str], n: int) -> dict[str, Any]:
    """A row for another batch: new ids, a name, key or code of its own, and its own litres of water."""
    own = {"id": new.get(table, uuid4().hex)} | {name: new[name] for name in ("batch", "tank", "system") if name in row}
    own |= {name: f"{n} {row[name]}" for name in ("name", "key", "code") if name in row}
    return row | own | ({"litres": f"{50 + n / 10:.1f}"} if "litres" in row else {})


# --- Start-up ----------------------------------------------------------------------------------------------


def startup(home: Path) -> Iterator[Figure]:
    """Help and version against nothing but the package they are built on."""
    for option in ("--help", "--version"):
        ours = partial(python, str(COMMAND), option, home=home)
        yield compared(
            f"quarantine {option} / import typer", 1.5, in_turns(ours, partial(python, *TYPER, home=home), STARTS)
        )


def on_the_record(home: Path) -> Iterator[Figure]:
    """A cold list of today and a cold tick, on the large record."""
    tasks = json.loads(python(str(COMMAND), "today", "--json", home=home))["tasks"]
    if len(tasks) != ROWS_SHOWN or sum(1 for task in tasks if task["dose"]) != len(MARINE):
        raise SystemExit(f"The record shows {len(tasks)} rows, {ROWS_SHOWN} were meant: the benchmark is out of date.")
    yield compared(
        f"cold today, {ROWS_SHOWN} rows / import typer, rich",
        2,
        in_turns(lambda: python(str(COMMAND), "today", home=home), lambda: python(*TYPER_AND_RICH, home=home), STARTS),
    )
    feeds = iter([task["code"] for task in tasks if task["kind"] == "feed"])
    times = min(STARTS, len(FRESH + MARINE) - 1)
    yield compared(
        "cold done / import typer",
        8,
        in_turns(
            lambda: python(str(COMMAND), "done", next(feeds), home=home), lambda: python(*TYPER, home=home), times
        ),
    )


def shopping(home: Path, record: Path) -> Figure:
    """What the open work of 500 batches takes, against one jar, beyond what a start costs."""
    home.mkdir()
    shutil.copy(record, home / "record.db")
    widen(home / "record.db")
    jar = ("stock", "add", "Jar", "50 g", "--substance", "praziquantel", "--form", "powder", "--strength", "98 %")
    python(str(COMMAND), *jar, home=home)
    made = json.loads(python(str(COMMAND), "shopping", "--json", home=home))["items"]
    if not any(item["substance"] == "praziquantel" and item["short"] for item in made):
        raise SystemExit("Nothing is short of the jar: the benchmark is out of date.")
    ours, start = in_turns(
        lambda: python(str(COMMAND), "shopping", home=home),
        lambda: python(str(COMMAND), "--version", home=home),
        STARTS,
    )
    note = f"{ours * 1000:,.0f} ms, --version {start * 1000:,.0f} ms"
    return Figure(f"shopping over {ALL_BATCHES} open batches beyond start, ms", (ours - start) * 1000, 200, note)


class Typist:
    """Standard input and output of a round: answers each prompt, and times how long each answer was waited for."""

    encoding = "utf-8"

    def __init__(self, tanks: int) -> None:
        self.said: list[str] = []
        self.waited: list[float] = []
        self.tanks = tanks
        self._asked = 0.0

    def isatty(self) -> bool:
        return False

    def write(self, text: str) -> int:
        self.said.append(text)
        return len(text)

    def flush(self) -> None:
        """Nothing is held back."""

    def readline(self) -> str:
        if self._asked:
            self.waited.append(perf_counter() - self._asked)
        shown = "".join(self.said)
        self.said.clear()
        answer = "\n"
        if "Write it?" in shown:
            self.tanks -= 1
            answer = "y\n"
        elif "== " in shown:
            answer = "q\n" if self.tanks == 0 else "x\n" if "Show" in shown else "6 3 n temp=25.5C ph=8\n"
        self._asked = perf_counter()
        return answer


def round_steps(home: Path) -> Figure:
    """The slowest answer of a round of eight tanks on the large record: from a typed line to the next question."""
    from quarantine.cli.app import run

    typist = Typist(tanks=8)
    kept = sys.stdin, sys.stdout
    sys.stdin, sys.stdout = typist, typist  # type: ignore[assignment]
    try:
        code = run(["--home", str(home), "--as", KEEPER, "round"])
    finally:
        sys.stdin, sys.stdout = kept
    if code or len(typist.waited) < 20:
        raise SystemExit(
            f"The round ended with {code} after {len(typist.waited)} answers: the benchmark is out of date."
        )
    note = f"median {median(typist.waited) * 1000:.0f} ms of {len(typist.waited)} answers"
    return Figure("slowest answer of a round, ms", max(typist.waited) * 1000, 100, note)


# --- Planning ----------------------------------------------------------------------------------------------


def courses(number: int) -> Iterator[Course]:
    """Batches that arrived over the years, each in water of its own, half of them under medicine."""
    protocols = load("fresh-watch"), load("marine-praziquantel")
    for n in range(number):
        arrived = datetime(2024, 1, 1, 10, tzinfo=UTC) + timedelta(minutes=10 * n * 10_000 // number)
        arrival = Fact(f"a{n}", "arrival", arrived, arrived, KEEPER, f"S{n}", f"T{n}", f"B{n}", None, {"count": 12})
        yield Course(f"B{n}", f"T{n}", f"S{n}", ZONE, protocols[n % 2], arrival)


def planned(made: list[Course]) -> int:
    """How many tasks the plans of all these waters hold."""
    return sum(len(plan([course], [course.arrival], course.arrival.at).tasks) for course in made)


def planning() -> Iterator[Figure]:
    """Tasks a second, and whether ten times the batches take ten times as long."""
    seconds = []
    rates = []
    for number in PLANNED:
        made = list(courses(number))
        planned(made[:100])
        begin = perf_counter()
        tasks = planned(made)
        seconds.append(perf_counter() - begin)
        rates.append(tasks / seconds[-1])
    small, large = PLANNED
    yield Figure("tasks planned a second", min(rates), 20_000, f"{small:,} and {large:,} batches", least=True)
    yield Figure(
        f"time a batch, {large:,} / {small:,} batches",
        (seconds[1] / large) / (seconds[0] / small),
        1.5,
        f"{seconds[1]:,.1f} s against {seconds[0]:,.1f} s",
    )


def stay(course: Course, days: int) -> list[Fact]:
    """A stay that is lived well from arrival on: looks, readings, doses, changes and chores, each on its day."""
    facts = [course.arrival]
    ids = count()

    def tell(kind: str, at: datetime, data: dict[str, Any], *, own: bool = True) -> None:
        batch = course.batch if own else None
        facts.append(
            Fact(f"{course.batch}-{next(ids):05}", kind, at, at, KEEPER, course.system, course.tank, batch, None, data)
        )

    for day in range(days):
        at = course.arrival.at + timedelta(days=day, hours=2)
        tell("look", at, {"seen": 12, "no_signs": True, "appetite": 3, "offered": True})
        for name, value in MEASURED.items():
            tell("reading", at, {"parameter": name, "value": value, "step": "0.1", "water": "marine"}, own=False)
        at += timedelta(hours=2)
        for task in plan([course], facts, at, BOX).tasks:
            if task.outcome is not None or task.due_from is None or task.due_from > at:
                continue
            if task.kind == "dose":
                dose = {"substance": "praziquantel", "route": "prolonged", "target_mg_per_l": "2", "mass_mg": "400"}
                tell("dose", at, {**dose, "key": task.key})
            elif task.kind in ("change", "chore"):
                if task.kind == "change":
                    tell("change", at, {"out_litres": "40", "in_litres": "40"}, own=False)
                tell("done", at, {"key": task.key})
    return facts


MEASURED = {"temperature": "25.5", "ph": "7.8", "tan": "0.1", "nitrite": "0.1", "salinity": "34", "oxygen": "6.5"}
BOX = Water(200.0, 2.0)


def planning_again() -> Figure:
    """What every keeper waits for after every entry: the plan of a stay of four weeks made again after one more fact,
    and compared with what is stored."""
    course = next(one for one in courses(2) if one.protocol.medicated)
    facts = stay(course, 28)
    as_of = facts[-1].at + timedelta(hours=1)
    tasks = plan([course], facts, as_of, BOX).tasks
    rows = [{"id": t.key, "key": t.key, **{name: getattr(t, name) for name in STORED_FIELDS}} for t in tasks]
    look_ = {"seen": 12, "no_signs": True, "appetite": 2, "offered": True}
    more = [*facts, Fact("more", "look", as_of, as_of, KEEPER, course.system, course.tank, course.batch, None, look_)]
    seconds = []
    for _ in range(31):
        begin = perf_counter()
        made = plan([course], more, as_of, BOX)
        reconcile(rows, made.tasks, made.stops)
        seconds.append(perf_counter() - begin)
    note = f"{len(tasks)} tasks, {len(facts)} facts"
    return Figure("planning again after one fact, ms", median(seconds[1:]) * 1000, 5, note)


def planning_a_system() -> Figure:
    """A hall whose tanks share one water: the plan of all its batches, ten days after they came."""
    arrived = datetime(2026, 1, 5, 10, tzinfo=UTC)
    protocol = load("fresh-watch")
    made, facts = [], []
    for n in range(SYSTEM_BATCHES):
        tank, batch, came = f"T{n % SYSTEM_TANKS}", f"B{n}", arrived + timedelta(seconds=n)
        arrival = Fact(f"a{n:03}", "arrival", came, came, KEEPER, "S", tank, batch, None, {"count": 12})
        made.append(Course(batch, tank, "S", ZONE, protocol, arrival))
        facts.append(arrival)
        for day in range(10):
            at, id_ = came + timedelta(days=day, hours=2), f"l{day}-{n:03}"
            said = {"seen": 12, "no_signs": True, "appetite": 3, "offered": True}
            facts.append(Fact(id_, "look", at, at, KEEPER, "S", tank, batch, None, said))
    for n in range(SYSTEM_TANKS * 10):
        day, place_of = divmod(n, SYSTEM_TANKS)
        for place, name in enumerate(("temperature", "ph", "tan", "nitrite")):
            at = arrived + timedelta(days=day, hours=3, minutes=place_of, seconds=place)
            data = {"parameter": name, "value": MEASURED[name], "step": "0.1", "water": "fresh"}
            facts.append(Fact(f"r{n:03}-{name}", "reading", at, at, KEEPER, "S", f"T{place_of}", None, None, data))
    as_of = arrived + timedelta(days=9, hours=12)
    seconds = []
    for _ in range(6):
        begin = perf_counter()
        found = plan(made, facts, as_of, Water(8000.0, 80.0))
        seconds.append(perf_counter() - begin)
    note = f"{len(found.tasks):,} tasks, {len(facts):,} facts"
    what = f"a system of {SYSTEM_TANKS} tanks and {SYSTEM_BATCHES} batches, ms"
    return Figure(what, median(seconds[1:]) * 1000, 200, note)


# --- Level -------------------------------------------------------------------------------------------------


def water_facts(number: int, share: str) -> list[Fact]:
    """A dose, a change of ``share`` L and what evaporated, over and over, in one tank of 100 L."""
    kinds: list[tuple[str, dict[str, Any]]] = [
        ("dose", {"substance": "praziquantel", "route": "prolonged", "mass_mg": share, "target_mg_per_l": "2"}),
        ("change", {"out_litres": share, "in_litres": share}),
        ("evaporation", {"litres": "0.5"}),
        ("topup", {"litres": "0.5"}),
    ]
    made = []
    for n in range(number):
        at = datetime(2020, 1, 1, tzinfo=UTC) + timedelta(hours=n)
        kind, data = kinds[n % len(kinds)]
        made.append(Fact(f"{n:08}", kind, at, at, KEEPER, "S", "T", None, None, data))
    return made


def levels() -> Iterator[Figure]:
    """Both bounds from the facts, warm, in process: with changes of a tenth, and at worst of a thousandth, where all of
    the history still counts."""
    until = datetime(2026, 1, 1, tzinfo=UTC)
    for share, words in (("10", "changes of 10 %"), ("0.1", "the worst: changes of 0.1 %")):
        facts = water_facts(10_000, share)
        seconds = []
        for _ in range(7):
            begin = perf_counter()
            level_of(facts, "praziquantel", Water(100.0, 5.0), "possible", until)
            seconds.append(perf_counter() - begin)
        yield Figure("level after 10,000 facts, ms", median(seconds[1:]) * 1000, 50, words)


def doses(home: Home) -> Iterator[Figure]:
    """A card with all its checks, warm, in process, from what was read of the record: the dose of an open batch, after
    a look and readings of this moment that let it be given."""
    now, name = datetime.now(UTC), MARINE[0]
    desk = Desk(home, now, KEEPER)
    look(desk, f"{name} 12 3", no_signs=True)
    reading(desk, name, MARINE_READ)
    with open_reader(home.database) as rows:
        tank = next(row for row in rows.rows("tanks") if row["name"] == name)
        found = (i.row for i in list_day(rows, home, now).tasks if i.proposal and i.row["tank"] == tank["id"])
        row = next(found)
        setting = setting_for(rows, home, tank, rows.rows("batch_arrival", id=row["batch"])[0], now)
    if (held := propose_task(row, setting).hold) is not None:
        raise SystemExit(f"The dose is held ({held.says}): the benchmark is out of date.")
    seconds = []
    for _ in range(101):
        begin = perf_counter()
        propose_task(row, setting)
        seconds.append(perf_counter() - begin)
    yield Figure("a dose with all its checks, ms", median(seconds[1:]) * 1000, 2, row["title"])


# --- Calendar ----------------------------------------------------------------------------------------------


def events(count: int) -> Iterator[Event]:
    """Whole days and times, each with an alarm and a few lines of text."""
    start = datetime(2026, 2, 10, 9, tzinfo=UTC)
    for n in range(count):
        timed = n % 10 == 0
        moment = start + timedelta(hours=n)
        yield Event(
            uid=f"{n:032x}@benchmark",
            sequence=n % 3,
            stamp=start,
            created=start,
            summary=f"Look at every fish and count, tank {n % 12}",
            description=f"Look at every fish and count in tank {n % 12}, batch {n % 12}.\nPosture, swimming, fins, "
            "skin, eyes, gills, hiding; before and during feeding.\nCheck the list before dosing.",
            day=None if timed else moment.date(),
            start=moment if timed else None,
            categories=("look", f"tank {n % 12}"),
            ring=timedelta(minutes=30) if timed else timedelta(hours=9),
        )


def streamed(path: Path, made: list[Event]) -> None:
    """The same events by the calendar package alone: no order, no lint, no care for the old file."""
    import icalendar

    with path.open("wb") as file:
        file.write(b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:benchmark\r\n")
        for event in made:
            component = icalendar.Event()
            component.add("uid", event.uid)
            component.add("sequence", event.sequence)
            component.add("dtstamp", event.stamp)
            component.add("last-modified", event.stamp)
            component.add("created", event.created)
            begin = event.start or event.day
            assert begin is not None
            component.add("dtstart", begin)
            component.add("dtend", begin + (timedelta(minutes=15) if event.start else timedelta(days=1)))
            component.add("summary", event.summary)
            component.add("description", event.description)
            component.add("status", "CONFIRMED")
            component.add("transp", "TRANSPARENT")
            component.add("categories", list(event.categories))
            alarm = icalendar.Alarm()
            alarm.add("action", "DISPLAY")
            alarm.add("description", event.summary)
            alarm.add("trigger", event.ring)
            component.add_component(alarm)
            file.write(component.to_ical())
        file.write(b"END:VCALENDAR\r\n")


def calendar(folder: Path) -> Figure:
    """Our file, ordered, linted and put in place in one step, against the package alone."""
    made = list(events(EVENTS))
    seconds = in_turns(
        lambda: write_file(folder / "ours.ics", made, "Benchmark"), lambda: streamed(folder / "theirs.ics", made), 3
    )
    return compared(f"calendar of {EVENTS:,} / icalendar streamed", 1.5, seconds)


def memory(folder: Path) -> Figure:
    """The most memory that a process needs to write, lint and replace a file of many events that come one by one."""
    source = "import sys; sys.path.insert(0, sys.argv[1]); import run; run.write_many(sys.argv[2])"
    done = subprocess.run(
        [sys.executable, "-c", source, str(Path(__file__).parent), str(folder / "many.ics")],
        capture_output=True,
        text=True,
        check=True,
    )
    mib = int(done.stdout) / 1024
    size = (folder / "many.ics").stat().st_size / 2**20
    return Figure(f"MiB to write a calendar of {MANY_EVENTS:,}", mib, 150, f"the file has {size:.0f} MiB")


def write_many(path: str) -> None:
    """In a process of its own: write the file and print the most memory it needed, in KiB (Linux)."""
    import resource

    write_file(Path(path), events(MANY_EVENTS), "Benchmark")
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)


def figures(folder: Path) -> Iterator[Figure]:
    """All of them, the quick ones first."""
    yield from startup(folder / "empty")
    home = build(folder / "home")
    yield shopping(folder / "shop", folder / "home" / "record.db")
    enlarge(folder / "home" / "record.db")
    yield from on_the_record(home.path)
    yield round_steps(home.path)
    yield from planning()
    yield planning_again()
    yield planning_a_system()
    yield from levels()
    yield from doses(home)
    yield calendar(folder)
    yield memory(folder)


def main() -> int:
    """Measure, print a line for each figure as it is known, and say by the exit code whether a bar was passed."""
    begin = perf_counter()
    print(f"{'what':<44} {'figure':>9}  {'bar':>9}  ")
    missed = 0
    with tempfile.TemporaryDirectory(prefix="quarantine-benchmark-") as folder:
        for figure in figures(Path(folder)):
            missed += not figure.ok
            print(figure.line(), flush=True)
    print(f"{perf_counter() - begin:,.0f} s; {'every bar held' if not missed else f'{missed} over'}")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
