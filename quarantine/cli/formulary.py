"""The substances and their published uses."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from quarantine.cli.session import session


def list_() -> None:
    from quarantine.formulary import load_all

    found = load_all()
    documents = [
        {"substance": s.id, "name": s.name, "what": s.what, "ready": [r.id for r in s.regimens if r.tier == "ready"]}
        for s in found
    ]
    lines = [f"{d['substance']}: {d['what']} Ready: {', '.join(d['ready'])}." for d in documents]
    session().emit({"substances": documents}, lines)


def show(substance: Annotated[str, typer.Argument(help="The substance's name.")]) -> None:
    from quarantine.dosing import DEFERS
    from quarantine.formulary import load

    found = load(substance)
    document: dict[str, Any] = {
        "substance": found.id,
        "name": found.name,
        "what": found.what,
        "regimens": [
            {
                "id": r.id,
                "tier": r.tier,
                "purpose": r.purpose,
                "route": r.route,
                "water": list(r.water),
                "target": _target(r),
                "contact": r.contact.words if r.contact else None,
                "repeats": r.repeats.words,
                "status": r.status,
                "disagrees_with": list(r.disagreements),
                "references": [found.references[k].cite for k in r.references],
            }
            for r in found.regimens
        ],
        "handling": [n.text for n in found.handling],
        "legal": [n.text for n in found.legal],
        "cautions": [n.text for n in found.cautions],
        "not_to_mix": [f"{p.other}: {p.rule}; {p.note.text}" for p in found.incompatible],
        "references": [{"key": r.key, "cite": r.cite, "read": r.read} for r in found.references.values()],
        "defers": DEFERS,
    }
    lines = [f"{found.name}: {found.what}"]
    for r in document["regimens"]:
        against = f"; beside {', '.join(r['disagrees_with'])}" if r["disagrees_with"] else ""
        lines.append(
            f"  {r['id']} ({r['tier']}): {r['purpose']}, {r['route']}, {'/'.join(r['water'])}: {r['target']}"
            f"{', ' + r['contact'] if r['contact'] else ''} [{r['status']}{against}]"
        )
    for title, key in (
        ("Handling", "handling"),
        ("Law", "legal"),
        ("Caution", "cautions"),
        ("Not to mix", "not_to_mix"),
    ):
        lines += [f"  {title}: {text}" for text in document[key]]
    lines += [f"  Source {r['key']}: {r['cite']} ({r['read']})" for r in document["references"]]
    session().emit(document, [*lines, DEFERS])


def _target(regimen: Any) -> str:
    from quarantine.quantity import show

    target = regimen.target
    if target is None:
        return "no target on record"
    low = f"{show(target.low.value)} {target.low.unit}"
    if target.high is None:
        return f"{low} or more"
    return (
        low
        if target.high.value == target.low.value
        else f"{show(target.low.value)} to {show(target.high.value)} {target.high.unit}"
    )
