"""Sign-off and the proof that the record is whole."""

from __future__ import annotations

from typing import Annotated, Any

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
    from quarantine.actions.signing import NOT_TESTED, assess, sign

    if release or extend or reject or died_out or deviation:
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
        lines += _criteria_lines(made["criteria"])
        lines += [NOT_TESTED, f"Seal: {made['seal']} (what was judged, by whom, when; it is no legal signature)"]
        session().emit(made, lines)
        return
    with session().reader() as rows:
        found = assess(rows, batch, now())
        newest = rows.rows("head")[0]["entry"]
    criteria = [j.as_json() for j in found.judged]
    document = {
        "batch": found.batch["name"],
        "criteria": criteria,
        "all_met": found.met,
        "earliest": found.standing.earliest,
        "journal": newest,
        "not_tested": NOT_TESTED,
    }
    word = "every criterion is met" if found.met else f"earliest if all goes well: {found.standing.earliest}"
    lines = [f"{found.batch['name']}, {local_text(now(), found.batch['zone'])}: {word}"]
    lines += _criteria_lines(criteria)
    lines.append(NOT_TESTED)
    session().emit(document, lines)


def _criteria_lines(criteria: list[dict[str, Any]]) -> list[str]:
    lines = []
    for c in criteria:
        earliest = f" Earliest: {c['earliest']}." if c["earliest"] else ""
        lines.append(f"  {c['verdict'].upper()}: {c['title']}: {c['says']}.{earliest}")
    return lines


def check(
    against: Annotated[
        str | None, typer.Option(help="A seal of the journal seen elsewhere (its start will do).")
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
        ],
    )
