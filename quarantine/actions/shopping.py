"""What all planned work takes, and what to buy of it by when (needs F76, F77). Reads only; `today` uses it too.

Amounts are found as a card finds them (rules C2 and C4), for the water as it is now and out of the product that is in
stock, before anything of the day is known: no level, no reading. What hangs on those is named and never guessed.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from quarantine import bathing, dosing
from quarantine.actions.conditioning import READ_DAYS
from quarantine.actions.shelf import lots, stock_zone
from quarantine.actions.twins import Twins
from quarantine.dosing.food import food_hold, food_size, food_size_hold
from quarantine.dosing.forms import Measure, floor_amount, measure_of, tops_up
from quarantine.dosing.known import ceiling_of, default_target, litres_of
from quarantine.dosing.products import form_of, measured_lot
from quarantine.dosing.repeats import REPLACE_REMOVED, replaced
from quarantine.facts import AGAIN, local_day, utc
from quarantine.failures import Unknown
from quarantine.formulary import Regimen, Substance, is_prolonged, load, regimen
from quarantine.quantity import Quantity, ceil_to, floor_to, kind_of, read, show, to
from quarantine.records.codec import text_of_instant
from quarantine.records.loading import VolumeRecord, fact_of, valid_at, volume_of
from quarantine.records.reads import Row, Rows
from quarantine.settings import Home
from quarantine.shopping import LEAD_DAYS, Item, Kept, Need, first_product, item_of
from quarantine.stock import CONDITIONER, FINEST, Lot
from quarantine.water.chlorine import for_new_water
from quarantine.water.ledger import Water

CONDITIONER_NAME = "Sodium thiosulfate pentahydrate"

WARN_DAYS = 7
"""So long before something runs out today's list says so: our choice, no source."""

UNREAD = (
    f"the chlorine of its tap water was not read in {READ_DAYS} days (quarantine reading TANK --tap-chlorine VALUE)"
)


class Open(NamedTuple):
    """One planned task that takes something, or a dose that was given in a course whose changes are made good."""

    key: str
    code: str
    kind: str
    step: str
    title: str
    day: date | None
    done: bool
    batch: str
    """its name"""
    on_record: Row | None
    """``id`` and ``arrived_at`` of the batch; None of one that is only planned"""
    tank: Row
    detail: dict[str, Any]
    copy: str
    """the id of the protocol's frozen copy, or its text where it is not frozen yet"""


class Ready(NamedTuple):
    """Water that must stand ready for the end of a bath (rule C5), and which; ``litres`` None: not known."""

    litres: Decimal | None
    task: Open
    says: str


class Shopping(NamedTuple):
    """What is needed of each substance, what must be bought first on top, and the water that must stand ready."""

    items: tuple[Item, ...]
    water: tuple[Ready, ...]
    needs: tuple[Need, ...]


def shopping(
    rows: Rows,
    home: Home,
    now: datetime,
    *,
    until: date | None = None,
    lead_days: int = LEAD_DAYS,
    more: Sequence[Open] = (),
) -> Shopping:
    """What all open batches and the tasks of ``more`` take up to a day (None: all of it).

    ``more``: batches that are expected, or a course that is only looked at (:mod:`quarantine.actions.previewing`).
    """
    today = local_day(now, stock_zone(rows))
    tasks = [*open_tasks(rows, now), *more]
    counter = _Counter(rows, home, now, today, tasks)
    needs = [need for task in _once(tasks) for need in counter.needs_of(task)]
    water = tuple(ready for ready in counter.water if until is None or (ready.task.day or until) <= until)
    if until is not None:
        needs = [need for need in needs if need.day is not None and need.day <= until]
    by_substance: dict[str, list[Need]] = {}
    for need in needs:
        by_substance.setdefault(need.substance, []).append(need)
    items = [item_of(counter.kept(name), found, today, lead_days) for name, found in by_substance.items()]
    items.sort(key=lambda item: (item.buy_by is None, item.buy_by or today, item.buy == 0, item.kept.substance))
    return Shopping(tuple(items), tuple(sorted(water, key=lambda ready: str(ready.task.day))), tuple(needs))


