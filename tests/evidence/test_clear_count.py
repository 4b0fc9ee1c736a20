"""The clear count and what counts as a look: rules A3, A4, A5."""

from __future__ import annotations

import pytest
from history import History

from quarantine.evidence import worst_open


def clear(history: History, n: int, clock: str = "21:00") -> int:
    return history.evidence(history.at(n, clock)).clear.days


def test_A4_each_looked_day_without_signs_counts_and_the_first_is_day_zero() -> None:
    """The day the fish came in is day zero; five looked days after it are five clear days."""
    history = History()
    history.looks(0, 5)
    assert [clear(history, n) for n in range(6)] == [0, 1, 2, 3, 4, 5]


@pytest.mark.parametrize(
    ("seen", "counts"),
    [(40, True), (32, True), (31, False), (0, False), (None, False)],
)
def test_A3_a_look_counts_from_four_fifths_of_the_living(seen: int | None, counts: bool) -> None:
    """32 of 40 is enough, 31 is not, and a look without a count never is."""
    history = History()
    history.look(1, seen=seen)
    assert history.evidence(history.at(1, "21:00")).looks[0].counts is counts


def test_A3_every_fish_within_three_days() -> None:
    """With one fish always missing the looks count up to day 3, and again once all were seen."""
    history = History()
    history.look(0)
    history.looks(1, 5, seen=39)
    history.look(6)
    assert [look.counts for look in history.evidence(history.at(6, "21:00")).looks] == [
        True,
        True,
        True,
        True,
        False,
        False,
        True,
    ]


def test_A3_the_living_are_those_of_that_moment() -> None:
    """After ten deaths 30 seen are all of them."""
    history = History()
    history.died(1, "08:00", fish=10)
    history.look(1, "09:00", seen=30)
    look = history.evidence(history.at(1, "21:00")).looks[0]
    assert look.counts
    assert look.seen == 30


def test_A4_a_look_that_does_not_say_no_signs_is_no_clear_day() -> None:
    """A count without a word on signs neither counts nor resets."""
    history = History()
    history.looks(1, 3)
    history.look(4, none=False)
    history.look(5)
    assert [clear(history, n) for n in (3, 4, 5)] == [3, 3, 4]


def test_A4_silence_is_not_gone() -> None:
    """A sign stays open through looks that do not mention it, and ends with the look that says so."""
    history = History()
    history.look(1, signs=("white spots",))
    history.look(2, none=False)
    history.look(3, none=False)
    assert [s.name for s in history.evidence(history.at(3, "21:00")).open_signs] == ["white spots"]
    history.look(4, none=False, gone=("white spots",))
    assert history.evidence(history.at(4, "21:00")).open_signs == ()


def test_A4_the_last_day_a_sign_was_seen_is_day_zero() -> None:
    """Seen on days 2 and 4, the count starts after day 4."""
    history = History()
    history.looks(0, 1)
    history.look(2, signs=("ulcer",))
    history.look(3)
    history.look(4, signs=("ulcer",))
    history.looks(5, 6)
    standing = history.evidence(history.at(6, "21:00")).clear
    assert (standing.days, standing.zero) == (2, history.day(4))


def test_A4_a_day_on_which_a_sign_was_seen_is_never_clear() -> None:
    """Not even a C sign of the morning that is gone in the evening."""
    history = History()
    history.look(1)
    history.look(2, "08:00", signs=("colour",))
    history.look(2, "19:00")
    assert clear(history, 2) == 1


def test_A4_two_unlooked_days_neither_count_nor_reset() -> None:
    """Looked on days 1 to 3 and on day 6: four clear days."""
    history = History()
    history.looks(1, 3)
    history.look(6)
    assert [clear(history, n) for n in (4, 5, 6)] == [3, 3, 4]


