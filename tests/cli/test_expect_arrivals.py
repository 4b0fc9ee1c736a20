"""Ordered fish: what must stand ready before they come, late and early arrivals, and the bag into the tank.

Rows F46 and F64 of the needs, typed as a keeper types them. After every step `check` proves that the state rebuilt
from the journal is the state stored.
"""

from __future__ import annotations

import json
import shlex
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from freezegun import freeze_time

from quarantine.cli import app
from quarantine.protocol import load

BOX = '--shape box --length "60 cm" --width "30 cm" --filled "30 cm"'
ORDER = '--fish "12 Melanotaenia praecox, 3 cm" --source "a breeder" --to Show'
GOOD = "tan=0.1mg/L nitrite_no2=0.05mg/L ph=7.4 temp=25.2C"
ITEMS = ["clean", "filter", "heater", "kit", "lid", "stock", "water"]


class Desk:
    """A record of its own, a clock that is set, and what was printed. Every line that writes is followed by check."""

    def __init__(self, home: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.home, self.capsys = home, capsys
        self.now = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)

    def at(self, local: str) -> Desk:
        """Set the clock to a local time at the site."""
        self.now = datetime.fromisoformat(local).replace(tzinfo=ZoneInfo("Europe/Berlin")).astimezone(UTC)
        return self

    def run(self, line: str, code: int, *options: str) -> tuple[str, str]:
        """One command line: what stands on stdout and on stderr."""
        self.capsys.readouterr()
        with freeze_time(self.now):
            got = app.run(["--home", str(self.home), *options, *shlex.split(line)])
        said = self.capsys.readouterr()
        assert got == code, said
        assert "Traceback" not in said.err
        return said.out, said.err

    def type(self, line: str, code: int = 0) -> str:
        """One command line, and the record is whole afterwards; what it printed."""
        out, err = self.run(line, code)
        assert "The record is whole" in self.run("check", 0)[0]
        return err if code else out

    def json(self, line: str, code: int = 0) -> Any:
        """The document of one command line."""
        return json.loads(self.run(line, code, "--json")[0])

    def tasks(self, batch: str = "Rainbows") -> dict[str, dict[str, Any]]:
        """The tasks of a batch that are no template's, by the end of their step; of several the last."""
        found = self.json(f"batch show {batch}")["tasks"]
        return {t["step"].partition(".")[2]: t for t in found if "." in t["step"] and t["state"] != "withdrawn"}

    def codes(self, *names: str) -> str:
        """The codes of readiness tasks, for one command line."""
        tasks = self.tasks()
        return " ".join(tasks[name]["code"] for name in names)

    def expect(self, more: str = "--from 2026-03-10 --until 2026-03-12", tank: str = "Q1") -> str:
        """Rainbows are ordered."""
        return self.type(f"batch expect Rainbows --tank {tank} --protocol fresh-watch {ORDER} {more}")

    def make_ready(self) -> None:
        """All that must stand ready is: chores ticked, heater and filter proven, in the two days before the 10th."""
        self.at("2026-03-08 09:00").type("reading Q1 temp=25.0C")
        self.at("2026-03-09 10:00").type(f"reading Q1 {GOOD}")
        self.type(f"done {self.codes('clean', 'kit', 'lid', 'stock', 'water')}")


