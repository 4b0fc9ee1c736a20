"""Checks across the whole file.

They look at the file as written, so that one mistake in a step does not make it unknown to the others.
"""

from __future__ import annotations

from typing import Any

from quarantine.protocol.doses import row_of
from quarantine.protocol.lines import Path_
from quarantine.protocol.model import READINGS, UIA_FROM
from quarantine.protocol.reader import Reader
from quarantine.protocol.values import near
from quarantine.templates import shipped as shipped


def _tables(data: dict[str, Any], kind: str) -> list[tuple[Path_, dict[str, Any]]]:
    entries = data.get(kind)
    if not isinstance(entries, list):
        return []
    return [((kind, n), one) for n, one in enumerate(entries) if isinstance(one, dict)]


def _named(data: dict[str, Any], kind: str, key: str = "id") -> list[str]:
    return [one[key] for _, one in _tables(data, kind) if isinstance(one.get(key), str)]


def _conditions(data: dict[str, Any]) -> list[tuple[Path_, dict[str, Any]]]:
    before = [
        ((*path, *at), one)
        for path, step in _tables(data, "step")
        for key in ("before", "when", "stop")
        for at, one in _tables(step, key)
    ]
    return before + _tables(data, "criterion")


def check_whole(reader: Reader) -> None:
    _check_unique(reader, [*_tables(reader.data, "period"), *_tables(reader.data, "step")], "id")
    _check_unique(reader, _tables(reader.data, "reference"), "key")
    _check_subjects(reader)
    _check_cycles(reader)
    _check_references(reader)
    _check_read(reader)
    _check_minimum(reader)
    _check_medicated(reader)


def _check_unique(reader: Reader, tables: list[tuple[Path_, dict[str, Any]]], key: str) -> None:
    seen: dict[str, Path_] = {}
    for path, table in tables:
        name = table.get(key)
        if not isinstance(name, str):
            continue
        if name in seen:
            what = "a name used once (steps and periods share them)" if key == "id" else "a key used once"
            reader.wrong((*path, key), what, name, f"first used in line {reader.line(seen[name])}")
        seen.setdefault(name, path)


def _check_subjects(reader: Reader) -> None:
    """`after` names a step or a period, `begun` and `between` a step; `until` and criteria name a period."""
    periods, steps = _named(reader.data, "period"), _named(reader.data, "step")
    for path, table in [*_tables(reader.data, "step"), *_tables(reader.data, "period")]:
        start = table.get("start")
        _check_known(reader, start, "start", "after", path, [*steps, *periods], "a step or a period")
        for key in ("begun", "between"):
            _check_known(reader, start, "start", key, path, steps, "a step")
        _check_known(reader, table.get("repeat"), "repeat", "until", path, periods, "a period")
    for path, condition in _conditions(reader.data):
        _check_known(reader, condition, "", "period", path, periods, "a period")


def _check_known(reader: Reader, table: object, under: str, key: str, path: Path_, known: list[str], what: str) -> None:
    name = table.get(key) if isinstance(table, dict) else None
    if isinstance(name, str) and name not in known:
        why = near(name, known) or f"known: {', '.join(known) or 'none'}"
        reader.wrong((*path, under, key) if under else (*path, key), f"{what} of this protocol", name, why)


Node = tuple[str, str]


def _waits(data: dict[str, Any]) -> dict[Node, list[Node]]:
    """What the first run ("begun") and the end ("after") of each step and period wait for."""
    waits: dict[Node, list[Node]] = {}
    periods = _named(data, "period")
    for _, table in [*_tables(data, "step"), *_tables(data, "period")]:
        name, start, repeat = table.get("id"), table.get("start"), table.get("repeat")
        if not isinstance(name, str):
            continue
        start = start if isinstance(start, dict) else {}
        repeat = repeat if isinstance(repeat, dict) else {}
        behind = {key: start[key] for key in ("after", "begun", "between") if isinstance(start.get(key), str)}
        begun = [("after" if key == "after" else "begun", other) for key, other in behind.items()]
        until = [("after", repeat["until"])] if repeat.get("until") in periods else []
        until += [("after", behind["between"])] if "between" in behind else []
        waits[("begun", name)] = begun
        waits[("after", name)] = [("begun", name), *until]
    return waits


def _cycle(waits: dict[Node, list[Node]], node: Node, trail: tuple[Node, ...], done: set[Node]) -> tuple[Node, ...]:
    if node in trail:
        return (*trail[trail.index(node) :], node)
    if node in done:
        return ()
    for other in waits.get(node, []):
        found = _cycle(waits, other, (*trail, node), done)
        if found:
            return found
    done.add(node)
    return ()


def _check_cycles(reader: Reader) -> None:
    """No step or period may wait, through others, for itself: it would never begin."""
    waits = _waits(reader.data)
    done: set[Node] = set()
    tables = [*_tables(reader.data, "step"), *_tables(reader.data, "period")]
    for name in [*_named(reader.data, "step"), *_named(reader.data, "period")]:
        found = [one for _, one in _cycle(waits, ("after", name), (), done)]
        if found:
            names = [one for n, one in enumerate(found) if n == 0 or found[n - 1] != one]
            # The circle is told where one of its members is made to wait for another.
            path = next(at for at, one in tables if one.get("id") in found and waits[("begun", one["id"])])
            shown = " → ".join(names if len(names) > 1 else names * 2)
            reader.wrong((*path, "start"), "a start that does not wait for itself", shown)
            return


