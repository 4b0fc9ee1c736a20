"""The record as CSV files: what stands, read back cell by cell, whatever keepers wrote."""

from __future__ import annotations

import ast
import csv
import inspect
import io
import json
import subprocess
import sys
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quarantine.actions import tabling
from quarantine.actions.tabling import save_folder
from quarantine.cli import tables as cli_tables
from quarantine.failures import Refused
from quarantine.formulary import LEDGER_UNITS
from quarantine.readings import PARAMETERS
from quarantine.records.reads import open_reader
from quarantine.reports import tables
from quarantine.reports.tables import NUMBER, as_typed, cell, csv_lines

Print = Callable[..., str]
Rows = list[dict[str, str]]
NAMES = [
    *("batches", "looks", "readings", "doses", "draws", "lots", "changes", "deaths", "tasks", "signoffs", "absences"),
    *("closures", "journal"),
]
DAY_4 = "2026-02-14 12:00:00"


def table(folder: Path, name: str) -> Rows:
    """The rows of one file as the csv module reads them."""
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


def facts(tmp_path: Path, kind: str) -> list[tuple[str, dict[str, str]]]:
    """The ids and the data of the facts of a kind that were not taken back, straight from the database."""
    sql = """select id, data from fact where kind = :kind and id not in
        (select voids from fact where voids is not null) order by happened_at, entered_at, id"""
    with open_reader(f"sqlite:///{tmp_path / 'home' / 'record.db'}") as reader:
        return [(row["id"], json.loads(row["data"])) for row in reader.select(sql, kind=kind)]


def test_the_files_hold_what_is_on_record(room: Print, tmp_path: Path) -> None:
    """Every standing reading, look, dose and entry of the journal is a row, its amounts as they were recorded."""
    code = next(t["code"] for t in json.loads(room("today", "--json"))["tasks"] if t["kind"] == "dose")
    room("done", code, "--as-shown")
    room("event", "change", "Q2", "--out", "12.40L", at=DAY_4)
    room("event", "died", "Q2", "1", "--cause", "jumped", at=DAY_4)
    out = tmp_path / "deep" / "tables"
    said = json.loads(room("export", str(out), "--json", at=DAY_4))
    assert said["files"] == [{"file": str(out / f"{n}.csv"), "rows": len(table(out, n))} for n in NAMES]
    assert sorted(path.name for path in out.parent.rglob("*")) == sorted(["tables", *(f"{n}.csv" for n in NAMES)])
    for name, kind in (("looks", "look"), ("readings", "reading"), ("doses", "dose"), ("deaths", "died")):
        assert [row["id"] for row in table(out, name)] == [key for key, _ in facts(tmp_path, kind)], name
    for row, (_, data) in zip(table(out, "readings"), facts(tmp_path, "reading"), strict=True):
        assert {key: row[key] for key in ("parameter", "value", "unit", "step")} == {
            key: data[key] for key in ("parameter", "value", "unit", "step")
        }
        one = {"°C": "celsius", "": "ph", "mg/L": "mg_per_l", "g/L": "g_per_l"}[data["unit"]]
        assert {u: row[u] for u in ("celsius", "ph", "mg_per_l", "g_per_l") if row[u]} == {one: data["value"]}
    (dose,) = table(out, "doses")
    (_, data) = facts(tmp_path, "dose")[0]
    amounts = ("target_mg_per_l", "prepared", "given", "given_unit", "mass_mg", "volume_litres", "gives_low_mg_per_l")
    assert {key: dose[key] for key in amounts} == {key: data[key] for key in amounts}
    assert (dose["reference"], dose["keeper"]) == (data["reference"], "Robin")
    (change,) = table(out, "changes")
    assert (change["kind"], change["out_litres"], change["in_litres"]) == ("change", "12.4", "12.4")
    (death,) = table(out, "deaths")
    assert (death["outcome"], death["count"], death["cause"]) == ("died", "1", "jumped")
    assert (death["happened_at"], death["zone"]) == ("2026-02-14T13:00:00+01:00", "Europe/Berlin")
    (batch,) = table(out, "batches")
    assert (batch["fish"], batch["arrived_alive_count"], batch["alive_count"]) == (
        "4 Centropyge bicolor, 6 cm",
        "4",
        "3",
    )
    entries = json.loads(room("journal", "--json"))["entries"]
    told = [(row["entry"], row["says"], row["seal"], row["seal_fits"]) for row in table(out, "journal")]
    assert told == [(str(e["entry"]), as_typed(e["says"]), e["seal"], "yes") for e in entries]
    done = [row for row in table(out, "tasks") if row["code"] == code]
    assert [(row["state"], row["outcome_fact"]) for row in done] == [("done", dose["id"])]


