"""A volume that is measured anew says what it makes of the doses before it (needs story 3)."""

from __future__ import annotations

from pathlib import Path

import pytest
from centre_room import Centre


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Centre:
    """0.1 g of praziquantel given for 50 L of sea water, by buckets."""
    made = Centre(tmp_path, capsys, monkeypatch, "marine", litres="50 L")
    made.arrive("marine-watch", "2026-03-02 10:00")
    made.at("2026-03-04 10:00").type("event dose Q1 Z01 --gave '0.1 g' --really")
    return made.at("2026-03-05 10:00")


@pytest.mark.parametrize(
    ("litres", "says"),
    [
        # 50 / 40 = 1.25 and 50 / 62.5 = 0.8, by hand; up to 10 % off nothing is said: our choice, no source
        ("40 L", "was measured for 50 L. If 40 L are right, it was 25 % too strong."),
        ("62.5 L", "was measured for 50 L. If 62.5 L are right, it was 20 % too weak."),
        ("46 L", None),
        ("54 L", None),
    ],
)
def test_a_dose_for_other_litres_is_named_when_the_water_is_measured(
    room: Centre, litres: str, says: str | None
) -> None:
    """In the answer to the measurement and in the level, with the date and the amount that was given."""
    told = room.type(f"tank measure Q1 '{litres}' --by meter --plus-minus '0.5 L' --really")
    level = room.type("level Q1 praziquantel")
    for text in (told, level):
        assert (f"The dose of 2026-03-04 10:00 (0.1 g) {says}" in text) if says else ("too strong" not in text)
        assert says or "too weak" not in text


def test_a_dose_after_the_measurement_and_water_that_was_let_out_are_no_reason(room: Centre) -> None:
    """The first is for the litres that were measured, and of the second it is known why there are fewer."""
    room.type("tank level Q1 '6 cm below'")
    assert "too strong" not in room.type("level Q1 praziquantel")
    room.type("tank level Q1 'at the mark'")
    room.type("tank measure Q1 '50.5 L' --by meter --plus-minus '0.5 L' --really")
    assert "too strong" not in room.type("level Q1 praziquantel")