@pytest.fixture
def desk(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Desk:
    """Two quarantine tanks and where the fish go later; the clock stands at 1 March, 9 o'clock."""
    monkeypatch.delenv("COLUMNS", raising=False)
    desk = Desk(tmp_path / "home", capsys)
    desk.type("site add Hall --zone Europe/Berlin")
    desk.type("keeper add Robin")
    for name, role, water in (
        ("Q1", "quarantine", "fresh"),
        ("Q3", "quarantine", "fresh"),
        ("Show", "display", "fresh"),
        ("Q2", "quarantine", "marine"),
        ("Reef", "display", "marine"),
    ):
        desk.type(f"tank add {name} --site Hall --role {role} --water {water} {BOX}")
    return desk


def test_an_order_owns_what_must_stand_ready(desk: Desk) -> None:
    """Each readiness task has its day before the first day on which the fish may come, and stands in today's list."""
    said = desk.expect()
    days = {name: task["day"][-2:] for name, task in desk.tasks().items()}
    assert days == {
        "clean": "03",
        "kit": "07",
        "lid": "07",
        "stock": "07",
        "filter": "08",
        "heater": "08",
        "water": "09",
    }
    assert "14 L" in said  # a quarter of 54 L, up to the next litre
    assert desk.json("today")["tasks"] == []
    desk.at("2026-03-08 09:00")
    listed = desk.json("today")["tasks"]
    assert sorted(t["step"].partition(".")[2] for t in listed if t["section"] == "due") == ITEMS[:-1]
    assert {(*t["batches"], *t["tanks"]) for t in listed} == {("Rainbows", "Q1")}
    assert "Q1, empty; Rainbows expected 2026-03-10" in desk.run("today", 0)[0]


def test_an_order_at_short_notice_asks_for_all_today(desk: Desk) -> None:
    """No task is dated before the day on which the order was entered."""
    desk.expect("--from 2026-03-02")
    assert {task["day"] for task in desk.tasks().values()} == {"2026-03-01"}


def test_the_calendar_holds_what_must_stand_ready(desk: Desk, tmp_path: Path) -> None:
    """Readiness tasks are entries of the calendar file like other tasks."""
    desk.expect()
    file = tmp_path / "all.ics"
    desk.type(f"calendar write {file}")
    text = file.read_text(encoding="utf-8").replace("\r\n ", "")
    assert "SUMMARY:Lid on\\, without gaps\\, Q1" in text
    assert text.count("BEGIN:VEVENT") == len(ITEMS)


def test_stock_is_what_the_planned_doses_need_in_all(desk: Desk) -> None:
    """Two baths of 2 mg/L in 54 L are 0.108 g each, 0.1 g on a scale of 0.01 g with its error: 0.2 g in all."""
    desk.type(
        'batch expect Angels --tank Q2 --protocol marine-praziquantel --from 2026-03-10 --fish "4 Centropyge bicolor" '
        '--source "an importer" --to Reef'
    )
    shown = desk.json("protocol preview marine-praziquantel --tank Q2 --arrived 2026-03-10T00:00")
    total = next(t["grams"] for t in shown["totals"] if t["substance"] == "praziquantel")
    assert f"Stock at hand: {total} g of praziquantel in all" in desk.tasks("Angels")["stock"]["title"]


def test_chores_are_ticked_and_skipped_by_code(desk: Desk) -> None:
    """A readiness chore is done or skipped like any task, also before the fish are there; once only."""
    desk.expect()
    desk.type(f"done {desk.codes('clean')}")
    desk.type(f'skip {desk.codes("lid")} --because "a net over it"')
    assert {name: desk.tasks()[name]["state"] for name in ("clean", "lid", "kit")} == {
        "clean": "done",
        "lid": "skipped",
        "kit": "planned",
    }
    assert "was done by Robin" in desk.type(f"done {desk.codes('clean')}", 1)


def test_a_test_is_settled_by_readings_inside_the_limits_alone(desk: Desk) -> None:
    """Nitrite over its limit settles nothing and `why` says what is lacking; a later good reading settles it."""
    desk.expect()
    desk.at("2026-03-08 10:00").type("reading Q1 tan=0.1mg/L nitrite=0.5mg/L ph=7.4 temp=25C")
    assert desk.tasks()["filter"]["state"] == "planned"
    assert "nitrite 0.5 mg/L, needed: at most 0.2 mg/L" in desk.run(f"why {desk.codes('filter')}", 0)[0]
    assert "done by its readings" in desk.type(f"done {desk.codes('filter')}", 1)
    desk.at("2026-03-09 10:00").type("reading Q1 nitrite_no2=0.1mg/L")
    assert desk.tasks()["filter"]["state"] == "done"


def test_a_reading_of_another_tank_proves_nothing(desk: Desk) -> None:
    """Readings of Q3 do not prove the filter of Q1."""
    desk.expect()
    desk.at("2026-03-09 10:00").type(f"reading Q3 {GOOD}")
    assert desk.tasks()["filter"]["state"] == "planned"


@pytest.mark.parametrize(
    ("first", "then", "second", "state"),
    [
        ("25.0C", "2026-03-09 10:00", "25.9C", "done"),
        ("25.0C", "2026-03-09 10:00", "26.1C", "planned"),
        ("25.0C", "2026-03-08 20:00", "25.0C", "planned"),
        ("25.0C", "2026-03-09 22:30", "25.0C", "planned"),
    ],
    ids=["steady", "over 1 degree", "not 24 h yet", "over 36 h apart"],
)
def test_the_heater_is_steady_over_a_day(desk: Desk, first: str, then: str, second: str, state: str) -> None:
    """Two readings 24 to 36 h apart within 1 °C settle it; a larger swing, a shorter or a longer gap does not."""
    desk.expect()
    desk.at("2026-03-08 10:00").type(f"reading Q1 temp={first}")
    desk.at(then).type(f"reading Q1 temp={second}")
    assert desk.tasks()["heater"]["state"] == state


def test_a_test_taken_too_early_is_not_yet_the_proof(desk: Desk) -> None:
    """Good readings five days before the fish may come are too early."""
    desk.expect()
    desk.at("2026-03-05 10:00").type(f"reading Q1 {GOOD}")
    assert desk.tasks()["filter"]["state"] == "planned"


def test_a_late_arrival_moves_days_and_no_key(desk: Desk) -> None:
    """Said again with another day, what is open moves with it under its old code; what is done stays done."""
    desk.expect()
    desk.type(f"done {desk.codes('clean')}")
    codes = {name: task["code"] for name, task in desk.tasks().items()}
    said = desk.type("batch expect rainbows --from 2026-03-17")
    assert "2026-03-17 (was 2026-03-10 to 2026-03-12)" in said
    after = desk.tasks()
    assert {name: task["code"] for name, task in after.items()} == codes
    assert after["lid"]["day"] == "2026-03-14"
    assert after["clean"]["state"] == "done"


def test_a_day_that_passed_without_arrival_dates_what_is_open_to_today(desk: Desk) -> None:
    """After the first expected day the next entry in that water dates open tasks to today."""
    desk.expect()
    desk.at("2026-03-14 08:00").type("reading Q1 temp=25C")
    tasks = desk.tasks()
    assert {task["day"] for task in tasks.values()} == {"2026-03-14"}
    assert "passed without them" in desk.run(f"why {tasks['lid']['code']}", 0)[0]


def test_an_old_proof_is_asked_for_again_when_the_fish_are_late(desk: Desk) -> None:
    """A filter proven for the 10th is to be proven again for the 20th, as a task of its own."""
    desk.expect()
    desk.make_ready()
    assert desk.tasks()["filter"]["state"] == "done"
    first = desk.codes("filter")
    desk.type("batch expect Rainbows --from 2026-03-20")
    again = desk.tasks()["filter"]
    assert (again["state"], again["day"]) == ("planned", "2026-03-18")
    assert again["code"] != first
    assert again["title"].endswith("(again)")
    desk.at("2026-03-18 09:00").type(f"reading Q1 {GOOD}")
    assert desk.tasks()["filter"]["state"] == "done"


def test_arrival_takes_all_from_the_order(desk: Desk) -> None:
    """Everything ready: the arrival needs only the name; tank, protocol, fish and destination are those ordered."""
    desk.expect()
    desk.make_ready()
    made = desk.at("2026-03-10 14:30").json("batch arrived Rainbows --arrived 14:00")
    assert (made["tank"], made["protocol"], made["alive"]) == ("Q1", "fresh-watch", 12)
    assert made["open_items"] == []
    shown = desk.json("batch show Rainbows")
    assert (shown["state"], shown["arrived_on"], shown["destination"]) == ("open", "2026-03-10", "Show")
    assert shown["expected_from"] is None
    assert all(desk.tasks()[name]["state"] == "done" for name in ITEMS)
    assert "day 0" in desk.run("today", 0)[0]
    assert "expected" not in desk.run("today", 0)[0]


def test_arrival_can_differ_from_the_order(desk: Desk) -> None:
    """What came differently is said and rules; the dead are counted apart and need the number of the living."""
    desk.expect()
    desk.make_ready()
    desk.at("2026-03-10 14:30")
    assert "how many came alive" in desk.type("batch arrived Rainbows --dead-on-arrival 2", 1)
    made = desk.json(
        'batch arrived Rainbows --dead-on-arrival 2 --fish "10 Melanotaenia praecox" --source "another breeder"'
    )
    assert (made["alive"], made["dead_on_arrival"]) == (10, 2)
    assert desk.json("batch show Rainbows")["source"] == "another breeder"


def test_arrival_is_refused_while_something_is_open(desk: Desk) -> None:
    """The refusal lists each open item with its code, and what a test lacks; nothing was written."""
    desk.expect()
    desk.at("2026-03-08 09:00").type(f"done {desk.codes('clean', 'kit')}")
    desk.at("2026-03-10 14:30")
    refused = desk.type("batch arrived Rainbows", 1)
    assert "open of what must stand ready: 5" in refused
    assert f"{desk.codes('lid')} Lid on, without gaps" in refused
    assert "no reading of the last 36 h" in refused
    assert desk.json("batch show Rainbows")["state"] == "expected"


def test_open_items_are_passed_by_a_named_person_and_shown_at_sign_off(desk: Desk) -> None:
    """With a reason the fish start; what was open is skipped with it, and the sign-off says who passed what and why."""
    desk.expect()
    desk.at("2026-03-08 09:00").type(f"done {desk.codes('clean', 'kit', 'stock', 'water')}")
    desk.at("2026-03-10 14:30")
    said = desk.type('batch arrived Rainbows --open-items "came a day early"')
    assert "Passed, not ready" in said
    assert {name: desk.tasks()[name]["state"] for name in ("lid", "filter", "heater", "clean")} == {
        "lid": "skipped",
        "filter": "skipped",
        "heater": "skipped",
        "clean": "done",
    }
    signoff = desk.run("signoff Rainbows", 0)[0]
    assert "Not ready at arrival, passed by Robin (came a day early): " in signoff
    assert "Lid on, without gaps" in signoff
    rejected = desk.type("signoff Rainbows --reject")
    assert "passed by Robin (came a day early)" in rejected


def test_a_stale_proof_is_open_at_arrival(desk: Desk) -> None:
    """Fish that come five days late find the filter's proof too old: it is listed as open."""
    desk.expect()
    desk.make_ready()
    refused = desk.at("2026-03-15 12:00").type("batch arrived Rainbows", 1)
    assert "Prove the filter: ammonia and nitrite (again)" in refused
    assert "Lid on" not in refused


def test_another_tank_at_arrival_was_not_made_ready(desk: Desk) -> None:
    """Fish put into another tank than the one made ready: all its items are open, and it starts there with a reason."""
    desk.expect()
    desk.make_ready()
    desk.at("2026-03-10 14:30")
    refused = desk.type("batch arrived Rainbows --tank Q3", 1)
    assert "open of what must stand ready: 7" in refused
    assert "(was for Q1)" in refused
    made = desk.json('batch arrived Rainbows --tank Q3 --open-items "Q1 leaks"')
    assert made["tank"] == "Q3"
    assert desk.type("check")


def test_a_dry_run_of_each_command_writes_nothing(desk: Desk) -> None:
    """--dry-run shows the consequence of expecting, arriving and calling off, and takes it back."""
    line = f"batch expect Rainbows --tank Q1 --protocol fresh-watch {ORDER} --from 2026-03-10"
    assert "Dry run" in desk.type(f"{line} --dry-run")
    assert desk.json("batch list")["batches"] == []
    desk.expect()
    for line in ('batch arrived Rainbows --open-items "trial"', "batch call-off Rainbows --because trial"):
        assert "Dry run" in desk.type(f"{line} --dry-run")
        assert desk.json("batch show Rainbows")["state"] == "expected"


def test_an_order_is_called_off(desk: Desk) -> None:
    """Called off with its reason, its open tasks are withdrawn and its name is not started any more."""
    desk.expect()
    desk.type(f"done {desk.codes('clean')}")
    assert "Tasks withdrawn: 6." in desk.type('batch call-off Rainbows --because "sold out"')
    assert "state: called off: sold out" in desk.run("batch show Rainbows", 0)[0]
    assert desk.at("2026-03-09 09:00").json("today")["tasks"] == []
    assert "was called off" in desk.type("batch arrived Rainbows", 1)
    assert "was called off" in desk.type("batch expect Rainbows --from 2026-03-20", 1)
    assert "Rainbows: called off" in desk.run("batch list", 0)[0]


def test_a_tick_is_taken_back_before_the_fish_come(desk: Desk) -> None:
    """undo opens a readiness task again; a test falls back to what its readings still say."""
    desk.expect()
    desk.type(f"done {desk.codes('clean')}")
    desk.type("undo wrong tank")
    assert desk.tasks()["clean"]["state"] == "planned"
    desk.at("2026-03-08 10:00").type("reading Q1 temp=25C")
    desk.at("2026-03-09 11:00").type(f"reading Q1 {GOOD}")
    assert desk.tasks()["filter"]["state"] == "done"
    desk.type("undo wrong bottle")
    assert [desk.tasks()[name]["state"] for name in ("filter", "heater")] == ["planned", "planned"]


@pytest.mark.parametrize(
    ("line", "code", "says"),
    [
        (
            "batch expect R --from 2026-03-10",
            2,
            "say also --tank TANK, --protocol ID (quarantine protocol list), --fish",
        ),
        ("batch expect R --from 2026-03-10 --tank Q1 --to Show", 2, "say also --protocol ID"),
        ("batch expect R --from 2026-03-10 --tank Q1 --to Show --protocol fresh-watch", 2, "say also --fish"),
        (
            "batch expect R --from 2026-03-10 --tank Q1 --to Show --protocol fresh-watch --fish '2 fish'",
            2,
            "say also --source WHERE.",
        ),
        (f"batch expect R --tank Q1 --protocol fresh-watch {ORDER} --from 2026-02-20", 1, "has passed"),
        (f"batch expect R --tank Q1 --protocol fresh-watch {ORDER} --from 2026-12-20", 1, "294 days ahead"),
        (
            f"batch expect R --tank Q1 --protocol fresh-watch {ORDER} --from 2026-03-05 --until 2026-06-05",
            1,
            "92 days wide",
        ),
        (
            f"batch expect R --tank Q1 --protocol fresh-watch {ORDER} --from 2026-03-05 --until 2026-03-04",
            2,
            "lies before",
        ),
        (f"batch expect R --tank Q1 --protocol fresh-watch {ORDER} --from 10/03/2026", 2, "is not a day"),
        (f"batch expect R --tank Q1 --protocol marine-watch {ORDER} --from 2026-03-05", 1, "is for marine water"),
        (f"batch expect R --tank Show --protocol fresh-watch {ORDER} --from 2026-03-05", 1, "tank they are in"),
        ("batch arrived R", 1, "There is no batch 'R'"),
        ("batch call-off R --because x", 1, "There is no batch 'R'"),
    ],
)
def test_what_is_missing_or_wrong_is_said_in_a_sentence(desk: Desk, line: str, code: int, says: str) -> None:
    """Each slip is one plain sentence, and nothing is written."""
    assert says in desk.type(line, code)
    assert desk.json("batch list")["batches"] == []


def test_far_days_are_taken_when_they_are_meant(desk: Desk) -> None:
    """A day far ahead is asked about once; --yes accepts it."""
    desk.expect("--from 2026-12-20 --yes")
    assert desk.json("batch show Rainbows")["expected_from"] == "2026-12-20"


def test_an_arrival_before_the_order_is_asked_about(desk: Desk) -> None:
    """Fish that came before they were entered as expected are most often a slip of the date."""
    desk.expect()
    said = desk.type('batch arrived Rainbows --arrived "2026-02-01 12:00" --open-items x', 1)
    assert "was entered as expected" in said
    assert "lies in the future" in desk.type('batch arrived Rainbows --arrived "2026-03-10 12:00"', 1)


def test_other_fish_into_a_tank_that_waits_are_asked_about(desk: Desk) -> None:
    """`batch start` in a tank where fish are expected asks whether these are they."""
    desk.expect()
    line = 'batch start --tank Q1 --protocol fresh-watch --arrived 09:00 --fish "2 Corydoras panda" --from x --to Show'
    assert "quarantine batch arrived Rainbows" in desk.type(line, 1)
    assert "Q1-1" in desk.type(f"{line} --yes")


def test_a_batch_that_is_there_is_not_expected(desk: Desk) -> None:
    """An open batch can neither arrive again nor be re-dated; an expected one cannot be signed off."""
    desk.expect()
    assert "has not come yet" in desk.type("signoff Rainbows", 1)
    desk.type("batch arrived Rainbows --open-items early")
    for line in (
        "batch arrived Rainbows",
        "batch expect Rainbows --from 2026-03-20",
        "batch call-off Rainbows --because x",
    ):
        assert "arrived 2026-03-01 09:00; it is not expected" in desk.type(line, 1)


def test_a_medicated_protocol_is_acknowledged_at_arrival(desk: Desk) -> None:
    """Expecting gives no medicine; the arrival asks for the acknowledgement, with the cautions before it."""
    desk.type(
        'batch expect Angels --tank Q2 --protocol marine-praziquantel --from 2026-03-01 --fish "4 Centropyge bicolor" '
        '--source "an importer" --to Reef'
    )
    out, err = desk.run("batch arrived Angels --open-items early", 1)
    assert "Caution: " in out
    assert "--acknowledge" in err
    assert "Angels" in desk.type("batch arrived Angels --open-items early --acknowledge --yes")


# --- The bag --------------------------------------------------------------------------------------------------

BAG = '--bag-temp 22C --bag-ph 6.4 --bag-tan "5 mg/L" --bag-litres "3 L" --transit "30 h" --box "two bags, one soft"'
TANK = "temp=25.0C ph=7.8 tan=0.1mg/L"


def came(desk: Desk, bag: str, tank: str = TANK) -> str:
    """Fish come today with a bag that was read."""
    desk.expect("--from 2026-03-01")
    desk.type(f"reading Q1 {tank}")
    return desk.type(f"batch arrived Rainbows --open-items early {bag}")


def test_the_bag_is_kept_and_its_way_into_the_tank_computed(desk: Desk) -> None:
    """A bag closed for 30 h is floated and released; the caution says what its ammonia becomes once it is open."""
    said = came(desk, BAG)
    assert "Bag: temperature 22 °C, pH 6.4, total ammonia nitrogen 5 mg/L, 3 L of water, 30 h on the way." in said
    assert "Box: two bags, one soft" in said
    assert "1. Float the closed bag 30 min" in said
    assert "2. Net the fish over into the tank; throw the bag's water away." in said
    assert "should the pH climb to 7.85; harm begins at 0.05 mg/L" in said
    shown = desk.run("batch show Rainbows", 0)[0]
    assert "1. Float the closed bag 30 min" in shown
    assert "30 h on the way" in shown


def test_the_opened_bag_is_judged_by_the_high_end(desk: Desk) -> None:
    """5 mg/L read to 1 mg/L, at the high end of pH and temperature of bag and tank, as un-ionized ammonia.

    Share by Emerson and others, 1975: 1 / (1 + 10^(0.09018 + 2729.92 / 298.2 - 7.85)) at 25.05 °C and pH 7.85.
    """
    share = 1 / (1 + 10 ** (0.09018 + 2729.92 / (273.15 + 25.05) - 7.85))
    said = came(desk, BAG)
    figure = float(said.split("mg/L at most while it is closed, ")[1].split(" mg/L")[0])
    assert 5.5 * share <= figure <= 5.5 * share * 1.05


def test_the_way_in_is_a_row_of_tasks_with_codes(desk: Desk) -> None:
    """Float and release stand in today's list in their order; the template's own chore brings dim light and no food."""
    came(desk, BAG)
    titles = [t["title"] for t in desk.json("today")["tasks"] if t["step"].startswith("arrival.")]
    assert titles == [
        "Arrival 1 of 2: float the closed bag 30 min",
        "Arrival 2 of 2: net the fish over, none of the bag's water",
    ]
    assert desk.json("today")["tasks"][0]["title"] == titles[0]
    desk.type(f"done {desk.tasks()['float']['code']}")
    desk.type("look Q1 12 --no-signs")  # the plan is made again
    assert [desk.tasks()[name]["state"] for name in ("float", "release")] == ["done", "planned"]
    assert "Net the fish over" in desk.run(f"why {desk.tasks()['release']['code']}", 0)[0]


def test_a_short_trip_with_little_ammonia_is_mixed_in_steps(desk: Desk) -> None:
    """Closed for an hour and harmless once open: tank water is added in steps, per litre where litres are unknown."""
    said = came(desk, '--bag-temp 23C --bag-ph 7.4 --bag-tan "0.1 mg/L" --transit "1 h"')
    assert "L of tank water for each litre of bag water, wait" in said
    assert "mix" in desk.tasks()
    assert "The other way the sources name: 1. Float" in said


def test_the_tank_is_read_before_the_bag_is_opened(desk: Desk) -> None:
    """Without a temperature of the tank the way in is not computed: it is asked for by name, or --yes goes on."""
    desk.expect("--from 2026-03-01")
    assert "quarantine reading Q1 temp=" in desk.type("batch arrived Rainbows --open-items early --bag-temp 22C", 1)
    assert desk.json("batch show Rainbows")["state"] == "expected"
    assert "Float" not in desk.type("batch arrived Rainbows --open-items early --bag-temp 22C --yes")


def test_an_arrival_entered_days_later_has_no_chores_of_day_0(desk: Desk) -> None:
    """What was read of the bag is kept, but nobody is told to float a bag of last week."""
    desk.expect("--from 2026-03-01")
    desk.at("2026-03-05 09:00")
    desk.type('batch arrived Rainbows --arrived "2026-03-01 12:00" --open-items late --bag-temp 22C')
    assert "float" not in desk.tasks()
    assert "Bag: temperature 22 °C" in desk.run("batch show Rainbows", 0)[0]


def test_batch_start_takes_a_bag_too(desk: Desk) -> None:
    """Fish that nobody expected bring a bag as well."""
    desk.type(f"reading Q1 {TANK}")
    said = desk.type(
        'batch start --tank Q1 --protocol fresh-watch --arrived 09:00 --fish "2 Corydoras panda" --from x --to Show '
        + BAG
    )
    assert "1. Float the closed bag" in said


def test_a_template_without_a_chore_of_day_0_gets_dim_light_and_no_food(desk: Desk, tmp_path: Path) -> None:
    """Dim light and no food on day 0 is a task unless the template has a chore of its own for that day."""
    before, settle, after = load("fresh-watch").text.partition('id = "settle"')
    later = after.replace('start = { arrival = "0 d" }', 'start = { arrival = "1 d" }', 1)
    own = tmp_path / "own.toml"
    own.write_text((before + settle + later).replace('id = "fresh-watch"', 'id = "own"'), encoding="utf-8")
    desk.type(
        f'batch start --tank Q1 --protocol {own} --arrived 09:00 --fish "2 Corydoras panda" --from x --to Show --name O'
    )
    assert desk.tasks("O")["quiet"]["title"] == "Arrival 1 of 1: dim light, no food today"


@pytest.mark.parametrize(
    ("option", "says"),
    [
        ("--bag-temp 22", "22"),
        ("--bag-ph sour", "pH"),
        ("--bag-tan 5ppt", "5ppt"),
        ("--bag-litres 3", "3"),
        ("--transit long", "--transit"),
        ("--transit '900 h'", "240"),
    ],
)
def test_a_bag_that_does_not_read_is_a_sentence(desk: Desk, option: str, says: str) -> None:
    """A slip about the bag is refused in a sentence and nothing is written."""
    desk.expect("--from 2026-03-01")
    code = 2 if "--transit" in option or "ph sour" in option else 1
    assert says in desk.type(f"batch arrived Rainbows --open-items early {option}", code)
    assert desk.json("batch show Rainbows")["state"] == "expected"


def test_F64_the_sources_time_for_claims_is_a_task_with_its_deadline(desk: Desk) -> None:
    """24 h from the arrival, to the minute and past midnight; on every list until it is ticked, overdue after that; a
    keeper's, so not on a sitter's sheet; and not one of the numbered chores of day 0."""
    desk.expect("--from 2026-03-02")
    desk.at("2026-03-02 14:30")
    came = '--fish "11 Melanotaenia praecox" --dead-on-arrival 1 --claim-within "24 h"'
    said = desk.type(f"batch arrived Rainbows --open-items early {came}")
    assert "The source takes claims for 24 h from the arrival." in said
    task = desk.tasks()["claim"]
    for line, whose in (("today", ""), ("sheet", " (keepers only)")):
        words = f"Claim from the source what came dead or ill{whose}, until 2026-03-03 14:30"
        assert words in " ".join(desk.run(line, 0)[0].split())
    assert "Claim" not in desk.run("sheet --sitter", 0)[0]
    assert "1 of 1" not in task["title"]
    desk.at("2026-03-03 14:29")
    assert "OVERDUE" not in desk.run("today", 0)[0].partition("Claim")[2].partition("\n")[0]
    desk.at("2026-03-04 09:00")
    assert "Claim from the source what came dead or ill, OVERDUE since 2026-03-03 14:30" in " ".join(
        desk.run("today", 0)[0].split()
    )
    desk.type(f"done {task['code']}")
    assert "Claim" not in desk.run("today", 0)[0]


def test_F64_a_time_for_claims_that_is_over_makes_no_task(desk: Desk) -> None:
    """Entered three days later there is nothing left to claim; what was agreed is kept."""
    desk.at("2026-03-05 09:00")
    fish = '--fish "4 Melanotaenia praecox" --from "a breeder" --to Show'
    line = f'batch start --tank Q3 --protocol fresh-watch --arrived "2026-03-02 12:00" {fish} --claim-within "24 h"'
    desk.type(line)
    assert "claim" not in desk.tasks("Q3-1")
    assert "claims for 24 h" in desk.run("batch show Q3-1", 0)[0]
    assert "'a day' does not read" in desk.type(line.replace("24 h", "a day"), 2)
