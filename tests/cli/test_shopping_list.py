"""The shopping list as a keeper meets it: what is planned, what is in stock, what to buy by when (F76, F77, P12)."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from amend_room import Room
from bath_room import template as bath_template

READY = "temp=25.5C ph=8.1 tan=0.1mg/L nitrite_no2=0.05mg/L oxygen=6.5mg/L salinity=34g/L"
JAR = 'stock add Jar "{}" --substance praziquantel --form powder --strength "100 %" --lot A12'
START = (
    "batch start --tank {} --protocol {} --arrived '{}' --fish '12 Centropyge bicolor' --from importer --to Show "
    "--acknowledge --yes"
)
FIRST = "2026-03-02 10:00"


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Room:
    """100 L of sea water in Q1, measured to 1 L, and nothing in stock."""
    made = Room(tmp_path, capsys, monkeypatch, water="marine")
    made.type("tank measure Q1 100L --by buckets --plus-minus 1L")
    return made.at(FIRST)


def start(room: Room, protocol: str = "marine-praziquantel", tank: str = "Q1", arrived: str = FIRST) -> str:
    return room.type(START.format(tank, protocol, arrived))


def item(room: Room, substance: str = "praziquantel", more: str = "") -> dict[str, Any]:
    """The substance's line of the list, its amounts exact."""
    (found,) = [one for one in room.json(f"shopping {more}")["items"] if one["substance"] == substance]
    return {key: Decimal(str(x)) if isinstance(x, (int, float)) else x for key, x in found.items()}


def ready(room: Room, at: datetime) -> None:
    """The day's look and readings, as the gates of a dose ask for them."""
    room.at(f"{at:%Y-%m-%d} 11:00").type(f"look 'Q1 12{'' if at.day == 2 else ' 3'}' --no-signs")
    room.type(f"reading Q1 {READY}")


def due(room: Room, kind: str) -> list[dict[str, Any]]:
    return [t for t in room.json("today")["tasks"] if t["kind"] == kind and t["section"] in ("due", "overdue")]


# --- Warned on day 0 ---------------------------------------------------------------------------------------------


def test_P12_a_preview_and_the_start_say_what_is_lacking_before_day_0(room: Room) -> None:
    """Two doses of 0.2 g and nothing on record: said with the day and the purchase, before anything is started."""
    line = (
        "Stock: Praziquantel, counted as pure (100 %): needed 0.4 g and 0.04 g for spillage; in stock nothing on "
        "record; short 0.4 g, from 2026-03-25 on: buy 0.44 g by 2026-03-18"
    )
    assert line in room.type("protocol preview marine-praziquantel --tank Q1 --arrived '2026-03-22 10:00'")
    said = room.at("2026-03-22 11:00").type(START.format("Q1", "marine-praziquantel", "2026-03-22 10:00"))
    assert line.replace("by 2026-03-18", "at once") in said


def test_a_preview_counts_what_is_planned_beside_it_and_writes_nothing(room: Room) -> None:
    """One jar for the batch that is there and the one that is thought of: both are in the need, the jar is one."""
    room.type(JAR.format("0.6 g"))
    assert "; enough" in start(room)
    before = room.json("journal")
    stock = room.json("protocol preview marine-praziquantel --tank Q1 --arrived '2026-04-22 10:00'")["stock"]
    assert [(one["substance"], one["needed"], one["short"]) for one in stock if one["needed"]] == [
        ("praziquantel", 0.8, 0.2)
    ]
    assert "of it 0.4 g for this batch, short 0.2 g" in room.type(
        "protocol preview marine-praziquantel --tank Q1 --arrived '2026-04-22 10:00'"
    )
    assert room.json("journal") == before


def test_a_protocol_without_medicine_says_nothing_of_stock(room: Room) -> None:
    """No dose, no line."""
    assert "Stock:" not in start(room, "marine-watch")


