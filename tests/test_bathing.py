"""Timed baths from facts alone: where they end, by when, with how much water, and what came of them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quarantine.bathing import (
    END,
    MOST_STEPS,
    PUT_BACK,
    Bath,
    Flush,
    Owner,
    baths_in,
    contact_of,
    contact_word,
    dips_in,
    flush_of,
    flush_words,
    is_timed,
    level_words,
    limit_of,
    overrun_words,
    overstay_words,
    tasks_of,
    time_words,
    to_put_back,
    water_words,
)
from quarantine.facts import Fact, PlannedTask
from quarantine.formulary import load, regimen
from quarantine.quantity import Quantity
from quarantine.water.ledger import Water, level_of

POUR = datetime(2026, 2, 13, 8, tzinfo=UTC)
WATER = Water(50.0, 0.5)
ZONE = "Europe/Berlin"
DAY = timedelta(days=1)

BATH = {
    "substance": "levamisole",
    "regimen": "N01",
    "route": "bath",
    "mass_mg": "100",
    "target": "2",
    "target_unit": "mg/L",
    "target_mg_per_l": "2",
    "contact_least": "24 h",
    "contact_most": "24 h",
    "limit_mg_per_l": "0.1",
    "limit": "0.1 mg/L",
}
"""0.1 g of levamisole in 50 L: 2 mg/L for 24 h (row N01), over when 5 % of it is left (rule A9)."""


def fact(kind: str, at: datetime, id_: str, batch: str | None = "b1", **data: Any) -> Fact:
    return Fact(id_, kind, at, at, "robin", "s1", "t1", batch, None, data)


def pour(at: datetime = POUR, id_: str = "f1", **other: Any) -> Fact:
    return fact("dose", at, id_, **{**BATH, "key": f"b1:bath:{id_}:1", **other})


def change(litres: float, after: timedelta, id_: str = "f2") -> Fact:
    return fact("change", POUR + after, id_, None, out_litres=str(litres), in_litres=str(litres))


def baths(facts: list[Fact], as_of: datetime = POUR + 3 * DAY, water: Water | None = WATER) -> list[Bath]:
    return baths_in(facts, water, as_of, lambda f: Owner("b1", "t1"))


def tasks(facts: list[Fact], as_of: datetime = POUR + 3 * DAY, zone: str = ZONE) -> list[PlannedTask]:
    return tasks_of(baths(facts, as_of), dips_in(facts, as_of), facts, WATER, zone, as_of)


# --- What is a timed bath --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("row", "timed"),
    [("N01", True), ("T04", True), ("F01", True), ("K01", True), ("Z02", True), ("Z01", False), ("T01", False)],
)
def test_c5_a_timed_bath_states_its_contact(row: str, timed: bool) -> None:
    """Rule C5: a stated contact of up to 48 h makes a timed bath; a silent source (Z01) and a dip (T01) make none."""
    assert is_timed(regimen(row)[1]) is timed


def test_c5_three_weeks_are_prolonged() -> None:
    """Rule C5: contact over 48 h (C04: up to 3 weeks) is prolonged, and has no timer."""
    assert not is_timed(regimen("C04")[1])


def test_contact_as_a_fact_keeps_it() -> None:
    """The shortest and the longest contact of a row, each with its unit; a template's own limit on a dip takes the
    place of the row's longest."""
    assert contact_of(regimen("N01")[1]) == {"contact_least": "24 h", "contact_most": "24 h"}
    assert contact_of(regimen("T01")[1], "1 min") == {"contact_least": "0.5 min", "contact_most": "1 min"}
    assert contact_of(regimen("Z01")[1]) == {}


# --- Where it ends ---------------------------------------------------------------------------------------------------


def test_c5_the_prolonged_limit_ends_it() -> None:
    """Rule C5: salt ends at its prolonged limit of 5 g/L (treatment notes, section 5: "5 g/L beyond 12 h and
    indefinite"), formalin at 25 uL/L, whatever was the target."""
    salt = limit_of(load("sodium-chloride"), Quantity(Decimal(10), "g/L"), Decimal(10000))
    assert salt == (Decimal(5000), "the prolonged limit of 5 g/L")
    formalin = limit_of(load("formalin"), Quantity(Decimal(150), "uL/L"), Decimal(150))
    assert formalin == (Decimal(25), "the prolonged limit of 25 uL/L")


