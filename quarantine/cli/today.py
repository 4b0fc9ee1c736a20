"""Today's list and a single dose. Kept light: no planner, no ORM, no pydantic."""

from __future__ import annotations

import json
import re
import shlex
from collections.abc import Sequence
from datetime import date, timedelta
from itertools import groupby
from typing import Annotated, Any
from zoneinfo import ZoneInfo

import typer

from quarantine.actions.claims import WITNESS, wants_witness
from quarantine.actions.conditioning import card_lines as conditioner_lines
from quarantine.actions.duties import day_for, role_named
from quarantine.actions.today import Day, Listed, list_day, tank_named, task_json
from quarantine.bathing import END
from quarantine.cli.render import card_lines, proposal_lines
from quarantine.cli.session import FROM_REST, KEEP_UNTIL, LOT, PRODUCT, STOCK, STRENGTH, now, session
from quarantine.formulary import Regimen, Substance
from quarantine.quantity import show
from quarantine.records.codec import instant
from quarantine.records.reads import Rows
from quarantine.roster import WITHOUT_MEDICINE
from quarantine.settings import Home


def read_day(text: str, option: str) -> date:
    """A typed day. Raises Usage."""
    from quarantine.failures import Usage

    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise Usage(f"{option} {text!r} is not a day; write YYYY-MM-DD.") from None
    if not 2000 <= day.year <= 2999:
        raise Usage(f"{option} {text!r} is too far away; write a day from 2000 to 2999.")
    return day


def today(
    on: Annotated[str | None, typer.Option(help="Another day, YYYY-MM-DD.")] = None,
    tank: Annotated[str | None, typer.Option(help="One tank only.")] = None,
) -> None:
    day = read_day(on, "--on") if on else None
    home = session().home()
    with session().reader() as rows:
        listed = list_day(rows, home, now(), day, tank)
        role = role_named(rows, session().who())
        listed = day_for(rows, listed, role)
        stock = runs_out(rows, home) if on is None and role not in WITHOUT_MEDICINE else []
    if session().as_json:
        document = {
            "on": listed.on,
            "tanks": [{k: t[k] for k in ("tank", "line", "alerts", "batches")} for t in listed.tanks],
            "tasks": [task_json(item) for item in listed.tasks],
            "stock": stock,
        }
        session().emit(document, [])
        return
    session().emit({}, lines_of(listed, stock))


def runs_out(rows: Rows, home: Home) -> list[str]:
    """What of the stock runs out within a week; without stock on record nothing is loaded for it."""
    if not rows.rows("lots"):
        return []
    from quarantine.actions.shopping import soon_short

    return soon_short(rows, home, now())


def lines_of(listed: Day, stock: Sequence[str] = ()) -> list[str]:
    if not listed.tanks:
        return [
            "Nothing is on record yet. Begin with: quarantine site add, keeper add, tank add, batch start;",
            "or see the whole job: quarantine demo.",
        ]
    lines = [f"{listed.on:%A %-d %B %Y}", *[line for t in listed.tanks for line in _head(t)], *stock, ""]
    place = water = ""
    for tank, items in groupby(listed.tasks, key=lambda item: item.row["tank_name"]):
        mine = list(items)
        if place and mine[0].row["system"] != water:
            lines.append("-- Wash hands; other net and siphon. --")
        place, water = tank, mine[0].row["system"]
        lines.append(f"{tank} ({', '.join(_batches(mine))})")
        listed_now = [item for item in mine if item.section not in ("waiting", "missed")]
        for item in listed_now:
            lines += _task_lines(item) if item is _last_like(item, listed_now) else [_earlier_line(item)]
        lines += _waiting_lines([item for item in mine if item.section == "waiting"])
        lines += _missed_lines([item for item in mine if item.section == "missed"])
    ahead = [f"  {tank}: {'; '.join(titles)}" for tank, titles in listed.tomorrow.items()]
    if ahead:
        ahead = ["", f"Next day, {listed.on + timedelta(days=1):%A %-d %B}", *ahead]
    if not listed.tasks:
        return [*lines, "Nothing is due.", *ahead]
    return [
        *lines,
        *ahead,
        "",
        'Tick: quarantine done CODE. Looks: quarantine look "TANK SEEN APPETITE" --no-signs. '
        "Wash hands, change nets and siphon between tanks.",
    ]


