"""Row F80: the five outcomes of a batch, signed with name, time and meaning; the seal binds to what was judged."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from fishroom import EVENING, READINGS, check, desk, drop_trigger, dump, furnish, raw, start

from quarantine.actions import noting, signing
from quarantine.cli import app
from quarantine.failures import Refused, Usage
from quarantine.records.reads import sqlite_path

DEVIATION = "the veterinarian wants them out; instruction 12"


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The file of a record whose batch was looked at for three days: copied by every test."""
    folder = tmp_path_factory.mktemp("looked")
    url = f"sqlite:///{folder / 'record.db'}"
    furnish(url)
    start(url)
    for day in range(3):
        noting.look(desk(url, day, 1), "Q1 4 3", no_signs=True)
        noting.reading(desk(url, day, 1), "Q1", READINGS)
    return (folder / "record.db").read_bytes()


@pytest.fixture
def looked(file: bytes, sqlite_url: str) -> str:
    """Three days into the quarantine: too early for a release."""
    sqlite_path(sqlite_url).parent.mkdir()
    sqlite_path(sqlite_url).write_bytes(file)
    return sqlite_url


def sign(url: str, **how: Any) -> dict[str, Any]:
    return signing.sign(desk(url, 2, 2, keeper=EVENING), "Q1-1", **how)


OUTCOMES: dict[str, tuple[dict[str, Any], str]] = {
    "release with deviation": ({"release": True, "deviation": DEVIATION}, "released"),
    "extend": ({"extend": "7 d"}, "open"),
    "reject": ({"reject": True}, "rejected"),
    "died out": ({"died_out": True}, "died out"),
}


@pytest.mark.parametrize("decision", OUTCOMES)
def test_F80_an_outcome_has_its_name_time_and_meaning_under_a_seal(looked: str, decision: str) -> None:
    """Who, when, what was decided and all that was judged are stored; the seal is the SHA-256 of exactly that."""
    how, state = OUTCOMES[decision]
    if decision == "died out":
        noting.event(desk(looked, 2), "died", "Q1", {"count": 4}, of_batch=True, really=True)
    before = dump(looked)["head"][0]["entry"]
    made = sign(looked, **how)
    (row,) = dump(looked)["signoff"]
    evidence = json.loads(row["evidence"])
    keeper = next(k["id"] for k in dump(looked)["keeper"] if k["name"] == EVENING)
    assert (row["decision"], row["keeper"], row["at"]) == (decision, keeper, "2026-02-12T14:30:00Z")
    assert (evidence["decision"], evidence["by"], evidence["at"]) == (decision, keeper, "2026-02-12T14:30:00Z")
    assert evidence["deviation"] == row["deviation"] == how.get("deviation")
    assert evidence["criteria"] == made["criteria"]
    assert len(evidence["criteria"]) == 10
    assert evidence["journal"] == before, "the facts that were judged are those up to this entry"
    assert hashlib.sha256(row["evidence"].encode()).hexdigest() == row["seal"] == made["seal"]
    assert dump(looked)["batch"][0]["state"] == state
    assert check(looked)["faults"] == []


