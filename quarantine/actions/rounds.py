"""The round through the tanks, and the sheet that comes back: many deeds typed in short, one transaction a tank.

What is typed is read here without the record; what is written goes through the actions of single commands, within
one act. Order of the tanks: rule D. Typing the count is the proof of looking (rule A3); a dose is never ticked in
bulk (rule C18).
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any, NamedTuple

from quarantine import dosing
from quarantine.actions import cards
from quarantine.actions.consequences import earliest_days
from quarantine.actions.desk import Desk, find_site, find_tank, local_text, named, when
from quarantine.actions.duties import day_for, role_named
from quarantine.actions.noting import Noted, look, read_count, read_reading, read_sign, reading
from quarantine.actions.planning import OPEN
from quarantine.actions.today import Day, Listed, list_day
from quarantine.actions.vouching import NOTHING_BESIDE, Beside
from quarantine.actions.work import NoTask, Skipped, done, find_task, skip
from quarantine.evidence import ALL_SEEN_DAYS, SEEN_SHARE
from quarantine.facts import local_day
from quarantine.failures import Failure, Refused, Usage
from quarantine.formulary import regimen
from quarantine.quantity import show
from quarantine.readings import find
from quarantine.records.codec import text_of_instant
from quarantine.records.reads import Row, Rows
from quarantine.records.store import Act, open_store
from quarantine.settings import Home
from quarantine.signs import SIGNS

DAILY = ("look", "feed", "test")
"""Kinds of work that a look or a reading settles by itself; all else is asked one by one."""


# --- What was seen, as it is typed -------------------------------------------------------------------------


class Saw(NamedTuple):
    """What was typed at one tank. ``seen`` is a number of fish, "?" (not counted) or None (not said); ``appetite``
    0 to 3, "-" (no food offered) or None; ``readings`` as typed, NAME=VALUE; ``because`` the reason for what is left.
    """

    seen: str | None = None
    appetite: str | None = None
    no_signs: bool = False
    signs: tuple[str, ...] = ()
    gone: tuple[str, ...] = ()
    dead: int = 0
    readings: tuple[str, ...] = ()
    note: str = ""
    left: bool = False
    because: str = ""
    really: bool = False

    def looked(self) -> bool:
        """Whether anything was said of the fish."""
        return bool(self.seen or self.appetite or self.no_signs or self.signs or self.gone or self.dead or self.note)


KEYS = (
    "12      seen; typing it is the proof",
    "12 3    and appetite: 0 none, 1 few,",
    "        2 most, 3 all at once, - not fed",
    "? 3     not counted, appetite 3",
    "n       no signs",
    "s NAME  a sign; its beginning is enough",
    "        (another one: s odd swimming:B)",
    "g NAME  a sign that is gone",
    "d 1     found dead",
    "temp=25.5C ph=7.8   readings",
    "note TEXT   anything else",
    "x       not looked: left open",
    "x WHY   the rest is skipped, with reason",
    "really  it is so, though it looks wrong",
    "c       begin this tank again",
)
"""What can be typed of a tank, at most 40 columns wide."""


def read_saw(line: str, saw: Saw, open_signs: Sequence[str] = ()) -> Saw:
    """``saw`` with a typed line added: "12 3 n temp=25.5C", "s white spots", "g flashing", "d 1", "x no time".

    ``s``, ``g``, ``note`` and ``x`` take the rest of the line. ``open_signs`` are those of the tank ("name" or
    "name:B"). Raises Usage, Unknown or Refused for what does not read; then nothing of the line counts.
    """
    words = line.split()
    numbers: list[str] = []
    while words:
        word, *words = words
        key = word.casefold()
        if key in ("s", "g", "note", "x"):
            saw = _of_the_rest(key, " ".join(words), saw, open_signs)
            break
        if key == "d":
            if not words:
                raise Usage("How many were found dead? Write d and the number: d 1.")
            saw = saw._replace(dead=read_count(words[0], "d", 0))
            words = words[1:]
        elif key == "n":
            saw = saw._replace(no_signs=True)
        elif key == "really":
            saw = saw._replace(really=True)
        elif "=" in word:
            saw = saw._replace(readings=_with_reading(saw.readings, word))
        elif key in ("?", "-") or re.fullmatch(r"[0-9]+", word):
            numbers.append(word)
        else:
            raise Usage(f"{word!r} does not read here; ? shows what can be typed.")
    saw = _with_numbers(saw, numbers)
    if saw.no_signs and saw.signs:
        raise Usage(f"No signs, or {', '.join(saw.signs)}? It cannot be both.")
    return saw


def _of_the_rest(key: str, rest: str, saw: Saw, open_signs: Sequence[str]) -> Saw:
    if key == "x":
        return saw._replace(left=True, because=rest)
    if not rest:
        raise Usage(f"{key} wants words after it; ? shows what can be typed.")
    if key == "note":
        return saw._replace(note=rest)
    names = [name.strip() for name in rest.split(",") if name.strip()]
    if key == "s":
        return saw._replace(signs=_once(saw.signs, [sign_named(name, tuple(SIGNS)) for name in names]))
    among = tuple(open_signs) or tuple(SIGNS)
    return saw._replace(gone=_once(saw.gone, [sign_named(name, among) for name in names]))


def _once(there: tuple[str, ...], more: list[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys((*there, *more)))


def sign_named(text: str, among: tuple[str, ...]) -> str:
    """The sign that a typed beginning means, with the severity typed behind a colon. Two that begin so are asked.

    A name that no known sign begins with is another sign, and needs its severity. Raises Usage or Unknown.
    """
    begun, colon, severity = text.partition(":")
    wanted = " ".join(begun.casefold().replace("-", " ").split())
    found = [name for name in among if name.partition(":")[0] == wanted]
    found = found or [name for name in among if wanted and name.startswith(wanted)]
    if len(found) > 1:
        raise Usage(f"{begun!r} may be {' or '.join(found)}: type more of it.")
    full = (found[0].partition(":")[0] + colon + severity if colon else found[0]) if found else text
    read_sign(full)
    return full


def _with_reading(readings: tuple[str, ...], word: str) -> tuple[str, ...]:
    """The readings with this one; typed again it takes the place of the first, which is not written yet."""
    read_reading(word)
    return (*(other for other in readings if _measures(other) != _measures(word)), word)


def _measures(word: str) -> str:
    """The name of what a reading measures, whatever form of it the kit reads."""
    parameter = find(word.partition("=")[0])
    return parameter.name if parameter else word


def _with_numbers(saw: Saw, numbers: list[str]) -> Saw:
    """A number alone is the count, or the appetite once the count is said; two are both."""
    if len(numbers) > 2:
        raise Usage("Two numbers at most: how many were seen, and the appetite.")
    if len(numbers) == 2:
        return saw._replace(seen=_count(numbers[0]), appetite=_appetite(numbers[1]))
    if not numbers:
        return saw
    if numbers[0] == "-" or (saw.seen is not None and saw.appetite is None):
        return saw._replace(appetite=_appetite(numbers[0]))
    if saw.seen is not None:
        raise Usage("Count and appetite are both said; to change them type both: 12 3.")
    return saw._replace(seen=_count(numbers[0]))


def _count(text: str) -> str:
    return text if text == "?" else str(read_count(text, "The number seen", 0))


def _appetite(text: str) -> str:
    if text not in ("0", "1", "2", "3", "-"):
        raise Usage(f"Appetite is 0 none, 1 few, 2 most, 3 all at once, or - when not fed; not {text!r}.")
    return text


def refuse_uncounted(saw: Saw) -> None:
    """Raises Usage for a look that does not say how many were seen (rule A3)."""
    if saw.looked() and saw.seen is None:
        raise Usage("How many were seen? A look needs the count; ? in its place when they were not counted.")


def saw_words(saw: Saw) -> str:
    """What was typed so far, in words."""
    parts = []
    if saw.seen is not None:
        parts.append("not counted" if saw.seen == "?" else f"{saw.seen} seen")
    if saw.appetite is not None:
        parts.append("not fed" if saw.appetite == "-" else f"appetite {saw.appetite}")
    parts += ["no signs"] if saw.no_signs else [f"sign {name}" for name in saw.signs]
    parts += [f"{name} gone" for name in saw.gone]
    parts += [f"{saw.dead} dead"] if saw.dead else []
    parts += [*saw.readings, *([f"note: {saw.note}"] if saw.note else [])]
    if saw.because:
        parts.append(f"the rest skipped: {saw.because}")
    elif saw.left:
        parts.append("the rest left open")
    return ", ".join(parts) or "nothing"


# --- The stops ---------------------------------------------------------------------------------------------


class Stop(NamedTuple):
    """One tank of the round, with what is due there."""

    tank: str
    tank_id: str
    system: str
    zone: str
    line: str
    """how it stands; under it, a line each, what heads its list (an open incident, fish that nobody has seen)"""
    signs: tuple[str, ...]
    """open signs as "name:B" """
    daily: tuple[Listed, ...]
    """what a look and readings settle"""
    steps: tuple[Listed, ...]
    """what is asked one by one: chores, then changes, then doses (rule C11); at last a move, after which the fish are
    in another tank"""
    missed: tuple[str, ...]
    """days of which something was missed and has no reason yet"""


_ASKED = ("chore", "change", "dose", "move")


def read_stops(
    rows: Rows,
    home: Home,
    now: datetime,
    *,
    on: date | None = None,
    site: str | None = None,
    tank: str | None = None,
    who: str = "",
) -> list[Stop]:
    """The tanks with work due, in the order of rule D; ``on`` is a day that has been. ``who`` walks: for a sitter or a
    pupil the list is theirs, without medicine (rule C19).

    Raises Refused for a day that has not come, Unknown for a site or a tank that is not on record.
    """
    tanks = {row["id"]: row for row in rows.rows("tanks")}
    chosen = find_site(rows, site)["id"] if site is not None else None
    today = max((local_day(now, row["zone"]) for row in tanks.values()), default=None)
    if on is not None and today is not None and on > today:
        raise Refused(f"--on {on} has not come yet: what is to do that day is shown by quarantine today --on {on}.")
    past = None if on == today else on
    day = list_day(rows, home, now, past, tank)
    due = []
    for item in day.tasks:
        missed = item.section == "missed" and (not past or item.row["day"] == str(past))
        if (missed or item.section in ("overdue", "due")) and chosen in (None, tanks[item.row["tank"]]["site"]):
            # What was missed is work for the day it belonged to; on another day it only needs its reason.
            due.append(item._replace(section="due") if missed and past else item)
    day = day_for(rows, day._replace(tasks=due), role_named(rows, who))
    stops: dict[str, list[Listed]] = {}
    for item in day.tasks:
        stops.setdefault(item.row["tank"], []).append(item)
    made = [_stop(items, day, _signs_in(rows, tank_id)) for tank_id, items in stops.items()]
    return [stop for stop in made if stop.daily or stop.steps]


def _signs_in(rows: Rows, tank: str) -> tuple[str, ...]:
    here = [json.loads(b["standing"])["signs"] for b in rows.rows("open_batches") if b["tank"] == tank]
    return tuple(f"{sign['name']}:{sign['severity']}" for signs in here for sign in signs)


def _stop(items: list[Listed], day: Day, signs: tuple[str, ...]) -> Stop:
    row = items[0].row
    head = next((line for line in day.tanks if line["tank_id"] == row["tank"]), None)
    open_ = [item for item in items if item.section != "missed"]
    steps = [item for item in open_ if item.row["kind"] in _ASKED]
    return Stop(
        tank=row["tank_name"],
        tank_id=row["tank"],
        system=row["system"],
        zone=row["zone"],
        line="\n  ".join([head["line"], *head["alerts"]]) if head else row["tank_name"],
        signs=signs,
        daily=tuple(item for item in open_ if item.row["kind"] in DAILY),
        steps=tuple(sorted(steps, key=lambda item: _ASKED.index(item.row["kind"]))),
        missed=tuple(sorted({item.row["day"] for item in items if item.section == "missed"})),
    )


# --- Writing -----------------------------------------------------------------------------------------------


class Item(NamedTuple):
    """One thing to write. With ``saw`` a look or readings of ``tank``; else the outcome of the tasks ``codes``:
    skipped ``because``, or done, with the amount ``gave``. ``at`` is a local time as typed, now if None.

    ``if_open``: only the tasks that what was written before has not settled.
    """

    tank: str = ""
    saw: Saw | None = None
    codes: tuple[str, ...] = ()
    because: str | None = None
    gave: str | None = None
    at: str | None = None
    really: bool = False
    beside: Beside = NOTHING_BESIDE
    if_open: bool = False


class Performed(NamedTuple):
    """What was written: the result of each item's action, and the watched tasks that stay open."""

    results: list[Any]
    left: list[Row]
    uncounted: bool
    """a look that does not count for its batch (rule A3)"""