def open_tasks(rows: Rows, now: datetime) -> list[Open]:
    """The doses, changes and chores of open batches that are planned and not too late, and the doses given in courses
    whose changes are made good."""
    tanks = {tank["id"]: tank for tank in rows.rows("tanks")}
    details: dict[str, dict[str, Any]] = {}
    found = []
    for row in rows.rows("open_amounts", until=text_of_instant(now)):
        text = row["detail"]
        if text is not None and text not in details:
            details[text] = json.loads(text)
        found.append(
            Open(
                key=row["key"],
                code=row["code"],
                kind=row["kind"],
                step=row["step"],
                title=row["title"],
                day=date.fromisoformat(row["day"]) if row["day"] else None,
                done=row["state"] == "done",
                batch=row["batch_name"],
                on_record={"id": row["batch"], "arrived_at": row["arrived_at"]},
                tank=tanks[row["tank"]],
                detail=details[text] if text is not None else {},
                copy=row["copy_id"],
            )
        )
    return found


def _once(tasks: list[Open]) -> Iterable[Open]:
    """The tasks, of which those that are done once for several batches in one water count once (rule B2)."""
    twins, changes = Twins(), dict[tuple[Any, ...], str]()
    for task in sorted(tasks, key=lambda one: (one.day or date.max, one.code)):
        treatment = task.detail.get("treatment") or {}
        if task.done or task.day is None:
            yield task
        elif treatment.get("water") in ("system", "tank"):
            if twins.of(task.tank["system"], treatment["regimen"], task.batch, task.day, task.code) is None:
                yield task
        elif task.kind == "change":
            what = (task.tank["id"], task.step, task.copy, task.day)
            if changes.setdefault(what, task.batch) == task.batch:
                yield task
        else:
            yield task


