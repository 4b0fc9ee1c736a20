"""The substances and their published uses, the groups of animals, and what was tried against what."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated, Any

import typer

from quarantine.cli.session import session

if TYPE_CHECKING:
    from collections.abc import Iterable

    from quarantine.formulary import Figure, Limit, Note, Regimen, Stated, Substance, Target, Title, WaterRule
    from quarantine.formulary.groups import Group, Groups, Sensitivity

TIER_WORDS = {
    "ready": "read in its source, and general advice",
    "trial": "a published trial; only on a veterinarian's instruction",
    "instruction": "only on a veterinarian's instruction",
    "refused": "known in order to refuse it",
}
ROUTE_WORDS = {
    "bath": "bath",
    "prolonged": "prolonged bath",
    "dip": "dip in a vessel of its own",
    "food": "in food",
    "move": "the fish are moved",
}
TRIED = (
    "This is what the sources tried, never a recommendation: a sign fits many causes. Test the water first, let a "
    "veterinarian look, and read the whole row: quarantine formulary show SUBSTANCE."
)
HIDDEN = "its figures are not shown; --all shows them"


# --- list ------------------------------------------------------------------------------------------------


def list_() -> None:
    from quarantine.formulary import TIERS, titles

    found = sorted(titles(), key=lambda t: (TIERS.index(_best(t)), _kind(t), t.id))
    documents = [
        {
            "substance": t.id,
            "name": t.name,
            "what": t.what,
            "classes": list(t.classes),
            "tier": _best(t),
            **{tier: [r.id for r in t.regimens if r.tier == tier] for tier in TIERS},
        }
        for t in found
    ]
    lines = []
    for tier in TIERS:
        there = [(t, d) for t, d in zip(found, documents, strict=True) if d["tier"] == tier]
        lines += [f"{tier.capitalize()}: {TIER_WORDS[tier]}"] if there else []
        kind = ""
        for title, document in there:
            lines += [f"  {_kind(title)}"] if _kind(title) != kind else []
            kind = _kind(title)
            rows = "; ".join(f"{one}: {', '.join(document[one])}" for one in TIERS if document[one])
            lines.append(f"    {title.id}: {title.what} Rows: {rows}.")
    lines.append("A row with its source: quarantine formulary show SUBSTANCE")
    session().emit({"substances": documents}, lines)


def _best(title: Title) -> str:
    from quarantine.formulary import TIERS

    return min((row.tier for row in title.regimens), key=TIERS.index)


def _kind(title: Title) -> str:
    """The class that says most: "drug" only where no other is given."""
    return next((one for one in title.classes if one != "drug"), "drug")


# --- show ------------------------------------------------------------------------------------------------


def show(
    substance: Annotated[str, typer.Argument(help="The substance's name.")],
    all_: Annotated[bool, typer.Option("--all", help="With the figures of what is refused.")] = False,
) -> None:
    from quarantine.dosing import DEFERS
    from quarantine.formulary import load

    found = load(substance)
    groups = _groups()
    # Where every row is refused, the lethal and other figures of the whole entry stay back as well.
    full = all_ or any(row.tier != "refused" for row in found.regimens)
    document: dict[str, Any] = {
        "substance": found.id,
        "name": found.name,
        "also": list(found.also),
        "classes": list(found.classes),
        "what": found.what,
        "regimens": [_row_document(found, row, all_) for row in found.regimens],
        "figures": [_stated(one) for one in found.figures] if full else [],
        "basis": _texts(found.basis, full),
        "salts": [f"{s.name} holds {_say(s.holds)}" for s in found.salts],
        "solubility": _say(found.solubility) if found.solubility else None,
        "stock": _texts(found.stock, full),
        "loss": [*_texts(found.loss_notes, full), *([_stated(one) for one in found.loss_figures] if full else [])],
        "water": _texts(found.water_limits, full),
        "light": found.light.text if found.light else None,
        "handling": _texts(found.handling, True),
        "legal": _texts(found.legal, True),
        "cautions": _texts(found.cautions, full),
        "not_to_mix": [f"{p.other}: {p.rule}; {p.note.text}" for p in found.incompatible],
        "equipment": [f"{e.item}: {e.do}; {e.note.text}" for e in found.equipment],
        "sensitive": [f"{s.group}: {s.rule}; {s.note.text}" for s in found.sensitive if full or _plain(s.note)],
        "groups": [_group_line(group, s) for group, s in _touching(found, groups) if full or _plain(s.note)],
        "references": [
            {"key": r.key, "cite": r.cite, "url": r.url or None, "read": r.read} for r in found.references.values()
        ],
        "defers": DEFERS,
    }
    session().emit(document, _page(document))


def _page(document: dict[str, Any]) -> list[str]:
    lines = [f"{document['name']}: {document['what']}"]
    if document["also"]:
        lines.append(f"Also: {', '.join(document['also'])}. Class: {', '.join(document['classes'])}.")
    else:
        lines.append(f"Class: {', '.join(document['classes'])}.")
    for purpose in dict.fromkeys(row["purpose"] for row in document["regimens"]):
        lines.append(f"Against or for: {purpose}")
        for row in document["regimens"]:
            if row["purpose"] == purpose:
                lines += _row_lines(row)
    for title, key in (
        ("Figures", "figures"),
        ("Counted as", "basis"),
        ("Sold as", "salts"),
        ("Dissolving", "stock"),
        ("Loss", "loss"),
        ("Water", "water"),
        ("Light", "light"),
        ("Handling", "handling"),
        ("Law", "legal"),
        ("Caution", "cautions"),
        ("Not to mix", "not_to_mix"),
        ("Equipment", "equipment"),
        ("Sensitive", "sensitive"),
        ("Group", "groups"),
    ):
        texts = document[key] if isinstance(document[key], list) else [document[key]] if document[key] else []
        lines += [f"  {title}: {text}" for text in texts]
    lines += [f"  Source {r['key']}: {r['cite']} ({r['read']})" for r in document["references"]]
    return [*lines, document["defers"]]


def _row_lines(row: dict[str, Any]) -> list[str]:
    head = f"  {row['id']}, {row['tier']} ({TIER_WORDS[row['tier']]}): {ROUTE_WORDS[row['route']]}"
    head += f", {'/'.join(row['water'])} water"
    if row["figures_hidden"]:
        lines = [f"{head}; {HIDDEN}"]
    else:
        lines = [f"{head}: {row['target']}"]
        lines += [f"    By the water: {text}" for text in row["by_the_water"]]
        lines += [f"    Contact: {row['contact']}"] if row["contact"] else []
        lines.append(f"    Repeats: {row['repeats']}")
        lines += [f"    {text}" for text in row["ceilings"]]
        lines += [f"    Figure: {text}" for text in row["figures"]]
    lines += [f"    Depends on: {', '.join(row['needs'])}"] if row["needs"] else []
    lines += (
        ["    First use on a species: a trial on a few fish, watched, before the rest"] if row["trial_first"] else []
    )
    lines += [f"    {text}" for text in (*row["limits"], *row["sensitive"], *row["cautions"])]
    lines += [f"    Sources disagree, see also: {', '.join(row['disagrees_with'])}"] if row["disagrees_with"] else []
    return [*lines, f"    Known: {row['status_says']} ({', '.join(row['keys'])})"]


def _row_document(found: Substance, row: Regimen, all_: bool) -> dict[str, Any]:
    from quarantine.formulary import STATUSES

    full = all_ or row.tier != "refused"
    return {
        "id": row.id,
        "tier": row.tier,
        "purpose": row.purpose,
        "route": row.route,
        "water": list(row.water),
        "figures_hidden": not full,
        "target": _target(row) if full else None,
        "target_low": row.target.low.value if full and row.target else None,
        "target_high": row.target.high.value if full and row.target and row.target.high else None,
        "target_unit": row.target.low.unit if full and row.target else None,
        "by_the_water": [_rule(rule) for rule in row.water_rules] if full else [],
        "contact": row.contact.words or _times(row) if full and row.contact else None,
        "repeats": row.repeats.words if full else None,
        "ceilings": [_ceiling(row, n) for n in range(len(row.ceilings))] if full else [],
        "figures": [_stated(one) for one in row.figures] if full else [],
        "limits": [_limit(limit) for limit in row.limits] if full else [],
        "needs": list(row.needs),
        "trial_first": row.trial_first,
        "light": row.light.text if row.light else None,
        "sensitive": [f"{s.group}: {s.rule}; {s.note.text}" for s in row.sensitive if full or _plain(s.note)],
        "cautions": _texts(row.cautions, full),
        "status": row.status,
        "status_says": STATUSES[row.status],
        "keys": list(row.references),
        "disagrees_with": list(row.disagreements),
        "references": [found.references[key].cite for key in row.references],
    }


def _texts(notes: Iterable[Note], full: bool) -> list[str]:
    """The notes; where figures stay back, only their sentences without one."""
    texts = [note.text if full else " ".join(_plain_sentences(note.text)) for note in notes]
    return [text for text in texts if text]


def _plain_sentences(text: str) -> list[str]:
    """The number of a row or a rule ("M01", "C4") is no figure."""
    return [part for part in re.split(r"(?<=[.;]) ", text) if not re.search(r"(?<![A-Za-z\d])\d", part)]


def _plain(note: Note) -> bool:
    return _plain_sentences(note.text) == re.split(r"(?<=[.;]) ", note.text)


def _say(figure: Figure) -> str:
    from quarantine.quantity import show

    return f"{show(figure.value)} {figure.unit}"


def _stated(one: Stated) -> str:
    return f"{one.what}: {_say(one.figure)} ({one.figure.status}, {one.figure.reference})"


def _target(row: Regimen) -> str:
    target: Target | None = row.target
    if target is None:
        if row.route == "move":
            return "nothing is added"
        return "by the water" if row.water_rules else "no target on record"
    if target.high is None:
        return f"{_say(target.low)} or more"
    return _span(target.low, target.high)


def _span(low: Figure, high: Figure) -> str:
    from quarantine.quantity import show

    return _say(low) if high.value == low.value else f"{show(low.value)} to {_say(high)}"


def _times(row: Regimen) -> str:
    contact = row.contact
    if contact is None or not contact.stated:
        return "the source is silent"
    if contact.low and contact.high:
        return _span(contact.low, contact.high)
    return f"at least {_say(contact.low)}" if contact.low else f"up to {_say(contact.high)}" if contact.high else ""


def _rule(rule: WaterRule) -> str:
    """A line such as "offer, alkalinity from 50 mg/L on: 1 % of it"."""
    by = "pH" if rule.by == "ph" else rule.by
    start = _say(rule.start).removesuffix(" pH")
    end = f" to {_say(rule.end)}" if rule.end else " on"
    where = f" in {rule.water} water" if rule.water else ""
    much = f"{_say(rule.figure)} of it" if rule.figure.unit == "%" else _say(rule.figure)
    return f"{rule.use}{where}, {by} from {start}{end}: {much} ({rule.figure.status}, {rule.figure.reference})"


def _ceiling(row: Regimen, number: int) -> str:
    one = row.ceilings[number]
    words = [f"up to {_say(one.up_to)}" if one.up_to else "", f"up to {_say(one.warmest)}" if one.warmest else ""]
    words.append(f"for the group {one.group}" if one.group else "")
    when = ", ".join(word for word in words if word)
    return f"Refused above: {_say(one.figure)}{f' ({when})' if when else ''}, proposed here; highest found: {one.hard}"


def _limit(limit: Limit) -> str:
    if limit.low and limit.high:
        bounds = _span(limit.low, limit.high)
    elif limit.low:
        bounds = f"at least {_say(limit.low)}"
    else:
        bounds = f"at most {_say(limit.high)}" if limit.high else ""
    return f"{limit.kind.capitalize()}, {limit.what}: {bounds}. {limit.note.text}"


# --- find ------------------------------------------------------------------------------------------------


def find(
    what: Annotated[list[str], typer.Argument(help="A sign, a parasite, a disease, or a word of a purpose.")],
) -> None:
    from quarantine.failures import Unknown
    from quarantine.formulary import load
    from quarantine.formulary.finding import causes, find
    from quarantine.signs import SIGNS

    found = find(" ".join(what))
    if not found.causes and not found.hits:
        known = sorted({*SIGNS, *(word for cause in causes()[0] for word in cause.words)}, key=str.casefold)
        raise Unknown("sign, parasite or purpose", found.asked, known)
    sources = causes()[1]
    rows = []
    for hit in found.hits:
        substance = load(hit.title.id)
        row = next(r for r in substance.regimens if r.id == hit.row.id)
        rows.append(
            {
                "substance": hit.title.id,
                "name": hit.title.name,
                "regimen": row.id,
                "tier": row.tier,
                "named": hit.named,
                "purpose": row.purpose,
                "route": row.route,
                "water": list(row.water),
                "status": row.status,
                "disagrees_with": list(row.disagreements),
                "references": [substance.references[key].cite for key in row.references],
            }
        )
    document = {
        "asked": found.asked,
        "sign": found.sign or None,
        "causes": [
            {
                "cause": c.id,
                "name": c.name,
                "signs": list(c.signs),
                "status": c.note.status,
                "references": [sources[key].cite for key in c.note.reference.split(", ") if key],
            }
            for c in found.causes
        ],
        "rows": rows,
        "says": TRIED,
    }
    session().emit(document, _found_lines(document))


def _found_lines(document: dict[str, Any]) -> list[str]:
    from quarantine.formulary import TIERS

    lines = [f"{document['asked']}: what the sources tried against it"]
    if document["sign"]:
        lines[0] = f"The sign {document['sign']}: what it may point to, and what the sources tried against that"
    for cause in document["causes"]:
        cited = "; ".join(cause["references"]) or "from memory"
        lines.append(f"  May be {cause['name']} ({cited})")
    for named, title in ((True, "named in the row"), (False, "only in a general purpose of the row")):
        for tier in TIERS:
            rows = [row for row in document["rows"] if row["named"] == named and row["tier"] == tier]
            lines += [f"{tier.capitalize()} ({TIER_WORDS[tier]}), {title}:"] if rows else []
            lines += [f"  {_found_row(row)}" for row in rows]
    return [*lines, *([] if document["rows"] else ["No row of the formulary names it."]), document["says"]]


def _found_row(row: dict[str, Any]) -> str:
    against = f"; sources disagree, see also {', '.join(row['disagrees_with'])}" if row["disagrees_with"] else ""
    return (
        f"{row['substance']} {row['regimen']}: {row['purpose']}; {ROUTE_WORDS[row['route']]}, "
        f"{'/'.join(row['water'])} water{against} [{row['status']}: {'; '.join(row['references'])}]"
    )


# --- groups ----------------------------------------------------------------------------------------------


def groups(
    name: Annotated[str | None, typer.Argument(help="One group, by its id or a name; all when left out.")] = None,
) -> None:
    from quarantine.failures import Unknown
    from quarantine.formulary.groups import FILE

    there = _groups()
    chosen = [g for g in there.groups if name is None or _called(g, name)]
    if not chosen:
        raise Unknown("group", name or "", [g.id for g in there.groups])
    documents = [{**_group_document(g), "sensitive": [_line_document(s, there) for s in g.sensitive]} for g in chosen]
    lines = []
    for group in chosen:
        mark, genera = " (your own)" if group.own else "", ", ".join(group.genera)
        lines.append(f"{group.id}: {group.name}{mark}{'; genera: ' + genera if genera else ''}")
        lines += [f"  {_line_text(line, there)}" for line in group.sensitive]
    lines.append(
        f"Trials and cautions, not an official list: none was found. Your own groups: {FILE} in the home folder."
    )
    session().emit({"groups": documents}, lines)


def _group_document(group: Group) -> dict[str, Any]:
    return {
        "group": group.id,
        "name": group.name,
        "also": list(group.also),
        "genera": list(group.genera),
        "own": group.own,
    }


def _line_document(line: Sensitivity, there: Groups) -> dict[str, Any]:
    return {
        "to": list(line.to),
        "rule": line.rule,
        "text": line.note.text,
        "own": line.own,
        "status": line.note.status,
        "references": [there.references[key].cite for key in line.note.reference.split(", ") if key],
    }


def _line_text(line: Sensitivity, there: Groups) -> str:
    cited = "; ".join(_line_document(line, there)["references"]) or ("your own" if line.own else "from memory")
    mark = "yours, " if line.own else ""
    return f"{', '.join(line.to)}: {line.rule}; {line.note.text} [{mark}{line.note.status}: {cited}]"


def _groups() -> Groups:
    """The groups that ship, with those of the home folder's file where there is one."""
    from quarantine.failures import Refused
    from quarantine.formulary import groups as house

    path = session().home().path / house.FILE
    try:
        text = path.read_text(encoding="utf-8")
    except (FileNotFoundError, NotADirectoryError):
        return house.shipped()
    except (OSError, UnicodeDecodeError) as error:
        raise Refused(f"The file of groups {path} cannot be read: {error}.") from error
    return house.with_own(text, str(path))


def _called(group: Group, name: str) -> bool:
    wanted = name.casefold()
    return wanted in (group.id, group.name.casefold(), *(other.casefold() for other in (*group.also, *group.genera)))


def _touching(found: Substance, there: Groups) -> list[tuple[Group, Sensitivity]]:
    """The groups that say something of this substance or of a class it is in."""
    words = {found.id, *found.classes}
    return [(group, s) for group in there.groups for s in group.sensitive if words & set(s.to)]


def _group_line(group: Group, line: Sensitivity) -> str:
    return f"{group.name}: {line.rule}; {line.note.text}{' (your own)' if line.own else ''}"
