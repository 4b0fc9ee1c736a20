"""Sites, keepers, tanks, and where things are."""

from __future__ import annotations

import inspect
import json
from collections.abc import Callable
from typing import Annotated, Any

import typer

from quarantine.cli.session import now, session
from quarantine.quantity import show, show_significant
from quarantine.water.volume import MEASURES, SHAPES


def add_site(
    name: Annotated[str, typer.Argument(help="What the place is called.")],
    zone: Annotated[str, typer.Option(help="Its time zone, such as Europe/Berlin.")],
) -> None:
    from quarantine.actions.places import add_site

    row = add_site(session().desk(), name, zone)
    session().emit({"site": row["name"], "zone": zone}, [f"Site {row['name']}, {zone}."])


def list_sites() -> None:
    with session().reader() as rows:
        sites = sorted(rows.rows("sites"), key=lambda r: r["name"])
    document = {"sites": [{"site": s["name"], "zone": s["zone"]} for s in sites]}
    session().emit(document, [f"{s['name']}, {s['zone']}" for s in sites] or ["No site yet: quarantine site add."])


def add_keeper(
    name: Annotated[str, typer.Argument(help="How the keeper signs; initials will do.")],
    yes: Annotated[bool, typer.Option("--yes", help="Accept the dates this moves.")] = False,
) -> None:
    from quarantine.actions.places import add_keeper

    row = add_keeper(session().desk(), name, yes=yes)
    moved = {"moved": row["moved"]} if row["moved"] else {}
    session().emit({"keeper": row["name"], **moved}, [f"Keeper {row['name']}.", *row["moved"]])


Really = Annotated[bool, typer.Option("--really", help="It is so, though it looks like a slip.")]


def list_keepers() -> None:
    from quarantine.actions.duties import people_of

    with session().reader() as rows:
        people = sorted(people_of(rows), key=lambda p: p.name)
    roles = {p.name: p.role for p in people if p.role}
    lines = [p.name + (f", {p.role}" if p.role else "") for p in people]
    document = {"keepers": [p.name for p in people], **({"roles": roles} if roles else {})}
    session().emit(document, lines or ["No keeper yet: quarantine keeper add NAME."])


def _with_measures(command: Callable[..., None]) -> Callable[..., None]:
    """The command with an option for each measure a tank can have, instead of its ``**measures``.

    The measures are the shapes' own table, so a new one needs nothing here. typer reads signature and annotations.
    """
    own = inspect.signature(command, eval_str=True)
    fixed = [p for p in own.parameters.values() if p.kind is not inspect.Parameter.VAR_KEYWORD]
    options = [
        inspect.Parameter(
            name,
            inspect.Parameter.KEYWORD_ONLY,
            default=None,
            annotation=Annotated[str | None, typer.Option(f"--{name.replace('_', '-')}", help=help_)],
        )
        for name, help_ in MEASURES.items()
    ]
    signature = own.replace(parameters=[*fixed, *options])
    vars(command)["__signature__"] = signature
    command.__annotations__ = {p.name: p.annotation for p in signature.parameters.values()} | {"return": None}
    return command


@_with_measures
def add_tank(
    name: Annotated[str, typer.Argument(help="The tank's name, such as Q1.")],
    site: Annotated[str, typer.Option(help="The site it stands at.")],
    role: Annotated[str, typer.Option(help="quarantine, display, holding or pond.")],
    water: Annotated[str, typer.Option(help="fresh, brackish or marine.")],
    shape: Annotated[str, typer.Option(help=f"{', '.join(SHAPES)}.")],
    system: Annotated[str | None, typer.Option(help="The water system it shares with other tanks.")] = None,
    label: Annotated[str | None, typer.Option(help="The maker's volume; for comparison, never dosed by.")] = None,
    really: Really = False,
    **measures: Any,
) -> None:
    from quarantine.actions.places import add_tank

    made = add_tank(
        session().desk(),
        name,
        site=site,
        role=role,
        water=water,
        shape=shape,
        measures=measures,
        system=system,
        label=label,
        really=really,
    )
    volume = made["volume"]
    lines = [f"Tank {made['tank']}, water system {made['system']}.", *[f"  {line}" for line in volume.working]]
    if made["label_overdose_percent"] is not None:
        lines.append(_label_line(made["label_litres"], made["label_overdose_percent"]))
    lines.append(_advice(made["tank"]))
    document = {
        "tank": made["tank"],
        "system": made["system"],
        "volume": {"litres": volume.litres, "plus_minus_litres": volume.plus_minus_litres},
        "label_litres": made["label_litres"],
        "label_overdose_percent": made["label_overdose_percent"],
    }
    session().emit(document, lines)


