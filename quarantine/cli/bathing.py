"""Baths and dips: start one, end one, and a timer in the terminal that can be taken up again."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Annotated, Any

import typer

from quarantine.cli import out
from quarantine.cli.claiming import Because, Witness, WitnessTyped, read_blind
from quarantine.cli.daily import At
from quarantine.cli.session import FROM_REST, KEEP_UNTIL, LOT, PRODUCT, STOCK, STRENGTH, now, session

if TYPE_CHECKING:
    from quarantine.actions.bathing import Running

Code = Annotated[str, typer.Argument(help="The code of the dose, or of the end of the bath.")]
Note = Annotated[str | None, typer.Option(help="Anything else.")]

BELL = "\a"
MINUTE = 60


def start(
    code: Annotated[str, typer.Argument(help="The code of the dose.")],
    gave: Annotated[str | None, typer.Option(help='What was really given: "2.4 g".')] = None,
    as_shown: Annotated[bool, typer.Option("--as-shown", help="Exactly the amount shown.")] = False,
    strength: Annotated[str | None, typer.Option(help=STRENGTH)] = None,
    ready: Annotated[
        str | None, typer.Option(help='A bath: the matched water that stands ready for its end, "90 L".')
    ] = None,
    clean_tank: Annotated[
        bool, typer.Option("--clean-tank", help="A bath: the fish go into clean water that stands ready instead.")
    ] = False,
    vessel: Annotated[str | None, typer.Option(help='A dip: the water in its vessel, "10 L".')] = None,
    timer: Annotated[
        bool, typer.Option("--timer", help="Keep the time here; Ctrl-C leaves the record as it is.")
    ] = False,
    note: Note = None,
    really: Annotated[bool, typer.Option("--really", help="It was really given, though it looks like a slip.")] = False,
    product: Annotated[str | None, typer.Option(help=PRODUCT)] = None,
    lot: Annotated[str | None, typer.Option(help=LOT)] = None,
    stock: Annotated[str | None, typer.Option(help=STOCK)] = None,
    keep_until: Annotated[str | None, typer.Option("--keep-until", help=KEEP_UNTIL)] = None,
    from_rest: Annotated[bool, typer.Option("--from-rest", help=FROM_REST)] = False,
    witness: Witness = None,
    witness_typed: WitnessTyped = None,
    because: Because = None,
    at: At = None,
) -> None:
    from quarantine.actions.bathing import start
    from quarantine.actions.cards import OutOf, Solution
    from quarantine.actions.vouching import Beside
    from quarantine.failures import Usage

    if timer and session().as_json:
        raise Usage("--timer is for people; with --json ask for: quarantine bath timer CODE --json.")
    made = start(
        session().desk(),
        code,
        gave=gave,
        as_shown=as_shown,
        strength=strength,
        vessel=vessel,
        ready=ready,
        clean_tank=clean_tank,
        at=at,
        note=note,
        really=really,
        out_of=OutOf(product, lot, Solution(stock, keep_until, from_rest)),
        beside=Beside(witness, read_blind(witness, witness_typed), because),
    )
    zone = made.pop("zone")
    ends = [_local(made[name], zone, made["started_at"]) for name in ("end_from", "end_until")]
    when = f"at {ends[1]}" if ends[0] == ends[1] else f"from {ends[0]} on, at the latest {ends[1]}"
    lines = [*made.pop("lines"), f"It ends {when}: quarantine bath end {made['code']}."]
    if not timer:
        lines.append(f"Set a timer now; this one keeps the time: quarantine bath timer {made['code']}.")
    session().emit(made, [*lines, made.pop("defers")])
    if timer and not session().dry_run:
        _watch(made["code"])


def _local(at: datetime, zone: str, since: datetime) -> str:
    """An instant at the site; of the end of a dip, which takes minutes, the seconds too."""
    from zoneinfo import ZoneInfo

    short = at - since < timedelta(hours=1)
    return at.astimezone(ZoneInfo(zone)).strftime("%H:%M:%S" if short else "%Y-%m-%d %H:%M")


def end(
    code: Code,
    out_: Annotated[str | None, typer.Option("--out", help='A bath: water taken out, "60 L".')] = None,
    in_: Annotated[str | None, typer.Option("--in", help="Water put in; as much as went out if left out.")] = None,
    fish_out: Annotated[bool, typer.Option("--fish-out", help="A bath: the fish are in clean water.")] = False,
    note: Note = None,
    really: Annotated[bool, typer.Option("--really", help="It is so, though it looks like a slip.")] = False,
    at: At = None,
) -> None:
    from quarantine.actions.bathing import end
    from quarantine.dosing import DEFERS

    made = end(session().desk(), code, out=out_, in_=in_, fish_out=fish_out, at=at, note=note, really=really)
    session().emit({k: v for k, v in made.items() if k != "lines"}, [*made["lines"], DEFERS])


def timer(code: Code) -> None:
    run = _read(code)
    if session().as_json:
        session().emit(_document(run, now()), [])
        return
    _watch(code)


def _read(code: str) -> Running:
    from quarantine.actions.bathing import watched

    with session().reader() as rows:
        return watched(rows, code, now())


def _document(run: Running, at: datetime) -> dict[str, Any]:
    left = int((run.latest - at).total_seconds())
    return {
        "code": run.code,
        "tank": run.tank,
        "title": run.title,
        "started_at": run.started_at,
        "end_from": run.earliest,
        "end_until": run.latest,
        "ended_at": run.over_at,
        "left": clock(left) if left >= 0 else f"over by {clock(-left)}",
        "then": run.after,
    }


def _watch(code: str) -> None:
    """The timer on this terminal until the bath is ended or the keeper types Ctrl-C: the record is left as it is."""
    run = _read(code)
    try:
        keep_time(run, lambda: _read(code), now, time.sleep, live=sys.stdout.isatty())
    except KeyboardInterrupt:
        out.write("")
        out.say(
            f"The timer is off; the {run.title} goes on and is on record. The time again: quarantine bath timer "
            f"{run.code}. Its end: quarantine bath end {run.code}."
        )
        raise typer.Exit(130) from None


def keep_time(
    run: Running,
    again: Callable[[], Running],
    clock_now: Callable[[], datetime],
    sleep: Callable[[float], None],
    *,
    live: bool,
) -> None:
    """Show the time that is left until the bath or dip has ended on record; a bell at the end, and each minute over.

    ``live``: each second on one line; else a line at the start, each full minute and at the end. ``again`` reads the
    record, once a minute; ``clock_now`` and ``sleep`` (seconds) are the clock's. Nothing is counted here but the
    clock: a sleeping computer loses no second.
    """
    shown: tuple[int, int] | None = None
    while run.over_at is None:
        left = int((run.latest - clock_now()).total_seconds())
        # Minutes of which a line is due, and whether the time is up: a bell rings as it is, and each minute after.
        mark = (-left // MINUTE, 1) if left <= 0 else (-(-left // MINUTE), 0)
        new = mark != shown
        if live or new:
            _say_line((BELL if new and left <= 0 else "") + _line(run, left), live)
        if new and shown is not None:
            run = again()
        shown = mark
        if run.over_at is None:
            sleep(1)
    if live:
        out.write("")
    out.say(f"The {run.title} in {run.tank} has ended on record.")


def _line(run: Running, left: int) -> str:
    if left > 0:
        early = int((run.earliest - run.latest).total_seconds()) + left
        may = "" if run.earliest == run.latest else (f", from {clock(early)} on" if early > 0 else ", may end now")
        return f"{run.tank}, {run.title}: {clock(left)} left{may}"
    over = "time is up" if left > -MINUTE else f"OVER by {clock(-left)}"
    return f"{run.tank}, {run.title}: {over}. Now: {run.after}. quarantine bath end {run.code}"


def _say_line(text: str, live: bool) -> None:
    """One line written over the one before at a terminal, else a line of its own."""
    if live:
        columns = out.width() or 80
        sys.stdout.write("\r" + text[: columns - 1].ljust(columns - 1))
    else:
        out.write(text)
    out.flush()


def clock(seconds: int) -> str:
    """Seconds for people, never below zero: "1 h 05 min", "4 min 59 s"."""
    time_left = timedelta(seconds=max(seconds, 0))
    hours, rest = divmod(int(time_left.total_seconds()), 3600)
    minutes, rest = divmod(rest, 60)
    if hours:
        return f"{hours} h {minutes} min"
    return f"{minutes} min {rest} s" if minutes else f"{rest} s"
