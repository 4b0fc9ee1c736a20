"""Examinations and laboratory results of a batch, and what was and was not tested when it is signed off."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from quarantine.actions.desk import Desk, find_batch, local_text, when
from quarantine.actions.entering import add_fact, id_after
from quarantine.actions.measured import plain_words
from quarantine.actions.noting import Noted, read_count
from quarantine.actions.planning import replan
from quarantine.facts import Fact, in_order
from quarantine.failures import Refused, Unknown, Usage
from quarantine.records.codec import instant
from quarantine.records.loading import fact_of
from quarantine.records.reads import Row, Rows

EXAMS = {
    "scrape": "skin scrape",
    "clip": "fin or gill clip",
    "faeces": "faeces",
    "pcr": "PCR",
    "necropsy": "necropsy",
}
"""What can be examined, and its words."""
SHORT = 8
"""How many of the last digits of an examination's id name it: facts of one second may share the first ones."""


def short(id_: str) -> str:
    """The part of an examination's id that names it."""
    return id_[-SHORT:]


class Exam(NamedTuple):
    """One examination as it stands: an answer takes the place of the pending one it answers."""

    fact: Fact
    answers: str | None

    @property
    def id(self) -> str:
        """The short id that `--answers` takes."""
        return short(self.fact.id)

    @property
    def pending(self) -> bool:
        """Whether the result is still awaited."""
        return bool(self.fact.data["result"] == "pending")


def exam(
    desk: Desk,
    batch_name: str,
    what: str,
    *,
    found: str | None = None,
    negative: bool = False,
    pending: bool = False,
    count: str | None = None,
    lab: str | None = None,
    file: str | None = None,
    answers: str | None = None,
    at: str | None = None,
) -> Noted:
    """Write down one examination: what was found, that nothing was, or that the result is awaited.

    ``file`` (a photograph, a report) is kept by name, place and SHA-256; it is not copied. ``answers`` names the
    pending examination of which this is the result. A closed batch can still be examined: results come late.
    Raises Usage, Unknown or Refused.
    """
    data = _data(what, found, negative=negative, pending=pending, count=count, lab=lab)
    with desk.act() as act:
        batch = find_batch(act, batch_name)
        moment = when(at, batch["zone"], act.now)
        if moment < instant(batch["arrived_at"]):
            arrived = local_text(instant(batch["arrived_at"]), batch["zone"])
            raise Refused(
                f"Batch {batch['name']} arrived {arrived}; nothing of it was examined "
                f"{local_text(moment, batch['zone'])}. Check --at."
            )
        if count is not None and data["count"] > (came := _came(act, batch)):
            raise Refused(
                f"--n {data['count']}: of batch {batch['name']} only {came} fish are on record, dead ones counted too."
            )
        if answers is not None:
            data["answers"] = _pending(exams_of(act, batch), answers, data["what"]).fact.id
        if file is not None:
            data["file"] = file_data(file)
        id_ = add_fact(
            act,
            "exam",
            system=batch["system"],
            tank=batch["tank"],
            batch=batch["id"],
            at=moment,
            data=data,
            id_=id_after(act, batch["system"], moment),
        )
        replan(act, batch["system"])
        says = exam_words(data)
        act.describe("exam", f"batch {batch['name']}: {says}", moment)
        lines = [f"{batch['name']}, {local_text(moment, batch['zone'])}: {says}"]
        if data["result"] == "pending":
            lines.append(f"When the result comes: --answers {short(id_)}.")
        if data["result"] == "found":
            lines.append("What was found is a veterinarian's to judge; a notifiable disease is reported at once.")
        if data["result"] == "negative":
            lines.append("Nothing found in these fish is not nothing there: few were examined, on one day.")
        document = {"batch": batch["name"], "id": short(id_), "at": moment, **data}
        return Noted(lines, document)


def _came(rows: Rows, batch: Row) -> int:
    """All fish of a batch that were ever there: as they came, dead in the bag, and added later."""
    facts = rows.rows("facts_since", system=batch["system"], since=batch["arrived_at"])
    mine = [json.loads(f["data"]) for f in facts if f["batch"] == batch["id"] and f["kind"] in ("arrival", "added")]
    return sum(data["count"] + data.get("dead_on_arrival", 0) for data in mine)


def _data(
    what: str, found: str | None, *, negative: bool, pending: bool, count: str | None, lab: str | None
) -> dict[str, Any]:
    kind = what.casefold().strip()
    if kind not in EXAMS:
        raise Unknown("examination", what, list(EXAMS))
    if [found is not None, negative, pending].count(True) != 1:
        raise Usage('What came out of it? Say one of --found "...", --negative, --pending.')
    result = "found" if found is not None else "negative" if negative else "pending"
    data: dict[str, Any] = {"what": kind, "result": result}
    if found is not None:
        data["found"] = plain_words(found, "--found", 200)
    if count is not None:
        data["count"] = read_count(count, "--n", 1)
    if lab is not None:
        data["lab"] = plain_words(lab, "--lab")
    return data


