"""The emergency cards and the tank card."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import pytest

from quarantine.dosing import DEFERS
from quarantine.reports.emergency import cards, tan_at

Print = Callable[..., str]
TITLES = ("POWER CUT", "LEAK", "TOO MUCH WAS GIVEN", "A FISH JUMPED OUT", "AMMONIA OR NITRITE")


def test_the_general_card_works_without_any_record(say: Print, tmp_path: Path) -> None:
    """Without a batch, a tank or a file of data all five emergencies are there (F71)."""
    text = say("card", "emergency")
    assert all(title in text for title in TITLES)
    assert "quarantine card emergency --tank NAME" in text
    assert not (tmp_path / "home").exists()


def test_the_general_card_is_shown_though_the_record_cannot_be_read(say: Print, tmp_path: Path) -> None:
    """A damaged record is no reason to show nothing; with a tank named its litres are wanted, and that is refused."""
    (tmp_path / "home").mkdir()
    (tmp_path / "home" / "record.db").write_bytes(b"not a database at all" * 100)
    assert all(title in say("card", "emergency") for title in TITLES)
    assert "cannot be read" in say("card", "emergency", "--tank", "Q1", code=1)


def test_a_tanks_card_has_that_tanks_litres(room: Print) -> None:
    """49.3 L, 0.5 L either way: half is 24.65, up to 24.7; half of the most there can be, 49.8, is 24.9 and so halves
    the level whatever the true volume (mass balance, algebra; a billionth more rounds it up to 25)."""
    text = room("card", "emergency", "--tank", "Q2")
    assert "Water really there: 49.3 L, plus or minus 0.5 L (buckets, 2026-02-10)." in text
    assert "Half of it: 24.7 L." in text
    assert "at least 25 L (mass balance" in text
    assert "Change at least 25 L with matched, conditioned water" in text
    assert "change half of the water, 24.7 L, with" in text
    assert "no substance" in text


def test_an_overdose_is_answered_with_the_litres_to_the_ceiling(room: Print) -> None:
    """1.2 g in 48.8 L is at most 24.6 mg/L; under 10 mg/L by (1 - 10 / 24.59) x 49.8 L = 29.55, up to 29.6 L, as the
    rescue of the dose itself said; the cautions and the limits line go with the name."""
    said = room("event", "dose", "Q2", "Z01", "--gave", "1.2 g", "--really")
    assert "change at least 29.6 L" in said
    text = room("card", "emergency", "--tank", "Q2")
    assert "Praziquantel, at most 24.6 mg/L; ceiling 10 mg/L (Forwood et al." in text
    assert "To get from there to the ceiling: at least 29.6 L of water, in one change." in text
    assert "Wear gloves" in text
    assert DEFERS in text


def test_what_is_under_its_ceiling_needs_no_change(room: Print) -> None:
    """The dose of the protocol, 0.09 g, is far below 10 mg/L."""
    room("event", "dose", "Q2", "Z01", "--gave", "0.09 g", "--really")
    assert "ceiling: none needed to be at or under the ceiling." in room("card", "emergency", "--tank", "Q2")


def test_something_of_unknown_size_asks_for_all_of_the_water(room: Print) -> None:
    """An addition of unknown size makes every level unknown (rule C12), and nothing else does."""
    room("event", "dose", "Q2", "Z01", "--gave", "0.09 g", "--really")
    assert "unknown size" not in room("card", "emergency", "--tank", "Q2")
    room("event", "unknown", "Q2", "--what", "old tank water", at="2026-02-13 12:10:00")
    for words in (("card", "emergency", "--tank", "Q2"), ("card", "tank", "Q2")):
        text = room(*words, at="2026-02-13 12:20:00")
        assert "Praziquantel, not known; ceiling" in text
        assert "omething of unknown size" in text
    assert "all of the water, because the level is not known" in room(
        "card", "emergency", "--tank", "Q2", at="2026-02-13 12:20:00"
    )


def test_every_step_says_what_it_rests_on(room: Print) -> None:
    """Each step ends in a letter of the list of sources, and each letter is there."""
    text = room("card", "emergency", "--tank", "Q2")
    steps = re.findall(r"(?m)^  \d\. .*$", text)
    assert len(steps) == sum(len(card.steps) for card in cards(None)) > 30
    legend = dict(re.findall(r"(?m)^  \[(\w)\] (.+)\.$", text))
    used = set()
    for step in steps:
        marks = re.search(r"\[([a-z](?:, [a-z])*)\]$", step)
        assert marks, step
        used |= set(marks[1].split(", "))
    assert used == set(legend)
    assert legend["a"] == "common practice, no source"


@pytest.mark.parametrize(
    ("ph", "printed"),
    [("7", "8.87"), ("7.5", "2.84"), ("8", "0.93"), ("8.5", "0.33")],
)
def test_total_ammonia_that_reaches_the_limit(ph: str, printed: str) -> None:
    """Total ammonia for 0.05 mg/L un-ionized at 25 °C, computed for our notes from Emerson and others, J. Fish. Res.
    Board Can. 32:2379-2383, 1975 (arithmetic on its formula, not printed there); shown rounded down."""
    shown = tan_at(Decimal("0.05"), ph)
    assert shown <= Decimal(printed)
    assert shown == pytest.approx(Decimal(printed), abs=Decimal("0.011"))


def test_the_tank_card_says_name_water_label_kit_batch_and_day(room: Print) -> None:
    """What hangs at the tank: its name first, litres with their day, the label as a warning, whose water it is."""
    text = room("card", "tank", "Q2")
    assert text.startswith("Q2\n")
    assert "Water: 49.3 L, plus or minus 0.5 L (buckets, 2026-02-10)." in text
    assert "The label says 60 L: never dose by the label. A dose by it would be 22 % too much." in text
    assert "In the water by the record: no substance." in text
    assert "OWN KIT: net, siphon, bucket and thermometer of Q2 only" in text
    assert "4 Centropyge bicolor, 6 cm" in text
    assert "Arrived 2026-02-10; day 3; observation day 3 of 30, complete on 2026-03-12" in text
    assert "Day Friday 13 February 2026; as of 2026-02-13 13:00, Europe/Berlin." in text
    assert "No batch is in quarantine here." in room("card", "tank", "Reef")


def test_the_tank_card_names_what_is_in_the_water_with_its_cautions(room: Print) -> None:
    """A substance on paper carries its cautions and what it defers to."""
    room("event", "dose", "Q2", "Z01", "--gave", "0.09 g", "--really")
    text = room("card", "tank", "Q2")
    assert "IN THE WATER: Praziquantel, at most 1.85 mg/L" in text
    assert "Wear gloves" in text.partition("Cautions")[2]
    assert DEFERS in text


def test_papers_are_documents_too(room: Print) -> None:
    """Every paper is one JSON document: litres as numbers, days as days, instants with their zone named."""
    sheet = json.loads(room("sheet", "--json"))
    assert (sheet["on"], sheet["sitter"], sheet["keepers"]) == ("2026-02-13", False, ["Robin"])
    assert {"code", "title", "headline", "held", "reads"} <= set(sheet["parts"][0]["tasks"][0])
    water = json.loads(room("card", "emergency", "--tank", "Q2", "--json"))["water"]
    assert (water["litres"], water["half_litres"], water["halving_litres"]) == (49.3, 24.7, 25)
    assert json.loads(room("card", "emergency", "--json"))["water"] is None
    card = json.loads(room("card", "tank", "Q2", "--json"))
    assert (card["tank"], card["on"], card["lodgers"][0]["alive"]) == ("Q2", "2026-02-13", 4)


def test_names_from_the_record_are_text_on_every_page(room: Print, tmp_path: Path) -> None:
    """Tank, fish and destination with the marks of markup stand on the page as they were typed, and make no tag."""
    at = "2026-02-13 12:05:00"
    room("tank", "add", "<b>Q4</b>", "--site", "Hall", "--role", "quarantine", "--water", "fresh", "--shape",
         "cylinder", "--diameter", "40 cm", "--filled", "40 cm", at=at)  # fmt: skip
    room(
        "batch", "start", "--tank", "<b>Q4</b>", "--protocol", "fresh-watch", "--arrived", "2026-02-13 09:30",
        "--fish", "2 <script>alert(1)</script>, 6 cm", "--from", "a & b", "--to", "Reef", at=at,
    )  # fmt: skip
    page = tmp_path / "page.html"
    for words in (("card", "tank", "<b>Q4</b>"), ("card", "emergency", "--tank", "<b>Q4</b>"), ("sheet", "--sitter")):
        room(*words, "--html", str(page), at=at)
        html = page.read_text(encoding="utf-8")
        assert "&lt;b&gt;Q4&lt;/b&gt;" in html
        assert "<b>" not in html
        assert "<script" not in html
    room("card", "tank", "<b>Q4</b>", "--html", str(page), at=at)
    assert "2 &lt;script&gt;alert(1)&lt;/script&gt;, 6 cm" in page.read_text(encoding="utf-8")
