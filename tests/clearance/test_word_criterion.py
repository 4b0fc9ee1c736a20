"""A criterion in words: nobody says it at sign-off, so it is not known, and never met by itself."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from quarantine import clearance, evidence
from quarantine.evidence import Standing
from quarantine.facts import Condition, Fact

ARRIVED = datetime(2026, 2, 10, 9, tzinfo=UTC)


def test_a_word_at_sign_off_cannot_be_judged() -> None:
    """Unknown is a value: the batch is released only by a named person with a deviation."""
    arrival = Fact("a", "arrival", ARRIVED, ARRIVED, "Robin", "water", "tank", "batch", None, {"count": "4"})
    as_of = ARRIVED + timedelta(days=40)
    known = evidence.gather([arrival], "batch", "Europe/Berlin", arrival, as_of, [])
    standing = Standing(known, (), as_of.date())
    said = Condition("word", "It was warm all the time", "It was warm all the time")
    (judged,) = clearance.judge((said,), standing, [])
    assert judged.met is None
    assert judged.as_json()["verdict"] == "cannot be judged"
    assert "--deviation" in judged.says
