"""The day's sheet, and the sitter's: what is to be done, tank by tank, to be ticked with a pen."""

from __future__ import annotations

from quarantine import dosing
from quarantine.actions.sheets import Sheet, TankPart, Task
from quarantine.evidence import OUTBREAK_DEATHS, OUTBREAK_SHARE
from quarantine.quantity import show
from quarantine.reports.paper import BOX, Block, Entry
from quarantine.signs import SIGNS

APPETITE = "appetite, circle: 0 1 2 3 (0 none, 1 few, 2 most, 3 all at once)"

DO_NOT = (
    "put anything into the water, whatever a bottle says, or give more food than was set out",
    "move fish, chase them with a net, or lift things to look for them",
    "carry net, siphon, bucket, water or wet hands from one tank to another",
    "switch anything off (save in an accident with electricity), or make up for what was forgotten",
)
"""Common practice, no source; of the wet things: see OWN_KIT."""

HEALTHY = (
    "Wiley, Fundamentals of Aquatic Veterinary Medicine, ISBN 9781119612728, pages 13 and 15 (read in copies): a "
    "healthy system has none"
)
OWN_KIT = "Yanong, Health management in recirculating systems, Global Aquaculture Advocate, year not stated"


def papers(sheet: Sheet) -> list[list[Block]]:
    """The sheet as one paper; a sitter's as one for each tank (F58)."""
    if sheet.sitter and sheet.parts:
        return [
            [_head(sheet, part.tank), _stop_and_call(sheet), *_part(part, True, True), _do_not(sheet)]
            for part in sheet.parts
        ]
    # One list of signs can be circled for one tank only; with more tanks it is read, and the names are written.
    circled = sum(task.kind == "look" for part in sheet.parts for task in part.tasks) == 1
    parts = [block for part in sheet.parts for block in _part(part, False, circled)]
    return [[_head(sheet, ""), _stop_and_call(sheet, with_signs=not circled), *parts]]


def title_of(sheet: Sheet) -> str:
    """What the page is called."""
    return f"{'For the sitter' if sheet.sitter else 'Quarantine'}, {sheet.on:%A %-d %B %Y}"


def _head(sheet: Sheet, tank: str) -> Block:
    lines = [f"Computed as of {sheet.as_of}: the record is the list, this paper is not."]
    if not sheet.sitter:
        lines.append("Look at the list (quarantine today) before every dose, and log there what was done.")
    lines.append("Who does the work: ______________________   What is not ticked was not done.")
    if not sheet.parts:
        lines.append("Nothing is due for a sitter." if sheet.sitter else "Nothing is due.")
    lines += sheet.alerts
    if sheet.idle and not tank:
        lines.append(f"No work today: {', '.join(sheet.idle)}.")
    return Block("head", (title_of(sheet) + (f", {tank}" if tank else ""), *lines))


def _stop_and_call(sheet: Sheet, *, with_signs: bool = False) -> Block:
    """When to stop, what to do then, whom to call (rule C9); ``with_signs``: the other signs by name as well."""
    # A stranger does not know the names.
    act_now = "; ".join(s.says if sheet.sitter else s.name for s in SIGNS.values() if s.severity == "A")
    nitrite = next(c for c in dosing.OUT_OF_LIMIT if c.value == "nitrite")
    uia = next(c for c in dosing.OUT_OF_LIMIT if c.value == "uia")
    oxygen = next(c for c in dosing.OUT_OF_LIMIT if c.value == "oxygen")
    ammonia = (
        "any ammonia at all (what it means hangs on pH and temperature)"
        if sheet.sitter
        else f"un-ionized ammonia over {uia.high} mg/L (the program computes it from the readings)"
    )
    who = "   ".join(f"{name} ____________" for name in sheet.keepers) or "____________"
    share = show(OUTBREAK_SHARE * 100)
    others = ", ".join(sign.name for sign in SIGNS.values() if sign.severity != "A")
    return Block(
        "rules",
        (
            "STOP AND CALL when you see one of these",
            f"Signs: {act_now}.",
            f"{OUTBREAK_DEATHS} fish dead within 24 h, or more than {share} % of them.",
            f"Water: {ammonia}; nitrite over {dosing.FRESH_NITRITE} mg/L in fresh water, over {nitrite.high} mg/L in "
            f"salt water; oxygen under {oxygen.low} mg/L.",
            "Then: no food, nothing into the water, more air, write down the time, take dead fish out, and call:",
            who,
            *([f"Other signs, write them at the tank: {others}."] if with_signs else []),
        ),
        small=f"Sources: ammonia {HEALTHY if sheet.sitter else uia.reference}; nitrite {nitrite.reference}; oxygen and "
        "deaths: our choice, no source; what to do: common practice, no source.",
    )


def _part(part: TankPart, sitter: bool, circled: bool) -> list[Block]:
    kit = "Wash your hands; use this tank's own net, siphon and bucket."
    first, lines = (part.tank, [kit, *_hiding(part)]) if sitter else (part.line, [kit])
    blocks = [Block("tank", (first, *lines))]
    blocks += [Block("entry", (), _entry(task, sitter, circled)) for task in part.tasks]
    waiting = [f"Waiting: {w}" for w in part.waiting]
    missed = [f"Missed, say why (quarantine skip): {m}" for m in part.missed]
    if waiting or missed:
        blocks.append(Block("notes", (f"{part.tank}: not to be ticked here", *waiting, *missed)))
    return blocks


def _hiding(part: TankPart) -> list[str]:
    """So that a low count frightens nobody, and nobody writes a number that was not seen."""
    if part.alive is None:
        return []
    known = f" Known already: {', '.join(part.signs)}." if part.signs else ""
    return [
        f"{part.alive} fish live here, and some may hide. Write how many you saw: fewer is no alarm by itself, not "
        f"seen is not dead, and nobody has to search.{known}"
    ]


def _entry(task: Task, sitter: bool, circled: bool) -> Entry:
    title = task.title + (f", {task.when}" if task.when else "")
    lines = (*_blanks(task, sitter, circled), *task.lines)
    return Entry(task.code, title, task.headline, lines, given=task.kind == "dose", ticked=not task.held)


def _blanks(task: Task, sitter: bool, circled: bool) -> list[str]:
    """What is written in with a pen."""
    lines = [f"{BOX} {words}" for words in task.confirm]
    if task.kind == "look":
        lines.append(f"seen ______   dead ______   {APPETITE}")
        lines.append(f"signs, circle: none, {', '.join(SIGNS)}" if circled else "signs: none ______________________")
    elif task.kind == "feed" and sitter:
        lines.append("Portion that a keeper has set out: ____________________ and no more.")
    elif task.kind == "change":
        lines.append("out ______ L   in ______ L")
    if task.reads:
        lines.append("   ".join(task.reads))
    return lines


def _do_not(sheet: Sheet) -> Block:
    others = f" ({len(sheet.kept_back)} more today)" if sheet.kept_back else ""
    return Block(
        "rules",
        ("DO NOT", *DO_NOT, f"do what is not on this sheet: it is the keepers' own{others}"),
        small=f"Sources: common practice, no source; own kit: {OWN_KIT}.",
    )
