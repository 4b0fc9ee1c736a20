"""Dips, food and the paper round draw from the stock too, at the end that makes them a dose (F75)."""

from __future__ import annotations

from pathlib import Path

import pytest
from typed_room import BOX, Room

WATER = "temp=25C tan=0mg/L ph=7.2 nitrite=0mg/L oxygen=7mg/L salinity=0.1g/L"


def furnish(room: Room, protocol: str) -> None:
    """A batch on day 3 with every before-check met, in 54 L; a scale with steps of 0.01 g."""
    room.at("2026-02-13 14:00:00")
    room.type("site add Hall --zone Europe/Berlin")
    room.type("keeper add Robin")
    (room.home / "settings.toml").write_text('scale_step = "0.01 g"\n', encoding="utf-8")
    for name, role in (("Q1", "quarantine"), ("Show", "display")):
        room.type(f"tank add {name} --site Hall --role {role} --water fresh {BOX}")
    room.type(
        f'batch start --tank Q1 --protocol {protocol} --arrived "2026-02-10 10:00" --fish "12 Melanotaenia praecox, 5 '
        'cm" --from breeder --to Show --acknowledge --yes'
    )
    for day in (11, 12, 13):
        room.type(f'look "Q1 12 3 {WATER}" --no-signs --at "2026-02-{day} 09:00"')


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    return Room(tmp_path / "home", capsys)


def dose(room: Room) -> str:
    """The code of the dose that is due."""
    return str(next(task["code"] for task in room.json("today")["tasks"] if task["kind"] == "dose"))


def left(room: Room) -> dict[str, float]:
    """What each product has left on record."""
    return {lot["product"]: lot["left"] for lot in room.json("stock list --all")["lots"]}


def test_a_dip_draws_at_its_end_out_of_the_bag_it_was_weighed_from(room: Room) -> None:
    """The start draws nothing; a second bag that is bought meanwhile does not stop its end."""
    furnish(room, "fresh-salt-dip")
    add = "--substance sodium-chloride --form powder --strength"
    room.type(f'stock add "Salt bag" "5 kg" {add} "97 %"')
    code = dose(room)
    said = room.type(f'bath start {code} --vessel "10 L" --as-shown')
    assert "the first fish of Q1 in it" in " ".join(said.split())
    (begun,) = room.facts("dip_start")
    assert begun["product"] == "Salt bag"
    assert left(room) == {"Salt bag": 5000}
    room.type(f'stock add "New bag" "5 kg" {add} "99 %"')
    room.at("2026-02-13 14:01:00")
    assert "Out of Salt bag, lot no number" in " ".join(room.type(f"bath end {code}").split())
    (given,) = room.facts("dose")
    assert given["drawn"][0]["amount"] == given["given"] == begun["given"]
    assert left(room) == {"Salt bag": 5000 - float(given["given"]), "New bag": 5000}
    room.type('undo "it was another tank" --yes')
    assert left(room) == {"Salt bag": 5000, "New bag": 5000}
    assert "The record is whole" in room.type("check")


def test_a_dose_in_food_draws_the_share_of_its_portion(room: Room) -> None:
    """10 mg in each g of food of what they eat, weighed as a 50 % powder: twice the grams of it, half of it counts."""
    furnish(room, "fresh-metronidazole-food")
    room.type('batch weigh Q1-1 "30 g" --by "scale, all of them" --eats "3 %"')
    pure = room.json(f"why {dose(room)}")["working"]
    room.type('stock add "Metro jar" "9 g" --substance metronidazole --form powder --strength "50 %" --lot M5')
    half = " ".join(room.json(f"why {dose(room)}")["working"])
    assert "g of the product with" in half
    assert "of the product" not in " ".join(pure)
    room.type(f"done {dose(room)} --as-shown")
    (given,) = room.facts("dose")
    assert float(given["mass_mg"]) == pytest.approx(float(given["given"]) * 1000)  # the substance, not the powder
    # To a thousandth of a gram of the powder.
    assert float(given["drawn"][0]["amount"]) == pytest.approx(float(given["given"]) * 2, abs=0.0005)


def test_an_entered_sheet_and_a_task_draw_from_the_only_product(room: Room) -> None:
    """`done` says out of which lot, and what is left; of two products it asks, and takes the one that is named."""
    furnish(room, "fresh-metronidazole-food")
    room.type('batch weigh Q1-1 "30 g" --by "scale, all of them" --eats "3 %"')
    for name, strength in (("Jar", "98 %"), ("Bag", "50 %")):
        room.type(f'stock add {name} "9 g" --substance metronidazole --form powder --strength "{strength}"')
    assert "say out of which it was given" in room.type(f"done {dose(room)} --as-shown", 1)
    assert "Out of Bag, lot no number" in " ".join(room.type(f"done {dose(room)} --as-shown --product bag").split())
    assert left(room)["Jar"] == 9
