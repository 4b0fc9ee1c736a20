"""What happened: looks, readings, and events without a task. Facts are never refused (rule C7)."""

from __future__ import annotations

import json
import re
import shlex
from datetime import datetime, timedelta
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any, NamedTuple

from quarantine.actions import conditioning, measured
from quarantine.actions.admitting import added_line, ask_about_medicine
from quarantine.actions.brought import NONE, SOME
from quarantine.actions.consequences import ask_about_moved, consequences, earliest_days
from quarantine.actions.desk import Desk, find_tank, local_text, named, when
from quarantine.actions.dipping import after_change
from quarantine.actions.entering import add_fact, id_after
from quarantine.actions.exchanging import Open, ask_about_litres, carried_over, left_and_due, open_work
from quarantine.actions.planning import replan
from quarantine.actions.systems import load_system, plan_system
from quarantine.actions.whereabouts import came_into, present
from quarantine.facts import Fact, local_day
from quarantine.failures import Refused, Unknown, Usage
from quarantine.followups import FOLLOWUP
from quarantine.plan import Plan
from quarantine.quantity import Quantity, read, read_with_error, show, show_significant, to
from quarantine.readings import COMPUTED, NITRITE_PER_N, PARAMETERS, SOURCE, Parameter, as_read, find, find_source
from quarantine.records.codec import instant
from quarantine.records.codec import text_of_instant as _text
from quarantine.records.loading import fact_of
from quarantine.records.reads import Row
from quarantine.records.store import Act
from quarantine.settings import Home
from quarantine.signs import SIGNS
from quarantine.water.advice import Advice

if TYPE_CHECKING:
    from quarantine.actions.cards import OutOf

AMMONIA_WITHIN_HOURS = 12
"""pH, temperature and salinity that stand in for those not in the line: the age at which rule C14 calls a
temperature unknown."""


class Noted(NamedTuple):
    """What was written down, in lines for the keeper, and what it changed."""

    lines: list[str]
    document: dict[str, Any]


class Line(NamedTuple):
    """One part of a look line: tank, seen (None: not counted), appetite 0-3 (None: not said), readings, found dead."""

    tank: str
    seen: int | None
    appetite: int | None
    readings: list[tuple[Parameter, Decimal, Decimal]]
    dead: int = 0


WORDS = ("seen", "appetite", "dead")
"""What a look line can say by name, beside readings; by name the order is free (F44)."""


def read_look(text: str, tank_names: list[str]) -> list[Line]:
    """ "Q1 12 3, Q2 6 2 temp=25.5C, pond ? 3" -> one Line a tank.

    Words with "=" (readings, seen=12, appetite=3, dead=1) may stand anywhere in their part; of the others the tank
    comes first, then the number seen, then the appetite, as far as these were not said by name.
    Raises Usage, Unknown or Refused for what does not read.
    """
    return [_read_part(part.split(), tank_names) for part in text.split(",")]


def _read_part(words: list[str], tank_names: list[str]) -> Line:
    if not words:
        raise Usage('A look names the tank and how many were seen: quarantine look "Q1 12 3".')
    said = [word.partition("=") for word in words if "=" in word]
    named = {name.casefold(): value for name, _, value in said if name.casefold() in WORDS}
    readings = [read_reading("".join(word)) for word in said if word[0].casefold() not in WORDS]
    _once([word[0].casefold() for word in said if word[0].casefold() in WORDS] + [p.title for p, _, _ in readings])
    plain = [word for word in words if "=" not in word]
    name = next((n for n in sorted(tank_names, key=len, reverse=True) if _starts(plain, n)), None)
    if name is None:
        raise Unknown("tank", plain[0] if plain else " ".join(words), sorted(tank_names))
    rest, open_ = plain[len(name.split()) :], [word for word in ("seen", "appetite") if word not in named]
    named |= dict(zip(open_, rest, strict=False))
    if len(rest) > len(open_) or "seen" not in named:
        raise Usage(f'After {name} come the number seen (or ?) and the appetite 0 to 3: "{name} 12 3".')
    appetite = _appetite(named["appetite"], name) if "appetite" in named else None
    return Line(name, _seen(named["seen"], name), appetite, readings, read_count(named.get("dead", "0"), "dead", 0))


def _once(names: list[str]) -> None:
    """Nothing stands twice in one line: which of the two would count?"""
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise Usage(f"{twice} stands twice in one line; a second one is a line of its own.")


def read_count(text: str, what: str, least: int) -> int:
    """A typed number of fish, a whole number from ``least`` to 999999. Raises Usage in a plain sentence."""
    if re.fullmatch(r"[0-9]{1,6}", text.strip()) is None or int(text) < least:
        raise Usage(f"{what} {text!r} is not a count of fish: write a whole number, {least} or more.")
    return int(text)


def _starts(words: list[str], name: str) -> bool:
    parts = name.casefold().split()
    return [w.casefold() for w in words[: len(parts)]] == parts


def _seen(text: str, tank: str) -> int | None:
    if text == "?":
        return None
    if not re.fullmatch(r"[0-9]{1,6}", text):
        raise Usage(f"How many were seen in {tank}? {text!r} is not a count (write ? when you did not count).")
    return int(text)


def _appetite(text: str, tank: str) -> int | None:
    if text == "-":
        return None
    if text not in ("0", "1", "2", "3"):
        raise Usage(f"Appetite in {tank} is 0 none, 1 few, 2 most, 3 all at once (or - when not fed), not {text!r}.")
    return int(text)


def read_reading(word: str) -> tuple[Parameter, Decimal, Decimal]:
    """ "temp=25.5C" -> the parameter, its value in its own unit, and the kit's step.

    The step is what a ± says, else one unit of the last digit typed. Nitrite read as nitrogen ("nitrite_n=0.03mg/L",
    "nitrite=0.03mg/L as N") is turned into nitrite, of which the parameter then tells the form that was read.
    Raises Usage, Unknown or Refused.
    """
    name, _, text = word.partition("=")
    parameter, text = _form(find(name), text)
    if parameter is None or parameter.name in COMPUTED:
        if find_source(name) is not None:
            raise Usage("Chlorine is kept of the water that goes in, not of a tank: say --tap-chlorine VALUE.")
        raise Unknown("reading", name, [p for p in PARAMETERS if p not in COMPUTED])
    value, step = _believed(parameter, text)
    if parameter.name == "copper":
        _ask_about_copper(parameter, text, value)
    if parameter.form == "N":
        value, step = value * NITRITE_PER_N, step * NITRITE_PER_N
    return parameter._replace(error=step / 2 if PLUS_MINUS.search(text) else None), value, step


