"""Several batches in one tank: what is done once is listed once, missed or due, and one answer is for all of them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from moving_room import day, hall
from once_room import OnceRoom

from quarantine.templates import shipped

BOTH = ["Q2-1", "Q2-2"]


def two(room: OnceRoom, first: str = "marine-watch", second: str = "") -> OnceRoom:
    """Four fish in Q2 since the morning of 10 February and two more since half an hour later; nobody came after the
    13th until the evening of the 17th."""
    hall(room, first)
    room.type(
        f'batch start --tank Q2 --protocol {second or first} --arrived "2026-02-10 10:00" --acknowledge --yes '
        '--fish "2 Centropyge bicolor, 6 cm" --from "a breeder" --to Reef'
    )
    return room.at("2026-02-17 19:00:00")


@pytest.fixture
def room(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """Two batches in one tank under one protocol."""
    return two(OnceRoom(tmp_path / "home", capsys))


def listed(room: OnceRoom, kind: str, section: str) -> list[dict[str, Any]]:
    """The rows of a kind on the list."""
    return [t for t in room.json("today")["tasks"] if (t["kind"], t["section"]) == (kind, section)]


def states(room: OnceRoom, batch: str, title: str, on: str) -> list[str]:
    """The states of a batch's tasks of that title and day."""
    tasks = room.json(f"batch show {batch}")["tasks"]
    return [t["state"] for t in tasks if t["title"].startswith(title) and t["day"] == on]


def test_missed_care_of_two_batches_is_one_row_that_names_both(room: OnceRoom) -> None:
    """One row for each kind and day; the look that only one of them missed is its own."""
    for kind in ("test", "look", "feed"):
        rows = [t for t in listed(room, kind, "missed") if t["day"] == "2026-02-15"]
        assert [t["batches"] for t in rows] == [BOTH] * (2 if kind == "test" else 1), kind
    own = [t for t in listed(room, "look", "missed") if t["day"] == "2026-02-11"]
    assert [(t["batches"], t["title"].endswith(", for Q2-2")) for t in own] == [(["Q2-2"], True)]


@pytest.mark.parametrize(
    ("kind", "title"), [("test", "Test ammonia"), ("look", "Look at every fish"), ("feed", "Feed a little")]
)
def test_one_reason_is_for_all_that_the_row_names(room: OnceRoom, kind: str, title: str) -> None:
    """Skipping the one code skips the other batch's task with the same reason, and undo brings both back."""
    (row,) = [t for t in listed(room, kind, "missed") if t["day"] == "2026-02-15" and t["title"].startswith(title)]
    said = room.type(f"skip {row['code']} --because 'nobody there'")
    assert "skipped for Q2-" in said
    assert [states(room, name, title, "2026-02-15") for name in BOTH] == [["skipped"], ["skipped"]]
    assert [states(room, name, title, "2026-02-16") for name in BOTH] == [["missed"], ["missed"]]
    room.type("undo slip")
    assert [states(room, name, title, "2026-02-15") for name in BOTH] == [["missed"], ["missed"]]
    assert "whole" in room.type("check")


def test_one_look_is_entered_for_all_fish_of_the_tank(room: OnceRoom) -> None:
    """Due looks and feeds stand once; the count of all fish settles them for each batch (rule A3)."""
    assert [t["batches"] for t in listed(room, "look", "due")] == [BOTH]
    assert [t["batches"] for t in listed(room, "feed", "due")] == [BOTH]
    room.type("look 'Q2 6 3' --no-signs")
    assert listed(room, "look", "due") == listed(room, "feed", "due") == []
    assert [states(room, name, "Look at every", "2026-02-17") for name in BOTH] == [["done"], ["done"]]


