"""What goes on paper, read from the record: the day's sheet, the emergency card, the tank card. Reads only.

Nothing is laid out here: :mod:`quarantine.reports` makes text and pages of these documents.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Callable, Iterable
from contextlib import suppress
from datetime import date, datetime
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from functools import lru_cache
from itertools import groupby
from pathlib import Path
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from quarantine import dosing
from quarantine.actions.claims import WITNESS, wants_witness
from quarantine.actions.conditioning import card_lines
from quarantine.actions.today import Day, Listed, day_words, list_day, tank_named
from quarantine.facts import Fact, in_order, local_day
from quarantine.failures import Refused
from quarantine.formulary import Regimen, Substance, keys_of, load, titles
from quarantine.quantity import Quantity, decimal_up, show, show_significant
from quarantine.readings import PARAMETERS
from quarantine.records.codec import instant, text_of_instant
from quarantine.records.loading import fact_of, system_water, valid_at, volume_of
from quarantine.records.reads import Row, Rows
from quarantine.settings import Home
from quarantine.water.ledger import Water, level_of, substances_in

Card = Callable[[dosing.Proposal], list[str]]
"""How a dose is written: the same lines as on today's list."""


class Task(NamedTuple):
    """One task on paper. ``headline`` is the amount of a dose, or that it is held; ``lines`` stand under it."""

    code: str
    kind: str
    title: str
    when: str
    headline: str
    held: bool
    lines: tuple[str, ...]
    reads: tuple[str, ...]
    """what is measured, each with its unit: blanks to fill in"""
    confirm: tuple[str, ...]
    """what has to be true first, each with a box of its own"""


class TankPart(NamedTuple):
    """The work of one tank, with what a stranger must know of its fish."""

    tank: str
    line: str
    batches: tuple[str, ...]
    alive: int | None
    signs: tuple[str, ...]
    tasks: tuple[Task, ...]
    waiting: tuple[str, ...]
    missed: tuple[str, ...]


class Sheet(NamedTuple):
    """A day's work on paper."""

    on: date
    as_of: str
    sitter: bool
    keepers: tuple[str, ...]
    parts: tuple[TankPart, ...]
    idle: tuple[str, ...]
    """tanks without work that day"""
    kept_back: tuple[str, ...]
    """codes of that day's tasks that are not a sitter's"""
    alerts: tuple[str, ...] = ()
    """emergencies, incidents that are not over and fish that nobody has seen, each with its tank: for keepers"""


def read_sheet(
    rows: Rows,
    home: Home,
    now: datetime,
    card: Card,
    *,
    on: date | None = None,
    tank: str | None = None,
    sitter: bool = False,
) -> Sheet:
    """The sheet of a day, in the order of rule D. ``sitter``: only what anyone may do, and no medicine (rule C19)."""
    day = list_day(rows, home, now, on, tank)
    wanted = [item for item in day.tasks if not sitter or for_anyone(item)]
    standings = _standings(rows)
    parts = tuple(
        _part(list(items), day, card, standings, sitter=sitter)
        for _, items in groupby(wanted, key=lambda item: item.row["tank"])
    )
    worked = {part.tank for part in parts}
    return Sheet(
        on=day.on,
        as_of=as_of(now, _zone(rows, tank)),
        sitter=sitter,
        keepers=keeper_names(rows),
        parts=parts,
        idle=tuple(line["tank"] for line in day.tanks if line["tank"] not in worked),
        kept_back=tuple(item.row["code"] for item in day.tasks if sitter and _open(item) and not for_anyone(item)),
        alerts=() if sitter else tuple(f"{line['tank']}: {says}" for line in day.tanks for says in line["alerts"]),
    )


def _zone(rows: Rows, tank: str | None) -> str:
    tanks = rows.rows("tanks")
    if tank is not None:
        return str(tank_named(tanks, tank)["zone"])
    return str(tanks[0]["zone"]) if tanks else "UTC"


def as_of(now: datetime, zone: str) -> str:
    """The instant a paper was computed at, in the site's time, with the zone named."""
    return f"{now.astimezone(ZoneInfo(zone)):%Y-%m-%d %H:%M}, {zone}"


def keeper_names(rows: Rows) -> tuple[str, ...]:
    """Whom to call, by name."""
    return tuple(sorted((k["name"] for k in rows.rows("keepers")), key=str.casefold))


