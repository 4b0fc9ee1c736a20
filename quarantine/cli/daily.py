"""The daily hands: look, read, tick, skip, and why."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated, Any

import typer

from quarantine.cli.claiming import Because, Witness, WitnessTyped, read_blind
from quarantine.cli.session import FROM_REST, KEEP_UNTIL, LOT, PRODUCT, STOCK, STRENGTH, now, session

if TYPE_CHECKING:
    from quarantine.actions.conditioning import Conditioner
    from quarantine.records.reads import Row, Rows
    from quarantine.settings import Home

At = Annotated[str | None, typer.Option(help='When it happened, local: "YYYY-MM-DD HH:MM" or HH:MM; now if left out.')]


def look(
    line: Annotated[
        list[str],
        typer.Argument(
            help='TANK SEEN APPETITE, tanks parted by commas: "Q1 12 3, Q2 6 2"; readings in any place, and in any '
            'order by name: "Q1 temp=25.5C appetite=3 tan=0.2mg/L seen=11 dead=1".'
        ),
    ],
    dead: Annotated[str, typer.Option(help="Found dead at this look.")] = "0",
    sign: Annotated[list[str] | None, typer.Option(help="A sign that was seen; once a sign.")] = None,
    gone: Annotated[list[str] | None, typer.Option(help="A sign that is gone.")] = None,
    no_signs: Annotated[bool, typer.Option("--no-signs", help="No signs: a clear day.")] = False,
    note: Annotated[str | None, typer.Option(help="Anything else.")] = None,
    really: Annotated[bool, typer.Option("--really", help="The counts are so, though they look like a slip.")] = False,
    at: At = None,
) -> None:
    from quarantine.actions.noting import look, read_count

    made = look(
        session().desk(),
        " ".join(line),
        dead=read_count(dead, "--dead", 0),
        signs=sign,
        gone=gone,
        no_signs=no_signs,
        note=note,
        at=at,
        really=really,
    )
    session().emit(made.document, made.lines)


def reading(
    tank: Annotated[str, typer.Argument(help="The tank.")],
    values: Annotated[
        list[str] | None,
        typer.Argument(
            help="temp=25.5C ph=7.8 tan=0.5mg/L nitrite_no2=0.1mg/L ...; nitrite_n=0.03mg/L where the kit reads "
            "nitrite nitrogen."
        ),
    ] = None,
    kit: Annotated[
        str | None, typer.Option(help="The kit or meter of these readings; another kit, another line.")
    ] = None,
    lot: Annotated[str | None, typer.Option(help="Its lot.")] = None,
    expires: Annotated[str | None, typer.Option(help="Until when it is good: YYYY-MM or YYYY-MM-DD.")] = None,
    tap_ph: Annotated[
        str | None, typer.Option("--tap-ph", help="pH of the water that goes in: a change is judged with it.")
    ] = None,
    tap_tan: Annotated[
        str | None, typer.Option("--tap-tan", help='Total ammonia nitrogen of that water: "0 mg/L".')
    ] = None,
    tap_temp: Annotated[str | None, typer.Option("--tap-temp", help='Its temperature as it goes in: "24 C".')] = None,
    tap_chlorine: Annotated[
        str | None,
        typer.Option(
            "--tap-chlorine",
            help='Its total chlorine, free and chloramine together, before conditioning: "0.8 mg/L". A kit for free '
            "chlorine alone misses chloramine.",
        ),
    ] = None,
    really: Annotated[bool, typer.Option("--really", help="It is so, though it looks like a slip.")] = False,
    at: At = None,
) -> None:
    from quarantine.actions.measured import read_kit
    from quarantine.actions.noting import reading, source_data

    made = reading(
        session().desk(),
        tank,
        values or [],
        at=at,
        kit=read_kit(kit, lot, expires),
        source=source_data(tap_ph, tap_tan, tap_temp, tap_chlorine),
        really=really,
    )
    session().emit(made.document, made.lines)


def readings(
    tank: Annotated[str, typer.Argument(help="The tank.")],
    parameter: Annotated[str | None, typer.Option(help="One of them: temp, ph, tan, nitrite ...")] = None,
    days: Annotated[str, typer.Option(help="How many days back.")] = "30",
) -> None:
    from quarantine.actions.measured import trend

    with session().reader() as rows:
        lines, document = trend(rows, tank, parameter, days, now())
    session().emit(document, lines)


def done(
    codes: Annotated[list[str], typer.Argument(help="The codes of the tasks.")],
    at: At = None,
    gave: Annotated[str | None, typer.Option(help='What was really given: "0.12 g", "30 L".')] = None,
    as_shown: Annotated[bool, typer.Option("--as-shown", help="Exactly the amount shown.")] = False,
    note: Annotated[str | None, typer.Option(help="Anything else.")] = None,
    really: Annotated[bool, typer.Option("--really", help="It was really given, though it looks like a slip.")] = False,
    vessel: Annotated[str | None, typer.Option(help='A dip: the water in its vessel, "10 L".')] = None,
    started: Annotated[str | None, typer.Option(help="A dip: when the first fish went in, 09:00:00.")] = None,
    strength: Annotated[str | None, typer.Option(help=STRENGTH)] = None,
    ended: Annotated[str | None, typer.Option(help="A dip: when the last fish came out, 09:02:30.")] = None,
    product: Annotated[str | None, typer.Option(help=PRODUCT)] = None,
    lot: Annotated[str | None, typer.Option(help=LOT)] = None,
    stock: Annotated[str | None, typer.Option(help=STOCK)] = None,
    keep_until: Annotated[str | None, typer.Option("--keep-until", help=KEEP_UNTIL)] = None,
    from_rest: Annotated[bool, typer.Option("--from-rest", help=FROM_REST)] = False,
    witness: Witness = None,
    witness_typed: WitnessTyped = None,
    because: Because = None,
    eaten: Annotated[
        str | None, typer.Option(help="In food: how it was eaten: all, part or none; left out where nobody saw it.")
    ] = None,
    uneaten: Annotated[str | None, typer.Option(help='In food: how much of the portion was left, "1.2 g".')] = None,
    to_tank: Annotated[str | None, typer.Option("--to", help="Of a move: the tank the fish went to.")] = None,
    no_water: Annotated[bool, typer.Option("--no-water", help="Of a move: no old water went with them.")] = False,
    confirm: Annotated[bool, typer.Option("--confirm", help="Of a move: what it asks for first is so.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Of a move: accept the dates it moves.")] = False,
) -> None:
    if to_tank is not None:
        _move(codes, to_tank, at=at, note=note, no_water=no_water, confirm=confirm, yes=yes, really=really)
        return
    from quarantine.actions.cards import OutOf, Solution
    from quarantine.actions.dipping import Told
    from quarantine.actions.feeding import Eaten
    from quarantine.actions.vouching import Beside
    from quarantine.actions.work import done

    dip = Told(vessel, started, ended)
    made = done(
        session().desk(),
        codes,
        at=at,
        gave=gave,
        as_shown=as_shown,
        note=note,
        really=really,
        dip=dip,
        strength=strength,
        out_of=OutOf(product, lot, Solution(stock, keep_until, from_rest)),
        beside=Beside(witness, read_blind(witness, witness_typed), because, eaten=Eaten(eaten, uneaten)),
    )
    lines = [line for item in made for line in done_lines(item)]
    session().emit({"tasks": [{k: v for k, v in i.items() if k != "local"} for i in made]}, lines)


def _move(codes: list[str], to_tank: str, **how: Any) -> None:
    """A step that moves the fish is done by moving them."""
    from quarantine.actions.moving import move_task
    from quarantine.failures import Usage

    if len(codes) > 1:
        raise Usage("A move is ticked alone, with its tank: --to belongs to one code.")
    made = move_task(session().desk(), codes[0], to_tank, **how)
    session().emit(made.document, made.lines)


def done_lines(item: dict[str, Any]) -> list[str]:
    """What was done, when, whether in time; then the rescue and the caution of a dose."""
    from quarantine.plan import OUT_OF_TIME

    came = f", {OUT_OF_TIME[item['timing']]}" if item["timing"] in OUT_OF_TIME else ""
    late = " (entered late)" if item["entered_late"] else ""
    said = f"{item['code']}: {item['says']}, {item['local']}{came}{late}."
    return [said, *item["stock"], *item.get("stays", ()), *(item[name] for name in ("rescue", "defers") if item[name])]


def skip(
    codes: Annotated[list[str] | None, typer.Argument(help="The codes of the tasks.")] = None,
    *,
    because: Annotated[str, typer.Option(help="Why it was not done.")],
    missed: Annotated[
        str | None, typer.Option(help="A tank: all looks, feeding and tests that were missed there.")
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Accept the dates that skipping a dose moves.")] = False,
    at: At = None,
) -> None:
    from quarantine.actions.work import skip

    made = skip(session().desk(), codes or [], because=because, missed_in=missed, at=at, yes=yes)
    lines = [f"{item['code']}: {item['says']}." for item in made.tasks]
    for batch, reasons in made.counts.items():
        counted = ", ".join(f"{reason} {count}" for reason, count in reasons.items())
        lines.append(f"{batch}, skipped so far: {sum(reasons.values())} ({counted}).")
    document = {
        "tasks": made.tasks,
        "skipped": [
            {"batch": batch, "because": reason, "count": count}
            for batch, reasons in made.counts.items()
            for reason, count in reasons.items()
        ],
    }
    session().emit(document, [*lines, *made.tasks[-1]["moved"]])


def why(
    code: Annotated[str, typer.Argument(help="The code of a task; or a batch, for its earliest sign-off.")],
    on: Annotated[str | None, typer.Argument(help="A day of the batch, past or to come: YYYY-MM-DD.")] = None,
) -> None:
    from quarantine.actions.conditioning import as_json, full_lines
    from quarantine.actions.explaining import asked_batch, chain_of
    from quarantine.actions.work import why
    from quarantine.cli.explaining import why_batch
    from quarantine.cli.render import given_line, proposal_lines
    from quarantine.dosing import DEFERS
    from quarantine.quantity import show

    home = session().home()
    with session().reader() as rows:
        batch = asked_batch(rows, code, on)
        if batch is not None:
            session().emit(*why_batch(rows, batch, on))
            return
        found = why(rows, home, code, now())
        conditioner = _conditioner(rows, home, found.task)
        chain = chain_of(rows, code, now())
    task = found.task
    detail = json.loads(task["detail"])
    lines = [f"{task['code']}: {task['title']}, {task['tank_name']}, batch {task['batch_name']}"]
    lines.append(f"  day: {task['day'] or task['needs']}, because: {task['reason'] or task['needs']}")
    lines.append(f"  state: {task['state']}")
    lines += [f"  {said}" for said in chain]
    document: dict[str, Any] = {
        "code": task["code"],
        "title": task["title"],
        "day": task["day"],
        "needs": task["needs"],
        "reason": task["reason"],
        "state": task["state"],
        "chain": chain,
        "references": detail["references"],
    }
    if detail["note"]:
        lines.append(f"  {detail['note']}")
    if found.given:
        document["given"] = _safely(found.given)
        if task["kind"] == "dose" and "given" in found.given:
            g = found.given
            lines.append(f"  {given_line(g)}")
            lines += [f"  {line}" for line in found.vouched]
            lines += [f"    {line}" for line in (*g["working"], DEFERS)]
    if found.proposal is not None and task["state"] in ("planned", "missed"):
        lines += [f"  {line}" for line in proposal_lines(found.proposal)]
        dose = found.proposal.dose
        if found.proposal.hold and dose.target > 0:
            lines.append(f"  Target: {show(dose.target)} {dose.target_unit}; no amount is computed under a hold.")
        document["target"] = {"value": dose.target, "unit": dose.target_unit} if dose.target > 0 else None
        document["instruction"] = found.proposal.instruction or None
        document["working"] = list(found.proposal.working)
        document["hold"] = found.proposal.hold and found.proposal.hold.as_json()
        document["levels"] = found.levels
        lines += [f"  {line}" for line in found.levels]
    if conditioner is not None:
        lines += [f"  {line}" for line in full_lines(conditioner, task["water"])]
        document["conditioner"] = as_json(conditioner)
    if detail["treatment"] and detail["treatment"]["clearing"]:
        lines.append(f"  Contact: {detail['treatment']['clearing']}")
    lines += [f"  Source: {cite}" for cite in detail["references"]]
    session().emit(document, lines)


def _safely(given: dict[str, Any]) -> dict[str, Any]:
    """What was given or read; the step of a kit without zeros at its end."""
    from decimal import Decimal

    from quarantine.quantity import show

    return {**given, "step": show(Decimal(given["step"]))} if "step" in given else given


def _conditioner(rows: Rows, home: Home, task: Row) -> Conditioner | None:
    """The conditioner of a water change that is open; None for other work."""
    from quarantine.actions import cards, conditioning

    if task["kind"] != "change" or task["state"] not in ("planned", "missed"):
        return None
    litres = cards.change_litres(task, rows, now())
    if litres == 0:
        return None
    return conditioning.for_change(rows, home, task, task["tank_name"], litres, now())
