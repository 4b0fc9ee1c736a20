"""Dose cards: from the record to the setting a dose is proposed for. Reads only; `today` uses it too."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any, NamedTuple

from quarantine import bathing, dosing
from quarantine import evidence as ev
from quarantine.actions import instructed
from quarantine.actions.shelf import lots
from quarantine.actions.whereabouts import present
from quarantine.dosing.repeats import MOVES_WATER
from quarantine.facts import Condition, Fact, in_order, local_day
from quarantine.failures import Refused, Usage
from quarantine.formulary import Regimen, Substance, load, regimen
from quarantine.formulary.groups import FILE as GROUPS_FILE
from quarantine.luggage import doses_before
from quarantine.quantity import UNITS, Quantity, kind_of, read, read_with_error, show, show_significant, to
from quarantine.records.codec import instant, text_of_instant
from quarantine.records.loading import VolumeRecord, fact_of, system_water, valid_at, volume_of
from quarantine.records.reads import Row, Rows
from quarantine.settings import Home
from quarantine.stock import Lot
from quarantine.water.ledger import Water, exposures, filter_is_off, level_of, never_dosed, short_of_mark, substances_in
from quarantine.water.level import Level


def setting_for(
    rows: Rows, home: Home, tank: Row, batch: Row | None, now: datetime, shelf: tuple[Lot, ...] | None = None
) -> dosing.Setting:
    """The water of a tank's system now: volume, levels, doses, and what is known of the fish in it.

    ``tank`` needs system, shape, water and zone; ``batch`` id and arrived_at, and was in that water then where it is in
    another one by now. ``shelf`` is the stock where it was read already.
    """
    here = [b for b in rows.rows("batches_of_system", system=tank["system"]) if b["state"] == "open"]
    moved_on = batch is not None and all(b["id"] != batch["id"] for b in here)
    if moved_on:
        here = present(rows, tank["system"], now)
    # The fish of every batch in the water are judged, also of one that came before this one.
    arrived = [b["arrived_at"] for b in here]
    since = min([batch["arrived_at"], *arrived]) if batch else text_of_instant(now - timedelta(hours=24))
    found = rows.rows("facts_since", system=tank["system"], since=since)
    for one in here if moved_on else []:
        if one["system"] != tank["system"]:
            found = found + rows.rows("facts_elsewhere", besides=tank["system"], batch=one["id"])
    facts = in_order([fact for row in found if (fact := fact_of(row)).at <= now])
    water, says = system_water(rows, tank["system"], now)
    levels = {}
    exposed = []
    strange, short = Level(0.0, 0.0), Decimal(0)
    if water is not None:
        levels = {name: level_of(facts, name, water, load(name).loss, now) for name in substances_in(facts)}
        levels |= _found_by_kit(facts, water, now)
        exposed = exposures(facts, water, now)
        strange = never_dosed(facts, water, now)
        short = short_of_mark(facts, _volumes_since(rows, tank, now))
    evidence, others = None, []
    if batch is not None:
        for one in (batch["id"], *(b["id"] for b in here if b["id"] != batch["id"])):
            arrival = next((f for f in facts if f.kind == "arrival" and f.batch == one), None)
            if arrival is not None:
                others.append(ev.gather(facts, one, tank["zone"], arrival, now, exposed))
        evidence = others.pop(0)
    open_ = rows.rows("open_tasks_of_system", system=tank["system"])
    return dosing.Setting(
        shelf=tuple(lots(rows)) if shelf is None else shelf,
        kind=tank["water"],
        zone=tank["zone"],
        now=now,
        volume=water,
        volume_says=says,
        levels=levels,
        doses=tuple(in_order([*(f for f in facts if f.kind == "dose"), *doses_before(facts)])),
        evidence=evidence,
        scale_step_grams=to(read(home.value("scale_step"), "mass", "scale_step"), "g"),
        syringe_step_ml=to(read(home.value("syringe_step"), "volume", "syringe_step"), "mL"),
        beside=(beside := _beside(rows, tank)),
        **_apart(json.loads(tank["shape"]), beside),
        filter_off=any("apart_litres" in f.data for f in facts if f.kind == "dose") and filter_is_off(facts, now),
        readings=() if evidence else tuple(f for f in facts if f.kind == "reading"),
        weighed=_weighed(facts, batch["id"]) if batch else None,
        batch=next((b["name"] for b in here if batch and b["id"] == batch["id"]), "BATCH"),
        own_groups=own_groups(home),
        others=tuple(others),
        never_dosed=strange,
        short_litres=short,
        moved=tuple(f for f in facts if f.kind in MOVES_WATER),
        first=_changes_first(open_, local_day(now, tank["zone"]).isoformat()),
        set_point=set_point(facts),
        unsaid=_unsaid(open_, here, facts),
        **instructed.of_water(rows, tank["system"], here, tank["zone"], now),
    )


def _found_by_kit(facts: list[Fact], water: Water, now: datetime) -> dict[str, Level]:
    """Copper that a kit found for certain, though nothing on record put it in: a dose goes on top of it (rules C1 and
    C13). Salt is judged by its own reading (rule C15)."""
    if not any(f.kind == "reading" and f.data["parameter"] == "copper" for f in facts):
        return {}
    found = level_of(facts, "copper", water, "none", now)
    return {"copper": found} if found.low else {}


def set_point(facts: Iterable[Fact]) -> Decimal | None:
    """The highest to which a heater of a water is set, °C, by the last word on each of its tanks (rule C14). ``facts``
    are in order of time; None: no heater is on record, or all were said to be gone."""
    last = {fact.tank: fact.data["celsius"] for fact in facts if fact.kind == "set_point"}
    return max((Decimal(value) for value in last.values() if value is not None), default=None)


def _changes_first(open_: list[Row], today: str) -> tuple[str, ...]:
    """The planned changes of a water that are due today, or before, and still open (rule C11)."""
    return tuple(
        f"{row['code']} {row['title']}"
        for row in sorted(open_, key=lambda row: (row["day"] or "", row["code"]))
        if row["kind"] == "change" and row["day"] is not None and row["day"] <= today and row["state"] == "planned"
    )


def _unsaid(open_: list[Row], here: list[Row], facts: list[Fact]) -> tuple[dosing.Unsaid, ...]:
    """The words that open doses of the batches in a water wait for, or that were said before a species came."""
    names = {b["id"]: b for b in here}
    found: dict[tuple[str, str, str], dosing.Unsaid] = {}
    for row in open_:
        batch = names.get(row["batch"])
        if batch is None or row["kind"] != "dose":
            continue
        detail = json.loads(row["detail"])
        for sentence in detail.get("words", ()):
            said = [
                f
                for f in facts
                if f.kind == "word" and f.batch == row["batch"] and f.data["word"].casefold() == sentence.casefold()
            ]
            newcomers = newcomers_of(batch, facts, said[-1]) if said else ""
            if said and not newcomers:
                continue
            where, row_of = batch["tank_name"], detail["treatment"]["regimen"]
            one = dosing.Unsaid(batch["name"], where, row_of, row["step"], sentence, newcomers)
            found.setdefault((batch["name"], row_of, sentence), one)
    return tuple(found[key] for key in sorted(found))


def newcomers_of(batch: Row, facts: list[Fact], word: Fact) -> str:
    """The species of a batch of which the first fish came in after a word was said, by name. ``facts`` are in order."""
    known = {line["species"].casefold() for line in json.loads(batch["fish"]) if "added" not in line}
    first: dict[str, Fact] = {}
    for fact in facts:
        if fact.kind == "added" and fact.batch == batch["id"] and "species" in fact.data:
            first.setdefault(fact.data["species"].casefold(), fact)
    later = [f for f in facts[facts.index(word) :] if f.kind == "added"]
    return ", ".join(f.data["species"] for name, f in first.items() if name not in known and f in later)


def _volumes_since(rows: Rows, tank: Row, now: datetime) -> dict[str, datetime]:
    """From when on the volume of each tank of the water holds that is valid now."""
    by_tank: dict[str, list[VolumeRecord]] = {}
    for row in rows.rows("volumes_of_system", system=tank["system"]):
        by_tank.setdefault(row["tank"], []).append(volume_of(row))
    return {name: found.valid_from for name, volumes in by_tank.items() if (found := valid_at(volumes, now))}


def _weighed(facts: list[Fact], batch: str) -> dosing.Weighed | None:
    """The last weight of a batch; fish that came after it make it useless."""
    found = [f for f in facts if f.kind == "weighed" and f.batch == batch]
    if not found:
        return None
    last, data = found[-1], found[-1].data
    return dosing.Weighed(
        Decimal(data["grams"]),
        Decimal(data["plus_minus_grams"]),
        int(data["count"]),
        None if data["food_grams"] is None else Decimal(data["food_grams"]),
        data["by"],
        last.at,
        any(f.kind == "added" and f.batch == batch and f.at > last.at for f in facts),
    )


def own_groups(home: Home) -> str:
    """The keeper's own list of sensitive animals; empty where there is none."""
    try:
        return (home.path / GROUPS_FILE).read_text(encoding="utf-8")
    except (FileNotFoundError, NotADirectoryError):
        return ""
    except (OSError, UnicodeDecodeError) as error:
        raise Refused(f"The file of groups {home.path / GROUPS_FILE} cannot be read: {error}.") from error


