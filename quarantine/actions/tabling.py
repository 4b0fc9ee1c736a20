"""The record as tables for a spreadsheet or an inspector: what stands, table by table. Reads only.

A fact that was taken back or corrected is left out of its table and stands in the journal's. Amounts are the decimal
text that was recorded; times are local to the site, with their offset, beside the name of the zone.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterable, Iterator
from contextlib import suppress
from datetime import date, datetime
from pathlib import Path
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from quarantine.actions.desk import find_batch
from quarantine.actions.shelf import lots
from quarantine.facts import local_day
from quarantine.failures import Refused
from quarantine.luggage import COPIED
from quarantine.quantity import show
from quarantine.readings import SOURCE
from quarantine.records.codec import instant
from quarantine.records.journal import Entry, Told, tell
from quarantine.records.reads import Row, Rows

Values = dict[str, Any]


class Table(NamedTuple):
    """One table: its name, its columns (a unit in the name of each that has one), its rows by column."""

    name: str
    columns: tuple[str, ...]
    rows: Iterable[Values]


class _Scope(NamedTuple):
    """What is on record of places and people, and what part of the rest is wanted."""

    keepers: dict[str, str]
    tanks: dict[str, str]
    zones: dict[str, str]
    """of each water system"""
    batches: dict[str, str]
    batch: Row | None
    since: date | None


FACT = ("happened_at", "zone", "tank", "batch")
MADE = ("keeper", "entered_at", "corrected", "id")
"""What every fact has, before and behind what is its own."""

UNIT_COLUMNS = {"°C": "celsius", "": "ph", "mg/L": "mg_per_l", "g/L": "g_per_l"}
"""The column of one unit in which a reading's value stands again."""

BATCHES = (
    "batch", "state", "tank", "system", "water", "expected_from", "expected_until", "arrived_at", "zone", "fish",
    "arrived_alive_count", "dead_on_arrival_count", "alive_count", "source", "destination", "protocol", "revision",
    "title", "closed_at", "id",
)  # fmt: skip
LOOKS = (
    *FACT, "seen_count", "no_signs", "food_offered", "appetite_0_to_3", "signs", "severity", "gone", "note", *MADE,
)  # fmt: skip
READINGS = (
    *FACT, "measured_in", "parameter", "value", "unit", *UNIT_COLUMNS.values(), "step", "form", "kit", "lot",
    "expires", "expired", *MADE,
)  # fmt: skip
DOSE_OWN = (
    "substance", "regimen", "route", "target", "target_unit", "prepared", "prepared_unit", "given", "given_unit",
    "product", "volume_litres", "volume_plus_minus_litres", "fish_grams", "food_grams", "elapsed_seconds", "contact",
    "rescue", "note", "reference",
)  # fmt: skip
LEDGER_UNITS = {
    "mg/L": ("mass_mg", "mg_per_l"),
    "uL/L": ("volume_ul", "ul_per_l"),
    "mg/L Cu": ("mass_mg_copper", "mg_copper_per_l"),
}
"""Of each unit in which levels are kept: the column of the amount, and how one of a level ends."""
LEVELS = ("target", "gives_low", "gives_high", "ceiling")
DOSE_LEVELS = tuple(
    column for mass, level in LEDGER_UNITS.values() for column in (mass, *(f"{name}_{level}" for name in LEVELS))
)
DOSE_TIMES = ("started_at", "ended_at")
DOSES = (*FACT, *DOSE_OWN, *DOSE_LEVELS, "held", *DOSE_TIMES, *MADE)
CHANGES = (*FACT, "kind", "out_litres", "in_litres", "litres_per_hour", "until", "by", *MADE)
DEATH_OWN = ("cause", "explained", "signs", "suspected", "because", "method", "disposal")
DEATHS = (*FACT, "outcome", "count", "last_look_at", *DEATH_OWN, *MADE)
AMOUNTS = {"g": "amount_g", "mL": "amount_ml", "tablets": "amount_tablets"}
DRAWS = (
    *FACT, "task", "substance", "product", "lot", *AMOUNTS.values(), "keeper", "entered_at", "dose",
)  # fmt: skip
LEFT = {unit: column.replace("amount", "left") for unit, column in AMOUNTS.items()}
LOTS = (
    "product", "substance", "form", "strength", "each", "lot", "state", "good_until", "opened_on", *LEFT.values(), "id",
)  # fmt: skip
TASKS = (
    "day", "due_from", "due_until", "zone", "tank", "batch", "code", "kind", "title", "state", "reason",
    "outcome_at", "outcome_by", "outcome_fact",
)  # fmt: skip
SIGNOFFS = ("at", "zone", "batch", "decision", "keeper", "deviation", "not_met", "seal")
PLACED = ("first_day", "last_day")
TOLD = ("entered_at", "entered_by", "id")
ABSENCES = (*PLACED, "keeper", "because", *TOLD)
CLOSURES = (*PLACED, "site", "weekdays", "what", *TOLD)
JOURNAL = (
    "entry", "happened_at", "entered_at", "zone", "keeper_id", "keeper", "kind", "says", "seal", "seal_fits",
)  # fmt: skip


