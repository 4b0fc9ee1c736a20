"""People and calendars: who is away, when a site is shut, what a keeper may do, and the days on which fish can come."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from quarantine.cli.session import now, session

UNMOVED = "Nothing was moved."

First = Annotated[str | None, typer.Argument(metavar="FROM", help="The first day, YYYY-MM-DD.")]
Yes = Annotated[bool, typer.Option("--yes", help="Accept the dates this moves.")]
Last = Annotated[str | None, typer.Argument(metavar="TO", help="The last day, YYYY-MM-DD.")]


def absent(
    keeper: Annotated[str | None, typer.Argument(help="Who is away.")] = None,
    first: First = None,
    last: Last = None,
    because: Annotated[str, typer.Option(help="Why, in a word; it stands in the journal.")] = "",
    list_: Annotated[bool, typer.Option("--list", help="The absences that have not ended.")] = False,
    withdraw: Annotated[bool, typer.Option("--withdraw", help="Take back the one that begins on FROM.")] = False,
    yes: Yes = False,
) -> None:
    from quarantine.actions import peopling
    from quarantine.failures import Usage

    if list_:
        with session().reader() as rows:
            found = peopling.list_absences(rows, now())
        lines = [f"{a['keeper']} {_days(a)}{_why(a['because'])}" for a in found]
        session().emit({"absences": found}, lines or ["Nobody is on record as away: quarantine absent KEEPER FROM TO."])
        return
    if keeper is None or first is None or (last is None and not withdraw):
        raise Usage("Who is away, from which day to which? quarantine absent KEEPER FROM TO (days as YYYY-MM-DD).")
    if withdraw:
        made = peopling.back(session().desk(), keeper, first, because=because, yes=yes)
        session().emit(made, [f"{made['keeper']} is not away {_days(made)}: withdrawn.", *made["moved"]])
        return
    made = peopling.absent(session().desk(), keeper, first, str(last), because=because, yes=yes)
    _say(made, f"{made['keeper']} is away {_days(made)}{_why(made['because'])}.")


def closed(
    site: Annotated[str | None, typer.Argument(help="The site that is shut.")] = None,
    first: First = None,
    last: Last = None,
    weekdays: Annotated[str, typer.Option(help='Only on these days of the week: "sat,sun".')] = "",
    what: Annotated[str, typer.Option(help='What it is: "half-term".')] = "",
    list_: Annotated[bool, typer.Option("--list", help="The closures that have not ended.")] = False,
    withdraw: Annotated[bool, typer.Option("--withdraw", help="Take back the one that begins on FROM.")] = False,
    yes: Yes = False,
) -> None:
    from quarantine.actions import peopling
    from quarantine.failures import Usage

    if list_:
        with session().reader() as rows:
            found = peopling.list_closures(rows, now())
        lines = [f"{c['site']} {_days(c)}{_on(c)}{_why(c['what'])}" for c in found]
        session().emit(
            {"closures": found}, lines or ["No site is on record as shut: quarantine site closed SITE FROM TO."]
        )
        return
    if site is None or first is None or (last is None and not withdraw):
        raise Usage("Which site is shut, from which day to which? quarantine site closed SITE FROM TO --what WORDS.")
    if withdraw:
        made = peopling.open_site(session().desk(), site, first, yes=yes)
        session().emit(made, [f"{made['site']} is not shut {_days(made)}: withdrawn.", *made["moved"]])
        return
    made = peopling.close_site(session().desk(), site, first, str(last), weekdays=weekdays, what=what, yes=yes)
    _say(made, f"{made['site']} is shut {_days(made)}{_on(made)}{_why(made['what'])}.")


def _say(made: dict[str, Any], head: str) -> None:
    """What was written, which days it moved, and what nobody can do then."""
    told = [head, *made["moved"]] if made["moved"] else [f"{head} {UNMOVED}"]
    if made["lines"]:
        lines = [
            *told,
            f"Open work that nobody can do then: {len(made['clashes'])}",
            *(f"  {line}" for line in made["lines"]),
            "Ask somebody, do it on another day (quarantine why CODE says what it hangs on), or skip it with a reason.",
        ]
    else:
        lines = [*told, "No open work of those days is left without somebody who may do it."]
    session().emit({k: v for k, v in made.items() if k != "lines"}, lines)


def _days(document: dict[str, Any]) -> str:
    first, last = str(document["from"]), str(document["until"])
    return first if first == last else f"{first} to {last}"


def _on(document: dict[str, Any]) -> str:
    return f", on {', '.join(document['weekdays'])}" if document["weekdays"] else ""


def _why(text: str) -> str:
    return f" ({text})" if text else ""


def role(
    keeper: Annotated[str, typer.Argument(help="Whose role it is.")],
    role: Annotated[str, typer.Argument(help="keeper, adult, sitter or pupil.")],
    yes: Yes = False,
) -> None:
    from quarantine.actions.peopling import set_role

    made = set_role(session().desk(), keeper, role.strip().casefold(), yes=yes)
    was = f" (was {made['was']})" if made["was"] else ""
    session().emit(made, [f"{made['keeper']}: {made['role']}{was}. {MEANS[made['role']]}", *made["moved"]])


MEANS = {
    "keeper": "May do everything.",
    "adult": "May do what anyone or an adult may, medicine among it where the protocol says adult.",
    "sitter": "May do what anyone may; handles no medicine (rule C19).",
    "pupil": "Looks, feeds and reads the temperature; handles no medicine (rule C19).",
}
"""What each role may do, in words."""


def start_days(
    protocol: Annotated[str, typer.Argument(help="A protocol's id or file.")],
    tank: Annotated[str, typer.Option(help="The quarantine tank.")],
    first: Annotated[str | None, typer.Option("--from", help="The first day to try; today if left out.")] = None,
    last: Annotated[str | None, typer.Option("--until", help="The last day to try; two weeks if left out.")] = None,
) -> None:
    from quarantine.actions.startdays import tried

    home = session().home()
    with session().reader() as rows:
        made = tried(rows, home, now(), protocol, tank, first, last)
    good = [day for day in made["days"] if not day["clashes"]]
    lines = [f"{made['protocol']} in {made['tank']}, days of arrival {made['from']} to {made['until']}:"]
    for day in made["days"]:
        lines.append(f"  {day['on']} {day['weekday']}: {'works' if not day['clashes'] else 'no'}")
        lines += [f"    {clash['says']}" for clash in day["clashes"][:MOST_SHOWN]]
        more = len(day["clashes"]) - MOST_SHOWN
        lines += [f"    and {more} more: --json names them all"] if more > 0 else []
    lines += [] if made["known"] else ["No absence and no closure is on record, so every day works by them."]
    if not good:
        near = made["nearest"]
        lines.append(f"The nearest day that works: {near}." if near else made["none"])
    lines += [*made["notes"], *made["stock"]]
    session().emit({k: v for k, v in made.items() if k != "none"}, lines)


MOST_SHOWN = 3
"""So many clashes of a day are shown; what a day fails by is said with the first."""
