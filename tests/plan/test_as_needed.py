"""F9, A13: steps that a keeper asks for: a run for each word, limits in the grammar, nothing that moves a key."""

from __future__ import annotations

import pytest
from history import EVENTS, HEAD, History, small

from quarantine.facts import Fact
from quarantine.plan import plan
from quarantine.protocol import Duration, ProtocolError, read

FOAM = """
[[step]]
id = "foam"
kind = "chore"
title = "Skim the foam"
start = { word = "There is foam", by = "BY" }
repeat = { REPEAT }
references = ["choice"]

[[step]]
id = "after-foam"
kind = "chore"
title = "Wipe the lid"
start = { after = "foam", by = "1 d" }
references = ["choice"]
"""


def foam(repeat: str, by: str = "0 d") -> str:
    return FOAM.replace("REPEAT", repeat).replace("BY", by)


def say(history: History, n: int, clock: str, word: str = "There is foam") -> Fact:
    return history.fact("word", history.at(n, clock), {"word": word})


def test_nothing_is_due_until_a_keeper_says_so() -> None:
    """Without a word one row waits, and says the sentence and the limits; so does what hangs on it."""
    history = History(small(foam('as_needed = "6 h", daily = 2, until = "observation"')))
    (waiting,) = history.runs("foam", history.at(1))
    assert (waiting.day, waiting.needs) == (None, "as needed, at least 6 h apart, at most 2 a day: There is foam")
    assert history.runs("after-foam", history.at(1))[0].day is None


def test_each_word_is_a_run_of_its_own() -> None:
    """Two words, two runs with keys of their own; the next one still waits; the follower hangs on the last."""
    history = History(small(foam('as_needed = "6 h", until = "observation"')))
    first, second = say(history, 1, "08:00"), say(history, 2, "15:00")
    runs = history.runs("foam", history.at(2, "16:00"))
    assert [(r.day, r.key.split(":")[2]) for r in runs[:2]] == [(history.day(1), first.id), (history.day(2), second.id)]
    assert runs[2].day is None
    assert history.runs("after-foam", history.at(2, "16:00"))[0].day == history.day(3)


def test_a_word_entered_late_moves_no_key() -> None:
    """An earlier word that is written down later adds a run and leaves the others as they were."""
    history = History(small(foam('as_needed = "6 h", until = "observation"')))
    say(history, 2, "15:00")
    before = {r.key: r.day for r in history.runs("foam", history.at(3))}
    history.fact("word", history.at(1, "08:00"), {"word": "There is foam"}, entered=history.at(3))
    after = {r.key: r.day for r in history.runs("foam", history.at(3))}
    assert before.items() <= after.items()
    assert len(after) == len(before) + 1


def test_no_more_runs_than_the_number_in_all() -> None:
    """With `times` the words beyond it plan nothing, and nothing waits once they are used up."""
    history = History(small(foam('as_needed = "1 h", times = 2')))
    for clock in ("08:00", "10:00", "12:00"):
        say(history, 1, clock)
    runs = history.runs("foam", history.at(1, "13:00"))
    assert [r.day for r in runs] == [history.day(1)] * 2


def test_a_closed_batch_waits_for_nothing() -> None:
    """Once the batch is signed off nobody is asked any more; what was done stays."""
    history = History(small(foam('as_needed = "1 h", until = "observation"')))
    say(history, 1, "08:00")
    history.done(history.runs("foam", history.at(1, "09:00"))[0], history.at(1, "09:00"))
    made = plan([history.course(history.at(12))], history.facts, history.at(13), history.water)
    assert [(t.day, t.state) for t in made.tasks if t.step == "foam"] == [(history.day(1), "done")]


def test_another_batch_and_another_sentence_start_nothing() -> None:
    """A word belongs to its batch, and is read whole, capitals aside."""
    history = History(small(foam('as_needed = "6 h", until = "observation"')))
    history.fact("word", history.at(1), {"word": "There is foam"}, batch="C")
    say(history, 1, "09:00", "There is no foam")
    assert [r.day for r in history.runs("foam", history.at(1, "12:00"))] == [None]
    say(history, 1, "10:00", "there IS foam")
    assert history.runs("foam", history.at(1, "12:00"))[0].day == history.day(1)


def test_a_word_starts_a_plain_series_once() -> None:
    """`start = { word = ... }` with an ordinary repeat: anchored on the first word that was entered."""
    history = History(small(foam('every = "2 d", times = 3', by="1 d").replace("There is foam", "The vet agreed")))
    say(history, 3, "15:00", "The vet agreed")
    say(history, 5, "15:00", "The vet agreed")
    runs = history.runs("foam", history.at(3, "16:00"))
    assert [r.day for r in runs] == [history.day(4), history.day(6), history.day(8)]
    assert runs[0].reason == f"1 d after a keeper said 'The vet agreed' on {history.day(3)}"


def test_the_grammar_holds_gap_and_daily_number() -> None:
    """A repeat given as needed counts from the last one given, without saying so."""
    repeat = small(foam('as_needed = "6 h", daily = 2, until = "observation"')).steps[0].repeat
    assert repeat is not None
    assert (repeat.as_needed, repeat.daily, repeat.from_, repeat.every) == (Duration(6, "h"), 2, "given", None)


@pytest.mark.parametrize(
    ("repeat", "says"),
    [
        ('as_needed = "0 h", until = "observation"', "step[foam].repeat.as_needed: expected a time above zero"),
        (
            'as_needed = "6 h", every = "1 d", until = "observation"',
            "expected exactly one of every, by_temperature, as_needed",
        ),
        ('every = "1 d", daily = 2, until = "observation"', "expected `daily` only beside `as_needed`"),
        ('as_needed = "6 h", daily = 0, until = "observation"', "expected a whole number from 1 to 9999"),
        ('as_needed = "6 h", from = "planned", until = "observation"', "counts from the last one given (rule A13)"),
        (
            'as_needed = "6 h", latest = "9 h", then = "keep", until = "observation"',
            "what is given as needed is never too late",
        ),
        ('as_needed = "6 h"', "expected exactly one of times, until"),
    ],
)
def test_a_slip_in_the_limits_is_named(repeat: str, says: str) -> None:
    """Each mistake with its key and what was expected."""
    with pytest.raises(ProtocolError) as refusal:
        read(HEAD + foam(repeat) + EVENTS, "t.toml")
    assert says in refusal.value.sentence


def test_only_a_word_asks_for_it() -> None:
    """A step given as needed that starts by the calendar is refused."""
    text = foam('as_needed = "6 h", until = "observation"').replace(
        '{ word = "There is foam", by = "0 d" }', '{ arrival = "1 d" }'
    )
    with pytest.raises(ProtocolError) as refusal:
        read(HEAD + text + EVENTS, "t.toml")
    assert "a `word`, because a keeper's word asks for what is given as needed" in refusal.value.sentence