def test_a9_without_a_prolonged_limit_five_percent_end_it() -> None:
    """Rule A9: where no prolonged limit is on record contact ends at 5 % of the target: 0.1 of 2 mg/L."""
    found, words = limit_of(load("levamisole"), Quantity(Decimal(2), "mg/L"), Decimal(2))
    assert found == Decimal("0.1")
    assert words == "0.1 mg/L, 5 % of the target, because no prolonged limit is on record"


def test_a_target_that_the_ledger_does_not_count_has_no_level() -> None:
    """Where the target is no amount in the ledger, the level at which the bath ends is not known."""
    assert limit_of(load("levamisole"), Quantity(Decimal(2), "mg/L"), Decimal(0)) == (None, "a level that is not known")


# --- The flush -------------------------------------------------------------------------------------------------------


def test_the_flush_by_hand() -> None:
    """2.1 down to 0.5 mg/L in 50 L, plus or minus 0.5 L: (1 - 0.5/2.1) x 50.5 = 38.476, so 38.5 L at once; or halves of
    49.5 L: each leaves 1 - 24.7/50.5 = 0.5109 of it, and 2.1 x 0.5109^3 = 0.280 is the first under 0.5."""
    assert flush_of(WATER, Decimal("2.1"), Decimal("0.5")) == Flush(Decimal("38.5"), Decimal("24.7"), 3)


def test_more_than_there_is_goes_in_steps() -> None:
    """Where one change would take more than the emptiest tank holds there are steps alone, and all of their water has
    to stand ready."""
    flush = flush_of(WATER, Decimal(10), Decimal("0.1"))
    assert flush.at_once is None
    assert flush.steps == 7  # 10 x 0.5109^6 = 0.178, ^7 = 0.091
    assert flush.least_ready == 7 * Decimal("24.7")
    assert flush_words(flush) == "change 7 times 24.7 L, or the fish into clean water"


def test_no_flush_where_the_level_may_stay() -> None:
    """A level at its limit needs no water; one that no number of changes brings there, clean water for the fish."""
    assert flush_of(WATER, Decimal("0.1"), Decimal("0.1")).least_ready == 0
    assert "its level may stay" in flush_words(flush_of(WATER, Decimal("0.1"), Decimal("0.1")))
    hopeless = flush_of(WATER, Decimal(10), Decimal("1e-9"))
    assert (hopeless.steps, hopeless.least_ready) == (None, None)
    assert flush_words(hopeless).startswith("the fish into clean water")


@given(
    litres=st.integers(20, 2000),
    plus_minus=st.integers(0, 10),
    dose=st.floats(1.01, 200.0),
)
def test_the_flush_brings_the_ledger_to_the_limit(litres: int, plus_minus: int, dose: float) -> None:
    """Whatever the volume and the dose: after the litres at once, and after the steps, the ledger's own upper bound is
    at or under the limit of 1 mg/L."""
    water = Water(float(litres), float(plus_minus) * litres / 100)
    given_mg = Decimal(repr(round(dose * litres, 3)))
    first = pour(mass_mg=str(given_mg), limit_mg_per_l="1")
    (bath,) = baths([first], POUR, water)
    assert bath.upper is not None
    flush = flush_of(water, bath.upper, Decimal(1))
    ways = [[flush.at_once]] if flush.at_once else []
    ways += [[flush.step] * flush.steps] if flush.steps else []
    assert ways
    for way in ways:
        facts = [first, *(change(float(out), timedelta(hours=n + 1), f"g{n}") for n, out in enumerate(way))]
        high = level_of(facts, "levamisole", water, "none", POUR + 2 * DAY).high
        assert high is not None
        assert high <= 1


def test_a_flush_has_a_last_step() -> None:
    """More than twenty changes are no plan (our choice, no source)."""
    assert MOST_STEPS == 20
    assert flush_of(WATER, Decimal(1), Decimal("0.5109") ** 20).steps == 20
    assert flush_of(WATER, Decimal(1), Decimal("0.5109") ** 21).steps is None


# --- From start to end -----------------------------------------------------------------------------------------------


def test_c6_no_end_without_a_start() -> None:
    """Rule C6: a bath has an end only once its pour is on record, and a prolonged dose has none."""
    assert tasks([]) == []
    prolonged = {name: value for name, value in BATH.items() if not name.startswith(("contact", "limit"))}
    assert tasks([fact("dose", POUR, "f1", **prolonged)]) == []


