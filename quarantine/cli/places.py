"""Sites, keepers, tanks, and where things are."""

from __future__ import annotations

import json
from typing import Annotated, Any

import typer

from quarantine.cli.session import now, session
from quarantine.quantity import show, show_significant


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


def add_keeper(name: Annotated[str, typer.Argument(help="How the keeper signs; initials will do.")]) -> None:
    from quarantine.actions.places import add_keeper

    row = add_keeper(session().desk(), name)
    session().emit({"keeper": row["name"]}, [f"Keeper {row['name']}."])


def list_keepers() -> None:
    with session().reader() as rows:
        names = sorted(r["name"] for r in rows.rows("keepers"))
    session().emit({"keepers": names}, names or ["No keeper yet: quarantine keeper add NAME."])


def add_tank(
    name: Annotated[str, typer.Argument(help="The tank's name, such as Q1.")],
    site: Annotated[str, typer.Option(help="The site it stands at.")],
    role: Annotated[str, typer.Option(help="quarantine, display, holding or pond.")],
    water: Annotated[str, typer.Option(help="fresh, brackish or marine.")],
    shape: Annotated[str, typer.Option(help="box or cylinder.")],
    length: Annotated[str | None, typer.Option(help='Inside length, such as "60 cm" or "24 in".')] = None,
    width: Annotated[str | None, typer.Option(help="Inside width.")] = None,
    diameter: Annotated[str | None, typer.Option(help="Inside diameter of a cylinder.")] = None,
    height: Annotated[str | None, typer.Option(help="Inside height of the walls.")] = None,
    filled: Annotated[str | None, typer.Option(help="Water height above the inside floor.")] = None,
    walls: Annotated[str | None, typer.Option(help="Wall thickness: then the measures are outside ones.")] = None,
    substrate: Annotated[str | None, typer.Option(help='Depth ("5 cm") or weight ("10 kg").')] = None,
    rocks: Annotated[str | None, typer.Option(help='Weight ("8 kg") or litres they displace ("3 L").')] = None,
    sump: Annotated[str | None, typer.Option(help="Water in the sump at running level.")] = None,
    filter_: Annotated[str | None, typer.Option("--filter", help="Water in the filter.")] = None,
    system: Annotated[str | None, typer.Option(help="The water system it shares with other tanks.")] = None,
    label: Annotated[str | None, typer.Option(help="The maker's volume; for comparison, never dosed by.")] = None,
) -> None:
    from quarantine.actions.places import add_tank

    measures = {
        "length": length,
        "width": width,
        "diameter": diameter,
        "height": height,
        "filled": filled,
        "walls": walls,
        "substrate": substrate,
        "rocks": rocks,
        "sump": sump,
        "filter": filter_,
    }
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
    )
    volume = made["volume"]
    lines = [f"Tank {made['tank']}, water system {made['system']}.", *[f"  {line}" for line in volume.working]]
    if made["label_overdose_percent"] is not None:
        lines.append(_label_line(made["label_litres"], made["label_overdose_percent"]))
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


def measure_tank(
    name: Annotated[str, typer.Argument(help="The tank.")],
    volume: Annotated[str, typer.Argument(help='What was measured, such as "49.3 L" or "13 USgal".')],
    by: Annotated[str, typer.Option(help="How: counted buckets, meter, salt.")],
    plus_minus: Annotated[str | None, typer.Option(help='How sure: "0.5 L" or "2 %".')] = None,
    at: Annotated[str | None, typer.Option(help='When, local: "YYYY-MM-DD HH:MM"; now if left out.')] = None,
) -> None:
    from quarantine.actions.places import measure_tank

    made = measure_tank(session().desk(), name, volume, by=by, plus_minus=plus_minus, at=at)
    session().emit(
        made,
        [
            f"{made['tank']}: {show(made['litres'], 2)} L, "
            f"plus or minus {show(made['plus_minus_litres'], 2, up=True)} L, by {made['method']}. "
            "Every later dose uses it."
        ],
    )


def rename_tank(
    name: Annotated[str, typer.Argument(help="The tank's present name.")],
    new_name: Annotated[str, typer.Argument(help="Its new one.")],
) -> None:
    from quarantine.actions.places import rename_tank

    made = rename_tank(session().desk(), name, new_name)
    session().emit(made, [f"{made['was']} is now {made['tank']}; its history is unchanged."])


def show_tank(name: Annotated[str, typer.Argument(help="The tank.")]) -> None:
    from quarantine.actions.today import tank_named

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