UNCOUNTED = (
    f"This look does not count: that needs {show(SEEN_SHARE * 100)} % of the living seen, and every fish within "
    f"{ALL_SEEN_DAYS} days (rule A3)."
)


class Faulty(Exception):
    """An item was refused; nothing of the act was written."""

    def __init__(self, place: int, failure: Failure) -> None:
        super().__init__(failure.sentence)
        self.place = place
        self.failure = failure


def perform(
    desk: Desk, items: Sequence[Item], *, kind: str, watch: Sequence[str] = (), by: str = "", once: bool = False
) -> Performed:
    """Write the items in their order: one transaction, one journal entry. Raises Faulty, and then nothing is written.

    ``by`` names the keeper who did the work where it is not the one who types. With ``once`` a second look at the
    same tank and minute is asked about: a sheet may have been entered before.
    """
    with desk.act() as act:
        typist = act.keeper
        if by:
            act.keeper = _keeper(act, by)
        results, said, moments = [], [], []
        for place, item in enumerate(items):
            try:
                if once:
                    _ask_about_twice(act, item)
                results.append(_write(desk._replace(under=act), act, item))
            except Failure as failure:
                raise Faulty(place, failure) from failure
            if results[-1] is not None:
                said.append(act.says)
                moments.append(act.happened_at)
        left = [row for row in (find_task(act, code) for code in watch) if row["state"] in OPEN]
        uncounted = any(item.saw is not None and _uncounted(act, desk.home, item) for item in items)
        act.keeper = typist
        act.describe(kind, "; ".join(said), min(moments, default=act.now))
        return Performed(results, left, uncounted)


