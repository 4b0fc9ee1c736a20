"""C14 against an outside source: when the second treatment for a fluke that lays eggs is due.

Zhang et al., Dactylogyrus vastator, doi 10.7541/2015.154 (journal and title not recorded), 2015, abstract: at 20 °C
90 % are mature within 7 d of infection; "second treatment one week after the first". Tolerance: a day, the source's
last printed digit being a week.
"""

from __future__ import annotations

import sys
from decimal import Decimal
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "plan"))

from history import History, dose_step, small

from quarantine.formulary.lifecycles import spacing

ONE_WEEK_DAYS = 7
"""Zhang et al. 2015: the second treatment, at 20 °C."""


def test_dactylogyrus_vastator_at_20_degrees_the_second_treatment_is_a_week_after_the_first() -> None:
    """By a row of that temperature: given on 13 February, the second is due on 20 February."""
    rows = '[{ at_least = "20 °C", below = "21 °C", every = "7 d" }]'
    history = History(small(dose_step(f'{{ by_temperature = {rows}, times = 2, from = "given" }}')), zone="UTC")
    for n in range(4):
        history.read(n, temperature="20")
    first = history.runs("dose", history.at(3))[0]
    history.dose(history.at(3, "10:00"), first.key)
    second = history.runs("dose", history.at(3, "12:00"))[1]
    assert second.day == history.day(3 + ONE_WEEK_DAYS)


def test_the_life_cycle_on_record_repeats_at_20_degrees_within_the_same_week() -> None:
    """Of the shipped figures: a repeat every 7 d at most, because the first young may be mature then."""
    found = spacing("dactylogyrus", Decimal(20), Decimal(20))
    assert found.latest_hours == ONE_WEEK_DAYS * 24
    assert found.one_more