PLUS_MINUS = re.compile(r"±|\+-|\+/-")


def _ask_about_copper(parameter: Parameter, text: str, value: Decimal) -> None:
    """A band of hundredths is held by these readings: which form the kit reads, and of a zero how fine it reads, is
    asked when they are typed and not when a dose is held for want of it (rule C13). Raises Usage."""
    if not parameter.form:
        forms = " or ".join(f"{name}=..." for name in ("copper_free", "copper_total", "copper_chelated"))
        raise Usage(
            f"Copper {text}: which copper does the kit read? Write {forms}, as its leaflet says; only free copper is "
            "what a dose is counted in."
        )
    if not value and not PLUS_MINUS.search(text) and not re.match(r"\s*0*\.\d", text):
        raise Usage(
            f"Copper {text}: how fine does the kit read? Write its zero with all its digits, such as "
            f"copper_{parameter.form}=0.00mg/L for steps of 0.01 mg/L, or with its plus-minus."
        )


def _believed(parameter: Parameter, text: str) -> tuple[Decimal, Decimal]:
    """A typed value in the parameter's own unit, and the step of the kit. Raises Usage, or Refused out of its range."""
    value, step = _ph(text) if parameter.kind == "ph" else _measured(text, parameter)
    if not parameter.low <= value <= parameter.high:
        raise Refused(
            f"{parameter.title} {text} is hard to believe (expected {show(parameter.low)} to {show(parameter.high)}"
            f"{' ' + parameter.unit if parameter.unit else ''}): a slip of the decimal point or the unit?"
        )
    return value, step


def _form(parameter: Parameter | None, text: str) -> tuple[Parameter | None, str]:
    """ "0.03 mg/L as N" of nitrite: the form that the kit reads, taken out of the text. Raises Usage for two forms."""
    found = re.fullmatch(r"(.*?)\s*\bas\s*(n|nitrogen|nitrite-n|no2-n|no2|nitrite)\s*", text, re.IGNORECASE)
    if parameter is None or found is None:
        return parameter, text
    if parameter.name != "nitrite":
        raise Usage(f"{parameter.title} {text!r}: what it is counted as is said of nitrite only; leave 'as' out.")
    form = "NO2" if found[2].casefold() in ("no2", "nitrite") else "N"
    if parameter.form not in ("", form):
        raise Usage(f"nitrite {text!r} is said to be two things: nitrite_n=... or nitrite_no2=...")
    return parameter._replace(form=form), found[1]


def _ph(text: str) -> tuple[Decimal, Decimal]:
    number, _, error = text.replace("+-", "±").replace("+/-", "±").partition("±")
    try:
        value = Decimal(number.strip())
        step = Decimal(error.strip()) * 2 if error.strip() else last_digit(number)
    except InvalidOperation:
        raise Usage(f"pH {text!r} does not read: write a number such as ph=7.8.") from None
    if not value.is_finite() or not step.is_finite():
        raise Usage(f"pH {text!r} does not read: write a number such as ph=7.8.")
    return value, step


def _measured(text: str, parameter: Parameter) -> tuple[Decimal, Decimal]:
    plain = None if PLUS_MINUS.search(text) else read(text.strip(), parameter.kind, parameter.title)
    number = re.match(r"\s*([\d.]+)", text)
    default = last_digit(number[1]) / 2 if number else Decimal("0.05")
    unit = plain.unit if plain else parameter.unit
    value, error = read_with_error(text, parameter.kind, parameter.title, Quantity(default, unit))
    # A converted value (78 °F) has no end; a thousandth of the unit is finer than any kit.
    shown = to(value, parameter.unit).quantize(Decimal("0.001")).normalize()
    return shown, to(error, parameter.unit, difference=True) * 2


def last_digit(number: str) -> Decimal:
    """One unit of the last digit of a typed number: 0.1 for "7.8", 1 for "25"."""
    exponent = Decimal(number.strip()).as_tuple().exponent
    return Decimal(1).scaleb(int(exponent))


def look(
    desk: Desk,
    text: str,
    *,
    dead: int = 0,
    signs: list[str] | None = None,
    gone: list[str] | None = None,
    no_signs: bool = False,
    note: str | None = None,
    at: str | None = None,
    really: bool = False,
) -> Noted:
    """Looks at one tank or several, in one line: typing the count is the proof of looking (rule A3)."""
    seen_signs = [read_sign(s) for s in signs or []]
    gone_signs = [read_sign(s)[0] for s in gone or []]
    if no_signs and seen_signs:
        raise Usage("Say --sign for what was seen, or --no-signs, not both.")
    with desk.act() as act:
        tanks = act.rows("tanks")
        lines = read_look(text, [t["name"] for t in tanks])
        if len(lines) > 1 and (dead or seen_signs or gone_signs or note):
            raise Usage("--dead, --sign, --gone and --note belong to one tank: give that tank a line of its own.")
        if dead:
            if lines[0].dead:
                raise Usage("Say the dead once: --dead, or dead= in the line.")
            lines = [lines[0]._replace(dead=dead)]
        document: dict[str, Any] = {"looks": []}
        said: list[str] = []
        systems: dict[str, datetime] = {}
        before = earliest_days(act, {find_tank(act, line.tank)["system"] for line in lines})
        for line in lines:
            tank = find_tank(act, line.tank)
            moment = when(at, tank["zone"], act.now)
            if not really:
                _ask_about_look(act, tank, line, moment, of_fish=bool(line.dead or seen_signs or gone_signs))
                _ask_about_warmth(act, tank, line.readings, moment)
            shown = _write_look(act, desk.home, tank, line, moment, seen_signs, gone_signs, no_signs, note)
            said += shown.pop("lines")
            document["looks"].append(shown)
            systems[tank["system"]] = moment
        made = [replan(act, system) for system in systems]
        said += consequences(act, before, made)
        said += _outbreaks(act, made, [shown["batch"] for shown in document["looks"] if shown["dead"]])
        moment = next(iter(systems.values()))
        said += _counts_again(act, tanks, lines[0].tank, made, seen_signs, moment) if seen_signs else []
        said += _begun_by_it(act)
        act.describe("look", "; ".join(f"{line.tank}: {_seen_text(line)}" for line in lines), moment)
        return Noted(said, document)


