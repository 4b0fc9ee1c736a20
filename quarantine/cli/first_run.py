"""`quarantine` alone: five questions on an empty record, else the next step.

The answers become commands. Each is tried at once on a record in a temporary folder, by the very action that the
command calls; what is refused there is asked again. The keeper's own record is written after the last question, in
one go.
"""

from __future__ import annotations

import os
import re
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from io import BufferedReader, TextIOWrapper
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, TextIO, TypeVar

import typer

from quarantine.cli import out
from quarantine.cli.asking import Asking, Stopped
from quarantine.cli.session import now, session
from quarantine.failures import Failure, Refused, Unknown

if TYPE_CHECKING:
    from quarantine.actions.desk import Desk
    from quarantine.records.reads import Rows
    from quarantine.settings import Home

T = TypeVar("T")

GREETING = (
    "quarantine: the list of today is `quarantine today`; all commands: `quarantine --help`.",
    "New here? `quarantine demo` shows the whole job. To begin your own record, type",
    "`quarantine` at a terminal and answer five questions; or by hand:",
    '  quarantine site add "Hall" --zone Europe/Berlin',
    '  quarantine keeper add "YOUR NAME"',
    "  quarantine tank add Q1 --site Hall --role quarantine --water fresh --shape box \\",
    '      --length "60 cm" --width "30 cm" --filled "32 cm"',
)
WELCOME = (
    "Nothing is on record yet. Five questions lead to your first list; nothing is written before the last answer, and "
    "q or Ctrl-C leaves nothing behind. To see the whole job on an invented fish room first: quarantine demo."
)


def begin() -> None:
    """Five questions when nothing is on record and somebody can answer; else the next step."""
    home = session().home()
    with session().reader() as rows:
        empty, (command, says) = is_empty(rows), next_step(rows)
    asking = listen(sys.stdin) if empty and not session().as_json else None
    if asking is not None:
        try:
            _first_run(home, asking)
        except Stopped:
            raise typer.Abort from None
    elif empty and not session().as_json:
        for line in GREETING:
            out.write(line)
    else:
        session().emit({"next": command}, [f"Next: {command} ({says}). All commands: quarantine --help"])


def is_empty(rows: Rows) -> bool:
    """Whether nothing at all is on record."""
    return not any(rows.rows(query) for query in ("sites", "keepers", "tanks"))


def next_step(rows: Rows) -> tuple[str, str]:
    """The command that comes next, and what for."""
    sites, keepers, tanks = (rows.rows(query) for query in ("sites", "keepers", "tanks"))
    if not sites:
        return 'quarantine site add "Hall" --zone Europe/Berlin', "the place where the tanks stand, and its time zone"
    if not keepers:
        return 'quarantine keeper add "YOUR NAME"', "every entry names who made it"
    if not tanks:
        return "quarantine tank add --help", "a tank, its shape and its measures"
    return "quarantine today", "today's work"


# --- Who answers -----------------------------------------------------------------------------------------

WAIT_SECONDS = 1
"""For how long a pipe may stay silent before nobody is thought to answer: it may be a program that only looks."""


def listen(stream: TextIO | None) -> Asking | None:
    """Who answers: a person at a terminal, or the lines of a pipe or a file. None when there is nobody."""
    if stream is None:
        return None
    there = sys.stdout.isatty() if stream.isatty() else _speaks(stream)
    return Asking() if there else None


def _speaks(stream: TextIO) -> bool:
    """Whether a pipe or a file has something to say; nothing of it is taken."""
    import select

    if not isinstance(stream, TextIOWrapper) or not isinstance(stream.buffer, BufferedReader):
        return False
    try:
        if not select.select([stream], [], [], WAIT_SECONDS)[0]:
            return False
    except ValueError:
        pass  # it is no file of the system, so it does not keep us waiting
    try:
        return bool(stream.buffer.peek(1))
    except OSError:
        return False


# --- The questions ---------------------------------------------------------------------------------------