def test_the_end_is_due_when_contact_is() -> None:
    """The end is due from the shortest to the longest contact, in real hours, and is never missed (rule A11)."""
    facts = [pour(contact_least="4 h", contact_most="8 h")]
    (end,) = tasks(facts, POUR + 30 * DAY)
    assert (end.step, end.kind, end.state, end.lapses_at) == (END, "change", "planned", None)
    assert (end.due_from, end.due_until) == (POUR + timedelta(hours=4), POUR + timedelta(hours=8))
    assert end.key == "b1:bath.end:f1:1"
    assert end.title == "End the bath of levamisole: change at least 48.1 L at once, or 5 times 24.7 L"


def test_a12_a_bath_through_the_change_of_clocks() -> None:
    """Rule A12: 24 h are 24 h of real time. Poured 20:00 in Berlin on the evening before clocks go forward
    (2026-03-29), the end is due at 21:00 by the clock."""
    evening = datetime(2026, 3, 28, 19, tzinfo=UTC)
    (end,) = tasks([pour(evening)], evening)
    assert end.due_until == evening + DAY
    assert end.due_until.astimezone(ZoneInfo(ZONE)).strftime("%d %H:%M") == "29 21:00"
    assert end.day is not None
    assert end.day.isoformat() == "2026-03-29"
    assert "since 2026-03-28 20:00" in end.reason


def test_c5_a_change_in_it_ends_contact_and_not_the_bath() -> None:
    """Rule C5: contact runs to the first drain; the bath is over when the level is under its limit, which 30 L of 50 do
    not reach and 48 L more do."""
    first = [pour(), change(30, timedelta(hours=23))]
    (bath,) = baths(first)
    assert bath.drained_at == POUR + timedelta(hours=23)
    assert bath.over is None
    (end,) = tasks(first)
    assert end.title.startswith("Go on clearing levamisole: change at least ")
    facts = [*first, change(48, timedelta(hours=30), "f3")]
    (bath,) = baths(facts)
    assert bath.over == facts[-1]
    assert bath.drained_at == POUR + timedelta(hours=23)
    (end,) = tasks(facts)
    assert (end.state, end.outcome) == ("done", facts[-1])


def test_the_fish_in_clean_water_end_it() -> None:
    """Rule C5: fish in clean water have ended their bath, whatever is in the tank."""
    out = fact("done", POUR + DAY, "f2", key="b1:bath.end:f1:1", fish_out=True)
    (bath,) = baths([pour(), out])
    assert (bath.over, bath.drained_at) == (out, POUR + DAY)


def test_a_tick_alone_ends_nothing() -> None:
    """A change that was said to be enough and was corrected to less leaves the bath open, though its tick stands."""
    done = fact("done", POUR + DAY, "f3", key="b1:bath.end:f1:1")
    assert baths([pour(), change(48.5, DAY), done])[0].over == done
    assert baths([pour(), change(4.85, DAY), done])[0].over is None


def test_a_dose_more_in_the_bath_is_an_addition() -> None:
    """Contact runs from the last addition, the ceiling from the first: the fish have been in it since then."""
    facts = [pour(), pour(POUR + timedelta(hours=2), "f2")]
    (bath,) = baths(facts)
    assert bath.last == facts[1]
    assert bath.latest == POUR + DAY
    assert bath.earliest == POUR + DAY
    assert bath.key == "b1:bath.end:f1:1"


def test_a_bath_after_one_that_is_over_is_another() -> None:
    """After the end the next pour begins a bath of its own, with a task of its own."""
    facts = [pour(), change(49, DAY), pour(POUR + 14 * DAY, "f3")]
    found = baths(facts, POUR + 14 * DAY)
    assert [(b.key, b.over is not None) for b in found] == [("b1:bath.end:f1:1", True), ("b1:bath.end:f3:1", False)]


def test_without_a_volume_no_level_ends_it() -> None:
    """Where the volume is not known no change ends a bath by its level, and no litres are named."""
    (bath,) = baths([pour(), change(49, DAY)], water=None)
    assert (bath.over, bath.upper) == (None, None)
    assert level_words(bath) == "How much is left in the water is not known; it ends at 0.1 mg/L"


