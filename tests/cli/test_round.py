"""The round: tank by tank in short keys, one transaction each, and nothing written that was not confirmed."""

# ruff: noqa: F811 - the fixtures are the ones imported
from __future__ import annotations

import json

import pytest
from round_room import FRESH, MARINE, Room, built_room, room  # noqa: F401 - fixtures

from quarantine.actions.rounds import KEYS, Saw, is_dip, read_saw, saw_words, sign_named
from quarantine.failures import Failure
from quarantine.signs import SIGNS

Q1 = f"12 3 n {FRESH}\n\ny\ny\n"
"""What was seen in Q1, on; the chore that is overdue, done; write it."""


def typed_q2(dose: str) -> str:
    """The same for Q2, whose dose follows the chore."""
    return f"4 3 n {MARINE}\n\ny\n{dose}\ny\n"


# --- What is typed -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "means"),
    [
        ("12", Saw(seen="12")),
        ("12 3", Saw(seen="12", appetite="3")),
        ("12 - n", Saw(seen="12", appetite="-", no_signs=True)),
        ("? 2 n", Saw(seen="?", appetite="2", no_signs=True)),
        ("n d 1 11 0", Saw(seen="11", appetite="0", no_signs=True, dead=1)),
        ("temp=25.5C 12 ph=7.8", Saw(seen="12", readings=("temp=25.5C", "ph=7.8"))),
        ("12 s flash", Saw(seen="12", signs=("flashing",))),
        ("s flashing, slime", Saw(signs=("flashing", "slime"))),
        ("S White", Saw(signs=("white spots",))),
        ("s odd swimming:B", Saw(signs=("odd swimming:B",))),
        ("s flash:A", Saw(signs=("flashing:A",))),
        ("12 note one hides", Saw(seen="12", note="one hides")),
        ("x", Saw(left=True)),
        ("x no time", Saw(left=True, because="no time")),
        ("12 really", Saw(seen="12", really=True)),
    ],
)
def test_a_line_of_short_keys_means_one_thing(line: str, means: Saw) -> None:
    """Count, appetite, signs, deaths, readings and the rest read from one line, in the order they are typed."""
    assert read_saw(line, Saw()) == means


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("12 5", "Appetite is 0 none"),
        ("12 3 2", "Two numbers at most"),
        ("9999999", "not a count"),
        ("d", "d 1"),
        ("d x", "not a count"),
        ("s", "s wants words"),
        ("s pale", "pale patches or pale gills"),
        ("s odd swimming", "no sign 'odd swimming'"),
        ("12 n s flashing", "cannot be both"),
        ("temp=25", "no unit"),
        ("colour=3", "no reading 'colour'"),
        ("ph=78", "hard to believe"),
        ("twelve", "'twelve' does not read here"),
        ("-12", "does not read here"),
        ("note", "note wants words"),
    ],
)
def test_a_line_that_does_not_read_is_a_plain_sentence_and_nothing_of_it_counts(line: str, says: str) -> None:
    """What is wrong is said; what was typed before stands unchanged."""
    with pytest.raises(Failure) as caught:
        read_saw(line, Saw())
    assert says in caught.value.sentence


def test_lines_add_up_and_a_number_alone_is_first_the_count_then_the_appetite() -> None:
    """12, then 3, then n; both are changed by typing both; a reading typed again takes the place of the first."""
    saw = Saw()
    for line in ("12", "3", "n", "temp=25C", "temp=26C"):
        saw = read_saw(line, saw)
    assert saw == Saw(seen="12", appetite="3", no_signs=True, readings=("temp=26C",))
    with pytest.raises(Failure, match="type both"):
        read_saw("11", saw)
    assert read_saw("11 2", saw)._replace(no_signs=False, readings=()) == Saw(seen="11", appetite="2")
    assert saw_words(saw) == "12 seen, appetite 3, no signs, temp=26C"


def test_a_reading_typed_again_in_another_form_is_still_the_same_reading() -> None:
    """Nitrite as nitrogen in place of nitrite: one of the two counts, the one typed last."""
    saw = read_saw("nitrite_n=0.03mg/L", read_saw("12 nitrite=0.1mg/L ph=7.8", Saw()))
    assert saw.readings == ("ph=7.8", "nitrite_n=0.03mg/L")


@pytest.mark.parametrize(
    ("name", "dip"), [("T01", True), ("T08", True), ("T04", False), ("T06", False), ("Z01", False), (None, False)]
)
def test_a_dip_is_told_from_what_goes_into_the_tank(name: str | None, dip: bool) -> None:
    """Rule C15: a salt dip (T01, T08) has its own vessel; a bath, a prolonged dose and a chore have none."""
    assert is_dip({"detail": json.dumps({"treatment": name and {"regimen": name}})}) is dip