def test_a_change_is_skipped_for_all_that_the_row_names(room: OnceRoom) -> None:
    """A planned change too; a chore of one batch is its own, and says whose it is."""
    (row,) = listed(room, "change", "due")
    assert row["batches"] == BOTH
    room.type(f"skip {row['code']} --because 'no salt water ready'")
    assert listed(room, "change", "due") == []
    chores = listed(room, "chore", "overdue")
    assert [(t["batches"], t["title"][-10:]) for t in chores] == [(["Q2-1"], ", for Q2-1"), (["Q2-2"], ", for Q2-2")]
    room.type(f"skip {chores[0]['code']} --because 'done long ago'")
    assert [t["batches"] for t in listed(room, "chore", "overdue")] == [["Q2-2"]]


def test_a_change_that_is_made_a_day_late_is_made_for_both(room: OnceRoom) -> None:
    """No second one is asked for, which would take medicine out twice; undo brings the one row back."""
    room.at("2026-02-18 09:00:00")
    (row,) = listed(room, "change", "overdue")
    room.type(f"done {row['code']} --as-shown")
    assert listed(room, "change", "overdue") == []
    room.type("undo slip --yes")
    assert [t["batches"] for t in listed(room, "change", "overdue")] == [BOTH]
    assert "whole" in room.type("check")


def test_the_list_says_each_thing_once(room: OnceRoom) -> None:
    """One heading with both batches, one line for each kind of missed work, tomorrow's titles once, how each stands."""
    said = room.type("today")
    assert said.count("Q2 (Q2-1, Q2-2)") == 1
    assert said.count("Log it with --at if it was done") == 1
    assert said.count("MISSED Read the temperature") == 1
    assert said.count("Test ammonia, nitrite and pH") == 3  # due, missed, tomorrow
    assert "Q2, Q2-1 day 7 of 30, clear 0 of 14; Q2-2 day 7 of 30, clear 0 of 14" in said


def test_who_does_the_work_is_said_whichever_code_they_took(room: OnceRoom) -> None:
    """A claim of the other batch's task claims the row."""
    tasks = room.json("batch show Q2-2")["tasks"]
    other = next(t["code"] for t in tasks if t["title"].startswith("Test ammonia") and t["day"] == "2026-02-17")
    room.type(f"claim {other}", who="Noor")
    (row,) = [t for t in listed(room, "test", "due") if t["title"].startswith("Test ammonia")]
    assert row["code"] != other
    assert row["claimed"]["by"] == "Noor"


