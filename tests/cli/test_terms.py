"""School terms at the command line (needs F46, F57; acceptance story 6 of the needs)."""

from __future__ import annotations

from pathlib import Path

import pytest
from once_room import OnceRoom
from school_room import FISH, WEEKENDS, arrive, school

from quarantine.templates import shipped

LOOKS = 'repeat = { every = "1 d", until = "observation" }'

TENTH_DAY = """
[[step]]
id = "flush"
kind = "chore"
title = "Clean the filter"
start = { arrival = "10 d" }
who = "adult"
note = "Invented for this test."
references = ["school-days"]

[[step]]
id = "second-look"
kind = "chore"
title = "Look under the stones"
start = { arrival = "2 d" }
who = "adult"
note = "Invented for this test."
references = ["school-days"]

"""
"""Two tasks of an adult that no weekday moves: on the third and on the eleventh day of the stay (days 2 and 10)."""


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """A school with an empty quarantine tank. It is Wednesday."""
    return school(OnceRoom(tmp_path / "home", capsys), "2026-03-04 08:00:00")


def own_template(folder: Path, *changes: tuple[str, str]) -> str:
    """The school's protocol with changes, as a file."""
    text = shipped()["fresh-school-watch"].read_text(encoding="utf-8").replace("fresh-school-watch", "mine")
    for old, new in changes:
        head, look, rest = text.partition('id = "look"')
        assert old in rest
        text = head + look + rest.replace(old, new, 1)
    (folder / "mine.toml").write_text(text, encoding="utf-8")
    return str(folder / "mine.toml")


def test_a_wednesday_is_refused_and_monday_is_offered(room: OnceRoom, tmp_path: Path) -> None:
    """Story 6: a task of an adult falls on a Saturday, so the planner refuses the start with the reason and offers
    Monday; with a reason it is passed, and the sign-off shows that."""
    mine = own_template(tmp_path, ("# --- What happens", TENTH_DAY + "# --- What happens"))
    room.type(WEEKENDS)
    said = arrive(room, protocol=mine, code=1)
    assert "Fish that come on Wednesday 2026-03-04 need what nobody can do on its day" in said
    assert "The nearest day of arrival that works is Monday 2026-03-09" in said
    assert "day 10, Saturday 2026-03-14: Clean the filter (adults only): School is shut (weekend)" in said
    assert "No batch yet" in room.type("batch list")
    passed = arrive(room, "--because 'the caretaker is an adult'", protocol=mine)
    assert "Nobody can do on its day, passed (the caretaker is an adult)" in passed
    shown = room.type("signoff Q1-1")
    assert "passed by Robin (the caretaker is an adult): day 10, Saturday 2026-03-14: Clean the filter" in shown


def test_the_days_that_work_are_listed_with_why_the_others_fail(room: OnceRoom, tmp_path: Path) -> None:
    """Each day of the span: works, or the task, its day and the reason; nothing is written (F56)."""
    mine = own_template(tmp_path, ("# --- What happens", TENTH_DAY + "# --- What happens"))
    room.type(WEEKENDS)
    before = room.type("check")
    made = room.json(f"protocol start-days {mine} --tank Q1 --from 2026-03-09 --until 2026-03-15")
    works = [day["weekday"] for day in made["days"] if not day["clashes"]]
    assert works == ["Monday", "Tuesday"]
    assert made["nearest"] == "2026-03-09"
    said = room.type(f"protocol start-days {mine} --tank Q1 --from 2026-03-09 --until 2026-03-15")
    assert (
        "2026-03-11 Wednesday: no day 10, Saturday 2026-03-21: Clean the filter (adults only): School is shut" in said
    )
    assert room.type("check") == before


def test_a_stay_that_reaches_into_the_break_is_refused(room: OnceRoom) -> None:
    """The weekly change falls into the break, and nobody looks for days: both are named, and the first day after it."""
    room.type(WEEKENDS)
    room.type("site closed School 2026-03-28 2026-04-12 --what 'spring break'")
    said = arrive(room, code=1)
    assert "Change a quarter of the water (adults only): School is shut (spring break)" in said
    assert "3 in a row restart the clear count (rule A4)" in said
    assert "Monday 2026-04-13" in said


def test_at_most_48_hours_between_looks_do_not_bear_a_weekend(room: OnceRoom, tmp_path: Path) -> None:
    """F57: a template whose looks are at most 48 h apart is refused where the school is shut at weekends, with the
    reason; the same with looks that people do at weekends works."""
    within = LOOKS.replace('every = "1 d"', 'every = "24 h"').replace(" }", ', latest = "48 h", then = "keep" }')
    mine = own_template(tmp_path, (LOOKS, within))
    room.type(WEEKENDS)
    said = arrive(room, protocol=mine, code=1)
    assert "School is shut (weekend): 72 h from 2026-03-06 to 2026-03-09, and the template allows 48 h" in said
    assert "No day within 120 days works" not in said  # after the term there is one
    arrive(room)