def test_every_sign_is_found_by_its_full_name_and_by_a_beginning_that_is_its_own() -> None:
    """A full name always means itself; a beginning means the one sign that has it, or asks."""
    for name in SIGNS:
        assert sign_named(name, tuple(SIGNS)) == name
        for end in range(1, len(name)):
            fits = [other for other in SIGNS if other.startswith(name[:end])]
            if name[:end] in SIGNS or len(fits) > 1:
                continue
            assert sign_named(name[:end], tuple(SIGNS)) == name


def test_a_sign_that_is_gone_is_completed_from_the_open_ones() -> None:
    """g f means the open flashing, though fin rot and fast breathing begin so too; another sign keeps its severity."""
    assert read_saw("g f", Saw(), ("flashing:B", "odd swimming:B")).gone == ("flashing:B",)
    assert read_saw("g odd", Saw(), ("flashing:B", "odd swimming:B")).gone == ("odd swimming:B",)


def test_the_help_fits_a_narrow_screen() -> None:
    """No line of help is wider than 40 columns."""
    assert max(map(len, KEYS)) <= 40


# --- The walk ----------------------------------------------------------------------------------------------


def test_a_round_writes_each_tank_in_one_transaction_and_ends_with_nothing_open(room: Room) -> None:
    """Two tanks, two entries; looks, readings, chores and the dose as shown are on record, and the list is empty."""
    before = room.entries()
    said = room.run("round", typed=Q1 + typed_q2("as shown"))
    assert "Written: Q1, Q2." in said
    assert "Nothing is left open." in said
    assert room.entries() == before + 2
    assert [t for t in room.ask("today")["tasks"] if t["section"] in ("due", "overdue")] == []
    (dose,) = room.facts("dose")
    # 2 mg/L x 49.3 L = 98.6 mg; on a 0.01 g scale 0.09 g (by hand)
    assert (dose["data"]["given"], dose["data"]["prepared"], dose["data"]["given_unit"]) == ("0.09", "0.09", "g")
    look = room.facts("look")[-1]["data"]
    assert (look["seen"], look["appetite"], look["no_signs"]) == (4, 3, True)


def test_tanks_come_clean_to_dirty_and_hands_are_washed_between_waters(room: Room) -> None:
    """Rule D: the tank with an open sign comes last, whatever its name."""
    room.run("look", "Q1 12 3", "--sign", "flashing", at="2026-02-12 17:00:00")
    said = room.run("round", typed="x\n\n\nx\n\nq\n")
    assert said.index("== 1 of 2: Q2") < said.index("Wash hands") < said.index("== 2 of 2: Q1")


def test_what_is_written_is_shown_before_it_is_confirmed(room: Room) -> None:
    """The review holds count, appetite, signs, readings and the time, and b goes back without writing."""
    before = room.entries()
    said = room.run("round", typed=f"11 2 {FRESH}\ns white\nd 1\n\ny\nb\nb\nq\n")
    review = said.partition("Q1, to be written:")[2].partition("Write it?")[0]
    for words in ("2026-02-13 17:30: 11 seen, 1 found dead", "appetite 2, sign white spots", "pH 7.8", "done in Q1"):
        assert words in review
    assert "earliest sign-off 2026-03-12 -> 2026-03-15" in review  # a death restarts the thirty days
    assert "So far: 11 seen, appetite 2, sign white spots, 1 dead" in said.partition("b goes back")[2]
    assert room.entries() == before


def test_the_count_is_never_filled_in(room: Room) -> None:
    """An empty line is asked again, signs without a count are refused, and x leaves the look open (rule A3)."""
    said = room.run("round", "--site", "Hall", typed="\nn\n\nc\nx\n\n")
    assert "How many did you see? Type it; x when you did not look." in said
    assert "How many were seen? A look needs the count" in said
    assert "Q1: nothing to write." in said
    assert "Look at every fish" in said.partition("Left open; the next round")[2]
    assert [f for f in room.facts("look") if f["happened_at"].startswith("2026-02-13")] == []


def test_x_with_a_reason_skips_what_the_look_left(room: Room) -> None:
    """Seen and fed, the kit is empty: look and feeding are done, the tests are skipped with that reason."""
    said = room.run("round", "--site", "Hall", typed="12 3 n temp=25C\nx kit empty\n\ny\n")
    assert "Test ammonia, nitrite and pH skipped: kit empty" in said
    assert [f["data"]["because"] for f in room.facts("skip")] == ["kit empty"]