def _keeper(rows: Rows, name: str) -> str:
    hint = " (add one: quarantine keeper add NAME)"
    return str(named(rows.rows("keepers"), "keeper", name, hint)["id"])


def _write(desk: Desk, act: Act, item: Item) -> Noted | Skipped | list[dict[str, Any]] | None:
    """One item through the action of its command; None when there was nothing left to do."""
    if item.saw is not None:
        return _write_saw(desk, item.tank, item.saw, item.at)
    codes = [code for code in item.codes if not item.if_open or find_task(act, code)["state"] in OPEN]
    if not codes:
        return None
    if item.because is not None:
        return skip(desk, codes, because=item.because, at=item.at, yes=True)
    return done(desk, codes, at=item.at, gave=item.gave, really=item.really, beside=item.beside)


def _write_saw(desk: Desk, tank: str, saw: Saw, at: str | None) -> Noted | None:
    refuse_uncounted(saw)
    if saw.seen is None:
        return reading(desk, tank, list(saw.readings), at=at, really=saw.really) if saw.readings else None
    return look(
        desk,
        " ".join((tank, saw.seen, *([saw.appetite] if saw.appetite is not None else []), *saw.readings)),
        dead=saw.dead,
        signs=list(saw.signs),
        gone=list(saw.gone),
        no_signs=saw.no_signs,
        note=saw.note or None,
        at=at,
        really=saw.really,
    )


