"""Rule C14 by a list of our own, in which one figure decides at a time (found by mutants)."""

from __future__ import annotations

from decimal import Decimal

import pytest

from quarantine.formulary import lifecycles
from quarantine.formulary.lifecycles import NoTiming, Where

HEAD = 'logic = "A list of a test."\n'
KIND = 'kind = "common practice"'


def organism(id_: str, *rows: str) -> str:
    made = ", ".join(f'{{ id = "TE{n:02}", {row}, {KIND} }}' for n, row in enumerate(rows, start=1))
    return f'[[organism]]\nid = "{id_}"\nname = "{id_}"\nwater = ["fresh"]\nrow = [ {made} ]\n'


def cell(id_: str, where: str, rest: str) -> str:
    return f'[[spacing]]\nid = "{id_}"\norganism = "worm"\n{where}\n{rest}\n{KIND}\n'


def use(monkeypatch: pytest.MonkeyPatch, *parts: str) -> None:
    """Puts a list in the place of the one that ships."""
    found, problems = lifecycles._read(HEAD + "\n".join(parts), "t.toml")
    assert problems == []
    assert found is not None
    monkeypatch.setattr(lifecycles, "cycles", lambda: found)


WARM = 'at = "20 °C"'
HATCH = 'what = "hatch complete"'
MATURE = 'what = "infection to mature"'


def row(what: str, days: str, where: str = WARM) -> str:
    return f'{what}, {where}, low = "{days}", high = "{days}"'


def test_C14_what_is_printed_above_or_below_a_temperature_does_not_hold_at_it() -> None:
    """ "Above 24 °C" is said of 24.1 °C and not of 24 °C; "below 7 °C" of 6.9 °C and not of 7 °C."""
    above, below = Where(Decimal(24), None, True, ""), Where(None, Decimal(7), True, "")
    assert [above.holds(Decimal(t)) for t in ("23.9", "24", "24.1")] == [False, False, True]
    assert [below.holds(Decimal(t)) for t in ("6.9", "7", "7.1")] == [True, False, False]


def test_C14_of_two_hatches_for_one_temperature_the_slower_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two sources, 5 d and 7 d: after 7 d. In whichever order they stand."""
    for days in (("5 d", "7 d"), ("7 d", "5 d")):
        use(monkeypatch, organism("worm", *(row(HATCH, one) for one in days)))
        assert lifecycles.slowest_hatch("worm", Decimal(20)).hours == 7 * 24


def test_C14_of_a_sum_and_of_a_printed_end_the_slower_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Begins on day 4 and spreads over 3 d, or is complete on day 6: after 7 d; complete on day 9: after 9 d."""
    sum_ = row('what = "hatch begins"', "4 d"), row('what = "hatching spread"', "3 d")
    for end, expected in (("6 d", 7), ("9 d", 9)):
        use(monkeypatch, organism("worm", *sum_, row(HATCH, end)))
        assert lifecycles.slowest_hatch("worm", Decimal(20)).hours == expected * 24


def test_C14_of_two_maturities_for_one_temperature_the_faster_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    """From the infection 9 d, from the hatch 7 d: before 7 d. In whichever order they stand."""
    rows = [row(MATURE, "9 d"), row('what = "hatch to mature"', "7 d")]
    for order in (rows, rows[::-1]):
        use(monkeypatch, organism("worm", *order))
        assert lifecycles.fastest_maturity("worm", Decimal(20)).hours == 7 * 24


@pytest.mark.parametrize(
    ("hatch", "mature", "one_more", "repeats"),
    [("5 d", "7 d", False, 1), ("7 d", "7 d", True, 2), ("8 d", "7 d", True, 2), ("14 d", "7 d", True, 3)],
)
def test_C14_after_the_slowest_hatch_and_before_the_fastest_maturity(
    monkeypatch: pytest.MonkeyPatch, hatch: str, mature: str, one_more: bool, repeats: int
) -> None:
    """Where both are the same day no dose is after the one and before the other. Repeats of 7 d at most reach past 8 d
    with the second and past 14 d with the third: on day 14 itself an egg may still hatch."""
    use(monkeypatch, organism("worm", row(HATCH, hatch), row(MATURE, mature)))
    found = lifecycles.spacing("worm", Decimal(20), Decimal(20))
    assert (found.one_more, found.repeats) == (one_more, repeats)


def test_C14_a_cell_that_is_shown_alone_raises_no_number_of_doses(monkeypatch: pytest.MonkeyPatch) -> None:
    """A second and a third dose of the table are two repeats where it is reckoned with; by the rows alone it is one."""
    dates = 'second_low = "6 d"\nsecond_high = "6 d"\nthird_low = "12 d"'
    worm = organism("worm", row(HATCH, "5 d"), row(MATURE, "7 d"))
    for reckoned, repeats in (("", 2), ("reckoned = false", 1)):
        use(monkeypatch, worm, cell("R20-worm", WARM, f"{dates}\n{reckoned}"))
        assert lifecycles.spacing("worm", Decimal(20), Decimal(20)).repeats == repeats


@pytest.mark.parametrize(
    ("slow", "fast", "repeats"),
    [
        ("4 d to 5 d, 4", "2 d to 2 d, 2", 8),  # 3 steps of up to 5 d are 15 d, and 7 steps of 2 d only 14
        ("4 d to 4 d, 4", "2 d to 2 d, 2", 6),  # 12 d are 6 steps of 2 d
        ("2 d to 4 d, 4", "3 d to 3 d, 2", 4),  # the steps meet; 12 d are 4 steps of 3 d
        ("2 d to 2 d, 4", "2 d to 2 d, 2", 3),  # one step: its own number
        ("2 d to 2 d, 2", "2 d to 2 d, 5", 4),  # the warmer row asks for more
        ("3 d to 3 d, 2", "2 d to 2 d, 5", 5),  # they do not meet, so one more than the four
    ],
)
def test_C14_a_series_by_steps_lasts_as_long_as_the_slower_row(
    monkeypatch: pytest.MonkeyPatch, slow: str, fast: str, repeats: int
) -> None:
    """Steps of the row at 15 °C and of that at 20 °C, each "from to, doses", in water of 15 to 20 °C."""
    cells = []
    for id_, degrees, said in (("R15-worm", 15, slow), ("R20-worm", 20, fast)):
        steps, _, doses = said.partition(", ")
        low, _, high = steps.partition(" to ")
        rest = f'every_low = "{low}"\nevery_high = "{high}"\ndoses = {doses}'
        cells.append(cell(id_, f'at = "{degrees} °C"', rest))
    use(monkeypatch, organism("worm", row('what = "whole cycle"', "9 d")), *cells)
    assert lifecycles.spacing("worm", Decimal(15), Decimal(20)).repeats == repeats


def test_C14_the_ends_of_the_table_of_days_without_a_drug_belong_to_it() -> None:
    """At 10 °C and at 30 °C the first and the last row hold; beyond them nothing is said."""
    assert lifecycles.observation(Decimal(10)).id == "Q10"
    assert lifecycles.observation(Decimal(30)).id == "Q28"
    for beyond in ("9.9", "30.1"):
        with pytest.raises(NoTiming, match="10 °C to 30 °C only"):
            lifecycles.observation(Decimal(beyond))