def _standings(rows: Rows) -> dict[str, dict[str, Any]]:
    return {b["name"]: json.loads(b["standing"]) for b in rows.rows("open_batches")}


def _part(items: list[Listed], day: Day, card: Card, standings: dict[str, dict[str, Any]], *, sitter: bool) -> TankPart:
    tank = str(items[0].row["tank_name"])
    batches = tuple(dict.fromkeys(item.row["batch_name"] for item in items))
    known = [standings[name] for name in batches if name in standings]
    lines = {t["tank_id"]: str(t["line"]) for t in day.tanks}  # it speaks of doses: not for a sitter
    open_ = [item for item in items if _open(item)]
    return TankPart(
        tank=tank,
        line=tank if sitter else lines.get(items[0].row["tank"], tank),
        batches=batches,
        alive=sum(int(s["alive"]) for s in known) if known else None,
        signs=tuple(sign["name"] for s in known for sign in s["signs"]),
        tasks=tuple(_task(item, card, sitter=sitter) for item in open_),
        waiting=()
        if sitter
        else tuple(
            f"{item.row['code']} {item.row['title']}: {item.row['needs']}"
            for item in items
            if item.section == "waiting"
        ),
        missed=() if sitter else tuple(_missed([item for item in items if item.section == "missed"])),
    )


def _open(item: Listed) -> bool:
    """Whether it is that day's work, to be ticked."""
    return item.section not in ("missed", "waiting")


def _missed(items: list[Listed]) -> Iterable[str]:
    by_title: dict[str, list[str]] = {}
    for item in items:
        by_title.setdefault(item.row["title"], []).append(f"{item.row['code']} {item.row['day']}")
    return (f"{title}: {', '.join(codes)}" for title, codes in by_title.items())


def _task(item: Listed, card: Card, *, sitter: bool) -> Task:
    detail = json.loads(item.row["detail"])
    note, who = detail["note"], detail["who"]
    confirm = [c["value"] for c in detail["before"] if c["kind"] == "word"]
    headline, lines = "", _without_medicine(note) if sitter else [note] if note else []
    if item.proposal is not None:
        headline, *rest = card(item.proposal)
        confirm = [] if item.proposal.hold else list(item.proposal.confirm)
        lines = [*_dose_lines(rest, item.proposal.dose.cautions), *lines]
        lines += [f"{WITNESS} Name: __________ Amount: __________"] if wants_witness(item.row) else []
    else:
        headline = "" if item.litres is None else f"about {show(item.litres)} L of the water that is there"
        if item.conditioner is not None and not sitter:
            lines = [*(line.strip() for line in card_lines(item.conditioner, item.row["water"])), *lines]
    return Task(
        code=item.row["code"],
        kind=item.row["kind"],
        title=item.row["title"] + ("" if who == "anyone" else f" ({_WHO[who]})"),
        when=_when(item),
        headline=headline,
        held=item.proposal is not None and item.proposal.hold is not None,
        lines=tuple(lines),
        reads=tuple(_blank(name) for name in detail["reads"]),
        confirm=tuple(c for c in confirm if not sitter or not about_medicine(c)),
    )


def _dose_lines(card: list[str], cautions: tuple[str, ...]) -> list[str]:
    """The card's lines without what stands elsewhere on paper, and every caution in one paragraph: a held dose names
    its substance too, so its cautions stand there all the same."""
    kept = [line.strip() for line in card if not line.strip().startswith(("Caution: ", "Confirm: "))]
    return [*kept, f"Cautions: {said_once(cautions)}"]


def said_once(cautions: tuple[str, ...]) -> str:
    """The cautions in one paragraph; one whose words stand in another is left to that one."""
    words = list(dict.fromkeys(caution.rstrip(".") for caution in cautions))
    return " ".join(f"{w}." for w in words if not any(w in other for other in words if other != w))


_WHO = {"keeper": "keepers only", "adult": "adults only"}


def _blank(name: str) -> str:
    parameter = PARAMETERS[name]
    return f"{parameter.title} ____ {parameter.unit}".rstrip()


def _when(item: Listed) -> str:
    """When it is due, and who is doing it now."""
    claimed = [item.claimed.words(item.row["zone"])] if item.claimed else []
    return ", ".join([*([due] if (due := _due(item)) else []), *claimed])