def _uncounted(act: Act, home: Home, item: Item) -> bool:
    """Whether the look of this item is one that does not count for the batch in its tank."""
    assert item.saw is not None
    tank = find_tank(act, item.tank)
    batch = next((b for b in act.rows("open_batches") if b["tank"] == tank["id"]), None)
    if item.saw.seen is None or batch is None:
        return False
    moment = when(item.at, tank["zone"], act.now)
    if batch["arrived_at"] > text_of_instant(moment):
        return False
    evidence = cards.setting_for(act, home, tank, batch, moment).evidence
    return evidence is not None and not evidence.looks[-1].counts


def _ask_about_twice(act: Act, item: Item) -> None:
    if item.saw is None or item.saw.seen is None or item.saw.really:
        return
    tank = find_tank(act, item.tank)
    moment = when(item.at, tank["zone"], act.now)
    found = act.rows("facts_since", system=tank["system"], since=text_of_instant(moment))
    if any(
        f["kind"] == "look" and f["tank"] == tank["id"] and f["happened_at"] == text_of_instant(moment) for f in found
    ):
        raise Refused(
            f"A look at {tank['name']} at {local_text(moment, tank['zone'])} is on record or stands above: was this "
            "entered before? If it is a second look, say --really."
        )


def open_keeper(desk: Desk, name: str = "") -> str:
    """The name of the keeper who acts, as it is on record; ``name`` if given. Raises Unknown or Refused."""
    with desk._replace(dry_run=True).act() as act:
        id_ = _keeper(act, name) if name else act.keeper
        return str(act.rows("keeper_name", id=id_)[0]["name"]) if id_ else ""


