"""Rows F87, F88 and F89: the log alone gives the state, no line of it goes away, and a changed byte is found."""

from __future__ import annotations

import ast
import hashlib
import json
import random
import re
import sqlite3
from contextlib import closing
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from fishroom import check, desk, dump, live

from quarantine.actions import noting, places
from quarantine.cli.app import run
from quarantine.failures import Refused
from quarantine.records.migrations import APPEND_ONLY
from quarantine.records.reads import sqlite_path
from quarantine.records.tables import TABLES

HOUSE = Path(__file__).parents[2] / "quarantine"


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The file of a record with a history: made once, copied by every test that wants one."""
    folder = tmp_path_factory.mktemp("lived")
    live(f"sqlite:///{folder / 'record.db'}", folder / "calendar.ics")
    return (folder / "record.db").read_bytes()


@pytest.fixture
def lived(file: bytes, sqlite_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """A record with a history, which the command line finds."""
    sqlite_path(sqlite_url).parent.mkdir()
    sqlite_path(sqlite_url).write_bytes(file)
    _at_the_keyboard(sqlite_url, tmp_path, monkeypatch)
    return sqlite_url


def _at_the_keyboard(url: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("QUARANTINE_DATABASE", url)
    monkeypatch.setenv("QUARANTINE_HOME", str(folder / "empty"))
    monkeypatch.delenv("COLUMNS", raising=False)


def printed(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    capsys.readouterr()
    assert run(["journal", *words]) == 0
    return capsys.readouterr().out


# --- F87: an append-only plain-text log, readable without the tool ------------------------------------------


def test_F87_the_printed_log_alone_gives_the_live_state(
    url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """From `journal --json`, with nothing of this program: the chain holds and every table comes out as stored."""
    live(url, tmp_path / "calendar.ics")
    _at_the_keyboard(url, tmp_path, monkeypatch)
    head, state = "0" * 64, {}
    for entry in json.loads(printed(capsys, "--json"))["entries"]:
        document = json.loads(entry["payload"])
        assert hashlib.sha256(entry["payload"].encode()).hexdigest() == entry["seal"]
        assert document["parents"] == entry["parents"] == [head]
        head = entry["seal"]
        for table, rows in document["rows"].items():
            for row in rows:
                state.setdefault(table, {}).setdefault(row["id"], {}).update(row)
    stored = dump(url)
    assert head == stored["head"][0]["entry"]
    for table in TABLES:
        rows = {row["id"]: {k: v for k, v in row.items() if (table, k) != ("keeper", "name")} for row in stored[table]}
        text = {id_: {k: _as_text(row.get(k)) for k in rows[id_]} for id_, row in state[table].items()}
        assert text == rows, table


def _as_text(value: Any) -> Any:
    """A document as the columns hold it; a column that an entry does not name is empty."""
    return json.dumps(value, separators=(",", ":"), ensure_ascii=False) if isinstance(value, (dict, list)) else value


def test_F87_every_event_is_one_line_that_says_when_who_and_what(
    lived: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """As many lines as entries, in order; each with its number, its time, its keeper, a sentence and a short seal."""
    entries = sorted(dump(lived)["journal"], key=lambda row: row["n"])
    lines = printed(capsys).splitlines()
    assert len(lines) == len(entries) == 29
    for line, entry in zip(lines, entries, strict=True):
        document = json.loads(entry["payload"])
        when = document["happened_at"][:16].replace("T", " ")
        who = "Morning keeper|Evening keeper" if document["keeper"] else "nobody on record yet"
        told = re.fullmatch(rf"{entry['n']} {when} UTC, ({who}), (.+) \[([0-9a-f]{{16}})\]", line)
        assert told, line
        assert told[2].startswith(f"{document['kind']}: ")
        assert entry["id"].startswith(told[3])


def test_F87_the_log_is_plain_text_in_any_database_tool(lived: str) -> None:
    """Without this program: each entry is one line of JSON that names when, what and the sentence."""
    with closing(sqlite3.connect(sqlite_path(lived))) as lite:
        payloads = [payload for (payload,) in lite.execute("select payload from journal order by n")]
    assert len(payloads) == 29
    for payload in payloads:
        assert len(payload.splitlines()) == 1
        assert json.loads(payload).keys() >= {"happened_at", "entered_at", "keeper", "kind", "says", "rows", "parents"}


def test_F87_the_log_reads_on_in_a_record_that_is_not_whole(lived: str) -> None:
    """A changed entry is printed with a mark, one that cannot be read is said to be so, and the others stand."""
    from quarantine.cli import journal as page
    from quarantine.records.journal import Entry, tell

    entries = sorted(dump(lived)["journal"], key=lambda row: row["n"])[:3]
    texts = [entries[0]["payload"], entries[1]["payload"].replace("keeper", "kipper"), "{"]
    shown = [page._line(tell(Entry(e["id"], e["n"], text)), {}) for e, text in zip(entries, texts, strict=True)]
    assert "CHANGED" not in shown[0]
    assert shown[1].endswith("CHANGED: its seal does not fit")
    assert shown[2].startswith("3 this entry cannot be read [")
    assert shown[2].endswith("CHANGED: its seal does not fit")


def test_F87_an_entry_made_late_says_so_and_the_last_can_be_asked_for(
    lived: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Happened-at and entered-at are two times: both are shown where they differ; `--last 2` shows two, in order."""
    noting.event(desk(lived, 5), "disturbance", "Q1", {"what": "shared net"}, at="2026-02-14 09:00")
    lines = printed(capsys, "--last", "2").splitlines()
    assert [line.split()[0] for line in lines] == ["29", "30"]
    assert "2026-02-14 08:00 UTC" in lines[1]
    assert "(entered 2026-02-15 12:30 UTC)" in lines[1]
    assert "entered" not in lines[0]