class _Counter:
    """From tasks to needs, reading what several tasks hang on once."""

    def __init__(self, rows: Rows, home: Home, now: datetime, today: date, tasks: list[Open]) -> None:
        self.rows, self.home, self.now, self.today = rows, home, now, today
        self.scale = to(read(home.value("scale_step"), "mass", "scale_step"), "g")
        self.syringe = to(read(home.value("syringe_step"), "volume", "syringe_step"), "mL")
        self.water: list[Ready] = []
        self._waters = _waters(rows, {task.tank["system"] for task in tasks}, now)
        self._changes: dict[str, list[Open]] = {}
        self._courses: dict[tuple[str, str], list[Open]] = {}
        for task in tasks:
            if task.kind == "change" and task.detail.get("fraction") is not None and not task.done:
                self._changes.setdefault(task.tank["system"], []).append(task)
            self._courses.setdefault((task.tank["system"], task.batch), []).append(task)
        self._lots: dict[str, list[Lot]] = {}
        for lot in lots(rows):
            self._lots.setdefault(lot.substance, []).append(lot)
        self._chlorine, self._instructed = self._facts()
        self._settings: dict[Any, dosing.Setting] = {}
        self._sizes: dict[Any, tuple[Decimal | None, str]] = {}
        self._kept: dict[str, tuple[Kept, Measure | None]] = {}
        self._thiosulfate: dict[Any, Decimal] = {}
        self._litres: dict[Any, Decimal] = {}
        self._names: dict[str, Kept] = {}
        self._strengths: dict[str, str] = {}
        self._regimens: dict[str, tuple[Substance, Regimen] | None] = {}
        self._made_good: dict[tuple[str, str], list[Open]] = {}
        for task in tasks:
            self._make_good(task)

    def _facts(self) -> tuple[dict[str, dict[str, Any]], set[str]]:
        """System -> the last test of its tap water for chlorine; the systems with a veterinarian's instruction."""
        since = text_of_instant(self.now - timedelta(days=READ_DAYS))
        chlorine, instructed = {}, set()
        for fact in sorted(map(fact_of, self.rows.rows("shopping_facts", since=since)), key=lambda f: f.at):
            if fact.kind == "instruction":
                instructed.add(fact.system)
            elif "chlorine" in fact.data and fact.at <= self.now:
                chlorine[fact.system] = fact.data
        return chlorine, instructed

    # --- Of one task ---------------------------------------------------------------------------------------------

    def needs_of(self, task: Open) -> Iterable[Need]:
        """What one task takes, and what else it brings with it."""
        if task.done or task.kind not in ("dose", "change") or (task.kind == "dose" and not task.detail["treatment"]):
            return
        if task.kind == "change":
            yield from self._of_change(task)
            return
        found = self._regimen(task)
        treatment = task.detail["treatment"]
        if found is None:
            substance = treatment["regimen"]
            yield self._need(task, substance, None, f"the formulary has no {substance}")
            return
        substance_, row = found
        exact, why = self._exact(task, substance_, row)
        yield self._measured(task, substance_, row, exact, why)
        if bathing.is_timed(row) and not row.own_vessel:
            yield from self._flush(task, substance_, exact)

    def _of_change(self, task: Open) -> Iterable[Need]:
        system = task.tank["system"]
        if system not in self._waters or task.detail.get("fraction") is None:
            return
        if system not in self._chlorine and (task.batch, task.key) not in self._made_good:
            yield self._need(task, CONDITIONER, None, UNREAD)  # not even the litres matter
            return
        litres = self._litres_in(task)
        yield self._conditioner(task, litres)
        for dose in self._made_good.get((task.batch, task.key), ()):
            found = self._regimen(dose)
            if found is not None:
                exact, why = self._whole(dose, *found, None if _full_again(dose) else litres)
                again = task._replace(title=f"{dose.title} again after {task.title.casefold()}", batch=dose.batch)
                yield self._measured(again, *found, exact, why)

    def _measured(self, task: Open, substance: Substance, row: Regimen, exact: Decimal | None, why: str) -> Need:
        """What is measured out for an exact amount, in the ledger's unit, of the product in stock (rule C4)."""
        kept, measure = self._kept_of(substance)
        if exact is None:
            return self._need(task, substance.id, None, why)
        if measure is None:
            return self._need(task, substance.id, None, kept.why)
        if why := self._strength_why(substance, row, kept):
            return self._need(task, substance.id, None, why)
        if row.route == "food":
            # Weighed afresh for each portion: how long prepared food keeps is not known, and too little is a harm.
            return self._need(task, substance.id, Decimal(show(exact / measure.holds)))
        amount, given = floor_amount(exact, measure, kept.step)
        if exact > 0 and (exact - given) / exact > dosing.COARSEST_LOSS:
            why = f"steps of {show(kept.step)} {kept.unit} are too coarse for it (rule C4)"
            return self._need(task, substance.id, None, why)
        return self._need(task, substance.id, Decimal(show(amount)))

    def _exact(self, task: Open, substance: Substance, row: Regimen) -> tuple[Decimal | None, str]:
        """The amount of a planned dose in the ledger's unit before it is rounded, or why it is not known."""
        if task.detail["treatment"]["mode"] == REPLACE_REMOVED:
            if _number(task) == AGAIN:
                return self._again(task, substance, row)
            if _number(task) > 1:
                return Decimal(0), ""  # what changes take out before it is counted with them
        return self._whole(task, substance, row)

    def _whole(
        self, task: Open, substance: Substance, row: Regimen, out: Decimal | None = None
    ) -> tuple[Decimal | None, str]:
        """The full amount; or, of it, what is given again for ``out`` litres that a planned change takes out (C1)."""
        target, water = task.detail["treatment"]["target"], self._waters.get(task.tank["system"])
        special = bool(row.water_rules) or any(c.group or c.warmest for c in row.ceilings)
        if row.route == "food":
            return exact_amount(substance, row, target, self._measured_out_of(self._setting(task), substance), out)
        if special or row.tier != "ready" or task.tank["system"] in self._instructed:
            return exact_amount(substance, row, target, self._setting(task), out)
        key = (row.id, target, water, task.tank["water"], out)
        if key not in self._sizes:
            self._sizes[key] = exact_amount(substance, row, target, self._plain(task, water), out)
        return self._sizes[key]

    def _again(self, task: Open, substance: Substance, row: Regimen) -> tuple[Decimal | None, str]:
        """A dose that a change which really happened calls for: by the ledger as it is (rule C1)."""
        from quarantine.actions import cards

        setting = cards.setting_for(self.rows, self.home, task.tank, task.on_record, self.now)
        target = task.detail["treatment"]["target"]
        wanted = _quantity(target) if target else default_target(row, setting)
        made = replaced(substance, row, setting, wanted, task.detail["treatment"]["mode"])
        if made is None:
            return None, "it is sized by a reading, or by what is left in the water, on the day"
        return exact_amount(substance, row, target, setting._replace(replaces=made))

    def _plain(self, task: Open, water: Water | None) -> dosing.Setting:
        """The setting of a dose that hangs on the water's litres alone."""
        return dosing.Setting(
            kind=task.tank["water"],
            zone=task.tank["zone"],
            now=self.now,
            volume=water,
            volume_says="",
            levels={},
            doses=(),
            evidence=None,
            scale_step_grams=self.scale,
            syringe_step_ml=self.syringe,
        )

    def _setting(self, task: Open) -> dosing.Setting:
        """The setting of a dose that hangs on the fish, their weight or a veterinarian too, as of its day."""
        from quarantine.actions import cards

        noon = utc(datetime.combine(task.day or self.today, time(12), ZoneInfo(task.tank["zone"])))
        key = (task.tank["id"], task.batch, task.day)
        if key not in self._settings:
            made = cards.setting_for(self.rows, self.home, task.tank, task.on_record, max(noon, self.now))
            self._settings[key] = made._replace(levels={}, doses=(), moved=(), now=self.now)
        return self._settings[key]

    def _measured_out_of(self, setting: dosing.Setting, substance: Substance) -> dosing.Setting:
        """A setting with the product that is used first: what is weighed for food is a whole number of its steps."""
        kept = self._kept_of(substance)[0]
        first = next((lot for lot in self._lots.get(substance.id, ()) if lot.product == kept.product), None)
        form = None if first is None else form_of(first, substance)
        fits = form is not None and dosing.strength_hold(substance, None, form) is None
        return setting._replace(product=form._replace(step=first.step) if fits and form and first else None)

    def _need(self, task: Open, substance: str, amount: Decimal | None, why: str = "") -> Need:
        unit = self.kept(substance).unit
        return Need(substance, unit, amount, task.day, task.batch, task.tank["name"], task.code, task.title, why)

    def _regimen(self, task: Open) -> tuple[Substance, Regimen] | None:
        name = task.detail["treatment"]["regimen"]
        if name not in self._regimens:
            try:
                self._regimens[name] = regimen(name)
            except Unknown:
                self._regimens[name] = None
        return self._regimens[name]

    # --- Water ---------------------------------------------------------------------------------------------------

    def _litres_in(self, change: Open) -> Decimal:
        """As :func:`quarantine.actions.cards.change_litres`; the share and the water are known."""
        key = change.tank["system"], change.detail["fraction"]
        if key not in self._litres:
            share = Decimal(key[1]) / 100
            self._litres[key] = ceil_to(share * Decimal(str(self._waters[key[0]].litres)), Decimal("0.1"))
        return self._litres[key]

    def _conditioner(self, task: Open, litres: Decimal) -> Need:
        """Thiosulfate for new water (rule C12), up to a step of the scale (C4); none where none was found."""
        tap = self._chlorine.get(task.tank["system"])
        if tap is None:
            return self._need(task, CONDITIONER, None, UNREAD)
        key = tap["chlorine"], tap["chlorine_step"], litres
        if key not in self._thiosulfate:
            chlorine, step = Decimal(tap["chlorine"]), Decimal(tap["chlorine_step"])
            grams = for_new_water(chlorine, step, litres, self.scale).grams if chlorine else Decimal(0)
            self._thiosulfate[key] = grams
        return self._need(task, CONDITIONER, self._thiosulfate[key])

    def _flush(self, task: Open, substance: Substance, exact: Decimal | None) -> Iterable[Need]:
        """The water that stands ready for the end of a timed bath, from the most that this dose alone gives."""
        water, treatment = self._waters.get(task.tank["system"]), task.detail["treatment"]
        litres = None
        if exact is not None and water is not None and treatment["target"]:
            target = _quantity(treatment["target"])
            limit, _ = bathing.limit_of(substance, target, dosing.in_ledger(substance, target))
            whole, plus_minus = litres_of(water)
            if limit is not None and whole > plus_minus:
                litres = bathing.flush_of(water, exact / (whole - plus_minus), limit).least_ready
        self.water.append(Ready(litres, task, bathing.water_words(bathing.is_oxidiser(substance.id))))
        # Thiosulfate takes an oxidiser away as it does chlorine: a test shows that water free of it instead.
        if litres and not bathing.is_oxidiser(substance.id):
            yield self._conditioner(task._replace(title=f"water for the end of {task.title.casefold()}"), litres)

    # --- Changes that are made good (rule C1) --------------------------------------------------------------------

    def _make_good(self, task: Open) -> None:
        """Note, of a dose that changes call for again, the planned ones between it and the beginning of clearing."""
        treatment = task.detail["treatment"] if task.kind == "dose" else None
        if treatment is None or not (treatment["mode"] == REPLACE_REMOVED or _full_again(task)):
            return
        system, found = task.tank["system"], self._regimen(task)
        course = [one for one in self._courses[system, task.batch] if one.kind == "dose" and one.step == task.step]
        first = min(course, key=lambda one: (not one.done, one.day is None, one.day or self.today))
        if task is not first or found is None or not is_prolonged(found[1]):
            return
        clears = _clearing(self._text(task), task.step)
        clearing = [o for o in self._courses[system, task.batch] if o.step in clears and not o.done]
        if task.done and not any(_number(one) == 1 for one in clearing):
            return  # the first of it is done: the treatment has ended
        over = min((one.day for one in clearing if one.day), default=date.max)
        inside = [
            change
            for change in self._changes.get(system, ())
            if change.day is not None
            and change.day < over
            and not (change.batch == task.batch and change.step in clears)
            if task.done or (task.day is not None and change.day > task.day)
        ]
        if _full_again(task):
            inside = _given_in_full(inside, course, found[1], over)
        for change in inside:
            self._made_good.setdefault((change.batch, change.key), []).append(task)

    def _text(self, task: Open) -> str:
        """The protocol's text: by its id where it is frozen."""
        return str(self.rows.rows("copy", id=task.copy)[0]["body"]) if task.on_record else task.copy

    # --- Stock ---------------------------------------------------------------------------------------------------

    def kept(self, name: str) -> Kept:
        """What there is of a substance."""
        if name not in self._names:
            self._names[name] = self._kept_by_name(name)
        return self._names[name]

    def _kept_by_name(self, name: str) -> Kept:
        if name == CONDITIONER:
            mine = tuple(lot for lot in self._lots.get(name, ()) if lot.unit == "g")
            product = first_product(mine, self.today)
            return Kept(name, product, f"{CONDITIONER_NAME}, counted as pure", "g", self.scale, mine)
        try:
            return self._kept_of(load(name))[0]
        except Unknown:
            return Kept(name, "", name, "g", self.scale, ())

    def _kept_of(self, substance: Substance) -> tuple[Kept, Measure | None]:
        """The lots of a substance, counted in the unit of the product that is used first; how that is measured, None
        where its strength does not say."""
        if substance.id not in self._kept:
            self._kept[substance.id] = self._counted(substance)
        return self._kept[substance.id]

    def _counted(self, substance: Substance) -> tuple[Kept, Measure | None]:
        mine = self._lots.get(substance.id, [])
        first = first_product(mine, self.today)
        one = next((lot for lot in mine if lot.product == first), None)
        measure, why = self._product(substance, one)
        if measure is None:
            assert one is not None  # what is not on record counts as pure
            return Kept(substance.id, first, substance.name, one.unit, self._step(one.unit), (), why), None
        step = (one.step if one else None) or self._step(measure.unit)
        counted, left_out = [], []
        for lot in mine:
            other, says = self._product(substance, lot)
            if other is None:
                left_out.append(f"{lot.product} is not counted: {says}")
                continue
            same = lot.product == first
            left = lot.left if same else floor_to(lot.left * other.holds / measure.holds, FINEST)
            counted.append(lot._replace(left=left))
        said = "; ".join(dict.fromkeys(left_out))
        return Kept(substance.id, first, measure.of, measure.unit, step, tuple(counted), said), measure

    def _product(self, substance: Substance, lot: Lot | None) -> tuple[Measure | None, str]:
        """How a product is measured; None and why, where that is not known."""
        if lot is None:
            return measure_of(substance, None), ""
        measure, why = measured_lot(substance, lot)
        if measure is None:
            return None, why
        of = f"tablets of {lot.each}" if measure.unit == "tablets" else f"{substance.name}, {lot.strength}"
        return measure._replace(of=of), ""

    def _strength_why(self, substance: Substance, row: Regimen, kept: Kept) -> str:
        """Why the strength of the product that is used first does not do for a row; "" where it does."""
        if row.id not in self._strengths:
            one = next((lot for lot in self._lots.get(substance.id, ()) if lot.product == kept.product), None)
            form = form_of(one, substance) if one else None
            hold = None if kept.unit == "tablets" else dosing.strength_hold(substance, row, form)
            self._strengths[row.id] = hold.says if hold else ""
        return self._strengths[row.id]

    def _step(self, unit: str) -> Decimal:
        return {"g": self.scale, "mL": self.syringe}.get(unit, Decimal(1))