def _beside(rows: Rows, tank: Row) -> tuple[str, ...]:
    """What the volume of a tank's water system holds beside the tank itself."""
    tanks = {row["tank"] for row in rows.rows("volumes_of_system", system=tank["system"])}
    shape = json.loads(tank["shape"])
    others = len(tanks) - 1
    shared = [f"{others} other tank{'s' if others > 1 else ''}"] if others > 0 else []
    return (*shared, *(f"the {part}" for part in ("sump", "filter") if shape.get(part)))


def _apart(shape: dict[str, Any], beside: tuple[str, ...]) -> dict[str, Any]:
    """What stands apart while the filter is off, by the tank's own measures of its sump and filter (rule C10); nothing
    where other tanks share the water. Both plus-minuses are added: their errors may both go one way."""
    parts = [part for part in ("sump", "filter") if shape.get(part)]
    if not parts or len(parts) < len(beside):
        return {}
    litres, errors = (sum((Decimal(shape[part][end]) for part in parts), Decimal(0)) for end in (0, 1))
    return {"apart": Water(float(litres), float(errors)), "apart_says": " and ".join(parts)}


def batch_in(rows: Rows, system: str) -> Row | None:
    """The open batch in a system that arrived first, if there is one."""
    return next((b for b in rows.rows("open_batches") if b["system"] == system), None)