def test_F76_today_warns_seven_days_before_it_runs_out(room: Room) -> None:
    """0.3 g for two doses of 0.2 g, the second in seven days: one line, until there is more."""
    room.type(JAR.format("0.3 g"))
    start(room)
    line = "STOCK: Jar runs out on 2026-03-09, 0.1 g short in all: quarantine shopping"
    assert room.json("today")["stock"] == [line]
    assert line in room.type("today")
    assert "STOCK" not in room.type("today --on 2026-03-03")
    room.type("stock count Jar '0.5 g' --because weighed")
    assert room.json("today")["stock"] == []


def test_a_run_out_eight_days_ahead_is_left_to_the_list(room: Room) -> None:
    """The same a day earlier: the shopping list has it, today's list does not."""
    room.type(JAR.format("0.3 g"))
    made = room.template(
        "later", "marine-praziquantel", ('start = { arrival = "3 d" }\nrepeat', 'start = { arrival = "4 d" }\nrepeat')
    )
    start(room, made)
    assert str(item(room)["runs_out"]) == "2026-03-10"
    assert room.json("today")["stock"] == []
    assert room.at("2026-03-03 09:00").json("today")["stock"] != []


# --- The list ----------------------------------------------------------------------------------------------------


def test_F77_the_list_sums_over_batches_and_its_sum_is_that_of_the_shortfalls(room: Room) -> None:
    """Open and expected batches in order of days; the lead time moves the purchase, `--until` leaves the later out."""
    room.type(
        "tank add Q2 --site Hall --role quarantine --water marine --shape box --length 60cm --width 30cm --filled 30cm"
    )
    room.type("tank measure Q2 50L --by buckets --plus-minus 1L")
    room.type(JAR.format("0.3 g"))
    start(room)
    room.type(
        "batch expect Later --tank Q2 --protocol marine-praziquantel --from 2026-04-20 --fish '4 Centropyge bicolor' "
        "--source importer --to Show"
    )
    made = item(room)
    assert (made["needed"], made["short"], made["buy"]) == (Decimal("0.6"), Decimal("0.3"), Decimal("0.36"))
    assert made["short"] == sum(Decimal(str(one["short"])) for one in made["shorts"])
    assert [(one["batch"], one["day"]) for one in made["shorts"]] == [
        ("Q1-1", "2026-03-09"),
        ("Later", "2026-04-23"),
        ("Later", "2026-04-27"),
    ]
    assert (made["runs_out"], made["buy_by"]) == ("2026-03-09", "2026-03-02")
    assert item(room, more="--lead '2 weeks'")["buy_by"] == "2026-02-23"
    assert item(room, more="--lead 36h")["buy_by"] == "2026-03-07"
    assert item(room, more="--until 2026-03-31")["needed"] == Decimal("0.4")
    assert room.json("shopping --until 2026-03-03")["items"] == []
    said = room.type("shopping")
    assert "Praziquantel, 100 % (Jar): needed 0.6 g and 0.06 g for spillage; in stock 0.3 g usable" in said
    assert "short 0.3 g, from 2026-03-09 on: buy 0.36 g at once" in said
    assert "Praziquantel bath (2 of 2), Q1-1 in Q1, 2026-03-09: 0.1 g of 0.2 g lacking" in said
    assert "our choice, no source" in said
    assert "local law and a veterinarian come first" in said


def test_a_lot_that_expires_in_mid_course_is_short_though_it_is_full(room: Room) -> None:
    """5 g until the 8th, the second dose on the 9th: all of that dose is lacking, and what goes to waste is named."""
    room.type(f"{JAR.format('5 g')} --expires 2026-03-08")
    start(room)
    made = item(room)
    assert (made["short"], made["runs_out"]) == (Decimal("0.2"), "2026-03-09")
    assert "Jar, lot A12, expires 2026-03-08 with 4.8 g in it" in room.type("shopping")


def test_a_recalled_lot_covers_nothing(room: Room) -> None:
    """It is on record and not usable."""
    room.type(JAR.format("5 g"))
    start(room)
    room.type('stock recall Jar --lot A12 --because "the maker\'s letter"')
    assert (item(room)["usable"], item(room)["short"]) == (0, Decimal("0.4"))