def exact_amount(
    substance: Substance,
    row: Regimen,
    target: str | None,
    setting: dosing.Setting,
    out: Decimal | None = None,
) -> tuple[Decimal | None, str]:
    """What a dose puts into the water before it is rounded, in the ledger's unit (mg; uL of formalin; mg of copper); of
    one in food what is weighed for the food of that day; or None and why it is not known beforehand.

    ``target`` is the template's, ``out`` the litres that a planned change takes out of a water that is dosed again for
    them (rule C1).
    """
    said = dosing.instruction_for(row, setting)
    wanted = _quantity(target) if target else default_target(row, setting)
    wanted = Quantity(said.dose, said.unit) if said else wanted
    ceiling = ceiling_of(row, setting)
    if row.tier != "ready" and said is None:
        return None, f"{row.id} waits for a veterinarian's instruction"
    if row.own_vessel:
        return None, "the litres of its vessel are said on the day"
    if wanted is None:
        return None, "its target hangs on readings of the day"
    if ceiling is None:
        return None, f"no ceiling of {row.id} is on record for this water"
    if row.route == "food":
        hold = food_hold(substance, row, setting)
        if hold is None:
            size = food_size(substance, row, wanted, setting, ceiling)
            hold = food_size_hold(substance, row, setting, size)
            if hold is None and size.food is not None:
                return size.food.substance_mg, ""
        return None, hold.says if hold else ""
    if setting.volume is None:
        return None, "the water volume is not known"
    if tops_up(substance, row) or not dosing.counts_in_ledger(substance, wanted.unit):
        return None, "it is sized by a reading of the day"
    litres, plus_minus = litres_of(setting.volume)
    if plus_minus >= litres:
        return None, "the water volume is not known well enough"
    each = dosing.in_ledger(substance, wanted)
    top = dosing.in_ledger(substance, Quantity(ceiling.figure.value, ceiling.figure.unit))
    # Rule C2, as :func:`quarantine.dosing.size.size_of` has it with its working; a test holds them together.
    most = each * (litres if out is None else min(out, litres))
    if setting.replaces is not None:
        most = min(most, setting.replaces.amount)
    return min(most, top * (litres - plus_minus)), ""