def propose_task(task: Row, setting: dosing.Setting, *, gate: bool = True) -> dosing.Proposal:
    """The card of a dose task, computed for the water as it is now. Without ``gate`` the before-checks are named and
    not judged: a look at another day cannot know that day's readings."""
    detail = json.loads(task["detail"])
    treatment = detail["treatment"]
    substance, row = regimen(treatment["regimen"])
    setting = dosing.from_stock(substance, setting)
    target = treatment["target"] and _quantity(treatment["target"])
    before = tuple(Condition(**c) for c in detail["before"])
    where = where_of(treatment["water"], treatment["filter"], treatment["off"], treatment.get("longest", ""))
    where = where._replace(after_change=treatment.get("after_change", ""))
    setting = dosing.circulating(where, setting)
    if gate:
        card = dosing.propose(
            substance, row, setting, target=target, before=before, mode=treatment["mode"], where=where
        )
        card = card._replace(hold=card.hold or _waits(task, detail))
        return with_end(card, substance, row, setting, task["code"])
    setting = setting._replace(now=max(setting.now, instant(task["due_from"])))
    card = dosing.propose(substance, row, setting, target=target, mode=treatment["mode"], where=where)
    card = with_end(card, substance, row, setting, task["code"])
    return card._replace(checks=f"To be met on the day: {'; '.join(c.title for c in before)}." if before else "")


def _waits(task: Row, detail: dict[str, Any]) -> dosing.Hold | None:
    """A dose that waits for a sign, a reading or a word is none yet, and no amount of it is shown (needs F8)."""
    if task["day"] is not None or "as_needed" in detail or not task["needs"]:
        return None
    remedy = "see it, read it or say it first; then it has its day"
    return dosing.Hold("waits", f"it has no day yet: {task['needs']}", None, None, "the protocol", remedy)


