"""Absences and closures at the command line where the template makes something of days on which nobody is there, and
what of the open work nobody is there for."""

from __future__ import annotations

from pathlib import Path

import pytest
from amend_room import Room
from centre_room import Centre
from once_room import OnceRoom
from school_room import arrive, school

from quarantine.templates import shipped


def room(folder: Path, capsys: pytest.CaptureFixture[str], says: str) -> OnceRoom:
    """A school whose fish came on Monday 2026-03-02 for thirty days, under a template that says something of the
    event. Of the three keepers one is left after the first two absences."""
    text = shipped()["fresh-watch"].read_text(encoding="utf-8")
    made_of_it = text.replace('death = "restart"', f'death = "restart"\nkeeper_absent = "{says}"', 1)
    (folder / "mine.toml").write_text(made_of_it, encoding="utf-8")
    made = school(OnceRoom(folder / "home", capsys))
    arrive(made, protocol=str(folder / "mine.toml"))
    return made


def earliest(made: OnceRoom) -> str:
    return str(made.json("why Q1-1")["earliest"])


FIRST_TWO = ("absent Robin 2026-03-09 2026-03-11", "absent Noor 2026-03-09 2026-03-12")
THIRD = "absent Kim 2026-03-10 2026-03-13"
"""Together they leave the 10th and the 11th without anybody."""


