"""A period may begin after another one, or after a step that runs until another one is complete."""

from __future__ import annotations

import pytest
from history import History, small

SECOND = """
[[period]]
id = "second"
title = "Five days more"
length = "5 d"
counts = "calendar"
start = { after = "SUBJECT" }
references = ["choice"]
"""

LOOK = """
[[step]]
id = "look"
kind = "look"
title = "Look"
start = { arrival = "0 d" }
repeat = { every = "1 d", until = "observation" }
references = ["choice"]
"""


@pytest.mark.parametrize("subject", ["observation", "look"])
def test_a_period_begins_when_another_one_is_complete(subject: str) -> None:
    """What begins after a period, or after what is done until then, counts from the day on which that one is over."""
    past = History(small(SECOND.replace("SUBJECT", subject) + LOOK))
    observation, second = past.plan(past.at(1)).standings["B"].periods
    assert observation.complete_on == past.day(10)
    assert (second.zero, second.complete_on) == (past.day(10), past.day(15))


def test_a_chained_period_moves_with_the_one_before() -> None:
    """Fish that are added begin the first period again, and the second one follows."""
    past = History(small(SECOND.replace("SUBJECT", "observation"), events={"fish_added": "restart"}))
    past.fact("added", past.at(4), {"count": 1})
    observation, second = past.plan(past.at(5)).standings["B"].periods
    assert (observation.zero, second.zero, second.complete_on) == (past.day(4), past.day(14), past.day(19))
