"""An amendment beside another batch in the same water: rule B2 refuses another course, and nothing else."""

from __future__ import annotations

from pathlib import Path

import pytest
from moving_room import day, hall
from once_room import OnceRoom

from quarantine.templates import shipped


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """Four fish in Q2 since day 0, two more of the same protocol since day 1; it is day 3 of the first."""
    made = hall(OnceRoom(tmp_path / "home", capsys))
    made.type(
        'batch start --tank Q2 --protocol marine-praziquantel --arrived "2026-02-11 10:00" --acknowledge --yes '
        '--fish "2 Centropyge bicolor, 6 cm" --from "a breeder" --to Reef'
    )
    return made


def newer(folder: Path, *changes: tuple[str, str]) -> Path:
    """The protocol of both, one revision on, with some of its text changed."""
    text = shipped()["marine-praziquantel"].read_text(encoding="utf-8")
    number = int(text.split("revision = ", 1)[1].split("\n", 1)[0])
    for old, new in ((f"revision = {number}", f"revision = {number + 1}"), *changes):
        assert old in text
        text = text.replace(old, new, 1)
    path = folder / "newer.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_newer_text_that_gives_the_same_medicine_the_same_way_is_no_second_course(
    room: OnceRoom, tmp_path: Path
) -> None:
    """One batch is amended, then the other; all the while the dose stands on the list once, for both (rule B2)."""
    path = newer(tmp_path, ("Change a quarter of the water", "Change a quarter of all the water"))
    for number in (14, 15):
        day(room, number, "Q2", 6)
    room.at("2026-02-15 17:00:00")
    for name in ("Q2-1", "Q2-2"):
        said = room.type(f"batch amend {name} --protocol {path} --because 'newer words' --acknowledge --yes")
        assert "revision" in said
        (dose,) = [t for t in room.json("today")["tasks"] if t["kind"] == "dose"]
        assert dose["batches"] == ["Q2-1", "Q2-2"]
    assert "whole" in room.type("check")


@pytest.mark.parametrize(
    "protocol",
    ["marine-watch", "newer"],
    ids=["without the medicine", "sized otherwise"],
)
def test_an_amendment_to_another_course_than_the_neighbours_is_refused(
    room: OnceRoom, tmp_path: Path, protocol: str
) -> None:
    """The fish beside them would get another course than their protocol has: refused, and nothing is changed."""
    path = newer(tmp_path, ('mode = "as published"', 'mode = "replace removed"'))
    named = path if protocol == "newer" else protocol
    said = room.type(f"batch amend Q2-1 --protocol {named} --because 'as we like' --acknowledge --yes", 1)
    assert "Batch Q2-2 is in the same water" in said
    assert "(rule B2)" in said
    assert room.json("batch show Q2-1")["protocol"] == "marine-praziquantel"