def _ask_about_look(act: Act, tank: Row, line: Line, moment: datetime, *, of_fish: bool) -> None:
    """Counts that cannot be, and signs or deaths of fish that had not arrived yet, are asked about once."""
    here = [b for b in act.rows("open_batches") if b["tank"] == tank["id"]]
    there = present(act, tank["id"], moment)
    if of_fish and here and not there:
        raise Refused(f"{_not_there(act, here[0], tank, moment)} If it was seen on other fish there, say --really.")
    if not there:
        return
    if len(there) == 1:
        _ask_about_count(act, "died", there[0], line.dead)
    alive = sum(_alive(b) for b in there) - line.dead
    if line.seen is not None and line.seen > alive:
        raise Refused(
            f"{line.seen} seen in {tank['name']}, but {alive} are alive on record. If it is so, say --really; fish "
            "that came in are recorded with: quarantine event added."
        )


def _alive(batch: Row) -> int:
    return int(json.loads(batch["standing"]).get("alive", 0))


def _not_there(act: Act, batch: Row, tank: Row, moment: datetime) -> str:
    """What is dated before the fish came is most often a slip of the date; or of the tank, where they were moved."""
    zone, arrived = tank["zone"], instant(batch["arrived_at"])
    if moment < arrived:
        came = f"Batch {batch['name']} arrived {local_text(arrived, zone)}"
    else:
        came = f"Batch {batch['name']} came into {tank['name']} {local_text(came_into(act, batch), zone)}"
    return f"{came}; at {local_text(moment, zone)} its fish were not in {tank['name']}. Check --at."


def _urgent(signs: list[tuple[str, str | None]]) -> list[str]:
    """What an A sign calls for, said at once (rule C9)."""
    worst = [name for name, stated in signs if (stated or _severity(name)) == "A"]
    if not worst:
        return []
    return [
        f"ACT NOW ({', '.join(worst)}): test the water, add air, isolate the sick, call a veterinarian. "
        "Every dose in this water is held until a named person lifts it: quarantine event lift."
    ]


def _counts_again(
    act: Act, tanks: list[Row], name: str, made: list[Plan], signs: list[tuple[str, str | None]], moment: datetime
) -> list[str]:
    """What the signs of a look do to the clear count of the batches there (rule A5), and how soon they call."""
    tank = next(t for t in tanks if t["name"] == name)
    said = []
    for batch in present(act, tank["id"], moment):
        standing = next((plan.standings[batch["id"]] for plan in made if batch["id"] in plan.standings), None)
        if standing is None:
            continue
        evidence = standing.evidence
        open_ = {sign.name: sign.severity for sign in evidence.open_signs}
        of = {name: open_.get(name, stated or _severity(name)) for name, stated in signs}
        grave = {severity for severity in of.values() if severity in ("A", "B")}
        clear, on = evidence.clear, local_day(moment, tank["zone"])
        if not grave:
            count = (
                f"{batch['name']}: a sign of C: the clear count pauses while it is open; after 48 h it is B (rule A5)."
            )
        elif clear.zero == on:
            count = f"{batch['name']}: the clear count begins again, day 0 is {on} (rule A5)."
        else:
            count = f"{batch['name']}: day 0 of the clear count stays {clear.zero} ({clear.because}), after this look."
        typed = shlex.quote(batch["tank_name"])
        same_day = f" B means the same day: look again, and test the water (quarantine reading {typed} ...)."
        said.append(count + (same_day if "B" in grave else ""))
    return said


def _begun_by_it(act: Act) -> list[str]:
    """The steps of a template that what was written begins, as far as they have a day (needs F8)."""
    facts = {row["id"] for row in act.written("fact")}
    new = [row for row in act.written("task") if "key" in row and row["key"].split(":")[2] in facts]
    steps = [row for row in new if row["day"] is not None and not row["step"].startswith(FOLLOWUP)]
    return [f"Begins by it: {row['code']} {row['title']}, {row['day']}." for row in steps]


def _severity(name: str) -> str:
    return SIGNS[name].severity if name in SIGNS else "B"


def _refuse_not_open(act: Act, tank: Row, batches: list[Row], gone: list[str], moment: datetime) -> None:
    """Only a sign that is open can be gone; another name is most often a slip, and would leave the right one open."""
    made = [plan_system(load_system(act, system, act.now), moment) for system in {b["system"] for b in batches}]
    standings = {batch: standing for plan in made for batch, standing in plan.standings.items()}
    open_ = {sign.name for b in batches for sign in standings[b["id"]].evidence.open_signs}
    other = [name for name in gone if name not in open_]
    if other:
        names = f"open there: {', '.join(sorted(open_))}" if open_ else "no sign is open there"
        raise Refused(f"{', '.join(other)} was not open in {tank['name']} then, so it cannot be gone; {names}.")


def _seen_text(line: Line) -> str:
    return f"{'not counted' if line.seen is None else f'{line.seen} seen'}"


def read_sign(text: str) -> tuple[str, str | None]:
    """ "white spots" or "odd swimming:B" -> the sign and the severity the keeper stated, if any."""
    name, _, severity = text.partition(":")
    tidy = " ".join(name.casefold().split()).replace("-", " ")
    if severity and severity.upper() not in ("A", "B", "C"):
        raise Usage(f"The severity of {name!r} is A (act now), B (same day) or C (watch), not {severity!r}.")
    if tidy not in SIGNS and not severity:
        raise Unknown(
            "sign", name, list(SIGNS), f'; for another one say how urgent it is: --sign "{name}:B" (A, B or C)'
        )
    return tidy, severity.upper() or None