def _batches(items: list[Listed]) -> list[str]:
    """The batches that the tasks of a tank are of."""
    return sorted({row["batch_name"] for item in items for row in (item.row, *item.also)})


def _head(tank: dict[str, Any]) -> list[str]:
    """A tank's line, and under it what cannot wait."""
    return [tank["line"], *(f"  {alert}" for alert in tank["alerts"])]


def _last_like(item: Listed, listed: list[Listed]) -> Listed:
    """Of the planned changes of one step that are open together the last, whose card is shown: it is one water."""
    step = (item.row["batch"], item.row["step"])
    alike = [one for one in listed if (one.row["batch"], one.row["step"]) == step]
    return alike[-1] if item.row["kind"] == "change" and item.row["step"] != END else item


def _earlier_line(item: Listed) -> str:
    """One that was not done before the next one came: its time, and what is to be said of it."""
    code = item.row["code"]
    return (
        f"  {code} {item.row['title']}{when_due(item)}: the next one is due as well; if it was not done, say why: "
        f"quarantine skip {code} --because REASON"
    )


def _task_lines(item: Listed) -> list[str]:
    lines = [f"  {item.row['code']} {item.row['title']}{when_due(item)}"]
    if item.row["kind"] == "move":
        detail = json.loads(item.row["detail"])
        lines += [f"    Confirm: {c['value']}" for c in detail["before"] if c["kind"] == "word"]
        if detail.get("ceiling") and not LAST_OF_ITS_SERIES.search(item.row["title"]):
            lines.append(f"    {NEXT_MOVE}")
    if item.litres is not None:
        lines.append(f"    about {show(item.litres)} L of the water that is there")
    if item.conditioner is not None:
        lines += [f"    {line}" for line in conditioner_lines(item.conditioner, item.row["water"])]
    if item.proposal is not None:
        lines += [f"    {line}" for line in card_lines(item.proposal)]
    if wants_witness(item.row):
        lines.append(f"    {WITNESS}")
    return lines


NEXT_MOVE = (
    "The next move's window is counted from the minute this one is done: done early, all that follow come earlier in "
    "the day."
)
LAST_OF_ITS_SERIES = re.compile(r"\((\d+) of \1\)$")

BEGINS_AGAIN = (
    "Too late: the moves begin again from the first, as soon as anything is logged (a look will do); those that were "
    "still ahead fall away, and the days shown here are still those of before."
)


def _waiting_lines(items: list[Listed]) -> list[str]:
    """What is done as needed; and what has no day yet, a line for each thing that it waits for: not to be done now."""
    by_needs: dict[str, list[Listed]] = {}
    lines = []
    for item in items:
        if "as_needed" in json.loads(item.row["detail"]):
            lines.append(f"  {item.row['code']} {item.row['title']}: {item.row['needs']}{_claimed(item)}")
        else:
            by_needs.setdefault(item.row["needs"], []).append(item)
    for needs, waiting in by_needs.items():
        first = next((i.row for i in waiting if i.row["kind"] == "dose"), waiting[0].row)
        said = needs.replace(BY_WORD, f"{BY_WORD} {shlex.quote(first['tank_name'])} {first['step']}")
        work = "; ".join(f"{i.row['code']} {i.row['title']}{_claimed(i)}" for i in waiting)
        lines.append(f"  Not yet, {said}: {work}")
    return lines


BY_WORD = "quarantine event word"
"""How the plan says that a keeper's word is waited for; the tank and the step are known here."""


CARE = ("look", "feed", "test")
MANY = 3
"""So many missed codes are typed by hand; of more the one command for all is named."""