class Step(NamedTuple):
    """One command that the answers stand for: its words as they are typed, and the action behind it."""

    words: tuple[str, ...]
    act: Callable[[Desk], Any]
    keeper: str
    """who acts; nobody before the first keeper is on record"""

    @property
    def typed(self) -> str:
        """The line that a keeper would type."""
        home = session().home_option
        return " ".join(quoted(word) for word in ("quarantine", *self.words, *(("--home", home) if home else ())))


class Tank(NamedTuple):
    """A tank of the answers, as far as later questions need it."""

    name: str
    water: str
    zone: str


class Run:
    """The first run under way: who answers, the record on trial, and the steps so far."""

    def __init__(self, asking: Asking, trial: Home) -> None:
        self.asking, self.trial = asking, trial
        self.keeper = ""
        self.steps: list[Step] = []

    def ask(self, question: str, check: Callable[[str], T], default: str = "") -> T:
        """Ask until the answer passes its check; the sentence of the refusal is said."""
        while True:
            self.asking.say(question)
            try:
                return check(self.asking.ask() or default)
            except Failure as failure:
                self.asking.complain(failure)

    def again(self, question: Callable[[], T]) -> T:
        """Ask a group of questions until their answers pass together."""
        while True:
            try:
                return question()
            except Failure as failure:
                self.asking.complain(failure)

    def take(self, *words: str, act: Callable[[Desk], T]) -> T:
        """Try a step on the trial record; it is kept when nothing refuses it."""
        from quarantine.actions.desk import Desk

        done = act(Desk(self.trial, now(), self.keeper))
        self.steps.append(Step(words, act, self.keeper))
        return done


def _first_run(home: Home, asking: Asking) -> None:
    from quarantine.actions.desk import Desk

    out.say(WELCOME)
    with _trial_of(home) as trial:
        run = Run(asking, trial)
        site, zone = _ask_place(run)
        _ask_keeper(run, session().keeper or home.value("keeper"))
        tank = _ask_tank(run, site, zone)
        _ask_list(run, site, tank)
        out.say()
        out.say("The same by hand:")
        real = trial if session().dry_run else _without_keeper(home)
        for step in run.steps:
            if not session().dry_run:
                step.act(Desk(real, now(), step.keeper))
            out.write(f"$ {step.typed}")  # never folded: it can be pasted
        out.say()
        _show_list(real)
    if session().dry_run:
        out.say("Dry run: nothing was written.")


@contextmanager
def _trial_of(home: Home) -> Iterator[Home]:
    """A home in a temporary folder with the same settings and a record of its own."""
    with tempfile.TemporaryDirectory(prefix="quarantine-first-run-") as folder:
        trial = _without_keeper(home)
        yield trial._replace(path=Path(folder), values={**trial.values, "database": ("", "a trial")})


def _without_keeper(home: Home) -> Home:
    """The home without the keeper of its settings, who is not on record yet."""
    return home._replace(values={**home.values, "keeper": ("", "the first run")})


def _ask_place(run: Run) -> tuple[str, str]:
    from quarantine.actions.places import add_site

    site = run.ask("1 of 5. The place where the tanks stand: its name, such as Hall.", lambda text: _name("site", text))
    guess = guess_zone()
    keeps = f" Enter: {guess}, as on this computer." if guess else ""
    question = f"Its time zone, such as Europe/Berlin or America/New_York.{keeps}"

    def add(zone: str) -> str:
        run.take("site", "add", site, "--zone", zone, act=lambda desk: add_site(desk, site, zone))
        return zone

    return site, run.ask(question, add, guess or "")


def _ask_keeper(run: Run, default: str) -> None:
    from quarantine.actions.places import add_keeper

    def add(text: str) -> str:
        name = _name("keeper", text)
        run.take("keeper", "add", name, act=lambda desk: add_keeper(desk, name))
        return name

    keeps = f" Enter: {default}." if default else ""
    run.keeper = run.ask(f"2 of 5. Your name, or initials: every entry names who made it.{keeps}", add, default)