def _write_look(
    act: Act,
    home: Home,
    tank: Row,
    line: Line,
    moment: datetime,
    signs: list[tuple[str, str | None]],
    gone: list[str],
    no_signs: bool,
    note: str | None,
) -> dict[str, Any]:
    here = [b for b in act.rows("open_batches") if b["tank"] == tank["id"]]
    batches = present(act, tank["id"], moment)
    names = ", ".join(b["name"] for b in batches)
    if len(batches) > 1 and line.dead:
        raise Refused(
            f"{tank['name']} holds {len(batches)} batches ({names}): say whose fish died: quarantine event died "
            f"{shlex.quote(tank['name'])} {line.dead} --batch NAME."
        )
    if gone and batches:
        _refuse_not_open(act, tank, batches, gone, moment)
    batch = batches[0] if len(batches) == 1 else None
    common: dict[str, Any] = {"system": tank["system"], "tank": tank["id"], "at": moment}
    if line.dead:
        of = batch["id"] if batch else None
        add_fact(act, "died", data={"count": line.dead, "found": "at a look"}, batch=of, **common)
    data: dict[str, Any] = {"seen": line.seen, "no_signs": no_signs}
    if line.appetite is not None:
        data |= {"appetite": line.appetite, "offered": True}
    if signs:
        data["signs"] = [name for name, _ in signs]
        data["severity"] = {name: s for name, s in signs if s}
    if gone:
        data["gone"] = gone
    if note:
        # Control characters would act on whatever shows the note later.
        data["note"] = "".join(c for c in note if ord(c) >= 32 and not 127 <= ord(c) < 160)
    missing = _not_said(act, tank, batches[-1], line, moment) if batches else []
    # Of several batches in one tank each has its own look; whose fish were not seen is known only when all were.
    whole = line.seen is None or line.seen == sum(_alive(b) for b in batches)
    looks = [(batch["id"] if batch else None, line.seen)]
    if len(batches) > 1:
        looks = [(one["id"], _alive(one) if whole and line.seen is not None else None) for one in batches]
    for of, seen in looks:
        own = {**data, "seen": seen}
        add_fact(act, "look", data=own, batch=of, id_=id_after(act, tank["system"], moment), **common)
    gone_words = f", {line.dead} found dead" if line.dead else ""
    lines = [f"{tank['name']}, {local_text(moment, tank['zone'])}: {_seen_text(line)}{gone_words}"]
    lines += _urgent(signs)
    made = write_readings(act, home, tank, line.readings, moment)
    lines += made.lines
    if missing:
        lines.append(f"Not said today: {', '.join(missing)}.")
    if len(batches) > 1:
        counted = "" if whole else ", without a count: not all were seen, and whose are not is not known"
        lines.append(f"{tank['name']} holds {names}: it is a look at each of them{counted}.")
    if not here and not batches and line.seen and tank["role"] == "quarantine":
        lines.append(f"No batch is in {tank['name']}: this look counts for none.")
    lines += _moved_on(batches, tank)
    if batches and not no_signs and not signs:
        lines += _not_clear(act, tank, moment, gone)
    if here and not batches:
        came = local_text(came_into(act, here[0]), tank["zone"])
        lines.append(f"A look at the tank before batch {here[0]['name']} came ({came}): it counts for no batch.")
    return {
        "tank": tank["name"],
        "batch": batch["name"] if batch else None,
        "seen": line.seen,
        "appetite": line.appetite,
        "dead": line.dead,
        "signs": [name for name, _ in signs],
        "gone": gone,
        "not_said": missing,
        **({"advice": measured.advice_json(made.advice)} if made.advice else {}),
        "lines": lines,
    }


def _moved_on(batches: list[Row], tank: Row) -> list[str]:
    """Of what was entered late: for which fish it counts, that are in another tank by now."""
    return [
        f"Batch {b['name']} was in {tank['name']} then, and is in {b['tank_name']} now: it counts for it."
        for b in batches
        if b["tank"] != tank["id"]
    ]


def _came_along(act: Act, tank: Row) -> list[str]:
    """Other waters that medicine may have come into with fish, by what this act wrote of a time before they went."""
    tanks = {t["id"]: t["name"] for t in act.rows("tanks")}
    late = [row for row in act.written("fact") if row["kind"] == "unknown_addition" and row["system"] != tank["system"]]
    return [
        f"{tanks[row['tank']]}, {local_text(instant(row['happened_at']), tank['zone'])}: {row['data']['what']}: its "
        "level there is unknown until it is read or all the water is changed, and no dose of it is shown before "
        "(rule C12)."
        for row in late
    ]


def _not_clear(act: Act, tank: Row, moment: datetime, gone: list[str]) -> list[str]:
    """What a look that does not say "no signs" leaves to be said, where no other look of its day said so (rule A4)."""
    day = local_day(moment, tank["zone"])
    since = _text(moment - timedelta(days=1, hours=1))  # a day of 25 hours
    found = [fact_of(row) for row in act.rows("facts_since", system=tank["system"], since=since)]
    looks = [
        f.data for f in found if f.kind == "look" and f.tank == tank["id"] and local_day(f.at, tank["zone"]) == day
    ]
    if any(look.get("no_signs") for look in looks):
        return []
    if gone:
        return [f"Gone: {', '.join(gone)}. A day is clear by a look with --no-signs, when none is seen any more."]
    return ["Signs were not mentioned, so this is not a clear day; say --no-signs when there were none."]


def _not_said(act: Act, tank: Row, batch: Row, line: Line, moment: datetime) -> list[str]:
    """What a daily look asks for and nobody has said on this day, in this line or before (F44). No food on day 0."""
    day = local_day(moment, tank["zone"])
    since = _text(moment - timedelta(days=1, hours=1))  # a day of 25 hours
    found = [fact_of(row) for row in act.rows("facts_since", system=tank["system"], since=since)]
    found = [f for f in found if f.tank == tank["id"] and local_day(f.at, tank["zone"]) == day]
    read_today = {f.data["parameter"] for f in found if f.kind == "reading"} | {p.name for p, _, _ in line.readings}
    looks = [f.data for f in found if f.kind == "look"]
    fasting = day == local_day(instant(batch["arrived_at"]), tank["zone"])
    fed = fasting or line.appetite is not None or any(look.get("appetite") is not None for look in looks)
    counted = line.seen is not None or any(look.get("seen") is not None for look in looks)
    said = [("how many were seen", counted), ("appetite", fed)]
    said += [(PARAMETERS[name].title, name in read_today) for name in ("temperature", "tan")]
    return [words for words, there in said if not there]


class Written(NamedTuple):
    """Readings that were written down: lines for the keeper, each as a document, and what they ask for."""

    lines: list[str]
    readings: list[dict[str, Any]]
    advice: tuple[Advice, ...]