def _waters(rows: Rows, systems: set[str], now: datetime) -> dict[str, Water]:
    """The water of each system now, as :func:`quarantine.records.loading.system_water` sums it, in one read."""
    system_of = {tank["id"]: tank["system"] for tank in rows.rows("tanks")}
    by_tank: dict[str, list[VolumeRecord]] = {}
    for row in rows.rows("volumes", tank=None):
        if system_of[row["tank"]] in systems:
            by_tank.setdefault(row["tank"], []).append(volume_of(row))
    sums: dict[str, tuple[Decimal, Decimal]] = {}
    for tank, volumes in by_tank.items():
        if (found := valid_at(volumes, now)) is not None:
            litres, plus_minus = sums.get(system_of[tank], (Decimal(0), Decimal(0)))
            sums[system_of[tank]] = litres + found.litres, plus_minus + found.plus_minus
    return {name: Water(float(litres), float(plus_minus)) for name, (litres, plus_minus) in sums.items()}


def _clearing(text: str, dose: str) -> set[str]:
    """The steps of a protocol that bring a dose's substance out, as the plan knows them, read without the planner: the
    changes that wait for it; without any, the chores right after it."""
    from tomllib import loads

    steps = {step["id"]: step for step in loads(text)["step"]}

    def waits(step: dict[str, Any], seen: frozenset[str] = frozenset()) -> bool:
        subject = next((step["start"][key] for key in ("after", "begun", "between") if key in step["start"]), None)
        if subject is None or subject in seen:
            return False
        return subject == dose or (subject in steps and waits(steps[subject], seen | {subject}))

    changes = {name for name, step in steps.items() if step["kind"] == "change" and waits(step)}
    return changes or {n for n, s in steps.items() if s["kind"] == "chore" and s["start"].get("after") == dose}