# --- What came of it -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("minutes", "word"),
    [(1295, "partly"), (1296, "as published"), (1440, "as published"), (1441, "overrun")],
)
def test_c5_partly_as_published_overrun(minutes: int, word: str) -> None:
    """Rule C5: under 90 % of 24 h (1296 min) is partly, over it is an overrun."""
    (bath,) = baths([pour()])
    assert contact_word(bath, POUR + timedelta(minutes=minutes)) == word


def test_without_a_shortest_contact_nothing_is_partly() -> None:
    """Where the source states no shortest contact, a bath of any length under its longest is as published."""
    kept = {name: value for name, value in BATH.items() if name != "contact_least"}
    (bath,) = baths([fact("dose", POUR, "f1", **kept)])
    assert contact_word(bath, POUR + timedelta(minutes=5)) == "as published"
    assert bath.earliest == bath.latest == POUR + DAY


def test_c7_two_hours_late_says_what_to_do() -> None:
    """Rule C7: an overrun says by how much, and the rescue: air, the litres, carbon, a veterinarian."""
    (bath,) = baths([pour()])
    flush = flush_of(WATER, bath.upper or Decimal(0), bath.limit or Decimal(0))
    assert overrun_words(bath, POUR + timedelta(hours=26), flush, over=False) == (
        "The bath of levamisole took 26 h, 2 h over its longest contact of 24 h. Now: strong aeration; change at least "
        "48.1 L at once, or 5 times 24.7 L, all of it matched and conditioned; fresh activated carbon; watch the fish; "
        "call a veterinarian."
    )
    assert overrun_words(bath, POUR + DAY, flush, over=False) == ""
    assert "call a veterinarian" in overrun_words(bath, POUR + timedelta(hours=26), flush, over=True)
    assert "change" not in overrun_words(bath, POUR + timedelta(hours=26), flush, over=True)


def test_c5_drained_in_time_and_cleared_late_is_a_warning_with_its_rescue() -> None:
    """Rules C5 and C7: contact counts to the first drain, at 23 h; that the level stood above its limit past the
    longest contact of 24 h is told with what to do, while it stands there and when it is cleared."""
    facts = [pour(), change(10, timedelta(hours=23))]
    late = POUR + timedelta(hours=27)
    (bath,) = baths(facts, late)
    assert contact_word(bath, POUR + timedelta(hours=23)) == "as published"
    flush = flush_of(WATER, bath.upper or Decimal(0), bath.limit or Decimal(0))
    assert overstay_words(bath, late, flush, over=False) == (
        "WARNING: contact with levamisole counts to the first drain (rule C5), but the water is not cleared 27 h after "
        "the pour, 3 h over the longest contact of 24 h, and until then its level was above 0.1 mg/L. Now: strong "
        f"aeration; {flush_words(flush)}, all of it matched and conditioned; fresh activated carbon; watch the fish; "
        "call a veterinarian."
    )
    (bath,) = baths([*facts, change(48, timedelta(hours=27), "f3")])
    said = overstay_words(bath, late, None, over=True)
    assert "was cleared only 27 h after the pour, 3 h over" in said
    assert "Now: strong aeration; fresh activated carbon; watch the fish; call a veterinarian." in said


@pytest.mark.parametrize(("first", "second"), [(23, 24), (25, 27)])
def test_what_was_cleared_in_time_or_is_an_overrun_has_no_second_warning(first: int, second: int) -> None:
    """Cleared by the longest contact nothing is late; drained after it the overrun says so already."""
    facts = [pour(), change(10, timedelta(hours=first)), change(48, timedelta(hours=second), "f3")]
    (bath,) = baths(facts)
    assert overstay_words(bath, POUR + timedelta(hours=second), None, over=True) == ""
    (bath,) = baths([pour()])
    assert overstay_words(bath, POUR + timedelta(hours=26), None, over=False) == ""


@pytest.mark.parametrize("name", ["potassium-permanganate", "chloramine-t", "hydrogen-peroxide"])
def test_no_conditioner_meets_an_oxidiser(name: str) -> None:
    """Conditioner is never with oxidisers: what ends their bath, and any bath beside them, is water that a test shows
    free of chlorine; other baths take conditioned water as ever."""
    (bath,) = baths([pour(substance=name)])
    assert bath.oxidiser
    words = overrun_words(bath, POUR + timedelta(hours=26), None, over=False)
    assert "free of chlorine by a test, no conditioner" in words
    assert "conditioned" not in words
    beside = fact("dose", POUR - DAY, "f0", substance=name, route="prolonged", mass_mg="50", target_mg_per_l="1")
    assert [b.oxidiser for b in baths([beside, pour()])] == [True]
    cleared = change(50.5, -timedelta(hours=1), "f9")
    assert [b.oxidiser for b in baths([beside, cleared, pour()])] == [False]
    (bath,) = baths([pour()])
    assert not bath.oxidiser
    assert water_words(oxidiser=False) == "matched, conditioned water"
    assert "conditioned" not in water_words(oxidiser=True)