def write_readings(
    act: Act,
    home: Home,
    tank: Row,
    readings: list[measured.Read],
    moment: datetime,
    kit: measured.Kit | None = None,
) -> Written:
    """Reading facts; the un-ionized ammonia that follows from them as a range; kits, duplicates and advice."""
    if not readings:
        return Written([], [], ())
    names = [p.name for p, _, _ in readings]
    day = local_day(moment, tank["zone"])
    before = measured.past_of(act, tank["system"], moment)
    earlier = _latest(before, tank, moment) if "tan" in names else {}
    id_ = id_after(act, tank["system"], moment)
    documents = []
    for parameter, value, step in readings:
        data = {
            "parameter": parameter.name,
            "value": value,
            "step": step,
            "unit": parameter.unit,
            "water": tank["water"],
            **({"form": parameter.form} if parameter.form else {}),
            **({"plus_minus": parameter.error} if parameter.error is not None else {}),
            **(kit.data(day) if kit is not None else {}),
        }
        add_fact(act, "reading", system=tank["system"], tank=tank["id"], at=moment, data=data, id_=id_)
        id_ = id_after(act, tank["system"], moment)
        documents.append({name: value for name, value in data.items() if name not in ("water", "step")})
    past = measured.past_of(act, tank["system"], moment)
    advice = measured.advice_for(act, home, tank, names, moment, past)
    steps = {parameter.name: step for parameter, _, step in readings}
    told = [{**d, "step": steps[d["parameter"]]} for d in documents]
    lines = [f"{PARAMETERS[d['parameter']].title} {measured.value_words(d)}" for d in told]
    lines += _ammonia_line(tank, readings, earlier)
    lines += measured.kit_lines(kit, names, list(before.readings), tank, day)
    lines += measured.duplicate_lines(past, names, tank["zone"])
    lines += measured.unmet_lines(act, tank, names, moment)
    return Written(lines + measured.advice_lines(advice), documents, advice)


def _latest(past: measured.Past, tank: Row, moment: datetime) -> dict[str, Fact]:
    """The latest reading of each parameter of this tank in the twelve hours before, by name."""
    since = moment - timedelta(hours=AMMONIA_WITHIN_HOURS)
    return {f.data["parameter"]: f for f in past.readings if f.tank == tank["id"] and f.at >= since}


def _ammonia_line(tank: Row, readings: list[tuple[Parameter, Decimal, Decimal]], earlier: dict[str, Fact]) -> list[str]:
    """Un-ionized ammonia of a total ammonia in the line; what the line lacks is taken from ``earlier``, and said."""
    from quarantine.quantity import decimal_down, decimal_up
    from quarantine.water.ammonia import un_ionized_mg_per_l

    known = {p.name: (float(v), float(s)) for p, v, s in readings}
    if "tan" not in known:
        return []
    wanted = ["ph", "temperature", *(["salinity"] if tank["water"] != "fresh" else [])]
    used = [earlier[name] for name in wanted if name not in known and name in earlier]
    known |= {f.data["parameter"]: (float(f.data["value"]), float(f.data["step"])) for f in used}
    missing = [PARAMETERS[n].title for n in ("ph", "temperature") if n not in known]
    if missing:
        return [
            f"for un-ionized ammonia give {' and '.join(missing)} in the same line: none was read in the last "
            f"{AMMONIA_WITHIN_HOURS} h"
        ]
    salt = known["salinity"][0] if "salinity" in known and tank["water"] != "fresh" else None
    try:
        low, high = un_ionized_mg_per_l(known["tan"], known["ph"], known["temperature"], tank["water"], salt)
    except Refused as outside:
        return [f"un-ionized ammonia cannot be computed: {outside.sentence}"]
    shown_low = show_significant(decimal_down(low), 2, up=False)
    shown_high = show_significant(decimal_up(high), 2, up=True)
    says = f"un-ionized ammonia {shown_low} to {shown_high} mg/L as N, over the kits' steps"
    return [says + (f", with {_used(used, tank['zone'])}" if used else "")]


def _used(used: list[Fact], zone: str) -> str:
    """ "pH 7.8 (2026-02-10 09:00) and temperature 25 °C (2026-02-10 09:00), the latest of the last 12 h" """
    parts = []
    for fact in used:
        parameter = PARAMETERS[fact.data["parameter"]]
        unit = f" {parameter.unit}" if parameter.unit else ""
        value = show(as_read(Decimal(fact.data["value"]), Decimal(fact.data["step"])))
        parts.append(f"{parameter.title} {value}{unit} ({local_text(fact.at, zone)})")
    return f"{' and '.join(parts)}, the latest of the last {AMMONIA_WITHIN_HOURS} h"


def reading(
    desk: Desk,
    tank_name: str,
    words: list[str],
    *,
    at: str | None = None,
    kit: measured.Kit | None = None,
    source: dict[str, Any] | None = None,
    really: bool = False,
) -> Noted:
    """Readings of the water of one tank, with their kit; ``source`` is what was tested of the water that goes in.

    A temperature far from the last one is asked about once; ``really`` answers (rule C7).
    """
    readings = [read_reading(word) for word in joined(words)]
    if not readings and not source:
        raise Usage("What was read? Write NAME=VALUE, such as temp=25.5C ph=7.8 tan=0.5mg/L.")
    _once([p.title for p, _, _ in readings])
    with desk.act() as act:
        tank = find_tank(act, tank_name)
        moment = when(at, tank["zone"], act.now)
        if not really:
            _ask_about_warmth(act, tank, readings, moment)
        before = earliest_days(act, {tank["system"]})
        said = []
        if source:
            said = [f"new water: {_source_words(source)}"]
            add_fact(
                act,
                "source_water",
                system=tank["system"],
                tank=tank["id"],
                at=moment,
                data=source,
                id_=id_after(act, tank["system"], moment),
            )
        made = write_readings(act, desk.home, tank, readings, moment, kit)
        moved = consequences(act, before, [replan(act, tank["system"])])
        act.describe("reading", f"{tank['name']}: {', '.join([*said, *made.lines[: len(readings)]])}", moment)
        document: dict[str, Any] = {"tank": tank["name"], "readings": made.readings}
        if source:
            document["source_water"] = _source_json(source)
        if made.advice:
            document["advice"] = measured.advice_json(made.advice)
        return Noted([f"{tank['name']}, {local_text(moment, tank['zone'])}:", *said, *made.lines, *moved], document)


FAR_CELSIUS = 10
"""A temperature so many °C from the last one is asked about: 2.5 for 25, Fahrenheit for Celsius. Our choice, no
source."""

FAR_WITHIN = timedelta(days=7)
"""How old the last one may be for that. Our choice, no source."""


