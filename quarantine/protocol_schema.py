"""The grammar of templates as a JSON Schema (draft 2020-12), and its keys in words: for editors and for new files.

Nothing is listed twice: tables, keys, types, defaults and patterns are those that quarantine/protocol checks with,
and the meaning of each key is its row in protocols/README.md. The schema is never stricter than the check, and it knows
the shape alone: that names exist, sources are named, and a dose is inside its regimen only the check can tell.
"""

from __future__ import annotations

import re
from typing import Any

from quarantine.protocol import EXACTLY_ONE, FIGURES, FORMAT, GRAMMAR, OWN, PATTERNS, WHOLE, Key, Path_
from quarantine.templates import shipped

SHAPE_ONLY = "The shape of a template for quarantine. What this cannot tell, `quarantine protocol check FILE` does."

_ROW = re.compile(r"^\| `(\w+)` \| (?:[^|\\]|\\\|)+ \| [^|]+ \| (.+) \| `.+` \|$", re.MULTILINE)


def meanings() -> dict[str, dict[str, str]]:
    """Table of the grammar -> key -> what it means, from the page that ships beside the templates."""
    page = next(iter(shipped().values())).parent / "README.md"
    _, *sections = re.split(r"<!-- keys of (\w+) -->", page.read_text(encoding="utf-8"))
    bodies = [body.split("\n## ")[0] for body in sections[1::2]]
    return {table: dict(_ROW.findall(body)) for table, body in zip(sections[::2], bodies, strict=True)}


def table_at(path: Path_) -> str | None:
    """The table of the grammar that holds the key at a path of a template; None outside the grammar."""
    kind = "protocol"
    for part in path[:-1]:
        if isinstance(part, int):
            continue
        spec = GRAMMAR[kind].get(part)
        head, _, rest = spec.type.partition(" ") if spec else ("", "", "")
        if head not in ("table", "tables"):
            return None
        kind = rest.removeprefix("of ")
    return kind if path[-1:] and path[-1] in GRAMMAR[kind] else None


def schema() -> dict[str, Any]:
    """The whole schema; a date without quotes counts as text such as "2026-11-25", as editors hand it on."""
    says = meanings()
    tables = {name: _table(name, keys, says[name]) for name, keys in GRAMMAR.items()}
    tables["protocol"]["properties"]["format"]["const"] = FORMAT
    tables["step"]["allOf"] = [_own(key, kind) for key, kind in OWN.items()]
    tables["condition"]["dependentRequired"] = {kind: ["reference"] for kind in FIGURES}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"Protocol template, format {FORMAT}",
        "description": SHAPE_ONLY,
        "$ref": "#/$defs/protocol",
        "$defs": tables,
    }


def _table(name: str, keys: dict[str, Key], says: dict[str, str]) -> dict[str, Any]:
    made: dict[str, Any] = {
        "type": "object",
        "additionalProperties": False,
        "properties": {key: _key(spec, says[key]) for key, spec in keys.items()},
    }
    if needed := [key for key, spec in keys.items() if spec.need == "required"]:
        made["required"] = needed
    if groups := EXACTLY_ONE.get(name):
        made["allOf"] = [{"oneOf": [{"required": [key]} for key in group]} for group in groups]
    return made


def _own(key: str, kind: str) -> dict[str, Any]:
    """A key that one kind of step needs and every other refuses."""
    return {
        "if": {"properties": {"kind": {"const": kind}}},
        "then": {"required": [key]},
        "else": {"properties": {key: False}},
    }


def _key(spec: Key, meaning: str) -> dict[str, Any]:
    default = {} if spec.need in ("required", "optional") else {"default": spec.need}
    return {"description": meaning, **_type(spec.type), **default}


def _type(words: str) -> dict[str, Any]:
    """A type of the grammar in words as a schema."""
    head, _, rest = words.partition(" of ")
    if head == "list":
        return {"type": "array", "minItems": 1, "items": _type(rest)}
    if head == "tables":
        return {"type": "array", "minItems": 1, "items": {"$ref": f"#/$defs/{rest}"}}
    if words.startswith("table "):
        return {"$ref": f"#/$defs/{words.removeprefix('table ')}"}
    if words in PATTERNS:
        return {"type": "string", "pattern": f"^(?:{PATTERNS[words]})$"}
    if words == "whole number":
        return {"type": "integer", "minimum": WHOLE.start, "maximum": WHOLE.stop - 1}
    if words == "sign":
        from quarantine.signs import SIGNS

        return {"enum": list(SIGNS)}
    if words == "true or false":
        return {"type": "boolean"}
    if words == "date":
        return {"type": "string", "pattern": r"^\d{4}-\d\d-\d\d$"}
    if words in ("text", "amount", "temperature"):
        return {"type": "string", "pattern": r"\S"}
    return {"enum": words.split(" | ")}
