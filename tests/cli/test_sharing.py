"""What goes from one water to another without a batch: a net, hands, a splash (rule B1); and sentinel fish."""

from __future__ import annotations

from pathlib import Path

import pytest
from moving_room import day, hall
from once_room import OnceRoom

from quarantine.templates import shipped


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """Day 3 of four fish in Q2, and two of day 2 in Q3, watched without medicine."""
    made = hall(OnceRoom(tmp_path / "home", capsys), "marine-watch")
    return other(made)


def other(room: OnceRoom) -> OnceRoom:
    room.type(
        'batch start --tank Q3 --protocol marine-watch --arrived "2026-02-12 18:00" --yes '
        '--fish "2 Centropyge bicolor, 6 cm" --from "a breeder" --to Reef'
    )
    return room


def test_a_shared_net_stands_in_both_waters_and_at_sign_off(room: OnceRoom) -> None:
    """By these protocols no date moves; the sign-off of each batch lists the day on which it was exposed."""
    said = room.type("event shared Q2 --with Q3 --what net")
    assert "shared net recorded in both" in said
    assert "no date moves" in said
    for name, tank in (("Q2-1", "Q3"), ("Q3-1", "Q2")):
        assert f"shared net with {tank}." in room.type(f"signoff {name}")
        assert any("Exposed on 2026-02-13" in line for line in room.json(f"signoff {name}")["exposed"])
    assert "whole" in room.type("check")


def test_a_template_may_begin_again_by_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where the template says restart the old and new days are shown before it is recorded."""
    text = shipped()["marine-watch"].read_text(encoding="utf-8").replace("[events]", '[events]\nshared_net = "restart"')
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    room = other(hall(OnceRoom(tmp_path / "home", capsys), str(tmp_path / "mine.toml")))
    refused = room.type("event shared Q3 --with Q2 --what hands", 1)
    assert "Q2-1: earliest sign-off 2026-03-12 -> 2026-03-15" in refused
    assert "Q3-1" not in refused
    room.type("event shared Q3 --with Q2 --what hands --yes")
    assert room.json("batch show Q2-1")["earliest"] == "2026-03-15"


def test_what_was_shared_has_to_read(room: OnceRoom) -> None:
    """Other words, one water and a tank that is not on record are refused."""
    assert "net, hands, splash" in room.type("event shared Q2 --with Q3 --what bucket", 2)
    assert "share their water" in room.type("event shared Q2 --with Q2", 1)
    assert "no tank" in room.type("event shared Q2 --with Q9", 1)


def test_sentinel_fish_start_no_clock_and_are_named_at_sign_off(room: OnceRoom) -> None:
    """They are counted with the batch and shown apart: their signs and deaths are the batch's."""
    before = room.json("batch show Q2-1")["earliest"]
    room.type("event added Q2 2 --sentinel")
    assert room.json("batch show Q2-1")["earliest"] == before
    assert room.json("batch show Q2-1")["alive"] == 6
    assert "2 sentinel fish since 2026-02-13" in room.type("signoff Q2-1")
    room.type("event died Q2 1")
    assert room.json("batch show Q2-1")["alive"] == 5
    day(room, 14, "Q2", 5)
    assert "whole" in room.type("check")


def test_every_batch_in_a_water_is_named_when_fish_come_in(room: OnceRoom) -> None:
    """F72: once for each entry, with the sources of all that share the risk."""
    room.type("batch move Q2-1 --to Q3 --yes")
    said = room.type('event added Q3 1 --batch Q3-1 --from "a shop" --yes')
    assert "A second source is in the water of Q3 from now on: fish from a shop in batch Q3-1 from a breeder" in said
    assert "beside batch Q2-1 from an importer" in said