def test_A4_three_unlooked_days_in_a_row_restart() -> None:
    """The third unlooked day, once it is over, is the new day zero; before that it is announced."""
    history = History()
    history.looks(1, 3)
    assert history.evidence(history.at(4)).clear.lapses_on == history.day(7)
    assert clear(history, 6) == 3  # day 6 is not over
    restarted = history.evidence(history.at(7, "00:30")).clear
    assert (restarted.days, restarted.zero) == (0, history.day(6))
    history.look(7)
    assert clear(history, 7) == 1


def test_A4_a_look_that_saw_too_few_is_an_unlooked_day() -> None:
    """Three days with half the fish seen restart like three days without a look."""
    history = History()
    history.looks(1, 3)
    history.looks(4, 6, seen=20)
    assert clear(history, 7) == 0


@pytest.mark.parametrize("name", ["gasping", "white spots"])
def test_A5_a_and_b_signs_restart_the_clear_count(name: str) -> None:
    """An A sign and a B sign alike put the count back to zero."""
    history = History()
    history.looks(0, 5)
    history.look(6, signs=(name,))
    assert clear(history, 6) == 0
    history.look(7)
    assert clear(history, 7) == 1


def test_A5_a_c_sign_pauses_while_present() -> None:
    """Days with a C sign open do not count and take nothing away."""
    history = History()
    history.looks(0, 5)
    history.look(6, signs=("colour",))
    history.look(7, none=False)
    history.look(8, "08:00")  # 47 hours later: gone
    assert [clear(history, n) for n in (6, 7, 8)] == [5, 5, 6]


def test_A5_c_beyond_48_hours_is_b_when_it_is_seen_again() -> None:
    """Seen on days 6, 7, 8 and 9: on day 9 it restarts the count."""
    history = History()
    history.looks(0, 5)
    for n in (6, 7, 8):
        history.look(n, signs=("colour",))
    assert clear(history, 8, "09:00") == 5  # exactly 48 hours is not beyond
    history.look(9, signs=("colour",))
    evidence = history.evidence(history.at(9, "21:00"))
    assert (evidence.clear.days, evidence.clear.zero) == (0, history.day(9))
    assert worst_open(evidence) == "B"


def test_A5_c_beyond_48_hours_is_b_by_silence_too() -> None:
    """A C sign that nobody said is gone has become B after 48 hours, and a later "no signs" does not undo that."""
    history = History()
    history.looks(0, 5)
    history.look(6, signs=("colour",))
    history.looks(7, 8, none=False)
    assert clear(history, 8) == 0
    assert worst_open(history.evidence(history.at(8, "21:00"))) == "B"
    history.look(9)
    history.look(10)
    assert clear(history, 10) == 1


def test_A5_the_severity_a_keeper_states_counts() -> None:
    """A sign of the table seen first as C and then stated as A restarts; an unknown sign is B."""
    history = History()
    history.looks(0, 5)
    history.look(6, signs=("colour",))
    history.look(7, signs=("colour",), severity={"colour": "A"})
    assert clear(history, 7) == 0
    assert worst_open(history.evidence(history.at(7, "21:00"))) == "A"
    history.look(8, signs=("odd",))
    assert ("sign_b", "sign seen: odd (B)") in [r[1:3] for r in history.evidence(history.at(8, "21:00")).happenings]


def test_B1_the_clear_count_starts_again_with_the_last_fish_in() -> None:
    """Fish added to the batch, or another batch in the same water, are a new day zero."""
    for kind, batch in (("added", "B"), ("arrival", "other")):
        history = History()
        history.looks(0, 4)
        history.fact(kind, history.at(5, "08:00"), {"count": 3}, batch=batch)
        history.looks(5, 7)
        standing = history.evidence(history.at(7, "21:00")).clear
        assert (standing.days, standing.zero) == (2, history.day(5))


def test_B1_a_batch_that_was_there_before_leaves_the_newer_ones_clock_alone() -> None:
    """The clock of the batch that came last counts from its own arrival."""
    history = History()
    history.fact("arrival", history.at(-3), {"count": 5}, batch="older")
    evidence = history.evidence(history.at(2))
    assert evidence.entered_at == history.arrival.at
    assert not [one for one in evidence.happenings if one.event == "fish_added"]
