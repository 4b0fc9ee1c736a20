"""Absences and roles at the command line (needs F46, F56, F62; rules C7, C18, C19)."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from once_room import OnceRoom, furnish
from school_room import arrive, school


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """A school with an empty quarantine tank."""
    return school(OnceRoom(tmp_path / "home", capsys))


@pytest.fixture
def hall(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """A hall with a dose due, and a third keeper who is a sitter."""
    made = furnish(OnceRoom(tmp_path / "home", capsys))
    made.type("keeper add Kim")
    made.type("keeper role Kim sitter")
    return made


# --- Absences ------------------------------------------------------------------------------------------------


def test_an_absence_names_at_once_what_nobody_can_do(room: OnceRoom) -> None:
    """The open tasks that clash are listed with code, day and batch; nothing is moved by it (F56)."""
    arrive(room)
    before = room.json("batch show Q1-1")
    room.type("absent Robin 2026-03-09 2026-03-11 --because course")
    said = room.type("absent Noor 2026-03-10 2026-03-10")
    assert "Noor is away 2026-03-10. Nothing was moved. Open work that nobody can do then: 1 2026-03-10 " in said
    assert "Test ammonia, nitrite and pH (Q1-1): Noor and Robin (course) are away, and nobody else may do it" in said
    made = room.json("absent Noor 2026-03-11 2026-03-12")
    assert [(c["day_on"], c["batch"], c["title"]) for c in made["clashes"]] == [
        ("2026-03-11", "Q1-1", "Test ammonia, nitrite and pH")
    ]
    assert made["clashes"][0]["code"] in {t["code"] for t in room.json("batch show Q1-1")["tasks"]}
    assert room.json("batch show Q1-1") == before


def test_an_absence_that_another_one_covers_clashes_with_nothing(room: OnceRoom) -> None:
    """While somebody is there who may do the work there is nothing to say."""
    arrive(room)
    assert "No open work of those days is left without somebody" in room.type("absent Robin 2026-03-09 2026-03-11")


def test_absences_are_listed_until_they_end_and_withdrawn_by_a_row_of_their_own(room: OnceRoom) -> None:
    """A withdrawal is an entry like others: the list no longer has the absence, the journal has both."""
    room.type("absent Robin 2026-03-09 2026-03-11 --because course")
    room.type("absent Noor 2026-03-05 2026-03-05")
    assert [a["keeper"] for a in room.json("absent --list")["absences"]] == ["Noor", "Robin"]
    assert room.at("2026-03-06 08:00:00").type("absent --list") == "Robin 2026-03-09 to 2026-03-11 (course)"
    assert "withdrawn" in room.type("absent Robin 2026-03-09 --withdraw --because 'it was called off'")
    assert "Nobody is on record as away" in room.type("absent --list")
    kinds = [entry["kind"] for entry in room.json("journal")["entries"]]
    assert kinds.count("keeper absent") == 2
    assert kinds.count("absence withdrawn") == 1
    assert "whole" in room.type("check")


def test_no_name_of_who_is_away_stands_in_the_journal(room: OnceRoom) -> None:
    """A keeper's name can be erased: neither an absence nor what was passed because of it keeps it."""
    room.type("keeper add Wilhelmina")
    room.type("absent Wilhelmina 2026-03-09 2026-03-11")
    for keeper in ("Robin", "Noor", "Kim"):
        room.type(f"absent {keeper} 2026-03-09 2026-03-11")
    assert "Wilhelmina" in arrive(room, code=1)
    arrive(room, "--because 'the caretaker looks in'")
    room.type(
        "batch expect Later --tank Q1 --protocol fresh-watch --from 2026-03-08 --fish '3 Corydoras' --source club "
        "--to Pond --because 'a neighbour looks in'"
    )
    for entry in room.json("journal --last 8")["entries"]:
        assert "Wilhelmina" not in json.dumps(entry), entry["kind"]


@pytest.mark.parametrize(
    ("line", "code", "says"),
    [
        ("absent", 2, "Who is away, from which day to which?"),
        ("absent Robin 2026-03-09", 2, "Who is away, from which day to which?"),
        ("absent Robin 2026-03-09 2026-03-08", 2, "TO 2026-03-08 lies before FROM 2026-03-09"),
        ("absent Robin 9.3. 2026-03-11", 2, "FROM '9.3.' is not a day; write YYYY-MM-DD"),
        ("absent Robin 2026-03-09 2028-03-09", 2, "write 400 days at most"),
        ("absent Nobody 2026-03-09 2026-03-10", 1, "There is no keeper 'Nobody'"),
        ("absent Robin 2026-03-09 --withdraw", 1, "Robin is not away from 2026-03-09; on record: nothing"),
        (f"absent Robin 2026-03-09 2026-03-10 --because {'x' * 201}", 2, "longer than 200 characters"),
        ("keeper role Kim boss", 2, "A role is one of keeper, adult, sitter, pupil, not 'boss'"),
        ("keeper role Kim pupil", 1, "Kim is on record as pupil already"),
    ],
)
def test_what_does_not_read_is_refused_in_a_sentence(room: OnceRoom, line: str, code: int, says: str) -> None:
    """Days, names and roles that do not fit: said what was wrong, and nothing is written."""
    before = room.type("check")
    assert says in room.type(line, code)
    assert room.type("check") == before