def _ask_tank(run: Run, site: str, zone: str) -> Tank:
    from quarantine.actions.places import WATERS

    name = run.ask("3 of 5. The quarantine tank: its name. Enter: Q1.", lambda text: _name("tank", text), "Q1")
    water = run.ask(f"Its water: {', '.join(WATERS)}.", lambda text: _one_of("water", text, WATERS))
    return _ask_measures(run, "4 of 5. ", Tank(name, water, zone), site, "quarantine")


def _ask_measures(run: Run, number: str, tank: Tank, site: str, role: str) -> Tank:
    """The shape and the inside measures of a tank, until they make a volume; then the tank is taken."""
    from quarantine.actions.places import add_tank
    from quarantine.water.volume import MEASURES, SHAPES, check_measure

    def measured(option: str, text: str, optional: bool) -> str | None:
        if optional and text.casefold() in ("", "no", "none"):
            return None
        check_measure(option, text)
        return text

    def add() -> None:
        question = f"{number}The shape of {tank.name}: {', '.join(SHAPES)}."
        shape = run.ask(question, lambda text: _one_of("tank shape", text.replace(" ", "-"), tuple(SHAPES)))
        row = SHAPES[shape]
        wanted = (*row.plan, "soundings" if row.sounded else "filled")
        extra = ("rocks",) if row.sounded else ("substrate", "rocks")
        measures: dict[str, str | None] = {}
        for option in (*wanted, *extra):
            named = f"--{option.replace('_', '-')}"
            none = " Enter: none." if option in extra else ""
            measures[option] = run.ask(
                f"{named}: {MEASURES[option]}{none}",
                lambda text, option=option: measured(option, text, option in extra),  # type: ignore[misc]
            )
        given = {option: text for option, text in measures.items() if text is not None}
        typed = [word for option, text in given.items() for word in (f"--{option.replace('_', '-')}", text)]
        made = run.take(
            *("tank", "add", tank.name, "--site", site, "--role", role, "--water", tank.water, "--shape", shape),
            *typed,
            act=lambda desk: add_tank(
                desk, tank.name, site=site, role=role, water=tank.water, shape=shape, measures=measures
            ),
        )
        for line in made["volume"].working:
            out.say(line, 2)

    run.again(add)
    out.say("Counted buckets are better than any formula, and rule from then on: quarantine tank gauge.")
    return tank


# --- The fifth question ----------------------------------------------------------------------------------


class Template(NamedTuple):
    """A protocol that gives nothing: what the fifth question offers."""

    id: str
    title: str
    fish: str


def watch_only(water: str) -> list[Template]:
    """The shipped protocols for a water that give nothing, the general one first."""
    from quarantine.protocol import load
    from quarantine.templates import imprint, shipped

    found = []
    for id_, path in shipped().items():
        if imprint(path.read_text(encoding="utf-8")).water not in ("any", water):
            continue
        protocol = load(id_)
        if not protocol.medicated:
            found.append(Template(protocol.id, protocol.title, protocol.fish))
    return sorted(found, key=lambda one: (one.id != f"{water}-watch", one.id))


def _ask_list(run: Run, site: str, tank: Tank) -> None:
    offered = watch_only(tank.water)
    if not offered:
        out.say(f"5 of 5. No protocol that only watches ships for {tank.water} water, so the list begins empty.")
        return
    answer = run.ask(
        "5 of 5. What is to be put on the list: nothing yet, or a batch that came and is only watched (no "
        "medicine)? Type nothing or batch. Enter: nothing.",
        lambda text: _one_of("such choice", text, ("nothing", "batch")),
        "nothing",
    )
    if answer == "batch":
        _ask_batch(run, site, tank, offered)


