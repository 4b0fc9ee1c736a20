"""The look back after an outbreak: what a batch had to do with others, by water, fish, nets, source and lots."""

from __future__ import annotations

from pathlib import Path

import pytest
from centre_room import Centre


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Centre:
    """Sea water in Q1, Q2 and Q3; Angels in Q1 and Tangs in Q2 since 2 March, each from a source of its own."""
    made = Centre(tmp_path, capsys, monkeypatch, "marine")
    for name in ("Q2", "Q3"):
        made.tank(name, litres="100 L")
    come(made, "Angels", "2026-03-02 10:00", "Q1", "an importer")
    come(made, "Tangs", "2026-03-02 11:00", "Q2", "a shop")
    return made


def come(room: Centre, name: str, at: str, tank: str, source: str) -> None:
    room.arrive("marine-watch", at, "4 Centropyge bicolor", tank, source, f"--name {name}")


def ways(room: Centre, batch: str) -> dict[str, list[str]]:
    found = room.json(f"batch contacts {batch}")["contacts"]
    return {one["batch"]: [way["way"] for way in one["ways"]] for one in found}


def says(room: Centre, batch: str, other: str) -> list[str]:
    found = room.json(f"batch contacts {batch}")["contacts"]
    return [way["says"] for one in found if one["batch"] == other for way in one["ways"]]


def test_batches_apart_have_nothing_to_do_with_each_other(room: Centre) -> None:
    """Another tank, another source, no lot: nobody is listed, and the list says what it cannot know."""
    assert ways(room, "Angels") == {}
    said = room.type("batch contacts Angels")
    assert "had to do with 0 other batches" in said
    assert "what nobody entered" in said
    assert "There is no batch 'Nobody'" in room.type("batch contacts Nobody", 1)


def test_the_same_source_is_named_with_the_day_of_arrival(room: Centre) -> None:
    """However the name was typed."""
    come(room, "Wrasses", "2026-03-04 10:00", "Q3", "An Importer")
    assert says(room, "Angels", "Wrasses") == ["from An Importer as well, arrived 2026-03-04"]


def test_a_batch_that_moved_is_in_each_water_for_its_own_time_only(room: Centre) -> None:
    """Tangs moved out of Q2 before Wrasses came there, and into the water of Angels."""
    room.at("2026-03-05 10:00").type("batch move Tangs --to Q1 --no-water --yes")
    come(room, "Wrasses", "2026-03-06 10:00", "Q3", "a keeper")
    room.at("2026-03-07 10:00").type("event emergency Q3 --to Q2 --level none")
    assert ways(room, "Tangs") == {"Angels": ["water"]}
    assert says(room, "Tangs", "Angels") == ["one water (Q1), from 2026-03-05 10:00 until now"]
    assert says(room, "Angels", "Tangs") == says(room, "Tangs", "Angels")
    assert ways(room, "Wrasses") == {}


def test_a_dose_goes_to_the_batches_that_were_in_its_water_then(room: Centre) -> None:
    """Tangs had it in Q2 and moved on to Q1; what was given in Q1 before they came was not theirs."""
    room.type('stock add Jar "9 g" --substance praziquantel --form powder --strength "100 %" --lot A12')
    room.type('stock add Tin "9 g" --substance praziquantel --form powder --strength "100 %" --lot B7')
    room.at("2026-03-04 10:00").type("event dose Q1 Z01 --gave '0.2 g' --product Jar --really")
    room.type("event dose Q2 Z01 --gave '0.2 g' --product Tin --really")
    room.at("2026-03-05 10:00").type("batch move Tangs --to Q3 --no-water --yes")
    room.at("2026-03-06 10:00").type("batch move Tangs --to Q1 --no-water --yes --really")
    assert [room.json(f"lot {lot}")["lots"][0]["batches"] for lot in ("A12", "B7")] == [["Angels"], ["Tangs"]]
    assert ways(room, "Angels") == {"Tangs": ["water"]}


def test_a_shared_net_is_a_contact_without_fish(room: Centre) -> None:
    """Both directions name it, and a batch that came later has no part in it."""
    room.at("2026-03-04 10:00").type("event shared Q1 --with Q2 --what net --yes")
    come(room, "Wrasses", "2026-03-06 10:00", "Q3", "a keeper")
    assert says(room, "Angels", "Tangs") == ["net shared with Q2, 2026-03-04 10:00"]
    assert says(room, "Tangs", "Angels") == ["net shared with Q1, 2026-03-04 10:00"]
    assert ways(room, "Wrasses") == {}


def test_a_batch_that_was_parted_is_told_until_when_they_were_one(room: Centre) -> None:
    """A batch that was parted keeps what it shared before, and what one shares later the other does not."""
    room.at("2026-03-04 10:00").type("look 'Q1 4 3' --no-signs")
    room.type("batch split Angels --fish 1 --name Single --to Q3 --no-water --yes")
    assert set(ways(room, "Single")["Angels"]) == {"water", "fish", "source"}
    assert "one batch until 2026-03-04 10:00" in says(room, "Single", "Angels")
    come(room, "Wrasses", "2026-03-06 10:00", "Q3", "a keeper")
    assert ways(room, "Wrasses") == {"Single": ["water"]}


def test_a_batch_that_joined_another_is_told_since_when(room: Centre) -> None:
    """The one that ended is named by the one that goes on, and the other way about."""
    come(room, "Wrasses", "2026-03-04 10:00", "Q1", "a keeper")
    room.type("look 'Q1 8' --no-signs")
    room.at("2026-03-05 10:00").type("batch merge Wrasses --into Angels --yes")
    assert "one batch since 2026-03-05 10:00" in says(room, "Angels", "Wrasses")
    assert says(room, "Wrasses", "Angels")[0] == "one water (Q1), from 2026-03-04 10:00 until 2026-03-05 10:00"


def test_batches_that_went_on_to_one_display_meet_there(room: Centre) -> None:
    """Each since its own release; fish that were moved there alone count as well."""
    for name, at in (("Angels", "2026-03-10 10:00"), ("Tangs", "2026-03-12 10:00")):
        room.at(at).type(f"signoff {name} --release --deviation 'the test is about what follows'")
    assert says(room, "Angels", "Tangs") == ["one water after a release (Show), from 2026-03-12 10:00 until now"]
    come(room, "Wrasses", "2026-03-13 10:00", "Q3", "a keeper")
    room.at("2026-03-14 10:00").type("event moved Q3 1 --to Show")
    assert says(room, "Wrasses", "Angels") == [
        "one water after a release (Show, some of the fish only), from 2026-03-14 10:00 until now"
    ]