def test_the_columns_name_their_unit() -> None:
    """A litre, a mg/L, a °C stands in the name of its column, and every parameter has the column of its unit."""
    assert {p.unit for p in PARAMETERS.values()} == set(tabling.UNIT_COLUMNS)
    assert {"out_litres", "in_litres"} <= set(tabling.CHANGES)
    assert {"celsius", "mg_per_l", "g_per_l", "ph"} <= set(tabling.READINGS)
    assert {"volume_litres", "gives_low_mg_per_l", "gives_high_mg_per_l", "mass_mg"} <= set(tabling.DOSES)
    assert set(tabling.LEDGER_UNITS) == set(LEDGER_UNITS)
    assert {"volume_ul", "gives_high_ul_per_l", "ceiling_mg_copper_per_l"} <= set(tabling.DOSES)


def test_F84_the_draws_of_a_dose_name_lot_amount_task_and_batch(room: Print, tmp_path: Path) -> None:
    """A dose of 0.09 g out of two lots is two rows that name it; what was taken back is in neither table, a lot keeps
    what is left; of another batch's tables nothing of it."""
    jar = ["--substance", "praziquantel", "--form", "powder", "--strength", "98 %", "--step", "0.01 g"]
    room("stock", "add", "Jar", "0.04 g", *jar, "--lot", "A12", "--expires", "2026-03")
    room("stock", "add", "Jar", "2 g", "--lot", "B7", "--expires", "2027-03", "--opened", "2026-02-13")
    room("stock", "add", "Bag", "9 g", "--substance", "salt", "--form", "powder", "--strength", "100 %")
    code = next(t["code"] for t in json.loads(room("today", "--json"))["tasks"] if t["kind"] == "dose")
    room("done", code, "--gave", "0.09 g", "--really")
    room("event", "dose", "Q2", "Z01", "--gave", "0.1 g", "--really", at="2026-02-13 13:00:00")
    room("undo", "not given", "--yes", at="2026-02-13 13:01:00")
    out, one, late = tmp_path / "tables", tmp_path / "one", tmp_path / "late"
    room("export", str(out), at=DAY_4)
    (dose,) = table(out, "doses")
    assert [
        (row["dose"], row["task"], row["batch"], row["lot"], row["amount_g"], row["amount_ml"], row["keeper"])
        for row in table(out, "draws")
    ] == [(dose["id"], code, "Q2-1", "A12", "0.04", "", "Robin"), (dose["id"], code, "Q2-1", "B7", "0.05", "", "Robin")]
    assert [
        (row["product"], row["lot"], row["left_g"], row["good_until"], row["state"]) for row in table(out, "lots")
    ] == [
        ("Bag", "no number", "9", "", "in use"),
        ("Jar", "A12", "0", "2026-03-31", "in use"),
        ("Jar", "B7", "1.95", "2027-03-31", "in use"),
    ]
    room("export", str(one), "--batch", "Q2-1", at=DAY_4)
    assert [row["lot"] for row in table(one, "lots")] == ["A12", "B7"]
    room("export", str(late), "--since", "2026-02-14", at=DAY_4)
    assert (table(late, "draws"), len(table(late, "lots"))) == ([], 3)