def _ask_batch(run: Run, site: str, tank: Tank, offered: list[Template]) -> None:
    from quarantine.actions.admitting import read_fish
    from quarantine.actions.batches import start_batch
    from quarantine.actions.desk import local_text, when

    protocol = offered[0].id
    if len(offered) > 1:
        out.say("By which protocol?")
        for one in offered:
            out.say(f"{one.id}: {one.title}; for {one.fish}", 2)
        known = tuple(one.id for one in offered)
        protocol = run.ask(f"Its name. Enter: {protocol}.", lambda text: _one_of("protocol", text, known), protocol)
    to_tank = run.ask(
        "The tank they are to move to afterwards, with water of its own: its name.",
        lambda text: _name("tank", text, tank.name),
    )
    _ask_measures(run, "", Tank(to_tank, tank.water, tank.zone), site, "display")

    def fish_line(text: str) -> str:
        read_fish(text)
        return text

    def arrived_at(text: str) -> str:
        moment = now()
        return local_text(when(text or None, tank.zone, moment, what="The arrival"), tank.zone)

    def start() -> None:
        fish = [run.ask('The living fish: a count and a name, such as "12 Melanotaenia praecox, 3 cm".', fish_line)]
        while more := run.ask("Another kind? Enter: no.", lambda text: fish_line(text) if text else ""):
            fish.append(more)
        source = run.ask("Where did they come from? A shop, a breeder, an importer.", _something)
        arrived = run.ask('When did they arrive? "2026-02-10 14:30", "yesterday 8pm", "-2h". Enter: now.', arrived_at)
        made = run.take(
            *("batch", "start", "--tank", tank.name, "--protocol", protocol, "--arrived", arrived),
            *(word for line in fish for word in ("--fish", line)),
            *("--from", source, "--to", to_tank),
            act=lambda desk: start_batch(
                desk, tank=tank.name, protocol=protocol, arrived=arrived, fish=fish, source=source, to_tank=to_tank
            ),
        )
        out.say(f"Batch {made['batch']}: {made['alive']} fish in {made['tank']}, day 0 is {made['arrived'][:10]}.", 2)
        out.say(f"Earliest sign-off if all goes well: {made['earliest']}. Tasks planned: {made['tasks']}.", 2)

    run.again(start)


def _show_list(home: Home) -> None:
    from quarantine.actions.today import list_day
    from quarantine.cli.today import lines_of
    from quarantine.records.reads import open_reader

    with open_reader(home.database) as rows:
        for line in lines_of(list_day(rows, home, now())):
            out.say_indented(line)


# --- Words ------------------------------------------------------------------------------------------------


def _name(what: str, text: str, *taken: str) -> str:
    """A new name by the rule of the commands. One that begins with a dash would be read as an option."""
    from quarantine.actions.desk import free_name

    name = free_name([{"name": one} for one in taken], what, text)
    if name.startswith("-"):
        raise Refused(f"The name {name!r} begins with a dash and would be read as an option; choose another.")
    return name


def _one_of(what: str, text: str, known: tuple[str, ...]) -> str:
    """One of the known words, capitals aside. Raises Unknown, which names them."""
    word = text.casefold()
    if word not in known:
        raise Unknown(what, text, list(known))
    return word


def _something(text: str) -> str:
    if not text:
        raise Refused("It is needed: a word or two will do.")
    return text


def quoted(word: str) -> str:
    """A word as it is typed in a shell: in quotes only where it must be."""
    from shlex import quote

    if re.fullmatch(r"[\w@%+=:,./~-]+", word, re.ASCII):
        return word
    return quote(word) if re.search(r'["$`\\!]', word) else f'"{word}"'


def guess_zone(
    environment: str | None = None, local: Path = Path("/etc/localtime"), named: Path = Path("/etc/timezone")
) -> str | None:
    """The machine's time zone by its IANA name, or None: TZ, then where /etc/localtime leads, then /etc/timezone."""
    from zoneinfo import ZoneInfo

    guesses = [os.environ.get("TZ", "") if environment is None else environment]
    try:
        guesses.append(os.path.realpath(local).rpartition("zoneinfo/")[2])
        guesses.append(named.read_text(encoding="ascii").strip())
    except (OSError, ValueError):
        pass  # a machine without these files is asked without a guess
    for guess in guesses:
        zone = guess.removeprefix(":")
        try:
            if re.fullmatch(r"[A-Z][\w+-]*(?:/[\w+-]+)*", zone, re.ASCII) and ZoneInfo(zone):
                return zone
        except (KeyError, ValueError, OSError):
            continue
    return None
