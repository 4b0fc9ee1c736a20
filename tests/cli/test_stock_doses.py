"""Doses are measured out of the keeper's own products and draw from them, as a keeper types it (F20, F36, F75, F78)."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from typed_room import BOX, Room

JAR = (
    'stock add "Prazi jar" "2 g" --substance praziquantel --form powder --strength "98 %" --lot A12 --expires 2026-03 '
    "--from wholesaler --authority prescription"
)
GAVE = "event dose M1 Z01 --really --gave"
ASK = "dose praziquantel --tank M1 --regimen Z01"


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    """49 L of sea water and 100 L of fresh, measured to 0.2 L; a scale with steps of 0.1 g."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    made = Room(tmp_path / "home", capsys)
    made.type("site add Hall --zone Europe/Berlin")
    made.type("keeper add Robin")
    (made.home / "settings.toml").write_text('scale_step = "0.1 g"\n', encoding="utf-8")
    for name, water, litres in (("M1", "marine", "49 L"), ("F1", "fresh", "100 L")):
        made.type(f"tank add {name} --site Hall --role quarantine --water {water} {BOX}")
        made.type(f'tank measure {name} "{litres}" --by "counted buckets" --plus-minus "0.2 L"')
    return made


def left(room: Room) -> dict[str, float]:
    """What each lot has left on record."""
    return {lot["lot"]: lot["left"] for lot in room.json("stock list --all")["lots"]}


def test_98_percent_powder_on_a_tenth_of_a_gram_in_49_litres(room: Room) -> None:
    """2 mg/L x 49 L = 98 mg: less than a step of pure substance, and exactly 0.1 g of the 98 % powder in stock."""
    assert "less than one step of the scale" in room.type(ASK)
    room.type(JAR)
    said = " ".join(room.type(ASK).split())
    assert "ADD 0.1 g of Praziquantel, 98 % (Prazi jar, lot A12, good until 2026-03-31)" in said
    assert "980 mg in 1 g: 0.1 g of the product" in said
    assert "Out of: Prazi jar, lot A12, good until 2026-03-31: 0.1 of 2 g." in said
    assert "Out of Prazi jar, lot A12: 0.1 g; 1.9 g left." in " ".join(room.type(f'{GAVE} "0.1 g"').split())
    (dose,) = room.facts("dose")
    assert (dose["mass_mg"], dose["drawn"][0]["amount"], dose["product"]) == ("98", "0.1", "98 %")
    assert "The record is whole" in room.type("check")


def test_a_finer_step_of_the_product_is_taken_and_a_typed_strength_overrides(room: Room) -> None:
    """Steps of 0.01 g: 98 mg of 98 % is 0.1 g; of 50 % typed, which is in no jar, 0.19 g by the scale's 0.1 g held."""
    room.type(f'{JAR} --step "0.01 g"')
    assert room.json(ASK)["dose"]["add"] == 0.1
    assert "Prazi jar" not in room.type(f'{ASK} --strength "50 %"')
    assert "in steps of 0.01 g" in room.type('stock add "Prazi jar" "1 g" --lot B7 --step "0.1 g"', 1)
    room.type(f'{GAVE} "0.2 g" --strength "50 %"')
    assert left(room) == {"A12": 2}
    room.type(f'{GAVE} "0.2 g" --strength "50 %" --product "Prazi jar"')
    assert left(room) == {"A12": 1.8}


def test_37_percent_solution_is_drawn_in_mL_by_the_step_of_its_measured_drops(room: Room) -> None:
    """1.5 mL of the solution as sold, by drops that were measured: 1500 uL on record (rule C17), 8.5 mL left."""
    room.type(
        'stock add Forma "10 mL" --substance formalin --form solution --strength "37 % formaldehyde" --step "0.05 mL"'
    )
    room.type('event dose F1 F07 --really --gave "1.5 mL"')
    (dose,) = room.facts("dose")
    assert (dose["mass_mg"], dose["level_unit"], dose["drawn"][0]["unit"]) == ("1500", "uL/L", "mL")
    assert left(room) == {"no number": 8.5}


@pytest.mark.parametrize(
    ("halves", "each", "says"),
    [
        # 5 mg/L, at most 5 mg/L x 99.8 L: 499 mg.
        ("", "250 mg", "HELD: in steps of one tablet 0.499 g becomes 0.25 g, 50 % too little"),
        ("--halves", "250 mg", "HELD: in steps of 0.5 tablet 0.499 g becomes 0.375 g, 25 % too little"),
        ("", "500 mg", "HELD: 0.499 g is less than one tablet"),
        ("", "120 mg", "ADD 4 tablets of Metronidazole, tablets of 120 mg (Box, lot no number, no expiry on record)"),
        ("--halves", "90 mg", "ADD 5.5 tablets of Metronidazole, tablets of 90 mg"),
    ],
)
def test_tablets_that_do_not_divide(room: Room, halves: str, each: str, says: str) -> None:
    """Down to whole tablets, or halves where the label says so; both ends shown, or held with what would do."""
    room.type(f'stock add Box "20 tablets" --substance metronidazole --form tablet --each "{each}" {halves}')
    said = " ".join(room.type("dose metronidazole --tank F1 --regimen M01").split())
    assert says in said
    assert ("crush one tablet, dissolve it wholly" in said or "powder that can be weighed" in said) is ("HELD" in says)
    if "ADD 4" in says:
        assert "gives 4.79 to 4.81 mg/L" in said  # 480 mg / 100.2 L and / 99.8 L
        room.type('event dose F1 M01 --really --gave "4 tablets"')
        assert left(room) == {"no number": 16}
        assert room.facts("dose")[0]["mass_mg"] == "480"