def test_the_dose_is_computed_with_what_was_read_at_the_same_stop(room: Room) -> None:
    """Rule C8: without readings of the day it is held; with them, not written yet, the card shows its amount."""
    held = room.run("round", "--site", "Annex", typed="4 3 n\n\n\nas shown\n\nq\n")
    assert "HELD:" in held
    assert "No amount is shown" in held
    shown = room.run("round", "--site", "Annex", typed=f"4 3 n {MARINE}\n\n\n\nq\n")
    assert "ADD 0.09 g of Praziquantel" in shown
    assert room.facts("dose") == []


@pytest.mark.parametrize("answer", ["y", "yes", "ok", "shown", "as", "x"])
def test_a_dose_is_not_ticked_without_its_amount(room: Room, answer: str) -> None:
    """Rule C18: only an amount, or "as shown" typed out, counts; all else is asked again."""
    said = room.run("round", "--site", "Annex", typed=f"4 3 n {MARINE}\n\n\n{answer}\n\ny\n")
    assert "as shown" in said
    assert "stays open" in said
    assert room.facts("dose") == []


def test_an_amount_that_looks_like_a_slip_is_asked_once_and_answered_with_the_rescue(room: Room) -> None:
    """Rule C7: 9 g for 0.09 g is asked; what really happened is recorded, with what to do now."""
    said = room.run("round", "--site", "Annex", typed=typed_q2("9 g\nreally"))
    assert "9 g is 100 times the 0.09 g" in said
    assert "--really" not in said
    assert "over the ceiling" in said
    assert [f["data"]["given"] for f in room.facts("dose")] == ["9"]


def test_too_many_fish_are_asked_about_and_really_answers(room: Room) -> None:
    """Fourteen of twelve is most often a slip; typing really says that it is so."""
    said = room.run("round", "--site", "Hall", typed="14 3 n\n\nreally\n\n\ny\n")
    assert "14 seen in Q1, but 12 are alive on record" in said
    assert room.facts("look")[-1]["data"]["seen"] == 14


def test_a_dose_with_fewer_seen_says_that_the_look_does_not_count(room: Room) -> None:
    """Rule A3: nine of twelve are under 80 %; the review says so before it is written."""
    said = room.run("round", "--site", "Hall", typed="9 3 n\n\n\nq\n")
    assert "This look does not count: that needs 80 % of the living seen" in said
    assert "does not count" not in room.run("round", "--site", "Hall", typed="10 3 n\n\n\nq\n")


def test_b_at_the_first_question_goes_back_to_the_tank_before(room: Room) -> None:
    """A tank that was left is shown again with what was typed there; one that is written has nothing due."""
    said = room.run("round", typed="12\n\n\nb\nb\nb\nq\n")
    assert said.count("== 1 of 2: Q1") == 2
    assert "This is the first tank." in said
    said = room.run("round", typed=Q1 + "b\nq\n")
    assert "Nothing is due in Q1 any more." in said
    assert said.count("== 2 of 2: Q2") == 2


# --- Stopping and going on ---------------------------------------------------------------------------------


def test_after_q_a_new_round_goes_on_with_what_is_still_due(room: Room) -> None:
    """Q1 is written, then q: the next round begins at Q2 and does not show Q1 again."""
    said = room.run("round", typed=Q1 + "4 3 n\nq\n")
    assert "Written: Q1." in said
    again = room.run("round", typed="q\n")
    assert "== 1 of 1: Q2" in again
    assert "Q1," not in again.partition("Written")[0]


def test_at_the_end_of_the_input_nothing_is_half_written(room: Room) -> None:
    """The lines end before Q2 is confirmed: refused by name, Q1 stays, of Q2 nothing is on record."""
    said = room.run("round", typed=Q1 + f"4 3 n {MARINE}\n\ny\nas shown\n", code=1)
    assert "The input ended before Q2 was confirmed, and nothing of it was written. Written before: Q1." in said
    assert "Traceback" not in said
    assert room.facts("dose") == []
    assert room.facts("look")[-1]["data"]["seen"] == 12


@pytest.mark.parametrize("typed", ["", None])
def test_a_round_without_input_is_refused(room: Room, typed: str | None) -> None:
    """An empty pipe and a closed standard input are one plain sentence."""
    said = room.run("round", typed=typed, code=1)
    assert "A round reads what is typed, at a terminal or from a pipe." in said
    assert "Nothing was written." in said