def test_what_was_taken_back_stands_in_the_journal_alone(room: Print, tmp_path: Path) -> None:
    """A voided look is in no table of facts; a corrected one is there once, with the reason; the journal has both."""
    room("look", "Q2 2", "--note", "the wrong tank", at=DAY_4)
    room("undo", "counted", "elsewhere", at=DAY_4)
    room("look", "Q2 3", at="2026-02-14 12:10:00")
    seal = json.loads(room("journal", "--last", "1", "--json"))["entries"][0]["seal"]
    room("correct", seal[:8], "seen=4", "--because", "one behind the rock", at="2026-02-14 12:20:00")
    out = tmp_path / "tables"
    room("export", str(out), "--since", "2026-02-14", at="2026-02-14 13:00:00")
    (look,) = table(out, "looks")
    assert (look["seen_count"], look["corrected"]) == ("4", "one behind the rock")
    assert [row["kind"] for row in table(out, "journal")] == ["look", "taken back", "look", "corrected"]


def test_the_batch_and_the_day_narrow_the_tables(room: Print, tmp_path: Path) -> None:
    """Of a batch its own facts and its water's; a second room's readings are not among them; a day is a local day."""
    box = ["--shape", "box", "--length", "60 cm", "--width", "30 cm", "--filled", "30 cm"]
    room("tank", "add", "Q9", "--site", "Hall", "--role", "quarantine", "--water", "fresh", *box)
    room("reading", "Q9", "temp=24C", at="2026-02-13 12:30:00")
    whole, one, late = tmp_path / "whole", tmp_path / "one", tmp_path / "late"
    room("export", str(whole), at=DAY_4)
    room("export", str(one), "--batch", "q2-1", at=DAY_4)
    room("export", str(late), "--since", "2026-02-13", at=DAY_4)
    assert {row["tank"] for row in table(whole, "readings")} == {"Q2", "Q9"}
    assert table(one, "readings") == [row for row in table(whole, "readings") if row["tank"] == "Q2"]
    assert len(table(one, "readings")) == 24
    says = {row["says"] for row in table(one, "journal")}
    others = {row["says"] for row in table(whole, "journal")} - says
    assert [line for line in says if "Q9" in line] == []
    assert len([line for line in others if "Q9" in line]) == 2
    assert "batch Q2-1: 4 fish in Q2" in says
    assert [row["happened_at"] for row in table(late, "looks")] == ["2026-02-13T12:00:00+01:00"]
    zone = ZoneInfo("Europe/Berlin")
    days = {datetime.fromisoformat(row["happened_at"]).astimezone(zone).date() for row in table(late, "readings")}
    assert {day.isoformat() for day in days} == {"2026-02-13"}
    assert min(row["day"] for row in table(late, "tasks") if row["day"]) == "2026-02-13"
    assert len(table(late, "batches")) == 1


def test_an_empty_record_gives_headers_alone(say: Print, tmp_path: Path) -> None:
    """Without a record there are eleven files with a header each, and still no record."""
    out = tmp_path / "tables"
    said = json.loads(say("export", str(out), "--json"))
    assert [file["rows"] for file in said["files"]] == [0] * len(NAMES)
    raw = (out / "changes.csv").read_bytes()
    assert raw == (",".join(tabling.CHANGES) + "\r\n").encode()
    assert not (tmp_path / "home").exists()


def test_an_export_writes_nothing_on_record(room: Print, tmp_path: Path) -> None:
    """The journal is as long after an export as before it, and --dry-run is not offered."""
    before = room("journal", "--json")
    room("export", str(tmp_path / "tables"))
    assert room("journal", "--json") == before
    room("export", str(tmp_path / "more"), "--dry-run", code=2)
    assert not (tmp_path / "more").exists()


@pytest.mark.parametrize("made", ["file", "folder", "link"])
def test_what_is_there_is_left_alone(say: Print, tmp_path: Path, made: str) -> None:
    """A file, a folder (our own as well) and a dangling link of that name are refused in a sentence, untouched."""
    out = tmp_path / "tables"
    if made == "file":
        out.write_text("mine")
    elif made == "link":
        out.symlink_to(tmp_path / "nowhere")
    else:
        say("export", str(out))
    before = sorted(tmp_path.rglob("*"))
    said = say("export", str(out), code=1)
    assert "is there already and was left alone; name a new folder for these files." in said
    assert sorted(tmp_path.rglob("*")) == before