def _label_line(litres: Any, percent: float) -> str:
    from decimal import Decimal

    amount = Decimal(repr(round(abs(percent), 3)))
    word = "too much" if percent >= 0 else "too little"
    return f"A dose by the label ({show(litres, 2)} L) would be {show_significant(amount, 2)} % {word}."


def _typed(name: str) -> str:
    """A tank's name as it is typed."""
    return name if name.isalnum() else f'"{name}"'


def _advice(tank: str) -> str:
    return f"Computed only: buckets, a meter or salt measure better: quarantine tank gauge {_typed(tank)}"


def measure_tank(
    name: Annotated[str, typer.Argument(help="The tank.")],
    volume: Annotated[str, typer.Argument(help='What was measured, such as "49.3 L" or "13 USgal".')],
    by: Annotated[str, typer.Option(help="How: counted buckets, meter, salt.")],
    plus_minus: Annotated[str | None, typer.Option(help='How sure: "0.5 L" or "2 %".')] = None,
    at: Annotated[str | None, typer.Option(help='When, local: "YYYY-MM-DD HH:MM"; now if left out.')] = None,
    really: Really = False,
) -> None:
    from quarantine.actions.places import measure_tank

    made = measure_tank(session().desk(), name, volume, by=by, plus_minus=plus_minus, at=at, really=really)
    _show_measured(made)


def _show_measured(made: dict[str, Any]) -> None:
    line = (
        f"{made['tank']}: {show(made['litres'], 2)} L, "
        f"plus or minus {show(made['plus_minus_litres'], 2, up=True)} L, by {made['method']}."
    )
    line += " Every later dose uses it." if made.pop("rules") else ""
    session().emit(made, [*[f"  {working}" for working in made["working"]], line, *made["notes"]])


def gauge_tank(
    name: Annotated[str, typer.Argument(help="The tank.")],
    buckets: Annotated[
        str | None, typer.Option(help='Counted: "17 x 10 L + 3.5 L", with the ± of one filling.')
    ] = None,
    fill: Annotated[str | None, typer.Option(help='Timed: "12 L/min for 9 min" or "7.5 L in 42 s for 336 s".')] = None,
    meter: Annotated[str | None, typer.Option(help='Both readings of a water meter: "1203.2 L to 1254.9 L".')] = None,
    salt: Annotated[str | None, typer.Option(help='Plain salt, dissolved and mixed in: "50 g ± 1 g".')] = None,
    before: Annotated[
        str | None, typer.Option(help='Reading before the salt: "0.2 g/L ± 0.02 g/L" or in uS/cm.')
    ] = None,
    after: Annotated[str | None, typer.Option(help="Reading when it is mixed, by the same meter.")] = None,
    calibration: Annotated[str | None, typer.Option(help='Of that meter: "1 g in 1 L: 210 to 2050 uS/cm".')] = None,
    reads: Annotated[
        str | None, typer.Option(help='How finely a meter reads ("0.02 g/L"): the salt that 5 % takes.')
    ] = None,
    at: Annotated[str | None, typer.Option(help='When, local: "YYYY-MM-DD HH:MM"; now if left out.')] = None,
    really: Really = False,
) -> None:
    from quarantine.actions.places import gauge_tank

    ways = {"buckets": buckets, "fill": fill, "meter": meter, "salt": salt}
    if not any((*ways.values(), before, after, calibration)):
        _show_ways(name, reads)
        return
    more = {"before": before, "after": after, "calibration": calibration, "at": at}
    made = gauge_tank(session().desk(), name, **ways, **more, really=really)
    if salt:
        made["notes"].append("The salt stays in the water: log the new salinity with quarantine reading.")
    _show_measured(made)


