"""The day's sheet and the sitter's, as text, as a page and as a document."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from quarantine.actions.sheets import about_medicine
from quarantine.dosing import DEFERS
from quarantine.formulary import load_all
from quarantine.signs import SIGNS

Print = Callable[..., str]


def entry_of(text: str, title: str) -> str:
    """The lines of one task: its first, and those that are indented under it."""
    found = re.search(rf"(?m)^  (?:\[ \]|---) \w+ {re.escape(title)}.*\n(?:      .*\n)*", text)
    assert found, text
    return found[0]


def test_a_dose_stands_on_the_sheet_with_the_amount_that_today_shows(room: Print) -> None:
    """The first line of the card of `today` is the amount on paper, with a box, a blank for what was given and one for
    the time, and what has to be true first as boxes."""
    listed = room("today", "--json")
    dose = next(t["dose"] for t in json.loads(listed)["tasks"] if t["kind"] == "dose")
    entry = entry_of(room("sheet"), "Praziquantel bath")
    assert f"ADD {dose['add']} g of Praziquantel" in entry
    assert re.search(r"^  \[ \] \w{5} .*given ____+   time ____+$", entry.splitlines()[0])
    assert "[ ] Carbon is out; UV, ozone and skimmer are off" in entry


def test_every_caution_and_the_limits_line_go_with_a_dose(room: Print) -> None:
    """The cautions on the dose of `today` stand under the amount (F63), each once, and what it all defers to."""
    dose = next(t["dose"] for t in json.loads(room("today", "--json"))["tasks"] if t["kind"] == "dose")
    entry = entry_of(room("sheet"), "Praziquantel bath")
    assert len(dose["cautions"]) > 5
    for caution in dose["cautions"]:
        assert caution.rstrip(".") in entry
    assert DEFERS in entry
    assert entry.count("Never for fish that people may eat") == 1


def test_a_held_dose_says_why_and_has_neither_amount_nor_box(room: Print) -> None:
    """Under a hold nothing invites to give: no number of grams, no box, no blank; but why, what to do, the cautions."""
    room("look", "Q2 4 3", "--sign", "gasping", at="2026-02-13 11:30:00")
    entry = entry_of(room("sheet"), "Praziquantel bath")
    assert entry.startswith("  --- ")
    assert "HELD: an emergency is open" in entry
    assert "What to do: " in entry
    assert "Wear gloves" in entry
    assert DEFERS in entry
    assert "ADD" not in entry
    assert "____" not in entry
    assert "[ ]" not in entry


def test_a_look_leaves_the_count_blank_and_the_signs_to_circle(room: Print) -> None:
    """Writing the count is the proof of looking (rule A3): nothing is filled in; the signs are there by name."""
    entry = entry_of(room("sheet", at="2026-02-14 09:00:00"), "Look at every fish and count")
    assert "seen ______   dead ______   appetite, circle: 0 1 2 3" in entry
    assert all(f" {name}" in entry for name in SIGNS)


def test_with_several_looks_signs_are_listed_once_and_written_at_the_tank(room: Print) -> None:
    """A list that is circled would not tell which tank was meant."""
    room("tank", "add", "Q3", "--site", "Hall", "--role", "quarantine", "--water", "marine", "--shape", "cylinder",
         "--diameter", "40 cm", "--filled", "40 cm")  # fmt: skip
    room(
        "batch", "start", "--tank", "Q3", "--protocol", "marine-watch", "--arrived", "2026-02-13 09:30",
        "--fish", "2 Centropyge bicolor, 6 cm", "--from", "an importer", "--to", "Reef",
    )  # fmt: skip
    text = room("sheet", at="2026-02-14 09:00:00")
    assert text.count("signs: none ____") == 2
    assert "signs, circle" not in text
    assert "Other signs, write them at the tank: flashing" in text
    # Clean to dirty (rule D): the batch that is clear for longer is done first.
    assert text.index("\nQ2, ") < text.index("\nQ3, ")


def test_a_test_has_a_blank_with_its_unit_for_each_reading(room: Print) -> None:
    """What is measured is named with its unit beside the blank."""
    entry = entry_of(room("sheet", at="2026-02-14 09:00:00"), "Test ammonia, nitrite and pH")
    assert "total ammonia nitrogen ____ mg/L   nitrite ____ mg/L   pH ____   temperature ____ °C" in entry


def test_stop_and_call_names_signs_deaths_water_and_keepers(room: Print) -> None:
    """Every sign of severity A, two dead, the limits of the water with their sources, and whom to call."""
    text = room("sheet")
    rules = text.partition("STOP AND CALL")[2].partition("\n\n")[0]
    assert all(sign.name in rules for sign in SIGNS.values() if sign.severity == "A")
    assert "2 fish dead within 24 h, or more than 5 % of them" in rules
    assert "over 0.05 mg/L" in rules
    assert "FA16/FA031" in rules
    assert "nitrite over 0.2 mg/L in fresh water, over 0.125 mg/L in salt water" in rules
    assert "oxygen under 5 mg/L" in rules
    assert "Robin ____" in rules


def test_the_sheet_says_when_it_was_computed_and_that_it_is_not_the_record(room: Print) -> None:
    """The instant in the site's time with the zone, and where the truth is."""
    assert "Computed as of 2026-02-13 13:00, Europe/Berlin: the record is the list, this paper is not." in room("sheet")