def read_tables(rows: Rows, batch: str | None = None, since: date | None = None) -> Iterator[Table]:
    """All tables, one at a time; of one batch, or from a local day on. Raises Unknown for a batch not on record.

    Of a batch: its own facts, what happened to the water of its system during its stay (a dose in a shared water was
    given to every batch in it), the lots that its doses were drawn from, and who was away or what was shut meanwhile.
    From a day on: what happened on it or later (signed, due, entered); a batch that was not closed before it; a task
    that has no day yet; every lot.
    """
    chosen = find_batch(rows, batch) if batch is not None else None
    zone_of_site = {row["id"]: row["zone"] for row in rows.rows("sites")}
    batches = rows.rows("batches")
    scope = _Scope(
        keepers={row["id"]: row["name"] for row in rows.rows("keepers")},
        tanks={row["id"]: row["name"] for row in rows.rows("tanks")},
        zones={row["id"]: zone_of_site[row["site"]] for row in rows.rows("systems")},
        batches={row["id"]: row["name"] for row in batches},
        batch=chosen,
        since=since,
    )
    wanted = [b for b in batches if (chosen is None or b["id"] == chosen["id"])]
    yield Table("batches", BATCHES, _batches(rows, scope, wanted))
    yield Table("looks", LOOKS, (_look(fact) for fact in _facts(rows, scope, "look")))
    yield Table("readings", READINGS, _readings(rows, scope))
    yield Table("doses", DOSES, (_dose(fact) for fact in _facts(rows, scope, "dose")))
    yield Table("draws", DRAWS, _draws(rows, scope))
    yield Table("lots", LOTS, _lots(rows, scope))
    yield Table("changes", CHANGES, _changes(rows, scope))
    yield Table("deaths", DEATHS, _deaths(rows, scope))
    yield Table("tasks", TASKS, _tasks(rows, scope))
    yield Table("signoffs", SIGNOFFS, _signoffs(rows, scope, wanted))
    yield Table("absences", ABSENCES, _absences(rows, scope))
    yield Table("closures", CLOSURES, _closures(rows, scope))
    yield Table("journal", JOURNAL, _journal(rows, scope))


def local(text: str | None, zone: str) -> str | None:
    """A stored instant as local time with its offset: 2026-02-10T14:30:00+01:00."""
    return instant(text).astimezone(ZoneInfo(zone)).isoformat() if text else None


def _from_day(text: str | None, zone: str, since: date | None) -> bool:
    return since is None or text is None or local_day(instant(text), zone) >= since


def _facts(rows: Rows, scope: _Scope, kind: str, *, copies: bool = False) -> Iterator[Values]:
    """What every fact has, with its ``data`` and its ``row``; oldest first. What a batch has from the one it was parted
    from stands there already: over all batches it counts once."""
    system = scope.batch["system"] if scope.batch else None
    for row in rows.rows("facts_of_kind", kind=kind, system=system):
        zone = scope.zones[row["system"]]
        if not _from_day(row["happened_at"], zone, scope.since) or not _of_batch(row, scope.batch):
            continue
        data = json.loads(row["data"])
        if COPIED in data and scope.batch is None and not copies:
            continue
        yield {
            "happened_at": local(row["happened_at"], zone),
            "zone": zone,
            "tank": scope.tanks.get(row["tank"]),
            "batch": scope.batches.get(row["batch"]),
            "keeper": scope.keepers.get(row["keeper"]),
            "entered_at": local(row["entered_at"], zone),
            "corrected": data.get("corrected"),
            "id": row["id"],
            "data": data,
            "row": row,
        }


WATER = (
    *("reading", "source_water", "dose", "change", "topup", "evaporation", "exchange", "removal", "unknown_addition"),
    "void",
)
"""Kinds that concern every batch in the water; so does taking one back."""