def test_a_dry_round_goes_through_it_all_and_writes_nothing(room: Room) -> None:
    """The same answers, the same review; the journal has no new entry."""
    before = room.ask("check")["head"]
    said = room.run("round", "--dry-run", typed=Q1 + typed_q2("as shown"))
    assert "0.09 g of praziquantel given to Q2" in said
    assert said.count("Dry run: nothing was written.") == 3
    assert room.ask("check")["head"] == before


def test_what_another_keeper_wrote_meanwhile_is_told_and_nothing_is_written_twice(room: Room) -> None:
    """The chore was ticked by Noor while Robin stood at the tank: the whole stop is taken back and shown again."""
    from quarantine.actions import rounds
    from quarantine.actions.work import done as tick

    code = room.code("Move the fish in")
    kept = rounds.perform

    def perform(desk, items, **more):  # type: ignore[no-untyped-def]
        if not desk.dry_run and not room.facts("done"):
            tick(desk._replace(keeper="Noor"), [code])
        return kept(desk, items, **more)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rounds, "perform", perform)
        said = room.run("round", typed=f"12 3 n {FRESH}\n\ny\ny\nq\n", code=0)
    assert "Nothing of Q1 was written." in said
    assert f"{code} (Move the fish in, none of their water with them) was done by Noor" in said
    assert len(room.facts("done")) == 1
    assert room.facts("look")[-1]["happened_at"].startswith("2026-02-12")


# --- Days, sites, programs ---------------------------------------------------------------------------------


def test_a_round_of_a_day_that_has_been_asks_when_and_keeps_both_times(room: Room) -> None:
    """What was missed on the 13th is logged on the 14th: happened on the 13th at 18:00, entered on the 14th."""
    typed = f"later\n18:00\n12 3 n {FRESH}\n\n\ny\n"
    said = room.run("round", "--on", "2026-02-13", "--site", "Hall", typed=typed, at="2026-02-14 08:00:00")
    assert "'later' is no time of the day: write HH:MM" in said
    look = room.facts("look")[-1]
    assert (look["happened_at"][:16], look["entered_at"][:16]) == ("2026-02-13T17:00", "2026-02-14T08:00")
    assert "(entered 2026-02-14 08:00 UTC)" in room.run("journal", "--last", "1", at="2026-02-14 08:00:00")


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (["--on", "2026-02-14"], 1, "has not come yet"),
        (["--on", "13.2.2026"], 2, "not a day"),
        (["--site", "Hal"], 1, "Did you mean 'Hall'?"),
    ],
)
def test_a_wrong_day_or_site_is_refused_before_anything_is_asked(
    room: Room,
    words: list[str],
    code: int,
    says: str,
) -> None:
    """The refusal comes first, in one sentence."""
    said = room.run("round", *words, typed="12\n", code=code)
    assert says in said
    assert "==" not in said


def test_who_acts_is_asked_before_the_first_tank(room: Room) -> None:
    """With two keepers on record and nobody named the round does not begin."""
    said = room.run("round", typed="12\n", code=1, keeper="")
    assert "Who is acting?" in said
    assert "==" not in said


def test_for_a_program_the_document_is_on_standard_output(room: Room) -> None:
    """With --json the talk goes to standard error; the document says what was written and what is open."""
    said = room.run("round", "--site", "Hall", "--json", typed="12 3 n\n\n\ny\n")
    document = json.loads(said.splitlines()[0])
    assert [stop["tank"] for stop in document["written"]] == ["Q1"]
    assert "Q1, 2026-02-13 17:30: 12 seen" in document["written"][0]["says"]
    assert {task["title"] for task in document["left"]} >= {"Read the temperature"}
    assert set(document["left"][0]) == {"tank", "code", "title"}


def test_a_round_reads_on_forty_columns(room: Room, monkeypatch: pytest.MonkeyPatch) -> None:
    """No line of the talk is wider than the terminal, save what was typed."""
    monkeypatch.setenv("COLUMNS", "40")
    said = room.run("round", typed="?\n12 3 n\n\n?\n\ny\n4 3 n\n\n\n\ny\n")
    assert [line for line in said.splitlines() if len(line) > 40 and not line.startswith("> ")] == []


def test_a_line_with_control_characters_is_asked_again(room: Room) -> None:
    """An arrow key at a plain prompt sends an escape: it is not taken for a name or a number."""
    said = room.run("round", "--site", "Hall", typed="\x1b[A\n12 3 n\n\n\ny\n")
    assert "type it again" in said
    assert "Written: Q1." in said


def test_nothing_due_is_said_and_ends_well(room: Room) -> None:
    """A round with no work asks nothing."""
    room.run("round", typed=Q1 + typed_q2("as shown"))
    said = room.run("round", typed="")
    assert "Written: nothing." in said
    assert "Nothing is left open." in said