def _missed_lines(items: list[Listed]) -> list[str]:
    """What was missed, a line for each kind of work: it stays until a person gives the reason."""
    lines = []
    by_title: dict[str, list[Listed]] = {}
    for item in items:
        by_title.setdefault(item.row["title"], []).append(item)
    for title, missed in by_title.items():
        days = ", ".join(f"{i.row['code']} {i.row['day']}{_claimed(i)}" for i in missed)
        lines.append(f"  MISSED {title}: {days}")
    # A move that lapses is one that the template begins again (plan/windows.py); the row says so before the plan does.
    if any(item.row["kind"] == "move" and item.row["state"] == "planned" for item in items):
        lines.append(f"  {BEGINS_AGAIN}")
    if lines:
        lines.append("  Log it with --at if it was done, else say why: quarantine skip CODE ... --because REASON")
    if sum(item.row["kind"] in CARE for item in items) > MANY:
        tank = shlex.quote(items[0].row["tank_name"])
        lines.append(
            f"  All its looks, feeding and tests for one reason: quarantine skip --missed {tank} --because REASON"
        )
    return lines


def when_due(item: Listed) -> str:
    """How a task's time is said behind its title, and who is doing it now."""
    return _time_words(item) + _claimed(item)


def _claimed(item: Listed) -> str:
    return f", {item.claimed.words(item.row['zone'])}" if item.claimed else ""


def _time_words(item: Listed) -> str:
    row = item.row
    if item.section == "waiting":
        return f": {row['needs']}"
    until = instant(row["due_until"]).astimezone(ZoneInfo(row["zone"]))
    if row["lapses_at"] and json.loads(row["detail"]).get("ceiling"):  # an elapsed ceiling may end on another day
        too_late = instant(row["lapses_at"]).astimezone(ZoneInfo(row["zone"]))
        left = f" ({_left_words(item.left)} left)" if item.left is not None else ""
        return f", too late from {too_late:%Y-%m-%d %H:%M}{left}"
    if item.section == "overdue":
        return f", OVERDUE since {until:%Y-%m-%d %H:%M}"
    start = instant(row["due_from"]).astimezone(ZoneInfo(row["zone"]))
    if row["step"] == END:
        return f", RUNNING, {'ends' if item.section == 'later' else 'at the latest'} {until:%Y-%m-%d %H:%M}"
    if item.section == "later":
        return f", from {start:%H:%M}"
    if until.strftime("%H:%M") == "00:00":
        return ""
    # What ends on another day says on which.
    return f", until {until:%H:%M}" if until.date().isoformat() == row["day"] else f", until {until:%Y-%m-%d %H:%M}"


def _left_words(left: timedelta) -> str:
    """ "2 h 5 min", never longer than it is"""
    minutes = left // timedelta(minutes=1)
    hours, rest = divmod(minutes, 60)
    return " ".join([*([f"{hours} h"] if hours else []), *([f"{rest} min"] if rest or not hours else [])])


GATE = (
    "Whether a batch in this water may be dosed today is on today's list (quarantine today), which asks for what its "
    "protocol wants first (rule C8)."
)