def with_end(
    card: dosing.Proposal, substance: Substance, row: Regimen, setting: dosing.Setting, code: str
) -> dosing.Proposal:
    """A card with what a timed bath says before its pour: how it ends, and the water that stands ready (rule C5)."""
    if card.dose.add is None or not bathing.is_timed(row):
        return card
    said = bathing.before_pour(substance, row, setting, card.dose, code)
    if said is None:
        return card
    return card._replace(how=(*card.how, said.how), confirm=(*card.confirm, *said.confirm))


def where_of(water: str, filter_: str, off: Iterable[str], longest: str = "") -> dosing.Where:
    """Which water a template doses, in the words people use."""
    return dosing.Where(water, filter_, tuple(_OFF_WORDS.get(item, item) for item in off), longest)


_OFF_WORDS = {"uv": "UV", "auto-top-up": "auto top-up"}


def _quantity(text: str) -> Quantity:
    return read(text, kind_of(text) or "concentration", "the target")


def dose_json(dose: dosing.Dose) -> dict[str, Any]:
    """The `dose` of the contract: numbers as numbers; what only a dose in food has stands in no other."""
    of_food = dose.fish_grams is not None
    shown = {name: value for name, value in dose._asdict().items() if of_food or name not in _OF_FOOD}
    return {**shown, "cautions": list(dose.cautions)}


_OF_FOOD = ("fish_grams", "fish_plus_minus_grams", "food_grams")


def with_options(setting: dosing.Setting, row: Regimen, vessel: str | None, food: str | None) -> dosing.Setting:
    """A setting with a dip's vessel and the food to prepare as a keeper typed them.

    Raises Refused for what does not read, and for a vessel or food that the row has no use for.
    """
    if vessel is not None and not row.own_vessel:
        raise Refused(f"{row.id} is no dip (its route: {row.route}); leave --vessel out.")
    if food is not None and row.route != "food":
        raise Refused(f"{row.id} is not given in food (its route: {row.route}); leave --food out.")
    if vessel is not None:
        setting = setting._replace(vessel=read_vessel(vessel))
    if food is not None:
        grams = to(read(food, "mass", "--food"), "g")
        if grams <= 0:
            raise Refused("--food is how much food is prepared at once, more than nothing.")
        setting = setting._replace(prepared_grams=grams)
    return setting


class Solution(NamedTuple):
    """A stock solution as typed: "10 g in 500 mL", until which day its label lets it be used, and whether this dose is
    out of the rest of one that was made before."""

    made: str | None = None
    keep_until: str | None = None
    rest: bool = False


NO_SOLUTION = Solution()


class OutOf(NamedTuple):
    """Out of which product in stock a dose is measured, and out of which lot of it, as typed; the stock solution that
    was made of it, where there is one."""

    product: str | None = None
    lot: str | None = None
    solution: Solution = NO_SOLUTION


NOT_NAMED = OutOf()


def measured_out_of(
    setting: dosing.Setting, substance: Substance, strength: str | None, out_of: OutOf, *, sure: bool = False
) -> dosing.Setting:
    """A setting with the product that a keeper named and its strength as typed (``sure``: though it looks like a slip);
    without, what is in stock; and with the stock solution. Raises Refused for what does not read or is not there."""
    if strength is not None:
        setting = setting._replace(product=dosing.read_strength(strength, substance)._replace(sure=sure))
    setting = setting._replace(stock=_stock(out_of.solution))
    return dosing.from_stock(substance, setting, out_of.product, out_of.lot)


def instructed_rows(substance: Substance, setting: dosing.Setting) -> tuple[Regimen, ...]:
    """The regimens of a substance that a dose in this water would be given by on a standing instruction."""
    return tuple(row for row in substance.regimens if dosing.instruction_for(row, setting) is not None)


def refuse_several(setting: dosing.Setting, substance: Substance) -> None:
    """Raises Refused where a dose may be out of several products: what is drawn from which is asked, by name."""
    if setting.choice is not None and setting.choice.several:
        names = " or ".join(f'--product "{name}"' for name in setting.choice.several)
        raise Refused(
            f"There are {len(setting.choice.several)} products of {substance.name} in stock: say out of which it was "
            f"given: {names}.",
            products=list(setting.choice.several),
        )