def _pending(exams: list[Exam], answers: str, what: str) -> Exam:
    wanted = answers.strip().casefold()
    open_ = {e.id: e for e in exams if e.pending}
    if wanted not in open_:
        raise Unknown("pending examination", answers, sorted(open_), " of this batch")
    asked = open_[wanted]
    if asked.fact.data["what"] != what:
        raise Refused(f"{asked.id} is a {EXAMS[asked.fact.data['what']]}, not a {EXAMS[what]}.")
    return asked


def file_data(file: str) -> dict[str, Any]:
    """Name, place and SHA-256 of a file. Raises Refused when it cannot be read."""
    path = Path(file).expanduser()
    try:
        seal = _seal(path)
    except OSError as error:
        raise Refused(f"The file {file} cannot be read: {error.strerror or error}.") from error
    return {"name": path.name, "place": str(path.resolve()), "sha256": seal}


def _seal(path: Path) -> str:
    import hashlib

    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def file_state(file: dict[str, Any]) -> str:
    """Whether a file is still what it was: "match", "mismatch" or "missing"."""
    try:
        return "match" if _seal(Path(file["place"])) == file["sha256"] else "mismatch"
    except OSError:
        return "missing"


def exams_of(rows: Rows, batch: Row) -> list[Exam]:
    """The examinations of a batch in order of time, without those whose result has come."""
    found = in_order(
        [fact_of(row) for row in rows.rows("facts_since", system=batch["system"], since=batch["arrived_at"])]
    )
    mine = [f for f in found if f.kind == "exam" and f.batch == batch["id"]]
    answered = {f.data["answers"] for f in mine if "answers" in f.data}
    return [Exam(f, f.data.get("answers")) for f in mine if f.id not in answered]


def exam_words(data: dict[str, Any]) -> str:
    """ "skin scrape of 2 fish, negative (City lab), file report.pdf" """
    fish = f" of {data['count']} fish" if "count" in data else ""
    result = {"found": f"found: {data.get('found')}", "negative": "nothing found", "pending": "result awaited"}
    lab = f" ({data['lab']})" if "lab" in data else ""
    file = f", file {data['file']['name']}" if "file" in data else ""
    return f"{EXAMS[data['what']]}{fish}, {result[data['result']]}{lab}{file}"


def tests_of(rows: Rows, batch: Row) -> list[dict[str, Any]]:
    """For each kind of examination what was done in this batch, or that it was not: no criterion, shown at sign-off."""
    done = exams_of(rows, batch)
    tests = []
    for what, words in EXAMS.items():
        mine = [e for e in done if e.fact.data["what"] == what]
        says = [f"{local_text(e.fact.at, batch['zone'])[:10]} {exam_words(e.fact.data)}" for e in mine]
        tests.append({"what": what, "tested": any(not e.pending for e in mine), "title": words, "says": says})
    return tests


def said_of_tests(tests: list[dict[str, Any]]) -> list[str]:
    """The same as lines: each examination, then what was not tested."""
    lines = [f"  Tested: {says}." for test in tests for says in test["says"]]
    missing = [test["title"] for test in tests if not test["tested"]]
    return [*lines, *([f"  Not tested: {', '.join(missing)}."] if missing else [])]


def listing(rows: Rows, batch_name: str | None) -> tuple[list[str], dict[str, Any]]:
    """The examinations of one batch, or of all open ones, and whether their files are still what they were."""
    batches = rows.rows("open_batches") if batch_name is None else [find_batch(rows, batch_name)]
    lines: list[str] = []
    documents: list[dict[str, Any]] = []
    for batch in batches:
        for one in exams_of(rows, batch):
            file = one.fact.data.get("file")
            state = None if file is None else file_state(file)
            lines.append(f"{one.id} {batch['name']}, {_line(one, batch, state)}")
            documents.append(_document(one, batch, state))
        missing = [test["title"] for test in tests_of(rows, batch) if not test["tested"]]
        lines.append(f"{batch['name']}, not tested: {', '.join(missing) or 'nothing of what is listed here'}.")
    return lines or ["No batch is open; name one to see its examinations."], {"exams": documents}


def _line(one: Exam, batch: Row, state: str | None) -> str:
    words = {"match": "the file is unchanged", "mismatch": "THE FILE WAS CHANGED", "missing": "the file is not there"}
    file = "" if state is None else f"; {words[state]}"
    return f"{local_text(one.fact.at, batch['zone'])}: {exam_words(one.fact.data)}{file}"


def _document(one: Exam, batch: Row, state: str | None) -> dict[str, Any]:
    data = one.fact.data
    file = data.get("file")
    return {
        "id": one.id,
        "batch": batch["name"],
        "at": one.fact.at.astimezone(ZoneInfo(batch["zone"])),
        "what": data["what"],
        "result": data["result"],
        "found": data.get("found"),
        "count": data.get("count"),
        "lab": data.get("lab"),
        "answers": None if one.answers is None else short(one.answers),
        "file": None if file is None else {"name": file["name"], "sha256": file["sha256"], "state": state},
    }
