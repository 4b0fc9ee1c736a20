"""A paper sheet that comes back: each line as it happened then, entered now; all of it or nothing."""

# ruff: noqa: F811 - the fixtures are the ones imported
from __future__ import annotations

import json

import pytest
from round_room import FRESH, MARINE, Room, built_room, room  # noqa: F401 - fixtures

LATER = "2026-02-14 08:00:00"
"""09:00 in Berlin on the day after the sheet's."""

ASKED = "Noor\n17:00\n"
"""Who did the work, and the time of lines that have none."""


def entering(room: Room, *lines: str, then: str = "y\n", code: int = 0, words: tuple[str, ...] = ()) -> str:
    """The sheet of the 13th, typed in on the 14th by Robin."""
    typed = ASKED + "\n".join((*lines, "", then))
    return room.run("enter", "--on", "2026-02-13", *words, typed=typed, at=LATER, code=code)


def codes(room: Room) -> dict[str, str]:
    """The codes that stand on the sheet of the 13th, by title."""
    return {t["title"]: t["code"] for t in room.ask("today")["tasks"]}


def dose_of(room: Room) -> str:
    return next(code for title, code in codes(room).items() if title.startswith("Praziquantel"))


def test_a_sheet_is_written_as_it_happened_in_one_transaction(room: Room) -> None:
    """Looks, readings, a chore, a dose with its amount and a skip: both times and both keepers are kept."""
    code = codes(room)
    before = room.entries()
    said = entering(
        room,
        f"{dose_of(room)} 0.09 g 17:40",
        "Q2 4 3 n",
        f"Q2 {MARINE} 17:10",
        f"{code['Move the fish in, none of their water with them']} 9:05",
        "q1 12 3 s flash",
        f"{code['Test ammonia, nitrite and pH']} {FRESH}",
    )
    assert "6 lines of 2026-02-13 written, done by Noor, entered by Robin." in said
    assert room.entries() == before + 1
    (dose,) = room.facts("dose")
    assert (dose["happened_at"][:16], dose["entered_at"][:16]) == ("2026-02-13T16:40", "2026-02-14T08:00")
    assert dose["data"]["given"] == "0.09"
    names = {k["id"]: k["name"] for k in _keepers(room)}
    assert names[dose["keeper"]] == "Noor"
    (entry,) = room.ask("journal", "--last", "1", at=LATER)["entries"]
    assert (entry["by"], entry["kind"]) == ("Robin", "sheet entered")
    assert "(entered 2026-02-14 08:00 UTC)" in room.run("journal", "--last", "1", at=LATER)


def _keepers(room: Room) -> list[dict[str, str]]:
    from quarantine.records.reads import open_reader

    with open_reader(f"sqlite:///{room.home / 'record.db'}") as rows:
        return rows.rows("keepers")


def test_lines_are_written_in_the_order_they_happened(room: Room) -> None:
    """The dose stands first on the sheet, the look and the readings that open its gate (rule C8) below it."""
    entering(room, f"{dose_of(room)} 0.09 g 17:40", "Q2 4 3 n 17:05", f"Q2 {MARINE} 17:10")
    new = [f for f in room.facts() if f["entered_at"].startswith("2026-02-14") and f["kind"] != "lapse"]
    assert [f["kind"] for f in new] == ["look", *["reading"] * 5, "dose"]
    assert [f["happened_at"] for f in new] == sorted(f["happened_at"] for f in new)
    assert new[-1]["data"]["hold"] is None


def test_each_line_is_shown_back_with_its_time_before_anything_is_written(room: Room) -> None:
    """The review holds what each line means; q at the question leaves the record as it was."""
    before = room.entries()
    said = entering(room, "Q1 12 3 n", "Q2 4 2 n 17:20", then="q\n", code=130)
    review = said.partition("done by Noor, entered by Robin:")[2]
    assert "1: Q1, 2026-02-13 17:00: 12 seen" in review
    assert "2: Q2, 2026-02-13 17:20: 4 seen" in review
    assert "appetite 2, no signs" in review
    assert "Stopped; nothing was written." in said
    assert room.entries() == before


def test_a_wrong_line_is_shown_again_and_loses_no_other(room: Room) -> None:
    """Of five lines three are wrong: one is corrected, one is really so, one is left out; the others stand."""
    said = entering(
        room,
        "Q1 12 3 n",
        "Q3 4 3 n",
        "Q2 14 3 n",
        f"Q2 {MARINE}",
        "K9 0910",
        then="Q2 4 3 n 17:30\n-\nreally\ny\n",
    )
    assert said.count("Kept; it is shown again at the end.") == 2
    assert "Line 2: 'Q3 4 3 n'" in said
    assert "Line 5: 'K9 0910'" in said
    assert "Line 3: 'Q2 14 3 n'" in said
    assert "4 lines of 2026-02-13 written" in said
    looks = [(f["data"]["seen"], f["happened_at"][11:16]) for f in room.facts("look")[-3:]]
    assert sorted(looks) == [(4, "16:30"), (12, "16:00"), (14, "16:00")]


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("DOSE 17:00", "wants the amount that was written on the sheet"),
        ("DOSE as shown 17:00", "wants the amount that was written on the sheet"),
        ("DOSE 0.09 17:00", "has no unit"),
        ("DOSE 0.09 g", "held"),
        ("CHORE done", "takes only a time"),
        ("CHORE x", "Why was"),
        ("CHORE 25:00", "is no time of the day"),
        ("LOOK", "A look is done by its count"),
        ("Q1", "What was seen or read in Q1?"),
        ("Q1 n", "A look needs the count"),
        ("Q1 x late", "x belongs to a task's code"),
        ("Q1 12 7 n", "Appetite is 0 none"),
        ("17:00", "A line begins with a tank or a code"),
        ("really", "A line begins with a tank or a code"),
        ("ZZZZ 09:00", "is no task's code, and no tank's name (Q1, Q2, Reef, Show)"),
        ("Q1 12 3 n 9:7", "is no time of the day"),
    ],
)
def test_what_does_not_read_or_fit_is_a_plain_sentence(room: Room, line: str, says: str) -> None:
    """A line that is wrong says what to write, in words that are typed here; left out, nothing is written."""
    names = codes(room)
    line = line.replace("DOSE", dose_of(room)).replace("LOOK", names["Look at every fish and count"])
    line = line.replace("CHORE", names["Move the fish in, none of their water with them"])
    before = room.entries()
    said = entering(room, line, then="-\n")
    assert says in said
    assert "--really" not in said
    assert "Nothing was written." in said
    assert room.entries() == before