def _ask_about_warmth(
    act: Act, tank: Row, readings: list[tuple[Parameter, Decimal, Decimal]], moment: datetime
) -> None:
    """A slip of the decimal point or the unit of a temperature would hold doses, or let too warm ones through."""
    found_now = next(((value, step) for parameter, value, step in readings if parameter.name == "temperature"), None)
    if found_now is None:
        return
    typed, step = found_now
    found = [fact_of(row) for row in act.rows("facts_since", system=tank["system"], since=_text(moment - FAR_WITHIN))]
    before = [
        fact
        for fact in found
        if fact.kind == "reading" and fact.data["parameter"] == "temperature" and fact.tank == tank["id"]
    ]
    earlier = [fact for fact in before if moment - FAR_WITHIN <= fact.at <= moment]
    if not earlier:
        return
    last = max(earlier, key=lambda fact: (fact.at, fact.entered_at))
    if abs(typed - Decimal(last.data["value"])) >= FAR_CELSIUS:
        raise Refused(
            f"{show(as_read(typed, step))} °C in {tank['name']}, and "
            f"{show(as_read(Decimal(last.data['value']), Decimal(last.data['step'])))} °C were read there "
            f"{local_text(last.at, tank['zone'])}: a slip of the decimal point, or of the unit? If it is so, say "
            "--really; nothing was recorded."
        )


def joined(words: list[str]) -> list[str]:
    """The words of a command line, with a unit or a form that a space cut off put back: "nitrite=0.1 mg/L as N"."""
    whole: list[str] = []
    for word in words:
        if whole and "=" not in word and re.search(r"\d", re.sub("no2", "", word, flags=re.IGNORECASE)) is None:
            whole[-1] += f" {word}"
        else:
            whole.append(word)
    return whole


def source_data(
    ph: str | None, tan: str | None, temperature: str | None, chlorine: str | None = None
) -> dict[str, Any]:
    """The new water as --tap-ph, --tap-tan, --tap-temp and --tap-chlorine say it. Raises Usage or Refused like a
    reading."""
    data: dict[str, Any] = {}
    for name, text in (("ph", ph), ("tan", tan), ("temperature", temperature), ("chlorine", chlorine)):
        if text is not None:
            value, step = _believed(SOURCE[name], text)
            data |= {name: value, f"{name}_step": step}
    return data


def _source_words(source: dict[str, Any]) -> str:
    shown = [(parameter, source[name]) for name, parameter in SOURCE.items() if name in source]
    return ", ".join(f"{p.title} {show(v)}{' ' + p.unit if p.unit else ''}" for p, v in shown)


def _source_json(source: dict[str, Any]) -> list[dict[str, Any]]:
    return [
        {"parameter": name, "value": source[name], "unit": parameter.unit}
        for name, parameter in SOURCE.items()
        if name in source
    ]


# --- Events ----------------------------------------------------------------------------------------------


def event(
    desk: Desk,
    kind: str,
    tank_name: str,
    data: dict[str, Any],
    *,
    at: str | None = None,
    of_batch: bool = False,
    batch_name: str | None = None,
    yes: bool = True,
    really: bool = False,
    no_water: bool = False,
) -> Noted:
    """One fact without a task. The consequence (old and new dates) is shown first when ``yes`` is False.

    Facts are never refused (rule C7): what looks like a slip is asked about once, ``really`` answers.
    """
    for name in ("because", "what", "by"):
        if name in data and not str(data[name]).strip():
            raise Usage(f"--{name} is empty; say it in a few words.")
    with desk.act() as act:
        tank = find_tank(act, tank_name)
        moment = when(at, tank["zone"], act.now)
        batch = _batch_of(act, tank, moment, kind, batch_name, really=really and kind == "died") if of_batch else None
        if kind == "died" and not data.get("euthanised"):
            data |= _since_look(act, tank, moment)
        there = find_tank(act, data["to"]) if kind == "moved" else None
        if there is not None:
            if there["id"] == tank["id"]:
                raise Refused(f"{tank['name']} is the tank they are in; say where they went.")
            if there["role"] in STAYING and batch is not None:
                raise Refused(_stay_in_quarantine(batch, tank, there, int(data["count"]), at, no_water=no_water))
            data = {**data, "to": there["name"], "to_tank": there["id"], "water": NONE if no_water else SOME}
        if kind == "lift":
            _refuse_idle_lift(act, desk.home, tank, moment)
        entered = ask_about_medicine(act, tank, moment, really=really) if kind == "added" else []
        came = added_line(batch, data) if kind == "added" and batch is not None else None
        if came is not None:
            data = {**data, "species": came["species"]}
        if not really:
            _ask_about_count(act, kind, batch, int(data.get("count", 0)))
            if kind == "added" and batch is not None:
                _ask_about_twice(act, batch, data, moment)
            litres = [Decimal(data[name]) for name in ("out_litres", "in_litres", "litres") if name in data]
            ask_about_litres(act, tank["system"], litres, moment)
        conditioner = _conditioner(act, desk.home, tank, data, moment) if kind == "change" else None
        before = earliest_days(act, {tank["system"], there["system"] if there else tank["system"]})
        asked_before = open_work(act, tank["system"])
        id_ = id_after(act, tank["system"], moment)
        if came is not None and batch is not None:
            act.change("batch", batch["id"], fish=[*json.loads(batch["fish"]), {**came, "added": id_}])
        add_fact(
            act,
            kind,
            system=tank["system"],
            tank=tank["id"],
            batch=batch["id"] if batch else None,
            at=moment,
            data=data,
            id_=id_,
        )
        carried = carried_over(act, tank, there, moment) if there and not no_water else []
        made = replan(act, tank["system"])
        moved = consequences(act, before, [made, *([replan(act, there["system"])] if there and carried else [])])
        ask_about_moved(act, moved, yes=yes)
        told = {name: value for name, value in data.items() if value not in (False, None) and name not in UNTOLD}
        words = ", ".join(_words(name, value, tank["zone"]) for name, value in told.items())
        act.describe(kind, f"{tank['name']}: {kind}, {words}", moment)
        return Noted(
            [
                f"{tank['name']}, {local_text(moment, tank['zone'])}: {kind.replace('_', ' ')} recorded ({words})",
                *_moved_on([batch] if batch else [], tank),
                *moved,
                *entered,
                *(_new_species(batch, came) if came is not None and batch is not None else []),
                *(_second_source(act, tank, batch, data) if kind == "added" and batch else []),
                *(_conditioner_lines(conditioner, tank, data) if conditioner else []),
                *_what_follows(act, tank, kind, moment, asked_before),
                *carried,
                *_came_along(act, tank),
                *(_outbreaks(act, [made], [batch["name"]]) if kind == "died" and batch else []),
                *([_after_death(batch, bool(data.get("euthanised")))] if kind == "died" and batch else []),
            ],
            {
                "tank": tank["name"],
                "kind": kind,
                "at": moment,
                "data": data,
                "moved": moved,
                **({"conditioner": conditioning.as_json(conditioner)} if conditioner else {}),
            },
        )


