"""What was left loose in stock and corrections, as a keeper types it: taking back, slips, dates, words (F27, F75)."""

from __future__ import annotations

from pathlib import Path

import pytest
from once_room import OnceRoom, with_template
from test_stock_baths import dose, furnish
from typed_room import BOX, Room

JAR = 'stock add Jar "2 g" --substance praziquantel --form powder --strength "98 %" --lot A12'
GAVE = "event dose M1 Z01 --really --gave"


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    """49 L of sea water and 100 L of fresh, measured to 0.2 L; a scale with steps of 0.01 g; two keepers."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    made = Room(tmp_path / "home", capsys)
    made.type("site add Hall --zone Europe/Berlin")
    made.type("keeper add Robin")
    made.type("keeper add Noor --as Robin")
    (made.home / "settings.toml").write_text('scale_step = "0.01 g"\nkeeper = "Robin"\n', encoding="utf-8")
    for name, water, litres in (("M1", "marine", "49 L"), ("F1", "fresh", "100 L")):
        made.type(f"tank add {name} --site Hall --role quarantine --water {water} {BOX}")
        made.type(f'tank measure {name} "{litres}" --by "counted buckets" --plus-minus "0.2 L"')
    return made


def left(room: Room) -> dict[str, float]:
    """What each lot has left on record."""
    return {lot["lot"]: lot["left"] for lot in room.json("stock list --all")["lots"]}


def newest(room: Room | OnceRoom) -> str:
    """The seal of the last entry, as it is typed."""
    return str(room.json("journal --last 1")["entries"][0]["seal"][:8])


# --- 1: undo of a correction -----------------------------------------------------------------------------------------


def test_undo_of_a_correction_takes_back_only_that(room: Room) -> None:
    """0.1 g corrected to 0.11 g and taken back: 0.1 g stands again and is drawn; then the dose is asked about."""
    room.type(JAR)
    room.type(f'{GAVE} "0.1 g"')
    room.type(f"correct {newest(room)} gave=0.11g --because misread")
    assert left(room) == {"A12": 1.89}
    said = room.type('undo "it was right"')
    assert "Taken back: corrected, dose" in said
    assert "What it had corrected stands again: dose of 0.1 g." in said
    (dose,) = [fact for fact in room.facts("dose") if fact.get("restored")]
    assert (dose["given"], dose["mass_mg"], dose["corrected"]) == ("0.1", "98", "it was right")
    assert left(room) == {"A12": 1.9}
    assert "medicine that is in the water must stay on record" in room.type('undo "not given"', 1)
    room.type('undo "not given" --yes')
    assert left(room) == {"A12": 2}
    assert "0 mg/L" in room.type("level M1 praziquantel")
    assert "The record is whole" in room.type("check")


def test_undo_goes_back_correction_by_correction(room: Room) -> None:
    """Two corrections of one dose: each undo goes one step back, and a correction after that can be taken back too."""
    room.type(f'{GAVE} "0.1 g" --strength "98 %"')
    for gave in ("0.105g", "0.102g"):
        room.type(f"correct {newest(room)} gave={gave} --because misread")
    given = ["0.102"]
    for _ in range(2):
        room.type("undo slip")
        given.append(room.facts("dose")[-1]["given"])
    assert given == ["0.102", "0.105", "0.1"]
    room.type(f"correct {newest(room)} gave=0.103g --because misread")
    assert "restored" not in room.facts("dose")[-1]
    room.type("undo slip")
    assert room.facts("dose")[-1]["given"] == "0.1"
    room.type("undo 'not given' --yes")
    assert "The record is whole" in room.type("check")
    assert "not of something that happened" in room.type("undo again", 1)


def test_undo_of_a_corrected_reading_brings_the_first_value_back(room: Room) -> None:
    """25 °C, corrected to 26 °C with another time, taken back: 25 °C at its own time."""
    room.type("reading M1 temp=25.0C")
    at = room.facts("reading")[-1]
    room.at("2026-02-10 09:00:00")
    room.type(f'correct {newest(room)} temp=26.0C --at "2026-02-10 08:30" --because misread')
    room.type("undo 'it was 25'")
    now = room.facts("reading")[-1]
    assert {name: now[name] for name in at} == at
    assert "temperature 25 °C" in room.type("journal --last 1")


def test_C1_undo_of_a_corrected_change_keeps_what_was_on_record_meanwhile(room: Room) -> None:
    """10 L, corrected to 12 L, and 10 L again: a dose that was sized by 12 L in between can still be told."""
    room.type("event change M1 --out 10L")
    room.at("2026-02-10 09:00:00").type(f"correct {newest(room)} out=12L --because misread")
    room.at("2026-02-10 10:00:00").type("undo 'it was right'")
    change = room.facts("change")[-1]
    assert (change["out_litres"], [litres for litres, _ in change["out_was"]]) == ("10", ["10", "12"])
    times = [until[11:16] for _, until in change["out_was"]]
    assert times == ["09:00", "10:00"]


# --- 2: a corrected amount -------------------------------------------------------------------------------------------


def test_C7_a_slip_in_a_correction_is_asked_about_once(room: Room) -> None:
    """1 g for 0.1 g is ten times what was shown, 0.12 g more than a tenth off, 0.105 g is not."""
    room.type(f'{GAVE} "0.1 g" --strength "98 %"')
    entry = newest(room)
    for gave, says in (("1g", "1 g is 10 times the 0.1 g that was shown"), ("0.12g", "1.2 times the 0.1 g")):
        assert says in room.type(f"correct {entry} gave={gave} --because misread", 1)
    assert newest(room) == entry
    room.type(f"correct {entry} gave=0.105g --because misread")
    room.type(f"correct {newest(room)} gave=0.12g --because misread --really")
    assert room.facts("dose")[-1]["given"] == "0.12"


def test_C7_an_amount_over_its_ceiling_is_recorded_and_answered_with_the_rescue(room: Room) -> None:
    """5 g in 49 L may be 100.5 mg/L of 10: asked, and with --really recorded with the water to change."""
    room.type(f'{GAVE} "0.1 g" --strength "98 %"')
    said = room.type(f"correct {newest(room)} gave=5g --because 'the wrong scale' --really")
    assert "over the ceiling of 10 mg/L. Now: strong aeration; change at least" in said
    assert "over the ceiling" in room.facts("dose")[-1]["rescue"]
    assert "over the ceiling" not in room.type("journal --last 1")


def test_C7_what_was_in_the_water_already_counts(room: Room) -> None:
    """0.2 g twice are 8 mg/L; 0.3 g alone is under the ceiling of 10, and with what is there it is not."""
    for minute in (10, 20):
        room.at(f"2026-02-10 08:{minute}:00").type(f'{GAVE} "0.2 g" --strength "98 %"')
    room.at("2026-02-10 08:30:00").type(f'{GAVE} "0.05 g" --strength "98 %"')
    assert room.facts("dose")[-1]["rescue"] == ""
    said = room.type(f"correct {newest(room)} gave=0.3g --because misread --really")
    assert "over the ceiling of 10 mg/L" in said


def test_C7_too_strong_a_dip_is_answered_and_its_overrun_stays_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """An hour in a dip of 10 L: the words of the overrun stay when the amount is corrected; 900 g are too strong."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    made = Room(tmp_path / "home", capsys)
    furnish(made, "fresh-salt-dip")
    made.type(f'done {dose(made)} --vessel "10 L" --started "13:00:00" --ended "14:00:00" --gave "100 g" --really')
    overrun = made.facts("dose")[-1]["rescue"]
    assert overrun.startswith("The dip took 3600 s")
    made.type(f"correct {newest(made)} gave=101g --because misread --really")
    assert made.facts("dose")[-1]["rescue"] == overrun
    made.type(f"correct {newest(made)} gave=900g --because misread --really")
    said = made.facts("dose")[-1]["rescue"]
    assert said.startswith("The dip may have been over its ceiling of")
    assert said.endswith(overrun)