def _due(item: Listed) -> str:
    zone = ZoneInfo(item.row["zone"])
    until = instant(item.row["due_until"]).astimezone(zone) if item.row["due_until"] else None
    if until is None:
        return ""
    if item.section == "overdue":
        return f"OVERDUE since {until:%Y-%m-%d %H:%M}"
    start = instant(item.row["due_from"]).astimezone(zone)
    between = [f"from {start:%H:%M}"] if f"{start:%H:%M}" != "00:00" else []
    ends = f"{until:%H:%M}" if until.date().isoformat() == item.row["day"] else f"{until:%Y-%m-%d %H:%M}"
    return " ".join([*between, *([f"until {ends}"] if f"{until:%H:%M}" not in ("00:00", "23:59") else [])])


# --- What a stranger may do (F58, rule C19) ---------------------------------------------------------------

_MEDICINE = r"(?:medic|dose|dosing|treat|drug|bath|remed)\w*|dips?"
"""A text with one of these is about medicine, whoever may do it: it stays off a sitter's sheet."""


_MOVES = re.compile(r"\b(?:move|moving|catch)\b", re.I)
"""A title with one of these handles fish, which the sheet forbids a sitter (common practice, no source)."""


def for_anyone(item: Listed) -> bool:
    """Anyone may do it, it gives nothing, it handles no fish, and neither it nor its words are about a substance."""
    title = item.row["title"]
    if item.row["kind"] in ("dose", "move") or not _open(item) or moves_fish(title):
        return False
    return bool(json.loads(item.row["detail"])["who"] == "anyone") and not about_medicine(title)


def moves_fish(title: str) -> bool:
    """Whether a title is about moving or catching fish."""
    return bool(_MOVES.search(title))


def about_medicine(text: str) -> bool:
    """Whether a text speaks of medicine, or names a substance of the formulary."""
    return bool(_not_for_sitters().search(text))


@lru_cache(maxsize=1)
def _not_for_sitters() -> re.Pattern[str]:
    known = {name for title in titles() for name in (title.id.replace("-", " "), title.name, *title.also)}
    names = sorted(known - {"salt"})  # "salt water" is no medicine
    return re.compile(rf"\b(?:{_MEDICINE}|{'|'.join(map(re.escape, names))})\b", re.I)


def _without_medicine(note: str) -> list[str]:
    """The sentences of a note that are a sitter's business."""
    sentences = re.split(r"(?<=[.!?;])\s+", note)
    kept = " ".join(s for s in sentences if not about_medicine(s))
    return [kept] if kept else []


# --- The water of a tank ----------------------------------------------------------------------------------


class InWater(NamedTuple):
    """A substance that is or may be in the water: its upper bound, its ceiling, and the change that gets under it."""

    name: str
    upper: str
    ceiling: str
    change: str
    cautions: str
    reference: str


class TankWater(NamedTuple):
    """The water a tank shares in, and the litres of an emergency, each protective (rounded up)."""

    tank: str
    system: str
    kind: str
    litres: Decimal | None
    plus_minus_litres: Decimal | None
    found: str
    shares: tuple[str, ...]
    """other tanks in the same water"""
    half_litres: Decimal | None
    halving_litres: Decimal | None
    """litres of one change that halve any level even in the fullest tank there could be; None: all of the water"""
    inside: tuple[InWater, ...]
    unknown: bool
    """something of unknown size was added"""


def read_water(rows: Rows, tank: Row, now: datetime) -> TankWater:
    """The water of a tank's system: litres, and what may be in it, judged by upper bounds (rule C1)."""
    # Of what lies before, the query gives what touches a level, and that is all that is wanted.
    found = [fact_of(row) for row in rows.rows("facts_since", system=tank["system"], since=text_of_instant(now))]
    facts = [f for f in in_order(found) if f.at <= now]
    water, says = system_water(rows, tank["system"], now)
    litres = plus_minus = None
    if water is not None:
        litres, plus_minus = _shown(Decimal(str(water.litres)), Decimal(str(water.plus_minus_litres)))
    # A volume that is not known better than by its whole gives no level.
    judged = water if water is not None and water.plus_minus_litres < water.litres else None
    inside = []
    for name in substances_in(facts):
        high = _upper(facts, name, judged, now)
        if high != 0:
            rows_of = [f.data.get("regimen") for f in facts if f.kind == "dose" and f.data.get("substance") == name]
            inside.append(_in_water(load(name), rows_of[-1] if rows_of else None, high, litres, plus_minus))
    return TankWater(
        tank=tank["name"],
        system=tank["system_name"],
        kind=tank["water"],
        litres=litres,
        plus_minus_litres=plus_minus,
        found=says,
        shares=tuple(
            sorted(t["name"] for t in rows.rows("tanks") if t["system"] == tank["system"] and t["id"] != tank["id"])
        ),
        half_litres=None if litres is None else _up(litres / 2),
        halving_litres=None
        if litres is None or plus_minus is None or plus_minus >= litres
        else dosing.clearing_litres(litres, plus_minus, Decimal(2), Decimal(1)),
        inside=tuple(inside),
        # A substance that nobody gave has a level of zero, unless something of unknown size went in.
        unknown=any(f.kind == "unknown_addition" for f in facts) and _upper(facts, "", judged, now) is None,
    )