def open_record(desk: Desk) -> None:
    """Make or upgrade the record first, as every command that writes does; the reads that follow only refuse."""
    open_store(desk.home.database, dry_run=desk.dry_run).close()


def make_ready(desk: Desk, stops: Sequence[Stop]) -> None:
    """Ask who acts, and read and plan once what the first answer will want: nobody waits for a key yet.

    Raises Unknown or Refused for a keeper who is not on record or not named.
    """
    with desk._replace(dry_run=True).act() as act:
        earliest_days(act, {stop.system for stop in stops})


DIP = (
    "A dip has its own vessel and two times, so it is recorded by itself, as soon as the fish are out: "
    "quarantine done --help shows how."
)


def by_itself(task: Row) -> str:
    """Why a task is not done with a key of the round, and the command that does it; "" for one that is."""
    if task["kind"] == "move":
        words = any(c["kind"] == "word" for c in json.loads(task["detail"])["before"])
        return (
            "A move says the tank they went to, and is recorded by itself, once what was typed here is written: "
            f"quarantine done {task['code']} --to TANK{' --confirm' if words else ''}"
        )
    return DIP if task["kind"] == "dose" and is_dip(task) else ""


def is_dip(task: Row) -> bool:
    """Whether a task is a dip, which is done in a vessel of its own (rule C15)."""
    treatment = json.loads(task["detail"])["treatment"]
    return bool(treatment and regimen(treatment["regimen"])[1].own_vessel)


class Card(NamedTuple):
    """A dose or a change as it would be after what was typed before it: the proposal, or the litres."""

    proposal: dosing.Proposal | None
    litres: Decimal | None

    def shown(self) -> str | None:
        """The amount that "as shown" means, with its unit; None when none is shown."""
        if self.proposal is not None:
            dose = self.proposal.dose
            return None if self.proposal.hold or dose.add is None else f"{show(dose.add)} {dose.add_unit}"
        return None if self.litres is None else f"{show(self.litres)} L"


def card_after(desk: Desk, items: Sequence[Item], code: str, at: str | None) -> Card:
    """The card of a task for the water as it is once ``items`` are written. Nothing is written. Raises Faulty."""
    with desk._replace(dry_run=True).act() as act:
        for place, item in enumerate(items):
            try:
                _write(desk._replace(under=act), act, item)
            except Failure as failure:
                raise Faulty(place, failure) from failure
        task = find_task(act, code)
        moment = when(at, task["zone"], act.now)
        if task["kind"] != "dose":
            return Card(None, cards.change_litres(task, act, moment) if task["kind"] == "change" else None)
        tank = next(t for t in act.rows("tanks") if t["id"] == task["tank"])
        setting = cards.setting_for(act, desk.home, tank, act.rows("batch_arrival", id=task["batch"])[0], moment)
        return Card(cards.propose_task(task, setting), None)


# --- The sheet that comes back -----------------------------------------------------------------------------


class Sheet(NamedTuple):
    """What holds for all lines of a returned sheet: its day, the time where a line has none ("" if each has its
    own), and the time it is entered."""

    day: date
    time: str
    now: datetime


class Entered(NamedTuple):
    """A line of a sheet: what it writes, and when that happened, at which place."""

    item: Item
    at: datetime
    zone: str


_TIME = re.compile(r"([01]?[0-9]|2[0-3]):([0-5][0-9])")


def read_time(text: str) -> str:
    """ "9:10" -> "09:10". Raises Usage for what is no clock time."""
    found = _TIME.fullmatch(text.strip())
    if found is None:
        raise Usage(f"{text.strip()!r} is no time of the day: write HH:MM, such as 09:10.")
    return f"{int(found[1]):02}:{found[2]}"