def test_levamisole_whose_form_is_not_on_the_label_is_held(room: Room) -> None:
    """Salt or base: asked, and taken as it was said; of a strength that nobody knows nothing is computed."""
    room.type('stock add Leva "5 g" --substance levamisole --form powder --strength "98 %"')
    held = room.json("dose levamisole --tank F1 --regimen N01")["hold"]
    assert held["rule"] == "strength of the product"
    assert "hydrochloride or the base" in held["says"]
    said = " ".join(room.type('dose levamisole --tank F1 --regimen N01 --strength "98 % as hydrochloride"').split())
    assert "ADD 0.2 g of Levamisole, 98 % as hydrochloride (Leva, lot no number" in said
    room.type('stock add Old "5 g" --substance praziquantel --form powder --strength unknown')
    assert "the strength of Old is not on record" in room.type(ASK)


def test_a_bottle_that_ends_mid_course_is_said_and_recorded_as_far_as_the_books_go(room: Room) -> None:
    """0.25 g on record and two doses of 0.2 g: the second takes the 0.05 g there are and 0.15 g are lacking (C7)."""
    room.type(JAR.replace('"2 g"', '"0.25 g"'))
    room.type(f'{GAVE} "0.2 g"')
    said = " ".join(room.type(f'{GAVE} "0.2 g"').split())
    assert "Out of Prazi jar, lot A12: 0.05 g; 0 g left." in said
    assert "On record 0.15 g of Prazi jar were lacking for that: count what is left" in said
    assert left(room) == {"A12": 0}
    assert "The record is whole" in room.type("check")


def test_the_lot_that_runs_out_first_is_drawn_first(room: Room) -> None:
    """0.1 g of the March lot, then the rest of 2027's."""
    room.type(JAR.replace('"2 g"', '"0.1 g"'))
    room.type('stock add "Prazi jar" "5 g" --lot B7 --expires 2027-01')
    room.type(f'{GAVE} "0.4 g"')
    assert left(room) == {"A12": 0, "B7": 4.7}


def test_F36_nothing_is_given_out_of_an_expired_lot_and_what_was_is_flagged(room: Room) -> None:
    """Held from 1 April in Berlin on, by its rule; recorded all the same with --really, and drawn."""
    room.type(JAR)
    room.at("2026-03-31 22:00:00")
    held = room.json(ASK)["hold"]
    assert (held["rule"], "lot A12: expired 2026-03-31" in held["says"]) == ("F36", True)
    assert "(as typed)" in room.type(f'{ASK} --strength "98 %"')
    said = " ".join(room.type(f'{GAVE} "0.1 g"').split())
    assert "It should not have been given (Prazi jar, lot A12: expired 2026-03-31)" in said
    (dose,) = room.facts("dose")
    assert (dose["hold"]["rule"], dose["barred"]) == ("F36", "Prazi jar, lot A12: expired 2026-03-31")
    assert left(room) == {"A12": 1.9}
    room.type('stock add "Prazi jar" "1 g" --lot B7 --expires 2028-01')
    room.type('stock recall "Prazi jar" --lot B7 --because letter')
    assert "lot B7: recalled" in room.json(ASK)["hold"]["says"]


def test_of_several_products_one_is_asked_by_name(room: Room) -> None:
    """Their strengths differ, so does the amount: nothing is shown, recorded or drawn until one is named."""
    room.type(JAR)
    room.type('stock add Sachet "5 g" --substance praziquantel --form powder --strength "50 %" --step "0.01 g"')
    assert "there are 2 products of Praziquantel in stock: Prazi jar, Sachet" in room.json(ASK)["hold"]["says"]
    refused = room.type(f'{GAVE} "0.1 g"', 1)
    assert '--product "Prazi jar" or --product "Sachet"' in refused
    assert "Did you mean 'Sachet'" in room.type(f'{GAVE} "0.1 g" --product Sachets', 1)
    assert room.json(f"{ASK} --product sachet")["dose"]["add"] == 0.19
    room.type(f'{GAVE} "0.19 g" --product sachet')
    room.type(f'{GAVE} "0.1 g" --lot a12')
    assert left(room) == {"A12": 1.9, "no number": 4.81}