def read_given(text: str, unit: str) -> Quantity:
    """An amount that was really given: a weight, or of a liquid a volume; ``unit`` is the one that is shown. Raises
    Refused."""
    given = read(text, UNITS[unit].kind, "--gave")
    # A third of a tablet has no end: no scale or syringe has more than nine digits.
    return given._replace(value=Decimal(show_significant(given.value, 9)))


def read_vessel(text: str) -> Water:
    """ "10 L" or "10 L ± 2 %": the water in a vessel. Raises Refused."""
    whole, error = measured(text, "volume", "--vessel")
    return Water(float(to(whole, "L")), float(to(error, "L", difference=True)))


def measured(text: str, kind: str, what: str) -> tuple[Quantity, Quantity]:
    """A typed amount above nothing and its plus-minus; without a ±, half a step of the last digit. Raises Refused."""
    plain = re.split(r"±|\+ */? *-", text)[0].strip()
    digits = re.match(r"\d*\.?(\d*)", plain)
    half = Decimal("0.5").scaleb(-len(digits[1])) if digits else Decimal("0.5")
    default = Quantity(half, read(plain, kind, what).unit) if plain == text.strip() else Decimal(0)
    whole, error = read_with_error(text, kind, what, default)
    if whole.value <= 0:
        raise Refused(f"{what} {text!r} is nothing; write an amount above zero.")
    return whole, error


def _stock(said: Solution) -> dosing.Stock | None:
    """ "10 g in 500 mL", "0.2 g in 100 mL ± 1 mL": so much of the product, filled up to so much."""
    text = said.made
    if text is None:
        if said != NO_SOLUTION:
            raise Usage(
                '--keep-until and --from-rest belong to a stock solution: say it too, --stock "10 g in 500 mL".'
            )
        return None
    mass, found, volume = text.partition(" in ")
    if not found:
        raise Refused(f'--stock {text!r} does not read: write a weight and a volume, such as "10 g in 500 mL".')
    grams = to(read(mass, "mass", "--stock"), "g")
    whole, error = read_with_error(volume, "volume", "--stock", Decimal(0))
    if grams <= 0 or whole.value <= 0:
        raise Refused("--stock is a weight in a volume, both more than nothing.")
    litres, plus_minus = to(whole, "L"), to(error, "L", difference=True)
    if plus_minus >= litres:
        raise Refused(f"--stock {text!r}: its plus-minus is all of the volume; write a smaller one.")
    return dosing.Stock(grams, litres, plus_minus or None, _last_day(said.keep_until), said.rest)


def _last_day(text: str | None) -> date | None:
    """A typed day. Raises Usage."""
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Usage(f"--keep-until {text!r} is not a day; write YYYY-MM-DD.") from None


def solution_record(setting: dosing.Setting, substance: Substance, given: Quantity) -> dict[str, Any]:
    """What a dose's fact keeps of the stock solution it was drawn out of; empty where it was out of none."""
    stock = setting.stock
    if stock is None:
        return {}
    measure = dosing.measured_by(substance, setting)
    drawn = to(given, "mL")
    made: dict[str, Any] = {
        "grams": show(stock.grams),
        "millilitres": show(stock.litres * 1000),
        "holds": show(measure.holds),
        "holds_unit": f"{substance.ledger_unit.partition('/')[0]} in 1 mL",
        "off_percent": show_significant(dosing.stock_error(stock, setting, drawn) * 100, 2, up=True),
        "kept_until": stock.kept_until and stock.kept_until.isoformat(),
        "rest": stock.rest,
    }
    if not stock.rest:
        left = max(stock.litres * 1000 - drawn, Decimal(0))
        made |= {"left_millilitres": show(left), "label": dosing.stock_label(substance, setting)}
    return {"stock": made}


def change_litres(task: Row, rows: Rows, now: datetime) -> Decimal | None:
    """Litres of a planned change: its share of the water that is there, up to the next 0.1 L (protective: up)."""
    from quarantine.quantity import ceil_to

    fraction = json.loads(task["detail"])["fraction"]
    water, _ = system_water(rows, task["system"], now)
    if fraction is None or water is None:
        return None
    return ceil_to(Decimal(fraction) / 100 * Decimal(str(water.litres)), Decimal("0.1"))
