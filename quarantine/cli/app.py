"""The table of commands, loaded one at a time, and the one place that turns failures into exit codes."""

from __future__ import annotations

import sys
from importlib import import_module
from typing import Any

import typer
import typer.core

# typer 0.28 carries its own click; the pin in pyproject.toml keeps these imports good.
from typer._click.core import Command, Context
from typer._click.exceptions import ClickException, NoArgsIsHelpError, NoSuchOption, UsageError
from typer._click.formatting import HelpFormatter

from quarantine import __version__
from quarantine.cli import out
from quarantine.cli.session import Session, use
from quarantine.failures import Failure, Usage

EPILOG = (
    "--version shows the version. Anywhere on the line: --home DIR (else QUARANTINE_HOME, else the platform's folder), --as KEEPER (else "
    "QUARANTINE_KEEPER), --json, --debug; --dry-run with every command that writes."
)

# name -> (module, function, writes, one line of help, example); a dict is a group.
Entry = tuple[str, str, bool, str, str]
# ruff: noqa: E501 - the table reads as a table
COMMANDS: dict[str, Entry | dict[str, Entry]] = {
    "demo": ("demo", "demo", False, "The whole job on an invented fish room.", "quarantine demo --home ./trial"),
    "today": ("today", "today", False, "Today's work with every dose computed.", "quarantine today --tank Q1"),
    "round": ("round", "round", True, "Walk the due work tank by tank, in short keys.", "quarantine round --site Hall"),
    "enter": ("enter", "enter", True, "Type in a paper sheet that came back.", "quarantine enter --on 2026-02-12"),
    "look": (
        "daily",
        "look",
        True,
        "Log a look: how many seen, appetite, signs.",
        'quarantine look "Q1 12 3" --no-signs',
    ),
    "reading": (
        "daily",
        "reading",
        True,
        "Log readings of the water.",
        "quarantine reading Q1 temp=25.5C ph=7.8 tan=0.5mg/L",
    ),
    "readings": (
        "daily",
        "readings",
        False,
        "Readings by kit, oldest first.",
        "quarantine readings Q1 --parameter tan",
    ),
    "exam": (
        "examine",
        "exam",
        True,
        "Log an examination or a laboratory result.",
        "quarantine exam Q1-1 --what scrape --negative --n 2",
    ),
    "exams": ("examine", "exams", False, "Examinations, and what was not tested.", "quarantine exams Q1-1"),
    "done": (
        "daily",
        "done",
        True,
        "Tick a task (short: d); a dose with its amount.",
        "quarantine done DK4T7 --as-shown",
    ),
    "claim": (
        "claiming",
        "claim",
        True,
        "Say that you do a task now, for some minutes.",
        'quarantine claim DK4T7 --for "20 min"',
    ),
    "skip": ("daily", "skip", True, "A task not done, with the reason.", 'quarantine skip K4T7 --because "away"'),
    "why": (
        "daily",
        "why",
        False,
        "Why a task is on that day; why a batch can go when it can.",
        "quarantine why DK4T7",
    ),
    "clocks": ("explaining", "clocks", False, "The four clocks of a batch, and its periods.", "quarantine clocks Q1-1"),
    "timeline": (
        "explaining",
        "timeline",
        False,
        "A batch over time: periods, doses, signs, restarts.",
        "quarantine timeline Q1-1 --svg q1-1.svg",
    ),
    "dose": (
        "today",
        "dose",
        False,
        "One dose for the water there is now.",
        "quarantine dose praziquantel --tank Q2 --regimen Z01",
    ),
    "level": (
        "levels",
        "level",
        False,
        "What is in the water, line by line, with its sums.",
        "quarantine level Q2 praziquantel --chart",
    ),
    "convert": (
        "convert",
        "convert",
        False,
        "A label's rate in another unit.",
        'quarantine convert "5 g per 100 L" mg/L',
    ),
    "event": {
        "change": ("events", "change", True, "A water change.", "quarantine event change Q1 --out 30L"),
        "topup": ("events", "topup", True, "Evaporated water replaced.", "quarantine event topup Q1 2L"),
        "exchange": (
            "events",
            "exchange",
            True,
            "Water that flows through, from now on.",
            'quarantine event exchange Q1 --rate "5 L/h"',
        ),
        "evaporation": ("events", "evaporation", True, "Water that evaporated.", "quarantine event evaporation Q1 2L"),
        "set-point": (
            "places",
            "set_point",
            True,
            "What the heater is set to, from now on.",
            'quarantine event set-point Q1 "25.5 °C"',
        ),
        "dose": (
            "events",
            "dose",
            True,
            "A dose really given without a task.",
            'quarantine event dose Q2 Z01 --gave "0.12 g" --really',
        ),
        "removal": (
            "events",
            "removal",
            True,
            "Carbon, resin or UV took something out.",
            'quarantine event removal Q1 --by "fresh carbon"',
        ),
        "unknown": (
            "events",
            "unknown",
            True,
            "Something of unknown size was added.",
            'quarantine event unknown Q1 --what "old tank water"',
        ),
        "added": ("events", "added", True, "Fish were added to a batch.", "quarantine event added Q1 2 --yes"),
        "died": ("events", "died", True, "Fish died.", "quarantine event died Q1 1"),
        "euthanised": (
            "events",
            "euthanised",
            True,
            "Fish were euthanised.",
            'quarantine event euthanised Q1 1 --because "would not recover"',
        ),
        "moved": (
            "events",
            "moved",
            True,
            "Fish left quarantine for another tank.",
            'quarantine event moved Q1 2 --to "Round Pool"',
        ),
        "emergency": (
            "moving",
            "emergency",
            True,
            "All fish of a tank had to go at once.",
            'quarantine event emergency Q1 --to Bin --make "40 L"',
        ),
        "missing": (
            "events",
            "missing",
            True,
            "Fish that cannot be found.",
            'quarantine event missing Q1 1 --because "jumped"',
        ),
        "disturbance": (
            "events",
            "disturbance",
            True,
            "A shared net, a splash.",
            'quarantine event disturbance Q1 --what "shared net"',
        ),
        "shared": (
            "moving",
            "shared",
            True,
            "A net, hands or a splash went from tank to tank.",
            "quarantine event shared Q1 --with Q2 --what net",
        ),
        "incident": (
            "incidents",
            "incident",
            True,
            "A power cut, a heater, a leak, an overdose: and its checks.",
            'quarantine event incident Q1 --what power --from "-2h" --yes',
        ),
        "incident-over": (
            "incidents",
            "incident_over",
            True,
            "An incident is over.",
            "quarantine event incident-over Q1",
        ),
        "word": (
            "events",
            "word",
            True,
            "A keeper's word that a step waits for.",
            'quarantine event word Q1 "The veterinarian has agreed"',
        ),
        "lift": (
            "events",
            "lift",
            True,
            "Lift a hold, by a named person.",
            'quarantine event lift Q1 --because "vet saw them"',
        ),
    },
    "bath": {
        "start": (
            "bathing",
            "start",
            True,
            "A timed bath is poured, or a dip begun.",
            'quarantine bath start DK4T7 --gave "0.1 g" --ready 150L --really --timer',
        ),
        "end": (
            "bathing",
            "end",
            True,
            "A bath is drained, or its fish are out; a dip is over.",
            "quarantine bath end K4T7 --out 30L",
        ),
        "timer": (
            "bathing",
            "timer",
            False,
            "The time of a running bath or dip, with a bell.",
            "quarantine bath timer K4T7",
        ),
    },
    "sheet": (
        "sheets",
        "sheet",
        False,
        "Today's work on paper, to tick with a pen.",
        "quarantine sheet --html today.html",
    ),
    "card": {
        "emergency": (
            "sheets",
            "emergency",
            False,
            "What to do when it goes wrong, in order.",
            "quarantine card emergency --tank Q1",
        ),
        "tank": ("sheets", "tank_card", False, "The card that hangs at a tank.", "quarantine card tank Q1"),
    },
    "undo": ("correcting", "undo", True, "Take back your own last entry.", "quarantine undo wrong tank"),
    "correct": (
        "correcting",
        "correct",
        True,
        "Correct an entry; both values are kept.",
        'quarantine correct 3fa2c81b seen=11 --because "counted twice"',
    ),
    "batch": {
        "start": (
            "batches",
            "start",
            True,
            "Fish arrived: start their quarantine.",
            'quarantine batch start --tank Q1 --protocol fresh-watch --arrived "2026-02-10 14:30" --fish "12 Melanotaenia praecox, 3 cm" --from "a breeder" --to "Round Pool"',
        ),
        "expect": (
            "batches",
            "expect",
            True,
            "Fish are ordered: what must stand ready, and by when.",
            'quarantine batch expect Rainbows --tank Q1 --protocol fresh-watch --from 2026-03-10 --until 2026-03-12 --fish "12 Melanotaenia praecox, 3 cm" --source "a breeder" --to "Round Pool"',
        ),
        "arrived": (
            "batches",
            "arrived",
            True,
            "Expected fish came: start their quarantine.",
            'quarantine batch arrived Rainbows --bag-temp 22C --bag-ph 6.4 --bag-tan "5 mg/L" --transit "30 h"',
        ),
        "call-off": (
            "batches",
            "call_off",
            True,
            "Expected fish will not come.",
            'quarantine batch call-off Rainbows --because "sold out"',
        ),
        "acknowledge": (
            "batches",
            "acknowledge",
            True,
            "You read the cautions of a batch that another started.",
            "quarantine batch acknowledge Q2-1",
        ),
        "list": ("batches", "list_", False, "All batches and how they stand.", "quarantine batch list"),
        "show": ("batches", "show", False, "One batch: fish, clocks, tasks.", "quarantine batch show Q1-1"),
        "move": (
            "moving",
            "move",
            True,
            "A whole batch goes to another quarantine tank.",
            "quarantine batch move Q1-1 --to Q3 --yes",
        ),
        "contacts": (
            "batches",
            "contacts",
            False,
            "Which other batches shared water, nets, source or lots.",
            "quarantine batch contacts Q1-1",
        ),
        "split": (
            "moving",
            "split",
            True,
            "Some fish of a batch become one of their own.",
            "quarantine batch split Q1-1 --fish 4 --name Q1-2",
        ),
        "merge": (
            "moving",
            "merge",
            True,
            "Two batches in one tank become one.",
            "quarantine batch merge Q1-2 --into Q1-1 --yes",
        ),
        "weigh": (
            "weighing",
            "weigh",
            True,
            "What the fish weigh and eat, for a dose in food.",
            'quarantine batch weigh Q1-1 "0.4 g" --each --eats "1 %" --by "scale, 4 fish"',
        ),
        "groups": (
            "vets",
            "groups",
            True,
            "Say which sensitive group a fish belongs to, or none.",
            'quarantine batch groups Q1-1 "Melanotaenia praecox" --none',
        ),
        "amend": (
            "amend",
            "amend",
            True,
            "Move a running batch to a newer or another protocol.",
            'quarantine batch amend Q1-1 --protocol fresh-school-watch --because "they stay at school" --yes',
        ),
        "adopt": (
            "adopting",
            "adopt",
            True,
            "Go on by the current revision of the batch's own protocol.",
            'quarantine batch adopt Q1-1 --protocol current.toml --because "the club revised it" --yes',
        ),
        "stop-course": (
            "amend",
            "stop_course",
            True,
            "Stop a whole course of doses; shows what is left.",
            'quarantine batch stop-course Q2-1 dose --because "the veterinarian said so" --yes',
        ),
    },
    "vet": {
        "add": (
            "vets",
            "add",
            True,
            "What a veterinarian instructed, for one batch.",
            'quarantine vet add Q2-1 --by "a practice" --on 2026-02-12 --regimen Z01 --dose "2 mg/L" --until 2026-03-12 --words "bathe them now" --passes gate',
        ),
        "list": ("vets", "list_", False, "The instructions on record.", "quarantine vet list"),
        "withdraw": (
            "vets",
            "withdraw",
            True,
            "An instruction holds no more.",
            'quarantine vet withdraw Q2-1 Z01 --because "they are well again"',
        ),
    },
    "signoff": (
        "signing",
        "signoff",
        True,
        "Judge a batch, or record the decision.",
        "quarantine signoff Q1-1",
    ),
    "calendar": {
        "write": (
            "calendars",
            "write",
            True,
            "Reminders as a calendar file.",
            "quarantine calendar write quarantine.ics",
        ),
        "check": (
            "calendars",
            "check",
            False,
            "Check a calendar file byte by byte.",
            "quarantine calendar check quarantine.ics",
        ),
    },
    "protocol": {
        "list": ("protocols", "list_", False, "The protocols there are.", "quarantine protocol list"),
        "show": (
            "protocols",
            "show",
            False,
            "One protocol, with its cautions and sources.",
            "quarantine protocol show fresh-watch",
        ),
        "check": (
            "protocols",
            "check",
            False,
            "Check a protocol file of your own.",
            "quarantine protocol check mine.toml",
        ),
        "new": (
            "protocols",
            "new",
            True,
            "A commented protocol file of your own, to change.",
            "quarantine protocol new spring-fish.toml --like fresh-watch",
        ),
        "schema": (
            "protocols",
            "schema",
            False,
            "The grammar as a JSON Schema, for editors.",
            "quarantine protocol schema",
        ),
        "preview": (
            "protocols",
            "preview",
            False,
            "All dates, doses and totals; nothing is written.",
            'quarantine protocol preview marine-watch --tank Q2 --arrived "2026-02-10 14:30"',
        ),
        "start-days": (
            "people",
            "start_days",
            False,
            "Days on which fish can come: absences, terms, stock.",
            "quarantine protocol start-days marine-watch --tank Q2",
        ),
    },
    "formulary": {
        "list": ("formulary", "list_", False, "The substances there are.", "quarantine formulary list"),
        "show": (
            "formulary",
            "show",
            False,
            "One substance, row by row, with sources.",
            "quarantine formulary show praziquantel",
        ),
        "find": (
            "formulary",
            "find",
            False,
            "What the sources tried against a sign or a parasite.",
            'quarantine formulary find "white spots"',
        ),
        "groups": (
            "formulary",
            "groups",
            False,
            "Groups of animals, and what harms them.",
            "quarantine formulary groups",
        ),
        "cycles": (
            "lifecycles",
            "cycles",
            False,
            "How long parasites take, by temperature.",
            'quarantine formulary cycles dactylogyrus --at "20 °C"',
        ),
    },
    "site": {
        "add": (
            "places",
            "add_site",
            True,
            "A place with tanks and a time zone.",
            'quarantine site add "Hall" --zone Europe/Berlin',
        ),
        "list": ("places", "list_sites", False, "The sites on record.", "quarantine site list"),
        "closed": (
            "people",
            "closed",
            True,
            "Days on which a site is shut: terms, weekends.",
            'quarantine site closed Hall 2026-03-28 2026-04-12 --what "spring break"',
        ),
    },
    "absent": (
        "people",
        "absent",
        True,
        "A keeper is away; what nobody can do then.",
        'quarantine absent Robin 2026-03-10 2026-03-14 --because "course"',
    ),
    "handover": (
        "handover",
        "handover",
        False,
        "What the next keeper must know: open, odd, watch, stock.",
        "quarantine handover --site Hall",
    ),
    "shopping": (
        "shopping",
        "shopping",
        False,
        "What planned work lacks, and by when to buy it.",
        "quarantine shopping --until 2026-04-30",
    ),
    "stock": {
        "add": (
            "stocking",
            "add",
            True,
            "A product that was bought, or more of it.",
            'quarantine stock add "Prazi jar" "50 g" --substance praziquantel --form powder --strength "98 %" --lot A12 --expires 2028-03',
        ),
        "list": ("stocking", "list_", False, "What is left of each lot.", "quarantine stock list"),
        "show": (
            "stocking",
            "show",
            False,
            "One lot, with all that came in and went out.",
            'quarantine stock show "Prazi jar"',
        ),
        "count": (
            "stocking",
            "count",
            True,
            "What was found: the books are set to it.",
            'quarantine stock count "Prazi jar" "49.2 g" --because "weighed"',
        ),
        "use": (
            "stocking",
            "use",
            True,
            "What went out without a dose.",
            'quarantine stock use "Prazi jar" "0.5 g" --because "spilled"',
        ),
        "dispose": (
            "stocking",
            "dispose",
            True,
            "What is left was thrown away, by local rules.",
            'quarantine stock dispose "Prazi jar" --how "taken to the pharmacy"',
        ),
        "recall": (
            "stocking",
            "recall",
            True,
            "A lot was called back: nothing more out of it.",
            'quarantine stock recall "Prazi jar" --lot A12 --because "maker\'s letter"',
        ),
        "register": (
            "stocking",
            "register",
            False,
            "The register of medicines: in, out, on hand.",
            "quarantine stock register --csv register.csv --html register.html",
        ),
    },
    "lot": ("stocking", "lot", False, "Every batch, tank and dose that a lot went into.", "quarantine lot A12"),
    "keeper": {
        "add": ("places", "add_keeper", True, "A person who does the work.", 'quarantine keeper add "Robin"'),
        "list": ("places", "list_keepers", False, "The keepers on record.", "quarantine keeper list"),
        "role": (
            "people",
            "role",
            True,
            "What a keeper may do: keeper, adult, sitter, pupil.",
            "quarantine keeper role Robin keeper",
        ),
    },
    "tank": {
        "add": (
            "places",
            "add_tank",
            True,
            "A tank with its shape and measures.",
            'quarantine tank add Q3 --site Hall --role quarantine --water fresh --shape box --length "60 cm" --width "30 cm" --filled "32 cm"',
        ),
        "measure": (
            "places",
            "measure_tank",
            True,
            "A measured volume; it rules from now on.",
            'quarantine tank measure Q1 49.3L --by "counted buckets" --plus-minus 0.5L',
        ),
        "gauge": (
            "places",
            "gauge_tank",
            True,
            "Measure the water: buckets, a timed or metered fill, salt.",
            'quarantine tank gauge Q1 --buckets "17 x 3 L"',
        ),
        "parts": (
            "places",
            "tank_parts",
            True,
            "How many litres stand in its sump and filter.",
            'quarantine tank parts Q2 --filter "2 L" --counted yes',
        ),
        "level": (
            "places",
            "level_tank",
            True,
            "The water stands at another height.",
            'quarantine tank level Q1 "3 cm below"',
        ),
        "company": (
            "vets",
            "company",
            True,
            "What else lives in a water: snails, shrimps, corals, plants.",
            'quarantine tank company Q1 "Neritina natalensis"',
        ),
        "show": ("places", "show_tank", False, "One tank: its water and how it was found.", "quarantine tank show Q1"),
        "list": ("places", "list_tanks", False, "The tanks on record.", "quarantine tank list"),
        "rename": (
            "places",
            "rename_tank",
            True,
            "Another name; history stays.",
            'quarantine tank rename Q1 "Q1 left"',
        ),
    },
    "completion": (
        "completion",
        "completion",
        False,
        "Names completed by the Tab key, in bash, zsh or fish.",
        "quarantine completion bash",
    ),
    "check": ("signing", "check", False, "Prove the record whole.", "quarantine check"),
    "journal": ("journal", "journal", False, "Who did what when, one line an entry.", "quarantine journal --last 20"),
    "export": ("tables", "export", False, "The record as tables for a spreadsheet.", "quarantine export tables"),
    "where": ("places", "where", False, "Files, settings and where they come from.", "quarantine where"),
}
SHORT = {"d": "done"}
"""With wet hands: `qk d CODE` is ten keys with the last one (F39)."""
GROUPS = {
    "event": "What happened without a task: changes, deaths, additions.",
    "bath": "Timed baths and dips: start, time and end them.",
    "card": "Cards to print: emergencies, a tank.",
    "vet": "A veterinarian's instructions: what they pass, and nothing else.",
    "batch": "Expect and start batches of fish; list and show them.",
    "calendar": "Reminders on a phone.",
    "protocol": "The templates: list, show, check, preview; your own.",
    "formulary": "The substances and their published uses.",
    "stock": "Your own products, by lot.",
    "site": "Places with tanks.",
    "keeper": "People.",
    "tank": "Tanks and the water in them.",
}