def test_F80_a_release_needs_no_deviation_when_all_is_met(looked: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The fifth outcome: every criterion met, released plainly; a deviation named all the same is not hidden."""
    assess = signing.assess

    def met(*words: Any) -> signing.Assessment:
        found = assess(*words)
        return found._replace(judged=[j._replace(met=True) for j in found.judged])

    monkeypatch.setattr(signing, "assess", met)
    named = signing.sign(desk(looked, 2, 2, dry_run=True), "Q1-1", release=True, deviation=DEVIATION)
    assert named["decision"] == "release with deviation"
    assert sign(looked, release=True)["decision"] == "release"
    assert dump(looked)["signoff"][0]["deviation"] is None


def test_F80_early_release_goes_only_by_a_named_deviation(looked: str) -> None:
    """Without one, or with a blank one, nothing is written; what stands in the way is one criterion a line."""
    before = dump(looked)
    with pytest.raises(signing.NotYet) as refused:
        sign(looked, release=True)
    with pytest.raises(Usage, match="A deviation needs its reason"):
        sign(looked, release=True, deviation="  ")
    assert dump(looked) == before
    open_ = [c for c in refused.value.facts["criteria"] if c["verdict"] != "met"]
    assert "\n" not in refused.value.sentence
    assert f"{len(open_)} of 10 criteria are not met" in refused.value.sentence
    assert len(refused.value.lines) == len(open_) > 3
    for line, criterion in zip(refused.value.lines, open_, strict=True):
        assert criterion["title"] in line
        assert criterion["says"] in line


@pytest.mark.parametrize(
    "how",
    [{}, {"release": True, "reject": True}, {"extend": ""}, {"extend": "0 d"}, {"reject": True, "deviation": "x"}],
)
def test_F80_one_outcome_at_a_time(looked: str, how: dict[str, Any]) -> None:
    """None, two, an extension of nothing, a deviation without a release: usage, and nothing is written."""
    before = dump(looked)
    with pytest.raises(Usage):
        sign(looked, **how)
    assert dump(looked) == before


def test_F80_a_decided_batch_is_not_decided_again(looked: str) -> None:
    """Who decided and when is told; an extension alone leaves the batch open for the next decision."""
    sign(looked, extend="7 d")
    sign(looked, reject=True)
    for how in ({"release": True}, {"extend": "1 d"}):
        with pytest.raises(Refused, match=r"Batch Q1-1 is closed: rejected by Evening keeper, 2026-02-12 15:30"):
            sign(looked, **how)
    assert [row["decision"] for row in dump(looked)["signoff"]] in (["extend", "reject"], ["reject", "extend"])


CHANGES = {
    "the decision": "update signoff set decision = 'release'",
    "the deviation": "update signoff set deviation = 'none'",
    "who": "update signoff set keeper = (select id from keeper where name = 'Morning keeper')",
    "when": "update signoff set at = '2026-02-12T14:30:01Z'",
    "the seal": "update signoff set seal = 'f' || substr(seal, 2) || 'f'",
    "a verdict": "update signoff set evidence = replace(evidence, '\"not met\"', '\"met\"')",
    "a count": "update signoff set evidence = replace(evidence, '\"alive\":4', '\"alive\":5')",
    "all of it": "update signoff set evidence = '{}'",
    "its form": "update signoff set evidence = '{'",
    "the journal's head": 'update signoff set evidence = replace(evidence, \'"journal":"\', \'"journal":"0\')',
}


@pytest.mark.parametrize("what", CHANGES)
def test_F80_a_later_change_shows_as_a_broken_seal(looked: str, what: str) -> None:
    """The database refuses the change; with its trigger out of the way `check` names the batch whose seal is broken."""
    sign(looked, release=True, deviation=DEVIATION)
    with pytest.raises(sqlite3.IntegrityError, match="signoff is append-only"):
        raw(looked, CHANGES[what])
    before = dump(looked)["signoff"]
    raw(looked, drop_trigger(looked, "signoff", "update"), CHANGES[what])
    assert dump(looked)["signoff"] != before
    with pytest.raises(Refused, match="not whole") as refused:
        check(looked)
    faults = refused.value.facts["faults"]
    assert any(f.startswith("The sign-off of batch Q1-1 (2026-02-12T14:30:0") for f in faults), faults
    assert any(f.endswith("is not what was sealed.") for f in faults)


def test_F80_evidence_and_seal_changed_together_are_found_by_the_journal(looked: str) -> None:
    """Whoever makes a new seal for other evidence is found too: the journal holds the sign-off as it was."""
    sign(looked, release=True, deviation=DEVIATION)
    other = dump(looked)["signoff"][0]["evidence"].replace('"not met"', '"met"')
    seal = hashlib.sha256(other.encode()).hexdigest()
    with closing(sqlite3.connect(sqlite_path(looked))) as lite, lite:
        lite.execute("drop trigger signoff_no_update")
        lite.execute("update signoff set evidence = ?, seal = ?", (other, seal))
    with pytest.raises(Refused, match="not whole") as refused:
        check(looked)
    assert any("evidence, seal differ from the journal" in fault for fault in refused.value.facts["faults"])


def typed(looked: str, monkeypatch: pytest.MonkeyPatch, folder: Path, *words: str) -> int:
    from quarantine.cli import session

    monkeypatch.setenv("QUARANTINE_DATABASE", looked)
    monkeypatch.setenv("QUARANTINE_HOME", str(folder / "empty"))
    monkeypatch.setattr(session, "now", lambda: desk(looked, 2, 2).now)
    return app.run([*words, "--as", EVENING])


def test_F80_the_refusal_is_a_sentence_and_a_line_for_each_criterion(
    looked: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """On a terminal of 60 columns: exit 1, nothing on stdout, each criterion begins a line, no line is longer."""
    monkeypatch.setenv("COLUMNS", "60")
    assert typed(looked, monkeypatch, tmp_path, "signoff", "Q1-1", "--release") == 1
    said = capsys.readouterr()
    assert said.out == ""
    first, *rest = said.err.splitlines()
    assert first.startswith("Batch Q1-1 cannot be released yet: ")
    begins = [line for line in rest if line.startswith(("  NOT MET: ", "  CANNOT BE JUDGED: "))]
    assert f" {len(begins)} of 10 criteria are not met." in first
    assert all(len(line) <= 60 for line in rest)
    assert not any(line.startswith("  MET") for line in rest)


def test_F80_the_refusal_as_json_is_one_document(
    looked: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """All criteria stand in the document, and the one sentence on stderr."""
    assert typed(looked, monkeypatch, tmp_path, "signoff", "Q1-1", "--release", "--json") == 1
    said = capsys.readouterr()
    error = json.loads(said.out)["error"]
    assert len(error["criteria"]) == 10
    assert said.err == error["message"] + "\n"


def test_F80_an_empty_extension_is_not_taken_for_a_question(
    looked: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """`--extend ""` was meant as a decision: usage, not the list of criteria."""
    assert typed(looked, monkeypatch, tmp_path, "signoff", "Q1-1", "--extend", "") == 2
    assert "write days" in capsys.readouterr().err