def _of_batch(fact: Row, batch: Row | None) -> bool:
    """Whether a fact is of the batch, or of its water during its stay."""
    if batch is None or fact["batch"] == batch["id"]:
        return True
    return fact["kind"] in WATER and fact["system"] == batch["system"] and _in_stay(fact["happened_at"], batch)


def _in_stay(at: str, batch: Row) -> bool:
    # Fixed-width UTC text sorts as it reads.
    return bool(batch["arrived_at"] <= at and (batch["closed_at"] is None or at <= batch["closed_at"]))


def _batches(rows: Rows, scope: _Scope, wanted: list[Row]) -> Iterator[Values]:
    arrivals = {fact["row"]["batch"]: fact for fact in _facts(rows, scope._replace(since=None), "arrival", copies=True)}
    for row in wanted:
        if row["closed_at"] and not _from_day(row["closed_at"], row["zone"], scope.since):
            continue
        standing = json.loads(row["standing"])
        expected = standing.get("expected", {})
        arrival = arrivals.get(row["id"], {"data": {}})
        yield {
            "batch": row["name"],
            "state": row["state"],
            "tank": row["tank_name"],
            "system": row["system_name"],
            "water": row["water"],
            "expected_from": expected.get("first"),
            "expected_until": expected.get("last"),
            "arrived_at": arrival.get("happened_at"),
            "zone": row["zone"],
            "fish": [_fish(line) for line in json.loads(row["fish"])],
            "arrived_alive_count": arrival["data"].get("count"),
            "dead_on_arrival_count": arrival["data"].get("dead_on_arrival"),
            "alive_count": standing.get("alive"),
            "source": row["source"],
            "destination": row["destination_name"],
            "protocol": row["protocol"],
            "revision": row["revision"],
            "title": row["title"],
            "closed_at": local(row["closed_at"], row["zone"]),
            "id": row["id"],
        }


def _fish(line: Values) -> str:
    return f"{line['count']} {line['species']}" + (f", {line['note']}" if line.get("note") else "")


def _look(fact: Values) -> Values:
    data = fact["data"]
    return fact | {
        "seen_count": data.get("seen"),
        "no_signs": data.get("no_signs"),
        "food_offered": data.get("offered"),
        "appetite_0_to_3": data.get("appetite"),
        "signs": data.get("signs"),
        "severity": [f"{sign} {severity}" for sign, severity in data.get("severity", {}).items()],
        "gone": data.get("gone"),
        "note": data.get("note"),
    }


def _readings(rows: Rows, scope: _Scope) -> Iterator[Values]:
    """Of the tanks; then of the water that goes in, a row for each thing that was tested."""
    own = ("parameter", "value", "unit", "step", "form", "kit", "lot", "expires", "expired")
    for fact in _facts(rows, scope, "reading"):
        data = fact["data"]
        yield fact | {key: data.get(key) for key in own} | _in_units("tank", data["value"], data["unit"])
    for fact in _facts(rows, scope, "source_water"):
        data = fact["data"]
        for name in (name for name in SOURCE if name in data):
            unit = SOURCE[name].unit
            said = {"parameter": name, "value": data[name], "unit": unit, "step": data.get(f"{name}_step")}
            yield fact | said | _in_units("water that goes in", data[name], unit)


def _in_units(measured_in: str, value: str, unit: str) -> Values:
    return {"measured_in": measured_in, UNIT_COLUMNS[unit]: value}


def _dose(fact: Values) -> Values:
    data = fact["data"]
    times = {key: local(data.get(key), fact["zone"]) for key in DOSE_TIMES}
    held = (data.get("hold") or {}).get("says")
    return fact | {key: data.get(key) for key in DOSE_OWN} | _dose_levels(data) | times | {"held": held}


def _dose_levels(data: Values) -> Values:
    """Amount and levels in the columns of their unit: what the fact names mg is uL of a liquid, or mg of copper."""
    mass, level = LEDGER_UNITS[data.get("level_unit", "mg/L")]
    found = {f"{name}_{level}": data.get(f"{name}_mg_per_l") for name in LEVELS}
    return {mass: data.get("mass_mg"), **found}


def _draws(rows: Rows, scope: _Scope) -> Iterator[Values]:
    """What the doses that stand were drawn from, a row for each lot; ``dose`` is the id of the dose's own row."""
    codes = {row["id"]: row["code"] for row in rows.rows("all_tasks", batch=None)}
    for fact in _facts(rows, scope, "dose"):
        for one in fact["data"].get("drawn", ()):
            yield fact | {
                "task": codes.get(fact["row"]["task"]),
                "substance": fact["data"]["substance"],
                "product": one["product"],
                "lot": one["lot"],
                AMOUNTS[one["unit"]]: one["amount"],
                "dose": fact["id"],
            }