def test_without_a_time_for_all_each_line_has_its_own(room: Room) -> None:
    """An empty answer to the question of the time: a line without one is asked again."""
    said = room.run("enter", "--on", "2026-02-13", typed="Noor\nnoon\n\nQ1 12 3 n\nQ1 12 3 n 12:00\n\n-\ny\n", at=LATER)
    assert "'noon' is no time of the day" in said
    assert "When was it? Write the time behind it" in said
    assert "1 line of 2026-02-13 written" in said


def test_a_time_that_has_not_come_is_refused(room: Room) -> None:
    """A sheet of today with a time later than now is a slip."""
    said = room.run("enter", "--on", "2026-02-14", typed="Noor\n\nQ1 12 3 n 23:00\n\n-\n", at=LATER)
    assert "lies in the future" in said
    assert "Nothing was written." in said


def test_the_day_and_the_keeper_are_asked_once_and_again_when_they_do_not_read(room: Room) -> None:
    """A wrong day and an unknown name are asked again; the answers hold for every line."""
    typed = "yesterday\n2026-02-13\nNora\nnoor\n17:00\nQ1 12 3 n\nQ2 4 3 n\n\ny\n"
    said = room.run("enter", typed=typed, at=LATER)
    assert "'yesterday' is not a day" in said
    assert "Did you mean 'Noor'?" in said
    assert "done by Noor, entered by Robin" in said


def test_a_sheet_that_was_entered_before_is_asked_about(room: Room) -> None:
    """The same look at the same minute would count its dead twice; really says that it is a second look."""
    entering(room, "Q1 11 3 n d 1")
    said = entering(room, "Q1 11 3 n d 1", then="-\n")
    assert "was this entered before?" in said
    assert len(room.facts("died")) == 1


def test_a_skip_on_the_sheet_keeps_its_reason(room: Room) -> None:
    """K7MP x no time: the task is skipped with that reason, by the one who wrote it down."""
    code = codes(room)["Move the fish in, none of their water with them"]
    said = entering(room, f"{code} x no time")
    assert "skipped: no time" in said
    assert [f["data"]["because"] for f in room.facts("skip")] == ["no time"]


@pytest.mark.parametrize("typed", ["", "Noor\n", ASKED, ASKED + "Q1 12 3 n\n", ASKED + "Q1 12 3 n\n\n"])
def test_at_the_end_of_the_input_nothing_is_written(room: Room, typed: str) -> None:
    """Wherever the input ends before y, the record is as it was, and one sentence says so."""
    before = room.entries()
    said = room.run("enter", "--on", "2026-02-13", typed=typed, at=LATER, code=1)
    assert "The input ended before the sheet was confirmed; nothing was written." in said
    assert room.entries() == before


def test_a_dry_entering_goes_through_it_all_and_writes_nothing(room: Room) -> None:
    """The same review and the same sentence, then: nothing was written."""
    before = room.entries()
    said = entering(room, "Q1 12 3 n", words=("--dry-run",))
    assert "1 line of 2026-02-13 written" in said
    assert "Dry run: nothing was written." in said
    assert room.entries() == before


def test_more_lines_can_be_typed_after_the_review(room: Room) -> None:
    """b at the question takes more lines; numbers go on."""
    said = entering(room, "Q1 12 3 n", then="b\nQ2 4 3 n\n\ny\n")
    assert "2: Q2, 2026-02-13 17:00: 4 seen" in said
    assert "2 lines of 2026-02-13 written" in said


def test_who_types_it_in_is_known_before_anything_is_asked(room: Room) -> None:
    """With two keepers on record and no --as the sheet is not begun."""
    said = room.run("enter", "--on", "2026-02-13", typed=ASKED, at=LATER, keeper="", code=1)
    assert said.startswith("Who is acting? Several keepers are on record")


def test_for_a_program_each_line_stands_with_its_instant(room: Room) -> None:
    """With --json the document has the lines as typed, when they happened, and what they say."""
    said = entering(room, "Q1 12 3 n", words=("--json",))
    document = json.loads(said.splitlines()[0])
    assert (document["day"], document["by"], document["entered_by"]) == ("2026-02-13", "Noor", "Robin")
    (line,) = document["lines"]
    assert (line["line"], line["happened_at"]) == ("Q1 12 3 n", "2026-02-13T17:00:00+01:00")
    assert line["says"][0] == "Q1, 2026-02-13 17:00: 12 seen"


def test_entered_late_shows_on_the_list_as_done_that_day(room: Room) -> None:
    """What the sheet says was done on the 13th is no longer missed on the 14th."""
    missed = {t["code"] for t in room.ask("today", at=LATER)["tasks"] if t["state"] == "missed"}
    entering(room, "Q1 12 3 n", f"Q1 {FRESH}", "Q2 4 3 n", f"Q2 {MARINE}")
    still = {t["code"] for t in room.ask("today", at=LATER)["tasks"] if t["state"] == "missed"}
    assert missed
    assert still == set()