def dose(
    substance: Annotated[str, typer.Argument(help="The substance's name.")],
    tank: Annotated[str, typer.Option(help="The tank.")],
    regimen: Annotated[str | None, typer.Option(help="The regimen's id, when there are several.")] = None,
    vessel: Annotated[str | None, typer.Option(help='A dip: the water in its vessel, "10 L".')] = None,
    stock: Annotated[str | None, typer.Option(help=STOCK)] = None,
    keep_until: Annotated[str | None, typer.Option("--keep-until", help=KEEP_UNTIL)] = None,
    from_rest: Annotated[bool, typer.Option("--from-rest", help=FROM_REST)] = False,
    strength: Annotated[str | None, typer.Option(help=STRENGTH)] = None,
    food: Annotated[str | None, typer.Option(help='In food: how much food to prepare at once, "50 g".')] = None,
    product: Annotated[str | None, typer.Option(help=PRODUCT)] = None,
    lot: Annotated[str | None, typer.Option(help=LOT)] = None,
    really: Annotated[bool, typer.Option("--really", help="The strength is so, though it looks like a slip.")] = False,
) -> None:
    from quarantine.actions import cards
    from quarantine.dosing import propose
    from quarantine.formulary import load

    found = load(substance)
    home = session().home()
    with session().reader() as rows:
        row = tank_named(rows.rows("tanks"), tank)
        setting = cards.setting_for(rows, home, row, cards.batch_in(rows, row["system"]), now())
    chosen = _regimen(found, regimen, row["water"], cards.instructed_rows(found, setting), in_food=food is not None)
    setting = cards.with_options(setting, chosen, vessel, food)
    out_of = cards.OutOf(product, lot, cards.Solution(stock, keep_until, from_rest))
    setting = cards.measured_out_of(setting, found, strength, out_of, sure=really)
    proposal = propose(found, chosen, setting)
    if proposal.hold is None:
        proposal = proposal._replace(how=(*proposal.how, GATE))
    document = {
        "tank": row["name"],
        "dose": cards.dose_json(proposal.dose),
        "hold": proposal.hold.as_json() if proposal.hold else None,
        "working": list(proposal.working),
        "advice": proposal.advice,
        "how": list(proposal.how),
    }
    session().emit(document, [f"{row['name']}, {found.name}, {chosen.id}: {chosen.purpose}", *proposal_lines(proposal)])


def _row(r: Regimen) -> str:
    return f"{r.id}: {r.purpose}, {r.route}, {'/'.join(r.water)}, {r.tier}"


def _regimen(
    substance: Substance,
    regimen: str | None,
    water: str,
    instructed: tuple[Regimen, ...] = (),
    *,
    in_food: bool = False,
) -> Regimen:
    """The regimen that was named; else the one that a standing instruction names; else the only ready one: a bath, or
    what is given ``in_food`` where food to prepare was said. Raises Unknown, and Refused where there is none or a
    choice."""
    from quarantine.failures import Refused, Unknown

    if regimen is not None:
        for one in substance.regimens:
            if one.id.casefold() == regimen.casefold():
                return one
        raise Unknown("regimen", regimen, [r.id for r in substance.regimens])
    routes = ("food",) if in_food else ("bath", "prolonged")
    instructed = tuple(r for r in instructed if r.route == "food") if in_food else instructed
    if len(instructed) == 1:
        return instructed[0]
    fits = list(instructed) or [
        r for r in substance.regimens if r.tier == "ready" and water in r.water and r.route in routes
    ]
    if len(fits) == 1:
        return fits[0]
    offered = [r for r in substance.regimens if r.tier != "refused"]
    if in_food and (eaten := [r for r in offered if r.route == "food"]):
        offered = eaten  # a bath's row would refuse the food all the same
    if not offered:  # the first caution of such an entry is the reason
        raise Refused(f"{substance.name} is never offered. {substance.cautions[0].text} Ask a veterinarian.")
    # The ready ones alone fit on a screen; what they are limited to tells apart those against the same.
    shown = fits or [r for r in offered if water in r.water] or offered
    limits = {
        r.id: "".join(f", {one.note.text[:1].lower()}{one.note.text[1:].rstrip('.')}" for one in r.limits)
        for r in shown
    }
    listed = "; ".join(f"{r.id}: {r.purpose}, {r.route}{limits[r.id]}" if fits else _row(r) for r in shown)
    what = "They are" if fits else "On record"
    raise Refused(
        f"{substance.name} has {len(fits) or 'no'} ready regimens {'in food' if in_food else 'for a bath'} in {water} "
        f"water; name one with --regimen. {what}: {listed}. Every row with its source: quarantine formulary show "
        f"{substance.id}.",
        known=[r.id for r in substance.regimens],
    )