def test_a_weaker_product_is_needed_in_its_own_grams_and_another_is_counted_by_strength(room: Room) -> None:
    """Of a powder of 50 % each dose takes 0.4 g; 0.1 g of the pure one beside it counts as 0.2 g of that."""
    room.type('stock add Half "0.4 g" --substance praziquantel --form powder --strength "50 %" --expires 2026-06')
    start(room)
    assert (item(room)["needed"], item(room)["short"]) == (Decimal("0.8"), Decimal("0.4"))
    room.type(JAR.format("0.1 g"))
    made = item(room)
    assert (made["product"], made["usable"], made["short"]) == ("Half", Decimal("0.6"), Decimal("0.2"))


def test_a_product_whose_strength_nobody_knows_is_not_counted(room: Room) -> None:
    """By itself it leaves every amount unknown; beside one that is known it covers nothing, and the list says so."""
    start(room)
    room.type('stock add Old "9 g" --substance praziquantel --form powder --strength unknown --expires 2026-05')
    made = item(room)
    assert (made["needed"], len(made["unknown"])) == (0, 2)
    assert "the strength of Old is not on record" in room.type("shopping")
    room.type(f"{JAR.format('0.3 g')} --expires 2026-04")
    made = item(room)
    assert (made["product"], made["usable"], made["short"]) == ("Jar", Decimal("0.3"), Decimal("0.1"))
    assert "Old is not counted: the strength of Old is not on record" in room.type("shopping")


def test_tablets_are_counted_in_whole_ones(room: Room) -> None:
    """0.2 g a dose out of tablets of 100 mg: two each time; of 150 mg one would lose a quarter, so it is not known."""
    start(room)
    room.type('stock add Small "3 tablets" --substance praziquantel --form tablet --each "100 mg"')
    made = item(room)
    assert (made["unit"], made["needed"], made["short"], made["buy"]) == ("tablets", 4, 1, 2)
    room.type('stock dispose Small --how "to the pharmacy"')
    room.type('stock add Large "9 tablets" --substance praziquantel --form tablet --each "150 mg"')
    made = item(room)
    assert (made["product"], made["needed"], len(made["unknown"])) == ("Large", 0, 2)
    assert "too coarse for it (rule C4)" in room.type("shopping")


def test_the_conditioner_is_that_of_the_cards_or_unknown(room: Room) -> None:
    """Without a test of the tap water no amount; with one the sum over all changes as the card of each day has it."""
    start(room)
    made = item(room, "sodium-thiosulfate")
    assert (made["needed"], len(made["unknown"])) == (0, 8)
    assert "the chlorine of its tap water was not read in 30 days" in room.type("shopping")
    room.type("reading Q1 --tap-chlorine 1mg/L")
    made = item(room, "sodium-thiosulfate")
    shown = Decimal(0)
    for day in sorted({one["day"] for one in made["shorts"]}):
        for task in room.json(f"today --on {day}")["tasks"]:
            if task["kind"] == "change" and task["day"] == day:
                shown += Decimal(str(task["conditioner"]["add_g"]))
    assert made["needed"] == made["short"] == shown > 0
    room.type("reading Q1 --tap-chlorine 0mg/L")
    assert item(room, "sodium-thiosulfate")["needed"] == 0
    room.at("2026-04-02 12:00").type("look 'Q1 12 3' --no-signs")
    assert item(room, "sodium-thiosulfate")["unknown"] != []