def _given_in_full(changes: list[Open], course: list[Open], row: Regimen, over: date) -> list[Open]:
    """The changes that call for the full amount: as soon as the published gap since the dose before lets it, one dose
    for all changes until then, and none where the next dose of the course or clearing comes first."""
    gap = row.minimum_gap
    apart = timedelta(days=1) if gap is None else timedelta(hours=float(to(Quantity(gap.value, gap.unit), "h")))
    doses = sorted(one.day for one in course if one.day is not None)
    again: list[date] = []
    found = []
    for change in sorted(changes, key=lambda one: one.day or over):
        assert change.day is not None  # those without a day call for nothing
        if again and change.day <= again[-1]:
            continue
        last = max((day for day in (*doses, *again) if day < change.day), default=None)
        due = change.day if last is None else max(change.day, last + apart)
        if due < over and not any(change.day <= day <= due for day in doses):
            again.append(due)
            found.append(change)
    return found


def _full_again(task: Open) -> bool:
    """Whether its template asks for the full amount again after a change, of what breaks down."""
    return bool(task.detail["treatment"].get("after_change") == "full")


def _number(task: Open) -> int:
    """Which of its step's runs a task is, from 1; :data:`quarantine.facts.AGAIN` for one that a change called for."""
    return int(task.key.rpartition(":")[2])