def _lots(rows: Rows, scope: _Scope) -> Iterator[Values]:
    """Every lot as it stands now; of a batch only those that its doses were drawn from."""
    drawn = None
    if scope.batch is not None:
        facts = _facts(rows, scope, "dose")
        drawn = {one["lot_id"] for fact in facts for one in fact["data"].get("drawn", ())}
    forms = {row["id"]: row["form"] for row in rows.rows("lots")}
    for lot in lots(rows):
        if drawn is None or lot.id in drawn:
            yield {
                "product": lot.product,
                "substance": lot.substance,
                "form": forms[lot.id],
                "strength": lot.strength,
                "each": lot.each,
                "lot": lot.number,
                "state": "recalled" if lot.recalled else "in use",
                "good_until": lot.good_until,
                "opened_on": lot.opened_on,
                LEFT[lot.unit]: show(lot.left),
                "id": lot.id,
            }


def _changes(rows: Rows, scope: _Scope) -> Iterator[Values]:
    """Water changed; then evaporated water replaced; then what evaporated; then what flowed through."""
    for fact in _facts(rows, scope, "change"):
        data = fact["data"]
        yield fact | {"kind": "change", **{key: data.get(key) for key in ("out_litres", "in_litres", "by")}}
    for kind, column in (("topup", "in_litres"), ("evaporation", "out_litres")):
        for fact in _facts(rows, scope, kind):
            yield fact | {"kind": kind, column: fact["data"]["litres"]}
    for fact in _facts(rows, scope, "exchange"):
        data = fact["data"]
        until = local(data.get("until"), fact["zone"])
        yield fact | {"kind": "exchange", "litres_per_hour": data["litres_per_hour"], "until": until}


def _deaths(rows: Rows, scope: _Scope) -> Iterator[Values]:
    """Dead on arrival, which are counted apart (A7); then died and euthanised."""
    for fact in _facts(rows, scope, "arrival"):
        if fact["data"].get("dead_on_arrival"):
            yield fact | {"outcome": "dead on arrival", "count": fact["data"]["dead_on_arrival"]}
    for fact in _facts(rows, scope, "died"):
        data = fact["data"]
        outcome = "euthanised" if data.get("euthanised") else "died"
        said = {"outcome": outcome, "count": data["count"], "last_look_at": local(data.get("since_look"), fact["zone"])}
        yield fact | said | {key: data.get(key) for key in DEATH_OWN}


def _tasks(rows: Rows, scope: _Scope) -> Iterator[Values]:
    since = scope.since.isoformat() if scope.since else ""
    for row in rows.rows("all_tasks", batch=scope.batch["id"] if scope.batch else None):
        if (row["day"] or "9999") < since:
            continue
        zone = row["zone"]
        yield {
            **{key: row[key] for key in ("day", "zone", "code", "kind", "title", "state", "reason")},
            **{key: local(row[key], zone) for key in ("due_from", "due_until", "outcome_at")},
            "tank": row["tank_name"],
            "batch": row["batch_name"],
            "outcome_by": scope.keepers.get(row["outcome_by"]),
            "outcome_fact": json.loads(row["outcome"]).get("fact") if row["outcome"] else None,
        }


def _signoffs(rows: Rows, scope: _Scope, wanted: list[Row]) -> Iterator[Values]:
    for batch in wanted:
        for row in rows.rows("signoffs", batch=batch["id"]):
            if not _from_day(row["at"], batch["zone"], scope.since):
                continue
            criteria = json.loads(row["evidence"]).get("criteria", [])
            yield {
                "at": local(row["at"], batch["zone"]),
                "zone": batch["zone"],
                "batch": batch["name"],
                "decision": row["decision"],
                "keeper": row["keeper_name"],
                "deviation": row["deviation"],
                "not_met": [one["title"] for one in criteria if one["verdict"] != "met"],
                "seal": row["seal"],
            }


def _absences(rows: Rows, scope: _Scope) -> Iterator[Values]:
    """Who was, or will be, away; of a batch during its stay. Entered in UTC: a keeper belongs to no one site."""
    for row in _days(rows.rows("absences", since=_first(scope)), scope):
        yield _placed(row, scope) | {"keeper": row["keeper_name"], "because": row["because"]}