def test_what_hangs_on_the_day_is_named_and_never_guessed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A dip in a vessel that nobody has chosen yet; fish in food that nobody has weighed: no amount, and why."""
    fresh = Room(tmp_path, capsys, monkeypatch)
    fresh.at(FIRST)
    start(fresh, "fresh-salt-dip")
    assert "the litres of its vessel are said on the day" in fresh.type("shopping")
    assert item(fresh, "sodium-chloride")["needed"] == 0
    fresh.type(
        "tank add Q2 --site Hall --role quarantine --water fresh --shape box --length 60cm --width 30cm --filled 30cm"
    )
    start(fresh, "fresh-fenbendazole-food", "Q2")
    made = item(fresh, "fenbendazole")
    assert made["needed"] == 0
    assert {one["because"] for one in made["unknown"]} == {
        "a dose in food is sized by the weight of the fish, which is not on record"
    }
    fresh.type('batch weigh Q2-1 "3 g" --each --eats "1 %" --by "scale, 4 fish"')
    made = item(fresh, "fenbendazole")
    alive = fresh.json("batch show Q2-1")["alive"]
    fresh.type(f"look 'Q2 {alive} 3' --no-signs")
    how = fresh.json("dose fenbendazole --tank Q2 --regimen N05")["how"]
    card = re.search(r"Prepare: weigh ([\d.]+) g", " ".join(how))
    assert card is not None
    assert made["unknown"] == []
    doses = len(made["shorts"])
    assert doses > 1
    assert made["needed"] == doses * Decimal(card[1])


def test_the_water_for_the_end_of_a_bath_is_listed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A bath of a day ends at a level: the litres of its flush must stand ready, as its card will say (rule C5)."""
    fresh = Room(tmp_path, capsys, monkeypatch)
    fresh.type("tank measure Q1 100L --by buckets --plus-minus 1L")
    path = fresh.folder / "bath-watch.toml"
    path.write_text(bath_template(more='target = "2 mg/L"'), encoding="utf-8")
    fresh.at(FIRST)
    start(fresh, str(path))
    (water,) = fresh.json("shopping")["water"]
    assert (water["day"], water["batch"]) == ("2026-03-05", "Q1-1")
    assert 95 < water["litres"] < 100
    fresh.type("reading Q1 --tap-chlorine 1mg/L")
    tasks = {one["task"] for one in item(fresh, "sodium-thiosulfate")["shorts"]}
    assert "water for the end of bath of n01" in tasks
    assert "Water to stand ready: matched, conditioned water, " in fresh.type("shopping")