def test_a_dose_that_is_one_for_both_is_skipped_for_both(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where the row says once for both, no second row appears once the reason is given (rule B2)."""
    room = two(OnceRoom(tmp_path / "home", capsys), "marine-praziquantel")
    room.at("2026-02-13 17:00:00").type("look 'Q2 6 3' --no-signs")
    (dose,) = [t for t in room.json("today")["tasks"] if t["kind"] == "dose"]
    assert dose["batches"] == BOTH
    room.type(f"skip {dose['code']} --because 'the veterinarian says wait' --yes")
    assert [t for t in room.json("today")["tasks"] if t["kind"] == "dose"] == []
    assert "whole" in room.type("check")


def test_a_change_under_another_protocol_is_another_row(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What one does not settle for the other is not said to be one; tests and looks are of the water all the same."""
    (tmp_path / "mine.toml").write_text(
        shipped()["marine-watch"].read_text(encoding="utf-8").replace('id = "marine-watch"', 'id = "mine"', 1),
        encoding="utf-8",
    )
    room = two(OnceRoom(tmp_path / "home", capsys), "marine-watch", str(tmp_path / "mine.toml"))
    assert [t["batches"] for t in listed(room, "change", "due")] == [["Q2-1"], ["Q2-2"]]
    assert [t["batches"] for t in listed(room, "look", "due")] == [BOTH]


def test_what_one_missed_and_another_still_has_time_for_are_two_rows(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A reason for the one that was missed is none for the one that is due: the fish are still looked at."""
    text = shipped()["marine-watch"].read_text(encoding="utf-8").replace('id = "marine-watch"', 'id = "mine"', 1)
    window = 'kind = "look"\nwindow = { from = "06:00", until = "12:00" }\nafter_window = "keep"\n'
    (tmp_path / "mine.toml").write_text(text.replace('kind = "look"\n', window, 1), encoding="utf-8")
    room = two(OnceRoom(tmp_path / "home", capsys), "marine-watch", str(tmp_path / "mine.toml"))
    (row,) = [t for t in listed(room, "look", "missed") if t["day"] == "2026-02-17"]
    assert row["batches"] == ["Q2-2"]
    room.type(f"skip {row['code']} --because 'nobody there in the morning'")
    assert [t["batches"] for t in listed(room, "look", "due")] == [["Q2-1"]]


# --- The consequence comes before the act, and a dry run is not asked -------------------------------------------------


@pytest.fixture
def one(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """Four fish in Q2 on day 3, Q3 and Q4 empty."""
    return hall(OnceRoom(tmp_path / "home", capsys), "marine-watch")


SECOND = (
    "batch start --tank Q2 --protocol marine-watch --arrived '{}' --fish '2 Centropyge bicolor, 6 cm' "
    "--from 'a breeder' --to Reef"
)


@pytest.mark.parametrize("line", ["event added Q2 1", SECOND.format("2026-02-13 18:00")])
def test_a_dry_run_shows_the_new_dates_and_asks_for_nothing(one: OnceRoom, line: str) -> None:
    """Both dates stand side by side with all the rest, and nothing was written; without it they are asked for."""
    before = one.json("journal")["entries"]
    said = one.type(f"{line} --dry-run")
    assert "Q2-1: earliest sign-off 2026-03-12 -> 2026-03-15" in said
    assert "Dry run: nothing was written." in said
    assert one.json("journal")["entries"] == before
    refused = one.type(line, 1)
    assert "Q2-1: earliest sign-off 2026-03-12 -> 2026-03-15" in refused
    assert "Say --yes" in refused
    assert "Q2-1: earliest sign-off 2026-03-12 -> 2026-03-15" in one.type(f"{line} --yes")


def test_fish_that_move_no_date_are_said_to_move_none(one: OnceRoom) -> None:
    """Of the same minute as the first ones: no old and new date that are the same one."""
    line = SECOND.format("2026-02-10 09:30")
    refused = one.type(line, 1)
    assert "Fish are already in this water (Q2-1); no date of Q2-1 moves. Say --yes" in refused
    assert "->" not in refused
    assert "No sign-off date of Q2-1 moves." in one.type(f"{line} --yes")


def test_a_skip_and_an_undo_show_their_dates_in_a_dry_run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A dose that is not given leaves days; taking back fish that came moves them back."""
    room = hall(OnceRoom(tmp_path / "home", capsys))
    room.type("event added Q2 1 --yes")
    said = room.type("undo slip --dry-run")
    assert "Q2-1: earliest sign-off 2026-03-15 -> 2026-03-12" in said
    assert "moves dates" in room.type("undo slip", 1)


def test_an_amendment_and_a_stopped_course_are_shown_whole_in_a_dry_run(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What goes and comes, without --yes; the real ones are asked for it."""
    room = hall(OnceRoom(tmp_path / "home", capsys))
    room.type(f"done {room.code()} --as-shown")
    text = shipped()["marine-praziquantel"].read_text(encoding="utf-8").replace("revision = 1", "revision = 2", 1)
    (tmp_path / "mine.toml").write_text(text.replace("the water", "this water"), encoding="utf-8")
    course = next(t["step"] for t in room.json("batch show Q2-1")["tasks"] if t["title"].startswith("Praziquantel"))
    for line in (
        f"batch stop-course Q2-1 {course} --because 'fish distressed'",
        f"batch amend Q2-1 --protocol {tmp_path / 'mine.toml'} --because 'the new text'",
    ):
        assert "Say --yes" in room.type(line, 1)
        assert "Dry run: nothing was written." in room.type(f"{line} --dry-run")


def test_a_batch_that_is_expected_and_comes_among_others_says_the_same(one: OnceRoom) -> None:
    """`batch arrived` asks as `batch start` does."""
    one.type(
        "batch expect Two --from 2026-02-13 --tank Q2 --protocol marine-watch --fish '2 Centropyge bicolor, 6 cm' "
        "--source 'a breeder' --to Reef --yes"
    )
    line = "batch arrived Two --open-items 'all is there'"
    assert "Q2-1: earliest sign-off 2026-03-12 -> 2026-03-15" in one.type(line, 1)
    assert "Q2-1: earliest sign-off 2026-03-12 -> 2026-03-15" in one.type(f"{line} --dry-run")


# --- Clocks, timeline, sign-off, note ---------------------------------------------------------------------------------


def test_B3_a_move_to_an_empty_tank_leaves_the_count_and_says_so(one: OnceRoom) -> None:
    """The second clock names the move, so that it is not taken for days in this tank."""
    one.type("batch move Q2-1 --to Q3 --no-water")
    assert (
        "Since fish last entered this water: 3 days; day 0 is 2026-02-10, the fish arrived; the move to Q3 on "
        "2026-02-13, where no other fish were, leaves it as it was (rules B1 and B3)."
    ) in one.type("clocks Q2-1")


def test_B3_where_the_template_begins_again_by_a_move_the_count_does(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its day 0 is the day of the move."""
    text = shipped()["marine-watch"].read_text(encoding="utf-8")
    assert "[events]" in text
    (tmp_path / "my-watch.toml").write_text(
        text.replace("[events]", '[events]\nmoved = "restart"', 1), encoding="utf-8"
    )
    room = hall(OnceRoom(tmp_path / "home", capsys), str(tmp_path / "my-watch.toml"))
    room.type("batch move Q2-1 --to Q3 --no-water --yes")
    said = room.type("clocks Q2-1")
    assert "Since fish last entered this water: 0 days; day 0 is 2026-02-13, moved from Q2 (rule B1)." in said


def test_the_timeline_shows_the_moves_ahead_and_a_move_that_was_made_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A transfer series: what was missed, what is still to come, and from where to where they were moved."""
    room = hall(OnceRoom(tmp_path / "home", capsys), "marine-tank-transfer").at("2026-02-13 09:00:00")
    (code,) = [t["code"] for t in room.json("today")["tasks"] if t["kind"] == "move" and t["section"] == "due"]
    room.type(f"done {code} --to Q3 --confirm --no-water --yes --really")
    rows = room.json("timeline Q2-1")["rows"]
    moves = [(row["says"].rpartition("(")[2], row["listed"]) for row in rows if row["kind"] == "move"]
    assert moves == [
        ("1 of 4), planned for 2026-02-13: made", False),
        ("1 of 4), planned for 2026-02-13: missed", True),
        ("2 of 4), planned for 2026-02-16: not yet", True),
        ("3 of 4), planned for 2026-02-19: not yet", True),
        ("4 of 4), planned for 2026-02-22: not yet", True),
    ]
    said = room.type("timeline Q2-1")
    assert said.count("moved from Q2") == 1
    assert "fish: moved from Q2 to Q3; the template says note" in said
    assert "moved from Q2 to Q3, Robin" in room.type("why Q2-1 2026-02-13")


def test_a_refused_move_names_the_code_that_was_typed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One that came too late, and beside it the one that stands in its place."""
    room = hall(OnceRoom(tmp_path / "home", capsys), "marine-tank-transfer").at("2026-02-13 09:00:00")
    moves = {t["section"]: t["code"] for t in room.json("today")["tasks"] if t["kind"] == "move"}
    said = room.type(f"done {moves['missed']} --to Q3", 1)
    assert said.startswith(
        f"{moves['missed']} was too late, so this move would be {moves['due']}, the first anew, which asks first: "
    )
    assert room.type(f"done {moves['due']} --to Q3", 1).startswith(f"{moves['due']} asks first: ")


def test_what_two_merged_batches_both_had_is_told_once(room: OnceRoom) -> None:
    """Days on which nobody looked are one span, and an exposure of both is one line of the sign-off."""
    room.type("event shared Q2 --with Q4 --what net")
    room.type("look 'Q2 6 3' --no-signs")
    room.type("batch merge Q2-2 --into Q2-1 --yes")
    said = room.type("timeline Q2-1")
    assert said.count("nobody looked") == 1
    assert "nobody looked until 2026-02-16" in said
    assert room.type("signoff Q2-1").count("shared net with Q4") == 1


def test_the_note_says_how_each_tank_stands_and_what_is_in_its_water(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Who is where, how many live, the day, the next dose; medicine that the water may hold; an empty tank as well."""
    room = hall(OnceRoom(tmp_path / "home", capsys))
    room.type(f"done {room.code()} --as-shown --note 'one hid behind the pump'")
    day(room, 14, "Q2")
    tanks = room.json("handover")["tanks"]
    assert "Q3: empty" in tanks
    assert (
        "Q2 (Q2-1 4 alive): day 4 of 30, clear 4 of 14, next dose Tue 17 Feb; in the water up to 1.85 mg/L of "
        "Praziquantel, last in 2026-02-13 20:00"
    ) in tanks
    assert "Tanks: " in room.type("handover")
    note = "Q2: note of Robin, 2026-02-13 20:00: one hid behind the pump"
    assert note in room.json("handover")["odd"]
    assert note not in room.at("2026-02-14 19:01:00").json("handover")["odd"]


def test_the_note_has_what_keepers_wrote_and_what_happened_to_fish(one: OnceRoom) -> None:
    """Of one day, each once, under the tank that the fish are in now; the day after it is no news."""
    one.type("look 'Q2 4 3' --no-signs --note 'a torn fin'")
    one.type("event died Q2 1 --cause 'jumped'")
    one.type("event missing Q2 1 --because 'not found for a week'")
    one.type("batch move Q2-1 --to Q3 --no-water")
    odd = one.at("2026-02-14 18:59:00").json("handover")["odd"]
    for line in (
        "Q3: note of Robin, 2026-02-13 20:00: a torn fin",
        "Q2: 1 fish of Q2-1 died, 2026-02-13 20:00",
        "Q2: 1 fish of Q2-1 missing (not found for a week), 2026-02-13 20:00",
        "Q3: Q2-1 was moved here from Q2, 2026-02-13 20:00",
    ):
        assert odd.count(line) == 1, (line, odd)
    later = " ".join(one.at("2026-02-14 19:01:00").json("handover")["odd"])
    for words in ("torn fin", "died", "missing", "moved here"):
        assert words not in later


def test_a_note_at_one_look_at_two_batches_is_told_once(room: OnceRoom) -> None:
    """It is one look, on record for each of them."""
    room.type("look 'Q2 6 3' --no-signs --note 'a torn fin'")
    assert sum("a torn fin" in line for line in room.json("handover")["odd"]) == 1


def test_a_part_may_have_fish_of_several_species(one: OnceRoom) -> None:
    """Each with its count; a species twice, and one that is not there, are asked about."""
    one.type(
        'batch start --tank Q3 --protocol marine-watch --arrived "2026-02-13 18:00" --yes --from "an importer" '
        '--to Reef --fish "4 Centropyge bicolor, 6 cm" --fish "3 Zebrasoma flavescens"'
    )
    part = "batch split Q3-1 --name Part --fish"
    assert "names Centropyge bicolor twice" in one.type(
        f"{part} '1 Centropyge bicolor, 1 zebrasoma flavescens, 1 centropyge bicolor'", 2
    )
    assert "has no Amphiprion" in one.type(f"{part} '1 Centropyge bicolor, 1 Amphiprion'", 1)
    assert "7 of 7 fish: a part is fewer" in one.type(f"{part} '4 Centropyge bicolor, 3 Zebrasoma flavescens'", 1)
    said = one.type(f"{part} '2 Centropyge bicolor, 1 Zebrasoma flavescens'")
    assert "Batch Part: 3 fish of Q3-1" in said
    assert "Batch Q3-1: 4 fish." in said
    shown = one.json("batch show Part")
    assert shown["alive"] == 3
    assert [(f["count"], f["species"]) for f in shown["fish"]] == [
        (2, "Centropyge bicolor"),
        (1, "Zebrasoma flavescens"),
    ]
    assert "whole" in one.type("check")