def _upper(facts: list[Fact], name: str, water: Water | None, now: datetime) -> Decimal | None:
    """The upper bound of a level in mg/L; None when it is not known. No loss counts that is not certain."""
    level = level_of(facts, name, water, "none", now) if water is not None else None
    return None if level is None or level.high is None else decimal_up(level.high)


def _in_water(
    substance: Substance, row_id: str | None, high: Decimal | None, litres: Decimal | None, plus_minus: Decimal | None
) -> InWater:
    row = next((r for r in substance.regimens if r.id == row_id), None)
    ceiling = dosing.ceiling_in_ledger(substance, row) if row else None
    unit = substance.ledger_unit
    upper = "not known" if high is None else f"at most {show_significant(high, 3, up=True)} {unit}"
    if "salt" in substance.classes:
        change = "judged by the total salinity: read it first"
    elif high is None or litres is None or plus_minus is None:
        change = "all of the water, because the level is not known"
    elif ceiling is None:
        change = f"no ceiling in {unit} is on record: ask a veterinarian"
    elif high <= ceiling:
        change = "none needed to be at or under the ceiling"
    else:
        out = dosing.clearing_litres(litres, plus_minus, high, ceiling)
        change = "all of the water" if out is None else f"at least {show(out)} L of water, in one change"
    notes = (*(row.cautions if row else ()), *substance.cautions, *substance.handling, *substance.legal)
    return InWater(
        name=substance.name,
        upper=upper,
        ceiling=f"not on record in {unit}" if ceiling is None else f"{show(ceiling)} {unit}",
        change=change,
        cautions=said_once((*(note.text for note in notes), dosing.DEFERS)),
        reference=_ceiling_source(substance, row, ceiling),
    )


def _ceiling_source(substance: Substance, row: Regimen | None, ceiling: Decimal | None) -> str:
    """Where the ceiling comes from, which may be another source than the regimen's."""
    figures = [c.figure for c in row.ceilings if dosing.counts_in_ledger(substance, c.figure.unit)] if row else []
    of_it = [f for f in figures if dosing.in_ledger(substance, Quantity(f.value, f.unit)) == ceiling]
    keys = keys_of(of_it[0].reference) if of_it else ()
    return "; ".join(substance.references[key].cite for key in keys if key in substance.references) or "no source"


def _shown(litres: Decimal, plus_minus: Decimal) -> tuple[Decimal, Decimal]:
    """Litres down to what is printed, the plus-minus widened by what that took: what is printed is computed with."""
    step = Decimal("0.1") if litres >= 10 else Decimal("0.001")
    shown = litres.quantize(step, rounding=ROUND_FLOOR)
    return shown, (plus_minus + litres - shown).quantize(step, rounding=ROUND_CEILING)


def _up(litres: Decimal) -> Decimal:
    return litres.quantize(Decimal("0.1"), rounding=ROUND_CEILING)


# --- The emergency card -----------------------------------------------------------------------------------


class Emergency(NamedTuple):
    """What an emergency card knows: whom to call, and the water of one tank, if one was named."""

    as_of: str
    keepers: tuple[str, ...]
    water: TankWater | None


def read_emergency(rows: Rows, now: datetime, tank: str | None) -> Emergency:
    """The card for one tank; without a tank the general one."""
    chosen = tank_named(rows.rows("tanks"), tank) if tank is not None else None
    stamp = as_of(now, chosen["zone"] if chosen else "UTC")
    return Emergency(stamp, keeper_names(rows), read_water(rows, chosen, now) if chosen else None)


# --- The tank card ----------------------------------------------------------------------------------------