@pytest.mark.parametrize(
    ("says", "day"), [("extend", "2026-04-03"), ("pause", "2026-04-03"), ("restart", "2026-04-10")]
)
def test_old_and_new_days_are_shown_and_asked_for_before_the_absence_is_on_record(
    says: str, day: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """While one keeper is there nothing is asked; the third absence moves dates, ahead, and is written with --yes."""
    made = room(tmp_path, capsys, says)
    for line in FIRST_TWO:
        assert "Nothing was moved." in made.type(line)
    moved = f"Q1-1: earliest sign-off 2026-04-01 -> {day}"
    assert made.type(THIRD, 1) == f"This would move dates: {moved}. Say --yes to record it."
    assert [a["keeper"] for a in made.json("absent --list")["absences"]] == ["Robin", "Noor"]
    assert earliest(made) == "2026-04-01"
    tried = made.type(f"{THIRD} --dry-run")  # a dry run shows it and is not asked
    assert moved in tried
    assert earliest(made) == "2026-04-01"
    assert moved in made.type(f"{THIRD} --yes")
    assert earliest(made) == day
    assert "whole" in made.type("check")


def test_note_moves_nothing_and_is_shown(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The default: `timeline` and `why` of the day say that nobody is there, without a name."""
    made = room(tmp_path, capsys, "note")
    for line in (*FIRST_TWO, THIRD):
        assert "Nothing was moved." in made.type(line)
    assert earliest(made) == "2026-04-01"
    said = "nobody there: all who may look are away until 2026-03-11; the template says note"
    assert said in made.type("timeline Q1-1")
    assert "nobody there: all who may look are away: the template says note" in made.type("why Q1-1 2026-03-11")
    assert "nobody there" not in made.type("why Q1-1 2026-03-12")


def test_what_moved_is_told_by_why_and_clocks(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The day, the cause, the template's word and the days that it added."""
    made = room(tmp_path, capsys, "restart")
    for line in (*FIRST_TWO, f"{THIRD} --yes"):
        made.type(line)
    said = (
        "2026-03-11: nobody there: all who may look are away; the template says restart: day 0 is that day (+9 days)."
    )
    assert said in made.type("why Q1-1")
    assert said in made.type("clocks Q1-1")
    assert "observation from 2026-03-11 on" in made.type("today")


def test_of_a_single_keeper_the_first_absence_acts(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nobody else is on record: three days away, and no absence was on record before."""
    made = Room(tmp_path, capsys, monkeypatch)
    text = shipped()["fresh-watch"].read_text(encoding="utf-8")
    (tmp_path / "mine.toml").write_text(
        text.replace('death = "restart"', 'death = "restart"\nkeeper_absent = "extend"', 1), encoding="utf-8"
    )
    made.at("2026-03-02 09:00").type(
        f"batch start --tank Q1 --protocol {tmp_path}/mine.toml --arrived '2026-03-02 08:30' "
        "--fish '12 Melanotaenia praecox' --from 'a breeder' --to Show --acknowledge --yes"
    )
    assert "2026-04-01 -> 2026-04-04" in made.type("absent Robin 2026-03-09 2026-03-11", 1)
    made.type("absent Robin 2026-03-09 2026-03-11 --yes")
    assert made.json("why Q1-1")["earliest"] == "2026-04-04"


@pytest.mark.parametrize("at", ["2026-03-03 08:00:00", "2026-03-14 08:00:00"])
def test_an_absence_that_is_taken_back_moves_the_days_back(
    at: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Before it and after it, with the question; the record has both entries."""
    made = room(tmp_path, capsys, "extend")
    for line in (*FIRST_TWO, f"{THIRD} --yes"):
        made.type(line)
    made.at(at)
    back = "absent Noor 2026-03-09 --withdraw"
    moved = "Q1-1: earliest sign-off 2026-04-03 -> 2026-04-01"
    assert moved in made.type(back, 1)
    assert moved in made.type(f"{back} --yes")
    assert earliest(made) == "2026-04-01"
    assert "whole" in made.type("check")


def test_a_closure_acts_alone_and_is_taken_back(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A site that is shut has nobody: nine days of a spring break, and the weekends inside the stay."""
    made = room(tmp_path, capsys, "extend")
    shut = 'site closed School 2026-03-14 2026-03-22 --what "spring break"'
    moved = "Q1-1: earliest sign-off 2026-04-01 -> 2026-04-10"
    assert moved in made.type(shut, 1)
    assert moved in made.type(f"{shut} --yes")
    assert "nobody there: School is shut (spring break) until 2026-03-22" in made.type("timeline Q1-1")
    assert "2026-04-10 -> 2026-04-01" in made.type("site closed School 2026-03-14 --withdraw --yes")
    # From Monday 2 March on thirty days that are no weekend: 4, then five in each of five weeks, then a Monday.
    weekends = "site closed School 2026-03-01 2026-06-30 --weekdays sat,sun --what weekend"
    assert "2026-04-01 -> 2026-04-13" in made.type(weekends, 1)
    made.type(f"{weekends} --yes")
    told = made.type("timeline Q1-1")  # to the end of the stay, and not through all the term
    assert "(weekend) until 2026-04-12" in told
    assert "(weekend) until 2026-04-19" not in told


def test_a_preview_of_fish_to_come_knows_the_days_already(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The dates before anything is written are those that the batch will have."""
    made = room(tmp_path, capsys, "extend")
    made.type("site closed School 2026-03-14 2026-03-22 --what 'spring break' --yes")
    line = f"protocol preview {tmp_path}/mine.toml --tank Q1 --arrived '2026-03-02 08:30'"
    assert "2026-04-10" in made.type(line)
    made.type("site closed School 2026-03-14 --withdraw --yes")
    assert "2026-04-01" in made.type(line)


def test_a_look_on_the_day_takes_it_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Somebody came in all the same on the second of the two days: one day is left."""
    made = room(tmp_path, capsys, "pause")
    for line in (*FIRST_TWO, f"{THIRD} --yes"):
        made.type(line)
    made.at("2026-03-11 15:00:00")
    assert earliest(made) == "2026-04-03"
    made.type("look 'Q1 12 3' --no-signs")
    assert earliest(made) == "2026-04-02"


def test_the_order_of_entry_changes_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Three absences and a closure, entered forwards and backwards: the same days and the same reasons."""
    lines = [*FIRST_TWO, THIRD, "site closed School 2026-03-20 2026-03-21 --what 'a fair'"]
    told = []
    for name, order in (("forwards", lines), ("backwards", lines[::-1])):
        (tmp_path / name).mkdir()
        made = room(tmp_path / name, capsys, "extend")
        for line in order:
            made.type(f"{line} --yes")
        told.append((made.type("why Q1-1"), made.type("clocks Q1-1"), made.type("timeline Q1-1")))
    assert "2026-04-05" in told[0][0]
    assert told[0] == told[1]


def test_a_keeper_who_is_added_later_was_not_there_before(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is over stays what it was; days to come have somebody now, and that is asked about."""
    made = room(tmp_path, capsys, "restart")
    for line in (*FIRST_TWO, f"{THIRD} --yes"):
        made.type(line)
    made.at("2026-03-11 08:00:00")
    moved = "Q1-1: earliest sign-off 2026-04-10 -> 2026-04-09"
    assert moved in made.type("keeper add Wil", 1)
    assert moved in made.type("keeper add Wil --yes")
    assert earliest(made) == "2026-04-09"
    made.at("2026-03-20 08:00:00")
    assert made.type("keeper add Ulrike") == "Keeper Ulrike."
    assert earliest(made) == "2026-04-09"


def test_a_role_that_lets_nobody_look_is_asked_about(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Looks that are for adults: Kim, a pupil, covers for nobody, and as an adult does."""
    text = shipped()["fresh-watch"].read_text(encoding="utf-8")
    look = text.replace('death = "restart"', 'death = "restart"\nkeeper_absent = "extend"', 1)
    place = look.index('kind = "look"')
    (tmp_path / "mine.toml").write_text(f'{look[:place]}who = "adult"\n{look[place:]}', encoding="utf-8")
    made = school(OnceRoom(tmp_path / "home", capsys))
    arrive(made, protocol=str(tmp_path / "mine.toml"))
    made.type("absent Robin 2026-03-09 2026-03-11")
    assert "2026-04-01 -> 2026-04-04" in made.type("absent Noor 2026-03-09 2026-03-11 --yes")
    assert "2026-04-04 -> 2026-04-01" in made.type("keeper role Kim adult", 1)
    assert "2026-04-04 -> 2026-04-01" in made.type("keeper role Kim adult --yes")
    assert earliest(made) == "2026-04-01"


def test_no_name_is_told_where_days_are_explained(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The plan knows days, not people: a name can be erased."""
    made = room(tmp_path, capsys, "extend")
    for line in (*FIRST_TWO, f"{THIRD} --yes"):
        made.type(line)
    for line in ("why Q1-1", "clocks Q1-1"):
        assert not any(name in made.type(line) for name in ("Robin", "Noor", "Kim"))


# --- A batch that was moved ----------------------------------------------------------------------------------


def test_fish_that_were_moved_to_another_site_have_its_days_from_then_on(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Days of a place count while the fish are there: the School is shut on the 5th, 6th and 25th, the Annex on the
    5th and the 19th to 21st; they are moved on the 10th."""
    made = room(tmp_path, capsys, "extend")
    made.type("site add Annex --zone Europe/Berlin")
    box = '--shape box --length "60 cm" --width "30 cm" --filled "30 cm"'
    made.type(f"tank add A1 --site Annex --role quarantine --water fresh {box}")
    for days in ("2026-03-05 2026-03-06", "2026-03-25 2026-03-25"):
        made.type(f"site closed School {days} --what 'a fair' --yes")
    for days in ("2026-03-05 2026-03-05", "2026-03-19 2026-03-21"):
        made.type(f"site closed Annex {days} --what painting --yes")
    assert earliest(made) == "2026-04-04"  # two and one of the School's
    made.at("2026-03-10 09:00:00").type("batch move Q1-1 --to A1 --yes --no-water")
    assert earliest(made) == "2026-04-06"  # two of the School's, three of the Annex's
    assert "2026-04-06 -> 2026-04-04" in made.type("site closed School 2026-03-05 --withdraw --yes")
    assert "whole" in made.type("check")


# --- What nobody is there for --------------------------------------------------------------------------------


@pytest.fixture
def transfers(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Centre:
    """Marine fish that are moved on day 3, between the hours 70 and 72 after they came; Robin is away from day 4 on."""
    made = Centre(tmp_path, capsys, monkeypatch, "marine")
    made.arrive("marine-tank-transfer", "2026-03-02 09:00", fish="4 Centropyge bicolor")
    made.days("2026-03-03", "2026-03-04", 4)
    made.type("absent Robin 2026-03-06 2026-03-09")
    return made


def named(made: Centre, line: str) -> list[tuple[str, str, str]]:
    """Of the moves that nobody is there for the day, the title and why."""
    found = made.json(line)["clashes"]
    return [(c["day_on"], c["title"], c["why"]) for c in found if c["title"].startswith("Move every fish")]


MOVE = "Move every fish to the clean, dry tank ({n} of 4)"
WHY = "Noor and Robin are away, and nobody else may do it"


def test_a_move_that_is_due_while_all_are_away_is_named(transfers: Centre) -> None:
    """The second one, on day 6."""
    assert named(transfers, "absent Noor 2026-03-06 2026-03-09") == [("2026-03-08", MOVE.format(n=2), WHY)]


def test_moves_that_begin_again_because_one_ran_out_of_time_are_named_by_their_new_days(transfers: Centre) -> None:
    """At hour 81 nobody has logged anything since: the first move is missed, the series begins again and is due."""
    transfers.at("2026-03-05 18:00")
    assert ("2026-03-08", MOVE.format(n=2), WHY) in named(transfers, "absent Noor 2026-03-06 2026-03-09")
    states = {t["state"] for t in transfers.json("batch show Q1-1")["tasks"] if t["title"] == MOVE.format(n=1)}
    assert states == {"missed", "planned"}


def test_work_that_is_overdue_and_stays_open_is_named(transfers: Centre) -> None:
    """The tank that was to be filled on day 2 waits still on day 5, and nobody is there on any of the days; where one
    is there on the last of them it can be done then. Looks of days that are over are missed, and nobody's work."""
    transfers.at("2026-03-07 09:00").type("look 'Q1 4 3' --no-signs")
    fill = ("2026-03-04", "Fill the next tank for the move of tomorrow")

    def open_still(line: str) -> list[tuple[str, str]]:
        found = transfers.json(line)["clashes"]
        assert all(c["why"] in (WHY, f"still open; {WHY}") for c in found)
        assert all(c["day_on"] >= "2026-03-07" for c in found if c["why"] == WHY)
        return [(c["day_on"], c["title"]) for c in found if c["why"] != WHY]

    still = open_still("absent Noor 2026-03-07 2026-03-09 --dry-run")
    assert fill in still
    assert not any(title.startswith("Look") for _, title in still)
    assert open_still("absent Noor 2026-03-07 2026-03-10 --dry-run") == []
    assert fill in open_still("absent Noor 2026-03-08 2026-03-09")


def test_A11_care_of_days_that_are_over_is_nobody_s_work(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Four days on which nothing was logged: their looks, feeds and tests are not done later, a water change is."""
    made = room(tmp_path, capsys, "note")
    made.at("2026-03-12 08:00:00")
    for keeper in ("Robin", "Noor"):
        made.type(f"absent {keeper} 2026-03-12 2026-03-14")
    clashes = made.json("absent Kim 2026-03-12 2026-03-14")["clashes"]
    still = {c["title"] for c in clashes if c["day_on"] < "2026-03-12"}
    assert still
    assert not any(title.startswith(("Look", "Feed", "Read", "Test")) for title in still)


def test_what_clashes_already_is_not_named_by_a_closure_again(transfers: Centre) -> None:
    """Noor's absence names the work of four days; a closure of two of them has nothing to add."""
    assert transfers.json("absent Noor 2026-03-06 2026-03-09")["clashes"]
    assert transfers.json("site closed Hall 2026-03-07 2026-03-08 --what paint")["clashes"] == []