def test_nothing_is_asked_where_no_absence_and_no_term_is_on_record(room: OnceRoom) -> None:
    """Most keepers never say one: their fish come as before, and the list says that it knows of none."""
    said = room.type("protocol start-days fresh-school-watch --tank Q1 --until 2026-03-05")
    assert "No absence and no closure is on record, so every day works by them." in said
    arrive(room)


def test_an_expectation_is_refused_for_each_day_that_clashes_and_its_reason_stands(room: OnceRoom) -> None:
    """Ordering is when it can still be changed: refused with the nearest day; the reason said then is not asked for
    again when the fish come, and the sign-off shows it."""
    room.type("site closed School 2026-03-30 2026-04-10 --what 'spring break'")
    order = f"batch expect Spring --tank Q1 --protocol fresh-school-watch --from 2026-03-06 --until 2026-03-09 {FISH}"
    order = order.replace('--from "a breeder"', '--source "a breeder"')
    said = room.type(order, 1)
    assert "Fish that come on Friday 2026-03-06 need what nobody can do" in said
    assert "Say another day, or why this one is kept" in said
    made = room.json(f"{order} --because 'the caretaker looks in'")
    assert any("also if they come on Monday 2026-03-09" in line for line in made["passed"])
    assert room.json("batch expect Spring --from 2026-03-06 --until 2026-03-09")["passed"]  # the same days
    room.type("batch expect Spring --from 2026-03-07 --until 2026-03-09", 1)  # others: asked again
    room.at("2026-03-06 08:00:00")
    room.type("batch arrived Spring --open-items 'all stands ready'")
    assert "passed by Robin (the caretaker looks in): day 24" in room.type("signoff Spring")


def test_a_closure_names_what_clashes_in_it_and_is_withdrawn(room: OnceRoom) -> None:
    """A day off in the middle of a stay: the adults' tasks of it, with codes; looks are whoever's is there."""
    arrive(room)
    said = room.type("site closed School 2026-03-11 2026-03-11 --what 'inset day'")
    assert "Open work that nobody can do then: 2" in said
    assert "School is shut (inset day)" in said
    assert "Change a quarter of the water (Q1-1)" in said
    assert room.type("site closed --list") == "School 2026-03-11 (inset day)"
    assert "School is not shut 2026-03-11: withdrawn." in room.type("site closed School 2026-03-11 --withdraw")
    assert "No site is on record as shut" in room.type("site closed --list")


def test_weekdays_are_read_in_any_order_and_only_they_are_shut(room: OnceRoom) -> None:
    """ "Sunday, sat" are Saturday and Sunday; a Monday of the span is open."""
    made = room.json("site closed School 2026-03-01 2026-03-31 --weekdays 'Sunday, sat' --what weekend")
    assert made["weekdays"] == ["sat", "sun"]
    arrive(room)


@pytest.mark.parametrize(
    ("line", "code", "says"),
    [
        ("site closed", 2, "Which site is shut, from which day to which?"),
        ("site closed School 2026-03-28 2026-04-12", 2, "What is it? Say --what"),
        ("site closed School 2026-03-28 2026-03-12 --what x", 2, "TO 2026-03-12 lies before FROM 2026-03-28"),
        ("site closed School 2026-03-28 2026-04-12 --what x --weekdays someday", 2, "of mon, tue, wed, thu, fri, sat"),
        ("site closed Nowhere 2026-03-28 2026-04-12 --what x", 1, "There is no site 'Nowhere'"),
        ("site closed School 2026-03-28 --withdraw", 1, "School is not shut from 2026-03-28; on record: nothing"),
        ("protocol start-days fresh-watch --tank Q9", 1, "There is no tank 'Q9'"),
        ("protocol start-days marine-watch --tank Q1", 1, "is for marine water; Q1 is fresh"),
        ("protocol start-days fresh-watch --tank Q1 --from 2026-03-01", 2, "has passed (today is 2026-03-04)"),
        ("protocol start-days fresh-watch --tank Q1 --until 2028-03-01", 2, "try fewer at once"),
        ("protocol start-days fresh-watch --tank Q1 --from 2026-03-09 --until 2026-03-08", 2, "lies before --from"),
    ],
)
def test_what_does_not_read_is_refused_in_a_sentence(room: OnceRoom, line: str, code: int, says: str) -> None:
    """Days, weekdays and places that do not fit: said what was wrong, and nothing is written."""
    before = room.type("check")
    assert says in room.type(line, code)
    assert room.type("check") == before


def test_a_medicated_protocol_says_what_the_stock_lacks_for_the_day_that_works(room: OnceRoom) -> None:
    """The stock stands beside the days, for a stay that begins on the first that works (F56, F76)."""
    assert "Stock:" in room.type("protocol start-days fresh-salt-dip --tank Q1 --until 2026-03-05")