def test_refusals_leave_nothing_behind(room: Print, tmp_path: Path) -> None:
    """An unknown batch, a day that is none, a folder that cannot be made: one sentence each, and no file."""
    out = tmp_path / "tables"
    (tmp_path / "file").write_text("mine")
    before = sorted(tmp_path.rglob("*"))
    assert "There is no batch 'Q7-1'; known: Q2-1." in room("export", str(out), "--batch", "Q7-1", code=1)
    assert "--since '13.2.' is not a day" in room("export", str(out), "--since", "13.2.", code=2)
    assert "could not be written" in room("export", str(tmp_path / "file" / "tables"), code=1)
    assert sorted(tmp_path.rglob("*")) == before


def test_all_files_or_none(tmp_path: Path) -> None:
    """When the second file fails half-way, the first is not there either."""

    def fails() -> list[str]:
        raise Refused("no more")

    with pytest.raises(Refused, match="no more"):
        save_folder(tmp_path / "tables", ((name, ["a\r\n"] if name == "a.csv" else fails()) for name in ("a.csv", "b")))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("text", ["=1+1", "+cmd", "-rm", "@SUM(A1)", "\t=1", " =1", "＝1", "- not well", "-1e5", "'=1"])
def test_no_cell_runs_as_a_formula(text: str) -> None:
    """What a spreadsheet would run has an apostrophe before it, which can be taken off again."""
    assert cell(text) == f"'{text}"
    assert as_typed(cell(text)) == text


@pytest.mark.parametrize("text", ["-5", "+0.5", "-0.25", "7.8", "it's", "'tis", "3 - 4", "a=b", ""])
def test_numbers_and_plain_text_stay_as_they_are(text: str) -> None:
    """A number below zero stays a number, and an apostrophe elsewhere means nothing."""
    assert cell(text) == text
    assert as_typed(text) == text


NASTY = st.text(st.sampled_from("=+-@'\",;\r\n\t 09.é🐠＝\u2028") | st.characters(exclude_categories=["Cs"]))


@given(st.lists(st.tuples(NASTY, NASTY), max_size=5))
def test_any_text_is_read_back(texts: list[tuple[str, str]]) -> None:
    """Quotes, commas, line ends, formulas: the csv module reads the record back, and no cell begins a formula."""
    written = "".join(csv_lines(("one", "two"), [{"one": a, "two": b} for a, b in texts]))
    head, *read = csv.reader(io.StringIO(written, newline=""), strict=True)
    assert head == ["one", "two"]
    assert [tuple(as_typed(one) for one in row) for row in read] == texts
    cells = [one for row in read for one in row]
    assert [one for one in cells if one.lstrip()[:1] in tuple("=+-@") and not NUMBER.fullmatch(one)] == []
    assert written.endswith("\r\n")


def test_a_nasty_note_comes_back_from_a_file(room: Print, tmp_path: Path) -> None:
    """A keeper's note that is a formula with quotes and commas stands guarded in the file, whole in the record."""
    note = '=HYPERLINK("http://x","a, b")'
    room("look", "Q2 4", "--note", note, at=DAY_4)
    room("export", str(tmp_path / "tables"), at=DAY_4)
    assert [row["note"] for row in table(tmp_path / "tables", "looks") if row["note"]] == [f"'{note}"]


def test_an_export_opens_no_connection(say: Print, tmp_path: Path) -> None:
    """A fresh interpreter that exports opens no socket, and the modules of the export import none."""
    say("keeper", "add", "Robin")
    ask = (
        "import sys; opened = []\n"
        "sys.addaudithook(lambda event, _: opened.append(event) if event.startswith('socket.') else None)\n"
        "from quarantine.cli.app import run; code = run(sys.argv[1:])\n"
        "print([code, opened])\n"
    )
    args = ["--home", str(tmp_path / "home"), "export", str(tmp_path / "tables"), "--json"]
    done = subprocess.run([sys.executable, "-c", ask, *args], capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout.splitlines()[-1] == "[0, []]"
    assert (tmp_path / "tables" / "journal.csv").exists()
    for module in (tabling, cli_tables, tables):
        tree = ast.parse(inspect.getsource(module))
        names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
        names |= {str(node.module) for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
        assert {name.split(".")[0] for name in names} & {
            "socket",
            "ssl",
            "http",
            "urllib",
            "asyncio",
            "ftplib",
        } == set()