@pytest.fixture
def hall(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> OnceRoom:
    """Two keepers, and a dose of 0.09 g that wants a witness."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    return with_template(OnceRoom(tmp_path / "home", capsys), tmp_path, "witness = true")


def test_F61_a_witness_of_another_amount_is_dropped_and_it_is_said(hall: OnceRoom) -> None:
    """90 mg is what Noor read of 0.09 g and stays; of 0.085 g nobody is a witness; taken back, Noor is one again."""
    code = hall.code()
    hall.type(f"done {code} --as-shown --witness Noor --witness-typed '90 mg'")
    hall.type(f"correct {newest(hall)} 'gave=90 mg' --because 'in mg'")
    assert hall.given(code)["witness_typed"] == "90"
    said = hall.type(f"correct {newest(hall)} gave=0.085g --because misread")
    assert "gave 90 mg -> 0.085 g; its witness read 90 mg, so this amount has none" in said
    assert not {"witness", "witness_typed", "witness_unit"} & hall.given(code).keys()
    assert "witness" not in hall.type(f"why {code}").partition("Before")[0]
    hall.type("undo 'it was right'")
    assert hall.given(code)["witness_typed"] == "90"
    assert "was done by Robin" in hall.type(f"done {code} --as-shown", 1)


# --- 3: undo of the stock --------------------------------------------------------------------------------------------


def test_what_was_entered_of_the_stock_is_taken_back(room: Room) -> None:
    """A use, a count, a disposal, a recall and the purchase, newest first: each is reversed by a line of its own."""
    room.type(JAR)
    deeds = (
        'stock use Jar "0.5 g" --because spilled',
        'stock count Jar "1.2 g" --because weighed',
        'stock dispose Jar --how "to the pharmacy"',
        "stock recall Jar --lot A12 --because letter",
    )
    for line in deeds:
        room.type(line)
    for kind, after in (("lot recalled", 0), ("stock disposal", 1.2), ("stock count", 1.5), ("stock use", 2)):
        assert f"Taken back: {kind}" in room.type("undo slip")
        assert left(room) == {"A12": after}
    said = room.type("undo 'wrong jar'")
    assert "Taken back: stock added, 2 g of Jar, lot A12. Both stay in the journal." in said
    assert "Jar, lot A12: 0 g left." in said
    kinds = [(one["kind"], one.get("of_kind"), one["amount"]) for one in room.json("stock show Jar")["movements"]]
    assert sorted(kinds, key=str) == sorted(
        [
            ("purchase", None, 2), ("taken back", "purchase", -2), ("use", None, -0.5), ("taken back", "use", 0.5),
            ("count", None, -0.3), ("taken back", "count", 0.3), ("disposal", None, -1.2),
            ("taken back", "disposal", 1.2),
        ],
        key=str,
    )  # fmt: skip
    assert "purchase taken back: -2 g, Robin (wrong jar)" in room.type("stock show Jar")
    assert {line["what"] for line in room.json("stock register")["lines"]} >= {"use taken back", "purchase taken back"}
    assert "is not of something that happened" in room.type("undo again", 1)
    assert "The record is whole" in room.type("check")


def test_a_purchase_that_doses_were_drawn_from_stays(room: Room) -> None:
    """0.1 g of the only jar is in the water: it did come in. A second purchase of the lot can be taken back."""
    room.type(JAR)
    room.type(f'{GAVE} "0.1 g"')
    room.type('stock add Jar "1 g" --lot A12')
    room.type("undo 'typed twice'")
    assert left(room) == {"A12": 1.9}
    room.at("2026-02-10 08:10:00").type('stock add Jar "1 g" --lot A12 --as Noor')
    room.type("undo 'not given' --yes")
    room.type(f'{GAVE} "2.5 g" --as Noor')
    assert left(room) == {"A12": 0.5}
    said = room.type("undo 'wrong jar'", 1)
    assert "2 g came in by that entry, and 1.5 g of it are gone from lot A12 of Jar since" in said
    assert left(room) == {"A12": 0.5}


def test_what_was_counted_since_is_not_taken_back(room: Room) -> None:
    """Robin's use of 0.5 g stays once Noor has counted the jar: the count is what is there."""
    room.type(JAR)
    room.type('stock use Jar "0.5 g" --because spilled')
    room.at("2026-02-10 08:30:00").type('stock count Jar "1.4 g" --because weighed --as Noor')
    said = room.type("undo 'not spilled'", 1)
    assert "Lot A12 of Jar was counted 2026-02-10 09:30, after that entry" in said
    assert left(room) == {"A12": 1.4}


def test_a_jar_whose_entry_was_taken_back_is_described_anew(room: Room) -> None:
    """98 % for 50 %, and the wrong month: taken back and entered again under its name, with the doses it gives."""
    room.type(f"{JAR} --expires 2027-03 --opened 2026-02-09")
    room.type("undo 'misread the label'")
    said = room.type(JAR.replace("98 %", "50 %") + " --expires 2028-03")
    assert "Jar (praziquantel, 50 %), lot A12: 2 g left, good until 2028-03-31" in said
    (lot,) = room.json("stock list")["lots"]
    assert (lot["strength"], lot["good_until"], lot["opened_on"]) == ("50 %", "2028-03-31", None)
    assert "on record with strength '50 %', not '98 %'" in room.type(JAR, 1)
    assert "The record is whole" in room.type("check")


def test_an_expiry_that_was_added_goes_with_the_entry_that_added_it(room: Room) -> None:
    """The date came with the second purchase: taken back with it."""
    room.type(JAR)
    room.type('stock add Jar "1 g" --lot A12 --expires 2027-03')
    room.type("undo 'another jar'")
    (lot,) = room.json("stock list")["lots"]
    assert (lot["left"], lot["good_until"]) == (2, None)


def test_anothers_recall_is_not_ones_own_to_take_back(room: Room) -> None:
    """Robin's recall was taken back; Noor called the lot back again: Robin's next undo is of what was before."""
    room.type(JAR)
    room.type("stock recall Jar --lot A12 --because letter")
    assert "in use again" in room.type("undo 'another lot'")
    room.type("stock recall Jar --lot A12 --because letter --as Noor")
    room.type("undo 'another jar'")
    (lot,) = room.json("stock list --all")["lots"]
    assert (lot["left"], lot["barred"]) == (0, "recalled")


def test_an_entry_of_the_stock_is_not_corrected(room: Room) -> None:
    """It is taken back, or the books are set by a count: said in its refusal."""
    room.type(JAR)
    said = room.type(f"correct {newest(room)} amount=3g --because misread", 1)
    assert "is of the stock: where it is your last one take it back" in said
    assert "quarantine stock count" in said


def test_a_dry_run_of_an_undo_leaves_the_stock(room: Room) -> None:
    """Said what it would do, and nothing is written."""
    room.type(JAR)
    assert "0 g left" in room.type("undo slip --dry-run")
    assert left(room) == {"A12": 2}


# --- 4: dates --------------------------------------------------------------------------------------------------------


def test_what_is_opened_was_opened(room: Room) -> None:
    """A day to come is refused; today at the site, an hour ahead of UTC, is not."""
    said = room.type(f"{JAR} --opened 2026-02-11", 1)
    assert "--opened 2026-02-11 lies in the future (it is 2026-02-10 at the site)" in said
    room.at("2026-02-10 23:30:00").type(f"{JAR} --opened 2026-02-11")
    assert room.json("stock list")["lots"][0]["opened_on"] == "2026-02-11"


@pytest.mark.parametrize(
    "deed",
    ['use Jar "1 g" --because spilled', "dispose Jar --how burnt", 'count Jar "1 g" --because weighed'],
)
def test_nothing_goes_out_before_it_came_in(room: Room, deed: str) -> None:
    """Both times stand in the refusal; in the same minute it is the order of entry that counts."""
    room.at("2026-02-10 08:10:40").type(JAR)
    room.at("2026-02-10 09:00:00")
    said = room.type(f'stock {deed} --at "2026-02-09 10:00"', 1)
    assert "Lot A12 of Jar came in 2026-02-10 09:10; at 2026-02-09 10:00 it was not there" in said
    assert left(room) == {"A12": 2}
    room.type(f'stock {deed} --at "2026-02-10 09:10"')
    assert all(line.get("on_hand_g", "0")[0] != "-" for line in room.json("stock register")["lines"])


def test_what_was_entered_late_is_counted_as_of_its_time(room: Room) -> None:
    """1.5 g found at ten of 2 g, before 0.4 g were used at eleven: 1.1 g now; no more can go out than is left later."""
    room.type(JAR)
    room.at("2026-02-10 12:00:00").type('stock use Jar "0.4 g" --because spilled --at "2026-02-10 11:00"')
    assert "0.5 g out" in room.type('stock count Jar "1.5 g" --because weighed --at "2026-02-10 10:00"')
    assert left(room) == {"A12": 1.1}
    said = room.type('stock use Jar "1.2 g" --because spilled --at "2026-02-10 10:30"', 1)
    assert "On record 1.1 g are left of lot A12 of Jar at 2026-02-10 11:00: more was taken out of it since" in said
    assert "more was taken out of it since" in room.type('stock dispose Jar --how burnt --at "2026-02-10 10:30"', 1)


# --- 5: words --------------------------------------------------------------------------------------------------------


def test_a_strength_that_nobody_knows_is_called_unknown(room: Room) -> None:
    """Never a pair of quotes with nothing in it."""
    room.type(JAR.replace("98 %", "unknown"))
    assert "with strength unknown, not '98 %'" in room.type(JAR, 1)
    room.type(JAR.replace("Jar", "Tin"))
    assert "with strength '98 %', not unknown" in room.type(JAR.replace("Jar", "Tin").replace("98 %", "unknown"), 1)


def test_one_tablet_is_and_two_are(room: Room) -> None:
    """Of one tablet in stock a dose of two lacks one: "1 tablet is lacking", and what was lacking "was"."""
    room.type('stock add Box "1 tablet" --substance metronidazole --form tablet --each "240 mg"')
    assert "1 tablet left" in room.type("stock list")
    card = " ".join(room.type("dose metronidazole --tank F1 --regimen M01").split())
    assert "In stock 1 tablet is lacking for this dose" in card
    said = " ".join(room.type('event dose F1 M01 --really --gave "2 tablets"').split())
    assert "Out of Box, lot no number: 1 tablet; 0 tablets left. On record 1 tablet of Box was lacking" in said


def test_a_hold_of_what_must_not_meet_has_one_full_stop(room: Room) -> None:
    """The entry's own full stop is not doubled by the sentence's."""
    room.type('event dose F1 Z03 --really --gave "0.2 g" --strength "98 %"')
    ask = "dose metronidazole --tank F1 --regimen M01 --strength '98 %'"
    held = room.json(ask)["hold"]
    assert held["rule"] == "what must not be mixed"
    assert held["says"].endswith("the next drug")
    assert ".." not in room.type(ask)


# --- 9: what the course takes ----------------------------------------------------------------------------------------


def test_F76_a_course_of_a_liquid_is_counted_in_mL(room: Room) -> None:
    """2 mg/L x 49 L out of a 5 % solution is 1.96 mL, 1.9 on the syringe, twice: as it is shown on the day."""
    room.type('stock add Drops "5 mL" --substance praziquantel --form solution --strength "5 % w/v"')
    line = 'protocol preview marine-praziquantel --tank M1 --arrived "2026-02-10 10:00"'
    assert room.json(line)["totals"] == [{"substance": "praziquantel", "amount": 3.8, "unit": "mL"}]
    said = room.type(line)
    assert "1.9 mL of Praziquantel, 5 % w/v" in said
    assert "In all: 3.8 mL of praziquantel" in said
    assert "Stock: Praziquantel, 5 % w/v (Drops): needed 3.8 mL" in said


def test_F76_a_course_of_a_powder_is_counted_in_g_as_before(room: Room) -> None:
    """With nothing in stock it is counted as pure: 0.09 g twice."""
    line = 'protocol preview marine-praziquantel --tank M1 --arrived "2026-02-10 10:00"'
    assert room.json(line)["totals"] == [{"substance": "praziquantel", "grams": 0.18, "grams_text": "0.18"}]