class Lodger(NamedTuple):
    """A batch in the tank's own words."""

    batch: str
    fish: tuple[str, ...]
    alive: int
    arrived: str
    day: str
    protocol: str
    destination: str
    signs: tuple[str, ...]


class TankCard(NamedTuple):
    """A tank's own card."""

    tank: str
    site: str
    role: str
    water: TankWater
    volume: str
    label: str
    lodgers: tuple[Lodger, ...]
    on: date
    as_of: str


def read_tank_card(rows: Rows, now: datetime, tank: str) -> TankCard:
    """The card of a tank: its name, its water, its fish. Raises Unknown naming the known tanks."""
    row = tank_named(rows.rows("tanks"), tank)
    today = local_day(now, row["zone"])
    batches = [b for b in rows.rows("open_batches") if b["tank"] == row["id"]]
    volume, label = _volume_words(rows, row, now)
    return TankCard(
        tank=row["name"],
        site=row["site_name"],
        role=row["role"],
        water=read_water(rows, row, now),
        volume=volume,
        label=label,
        lodgers=tuple(_lodger(b, today) for b in batches),
        on=today,
        as_of=as_of(now, row["zone"]),
    )


def _volume_words(rows: Rows, tank: Row, now: datetime) -> tuple[str, str]:
    """The litres of this tank with how and when they were found, and what the maker's label would do to a dose."""
    from quarantine.water.volume import Volume, label_overdose_percent

    record = valid_at([volume_of(v) for v in rows.rows("volumes", tank=tank["id"])], now)
    label = Decimal(tank["label_litres"]) if tank["label_litres"] else None
    never = "" if label is None else f"The label says {show(label, 2)} L: never dose by the label."
    if record is None:
        return "not known: measure it before any dose (quarantine tank measure)", never
    litres, plus_minus = _shown(record.litres, record.plus_minus)
    on = local_day(record.valid_from, tank["zone"])
    words = f"{show(litres)} L, plus or minus {show(plus_minus)} L ({record.method}, {on})"
    if label is None:
        return words, never
    over = label_overdose_percent(float(label), Volume(float(record.litres), float(record.plus_minus), ()))
    amount = Decimal(repr(abs(over)))
    much = "too much" if over > 0 else "too little"
    return words, f"{never} A dose by it would be {show_significant(amount, 2)} % {much}."


def _lodger(batch: Row, today: date) -> Lodger:
    standing = json.loads(batch["standing"])
    arrived = local_day(instant(batch["arrived_at"]), batch["zone"])
    period = standing["periods"][0] if standing["periods"] else None
    day = f"day {(today - arrived).days}"
    if period is not None:
        day += f"; observation {day_words(period, today)}, complete on {period['complete_on']} if all goes well"
    fish = [
        f"{line['count']} {line['species']}" + (f", {line['note']}" if line["note"] else "")
        for line in json.loads(batch["fish"])
    ]
    return Lodger(
        batch=batch["name"],
        fish=tuple(fish),
        alive=int(standing["alive"]),
        arrived=arrived.isoformat(),
        day=day,
        protocol=batch["title"],
        destination=batch["destination_name"] or "",
        signs=tuple(f"{s['name']} ({s['severity']})" for s in standing["signs"]),
    )


# --- Keeping a page ---------------------------------------------------------------------------------------

FIRST_WORDS = b"<!DOCTYPE html>"


def save_page(path: Path, html: str, *, begins: bytes = FIRST_WORDS, what: str = "page") -> None:
    """Write a page whole or not at all, in the place of an older page. Raises Refused for a file that does not begin
    as one does, and where it cannot be written."""
    target = Path(os.path.realpath(path))
    part = target.parent / f".{os.urandom(8).hex()}.part"
    try:
        if target.exists() and not (target.is_file() and _is_page(target, begins)):
            raise Refused(f"{path} is not a {what} of this kind and was left alone; name another file.")
        with part.open("xb") as file:
            file.write(html.encode("utf-8"))
            file.flush()
            os.fsync(file.fileno())
        part.replace(target)
    except OSError as error:
        reason = (error.strerror or type(error).__name__).lower()
        raise Refused(f"{path} could not be written ({reason}); name another file.") from error
    finally:
        # After success it is gone already; under a path that is no folder it never was.
        with suppress(OSError):
            part.unlink()


def _is_page(target: Path, begins: bytes) -> bool:
    with target.open("rb") as file:
        return file.read(len(begins)) == begins