def _closures(rows: Rows, scope: _Scope) -> Iterator[Values]:
    """When a site was, or will be, shut; of a batch its own site during its stay."""
    site = scope.batch and next(t["site"] for t in rows.rows("tanks") if t["id"] == scope.batch["tank"])
    for row in _days(rows.rows("closures", site=site, since=_first(scope)), scope):
        told = {"site": row["site_name"], "weekdays": row["weekdays"].split(",") if row["weekdays"] else None}
        yield _placed(row, scope) | told | {"what": row["what"], "entered_at": local(row["entered_at"], row["zone"])}


def _first(scope: _Scope) -> str:
    """The day from which on absences and closures are wanted: the later of ``since`` and the day a batch came."""
    days = [scope.since] if scope.since else []
    days += [local_day(instant(scope.batch["arrived_at"]), scope.batch["zone"])] if scope.batch else []
    return max(days, default=date.min).isoformat()


def _days(found: list[Row], scope: _Scope) -> Iterator[Row]:
    """Of a batch that is closed those that began before it was."""
    closed = scope.batch["closed_at"] if scope.batch else None
    last = local_day(instant(closed), scope.batch["zone"]).isoformat() if scope.batch and closed else None
    return (row for row in found if last is None or row["since"] <= last)


def _placed(row: Row, scope: _Scope) -> Values:
    return {
        "first_day": row["since"],
        "last_day": row["until"],
        "entered_at": _utc(row["entered_at"]),
        "entered_by": scope.keepers.get(row["entered_by"]),
        "id": row["id"],
    }


def _journal(rows: Rows, scope: _Scope) -> Iterator[Values]:
    """Every entry in its order, in UTC: an entry belongs to no one site. One that was changed is never left out."""
    for row in rows.rows("journal"):
        told = tell(Entry(row["id"], row["n"], row["payload"]))
        if told.kind is not None and told.fits and not _wanted_entry(told, scope):
            continue
        yield {
            "entry": told.entry.n,
            "happened_at": _utc(told.happened_at),
            "entered_at": _utc(told.entered_at),
            "zone": "UTC",
            "keeper_id": told.keeper,
            "keeper": None if told.keeper is None else scope.keepers.get(told.keeper),
            "kind": told.kind,
            "says": told.says,
            "seal": told.entry.id,
            "seal_fits": told.fits,
        }


def _utc(text: str | None) -> str | None:
    """The instant as the other tables write one; of a changed entry whatever stands there."""
    try:
        return datetime.fromisoformat(str(text)).isoformat() if text else None
    except ValueError:
        return text


def _wanted_entry(told: Told, scope: _Scope) -> bool:
    if scope.since is not None and str(told.entered_at)[:10] < scope.since.isoformat():
        return False
    return scope.batch is None or _concerns(told.entry.payload, scope.batch)


def _concerns(payload: str, batch: Row) -> bool:
    """Whether an entry wrote something of the batch: its rows, its water during its stay, the volume of its tank."""
    for table, written in json.loads(payload)["rows"].items():
        for row in written:
            if batch["id"] in (row["id"], row.get("batch")):
                return True
            if table == "fact" and _of_batch(row, batch):
                return True
            if table == "volume" and row["tank"] == batch["tank"] and _in_stay(row["valid_from"], batch):
                return True
    return False


# --- Keeping the files ------------------------------------------------------------------------------------


def save_folder(folder: Path, files: Iterable[tuple[str, Iterable[str]]]) -> None:
    """Write named files of text into a new folder: all of them or none, and nothing over what is there.

    They are written beside it in a folder of a passing name, which then takes its place. Raises Refused for a folder
    that is there already, and where it cannot be written.
    """
    target = Path(os.path.abspath(folder))
    part = target.parent / f".{os.urandom(8).hex()}.part"
    try:
        if os.path.lexists(target):
            raise Refused(f"{folder} is there already and was left alone; name a new folder for these files.")
        target.parent.mkdir(parents=True, exist_ok=True)
        part.mkdir()
        for name, lines in files:
            with (part / name).open("x", encoding="utf-8", newline="") as file:
                file.writelines(lines)
                file.flush()
                os.fsync(file.fileno())
        part.rename(target)
    except OSError as error:
        reason = (error.strerror or type(error).__name__).lower()
        raise Refused(f"{folder} could not be written ({reason}); name another folder.") from error
    finally:
        # After success it is gone already.
        with suppress(OSError):
            shutil.rmtree(part)
