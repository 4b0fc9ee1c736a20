"""Doses in food at the command line: weighed by lengths, eaten or not, bought and chosen (needs F26, issue "Measuring
out")."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from once_room import OnceRoom

READY = "temp=25C tan=0mg/L ph=7.2 nitrite_no2=0mg/L oxygen=7mg/L"
RELATION = '--relation "0.012 x L^3.04, g, cm, total" --source "A university, A title, Bulletin 7, 1999"'
"""Figures of a test, of no fish."""


@pytest.fixture
def fed(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> OnceRoom:
    """Six fish of 5 cm under metronidazole in food, on day 3 with every check of the protocol met; nobody weighed
    them."""
    for name in ("QUARANTINE_HOME", "QUARANTINE_KEEPER", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    made = OnceRoom(tmp_path / "home", capsys).at("2026-02-10 09:00:00")
    made.type("site add Hall --zone Europe/London", who="")
    made.type("keeper add Robin", who="")
    for name, role in (("Q1", "quarantine"), ("Show", "display")):
        made.type(
            f"tank add {name} --site Hall --role {role} --water fresh --shape box --length '60 cm' --width '30 cm' "
            "--filled '30 cm'"
        )
    made.type(
        'batch start --tank Q1 --protocol fresh-metronidazole-food --arrived "2026-02-10 08:30" --acknowledge --yes '
        '--fish "6 Melanotaenia praecox, 5 cm" --from "a breeder" --to Show'
    )
    for day in (11, 12, 13):
        made.at(f"2026-02-{day} 09:00:00").type(f'look "Q1 6 3 {READY}" --no-signs')
    return made.at("2026-02-13 12:00:00")


@pytest.fixture
def weighed(fed: OnceRoom) -> OnceRoom:
    """They weigh 200 g together and eat 2 g a day: 10 mg a day in 2 g of food."""
    fed.type('batch weigh Q1-1 "200 g ± 0 g" --by "scale, all of them" --eats "1 %" --really')
    return fed


# --- Weighed by lengths ----------------------------------------------------------------------------------------------


def test_F26_lengths_make_a_weight_that_is_dated_and_names_its_source(fed: OnceRoom) -> None:
    """Three of six measured: 1.6, 1.7 and 1.8 g, 10.2 g for six. With the shortest at 4.95 cm (1.552 g) and the longest
    at 5.25 cm (1.856 g) for the other three it is 9.61 to 10.82 g (by hand). The dose is sized by it."""
    said = fed.type(f'batch weigh Q1-1 --lengths "5.0 cm, 5.1 cm, 52 mm" {RELATION} --eats "0.5 %"')
    assert "2026-02-13 12:00: 6 fish of Q1-1 weigh 10.2 g, plus or minus 0.63 g (3 lengths of 5 to 5.2 cm" in said
    assert "W = 0.012 x L^3.04 (g, cm, total length), A university, A title, Bulletin 7, 1999" in said
    assert "how far single fish are from it: not said by its source" in said
    card = fed.type("dose metronidazole --tank Q1 --regimen M02")
    assert "10.2 g for 6 fish on 2026-02-13: 3 lengths" in card
    assert "The record is whole" in fed.type("check")


def test_F26_what_is_kept_of_lengths_can_be_computed_again(fed: OnceRoom) -> None:
    """Each length, the relation, its source and how far single fish are from it."""
    document = fed.json(f'batch weigh Q1-1 --lengths "5.0 cm, 5.1 cm, 52 mm" {RELATION} --within "15 %" --by "a ruler"')
    assert document["lengths_cm"] == [5, 5.1, 5.2]
    assert document["within_percent"] == 15
    assert document["relation"] == "W = 0.012 x L^3.04 (g, cm, total length)"
    assert document["source"] == "A university, A title, Bulletin 7, 1999"
    assert document["by"].endswith("; how far single fish are from it: 15 %; a ruler")
    plain = fed.json(f'batch weigh Q1-1 --lengths "5.0 cm, 5.1 cm, 52 mm" {RELATION}')
    assert document["plus_minus_grams"] > plain["plus_minus_grams"] > 0


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        ("", 2, "Say what they weigh"),
        ('"36 g"', 2, "Say it with --by"),
        (f'"36 g" --by scale --lengths "5 cm, 5 cm, 5 cm" {RELATION}', 2, "Say what they weigh"),
        ('--lengths "5 cm, 5 cm, 5 cm"', 2, "say --relation and its --source"),
        ('"36 g" --by scale --within "5 %"', 2, "belong to --lengths"),
        (f'--lengths "5 cm, 5 cm, 5 cm" --each {RELATION}', 2, "--each is of a weight"),
        (f'--lengths "5, 5, 5" {RELATION}', 1, "has no unit"),
        (f'--lengths ", ," {RELATION}', 2, "--lengths is the length of each fish"),
        (f'--lengths "5 cm, 0 cm, 5 cm" {RELATION}', 1, "is nothing"),
        (f'--lengths "5 cm, 5 g, 5 cm" {RELATION}', 1, "a length is needed"),
        (f'--lengths "5 cm, 5 cm" {RELATION}', 1, "Measure at least 3 fish of 6"),
        (f'--lengths "5 cm,5 cm,5 cm,5 cm,5 cm,5 cm,5 cm" {RELATION}', 1, "7 lengths, and 6 fish are alive"),
        (f'--lengths "5 cm, 5 cm, 5 cm" {RELATION} --within much', 2, "does not read"),
        (f'--lengths "5 cm, 5 cm, 5 cm" {RELATION} --within "100 %"', 2, "does not read"),
        ('--lengths "5 cm, 5 cm, 5 cm" --relation "0.012 x L^3, g, cm, total" --source 1999', 2, "publisher, title"),
        ('--lengths "5 cm, 5 cm, 5 cm" --relation "0.012 x L^3, g, cm, total" --source "A title"', 2, "the year"),
        ('--lengths "5 cm, 5 cm, 5 cm" --relation "0.012" --source "A title, 1999"', 1, "does not read"),
        (
            '--lengths "5 cm, 5 cm, 5 cm" --relation "0.012 x L^3, g, mm, total" --source "A title, 1999"',
            1,
            "the units",
        ),
        (
            '--lengths "5 cm, 5 cm, 5 cm" --relation "0.012 x L^1.5, g, cm, total" --source "A title, 1999"',
            1,
            "b is 1.5",
        ),
        (f'--lengths "50 cm, 50 cm, 50 cm" {RELATION}', 1, "for the length on record"),
    ],
)
def test_lengths_that_do_not_read_are_one_sentence(fed: OnceRoom, words: str, code: int, says: str) -> None:
    """And nothing is recorded: the dose still asks for the weight."""
    assert says in fed.type(f"batch weigh Q1-1 {words}", code)
    assert "weight of the fish, which is not on record" in fed.type("dose metronidazole --tank Q1 --regimen M02")


def test_a_weight_of_last_month_is_asked_for_again(fed: OnceRoom) -> None:
    """Fish grow: after 30 days it sizes nothing, however it was found."""
    fed.type(f'batch weigh Q1-1 --lengths "5.0 cm, 5.1 cm, 52 mm" {RELATION} --eats "0.5 %"')
    fed.at("2026-03-16 09:00:00").type(f'look "Q1 6 3 {READY}" --no-signs')
    assert "which was last found on 2026-02-13" in fed.type("dose metronidazole --tank Q1 --regimen M02")


# --- Eaten or not ----------------------------------------------------------------------------------------------------


def test_F26_a_portion_that_was_not_eaten_is_told_what_to_do_and_given_once_more(weighed: OnceRoom) -> None:
    """No second portion that day, one more at the end, and sign-off names it; it is no last dose."""
    code = weighed.code()
    said = weighed.type(f"done {code} --as-shown --eaten none")
    assert "0.01 g of metronidazole given to Q1, not eaten" in said
    assert "goes on a day longer for it. Take what is left out of the water now, and give no second portion" in said
    assert weighed.given(code)["counts"] is False
    assert "the last one was given 2026-02-13" in weighed.type("dose metronidazole --tank Q1 --regimen M02")
    assert not [task for task in weighed.json("today")["tasks"] if task["kind"] == "dose"]
    weighed.at("2026-02-14 08:00:00")
    (dose,) = [task for task in weighed.json("today")["tasks"] if task["kind"] == "dose"]
    assert dose["title"] == "Metronidazole in food (2 of 6)"
    assert "not eaten" in weighed.type(f"why {code}")
    signoff = weighed.json("signoff Q1-1")
    assert [line for line in signoff["dose_deviations"] if "0.01 g of metronidazole, not eaten." in line]
    assert any("no dose is on record" in criterion["says"] for criterion in signoff["criteria"])
    assert "The record is whole" in weighed.type("check")


def test_F26_a_portion_that_was_eaten_in_part_is_a_deviation_and_a_dose(weighed: OnceRoom) -> None:
    """Half of 2 g left: at least 5 of 10 mg went in. The course is no longer for it, and it is the last dose."""
    code = weighed.code()
    said = weighed.type(f"done {code} --as-shown --uneaten '1 g'")
    assert "eaten in part, 1 g were left, at least 5 mg of metronidazole went in" in said
    assert "it counts as a dose, and sign-off names it as under its range" in said
    assert weighed.given(code)["uneaten_grams"] == "1"
    weighed.at("2026-02-14 09:00:00").type(f'look "Q1 6 3 {READY}" --no-signs')
    (dose,) = [task for task in weighed.json("today")["tasks"] if task["kind"] == "dose"]
    assert (dose["title"], dose["hold"]) == ("Metronidazole in food (2 of 5)", None)
    signoff = weighed.json("signoff Q1-1")
    assert len(signoff["dose_deviations"]) == 1
    assert signoff["dose_deviations"][0].startswith("Deviation of a dose in food, 2026-02-13 12:00")
    assert any("contact with the last dose ended 2026-02-13" in criterion["says"] for criterion in signoff["criteria"])


def test_a_portion_that_was_eaten_wholly_is_no_deviation_and_silence_is_not_known(weighed: OnceRoom) -> None:
    """Nobody said how it was eaten: sign-off says that nobody knows; all eaten says nothing there."""
    code = weighed.code()
    said = weighed.type(f"done {code} --as-shown")
    assert "Whether it was eaten was not said" in said
    assert "quarantine correct ENTRY eaten=all" in said
    (line,) = weighed.json("signoff Q1-1")["dose_deviations"]
    assert line.startswith("Not known of a dose in food")
    entry = weighed.json("journal --last 1")["entries"][0]["seal"][:8]
    weighed.type(f"correct {entry} eaten=all --because 'watched them'")
    assert weighed.json("signoff Q1-1")["dose_deviations"] == []
    assert "The record is whole" in weighed.type("check")


def test_a_correction_to_not_eaten_shows_what_it_moves(weighed: OnceRoom) -> None:
    """The last of the course was thought eaten: the longer course is planned, and grams that were left are taken
    back."""
    code = weighed.code()
    weighed.type(f"done {code} --as-shown --uneaten '1 g'")
    entry = weighed.json("journal --last 1")["entries"][0]["seal"][:8]
    said = weighed.type(f"correct {entry} eaten=none --because 'found it in the filter' --yes")
    assert "-> not eaten. Not eaten: it does not count as a dose." in said
    given = weighed.given(code)
    assert (given["eaten"], given["counts"]) == ("none", False)
    assert "uneaten_grams" not in given
    weighed.at("2026-02-14 08:00:00")
    assert [t["title"] for t in weighed.json("today")["tasks"] if t["kind"] == "dose"] == [
        "Metronidazole in food (2 of 6)"
    ]


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        ("--as-shown --eaten some", 2, "is not one of all, part, none"),
        ("--as-shown --eaten all --uneaten '1 g'", 2, "contradict each other"),
        ("--as-shown --uneaten '2.5 g'", 1, "food out of the water is wet"),
        ("--as-shown --uneaten 1", 1, "has no unit"),
    ],
)
def test_what_was_eaten_that_does_not_read_is_one_sentence(weighed: OnceRoom, words: str, code: int, says: str) -> None:
    """And the dose stays open."""
    task = weighed.code()
    assert says in weighed.type(f"done {task} {words}", code)
    assert weighed.code() == task


def test_eaten_is_of_no_other_work(weighed: OnceRoom) -> None:
    """A chore is not eaten."""
    assert "is no dose in food" in weighed.type(f"done {weighed.code('chore')} --eaten all", 2)


def test_A6_a_dose_in_food_waits_for_fish_that_eat(weighed: OnceRoom) -> None:
    """Only few ate this noon: held with what to do first, and given once they eat; what was given all the same is
    recorded."""
    weighed.type('look "Q1 6 1" --no-signs')
    (dose,) = [task for task in weighed.json("today")["tasks"] if task["kind"] == "dose"]
    assert dose["hold"]["rule"] == "A6"
    assert "test the water and look for signs first" in dose["hold"]["remedy"]
    assert "only few of them ate" in weighed.type(f"done {dose['code']} --as-shown", 1)
    weighed.at("2026-02-13 14:00:00").type('look "Q1 6 2" --no-signs')
    assert "0.01 g of metronidazole given" in weighed.type(f"done {dose['code']} --as-shown --eaten all")


def test_C7_a_dose_given_to_fish_that_did_not_eat_is_recorded(weighed: OnceRoom) -> None:
    """With --really, as whatever really happened; no portion was shown, so what was left has no bound."""
    weighed.type('look "Q1 6 0" --no-signs')
    code = weighed.code()
    said = weighed.type(f'done {code} --gave "0.01 g" --really --uneaten "1.5 g"')
    assert "eaten in part, 1.5 g were left" in said
    assert weighed.given(code)["hold"]["rule"] == "A6"


# --- Bought and chosen -----------------------------------------------------------------------------------------------


def test_F76_what_is_bought_is_what_the_card_says_to_weigh(weighed: OnceRoom) -> None:
    """0.2 g are weighed for each of five portions of 0.01 g; with 1 g in stock it is enough, with 0.9 g it is not."""
    card = next(line for line in weighed.json("dose metronidazole --tank Q1 --regimen M02")["how"] if "Prepare" in line)
    assert "weigh 0.2 g" in card
    (item,) = [one for one in weighed.json("shopping")["items"] if one["substance"] == "metronidazole"]
    assert (item["needed"], [one["needed"] for one in item["shorts"]]) == (1, [0.2] * 5)
    weighed.type('stock add Bag "1.5 g" --substance metronidazole --form powder --strength "50 %" --lot M5')
    card = next(line for line in weighed.json("dose metronidazole --tank Q1 --regimen M02")["how"] if "Prepare" in line)
    assert "weigh 0.2 g of Metronidazole, 50 %" in card
    (item,) = [one for one in weighed.json("shopping")["items"] if one["substance"] == "metronidazole"]
    assert (item["needed"], item["usable"], item["short"]) == (1, 1.5, 0)


def test_food_to_prepare_chooses_the_row_in_food(weighed: OnceRoom) -> None:
    """Metronidazole has one ready row for a bath and one in food: --food asks for the latter, and without it the bath
    is shown as before."""
    assert weighed.json('dose metronidazole --tank Q1 --food "50 g"')["dose"]["regimen"] == "M02"
    assert weighed.json("dose metronidazole --tank Q1")["dose"]["regimen"] == "M01"
    said = weighed.type('dose praziquantel --tank Q1 --food "50 g"', 1)
    assert "has no ready regimens in food in fresh water" in said
    assert "Z08: monogenean (silver perch), food" in said
    assert "Z01" not in said
    assert "is not given in food" in weighed.type('dose metronidazole --tank Q1 --regimen M01 --food "50 g"', 1)


def test_what_was_eaten_stands_in_the_documents(weighed: OnceRoom) -> None:
    """For programs the dose on record says how it was eaten."""
    code = weighed.code()
    (task,) = weighed.json(f"done {code} --as-shown --eaten part")["tasks"]
    assert "eaten in part" in task["says"]
    assert json.loads(json.dumps(weighed.given(code)))["eaten"] == "part"