def test_missed_work_is_named_and_not_offered_to_tick(room: Print) -> None:
    """What was missed wants a reason, not a tick; the code is there for `skip`."""
    text = room("sheet", at="2026-02-20 09:00:00")
    missed = text.partition("Q2: not to be ticked here")[2]
    assert re.search(r"Missed, say why \(quarantine skip\): Look at every fish and count: \w{4} 2026-02-14", missed)


def test_a_sitters_sheet_holds_no_medicine_and_no_substance(room: Print) -> None:
    """Neither the dose nor any word of it, nor a name of the formulary, as text, page or document (rule C19)."""
    names = {name for s in load_all() for name in (s.name, *s.also) if name != "salt"}
    for words in (("sheet", "--sitter"), ("sheet", "--sitter", "--json")):
        # A book that is cited may have the word in its title.
        text = re.sub(r"(?m)^  Sources: .*$", "", room(*words))
        assert [n for n in names if re.search(rf"\b{re.escape(n)}\b", text, re.I)] == []
        assert not about_medicine(text)
        assert not re.search(r"\b\w+ bath\b|\bADD\b", text)
    assert "Praziquantel" in room("sheet")


def test_a_sitter_does_only_what_anyone_may_do(room: Print) -> None:
    """Tasks for anyone are there; what clears medicine away is not, even where the template lets anyone do it."""
    codes = {t["code"]: t for t in json.loads(room("today", "--json", at="2026-02-14 09:00:00"))["tasks"]}
    text = room("sheet", "--sitter", at="2026-02-14 09:00:00")
    shown = {code for code in codes if code in text}
    assert {codes[c]["title"] for c in shown} == {
        "Feed a little and watch who eats",
        "Look at every fish and count",
        "Read the temperature",
        "Test ammonia, nitrite and pH",
    }
    assert about_medicine("Change half the water, to bring the medicine out")
    assert not about_medicine("Salt water of the same temperature stands ready")


def test_a_sitter_is_told_the_portion_the_hiding_fish_and_what_not_to_do(room: Print) -> None:
    """F58: portions as set out, a low count frightens nobody, the list of what not to do."""
    text = room("sheet", "--sitter", at="2026-02-14 09:00:00")
    assert "Portion that a keeper has set out: ____" in entry_of(text, "Feed a little")
    assert "4 fish live here, and some may hide." in text
    assert "put anything into the water" in text.partition("DO NOT")[2]
    assert "Test before a dose" not in text


def test_a_sitter_has_one_sheet_for_each_tank(room: Print, tmp_path: Path) -> None:
    """Each tank's sheet can be hung at the tank: it begins on paper of its own."""
    room("tank", "add", "Q3", "--site", "Hall", "--role", "quarantine", "--water", "marine", "--shape", "cylinder",
         "--diameter", "40 cm", "--filled", "40 cm")  # fmt: skip
    room(
        "batch", "start", "--tank", "Q3", "--protocol", "marine-watch", "--arrived", "2026-02-13 09:30",
        "--fish", "2 Centropyge bicolor, 6 cm", "--from", "an importer", "--to", "Reef",
    )  # fmt: skip
    room("sheet", "--sitter", "--html", str(tmp_path / "s.html"), at="2026-02-14 09:00:00")
    html = (tmp_path / "s.html").read_text(encoding="utf-8")
    assert html.count('<section class="sheet">') == 2
    assert html.count("STOP AND CALL") == html.count("DO NOT") == 2


def test_another_day_leaves_that_days_checks_to_that_day(room: Print) -> None:
    """A sheet for a coming day shows that day's work, and says that it was computed today."""
    text = room("sheet", "--on", "2026-02-16")
    assert text.startswith("Quarantine, Monday 16 February 2026\n")
    assert "Computed as of 2026-02-13 13:00" in text


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (("sheet", "--on", "tomorrow"), 2, "is not a day"),
        (("sheet", "--tank", "Q9"), 1, "There is no tank 'Q9'; known: Q2, Reef."),
        (("sheet", "--text", "--html", "x.html"), 2, "exclude each other"),
        (("sheet", "--html", "no/such/folder/x.html"), 1, "could not be written"),
        (("card", "tank", "Q9"), 1, "There is no tank 'Q9'"),
        (("card", "emergency", "--tank", "Q9"), 1, "There is no tank 'Q9'"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else None,
)
def test_what_cannot_be_printed_is_said_in_one_sentence(
    room: Print, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, words: tuple[str, ...], code: int, says: str
) -> None:
    """A day, tank, file or pair of options that does not do is named; no traceback, no file."""
    monkeypatch.chdir(tmp_path)
    said = room(*words, code=code)
    assert says in said
    assert said.count("\n") == 1
    assert not (tmp_path / "x.html").exists()


def test_a_file_that_is_no_page_is_not_overwritten(room: Print, tmp_path: Path) -> None:
    """A slip of the name must not cost the record: only an older page gives way to a new one."""
    precious = tmp_path / "precious.txt"
    precious.write_bytes(b"not a page")
    assert "was left alone" in room("sheet", "--html", str(precious), code=1)
    assert precious.read_bytes() == b"not a page"
    page = tmp_path / "page.html"
    room("sheet", "--html", str(page))
    room("sheet", "--on", "2026-02-16", "--html", str(page))
    assert "Monday 16 February 2026" in page.read_text(encoding="utf-8")
    assert [p.name for p in tmp_path.iterdir() if p.suffix == ".part"] == []


def test_an_empty_record_has_an_empty_sheet(say: Print) -> None:
    """Before anything is on record the sheet says that nothing is due."""
    assert "Nothing is due." in say("sheet")
    assert "Nothing is due for a sitter." in say("sheet", "--sitter")