def test_the_same_absence_twice_is_refused_and_a_dry_run_writes_nothing(room: OnceRoom) -> None:
    """Said twice it is a slip; with --dry-run nothing is on record afterwards."""
    room.type("absent Robin 2026-03-09 2026-03-11 --dry-run")
    assert "Nobody is on record as away" in room.type("absent --list")
    room.type("absent Robin 2026-03-09 2026-03-11")
    assert "on record as away 2026-03-09 to 2026-03-11 already" in room.type("absent Robin 2026-03-09 2026-03-11", 1)


# --- Before an arrival ---------------------------------------------------------------------------------------


def test_the_readiness_list_names_the_absences_of_the_first_week(room: OnceRoom) -> None:
    """Who is away in the first week stands beside the list, and agreeing on it is an item to tick (F46)."""
    expect = (
        "batch expect Spring --tank Q1 --protocol fresh-watch --from 2026-03-16 --fish '3 Corydoras' --source club "
        "--to Pond"
    )
    before = room.json(expect)
    assert not any("away" in task["title"] for task in before["tasks"])
    room.type("absent Robin 2026-03-23 2026-03-30")  # the eighth day
    assert not any("away" in task["title"] for task in room.json("batch expect Spring --from 2026-03-16")["tasks"])
    room.type("absent Noor 2026-03-18 2026-03-19")
    made = room.json("batch expect Spring --from 2026-03-16")
    item = next(task for task in made["tasks"] if "away" in task["title"])
    assert item["title"] == "Agree who does the work while somebody is away: 2026-03-18 to 2026-03-19"
    assert made["away"] == ["Noor 2026-03-18 to 2026-03-19"]
    assert item["who"] == "keeper"
    later = room.json("batch expect Spring --from 2026-03-17")  # Robin's eighth day became the seventh
    assert later["away"] == ["Noor 2026-03-18 to 2026-03-19", "Robin 2026-03-23 to 2026-03-30"]
    room.type("absent Noor 2026-03-18 --withdraw")
    titles = [task["title"] for task in room.json("batch expect Spring --from 2026-03-17")["tasks"]]
    assert "Agree who does the work while somebody is away: 2026-03-23 to 2026-03-30" in titles


def test_an_absence_alone_changes_the_readiness_list_on_record(room: OnceRoom) -> None:
    """The item is there at once, without a word to the batch; and open at arrival it is passed with a reason."""
    room.type(
        "batch expect Spring --tank Q1 --protocol fresh-watch --from 2026-03-04 --fish '3 Corydoras' --source club "
        "--to Pond"
    )
    room.type("absent Noor 2026-03-05 2026-03-06")
    assert any("somebody is away" in task["title"] for task in room.json("today")["tasks"])
    came = room.at("2026-03-04 08:00:00").type("batch arrived Spring", 1)
    assert "open of what must stand ready" in came
    room.type("batch arrived Spring --open-items 'the club cleaned it'")
    assert "Agree who does the work while somebody is away: 2026-03-05 to 2026-03-06" in room.type("signoff Spring")


# --- Roles ---------------------------------------------------------------------------------------------------


def test_a_sitter_ticks_no_dose_and_is_told_who_may(hall: OnceRoom) -> None:
    """Rule C19: done, skip and bath start of a dose are refused with who may; nothing was recorded."""
    code = hall.code()
    for line in (f"done {code} --as-shown", f"done {code} --gave '0.09 g' --really", f"skip {code} --because away"):
        said = hall.type(line, 1, who="Kim")
        assert "sitters and pupils handle no medicine (rule C19). Noor and Robin may." in said
        assert "nothing was recorded" in said
    assert hall.json(f"bath start {code}", 1, who="Kim")["error"]["may"] == ["Noor", "Robin"]
    assert hall.code() == code
    hall.type(f"done {code} --as-shown")


def test_what_a_sitter_really_gave_is_recorded(hall: OnceRoom) -> None:
    """Rule C7: the fact is never refused; event dose asks once, with --really it stands in the water's ledger."""
    asked = hall.type("event dose Q2 Z01 --gave '0.09 g'", 1, who="Kim")
    assert "not for Kim, who is on record as a sitter" in asked
    assert "say so with --really" in asked
    assert "recorded" in hall.type("event dose Q2 Z01 --gave '0.09 g' --really", who="Kim")
    assert "praziquantel" in hall.type("level Q2")