def read_entered(line: str, rows: Rows, sheet: Sheet) -> Entered:
    """ "Q1 12 3 n", "K7MP 09:10", "DX4KQ 3.4 g 09:15", "K7MP x no time": tank or code, what was done, the time.

    Raises a Failure in a plain sentence for what does not read; whether it fits the record is asked when it is
    written.
    """
    words = line.split()
    really = words[-1].casefold() == "really"
    words = words[:-1] if really else words
    time = sheet.time
    if words and ":" in words[-1] and words[-1][:1].isdigit():
        time, words = read_time(words[-1]), words[:-1]
    if not words:
        raise Usage("A line begins with a tank or a code.")
    if not time:
        raise Usage("When was it? Write the time behind it, such as 09:10.")
    at = f"{sheet.day} {time}"
    tank = _tank_first(words, rows)
    if tank is not None:
        item = _seen_item(tank["name"], words[len(tank["name"].split()) :], at, really)
        return Entered(item, when(at, tank["zone"], sheet.now, what="The time"), tank["zone"])
    task = _task_first(words[0], rows)
    item = _task_item(task, words[1:], at, really)
    return Entered(item, when(at, task["zone"], sheet.now, what="The time"), task["zone"])


def _tank_first(words: list[str], rows: Rows) -> Row | None:
    """The tank whose name the words begin with, the longest such name."""
    said = [word.casefold() for word in words]
    fits = [t for t in rows.rows("tanks") if (name := t["name"].casefold().split()) == said[: len(name)]]
    return max(fits, key=lambda t: len(t["name"].split()), default=None)


def _task_first(word: str, rows: Rows) -> Row:
    try:
        return find_task(rows, word)
    except NoTask:
        names = ", ".join(sorted(t["name"] for t in rows.rows("tanks")))
        raise Refused(f"{word!r} is no task's code, and no tank's name ({names}).") from None


def _seen_item(tank: str, words: list[str], at: str, really: bool) -> Item:
    saw = read_saw(" ".join(words), Saw(really=really))
    if saw.left:
        raise Usage("x belongs to a task's code, with the reason: K7MP x no time.")
    refuse_uncounted(saw)
    if not saw.looked() and not saw.readings:
        raise Usage(f"What was seen or read in {tank}? Write {tank} and the count, or readings.")
    return Item(tank=tank, saw=saw, at=at)


_AMOUNT_LINE = re.compile(
    r"(?P<gave>.+?)(?: witness (?P<witness>\D+?) (?P<typed>\d.*?))?(?: because (?P<because>.+))?", re.IGNORECASE
)
"""An amount, and what the sheet has beside it: "3.4 g witness Noor 3.4 g because the tail of the jar"."""


def _task_item(task: Row, words: list[str], at: str, really: bool) -> Item:
    code, kind = task["code"], task["kind"]
    if words and words[0].casefold() == "x":
        if len(words) == 1:
            raise Usage(f"Why was {code} not done? Write the reason: {code} x no time.")
        return Item(codes=(code,), because=" ".join(words[1:]), at=at)
    if kind in ("look", "test") and words:
        return _seen_item(task["tank_name"], words, at, really)
    if kind == "dose" and is_dip(task):
        raise Refused(DIP)
    if kind in ("dose", "change"):
        if not words or [w.casefold() for w in words] == ["as", "shown"]:
            example = "3.4 g" if kind == "dose" else "12 L"
            raise Usage(f"{code} wants the amount that was written on the sheet: {code} {example}.")
        found = _AMOUNT_LINE.fullmatch(" ".join(words))
        assert found is not None, "what is no witness and no reason is the amount"
        said = Beside(found["witness"], found["typed"], found["because"])
        return Item(codes=(code,), gave=found["gave"], at=at, really=really, beside=said)
    if words:
        raise Usage(f"{code} ({task['title']}) takes only a time; {' '.join(words)!r} does not read.")
    return Item(codes=(code,), at=at, really=really)


def in_time(entries: Sequence[Entered]) -> list[int]:
    """The places of the entries in the order they are written in: as they happened, then as they stand."""
    return sorted(range(len(entries)), key=lambda place: (entries[place].at, place))


def faults_of(desk: Desk, entries: Sequence[Entered], *, by: str) -> tuple[dict[int, Failure], Performed]:
    """What the record refuses of a sheet: place -> why; and what writing the rest would say. Nothing is written."""
    faults: dict[int, Failure] = {}
    while True:
        places = [place for place in in_time(entries) if place not in faults]
        items = [entries[place].item for place in places]
        try:
            made = perform(desk._replace(dry_run=True), items, kind=SHEET_KIND, by=by, once=True)
        except Faulty as faulty:
            faults[places[faulty.place]] = faulty.failure
        else:
            return faults, made


ROUND_KIND, SHEET_KIND = "round", "sheet entered"
"""What the journal calls an entry of either."""
