"""Sign-off and the proof that the record is whole."""

from __future__ import annotations

from typing import Annotated

import typer

from quarantine.cli.session import now, session


def signoff(
    batch: Annotated[str, typer.Argument(help="The batch.")],
    release: Annotated[bool, typer.Option("--release", help="The fish may move.")] = False,
    deviation: Annotated[str | None, typer.Option(help="Why they are released though a criterion is not met.")] = None,
    extend: Annotated[str | None, typer.Option(help='More days: "7 d".')] = None,
    reject: Annotated[bool, typer.Option("--reject", help="The fish may not move; the batch ends.")] = False,
    died_out: Annotated[bool, typer.Option("--died-out", help="The last fish died; the batch ends.")] = False,
) -> None:
    from quarantine.actions.desk import local_text
    from quarantine.actions.examining import said_of_tests, tests_of
    from quarantine.actions.instructed import lines_of_batch
    from quarantine.actions.sharing import exposed_lines
    from quarantine.actions.signing import NOT_TESTED, assess, criterion_line, sign
    from quarantine.actions.vouching import deviations_of

    if release or reject or died_out or extend is not None or deviation is not None:
        made = sign(
            session().desk(),
            batch,
            release=release,
            deviation=deviation,
            extend=extend,
            reject=reject,
            died_out=died_out,
        )
        lines = [f"Batch {made['batch']}: {made['decision']}."]
        if made["deviation"]:
            lines.append(f"Deviation: {made['deviation']}")
        lines += [criterion_line(c) for c in made["criteria"]]
        lines += [
            *_judged_by(batch),
            *[f"  {line}" for line in (*made["instructions"], *made["dose_deviations"], *made["exposed"])],
            *said_of_tests(made["tests"]),
            NOT_TESTED,
            f"Seal: {made['seal']} (what was judged, by whom, when; it is no legal signature)",
        ]
        session().emit(made, lines)
        return
    with session().reader() as rows:
        found = assess(rows, batch, now())
        newest = rows.rows("head")[0]["entry"]
        tests = tests_of(rows, found.batch)
        instructions = lines_of_batch(rows, found.batch, now())
        deviations = deviations_of(rows, found.batch, now())
        exposed = exposed_lines(found.batch, found.standing)
    criteria = [j.as_json() for j in found.judged]
    document = {
        "batch": found.batch["name"],
        "criteria": criteria,
        "all_met": found.met,
        "earliest": found.standing.earliest,
        "waits_for": found.standing.waits_for or None,
        "journal": newest,
        "tests": tests,
        "instructions": instructions,
        "dose_deviations": deviations,
        "exposed": exposed,
        "not_tested": NOT_TESTED,
    }
    word = "every criterion is met" if found.met else f"earliest if all goes well: {found.standing.earliest_words}"
    lines = [f"{found.batch['name']}, {local_text(now(), found.batch['zone'])}: {word}"]
    lines += [criterion_line(c) for c in criteria]
    lines += [*_judged_by(batch), *(f"  {line}" for line in (*instructions, *deviations, *exposed))]
    lines += [*said_of_tests(tests), NOT_TESTED]
    session().emit(document, lines)


def _judged_by(batch: str) -> list[str]:
    """The header of the batch's own copy of its protocol: a printed sign-off says by which text it was judged (F2)."""
    from quarantine.actions.desk import find_batch
    from quarantine.actions.readying import passed_lines
    from quarantine.templates import imprint

    with session().reader() as rows:
        found = find_batch(rows, batch)
        header = imprint(rows.rows("copy", id=found["copy_id"])[0]["body"])
        passed = [f"  {line}" for line in passed_lines(rows, found)]
    sources = f"  Sources: {header.named_sources}; in full with: quarantine batch show"
    return [*passed, f"  Judged by {header.line}.", sources]


def check(
    against: Annotated[
        str | None, typer.Option(help="A seal seen elsewhere (its first 8 digits will do): is it in this record?")
    ] = None,
) -> None:
    from quarantine.actions.checking import check

    with session().reader() as rows:
        made = check(rows, now(), against)
    session().emit(
        made,
        [
            f"The record is whole: {made['entries']} journal entries, state and journal agree, counts balance.",
            f"Head: {made['head']}",
            *made["after_signoff"],
            *([f"The seal {against} is {made['against']}."] if against else []),
        ],
    )