def test_the_level_is_said_in_the_unit_of_the_target() -> None:
    """What is left is said as the target was: mg/L here, uL/L of formalin where its ledger counts microlitres."""
    (bath,) = baths([pour()])
    assert level_words(bath) == "In the water may be 2.03 mg/L, over 0.1 mg/L"
    (bath,) = baths([pour(target="250", target_unit="uL/L", target_mg_per_l="250", mass_mg="12500")])
    assert level_words(bath).startswith("In the water may be 253 uL/L, over")


@pytest.mark.parametrize(
    ("seconds", "words"), [(0, "0 s"), (45, "45 s"), (3600, "1 h"), (75900, "21 h 5 min"), (61, "1 min 1 s")]
)
def test_times_in_words(seconds: int, words: str) -> None:
    """A stretch of time in its two largest units, each with its name."""
    assert time_words(timedelta(seconds=seconds)) == words


# --- Dips and what is put back ---------------------------------------------------------------------------------------


def test_a_dip_ends_with_its_dose() -> None:
    """A dip that was begun has an end within its limit; the dose of the same task ends it."""
    key = "b1:dip:x:1"
    start = fact(
        "dip_start", POUR, "f1", key=key, substance="sodium-chloride", contact_least="30 s", contact_most="1 min"
    )
    (end,) = tasks([start])
    assert (end.kind, end.step, end.state) == ("chore", END, "planned")
    assert (end.due_from, end.due_until) == (POUR + timedelta(seconds=30), POUR + timedelta(minutes=1))
    over = fact("dose", POUR + timedelta(seconds=50), "f2", key=key, substance="sodium-chloride", route="dip")
    (end,) = tasks([start, over])
    assert (end.state, end.outcome) == ("done", over)


def test_c10_what_was_off_is_put_back_after_contact() -> None:
    """Rule C10: what no step of the template puts back is a task once contact has ended, and not before."""
    facts = [pour(put_back=["carbon", "uv", "filter"])]
    assert [task.step for task in tasks(facts)] == [END]
    back = [task for task in tasks([*facts, change(49, DAY)]) if task.step == PUT_BACK]
    assert [task.title for task in back] == ["Put back after the levamisole: carbon in, UV on, filter on"]
    assert back[0].due_from == POUR + DAY
    done = fact("done", POUR + DAY, "f9", key=back[0].key)
    assert [t.state for t in tasks([*facts, change(49, DAY), done]) if t.step == PUT_BACK] == ["done"]


def test_c10_a_prolonged_dose_too() -> None:
    """Rule C10: after a dose without a stated end, contact ends as rule A9 has it: at 5 % of the target."""
    prolonged = {name: value for name, value in BATH.items() if not name.startswith(("contact", "limit"))}
    facts = [fact("dose", POUR, "f1", **prolonged, put_back=["carbon"])]
    assert tasks(facts) == []
    assert [task.step for task in tasks([*facts, change(49, DAY)])] == [PUT_BACK]


@pytest.mark.parametrize(
    ("off", "filter_", "row", "titles", "left"),
    [
        (["carbon", "uv"], "running", "N01", [], ["carbon", "uv"]),
        (["carbon", "uv"], "running", "N01", ["Put the carbon back; switch UV, ozone and skimmer on"], []),
        (["auto-top-up"], "running", "N01", ["Auto top-up on again"], []),
        (["carbon"], "running", "N01", ["Take the carbon out"], ["carbon"]),
        ([], "off", "N01", [], ["filter"]),
        ([], "off", "F01", [], []),
        ([], "running", "N01", [], []),
    ],
)
def test_c10_what_is_left_to_put_back(
    off: list[str], filter_: str, row: str, titles: list[str], left: list[str]
) -> None:
    """Rule C10: what a later chore of the template names to be put back or on is not left; a filter off for an hour at
    most (F01: 60 min) is not a task."""
    assert to_put_back(off, filter_, regimen(row)[1], titles) == left
