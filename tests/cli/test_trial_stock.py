"""What a stranger's trial of the stock found: each is typed again as it was typed then (F36, F75, F76, F84)."""

from __future__ import annotations

from pathlib import Path

import pytest
from once_room import OnceRoom, furnish

PRAZI = 'stock add Jar "{}" --substance praziquantel --form powder --strength "98 %"'
METRO = 'stock add Bag "9 g" --substance metronidazole --form powder --strength "50 %" --lot M5'


@pytest.fixture
def hall(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> OnceRoom:
    """Two keepers and nothing in stock."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    made = OnceRoom(tmp_path / "home", capsys).at("2026-02-10 08:00:00")
    made.type("site add Hall --zone Europe/Berlin", who="")
    made.type("keeper add Robin", who="")
    made.type("keeper add Noor")
    return made


@pytest.fixture
def fed(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> OnceRoom:
    """Four fish of 1 g in fresh water that eat 0.04 g a day; five doses of metronidazole in food are planned."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    made = OnceRoom(tmp_path / "home", capsys).at("2026-02-10 09:00:00")
    made.type("site add Hall --zone Europe/Berlin", who="")
    made.type("keeper add Robin", who="")
    for name, role in (("Q2", "quarantine"), ("Show", "display")):
        made.type(
            f"tank add {name} --site Hall --role {role} --water fresh --shape box --length '60 cm' --width '30 cm' "
            "--filled '30 cm'"
        )
    made.type(
        'batch start --tank Q2 --protocol fresh-metronidazole-food --arrived "2026-02-10 09:30" --acknowledge --yes '
        '--fish "4 Melanotaenia praecox, 3 cm" --from importer --to Show'
    )
    made.type('batch weigh Q2-1 "4 g ± 0.1 g" --by scale --eats "1 %"')
    return made


def lots(room: OnceRoom) -> dict[str, tuple[float, str | None]]:
    """What each lot has left, and until when it is good."""
    return {lot["lot"]: (lot["left"], lot["good_until"]) for lot in room.json("stock list --all")["lots"]}


def test_F36_an_expiry_that_was_not_said_at_first_is_added(hall: OnceRoom) -> None:
    """More of lot A12 with the date on its label: the whole lot is good until then, and another date is refused."""
    hall.type(f"{PRAZI.format('2 g')} --lot A12")
    assert lots(hall) == {"A12": (2, None)}
    assert "3 g left, good until 2027-03-31" in hall.type('stock add Jar "1 g" --lot a12 --expires 2027-03')
    said = hall.type('stock add Jar "1 g" --lot A12 --expires 2027-04', 1)
    assert "with expiry 2027-03, not 2027-04. Another expiry is another lot" in said
    assert lots(hall) == {"A12": (3, "2027-03-31")}
    assert "The record is whole" in hall.type("check")


def test_F36_of_jars_without_a_number_none_lends_the_other_its_expiry(hall: OnceRoom) -> None:
    """The first jar's expiry is unknown: the date of the second does not become its own; the way out is said."""
    hall.type(PRAZI.format("2 g"))
    said = hall.type('stock add Jar "1 g" --expires 2027-03', 1)
    assert "with expiry not said, not 2027-03" in said
    assert "a word of your own with --lot" in said
    hall.type('stock add Jar "1 g" --expires 2027-03 --lot second')
    assert lots(hall) == {"no number": (2, None), "second": (1, "2027-03-31")}


def test_a_count_that_finds_the_books_right_has_no_sign(hall: OnceRoom) -> None:
    """0 g, not -0 g."""
    hall.type(f"{PRAZI.format('2 g')} --lot A12")
    hall.type('stock count Jar "2 g" --because weighed')
    assert "count: 0 g, Robin (weighed)" in hall.type("stock show Jar")


def test_F76_what_is_in_a_days_food_is_never_needed_as_nothing(fed: OnceRoom) -> None:
    """50 mg/kg of 4 g of fish are 0.2 mg a day, for which 0.2 g are weighed into 40 g of food: 1 g for five days, each
    prepared afresh, and neither 0 g nor what is in the portions alone."""
    (item,) = [one for one in fed.json("shopping")["items"] if one["substance"] == "metronidazole"]
    assert (item["needed"], item["short"], item["runs_out"]) == (1, 1, "2026-02-13")
    fed.type('look "Q2 4 3" --no-signs')
    card = fed.type("dose metronidazole --tank Q2 --regimen M02")
    assert "weigh 0.2 g of Metronidazole" in card


def test_F84_the_smallest_dose_in_food_is_drawn_from_its_lot(fed: OnceRoom) -> None:
    """A few tenths of a milligram: the books count a thousandth of a gram, and the lot lists the dose."""
    fed.type(METRO)
    fed.type('event dose Q2 M02 --really --gave "0.0002 g"')
    assert lots(fed) == {"M5": (8.999, None)}
    (found,) = fed.json("lot M5")["lots"]
    assert [(dose["tank"], dose["amount"]) for dose in found["doses"]] == [("Q2", 0.001)]
    assert "The record is whole" in fed.type("check")


def test_F75_a_corrected_dose_in_food_is_counted_by_what_its_product_holds(fed: OnceRoom) -> None:
    """0.0002 g count as a thousandth; 0.02 g instead are 0.04 g of the 50 % powder, not a hundred times the thousandth;
    0.0001 g is a thousandth again."""
    fed.type(METRO)
    fed.type('event dose Q2 M02 --really --gave "0.0002 g"')
    for gave, left in (("0.02g", 8.96), ("0.0001g", 8.999), ("0.3 mg", 8.999)):
        entry = fed.json("journal --last 1")["entries"][0]["seal"][:8]
        fed.type(f'correct {entry} "gave={gave}" --because misread --really')
        assert lots(fed) == {"M5": (left, None)}
    assert "The record is whole" in fed.type("check")


def test_F75_one_that_was_counted_by_a_typed_strength_keeps_its_share(fed: OnceRoom) -> None:
    """0.02 g by a typed 80 % are 0.025 g of the bag; 0.01 g instead are half of that, to a thousandth."""
    fed.type(METRO)
    fed.type('event dose Q2 M02 --really --gave "0.02 g" --strength "80 %" --product Bag')
    assert lots(fed) == {"M5": (8.975, None)}
    entry = fed.json("journal --last 1")["entries"][0]["seal"][:8]
    fed.type(f"correct {entry} gave=0.01g --because misread")
    assert lots(fed) == {"M5": (8.988, None)}


def test_a_list_of_empty_jars_does_not_say_that_there_is_no_record(hall: OnceRoom) -> None:
    """Nothing at all, then all used up: each says where to look."""
    assert "No stock on record" in hall.type("stock list")
    hall.type(PRAZI.format("2 g"))
    hall.type('stock use Jar "2 g" --because spilled')
    assert "used up: quarantine stock list --all" in hall.type("stock list")


def test_a_card_of_food_says_of_a_product_what_will_be_drawn(fed: OnceRoom) -> None:
    """50 mg/kg of 200 g of fish are 10 mg at most in their 2 g of food: up to 0.02 g of the 50 % powder, as drawn."""
    fed.type('batch weigh Q2-1 "200 g ± 1 g" --by scale --eats "1 %" --really')
    fed.type('look "Q2 4 3" --no-signs')
    fed.type(METRO)
    dose = fed.json("dose metronidazole --tank Q2 --regimen M02")
    said = fed.type("dose metronidazole --tank Q2 --regimen M02")
    pure = dose["dose"]["add"]
    fed.type(f'event dose Q2 M02 --really --gave "{pure} g"')
    drawn = round(9 - lots(fed)["M5"][0], 3)
    assert drawn == pytest.approx(pure * 2, abs=0.0005)
    assert f"Out of: Bag, lot M5, no expiry on record: {drawn} of 9 g." in said


def test_who_may_not_claim_is_told_in_whole_sentences(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each begins with a capital."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    hall = furnish(OnceRoom(tmp_path / "home", capsys))
    code = hall.code()
    hall.type(f"claim {code}", who="Noor")
    assert ". It lapses by itself then: ask Noor" in hall.type(f"claim {code}", 1)
    assert ". Only Noor gives it up; it lapses by itself" in hall.type(f"claim {code} --give-up", 1)
