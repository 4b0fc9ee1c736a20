"""A stock solution wherever a dose is recorded: without a task, and at the start of a dip or a bath (needs F21)."""

# ruff: noqa: F401, F811 - fixtures of another file
from __future__ import annotations

from pathlib import Path

import pytest
from once_room import OnceRoom
from test_measuring_commands import STOCK, built, doses, hall, left, soluble
from test_stock_baths import dose, furnish
from test_stock_baths import left as left_of
from typed_room import Room


def test_a_dose_without_a_task_is_recorded_out_of_a_stock_solution(hall: OnceRoom, soluble: None) -> None:
    """50 mL of 0.5 g of a 98 % powder in 250 mL: 98 mg, and the half gram is drawn; out of the rest nothing more is."""
    asked = hall.type(f'event dose Q2 Z01 --gave "50 mL" {STOCK}', 1)
    assert "50 mL of Praziquantel was really put into Q2" in asked
    said = hall.type(f'event dose Q2 Z01 --gave "50 mL" {STOCK} --really')
    assert "Out of Jar, lot A12: 0.5 g; 1.5 g left." in said
    (given,) = doses(hall)
    assert (given["given"], given["given_unit"], given["mass_mg"]) == ("50", "mL", "98")
    assert given["stock"]["holds"] == "1.96"
    hall.type(f'event dose Q2 Z01 --gave "50 mL" {STOCK} --from-rest --keep-until 2026-02-20 --really')
    assert doses(hall)[-1]["stock"]["rest"] is True
    assert left(hall) == {"A12": 1.5}
    assert "The record is whole" in hall.type("check")


@pytest.mark.parametrize("more", ["--from-rest", "--keep-until 2026-02-20"])
def test_a_rest_of_no_solution_is_one_sentence(hall: OnceRoom, more: str) -> None:
    """Both belong to a stock solution, here as at `done`."""
    said = hall.type(f'event dose Q2 Z01 --gave "50 mL" --really {more}', 2)
    assert "belong to a stock solution" in said
    assert doses(hall) == []


def test_a_dip_that_was_made_of_a_stock_solution_keeps_it_until_its_end(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """1.5 L of 600 g of a 97 % salt in 3 L: 291 g of salt in the vessel; when it is over the bag has 600 g less."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    room = Room(tmp_path / "home", capsys)
    furnish(room, "fresh-salt-dip")
    room.type('stock add "Salt bag" "5 kg" --substance sodium-chloride --form powder --strength "97 %"')
    code = dose(room)
    made = f'bath start {code} --vessel "10 L" --stock "600 g in 3000 mL"'
    assert "no solubility of Sodium chloride is on record" in " ".join(room.type(f"{made} --as-shown", 1).split())
    room.type(f'{made} --gave "1500 mL" --really')
    (begun,) = room.facts("dip_start")
    assert begun["solution"] == ["600 g in 3000 mL", None, False]
    room.at("2026-02-13 14:01:00")
    room.type(f"bath end {code}")
    (given,) = room.facts("dose")
    assert (given["given"], given["given_unit"], given["mass_mg"]) == ("1500", "mL", "291000")
    assert given["stock"]["grams"] == "600"
    assert left_of(room) == {"Salt bag": 4400}
    assert "The record is whole" in room.type("check")