STAYING = ("quarantine", "holding")
"""The roles of tanks in which fish are still in quarantine: there they belong to a batch, with its clocks."""


def _stay_in_quarantine(batch: Row, tank: Row, there: Row, count: int, at: str | None, *, no_water: bool) -> str:
    """Why fish are not noted as gone that went to another quarantine tank, and what moves them (rules B3 and B4)."""
    if there["system"] == tank["system"]:
        return (
            f"{tank['name']} and {there['name']} share their water: nothing is to be recorded, for the protocol the "
            "fish are where they were."
        )
    name, whole = shlex.quote(batch["name"]), count >= _alive(batch)
    how = f"batch move {name}" if whole else f"batch split {name} --fish {count} --name NAME"
    how += f" --to {shlex.quote(there['name'])}{f' --at {shlex.quote(at)}' if at else ''}"
    return (
        f"{there['name']} is a {there['role']} tank, so these fish stay in quarantine and need a batch, with its "
        f"clocks and its doses (rule {'B3' if whole else 'B4'}): quarantine {how}"
        f"{' --no-water' if no_water else ''}. Nothing was recorded."
    )


def _new_species(batch: Row, came: dict[str, Any]) -> list[str]:
    """What it means that fish of a species came in that a batch did not hold (rule C8)."""
    if any(line["species"].casefold() == came["species"].casefold() for line in json.loads(batch["fish"])):
        return []
    typed = f"{shlex.quote(batch['name'])} {shlex.quote(came['species'])}"
    return [
        f"{came['species']} is new in {batch['name']}: from now on every dose is judged by it too, what it is not on a "
        f"list for is said with quarantine batch groups {typed}, and a first dose is tried on a few of it before "
        "(rule C8)."
    ]


def _conditioner(act: Act, home: Home, tank: Row, data: dict[str, Any], moment: datetime) -> conditioning.Conditioner:
    """What the new water of a change takes, by what stood in the water and on record before it."""
    way = data.get("by")
    if way is not None and way not in conditioning.WAYS:
        raise Usage(f"--by {way!r} is no way for water to come in; say one of {', '.join(conditioning.WAYS)}.")
    return conditioning.for_change(act, home, tank, tank["name"], Decimal(data["in_litres"]), moment)


def _conditioner_lines(conditioner: conditioning.Conditioner, tank: Row, data: dict[str, Any]) -> list[str]:
    lines = conditioning.full_lines(conditioner, tank["water"], data.get("by"))
    if conditioner.new is not None and "by" not in data:
        lines.append("By bucket or by hose? It was not said: --by bucket, --by hose.")
    return lines


UNTOLD = ("to_tank", "water", "explained")
"""Of a fact's data, what is not said again to the keeper: an id, and what follows from the rest."""


def _words(name: str, value: Any, zone: str) -> str:
    """One fact's detail as people say it."""
    if isinstance(value, Decimal):
        return f"{name.removesuffix('_litres').removesuffix('litres')} {show(value, 2)} L".strip()
    if isinstance(value, list):
        return f"{name} {', '.join(value)}"
    if name == "brings":
        from quarantine.actions.exchanging import brings_words

        return brings_words(value)
    if name == "since_look":
        return f"since the last look ({local_text(instant(value), zone)})"
    return {"count": f"{value} fish"}.get(name) or (name if value is True else f"{name} {value}")


def _outbreaks(act: Act, made: list[Plan], names: list[str | None]) -> list[str]:
    """What holds every dose in the water of these batches (rules A7 and C9), said at once."""
    from quarantine.evidence import act_now_words, emergency

    ids = {b["id"]: b["name"] for b in act.rows("open_batches") if b["name"] in names}
    found = [emergency(plan.standings[id_].evidence) for plan in made for id_ in ids if id_ in plan.standings]
    return [act_now_words(why) for why in dict.fromkeys(found) if why is not None]


def _after_death(batch: Row, euthanised: bool) -> str:
    """What a body is still good for, and where it goes (the notes' section 9: from memory)."""
    keep = "The body" if euthanised else "A fresh body, chilled and not frozen,"
    return (
        f"{keep} can tell what it was: quarantine exam {shlex.quote(batch['name'])} --what necropsy. A suspected "
        "notifiable disease is reported to the authority. Else bag it for household waste as the council says; never "
        "down the drain, never as feed (from memory)."
    )


def _second_source(act: Act, tank: Row, batch: Row, data: dict[str, Any]) -> list[str]:
    """Said once, when fish of another source enter a water: whose risk they share, in every batch there (F72)."""
    source = (data.get("source") or batch["source"]).strip()
    here = [b for b in act.rows("open_batches") if b["system"] == tank["system"]]
    others = [b for b in here if b["id"] != batch["id"]]
    if source.casefold() == batch["source"].strip().casefold() and not others:
        return []
    second = any(source.casefold() != b["source"].strip().casefold() for b in here)
    beside = "".join(f", beside batch {b['name']} from {b['source']}" for b in others)
    what = "A second source is" if second else "More fish are"
    return [
        f"{what} in the water of {tank['name']} from now on: fish from {source} in batch {batch['name']} from "
        f"{batch['source']}{beside}. What one carries the others can catch."
    ]


WATER_KINDS = ("change", "topup", "evaporation", "exchange", "removal", "unknown_addition")
"""Facts that change what is in the water, or what is known of it."""


def _what_follows(act: Act, tank: Row, kind: str, moment: datetime, before: dict[str, Open]) -> list[str]:
    """What a keeper has to know after a fact that takes medicine out, or fish away."""
    if kind == "moved":
        return ["These fish have not been signed off: the tank they went to shares their risk, and is quarantined too."]
    if kind not in WATER_KINDS:
        return []
    ended = after_change(act, tank["system"], moment) if kind == "change" else []
    return left_and_due(act, tank["name"], tank["system"], before, kind=kind.replace("_", " "), ended=ended)


def _ask_about_count(act: Act, kind: str, batch: Row | None, count: int) -> None:
    """More fish gone than are alive is a slip, or the count was wrong before; so are ten times as many come."""
    if batch is None or kind not in ("added", "died", "moved", "missing"):
        return
    alive = _alive(batch)
    if kind == "added":
        if count > MANY_TIMES * max(alive, 1):
            raise Refused(
                f"{count} added, but {alive} of {batch['name']} are alive on record: a slip of the number? If it is "
                "so, say --really; nothing was recorded."
            )
        return
    if count > alive:
        raise Refused(
            f"{count} {kind}, but {alive} of {batch['name']} are alive on record. If it is so, say --really; else "
            "correct the count."
        )