def test_a_veterinarian_s_instruction_is_not_a_sitter_s(hall: OnceRoom) -> None:
    """What passes holds is written by who handles medicine."""
    line = "vet add Q2-1 --by 'a practice' --on 2026-02-13 --regimen Z01 --dose '2 mg/L' --until 2026-02-20 --words 'x'"
    assert "A veterinarian's instruction is not for Kim" in hall.type(line, 1, who="Kim")
    hall.type(line)


def test_an_adult_s_task_is_not_a_pupil_s_and_a_fact_is_asked_about_once(room: OnceRoom) -> None:
    """`who = "adult"` refuses a pupil and names who may; what was really done is recorded (C7)."""
    arrive(room)
    chore = next(t for t in room.json("today")["tasks"] if t["title"].startswith("Move the fish in"))["code"]
    said = room.type(f"done {chore}", 1, who="Kim")
    assert "is for adults only, and Kim is on record as a pupil. Noor and Robin may." in said
    room.type(f"done {chore} --really", who="Kim")


def test_a_keeper_without_a_role_may_do_what_was_allowed_before(hall: OnceRoom) -> None:
    """A role is only asked about where one was said: Noor has none, and gives the dose."""
    assert "given to Q2" in hall.type(f"done {hall.code()} --as-shown", who="Noor")


def test_the_last_role_rules(hall: OnceRoom) -> None:
    """A role is changed by another entry, two of one second in their order; the list of keepers shows it."""
    hall.type("keeper role Kim adult")
    assert hall.json("keeper list") == {"keepers": ["Kim", "Noor", "Robin"], "roles": {"Kim": "adult"}}
    hall.type("batch acknowledge Q2-1", who="Kim")
    assert "given to Q2" in hall.type(f"done {hall.code()} --as-shown", who="Kim")
    assert "Kim: sitter (was adult)" in hall.type("keeper role Kim sitter")
    assert "Kim, sitter" in hall.type("keeper list")


def test_roles_lock_nobody_out(hall: OnceRoom) -> None:
    """A sitter gives no roles, and the last keeper who may do everything keeps that."""
    assert "roles are given by a keeper or an adult" in hall.type("keeper role Kim keeper", 1, who="Kim")
    hall.type("keeper role Noor sitter")
    assert "Robin is the only one on record who may do everything" in hall.type("keeper role Robin pupil", 1)


# --- What a pupil sees ---------------------------------------------------------------------------------------


def test_a_pupil_sees_looking_and_feeding_only(room: OnceRoom) -> None:
    """F62: no chemicals, no amounts, no adult's task, nothing to come; the whole list stands for the others."""
    arrive(room)
    room.at("2026-03-09 08:00:00")
    full, seen = room.json("today"), room.json("today", who="Kim")
    assert {t["title"] for t in seen["tasks"]} == {
        "Look at every fish and count",
        "Feed a little and watch who eats",
        "Read the temperature",
    }
    assert len(full["tasks"]) > len(seen["tasks"])
    said = room.type("today", who="Kim")
    for word in (
        "ammonia",
        "nitrite",
        "Change",
        "Move",
        "conditioner",
        "thiosulfate",
        "MISSED",
        "Next day",
        " g ",
        "mg",
    ):
        assert word not in said, word
    assert "ammonia" in room.type("today")


def test_no_medicine_is_in_a_pupil_s_or_a_sitter_s_list(hall: OnceRoom) -> None:
    """A grep of the list of a medicated batch, as text and as a document: no substance, no dose, no amount."""
    assert "praziquantel" in hall.type("today").casefold()
    for role in ("sitter", "pupil"):
        if role == "pupil":
            hall.type("keeper role Kim pupil")
        told = "".join(hall.type(f"today{on}", who="Kim") for on in ("", " --on 2026-02-14"))
        told += json.dumps(hall.json("today", who="Kim"))
        for word in ("praziquantel", 'dose": {', "next dose", "mg/L", " g ", "bath", "carbon"):
            assert word not in told.casefold(), (role, word)
        assert "Look at every fish" in told


def test_what_cannot_wait_tells_a_pupil_whom_to_call(room: OnceRoom) -> None:
    """An emergency heads a pupil's list without what is done about it: whom to call, and put nothing in."""
    arrive(room)
    room.at("2026-03-03 08:00:00").type("look 'Q1 12 2' --sign 'gasping at the surface:A'")
    told = room.type("today", who="Kim")
    assert "ACT NOW" in room.type("today")
    assert "Something is wrong here: call Noor or Robin now, and put nothing into the water." in told
