"""What a stranger stumbled over in the living plan: slips that are asked about, and sentences that say what moved."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path

import pytest
from moving_room import hall
from once_room import OnceRoom


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The hall of the other tests, made once: four fish of batch Q2-1 on day 3, Q3 and Q4 empty."""
    home = tmp_path_factory.mktemp("stranger") / "home"
    hall(OnceRoom(home, _Silent()))  # type: ignore[arg-type]
    return home


class _Silent:
    """Stands for the captured output of one test, where a whole module's room is built."""

    def readouterr(self) -> tuple[str, str]:
        return _Said("", "")


class _Said(tuple[str, str]):
    out = err = ""

    def __new__(cls, out: str, err: str) -> _Said:
        return super().__new__(cls, (out, err))


@pytest.fixture
def room(built: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> OnceRoom:
    """A copy of the hall at eight in the evening of day 3."""
    shutil.copytree(built, tmp_path / "home")
    return OnceRoom(tmp_path / "home", capsys)


def test_a_thousand_fish_beside_four_are_asked_about(room: OnceRoom) -> None:
    """More than ten times the living is a slip of the number until --really; forty are not asked about."""
    assert "1000 added, but 4 of Q2-1 are alive on record: a slip" in room.type("event added Q2 1000 --yes", 1)
    assert "41 added" in room.type("event added Q2 41 --yes", 1)
    room.type("event added Q2 40 --yes")
    room.type("event added Q2 1000 --yes --really")
    assert room.json("batch show Q2-1")["alive"] == 1044


def test_the_same_fish_added_twice_in_a_minute_are_asked_about(room: OnceRoom) -> None:
    """One addition typed twice, until --really; another count, or one of an hour later, is not asked about."""
    room.type("event added Q2 1 --yes")
    room.at("19:01:00")
    assert "two additions, or one typed twice?" in room.type("event added Q2 1 --yes", 1)
    room.type("event added Q2 2 --yes")
    room.type("event added Q2 1 --yes --really")
    room.at("20:01:00").type("event added Q2 1 --yes")


def test_a_reading_says_which_dates_it_moves(room: OnceRoom, monkeypatch: pytest.MonkeyPatch) -> None:
    """Old and new earliest sign-off, side by side, as a look shows them; nothing where none moves."""
    days = iter([{"Q2-1": date(2026, 3, 12)}, {"Q2-1": date(2026, 3, 14)}])
    monkeypatch.setattr("quarantine.actions.noting.earliest_days", lambda act, systems: next(days))
    assert "->" not in room.type("reading Q2 temp=25.5C")
    assert "Q2-1: earliest sign-off 2026-03-14 -> 2026-03-12" in room.type("reading Q2 temp=25.6C")


def test_a_look_says_what_its_signs_do_to_the_clear_count(room: OnceRoom) -> None:
    """B and A begin it again, and say on which day; C pauses it; one dated before a later sign moves no day zero."""
    said = room.type("look 'Q2 4 3' --sign ulcer")
    assert "Q2-1: the clear count begins again, day 0 is 2026-02-13 (rule A5)." in said
    assert "B means the same day: look again, and test the water" in said
    said = room.type("look 'Q2 4 3' --sign ulcer --at '2026-02-12 12:00'")
    assert "Q2-1: day 0 of the clear count stays 2026-02-13 (sign seen: ulcer (B)), after this look." in said
    room.type("look 'Q2 4 3' --no-signs")
    said = room.at("2026-02-14 10:00:00").type("look 'Q2 4 3' --sign colour")
    assert "a sign of C: the clear count pauses while it is open" in said
    assert "begins again" not in said
    said = room.at("2026-02-15 10:00:00").type("look 'Q2 4 3' --sign gasping")
    assert "day 0 is 2026-02-15" in said
    assert "B means" not in said


def test_a_clear_day_stays_clear_when_a_second_look_is_silent(room: OnceRoom) -> None:
    """A4: it is said of the day once; a sign that a second look saw takes the day back."""
    assert "not a clear day" not in room.type("look 'Q2 4 3'")
    assert room.json("clocks Q2-1")["clear"]["days"] == 3
    room.at("20:00:00").type("look 'Q2 4 3' --sign colour")
    assert room.json("clocks Q2-1")["clear"]["days"] == 2
    assert "not a clear day" in room.at("2026-02-14 10:00:00").type("look 'Q2 4 3'")


def test_only_an_open_sign_can_be_gone(room: OnceRoom) -> None:
    """Another name is refused, and the open ones are named; what is gone is not "not mentioned"."""
    assert "ulcer was not open in Q2 then" in room.type("look 'Q2 4 3' --gone ulcer", 1)
    room.type("look 'Q2 4 3' --sign 'white spots'")
    assert "so it cannot be gone; open there: white spots." in room.type("look 'Q2 4 3' --gone ulcer", 1)
    room.at("2026-02-14 10:00:00")
    said = room.type("look 'Q2 4 3' --gone 'white spots'")
    assert "Gone: white spots." in said
    assert "not mentioned" not in said
    assert "no sign is open there" in room.type("look 'Q2 4 3' --gone 'white spots'", 1)


def test_a_volume_measured_before_a_later_one_says_what_rules(room: OnceRoom) -> None:
    """One true sentence, and the command after which the measured one rules."""
    box = '--shape box --length "60 cm" --width "30 cm" --filled "30 cm"'
    room.type(f"tank add Q9 --site Hall --role quarantine --water marine {box}")
    said = room.type("tank measure Q9 49.3L --by buckets --plus-minus 0.5L --at '2026-02-01 10:00'")
    assert "A later volume is on record and rules now: 54 L, computed from its measures." in said
    assert "Every later dose" not in said
    again = said.split("it rules: quarantine ")[1]
    assert "Every later dose uses it." in room.type(again)
    assert room.json("tank show Q9")["volume"]["litres"] == 49.3


def test_the_leak_card_names_the_one_command(room: OnceRoom) -> None:
    """Fish that must move at night are logged by one command for all of them."""
    assert "Log it: quarantine event emergency Q2 --to NEW --make LITRES." in room.type("card emergency --tank Q2")


def test_the_note_names_what_happened_in_a_day(room: OnceRoom) -> None:
    """An incident that is over, fish that came in, a count that differs, a missed dose; each for as long as it is."""
    room.type("event incident Q2 --what power --from '-3h' --until '-1h' --yes")
    room.type("event added Q2 1 --yes")
    room.at("20:00:00").type("look 'Q2 4 3' --no-signs")
    odd = room.json("handover")["odd"]
    assert "Q2: incident, over: power cut, from 2026-02-13 17:00 until 2026-02-13 19:00" in odd
    assert "Q2: 1 fish added to Q2-1, 2026-02-13 20:00" in odd
    assert "Q2: 4 of Q2-1 were seen 2026-02-13 21:00, 5 were alive on record" in odd
    room.at("2026-02-15 12:00:00").type("look 'Q2 5 3' --no-signs")
    later = " ".join(room.json("handover")["odd"])
    assert "incident" not in later
    assert "added" not in later
    assert "alive on record" not in later


def test_stock_that_is_to_be_bought_in_a_week_is_in_the_note(room: OnceRoom) -> None:
    """Where stock is kept, the medicine of which there is none is named too, as the shopping list says it."""
    room.type("stock add Bag '1 kg' --substance sodium-chloride --form powder --strength '99 %' --lot A1")
    (line,) = room.json("handover")["stock"]
    assert line.startswith("STOCK: Praziquantel, counted as pure (100 %): needed 0.18 g")
    assert line.endswith("short 0.18 g, from 2026-02-13 on: buy 0.2 g at once")


def test_more_seen_than_alive_is_said_as_more(room: OnceRoom) -> None:
    """Nobody is to be found where there are too many."""
    room.type("look 'Q2 6 3' --no-signs --really")
    says = " ".join(c["says"] for c in room.json("signoff Q2-1")["criteria"])
    assert "6 seen on 2026-02-13, 4 alive on record: more than there should be. Count again" in says
    assert "find them" not in says


def test_an_unknown_name_of_why_is_a_batch_with_near_names(room: OnceRoom) -> None:
    """What cannot be a code is meant as a batch; what can be one is a task that is not there."""
    assert "There is no batch 'Q2-2'" in room.type("why Q2-2", 1)
    assert "Did you mean 'Q2-1'?" in room.type("why Q2-2", 1)
    assert "There is no task 'ZZZZ'" in room.type("why ZZZZ", 1)


def test_a_part_has_a_name_of_its_own(room: OnceRoom) -> None:
    """Not that of a tank, and none that would be a path."""
    assert "'q3' is the name of a tank" in room.type("batch split Q2-1 --fish 1 --name q3", 1)
    assert "no / and no" in room.type("batch split Q2-1 --fish 1 --name ../x", 1)


def test_an_emergency_before_a_split_counts_each_fish_once(room: OnceRoom) -> None:
    """A move that is entered late says of each part the fish that it has; together they are those that were there."""
    room.at("20:00:00").type("batch split Q2-1 --fish 1 --name Half")
    said = room.type("event emergency Q2 --to Bin --make '40 L' --at '20:30'")
    assert "Batch Q2-1: 3 fish moved from Q2 to Bin, 2026-02-13 20:30" in said
    assert "Batch Half: 1 fish moved from Q2 to Bin, 2026-02-13 20:30" in said
    assert [room.json(f"batch show {name}")["alive"] for name in ("Q2-1", "Half")] == [3, 1]