def _quantity(text: str) -> Quantity:
    return read(text, kind_of(text) or "concentration", "the target")


# --- What is shown -----------------------------------------------------------------------------------------------


def item_json(item: Item) -> dict[str, Any]:
    """One substance of the list for JSON; amounts are in ``unit``."""
    kept = item.kept
    return {
        "substance": kept.substance,
        "of": kept.of,
        "product": kept.product or None,
        "unit": kept.unit,
        "needed": item.needed,
        "reserve": item.reserve,
        "usable": item.usable,
        "short": item.short,
        "buy": item.buy,
        "runs_out": item.runs_out,
        "buy_by": item.buy_by,
        "shorts": [
            {**_of_need(one.need), "needed": one.need.amount, "short": one.lacking, "unit": kept.unit}
            for one in item.shorts
        ],
        "unknown": [{**_of_need(one), "because": one.why} for one in item.unknown],
        "expires_unused": [
            {"product": lot.product, "lot": lot.number, "good_until": lot.good_until, "left": left, "unit": kept.unit}
            for lot, left in item.wasted
        ],
        "not_counted": kept.why,
    }


def _of_need(need: Need) -> dict[str, Any]:
    return {"code": need.code or None, "batch": need.batch, "tank": need.tank, "day": need.day, "task": need.what}