MANY_TIMES = 10
"""More than so many times the living are asked about when they come in. Our choice, no source."""

TWICE_WITHIN = timedelta(minutes=30)
"""The same number of fish added again so soon is asked about. Our choice, no source."""


def _ask_about_twice(act: Act, batch: Row, data: dict[str, Any], moment: datetime) -> None:
    """As many fish of the same source that come in again within half an hour are most often one addition, typed
    twice."""
    count = int(data["count"])
    since = _text(moment - TWICE_WITHIN)
    found = [fact_of(row) for row in act.rows("facts_since", system=batch["system"], since=since)]
    for fact in found:
        if fact.kind != "added" or fact.batch != batch["id"] or abs(fact.at - moment) > TWICE_WITHIN:
            continue
        if int(fact.data["count"]) == count and all(fact.data.get(n) == data.get(n) for n in ("source", "species")):
            raise Refused(
                f"{count} fish came into {batch['name']} {local_text(fact.at, batch['zone'])} already: two "
                "additions, or one typed twice? If there were two, say --really; nothing was recorded."
            )


def _batch_of(act: Act, tank: Row, moment: datetime, kind: str, name: str | None, *, really: bool) -> Row | None:
    """The open batch that was in a tank then, the named one where there were several; None for what ``really`` happened
    there before its fish came."""
    there = present(act, tank["id"], moment)
    batches = there or [b for b in act.rows("open_batches") if b["tank"] == tank["id"]]
    if not batches:
        raise Refused(f"There is no open batch in {tank['name']}; nothing was recorded.")
    if name is not None:
        batches = [named(batches, "open batch", name, f" in {tank['name']}")]
    if len(batches) > 1:
        known = ", ".join(b["name"] for b in batches)
        raise Refused(f"{tank['name']} holds {len(batches)} batches ({known}): say whose fish, with --batch NAME.")
    if there:
        return batches[0]
    if really:
        return None
    other = " If another fish died there then, say --really." if kind == "died" else ""
    raise Refused(f"{_not_there(act, batches[0], tank, moment)} Nothing was recorded.{other}")


def _since_look(act: Act, tank: Row, moment: datetime) -> dict[str, Any]:
    """When the tank was last looked at: a fish found dead died since then (rule A7). Empty: not in the week before."""
    since = _text(moment - timedelta(days=7))
    found = [fact_of(row) for row in act.rows("facts_since", system=tank["system"], since=since)]
    looks = [f.at for f in found if f.kind == "look" and f.tank == tank["id"] and f.at <= moment]
    return {"since_look": _text(max(looks))} if looks else {}


def _refuse_idle_lift(act: Act, home: Home, tank: Row, moment: datetime) -> None:
    """A lift answers a hold of rule C9; written with none open it would quietly answer the next one's evidence."""
    from quarantine import dosing
    from quarantine.actions import cards

    for batch in present(act, tank["system"], moment):
        if dosing.emergency_hold(cards.setting_for(act, home, tank, batch, moment)) is not None:
            return
    raise Refused(
        f"Nothing is held in the water of {tank['name']} that a person lifts (an A sign, deaths, or ammonia, nitrite "
        "or oxygen out of limit: rule C9); nothing was recorded."
    )


def dose_event(
    desk: Desk,
    tank_name: str,
    regimen_id: str,
    gave: str,
    *,
    at: str | None = None,
    really: bool = False,
    strength: str | None = None,
    out_of: OutOf | None = None,
) -> Noted:
    """A dose that was given without a task, or a second time: recorded, and answered with the rescue (C7)."""
    from quarantine import dosing
    from quarantine.actions import cards, drawing
    from quarantine.actions.duties import refuse_medicine
    from quarantine.actions.work import dose_record
    from quarantine.formulary import regimen

    substance, row = regimen(regimen_id)
    with desk.act() as act:
        tank = find_tank(act, tank_name)
        moment = when(at, tank["zone"], act.now)
        there = present(act, tank["system"], moment)
        setting = cards.setting_for(act, desk.home, tank, there[0] if there else None, moment)
        setting = cards.measured_out_of(setting, substance, strength, out_of or cards.NOT_NAMED, sure=really)
        cards.refuse_several(setting, substance)
        proposal = dosing.propose(substance, row, setting)
        given = cards.read_given(gave, proposal.dose.add_unit)
        data = dose_record(proposal, setting, given)
        if not really:
            refuse_medicine(act, f"A dose of {substance.name}", " If it was really given, say so with --really")
            over = f" {data['rescue'].partition(' Now:')[0]}" if "over the ceiling" in data["rescue"] else ""
            held = f" (it would be held: {proposal.hold.says})" if proposal.hold else ""
            raise Refused(
                f"This records that {show(given.value)} {given.unit} of {substance.name} was really put into "
                f"{tank['name']}{held}.{over} Say --really to record it."
            )
        before = earliest_days(act, {tank["system"]})
        id_ = id_after(act, tank["system"], moment)
        fact = add_fact(act, "dose", system=tank["system"], tank=tank["id"], at=moment, data=data, id_=id_)
        drawing.write(act, fact, moment, data)
        moved = consequences(act, before, [replan(act, tank["system"])])
        act.describe("dose", f"{tank['name']}: {data['given']} {data['given_unit']} of {substance.id}", moment)
        lines = [
            f"{tank['name']}, {local_text(moment, tank['zone'])}: {show(given.value)} {given.unit} of "
            f"{substance.name} recorded",
            *drawing.words(act, data),
            *moved,
            *_moved_on([b for b in there if b["system"] != tank["system"]], tank),
            *_came_along(act, tank),
            *([data["rescue"]] if data["rescue"] else []),
            dosing.DEFERS,
        ]
        return Noted(lines, {"tank": tank["name"], "dose": _in_numbers(data)})


def _in_numbers(data: dict[str, Any]) -> dict[str, Any]:
    """A dose as a program reads it: figures that the fact holds as text are numbers."""
    hold = data["hold"]
    if hold is not None and isinstance(hold.get("figure"), str):
        hold = {**hold, "figure": _number(hold["figure"])}
    levels = {name: data[name] and Decimal(data[name]) for name in ("gives_low_mg_per_l", "gives_high_mg_per_l")}
    return {**data, **levels, "hold": hold}


def _number(text: str) -> Decimal | str:
    try:
        return Decimal(text)
    except InvalidOperation:
        return text
