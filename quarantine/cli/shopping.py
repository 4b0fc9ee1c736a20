"""The shopping list: what planned work takes beyond what is in stock, and by when to buy it."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any

import typer

from quarantine.cli.session import now, session

MOST_SHOWN = 8
"""So many tasks that lack a substance are listed on the screen, the first ones."""


def shopping(
    until: Annotated[str | None, typer.Option(help="Only what is needed up to this day, YYYY-MM-DD.")] = None,
    lead: Annotated[str | None, typer.Option(help='How long it takes to come: "7 d", the default, "2 weeks".')] = None,
) -> None:
    from quarantine.actions.shelf import stock_zone
    from quarantine.actions.shopping import item_json, shopping
    from quarantine.facts import local_day
    from quarantine.shopping import LEAD_DAYS

    last = _day(until) if until else None
    lead_days = LEAD_DAYS if lead is None else _days(lead)
    home, moment = session().home(), now()
    with session().reader() as rows:
        made = shopping(rows, home, moment, until=last, lead_days=lead_days, more=_expected(rows, moment))
        today = local_day(moment, stock_zone(rows))
    document: dict[str, Any] = {
        "until": last,
        "lead_days": lead_days,
        "items": [item_json(item) for item in made.items],
        "water": [
            {
                "litres": ready.litres,
                "day": ready.task.day,
                "batch": ready.task.batch,
                "tank": ready.task.tank["name"],
                "task": ready.task.title,
            }
            for ready in made.water
        ],
    }
    session().emit(document, _lines(made, today, lead_days))


def _day(text: str) -> date:
    from quarantine.cli.today import read_day  # with all of its list, so only where it is wanted

    return read_day(text, "--until")


def _expected(rows: Any, moment: Any) -> list[Any]:
    """The courses of batches that are expected; only they ask the planner."""
    if not rows.rows("expected_batches"):
        return []
    from quarantine.actions.previewing import expected_tasks

    found: list[Any] = expected_tasks(rows, moment)
    return found


def _days(text: str) -> int:
    """Whole days of "7 d" or "2 weeks", up. Raises Usage."""
    from decimal import ROUND_CEILING, Decimal

    from quarantine.failures import Usage
    from quarantine.quantity import read, to

    days = to(read(text, "duration", "--lead"), "d").to_integral_value(rounding=ROUND_CEILING)
    if not 0 <= days <= Decimal(365):
        raise Usage(f"--lead {text!r} is not 0 to 365 days.")
    return int(days)


def _lines(made: Any, today: date, lead_days: int) -> list[str]:
    if not made.items and not made.water:
        return ["Nothing that is planned takes anything out of the stock."]
    lines = []
    for item in made.items:
        lines += _item_lines(item, today)
    lines += [_water_line(ready) for ready in made.water]
    return [
        *lines,
        f"Bought {lead_days} days before it is lacking (--lead). Amounts are for the water as it is now; a tenth more "
        "for spillage is our choice, no source. The label, local law and a veterinarian come first.",
    ]


def _item_lines(item: Any, today: date) -> list[str]:
    from quarantine.actions.shopping import headline, verdict
    from quarantine.quantity import show

    unit = item.kept.unit
    lines = [headline(item)]
    says = verdict(item, today)
    lines += [f"  {says}"] if says else []
    for one in item.shorts[:MOST_SHOWN]:
        lines.append(f"    {_task(one.need)}: {show(one.lacking)} {unit} of {show(one.need.amount)} {unit} lacking")
    if len(item.shorts) > MOST_SHOWN:
        lines.append(f"    and {len(item.shorts) - MOST_SHOWN} more tasks (--json has all)")
    lines += [
        f"  {lot.product}, lot {lot.number}, expires {lot.good_until} with {show(left)} {unit} in it"
        for lot, left in item.wasted
    ]
    reasons: dict[str, list[Any]] = {}
    for need in item.unknown:
        reasons.setdefault(need.why, []).append(need)
    for why, needs in reasons.items():
        more = f" and {len(needs) - 1} more" if len(needs) > 1 else ""
        lines.append(f"  not known: {_task(needs[0])}{more}: {why}")
    return [*lines, *([f"  {item.kept.why}"] if item.kept.why and item.kept.lots else [])]


def _task(need: Any) -> str:
    code = f"{need.code} " if need.code else ""
    return f"{code}{need.what}, {need.batch} in {need.tank}, {need.day or 'no day known'}"


def _water_line(ready: Any) -> str:
    from quarantine.quantity import show

    litres = "how much is not known" if ready.litres is None else f"{show(ready.litres)} L"
    where = f"{ready.task.batch} in {ready.task.tank['name']}, {ready.task.day or 'no day known'}"
    return f"Water to stand ready: {ready.says.rstrip(',')}, {litres}, for the end of {ready.task.title} ({where})"