def _check_references(reader: Reader) -> None:
    """Every key that is named exists, and every reference is named somewhere."""
    known = _named(reader.data, "reference", "key")
    used: set[str] = set()
    places = [*_tables(reader.data, "step"), *_tables(reader.data, "period")]
    named = [
        ((*path, "references", n), key)
        for path, table in places
        if isinstance(table.get("references"), list)
        for n, key in enumerate(table["references"])
    ]
    named += [((*path, "reference"), one["reference"]) for path, one in _conditions(reader.data) if "reference" in one]
    for path, key in named:
        if not isinstance(key, str):
            continue
        used.add(key)
        if key not in known:
            why = near(key, known) or f"known: {', '.join(known) or 'none'}"
            reader.wrong(path, "the key of a [[reference]]", key, why)
    for path, table in _tables(reader.data, "reference"):
        if isinstance(table.get("key"), str) and table["key"] not in used:
            reader.wrong((*path, "key"), "a reference that something names", table["key"])


def _check_read(reader: Reader) -> None:
    """A reading that is asked for must be taken by a test, or it could never be met."""
    lists = [step.get("reads") for _, step in _tables(reader.data, "step")]
    taken = {name for reads in lists if isinstance(reads, list) for name in reads if isinstance(name, str)}
    counted = [(path, one) for path, one in _tables(reader.data, "period") if "reading" in one]
    ramps = [((*path, "ramp"), step["ramp"]) for path, step in _tables(reader.data, "step") if _is_table(step, "ramp")]
    for path, one in [*_conditions(reader.data), *counted, *ramps]:
        for kind in ("reading", "steady"):
            name = one.get(kind)
            if not isinstance(name, str) or name not in READINGS or "or_word" in one:
                continue
            missing = [need for need in (UIA_FROM if name == "uia" else (name,)) if need not in taken]
            if missing:
                reader.wrong((*path, kind), f"a test step that reads {' and '.join(missing)}", name)


def _is_table(table: dict[str, Any], key: str) -> bool:
    return isinstance(table.get(key), dict)


def _check_minimum(reader: Reader) -> None:
    """Sign-off always asks for a period, the head count and the tasks."""
    criteria = reader.data.get("criterion")
    if not isinstance(criteria, list):
        return
    written = {key for one in criteria if isinstance(one, dict) for key in one}
    for kind, words in (
        ("period", "{period = ...}"),
        ("counts", '{counts = "balanced"}'),
        ("tasks", '{tasks = "settled"}'),
    ):
        if kind not in written:
            reader.wrong(("criterion",), f"a criterion {words}")


def _check_medicated(reader: Reader) -> None:
    """A medicated template has cautions, and puts back what it takes out or switches off (rule C10)."""
    doses = [(path, step) for path, step in _tables(reader.data, "step") if step.get("kind") == "dose"]
    if doses and "cautions" not in reader.data:
        reader.wrong(("cautions",), "a list of cautions, because the template is medicated")
    waits = _waits(reader.data)
    _check_cleared(reader, doses, waits)
    chores = [one.get("id") for _, one in _tables(reader.data, "step") if one.get("kind") == "chore"]
    for path, step in doses:
        treatment = step.get("treatment")
        if not isinstance(treatment, dict) or not (treatment.get("off") or treatment.get("filter") == "off"):
            continue
        dose = step.get("id")
        if not any(_follows(waits, ("begun", chore), dose) for chore in chores if isinstance(chore, str)):
            reader.wrong(
                (*path, "treatment", "off"),
                "a later chore that puts this back (rule C10)",
                treatment.get("off"),
            )


def _check_cleared(reader: Reader, doses: list[tuple[Path_, dict[str, Any]]], waits: dict[Node, list[Node]]) -> None:
    """Where every water change calls for a dose again, something ends the treatment (rules C1 and C5)."""
    from quarantine.formulary import is_prolonged

    ends = [one.get("id") for _, one in _tables(reader.data, "step") if one.get("kind") in ("change", "chore")]
    for path, step in doses:
        treatment = step.get("treatment")
        if not isinstance(treatment, dict):
            continue
        if (
            treatment.get("mode") not in ("replace removed", "top up to a reading")
            and treatment.get("after_change") != "full"
        ):
            continue
        row = row_of(treatment["regimen"]) if isinstance(treatment.get("regimen"), str) else None
        cleared = any(_follows(waits, ("begun", one), step.get("id")) for one in ends if isinstance(one, str))
        if row is not None and is_prolonged(row) and not cleared:
            why = "each change before clearing calls for a dose again"
            expected = "a later change or chore that begins clearing"
            reader.wrong((*path, "treatment", "mode"), expected, treatment["mode"], why)


def _follows(waits: dict[Node, list[Node]], node: Node, name: object) -> bool:
    """Whether a step begins, directly or through others, after the one of this name."""
    seen: set[Node] = set()
    todo = list(waits.get(node, []))
    while todo:
        one = todo.pop()
        if one[1] == name:
            return True
        if one not in seen:
            seen.add(one)
            todo += waits.get(one, [])
    return False