def test_what_is_taken_back_goes_back_and_a_correction_draws_anew(room: Room) -> None:
    """0.1 g taken back; 0.4 g corrected to 0.3 g and moved to another minute: the lot has 2 g less what stands."""
    room.type(JAR)
    room.at("2026-02-10 08:10:00").type(f'{GAVE} "0.1 g"')
    room.at("2026-02-10 08:20:00").type('undo "not given" --yes')
    assert left(room) == {"A12": 2}
    room.at("2026-02-10 08:30:00").type(f'{GAVE} "2.4 g"')
    assert left(room) == {"A12": 0}
    entry = room.json("journal --last 1")["entries"][0]["seal"][:8]
    room.at("2026-02-10 08:40:00").type(
        f'correct {entry} gave=0.3g --at "2026-02-10 09:25" --because "misread" --really'
    )
    assert left(room) == {"A12": 1.7}
    assert "short" not in room.facts("dose")[-1]
    moved = [(m["kind"], m["amount"]) for m in room.json('stock show "Prazi jar"')["movements"]]
    assert sorted(moved) == sorted(
        [("purchase", 2), ("dose", -0.1), ("taken back", 0.1), ("dose", -2), ("taken back", 2), ("dose", -0.3)]
    )
    assert "The record is whole" in room.type("check")


def test_F84_a_lot_lists_every_batch_tank_and_dose(room: Room) -> None:
    """Two tanks, one with a batch in its water; a dose that was taken back is no longer listed."""
    room.type(JAR)
    room.type(f"tank add Reef --site Hall --role display --water marine {BOX}")
    room.type(
        'batch start --tank M1 --protocol marine-watch --arrived "2026-02-09 10:00" --fish "3 Amphiprion ocellaris" '
        "--from importer --to Reef --yes"
    )
    room.type(f'{GAVE} "0.1 g"')
    room.type('event dose F1 Z03 --really --gave "0.2 g"')
    room.at("2026-02-10 08:10:00").type('event dose F1 Z03 --really --gave "0.3 g"')
    room.type('undo "not given" --yes')
    (found,) = room.json("lot a12")["lots"]
    assert (found["batches"], found["tanks"]) == (["M1-1"], ["F1", "M1"])
    assert sorted((d["tank"], d["batch"], d["amount"]) for d in found["doses"]) == [
        ("F1", "", 0.2),
        ("M1", "M1-1", 0.1),
    ]
    assert "There is no lot 'Z9'" in room.type("lot Z9", 1)


def test_F78_the_register_balances_and_replaces_nothing_of_others(room: Room, tmp_path: Path) -> None:
    """Purchase, use, dose and disposal with who, why and by whose authority; opening + in - out = on hand."""
    room.type(JAR)
    room.type('stock use "Prazi jar" "0.5 g" --because spilled')
    room.at("2026-02-12 08:00:00").type(f'{GAVE} "0.1 g"')
    room.type('stock dispose "Prazi jar" --how "taken to the pharmacy"')
    table, page = tmp_path / "r.csv", tmp_path / "r.html"
    said = room.json(f"stock register --csv {table} --html {page} --since 2026-02-11")
    (lot,) = said["lots"]
    assert [lot[name] for name in ("opening", "in", "out", "on_hand")] == [1.5, 0, 1.5, 0]
    rows = list(csv.DictReader(table.read_text(encoding="utf-8").splitlines()))
    assert [(r["what"], r["in_g"], r["out_g"], r["on_hand_g"]) for r in rows] == [
        ("opening", "", "", "1.5"),
        ("dose", "", "0.1", "1.4"),
        ("disposal", "", "1.4", "0"),
        ("in all", "0", "1.5", "0"),
    ]
    assert {r["keeper"] for r in rows} == {"", "Robin"}
    assert (rows[1]["tank"], rows[1]["regimen"]) == ("M1", "praziquantel, Z01")
    whole = room.json("stock register")["lines"]
    assert (whole[0]["source"], whole[0]["authority"]) == ("wholesaler", "prescription")
    room.type(f"stock register --csv {table} --html {page}")  # its own files may be replaced
    assert "law of your country" in page.read_text(encoding="utf-8")
    table.write_text("mine", encoding="utf-8")
    assert "is not a register" in room.type(f"stock register --csv {table}", 1)
    assert table.read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize(
    ("line", "code", "says"),
    [
        (f'{GAVE} "1 tsp"', 1, "is not a measure"),
        (f'{GAVE} "20 drops"', 1, "is not a measure"),
        ('stock use "Prazi jar" "1 spoon" --because spilled', 1, "is not a measure"),
        (
            'stock add D "9 mL" --substance formalin --form solution --strength "100 % formalin" --step "1 drop"',
            1,
            "0.05 mL",
        ),
        ('stock add T "9 tablets" --substance metronidazole --form tablet --each "9 mg" --step "1 g"', 2, "--halves"),
        ('stock add P "9 g" --substance praziquantel --form powder --strength "9 %" --halves', 2, "for tablets"),
        ('event dose F1 M01 --really --gave "1 g" --product Box', 1, "Nothing of Metronidazole is in stock"),
    ],
)
def test_no_dose_is_measured_by_spoons_or_drops(room: Room, line: str, code: int, says: str) -> None:
    """Refused with what to do; nothing is recorded."""
    room.type(JAR)
    assert says in room.type(line, code)
    assert room.facts("dose") == []
    assert left(room) == {"A12": 2}