def test_F87_an_empty_record_has_an_empty_log(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Before the first entry it says so, as a program reads an empty list; nothing is made on the way."""
    monkeypatch.setenv("QUARANTINE_HOME", str(tmp_path / "home"))
    assert printed(capsys) == "The journal is empty.\n"
    assert json.loads(printed(capsys, "--json")) == {"entries": []}
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("last", ["0", "-2", "99999999999999999999"])
def test_F87_a_number_of_entries_that_cannot_be_is_refused(last: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Not one or more, or more than any database counts: one sentence, usage."""
    assert run(["journal", "--last", last]) == 2
    assert f"--last {last} does not read" in capsys.readouterr().err


# --- F88: nothing is taken away ------------------------------------------------------------------------------


def test_F88_every_action_leaves_every_older_line_as_it_was(
    tmp_path: Path, url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After each action of a history the older journal is the beginning of the newer one, byte for byte, and no row
    of a fact, volume, copy, acknowledgement or sign-off is gone or changed."""
    from quarantine.records import store

    commit = store.Store.act
    seen: list[dict[str, list[dict[str, Any]]]] = []

    def watched(self: store.Store, *words: Any, **named: Any) -> Any:
        seen.append(_kept(url))
        return commit(self, *words, **named)

    monkeypatch.setattr(store.Store, "act", watched)
    live(url, tmp_path / "calendar.ics")
    seen.append(_kept(url))
    assert len(seen) == 30
    for older, newer in pairwise(seen):
        for table, rows in older.items():
            assert [row for row in newer[table] if row in rows] == rows, table
        assert len(newer["journal"]) == len(older["journal"]) + 1


def _kept(url: str) -> dict[str, list[dict[str, Any]]]:
    rows = dump(url)
    return {table: rows[table] for table in APPEND_ONLY}


def test_F88_no_statement_of_the_program_takes_a_row_away() -> None:
    """No text in the program is SQL that deletes, truncates, replaces or drops a table.

    Migrations may make a table again; they count its rows before and after.
    """
    taking = re.compile(r"(?i)\b(delete\s+from|truncate\s+table|replace\s+into|insert\s+or\s+replace|drop\s+table)\b")
    found = [
        f"{path.name}: {node.value[:60]}"
        for path in HOUSE.rglob("*.py")
        if path.name != "migrations.py"
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and taking.search(node.value)
    ]
    assert found == []


def test_F88_both_the_old_value_and_the_new_are_shown(lived: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A tank measured again shows both volumes with who found them and how; the log has both entries."""
    places.measure_tank(desk(lived, 5), "Q1", "50 L", by="a meter", plus_minus="1 L", at=None)
    assert run(["tank", "show", "Q1", "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    assert [(one["litres"], one["method"]) for one in shown["history"]] == [
        (54, "computed from its measures"),
        (52.5, "counted buckets"),
    ]
    assert (shown["volume"]["litres"], shown["volume"]["method"]) == (50, "a meter")
    log = printed(capsys)
    assert "52.5 L, plus or minus 0.5 L, by counted buckets" in log
    assert "50 L, plus or minus 1 L, by a meter" in log


def test_F88_a_dose_told_twice_is_kept_twice(lived: str) -> None:
    """The planned dose and a second one really given are two facts: neither takes the place of the other."""
    before = [row for row in dump(lived)["fact"] if row["kind"] == "dose"]
    noting.dose_event(desk(lived, 5), "Q1", "Z01", "0.1 g", really=True)
    after = [row for row in dump(lived)["fact"] if row["kind"] == "dose"]
    assert len(before) == 1
    assert len(after) == 2
    assert before[0] in after


# --- F89: a changed byte is found and located ---------------------------------------------------------------


OUTSIDE = {("keeper", "name")}
"""A keeper's name is outside the log, so that it can be erased."""


@pytest.mark.parametrize("table", [*TABLES, "journal", "head"])
def test_F89_one_changed_sign_in_any_column_of_any_table_is_found_where_it_is(lived: str, table: str) -> None:
    """With the triggers out of the way one sign is changed, column by column: table and row are named, or the entry."""
    path = sqlite_path(lived)
    whole = path.read_bytes()
    row = dump(lived)[table][-1]
    columns = [name for name, value in row.items() if value is not None and (table, name) not in OUTSIDE]
    assert columns
    for column in columns:
        with closing(sqlite3.connect(path)) as lite, lite:
            lite.execute("pragma ignore_check_constraints = on")
            for name in (f"{table}_no_update", f"{table}_no_replace"):
                lite.execute(f"drop trigger if exists {name}")
            lite.execute(f"update {table} set {column} = ? where id = ?", (_other(row[column]), row["id"]))
        with pytest.raises(Refused, match="not whole") as refused:
            check(lived)
        faults = " ".join(f for f in refused.value.facts["faults"] if "trigger" not in f)
        where = {"journal": rf"Journal entry {row.get('n')}\b|head of the journal", "head": "head of the journal"}
        rest = rf"Table {table}, row {row['id']}: .*\b{column}\b|Table {table}: 1 rows"
        assert re.search(where.get(table, rest), faults), (column, faults)
        path.write_bytes(whole)
    assert check(lived)["faults"] == []


def _other(value: Any) -> Any:
    """The value with its first sign changed."""
    if isinstance(value, int):
        return value + 1000
    return chr(ord(value[0]) ^ 1) + value[1:] if value else "x"


LOCATED = re.compile(r"Journal entry \d+|Table \w+|[Tt]he trigger \w+|head of the journal|file|The record .+record.db")


def test_F89_any_changed_byte_of_the_file_is_found_or_changes_nothing(lived: str) -> None:
    """Random bytes of the record's file: `check` says where, or the file cannot be read, or no value has changed.

    Outside the log, and so not found: a keeper's name, and the number that tells this record from another.
    """
    path = sqlite_path(lived)
    whole, values = path.read_bytes(), _inside(lived)
    chance = random.Random(89)
    found = unplaced = longest = 0
    for _ in range(120):
        at, bits = chance.randrange(len(whole)), chance.randrange(1, 256)
        path.write_bytes(whole[:at] + bytes([whole[at] ^ bits]) + whole[at + 1 :])
        try:
            check(lived)
        except Refused as refused:
            found += 1
            faults = refused.facts.get("faults", [refused.sentence])
            unplaced += not any(map(LOCATED.search, faults))
            longest = max(longest, len(refused.sentence))
        else:
            assert _inside(lived) == values, f"byte {at} was changed by {bits}, and nothing was said"
    assert found > 40
    assert unplaced == 0
    assert longest < 400, "no text of a damaged file is poured out"


def _inside(url: str) -> dict[str, list[dict[str, Any]]]:
    rows = dump(url)
    return {
        table: [{k: v for k, v in row.items() if (table, k) not in OUTSIDE} for row in rows[table]]
        for table in (*TABLES, "journal", "head")
    }


def test_F89_a_trigger_that_was_made_harmless_is_found(url: str, tmp_path: Path) -> None:
    """A trigger of the same name that refuses nothing, or one that is switched off, is not the one that was made."""
    from fishroom import drop_trigger, raw

    live(url, tmp_path / "calendar.ics")
    if url.startswith("sqlite"):
        raw(
            url,
            drop_trigger(url, "fact", "update"),
            "create trigger fact_no_update before update on fact when 0 begin select raise(abort, 'x'); end",
        )
    else:
        raw(url, "alter table fact disable trigger fact_no_update")
    with pytest.raises(Refused, match=r"The record is not whole: The trigger fact_no_update is (missing|not the one)"):
        check(url)


def test_F89_several_faults_stand_a_line_each(lived: str) -> None:
    """One sentence counts them, each has a line of its own, and a program gets them as a list."""
    from fishroom import drop_trigger, raw

    raw(lived, *(drop_trigger(lived, "fact", what) for what in ("update", "delete")))
    with pytest.raises(Refused) as refused:
        check(lived)
    assert refused.value.sentence == "The record is not whole: 2 faults were found."
    assert [line.strip() for line in refused.value.lines] == refused.value.facts["faults"]
    assert len(refused.value.lines) == 2


@pytest.mark.parametrize("seal", ["", "abc", "0123456", "g" * 64, "0" * 65, "the head"])
def test_F89_what_is_no_seal_is_not_looked_for(lived: str, seal: str) -> None:
    """Fewer than eight digits stand in many records by chance: they prove nothing and are refused, as is no seal."""
    from quarantine.failures import Usage

    with pytest.raises(Usage, match="is no seal: write its 64 digits"):
        check(lived, seal)


def test_F89_a_seal_is_named_for_what_it_is(lived: str) -> None:
    """The seal of an entry and the seal that a sign-off printed are both found; another is not, said plainly."""
    entry = sorted(dump(lived)["journal"], key=lambda row: row["n"])[6]["id"]
    assert check(lived, entry[:16])["against"] == "journal entry 7 of 29"
    seal = dump(lived)["signoff"][0]["seal"]
    assert check(lived, seal)["against"] == "the sign-off of batch Q1-1"
    assert "against" not in check(lived)
    with pytest.raises(Refused, match=r"^The seal abcdef01 was not found in this record: .* is whole in itself\.$"):
        check(lived, "abcdef01")