def test_the_end_of_a_bath_of_an_oxidiser_takes_no_conditioner(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Permanganate (K01): its water is shown free of chlorine by a test, and no thiosulfate is bought for it."""
    fresh = Room(tmp_path, capsys, monkeypatch)
    fresh.type("tank measure Q1 100L --by buckets --plus-minus 1L")
    path = fresh.folder / "bath-watch.toml"
    path.write_text(bath_template("K01", more='target = "2 mg/L"'), encoding="utf-8")
    fresh.at(FIRST)
    start(fresh, str(path))
    fresh.type("reading Q1 --tap-chlorine 1mg/L")
    said = fresh.type("shopping")
    assert "Water to stand ready: matched water that a test shows free of chlorine, no conditioner, " in said
    bought = [one for one in fresh.json("shopping")["items"] if one["substance"] == "sodium-thiosulfate"]
    assert not any("for the end of" in short["task"] for one in bought for short in one["shorts"])


HEAVY = {
    "sqlalchemy",
    "sqlmodel",
    "pydantic",
    "rich",
    "quarantine.plan",
    "quarantine.protocol",
    "quarantine.records.store",
}
ASK = "import sys; from quarantine.cli.app import run; run(sys.argv[1:]); print(*sorted(sys.modules))"


@pytest.mark.parametrize("command", ["today", "shopping"])
def test_the_list_and_todays_warning_start_light(room: Room, command: str) -> None:
    """With stock and open batches: no planner, no template reader, no ORM."""
    room.type(JAR.format("0.3 g"))
    start(room)
    words = [sys.executable, "-c", ASK, "--home", str(room.folder / "home"), command]
    said = subprocess.run(words, capture_output=True, text=True, check=True, timeout=60).stdout
    assert "Jar" in said
    assert "quarantine.actions.shopping" in said.split()
    assert HEAVY & set(said.split()) == set()


# --- Need and use ------------------------------------------------------------------------------------------------


MODE = ('mode = "as published"', 'mode = "replace removed"')
CHORE = (
    """kind = "change"
title = "Change half the water, to bring the medicine out"
start = { after = "dose", by = "3 d" }
repeat = { every = "1 d", times = 6, from = "given" }
after_window = "shift"
fraction = "50 %"
before = [{ word = "Half the water's litres of salt water, same temperature and salinity, stand ready" }]
""",
    """kind = "chore"
title = "Fresh carbon in, to bring the medicine out"
start = { after = "dose", by = "3 d" }
after_window = "shift"
""",
)
PLANNED = (
    'start = { after = "clear-water", by = "7 d" }\nrepeat = { every = "7 d", until = "observation" }',
    'start = { arrival = "5 d" }\nrepeat = { every = "2 d", times = 4 }',
)
GIVEN = "select data from fact where kind = 'dose'"
REDOSED = (MODE, CHORE, PLANNED)
FULL = (
    ('mode = "as published"', 'mode = "as published"\nafter_change = "full"'),
    ("times = 2, from", "times = 1, from"),
    CHORE,
    ('start = { after = "dose", by = "3 d" }', 'start = { after = "dose", by = "9 d" }'),
    PLANNED,
)


@pytest.mark.parametrize(
    ("changes", "grams"), [((), "0.4"), (REDOSED, "0.35"), (FULL, "0.6")], ids=["published", "replaced", "in full"]
)
def test_F76_the_need_is_what_a_simulated_course_uses_to_the_gram(
    room: Room, changes: tuple[Any, ...], grams: str
) -> None:
    """All work done as it is shown, day by day to the end: what was given is what was needed on day 0.

    Where changes are made good the plan has four of a quarter: with two doses two of them inside the treatment, one on
    the day of the second dose, one after clearing has begun; with one dose that is given in full again all are inside,
    and the published gap of 4 d lets the full amount be given on days 7 and 11.
    """
    name = room.template("own", "marine-praziquantel", *changes)
    start(room, name)
    needed = item(room)["needed"]
    moment = datetime(2026, 3, 2, 11, tzinfo=UTC)
    for _ in range(18):
        ready(room, moment)
        for task in due(room, "change"):
            room.type(f"done {task['code']} --as-shown")
            room.at(f"{moment:%Y-%m-%d} 12:30").type(f"reading Q1 {READY}")
        for task in due(room, "dose"):
            if task["hold"] is None:
                room.type(f"done {task['code']} --as-shown")
            else:
                assert task["hold"]["rule"] == "minimum gap", task["hold"]
        for task in due(room, "chore"):
            room.type(f"done {task['code']}")
        left = [one for one in room.json("shopping")["items"] if one["substance"] == "praziquantel"]
        given = sum((Decimal(json.loads(one)["given"]) for (one,) in room.rows(GIVEN)), Decimal(0))
        assert given + sum(Decimal(str(one["needed"])) for one in left) == needed, moment
        moment += timedelta(days=1)
    assert needed == given == Decimal(grams)
    assert left == []


# --- What is typed wrong -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "code", "says"),
    [
        ("shopping --lead 7", 1, "no unit"),
        ("shopping --lead '400 d'", 2, "is not 0 to 365 days"),
        ("shopping --lead '-1 d'", 1, "--lead"),
        ("shopping --until soon", 2, "is not a day; write YYYY-MM-DD"),
    ],
)
def test_wrong_input_is_one_sentence(room: Room, line: str, code: int, says: str) -> None:
    """What was wrong and what to write."""
    assert says in room.type(line, code)


def test_an_empty_record_needs_nothing(room: Room) -> None:
    """A sentence, and an empty list for programs."""
    assert room.type("shopping") == "Nothing that is planned takes anything out of the stock."
    assert room.json("shopping") == {"until": None, "lead_days": 7, "items": [], "water": []}
