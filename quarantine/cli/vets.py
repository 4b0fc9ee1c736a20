"""Veterinary instructions, and what the animals of a water are."""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated

import typer

from quarantine.cli.daily import At
from quarantine.cli.session import now, session

Batch = Annotated[str, typer.Argument(help="The batch.")]
Groups = Annotated[list[str] | None, typer.Option("--group", help="The group's id; once a group.")]
NoGroup = Annotated[bool, typer.Option("--none", help="It is none of the listed groups.")]


def add(
    batch: Batch,
    by: Annotated[str, typer.Option(help="Who instructed; a practice's name will do: the journal keeps it for good.")],
    on: Annotated[str, typer.Option(help="The day of the instruction, YYYY-MM-DD.")],
    dose: Annotated[str, typer.Option(help='The dose, in the unit of the regimen: "2 mg/L".')],
    until: Annotated[str, typer.Option(help="The last day it holds, YYYY-MM-DD.")],
    words: Annotated[str, typer.Option(help="What was instructed, in the veterinarian's words.")],
    regimen: Annotated[str | None, typer.Option(help="The regimen's id.")] = None,
    substance: Annotated[str | None, typer.Option(help="The substance, where it has one regimen.")] = None,
    passes: Annotated[
        list[str] | None,
        typer.Option(help="What else it passes: gate, mixing, fish-added, or a group of animals by its id."),
    ] = None,
    really: Annotated[
        bool, typer.Option("--really", help="It was instructed so, though it looks like a slip.")
    ] = False,
) -> None:
    from quarantine.actions.vets import add_instruction
    from quarantine.cli.today import read_day

    made = add_instruction(
        session().desk(),
        batch,
        by=by,
        on=read_day(on, "--on"),
        regimen_id=regimen,
        substance_name=substance,
        dose=dose,
        until=read_day(until, "--until"),
        words=words,
        passes=passes or [],
        really=really,
    )
    session().emit(made.document, made.lines)


def list_(batch: Annotated[str | None, typer.Argument(help="One batch only.")] = None) -> None:
    from quarantine.actions.desk import find_batch
    from quarantine.actions.instructed import on_record
    from quarantine.quantity import show

    with session().reader() as rows:
        kept = on_record(rows, None if batch is None else find_batch(rows, batch), now())
    document = {
        "instructions": [
            {**one.data, "dose": Decimal(one.data["dose"]), "batch": one.batch["name"], "state": one.state}
            for one in kept
        ]
    }
    lines = [
        f"{one.batch['name']}: {one.data['regimen']}, {show(Decimal(one.data['dose']))} {one.data['dose_unit']}, "
        f'{one.data["on"]} to {one.data["until"]}, {one.state}; {one.data["who"]}: "{one.data["words"]}"'
        + (f"; also passes: {', '.join(one.data['passes'])}" if one.data["passes"] else "")
        for one in kept
    ]
    session().emit(document, lines or ["No veterinary instruction is on record."])


def withdraw(
    batch: Batch,
    regimen: Annotated[str, typer.Argument(help="The regimen's id.")],
    because: Annotated[str, typer.Option(help="Why it holds no more.")],
    at: At = None,
) -> None:
    from quarantine.actions.vets import withdraw

    made = withdraw(session().desk(), batch, regimen, because=because, at=at)
    session().emit(made.document, made.lines)


def groups(
    batch: Batch,
    species: Annotated[str, typer.Argument(help="The fish, as the batch has it.")],
    group: Groups = None,
    none: NoGroup = False,
    at: At = None,
) -> None:
    from quarantine.actions.vets import say_groups

    made = say_groups(session().desk(), batch, species, group or [], none=none, at=at)
    session().emit(made.document, made.lines)


def company(
    tank: Annotated[str, typer.Argument(help="The tank.")],
    species: Annotated[str, typer.Argument(help="What lives there beside the batches: snails, shrimps, plants.")],
    group: Groups = None,
    none: NoGroup = False,
    gone: Annotated[bool, typer.Option("--gone", help="It no longer lives there.")] = False,
    at: At = None,
) -> None:
    from quarantine.actions.vets import say_company

    made = say_company(session().desk(), tank, species, group or [], none=none, gone=gone, at=at)
    session().emit(made.document, made.lines)