def _show_ways(name: str, reads: str | None) -> None:
    """The ways to measure this tank, and the salt that a measurement to 5 % takes; nothing is written."""
    from quarantine.actions.today import tank_named
    from quarantine.water.measuring import WAYS, advice_for_salt

    with session().reader() as rows:
        document = _tank_document(rows, tank_named(rows.rows("tanks"), name))
    volume = document["volume"]
    salt = advice_for_salt(reads, float(volume["litres"])) if reads and volume else ()
    lines = [f"{document['tank']}: fill it to the mark, sump and filter too, and say how; this wrote nothing."]
    lines += [f"  quarantine tank gauge {_typed(document['tank'])} {way}" for way in WAYS.values()]
    lines += [f"  {line}" for line in salt]
    if not salt:
        lines.append('  How much salt it takes: --reads "0.02 g/L", how finely the meter reads.')
    lines.append("  Salt only as far as the fish bear it: quarantine formulary show sodium-chloride")
    session().emit({"tank": document["tank"], "ways": list(WAYS.values()), "salt": salt}, lines)


def level_tank(
    name: Annotated[str, typer.Argument(help="The tank.")],
    stands: Annotated[str, typer.Argument(help='"3 cm below", "1 cm above", "at the mark", or a height "29 cm".')],
    at: Annotated[str | None, typer.Option(help='When, local: "YYYY-MM-DD HH:MM"; now if left out.')] = None,
) -> None:
    from quarantine.actions.places import level_tank

    made = level_tank(session().desk(), name, stands, at=at)
    lines = [
        *[f"  {line}" for line in made["working"]],
        f"{made['tank']}: {show(made['litres'], 2)} L, plus or minus {show(made['plus_minus_litres'], 2, up=True)} L. "
        + ("Every later dose uses it." if made.pop("rules") else "A later volume is on record and rules now."),
    ]
    if made["above_mark_cm"]:
        lines.append(f'Back at the mark: quarantine tank level {_typed(made["tank"])} "at the mark"')
    session().emit(made, lines)


def tank_parts(
    name: Annotated[str, typer.Argument(help="The tank.")],
    sump: Annotated[
        str | None, typer.Option(help='Water in its sump at running level: "20 L"; "0 L" for none.')
    ] = None,
    filter_: Annotated[str | None, typer.Option("--filter", help='Water in its filter: "2 L"; "0 L" for none.')] = None,
    counted: Annotated[
        str | None, typer.Option(help="Of measured litres: yes where they hold both already, no where not.")
    ] = None,
    at: Annotated[str | None, typer.Option(help='When, local: "YYYY-MM-DD HH:MM"; now if left out.')] = None,
    really: Really = False,
) -> None:
    from quarantine.actions.places import tank_parts

    made = tank_parts(session().desk(), name, sump=sump, filter_=filter_, counted=counted, at=at, really=really)
    lines = [
        *[f"  {line}" for line in made["working"]],
        f"{made['tank']}: {made.pop('says')}. A dose with the filter off goes without them (rule C10).",
        *made["notes"],
    ]
    session().emit(made, lines)


def set_point(
    tank: Annotated[str, typer.Argument(help="The tank.")],
    celsius: Annotated[str | None, typer.Argument(help='What the heater is set to: "26 °C", "78 °F".')] = None,
    none: Annotated[bool, typer.Option("--none", help="No heater warms it any more.")] = False,
    at: Annotated[str | None, typer.Option(help='When, local: "YYYY-MM-DD HH:MM"; now if left out.')] = None,
) -> None:
    from quarantine.actions.desk import local_text
    from quarantine.actions.places import set_point

    made = set_point(session().desk(), tank, celsius, none=none, at=at)
    told = f"{made['tank']}, {local_text(made['at'], made.pop('zone'))}: {made.pop('says')}."
    rule = "A limit of temperature goes by the higher of it and of what was read in 24 h (rule C14)."
    session().emit(made, [told, *([rule] if made["celsius"] is not None else [])])


def rename_tank(
    name: Annotated[str, typer.Argument(help="The tank's present name.")],
    new_name: Annotated[str, typer.Argument(help="Its new one.")],
) -> None:
    from quarantine.actions.places import rename_tank

    made = rename_tank(session().desk(), name, new_name)
    session().emit(made, [f"{made['was']} is now {made['tank']}; its history is unchanged."])