def headline(item: Item) -> str:
    """The first line of a substance: what is needed and what there is."""
    unit = item.kept.unit
    in_stock = f"{show(item.usable)} {unit} usable" if item.kept.lots or item.kept.product else "nothing on record"
    spilled = f" and {show(item.reserve)} {unit} for spillage" if item.reserve else ""
    if not item.needed and item.unknown:
        return f"{_name(item)}: how much is needed is not known; in stock {in_stock}"
    return f"{_name(item)}: needed {show(item.needed)} {unit}{spilled}; in stock {in_stock}"


def _name(item: Item) -> str:
    kept = item.kept
    return f"{kept.of} ({kept.product})" if kept.product else kept.of


def verdict(item: Item, today: date) -> str:
    """What to do about a substance, in words; the day it runs out and the last day to buy it."""
    unit = item.kept.unit
    if not item.buy:
        return "enough" if item.needed else ""
    when = f", from {item.runs_out} on" if item.runs_out else ""
    short = f"short {show(item.short)} {unit}{when}: " if item.short else "enough, but nothing for spillage: "
    by = "" if item.buy_by is None else f" by {item.buy_by}"
    by = " at once" if item.buy_by is not None and item.buy_by <= today else by
    return f"{short}buy {show(item.buy)} {unit}{by}"


def course_lines(made: Shopping, batch: str, today: date) -> list[str]:
    """What a batch's medicines mean for the stock, said before its day 0: a line for each substance of its doses."""
    lines = []
    for item in made.items:
        mine = [need for need in made.needs if need.batch == batch and need.substance == item.kept.substance]
        unknown = sum(1 for need in mine if need.amount is None)
        if not mine or (item.kept.substance == CONDITIONER and unknown):
            continue  # the change's own card asks for the test of the tap water
        unit, own = item.kept.unit, sum((need.amount or Decimal(0) for need in mine), Decimal(0))
        beside = f" of it {show(own)} {unit} for this batch," if own != item.needed else ""
        says = ",".join(filter(None, (beside.rstrip(","), f" {verdict(item, today)}")))
        lines.append(f"Stock: {headline(item)};{says}".rstrip("; "))
        tasks = "task" if unknown == 1 else "tasks"
        lines += [f"  not known of {unknown} {tasks}: {reasons_of(mine)}"] if unknown else []
    return lines


def start_lines(rows: Rows, home: Home, now: datetime, batch: str) -> list[str]:
    """The same as a batch starts, in the transaction that starts it; beside it the batches that are open."""
    return course_lines(shopping(rows, home, now), batch, local_day(now, stock_zone(rows)))


def reasons_of(needs: Iterable[Need]) -> str:
    """Why amounts are not known, each reason once."""
    return "; ".join(dict.fromkeys(need.why for need in needs if need.amount is None))


def soon_short(rows: Rows, home: Home, now: datetime) -> list[str]:
    """What runs out within :data:`WARN_DAYS` of today, of the substances that stock is kept of; a line each.

    Batches that are only expected are left to the shopping list: they need the planner.
    """
    today = local_day(now, stock_zone(rows))
    items = shopping(rows, home, now).items
    soon = [one for one in items if one.runs_out and one.kept.product and one.runs_out - today <= timedelta(WARN_DAYS)]
    return [
        f"STOCK: {item.kept.product} runs out on {item.runs_out}, {show(item.short)} {item.kept.unit} short in all: "
        "quarantine shopping"
        for item in soon
    ]