class Table(typer.core.TyperGroup):
    """A group that imports a command's module only when that command is called."""

    def __init__(self, entries: dict[str, Any], **attributes: Any) -> None:
        super().__init__(rich_markup_mode=None, no_args_is_help=True, **attributes)
        self.entries = entries

    def list_commands(self, ctx: Context) -> list[str]:
        return list(self.entries)

    def get_command(self, ctx: Context, cmd_name: str) -> Command | None:
        entry = self.entries.get(cmd_name)
        if entry is None:
            return None
        return group(cmd_name, entry) if isinstance(entry, dict) else command(cmd_name, entry)

    def resolve_command(self, ctx: Context, args: list[str]) -> Any:
        if self.entries is COMMANDS and args[0] in SHORT:
            args = [SHORT[args[0]], *args[1:]]
        if args[0] not in self.entries:
            raise UsageError(no_command(args[0], self.entries), ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: Context, formatter: HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(
                [(name, GROUPS[name] if isinstance(entry, dict) else entry[3]) for name, entry in self.entries.items()]
            )


def command(name: str, entry: Entry) -> Command:
    """One command as click runs it."""
    module, function, writes, help_, example = entry
    app = typer.Typer(add_completion=False, rich_markup_mode=None)
    # After a line with \b nothing is folded: an example cut at a hyphen could not be pasted.
    epilog = f"Example:\n\n\b\n{example}"
    if writes:
        epilog += "\n\n--dry-run runs it and takes it back."
    app.command(name=name, help=help_, epilog=epilog)(getattr(import_module(f"quarantine.cli.{module}"), function))
    return typer.main.get_command(app)


def group(name: str, entries: dict[str, Entry]) -> Table:
    """A group of commands."""
    return Table(entries, name=name, help=GROUPS[name])


def root() -> Table:
    """The program."""
    return Table(
        COMMANDS,
        name="quarantine",
        help="Quarantine of newly arrived ornamental fish: today's work, doses from the water that is there, "
        "a record, sign-off on evidence. Not veterinary advice.",
        epilog=EPILOG,
    )


def no_command(name: str, entries: dict[str, Any]) -> str:
    """The sentence for a word that is no command: what may have been meant, and what there is.

    A word of one of the groups names its group ("start": batch start); the rest goes by spelling.
    """
    from difflib import get_close_matches

    low = name.casefold()
    inside = [f"{word} {low}" for word, entry in entries.items() if isinstance(entry, dict) and low in entry]
    near = inside or get_close_matches(low, entries, n=1)
    if low == "help":
        near = ["--help"]
    mean = f" Did you mean {' or '.join(repr(word) for word in near)}?" if near else ""
    return f"There is no command {name!r}.{mean} There are: {', '.join(entries)}."


FLAGS = {"--json": "as_json", "--dry-run": "dry_run", "--debug": "debug"}
VALUED = {"--home": "home_option", "--as": "keeper"}
"""The options that may stand anywhere -> the field of the session they fill."""


def take_globals(args: list[str]) -> tuple[list[str], Session]:
    """The options that may stand anywhere, taken out of the line; after `--` nothing is taken."""
    rest: list[str] = []
    values: dict[str, Any] = {}
    at = 0
    while at < len(args):
        word = args[at]
        name, equals, value = word.partition("=")
        if word == "--":
            rest += args[at:]
            break
        if word in FLAGS:
            values[FLAGS[word]] = True
        elif name in VALUED and equals:
            values[VALUED[name]] = value
        elif word in VALUED:
            if at + 1 >= len(args):
                raise Usage(f"{word} needs a value.")
            at += 1
            values[VALUED[word]] = args[at]
        else:
            rest.append(word)
        at += 1
    return rest, Session(**values)


def run(args: list[str]) -> int:
    """Run one command line; its exit code: 0 done, 1 refused, 2 usage."""
    session = Session(as_json="--json" in args, debug="--debug" in args)
    try:
        rest, session = take_globals(args)
        use(session)
        _refuse_dry_read(rest, session)
        if rest == ["--version"]:
            out.write(f"quarantine {__version__}")
            return 0
        if not rest:
            from quarantine.cli.first_run import begin

            begin()
            out.flush()
            return 0
        code = root().main(rest, prog_name="quarantine", standalone_mode=False)
        out.flush()
        return code if isinstance(code, int) else 0
    except typer.Exit as stop:
        return stop.exit_code
    except NoArgsIsHelpError as bare:
        # A bare group asks what there is: that is answered, not refused.
        out.write(bare.ctx.get_help())
        return 0
    except ClickException as error:
        sentence = _no_option(error) if isinstance(error, NoSuchOption) else error.format_message()
        help_ = f" See: {error.ctx.command_path} --help" if isinstance(error, UsageError) and error.ctx else ""
        return _fail(Usage(sentence + ("" if sentence.endswith((".", "?")) else ".") + help_), session)
    except (typer.Abort, KeyboardInterrupt):
        out.write("Stopped; nothing half-written.", sys.stderr)
        return 130
    except Failure as failure:
        return _fail(failure, session)
    except (BrokenPipeError, out.Closed, SystemExit):  # the last: help into a closed pipe, which click ends itself
        _silence()
        return 0
    except out.Unshown as error:
        _silence()
        return _fail(_not_shown(error), session)
    except OSError as error:
        if session.debug:
            raise
        return _fail(_known_os_error(error), session)
    except Exception as error:
        if session.debug:
            raise
        return _fail(_report(error, args, session), session)


MEANT = {"--at": "--from", "--since": "--from", "--from": "--at"}
"""An option that a command does not have -> the one that says the same there."""


def _no_option(error: NoSuchOption) -> str:
    """The sentence for an option that is not there, with the nearest that is: of the command, or of every command."""
    from difflib import get_close_matches

    name = error.option_name
    if name[1:2].isdigit():
        return f"{name!r} is below zero: write a number of 0 or more"
    own = [opt for param in error.ctx.command.params for opt in param.opts if opt[:1] == "-"] if error.ctx else []
    if (meant := MEANT.get(name)) in own:
        return f"{error.message}. Did you mean {meant}?"
    near = get_close_matches(name.casefold(), [*own, *FLAGS, *VALUED, "--help"], n=1)
    return error.message + (f". Did you mean {near[0]}?" if near else "")


def _refuse_dry_read(rest: list[str], session: Session) -> None:
    """--dry-run on a command that writes nothing is a slip worth saying."""
    if not session.dry_run:
        return
    entry: Any = COMMANDS
    for word in rest:
        if isinstance(entry, dict) and word in entry:
            entry = entry[word]
    if isinstance(entry, tuple) and not entry[2]:
        raise Usage("--dry-run is for commands that write; this one writes nothing.")


def _fail(failure: Failure, session: Session) -> int:
    try:
        if session.as_json:
            error = {"kind": failure.kind, "message": failure.sentence, **failure.facts}
            out.write(out.to_json({"error": error}))
            out.flush()
        out.write(failure.sentence, sys.stderr)  # in one line: FILE:LINE and a command to paste stay whole
        for line in () if session.as_json else failure.lines:
            out.say_indented(line, sys.stderr)
    except (BrokenPipeError, out.Closed, out.Unshown):
        _silence()
    return failure.exit_code


def _not_shown(error: out.Unshown) -> Failure:
    """Nothing is said here of the record: a command that writes has written before it answers."""
    from quarantine.failures import Refused

    return Refused(
        f"The answer could not be put out ({error}). A command that writes has written all the same: see "
        "quarantine journal before it is typed again."
    )


def _silence() -> None:
    """A closed pipe is silent: nothing more is flushed to it at exit."""
    import os

    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _known_os_error(error: OSError) -> Failure:
    import errno

    from quarantine.failures import Refused

    name = f" ({error.filename})" if error.filename else ""
    if error.errno == errno.ENOSPC or error.errno == errno.EFBIG:
        return Refused(f"The disk is full{name}; nothing half-written. Make room and try again.")
    return Refused(f"The system refused: {error.strerror or error}{name}.")


def _report(error: Exception, args: list[str], session: Session) -> Failure:
    """An unknown failure: one sentence, and a report file in the home folder."""
    import traceback

    from quarantine.cli.session import now

    text = f"quarantine {' '.join(args)}\n\n{traceback.format_exc()}"
    try:
        path = session.home().path / f"report-{now():%Y%m%d-%H%M%S}.txt"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
        where = f"A report is in {path}."
    except Exception:
        where = "No report could be written; --debug shows the details."
    return Failure(f"Something went wrong that should not ({type(error).__name__}). Nothing was half-written. {where}")