def show_tank(name: Annotated[str, typer.Argument(help="The tank.")]) -> None:
    from quarantine.actions.today import tank_named
    from quarantine.water.volume import described

    with session().reader() as rows:
        tank = tank_named(rows.rows("tanks"), name)
        document = _tank_document(rows, tank)
    volume = document["volume"]
    lines = [
        f"{document['tank']}: {document['role']}, {document['water']} water, {document['site']}, "
        f"system {document['system']}"
    ]
    if volume:
        lines.append(
            f"  {show(volume['litres'])} L, plus or minus {show(volume['plus_minus_litres'])} L: "
            f"{volume['method']}, {volume['measured_on']}"
        )
        lines += [f"    {line}" for line in volume["working"]]
    if document["label_overdose_percent"] is not None:
        lines.append("  " + _label_line(document["label_litres"], document["label_overdose_percent"]))
    shape = described(document["shape"]) if document["shape"] else ["no shape on record, only litres"]
    lines += [f"  {line}" for line in shape]
    if all(v["method"].startswith("computed") for v in (volume, *document["history"]) if v):
        lines.append("  " + _advice(document["tank"]))
    for old in document["history"]:
        lines.append(f"  before: {show(old['litres'])} L, {old['method']}, {old['measured_on']}")
    session().emit(document, lines)


def _tank_document(rows: Any, tank: Any) -> dict[str, Any]:
    from decimal import Decimal

    from quarantine.facts import local_day
    from quarantine.records.loading import valid_at, volume_of
    from quarantine.water.volume import Volume, label_overdose_percent

    volumes = [volume_of(row) for row in rows.rows("volumes", tank=tank["id"])]
    current = valid_at(volumes, now())

    def shown(v: Any) -> dict[str, Any]:
        return {
            "litres": v.litres,
            "plus_minus_litres": v.plus_minus,
            "method": v.method,
            "measured_on": local_day(v.valid_from, tank["zone"]),
            "working": list(v.working),
        }

    label = Decimal(tank["label_litres"]) if tank["label_litres"] else None
    over = None
    if label is not None and current is not None:
        as_volume = Volume(float(current.litres), float(current.plus_minus), ())
        over = label_overdose_percent(float(label), as_volume)
    return {
        "tank": tank["name"],
        "site": tank["site_name"],
        "system": tank["system_name"],
        "role": tank["role"],
        "water": tank["water"],
        "shape": json.loads(tank["shape"]),
        "volume": shown(current) if current else None,
        "label_litres": label,
        "label_overdose_percent": over,
        "history": [shown(v) for v in volumes if v is not current],
    }


def list_tanks() -> None:
    with session().reader() as rows:
        tanks = [_tank_document(rows, t) for t in sorted(rows.rows("tanks"), key=lambda r: r["name"].casefold())]
    lines = [
        f"{t['tank']}: {t['role']}, {t['water']}, {t['site']}"
        + (f", {show(t['volume']['litres'])} L" if t["volume"] else "")
        for t in tanks
    ]
    session().emit({"tanks": tanks}, lines or ["No tank yet: quarantine tank add."])


def where() -> None:
    from quarantine import __version__
    from quarantine.settings import FILE, SETTINGS

    home = session().home()
    document: dict[str, Any] = {
        "version": __version__,
        "home": str(home.path),
        "home_from": home.origin,
        "record": _without_password(home.database),
        "settings_file": str(home.path / FILE),
        "settings": [
            {
                "name": s.name,
                "value": _without_password(home.values[s.name][0]),
                "from": home.values[s.name][1],
                "help": s.help,
            }
            for s in SETTINGS
        ],
        "untried": ["macOS", "Windows", "every phone calendar: the file is checked by libraries, not on devices"],
    }
    lines = [
        f"quarantine {__version__}",
        f"Home: {home.path} (from {home.origin})",
        f"Record: {document['record']}",
        f"Settings: {home.path / FILE}",
        *[f"  {s['name']} = {s['value'] or 'not set'} (from {s['from']}): {s['help']}" for s in document["settings"]],
        "Untried: macOS, Windows, and every phone calendar.",
    ]
    session().emit(document, lines)


def _without_password(url: str) -> str:
    import re

    return re.sub(r"(://[^:/@]+):[^@]*@", r"\1:***@", url)
